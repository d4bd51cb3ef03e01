"""The pages of the documentation: finding them, and setting their Markdown as text for a terminal.

Known of Markdown are headings, paragraphs, lists, tables, blocks of code, `**bold**` and code between backticks: what
the pages use. A comment on a line of its own is not printed.
"""

from __future__ import annotations

import re
import shutil
import textwrap
from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Final

import click

from gwnet.cli import COMMANDS, emphasis
from gwnet.resources import docs_folder

#: The page that lists all others.
INDEX: Final = "index"

_WIDEST: Final = 110
_NARROWEST: Final = 40
_NARROWEST_COLUMN: Final = 10
#: The library that wraps lines breaks them at blanks of ASCII alone, so this sign holds a command together.
_GLUE: Final = "\u00a0"
#: Longer code may be broken; moved to the next line as a whole it would leave this one half empty.
_LONGEST_GLUED: Final = 30
#: A word that is on more pages tells nobody which one to read.
_MOST_PAGES: Final = 8

_ITEM: Final = re.compile(r"(\s*)(- |\d+\. )(.*)")
_RULE_OF_TABLE: Final = re.compile(r"\|(\s*:?-+:?\s*\|)+")
_CODE: Final = re.compile(r"`([^`]+)`")
_BOLD: Final = re.compile(r"\*\*(.+?)\*\*")
_LINK: Final = re.compile(r"\[([^\]]+)\]\([^)]+\)")


def list_topics() -> list[str]:
    """Return the names of all pages but the list of them."""
    return sorted(path.stem for path in docs_folder().glob("*.md") if path.stem != INDEX)


def read_page(name: str) -> str:
    """Return the text of a page; KeyError where there is none of that name."""
    if name != INDEX and name not in list_topics():
        raise KeyError(name)
    return Path(docs_folder() / f"{name}.md").read_text(encoding="utf-8")


def describe_unknown(word: str) -> str:
    """Return a sentence on a topic that does not exist: the nearest ones, or the pages that have the word."""
    topics = list_topics()
    near = get_close_matches(word.lower(), topics, n=3, cutoff=0.5)
    having = [name for name in topics if word.lower() in read_page(name).lower()]
    message = f"There is no topic {word!r}."
    command = word.split(" ")[0]
    if command in COMMANDS:
        message += f" The command explains itself with 'gwnet {command} --help'."
    if near:
        message += f" Did you mean {' or '.join(near)}?"
    if 0 < len(having) <= _MOST_PAGES:
        message += f" The word is on the page{'s' * (len(having) > 1)} {', '.join(having)}."
    return f"{message} 'gwnet help' lists all topics."


def render_page(page: str, width: int | None = None, *, styled: bool | None = None) -> str:
    """Return a page as text for a terminal.

    Parameters
    ----------
    page : str
        Markdown.
    width : int, optional
        Signs in a line; those of the terminal unless given, within bounds that can be read.
    styled : bool, optional
        Whether headings and code stand out; on a terminal that can, unless given.
    """
    columns = shutil.get_terminal_size().columns if width is None else width
    # Lines beyond 110 signs are hard to follow, however wide the terminal is.
    text = _Text(max(_NARROWEST, min(columns, _WIDEST)), styled=emphasis.wanted() if styled is None else styled)
    return "\n".join(text.lines(page)).strip("\n")


