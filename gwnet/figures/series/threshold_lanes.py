"""States of thresholds: days of the logger and readings in two lanes for each, and charts of what was crossed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from gwnet.figures.base import style
from gwnet.figures.base.axes import MONTHS, day_of_number, nice_step, round_ticks
from gwnet.figures.base.page import Box, KeyEntry, Page
from gwnet.figures.base.symbols import band_symbol, mark_symbol
from gwnet.figures.base.text import decimals_of_step, fit, number_text, text_width_pt, wrap

Floats = NDArray[np.float64]

#: Left edges and widths of the three columns [mm].
_NAME_MM: Final = (7.0, 48.0)
_LANES_MM: Final = (58.0, 61.0)
_WORDS_MM: Final = (123.0, 51.0)
_HEAD_MM: Final = 6.2
_AXIS_MM: Final = 8.6
_KEY_MM: Final = 10.0
_LEAST_ROW_MM: Final = 18.0
_LINE_MM: Final = 3.75
_TEXT_PT: Final = 8.0
_NAME_PT: Final = 10.0
_CHART_MM: Final = 58.0
_LEAST_CHART_MM: Final = 34.0
_CHARTS_HEAD_MM: Final = 7.0
_PERIOD: Final = "#EDF1F4"
_DAYS: Final = style.RAIN
_MARK_MM: Final = 3.2

#: Where the name of a threshold may stand along its line, ends first; its distance from line and edge, and from levels
#: where it counts as free of them [pt].
_NAME_PLACES: Final = (1.0, 0.0, 0.75, 0.25, 0.5)
_OFF_LINE_PT: Final = 4.0
_NAME_EDGE_PT: Final = 2.0
_CLEAR_PT: Final = 4.0

#: What is known of one level, as `gwnet.analysis.thresholds.lanes` names it.
BEYOND: Final = "beyond"
NOT_BEYOND: Final = "not beyond"
UNDETERMINED: Final = "undetermined"
_READINGS: Final[dict[str, dict[str, Any]]] = {
    BEYOND: {"marker": "o", "markersize": 4.6, "markerfacecolor": style.LIMIT, "markeredgecolor": style.LIMIT},
    NOT_BEYOND: {"marker": "o", "markersize": 4.4, "markerfacecolor": style.PAPER, "markeredgecolor": style.INK},
    UNDETERMINED: {"marker": "x", "markersize": 4.2, "markeredgecolor": style.INK, "markeredgewidth": 1.1},
    "left out": {"marker": "x", "markersize": 3.0, "markeredgecolor": style.SOFT, "markeredgewidth": 0.7},
}
_WORDS_OF: Final = {
    BEYOND: "reading beyond",
    NOT_BEYOND: "reading not beyond",
    UNDETERMINED: "only a bound is known",
    "left out": "reading left out",
}


@dataclass(frozen=True, slots=True, eq=False)
class ThresholdRow:
    """One threshold of the page.

    Parameters
    ----------
    mark : {"beyond", "unconfirmed", "unjudged", "not beyond"}
        Mark of its state.
    well, name, level : str
        Well, name of the threshold, and its side with the level, as printed.
    notes : tuple of str
        Basis and action.
    state : str
        State in words.
    sentences : tuple of str
        What readings and logger show.
    days, day_states : numpy.ndarray, shape (n,)
        Days of the logger since 1970-01-01, and what is known of each.
    readings, reading_states : numpy.ndarray, shape (m,)
        The same of readings.
    """

    mark: str
    well: str
    name: str
    level: str
    notes: tuple[str, ...]
    state: str
    sentences: tuple[str, ...]
    days: Floats
    day_states: NDArray[np.object_]
    readings: Floats
    reading_states: NDArray[np.object_]


@dataclass(frozen=True, slots=True, eq=False)
class CrossingChart:
    """The levels of one well over the weeks of a crossing, in the unit of drawing.

    Parameters
    ----------
    well, aquifer, name : str
        Well, its aquifer, and the threshold with its level, as printed.
    level : float
        The threshold.
    is_upper : bool
        Whether levels above it are beyond.
    days, values, extremes : numpy.ndarray, shape (n,)
        Days of the logger, their means, and the extremes towards the threshold.
    readings, reading_values : numpy.ndarray, shape (m,)
        Readings.
    peak : str
        The farthest level, as printed.
    """

    well: str
    aquifer: str
    name: str
    level: float
    is_upper: bool
    days: Floats
    values: Floats
    extremes: Floats
    readings: Floats
    reading_values: Floats
    peak: str = ""


def lanes_height_mm(rows: Sequence[ThresholdRow]) -> float:
    """Return the height of a page of thresholds without charts [mm]."""
    return _HEAD_MM + sum(map(_row_mm, rows)) + _AXIS_MM + _KEY_MM


def draw_threshold_lanes(
    rows: Sequence[ThresholdRow],
    charts: Sequence[CrossingChart] = (),
    *,
    span: tuple[float, float],
    period: tuple[float, float],
    closes: float,
    unit: str,
    width_mm: float = 174.0,
    room_mm: float = 236.0,
) -> Figure:
    """Draw a page of thresholds.

    Parameters
    ----------
    rows : sequence of ThresholdRow
        From top to bottom.
    charts : sequence of CrossingChart, optional
        Drawn below, two beside each other, at the same scale.
    span, period : tuple of float
        Ends of the lanes, and of the reported period, days since 1970-01-01.
    closes : float
        Day on which the record closes.
    unit : {"m", "ft"}
        Unit of the charts.
    width_mm, room_mm : float, optional
        Width, and the most height [mm].

    Returns
    -------
    matplotlib.figure.Figure
        The page; charts are left out where there is no room for them.
    """
    lanes = lanes_height_mm(rows)
    chart_mm = min(_CHART_MM, room_mm - lanes - _CHARTS_HEAD_MM)
    # Lower than this a chart shows nothing; the lanes are what the page is for.
    charts = charts[:2] if chart_mm >= _LEAST_CHART_MM else ()
    with style.style_context():
        page = Page(style.new_figure((width_mm, lanes + (chart_mm + _CHARTS_HEAD_MM if charts else 0.0))))
        lanes_top = page.height - _HEAD_MM
        bottom = lanes_top - sum(map(_row_mm, rows))
        box = Box(_LANES_MM[0], bottom, _LANES_MM[1], lanes_top - bottom)
        axes = page.axes(box)
        axes.set_xlim(*span)
        axes.set_ylim(box.bottom, box.top)
        axes.set_axis_off()
        axes.axvspan(max(period[0], span[0]), min(period[1], span[1]), facecolor=_PERIOD, edgecolor="none", zorder=0.1)
        if period[0] > span[0]:
            axes.axvline(period[0], color=style.INK, linewidth=0.5, zorder=0.3)
        _draw_heads(page)
        top = lanes_top
        for row in rows:
            height = _row_mm(row)
            page.line([0.0, page.width], [top, top], color=style.INK if row is rows[0] else style.RULE, linewidth=0.5)
            _draw_row(page, axes, row, top, span)
            top -= height
        page.line([0.0, page.width], [top, top], color=style.RULE, linewidth=0.5)
        _draw_months(page, box, span, period)
        _draw_key(page, rows, top - _AXIS_MM)
        if charts:
            _draw_charts(page, charts, chart_mm, period, closes, unit)
    return page.figure


def _draw_heads(page: Page) -> None:
    y = page.height - 4.2
    for left, text in ((0.0, "Threshold"), (_LANES_MM[0], "Beyond, day by day"), (_WORDS_MM[0], "In the period")):
        page.text(left, y, text, size=_TEXT_PT, weight="bold", color=style.SOFT)


def _wrapped(texts: Sequence[str], width_mm: float) -> list[str]:
    return [line for text in texts for line in wrap(text, width_mm * style.PT_PER_MM, _TEXT_PT)]


def _row_mm(row: ThresholdRow) -> float:
    notes = len(_wrapped(row.notes, _NAME_MM[1]))
    words = len(_state_lines(row))
    return max(_LEAST_ROW_MM, 11.6 + notes * _LINE_MM, 3.0 + words * _LINE_MM)


def _state_lines(row: ThresholdRow) -> list[tuple[str, str]]:
    """Return the words of a state in lines, each with the part of it that is bold."""
    lead = f"{row.state}."
    # A little narrower, as the bold lead is wider than it is measured here.
    lines = wrap(" ".join((lead, *row.sentences[:1])), _WORDS_MM[1] * style.PT_PER_MM * 0.97, _TEXT_PT)
    first = [(line, lead if number == 0 else "") for number, line in enumerate(lines)]
    return [*first, *((line, "") for line in _wrapped(row.sentences[1:], _WORDS_MM[1]))]


def _draw_row(page: Page, axes: Axes, row: ThresholdRow, top: float, span: tuple[float, float]) -> None:
    draw_state_mark(page, row.mark, 0.4, top - 2.4 - _MARK_MM)
    room = _NAME_MM[1] * style.PT_PER_MM
    well = fit(row.well, 0.55 * room, _NAME_PT, bold=True)
    page.text(_NAME_MM[0], top - 5.2, well, size=_NAME_PT, weight="bold")
    used = text_width_pt(f"{well}  ", _NAME_PT, bold=True)
    name = fit(row.name, room - used, _NAME_PT)
    page.text(_NAME_MM[0] + used / style.PT_PER_MM, top - 5.2, name, size=_NAME_PT)
    is_beyond = row.mark in ("beyond", "unconfirmed")
    color = style.LIMIT if is_beyond else style.INK
    page.text(
        _NAME_MM[0], top - 9.4, fit(row.level, room, _TEXT_PT, bold=True), size=_TEXT_PT, weight="bold", color=color
    )
    for number, line in enumerate(_wrapped(row.notes, _NAME_MM[1])):
        page.text(_NAME_MM[0], top - 13.2 - number * _LINE_MM, line, size=_TEXT_PT, color=style.SOFT)
    for number, (line, bold) in enumerate(_state_lines(row)):
        y = top - 5.2 - number * _LINE_MM
        page.text(_WORDS_MM[0], y, bold, size=_TEXT_PT, weight="bold")
        shift = text_width_pt(f"{bold} ", _TEXT_PT, bold=True) / style.PT_PER_MM if bold else 0.0
        page.text(_WORDS_MM[0] + shift, y, line[len(bold) :].lstrip() if bold else line, size=_TEXT_PT)
    _draw_days(page, axes, row, top - 5.6, span)
    _draw_readings(axes, row, top - 12.4, span)


def _draw_days(page: Page, axes: Axes, row: ThresholdRow, y: float, span: tuple[float, float]) -> None:
    """Draw the days of a logger: thick where beyond, thin where not, nothing where there is no day."""
    seen = (row.days >= span[0]) & (row.days < span[1]) & np.isin(row.day_states, (BEYOND, NOT_BEYOND))
    days, states = np.floor(row.days[seen]), row.day_states[seen]
    # Said, or the empty lane would be taken for a logger that was never beyond.
    if not days.size:
        page.text(_LANES_MM[0] + 1.0, y - 1.0, "no logger", size=_TEXT_PT - 0.5, color=style.SOFT, style="italic")
        return
    cuts = np.flatnonzero((np.diff(days) > 1) | (states[1:] != states[:-1])) + 1
    for start, stop in pairwise([0, *cuts.tolist(), days.size]):
        is_beyond = states[start] == BEYOND
        height, color = (3.0, style.LIMIT) if is_beyond else (1.0, _DAYS)
        left, width = days[start], days[stop - 1] + 1 - days[start]
        axes.add_patch(
            Rectangle((left, y - height / 2), width, height, facecolor=color, edgecolor="none", zorder=2 + is_beyond)
        )


def _draw_readings(axes: Axes, row: ThresholdRow, y: float, span: tuple[float, float]) -> None:
    seen = (row.readings >= span[0]) & (row.readings < span[1])
    for state, look in _READINGS.items():
        at = row.readings[seen & (row.reading_states == state)]
        if at.size:
            axes.plot(at, np.full(at.size, y), linestyle="none", zorder=3, clip_on=False, **look)


def draw_state_mark(page: Page, name: str, left: float, bottom: float, side: float = _MARK_MM) -> None:
    """Draw the mark of a state: filled, a square in a square, a question mark, or empty.

    Parameters
    ----------
    page : Page
        Where to draw.
    name : str
        Mark, as of `ThresholdRow`.
    left, bottom, side : float
        Lower left corner and length of a side [mm].
    """

    def square(inset: float, face: str, edge: str) -> None:
        page.patch(
            Rectangle(
                (page.x_fraction(left + inset), page.y_fraction(bottom + inset)),
                page.x_fraction(side - 2 * inset),
                page.y_fraction(side - 2 * inset),
                facecolor=face,
                edgecolor=edge,
                linewidth=1.0,
                transform=page.figure.transFigure,
            )
        )

    edge = {"beyond": style.LIMIT, "unconfirmed": style.LIMIT, "unjudged": style.INK}.get(name, style.SOFT)
    square(0.0, style.LIMIT if name == "beyond" else style.PAPER, edge)
    if name == "unconfirmed":
        square(0.28 * side, style.LIMIT, style.LIMIT)
    elif name == "unjudged":
        middle = left + side / 2
        page.text(middle, bottom + 0.16 * side, "?", size=7.0, weight="bold", ha="center")


def _draw_months(page: Page, box: Box, span: tuple[float, float], period: tuple[float, float]) -> None:
    """Write the quarters under the lanes, the years below them, those of the period in bold."""

    def place(day: float) -> float:
        return box.left + box.width * (day - span[0]) / (span[1] - span[0])

    first = day_of_number(span[0])
    year, month = first.year, first.month - (first.month - 1) % 3
    years: dict[int, list[float]] = {}
    while (start := _day(year, month)) < span[1]:
        end = _day(year + (month + 3 > 12), (month + 2) % 12 + 1)
        left, right = max(start, span[0]), min(end, span[1])
        if right > left:
            page.line([place(left)] * 2, [box.bottom, box.bottom - 1.2], color=style.INK, linewidth=0.5)
            text = f"{MONTHS[month - 1]}–{MONTHS[month + 1]}"
            # A quarter that the axis cuts has room for its first month alone.
            if text_width_pt(text, 7.0) > (place(right) - place(left)) * style.PT_PER_MM + 2.0:
                text = MONTHS[month - 1]
            weight = "bold" if start >= period[0] - 1 and end <= period[1] + 1 else "normal"
            if text_width_pt(text, 7.0, bold=True) <= (place(right) - place(left)) * style.PT_PER_MM + 2.0:
                middle = (place(left) + place(right)) / 2
                page.text(middle, box.bottom - 4.1, text, ha="center", weight=weight, color=style.SOFT)
            years.setdefault(year, []).extend((left, right))
        year, month = year + (month + 3 > 12), (month + 2) % 12 + 1
    for number, ends in years.items():
        if place(max(ends)) - place(min(ends)) > 7.0:
            middle = (place(min(ends)) + place(max(ends))) / 2
            page.text(middle, box.bottom - 7.2, str(number), ha="center", color=style.SOFT)


def _day(year: int, month: int) -> float:
    return float(np.datetime64(f"{year:04d}-{month:02d}-01").astype("datetime64[D]").astype(np.int64))


def _draw_key(page: Page, rows: Sequence[ThresholdRow], top: float) -> None:
    days = {str(state) for row in rows for state in row.day_states}
    states = {str(state) for row in rows for state in row.reading_states}
    entries = []
    if BEYOND in days:
        entries.append(KeyEntry("logger day beyond", band_symbol(2.6, facecolor=style.LIMIT, edgecolor="none"), 5.0))
    if NOT_BEYOND in days:
        entries.append(KeyEntry("logger day not beyond", band_symbol(1.0, facecolor=_DAYS, edgecolor="none"), 5.0))
    entries += [KeyEntry(text, mark_symbol(**_READINGS[key])) for key, text in _WORDS_OF.items() if key in states]
    page.key(entries, 0.0, top, page.width, style.LABEL_PT)


def _draw_charts(
    page: Page, charts: Sequence[CrossingChart], height_mm: float, period: tuple[float, float], closes: float, unit: str
) -> None:
    """Draw the charts two beside each other, all with the same height of the axis."""
    top = height_mm + _CHARTS_HEAD_MM
    page.text(0.0, top - 4.4, "Crossed", size=11.0, weight="bold", color=style.WATER)
    text = f"{unit}; line: mean of the day; filled: beyond; same scale"
    page.text(page.width, top - 4.4, text, size=style.LABEL_PT, ha="right", color=style.SOFT)
    ends = [_ends(chart, period) for chart in charts]
    step = nice_step(max((high - low for low, high in ends), default=1.0), 5)
    wholes = [(math.floor(low / step) * step, math.ceil(high / step) * step) for low, high in ends]
    # The same height for all, so that a crossing of decimetres does not look like one of metres.
    height = max((high - low for low, high in wholes), default=step) + step
    width = (page.width - 10.0) / 2
    for number, (chart, (low, high)) in enumerate(zip(charts, wholes, strict=True)):
        box = Box(10.0 + number * width, 5.0, width - 12.0, height_mm - 10.5)
        spare = round((height - (high - low)) / step) // 2 * step
        _draw_chart(page, box, chart, (low - spare, low - spare + height), period, closes, step)


def _chart_span(period: tuple[float, float]) -> tuple[float, float]:
    return period[0] - 31.0, period[1]


def _ends(chart: CrossingChart, period: tuple[float, float]) -> tuple[float, float]:
    first, last = _chart_span(period)
    inside = (chart.days >= first) & (chart.days < last)
    read = (chart.readings >= first) & (chart.readings < last)
    values = np.concatenate([chart.values[inside], chart.extremes[inside], chart.reading_values[read], [chart.level]])
    values = values[np.isfinite(values)]
    return float(values.min()), float(values.max())


def _draw_chart(
    page: Page,
    box: Box,
    chart: CrossingChart,
    limits: tuple[float, float],
    period: tuple[float, float],
    closes: float,
    step: float,
) -> None:
    room = box.width * style.PT_PER_MM
    page.text(box.left, box.top + 1.4, chart.well, size=9.0, weight="bold")
    used = text_width_pt(f"{chart.well}  ", 9.0, bold=True)
    text = " · ".join(part for part in (chart.aquifer, chart.peak) if part)
    page.text(box.left + used / style.PT_PER_MM, box.top + 1.4, fit(text, room - used, 7.5), size=7.5, color=style.SOFT)
    axes = page.axes(box)
    first, last = _chart_span(period)
    axes.set_xlim(first, last)
    axes.set_ylim(*limits)
    ticks = round_ticks(limits[0], limits[1], step)
    axes.set_yticks(ticks, [number_text(tick, decimals_of_step(step)) for tick in ticks])
    begins = [day for day in _month_begins(first, last) if first <= day < last]
    wide = len(begins) > 8
    names = [MONTHS[day_of_number(day).month - 1][: 1 if wide else 3] for day in begins]
    axes.set_xticks(begins, names)
    axes.tick_params(length=1.6, width=0.5, pad=1.6, labelsize=style.LABEL_PT, labelfontfamily=list(style.FAMILY))
    axes.grid(axis="y", color=style.GRID, linewidth=0.5)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.axvspan(period[0], min(period[1], closes), facecolor=_PERIOD, edgecolor="none", zorder=0.1)
    if first < closes < last:
        axes.axvline(closes, color=style.SOFT, linewidth=0.6, dashes=(1.0, 2.0), zorder=1)
        y = limits[0] + 0.03 * (limits[1] - limits[0])
        axes.text(closes - 1, y, "record closes", fontsize=7.0, style="italic", color=style.SOFT, ha="right")
    _draw_series(axes, chart)
    axes.plot([first, last], [chart.level] * 2, color=style.LIMIT, linewidth=1.1, dashes=(5.0, 2.0), zorder=2.4)
    _name_level(axes, box, chart, limits)


def _name_level(axes: Axes, box: Box, chart: CrossingChart, limits: tuple[float, float]) -> None:
    """Write the name of the threshold at its line, where the levels leave it the most room, at an end if they can."""
    first, last = axes.get_xlim()
    per_day = box.width * style.PT_PER_MM / (last - first)
    per_level = box.height * style.PT_PER_MM / (limits[1] - limits[0])
    x = (np.concatenate([chart.days, chart.readings]) - first) * per_day
    y = (np.concatenate([chart.values, chart.reading_values]) - chart.level) * per_level
    if not chart.days.size and chart.readings.size:
        along = np.linspace(x.min(), x.max(), 200)
        x, y = along, np.interp(along, x, y)
    width, height = text_width_pt(chart.name, style.LABEL_PT, bold=True), style.LABEL_PT + _OFF_LINE_PT
    room = box.width * style.PT_PER_MM - width - 2 * _NAME_EDGE_PT
    upward = (1.0, -1.0) if not chart.is_upper else (-1.0, 1.0)
    above, below = (limits[1] - chart.level) * per_level, (chart.level - limits[0]) * per_level
    sides = [side for side in upward if (above if side > 0 else below) >= height] or list(upward)

    def clearance(place: tuple[float, float]) -> float:
        part, side = place
        left = _NAME_EDGE_PT + part * max(room, 0.0)
        over = (x > left - _NAME_EDGE_PT) & (x < left + width + _NAME_EDGE_PT) & np.isfinite(y)
        # distance of the levels from the middle of the name, less half its height
        far = np.abs(y[over] - side * (_OFF_LINE_PT + style.LABEL_PT / 2)) - style.LABEL_PT / 2
        return min(float(far.min(initial=math.inf)), _CLEAR_PT)

    part, side = max(((part, side) for part in _NAME_PLACES for side in sides), key=clearance)
    axes.annotate(
        chart.name,
        (first, chart.level),
        xytext=(_NAME_EDGE_PT + part * max(room, 0.0), _OFF_LINE_PT * side),
        textcoords="offset points",
        fontsize=style.LABEL_PT,
        weight="bold",
        color=style.LIMIT,
        ha="left",
        va="bottom" if side > 0 else "top",
        zorder=4,
    )


def _draw_series(axes: Axes, chart: CrossingChart) -> None:
    if chart.days.size:
        # Days are whole numbers, so that more than one and a half is a missing day.
        gaps = np.flatnonzero(np.diff(chart.days) > 1.5) + 1
        days, values = np.insert(chart.days, gaps, np.nan), np.insert(chart.values, gaps, np.nan)
        extremes = np.insert(chart.extremes, gaps, np.nan)
        beyond = values > chart.level if chart.is_upper else values < chart.level
        axes.fill_between(days, values, chart.level, where=beyond, facecolor="#E2C1AE", linewidth=0, zorder=1.8)
        axes.fill_between(days, values, extremes, facecolor=style.FALL, linewidth=0, zorder=1.7)
        axes.plot(days, values, color=style.WATER, linewidth=1.4, zorder=2.8)
    else:
        axes.plot(chart.readings, chart.reading_values, color=style.INK, linewidth=0.8, zorder=2.6)
    axes.plot(
        chart.readings,
        chart.reading_values,
        linestyle="none",
        marker="o",
        markersize=4.6,
        markerfacecolor=style.PAPER,
        markeredgecolor=style.INK,
        zorder=3.2,
    )


def _month_begins(first: float, last: float) -> list[float]:
    start = day_of_number(first)
    count = int((last - first) / 28) + 2
    months = [start.year * 12 + start.month - 1 + number for number in range(count)]
    return [_day(month // 12, month % 12 + 1) for month in months]
