"""Checks of numbers, planned rounds and pumping tests, and the frame of findings; constructed, without a database."""

import datetime as dt
import json
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.checks import open_findings, programme, pumping, quality, quantities
from gwnet.analysis.checks.check import Finding
from gwnet.analysis.checks.limits import describe_limits, limits_of, unknown_limit_message

from .check_events import events_of, quarters

FOOT = 0.3048


def typed(value, built, ground, *, metres=1.0, sense=-1.0):
    events = events_of(
        ["2020-05-01"], wells=[{"total_depth_m": built, "ground_elevation_m": ground}],
        booked={"value": value, "metres": metres, "sense": sense},
    )  # fmt: skip
    return quantities.fits_as_elevation(events).tolist()[0]


@pytest.mark.parametrize(("value", "built", "ground", "more", "fits"), [
    # a twentieth and a metre below the well as built, 20 m
    (22.0, 20.0, 30.0, {}, False), (22.01, 20.0, 30.0, {}, True), (52.51, 49.0, 60.0, {}, True),
    (52.4, 49.0, 60.0, {}, False),
    # an elevation between a metre below the bottom and three above the ground
    (39.0, 20.0, 60.0, {}, False), (39.01, 20.0, 60.0, {}, True),
    (62.99, 20.0, 60.0, {}, True), (63.0, 20.0, 60.0, {}, False),
    (62.99 / FOOT, 20.0, 60.0, {"metres": FOOT}, True), (63.01 / FOOT, 20.0, 60.0, {"metres": FOOT}, False),
    (50.0, 20.0, 60.0, {"sense": 1.0}, False), (np.nan, 20.0, 60.0, {}, False), (50.0, np.nan, 60.0, {}, False),
])  # fmt: skip
def test_depths_that_would_fit_as_elevations(value, built, ground, more, fits):
    """Project defaults."""
    assert typed(value, built, ground, **more) == fits


def test_an_elevation_among_depths_has_its_sentence():
    events = events_of(
        quarters(2), wells=[{"total_depth_m": 20.0, "ground_elevation_m": 60.0}],
        booked={"value": [10.0, 50.5], "metres": 1.0},
    )  # fmt: skip
    (check,) = quantities.CHECKS.checks
    (one,) = check.run(events)
    assert (one.row, one.severity, one.limits) == (1, "serious", {"depth_m": 50.5, "total_depth_m": 20.0})
    assert one.message == (
        "The depth of 50.500 m lies below the bottom of the well, 20.000 m below ground as built. As an elevation it "
        "fits, between 40.000 m and 60.000 m. It belongs in water_elevation, or the depth as built is wrong."
    )


def planned(wells, read=(), *, rows=None, starts=dt.date(2020, 2, 15)):
    """Return what is missing in a round R that planned some wells and has readings of others."""
    rows = rows or [{} for _ in range(10)]
    rounds = [{"round": "R", "starts_on": starts, "wells": wells}]
    events = events_of(["2020-02-15"] * len(read), well=list(read), wells=rows, rounds=rounds, round="R")
    (check,) = programme.CHECKS.checks
    return list(check.run(events))


def test_a_missing_reading_is_told_by_round():
    (one,) = planned(["A", "B", "C"], [0, 2])
    assert (one.well, one.round, one.measured_at, one.row, one.severity) == ("B", "R", "2020-02-15", -1, "serious")
    assert one.message == "Round R planned the well, and neither a reading nor a reason is on record."
    assert one.limits == {"starts_on": "2020-02-15", "wells": ["B"], "planned": 3}
    (one,) = planned(["A", "B", "C", "D"], [2])
    assert one.well == ""
    assert one.message == (
        "Round R planned 4 wells; of 3 neither a reading nor a reason is on record (A, B, D)."
    )  # fmt: skip
    assert planned(["A", "C"], [0, 2]) == []


@pytest.mark.parametrize(("count", "words"), [
    (8, "(A, B, C, D, E, F, G, H)."), (9, "(A, B, C, D, E, F, G, H and 1 more)."),
    (10, "(A, B, C, D, E, F, G, H and 2 more)."),
])  # fmt: skip
def test_eight_missing_wells_are_named(count, words):
    assert planned(list("ABCDEFGHIJ")[:count])[0].message.endswith(words)


