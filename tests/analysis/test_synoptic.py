"""Same-day sets; constructed frames, and one record on SQLite."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.places import located
from gwnet.analysis.levels.table import levels as reduced_levels
from gwnet.analysis.maps.same_day import CONTROL_COLUMNS, leave_out, same_day_set, span_of
from gwnet.analysis.maps.same_day_loggers import logger_text, moment_of
from gwnet.errors import AnalysisError, NotFoundError, SettingsError
from gwnet.store.fetch import registry as fetch
from gwnet.store.snapshot import Snapshot

from .frames import levels, stages, wells
from .record import Record

DAY = dt.date(2026, 3, 17)
FOUR = wells(("A", 0, 0, {}), ("B", 100, 0, {}), ("C", 0, 100, {}), ("D", 100, 100, {}))


def chosen(levels_frame, wells_frame=FOUR, **options):
    options = {"aquifer": "upper", "date": DAY, "time_zone": "UTC+01:00", **options}
    return same_day_set(levels_frame, wells_frame, **options)


def reasons(control):
    return dict(zip(control["well"], control["reason"], strict=True))


def test_columns_and_order():
    control = chosen(levels(("C", "2026-03-17T10:00", 41.0, {}), ("A", "2026-03-17T09:00", 40.0, {})))
    assert tuple(control.columns) == CONTROL_COLUMNS
    assert control["well"].tolist() == ["A", "B", "C", "D"]
    assert control["used"].tolist() == [True, False, True, False]
    assert control["water_elevation_m"].tolist()[::2] == [40.0, 41.0]
    assert control["measured_at"].tolist() == ["2026-03-17T09:00+01:00", "", "2026-03-17T10:00+01:00", ""]
    assert set(control["kind"]) == {"well"}


def test_only_the_date_without_a_window():
    control = chosen(
        levels(
            ("A", "2026-03-17T00:00", 1.0, {}),
            ("B", "2026-03-16T23:59", 2.0, {}),
            ("C", "2026-03-18T00:00", 3.0, {}),
            ("D", "2026-03-17T23:59", 4.0, {}),
        )
    )
    assert reasons(control) == {"A": "", "B": "no measurement on the date", "C": "no measurement on the date", "D": ""}


def test_the_date_is_the_site_s_own():
    """23:30 UTC on the 16th is half past midnight of the 17th at the site."""
    control = chosen(levels(("A", "2026-03-17T00:30", 1.0, {})))
    assert control.loc[control["well"] == "A", "measured_at_utc"].iloc[0] == pd.Timestamp("2026-03-16T23:30Z")
    assert reasons(control)["A"] == ""


def test_window_reaches_both_ways():
    frame = levels(
        ("A", "2026-03-15T00:00", 1.0, {}),
        ("B", "2026-03-19T23:59", 2.0, {}),
        ("C", "2026-03-14T23:59", 3.0, {}),
        ("D", "2026-03-20T00:00", 4.0, {}),
    )
    control = chosen(frame, window_days=2)
    assert control["used"].tolist() == [True, True, False, False]
    assert reasons(control)["C"] == "no measurement within 2 days"
    assert reasons(chosen(frame, window_days=1))["D"] == "no measurement within 1 day"


def test_clock_change_in_the_window():
    """Europe/Vienna leaps ahead on 29 March 2026: that date is 23 hours long and ends at 22:00 UTC."""
    frame = levels(("A", "2026-03-29T22:59", 1.0, {}), ("B", "2026-03-29T23:00", 2.0, {}))
    control = chosen(frame, date=dt.date(2026, 3, 29), time_zone="Europe/Vienna")
    assert control["used"].tolist() == [True, False, False, False]


def test_date_only_counts_as_that_day():
    control = chosen(levels(("A", "2026-03-17", 1.0, {}), ("B", "2026-03-18", 2.0, {})))
    assert control["used"].tolist() == [True, False, False, False]
    assert control["measured_at"].iloc[0] == "2026-03-17"
    assert not control["time_known"].iloc[0]


def test_the_level_nearest_to_noon_of_the_date():
    frame = levels(
        ("A", "2026-03-16T12:00", 1.0, {}),
        ("A", "2026-03-17T08:00", 2.0, {}),
        ("A", "2026-03-17T15:00", 3.0, {}),
    )
    assert chosen(frame, window_days=3)["water_elevation_m"].iloc[0] == 3.0


def test_a_tie_goes_to_the_earlier_then_to_the_main_access():
    early = levels(("A", "2026-03-17T10:00", 1.0, {}), ("A", "2026-03-17T14:00", 2.0, {}))
    assert chosen(early)["water_elevation_m"].iloc[0] == 1.0
    side = levels(("A", "2026-03-17T10:00", 1.0, {"access": "airline"}), ("A", "2026-03-17T10:00", 2.0, {}))
    assert chosen(side)["water_elevation_m"].iloc[0] == 2.0


def test_a_usable_level_goes_before_a_nearer_one_that_is_not():
    frame = levels(
        ("A", "2026-03-17T12:00", 1.0, {"unusable_reason": "pumping", "status": "pumping"}),
        ("A", "2026-03-17T07:00", 2.0, {}),
    )
    control = chosen(frame)
    assert control["used"].iloc[0]
    assert control["water_elevation_m"].iloc[0] == 2.0


@pytest.mark.parametrize(
    ("recorded", "shown"),
    [
        ("pumping", "pumping"),
        ("recovering", "recovering"),
        ("nearby pumping", "nearby pumping"),
        ("obstructed", "obstructed"),
        ("dry", "dry: the level is only a bound"),
        ("water below the screen", "water below the screen: the level is only a bound"),
        ("floating product not corrected", "floating product not corrected"),
        ("repeats disagree", "repeats disagree"),
        ("rejected on review", "rejected on review"),
        ("on hold", "on hold in review"),
        ("quality suspect", "quality suspect"),
        ("quality poor", "quality poor"),
        ("no measuring point in force", "no measuring point in force"),
    ],
)
def test_every_level_left_out_has_its_reason(recorded, shown):
    control = chosen(levels(("A", "2026-03-17T10:00", 1.0, {"unusable_reason": recorded})))
    assert reasons(control)["A"] == shown
    assert not control["used"].any()
    assert control["water_elevation_m"].iloc[0] == 1.0


def test_wells_left_out_for_what_they_are():
    frame = wells(
        ("A", 0, 0, {}),
        ("gone", 1, 0, {"decommissioned_on": dt.date(2020, 5, 1)}),
        ("goes that day", 1, 1, {"decommissioned_on": DAY}),
        ("later", 2, 0, {"drilled_on": dt.date(2027, 1, 2)}),
        ("nowhere", np.nan, np.nan, {}),
        ("loose", 3, 0, {"aquifer": ""}),
        ("silent and loose", 4, 0, {"aquifer": ""}),
        ("deep", 5, 0, {"aquifer": "lower"}),
        ("silent and deep", 6, 0, {"aquifer": "lower"}),
        ("both", 7, 0, {"aquifer": "lower+upper"}),
        ("two others", 8, 0, {"aquifer": "lower+deepest"}),
    )
    at = "2026-03-17T10:00"
    measured = ("A", "nowhere", "loose", "deep", "gone", "goes that day", "both", "two others")
    control = chosen(levels(*[(well, at, 1.0, {}) for well in measured]), frame)
    assert reasons(control) == {
        "A": "",
        "both": "composite: open to lower and upper",
        "deep": "taps another aquifer: lower",
        "two others": "taps another aquifer: lower+deepest",
        "gone": "decommissioned on 2020-05-01",
        "goes that day": "",
        "later": "drilled after the date, on 2027-01-02",
        "loose": "no aquifer on record",
        "nowhere": "no coordinates on record",
    }


def test_one_well_of_a_cluster_the_one_at_the_others_depth():
    """Midpoints of the others' screens at 38 m; the cluster has 45 and 37 m."""
    nest = {"cluster": "N1"}
    frame = wells(
        ("A", 0, 0, {}),
        ("B", 100, 0, {}),
        ("C", 0, 100, {}),
        ("N-1", 500, 500, {**nest, "screen_top_m": 4.0, "screen_bottom_m": 6.0}),
        ("N-2", 501, 500, {**nest, "screen_top_m": 12.0, "screen_bottom_m": 14.0}),
    )
    control = chosen(levels(*[(well, "2026-03-17T10:00", 1.0, {}) for well in frame["well"]]), frame)
    shown = "one well a place: N-2 stands for it (screen nearest in elevation to the other wells')"
    assert reasons(control) == {"A": "", "B": "", "C": "", "N-1": shown, "N-2": ""}


