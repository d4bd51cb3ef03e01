"""Rounds, comparisons and selection of a report: constructed records with answers worked out by hand."""

import dataclasses
import datetime as dt
import math

import pandas as pd
import pytest

from gwnet.analysis.levels.proposed_rounds import PROPOSED
from gwnet.errors import DefinitionError, ReportError
from gwnet.records import RecordState
from gwnet.reporting.changes import Change, change_between
from gwnet.reporting.definition.period import parse_period
from gwnet.reporting.mapped import describe_outside
from gwnet.reporting.measures import compass, fitting_decimals, joined, local_day, moment_text
from gwnet.reporting.results.visits import visit_result
from gwnet.reporting.sections.hydrographs import HydrographSettings, well_groups
from gwnet.reporting.view import look


def event(**changes):
    base = {
        "bound": "",
        "status": "static",
        "water_elevation_m": 10.0,
        "uncertainty_m": 0.03,
        "usable": True,
        "unusable_reason": "",
    }
    return {**base, **changes}


def test_change_carries_the_root_of_the_squares():
    change = change_between(event(water_elevation_m=10.12), event(uncertainty_m=0.04), "none")
    assert change.value_m == pytest.approx(0.12)
    assert change.uncertainty_m == pytest.approx(0.05)
    assert change.is_significant


def test_the_survey_common_to_both_levels_falls_away():
    """Half-widths of 0.05 with 0.03 of one survey in each leave 0.04 of each, 0.0566 of the change."""
    now, then = (
        event(uncertainty_m=0.05, measuring_point="main since 2018-01-10T00:00:00Z", survey_uncertainty_m=0.03)
        for _ in range(2)
    )
    assert change_between(now, then, "none").uncertainty_m == pytest.approx(0.04 * math.sqrt(2))
    moved = {**then, "measuring_point": "main since 2021-05-04T00:00:00Z"}
    assert change_between(now, moved, "none").uncertainty_m == pytest.approx(0.05 * math.sqrt(2))
    none = [{**level, "measuring_point": ""} for level in (now, then)]
    assert change_between(*none, "none").uncertainty_m == pytest.approx(0.05 * math.sqrt(2))


def test_a_small_change_is_not_significant():
    assert not change_between(event(water_elevation_m=10.04), event(uncertainty_m=0.04), "none").is_significant
    assert not Change(0.5, math.nan).is_significant


@pytest.mark.parametrize(
    ("now", "then", "reason"),
    [
        (event(bound="<=", status="dry"), event(), "now dry, only a bound"),
        (event(), event(bound="<=", status="dry"), "then dry, only a bound"),
        (event(usable=False, unusable_reason="pumping", status="pumping"), event(), "now pumping"),
        (event(), event(water_elevation_m=math.nan, status="no access"), "then no access"),
        (event(), event(usable=False, unusable_reason="repeats disagree"), "then repeats disagree"),
        (event(), None, "no event in round 7"),
        (None, event(), "no level now"),
    ],
)
def test_why_two_events_cannot_be_compared(now, then, reason):
    change = change_between(now, then, "no event in round 7")
    assert change.reason == reason
    assert not change.known


def test_the_round_of_the_period_and_the_one_before(view24):
    assert view24.current.code == "2026-Q1"
    assert view24.before(view24.current).code == "2025-Q4"
    assert [gauging.code for gauging in view24.in_period] == ["2026-Q1"]
    assert view24.rounds[-1].code == "2026-Q1"  # the next round is on record but lies after the period


def test_planned_wells_leave_out_those_that_ended(view24):
    assert "HW-010" not in view24.current.planned  # decommissioned 2025-09-01
    assert len(view24.current.planned) == 23
    assert view24.current.wells()[-1] == "HW-010"  # measured all the same


def test_missing_well_has_no_event(view24):
    assert "HW-014" not in view24.current.best


def test_changes_of_the_constructed_rule(view24, constructed):
    """The head of the rule is known at any time, so the change is its difference."""
    change = view24.change_since_last(view24.current, "HW-001")
    assert change.value_m == pytest.approx(constructed.head(0, 2026 + 1 / 12) - constructed.head(0, 2025 + 10 / 12))
    yearly = view24.change_in_year(view24.current, "HW-001")
    assert yearly.value_m == pytest.approx(-0.03)
    assert yearly.uncertainty_m == pytest.approx(0.014 * math.sqrt(2))
    assert view24.change_in_year(view24.current, "HW-007").reason == "now dry, only a bound"


