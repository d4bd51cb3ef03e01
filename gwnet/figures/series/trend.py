"""Trends of wells: levels with their Theil–Sen line and its interval, one well or many on pages."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm
from gwnet.figures.base.panel import (
    LEFT_AXIS_MM,
    centred_limits,
    common_height,
    draw_title,
    level_axis,
    time_axis,
    time_axis_mm,
    times_height,
)
from gwnet.figures.base.symbols import band_symbol, line_symbol, mark_symbol
from gwnet.figures.base.text import fit, number_text
from gwnet.figures.hydrograph.marks import MARKS
from gwnet.figures.series.trend_data import TrendPlotData, trend_plot_data
from gwnet.units import metres_per

__all__ = ["TrendPlotData", "draw_trend", "trend_multiples", "trend_plot_data"]

_SIZE_MM: Final = (180.0, 100.0)
#: Page of small panels [mm], their columns and rows.
PAGE_SIZE_MM: Final = (180.0, 247.0)
COLUMNS: Final = 3
ROWS: Final = 8
#: Least height of a vertical axis [m]; project default.
_LEAST_SPAN_M: Final = 0.5
#: Directions that are significant: of a trend, or of levels before and after a gap.
_SIGNIFICANT: Final = ("rising", "falling", "higher after", "lower after")
#: Longest gap that the line of a logger bridges [d].
_LOGGED_GAP_DAYS: Final = 2.5
#: Room for the labels of the time axis of small panels [mm].
_AXIS_MM: Final = 3.2
_BAND: Final = "#F1D9C8"
_LINE: Final[dict[str, Any]] = {"color": style.LIMIT, "linewidth": style.HEAVY}
_SMOOTH: Final[dict[str, Any]] = {"color": style.INK, "linewidth": style.LINE, "linestyle": (0, (1.0, 1.2))}
_NOT_SIGNIFICANT: Final[dict[str, Any]] = {**_LINE, "dashes": (4.0, 2.0)}


@dataclass(frozen=True, slots=True)
class _View:
    """A panel, the ends of its vertical axis in the unit, the unit's factor, and the size of marks."""

    box: Box
    low: float
    high: float
    factor: float
    marks: float


def draw_trend(data: TrendPlotData) -> Figure:
    """Draw the levels of a well with their trend line and its interval.

    Parameters as `gwnet.figures`.
    """
    with style.style_context():
        page = Page(style.new_figure(_SIZE_MM))
        whole = Box(0.0, 0.0, page.width, page.height)
        left, width = LEFT_AXIS_MM, page.width - LEFT_AXIS_MM - 3.0
        heading = f"{data.site} · {data.heading}" if data.site else data.heading
        top = whole.top - draw_title(page, whole, data.well, heading)
        top -= page.key(_key([data]), left, top, width) + 0.8
        words = [Words(" ".join(data.notes))]
        below = block_height_mm(words, width, style.NOTE_PT)
        page.block(words, left, below + 0.4, width, style.NOTE_PT)
        bottom = below + 1.4 + time_axis_mm(data.first, data.last, width)
        factor = 1.0 / metres_per(data.unit)
        height = max(1.14 * (data.high_m - data.low_m), _LEAST_SPAN_M) * factor
        low, high = centred_limits(data.low_m * factor, data.high_m * factor, height)
        view = _View(Box(left, bottom, width, top - bottom), low, high, factor, 1.0)
        axes = page.axes(view.box)
        second = f"above {data.datum}" if data.datum else ""
        level_axis(page, axes, view.box, low, high, label=f"Water elevation [{data.unit}]", second=second)
        time_axis(axes, data.first, data.last, width)
        _draw(axes, data, view)
    return page.figure


