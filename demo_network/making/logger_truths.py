"""What a reader and a processing of the loggers' exports must find, and what a person does about it."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from making import story
from making.layouts import LAYOUT_OF
from making.logger_files import Download, downloads_of
from making.loggers import (
    BAROMETER,
    BAROMETER_MISSING,
    BAROMETRIC_EFFICIENCY,
    SENSORS,
    Loggers,
    Recording,
    Sensor,
    hour_of,
    moment_of,
)
from making.physics import ZONE, days

Truth = dict[str, Any]

#: When the exports were loaded, and when the findings were looked into.
LOADED_AT = dt.datetime(2026, 3, 2, 9, 0, tzinfo=dt.UTC)
ADJUSTED_AT = dt.datetime(2026, 3, 4, 10, 0, tzinfo=dt.UTC)

#: How near processed heads must come to the truth: manual readings of a few millimetres and a sensor of one.
HEAD_TOLERANCE_M = 0.005
_HEADS = 12


def _stamp(hour: float) -> dt.datetime:
    return moment_of(float(hour)).replace(microsecond=0)


def _download(download: Download) -> Truth:
    stamps = download.recording.stamps()
    chosen = stamps[download.chosen]
    return {
        "file": f"loggers/{download.name}",
        "samples": download.samples,
        "already_there": int((download.chosen & ~download.fresh).sum()),
        "first_utc": _stamp(chosen[0]),
        "last_utc": _stamp(chosen[-1]),
    }


def _heads(recording: Recording) -> list[Truth]:
    """Return the true head at moments spread over the recording, away from what the sensor could not tell."""
    sensor = recording.sensor
    sound = recording.values > 0.0 if sensor.bottoms_out else np.ones(recording.hours.shape, dtype=bool)
    for moment, _ in sensor.spikes:
        sound &= np.abs(recording.hours - hour_of(moment)) > 4
    hours, heads = recording.hours[sound], recording.heads[sound]
    places = np.linspace(24, hours.size - 25, _HEADS).astype(int)
    return [{"at_utc": _stamp(hours[place]), "water_elevation_m": round(float(heads[place]), 4)} for place in places]


def _logger(recording: Recording) -> Truth:
    sensor = recording.sensor
    series = int(np.unique(recording.hours).size)
    made: Truth = {"instrument": sensor.instrument, "well": sensor.well, "serial": sensor.serial}
    made |= {"samples": series - len(BAROMETER_MISSING) if sensor is BAROMETER else series}
    if sensor.well:
        aquifer = story.BY_CODE[sensor.well].aquifer
        made["drift_m_per_year"] = sensor.drift_m_per_year
        made["barometric_efficiency"] = BAROMETRIC_EFFICIENCY[aquifer]
        made["tolerance_m"] = HEAD_TOLERANCE_M
    made["download"] = [_download(download) for download in downloads_of(recording)]
    if sensor.well:
        made["head"] = _heads(recording)
    return made


def _faults(loggers: Loggers) -> list[Truth]:
    made = []
    for recording in loggers.recordings:
        sensor = recording.sensor
        found = (_drift(sensor), _slip(sensor), _clock(recording), _gap(recording), _bottomed_out(recording))
        whose = {"instrument": sensor.instrument, "well": sensor.well}
        made += [whose | truth for truth in (*found, _spikes(sensor)) if truth]
    return made


def _drift(sensor: Sensor) -> Truth:
    if not sensor.drift_m_per_year:
        return {}
    return {"fault": "drift", "m_per_year": sensor.drift_m_per_year, "tolerance_m_per_year": 0.006}


def _slip(sensor: Sensor) -> Truth:
    if sensor.slip is None:
        return {}
    truth: Truth = {"fault": "slipped cable", "at_utc": sensor.slip.moment, "tolerance_h": 1}
    return truth | {"sensor_level_step_m": sensor.slip.deeper_m, "tolerance_m": 0.010}


def _clock(recording: Recording) -> Truth:
    clock = recording.sensor.clock
    if clock is None:
        return {}
    (download,) = (one for one in downloads_of(recording) if one.visited.date() == clock.end.date())
    stamps = recording.stamps()[download.chosen]
    truth: Truth = {"fault": "clock on the wrong zone", "file": f"loggers/{download.name}"}
    truth |= {"add_s": -clock.ahead_s, "tolerance_s": 0}
    return truth | {"first_stamp_utc": _stamp(stamps[0]), "last_stamp_utc": _stamp(stamps[-1])}


def _gap(recording: Recording) -> Truth:
    if recording.sensor.battery_dead is None:
        return {}
    place = int(np.argmax(np.diff(recording.hours)))
    before, after = recording.hours[place : place + 2]
    truth: Truth = {"fault": "battery gap", "last_before_utc": _stamp(before), "first_after_utc": _stamp(after)}
    return truth | {"lowest_battery_v": round(float(recording.battery[place]), 2)}


def _bottomed_out(recording: Recording) -> Truth:
    if not recording.sensor.bottoms_out:
        return {}
    lowest = recording.hours[recording.values <= 0.0005]
    truth: Truth = {"fault": "bottomed out", "start_utc": _stamp(lowest[0]), "end_utc": _stamp(lowest[-1])}
    return truth | {"tolerance_h": 72, "water_column_m": 0.0}


def _spikes(sensor: Sensor) -> Truth:
    if not sensor.spikes:
        return {}
    return {"fault": "spikes", "at_utc": [moment for moment, _ in sensor.spikes]}


def _last_round(loggers: Loggers) -> list[Truth]:
    """Return the heads that loggers tell where no usable dip was made in the last round, at noon of its first day."""
    events = {event.well: event for event in loggers.record.in_round(story.LAST_ROUND.code)}
    day = story.LAST_ROUND.first
    noon = dt.datetime(day.year, day.month, day.day, 12, tzinfo=ZONE)
    made = []
    for recording in loggers.recordings:
        event = events.get(recording.sensor.well)
        there = recording.hours[-1] >= days(noon) * 24.0
        if there and (event is None or event.truth_m is None):
            head = float(loggers.head(recording.sensor).at(np.array([days(noon) * 24.0]))[0])
            truth: Truth = {"well": recording.sensor.well, "aquifer": story.BY_CODE[recording.sensor.well].aquifer}
            truth["cause"] = "no reading" if event is None else event.status
            made.append(truth | {"water_elevation_m": round(head, 4), "tolerance_m": 0.02})
    return made


def expected_of(loggers: Loggers) -> Truth:
    """Return every truth about the loggers."""
    return {
        "logger": [_logger(recording) for recording in (loggers.barometer, *loggers.recordings)],
        "logger_fault": _faults(loggers),
        "logger_in_last_round": _last_round(loggers),
    }


def loads() -> list[Truth]:
    """Return which exports are loaded with which layout, in the order of loading."""
    made = []
    for layout in dict.fromkeys(LAYOUT_OF.values()):
        sensors = [sensor for sensor in (BAROMETER, *SENSORS) if LAYOUT_OF[sensor.shape] == layout]
        files = [f"loggers/{name}" for sensor in sensors for name in _names(sensor)]
        made.append({"layout": f"layouts/{layout}.toml", "files": files, "recorded_at": LOADED_AT})
    return made


def _names(sensor: Sensor) -> list[str]:
    ending = "txt" if sensor.shape == "record" else "csv"
    return [f"{sensor.instrument}_{sensor.well or 'air'}_{text[:10]}.{ending}" for text in sensor.downloads]


def corrections(loggers: Loggers) -> list[Truth]:
    """Return what a person does about the findings, each with its reason."""
    faults = {truth["fault"]: truth for truth in _faults(loggers)}
    hour = dt.timedelta(hours=1)
    clock, dry, slip = faults["clock on the wrong zone"], faults["bottomed out"], faults["slipped cable"]
    made: list[Truth] = [
        {
            "instrument": clock["instrument"],
            "kind": "clock shift",
            "start": clock["first_stamp_utc"],
            "end": clock["last_stamp_utc"] + hour,
            "parameters": {"seconds": clock["add_s"]},
            "reason": "Clock was set to summer time instead of UTC at the visit of 19 August 2025; the air pressure "
            "in the record runs 2 h ahead of the barometer's until the visit of 18 November.",
        },
        {
            "instrument": slip["instrument"],
            "kind": "step",
            "start": slip["at_utc"],
            "parameters": {"amount_m": -0.135},
            "reason": "Cable slipped in its clamp in the night to 7 October 2025: the level rises by 0.135 m at once, "
            "and the manual readings on both sides fall back by as much; the cable's mark was low on 26 February 2026.",
        },
        {
            "instrument": faults["drift"]["instrument"],
            "kind": "anchoring",
            "parameters": {"method": "linear"},
            "reason": "Sensor drifts by 24 mm in a year, steadily, as nine manual readings show.",
        },
        {
            "instrument": dry["instrument"],
            "kind": "exclusion",
            "start": dry["start_utc"] - hour,
            "end": dry["end_utc"] + hour,
            "parameters": {"cause": "bottomed out"},
            "reason": "Water stood below the sensor, which shows 0; the well was read dry on 19 November 2024.",
        },
    ]
    made += [
        {
            "instrument": faults["spikes"]["instrument"],
            "kind": "exclusion",
            "start": moment,
            "end": moment + hour,
            "parameters": {"cause": "spike"},
            "reason": "Single values far off in the thunderstorms of 8 and 9 July 2025.",
        }
        for moment in faults["spikes"]["at_utc"]
    ]
    borrowed = next(e for e in loggers.record.events if e.well == "N3-U" and e.round == story.BORROWED_IN)
    made.append(
        {
            "instrument": "LG-7",
            "well": "N3-U",
            "kind": "anchoring",
            "parameters": {"method": "constant"},
            "leave_out": [borrowed.measured_at],
            "reason": "The reading of 19 November 2024 was taken with the borrowed tape, 0.10 m off all others.",
        }
    )
    return [{**one, "recorded_at": ADJUSTED_AT} for one in made]
