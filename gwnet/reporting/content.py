"""What a report says, as a tree of frozen parts, apart from how it is set.

A report is a cover and sections; a section is a title and blocks. Every part holds plain text: markup in a well's
name is text like any other, and whoever sets the report escapes it. Numbers are in the unit that the heading of their
column names. A cell without a value carries the reason why it is empty.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

from gwnet.errors import ReportError
from gwnet.records import RecordState

Align = Literal["left", "right", "centre"]
Tone = Literal["body", "lead", "small", "note"]

#: What is printed in a cell that has no value; the reason follows as a lettered note.
EMPTY_MARK = "—"
#: A hyphen is narrower than a plus, so that signs would not line up in a column.
_MINUS = "−"


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading inside a section, one step below the section's title."""

    text: str


@dataclass(frozen=True, slots=True)
class PageTitle:
    """The title of a page of its own, which takes the place of its section's title.

    ``entry`` is what the contents name it; the title unless given, and nothing where it is empty.
    """

    text: str
    entry: str | None = None


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text; ``lead_in`` is printed before it in bold."""

    text: str
    tone: Tone = "body"
    lead_in: str = ""


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list of short texts."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning that must not be overlooked."""

    title: str
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Pairs of name and value, set as two columns without rules."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    heading : str
        Name of the column.
    unit : str
        Unit of the values, empty when they have none.
    decimals : int or None
        Decimals of numbers; None prints whole numbers and text as they are.
    align : {"left", "right", "centre"}
        Where the values stand.
    signed : bool
        Whether positive numbers carry a plus sign.
    group : str
        Heading that neighbouring columns with the same group share.
    graphic : {"", "bar", "interval"}
        What is drawn beside the numbers, on one scale for the column: a bar from zero right of them, or left of them a
        ring with the limits of the cell.
    """

    heading: str
    unit: str = ""
    decimals: int | None = None
    align: Align = "left"
    signed: bool = False
    group: str = ""
    graphic: Literal["", "bar", "interval"] = ""


@dataclass(frozen=True, slots=True)
class Cell:
    """One value of a table.

    Parameters
    ----------
    value : str, int, float or None
        Content of the cell; None when there is nothing to print.
    reason : str
        Why the cell is empty, or a remark on the value; printed as a lettered note under the table.
    note : str
        A remark that cells of many rows share; always a lettered note under the table, never in the row.
    prefix : str
        Sign before a number, for example ``≤`` for a bound.
    strong : bool
        Whether the value is set in bold.
    faint : bool
        Whether it is not distinguishable from zero: set in italics, and without a bar.
    limits : tuple of float, optional
        Lower and upper limit that are drawn beside the value, in its unit.
    filled : bool
        Whether its ring is filled.
    """

    value: str | int | float | None
    reason: str = ""
    prefix: str = ""
    strong: bool = False
    faint: bool = False
    limits: tuple[float, float] | None = None
    filled: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        # A blank may be a dry well, a missed visit or an error: the reader must not have to guess.
        if is_empty(self.value) and not self.reason:
            raise ReportError("A table cell is empty and gives no reason.", fix="State why there is no value.")


@dataclass(frozen=True, slots=True)
class Group:
    """A row that holds a heading for the rows under it."""

    text: str


Row: TypeAlias = "tuple[Cell, ...] | Group"


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its caption, columns, rows and notes.

    Parameters
    ----------
    key : str
        Name of the table, unique in the report.
    caption : str
        What the table shows.
    columns : tuple of Column
        Columns from left to right.
    rows : tuple
        Each a tuple of cells, one a column, or a `Group`.
    notes : tuple of str
        Notes under the table, before those of empty cells.
    number : int
        Number in the report, given by `numbered`.
    identified_by : int
        Leading columns whose texts together tell a row from the others.
    compared : bool
        Whether later reports tell which of its values have changed; not for lists of what was noticed or done.
    captioned : bool
        Whether the caption is printed; a page whose title says the same leaves it out.
    reasons_in_row : bool
        Whether reasons run through the empty cells of their row and remarks stand below it, not as lettered notes.
    dense : bool
        Whether its rows stand close, as in a long table at the end of a report.
    """

    key: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()
    number: int = 0
    identified_by: int = 1
    compared: bool = True
    captioned: bool = True
    reasons_in_row: bool = False
    dense: bool = False

    def __post_init__(self) -> None:
        for position, row in enumerate(self.rows, start=1):
            if isinstance(row, tuple) and len(row) != len(self.columns):
                message = f"Row {position} has {len(row)} cells; the table has {len(self.columns)} columns."
                raise ReportError(message, where=f"table {self.key!r}")


@dataclass(frozen=True, slots=True)
class DrawnFigure:
    """A drawn figure: one page of vector PDF, and SVG where a page is made as well."""

    pdf: bytes = field(repr=False)
    svg: bytes = field(default=b"", repr=False)


