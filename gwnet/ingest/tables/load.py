"""Loading files and folders: everything that one command names lands together, or nothing does."""

from __future__ import annotations

import datetime as dt
import hashlib
import zlib
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Row, func, select

from gwnet.clock import moment_text
from gwnet.errors import FileRejectedError, IngestError, SettingsError
from gwnet.ingest.readers import DELIMITED, SUFFIXES, WORKBOOKS, read_bytes, read_sheets
from gwnet.ingest.tables.events import record_events
from gwnet.ingest.tables.instruction import Instruction, Tally
from gwnet.ingest.tables.kept import keep_absent
from gwnet.ingest.tables.last_line import IsComplete, check_last_line
from gwnet.ingest.tables.level_files import has_readings, is_level_file, recognise_levels, require_readings
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import Parsed, parse
from gwnet.ingest.tables.preview import RowChange, Watch
from gwnet.ingest.tables.problems import ACCEPTABLE, name_rows
from gwnet.ingest.tables.raw import RawSheet, RawTable, is_result, recognise, without_retired
from gwnet.ingest.tables.recording import record_rows
from gwnet.ingest.tables.rejected import TakeRows, write_rejected
from gwnet.ingest.tables.row_rules import check_rows
from gwnet.records import Rejection
from gwnet.store.contract import ORDER
from gwnet.store.fetch.registry import sites, zone_of_sites
from gwnet.store.models.schema import METADATA, RECORDED_TABLES
from gwnet.store.models.sources import SourceFile
from gwnet.store.save.bulk import insert_columns, reserve_ids
from gwnet.store.session import Store

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class FileResult:
    """What happened to one table of one file.

    Attributes
    ----------
    file : str
        Name of the file, with the sheet for a workbook.
    table : str
        Table of the contract; empty for a file that was not read.
    rows, added, unchanged, corrected, withdrawn, rejected : int
        Numbers of rows.
    note : str
        For example that the file is loaded already.
    warnings : tuple of str
        Unknown columns and the like.
    changes : tuple of gwnet.ingest.tables.preview.RowChange
        What corrections and withdrawals change.
    """

    file: str
    table: str = ""
    rows: int = 0
    added: int = 0
    unchanged: int = 0
    corrected: int = 0
    withdrawn: int = 0
    rejected: int = 0
    note: str = ""
    warnings: tuple[str, ...] = ()
    changes: tuple[RowChange, ...] = ()


@dataclass(frozen=True)
class LoadResult:
    """What a load did.

    Attributes
    ----------
    files : tuple of FileResult
        One for each table of each file.
    rejections : tuple of gwnet.records.Rejection
        Problems of rows.
    written : bool
        Whether the record was changed (or, for a dry run, would not be).
    dry_run : bool
        Whether nothing was to be written.
    rejected_files : tuple of pathlib.Path
        Files with the rejected rows.
    moved : pandas.DataFrame or None
        For a dry run, the levels that would move; see `gwnet.analysis.review.effects.moved`.
    """

    files: tuple[FileResult, ...]
    rejections: tuple[Rejection, ...]
    written: bool
    dry_run: bool
    rejected_files: tuple[Path, ...] = ()
    moved: Any = None

    @property
    def emptied(self) -> tuple[RowChange, ...]:
        """Return the values on record that corrections make empty."""
        return tuple(change for done in self.files for change in done.changes if change.empties)


@dataclass(frozen=True)
class MappedFile:
    """A file of which a mapping made tables.

    Attributes
    ----------
    path : pathlib.Path
        Its name.
    sha256 : str
        Hash of its bytes.
    content : bytes
        Its bytes.
    sheets : list of gwnet.ingest.tables.raw.RawSheet
        The tables that were made of it, each with the headings of a table of the contract.
    take_rows : callable or None
        Takes rows out of it, to be fixed where they are rejected.
    """

    path: Path
    sha256: str
    content: bytes
    sheets: list[RawSheet]
    take_rows: TakeRows | None = None


