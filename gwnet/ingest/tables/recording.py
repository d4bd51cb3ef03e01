"""Recording the rows of every table but the level events: new, unchanged, corrected or withdrawn."""

from __future__ import annotations

import datetime as dt
import json
import math
from typing import Any

from sqlalchemy import Connection, func, select

from gwnet.clock import zone_of
from gwnet.ingest.tables.convert import Columns, Converted, check_lengths, convert
from gwnet.ingest.tables.instruction import Instruction, Tally
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.overlaps import (
    end_earlier_rows,
    find_endings,
    find_points_in_force,
    refuse_overlaps,
    say_endings,
)
from gwnet.ingest.tables.parse import Parsed
from gwnet.ingest.tables.preview import Difference, describe_correction, describe_withdrawal, is_missing
from gwnet.ingest.tables.pumping import refuse_overlapping_tests
from gwnet.store.columns import Table
from gwnet.store.contract import TABLES
from gwnet.store.models.base import known_on
from gwnet.store.models.levels import LevelEvent, LevelRecord
from gwnet.store.models.schema import METADATA
from gwnet.store.recorded import OF_SITE, live_key, record_of
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire


def record_rows(
    connection: Connection, parsed: Parsed, codes: Codes, instruction: Instruction, source_file_id: int | None
) -> Tally:
    """Record the good rows of a table and return what happened to them.

    Parameters as `gwnet.ingest.tables`.
    """
    converted = convert(parsed, codes)
    if not instruction.withdraw:
        check_lengths(parsed, converted.units)
    recording = _Recording(connection, parsed, codes, instruction, converted)
    return recording.record(source_file_id)


def row_keys(parsed: Parsed, columns: Columns, codes: Codes) -> list[Any]:
    """Return the key of each row as a tuple; an identity that is not there yet is given by its code.

    Parameters as `gwnet.ingest.tables`.
    """
    table = parsed.table
    parts = []
    for name in live_key(table.record):
        if table.identity and name == f"{table.identity}_id":
            known = codes.ids[table.identity]
            parts.append([known.get(code, code) for code in columns[table.identity]])
        else:
            parts.append(list(columns[name]))
    return list(zip(*parts, strict=True)) if parsed.count else []


def live_rows(connection: Connection, table: Table) -> dict[Any, dict[str, Any]]:
    """Return the live rows of the recorded table of a table, by their key.

    Parameters as `gwnet.ingest.tables`.
    """
    record = record_of(table)
    rows = connection.execute(select(record).where(record.c.retired_at_utc.is_(None))).mappings()
    return {tuple(row[name] for name in live_key(table.record)): dict(row) for row in rows}


def is_same(value: Any, other: Any) -> bool:
    """Return whether two values of a row are the same; missing ones are, and numbers to the last digits.

    Parameters as `gwnet.ingest.tables`; ``value`` and ``other`` are of one column.
    """
    if is_missing(value) or is_missing(other):
        return is_missing(value) and is_missing(other)
    if isinstance(value, int | float) and isinstance(other, int | float):
        # A tenth of a micrometre is what lengths are stored to.
        return math.isclose(value, other, rel_tol=1e-12, abs_tol=1e-7)
    return bool(value == other)


def not_compared(parsed: Parsed, instruction: Instruction) -> set[str]:
    """Return the columns of the record that are not compared, since the file lacks them.

    A column that has a default is compared all the same. A correction compares every column: those that its file lacks
    hold the values on record by then.

    Parameters as `gwnet.ingest.tables`.
    """
    # A correction has the values on record in the columns that its file lacks.
    if instruction.correct:
        return set()
    converted = {c.converts_to for c in parsed.table.columns if c.name in parsed.raw.places}
    given = {*parsed.raw.places, *converted}
    lacking = (c for c in parsed.table.columns if c.name not in given and c.default is None)
    return {column.stored_as for column in lacking}


def refuse_recorded(parsed: Parsed, row: int, differences: list[Difference], codes: Codes | None = None) -> None:
    """Note that a row of the same key with other values is on record.

    Parameters as `gwnet.ingest.tables`.
    """
    words = "; ".join(
        f"{change.column}: {change.was} on record, {change.now} here"
        for change in describe_correction(parsed, row, differences, codes)
    )
    fix = "If this row is right, load the file with --correct --reason TEXT."
    parsed.reject(row, None, "already-recorded", f"The row is on record with other values: {words}.", fix)


def as_written(parsed: Parsed, row: int) -> str:
    """Return the filled cells of a row with their headings, as a JSON object.

    Parameters as `gwnet.ingest.tables`.
    """
    sheet = parsed.raw.sheet
    cells = list(zip(sheet.headings, sheet.rows[row], strict=True))
    if sheet.origins:
        cells = [(heading, written[row]) for heading, written in sheet.origins.values()]
    return json.dumps({heading.strip(): cell for heading, cell in cells if cell.strip()}, ensure_ascii=False)


