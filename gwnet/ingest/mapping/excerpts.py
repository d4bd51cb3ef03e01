"""Rows of a source file that were rejected, with its own headings, to be fixed and imported again by the same mapping.

Of text the bytes of the lines are copied; rows of a workbook or another file that is no text become CSV. The name
says which file and sheet the rows are of, so that a mapping takes them for that.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from gwnet.ingest.mapping.grids import Grid, SourceFile, as_csv, original_name
from gwnet.ingest.tables.rejected import Excerpt

#: Byte-order marks with the encodings that they stand for.
_MARKS: Final[tuple[tuple[bytes, str], ...]] = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_LINE: Final = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+$")


def take_rows(file: SourceFile, grid: Grid, start: int, numbers: Iterable[int]) -> Excerpt:
    """Return some rows of a file with its headings and what is above them.

    Parameters
    ----------
    file : gwnet.ingest.mapping.grids.SourceFile
        The file.
    grid : gwnet.ingest.mapping.grids.Grid
        Its rows.
    start : int
        Place of the first row below the headings.
    numbers : iterable of int
        Lines of the rows.

    Returns
    -------
    gwnet.ingest.tables.rejected.Excerpt
        Headings stay in their line, as a mapping names it.
    """
    rows = sorted(set(numbers))
    first = grid.numbers[start] if start < len(grid.numbers) else grid.numbers[-1] + 1
    following = dict(zip(grid.numbers, [*grid.numbers[1:], 0], strict=True))
    name, sheet = original_name(file.name)
    if not file.text:
        stem = ".".join(part for part in (_plain(name), _plain(sheet or grid.sheet)) if part)
        cells = dict(zip(grid.numbers, grid.rows, strict=True))
        above = [cells.get(number, []) for number in range(1, first)]
        content = as_csv([*above, *(cells[row] for row in rows)])
        return Excerpt(stem, ".csv", content, {row: first + place for place, row in enumerate(rows)})
    # With its mark and encoding, so that the rows, once corrected, are read by the same mapping as the file.
    mark, encoding = next((pair for pair in _MARKS if file.content.startswith(pair[0])), (b"", grid.encoding))
    lines = _LINE.findall(file.content[len(mark) :].decode(encoding or "utf-8"))
    # With what stands above the headings: a mapping may read labels there, and counts lines from the top.
    kept = lines[: first - 1]
    places: dict[int, int] = {}
    for row in rows:
        places[row] = len(kept) + 1
        # A row may run over several lines, up to the next one.
        kept += lines[row - 1 : following.get(row, 0) - 1 if following.get(row) else None]
    path = Path(name)
    return Excerpt(path.stem, path.suffix, mark + "".join(kept).encode(encoding or "utf-8"), places)


def _plain(name: str) -> str:
    """Return a name without signs that file systems refuse."""
    return re.sub(r'[/\\:<>|"?*\x00-\x1f]+', "_", name)
