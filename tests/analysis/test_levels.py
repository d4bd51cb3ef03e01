import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.explain import explain
from gwnet.analysis.levels.screen_limits import screen_limits
from gwnet.analysis.levels.serving import unusable_reasons
from gwnet.analysis.levels.table import PRINTED_COLUMNS, levels
from gwnet.errors import NotFoundError
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

from .record import RECORDED_ON, Record

WATER = "depth_to_water"


@pytest.fixture
def record(tmp_path):
    made = Record(tmp_path / "record.sqlite")
    yield made
    made.store.close()


def all_levels(record, known_on=None, **wanted):
    with record.store.reading() as connection:
        return levels(Snapshot(connection, known_on), Selection.of(**wanted))


def only(record, **wanted):
    table = all_levels(record, **wanted)
    assert len(table) == 1
    return table.iloc[0]


def test_columns_of_the_contract_come_first_and_in_order(record):
    assert tuple(all_levels(record).columns[: len(PRINTED_COLUMNS)]) == PRINTED_COLUMNS


def test_a_plain_reading(record):
    record.well("MW-1", point=(101.250, 0.80))
    record.event("MW-1", "2024-03-12T09:40", [(WATER, 3.474), (WATER, 3.476)], quality="good")
    level = only(record)
    assert level["measured_at"] == "2024-03-12T10:40+01:00"
    assert level["water_elevation_m"] == pytest.approx(97.775)
    assert level["depth_to_water_m"] == pytest.approx(3.475)
    assert level["depth_below_ground_m"] == pytest.approx(2.675)
    assert level["measuring_point_elevation_m"] == 101.250
    assert (level["bound"], level["finding"], level["review"], level["quality"]) == ("", "", "provisional", "good")
    assert level["usable"]


def test_a_date_without_a_time_prints_as_a_date(record):
    record.well("MW-1", point=(100.0, 0.0))
    record.event("MW-1", "2024-03-12T11:00", [(WATER, 1.0)], time_known=False)
    assert only(record)["measured_at"] == "2024-03-12"


def test_the_measuring_point_in_force_at_the_time_counts(record):
    record.well("MW-1")
    record.point("MW-1", 101.0, "2018-01-01", "2021-06-01")
    record.point("MW-1", 100.6, "2021-06-01")
    for when in ("2021-05-31T23:59", "2021-06-01T00:00"):
        record.event("MW-1", when, [(WATER, 2.0)])
    assert all_levels(record)["water_elevation_m"].tolist() == pytest.approx([99.0, 98.6])


def test_no_measuring_point_is_a_finding_and_no_number(record):
    record.well("MW-1", point=(100.0, 0.0))
    record.event("MW-1", "2017-12-31T12:00", [(WATER, 1.0)])
    level = only(record)
    assert np.isnan(level["water_elevation_m"])
    assert level["finding"] == "no measuring point in force"
    assert level["unusable_reason"] == "no measuring point in force"


def test_each_access_has_its_own_measuring_point(record):
    record.well("PW-1", point=(100.0, 0.5))
    record.point("PW-1", 101.0, access="sounding tube")
    record.event("PW-1", "2024-01-01T10:00", [(WATER, 5.0)])
    record.event("PW-1", "2024-01-01T10:05", [(WATER, 6.0)], access="sounding tube")
    assert all_levels(record)["water_elevation_m"].tolist() == pytest.approx([95.0, 95.0])


def test_disagreeing_repeats_are_kept_out_until_somebody_chooses(record):
    record.well("MW-1", point=(100.0, 0.0))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 5.00), (WATER, 5.10)])
    record.event("MW-1", "2024-04-01T10:00", [(WATER, 5.00), (WATER, 5.10)], chosen_reading=1)
    table = all_levels(record)
    assert table["finding"].tolist() == ["repeats disagree", ""]
    assert table["usable"].tolist() == [False, True]
    assert np.isnan(table["water_elevation_m"][0])
    assert table["water_elevation_m"][1] == pytest.approx(95.0)


def test_the_tolerance_of_the_site_counts(tmp_path):
    record = Record(tmp_path / "loose.sqlite", repeat_tolerance_m=0.2)
    record.well("MW-1", point=(100.0, 0.0))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 5.00), (WATER, 5.10)])
    assert only(record)["water_elevation_m"] == pytest.approx(94.95)