class _Recording:
    """Records one parsed table."""

    def __init__(
        self, connection: Connection, parsed: Parsed, codes: Codes, instruction: Instruction, converted: Converted
    ) -> None:
        self.connection, self.parsed, self.codes, self.instruction = connection, parsed, codes, instruction
        self.table = parsed.table
        self.columns = converted.columns
        self.live = live_rows(connection, self.table)
        self.not_compared = not_compared(parsed, instruction)
        self.tally = Tally()
        self.passed_over: set[int] = set()
        self.ended_ids: list[int] = []

    def record(self, source_file_id: int | None) -> Tally:
        """Record the good rows."""
        if self.table.name == "pumping_tests" and not self.instruction.withdraw:
            refuse_overlapping_tests(self.parsed, self.columns, self.codes, self.live.values())
        is_point = self.table.name == "measuring_points" and not self.instruction.withdraw
        if is_point:
            self._pass_over_points_in_force()
            end_earlier_rows(self.parsed, self.columns, self.live, self.codes)
        to_add = self._decide()
        if is_point:
            to_add = self._end_points(to_add)
        self.tally.retire(self.connection, self.table.record, self.instruction)
        if self.ended_ids:
            reason = self.instruction.reason or "the installation ended"
            retire(self.connection, self.table.record, self.ended_ids, by=self.instruction.by, reason=reason)
        self._note_refused()
        self._insert(to_add, source_file_id)
        self.tally.count(len(to_add), self.instruction)
        return self.tally

    def _pass_over_points_in_force(self) -> None:
        """Count a point that begins where readings begin as unchanged, where it is in force on record by then."""
        for row in find_points_in_force(self.parsed, self.columns, self.live):
            self.passed_over.add(row)
            self.tally.unchanged += 1

    def _end_points(self, to_add: list[int]) -> list[int]:
        """End the points on record that later ones of the file follow; return the rows that overlap with no other."""
        endings = find_endings(self.columns, to_add, self.live, self._may_end)
        ended = {ending.point["id"]: ending for ending in endings if ending.point["id"] not in self.tally.retired_ids}
        live = {
            key: point | {"valid_until_utc": ended[point["id"]].until} if point["id"] in ended else point
            for key, point in self.live.items()
        }
        to_add = refuse_overlaps(self.parsed, self.columns, to_add, live, self.tally)
        # A point of the file that overlaps with another is refused by now, and ends nothing.
        kept = [ending for ending in ended.values() if self.parsed.good[ending.row]]
        say_endings(self.parsed, kept, self.codes)
        for ending in kept:
            reason = self.instruction.reason or f"ended by the measuring point of {ending.until:%Y-%m-%d}"
            stamp = self.instruction.stamp | {"reason": reason}
            # No row on record is changed: it is retired, and recorded anew with its end.
            retire(self.connection, self.table.record, [ending.point["id"]], by=self.instruction.by, reason=reason)
            kept_columns = [name for name in ending.point if not name.startswith(("retired_", "recorded_"))]
            new_id = int(reserve_ids(self.connection, self.table.record, 1)[0])
            row = {name: ending.point[name] for name in kept_columns}
            row |= stamp | {"id": new_id, "valid_until_utc": ending.until}
            insert_columns(self.connection, self.table.record, {name: [value] for name, value in row.items()}, 1)
        return to_add

    def _may_end(self, point: dict[str, Any], until: dt.datetime) -> bool:
        """Return whether a point may end: always in a correction, else while no level was read from it since."""
        since = point | {"valid_from_utc": until, "valid_until_utc": None}
        return self.instruction.correct or not _events_at(self.connection, since)

    def _decide(self) -> list[int]:
        """Return the rows to add; those to retire are noted in the tally."""
        keys = row_keys(self.parsed, self.columns, self.codes)
        first_row: dict[Any, int] = {}
        to_add: list[int] = []
        rows = [row for row in range(self.parsed.count) if self.parsed.good[row] and row not in self.passed_over]
        for row in rows:
            key = keys[row]
            if key in first_row:
                self._refuse_duplicate(row, first_row[key])
                continue
            first_row[key] = row
            known = self.live.get(key)
            if self.instruction.withdraw:
                self._withdraw(row, known)
            elif known is None or self._replaces(row, known):
                to_add.append(row)
        return to_add

    def _replaces(self, row: int, known: dict[str, Any]) -> bool:
        """Return whether a row replaces the live row of its key."""
        differences = self._differences(row, known)
        if not differences:
            self.tally.unchanged += 1
        elif self.instruction.correct:
            self.tally.retired_ids.append(known["id"])
            self.tally.changes += describe_correction(self.parsed, row, differences, self.codes)
            return True
        elif self._ends_installation(known, differences):
            self.ended_ids.append(known["id"])
            self._say_end(row)
            return True
        else:
            refuse_recorded(self.parsed, row, differences, self.codes)
        return False

    def _ends_installation(self, known: dict[str, Any], differences: list[Difference]) -> bool:
        """Return whether a row says no more than when an instrument was removed, which corrects nothing."""
        is_still_there = self.table.name == "deployments" and known["valid_until_utc"] is None
        return is_still_there and [name for name, _, _ in differences] == ["valid_until_utc"]

    def _say_end(self, row: int) -> None:
        values, number = self.parsed.values, self.parsed.raw.sheet.numbers[row]
        site = self.codes.ids["site"][values["site"][row]]
        until = self.columns["valid_until_utc"][row].astimezone(zone_of(self.codes.zones[site]))
        self.parsed.raw.warnings.append(
            f"row {number}: the installation of {values['instrument'][row]} on record ends at {until:%Y-%m-%d %H:%M}"
        )

    def _differences(self, row: int, known: dict[str, Any]) -> list[Difference]:
        """Return name, value on record and new value of the columns that differ."""
        aside = {*live_key(self.table.record), self.table.identity, *self.not_compared}
        values = ((name, known[name], column[row]) for name, column in self.columns.items() if name not in aside)
        return [(name, old, new) for name, old, new in values if not is_same(new, old)]

    def _refuse_duplicate(self, row: int, earlier: int) -> None:
        """Pass over a row that occurs twice with the same values; refuse one with other values."""
        differ = any(not is_same(values[row], values[earlier]) for values in self.columns.values())
        # Of a row to withdraw only the key counts.
        if not differ or self.instruction.withdraw:
            self.tally.unchanged += 1
            return
        message = f"Row {self.parsed.raw.sheet.numbers[earlier]} has the same key and other values."
        self.parsed.reject(row, None, "duplicate-in-file", message, "Keep the right one of the two.")

    def _withdraw(self, row: int, known: dict[str, Any] | None) -> None:
        if known is None:
            fix = "Check the columns of the key."
            self.parsed.reject(row, None, "nothing-to-withdraw", "No live row has this key.", fix)
            return
        needed_by = _count_dependants(self.connection, self.table, known)
        if needed_by:
            message = f"It is still needed by {needed_by}."
            self.parsed.reject(row, None, "needed-by-others", message, "Withdraw those first.")
            return
        self.tally.retired_ids.append(known["id"])
        self.tally.changes.append(describe_withdrawal(self.parsed, row))

    def _note_refused(self) -> None:
        """Remember the identities whose rows were rejected, for rows that need them."""
        identity = self.table.identity
        if identity:
            rows = zip(self.columns[identity], self.parsed.good, strict=True)
            self.codes.refused.setdefault(identity, set()).update(code for code, good in rows if not good)

    def _insert(self, rows: list[int], source_file_id: int | None) -> None:
        if not rows:
            return
        identity = self.table.identity
        stored: dict[str, Any] = {name: [values[row] for row in rows] for name, values in self.columns.items()}
        if identity:
            stored[f"{identity}_id"] = self.codes.ensure(identity, stored.pop(identity))
        stored = {name: [None if is_missing(value) else value for value in values] for name, values in stored.items()}
        stored |= {
            "id": reserve_ids(self.connection, self.table.record, len(rows)),
            **self.instruction.stamp,
            "source_file_id": source_file_id,
            "source_row": [self.parsed.raw.sheet.numbers[row] for row in rows],
            "as_written": [as_written(self.parsed, row) for row in rows],
        }
        insert_columns(self.connection, self.table.record, stored, len(rows))


