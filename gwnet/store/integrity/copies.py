"""Samples against the states that added them, copies against samples, kept files against their hashes."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select

from gwnet.store.fetch.read_samples import read_rows, unpack
from gwnet.store.fetch.sample_runs import Runs, runs_of
from gwnet.store.fetch.sources import compare_originals
from gwnet.store.integrity.chained import parts_of
from gwnet.store.integrity.digests import ADDED, sample_digest, sample_times
from gwnet.store.integrity.finding import RESTORE, Finding
from gwnet.store.integrity.stored import read_flags
from gwnet.store.models.loggers import Sample, SamplePack, SampleRun
from gwnet.store.models.reduced import ReducedLevel
from gwnet.store.save.reduced import row_digest

Times = NDArray[np.int64]
Values = NDArray[np.float64]

_SAMPLES: Final = "samples against states"
_PACKS: Final = "sample packs against samples"
_REDUCED: Final = "reduced levels against their hashes"
_ORIGINALS: Final = "kept files against their hashes"

_ANEW: Final = (
    "The samples themselves are checked against their states; where they fit, 'gwnet doctor --renew' makes the packs "
    "of the series anew from them."
)


def check_samples(connection: Connection) -> Iterator[Finding]:
    """Check the samples of every series against the states that added them.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a chunk of samples that does not fit.
    """
    counted: dict[int, int] = {}
    flagged: dict[int, list[list[int]]] = {}
    for part in parts_of(connection, "sample", ADDED):
        series_id, times = sample_times(part.keys)
        counted[series_id] = counted.get(series_id, 0) + times.size
        if flags := json.loads(part.described).get("flags"):
            flagged[series_id] = flagged.get(series_id, []) + flags
        # The span as a whole and then its own: other downloads may lie between.
        there, values = read_rows(connection, series_id, int(times[0]), int(times[-1]) + 1)
        own = np.isin(there, times)
        if own.sum() == times.size and sample_digest(part.keys, values[own]) == part.digest:
            continue
        missing = np.setdiff1d(times, there)
        when = missing[0] if missing.size else _first_changed(connection, series_id, times, values[own])
        what = "are missing" if missing.size else "are not as they were recorded"
        message = (
            f"Samples of series {series_id} that state {part.state} added {what}, between {_moment(int(times[0]))} and "
            f"{_moment(int(times[-1]))}, the first at {_moment(int(when))}."
        )
        yield Finding(_SAMPLES, message, RESTORE, part.state, "sample", series_id)
    query = select(Sample.series_id, func.count()).group_by(Sample.series_id).order_by(Sample.series_id)
    for series_id, count in connection.execute(query).all():
        # More than were added: none of the states knows of some of them.
        if count > counted.get(series_id, 0):
            message = f"Series {series_id} has {count:,} samples; the states of the record added "
            message += f"{counted.get(series_id, 0):,}."
            yield Finding(_SAMPLES, message, RESTORE, None, "sample", series_id)
    for series_id, flags in read_flags(connection).items():
        if flags != flagged.pop(series_id, []):
            message = f"Samples of series {series_id} have other flags than the states of the record say."
            yield Finding(_SAMPLES, message, RESTORE, None, "sample", series_id)
    for series_id in flagged:
        message = f"Samples of series {series_id} have lost their flags."
        yield Finding(_SAMPLES, message, RESTORE, None, "sample", series_id)


def _first_changed(connection: Connection, series_id: int, times: Times, values: Values) -> int:
    """Return the first time at which samples differ from their pack, or else the first of all."""
    query = select(SamplePack.first_ms, SamplePack.step_ms, SamplePack.sample_count, SamplePack.content)
    row = connection.execute(
        query.where(SamplePack.series_id == series_id, SamplePack.first_ms == int(times[0]))
    ).first()
    if row is not None and row.sample_count == times.size == values.size:
        _, packed = unpack(*row)
        different = np.flatnonzero(packed != values)
        if different.size:
            return int(times[different[0]])
    return int(times[0])


def check_packs(connection: Connection) -> Iterator[Finding]:
    """Check the packs, from which long series are read, against the samples.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a pack that holds something else.
    """
    keys = connection.execute(
        select(SamplePack.series_id, SamplePack.first_ms).order_by(SamplePack.series_id, SamplePack.first_ms)
    ).all()
    columns = (SamplePack.last_ms, SamplePack.step_ms, SamplePack.sample_count, SamplePack.content)
    runs: dict[int, Runs] = {}
    for series_id, first_ms in keys:
        query = select(*columns, SamplePack.download_id)
        query = query.where(SamplePack.series_id == series_id, SamplePack.first_ms == first_ms)
        last_ms, step_ms, count, content, download_id = connection.execute(query).one()
        if series_id not in runs:
            runs[series_id] = runs_of(connection, series_id)
        there, values = read_rows(connection, series_id, first_ms, last_ms + 1)
        own = runs[series_id].owners(there) == download_id
        if not _is_copy_of(first_ms, last_ms, step_ms, count, bytes(content), there[own], values[own]):
            message = (
                f"The pack of series {series_id} from {_moment(first_ms)} does not hold what the samples hold; heads "
                f"are worked out from it."
            )
            yield Finding(_PACKS, message, _ANEW, None, "sample_pack", int(series_id))
    yield from check_coverage(connection)


def check_coverage(connection: Connection) -> Iterator[Finding]:
    """Check that packs hold as many samples of each download as it added to a series.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a download of whose samples packs hold too few or too many.
    """
    added, packed = (
        {
            (series_id, download_id): int(count)
            for series_id, download_id, count in connection.execute(
                select(table.series_id, table.download_id, func.sum(table.sample_count))
                .group_by(table.series_id, table.download_id)
                .order_by(table.series_id, table.download_id)
            )
        }
        for table in (SampleRun, SamplePack)
    )
    for series_id, download_id in sorted(added.keys() | packed.keys()):
        wanted, held = (counts.get((series_id, download_id), 0) for counts in (added, packed))
        if held != wanted:
            message = (
                f"Packs hold {held:,} of the {wanted:,} samples that download {download_id} added to series "
                f"{series_id}; heads are then worked out from the samples, which takes longer."
            )
            yield Finding(_PACKS, message, _ANEW, None, "sample_pack", int(series_id))


def _is_copy_of(
    first_ms: int, last_ms: int, step_ms: int | None, count: int, content: bytes, there: Times, values: Values
) -> bool:
    """Return whether a pack holds samples exactly as they are on record."""
    # Bytes of another length would be read beyond their end.
    if len(content) != 8 * count * (1 if step_ms is not None else 2):
        return False
    times, packed = unpack(first_ms, step_ms, count, content)
    own = np.isin(there, times)
    return bool(
        times.size
        and times[0] == first_ms
        and times[-1] == last_ms
        and own.sum() == times.size
        and np.array_equal(values[own], packed, equal_nan=True)
    )


def check_originals(connection: Connection) -> Iterator[Finding]:
    """Check the bytes of every kept file against its hash.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a file that is not as it was loaded.
    """
    for number, name, problem in compare_originals(connection):
        if problem:
            message = f"The kept file {name} (number {number}) {problem}."
            yield Finding(_ORIGINALS, message, RESTORE, None, "source_file", number)


def check_reduced_levels(connection: Connection) -> Iterator[Finding]:
    """Check the reduced levels, which readers ask by SQL, against the hash of each row.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a row that was altered since it was worked out.
    """
    table = ReducedLevel.__table__
    for row in connection.execute(select(table).order_by(table.c.event_id)).mappings():
        if row_digest({str(name): value for name, value in row.items()}) != row["row_sha256"]:
            message = f"The reduced level of event {row['event_id']} is not as it was worked out."
            yield Finding(
                _REDUCED, message, "Fill the table anew with 'gwnet refresh'.", None, "reduced_level", row["event_id"]
            )


#: Copies and what is worked out from the record and kept, each with the check that compares it with what it is from.
DERIVED: Final[dict[str, Callable[[Connection], Iterator[Finding]]]] = {
    _PACKS: check_packs,
    _REDUCED: check_reduced_levels,
}


def _moment(time_ms: int) -> str:
    return str(np.datetime64(time_ms, "ms")).replace("T", " ") + " UTC"
