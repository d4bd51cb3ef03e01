"""Channels, corrections and levels of loggers made of arrays, for tests that need no database."""

from types import SimpleNamespace

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.channels import Channel
from gwnet.analysis.loggers.correction_history import CorrectionHistory
from gwnet.analysis.loggers.sensor_level import SensorLevel

START = np.datetime64("2024-05-01T00:00", "us")
HOUR = np.timedelta64(3_600_000_000, "us")
SECOND = np.timedelta64(1_000_000, "us")
NAT = np.datetime64("NaT", "us")


def moments(*hours):
    """Return instants so many hours after the start, to the microsecond."""
    return START + np.round(np.array(hours, dtype=float) * 3.6e9).astype("timedelta64[us]")


def stamp(hour):
    """Return the same as the record has it; NaT for none."""
    return pd.NaT if hour is None else pd.Timestamp(moments(hour)[0], tz="UTC")


def history_of(*rows, zone="UTC"):
    """Return corrections of (kind, first hour, end hour, parameters), and a series number where it is not 1."""
    made = [
        (number, kind, stamp(start), stamp(end), given, *(more or [1]), "Ben", "seen")
        for number, (kind, start, end, given, *more) in enumerate(rows, 1)
    ]
    names = "correction_id kind start_utc end_utc parameters series_id recorded_by reason"
    return CorrectionHistory(pd.DataFrame(made, columns=names.split()), zone)


def channel_of(hours, value, *rows, instrument="L", quantity="absolute pressure", file_hours=None, overlapping=0):
    """Return a channel with corrections."""
    file_time = moments(*(hours if file_hours is None else file_hours))
    values = np.asarray(value, dtype=np.float64)
    return Channel(
        *(instrument, quantity, "Pa", moments(*hours), values, file_time, values * 1.0, overlapping),
        history_of(*rows),
    )


def level_of(channel, level_m=None, out=None, **other):
    """Return a level at a sensor; without an air pressure unless told."""
    size = len(channel)
    nothing = np.full(size, np.nan)
    given = {
        "column_m": nothing,
        "air_pa": nothing,
        "air_away_s": np.zeros(size),
        "air_gap_s": 7200.0,
        "air_half_width_pa": np.zeros(size),
        "barometer": "",
        "temperature_degc": nothing,
        "density_kg_m3": np.full(size, 1000.0),
        "gravity_m_s2": 9.8,
        "response_m": np.zeros(size),
        "response_half_width_m": np.zeros(size),
        "steps": (),
        **other,
    }
    level = channel.value if level_m is None else np.asarray(level_m, dtype=float)
    return SensorLevel(
        channel=channel,
        level_m=level,
        out=np.zeros(size, np.uint8) if out is None else np.asarray(out, np.uint8),
        **given,
    )


def deployment_of(**columns):
    """Return a row of deployments as iterating over their frame gives it."""
    given = {
        "deployment_id": 1,
        "site": "S",
        "well": "A",
        "access": "",
        "instrument": "L",
        "kind": "logger",
        "installed_at_utc": stamp(0),
        "removed_at_utc": pd.NaT,
        "hanging_depth_m": np.nan,
        "barometer": "B",
        **columns,
    }
    return next(pd.DataFrame([given]).itertuples())


def record_of(**frames):
    """Return what stands for a record, with its frames as attributes."""
    return SimpleNamespace(**{name: pd.DataFrame(frame) for name, frame in frames.items()})
