"""When the trend of a well would reach its thresholds: three dates, each with its 95 % interval.

The line, its lowest season and the first single level beyond a threshold reach it years apart, so all three are given.
Their intervals come from the line's posterior (`gwnet.analysis.series.trend_lines`), which holds the uncertainty of
level, slope, scatter and serial correlation together. No date is given without a significant trend, nor beyond the
horizon.
"""

from __future__ import annotations

import datetime as dt
import math
from calendar import month_name
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_lines import FittedLine
from gwnet.analysis.series.trend_records import Memories, WellRecord, well_records
from gwnet.analysis.series.trend_tests import ALPHA, TrendResult, find_trend, p_text
from gwnet.analysis.series.trends import parts_of_year
from gwnet.constants import DAYS_PER_YEAR
from gwnet.hydro.trends.correlated_line import crossing_times, first_passage

Floats = NDArray[np.float64]

#: Columns of the projected dates, in order.
COLUMNS = tuple(
    (
        "site well threshold kind threshold_elevation_m last level_m slope_m_per_year slope_lower_m_per_year "
        "slope_upper_m_per_year p state reached_on earliest latest season season_reached_on season_earliest "
        "season_latest level_reached_on level_earliest level_latest horizon note"
    ).split()
)

_NUMBERS = ("threshold_elevation_m", "level_m", *COLUMNS[7:11])
_DATES: Final = COLUMNS[12:15] + COLUMNS[16:22]

#: Years after the newest value beyond which no date is given (project default).
HORIZON_YEARS = 50.0

#: Probabilities of the interval and of its middle.
_PROBABILITIES = (0.025, 0.5, 0.975)


