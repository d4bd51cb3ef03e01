"""Sets the blocks of a report other than tables: headings, text, cautions, facts, figures, contents, sign-off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from reportlab.platypus import Flowable, Paragraph
from reportlab.platypus.doctemplate import IndexingFlowable

from gwnet.reporting.content import FigureSlot, SignOff
from gwnet.reporting.pdf.figures import Placement
from gwnet.reporting.pdf.fonts import BOLD, REGULAR, markup, text_width
from gwnet.reporting.pdf.styles import (
    ACCENT,
    CELL_SIZE,
    FACT_NAME,
    FACT_VALUE,
    HEADING,
    INK,
    MM,
    QUIET,
    RULE,
    SECTION,
    STATEMENT,
    TEXT_WIDTH,
    WARN,
    WARN_BAND,
    WARN_ITEM,
    WARN_TITLE,
)
from gwnet.reporting.pdf.tables import caption_paragraph, draw_text
from gwnet.reporting.pdf.tags import TaggedParagraph, artifact, content, element, reserve

_TALL: Final = 10_000.0
_MOST_IN_THREE: Final = 18  # entries of the contents that three columns may hold
_FITTED: Final = (8.0, 7.5, 7.0)  # sizes of a line that must not be longer than its room


class Ledger(IndexingFlowable):  # type: ignore[misc]
    """What one pass over the pages learns for the next: pages of headings, number of pages, places of figures.

    It is in the story as an invisible flowable, and the document is set again until nothing changes.
    """

    def __init__(self) -> None:
        super().__init__()
        self.pages: dict[str, int] = {}
        self.total = 0
        self.placements: list[Placement] = []
        self.known_pages: dict[str, int] = {}
        self.known_total = 0

    def isIndexing(self) -> bool:  # noqa: N802 - name given by the library
        """Tell the library that the document must be set until this is satisfied."""
        return True

    def isSatisfied(self) -> bool:  # noqa: N802
        """Tell whether the last pass changed nothing."""
        return self.pages == self.known_pages and self.total == self.known_total

    def beforeBuild(self) -> None:  # noqa: N802
        """Keep what the last pass learned and start afresh."""
        # Every pass draws everything again: without a fresh start each figure would be placed once a pass.
        self.known_pages, self.pages = self.pages, {}
        self.known_total, self.total = self.total, 0
        self.placements = []

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Take no room."""
        return 0.0, 0.0

    def draw(self) -> None:
        """Draw nothing."""


