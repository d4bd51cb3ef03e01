"""Stored samples of loggers, a panel a series, over one axis of time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from gwnet.figures.base import style
from gwnet.figures.base.axes import date_ticks, thin_line
from gwnet.figures.base.page import Box, Page, Words, block_height_mm
from gwnet.figures.base.text import fit

_WIDTH_MM: Final = 180.0
_PANEL_MM, _GAP_MM, _TITLE_MM, _AXIS_MM, _LEFT_MM, _RIGHT_MM = 32.0, 6.0, 7.0, 8.5, 17.0, 4.0
#: Columns of a panel, of each of which two samples are drawn where there are more.
_COLUMNS: Final = 2_400
#: Steps longer than this many usual ones break the line.
_BREAK: Final = 3.0


@dataclass(frozen=True, slots=True)
class SamplePanel:
    """One series: its title, its unit, days since 1970-01-01 UTC (rising) and values, NaN for none."""

    title: str
    unit: str
    days: NDArray[np.float64]
    values: NDArray[np.float64]


def draw_samples(panels: Sequence[SamplePanel], notes: Sequence[str] = ()) -> Figure:
    """Draw stored samples.

    Parameters
    ----------
    panels : sequence of SamplePanel
        At least one series with a sample.
    notes : sequence of str, optional
        Sentences below the panels.
    """
    words = [Words(" ".join(notes))] if notes else []
    foot = block_height_mm(words, _WIDTH_MM - 3.0, style.NOTE_PT) + 1.0
    each = _PANEL_MM + _GAP_MM
    height = _TITLE_MM + each * len(panels) + _AXIS_MM + foot
    first = min(float(panel.days[0]) for panel in panels)
    last = max(float(panel.days[-1]) for panel in panels)
    # At least half an hour, for a file of a single sample.
    room = max((last - first) * 0.01, 1 / 48)
    with style.style_context():
        page = Page(style.new_figure((_WIDTH_MM, height)))
        page.text(1.5, height - 4.2, "Samples as they are in the files", size=style.TITLE_PT, weight="bold")
        for number, panel in enumerate(panels):
            bottom = height - _TITLE_MM - each * (number + 1)
            box = Box(_LEFT_MM, bottom, _WIDTH_MM - _LEFT_MM - _RIGHT_MM, _PANEL_MM)
            axes = page.axes(box)
            axes.set_xlim(first - room, last + room)
            _line(axes, panel)
            _frame(axes, panel, is_last=number == len(panels) - 1, width_mm=box.width)
            title = fit(panel.title, box.width * style.PT_PER_MM, style.LABEL_PT, bold=True)
            page.text(box.left, box.top + 1.2, title, size=style.LABEL_PT, weight="bold")
        page.block(words, 1.5, foot - 0.4, _WIDTH_MM - 3.0, style.NOTE_PT)
    return page.figure


def _line(axes: Axes, panel: SamplePanel) -> None:
    days, values = thin_samples(panel.days, panel.values)
    axes.plot(days, values, color=style.SERIES, linewidth=style.THIN, solid_joinstyle="round")
    # a sample alone between two gaps is no line
    alone = np.isnan(np.concatenate(([np.nan], values[:-1]))) & np.isnan(np.concatenate((values[1:], [np.nan])))
    axes.plot(days[alone], values[alone], linestyle="none", marker="o", markersize=1.6, color=style.SERIES)


def _frame(axes: Axes, panel: SamplePanel, *, is_last: bool, width_mm: float) -> None:
    low, high = axes.get_xlim()
    ticks = date_ticks(low, high, max(int(width_mm / 16.0), 2))
    axes.set_xticks([tick.days for tick in ticks if tick.label], [tick.label for tick in ticks if tick.label])
    axes.tick_params(axis="both", length=2.2, width=style.HAIR, pad=1.8, labelsize=style.TICK_PT)
    axes.tick_params(axis="x", labelbottom=is_last)
    axes.set_ylabel(panel.unit, fontsize=style.LABEL_PT, color=style.SOFT)
    # Each panel has a scale of its own: what is looked for are faults of a series, not its size.
    axes.margins(y=0.08)
    axes.grid(visible=True, color=style.GRID, linewidth=style.HAIR)
    axes.set_axisbelow(True)


def thin_samples(
    days: NDArray[np.float64], values: NDArray[np.float64], columns: int = _COLUMNS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what a line of samples shows: broken at gaps, and of many samples two a column.

    Parameters
    ----------
    days, values : numpy.ndarray, shape (n,)
        Rising times [d] and values.
    columns : int, optional
        Columns of the panel.

    Returns
    -------
    tuple of numpy.ndarray
        Times and values, with a NaN at each gap.
    """
    usual = float(np.median(np.diff(days))) if days.size > 2 else np.inf
    gaps = np.flatnonzero(np.diff(days) > _BREAK * usual)
    broken = np.insert(values, gaps + 1, np.nan)
    times = np.insert(days, gaps + 1, (days[gaps] + days[gaps + 1]) / 2)
    # four samples of a column show what is in it: first, last, least and greatest
    kept = thin_line(times, broken, (float(days[0]), float(days[-1])), max(columns // 2, 1))
    return np.where(np.isnan(broken[kept]), np.nan, times[kept]), broken[kept]
