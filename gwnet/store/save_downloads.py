"""Recording downloads of loggers, withdrawing them, and keeping the bytes of their files however long these are."""

from __future__ import annotations

import datetime as dt
import hashlib
import struct
import tempfile
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

from sqlalchemy import Connection, select

from gwnet.errors import IngestError
from gwnet.store.bulk import insert_columns, reserve_ids
from gwnet.store.loggers import Download
from gwnet.store.session import store_error
from gwnet.store.sources import SourceFile

#: Bytes in one piece of a file.
_PIECE: Final = 1 << 18

#: How hard to compress: higher takes longer than reading the file.
_LEVEL: Final = 4

#: Where PostgreSQL's own count of time begins.
_POSTGRESQL_EPOCH: Final = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)

#: Most bytes that one value of a database can have.
_MOST_BYTES: Final = 1_000_000_000


@dataclass(frozen=True)
class Counts:
    """What became of the rows of a file for one series.

    Attributes
    ----------
    rows : int
        Rows with a time.
    added, same, repeated, conflicts : int
        Stored; on record already; in the file already; given with another value than the one on record.
    missing : int
        Rows without a number.
    events : int
        Rows that tell an event of the logger.
    first_ms, last_ms : int or None
        Span of the rows that have a number.
    """

    rows: int = 0
    added: int = 0
    same: int = 0
    repeated: int = 0
    conflicts: int = 0
    missing: int = 0
    events: int = 0
    first_ms: int | None = None
    last_ms: int | None = None


def add_download(
    connection: Connection,
    series_id: int,
    *,
    layout: str,
    zone: str,
    by: str,
    now_utc: dt.datetime,
    layout_text: str | None = None,
    reason: str | None = None,
) -> int:
    """Record a download, before its samples; `complete_download` tells what became of them.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work.
    series_id : int
        Series that it goes into.
    layout : str
        Name of the layout.
    zone : str
        Zone in which its times were read.
    by : str
        Who records.
    now_utc : datetime.datetime
        Aware time of the recording.
    layout_text : str, optional
        The whole layout.
    reason : str, optional
        Why, where it is not simply new.

    Returns
    -------
    int
        Number of the download.
    """
    number = int(reserve_ids(connection, "download", 1)[0])
    columns: dict[str, Any] = {"id": number, "series_id": series_id, "layout": layout, "layout_text": layout_text}
    columns |= {"zone": zone, "recorded_at_utc": now_utc, "recorded_by": by, "reason": reason}
    counts = ("row", "added", "same", "repeated", "conflict", "missing", "event")
    columns |= {f"{name}_count": 0 for name in counts}
    insert_columns(connection, "download", columns, 1)
    return number


def complete_download(connection: Connection, download_id: int, counts: Counts, source_file_id: int | None) -> None:
    """Tell what became of the rows of a download, in the unit of work that recorded it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of the same writing unit of work.
    download_id : int
        The download.
    counts : Counts
        What became of its rows.
    source_file_id : int or None
        File that it came from.
    """
    connection.execute(
        Download.__table__.update()  # type: ignore[attr-defined]
        .where(Download.id == download_id)
        .values(
            row_count=counts.rows,
            added_count=counts.added,
            same_count=counts.same,
            repeated_count=counts.repeated,
            conflict_count=counts.conflicts,
            missing_count=counts.missing,
            event_count=counts.events,
            first_ms=counts.first_ms,
            last_ms=counts.last_ms,
            source_file_id=source_file_id,
        )
    )


class KeptSource:
    """Compresses a file beside other work, to be kept; it is never held in memory as a whole.

    To be used as a context, at whose end what was compressed is forgotten.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._packed: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 (closed at the end of the context)
        self._worker = ThreadPoolExecutor(1)
        self._done = self._worker.submit(_compress, path, self._packed)

    def __enter__(self) -> KeptSource:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Wait for the work and forget it."""
        self._worker.shutdown(wait=True, cancel_futures=True)
        self._packed.close()

    def keep(
        self, connection: Connection, *, sha256: str, layout: str, row_count: int, by: str, now_utc: dt.datetime
    ) -> int:
        """Keep the bytes, once.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            Connection of a writing unit of work.
        sha256 : str
            Hash of what was read from the file.
        layout : str
            Name of the layout that it was read with.
        row_count : int
            Rows that were read.
        by : str
            Who records.
        now_utc : datetime.datetime
            Aware time of the recording.

        Returns
        -------
        int
            Number of the source file.

        Raises
        ------
        IngestError
            If the file changed since it was read, or is too long to be kept.
        """
        query = select(SourceFile.id).where(SourceFile.sha256 == sha256)
        known = connection.execute(query).scalar_one_or_none()
        size, found = self._done.result()
        if found != sha256:
            message = "The file changed while it was read; nothing of it was stored."
            raise IngestError(message, where=self.path.name, mend="Load it again when nothing writes to it any more.")
        if known is not None:
            return int(known)
        length = self._packed.tell()
        if length > _MOST_BYTES:
            message = f"The file has {length:,} bytes even when compressed; at most {_MOST_BYTES:,} can be kept."
            raise IngestError(message, where=self.path.name, mend="Split it and load the parts.")
        self._packed.seek(0)
        number = int(reserve_ids(connection, "source_file", 1)[0])
        values = (number, self.path.name, sha256, size, layout, row_count, now_utc, by)
        store = _store_sqlite if connection.dialect.name == "sqlite" else _store_postgresql
        store(connection, values, self._packed, length)
        return number


