"""How often the 95 % limits of parameters of pumping tests hold the planted ones: simulated tests, 500 draws a row.

Run as ``python tests/bench/bench_pumping_limits.py [DRAWS] [PART OF A NAME]``. Errors of readings are normal and independent. A limit
that the data do not set (0 or infinite) holds on its side.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gwnet.hydro.pumping import PumpingFit, PumpingGeometry, PumpingRates, WellDrawdown, fit_pumping_test
from gwnet.hydro.pumping.fits import fit_model
from gwnet.hydro.pumping.models import MODELS, model_drawdown
from gwnet.hydro.pumping.steps import fit_steps_theis
from gwnet.hydro.pumping.storage import slug_recovery

Floats = NDArray[np.float64]
PLANTED = {
    "transmissivity": 250.0,
    "storativity": 3e-4,
    "leakage_factor": 180.0,
    "specific_yield": 0.12,
    "delay_rate": 8.0,
}

PLAIN = PumpingGeometry()


@dataclass(frozen=True)
class Case:
    """A simulated test: method, rates, distances, readings a well, error [m], weights or not, geometry."""

    name: str
    method: str
    rates: PumpingRates
    distances: tuple[float, ...]
    readings: int
    error_m: float
    weighted: bool = False
    geometry: PumpingGeometry = PLAIN


CONSTANT = PumpingRates([0.0], [600.0])
VARIED = PumpingRates([0.0, 0.2, 0.5, 0.7], [600.0, 900.0, 400.0, 0.0])
STEPS = PumpingRates([0.0, 0.1, 0.2, 0.3], [200.0, 400.0, 600.0, 800.0])
CASES = (
    Case("theis, 1 well", "theis", CONSTANT, (30.0,), 25, 0.01),
    Case("theis, 3 wells, 4 rates", "theis", VARIED, (15.0, 40.0, 90.0), 30, 0.01),
    Case("theis, 2 wells of unlike error", "theis", CONSTANT, (15.0, 60.0), 20, 0.01, weighted=True),
    Case("leaky", "leaky", CONSTANT, (60.0,), 30, 0.005),
    Case("storage in the well", "storage", CONSTANT, (0.15,), 30, 0.02, geometry=PumpingGeometry(0.15, 0.1)),
    Case("delayed yield, Boulton", "delayed-yield-boulton", CONSTANT, (20.0,), 40, 0.005),
    Case("recovery", "recovery", VARIED, (2.0,), 20, 0.01),
    Case("straight line", "straight-line", CONSTANT, (2.0,), 20, 0.01),
    Case("steps with exponent", "step-theis", STEPS, (0.15,), 48, 0.03),
    Case("slug", "slug", CONSTANT, (0.1,), 30, 0.01, geometry=PumpingGeometry(0.1, 0.05, initial_m=1.0)),
)


def simulate(case: Case, random: np.random.Generator) -> tuple[list[WellDrawdown], dict[str, float]]:
    """Return wells with drawdowns of planted parameters and errors, and what was planted."""
    model = case.method if case.method in MODELS else "theis"
    planted = dict(PLANTED)
    wells = []
    for number, distance in enumerate(case.distances):
        if case.method == "slug":
            days = np.geomspace(1e-6, 1e-4, case.readings)
            exact = slug_recovery(planted["transmissivity"] * days / 0.05**2, planted["storativity"] * 4.0)
        elif case.method == "step-theis":
            days = np.concatenate([s + np.geomspace(2e-3, 0.1, case.readings // 4) for s in STEPS.start_days])
            planted |= {"exponent": 2.4, "well_loss_at_greatest_rate": 2.0}
        elif case.method == "recovery":
            days = case.rates.stop_days + np.geomspace(0.02, 1.0, case.readings)
            planted |= {"storativity_ratio": 1.0}
        else:
            days = np.geomspace(5e-5 if case.method.startswith("delayed") else 2e-3, 1.0, case.readings)
        if case.method != "slug":
            at = WellDrawdown("P", distance, days, np.zeros(days.size))
            exact = model_drawdown(model, planted, case.rates, at, case.geometry)
        if case.method == "step-theis":
            exact = exact + 2.0 * (case.rates.rate_at(days - 1e-9) / 800.0) ** 2.4
        error = case.error_m * (1.0 + 4.0 * number if case.weighted else 1.0)
        width = 2.0 * error if case.weighted else None
        wells.append(WellDrawdown(f"P{number}", distance, days, exact + random.normal(0.0, error, days.size), width))
    return wells, planted


def analyse(case: Case, wells: list[WellDrawdown]) -> PumpingFit:
    """Return the fit of a simulated test, without the model that it would be compared with."""
    if case.method in MODELS:
        return fit_model(case.method, case.rates, wells, case.geometry, compare=False)
    if case.method == "step-theis":
        return fit_steps_theis(case.rates, wells, case.geometry, compare=False)
    options = {"trim": False} if case.method == "straight-line" else {}
    return fit_pumping_test(case.method, case.rates, wells, case.geometry, **options)


def main() -> None:
    """Print, for each simulated test and parameter, how often the limits hold, and on which side they miss."""
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    wanted = sys.argv[2] if len(sys.argv) > 2 else ""
    for case in (case for case in CASES if wanted in case.name):
        random = np.random.default_rng(20_000)
        held: dict[str, list[tuple[bool, bool, bool]]] = {}
        began = time.perf_counter()
        for _ in range(draws):
            wells, planted = simulate(case, random)
            fit = analyse(case, wells)
            for parameter in fit.parameters[: fit.covariance.shape[0]]:
                truth = planted[parameter.name]
                sides = (parameter.lower > truth, parameter.upper < truth, parameter.identifiable)
                held.setdefault(parameter.name, []).append(sides)
        seconds = (time.perf_counter() - began) / draws
        for name, sides_of in held.items():
            above, below, known = np.mean(np.array(sides_of, dtype=float), axis=0) * 100.0
            share = 100.0 - above - below
            print(
                f"{case.name:32s}{name:28s}{share:6.1f} % hold; lower limit above {above:4.1f} %, upper below "
                f"{below:4.1f} %; both limits set {known:5.1f} %; {1000.0 * seconds:.0f} ms a fit"
            )


if __name__ == "__main__":
    main()
