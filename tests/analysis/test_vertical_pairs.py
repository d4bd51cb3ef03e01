"""Which wells of a cluster are paired, and when; constructed frames."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.maps.vertical_pairs import VERTICAL_COLUMNS, site_vertical_table, vertical_table
from gwnet.errors import NotFoundError

from .frames import FrameRecord, levels, wells

SHALLOW = {"cluster": "K", "screen_top_m": 4.0, "screen_bottom_m": 6.0}
DEEP = {"cluster": "K", "screen_top_m": 20.0, "screen_bottom_m": 22.0}


def pairs(given_up=None, drilled=None):
    """Return the days of the rows of a pair of which the deep well is read in March alone."""
    site = wells(("U", 0, 0, SHALLOW), ("L", 1, 0, {**DEEP, "decommissioned_on": given_up, "drilled_on": drilled}))
    table = levels(
        ("U", "2026-02-17T10:00", 40.0, {"round": "R1"}),
        ("U", "2026-03-17T10:00", 40.0, {"round": "R2"}),
        ("L", "2026-03-17T11:00", 39.0, {"round": "R2"}),
        ("U", "2026-04-17T10:00", 40.0, {"round": "R3"}),
    )
    return vertical_table(table, site, window_days=1.0)["round"].tolist()


def test_a_round_in_which_a_well_of_the_pair_was_not_read_has_a_row_that_says_so():
    assert pairs() == ["R1", "R2", "R3"]


def test_a_well_is_missed_neither_before_it_was_drilled_nor_after_it_was_given_up():
    assert pairs(drilled=dt.date(2026, 3, 1)) == ["R2", "R3"]
    assert pairs(given_up=dt.date(2026, 4, 1)) == ["R1", "R2"]
    assert pairs(drilled=dt.date(2026, 3, 1), given_up=dt.date(2026, 4, 1)) == ["R2"]
    assert pairs(given_up=dt.date(2026, 4, 17)) == ["R1", "R2", "R3"]


def well_of(name, ground, top, bottom, **more):
    screen = {"ground_elevation_m": ground, "screen_top_m": top, "screen_bottom_m": bottom}
    return name, 0.0, 0.0, {"cluster": "K", **screen, **more}


def test_a_well_pairs_with_each_of_the_next_deeper_ones_and_not_with_those_at_its_own_depth():
    """Middles of screens at 56.0; 46.8 and 46.4; 27.8 and 27.7 m; one without a screen comes last."""
    site = wells(
        well_of("U", 61.5, 4.0, 7.0),
        well_of("M", 60.1, 12.0, 15.4),
        well_of("M2", 60.0, 12.1, 14.3),
        well_of("L2", 59.3, 29.8, 33.2),
        well_of("L", 59.2, 30.0, 33.0),
        well_of("N", 59.0, np.nan, np.nan),
        well_of("X", 59.0, 40.0, 41.0, cluster=""),
        well_of("Y", 59.0, 40.0, 41.0, cluster=None),
    )
    table = levels(*[(name, "2026-03-17T10:00", 40.0, {}) for name in site["well"]])
    found = vertical_table(table, site)
    assert tuple(found.columns) == VERTICAL_COLUMNS
    distances = {
        ("L", "N"): np.nan,
        ("L2", "N"): np.nan,
        ("M", "L"): 18.7,
        ("M", "L2"): 18.6,
        ("M2", "L"): 19.1,
        ("M2", "L2"): 19.0,
        ("U", "M"): 9.6,
        ("U", "M2"): 9.2,
    }
    assert list(zip(found["upper_well"], found["lower_well"], strict=True)) == list(distances)
    assert found["screen_distance_m"].tolist() == pytest.approx(list(distances.values()), rel=1e-9, nan_ok=True)
    note = "N: no screen on record, or no elevation of the ground"
    assert found["note"].tolist()[:2] == [note, note]
    assert found["direction"].tolist() == ["", ""] + ["not determined"] * 6
    assert set(found["date"]) == {"2026-03-17"}
    assert (found["site"] + found["cluster"] + found["round"]).tolist() == ["SK"] * 8


@pytest.mark.parametrize(("deeper", "paired"), [(12.5, True), (12.75, True), (12.25, False)])
def test_half_a_metre_between_the_middles_makes_two_depths(deeper, paired):
    """The middle of the upper screen lies at 12 m below one ground, that of the lower one at the depth given."""
    site = wells(well_of("A", 60.0, 11.0, 13.0), well_of("B", 60.0, deeper - 0.5, deeper + 0.5))
    table = levels(("A", "2026-03-17T10:00", 40.0, {}), ("B", "2026-03-17T10:00", 40.0, {}))
    assert len(vertical_table(table, site)) == int(paired)


PAIR = wells(well_of("U", 61.5, 4.0, 7.0), well_of("L", 59.25, 30.0, 33.0))
RISE = 56.0 - 27.75


def row_of(*rows, site=PAIR, window_days=2.0):
    """Return the one row of the levels of one round as a dictionary."""
    named = [(well, when, head, {"round": "R", "uncertainty_m": 0.03, **more}) for well, when, head, more in rows]
    (row,) = vertical_table(levels(*named), site, window_days=window_days).to_dict("records")
    return row


def test_a_row_has_the_differences_and_gradients_of_the_two_levels():
    up = row_of(("U", "2026-03-17T10:15", 58.25, {}), ("L", "2026-03-17T13:02", 60.0, {"uncertainty_m": 0.04}))
    numbers = {
        "screen_distance_m": RISE,
        "head_difference_m": 1.75,
        "head_difference_uncertainty_m": 0.05,
        "vertical_gradient": 1.75 / RISE,
        "vertical_gradient_uncertainty": 0.05 / RISE,
        "hours_apart": 2.78,
    }
    words = {"site": "S", "cluster": "K", "upper_well": "U", "lower_well": "L", "round": "R", "date": "2026-03-17"}
    assert {name: up.pop(name) for name in numbers} == pytest.approx(numbers, rel=1e-9)
    assert up == {**words, "direction": "upward", "note": ""}
    down = row_of(("U", "2026-03-17T13:15", 58.25, {}), ("L", "2026-03-17T10:00", 57.75, {"uncertainty_m": 0.04}))
    assert (down["head_difference_m"], down["direction"], down["hours_apart"]) == (-0.5, "downward", 3.25)


@pytest.mark.parametrize(
    ("upper", "lower", "note", "date", "hours"),
    [
        ("2026-03-17T10:00", "2026-03-18T11:00", "levels 1 day apart", "2026-03-17", 25.0),
        ("2026-03-19T10:00", "2026-03-17T10:00", "levels 2 days apart", "2026-03-17", 48.0),
        ("2026-03-20T10:00", "2026-03-17T10:00", "not on one day: 2026-03-20 and 2026-03-17", "2026-03-17", 72.0),
        ("2026-03-17", "2026-03-17T10:00", "", "2026-03-17", np.nan),
        ("2026-03-17T10:00", "2026-03-17", "", "2026-03-17", np.nan),
    ],
)
def test_levels_up_to_the_window_apart_make_a_gradient_and_hours_need_both_times(upper, lower, note, date, hours):
    row = row_of(("U", upper, 58.25, {}), ("L", lower, 60.0, {}))
    assert (row["note"], row["date"]) == (note, date)
    assert row["hours_apart"] == pytest.approx(hours, nan_ok=True)
    assert (row["direction"] == "") == np.isnan(row["head_difference_m"]) == note.startswith("not on one day")


@pytest.mark.parametrize(
    ("head", "half_width", "note"),
    [
        (57.5, 0.03, ""),  # at the top of the screen, 61.5 - 4 m
        (57.25, 0.03, "water stands in the screen of U; the middle of the whole screen is taken"),
        (58.25, np.nan, "no uncertainty of a level is known"),
    ],
)
def test_a_gradient_says_what_its_reader_must_know(head, half_width, note):
    row = row_of(("U", "2026-03-17T10:00", head, {"uncertainty_m": half_width}), ("L", "2026-03-17T10:00", 60.0, {}))
    assert row["note"] == note
    assert row["direction"] == ("not determined" if np.isnan(half_width) else "upward")
    assert row["vertical_gradient"] == pytest.approx((60.0 - head) / RISE, rel=1e-9)


@pytest.mark.parametrize(("top", "note"), [(6.5, "the screens overlap"), (6.75, ""), (7.0, "")])
def test_screens_overlap_where_the_lower_one_begins_above_the_end_of_the_upper_one(top, note):
    site = wells(well_of("U", 61.5, 4.0, 7.0), well_of("L", 61.25, top, 33.0))
    assert row_of(("U", "2026-03-17T10:00", 58.0, {}), ("L", "2026-03-17T10:00", 60.0, {}), site=site)["note"] == note


def test_of_several_levels_the_usable_ones_closest_in_time_make_the_gradient():
    row = row_of(
        ("U", "2026-03-17T08:00", 58.0, {}),
        ("U", "2026-03-17T12:00", 58.5, {}),
        ("U", "2026-03-17T12:40", 59.0, {"unusable_reason": "pumping"}),
        ("L", "2026-03-17T09:30", 60.0, {}),
        ("L", "2026-03-17T12:45", 60.25, {}),
    )
    assert (row["head_difference_m"], row["hours_apart"]) == (1.75, 0.75)


def test_a_row_without_a_gradient_says_which_well_is_in_the_way():
    dry = {"unusable_reason": "dry"}
    missing = row_of(("L", "2026-03-18T10:00", 60.0, {}))
    assert (missing["note"], missing["date"], missing["direction"]) == ("U: not measured", "2026-03-18", "")
    assert missing["screen_distance_m"] == RISE
    assert np.isnan([missing[name] for name in VERTICAL_COLUMNS[7:11]]).all()
    assert np.isnan(missing["hours_apart"])
    both = row_of(("U", "2026-03-17T10:00", 58.0, {}), ("L", "2026-03-18T10:00", 60.0, dry))
    assert (both["note"], both["round"], both["date"]) == ("L: dry", "R", "2026-03-17")


def test_levels_outside_rounds_go_by_their_day_and_sites_are_apart():
    day = {"round": ""}
    rows = [("U", "2026-03-17T10:00", 58.0, day), ("L", "2026-03-17T10:00", 60.0, day)]
    rows += [("U", "2026-03-18T10:00", 58.0, day), ("L", "2026-03-18T10:00", 61.0, day)]
    rows += [(well, when, head + 5.0 * (well == "L"), {**more, "site": "T"}) for well, when, head, more in rows[:2]]
    site = pd.concat([PAIR.assign(site="T"), PAIR], ignore_index=True)
    found = vertical_table(levels(*rows), site)
    assert found["site"].to_dict() == {0: "S", 1: "S", 2: "T"}
    assert found["date"].tolist() == ["2026-03-17", "2026-03-18", "2026-03-17"]
    assert found["head_difference_m"].tolist() == [2.0, 3.0, 7.0]
    assert found["round"].tolist() == ["", "", ""]


def test_a_well_exists_on_the_day_it_was_drilled():
    assert pairs(drilled=dt.date(2026, 4, 17)) == ["R2", "R3"]


def test_the_clusters_of_a_site_with_the_window_of_the_site():
    site = pd.concat([PAIR, PAIR.assign(cluster="J", well=["P", "Q"])], ignore_index=True)
    apart = levels(
        *[(well, f"2026-03-{day}T10:00", 58.0, {}) for well, day in (("U", 17), ("L", 18), ("P", 17), ("Q", 17))]
    ).assign(round="R")
    record = FrameRecord(apart, site)
    found = site_vertical_table(record)
    assert found["cluster"].tolist() == ["J", "K"]
    assert found["note"].tolist() == ["", "not on one day: 2026-03-17 and 2026-03-18"]
    assert site_vertical_table(record, clusters=["K"])["cluster"].tolist() == ["K"]
    wide = FrameRecord(apart, site, same_day_window_days=1.0)
    assert site_vertical_table(wide, clusters=["K"])["note"].tolist() == ["levels 1 day apart"]
    assert site_vertical_table(wide, window_days=0.5)["note"].tolist()[1].startswith("not on one day")
    with pytest.raises(NotFoundError, match="No cluster X is on record") as caught:
        site_vertical_table(record, clusters=["K", "X"])
    assert caught.value.fix == "On record: J, K."
    for none in ("", None):
        with pytest.raises(NotFoundError, match="No cluster of wells is on record") as caught:
            site_vertical_table(FrameRecord(apart, site.assign(cluster=none)))
        assert caught.value.fix == "Name clusters in wells."
