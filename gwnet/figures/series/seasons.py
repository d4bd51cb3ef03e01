"""Seasonal envelope: range and percentiles of each calendar month, the newest year drawn over them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from gwnet.figures.base import style
from gwnet.figures.base.axes import MONTHS
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm
from gwnet.figures.base.panel import (
    LEFT_AXIS_MM,
    centred_limits,
    common_height,
    draw_title,
    level_axis,
    times_height,
)
from gwnet.figures.base.symbols import band_symbol, line_symbol, mark_symbol
from gwnet.figures.hydrograph.marks import MARKS
from gwnet.figures.series.seasons_data import (
    BANDS,
    MONTH_STARTS,
    YEAR_DAYS,
    SeasonsPlotData,
    YearLine,
    seasons_plot_data,
)
from gwnet.units import metres_per

__all__ = ["SeasonsPlotData", "draw_seasons", "seasons_pages", "seasons_plot_data"]

#: Size of a page with one well, and of pages with several [mm].
ONE_SIZE_MM: Final = (180.0, 105.0)
PAGE_SIZE_MM: Final = (180.0, 247.0)
#: Wells on a page of several.
WELLS_A_PAGE: Final = 3

#: Least height of the vertical axis [m]; project default, so that millimetres do not look like a season.
_LEAST_SPAN_M: Final = 0.5
#: Bands from the outside in: names of lower and upper end, fill.
_FILLS: Final = (("minimum", "maximum", style.TINT), ("p10", "p90", "#D3DEE6"), ("p25", "p75", "#A9C1D1"))
_EDGE: Final = style.RULE
#: The newest level of all.
_NEWEST: Final[dict[str, Any]] = {
    "marker": "o",
    "markersize": 6.2,
    "markerfacecolor": style.LIMIT,
    "markeredgecolor": style.INK,
    "markeredgewidth": 0.9,
}
#: Longest time that the line of a year bridges, and how far from its neighbours a level has a mark of its own [d].
_BRIDGE_DAYS: Final = 130.0
_ALONE_DAYS: Final = 3.0
#: Part of a month that its bar is wide.
_WIDE: Final = 0.88
#: Kinds of marks of bounds, by their side.
_BOUND_MARKS: Final = ((-1, "dry"), (1, "flowing"))


@dataclass(frozen=True, slots=True)
class _Scale:
    box: Box
    low: float
    high: float
    factor: float


def draw_seasons(data: SeasonsPlotData) -> Figure:
    """Draw the seasonal envelope of one well.

    Parameters as `gwnet.figures`.
    """
    with style.style_context():
        page = Page(style.new_figure(ONE_SIZE_MM))
        _panel(page, Box(0.0, 0.0, page.width, page.height), data, _height([data]), key=True)
    return page.figure


def seasons_pages(data: Sequence[SeasonsPlotData]) -> list[Figure]:
    """Draw the seasonal envelopes of wells, one alone or three a page, on one height of the vertical axis.

    Returns
    -------
    list of matplotlib.figure.Figure
        Pages. A well whose levels do not fit into the common height has 2, 5, 10 … times that height and says so.
    """
    if len(data) == 1:
        return [draw_seasons(data[0])]
    height = _height(data)
    pages = []
    for start in range(0, len(data), WELLS_A_PAGE):
        with style.style_context():
            page = Page(style.new_figure(PAGE_SIZE_MM))
            each = page.height / WELLS_A_PAGE
            for i, well in enumerate(data[start : start + WELLS_A_PAGE]):
                box = Box(0.0, page.height - (i + 1) * each, page.width, each - 2.0)
                # One key a page, as all panels have the same looks.
                _panel(page, box, well, height, key=i == 0)
        pages.append(page.figure)
    return pages


def _height(data: Sequence[SeasonsPlotData]) -> float:
    """Return the height of the axis that the wells share [m]."""
    return common_height([1.16 * (well.high_m - well.low_m) for well in data], _LEAST_SPAN_M)


def _panel(page: Page, box: Box, data: SeasonsPlotData, height_m: float, *, key: bool) -> None:
    left, width = box.left + LEFT_AXIS_MM, box.width - LEFT_AXIS_MM - 3.0
    times = times_height(1.05 * (data.high_m - data.low_m), height_m)
    heading = f"{data.site} · {data.heading}" if data.site else data.heading
    if times > 1:
        heading += f" · axis ×{times}: not on the scale of the other wells"
    top = box.top - draw_title(page, box, data.well, heading)
    top -= page.key([_newest_entry(data)], left, top, width)
    if key:
        top -= page.key(_key(data), left, top, width)
    top -= 0.6
    words = [Words(" ".join(data.notes))]
    below = block_height_mm(words, width, style.NOTE_PT)
    page.block(words, left, box.bottom + below + 0.4, width, style.NOTE_PT)
    bottom = box.bottom + below + 9.2
    factor = 1.0 / metres_per(data.unit)
    low, high = centred_limits(data.low_m * factor, data.high_m * factor, height_m * factor * times)
    scale = _Scale(Box(left, bottom, width, top - bottom), low, high, factor)
    axes = page.axes(scale.box)
    axes.set_xlim(0, YEAR_DAYS)
    second = f"above {data.datum}" if data.datum else ""
    level_axis(page, axes, scale.box, low, high, label=f"Water elevation [{data.unit}]", second=second)
    _months(page, axes, scale, data)
    _bands(axes, data, factor)
    _years(axes, data, scale)


def _months(page: Page, axes: Axes, scale: _Scale, data: SeasonsPlotData) -> None:
    """Write the months with the number of their years below the axis."""
    ends = [*MONTH_STARTS[1:], YEAR_DAYS]
    middles = [(a + b) / 2 for a, b in zip(MONTH_STARTS, ends, strict=True)]
    axes.set_xticks(ends[:-1], minor=True)
    axes.set_xticks(middles, list(MONTHS))
    axes.tick_params(axis="x", length=0, pad=2.2, labelfontfamily=list(style.FAMILY))
    axes.tick_params(axis="x", which="minor", length=2.2, width=style.HAIR)
    counts = dict(zip(data.month.tolist(), data.years.tolist(), strict=True))
    y = scale.box.bottom - 7.0
    for month, middle in enumerate(middles, start=1):
        x = scale.box.left + scale.box.width * middle / YEAR_DAYS
        page.text(x, y, str(counts.get(month, "–")), ha="center", color=style.SOFT)
    page.text(scale.box.left - 1.6, y, "years", ha="right", color=style.SOFT)


def _bands(axes: Axes, data: SeasonsPlotData, factor: float) -> None:
    place = {name: i for i, name in enumerate(BANDS)}
    for row, month in enumerate(data.month):
        start = MONTH_STARTS[month - 1]
        end = (*MONTH_STARTS, YEAR_DAYS)[month]
        left, wide = start + (end - start) * (1 - _WIDE) / 2, (end - start) * _WIDE
        numbers = data.statistic_m[row] * factor
        for lower, upper, fill in _FILLS:
            bottom, top = numbers[place[lower]], numbers[place[upper]]
            if math.isfinite(bottom) and math.isfinite(top):
                axes.bar(left, top - bottom, wide, bottom, align="edge", color=fill, edgecolor=_EDGE, linewidth=0.35)
        middle = numbers[place["p50"]]
        if math.isfinite(middle):
            axes.plot([left, left + wide], [middle, middle], color=style.WATER, linewidth=style.HEAVY, zorder=2.6)
        opened = [numbers[i] for i in np.flatnonzero(data.open_below[row]) if math.isfinite(numbers[i])]
        for value in sorted(set(opened)):
            # The end of the band is not known: the sign keeps it from being read as a lowest level.
            axes.annotate(
                "≤",
                (left + wide, value),
                xytext=(-1.0, 0.6),
                textcoords="offset points",
                fontsize=style.NOTE_PT,
                ha="right",
                va="bottom",
                color=style.INK,
                zorder=2.8,
            )


def _years(axes: Axes, data: SeasonsPlotData, scale: _Scale) -> None:
    if data.year_before is not None:
        look = {"color": style.SOFT, "linewidth": style.THIN, "dashes": (3.0, 1.8)}
        mark = {"markersize": 2.6, "markerfacecolor": style.PAPER, "markeredgecolor": style.SOFT}
        _year(axes, data.year_before, scale, look, mark | {"markeredgewidth": 0.6}, 3.0)
    look = {"color": style.LIMIT, "linewidth": style.HEAVY}
    line = data.newest_year
    _year(axes, line, scale, look, {"markersize": 3.8, "color": style.LIMIT}, 3.4)
    # A bound keeps its arrow: a disc would say that a level was measured.
    if line.bound[-1] == 0:
        axes.plot(line.days[-1:], line.elevation_m[-1:] * scale.factor, linestyle="none", zorder=3.6, **_NEWEST)


def _year(axes: Axes, line: YearLine, scale: _Scale, look: dict[str, Any], mark: dict[str, Any], zorder: float) -> None:
    """Draw the levels of a year: a line broken at bounds and long gaps, marks where levels stand alone."""
    numbers = line.bound == 0
    days, levels = line.days, np.where(numbers, line.elevation_m, np.nan) * scale.factor
    # Quarterly rounds are joined; a missed one breaks the line.
    gaps = np.flatnonzero(np.diff(days) > _BRIDGE_DAYS) + 1
    axes.plot(np.insert(days, gaps, np.nan), np.insert(levels, gaps, np.nan), zorder=zorder, **look)
    apart = np.diff(days, prepend=-np.inf, append=np.inf)
    # Daily means of loggers are a line; a mark for each would hide it.
    alone = numbers & (apart[:-1] > _ALONE_DAYS) & (apart[1:] > _ALONE_DAYS)
    axes.plot(days[alone], levels[alone], linestyle="none", marker="o", zorder=zorder, **mark)
    _bounds(axes, line, scale, look["color"])


def _bounds(axes: Axes, line: YearLine, scale: _Scale, color: str) -> None:
    for side, kind in _BOUND_MARKS:
        own = line.bound == side
        if own.any():
            options = MARKS[kind].options(approved=True) | {"markeredgecolor": color, "markeredgewidth": 0.9}
            axes.plot(line.days[own], line.elevation_m[own] * scale.factor, linestyle="none", zorder=3.5, **options)


def _newest_entry(data: SeasonsPlotData) -> KeyEntry:
    """Return the newest level with its percentile, in words beside its mark."""
    kind = dict(_BOUND_MARKS).get(int(data.newest_year.bound[-1]), "")
    look = MARKS[kind].options(approved=True) | {"markeredgecolor": style.LIMIT} if kind else dict(_NEWEST)
    return KeyEntry(f"newest level {data.newest_text}", mark_symbol(**look), 3.0)


def _key(data: SeasonsPlotData) -> list[KeyEntry]:
    edge: dict[str, Any] = {"edgecolor": _EDGE, "linewidth": 0.35}
    newest = line_symbol(color=style.LIMIT, linewidth=style.HEAVY, marker="o", markersize=3.8)
    entries = [KeyEntry("year of the newest level", newest, 6.0)]
    if data.year_before is not None:
        look = {"color": style.SOFT, "linewidth": style.THIN, "dashes": (3.0, 1.8), "marker": "o", "markersize": 2.6}
        entries.append(KeyEntry("year before", line_symbol(**look, markerfacecolor=style.PAPER), 6.0))
    words = ("lowest to highest", "percentile 10 to 90", "25 to 75")
    shown = bool(np.isfinite(data.statistic_m[:, 1]).any())
    for (_, _, fill), text in zip(_FILLS, words, strict=True):
        if text == words[0] or shown:
            entries.append(KeyEntry(text, band_symbol(facecolor=fill, **edge), 4.5))
    if shown:
        entries.append(KeyEntry("median", line_symbol(color=style.WATER, linewidth=style.HEAVY), 5.0))
    lines = [data.newest_year, *([data.year_before] if data.year_before else [])]
    for side, kind in _BOUND_MARKS:
        if any((line.bound == side).any() for line in lines):
            meaning = "dry: at or below" if side < 0 else "flowing: at or above"
            entries.append(KeyEntry(meaning, mark_symbol(**MARKS[kind].options(approved=True))))
    return entries
