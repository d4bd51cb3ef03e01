"""The loggers of the story: where they hang, what they record hour by hour, and what goes wrong with them.

Moments are whole hours since `physics.EPOCH`, in UTC. Sensors record pressure or a column of water above themselves;
their elevation is never written anywhere, only the depth at which they were hung, to the centimetre or two that such
depths are known to.

Loggers record the valley's true heads, met exactly at each manual reading, so that drift, slip and clock errors are
known to the millimetre. A new fault goes into `Sensor`, its truth into `logger_truths.py`, its discovery into
`tests/demo/test_demo_loggers.py`.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from making import story
from making.air import MEAN_HPA, Air, air_temperature, density, gravity, normals, water_temperature
from making.physics import EPOCH, ZONE, days
from making.record import Record

#: Fall of the air pressure with height [hPa/m].
AIR_HPA_PER_M = 0.1205
BAROMETER_ELEVATION = 57.5
#: Share of a change of the air pressure by which the water in the well gives way.
BAROMETRIC_EFFICIENCY = {"upper": 0.05, "lower": 0.15}


@dataclass(frozen=True)
class Slip:
    """A cable that slipped: from this moment on the sensor hangs deeper [m]."""

    moment: dt.datetime
    deeper_m: float


@dataclass(frozen=True)
class WrongClock:
    """A clock that ran ahead from one moment to another [s]."""

    start: dt.datetime
    end: dt.datetime
    ahead_s: int


@dataclass(frozen=True)
class Sensor:
    """One instrument in one well, or in the well house for the barometer.

    ``visits`` are the local days of the downloads; the first one is when it was hung. ``reach_back`` holds for each
    download the days by which it overlaps the one before.
    """

    instrument: str
    well: str
    shape: str
    serial: str
    hung: str
    downloads: tuple[str, ...]
    hanging_m: float = 0.0
    booked_m: float = 0.0
    reach_back: tuple[int, ...] = ()
    every_h: int = 1
    removed: bool = False
    drift_m_per_year: float = 0.0
    slip: Slip | None = None
    clock: WrongClock | None = None
    battery_dead: dt.datetime | None = None
    spikes: tuple[tuple[dt.datetime, float], ...] = ()
    bottoms_out: bool = False

    @property
    def vented(self) -> bool:
        """Whether it is vented and tells the column of water above it."""
        return self.shape == "record"

    @property
    def start_hour(self) -> int:
        """Return the first hour that it records."""
        return math.ceil(hour_of(local(self.hung)))

    @property
    def end_hour(self) -> int:
        """Return the last hour that it records."""
        return math.floor(hour_of(local(self.downloads[-1])))


def utc(text: str) -> dt.datetime:
    """Return a moment that is given in UTC."""
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC)


def local(text: str) -> dt.datetime:
    """Return a moment that is given by the clock on the wall."""
    return dt.datetime.fromisoformat(text).replace(tzinfo=ZONE)


def hour_of(moment: dt.datetime) -> float:
    """Return a moment as hours since `EPOCH`."""
    return days(moment) * 24.0


def moment_of(hour: float) -> dt.datetime:
    """Return hours since `EPOCH` as a moment in UTC."""
    return EPOCH + dt.timedelta(hours=hour)


#: The burst of spikes: lightning beside the pump house of the tenant.
_SPIKES = (
    (utc("2025-07-08T14:00"), 1.31),
    (utc("2025-07-08T22:00"), 2.05),
    (utc("2025-07-09T12:00"), -1.12),
)

BAROMETER = Sensor(
    "BARO-1",
    "",
    "air",
    "N-3001",
    "2024-02-20 07:20",
    ("2024-11-19 15:05", "2025-08-19 15:20", "2026-02-26 11:50"),
    reach_back=(0, 6, 3),
)
SENSORS = (
    Sensor(
        "LG-1",
        "N1-U",
        "plain",
        "N-2107",
        "2024-02-20 08:52",
        ("2024-08-20 08:37", "2025-02-18 08:32", "2025-08-19 08:38", "2026-02-17 08:35"),
        hanging_m=10.412,
        booked_m=10.40,
        reach_back=(0, 3, 8, 0),
        drift_m_per_year=0.024,
    ),
    Sensor(
        "LG-2",
        "N1-L",
        "plain",
        "N-2110",
        "2024-02-20 09:08",
        ("2024-11-19 09:01", "2025-08-19 09:02", "2026-02-17 08:52"),
        hanging_m=11.237,
        booked_m=11.25,
        every_h=2,
        spikes=_SPIKES,
    ),
    Sensor(
        "LG-3",
        "W-07",
        "event",
        "K-0458",
        "2024-08-20 10:18",
        ("2025-02-18 10:08", "2025-08-19 10:20", "2026-02-17 09:58"),
        hanging_m=9.028,
        booked_m=9.05,
        reach_back=(0, 5, 2),
    ),
    Sensor(
        "LG-4",
        "W-02",
        "event",
        "K-0461",
        "2025-02-18 09:17",
        ("2025-08-19 09:22", "2026-02-26 09:31"),
        hanging_m=11.493,
        booked_m=11.50,
        reach_back=(0, 4),
        slip=Slip(utc("2025-10-07T02:30"), 0.137),
    ),
    Sensor(
        "LG-5",
        "W-14",
        "event",
        "K-0466",
        "2025-02-18 12:31",
        ("2025-05-20 12:28", "2025-08-19 12:33", "2025-11-18 12:33", "2026-02-26 10:22"),
        hanging_m=9.216,
        booked_m=9.20,
        clock=WrongClock(utc("2025-08-19T10:40"), utc("2025-11-18T11:30"), 7200),
    ),
    Sensor(
        "LG-6",
        "W-03",
        "record",
        "V-0917",
        "2024-02-20 08:26",
        ("2024-08-20 08:16", "2025-05-20 08:24"),
        hanging_m=7.337,
        booked_m=7.35,
        removed=True,
        bottoms_out=True,
    ),
    Sensor(
        "LG-7",
        "N3-U",
        "record",
        "V-0922",
        "2024-08-20 10:02",
        ("2025-02-19 10:01", "2025-08-19 10:02", "2025-11-19 10:00", "2026-02-17 10:06"),
        hanging_m=4.381,
        booked_m=4.40,
        reach_back=(0, 2, 0, 0),
        battery_dead=utc("2025-09-27T04:30"),
    ),
)

#: Hours of the barometer in which its memory kept no value.
BAROMETER_MISSING = ("2024-06-11T09:00", "2024-06-11T10:00", "2025-03-02T22:00")


class TrueHead:
    """The head in one well hour by hour, in step with what the crews read there by tape.

    The head of the valley is worked out every six hours, closer after each change of the pump, and linear between; the
    air pressure moves it by its share; and what the air did to the manual readings of the record, a few millimetres,
    is met exactly at each of them.
    """

    def __init__(self, record: Record, air: Air, sensor: Sensor) -> None:
        self.record, self.air, self.well = record, air, story.BY_CODE[sensor.well]
        self.first, self.last = sensor.start_hour - 30, sensor.end_hour + 30

    @cached_property
    def _knots(self) -> tuple[np.ndarray, np.ndarray]:
        hours = [np.arange(self.first, self.last + 7, 6, dtype=float)]
        for moment in self.record.supply.moments:
            after = moment * 24.0 + np.concatenate([np.arange(0.0, 6.0, 0.25), np.arange(6.0, 60.0, 1.0)])
            hours.append(after[(after > self.first) & (after < self.last)])
        at = np.unique(np.concatenate(hours))
        well = self.well
        return at, np.array([self.record.valley.head(well.aquifer, well.s, well.d, hour / 24.0) for hour in at])

    def _without_readings(self, hours: np.ndarray) -> np.ndarray:
        at, heads = self._knots
        share = BAROMETRIC_EFFICIENCY[self.well.aquifer] * 100.0 / (1000.0 * gravity())
        made: np.ndarray = np.interp(hours, at, heads) - share * (self.air.pressure(hours) - MEAN_HPA)
        return made

    @cached_property
    def _met(self) -> tuple[np.ndarray, np.ndarray]:
        at, off = [], []
        for event in self.record.events:
            hour = hour_of(event.moment)
            if event.well == self.well.code and self.first < hour < self.last and event.truth_m is not None:
                at.append(hour)
                true = self.record.true_head(event.well, event.moment, event.round or event.measured_at[:10])
                off.append(true - float(self._without_readings(np.array([hour]))[0]))
        return np.array(at), np.array(off)

    def at(self, hours: np.ndarray) -> np.ndarray:
        """Return the head at moments [m]."""
        made: np.ndarray = self._without_readings(hours) + np.interp(hours, *self._met)
        return made


@dataclass(frozen=True, eq=False)
class Recording:
    """What a sensor recorded: hours by a true clock, values, temperatures and battery, and the heads behind them."""

    sensor: Sensor
    hours: np.ndarray
    values: np.ndarray
    temperatures: np.ndarray
    battery: np.ndarray
    heads: np.ndarray

    def stamps(self) -> np.ndarray:
        """Return the hours that the sensor's clock showed."""
        ahead = np.zeros(self.hours.shape)
        clock = self.sensor.clock
        if clock is not None:
            wrong = (self.hours > hour_of(clock.start)) & (self.hours < hour_of(clock.end))
            ahead[wrong] = clock.ahead_s / 3600.0
        made: np.ndarray = self.hours + ahead
        return made


