"""Sets the field sheets of a gauging round as PDF, to be filled in by hand."""

from __future__ import annotations

import io
from typing import Any

from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from gwnet.analysis.fieldwork.field_sheet import GOVERNS, FieldSheet
from gwnet.reporting.pdf.blocks import shortened
from gwnet.reporting.pdf.field_blocks import CautionBox, Facts, TapeTest, well_flowables
from gwnet.reporting.pdf.figures import finish
from gwnet.reporting.pdf.fonts import BOLD, REGULAR, register_fonts, text_width
from gwnet.reporting.pdf.styles import INK, MM, TEXT_WIDTH, PageFormat, page_format
from gwnet.reporting.pdf.tables import draw_text

_HEAD = 23 * MM
_FOOT = 13 * MM
_SIZE = 8.6


def field_sheet_pdf(sheet: FieldSheet, *, page: str = "A4") -> bytes:
    """Set the field sheets of a round.

    Parameters
    ----------
    sheet : gwnet.analysis.fieldwork.field_sheet.FieldSheet
        Content.
    page : str, optional
        ``A4`` or ``Letter``.

    Returns
    -------
    bytes
        The document; the same content gives the same bytes.

    Raises
    ------
    ReportError
        If a part does not fit on a page.
    """
    register_fonts()
    counted = _Pages(sheet, page_format(page), 0)
    counted.build()
    pages = _Pages(sheet, page_format(page), counted.count)
    content = pages.build()
    information = {
        "Title": f"Field sheet, {sheet.site}, {sheet.round}",
        "Subject": "Gauging round: readings to be filled in",
        "Creator": "gwnet",
        "Producer": "gwnet",
    }
    return finish(content, (), {}, information=information, moment=sheet.known_on.recorded_at_utc).content


class _Pages:
    """Builds the pages once; the number of pages is known only after a first pass."""

    def __init__(self, sheet: FieldSheet, page: PageFormat, total: int) -> None:
        self.sheet, self.page, self.total, self.count = sheet, page, total, 0

    def build(self) -> bytes:
        target = io.BytesIO()
        page = self.page
        document = BaseDocTemplate(
            target, pagesize=(page.width, page.height), invariant=1, lang="en-GB", initialFontName=REGULAR
        )
        plain = {"leftPadding": 0, "rightPadding": 0, "topPadding": 0, "bottomPadding": 0}
        room = page.height - _HEAD - _FOOT
        frame = Frame(page.left, _FOOT, TEXT_WIDTH, room, id="body", **plain)
        document.addPageTemplates([PageTemplate("sheet", [frame], onPage=self._draw_around)])
        document.build(self._story(room))
        return target.getvalue()

    def _story(self, room: float) -> list[Flowable]:
        sheet = self.sheet
        story: list[Flowable] = [Facts(sheet), CautionBox(), TapeTest(sheet)]
        earlier = {str(well): group for well, group in sheet.earlier.groupby("well", sort=False)}
        for well in sheet.wells.to_dict("records"):
            story += well_flowables(sheet, well, earlier.get(str(well["well"])), room)
        return [*story, *well_flowables(sheet, None, None, room)]

    def _draw_around(self, canvas: Any, _document: Any) -> None:
        self.count = max(self.count, canvas.getPageNumber())
        self._draw_head(canvas)
        self._draw_foot(canvas)

    def _draw_head(self, canvas: Any) -> None:
        sheet, page = self.sheet, self.page
        left, right = page.left, page.left + TEXT_WIDTH
        y = page.height - 11 * MM
        canvas.setFillColor(INK)
        counted = f"page {canvas.getPageNumber()} of {self.total or canvas.getPageNumber()}"
        width = text_width(counted, BOLD, _SIZE)
        draw_text(canvas, right - width, y, counted, BOLD, _SIZE)
        draw_text(canvas, left, y, shortened(_title(sheet), BOLD, 10.5, TEXT_WIDTH - width - 10), BOLD, 10.5)
        y -= 13.5
        start = left
        for label, value, end in (
            ("Crew", sheet.crew, left + 84 * MM),
            ("Date", sheet.starts_on.isoformat() if len(sheet.days) == 1 else "", left + 122 * MM),
            ("Weather", "", right),
        ):
            draw_text(canvas, start, y, label, REGULAR, _SIZE)
            x = start + text_width(label, REGULAR, _SIZE) + 4
            draw_text(canvas, x, y, shortened(value, BOLD, _SIZE, end - x - 8), BOLD, _SIZE)
            canvas.setStrokeColor(INK)
            canvas.setLineWidth(0.5)
            canvas.line(x, y - 2.5, end - 6, y - 2.5)
            start = end
        y -= 13
        draw_text(canvas, left, y, shortened(_reminder(sheet), REGULAR, _SIZE, TEXT_WIDTH), REGULAR, _SIZE)

    def _draw_foot(self, canvas: Any) -> None:
        page = self.page
        y = 7.5 * MM
        canvas.setFillColor(INK)
        made = f"record as known on {self.sheet.known_on.text}"
        width = text_width(made, REGULAR, 7)
        draw_text(canvas, page.left + TEXT_WIDTH - width, y, made, REGULAR, 7)
        draw_text(canvas, page.left, y, GOVERNS, REGULAR, 7)


def _title(sheet: FieldSheet) -> str:
    span = f"{sheet.starts_on}" if len(sheet.days) == 1 else f"{sheet.starts_on} to {sheet.ends_on}"
    return f"Field sheet · {sheet.site} · round {sheet.round} · {span}"


def _reminder(sheet: FieldSheet) -> str:
    tolerance = sheet.number(sheet.tolerance_m)
    return (
        f"All depths in {sheet.unit} below the measuring point. Read twice: readings must agree within {tolerance} "
        f"{sheet.unit}. Time: {sheet.time_zone}."
    )
