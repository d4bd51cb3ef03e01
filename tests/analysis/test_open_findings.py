"""Levels with an open serious finding serve no result until somebody dismisses it; on the demo network's record."""

import datetime as dt

import pandas as pd
import pytest

import gwnet
from gwnet.analysis.checks.open_findings import events_of_finding, open_findings
from gwnet.analysis.levels.frame import levels_frame
from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.analysis.levels.serving import PURPOSES, is_reading_at_fault, judge_levels, with_open_findings
from gwnet.store.session import open_store
from gwnet.store.snapshot import Snapshot

AT = dt.datetime(2027, 1, 5, 8, 0, tzinfo=dt.UTC)

#: A tape in feet, the reading of a neighbour, a slip of a whole metre.
BLUNDERS = {
    ("W-11", "2022-05-17"): "fits in another unit",
    ("L-04", "2023-08-16"): "readings of another well",
    ("W-14", "2020-08-18"): "off by a round amount",
}


def level(levels, well, day):
    (row,) = levels[(levels["well"] == well) & levels["measured_at"].str.startswith(day)].to_dict("records")
    return row


@pytest.fixture(scope="module")
def levels(demo_record):
    with gwnet.open(demo_record) as net:
        yield net.levels()


@pytest.mark.parametrize(("place", "rule"), BLUNDERS.items(), ids=lambda part: str(part))
def test_a_blunder_is_kept_out_before_anybody_ran_the_checks(levels, place, rule):
    row = level(levels, *place)
    assert (row["usable"], row["open_finding"]) == (False, rule)
    assert row["unusable_reason"] == f"serious finding open: {rule}"


def test_a_finding_of_the_well_keeps_no_level_out(levels):
    """A quarter of the screen of W-05 is covered: that is serious, and does not doubt the water level."""
    assert level(levels, "W-05", "2025-08-19")["usable"]
    below = levels[levels["finding"] == "water below the screen"]
    assert len(below)
    assert (below["open_finding"] == "").all()


def test_a_level_without_a_finding_is_as_before(demo_record, levels):
    store = open_store(demo_record)
    with store.reading() as connection:
        record = Snapshot(connection)
        held = open_findings(record)
        inputs = gather(record)
        plain = levels_frame(inputs, reduce_levels(inputs))
    store.close()
    others = plain[~plain["event_id"].isin(held)].reset_index(drop=True)
    assert len(plain) - len(others) == len(held) < 10
    same = levels[levels["event_id"].isin(others["event_id"])].reset_index(drop=True)
    pd.testing.assert_frame_equal(others, same[list(others.columns)])


@pytest.mark.slow
def test_dismissed_it_serves_again_and_accepted_it_does_not(demo_store):
    with gwnet.open(demo_store) as net:
        net.checks.record(by="C. Hecker", now_utc=AT)
        found = net.checks()
        numbers = {
            well: int(found.loc[(found["well"] == well) & (found["rule"] == rule), "finding_id"].iloc[0])
            for (well, _), rule in BLUNDERS.items()
        }
        net.review.decide([numbers["W-11"]], "dismiss", by="V. Iewer", reason="The well was pumped", now_utc=AT)
        net.review.decide([numbers["L-04"]], "accept", by="V. Iewer", reason="Booked for L-03", now_utc=AT)
        net.review.decide([numbers["W-14"]], "hold", by="V. Iewer", reason="Ask the crew", now_utc=AT)
        after = net.levels()
    assert level(after, "W-11", "2022-05-17")["usable"]
    assert level(after, "L-04", "2023-08-16")["unusable_reason"].startswith("serious finding open: ")
    assert not level(after, "W-14", "2020-08-18")["usable"]


def test_explain_says_so(demo_record):
    with gwnet.open(demo_record) as net:
        (explained,) = net.levels.explain("W-11", "2022-05-17")
    assert "serious finding open: fits in another unit" in str(explained)


def test_a_finding_of_several_levels_keeps_all_of_them_out():
    assert list(events_of_finding({"limits": '{"event_ids": [3, 5]}', "event_id": 3.0})) == [3, 5]
    assert list(events_of_finding({"limits": "{}", "event_id": 7.0})) == [7]
    assert not list(events_of_finding({"limits": "", "event_id": float("nan")}))


@pytest.mark.parametrize("purpose", PURPOSES)
def test_no_purpose_takes_it_even_as_a_bound(purpose):
    columns = {
        "event_id": [1, 2, 3],
        "status": ["static", "dry", "static"],
        "bound": ["", "<=", ""],
        "water_elevation_m": [10.0, 9.0, 10.1],
        "bound_elevation_m": [float("nan"), 9.0, float("nan")],
        "finding": ["", "", ""],
        "review": ["approved", "approved", "provisional"],
        "quality": ["good", "good", "good"],
        "usable": [True, False, True],
        "unusable_reason": ["", "dry", ""],
    }
    held = with_open_findings(pd.DataFrame(columns), {1: "fits in another unit", 2: "two measuring points in force"})
    judged = judge_levels(held, purpose)
    assert judged["serves"].tolist() == [False, False, True]
    assert judged["reason"].iloc[0] == "serious finding open: fits in another unit"


def test_a_logger_may_stand_in_for_such_a_reading():
    assert is_reading_at_fault("static", "serious finding open: fits in another unit")
    assert not is_reading_at_fault("pumping", "pumping")
