"""Symbols of keys, and areas hatched with strokes of their own.

A fill pattern is a kind of content that the check of an archival PDF does not follow, so no figure holds one.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, Literal

import numpy as np
from matplotlib.backend_bases import RendererBase
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.transforms import Bbox, IdentityTransform, TransformedPath

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, Page

Symbol = Callable[[Page, Box], None]

#: Distance from stroke to stroke, measured across the page, from dot to dot, and across a dot [mm].
_STROKES_MM: Final = 1.41
_DOTS_MM: Final = 1.06
_DOT_MM: Final = 0.36


class Hatched(PathPatch):
    """An area with strokes that rise to the right, or with dots, in brown.

    Parameters
    ----------
    outline : matplotlib.path.Path
        Outline of the area.
    hatching : {"strokes", "dots"}
        What it is filled with, clipped to the outline.
    **options : object
        As of `matplotlib.patches.PathPatch`.
    """

    def __init__(self, outline: Path, hatching: Literal["strokes", "dots"], **options: Any) -> None:
        super().__init__(outline, **options)
        self.hatching = hatching

    def draw(self, renderer: RendererBase) -> None:
        """Draw the area, then what fills it."""
        super().draw(renderer)
        outline, transform = self.get_path(), self.get_transform()
        box: Any = outline.get_extents(transform)
        clip: Any = self.clipbox
        if clip is not None:
            box = Bbox.intersection(box, clip)
        if box is None or box.width <= 0.0 or box.height <= 0.0:
            return
        # In dots of the output, so that strokes are as far apart on paper as on a screen.
        mm = float(np.real(renderer.points_to_pixels(1.0))) * style.PT_PER_MM
        context = renderer.new_gc()
        context.set_foreground(style.EARTH)
        context.set_linewidth(style.HAIR)
        if clip is not None:
            context.set_clip_rectangle(clip)
        context.set_clip_path(TransformedPath(outline, transform))
        if self.hatching == "strokes":
            renderer.draw_path(context, _strokes(box, _STROKES_MM * mm), IdentityTransform())
        else:
            context.set_linewidth(_DOT_MM * style.PT_PER_MM)
            context.set_capstyle("round")
            for odd in (False, True):
                offset = 0.5 * _DOTS_MM * style.PT_PER_MM if odd else 0.0
                # Dots are dashes of no length with round ends: one path for all of them.
                context.set_dashes(offset, [0.01, _DOTS_MM * style.PT_PER_MM - 0.01])
                renderer.draw_path(context, _rows(box, _DOTS_MM * mm, odd=odd), IdentityTransform())
        context.restore()


def rectangle(left: float, bottom: float, width: float, height: float) -> Path:
    """Return the outline of a rectangle."""
    right, top = left + width, bottom + height
    return Path([(left, bottom), (right, bottom), (right, top), (left, top), (left, bottom)], closed=True)


def _strokes(box: Any, step: float) -> Path:
    """Return strokes at 45 degrees through a box [dots]; areas beside each other share them."""
    feet = np.arange(np.floor((box.x0 - box.y1) / step), np.ceil((box.x1 - box.y0) / step) + 1) * step
    return _segments(feet + box.y0, box.y0, feet + box.y1, box.y1)


def _rows(box: Any, step: float, *, odd: bool) -> Path:
    """Return every other level row through a box [dots], to be dashed to dots."""
    numbers = np.arange(np.floor(box.y0 / step), np.ceil(box.y1 / step) + 1)
    rows = numbers[(numbers % 2 == 1) == odd] * step
    return _segments(np.floor(box.x0 / step) * step, rows, box.x1, rows)


def _segments(x0: Any, y0: Any, x1: Any, y1: Any) -> Path:
    corners = np.stack(np.broadcast_arrays(x0, y0, x1, y1), axis=-1).reshape(-1, 2)
    return Path(corners, np.tile([Path.MOVETO, Path.LINETO], len(corners) // 2))


def line_symbol(**options: Any) -> Symbol:
    """Return what draws a level line into the box of a key."""

    def draw(page: Page, box: Box) -> None:
        y = box.bottom + box.height / 2
        page.line([box.left, box.right], [y, y], **options)

    return draw


def mark_symbol(**options: Any) -> Symbol:
    """Return what draws a mark into the middle of the box of a key."""

    def draw(page: Page, box: Box) -> None:
        page.line([box.left + box.width / 2], [box.bottom + box.height / 2], linestyle="none", **options)

    return draw


def band_symbol(
    height_mm: float | None = None, *, hatching: Literal["", "strokes", "dots"] = "", **options: Any
) -> Symbol:
    """Return what draws a strip into the box of a key, a millimetre lower than the box unless its height is given."""

    def draw(page: Page, box: Box) -> None:
        height = box.height - 1.0 if height_mm is None else height_mm
        left, bottom = page.x_fraction(box.left), page.y_fraction(box.bottom + (box.height - height) / 2)
        extent = (page.x_fraction(box.width), page.y_fraction(height))
        where = page.figure.transFigure
        if hatching:
            page.patch(Hatched(rectangle(left, bottom, *extent), hatching, transform=where, **options))
        else:
            page.patch(Rectangle((left, bottom), *extent, transform=where, **options))

    return draw
