"""Loading of logger files: each file whole or nothing of it, in chunks, however long it is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Final

import pandas as pd
from sqlalchemy import Connection, select

from gwnet.clock import moment_text
from gwnet.errors import IngestError, NotFoundError, SettingsError, StoreError
from gwnet.ingest.loggers.columns import Column
from gwnet.ingest.loggers.remembered import Known, plain_serial, read_known
from gwnet.ingest.loggers.result import LoggerFileResult, LoggersResult, SeriesResult
from gwnet.ingest.loggers.rows import LoggerFile
from gwnet.ingest.loggers.tally import DeploymentTally, RhythmTally, SeriesTally
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.registry import sites, zone_of_sites
from gwnet.store.models.loggers import LoggerSeries
from gwnet.store.save.downloads import add_download, complete_download
from gwnet.store.save.samples import Appending
from gwnet.store.save.segments import segment_for
from gwnet.store.save.sources import KeptSource
from gwnet.store.session import Store, small_cache

#: Called with rows done and rows in all.
Progress = Callable[[int, int], None]

#: Kinds of instruments that a download can be of.
_LOGGERS: Final = ("absolute pressure logger", "vented pressure logger", "barometer", "other")

_PIECE: Final = 1 << 18

#: Rows of a file that are held at once.
_ROWS_AT_ONCE: Final = 32_768


#: Opens a file: inspected, not yet read.
Opener = Callable[[Path], LoggerFile]


@dataclass(frozen=True)
class LoggerInstruction:
    """How logger files are to be loaded.

    Attributes
    ----------
    by : str
        Who records.
    instrument : str or None
        Instrument that the files are of; found by the serial number in them unless given.
    reason : str or None
        Why, where a file is stored once more.
    now_utc : datetime.datetime or None
        Aware time that counts as what the clock says; the database's clock unless given.
    """

    by: str
    instrument: str | None = None
    reason: str | None = None
    now_utc: dt.datetime | None = None


def load_logger_files(
    store: Store,
    paths: Sequence[Path],
    opener: Opener,
    request: LoggerInstruction,
    *,
    progress: Progress | None = None,
) -> LoggersResult:
    """Load logger files, each in a transaction of its own.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    paths : sequence of pathlib.Path
        The files.
    opener : callable
        Opens a file with its layout.
    request : LoggerInstruction
        Who records, when, and of which instrument.
    progress : callable, optional
        Called with lines done and lines in all.

    Returns
    -------
    LoggersResult
        What happened to each file; those that were refused carry their error.

    Raises
    ------
    SettingsError
        If it is not said who records.
    """
    if not request.by.strip():
        raise SettingsError("It is not said who records.", fix="Give a name with --by.")
    counted = _Lines(paths, progress)
    files = []
    for path in paths:
        try:
            files.append(_load_one(store, path, opener, request, counted))
        # One bad file of a folder does not keep the others out.
        except (IngestError, StoreError, SettingsError) as error:
            files.append(LoggerFileResult(path.name, error=error))
        counted.file_done(path)
    return LoggersResult(tuple(files))


class _Lines:
    """Reports progress in lines over all files."""

    def __init__(self, paths: Sequence[Path], progress: Progress | None) -> None:
        self._progress = progress
        self._lines = {path: _count_lines(path) if progress else 0 for path in paths}
        self._total = sum(self._lines.values())
        self._before = 0

    def at(self, line: int) -> None:
        if self._progress is not None:
            self._progress(min(self._before + line, self._total), self._total)

    def file_done(self, path: Path) -> None:
        self._before += self._lines[path]
        self.at(0)


def _count_lines(path: Path) -> int:
    try:
        with path.open("rb") as file:
            return sum(piece.count(b"\n") for piece in iter(lambda: file.read(_PIECE), b""))
    except OSError:
        return 0


def _load_one(
    store: Store, path: Path, opener: Opener, request: LoggerInstruction, counted: _Lines
) -> LoggerFileResult:
    # Looked at before the write lock is held, for which others wait.
    file = opener(path)
    instrument_id, code, findings = _find_instrument(read_known(store), file, request.instrument)
    with store.writing("logger load", request.by, now_utc=request.now_utc) as connection:
        wanted, loaded = _not_loaded_yet(connection, file, code)
        if not wanted:
            return LoggerFileResult(file.name, file.sha256, code, notes=(loaded,))
        return store_file(connection, file, wanted, instrument_id, code, request, findings=findings, at_line=counted.at)


def _find_instrument(known: Known, file: LoggerFile, wanted: str | None) -> tuple[int, str, tuple[str, ...]]:
    """Return number and code of the instrument that a file is of, and what does not fit together."""
    instruments = known.instruments
    serial = plain_serial(file.serial)
    serials = instruments["serial"].map(plain_serial)
    if wanted is not None:
        named = instruments[instruments["instrument"] == wanted]
        if named.empty:
            message = f"There is no instrument {wanted!r} on record."
            near = get_close_matches(wanted, instruments["instrument"].astype(str).tolist(), n=3, cutoff=0.5)
            hint = f"Did you mean {', '.join(near)}?" if near else "Load it with an instruments table first."
            raise NotFoundError(message, fix=hint)
        recorded = str(serials[named.index[0]])
        findings: tuple[str, ...] = ()
        # A finding, no refusal: who names the instrument may know of an exchanged logger or a slip in the record.
        if serial and recorded and serial != recorded:
            findings = (f"the file is of serial number {file.serial}, {wanted} on record has {recorded}",)
        return int(named["instrument_id"].iloc[0]), wanted, findings
    # A serial number decides alone: a file may have been renamed for another well.
    by_name = "" if serial else known.instrument_by_name(file.name)
    named = instruments[serials == serial] if serial else instruments[instruments["instrument"] == by_name]
    if by_name:
        file.remarks.append(f"the file gives no serial number; by its name it is of {by_name}")
    if len(named) == 1:
        return int(named["instrument_id"].iloc[0]), str(named["instrument"].iloc[0]), ()
    raise IngestError(_describe_unknown(file, serial, named), where=file.name, fix=_known_loggers(instruments))


def _describe_unknown(file: LoggerFile, serial: str, matching: pd.DataFrame) -> str:
    if not serial:
        return "The file gives no serial number, so that its instrument is not known."
    if matching.empty:
        return f"No instrument on record has the serial number {file.serial} of the file."
    return f"Several instruments have the serial number {file.serial}: {', '.join(matching['instrument'])}."


def _known_loggers(instruments: pd.DataFrame) -> str:
    loggers = instruments[instruments["kind"].isin(_LOGGERS)]
    if loggers.empty:
        return "No logger is on record: load it with an instruments table, then say which it is with --instrument."
    listed = [
        f"{row.instrument} ({row.kind}{f', serial {row.serial}' if row.serial else ''})" for row in loggers.itertuples()
    ]
    more = f" and {len(listed) - 12} more" if len(listed) > 12 else ""
    return f"Say which it is with --instrument. On record: {'; '.join(listed[:12])}{more}."


def _not_loaded_yet(connection: Connection, file: LoggerFile, code: str) -> tuple[list[int], str]:
    """Return which columns of a file are not on record for an instrument; or else when they were loaded."""
    quantities = [column.quantity for column in file.columns]
    # A series has one value at a time; the second column would be all conflicts.
    twice = sorted({name for name in quantities if quantities.count(name) > 1})
    if twice:
        names = ", ".join(repr(column.name) for column in file.columns if column.quantity == twice[0])
        message = f"Several columns give {twice[0]}: {names}."
        raise IngestError(message, where=file.name, fix="Write a layout of your own that names the one to take.")
    known = fetch_samples.downloads(connection, sha256=file.sha256)
    # The same bytes may be loaded for another instrument, as one of several that a file has.
    known = known[known["instrument"] == code]
    wanted = [place for place, name in enumerate(quantities) if name not in set(known["quantity"])]
    if known.empty or wanted:
        return wanted, ""
    first = known.iloc[0]
    when = moment_text(first["recorded_at_utc"], zone_of_sites(sites(connection)), timespec="minutes")
    other = "" if first["layout_text"] == file.layout.toml() else f" with layout {first['layout']!r}"
    again = "; to load it with another layout, withdraw it first" if other else ""
    return [], f"already loaded on {when} as {first['file']}{other}; nothing changed{again}"


def store_file(
    connection: Connection,
    file: LoggerFile,
    wanted: Collection[int],
    instrument_id: int,
    code: str,
    request: LoggerInstruction,
    *,
    findings: tuple[str, ...] = (),
    at_line: Callable[[int], None] | None = None,
) -> LoggerFileResult:
    """Store the samples of one file, its bytes and its downloads; to be rolled back whole on any error.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work.
    file : LoggerFile
        The file, not yet read.
    wanted : collection of int
        Places of the columns to store.
    instrument_id : int
        Instrument that it is of.
    code : str
        Its code.
    request : LoggerInstruction
        Who records and when.
    findings : tuple of str, optional
        What was noticed before.
    at_line : callable, optional
        Called with how many lines are done.

    Returns
    -------
    LoggerFileResult
        What happened.

    Raises
    ------
    FileRejectedError
        If rows cannot be read.
    IngestError
        If the file holds no samples or changed while it was read.
    """
    rhythm, installed = RhythmTally(), DeploymentTally(_spans(connection, code))
    rows = 0
    with small_cache(connection), KeptSource(file.path) as packing:
        tallies = {place: _begin(connection, file, file.columns[place], instrument_id, request) for place in wanted}
        for chunk in file.chunks(_ROWS_AT_ONCE):
            rows += int(chunk.time_ms.size)
            rhythm.add(chunk.time_ms)
            installed.add(chunk.time_ms)
            for place, tally in tallies.items():
                tally.add(chunk.time_ms, chunk.values[place], chunk.row)
            if at_line is not None and chunk.row.size:
                at_line(int(chunk.row[-1]))
        # What is wrong may show at the end of a file only; all that was stored of it is rolled back then.
        file.require_good()
        if not rows:
            message = "No row of the file holds a sample; nothing was stored."
            raise IngestError(message, where=file.name, fix="See what is read with 'gwnet logger try'.")
        layout = file.layout.name
        source = packing.keep(
            connection,
            sha256=file.sha256,
            layout=layout,
            row_count=rows,
            by=request.by,
        )
    events = file.odd_counts().get("event", 0)
    series = tuple(
        _finish(connection, tally, file.columns[place].name, events, source) for place, tally in tallies.items()
    )
    return LoggerFileResult(
        file=file.name,
        sha256=file.sha256,
        instrument=code,
        layout=layout,
        zone=file.zone,
        series=series,
        events=events,
        rhythm=rhythm.result(),
        outside=installed.outside,
        deployed=bool(installed.spans),
        conflicts=tuple(conflict for tally in tallies.values() for conflict in tally.shown),
        notes=tuple(file.notes()),
        findings=findings,
    )


def _begin(
    connection: Connection, file: LoggerFile, column: Column, instrument_id: int, request: LoggerInstruction
) -> SeriesTally:
    series_id, others = segment_for(connection, instrument_id, column.quantity, column.unit)
    download_id = add_download(
        connection,
        series_id,
        layout=file.layout.name,
        layout_text=file.layout.toml(),
        zone=file.zone,
        by=request.by,
        reason=request.reason,
    )
    return SeriesTally(Appending(connection, series_id, download_id, others), column.quantity, column.unit)


def _finish(connection: Connection, tally: SeriesTally, column: str, events: int, source: int) -> SeriesResult:
    appending = tally.appending
    appending.finish()
    counts = tally.counts(events=events)
    complete_download(connection, appending.download_id, counts, source)
    segment = connection.execute(
        select(LoggerSeries.segment).where(LoggerSeries.id == appending.series_id)
    ).scalar_one()
    return SeriesResult(tally.quantity, tally.unit, column, int(segment), counts)


def _spans(connection: Connection, code: str) -> list[tuple[float, float]]:
    """Return when an instrument was installed, in milliseconds."""
    table = fetch_samples.deployments(connection)
    rows = table[table["instrument"] == code]
    starts, ends = (rows[name].map(_ms).tolist() for name in ("installed_at_utc", "removed_at_utc"))
    return list(zip(starts, ends, strict=True))


def _ms(moment: pd.Timestamp) -> float:
    return float("inf") if pd.isna(moment) else moment.timestamp() * 1000.0
