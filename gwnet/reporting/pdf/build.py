"""Builds the pages: turns content into flowables, draws header and footer, sets the document until it is stable."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    PageTemplate,
    Paragraph,
)
from reportlab.platypus import PageBreak as NewPage
from reportlab.platypus.doctemplate import LayoutError

from gwnet.errors import ReportError
from gwnet.reporting.content import (
    Beside,
    Block,
    Bullets,
    Caution,
    Cover,
    Facts,
    FigureSlot,
    FirmBlock,
    Heading,
    PageBreak,
    PageTitle,
    Report,
    Results,
    Section,
    SignOff,
    Table,
)
from gwnet.reporting.content import Paragraph as Paragraph_
from gwnet.reporting.pdf.blocks import (
    Boxed,
    ContentsFlow,
    FactsFlow,
    FigureFlow,
    HeadingFlow,
    Ledger,
    SignOffFlow,
    shortened,
)
from gwnet.reporting.pdf.cover import BesideFlow, ResultsFlow, fitted_beside
from gwnet.reporting.pdf.figures import Placement, figure_size
from gwnet.reporting.pdf.firm import FirmFlow
from gwnet.reporting.pdf.fonts import BOLD, REGULAR, markup, register_fonts, text_width
from gwnet.reporting.pdf.styles import (
    BULLET,
    COVER_SITE,
    COVER_TITLE,
    FOOT,
    FOOTER_HEIGHT,
    INK,
    MM,
    QUIET,
    RULE,
    TEXT_WIDTH,
    TONES,
    PageFormat,
    page_format,
)
from gwnet.reporting.pdf.tables import TableFlow, draw_text, table_flowables
from gwnet.reporting.pdf.tags import Element, ItemParagraph, TaggedCanvas, TaggedParagraph, TitleParagraph, artifact

_SMALL: Final = 8.0
_HEADINGS: Final = 75.0  # room that a figure leaves for the headings above it
_TITLE: Final = 40.0  # the same for one under the title of its page


class BuiltPages:
    """The pages without their figures, and where the figures go."""

    def __init__(
        self,
        content: bytes,
        placements: Sequence[Placement],
        figures: dict[str, bytes],
        pages: int,
        structure: Element | None,
    ) -> None:
        self.content = content
        self.placements = tuple(placements)
        self.figures = figures
        self.pages = pages
        self.structure = structure


def build_pages(report: Report) -> BuiltPages:
    """Set a numbered report on pages.

    Parameters
    ----------
    report : Report
        Content, numbered by `gwnet.reporting.content.numbered`.

    Returns
    -------
    BuiltPages
        PDF without figures, the figures and their places.

    Raises
    ------
    ReportError
        If a part cannot be set on a page of this format or a figure cannot be used.
    """
    return _Builder(report).build()


def fit_cover(report: Report) -> Report:
    """Return a report whose key map takes the height that results, particulars and contents leave on the first page.

    Parameters
    ----------
    report : Report
        Content; its figures need not be drawn.
    """
    register_fonts()
    room = _Builder(report).room_beside()
    blocks = (fitted_beside(block, room) if isinstance(block, Beside) else block for block in report.cover.blocks)
    return replace(report, cover=Cover(tuple(blocks)))


def _entries(sections: Sequence[Section]) -> list[tuple[str, str]]:
    """Return the contents: text and key of the heading."""
    entries = []
    for number, section in enumerate(sections, start=1):
        is_titled = bool(section.blocks) and isinstance(section.blocks[0], PageTitle)
        # a sentence needs no entry
        if not is_titled and any(not isinstance(block, Paragraph_) for block in section.blocks):
            entries.append((section.title, f"section-{number}"))
        entries += [
            (block.entry or block.text, f"section-{number}-{index}")
            for index, block in enumerate(section.blocks)
            if isinstance(block, PageTitle) and block.entry != ""
        ]
    return entries


class _Builder:
    def __init__(self, report: Report) -> None:
        self.report = report
        self.format: PageFormat = page_format(report.page)
        self.ledger = Ledger()
        self.figures: dict[str, bytes] = {}
        self.depth = 0
        self.canvas: TaggedCanvas | None = None

    def _new_canvas(self, *args: Any, **kwargs: Any) -> TaggedCanvas:
        """Return the canvas of one pass; the last one is that of the document."""
        self.canvas = TaggedCanvas(*args, **kwargs)
        return self.canvas

    def build(self) -> BuiltPages:
        target = io.BytesIO()
        document = self._document(target)
        story = self._story()
        try:
            document.multiBuild(story, maxPasses=6, canvasmaker=self._new_canvas)
        except LayoutError as error:
            raise ReportError(
                "A part of the report does not fit on a page.", fix="Shorten the longest text or caption."
            ) from error
        structure = None if self.canvas is None else self.canvas.structure
        return BuiltPages(target.getvalue(), self.ledger.placements, self.figures, self.ledger.total, structure)

    def _document(self, target: io.BytesIO) -> BaseDocTemplate:
        page = self.format
        document = BaseDocTemplate(
            target,
            pagesize=(page.width, page.height),
            invariant=1,
            lang="en-GB",
            initialFontName=REGULAR,
            title=self.report.title,
            author=self.report.author,
        )
        plain = {"leftPadding": 0, "rightPadding": 0, "topPadding": 0, "bottomPadding": 0}
        body = Frame(page.left, FOOTER_HEIGHT, TEXT_WIDTH, page.text_height, id="body", **plain)
        document.addPageTemplates([PageTemplate("body", [body], onPageEnd=self._draw_page)])
        return document

    def _story(self) -> list[Flowable]:
        sections: list[Flowable] = []
        for number, section in enumerate(self.report.sections, start=1):
            sections.extend(self._section(section, str(number)))
        return [self.ledger, *self._cover(self.report.cover.blocks), NewPage(), *sections]

    def _cover(self, blocks: Sequence[Block]) -> list[Flowable]:
        """Return titles, blocks and contents."""
        flowables: list[Flowable] = [
            TitleParagraph(markup(self.report.site, BOLD), COVER_TITLE),
            TaggedParagraph(markup(f"{self.report.title}, {self.report.period.partition(' (')[0]}"), COVER_SITE),
        ]
        for block in blocks:
            flowables.extend(self._block(block))
        if self.report.contents and self.report.sections:
            flowables.append(ContentsFlow(_entries(self.report.sections), self.ledger))
        return flowables

    def room_beside(self) -> float:
        """Return the height that the rest of the cover leaves for its figure [pt]."""
        room = self.format.text_height
        for flowable in self._cover([block for block in self.report.cover.blocks if not isinstance(block, Beside)]):
            _, height = flowable.wrap(TEXT_WIDTH, room)
            room -= height + flowable.getSpaceBefore() + flowable.getSpaceAfter()
        return room

    def _section(self, section: Section, number: str) -> list[Flowable]:
        key = f"section-{number}"
        flowables: list[Flowable] = []
        start = 0 if section.new_page and number != "1" else None
        self.depth = 1
        headings: list[HeadingFlow] = []
        if not section.blocks or not isinstance(section.blocks[0], PageTitle):
            headings.append(HeadingFlow(section.title, key, 0, self.ledger))
        for index, block in enumerate(section.blocks):
            if isinstance(block, PageTitle):
                if index:
                    flowables = [*self._on_one_page(flowables, start), *headings]
                    start = len(flowables)
                headings = [HeadingFlow(block.text, f"{key}-{index}", 0, self.ledger)]
            elif isinstance(block, Heading):
                headings.append(self._heading(block, key, index))
            else:
                after = section.blocks[index + 1 : index + 3]
                flowables.extend(self._kept(headings, self._block(block), self._height_after(block, after)))
                headings = []
        return [*self._on_one_page(flowables, start), *headings]

    def _on_one_page(self, flowables: list[Flowable], start: int | None) -> list[Flowable]:
        """Return flowables of which those from a place on start a page, unless they fit on the rest of the last one."""
        if start is None or start == len(flowables):
            return flowables
        needed = 0.0
        for flowable in flowables[start:]:
            if isinstance(flowable, NewPage):
                needed = self.format.text_height
                break
            if not isinstance(flowable, CondPageBreak):
                _, height = flowable.wrap(TEXT_WIDTH, self.format.text_height)
                needed += flowable.getSpaceBefore() + height + flowable.getSpaceAfter()
        room = CondPageBreak(min(needed, self.format.text_height))
        return [*flowables[:start], room, *flowables[start:]]

    def _heading(self, block: Heading, section: str, index: int) -> HeadingFlow:
        key = f"{section}-{index}"
        self.depth = 2
        return HeadingFlow(block.text, key, 1, self.ledger)

    def _height_after(self, block: Block, after: Sequence[Block]) -> float:
        """Return the height that a lead of a section must leave for the heading and the table that it leads to [pt]."""
        if not isinstance(block, Paragraph_) or not after or not isinstance(after[0], Heading | Table):
            return 0.0
        height = 0.0
        if isinstance(after[0], Heading):
            heading = HeadingFlow(after[0].text, "", 1, self.ledger)
            height = heading.spaceBefore + heading.wrap(TEXT_WIDTH, self.format.text_height)[1] + heading.spaceAfter
            after = after[1:]
        if after and isinstance(after[0], Table):
            height += self._least_height(table_flowables(after[0], self._bookmark_table))
        return height

    def _kept(self, headings: list[HeadingFlow], following: list[Flowable], after: float) -> list[Flowable]:
        """Return headings and what follows, on a new page when they would not fit at the foot of this one."""
        if not headings:
            return following
        needed = following[0].getSpaceBefore() + self._least_height(following) if following else 0.0
        needed += after
        for heading in headings:
            _, height = heading.wrap(TEXT_WIDTH, self.format.text_height)
            needed += heading.spaceBefore + height + heading.spaceAfter
        return [CondPageBreak(min(needed, self.format.text_height)), *headings, *following]

    def _least_height(self, following: list[Flowable]) -> float:
        first = following[0]
        if isinstance(first, TableFlow):
            return first.least_height()
        _, height = first.wrap(TEXT_WIDTH, self.format.text_height)
        if isinstance(first, Paragraph):
            height = min(height, 3 * first.style.leading)
            if len(following) > 1 and isinstance(following[1], TableFlow):
                height += following[1].least_height() + first.style.spaceAfter
        return float(height)

    def _block(self, block: Block) -> list[Flowable]:
        if isinstance(block, Table):
            return table_flowables(block, self._bookmark_table)
        if isinstance(block, FigureSlot):
            return [self._figure(block)]
        if isinstance(block, PageBreak):
            return [NewPage()]
        if isinstance(block, Results):
            return [ResultsFlow(block)]
        if isinstance(block, Beside):
            return [BesideFlow(self._figure(block.figure), block)]
        return self._text(block)

    @staticmethod
    def _text(block: Block) -> list[Flowable]:
        if isinstance(block, Bullets):
            items = [ItemParagraph(markup(item), BULLET, bulletText="•") for item in block.items]
            for item in items:
                item.list_key = f"list {id(block)}"
            items[-1].spaceAfter = BULLET.spaceAfter + 5
            return list(items)
        if isinstance(block, Caution):
            return [Boxed(block.title, block.items)]
        if isinstance(block, Facts):
            return [FactsFlow(block.pairs)]
        if isinstance(block, SignOff):
            return [SignOffFlow(block)]
        if isinstance(block, FirmBlock):
            return [FirmFlow(block)]
        lead_in = f'<font name="{BOLD}">{markup(block.lead_in, BOLD)}</font> ' if block.lead_in else ""  # type: ignore[union-attr]
        return [TaggedParagraph(lead_in + markup(block.text), TONES[block.tone])]  # type: ignore[union-attr]

    def _figure(self, block: FigureSlot) -> FigureFlow:
        content = block.content()
        self.figures[block.key] = content
        headings = _HEADINGS if block.captioned else _TITLE
        return FigureFlow(
            block, figure_size(content, block.key), self.format.text_height - headings, self.ledger, self.depth
        )

    @staticmethod
    def _bookmark_table(canvas: Any, table: Table, height: float) -> None:
        key = f"table-{table.number}"
        canvas.bookmarkHorizontal(key, 0, height + 8)

    def _draw_page(self, canvas: Any, _document: Any) -> None:
        with artifact(canvas):
            self._header_marks(canvas)
            self._footer_marks(canvas)

    def _header_marks(self, canvas: Any) -> None:
        """Write site, title and period, and the state of review with its ring, above a line."""
        page, y, is_first = self.format, self.format.height - 13.4 * MM, canvas.getPageNumber() == 1
        words = "all levels approved" if self.report.state == "APPROVED" else self.report.state_words
        width = text_width(words, BOLD, _SMALL)
        right = page.left + TEXT_WIDTH
        canvas.setFillColor(INK)
        draw_text(canvas, right - width, y, words, BOLD, _SMALL)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1.1)
        canvas.circle(right - width - 8.0, y + 2.9, 2.4, stroke=1, fill=int(self.report.state == "APPROVED"))
        period = self.report.period.partition(" (")[0]
        whole = (self.report.author,) if is_first else (self.report.site, self.report.title, period)
        left = shortened(" · ".join(part for part in whole if part), REGULAR, _SMALL, TEXT_WIDTH - width - 24)
        canvas.setFillColor(QUIET)
        draw_text(canvas, page.left, y, left, REGULAR, _SMALL)
        self._line(canvas, page.height - 15.6 * MM)

    def _line(self, canvas: Any, y: float) -> None:
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.4)
        canvas.line(self.format.left, y, self.format.left + TEXT_WIDTH, y)

    def _footer_marks(self, canvas: Any) -> None:
        page = self.format
        number = canvas.getPageNumber()
        self.ledger.total = max(self.ledger.total, number)
        self._line(canvas, 13.0 * MM)
        canvas.setFillColor(FOOT)
        counted = f"{number} of {self.ledger.known_total or number}"
        width = text_width(counted, REGULAR, _SMALL)
        y = 9.0 * MM
        draw_text(canvas, page.left + TEXT_WIDTH - width, y, counted, REGULAR, _SMALL)
        known = f"Record as known on {self.report.known_on.text}"
        text = " · ".join(part for part in (known, self.report.heights) if part)
        draw_text(canvas, page.left, y, shortened(text, REGULAR, _SMALL, TEXT_WIDTH - width - 12), REGULAR, _SMALL)
