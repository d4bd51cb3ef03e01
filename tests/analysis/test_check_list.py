"""How checks are added and run, and what they look up of the events of a site; constructed."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.checks.check import NOTE, SERIOUS, WARNING, CheckList, Finding, Limit
from gwnet.analysis.checks.events import Events
from gwnet.analysis.checks.explanations import AMOUNT, COARSE, DECIMAL, DIGITS, POINT, SIGN, UNIT
from gwnet.analysis.checks.limits import limits_of
from gwnet.analysis.checks.rules import RULES
from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.store.snapshot import Snapshot

from .record import Record

LIMIT = Limit("most_m", 2.0, "depth that is too deep [m]")


def deep_checks():
    """Return a list with a check of depths, one that needs no events, and a rule that the first one finds."""
    checks = CheckList()

    @checks.add("too deep", WARNING, "a depth beyond a limit", LIMIT, others=(NOTE, SERIOUS))
    def find_deep(events):
        for row, depth in enumerate(events["depth_to_water_m"]):
            if depth > 2 * LIMIT.default:
                yield Finding("Far too deep.", row=row, rule="far too deep", severity=SERIOUS)
            elif depth > LIMIT.default:
                yield Finding("Too deep.", {"most_m": LIMIT.default}, row)

    checks.add("nothing planned", NOTE, "a site without rounds", is_of_events=False)(
        lambda events: [Finding("No round.")] if events.rounds.empty else []
    )
    checks.add_rule("far too deep", SERIOUS, "a depth beyond twice the limit")
    return checks.checks


def events_of(record):
    with record.store.reading() as connection:
        snapshot = Snapshot(connection, site="S")
        inputs = gather(snapshot)
        limits = limits_of(snapshot.settings)[0]
        return Events(inputs, reduce_levels(inputs), snapshot.settings, limits, snapshot.rounds)


@pytest.fixture
def record(tmp_path):
    made = Record(tmp_path / "record.sqlite", length_unit="ft")
    made.well("A", point=(100.0, 0.5))
    return made


def test_a_finding_has_rule_and_severity_of_its_check_unless_it_gives_its_own(record):
    for month, depth in enumerate((1.0, 3.0, 5.0), start=1):
        record.event("A", f"2024-0{month}-15T10:00", [("depth_to_water", depth)])
    events = events_of(record)
    noticed = [finding for check in deep_checks() for finding in check.run(events)]
    assert [(one.rule, one.severity, one.row) for one in noticed] == [
        ("too deep", WARNING, 1),
        ("far too deep", SERIOUS, 2),
        ("nothing planned", NOTE, -1),
    ]


def test_a_site_without_events_is_checked_only_for_what_needs_none(record):
    noticed = [finding for check in deep_checks() for finding in check.run(events_of(record))]
    assert [finding.rule for finding in noticed] == ["nothing planned"]


def test_severities_are_listed_mildest_first():
    assert [check.severities for check in deep_checks()] == ["note, warning or serious", "note", "serious"]


def test_events_are_in_order_of_wells_and_time_with_lengths_in_the_unit_of_the_site(record):
    record.event("A", "2024-05-15T10:00", [("depth_to_water", 2.0)])
    record.event("A", "2024-02-15T10:00", [("depth_below_ground", 1.25)])
    events = events_of(record)
    assert events["measured_at"].tolist() == ["2024-02-15T11:00+01:00", "2024-05-15T11:00+01:00"]
    assert (events.season.tolist(), events.codes.tolist()) == ([0, 1], ["A", "A"])
    assert events.read_level_m.tolist() == pytest.approx([98.25, 98.0])
    assert events.booked.quantity.tolist() == ["depth_below_ground", "depth_to_water"]
    assert events.booked.decimals.tolist() == [2, 1]
    assert events.booked.sense.tolist() == [-1.0, -1.0]
    assert events.of_point("elevation_m").tolist() == [100.0, 100.0]
    assert (events.length(0.3048), events.length(-0.3048, signed=True)) == ("1.00 ft", "-1.00 ft")
    assert pd.isna(events.of_well("total_depth_m")).all()
    # days since 1970: 2024-02-15T10:00 is day 19,768 and ten hours
    assert events.time_d.tolist() == pytest.approx([19_768 + 10 / 24, 19_858 + 10 / 24], rel=1e-12)
    assert events.day.astype(str).tolist() == ["2024-02-15", "2024-05-15"]


def test_wells_are_in_the_order_of_their_ids_and_events_at_one_time_in_that_of_theirs(record):
    """On every database; the day is the local one."""
    record.well("B", point=(90.0, 0.5), total_depth_m=12.5)
    late = [record.event("B", "2024-03-31T23:30", [("depth_to_water", 3.0 + k)], access="x" * k) for k in range(3)]
    early = record.event("A", "2024-06-15T10:00", [("depth_to_water", 2.0)])
    events = events_of(record)
    assert events["event_id"].tolist() == [early, *late]
    assert (events.well.tolist(), events.codes.tolist()) == ([0, 1, 1, 1], ["A", "B", "B", "B"])
    assert events.of_well("total_depth_m").tolist()[1:] == [12.5] * 3
    assert events.day.astype(str).tolist()[1:] == ["2024-04-01"] * 3
    assert (events.season.tolist()[1:], events.quarter[1] - events.quarter[0]) == ([1] * 3, 0)
    assert (len(events), events.once("one", lambda: 1), events.once("one", lambda: 2)) == (4, 1, 1)


def test_an_elevation_rises_with_its_number_and_quarters_are_counted_on(record):
    for month in (2, 5, 8, 11):
        record.event("A", f"2024-{month:02d}-15T10:00", [("water_elevation", 97.0 + month)])
    record.event("A", "2025-02-15T10:00", [("water_elevation", 97.0)])
    events = events_of(record)
    assert events.booked.sense.tolist() == [1.0] * 5
    assert np.diff(events.quarter).tolist() == [1] * 4
    assert events.season.tolist() == [0, 1, 2, 3, 0]


def test_water_below_the_screen_keeps_the_elevation_that_was_read(record):
    record.well("B", screen=(3.0, 5.0), point=(100.0, 0.5), total_depth_m=5.5)
    record.event("B", "2024-02-15T10:00", [("depth_to_water", 5.7)])
    record.event("B", "2024-05-15T10:00", [("depth_below_ground", 5.3)])
    events = events_of(record)
    assert events["bound"].tolist() == ["<=", "<="]
    assert events.read_level_m.tolist() == pytest.approx([94.3, 94.2])


def test_what_may_explain_a_misfit_is_a_rule_each():
    kinds = {UNIT, SIGN, DIGITS, DECIMAL, AMOUNT, POINT}
    assert len(kinds) == 6
    assert kinds <= set(RULES)
    assert set(COARSE) <= kinds