def write_source(connection: Connection, source_file_id: int, folder: Path) -> Path:
    """Write a kept file as it was loaded, under its own name.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    source_file_id : int
        Number of the source file.
    folder : pathlib.Path
        Folder to write into.

    Returns
    -------
    pathlib.Path
        The file.
    """
    query = select(SourceFile.name, SourceFile.content).where(SourceFile.id == source_file_id)
    name, content = connection.execute(query).one()
    path = folder / (Path(name).name or "download")
    loosen = zlib.decompressobj()
    with path.open("wb") as file:
        for start in range(0, len(content), _PIECE):
            file.write(loosen.decompress(content[start : start + _PIECE]))
        file.write(loosen.flush())
    return path


def _compress(path: Path, packed: IO[bytes]) -> tuple[int, str]:
    """Compress a file into another; return its size and hash."""
    digest, squeeze, size = hashlib.sha256(), zlib.compressobj(_LEVEL), 0
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            digest.update(piece)
            size += len(piece)
            packed.write(squeeze.compress(piece))
    packed.write(squeeze.flush())
    return size, digest.hexdigest()


def _pieces(packed: IO[bytes]) -> Iterator[bytes]:
    while piece := packed.read(_PIECE):
        yield piece


def _store_sqlite(connection: Connection, values: tuple[Any, ...], packed: IO[bytes], length: int) -> None:
    """Make room for the bytes, then write them in pieces."""
    import sqlite3

    number, name, sha256, size, layout, row_count, now_utc, by = values
    raw: Any = connection.connection.driver_connection
    columns = "id, name, sha256, size_bytes, content, layout, row_count, loaded_at_utc, loaded_by"
    moment = now_utc.astimezone(dt.UTC).strftime("%Y-%m-%d %H:%M:%S.%f")
    try:
        row = (number, name, sha256, size, length, layout, row_count, moment, by)
        raw.execute(f"INSERT INTO source_file ({columns}) VALUES (?, ?, ?, ?, zeroblob(?), ?, ?, ?, ?)", row)
        with raw.blobopen("source_file", "content", number) as blob:
            for piece in _pieces(packed):
                blob.write(piece)
    except sqlite3.Error as error:
        raise store_error(str(error).strip(), "source_file") from error


def _store_postgresql(connection: Connection, values: tuple[Any, ...], packed: IO[bytes], length: int) -> None:
    """Send one row by COPY in its binary form, the bytes in pieces."""
    import psycopg

    number, name, sha256, size, layout, row_count, now_utc, by = values
    microseconds = (now_utc - _POSTGRESQL_EPOCH) // dt.timedelta(microseconds=1)
    fields = (
        b"PGCOPY\n\xff\r\n\0" + b"\0" * 8 + struct.pack(">h", 9),
        *(struct.pack(">ii", 4, number), _text(name), _text(sha256), struct.pack(">ii", 4, size)),
        *(_text(layout), struct.pack(">ii", 4, row_count), struct.pack(">iq", 8, microseconds), _text(by)),
        struct.pack(">i", length),
    )
    columns = "id, name, sha256, size_bytes, layout, row_count, loaded_at_utc, loaded_by, content"
    raw: Any = connection.connection.driver_connection
    try:
        with (
            raw.cursor() as cursor,
            cursor.copy(f"COPY source_file ({columns}) FROM STDIN (FORMAT BINARY)") as copy,
        ):
            copy.write(b"".join(fields))
            for piece in _pieces(packed):
                copy.write(piece)
            copy.write(b"\xff\xff")
    except psycopg.Error as error:
        raise store_error(str(error).strip(), "source_file") from error


def _text(value: str) -> bytes:
    encoded = value.encode()
    return struct.pack(">i", len(encoded)) + encoded
