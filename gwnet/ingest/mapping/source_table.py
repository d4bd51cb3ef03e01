"""A table of a file with its headings found: rows below them, cells above them, wide tables made long."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field, replace
from fnmatch import fnmatch
from typing import Final

from gwnet.errors import LayoutError
from gwnet.ingest.mapping.grids import Grid, SourceFile, decode, original_name, text_grid
from gwnet.ingest.mapping.mapping import Condition, Reference, Source
from gwnet.ingest.mapping.repair import repair_rows
from gwnet.records import Rejection

#: Words for no value that every table may have.
MISSING: Final[frozenset[str]] = frozenset(
    {"", "-", "--", "---", "NaN", "nan", "NA", "N/A", "n/a", "null", "NULL", "None"}
)


@dataclass
class SourceTable:
    """A table of a file.

    Attributes
    ----------
    file : str
        Name of the file, with its sheet.
    title : str
        The file's stem, or the sheet's name.
    headings, units : list of str
        Headings, and the units below them.
    rows : list of list of str
        Cells of each row, as many as there are headings.
    numbers : list of int
        Line of each row.
    above : list of list of str
        Cells of the lines above the headings.
    remarks : list of str
        What was repaired and passed over.
    rejections : list of gwnet.records.Rejection
        Rows that cannot be read.
    open_row : int or None
        Line of the last row, where it has no line end and may have been cut.
    grid : gwnet.ingest.mapping.grids.Grid or None
        The grid that it is of.
    start : int
        Place of the first row below the headings in the grid.
    open_place : int
        Place of its last cell; what is behind may be lacking.
    """

    file: str
    title: str
    headings: list[str]
    units: list[str]
    rows: list[list[str]]
    numbers: list[int]
    above: list[list[str]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    rejections: list[Rejection] = field(default_factory=list)
    open_row: int | None = None
    open_place: int = 0
    grid: Grid | None = None
    start: int = 0

    def place(self, reference: Reference) -> int:
        """Return the place of a column; LayoutError where there is none."""
        if isinstance(reference, int):
            if 1 <= reference <= len(self.headings):
                return reference - 1
        elif len(reference) > 2 and reference[0] == reference[-1] == "/":
            for place, heading in enumerate(self.headings):
                if re.search(reference[1:-1], heading):
                    return place
        else:
            wanted = _plain(reference)
            for place, heading in enumerate(self.headings):
                if _plain(heading) == wanted:
                    return place
        message = f"The table has no column {reference!r}."
        fix = f"Its columns are: {', '.join(heading.strip() or '(no heading)' for heading in self.headings)}."
        raise LayoutError(message, where=self.file, fix=fix)

    def cells(self, reference: Reference) -> list[str]:
        """Return the cells of a column."""
        place = self.place(reference)
        return [row[place] for row in self.rows]

    def labelled(self, label: str) -> str:
        """Return the cell that follows a label above the table; empty where there is none."""
        wanted = _plain(label)
        for cells in self.above:
            for place, cell in enumerate(cells):
                name, _, behind = cell.partition(":")
                if _plain(cell).rstrip(":") == wanted.rstrip(":"):
                    return next((other.strip() for other in cells[place + 1 :] if other.strip()), "")
                if behind.strip() and _plain(name) == wanted:
                    return behind.strip()
        return ""


def _plain(text: str) -> str:
    # Headings are broken over lines in workbooks, and written in all ways.
    return " ".join(text.split()).casefold()


def is_of(source: Source, file: SourceFile, grid: Grid) -> bool:
    """Return whether a grid is one of a source.

    Parameters
    ----------
    source : gwnet.ingest.mapping.mapping.Source
        The source.
    file : gwnet.ingest.mapping.grids.SourceFile
        File of the grid.
    grid : gwnet.ingest.mapping.grids.Grid
        The grid.

    Returns
    -------
    bool
        Whether file and sheet have its names.
    """
    name = original_name(file.name)[0]
    # Its very name as well: brackets in a name are a pattern to fnmatch.
    named = fnmatch(name.lower(), source.file.lower()) or name == source.file
    return named and (not grid.sheet or fnmatch(grid.sheet.lower(), source.sheet.lower()) or grid.sheet == source.sheet)


def open_table(source: Source, file: SourceFile, grid: Grid) -> SourceTable:
    """Return the table of a grid as a source says.

    Parameters
    ----------
    source : gwnet.ingest.mapping.mapping.Source
        How it is to be read.
    file : gwnet.ingest.mapping.grids.SourceFile
        File of the grid.
    grid : gwnet.ingest.mapping.grids.Grid
        Its rows.

    Returns
    -------
    SourceTable
        Headings and rows; blank rows are left out.

    Raises
    ------
    gwnet.errors.LayoutError
        If the line of headings is beyond the end.
    """
    if file.text and (
        source.widths or source.comment or source.encoding or source.delimiter not in {"", grid.delimiter}
    ):
        text, encoding = (file.text, grid.encoding)
        if source.encoding and source.encoding != grid.encoding:
            text, encoding = decode(file.name, file.content, source.encoding)
        named = {"delimiter": source.delimiter, "widths": source.widths, "comment": source.comment}
        grid = text_grid(file.name, text, encoding=encoding, **named)  # type: ignore[arg-type]
    table = _below_headings(source, grid)
    if file.text and not file.text.endswith(("\n", '"')) and table.numbers and table.numbers[-1] == grid.numbers[-1]:
        table = replace(table, open_row=table.numbers[-1])
    if source.wide_first:
        table = _made_long(source, table)
    return _passed_over(source, table)


def _below_headings(source: Source, grid: Grid) -> SourceTable:
    start = next((n for n, number in enumerate(grid.numbers) if number >= source.heading_row), None)
    if start is None:
        message = f"The headings are said to be in line {source.heading_row}, and the table ends before it."
        raise LayoutError(message, where=grid.file, fix="Correct heading_row of the source.")
    above = grid.rows[:start]
    if source.heading_row:
        headings = [" ".join(cell.split()) for cell in grid.rows[start]]
        while headings and not headings[-1]:
            headings.pop()
        start += 1
    else:
        # Of most rows, as the first may be a title.
        width = Counter(len(row) for row in grid.rows).most_common(1)[0][0]
        headings = [str(place) for place in range(1, width + 1)]
    units: list[str] = []
    if source.units_below and start < len(grid.rows):
        units = grid.rows[start]
        start += 1
    units = [cell.strip() for cell in units[: len(headings)]] + [""] * (len(headings) - len(units))
    table = SourceTable(grid.file, grid.title, headings, units, [], [], above, grid=grid, start=start)
    for cells, number in zip(grid.rows[start:], grid.numbers[start:], strict=True):
        if source.footer and cells and cells[0].startswith(source.footer):
            break
        if any(cell.strip() for cell in cells):
            table.rows.append(cells)
            table.numbers.append(number)
    if table.numbers and table.numbers[-1] == grid.open_row:
        table.open_row = grid.open_row
        table.open_place = min(len(table.rows[-1]), len(headings)) - 1
    # Before anything reads a column by its place.
    repair_rows(table, grid.delimiter)
    return table


def _made_long(source: Source, table: SourceTable) -> SourceTable:
    """Return a table with one column a well as one with a row for each filled cell."""
    first = source.wide_first - 1
    kept, wells = table.headings[:first], table.headings[first:]
    missing = {*MISSING, *source.missing}
    rows, numbers = [], []
    for cells, number in zip(table.rows, table.numbers, strict=True):
        for place, well in enumerate(wells, first):
            # An empty cell of a wide table is no reading that failed: the well was not visited.
            if cells[place].strip() not in missing and well:
                rows.append([*cells[:first], well, cells[place]])
                numbers.append(number)
    headings = [*kept, source.wide_heading, source.wide_value]
    units = [*table.units[:first], "", next((unit for unit in table.units[first:] if unit), "")]
    # The cell that may be cut is in the column of values now, wherever it stood.
    open_place = min(table.open_place, headings.index(source.wide_value, first))
    return replace(table, headings=headings, units=units, rows=rows, numbers=numbers, open_place=open_place)


def _passed_over(source: Source, table: SourceTable) -> SourceTable:
    if not source.pass_over:
        return table
    held = [holds(condition, table) for condition in source.pass_over]
    kept = [row for row in range(len(table.rows)) if not any(flags[row] for flags in held)]
    remarks = list(table.remarks)
    for condition, flags in zip(source.pass_over, held, strict=True):
        if sum(flags):
            remarks.append(
                f"{sum(flags):,} row{'s' * (sum(flags) != 1)} passed over by the condition on {condition.column!r}"
            )
    rows, numbers = [table.rows[row] for row in kept], [table.numbers[row] for row in kept]
    return replace(table, rows=rows, numbers=numbers, remarks=remarks)


def holds(condition: Condition, table: SourceTable) -> list[bool]:
    """Return for each row of a table whether a condition holds.

    Parameters
    ----------
    condition : gwnet.ingest.mapping.mapping.Condition
        The condition.
    table : SourceTable
        The table.

    Returns
    -------
    list of bool
        One a row.
    """
    cells = [cell.strip() for cell in table.cells(condition.column)]
    if condition.empty is not None:
        return [(cell in MISSING) == condition.empty for cell in cells]
    if condition.matches:
        pattern = re.compile(condition.matches)
        return [bool(pattern.search(cell)) for cell in cells]
    return [cell in condition.words for cell in cells]
