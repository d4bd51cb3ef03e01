"""Levels of loggers beside those read by hand; a constructed record of three wells and a sensor of water elevation."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.heads import work_out_heads
from gwnet.analysis.loggers.level_rows import is_approved_at
from gwnet.analysis.loggers.levels import LevelRequest, add_loggers, levels_for_sets
from gwnet.analysis.maps.site_maps import SetRule, control_of
from gwnet.errors import SettingsError
from gwnet.records import Selection
from gwnet.store.fetch import levels as fetch_levels
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.snapshot import Snapshot

from .logger_record import Loggers, hours
from .record import Record

SLOPE_M_PER_H = 0.001


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """Three wells, read in two rounds; in A and B hang vented loggers whose column rises by 1 mm an hour."""
    made = Record(tmp_path_factory.mktemp("loggers") / "r.sqlite", same_day_window_days=0)
    place = {"A": (500_000.0, 5_300_000.0), "B": (500_400.0, 5_300_000.0), "C": (500_000.0, 5_300_300.0)}
    for code, (x, y) in place.items():
        made.well(code, point=(100.0, 0.5), ground_elevation_m=99.5, easting=x, northing=y)
    made.well("D", point=(100.0, 0.5), ground_elevation_m=99.5, easting=500_400.0, northing=5_300_300.0)
    made.rounds = {}
    for code, first, last in (("R1", "2024-01-02", "2024-01-02"), ("R2", "2024-01-09", "2024-01-10")):
        made.rounds[code] = made.add("gauging_round", site_id=made.site_id, code=code)
        days = {"starts_on": dt.date.fromisoformat(first), "ends_on": dt.date.fromisoformat(last)}
        made.add("round_record", gauging_round_id=made.rounds[code], wells="[]", **days)
    loggers = Loggers(made)
    loggers.instrument("L-A", kind="vented pressure logger")
    loggers.instrument("L-B", kind="vented pressure logger")
    loggers.install("L-A", "A")
    loggers.install("L-B", "B", end="2024-01-09T06:00")
    column = 5.0 + SLOPE_M_PER_H * np.arange(300)
    loggers.samples("L-A", "water column", "m", hours(300), column)
    loggers.samples("L-B", "water column", "m", hours(300), column + 1.0)
    made.loggers = loggers
    made.events = {}

    def read(well, when, depth, round_code, **more):
        event = made.event(well, when, [("depth_to_water", depth)], gauging_round_id=made.rounds[round_code], **more)
        made.events[well, when] = event

    # 2024-01-02T09:00 is hour 33: A's head is then 90.033 m, B's 91.033 m
    read("A", "2024-01-02T09:00", 9.967, "R1")
    read("B", "2024-01-02T09:00", 8.967, "R1")
    read("C", "2024-01-02T11:00", 9.0, "R1")
    read("A", "2024-01-09T09:00", 9.799, "R2")  # hour 201
    read("C", "2024-01-09T09:40", 9.1, "R2")
    read("D", "2024-01-09T10:00", 9.2, "R2")
    read("C", "2024-01-20T09:00", 9.1, "R2")  # late: beyond the round's days
    return made


def asked(record, how, **wanted):
    with record.loggers.reading() as connection:
        record, chosen = Snapshot(connection), Selection.of(**wanted)
        table = add_loggers(record, levels(record, chosen), chosen, how)
    return table[table["method"] == "logger"].reset_index(drop=True), table


def test_without_loggers_the_levels_are_as_they_were(record):
    with record.loggers.reading() as connection:
        snapshot = Snapshot(connection)
        table = levels(snapshot)
        pd.testing.assert_frame_equal(add_loggers(snapshot, table, Selection(), "none"), table)
        with pytest.raises(SettingsError, match="not as 'hourly'"):
            add_loggers(snapshot, table, Selection(), "hourly")


def test_at_each_round_the_head_at_the_median_time_of_its_readings(record):
    rows, table = asked(record, "round")
    assert rows[["well", "round"]].to_numpy().tolist() == [["A", "R1"], ["A", "R2"], ["B", "R1"], ["B", "R2"]]
    first, second = rows.iloc[0], rows.iloc[1]
    assert first["measured_at"] == "2024-01-02T10:00+01:00"  # of 9:00, 9:00 and 11:00 UTC the middle one
    assert first["water_elevation_m"] == pytest.approx(90.033, abs=1e-6)
    # 9:00, 9:40 and 10:00 of the round's own days; the late reading does not count
    assert second["measured_at"] == "2024-01-09T10:40+01:00"
    assert second["water_elevation_m"] == pytest.approx(90.0 + SLOPE_M_PER_H * (201 + 40 / 60), abs=1e-6)
    assert first["depth_to_water_m"] == pytest.approx(100.0 - first["water_elevation_m"])
    assert first["depth_below_ground_m"] == pytest.approx(first["depth_to_water_m"] - 0.5)
    assert (rows["event_id"] == -1).all()
    assert rows["usable"].all()
    assert (rows["uncertainty_m"] > 0).all()
    assert table.dtypes.to_dict() == asked(record, "none")[1].dtypes.to_dict()
    assert table["measured_at_utc"].groupby(table["well"]).is_monotonic_increasing.all()


def test_a_logger_that_ended_before_the_moment_gives_the_head_nearest_to_it_that_day(record):
    rows, _ = asked(record, "round", wells=["B"], round="R2")
    assert len(rows) == 1
    assert rows.loc[0, "measured_at"] == "2024-01-09T06:00+01:00"  # its last sample before it was taken out at 6:00 UTC
    assert rows.loc[0, "notes"].endswith("nearest to the round")


def test_daily_means_bear_the_date_alone(record):
    rows, _ = asked(record, "daily", wells=["A"])
    assert rows["measured_at"].tolist()[:2] == ["2024-01-01", "2024-01-02"]
    assert not rows["time_known"].any()
    day = rows[rows["measured_at"] == "2024-01-05"].iloc[0]
    # the local day runs from 23:00 to 22:00 UTC: hours 95 to 118
    assert day["water_elevation_m"] == pytest.approx(90.0 + SLOPE_M_PER_H * np.mean(np.arange(95, 119)), abs=1e-6)
    assert day["measured_at_utc"] == pd.Timestamp("2024-01-05T11:00Z")
    in_round, _ = asked(record, "daily", round="R2", wells=["A"])
    assert in_round["measured_at"].tolist() == ["2024-01-09", "2024-01-10"]


def test_aquifer_and_well_restrict(record):
    assert set(asked(record, "round", wells=["B"])[0]["well"]) == {"B"}
    assert len(asked(record, "round", aquifer="lower")[0]) == 0


def test_heads_are_approved_between_two_approved_readings_only(record):
    with record.loggers.reading() as connection:
        (one,) = work_out_heads(Snapshot(connection), ["A"])
    when = hours(300)
    first, second = record.events["A", "2024-01-02T09:00"], record.events["A", "2024-01-09T09:00"]
    both = pd.Series({first: "approved", second: "approved"})
    state = is_approved_at(one, both, when)
    assert np.flatnonzero(state)[[0, -1]].tolist() == [33, 201]
    assert state[33:202].all()
    assert not is_approved_at(one, pd.Series({first: "approved", second: "provisional"}), when)[34:].any()


def test_a_map_takes_the_logger_s_head_and_its_uncertainty(record):
    day = dt.date(2024, 1, 9)
    with record.loggers.reading() as connection:
        site = Snapshot(connection).of_site()
        bare = control_of(site, "upper", day, SetRule(loggers=False)).set_index("well")
        with_b = control_of(site, "upper", day).set_index("well")
    assert bare.loc["B", ["used", "source", "reason"]].tolist() == [False, "", "no measurement on the date"]
    assert with_b.loc["B", ["used", "source", "reason"]].tolist() == [True, "logger", ""]
    assert with_b.loc["B", "measured_at"] == "2024-01-09T06:00+01:00"
    assert with_b.loc["B", "water_elevation_m"] == pytest.approx(91.0 + SLOPE_M_PER_H * 197, abs=1e-6)
    assert with_b.loc["B", "uncertainty_m"] > bare.loc["A", "uncertainty_m"]
    pd.testing.assert_frame_equal(with_b.drop(index="B"), bare.drop(index="B"))


def test_beyond_the_window_a_logger_tells_nothing(record):
    with record.loggers.reading() as connection:
        moment = pd.Timestamp("2024-01-20T10:00Z")
        day = pd.Timedelta(days=1)
        request = LevelRequest(("A", "B"), moment, moment - day, moment + day)
        (none,) = levels_for_sets(Snapshot(connection).of_site(), [request])
        assert len(none) == 0
        assert len(fetch_levels.reviews(connection)) == 0


def planned(made, rounds):
    """Store rounds given as code, first and last day (None for none)."""
    for code, first, last in rounds:
        days = {"starts_on": dt.date.fromisoformat(first), "ends_on": last and dt.date.fromisoformat(last)}
        number = made.add("gauging_round", site_id=made.site_id, code=code)
        made.add("round_record", gauging_round_id=number, wells="[]", **days)


@pytest.fixture
def unread(tmp_path):
    """Two wells that nobody reads by hand: vented loggers 15 m below their points, 1 mm an hour; no rounds yet."""
    made = Record(tmp_path / "r.sqlite")
    made.loggers = Loggers(made)
    for place, well in enumerate(("A", "B")):
        made.well(well, point=(100.0 + place, 0.5), ground_elevation_m=99.5 + place)
        made.loggers.instrument(f"L-{well}", kind="vented pressure logger")
        made.loggers.install(f"L-{well}", well, depth=15.0)
        made.loggers.samples(f"L-{well}", "water column", "m", hours(300), 5.0 + SLOPE_M_PER_H * np.arange(300))
    return made


def test_where_nobody_reads_by_hand_a_round_is_at_noon_of_its_middle_day(unread):
    planned(unread, [("three", "2024-01-02", "2024-01-04"), ("two", "2024-01-06", "2024-01-07")])
    planned(unread, [("later", "2024-06-01", "2024-06-02")])
    rows, table = asked(unread, "round")
    assert rows[["well", "round"]].to_numpy().tolist() == [["A", "three"], ["A", "two"], ["B", "three"], ["B", "two"]]
    assert rows["measured_at"].tolist()[:2] == ["2024-01-03T12:00+01:00", "2024-01-06T12:00+01:00"]
    # 2024-01-03T11:00 and 2024-01-06T11:00 in UTC are hours 59 and 131; the sensors hang at 85 m and 86 m
    expected = [90.0 + hour * SLOPE_M_PER_H + place for place in (0, 1) for hour in (59, 131)]
    assert rows["water_elevation_m"].tolist() == pytest.approx(expected, abs=1e-6)
    assert rows.loc[0, "notes"] == "logger L-A, at noon of the round's middle day, as no level of the round has a time"
    assert (rows["review"] == "provisional").all()
    assert len(table) == len(rows)
    assert table.dtypes.to_dict() == asked(unread, "none")[1].dtypes.to_dict()


def test_rounds_of_one_day_each_get_the_head_at_noon(unread):
    planned(unread, [("north", "2024-01-03", None), ("south", "2024-01-03", None)])
    rows, _ = asked(unread, "round", wells=["A"])
    assert rows["round"].tolist() == ["north", "south"]
    assert rows["measured_at"].tolist() == ["2024-01-03T12:00+01:00"] * 2
    assert rows["notes"].str.contains("at noon").all()


def test_a_reading_without_a_time_leaves_the_round_at_noon(unread):
    planned(unread, [("R1", "2024-01-02", "2024-01-04")])
    with unread.loggers.reading() as connection:
        (number,) = fetch_programme.rounds(connection)["round_id"]
    unread.event("A", "2024-01-02T11:00", [("depth_to_water", 9.9)], time_known=False, gauging_round_id=int(number))
    rows, _ = asked(unread, "round", wells=["B"])
    assert rows["measured_at"].tolist() == ["2024-01-03T12:00+01:00"]


def test_without_rounds_there_are_daily_means_and_nothing_at_rounds(unread):
    none, table = asked(unread, "round")
    assert len(none) == len(table) == 0
    assert table.dtypes.to_dict() == asked(unread, "none")[1].dtypes.to_dict()
    days, _ = asked(unread, "daily", wells=["B"])
    assert days["measured_at"].tolist()[0] == "2024-01-01"  # 23 of 24 hours
    day = days[days["measured_at"] == "2024-01-05"].iloc[0]
    assert day["water_elevation_m"] == pytest.approx(91.0 + SLOPE_M_PER_H * np.mean(np.arange(95, 119)), abs=1e-6)


def test_daily_means_of_a_round_of_which_no_day_has_enough_samples(unread):
    unread.well("C", point=(100.0, 0.5), ground_elevation_m=99.5)
    unread.loggers.instrument("L-C", kind="vented pressure logger")
    unread.loggers.install("L-C", "C", depth=15.0)
    unread.loggers.samples("L-C", "water column", "m", hours(5), np.full(5, 5.0))
    planned(unread, [("R1", "2024-01-01", "2024-01-02")])
    assert len(asked(unread, "daily", wells=["C"], round="R1")[1]) == 0
    assert asked(unread, "daily", wells=["A"], round="R1")[0]["measured_at"].tolist() == ["2024-01-01", "2024-01-02"]
