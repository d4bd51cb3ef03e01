"""How long a logger file takes from the disk to committed rows, and how much memory, however long it is.

Beside the usual way: `pandas.read_csv`, `to_datetime` with a format, `tz_localize`, SQLAlchemy Core's executemany into
the same table, without keeping the file, its download, or any check. Both store the same samples.

Run: ``python tests/bench/bench_logger_load.py [ROWS [LONG_ROWS]]``. Prints seconds and the ratio of one run, and the
peak memory of fresh processes that load ROWS and LONG_ROWS, over what such a process has before it loads.
"""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from sqlalchemy import insert

from gwnet.network import Network, init
from gwnet.store.fetch.read_samples import read_rows as rows_of
from gwnet.store.models.loggers import Sample
from gwnet.store.save.bulk import insert_columns

NOW = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)

LAYOUT = """
[text]
delimiter = ","
[table]
heading_pattern = '^Date and time'
[time]
column = 1
formats = ["%m/%d/%Y %H:%M:%S"]
zone = "UTC+01:00"
[[columns]]
quantity = "absolute pressure"
column = 2
unit = "kPa"
[[columns]]
quantity = "water temperature"
column = 3
unit = "degC"
"""

#: Loads one file in a process of its own and prints its peak memory before and after [KiB].
MEASURED = """
import re, sys
from gwnet.network import Network
import gwnet.ingest.loggers.open, gwnet.ingest.loggers.load, pandas, pyarrow, pyarrow.csv, gwnet.ingest.loggers.fast
peak = lambda: int(re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1])
with Network(sys.argv[1]) as network:
    network.loggers.downloads()
    before = peak()
    result = network.loggers.load([sys.argv[2]], sys.argv[3], instrument="L1", by="bench")
    assert not result.refused, result.refused[0].error
print(before, peak())
"""


def write_file(path: Path, count: int) -> None:
    """Write a file of minutes with a preamble."""
    random = np.random.default_rng(5)
    start = np.datetime64("2001-01-01T00:00:00", "s")
    with path.open("w") as file:
        file.write("Plain logger file\nTitle: bench\n\nDate and time,Pressure [kPa],Temperature [degC]\n")
        for at in range(0, count, 100_000):
            some = min(100_000, count - at)
            words = np.datetime_as_string(start + 60 * np.arange(at, at + some)).tolist()
            pressures = (random.integers(95_000, 125_000, some) / 1000).tolist()
            temperatures = (random.integers(8_000, 13_000, some) / 1000).tolist()
            file.write(
                "".join(
                    f"{word[5:7]}/{word[8:10]}/{word[:4]} {word[11:]},{pressure:.3f},{temperature:.3f}\n"
                    for word, pressure, temperature in zip(words, pressures, temperatures, strict=True)
                )
            )


def new_database(path: Path) -> Path:
    """Make a database with one instrument."""
    init(path)
    with Network(path) as network, network.store.writing("bench", "bench", now_utc=NOW) as connection:
        insert_columns(connection, "instrument", {"id": [1], "code": ["L1"]}, 1)
        columns = {"id": [1], "instrument_id": 1, "kind": "absolute pressure logger"}
        insert_columns(connection, "instrument_record", {**columns, "recorded_by": "bench"}, 1)
    return path


def usual(database: Path, path: Path) -> None:
    """Load with pandas and SQLAlchemy Core."""
    table = pd.read_csv(path, skiprows=3, header=0, names=["time", "pressure", "temperature"])
    times = pd.to_datetime(table["time"], format="%m/%d/%Y %H:%M:%S").dt.tz_localize("Etc/GMT-1").dt.tz_convert("UTC")
    time_ms = times.dt.tz_localize(None).astype("datetime64[ms]").astype("int64").tolist()
    with Network(database) as network, network.store.altering() as connection:
        for series, name in enumerate(("pressure", "temperature"), 1):
            rows = zip(time_ms, table[name].tolist(), strict=True)
            connection.execute(
                insert(Sample), [{"series_id": series, "time_ms": when, "value": value} for when, value in rows]
            )


def ours(database: Path, path: Path, layout: Path) -> None:
    """Load with the program."""
    with Network(database) as network:
        result = network.loggers.load([path], layout, instrument="L1", by="bench", now_utc=NOW)
        assert not result.refused, result.refused[0].error


def peak(folder: Path, path: Path, layout: Path) -> tuple[float, float, float]:
    """Return the peak memory before and after a load in a fresh process, and the seconds [MiB, MiB, s]."""
    database = new_database(folder / f"{path.stem}_memory.sqlite")
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(database), str(path), str(layout)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])},
    )
    assert done.returncode == 0, done.stderr
    before, after = (int(word) / 1024 for word in done.stdout.split())
    return before, after, time.perf_counter() - start


def main(count: int, long: int) -> None:
    print(f"load of the machine: {', '.join(f'{one:.2f}' for one in os.getloadavg())}")
    best = {"usual": np.inf, "ours": np.inf}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        layout = folder / "plain.toml"
        layout.write_text(LAYOUT)
        path = folder / "file.csv"
        write_file(path, count)
        for attempt in range(3 if count >= 10_000 else 1):
            for way in ("usual", "ours"):
                database = new_database(folder / f"{way}{attempt}.sqlite")
                start = time.perf_counter()
                usual(database, path) if way == "usual" else ours(database, path, layout)
                best[way] = min(best[way], time.perf_counter() - start)
                with Network(database) as network, network.store.reading() as connection:
                    kept = [array for series in (1, 2) for array in rows_of(connection, series)]
                if way == "usual":
                    expected = kept
            assert all(np.array_equal(one, other) for one, other in zip(expected, kept, strict=True))
            assert {array.size for array in kept} == {count}
        print(
            f"{count:,} rows of two values, {path.stat().st_size / 1e6:.1f} MB, from file to committed rows of SQLite"
        )
        for way, what in (("usual", "pandas and SQLAlchemy Core"), ("ours", "the program")):
            seconds = best[way]
            ratio = best["usual"] / seconds
            print(f"  {what:<28}{seconds:8.3f} s  {count / seconds:12,.0f} rows/s  {ratio:6.2f} x")
        for rows in (count, long):
            path = folder / f"rows{rows}.csv"
            write_file(path, rows)
            before, after, seconds = peak(folder, path, layout)
            print(
                f"  peak memory with {rows:,} rows: {after:.0f} MiB, {after - before:.0f} MiB over {before:.0f} before; {seconds:.1f} s"
            )


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(*(given + [350_000, 10_000_000][len(given) :]))
