"""How long heads and findings of loggers take beside plain ways of the same work, in one run.

Heads: samples of a sensor, its barometer and its water temperature, six manual readings, through the record to elevations
with their uncertainty; beside it pandas (`read_sql` of the three series, `merge_asof`, `interpolate`). Detectors: each
over the whole series; spikes beside a loop over the samples. Clock: correlation over all shifts beside `numpy.corrcoef`
of one shift after the other.

Run: ``python tests/bench/bench_logger_heads.py [SAMPLES]``, 350,000 unless given. Prints seconds and ratios of one run.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import text

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from gwnet.analysis.loggers.heads import work_out_heads
from gwnet.hydro.loggers.clock_shift import find_clock_shift
from gwnet.hydro.loggers.faults import find_spikes, find_steps
from gwnet.hydro.loggers.unusable_intervals import (
    find_flat,
    find_frozen,
    find_odd_intervals,
    find_out_of_water,
    find_pinned,
)
from gwnet.store.snapshot import Snapshot
from tests.analysis.logger_record import Loggers, hours
from tests.analysis.record import Record

G = 9.80665


def timed(work: Callable[[], Any], rounds: int = 3) -> tuple[float, Any]:
    """Return the shortest time of some rounds, and the answer."""
    best, answer = float("inf"), None
    for _ in range(rounds):
        start = time.perf_counter()
        answer = work()
        best = min(best, time.perf_counter() - start)
    return best, answer


def record_of(folder: str, count: int) -> tuple[Loggers, np.ndarray, np.ndarray, np.ndarray]:
    """Return a record with one sensor, its times, its water and the pressure that it read."""
    random = np.random.default_rng(7)
    record = Record(Path(folder) / "bench.sqlite")
    made = Loggers(record)
    when = hours(count)
    air = 101_000 + np.cumsum(random.normal(size=count)) * 5
    water = 91 + 0.5 * np.sin(np.arange(count) / 300) + random.normal(size=count) * 0.001
    pressure = np.round(air + (water - 88) * 1000 * G, 1)
    record.well("W", point=(100.0, 0.5))
    record.tape("T")
    made.instrument("L")
    made.instrument("B", "barometer")
    made.install("L", "W", depth=12.0, barometer="B")
    made.samples("L", "absolute pressure", "Pa", when, pressure)
    made.samples("L", "water temperature", "degC", when, np.round(10 + random.normal(size=count) * 0.02, 2))
    made.samples("B", "air pressure", "Pa", when, np.round(air, 1))
    for place in np.linspace(0, count - 1, 6).astype(int):
        record.event("W", str(when[place])[:19], [("depth_to_water", float(100 - water[place]))])
    return made, when, water, pressure


def by_pandas(made: Loggers) -> np.ndarray:
    """Return heads as a script with pandas would make them: one density a sample, a mean offset."""
    series = {}
    with made.reading() as connection:
        for key, number in made.series.items():
            query = text("SELECT time_ms, value FROM sample WHERE series_id = :number ORDER BY time_ms")
            table = pd.read_sql(query, connection, params={"number": number})
            series[key[1]] = table.assign(at=pd.to_datetime(table["time_ms"], unit="ms"))
    table = series["absolute pressure"]
    for name in ("air pressure", "water temperature"):
        other = series[name][["at", "value"]].rename(columns={"value": name})
        table = pd.merge_asof(table, other, on="at", tolerance=pd.Timedelta(hours=2)).interpolate()
    t = table["water temperature"]
    density = 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
    return ((table["value"] - table["air pressure"]) / (density * G) + 88.0).to_numpy()


def spikes_by_loop(level: np.ndarray) -> int:
    """Return the number of single spikes, sample by sample."""
    usual = float(np.median(np.abs(np.diff(level))))
    values, found = level.tolist(), 0
    for place in range(1, len(values) - 1):
        before, here, after = values[place - 1 : place + 2]
        away = min(abs(here - before), abs(here - after))
        found += away > 15 * usual and (here - before) * (here - after) > 0 and abs(before - after) < away / 2
    return found


def shifts_by_loop(level: np.ndarray, air: np.ndarray, most: int) -> int:
    """Return the best shift in samples, one after the other."""
    x, y = np.diff(level), np.diff(air)
    inner = x[most : x.size - most]
    return int(
        np.argmax([np.corrcoef(inner, y[most + lag : y.size - most + lag])[0, 1] for lag in range(-most, most + 1)])
    )


def main(count: int) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        made, when, water, pressure = record_of(folder, count)

        def ours() -> Any:
            with made.reading() as connection:
                return work_out_heads(Snapshot(connection))

        took, (one,) = timed(ours)
        plain, _ = timed(lambda: by_pandas(made), 2)
        worst = float(np.nanmax(np.abs(one.water_elevation_m - water)))
        print(f"heads of {count:,} samples: {took:.3f} s; pandas {plain:.3f} s: {plain / took:.1f} x pandas")
        print(f"  farthest from the water put in: {1000 * worst:.1f} mm")
        level = one.sensor_level_m.copy()
        level[1000 :: max(count // 50, 2000)] += 1.0
        took, spikes = timed(lambda: find_spikes(level))
        plain, looped = timed(lambda: spikes_by_loop(level), 1)
        told = f"{spikes.first.size} and {looped} found"
        print(f"spikes: {took:.3f} s; loop over samples {plain:.3f} s: {plain / took:.0f} x a loop; {told}")
        for name, work in (
            ("steps", lambda: find_steps(when, level, longest_gap_s=7200)),
            ("flat", lambda: find_flat(when, pressure, least_s=43_200)),
            ("bottomed out", lambda: find_pinned(when, pressure)),
            ("out of water", lambda: find_out_of_water(when, level)),
            ("frozen", lambda: find_frozen(when, level)),
            ("intervals", lambda: find_odd_intervals(when)),
        ):
            took, _ = timed(work)
            print(f"{name}: {took:.3f} s, {count / took / 1e6:.1f} million samples a second")
        took, shift = timed(lambda: find_clock_shift(when, pressure, when, one.level.air_pa))
        plain, best = timed(lambda: shifts_by_loop(pressure, one.level.air_pa, 26), 1)
        print(f"clock, {2 * 26 + 1} shifts: {took:.3f} s; one by one {plain:.3f} s: {plain / took:.1f} x one by one")
        print(f"  both say {shift.shift_s / 3600:g} h and {best - 26:g} h")
        made.record.store.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 350_000)
