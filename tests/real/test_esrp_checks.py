"""The checks on the eastern Snake River Plain aquifer: U.S. Geological Survey, Idaho National Laboratory networks.

173 wells and 61,348 levels from the R data package inldata 1.2.5 (underlying data doi:10.5066/F7P55KJN; public domain).
Its README tells what is wrong in it: the land surface of USGS 42 is about 470 ft too low, and TRA A 13, TRA A 77 and
USGS 74 are perched wells that stand 280 to 430 ft above their neighbours.
"""

import json
from dataclasses import replace

import numpy as np
import pytest

from gwnet.analysis.checks import places, series
from gwnet.analysis.checks.events import Events
from gwnet.analysis.checks.limits import limits_of
from gwnet.analysis.checks.quality import run_checks
from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.store.snapshot import Snapshot

pytestmark = pytest.mark.shared

PERCHED = ("TRA A 13", "TRA A 77", "USGS 74")


@pytest.fixture(scope="module")
def found(esrp):
    return esrp[0].checks()


@pytest.fixture(scope="module")
def apart(found):
    rows = found[found["rule"] == places.APART]
    return {row.well: json.loads(row.limits)["offset_m"] / 0.3048 for row in rows.itertuples()}


@pytest.mark.slow
def test_the_wrong_survey_stands_470_feet_below_its_neighbours(apart):
    assert apart["USGS 42"] == pytest.approx(-470.0, abs=5.0)


@pytest.mark.parametrize("well", PERCHED)
def test_the_perched_wells_stand_far_above_their_neighbours(apart, well):
    assert 270.0 < apart[well] < 440.0


def test_few_other_wells_stand_apart(apart):
    assert len(apart) <= 10


def test_a_typed_elevation_is_stated_once_for_the_well(found):
    rows = found[(found["well"] == "USGS 42") & (found["rule"] == places.APART)]
    assert len(rows) == 1
    assert rows.iloc[0]["severity"] == "serious"
    assert rows.iloc[0]["message"].startswith("In ")


@pytest.mark.slow
def test_one_in_a_hundred_levels_are_suspected_at_most(found, esrp):
    suspected = found[(found["severity"] != "note") & found["event_id"].notna()]
    levels = {
        event for row in suspected.itertuples() for event in (json.loads(row.limits).get("event_ids") or [row.event_id])
    }
    assert len(levels) < 0.01 * len(esrp[0].levels())


@pytest.mark.slow
def test_the_findings_are_few_enough_to_be_read(found, esrp):
    """1,524 before levels with one cause had one finding each; 418 before misfits at a restless well were one finding of
    the well (`tests/bench/bench_findings.py`); the aim is 1 in 100 levels at most."""
    assert len(found) < 0.0075 * len(esrp[0].levels())


@pytest.mark.slow
def test_half_of_the_faults_of_one_foot_in_many_wells_at_once_are_noticed(esrp):
    """Levels of 60 wells, one each, are moved by one foot; no rule notices more than about 75 % of such faults with one
    warning per 100 levels as they are (`tests/bench/bench_detection.py`)."""
    with esrp[0].store.reading() as connection:
        record = Snapshot(connection)
        settings, inputs, rounds = record.settings, gather(record), record.rounds
    limits = limits_of(settings)[0]
    events = Events(inputs, reduce_levels(inputs), settings, limits, rounds)
    random = np.random.default_rng(20261128)
    drawn = random.permutation(np.flatnonzero(events.sound))
    places = drawn[np.sort(np.unique(events.well[drawn], return_index=True)[1])[:60]]
    below = inputs.depth_below_ground_m.copy()
    below[events.order[places]] += random.choice([-1.0, 1.0], places.size) * 0.3048
    moved = replace(inputs, depth_below_ground_m=below)
    events = Events(moved, reduce_levels(moved), settings, limits, rounds)
    told = {row for one in run_checks(events) if one.severity != "note" for row in (one.rows or (one.row,))}
    assert len(told & set(places.tolist())) > 0.5 * places.size


def test_wells_without_a_reading_in_a_round_are_one_finding(found):
    rows = found[found["rule"] == "no reading and no reason"]
    assert rows[["well", "round"]].to_numpy().tolist() == [["", "2010-10"]]
    assert "planned 173 wells; of 140 neither" in rows["message"].iloc[0]


def test_a_jump_of_seventeen_feet_is_found(found, esrp):
    """USGS 15 rose by 17 ft between 16 February and 18 March 1952, in the source as well."""
    levels = esrp[0].levels(wells=["USGS 15"])
    event = levels.loc[levels["measured_at"].str.startswith("1952-03-18"), "event_id"].iloc[0]
    rows = found[found["well"] == "USGS 15"]
    rules = {
        row.rule for row in rows.itertuples() if event in (json.loads(row.limits).get("event_ids") or [row.event_id])
    }
    assert rules & {series.JUMP, series.MISFIT}


@pytest.mark.slow
def test_a_second_run_records_nothing_new(esrp):
    first = esrp[0].checks.record(by="test").stored
    again = esrp[0].checks.record(by="test").stored
    assert first.added + first.kept > 0
    assert (again.added, again.kept, again.retired) == (0, first.added + first.kept, 0)
