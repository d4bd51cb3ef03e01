"""How long a logger export takes to read beside pandas, in one run, from the file to times in UTC and arrays of floats.

The export has 350,413 rows of ten minutes with a preamble and local times of a zone with summer time. pandas reads it with
``read_csv`` (C), ``to_datetime(format=...)`` and ``tz_localize``; the values of both ways are compared.

Run: ``python tests/bench/bench_logger_read.py [ROWS]``. Prints seconds and the ratio of the best of five for each of three
ways to write the time.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from gwnet.ingest.loggers.layout import parse_layout
from gwnet.ingest.loggers.rows import open_logger_file

ZONE = "Europe/Vienna"
FORMATS = {
    "ISO": "%Y-%m-%d %H:%M:%S",
    "day first": "%d.%m.%Y %H:%M:%S",
    "12-hour clock": "%m/%d/%Y %I:%M:%S %p",
}
LAYOUT = """
[text]
delimiter = ","
[table]
heading_row = 5
[time]
column = "time"
formats = ["{form}"]
zone = "{zone}"
[[columns]]
quantity = "absolute pressure"
column = "pressure"
unit = "hPa"
[[columns]]
quantity = "water temperature"
column = "temperature"
unit = "degC"
"""


def write_export(path: Path, rows: int, form: str) -> None:
    """Write an export with four lines of preamble."""
    random = np.random.default_rng(7)
    utc = pd.date_range("2016-02-03", periods=rows, freq="10min", tz="UTC")
    stamps = utc.tz_convert(ZONE).strftime(form)
    pressure = 1500.0 + np.cumsum(random.normal(0.0, 0.05, rows))
    temperature = 10.0 + np.cumsum(random.normal(0.0, 0.002, rows))
    lines = ["title: constructed", "serial: 4711", "interval: 10 min", "", "row,time,pressure,temperature"]
    body = (f"{n},{t},{p:.3f},{c:.2f}" for n, t, p, c in zip(range(rows), stamps, pressure, temperature, strict=True))
    path.write_text("\n".join([*lines, *body]) + "\n")


def with_pandas(path: Path, form: str) -> tuple[np.ndarray, np.ndarray]:
    """Return UTC times [ms] and pressures by pandas."""
    frame = pd.read_csv(path, skiprows=4, skip_blank_lines=False)
    local = pd.to_datetime(frame["time"], format=form)
    utc = local.dt.tz_localize(ZONE, ambiguous="infer").dt.tz_convert("UTC")
    times = utc.dt.tz_localize(None).to_numpy().astype("datetime64[ms]").astype(np.int64)
    return times, frame["pressure"].to_numpy()


def with_gwnet(path: Path, form: str) -> tuple[np.ndarray, np.ndarray]:
    """Return UTC times [ms] and pressures by the layout, with the file's hash on the way."""
    file = open_logger_file(path, parse_layout(LAYOUT.format(form=form, zone=ZONE)))
    chunks = list(file.chunks())
    file.require_good()
    return np.concatenate([c.time_ms for c in chunks]), np.concatenate([c.values[0] for c in chunks])


def best(way, path: Path, form: str) -> tuple[float, tuple[np.ndarray, np.ndarray]]:
    """Return the shortest of five runs, and what it gave."""
    seconds = []
    for _ in range(5):
        start = time.perf_counter()
        made = way(path, form)
        seconds.append(time.perf_counter() - start)
    return min(seconds), made


def main() -> None:
    """Read the export both ways and print the ratios."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 350_413
    with tempfile.TemporaryDirectory() as folder:
        for name, form in FORMATS.items():
            path = Path(folder) / "export.csv"
            write_export(path, rows, form)
            ours, (time_ms, value) = best(with_gwnet, path, form)
            theirs, (their_ms, their_value) = best(with_pandas, path, form)
            assert np.array_equal(time_ms, their_ms)
            assert np.array_equal(value, their_value)
            size = path.stat().st_size / 1e6
            print(
                f"{name}: {rows:,} rows, {size:.1f} MB: {ours:.3f} s, pandas {theirs:.3f} s, {theirs / ours:.1f} x pandas"
            )
    print(f"peak memory of both {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
