"""One row a well: which way it goes, how fast, since when, until when, and what to do next; the most urgent first."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.seasons import season_summary
from gwnet.analysis.series.trend_changes import find_bend, find_level_changes
from gwnet.analysis.series.trend_records import Memories, WellRecord, longest_gap, well_records
from gwnet.analysis.series.trend_thresholds import threshold_dates
from gwnet.analysis.series.trends import trends

#: Columns of the summary, in order.
COLUMNS = tuple(
    (
        "rank well direction slope_m_per_year slope_lower_m_per_year slope_upper_m_per_year since highest_in_year "
        "newest newest_bound newest_m percentile threshold threshold_state reached_on earliest latest to_do because "
        "data site"
    ).split()
)

_NUMBERS: Final = (*COLUMNS[3:6], "newest_m", "percentile")
#: What to do next, from the most urgent on; each is one of nothing, watch, look at record.
_URGENCY: Final = (
    "threshold passed",
    "threshold may have been passed",
    "threshold ahead",
    "significant trend",
    "record in doubt",
    "newest level extreme",
    "",
)
#: State of a threshold that the newest level is beyond, whatever the trend.
NEWEST_BEYOND: Final = "newest level beyond"
#: Percentiles at and beyond which the newest level is extreme (project default).
EXTREME_PERCENT: Final = 10.0


@dataclass(frozen=True, slots=True)
class _Found:
    """What is known of one well."""

    trend: dict[str, Any]
    season: dict[str, Any]
    threshold: dict[str, Any] | None
    record: WellRecord | None


def trend_summary(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    thresholds: pd.DataFrame,
    *,
    method: str = "seasonal",
    seasons: int = 4,
    approved: bool = False,
    memory: Memories | None = None,
) -> pd.DataFrame:
    """Return one row a well with what its levels do and what to do about it, the most urgent first.

    Parameters as `gwnet.analysis.series`.

    Parameters
    ----------
    thresholds : pandas.DataFrame
        As of `gwnet.analysis.series.trend_thresholds.threshold_dates`.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`. direction, slope and limits are those of `gwnet.analysis.series.trends.trends`; since is
        the year of a bend or of a significant step, else that of the first level. highest_in_year is the day (MM-DD) of
        the highest of the yearly wave. percentile is that of the newest level in its calendar month. threshold is the
        one that is reached first, with the dates of `threshold_dates`. to_do is ``look at record``, ``watch`` or
        ``nothing``, because says why, and data what it rests on. rank counts from 1.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is not known.

    Notes
    -----
    Urgency, from the highest: a threshold passed (by the newest level, or by the line with its limits), possibly
    passed, ahead on a significant trend (the earlier first); a significant trend; a record in doubt (a bend or step, a
    long gap, bounds alone, too few years); a newest level among the lowest or highest tenth of its month; nothing.
    Project default.
    """
    how: dict[str, Any] = {"method": method, "seasons": seasons, "approved": approved}
    table = trends(levels, wells, **how, memory=memory).to_dict("records")
    of_season = season_summary(levels, wells, approved=approved).to_dict("records")
    dates = threshold_dates(levels, thresholds, **how, memory=memory)
    newest = {(str(row["site"]), str(row["well"])): row for row in of_season}
    passed = [_is_beyond(newest.get((str(row["site"]), str(row["well"]))), row) for row in dates.to_dict("records")]
    dates["state"] = np.where(passed, NEWEST_BEYOND, dates["state"])
    first = _first_thresholds(dates)
    used, _ = used_levels(levels, approved=approved)
    records = well_records(used, seasons, memory)
    rows = [
        _row(_Found(trend, season, first.get(key), records.get(key)))
        for trend, season in zip(table, of_season, strict=True)
        for key in [(str(trend["site"]), str(trend["well"]))]
    ]
    # Rows without a date last; by well too, so that the order is the same each time.
    rows.sort(key=lambda row: (row["urgency"], row["earliest"] or "9999", row["well"]))
    made = pd.DataFrame([{**row, "rank": k} for k, row in enumerate(rows, start=1)], columns=list(COLUMNS))
    for name in _NUMBERS:
        made[name] = made[name].astype(float)
    return made


def _is_beyond(season: dict[str, Any] | None, row: dict[str, Any]) -> bool:
    """Return whether the newest level of a well is surely beyond a threshold."""
    if season is None or not season["n"]:
        return False
    level, limit, bound = float(season["newest_m"]), float(row["threshold_elevation_m"]), season["newest_bound"]
    # A bound on the near side proves nothing: a dry well is somewhere at or below its bound.
    if row["kind"] == "upper":
        return level >= limit and bound != "<="
    return level <= limit and bound != ">="


def _first_thresholds(dates: pd.DataFrame) -> dict[tuple[str, str], dict[str, Any]]:
    """Return of each well the threshold that matters first."""
    order = [NEWEST_BEYOND, "already passed", "may have been passed already", "on this trend"]
    found: dict[tuple[str, str], dict[str, Any]] = {}
    rows = sorted(
        (row for row in dates.to_dict("records") if row["state"] in order),
        key=lambda row: (order.index(row["state"]), row["reached_on"] or "9999"),
    )
    for row in rows:
        found.setdefault((str(row["site"]), str(row["well"])), row)
    return found


def _row(found: _Found) -> dict[str, Any]:
    trend, season, threshold = found.trend, found.season, found.threshold
    since, change = _since(found)
    doubts = _doubts(found, change)
    significant = trend["direction"] not in ("no significant trend", "insufficient data")
    urgency, because = _urgency(found, doubts, significant=significant)
    if urgency == "":
        to_do = "nothing"
    elif urgency == "record in doubt" or doubts:
        to_do = "look at record"
    else:
        to_do = "watch"
    row = {
        "site": trend["site"],
        "well": trend["well"],
        "direction": trend["direction"],
        "since": since,
        "highest_in_year": season["highest_in_year"],
        "newest": season["newest"],
        "newest_bound": season["newest_bound"],
        "newest_m": season["newest_m"],
        "percentile": season["percentile"],
        "threshold": "" if threshold is None else threshold["threshold"],
        "threshold_state": "" if threshold is None else threshold["state"],
        "to_do": to_do,
        "because": "; ".join([*because, *doubts]),
        "data": _data_text(trend),
        "urgency": _URGENCY.index(urgency),
    }
    row |= {name: "" if threshold is None else threshold[name] for name in ("reached_on", "earliest", "latest")}
    return row | {name: trend[name] for name in COLUMNS[3:6]}


def _since(found: _Found) -> tuple[str, str]:
    """Return since when a well goes as it does, and the change of then in words."""
    start = str(found.trend["first"])[:4]
    record = found.record
    # A change is looked for only in records that have a test, and not across a gap.
    if record is None or math.isnan(found.trend["p_independent"]) or longest_gap(record) is not None:
        return start, ""
    changes = find_level_changes(record)
    if changes:
        return str(changes[-1].year), ", ".join(change.words for change in changes)
    bend = find_bend(record)
    return (start, "") if bend is None else (str(bend.year), bend.words)


def _doubts(found: _Found, change: str) -> list[str]:
    """Return why somebody should look at the record itself."""
    doubts = [change] if change and change != found.trend["direction"] else []
    note = str(found.trend["note"])
    for words in (
        "always dry",
        "always flowing",
        "dry or flowing at every visit",
        "no level from",
        "no level that",
        "too few",
    ):
        doubts += [part for part in note.split("; ") if part.startswith(words)]
    if "short against its memory" in note and found.trend["direction"] in ("rising", "falling"):
        doubts.append("the record is short against its memory")
    return doubts


def _urgency(found: _Found, doubts: list[str], *, significant: bool) -> tuple[str, list[str]]:
    """Return the reason that ranks a well, and it in words."""
    state = "" if found.threshold is None else str(found.threshold["state"])
    name = "" if found.threshold is None else str(found.threshold["threshold"])
    if state == NEWEST_BEYOND:
        return "threshold passed", [f"newest level beyond {name}"]
    if state == "already passed":
        return "threshold passed", [f"{name} passed"]
    if state == "may have been passed already":
        return "threshold may have been passed", [f"{name} may have been passed"]
    if state == "on this trend":
        return "threshold ahead", [f"{name} ahead"]
    if significant:
        return "significant trend", [str(found.trend["direction"])]
    if doubts:
        return "record in doubt", []
    percentile = float(found.season["percentile"])
    if percentile <= EXTREME_PERCENT or percentile >= 100.0 - EXTREME_PERCENT:
        return "newest level extreme", [f"newest level at percentile {percentile:.0f} of its month"]
    return "", []


def _data_text(trend: dict[str, Any]) -> str:
    """Return what a row rests on, in a few words."""
    if not trend["n"]:
        return "no level that can be used"
    count = trend["n_bounds"]
    bounds = f", {count} {'bound' if count == 1 else 'bounds'}" if count else ""
    return f"{trend['n']} values{bounds}, {str(trend['first'])[:4]}–{str(trend['last'])[:4]}"
