"""What is spoilt: for each kind of file a good one, the record that it goes into, the command, and the judge."""

from __future__ import annotations

import random
import re
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

from ..helpers import Ran
from . import mutate_text, mutate_workbook, oracle_definitions, oracle_loggers, oracle_mappings, read_again
from .oracle_tables import SHAPES, Oracle
from .scenario import DEFINITION, LAYOUT, MAPPING, TABLES, foreign_tables, logger_file, write_files
from .stages import run_here

#: Order in which tables are loaded.
ORDER: Final = (
    *("sites", "aquifers", "wells", "construction", "measuring_points", "instruments", "tape_checks", "rounds"),
    *("deployments", "stages", "level_events"),
)


@dataclass(frozen=True)
class Spoilt:
    """One spoilt file.

    Attributes
    ----------
    base : str
        Tables of the record that it goes into, the last of them.
    name : str
        Name of the file.
    content : bytes
        Its bytes.
    how : str
        What was done to it.
    arguments : tuple of str
        Command, with ``{file}``, ``{files}`` and ``{out}``.
    """

    base: str
    name: str
    content: bytes
    how: str
    arguments: tuple[str, ...]


class Subject(Protocol):
    """A kind of file."""

    def spoil(self, rng: random.Random) -> Spoilt:
        """Return a spoilt file."""
        ...

    def faults(self, spoilt: Spoilt, ran: Ran, record: sqlite3.Connection, out: Path) -> Iterator[str]:
        """Yield what was accepted and is wrong."""
        ...


def _source(record: sqlite3.Connection) -> int | None:
    """Return the file that was kept last."""
    return record.execute("SELECT max(id) FROM source_file").fetchone()[0]


class Tables:
    """Tables as text."""

    def spoil(self, rng: random.Random) -> Spoilt:
        """Return a spoilt table."""
        table = rng.choice([*SHAPES, "level_events", "level_events"])
        content, how = mutate_text.mutate(TABLES[table].encode(), mutate_text.DELIMITED, rng)
        return Spoilt(_before(table), f"{table}.csv", content, how, ("load", "{file}", "--by", "Ana"))

    def faults(self, spoilt: Spoilt, ran: Ran, record: sqlite3.Connection, out: Path) -> Iterator[str]:
        """Yield where the record differs from the file."""
        source = _source(record)
        rows = read_again.read_text(spoilt.content)
        table = spoilt.name.partition(".")[0]
        if rows.rows:
            yield from Oracle(record, source or 0).faults(table, rows, ran.out + ran.err)
        yield from _cut_short(spoilt.content, ran)


def _cut_short(content: bytes, ran: Ran) -> Iterator[str]:
    """Yield that a last line without an end was taken without a word, where its last number may have lost digits."""
    lines = read_again.decode(content).splitlines(keepends=True)
    last = lines[-1]
    if not re.search(r"[0-9]\Z", last) or len(lines) < 3 or re.search(r"\bline\b", ran.err + ran.out):
        return
    cells = [re.split(r"[,;\t]", line.rstrip())[-1] for line in lines[:-1]]
    longest = max((len(cell) for cell in cells if re.fullmatch(r"[0-9.]+", cell)), default=0)
    if len(re.split(r"[,;\t]", last)[-1]) < longest:
        yield f"the last line has no end, {last!r}, and nothing was said of it"


def _before(table: str) -> str:
    return ORDER[ORDER.index(table) - 1]


class Workbooks:
    """Workbooks with several tables."""

    SHEETS: Final = ("construction", "measuring_points", "stages", "level_events")

    def __init__(self) -> None:
        self.content = mutate_workbook.make({name: TABLES[name] for name in self.SHEETS})

    def spoil(self, rng: random.Random) -> Spoilt:
        """Return a spoilt workbook."""
        content, how = mutate_workbook.mutate(self.content, rng)
        return Spoilt("workbook", "field.xlsx", content, how, ("load", "{file}", "--by", "Ana"))

    def faults(self, spoilt: Spoilt, ran: Ran, record: sqlite3.Connection, out: Path) -> Iterator[str]:
        """Yield where the record differs from the sheets."""
        sheets = read_again.read_book(spoilt.content)
        said = ran.out + ran.err
        for title, rows in sheets.items():
            table = re.sub(r"[\s\-]+", "_", title.strip().lower())
            if table in SHAPES and rows.rows:
                yield from Oracle(record, _source(record) or 0).faults(table, rows, said)
            elif table not in SHAPES and not title.startswith("(") and title not in said:
                yield f"nothing was said of the sheet {title!r}"


class Exports:
    """Exports of a logger, read with a good layout."""

    def spoil(self, rng: random.Random) -> Spoilt:
        """Return a spoilt export."""
        content, how = mutate_text.mutate(logger_file(60).encode(), mutate_text.DELIMITED, rng)
        arguments = ("logger", "load", "{file}", "--layout", "{files}/layout.toml", "--by", "Ana")
        return Spoilt("deployments", "export.csv", content, how, arguments)

    def faults(self, spoilt: Spoilt, ran: Ran, record: sqlite3.Connection, out: Path) -> Iterator[str]:
        """Yield where the samples differ from the file."""
        yield from oracle_loggers.faults(record, LAYOUT, read_again.decode(spoilt.content), ran)
        yield from _cut_short(spoilt.content, ran)