class HeadingFlow(Flowable):  # type: ignore[misc]
    """A heading that is a bookmark and a target of the table of contents; that of a section may be small."""

    def __init__(self, text: str, key: str, level: int, ledger: Ledger, *, is_small: bool = False) -> None:
        super().__init__()
        self.text, self.key, self.level, self.ledger = text, key, level, ledger
        style = SECTION if level == 0 and not is_small else HEADING
        self.spaceBefore, self.spaceAfter = style.spaceBefore, style.spaceAfter
        self._paragraph = Paragraph(markup(text, BOLD), style)

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the heading."""
        _, height = self._paragraph.wrap(TEXT_WIDTH, _TALL)
        self.width, self.height = TEXT_WIDTH, height
        return self.width, self.height

    def draw(self) -> None:
        """Draw the heading and set its bookmark."""
        canvas = self.canv
        # Viewers put the target at the upper edge of the window; a little above it the heading is not cut.
        canvas.bookmarkHorizontal(self.key, 0, self.height + 12)
        canvas.addOutlineEntry(self.text, self.key, self.level, closed=True)
        self.ledger.pages[self.key] = canvas.getPageNumber()
        # H1 is the title of the document.
        with content(canvas, f"H{self.level + 2}"):
            self._paragraph.drawOn(canvas, 0, 0)


class ContentsFlow(Flowable):  # type: ignore[misc]
    """The contents in four columns, or three where an entry is too long for four; every entry is a link to its page."""

    _LINE, _GAP, _PAD = 12.0, 3.0 * MM, 3.0

    def __init__(self, entries: Sequence[tuple[str, str]], ledger: Ledger) -> None:
        super().__init__()
        self.entries, self.ledger = tuple(entries), ledger
        self.spaceBefore = 3
        longest = max((text_width(text, REGULAR, _FITTED[-1]) for text, _ in entries), default=0.0)
        is_long = longest > self._width(4) - text_width("888", REGULAR, CELL_SIZE) - self._PAD
        self._columns = 3 if is_long and len(entries) <= _MOST_IN_THREE else 4

    def _width(self, columns: int) -> float:
        return (TEXT_WIDTH - (columns - 1) * self._GAP) / columns

    def _rows(self) -> int:
        return -(-len(self.entries) // self._columns)

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the list."""
        self.width, self.height = TEXT_WIDTH, self._rows() * self._LINE + 6.0
        return self.width, self.height

    def draw(self) -> None:
        """Draw the entries with their page numbers, column by column."""
        with artifact(self.canv):
            self.canv.setStrokeColor(RULE)
            self.canv.setLineWidth(0.5)
            self.canv.line(0, self.height, TEXT_WIDTH, self.height)
        width = self._width(self._columns)
        for place, (text, key) in enumerate(self.entries):
            column, row = divmod(place, self._rows())
            x, y = column * (width + self._GAP), self.height - 6.0 - (row + 1) * self._LINE
            with element(self.canv, "TOC", key="contents"), content(self.canv, "TOCI"):
                self._draw_entry(x, y + 4.0, width, text, key)
            # The default border of a link is 1 pt wide (ISO 32000-1, table 164; from memory).
            self.canv.linkRect("", key, (x, y, x + width, y + self._LINE), relative=1, Border="[0 0 0]")

    def _draw_entry(self, x: float, y: float, width: float, text: str, key: str) -> None:
        canvas = self.canv
        # Of the pass before: the headings come after the contents, so this pass does not know their pages yet.
        page = str(self.ledger.known_pages.get(key, ""))
        page_width = text_width(page, REGULAR, CELL_SIZE)
        canvas.setFillColor(INK)
        draw_fitted(canvas, x, y, text, width - page_width - self._PAD)
        canvas.setFillColor(QUIET)
        draw_text(canvas, x + width - page_width, y, page, REGULAR, CELL_SIZE)


