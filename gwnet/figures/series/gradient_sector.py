"""Gradients of many rounds: the sector of directions that they lie in, and direction and size over the years."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from gwnet.figures.base import style
from gwnet.figures.base.axes import MONTHS, date_ticks, day_number, nice_step, round_ticks
from gwnet.figures.base.page import Box, KeyEntry, Page
from gwnet.figures.base.symbols import mark_symbol
from gwnet.figures.base.text import decimals_of_step, number_text
from gwnet.figures.series.rose import RosePlotData, RosePoint

#: Part of the time axis at its end in which the label of a date ends at its tick.
_NEAR_END: Final = 0.05
#: Size of the block of one aquifer, and of its sector [mm].
BLOCK_MM: Final = (174.0, 60.0)
_SECTOR_MM: Final = 62.0
_KEY_MM: Final = 6.0
#: Rounds that a line joins: those of the last year.
_JOINED: Final = 5
_PER_MILLE: Final = 1000.0
_LOOKS: Final[tuple[dict[str, Any], ...]] = (
    {"marker": "o", "markersize": 4.4, "markerfacecolor": style.SOFT, "markeredgecolor": style.SOFT},
    {"marker": "s", "markersize": 4.0, "markerfacecolor": style.FALL, "markeredgecolor": style.SOFT},
)
_HOLLOW: Final[dict[str, Any]] = {"markerfacecolor": style.PAPER, "markeredgecolor": style.SOFT}
_NEWEST: Final[dict[str, Any]] = {
    "marker": "o",
    "markersize": 6.2,
    "markerfacecolor": style.WATER,
    "markeredgecolor": style.WATER,
}


def draw_gradient_block(
    data: RosePlotData, *, period: tuple[float, float] | None = None, size_mm: tuple[float, float] = BLOCK_MM
) -> Figure:
    """Draw the gradients of one aquifer: the sector in use, and direction and size over the years.

    Parameters
    ----------
    data : RosePlotData
        What to draw.
    period : tuple of float, optional
        Reported period, shaded: first day and the day after the last, days since 1970-01-01.
    size_mm : tuple of float, optional
        Width and height [mm].

    Returns
    -------
    matplotlib.figure.Figure
        The block with its key.
    """
    with style.style_context():
        page = Page(style.new_figure(size_mm))
        top, bottom = page.height - 1.0, _KEY_MM + 1.0
        _draw_sector(page, Box(0.3, bottom, _SECTOR_MM, top - bottom), data.points)
        left = _SECTOR_MM + 14.0
        height = (top - bottom - 4.6 - 2 * 4.6) / 2
        upper = Box(left, top - 4.6 - height, page.width - left - 0.5, height)
        lower = Box(left, bottom + 4.6, page.width - left - 0.5, height)
        _draw_time(page, upper, data, period, _directions(data), "flow towards, °", named=False)
        _draw_time(page, lower, data, period, _sizes(), "gradient, mm per m", named=True)
        page.key(_key(data.points), 0.0, _KEY_MM - 0.6, page.width, style.LABEL_PT)
    return page.figure


def _look(point: RosePoint) -> dict[str, Any]:
    look = _LOOKS[0 if point.date.month <= 6 else 1] | {"markeredgewidth": 0.8}
    return look | _HOLLOW if point.finding or not point.determined else look


def _key(points: Sequence[RosePoint]) -> list[KeyEntry]:
    entries = []
    if any(point.date.month <= 6 for point in points):
        entries.append(KeyEntry("January to June", mark_symbol(**_LOOKS[0])))
    if any(point.date.month > 6 for point in points):
        entries.append(KeyEntry("July to December", mark_symbol(**_LOOKS[1])))
    if any(point.finding for point in points):
        entries.append(KeyEntry("a well does not fit its neighbours", mark_symbol(**_LOOKS[0] | _HOLLOW)))
    entries.append(KeyEntry("newest; bars: 95 %; line: the last five rounds", mark_symbol(**_NEWEST), 2.6))
    return entries


def _plane(point: RosePoint) -> tuple[float, float]:
    """Return a gradient as a vector towards which water flows, east and north [mm per m]."""
    size, turn = point.magnitude * _PER_MILLE, math.radians(point.azimuth_deg)
    return size * math.sin(turn), size * math.cos(turn)


def _draw_sector(page: Page, box: Box, points: Sequence[RosePoint]) -> None:
    """Draw the part of the plane of gradients in which the rounds lie."""
    axes = page.axes(box)
    # An undetermined direction may be any; it is drawn only where there is nothing else.
    drawn = [point for point in points if point.determined] or list(points)
    places = np.array([_plane(point) for point in drawn])
    newest = drawn[-1]
    # The sector is for the directions; bars of the newest round may run beyond it.
    reach = min(newest.half_width if math.isfinite(newest.half_width) else 0.0, newest.magnitude) * _PER_MILLE
    places_kept = _without_far(places)
    corners = np.vstack([places_kept, places[-1] - 0.8 * reach, places[-1] + 0.8 * reach])
    low, high = corners.min(axis=0), corners.max(axis=0)
    # Rounds that hardly differ must not fill the sector: their differences would look like turns.
    span = np.maximum(high - low, 0.12 * float(np.hypot(*places[-1])) + 1e-9)
    scale = max(span[0] / (box.width - 16.0), span[1] / (box.height - 16.0))
    middle = (low + high) / 2
    half = np.array([box.width, box.height]) * scale / 2
    axes.set_xlim(middle[0] - half[0], middle[0] + half[0])
    axes.set_ylim(middle[1] - half[1], middle[1] + half[1])
    axes.set_xticks([])
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_color(style.RULE)
    _grid(axes, middle - half, middle + half, scale)
    tail = np.array([_plane(point) for point in drawn[-_JOINED:]])
    axes.plot(tail[:, 0], tail[:, 1], color=style.INK, linewidth=0.8, zorder=2.2)
    for point, (x, y) in zip(drawn[:-1], places[:-1], strict=True):
        axes.plot([x], [y], linestyle="none", zorder=2.6, **_look(point))
    _draw_newest(axes, newest)
    _label(axes, newest, middle, scale)
    _where(page, box, middle - half, middle + half)


def _without_far(places: Any) -> Any:
    """Return the places without those that would take up most of the sector alone."""
    if len(places) < 5:
        return places
    off = np.hypot(*(places - np.median(places, axis=0)).T)
    return places[off <= 4.0 * max(float(np.median(off)), 1e-12)]


def _grid(axes: Axes, low: Any, high: Any, scale: float) -> None:
    """Draw arcs of size and rays of direction, each labelled at the edge."""
    corners = [(x, y) for x in (low[0], high[0]) for y in (low[1], high[1])]
    far = max(math.hypot(*corner) for corner in corners)
    inside = low[0] <= 0 <= high[0] and low[1] <= 0 <= high[1]
    near = 0.0 if inside else math.hypot(*np.clip((0.0, 0.0), low, high))
    step = nice_step(max(far - near, 1e-9), 5)
    turn = np.radians(np.linspace(0.0, 360.0, 721))
    standing: list[tuple[float, float]] = []
    for size in round_ticks(step, far, step):
        xs, ys = size * np.sin(turn), size * np.cos(turn)
        axes.plot(xs, ys, color=style.GRID, linewidth=0.6, zorder=0.5)
        _edge_text(axes, xs, ys, low, high, scale, number_text(size, decimals_of_step(step)), standing)
    for degrees in range(0, 360, 10 if (high[0] - low[0]) > 0.4 * far else 5):
        east, north = math.sin(math.radians(degrees)), math.cos(math.radians(degrees))
        along = np.linspace(0.0, far, 400)
        axes.plot(along * east, along * north, color=style.GRID, linewidth=0.6, zorder=0.4)
        _edge_text(axes, along * east, along * north, low, high, scale, f"{degrees}°", standing)


def _edge_text(
    axes: Axes, xs: Any, ys: Any, low: Any, high: Any, scale: float, text: str, standing: list[tuple[float, float]]
) -> None:
    """Write the label of an arc or ray where it runs along the edge, clear of the labels there."""
    margin = np.array([4.6, 2.6]) * scale
    seen = (xs >= low[0] + margin[0]) & (xs <= high[0] - margin[0])
    seen &= (ys >= low[1] + margin[1]) & (ys <= high[1] - margin[1])
    if not seen.any():
        return
    edge = np.minimum(
        np.minimum(xs - low[0], high[0] - xs) / margin[0], np.minimum(ys - low[1], high[1] - ys) / margin[1]
    )
    # Near the edge, where no round is; eighty tries are enough to find room or to do without.
    for at in np.flatnonzero(seen)[np.argsort(edge[seen], kind="stable")][:80]:
        x, y = float(xs[at]), float(ys[at])
        # There the small circle stands.
        corner = x < low[0] + 21.0 * scale and y < low[1] + 24.0 * scale
        if corner or any(abs(x - a) < 9.0 * scale and abs(y - b) < 4.0 * scale for a, b in standing):
            continue
        behind = {"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.5}
        axes.text(x, y, text, fontsize=7.0, color=style.SOFT, ha="center", va="center", bbox=behind, zorder=0.8)
        standing.append((x, y))
        return


def _draw_newest(axes: Axes, point: RosePoint) -> None:
    size, width = point.magnitude * _PER_MILLE, point.half_width * _PER_MILLE
    east, north = math.sin(math.radians(point.azimuth_deg)), math.cos(math.radians(point.azimuth_deg))
    if point.determined and math.isfinite(width):
        low, high = max(size - width, 0.0), size + width
        axes.plot([low * east, high * east], [low * north, high * north], color=style.WATER, linewidth=1.4, zorder=3)
        turn = point.azimuth_half_width_deg
        arc = np.radians(np.linspace(point.azimuth_deg - turn, point.azimuth_deg + turn, 41))
        axes.plot(size * np.sin(arc), size * np.cos(arc), color=style.WATER, linewidth=1.4, zorder=3)
    axes.plot([size * east], [size * north], linestyle="none", zorder=3.4, **_NEWEST)


def _label(axes: Axes, point: RosePoint, middle: Any, scale: float) -> None:
    """Write the month of the newest round away from the middle of the others."""
    x, y = _plane(point)
    side = 1.0 if x >= middle[0] else -1.0
    up = 1.0 if y >= middle[1] else -1.0
    text = f"{MONTHS[point.date.month - 1]} {point.date.year}"
    axes.text(
        x - side * 5.0 * scale,
        y + up * 5.0 * scale,
        text,
        fontsize=style.LABEL_PT,
        weight="bold",
        color=style.WATER,
        ha="right" if side > 0 else "left",
        va="center",
        bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.5},
        zorder=3.6,
    )


def _where(page: Page, box: Box, low: Any, high: Any) -> None:
    """Draw a small full circle that shows which part of it the sector is."""
    radius = 6.0
    corners = [(x, y) for x in (low[0], high[0]) for y in (low[1], high[1])]
    far = max(math.hypot(*corner) for corner in corners)
    room = Box(box.left + 1.2, box.bottom + 1.2, 2 * radius + 1.0, 2 * radius + 5.0)
    axes = page.axes(room)
    axes.set_xlim(-room.width / 2, room.width / 2)
    axes.set_ylim(-radius - 0.5, room.height - radius - 0.5)
    axes.set_axis_off()
    axes.add_patch(Rectangle((-room.width, -room.height), 99, 99, facecolor=style.PAPER, edgecolor="none", zorder=4))
    axes.add_patch(Circle((0, 0), radius, facecolor=style.PAPER, edgecolor=style.RULE, linewidth=0.6, zorder=4.1))
    for pair in (((-radius, radius), (0, 0)), ((0, 0), (-radius, radius))):
        axes.plot(*pair, color=style.GRID, linewidth=0.5, zorder=4.2)
    part = radius / far
    axes.add_patch(
        Rectangle(
            (low[0] * part, low[1] * part),
            (high[0] - low[0]) * part,
            (high[1] - low[1]) * part,
            facecolor=style.FALL,
            edgecolor=style.WATER,
            linewidth=0.8,
            zorder=4.3,
        )
    )
    axes.text(0, radius + 0.7, "N", fontsize=style.LABEL_PT, weight="bold", ha="center", va="bottom", zorder=4.4)


Value = tuple[Callable[[RosePoint], float], Callable[[RosePoint], float]]


def _directions(data: RosePlotData) -> Value:
    """Return how the direction of a round and its half-width are drawn, unwound about the middle."""
    middle = data.middle_deg

    def unwound(point: RosePoint) -> float:
        return middle + 180.0 - (180.0 - (point.azimuth_deg - middle)) % 360.0

    return unwound, lambda point: point.azimuth_half_width_deg


def _sizes() -> Value:
    return lambda point: point.magnitude * _PER_MILLE, lambda point: point.half_width * _PER_MILLE


def _draw_time(
    page: Page,
    box: Box,
    data: RosePlotData,
    period: tuple[float, float] | None,
    value: Value,
    title: str,
    *,
    named: bool,
) -> None:
    axes = page.axes(box)
    drawn = [point for point in data.points if point.determined] or list(data.points)
    days = np.array([day_number(point.date) for point in drawn])
    at, width = (np.array([one(point) for point in drawn]) for one in value)
    width = np.where(np.isfinite(width), width, 0.0)
    axes.plot(days, at, color=style.RULE, linewidth=0.6, zorder=1.2)
    for day, middle, half, point in zip(days, at, width, drawn, strict=True):
        newest = point is drawn[-1]
        color, line = (style.WATER, 1.8) if newest else (style.SOFT, 0.7)
        axes.plot([day, day], [middle - half, middle + half], color=color, linewidth=line, zorder=1.5)
        axes.plot([day], [middle], linestyle="none", zorder=2.5, **(_NEWEST if newest else _look(point)))
    margin = max(0.02 * (days[-1] - days[0]), 20.0)
    first, last = days[0] - margin, max(days[-1] + margin, period[1] if period else 0.0)
    axes.set_xlim(first, last)
    if period is not None:
        axes.axvspan(period[0], period[1], facecolor="#E6ECF0", edgecolor="none", zorder=0.2)
    # One round with a wide bar would flatten all others: the half-widths of nine in ten are shown whole.
    low, high = _limits(at, width)
    axes.set_ylim(low, high)
    step = nice_step(high - low, max(int(box.height / 5.5), 2))
    ticks = round_ticks(low, high, step)
    degrees = title.endswith("°")
    axes.set_yticks(ticks, [f"{round(t) % 360}" if degrees else number_text(t, decimals_of_step(step)) for t in ticks])
    dates = date_ticks(first, last, 9)
    if any("\n" in tick.label for tick in dates):  # the year under a month would stand on the key
        dates = date_ticks(first, last, 6)
    axes.set_xticks([tick.days for tick in dates], [tick.label.replace("\n", " ") if named else "" for tick in dates])
    if dates and dates[-1].days > last - _NEAR_END * (last - first):  # its middle under the tick, it would stick out
        axes.get_xticklabels()[-1].set_horizontalalignment("right")
    axes.tick_params(length=1.6, width=0.5, pad=1.6, labelsize=style.LABEL_PT, labelfontfamily=list(style.FAMILY))
    axes.grid(axis="y", color=style.GRID, linewidth=0.5)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    page.text(box.left, box.top + 1.3, title, size=style.LABEL_PT, weight="bold")


def _limits(at: Any, width: Any) -> tuple[float, float]:
    """Return ends that hold every value, and the half-widths of nine in ten."""
    usual = float(np.quantile(width, 0.9)) if len(width) > 4 else float(width.max(initial=0.0))
    shown = np.minimum(width, usual)
    low, high = float((at - shown).min()), float((at + shown).max())
    room = max(0.06 * (high - low), 1e-6)
    return low - room, high + room
