"""The frame of a map: where panel and text stand, scale, coordinate ticks, scale bar, north arrow."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle
from numpy.typing import NDArray

from gwnet.figures.base import style
from gwnet.figures.base.axes import nice_step, round_ticks
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm, key_height_mm
from gwnet.figures.base.placement import PlacedLabel
from gwnet.figures.base.text import decimals_of_step, fit, text_width_pt
from gwnet.figures.maps.context import MapHeading, Note
from gwnet.units import metres_per

Points = NDArray[np.float64]

_TITLE_MM: Final = 11.0
_TICKS_LEFT_MM: Final = 5.0
_TICKS_BOTTOM_MM: Final = 4.6
_GAP_MM: Final = 4.0
_BAR_MM: Final = 9.5
_COLUMN_MM: Final = (46.0, 62.0)
#: The column beside a map is widened by these steps until it holds the whole text, to a half of the page at most.
_WIDER: Final = (1.0, 1.25, 1.5, 1.75)
_MOST_COLUMN: Final = 0.5
#: Sizes of letters that the text may be set in [pt], the first that fits.
_TEXT_PT: Final = (8.0, 7.5, 7.0)
#: Part of the page's height that the text below a map may take; the larger one where it would be cut otherwise.
_MOST_TEXT: Final = (0.46, 0.6)
#: Room around what is drawn, as a part of its extent, and the least room for labels at the edge [mm].
_MARGIN: Final = 0.06
_EDGE_MM: Final = 9.0
#: A note is split between columns where that saves more than this much height.
_SPLIT_COST: Final = 1.15
_COORDINATE_PT: Final = 7.0
_FEET_PER_MILE: Final = 5280.0


@dataclass(frozen=True, slots=True)
class MapFrame:
    """A panel and its scale: from coordinates to millimetres on the page and back."""

    panel: Box
    x0: float
    y0: float
    mm_per_unit: float

    def to_mm(self, xy: Points) -> Points:
        """Return places on the page [mm] of coordinates, shape (n, 2)."""
        origin = np.array([self.x0, self.y0])
        corner = np.array([self.panel.left, self.panel.bottom])
        placed: Points = (np.asarray(xy, dtype=np.float64).reshape(-1, 2) - origin) * self.mm_per_unit + corner
        return placed

    @property
    def x1(self) -> float:
        """Right edge in coordinates."""
        return self.x0 + self.panel.width / self.mm_per_unit

    @property
    def y1(self) -> float:
        """Upper edge in coordinates."""
        return self.y0 + self.panel.height / self.mm_per_unit


@dataclass(frozen=True, slots=True)
class Sheet:
    """Where everything of a map is: its frame, the bar with scale and north, the key, the columns of text."""

    frame: MapFrame
    bar: Box
    key: Box
    columns: tuple[Box, ...]
    texts: tuple[tuple[Words, ...], ...]
    text_pt: float
    is_whole: bool


def lay_out(page: Page, extent: Points, notes: Sequence[Note], entries: Sequence[KeyEntry]) -> Sheet:
    """Return the layout that shows the map largest: text beside it, or below it; one that holds the whole text first.

    Parameters
    ----------
    page : Page
        Page to fill.
    extent : numpy.ndarray, shape (n, 2)
        Coordinates that must be on the map.
    notes : sequence of Note
        Text.
    entries : sequence of KeyEntry
        Key.
    """
    # more room for text never leaves a larger map, so of each kind the first that holds the text is the best
    sheets = (
        _first_whole(_beside(page, extent, notes, entries, wider) for wider in _WIDER),
        _first_whole(_below(page, extent, notes, entries, most) for most in _MOST_TEXT),
    )
    whole = [sheet for sheet in sheets if sheet.is_whole]
    # The text first: a larger map with half its cautions is worse than a smaller one with all.
    return max(whole or sheets, key=lambda sheet: sheet.frame.mm_per_unit)


def _first_whole(sheets: Iterator[Sheet]) -> Sheet:
    """Return the first layout that holds the whole text; where none does the first of all, with the largest map."""
    usual = next(sheets)
    return usual if usual.is_whole else next((sheet for sheet in sheets if sheet.is_whole), usual)


def with_notes(sheet: Sheet, notes: Sequence[Note]) -> Sheet:
    """Return the layout with other text in the same columns."""
    size, texts, is_whole = _fitted(notes, sheet.columns)
    return replace(sheet, texts=texts, text_pt=size, is_whole=is_whole)


def _beside(page: Page, extent: Points, notes: Sequence[Note], entries: Sequence[KeyEntry], wider: float) -> Sheet:
    width = min(min(max(0.29 * page.width, _COLUMN_MM[0]), _COLUMN_MM[1]) * wider, _MOST_COLUMN * page.width)
    left = page.width - width
    top = page.height - _TITLE_MM
    panel = Box(_TICKS_LEFT_MM, _TICKS_BOTTOM_MM, left - _GAP_MM - _TICKS_LEFT_MM, top - _TICKS_BOTTOM_MM)
    bar = Box(left, top - _BAR_MM, width - 1.0, _BAR_MM)
    key_height = key_height_mm(entries, width - 1.0)
    key = Box(left, bar.bottom - 2.0 - key_height, width - 1.0, key_height)
    column = Box(left, 0.5, width - 1.0, key.bottom - 2.0)
    size, texts, is_whole = _fitted(notes, (column,))
    return Sheet(fill_panel(panel, extent), bar, key, (column,), texts, size, is_whole)


def _below(page: Page, extent: Points, notes: Sequence[Note], entries: Sequence[KeyEntry], most: float) -> Sheet:
    left, width = _TICKS_LEFT_MM, page.width - _TICKS_LEFT_MM - 0.6
    bar_width = min(58.0, 0.42 * width)
    key_width = width - bar_width - _GAP_MM
    strip = max(_BAR_MM, key_height_mm(entries, key_width))
    column_width = (width - _GAP_MM) / 2
    wanted = _balanced(notes, column_width, _TEXT_PT[0])
    height = max(block_height_mm(words, column_width, _TEXT_PT[0]) for words in wanted)
    height = min(height, most * page.height - strip)
    panel_bottom = 0.5 + height + 2.0 + strip + 2.0 + _TICKS_BOTTOM_MM
    panel = Box(left, panel_bottom, width, page.height - _TITLE_MM - panel_bottom)
    strip_top = panel_bottom - _TICKS_BOTTOM_MM - 2.0
    columns = (Box(left, 0.5, column_width, height), Box(left + column_width + _GAP_MM, 0.5, column_width, height))
    size, texts, is_whole = _fitted(notes, columns)
    return Sheet(
        fill_panel(panel, extent),
        Box(left, strip_top - _BAR_MM, bar_width, _BAR_MM),
        Box(left + bar_width + _GAP_MM, strip_top - strip, key_width, strip),
        columns,
        texts,
        size,
        is_whole,
    )


def fill_panel(panel: Box, extent: Points) -> MapFrame:
    """Return the frame that shows the extent as large as the panel allows, in its middle."""
    low, high = extent.min(axis=0), extent.max(axis=0)
    span = np.maximum(high - low, 1e-9)
    # One well, or several at one place, has no extent.
    if float(span.max()) < 1e-6:
        span = np.array([100.0, 100.0])
    # Wells along a line would have no height.
    span = np.maximum(span, 0.05 * span.max()) * (1 + 2 * _MARGIN)
    room = (panel.width - 2 * _EDGE_MM, panel.height - 2 * _EDGE_MM)
    scale = float(min(max(room[0], 5.0) / span[0], max(room[1], 5.0) / span[1]))
    middle = (low + high) / 2
    return MapFrame(
        panel, float(middle[0] - panel.width / scale / 2), float(middle[1] - panel.height / scale / 2), scale
    )


def _words(notes: Sequence[Note]) -> list[list[Words]]:
    """Return the paragraphs of each note, title first."""
    return [
        [
            Words(note.title, bold=True, gap_mm=0.0 if i == 0 else 1.3),
            *(Words(line, wells=note.wells[n] if n < len(note.wells) else 0) for n, line in enumerate(note.lines)),
        ]
        for i, note in enumerate(notes)
    ]


def _balanced(notes: Sequence[Note], width: float, size: float) -> tuple[tuple[Words, ...], tuple[Words, ...]]:
    """Split the paragraphs into two columns of about the same height, in their order; a title keeps its first line."""
    paragraphs = [word for note in _words(notes) for word in note]
    heights = [block_height_mm([word], width, size) for word in paragraphs]
    above = [0.0, *accumulate(heights)]
    best: tuple[float, int] = (math.inf, len(paragraphs))
    for cut in range(1, len(paragraphs) + 1):
        # A title at the foot of a column belongs to nothing.
        if cut < len(paragraphs) and paragraphs[cut - 1].bold:
            continue
        between_notes = cut == len(paragraphs) or paragraphs[cut].bold
        taller = max(above[cut], above[-1] - above[cut])
        best = min(best, (taller * (1.0 if between_notes else _SPLIT_COST), cut))
    first, second = paragraphs[: best[1]], paragraphs[best[1] :]
    if second:
        second = [Words(second[0].text, second[0].bold, 0.0), *second[1:]]
    return tuple(first), tuple(second)


def _fitted(notes: Sequence[Note], columns: tuple[Box, ...]) -> tuple[float, tuple[tuple[Words, ...], ...], bool]:
    """Return the largest letters in which the text fits, the text of each column, and whether it is whole.

    Where even the smallest letters do not fit, notes without lists of wells come first: tables hold the lists, while
    what a reader must know is said here.
    """
    width, height = columns[0].width, columns[0].height
    for size in _TEXT_PT:
        texts = _in_columns(notes, columns, size)
        if all(block_height_mm(words, width, size) <= height + 0.1 for words in texts):
            return size, texts, True
    size = _TEXT_PT[-1]
    # Lists of wells last: they are what is cut, as the tables have them too.
    notes = sorted(notes, key=lambda note: sum(note.wells) > 0)
    texts = tuple(cut_words(words, width, height, size) for words in _in_columns(notes, columns, size))
    return size, texts, False


def _in_columns(notes: Sequence[Note], columns: tuple[Box, ...], size: float) -> tuple[tuple[Words, ...], ...]:
    if len(columns) == 1:
        return (tuple(word for note in _words(notes) for word in note),)
    return _balanced(notes, columns[0].width, size)


def cut_words(words: Sequence[Words], width: float, height: float, size: float) -> tuple[Words, ...]:
    """Return the paragraphs that fit into a height [mm], and how many wells the others list."""
    if block_height_mm(words, width, size) <= height + 0.1:
        return tuple(words)
    above = [0.0, *accumulate(block_height_mm([word], width, size) for word in words)]
    for kept in range(len(words) - 1, -1, -1):
        wells = sum(word.wells for word in words[kept:])
        more = f"{wells} more {'well' if wells == 1 else 'wells'}" if wells else "more"
        ending = Words(f"… and {more}: there is no room for them here; see the tables.", bold=True)
        if above[kept] + block_height_mm([ending], width, size) <= height:
            return (*words[:kept], ending)
    return ()


def draw_frame(page: Page, sheet: Sheet, heading: MapHeading) -> Axes:
    """Draw title, panel with coordinate ticks, scale bar and north arrow; return axes in millimetres of the page."""
    write_heading(page, heading, _TICKS_LEFT_MM, page.width - _TICKS_LEFT_MM)
    axes = panel_axes(page, sheet.frame)
    draw_bar(page, sheet.bar, sheet.frame, heading)
    return axes


def write_heading(page: Page, heading: MapHeading, left: float, width: float) -> None:
    """Write the two lines of a heading at the top of a page."""
    room = width * style.PT_PER_MM
    title, second = fit(heading.title, room, style.TITLE_PT, bold=True), fit(heading.subtitle, room, style.LABEL_PT)
    page.text(left, page.height - 4.2, title, size=style.TITLE_PT, weight="bold")
    page.text(left, page.height - 8.4, second, size=style.LABEL_PT, color=style.SOFT)


def draw_label_box(axes: Axes, label: PlacedLabel, x_point: float, pad: float) -> tuple[str, float]:
    """Draw the line to a label and the paper behind it; return how its lines are aligned, and where [mm]."""
    if label.leader:
        (x0, y0), (x1, y1) = label.leader
        axes.plot([x0, x1], [y0, y1], color=style.SOFT, linewidth=style.HAIR, zorder=2.9)
    box = label.box
    behind = Rectangle((box.left, box.bottom), box.width, box.height, zorder=2.8, alpha=0.72)
    behind.set(facecolor=style.PAPER, edgecolor="none")
    axes.add_patch(behind)
    left_of_point = box.left + box.width / 2 < x_point - 0.5
    return ("right", box.right - pad) if left_of_point else ("left", box.left + pad)


def panel_axes(page: Page, frame: MapFrame) -> Axes:
    """Draw a panel with its coordinate ticks; return axes in millimetres of the page."""
    panel = frame.panel
    axes = page.axes(panel)
    axes.set_xlim(panel.left, panel.right)
    axes.set_ylim(panel.bottom, panel.top)
    _coordinates(page, axes, frame)
    return axes


def _coordinates(page: Page, axes: Axes, frame: MapFrame) -> None:
    """Mark round coordinates at the edge, with small crosses where they meet."""
    panel = frame.panel
    # About every three centimetres a coordinate, whichever way the sheet lies.
    step = nice_step(
        max(panel.width, panel.height) / frame.mm_per_unit, max(int(max(panel.width, panel.height) / 30), 2)
    )
    xs, ys = round_ticks(frame.x0, frame.x1, step), round_ticks(frame.y0, frame.y1, step)
    x_mm = [panel.left + (x - frame.x0) * frame.mm_per_unit for x in xs]
    y_mm = [panel.bottom + (y - frame.y0) * frame.mm_per_unit for y in ys]
    axes.set_xticks(x_mm, [_edge_label(x, step, at, 0.0, page.width) for x, at in zip(xs, x_mm, strict=True)])
    axes.set_yticks(y_mm, [_edge_label(y, step, at, 0.0, page.height) for y, at in zip(ys, y_mm, strict=True)])
    axes.tick_params(length=1.6, width=style.HAIR, pad=1.4, labelsize=_COORDINATE_PT, labelcolor=style.SOFT)
    axes.tick_params(labelfontfamily=list(style.FAMILY))
    for label in axes.get_yticklabels():
        label.set_rotation(90)
        label.set_verticalalignment("center")
    for x in x_mm:
        for y in y_mm:
            axes.plot([x - 0.9, x + 0.9], [y, y], color=style.RULE, linewidth=style.HAIR, zorder=0.8)
            axes.plot([x, x], [y - 0.9, y + 0.9], color=style.RULE, linewidth=style.HAIR, zorder=0.8)


def _edge_label(value: float, step: float, at: float, low: float, high: float) -> str:
    """Return a coordinate as written at its tick; nothing where it would run over the edge of the page."""
    text = _grouped(value, step)
    half = text_width_pt(text, _COORDINATE_PT) / style.PT_PER_MM / 2
    return text if low <= at - half and at + half <= high else ""


def _grouped(value: float, step: float) -> str:
    text = f"{value:,.{decimals_of_step(step)}f}".replace(",", "\u00a0")
    return text.replace("-", "−")


def scale_bar_length(metres_per_mm: float, unit: str, room_mm: float) -> tuple[float, str, float]:
    """Return the round length of a scale bar, its unit, and its size on the page.

    Parameters
    ----------
    metres_per_mm : float
        Metres on the ground for a millimetre on the page.
    unit : {"m", "ft"}
        Unit of the map: the bar is in m or km, or in ft or miles.
    room_mm : float
        Longest bar [mm].

    Returns
    -------
    tuple
        Length in its unit, name of the unit, length on the page [mm].
    """
    long_unit, long_m, from_short = (
        ("km", 1000.0, 1.0) if unit == "m" else ("mi", metres_per("ft") * _FEET_PER_MILE, 0.95)
    )
    most_m = metres_per_mm * room_mm
    name, metres = (long_unit, long_m) if most_m >= from_short * long_m else (unit, metres_per(unit))
    most = most_m / metres
    power = 10.0 ** math.floor(math.log10(most))
    length = next(factor * power for factor in (5.0, 2.0, 1.0) if factor * power <= most * (1 + 1e-9))
    return length, name, length * metres / metres_per_mm


def draw_bar(page: Page, box: Box, frame: MapFrame, heading: MapHeading) -> None:
    """Draw scale bar and north arrow side by side, with the names of the coordinate system and of its unit."""
    _north(page, box.left + 2.4, box.bottom + 0.6, 7.2)
    left = box.left + 8.5
    per_mm = heading.coordinate_unit_m / frame.mm_per_unit
    length, name, size = scale_bar_length(per_mm, heading.unit, min(box.right - left - 8.0, 36.0))
    base = box.bottom + 4.2
    for i in range(2):
        rectangle = Rectangle(
            (page.x_fraction(left + i * size / 2), page.y_fraction(base)),
            page.x_fraction(size / 2),
            page.y_fraction(0.9),
            facecolor=style.INK if i == 0 else style.PAPER,
            edgecolor=style.INK,
            linewidth=style.HAIR,
            transform=page.figure.transFigure,
        )
        page.patch(rectangle)
    for part, text in ((0.0, "0"), (0.5, f"{length / 2:g}"), (1.0, f"{length:g} {name}")):
        ha = "left" if part == 1.0 else "center"
        shift = -text_width_pt(f"{length:g}", style.NOTE_PT) / style.PT_PER_MM / 2 if part == 1.0 else 0.0
        page.text(left + part * size + shift, base + 1.7, text, ha=ha)
    crs = heading.crs or "coordinate system not on record"
    words = f"{crs}, {_unit_name(heading.coordinate_unit_m)}; grid north"
    size_pt = style.NOTE_PT
    page.text(
        left,
        box.bottom + 0.9,
        fit(words, (box.right - left) * style.PT_PER_MM, size_pt),
        size=size_pt,
        color=style.SOFT,
    )


def draw_north_and_scale(page: Page, panel: Box, frame: MapFrame, heading: MapHeading) -> None:
    """Draw a north arrow in the upper right and a scale bar in the lower left corner of a panel."""
    _north(page, panel.right - 6.0, panel.top - 11.5, 8.5)
    per_mm = heading.coordinate_unit_m / frame.mm_per_unit
    length, name, size = scale_bar_length(per_mm, heading.unit, 32.0)
    left, base = panel.left + 4.0, panel.bottom + 3.2
    for i in range(2):
        page.patch(
            Rectangle(
                (page.x_fraction(left + i * size / 2), page.y_fraction(base)),
                page.x_fraction(size / 2),
                page.y_fraction(0.8),
                facecolor=style.INK if i == 0 else style.PAPER,
                edgecolor=style.INK,
                linewidth=style.HAIR,
                transform=page.figure.transFigure,
                zorder=5,
            )
        )
    page.text(left, base + 1.6, "0", size=style.LABEL_PT, ha="center")
    page.text(left + size, base + 1.6, f"{length:g} {name}", size=style.LABEL_PT, ha="center")


def _unit_name(coordinate_unit_m: float) -> str:
    if coordinate_unit_m == 1.0:
        return "metres"
    return "feet" if 0.3 < coordinate_unit_m < 0.31 else f"units of {coordinate_unit_m:g} m"


def _north(page: Page, x: float, y: float, height: float) -> None:
    """Draw a needle, one half filled, with an N at its tip."""
    halves: tuple[tuple[float, str], tuple[float, str]] = ((-1.5, style.INK), (1.5, style.PAPER))
    for side, face in halves:
        corners = [(x, y + height - 2.2), (x + side, y), (x, y + 1.2)]
        page.patch(
            Polygon(
                [(page.x_fraction(a), page.y_fraction(b)) for a, b in corners],
                closed=True,
                facecolor=face,
                edgecolor=style.INK,
                linewidth=style.HAIR,
                joinstyle="miter",
                transform=page.figure.transFigure,
            )
        )
    page.text(x, y + height - 1.4, "N", ha="center", weight="bold", size=7.5)


def draw_text(page: Page, sheet: Sheet) -> None:
    """Write the columns of text."""
    for box, words in zip(sheet.columns, sheet.texts, strict=False):
        page.block(words, box.left, box.top, box.width, sheet.text_pt)
