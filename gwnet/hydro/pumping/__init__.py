"""Analyses of pumping tests: arrays in, frozen results out.

Inside, lengths are metres, times days since the start of pumping, rates m³/d, and drawdown is positive down.
`fit_pumping_test` is the door to every analysis; `PumpingFit` is what each of them returns.
"""

from gwnet.hydro.pumping.methods import METHODS, fit_pumping_test
from gwnet.hydro.pumping.results import Parameter, PumpingFit, PumpingGeometry, PumpingRates, WellDrawdown

__all__ = [
    "METHODS",
    "Parameter",
    "PumpingFit",
    "PumpingGeometry",
    "PumpingRates",
    "WellDrawdown",
    "fit_pumping_test",
]