def test_a_cluster_without_screens_keeps_the_surer_then_the_first():
    bare = {"cluster": "N1", "screen_top_m": np.nan, "screen_bottom_m": np.nan}
    frame = wells(("A", 0, 0, {}), ("N-1", 500, 500, bare), ("N-2", 501, 500, bare))
    at = "2026-03-17T10:00"
    control = chosen(levels(("N-1", at, 1.0, {"uncertainty_m": 0.05}), ("N-2", at, 1.0, {})), frame)
    assert reasons(control)["N-1"] == "one well a place: N-2 stands for it (first by rule)"
    control = chosen(levels(("N-1", at, 1.0, {}), ("N-2", at, 1.0, {})), frame)
    assert reasons(control)["N-2"] == "one well a place: N-1 stands for it (first by rule)"


def test_a_well_of_a_cluster_that_cannot_be_used_does_not_stand_for_another():
    nest = {"cluster": "N1"}
    frame = wells(("A", 0, 0, {}), ("N-1", 500, 500, nest), ("N-2", 501, 500, nest))
    at = "2026-03-17T10:00"
    control = chosen(levels(("N-1", at, 1.0, {"unusable_reason": "dry"}), ("N-2", at, 1.0, {})), frame)
    assert reasons(control)["N-2"] == ""


