"""What the page of thresholds shows: a row each with its two lanes, and charts of what was crossed."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.thresholds.lanes import LEFT_OUT, LEVEL, LOGGER, MANUAL
from gwnet.analysis.thresholds.states import CROSSED, NOT_CROSSED, UNCONFIRMED, UNJUDGED, ThresholdState
from gwnet.figures.base.axes import day_number
from gwnet.figures.base.text import shown
from gwnet.figures.series.threshold_lanes import CrossingChart, ThresholdRow, lanes_height_mm
from gwnet.reporting.threshold_words import lane_sentences, limit_words
from gwnet.units import metres_per

if TYPE_CHECKING:
    from gwnet.reporting.view import ReportView

#: Mark of each state, as of `gwnet.figures.series.threshold_lanes`.
MARKS: Final = {CROSSED: "beyond", UNCONFIRMED: "unconfirmed", UNJUDGED: "unjudged", NOT_CROSSED: "not beyond"}
#: Charts that stand below the last rows, where there is room.
_MOST_CHARTS: Final = 2
#: Months that the lanes show at least.
_MONTHS: Final = 15


def lanes_span(view: ReportView) -> tuple[float, float]:
    """Return the ends of the lanes: fifteen months to the end of the period, or the period where it is longer.

    Returns
    -------
    tuple of float
        Days since 1970-01-01.
    """
    last = view.period.last
    months = last.year * 12 + last.month - _MONTHS
    # The month of the end counts as well: fifteen months to a December begin with the October before the year.
    first = min(dt.date(months // 12, months % 12 + 1, 1), view.period.first)
    return day_number(first), day_number(last) + 1.0


def threshold_rows(view: ReportView) -> list[ThresholdRow]:
    """Return a row for each threshold, the one of most consequence first."""
    return [_row(view, state) for state in view.thresholds]


def _row(view: ReportView, state: ThresholdState) -> ThresholdRow:
    measures = view.measures
    days, readings = state.lane(LOGGER), state.lane(MANUAL)
    level = limit_words(state, measures) if math.isfinite(state.level_m) else "level not known"
    words = state.state[0].upper() + state.state[1:]
    return ThresholdRow(
        mark=MARKS[state.state],
        well=shown(state.well),
        name=shown(state.threshold),
        level=level,
        notes=tuple(f"{shown(text)}." for text in (state.basis, state.action) if text),
        state=f"{words}, provisional" if state.is_provisional and state.state == CROSSED else words,
        sentences=tuple(lane_sentences(state, measures)),
        days=_days(days),
        day_states=days["state"].to_numpy(dtype=object),
        readings=_days(readings) + 0.5,
        reading_states=readings["state"].to_numpy(dtype=object),
    )


def _days(lane: pd.DataFrame) -> NDArray[np.float64]:
    days = pd.to_datetime(lane["day"]).to_numpy(dtype="datetime64[D]")
    numbers: NDArray[np.float64] = days.astype(np.int64).astype(np.float64)
    return numbers


def crossing_charts(view: ReportView) -> list[CrossingChart]:
    """Return the levels around elevations that were crossed: first where a logger shows it, then where readings do."""
    beyond = (CROSSED, UNCONFIRMED)
    crossed = [state for state in view.thresholds if state.state in beyond and state.form == LEVEL]
    crossed.sort(key=lambda state: not state.counts[LOGGER].beyond)
    charts: dict[str, CrossingChart] = {}
    for state in crossed:
        # Of several thresholds of a well the first, which is the one of most consequence.
        charts.setdefault(state.well, _chart(view, state))
    return list(charts.values())[:_MOST_CHARTS]


def _chart(view: ReportView, state: ThresholdState) -> CrossingChart:
    measures = view.measures
    days, readings = state.lane(LOGGER), state.lane(MANUAL)
    known = readings["value_m"].notna() & (readings["bound"] == "") & (readings["state"] != LEFT_OUT)
    readings, days = readings[known], days[days["value_m"].notna()]
    factor = metres_per(measures.unit)
    extreme = state.extreme
    peak = ""
    if extreme is not None and extreme.margin_m >= 0:
        peak = f"{measures.text(extreme.value_m)} on {extreme.at[:10]}"
    return CrossingChart(
        well=shown(state.well),
        aquifer=shown(view.aquifer_name(view.aquifer_of(state.well)).partition(" (")[0]),
        name=f"{shown(state.threshold)} {measures.text(state.level_m)}",
        level=state.level_m / factor,
        is_upper=state.kind == "upper",
        days=_days(days),
        values=days["value_m"].to_numpy(dtype=np.float64) / factor,
        extremes=days["extreme_m"].to_numpy(dtype=np.float64) / factor,
        readings=_days(readings) + 0.5,
        reading_values=readings["value_m"].to_numpy(dtype=np.float64) / factor,
        peak=peak,
    )


def rows_by_page(rows: list[ThresholdRow], room_mm: float) -> list[list[ThresholdRow]]:
    """Return the rows of each page, as many as it has room for.

    Parameters
    ----------
    rows : list of ThresholdRow
        All rows, in order.
    room_mm : float
        Height of a page [mm].
    """
    pages: list[list[ThresholdRow]] = []
    for row in rows:
        # A row that is higher than the room still gets a page of its own below.
        if pages and lanes_height_mm([*pages[-1], row]) <= room_mm:
            pages[-1].append(row)
        else:
            pages.append([row])
    return pages
