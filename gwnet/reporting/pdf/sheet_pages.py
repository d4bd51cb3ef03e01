"""Pages of a sheet to be filled in by hand: built twice, as the first pass tells their number; heading and foot."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from gwnet.analysis.fieldwork.field_sheet import GOVERNS
from gwnet.records import RecordState
from gwnet.reporting.pdf.blocks import shortened
from gwnet.reporting.pdf.figures import finish
from gwnet.reporting.pdf.fonts import BOLD, REGULAR, register_fonts, text_width
from gwnet.reporting.pdf.styles import INK, MM, TEXT_WIDTH, PageFormat
from gwnet.reporting.pdf.tables import draw_text

#: Size of the letters of the sheets [pt].
SIZE: Final = 8.6

_FOOT: Final = 13 * MM


@dataclass(frozen=True, kw_only=True)
class SheetPages:
    """What is set on the pages of a sheet.

    Attributes
    ----------
    page : gwnet.reporting.pdf.styles.PageFormat
        Size of the pages.
    head : float
        Height that is kept for the head of each page [pt].
    story : callable
        Gives the flowables for the height of a page's body [pt]; called for each pass.
    heading : str
        First line of each page.
    known_on : gwnet.records.RecordState
        State of the record, which the foot names.
    title, subject : str
        Of the document.
    draw_head : callable, optional
        Draws the rest of the head; it is given the canvas and the height of the first line [pt].
    """

    page: PageFormat
    head: float
    story: Callable[[float], Sequence[Flowable]]
    heading: str
    known_on: RecordState
    title: str
    subject: str
    draw_head: Callable[[Any, float], None] | None = None

    def render(self) -> bytes:
        """Return the document; the same content gives the same bytes."""
        register_fonts()
        _, total = self._build(0)
        content, _ = self._build(total)
        information = {"Title": self.title, "Subject": self.subject, "Creator": "gwnet", "Producer": "gwnet"}
        return finish(content, (), {}, information=information, moment=self.known_on.recorded_at_utc).content

    def _build(self, total: int) -> tuple[bytes, int]:
        """Return the document of so many pages, 0 where that is not known yet, and how many there are."""
        page, target, count = self.page, io.BytesIO(), 0

        def draw_around(canvas: Any, _document: Any) -> None:
            nonlocal count
            count = max(count, canvas.getPageNumber())
            self._draw_around(canvas, total or canvas.getPageNumber())

        # Invariant, or the library writes the time of the run into the document.
        document = BaseDocTemplate(
            target, pagesize=(page.width, page.height), invariant=1, lang="en-GB", initialFontName=REGULAR
        )
        plain = {"leftPadding": 0, "rightPadding": 0, "topPadding": 0, "bottomPadding": 0}
        room = page.height - self.head - _FOOT
        frame = Frame(page.left, _FOOT, TEXT_WIDTH, room, id="body", **plain)
        document.addPageTemplates([PageTemplate("sheet", [frame], onPage=draw_around)])
        # Made anew for each pass, as the library changes flowables while it sets them.
        document.build(list(self.story(room)))
        return target.getvalue(), count

    def _draw_around(self, canvas: Any, total: int) -> None:
        """Draw heading and number of a page, what else its head holds, and its foot."""
        left, right = self.page.left, self.page.left + TEXT_WIDTH
        y = self.page.height - 11 * MM
        canvas.setFillColor(INK)
        counted = f"page {canvas.getPageNumber()} of {total}"
        width = text_width(counted, BOLD, SIZE)
        draw_text(canvas, right - width, y, counted, BOLD, SIZE)
        draw_text(canvas, left, y, shortened(self.heading, BOLD, 10.5, TEXT_WIDTH - width - 10), BOLD, 10.5)
        if self.draw_head is not None:
            self.draw_head(canvas, y)
        made = f"record as known on {self.known_on.text}"
        draw_text(canvas, right - text_width(made, REGULAR, 7), 7.5 * MM, made, REGULAR, 7)
        draw_text(canvas, left, 7.5 * MM, GOVERNS, REGULAR, 7)
