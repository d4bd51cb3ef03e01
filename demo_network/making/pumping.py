"""The two pumping tests of the supply well before the network's first round: rates, and what the crew read.

Both lie in a standstill of November 2017, when the wells had been drilled and not yet levelled; so their readings have
no measuring point in force, and drawdowns are differences of depths. The heads are those of the valley with the supply
well's own history: stopped for the tests, and running the more on the other days of that month. By the first round,
three months later, that has faded to less than a millimetre, and the heads of the rounds leave it out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from making import story
from making.files import write_csv
from making.physics import (
    STORATIVITY,
    TRANSMISSIVITY_M2_S,
    WELL_LOSS_S2_M5,
    ZONE,
    Pump,
    Valley,
    days,
    normal,
    pump,
)
from making.record import Record, metres

Row = dict[str, Any]

WELL = "P-1"
STANDSTILL = (dt.datetime(2017, 11, 1, 6, tzinfo=ZONE), dt.datetime(2017, 11, 13, 8, tzinfo=ZONE))
TAPE = "E-1"
CREW = f"{story.CREW_A}, R. Övelund"
SECOND = "R. Övelund"

#: Standard deviation of a reading, on top of the rounding to a millimetre [m].
NOISE_M = 0.0015


@dataclass(frozen=True)
class Test:
    """A test: its rates from minutes since the start on [L/s], how long it pumps and recovers, what is read where."""

    __test__ = False

    code: str
    kind: str
    start: dt.datetime
    rates: tuple[tuple[float, float], ...]
    pumping_min: float
    recovery_min: float
    wells: tuple[str, ...]
    purpose: str

    @property
    def stop(self) -> dt.datetime:
        """Return when the pump stopped."""
        return self.start + dt.timedelta(minutes=self.pumping_min)


TESTS = (
    Test(
        "ST-1",
        "step",
        dt.datetime(2017, 11, 8, 8, tzinfo=ZONE),
        ((0.0, 10.0), (60.0, 15.0), (120.0, 20.0), (180.0, 25.0)),
        240.0,
        0.0,
        (WELL,),
        "Losses of the supply well before the new network starts",
    ),
    Test(
        "CT-1",
        "constant rate",
        dt.datetime(2017, 11, 10, 8, tzinfo=ZONE),
        ((0.0, 22.3), (30.0, 22.0), (720.0, 21.8)),
        1440.0,
        1440.0,
        (WELL, "W-07", "W-13", "W-08"),
        "Transmissivity and storage of the upper aquifer",
    ),
)

#: When levels are read: until a minute, every so many minutes; the pumped well more often at first.
SCHEDULES = {
    True: ((10, 1.0), (30, 2.0), (60, 5.0), (120, 10.0), (300, 30.0), (1440, 60.0)),
    False: ((10, 2.0), (60, 5.0), (120, 10.0), (300, 30.0), (1440, 60.0)),
}
BEFORE_MIN = (*range(-1440, 0, 240), -60, -30, -10)

#: How far the probe is set below the level at which the pump starts, or above that at which it stops [m].
SET_M = (0.90, 1.00, 1.10, 1.20, 1.30, 1.35)

TEST_COLUMNS = (
    "site", "test", "well", "kind", "starts_at", "stops_at", "intake_depth", "aquifer_thickness", "purpose", "crew",
    "notes",
)  # fmt: skip
RATE_COLUMNS = ("site", "test", "well", "from", "rate", "method", "notes")
READING_COLUMNS = (
    "site", "test", "well", "measured_at", "elapsed", "depth_to_water", "set_depth", "passed", "access", "instrument",
    "observer", "quality", "notes",
)  # fmt: skip


def history() -> Pump:
    """Return the supply well as it ran, with the standstill and the tests in it."""
    well = story.BY_CODE[WELL]
    usual = pump(well.s, well.d, [(days(STANDSTILL[0]), days(STANDSTILL[1]))])
    edges = dict(zip(usual.moments, usual.rates, strict=True))
    for test in TESTS:
        edges |= {days(test.start) + minute / 1440.0: rate / 1000.0 for minute, rate in test.rates}
        edges[days(test.stop)] = 0.0
    moments = sorted(edges)
    return Pump(well.s, well.d, moments, [edges[moment] for moment in moments])


class Tests:
    """What was read during the tests."""

    __test__ = False

    def __init__(self, record: Record) -> None:
        self.record = record
        self.supply = history()
        self.valley = Valley(self.supply)

    def depth(self, code: str, moment: dt.datetime) -> float:
        """Return the true depth to water below the rim of a well, of the supply well below that of its dip tube [m]."""
        well, t = story.BY_CODE[code], days(moment)
        head = self.valley.head(well.aquifer, well.s, well.d, t)
        height = well.height
        if code == WELL:
            head -= WELL_LOSS_S2_M5 * self.supply.rate(t) ** 2
            height = story.DIP_TUBE_HEIGHT
        return round(well.ground + height, 3) - head

    def rates(self) -> Iterator[Row]:
        """Yield the rates."""
        for test in TESTS:
            for minute, rate in test.rates:
                row = {"site": story.SITE, "test": test.code, "from": _number(minute), "rate": metres(rate, 1)}
                yield row | {"method": "meter"}

    def readings(self) -> Iterator[Row]:
        """Yield the readings of all tests, well by well."""
        for test in TESTS:
            for code in test.wells:
                yield from self._of_well(test, code)

    def _of_well(self, test: Test, code: str) -> Iterator[Row]:
        for minute in BEFORE_MIN:
            yield self._read(test, code, float(minute), by_clock=True)
        for phase, length in (("pumping", test.pumping_min), ("recovery", test.recovery_min)):
            begin = 0.0 if phase == "pumping" else test.pumping_min
            passings = self._passings(test, code, begin) if test.kind == "constant rate" else []
            yield from passings
            last_passing = max((float(row["elapsed"]) for row in passings), default=begin)
            for minute in _minutes(test, code, begin, length):
                if minute > last_passing:
                    yield self._read(test, code, minute)

    def _row(self, test: Test, code: str) -> Row:
        row: Row = {"site": story.SITE, "test": test.code, "well": code, "instrument": TAPE}
        row["access"] = "dip tube" if code == WELL else ""
        return row | {"observer": story.CREW_A if code == WELL else SECOND, "quality": "good"}

    def _read(self, test: Test, code: str, minute: float, *, by_clock: bool = False) -> Row:
        moment = test.start + dt.timedelta(minutes=minute)
        # the level a second earlier at a change of rate, which the crew reads before it turns the valve
        depth = self.depth(code, moment - dt.timedelta(seconds=1))
        depth += NOISE_M * normal("pumping test", test.code, code, minute)
        tape = self.record.on_tape(TAPE, moment.date().isoformat(), depth)
        row = self._row(test, code) | {"depth_to_water": metres(tape)}
        if by_clock:
            return row | {"measured_at": moment.strftime("%Y-%m-%dT%H:%M")}
        return row | {"elapsed": _number(minute)}

    def _passings(self, test: Test, code: str, begin: float) -> list[Row]:
        """Return when the water of the pumped well passed set depths just after the pump started or stopped."""
        if code != WELL:
            return []
        start = test.start + dt.timedelta(minutes=begin)
        before = self.depth(code, start - dt.timedelta(seconds=1))
        sign, word = (1.0, "falling") if begin == 0.0 else (-1.0, "rising")
        rows = []
        for set_m in SET_M:
            depth = round(before + sign * set_m, 2)
            seconds = _passing_s(lambda s: self.depth(code, start + dt.timedelta(seconds=s)), depth, sign)
            if seconds is not None:
                minute = begin + seconds / 60.0
                set_depth = metres(self.record.on_tape(TAPE, start.date().isoformat(), depth))
                rows.append(
                    self._row(test, code) | {"elapsed": _number(minute), "set_depth": set_depth, "passed": word}
                )
        return rows


def _passing_s(depth_at: Callable[[float], float], depth: float, sign: float) -> float | None:
    """Return the whole second at which a level passes a depth, within ten minutes; None where it does not."""
    low, high = 1.0, 600.0
    if sign * (depth_at(low) - depth) > 0.0 or sign * (depth_at(high) - depth) < 0.0:
        return None
    while high - low > 0.1:
        middle = (low + high) / 2.0
        if sign * (depth_at(middle) - depth) < 0.0:
            low = middle
        else:
            high = middle
    return float(round(high))


def _minutes(test: Test, code: str, begin: float, length: float) -> list[float]:
    """Return the minutes at which a well is read after the pump started or stopped; anew after a change of rate."""
    changes = [minute for minute, _ in test.rates] if test.kind == "step" else [begin]
    made: list[float] = []
    for change in changes:
        later = [other for other in changes if other > change]
        room = (later[0] if later else begin + length) - change
        start = 0.0
        for until, every in SCHEDULES[code == WELL]:
            count = round((until - start) / every)
            made += [change + start + every * number for number in range(1, count + 1)]
            start = float(until)
        made = [minute for minute in made if minute <= change + room]
    return made


def _number(minute: float) -> str:
    return f"{minute:.4f}".rstrip("0").rstrip(".")


def truths() -> dict[str, Any]:
    """Return the planted parameters, and how far an analysis may be off."""
    return {
        "transmissivity_m2_per_day": TRANSMISSIVITY_M2_S * 86_400.0,
        "storativity": STORATIVITY,
        "well_loss_d2_per_m5": WELL_LOSS_S2_M5 / 86_400.0**2,
        "tolerance_percent": 10.0,
        "constant_rate": "CT-1",
        "step": "ST-1",
    }


def write_pumping(folder: Path, record: Record) -> None:
    """Write the tables of the tests into a folder."""
    made = Tests(record)
    tests = [
        {
            "site": story.SITE,
            "test": test.code,
            "well": WELL,
            "kind": test.kind,
            "starts_at": test.start.strftime("%Y-%m-%dT%H:%M"),
            "stops_at": test.stop.strftime("%Y-%m-%dT%H:%M"),
            "intake_depth": metres(15.5, 2),
            "aquifer_thickness": metres(12.0, 1),
            "purpose": test.purpose,
            "crew": CREW,
            "notes": "Discharged through 300 m of hose to the river",
        }
        for test in TESTS
    ]
    write_csv(folder / "pumping_tests.csv", TEST_COLUMNS, tests)
    write_csv(folder / "pumping_rates.csv", RATE_COLUMNS, list(made.rates()), {"from": "min", "rate": "L/s"})
    readings = list(made.readings())
    write_csv(folder / "pumping_readings.csv", READING_COLUMNS, readings, {"elapsed": "min"})
