"""Fits of models of drawdown to the readings of one well or of several at once."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.constants import NORMAL_95
from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.pumping import well_functions
from gwnet.hydro.pumping.fitting import Problem, Solution, solve
from gwnet.hydro.pumping.models import DrawdownModel, FittedParameter, find_model, model_drawdown
from gwnet.hydro.pumping.results import (
    Parameter,
    PumpingFit,
    PumpingGeometry,
    PumpingRates,
    WellDrawdown,
    used_readings,
)

Floats = NDArray[np.float64]

#: Times, of those of all readings, that starts are looked for with.
_START_READINGS: Final = 24
#: Diffusivities, in units of the square of the distance over the time, that are looked at.
_DIFFUSIVITIES: Final = tuple(10.0 ** np.arange(-1.5, 7.1, 0.75))
#: Difference of Akaike's criterion from which the model with fewer parameters is said to do as well (Burnham and
#: Anderson 2002, Model Selection, p. 70; from memory).
SUPPORTED_AICC: Final = 2.0


def fit_model(
    name: str,
    rates: PumpingRates,
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry | None = None,
    *,
    compare: bool = True,
) -> PumpingFit:
    """Fit a model of drawdown to the readings of one or more wells at once.

    Parameters
    ----------
    name : str
        One of `gwnet.hydro.pumping.models.MODELS`.
    rates : PumpingRates
        History of rates; recovery is part of it.
    wells : sequence of WellDrawdown
        Readings; those at or before the start of pumping take no part.
    geometry : PumpingGeometry, optional
        Dimensions; with a ``boundary`` the distance of the image well is fitted where the wells do not state it.
    compare : bool, optional
        Whether the simpler model is fitted too and the note says which is supported.

    Returns
    -------
    PumpingFit
        Parameters with limits, residuals and what the data determine.

    Raises
    ------
    AnalysisError
        If a dimension that the model needs is missing, several wells share an image distance that is not known, or
        other pumped wells are to be superposed beside a boundary.
    TooFewLevelsError
        If there are fewer readings than parameters.
    """
    model = find_model(name)
    geometry = geometry or PumpingGeometry()
    used = used_readings(wells, rates)
    _check_others(used, geometry)
    kinds = _kinds(model, used, geometry)
    check_count(name, len(kinds), used)
    names = [kind.name for kind in kinds]

    def predict(theta: Floats) -> Floats:
        values = dict(zip(names, np.exp(theta).tolist(), strict=True))
        return np.concatenate([model_drawdown(name, values, rates, well, geometry) for well in used])

    slopes = _theis_slopes(rates, used) if _is_plain(name, used, geometry) else None
    starts = _starts(model, kinds, rates, used, geometry)
    fit, solution = fit_readings(name, kinds, predict, starts, used, geometry, slopes)
    notes = [identified_note(fit.parameters), serial_note(solution)]
    if compare:
        notes.insert(1, _comparison(model, fit, rates, wells, solution))
    superposed = tuple(dict.fromkeys(other.well for well in used for other in well.others))
    if superposed:
        notes.insert(0, f"The pumping of {' and '.join(superposed)} is superposed.")
    return replace(fit, note=" ".join(note for note in notes if note), superposed=superposed)


def _check_others(wells: Sequence[WellDrawdown], geometry: PumpingGeometry) -> None:
    if geometry.boundary and any(well.others for well in wells):
        message = "A boundary and other pumped wells cannot be taken into account together: their images are not known."
        raise AnalysisError(message, fix="Leave the boundary or the other wells out.")


def _is_plain(name: str, wells: Sequence[WellDrawdown], geometry: PumpingGeometry) -> bool:
    """Return whether the drawdown is Theis's of one pumped well alone, of which the derivatives are known."""
    return name == "theis" and not geometry.boundary and not any(well.others for well in wells)


def _kinds(
    model: DrawdownModel, wells: Sequence[WellDrawdown], geometry: PumpingGeometry
) -> tuple[FittedParameter, ...]:
    if not geometry.boundary:
        return model.parameters
    if geometry.boundary not in {"barrier", "recharge"}:
        message = f"The boundary is {geometry.boundary!r}; expected barrier or recharge."
        raise AnalysisError(message)
    unknown = [well.well for well in wells if well.image_m is None]
    if not unknown:
        return model.parameters
    if len(unknown) > 1:
        message = f"The image well has a distance of its own from each of {', '.join(unknown)}; none is given."
        raise AnalysisError(message, fix="Give the distances of the image well, or fit one well at a time.")
    image = FittedParameter("image_distance", "m", 1.0, 1e4, (3.0, 12.0, 50.0), of_distance=True)
    return (*model.parameters, image)


