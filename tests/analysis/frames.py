"""Wells, levels and stages as frames, built a row at a time; constructed."""

import datetime as dt

import numpy as np
import pandas as pd

from gwnet.store.snapshot import Snapshot

WELL = {
    "site": "S",
    "aquifer": "upper",
    "cluster": "",
    "ground_elevation_m": 50.0,
    "screen_top_m": 10.0,
    "screen_bottom_m": 14.0,
    "drilled_on": None,
    "decommissioned_on": None,
}
LEVEL = {
    "site": "S",
    "status": "static",
    "bound": "",
    "water_elevation_m": 40.0,
    "uncertainty_m": 0.02,
    "usable": True,
    "unusable_reason": "",
    "access": "main",
    "time_known": True,
    "aquifer": "upper",
    "round": "",
}


def wells(*rows):
    """Return a wells frame from (well, easting, northing, other columns)."""
    made = [{**WELL, "well": name, "easting": x, "northing": y, **more} for name, x, y, more in rows]
    return pd.DataFrame(made)


def levels(*rows):
    """Return a levels frame from (well, local time at UTC+01:00, elevation, other columns)."""
    made = []
    for number, (well, when, elevation, more) in enumerate(rows):
        local = dt.datetime.fromisoformat(when)
        known = len(when) > 10
        instant = (local if known else local.replace(hour=12)) - dt.timedelta(hours=1)
        row = {**LEVEL, "well": well, "water_elevation_m": elevation, "event_id": number}
        row |= {"measured_at": f"{when}+01:00" if known else when, "time_known": known}
        row |= {"day": pd.Timestamp(when[:10])}
        row |= {"measured_at_utc": pd.Timestamp(instant, tz="UTC"), **more}
        if "unusable_reason" in more:
            row["usable"] = False
        made.append(row)
    frame = pd.DataFrame(made, columns=[*LEVEL, "well", "event_id", "measured_at", "day", "measured_at_utc"])
    return frame.astype({"day": "datetime64[us]", "measured_at_utc": "datetime64[us, UTC]"})


def stages(*rows):
    """Return a stages frame from (gauge, UTC time, elevation, easting, northing, aquifer)."""
    columns = ["gauge", "measured_at_utc", "water_elevation_m", "easting", "northing", "aquifer"]
    frame = pd.DataFrame(list(rows), columns=columns).assign(site="S", time_known=True, notes="")
    return frame.assign(
        measured_at_utc=pd.to_datetime(frame["measured_at_utc"], utc=True).astype("datetime64[us, UTC]")
    )


def field(count=14, seed=31, slope=(-0.001, 0.0005)):
    """Return wells and levels of one day on a gently sloping surface."""
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 2000, (2, count))
    z = 40 + slope[0] * x + slope[1] * y + 0.1 * np.sin(x / 400.0)
    names = [f"MW-{number:02d}" for number in range(1, count + 1)]
    east, north = 450_000 + x, 5_400_000 + y
    return (
        wells(*[(name, e, n, {}) for name, e, n in zip(names, east, north, strict=True)]),
        levels(
            *[
                (name, f"2026-03-17T{9 + number // 4:02d}:{15 * (number % 4):02d}", float(head), {})
                for number, (name, head) in enumerate(zip(names, z, strict=True))
            ]
        ),
    )


SETTINGS = {
    "site": "S",
    "crs": "EPSG:25832",
    "vertical_datum": "local",
    "time_zone": "UTC+01:00",
    "length_unit": "m",
    "same_day_window_days": np.nan,
}
ROUNDS = {"site": "S", "round": "", "starts_on": None, "ends_on": None, "purpose": "", "wells": None}


class FrameRecord(Snapshot):
    """A record of one site made of frames instead of a database; levels are given as they are reduced."""

    def __init__(self, levels, wells, *, rounds=(), stages=None, reviews=None, **settings):
        super().__init__(None, None, "S")
        self.table = levels
        deployments = pd.DataFrame({"site": [], "well": [], "kind": [], "deployment_id": []})
        made = {
            "sites": pd.DataFrame([{**SETTINGS, **settings}]),
            "construction": pd.DataFrame({"well_id": []}),
            "wells": wells.assign(longitude=np.nan, latitude=np.nan),
            "rounds": pd.DataFrame([{**ROUNDS, **row} for row in rounds], columns=list(ROUNDS)),
            "stages": pd.DataFrame({"site": []}) if stages is None else stages,
            "reviews": pd.DataFrame({"event_id": [], "state": []}) if reviews is None else reviews,
            "deployments": deployments,
            "instruments": pd.DataFrame({"instrument_id": [], "instrument": [], "kind": []}),
        }
        for name, frame in made.items():
            self.of_all_sites().once(name, lambda frame=frame: frame)

    def once(self, key, make):
        """Return levels of the wells and between the instants of a selection, and else what is made once."""
        if not isinstance(key, tuple) or key[0] != "levels":
            return super().once(key, make)
        table, asked = self.table, key[1]
        if asked is not None and asked.wells is not None:
            table = table[table["well"].isin(asked.wells)]
        if asked is not None and asked.start is not None:
            table = table[(table["measured_at_utc"] >= asked.start) & (table["measured_at_utc"] <= asked.end)]
        return table.reset_index(drop=True)

    def level_records(self, selection=None):
        """Return the level events, read at UTC+01:00."""
        return self.table.assign(local_offset_minutes=60)
