"""Step tests: linear loss, well loss and its exponent, and the efficiency of a well."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.pumping.fits import comparison_note, fit_readings, identified_note, serial_note
from gwnet.hydro.pumping.models import STORATIVITY, TRANSMISSIVITY, FittedParameter
from gwnet.hydro.pumping.results import (
    SAME_TIME_DAYS,
    Parameter,
    PumpingFit,
    PumpingGeometry,
    PumpingRates,
    WellDrawdown,
    used_readings,
)
from gwnet.hydro.pumping.well_functions import theis

Floats = NDArray[np.float64]

#: Exponent of the well loss that Jacob (1947), Trans. American Society of Civil Engineers 112, 1047–1070, took.
JACOB_EXPONENT: Final = 2.0
#: Ends of the search for the exponent: a loss is linear at 1; 12 is beyond what is published (project default).
_EXPONENTS: Final = (1.02, 12.0)
_LINEAR: Final = FittedParameter("linear_loss", "d/m2", 1e-12, 1e6)
#: Well loss at the greatest rate: unlike its coefficient it hardly depends on the exponent.
_LOSS: Final = FittedParameter("well_loss_at_greatest_rate", "m", 1e-6, 1e6)
_EXPONENT: Final = FittedParameter("exponent", "", *_EXPONENTS, is_limited=True)


@dataclass(frozen=True)
class StepEnds:
    """Rates of a step test with the drawdowns at their ends.

    Attributes
    ----------
    rate_m3_d, days, hours, drawdown_m : numpy.ndarray, shape (k,)
        Rate, time of the last reading of the step, hours of that reading since the step began, and its drawdown.
    half_width_m : numpy.ndarray or None
        95 % half-widths of the drawdowns [m].
    """

    rate_m3_d: Floats
    days: Floats
    hours: Floats
    drawdown_m: Floats
    half_width_m: Floats | None

    @property
    def specific_capacity_m2_d(self) -> Floats:
        """Return the rate over the drawdown [m²/d]."""
        return self.rate_m3_d / self.drawdown_m


def step_ends(rates: PumpingRates, well: WellDrawdown) -> StepEnds:
    """Return the last reading of each step of a pumped well.

    Parameters
    ----------
    rates : PumpingRates
        History of rates; a rate of 0 is no step.
    well : WellDrawdown
        Readings of the pumped well.

    Returns
    -------
    StepEnds
        Steps that have a reading with a drawdown above 0, in order of time.

    Raises
    ------
    TooFewLevelsError
        If no step has one.
    """
    ends = np.append(rates.start_days[1:], math.inf)
    rows = []
    for rate, start, end in zip(rates.rate_m3_d, rates.start_days, ends, strict=True):
        places = np.flatnonzero((well.days > start + SAME_TIME_DAYS) & (well.days <= end + SAME_TIME_DAYS))
        if rate <= 0.0 or not places.size:
            continue
        place = int(places[np.argmax(well.days[places])])
        # Without a drawdown there is no specific capacity.
        if well.drawdown_m[place] > 0.0:
            rows.append((rate, well.days[place], 24.0 * (well.days[place] - start), well.drawdown_m[place], place))
    if not rows:
        message = f"No step has a reading of {well.well} with a drawdown."
        raise TooFewLevelsError(message, fix="Add readings of the pumped well while it was pumped.")
    rate_m3_d, days, hours, drawdown_m = (np.array(column) for column in list(zip(*rows, strict=True))[:4])
    widths = None if well.half_width_m is None else well.half_width_m[[row[4] for row in rows]]
    return StepEnds(rate_m3_d, days, hours, drawdown_m, widths)


def well_efficiency(linear_loss: float, well_loss: float, exponent: float, rate_m3_d: float) -> float:
    """Return the share of the drawdown that is linear in the rate: BQ/(BQ + CQⁿ).

    Parameters
    ----------
    linear_loss, well_loss, exponent : float
        B [d/m²], C and n.
    rate_m3_d : float
        Rate [m³/d].
    """
    linear = linear_loss * rate_m3_d
    return float(linear / (linear + well_loss * rate_m3_d**exponent))


def fit_steps(
    rates: PumpingRates, wells: Sequence[WellDrawdown], geometry: PumpingGeometry | None = None
) -> PumpingFit:
    """Fit Jacob's linear and well loss to the drawdowns at the ends of steps: s = BQ + CQ².

    Parameters
    ----------
    rates : PumpingRates
        Rates of the steps.
    wells : sequence of WellDrawdown
        The pumped well alone.
    geometry : PumpingGeometry, optional
        Kept with the fit.

    Returns
    -------
    PumpingFit
        Linear loss, well loss and the efficiency at the greatest rate; limits by Student's t.

    Raises
    ------
    TooFewLevelsError
        If fewer than two steps have readings.

    Notes
    -----
    Specific drawdown s/Q over Q is a straight line: Jacob (1947), Trans. American Society of Civil Engineers 112,
    1047–1070 (from memory). Drawdowns are taken as they are, without parting the steps' increments from each other.
    """
    ends, used = _ends_of(rates, wells, 2)
    specific = ends.drawdown_m / ends.rate_m3_d
    design = np.column_stack([np.ones(specific.size), ends.rate_m3_d])
    (linear, quadratic), *_ = np.linalg.lstsq(design, specific, rcond=None)
    residual = specific - design @ np.array([linear, quadratic])
    degrees = specific.size - 2
    covariance = np.linalg.inv(design.T @ design)
    if degrees > 0:
        from gwnet.hydro.pumping.fitting import student_95

        covariance = covariance * float(residual @ residual) / degrees
        half = student_95(degrees) * np.sqrt(np.diag(covariance))
    else:
        half = np.full(2, math.inf)
    fitted = (linear + quadratic * ends.rate_m3_d) * ends.rate_m3_d
    greatest = float(ends.rate_m3_d.max())
    parameters = (
        _signed_parameter("linear_loss", linear, half[0], "d/m2"),
        _signed_parameter("well_loss", quadratic, half[1], "d2/m5"),
        Parameter("efficiency", well_efficiency(linear, quadratic, 2.0, greatest), ""),
    )
    spread = np.sqrt(np.diag(covariance))
    fit = _step_fit("step", ends, used, fitted, parameters, geometry, covariance, covariance / np.outer(spread, spread))
    notes = [identified_note(parameters), _unlike_hours(ends)]
    if quadratic <= 0.0:
        notes.append("The specific drawdown does not grow with the rate: the steps show no well loss.")
    return replace(fit, note=" ".join(note for note in notes if note))


def _signed_parameter(name: str, value: float, half: float, unit: str) -> Parameter:
    """Return a parameter that may be negative; it is determined where its limits do not hold zero."""
    return Parameter(name, float(value), unit, float(value - half), float(value + half), bool(abs(value) > half))


def _ends_of(rates: PumpingRates, wells: Sequence[WellDrawdown], least: int) -> tuple[StepEnds, WellDrawdown]:
    if len(wells) != 1:
        names = ", ".join(well.well for well in wells)
        message = f"A step test is of the pumped well alone; given are {names or 'no wells'}."
        raise AnalysisError(message, fix="Name the pumped well.")
    ends = step_ends(rates, wells[0])
    if np.unique(ends.rate_m3_d).size < least:
        message = f"This analysis needs {least} steps at different rates; readings are of {ends.rate_m3_d.size}."
        raise TooFewLevelsError(message, fix="Add readings of more steps.")
    return ends, wells[0]


def _step_fit(
    name: str,
    ends: StepEnds,
    well: WellDrawdown,
    fitted: Floats,
    parameters: tuple[Parameter, ...],
    geometry: PumpingGeometry | None,
    covariance: Floats,
    correlation: Floats,
) -> PumpingFit:
    from gwnet.hydro.pumping.fitting import aicc

    residuals = ends.drawdown_m - fitted
    n, k = residuals.size, 2
    return PumpingFit(
        model=name,
        parameters=parameters,
        wells=(well.well,),
        distances_m=(well.distance_m,),
        n=n,
        rmse_m=float(np.sqrt(np.mean(residuals**2))),
        days=ends.days,
        observed_m=ends.drawdown_m,
        fitted_m=fitted,
        residuals=residuals,
        well_index=np.zeros(n, dtype=np.int64),
        correlation=correlation,
        covariance=covariance,
        degrees=n - k,
        aicc=aicc(float(residuals @ residuals), n, k),
        geometry=geometry or PumpingGeometry(),
    )


def _unlike_hours(ends: StepEnds) -> str:
    if np.ptp(ends.hours) <= 0.1 * float(ends.hours.max()):
        return ""
    return (
        f"The steps were read after {ends.hours.min():.3g} to {ends.hours.max():.3g} h; specific drawdowns compare "
        "only after the same time."
    )


def fit_steps_exponent(
    rates: PumpingRates, wells: Sequence[WellDrawdown], geometry: PumpingGeometry | None = None
) -> PumpingFit:
    """Fit linear loss, well loss and its exponent to the drawdowns at the ends of steps: s = BQ + CQⁿ.

    Parameters as `gwnet.hydro.pumping.steps.fit_steps`.

    Returns
    -------
    PumpingFit
        Linear loss, well loss at the greatest rate, exponent; derived well loss and efficiency at that rate.

    Raises
    ------
    TooFewLevelsError
        If fewer than three steps have readings.

    Notes
    -----
    Rorabaugh (1953), Proc. American Society of Civil Engineers 79, separate 362 (from memory).
    """
    ends, well = _ends_of(rates, wells, 3)
    at_ends = WellDrawdown(well.well, well.distance_m, ends.days, ends.drawdown_m, ends.half_width_m)
    # By shares: a power of thousands of m³/d would put the coefficient at 1e-20, where no search finds it.
    share = ends.rate_m3_d / ends.rate_m3_d.max()

    def predict(theta: Floats) -> Floats:
        linear, loss, exponent = np.exp(theta)
        return np.asarray(linear * ends.rate_m3_d + loss * share**exponent, dtype=np.float64)

    greatest = float(ends.drawdown_m.max())
    first = float(ends.drawdown_m[0] / ends.rate_m3_d[0])
    starts = [np.log([first * part, greatest * (1.0 - 0.9 * part), n]) for part in (0.5, 0.9) for n in (2.0, 4.0)]
    kinds = (_LINEAR, _LOSS, _EXPONENT)
    fit, _ = fit_readings("step-rorabaugh", kinds, predict, starts, [at_ends], geometry or PumpingGeometry())
    greatest_rate = float(ends.rate_m3_d.max())
    fit = replace(fit, parameters=_with_derived(fit, greatest_rate), greatest_rate_m3_d=greatest_rate)
    notes = [_exponent_note(fit), identified_note(fit.parameters), _unlike_hours(ends)]
    return replace(fit, note=" ".join(note for note in notes if note))


def _with_derived(fit: PumpingFit, greatest: float, linear_loss: float | None = None) -> tuple[Parameter, ...]:
    """Return the parameters with the coefficient of the well loss and the efficiency at the greatest rate."""
    exponent = fit.value("exponent")
    loss = fit.value("well_loss_at_greatest_rate") / greatest**exponent
    linear = fit.value("linear_loss") if linear_loss is None else linear_loss
    unit = "d^n/m^(3n-1)"
    derived: tuple[Parameter, ...] = (
        Parameter("well_loss", loss, unit),
        Parameter("efficiency", well_efficiency(linear, loss, exponent, greatest), ""),
    )
    if linear_loss is not None:
        derived = (Parameter("linear_loss", linear_loss, "d/m2"), *derived)
    return (*fit.parameters, *derived)


def _exponent_note(fit: PumpingFit) -> str:
    exponent = fit.parameter("exponent")
    if not exponent.lower <= JACOB_EXPONENT <= exponent.upper:
        return ""
    return f"An exponent of {JACOB_EXPONENT:g} (Jacob) agrees with the data."


def fit_steps_theis(
    rates: PumpingRates,
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry | None = None,
    *,
    compare: bool = True,
) -> PumpingFit:
    """Fit Theis's drawdown and a well loss CQⁿ to all readings of a step test at once.

    Parameters
    ----------
    rates : PumpingRates
        Rates of the steps; recovery is part of it.
    wells : sequence of WellDrawdown
        The pumped well alone; its distance is the radius of its bore.
    geometry : PumpingGeometry, optional
        With a ``casing_radius_m`` the well loss is that of the water that entered the well: the rate less what the
        casing itself gave up between two readings.
    compare : bool, optional
        Whether the exponent 2 is fitted too and the note says whether another one is supported.

    Returns
    -------
    PumpingFit
        Transmissivity, storativity, well loss at the greatest rate and exponent; derived linear loss at the end of the
        last step, well loss and efficiency. The storativity takes up the skin of the well and is no property of the
        aquifer.

    Raises
    ------
    AnalysisError
        If more than one well is given.
    TooFewLevelsError
        If there are fewer readings than parameters.

    Notes
    -----
    Rorabaugh (1953) with the superposition of Theis's drawdowns; linear loss is that of the aquifer.
    """
    if len(wells) != 1:
        _ends_of(rates, wells, 1)  # refuses, and names the wells
    (well,) = used_readings(wells, rates)
    geometry = geometry or PumpingGeometry()
    predict = _step_predictor(rates, well, geometry)
    greatest = float(rates.rate_m3_d.max())
    kinds = (TRANSMISSIVITY, STORATIVITY, _LOSS, _EXPONENT)
    starts = _step_starts(predict, well)
    fit, solution = fit_readings("step-theis", kinds, predict, starts, [well], geometry)
    end = float(min(rates.stop_days, well.days.max())) - rates.began_days
    u = well.distance_m**2 * fit.value("storativity") / (4.0 * fit.value("transmissivity") * end)
    linear = float(theis(u)) / (4.0 * math.pi * fit.value("transmissivity"))
    fit = replace(fit, parameters=_with_derived(fit, greatest, linear), greatest_rate_m3_d=greatest)
    notes = [_exponent_note(fit), identified_note(fit.parameters), serial_note(solution)]
    if compare:
        squared, _ = fit_readings(
            "step-theis",
            kinds[:3],
            lambda theta: predict(np.append(theta, math.log(JACOB_EXPONENT))),
            [start[:3] for start in starts],
            [well],
            geometry,
        )
        notes.append(comparison_note(fit, squared, "with the exponent 2", solution.serial))
    notes.append("The storativity of a pumped well holds its skin and is no property of the aquifer.")
    return replace(fit, note=" ".join(note for note in notes if note))


def _step_predictor(rates: PumpingRates, well: WellDrawdown, geometry: PumpingGeometry) -> Callable[[Floats], Floats]:
    """Return what works out the drawdowns of a pumped well with its loss."""
    starts, values = rates.start_days, rates.rate_m3_d
    # A reading at a change of the rate is still of the rate before.
    now = rates.rate_at(well.days - SAME_TIME_DAYS)
    # What the casing gave up was pumped, but did not come out of the aquifer.
    if geometry.casing_radius_m is not None:
        now = now - _casing_rates(rates, well, geometry.casing_radius_m)
    changes = np.diff(values, prepend=0.0)
    greatest = float(rates.rate_m3_d.max())
    # Differences of readings that scatter may give the casing more than was pumped.
    share = np.maximum(now, 0.0) / greatest
    elapsed = well.days[:, None] - starts[None, :]
    runs = elapsed > SAME_TIME_DAYS
    factor = well.distance_m**2 / (4.0 * elapsed[runs])
    grid = np.zeros(elapsed.shape)

    def predict(theta: Floats) -> Floats:
        grid[runs] = theis(factor * math.exp(theta[1] - theta[0]))
        aquifer = (grid @ changes) * math.exp(-theta[0]) / (4.0 * math.pi)
        return np.asarray(aquifer + math.exp(theta[2]) * share ** math.exp(theta[3]), dtype=np.float64)

    return predict


def _casing_rates(rates: PumpingRates, well: WellDrawdown, casing_m: float) -> Floats:
    """Return what the casing itself gave up between two readings: π rc² Δs over the time, by backward differences."""
    order = np.argsort(well.days, kind="stable")
    first = rates.began_days
    length = np.diff(np.concatenate([[first], well.days[order]]))
    fall = np.diff(np.concatenate([[0.0], well.drawdown_m[order]]))
    given = np.empty(length.size)
    given[order] = np.where(length > 0.0, math.pi * casing_m**2 * fall / np.maximum(length, 1e-12), 0.0)
    return given


def _step_starts(predict: Callable[[Floats], Floats], well: WellDrawdown) -> list[Floats]:
    greatest = float(well.drawdown_m.max())
    if greatest <= 0.0:
        message = f"{well.well} has no drawdown above 0 while it was pumped."
        raise AnalysisError(message, fix="Check the signs: drawdown is positive down.")
    tried = []
    for transmissivity in 10.0 ** np.arange(-1.0, 4.6, 0.5):
        for storativity in (1e-5, 1e-2):
            for part in (0.1, 0.4):
                for exponent in (2.0, 3.5):
                    theta = np.log([transmissivity, storativity, part * greatest, exponent])
                    misfit = float(((predict(theta) - well.drawdown_m) ** 2).sum())
                    tried.append((misfit, theta))
    tried.sort(key=lambda pair: pair[0])
    return [theta for _, theta in tried[:3]]