#: Called inside the transaction with the numbers of the kept files.
AfterRecording = Callable[[Connection, list[int]], None]


@dataclass
class _Source:
    """One file that was read."""

    path: Path
    sha256: str
    content: bytes
    tables: list[Parsed] = field(default_factory=list)
    take_rows: TakeRows | None = None
    id: int | None = None


class _Undo(Exception):  # noqa: N818 (not an error: it only ends a transaction)
    """Ends the transaction without keeping it."""


def load(
    store: Store,
    paths: Sequence[Path] | Sequence[MappedFile],
    *,
    by: str,
    now_utc: dt.datetime | None = None,
    dry_run: bool = False,
    keep_good: bool = False,
    correct: bool = False,
    withdraw: bool = False,
    reason: str | None = None,
    accept: Collection[str] = (),
    rejected_dir: Path | None = None,
    last_line_complete: IsComplete = False,
    progress: Progress | None = None,
    watch: Watch | None = None,
    after_recording: AfterRecording | None = None,
) -> LoadResult:
    """Load tables from files and folders.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    paths : sequence of pathlib.Path, or of MappedFile
        Files (CSV, workbook) and folders, or files of which a mapping made tables.
    by : str
        Who records.
    now_utc : datetime.datetime, optional
        Aware time that counts as what the clock says; the database's clock unless given.
    dry_run : bool, optional
        Check everything and write nothing.
    keep_good : bool, optional
        Record the good rows and write the others, with a column ``problem``, to files that can be loaded again.
    correct : bool, optional
        Replace live rows of the same key; the old ones are retired, never lost. A column that the file lacks keeps its
        value on record; an empty cell empties it.
    withdraw : bool, optional
        Retire the live rows of the same keys without a successor.
    reason : str, optional
        Why; needed to correct, to withdraw and to accept.
    accept : collection of str, optional
        Problems of `gwnet.ingest.tables.problems.ACCEPTABLE` that do not stop a row from being recorded.
    rejected_dir : pathlib.Path, optional
        Folder for rejected rows; the current one unless given.
    last_line_complete : bool or callable, optional
        Whether a last line without its line end is complete where its last cell may have been cut; or a function that
        is asked, with the rejection that it would be.
    progress : callable, optional
        Called with rows done and rows in all.
    watch : gwnet.ingest.tables.preview.Watch, optional
        Looks at the record before and after a dry run, inside its transaction.
    after_recording : callable, optional
        Called inside the transaction with the numbers of the kept files.

    Returns
    -------
    LoadResult
        What happened.

    Raises
    ------
    FileRejectedError
        If rows were rejected and ``keep_good`` was not asked for; nothing was written.
    IngestError
        If a file cannot be read or recognised; nothing was written.
    SettingsError
        If the options do not fit together.
    """
    instruction = Instruction(by, correct, withdraw, reason, frozenset(accept))
    _check_options(instruction, keep_good=keep_good)
    sources, notes = _read_all(store, paths, instruction, now_utc or store.now_utc(), last_line_complete)
    tables = _in_order(sources)
    target = rejected_dir or Path()
    try:
        with store.writing(_act(instruction), by, reason=reason, now_utc=now_utc) as connection:
            looking = watch if dry_run and _can_move_levels(tables, instruction) else None
            if looking is not None:
                looking.before(connection)
            results, rejected_files = _record_all(
                connection,
                sources,
                tables,
                instruction,
                keep_good=keep_good and not dry_run,
                target=target,
                progress=progress,
            )
            if after_recording is not None:
                after_recording(connection, [source.id for source in sources if source.id is not None])
            if looking is not None:
                looking.after(connection)
            rejections = tuple(rejection for parsed in tables for rejection in parsed.rejections)
            # A dry run records everything and undoes it: only the record itself shows what would be refused.
            if dry_run or (rejections and not keep_good):
                raise _Undo
    except _Undo:
        rejected_files = []
        if rejections and not keep_good and not dry_run:
            raise _all_rejected(rejections, results) from None
    files = (*notes, *results)
    changed = any(r.added or r.corrected or r.withdrawn for r in results)
    moved = None if watch is None else watch.moved
    return LoadResult(files, rejections, changed and not dry_run, dry_run, tuple(rejected_files), moved)


