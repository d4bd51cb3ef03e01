"""The canonical form of recorded rows and the digests over it, the same on both databases.

Rows are described in parts: rows of one table that one statement added or retired. A part names the columns that have
one value for all of its rows, with that value, and those that differ; of the latter the digest covers the bits of every
number and every text, short ones as they are and others by their hash (`canonical`, `hash_rows`). Bytes of files are
left out: they have a hash of their own, which is a column. Samples are hashed as bytes of columns, chunk by chunk.

What a part covers of texts has a form, whose number it says; those that say none are of form 1, which hashed short
texts, too.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Boolean, Column, Date, Float, Integer, LargeBinary, Table

from gwnet.store.integrity.guards import COPY, RETIRED
from gwnet.store.models.base import SQLITE_TIME_FORMAT, UtcDateTime

#: Canonical values of one column: a sequence, or an array of whole numbers or of numbers with NaN where there is none.
Cells = Sequence[Any] | NDArray[Any]

#: Column by which the rows of a table are found again, where it is neither their number nor the first of their key.
_KEYS: Final = {"sample_run": "download_id"}

#: Tables that no part describes: pieces of files, whose bytes have the hash of the file, samples, and states.
_ASIDE: Final = frozenset({"source_piece", "sample", "state", "state_part"})

#: Bytes of a row's hash that are kept to find the row that was changed.
_KEPT_BYTES: Final = 8

#: Bits of a missing value, and an odd number that spreads bits (the golden ratio of 64 bits).
_MISSING: Final = 0x7FF8_6D69_7373_696E
_FACTOR: Final = np.uint64(0x9E37_79B9_7F4A_7C15)

#: Rounds of exchanges after which rows are sorted instead.
_MOST_EXCHANGES: Final = 8

#: What is covered of no rows.
NO_ROWS: Final[NDArray[np.uint8]] = np.empty((0, _KEPT_BYTES), np.uint8)

#: Form of the parts that are made today; of the first there are parts on record.
FORM: Final = 2
FIRST_FORM: Final = 1

#: Bytes of text that are covered as they are in form 2, and the mark of the hash of a longer one.
_SHORT_BYTES: Final = 7
_LONG: Final = 1 << 63

ADDED: Final = "added"
WITHDRAWN: Final = "retired"


@dataclass(frozen=True)
class Part:
    """Rows of one table that a state added or retired.

    Attributes
    ----------
    table_name : str
        The table.
    act : {"added", "retired"}
        What was done.
    described : str
        JSON: ``same``, the columns with one value, ``each``, the names of the others, and ``form``, what is covered
        of them.
    row_count : int
        Number of rows.
    row_keys : bytes
        Their keys, packed; of samples their series and times.
    row_hashes : bytes
        The first eight bytes of each row's hash, in the order of the keys; empty for samples, one for retired rows.
    digest : str
        SHA-256 over all of it.
    """

    table_name: str
    act: str
    described: str
    row_count: int
    row_keys: bytes
    row_hashes: bytes
    digest: str

    @property
    def covered(self) -> list[Any]:
        """Return what the digest of the state covers of it."""
        return [self.table_name, self.act, self.described, self.row_count, self.digest]


def is_described(table: Table) -> bool:
    """Return whether parts describe the rows of a table."""
    return table.name not in _ASIDE and table.info.get("guard") != COPY


def key_of(table: Table) -> str:
    """Return the column by which the rows of a table are found again: a whole number, perhaps of several rows."""
    own = "id" if "id" in table.c else next(iter(table.primary_key.columns)).name
    return _KEYS.get(table.name, own)


def covered_columns(table: Table) -> list[Column[Any]]:
    """Return the columns of a table that digests cover when a row is added."""
    return [column for column in table.columns if column.name not in RETIRED and not _is_bytes(column)]


def canonical(column: Column[Any], values: Sequence[Any]) -> list[Any]:
    """Return values in their canonical form.

    Parameters
    ----------
    column : sqlalchemy.Column
        Their column.
    values : sequence
        Values as the driver of either database takes or gives them.

    Returns
    -------
    list
        None, int, float or str; instants as text in UTC with microseconds, dates as ISO text, truth values as 0 and 1.
    """
    kind = column.type
    if isinstance(kind, UtcDateTime | Date) and set(map(type, values)) <= {str, type(None)}:
        return list(values)
    if isinstance(kind, UtcDateTime):
        return [value if value is None or type(value) is str else _instant(value) for value in values]
    if isinstance(kind, Date):
        return [value if value is None or type(value) is str else value.isoformat() for value in values]
    plain = int if isinstance(kind, Integer | Boolean) else float if isinstance(kind, Float) else str
    if set(map(type, values)) <= {plain, type(None)}:
        return list(values)
    return [value if value is None or type(value) is plain else plain(value) for value in values]


def _instant(value: Any) -> str:
    return str(value.astimezone(dt.UTC).strftime(SQLITE_TIME_FORMAT))


def added_part(table: Table, same: Mapping[str, Any], each: Mapping[str, Cells], count: int) -> Part:
    """Return the part of rows that were added.

    Parameters
    ----------
    table : sqlalchemy.Table
        The table.
    same : mapping
        Columns with one canonical value for all rows.
    each : mapping
        Canonical values of the other columns.
    count : int
        Number of rows.

    Returns
    -------
    Part
        The part.
    """
    names = [column.name for column in covered_columns(table)]
    # Missing values need no word, so a column added later leaves older digests as they are.
    fixed = {name: same[name] for name in names if same.get(name) is not None}
    varied = [name for name in names if name in each and not _is_empty(each[name])]
    key = key_of(table)
    keys = np.asarray(each[key] if key in each else [same[key]] * count, np.int64)
    hashes = hash_rows([each[name] for name in varied], count, FORM)
    return _part(table.name, ADDED, {"same": fixed, "each": varied, "form": FORM}, keys, hashes)


def retired_part(table: Table, ids: Sequence[int], same: Mapping[str, Any]) -> Part:
    """Return the part of rows that were retired.

    Parameters
    ----------
    table : sqlalchemy.Table
        The table.
    ids : sequence of int
        Numbers of the rows.
    same : mapping
        Canonical values of when, by whom and why.

    Returns
    -------
    Part
        The part.
    """
    described = {"same": {name: value for name, value in same.items() if value is not None}, "each": []}
    keys = np.asarray(ids, np.int64)
    return _part(table.name, WITHDRAWN, described, keys, NO_ROWS)


def sample_part(
    series_id: int,
    time_ms: NDArray[np.int64],
    value: NDArray[np.float64],
    step_ms: int | None,
    flags: Sequence[Sequence[int]] = (),
) -> Part:
    """Return the part of samples that were added to a series.

    Parameters
    ----------
    series_id : int
        The series.
    time_ms : numpy.ndarray of int64
        Ascending times, at least one, shape (n,).
    value : numpy.ndarray of float64
        Values, shape (n,).
    step_ms : int or None
        How far the times are apart all through; None where they are not.
    flags : sequence of sequence of int, optional
        Time and flag of each sample that has one.

    Returns
    -------
    Part
        The part; its keys are the series and either 0, first time, step and number, or 1 and every time.
    """
    count = time_ms.size
    times = np.array([0, time_ms[0], step_ms, count]) if step_ms is not None else np.append(1, time_ms)
    keys = np.append(series_id, times).astype(np.int64)
    described = json.dumps({"flags": [list(flag) for flag in flags]} if flags else {}, separators=(",", ":"))
    return Part("sample", ADDED, described, count, pack_keys(keys), b"", sample_digest(keys, value))


def sample_digest(keys: NDArray[np.int64], value: NDArray[np.float64]) -> str:
    """Return the digest of samples.

    Parameters
    ----------
    keys : numpy.ndarray of int64
        As of `sample_part`.
    value : numpy.ndarray of float64
        Values, shape (n,).

    Returns
    -------
    str
        SHA-256 in hexadecimal digits.
    """
    digest = hashlib.sha256(keys.astype("<i8").tobytes())
    digest.update((value + 0.0).astype("<f8").tobytes())  # SQLite gives 0 for what was stored as -0
    return digest.hexdigest()


def sample_times(keys: NDArray[np.int64]) -> tuple[int, NDArray[np.int64]]:
    """Return the series and the times of samples from the keys of their part."""
    if keys[1] == 0:
        first, step, count = keys[2:5].tolist()
        return int(keys[0]), first + step * np.arange(count, dtype=np.int64)
    return int(keys[0]), keys[2:]


def hash_rows(columns: Sequence[Cells], count: int, form: int) -> NDArray[np.uint8]:
    """Return what digests cover of each row.

    Parameters
    ----------
    columns : sequence of Cells
        Canonical values of the columns that differ.
    count : int
        Number of rows.
    form : int
        Form of the part: 1, in which every text is hashed, or 2.

    Returns
    -------
    numpy.ndarray of uint8
        For each row a short hash, by which a changed row is named, and 8 bytes a column: the bits of a number; of a
        text of up to 7 bytes these and their number, of others the first bytes of the SHA-256; shape (n, 8 + 8 k).
    """
    cells = np.empty((count, len(columns) + 1), np.uint64)
    mixed = np.zeros(count, np.uint64)
    for place, values in enumerate(columns, 1):
        cells[:, place] = _bits(values, form)
        mixed = (mixed ^ cells[:, place]) * _FACTOR
        # Folded, as multiplying carries bits upward only.
        mixed ^= mixed >> np.uint64(29)
    cells[:, 0] = mixed
    return cells.astype("<u8", copy=False).view(np.uint8).reshape(count, -1)


def _bits(values: Cells, form: int) -> NDArray[np.uint64]:
    """Return canonical values of one column as 64 bits each."""
    if isinstance(values, np.ndarray):
        if values.dtype.kind != "f":
            return values.astype(np.int64).view(np.uint64)
        bits = (values.astype(np.float64) + 0.0).view(np.uint64)  # SQLite gives 0 for what was stored as -0
        bits[np.isnan(values)] = _MISSING
        return bits
    kind = next((type(value) for value in values if value is not None), int)
    if kind is str:
        return _bits_of_texts(values, form)
    missing = [value is None for value in values] if None in values else None
    plain = values if missing is None else [0 if value is None else value for value in values]
    numbers = np.array(plain, np.float64 if kind is float else np.int64)
    bits = (numbers + 0 if kind is float else numbers).view(np.uint64)
    if missing is not None:
        bits[missing] = _MISSING
    return bits


def _bits_of_texts(values: Sequence[str | None], form: int) -> NDArray[np.uint64]:
    """Return texts as 64 bits each: themselves where they are short, else the first bits of their SHA-256."""
    if form != FIRST_FORM and (packed := _packed(values)) is not None:
        return packed
    words = dict.fromkeys(value for value in values if value is not None)
    of_word = _bits_of_word if form != FIRST_FORM else _hash_of_word
    bits = np.fromiter(map(of_word, words), np.uint64, len(words))
    if len(words) == len(values):
        return bits
    bits_of: dict[str | None, int] = {**dict(zip(words, bits.tolist(), strict=True)), None: _MISSING}
    return np.fromiter(map(bits_of.__getitem__, values), np.uint64, len(values))


def _packed(values: Sequence[str | None]) -> NDArray[np.uint64] | None:
    """Return what `_bits_of_word` gives for texts that are all short and of ASCII; None for others."""
    try:
        sizes = np.fromiter(map(len, values), np.uint64, len(values))  # type: ignore[arg-type]
        if sizes.max(initial=0) > _SHORT_BYTES:
            return None
        packed = np.array(values, f"S{_SHORT_BYTES + 1}").view("<u8")
    except (TypeError, UnicodeEncodeError):  # a missing one, or other signs
        return None
    return packed.astype(np.uint64) | (sizes << np.uint64(8 * _SHORT_BYTES))


def _bits_of_word(word: str) -> int:
    """Return a text of few bytes with their number in the highest byte, or the hash of a longer one, marked."""
    content = word.encode("utf-8", "surrogatepass")
    if len(content) <= _SHORT_BYTES:
        return int.from_bytes(content, "little") | len(content) << 8 * _SHORT_BYTES
    return int.from_bytes(hashlib.sha256(content).digest()[:_KEPT_BYTES], "little") | _LONG


def _hash_of_word(word: str) -> int:
    content = word.encode("utf-8", "surrogatepass")
    return int.from_bytes(hashlib.sha256(content).digest()[:_KEPT_BYTES], "little")


def _is_empty(values: Cells) -> bool:
    """Return whether all values of a column are missing."""
    if isinstance(values, np.ndarray):
        return values.dtype.kind == "f" and bool(np.isnan(values).all())
    return values.count(None) == len(values)


def _part(table: str, act: str, described: dict[str, Any], keys: NDArray[np.int64], hashes: NDArray[np.uint8]) -> Part:
    order = order_of(keys, hashes)
    text = json.dumps(described, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    keys = keys[order]
    ordered = hashes[order] if len(hashes) else hashes
    return Part(
        table, act, text, keys.size, pack_keys(keys), short_hashes(ordered).tobytes(), part_digest(text, keys, ordered)
    )


def order_of(keys: NDArray[np.int64], hashes: NDArray[np.uint8]) -> NDArray[np.intp]:
    """Return the order of rows by key, and by hash where several have one key."""
    if keys.size and bool((keys[1:] > keys[:-1]).all()):
        return np.arange(keys.size)
    if not len(hashes):
        return np.argsort(keys, kind="stable")
    short = short_hashes(hashes)
    if keys.size and bool((keys[1:] >= keys[:-1]).all()):
        return _order_in_runs(keys, short)
    return np.lexsort((short, keys))


def _order_in_runs(keys: NDArray[np.int64], short: NDArray[np.uint64]) -> NDArray[np.intp]:
    """Return the order by hash within runs of one key, most of two or three rows, by exchanging neighbours."""
    order = np.arange(keys.size)
    tied = keys[1:] == keys[:-1]
    for _ in range(_MOST_EXCHANGES):
        wrong = np.flatnonzero(tied & (short[order[1:]] < short[order[:-1]]))
        if not wrong.size:
            return order
        wrong = wrong[np.diff(wrong, prepend=-2) > 1]  # none of them beside another
        order[wrong], order[wrong + 1] = order[wrong + 1], order[wrong]
    return np.lexsort((short, keys))


def part_digest(described: str, keys: NDArray[np.int64], hashes: NDArray[np.uint8]) -> str:
    """Return the digest of the rows of a part.

    Parameters
    ----------
    described : str
        As of `Part`.
    keys : numpy.ndarray of int64
        Keys in order, shape (n,).
    hashes : numpy.ndarray of uint8
        What `hash_rows` gives for the rows in that order; nothing for retired rows.

    Returns
    -------
    str
        SHA-256 in hexadecimal digits.
    """
    digest = hashlib.sha256(described.encode())
    digest.update(keys.astype("<i8").tobytes())
    digest.update(hashes.tobytes())
    return digest.hexdigest()


def short_hashes(hashes: NDArray[np.uint8]) -> NDArray[np.uint64]:
    """Return the first eight bytes of each hash as a number."""
    return np.ascontiguousarray(hashes[:, :_KEPT_BYTES]).view("<u8").ravel().astype(np.uint64, copy=False)


def pack_keys(keys: NDArray[np.int64]) -> bytes:
    """Return numbers as bytes, small where they follow one another."""
    return zlib.compress(np.diff(keys, prepend=np.int64(0)).astype("<i8").tobytes(), 1)


def unpack_keys(content: bytes) -> NDArray[np.int64]:
    """Return the numbers that `pack_keys` packed."""
    return np.cumsum(np.frombuffer(zlib.decompress(content), "<i8")).astype(np.int64, copy=False)


def _is_bytes(column: Column[Any]) -> bool:
    return isinstance(column.type, LargeBinary)
