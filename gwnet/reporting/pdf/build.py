"""Builds the pages: turns content into flowables, draws header and footer, sets the document until it is stable."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Final

from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    NextPageTemplate,
    PageTemplate,
    Paragraph,
)
from reportlab.platypus import PageBreak as NewPage
from reportlab.platypus.doctemplate import LayoutError

from gwnet.errors import ReportError
from gwnet.reporting.content import (
    Block,
    Bullets,
    Caution,
    Facts,
    FigureSlot,
    FirmBlock,
    Heading,
    PageBreak,
    Report,
    Section,
    SignOff,
    Table,
)
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
from gwnet.reporting.pdf.figures import Placement, figure_size
from gwnet.reporting.pdf.firm import FirmFlow
from gwnet.reporting.pdf.fonts import BOLD, REGULAR, markup, text_width
from gwnet.reporting.pdf.styles import (
    ACCENT,
    BULLET,
    CONTENTS_TITLE,
    COVER_PERIOD,
    COVER_SITE,
    COVER_TITLE,
    FOOTER_HEIGHT,
    MM,
    QUIET,
    RULE,
    TEXT_WIDTH,
    TONES,
    WARN,
    PageFormat,
    page_format,
)
from gwnet.reporting.pdf.tables import TableFlow, draw_text, table_flowables
from gwnet.reporting.pdf.tags import Element, ItemParagraph, TaggedCanvas, TaggedParagraph, TitleParagraph, artifact

_SMALL: Final = 7.4
_MOST_CONTENTS: Final = 44
_HEADINGS: Final = 75.0  # room that a figure leaves for the headings above it


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


class _Builder:
    def __init__(self, report: Report) -> None:
        self.report = report
        self.format: PageFormat = page_format(report.page)
        self.ledger = Ledger()
        self.figures: dict[str, bytes] = {}
        self.entries: list[tuple[int, str, str, str]] = []
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
        bottom = FOOTER_HEIGHT + 2 * MM
        plain = {"leftPadding": 0, "rightPadding": 0, "topPadding": 0, "bottomPadding": 0}
        body = Frame(page.left, bottom, TEXT_WIDTH, page.text_height, id="body", **plain)
        cover = Frame(page.left, bottom, TEXT_WIDTH, page.height - bottom - 40 * MM, id="cover", **plain)
        document.addPageTemplates(
            [
                PageTemplate("cover", [cover], onPage=self._draw_cover, onPageEnd=self._draw_footer),
                PageTemplate("body", [body], onPage=self._draw_header, onPageEnd=self._draw_footer),
            ]
        )
        return document

    def _story(self) -> list[Flowable]:
        sections: list[Flowable] = []
        for number, section in enumerate(self.report.sections, start=1):
            sections.extend(self._section(section, str(number)))
        story: list[Flowable] = [self.ledger, *self._cover(), NextPageTemplate("body"), NewPage()]
        if self.report.contents and self.report.sections:
            story.extend(self._contents())
        story.extend(sections)
        return story

    def _cover(self) -> list[Flowable]:
        flowables: list[Flowable] = [
            TitleParagraph(markup(self.report.title, BOLD), COVER_TITLE),
            TaggedParagraph(markup(self.report.site), COVER_SITE),
            TaggedParagraph(markup(self.report.period), COVER_PERIOD),
        ]
        for block in self.report.cover.blocks:
            flowables.extend(self._block(block))
        return flowables

    def _contents(self) -> list[Flowable]:
        entries = (
            self.entries if len(self.entries) <= _MOST_CONTENTS else [item for item in self.entries if item[0] == 0]
        )
        return [TaggedParagraph("Contents", CONTENTS_TITLE), ContentsFlow(entries, self.ledger), NewPage()]

    def _section(self, section: Section, number: str) -> list[Flowable]:
        key = f"section-{number}"
        self.entries.append((0, number, section.title, key))
        flowables: list[Flowable] = [NewPage()] if section.new_page and number != "1" else []
        self.depth = 1
        headings = [HeadingFlow(section.title, key, 0, self.ledger, number)]
        for index, block in enumerate(section.blocks):
            if isinstance(block, Heading):
                headings.append(self._heading(block, key, index))
            else:
                flowables.extend(self._kept(headings, self._block(block)))
                headings = []
        return [*flowables, *headings]

    def _heading(self, block: Heading, section: str, index: int) -> HeadingFlow:
        key = f"{section}-{index}"
        self.entries.append((1, "", block.text, key))
        self.depth = 2
        return HeadingFlow(block.text, key, 1, self.ledger)

    def _kept(self, headings: list[HeadingFlow], following: list[Flowable]) -> list[Flowable]:
        """Return headings and what follows, on a new page when they would not fit at the foot of this one."""
        if not headings:
            return following
        needed = self._least_height(following) if following else 0.0
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
        return FigureFlow(
            block, figure_size(content, block.key), self.format.text_height - _HEADINGS, self.ledger, self.depth
        )

    @staticmethod
    def _bookmark_table(canvas: Any, table: Table, height: float) -> None:
        key = f"table-{table.number}"
        canvas.bookmarkHorizontal(key, 0, height + 8)

    def _draw_cover(self, canvas: Any, _document: Any) -> None:
        with artifact(canvas):
            self._cover_marks(canvas)

    def _cover_marks(self, canvas: Any) -> None:
        page = self.format
        top = page.height - 20 * MM
        canvas.setFillColor(ACCENT)
        canvas.rect(page.left, top, TEXT_WIDTH, 1.6 * MM, stroke=0, fill=1)
        canvas.setFillColor(QUIET)
        owner = shortened(self.report.author, REGULAR, 9.4, TEXT_WIDTH * 0.62)
        draw_text(canvas, page.left, top - 15, owner, REGULAR, 9.4)
        self._draw_state(canvas, page.left + TEXT_WIDTH, top - 15.5, 9.0)

    def _draw_state(self, canvas: Any, right: float, y: float, size: float) -> None:
        state = self.report.state
        provisional = state != "APPROVED"
        width = text_width(state, BOLD, size) + 10
        canvas.setStrokeColor(WARN if provisional else ACCENT)
        canvas.setFillColor(WARN if provisional else ACCENT)
        canvas.setLineWidth(0.8)
        canvas.roundRect(right - width, y - size * 0.42, width, size * 1.62, 1.6, stroke=1, fill=0)
        draw_text(canvas, right - width + 5, y, state, BOLD, size)

    def _draw_header(self, canvas: Any, _document: Any) -> None:
        with artifact(canvas):
            self._header_marks(canvas)

    def _header_marks(self, canvas: Any) -> None:
        page = self.format
        y = page.height - 12.5 * MM
        state_width = text_width(self.report.state, BOLD, 6.6) + 10
        canvas.setFillColor(QUIET)
        site_width = TEXT_WIDTH - state_width - 10
        title = shortened(self.report.title, BOLD, _SMALL, site_width * 0.55)
        draw_text(canvas, page.left, y, title, BOLD, _SMALL)
        start = text_width(title, BOLD, _SMALL) + 8
        draw_text(
            canvas,
            page.left + start,
            y,
            shortened(self.report.site, REGULAR, _SMALL, site_width - start),
            REGULAR,
            _SMALL,
        )
        self._draw_state(canvas, page.left + TEXT_WIDTH, y + 0.4, 6.6)
        self._line(canvas, page.height - 15 * MM)

    def _line(self, canvas: Any, y: float) -> None:
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.4)
        canvas.line(self.format.left, y, self.format.left + TEXT_WIDTH, y)

    def _draw_footer(self, canvas: Any, _document: Any) -> None:
        with artifact(canvas):
            self._footer_marks(canvas)

    def _footer_marks(self, canvas: Any) -> None:
        page = self.format
        number = canvas.getPageNumber()
        self.ledger.total = max(self.ledger.total, number)
        y = 10 * MM
        self._line(canvas, y + 10)
        canvas.setFillColor(QUIET)
        counted = f"page {number} of {self.ledger.known_total or number}"
        width = text_width(counted, REGULAR, _SMALL)
        draw_text(canvas, page.left + TEXT_WIDTH - width, y, counted, REGULAR, _SMALL)
        known = f"record as known on {self.report.known_on.text}"
        text = shortened(f"{self.report.period}   ·   {known}", REGULAR, _SMALL, TEXT_WIDTH - width - 12)
        draw_text(canvas, page.left, y, text, REGULAR, _SMALL)
