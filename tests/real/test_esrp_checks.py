"""The checks on the eastern Snake River Plain aquifer: U.S. Geological Survey, Idaho National Laboratory networks.

173 wells and 61,348 levels from the R data package inldata 1.2.5 (underlying data doi:10.5066/F7P55KJN; public domain).
Its README tells what is wrong in it: the land surface of USGS 42 is about 470 ft too low, and TRA A 13, TRA A 77 and
USGS 74 are perched wells that stand 280 to 430 ft above their neighbours.
"""

import json

import pytest

from gwnet.analysis.checks import places, series

pytestmark = pytest.mark.shared

PERCHED = ("TRA A 13", "TRA A 77", "USGS 74")


@pytest.fixture(scope="module")
def found(esrp):
    return esrp[0].checks()


@pytest.fixture(scope="module")
def apart(found):
    rows = found[found["rule"] == places.APART]
    return {row.well: json.loads(row.limits)["offset_m"] / 0.3048 for row in rows.itertuples()}


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


def test_two_in_a_hundred_levels_are_suspected_at_most(found, esrp):
    suspected = found[(found["severity"] != "note") & found["event_id"].notna()]
    assert suspected["event_id"].nunique() < 0.02 * len(esrp[0].levels())


def test_a_jump_of_seventeen_feet_is_found(found):
    """USGS 15 rose by 17 ft between 16 February and 18 March 1952, in the source as well."""
    rows = found[(found["well"] == "USGS 15") & found["measured_at"].str.startswith("1952-03-18")]
    assert series.JUMP in set(rows["rule"])


def test_a_second_run_records_nothing_new(esrp):
    first = esrp[0].checks.record(by="test").stored
    again = esrp[0].checks.record(by="test").stored
    assert first.added + first.kept > 0
    assert (again.added, again.kept, again.retired) == (0, first.added + first.kept, 0)
