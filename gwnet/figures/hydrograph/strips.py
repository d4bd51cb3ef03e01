"""A page of hydrographs as strips of one scale under each other, with rainfall, stage and abstraction below them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from gwnet.figures.base import style
from gwnet.figures.base.axes import MONTHS, date_ticks, day_of_number, nice_step, round_ticks, thin_line
from gwnet.figures.base.page import Box, KeyEntry, Page, key_height_mm
from gwnet.figures.base.placement import spread
from gwnet.figures.base.symbols import band_symbol, line_symbol
from gwnet.figures.base.text import decimals_of_step, fit, number_text, short_number, text_width_pt
from gwnet.figures.hydrograph.context_strips import ContextStrip
from gwnet.figures.hydrograph.data import HydrographPlotData
from gwnet.figures.hydrograph.events import BOUNDS
from gwnet.figures.hydrograph.logger_line import draw_bounds
from gwnet.figures.hydrograph.marks import MARKS, SENSOR_BOUND, key_entries
from gwnet.figures.hydrograph.strip_data import current_thresholds, strip_window
from gwnet.units import metres_per

#: Heights: of a strip, of the line above it, of a strip of rainfall and the like, of the labels of the time axis [mm].
STRIP_MM: Final = 27.0
_HEAD_MM: Final = 5.4
_CONTEXT_MM: Final = 10.4
_CONTEXT_GAP_MM: Final = 3.0
_TIME_MM: Final = 4.6
#: Height of the days and readings beyond a threshold under a strip [mm].
_BAR_MM: Final = 4.4
#: Room for a key of two lines [mm].
_KEY_MM: Final = 9.6
#: Where the axes begin, and the room right of them for labels [mm].
_LEFT_MM: Final = 11.0
_MARGIN_MM: Final = 33.0
_LABEL_MM: Final = 3.15
#: A logger's newest head is named where it is this much newer than the newest manual reading [d].
_NEWER_DAYS: Final = 20.0
_LOGGER_PT: Final = 1.4
_LIMIT_PT: Final = 1.1
_COLUMNS_PER_MM: Final = 12
#: Tones of the reported period, and of what is beyond a threshold.
SHADE: Final = "#E6ECF0"
BEYOND: Final = "#E2C1AE"
_LIMIT: Final[dict[str, Any]] = {"color": style.LIMIT, "linewidth": _LIMIT_PT, "dashes": (5.0, 2.0)}


@dataclass(frozen=True, slots=True, eq=False)
class CrossingBar:
    """Days of a logger and readings held against a threshold, for the bar under a strip.

    Parameters
    ----------
    days, readings : numpy.ndarray
        Days since 1970-01-01.
    days_beyond, readings_beyond : numpy.ndarray of bool
        Which of them are beyond.
    text : str
        What is written beside it.
    """

    days: NDArray[np.float64]
    days_beyond: NDArray[np.bool_]
    readings: NDArray[np.float64]
    readings_beyond: NDArray[np.bool_]
    text: str


@dataclass(frozen=True, slots=True)
class _Margin:
    """A label right of a strip: what it is for, in which colour, and where it points."""

    elevation_m: float
    text: str
    color: str
    bold: bool = False


def strips_height_mm(
    wells: Sequence[HydrographPlotData],
    context: Sequence[ContextStrip],
    *,
    width_mm: float,
    strip_mm: float = STRIP_MM,
    key: bool = True,
) -> float:
    """Return the height that a page of strips takes [mm].

    Parameters
    ----------
    wells : sequence of HydrographPlotData
        Wells from top to bottom.
    context : sequence of ContextStrip
        What is drawn under them.
    width_mm : float
        Width of the page [mm].
    strip_mm : float, optional
        Height of a strip [mm].
    key : bool, optional
        Whether there is a key above.
    """
    above = key_height_mm(_entries(wells), width_mm, style.LABEL_PT) + 1.0 if key else 0.0
    below = len(context) * (_CONTEXT_MM + _CONTEXT_GAP_MM) + _TIME_MM
    return above + len(wells) * (_HEAD_MM + strip_mm) + below


def fitting_strip_mm(room_mm: float, wells: int, context: int) -> float:
    """Return the height of strips of which so many fit a page with their key and what is drawn under them [mm].

    Parameters
    ----------
    room_mm : float
        Height of the figure [mm].
    wells, context : int
        Strips on a full page, and strips of rainfall and the like under them.
    """
    below = context * (_CONTEXT_MM + _CONTEXT_GAP_MM) + _TIME_MM
    return min(STRIP_MM, (room_mm - _KEY_MM - below) / wells - _HEAD_MM)


def draw_strips(
    wells: Sequence[HydrographPlotData],
    *,
    metres_per_cm: float,
    width_mm: float,
    context: Sequence[ContextStrip] = (),
    period: tuple[float, float] | None = None,
    strip_mm: float = STRIP_MM,
    key: bool = True,
    bars: Mapping[str, CrossingBar] | None = None,
) -> Figure:
    """Draw hydrographs as strips of one scale, each with an offset of its own.

    Parameters
    ----------
    wells : sequence of HydrographPlotData
        Wells from top to bottom, of one unit.
    metres_per_cm : float
        Scale that all share, from `gwnet.figures.hydrograph.strip_data.choose_strip_scale`.
    width_mm : float
        Width of the page [mm].
    context : sequence of ContextStrip, optional
        What is drawn under them on the same time axis.
    period : tuple of float, optional
        Reported period, shaded: first day and the day after the last, days since 1970-01-01.
    strip_mm : float, optional
        Height of a strip [mm].
    key : bool, optional
        Whether to draw a key above.
    bars : mapping of str to CrossingBar, optional
        Days and readings beyond a threshold, drawn under the strip of their well.

    Returns
    -------
    matplotlib.figure.Figure
        The page, as high as `strips_height_mm` says.
    """
    under = bars or {}
    height = strips_height_mm(wells, context, width_mm=width_mm, strip_mm=strip_mm, key=key)
    height += _BAR_MM * sum(well.well in under for well in wells)
    with style.style_context():
        page = Page(style.new_figure((width_mm, height)))
        first, last = min(well.first for well in wells), max(well.last for well in wells)
        top = page.height
        if key:
            top -= page.key(_entries(wells), 0.0, top, page.width, style.LABEL_PT) + 1.0
        time = _TimeAxis(first, last, period, page.width - _LEFT_MM - _MARGIN_MM)
        every = []
        for well in wells:
            top -= _HEAD_MM
            box = Box(_LEFT_MM, top - strip_mm, time.width, strip_mm)
            every.append(_draw_strip(page, box, well, time, metres_per_cm))
            top -= strip_mm
            if well.well in under:
                top -= _BAR_MM
                # Under its strip and on its time axis: when a threshold was passed is read straight down.
                _draw_bar(page, Box(_LEFT_MM, top, time.width, _BAR_MM), under[well.well], time)
        for strip in context:
            top -= _CONTEXT_GAP_MM
            every.append(_draw_context(page, Box(_LEFT_MM, top - _CONTEXT_MM, time.width, _CONTEXT_MM), strip, time))
            top -= _CONTEXT_MM
        time.draw(page, every, top)
    return page.figure


@dataclass(frozen=True, slots=True)
class _TimeAxis:
    """Ends of the time axis, the reported period, and the width on the page [mm]."""

    first: float
    last: float
    period: tuple[float, float] | None
    width: float

    def to_mm(self, days: float) -> float:
        """Return where a day is on the page [mm]."""
        return _LEFT_MM + self.width * (days - self.first) / (self.last - self.first)

    def draw(self, page: Page, every: Sequence[Axes], bottom: float) -> None:
        """Draw ticks at the begin of each year, month or day into all axes, and what they begin under the lowest."""
        ticks, names = self._ticks()
        for axes in every:
            axes.set_xticks(ticks, [""] * len(ticks))
            axes.tick_params(axis="x", length=1.4, width=0.5)
            axes.grid(visible=True, axis="x", color=style.GRID, linewidth=0.5)
        for start, end, name in names:
            left, right = max(start, self.first), min(end, self.last)
            room = (self.to_mm(right) - self.to_mm(left)) * style.PT_PER_MM
            if text_width_pt(name, style.LABEL_PT) <= room + 1.0:
                middle = (self.to_mm(left) + self.to_mm(right)) / 2
                page.text(middle, bottom - 3.9, name, size=style.LABEL_PT, ha="center")

    def _ticks(self) -> tuple[list[float], list[tuple[float, float, str]]]:
        """Return the ticks, and the spans that are named under the axis."""
        days = self.last - self.first
        start, end = day_of_number(self.first), day_of_number(self.last)
        if days >= 700:
            # Nine millimetres hold a year of four figures.
            step = max(math.ceil((end.year - start.year + 1) * 9.0 / self.width), 1)
            years = list(range(start.year - start.year % step, end.year + step + 1, step))
            begins = [_first_of(year, 1) for year in years]
            names = [(a, _first_of(year + 1, 1), str(year)) for a, year in zip(begins, years, strict=True)]
            return [day for day in begins if self.first <= day <= self.last], names
        if days >= 62:
            months = [(start.year * 12 + start.month - 1) + i for i in range(int(days / 28) + 3)]
            begins = [_first_of(month // 12, month % 12 + 1) for month in months]
            named = [MONTHS[month % 12] for month in months]
            wide = self.width / (days / 30.4) < 6.0
            spans = [(a, b, name[:1] if wide else name) for (a, b), name in zip(pairwise(begins), named, strict=False)]
            return [day for day in begins if self.first <= day <= self.last], spans
        ticks = date_ticks(self.first, self.last, int(self.width / 14.0))
        return [tick.days for tick in ticks], [
            (tick.days - 4, tick.days + 4, tick.label.partition("\n")[0]) for tick in ticks if tick.label
        ]


def _first_of(year: int, month: int) -> float:
    return float(np.datetime64(f"{year:04d}-{month:02d}-01").astype("datetime64[D]").astype(np.int64))


def _axes(page: Page, box: Box, time: _TimeAxis, low: float, high: float, every_mm: float) -> Axes:
    axes = page.axes(box)
    axes.set_xlim(time.first, time.last)
    axes.set_ylim(low, high)
    step = nice_step(high - low, max(int(box.height / every_mm), 1))
    ticks = round_ticks(low, high, step)
    axes.set_yticks(ticks, [_tick_text(tick, step) for tick in ticks])
    axes.tick_params(axis="y", length=1.8, width=0.5, pad=1.6, labelsize=style.LABEL_PT)
    axes.tick_params(labelfontfamily=list(style.FAMILY))
    axes.grid(visible=True, axis="y", color=style.GRID, linewidth=0.5)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    if time.period is not None:
        left, right = max(time.period[0], time.first), min(time.period[1], time.last)
        # A tone over nearly the whole axis marks nothing.
        if right > left and right - left < 0.9 * (time.last - time.first):
            axes.axvspan(left, right, facecolor=SHADE, edgecolor="none", zorder=0.2)
    return axes


def _tick_text(value: float, step: float) -> str:
    text = number_text(value, decimals_of_step(step))
    return f"{text[:-3]}\u202f{text[-3:]}" if len(text) > 3 and text.isdigit() else text


def _draw_strip(page: Page, box: Box, data: HydrographPlotData, time: _TimeAxis, metres_per_cm: float) -> Axes:
    low, high = strip_window(data, metres_per_cm, box.height)
    unit_m = metres_per(data.unit)
    factor = 1.0 / unit_m
    axes = _axes(page, box, time, low * factor, high * factor, min(6.5, box.height / 2.5))
    outside = np.where(data.elevation_m < low, -1, np.where(data.elevation_m > high, 1, 0))
    data = replace(data, low_m=low, high_m=high, off_scale=outside)
    _heading(page, box, data)
    if not data.days.size and not data.logger.times.size:
        axes.text(0.5, 0.5, "no level on record", transform=axes.transAxes, ha="center", va="center", color=style.SOFT)
        return axes
    _draw_lines(axes, data, factor)
    _draw_logger(axes, data, time, factor)
    _draw_readings(axes, data, factor)
    _draw_margin(page, box, data)
    return axes


def _heading(page: Page, box: Box, data: HydrographPlotData) -> None:
    """Write name, aquifer, construction and changes of the measuring point above a strip."""
    factor, most = 1.0 / metres_per(data.unit), 3 if data.unit == "m" else 2
    room = (page.width - box.left) * style.PT_PER_MM
    name = fit(data.well, room * 0.4, 9.0, bold=True)
    page.text(box.left, box.top + 1.2, name, size=9.0, weight="bold")
    parts = []
    beyond = data.elevation_m[data.off_scale != 0] * factor
    if beyond.size:
        first, last = number_text(float(beyond.min()), most - 1), number_text(float(beyond.max()), most - 1)
        span = first if first == last else f"{first} to {last}"
        readings = "1 reading" if beyond.size == 1 else f"{beyond.size} readings"
        parts.append(f"off the strip: {readings}, {span}")
    changes = [f"{change.label} on {day_of_number(change.days).isoformat()}" for change in data.changes]
    used = text_width_pt(name, 9.0, bold=True) + 6.0
    depths, aquifer = _depths(data, factor), data.heading.partition(" · ")[0]
    # what a table has too makes room for what was seen
    starts: tuple[list[str], ...] = (
        [data.heading, *depths],
        [aquifer, *depths],
        [aquifer] if parts or changes else depths,
        [],
    )
    ways = [[*start, *parts, *changes] for start in starts]
    if len(changes) > 1:
        short = f"measuring point changed {len(changes)} times, last {changes[-1]}"
        ways = [*ways[:2], *([*start, *parts, short] for start in starts)]
    texts = [" · ".join(part for part in way if part) for way in ways if any(way)] or [""]
    text = next((text for text in texts if text_width_pt(text, style.LABEL_PT) <= room - used), texts[-1])
    text = fit(text, room - used, style.LABEL_PT)
    page.text(box.left + used / style.PT_PER_MM, box.top + 1.2, text, size=style.LABEL_PT, color=style.SOFT)


def _depths(data: HydrographPlotData, factor: float) -> list[str]:
    """Return ground, screens and bottom of a well as elevations in words."""
    texts = [
        f"{line.kind} {number_text(line.elevation_m * factor, 2)}"
        for line in data.levels
        if line.kind in ("ground", "bottom")
    ]
    screens = [f"{number_text(top * factor, 1)} to {number_text(low * factor, 1)}" for top, low in data.screens_m]
    return [", ".join([*texts[:1], *([f"screen {' and '.join(screens)}"] if screens else []), *texts[1:]])]


def _draw_lines(axes: Axes, data: HydrographPlotData, factor: float) -> None:
    """Draw ground, bottom and thresholds, and the point changes as broken uprights."""
    for line in data.levels:
        if not data.low_m <= line.elevation_m <= data.high_m:
            continue
        y = line.elevation_m * factor
        if line.kind in ("ground", "bottom"):
            axes.plot([line.first, line.last], [y, y], color=style.EARTH, linewidth=0.8, zorder=1.8)
        else:
            axes.plot([line.first, line.last], [y, y], zorder=2.4, **_LIMIT)
    for change in data.changes:
        axes.axvline(change.days, color=style.SOFT, linewidth=0.5, dashes=(1.2, 1.6), zorder=1.5)


def _draw_logger(axes: Axes, data: HydrographPlotData, time: _TimeAxis, factor: float) -> None:
    line = data.logger
    if line.days.size:
        kept = thin_line(line.days, line.elevation_m, (time.first, time.last), int(time.width * _COLUMNS_PER_MM))
        days, heads = line.days[kept], line.elevation_m[kept]
        # Broken at the edge: clipped, the line would run along the frame like a level.
        inside = np.where((heads >= data.low_m) & (heads <= data.high_m), heads, np.nan)
        for limit in (level for level in data.levels if level.kind in ("lower", "upper")):
            beyond = heads > limit.elevation_m if limit.kind == "upper" else heads < limit.elevation_m
            beyond &= (days >= limit.first) & (days <= limit.last)
            if beyond.any():
                # Clipped here: what is beyond the strip is beyond the threshold all the same.
                edge = np.clip(heads, data.low_m, data.high_m) * factor
                axes.fill_between(
                    days, edge, limit.elevation_m * factor, where=beyond, facecolor=BEYOND, linewidth=0, zorder=2.2
                )
        axes.plot(days, inside * factor, color=style.WATER, linewidth=_LOGGER_PT, zorder=2.8)
    per_day = time.width / (time.last - time.first)
    draw_bounds(axes, line, SENSOR_BOUND.options(approved=False), per_day_mm=per_day, factor=factor)


def _draw_readings(axes: Axes, data: HydrographPlotData, factor: float) -> None:
    ys = np.clip(data.elevation_m, data.low_m, data.high_m) * factor
    pieces = [
        [(data.days[a], ys[a]), (data.days[b], ys[b])]
        for piece in data.lines
        for a, b in pairwise(piece)
        if not (data.off_scale[a] and data.off_scale[b])
    ]
    axes.add_collection(LineCollection(pieces, colors=style.INK, linewidths=0.8, zorder=3.0), autolim=False)
    count = data.days.size
    size = 1.0 if count <= 80 else 0.75 if count <= 200 else 0.5
    for kind, look in MARKS.items():
        for approved in (False, True):
            chosen = (data.kind == kind) & (data.approved == approved)
            here = chosen & (data.off_scale == 0)
            options = look.options(approved=approved, factor=size)
            if here.any():
                axes.plot(data.days[here], ys[here], linestyle="none", zorder=3.5, clip_on=False, **options)
    for side, mark in ((1, "^"), (-1, "v")):
        out = data.off_scale == side
        if out.any():
            edge = np.full(int(out.sum()), (data.high_m if side > 0 else data.low_m) * factor)
            axes.plot(data.days[out], edge, linestyle="none", marker=mark, markersize=3.0, color=style.SOFT, zorder=3.6)


def _draw_margin(page: Page, box: Box, data: HydrographPlotData) -> None:
    """Write the newest level and the thresholds in force beside a strip, each with a line to its place."""
    labels = [*_newest(data), *_limits(data)]
    if not labels:
        return
    per_m = box.height / (data.high_m - data.low_m)
    wanted = [box.bottom + (min(max(one.elevation_m, data.low_m), data.high_m) - data.low_m) * per_m for one in labels]
    centres = spread(wanted, [_LABEL_MM] * len(labels), box.bottom - 1.0, box.top + 1.0)
    left = box.right + 4.2
    room = (page.width - left) * style.PT_PER_MM
    for label, start, y in zip(labels, wanted, centres, strict=True):
        page.line([box.right + 0.6, box.right + 1.6, left - 0.7], [start, start, y], color=label.color, linewidth=0.5)
        is_wide = text_width_pt(label.text, style.LABEL_PT, bold=label.bold) > room
        size = style.NOTE_PT if is_wide else style.LABEL_PT
        text = fit(label.text, room, size, bold=label.bold)
        weight = "bold" if label.bold else "normal"
        page.text(left, y, text, size=size, color=label.color, weight=weight, va="center_baseline")


def _newest(data: HydrographPlotData) -> list[_Margin]:
    """Return the newest level of a well, of its logger where that is much newer."""
    factor = 1.0 / metres_per(data.unit)
    heads = np.flatnonzero(np.isfinite(data.logger.elevation_m))
    logged = float(data.logger.days[heads[-1]]) if heads.size else -math.inf
    judged = np.flatnonzero(np.isin(data.kind, ("level", "estimate", *BOUNDS)))
    read = float(data.days[judged[-1]]) if judged.size else -math.inf
    # A reading is the surer number; the logger's stands for it only when that is old.
    if heads.size and logged > read + _NEWER_DAYS:
        value = float(data.logger.elevation_m[heads[-1]])
        day, _, month = _day_text(logged, data.last).partition(" ")
        said = month if " " in month else f"{day} {month}"  # with its year it would be too long
        text = f"{number_text(value * factor, data.decimals)} logger, {said}"
        return [_Margin(value, text, style.INK)]
    if not judged.size:
        return []
    at = int(judged[-1])
    value, kind = float(data.elevation_m[at]), str(data.kind[at])
    number, when = number_text(value * factor, data.decimals), _day_text(read, data.last)
    if kind in BOUNDS:
        sign, word = ("≥", "flowing") if kind == "flowing" else ("≤", "dry" if kind == "dry" else "below screen")
        return [_Margin(value, f"{word}, {sign} {number}", style.EARTH)]
    return [_Margin(value, f"{number} on {when}", style.INK)]


def _day_text(days: float, last: float) -> str:
    """Return a day, with its year where it is not one of the last months of the axis."""
    day = day_of_number(days)
    text = f"{day.day} {MONTHS[day.month - 1]}"
    return text if last - days < 200 else f"{text} {day.year}"


def _limits(data: HydrographPlotData) -> list[_Margin]:
    factor, most = 1.0 / metres_per(data.unit), 3 if data.unit == "m" else 2
    labels = []
    for line in current_thresholds(data):
        text = f"{line.label} {short_number(line.elevation_m * factor, least=most, most=most)}"
        if data.low_m <= line.elevation_m <= data.high_m:
            labels.append(_Margin(line.elevation_m, text, style.LIMIT, bold=True))
        else:
            labels.append(_Margin(line.elevation_m, f"{text}, off scale", style.LIMIT))
    return labels


def _draw_bar(page: Page, box: Box, bar: CrossingBar, time: _TimeAxis) -> None:
    """Draw days beyond thick and others thin, readings beyond filled and others hollow, on one line."""
    axes = page.axes(box)
    axes.set_xlim(time.first, time.last)
    axes.set_ylim(0.0, 1.0)
    axes.set_axis_off()
    middle, days = 0.42, np.floor(bar.days)
    if days.size:
        cuts = np.flatnonzero((np.diff(days) > 1) | (bar.days_beyond[1:] != bar.days_beyond[:-1])) + 1
        for start, stop in pairwise([0, *cuts.tolist(), days.size]):
            height, color = (0.5, style.LIMIT) if bar.days_beyond[start] else (0.2, style.RAIN)
            left, width = days[start], days[stop - 1] + 1 - days[start]
            axes.add_patch(
                Rectangle((left, middle - height / 2), width, height, facecolor=color, edgecolor="none", zorder=2)
            )
    else:
        for beyond, face in ((True, style.LIMIT), (False, style.PAPER)):
            at = bar.readings[bar.readings_beyond == beyond]
            edge = style.LIMIT if beyond else style.INK
            marks: dict[str, Any] = {"markersize": 4.2, "markerfacecolor": face, "markeredgecolor": edge}
            axes.plot(at, np.full(at.size, middle), linestyle="none", marker="o", clip_on=False, zorder=3, **marks)
    left_mm = box.right + 4.2
    text = fit(bar.text, (page.width - left_mm) * style.PT_PER_MM, style.LABEL_PT, bold=True)
    beyond_any = bar.days_beyond.any() or bar.readings_beyond.any()
    color = style.LIMIT if beyond_any else style.SOFT
    page.text(left_mm, box.bottom + 0.8, text, size=style.LABEL_PT, weight="bold", color=color)


def _draw_context(page: Page, box: Box, strip: ContextStrip, time: _TimeAxis) -> Axes:
    known = strip.value[np.isfinite(strip.value)]
    low, high = float(known.min(initial=math.inf)), float(known.max(initial=-math.inf))
    if strip.look == "lines":
        room = max(0.1 * (high - low), 0.05)
        low, high = low - room, high + room
    else:
        low, high = min(0.0, low), max(high * 1.05, 1e-9)
    axes = _axes(page, box, time, low, high, 4.6)
    if strip.look == "bars":
        axes.bar(
            strip.left, strip.value, width=strip.width * 0.86, align="edge", color=style.RAIN, linewidth=0, zorder=2
        )
    elif strip.look == "steps":
        edges = np.append(strip.left, strip.left[-1] + strip.width[-1])
        axes.stairs(strip.value, edges, baseline=0.0, fill=True, facecolor="#D9DFE5", edgecolor="none", zorder=1.9)
        # A rate holds over its month, so that it is drawn as a step and not as a point.
        axes.stairs(strip.value, edges, baseline=None, color=style.INK, linewidth=0.8, zorder=2)
    else:
        axes.plot(strip.left, strip.value, color=style.RIVER, linewidth=0.8, zorder=2)
    left = box.right + 4.2
    room_pt = (page.width - left) * style.PT_PER_MM
    lines = ((strip.name, "bold", style.INK), (strip.unit, "normal", style.SOFT), (strip.newest, "normal", style.SOFT))
    for row, (text, weight, color) in enumerate(lines):
        shown = fit(text, room_pt, style.LABEL_PT, bold=weight == "bold")
        page.text(left, box.top - 2.0 - row * 3.3, shown, size=style.LABEL_PT, weight=weight, color=color)
    return axes


def _entries(wells: Sequence[HydrographPlotData]) -> list[KeyEntry]:
    """Return the key of what is drawn, and of nothing else."""
    entries = key_entries(wells, strips=False)
    if any(line.kind in ("lower", "upper") for well in wells for line in well.levels):
        entries.append(KeyEntry("threshold", line_symbol(**_LIMIT), 6.0))
        if any(_is_beyond(well) for well in wells):
            entries.append(KeyEntry("beyond it", band_symbol(2.6, facecolor=BEYOND, edgecolor="none"), 4.0))
    return entries


def _is_beyond(data: HydrographPlotData) -> bool:
    days, heads = data.logger.days, data.logger.elevation_m
    return any(
        bool(
            (
                (heads > line.elevation_m if line.kind == "upper" else heads < line.elevation_m)
                & (days >= line.first)
                & (days <= line.last)
            ).any()
        )
        for line in data.levels
        if line.kind in ("lower", "upper")
    )