def _act(instruction: Instruction) -> str:
    """Return what the state is called that a load makes."""
    return "load --correct" if instruction.correct else "load --withdraw" if instruction.withdraw else "load"


def _check_options(instruction: Instruction, *, keep_good: bool) -> None:
    if instruction.correct and instruction.withdraw:
        raise SettingsError("A load can correct or withdraw, not both.", fix="Give one of the two.")
    if (instruction.correct or instruction.withdraw) and not (instruction.reason or "").strip():
        raise SettingsError("A correction or withdrawal needs its reason.", fix="Give it with --reason TEXT.")
    if unknown := sorted(instruction.accept.difference(ACCEPTABLE)):
        message = f"{', '.join(unknown)} cannot be accepted."
        raise SettingsError(message, fix=f"These can: {', '.join(ACCEPTABLE)}; the others leave nothing to record.")
    if instruction.accept and not (instruction.reason or "").strip():
        raise SettingsError("To accept a problem of rows needs a reason.", fix="Give it with --reason TEXT.")
    if instruction.withdraw and keep_good:
        raise SettingsError("A withdrawal is whole or not at all.", fix="Leave out --keep-good.")
    if not instruction.by.strip():
        raise SettingsError("It is not said who records.", fix="Give a name with --by.")


def _can_move_levels(tables: Sequence[Parsed], instruction: Instruction) -> bool:
    """Return whether levels that are on record could move."""
    changes_events = instruction.correct or instruction.withdraw
    return any(
        parsed.table.moves_levels or (changes_events and parsed.table.name == "level_events") for parsed in tables
    )


def _all_rejected(rejections: Sequence[Rejection], results: Sequence[FileResult]) -> FileRejectedError:
    rows = sum(result.rejected for result in results)
    message = f"{rows} of {sum(result.rows for result in results)} rows were rejected; nothing was written."
    fix = "Fix the rows and load again, or record the good ones with --keep-good."
    return FileRejectedError(message, rejections, fix=fix)


def loaded_whole(store: Store, hashes: Collection[str]) -> dict[str, Row[*tuple[Any, ...]]]:
    """Return which of some files were loaded whole and of which something is still on record, by their hash.

    A file of which rows were rejected, or whose rows were all withdrawn since, may be loaded again.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    hashes : collection of str
        Hashes of the files.

    Returns
    -------
    dict of str to sqlalchemy.Row
        Number, hash, name, time and rows of each such file.
    """
    columns = (SourceFile.id, SourceFile.sha256, SourceFile.name, SourceFile.loaded_at_utc, SourceFile.row_count)
    with store.reading() as connection:
        known_files = connection.execute(select(*columns).where(SourceFile.sha256.in_(hashes))).all()
        ids = [row.id for row in known_files]
        stored: Counter[int] = Counter()
        standing: Counter[int] = Counter()
        for name in RECORDED_TABLES if ids else ():
            table = METADATA.tables[name]
            live = func.count().filter(table.c.retired_at_utc.is_(None))
            query = select(table.c.source_file_id, func.count(), live).group_by(table.c.source_file_id)
            for number, every, still in connection.execute(query.where(table.c.source_file_id.in_(ids))):
                stored[number] += every
                standing[number] += still
    return {row.sha256: row for row in known_files if stored[row.id] >= row.row_count and standing[row.id] > 0}


def describe_earlier(store: Store, file: Row[*tuple[Any, ...]], what: str) -> str:
    """Return the note on a file that was loaded before: when, on the clock of the sites, and under which name.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    file : sqlalchemy.Row
        As `loaded_whole` gives it.
    what : str
        What was done with it: loaded, imported.
    """
    with store.reading() as connection:
        zone = zone_of_sites(sites(connection))
    when = moment_text(file.loaded_at_utc, zone, timespec="minutes")
    return f"already {what} on {when} as {file.name}; nothing changed"