def _log_ends(kinds: Sequence[FittedParameter], wells: Sequence[WellDrawdown]) -> tuple[Floats, Floats]:
    far = max(well.distance_m for well in wells)
    scale = np.array([far if kind.of_distance else 1.0 for kind in kinds])
    low = np.log(np.array([kind.low for kind in kinds]) * scale)
    high = np.log(np.array([kind.high for kind in kinds]) * scale)
    return low, high


def check_count(name: str, k: int, wells: Sequence[WellDrawdown]) -> None:
    """Refuse fewer readings than parameters.

    Parameters as `gwnet.hydro.pumping`.

    Raises
    ------
    TooFewLevelsError
        If there are fewer readings than parameters.
    """
    n = sum(well.days.size for well in wells)
    if n < k:
        message = f"{n} {'reading' if n == 1 else 'readings'} cannot determine the {k} parameters of {name}."
        raise TooFewLevelsError(message, fix="Add readings, or use a model with fewer parameters.")


def fit_readings(
    name: str,
    kinds: Sequence[FittedParameter],
    predict: Callable[[Floats], Floats],
    starts: list[Floats],
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry,
    slopes: Callable[[Floats], tuple[Floats, Floats]] | None = None,
) -> tuple[PumpingFit, Solution]:
    """Fit a function of the logarithms of parameters to the readings of wells.

    Parameters
    ----------
    name : str
        Name of the method.
    kinds : sequence of FittedParameter
        Its parameters.
    predict : callable
        Takes the logarithms, returns what was to be read, well after well.
    starts : list of numpy.ndarray
        Logarithms to start from.
    wells : sequence of WellDrawdown
        Readings.
    geometry : PumpingGeometry
        Dimensions, kept with the fit.
    slopes : callable, optional
        Returns what was to be read and its derivatives.

    Returns
    -------
    tuple of PumpingFit and Solution
        The fit without notes, and the solution in logarithms.
    """
    check_count(name, len(kinds), wells)
    observed = np.concatenate([well.drawdown_m for well in wells])
    weight, known_sd = reading_weights(wells)
    low, high = _log_ends(kinds, wells)
    order, breaks = time_order(wells)
    problem = Problem(observed, weight, predict, low, high, slopes, order, breaks, known_sd, slopes is not None)
    solution = solve(problem, starts)
    return _fit_of(name, kinds, problem, solution, wells, geometry), solution


def reading_weights(wells: Sequence[WellDrawdown]) -> tuple[Floats, float | None]:
    """Return weights of readings, and the standard deviation of a reading of weight 1.

    Parameters
    ----------
    wells : sequence of WellDrawdown
        Readings.

    Returns
    -------
    tuple of numpy.ndarray and float or None
        Weights from the half-widths, of mean square 1; all 1, and None, where a well has no half-widths.
    """
    if any(well.half_width_m is None for well in wells):
        return np.ones(sum(well.days.size for well in wells)), None
    inverse = NORMAL_95 / np.concatenate([well.half_width_m for well in wells if well.half_width_m is not None])
    # Scaled to a mean square of 1, so that sums of squares stay in m² and comparable between tests.
    scale = math.sqrt(float(np.mean(inverse**2)))
    return np.asarray(inverse / scale, dtype=np.float64), 1.0 / scale


