"""Points of rivers in the control of a map: where they stand and what heads they have; constructed."""

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
import shapely

from gwnet.analysis.maps.features import MapFeatures, River, with_rivers
from gwnet.analysis.maps.same_day import CONTROL_COLUMNS, same_day_set
from gwnet.errors import SettingsError

from .frames import levels, stages, wells

DAY = dt.date(2026, 3, 17)
#: Three wells that span 120,000 m²: a spacing of 200 m, so that points of rivers stand 100 m apart.
CORNERS = ((0.0, 0.0), (600.0, 0.0), (0.0, 400.0))


def control_of(*gauges, places=CORNERS, scale=1.0):
    """Return the control of the corners with gauges as (name, x, y, head)."""
    site = wells(*[(f"W{k}", x * scale, y * scale, {}) for k, (x, y) in enumerate(places)])
    taken = levels(*[(name, "2026-03-17T10:00", 40.0, {}) for name in site["well"]])
    rows = [(name, "2026-03-17T09:00Z", head, x * scale, y * scale, "upper") for name, x, y, head in gauges]
    river = stages(*rows) if rows else None
    return same_day_set(taken, site, aquifer="upper", date=DAY, time_zone="UTC+01:00", stages=river)


def points_of(river, control=None, **options):
    """Return the rows that a river adds to a control frame."""
    control = control_of() if control is None else control
    made = with_rivers(control, MapFeatures(rivers=(river,)), **options)
    pd.testing.assert_frame_equal(made.iloc[: len(control)], control)
    return made.iloc[len(control) :]


@pytest.mark.parametrize("y", [14.0, 16.0])
def test_points_stand_half_a_spacing_apart_near_the_control_and_not_at_wells(y):
    """From x -520 by 100 m; those within 200 m of the triangle, 25 m and more from a well.

    Of the wells at 0 and 600 the nearest points are 20 m away along the river, and 24.4 m or 25.6 m in all.
    """
    points = points_of(River("Orle", shapely.LineString([(-520, y), (1080, y)]), 41.0, 33.0))
    expected = {number: -520.0 + 100.0 * (number - 1) for number in range(1, 18)}
    near = shapely.Polygon(CORNERS).buffer(200.0)
    expected = {number: x for number, x in expected.items() if near.covers(shapely.Point(x, y))}
    assert list(expected) == list(range(5, 15))
    if y == 14.0:
        del expected[6], expected[12]
    assert points["well"].tolist() == [f"Orle {number}" for number in expected]
    assert points["easting"].tolist() == pytest.approx(list(expected.values()), abs=1e-9)
    assert points["northing"].tolist() == pytest.approx([y] * len(expected), abs=1e-9)
    heads = [41.0 - 8.0 * (x + 520.0) / 1600.0 for x in expected.values()]
    assert points["water_elevation_m"].tolist() == pytest.approx(heads, rel=1e-12)
    # behind the rows of the control, numbered on
    assert points.index.tolist() == list(range(3, 3 + len(expected)))


def test_a_point_is_control_and_no_measurement():
    points = points_of(River("Orle", shapely.LineString([(100, 100), (140, 100)]), 41.0, 40.0))
    assert tuple(points.columns) == CONTROL_COLUMNS
    # shorter than half a spacing: both its ends
    first, last = points.drop(columns="measured_at_utc").to_dict("records")
    words = {"site": "S", "well": "Orle 1", "kind": "river", "measured_at": "", "status": "static", "used": True}
    words |= {"reason": "", "time_known": False, "cluster": "", "event_id": -1, "source": "", "bound": ""}
    assert {name: first[name] for name in words} == words
    assert [first[name] for name in ("easting", "northing", "water_elevation_m")] == [100.0, 100.0, 41.0]
    assert [last[name] for name in ("easting", "northing", "water_elevation_m")] == [140.0, 100.0, 40.0]
    others = ("uncertainty_m", "screen_length_m", "screen_middle_m", "ground_elevation_m")
    assert all(math.isnan(first[name]) for name in others)
    assert points["measured_at_utc"].isna().all()


BENT = [(50.0, 50.0), (50.0, 150.0), (250.0, 150.0)]