def trend_multiples(
    data: Sequence[TrendPlotData], *, title: str = "", notes: Sequence[str] = (), rows: int = ROWS
) -> list[Figure]:
    """Draw many wells as small panels on pages, all with one time axis and one height.

    Parameters
    ----------
    data : sequence of TrendPlotData
        Wells, in order.
    title : str, optional
        Heading of each page.
    notes : sequence of str, optional
        Sentences under each page.
    rows : int, optional
        Rows of panels that a page has room for.

    Returns
    -------
    list of matplotlib.figure.Figure
        Pages. A well whose levels do not fit into the common height has 2, 5, 10 … times that height, said in its
        panel.
    """
    first, last = min(well.first for well in data), max(well.last for well in data)
    height = common_height([1.14 * (well.high_m - well.low_m) for well in data], _LEAST_SPAN_M)
    each, pages = COLUMNS * rows, []
    count = math.ceil(len(data) / each)
    for number in range(count):
        own = data[number * each : (number + 1) * each]
        with style.style_context():
            # Several pages are alike; a single one is as high as its rows.
            size = PAGE_SIZE_MM if count > 1 else (PAGE_SIZE_MM[0], 25.0 + 28.0 * math.ceil(len(own) / COLUMNS))
            page = Page(style.new_figure(size))
            heading = f"{title} ({number + 1} of {count})" if count > 1 else title
            _multiples_page(page, own, data, (first, last, height), heading, notes)
        pages.append(page.figure)
    return pages


def _multiples_page(
    page: Page,
    own: Sequence[TrendPlotData],
    everyone: Sequence[TrendPlotData],
    shared: tuple[float, float, float],
    heading: str,
    notes: Sequence[str],
) -> None:
    unit, datum = everyone[0].unit, everyone[0].datum
    height = number_text(shared[2] / metres_per(unit), 1)
    words = [
        Words(
            " ".join(
                (
                    f"Water elevation in {unit}{f' above {datum}' if datum else ''}; every panel shows about {height} "
                    f"{unit} unless it says ×2, ×5 …, and the same time. Below each name: Theil–Sen slope and p "
                    "adjusted for many wells; dashed where no trend is significant.",
                    *notes,
                )
            )
        )
    ]
    left, width = 3.0, page.width - 4.0
    page.text(left, page.height - 4.4, fit(heading, width * style.PT_PER_MM, 9.5, bold=True), size=9.5, weight="bold")
    top = page.height - 7.4
    top -= page.key(_key(everyone), left, top, width) + 0.6
    below = block_height_mm(words, width, style.NOTE_PT)
    page.block(words, left, below + 0.4, width, style.NOTE_PT)
    rows = ROWS if page.height >= PAGE_SIZE_MM[1] - 1 else math.ceil(len(own) / COLUMNS)
    cell_width, cell_height = width / COLUMNS, (top - below - 1.6 - _AXIS_MM) / rows
    for i, well in enumerate(own):
        row, column = divmod(i, COLUMNS)
        box = Box(left + column * cell_width, top - (row + 1) * cell_height, cell_width, cell_height)
        _small(page, box, well, shared, named=row == rows - 1 or i + COLUMNS >= len(own))


def _small(page: Page, box: Box, data: TrendPlotData, shared: tuple[float, float, float], *, named: bool) -> None:
    first, last, height_m = shared
    factor = 1.0 / metres_per(data.unit)
    times = times_height(1.1 * (data.high_m - data.low_m), height_m)
    low, high = centred_limits(data.low_m * factor, data.high_m * factor, height_m * factor * times)
    left, width = box.left + 10.5, box.width - 12.5
    room = Box(left, box.bottom + 1.6, width, box.height - 1.6 - 7.1)
    view = _View(room, low, high, factor, 0.62)
    axes = page.axes(room)
    level_axis(page, axes, room, low, high, every_mm=4.6)
    axes.tick_params(axis="y", labelsize=style.NOTE_PT, length=1.4)
    time_axis(axes, first, last, width, named=named)
    axes.tick_params(axis="x", labelsize=style.NOTE_PT, length=1.4, pad=2.2)
    _draw(axes, data, view)
    name = fit(data.well, (width - 9.0) * style.PT_PER_MM, style.LABEL_PT, bold=True)
    page.text(left, room.top + 3.7, name, size=style.LABEL_PT, weight="bold")
    if times > 1:
        page.text(box.right - 2.0, room.top + 3.7, f"×{times}", size=style.LABEL_PT, ha="right", weight="bold")
    page.text(
        left,
        room.top + 0.8,
        fit(data.brief, width * style.PT_PER_MM, style.NOTE_PT),
        size=style.NOTE_PT,
        color=style.SOFT,
    )


