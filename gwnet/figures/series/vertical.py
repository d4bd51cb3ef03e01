"""Vertical gradients in clusters over the years: a panel for each pair of wells, all with one span."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from gwnet.figures.base import style
from gwnet.figures.base.axes import date_ticks, day_number, nice_step, round_ticks
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm, key_row_mm
from gwnet.figures.base.symbols import mark_symbol
from gwnet.figures.base.text import decimals_of_step, fit, number_text
from gwnet.figures.maps.context import Note

_WIDTH_MM: Final = 180.0
_PANEL_MM: Final = 30.0
_TITLE_MM: Final = 12.0
_LEFT_MM: Final = 17.0

_UP: Final[dict[str, Any]] = {"marker": "^", "markersize": 4.8, "markerfacecolor": style.INK}
_DOWN: Final[dict[str, Any]] = {"marker": "v", "markersize": 4.8, "markerfacecolor": style.FALL}
_OPEN: Final[dict[str, Any]] = {"marker": "o", "markersize": 4.2, "markerfacecolor": style.PAPER}
_EDGE: Final[dict[str, Any]] = {"markeredgecolor": style.INK, "markeredgewidth": 0.6}


@dataclass(frozen=True, slots=True)
class VerticalPoint:
    """The vertical gradient of a pair in one round: positive upward [m/m], with its 95 % half-width."""

    date: dt.date
    gradient: float
    half_width: float
    determined: bool


@dataclass(frozen=True, slots=True)
class VerticalPair:
    """A pair of wells: its heading, and its gradients in order of time."""

    heading: str
    points: tuple[VerticalPoint, ...]


@dataclass(frozen=True, slots=True)
class VerticalPlotData:
    """Vertical gradients as plain numbers and sentences."""

    title: str
    subtitle: str
    pairs: tuple[VerticalPair, ...]
    notes: tuple[Note, ...]


def draw_vertical(data: VerticalPlotData) -> Figure:
    """Draw vertical gradients over the years, a panel for each pair.

    Parameters
    ----------
    data : VerticalPlotData
        What to draw; at least one gradient.
    """
    words = _words(data.notes)
    shown = [pair for pair in data.pairs if pair.points]
    with style.style_context():
        text = block_height_mm(words, _WIDTH_MM - 2.0, style.NOTE_PT)
        below = text + key_row_mm() + 10.0
        height = _TITLE_MM + len(shown) * _PANEL_MM + below
        page = Page(style.new_figure((_WIDTH_MM, height)))
        title = fit(data.title, (page.width - 2.0) * style.PT_PER_MM, style.TITLE_PT, bold=True)
        page.text(1.0, page.height - 4.2, title, size=style.TITLE_PT, weight="bold")
        page.text(1.0, page.height - 8.4, data.subtitle, size=style.LABEL_PT, color=style.SOFT)
        every = [point for pair in shown for point in pair.points]
        spans = _span(every), _days(every)
        for i, pair in enumerate(shown):
            bottom = page.height - _TITLE_MM - (i + 1) * _PANEL_MM
            box = Box(_LEFT_MM, bottom, page.width - _LEFT_MM - 2.0, _PANEL_MM - 7.0)
            _draw_pair(page, pair, box, spans, last=i == len(shown) - 1)
        page.key(_key(every), 1.0, text + key_row_mm() + 3.0, page.width - 2.0)
        page.block(words, 1.0, text + 1.0, page.width - 2.0, style.NOTE_PT)
    return page.figure


def _words(notes: Sequence[Note]) -> list[Words]:
    return [
        word
        for i, note in enumerate(notes)
        for word in (Words(note.title, bold=True, gap_mm=1.0 if i else 0.0), *(Words(line) for line in note.lines))
    ]


def _look(point: VerticalPoint) -> dict[str, Any]:
    return (_OPEN if not point.determined else _UP if point.gradient > 0.0 else _DOWN) | _EDGE


def _key(points: Sequence[VerticalPoint]) -> list[KeyEntry]:
    """Return the key of what is shown, and of nothing else."""
    entries = []
    if any(point.determined and point.gradient > 0.0 for point in points):
        entries.append(KeyEntry("upward", mark_symbol(**_UP | _EDGE)))
    if any(point.determined and point.gradient <= 0.0 for point in points):
        entries.append(KeyEntry("downward", mark_symbol(**_DOWN | _EDGE)))
    if any(not point.determined for point in points):
        entries.append(KeyEntry("not distinguishable from no gradient", mark_symbol(**_OPEN | _EDGE)))
    return entries


def _span(points: Sequence[VerticalPoint]) -> tuple[float, float]:
    """Return the span of all panels; it holds zero."""
    widths = [point.half_width if math.isfinite(point.half_width) else 0.0 for point in points]
    # With zero, as the sign is what a reader looks for; one for all panels, so that pairs can be compared.
    low = min([0.0, *(point.gradient - width for point, width in zip(points, widths, strict=True))])
    high = max([0.0, *(point.gradient + width for point, width in zip(points, widths, strict=True))])
    margin = 0.08 * (high - low) or 1e-3
    return low - margin, high + margin


def _days(points: Sequence[VerticalPoint]) -> tuple[float, float]:
    days = [day_number(point.date) for point in points]
    # A single round has no span of time.
    margin = max(0.02 * (max(days) - min(days)), 20.0)
    return min(days) - margin, max(days) + margin


def _draw_pair(
    page: Page, pair: VerticalPair, box: Box, spans: tuple[tuple[float, float], tuple[float, float]], *, last: bool
) -> None:
    axes = page.axes(box)
    axes.set_ylim(*spans[0])
    axes.set_xlim(*spans[1])
    _ticks(axes, spans, labels=last)
    axes.axhline(0.0, color=style.SOFT, linewidth=style.THIN, zorder=1.0)
    for point in pair.points:
        day = day_number(point.date)
        if math.isfinite(point.half_width):
            ends = [point.gradient - point.half_width, point.gradient + point.half_width]
            axes.plot([day, day], ends, color=style.SOFT, linewidth=style.HAIR, zorder=1.5)
        axes.plot([day], [point.gradient], linestyle="none", zorder=3, **_look(point))
    page.text(1.0, box.top + 1.6, pair.heading, size=style.LABEL_PT, weight="bold")


def _ticks(axes: Axes, spans: tuple[tuple[float, float], tuple[float, float]], *, labels: bool) -> None:
    ticks = date_ticks(*spans[1], 10)
    axes.set_xticks([tick.days for tick in ticks], [tick.label if labels else "" for tick in ticks])
    step = nice_step(spans[0][1] - spans[0][0], 5)
    values = round_ticks(*spans[0], step)
    axes.set_yticks(values, [number_text(value, decimals_of_step(step)) for value in values])
    axes.tick_params(length=1.6, width=style.HAIR, pad=1.6, labelsize=style.NOTE_PT)
    axes.tick_params(labelfontfamily=list(style.FAMILY))
    axes.grid(axis="y", color=style.GRID, linewidth=style.HAIR)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
