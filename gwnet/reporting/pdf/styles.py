"""Measures, colours and paragraph styles of the printed report; lengths in points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle

from gwnet.reporting.pdf.fonts import BOLD, ITALIC, REGULAR

MM: Final = 72.0 / 25.4

#: Width of the text on either page format; figures are drawn for it.
#: It leaves margins of 18 mm on A4 and of 21 mm on Letter, so that a report is paged alike across.
TEXT_WIDTH: Final = 174.0 * MM
HEADER_HEIGHT: Final = 20.0 * MM
FOOTER_HEIGHT: Final = 17.0 * MM

INK: Final[Color] = HexColor(0x1F2830)
QUIET: Final[Color] = HexColor(0x4C5863)
ACCENT: Final[Color] = HexColor(0x12527A)
FOOT: Final[Color] = HexColor(0x69747E)
RULE: Final[Color] = HexColor(0xAEB8C0)
HAIR: Final[Color] = HexColor(0xE4E9EC)
BAND: Final[Color] = HexColor(0xF1F4F6)
FALL: Final[Color] = HexColor(0xC3D3DE)
TREND: Final[Color] = HexColor(0x6C8597)
PAPER: Final[Color] = HexColor(0xFFFFFF)
WARN: Final[Color] = HexColor(0xA8410A)
WARN_BAND: Final[Color] = HexColor(0xFBF3EC)

#: Sizes and leading inside tables.
CELL_SIZE: Final = 8.0
CELL_LEADING: Final = 11.0
CELL_PAD_X: Final = 2.6
CELL_PAD_Y: Final = 1.5
DENSE_PAD_Y: Final = 0.35
NOTE_SIZE: Final = 8.0
NOTE_LEADING: Final = 11.0
CAPTION_SIZE: Final = 8.0
CAPTION_LEADING: Final = 11.0


@dataclass(frozen=True, slots=True)
class PageFormat:
    """A page and its margins.

    Parameters
    ----------
    name : str
        ``A4`` or ``Letter``.
    width, height : float
        Size of the sheet [pt].
    """

    name: str
    width: float
    height: float

    @property
    def left(self) -> float:
        """Left margin; the text is in the middle of the sheet."""
        return (self.width - TEXT_WIDTH) / 2

    @property
    def top(self) -> float:
        """Height of the upper edge of the text over the lower edge of the sheet."""
        return self.height - HEADER_HEIGHT

    @property
    def text_height(self) -> float:
        """Height of the text."""
        return self.height - HEADER_HEIGHT - FOOTER_HEIGHT


def page_format(name: str) -> PageFormat:
    """Return the measures of a page format by its name, ``A4`` or ``Letter``."""
    width, height = LETTER if name == "Letter" else A4
    return PageFormat(name, float(width), float(height))


def _style(name: str, size: float, leading: float, **more: object) -> ParagraphStyle:
    settings: dict[str, object] = {
        "fontName": REGULAR,
        "textColor": INK,
        # No single line of a paragraph alone at the head or the foot of a page.
        "allowWidows": 0,
        "allowOrphans": 0,
        "splitLongWords": 1,
        "bulletFontName": REGULAR,
        **more,
    }
    return ParagraphStyle(name, fontSize=size, leading=leading, **settings)


BODY: Final = _style("body", 9.0, 12.8, spaceAfter=5)
LEAD: Final = _style("lead", 9.0, 12.8, spaceAfter=7)
SMALL: Final = _style("small", 8.0, 11.0, spaceAfter=5, textColor=QUIET)
BULLET: Final = _style("bullet", 9.0, 12.8, spaceAfter=3, leftIndent=12, bulletIndent=2)
SECTION: Final = _style("section", 16, 20, fontName=BOLD, textColor=ACCENT, spaceBefore=20, spaceAfter=7)
HEADING: Final = _style("heading", 11, 14, fontName=BOLD, textColor=ACCENT, spaceBefore=13, spaceAfter=4)
CAPTION: Final = _style("caption", CAPTION_SIZE, CAPTION_LEADING)
NOTE: Final = _style("note", NOTE_SIZE, NOTE_LEADING, textColor=QUIET)
WARN_TITLE: Final = _style("warn title", 9.0, 12.4, fontName=BOLD, textColor=WARN, spaceAfter=2)
WARN_ITEM: Final = _style("warn item", 8.0, 11.0, spaceAfter=2.4, leftIndent=9, bulletIndent=0)
COVER_TITLE: Final = _style("cover title", 23, 28, fontName=BOLD, textColor=ACCENT, spaceAfter=8)
COVER_SITE: Final = _style("cover site", 13, 17, spaceAfter=3)
FACT_NAME: Final = _style("fact name", 8.0, 10.0, textColor=QUIET)
FACT_VALUE: Final = _style("fact value", 8.0, 10.0)
STATEMENT: Final = _style("statement", 9.0, 12.8, spaceAfter=8, fontName=ITALIC)

METHOD: Final = _style("method", 8.0, 11.0, spaceAfter=4)

TONES: Final = {"body": BODY, "lead": LEAD, "small": SMALL, "note": METHOD}