@dataclass(frozen=True, slots=True)
class FigureSlot:
    """A figure with its caption.

    Parameters
    ----------
    key : str
        Name of the figure, unique in the report.
    caption : str
        What the figure shows.
    alt : str
        The same for a reader who cannot see it.
    pdf : bytes or callable
        One page of vector PDF, or a function that makes it, or a `DrawnFigure`, when it is needed.
    number : int
        Number in the report, given by `numbered`.
    bookmarks : tuple of str
        Entries in the document's outline that lead to the figure.
    svg : bytes
        The same as SVG, for a page; empty where there is none.
    captioned : bool
        Whether the caption is printed; a page whose title says the same leaves it out.
    """

    key: str
    caption: str
    alt: str
    pdf: bytes | Callable[[], bytes | DrawnFigure] = field(repr=False, compare=False)
    number: int = 0
    bookmarks: tuple[str, ...] = ()
    svg: bytes = field(default=b"", repr=False, compare=False)
    captioned: bool = True

    def content(self) -> bytes:
        """Return the figure as PDF."""
        return self.drawn().pdf

    def drawn(self) -> DrawnFigure:
        """Return the figure in all its forms."""
        if isinstance(self.pdf, bytes):
            return DrawnFigure(self.pdf, self.svg)
        made = self.pdf()
        return made if isinstance(made, DrawnFigure) else DrawnFigure(made)


@dataclass(frozen=True, slots=True)
class SignOff:
    """Where the people answering for the report sign.

    Parameters
    ----------
    statement : str
        What is signed.
    parties : tuple
        Each a role and its lines: pairs of label and known value (empty: left open to be written in).
    """

    statement: str
    parties: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]


@dataclass(frozen=True, slots=True)
class FirmBlock:
    """Who made the report: a picture, a name and the lines of an address; any of them may be missing."""

    name: str
    address: tuple[str, ...] = ()
    logo: bytes | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class PageBreak:
    """The next block starts a page."""


@dataclass(frozen=True, slots=True)
class ResultItem:
    """One result of a report: a first clause in bold, what follows it, and marks of the states that it is about.

    ``marks`` are names of `gwnet.reporting.pdf.marks`: beyond, unconfirmed, unjudged, not beyond.
    """

    lead: str
    text: str
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Results:
    """The results of a report, numbered in order of consequence."""

    title: str
    items: tuple[ResultItem, ...]


@dataclass(frozen=True, slots=True)
class Beside:
    """A figure of the whole width whose right part is left free for text.

    Parameters
    ----------
    figure : FigureSlot
        The figure.
    pairs : tuple of tuple of str
        Names and values that are set right of it.
    left_mm, top_mm : float
        Where they begin, from the left and from the top of the figure [mm].
    resize : callable, optional
        Returns what draws the figure at a height [mm]; without it the figure has one size.
    below : int
        How many of the last pairs are set under the figure, over the whole width.
    """

    figure: FigureSlot
    pairs: tuple[tuple[str, str], ...]
    left_mm: float
    top_mm: float
    resize: Callable[[float], Callable[[], bytes | DrawnFigure]] | None = field(default=None, repr=False, compare=False)
    below: int = 0


Block = (
    Heading
    | PageTitle
    | Results
    | Beside
    | Paragraph
    | Bullets
    | Caution
    | Facts
    | Table
    | FigureSlot
    | SignOff
    | FirmBlock
    | PageBreak
)


@dataclass(frozen=True, slots=True)
class Section:
    """A numbered part of the report.

    Parameters
    ----------
    key : str
        Name of the section, unique in the report.
    title : str
        Heading and bookmark.
    blocks : tuple
        What it holds, in order.
    new_page : bool
        Whether it starts a page.
    """

    key: str
    title: str
    blocks: tuple[Block, ...]
    new_page: bool = False


