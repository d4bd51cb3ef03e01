"""Analyses of pumping tests: arrays in, frozen results out.

Inside, lengths are metres, times days since the start of pumping, rates m³/d, and drawdown is positive down.
`fit_pumping_test` is the door to every analysis; `PumpingFit` is what each of them returns.

Parameters
----------
rates : PumpingRates
    History of rates.
wells : sequence of WellDrawdown
    Readings of wells.
days, first_days, last_days : array_like or float
    Times since the start of pumping; the first of a window is left out, the last is part of it [d].
kinds : sequence of FittedParameter
    Parameters of a model, in the order of their logarithms.
theta : numpy.ndarray, shape (k,)
    Logarithms of the parameters.
problem, solution : Problem, Solution
    What was fitted, and the fit.
parameters : sequence of Parameter
    Estimates with limits.
name, what : str
    Name of a parameter, model, method or dimension, and what a dimension is called in messages.
k : int
    Number of parameters.
places : numpy.ndarray of int, shape (k,)
    Places of readings that are kept.
drawdown_m, half_width_m : numpy.ndarray, shape (n,)
    Drawdowns, positive down, and their 95 % half-widths [m].
degrees : float
    Degrees of freedom.
"""

from gwnet.hydro.pumping.methods import METHODS, fit_pumping_test
from gwnet.hydro.pumping.results import OtherPumping, Parameter, PumpingFit, PumpingGeometry, PumpingRates, WellDrawdown

__all__ = [
    "METHODS",
    "OtherPumping",
    "Parameter",
    "PumpingFit",
    "PumpingGeometry",
    "PumpingRates",
    "WellDrawdown",
    "fit_pumping_test",
]
