"""Builds the pages: turns content into flowables, draws header and footer, sets the document until it is stable."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final, TypeAlias

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
    draw_fitted,
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
_LEAD: Final = 52.0  # most height of a lead, which stays with what it leads to: four lines
_LEAST_REST: Final = 0.3  # part of a page that is large enough to begin a page of tables on it
_SIGNED: Final = 0.7  # part of a page that the signatures and the section before them may fill to stay together

#: A block with what sets it.
_Part: TypeAlias = tuple[Block, list[Flowable]]


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
        if not is_titled and not _is_sentence(section):
            entries.append((section.title, f"section-{number}"))
        entries += [
            (block.entry or block.text, f"section-{number}-{index}")
            for index, block in enumerate(section.blocks)
            if isinstance(block, PageTitle) and block.entry != ""
        ]
    return entries


def _is_sentence(section: Section) -> bool:
    """Tell whether a section says that there is nothing: it has no entry in the contents and a small heading."""
    return len(section.blocks) == 1 and isinstance(section.blocks[0], Paragraph_)


class _Room(CondPageBreak):  # type: ignore[misc]
    """Starts a page where a height is not left; the spaces above and below it meet as if it were not there."""

    _SPACETRANSFER = True


def _space_below(flowables: Sequence[Flowable]) -> float:
    """Return the space that the last of some flowables leaves below itself [pt]."""
    shown = [flowable for flowable in flowables if not isinstance(flowable, _Room)]
    return float(shown[-1].getSpaceAfter()) if shown else 0.0


def _is_heading(block: Block) -> bool:
    return isinstance(block, Heading | PageTitle)


def _leads(parts: Sequence[_Part]) -> bool:
    """Tell whether a paragraph, or it and the next, stand before what they lead to: a heading, a table, a figure."""
    after = [block for block, _ in parts[1:3]]
    if after and isinstance(after[0], Paragraph_):
        after = after[1:]
    return bool(after) and isinstance(after[0], Heading | Table | FigureSlot)


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
        sections: list[list[Flowable]] = []
        for number, section in enumerate(self.report.sections, start=1):
            sections.append(self._section(section, number, _space_below(sections[-1]) if sections else 0.0))
        if len(sections) > 1 and any(isinstance(block, SignOff) for block in self.report.sections[-1].blocks):
            self._keep_signatures(*sections[-2:])
        set_sections = [flowable for flowables in sections for flowable in flowables]
        return [self.ledger, *self._cover(self.report.cover.blocks), NewPage(), *set_sections]

    def _keep_signatures(self, before: list[Flowable], signed: list[Flowable]) -> None:
        """Let a short section before the signatures that end a report move to their page, if they do not fit on its."""
        height = self._whole_height([*before, *signed], 0.0)
        if height <= _SIGNED * self.format.text_height:
            before.insert(0, _Room(height))

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

    def _section(self, section: Section, number: int, above: float) -> list[Flowable]:
        """Return what sets a section below a space."""
        start = 0 if section.new_page and number > 1 else None
        parts = self._parts(section, f"section-{number}")
        flowables: list[Flowable] = []
        for place, (block, own) in enumerate(parts):
            if isinstance(block, PageTitle) and place:
                flowables = self._on_one_page(flowables, start, above)
                start = len(flowables)
            if _is_heading(block) and not (place and _is_heading(parts[place - 1][0])):
                height = self._height_together(parts[place:], _space_below(flowables) if flowables else above)
                flowables.append(_Room(min(height, self.format.text_height)))
            flowables.extend(own)
        return self._on_one_page(flowables, start, above)

    def _parts(self, section: Section, key: str) -> list[_Part]:
        """Return the blocks of a section as they are set, its title first where it has no page's title."""
        self.depth = 1
        parts: list[_Part] = []
        if not section.blocks or not isinstance(section.blocks[0], PageTitle):
            heading = HeadingFlow(section.title, key, 0, self.ledger, is_small=_is_sentence(section))
            parts.append((Heading(section.title), [heading]))
        for index, block in enumerate(section.blocks):
            if isinstance(block, PageTitle | Heading):
                self.depth = 1 if isinstance(block, PageTitle) else 2
                parts.append((block, [HeadingFlow(block.text, f"{key}-{index}", self.depth - 1, self.ledger)]))
            else:
                parts.append((block, self._block(block)))
        return parts

    def _on_one_page(self, flowables: list[Flowable], start: int | None, above: float) -> list[Flowable]:
        """Return flowables of which those from a place on start a page, unless they fit on the rest of the last one.

        What has no figure may be broken, so a rest that is large enough is used in any case.
        """
        if start is None or start == len(flowables):
            return flowables
        own = flowables[start:]
        is_whole = any(isinstance(flowable, FigureFlow) for flowable in own)
        most = self.format.text_height * (1.0 if is_whole else _LEAST_REST)
        needed = self._whole_height(own, _space_below(flowables[:start]) if start else above) - _space_below(own)
        return [*flowables[:start], _Room(min(needed, most)), *own]

    def _height_together(self, parts: Sequence[_Part], above: float) -> float:
        """Return the height of what must stand on one page from a block on: headings with what they lead to [pt].

        ``above`` is the space that is left below the block before; of two spaces that meet the larger one counts.
        """
        height = 0.0
        for place, (block, own) in enumerate(parts):
            whole = self._whole_height(own, above)
            is_lead = _is_heading(block) or (isinstance(block, Paragraph_) and _leads(parts[place:]) and whole <= _LEAD)
            if not is_lead or place + 1 == len(parts):
                return height + self._least_height(own[0], above)
            height += whole
            above = _space_below(own)
        return height

    def _least_height(self, flowable: Flowable, above: float) -> float:
        """Return the height of the smallest part of a flowable that may stand at the foot of a page."""
        before = max(float(flowable.getSpaceBefore()) - above, 0.0)
        if isinstance(flowable, TableFlow):
            return before + flowable.least_height()
        _, height = flowable.wrap(TEXT_WIDTH, self.format.text_height)
        return before + float(min(height, 3 * flowable.style.leading) if isinstance(flowable, Paragraph) else height)

    def _whole_height(self, flowables: Sequence[Flowable], above: float) -> float:
        """Return the height of flowables with the space around them."""
        height = 0.0
        for flowable in flowables:
            if not isinstance(flowable, _Room):
                _, own = flowable.wrap(TEXT_WIDTH, self.format.text_height)
                height += max(flowable.getSpaceBefore() - above, 0.0) + own + flowable.getSpaceAfter()
                above = flowable.getSpaceAfter()
        return height

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
        draw_fitted(canvas, page.left, y, text, TEXT_WIDTH - width - 12)
