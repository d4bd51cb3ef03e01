"""How long the reduction of 100,000 level events takes beside the barest reading of the same rows.

Run: ``python tests/bench/bench_levels.py [EVENTS]``. Prints seconds, rows a second and ratios of one run.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from gwnet.analysis.levels.frame import levels_frame
from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.analysis.levels.table import levels
from gwnet.store import revision
from gwnet.store.save.bulk import insert_columns, reserve_ids
from gwnet.store.session import Store, open_store
from gwnet.store.snapshot import Snapshot

WELLS = 200


def fill(store: Store, count: int) -> None:
    """Store wells, two measuring points each, one tape with checks, and events with two repeats."""
    random = np.random.default_rng(7)
    now = {"recorded_by": "bench"}
    with store.writing("bench", "bench") as connection:

        def add(table: str, rows: int, **columns: object) -> np.ndarray:
            ids = reserve_ids(connection, table, rows)
            insert_columns(connection, table, {"id": ids, **columns}, rows)
            return ids

        site = add("site", 1, code=["S"])
        settings = {"crs": "EPSG:25832", "vertical_datum": "local", "length_unit": "m", "time_zone": "UTC+01:00"}
        add("site_record", 1, site_id=site, **settings, **now)
        wells = add("well", WELLS, site_id=int(site[0]), code=[f"W{n:03d}" for n in range(WELLS)])
        add("well_record", WELLS, well_id=wells, **now)
        for start, end in (("1990-01-01", "2005-01-01"), ("2005-01-01", "NaT")):
            bounds = {"valid_from_utc": np.datetime64(start, "us"), "valid_until_utc": np.datetime64(end, "us")}
            bounds = {name: np.full(WELLS, value) for name, value in bounds.items()}
            add("measuring_point", WELLS, well_id=wells, access="main", elevation_m=100.0, **bounds, **now)
        tape = add("instrument", 1, code=["T"])
        add("instrument_record", 1, instrument_id=tape, kind="electric tape", **now)
        days = np.repeat(np.arange("1990", "2020", dtype="datetime64[Y]").astype("datetime64[D]"), 3)
        depths = np.tile([5.0, 15.0, 30.0], 30)
        checks = {"checked_on": days, "tape_reading_m": depths, "reference_reading_m": depths * 0.999}
        add("tape_check", len(days), instrument_id=int(tape[0]), **checks, **now)
        when = np.datetime64("1990-02-01", "s") + np.arange(count) * np.timedelta64(30 * 365 * 86_400 // count, "s")
        well_of = wells[np.arange(count) % WELLS]
        event = add(
            "level_event", count, well_id=well_of, access="main", measured_at_utc=when, time_known=True, event=""
        )
        plain = {"status": "static", "local_offset_minutes": 60, "instrument_id": int(tape[0])}
        record = add("level_record", count, level_event_id=event, **plain, **now)
        depth = np.round(random.uniform(5, 30, count), 3)
        for ordinal, values in ((1, depth), (2, depth + 0.002)):
            written = np.char.mod("%.3f", values).tolist()
            rows = {"level_record_id": record, "quantity": "depth_to_water", "ordinal": ordinal, "value": values}
            insert_columns(connection, "level_reading", {**rows, "unit": "m", "written": written}, count)


def timed(action):
    """Return the best of three times and the last result."""
    best, result = np.inf, None
    for _ in range(3):
        start = time.perf_counter()
        result = action()
        best = min(best, time.perf_counter() - start)
    return best, result


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(folder) / "bench.sqlite", create=True)
        revision.upgrade(store)
        fill(store, count)
        with store.reading() as connection:

            def bare():
                events = "SELECT e.*, r.* FROM level_event e JOIN level_record r ON r.level_event_id = e.id"
                return connection.exec_driver_sql(events).fetchall(), connection.exec_driver_sql(
                    "SELECT * FROM level_reading"
                ).fetchall()

            bare_s, _ = timed(bare)
            gather_s, inputs = timed(lambda: gather(Snapshot(connection)))
            reduce_s, reduced = timed(lambda: reduce_levels(inputs))
            frame_s, _ = timed(lambda: levels_frame(inputs, reduced))
            whole_s, table = timed(lambda: levels(Snapshot(connection)))
        assert len(table) == count
        assert table["usable"].all()
        store.close()
    print(f"{count} events of {WELLS} wells, {2 * count} readings")
    for name, seconds in (
        ("barest reading of the rows", bare_s),
        ("gather", gather_s),
        ("reduce", reduce_s),
        ("frame", frame_s),
        ("levels, whole", whole_s),
    ):
        print(f"  {name:<28}{seconds:8.3f} s  {count / seconds:12,.0f} events/s  {seconds / bare_s:6.2f} x barest")
    print(f"  peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