@dataclass(frozen=True, slots=True)
class Cover:
    """The first page: who, where, when, in what state, and the cautions."""

    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report.

    Parameters
    ----------
    title, site, period : str
        Printed on the cover and in the running header.
    state : str
        ``PROVISIONAL`` or ``APPROVED``.
    known_on : RecordState
        State of the record from which it is made; its time is given as the date of the document.
    cover : Cover
        First page.
    sections : tuple of Section
        The rest.
    author, subject : str
        For the document's metadata.
    keywords : tuple of str
        For the document's metadata.
    page : {"A4", "Letter"}
        Page format.
    contents : bool
        Whether the cover has the contents.
    state_words : str
        The state of review in the head of each page, where not all levels are approved.
    heights : str
        Unit and datum of elevations, in the foot of each page.
    """

    title: str
    site: str
    period: str
    state: str
    known_on: RecordState
    cover: Cover
    sections: tuple[Section, ...]
    author: str = ""
    subject: str = ""
    keywords: tuple[str, ...] = ()
    page: Literal["A4", "Letter"] = "A4"
    contents: bool = True
    state_words: str = "all levels provisional"
    heights: str = ""

    def blocks(self) -> Iterator[Block]:
        """Yield every block in the order of reading."""
        yield from self.cover.blocks
        for section in self.sections:
            yield from section.blocks

    def figures(self) -> tuple[FigureSlot, ...]:
        """Return the figures in the order of reading."""
        return tuple(figure for block in self.blocks() if (figure := figure_of(block)) is not None)

    def tables(self) -> tuple[Table, ...]:
        """Return the tables in the order of reading."""
        return tuple(block for block in self.blocks() if isinstance(block, Table))


def figure_of(block: Block) -> FigureSlot | None:
    """Return the figure that a block is or holds; None for others."""
    if isinstance(block, Beside):
        return block.figure
    return block if isinstance(block, FigureSlot) else None


def with_figure(block: Block, figure: FigureSlot) -> Block:
    """Return a block with another figure in place of the one that it is or holds."""
    return replace(block, figure=figure) if isinstance(block, Beside) else figure


def is_empty(value: object) -> bool:
    """Tell whether a value leaves its cell empty: None, blank text or not a number."""
    if value is None or (isinstance(value, str) and not value.strip()):
        return True
    return isinstance(value, float) and not math.isfinite(value)


def number_text(value: float, decimals: int | None, *, signed: bool = False) -> str:
    """Return a number as it is printed, with a true minus sign and no negative zero.

    Parameters
    ----------
    value : float
        Any finite number.
    decimals : int or None
        Decimals to print; None prints a whole number.
    signed : bool
        Whether a positive number carries a plus sign.

    Examples
    --------
    >>> number_text(-0.0004, 3, signed=True)
    '0.000'
    >>> number_text(-1.25, 2)
    '−1.25'
    """
    text = f"{abs(value):.{decimals or 0}f}"
    # No sign before a rounded zero: −0.00 would be read as a fall.
    if not any(digit in text for digit in "123456789"):
        return text
    if value < 0:
        return _MINUS + text
    return "+" + text if signed else text


def cell_text(cell: Cell, column: Column) -> str:
    """Return the text of a cell without its note; `EMPTY_MARK` when it is empty."""
    if is_empty(cell.value):
        return EMPTY_MARK
    if isinstance(cell.value, str):
        return cell.value
    assert cell.value is not None
    text = number_text(float(cell.value), column.decimals, signed=column.signed)
    return f"{cell.prefix} {text}" if cell.prefix else text


def note_letters(table: Table) -> dict[str, str]:
    """Return the letter of each reason in a table, in the order of first appearance: a, b, … z, aa, ab and so on."""
    letters: dict[str, str] = {}
    for row in table.rows:
        if isinstance(row, Group):
            continue
        for cell in row:
            for text in ("" if table.reasons_in_row else cell.reason, cell.note):
                if text and text not in letters:
                    letters[text] = _letter(len(letters))
    return letters


def letters_of(cell: Cell, letters: Mapping[str, str]) -> str:
    """Return the letters of a cell's notes, of those that `note_letters` of its table gave; empty for none."""
    return " ".join(letters[text] for text in (cell.reason, cell.note) if text in letters)


def _letter(index: int) -> str:
    text = ""
    index += 1
    while index:
        # Letters have no zero: after z comes aa, so every place runs from 1 to 26.
        index, rest = divmod(index - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


def numbered(report: Report) -> Report:
    """Return the report with its tables and figures numbered from 1 in the order of reading.

    Raises
    ------
    ReportError
        If two tables, two figures or two sections share a key.
    """
    # Numbers are found by the key: two parts of one key would have the same.
    _refuse_repeated_keys(report)
    tables = {table.key: number for number, table in enumerate(report.tables(), start=1)}
    figures = {figure.key: number for number, figure in enumerate(report.figures(), start=1)}

    def with_number(block: Block) -> Block:
        if isinstance(block, Table):
            return replace(block, number=tables[block.key])
        figure = figure_of(block)
        if figure is not None:
            return with_figure(block, replace(figure, number=figures[figure.key]))
        return block

    sections = tuple(
        replace(section, blocks=tuple(with_number(block) for block in section.blocks)) for section in report.sections
    )
    cover = Cover(tuple(with_number(block) for block in report.cover.blocks))
    return replace(report, cover=cover, sections=sections)


def _refuse_repeated_keys(report: Report) -> None:
    kinds = {
        "table": [table.key for table in report.tables()],
        "figure": [figure.key for figure in report.figures()],
        "section": [section.key for section in report.sections],
    }
    for kind, keys in kinds.items():
        for key in sorted(set(keys)):
            if keys.count(key) > 1:
                message = f"Two parts of kind {kind} share the key {key!r}."
                raise ReportError(message)