def test_a_stretched_tape_is_corrected_from_its_last_check(record):
    record.well("MW-1", point=(200.0, 0.0))
    record.tape("T1")
    record.check("T1", "2024-01-10", 0.0, 0.0)
    record.check("T1", "2024-01-10", 100.0, 99.9)
    tape = record.instruments["T1"]
    record.event("MW-1", "2024-01-09T10:00", [(WATER, 50.0)], instrument_id=tape)
    record.event("MW-1", "2024-02-01T10:00", [(WATER, 50.0)], instrument_id=tape)
    record.event("MW-1", "2024-03-01T10:00", [(WATER, 120.0)], instrument_id=tape)
    table = all_levels(record)
    assert table["water_elevation_m"].tolist() == pytest.approx([150.0, 150.05, 80.1])
    assert table["finding"].tolist() == ["", "", "beyond the tape check"]
    assert table["uncertainty_m"][1] < table["uncertainty_m"][0]


def test_a_tape_that_was_never_checked_among_checked_ones_is_less_sure(record):
    record.well("MW-1", point=(100.0, 0.0))
    for name in ("T1", "T2"):
        record.tape(name)
    for day, name in (("2024-01-09", "T1"), ("2024-02-01", "T2")):
        record.event("MW-1", f"{day}T10:00", [(WATER, 4.0)], instrument_id=record.instruments[name])
    alone = all_levels(record)["uncertainty_m"]
    assert alone[0] == alone[1] < 0.1
    record.check("T1", "2024-01-10", 5.0, 5.0)
    before_its_check, never = all_levels(record)["uncertainty_m"]
    assert before_its_check == alone[0]
    assert never == pytest.approx(np.hypot(alone[1], 0.1))


def test_a_new_tape_check_flows_into_levels_already_read(record):
    record.well("MW-1", point=(200.0, 0.0))
    record.tape("T1")
    record.event("MW-1", "2024-02-01T10:00", [(WATER, 50.0)], instrument_id=record.instruments["T1"])
    before = only(record)["water_elevation_m"]
    record.check("T1", "2024-01-10", 50.0, 49.9)
    assert (before, only(record)["water_elevation_m"]) == (pytest.approx(150.0), pytest.approx(150.1))


def test_depth_below_ground_uses_the_ground_at_the_measuring_point(record):
    record.well("MW-1", point=(101.0, 0.8))
    record.event("MW-1", "2024-01-01T10:00", [("depth_below_ground", 2.0)])
    level = only(record)
    assert level["water_elevation_m"] == pytest.approx(98.2)
    assert level["depth_to_water_m"] == pytest.approx(2.8)


def test_depth_below_ground_without_a_measuring_point_uses_the_wells_ground(record):
    record.well("MW-1", ground_elevation_m=100.2)
    record.event("MW-1", "2024-01-01T10:00", [("depth_below_ground", 2.0)])
    level = only(record)
    assert level["water_elevation_m"] == pytest.approx(98.2)
    assert level["finding"] == ""
    assert level["usable"]


def test_a_measuring_point_in_another_datum_is_noticed_and_stays_out(record):
    record.well("MW-1")
    record.point("MW-1", 101.0, vertical_datum="Old datum")
    record.well("MW-2")
    record.point("MW-2", 101.0, vertical_datum=" LOCAL ")
    for code in ("MW-1", "MW-2"):
        record.event(code, "2024-01-01T10:00", [(WATER, 2.0)])
    table = all_levels(record)
    assert table["finding"].tolist() == ["measuring point in another datum", ""]
    assert table["usable"].tolist() == [False, True]
    assert "above Old datum" in explained(record, "MW-1", "2024-01-01")[0].text()


def test_a_level_from_the_wells_ground_is_as_sure_as_that(record):
    record.well("MW-1", ground_elevation_m=100.2, ground_accuracy_m=1.5)
    record.point("MW-1", 101.0)
    record.event("MW-1", "2024-01-01T10:00", [("depth_below_ground", 2.0)])
    level = only(record)
    assert level["water_elevation_m"] == pytest.approx(98.2)
    assert level["uncertainty_m"] > 1.4


