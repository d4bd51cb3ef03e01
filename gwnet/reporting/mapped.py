"""Facts of a potentiometric map for the report, taken from what the analysis made."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from gwnet.analysis.maps.result import MapResult
from gwnet.analysis.maps.same_day_loggers import count_text
from gwnet.constants import RIVER_KIND
from gwnet.errors import GwnetError
from gwnet.hydro.gradients.horizontal import Gradient
from gwnet.reporting.data import GradientFacts, MapFacts
from gwnet.reporting.definition.period import Period


def map_facts(result: MapResult) -> MapFacts:
    """Return the facts of a map.

    Returns
    -------
    MapFacts
        Its findings and gradient; what else a reader must know is printed on the map itself. Where wells do
        not fit their neighbours, the gradient is the one without them, and says so.
    """
    doubtful = tuple(finding.well for finding in result.findings)
    sound = result.gradient_sound
    used = result.used
    gradient = (
        _gradient(result.gradient, used, ())
        if sound is None
        else _gradient(sound, used[~used["well"].isin(doubtful)], doubtful)
    )
    return MapFacts(
        aquifer=result.aquifer,
        day=result.date,
        control=result.control,
        interval_m=result.interval_m,
        cross_validation_m=result.cross_validation.rmse_m,
        gradient=gradient,
        findings=(
            *(finding.text for finding in result.findings),
            *(failure.text for failure in result.honour_failures),
        ),
        result=result,
    )


def _gradient(gradient: Gradient, used: pd.DataFrame, without: tuple[str, ...]) -> GradientFacts:
    return GradientFacts(
        magnitude=gradient.magnitude,
        magnitude_uncertainty=gradient.magnitude_half_width,
        azimuth_deg=gradient.azimuth_deg,
        azimuth_uncertainty_deg=gradient.azimuth_half_width_deg,
        determined=gradient.determined,
        n_levels=gradient.n,
        # Heads along a river are control of the map and no readings.
        levels_text=count_text(used[used["kind"] != RIVER_KIND]),
        without=without,
        note=gradient.note,
    )


def describe_outside(control: pd.DataFrame, period: Period) -> str:
    """Return how many levels of a map were read outside the period of its report, and when.

    Parameters
    ----------
    control : DataFrame
        Control of the map.
    period : Period
        Period of the report.

    Returns
    -------
    str
        For example ``3 levels of 2019-09-27, outside the period``; empty where all lie in it.
    """
    used = control[control["used"].astype(bool) & (control["measured_at"].fillna("") != "")]
    days = used["measured_at"].str[:10]
    outside = days[(days < period.first.isoformat()) | (days > period.last.isoformat())]
    if outside.empty:
        return ""
    first, last = outside.min(), outside.max()
    when = f"of {first}" if first == last else f"of {first} to {last}"
    return f"{len(outside)} level{'' if len(outside) == 1 else 's'} {when}, outside the period"


def refused_map(aquifer: str, day: dt.date, control: pd.DataFrame, error: GwnetError) -> MapFacts:
    """Return the facts of a map that could not be made, with the reason.

    Parameters
    ----------
    aquifer : str
        Code of the aquifer.
    day : date
        Day of the set.
    control : DataFrame
        The same-day set as far as it goes.
    error : GwnetError
        What the analysis refused, and what to do.
    """
    return MapFacts(
        aquifer=aquifer, day=day, control=control, refused=" ".join(filter(None, (error.message, error.fix)))
    )
