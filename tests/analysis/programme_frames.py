"""The programme of a constructed site from frames, so that the rules of planning need no record."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd

from gwnet.analysis.fieldwork import planning

ON = dt.date(2026, 5, 12)

SITE = {
    "site": "F",
    "name": "Mill field",
    "crs": "EPSG:25832",
    "length_unit": "m",
    "time_zone": "Europe/Vienna",
    "repeat_tolerance_m": np.nan,
}
WELL = {
    "easting": np.nan,
    "northing": np.nan,
    "role": "",
    "hazards": "",
    "access_notes": "",
    "notes": "",
    "drilled_on": None,
    "decommissioned_on": None,
    "ground_elevation_m": np.nan,
    "total_depth_m": np.nan,
    "screen_top_m": np.nan,
    "screen_bottom_m": np.nan,
}
POINT = {
    "access": "main",
    "valid_from_utc": "2018-06-01",
    "valid_until_utc": None,
    "surveyed_on": None,
    "description": "Notch",
    "elevation_m": 100.0,
    "height_above_ground_m": np.nan,
}
LEVEL = {
    "access": "main",
    "status": "static",
    "bound": "",
    "usable": True,
    "instrument": "",
    "product_thickness_m": np.nan,
    "sounded_depth_m": np.nan,
    "depth_to_water_m": np.nan,
    "water_elevation_m": np.nan,
    "water_elevation_uncorrected_m": np.nan,
}


def day(text):
    return dt.date.fromisoformat(text)


def framed(rows, defaults, times=()):
    """Return rows over their defaults as a frame; `times` become instants in UTC."""
    frame = pd.DataFrame([{**defaults, **row} for row in rows], columns=list({**defaults, **dict(*rows[:1])}))
    for name in times:
        frame[name] = pd.to_datetime(frame[name], utc=True, format="ISO8601")
    return frame


def level(well, when, **more):
    """Return a level at an instant in UTC, whose local day is that of Vienna."""
    instant = pd.Timestamp(when, tz="UTC")
    local = instant.tz_convert("Europe/Vienna").tz_localize(None).normalize()
    return {"well": well, "measured_at_utc": instant, "day": local, "event_id": 1, **more}


def programme(monkeypatch, *, wells, levels=(), points=(), tapes=(), checks=(), visits=(), on=ON, **site):
    """Return the programme of a site; wells by code, the others as rows over their defaults."""
    columns = {"well": "", "measured_at_utc": None, "day": None, "event_id": 1, **LEVEL}
    table = framed([], columns) if not levels else framed(list(levels), columns)
    table["day"] = pd.to_datetime(table["day"])
    installed = framed(list(visits), {}) if visits else pd.DataFrame(columns=["installed_at_utc"])
    monkeypatch.setattr(planning, "levels", lambda record: table)
    placed = framed([{"well": code, **more} for code, more in wells.items()], WELL)
    monkeypatch.setattr(planning, "placed_wells", lambda record: placed)
    visited = SimpleNamespace(deployments_at=lambda *asked: installed)
    monkeypatch.setattr(planning, "fetch_visits", visited)
    record = SimpleNamespace(
        settings=pd.Series({**SITE, **site}, dtype=object),
        measuring_points=framed(list(points), {"well": "", **POINT}, ("valid_from_utc", "valid_until_utc")),
        instruments=framed(
            [{"instrument": code, "kind": kind} for code, kind in tapes], {"instrument": "", "kind": ""}
        ),
        tape_checks=framed(
            [{"instrument": code, "checked_on": day(when)} for code, when in checks],
            {"instrument": "", "checked_on": None},
        ),
        thresholds=framed([], {"well": "", "threshold": "", "valid_from_utc": None, "valid_until_utc": None}),
        **dict.fromkeys(("connection", "deployments", "known_on", "site")),
    )
    return planning.Programme(record, on)