class Boxed(Flowable):  # type: ignore[misc]
    """A caution: a tinted box with a bar at its left edge that may run over a page."""

    _PAD = 7.0

    def __init__(self, title: str, items: Sequence[str], paragraphs: list[Paragraph] | None = None) -> None:
        super().__init__()
        self._lines = paragraphs or [
            TaggedParagraph(markup(title, BOLD), WARN_TITLE),
            *(TaggedParagraph(markup(item), WARN_ITEM, bulletText="•") for item in items),
        ]
        self.spaceBefore, self.spaceAfter = 6, 10

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the box."""
        inner = TEXT_WIDTH - 2 * self._PAD - 3
        self.width = TEXT_WIDTH
        self.height = 2 * self._PAD - 2
        for line in self._lines:
            self.height += line.wrap(inner, _TALL)[1] + line.style.spaceAfter
        return self.width, self.height

    def split(self, _available_width: float, available_height: float) -> list[Flowable]:
        """Cut the box between two of its texts; the title is never alone."""
        used, count = 2 * self._PAD, 0
        for line in self._lines:
            # The library measures a flowable before it cuts it, so each text has its height already.
            used += line.height + line.style.spaceAfter
            if used > available_height:
                break
            count += 1
        if count < 2 or count >= len(self._lines):
            return []
        return [Boxed("", (), self._lines[:count]), Boxed("", (), self._lines[count:])]

    def draw(self) -> None:
        """Draw the box."""
        canvas = self.canv
        with artifact(canvas):
            canvas.setFillColor(WARN_BAND)
            canvas.rect(0, 0, TEXT_WIDTH, self.height, stroke=0, fill=1)
            canvas.setFillColor(WARN)
            canvas.rect(0, 0, 2.2, self.height, stroke=0, fill=1)
        y = self.height - self._PAD
        for line in self._lines:
            y -= line.height
            line.drawOn(canvas, self._PAD + 3, y)
            y -= line.style.spaceAfter


class FactsFlow(Flowable):  # type: ignore[misc]
    """Pairs of name and value in two columns."""

    _NAME_WIDTH = 42 * MM

    def __init__(self, pairs: Sequence[tuple[str, str]]) -> None:
        super().__init__()
        self.pairs = tuple(pairs)
        self._lines = [
            (TaggedParagraph(markup(name), FACT_NAME), TaggedParagraph(markup(value), FACT_VALUE))
            for name, value in pairs
        ]
        self.spaceBefore, self.spaceAfter = 4, 10

    def _heights(self) -> list[float]:
        return [
            max(name.wrap(self._NAME_WIDTH - 8, _TALL)[1], value.wrap(TEXT_WIDTH - self._NAME_WIDTH, _TALL)[1]) + 4.2
            for name, value in self._lines
        ]

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the list."""
        self.width, self.height = TEXT_WIDTH, sum(self._heights()) + 1
        return self.width, self.height

    def split(self, _available_width: float, available_height: float) -> list[Flowable]:
        """Cut the list between two pairs."""
        used, count = 1.0, 0
        for height in self._heights():
            used += height
            if used > available_height:
                break
            count += 1
        if count in (0, len(self.pairs)):
            return []
        return [FactsFlow(self.pairs[:count]), FactsFlow(self.pairs[count:])]

    def draw(self) -> None:
        """Draw the pairs, a hairline above each."""
        canvas, y = self.canv, self.height
        for (name, value), height in zip(self._lines, self._heights(), strict=True):
            self._rule(y)
            name.drawOn(canvas, 0, y - 1.6 - name.height)
            value.drawOn(canvas, self._NAME_WIDTH, y - 1.6 - value.height)
            y -= height
        self._rule(y)

    def _rule(self, y: float) -> None:
        with artifact(self.canv):
            self.canv.setStrokeColor(RULE)
            self.canv.setLineWidth(0.35)
            self.canv.line(0, y, TEXT_WIDTH, y)


