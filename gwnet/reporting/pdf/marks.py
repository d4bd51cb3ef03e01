"""The marks of threshold states: told apart by shape and fill, by colour only besides."""

from __future__ import annotations

from typing import Any, Final

from gwnet.reporting.pdf.fonts import BOLD, text_width
from gwnet.reporting.pdf.styles import INK, PAPER, QUIET, WARN

#: Side of a mark [pt].
MARK: Final = 9.2


def draw_state(canvas: Any, name: str, left: float, bottom: float, side: float = MARK) -> None:
    """Draw the mark of a state.

    Parameters
    ----------
    canvas : reportlab.pdfgen.canvas.Canvas
        Where to draw.
    name : {"beyond", "unconfirmed", "unjudged", "not beyond"}
        A filled square, a square in a square, a question mark in a square, an empty square.
    left, bottom : float
        Lower left corner [pt].
    side : float, optional
        Length of its side [pt].
    """
    canvas.setLineWidth(1.1)
    if name in ("beyond", "unconfirmed"):
        canvas.setFillColor(WARN if name == "beyond" else PAPER)
        canvas.setStrokeColor(WARN)
        canvas.rect(left, bottom, side, side, stroke=1, fill=1)
        if name == "unconfirmed":
            canvas.setFillColor(WARN)
            canvas.rect(left + 0.28 * side, bottom + 0.28 * side, 0.44 * side, 0.44 * side, stroke=0, fill=1)
        return
    canvas.setFillColor(PAPER)
    canvas.setStrokeColor(INK if name == "unjudged" else QUIET)
    canvas.rect(left, bottom, side, side, stroke=1, fill=1)
    if name == "unjudged":
        size = 0.82 * side
        canvas.setFillColor(INK)
        canvas.setFont(BOLD, size)
        canvas.drawString(left + (side - text_width("?", BOLD, size)) / 2, bottom + 0.2 * side, "?")
