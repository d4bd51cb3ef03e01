"""Misfits of about one unit, and those at restless wells; constructed records."""

import json

import numpy as np
import pytest

from gwnet.analysis.checks import series
from gwnet.analysis.checks.misfits import MISFIT_LIMITS
from gwnet.analysis.checks.quality import findings
from gwnet.store.snapshot import Snapshot

from .record import Record

DEPTH = "depth_to_water"


def record_of(folder, depths, name="record", **limits):
    """Return a record of one well read each month in feet, and the ids of its events."""
    record = Record(folder / f"{name}.sqlite", length_unit="ft", check_limits=json.dumps(limits))
    record.well("A")
    record.point("A", 100.0, "1999-01-01", height_above_ground_m=0.1)
    first = np.datetime64("2000-01-15T10:00")
    step = np.timedelta64(int(365.25 * 2 * 60), "m")
    ids = [
        record.event("A", str((first + number * step).astype("datetime64[m]")), [(DEPTH, round(float(depth), 2), "ft")])
        for number, depth in enumerate(depths)
    ]
    return record, ids


def found_in(record):
    with record.store.reading() as connection:
        return findings(Snapshot(connection))


def restless(count=120, spread=0.16, seed=11):
    return 30.0 + np.random.default_rng(seed).normal(0.0, spread, count)


def events_of(row):
    return json.loads(row["limits"]).get("event_ids") or [int(row["event_id"])]


def off_by(depths, place, amount):
    """Move a level off the line between the readings beside it by an amount."""
    depths[place] = depths[[place - 1, place + 1]].mean() + amount


@pytest.mark.slow
def test_misfits_of_a_unit_among_levels_that_are_off_as_well_are_one_finding_of_the_well(tmp_path):
    """Each was a finding of its own, and half of them were the well's own movement."""
    depths = restless(spread=0.27)
    for place in (20, 60, 90):
        off_by(depths, place, 1.1)
    record, ids = record_of(tmp_path, depths)
    found = found_in(record)
    together = found[found["rule"] == series.RESTLESS]
    assert together["severity"].tolist() == ["warning"]
    row = together.iloc[0]
    assert {ids[20], ids[60], ids[90]} <= set(events_of(row))
    assert "are off by about 1 ft" in row["message"]
    assert "Look at them together" in row["message"]
    # what is decided about it holds until another level joins: it is booked at the newest
    assert row["event_id"] == max(events_of(row))


@pytest.mark.slow
def test_a_level_that_joins_a_restless_well_is_decided_about_anew(tmp_path):
    depths = restless(spread=0.27)
    for place in (20, 60):
        off_by(depths, place, 1.1)
    for number, place in enumerate((60, 90)):
        off_by(depths, place, 1.1)
        record, ids = record_of(tmp_path, depths, name=f"record{number}")
        found = found_in(record)
        together = found[found["rule"] == series.RESTLESS].iloc[0]
        assert together["event_id"] == ids[place]
        assert ids[20] in events_of(together)


@pytest.mark.slow
def test_a_level_off_by_a_unit_that_stands_alone_is_a_finding_with_its_explanation(tmp_path):
    depths = restless()
    off_by(depths, 60, 1.0)
    record, ids = record_of(tmp_path, depths)
    found = found_in(record)
    assert found[["event_id", "rule"]].to_numpy().tolist() == [[ids[60], series.AMOUNT]]


@pytest.mark.slow
@pytest.mark.parametrize(("off_ft", "is_reported"), [(0.7, False), (0.8, True), (1.0, True), (1.4, True), (1.6, False)])
def test_only_misfits_of_about_a_unit_are_reported_below_the_general_limit(tmp_path, off_ft, is_reported):
    """A slip of one unit predicts a misfit of about that; another amount at 4 spreads is the water's own."""
    depths = restless(spread=0.2)
    off_by(depths, 60, off_ft)
    record, ids = record_of(tmp_path, depths)
    found = found_in(record)
    told = {event for _, row in found[found["severity"] != "note"].iterrows() for event in events_of(row)}
    assert (ids[60] in told) == is_reported


@pytest.mark.slow
def test_a_unit_is_noticed_on_the_limb_of_a_curve(tmp_path):
    """On a steep limb the level lies between the readings beside it, and it stands out from neither."""
    depths = 30.0 + 4.0 * np.sin(np.arange(120) / 12.0 * np.pi) + restless(spread=0.1) - 30.0
    place = 60
    depths[place] += 1.0
    assert (
        depths[place - 1] > depths[place] > depths[place + 1] or depths[place - 1] < depths[place] < depths[place + 1]
    )
    record, ids = record_of(tmp_path, depths)
    told = {event for _, row in found_in(record).iterrows() for event in events_of(row)}
    assert ids[place] in told


@pytest.mark.slow
def test_misfits_by_other_amounts_at_a_restless_well_are_a_note(tmp_path):
    depths = restless(spread=0.35)
    off_by(depths, 60, 1.7)
    record, ids = record_of(tmp_path, depths, fit_spreads=3.0)
    found = found_in(record)
    notes = found[(found["rule"] == series.RESTLESS) & (found["severity"] == "note")]
    assert len(notes) == 1
    assert ids[60] in events_of(notes.iloc[0])
    assert "more than its usual range" in notes["message"].iloc[0]


@pytest.mark.slow
@pytest.mark.parametrize(("spread", "is_explained"), [(0.1, True), (0.35, False)])
def test_exchanged_digits_explain_only_what_stands_alone(tmp_path, spread, is_explained):
    """Seven pairs of digits fit many a misfit by chance: 32.09 for 30.29."""
    depths = restless(spread=spread)
    depths[59:62] = 30.29, 32.09, 30.29
    record, ids = record_of(tmp_path, depths, hint_spreads=2.6)
    found = found_in(record)
    assert (ids[60] in found.loc[found["rule"] == series.DIGITS, "event_id"].tolist()) == is_explained


@pytest.mark.slow
def test_every_limit_of_a_misfit_is_stated_with_it(tmp_path):
    depths = restless()
    off_by(depths, 60, 1.0)
    record, _ = record_of(tmp_path, depths)
    limits = json.loads(found_in(record)["limits"].iloc[0])
    assert {limit.name for limit in MISFIT_LIMITS} - {"least_shared"} <= set(limits)