class Layouts:
    """Layouts, with which a good export is read."""

    def spoil(self, rng: random.Random) -> Spoilt:
        """Return a spoilt layout."""
        content, how = mutate_text.mutate(LAYOUT.encode(), oracle_loggers.LAYOUT_MUTATIONS, rng)
        arguments = ("logger", "load", "{files}/logger.csv", "--layout", "{file}", "--by", "Ana")
        return Spoilt("deployments", "spoilt.toml", content, how, arguments)

    def faults(self, spoilt: Spoilt, ran: Ran, record: sqlite3.Connection, out: Path) -> Iterator[str]:
        """Yield where the samples differ from what layout and file say."""
        yield from oracle_loggers.faults(record, spoilt.content.decode("utf-8-sig"), logger_file(), ran)


class Definitions:
    """Definitions of reports."""

    def spoil(self, rng: random.Random) -> Spoilt:
        """Return a spoilt definition."""
        content, how = mutate_text.mutate(DEFINITION.encode(), oracle_definitions.MUTATIONS, rng)
        arguments = ("report", "{file}", "--period", "2026-Q1", "--out", "{out}", "--processes", "1")
        return Spoilt("level_events", "spoilt.toml", content, how, arguments)

    def faults(self, spoilt: Spoilt, ran: Ran, record: sqlite3.Connection, out: Path) -> Iterator[str]:
        """Yield what the report has otherwise than its definition says."""
        yield from oracle_definitions.faults(spoilt.content, out)


class Mappings:
    """Mappings, by which good tables of somebody else are imported."""

    def spoil(self, rng: random.Random) -> Spoilt:
        """Return a spoilt mapping."""
        content, how = mutate_text.mutate(MAPPING.encode(), oracle_mappings.MAPPING_MUTATIONS, rng)
        files = ("import", "{files}/readings.csv", "{files}/stations.csv", "--mapping", "{file}", "--by", "Ana")
        return Spoilt("aquifers", "spoilt.toml", content, how, files)

    def faults(self, spoilt: Spoilt, ran: Ran, record: sqlite3.Connection, out: Path) -> Iterator[str]:
        """Yield where the record differs from what the mapping says of the files."""
        files = {name: text.encode() for name, text in foreign_tables().items()}
        yield from oracle_mappings.faults(record, spoilt.content, files, ran.out + ran.err)


class Sources:
    """Tables of somebody else, one of them spoilt, which a good mapping reads."""

    def spoil(self, rng: random.Random) -> Spoilt:
        """Return a spoilt table."""
        name, other = rng.choice([("readings.csv", "stations.csv")] * 2 + [("stations.csv", "readings.csv")])
        content, how = mutate_text.mutate(foreign_tables()[name].encode(), mutate_text.DELIMITED, rng)
        files = ("import", "{file}", f"{{files}}/{other}", "--mapping", "{files}/mapping.toml", "--by", "Ana")
        return Spoilt("aquifers", name, content, how, files)

    def faults(self, spoilt: Spoilt, ran: Ran, record: sqlite3.Connection, out: Path) -> Iterator[str]:
        """Yield where the record differs from what the mapping says of the files."""
        files = {name: text.encode() for name, text in foreign_tables().items()} | {spoilt.name: spoilt.content}
        yield from oracle_mappings.faults(record, MAPPING.encode(), files, ran.out + ran.err)
        yield from _cut_short(spoilt.content, ran)


SUBJECTS: Final[dict[str, type[Subject]]] = {
    "tables": Tables,
    "workbooks": Workbooks,
    "exports": Exports,
    "layouts": Layouts,
    "definitions": Definitions,
    "mappings": Mappings,
    "sources": Sources,
}

#: Shares of the spoilt files of each kind; a report takes much longer than a table.
SHARES: Final = {
    "tables": 0.30,
    "workbooks": 0.13,
    "exports": 0.20,
    "layouts": 0.13,
    "definitions": 0.02,
    "mappings": 0.12,
    "sources": 0.10,
}


class Bases:
    """Records with some of the tables, each made once."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.files = folder, folder / "files"
        write_files(self.files)

    def record(self, last: str) -> Path:
        """Return the path of the record with all tables up to one."""
        path = self.folder / f"{last}.sqlite"
        if not path.exists():
            skipped = Workbooks.SHEETS if last == "workbook" else ORDER[ORDER.index(last) + 1 :]
            tables = [str(self.files / "tables" / f"{name}.csv") for name in ORDER if name not in skipped]
            for arguments in (["init"], ["load", *tables, "--by", "Ana"]):
                ran = run_here([*arguments, "--db", str(path)])
                assert ran.code == 0, ran.err
        return path

    def copy(self, last: str) -> Path:
        """Return the path of a copy that may be changed."""
        return Path(shutil.copyfile(self.record(last), self.folder / "copy.sqlite"))