def _expanded(paths: Iterable[Path], notes: list[FileResult]) -> list[Path]:
    """Return the files of all paths; files of a folder that are no tables are noted."""
    files: list[Path] = []
    for path in paths:
        if not path.is_dir():
            files.append(path)
            continue
        # A data package keeps its tables in a folder of their own.
        folder = path / "data" if (path / "datapackage.json").is_file() and (path / "data").is_dir() else path
        entries = sorted(entry for entry in folder.iterdir() if entry.is_file() and not entry.name.startswith("."))
        # A folder of exports may hold the same rows in several formats; text and workbooks go before the others.
        tables = [entry for entry in entries if entry.suffix.lower() in (*DELIMITED, *WORKBOOKS)]
        tables = tables or [entry for entry in entries if entry.suffix.lower() in SUFFIXES]
        if not tables:
            message = "The folder holds no tables."
            raise IngestError(message, where=str(path), fix=f"Tables end in {', '.join(SUFFIXES)}.")
        files += tables
        others = (entry for entry in entries if entry not in tables and not _is_database(entry))
        notes += [FileResult(entry.name, note="not a table, passed over") for entry in others]
    return files


def _is_database(path: Path) -> bool:
    """Return whether a file is a database or what SQLite keeps beside one; a folder of tables may hold them."""
    return path.suffix.lower().removesuffix("-wal").removesuffix("-shm").removesuffix("-journal") in {".sqlite", ".db"}


def _read_all(
    store: Store,
    paths: Sequence[Path] | Sequence[MappedFile],
    instruction: Instruction,
    now_utc: dt.datetime,
    is_complete: IsComplete,
) -> tuple[list[_Source], list[FileResult]]:
    """Read and parse every file, but for those that a plain load has on record whole already."""
    # The day begins first where clocks are 14 hours ahead; a reading of that day is not of the future.
    last_day = (now_utc + dt.timedelta(hours=14)).date()
    mapped = [path for path in paths if isinstance(path, MappedFile)]
    if mapped:
        tables = [[parse(recognise(sheet), last_day) for sheet in file.sheets] for file in mapped]
        for parsed in (parsed for made in tables for parsed in made):
            check_last_line(parsed, is_complete)
        pairs = zip(mapped, tables, strict=True)
        return [_Source(f.path, f.sha256, f.content, made, f.take_rows) for f, made in pairs], []
    notes: list[FileResult] = []
    sources: dict[str, _Source] = {}
    for path in _expanded((path for path in paths if isinstance(path, Path)), notes):
        content = read_bytes(path)
        sha256 = hashlib.sha256(content).hexdigest()
        if sha256 in sources:
            notes.append(FileResult(path.name, note="the same bytes as another file of this load; passed over"))
            continue
        sources[sha256] = _Source(path, sha256, content)
    # A correction or withdrawal names what is on record, so its file may well be one that was loaded.
    known = {} if instruction.correct or instruction.withdraw else loaded_whole(store, list(sources))
    for sha256 in [sha256 for sha256 in sources if sha256 in known]:
        note = describe_earlier(store, known[sha256], "loaded")
        notes.append(FileResult(sources.pop(sha256).path.name, note=note))
    levels_alone: list[RawSheet] = []
    for source in sources.values():
        for sheet in read_sheets(source.path.name, source.content):
            raw = _recognised(sheet, keys_only=instruction.correct)
            if raw is None:
                notes.append(FileResult(sheet.file, note="worked out by gwnet and not read in the field; passed over"))
                levels_alone += [sheet] if is_level_file(sheet) else []
                continue
            parsed = parse(raw, last_day)
            check_last_line(parsed, is_complete)
            source.tables.append(parsed)
    # beside the readings that they come from, levels are one more result; alone they would be taken for readings
    given = {parsed.table.name for source in sources.values() for parsed in source.tables}
    if levels_alone and not known and "level_events" not in given:
        require_readings(levels_alone[0])
    return [source for source in sources.values() if source.tables], notes


