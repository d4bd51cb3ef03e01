"""When a pumping test is read and what its sheet says of each well; constructed frames."""

import datetime as dt
import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.fieldwork import pumping_sheet as sheets
from gwnet.errors import SettingsError
from gwnet.records import RecordState

STATE = RecordState(1, dt.datetime(2026, 5, 1, tzinfo=dt.UTC))

#: Minutes after the start, written out: first, last and step of each part. Common practice, no source.
TIMES = {
    "pumped": [(0.5, 5, 0.5), (6, 10, 1), (12, 30, 2), (35, 60, 5), (70, 120, 10), (150, 300, 30), (360, 1440, 60)],
    "near": [(0.5, 2, 0.5), (3, 10, 1), (12, 30, 2), (35, 60, 5), (70, 120, 10), (150, 300, 30), (360, 1440, 60)],
    "far": [(2, 10, 2), (15, 60, 5), (70, 120, 10), (150, 300, 30), (360, 1440, 60)],
    "slug": [(0.1, 0.5, 0.1), (0.75, 2, 0.25), (2.5, 5, 0.5), (6, 10, 1), (15, 30, 5), (40, 60, 10)],
}
LONG = [(1680, 4320, 240)]


def minutes_of(kind):
    parts = TIMES[kind] + (LONG if kind != "slug" else [])
    return [round(first + step * n, 3) for first, last, step in parts for n in range(round((last - first) / step) + 1)]


@pytest.mark.parametrize("kind", TIMES)
@pytest.mark.parametrize("last", [10_000.0, 4320.0, 4319.0, 1440.0, 60.0, 59.0, 0.5])
def test_a_well_is_read_before_the_start_while_the_pump_runs_and_as_long_after_it(kind, last):
    before = [-5.0, -1.0] if kind == "slug" else [-60.0, -30.0, -10.0, -5.0, -1.0]
    minutes = [minute for minute in minutes_of(kind) if minute <= last]
    phases = ("pumping",) if kind == "slug" else ("pumping", "recovery")
    expected = [("before", minute) for minute in before]
    expected += [(phase, minute) for phase in phases for minute in minutes]
    assert list(sheets.plan_schedule(kind, last)) == expected


POINT = {"access": "main", "valid_from_utc": "2018-01-01", "description": "Notch"}
LEVEL = {"status": "static", "depth_to_water_m": 5.0, "measured_at": "2026-01-01T09:00+01:00"}


def utc(text):
    return pd.NaT if text is None else pd.Timestamp(text, tz="UTC")


def made(monkeypatch, wells=None, *, levels=(), points=(), read=(), asked=None, crs="EPSG:25832", **test):
    """Return the sheet of a test in PW; wells as easting, northing and aquifer by code."""
    places = wells or {"PW": (100.0, 50.0, "upper"), "A": (130.0, 90.0, "upper"), "B": (103.0, 54.0, "upper")}
    frame = pd.DataFrame(
        [
            {"well": code, "easting": x, "northing": y, "aquifer": aquifer, "hazards": f"hazards of {code}"}
            for code, (x, y, aquifer) in places.items()
        ]
    ).astype({"easting": "float64", "northing": "float64"})
    columns = ["well", "measured_at_utc", *LEVEL]
    table = pd.DataFrame(
        [{**LEVEL, "well": w, "measured_at_utc": utc(when), **more} for w, when, more in levels], columns=columns
    )
    monkeypatch.setattr(sheets, "levels", lambda record, selection: table[table["well"].isin(selection.wells)])
    monkeypatch.setattr(sheets, "located", lambda wells, crs: wells)
    row = {"site": "S", "test": "PT", "kind": "constant rate", "well": "PW", "purpose": "yield", "crew": "Ana and Ben"}
    row |= {"starts_at_utc": utc("2026-05-04T06:00"), "stops_at_utc": utc("2026-05-04T09:20"), **test}
    record = SimpleNamespace(
        settings={"time_zone": "Europe/Vienna", "length_unit": "m", "crs": crs},
        pumping_tests=pd.DataFrame([row]),
        pumping_readings=pd.DataFrame(list(read), columns=["test", "well"]),
        wells=frame,
        measuring_points=pd.DataFrame([{**POINT, "well": w, **more} for w, more in points], columns=["well", *POINT]),
        state=STATE,
        require=lambda wells: required.append(wells),
    )
    required = []
    content = sheets.pumping_sheet(record, "PT", asked)
    assert required == [asked and list(asked)]
    return content


