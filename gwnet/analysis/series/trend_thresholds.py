"""When the trend of a well would reach its thresholds: projected dates with their intervals.

The line starts from its own value on the day of the newest level, not from that level, which contains the season.
Beyond the record's own length a date is given and marked; beyond 200 years none is.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_records import WellRecord, level_of_line, well_records
from gwnet.analysis.series.trend_tests import ALPHA, TrendResult, find_trend, p_text
from gwnet.analysis.series.trends import parts_of_year
from gwnet.constants import DAYS_PER_YEAR

Floats = NDArray[np.float64]

#: Columns of the projected dates, in order.
COLUMNS = tuple(
    (
        "site well threshold kind threshold_elevation_m last level_m slope_m_per_year slope_lower_m_per_year "
        "slope_upper_m_per_year p state reached_on earliest latest note"
    ).split()
)

_NUMBERS = ("threshold_elevation_m", "level_m", *COLUMNS[7:11])

#: Years beyond which no date is given.
FARTHEST_YEARS = 200.0


@dataclass(frozen=True, slots=True)
class _Line:
    """Level of the fitted line at the newest level, and how it goes on [m, m/year]."""

    record: WellRecord
    result: TrendResult
    level: float

    @property
    def last(self) -> dt.date:
        """Return the day of the newest level."""
        day: dt.date = self.record.days[-1].astype("datetime64[D]").item()
        return day


def threshold_dates(
    levels: pd.DataFrame,
    thresholds: pd.DataFrame,
    *,
    method: str = "seasonal",
    seasons: int = 4,
    approved: bool = False,
) -> pd.DataFrame:
    """Project the trends of wells to their thresholds.

    Parameters as `gwnet.analysis.series`.

    Parameters
    ----------
    thresholds : pandas.DataFrame
        Columns site, well, threshold, kind (``lower`` or ``upper``) and elevation_m [m]: one row of the result for
        each.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`. level_m is that of the fitted line on the day of the newest level (``last``): the middle
        of a season's swing, not the newest level itself. state is ``on this trend``, ``not on this trend`` (the line
        goes away from the threshold or nowhere), ``already passed`` (the line is at or beyond it) or ``no trend worked
        out``. reached_on, earliest and latest are dates (text): where the line and the limits of its slope meet the
        threshold; empty where they never do or not within 200 years. The note says when a date is farther off than
        the record is long, when the trend is not significant at 5 %, and when the newest level is beyond the threshold.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is not known.

    Notes
    -----
    The line goes through the median of the values less slope times time (for bounds their highest possible values
    where half or more are bounds). The interval is that of the slope alone; years to come may differ from those on
    record. A projection is no forecast. Common practice, no source.
    """
    used, _ = used_levels(levels, approved=approved)
    records = well_records(used, parts_of_year(method, seasons))
    lines: dict[tuple[str, str], _Line | None] = {}
    rows = []
    for limit in thresholds.itertuples(index=False):
        key = (limit.site, limit.well)
        if key not in lines:
            lines[key] = _line(records[key]) if key in records else None
        row = {"site": limit.site, "well": limit.well, "threshold": limit.threshold, "kind": limit.kind}
        row["threshold_elevation_m"] = limit.elevation_m
        rows.append({**row, **_row(lines[key], float(limit.elevation_m), str(limit.kind))})
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in _NUMBERS:
        table[name] = table[name].astype(float)
    return table


def _line(record: WellRecord) -> _Line:
    """Return the fitted line of a record; its level is NaN where there is no slope."""
    result = find_trend(record)
    slope = result.slope[0]
    if result.step or not math.isfinite(slope):
        return _Line(record, result, math.nan)
    return _Line(record, result, level_of_line(record, slope, record.days[-1]))


def _row(line: _Line | None, threshold: float, kind: str) -> dict[str, object]:
    nothing: dict[str, object] = {"last": "", "reached_on": "", "earliest": "", "latest": ""}
    if line is None:
        return {**nothing, "state": "no trend worked out", "note": "no level that can be used"}
    result = line.result
    row = {**nothing, "last": line.last.isoformat(), "p": result.p}
    if math.isnan(line.level) or math.isnan(threshold):
        why = "the threshold has no elevation" if math.isnan(threshold) else "; ".join(result.notes)
        return {**row, "state": "no trend worked out", "note": why}
    slopes = [number if math.isfinite(number) else math.nan for number in result.slope]
    row |= {"level_m": line.level}
    row |= dict(zip(COLUMNS[7:10], slopes, strict=True))
    return {**row, **_projected(line, threshold, kind)}


def _projected(line: _Line, threshold: float, kind: str) -> dict[str, object]:
    """Return state, dates and note for a line that has a slope."""
    # turned round, an upper threshold of rising water is a lower one of falling water
    turn = 1.0 if kind == "lower" else -1.0
    ahead = (line.level - threshold) * turn
    slope, lower, upper = (-number * turn for number in line.result.slope)
    toward, steepest, flattest = slope, max(lower, upper), min(lower, upper)
    notes = [] if line.result.p <= ALPHA else [f"no significant trend ({p_text(line.result.p)})"]
    if ahead <= 0.0:
        return {"state": "already passed", "note": "; ".join(["the fitted line is at or beyond the threshold", *notes])}
    newest = _newest(line.record)
    if newest is not None and (newest - threshold) * turn <= 0.0:
        notes.insert(0, "the newest level is beyond the threshold, the fitted line is not")
    dates = [_date(line.last, ahead, rate) for rate in (toward, steepest, flattest)]
    if line.result.p > ALPHA and any(dates):
        notes[-1] += ": the dates may be chance"
    on = toward > 0.0
    if on:
        notes += _far_notes(line, ahead, toward, dates[0])
        if not dates[2]:
            notes.append("at the flattest slope within the limits never, or not within 200 years")
    return {
        "state": "on this trend" if on else "not on this trend",
        "reached_on": dates[0],
        "earliest": dates[1],
        "latest": dates[2] if on else "",
        "note": "; ".join(notes),
    }


def _far_notes(line: _Line, ahead: float, rate: float, date: str) -> list[str]:
    if not date:
        return ["not within 200 years"]
    length = line.record.length_years
    if ahead / rate <= length:
        return []
    return [f"farther off than the record is long ({length:.1f} years): nothing shows that the trend lasts so long"]


def _newest(record: WellRecord) -> float | None:
    """Return the newest value of a record where it is a number."""
    row = record.values[-1]
    at = int(np.flatnonzero(~np.isnan(row))[-1])
    return None if record.bound[-1, at] else float(row[at])


def _date(last: dt.date, ahead: float, rate: float) -> str:
    """Return the date on which a height is used up at a rate; empty where it never is or not within 200 years."""
    if not rate > 0.0:
        return ""
    years = ahead / rate
    return (last + dt.timedelta(days=round(years * DAYS_PER_YEAR))).isoformat() if years <= FARTHEST_YEARS else ""
