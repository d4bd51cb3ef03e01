"""A page of one aquifer: the map at page width on a round scale, changes as bars at the wells, and short notes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, Page, Words, key_height_mm
from gwnet.figures.base.placement import Anchor, PlacedLabel, place_labels
from gwnet.figures.base.text import fit, number_text, text_width_pt, wrap
from gwnet.figures.maps.data import MapPlotData
from gwnet.figures.maps.frame import MapFrame, draw_north_and_scale
from gwnet.figures.maps.geometry import hull_share
from gwnet.figures.maps.labels import is_far
from gwnet.figures.maps.layers import draw_layers
from gwnet.figures.maps.marks import EDGE, draw_pumped, key_entries
from gwnet.figures.maps.surface_map import draw_panel, extent_of

#: Width of a third of the page, and the room between two thirds [mm].
_THIRD_MM: Final = 54.8
_GUTTER_MM: Final = 4.8
_GAP_MM: Final = 3.0
#: Room for labels at the edge of the map [mm].
_EDGE_MM: Final = 8.0
#: Scales that are chosen from, times a power of ten.
_ROUND: Final = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 8.0, 10.0)
#: The least part of the frame that the control may fill before wells left out are given up for a larger scale.
_LEAST_CONTROL: Final = 0.30
_LONGEST_BAR_MM: Final = 9.5
#: From this number of wells on, bars are slim and have a number only where it stands beside them. Project default.
_MANY_BARS: Final = 60
_NOTE_PT: Final = 8.0
_NOTES_LINES: Final = 17


@dataclass(frozen=True, slots=True)
class ChangeBar:
    """The change at one well: coordinates, change in the unit of drawing, and whether it is beyond its half-width."""

    well: str
    x: float
    y: float
    change: float
    is_significant: bool
    is_compared: bool = True


@dataclass(frozen=True, slots=True)
class ChangePanel:
    """The changes of an aquifer since a day.

    Parameters
    ----------
    title : str
        What is shown, for example ``Change since 18 November 2025``.
    bars : tuple of ChangeBar
        Wells and gauges, compared or not.
    half_width : str
        Usual half-width of a change, as printed.
    refused : str
        Why there are none.
    """

    title: str
    bars: tuple[ChangeBar, ...] = ()
    half_width: str = ""
    refused: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class AquiferPage:
    """What a page of an aquifer shows.

    Parameters
    ----------
    data : MapPlotData
        The map.
    changes : tuple of ChangePanel
        Since the round before, and in a year.
    notes : tuple of tuple of str
        First words, set in bold, and the rest of each note.
    """

    data: MapPlotData
    changes: tuple[ChangePanel, ...] = ()
    notes: tuple[tuple[str, str], ...] = field(default=())


def draw_aquifer_page(page_data: AquiferPage, *, size_mm: tuple[float, float]) -> Figure:
    """Draw a page of an aquifer.

    Parameters
    ----------
    page_data : AquiferPage
        What to draw.
    size_mm : tuple of float
        Width and height [mm].

    Returns
    -------
    matplotlib.figure.Figure
        The map above, its key in lines below it, then changes and notes in three columns.
    """
    data = page_data.data
    with style.style_context():
        page = Page(style.new_figure(size_mm))
        entries = [entry for entry in key_entries(data) if entry.label != EDGE]
        scale_room = 22.0
        key_height = key_height_mm(entries, page.width - scale_room, style.LABEL_PT)
        below = _below_mm(page_data)
        height = page.height - key_height - 1.6 - (_GAP_MM + below if below else 0.0)
        panel = Box(0.3, page.height - height, page.width - 0.6, height - 0.3)
        frame, denominator = round_frame(panel, data)
        axes = page.axes(panel)
        axes.set_xlim(panel.left, panel.right)
        axes.set_ylim(panel.bottom, panel.top)
        axes.set_xticks([])
        axes.set_yticks([])
        for spine in axes.spines.values():
            spine.set_color(style.RULE)
        missing = draw_panel(axes, frame, data, reserved=_corners(panel))
        draw_north_and_scale(page, panel, frame, data)
        top = panel.bottom - 1.2
        page.key(entries, 0.0, top, page.width - scale_room, style.LABEL_PT)
        text = f"1 : {denominator:,.0f}".replace(",", "\u202f")
        page.text(page.width, top - 3.2, text, size=style.LABEL_PT, ha="right", weight="bold")
        if below:
            _draw_below(page, page_data, below, [line for note in missing for line in note.lines])
    return page.figure


def _below_mm(page_data: AquiferPage) -> float:
    """Return the height of the columns under the map [mm]."""
    if not page_data.changes and not page_data.notes:
        return 0.0
    notes = _words(page_data.notes)
    lines = sum(len(wrap(word.text, _THIRD_MM * style.PT_PER_MM, _NOTE_PT)) for word in notes)
    return min(max(64.0, 9.0 + 3.75 * min(lines, _NOTES_LINES)), 78.0)


def round_frame(panel: Box, data: MapPlotData) -> tuple[MapFrame, float]:
    """Return the frame with the largest round scale that holds a map, and the denominator of the scale.

    Parameters
    ----------
    panel : Box
        Where the map stands.
    data : MapPlotData
        The map.

    Returns
    -------
    tuple
        Wells left out are within the frame as long as the control fills three tenths of it.
    """
    whole = extent_of(data)
    used = np.array([(point.x, point.y) for point in data.points if point.used and point.placed]).reshape(-1, 2)
    control = np.vstack([used, *data.boundary]) if len(used) else whole
    frame, denominator = round_scale_frame(panel, whole, data.coordinate_unit_m)
    # Wells left out far away would shrink the map: below this share they are given up for a larger scale.
    share = hull_share(frame.to_mm(control), panel.width * panel.height)
    return (
        (frame, denominator) if share >= _LEAST_CONTROL else round_scale_frame(panel, control, data.coordinate_unit_m)
    )


def round_scale_frame(
    panel: Box, extent: NDArray[np.float64], unit_m: float, edge_mm: float = _EDGE_MM
) -> tuple[MapFrame, float]:
    """Return the frame with the largest round scale that holds some coordinates, and the denominator of the scale.

    Parameters
    ----------
    panel : Box
        Where the map stands.
    extent : numpy.ndarray, shape (n, 2)
        Coordinates.
    unit_m : float
        Metres in one unit of the coordinates.
    edge_mm : float, optional
        Room for labels at the edge [mm].
    """
    low, high = extent.min(axis=0), extent.max(axis=0)
    span_m = np.maximum((high - low) * unit_m, 1e-3)
    # Wells at one place, as a cluster: a map of a hundred metres around it.
    if float(span_m.max()) < 1.0:
        span_m = np.array([100.0, 100.0])
    wanted = max(
        float(span_m[0]) / (panel.width - 2 * edge_mm), float(span_m[1]) / (panel.height - 2 * edge_mm)
    )  # metres a millimetre
    power = 10.0 ** math.floor(math.log10(wanted))
    per_mm = next(factor * power for factor in _ROUND if factor * power >= wanted * (1 - 1e-9))
    scale = unit_m / per_mm
    middle = (low + high) / 2
    x0, y0 = middle[0] - panel.width / scale / 2, middle[1] - panel.height / scale / 2
    return MapFrame(panel, float(x0), float(y0), scale), per_mm * 1000.0


def _corners(panel: Box) -> tuple[Box, ...]:
    """Return where north arrow and scale bar stand."""
    return (
        Box(panel.right - 12.0, panel.top - 16.0, 12.0, 16.0),
        Box(panel.left, panel.bottom, 46.0, 9.0),
    )


def _draw_below(page: Page, page_data: AquiferPage, height: float, missing: Sequence[str]) -> None:
    left = 0.0
    for change in page_data.changes[:2]:
        box = Box(left, 0.0, _THIRD_MM, height)
        _head(page, box, change.title)
        _draw_changes(page, Box(left, 0.0, _THIRD_MM, height - 5.4), change, page_data.data)
        left += _THIRD_MM + _GUTTER_MM
    box = Box(left, 0.0, page.width - left, height)
    _head(page, box, "Notes")
    y, most = box.top - 6.4, box.bottom
    notes = [*page_data.notes, *(("Labels", line) for line in missing)]
    for lead, text in notes:
        y = _draw_note(page, box, y, most, lead, text) - 1.0


def _head(page: Page, box: Box, title: str) -> None:
    page.line([box.left, box.right], [box.top, box.top], color=style.INK, linewidth=0.5)
    text = fit(title, box.width * style.PT_PER_MM, 8.0, bold=True)
    page.text(box.left, box.top - 4.2, text, size=8.0, weight="bold")


def _words(notes: Sequence[tuple[str, str]]) -> list[Words]:
    return [Words(f"{lead} {text}") for lead, text in notes]


def _draw_note(page: Page, box: Box, y: float, bottom: float, lead: str, text: str) -> float:
    """Write a note whose first words are bold; return where it ends. Sentences without room are left out."""
    advance = 3.75
    room = box.width * style.PT_PER_MM
    first = text_width_pt(f"{lead} ", _NOTE_PT, bold=True) + 1.2
    lines = _hanging(text, room, first)
    fitting = max(int((y - bottom) / advance), 0)
    while len(lines) > fitting:
        # Cut at the end of a sentence: half a sentence can say the opposite.
        text = text[: max(text.rfind(end, 0, len(text) - 1) for end in (". ", "; ")) + 1]
        if not text:
            return y
        lines = _hanging(f"{text[:-1]}.", room, first)
    page.text(box.left, y - 2.8, lead, size=_NOTE_PT, weight="bold")
    for number, line in enumerate(lines):
        x = box.left + (first / style.PT_PER_MM if number == 0 else 0.0)
        page.text(x, y - 2.8 - number * advance, line, size=_NOTE_PT, color=style.INK)
    return y - len(lines) * advance


def _hanging(text: str, room: float, first: float) -> list[str]:
    """Return a text in lines, the first of them shorter by what stands before it."""
    opening = wrap(text, max(room - first, 40.0), _NOTE_PT)
    if len(opening) < 2:
        return list(opening)
    rest = text[len(opening[0]) :].strip()
    return [opening[0], *wrap(rest, room, _NOTE_PT)]


def _draw_changes(page: Page, box: Box, change: ChangePanel, data: MapPlotData) -> None:
    """Draw bars at the wells, upward for a rise, in a small map of the extent of the large one."""
    if change.refused or not change.bars:
        lines = wrap(change.refused or "No level can be compared.", box.width * style.PT_PER_MM, _NOTE_PT)
        for number, line in enumerate(lines[:12]):
            page.text(box.left, box.top - 4.5 - number * 3.75, line, size=_NOTE_PT)
        return
    room = Box(box.left, box.bottom + 5.0, box.width, box.height - 5.0)
    frame = _small_frame(room, [(bar.x, bar.y) for bar in change.bars])
    axes = page.axes(room)
    axes.set_xlim(room.left, room.right)
    axes.set_ylim(room.bottom, room.top)
    axes.set_axis_off()
    draw_layers(axes, frame, [layer for layer in data.layers if layer.kind == "river"])
    compared = [bar for bar in change.bars if bar.is_compared]
    # Of the significant ones: noise would otherwise be drawn as long as a change.
    largest = max((abs(bar.change) for bar in compared if bar.is_significant), default=0.0)
    look = _USUAL if len(change.bars) < _MANY_BARS else _SLIM
    per_unit = look.longest_mm / largest if largest else 0.0
    _draw_bars(axes, frame, change.bars, per_unit, room, look)
    for point in data.points:
        if point.rate:
            x, y = frame.to_mm(np.array([[point.x, point.y]]))[0]
            draw_pumped(axes, float(x), float(y), small=True)
    _scale_of_bars(page, box, change, largest, per_unit, data.unit, look)


@dataclass(frozen=True, slots=True)
class _BarLook:
    """Width and greatest length of bars, half of the line at their foot [mm], size of a ring [pt], pen [pt]."""

    width_mm: float
    longest_mm: float
    foot_mm: float
    ring_pt: float
    pen_pt: float
    has_leaders: bool


_USUAL: Final = _BarLook(1.9, _LONGEST_BAR_MM, 1.5, 3.2, 0.8, True)
_SLIM: Final = _BarLook(0.8, 4.5, 0.6, 1.8, 0.5, False)


def _small_frame(room: Box, places: Sequence[tuple[float, float]]) -> MapFrame:
    xy = np.array(places, dtype=np.float64).reshape(-1, 2)
    low, high = xy.min(axis=0), xy.max(axis=0)
    span = np.maximum(high - low, 1e-6)
    inner = (room.width - 16.0, room.height - _LONGEST_BAR_MM - 6.0)
    scale = float(min(inner[0] / span[0], inner[1] / span[1]))
    middle = (low + high) / 2
    return MapFrame(
        room,
        float(middle[0] - room.width / scale / 2),
        float(middle[1] - room.height / scale / 2),
        scale,
    )


def _draw_bars(
    axes: Axes, frame: MapFrame, bars: Sequence[ChangeBar], per_unit: float, room: Box, look: _BarLook
) -> None:
    anchors: list[Anchor] = []
    texts: list[tuple[str, bool]] = []
    for bar in bars:
        x, y = (float(value) for value in frame.to_mm(np.array([[bar.x, bar.y]]))[0])
        # A hollow ring: that a well has no earlier level is not the same as no change.
        if not bar.is_compared:
            ring: dict[str, Any] = {
                "marker": "o",
                "markersize": look.ring_pt,
                "markerfacecolor": style.PAPER,
                "markeredgewidth": look.pen_pt,
            }
            axes.plot([x], [y], color=style.SOFT, zorder=3, **ring)
            continue
        length = bar.change * per_unit if bar.is_significant else 0.0
        face = style.WATER if length > 0 else style.FALL
        if length:
            axes.add_patch(
                Rectangle(
                    (x - look.width_mm / 2, min(y, y + length)),
                    look.width_mm,
                    abs(length),
                    facecolor=face,
                    edgecolor=style.WATER,
                    linewidth=0.75 * look.pen_pt,
                    zorder=3,
                )
            )
        axes.plot([x - look.foot_mm, x + look.foot_mm], [y, y], color=style.INK, linewidth=look.pen_pt, zorder=3.2)
        text = number_text(bar.change, 2, signed=True)
        width = text_width_pt(text, style.NOTE_PT) / style.PT_PER_MM + 0.5
        anchors.append(Anchor(x, y + length / 2, width, 2.6, max(abs(length) / 2, 0.6), 1.2))
        texts.append((text, bar.is_significant))
    for label, (text, clear) in zip(place_labels(anchors, room), texts, strict=True):
        if label is not None and (look.has_leaders or not is_far(label)):
            _label(axes, label, text, clear=clear)


def _label(axes: Axes, label: PlacedLabel, text: str, *, clear: bool) -> None:
    if label.leader:
        (x0, y0), (x1, y1) = label.leader
        axes.plot([x0, x1], [y0, y1], color=style.SOFT, linewidth=0.4, zorder=2.9)
    box = label.box
    looks: dict[str, Any] = {"color": style.INK} if clear else {"color": style.SOFT, "style": "italic"}
    axes.text(
        box.left + box.width / 2,
        box.bottom + box.height / 2,
        text,
        fontsize=style.NOTE_PT,
        ha="center",
        va="center_baseline",
        zorder=3.8,
        **looks,
    )


def _scale_of_bars(
    page: Page, box: Box, change: ChangePanel, largest: float, per_unit: float, unit: str, look: _BarLook
) -> None:
    """Draw a bar of a round length with its size, and say what a hollow ring is and how sure a change is."""
    y = box.bottom + 0.8
    x = box.left
    if largest:
        size = next(
            factor * power
            for power in (10.0 ** math.floor(math.log10(largest)), 10.0 ** (math.floor(math.log10(largest)) - 1))
            for factor in (5.0, 2.5, 2.0, 1.0)
            if factor * power * per_unit <= 4.2
        )
        page.patch(
            Rectangle(
                (page.x_fraction(x), page.y_fraction(y)),
                page.x_fraction(look.width_mm),
                page.y_fraction(size * per_unit),
                facecolor=style.WATER,
                edgecolor=style.WATER,
                linewidth=0.6,
                transform=page.figure.transFigure,
            )
        )
        page.text(x + look.width_mm + 0.9, y, f"{size:g} {unit}", color=style.SOFT)
    else:
        page.text(x, y, "none beyond its half-width", color=style.SOFT)
    words = [f"each ± {change.half_width}"] if change.half_width else []
    if any(not bar.is_compared for bar in change.bars):
        words.append("hollow: not compared")
    while words and text_width_pt("; ".join(words), style.NOTE_PT) > (box.width - 18.0) * style.PT_PER_MM:
        words.pop(0)
    page.text(box.right, y, "; ".join(words), color=style.SOFT, ha="right")