def test_a_round_without_a_list_is_of_the_wells_that_existed_on_its_first_day():
    day = dt.date(2020, 2, 15)
    before, after = day - dt.timedelta(days=1), day + dt.timedelta(days=1)
    rows = [
        {"drilled_on": before}, {"drilled_on": day}, {"drilled_on": after}, {"decommissioned_on": before},
        {"decommissioned_on": day}, {"decommissioned_on": after}, {}, {"site": "T"},
    ]  # fmt: skip
    (one,) = planned(None, rows=rows)
    assert one.limits["wells"] == ["A", "B", "F", "G"]


def test_a_reading_of_another_round_is_none_of_this_one():
    rounds = [{"round": name, "starts_on": dt.date(2020, 2, 15), "wells": ["A"]} for name in ("R", "Q")]
    events = events_of(["2020-02-15"], rounds=rounds, round="Q")
    (check,) = programme.CHECKS.checks
    assert [one.round for one in check.run(events)] == ["R"]


@pytest.fixture
def tests_of_wells(monkeypatch):
    """Give a record of two pumping tests with findings, one of them in well A from 10 to 12 o'clock."""
    from gwnet.analysis.pumping import gather, readings

    noticed = {
        "T2": [("A", "r1", "First."), ("B", "r1", "Second.")],
        "T1": [("A", "r1", "Third."), ("A", "r2", "Fourth."), ("A", "r1", "Fifth.")],
    }
    span = {"test": "T1", "well": "A", "first_utc": "2020-03-01T10:00Z", "last_utc": "2020-03-01T12:00Z"}
    spans = pd.DataFrame([span]).assign(
        first_utc=lambda table: pd.to_datetime(table["first_utc"]),
        last_utc=lambda table: pd.to_datetime(table["last_utc"]),
    )
    monkeypatch.setattr(gather, "gather_test", lambda _, code: SimpleNamespace(test=code))
    monkeypatch.setattr(readings, "spans_of_tests", lambda _: spans)
    monkeypatch.setattr(
        pumping,
        "find_in_test",
        lambda test: [SimpleNamespace(well=w, rule=r, message=m) for w, r, m in noticed[test.test]],
    )
    return SimpleNamespace(pumping_tests=pd.DataFrame({"test": ["T2", "T1"]}))


def test_pumping_tests_have_one_finding_a_well_and_rule(tests_of_wells):
    found = list(pumping.find_in_tests(tests_of_wells, events_of([])))
    assert [(one.well, one.rule, one.message, one.limits) for one in found] == [
        ("A", "r1", "First. Third. Fifth.", {"tests": ["T1", "T2"]}),
        ("B", "r1", "Second.", {"tests": ["T2"]}),
        ("A", "r2", "Fourth.", {"tests": ["T1"]}),
    ]
    assert {(one.severity, one.row) for one in found} == {("warning", -1)}


@pytest.mark.parametrize(("when", "more", "minutes"), [
    ("2020-03-01T10:00", {}, None), ("2020-03-01T10:01", {}, 1), ("2020-03-01T12:00", {}, 120),
    ("2020-03-01T12:01", {}, None), ("2020-03-01T11:30", {"status": "pumping"}, None),
    ("2020-03-01T11:30", {"time_known": False}, None), ("2020-03-01T11:30", {"well": 1}, None),
])  # fmt: skip
def test_a_static_level_within_a_pumping_test(tests_of_wells, when, more, minutes):
    """After its start, up to its end, in a well of the test, with a time of day."""
    events = events_of([when], **{"wells": [{}, {}], **more})
    found = [one for one in pumping.find_in_tests(tests_of_wells, events) if one.row >= 0]
    if minutes is None:
        assert found == []
    else:
        assert found == [
            Finding(
                f"The level is recorded as static, {minutes} min after the start of test T1; it enters maps and trends. "
                "Correct its status.",
                {"test": "T1"}, row=0, rule="static level during a pumping test", severity="serious",
            )
        ]  # fmt: skip