def test_a_given_elevation_stands_as_it_is(record):
    record.well("MW-1", point=(101.0, 0.8))
    record.event("MW-1", "2024-01-01T10:00", [("water_elevation", 98.2)])
    level = only(record)
    assert level["water_elevation_m"] == 98.2
    assert level["depth_to_water_m"] == pytest.approx(2.8)
    assert level["depth_below_ground_m"] == pytest.approx(2.0)


def test_readings_in_feet_are_converted_once(record):
    record.well("MW-1", point=(101.0, 0.0))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 10.0, "ft"), (WATER, 10.01, "ft")])
    assert only(record)["depth_to_water_m"] == pytest.approx(10.005 * 0.3048)


def test_flowing_with_a_standpipe_is_a_negative_depth(record):
    record.well("MW-1", point=(100.0, 0.5))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, -1.2)], status="flowing")
    level = only(record)
    assert level["water_elevation_m"] == pytest.approx(101.2)
    assert level["usable"]


def test_flowing_without_a_number_is_a_bound_above(record):
    record.well("MW-1", point=(100.0, 0.5))
    record.event("MW-1", "2024-01-01T10:00", status="flowing")
    level = only(record)
    assert (level["bound"], level["water_elevation_m"]) == (">=", 100.0)
    assert level["unusable_reason"] == "flowing, head not measured"


@pytest.mark.parametrize(
    ("screen", "sounded", "bound_below_ground"),
    [((8.0, 12.0), 12.7, 12.0), ((8.0, 12.0), 10.1, 9.4), ((8.0, 12.0), None, 12.0), (None, 12.7, 12.0)],
    ids=["sump is empty too", "silted up", "not sounded", "no screen on record"],
)
def test_dry_is_a_bound(record, screen, sounded, bound_below_ground):
    record.well("MW-1", screen=screen, point=(100.7, 0.7))
    readings = [("sounded_depth", sounded)] if sounded else []
    record.event("MW-1", "2024-01-01T10:00", readings, status="dry")
    level = only(record)
    assert level["bound"] == "<="
    assert level["water_elevation_m"] == pytest.approx(100.0 - bound_below_ground)
    assert np.isnan(level["depth_below_ground_m"])
    assert np.isnan(level["depth_to_water_m"])
    assert not level["usable"]
    assert level["unusable_reason"] == "dry"


def test_dry_without_any_depth_is_a_finding(record):
    record.well("MW-1", point=(100.7, 0.7))
    record.event("MW-1", "2024-01-01T10:00", status="dry")
    level = only(record)
    assert level["bound"] == ""
    assert np.isnan(level["water_elevation_m"])
    assert level["finding"] == "dry without a depth"


def test_water_in_the_sump_is_not_aquifer_head(record):
    record.well("MW-1", screen=(8.0, 12.0), point=(100.7, 0.7))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 13.0)])
    level = only(record)
    assert (level["bound"], level["finding"]) == ("<=", "water below the screen")
    assert level["water_elevation_m"] == pytest.approx(87.7)
    assert level["depth_to_water_m"] == pytest.approx(13.0)
    assert level["bound_elevation_m"] == pytest.approx(88.0)
    assert level["unusable_reason"] == "water below the screen"


@pytest.mark.parametrize(
    ("screens", "total_depth", "closing", "limit"),
    [
        ([(8.0, 12.0)], 12.5, None, 12.0),  # a short sump goes unrecorded
        ([(8.0, 12.0)], 13.0, None, 12.0),  # so does one of a metre
        ([(8.0, 12.0)], 13.1, None, None),
        ([(8.0, 12.0)], None, None, 12.0),
        ([(8.0, 12.0)], 40.0, None, None),  # a deeper well, open below as far as the record says
        ([(8.0, 12.0)], 40.0, "seal", 12.0),
        ([(8.0, 12.0)], 40.0, "casing", 12.0),
        ([(8.0, 12.0), (20.0, 25.0)], 25.5, None, 25.0),  # the lowest of several intervals
        ([], 40.0, None, None),
    ],
)
def test_a_well_is_cut_off_at_its_lowest_screen_where_it_is_closed_below(screens, total_depth, closing, limit):
    parts = [(1, "screen", top, bottom) for top, bottom in screens] + [(1, "casing", 0.0, 8.0)]
    parts += [(1, closing, 12.0, 40.0)] if closing else []
    construction = pd.DataFrame(parts, columns=["well_id", "part", "top_depth_m", "bottom_depth_m"])
    lowest = max((bottom for _, bottom in screens), default=np.nan)
    wells = pd.DataFrame({"well_id": [1], "screen_bottom_m": [lowest], "total_depth_m": [total_depth or np.nan]})
    found = screen_limits(wells, construction.assign(removed_on=pd.NaT)).iloc[0]
    assert found == limit if limit else np.isnan(found)


