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
TEXT_WIDTH: Final = 170.0 * MM
HEADER_HEIGHT: Final = 19.0 * MM
FOOTER_HEIGHT: Final = 17.0 * MM

INK: Final[Color] = HexColor(0x1B2430)
QUIET: Final[Color] = HexColor(0x5A6672)
ACCENT: Final[Color] = HexColor(0x17495C)
RULE: Final[Color] = HexColor(0xB4BEC6)
HAIR: Final[Color] = HexColor(0xDCE2E6)
BAND: Final[Color] = HexColor(0xEEF2F4)
WARN: Final[Color] = HexColor(0x8A3B12)
WARN_BAND: Final[Color] = HexColor(0xFBF3EC)

#: Sizes and leading inside tables.
CELL_SIZE: Final = 7.6
CELL_LEADING: Final = 9.8
CELL_PAD_X: Final = 3.2
CELL_PAD_Y: Final = 1.9
NOTE_SIZE: Final = 7.0
NOTE_LEADING: Final = 9.2
CAPTION_SIZE: Final = 8.4
CAPTION_LEADING: Final = 11.2


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
        return self.height - HEADER_HEIGHT - FOOTER_HEIGHT - 2 * MM


def page_format(name: str) -> PageFormat:
    """Return the measures of a page format by its name, ``A4`` or ``Letter``."""
    width, height = LETTER if name == "Letter" else A4
    return PageFormat(name, float(width), float(height))


def _style(name: str, size: float, leading: float, **more: object) -> ParagraphStyle:
    settings: dict[str, object] = {
        "fontName": REGULAR,
        "textColor": INK,
        "allowWidows": 0,
        "allowOrphans": 0,
        "splitLongWords": 1,
        "bulletFontName": REGULAR,
        **more,
    }
    return ParagraphStyle(name, fontSize=size, leading=leading, **settings)


BODY: Final = _style("body", 9.2, 13.2, spaceAfter=6)
LEAD: Final = _style("lead", 10.4, 15.0, spaceAfter=8)
SMALL: Final = _style("small", 8.0, 11.2, spaceAfter=5, textColor=QUIET)
BULLET: Final = _style("bullet", 9.2, 13.2, spaceAfter=3, leftIndent=12, bulletIndent=2)
SECTION: Final = _style("section", 15.5, 19, fontName=BOLD, textColor=ACCENT, spaceBefore=16, spaceAfter=7)
HEADING: Final = _style("heading", 10.6, 14, fontName=BOLD, spaceBefore=9, spaceAfter=4)
CAPTION: Final = _style("caption", CAPTION_SIZE, CAPTION_LEADING)
NOTE: Final = _style("note", NOTE_SIZE, NOTE_LEADING, textColor=QUIET)
WARN_TITLE: Final = _style("warn title", 9.2, 12.4, fontName=BOLD, textColor=WARN, spaceAfter=2)
WARN_ITEM: Final = _style("warn item", 8.4, 11.8, spaceAfter=2.4, leftIndent=9, bulletIndent=0)
COVER_TITLE: Final = _style("cover title", 27, 33, fontName=BOLD, textColor=ACCENT, spaceAfter=8)
COVER_SITE: Final = _style("cover site", 15, 20, spaceAfter=2)
COVER_PERIOD: Final = _style("cover period", 12.5, 17, textColor=QUIET, spaceAfter=14)
CONTENTS_TITLE: Final = _style("contents title", 15.5, 19, fontName=BOLD, textColor=ACCENT, spaceAfter=10)
FACT_NAME: Final = _style("fact name", 8.6, 12.2, textColor=QUIET)
FACT_VALUE: Final = _style("fact value", 8.6, 12.2)
STATEMENT: Final = _style("statement", 9.2, 13.2, spaceAfter=8, fontName=ITALIC)

TONES: Final = {"body": BODY, "lead": LEAD, "small": SMALL}
