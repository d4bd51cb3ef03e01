"""Hydrographs: elevation left, depth below the measuring point right, everything labelled from the data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from gwnet.figures.base import style
from gwnet.figures.base.axes import date_ticks, nice_step, round_ticks
from gwnet.figures.base.page import NOTE_MM, Box, Page, Words, block_height_mm
from gwnet.figures.base.text import decimals_of_step, fit, number_text, text_width_pt
from gwnet.figures.hydrograph.data import HydrographPlotData, hydrograph_plot_data
from gwnet.figures.hydrograph.events import BOUNDS
from gwnet.figures.hydrograph.gutter import Scale, draw_gutter, draw_screens, gutter_labels, gutter_width_mm
from gwnet.figures.hydrograph.logger_line import draw_bounds, draw_logger_line, draw_logger_strip
from gwnet.figures.hydrograph.marks import MARKS, SENSOR_BOUND, key_entries
from gwnet.figures.hydrograph.span import Span, common_span
from gwnet.figures.hydrograph.surroundings import LevelLine
from gwnet.units import metres_per

__all__ = [
    "HydrographPlotData",
    "Span",
    "common_span",
    "draw_hydrograph",
    "hydrograph_plot_data",
    "hydrograph_sheet",
]

#: Size of a hydrograph of its own [mm].
HYDROGRAPH_SIZE_MM: Final = (180.0, 100.0)
#: Size of a sheet: the text area of an A4 page [mm].
SHEET_SIZE_MM: Final = (170.0, 247.0)

_LEFT_MM: Final = 16.0
_RIGHT_MM: Final = 16.0
_PLAIN_RIGHT_MM: Final = 4.0
_TITLE_MM: Final = 5.4
#: Where a bound is nearer to the edge than this, its sign is printed beside the mark [mm].
_SIGN_ROOM_MM: Final = 5.0


def draw_hydrograph(
    data: HydrographPlotData, *, size_mm: tuple[float, float] = HYDROGRAPH_SIZE_MM, caption: bool = True
) -> Figure:
    """Draw one hydrograph.

    Parameters as `gwnet.figures`.

    Parameters
    ----------
    data : HydrographPlotData
        What to draw.
    caption : bool, optional
        Whether to write the caption under the axes; a report writes its own.
    """
    with style.style_context():
        page = Page(style.new_figure(size_mm))
        _panel(page, Box(0.0, 0.0, page.width, page.height), data, key=True, caption=caption)
    return page.figure


def hydrograph_sheet(data: Sequence[HydrographPlotData], *, size_mm: tuple[float, float] = SHEET_SIZE_MM) -> Figure:
    """Draw the hydrographs of a group on one page, with one time axis.

    Parameters
    ----------
    data : sequence of HydrographPlotData
        Wells from top to bottom; made with one `Span`, they compare by eye.
    size_mm : tuple of float, optional
        Width and height [mm].

    Returns
    -------
    matplotlib.figure.Figure
        The page.
    """
    with style.style_context():
        page = Page(style.new_figure(size_mm))
        wells = _one_time(data)
        entries = key_entries(wells)
        top = page.height - page.key(entries, _LEFT_MM, page.height, page.width - _LEFT_MM - _PLAIN_RIGHT_MM)
        height = top / max(len(wells), 1)
        for i, well in enumerate(wells):
            box = Box(0.0, top - (i + 1) * height, page.width, height - 1.5)
            _panel(page, box, well, key=False, caption=True, group=wells)
    return page.figure


def _one_time(data: Sequence[HydrographPlotData]) -> list[HydrographPlotData]:
    if not data:
        return []
    first, last = min(well.first for well in data), max(well.last for well in data)
    wells = []
    for well in data:
        levels = tuple(
            replace(
                line,
                first=first if line.first <= well.first else line.first,
                # A line that reached the end of its own axis goes on to the end of the common one.
                last=last if line.last >= well.last else line.last,
            )
            for line in well.levels
        )
        wells.append(replace(well, first=first, last=last, levels=levels))
    return wells


def _has_depth(data: HydrographPlotData) -> bool:
    return math.isfinite(data.point_elevation_m)


def _panel(
    page: Page,
    box: Box,
    data: HydrographPlotData,
    *,
    key: bool,
    caption: bool,
    group: Sequence[HydrographPlotData] = (),
) -> None:
    """Draw one hydrograph into a box of the page, with room for what any of its group has beside the axes."""
    with_depth = any(_has_depth(member) for member in (data, *group))
    left = box.left + _LEFT_MM
    width = box.width - _LEFT_MM - (_RIGHT_MM if with_depth else _PLAIN_RIGHT_MM)
    top = box.top - _title(page, box, data)
    if key:
        entries = key_entries([data])
        top -= page.key(entries, left, top, box.right - left - 1.0) + 0.8
    notes = [Words(" ".join(data.notes))] if caption else []
    text_width = box.right - left - 1.0
    bottom = box.bottom + block_height_mm(notes, text_width, style.NOTE_PT) + (0.8 if notes else 0.3)
    page.block(notes, left, bottom - 0.4, text_width, style.NOTE_PT)
    labels = gutter_labels(data)
    # As wide as any of the group needs, so that the time axes of a page stand under each other.
    gutter = max(gutter_width_mm(gutter_labels(member), width) for member in (data, *group))
    ticks = date_ticks(data.first, data.last, max(int((width - gutter) / 14.0), 2))
    bottom += 7.9 if any("\n" in tick.label for tick in ticks) else 4.6
    rows = _change_rows(data, left, width - gutter)
    top -= NOTE_MM * (max(rows, default=-1) + 1) + (0.6 if rows else 0.0)
    panels = _panel_boxes(Box(left, bottom, width, top - bottom), len(data.context))
    # The strip for labels is a piece of the axis without data, so that lines lead into it.
    last = data.last + (data.last - data.first) * gutter / (width - gutter)
    scale = Scale(panels[0], 1.0 / metres_per(data.unit), last)
    axes = _main_axes(page, data, scale, gutter)
    _levels(axes, data, scale)
    if not data.days.size and not data.logger.times.size:
        axes.text(0.5, 0.5, "no level on record", transform=axes.transAxes, ha="center", va="center", color=style.SOFT)
        axes.set_yticks([])
    draw_gutter(page, data, scale, labels)
    _changes(page, data, scale, rows)
    if gutter:
        draw_screens(axes, data, scale)
    _series_and_lines(axes, data, scale)
    _marks(axes, data, scale)
    _off_scale(axes, data, scale)
    _depth_axis(page, axes, data, scale)
    every = [axes]
    for bars, room in zip(data.context, panels[1:], strict=True):
        every.append(_context_axes(page, room, data, bars, last))
    _time_axis(every, every[-1], ticks)


def _title(page: Page, box: Box, data: HydrographPlotData) -> float:
    left, y = box.left + _LEFT_MM, box.top - 3.9
    room = (box.right - left - 1.0) * style.PT_PER_MM
    name = fit(data.well, room * 0.6, style.TITLE_PT, bold=True)
    page.text(left, y, name, size=style.TITLE_PT, weight="bold")
    used = text_width_pt(name, style.TITLE_PT, bold=True) + 7.0
    rest = fit(f"{data.site} · {data.heading}" if data.site else data.heading, room - used, style.LABEL_PT)
    page.text(left + used / style.PT_PER_MM, y, rest, size=style.LABEL_PT, color=style.SOFT)
    return _TITLE_MM


def _panel_boxes(room: Box, panels: int) -> list[Box]:
    """Return the boxes of the level axes and of the panels under them."""
    if not panels:
        return [room]
    each = min(max(0.2 * room.height, 9.0), 18.0, 0.45 * room.height / panels)
    gap = 3.6
    below = [Box(room.left, room.bottom + i * (each + gap), room.width, each) for i in range(panels)][::-1]
    used = panels * (each + gap)
    return [Box(room.left, room.bottom + used, room.width, room.height - used), *below]


def _main_axes(page: Page, data: HydrographPlotData, scale: Scale, gutter: float) -> Axes:
    axes = page.axes(scale.box)
    axes.set_xlim(data.first, scale.last)
    low, high = data.low_m * scale.factor, data.high_m * scale.factor
    axes.set_ylim(low, high)
    step = nice_step(high - low, max(int(scale.box.height / 6.0), 2))
    ticks = round_ticks(low, high, step)
    axes.set_yticks(ticks, [number_text(tick, decimals_of_step(step)) for tick in ticks])
    axes.tick_params(axis="y", length=2.0, width=style.HAIR, pad=2.0, labelfontfamily=list(style.FAMILY))
    axes.grid(visible=True, axis="y", color=style.GRID, linewidth=style.HAIR)
    axes.set_axisbelow(True)
    _upright_label(
        page,
        scale.box.left - _LEFT_MM + 2.9,
        scale.box,
        f"Water elevation [{data.unit}]",
        f"above {data.datum}" if data.datum else "",
    )
    if gutter:
        axes.axvspan(data.last, scale.last, facecolor=style.TINT, edgecolor="none", zorder=0.5)
        axes.axvline(data.last, color=style.RULE, linewidth=style.HAIR, zorder=1.0)
    return axes


def _upright_label(page: Page, x: float, box: Box, label: str, second: str) -> None:
    """Write an axis label in at most two lines, the second one shortened to the height of the axes."""
    room = (box.height + 6.0) * style.PT_PER_MM
    middle = box.bottom + box.height / 2
    size = style.LABEL_PT
    while text_width_pt(label, size) > room and size > style.NOTE_PT:
        size -= 0.3
    page.text(x, middle, label, size=size, rotation=90, ha="center", va="center")
    if second:
        text = fit(second, room, style.NOTE_PT)
        page.text(x + 2.9, middle, text, size=style.NOTE_PT, rotation=90, ha="center", va="center", color=style.SOFT)


def _levels(axes: Axes, data: HydrographPlotData, scale: Scale) -> None:
    for line in data.levels:
        if not data.low_m <= line.elevation_m <= data.high_m:
            continue
        color, dash, width = _line_look(line)
        y = line.elevation_m * scale.factor
        # Only for its time in force: over the whole axis it would judge levels that it did not hold for.
        axes.plot([line.first, line.last], [y, y], color=color, linewidth=width, dashes=dash, zorder=2.0)


def _line_look(line: LevelLine) -> tuple[str, tuple[float, ...], float]:
    if line.kind in ("ground", "bottom"):
        # A dash longer than the axis is a whole line: one call draws all looks.
        return style.EARTH, (1000.0, 0.001), style.LINE
    if line.kind == "upper":
        return style.LIMIT, (7.0, 1.8, 1.2, 1.8), style.LINE
    return style.LIMIT, (5.0, 2.2), style.LINE


def _change_rows(data: HydrographPlotData, left: float, width: float) -> list[int]:
    """Return the row, counted upwards, in which each change of the measuring point is written."""
    ends: list[float] = []
    rows = []
    for change in data.changes:
        start, end = _change_extent(data, change.days, change.label, left, width)
        row = next((i for i, taken in enumerate(ends) if start > taken + 1.0), len(ends))
        if row == len(ends):
            ends.append(end)
        else:
            ends[row] = end
        rows.append(row)
    return rows


def _change_extent(data: HydrographPlotData, days: float, label: str, left: float, width: float) -> tuple[float, float]:
    """Return where the text of a change begins and ends [mm], kept within the axes."""
    x = left + width * (days - data.first) / (data.last - data.first)
    wide = text_width_pt(label, style.NOTE_PT) / style.PT_PER_MM
    start = min(max(x - wide / 2, left), max(left + width - wide, left))
    return start, start + wide


def _changes(page: Page, data: HydrographPlotData, scale: Scale, rows: Sequence[int]) -> None:
    box = scale.box
    width = box.width * (data.last - data.first) / (scale.last - data.first)
    for change, row in zip(data.changes, rows, strict=True):
        x = box.left + width * (change.days - data.first) / (data.last - data.first)
        start, _ = _change_extent(data, change.days, change.label, box.left, width)
        base = box.top + 0.9 + row * NOTE_MM
        page.line([x, x], [box.bottom, base - 0.2], color=style.SOFT, linewidth=style.HAIR, dashes=(1.2, 1.6), zorder=1)
        behind = {"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.4}
        page.text(start, base + 0.3, change.label, color=style.SOFT, bbox=behind, zorder=3)


def _series_and_lines(axes: Axes, data: HydrographPlotData, scale: Scale) -> None:
    limits = (data.first, data.last)
    draw_logger_line(axes, data.logger, limits, width_mm=scale.box.width, factor=scale.factor)
    draw_logger_strip(axes, data.logger, limits, height_mm=scale.box.height)
    per_day = scale.box.width / (scale.last - data.first)
    draw_bounds(axes, data.logger, SENSOR_BOUND.options(approved=False), per_day_mm=per_day, factor=scale.factor)
    ys = data.elevation_m * scale.factor
    pieces = [[(data.days[a], ys[a]), (data.days[b], ys[b])] for piece in data.lines for a, b in pairwise(piece)]
    width = style.THIN if data.days.size > 300 else 0.8
    axes.add_collection(
        LineCollection(pieces, colors=style.INK, linewidths=width, zorder=3.0, capstyle="round"), autolim=False
    )
    _whiskers(axes, data, scale)


def _whiskers(axes: Axes, data: HydrographPlotData, scale: Scale) -> None:
    """Draw the 95 % half-width of levels where it is wider than their mark."""
    mm = data.uncertainty_m * scale.box.height / (data.high_m - data.low_m)
    # Narrower than three quarters of a millimetre a bar is hidden by its mark.
    wide = np.isfinite(mm) & (mm > 0.75) & ~np.isin(data.kind, BOUNDS) & (data.off_scale == 0)
    low = (data.elevation_m - data.uncertainty_m) * scale.factor
    high = (data.elevation_m + data.uncertainty_m) * scale.factor
    if wide.any():
        axes.vlines(data.days[wide], low[wide], high[wide], color=style.RULE, linewidth=style.HAIR, zorder=2.8)


def _mark_size(count: int) -> float:
    """Return the factor of marks: smaller where hundreds of readings share the axis."""
    return 1.0 if count <= 150 else 0.82 if count <= 400 else 0.62


def _marks(axes: Axes, data: HydrographPlotData, scale: Scale) -> None:
    factor = _mark_size(data.days.size)
    for kind, look in MARKS.items():
        for approved in (False, True):
            chosen = (data.kind == kind) & (data.approved == approved) & (data.off_scale == 0)
            if chosen.any():
                axes.plot(
                    data.days[chosen],
                    data.elevation_m[chosen] * scale.factor,
                    linestyle="none",
                    zorder=3.5,
                    clip_on=False,
                    **look.options(approved=approved, factor=factor),
                )
    for kind in BOUNDS:
        _bound_signs(axes, data, scale, kind)


def _bound_signs(axes: Axes, data: HydrographPlotData, scale: Scale, kind: str) -> None:
    """Write the sign of a bound beside its mark, once where marks stand close together."""
    per_day = scale.box.width / (scale.last - data.first)
    per_m = scale.box.height / (data.high_m - data.low_m)
    is_lower = kind == "flowing"
    sign = "≥" if is_lower else "≤"
    before = -math.inf
    for days, elevation in zip(
        data.days[(data.kind == kind) & (data.off_scale == 0)],
        data.elevation_m[(data.kind == kind) & (data.off_scale == 0)],
        strict=True,
    ):
        close = (days - before) * per_day < 3.0
        before = days
        if close:
            continue
        # On the side of the arrow, where the water may be.
        down = 1.0 if is_lower else -1.0
        to_edge = (data.high_m - elevation if is_lower else elevation - data.low_m) * per_m
        beside = to_edge < _SIGN_ROOM_MM
        axes.annotate(
            sign,
            (days, elevation * scale.factor),
            xytext=(4.2, down * 4.0) if beside else (0.0, down * 9.6),
            textcoords="offset points",
            fontsize=style.NOTE_PT,
            va="center",
            ha="left" if beside else "center",
            color=style.INK,
            bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.1},
            zorder=3.2,
        )


def _off_scale(axes: Axes, data: HydrographPlotData, scale: Scale) -> None:
    """Point at readings beyond the axis, with their value."""
    for i in np.flatnonzero(data.off_scale):
        up = data.off_scale[i] > 0
        edge = (data.high_m if up else data.low_m) * scale.factor
        value = number_text(data.elevation_m[i] * scale.factor, data.decimals)
        axes.annotate(
            f"{MARKS[data.kind[i]].label.split(':')[0]} {value}",
            (data.days[i], edge),
            xytext=(0, -11 if up else 11),
            textcoords="offset points",
            arrowprops={"arrowstyle": "->", "linewidth": style.HAIR, "color": style.INK, "shrinkA": 0, "shrinkB": 0},
            fontsize=style.NOTE_PT,
            ha="center" if 0.06 < (data.days[i] - data.first) / (data.last - data.first) < 0.9 else "left",
            va="top" if up else "bottom",
            zorder=4.0,
        )


def _depth_axis(page: Page, axes: Axes, data: HydrographPlotData, scale: Scale) -> None:
    """Put the depth below the measuring point on the right: same scale, positive downward."""
    if not _has_depth(data):
        return
    # The same elevations read from the mark downward: one scale twice, so nothing is drawn on it.
    depth = axes.twinx()
    shallow = (data.point_elevation_m - data.high_m) * scale.factor
    deep = (data.point_elevation_m - data.low_m) * scale.factor
    depth.set_ylim(deep, shallow)
    step = nice_step(deep - shallow, max(int(scale.box.height / 6.0), 2))
    ticks = round_ticks(shallow, deep, step)
    depth.set_yticks(ticks, [number_text(tick, decimals_of_step(step)) for tick in ticks])
    depth.tick_params(axis="y", length=2.0, width=style.HAIR, pad=2.0, labelfontfamily=list(style.FAMILY))
    x = scale.box.right + 10.6
    point = number_text(data.point_elevation_m * scale.factor, 3 if data.unit == "m" else 2)
    second = f"point at {point} {data.unit}, {data.point_label}"
    _upright_label(page, x, scale.box, f"Depth below measuring point [{data.unit}]", second)


def _context_axes(page: Page, box: Box, data: HydrographPlotData, bars: Any, last: float) -> Axes:
    axes = page.axes(box)
    axes.set_xlim(data.first, last)
    highest = float(max(bars.value.max(initial=0.0), 1e-9))
    step = nice_step(highest * 1.08, max(int(box.height / 5.0), 1))
    top = math.ceil(highest * 1.02 / step) * step
    axes.set_ylim(min(0.0, float(bars.value.min(initial=0.0))), top)
    ticks = round_ticks(0.0, top, step)
    axes.set_yticks(ticks, [number_text(tick, decimals_of_step(step)) for tick in ticks])
    axes.tick_params(axis="y", length=2.0, width=style.HAIR, pad=2.0, labelfontfamily=list(style.FAMILY))
    # Gaps between hundreds of bars would be finer than a dot, and shimmer.
    gap = 0.12 if bars.value.size < 240 else 0.0
    axes.bar(
        bars.left,
        bars.value,
        width=bars.width * (1 - gap),
        align="edge",
        color=style.RAIN,
        edgecolor="none",
        linewidth=0,
        zorder=2,
    )
    if last > data.last:
        axes.axvspan(data.last, last, facecolor=style.TINT, edgecolor="none", zorder=2.5)
        axes.axvline(data.last, color=style.RULE, linewidth=style.HAIR, zorder=2.6)
    name, _, how = bars.label.partition(", ")
    label = f"{name} [{bars.unit}]"
    page.text(box.left, box.top + 0.5, f"{label[0].upper()}{label[1:]}, {how}", color=style.SOFT)
    return axes


def _time_axis(every: Sequence[Axes], lowest: Axes, ticks: Sequence[Any]) -> None:
    majors = [tick for tick in ticks if tick.label]
    minors = [tick.days for tick in ticks if not tick.label]
    for axes in every:
        named = axes is lowest
        axes.set_xticks(
            [tick.days for tick in majors], [tick.label for tick in majors] if named else [""] * len(majors)
        )
        axes.set_xticks(minors, minor=True)
        axes.tick_params(axis="x", length=2.6, width=style.HAIR, pad=1.8, labelfontfamily=list(style.FAMILY))
        axes.tick_params(axis="x", which="minor", length=1.4, width=style.HAIR)
        axes.grid(visible=True, axis="x", color=style.GRID, linewidth=style.HAIR)