def test_year_before_takes_the_event_nearest_to_a_year_earlier(constructed, quarterly):
    data = constructed.record(3)
    near = data.levels[(data.levels["well"] == "HW-001") & (data.levels["round"] == "2025-Q1")].iloc[0].copy()
    near["measured_at"], near["event_id"] = "2025-03-20T09:00+01:00", 990_001
    near["measured_at_utc"] = pd.Timestamp("2025-03-20 08:00", tz="UTC")
    near["day"] = pd.Timestamp("2025-03-20")
    near["water_elevation_m"], near["round"] = 1.0, ""
    levels = pd.concat([data.levels, near.to_frame().T.astype(data.levels.dtypes.to_dict())], ignore_index=True)
    view = look(quarterly, dataclasses.replace(data, levels=levels), parse_period("2026-Q1"))
    assert view.year_before(view.current)["HW-001"]["measured_at"].startswith("2025-02-10")


def test_each_round_of_a_year_is_compared_with_the_round_a_year_before_it(constructed, quarterly):
    """Not with the newest of the year before; a year before what is out by a quarter, nothing is compared."""
    data = constructed.record(3)
    view = look(quarterly, data, parse_period("2025"))
    assert [gauging.code for gauging in view.in_period] == ["2025-Q1", "2025-Q2", "2025-Q3", "2025-Q4"]
    compared = [view.year_before(gauging)["HW-001"]["round"] for gauging in view.in_period]
    assert compared == ["2024-Q1", "2024-Q2", "2024-Q3", "2024-Q4"]
    levels = data.levels[(data.levels["round"] != "2024-Q4").to_numpy(dtype=bool)]
    view = look(quarterly, dataclasses.replace(data, levels=levels), parse_period("2025"))
    assert view.change_in_year(view.current, "HW-001").reason == "no event about a year before"


def test_levels_without_rounds_stand_as_one_round(constructed, quarterly):
    data = constructed.record(6)
    data = dataclasses.replace(data, rounds=data.rounds.iloc[:0], levels=data.levels.assign(round=""))
    view = look(quarterly, data, parse_period("2025"))
    assert [gauging.code for gauging in view.in_period] == [""]
    assert view.current.events["well"].is_unique
    assert set(view.current.events["measured_at"].str[:10]) == {"2025-11-10"}


def test_a_round_without_a_visit_has_nothing_to_compare(constructed, quarterly):
    data = constructed.record(3)
    view = look(quarterly, dataclasses.replace(data, levels=data.levels.assign(round="")), parse_period("2026-Q1"))
    assert view.current.best == {}
    assert view.current.planned


def test_a_proposed_day_has_no_plan_and_says_what_it_is(constructed, quarterly):
    data = constructed.record(3)
    rounds = data.rounds.assign(purpose=f"{PROPOSED} (3 wells)")
    view = look(quarterly, dataclasses.replace(data, rounds=rounds), parse_period("2026-Q1"))
    assert view.current.planned == ()
    assert view.current.label == "the levels of 2026-Q1"
    assert f"The levels of 2026-Q1 stand for a gauging round: {PROPOSED} (3 wells)." in visit_result(view).text


def test_a_map_says_which_of_its_levels_were_read_outside_the_period():
    control = pd.DataFrame(
        {
            "used": [True, True, False, True],
            "measured_at": ["2019-09-27T10:00-06:00", "2019-10-05", "2019-09-01", None],
        }
    )
    assert describe_outside(control, parse_period("2019-Q4")) == "1 level of 2019-09-27, outside the period"
    assert describe_outside(control, parse_period("2019")) == ""


def test_nothing_measured_in_the_period(constructed, quarterly):
    view = look(quarterly, constructed.record(3), parse_period("2010-Q1"))
    assert view.current is None
    assert view.reviews.state == "PROVISIONAL"
    assert view.levels.empty


def test_levels_after_the_period_are_not_shown(view24):
    assert max(view24.levels["measured_at"]) < "2026-04"


