"""Chart of coverage: a line a logger and well, bars where there is data, manual readings as ticks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PatchCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from gwnet.figures.base import style
from gwnet.figures.base.axes import DateTick, date_ticks
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm, key_height_mm
from gwnet.figures.base.symbols import Hatched, band_symbol, rectangle
from gwnet.figures.base.text import fit, fit_ends, text_width_pt
from gwnet.figures.coverage.data import CoveragePlotData, CoverageRow, coverage_plot_data, drawn_runs
from gwnet.figures.hydrograph.logger_line import INSTALLED, LEFT_OUT

__all__ = ["CoveragePlotData", "CoverageRow", "coverage_pages", "coverage_plot_data", "draw_coverage"]

#: Width of the chart [mm].
COVERAGE_WIDTH_MM: Final = 180.0
#: Distance from row to row [mm], and size of everything that is written beside the title [pt]: readable in print.
_ROW_MM: Final = 6.0
_TEXT_PT: Final = 7.2
#: Rows of a page: what fits on A4 between heading and foot, in a report below a heading. Project default.
ROWS_A_PAGE: Final = 33
#: Most room for names of wells and of instruments [mm].
_WELL_MM, _INSTRUMENT_MM = 46.0, 24.0
#: Narrowest gap that is drawn: about two dots of a picture, one fine line in print [mm].
_GAP_MM: Final = 0.25
_RIGHT_MM: Final = 9.5
_TITLE_MM: Final = 6.2
_AXIS_MM: Final = 7.9
#: Heights within a row, as shares of it: bars, frames of deployments, ticks of manual readings above the frame.
_BAR, _FRAME, _TICK = 0.36, 0.56, 0.20
_IN_USE: Final[dict[str, Any]] = {"facecolor": style.SERIES, "edgecolor": "none", "linewidth": 0.0}
#: Height of a bar in the key [mm].
_KEY_MM: Final = 1.7


def draw_coverage(data: CoveragePlotData, *, caption: bool = True) -> Figure:
    """Draw a chart of coverage, or a page of it as `coverage_pages` gives them; it grows with the number of rows.

    Parameters
    ----------
    data : CoveragePlotData
        What to draw.
    caption : bool, optional
        Whether to write the caption under the axes.
    """
    pitch = _ROW_MM
    left = _names_mm(data.rows)
    entries = _key_entries(data.rows)
    notes = [Words(" ".join(data.notes))] if caption and data.notes else []
    key = key_height_mm(entries, COVERAGE_WIDTH_MM - 3.0, _TEXT_PT)
    foot = block_height_mm(notes, COVERAGE_WIDTH_MM - 3.0, _TEXT_PT) + 1.0
    body = max(len(data.rows), 2) * pitch
    head = _TITLE_MM + key + 1.0
    with style.style_context():
        page = Page(style.new_figure((COVERAGE_WIDTH_MM, head + body + _AXIS_MM + foot)))
        top = _title(page, data)
        page.key(entries, 1.5, top, COVERAGE_WIDTH_MM - 3.0, _TEXT_PT)
        box = Box(left, foot + _AXIS_MM, COVERAGE_WIDTH_MM - left - _RIGHT_MM, body)
        axes = page.axes(box)
        axes.set_xlim(data.first, data.last)
        axes.set_ylim(len(data.rows) or 2, 0)
        axes.set_yticks([])
        _time_axis(axes, date_ticks(data.first, data.last, max(int(box.width / 14.0), 2)))
        _rows(page, axes, data, box, pitch)
        page.block(notes, 1.5, foot - 0.4, COVERAGE_WIDTH_MM - 3.0, _TEXT_PT)
    return page.figure


def coverage_pages(data: CoveragePlotData, rows: int = ROWS_A_PAGE) -> list[CoveragePlotData]:
    """Return a chart in pages of one axis of time, each row on one of them; loggers of one well stay together.

    Parameters
    ----------
    data : CoveragePlotData
        The whole chart.
    rows : int, optional
        Most rows of a page; a well with more loggers than that takes several.
    """
    pages: list[list[CoverageRow]] = [[]]
    for _, group in groupby(data.rows, key=lambda row: row.well):
        members = list(group)
        # The loggers of one well are to be compared; they go on a page together if they can.
        if pages[-1] and len(pages[-1]) + len(members) > rows:
            pages.append([])
        for row in members:
            if len(pages[-1]) == rows:
                pages.append([])
            pages[-1].append(row)
    if len(pages) == 1:
        return [data]
    return [
        replace(data, rows=tuple(members), site=f"{data.site} · page {number} of {len(pages)}")
        for number, members in enumerate(pages, start=1)
    ]


def _title(page: Page, data: CoveragePlotData) -> float:
    y = page.height - 4.2
    title = "Data on record"
    page.text(1.5, y, title, size=style.TITLE_PT, weight="bold")
    used = 1.5 + (text_width_pt(title, style.TITLE_PT, bold=True) + 7.0) / style.PT_PER_MM
    rest = fit(data.site, (page.width - used - 1.5) * style.PT_PER_MM, style.LABEL_PT)
    page.text(used, y, rest, size=style.LABEL_PT, color=style.SOFT)
    return page.height - _TITLE_MM


def _names_mm(rows: Sequence[CoverageRow]) -> float:
    """Return the room that the names at the left take [mm]."""
    wells = max((text_width_pt(_name(row), style.LABEL_PT, bold=True) for row in rows), default=20.0)
    loggers = max((text_width_pt(row.instrument, _TEXT_PT) for row in rows), default=0.0)
    return min(wells / style.PT_PER_MM, _WELL_MM) + min(loggers / style.PT_PER_MM, _INSTRUMENT_MM) + 6.0


def _short_names(names: Sequence[str]) -> dict[str, str]:
    """Return each name as it is, or all without the words they begin with alike, where one is too wide."""
    room = _WELL_MM * style.PT_PER_MM
    if all(text_width_pt(name, style.LABEL_PT, bold=True) <= room for name in names):
        return {name: name for name in names}
    first, last = min(names), max(names)
    length = next((i for i, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), 0)
    # At a blank: names cut within a word are no names.
    shared = first[: first.rfind(" ", 0, length) + 1]
    return {name: f"…{name.removeprefix(shared)}" if shared else name for name in names}


def _name(row: CoverageRow) -> str:
    return row.well or "barometer"


def _rows(page: Page, axes: Axes, data: CoveragePlotData, box: Box, pitch: float) -> None:
    least = _GAP_MM * (data.last - data.first) / box.width
    frames, bars, left_out, ticks = [], [], [], []
    for place, row in enumerate(data.rows):
        middle = place + 0.5 + 0.5 * _TICK
        frames += _rectangles(row.installed, middle, _FRAME)
        bars += _rectangles(drawn_runs(row.runs, least), middle, _BAR)
        left_out += [(since, middle - _BAR / 2, to - since, _BAR) for since, to in drawn_runs(row.left_out, least)]
        edge = middle - _FRAME / 2
        low, high = (edge, edge - _TICK) if row.instrument else (middle + _BAR / 2, middle - _BAR / 2)
        ticks += [[(day, low), (day, high)] for day in row.hands]
    _patches(axes, frames, zorder=1.5, **INSTALLED)
    _patches(axes, bars, zorder=2.0, **_IN_USE)
    for sides in left_out:
        axes.add_patch(Hatched(rectangle(*sides), "strokes", zorder=2.1, **LEFT_OUT))
    # One collection for all: thousands of ticks as lines of their own take seconds. The limits are set already.
    axes.add_collection(LineCollection(ticks, colors=style.INK, linewidths=style.THIN, zorder=2.4), autolim=False)
    _names(page, data.rows, box, pitch)


def _rectangles(spans: Any, middle: float, height: float) -> list[Rectangle]:
    return [Rectangle((since, middle - height / 2), to - since, height) for since, to in spans]


def _patches(axes: Axes, patches: list[Rectangle], *, zorder: float, **options: Any) -> None:
    if patches:
        patch_set = PatchCollection(patches, **options)
        patch_set.set_zorder(zorder)
        axes.add_collection(patch_set, autolim=False)


def _names(page: Page, rows: Sequence[CoverageRow], box: Box, pitch: float) -> None:
    """Write wells once, instruments beside them, shares at the right, and a line between wells."""
    size, names = style.LABEL_PT, _short_names([_name(row) for row in rows])
    widest = max((text_width_pt(row.instrument, _TEXT_PT) for row in rows), default=0.0) / style.PT_PER_MM
    place = 0
    for well, group in groupby(rows, key=lambda row: (row.well, bool(row.well))):
        members = list(group)
        for number, row in enumerate(members):
            y = box.top - (place + number + 0.5 + 0.5 * _TICK) * pitch
            # A barometer belongs to no well: its word stands once, above all of them.
            if number == 0 and (well[1] or place == 0):
                name = fit_ends(names[_name(row)], _WELL_MM * style.PT_PER_MM, size, bold=True)
                page.text(1.5, y, name, size=size, weight="bold", va="center_baseline")
            instrument = fit_ends(row.instrument, _INSTRUMENT_MM * style.PT_PER_MM, _TEXT_PT)
            page.text(
                box.left - 1.6 - min(widest, _INSTRUMENT_MM),
                y,
                instrument,
                size=_TEXT_PT,
                color=style.SOFT,
                va="center_baseline",
            )
            page.text(
                page.width - 1.2, y, row.share_text, size=_TEXT_PT, ha="right", color=style.INK, va="center_baseline"
            )
        place += len(members)
        if place < len(rows):
            y = box.top - place * pitch
            page.line([1.5, box.right], [y, y], color=style.GRID, linewidth=style.HAIR, zorder=0.2)


def _time_axis(axes: Axes, ticks: Sequence[DateTick]) -> None:
    majors = [tick for tick in ticks if tick.label]
    axes.set_xticks([tick.days for tick in majors], [tick.label for tick in majors])
    axes.set_xticks([tick.days for tick in ticks if not tick.label], minor=True)
    axes.tick_params(
        axis="x", labelsize=_TEXT_PT, length=2.6, width=style.HAIR, pad=1.8, labelfontfamily=list(style.FAMILY)
    )
    axes.tick_params(axis="x", which="minor", length=1.4, width=style.HAIR)
    axes.grid(visible=True, axis="x", color=style.GRID, linewidth=style.HAIR)
    axes.set_axisbelow(True)


def _key_entries(rows: Sequence[CoverageRow]) -> list[KeyEntry]:
    """Return the key of what the chart shows, and of nothing else."""
    entries = []
    if any(len(row.runs) for row in rows):
        entries.append(KeyEntry("samples in use", band_symbol(_KEY_MM, **_IN_USE), 6.0))
    if any(len(row.left_out) for row in rows):
        entries.append(KeyEntry("samples left out", band_symbol(_KEY_MM, hatching="strokes", **LEFT_OUT), 6.0))
    if any(len(row.installed) for row in rows):
        entries.append(KeyEntry("sensor installed", band_symbol(_KEY_MM, **INSTALLED), 6.0))
    if any(row.hands.size for row in rows):
        entries.append(KeyEntry("manual reading", _tick_drawer, 1.0))
    return entries


def _tick_drawer(page: Page, box: Box) -> None:
    x, y = box.left + 0.5, box.bottom + box.height / 2
    page.line([x, x], [y - 0.9, y + 0.9], color=style.INK, linewidth=style.THIN)
