"""The rule of a same-day set in words, and whether heads moved too fast for the time that it took."""

from __future__ import annotations

import datetime as dt
from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.maps.same_day import Span
from gwnet.units import metres_per

#: How fast heads move is taken from the levels this many days about the date.
RATE_DAYS: Final = 30


def set_text(date: dt.date, window_days: float) -> str:
    """Return by which rule the levels of a set were chosen.

    Parameters
    ----------
    date : datetime.date
        Local date.
    window_days : float
        Half-width of the window about it.
    """
    days = "day" if window_days == 1 else "days"
    within = f"on {date.isoformat()}" if window_days == 0 else f"within {window_days:g} {days} of {date.isoformat()}"
    return (
        f"One level a well {within}, local time: of several the usable one nearest to noon of that date, then the "
        "earlier; one well a place."
    )


def rates_of(levels: pd.DataFrame, control: pd.DataFrame, date: dt.date) -> pd.Series:
    """Return how fast the used wells of a set moved about its date.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels, as `gwnet.analysis.levels.table.levels`.
    control : pandas.DataFrame
        Control frame.
    date : datetime.date
        Local date of the set.

    Returns
    -------
    pandas.Series
        By well, fastest first: the fastest change from one usable level to the next, an hour or more later, within 30
        days of the date [m/day]. A change counts as far as it exceeds the uncertainty of the two levels. Wells without
        two such levels are not in it.
    """
    used = control[control["used"].astype(bool) & (control["kind"] == "well")]
    noon = pd.Timestamp(date, tz="UTC") + pd.Timedelta(hours=12)
    near = (levels["measured_at_utc"] - noon).abs() <= pd.Timedelta(days=RATE_DAYS)
    table = levels[near & levels["usable"].astype(bool) & levels["well"].isin(used["well"])]
    table = table[table["site"].isin(used["site"])].sort_values(["well", "measured_at_utc"], kind="stable")
    same = table["well"].eq(table["well"].shift())
    gap = table["measured_at_utc"].diff() / pd.Timedelta(days=1)
    # A change within both uncertainties is no movement.
    uncertain_m = np.hypot(table["uncertainty_m"].fillna(0.0), table["uncertainty_m"].shift().fillna(0.0))
    change = (table["water_elevation_m"].diff().abs() - uncertain_m).clip(lower=0.0)
    # An hour apart at least: within minutes any difference becomes a rate of metres a day.
    kept = same & (gap >= 1.0 / 24.0) & change.notna()
    rates = (change[kept] / gap[kept]).groupby(table.loc[kept, "well"]).max()
    return rates.sort_values(ascending=False, kind="stable")


def moving_text(rates: pd.Series, span: Span, interval_m: float, unit: str) -> str:
    """Return the warning that levels moved faster than the time that a set took allows; empty when they did not.

    Parameters
    ----------
    rates : pandas.Series
        As `rates_of` [m/day].
    span : Span
        Time that the levels took.
    interval_m : float
        Contour interval [m].
    unit : str
        Unit of the sentence, ``m`` or ``ft``.

    Returns
    -------
    str
        A sentence naming the fastest well where it moved by more than half a contour interval in that time
        (project default).
    """
    # Without times of day the whole days count, as levels may lie at either end.
    days = float(span.days) if span.untimed or not np.isfinite(span.hours) else span.hours / 24.0
    # Half an interval is what moves a contour from one side of a well to the other.
    if rates.empty or not days > 0.0 or not rates.iloc[0] * days > 0.5 * interval_m:
        return ""
    well, rate, metres = rates.index[0], float(rates.iloc[0]), metres_per(unit)
    allowed = 0.5 * interval_m / rate
    others = int((rates * days > 0.5 * interval_m).sum()) - 1
    also = f" (so did {others} more)" if others else ""
    return (
        f"Levels moved too fast for a set that took {days * 24.0:.0f} hours: {well} by up to {rate / metres:.2f} "
        f"{unit} a day within {RATE_DAYS} days of the date{also}, more than half a contour interval in that time; "
        f"measure within {allowed * 24.0:.0f} hours."
    )
