"""Exports of the loggers, in four shapes, and the tables of instruments and deployments.

``air`` and ``plain``: a preamble of keys, semicolons, decimal commas, day before month, standard time of the zone.
``event``: commas, date and time in two columns, UTC, remarks of the logger among the rows. ``record``: tabs, a number
a row, the clock on the wall with its summer time, midnight as 24:00.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from making import story
from making.files import write_csv
from making.loggers import BAROMETER, SENSORS, Loggers, Recording, hour_of, local, moment_of
from making.physics import ZONE

STANDARD_TIME = dt.timezone(dt.timedelta(hours=1))
ENCODINGS = {"air": "latin-1", "plain": "latin-1", "event": "utf-8-sig", "record": "utf-8"}


@dataclass(frozen=True, eq=False)
class Download:
    """One export: its file, and which samples of a recording stand in it."""

    recording: Recording
    name: str
    visited: dt.datetime
    chosen: np.ndarray
    fresh: np.ndarray

    @property
    def samples(self) -> int:
        """Return how many samples it holds."""
        return int(self.chosen.sum())


def downloads_of(recording: Recording) -> list[Download]:
    """Return the exports of a recording: each from the visit before, less the days that it reaches back."""
    sensor = recording.sensor
    made = []
    before = hour_of(local(sensor.hung))
    for number, text in enumerate(sensor.downloads):
        end = hour_of(local(text))
        back = 24.0 * sensor.reach_back[number] if sensor.reach_back else 0.0
        fresh = (recording.hours > before) & (recording.hours <= end)
        chosen = (recording.hours > before - back) & (recording.hours <= end)
        name = f"{sensor.instrument}_{sensor.well or 'air'}_{text[:10]}.{_ENDING[sensor.shape]}"
        made.append(Download(recording, name, local(text), chosen, fresh))
        before = end
    return made


_ENDING = {"air": "csv", "plain": "csv", "event": "csv", "record": "txt"}


def _comma(value: float, decimals: int) -> str:
    return "n/a" if math.isnan(value) else f"{value:.{decimals}f}".replace(".", ",")


def _plain(download: Download) -> Iterator[str]:
    recording, chosen = download.recording, download.chosen
    sensor = recording.sensor
    yield "Export of samples"
    yield f"Serial number;{sensor.serial}"
    yield f"Place;{sensor.well or 'well house'}"
    yield "Clock;UTC+01:00, no summer time"
    yield ""
    if sensor.well:
        yield "Date and time;Absolute pressure [hPa];Water temperature [°C]"
    else:
        yield "Date and time;Air pressure [hPa];Air temperature [°C]"
    stamps = recording.stamps()[chosen]
    for stamp, value, degrees in zip(stamps, recording.values[chosen], recording.temperatures[chosen], strict=True):
        clock = moment_of(stamp).astimezone(STANDARD_TIME)
        yield f"{clock:%d.%m.%Y %H:%M};{_comma(value, 1)};{_comma(degrees, 1)}"


def _event(download: Download) -> Iterator[str]:
    recording, chosen = download.recording, download.chosen
    sensor = recording.sensor
    yield f"Serial,{sensor.serial}"
    yield f"Well,{sensor.well}"
    yield "Times,UTC"
    yield "Date,Time,Pressure (kPa),Temperature (degC),Remark"
    stamps = recording.stamps()[chosen]
    first = moment_of(stamps[0])
    yield f"{first:%Y-%m-%d},{first - dt.timedelta(minutes=9):%H:%M},,,Recording started"
    for stamp, value, degrees in zip(stamps, recording.values[chosen], recording.temperatures[chosen], strict=True):
        yield f"{moment_of(stamp):%Y-%m-%d,%H:%M},{value / 10.0:.2f},{degrees:.1f},"
    last = moment_of(stamps[-1]) + dt.timedelta(minutes=11)
    yield f"{last:%Y-%m-%d,%H:%M},,,Connected to a computer"


def _record(download: Download) -> Iterator[str]:
    recording, chosen = download.recording, download.chosen
    sensor = recording.sensor
    yield f"# logger {sensor.serial}"
    yield f"# well {sensor.well}"
    yield "# clock on the wall, with summer time"
    yield "No\tTime\tWater column [m]\tTemperature [°C]\tBattery [V]"
    stamps = recording.stamps()[chosen]
    columns = (recording.values, recording.temperatures, recording.battery)
    rows = zip(stamps, *(column[chosen] for column in columns), strict=True)
    for number, (stamp, value, degrees, volts) in enumerate(rows, start=1):
        yield f"{number}\t{_midnight_last(moment_of(stamp).astimezone(ZONE))}\t{value:.3f}\t{degrees:.1f}\t{volts:.2f}"


def _midnight_last(clock: dt.datetime) -> str:
    """Return a wall-clock time; midnight closes the day before as 24:00."""
    if (clock.hour, clock.minute) == (0, 0):
        return f"{clock - dt.timedelta(minutes=1):%Y-%m-%d} 24:00"
    return f"{clock:%Y-%m-%d %H:%M}"


_LINES = {"air": _plain, "plain": _plain, "event": _event, "record": _record}

#: Kind of the instruments that export each shape, and their range in metres of water.
_KINDS = {
    "air": ("barometer", ""),
    "plain": ("absolute pressure logger", 20),
    "event": ("absolute pressure logger", 20),
    "record": ("vented pressure logger", 10),
}


def logger_rows() -> list[dict[str, Any]]:
    """Return the loggers as rows of the table of instruments."""
    made = []
    for sensor in (BAROMETER, *SENSORS):
        kind, reach = _KINDS[sensor.shape]
        row: dict[str, Any] = {"instrument": sensor.instrument, "kind": kind, "serial": sensor.serial}
        row |= {"length_unit": "m", "length_below_sensing_point": 0, "resolution": 1, "accuracy": 10}
        made.append(row | {"range": reach, "notes": ""})
    return made


def deployment_rows() -> list[dict[str, Any]]:
    """Return where each logger hung and when, by the clock on the wall."""
    made = []
    for sensor in (BAROMETER, *SENSORS):
        row: dict[str, Any] = {"site": story.SITE, "well": sensor.well, "instrument": sensor.instrument}
        row["installed_at"] = sensor.hung.replace(" ", "T")
        row["removed_at"] = sensor.downloads[-1].replace(" ", "T") if sensor.removed else ""
        row["hanging_depth"] = f"{sensor.booked_m:.2f}" if sensor.well else ""
        row["barometer"] = BAROMETER.instrument if sensor.well and not sensor.vented else ""
        row["notes"] = "" if sensor.well else "On the wall of the well house of P-1"
        made.append(row)
    return made


DEPLOYMENT_COLUMNS = (
    "site",
    "well",
    "instrument",
    "installed_at",
    "removed_at",
    "hanging_depth",
    "barometer",
    "notes",
)


def write_loggers(folder: Path, loggers: Loggers) -> None:
    """Write the exports and the table of deployments into a folder."""
    target = folder / "loggers"
    target.mkdir(parents=True, exist_ok=True)
    for recording in (loggers.barometer, *loggers.recordings):
        for download in downloads_of(recording):
            shape = recording.sensor.shape
            text = "".join(f"{line}\n" for line in _LINES[shape](download))
            (target / download.name).write_bytes(text.encode(ENCODINGS[shape]))
    write_csv(folder / "deployments.csv", DEPLOYMENT_COLUMNS, deployment_rows(), {"hanging_depth": "m"})
