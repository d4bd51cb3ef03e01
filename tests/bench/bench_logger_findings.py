"""Which faults of loggers are found, which are named by their cause, and what is found where nothing is wrong.

Run: ``python tests/bench/bench_logger_findings.py [DRAWS [SEED]] [all] [KIND ...]``, with ``all`` to print each finding;
of every kind of fault unless some are named

Faults of twelve kinds and more are injected into open series, three wells and their barometer in a meadow near Chester,
California, 2019 to 2020 (Cal Poly San Luis Obispo study, MIT licence; beside the checkout or in the folder that
``GWNET_OPEN_DATA`` names). Each trial takes 120 days of all three, gives them manual readings each month with an error of
4 mm (one standard deviation), and spoils one well, or all of them where the cause is common. ``noticed`` counts faults of
which a finding lies within the span of the fault (a day around it), ``named`` those with a finding of the rule that names
the cause, ``false`` findings per trial that neither the untouched series nor the fault explains. Of ``rain`` and
``late answer``, where no logger is at fault, any new finding is false.
"""

from __future__ import annotations

import copy
import os
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from gwnet.analysis.loggers.channels import loggers_of  # noqa: E402
from gwnet.analysis.loggers.findings import list_findings  # noqa: E402
from gwnet.network import Network, init  # noqa: E402
from gwnet.store import revision  # noqa: E402
from gwnet.store.snapshot import Snapshot  # noqa: E402
from tests.analysis.logger_record import Loggers  # noqa: E402
from tests.analysis.record import Record  # noqa: E402
from tests.empty_records import upgrade_quickly  # noqa: E402

OPEN_DATA = Path(os.environ.get("GWNET_OPEN_DATA", ROOT.parent / "shared" / "open-data"))
FILES = {
    "BARO": ["BARO_control_download_2020-08.csv", "BARO_control_download_2020-11.csv"],
    "CM0W": [f"CM0W_download_{month}.csv" for month in ("2019-12", "2020-07", "2020-08")],
    "CM3W": ["CM3W_download_2020-07.csv"],
    "CM4W": [f"CM4W_download_{month}.csv" for month in ("2020-07", "2020-08", "2020-11")],
}
WELLS = ("CM0W", "CM3W", "CM4W")
DAY = np.timedelta64(86_400_000_000, "us")
DAYS = 120
PA_PER_M = 9806.65
#: Elevation of each sensor, above any datum [m].
SENSORS = {"CM0W": 88.0, "CM3W": 87.0, "CM4W": 90.0}
SLIP_M = 0.004


@dataclass
class Series:
    """Times and pressures [Pa] of each instrument of one trial, and where files begin."""

    when: dict[str, np.ndarray]
    value: dict[str, np.ndarray]
    air: dict[str, np.ndarray]
    starts: dict[str, list[int]] = field(default_factory=dict)

    def copied(self) -> Series:
        return Series(
            *({name: part.copy() for name, part in parts.items()} for parts in (self.when, self.value, self.air)),
            {name: list(part) for name, part in self.starts.items()},
        )


