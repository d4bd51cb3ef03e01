"""ODS, GeoPackage and Parquet whose sheets, layers and tables are tables of ours, as exports are."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

from gwnet.errors import UnreadableFileError
from gwnet.ingest.mapping.binary_grids import binary_grids
from gwnet.ingest.mapping.grids import Grid
from gwnet.ingest.tables.raw import RawSheet, find_table, is_help
from gwnet.records import Rejection

#: Tables of an export that are about others.
_ABOUT: Final = frozenset({"layer_styles", "column_descriptions"})


def read_named(name: str, content: bytes) -> list[RawSheet]:
    """Read the sheets, layers or tables of a file.

    Parameters
    ----------
    name : str
        Name of the file; its ending says what it is.
    content : bytes
        Its bytes.

    Returns
    -------
    list of gwnet.ingest.tables.raw.RawSheet
        Those that are not empty and not named in round brackets. Formulas are problems of their cells.

    Raises
    ------
    UnreadableFileError
        If it is not what its name says, or holds places in a coordinate system that nothing in it says is the site's.
    """
    grids = [grid for grid in binary_grids(Path(name), content) if not is_help(grid.sheet) and grid.sheet not in _ABOUT]
    sheets = [_sheet(name, grid) for grid in grids if grid.rows]
    if not sheets:
        raise UnreadableFileError("The file has no filled table.", where=name, fix="Check that it is the right one.")
    return sheets


def _sheet(name: str, grid: Grid) -> RawSheet:
    # Exports give points for drawing; the places themselves are in the columns.
    grid = _without_places(name, grid)
    first = next((place for place, row in enumerate(grid.rows) if any(cell.strip() for cell in row)), 0)
    headings = grid.rows[first]
    rows, numbers, rejections = [], [], []
    for cells, number in zip(grid.rows[first + 1 :], grid.numbers[first + 1 :], strict=True):
        if not any(cell.strip() for cell in cells):
            continue
        rows.append([*cells, *[""] * (len(headings) - len(cells))][: len(headings)])
        numbers.append(number)
        for place, cell in enumerate(cells):
            # Columns in round brackets are help of our own sheets, which calculate.
            if (number, place) in grid.formulas and place < len(headings) and not is_help(headings[place]):
                message = "The cell holds a formula; a formula is not a reading."
                fix = "Replace it by its value (paste as values)."
                rejections.append(
                    Rejection("", grid.file, number, headings[place].strip(), cell[:100], "formula", message, fix)
                )
            elif place >= len(headings) and cell.strip():
                message = f"A cell is filled beyond the last heading, {headings[-1]!r}."
                fix = "Give the column a heading, or empty it."
                rejections.append(Rejection("", grid.file, number, None, cell[:100], "row-too-long", message, fix))
    return RawSheet(grid.file, grid.sheet, headings, rows, numbers, rejections)


def _without_places(name: str, grid: Grid) -> Grid:
    """Return a layer without the coordinates that its geometry gave, where its table has none; refuse where it has."""
    if not grid.headed:
        return grid
    table = find_table(grid.sheet)
    wanted = table is None or "easting" in table.names
    if grid.placed and wanted:
        message = f"The places of layer {grid.sheet} are in {grid.placed}, which need not be the site's system."
        raise UnreadableFileError(message, where=name, fix="Bring it in with 'gwnet import try', which asks for it.")
    unwanted = {"crs"} if wanted else {"crs", "easting", "northing", "longitude", "latitude"}
    if table is not None and table.name == "sites":
        unwanted = set()
    places = [place for place, heading in enumerate(grid.rows[0]) if heading not in unwanted]
    return replace(grid, rows=[[row[place] for place in places] for row in grid.rows])