def test_the_sheet_says_what_is_on_record(monkeypatch):
    content = made(
        monkeypatch,
        levels=[
            ("A", "2026-02-01", {"depth_to_water_m": 4.5, "measured_at": "2026-02-01T10:00+01:00"}),
            ("A", "2026-01-01", {"depth_to_water_m": 4.0}),
            ("A", "2026-03-01", {"depth_to_water_m": math.nan}),
            ("A", "2026-04-01", {"status": "pumping"}),
            ("B", "2026-04-01", {"status": "pumping"}),
        ],
        points=[
            ("A", {"valid_from_utc": "2020-01-01", "description": "New notch"}),
            ("A", {}),
            ("A", {"valid_from_utc": "2021-01-01", "access": "tube", "description": "Tube"}),
            ("PW", {"description": "Flange"}),
        ],
    )
    assert (content.site, content.test, content.kind, content.well) == ("S", "PT", "constant rate", "PW")
    assert (content.purpose, content.crew, content.time_zone, content.unit) == (
        "yield",
        "Ana and Ben",
        "Europe/Vienna",
        "m",
    )
    assert content.starts_at.isoformat() == "2026-05-04T08:00:00+02:00"
    assert (content.pumping_min, content.known_on) == (200.0, STATE)
    rows = content.wells.to_dict("records")
    assert [row.pop("last_m") for row in rows] == pytest.approx([math.nan, math.nan, 4.5], nan_ok=True)
    blank = {"measuring_point": "", "last_on": ""}
    # 3-4-5 triangles: 5 m and 50 m
    assert rows == [
        {
            "well": "PW",
            "kind": "pumped",
            "distance_m": 0.0,
            **blank,
            "measuring_point": "Flange",
            "hazards": "hazards of PW",
        },
        {"well": "B", "kind": "near", "distance_m": 5.0, **blank, "hazards": "hazards of B"},
        {
            "well": "A",
            "kind": "far",
            "distance_m": 50.0,
            "measuring_point": "New notch",
            "last_on": "2026-02-01",
            "hazards": "hazards of A",
        },
    ]
    assert content.wells.index.tolist() == [0, 1, 2]
    assert content.schedule == {kind: sheets.plan_schedule(kind, 200.0) for kind in ("far", "near", "pumped")}


@pytest.mark.parametrize(("east", "kind"), [(29.999, "near"), (30.0, "near"), (30.001, "far")])
def test_wells_up_to_thirty_metres_away_are_near(monkeypatch, east, kind):
    content = made(monkeypatch, {"PW": (0.0, 0.0, "upper"), "A": (east, 0.0, "upper")})
    assert content.wells["kind"].tolist() == ["pumped", kind]


def test_distances_are_metres_where_coordinates_are_feet(monkeypatch):
    """EPSG:2263 is in US survey feet of 1200/3937 m."""
    content = made(monkeypatch, {"PW": (10.0, 20.0, "u"), "A": (310.0, 420.0, "u")}, crs="EPSG:2263")
    np.testing.assert_allclose(content.wells["distance_m"], [0.0, 500.0 * 1200 / 3937], rtol=1e-12)


def test_without_a_planned_end_the_schedule_is_of_one_day_and_a_slug_test_has_one_kind(monkeypatch):
    content = made(monkeypatch, stops_at_utc=utc(None), kind="slug", starts_at_utc=utc("2026-05-04T06:00:00.000000001"))
    assert content.pumping_min == 1440.0
    assert content.wells["kind"].tolist() == ["slug"] * 3
    assert content.schedule == {"slug": sheets.plan_schedule("slug", 1440.0)}


@pytest.mark.parametrize(
    ("read", "asked", "members"),
    [
        ([], None, ["PW", "C", "A"]),
        ([("PT", "B"), ("PT", "A"), ("other", "C")], None, ["PW", "B", "A"]),
        ([("other", "C")], None, ["PW", "C", "A"]),
        ([("PT", "B")], ["C"], ["PW", "C"]),
    ],
)
def test_the_wells_named_are_read_else_those_with_readings_else_those_of_the_aquifer(monkeypatch, read, asked, members):
    wells = {"A": (9.0, 0.0, "upper"), "B": (8.0, 0.0, "lower"), "C": (7.0, 0.0, "upper"), "PW": (0.0, 0.0, "upper")}
    assert made(monkeypatch, wells, read=read, asked=asked).wells["well"].tolist() == members


def test_the_pumped_well_goes_first_and_equal_distances_go_by_name(monkeypatch):
    wells = {"Z": (0.0, 0.0, "u"), "Y": (3.0, 0.0, "u"), "X": (0.0, 3.0, "u"), "PW": (0.0, 0.0, "u")}
    assert made(monkeypatch, wells).wells["well"].tolist() == ["PW", "Z", "X", "Y"]


@pytest.mark.parametrize("lost", ["A", "PW"])
def test_a_well_without_coordinates_is_refused(monkeypatch, lost):
    wells = {code: (math.nan, 5.0, "u") if code == lost else (3.0, 4.0, "u") for code in ("A", "PW")}
    with pytest.raises(SettingsError, match=r"(A|PW) or PW has no coordinates"):
        made(monkeypatch, wells)