def _draw(axes: Axes, data: TrendPlotData, view: _View) -> None:
    """Draw levels, line and interval into axes whose limits are set."""
    ys = data.elevation_m * view.factor
    _draw_lines(axes, data, view)
    segments = [[(data.days[a], ys[a]), (data.days[b], ys[b])] for piece in data.lines for a, b in pairwise(piece)]
    if segments:
        color = style.SERIES
        lines = LineCollection(segments, colors=color, linewidths=style.THIN * view.marks, zorder=2.6)
        axes.add_collection(lines, autolim=False)
    for taken in (True, False):
        for piece in _logged_pieces(data, taken=taken):
            look: dict[str, Any] = {
                "color": style.SERIES if taken else style.RULE,
                "linewidth": style.LINE * view.marks,
            }
            axes.plot(data.days[piece], ys[piece], zorder=2.8, **look)
    # Daily means of loggers are drawn as lines.
    inside = (ys >= view.low) & (ys <= view.high) & ~data.logged
    count = int((~data.logged).sum())
    size = view.marks * (1.0 if count <= 150 else 0.8 if count <= 400 else 0.55)
    for kind in MARKS:
        for taken in (True, False):
            chosen = (data.kind == kind) & (data.taken == taken) & inside
            if chosen.any():
                look = _look(kind, taken=taken, size=size)
                axes.plot(data.days[chosen], ys[chosen], linestyle="none", zorder=3.4 if taken else 3.0, **look)
    _beyond(axes, data, view, ys)


def _draw_lines(axes: Axes, data: TrendPlotData, view: _View) -> None:
    """Draw the trend line with its interval, the smooth line, or the medians beside a gap."""
    if data.trend is not None:
        days, line = data.trend.days, data.trend.elevation_m * view.factor
        if data.trend.has_limits:
            limits = data.trend.lower_m * view.factor, data.trend.upper_m * view.factor
            axes.fill_between(days, *limits, color=_BAND, linewidth=0, zorder=1.2)
        axes.plot(days, line, zorder=3.8, **_line_look(data, view))
    if data.smooth is not None:
        axes.plot(data.smooth[0], data.smooth[1] * view.factor, zorder=3.7, **_SMOOTH)
    look = _line_look(data, view)
    # Steps are drawn only where they are significant, whatever the trend of the whole is.
    if data.steps_of == "steps":
        look = _LINE | {"linewidth": look["linewidth"]}
    for start, end, level in data.steps:
        axes.plot([start, end], [level * view.factor] * 2, zorder=3.8, **look)


def _line_look(data: TrendPlotData, view: _View) -> dict[str, Any]:
    """Return the look of a line: dashed where nothing is significant."""
    width = style.HEAVY if view.marks == 1 else style.LINE
    return (_LINE if data.direction in _SIGNIFICANT else _NOT_SIGNIFICANT) | {"linewidth": width}


def _logged_pieces(data: TrendPlotData, *, taken: bool) -> list[NDArray[np.int64]]:
    """Return the places of daily means of a logger in pieces without a gap."""
    places = np.flatnonzero(data.logged & (data.taken == taken))
    if not places.size:
        return []
    gaps = np.flatnonzero(np.diff(data.days[places]) > _LOGGED_GAP_DAYS) + 1
    return [np.asarray(piece, dtype=np.int64) for piece in np.split(places, gaps)]


