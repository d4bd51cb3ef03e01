"""Recording the rows of registry tables: new, unchanged, corrected or withdrawn."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, func, select

from gwnet.ingest.tables.declared import WITH_DEFAULT
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import Parsed
from gwnet.ingest.tables.preview import Difference, RowChange, corrections, withdrawal
from gwnet.ingest.tables.registry import SUBJECTS, Columns, Subject, as_written, stored_as
from gwnet.store.models.base import known_on
from gwnet.store.models.levels import LevelEvent, LevelRecord
from gwnet.store.models.schema import METADATA
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire


@dataclass(frozen=True)
class Instruction:
    """What a load is to do.

    Attributes
    ----------
    now_utc : datetime.datetime
        Time of the recording.
    by : str
        Who records.
    correct, withdraw : bool
        Whether live rows of the same key are replaced, or retired without a successor.
    reason : str or None
        Why; given with both.
    """

    now_utc: dt.datetime
    by: str
    correct: bool = False
    withdraw: bool = False
    reason: str | None = None


@dataclass
class Tally:
    """What happened to the rows of a table."""

    added: int = 0
    unchanged: int = 0
    corrected: int = 0
    withdrawn: int = 0
    retired_ids: list[int] = field(default_factory=list)
    changes: list[RowChange] = field(default_factory=list)


def record_rows(
    connection: Connection, made: Parsed, codes: Codes, told: Instruction, source_file_id: int | None
) -> Tally:
    """Record the good rows of a registry table.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of the loading transaction.
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table; problems are added to it.
    codes : gwnet.ingest.tables.lookup.Codes
        Codes on record; new identities are added to it.
    told : Instruction
        What to do.
    source_file_id : int or None
        File that the rows come from.

    Returns
    -------
    Tally
        What happened.
    """
    subject = SUBJECTS[made.table.name]
    columns = subject.columns(made, codes)
    tally = Tally()
    live = live_rows(connection, subject)
    to_add = _decide(connection, made, subject, columns, live, codes, told, tally)
    if made.table.name == "measuring_points" and not told.withdraw:
        to_add = _refuse_overlaps(made, columns, to_add, live, tally)
    if tally.retired_ids:
        retire(connection, subject.record, tally.retired_ids, at_utc=told.now_utc, by=told.by, reason=told.reason)
    _note_refused(made, subject, columns, codes)
    _insert(connection, made, subject, columns, to_add, codes, told, source_file_id)
    if told.withdraw:
        tally.withdrawn = len(tally.retired_ids)
    else:
        tally.corrected = len(tally.retired_ids)
        tally.added = len(to_add) - tally.corrected
    return tally


def _decide(
    connection: Connection,
    made: Parsed,
    subject: Subject,
    columns: Columns,
    live: dict[Any, dict[str, Any]],
    codes: Codes,
    told: Instruction,
    tally: Tally,
) -> list[int]:
    """Return the rows to add; those to retire are noted in the tally."""
    keys = row_keys(made, subject, columns, codes)
    first_row: dict[Any, int] = {}
    to_add: list[int] = []
    for row in (row for row in range(made.count) if made.good[row]):
        key = keys[row]
        if key in first_row:
            _refuse_duplicate(made, columns, row, first_row[key], tally, told)
            continue
        first_row[key] = row
        known = live.get(key)
        if told.withdraw:
            _withdraw(connection, made, subject, row, known, tally)
        elif known is None or _replaces(made, subject, columns, row, known, codes, told, tally):
            to_add.append(row)
    return to_add


def _replaces(
    made: Parsed,
    subject: Subject,
    columns: Columns,
    row: int,
    known: dict[str, Any],
    codes: Codes,
    told: Instruction,
    tally: Tally,
) -> bool:
    """Return whether a row takes the place of the live row of its key."""
    differences = _differences(made, subject, columns, row, known, told)
    if not differences:
        tally.unchanged += 1
    elif told.correct:
        tally.retired_ids.append(known["id"])
        tally.changes += corrections(made, row, differences, codes)
        return True
    else:
        refuse_recorded(made, row, differences, codes)
    return False


def row_keys(made: Parsed, subject: Subject, columns: Columns, codes: Codes) -> list[Any]:
    """Return the key of each row; an identity that is not there yet stands by its code.

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table.
    subject : gwnet.ingest.tables.registry.Subject
        How it is recorded.
    columns : dict of str to sequence
        Columns of the recorded table.
    codes : gwnet.ingest.tables.lookup.Codes
        Codes on record.

    Returns
    -------
    list of tuple
        One a row.
    """
    parts = []
    for name in subject.key:
        if name == subject.parent:
            known = codes.ids[subject.identity]
            parts.append([known.get(code, code) for code in columns[subject.identity]])
        else:
            parts.append(list(columns[name]))
    return list(zip(*parts, strict=True)) if made.count else []


def live_rows(connection: Connection, subject: Subject) -> dict[Any, dict[str, Any]]:
    """Return the live rows of a recorded table by their key.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of the loading transaction.
    subject : gwnet.ingest.tables.registry.Subject
        How the table is recorded.

    Returns
    -------
    dict of tuple to dict
        Columns of each row.
    """
    table = METADATA.tables[subject.record]
    rows = connection.execute(select(table).where(table.c.retired_at_utc.is_(None))).mappings()
    return {tuple(row[name] for name in subject.key): dict(row) for row in rows}


def same(one: Any, other: Any) -> bool:
    """Return whether two values are the same; missing ones are, and numbers to the last digits.

    Parameters
    ----------
    one, other : object
        Values of a row.

    Returns
    -------
    bool
        Whether they are the same.
    """
    one_missing = one is None or (isinstance(one, float) and math.isnan(one))
    other_missing = other is None or (isinstance(other, float) and math.isnan(other))
    if one_missing or other_missing:
        return one_missing and other_missing
    if isinstance(one, int | float) and isinstance(other, int | float):
        return math.isclose(one, other, rel_tol=1e-12, abs_tol=1e-7)
    return bool(one == other)


def _value_columns(subject: Subject, columns: Columns) -> Iterable[str]:
    return (name for name in columns if name not in subject.key and name != subject.identity)


def passed_over(made: Parsed, told: Instruction) -> set[str]:
    """Return the columns of the record that are not compared, since the file lacks them.

    A column that has a default is compared all the same. A correction compares every column: those that its file lacks
    hold the values on record by then.

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table.
    told : Instruction
        What to do.

    Returns
    -------
    set of str
        Names in the recorded table.
    """
    if told.correct:
        return set()
    given = set(made.raw.places) | WITH_DEFAULT
    return {stored_as(column) for column in made.table.columns if column.name not in given}


def _differences(
    made: Parsed, subject: Subject, columns: Columns, row: int, known: dict[str, Any], told: Instruction
) -> list[Difference]:
    """Return name, value on record and new value of the columns that differ."""
    found = []
    lacking = passed_over(made, told)
    for name in _value_columns(subject, columns):
        if name in lacking:
            continue
        new = columns[name][row]
        if not same(new, known[name]):
            found.append((name, known[name], new))
    return found


def refuse_recorded(made: Parsed, row: int, differences: list[Difference], codes: Codes | None = None) -> None:
    """Note that a row of the same key with other values is on record.

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table.
    row : int
        Position of the row.
    differences : list of tuple
        Name, value on record and new value.
    codes : gwnet.ingest.tables.lookup.Codes, optional
        Codes on record, to show ids by.
    """
    words = "; ".join(
        f"{change.column}: {change.was} on record, {change.now} here"
        for change in corrections(made, row, differences, codes)
    )
    fix = "If this row is right, load the file with --correct --reason TEXT."
    made.reject(row, None, "already-recorded", f"The row is on record with other values: {words}.", fix)


def _refuse_duplicate(made: Parsed, columns: Columns, row: int, earlier: int, tally: Tally, told: Instruction) -> None:
    """Pass over a row that stands twice with the same values; refuse one with other values."""
    differ = any(not same(values[row], values[earlier]) for values in columns.values())
    if not differ or told.withdraw:
        tally.unchanged += 1
        return
    message = f"Row {made.raw.sheet.numbers[earlier]} has the same key and other values."
    made.reject(row, None, "duplicate-in-file", message, "Keep the right one of the two.")


def _withdraw(
    connection: Connection, made: Parsed, subject: Subject, row: int, known: dict[str, Any] | None, tally: Tally
) -> None:
    if known is None:
        made.reject(row, None, "nothing-to-withdraw", "No live row has this key.", "Check the columns of the key.")
        return
    needed_by = _hanging(connection, subject, known)
    if needed_by:
        message = f"It is still needed by {needed_by}."
        made.reject(row, None, "needed-by-others", message, "Withdraw those first.")
        return
    tally.retired_ids.append(known["id"])
    tally.changes.append(withdrawal(made, row))


#: Recorded tables whose identities belong to a site.
_OF_SITE: tuple[tuple[str, str, str], ...] = (
    ("well_record", "well", "well_id"),
    ("round_record", "gauging_round", "gauging_round_id"),
    ("stage_reading", "gauge", "gauge_id"),
    ("context_value", "context_series", "context_series_id"),
)

#: For each identity, the columns of recorded tables that point to it.
_POINTING: dict[str, tuple[tuple[str, str], ...]] = {
    "aquifer": (("well_record", "aquifer_id"), ("stage_reading", "aquifer_id")),
    "well": (
        ("measuring_point", "well_id"),
        ("construction_part", "well_id"),
        ("threshold", "well_id"),
        ("deployment", "well_id"),
    ),
    "instrument": (
        ("tape_check", "instrument_id"),
        ("level_record", "instrument_id"),
        ("deployment", "instrument_id"),
        ("deployment", "barometer_id"),
    ),
    "gauging_round": (("level_record", "gauging_round_id"),),
}


def _hanging(connection: Connection, subject: Subject, known: dict[str, Any]) -> str:
    """Return what live rows hang on a row, in words; empty for none."""
    counts: dict[str, int] = {}
    if subject.record == "measuring_point":
        counts["level_record"] = _events_at(connection, known)
    elif subject.identity == "site":
        for name, identity, column in _OF_SITE:
            parent, record = METADATA.tables[identity], METADATA.tables[name]
            query = select(func.count()).select_from(record.join(parent, parent.c.id == record.c[column]))
            live = record.c.retired_at_utc.is_(None)
            counts[name] = connection.execute(query.where(parent.c.site_id == known["site_id"], live)).scalar_one()
    else:
        for name, column in _POINTING.get(subject.identity, ()):
            table = METADATA.tables[name]
            pointing = table.c[column] == known[subject.parent]
            query = select(func.count()).select_from(table).where(pointing, table.c.retired_at_utc.is_(None))
            counts[name] = counts.get(name, 0) + connection.execute(query).scalar_one()
        if subject.identity == "well":
            counts["level_record"] = _events_of(connection, known["well_id"])
    return ", ".join(f"{count} × {name.replace('_', ' ')}" for name, count in counts.items() if count)


def _events_of(connection: Connection, well_id: int) -> int:
    query = select(func.count()).select_from(LevelRecord).join(LevelEvent, LevelEvent.id == LevelRecord.level_event_id)
    return connection.execute(query.where(LevelEvent.well_id == well_id, known_on(LevelRecord, None))).scalar_one()


def _events_at(connection: Connection, point: dict[str, Any]) -> int:
    """Return how many live level events were read at a measuring point."""
    query = select(func.count()).select_from(LevelRecord).join(LevelEvent, LevelEvent.id == LevelRecord.level_event_id)
    query = query.where(
        LevelEvent.well_id == point["well_id"],
        LevelEvent.access == point["access"],
        LevelEvent.measured_at_utc >= point["valid_from_utc"],
        known_on(LevelRecord, None),
    )
    if point["valid_until_utc"] is not None:
        query = query.where(LevelEvent.measured_at_utc < point["valid_until_utc"])
    return connection.execute(query).scalar_one()


def _refuse_overlaps(
    made: Parsed, columns: Columns, to_add: list[int], live: dict[Any, dict[str, Any]], tally: Tally
) -> list[int]:
    """Refuse measuring points that would be in force together with another of the same access."""
    retired = set(tally.retired_ids)
    taken: dict[Any, list[tuple[dt.datetime, dt.datetime | None, str]]] = {}
    for point in live.values():
        if point["id"] not in retired:
            interval = (point["valid_from_utc"], point["valid_until_utc"], "on record")
            taken.setdefault((point["well_id"], point["access"]), []).append(interval)
    refused: dict[Any, int] = {}
    for row in to_add:
        start, end = columns["valid_from_utc"][row], columns["valid_until_utc"][row]
        access = (columns["well_id"][row], columns["access"][row])
        others = taken.setdefault(access, [])
        clash = next((o for o in others if (o[1] is None or o[1] > start) and (end is None or end > o[0])), None)
        if clash is None:
            others.append((start, end, f"in row {made.raw.sheet.numbers[row]}"))
            continue
        refused.setdefault(access, row)
        until = "now" if clash[1] is None else f"{clash[1]:%Y-%m-%d}"
        message = f"The measuring point {clash[2]} is in force from {clash[0]:%Y-%m-%d} until {until}: the two overlap."
        fix = "Give the earlier one its valid_until in the same file, and load it with --correct --reason TEXT."
        made.reject(row, "valid_from", "measuring-points-overlap", message, fix)
    replacing = {
        (columns["well_id"][row], columns["access"][row])
        for row in to_add
        if (columns["well_id"][row], columns["access"][row], columns["valid_from_utc"][row]) in live
    }
    for row in to_add:
        access = (columns["well_id"][row], columns["access"][row])
        if access in refused and access in replacing:
            _keep_what_stood(made, columns, row, refused[access], live, tally)
    return [row for row in to_add if made.good[row]]


def _keep_what_stood(
    made: Parsed, columns: Columns, row: int, refused: int, live: dict[Any, dict[str, Any]], tally: Tally
) -> None:
    """Leave the live rows of an access as they are, and refuse every row for it, when one of them was refused."""
    known = live.get((columns["well_id"][row], columns["access"][row], columns["valid_from_utc"][row]))
    if known is not None and known["id"] in tally.retired_ids:
        tally.retired_ids.remove(known["id"])
    number = made.raw.sheet.numbers[row]
    tally.changes = [change for change in tally.changes if change.row != number]
    if made.good[row]:
        message = (
            f"Row {made.raw.sheet.numbers[refused]} of the same access was refused, so this one is not recorded either."
        )
        made.reject(row, "valid_from", "measuring-points-overlap", message, "Fix both and load them together.")


def _note_refused(made: Parsed, subject: Subject, columns: Columns, codes: Codes) -> None:
    """Remember the identities whose rows were rejected, for rows that need them."""
    if subject.identity:
        refused = codes.refused.setdefault(subject.identity, set())
        refused |= {code for code, good in zip(columns[subject.identity], made.good, strict=True) if not good}


def _insert(
    connection: Connection,
    made: Parsed,
    subject: Subject,
    columns: Columns,
    rows: list[int],
    codes: Codes,
    told: Instruction,
    source_file_id: int | None,
) -> None:
    if not rows:
        return
    stored: dict[str, Any] = {name: [values[row] for row in rows] for name, values in columns.items()}
    if subject.identity:
        stored[subject.parent] = [codes.ensure(subject.identity, code) for code in stored.pop(subject.identity)]
    stored = {name: _plain(values) for name, values in stored.items()}
    stored |= {
        "id": reserve_ids(connection, subject.record, len(rows)),
        "recorded_at_utc": told.now_utc,
        "recorded_by": told.by,
        "reason": told.reason,
        "source_file_id": source_file_id,
        "source_row": [made.raw.sheet.numbers[row] for row in rows],
        "as_written": [as_written(made, row) for row in rows],
    }
    insert_columns(connection, subject.record, stored, len(rows))


def _plain(values: list[Any]) -> list[Any]:
    return [None if isinstance(value, float) and math.isnan(value) else value for value in values]
