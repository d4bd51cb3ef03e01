"""How fast surfaces are beside a general-purpose kriging library and beside refits; how far their values differ.

Run: ``python tests/bench/bench_surface.py [WELLS ...]`` (default 50 200 1000). Prints seconds and ratios of one run,
largest differences, and the peak of memory that Python asked for. PyKrige (BSD licence) must be installed.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Callable
from typing import Any

import numpy as np
from pykrige import OrdinaryKriging, UniversalKriging

from gwnet.hydro import kriging
from gwnet.hydro.variogram import Covariance

NODES = 200
COVARIANCE = Covariance("spherical", 4.0, 3000.0, 0.0)
PARAMETERS = {"psill": 4.0, "range": 3000.0, "nugget": 0.0}


def timed(work: Callable[[], Any], times: int = 1) -> tuple[Any, float]:
    """Return what work gives and the fewest seconds it took."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        made = work()
        best = min(best, time.perf_counter() - start)
    return made, best


def peak(work: Callable[[], Any]) -> float:
    """Return the peak of memory during work [MB]."""
    tracemalloc.start()
    work()
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most / 1e6


def compare(count: int) -> None:
    """Print one block of results."""
    times = 3 if count <= 200 else 1
    random = np.random.default_rng(count)
    x, y = random.uniform(0, 10_000, (2, count))
    z = 100 - 0.002 * x + 0.001 * y + np.sin(x / 800) + np.cos(y / 1100)
    axis = np.linspace(0, 10_000, NODES)
    print(f"{count} wells, {NODES} x {NODES} nodes")
    for name, drift, library, options in (
        ("ordinary", "none", OrdinaryKriging, {}),
        ("universal", "linear", UniversalKriging, {"drift_terms": ["regional_linear"]}),
    ):

        def theirs(library: Any = library, options: dict[str, Any] = options) -> Any:
            made = library(x, y, z, variogram_model="spherical", variogram_parameters=PARAMETERS, **options)
            return made.execute("grid", axis, axis, backend="vectorized")

        def ours(drift: str = drift) -> kriging.KrigedSurface:
            return kriging.fit(x, y, z, covariance=COVARIANCE, drift=drift)

        ours().standard_error(axis, axis)  # load what is loaded on first use
        (heads, variances), slow = timed(theirs, times)
        surface, setting = timed(ours, times)
        found, estimating = timed(lambda surface=surface: surface.predict(axis[None, :], axis[:, None]), times)
        errors, varying = timed(lambda surface=surface: surface.standard_error(axis[None, :], axis[:, None]), times)
        head_off = float(np.abs(found - heads).max())
        variance_off = float(np.abs(errors**2 - variances).max())
        used = peak(lambda drift=drift: ours(drift).predict(axis[None, :], axis[:, None]))
        print(
            f"  {name:9}  library {slow:7.3f} s; estimate {setting + estimating:6.3f} s, "
            f"{slow / (setting + estimating):5.0f}x; with variance {setting + estimating + varying:6.3f} s, "
            f"{slow / (setting + estimating + varying):4.1f}x; differences {head_off:.1e} m, {variance_off:.1e} m²; "
            f"peak {used:.0f} MB"
        )
    surface = kriging.fit(x, y, z, covariance=COVARIANCE)
    left_out, quick = timed(surface.leave_one_out, times)
    tried = range(0, count, max(1, count // 20))

    def refit() -> list[float]:
        found = []
        for position in tried:
            rest = np.arange(count) != position
            other = kriging.fit(x[rest], y[rest], z[rest], covariance=COVARIANCE)
            found.append(float(z[position] - other.predict(x[position], y[position])))
        return found

    residuals, each = timed(refit, times)
    whole = each / len(residuals) * count
    off = float(np.abs(left_out.residual_m[list(tried)] - residuals).max())
    print(
        f"  leave-one-out {quick:.4f} s; refits {whole:.2f} s (from {len(residuals)}), {whole / quick:.0f}x; {off:.1e} m"
    )


if __name__ == "__main__":
    for wells in [int(text) for text in sys.argv[1:]] or [50, 200, 1000]:
        compare(wells)