def _recognised(sheet: RawSheet, *, keys_only: bool) -> RawTable | None:
    """Return the table that a sheet is; None for what gwnet worked out."""
    if is_level_file(sheet) and has_readings(sheet):
        return recognise_levels(sheet)
    # A correction may lack columns: they keep their values on record.
    return None if is_result(sheet) else recognise(without_retired(sheet), keys_only=keys_only)


def _in_order(sources: Sequence[_Source]) -> list[Parsed]:
    tables = [parsed for source in sources for parsed in source.tables]
    return sorted(tables, key=lambda parsed: ORDER[parsed.table.name])


def _record_all(
    connection: Connection,
    sources: Sequence[_Source],
    tables: Sequence[Parsed],
    instruction: Instruction,
    *,
    keep_good: bool,
    target: Path,
    progress: Progress | None,
) -> tuple[list[FileResult], list[Path]]:
    """Record every table; withdrawals run against the order of dependence."""
    source_of = {id(parsed): source for source in sources for parsed in source.tables}
    for source in sources:
        source.id = _keep_source(connection, source, instruction)
    codes = Codes(connection)
    total = sum(parsed.count for parsed in tables)
    done = 0
    results = []
    for parsed in reversed(tables) if instruction.withdraw else tables:
        # The table before may have made or withdrawn identities to which this one refers.
        codes.refresh()
        if instruction.correct:
            keep_absent(connection, parsed, codes)
        parsed.accept = instruction.accept
        check_rows(parsed)
        record = record_events if parsed.table.name == "level_events" else record_rows
        tally = record(connection, parsed, codes, instruction, source_of[id(parsed)].id)
        results.append(_result(parsed, tally))
        done += parsed.count
        if progress is not None:
            progress(done, total)
    rejected = [(parsed, source_of[id(parsed)].take_rows) for parsed in tables if parsed.rejections]
    return results, write_rejected(rejected, target) if keep_good else []


def _keep_source(connection: Connection, source: _Source, instruction: Instruction) -> int:
    """Keep the bytes of a file, once."""
    known = connection.execute(select(SourceFile.id).where(SourceFile.sha256 == source.sha256)).scalar_one_or_none()
    if known is not None:
        return int(known)
    number = reserve_ids(connection, "source_file", 1)
    insert_columns(
        connection,
        "source_file",
        {
            "id": number,
            "name": source.path.name,
            "sha256": source.sha256,
            "size_bytes": len(source.content),
            "content": zlib.compress(source.content, 6),
            "layout": "; ".join(dict.fromkeys(parsed.table.name for parsed in source.tables)),
            "row_count": sum(parsed.count for parsed in source.tables),
            "loaded_by": instruction.by,
        },
        1,
    )
    return int(number[0])


def _result(parsed: Parsed, tally: Tally) -> FileResult:
    # A row of three faults is one row.
    rejected = len({(rejection.file, rejection.row) for rejection in parsed.rejections})
    kept = {row: noted for row, noted in parsed.accepted.items() if parsed.good[row]}
    for problem in sorted({problem for noted in kept.values() for problem in noted}):
        rows = [parsed.raw.sheet.numbers[row] for row, noted in sorted(kept.items()) if problem in noted]
        parsed.raw.warnings.append(f"accepted in spite of {problem}: {name_rows(rows)}")
    return FileResult(
        file=parsed.raw.sheet.file,
        table=parsed.table.name,
        rows=parsed.count,
        added=tally.added,
        unchanged=tally.unchanged,
        corrected=tally.corrected,
        withdrawn=tally.withdrawn,
        rejected=rejected,
        note="" if parsed.count else "no rows",
        warnings=tuple(parsed.raw.warnings),
        changes=tuple(tally.changes),
    )
