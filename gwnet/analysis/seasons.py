"""Seasons of wells: statistics of the calendar months, the newest level among its own month, annual cycle, records.

One value a month of a year takes part, so that a month that was read often does not weigh more. Dry months take part as
bounds: they are ranked, and no number is put in their place.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import Any, Final

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from gwnet.analysis.period_values import period_values
from gwnet.analysis.used_levels import used_levels
from gwnet.errors import SettingsError, TooFewLevelsError
from gwnet.hydro.annual_cycle import AnnualCycle, annual_cycle
from gwnet.hydro.percentiles import DEFINITIONS, Standing, standing
from gwnet.hydro.seasons import LEAST_YEARS, MONTHS, PERCENTS, MonthlyStatistics, monthly_statistics, records

__all__ = ["SEASONS_COLUMNS", "SUMMARY_COLUMNS", "season_summary", "seasons"]

#: Statistics of a month, in order, and their columns.
_STATISTICS: Final = ("minimum", *(f"p{percent:.0f}" for percent in PERCENTS), "maximum")

#: Names of the calendar months.
MONTH_NAMES: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

#: Columns of the seasons frame, in order.
SEASONS_COLUMNS: Final = (
    "site",
    "well",
    "month",
    "years",
    "n",
    "n_approved",
    "n_bounds",
    "first",
    "last",
    *(f"{name}_m" for name in _STATISTICS),
    "mean_m",
    "at_or_below",
    "newest",
    "newest_bound",
    "newest_m",
    "percentile",
    "percentile_lower",
    "percentile_upper",
    "note",
)

#: Columns of the summary, in order.
SUMMARY_COLUMNS: Final = (
    "site",
    "well",
    "n",
    "n_approved",
    "n_bounds",
    "months",
    "first",
    "last",
    "newest",
    "newest_bound",
    "newest_m",
    "percentile",
    "percentile_lower",
    "percentile_upper",
    "percentile_years",
    "amplitude_m",
    "amplitude_lower_m",
    "amplitude_upper_m",
    "highest_in_year",
    "highest_in_year_within_days",
    "cycle_p",
    "highest",
    "highest_bound",
    "highest_m",
    "lowest",
    "lowest_bound",
    "lowest_m",
    "note",
    "left_out",
)

#: Columns of the summary that are text, empty where there is nothing to tell.
_WORDS: Final = (
    "first",
    "last",
    "newest",
    "newest_bound",
    "highest_in_year",
    "highest",
    "highest_bound",
    "lowest",
    "lowest_bound",
    "note",
)

#: Probability above which no annual cycle is told.
ALPHA: Final = 0.05

_SIGNS: Final = {-1: "<=", 0: "", 1: ">="}


def seasons(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    least_years: int = LEAST_YEARS,
    definition: str = "weibull",
    value: str = "median",
    approved: bool = False,
) -> pd.DataFrame:
    """Return the statistics of the calendar months of wells, and how the newest level of each stands in it.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels, as of `gwnet.analysis.levels.levels`.
    wells : pandas.DataFrame
        Columns site and well: which wells, in this order.
    least_years : int
        Fewest years with a value for which a month has percentiles; 10 unless said (common practice, no source).
    definition : {"weibull", "linear"}
        Definition of percentiles, see `gwnet.hydro.percentiles.percentiles`.
    value : {"median", "middle"}
        How the days of a month give one value, see `gwnet.analysis.period_values.period_values`.
    approved : bool
        Whether only approved levels take part; provisional ones do as well unless said.

    Returns
    -------
    pandas.DataFrame
        Columns of `SEASONS_COLUMNS`, a row for each well and calendar month that has a value. years counts the values,
        n the levels behind them, n_approved those of them that are approved, n_bounds the values that are bounds; first
        and last are years. Statistics that bounds leave open are named in at_or_below and are bounds themselves; mean_m
        is empty with a bound among the values. newest is the date of the month's last level, and percentile its
        percentile among the values of the month, its own year's replaced by itself; percentile_lower and
        percentile_upper are what bounds leave possible.

    Raises
    ------
    SettingsError
        If the definition, value or number of years cannot be used.
    """
    _refuse(least_years, definition)
    used, _ = _used(levels, approved)
    values = dict(list(period_values(used, 12, value=value).groupby(["site", "well"])))
    events = dict(list(used.groupby(["site", "well"])))
    rows: list[dict[str, Any]] = []
    for key in zip(wells["site"], wells["well"], strict=True):
        if key in values:
            rows += _months_of(key, values[key], events[key], least_years, definition)
    table = pd.DataFrame(rows, columns=list(SEASONS_COLUMNS))
    numbers = [name for name in SEASONS_COLUMNS if name.endswith("_m") or name.startswith("percentile")]
    return table.astype(dict.fromkeys(numbers, float))


def season_summary(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    least_years: int = LEAST_YEARS,
    definition: str = "weibull",
    value: str = "median",
    approved: bool = False,
) -> pd.DataFrame:
    """Return how the newest level of each well stands in its season, the annual cycle, and the records.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels, as of `gwnet.analysis.levels.levels`.
    wells : pandas.DataFrame
        Columns site and well: one row of the result for each, in this order.
    least_years : int
        Fewest years with a value of the newest level's month for which its percentile is given.
    definition : {"weibull", "linear"}
        Definition of percentiles, see `gwnet.hydro.percentiles.standing`.
    value : {"median", "middle"}
        How the days of a month give one value, see `gwnet.analysis.period_values.period_values`.
    approved : bool
        Whether only approved levels take part; provisional ones do as well unless said.

    Returns
    -------
    pandas.DataFrame
        Columns of `SUMMARY_COLUMNS`. n counts levels, n_approved those that are approved, months the months with a
        value. amplitude_m is half the way from the lowest to the highest of the yearly wave, with limits at 95 %;
        highest_in_year is the day (MM-DD) on which the wave is highest, give or take highest_in_year_within_days
        (95 %); both are of the numbers alone. Where cycle_p, the probability of such a wave without a cycle, is above
        5 %, no day is given. highest and lowest are the first dates of the records among all levels that take part.

    Raises
    ------
    SettingsError
        If the definition, value or number of years cannot be used.
    """
    _refuse(least_years, definition)
    used, left_out = _used(levels, approved)
    values = dict(list(period_values(used, 12, value=value).groupby(["site", "well"])))
    events = dict(list(used.groupby(["site", "well"])))
    rows = []
    with threadpool_limits(limits=1, user_api="blas"):  # small matrices are faster in one thread
        for key in zip(wells["site"], wells["well"], strict=True):
            row = _summary_of(values.get(key), events.get(key), least_years, definition)
            words = dict.fromkeys(_WORDS, "")
            rows.append({**words, "site": key[0], "well": key[1], **row, "left_out": left_out.get(key, "")})
    table = pd.DataFrame(rows, columns=list(SUMMARY_COLUMNS))
    others = [name for name in SUMMARY_COLUMNS if name.endswith(("_m", "_days", "_p")) or name.startswith("percentile")]
    table = table.astype(dict.fromkeys(others, float))
    return table.astype(
        {"n": "Int64", "n_approved": "Int64", "n_bounds": "Int64", "months": "Int64", "percentile_years": "Int64"}
    )


def _used(levels: pd.DataFrame, approved: bool) -> tuple[pd.DataFrame, dict[tuple[str, str], str]]:
    """Return the levels that take part with whether each is approved, and what was left out."""
    used, left_out = used_levels(levels, approved=approved)
    return used.assign(approved=levels.loc[used.index, "review"] == "approved"), left_out


def _refuse(least_years: int, definition: str) -> None:
    if definition not in DEFINITIONS:
        message = f"There is no definition {definition!r} of a percentile; expected {' or '.join(DEFINITIONS)}."
        raise SettingsError(message)
    if least_years < 2:
        message = f"Percentiles of {least_years} year cannot be given; at least 2 are needed."
        raise SettingsError(message)


def _months_of(
    key: tuple[str, str], values: pd.DataFrame, events: pd.DataFrame, least_years: int, definition: str
) -> list[dict[str, Any]]:
    found = monthly_statistics(
        values["season"] + 1, values["value"], bound=values["bound"], least_count=least_years, definition=definition
    )
    month_of_event = events["day"].dt.month
    rows = []
    for month in range(1, MONTHS + 1):
        own = values[values["season"] == month - 1]
        if own.empty:
            continue
        rows.append(
            {
                "site": key[0],
                "well": key[1],
                "month": month,
                "years": len(own),
                "n": int(own["n"].sum()),
                "n_approved": min(int(events.loc[month_of_event == month, "approved"].sum()), int(own["n"].sum())),
                "n_bounds": int((own["bound"] != 0).sum()),
                "first": int(own["year"].min()),
                "last": int(own["year"].max()),
                **_statistics(found, month - 1),
                **_newest(events[month_of_event == month], own, least_years, definition),
                "note": _month_note(len(own), least_years, definition),
            }
        )
    return rows


def _statistics(found: MonthlyStatistics, m: int) -> dict[str, Any]:
    numbers = [found.minimum[m], *found.percentile[m], found.maximum[m]]
    sides = [found.minimum_bound[m], *found.percentile_bound[m], found.maximum_bound[m]]
    named = [name for name, side in zip(_STATISTICS, sides, strict=True) if side]
    columns = {f"{name}_m": number for name, number in zip(_STATISTICS, numbers, strict=True)}
    return {**columns, "mean_m": found.mean[m], "at_or_below": " ".join(named)}


def _newest(events: pd.DataFrame, values: pd.DataFrame, least_years: int, definition: str) -> dict[str, Any]:
    """Return the last of some levels, and its percentile among the values of its calendar month."""
    last = events.sort_values("day", kind="stable").iloc[-1]
    others = values[values["year"] != last["day"].year]
    side = -1 if math.isinf(last["low"]) else 0
    found = standing(
        float(last["high"]), others["value"], level_bound=side, bound=others["bound"], definition=definition
    )
    if found.count < least_years:
        found = Standing(math.nan, math.nan, math.nan, found.count)
    return {
        "newest": f"{last['day']:%Y-%m-%d}",
        "newest_bound": _SIGNS[side],
        "newest_m": float(last["high"]),
        "percentile": found.percentile,
        "percentile_lower": found.lower,
        "percentile_upper": found.upper,
    }


def _month_note(years: int, least_years: int, definition: str) -> str:
    if years < least_years:
        return f"too few years for percentiles ({least_years} needed)"
    clamped = [f"p{percent:.0f}" for percent in PERCENTS if not 1 <= (years + 1) * percent / 100 <= years]
    if definition == "weibull" and clamped:
        return f"{' and '.join(clamped)} are the lowest and highest value: {years} years tell no more"
    return ""


def _summary_of(
    values: pd.DataFrame | None, events: pd.DataFrame | None, least_years: int, definition: str
) -> dict[str, Any]:
    """Return the summary of one well."""
    if values is None or events is None:
        return {"n": 0, "n_approved": 0, "n_bounds": 0, "months": 0, "note": "no level that can be used"}
    ordered = events.sort_values("day", kind="stable")
    last = ordered["day"].iloc[-1]
    own = values[values["season"] == last.month - 1]
    row = _newest(ordered, own, least_years, definition)
    row["percentile_years"] = len(own)
    notes = []
    if len(own) < least_years:
        years = "1 year" if len(own) == 1 else f"{len(own)} years"
        month = MONTH_NAMES[last.month - 1]
        notes.append(f"{years} with a level in {month}: no percentile, {least_years} needed")
    cycle = _cycle_of(values, notes)
    side = np.where(np.isinf(ordered["low"]), -1, 0)
    found = records(ordered["high"], bound=side)
    return {
        "n": len(ordered),
        "n_approved": int(ordered["approved"].sum()),
        "n_bounds": int((side != 0).sum()),
        "months": len(values),
        "first": f"{ordered['day'].iloc[0]:%Y-%m-%d}",
        "last": f"{last:%Y-%m-%d}",
        **row,
        **cycle,
        "highest": f"{ordered['day'].iloc[found.highest_at]:%Y-%m-%d}",
        "highest_bound": _SIGNS[found.highest_bound],
        "highest_m": found.highest,
        "lowest": f"{ordered['day'].iloc[found.lowest_at]:%Y-%m-%d}",
        "lowest_bound": _SIGNS[found.lowest_bound],
        "lowest_m": found.lowest,
        "note": "; ".join(notes),
    }


def _cycle_of(values: pd.DataFrame, notes: list[str]) -> dict[str, Any]:
    """Return the columns of the annual cycle of a well; add to the notes what stands against it."""
    numbers = values[values["bound"] == 0]
    try:
        found = annual_cycle(numbers["day"].to_numpy(), numbers["value"])
    except TooFewLevelsError as error:
        notes.append(f"no annual cycle: {error.message[0].lower()}{error.message[1:].rstrip('.')}")
        return {}
    if len(numbers) < len(values):
        notes.append(f"annual cycle without the {len(values) - len(numbers)} months that are bounds")
    row: dict[str, Any] = {
        "amplitude_m": found.amplitude,
        "amplitude_lower_m": found.amplitude_lower,
        "amplitude_upper_m": found.amplitude_upper,
        "cycle_p": found.p_value,
    }
    if found.p_value > ALPHA or math.isnan(found.highest_day_half_width):
        notes.append("no annual cycle can be told")
        return row
    return {**row, "highest_in_year": _day(found), "highest_in_year_within_days": found.highest_day_half_width}


def _day(found: AnnualCycle) -> str:
    """Return the day of the highest level as month and day."""
    return f"{dt.date(2001, 1, 1) + dt.timedelta(days=min(math.floor(found.highest_day), 364)):%m-%d}"
