"""Drawdown against distance at one time: steady or quasi-steady flow to a well."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.pumping.fits import fit_readings, identified_note
from gwnet.hydro.pumping.models import TRANSMISSIVITY, FittedParameter
from gwnet.hydro.pumping.results import (
    SAME_TIME_DAYS,
    Parameter,
    PumpingFit,
    PumpingGeometry,
    PumpingRates,
    WellDrawdown,
    used_readings,
)
from gwnet.hydro.pumping.straight_lines import LINE_FACTOR

Floats = NDArray[np.float64]

_RADIUS: Final = FittedParameter("radius_of_influence", "m", 1e-3, 1e9)


def fit_distance(
    rates: PumpingRates, wells: Sequence[WellDrawdown], geometry: PumpingGeometry | None = None
) -> PumpingFit:
    """Fit a straight line to the last drawdowns of several wells over the logarithm of their distance.

    Parameters
    ----------
    rates : PumpingRates
        History of rates; the one at the readings counts.
    wells : sequence of WellDrawdown
        At least two wells at different distances; of each the last reading before the pump stopped takes part.
    geometry : PumpingGeometry, optional
        Kept with the fit.

    Returns
    -------
    PumpingFit
        Transmissivity, the distance at which the line meets zero, and the storativity that follows from it where the
        readings are of one time.

    Raises
    ------
    TooFewLevelsError
        If fewer than two wells have readings.
    AnalysisError
        If the drawdown does not fall with distance.

    Notes
    -----
    T = Q ln(r2/r1)/(2π(s1 − s2)): Thiem (1906), Hydrologische Methoden (from memory). With drawdowns of one time t the
    line is also Cooper and Jacob's, S = 2.246 Tt/R².
    """
    # After the stop the level recovers, and its drawdown is no longer that of a rate.
    used = [well.within(-math.inf, rates.stop_days) for well in used_readings(wells, rates)]
    last = [_last_reading(well) for well in used if well.days.size]
    distance = np.array([well.distance_m for well in last])
    if np.unique(distance).size < 2:
        message = f"Drawdown against distance needs two wells at different distances; {np.unique(distance).size} given."
        raise TooFewLevelsError(message, fix="Add a well with a reading while the pump ran.")
    drawdown = np.array([float(well.drawdown_m[0]) for well in last])
    slope, intercept = np.polyfit(np.log(distance), drawdown, 1)
    if slope >= 0.0:
        message = "The drawdown does not fall with distance from the pumped well."
        raise AnalysisError(message, fix="Check the distances and the drawdowns.")
    time = float(np.median([well.days[0] for well in last]))
    # Just before the reading: one at the change of the rate is still of the rate before.
    rate = float(rates.rate_at(min(float(well.days[0]) for well in last) - SAME_TIME_DAYS))

    def slopes(theta: Floats) -> tuple[Floats, Floats]:
        scale = rate * math.exp(-theta[0]) / (2.0 * math.pi)
        line = scale * (theta[1] - np.log(distance))
        return line, np.column_stack([-line, np.full(line.size, scale)])

    at = np.array([math.log(rate / (-2.0 * math.pi * slope)), -intercept / slope])
    fit, _ = fit_readings(
        "distance",
        (TRANSMISSIVITY, _RADIUS),
        lambda theta: slopes(theta)[0],
        [at],
        last,
        geometry or PumpingGeometry(),
        slopes,
    )
    notes = [identified_note(fit.parameters)]
    if fit.degrees == 0:
        are_known = all(well.half_width_m is not None for well in last)
        limits = "are those of the readings' half-widths" if are_known else "are not known"
        notes.append(f"Two wells leave no residual: limits {limits}.")
    days = np.array([float(well.days[0]) for well in last])
    began = rates.began_days
    # Cooper and Jacob's line over distance holds for one time in all wells.
    if np.ptp(days) <= 0.02 * (time - began):
        derived = LINE_FACTOR * fit.value("transmissivity") * (time - began) / fit.value("radius_of_influence") ** 2
        fit = replace(fit, parameters=(*fit.parameters, Parameter("storativity", derived, "")))
    else:
        notes.append("The readings are of different times; the drawdowns must no longer change among them.")
    return replace(fit, note=" ".join(note for note in notes if note))


def _last_reading(well: WellDrawdown) -> WellDrawdown:
    place = int(np.argmax(well.days))
    width = None if well.half_width_m is None else well.half_width_m[[place]]
    return WellDrawdown(well.well, well.distance_m, well.days[[place]], well.drawdown_m[[place]], width)
