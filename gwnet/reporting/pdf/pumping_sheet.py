"""Sets the sheet of a pumping test as PDF: facts, cautions, rates and one table a well, to be filled in by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import (
    Flowable,
    KeepTogether,
    PageBreak,
    Paragraph,
    Spacer,
    Table,
)

from gwnet.analysis.fieldwork.pumping_sheet import TEST_CAUTIONS, PumpingSheet
from gwnet.reporting.pdf.fonts import BOLD, REGULAR, markup
from gwnet.reporting.pdf.sheet_pages import SIZE, SheetPages
from gwnet.reporting.pdf.styles import BAND, INK, MM, RULE, page_format

_HEAD: Final = 18 * MM
_ROW: Final = 6.6 * MM

_TEXT: Final = ParagraphStyle("test text", fontName=REGULAR, fontSize=SIZE, leading=11, textColor=INK, splitLongWords=1)
_TITLE: Final = ParagraphStyle("test title", parent=_TEXT, fontName=BOLD, fontSize=10, leading=13, spaceAfter=3)
_ITEM: Final = ParagraphStyle("test item", parent=_TEXT, leftIndent=9, bulletIndent=0, bulletFontName=REGULAR)

#: Empty rows for rates, and for readings beyond the schedule.
_RATE_ROWS: Final = 10
_SPARE_ROWS: Final = 4

_RATE_HEADINGS: Final = (
    *(("Time", 18), ("Rate [L/s]", 24), ("Method", 26), ("Volume [L]", 24), ("Seconds [s]", 24)),
    ("Meter reading, remarks", 54),
)
_PHASES: Final = {"before": "before", "pumping": "pumping", "recovery": "after stop"}


def pumping_sheet_pdf(sheet: PumpingSheet, *, page: str = "A4") -> bytes:
    """Set the sheet of a test.

    Parameters
    ----------
    sheet : gwnet.analysis.fieldwork.pumping_sheet.PumpingSheet
        Content.
    page : str, optional
        ``A4`` or ``Letter``.

    Returns
    -------
    bytes
        The document; the same content gives the same bytes.
    """
    return SheetPages(
        page=page_format(page),
        head=_HEAD,
        story=lambda _room: _story(sheet),
        heading=f"Pumping test · {sheet.site} · {sheet.test} · {sheet.well}",
        known_on=sheet.known_on,
        title=f"Pumping test sheet, {sheet.site}, {sheet.test}",
        subject="Pumping test: rates and readings to be filled in",
    ).render()


def _story(sheet: PumpingSheet) -> list[Flowable]:
    story: list[Flowable] = [Paragraph(markup("The test", BOLD), _TITLE)]
    story += [_line(label, text) for label, text in _facts(sheet) if text]
    story += [Spacer(1, 6), Paragraph(markup("Before anything is switched on", BOLD), _TITLE)]
    story += [Paragraph(markup(text), _ITEM, bulletText="•") for text in TEST_CAUTIONS]
    story += [Spacer(1, 6), Paragraph(markup("How to read", BOLD), _TITLE)]
    story += [Paragraph(markup(text), _ITEM, bulletText="•") for text in _how(sheet)]
    story.append(Spacer(1, 8))
    rates = [[""] * len(_RATE_HEADINGS) for _ in range(_RATE_ROWS)]
    title = Paragraph(
        markup(f"Rates of {sheet.well}: when the pump starts, at every change, when it stops", BOLD), _TITLE
    )
    story.append(KeepTogether([title, _grid([name for name, _ in _RATE_HEADINGS], _RATE_HEADINGS, rates)]))
    for well in sheet.wells.to_dict("records"):
        story += [PageBreak(), *_well(sheet, well)]
    return story


def _facts(sheet: PumpingSheet) -> list[tuple[str, str]]:
    hours = sheet.pumping_min / 60.0
    return [
        ("Kind:", f"{sheet.kind}, of well {sheet.well}"),
        ("Purpose:", sheet.purpose),
        ("Crew:", sheet.crew),
        ("Start:", f"{sheet.starts_at:%Y-%m-%d %H:%M}, local time ({sheet.time_zone}); {hours:.3g} h of pumping"),
        ("Wells:", ", ".join(f"{row.well} ({row.distance_m:.0f} m)" for row in sheet.wells.itertuples())),
    ]


def _how(sheet: PumpingSheet) -> tuple[str, ...]:
    return (
        "Set all watches alike. The minutes are a plan: write down the time at which you really read.",
        f"Depths in {sheet.unit} below the measuring point. Read the static level of every well before the start.",
        "While the level moves fast, hold the probe at a set depth and write down the time at which the water falls "
        "below it, or rises to it: the depth under “set depth”, and F for falling or R for rising.",
        "Start the schedule anew at every change of rate, and when the pump stops.",
        "Read the rate at every change and at least every hour; with a bucket, write down litres and seconds.",
    )


def _line(label: str, text: str) -> Paragraph:
    return Paragraph(f'<font name="{BOLD}">{markup(label, BOLD)}</font> {markup(text)}', _TEXT)


def _well(sheet: PumpingSheet, well: Mapping[str, Any]) -> list[Flowable]:
    """Return the table of one well: the planned moments, and boxes."""
    unit = sheet.unit
    columns = (
        *(("Planned [min]", 28), ("Time", 24), (f"Depth [{unit}]", 24), (f"Set depth [{unit}]", 26), ("F / R", 12)),
        *(("Tape", 16), ("Remarks", 40)),
    )
    rows = [
        [f"{_PHASES[phase]} {abs(minute):g}", *[""] * (len(columns) - 1)]
        for phase, minute in sheet.schedule[str(well["kind"])]
    ]
    rows += [[""] * len(columns) for _ in range(_SPARE_ROWS)]
    last = sheet.number(float(well["last_m"]))
    facts = [
        f"{well['distance_m']:.1f} m from {sheet.well}" if well["well"] != sheet.well else "the tested well",
        f"measuring point: {well['measuring_point']}" if well["measuring_point"] else "",
        f"last static depth {last} {unit} on {well['last_on']}" if last else "",
        f"HAZARDS: {well['hazards']}" if well["hazards"] else "",
    ]
    heading = Paragraph(markup(f"Well {well['well']}", BOLD), _TITLE)
    words = Paragraph(markup("; ".join(text for text in facts if text)), _TEXT)
    return [heading, words, Spacer(1, 4), _grid([name for name, _ in columns], columns, rows)]


def _grid(headings: Sequence[str], columns: Sequence[tuple[str, float]], rows: Sequence[Sequence[str]]) -> Table:
    """Return a table of boxes with its headings repeated on every page."""
    cells = [[Paragraph(markup(name, BOLD), _TEXT) for name in headings]]
    cells += [[Paragraph(markup(text), _TEXT) if text else "" for text in row] for row in rows]
    # The headings are as high as their lines; boxes are all of one height, to be written in.
    table = Table(cells, [width * MM for _, width in columns], [None, *[_ROW] * len(rows)], repeatRows=1)
    table.setStyle(
        [
            ("FONTNAME", (0, 0), (-1, -1), REGULAR),
            ("GRID", (0, 0), (-1, -1), 0.5, RULE),
            ("BACKGROUND", (0, 0), (-1, 0), BAND),
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ("LEFTPADDING", (0, 0), (-1, -1), 3),
            ("RIGHTPADDING", (0, 0), (-1, -1), 2),
            ("TOPPADDING", (0, 0), (-1, -1), 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
        ]
    )
    return table
