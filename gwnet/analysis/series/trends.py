"""Trends of levels: one value a season or year of each well, tests by ranks, and what was left out.

The record is reduced to one value a period by the median before any test, so that a well that was read more often for
a time does not weigh more in it. Dry wells take part as bounds.

Provisional levels take part unless only approved ones are asked for: many records are reviewed long after they are
needed. `s`, `var_s`, `tau` (tau-a), `z` and `p_independent` are of independent values, comparable with other
programs; `p` and the limits of the slope allow for serial correlation. `p_adjusted` is for the wells of one call, so a
row depends on what else was asked for: `wells_adjusted` says for how many, and the note where the verdict depends on
it.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_records import Memories, WellRecord, well_records
from gwnet.analysis.series.trend_tests import ALPHA, TrendResult, find_trend, p_text
from gwnet.analysis.series.trend_values import EXTRA_COLUMNS, value_trends
from gwnet.errors import SettingsError
from gwnet.hydro.trends.false_discovery import adjusted_p_values

#: Columns of the trends frame, in order.
COLUMNS = tuple(
    (
        "well method n first last n_bounds s var_s tau z p p_adjusted slope_m_per_year slope_lower_m_per_year "
        "slope_upper_m_per_year direction note site left_out p_independent wells_adjusted course"
    ).split()
)

METHODS = ("kendall", "seasonal")

#: Methods that take every value.
VALUE_METHODS = ("all", "regression")

#: Numbers of seasons that a year may be divided into: months or quarters.
SEASONS = (12, 4)


def trends(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    method: str = "seasonal",
    seasons: int = 4,
    approved: bool = False,
    memory: Memories | None = None,
) -> pd.DataFrame:
    """Test the levels of wells for monotonic trends.

    Parameters as `gwnet.analysis.series`.

    Parameters
    ----------
    method : {"seasonal", "kendall", "all", "regression"}
        Seasons of the years compared each with its own kind, one value a year, every value, or a straight line by least
        squares through every value.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`. n counts values of seasons or years, n_bounds those that are bounds; first and last are
        local dates of levels. s, var_s, tau (S over all pairs), z and p_independent are of independent values; p allows
        for serial correlation where the note says so; p_adjusted is for the wells of this call, of which
        wells_adjusted have a p. Slopes are positive upward; their
        limits, at 95 %, have the variance that p was made with. NaN where a test could not be made. Where a gap of over
        a third of the record was found, method is ``step``: s, var_s, tau, z and p compare the levels before and after
        it, the slopes are NaN, and the note has the shift.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is none of these.

    Notes
    -----
    Where levels significantly went one way and go the other way since, direction says so in words, as in ``fell until
    1998, rising since``, and course repeats it; it is empty elsewhere. With method ``all`` there are further columns;
    with it and with ``regression`` p is as `gwnet.analysis.series.trend_values.value_trends` says. Usable levels take
    part, and accepted dry and flowing ones as bounds; everything else is counted in ``left_out``. One value a period is
    made as `gwnet.analysis.levels.period_values.period_values` says; which test follows,
    `gwnet.analysis.series.trend_tests.find_trend`.

    References
    ----------
    .. [1] Hirsch, R. M. and Slack, J. R. (1984). A nonparametric trend test for seasonal data with serial dependence.
       Water Resources Research 20, 727–732.
    .. [2] Benjamini, Y. and Hochberg, Y. (1995). Controlling the false discovery rate. J. Royal Statistical Society B
       57, 289–300.
    """
    columns = list(COLUMNS)
    if method == "all":
        columns.remove("p_independent")
        columns[columns.index("p") : columns.index("p")] = EXTRA_COLUMNS
    if method in VALUE_METHODS:
        rows = value_trends(levels, wells, method=method, approved=approved)
    else:
        rows = _period_rows(levels, wells, method, seasons, memory, approved=approved)
    table = pd.DataFrame(rows, columns=columns)
    for name in (*columns[columns.index("s") : columns.index("direction")], "p_independent"):
        table[name] = table[name].astype(float)
    return _with_verdicts(table).astype({"s": "Int64", "wells_adjusted": "Int64"})


def _with_verdicts(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table of trends with what depends on all wells of it."""
    p = table["p"].to_numpy(dtype=np.float64)
    adjusted = adjusted_p_values(p)
    count = int((~np.isnan(p)).sum())
    # The verdict of a row then depends on which wells were asked for, and the row has to say so.
    changed = (p <= ALPHA) & (adjusted > ALPHA)
    words = [
        f"{note}{'; ' if note else ''}significant by itself ({p_text(one)}), not after allowing for {count} wells"
        if differs
        else note
        for note, one, differs in zip(table["note"], p, changed, strict=True)
    ]
    table = table.assign(course=table["course"].astype(object).fillna(""))
    table = table.assign(p_adjusted=adjusted, wells_adjusted=np.where(np.isnan(p), 0, count), note=words)
    ways = directions(table)
    # A record that fell and rises again has no single direction, whatever the test says.
    return table.assign(direction=np.where(table["course"] != "", table["course"], ways).astype(object))


def parts_of_year(method: str, seasons: int) -> int:
    """Return into how many parts a method divides the year.

    Parameters as `gwnet.analysis.series`.

    Returns
    -------
    int
        The seasons, or 1.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is none of these.
    """
    if method in VALUE_METHODS:
        message = f"Method {method!r} tests the values of single wells; expected kendall or seasonal here."
        raise SettingsError(message)
    if method not in METHODS:
        message = f"There is no method {method!r} for trends; expected {' or '.join(METHODS)}."
        raise SettingsError(message)
    if seasons not in SEASONS:
        message = f"A year cannot be divided into {seasons!r} seasons; expected {' or '.join(map(str, SEASONS))}."
        raise SettingsError(message)
    return seasons if method == "seasonal" else 1


def directions(table: pd.DataFrame) -> NDArray[np.object_]:
    """Return which way levels go, significant at 5 % of the adjusted probability.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns method, s, p_adjusted and, of a regression, slope_m_per_year.

    Returns
    -------
    ndarray of str
        ``rising``, ``falling``, after a step ``higher after`` or ``lower after``, ``no significant trend``; or
        ``insufficient data`` where nothing could be tested.
    """
    p = table["p_adjusted"].to_numpy(dtype=np.float64)
    step, up = (table["method"] == "step").to_numpy(dtype=bool), (table["s"] > 0).to_numpy(dtype=bool)
    # The numbers of a straight line have no S whose sign would tell.
    fitted = (table["method"] == "regression").to_numpy(dtype=bool)
    if fitted.any():  # a line has no S
        up = np.where(fitted, (table["slope_m_per_year"] > 0).to_numpy(dtype=bool), up)
    words = np.where(step, np.where(up, "higher after", "lower after"), np.where(up, "rising", "falling"))
    weak = np.where(np.isnan(p), "insufficient data", "no significant trend")
    return np.where(p <= ALPHA, words, weak).astype(object)


def _period_rows(
    levels: pd.DataFrame, wells: pd.DataFrame, method: str, seasons: int, memory: Memories | None, *, approved: bool
) -> list[dict[str, object]]:
    """Return the rows of tests of one value a season or year."""
    used, left_out = used_levels(levels, approved=approved)
    records = well_records(used, parts_of_year(method, seasons), memory)
    fine = well_records(used, seasons, memory) if method == "kendall" else records
    return [
        {**_row(key, method, seasons, records.get(key), fine.get(key)), "left_out": left_out.get(key, "")}
        for key in zip(wells["site"], wells["well"], strict=True)
    ]


def _row(
    key: tuple[str, str], method: str, seasons: int, record: WellRecord | None, fine: WellRecord | None
) -> dict[str, object]:
    row: dict[str, object] = {"site": key[0], "well": key[1], "method": method, "n": 0, "first": "", "last": ""}
    if record is None:
        return {**row, "n_bounds": 0, "note": "no level that can be used"}
    result = find_trend(record, fine)
    if method == "kendall" and not math.isnan(result.p) and _seasons_differ(record, seasons):
        result.notes.append("years have levels of different seasons: see method seasonal as well")
    return {
        **row,
        "method": "step" if result.step else method,
        "n": record.count,
        "first": str(record.days[0]),
        "last": str(record.days[-1]),
        "n_bounds": record.bounds,
        **numbers(result),
        "note": "; ".join(result.notes),
        "course": result.bend.words if result.bend is not None and result.bend.is_turn else "",
    }


def numbers(result: TrendResult) -> dict[str, float]:
    """Return the numbers of a test by their columns.

    Parameters
    ----------
    result : TrendResult
        Outcome of a test.

    Returns
    -------
    dict
        Columns s, var_s, tau, z, p_independent, p and the slopes, which are NaN where they are open or a step was
        looked for.
    """
    # A shift is not a slope: its numbers belong to the notes.
    slopes = [math.nan if result.step or not math.isfinite(number) else number for number in result.slope]
    return {
        "s": result.s,
        "var_s": result.var_s,
        "tau": result.tau,
        "z": result.z + 0.0,
        "p_independent": result.p_independent,
        "p": result.p,
        "slope_m_per_year": slopes[0],
        "slope_lower_m_per_year": slopes[1],
        "slope_upper_m_per_year": slopes[2],
    }


def _seasons_differ(record: WellRecord, seasons: int) -> bool:
    """Return whether some years have levels of other seasons than others."""
    months = record.days.astype("datetime64[M]").astype(np.int64)
    had = np.unique(months // 12 * seasons + months % 12 * seasons // 12)
    # A year read in spring beside one read in autumn shows the season as a trend.
    return len({frozenset((had[had // seasons == year] % seasons).tolist()) for year in np.unique(had // seasons)}) > 1
