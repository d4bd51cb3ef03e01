"""Constructed frames for figures: invented wells, never measured ones."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd

from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.data import map_plot_data
from gwnet.records import RecordState

SITE = {
    "site": "SAND",
    "name": "Sandhaven gravel plain",
    "vertical_datum": "local datum 1987",
    "time_zone": "Europe/Vienna",
    "crs": "EPSG:25833",
    "length_unit": "m",
}

KNOWN_ON = RecordState(3, dt.datetime(2026, 4, 7, 9, 30, tzinfo=dt.UTC))


def levels(well, dates, elevations_m, **columns):
    """Return a levels frame of one well; dates are local, at UTC+01:00."""
    local = pd.DatetimeIndex(pd.to_datetime(list(dates)))
    frame = pd.DataFrame(
        {
            "site": "SAND",
            "well": well,
            "measured_at": [moment.strftime("%Y-%m-%dT%H:%M+01:00") for moment in local],
            "day": local.normalize(),
            "round": "",
            "status": "static",
            "bound": "",
            "water_elevation_m": np.asarray(elevations_m, dtype=np.float64),
            "uncertainty_m": 0.012,
            "quality": "good",
            "review": "approved",
            "finding": "",
            "access": "main",
            "aquifer": "A1",
            "measured_at_utc": (local - pd.Timedelta(hours=1)).tz_localize("UTC"),
            "time_known": True,
            "usable": True,
            "unusable_reason": "",
        }
    )
    for name, values in columns.items():
        frame[name] = values
    return frame


def quarterly(count=40, start="2015-02-10 09:40", base=47.5, amplitude=0.7):
    """Return dates a quarter apart and elevations that swing with the seasons."""
    dates = pd.date_range(start, periods=count, freq="91D")
    return dates, base + amplitude * np.sin(np.arange(count) * np.pi / 2)


def points(well, *rows):
    """Return a measuring-points frame; a row is (access, from, until, elevation, height, change)."""
    return pd.DataFrame(
        [
            {
                "site": "SAND",
                "well": well,
                "access": access,
                "valid_from_utc": pd.Timestamp(since, tz="UTC"),
                "valid_until_utc": pd.Timestamp(until, tz="UTC") if until else pd.NaT,
                "elevation_m": elevation,
                "height_above_ground_m": height,
                "change": change,
                "retired_at_utc": pd.NaT,
            }
            for access, since, until, elevation, height, change in rows
        ]
    )


def thresholds(well, *rows):
    """Return a thresholds frame; a row is (name, kind, elevation, from)."""
    return pd.DataFrame(
        [
            {
                "site": "SAND",
                "well": well,
                "threshold": name,
                "kind": kind,
                "elevation_m": elevation,
                "valid_from_utc": pd.Timestamp(since, tz="UTC") if since else pd.NaT,
                "valid_until_utc": pd.NaT,
            }
            for name, kind, elevation, since in rows
        ]
    )


def wells(well, ground=51.5, top=7.0, bottom=10.0, cluster=""):
    """Return a wells frame of one well."""
    return pd.DataFrame(
        [
            {
                "site": "SAND",
                "well": well,
                "aquifer": "A1",
                "cluster": cluster,
                "ground_elevation_m": ground,
                "screen_top_m": top,
                "screen_bottom_m": bottom,
            }
        ]
    )


def rainfall(first="2014-01-01", last="2025-06-30"):
    """Return a context frame with one millimetre of rain a day."""
    days = pd.date_range(first, last)
    return pd.DataFrame(
        {"site": "SAND", "series": "rain", "quantity": "rainfall", "unit": "mm", "date": days.date, "value": 1.0}
    )


def control(x, y, elevations_m, **columns):
    """Return a control frame of wells measured one after another on one day."""
    count = len(x)
    frame = pd.DataFrame(
        {
            "site": "SAND",
            "well": [f"GW-{i + 1:02d}" for i in range(count)],
            "kind": "well",
            "easting": np.asarray(x, dtype=np.float64),
            "northing": np.asarray(y, dtype=np.float64),
            "measured_at": [f"2026-02-11T{8 + i // 12:02d}:{5 * (i % 12):02d}+01:00" for i in range(count)],
            "water_elevation_m": np.asarray(elevations_m, dtype=np.float64),
            "uncertainty_m": 0.02,
            "status": "static",
            "used": True,
            "reason": "",
        }
    )
    for name, values in columns.items():
        frame[name] = values
    return frame


def scattered(count, seed, extent=2000.0):
    """Return coordinates of wells strewn over a square by a small generator of our own, the same on every machine."""
    state, numbers = seed * 7919 + 12345, []
    for _ in range(2 * count):
        state = (1103515245 * state + 12345) % 2**31
        numbers.append(state / 2**31)
    places = np.array(numbers).reshape(-1, 2) * extent
    return 412_000 + places[:, 0], 5_333_000 + places[:, 1]


def map_result(**changes):
    """Return what a map is drawn from: a result of the analysis without anything but its control."""
    plain = {
        "aquifer": "A1",
        "date": dt.date(2026, 2, 11),
        "contours": (),
        "arrows": (),
        "boundary": None,
        "region": None,
        "interval_m": float("nan"),
        "method_text": "",
        "parameters": (),
        "cross_validation": SimpleNamespace(rmse_m=float("nan")),
        "gradient": SimpleNamespace(text=""),
        "findings": (),
        "honour_failures": (),
        "cautions": (),
        "span": SimpleNamespace(text=""),
        "crs": "",
        "vertical_datum": "",
        "features": SimpleNamespace(layers=(), barriers=(), rivers=()),
        "above_ground": None,
        "set_text": "",
        "unit": "m",
    }
    return SimpleNamespace(**plain | changes)


def map_data(control, **options):
    """Return what a map shows: options are attributes of the result, and what its sheet says around it."""
    names = {"cross_validation_m": "rmse_m", "gradient_text": "text", "span_text": "text"}
    whole = {"cross_validation_m": "cross_validation", "gradient_text": "gradient", "span_text": "span"}
    for name, attribute in whole.items():
        if name in options:
            options[attribute] = SimpleNamespace(**{names[name]: options.pop(name)})
    rivers = [SimpleNamespace(line=line) for line in options.pop("rivers", ())]
    options["features"] = SimpleNamespace(layers=(), barriers=options.pop("barriers", ()), rivers=rivers)
    around = {name: options.pop(name) for name in ("aquifer_name", "known_on", "coordinate_unit_m") if name in options}
    layers = options.pop("layers", ())
    context = MapContext(options.pop("site", {}), **around)
    return map_plot_data(map_result(control=control, **options), context, layers=layers)