class FigureFlow(Flowable):  # type: ignore[misc]
    """A figure and its caption, kept together; the picture is put in place when the document is finished."""

    _GAP = 4.0

    def __init__(
        self, figure: FigureSlot, size: tuple[float, float], most_height: float, ledger: Ledger, level: int
    ) -> None:
        super().__init__()
        self.figure, self.ledger, self.level = figure, ledger, level
        self.spaceBefore, self.spaceAfter = 6, 14
        self._caption = caption_paragraph("Figure", figure.number, figure.caption)
        self._caption_height = self._caption.wrap(TEXT_WIDTH, _TALL)[1] + self._GAP if figure.captioned else 0.0
        # A caption as high as the page would leave a negative scale for the picture.
        room = max(most_height - self._caption_height, 40.0)
        # Never larger: letters and lines of a figure are drawn in the sizes of print.
        self._scale = min(1.0, TEXT_WIDTH / size[0], room / size[1])
        self._picture = (size[0] * self._scale, size[1] * self._scale)

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of picture and caption."""
        self.width = TEXT_WIDTH
        self.height = self._picture[1] + self._caption_height
        return self.width, self.height

    def draw(self) -> None:
        """Draw the caption and note where the picture goes."""
        x, y = self.canv.absolutePosition(0, 0)
        picture_x = x + (TEXT_WIDTH - self._picture[0]) / 2
        picture_y = y + self._caption_height
        for place, title in enumerate(self.figure.bookmarks):
            key = f"figure-{self.figure.number}-{place}"
            self.canv.bookmarkHorizontal(key, 0, self.height * (1 - place / len(self.figure.bookmarks)) + 8)
            self.canv.addOutlineEntry(title, key, self.level, closed=True)
        page = self.canv.getPageNumber() - 1
        box = (picture_x, picture_y, picture_x + self._picture[0], picture_y + self._picture[1])
        with element(self.canv, "Figure", alt=self.figure.alt):
            mark = reserve(self.canv, box=box)
        self.ledger.placements.append(Placement(self.figure.key, page, picture_x, picture_y, self._scale, mark))
        if self.figure.captioned:
            self._caption.drawOn(self.canv, 0, 0)


class SignOffFlow(Flowable):  # type: ignore[misc]
    """The block where the people answering for the report sign, kept on one page."""

    _LINE = 9.6 * MM
    _LABEL = 27 * MM

    def __init__(self, block: SignOff) -> None:
        super().__init__()
        self.block = block
        self.spaceBefore, self.spaceAfter = 8, 8
        self._statement = TaggedParagraph(markup(block.statement), STATEMENT)
        self._columns = min(2, max(1, len(block.parties)))

    def _party_height(self, index: int) -> float:
        return 16 + len(self.block.parties[index][1]) * self._LINE

    def _row_heights(self) -> list[float]:
        count = len(self.block.parties)
        return [
            max(self._party_height(index) for index in range(start, min(start + self._columns, count))) + 10
            for start in range(0, count, self._columns)
        ]

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the block."""
        _, self._statement_height = self._statement.wrap(TEXT_WIDTH, _TALL)
        self.width = TEXT_WIDTH
        self.height = self._statement_height + 10 + sum(self._row_heights())
        return self.width, self.height

    def draw(self) -> None:
        """Draw the statement and the lines to be filled in."""
        y = self.height - self._statement_height
        self._statement.drawOn(self.canv, 0, y)
        y -= 10
        gap = 10 * MM
        width = (TEXT_WIDTH - gap * (self._columns - 1)) / self._columns
        for row, height in enumerate(self._row_heights()):
            for column in range(self._columns):
                index = row * self._columns + column
                if index < len(self.block.parties):
                    with content(self.canv, "P"):
                        self._draw_party(index, column * (width + gap), y, width)
            y -= height

    def _draw_party(self, index: int, x: float, top: float, width: float) -> None:
        role, fields = self.block.parties[index]
        canvas = self.canv
        canvas.setFillColor(ACCENT)
        draw_text(canvas, x, top - 10, shortened(role, BOLD, 9.2, width), BOLD, 9.2)
        y = top - 16
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.6)
        for label, value in fields:
            y -= self._LINE
            canvas.setFillColor(QUIET)
            draw_text(canvas, x, y + 3, label, REGULAR, CELL_SIZE)
            canvas.setFillColor(INK)
            shown = shortened(value, REGULAR, 9.0, width - self._LABEL)
            draw_text(canvas, x + self._LABEL, y + 3, shown, REGULAR, 9.0)
            canvas.line(x + self._LABEL, y, x + width, y)


def draw_fitted(canvas: Any, x: float, y: float, text: str, width: float) -> None:
    """Draw a line of text in the largest of the sizes that hold it; its end is cut where none does."""
    size = next((size for size in _FITTED if text_width(text, REGULAR, size) <= width), _FITTED[-1])
    draw_text(canvas, x, y, shortened(text, REGULAR, size, width), REGULAR, size)


def shortened(text: str, face: str, size: float, width: float) -> str:
    """Return a text, ended with an ellipsis where it is wider than the room for it."""
    text = " ".join(text.split())
    if text_width(text, face, size) <= width:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if text_width(text[:middle].rstrip() + "…", face, size) <= width:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + "…"