def _count_dependants(connection: Connection, table: Table, known: dict[str, Any]) -> str:
    """Return how many live rows depend on a row, in words; empty for none."""
    counts: dict[str, int] = {}
    if table.name == "measuring_points":
        counts["level_record"] = _events_at(connection, known)
    elif table.identity == "site":
        for other in TABLES:
            if other.identity in OF_SITE:
                identity, record = METADATA.tables[other.identity], record_of(other)
                of_it = identity.c.site_id == known["site_id"]
                source = record.join(identity, identity.c.id == record.c[f"{other.identity}_id"])
                query = select(func.count()).select_from(source).where(of_it, record.c.retired_at_utc.is_(None))
                counts[other.record] = connection.execute(query).scalar_one()
    elif table.identity:
        number = known[f"{table.identity}_id"]
        for other in TABLES:
            record = record_of(other)
            for column in other.columns if other is not table else ():
                if column.of == table.identity and column.stored_as in record.c:
                    pointing = record.c[column.stored_as] == number
                    query = select(func.count()).select_from(record).where(pointing, record.c.retired_at_utc.is_(None))
                    counts[other.record] = counts.get(other.record, 0) + connection.execute(query).scalar_one()
        if table.identity == "well":
            counts["level_record"] = _events_of(connection, LevelEvent.well_id == number)
    return ", ".join(f"{count} × {name.replace('_', ' ')}" for name, count in counts.items() if count)


def _events_of(connection: Connection, *conditions: Any) -> int:
    query = select(func.count()).select_from(LevelRecord).join(LevelEvent, LevelEvent.id == LevelRecord.level_event_id)
    return connection.execute(query.where(*conditions, known_on(LevelRecord, None))).scalar_one()


def _events_at(connection: Connection, point: dict[str, Any]) -> int:
    """Return how many live level events were read at a measuring point."""
    event, until = LevelEvent, point["valid_until_utc"]
    at_point = (event.well_id == point["well_id"], event.access == point["access"])
    since = event.measured_at_utc >= point["valid_from_utc"]
    before = () if until is None else (event.measured_at_utc < until,)
    return _events_of(connection, *at_point, since, *before)
