"""Levels decomposed into trend, season and remainder: four panels on one vertical scale, to compare sizes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from gwnet.constants import DAYS_PER_YEAR
from gwnet.figures.base import style
from gwnet.figures.base.axes import nice_step, round_ticks
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm
from gwnet.figures.base.panel import (
    LEFT_AXIS_MM,
    days_of,
    draw_title,
    site_text,
    time_axis,
    time_axis_mm,
    upright_label,
)
from gwnet.figures.base.symbols import line_symbol, mark_symbol
from gwnet.figures.base.text import decimals_of_step, known_text, number_text, plain, shown, text_width_pt
from gwnet.figures.maps.context import check_unit
from gwnet.records import RecordState
from gwnet.units import metres_per

Floats = NDArray[np.float64]

_SIZE_MM: Final = (180.0, 150.0)
#: Least height of a panel [mm], and room between two [mm].
_LEAST_MM: Final = 16.0
_GAP_MM: Final = 2.6
#: Least span of the observed levels [m]; project default, so that millimetres do not fill the page.
_LEAST_SPAN_M: Final = 0.2
_PARTS: Final = ("observed", "trend", "seasonal", "remainder")


@dataclass(frozen=True, slots=True, eq=False)
class DecompositionPlotData:
    """A decomposition as plain numbers and sentences.

    Parameters
    ----------
    well, site, heading : str
        Written above the panels.
    unit : {"m", "ft"}
        Unit of the axes.
    datum : str
        Vertical datum.
    days : numpy.ndarray of float64, shape (n,)
        Middle of each step, days since 1970-01-01.
    parts : dict of str to numpy.ndarray
        observed, trend, seasonal and remainder, in the unit.
    filled : numpy.ndarray of bool, shape (n,)
        Where a value was filled in.
    without_weight : numpy.ndarray of bool, shape (n,)
        Where a value had nearly no weight since it did not fit.
    notes : tuple of str
        Sentences of the caption.
    """

    well: str
    site: str
    heading: str
    unit: str
    datum: str
    days: Floats
    parts: dict[str, Floats]
    filled: NDArray[np.bool_]
    without_weight: NDArray[np.bool_]
    notes: tuple[str, ...]


def decomposition_plot_data(
    table: pd.DataFrame,
    well: str,
    *,
    period: int,
    robust: bool = True,
    notes: Sequence[str] = (),
    site: Mapping[str, Any] | pd.Series | None = None,
    unit: str = "m",
    known_on: RecordState | None = None,
) -> DecompositionPlotData:
    """Work out what the figure of a decomposition shows.

    Parameters as `gwnet.figures`.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a step: month (YYYY-MM, its first), observed_m, filled, trend_m, seasonal_m, remainder_m, weight.
    period : int
        Steps of a year.
    robust : bool, optional
        Whether values that do not fit lost weight.
    notes : sequence of str, optional
        What was taken and what was filled, in sentences.
    unit : {"m", "ft"}
        Unit of the axes.

    Returns
    -------
    DecompositionPlotData
        Plain numbers and sentences.
    """
    check_unit(unit)
    parts = {name: table[f"{name}_m"].to_numpy(dtype=np.float64) / metres_per(unit) for name in _PARTS}
    each = {12: "month", 4: "quarter"}.get(period, "step")
    how = f"Seasonal-trend decomposition by locally weighted regression (STL){', robust' if robust else ''}: "
    sentences = [
        f"{how}observed = trend + seasonal + remainder, in every {each}; all panels have the same scale.",
        *notes,
    ]
    middle = DAYS_PER_YEAR / period / 2
    weights = table["weight"].to_numpy(dtype=np.float64)
    return DecompositionPlotData(
        well=shown(well),
        site=site_text(site),
        heading="trend, season and remainder of the water level",
        unit=unit,
        datum="" if site is None else shown(plain(site.get("vertical_datum"))),
        days=days_of(f"{month}-01" for month in table["month"]) + middle,
        parts=parts,
        filled=table["filled"].to_numpy(dtype=bool),
        # Without robust steps all weights are 1, and a small one would mean something else.
        without_weight=(weights < 0.05) & robust,
        notes=(*sentences, *known_text(known_on)),
    )


def panel_heights_mm(spans: Sequence[float], room_mm: float, least_mm: float = _LEAST_MM) -> tuple[list[float], float]:
    """Return heights of panels that show spans on one scale, and that scale.

    Parameters
    ----------
    spans : sequence of float
        What each panel must show, in any one unit.
    room_mm : float
        Height of all panels together [mm].
    least_mm : float, optional
        Least height of a panel [mm].

    Returns
    -------
    heights : list of float
        Height of each panel [mm]; they fill the room.
    scale : float
        Millimetres a unit, the same in all panels.
    """
    free = list(range(len(spans)))
    while free:
        # Panels that are smaller than can be read get the least height, and the others share what is left: again until
        # none is too small.
        scale = (room_mm - least_mm * (len(spans) - len(free))) / max(sum(spans[i] for i in free), 1e-12)
        small = [i for i in free if spans[i] * scale < least_mm]
        if not small:
            break
        free = [i for i in free if i not in small]
    heights = [spans[i] * scale if i in free else least_mm for i in range(len(spans))]
    return heights, scale


def draw_decomposition(data: DecompositionPlotData) -> Figure:
    """Draw observed levels, trend, season and remainder below each other.

    Parameters as `gwnet.figures`.
    """
    with style.style_context():
        page = Page(style.new_figure(_SIZE_MM))
        whole = Box(0.0, 0.0, page.width, page.height)
        left, width = LEFT_AXIS_MM, page.width - LEFT_AXIS_MM - 3.0
        heading = f"{data.site} · {data.heading}" if data.site else data.heading
        top = whole.top - draw_title(page, whole, data.well, heading)
        top -= page.key(_key(data), left, top, width) + 0.8
        words = [Words(" ".join(data.notes))]
        below = block_height_mm(words, width, style.NOTE_PT)
        page.block(words, left, below + 0.4, width, style.NOTE_PT)
        half = (data.days[1] - data.days[0]) / 2
        first, last = float(data.days[0] - 2 * half), float(data.days[-1] + 2 * half)
        bottom = below + 1.6 + time_axis_mm(first, last, width)
        spans = [_span(data, name) for name in _PARTS]
        heights, scale = panel_heights_mm([high - low for low, high in spans], top - bottom - 3 * _GAP_MM)
        for name, span, height in zip(_PARTS, spans, heights, strict=True):
            box = Box(left, top - height, width, height)
            middle = sum(span) / 2
            axes = page.axes(box)
            _axis(page, axes, box, (middle - height / scale / 2, middle + height / scale / 2), data, name)
            time_axis(axes, first, last, width, named=name == _PARTS[-1])
            _draw_part(axes, data, name)
            top -= height + _GAP_MM
    return page.figure


def _span(data: DecompositionPlotData, name: str) -> tuple[float, float]:
    """Return what a panel must show, with a little room."""
    low, high = float(data.parts[name].min()), float(data.parts[name].max())
    # Only of the observed levels: the scale is common, and follows for the others.
    least = _LEAST_SPAN_M / metres_per(data.unit) if name == "observed" else 0.0
    reach = max((high - low) * 0.56, least / 2, 1e-9)
    return (low + high) / 2 - reach, (low + high) / 2 + reach


def _axis(page: Page, axes: Axes, box: Box, span: tuple[float, float], data: DecompositionPlotData, name: str) -> None:
    low, high = span
    axes.set_ylim(low, high)
    step = nice_step(high - low, max(int(box.height / 5.0), 3))
    ticks = round_ticks(low, high, step)
    axes.set_yticks(ticks, [number_text(tick, decimals_of_step(step), signed=name in _PARTS[2:]) for tick in ticks])
    axes.tick_params(axis="y", length=2.0, width=style.HAIR, pad=2.0, labelfontfamily=list(style.FAMILY))
    axes.grid(visible=True, axis="y", color=style.GRID, linewidth=style.HAIR)
    axes.set_axisbelow(True)
    above = f"above {data.datum}" if data.datum and name in _PARTS[:2] else ""
    fits = text_width_pt(above, style.NOTE_PT) <= box.height * style.PT_PER_MM
    upright_label(page, box, f"{name} [{data.unit}]", above if fits else "")


def _draw_part(axes: Axes, data: DecompositionPlotData, name: str) -> None:
    days, values = data.days, data.parts[name]
    if name == "remainder":
        axes.axhline(0.0, color=style.SOFT, linewidth=style.HAIR)
        # From zero, as the remainder has no order in time that a line could show.
        axes.vlines(days, 0.0, values, color=style.WATER, linewidth=style.THIN)
        plain_ones = ~(data.without_weight | data.filled)
        axes.plot(days[plain_ones], values[plain_ones], linestyle="none", **_mark(len(days)))
        axes.plot(days[data.without_weight], values[data.without_weight], linestyle="none", **_ODD)
        return
    if name == "seasonal":
        axes.axhline(0.0, color=style.SOFT, linewidth=style.HAIR)
    axes.plot(days, values, color=style.WATER, linewidth=style.HEAVY if name == "trend" else style.THIN)
    if name == "observed":
        seen = ~data.filled
        axes.plot(days[seen], values[seen], linestyle="none", **_mark(len(days)))
        axes.plot(days[data.filled], values[data.filled], linestyle="none", zorder=3, **_FILLED)


def _mark(count: int) -> dict[str, Any]:
    size = 2.8 if count <= 150 else 2.0 if count <= 400 else 1.3
    return {"marker": "o", "markersize": size, "markerfacecolor": style.WATER, "markeredgewidth": 0.0}


_FILLED: Final[dict[str, Any]] = {
    "marker": "o",
    "markersize": 3.4,
    "markerfacecolor": style.PAPER,
    "markeredgecolor": style.SOFT,
    "markeredgewidth": 0.7,
}
_ODD: Final[dict[str, Any]] = {
    "marker": "D",
    "markersize": 3.0,
    "markerfacecolor": style.LIMIT,
    "markeredgecolor": style.INK,
    "markeredgewidth": 0.4,
}


def _key(data: DecompositionPlotData) -> list[KeyEntry]:
    entries = [KeyEntry("level of a step", mark_symbol(**_mark(1)))]
    if data.filled.any():
        entries.append(KeyEntry("no level: filled for the decomposition", mark_symbol(**_FILLED)))
    entries.append(KeyEntry("trend", line_symbol(color=style.WATER, linewidth=style.HEAVY), 5.0))
    if data.without_weight.any():
        entries.append(KeyEntry("does not fit: nearly without weight", mark_symbol(**_ODD)))
    return entries
