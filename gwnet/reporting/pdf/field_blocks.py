"""The parts of a printed field sheet: facts, cautions, tape test, and one block a well with boxes to write in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd
from reportlab.lib.colors import Color, HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import CondPageBreak, Flowable, Paragraph

from gwnet.analysis.fieldwork.field_sheet import CAUTIONS, FieldSheet
from gwnet.constants import REPEAT_TOLERANCE_M
from gwnet.reporting.pdf.blocks import shortened
from gwnet.reporting.pdf.fonts import BOLD, REGULAR, markup, text_width
from gwnet.reporting.pdf.styles import INK, MM, TEXT_WIDTH
from gwnet.reporting.pdf.tables import draw_text

#: Grey of a well's bar: light enough to copy, dark enough to be seen.
_BAR: Final[Color] = HexColor(0xDADFE2)

_TALL: Final = 10_000.0
_TEXT: Final = ParagraphStyle(
    "field text", fontName=REGULAR, fontSize=8.6, leading=10.8, textColor=INK, splitLongWords=1
)
_NUMBER: Final = ParagraphStyle("field number", parent=_TEXT, leading=10.2)
_ITEM: Final = ParagraphStyle("field item", parent=_TEXT, leftIndent=9, bulletIndent=0, bulletFontName=REGULAR)

#: Left part of a block for what must be read before the cap is opened, right part for numbers.
_LEFT: Final = 98 * MM
_RIGHT: Final = 68 * MM
_NAME: Final = 18.5 * MM

_BAR_HEIGHT: Final = 6.2 * MM
_BOX_HEIGHT: Final = 9.5 * MM
_STATUS_HEIGHT: Final = 10 * MM
_REMARKS_HEIGHT: Final = 8.8 * MM
_ENTRY_HEIGHT: Final = _BOX_HEIGHT + _STATUS_HEIGHT + _REMARKS_HEIGHT
_GAP: Final = 2.6 * MM

#: A well's name gets smaller to stand in this width, but not smaller than this.
_CODE_WIDTH: Final = 135 * MM
_SMALLEST_CODE: Final = 8.0

#: Texts of a well higher than this are set across the page and may run over it.
_MOST_TEXT: Final = 75 * MM

#: Boxes of one visit: label, whether a length, width.
_BOXES: Final = (
    ("Date", False, 20),
    ("Time", False, 16),
    ("Product", True, 23),
    ("Reading 1", True, 27),
    ("Reading 2", True, 27),
    ("Reading 3", True, 27),
    ("Bottom", True, 18),
    ("Tape", False, 12),
)


def _labelled(label: str, text: str) -> Paragraph:
    return Paragraph(f'<font name="{BOLD}">{markup(label, BOLD)}</font> {markup(text)}', _TEXT)


def _stacked(lines: Sequence[Paragraph], width: float) -> float:
    return float(sum(line.wrap(width, _TALL)[1] + 1.6 for line in lines))


class Facts(Flowable):  # type: ignore[misc]
    """What the round is, at the head of the first page."""

    def __init__(self, sheet: FieldSheet) -> None:
        super().__init__()
        facts = (
            ("Site:", sheet.site_name),
            ("Purpose:", sheet.purpose),
            ("Crew:", sheet.crew),
            ("Notes:", sheet.notes),
            ("Tape checks due:", "; ".join(sheet.tapes_due)),
            ("Wells:", f"{len(sheet.wells)}, in the order of the walk, least contaminated first"),
        )
        self.lines = [_labelled(label, text) for label, text in facts if text]
        self.spaceAfter = 5

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the facts."""
        self.width, self.height = TEXT_WIDTH, _stacked(self.lines, TEXT_WIDTH)
        return self.width, self.height

    def split(self, _available_width: float, available_height: float) -> list[Flowable]:
        """Set very long facts one by one, so that they may run over pages."""
        return list(self.lines) if self.height > available_height else []

    def draw(self) -> None:
        """Draw the facts."""
        y = self.height
        for line in self.lines:
            y -= line.height
            line.drawOn(self.canv, 0, y)
            y -= 1.6


