"""What a hydrograph shows, as numbers."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.errors import AnalysisError, SettingsError
from gwnet.figures.base.axes import day_number
from gwnet.figures.hydrograph.draw import common_span, hydrograph_plot_data
from gwnet.figures.hydrograph.events import GAP_FACTOR
from gwnet.figures.hydrograph.marks import MARKS
from gwnet.figures.hydrograph.span import LEAST_SPAN_M

from . import frames
from .frames import KNOWN_ON, SITE


def data_of(frame, well="GW-01", **options):
    return hydrograph_plot_data(frame, well, site=SITE, **options)


def joined(data):
    return [tuple(data.days[list(piece)].round().tolist()) for piece in data.lines]


def test_the_line_breaks_where_a_gap_is_longer_than_the_stated_number_of_median_intervals():
    dates, elevations = frames.quarterly(20)
    keep = [*range(8), *range(12, 20)]
    data = data_of(frames.levels("GW-01", dates[keep], elevations[keep]))
    assert data.max_gap_days == GAP_FACTOR * 91
    assert [len(piece) for piece in data.lines] == [8, 8]
    assert f"more than {GAP_FACTOR * 91:.0f} days" in " ".join(data.notes)


def test_water_read_below_the_screen_is_drawn_where_it_was_read_beside_the_bound_for_the_aquifer():
    dates, elevations = frames.quarterly(6)
    frame = frames.levels("GW-01", dates, elevations, bound_elevation_m=np.nan)
    frame.loc[2, ["bound", "usable", "water_elevation_m", "bound_elevation_m"]] = ["<=", False, 40.0, 46.5]
    data = data_of(frame)
    assert data.kind.tolist() == ["level", "level", "below the screen", "screen bound", *["level"] * 3]
    assert data.elevation_m[2:4].tolist() == [40.0, 46.5]
    assert data.days[2] == data.days[3]
    assert [len(piece) for piece in data.lines] == [2, 3]
    assert "6 events" in " ".join(data.notes)
    assert "All approved." in data.notes
    assert not any("dry" in MARKS[kind].label for kind in data.kind)


def test_a_gap_just_within_the_limit_is_bridged_and_one_just_beyond_is_not():
    dates = pd.to_datetime(["2020-01-01 12:00", "2020-01-31 12:00", "2020-03-01 12:00", "2020-03-31 13:00"])
    frame = frames.levels("GW-01", dates, [47.0, 47.1, 47.2, 47.3])
    assert [len(piece) for piece in data_of(frame, max_gap_days=30).lines] == [3]
    assert [len(piece) for piece in data_of(frame, max_gap_days=30.1).lines] == [4]


def test_bounds_break_the_line_and_disturbed_levels_are_never_joined():
    dates, elevations = frames.quarterly(10)
    status, bound, usable = ["static"] * 10, [""] * 10, [True] * 10
    status[2], usable[2] = "pumping", False
    status[3], usable[3] = "recovering", False
    status[5], bound[5], usable[5] = "dry", "<=", False
    status[8], usable[8] = "frozen", False
    data = data_of(frames.levels("GW-01", dates, elevations, status=status, bound=bound, usable=usable))
    assert data.kind.tolist() == [
        "level",
        "level",
        "pumping",
        "recovering",
        "level",
        "dry",
        "level",
        "level",
        "disturbed",
        "level",
    ]
    assert data.lines == ((0, 1, 4), (6, 7, 9))


@pytest.mark.parametrize(
    ("columns", "kind"),
    [
        ({}, "level"),
        ({"quality": "estimate"}, "estimate"),
        ({"status": "flowing"}, "level"),
        ({"status": "flowing", "bound": ">=", "usable": False}, "flowing"),
        ({"status": "dry", "bound": "<=", "usable": False}, "dry"),
        ({"usable": False, "unusable_reason": "repeats disagree"}, "unusable"),
        ({"review": "rejected", "usable": False}, "unusable"),
        ({"review": "rejected", "status": "pumping", "usable": False}, "unusable"),
        ({"status": "affected by surface water", "usable": False}, "disturbed"),
    ],
)
def test_what_an_event_is_drawn_as(columns, kind):
    assert data_of(frames.levels("GW-01", ["2024-05-01 10:00"], [47.0], **columns)).kind.tolist() == [kind]


def test_an_event_without_a_level_is_counted_not_drawn():
    frame = frames.levels(
        "GW-01", ["2024-05-01", "2024-08-01"], [47.0, np.nan], status=["static", "no access"], usable=[True, False]
    )
    data = data_of(frame)
    assert data.days.size == 1
    assert "2 events from 2024-05-01 to 2024-08-01 (local dates), 1 without a level." in data.notes


def test_logged_values_between_two_manual_readings_take_the_place_of_the_line():
    frame = frames.levels("GW-01", ["2024-01-01", "2024-03-01", "2024-05-01"], [47.0, 47.1, 47.2])
    times = pd.date_range("2024-03-10", "2024-04-10", freq="D", tz="UTC")
    data = data_of(frame, series=(times, np.full(len(times), 47.15)))
    assert data.lines == ((0, 1),)
    assert data.logger.days.size == len(times)


def test_depths_refer_to_the_newest_main_point_and_every_change_is_stated():
    dates, elevations = frames.quarterly(40)
    rows = frames.points(
        "GW-01",
        ("main", "2010-01-01", "2018-05-04", 52.310, 0.8, "installed"),
        ("main", "2018-05-04", None, 52.184, 0.7, "altered"),
        ("piezometer tube", "2024-01-01", None, 52.9, 1.4, "installed"),
    )
    data = data_of(frames.levels("GW-01", dates, elevations), measuring_points=rows)
    assert data.point_elevation_m == 52.184
    assert data.point_label == "since 2018-05-04"
    assert [(change.days, change.label) for change in data.changes] == [
        (pytest.approx(day_number(dt.date(2018, 5, 4)) + 2 / 24), "altered 52.310 → 52.184")
    ]


def test_a_retired_point_is_passed_over_and_without_any_there_is_no_depth():
    rows = frames.points("GW-01", ("main", "2010-01-01", None, 52.310, 0.8, "installed"))
    rows["retired_at_utc"] = pd.Timestamp("2024-01-01", tz="UTC")
    frame = frames.levels("GW-01", ["2024-05-01"], [47.0])
    assert np.isnan(data_of(frame, measuring_points=rows).point_elevation_m)
    assert np.isnan(data_of(frame).point_elevation_m)


def test_ground_comes_from_the_well_or_else_from_the_newest_point():
    frame = frames.levels("GW-01", ["2024-05-01"], [47.0])
    rows = frames.points("GW-01", ("main", "2010-01-01", None, 52.310, 0.8, ""))
    surveyed = data_of(frame, wells=frames.wells("GW-01"), measuring_points=rows)
    assert [(line.kind, line.elevation_m) for line in surveyed.levels] == [("ground", 51.5)]
    assert surveyed.screens_m == ((44.5, 41.5),)
    derived = data_of(frame, measuring_points=rows)
    assert derived.levels[0].elevation_m == pytest.approx(51.51)


def test_screens_come_from_the_construction_without_removed_parts():
    frame = frames.levels("GW-01", ["2024-05-01"], [47.0])
    parts = pd.DataFrame(
        {
            "well": "GW-01",
            "part": ["screen", "casing", "open hole", "screen"],
            "top_depth_m": [4.0, 0.0, 9.0, 1.0],
            "bottom_depth_m": [6.0, 4.0, 12.0, 2.0],
            "removed_on": [None, None, None, "2010-01-01"],
        }
    )
    data = data_of(frame, wells=frames.wells("GW-01"), construction=parts)
    assert data.screens_m == ((47.5, 45.5), (42.5, 39.5))


def test_thresholds_hold_from_their_day_on_and_are_sorted_from_the_top():
    dates, elevations = frames.quarterly(40)
    limits = frames.thresholds("GW-01", ("low", "lower", 46.9, None), ("high", "upper", 48.1, "2018-03-01"))
    data = data_of(frames.levels("GW-01", dates, elevations), thresholds=limits)
    assert [(line.label, line.kind) for line in data.levels] == [("high", "upper"), ("low", "lower")]
    assert data.levels[0].first == pytest.approx(day_number(dt.date(2018, 3, 1)) + 1 / 24)
    assert (data.levels[1].first, data.levels[1].last) == (data.first, data.last)


def test_a_few_millimetres_never_look_like_a_flood():
    dates, _ = frames.quarterly(4)
    data = data_of(frames.levels("GW-01", dates, [47.000, 47.005, 47.002, 47.001]))
    assert data.high_m - data.low_m >= LEAST_SPAN_M
    assert data.low_m < 47.0 < data.high_m


def test_a_rejected_reading_far_off_does_not_stretch_the_axis_but_is_stated():
    dates, elevations = frames.quarterly(8)
    elevations = elevations.copy()
    elevations[3], elevations[5] = 12.0, 99.0
    usable = [i not in (3, 5) for i in range(8)]
    data = data_of(frames.levels("GW-01", dates, elevations, usable=usable))
    assert data.high_m - data.low_m < 3
    assert data.off_scale.tolist() == [0, 0, 0, -1, 0, 1, 0, 0]


def test_a_threshold_near_the_levels_is_in_view_and_one_far_off_is_not():
    dates, elevations = frames.quarterly(8)
    limits = frames.thresholds("GW-01", ("near", "lower", 46.2, None), ("far", "lower", 30.0, None))
    data = data_of(frames.levels("GW-01", dates, elevations), thresholds=limits)
    assert data.low_m <= 46.2
    assert data.low_m > 40
    assert len(data.levels) == 2


@pytest.mark.parametrize("unit", ["m", "ft"])
def test_limits_stand_on_round_numbers_of_the_unit(unit):
    dates, elevations = frames.quarterly(8)
    data = data_of(frames.levels("GW-01", dates, elevations), unit=unit)
    per = 1.0 if unit == "m" else 0.3048
    for limit in (data.low_m, data.high_m):
        assert limit / per == pytest.approx(round(limit / per, 2), abs=1e-9)


def test_similar_wells_share_their_limits_and_distant_ones_only_the_height():
    dates, elevations = frames.quarterly(8)
    near = [frames.levels(f"GW-0{i}", dates, elevations + 0.2 * i) for i in range(3)]
    span = common_span(near)
    assert span.low_m is not None
    shown = [data_of(frame, f"GW-0{i}", span=span) for i, frame in enumerate(near)]
    assert {(one.low_m, one.high_m) for one in shown} == {(span.low_m, span.low_m + span.height_m)}
    assert all((one.off_scale == 0).all() for one in shown)

    far = [frames.levels(f"GW-0{i}", dates, elevations + 30 * i) for i in range(3)]
    span = common_span(far)
    assert span.low_m is None
    shown = [data_of(frame, f"GW-0{i}", span=span) for i, frame in enumerate(far)]
    assert [one.high_m - one.low_m for one in shown] == pytest.approx([span.height_m] * 3)
    assert all((one.off_scale == 0).all() for one in shown)


def test_a_span_takes_one_frame_of_many_wells_and_none_at_all():
    dates, elevations = frames.quarterly(8)
    parts = [frames.levels(f"GW-0{i}", dates, elevations + 0.2 * i) for i in range(3)]
    assert common_span([pd.concat(parts)]) == common_span(parts)
    assert common_span([]).height_m == LEAST_SPAN_M
    assert common_span(parts, least_m=12.0).height_m >= 12.0


def test_time_runs_from_start_to_the_end_of_the_last_day():
    dates, elevations = frames.quarterly(20)
    data = data_of(frames.levels("GW-01", dates, elevations), start=dt.date(2016, 1, 1), end=dt.date(2017, 12, 31))
    assert (data.first, data.last) == (day_number(dt.date(2016, 1, 1)), day_number(dt.date(2018, 1, 1)))
    assert data.days.size == 8
    assert data.days.min() >= data.first
    assert data.days.max() < data.last


def test_rain_is_summed_by_the_month_and_by_the_year_for_long_records():
    dates, elevations = frames.quarterly(40)
    data = data_of(frames.levels("GW-01", dates, elevations), context=frames.rainfall())
    (bars,) = data.context
    assert (bars.label, bars.unit) == ("rainfall, monthly sum", "mm")
    assert bars.value.tolist()[:4] == bars.width.tolist()[:4]
    february = np.flatnonzero(bars.left == day_number(dt.date(2016, 2, 1)))[0]
    assert bars.value[february] == 29

    old = pd.date_range("1960-06-01", "2020-06-01", freq="YS")
    century = data_of(
        frames.levels("GW-01", old, np.full(len(old), 47.0)), context=frames.rainfall("1960-01-01", "2019-12-31")
    )
    assert century.context[0].label == "rainfall, yearly sum"
    assert set(century.context[0].value) == {365.0, 366.0}


def test_a_rate_is_averaged_not_summed():
    dates, elevations = frames.quarterly(8)
    pumped = frames.rainfall("2015-01-01", "2016-12-31").assign(quantity="abstraction", unit="m³/d", value=250.0)
    (bars,) = data_of(frames.levels("GW-01", dates, elevations), context=pumped).context
    assert bars.label == "abstraction, monthly mean"
    assert set(bars.value) == {250.0}


def test_captions_say_datum_period_states_and_the_moment_of_the_record():
    dates, elevations = frames.quarterly(8)
    review = ["approved"] * 5 + ["provisional"] * 3
    data = data_of(
        frames.levels("GW-01", dates, elevations, review=review), known_on=KNOWN_ON, aquifer_name="Upper gravel"
    )
    text = " ".join(data.notes)
    assert "Elevations above local datum 1987." in text
    assert "8 events from 2015-02-10 to 2016-11-08" in text
    assert "5 of 8 approved" in text
    assert "Record as known on 2026-04-07 09:30:00 UTC (state 3)." in text
    assert (data.well, data.heading, data.site) == ("GW-01", "Upper gravel (A1)", "Sandhaven gravel plain")


def test_a_well_without_events_still_has_axes():
    data = data_of(frames.levels("GW-01", ["2024-05-01"], [47.0]), "GW-99")
    assert data.days.size == 0
    assert data.high_m - data.low_m >= LEAST_SPAN_M
    assert "No event on record in this time." in data.notes


def test_wrong_use_is_refused():
    frame = frames.levels("GW-01", ["2024-05-01"], [47.0])
    with pytest.raises(SettingsError, match="'inch'"):
        data_of(frame, unit="inch")
    with pytest.raises(SettingsError, match="before its start"):
        data_of(frame, start=dt.date(2024, 2, 1), end=dt.date(2024, 1, 1))
    twice = pd.concat([frame, frame.assign(site="OTHER")])
    with pytest.raises(AnalysisError, match="2 sites"):
        data_of(twice)
