"""Loggers in a small record: instruments installed in wells, their samples and corrections, stored as loading stores them."""

from __future__ import annotations

import datetime as dt
import hashlib
from contextlib import contextmanager

import numpy as np

from gwnet.store.save import samples as save_samples
from gwnet.store.save.bulk import insert_columns, reserve_ids
from gwnet.store.snapshot import Snapshot

from .record import moment

START = np.datetime64("2024-01-01T00:00", "us")
HOUR = np.timedelta64(3_600_000_000, "us")


class Loggers:
    """Loggers of one `tests.analysis.record.Record`."""

    def __init__(self, record):
        self.record = record
        self.series = {}

    def instrument(self, code, kind="absolute pressure logger", **columns):
        """Add an instrument."""
        number = self.record.add("instrument", code=code)
        self.record.instruments[code] = number
        self.record.add("instrument_record", instrument_id=number, kind=kind, **columns)
        return number

    @contextmanager
    def snapshot(self, known_on=None, site=None):
        """Give a snapshot of the record."""
        with self.reading() as connection:
            yield Snapshot(connection, known_on, site)

    def install(self, code, well, start="2024-01-01", end=None, *, depth=None, barometer=None, **columns):
        """Install an instrument in a well, or a barometer at the site (no well)."""
        return self.record.add(
            "deployment",
            site_id=self.record.site_id,
            well_id=self.record.wells[well] if well else None,
            instrument_id=self.record.instruments[code],
            valid_from_utc=moment(start),
            valid_until_utc=moment(end) if end else None,
            hanging_depth_m=depth,
            barometer_id=self.record.instruments[barometer] if barometer else None,
            **columns,
        )

    def new_segment(self, code, quantity, unit, segment=1):
        """Add a series, to which the samples that follow go."""
        with self.record.act() as connection:
            number = int(reserve_ids(connection, "logger_series", 1)[0])
            columns = {"id": number, "instrument_id": self.record.instruments[code], "segment": segment}
            insert_columns(connection, "logger_series", {**columns, "quantity": quantity, "unit": unit}, 1)
        self.series[code, quantity] = number

    def samples(self, code, quantity, unit, when, value, *, file="", recorded=None):
        """Store samples as one download; times are UTC datetime64."""
        name = file or f"{code} {quantity}.csv"
        key = (code, quantity)
        if key not in self.series:
            self.new_segment(code, quantity, unit)
        with self.record.act(recorded) as connection:
            source = _source(connection, name)
            download = int(reserve_ids(connection, "download", 1)[0])
            ms = np.asarray(when, dtype="datetime64[ms]").astype(np.int64)
            insert_columns(
                connection,
                "download",
                {
                    "id": download,
                    "series_id": self.series[key],
                    "source_file_id": source,
                    "layout": "constructed",
                    "zone": "UTC",
                    "first_ms": int(ms.min()),
                    "last_ms": int(ms.max()),
                    **dict.fromkeys(_COUNTS, 0),
                    "row_count": ms.size,
                    "added_count": ms.size,
                    "recorded_by": "Ana",
                },
                1,
            )
            appending = save_samples.Appending(connection, self.series[key], download)
            appending.add(ms, np.asarray(value, dtype=np.float64))
            appending.finish()
        return download

    def correct(self, code, quantity, kind, start=None, end=None, *, now=None, **parameters):
        """Record a correction."""
        span = [moment(edge) if edge else None for edge in (start, end)]
        with self.record.act(now) as connection:
            return save_samples.correct(
                connection, self.series[code, quantity], kind, parameters, *span, "Ben", "seen in the field"
            )

    def reading(self):
        """Return a connection to read from."""
        return self.record.store.reading()


_COUNTS = ("row_count", "added_count", "same_count", "repeated_count", "conflict_count", "missing_count", "event_count")


def _source(connection, name):
    number = int(reserve_ids(connection, "source_file", 1)[0])
    columns = {
        "id": number,
        "name": name,
        "sha256": hashlib.sha256(f"{name} {number}".encode()).hexdigest(),
        "size_bytes": 0,
        "content": b"",
        "layout": "constructed",
        "row_count": 0,
        "loaded_by": "Ana",
    }
    insert_columns(connection, "source_file", columns, 1)
    return number


def hours(count, start=START):
    """Return hourly instants."""
    return start + np.arange(count) * HOUR


def utc(when):
    """Return an instant as an aware time."""
    return when.astype("datetime64[us]").astype(dt.datetime).replace(tzinfo=dt.UTC)