@pytest.mark.parametrize(
    ("line", "ends", "heads"),
    [
        ([(*place, head) for place, head in zip(BENT, (41.0, 39.0, 38.0), strict=True)], (), (41.0, 39.0, 38.5, 38.0)),
        (BENT, (41.0, 38.0), (41.0, 40.0, 39.0, 38.0)),
        # a corner without a head: those of the ends count
        (
            [(*place, head) for place, head in zip(BENT, (41.0, math.nan, 38.0), strict=True)],
            (45.0, 42.0),
            (45, 44, 43, 42),
        ),
    ],
)
def test_heads_are_those_of_the_corners_or_linear_between_the_ends(line, ends, heads):
    points = points_of(River("Orle", shapely.LineString(line), *ends))
    assert list(zip(points["easting"], points["northing"], strict=True)) == [
        (50, 50),
        (50, 150),
        (150, 150),
        (250, 150),
    ]
    assert points["water_elevation_m"].tolist() == pytest.approx(list(heads), rel=1e-12)


def test_a_river_states_its_heads_with_its_corners_or_at_both_ends():
    flat, high = shapely.LineString(BENT), shapely.LineString([(*place, 40.0) for place in BENT])
    assert [River("R", high).stated, River("R", flat, 41.0, 40.0).stated] == [True, True]
    assert [River("R", flat).stated, River("R", flat, 41.0).stated, River("R", flat, head_end_m=41.0).stated] == [
        False
    ] * 3


STRAIGHT = River("Orle", shapely.LineString([(-100, 120), (500, 120)]))


@pytest.mark.parametrize("scale", [1.0, 1.0 / 0.3048])
def test_heads_are_linear_between_the_gauges_within_fifty_metres(scale):
    """Gauges 50 m and 49 m from the line count, one 50.5 m from it does not; nothing beyond the first and the last."""
    gauges = [("G2", 300.0, 71.0, 38.0), ("G1", 20.0, 170.0, 39.4), ("G3", 400.0, 170.5, 30.0)]
    river = River("Orle", shapely.LineString(np.array([(-100, 120), (500, 120)]) * scale))
    points = points_of(river, control_of(*gauges, scale=scale), coordinate_unit_m=1.0 / scale)
    # five used levels: the spacing is smaller
    hull = shapely.MultiPoint([*CORNERS, *[gauge[1:3] for gauge in gauges]]).convex_hull.area
    count = round(280.0 / (0.5 * math.sqrt(hull / 6.0)))
    along = np.linspace(20.0, 300.0, count + 1)
    assert (points["easting"] / scale).tolist() == pytest.approx(along.tolist(), rel=1e-9)
    assert points["water_elevation_m"].tolist() == pytest.approx((39.4 - (along - 20.0) / 200.0).tolist(), rel=1e-9)


@pytest.mark.parametrize(
    ("gauges", "words"),
    [
        ([], "0 used gauges are within 50 m of it; two are needed."),
        ([("G1", 20.0, 125.0, 39.0), ("G2", 300.0, 170.5, 38.0)], "1 used gauge is within 50 m of it; two are needed."),
    ],
)
def test_a_river_whose_head_nobody_knows_is_refused(gauges, words):
    with pytest.raises(SettingsError) as caught:
        points_of(STRAIGHT, control_of(*gauges))
    assert caught.value.message == f"The head of Orle is not known: its line has no heads, and {words}"


def test_rivers_bring_two_hundred_points_at_most():
    """A line of 28 km to and fro within the triangle: every 140 m, not every 100 m."""
    to_and_fro = [(60.0 + 0.5 * k, 160.0 if k % 2 else 60.0) for k in range(281)]
    points = points_of(River("Orle", shapely.LineString(to_and_fro), 41.0, 33.0))
    assert len(points) == 201
    assert points["water_elevation_m"].iloc[[0, 100, 200]].tolist() == pytest.approx([41.0, 37.0, 33.0], rel=1e-12)


def test_two_wells_get_no_points_and_neither_does_a_map_without_rivers():
    two = control_of(places=CORNERS[:2])
    river = MapFeatures(rivers=(River("Orle", shapely.LineString(BENT), 41.0, 38.0),))
    assert with_rivers(two, river) is two
    three = control_of()
    assert with_rivers(three, MapFeatures()) is three
    beyond = MapFeatures(rivers=(River("Orle", shapely.LineString([(5000, 0), (5100, 0)]), 41.0, 38.0),))
    assert with_rivers(three, beyond) is three


def test_wells_keep_points_away_wherever_they_stand():
    """The same river and wells as in the first test, moved by 130 m east and 470 m north."""
    moved = control_of(places=[(x + 130.0, y + 470.0) for x, y in CORNERS])
    points = points_of(River("Orle", shapely.LineString([(-390, 484), (1210, 484)]), 41.0, 33.0), moved)
    assert points["well"].tolist() == [f"Orle {number}" for number in (5, 7, 8, 9, 10, 11, 13, 14)]
