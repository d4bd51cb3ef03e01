import datetime as dt

import numpy as np
import pytest

from gwnet.analysis.thresholds.elevations import with_elevations
from gwnet.analysis.thresholds.logger_days import days_of_loggers
from gwnet.analysis.thresholds.record import limits_of, threshold_states
from gwnet.analysis.thresholds.states import CROSSED
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.store.snapshot import Snapshot

from .logger_record import Loggers, hours
from .record import RECORDED_ON, Record


@pytest.fixture
def record(tmp_path):
    made = Record(tmp_path / "record.sqlite")
    yield made
    made.store.close()


def elevations(record, known_on=None):
    with record.store.reading() as connection:
        limits = fetch_programme.thresholds(connection, known_on)
        points = fetch.measuring_points(connection, known_on)
        wells, parts = fetch.wells(connection, known_on), fetch.construction(connection, known_on)
        return with_elevations(limits, wells, points, parts)["elevation_m"].tolist()


def limit(record, quantity, value):
    well = record.wells["W"]
    columns = {"threshold": quantity, "kind": "lower", "quantity": quantity, "value_m": value, "consecutive": 1}
    record.add("threshold", well_id=well, **columns)


def test_each_quantity_becomes_an_elevation(record):
    record.well("W", point=(101.0, 1.0))
    for quantity, value in (("depth_below_ground", 3.9), ("depth_to_water", 4.9), ("water_elevation", 96.1)):
        limit(record, quantity, value)
    assert elevations(record) == pytest.approx([96.1, 96.1, 96.1])


def test_a_newer_point_without_a_height_falls_back_on_the_wells_ground(record):
    record.well("W", ground_elevation_m=100.0)
    record.point("W", 101.0, "2018-01-01", "2024-01-01", height_above_ground_m=1.0)
    record.point("W", 100.5, "2024-01-01")
    limit(record, "depth_below_ground", 3.9)
    assert elevations(record) == pytest.approx([96.1])


def test_a_later_correction_does_not_reach_back(record):
    record.well("W")
    point = record.point("W", 101.0, height_above_ground_m=1.0)
    limit(record, "depth_to_water", 4.9)
    later = RECORDED_ON + dt.timedelta(days=1)
    record.retire("measuring_point", point, later)
    record.point("W", 101.3, recorded_at_utc=later)
    assert elevations(record) == pytest.approx([96.4])
    assert elevations(record, RECORDED_ON) == pytest.approx([96.1])


def lowest(record):
    with record.store.reading() as connection:
        return limits_of(Snapshot(connection, None, "S"))["lowest_shown_m"].tolist()


def test_the_lowest_level_that_a_well_can_show_is_its_screens_bottom_where_it_ends_there(record):
    record.well("W", screen=(4.0, 6.0), point=(101.0, 1.0), total_depth_m=6.2)
    limit(record, "water_elevation", 93.0)
    assert lowest(record) == pytest.approx([94.0])


def test_a_well_that_goes_on_below_its_screen_shows_levels_down_to_its_bottom(record):
    record.well("W", screen=(4.0, 6.0), point=(101.0, 1.0), total_depth_m=20.0)
    limit(record, "water_elevation", 93.0)
    assert lowest(record) == pytest.approx([80.0])


def test_a_well_without_loggers_has_no_days_of_them(record):
    record.well("W", point=(101.0, 1.0))
    limit(record, "water_elevation", 93.0)
    record.event("W", "2024-03-05T10:00", [("depth_to_water", 9.0)])
    with record.store.reading() as connection:
        snapshot = Snapshot(connection, None, "S")
        assert days_of_loggers(snapshot, ["W"]).empty
        (state,) = threshold_states(snapshot)
    assert (state.state, state.first, state.extreme.value_m) == (CROSSED, dt.date(2024, 3, 5), pytest.approx(92.0))


def test_without_a_level_the_period_is_what_was_asked_for(record):
    record.well("W", point=(101.0, 1.0))
    limit(record, "water_elevation", 93.0)
    one, other = dt.date(2024, 2, 3), dt.date(2025, 4, 6)
    with record.store.reading() as connection:
        snapshot = Snapshot(connection, None, "S")
        for first, last, period in (
            (one, other, (one, other)),
            (one, None, (one, one)),
            (None, other, (other, other)),
            (None, None, (dt.date(1970, 1, 1), dt.date(1970, 1, 1))),
        ):
            (state,) = threshold_states(snapshot, first, last)
            assert ((state.first, state.last), str(state.reason)) == (period, "no level in the period")


def test_a_period_reaches_over_the_levels_of_the_wells_with_thresholds_and_their_loggers(record):
    for code in ("W", "V"):
        record.well(code, point=(101.0, 1.0))
    limit(record, "water_elevation", 93.0)
    record.event("W", "2024-03-05T10:00", [("depth_to_water", 5.0)])
    record.event("V", "2024-01-05T10:00", [("depth_to_water", 5.0)])
    loggers = Loggers(record)
    loggers.instrument("L", kind="vented pressure logger")
    loggers.install("L", "W", depth=10.0)
    loggers.samples(
        "L", "water column", "m", hours(48, np.datetime64("2024-03-04T23:00", "us")), [5.0] * 24 + [4.0, *[4.5] * 23]
    )
    with record.store.reading() as connection:
        snapshot = Snapshot(connection, None, "S")
        logged = days_of_loggers(snapshot, ["W", "V"])
        (state,) = threshold_states(snapshot)
        (later,) = threshold_states(snapshot, dt.date(2024, 3, 6), dt.date(2024, 3, 7))
        assert threshold_states(snapshot, wells=["V"]) == ()
    assert (state.first, state.last) == (dt.date(2024, 3, 5), dt.date(2024, 3, 6))
    assert (later.first, later.last) == (dt.date(2024, 3, 6), dt.date(2024, 3, 7))
    assert logged["lowest_at"].tolist() == ["2024-03-05T00:00+01:00", "2024-03-06T00:00+01:00"]
    assert (logged["highest_m"] - logged["lowest_m"]).tolist() == pytest.approx([0.0, 0.5])
    assert (state.counts["manual"].judged, state.counts["logger"].judged) == (1, 2)


def test_distances_are_metres_where_coordinates_are_feet(tmp_path):
    """Wells 300 and 400 US survey feet apart along the axes: 500 of 1200/3937 m."""
    feet = Record(tmp_path / "feet.sqlite", crs="EPSG:2263")
    feet.well("W", point=(101.0, 1.0), easting=900_000.0, northing=200_000.0)
    other = feet.well("V", point=(101.0, 1.0), easting=900_300.0, northing=200_400.0)
    columns = {"threshold": "fall", "kind": "upper", "quantity": "gradient", "value_m": 0.01, "consecutive": 1}
    feet.add("threshold", well_id=feet.wells["W"], other_well_id=other, **columns)
    with feet.store.reading() as connection:
        assert limits_of(Snapshot(connection, None, "S"))["distance_m"].item() == pytest.approx(
            500 * 1200 / 3937, rel=1e-9
        )
    feet.store.close()
