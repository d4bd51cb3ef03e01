"""Heads of a logger and what they are worked out from, built of arrays, so that rules need no record; constructed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.anchor import MANUAL_COLUMNS, PARTS, Anchored
from gwnet.analysis.loggers.channels import Channel
from gwnet.analysis.loggers.correction_history import OUT_REASONS, CorrectionHistory
from gwnet.analysis.loggers.heads import LoggerHeads
from gwnet.analysis.loggers.level_faults import LevelFaults
from gwnet.analysis.loggers.sensor_level import SensorLevel
from gwnet.analysis.loggers.sensor_state import SensorState
from gwnet.hydro.loggers.drift import Installations
from gwnet.hydro.loggers.faults import Spikes, Steps
from gwnet.hydro.loggers.unusable_intervals import Intervals

START = np.datetime64("2024-01-01T00:00", "us")
HOUR = np.timedelta64(3_600_000_000, "us")
NAN = float("nan")
PLACES = np.array([], dtype=np.int64)
NUMBERS = np.array([], dtype=np.float64)


def hours(count, step=1.0):
    return START + (np.arange(count) * step * 3_600_000_000).astype("timedelta64[us]")


def code(reason):
    return OUT_REASONS.index(reason)


def out_of(*reasons):
    """Return the codes of reasons, one a sample; '' for one that is used."""
    return np.array([code(reason) for reason in reasons], dtype=np.uint8)


def correction(kind, start=None, end=None, *, number=1, by="Ben", reason="seen", **parameters):
    return {
        "correction_id": number,
        "series_id": 1,
        "kind": kind,
        "parameters": parameters,
        "start_utc": pd.NaT if start is None else pd.Timestamp(start, tz="UTC"),
        "end_utc": pd.NaT if end is None else pd.Timestamp(end, tz="UTC"),
        "recorded_by": by,
        "reason": reason,
    }


def history(*rows):
    names = list(correction("keep"))
    frame = pd.DataFrame(list(rows), columns=names)
    for name in ("start_utc", "end_utc"):
        frame[name] = pd.to_datetime(frame[name], utc=True)
    return CorrectionHistory(frame, "UTC")


def channel_of(
    value, *, quantity="water column", unit="m", when=None, rows=(), as_read=None, file_time=None, instrument="L"
):
    value = np.asarray(value, dtype=np.float64)
    when = hours(value.size) if when is None else when
    return Channel(
        instrument=instrument,
        quantity=quantity,
        unit=unit,
        time_utc=when,
        value=value,
        file_time_utc=when if file_time is None else file_time,
        as_read=value if as_read is None else np.asarray(as_read, dtype=np.float64),
        overlapping=0,
        correction_history=history(*rows),
    )


def level_of(channel, level_m=None, **more):
    count = len(channel)
    level_m = channel.value if level_m is None else np.asarray(level_m, dtype=np.float64)
    made = {
        "channel": channel,
        "level_m": level_m,
        "column_m": level_m,
        "out": np.zeros(count, dtype=np.uint8),
        "air_pa": np.full(count, NAN),
        "air_away_s": np.zeros(count),
        "air_gap_s": 7200.0,
        "air_half_width_pa": np.zeros(count),
        "barometer": "",
        "temperature_degc": np.full(count, NAN),
        "density_kg_m3": np.full(count, 1000.0),
        "gravity_m_s2": 10.0,
        "response_m": np.zeros(count),
        "response_half_width_m": np.zeros(count),
        "steps": (),
    }
    return SensorLevel(**{**made, **more})


def intervals_of(*spans, value=0.5, hours=2.0):
    """Return intervals from (first, last)."""
    first, last = (np.array([span[end] for span in spans], dtype=np.int64) for end in (0, 1))
    size = len(spans)
    return Intervals(first, last, last - first + 1, np.full(size, hours * 3600.0), np.full(size, value))


def spikes_of(*rows):
    """Return spikes from (first, last, size)."""
    first, last = (np.array([row[end] for row in rows], dtype=np.int64) for end in (0, 1))
    return Spikes(first, last, np.array([row[2] for row in rows], dtype=np.float64), np.full(len(rows), 0.01))


def steps_of(*rows):
    """Return steps from (place, size)."""
    size = np.array([row[1] for row in rows], dtype=np.float64)
    return Steps(np.array([row[0] for row in rows], dtype=np.int64), size, np.full(len(rows), 0.01))


def faults_of(count, spikes=(), ends=(), steps=(), cleaned=None):
    return LevelFaults(
        spikes_of(*spikes), spikes_of(*ends), steps_of(*steps), np.zeros(count) if cleaned is None else cleaned
    )


def state_of(count, *, out=None, shows=None, least=None, intervals=(), faults=None):
    return SensorState(
        np.zeros(count, dtype=np.uint8) if out is None else out,
        np.zeros(count, dtype=bool) if shows is None else np.asarray(shows, dtype=bool),
        np.full(count, 0.03) if least is None else least,
        tuple(intervals),
        faults_of(count) if faults is None else faults,
    )


def manual_of(*rows):
    """Return manual readings from mappings of the columns that matter."""
    made = [
        {
            **dict.fromkeys(MANUAL_COLUMNS, NAN),
            "event_id": number,
            "measured_at": f"2024-01-0{number}T10:00+01:00",
            "measured_at_utc": pd.Timestamp(f"2024-01-0{number}T09:00", tz="UTC"),
            "uncertainty_m": 0.01,
            "installation": 0,
            "used": True,
            **row,
        }
        for number, row in enumerate(rows, 1)
    ]
    frame = pd.DataFrame(made, columns=list(MANUAL_COLUMNS))
    frame["measured_at_utc"] = pd.to_datetime(frame["measured_at_utc"], utc=True, format="ISO8601")
    numbers = [name for name in MANUAL_COLUMNS if name.endswith("_m")]
    return frame.astype({**dict.fromkeys(numbers, "float64"), "used": bool, "installation": "int64"})


def installations_of(*rows):
    """Return installations from (drift m/year, range m, share of the range)."""
    drift, reach, share = (np.array([row[place] for row in rows], dtype=np.float64) for place in range(3))
    edges = START + np.arange(len(rows)) * HOUR
    return Installations(edges, edges + 5 * HOUR, np.zeros(len(rows), dtype=np.int64), drift, drift, reach, share)


def anchored_of(level, correction=0.0, *, out=None, by_depth=None, parts=None, manual=None, installations=None):
    count = level.level_m.size
    correction = np.broadcast_to(np.asarray(correction, dtype=np.float64), count).copy()
    whole = dict.fromkeys(PARTS, np.zeros(count)) | {
        name: np.full(count, value) for name, value in (parts or {}).items()
    }
    return Anchored(
        water_elevation_m=level.level_m + correction,
        uncertainty_m=np.sqrt(sum(part**2 for part in whole.values())),
        correction_m=correction,
        parts=whole,
        out=np.zeros(count, dtype=np.uint8) if out is None else out,
        by_hanging_depth=np.zeros(count, dtype=bool) if by_depth is None else np.asarray(by_depth, dtype=bool),
        manual=manual_of() if manual is None else manual,
        installations=installations_of((NAN, NAN, NAN)) if installations is None else installations,
        steps=(),
    )


def heads_of(value, *, channel=None, level=None, state=None, anchored=None, correction=0.0, **more):
    """Return heads of a deployment whose samples are a column of water unless parts are given."""
    channel = channel_of(value, when=more.pop("when", None)) if channel is None else channel
    level = level_of(channel) if level is None else level
    count = len(channel)
    state = state_of(count) if state is None else state
    anchored = anchored_of(level, correction) if anchored is None else anchored
    out = more.pop("out", anchored.out)
    nothing = np.full(count, NAN)
    made = {
        "site": "S",
        "well": "W",
        "access": "main",
        "instrument": channel.instrument,
        "barometer": level.barometer,
        "deployment_id": 7,
        "quantity": channel.quantity,
        "time_utc": channel.time_utc,
        "water_elevation_m": np.where(out == 0, anchored.water_elevation_m, NAN),
        "uncertainty_m": np.where(out == 0, anchored.uncertainty_m, NAN),
        **dict.fromkeys(("bound_m", "bound_uncertainty_m", "doubtful_m", "doubtful_uncertainty_m"), nothing),
        "sensor_level_m": level.level_m,
        "out": out,
        "manual": anchored.manual,
        "installations": anchored.installations,
        "steps": (),
        "downloads": (),
        "level": level,
        "state": state,
        "anchored": anchored,
    }
    return LoggerHeads(**{**made, **more})