def read_open_series() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Return times [UTC] and pressures [Pa] of each instrument."""
    tables = {
        "sites": "site,crs,vertical_datum,length_unit,time_zone\nM,EPSG:32610,local,m,UTC-07:00\n",
        "wells": "site,well,latitude,longitude\n" + "".join(f"M,{well},40.3,-121.2\n" for well in WELLS),
        "instruments": "instrument,kind\nBARO,barometer\n"
        + "".join(f"{well},absolute pressure logger\n" for well in WELLS),
        "deployments": "site,well,instrument,installed_at,barometer\nM,,BARO,2019-04-01T00:00,\n"
        + "".join(f"M,{well},{well},2019-04-01T00:00,BARO\n" for well in WELLS),
    }
    raw = OPEN_DATA / "raw" / "control_meadow"
    with tempfile.TemporaryDirectory() as folder:
        for name, text in tables.items():
            (Path(folder) / f"{name}.csv").write_text(text, encoding="utf-8")
        init(Path(folder) / "a.sqlite")
        with Network(Path(folder) / "a.sqlite") as net:
            net.load([Path(folder) / f"{name}.csv" for name in tables], by="bench")
            for instrument, names in FILES.items():
                said = {"quantity": "air pressure"} if instrument == "BARO" else {}
                net.loggers.load([raw / name for name in names], instrument=instrument, by="bench", **said)
            with net.store.reading() as connection:
                loggers = loggers_of(Snapshot(connection))
                series = {}
                for instrument in FILES:
                    quantity = "air pressure" if instrument == "BARO" else "absolute pressure"
                    channel = loggers.channel(instrument, quantity, None, None)
                    known = ~np.isnan(channel.value)
                    series[instrument] = channel.time_utc[known], channel.value[known]
    return series


def window(series: dict[str, tuple[np.ndarray, np.ndarray]], start: np.datetime64) -> Series:
    """Return 120 days of every instrument on its own times, with the air at each."""
    made = Series({}, {}, {})
    air_when, air = series["BARO"]
    for name, (when, value) in series.items():
        more = DAY if name == "BARO" else 0 * DAY
        inside = (when >= start - more) & (when < start + DAYS * DAY + more)
        made.when[name], made.value[name] = when[inside], value[inside]
        made.air[name] = np.interp(when[inside].astype(np.int64), air_when.astype(np.int64), air)
        made.starts[name] = [0]
    return made


def findings_of(series: Series, readings: dict[str, list[tuple[np.datetime64, float]]], folder: Path):
    """Return the findings about a record of these series."""
    record = Record(folder / "a.sqlite")
    try:
        made = Loggers(record)
        with record.act():  # one state, not one a row
            record.tape("T")
            made.instrument("BARO", "barometer", accuracy_m=0.005)
            made.install("BARO", None, "2019-04-01")
            for well in WELLS:
                record.well(well, point=(100.0, 0.5))
                made.instrument(well, accuracy_m=0.005)
                made.install(well, well, "2019-04-01", depth=100.0 - SENSORS[well], barometer="BARO")
            for name in (*WELLS, "BARO"):
                quantity = "air pressure" if name == "BARO" else "absolute pressure"
                edges = [*series.starts[name], series.when[name].size]
                for number, (first, end) in enumerate(pairwise(edges)):
                    rows = slice(first, end)
                    made.samples(
                        name,
                        quantity,
                        "Pa",
                        series.when[name][rows],
                        series.value[name][rows],
                        file=f"{name} {number}.csv",
                    )
            for well, pairs in readings.items():
                for when, elevation in pairs:
                    record.event(well, str(when)[:19], [("depth_to_water", round(100.0 - elevation, 4))])
        with made.snapshot() as snapshot:
            return list_findings(snapshot)
    finally:
        record.store.close()


def read_by_hand(series: Series, rng: np.random.Generator) -> dict[str, list[tuple[np.datetime64, float]]]:
    """Return a reading a month of each well, taken beside its logger while that was sound."""
    readings = {}
    for well in WELLS:
        when, head = series.when[well], SENSORS[well] + (series.value[well] - series.air[well]) / PA_PER_M
        places = np.linspace(20, when.size - 21, 5).astype(int)
        readings[well] = [(when[at], float(head[at] + rng.normal(0, SLIP_M))) for at in places]
    return readings


Fault = Callable[[Series, str, np.random.Generator], tuple[np.datetime64, np.datetime64]]


def _inside(series: Series, well: str, rng: np.random.Generator, share: tuple[float, float] = (0.3, 0.7)) -> int:
    return int(rng.uniform(*share) * series.when[well].size)


def spike(series: Series, well: str, rng: np.random.Generator):
    at = _inside(series, well, rng)
    series.value[well][at] += rng.choice([-1, 1]) * 0.4 * PA_PER_M
    return series.when[well][at], series.when[well][at]


def spike_at_file_end(series: Series, well: str, rng: np.random.Generator):
    """Three samples 3 psi too low, then a gap of two days."""
    at = _inside(series, well, rng)
    when, value = series.when[well], series.value[well]
    value[at - 2 : at + 1] -= 3 * 6894.757
    keep = (np.arange(when.size) <= at) | (when > when[at] + 2 * DAY)
    series.when[well], series.value[well], series.air[well] = when[keep], value[keep], series.air[well][keep]
    series.starts[well].append(at + 1)
    return when[at - 2], when[at]


def last_sample(series: Series, well: str, rng: np.random.Generator):
    series.value[well][-1] += rng.choice([-1, 1]) * 0.5 * PA_PER_M
    return series.when[well][-1], series.when[well][-1]


def slip(series: Series, well: str, rng: np.random.Generator):
    at = _inside(series, well, rng)
    series.value[well][at:] += 0.2 * PA_PER_M
    return series.when[well][at], series.when[well][at]


def clock_back(series: Series, well: str, rng: np.random.Generator):
    """From a visit on the clock is half an hour behind."""
    at = _inside(series, well, rng)
    when = series.when[well]
    moved = when[at:] - np.timedelta64(1800, "s")
    keep = moved > when[at - 1]
    series.when[well] = np.concatenate([when[:at], moved[keep]])
    for parts in (series.value, series.air):
        parts[well] = np.concatenate([parts[well][:at], parts[well][at:][keep]])
    series.starts[well].append(at)
    return when[at], when[-1]


def wrong_zone(series: Series, well: str, rng: np.random.Generator):
    series.when[well] = series.when[well] + rng.choice([-1, 1]) * np.timedelta64(3600, "s")
    return series.when[well][0], series.when[well][-1]


def in_air(series: Series, well: str, rng: np.random.Generator):
    at = _inside(series, well, rng)
    rows = slice(at, at + int(rng.integers(40, 400)))
    size = series.value[well][rows].size
    series.value[well][rows] = series.air[well][rows] + rng.normal(0, 30, size)
    return series.when[well][rows][0], series.when[well][rows][-1]


def at_upper_limit(series: Series, well: str, rng: np.random.Generator):
    """The water rises above what the sensor can read."""
    value = series.value[well]
    limit = np.quantile(value, 0.9)
    over = np.flatnonzero(value > limit)
    value[over] = limit
    return series.when[well][over[0]], series.when[well][over[-1]]


def suction(series: Series, well: str, rng: np.random.Generator):
    """Below the sensor, the reading stays at the least that the sensor gives, beneath the air."""
    value, air = series.value[well], series.air[well]
    low = np.flatnonzero(value - air < np.quantile(value - air, 0.15))
    value[low] = air.min() - 0.3 * PA_PER_M
    return series.when[well][low[0]], series.when[well][low[-1]]


def air_at_both_ends(series: Series, well: str, rng: np.random.Generator):
    for rows in (slice(None, 6), slice(-6, None)):
        series.value[well][rows] = series.air[well][rows] + rng.normal(0, 30, 6)
    return series.when[well][0], series.when[well][-1]


def barometer_off(series: Series, well: str, rng: np.random.Generator):
    """For three days the barometer reads 0.19 m of water too much, a visit among them."""
    at = series.when["CM0W"][np.linspace(20, series.when["CM0W"].size - 21, 5).astype(int)[2]]
    off = np.abs(series.when["BARO"] - at) < 1.5 * DAY
    series.value["BARO"][off] += 0.19 * PA_PER_M
    return at - 2 * DAY, at + 2 * DAY


def saw_tooth(series: Series, well: str, rng: np.random.Generator):
    """Each third day the reading drops by 0.3 m and creeps back."""
    when = series.when[well]
    days = (when - when[0]) / DAY
    series.value[well] -= 0.3 * PA_PER_M * (1 - (days % 3) / 3) * (days > 30) * (days < 90)
    return when[0] + 30 * DAY, when[0] + 90 * DAY


def flat(series: Series, well: str, rng: np.random.Generator):
    at = _inside(series, well, rng)
    rows = slice(at, at + 150)
    series.value[well][rows] = series.value[well][at]
    return series.when[well][rows][0], series.when[well][rows][-1]


def gap_of_barometer(series: Series, well: str, rng: np.random.Generator):
    at = _inside(series, "BARO", rng)
    when = series.when["BARO"]
    keep = (when < when[at]) | (when > when[at] + 3 * DAY)
    series.when["BARO"], series.value["BARO"] = when[keep], series.value["BARO"][keep]
    series.air["BARO"] = series.air["BARO"][keep]
    return when[at], when[at] + 3 * DAY


def rain(series: Series, well: str, rng: np.random.Generator):
    """All wells rise at once, 0.15 to 0.3 m within a sample, and drain within ten days."""
    at = series.when["CM0W"][_inside(series, "CM0W", rng)]
    for each in WELLS:
        days = (series.when[each] - at) / DAY
        series.value[each] += np.where(days >= 0, rng.uniform(0.15, 0.3) * np.exp(-days.clip(0) / 10), 0.0) * PA_PER_M
    return at, at


def late_answer(series: Series, well: str, rng: np.random.Generator):
    """The water answers the air with 0.6 of it, with a delay of some hours; no clock is wrong."""
    air = series.air[well]
    weights = np.exp(-np.arange(24) / 6) / np.exp(-np.arange(24) / 6).sum()
    delayed = np.convolve(np.concatenate([np.full(23, air[0]), air]), weights, "valid")
    series.value[well] -= 0.6 * (delayed - delayed.mean())
    return series.when[well][0], series.when[well][0]


@dataclass(frozen=True)
class Kind:
    """One kind of fault: how it is made, the rules that name it (none where nothing is wrong), and whether the water does it."""

    make: Fault
    named: tuple[str, ...]
    is_of_water: bool = False


KINDS = {
    "spike": Kind(spike, ("spike",)),
    "spike at a file's end": Kind(spike_at_file_end, ("end of a file", "spike", "out of water")),
    "last sample": Kind(last_sample, ("end of a file",)),
    "slipped cable": Kind(slip, ("slipped cable",)),
    "clock half an hour back": Kind(clock_back, ("clock",)),
    "wrong zone": Kind(wrong_zone, ("clock",)),
    "out of water": Kind(in_air, ("out of water",)),
    "at the upper limit": Kind(at_upper_limit, ("upper limit",)),
    "suction plateau": Kind(suction, ("bottomed out", "out of water")),
    "air at both ends": Kind(air_at_both_ends, ("out of water",)),
    "barometer off at a visit": Kind(barometer_off, ("common cause",)),
    "saw-tooth": Kind(saw_tooth, ("saw-tooth",), is_of_water=True),
    "flat": Kind(flat, ("flat",)),
    "gap of the barometer": Kind(gap_of_barometer, ("barometer gap",)),
    "rain": Kind(rain, (), is_of_water=True),
    "late answer": Kind(late_answer, (), is_of_water=True),
}


def _marks(table) -> list[tuple[str, str, str]]:
    """Return what each finding is about, without the moment to the second."""
    return [(row.well or row.instrument, row.rule, str(row.start_utc)[:10]) for row in table.itertuples()]


def main(
    draws: int = 4, seed: int = 1, kinds: tuple[str, ...] = tuple(KINDS), *, shows_all: bool = False
) -> dict[str, dict[str, float]]:
    """Print a table of detection by kind, and return it."""
    series = read_open_series()
    first = max(when[0] for when, _ in series.values())
    air_when = series["BARO"][0][series["BARO"][0] >= first]
    gaps = np.flatnonzero(np.diff(air_when) > DAY)
    last = (
        min(*(when[-1] for when, _ in series.values()), air_when[gaps[0]] if gaps.size else air_when[-1]) - DAYS * DAY
    )
    last = max(last, first)
    # what all kinds of fault begin with: the same untouched series, readings and findings, drawn once
    untouched = []
    for draw in range(draws):
        rng = np.random.default_rng([seed, draw])
        sound = window(series, first + (last - first) * float(rng.uniform()))
        readings = read_by_hand(sound, rng)
        with tempfile.TemporaryDirectory() as folder:
            untouched.append((sound, readings, findings_of(sound, readings, Path(folder)), rng))
    rows: dict[str, dict[str, float]] = {}
    print(f"{'fault':<26}{'noticed':>9}{'named':>8}{'false a trial':>15}")
    for kind in kinds:
        counts = {"trials": 0, "noticed": 0, "named": 0, "false": 0}
        for draw, (sound, readings, before, begun) in enumerate(untouched):
            rng = copy.deepcopy(begun)
            well = WELLS[draw % len(WELLS)]
            with tempfile.TemporaryDirectory() as folder:
                spoilt = sound.copied()
                begins, ends = KINDS[kind].make(spoilt, well, rng)
                read = read_by_hand(spoilt, rng) if KINDS[kind].is_of_water else readings
                after = findings_of(spoilt, read, Path(folder))
            known = set(_marks(before))
            new = after[[mark not in known for mark in _marks(after)]]
            low, high = (str(np.datetime_as_string(edge, unit="s")) for edge in (begins - DAY, ends + DAY))
            start_text, end_text = (new[name].dt.strftime("%Y-%m-%dT%H:%M:%S") for name in ("start_utc", "end_utc"))
            within = new[(end_text >= low) & (start_text <= high)] if KINDS[kind].named else new.iloc[:0]
            named = within["rule"].isin(KINDS[kind].named)
            counts["trials"] += 1
            counts["noticed"] += bool(len(within))
            counts["named"] += bool(named.any())
            counts["false"] += len(new) - int(named.sum()) - int((new["rule"] == "gap").sum())  # a gap is one
            if shows_all:
                for row in new.itertuples():
                    print(
                        f"    {kind} {draw}: {row.well or row.instrument} {row.rule} {row.start_utc} {row.message[:150]} | {row.suggestion[:80]}"
                    )
        rows[kind] = {name: counts[name] / counts["trials"] for name in ("noticed", "named", "false")}
        told = ("", "") if not KINDS[kind].named else (f"{rows[kind]['noticed']:.0%}", f"{rows[kind]['named']:.0%}")
        print(f"{kind:<26}{told[0]:>9}{told[1]:>8}{rows[kind]['false']:>15.2f}", flush=True)
    count = np.mean([len(before) for _, _, before, _ in untouched])
    print(f"findings of 120 days of the three untouched series: {count:.1f}")
    return rows


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    named = tuple(kind for kind in KINDS if kind in sys.argv[1:])
    revision.upgrade = upgrade_quickly
    main(*numbers, **({"kinds": named} if named else {}), shows_all="all" in sys.argv)