class CautionBox(Flowable):  # type: ignore[misc]
    """The usual cautions, in a frame."""

    def __init__(self) -> None:
        super().__init__()
        self.lines = [Paragraph(markup(text), _ITEM, bulletText="•") for text in CAUTIONS]
        self.spaceAfter = 6

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the box."""
        self.width = TEXT_WIDTH
        self.height = _stacked(self.lines, TEXT_WIDTH - 12) + 22
        return self.width, self.height

    def draw(self) -> None:
        """Draw frame, title and cautions."""
        canvas = self.canv
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1.4)
        canvas.rect(0, 0, TEXT_WIDTH, self.height)
        canvas.setFillColor(INK)
        draw_text(canvas, 6, self.height - 12, "Before opening a well", BOLD, 9.4)
        y = self.height - 17
        for line in self.lines:
            y -= line.height
            line.drawOn(canvas, 6, y)
            y -= 1.6


class TapeTest(Flowable):  # type: ignore[misc]
    """Boxes for the test of the day's tapes beside a reference at two depths."""

    _ROWS: Final = 2
    _ROW: Final = 7.6 * MM
    _COLUMNS: Final = (
        ("Tape", 20),
        ("Reference", 22),
        ("1: tape", 24),
        ("1: reference", 24),
        ("2: tape", 24),
        ("2: reference", 24),
        ("Difference", 20),
        ("Good", 12),
    )

    def __init__(self, sheet: FieldSheet) -> None:
        super().__init__()
        limit = f"{sheet.number(REPEAT_TOLERANCE_M)} {sheet.unit}"
        self.lines = [
            _labelled(
                "Start of the day: test each tape beside the reference tape at two depths.",
                f"They must agree within {limit} (0.02 ft, USGS TM 1-A1 p. 35); a tape that does not stays out of use "
                "until it has been checked. A damaged, kinked or spliced tape is not used.",
            )
        ]
        self.unit = sheet.unit
        self.spaceAfter = 8

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the test."""
        self.width = TEXT_WIDTH
        self.height = _stacked(self.lines, TEXT_WIDTH) + 11 + self._ROWS * self._ROW
        return self.width, self.height

    def draw(self) -> None:
        """Draw the instruction and the boxes."""
        canvas = self.canv
        y = self.height - self.lines[0].height
        self.lines[0].drawOn(canvas, 0, y)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.6)
        x = 0.0
        for label, width in self._COLUMNS:
            words = f"{label} [{self.unit}]" if ":" in label else label
            canvas.setFillColor(INK)
            draw_text(canvas, x + 1.5, self._ROWS * self._ROW + 3, words, REGULAR, 6.6)
            for row in range(self._ROWS):
                canvas.rect(x, row * self._ROW, width * MM, self._ROW)
                if label == "Good":
                    _tick_box(canvas, x + width * MM / 2 - 4, row * self._ROW + self._ROW / 2 - 4, 8)
            x += width * MM


def _tick_box(canvas: Any, x: float, y: float, size: float) -> None:
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.8)
    canvas.rect(x, y, size, size)


def well_flowables(
    sheet: FieldSheet, well: Mapping[str, Any] | None, earlier: pd.DataFrame | None, room: float
) -> list[Flowable]:
    """Return the block of one well; a blank block where no well is given.

    Parameters
    ----------
    sheet : gwnet.analysis.fieldwork.field_sheet.FieldSheet
        The round.
    well : mapping or None
        Row of its wells.
    earlier : pandas.DataFrame or None
        Earlier depths of the well.
    room : float
        Height of a page's text [pt].

    Returns
    -------
    list of Flowable
        One block that stays together, or its parts where its texts are long.
    """
    texts = [] if well is None else _texts(sheet, well)
    numbers = [] if well is None else _numbers(sheet, well, earlier)
    heading = "" if well is None else f"{well['place']}"
    code = "" if well is None else str(well["well"])
    if _stacked(texts, _LEFT) <= _MOST_TEXT:
        return [WellBlock(sheet, heading, code, texts, numbers)]
    top = WellBlock(sheet, heading, code, [], numbers, entries=False)
    bottom = WellBlock(sheet, heading, code, [], [], repeated=True)
    # Not begun at the foot of a page: the name would be on one sheet, the hazards on the next.
    return [CondPageBreak(room * 0.4), top, *texts, bottom]


def _texts(sheet: FieldSheet, well: Mapping[str, Any]) -> list[Paragraph]:
    """Return what must be read before the cap is opened; hazards first."""
    code = str(well["well"])
    lines = (
        ("Well:", code if text_width(code, BOLD, _SMALLEST_CODE) > _CODE_WIDTH else ""),
        ("HAZARDS:", well["hazards"]),
        ("CONTAMINATION:", well["contamination"]),
        ("Access:", well["access_notes"]),
        (f"Measuring point ({well['access']}):", _point(sheet, well)),
        ("Notes:", well["notes"]),
        ("Also due:", well["due"]),
    )
    return [_labelled(label, str(text)) for label, text in lines if text]


def _numbers(sheet: FieldSheet, well: Mapping[str, Any], earlier: pd.DataFrame | None) -> list[tuple[str, str]]:
    """Return name and value of the numbers that help at the well."""
    unit = sheet.unit
    rows = []
    if earlier is not None:
        for level in earlier.to_dict("records"):
            depth = sheet.number(float(level["depth_to_water_m"]))
            shown = depth if level["status"] == "static" and depth else f"{depth} {level['status']}".strip()
            rows.append((f"{level['measured_on']}", shown))
    if not rows:
        rows.append(("Earlier", "no depth on record"))
    low, high = sheet.number(well["expected_from_m"]), sheet.number(well["expected_to_m"])
    count = int(well["expected_levels"])
    rows.append(
        ("Expected", f"{low} to {high} {unit} ({count} levels)")
        if low and high
        else ("Expected", sheet.expectation(well).removeprefix("No expectation: ").rstrip("."))
    )
    bottom = sheet.number(well["bottom_m"])
    rows.append(("Bottom", f"{bottom} {unit} ({well['bottom_source']})" if bottom else "not known"))
    top, base = sheet.number(well["screen_top_m"]), sheet.number(well["screen_bottom_m"])
    if top and base:
        rows.append(("Screen", f"{top} to {base} {unit}"))
    return rows


def _point(sheet: FieldSheet, well: Mapping[str, Any]) -> str:
    """Return where to read from: the mark, its height over the ground, and the other accesses."""
    height = sheet.number(well["height_above_ground_m"])
    # In a pit the mark is below ground; a minus sign is lost easily on a copy.
    side = "below" if height.startswith("-") else "above"
    parts = [well["measuring_point"] or "not described", height and f"{height.lstrip('-')} {sheet.unit} {side} ground"]
    others = f" Other accesses: {well['other_accesses']}." if well["other_accesses"] else ""
    return f"{', '.join(str(part).rstrip('.') for part in parts if part)}.{others}"


class WellBlock(Flowable):  # type: ignore[misc]
    """A well: bar with its name, texts beside numbers, and boxes to write in.

    Parameters
    ----------
    sheet : gwnet.analysis.fieldwork.field_sheet.FieldSheet
        Unit and statuses.
    place, code : str
        Place in the walk and name of the well; empty for a blank block.
    texts : list of Paragraph
        Texts of the left part.
    numbers : list of tuple of str
        Names and values of the right part.
    entries : bool
        Whether the boxes belong to the block.
    repeated : bool
        Whether the block goes on from an earlier one of the same well.
    """

    def __init__(
        self,
        sheet: FieldSheet,
        place: str,
        code: str,
        texts: list[Paragraph],
        numbers: list[tuple[str, str]],
        *,
        entries: bool = True,
        repeated: bool = False,
    ) -> None:
        super().__init__()
        self.unit, self.statuses, self.place, self.code = sheet.unit, sheet.statuses, place, code
        self.texts, self.entries, self.repeated = texts, entries, repeated
        # Names that begin with a digit are the days of earlier depths, which the new reading is compared with.
        self.numbers = [(_plain(name), _plain(value, bold=name[:1].isdigit())) for name, value in numbers]
        self.spaceAfter = _GAP if entries else 2

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the block."""
        self.width = TEXT_WIDTH
        self.text_height = max(_stacked(self.texts, _LEFT), self._numbers_height()) + (
            4 if self.texts or self.numbers else 0
        )
        self.height = _BAR_HEIGHT + self.text_height + (_ENTRY_HEIGHT if self.entries else 0)
        return self.width, self.height

    def _numbers_height(self) -> float:
        name_width = _NAME
        heights = [
            max(name.wrap(name_width, _TALL)[1], value.wrap(_RIGHT - name_width - 3, _TALL)[1])
            for name, value in self.numbers
        ]
        return float(sum(heights))

    def draw(self) -> None:
        """Draw the block from its bar down."""
        canvas = self.canv
        canvas.setStrokeColor(INK)
        canvas.setFillColor(_BAR)
        canvas.setLineWidth(1.0)
        top = self.height - _BAR_HEIGHT
        canvas.rect(0, top, TEXT_WIDTH, _BAR_HEIGHT, stroke=1, fill=1)
        self._draw_bar(top)
        self._draw_texts(top - 1.5)
        if self.entries:
            self._draw_entries()
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1.0)
        canvas.rect(0, 0, TEXT_WIDTH, self.height)

    def _draw_bar(self, bottom: float) -> None:
        canvas = self.canv
        canvas.setFillColor(INK)
        y = bottom + 5.2
        if not self.code:
            draw_text(canvas, 5, y, "Well that is not on the list, or a second visit:", REGULAR, 9)
            return
        draw_text(canvas, 5, y, self.place, REGULAR, 10)
        size = 13.0
        while size > _SMALLEST_CODE and text_width(self.code, BOLD, size) > _CODE_WIDTH:
            size -= 0.5
        draw_text(canvas, 12 * MM, y, shortened(self.code, BOLD, size, _CODE_WIDTH), BOLD, size)
        if self.repeated:
            words = "readings"
            draw_text(canvas, TEXT_WIDTH - 6 - text_width(words, REGULAR, 9), y, words, REGULAR, 9)

    def _draw_texts(self, top: float) -> None:
        canvas = self.canv
        y = top
        for line in self.texts:
            y -= line.height
            line.drawOn(canvas, 4, y)
            y -= 1.6
        y = top
        left = TEXT_WIDTH - _RIGHT
        for name, value in self.numbers:
            height = max(name.height, value.height)
            name.drawOn(canvas, left, y - name.height)
            value.drawOn(canvas, left + _NAME, y - value.height)
            y -= height

    def _draw_entries(self) -> None:
        canvas = self.canv
        canvas.setLineWidth(0.7)
        y = _ENTRY_HEIGHT - _BOX_HEIGHT
        x = 0.0
        for label, is_length, width in _BOXES:
            canvas.setStrokeColor(INK)
            canvas.rect(x, y, width * MM, _BOX_HEIGHT)
            canvas.setFillColor(INK)
            words = f"{label} [{self.unit}]" if is_length else label
            draw_text(canvas, x + 2, y + _BOX_HEIGHT - 7.2, words, REGULAR, 6.6)
            x += width * MM
        self._draw_statuses(_REMARKS_HEIGHT)
        canvas.setLineWidth(0.7)
        canvas.rect(0, 0, TEXT_WIDTH, _REMARKS_HEIGHT)
        words = "Remarks, and quality: good / suspect / estimate / poor"
        draw_text(canvas, 2, _REMARKS_HEIGHT - 7.2, words, REGULAR, 6.6)

    def _draw_statuses(self, bottom: float) -> None:
        canvas = self.canv
        canvas.setFillColor(INK)
        half = (len(self.statuses) + 1) // 2
        for line, words in enumerate((self.statuses[:half], self.statuses[half:])):
            widths = [text_width(word, REGULAR, 8.2) + 13 for word in words]
            gap = (TEXT_WIDTH - 8 - sum(widths)) / max(len(words) - 1, 1)
            x = 4.0
            y = bottom + _STATUS_HEIGHT - 11.5 - line * 13.2
            for word, width in zip(words, widths, strict=True):
                _tick_box(canvas, x, y - 1, 8)
                draw_text(canvas, x + 11, y, word, REGULAR, 8.2)
                x += width + gap


def _plain(text: str, *, bold: bool = False) -> Paragraph:
    face = BOLD if bold else REGULAR
    return Paragraph(f'<font name="{face}">{markup(text, face)}</font>', _NUMBER)
