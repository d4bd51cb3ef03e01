"""Recording level events: many rows at once, each with its readings as they were read.

A date without a time is stored as noon of the site's local date and prints as the date alone.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from gwnet.ingest.tables.convert import check_lengths
from gwnet.ingest.tables.event_rules import check_against_wells
from gwnet.ingest.tables.instruction import Instruction, Tally
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import Parsed
from gwnet.ingest.tables.parsed_events import Events, convert_events
from gwnet.ingest.tables.preview import Difference, describe_correction, describe_withdrawal
from gwnet.ingest.tables.recording import is_same, not_compared, refuse_recorded
from gwnet.ingest.tables.verdicts import note_disagreements, retire_verdicts
from gwnet.store.contract import BY_NAME, READINGS
from gwnet.store.fetch.reviews import approved_events
from gwnet.store.models.base import known_on, some_at_a_time
from gwnet.store.models.levels import LevelEvent, LevelReading, LevelRecord
from gwnet.store.recorded import recorded_columns
from gwnet.store.save.bulk import insert_columns, reserve_ids
from gwnet.units import metres_per

#: Columns of a level record that are compared with what is on record.
_COMPARED: Final = tuple(column.stored_as for column in recorded_columns(BY_NAME["level_events"]))


def record_events(
    connection: Connection, parsed: Parsed, codes: Codes, instruction: Instruction, source_file_id: int | None
) -> Tally:
    """Record the good rows of level events and return what happened to them.

    Parameters as `gwnet.ingest.tables`.
    """
    events = convert_events(parsed, codes)
    tally = Tally(unchanged=_refuse_duplicates(events))
    # Of a row to withdraw only the key counts: its readings may well be what is wrong.
    if not instruction.withdraw:
        check_lengths(parsed, events.units)
        check_against_wells(connection, events)
    recording = _Recording(connection, events, codes, instruction, tally)
    recording.decide()
    tally.retire(connection, "level_record", instruction)
    # Before the rows go in, which writes verdicts anew where repeats still disagree.
    retire_verdicts(connection, recording.touched(), instruction)
    tally.count(recording.insert(source_file_id), instruction)
    return tally


def events_on_record(connection: Connection, parsed: Parsed, codes: Codes) -> dict[int, dict[str, Any]]:
    """Return what is on record of the events of a file, by row: the columns of the live record of each that has one.

    Under ``readings`` are, by quantity and ordinal, value, unit and text of each reading.

    Parameters as `gwnet.ingest.tables`.
    """
    events = convert_events(parsed, codes)
    ids = _match(connection, events)
    live = _live_records(connection, list(ids.values()))
    return {row: live[number] for row, number in ids.items() if number in live}


def _match(connection: Connection, events: Events) -> dict[int, int]:
    """Return the ids of the good rows whose events are on record, by row."""
    good = np.flatnonzero(events.parsed.good).tolist()
    known = _on_record(connection, events.well[events.parsed.good])
    # Into an empty record a million rows may go, whose keys nobody asks for.
    keys = {row: events.key(row) for row in good} if known else {}
    return {row: known[key] for row, key in keys.items() if key in known}


class _Recording:
    """Records parsed level events."""

    def __init__(
        self, connection: Connection, events: Events, codes: Codes, instruction: Instruction, tally: Tally
    ) -> None:
        self.connection, self.events, self.parsed = connection, events, events.parsed
        self.codes, self.instruction, self.tally = codes, instruction, tally
        self.matched = _match(connection, events)
        ids = list(self.matched.values())
        self.live = _live_records(connection, ids)
        changes = instruction.correct or instruction.withdraw
        self.approved = approved_events(connection, ids) if changes else set()
        self.not_compared = not_compared(self.parsed, instruction)
        self.add = self.parsed.good.copy()
        self.add[list(self.matched)] = False
        self.event_ids = np.full(self.parsed.count, -1, dtype=np.int64)
        self.event_ids[list(self.matched)] = ids

    def decide(self) -> None:
        """Decide what becomes of each row: new, passed over, corrected, withdrawn or refused."""
        if self.instruction.withdraw:
            for row in np.flatnonzero(self.add).tolist():
                self._nothing_to_withdraw(row)
            self.add[:] = False
        for row, event_id in self.matched.items():
            self._decide_known(row, event_id, self.live.get(event_id))

    def _decide_known(self, row: int, event_id: int, live: dict[str, Any] | None) -> None:
        withdraw, correct = self.instruction.withdraw, self.instruction.correct
        # The event was withdrawn before; its identity stays, and the row is recorded under it again.
        if live is None:
            if withdraw:
                self._nothing_to_withdraw(row)
            else:
                self.add[row] = True
            return
        differences = [] if withdraw else self._differences(row, live)
        if not withdraw and not differences:
            self.tally.unchanged += 1
        elif not (withdraw or correct):
            refuse_recorded(self.parsed, row, differences, self.codes)
        elif event_id in self.approved:
            message = "The level is approved; an approved level changes only after its review is reopened."
            fix = "Reopen it with a reason (gwnet review reopen --event NUMBER --reason TEXT), then load again."
            self.parsed.reject(row, None, "level-approved", message, fix)
        else:
            self.tally.retired_ids.append(live["id"])
            self.add[row] = not withdraw
            if withdraw:
                self.tally.changes.append(describe_withdrawal(self.parsed, row))
            else:
                self.tally.changes += describe_correction(self.parsed, row, differences, self.codes)

    def _nothing_to_withdraw(self, row: int) -> None:
        fix = "Check well, access, time and event."
        self.parsed.reject(row, None, "nothing-to-withdraw", "No live row has this key.", fix)

    def _differences(self, row: int, live: dict[str, Any]) -> list[Difference]:
        columns = ((name, live[name], self.events.columns[name][row]) for name in _COMPARED)
        differences = [
            (name, old, new) for name, old, new in columns if name not in self.not_compared and not is_same(new, old)
        ]
        for column, quantity, ordinal in READINGS:
            if self.parsed.table.column(column).stored_as in self.not_compared:
                continue
            value = float(self.parsed.values[column][row])
            old_value, old_unit, _ = live["readings"].get((quantity, ordinal), (None, "m", ""))
            # In metres, so that a file in feet meets a record in metres; shown in the unit of the file.
            factor = metres_per(self.events.units_at(column, row))
            old = None if old_value is None else old_value * metres_per(old_unit)
            new = None if np.isnan(value) else value * factor
            if not is_same(new, old):
                differences.append((column, None if old is None else old / factor, None if new is None else value))
        return differences

    def touched(self) -> NDArray[np.int64]:
        """Return the known events that get a new record or lose the one that they have."""
        gone = set(self.tally.retired_ids)
        rows = [
            row for row, number in self.matched.items() if self.add[row] or self.live.get(number, {}).get("id") in gone
        ]
        return self.event_ids[rows]

    def insert(self, source_file_id: int | None) -> int:
        """Store the rows to add and return their number."""
        events, parsed, ids = self.events, self.parsed, self.event_ids
        rows = np.flatnonzero(self.add & parsed.good)
        if not rows.size:
            return 0
        fresh = rows[ids[rows] < 0]
        ids[fresh] = reserve_ids(self.connection, "level_event", fresh.size)
        identity = {
            "id": ids[fresh],
            "well_id": events.well[fresh],
            "access": events.access[fresh].tolist(),
            "measured_at_utc": events.when.utc[fresh],
            "time_known": events.when.time_known[fresh],
            "event": events.event[fresh].tolist(),
        }
        insert_columns(self.connection, "level_event", identity, fresh.size)
        record_ids = reserve_ids(self.connection, "level_record", rows.size)
        record = {
            "id": record_ids,
            "level_event_id": ids[rows],
            "local_offset_minutes": events.when.offset_minutes[rows],
            **{
                name: values[rows] if values.dtype.kind == "f" else values[rows].tolist()
                for name, values in events.columns.items()
            },
            **self.instruction.stamp,
            "reason": self.instruction.reasons(rows.tolist(), parsed.accepted),
            "source_file_id": source_file_id,
            "source_row": np.array(parsed.raw.sheet.numbers, dtype=np.int64)[rows],
        }
        insert_columns(self.connection, "level_record", record, rows.size)
        _insert_readings(self.connection, events, rows, record_ids)
        names = ("depth_to_water_2", "depth_to_water_3")
        repeats = np.column_stack([events.depth_to_water()[rows], *(events.metres(name)[rows] for name in names)])
        chosen = np.nan_to_num(parsed.values["chosen_reading"])[rows].astype(np.int64)
        units = [events.units[row] for row in rows.tolist()]
        tolerance = events.tolerance_m[rows]
        note_disagreements(self.connection, ids[rows], repeats, tolerance, chosen, units, self.instruction)
        return int(rows.size)


def _refuse_duplicates(events: Events) -> int:
    """Refuse a second row of the same event; pass over those with all the same cells and return their number."""
    parsed = events.parsed
    good = np.flatnonzero(parsed.good)
    if not good.size:
        return 0
    accesses = {word: number for number, word in enumerate(dict.fromkeys(events.access.tolist()))}
    numbers = {word: number for number, word in enumerate(dict.fromkeys(events.event.tolist()))}
    # As numbers in one array: of a million rows a set of tuples would take far more memory.
    key = np.rec.fromarrays(
        [
            events.well[good],
            np.array([accesses[word] for word in events.access[good].tolist()]),
            events.when.utc[good].astype(np.int64),
            events.when.time_known[good],
            np.array([numbers[word] for word in events.event[good].tolist()]),
        ]
    )
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    earlier = good[first[inverse]]
    passed = 0
    for row, before in zip(good[earlier != good], earlier[earlier != good], strict=True):
        if parsed.raw.sheet.rows[row] == parsed.raw.sheet.rows[before]:
            parsed.good[row] = False
            passed += 1
            continue
        message = f"Row {parsed.raw.sheet.numbers[before]} is the same event with other values."
        fix = "Keep the right one, or keep both apart with a number in the column 'event'."
        parsed.reject(int(row), None, "duplicate-in-file", message, fix)
    return passed


def _on_record(connection: Connection, wells: NDArray[np.int64]) -> dict[Any, int]:
    """Return the ids of the events on record of some wells, by key."""
    event = LevelEvent
    id_of: dict[Any, int] = {}
    for concerned in some_at_a_time(np.unique(wells).tolist()):
        query = select(
            event.id, event.well_id, event.access, event.measured_at_utc, event.time_known, event.event
        ).where(event.well_id.in_(concerned))
        for number, well, access, time, known, code in connection.execute(query):
            # Written as `Events.key` writes it.
            text = time.replace(tzinfo=None).isoformat(timespec="microseconds")
            id_of[(well, access, text, known, code)] = number
    return id_of


def _live_records(connection: Connection, event_ids: list[int]) -> dict[int, dict[str, Any]]:
    """Return what is on record of events, with their readings, by event id."""
    record, reading = LevelRecord, LevelReading
    records: dict[int, dict[str, Any]] = {}
    for some in some_at_a_time(event_ids):
        rows = connection.execute(
            select(*(getattr(record, name) for name in ("id", "level_event_id", *_COMPARED))).where(
                record.level_event_id.in_(some), known_on(record, None)
            )
        ).mappings()
        by_record = {row["id"]: {**row, "readings": {}} for row in rows}
        columns = ("level_record_id", "quantity", "ordinal", "value", "unit", "written")
        readings = select(*(getattr(reading, name) for name in columns))
        for number, quantity, ordinal, value, unit, written in connection.execute(
            readings.where(reading.level_record_id.in_(list(by_record)))
        ):
            by_record[number]["readings"][(quantity, ordinal)] = (value, unit, written)
        records |= {row["level_event_id"]: row for row in by_record.values()}
    return records


def _insert_readings(
    connection: Connection, events: Events, rows: NDArray[np.int64], record_ids: NDArray[np.int64]
) -> None:
    """Store the readings, in the order of their key."""
    parsed = events.parsed
    records, order, quantities, ordinals, values, units, written = [], [], [], [], [], [], []
    for place, (column, quantity, ordinal) in enumerate(READINGS):
        numbers = parsed.values[column][rows]
        given = np.flatnonzero(~np.isnan(numbers))
        if not given.size:
            continue
        # A reading that a correction's file lacks keeps the text in which it was first written.
        cells = parsed.raw.written(column) or parsed.kept_cells[column]
        records.append(record_ids[given])
        order.append(np.full(given.size, place))
        quantities += [quantity] * given.size
        ordinals.append(np.full(given.size, ordinal))
        values.append(numbers[given])
        of_row = events.units_of(column)
        units += [of_row[row] for row in rows[given].tolist()]
        written += [cells[row].strip() for row in rows[given].tolist()]
    if not records:
        return
    record = np.concatenate(records)
    sorted_rows = np.lexsort((np.concatenate(order), record))
    insert_columns(
        connection,
        "level_reading",
        {
            "level_record_id": record[sorted_rows],
            "quantity": [quantities[row] for row in sorted_rows],
            "ordinal": np.concatenate(ordinals)[sorted_rows],
            "value": np.concatenate(values)[sorted_rows],
            "unit": [units[row] for row in sorted_rows],
            "written": [written[row] for row in sorted_rows],
        },
        record.size,
    )
