"""Level events of one site as the checks take them, made of arrays without a database; constructed."""

from types import SimpleNamespace

import numpy as np
import pandas as pd

from gwnet.analysis.checks.events import Booked, Events
from gwnet.analysis.checks.limits import LIMITS

WELL = {
    "aquifer": "upper",
    "cluster": "",
    "easting": 0.0,
    "northing": 0.0,
    "ground_elevation_m": 100.0,
    "ground_accuracy_m": np.nan,
    "total_depth_m": np.nan,
    "screen_top_m": np.nan,
    "screen_bottom_m": np.nan,
    "drilled_on": None,
    "decommissioned_on": None,
}
EVENT = {
    "round": "",
    "status": "static",
    "bound": "",
    "water_elevation_m": np.nan,
    "depth_to_water_m": np.nan,
    "depth_below_ground_m": np.nan,
    "sounded_depth_m": np.nan,
    "uncertainty_m": np.nan,
    "access": "main",
    "quality": "good",
    "instrument": "",
    "method": "",
    "notes": "",
    "time_known": True,
    "usable": True,
}
FIT = {
    "residual_m": 0.0,
    "spread_m": 0.1,
    "by_neighbours": False,
    "own_residual_m": 0.0,
    "own_spread_m": 0.1,
    "between": True,
    "is_first": False,
    "is_alone": True,
    "shared": 0,
    "sound": True,
}
BOOKED = {
    "value": np.nan,
    "decimals": 2,
    "metres": 1.0,
    "sense": -1.0,
    "quantity": "depth_to_water",
    "unit": "m",
    "written": "",
}
POINT = {
    "site": "S",
    "access": "main",
    "elevation_m": 100.5,
    "height_above_ground_m": 0.5,
    "accuracy_m": np.nan,
    "valid_from_utc": "2000-01-01",
    "valid_until_utc": None,
}


def fields(count, usual, given):
    """Return arrays of one value an event: those given, or as many of the usual ones."""
    return {name: np.array(np.broadcast_to(given.get(name, value), count)) for name, value in usual.items()}


def points_of(*rows):
    """Return measuring points from (position of the well, other columns)."""
    table = pd.DataFrame(
        [
            {**POINT, "well": "ABCDEFGHIJ"[w], "well_id": w, "measuring_point_id": k, **more}
            for k, (w, more) in enumerate(rows)
        ],
        columns=["well", "well_id", "measuring_point_id", *POINT],
    )
    return table.assign(
        **{
            n: pd.to_datetime(table[n], utc=True, format="ISO8601").astype("datetime64[us, UTC]")
            for n in ("valid_from_utc", "valid_until_utc")
        }
    )


def events_of(
    times,
    *,
    well=0,
    wells=None,
    limits=(),
    unit="m",
    fit=None,
    booked=None,
    points=None,
    point=0,
    rounds=None,
    repeats=None,
    **columns,
):
    """Return the events of a site.

    Times are ISO texts; `well` holds positions in `wells`, a list of dicts of columns, of which each has a code from A
    on. Everything else is one value for all events or one each: columns of the levels frame as keywords, those of the
    fit and of the booked numbers as dicts.
    """
    made = Events.__new__(Events)
    count = len(times)
    made._once, made.site = {}, "S"
    made.limits = {name: limit.default for name, limit in LIMITS.items()} | dict(limits)
    made.settings = pd.Series({"site": "S", "length_unit": unit, "crs": "EPSG:25832"})
    made.rounds = pd.DataFrame(rounds or [], columns=["round", "starts_on", "ends_on", "wells"])
    made.well = np.array(np.broadcast_to(well, count), dtype=np.int64)
    rows = wells or [{} for _ in range(int(made.well.max(initial=0)) + 1)]
    made.wells = pd.DataFrame(
        [{**WELL, "site": "S", "well": "ABCDEFGHIJ"[k], "well_id": k, **row} for k, row in enumerate(rows)]
    )
    made.utc = np.array(times, dtype="datetime64[us]")
    made.time_d = made.utc.astype(np.int64) / 86_400e6
    made.day = made.utc.astype("datetime64[D]")
    months = made.utc.astype("datetime64[M]").astype(np.int64)
    made.season, made.quarter = (months % 12) // 3, months // 3
    made.order = np.arange(count)
    codes = made.wells["well"].to_numpy()[made.well]
    frame = pd.DataFrame(fields(count, EVENT, columns))
    made.frame = frame.assign(
        well=codes,
        event_id=100 + np.arange(count),
        measured_at=[str(time) for time in times],
        measured_at_utc=pd.to_datetime(list(times), utc=True, format="ISO8601"),
    )
    ids = {"record_id": np.arange(count), "event_id": 100 + np.arange(count), "round": frame["round"], "well": codes}
    made.records = pd.DataFrame(ids).assign(
        well_id=made.well, instrument_id=np.broadcast_to(columns.get("instrument_id", np.nan), count)
    )
    made.booked = Booked(**fields(count, BOOKED, booked or {}))
    made.fit = SimpleNamespace(**fields(count, FIT, fit or {}))
    made.point = np.array(np.broadcast_to(point, count), dtype=np.int64)
    made.inputs = SimpleNamespace(
        wells=made.wells,
        records=made.records,
        measuring_points=points_of((0, {})) if points is None else points,
        instruments=pd.DataFrame({"instrument_id": [], "kind": [], "length_unit": []}),
        depth_to_water_m=np.full((count, 3), np.nan) if repeats is None else np.array(repeats, dtype=float),
        tolerance_m=np.full(count, 0.006),
    )
    height = made.of_point("height_above_ground_m")
    ground = made.wells["ground_elevation_m"].to_numpy()[made.well]
    made.reduced = SimpleNamespace(height_above_ground_m=height, ground_elevation_m=ground)
    made.checked = np.ones(count, dtype=bool)
    made.sound = frame["usable"].to_numpy(dtype=bool)
    made.level_m = frame["water_elevation_m"].to_numpy(dtype=float)
    return made


def given(events, **values):
    """Set attributes of events, and return them."""
    for name, value in values.items():
        setattr(events, name, value)
    return events


def quarters(count, first=2020):
    """Return one time a quarter, from February of a year on."""
    return [f"{first + k // 4}-{2 + 3 * (k % 4):02d}-15T12:00" for k in range(count)]
