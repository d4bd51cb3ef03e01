"""Thresholds, readings and days of loggers as frames, built a row at a time; constructed."""

import datetime as dt

import numpy as np
import pandas as pd

from gwnet.analysis.thresholds.states import find_states

ZONE = "UTC+01:00"
FIRST, LAST = dt.date(2026, 1, 1), dt.date(2026, 3, 31)


def level(
    day, value, bound="", review="approved", *, method="", well="A", status=None, usable=None, finding="", **more
):
    """Return a level at noon of a day, approved and within 0.02 m unless said, or a day of a logger."""
    status = status or ("dry" if bound == "<=" else "static")
    usable = (not bound and status == "static") if usable is None else usable
    return {
        "well": well,
        "measured_at": day if method else f"{day}T12:00+01:00",
        "day": pd.Timestamp(day),
        "measured_at_utc": pd.Timestamp(f"{day} 11:00", tz="UTC"),
        "water_elevation_m": value,
        "bound": bound,
        "usable": usable,
        "unusable_reason": "" if usable else status,
        "uncertainty_m": 0.02,
        "review": review,
        "status": status,
        "event_id": -1 if method else 1,
        "finding": finding,
        "quality": "good",
        "method": method,
        **more,
    }


def frame(*rows):
    """Return levels as a frame."""
    made = pd.DataFrame(rows, columns=list(level("2026-01-01", 1.0)))
    return made.astype({"measured_at_utc": "datetime64[us, UTC]", "day": "datetime64[us]"})


def days(first, *values, spread=0.1):
    """Return days of a logger one after another; None for a day without data."""
    start = pd.Timestamp(first)
    rows = [
        {
            **level(str((start + pd.Timedelta(days=number)).date()), value, review="provisional", method="logger"),
            "lowest_m": value - spread,
            "lowest_at": f"{(start + pd.Timedelta(days=number)).date()}T03:00+01:00",
            "highest_m": value + spread,
            "highest_at": f"{(start + pd.Timedelta(days=number)).date()}T15:00+01:00",
        }
        for number, value in enumerate(values)
        if value is not None
    ]
    return pd.DataFrame(rows).astype({"measured_at_utc": "datetime64[us, UTC]", "day": "datetime64[us]"})


def limit(elevation=10.0, kind="lower", consecutive=1, **columns):
    """Return a threshold on the water elevation as a frame of one row."""
    row = {
        "well": "A",
        "threshold": "warning",
        "kind": kind,
        "elevation_m": elevation,
        "lowest_shown_m": np.nan,
        "consecutive": consecutive,
        "valid_from_utc": pd.NaT,
        "valid_until_utc": pd.NaT,
        "basis": "permit",
        "action": None,
    }
    return pd.DataFrame([{**row, **columns}])


def one(limits, levels=None, logged=None, first=FIRST, last=LAST):
    """Return the state of one threshold of well A."""
    levels = frame() if levels is None else levels
    logged = pd.DataFrame() if logged is None else logged
    (state,) = find_states(limits, levels, logged, ["A"], first, last, ZONE)
    return state


def change(limit_m, kind="upper", within=30, **columns):
    """Return a limit on changes."""
    row = {"quantity": "change", "limit_m": limit_m, "days": within, "other_well": "", "distance_m": np.nan}
    return limit(np.nan, kind, **row, **columns)


def gradient(difference_m, kind="upper", distance_m=200.0, **columns):
    """Return a limit on the gradient to well B."""
    row = {"quantity": "gradient", "limit_m": difference_m, "days": np.nan, "other_well": "B", "distance_m": distance_m}
    return limit(np.nan, kind, **row, **columns)


def at(text):
    """Return an instant in UTC."""
    return pd.Timestamp(text, tz="UTC")
