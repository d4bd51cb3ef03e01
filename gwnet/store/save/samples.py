"""Storing samples: what is new is added, what is there already is counted, what differs is kept as a conflict.

Nothing is ever overwritten. `Appending` takes a download in chunks and keeps its runs.

The value that was recorded first stays, whichever file is right: a person withdraws the wrong download. Equal means
equal as float64; across units, within half of the last decimals. A row without a number is counted and not stored, so
that it never prevents one. On PostgreSQL the instrument's row is locked while samples are looked up and copied straight
into the table; a temporary table with ON CONFLICT would take three times as long.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from gwnet.errors import ShapeError, StoreError
from gwnet.store.fetch import read_samples
from gwnet.store.integrity.digests import sample_part
from gwnet.store.models.loggers import LoggerSeries
from gwnet.store.save.bulk import insert_columns, reserve_ids
from gwnet.store.save.corrections import correct, take_back
from gwnet.store.save.segments import OtherSegment
from gwnet.store.session import store_error
from gwnet.store.work import lift_key_guard, work_of

__all__ = ["Appended", "Appending", "Conflicts", "correct", "take_back"]

Times = NDArray[np.int64]
Values = NDArray[np.float64]

#: Rows in one statement of SQLite.
_ROWS_A_STATEMENT: Final = 100

_COPY_HEAD: Final = b"PGCOPY\n\xff\r\n\0" + b"\0" * 8
_COPY_END: Final = b"\xff\xff"
_COPY_ROW: Final = np.dtype(
    [("n", ">i2"), ("n1", ">i4"), ("series", ">i4"), ("n2", ">i4"), ("time", ">i8"), ("n3", ">i4"), ("value", ">f8")]
)


@dataclass(frozen=True)
class Conflicts:
    """Values given for instants at which another value is on record.

    Attributes
    ----------
    time_ms : numpy.ndarray of int64
        Times, shape (n,).
    stored : numpy.ndarray of float64
        Values that stay, in the unit of the download's series, shape (n,).
    given : numpy.ndarray of float64
        Values of the download, shape (n,).
    row : numpy.ndarray of int64
        Rows of the file; 0 where not known, shape (n,).
    series_id : numpy.ndarray of int64
        Series that holds the stored value, shape (n,).
    """

    time_ms: Times
    stored: Values
    given: Values
    row: Times
    series_id: Times


@dataclass(frozen=True)
class Appended:
    """What became of some samples.

    Attributes
    ----------
    added : int
        Stored.
    same : int
        On record already with the same value, from other downloads.
    repeated : int
        In this download already with the same value.
    conflicts : Conflicts
        Given with another value than the one on record, which stays.
    """

    added: int
    same: int
    repeated: int
    conflicts: Conflicts


class Appending:
    """Adds one download to one series, chunk by chunk.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    series_id : int
        The series; on PostgreSQL it is locked until the unit of work ends.
    download_id : int
        Download on record.
    others : sequence of gwnet.store.save.segments.OtherSegment, optional
        Other segments of the same instrument and quantity, whose samples on record count as on record here.

    Raises
    ------
    StoreError
        If there is no such series.
    """

    def __init__(
        self, connection: Connection, series_id: int, download_id: int, others: Sequence[OtherSegment] = ()
    ) -> None:
        # two loads of one series at once would each find the other's samples missing
        query = select(LoggerSeries.unit).where(LoggerSeries.id == series_id).with_for_update()
        unit = connection.execute(query).scalar_one_or_none()
        if unit is None:
            message = f"There is no logger series {series_id}."
            raise StoreError(message)
        self.connection, self.series_id, self.download_id = connection, int(series_id), int(download_id)
        self.unit, self.others = unit, tuple(others)
        self._runs = np.empty((0, 3), np.int64)

    def add(self, time_ms: Times, value: Values, row: Times | None = None) -> Appended:
        """Add some samples.

        Parameters
        ----------
        time_ms : numpy.ndarray of int64
            Times in any order; milliseconds since 1970-01-01 UTC, shape (n,).
        value : numpy.ndarray of float64
            Values in the unit of the series, none of them NaN, shape (n,).
        row : numpy.ndarray of int64, optional
            Rows of the file, shape (n,).

        Returns
        -------
        Appended
            What became of them; where a time occurs twice, the first value stays.

        Raises
        ------
        ShapeError
            If the arrays do not fit together or a value is missing.
        """
        if time_ms.shape != value.shape or (row is not None and row.shape != time_ms.shape):
            raise ShapeError("Times, values and rows differ in number.")
        if np.isnan(value).any():
            raise ShapeError("A sample without a value cannot be stored; leave it out and count it.")
        rows = np.zeros(time_ms.size, np.int64) if row is None else row
        if time_ms.size and (np.diff(time_ms) <= 0).any():
            # stable, so that of samples at one instant the first of the file stays the first
            order = np.argsort(time_ms, kind="stable")
            time_ms, value, rows = time_ms[order], value[order], rows[order]
        parts = []
        # a long download over a long series is compared piece by piece, so that memory stays small
        while time_ms.size:
            times, values, upto = self._on_record(int(time_ms[0]), int(time_ms[-1]))
            end = time_ms.size if upto is None else int(np.searchsorted(time_ms, upto, side="right"))
            parts.append(self._add_some(time_ms[:end], value[:end], rows[:end], times, values))
            time_ms, value, rows = time_ms[end:], value[end:], rows[end:]
        return _together(parts)

    def finish(self) -> None:
        """Store the runs of the download; to be called once, after the last samples."""
        if len(self._runs):
            first, last, count = self._runs.T
            columns: dict[str, Any] = {"first_ms": first, "last_ms": last, "sample_count": count}
            columns |= {"series_id": self.series_id, "download_id": self.download_id}
            insert_columns(self.connection, "sample_run", columns, len(first))

    def _on_record(self, first: int, last: int) -> tuple[Times, Values, int | None]:
        """Return samples of the series within a span, and up to when where there are too many to look at at once."""
        times, values = read_samples.read_rows(
            self.connection, self.series_id, first, last + 1, read_samples.MOST_AT_ONCE
        )
        return times, values, int(times[-1]) if times.size == read_samples.MOST_AT_ONCE else None

    def _add_some(self, time_ms: Times, value: Values, row: Times, there: Times, held: Values) -> Appended:
        # within a download the first value of an instant counts, as it does between downloads
        is_first = np.ones(time_ms.size, dtype=bool)
        is_first[1:] = time_ms[1:] != time_ms[:-1]
        stored = value[is_first][np.cumsum(is_first) - 1]
        holder = np.full(time_ms.size, self.series_id)
        known, at = _found(time_ms, there)
        # what is on record came first and stays, whichever of them is right
        stored[known] = held[at[known]]
        agrees = value == stored
        elsewhere = np.zeros(time_ms.size, dtype=bool)
        for other in self.others:
            is_theirs, theirs, alike = other.beside(self.connection, time_ms, value)
            # a sample of this segment goes before one of another
            is_theirs &= ~known
            stored[is_theirs], agrees[is_theirs], holder[is_theirs] = (
                theirs[is_theirs],
                alike[is_theirs],
                other.series_id,
            )
            elsewhere |= is_theirs
        # the same sample again within this download is no agreement between two files
        own = self._is_own(time_ms) & ~elsewhere
        new = is_first & ~known & ~elsewhere
        repeated = agrees & ~new & (own | ~(known | elsewhere))
        self._store(time_ms[new], value[new], there)
        # another value is never lost: it is kept beside the one that stays
        wrong = ~agrees
        conflicts = Conflicts(time_ms[wrong], stored[wrong], value[wrong], row[wrong], holder[wrong])
        self._keep_conflicts(conflicts)
        same = int(np.count_nonzero(agrees & ~new & ~repeated))
        return Appended(int(np.count_nonzero(new)), same, int(np.count_nonzero(repeated)), conflicts)

    def _is_own(self, time_ms: Times) -> NDArray[np.bool_]:
        """Return which times lie in runs of this download, where all samples on record are its own."""
        if not len(self._runs):
            return np.zeros(time_ms.size, dtype=bool)
        place = np.searchsorted(self._runs[:, 0], time_ms, side="right") - 1
        inside: NDArray[np.bool_] = (place >= 0) & (time_ms <= self._runs[np.maximum(place, 0), 1])
        return inside

    def _store(self, time_ms: Times, value: Values, there: Times) -> None:
        if not time_ms.size:
            return
        # a run ends where a sample of another download lies between
        foreign = there[~self._is_own(there)]
        # samples with the same number of foreign ones before them are one run
        groups = np.flatnonzero(np.diff(np.searchsorted(foreign, time_ms), prepend=-1))
        ends = np.append(groups[1:], time_ms.size)
        runs = np.column_stack([time_ms[groups], time_ms[ends - 1], ends - groups])
        self._take_up(runs)
        lift_key_guard(self.connection, "sample")
        insert = _insert_sqlite if self.connection.dialect.name == "sqlite" else _copy_postgresql
        insert(self.connection, self.series_id, time_ms, value)
        step, content = read_samples.pack(time_ms, value)
        work_of(self.connection).parts.append(sample_part(self.series_id, time_ms, value, step))
        columns = {"series_id": self.series_id, "first_ms": time_ms[:1], "last_ms": time_ms[-1:], "step_ms": step}
        columns |= {"sample_count": time_ms.size, "download_id": self.download_id, "content": [content]}
        insert_columns(self.connection, "sample_pack", columns, 1)

    def _take_up(self, new_runs: NDArray[np.int64]) -> None:
        """Merge new runs with those before, so that the runs stay apart from one another and as few as can be."""
        both = np.vstack([self._runs, new_runs])
        both = both[np.argsort(both[:, 0], kind="stable")]
        reach = np.maximum.accumulate(both[:, 1])
        starts = np.flatnonzero(np.append(True, both[1:, 0] > reach[:-1]))
        merged = [both[starts, 0], np.maximum.reduceat(both[:, 1], starts), np.add.reduceat(both[:, 2], starts)]
        runs = np.column_stack(merged)
        # only at the edges of what is new may a gap to an older run have closed
        for edge, step in ((new_runs[-1, 1], 0), (new_runs[0, 0], -1)):
            left = int(np.searchsorted(runs[:, 0], edge, side="right")) - 1 + step
            runs = self._without_gap(runs, left)
        self._runs = runs

    def _without_gap(self, runs: NDArray[np.int64], left: int) -> NDArray[np.int64]:
        """Merge a run with the one after it where nothing lies between them."""
        if not 0 <= left < len(runs) - 1:
            return runs
        between, _ = read_samples.read_rows(self.connection, self.series_id, runs[left, 1] + 1, runs[left + 1, 0], 1)
        # a sample of another download keeps the two runs apart
        if between.size:
            return runs
        one = [runs[left, 0], runs[left + 1, 1], runs[left, 2] + runs[left + 1, 2]]
        return np.vstack([runs[:left], [one], runs[left + 2 :]])

    def _keep_conflicts(self, conflicts: Conflicts) -> None:
        count = conflicts.time_ms.size
        if not count:
            return
        columns: dict[str, Any] = {
            "id": reserve_ids(self.connection, "sample_conflict", count),
            "series_id": conflicts.series_id,
            "time_ms": conflicts.time_ms,
            "value": conflicts.given,
            "unit": self.unit,
            "download_id": self.download_id,
            # rows count from 1, so 0 stands for a row that is not known
            "source_row": [int(number) or None for number in conflicts.row],
        }
        insert_columns(self.connection, "sample_conflict", columns, count)


def _found(wanted: Times, there: Times) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
    """Return which of some times are among other ascending ones, and where."""
    if not there.size:
        return np.zeros(wanted.size, dtype=bool), np.zeros(wanted.size, dtype=np.intp)
    at = np.minimum(np.searchsorted(there, wanted), there.size - 1)
    return there[at] == wanted, at


def _together(parts: Sequence[Appended]) -> Appended:
    """Return what became of several parts as one."""
    if len(parts) == 1:
        return parts[0]
    of_parts = [part.conflicts for part in parts]
    return Appended(
        sum(part.added for part in parts),
        sum(part.same for part in parts),
        sum(part.repeated for part in parts),
        Conflicts(
            np.concatenate([np.empty(0, np.int64), *(one.time_ms for one in of_parts)]),
            np.concatenate([np.empty(0), *(one.stored for one in of_parts)]),
            np.concatenate([np.empty(0), *(one.given for one in of_parts)]),
            np.concatenate([np.empty(0, np.int64), *(one.row for one in of_parts)]),
            np.concatenate([np.empty(0, np.int64), *(one.series_id for one in of_parts)]),
        ),
    )


def _insert_sqlite(connection: Connection, series_id: int, time_ms: Times, value: Values) -> None:
    """Store samples with many rows a statement."""
    raw: Any = connection.connection.driver_connection
    flat: list[Any] = [None] * (2 * time_ms.size)
    flat[0::2], flat[1::2] = time_ms.tolist(), value.tolist()
    head = "INSERT INTO sample (series_id, time_ms, value) VALUES "
    one = f"({series_id},?,?)"
    width = 2 * _ROWS_A_STATEMENT
    whole = len(flat) // width * width
    try:
        # many rows a statement: each execution costs more than each row
        full = head + ",".join([one] * _ROWS_A_STATEMENT)
        raw.executemany(full, (flat[at : at + width] for at in range(0, whole, width)))
        if whole < len(flat):
            raw.execute(head + ",".join([one] * ((len(flat) - whole) // 2)), flat[whole:])
    except sqlite3.Error as error:
        raise store_error(str(error).strip(), "sample") from error


def _copy_postgresql(connection: Connection, series_id: int, time_ms: Times, value: Values) -> None:
    """Store samples by COPY in its binary form, made from one array of records."""
    import psycopg

    raw: Any = connection.connection.driver_connection
    rows = np.empty(time_ms.size, _COPY_ROW)
    rows["n"], rows["n1"], rows["n2"], rows["n3"] = 3, 4, 8, 8
    rows["series"], rows["time"], rows["value"] = series_id, time_ms, value
    try:
        with (
            raw.cursor() as cursor,
            cursor.copy("COPY sample (series_id, time_ms, value) FROM STDIN (FORMAT BINARY)") as copy,
        ):
            copy.write(_COPY_HEAD)
            copy.write(rows.tobytes())
            copy.write(_COPY_END)
    except psycopg.Error as error:
        raise store_error(str(error).strip(), "sample") from error