@dataclass(frozen=True, slots=True)
class _Trend:
    """Test of a well, and the days on which its levels were what [m]."""

    record: WellRecord
    result: TrendResult
    days: NDArray[np.datetime64]
    low: Floats
    high: Floats

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
    memory: Memories | None = None,
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
        Columns of `COLUMNS`. level_m is that of the line on the day of the newest value, the mean of all seasons;
        slopes are the line's, p the trend's. state is ``on this trend``, ``may have been passed already`` (the limits
        of a significant line hold the threshold), ``already passed`` (they are beyond it), ``not on this trend`` (the
        line goes away from it), ``no significant trend`` or ``no trend worked out``. Dates are text and have limits at
        95 %: reached_on of the line; season_reached_on of the level expected in the season that is lowest (for an upper
        threshold highest); level_reached_on of the first single level beyond the threshold at the visits to come, or on
        record already. A date is empty where it is after the horizon, before the record, or where the trend is not
        significant or does not lead there.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is not known.

    Notes
    -----
    A date is the first at which the posterior probability of being beyond the threshold is 50 %, its limits are those
    with 2.5 and 97.5 % (`gwnet.hydro.trends.correlated_line.crossing_times`). The first level beyond is drawn 2,000
    times with the serial correlation of the record (`gwnet.hydro.trends.correlated_line.first_passage`): one value in
    each season that has usually had one. A trend is significant here where p, of the well by itself, is at most 5 %. A
    projection is no forecast: years to come may differ from those on record.
    """
    used, _ = used_levels(levels, approved=approved)
    records = well_records(used, parts_of_year(method, seasons), memory)
    # Once a year for the test, but the line for dates needs the seasons.
    fine = well_records(used, seasons, memory) if method == "kendall" else records
    groups = dict(list(used.groupby(["site", "well"]))) if len(used) else {}
    trends: dict[tuple[str, str], _Trend | None] = {}
    rows = []
    for limit in thresholds.itertuples(index=False):
        # Several thresholds of a well share its test.
        key = (limit.site, limit.well)
        if key not in trends:
            trends[key] = _trend(records[key], fine[key], groups[key]) if key in records else None
        row = {"site": limit.site, "well": limit.well, "threshold": limit.threshold, "kind": limit.kind}
        row["threshold_elevation_m"] = limit.elevation_m
        rows.append({**row, **_row(trends[key], float(limit.elevation_m), str(limit.kind))})
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in _NUMBERS:
        table[name] = table[name].astype(float)
    return table


def _trend(record: WellRecord, fine: WellRecord, own: pd.DataFrame) -> _Trend:
    own = own.sort_values("day", kind="stable")
    days = own["day"].to_numpy().astype("datetime64[D]")
    low, high = (own[end].to_numpy(dtype=np.float64) for end in ("low", "high"))
    return _Trend(record, find_trend(record, fine), days, low, high)


def _row(trend: _Trend | None, threshold: float, kind: str) -> dict[str, object]:
    nothing: dict[str, object] = {"last": "", "season": "", "horizon": "", **dict.fromkeys(_DATES, "")}
    if trend is None:
        return {**nothing, "state": "no trend worked out", "note": "no level that can be used"}
    result = trend.result
    row = {**nothing, "last": trend.last.isoformat(), "p": result.p}
    if math.isnan(threshold) or math.isnan(result.p) or result.step or result.line is None:
        if math.isnan(threshold):
            why = "the threshold has no elevation"
        elif math.isnan(result.p) or result.step:
            why = "; ".join(result.notes)
        else:
            why = "; ".join([*result.notes, "too few values that are numbers for a date"])
        return {**row, "state": "no trend worked out", "note": why}
    line = result.line
    row |= {"level_m": line.band(np.array([line.last]))[0][0]}
    row |= dict(zip(COLUMNS[7:10], line.slope_limits, strict=True))
    row["horizon"] = _date(line.last + HORIZON_YEARS)
    return {**row, **_projected(trend, line, threshold, kind)}


def _projected(trend: _Trend, line: FittedLine, threshold: float, kind: str) -> dict[str, object]:
    """Return state, dates and note for a well that has a line."""
    upper = kind == "upper"
    # turned round, an upper threshold of rising water is a lower one of falling water
    # Then every date is the first at which the line is below.
    falling = line.turned() if upper else line
    level = -threshold if upper else threshold
    # The whole range of a level must lie beyond: a bound that only may does not count.
    beyond = np.flatnonzero(trend.low >= threshold if upper else trend.high <= threshold)
    since = str(trend.days[beyond[0]]) if beyond.size else ""
    notes = [f"a level beyond the threshold is on record, the first of {since}"] if since else []
    here = falling.mean_row()
    here[-1] = line.last - line.origin
    passed = float(falling.posterior.probability_below(here[None], level)[0])
    significant = trend.result.p <= ALPHA
    leads_there = float(falling.posterior.quantile(_slope_row(line), 0.5)[0]) < 0.0
    if passed >= _PROBABILITIES[2]:
        state = "already passed"
        notes.insert(0, "the line and its limits are beyond the threshold")
    elif passed > _PROBABILITIES[0] and significant:
        state = "may have been passed already"
        notes.insert(0, f"the line is beyond the threshold with a probability of {passed:.0%}")
    elif not significant:
        state = "no significant trend"
    else:
        state = "on this trend" if leads_there else "not on this trend"
    if not significant:
        notes.append(f"no significant trend ({p_text(trend.result.p)}): no date")
    elif trend.result.bend is not None and trend.result.bend.is_turn:
        # A record that turned has no one slope to project.
        state = "not on this trend" if state == "on this trend" else state
        notes.append(f"{trend.result.bend.words}: no date from a straight line")
    elif leads_there:
        dates, more = _dates(falling, level, since)
        return {"state": state, **dates, "note": "; ".join([*notes, *more])}
    elif state != "not on this trend":
        notes.append("the trend leads away from the threshold")
    return {"state": state, "note": "; ".join(notes)}


def _dates(line: FittedLine, level: float, since: str) -> tuple[dict[str, object], list[str]]:
    """Return the dates on which a falling line is below a level, and notes on them."""
    ends = line.first - line.origin, line.last + HORIZON_YEARS - line.origin
    place = _lowest_season(line)
    of_line, of_season = (
        [line.origin + time for time in crossing_times(line.posterior, row, line.slope, level, _PROBABILITIES, ends)]
        for row in (line.mean_row(), line.season_row(place))
    )
    of_level = _first_level(line, level)
    texts = [
        _date(when)
        for earliest, middle, latest in (of_line, of_season, of_level)
        for when in (middle, earliest, latest)
    ]
    if since:
        texts[6:] = [since] * 3
    row: dict[str, object] = dict(zip(_DATES, texts, strict=True))
    row["season"] = _season_name(int(line.seasons[place]), line.parts)
    notes = []
    if of_line[0] == -math.inf:
        notes.append("the line may have passed the threshold before the record begins")
    if of_line[1] == math.inf:
        notes.append("the line does not reach the threshold before the horizon")
    elif of_line[2] == math.inf:
        notes.append("at the latest limit not before the horizon")
    length = line.last - line.first
    if math.isfinite(of_line[1]) and of_line[1] - line.last > length:
        notes.append(
            f"farther off than the record is long ({length:.1f} years): nothing shows that the trend lasts so long"
        )
    return row, notes


def _lowest_season(line: FittedLine) -> int:
    """Return the place of the lowest of the seasons that usually have a value."""
    levels = line.season_levels()
    usual = line.usual_seasons
    return int(usual[np.argmin(levels[usual])])


def _first_level(line: FittedLine, level: float) -> list[float]:
    """Return limits and middle of the time of the first value to come that is at or below a level [decimal year]."""
    usual = line.usual_seasons
    first_year = math.floor(line.last)
    years = first_year + np.arange(int(HORIZON_YEARS) + 1)
    when = years[:, None] + line.phases[usual]
    place = np.broadcast_to(usual, when.shape)
    ahead = when > line.last + 1e-9
    when, place = when[ahead], place[ahead]
    rows = np.zeros((when.size, line.slope + 1))
    rows[np.arange(when.size), place] = 1.0
    rows[:, -1] = when - line.origin
    drawn = np.sort(first_passage(line.posterior, rows, when - line.last, level))
    times = np.append(when, math.inf)
    return [float(times[drawn[round(p * (drawn.size - 1))]]) for p in _PROBABILITIES]


def _slope_row(line: FittedLine) -> Floats:
    row = np.zeros((1, line.slope + 1))
    row[0, -1] = 1.0
    return row


def _season_name(season: int, parts: int) -> str:
    """Return the months of a season in words."""
    if parts == 1:
        return "year"
    months = 12 // parts
    first, last = month_name[season * months + 1], month_name[season * months + months]
    return first if parts == 12 else f"{first} to {last}"


def _date(when: float) -> str:
    """Return the day of a decimal year; empty where it is not finite."""
    if not math.isfinite(when):
        return ""
    return (dt.date(2000, 1, 1) + dt.timedelta(days=math.floor((when - 2000.0) * DAYS_PER_YEAR))).isoformat()