def test_wells_at_one_place_without_a_cluster():
    frame = wells(("A", 0, 0, {}), ("P", 500.0, 500.0, {}), ("Q", 500.3, 500.0, {}), ("R", 501.0, 500.0, {}))
    control = chosen(levels(*[(well, "2026-03-17T10:00", 1.0, {}) for well in frame["well"]]), frame)
    assert control["used"].tolist() == [True, True, False, True]


def test_left_out_by_request():
    frame = levels(*[(well, "2026-03-17T10:00", 1.0, {}) for well in "ABCD"])
    control = chosen(frame, exclude=["B"])
    assert reasons(control)["B"] == "left out by request"
    assert reasons(leave_out(control, ["D"])) == {
        "A": "",
        "B": "left out by request",
        "C": "",
        "D": "left out by request",
    }
    with pytest.raises(NotFoundError, match=r"cannot be left out: E, F\."):
        chosen(frame, exclude=["F", "E", "A"])


def test_a_reason_of_its_own_is_kept_when_left_out_by_request():
    control = chosen(levels(("A", "2026-03-17T10:00", 1.0, {"unusable_reason": "dry"})), exclude=["A"])
    assert reasons(control)["A"] == "dry: the level is only a bound"


def test_leaving_one_of_a_cluster_out_lets_the_other_in():
    nest = {"cluster": "N1"}
    frame = wells(("A", 0, 0, {}), ("N-1", 500, 500, nest), ("N-2", 501, 500, nest))
    at = "2026-03-17T10:00"
    control = chosen(levels(("N-1", at, 1.0, {}), ("N-2", at, 1.0, {})), frame, exclude=["N-1"])
    assert reasons(control)["N-2"] == ""


def test_stages_in_contact_are_control():
    river = stages(
        ("G1", "2026-03-17T08:00Z", 39.5, 10.0, 20.0, "upper"),
        ("G1", "2026-03-17T10:30Z", 39.6, 10.0, 20.0, "upper"),
        ("G2", "2026-03-17T10:00Z", 38.0, 90.0, 20.0, "lower"),
        ("G3", "2026-03-12T10:00Z", 38.5, 50.0, 20.0, "upper"),
        ("G4", "2026-03-17T10:00Z", 38.5, None, None, "upper"),
    )
    control = chosen(levels(("A", "2026-03-17T10:00", 1.0, {})), stages=river)
    gauges = control[control["kind"] == "stage"].set_index("well")
    assert gauges.index.tolist() == ["G1", "G3", "G4"]
    assert gauges["reason"].tolist() == ["", "no measurement on the date", "no coordinates on record"]
    assert gauges.loc["G1", "water_elevation_m"] == 39.6
    assert gauges.loc["G1", "measured_at"] == "2026-03-17T11:30+01:00"
    assert gauges["measured_at"].tolist()[1] == ""


