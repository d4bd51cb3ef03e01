"""How fast surfaces are beside two general-purpose kriging libraries and beside refits; how far their values differ.

Run: ``python tests/bench/bench_surface.py [WELLS ...] [--nodes NODES] [--threads N] [--model MODEL]``
(default 50, 200 and 1,000 wells, 200 by 200 nodes, as many threads as the libraries take, spherical). On a busy machine
one thread a side gives the steadier ratios. Of a spherical covariance each tile of nodes meets only the wells in its
range, 3 of 10 km here; an exponential one has no end. Prints, from one run, seconds, ratios, largest differences, the peak of memory that Python asked for, and how
many threads each side's linear algebra was free to use. PyKrige (BSD licence) and GSTools (LGPL) must be installed.
PyKrige works out variances whether asked or not; GSTools is given fewer nodes where it would take minutes, and its
seconds are then carried up by the number of nodes.
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
from collections.abc import Callable
from typing import Any

import gstools
import numpy as np
from pykrige import OrdinaryKriging, UniversalKriging
from threadpoolctl import threadpool_info, threadpool_limits

from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.variogram import Covariance

SILL_M2, RANGE_M = 4.0, 3000.0
PARAMETERS = {"psill": 4.0, "range": 3000.0, "nugget": 0.0}
EXTENT_M = 10_000.0
#: Wells times nodes that the slowest library is given at most.
MOST_FOR_SLOWEST = 2_000_000


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


class Wells:
    """Constructed heads at random places."""

    def __init__(self, count: int, nodes: int, model: str = "spherical") -> None:
        self.model, self.covariance = model, Covariance(model, SILL_M2, RANGE_M)
        random = np.random.default_rng(count)
        self.x, self.y = random.uniform(0, EXTENT_M, (2, count))
        self.z = 100 - 0.002 * self.x + 0.001 * self.y + np.sin(self.x / 800) + np.cos(self.y / 1100)
        self.axis = np.linspace(0, EXTENT_M, nodes)

    def ours(self, drift: str, *, variance: bool) -> tuple[Any, Any]:
        """Return heads and, if asked, variances by this project."""
        surface = kriging.fit(self.x, self.y, self.z, covariance=self.covariance, drift=drift)
        nodes = self.axis[None, :], self.axis[:, None]
        return surface.predict(*nodes), surface.standard_error(*nodes) ** 2 if variance else None

    def by_pykrige(self, drift: str) -> tuple[Any, Any]:
        """Return heads and variances by PyKrige."""
        library, options = (
            (OrdinaryKriging, {}) if drift == "none" else (UniversalKriging, {"drift_terms": ["regional_linear"]})
        )
        made = library(self.x, self.y, self.z, variogram_model=self.model, variogram_parameters=PARAMETERS, **options)
        heads, variances = made.execute("grid", self.axis, self.axis, backend="vectorized")
        return np.asarray(heads), np.asarray(variances)

    def by_gstools(self, drift: str, axis: Any, *, variance: bool) -> tuple[Any, Any]:
        """Return heads and, if asked, variances by GSTools."""
        kind, reach = (gstools.Spherical, 1.0) if self.model == "spherical" else (gstools.Exponential, 3.0)
        model = kind(dim=2, var=SILL_M2, len_scale=RANGE_M / reach, nugget=0.0)
        place = (self.x, self.y)
        made = (
            gstools.krige.Ordinary(model, place, self.z, exact=True)
            if drift == "none"
            else gstools.krige.Universal(model, place, self.z, "linear", exact=True)
        )
        found = made.structured([axis, axis], return_var=variance, store=False)
        return (found[0].T, found[1].T) if variance else (found.T, None)


def largest(ours: Any, theirs: Any) -> float:
    """Return the largest difference."""
    return float(np.abs(np.asarray(ours) - np.asarray(theirs)).max())


def compare(count: int, nodes: int, model: str) -> None:
    """Print one block of results."""
    times = 3 if count <= 200 else 1
    wells = Wells(count, nodes, model)
    thin = max(1, round((count * nodes**2 / MOST_FOR_SLOWEST) ** 0.5))
    kept = wells.axis[::thin]
    up = (nodes / kept.size) ** 2
    print(f"{count} wells, {nodes} x {nodes} nodes, {model}")
    for name, drift in (("ordinary", "none"), ("universal", "linear")):
        wells.ours(drift, variance=True)  # load what is loaded on first use
        (heads, variances), pykrige_s = timed(lambda drift=drift: wells.by_pykrige(drift), times)
        gs_heads, gs_s = timed(lambda drift=drift: wells.by_gstools(drift, kept, variance=False), times)
        gs_both, gs_both_s = timed(lambda drift=drift: wells.by_gstools(drift, kept, variance=True), times)
        (found, _), estimate_s = timed(lambda drift=drift: wells.ours(drift, variance=False), max(times, 3))
        (_, errors), both_s = timed(lambda drift=drift: wells.ours(drift, variance=True), max(times, 3))
        print(f"  {name}: estimate {estimate_s:.4f} s, with variance {both_s:.4f} s")
        print(
            f"    pykrige   {pykrige_s:8.3f} s: {pykrige_s / estimate_s:5.0f} x the estimate, "
            f"{pykrige_s / both_s:5.1f} x estimate and variance; "
            f"differences {largest(found, heads):.1e} m, {largest(errors, variances):.1e} m²"
        )
        part = f" (from {kept.size}² nodes)" if thin > 1 else ""
        print(
            f"    gstools   {gs_s * up:8.3f} s: {gs_s * up / estimate_s:5.0f} x; with variance {gs_both_s * up:8.3f} s: "
            f"{gs_both_s * up / both_s:5.1f} x{part}; "
            f"differences {largest(found[::thin, ::thin], gs_heads[0]):.1e} m, "
            f"{largest(errors[::thin, ::thin], gs_both[1]):.1e} m²"
        )
        print(
            f"    peak of memory: {peak(lambda drift=drift: wells.ours(drift, variance=False)):.0f} MB, "
            f"{peak(lambda drift=drift: wells.ours(drift, variance=True)):.0f} MB with variance; "
            f"pykrige {peak(lambda drift=drift: wells.by_pykrige(drift)):.0f} MB"
        )
    left_out_against_refits(wells, times)


def left_out_against_refits(wells: Wells, times: int) -> None:
    """Print how fast leave-one-out errors are in closed form."""
    x, y, z = wells.x, wells.y, wells.z
    surface = kriging.fit(x, y, z, covariance=wells.covariance)
    left_out, quick = timed(surface.leave_one_out, 5)
    tried = range(0, z.size, max(1, z.size // 20))

    def refit() -> list[float]:
        found = []
        for position in tried:
            rest = np.arange(z.size) != position
            other = kriging.fit(x[rest], y[rest], z[rest], covariance=wells.covariance)
            found.append(float(z[position] - other.predict(x[position], y[position])))
        return found

    residuals, each = timed(refit, times)
    whole = each / len(residuals) * z.size
    off = largest(left_out.residual_m[list(tried)], residuals)
    print(
        f"  leave-one-out {quick:.4f} s; refits {whole:.2f} s (from {len(residuals)}): {whole / quick:.0f} x; "
        f"largest difference {off:.1e} m"
    )


def main() -> None:
    """Print the results."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("wells", nargs="*", type=int, default=[50, 200, 1000])
    parser.add_argument("--nodes", type=int, default=200)
    parser.add_argument("--threads", type=int, default=None)
    parser.add_argument("--model", choices=["spherical", "exponential"], default="spherical")
    given = parser.parse_args()
    if given.threads is not None:
        threadpool_limits(given.threads)
        gstools.config.NUM_THREADS = given.threads
    threads = sorted({int(library["num_threads"]) for library in threadpool_info()})
    print(
        f"threads: linear algebra of all sides {' or '.join(map(str, threads))}; "
        f"gstools' own loops {gstools.config.NUM_THREADS or 'all'}; everything else one"
    )
    for count in given.wells:
        compare(count, given.nodes, given.model)


if __name__ == "__main__":
    main()
