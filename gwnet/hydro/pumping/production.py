"""Production of a well: drawdown for a rate and a time, and the rate that keeps the level above a limit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.constants import NORMAL_95
from gwnet.errors import AnalysisError
from gwnet.hydro.pumping.fitting import student_95
from gwnet.hydro.pumping.models import MODELS, model_drawdown
from gwnet.hydro.pumping.results import PumpingFit, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.well_functions import theis

Floats = NDArray[np.float64]

#: What every statement on production says.
PRODUCTION_SENTENCE: Final = (
    "Interference with other wells, seasonal low levels and licences are not part of these numbers: they are for a "
    "licensed professional and the local authority."
)
#: From this many times the length of the test on a drawdown is called an extrapolation (project default).
_FAR_BEYOND: Final = 10.0
#: Step of derivatives in the logarithm of a parameter.
_STEP: Final = 1e-4
_STEP_METHODS: Final = ("step", "step-rorabaugh", "step-theis")
#: Rates between which a rate is looked for [m³/d].
_RATES: Final = (1e-6, 1e9)


@dataclass(frozen=True)
class AvailableDrawdown:
    """How far the level of a well may fall.

    Attributes
    ----------
    limit : str
        What sets the limit.
    depth_m : float
        Its depth [m].
    drawdown_m : float
        Depth less static depth [m].
    others : tuple of (str, float)
        The other limits with their drawdowns, least first [m].
    """

    limit: str
    depth_m: float
    drawdown_m: float
    others: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Prediction:
    """A number worked out from an analysis, with limits.

    Attributes
    ----------
    value, lower, upper : float
        The number and its 95 % limits; NaN where the analysis has none.
    unit : str
        Its unit.
    note : str
        What is to be known about it; always with the sentence on interference, seasonal lows and licences.
    """

    value: float
    lower: float
    upper: float
    unit: str
    note: str


def available_drawdown(static_depth_m: float, depths_m: Mapping[str, float]) -> AvailableDrawdown:
    """Return how far a level may fall before the first of several limits.

    Parameters
    ----------
    static_depth_m : float
        Static depth to water [m].
    depths_m : mapping of str to float
        Depths of the limits by name, such as pump intake or screen top [m].

    Returns
    -------
    AvailableDrawdown
        The nearest limit.

    Raises
    ------
    AnalysisError
        If none is given, or one lies at or above the static level.

    Examples
    --------
    >>> available_drawdown(5.0, {"pump intake": 40.0, "screen top": 30.0}).limit
    'screen top'
    """
    known = {name: float(depth) for name, depth in depths_m.items() if depth is not None and math.isfinite(depth)}
    if not known:
        raise AnalysisError("No limit of the drawdown is on record.", fix="Give pump intake, screen top or a limit.")
    for name, depth in known.items():
        if depth <= static_depth_m:
            message = f"The {name} at {depth:g} m is not below the static level at {static_depth_m:g} m."
            raise AnalysisError(message, fix="Give a depth below the static level.")
    (limit, depth), *others = sorted(known.items(), key=lambda pair: pair[1])
    rest = tuple((name, other - static_depth_m) for name, other in others)
    return AvailableDrawdown(limit, depth, depth - static_depth_m, rest)


def predict_drawdown(
    fit: PumpingFit,
    rate_m3_d: float,
    days: float,
    *,
    distance_m: float | None = None,
    growth: PumpingFit | None = None,
) -> Prediction:
    """Return the drawdown for a constant rate and a time, with limits.

    Parameters
    ----------
    fit : PumpingFit
        A step test, for the pumped well, or a model of drawdown fitted to any wells.
    rate_m3_d : float
        Rate, above 0 [m³/d].
    days : float
        Time since the start of pumping, above 0 [d].
    distance_m : float, optional
        Distance from the pumped well; that of the nearest well of the fit unless given [m].
    growth : PumpingFit, optional
        For the ends of steps: an analysis whose transmissivity says how the drawdown grows after the steps' hours.

    Returns
    -------
    Prediction
        Drawdown [m]. Limits are those of the fitted parameters, linear in them, on the logarithm of the drawdown.

    Raises
    ------
    AnalysisError
        If rate or time are not above 0, or the analysis does not tell a drawdown for that time.
    """
    if not (rate_m3_d > 0.0 and days > 0.0):
        message = f"The rate is {rate_m3_d:g} m³/d and the time {days:g} d; expected numbers above 0."
        raise AnalysisError(message)
    value, spread = _drawdown_of(fit, days, distance_m, growth)(rate_m3_d)
    quantile = student_95(fit.degrees) if fit.degrees > 0 else NORMAL_95
    with np.errstate(over="ignore"):
        # Limits are a factor, as errors are of logarithms: a drawdown has no limit below 0.
        ratio = float(np.exp(quantile * spread)) if math.isfinite(spread) else math.inf
    return Prediction(value, value / ratio, value * ratio, "m", _note(fit, rate_m3_d, days))


def rate_for_drawdown(
    fit: PumpingFit,
    drawdown_m: float,
    days: float,
    *,
    distance_m: float | None = None,
    growth: PumpingFit | None = None,
) -> Prediction:
    """Return the constant rate whose drawdown after a time is a given one, with limits.

    Parameters
    ----------
    fit : PumpingFit
        As of `predict_drawdown`.
    drawdown_m : float
        Drawdown, above 0; the available one for the rate that keeps the level above its limit [m].
    days : float
        Time since the start of pumping, above 0 [d].
    distance_m : float, optional
        As of `predict_drawdown` [m].
    growth : PumpingFit, optional
        As of `predict_drawdown`.

    Returns
    -------
    Prediction
        Rate [m³/d]; at its lower limit the upper limit of the drawdown is the given one, and the other way round.

    Raises
    ------
    AnalysisError
        If drawdown or time are not above 0, or the analysis does not tell a drawdown for that time.
    """
    from scipy.optimize import brentq

    if not (drawdown_m > 0.0 and days > 0.0):
        message = f"The drawdown is {drawdown_m:g} m and the time {days:g} d; expected numbers above 0."
        raise AnalysisError(message)
    drawdown = _drawdown_of(fit, days, distance_m, growth)
    quantile = student_95(fit.degrees) if fit.degrees > 0 else NORMAL_95

    def rate(side: float) -> float:
        def above(logarithm: float) -> float:
            value, spread = drawdown(math.exp(logarithm))
            # An unknown spread leaves the best rate as it is.
            reach = side * quantile * spread if side else 0.0
            return math.log(value) + reach - math.log(drawdown_m)

        low, high = math.log(_RATES[0]), math.log(_RATES[1])
        low_end, high_end = above(low), above(high)
        # Without a covariance nothing is known but that the rate is not negative.
        if not (math.isfinite(low_end) and math.isfinite(high_end)):
            return 0.0 if side > 0.0 else math.inf
        if low_end > 0.0:
            return 0.0
        return math.inf if high_end < 0.0 else math.exp(brentq(above, low, high, xtol=1e-10))

    best = rate(0.0)
    return Prediction(best, rate(1.0), rate(-1.0), "m3/d", _note(fit, best, days))


def _drawdown_of(
    fit: PumpingFit, days: float, distance_m: float | None, growth: PumpingFit | None
) -> Callable[[float], tuple[float, float]]:
    """Return what gives the drawdown of a rate and the standard error of its logarithm."""
    if fit.model == "step":
        return _with_growth(fit, days, growth, _jacob_steps(fit))
    if fit.model == "step-rorabaugh":
        return _with_growth(fit, days, growth, _of_logarithms(fit, _rorabaugh_steps(fit)))
    if fit.model == "step-theis":
        return _of_logarithms(fit, _theis_steps(fit, days))
    if fit.model in MODELS:
        return _of_logarithms(fit, _model(fit, days, min(fit.distances_m) if distance_m is None else distance_m))
    usable = ", ".join((*_STEP_METHODS, *MODELS))
    message = f"The analysis {fit.model} does not say how the drawdown depends on rate and time."
    raise AnalysisError(message, fix=f"Use one of {usable}.")


def _of_logarithms(
    fit: PumpingFit, drawdown: Callable[[Floats, float], float]
) -> Callable[[float], tuple[float, float]]:
    """Return the drawdown with its spread from the covariance of the logarithms of the parameters."""
    k = fit.covariance.shape[0]
    # A parameter at an end of the search is 0 or infinite and has no logarithm.
    theta = np.log([max(min(parameter.value, 1e12), 1e-12) for parameter in fit.parameters[:k]])

    def worked_out(rate: float) -> tuple[float, float]:
        value = drawdown(theta, rate)
        gradient = np.empty(k)
        for place in range(k):
            moved = theta.copy()
            moved[place] += _STEP
            gradient[place] = (math.log(drawdown(moved, rate)) - math.log(value)) / _STEP
        if not np.isfinite(fit.covariance).all():
            return value, math.inf
        return value, math.sqrt(max(float(gradient @ fit.covariance @ gradient), 0.0))

    return worked_out


def _jacob_steps(fit: PumpingFit) -> Callable[[float], tuple[float, float]]:
    linear, loss = fit.value("linear_loss"), fit.value("well_loss")

    def worked_out(rate: float) -> tuple[float, float]:
        powers = np.array([rate, rate**2])
        # Jacob's coefficients may come out negative, and the logarithm needs a number above 0.
        value = max(float(powers @ np.array([linear, loss])), 1e-300)
        if fit.degrees <= 0:
            return value, math.inf
        return value, math.sqrt(max(float(powers @ fit.covariance @ powers), 0.0)) / value

    return worked_out


def _rorabaugh_steps(fit: PumpingFit) -> Callable[[Floats, float], float]:
    greatest = fit.greatest_rate_m3_d

    def drawdown(theta: Floats, rate: float) -> float:
        linear, loss, exponent = np.exp(theta)
        return float(linear * rate + loss * (rate / greatest) ** exponent)

    return drawdown


def _theis_steps(fit: PumpingFit, days: float) -> Callable[[Floats, float], float]:
    greatest, bore_m = fit.greatest_rate_m3_d, fit.distances_m[0]

    def drawdown(theta: Floats, rate: float) -> float:
        transmissivity, storativity, loss, exponent = np.exp(theta)
        aquifer = float(theis(bore_m**2 * storativity / (4.0 * transmissivity * days))) / (4.0 * np.pi * transmissivity)
        return float(rate * aquifer + loss * (rate / greatest) ** exponent)

    return drawdown


def _model(fit: PumpingFit, days: float, distance_m: float) -> Callable[[Floats, float], float]:
    k = fit.covariance.shape[0]
    names = [parameter.name for parameter in fit.parameters[:k]]
    at = WellDrawdown("", distance_m, [days], [0.0])

    def drawdown(theta: Floats, rate: float) -> float:
        values = dict(zip(names, np.exp(theta).tolist(), strict=True))
        fall = model_drawdown(fit.model, values, PumpingRates([0.0], [1.0]), at, fit.geometry)
        return max(float(fall[0]) * rate, 1e-300)

    return drawdown


def _with_growth(
    fit: PumpingFit, days: float, growth: PumpingFit | None, drawdown: Callable[[float], tuple[float, float]]
) -> Callable[[float], tuple[float, float]]:
    """Return the drawdown at the steps' hours, and its growth after them by another test's transmissivity."""
    step_days = float(np.median(np.diff(fit.days, prepend=0.0)))
    if growth is None:
        # A tenth more, since steps are never timed to the minute.
        if days > 1.1 * step_days:
            message = f"The steps lasted {24.0 * step_days:.3g} h; they do not tell the drawdown after {days:g} d."
            raise AnalysisError(message, fix="Give an analysis with a transmissivity, or use step-theis.")
        return drawdown
    transmissivity = growth.value("transmissivity")
    spread_of_log = math.sqrt(float(growth.covariance[0, 0]))
    per_rate = math.log(days / step_days) / (4.0 * math.pi * transmissivity)

    def worked_out(rate: float) -> tuple[float, float]:
        value, spread = drawdown(rate)
        added = rate * per_rate
        total = value + added
        return total, math.hypot(value * spread, added * spread_of_log) / total

    return worked_out


def _note(fit: PumpingFit, rate_m3_d: float, days: float) -> str:
    notes = []
    longest = float(fit.days.max())
    if days > _FAR_BEYOND * longest:
        notes.append(
            f"{days:.3g} d is {days / longest:.0f} times as long as the test: a boundary or leakage that it did not "
            "reach would change the drawdown."
        )
    if fit.model in {"step-rorabaugh", "step-theis"} and rate_m3_d > 1.05 * fit.greatest_rate_m3_d:
        notes.append(f"The rate exceeds the greatest of the test, {fit.greatest_rate_m3_d:.4g} m³/d.")
    if fit.model in MODELS:
        notes.append("Loss in the well is not part of it; use a step test for the pumped well.")
    return " ".join([*notes, PRODUCTION_SENTENCE])
