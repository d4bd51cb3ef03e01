"""Seasons of wells: statistics of the calendar months, the newest level among its own month, annual cycle, records.

One value a month of a year takes part, so that a month that was read often does not weigh more. Dry and flowing
months take part as bounds: they are ranked, and no number is put in their place.

The newest level is the last single level, ranked in place of its own year's value of the month, so that a month still
running is not compared with itself.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from gwnet.analysis.levels.period_values import period_values
from gwnet.analysis.levels.serving import used_levels, values_and_bounds
from gwnet.constants import MONTH_NAMES
from gwnet.errors import SettingsError, TooFewLevelsError
from gwnet.hydro.seasons.annual_cycle import AnnualCycle, annual_cycle
from gwnet.hydro.seasons.months import LEAST_YEARS, MONTHS, PERCENTS, MonthlyStatistics, monthly_statistics, records
from gwnet.hydro.seasons.percentiles import DEFINITIONS, Standing, standing

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Statistics of a month, in order, and their columns.
_STATISTICS: Final = ("minimum", *(f"p{percent:.0f}" for percent in PERCENTS), "maximum")

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
    "at_or_above",
)

#: Columns of the summary, in order.
SUMMARY_COLUMNS: Final = tuple(
    (
        "site well n n_approved n_bounds months first last newest newest_bound newest_m percentile percentile_lower "
        "percentile_upper percentile_years amplitude_m amplitude_lower_m amplitude_upper_m highest_in_year "
        "highest_in_year_within_days cycle_p highest highest_bound highest_m lowest lowest_bound lowest_m note "
        "left_out"
    ).split()
)

#: Columns of the summary that are text, empty where there is nothing to say.
_WORDS: Final = tuple(
    "first last newest newest_bound highest_in_year highest highest_bound lowest lowest_bound note".split()
)

#: Probability above which an annual cycle is not significant.
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
    """Return the statistics of the calendar months of wells, and how the newest level of each ranks in it.

    Parameters as `gwnet.analysis.series`.

    Returns
    -------
    pandas.DataFrame
        Columns of `SEASONS_COLUMNS`, a row for each well and calendar month that has a value. years counts the values,
        n the levels behind them, n_approved those of them that are approved, n_bounds the values that are bounds; first
        and last are years. Statistics that bounds leave open are named in at_or_below or at_or_above and are bounds;
        mean_m is empty with a bound among the values. newest is the date of the month's last level, and percentile its
        percentile among the values of the month, its own year's replaced by itself; percentile_lower and
        percentile_upper are what bounds leave possible.

    Raises
    ------
    SettingsError
        If the definition, value or number of years cannot be used.
    """
    check_options(least_years, definition)
    records_of, _ = _well_series(levels, approved, value)
    rows: list[dict[str, Any]] = []
    for key in zip(wells["site"], wells["well"], strict=True):
        if key in records_of:
            months = _months_of(records_of[key], least_years, definition)
            rows += [{"site": key[0], "well": key[1], **month} for month in months]
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
    """Return how the newest level of each well ranks in its season, the annual cycle, and the records.

    Parameters as `gwnet.analysis.series`.

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
    check_options(least_years, definition)
    records_of, left_out = _well_series(levels, approved, value)
    rows = []
    with threadpool_limits(limits=1, user_api="blas"):  # small matrices are faster in one thread
        for key in zip(wells["site"], wells["well"], strict=True):
            row = _summary_of(records_of.get(key), least_years, definition)
            words = dict.fromkeys(_WORDS, "")
            rows.append({**words, "site": key[0], "well": key[1], **row, "left_out": left_out.get(key, "")})
    table = pd.DataFrame(rows, columns=list(SUMMARY_COLUMNS))
    others = [name for name in SUMMARY_COLUMNS if name.endswith(("_m", "_days", "_p")) or name.startswith("percentile")]
    table = table.astype(dict.fromkeys(others, float))
    return table.astype(
        {"n": "Int64", "n_approved": "Int64", "n_bounds": "Int64", "months": "Int64", "percentile_years": "Int64"}
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Series:
    """A well's values, one a month of a year, and the levels behind them, both in order of time."""

    year: Integers
    month: Integers
    value: Floats
    bound: Integers
    middle: NDArray[np.datetime64]
    count: Integers
    day: NDArray[np.datetime64]
    day_year: Integers
    day_month: Integers
    level: Floats
    side: Integers
    approved: NDArray[np.bool_]


def _well_series(
    levels: pd.DataFrame, approved: bool, value: str
) -> tuple[dict[tuple[str, str], _Series], dict[tuple[str, str], str]]:
    """Return the series of all wells that have levels, and what was left out of each."""
    # Looked up by label: `used` keeps the labels of the levels.
    used, left_out = used_levels(levels, approved=approved)
    used = used.assign(approved=levels.loc[used.index, "review"] == "approved")
    used = used.sort_values("day", kind="stable", ignore_index=True)
    periods = period_values(used, 12, value=value).reset_index(drop=True)
    values = {name: periods[name].to_numpy() for name in ("year", "season", "value", "bound", "day", "n")}
    events = {name: used[name].to_numpy() for name in ("day", "approved")}
    events["level"], events["side"] = values_and_bounds(used["low"], used["high"])
    years, months = used["day"].dt.year.to_numpy(), used["day"].dt.month.to_numpy()
    places = used.groupby(["site", "well"]).indices
    series = {}
    for key, own in periods.groupby(["site", "well"]).indices.items():
        rows = places[key]
        series[key] = _Series(
            year=values["year"][own].astype(np.int64),
            month=values["season"][own].astype(np.int64) + 1,
            value=values["value"][own].astype(np.float64),
            bound=values["bound"][own].astype(np.int64),
            middle=values["day"][own].astype("datetime64[D]"),
            count=values["n"][own].astype(np.int64),
            day=events["day"][rows].astype("datetime64[D]"),
            day_year=years[rows].astype(np.int64),
            day_month=months[rows].astype(np.int64),
            level=events["level"][rows].astype(np.float64),
            side=events["side"][rows].astype(np.int64),
            approved=events["approved"][rows].astype(bool),
        )
    return series, left_out


def check_options(least_years: int, definition: str) -> None:
    """Refuse what percentiles cannot be worked out with.

    Parameters as `gwnet.analysis.series`.

    Raises
    ------
    SettingsError
        If the definition or the number of years cannot be used.
    """
    if definition not in DEFINITIONS:
        message = f"There is no definition {definition!r} of a percentile; expected {' or '.join(DEFINITIONS)}."
        raise SettingsError(message)
    if least_years < 2:
        message = f"Percentiles of {least_years} year cannot be given; at least 2 are needed."
        raise SettingsError(message)


def _months_of(own: _Series, least_years: int, definition: str) -> list[dict[str, Any]]:
    statistics = monthly_statistics(
        own.month, own.value, bound=own.bound, least_count=least_years, definition=definition
    )
    rows = []
    for month in range(1, MONTHS + 1):
        here, levels = np.flatnonzero(own.month == month), own.day_month == month
        if not here.size:
            continue
        rows.append(
            {
                "month": month,
                "years": int(here.size),
                "n": int(own.count[here].sum()),
                # On days with manual readings logger values do not count, so approved ones may outnumber those that do.
                "n_approved": min(int(own.approved[levels].sum()), int(own.count[here].sum())),
                "n_bounds": int((own.bound[here] != 0).sum()),
                "first": int(own.year[here].min()),
                "last": int(own.year[here].max()),
                **_statistics(statistics, month - 1),
                **_newest(own, int(np.flatnonzero(levels)[-1]), least_years, definition),
                "note": _month_note(int(here.size), least_years, definition),
            }
        )
    return rows


def _statistics(statistics: MonthlyStatistics, m: int) -> dict[str, Any]:
    numbers = [statistics.minimum[m], *statistics.percentile[m], statistics.maximum[m]]
    sides = [statistics.minimum_bound[m], *statistics.percentile_bound[m], statistics.maximum_bound[m]]
    below, above = (
        " ".join(name for name, own in zip(_STATISTICS, sides, strict=True) if own == side) for side in (-1, 1)
    )
    columns = {f"{name}_m": number for name, number in zip(_STATISTICS, numbers, strict=True)}
    return {**columns, "mean_m": statistics.mean[m], "at_or_below": below, "at_or_above": above}


def _newest(own: _Series, last: int, least_years: int, definition: str) -> dict[str, Any]:
    """Return a level by its place, and its percentile among the values of its calendar month in other years."""
    # Without its own year: ranked against itself, a month that is still running would pull to the middle.
    others = (own.month == own.day_month[last]) & (own.year != own.day_year[last])
    side, level = int(own.side[last]), float(own.level[last])
    rank = standing(level, own.value[others], level_bound=side, bound=own.bound[others], definition=definition)
    # Percentiles of few years are guesses; the level itself and the count are still given.
    if rank.count < least_years:
        rank = Standing(math.nan, math.nan, math.nan, rank.count)
    return {
        "newest": str(own.day[last]),
        "newest_bound": _SIGNS[side],
        "newest_m": level,
        "percentile": rank.percentile,
        "percentile_lower": rank.lower,
        "percentile_upper": rank.upper,
    }


def _month_note(years: int, least_years: int, definition: str) -> str:
    if years < least_years:
        return f"too few years for percentiles ({least_years} needed)"
    clamped = [f"p{percent:.0f}" for percent in PERCENTS if not 1 <= (years + 1) * percent / 100 <= years]
    if definition == "weibull" and clamped:
        return f"{' and '.join(clamped)} are the lowest and highest value: {years} years show no more"
    return ""


def _summary_of(own: _Series | None, least_years: int, definition: str) -> dict[str, Any]:
    """Return the summary of one well."""
    if own is None:
        return {"n": 0, "n_approved": 0, "n_bounds": 0, "months": 0, "note": "no level that can be used"}
    last = own.day.size - 1  # levels are sorted by day
    years = int((own.month == own.day_month[last]).sum())
    notes = []
    if years < least_years:
        counted, month = "1 year" if years == 1 else f"{years} years", MONTH_NAMES[own.day_month[last] - 1]
        notes.append(f"{counted} with a level in {month}: no percentile, {least_years} needed")
    newest, cycle = _newest(own, last, least_years, definition), _cycle_of(own, notes)
    extremes = records(own.level, bound=own.side)
    return {
        "n": last + 1,
        "n_approved": int(own.approved.sum()),
        "n_bounds": int((own.side != 0).sum()),
        "months": int(own.value.size),
        "first": str(own.day[0]),
        "last": str(own.day[last]),
        **newest,
        "percentile_years": years,
        **cycle,
        "highest": str(own.day[extremes.highest_at]),
        "highest_bound": _SIGNS[extremes.highest_bound],
        "highest_m": extremes.highest,
        "lowest": str(own.day[extremes.lowest_at]),
        "lowest_bound": _SIGNS[extremes.lowest_bound],
        "lowest_m": extremes.lowest,
        "note": "; ".join(notes),
    }


def _cycle_of(own: _Series, notes: list[str]) -> dict[str, Any]:
    """Return the columns of the annual cycle of a well; add to the notes what is against it."""
    # A wave is fitted to numbers; a bound would stand in it as if the water had been there.
    numbers = own.bound == 0
    try:
        cycle = annual_cycle(own.middle[numbers], own.value[numbers])
    except TooFewLevelsError as error:
        notes.append(f"no annual cycle: {error.message[0].lower()}{error.message[1:].rstrip('.')}")
        return {}
    if not numbers.all():
        notes.append(f"annual cycle without the {int((~numbers).sum())} months that are bounds")
    row: dict[str, Any] = {
        "amplitude_m": cycle.amplitude,
        "amplitude_lower_m": cycle.amplitude_lower,
        "amplitude_upper_m": cycle.amplitude_upper,
        "cycle_p": cycle.p_value,
    }
    if cycle.p_value > ALPHA or math.isnan(cycle.highest_day_half_width):
        notes.append("annual cycle not significant")
        return row
    return {**row, "highest_in_year": _day(cycle), "highest_in_year_within_days": cycle.highest_day_half_width}


def _day(cycle: AnnualCycle) -> str:
    """Return the day of the highest level as month and day."""
    # A year of 365 days ends at 365.0, which is no day of it.
    return f"{dt.date(2001, 1, 1) + dt.timedelta(days=min(math.floor(cycle.highest_day), 364)):%m-%d}"