class _Text:
    """Sets Markdown as lines of a width."""

    def __init__(self, width: int, *, styled: bool) -> None:
        self.width = width
        self.styled = styled

    def lines(self, page: str) -> Iterator[str]:
        """Yield the lines of a page."""
        for block in _blocks(page):
            yield from self._block(block)
            yield ""

    def _block(self, block: list[str]) -> Iterator[str]:
        first = block[0]
        if first.startswith("```"):
            yield from (f"    {line}".rstrip() for line in block[1:])
        elif first.startswith("#"):
            heading = self._plain(first.lstrip("#").strip())
            yield click.style(heading, bold=True, underline=first.startswith("# ")) if self.styled else heading
        elif len(block) > 1 and _RULE_OF_TABLE.fullmatch(block[1]):
            yield from self._table([_cells(line) for line in (block[0], *block[2:])])
        else:
            yield from self._paragraphs(block)

    def _paragraphs(self, block: list[str]) -> Iterator[str]:
        """Yield the lines of a paragraph or of the items of a list."""
        mark, text = "", ""
        # An empty item at the end, which brings out the last one.
        for line in [*block, "- "]:
            item = _ITEM.fullmatch(line)
            if item is None:
                text = f"{text} {line.strip()}"
                continue
            if text.strip():
                yield from self._wrapped(text.strip(), self.width, mark)
            mark, text = f"{item[1]}{item[2]}", item[3]

    def _wrapped(self, text: str, width: int, mark: str = "") -> Iterator[str]:
        # Not broken at hyphens, or the two of an option would stand at the end of a line.
        glued = _CODE.sub(lambda code: _glue(code[0]), _LINK.sub(r"\1", text))
        for line in textwrap.wrap(
            glued, width, initial_indent=mark, subsequent_indent=" " * len(mark), break_on_hyphens=False
        ):
            yield self._emphasised(line)

    def _emphasised(self, line: str) -> str:
        line = line.replace(_GLUE, " ")
        if not self.styled:
            return _BOLD.sub(r"\1", line)
        line = _CODE.sub(lambda code: click.style(code[1], fg="cyan"), line)
        return _BOLD.sub(lambda bold: click.style(bold[1], bold=True), line)

    def _plain(self, text: str) -> str:
        return _CODE.sub(r"\1", _BOLD.sub(r"\1", text))

    def _table(self, rows: list[list[str]]) -> Iterator[str]:
        """Yield the lines of a table; cells are wrapped where it is wider than the terminal."""
        rows = [[_LINK.sub(r"\1", self._plain(cell)) for cell in row] for row in rows]
        # A row may have fewer cells than the heading; Markdown takes the rest as empty.
        count = max(map(len, rows))
        rows = [row + [""] * (count - len(row)) for row in rows]
        widths = _column_widths(rows, self.width - 2 * (count - 1))
        for number, row in enumerate(rows):
            parts = [textwrap.wrap(cell, width) or [""] for cell, width in zip(row, widths, strict=True)]
            for line in range(max(map(len, parts))):
                pieces = [part[line] if line < len(part) else "" for part in parts]
                text = "  ".join(f"{piece:<{width}}" for piece, width in zip(pieces, widths, strict=True)).rstrip()
                yield click.style(text, bold=True) if self.styled and number == 0 else text
            if number == 0:
                yield "  ".join("-" * width for width in widths)


def _column_widths(rows: Sequence[Sequence[str]], room: int) -> list[int]:
    """Return the widths of columns: as wide as they need, the widest made narrower until all have room."""
    widths = [max(1, *(len(cell) for cell in column)) for column in zip(*rows, strict=True)]
    while sum(widths) > room:
        widest = max(range(len(widths)), key=widths.__getitem__)
        # Narrower columns cannot be read; then the lines run over the edge.
        if widths[widest] <= _NARROWEST_COLUMN:
            break
        widths[widest] -= 1
    return widths


def _blocks(page: str) -> Iterator[list[str]]:
    """Yield the blocks of a page: lines that belong together, without comments."""
    block: list[str] = []
    code = False
    for line in page.splitlines():
        if line.startswith("```"):
            if block and not code:
                yield block
            if code:
                yield block
            block, code = ([] if code else [line]), not code
        elif code:
            block.append(line)
        elif not line.strip() or line.startswith(("#", "<!--")):
            if block:
                yield block
            block = []
            if line.startswith("#"):
                yield [line]
        else:
            block.append(line)
    if block:
        yield block


def _cells(line: str) -> list[str]:
    """Return the cells of a line of a table."""
    # A bar within a cell is written with a backslash, as in the list of choices of an option.
    return [cell.strip().replace("\\|", "|") for cell in re.split(r"(?<!\\)\|", line.strip().strip("|"))]


def _glue(code: str) -> str:
    """Return short code with signs for blanks at which no line is broken."""
    return code.replace(" ", _GLUE) if len(code) <= _LONGEST_GLUED else code