def test_a_level_below_the_well_or_above_its_rim_is_no_control_until_it_is_approved(record):
    record.well("MW-1", point=(100.7, 0.7), total_depth_m=12.0)
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 13.0)])
    record.event("MW-1", "2024-01-02T10:00", [("water_elevation", 101.0)])
    record.event("MW-1", "2024-01-03T10:00", [("water_elevation", 101.0)], status="flowing")
    table = all_levels(record)
    reasons = ["below the bottom of the well", "above the measuring point, not flowing", ""]
    assert table["unusable_reason"].tolist() == reasons
    # approved and nobody dismissed the finding: it stays out
    approved = unusable_reasons(table.assign(review="approved"))
    assert [reason.startswith("serious finding open: ") for reason in approved] == [True, True, False]
    assert unusable_reasons(table.assign(review="approved", open_finding="")).tolist() == ["", "", ""]


def test_sounding_counts_the_probe_below_the_sensing_point(record):
    record.well("MW-1", point=(100.7, 0.7))
    record.tape("T1", length_below_sensing_point_m=0.11)
    readings = [(WATER, 3.0), ("sounded_depth", 12.0)]
    record.event("MW-1", "2024-01-01T10:00", readings, instrument_id=record.instruments["T1"])
    assert only(record)["sounded_depth_m"] == pytest.approx(12.0 + 0.11 - 0.7)


def test_floating_product_is_corrected_and_both_heads_are_given(record):
    record.well("MW-1", point=(100.0, 0.0))
    readings = [(WATER, 5.5), (WATER, 5.5), ("depth_to_product", 5.0)]
    record.event("MW-1", "2024-01-01T10:00", readings, product_relative_density=0.8)
    level = only(record)
    assert level["product_thickness_m"] == pytest.approx(0.5)
    assert level["water_elevation_uncorrected_m"] == pytest.approx(94.5)
    assert level["water_elevation_m"] == pytest.approx(94.9)


def test_product_without_density_stays_out_of_maps(record):
    record.well("MW-1", point=(100.0, 0.0))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 5.5), ("depth_to_product", 5.0)])
    level = only(record)
    assert level["water_elevation_m"] == pytest.approx(94.5)
    assert level["unusable_reason"] == "floating product not corrected"


@pytest.mark.parametrize("status", ["pumping", "recovering", "nearby pumping", "affected by surface water"])
def test_levels_that_are_not_static_have_a_number_and_stay_out(record, status):
    record.well("MW-1", point=(100.0, 0.0))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 5.0)], status=status)
    level = only(record)
    assert level["water_elevation_m"] == pytest.approx(95.0)
    assert level["unusable_reason"] == status


@pytest.mark.parametrize("state", ["rejected", "on hold", "approved"])
def test_review_decides_on_use(record, state):
    record.well("MW-1", point=(100.0, 0.0))
    event = record.event("MW-1", "2024-01-01T10:00", [(WATER, 5.0)])
    record.add("review", level_event_id=event, state=state)
    level = only(record)
    assert level["review"] == state
    assert level["usable"] == (state == "approved")


def test_a_corrected_survey_changes_levels_and_known_on_brings_the_old_ones_back(record):
    record.well("MW-1")
    wrong = record.point("MW-1", 100.0)
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 5.0)])
    later = RECORDED_ON + dt.timedelta(days=1)
    record.retire("measuring_point", wrong, later)
    record.point("MW-1", 100.3, recorded_at_utc=later)
    assert only(record)["water_elevation_m"] == pytest.approx(95.3)
    assert all_levels(record, known_on=RECORDED_ON)["water_elevation_m"].tolist() == pytest.approx([95.0])
    assert all_levels(record, known_on=RECORDED_ON - dt.timedelta(minutes=2)).empty