def test_findings_become_rows_with_their_events():
    events = events_of(quarters(3), well=[0, 0, 1], round=["R", "", "Q"])
    table = quality.tabulate(
        events,
        [
            Finding("Of two.", {"b": 1, "a": "ä"}, 1, (1, 2), "rule", "note"),
            Finding("Of one.", {}, 0, (0,), "other", "warning"),
            Finding(
                "Of a round.",
                {"x": 2},
                rule="third",
                severity="serious",
                well="B",
                round="R9",
                measured_at="2020-01-01",
            ),
        ],
    )
    assert tuple(table.columns) == quality.FINDING_COLUMNS
    assert table.iloc[0].tolist() == [
        "S", "A", "2020-05-15T12:00", "", "rule", "note", "Of two.",
        '{"a": "ä", "b": 1, "event_ids": [101, 102], "levels": 2}', 101.0,
    ]  # fmt: skip
    assert table.iloc[1].tolist() == ["S", "A", "2020-02-15T12:00", "R", "other", "warning", "Of one.", "{}", 100.0]
    assert table.iloc[2].tolist()[:8] == [
        "S", "B", "2020-01-01", "R9", "third", "serious", "Of a round.", '{"x": 2}',
    ]  # fmt: skip
    assert np.isnan(table["event_id"].iloc[2])
    empty = quality.tabulate(events, [])
    assert (tuple(empty.columns), str(empty["event_id"].dtype)) == (quality.FINDING_COLUMNS, "float64")


def test_findings_of_sites_are_sorted_and_asked_for_once(monkeypatch):
    made = []

    def of_site(record, *, of_tests):
        made.append((record, of_tests))
        rows = {"P": [("b", "2", "y"), ("b", "1", "z"), ("b", "1", "x")], "Q": [("a", "1", "x")], "R": []}[record]
        table = pd.DataFrame(rows, columns=["well", "measured_at", "rule"]).assign(
            site=record, round=["R1" if row[2] == "x" else "" for row in rows], event_id=1.0, limits="{}"
        )
        return table.reindex(columns=list(quality.FINDING_COLUMNS))

    kept = {}
    record = SimpleNamespace(
        sites=pd.DataFrame({"site": ["Q", "R", "P"]}), of_site=lambda site: site,
        once=lambda name, make: kept.setdefault(name, None) if name in kept else kept.setdefault(name, make()),
    )  # fmt: skip
    monkeypatch.setattr(quality, "_site_findings", of_site)
    found = quality.findings(record)
    assert found[["site", "well", "measured_at", "rule"]].to_numpy().tolist() == [
        ["P", "b", "1", "x"], ["P", "b", "1", "z"], ["P", "b", "2", "y"], ["Q", "a", "1", "x"],
    ]  # fmt: skip
    assert found.index.tolist() == [0, 1, 2, 3]
    of_round = quality.findings(record, "R1")
    assert (of_round["site"].tolist(), of_round.index.tolist()) == (["P", "Q"], [0, 1])
    assert {with_tests for _, with_tests in made} == {True}
    quality.level_findings(record)
    assert [with_tests for _, with_tests in made] == [True] * 3 + [False] * 3
    record.sites = record.sites.iloc[1:2]
    kept.clear()
    empty = quality.findings(record)
    assert (tuple(empty.columns), str(empty["event_id"].dtype), len(empty)) == (quality.FINDING_COLUMNS, "float64", 0)


def noticed_by(monkeypatch, rows, *, approved=(), tape="a tape"):
    """Return what open findings do to levels, of rows (rule, severity, decision, event, several events)."""
    columns = ["rule", "severity", "decision", "event_id", "several"]
    table = pd.DataFrame(rows, columns=columns).assign(
        site="S",
        limits=lambda t: [json.dumps({"event_ids": s} if s else {}) if k else "" for k, s in enumerate(t["several"])],
    )
    monkeypatch.setattr(open_findings, "level_findings", lambda _: table.drop(columns="decision"))
    monkeypatch.setattr(open_findings, "join_decisions", lambda _, some: some.join(table["decision"]))
    monkeypatch.setattr(open_findings, "reduction_of", lambda site: (f"inputs of {site}", None))
    monkeypatch.setattr(open_findings, "find_stepped_tape", lambda inputs, event: tape and (inputs, event, tape))
    reviews = pd.DataFrame({"event_id": [*approved, 1], "state": [*["approved"] * len(approved), "rejected"]})
    record = SimpleNamespace(reviews=reviews, of_site=lambda site: site)
    return open_findings._open_findings(record)


