"""What fits of pumping tests cost, beside what cannot be avoided.

Run as ``python tests/bench/bench_pumping_fit.py [READINGS]``. The loop evaluates the exponential integral one number
at a time, as often as wells, readings and rates make it: once through the drawdowns of a joint fit.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
from scipy.special import exp1

from gwnet.hydro.pumping import PumpingGeometry, PumpingRates, WellDrawdown, fit_pumping_test
from gwnet.hydro.pumping.models import model_drawdown

PLANTED = {
    "transmissivity": 250.0,
    "storativity": 3e-4,
    "leakage_factor": 180.0,
    "specific_yield": 0.12,
    "anisotropy": 0.3,
}


def median_ms(work: Callable[[], object], rounds: int) -> float:
    """Return the median time of some rounds, after one that is not counted [ms]."""
    work()
    spent = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        spent.append(time.perf_counter() - began)
    return 1000.0 * statistics.median(spent)


def simulate(
    model: str, rates: PumpingRates, distances: list[float], readings: int, geometry: PumpingGeometry
) -> list[WellDrawdown]:
    """Return wells with drawdowns of planted parameters and normal errors of 1 cm."""
    random = np.random.default_rng(1)
    wells = []
    for distance in distances:
        days = np.geomspace(1e-3, 1.5, readings)
        empty = WellDrawdown("P", distance, days, np.zeros(readings))
        exact = model_drawdown(model, PLANTED, rates, empty, geometry)
        wells.append(WellDrawdown(f"P{distance:g}", distance, days, exact + random.normal(0.0, 0.01, readings)))
    return wells


def main() -> None:
    """Print the time of a joint Theis fit over that of the loop, and of fits of other models."""
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    rates = PumpingRates([0.0, 0.1, 0.3, 0.6, 1.0], [600.0, 900.0, 500.0, 700.0, 0.0])
    geometry = PumpingGeometry(thickness_m=20.0)
    wells = simulate("theis", rates, [15.0, 40.0, 90.0], readings, geometry)
    arguments = np.geomspace(1e-5, 5.0, 3 * readings * 5).tolist()
    loop = median_ms(lambda: [exp1(u) for u in arguments], 9)
    joint = median_ms(lambda: fit_pumping_test("theis", rates, wells), 9)
    print(f"joint Theis fit of 3 wells, {readings} readings each, 5 rates: {joint:.1f} ms")
    print(f"loop over {len(arguments)} exponential integrals: {loop:.1f} ms; ratio {joint / loop:.1f} x loop")
    constant = PumpingRates([0.0], [600.0])
    for method in ("leaky", "delayed-yield-boulton", "delayed-yield"):
        planted = "leaky" if method == "leaky" else "delayed-yield"
        (well,) = simulate(planted, constant, [40.0], min(readings, 100), geometry)
        spent = median_ms(lambda m=method, w=well: fit_pumping_test(m, constant, [w], geometry), 1)
        print(f"{method} fit of {well.days.size} readings with limits and comparison: {spent / 1000.0:.2f} s")


if __name__ == "__main__":
    main()