@pytest.mark.slow
def test_filters(record):
    for code in ("MW-1", "MW-2"):
        record.well(code, point=(100.0, 0.0))
        for when in ("2024-01-01T10:00", "2024-04-01T10:00"):
            record.event(code, when, [(WATER, 5.0)])
    assert all_levels(record, wells=["MW-2"])["well"].tolist() == ["MW-2"] * 2
    assert len(all_levels(record, start=dt.datetime(2024, 2, 1, tzinfo=dt.UTC))) == 2
    assert len(all_levels(record, aquifer="upper")) == 4
    assert all_levels(record, site="other").empty


def explained(record, well, time, **more):
    with record.store.reading() as connection:
        return explain(Snapshot(connection), well, time, **more)


def test_an_event_is_found_by_its_instant_in_any_zone(record):
    record.well("MW-1", point=(101.0, 0.7))
    record.event("MW-1", "2024-03-01T10:00", [("depth_to_water", 5.0)])
    (there,) = explained(record, "MW-1", "2024-03-01")
    for time in ("2024-03-01T10:00Z", "2024-03-01T15:30+05:30"):
        assert explained(record, "MW-1", time) == [there]
    for time in ("2024-03-01T10:01Z", "2024-03-01T23:10"):
        with pytest.raises(NotFoundError):
            explained(record, "MW-1", time)


def test_explanation_names_every_step(record):
    record.well("MW-1", screen=(2.0, 9.0))
    record.point("MW-1", 101.0, height_above_ground_m=0.7, surveyed_by="Survey team", survey_method="levelled")
    record.tape("T1")
    record.check("T1", "2023-12-01", 0.0, 0.0)
    record.check("T1", "2023-12-01", 10.0, 9.98)
    readings = [(WATER, 5.000), (WATER, 5.002)]
    record.event("MW-1", "2024-01-01T10:00", readings, instrument_id=record.instruments["T1"], observer="Cleo")
    (made,) = explained(record, "MW-1", "2024-01-01")
    text = made.text()
    for phrase in (
        "S MW-1 at 2024-01-01T11:00+01:00",
        "5.002 m",
        "2 readings agree, averaged",
        "check of T1 on 2023-12-01",
        "-0.010 m",
        "levelled, Survey team",
        "+0.700 m",
        "96.009 m",
        "survey of the measuring point 0.005 m",
        "may enter maps and trends",
    ):
        assert phrase in text


def test_explanation_says_why_a_level_was_corrected(record):
    record.well("MW-1", point=(101.0, 0.7))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 5.0)], reason="misread by a metre")
    (made,) = explained(record, "MW-1", "2024-01-01")
    assert ": misread by a metre" in made.text()


def test_explanation_in_feet(record):
    record.well("MW-1", point=(30.48, 0.0))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 10.0, "ft")])
    assert "90.00 ft" in explained(record, "MW-1", "2024-01-01 11:00", unit="ft")[0].text()


def test_explanation_of_an_unknown_time_names_the_nearest(record):
    record.well("MW-1", point=(100.0, 0.0))
    record.event("MW-1", "2024-01-01T10:00", [(WATER, 5.0)])
    with pytest.raises(NotFoundError, match="2024-01-01T11:00"):
        explained(record, "MW-1", "2024-01-03")
    with pytest.raises(NotFoundError, match="gwnet wells"):
        explained(record, "MW-9", "2024-01-03")


@pytest.mark.parametrize(
    ("status", "readings", "phrase"),
    [
        ("dry", [("sounded_depth", 9.0)], "a bound: shallower of screen bottom and sounded depth"),
        ("flowing", [], "a bound: water above the measuring point"),
        ("static", [(WATER, 5.0), (WATER, 6.0)], "2 readings disagree"),
        ("static", [(WATER, 5.0), ("depth_to_product", 4.0)], "product without density"),
        ("static", [("water_elevation", 95.0)], "as read"),
        ("static", [("depth_below_ground", 5.0)], "ground less depth below ground"),
    ],
)
def test_explanation_of_other_kinds(record, status, readings, phrase):
    record.well("MW-1", point=(100.0, 0.5))
    record.event("MW-1", "2024-01-01T10:00", readings, status=status)
    assert phrase in explained(record, "MW-1", "2024-01-01")[0].text()
