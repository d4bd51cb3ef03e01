"""Slopes of the wells of a wellfield, ranked, with their intervals: a figure that reads like a table."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from gwnet.errors import TooFewLevelsError
from gwnet.figures.base import style
from gwnet.figures.base.axes import nice_step, round_ticks
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm
from gwnet.figures.base.panel import site_text
from gwnet.figures.base.symbols import line_symbol, mark_symbol
from gwnet.figures.base.text import decimals_of_step, fit, known_text, number_text, plain, shown, text_width_pt
from gwnet.figures.maps.context import check_unit
from gwnet.records import RecordState
from gwnet.units import metres_per

#: Width of a page and its greatest height [mm].
_WIDTH_MM: Final = 180.0
_HEIGHT_MM: Final = 247.0
_ROW_MM: Final = 3.3
#: Title, key, heads of columns and scale together [mm].
_AROUND_MM: Final = 26.5
_NAME_MM: Final = 34.0
#: Columns of numbers at the right [mm].
_NUMBERS_MM: Final = (17.0, 15.0, 10.0)
#: Part of the wells whose whole interval is shown; longer ones are cut and end in an arrow. Project default.
_SHOWN_PART: Final = 0.9
_NAME_PT: Final = 7.0


@dataclass(frozen=True, slots=True)
class RankedSlope:
    """One row: slope with limits in the unit a year (NaN where there is none), adjusted p, values, direction."""

    well: str
    slope: float
    lower: float
    upper: float
    p: float
    count: int
    direction: str

    @property
    def is_significant(self) -> bool:
        """Whether the trend is significant."""
        return self.direction in ("rising", "falling")


@dataclass(frozen=True, slots=True, eq=False)
class RankedPlotData:
    """Ranked slopes as plain numbers and sentences.

    Parameters
    ----------
    title, subtitle : str
        Heading.
    unit : {"m", "ft"}
        Unit of the slopes (a year).
    rows : tuple of RankedSlope
        From the fastest rise to the fastest fall.
    low, high : float
        Ends of the axis, in the unit a year.
    notes : tuple of str
        Sentences of the caption.
    """

    title: str
    subtitle: str
    unit: str
    rows: tuple[RankedSlope, ...]
    low: float
    high: float
    notes: tuple[str, ...]


def ranked_plot_data(
    table: pd.DataFrame,
    *,
    site: Mapping[str, Any] | pd.Series | None = None,
    unit: str = "m",
    notes: Sequence[str] = (),
    known_on: RecordState | None = None,
) -> RankedPlotData:
    """Work out what a figure of ranked slopes shows.

    Parameters as `gwnet.figures`.

    Parameters
    ----------
    table : pandas.DataFrame
        Trends frame in metres, as of `gwnet.network.Network.trends`.
    unit : {"m", "ft"}
        Unit of the slopes.
    notes : sequence of str, optional
        Further sentences of the caption.

    Returns
    -------
    RankedPlotData
        Plain numbers and sentences.

    Raises
    ------
    SettingsError
        If the unit is not a display unit.
    TooFewLevelsError
        If no well has a slope.
    """
    check_unit(unit)
    factor = 1.0 / metres_per(unit)
    wells = [
        RankedSlope(
            well=shown(row["well"]),
            slope=float(row["slope_m_per_year"]) * factor,
            lower=float(row["slope_lower_m_per_year"]) * factor,
            upper=float(row["slope_upper_m_per_year"]) * factor,
            p=float(row["p_adjusted"]),
            count=int(row["n"]),
            direction=plain(row["direction"]),
        )
        for row in table.to_dict("records")
    ]
    rows = sorted((row for row in wells if math.isfinite(row.slope)), key=lambda row: (-row.slope, row.well))
    if not rows:
        message = "No well has a slope, so none can be ranked."
        raise TooFewLevelsError(message, fix="Take wells with longer records, or look at the notes of 'gwnet trend'.")
    low, high = _ends(rows)
    counts = [sum(row.direction == way for row in rows) for way in ("rising", "falling")]
    without = [row.well for row in wells if not math.isfinite(row.slope)]
    first, last = table.loc[table["n"] > 0, "first"].min(), table.loc[table["n"] > 0, "last"].max()
    sentences = [
        f"Theil–Sen slopes with limits at 95 %, positive upward; {len(rows)} wells, levels of {first} to {last}.",
        f"{counts[0]} rising, {counts[1]} falling, the others hollow: no significant trend at 5 % of the p adjusted "
        "for many wells (false-discovery control).",
    ]
    if without:
        sentences.append(f"Without a slope: {', '.join(without)}.")
    return RankedPlotData(
        title="Slopes of water levels, ranked",
        subtitle=site_text(site),
        unit=unit,
        rows=tuple(rows),
        low=low,
        high=high,
        notes=(*sentences, *notes, *known_text(known_on)),
    )


def _ends(rows: list[RankedSlope]) -> tuple[float, float]:
    """Return the ends of the axis: all slopes, zero, and the limits of most of the wells."""
    slopes = np.array([row.slope for row in rows])
    lower = np.array([row.lower for row in rows if math.isfinite(row.lower)] or [0.0])
    upper = np.array([row.upper for row in rows if math.isfinite(row.upper)] or [0.0])
    # Every slope is shown; limits of a short record may be a hundred times as wide, and are cut with an arrow.
    low = min(float(slopes.min()), float(np.quantile(lower, 1 - _SHOWN_PART)), 0.0)
    high = max(float(slopes.max()), float(np.quantile(upper, _SHOWN_PART)), 0.0)
    room = 0.04 * max(high - low, 1e-6)
    return low - room, high + room


def slope_mark(direction: str, size: float = 4.6) -> dict[str, Any]:
    """Return the mark of a slope: a filled triangle the way of a significant trend, else a hollow disc."""
    if direction == "rising":
        return {"marker": "^", "markersize": size, "markerfacecolor": style.WATER, "markeredgewidth": 0.0}
    if direction == "falling":
        return {"marker": "v", "markersize": size, "markerfacecolor": style.LIMIT, "markeredgewidth": 0.0}
    look = {"markerfacecolor": style.PAPER, "markeredgecolor": style.SOFT, "markeredgewidth": 0.8}
    return {"marker": "o", "markersize": 0.78 * size, **look}


def ranked_pages(data: RankedPlotData) -> int:
    """Return how many pages ranked slopes need.

    Returns
    -------
    int
        Pages; nothing is drawn to tell.
    """
    most = int((_HEIGHT_MM - _text_mm(data) - _AROUND_MM) / _ROW_MM)
    return math.ceil(len(data.rows) / most)


def draw_ranked_page(data: RankedPlotData, number: int) -> Figure:
    """Draw one page of ranked slopes.

    Parameters
    ----------
    data : RankedPlotData
        What to draw.
    number : int
        Which page, from 0 on.

    Returns
    -------
    matplotlib.figure.Figure
        The page; all pages are on one axis.
    """
    text, count = _text_mm(data), ranked_pages(data)
    # Spread evenly: a last page with two rows would look like an afterthought.
    each = math.ceil(len(data.rows) / count)
    rows = data.rows[number * each : (number + 1) * each]
    height = text + _AROUND_MM + _ROW_MM * max(each if count > 1 else len(rows), 4)
    with style.style_context():
        page = Page(style.new_figure((_WIDTH_MM, height)))
        title = f"{data.title} ({number + 1} of {count})" if count > 1 else data.title
        _page(page, data, rows, title, _words(data), text)
    return page.figure


def _words(data: RankedPlotData) -> list[Words]:
    return [Words(" ".join(data.notes))]


def _text_mm(data: RankedPlotData) -> float:
    with style.style_context():
        return block_height_mm(_words(data), _WIDTH_MM - 6.0, style.NOTE_PT)


def _page(
    page: Page, data: RankedPlotData, rows: tuple[RankedSlope, ...], title: str, words: list[Words], text: float
) -> None:
    left, right = 3.0 + _NAME_MM, page.width - 3.0 - sum(_NUMBERS_MM)
    page.text(3.0, page.height - 4.4, title, size=style.TITLE_PT, weight="bold")
    used = text_width_pt(title, style.TITLE_PT, bold=True) / style.PT_PER_MM + 5.0
    rest = fit(data.subtitle, (page.width - used - 6.0) * style.PT_PER_MM, style.LABEL_PT)
    page.text(used, page.height - 4.4, rest, size=style.LABEL_PT, color=style.SOFT)
    top = page.height - 7.4
    top -= page.key(_key(data), 3.0, top, page.width - 6.0) + 4.6
    page.block(words, 3.0, text + 0.4, page.width - 6.0, style.NOTE_PT)
    height = _ROW_MM * len(rows)
    box = Box(left, top - height, right - left, height)
    axes = page.axes(box)
    axes.set_xlim(data.low, data.high)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    _scale(page, axes, box, data)
    _head(page, box, data)
    decimals = 3 if data.unit == "m" else 2
    for i, row in enumerate(rows):
        _row(axes, row, i, data)
        _texts(page, box, row, box.top - (i + 0.5) * _ROW_MM, decimals)


def _scale(page: Page, axes: Axes, box: Box, data: RankedPlotData) -> None:
    step = nice_step(data.high - data.low, max(int(box.width / 16.0), 2))
    ticks = round_ticks(data.low, data.high, step)
    axes.set_xticks(ticks, [number_text(tick, decimals_of_step(step), signed=True) for tick in ticks])
    axes.set_yticks([])
    axes.tick_params(axis="x", length=2.0, width=style.HAIR, pad=1.8, labelfontfamily=list(style.FAMILY))
    axes.grid(visible=True, axis="x", color=style.GRID, linewidth=style.HAIR)
    axes.set_axisbelow(True)
    # Zero is what limits are held against.
    axes.axvline(0.0, color=style.INK, linewidth=style.THIN, zorder=1.5)
    label = f"Slope [{data.unit} a year]"
    page.text(box.left + box.width / 2, box.bottom - 7.4, label, size=style.LABEL_PT, ha="center")


def _head(page: Page, box: Box, data: RankedPlotData) -> None:
    x = box.right
    for words, width in zip((f"slope [{data.unit}/year]", "adjusted p", "values"), _NUMBERS_MM, strict=True):
        x += width
        page.text(x, box.top + 1.2, words, ha="right", color=style.SOFT, size=style.NOTE_PT)
    page.text(box.left - 2.0, box.top + 1.2, "well", ha="right", color=style.SOFT, size=style.NOTE_PT)


def _row(axes: Axes, row: RankedSlope, place: int, data: RankedPlotData) -> None:
    if place % 2:
        axes.axhspan(place - 0.5, place + 0.5, facecolor=style.TINT, edgecolor="none", zorder=0.5)
    color = {"rising": style.WATER, "falling": style.LIMIT}.get(row.direction, style.SOFT)
    if math.isfinite(row.lower) and math.isfinite(row.upper):
        ends = max(row.lower, data.low), min(row.upper, data.high)
        axes.plot(ends, [place, place], color=color, linewidth=style.LINE, solid_capstyle="butt", zorder=2.5)
        for end, limit, marker in ((ends[0], row.lower, "<"), (ends[1], row.upper, ">")):
            cut = end != limit
            look: dict[str, Any] = {"marker": marker, "markeredgewidth": 0.0}
            if not cut:
                look = {"marker": "|", "markeredgewidth": style.LINE}
            axes.plot([end], [place], linestyle="none", color=color, markersize=3.2, zorder=2.6, clip_on=False, **look)
    axes.plot([row.slope], [place], linestyle="none", zorder=3.0, **slope_mark(row.direction))


def _texts(page: Page, box: Box, row: RankedSlope, y: float, decimals: int) -> None:
    weight = "bold" if row.is_significant else "normal"
    name = fit(row.well, (_NAME_MM - 2.5) * style.PT_PER_MM, _NAME_PT, bold=row.is_significant)
    page.text(box.left - 2.0, y, name, size=_NAME_PT, ha="right", va="center_baseline", weight=weight)
    p = "–" if math.isnan(row.p) else "< 0.0001" if row.p < 1e-4 else f"{row.p:.2g}"
    x = box.right
    for words, width in zip(
        (number_text(row.slope, decimals, signed=True), p, str(row.count)), _NUMBERS_MM, strict=True
    ):
        x += width
        page.text(x, y, words, size=_NAME_PT, ha="right", va="center_baseline", weight=weight)


def _key(data: RankedPlotData) -> list[KeyEntry]:
    ways = {row.direction if row.is_significant else "" for row in data.rows}
    words = {"rising": "rising", "falling": "falling", "": "no significant trend"}
    entries = [KeyEntry(text, mark_symbol(**slope_mark(way))) for way, text in words.items() if way in ways]
    if any(math.isfinite(row.lower) for row in data.rows):
        entries.append(KeyEntry("limits at 95 %", line_symbol(color=style.SOFT, linewidth=style.LINE, marker="|"), 6.0))
    if any(row.lower < data.low or row.upper > data.high for row in data.rows):
        arrow = {"marker": ">", "markersize": 3.2, "markeredgewidth": 0.0, "markerfacecolor": style.SOFT}
        entries.append(KeyEntry("limit beyond the axis", mark_symbol(**arrow)))
    return entries
