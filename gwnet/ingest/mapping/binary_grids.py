"""Grids of workbooks, ODS, GeoPackages, Parquet files and queries of databases."""

from __future__ import annotations

import io
import warnings
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, NoReturn
from xml.parsers import expat

from gwnet.errors import IngestError, UnreadableFileError
from gwnet.ingest.mapping.grids import Grid, text_of
from gwnet.ingest.readers.package import LARGEST_RATIO, LARGEST_UNPACKED, Package, SheetPart
from gwnet.ingest.readers.sheet_cells import Workbook
from gwnet.plain_text import MASK, hide_passwords

#: Most blank rows and cells that a repetition in an ODS file may stand for.
_MOST_REPEATS: Final = 10_000


def binary_grids(path: Path, content: bytes) -> list[Grid]:
    """Return the grids of a file that is no text: one a sheet, layer or table.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    content : bytes
        Its bytes.

    Returns
    -------
    list of gwnet.ingest.mapping.grids.Grid
        Those that are not empty.

    Raises
    ------
    gwnet.errors.UnreadableFileError
        If it is not what its name says.
    """
    readers = {".xlsx": _workbook, ".xlsm": _workbook, ".ods": _ods, ".gpkg": _layers}
    reader = readers.get(path.suffix.lower(), _parquet)
    try:
        grids = reader(path, content)
    except IngestError:
        raise
    # Libraries raise errors of many kinds over damaged files.
    except Exception as error:
        message = f"The file cannot be read: {type(error).__name__}: {error}."
        raise UnreadableFileError(message, where=path.name, fix="Save it again, or save its tables as CSV.") from error
    filled = [grid for grid in grids if any(any(cell.strip() for cell in row) for row in grid.rows)]
    if not filled:
        raise UnreadableFileError("The file holds no rows.", where=path.name, fix="Check that it is the right one.")
    return filled


def _workbook(path: Path, content: bytes) -> list[Grid]:
    package = Package(path.name, content)
    book = Workbook(package)
    # Hidden sheets hold lists and what somebody put out of the way.
    return [_sheet_grid(path.name, sheet, book) for sheet in package.sheets if sheet.part and sheet.visible]


def _sheet_grid(file: str, sheet: SheetPart, book: Workbook) -> Grid:
    rows: list[list[str]] = []
    numbers: list[int] = []
    for number, cells in book.rows(sheet.part):
        texts = [""] * (cells[-1].place + 1 if cells else 0)
        for cell in cells:
            texts[cell.place] = text_of(cell.value)
        rows.append(texts)
        numbers.append(number)
    return Grid(f"{file} [{sheet.title}]", sheet.title, sheet.title, rows, numbers)


def _grid(file: str, sheet: str, rows: list[list[str]], *, headed: bool = False) -> Grid:
    # Programs write thousands of formatted rows without content behind a table.
    while rows and not any(cell.strip() for cell in rows[-1]):
        rows.pop()
    return Grid(f"{file} [{sheet}]", sheet, sheet, rows, list(range(1, len(rows) + 1)), headed=headed)


def _ods(path: Path, content: bytes) -> list[Grid]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        info = archive.getinfo("content.xml")
        # Before it is unpacked: a small file can hold gigabytes of zeros.
        if info.file_size > min(LARGEST_UNPACKED, LARGEST_RATIO * len(content)):
            message = f"The file unpacks to {info.file_size / 1e6:,.0f} MB, which is too much."
            raise UnreadableFileError(message, where=path.name, fix="Save its tables as CSV.")
        text = archive.read(info)
    sheets = _OdsSheets(path.name)
    sheets.parse(text)
    return [
        replace(_grid(path.name, title, rows), formulas=frozenset(formulas))
        for (title, rows), formulas in zip(sheets.tables, sheets.formulas, strict=True)
    ]