class Loggers:
    """All recordings of the demo network."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.air = Air(BAROMETER.start_hour - 60, BAROMETER.end_hour + 60)

    def head(self, sensor: Sensor) -> TrueHead:
        """Return the head in a sensor's well."""
        return TrueHead(self.record, self.air, sensor)

    @cached_property
    def barometer(self) -> Recording:
        """What the barometer recorded [hPa]."""
        hours = np.arange(BAROMETER.start_hour, BAROMETER.end_hour + 1, dtype=float)
        values = self.air.pressure(hours)
        missing = [hour_of(utc(text)) for text in BAROMETER_MISSING]
        values[np.isin(hours, missing)] = np.nan
        spare = np.full(hours.shape, np.nan)
        return Recording(BAROMETER, hours, values, air_temperature(hours), spare, spare)

    @cached_property
    def recordings(self) -> tuple[Recording, ...]:
        """What the sensors in the wells recorded."""
        return tuple(self._recording(sensor) for sensor in SENSORS)

    def _recording(self, sensor: Sensor) -> Recording:
        hours = np.arange(sensor.start_hour, sensor.end_hour + 1, dtype=float)
        hours = hours[(hours % sensor.every_h == 0) & ~self._being_reset(sensor, hours)]
        battery = 3.64 - 0.28 * (hours - hours[0]) / 8766.0
        if sensor.battery_dead is not None:
            dead, renewed = hour_of(sensor.battery_dead), hour_of(local(sensor.downloads[-2]))
            battery = np.where(hours < dead, 3.64 - 0.59 * (hours - hours[0]) / (dead - hours[0]), 3.66)
            lives = (hours < dead) | (hours > renewed)
            hours, battery = hours[lives], battery[lives]
        heads = self.head(sensor).at(hours)
        well = story.BY_CODE[sensor.well]
        temperatures = water_temperature(hours, sensor.hanging_m - well.height)
        column = heads - self.elevation(sensor, hours) + self._drift(sensor, hours)
        column += 0.0005 * normals(hours.size, "sensor", sensor.instrument)
        for moment, size in sensor.spikes:
            column[hours == hour_of(moment)] += size
        values = np.maximum(column, 0.0) if sensor.vented else self._pressure(sensor, hours, column, temperatures)
        return Recording(sensor, hours, values, temperatures, battery, heads)

    @staticmethod
    def _being_reset(sensor: Sensor, hours: np.ndarray) -> np.ndarray:
        """Return the hours after a wrong clock was set right in which the sensor waits to be started again."""
        if sensor.clock is None:
            return np.zeros(hours.shape, dtype=bool)
        right = hour_of(sensor.clock.end)
        made: np.ndarray = (hours > right) & (hours <= right + sensor.clock.ahead_s / 3600.0)
        return made

    @staticmethod
    def elevation(sensor: Sensor, hours: np.ndarray) -> np.ndarray:
        """Return the elevation of the sensor, which a slip lowers [m]."""
        point = story.point_at(sensor.well, "main", sensor.hung[:10])
        made = np.full(hours.shape, point.elevation - sensor.hanging_m)
        if sensor.slip is not None:
            made[hours > hour_of(sensor.slip.moment)] -= sensor.slip.deeper_m
        return made

    @staticmethod
    def _drift(sensor: Sensor, hours: np.ndarray) -> np.ndarray:
        made: np.ndarray = sensor.drift_m_per_year * (hours - sensor.start_hour) / 8766.0
        return made

    def _pressure(self, sensor: Sensor, hours: np.ndarray, column: np.ndarray, temperatures: np.ndarray) -> np.ndarray:
        """Return the absolute pressure at a sensor: of the water above it and of the air on the water [hPa]."""
        ground = story.BY_CODE[sensor.well].ground
        air = self.air.pressure(hours) - AIR_HPA_PER_M * (ground - BAROMETER_ELEVATION)
        made: np.ndarray = air + column * density(temperatures) * gravity() / 100.0
        return made