def time_order(wells: Sequence[WellDrawdown]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the order of the readings in time, well after well, and where the next well begins in it.

    Parameters as `gwnet.hydro.pumping`.
    """
    ends = np.cumsum([well.days.size for well in wells])
    order = [np.argsort(well.days, kind="stable") + end - well.days.size for well, end in zip(wells, ends, strict=True)]
    return np.concatenate(order).astype(np.int64), ends[:-1].astype(np.int64)


def _theis_slopes(rates: PumpingRates, wells: Sequence[WellDrawdown]) -> Callable[[Floats], tuple[Floats, Floats]]:
    """Return what works out Theis's drawdowns of all wells at once, with their derivatives."""
    changes = rates.changes_m3_d
    elapsed = np.concatenate([well.days for well in wells])[:, None] - rates.start_days[None, :]
    squared = np.concatenate([np.full(well.days.size, well.distance_m**2) for well in wells])
    runs = (elapsed > 0.0) & (changes != 0.0)[None, :]
    # u without S/T
    factor = (np.broadcast_to(squared[:, None], elapsed.shape)[runs]) / (4.0 * elapsed[runs])
    grid, decay_grid = np.zeros(elapsed.shape), np.zeros(elapsed.shape)

    def slopes(theta: Floats) -> tuple[Floats, Floats]:
        u = factor * math.exp(theta[1] - theta[0])
        scale = math.exp(-theta[0]) / (4.0 * math.pi)
        grid[runs], decay_grid[runs] = well_functions.theis(u), np.exp(-u)
        values = (grid @ changes) * scale
        decay = (decay_grid @ changes) * scale
        return values, np.column_stack([decay - values, -decay])

    return slopes


def _starts(
    model: DrawdownModel,
    kinds: Sequence[FittedParameter],
    rates: PumpingRates,
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry,
) -> list[Floats]:
    """Return where to start: of a grid the best, its transmissivity by linear regression.

    For a given diffusivity T/S every model here has a drawdown proportional to 1/T, or nearly so.
    """
    thin = [_thinned(well, max(_START_READINGS // len(wells), 6)) for well in wells]
    far = max(well.distance_m for well in thin)
    observed = np.concatenate([well.drawdown_m for well in thin])
    weight, _ = reading_weights(thin)
    names = [kind.name for kind in kinds]
    near = min(well.distance_m for well in thin)
    time = min(float(np.median(well.days)) for well in thin)
    others = [[start * (far if kind.of_distance else 1.0) for start in kind.starts] for kind in kinds[2:]]
    scaled = np.array([True, True, *(kind.of_storativity for kind in kinds[2:])])

    quick = _theis_slopes(rates, thin) if _is_plain(model.name, thin, geometry) else None

    def shape_of(parameters: Floats) -> Floats:
        if quick is not None:
            return quick(np.log(parameters))[0]
        values = dict(zip(names, parameters.tolist(), strict=True))
        return np.concatenate([model_drawdown(model.name, values, rates, well, geometry) for well in thin])

    best: list[tuple[float, Floats]] = []
    for rest in product(*others):
        tried = []
        for number in _DIFFUSIVITIES:
            storativity = time / (number * 0.1 * near**2)
            more = np.where(scaled[2:], storativity, 1.0) * np.array(rest)
            start = _scaled(shape_of, np.concatenate([[1.0, storativity], more]), scaled, observed, weight)
            if start is not None:
                tried.append(start)
        if tried:
            best.append(min(tried, key=lambda pair: pair[0]))
    if not best:
        message = "The drawdowns do not rise with pumping; no model of drawdown fits."
        raise AnalysisError(message, fix="Check the signs: drawdown is positive down, rates are positive.")
    best.sort(key=lambda pair: pair[0])
    # Two parameters have one valley; with more the second best start may lead to the deeper one.
    return [start for _, start in best[: min(2, len(kinds) - 1)]]


def _scaled(
    shape_of: Callable[[Floats], Floats],
    parameters: Floats,
    scaled: NDArray[np.bool_],
    observed: Floats,
    weight: Floats,
) -> tuple[float, Floats] | None:
    """Return the misfit and the logarithms of parameters whose transmissivity and storages fit best at one ratio."""
    shape = shape_of(parameters)
    along = float((shape * weight) @ (observed * weight))
    size = float((shape * weight) @ (shape * weight))
    # A shape against the drawdowns would need a negative transmissivity.
    if along <= 0.0 or size <= 0.0:
        return None
    factor = size / along
    misfit = float((((shape / factor) - observed) ** 2 * weight**2).sum())
    return misfit, np.log(np.where(scaled, parameters * factor, parameters))


def _thinned(well: WellDrawdown, count: int) -> WellDrawdown:
    if well.days.size <= count:
        return well
    order = np.argsort(well.days, kind="stable")
    places = order[np.unique(np.linspace(0, order.size - 1, count).round().astype(int))]
    return well.at(places)


def parameters_of(kinds: Sequence[FittedParameter], problem: Problem, solution: Solution) -> tuple[Parameter, ...]:
    """Return the parameters with their limits; what lies at an end of the search is 0 or infinite.

    Parameters as `gwnet.hydro.pumping`.
    """
    found = []
    for kind, theta, lower, upper, low, high in zip(
        kinds, solution.theta, solution.lower, solution.upper, problem.low, problem.high, strict=True
    ):
        # The search comes close to an end of its range but not onto it.
        at_end = math.inf if theta > high - 1e-3 else -math.inf if theta < low + 1e-3 else float(theta)
        found.append(
            Parameter(
                kind.name,
                math.exp(theta) if kind.is_limited else _exp(at_end),
                kind.unit,
                _exp(float(lower)),
                _exp(float(upper)),
                identifiable=bool(np.isfinite([at_end, lower, upper]).all()),
            )
        )
    return tuple(found)


def _exp(logarithm: float) -> float:
    # A float64 overflows just above exp(709).
    return math.inf if logarithm > 700.0 else math.exp(logarithm)


def _fit_of(
    name: str,
    kinds: Sequence[FittedParameter],
    problem: Problem,
    solution: Solution,
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry,
) -> PumpingFit:
    fitted = problem.predict(solution.theta)
    residuals = problem.observed - fitted
    return PumpingFit(
        model=name,
        parameters=parameters_of(kinds, problem, solution),
        wells=tuple(well.well for well in wells),
        distances_m=tuple(well.distance_m for well in wells),
        n=int(residuals.size),
        rmse_m=float(np.sqrt(np.mean(residuals**2))),
        days=np.concatenate([well.days for well in wells]),
        observed_m=problem.observed,
        fitted_m=fitted,
        residuals=residuals,
        well_index=np.repeat(np.arange(len(wells)), [well.days.size for well in wells]),
        correlation=solution.correlation,
        covariance=solution.covariance,
        degrees=solution.degrees,
        aicc=solution.aicc,
        geometry=geometry,
    )


def identified_note(parameters: Sequence[Parameter]) -> str:
    """Return the sentence on parameters that the data do not determine, empty where they determine all.

    Parameters as `gwnet.hydro.pumping`.
    """
    unknown = []
    for parameter in parameters:
        if parameter.identifiable:
            continue
        unit = f" {parameter.unit}" if parameter.unit else ""
        name = parameter.name.replace("_", " ")
        if parameter.lower > 0.0:
            unknown.append(f"the {name} (only that it is above {parameter.lower:.3g}{unit}, at 95 %)")
        elif math.isfinite(parameter.upper):
            unknown.append(f"the {name} (only that it is below {parameter.upper:.3g}{unit}, at 95 %)")
        else:
            unknown.append(f"the {name}")
    return f"The data do not determine {' and '.join(unknown)}." if unknown else ""


def serial_note(solution: Solution) -> str:
    """Return the sentence on residuals that follow each other, empty where they do not.

    Parameters as `gwnet.hydro.pumping`.
    """
    if solution.serial <= 0.0:
        return ""
    return (
        f"Residuals that follow each other are correlated ({solution.serial:.2f}): the model departs from the "
        "drawdowns in places, and limits are widened for it."
    )


def _comparison(
    model: DrawdownModel,
    fit: PumpingFit,
    rates: PumpingRates,
    wells: Sequence[WellDrawdown],
    solution: Solution,
) -> str:
    """Return the sentence that compares a fit with that of the simpler model."""
    geometry = fit.geometry
    if geometry.boundary:
        simpler = fit_model(model.name, rates, wells, replace(geometry, boundary=""), compare=False)
        name = f"{model.name} without a boundary"
    elif model.simpler:
        simpler = fit_model(model.simpler, rates, wells, geometry, compare=False)
        name = model.simpler
    else:
        return ""
    return comparison_note(fit, simpler, name, solution.serial)


def comparison_note(fit: PumpingFit, simpler: PumpingFit, name: str, serial: float = 0.0) -> str:
    """Return the sentence that says whether a fit is better supported than one with fewer parameters.

    Parameters
    ----------
    fit, simpler : PumpingFit
        Both fits, of the same readings.
    name : str
        Name of the simpler model.
    serial : float, optional
        Correlation of residuals that follow each other; what they say counts for less by (1 − r)/(1 + r), the
        quasi-likelihood of Burnham and Anderson (2002), Model Selection, p. 70 (from memory).

    Returns
    -------
    str
        The sentence.
    """
    gain = simpler.aicc - fit.aicc
    if not math.isfinite(gain):
        return f"There are too few readings to compare it with the model {name}."
    penalty = _penalty(fit) - _penalty(simpler)
    # Of correlated residuals fewer count, so the gain in fit shrinks; the number of parameters does not.
    gain = (gain + penalty) * (1.0 - serial) / (1.0 + serial) - penalty
    if gain < SUPPORTED_AICC:
        return (
            f"The model {name}, with fewer parameters, describes the readings as well (difference of AICc "
            f"{_signed(gain)}; from {SUPPORTED_AICC:g} on more would be supported)."
        )
    return f"It is better supported than the model {name} (AICc lower by {gain:.1f})."


def _signed(number: float) -> str:
    return f"{number:+.1f}".replace("-", "−")


def _penalty(fit: PumpingFit) -> float:
    """Return the part of Akaike's criterion that grows with the number of parameters."""
    # One more, since the variance of the residuals is estimated as well.
    parameters = fit.n - fit.degrees + 1
    return 2.0 * parameters * fit.n / (fit.n - parameters - 1)
