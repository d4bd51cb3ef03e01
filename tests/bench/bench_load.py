"""How long 100,000 level events take to load beside the barest way that stores the same rows.

The barest way reads the file with `csv`, converts depth and time with the standard library and sends the rows with the
driver's ``executemany`` in one transaction: no check of anything. Both store the same rows in the same tables.

Run: ``python tests/bench/bench_load.py [EVENTS]``. Prints seconds, rows a second and the ratio of one run.
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import resource
import sqlite3
import sys
import tempfile
import time
import zlib
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from gwnet.network import Network, init

WELLS = 200
NOW = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)


def write_tables(folder: Path, count: int) -> None:
    """Write a site, wells, measuring points and level events with two repeats."""
    random = np.random.default_rng(3)
    (folder / "sites.csv").write_text(
        "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,Europe/Vienna\n"
    )
    wells = [f"W{number:03d}" for number in range(WELLS)]
    (folder / "wells.csv").write_text(
        "site,well,easting,northing,total_depth\n"
        + "".join(f"S,{w},{n * 10},{n * 7},40\n" for n, w in enumerate(wells))
    )
    (folder / "measuring_points.csv").write_text(
        "site,well,valid_from,elevation,height_above_ground,accuracy\n"
        + "".join(f"S,{w},1990-01-01,100.5,0.5,0.005\n" for w in wells)
    )
    start = dt.datetime(1990, 2, 1, 6, 0)  # noqa: DTZ001 (wall clock)
    with (folder / "level_events.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(
            ["site", "well", "date", "time", "depth_to_water", "depth_to_water_2", "method", "observer", "notes"]
        )
        for number in range(count):
            when = start + dt.timedelta(minutes=37 * number % (24 * 60 * 365 * 30) // 60 * 60 + 7)
            when = when.replace(hour=6 + number % 12)
            depth = random.uniform(5, 30)
            well = wells[number % WELLS]
            row = [well, when.date().isoformat(), f"{when:%H:%M}", f"{depth:.3f}", f"{depth + 0.002:.3f}"]
            writer.writerow(["S", *row, "electric tape", "A", f"n{number}"])


def barest(database: Path, path: Path) -> None:
    """Store the file's rows with the driver alone."""
    connection = sqlite3.connect(database, isolation_level=None)
    connection.execute("BEGIN IMMEDIATE")
    wells = dict(connection.execute("SELECT code, id FROM well"))
    zone = ZoneInfo("Europe/Vienna")
    content = path.read_bytes()
    now = NOW.strftime("%Y-%m-%d %H:%M:%S.%f")
    source = (2_000, path.name, hashlib.sha256(content).hexdigest(), len(content), zlib.compress(content, 6))
    connection.execute("INSERT INTO source_file VALUES (?,?,?,?,?,'level_events',0,?,'bench')", (*source, now))
    events, records, readings = [], [], []
    with path.open(newline="") as file:
        for number, row in enumerate(csv.DictReader(file), start=1):
            local = dt.datetime.fromisoformat(f"{row['date']}T{row['time']}").replace(tzinfo=zone)
            utc = local.astimezone(dt.UTC).strftime("%Y-%m-%d %H:%M:%S.%f")
            offset = int(local.utcoffset().total_seconds() // 60)
            events.append((number, wells[row["well"]], "main", utc, 1, ""))
            words = (row["method"], row["observer"], row["notes"])
            records.append((number, number, "static", offset, *words, now, "bench", 2_000, number + 1))
            for ordinal, name in ((1, "depth_to_water"), (2, "depth_to_water_2")):
                readings.append((number, "depth_to_water", ordinal, float(row[name]), "m", row[name]))
    connection.executemany(
        "INSERT INTO level_event (id, well_id, access, measured_at_utc, time_known, event) VALUES (?,?,?,?,?,?)", events
    )
    connection.executemany(
        "INSERT INTO level_record (id, level_event_id, status, local_offset_minutes, method, observer, notes,"
        " recorded_at_utc, recorded_by, source_file_id, source_row) VALUES (?,?,?,?,?,?,?,?,?,?,?)",
        records,
    )
    connection.executemany("INSERT INTO level_reading VALUES (?,?,?,?,?,?)", readings)
    connection.execute("COMMIT")
    connection.close()


def rows_of(database: Path) -> list[list[tuple]]:
    """Return the stored events, records and readings for comparison."""
    connection = sqlite3.connect(database)
    queries = (
        "SELECT id, well_id, access, measured_at_utc, time_known, event FROM level_event ORDER BY id",
        "SELECT id, level_event_id, status, local_offset_minutes, method, observer, notes, source_row FROM level_record"
        " ORDER BY id",
        "SELECT * FROM level_reading ORDER BY 1, 2, 3",
    )
    found = [connection.execute(query).fetchall() for query in queries]
    connection.close()
    return found


def main(count: int) -> None:
    best = {"barest": np.inf, "load": np.inf}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "tables"
        folder.mkdir()
        write_tables(folder, count)
        registry = [folder / f"{table}.csv" for table in ("sites", "wells", "measuring_points")]
        for attempt in range(3):
            made = {}
            for way in ("barest", "load"):
                database = Path(name) / f"{way}{attempt}.sqlite"
                init(database)
                with Network(database) as network:
                    network.load(registry, by="bench", now_utc=NOW)
                    start = time.perf_counter()
                    if way == "barest":
                        barest(database, folder / "level_events.csv")
                    else:
                        network.load([folder / "level_events.csv"], by="bench", now_utc=NOW)
                    best[way] = min(best[way], time.perf_counter() - start)
                made[way] = database
        assert rows_of(made["barest"]) == rows_of(made["load"]), "the two ways did not store the same rows"
    print(f"{count} level events, {2 * count} readings into SQLite; same rows both ways")
    for way, seconds in best.items():
        print(
            f"  {way:<8}{seconds:8.3f} s  {count / seconds:12,.0f} events/s  {seconds / best['barest']:6.2f} x barest"
        )
    print(f"  peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
