"""Straight lines on a logarithm of time: drawdown at a constant rate, and recovery after any history of rates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError
from gwnet.hydro.pumping.fits import check_count, fit_readings, identified_note, serial_note
from gwnet.hydro.pumping.models import STORATIVITY, TRANSMISSIVITY, FittedParameter
from gwnet.hydro.pumping.results import (
    SAME_TIME_DAYS,
    PumpingFit,
    PumpingGeometry,
    PumpingRates,
    WellDrawdown,
    used_readings,
)
from gwnet.units import MINUTES_PER_DAY

Floats = NDArray[np.float64]

#: Greatest u at which the straight line stands for Theis's curve: it is 2 % low there, 0.25 % at 0.01 (computed;
#: Cooper and Jacob 1946, Trans. American Geophysical Union 27, 526–534, ask for small u).
LARGEST_U: Final = 0.05
#: 4 exp(−γ) = 2.246 of the straight line, γ Euler's constant.
LINE_FACTOR: Final = 4.0 * math.exp(-float(np.euler_gamma))
#: Share by which the rate may vary over the readings of a straight line (project default).
_STEADY_SHARE: Final = 0.05
#: Rounds of leaving out early readings.
_ROUNDS: Final = 20


def fit_straight_line(
    rates: PumpingRates,
    wells: Sequence[WellDrawdown],
    geometry: PumpingGeometry | None = None,
    *,
    trim: bool = True,
) -> PumpingFit:
    """Fit Cooper and Jacob's straight line to the drawdowns of one or more wells at a constant rate.

    Parameters
    ----------
    rates : PumpingRates
        History of rates; readings after the pump stopped take no part.
    wells : sequence of WellDrawdown
        Readings; several wells share one line over t/r².
    geometry : PumpingGeometry, optional
        Kept with the fit.
    trim : bool, optional
        Whether early readings, at which u exceeds 0.05 by the fitted line, are left out; with a window of one's own
        they stay, and the note says how many there are.

    Returns
    -------
    PumpingFit
        Transmissivity and storativity; the note says from which time u is small enough.

    Raises
    ------
    AnalysisError
        If the rate is not constant over the readings.
    TooFewLevelsError
        If fewer than two readings are left.

    Notes
    -----
    s = Q/(4πT) ln(2.246 Tt/(r²S)); Cooper and Jacob (1946), Trans. American Geophysical Union 27, 526–534 (from
    memory).
    """
    used = [well.within(-math.inf, rates.stop_days) for well in used_readings(wells, rates)]
    used = [well for well in used if well.days.size]
    check_count("straight-line", 2, used)
    rate = _steady_rate(rates, used)
    start = rates.began_days
    kept = used
    fit = _line_fit(rate, start, kept, geometry or PumpingGeometry())
    for _ in range(_ROUNDS if trim else 0):
        late = [well for well in (_late(fit, well, start) for well in used) if well.days.size]
        count = sum(well.days.size for well in late)
        # Fewer than four would always lie nearly on a line.
        if count < 4 or count == fit.n:
            break
        kept, fit = late, _line_fit(rate, start, late, geometry or PumpingGeometry())
    return replace(fit, note=f"{_validity(fit, used, kept, start)} {fit.note}".strip())


def _steady_rate(rates: PumpingRates, wells: Sequence[WellDrawdown]) -> float:
    """Return the constant rate before and during the readings."""
    last = max(float(well.days.max()) for well in wells)
    held = rates.rate_m3_d[(rates.start_days < last) & (rates.rate_m3_d > 0.0)]
    if held.max() - held.min() > _STEADY_SHARE * held.mean():
        message = f"The rate varies from {held.min():g} to {held.max():g} m³/d; a straight line needs a constant rate."
        raise AnalysisError(message, fix="Use theis, which takes any history of rates, or a part at one rate.")
    ends = np.append(rates.start_days[1:], math.inf)
    length = np.minimum(ends, last) - rates.start_days
    pumped = (length > 0.0) & (rates.rate_m3_d > 0.0)
    return float(np.average(rates.rate_m3_d[pumped], weights=length[pumped]))


def _line_fit(rate: float, start: float, wells: Sequence[WellDrawdown], geometry: PumpingGeometry) -> PumpingFit:
    per_square = np.concatenate([(well.days - start) / well.distance_m**2 for well in wells])
    drawdown = np.concatenate([well.drawdown_m for well in wells])
    logarithm = np.log(per_square)
    if np.ptp(logarithm) <= 0.0:
        raise AnalysisError("A straight line needs readings at two times.", fix="Add readings at another time.")
    slope, intercept = np.polyfit(logarithm, drawdown, 1)
    if slope <= 0.0:
        message = f"The drawdown does not grow with time: {slope * math.log(10.0):.3g} m per log cycle."
        raise AnalysisError(message, fix="Check the signs and the window of the readings.")
    transmissivity = rate / (4.0 * math.pi * slope)
    storativity = LINE_FACTOR * transmissivity * math.exp(-intercept / slope)

    def slopes(theta: Floats) -> tuple[Floats, Floats]:
        scale = rate * math.exp(-theta[0]) / (4.0 * math.pi)
        line = scale * (math.log(LINE_FACTOR) + theta[0] - theta[1] + logarithm)
        return line, np.column_stack([scale - line, np.full(line.size, -scale)])

    # With loss in the well the intercept gives storativities far from any aquifer's; the line holds all the same.
    kinds = (TRANSMISSIVITY, replace(STORATIVITY, low=1e-100, high=1e100))
    at = np.clip(np.log([transmissivity, storativity]), -200.0, 200.0)
    fit, solution = fit_readings("straight-line", kinds, lambda theta: slopes(theta)[0], [at], wells, geometry, slopes)
    notes = (identified_note(fit.parameters), serial_note(solution))
    return replace(fit, note=" ".join(note for note in notes if note))


def _valid_from(fit: PumpingFit, well: WellDrawdown, start: float) -> float:
    """Return the time from which u is small enough at a well [d]."""
    ratio = fit.value("storativity") / fit.value("transmissivity")
    return start + well.distance_m**2 * ratio / (4.0 * LARGEST_U)


def _late(fit: PumpingFit, well: WellDrawdown, start: float) -> WellDrawdown:
    """Return the readings of a well at which u is small enough."""
    # `within` leaves out its first time; the reading just at the limit serves.
    return well.within(_valid_from(fit, well, start) - 2.0 * SAME_TIME_DAYS, math.inf)


def _validity(fit: PumpingFit, used: Sequence[WellDrawdown], kept: Sequence[WellDrawdown], start: float) -> str:
    left_out = sum(well.days.size for well in used) - fit.n
    early = fit.n - sum(_late(fit, well, start).days.size for well in kept)
    times = ", ".join(
        f"{(_valid_from(fit, well, start) - start) * MINUTES_PER_DAY:.3g} min at {well.well}" for well in used
    )
    text = f"u is at most {LARGEST_U:g}, as the straight line needs, from {times} on."
    if left_out:
        text += f" {left_out} earlier {'reading was' if left_out == 1 else 'readings were'} left out."
    if early:
        text += f" {early} of the {fit.n} readings that were used {'is' if early == 1 else 'are'} earlier than that."
    return text


def recovery_ratio(rates: PumpingRates, days: ArrayLike) -> Floats:
    """Return t/t′ of times after the pump stopped: since pumping began, over since it stopped.

    Parameters
    ----------
    rates : PumpingRates
        History of rates that ends with 0.
    days : array_like, shape (n,)
        Times [d].

    Returns
    -------
    numpy.ndarray, shape (n,)
        The ratio; after several rates the one that stands for them, exp(−Σ ΔQ ln(t − t_k)/Q) with Q the last rate and
        its stop taken out; NaN at and before the stop.
    """
    times = np.asarray(days, dtype=np.float64)
    stop = rates.stop_days
    ratio = np.full(times.shape, math.nan)
    after = times > stop
    changes = rates.changes_m3_d
    last = rates.last_rate_m3_d
    # In logarithms: the product of times to the power of rates would overflow.
    ratio[after] = np.exp(np.log(times[after][:, None] - rates.start_days) @ changes / last)
    return ratio


def equivalent_days(rates: PumpingRates, days: ArrayLike) -> Floats:
    """Return Agarwal's equivalent time of times after the pump stopped: pumping time × t′ / (pumping time + t′).

    Parameters as `gwnet.hydro.pumping.straight_lines.recovery_ratio`.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Equivalent times [d]; for several rates the logarithm is that of their superposition; NaN before the stop.

    Notes
    -----
    Agarwal (1980), Society of Petroleum Engineers paper 9289 (from memory).
    """
    times = np.asarray(days, dtype=np.float64)
    changes, starts = rates.changes_m3_d[:-1], rates.start_days[:-1]
    last = rates.last_rate_m3_d
    at_stop = float(np.log(rates.stop_days - starts) @ changes) / last
    found = np.full(times.shape, math.nan)
    after = times > rates.stop_days
    elapsed = times[after]
    exponent = np.log(elapsed - rates.stop_days) - np.log(elapsed[:, None] - starts) @ changes / last + at_stop
    found[after] = np.exp(exponent)
    return found


def _recovery_readings(rates: PumpingRates, wells: Sequence[WellDrawdown]) -> list[WellDrawdown]:
    if not math.isfinite(rates.stop_days):
        raise AnalysisError("The rates have no stop, so there is no recovery.", fix="Add the rate 0 from the stop on.")
    used = [well.within(rates.stop_days, math.inf) for well in wells]
    used = [well for well in used if well.days.size]
    if not used:
        raise AnalysisError("No reading lies after the stop of the pump.", fix="Add readings of the recovery.")
    return used


#: The ratio of storativities during recovery and pumping.
_RATIO: Final = FittedParameter("storativity_ratio", "", 1e-30, 1e30)


def fit_recovery(
    rates: PumpingRates, wells: Sequence[WellDrawdown], geometry: PumpingGeometry | None = None
) -> PumpingFit:
    """Fit a straight line to residual drawdowns over the logarithm of t/t′.

    Parameters
    ----------
    rates : PumpingRates
        History of rates that ends with 0.
    wells : sequence of WellDrawdown
        Residual drawdowns; only those after the stop take part.
    geometry : PumpingGeometry, optional
        Kept with the fit.

    Returns
    -------
    PumpingFit
        Transmissivity, and the t/t′ at which the line meets zero: the storativity during recovery over that during
        pumping.

    Raises
    ------
    AnalysisError
        If the pump did not stop, or no reading lies after it.

    Notes
    -----
    s′ = Q/(4πT) (ln(t/t′) − ln ratio): Theis (1935), Trans. American Geophysical Union 16, 519–524 (from memory).
    A ratio below 1 or well above it tells of recharge, a boundary or storage that differs.
    """
    used = _recovery_readings(rates, wells)
    logarithm = np.log(np.concatenate([recovery_ratio(rates, well.days) for well in used]))
    residual = np.concatenate([well.drawdown_m for well in used])
    check_count("recovery", 2, used)
    if np.ptp(logarithm) <= 0.0:
        raise AnalysisError("A straight line needs readings at two times.", fix="Add readings at another time.")
    rate = rates.last_rate_m3_d
    slope, intercept = np.polyfit(logarithm, residual, 1)
    if slope <= 0.0:
        message = "The residual drawdown does not fall after the stop of the pump."
        raise AnalysisError(message, fix="Check the signs, the stop and the window of the readings.")

    def slopes(theta: Floats) -> tuple[Floats, Floats]:
        scale = rate * math.exp(-theta[0]) / (4.0 * math.pi)
        line = scale * (logarithm - theta[1])
        return line, np.column_stack([-line, np.full(line.size, -scale)])

    at = np.array([math.log(rate / (4.0 * math.pi * slope)), float(np.clip(-intercept / slope, -60.0, 60.0))])
    fit, solution = fit_readings(
        "recovery",
        (TRANSMISSIVITY, _RATIO),
        lambda theta: slopes(theta)[0],
        [at],
        used,
        geometry or PumpingGeometry(),
        slopes,
    )
    ratio = fit.parameter("storativity_ratio")
    notes = [identified_note(fit.parameters), serial_note(solution)]
    if ratio.lower > 1.0 or ratio.upper < 1.0:
        notes.insert(
            0,
            f"The line meets zero at t/t′ = {ratio.value:.3g}, not at 1: recharge, a boundary or another storativity "
            "during recovery is possible.",
        )
    return replace(fit, note=" ".join(note for note in notes if note))


def fit_recovery_equivalent(
    rates: PumpingRates, wells: Sequence[WellDrawdown], geometry: PumpingGeometry | None = None
) -> PumpingFit:
    """Fit a straight line to the rise since the stop of the pump over the logarithm of equivalent time.

    Parameters
    ----------
    rates : PumpingRates
        History of rates that ends with 0.
    wells : sequence of WellDrawdown
        Residual drawdowns; each well also needs a reading at or before the stop, the last of which is the drawdown
        that the rise is counted from.
    geometry : PumpingGeometry, optional
        Kept with the fit.

    Returns
    -------
    PumpingFit
        Transmissivity and storativity, as of the drawdown at a constant rate.

    Raises
    ------
    AnalysisError
        If the pump did not stop, or a well has no reading on one side of the stop.
    """
    after = _recovery_readings(rates, wells)
    last_rate = rates.last_rate_m3_d
    risen = []
    for well in after:
        before = next(other for other in wells if other.well == well.well).within(-math.inf, rates.stop_days)
        if not before.days.size:
            message = f"{well.well} has no reading before the stop of the pump, so its rise is not known."
            raise AnalysisError(message, fix="Add the last drawdown of pumping, or use recovery.")
        last = float(before.drawdown_m[int(np.argmax(before.days))])
        days = equivalent_days(rates, well.days)
        risen.append(WellDrawdown(well.well, well.distance_m, days, last - well.drawdown_m, well.half_width_m))
    # Over equivalent time the rise is the drawdown of the last rate, as if it had been constant.
    fit = fit_straight_line(PumpingRates([0.0], [last_rate]), risen, geometry)
    return replace(fit, model="recovery-equivalent")