def test_an_aquifer_that_is_not_there():
    with pytest.raises(NotFoundError, match="No well and no gauge of aquifer 'deep'"):
        chosen(levels(("A", "2026-03-17T10:00", 1.0, {})), aquifer="deep")


def test_several_sites_need_a_name():
    both = pd.concat([FOUR, FOUR.assign(site="T")], ignore_index=True)
    frame = levels(("A", "2026-03-17T10:00", 1.0, {}), ("A", "2026-03-17T10:00", 7.0, {"site": "T"}))
    with pytest.raises(AnalysisError, match="wells at 2 sites: S, T"):
        chosen(frame, both)
    control = chosen(frame, both, site="T")
    assert set(control["site"]) == {"T"}
    assert control["water_elevation_m"].iloc[0] == 7.0


def test_a_negative_window_is_refused():
    with pytest.raises(SettingsError, match="0 days or more"):
        chosen(levels(), window_days=-1)


def test_no_levels_at_all():
    control = chosen(levels())
    assert set(control["reason"]) == {"no measurement on the date"}
    assert span_of(control).text == "no levels"


def test_span():
    control = chosen(
        levels(("A", "2026-03-16T09:00", 1.0, {}), ("B", "2026-03-17T15:30", 1.0, {}), ("C", "2026-03-18", 1.0, {})),
        window_days=3,
    )
    span = span_of(control)
    assert (span.hours, span.days, span.untimed) == (30.5, 3, 1)
    assert span.text == (
        "3 days; 30.5 hours over the 2 levels with a known time of day; time of day not known for 1 of 3 levels"
    )


def test_order_of_rows_changes_nothing():
    frame = levels(*[(well, f"2026-03-17T{hour:02d}:00", float(hour), {}) for well in "ABCD" for hour in (8, 10, 14)])
    turned = chosen(frame.iloc[::-1], FOUR.iloc[::-1])
    pd.testing.assert_frame_equal(turned, chosen(frame))


def test_a_set_from_the_record(tmp_path):
    record = Record(tmp_path / "r.sqlite")
    for number, code in enumerate(["A", "B", "C"]):
        record.well(code, screen=(8, 12), point=(50.0 + number, 0.5), easting=100.0 * number, northing=50.0 * number**2)
        record.event(code, f"2026-03-17T{8 + number:02d}:00", [("depth_to_water", 5.0)])
    record.well("D", point=(50.0, 0.5), easting=10.0, northing=10.0)
    record.event("D", "2026-03-17T09:00", [("depth_to_water", 7.0)], status="pumping")
    with record.store.reading() as connection:
        control = chosen(reduced_levels(Snapshot(connection)), located(fetch.wells(connection), "EPSG:25832"))
    assert control["water_elevation_m"].tolist() == [45.0, 46.0, 47.0, 43.0]
    assert control["used"].tolist() == [True, True, True, False]
    assert reasons(control)["D"] == "pumping"
    assert span_of(control).hours == 2.0


def logger_levels(*rows):
    """Return levels of loggers from (well, UTC time, elevation, half-width)."""
    made = pd.DataFrame(list(rows), columns=["well", "measured_at_utc", "water_elevation_m", "uncertainty_m"])
    when = pd.to_datetime(made["measured_at_utc"], utc=True)
    local = (when + pd.Timedelta(hours=1)).dt.strftime("%Y-%m-%dT%H:%M+01:00")
    made = made.assign(measured_at_utc=when.astype("datetime64[us, UTC]"), measured_at=local)
    return made.assign(bound="", bound_elevation_m=np.nan, usable=True, unusable_reason="")


AT_TEN = tuple((well, "2026-03-17T09:00", 47.0 + number, 0.04) for number, well in enumerate("ABCD"))


def test_a_logger_stands_in_where_nothing_was_read_and_never_for_a_reading():
    read = levels(
        ("A", "2026-03-17T09:00", 40.0, {}),
        ("B", "2026-03-17T09:30", np.nan, {"status": "no access", "unusable_reason": "no access"}),
    )
    control = chosen(read, loggers=logger_levels(*AT_TEN[:3])).set_index("well")
    assert control["source"].to_dict() == {"A": "manual", "B": "logger", "C": "logger", "D": ""}
    assert control["water_elevation_m"].to_dict() == pytest.approx(
        {"A": 40.0, "B": 48.0, "C": 49.0, "D": np.nan}, nan_ok=True
    )
    assert control.loc["B", ["measured_at", "status", "event_id", "used", "reason"]].tolist() == [
        "2026-03-17T10:00+01:00",
        "static",
        -1,
        True,
        "",
    ]
    assert control.loc["C", "uncertainty_m"] == 0.04
    assert control.loc["D", "reason"] == "no measurement on the date"