DOUBT, OTHER = "deeper than the bottom", "fits in another unit"


def test_which_open_findings_keep_levels_out(monkeypatch):
    rows = [
        (OTHER, "serious", "", 1.0, None),
        (DOUBT, "serious", None, np.nan, [1, 2, 3]),
        (DOUBT, "warning", "", 4.0, None),
        ("silting", "serious", "", 5.0, None),
        (DOUBT, "serious", "dismissed", 6.0, None),
        (DOUBT, "serious", "accepted", 7.0, None),
        (DOUBT, "serious", "accepted", 8.0, None),
        (DOUBT, "serious", "", 9.0, None),
        (DOUBT, "serious", "", np.nan, None),
        (OTHER, "serious", "", 10.0, None),
    ]
    held, stepped = noticed_by(monkeypatch, rows, approved=(8, 9))
    # the first rule by name gives the reason
    assert held == {1: DOUBT, 2: DOUBT, 3: DOUBT, 7: DOUBT, 9: DOUBT, 10: OTHER}
    assert stepped == ()
    assert noticed_by(monkeypatch, rows[2:4]) == ({}, ())


def test_stepped_tapes_are_those_that_nobody_dismissed(monkeypatch):
    rows = [("step with another tape", "warning", decision, event, [3, 4]) for decision, event in
            (("", 3.0), ("accepted", 5.0), ("dismissed", 6.0))]  # fmt: skip
    held, stepped = noticed_by(monkeypatch, rows)
    assert held == {}
    assert stepped == (("inputs of S", 3, "a tape"), ("inputs of S", 5, "a tape"))
    assert noticed_by(monkeypatch, rows, tape=None).stepped == ()


def test_open_findings_are_kept_for_the_eight_newest_states(monkeypatch):
    class Engine:
        pass

    asked, engine = [], Engine()
    monkeypatch.setattr(open_findings, "_open_findings", lambda record: asked.append(record.key) or f"of {record.key}")

    def found(serial, site=None, **options):
        connection = SimpleNamespace(engine=engine, get_execution_options=lambda: options)
        state = None if serial is None else SimpleNamespace(serial=serial)
        record = SimpleNamespace(state=state, site=site, connection=connection, key=(serial, site))
        return open_findings._kept_or_found(record)

    assert found(None) == ({}, ())
    assert [found(k) for k in range(8)] == [f"of ({k}, None)" for k in range(8)]
    assert found(0) == "of (0, None)"
    assert len(asked) == 8
    found(8)
    found(7)
    found(1)
    assert len(asked) == 9
    found(0)
    assert asked[9:] == [(0, None)]
    found(0, "S")
    assert asked[10:] == [(0, "S")]
    found(0, gwnet_writing=True)
    found(0, gwnet_writing=True)
    assert len(asked) == 13


def settings(**given):
    return pd.Series({"tape_check_interval_days": None, "check_limits": None, **given})


def test_limits_are_those_of_the_site_else_the_documented_ones():
    limits, unknown = limits_of(settings())
    assert (limits["fit_spreads"], limits["tape_check_days"], unknown) == (8.0, 365.0, {})
    given = {"fit_spreads": 6, "no_such": 4}
    limits, unknown = limits_of(settings(tape_check_interval_days=180, check_limits=json.dumps(given)))
    assert (limits["fit_spreads"], limits["tape_check_days"], unknown) == (6.0, 180.0, {"no_such": 4.0})
    assert limits["unit_spreads"] == 2.6
    rows = [line.split(" | ") for line in describe_limits().splitlines()]
    assert rows[0] == ["| limit", "default", "what it limits", "source |"]
    assert ["| `recovery_hours`", "24", "hours after pumping in which a level cannot be static",
            "US EPA RCRA guidance of 1992, p. 7-4 |"] in rows  # fmt: skip


def test_an_unknown_limit_is_told_with_the_three_nearest():
    assert unknown_limit_message("fit_spread") == (
        "The site's check_limits name 'fit_spread', and no check has such a limit; it changes nothing. Did you mean "
        "fit_spreads or unit_spreads or hint_spreads?"
    )
    assert unknown_limit_message("xyz").endswith("it changes nothing.")
