"""Sets the field sheets of a gauging round as PDF, to be filled in by hand."""

from __future__ import annotations

from typing import Any

from reportlab.platypus import Flowable

from gwnet.analysis.fieldwork.field_sheet import FieldSheet
from gwnet.reporting.pdf.blocks import shortened
from gwnet.reporting.pdf.field_blocks import CautionBox, Facts, TapeTest, well_flowables
from gwnet.reporting.pdf.fonts import BOLD, REGULAR, text_width
from gwnet.reporting.pdf.sheet_pages import SIZE, SheetPages
from gwnet.reporting.pdf.styles import INK, MM, TEXT_WIDTH, page_format
from gwnet.reporting.pdf.tables import draw_text

_HEAD = 23 * MM


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
    return SheetPages(
        page=page_format(page),
        head=_HEAD,
        story=lambda room: _story(sheet, room),
        heading=_title(sheet),
        known_on=sheet.known_on,
        title=f"Field sheet, {sheet.site}, {sheet.round}",
        subject="Gauging round: readings to be filled in",
        draw_head=lambda canvas, y: _draw_head(canvas, sheet, page_format(page).left, y),
    ).render()


def _story(sheet: FieldSheet, room: float) -> list[Flowable]:
    story: list[Flowable] = [Facts(sheet), CautionBox(), TapeTest(sheet)]
    earlier = {str(well): group for well, group in sheet.earlier.groupby("well", sort=False)}
    for well in sheet.wells.to_dict("records"):
        story += well_flowables(sheet, well, earlier.get(str(well["well"])), room)
    return [*story, *well_flowables(sheet, None, None, room)]


def _draw_head(canvas: Any, sheet: FieldSheet, left: float, y: float) -> None:
    """Draw crew, date, weather and the reminder below the first line, which is at height ``y`` [pt]."""
    right = left + TEXT_WIDTH
    y -= 13.5
    start = left
    for label, value, end in (
        ("Crew", sheet.crew, left + 84 * MM),
        ("Date", sheet.starts_on.isoformat() if len(sheet.days) == 1 else "", left + 122 * MM),
        ("Weather", "", right),
    ):
        draw_text(canvas, start, y, label, REGULAR, SIZE)
        x = start + text_width(label, REGULAR, SIZE) + 4
        draw_text(canvas, x, y, shortened(value, BOLD, SIZE, end - x - 8), BOLD, SIZE)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.5)
        canvas.line(x, y - 2.5, end - 6, y - 2.5)
        start = end
    draw_text(canvas, left, y - 13, shortened(_reminder(sheet), REGULAR, SIZE, TEXT_WIDTH), REGULAR, SIZE)


def _title(sheet: FieldSheet) -> str:
    span = f"{sheet.starts_on}" if len(sheet.days) == 1 else f"{sheet.starts_on} to {sheet.ends_on}"
    return f"Field sheet · {sheet.site} · round {sheet.round} · {span}"


def _reminder(sheet: FieldSheet) -> str:
    tolerance = sheet.number(sheet.tolerance_m)
    return (
        f"All depths in {sheet.unit} below the measuring point. Read twice: readings must agree within {tolerance} "
        f"{sheet.unit}. Time: {sheet.time_zone}."
    )