@pytest.mark.parametrize(
    ("states", "expected"),
    [
        (["approved"] * 3, "APPROVED"),
        (["approved", "approved", "rejected"], "APPROVED"),
        (["approved", "approved", "provisional"], "PROVISIONAL"),
        (["approved", "approved", "on hold"], "PROVISIONAL"),
    ],
)
def test_state_of_the_report(constructed, quarterly, states, expected):
    data = constructed.record(3)
    levels = data.levels.copy()
    newest = levels["round"] == "2026-Q1"
    levels.loc[newest, "review"] = states
    assert look(quarterly, dataclasses.replace(data, levels=levels), parse_period("2026-Q1")).reviews.state == expected


def test_selection(constructed, quarterly, record24):
    chosen = dataclasses.replace(quarterly, aquifers=("L",))
    view = look(chosen, record24, parse_period("2026-Q1"))
    assert set(view.wells["aquifer"]) == {"L"}
    assert {facts.aquifer for facts in view.maps()} == {"L"}
    assert set(view.levels["well"]) <= set(view.wells["well"])


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"wells": ("HW-01",)}, "selects the well 'HW-01', which is not on record.*Did you mean 'HW-0"),
        ({"aquifers": ("X",)}, "selects the aquifer 'X'"),
        ({"wells": ("HW-003",), "aquifers": ("U",)}, "selects no well"),
    ],
)
def test_selection_of_what_is_not_there(quarterly, record24, changes, message):
    with pytest.raises(DefinitionError, match=message):
        look(dataclasses.replace(quarterly, **changes), record24, parse_period("2026-Q1"))


def test_groups_of_hydrographs(view24):
    by_aquifer = dict(well_groups(view24))
    assert list(by_aquifer) == ["Upper sand (U)", "Lower gravel (L)"]
    definition = dataclasses.replace(view24.definition, settings={"hydrographs": HydrographSettings("cluster")})
    clusters = dict(well_groups(dataclasses.replace(view24, definition=definition)))
    assert clusters["Cluster C01"] == ("HW-002", "HW-003")
    assert list(clusters)[-1] == "Wells of no cluster"
    definition = dataclasses.replace(view24.definition, settings={"hydrographs": HydrographSettings("none")})
    assert [len(wells) for _, wells in well_groups(dataclasses.replace(view24, definition=definition))] == [24]


def test_a_missing_column_is_named(constructed, record24):
    with pytest.raises(ReportError, match="frame 'levels': Columns are missing: usable"):
        dataclasses.replace(record24, levels=record24.levels.drop(columns="usable"))


def test_cut_off_needs_a_zone(record24):
    with pytest.raises(ReportError, match="no time zone"):
        dataclasses.replace(record24, known_on=RecordState(1, dt.datetime(2026, 1, 1)))  # noqa: DTZ001


@pytest.mark.parametrize(
    ("uncertainty", "unit", "decimals"),
    [
        ([0.012], "m", 3),
        ([0.02], "m", 2),
        ([0.012], "ft", 2),
        ([0.5], "m", 1),
        ([3.0], "m", 0),
        ([1e-9], "m", 3),
        ([math.nan], "m", 2),
        ([], "ft", 2),
    ],
)
def test_decimals_that_the_uncertainty_allows(uncertainty, unit, decimals):
    assert fitting_decimals(uncertainty, unit) == decimals


def test_words_for_directions_times_and_lists():
    assert [compass(azimuth) for azimuth in (0, 44, 359, 180, 292.5)] == [
        "north",
        "north-east",
        "north",
        "south",
        "west",
    ]
    assert moment_text("2026-02-10T09:40:00+01:00") == "2026-02-10\u00a009:40"
    assert moment_text("2026-02-10") == "2026-02-10"
    assert joined(list("ABCDEFGHIJ"), 8) == "A, B, C, D, E, F and 4 others"
    assert (joined([]), joined(["A"]), joined(["A", "B"])) == ("", "A", "A and B")


def test_local_day_follows_the_zone():
    moment = pd.Timestamp("2025-12-31 23:30", tz="UTC")
    assert local_day(moment, "UTC+01:00") == dt.date(2026, 1, 1)
    assert local_day(moment, "America/Denver") == dt.date(2025, 12, 31)
    assert local_day(pd.NaT, "UTC+01:00") is None
