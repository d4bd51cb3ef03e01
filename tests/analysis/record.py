"""A small record, stored row by row, for tests of what is worked out from it."""

from __future__ import annotations

import datetime as dt
from contextlib import contextmanager

from gwnet.store import revision
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire
from gwnet.store.session import open_store

from ..helpers import follow

RECORDED_ON = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)


class Record:
    """One site with one aquifer; wells and events are added as a test needs them."""

    def __init__(self, path, **site):
        self.store, self.open = open_store(path, create=True), None
        revision.upgrade(self.store)
        self.site_id = self.add("site", code="S")
        settings = {"crs": "EPSG:25832", "vertical_datum": "local", "length_unit": "m", "time_zone": "UTC+01:00"}
        self.add("site_record", site_id=self.site_id, **{**settings, **site})
        self.aquifer_id = self.add("aquifer", code="upper")
        self.add("aquifer_record", aquifer_id=self.aquifer_id, confinement="unconfined")
        self.wells = {}
        self.instruments = {}

    def add(self, table, **columns):
        """Store one row and return its id."""
        identities = {"site", "aquifer", "well", "instrument", "gauging_round", "level_event", "gauge"}
        recorded = {} if table in identities else {"recorded_by": "Ana"}
        with self.act(columns.pop("recorded_at_utc", None)) as connection:
            ids = reserve_ids(connection, table, 1)
            insert_columns(connection, table, {"id": ids, **recorded, **columns}, 1)
        return int(ids[0])

    def next(self):
        """Return when the next row is recorded unless a test says so: before the time at which tests look."""
        return follow(self.store, RECORDED_ON - dt.timedelta(minutes=1))

    @contextmanager
    def act(self, when=None):
        """Give a connection to record with; rows added and retired within belong to one state."""
        if self.open is not None:
            yield self.open
            return
        with self.store.writing("add", "Ana", now_utc=when or self.next()) as self.open:
            try:
                yield self.open
            finally:
                self.open = None

    def retire(self, table, row_id, when=None):
        """Retire one row."""
        with self.act(when) as connection:
            retire(connection, table, [row_id], by="Ben", reason="corrected")

    def well(self, code, *, screen=None, point=None, **columns):
        """Add a well, perhaps with a screen (top, bottom) and a measuring point (elevation, height)."""
        self.wells[code] = self.add("well", site_id=self.site_id, code=code)
        self.add("well_record", well_id=self.wells[code], aquifer_id=self.aquifer_id, **columns)
        if screen:
            self.add(
                "construction_part",
                well_id=self.wells[code],
                part="screen",
                top_depth_m=screen[0],
                bottom_depth_m=screen[1],
            )
        if point:
            self.point(code, point[0], height_above_ground_m=point[1])
        return self.wells[code]

    def point(self, code, elevation, start="2018-01-01", end=None, **columns):
        """Add a measuring point."""
        return self.add(
            "measuring_point",
            well_id=self.wells[code],
            elevation_m=elevation,
            valid_from_utc=moment(start),
            valid_until_utc=None if end is None else moment(end),
            **{"access": "main", "accuracy_m": 0.005, **columns},
        )

    def tape(self, code, **columns):
        """Add an electric tape."""
        self.instruments[code] = self.add("instrument", code=code)
        self.add("instrument_record", instrument_id=self.instruments[code], **{"kind": "electric tape", **columns})
        return self.instruments[code]

    def check(self, code, day, tape, reference):
        """Add one comparison of a tape with the reference tape."""
        columns = {"checked_on": dt.date.fromisoformat(day), "tape_reading_m": tape, "reference_reading_m": reference}
        self.add("tape_check", instrument_id=self.instruments[code], **columns)

    def event(self, code, when, readings=(), *, status="static", time_known=True, access="main", number="", **columns):
        """Add a level event with readings given as (quantity, value) or (quantity, value, unit)."""
        event_id = self.add(
            "level_event",
            well_id=self.wells[code],
            access=access,
            measured_at_utc=moment(when),
            time_known=time_known,
            event=number,
        )
        record_id = self.add("level_record", level_event_id=event_id, status=status, local_offset_minutes=60, **columns)
        counts = {}
        for quantity, value, *unit in readings:
            counts[quantity] = counts.get(quantity, 0) + 1
            row = {"level_record_id": record_id, "quantity": quantity, "ordinal": counts[quantity], "value": value}
            with self.act() as connection:
                words = {"unit": unit[0] if unit else "m", "written": f"{value}"}
                insert_columns(connection, "level_reading", {**row, **words}, 1)
        return event_id


def moment(text):
    """Return an instant in UTC from ISO text."""
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC)
