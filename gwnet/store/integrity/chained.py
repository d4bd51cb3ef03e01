"""States against one another, and every row on record against the state that added or retired it."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Table, text

from gwnet.store.integrity.chain import COVERED, state_digest
from gwnet.store.integrity.digests import (
    ADDED,
    FIRST_FORM,
    NO_ROWS,
    WITHDRAWN,
    canonical,
    covered_columns,
    hash_rows,
    key_of,
    order_of,
    part_digest,
    short_hashes,
    unpack_keys,
)
from gwnet.store.integrity.finding import RESTORE, Finding
from gwnet.store.integrity.guards import RETIRED
from gwnet.store.integrity.stored import read_rows
from gwnet.store.models.base import SQLITE_TIME_FORMAT
from gwnet.store.models.schema import METADATA, RECORDED_TABLES

#: Most rows of one table that are named one by one.
MOST_NAMED: Final = 20

_CHAIN: Final = "chain of states"
_ROWS: Final = "rows against states"


@dataclass(frozen=True)
class StoredPart:
    """A part as it is stored with its state.

    Attributes
    ----------
    state : int
        Serial number of the state.
    act, described, digest : str
        As of `gwnet.store.integrity.digests.Part`.
    keys : numpy.ndarray of int64
        Its keys, unpacked.
    row_hashes : bytes
        As stored.
    """

    state: int
    act: str
    described: str
    digest: str
    keys: NDArray[np.int64]
    row_hashes: bytes


def check_chain(connection: Connection) -> Iterator[Finding]:
    """Check that states follow one another in number, time and digest.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a state that does not fit.
    """
    before: dict[str, Any] | None = None
    parts = _covered_parts(connection)
    for state in _states(connection):
        serial = state["serial"]
        wrong = []
        if serial != (1 if before is None else before["serial"] + 1):
            wrong.append(f"it follows state {0 if before is None else before['serial']}")
        if before is not None and state["recorded_at_utc"] <= before["recorded_at_utc"]:
            wrong.append(f"its time {state['recorded_at_utc']} is not after {before['recorded_at_utc']}")
        if state["previous_digest"] != (None if before is None else before["digest"]):
            wrong.append("it does not name the digest of the state before")
        if state_digest(state, parts.pop(serial, [])) != state["digest"]:
            wrong.append("its digest is not that of what it holds")
        if wrong:
            message = f"State {serial} ({state['act']} by {state['recorded_by']}) does not fit: {'; '.join(wrong)}."
            yield Finding(_CHAIN, message, RESTORE, serial, "state", serial)
        before = state
    # What is left of the parts names states that no row has.
    for serial in parts:
        yield Finding(_CHAIN, f"Rows are described for state {serial}, which is missing.", RESTORE, serial, "state")


def _states(connection: Connection) -> Iterator[dict[str, Any]]:
    """Yield the states as they are stored, instants as canonical text."""
    names = [*COVERED, "digest"]
    table = METADATA.tables["state"]
    query = text(f"SELECT {', '.join(names)} FROM state ORDER BY serial")
    for row in connection.execute(query):
        yield {name: canonical(table.c[name], [value])[0] for name, value in zip(names, row, strict=True)}


def _covered_parts(connection: Connection) -> dict[int, list[list[Any]]]:
    """Return what the digest of each state covers of its parts."""
    query = "SELECT state_serial, table_name, act, described, row_count, digest FROM state_part"
    covered: dict[int, list[list[Any]]] = {}
    for serial, *part in connection.execute(text(f"{query} ORDER BY state_serial, ordinal")):
        covered.setdefault(serial, []).append(part)
    return covered


def parts_of(connection: Connection, table: str, act: str) -> list[StoredPart]:
    """Return the parts of one table.

    Parameters as `gwnet.store.integrity`.

    Parameters
    ----------
    table : str
        Name of the table.
    act : {"added", "retired"}
        Which parts.

    Returns
    -------
    list of StoredPart
        In the order of the states.
    """
    query = text(
        "SELECT state_serial, act, described, digest, row_keys, row_hashes FROM state_part"
        " WHERE table_name = :table AND act = :act ORDER BY state_serial, ordinal"
    )
    return [
        StoredPart(serial, act, described, digest, unpack_keys(bytes(keys)), bytes(hashes))
        for serial, act, described, digest, keys, hashes in connection.execute(query, {"table": table, "act": act})
    ]


@dataclass
class _Expected:
    """What a part says of its rows, and what was found of them."""

    part: StoredPart
    same: dict[str, Any]
    each: list[str]
    form: int
    keys: list[NDArray[np.int64]] = field(default_factory=list)
    hashes: list[NDArray[np.uint8]] = field(default_factory=list)


def check_rows(connection: Connection, table: Table) -> Iterator[Finding]:
    """Check the rows of a table against the states that added and retired them.

    Parameters as `gwnet.store.integrity`.

    Parameters
    ----------
    table : sqlalchemy.Table
        The table.

    Yields
    ------
    Finding
        One a row that does not fit; in the order of the states.
    """
    found = list(_check_added(connection, table))
    if table.name in RECORDED_TABLES:
        found += _check_retired(connection, table)
    # By state, so that the oldest change is named; what no state added comes last.
    found.sort(key=lambda finding: (finding.state is None, finding.state or 0))
    yield from found[:MOST_NAMED]
    if len(found) > MOST_NAMED:
        message = f"{len(found) - MOST_NAMED} more rows of {table.name} do not fit."
        yield Finding(_ROWS, message, RESTORE, found[MOST_NAMED].state, table.name)


def _check_added(connection: Connection, table: Table) -> Iterator[Finding]:
    expected = []
    for part in parts_of(connection, table.name, ADDED):
        described = json.loads(part.described)
        expected.append(_Expected(part, described["same"], described["each"], described.get("form", FIRST_FORM)))
    keys_of = [np.unique(one.part.keys) for one in expected]
    keys = np.concatenate([np.empty(0, np.int64), *keys_of])
    owner = np.repeat(np.arange(len(expected)), [own.size for own in keys_of])
    order = np.argsort(keys, kind="stable")
    keys, owner = keys[order], owner[order]
    names = [column.name for column in covered_columns(table)]
    for rows in read_rows(connection, table, names):
        yield from _sort_rows(table, rows, keys, owner, expected)
    for one in expected:
        yield from _compare_part(table, one)


def _sort_rows(
    table: Table,
    rows: dict[str, list[Any]],
    keys: NDArray[np.int64],
    owner: NDArray[np.intp],
    expected: Sequence[_Expected],
) -> Iterator[Finding]:
    """Give rows to the parts that their keys are in; yield those that no state added."""
    # Clipped, as a key beyond the last is searched to the end.
    own = np.array(rows[key_of(table)], np.int64)
    at = np.minimum(np.searchsorted(keys, own), max(keys.size - 1, 0))
    known = keys[at] == own if keys.size else np.zeros(own.size, dtype=bool)
    for place in np.flatnonzero(~known).tolist():
        message = f"Row {own[place]} of {table.name} was added by no state of the record."
        yield Finding(_ROWS, message, RESTORE, None, table.name, int(own[place]))
    places = np.flatnonzero(known)
    for number, group in groupby(places.tolist(), key=lambda place: int(owner[at[place]])):
        some = list(group)
        one = expected[number]
        cells = {name: [values[place] for place in some] for name, values in rows.items()}
        hashes = hash_rows([cells[name] for name in one.each], len(some), one.form).copy()
        for name, values in cells.items():
            if name not in one.each:
                # A column that the part says is the same for all has another value here: the hash must not fit.
                hashes[[value != one.same.get(name) for value in values]] ^= 0xFF
        one.keys.append(own[some])
        one.hashes.append(hashes)


def _compare_part(table: Table, one: _Expected) -> Iterator[Finding]:
    """Compare the rows that were found of a part with what it says of them."""
    keys = np.concatenate([np.empty(0, np.int64), *one.keys])
    hashes = np.concatenate(one.hashes) if one.hashes else NO_ROWS
    order = order_of(keys, hashes) if keys.size else np.empty(0, np.intp)
    keys, hashes = keys[order], hashes[order]
    part = one.part
    stored = np.frombuffer(part.row_hashes, "<u8")
    short = short_hashes(hashes)
    fits = part_digest(part.described, keys, hashes) == part.digest
    if fits and np.array_equal(stored, short) and np.array_equal(part.keys, keys):
        return
    # Rows and hashes contradict each other: not the rows were changed but what describes them.
    if fits or stored.size != part.keys.size:
        message = f"What state {part.state} says of its rows of {table.name} was changed."
        yield Finding(_ROWS, message, RESTORE, part.state, "state_part", part.state)
        return
    was = set(zip(part.keys.tolist(), stored.tolist(), strict=True))
    now = set(zip(keys.tolist(), short.tolist(), strict=True))
    changed = sorted({key for key, _ in was ^ now})
    present = set(keys.tolist())
    for key in changed:
        what = "is not as it was recorded" if key in present else "is missing"
        message = f"Row {key} of {table.name}, which state {part.state} added, {what}."
        yield Finding(_ROWS, message, RESTORE, part.state, table.name, key)
    if not changed:
        message = f"Rows of {table.name} that state {part.state} added are not as they were recorded."
        yield Finding(_ROWS, message, RESTORE, part.state, table.name)


def _check_retired(connection: Connection, table: Table) -> list[Finding]:
    """Check which rows are retired, when, by whom and why."""
    found = []
    expected: dict[int, tuple[int, list[Any]]] = {}
    for part in parts_of(connection, table.name, WITHDRAWN):
        if part_digest(part.described, part.keys, NO_ROWS) != part.digest:
            message = f"What state {part.state} says of rows of {table.name} that it retired was changed."
            found.append(Finding(_ROWS, message, RESTORE, part.state, "state_part", part.state))
        same = json.loads(part.described)["same"]
        expected |= {key: (part.state, [same.get(name) for name in RETIRED]) for key in part.keys.tolist()}
    where = " OR ".join(f"{name} IS NOT NULL" for name in RETIRED)
    for rows in read_rows(connection, table, ["id", *RETIRED], where):
        for key, *values in zip(*rows.values(), strict=True):
            state, wanted = expected.pop(key, (None, None))
            if wanted != values:
                message = f"Row {key} of {table.name} is retired otherwise than the states of the record say."
                found.append(Finding(_ROWS, message, RESTORE, state, table.name, key))
    for key, (state, _) in expected.items():
        message = f"Row {key} of {table.name}, which state {state} retired, is on record again or missing."
        found.append(Finding(_ROWS, message, RESTORE, state, table.name, key))
    return found


def check_clock(connection: Connection, clock: dt.datetime, slack: dt.timedelta) -> Iterator[Finding]:
    """Check that no state lies ahead of the clock.

    Parameters as `gwnet.store.integrity`.

    Parameters
    ----------
    clock : datetime.datetime
        What the clock says.
    slack : datetime.timedelta
        How far a state may lie ahead.

    Yields
    ------
    Finding
        For the first state that lies ahead, unless a later act says that this is known.
    """
    limit = (clock + slack).astimezone(dt.UTC).strftime(SQLITE_TIME_FORMAT)
    states = list(_states(connection))
    ahead = [state for state in states if state["recorded_at_utc"] > limit]
    if not ahead:
        return
    newest = states[-1]
    # The newest state notes what the clock said then: where that is not ahead, it was accepted that states are.
    known = newest["clock_utc"] is not None and newest["clock_utc"] <= limit
    if known:
        return
    message = (
        f"The clock says {clock:%Y-%m-%d %H:%M:%S} UTC, and {len(ahead)} states lie ahead of it, the first of them "
        f"state {ahead[0]['serial']}, recorded at {ahead[0]['recorded_at_utc']} UTC."
    )
    fix = (
        "Set the clock right if it is wrong. If it is right, say so with 'gwnet doctor --accept-clock --reason TEXT': "
        "later states then follow after the newest."
    )
    yield Finding("clock", message, fix, int(ahead[0]["serial"]), "state", int(ahead[0]["serial"]))
