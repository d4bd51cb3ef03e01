"""A figure seen as a page in millimetres: boxes, text, keys of symbols and text blocks placed by measure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from gwnet.figures.base import style
from gwnet.figures.base.text import line_height_pt, text_width_pt, wrap

#: Height of a line of notes [mm].
NOTE_MM: Final = line_height_pt(style.NOTE_PT) / style.PT_PER_MM

#: Room between two entries of a key [mm].
_KEY_GAP_MM: Final = 4.5


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the page, from its lower left corner [mm]."""

    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Right edge [mm]."""
        return self.left + self.width

    @property
    def top(self) -> float:
        """Upper edge [mm]."""
        return self.bottom + self.height


@dataclass(frozen=True, slots=True)
class KeyEntry:
    """A symbol with its explanation: ``draw`` puts the symbol into a box of the page."""

    label: str
    draw: Callable[[Page, Box], None]
    symbol_mm: float = 2.0

    def width_mm(self, size: float = style.NOTE_PT) -> float:
        """Return the width of symbol and explanation in letters of a size [mm]."""
        return self.symbol_mm + 1.2 + text_width_pt(self.label, size) / style.PT_PER_MM


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph of a text block; ``wells`` is how many it lists."""

    text: str
    bold: bool = False
    gap_mm: float = 0.0
    wells: int = 0


class Page:
    """A figure with coordinates in millimetres from its lower left corner.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Figure to draw on.
    """

    def __init__(self, figure: Figure) -> None:
        self.figure = figure
        width, height = figure.get_size_inches()
        self.width = float(width) * style.MM_PER_INCH
        self.height = float(height) * style.MM_PER_INCH

    def axes(self, box: Box, **options: Any) -> Axes:
        """Return new axes that fill a box."""
        where = (
            box.left / self.width,
            box.bottom / self.height,
            box.width / self.width,
            box.height / self.height,
        )
        return self.figure.add_axes(where, **options)

    def text(self, x: float, y: float, text: str, *, size: float = style.NOTE_PT, **options: Any) -> None:
        """Write one line of text at a point of the page."""
        options.setdefault("ha", "left")
        options.setdefault("va", "baseline")
        self.figure.text(x / self.width, y / self.height, text, fontsize=size, **options)

    def line(self, xs: Sequence[float], ys: Sequence[float], **options: Any) -> None:
        """Draw a line or marks at points of the page."""
        line = Line2D([x / self.width for x in xs], [y / self.height for y in ys], **options)
        self.figure.add_artist(line)

    def patch(self, patch: Patch) -> None:
        """Add a patch whose coordinates are fractions of the figure."""
        self.figure.add_artist(patch)

    def x_fraction(self, x: float) -> float:
        """Return a distance across the page as a fraction of its width."""
        return x / self.width

    def y_fraction(self, y: float) -> float:
        """Return a distance up the page as a fraction of its height."""
        return y / self.height

    def key(
        self, entries: Sequence[KeyEntry], left: float, top: float, width: float, size: float = style.NOTE_PT
    ) -> float:
        """Draw symbols with their explanations in rows.

        Parameters
        ----------
        entries : sequence of KeyEntry
            What to draw.
        left, top, width : float
            Upper left corner and width of the room [mm].
        size : float, optional
            Size of the letters [pt].

        Returns
        -------
        float
            Height that was used [mm].
        """
        row = key_row_mm(size)
        x, y = left, top
        for entry in entries:
            wanted = entry.width_mm(size)
            # A tenth of a millimetre of slack, as the height was reckoned with the same widths and must come to the
            # same rows.
            if x > left and x + wanted > left + width + 0.1:
                x, y = left, y - row
            entry.draw(self, Box(x, y - row, entry.symbol_mm, row))
            left_of_text, middle = x + entry.symbol_mm + 1.2, y - row / 2
            self.text(left_of_text, middle, entry.label, size=size, va="center_baseline", color=style.INK)
            x += wanted + _KEY_GAP_MM
        return top - y + row if entries else 0.0

    def block(self, words: Sequence[Words], left: float, top: float, width: float, size: float) -> float:
        """Write paragraphs, wrapped to a width; return the height used [mm]."""
        y = top
        advance = line_height_pt(size) / style.PT_PER_MM
        for paragraph in words:
            y -= paragraph.gap_mm
            for text in wrap(paragraph.text, width * style.PT_PER_MM, size, bold=paragraph.bold):
                y -= advance
                weight = "bold" if paragraph.bold else "normal"
                color = style.INK if paragraph.bold else style.SOFT
                # About a quarter of the line is below the baseline: tails of g and p.
                self.text(left, y + advance * 0.26, text, size=size, weight=weight, color=color)
        return top - y


def key_row_mm(size: float = style.NOTE_PT) -> float:
    """Return the height of a row of a key in letters of a size [mm]."""
    return line_height_pt(size) / style.PT_PER_MM + 0.5


def key_height_mm(entries: Sequence[KeyEntry], width: float, size: float = style.NOTE_PT) -> float:
    """Return the height that a key takes in a given width [mm]."""
    if not entries:
        return 0.0
    rows, x = 1, 0.0
    for entry in entries:
        # As `Page.key` does it, or the key would run into what stands below it.
        if x > 0 and x + entry.width_mm(size) > width + 0.1:
            rows, x = rows + 1, 0.0
        x += entry.width_mm(size) + _KEY_GAP_MM
    return rows * key_row_mm(size)


def block_height_mm(words: Sequence[Words], width: float, size: float) -> float:
    """Return the height that paragraphs take in a given width [mm]."""
    advance = line_height_pt(size) / style.PT_PER_MM
    total = 0.0
    for paragraph in words:
        total += paragraph.gap_mm
        total += advance * len(wrap(paragraph.text, width * style.PT_PER_MM, size, bold=paragraph.bold))
    return total
