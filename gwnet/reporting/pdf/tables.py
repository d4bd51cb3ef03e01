"""Sets tables: caption, headings repeated on each page, quiet rules, notes under the table."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, Final

from reportlab.platypus import Flowable, Paragraph

from gwnet.reporting.content import Table, note_letters
from gwnet.reporting.pdf.cells import LETTER_SIZE, CellLayout, RowLayout, TableLayout, lay_out_table
from gwnet.reporting.pdf.fonts import BOLD, ITALIC, REGULAR, markup, runs, text_width
from gwnet.reporting.pdf.graphics import BAR_PT, draw_bar, draw_interval, draw_ticks
from gwnet.reporting.pdf.styles import (
    ACCENT,
    CAPTION,
    CELL_LEADING,
    CELL_PAD_X,
    CELL_PAD_Y,
    CELL_SIZE,
    DENSE_PAD_Y,
    HAIR,
    INK,
    NOTE,
    PAPER,
    QUIET,
    RULE,
    TEXT_WIDTH,
)
from gwnet.reporting.pdf.tags import CaptionParagraph, TaggedParagraph, artifact, content, drawn_plainly, element

_BASELINE: Final = (CELL_LEADING - CELL_SIZE) / 2 + 0.79 * CELL_SIZE
#: One or two rows under a repeated heading read as a table of their own (project default).
_LEAST_ROWS: Final = 5
#: Fewer rows are enough where they are this tall [pt]: five rows of 24 lines each are higher than a page.
_LEAST_HEIGHT: Final = 110.0
_LEAST_OF_GROUP: Final = 3
_CAPTION_GAP: Final = 4.0
_NOTES_GAP: Final = 4.0
_TALL_NOTES: Final = 160.0


def draw_text(canvas: Any, x: float, y: float, text: str, face: str, size: float) -> None:
    """Draw one line of text from a point to the right, with spare faces where letters need them."""
    for used, piece in runs(text, face):
        canvas.setFont(used, size)
        canvas.drawString(x, y, piece)
        x += canvas.stringWidth(piece, used, size)


class TableFlow(Flowable):  # type: ignore[misc]
    """A table, or the part of it that is on one page.

    Parameters
    ----------
    table : Table
        Content.
    layout : TableLayout, optional
        Its measures, when they are known already.
    first, last : int
        Rows of the layout that belong to this part, half-open.
    notes : bool
        Whether the notes stand under the last part.
    on_draw : callable, optional
        Called with the canvas, the table and the height when the first part is drawn.
    """

    def __init__(
        self,
        table: Table,
        layout: TableLayout | None = None,
        first: int = 0,
        last: int | None = None,
        notes: bool = True,
        on_draw: Any = None,
    ) -> None:
        super().__init__()
        self.table = table
        self.layout = layout or lay_out_table(table, TEXT_WIDTH)
        self.first = first
        self.last = len(self.layout.rows) if last is None else last
        self.with_notes = notes
        self.on_draw = on_draw
        self.spaceBefore = 8
        self.spaceAfter = 13
        self._caption = caption_paragraph("Table", table.number, table.caption, continued=first > 0)
        # A height that no caption reaches: here the width alone decides.
        self._caption_height = self._caption.wrap(TEXT_WIDTH, 10_000)[1] + _CAPTION_GAP if table.captioned else 0.0
        self._notes, self._notes_height = self._measure_notes()
        self._lead = self._continued_group()

    def _continued_group(self) -> RowLayout | None:
        """Return the group heading above the first row when its table goes on from the page before."""
        if self.first == 0 or self.layout.rows[self.first].group:
            return None
        groups = [row for row in self.layout.rows[: self.first] if row.group]
        if not groups:
            return None
        *others, last = groups[-1].group
        return replace(groups[-1], group=(*others, f"{last} (continued)"))

    def _ends(self) -> bool:
        return self.last == len(self.layout.rows)

    def _measure_notes(self) -> tuple[list[Paragraph], float]:
        if not (self.with_notes and self._ends()):
            return [], 0.0
        notes = notes_paragraphs(self.table)
        height = sum(note.wrap(TEXT_WIDTH, 10_000)[1] for note in notes)
        return notes, height + (_NOTES_GAP if notes else 0.0)

    def _fixed_height(self) -> float:
        lead = self._lead.height if self._lead else 0.0
        return float(self._caption_height + self.layout.head.height + lead)

    def _rows(self) -> tuple[RowLayout, ...]:
        return self.layout.rows[self.first : self.last]

    def least_height(self) -> float:
        """Return the height of the smallest part that may stand at the foot of a page."""
        rows = self._rows()
        if len(rows) <= 2 * _LEAST_ROWS:
            return self._fixed_height() + sum(row.height for row in rows) + self._notes_height
        count = _LEAST_ROWS + (1 if rows[0].group else 0)
        return float(self._fixed_height() + sum(row.height for row in rows[:count]))

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of this part."""
        self.width = TEXT_WIDTH
        self.height = self._fixed_height() + sum(row.height for row in self._rows()) + self._notes_height
        return self.width, self.height

    def split(self, _available_width: float, available_height: float) -> list[Flowable]:
        """Cut the table where a page ends, with at least five rows on either side.

        A table of which few rows would go on to the next page closes its rows up where it is whole then.
        """
        rows = self._rows()
        closed = self._closed_up()
        # Before a cut is looked for: closer rows disturb less than a page with a remnant of the table.
        if closed is not None and closed.wrap(TEXT_WIDTH, available_height)[1] <= available_height:
            return [closed]
        room = available_height - self._fixed_height()
        count = 0
        used = 0.0
        for row in rows:
            if used + row.height > room:
                break
            used += row.height
            count += 1
        # All rows may fit where the notes under them do not: one is kept back, or the second part would be empty.
        count = self._tidy(rows, min(count, len(rows) - 1))
        # No parts at all: the library then moves the whole table to the next page.
        if count < 1:
            return []
        cut = self.first + count
        return [self._part(self.first, cut, on_draw=self.on_draw), self._part(cut, self.last)]

    def _closed_up(self) -> TableFlow | None:
        """Return this part with its rows as close as in a dense table; None where they are so already."""
        spare = 2 * (self.layout.pad - DENSE_PAD_Y)
        if spare <= 0:
            return None
        # Headings of groups have the same padding in dense tables, so their height stays.
        rows = tuple(row if row.group else replace(row, height=row.height - spare) for row in self.layout.rows)
        layout = replace(self.layout, rows=rows, pad=DENSE_PAD_Y)
        return TableFlow(self.table, layout, self.first, self.last, self.with_notes, self.on_draw)

    @staticmethod
    def _tidy(rows: tuple[RowLayout, ...], count: int) -> int:
        """Return how many rows may stay on the page, so that neither part is a remnant; 0 when none may.

        A group of which hardly a row would stay goes on to the next page with its heading.
        """
        while count > 0 and not _enough(rows[count:]):
            count -= 1
        starts = [place for place in range(max(count - _LEAST_OF_GROUP, 0), count) if rows[place].group]
        if starts and _enough(rows[: starts[0]]):
            count = starts[0]
        # The heading of a group may not be the last row of a page.
        while count > 0 and rows[count - 1].group:
            count -= 1
        return count if _enough(rows[:count]) else 0

    def _part(self, first: int, last: int, on_draw: Any = None) -> TableFlow:
        return TableFlow(self.table, self.layout, first, last, self.with_notes, on_draw)

    def draw(self) -> None:
        """Draw caption, headings, rows, rules and notes."""
        if self.on_draw is not None:
            self.on_draw(self.canv, self.table, self.height)
        with element(self.canv, "Table", key=f"table {self.table.key}"):
            y = self._draw_table()
        y -= _NOTES_GAP
        for note in self._notes:
            y -= note.height
            note.drawOn(self.canv, 0, y)

    def _draw_table(self) -> float:
        """Draw everything but the notes and return where the table ends; that it continues is tagged once."""
        y = self.height
        if self.table.captioned:
            y += _CAPTION_GAP - self._caption_height
            if self.first:
                with artifact(self.canv):
                    drawn_plainly(self._caption, self.canv, 0, y)
            else:
                self._caption.drawOn(self.canv, 0, y)
            y -= _CAPTION_GAP
        self._rule(y, 0.9, INK)
        y = self._draw_head(y)
        self._rule(y, 0.5, INK)
        # Before the rows: what is drawn later covers it, and rings belong above the lines of the scale.
        self._scales(y)
        if self._lead:
            y -= self._lead.height
            with artifact(self.canv):
                self._draw_group(self._lead, y)
        rows = self._rows()
        for position, row in enumerate(rows):
            y -= row.height
            self._draw_row(row, y)
            if position < len(rows) - 1 and not row.group:
                self._rule(y, 0.4, HAIR)
        # Thin where the table goes on: a thick rule is read as its end.
        self._rule(y, 0.9 if self._ends() else 0.5, INK if self._ends() else RULE)
        return y

    def _scales(self, bottom: float) -> None:
        """Draw the scales of columns with limits behind their rows."""
        height = sum(row.height for row in self._rows()) + (self._lead.height if self._lead else 0.0)
        for index, (column, scale) in enumerate(zip(self.layout.columns, self.layout.scales, strict=True)):
            if column.graphic == "interval" and scale is not None:
                with artifact(self.canv):
                    left = self._edges()[index] + CELL_PAD_X
                    draw_ticks(self.canv, scale, left, bottom + CELL_PAD_Y + 2.0, bottom - height, bottom)

    def _rule(self, y: float, thickness: float, colour: Any, start: float = 0.0, stop: float = TEXT_WIDTH) -> None:
        with artifact(self.canv):
            self.canv.setStrokeColor(colour)
            self.canv.setLineWidth(thickness)
            self.canv.line(start, y, stop, y)

    def _edges(self) -> list[float]:
        edges = [0.0]
        for width in self.layout.widths:
            edges.append(edges[-1] + width)
        return edges

    def _draw_head(self, top: float) -> float:
        head, edges = self.layout.head, self._edges()
        bottom = top - head.height
        if self.first:
            with artifact(self.canv):
                self._draw_spans(top, edges, tagged=False)
                self._draw_headings(bottom, edges, tagged=False)
            return bottom
        if head.spans:
            with element(self.canv, "TR"):
                self._draw_spans(top, edges, tagged=True)
        with element(self.canv, "TR"):
            self._draw_headings(bottom, edges, tagged=True)
        return bottom

    def _draw_spans(self, top: float, edges: list[float], *, tagged: bool) -> None:
        """Draw the headings that several columns share; columns without one have an empty cell there."""
        place = 0
        for start, stop, lines in self.layout.head.spans:
            if tagged:
                # Without empty cells the shared headings would be read out as those of the first columns.
                for _ in range(place, start):
                    with element(self.canv, "TD"):
                        pass
            place = stop
            with _cell(self.canv, "TH", tagged=tagged, scope="Column", columns=stop - start):
                self.canv.setFillColor(INK)
                y = top - CELL_PAD_Y - _BASELINE
                for line in lines:
                    width = text_width(line, BOLD, CELL_SIZE)
                    draw_text(self.canv, (edges[start] + edges[stop] - width) / 2, y, line, BOLD, CELL_SIZE)
                    y -= CELL_LEADING
        if tagged:
            for _ in range(place, len(self.layout.columns)):
                with element(self.canv, "TD"):
                    pass
        below = top - self.layout.head.span_height + 1.0
        for start, stop, _ in self.layout.head.spans:
            self._hairline(below, edges[start] + CELL_PAD_X, edges[stop] - CELL_PAD_X, tagged=tagged)

    def _hairline(self, y: float, start: float, stop: float, *, tagged: bool) -> None:
        """Draw a rule that is an artifact, or is inside of one already."""
        if tagged:
            self._rule(y, 0.4, RULE, start, stop)
            return
        self.canv.setStrokeColor(RULE)
        self.canv.setLineWidth(0.4)
        self.canv.line(start, y, stop, y)

    def _draw_headings(self, bottom: float, edges: list[float], *, tagged: bool) -> None:
        head = self.layout.head
        for index, (lines, unit) in enumerate(zip(head.lines, head.units, strict=True)):
            count = len(lines) + bool(unit)
            y = bottom + CELL_PAD_Y + count * CELL_LEADING - _BASELINE
            with _cell(self.canv, "TH", tagged=tagged, scope="Column"):
                self.canv.setFillColor(INK)
                for line in lines:
                    self._aligned(index, edges, y, line, BOLD)
                    y -= CELL_LEADING
                if unit:
                    self.canv.setFillColor(QUIET)
                    self._aligned(index, edges, y, unit, REGULAR)

    def _draw_row(self, row: RowLayout, bottom: float) -> None:
        with element(self.canv, "TR"):
            if row.group:
                with content(self.canv, "TH", scope="Row", columns=len(self.layout.columns)):
                    self._draw_group(row, bottom)
                return
            edges = self._edges()
            top = bottom + row.height - self.layout.pad - _BASELINE
            for index, cell in enumerate(row.cells):
                kind, scope = ("TD", "") if index else ("TH", "Row")
                with content(self.canv, kind, scope=scope):
                    self._draw_cell(index, edges, top, cell)
                    self._draw_reasons(row, index, edges, top)
            # After the cells: an artifact may not be inside of tagged content (ISO 14289-1, 7.1; from memory).
            self._draw_graphics(row, edges, top)

    def _draw_reasons(self, row: RowLayout, index: int, edges: list[float], top: float) -> None:
        """Write what runs through empty cells from a column on, and the remarks of a row with its last cell."""
        self.canv.setFillColor(QUIET)
        for start, _, text in row.reasons:
            if start == index:
                self._draw_on_paper(edges[start] + CELL_PAD_X, top, text)
        if index == len(row.cells) - 1:
            lines = max(len(cell.lines) for cell in row.cells)
            for number, line in enumerate(row.remarks):
                # From the second column on: the name of the row stays alone at the left.
                y = top - (lines + number) * CELL_LEADING
                self._draw_on_paper(edges[1] + CELL_PAD_X, y, line)

    def _draw_on_paper(self, left: float, y: float, text: str) -> None:
        """Write a reason or a remark, clear of the lines of a scale behind it."""
        if any(column.graphic == "interval" for column in self.layout.columns):
            self.canv.setFillColor(PAPER)
            width = text_width(text, ITALIC, CELL_SIZE)
            self.canv.rect(left, y - 0.25 * CELL_SIZE, width, 1.05 * CELL_SIZE, stroke=0, fill=1)
            self.canv.setFillColor(QUIET)
        draw_text(self.canv, left, y, text, ITALIC, CELL_SIZE)

    def _draw_graphics(self, row: RowLayout, edges: list[float], top: float) -> None:
        for index, (column, scale) in enumerate(zip(self.layout.columns, self.layout.scales, strict=True)):
            if scale is None or not row.source:
                continue
            with artifact(self.canv):
                middle = top + 0.33 * CELL_SIZE
                if column.graphic == "bar":
                    left = edges[index + 1] - CELL_PAD_X - BAR_PT + 4.0
                    draw_bar(self.canv, row.source[index], scale, left, middle)
                else:
                    draw_interval(self.canv, row.source[index], scale, edges[index] + CELL_PAD_X, middle)

    def _draw_group(self, row: RowLayout, bottom: float) -> None:
        top = bottom + row.height - CELL_PAD_Y - _BASELINE
        self.canv.setFillColor(ACCENT)
        for number, line in enumerate(row.group):
            draw_text(self.canv, CELL_PAD_X, top - 0.7 - number * CELL_LEADING, line, BOLD, CELL_SIZE)

    def _draw_cell(self, index: int, edges: list[float], top: float, cell: CellLayout) -> None:
        self.canv.setFillColor(QUIET if cell.empty or cell.faint else INK)
        face = ITALIC if cell.faint else BOLD if cell.strong else REGULAR
        end = edges[index]
        y = top
        for number, line in enumerate(cell.lines):
            y = top - number * CELL_LEADING
            end = self._aligned(index, edges, y, line, face)
        if cell.letter and cell.lines:
            self.canv.setFillColor(QUIET)
            draw_text(self.canv, end + 0.7, y + 2.6, cell.letter, REGULAR, LETTER_SIZE)

    def _aligned(self, index: int, edges: list[float], y: float, text: str, face: str) -> float:
        """Draw a line of text inside its column and return where it ends."""
        align = self.layout.columns[index].align
        width = text_width(text, face, CELL_SIZE)
        left = edges[index] + CELL_PAD_X
        right = edges[index + 1] - CELL_PAD_X - self.layout.gutters[index]
        x = {"left": left, "right": right - width, "centre": (left + right - width) / 2}[align]
        draw_text(self.canv, x, y, text, face, CELL_SIZE)
        return x + width