def _beyond(axes: Axes, data: TrendPlotData, view: _View, ys: NDArray[np.float64]) -> None:
    """Mark at the edge of the panel what lies beyond it."""
    for up in (True, False):
        out = ys > view.high if up else ys < view.low
        if out.any():
            edge = view.high if up else view.low
            way = 1.0 if up else -1.0
            place = edge - way * 0.005 * (view.high - view.low)
            axes.plot(
                data.days[out],
                np.full(int(out.sum()), place),
                linestyle="none",
                zorder=3.6,
                **_beyond_look(up=up, size=max(view.marks, 0.7)),
            )


def _beyond_look(*, up: bool, size: float = 1.0) -> dict[str, Any]:
    return {
        "marker": 6 if up else 7,  # carets whose tip lies on the place
        "markersize": 3.6 * size,
        "markerfacecolor": style.SOFT,
        "markeredgewidth": 0.0,
    }


def _look(kind: str, *, taken: bool, size: float = 1.0) -> dict[str, Any]:
    """Return the mark of a level: filled where it takes part, hollow where it does not."""
    options = MARKS[kind].options(approved=True, factor=size)
    if taken:
        return options
    return options | {
        "fillstyle": "full",
        "markerfacecolor": style.PAPER,
        "markeredgecolor": style.SOFT,
        "markeredgewidth": 0.75,
    }


def _far(data: TrendPlotData) -> NDArray[np.bool_]:
    """Return which levels lie beyond what must be seen."""
    return np.asarray((data.elevation_m < data.low_m) | (data.elevation_m > data.high_m), dtype=bool)


def _key(wells: Sequence[TrendPlotData]) -> list[KeyEntry]:
    entries = []
    for taken in (True, False):
        kinds = {kind for well in wells for kind in well.kind[(well.taken == taken) & ~well.logged]}
        for kind, mark in MARKS.items():
            if kind in kinds:
                label = mark.label.split(":")[0] if not taken or kind != "dry" else mark.label
                words = f"{label}, left out" if not taken else label
                entries.append(KeyEntry(words, mark_symbol(**_look(kind, taken=taken))))
    for taken, color in ((True, style.SERIES), (False, style.RULE)):
        if any((well.logged & (well.taken == taken)).any() for well in wells):
            words = "logger, daily means" + ("" if taken else ", left out")
            entries.append(KeyEntry(words, line_symbol(color=color, linewidth=style.LINE), 5.0))
    if any(_far(well).any() for well in wells):
        entries.append(KeyEntry("beyond the axis", mark_symbol(**_beyond_look(up=False))))
    return entries + _line_entries(wells)


def _line_entries(wells: Sequence[TrendPlotData]) -> list[KeyEntry]:
    """Return the key of the lines that these figures show, the limits right after the lines that they are of."""
    lines = [well for well in wells if well.trend is not None]
    trends = [
        ("trend", _LINE, any(well.direction in _SIGNIFICANT for well in lines)),
        ("slope, no significant trend", _NOT_SIGNIFICANT, any(well.direction not in _SIGNIFICANT for well in lines)),
    ]
    pieces = []
    for of, words in (("gap", "median before and after the gap"), ("steps", "median between steps")):
        stepped = [well for well in wells if well.steps and well.steps_of == of]
        sure = [of == "steps" or well.direction in _SIGNIFICANT for well in stepped]
        pieces += [(words, _LINE, any(sure)), (f"{words}, no significant step", _NOT_SIGNIFICANT, not all(sure))]
    entries = [KeyEntry(words, line_symbol(**look), 6.0) for words, look, there in trends if there]
    if any(well.trend is not None and well.trend.has_limits for well in lines):
        entries.append(KeyEntry("its limits at 95 %", band_symbol(facecolor=_BAND, edgecolor="none"), 4.5))
    entries += [KeyEntry(words, line_symbol(**look), 6.0) for words, look, there in pieces if there]
    if any(well.smooth is not None for well in wells):
        entries.append(KeyEntry("smooth line", line_symbol(**_SMOOTH), 6.0))
    return entries
