"""The strip beside the data of a hydrograph, where thresholds, ground and screens are labelled at their line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.patches import Rectangle

from gwnet.figures.base import style
from gwnet.figures.base.axes import day_of_number
from gwnet.figures.base.page import NOTE_MM, Box, Page
from gwnet.figures.base.placement import spread
from gwnet.figures.base.text import fit, number_text, short_number, text_width_pt, wrap
from gwnet.figures.hydrograph.data import HydrographPlotData
from gwnet.units import metres_per

#: Widest text of a label [mm].
_MOST_LABEL_MM: Final = 32.0
#: Room for the leader before a label and for the edge after it [mm].
_LEADER_MM: Final = 5.4
_EDGE_MM: Final = 1.0
#: Distance between the slots of a screen [mm].
_SLOT_MM: Final = 0.7


@dataclass(frozen=True, slots=True)
class Scale:
    """Where a hydrograph's axes stand, and how elevations become numbers on them."""

    box: Box
    factor: float
    last: float


@dataclass(frozen=True, slots=True)
class GutterLabel:
    """A label beside the data: what it belongs to, where, its text; ``beyond`` is 1 above the axis, -1 below it."""

    kind: str
    elevation_m: float
    text: str
    beyond: int = 0

    @property
    def words(self) -> str:
        """Text with an arrow where it belongs to something beyond the axis."""
        return f"{('', '↑ ', '↓ ')[self.beyond]}{self.text}"

    @property
    def color(self) -> str:
        """Colour of text and leader."""
        return style.LIMIT if self.kind in ("lower", "upper") else style.EARTH


def gutter_labels(data: HydrographPlotData) -> list[GutterLabel]:
    """Return everything that is labelled beside the data; the number comes first, so that it is never cut."""
    factor, most = 1.0 / metres_per(data.unit), 3 if data.unit == "m" else 2
    labels = []
    for line in data.levels:
        text = f"{short_number(line.elevation_m * factor, most=most)} {line.label}"
        if line.kind in ("lower", "upper"):
            text = f"{text} ({line.kind})"
        # A day of slack: the end of the axis is the end of a day.
        if line.last < data.last - 1.0:
            text = f"{text} until {day_of_number(line.last).isoformat()}"
        labels.append(_label(data, line.kind, line.elevation_m, text))
    for top, bottom in data.screens_m:
        text = f"{number_text(top * factor, 1)} to {number_text(bottom * factor, 1)} screen"
        # The label stands beside the part of the screen that is on the axis.
        seen = (min(top, data.high_m), max(bottom, data.low_m))
        middle = sum(seen) / 2 if seen[0] > seen[1] else top if top < data.low_m else bottom
        labels.append(_label(data, "screen", middle, text))
    return labels


def _label(data: HydrographPlotData, kind: str, elevation_m: float, text: str) -> GutterLabel:
    beyond = 1 if elevation_m > data.high_m else -1 if elevation_m < data.low_m else 0
    return GutterLabel(kind, elevation_m, text, beyond)


def gutter_width_mm(labels: Sequence[GutterLabel], room_mm: float) -> float:
    """Return the width of the strip [mm]: none without labels, never more than three tenths of the axes."""
    if not labels:
        return 0.0
    widest = max(_label_width_mm(label.words) for label in labels)
    # Beyond that the labels would take the room of the data.
    return min(widest + _LEADER_MM + _EDGE_MM, 0.3 * room_mm)


def _label_width_mm(text: str) -> float:
    lines = wrap(text, _MOST_LABEL_MM * style.PT_PER_MM, style.NOTE_PT)
    return max((text_width_pt(line, style.NOTE_PT) for line in lines), default=0.0) / style.PT_PER_MM


def draw_gutter(page: Page, data: HydrographPlotData, scale: Scale, labels: Sequence[GutterLabel]) -> None:
    """Write the labels beside their lines, moved apart where they would collide; arrows point beyond the axis."""
    if not labels:
        return
    box = scale.box
    per_m = box.height / (data.high_m - data.low_m)
    left = box.left + box.width * (data.last - data.first) / (scale.last - data.first)
    room_pt = (box.right - left - _LEADER_MM - _EDGE_MM + 0.2) * style.PT_PER_MM
    texts = [_lines(label.words, room_pt) for label in labels]
    if sum(NOTE_MM * len(lines) + 0.3 for lines in texts) > box.height - 0.8:
        # one line each where two would push labels out of the axes; the number comes first
        texts = [(fit(label.words, room_pt, style.NOTE_PT),) for label in labels]
    wanted = [
        box.bottom + (min(max(entry.elevation_m, data.low_m), data.high_m) - data.low_m) * per_m for entry in labels
    ]
    heights = [NOTE_MM * len(lines) + 0.3 for lines in texts]
    centres = spread(wanted, heights, box.bottom + 0.4, box.top - 0.4)
    for label, lines, y0, y1 in zip(labels, texts, wanted, centres, strict=True):
        if not label.beyond:
            start = left + (3.1 if label.kind == "screen" else 0.5)
            page.line([start, left + 3.3, left + 4.8], [y0, y0, y1], color=label.color, linewidth=style.HAIR)
        for i, line in enumerate(lines):
            y = y1 + (len(lines) / 2 - i - 0.5) * NOTE_MM
            page.text(left + _LEADER_MM, y, line, va="center_baseline", color=label.color)


def _lines(words: str, room_pt: float) -> tuple[str, ...]:
    """Return a label in at most two lines."""
    lines = wrap(words, room_pt, style.NOTE_PT)
    if len(lines) > 2:
        return lines[0], fit(" ".join(lines[1:]), room_pt, style.NOTE_PT)
    return lines


def draw_screens(axes: Axes, data: HydrographPlotData, scale: Scale) -> None:
    """Draw screens as a barred pipe beside the data."""
    per_mm = (scale.last - data.first) / scale.box.width
    for top, bottom in data.screens_m:
        high, low = min(top, data.high_m), max(bottom, data.low_m)
        if high <= low:
            continue
        bar = Rectangle(
            (data.last + 1.2 * per_mm, low * scale.factor),
            1.8 * per_mm,
            (high - low) * scale.factor,
            facecolor=style.PAPER,
            edgecolor=style.EARTH,
            linewidth=style.HAIR,
            zorder=2.5,
        )
        axes.add_patch(bar)
        # strokes of their own and no fill pattern, which archival PDF readers may refuse
        step = _SLOT_MM * (data.high_m - data.low_m) / scale.box.height
        slots = [low + step * number for number in range(1, int((high - low) / step) + 1)]
        left, right = data.last + 1.2 * per_mm, data.last + 3.0 * per_mm
        strokes = [[(left, slot * scale.factor), (right, slot * scale.factor)] for slot in slots]
        axes.add_collection(
            LineCollection(strokes, colors=style.EARTH, linewidths=style.HAIR, zorder=2.6), autolim=False
        )