@contextmanager
def _cell(canvas: Any, kind: str, *, tagged: bool, **attributes: Any) -> Iterator[None]:
    """Draw a cell that is named as one, or is inside of an artifact."""
    if not tagged:
        yield
        return
    with content(canvas, kind, **attributes):
        yield


def _enough(rows: tuple[RowLayout, ...]) -> bool:
    """Tell whether rows are enough to stand on a page: five of them, or fewer tall ones."""
    return len(rows) >= _LEAST_ROWS or sum(row.height for row in rows) >= _LEAST_HEIGHT


def caption_paragraph(kind: str, number: int, text: str, *, continued: bool = False) -> Paragraph:
    """Return the caption of a table or figure."""
    label = f"{kind} {number}" if number else kind
    more = " (continued)" if continued else ""
    return CaptionParagraph(
        f'<font name="{BOLD}" color="#{ACCENT.hexval()[2:]}">{label}</font>&nbsp;&nbsp; {markup(text)}{more}', CAPTION
    )


def notes_paragraphs(table: Table) -> list[Paragraph]:
    """Return the notes of a table: its own, then the lettered reasons run in."""
    paragraphs: list[Paragraph] = [TaggedParagraph(markup(note), NOTE) for note in table.notes]
    letters = note_letters(table)
    if letters:
        parts = [f'<font name="{BOLD}">{letter}</font>&nbsp;{markup(reason)}' for reason, letter in letters.items()]
        paragraphs.append(TaggedParagraph(" &nbsp;&nbsp; ".join(parts), NOTE))
    return paragraphs


def table_flowables(table: Table, on_draw: Any = None) -> list[Flowable]:
    """Return a table with its notes; very long notes follow it so that they may run over pages."""
    notes = notes_paragraphs(table)
    height = sum(note.wrap(TEXT_WIDTH, 10_000)[1] for note in notes)
    # Notes under a table are not cut, so high ones might not fit on a page together with the last rows.
    attached = height <= _TALL_NOTES
    flowables: list[Flowable] = [TableFlow(table, notes=attached, on_draw=on_draw)]
    if not attached:
        flowables[0].spaceAfter = 3
        flowables.extend(notes_paragraphs(table))
    return flowables
