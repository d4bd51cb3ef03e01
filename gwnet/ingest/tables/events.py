"""Recording level events: many rows at once, each with its readings as they were read.

A date without a time is stored as noon of the site's local date and prints as the date alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from gwnet.hydro.reduction.intervals import in_force
from gwnet.ingest.tables import lookup
from gwnet.ingest.tables.lookup import Codes, When
from gwnet.ingest.tables.parse import Parsed
from gwnet.ingest.tables.preview import Difference, corrections, withdrawal
from gwnet.ingest.tables.recording import Instruction, Tally, passed_over, refuse_recorded, same
from gwnet.ingest.tables.verdicts import note_disagreements, retire_verdicts
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch.reviews import approved_events
from gwnet.store.models.base import known_on
from gwnet.store.models.levels import LevelEvent, LevelReading, LevelRecord
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire
from gwnet.units import metres_per

#: Column of the file, quantity and ordinal of each reading.
READINGS: Final[tuple[tuple[str, str, int], ...]] = (
    ("depth_below_ground", "depth_below_ground", 1),
    ("depth_to_product", "depth_to_product", 1),
    ("depth_to_water", "depth_to_water", 1),
    ("depth_to_water_2", "depth_to_water", 2),
    ("depth_to_water_3", "depth_to_water", 3),
    ("sounded_depth", "sounded_depth", 1),
    ("water_elevation", "water_elevation", 1),
)

#: Columns of a level record that are compared with what is on record.
_COMPARED = (
    "status",
    "gauging_round_id",
    "instrument_id",
    "method",
    "observer",
    "product_relative_density",
    "chosen_reading",
    "discharge_l_s",
    "quality",
    "notes",
)

#: Most wells whose events are looked up in one query.
_WELLS_AT_ONCE = 500


@dataclass(frozen=True)
class _Events:
    """Columns of parsed level events, one entry a row of the file."""

    well: NDArray[np.int64]
    access: NDArray[np.object_]
    event: NDArray[np.object_]
    when: When
    unit: NDArray[np.object_]
    tolerance_m: NDArray[np.float64]
    columns: dict[str, Any]

    def key(self, row: int) -> tuple[int, str, str, bool, str]:
        """Return what makes an event the same event."""
        time = str(self.when.utc[row])
        return (int(self.well[row]), self.access[row], time, bool(self.when.time_known[row]), self.event[row])


def record_events(
    connection: Connection, made: Parsed, codes: Codes, told: Instruction, source_file_id: int | None
) -> Tally:
    """Record the good rows of level events.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of the loading transaction.
    made : gwnet.ingest.tables.parse.Parsed
        Parsed level events; problems are added to it.
    codes : gwnet.ingest.tables.lookup.Codes
        Codes on record.
    told : gwnet.ingest.tables.recording.Instruction
        What to do.
    source_file_id : int or None
        File that the rows come from.

    Returns
    -------
    gwnet.ingest.tables.recording.Tally
        What happened.
    """
    events = _prepared(made, codes)
    tally = Tally(unchanged=_refuse_duplicates(made, events))
    if not told.withdraw:
        _check_against_wells(connection, made, events)
    known = _on_record(connection, events.well[made.good])
    add = np.zeros(made.count, dtype=bool)
    event_ids = np.full(made.count, -1, dtype=np.int64)
    rows = np.flatnonzero(made.good)
    keys = {int(row): events.key(int(row)) for row in rows} if known else {}
    matched = [row for row in keys if keys[row] in known]
    live = _live_records(connection, [known[keys[row]] for row in matched])
    for place in matched:
        event_ids[place] = known[keys[place]]
    new = made.good & (event_ids < 0)
    if told.withdraw:
        for row in np.flatnonzero(new):
            _nothing_to_withdraw(made, int(row))
    else:
        add |= new
    approved = _approved(connection, event_ids[matched], told)
    settling = _Settling(made, events, codes, told, tally, add, approved, passed_over(made, told))
    for place in matched:
        settling.settle(place, int(event_ids[place]), live.get(int(event_ids[place])))
    if tally.retired_ids:
        retire(connection, "level_record", tally.retired_ids, at_utc=told.now_utc, by=told.by, reason=told.reason)
    gone = set(tally.retired_ids)
    touched = [place for place in matched if add[place] or live.get(int(event_ids[place]), {}).get("id") in gone]
    retire_verdicts(connection, event_ids[touched], told)
    tally.added = _insert(connection, made, events, add, event_ids, told, source_file_id)
    if told.withdraw:
        tally.withdrawn = len(tally.retired_ids)
    else:
        tally.corrected = len(tally.retired_ids)
        tally.added -= tally.corrected
    return tally


def events_on_record(connection: Connection, made: Parsed, codes: Codes) -> dict[int, dict[str, Any]]:
    """Return what is on record of the events of a file.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of the loading transaction.
    made : gwnet.ingest.tables.parse.Parsed
        Parsed level events; the problems met are added to it.
    codes : gwnet.ingest.tables.lookup.Codes
        Codes on record.

    Returns
    -------
    dict of int to dict
        By row of the file, for rows that have a live record: its columns, and under ``readings``, by quantity and
        ordinal, value, unit and text of each reading.
    """
    events = _prepared(made, codes)
    known = _on_record(connection, events.well[made.good])
    keys = {int(row): events.key(int(row)) for row in np.flatnonzero(made.good)} if known else {}
    ids = {row: known[key] for row, key in keys.items() if key in known}
    live = _live_records(connection, list(ids.values()))
    return {row: live[number] for row, number in ids.items() if number in live}


def _nothing_to_withdraw(made: Parsed, row: int) -> None:
    made.reject(row, None, "nothing-to-withdraw", "No live row has this key.", "Check well, access, time and event.")


def _prepared(made: Parsed, codes: Codes) -> _Events:
    sites = lookup.site_ids(made, codes)
    wells = lookup.ids_of_site(made, codes, "well", "well", sites, "well")
    rounds = lookup.ids_of_site(made, codes, "round", "gauging_round", sites, "round")
    instruments = lookup.ids_alone(made, codes, "instrument", "instrument")
    when = lookup.when_measured(made, sites, codes)
    values = made.values
    units = {number: codes.units.get(number, "m") for number in np.unique(sites).tolist()}
    return _Events(
        well=wells,
        access=_filled(values["access"], "main"),
        event=_filled(values["event"], ""),
        when=when,
        unit=np.array([units[number] for number in sites.tolist()], dtype=object),
        tolerance_m=np.array([codes.tolerances.get(number, np.nan) for number in sites.tolist()], dtype=np.float64),
        columns={
            "status": values["status"],
            "gauging_round_id": _or_none(rounds),
            "instrument_id": _or_none(instruments),
            "method": values["method"],
            "observer": values["observer"],
            "product_relative_density": values["product_relative_density"],
            "chosen_reading": _whole_or_none(values["chosen_reading"]),
            "discharge_l_s": values["discharge"],
            "quality": values["quality"],
            "notes": values["notes"],
        },
    )


def _filled(values: NDArray[np.object_], word: str) -> NDArray[np.object_]:
    return np.array([word if value is None else value for value in values], dtype=object)


def _or_none(ids: NDArray[np.int64]) -> NDArray[np.object_]:
    made = ids.astype(object)
    made[ids < 0] = None
    return made


def _whole_or_none(values: NDArray[np.float64]) -> NDArray[np.object_]:
    made = np.full(values.shape, None, dtype=object)
    given = ~np.isnan(values)
    made[given] = values[given].astype(np.int64)
    return made


def _units_of(made: Parsed, events: _Events, column: str) -> NDArray[np.object_]:
    unit = made.raw.units.get(column)
    return np.full(made.count, unit, dtype=object) if unit else made.kept_units.get(column, events.unit)


def _metres(made: Parsed, events: _Events, column: str) -> NDArray[np.float64]:
    units = _units_of(made, events, column)
    factors = {unit: metres_per(unit) for unit in set(units.tolist())}
    factor = np.fromiter((factors[unit] for unit in units.tolist()), dtype=np.float64, count=made.count)
    return np.asarray(made.values[column] * factor, dtype=np.float64)


def _refuse_duplicates(made: Parsed, events: _Events) -> int:
    """Refuse a second row of the same event; pass over those with all the same cells and return their number."""
    good = np.flatnonzero(made.good)
    if not good.size:
        return 0
    accesses = {word: number for number, word in enumerate(dict.fromkeys(events.access.tolist()))}
    numbers = {word: number for number, word in enumerate(dict.fromkeys(events.event.tolist()))}
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
        if made.raw.sheet.rows[row] == made.raw.sheet.rows[before]:
            made.good[row] = False
            passed += 1
            continue
        message = f"Row {made.raw.sheet.numbers[before]} is the same event with other values."
        fix = "Keep the right one, or keep both apart with a number in the column 'event'."
        made.reject(int(row), None, "duplicate-in-file", message, fix)
    return passed


def _check_against_wells(connection: Connection, made: Parsed, events: _Events) -> None:
    """Check readings against measuring points, ground and depth of their wells."""
    points = fetch.measuring_points(connection)
    wells = fetch.wells(connection).set_index("well_id")
    accesses = {word: n for n, word in enumerate(dict.fromkeys([*points["access"], *events.access.tolist()]))}
    span = len(accesses) + 1

    def group(well: NDArray[np.int64], access: NDArray[np.object_]) -> NDArray[np.int64]:
        return well * span + np.fromiter((accesses[word] for word in access.tolist()), dtype=np.int64, count=len(well))

    found = in_force(
        group(points["well_id"].to_numpy(dtype=np.int64), points["access"].to_numpy(dtype=object)),
        points["valid_from_utc"].dt.tz_localize(None).to_numpy(dtype="datetime64[us]"),
        points["valid_until_utc"].dt.tz_localize(None).to_numpy(dtype="datetime64[us]"),
        group(events.well, events.access),
        events.when.utc,
    )
    by_point = ~np.isnan(made.values["depth_to_water"]) & made.good
    for row in np.flatnonzero(by_point & (found.count != 1)):
        _refuse_point(made, events, int(row), int(found.count[row]), points)
    padded = {
        name: np.append(points[name].to_numpy(dtype=np.float64), np.nan)
        for name in ("elevation_m", "height_above_ground_m")
    }
    elevation, height = padded["elevation_m"][found.index], padded["height_above_ground_m"][found.index]
    of_well = {name: _of_well(wells[name], events.well) for name in ("ground_elevation_m", "total_depth_m")}
    ground = np.where(np.isnan(height), of_well["ground_elevation_m"], elevation - height)
    below_ground = ~np.isnan(made.values["depth_below_ground"])
    for row in np.flatnonzero(below_ground & np.isnan(ground) & made.good):
        message = "A depth below ground needs the ground's elevation, which is not on record for that time."
        fix = "Give the well its ground_elevation, or a measuring point with its height above ground."
        made.reject(int(row), "depth_below_ground", "no-ground-elevation", message, fix)
    _check_above_ground(made, events, height)
    _check_plausible(made, events, ground, of_well["total_depth_m"])


def _check_above_ground(made: Parsed, events: _Events, height: NDArray[np.float64]) -> None:
    """Refuse water above ground that would stand above the measuring point, too, of a well that does not flow."""
    depth = _metres(made, events, "depth_below_ground")
    flowing = made.values["status"] == "flowing"
    over = (depth < 0) & ~flowing & ~(depth >= -height - 1e-6)
    for row in np.flatnonzero(over & made.good):
        message = (
            f"The depth below ground {depth[row]:.3f} m is negative, and water would stand above the measuring point."
        )
        fix = "Check the sign, or give the status 'flowing' if it did."
        made.reject(int(row), "depth_below_ground", "wrong-sign", message, fix)
    product, water = _metres(made, events, "depth_to_product"), _metres(made, events, "depth_to_water")
    for row in np.flatnonzero((product > water) & made.good):
        message = f"Product at {product[row]:.3f} m would lie below water at {water[row]:.3f} m."
        made.reject(int(row), "depth_to_product", "product-below-water", message, "Swap the two depths.")


def _of_well(values: Any, well: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.asarray(values.reindex(well), dtype=np.float64)


def _refuse_point(made: Parsed, events: _Events, row: int, count: int, points: Any) -> None:
    access, when = events.access[row], str(events.when.utc[row])[:16]
    if count > 1:
        message = f"{count} measuring points of access {access!r} are in force at {when} UTC."
        made.reject(row, None, "two-measuring-points", message, "End the earlier one before the later one begins.")
        return
    own = points[(points["well_id"] == events.well[row]) & (points["access"] == access)]
    if own.empty:
        message = f"The well has no measuring point of access {access!r}."
        fix = "Load its measuring point first, or correct the access."
    else:
        spans = ", ".join(
            f"{start:%Y-%m-%d} to {'now' if end is None or end != end else format(end, '%Y-%m-%d')}"
            for start, end in zip(own["valid_from_utc"], own["valid_until_utc"], strict=True)
        )
        message = f"No measuring point of access {access!r} is in force at {when} UTC; on record: {spans}."
        fix = "Load the survey for that time, then load this file again."
    made.reject(row, None, "access-without-point", message, fix)


def _check_plausible(
    made: Parsed, events: _Events, ground: NDArray[np.float64], total_depth: NDArray[np.float64]
) -> None:
    """Refuse an elevation typed in a depth column, and a depth in the elevation column."""
    bottom = ground - total_depth
    for name in ("depth_to_water", "depth_below_ground"):
        depth = _metres(made, events, name)
        deeper = (depth > total_depth * 1.05 + 1.0) & (depth > bottom - 1.0) & (depth < ground + 3.0)
        for row in np.flatnonzero(deeper & made.good):
            deep = f"{total_depth[row]:.2f} m deep"
            message = f"The depth {depth[row]:.2f} m lies below the well, {deep}; as an elevation it fits."
            made.reject(int(row), name, "elevation-in-depth-column", message, "Put elevations in water_elevation.")
    head = _metres(made, events, "water_elevation")
    low = (head < bottom - 1.0) & (head >= 0) & (head <= total_depth)
    for row in np.flatnonzero(low & made.good):
        message = (
            f"The elevation {head[row]:.2f} m lies below the well's bottom ({bottom[row]:.2f} m); as a depth it fits."
        )
        fix = "Put depths in depth_to_water or depth_below_ground."
        made.reject(int(row), "water_elevation", "depth-in-elevation-column", message, fix)


def _on_record(connection: Connection, wells: NDArray[np.int64]) -> dict[Any, int]:
    """Return the ids of the events on record of some wells, by key."""
    event = LevelEvent
    found: dict[Any, int] = {}
    concerned = np.unique(wells).tolist()
    for start in range(0, len(concerned), _WELLS_AT_ONCE):
        query = select(
            event.id, event.well_id, event.access, event.measured_at_utc, event.time_known, event.event
        ).where(event.well_id.in_(concerned[start : start + _WELLS_AT_ONCE]))
        for number, well, access, time, known, code in connection.execute(query):
            text = time.replace(tzinfo=None).isoformat(timespec="microseconds")
            found[(well, access, text, known, code)] = number
    return found


def _live_records(connection: Connection, event_ids: list[int]) -> dict[int, dict[str, Any]]:
    """Return what is on record of events, with their readings, by event id."""
    record, reading = LevelRecord, LevelReading
    found: dict[int, dict[str, Any]] = {}
    for start in range(0, len(event_ids), _WELLS_AT_ONCE):
        some = event_ids[start : start + _WELLS_AT_ONCE]
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
        found |= {row["level_event_id"]: row for row in by_record.values()}
    return found


def _approved(connection: Connection, event_ids: NDArray[np.int64], told: Instruction) -> set[int]:
    """Return which events are approved, where that stands in the way of what is to be done."""
    return approved_events(connection, event_ids.tolist()) if told.correct or told.withdraw else set()


@dataclass(frozen=True)
class _Settling:
    """Decides what becomes of rows whose events are on record already."""

    made: Parsed
    events: _Events
    codes: Codes
    told: Instruction
    tally: Tally
    add: NDArray[np.bool_]
    approved: set[int]
    lacking: set[str]

    def settle(self, row: int, event_id: int, live: dict[str, Any] | None) -> None:
        """Pass over, correct, withdraw or refuse one row."""
        if live is None:
            if self.told.withdraw:
                _nothing_to_withdraw(self.made, row)
            else:
                self.add[row] = True
            return
        differences = [] if self.told.withdraw else _differences(self.made, self.events, row, live, self.lacking)
        if not self.told.withdraw and not differences:
            self.tally.unchanged += 1
        elif not (self.told.withdraw or self.told.correct):
            refuse_recorded(self.made, row, differences, self.codes)
        elif event_id in self.approved:
            _refuse_approved(self.made, row)
        else:
            self.tally.retired_ids.append(live["id"])
            self.add[row] = not self.told.withdraw
            withdrawn = [withdrawal(self.made, row)] if self.told.withdraw else []
            self.tally.changes += withdrawn or corrections(self.made, row, differences, self.codes)


def _refuse_approved(made: Parsed, row: int) -> None:
    message = "The level is approved; an approved level changes only after its review is reopened."
    fix = "Reopen it with a reason (gwnet review reopen --event NUMBER --reason TEXT), then load again."
    made.reject(row, None, "level-approved", message, fix)


def _differences(made: Parsed, events: _Events, row: int, live: dict[str, Any], lacking: set[str]) -> list[Difference]:
    found = [
        (name, live[name], events.columns[name][row])
        for name in _COMPARED
        if name not in lacking and not same(events.columns[name][row], live[name])
    ]
    for column, quantity, ordinal in READINGS:
        if f"{column}_m" in lacking:
            continue
        value = float(made.values[column][row])
        old_value, old_unit, _ = live["readings"].get((quantity, ordinal), (None, "m", ""))
        unit = str(_unit_at(made, events, column, row))
        old = None if old_value is None else old_value * metres_per(old_unit)
        new = None if np.isnan(value) else value * metres_per(unit)
        if not same(new, old):
            found.append((column, None if old is None else old / metres_per(unit), None if new is None else value))
    return found


def _unit_at(made: Parsed, events: _Events, column: str, row: int) -> str:
    return str(made.raw.units.get(column) or made.kept_units.get(column, events.unit)[row])


def _insert(
    connection: Connection,
    made: Parsed,
    events: _Events,
    add: NDArray[np.bool_],
    event_ids: NDArray[np.int64],
    told: Instruction,
    source_file_id: int | None,
) -> int:
    rows = np.flatnonzero(add & made.good)
    if not rows.size:
        return 0
    fresh = rows[event_ids[rows] < 0]
    event_ids[fresh] = reserve_ids(connection, "level_event", fresh.size)
    insert_columns(
        connection,
        "level_event",
        {
            "id": event_ids[fresh],
            "well_id": events.well[fresh],
            "access": events.access[fresh].tolist(),
            "measured_at_utc": events.when.utc[fresh],
            "time_known": events.when.time_known[fresh],
            "event": events.event[fresh].tolist(),
        },
        fresh.size,
    )
    record_ids = reserve_ids(connection, "level_record", rows.size)
    columns = {
        name: values[rows] if values.dtype.kind == "f" else values[rows].tolist()
        for name, values in events.columns.items()
    }
    insert_columns(
        connection,
        "level_record",
        {
            "id": record_ids,
            "level_event_id": event_ids[rows],
            "local_offset_minutes": events.when.offset_minutes[rows],
            **columns,
            "recorded_at_utc": told.now_utc,
            "recorded_by": told.by,
            "reason": told.reason,
            "source_file_id": source_file_id,
            "source_row": np.array(made.raw.sheet.numbers, dtype=np.int64)[rows],
        },
        rows.size,
    )
    _insert_readings(connection, made, events, rows, record_ids)
    repeats = [_metres(made, events, name)[rows] for name in ("depth_to_water", "depth_to_water_2", "depth_to_water_3")]
    chosen = np.nan_to_num(made.values["chosen_reading"])[rows].astype(np.int64)
    note_disagreements(connection, event_ids[rows], np.column_stack(repeats), events.tolerance_m[rows], chosen, told)
    return int(rows.size)


def _insert_readings(
    connection: Connection, made: Parsed, events: _Events, rows: NDArray[np.int64], record_ids: NDArray[np.int64]
) -> None:
    """Store the readings, in the order of their key."""
    records, order, quantities, ordinals, values, units, written = [], [], [], [], [], [], []
    for place, (column, quantity, ordinal) in enumerate(READINGS):
        numbers = made.values[column][rows]
        given = np.flatnonzero(~np.isnan(numbers))
        if not given.size:
            continue
        cells = made.raw.cells(column) or made.kept_cells[column]
        records.append(record_ids[given])
        order.append(np.full(given.size, place))
        quantities += [quantity] * given.size
        ordinals.append(np.full(given.size, ordinal))
        values.append(numbers[given])
        units += _units_of(made, events, column)[rows[given]].tolist()
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