@pytest.mark.parametrize(
    ("status", "reason", "stands_in"),
    [
        ("no access", "no access", True),
        ("obstructed", "obstructed", True),
        ("frozen", "frozen", True),
        ("static", "repeats disagree", True),
        ("static", "quality suspect", True),
        ("static", "rejected on review", True),
        ("pumping", "pumping", False),
        ("recovering", "recovering", False),
        ("nearby pumping", "nearby pumping", False),
        ("affected by surface water", "affected by surface water", False),
        ("dry", "dry", False),
        ("destroyed", "destroyed", False),
        ("static", "water below the screen", False),
        ("static", "floating product not corrected", False),
    ],
)
def test_a_logger_stands_in_only_where_the_reading_failed_and_not_the_water(status, reason, stands_in):
    read = levels(("A", "2026-03-17T09:00", np.nan, {"status": status, "unusable_reason": reason}))
    control = chosen(read, loggers=logger_levels(*AT_TEN)).set_index("well")
    assert (control.loc["A", "source"] == "logger") == stands_in == control.loc["A", "used"]
    assert bool(control.loc["A", "reason"]) != stands_in


def test_a_sensor_out_of_water_is_left_out_of_the_set_with_its_bound():
    loggers = logger_levels(AT_TEN[3]).assign(
        bound="<=", bound_elevation_m=50.0, usable=False, unusable_reason="sensor out of water"
    )
    row = chosen(levels(("A", "2026-03-17T09:00", 47.0, {})), loggers=loggers).set_index("well").loc["D"]
    assert not row["used"]
    assert (row["bound"], row["source"], row["water_elevation_m"]) == ("<=", "logger", 50.0)
    assert row["reason"] == "sensor out of water: the level is only a bound"


def test_a_logger_does_not_mend_what_is_wrong_with_the_well():
    site = wells(
        ("A", 0, 0, {"decommissioned_on": "2020-01-01"}),
        ("B", 100, 0, {"purpose": "public supply"}),
        ("C", np.nan, np.nan, {}),
        ("D", 100, 100, {}),
    )
    control = chosen(levels(), site, loggers=logger_levels(*AT_TEN), exclude=["D"])
    assert not control["used"].any()
    assert reasons(control)["D"] == "left out by request"


def test_of_two_wells_at_one_place_a_logger_may_be_the_one():
    site = wells(("A", 0, 0, {}), ("B", 0.1, 0, {"screen_top_m": 30.0, "screen_bottom_m": 34.0}), ("C", 100, 100, {}))
    control = chosen(
        levels(("B", "2026-03-17T09:00", 40.0, {}), ("C", "2026-03-17T09:00", 41.0, {})),
        site,
        loggers=logger_levels(AT_TEN[0]),
    )
    assert reasons(control)["B"].startswith("one well a place: A stands for it")
    assert control.set_index("well").loc["A", "source"] == "logger"


def test_the_moment_of_a_set_is_the_median_of_its_used_readings():
    read = levels(
        ("A", "2026-03-17T09:00", 40.0, {}),
        ("B", "2026-03-17T10:00", 40.0, {}),
        ("C", "2026-03-17T11:30", 40.0, {}),
        ("D", "2026-03-17T04:00", 40.0, {"status": "pumping", "unusable_reason": "pumping"}),
    )
    assert moment_of(chosen(read), DAY, "UTC+01:00") == pd.Timestamp("2026-03-17T09:00Z")
    assert moment_of(chosen(levels(("A", "2026-03-17", 40.0, {}))), DAY, "UTC+01:00") == pd.Timestamp(
        "2026-03-17T11:00Z"
    )


def test_the_listing_names_levels_of_loggers():
    read = levels(("A", "2026-03-17T09:00", 40.0, {}))
    assert logger_text(chosen(read)) == ""
    told = logger_text(chosen(read, loggers=logger_levels(*AT_TEN[1:3])))
    assert told.endswith("B at 2026-03-17 10:00, C at 2026-03-17 10:00.")