class _OdsSheets:
    """Gathers the cells of the sheets of an ODS file (ODF 1.3, part 3, 9.1)."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.tables: list[tuple[str, list[list[str]]]] = []
        self.formulas: list[set[tuple[int, int]]] = []
        self._row: list[str] = []
        self._cell: dict[str, str] = {}
        self._lines: list[str] = []
        self._in_text = False

    def parse(self, text: bytes) -> None:
        """Parse the content of the file; a document type is refused."""
        parser = expat.ParserCreate()
        # Without it a text comes in pieces, split at every line end and entity.
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._say
        # Entities can be nested so that a small file fills the memory, or name files of this machine.
        parser.StartDoctypeDeclHandler = self._refuse
        parser.Parse(text, True)

    def _refuse(self, *_: object) -> NoReturn:
        message = "The file defines entities or a document type, which no table needs."
        raise UnreadableFileError(message, where=self.file, fix="Save it again with a spreadsheet program.")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        kind = name.rpartition(":")[2]
        plain = {key.rpartition(":")[2]: value for key, value in attributes.items()}
        if kind == "table":
            self.tables.append((plain.get("name", ""), []))
            self.formulas.append(set())
        elif kind == "table-row":
            self._row, self._cell = [], {"rows": plain.get("number-rows-repeated", "1")}
        elif kind in {"table-cell", "covered-table-cell"}:
            self._cell = plain | {"rows": self._cell.get("rows", "1")}
            self._lines = []
        elif kind == "p":
            self._lines.append("")
            self._in_text = True

    def _say(self, text: str) -> None:
        if self._in_text and self._lines:
            self._lines[-1] += text

    def _end(self, name: str) -> None:
        kind = name.rpartition(":")[2]
        if kind == "p":
            self._in_text = False
        elif kind in {"table-cell", "covered-table-cell"}:
            # A sheet is filled up to its last column by one repeated empty cell.
            repeated = min(int(self._cell.get("number-columns-repeated", "1")), _MOST_REPEATS)
            if "formula" in self._cell and self.tables:
                self.formulas[-1].add((len(self.tables[-1][1]) + 1, len(self._row)))
            self._row += [self._text()] * repeated
        elif kind == "table-row" and self.tables:
            # A row may be filled up with empty cells as far as a sheet goes.
            while self._row and not self._row[-1]:
                self._row.pop()
            repeated = min(int(self._cell.get("rows", "1")), _MOST_REPEATS)
            self.tables[-1][1].extend(list(self._row) for _ in range(repeated))

    def _text(self) -> str:
        kind = self._cell.get("value-type", "")
        # The value, not the text beside it, which is rounded to what the sheet shows.
        if kind == "float":
            return text_of(float(self._cell.get("value", "nan")))
        if kind == "date":
            return self._cell.get("date-value", "").removesuffix("T00:00:00")
        return "\n".join(self._lines)


def _layers(path: Path, content: bytes) -> list[Grid]:
    import pyogrio

    grids = []
    with warnings.catch_warnings():
        # the library keeps the bytes under a name of its own, and warns that it has not the format's ending
        warnings.filterwarnings("ignore", message=".*non conformant file extension", category=RuntimeWarning)
        layers = [
            (
                layer,
                kind,
                pyogrio.read_dataframe(content, layer=layer, read_geometry=bool(kind), datetime_as_string=True),
            )
            for layer, kind in pyogrio.list_layers(content).tolist()
        ]
    for layer, kind, frame in layers:
        placed = ""
        if kind is not None:
            # A point inside, of whatever kind the geometry is.
            points = frame.geometry.representative_point()
            geographic = frame.crs is not None and frame.crs.is_geographic
            across, up = ("longitude", "latitude") if geographic else ("easting", "northing")
            code = frame.crs.to_string() if frame.crs is not None else ""
            frame = frame.drop(columns=frame.geometry.name)
            if not geographic and not {"easting", "longitude"} & set(frame.columns):
                placed = code or "an unknown system"
            added = {across: points.x, up: points.y, "crs": code}
            frame = frame.assign(**{name: values for name, values in added.items() if name not in frame.columns})
        grids.append(replace(_of_frame(path.name, str(layer), frame), placed=placed))
    return grids


def _of_frame(file: str, sheet: str, frame: Any) -> Grid:
    columns = [[text_of(_plain(value)) for value in frame[name]] for name in frame.columns]
    rows = [[str(name) for name in frame.columns], *map(list, zip(*columns, strict=True))]
    return _grid(file, sheet, rows, headed=True)


def _plain(value: Any) -> Any:
    """Return a value of a frame as one of Python; None for what is missing."""
    import pandas as pd

    if pd.isna(value):
        return None
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime()
    return value.item() if hasattr(value, "item") else value


def _parquet(path: Path, content: bytes) -> list[Grid]:
    import pyarrow.parquet as parquet

    return [_of_frame(path.name, path.stem, parquet.read_table(io.BytesIO(content)).to_pandas())]


def query_grid(address: str, query: str) -> Grid:
    """Return the rows that a query of a database gives.

    Parameters
    ----------
    address : str
        SQLAlchemy URL.
    query : str
        The SQL; it must only read.

    Returns
    -------
    gwnet.ingest.mapping.grids.Grid
        Names and rows.

    Raises
    ------
    gwnet.errors.UnreadableFileError
        If the database cannot be reached or the query does not run; no message holds a password.
    """
    from sqlalchemy import create_engine, text
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError, SQLAlchemyError

    scheme = address.split("://", 1)[0]
    try:
        url = make_url(address)
    except (ArgumentError, ValueError):
        message = f"The address of the database ({scheme}://…) cannot be read."
        raise UnreadableFileError(message, fix="Write it as sqlite:///FILE or postgresql://USER@HOST/NAME.") from None
    # Parameters of an address may hold passwords as well.
    shown = url.set(query={}).render_as_string(hide_password=True)
    if not query.strip():
        message = "A database was named and no query."
        raise UnreadableFileError(message, where=shown, fix="Give it with --query 'SELECT … FROM …'.")
    try:
        engine = create_engine(url)
        with engine.connect() as connection:
            result = connection.execute(text(query))
            names = list(map(str, result.keys()))
            rows = [[text_of(_plain(value)) for value in row] for row in result]
            # Whatever the query does, nothing of it stays.
            connection.rollback()
        # A pool would keep the connection to a foreign database open.
        engine.dispose()
    except (SQLAlchemyError, ImportError, ValueError, TypeError) as error:
        reason = str(getattr(error, "orig", None) or type(error).__name__).splitlines()[0]
        # Drivers repeat the address in their errors. Where there is no password, a sign that no message has stands for
        # it.
        reason = hide_passwords(reason).replace(url.password or "\0", MASK)
        message = f"The query could not be run: {reason}."
        raise UnreadableFileError(message, where=shown, fix="Check address, rights and query.") from None
    return Grid(shown, url.database or "query", "", [names, *rows], list(range(1, len(rows) + 2)), headed=True)
