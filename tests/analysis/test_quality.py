"""Findings of a small record, rule by rule, and their limits; constructed."""

import datetime as dt
import json
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.checks import places, quantities, series, steps, visits
from gwnet.analysis.checks.limits import LIMITS, describe_limits
from gwnet.analysis.checks.programme import MISSING
from gwnet.analysis.checks.quality import FINDING_COLUMNS, findings
from gwnet.analysis.checks.rules import CHECKS, RULES, describe_checks
from gwnet.store.snapshot import Snapshot

from .record import Record

DEPTH = "depth_to_water"


@pytest.fixture
def made(tmp_path):
    """Give a function that makes a record with a site of given settings."""
    count = iter(range(100))

    def make(**site):
        return Record(tmp_path / f"record{next(count)}.sqlite", **site)

    return make


def found_in(record, round_code=None, **wanted):
    with record.store.reading() as connection:
        return findings(Snapshot(connection, **wanted), round_code)


def rules_of(record, **wanted):
    return set(found_in(record, **wanted)["rule"])


def quarterly(record, code, depths, start=2018, first=0, **more):
    """Add one event a quarter, the first so many quarters after the start; return their ids."""
    ids = []
    for number, depth in enumerate(depths, first):
        when = f"{start + number // 4}-{2 + 3 * (number % 4):02d}-15T10:00"
        ids.append(record.event(code, when, [(DEPTH, float(depth))], **more))
    return ids


def test_a_number_that_fits_as_an_elevation_is_named_so_and_only_once(made):
    record = made()
    record.well("A", point=(100.7, 0.7), ground_elevation_m=100.0, total_depth_m=12.0)
    record.event("A", "2024-03-12T10:00", [(DEPTH, 97.2)])
    record.event("A", "2024-06-12T10:00", [(DEPTH, 40.0)])  # too deep, and no elevation of this well
    found = found_in(record).set_index("rule")["message"]
    assert "As an elevation it fits, between 88.000 m and 100.000 m" in found[quantities.ELEVATION_AS_DEPTH]
    assert "39.300 m below ground" in found[visits.BELOW_BOTTOM]


def test_a_depth_a_little_below_the_well_is_no_elevation(made):
    """In a valley both are a few metres: only what is a metre and a twentieth beyond the well as built counts."""
    record = made()
    record.well("A", point=(14.5, 0.5), ground_elevation_m=14.0, total_depth_m=12.0)
    record.event("A", "2024-03-12T10:00", [(DEPTH, 13.55)])
    assert quantities.ELEVATION_AS_DEPTH not in rules_of(record)
    record.event("A", "2024-06-12T10:00", [(DEPTH, 13.65)])
    assert quantities.ELEVATION_AS_DEPTH in rules_of(record)


def test_every_rule_is_a_plain_phrase_and_listed_once():
    assert len(set(RULES)) == len(RULES)
    assert all(rule == rule.strip() and rule[0].islower() and "_" not in rule for rule in RULES)


def test_every_check_stands_in_the_tables_with_its_words_and_limits():
    table = describe_checks().splitlines()
    assert table[:2] == ["| rule | looks for | severity |", "| --- | --- | --- |"]
    assert [line.split(" | ")[0] for line in table[2:]] == [f"| {rule}" for rule in RULES]
    assert "| silting | each further loss of depth, with the share of the screen that is covered | note, " in table[14]
    assert "| `apart_m` | 0.2 |" in describe_limits()
    assert {limit.name for check in CHECKS for limit in check.limits} < set(LIMITS)
    assert all(check.looks_for for check in CHECKS)


def test_a_limit_has_one_default_in_all_checks():
    limits = {limit for check in CHECKS for limit in check.limits}
    assert len({limit.name for limit in limits}) == len(limits)


def test_an_empty_record_has_no_findings(made):
    found = found_in(made())
    assert found.empty
    assert tuple(found.columns) == FINDING_COLUMNS


def test_sound_levels_have_no_findings(made):
    record = made()
    record.well("A", screen=(6.0, 9.0), point=(100.0, 0.5), total_depth_m=9.5)
    quarterly(record, "A", 5.0 + np.random.default_rng(1).normal(0.0, 0.05, 24))
    assert found_in(record).empty


def test_a_finding_tells_rule_limits_values_and_severity(made):
    record = made()
    record.well("A", point=(100.0, 0.5), total_depth_m=9.5)
    event = record.event("A", "2024-05-15T10:00", [(DEPTH, 12.0)])
    row = found_in(record).iloc[0]
    assert (row["rule"], row["severity"], row["well"], row["event_id"]) == (visits.BELOW_BOTTOM, "serious", "A", event)
    assert row["message"] == "Water was read at 11.500 m below ground, and the bottom lies at 9.500 m as built."
    limits = json.loads(row["limits"])
    assert limits == {"bottom_m": 9.5, "bottom_tolerance_m": 0.15, "depth_below_ground_m": 11.5}


def test_the_newest_sounding_is_the_bottom(made):
    record = made()
    record.well("A", point=(100.0, 0.5), total_depth_m=20.0)
    record.event("A", "2024-02-15T10:00", [(DEPTH, 5.0), ("sounded_depth", 10.5)])
    record.event("A", "2024-05-15T10:00", [(DEPTH, 12.0)])
    told = found_in(record).set_index("rule").loc[visits.BELOW_BOTTOM]
    assert "10.000 m as sounded" in told["message"]


def test_water_above_the_measuring_point_needs_the_word_flowing(made):
    record = made()
    for code, status in (("A", "static"), ("B", "flowing")):
        record.well(code, point=(100.0, 0.5))
        record.event(code, "2024-05-15T10:00", [("water_elevation", 100.3)], status=status)
    found = found_in(record)
    assert found[["well", "rule", "severity"]].to_numpy().tolist() == [["A", visits.ABOVE_POINT, "serious"]]


def test_water_above_ground_inside_the_casing_is_a_note(made):
    record = made()
    record.well("A", point=(100.0, 0.5))
    record.event("A", "2024-05-15T10:00", [(DEPTH, 0.2)])
    assert found_in(record)[["rule", "severity"]].to_numpy().tolist() == [[visits.ABOVE_GROUND, "note"]]


@pytest.mark.parametrize(("repeats", "told"), [((5.000, 5.006), False), ((5.000, 5.0061), True), ((5.0, 5.1), True)])
def test_repeats_within_two_hundredths_of_a_foot_agree(made, repeats, told):
    """0.02 ft, rounded to 6 mm: USGS TM 1-A1 (Cunningham and Schalk, 2011), GWPD 1, p. 6-8."""
    record = made()
    record.well("A", point=(100.0, 0.5))
    record.event("A", "2024-05-15T10:00", [(DEPTH, one) for one in repeats])
    assert ("repeats disagree" in rules_of(record)) == told


def test_a_level_after_pumping_waits_a_day(made):
    """24 hours: US EPA RCRA guidance of 1992, p. 7-4."""
    record = made()
    record.well("A", point=(100.0, 0.5))
    record.event("A", "2024-05-15T10:00", [(DEPTH, 8.0)], status="pumping")
    record.event("A", "2024-05-16T09:00", [(DEPTH, 5.2)])
    record.event("A", "2024-05-16T10:00", [(DEPTH, 5.1)])
    told = found_in(record)
    told = told[told["rule"] == visits.RECOVERY]
    assert told["measured_at"].tolist() == ["2024-05-16T10:00+01:00"]


def test_a_tape_is_checked_once_a_year(made):
    """Twelve months: USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 8 and 35."""
    record = made()
    record.well("A", point=(100.0, 0.5))
    tape = record.tape("T-1")
    record.check("T-1", "2023-01-10", 10.0, 10.0)
    record.event("A", "2024-01-10T10:00", [(DEPTH, 5.0)], instrument_id=tape)
    record.event("A", "2024-01-12T10:00", [(DEPTH, 5.0)], instrument_id=tape)
    told = found_in(record)
    told = told[told["rule"] == visits.TAPE_DUE]
    assert told["measured_at"].tolist() == ["2024-01-12T11:00+01:00"]
    assert "367 days" in told["message"].iloc[0]


def test_the_site_says_how_often_tapes_are_checked(made):
    for settings, told in (({"tape_check_interval_days": 180.0}, True), ({"tape_check_interval_days": 400.0}, False)):
        record = made(**settings)
        record.well("A", point=(100.0, 0.5))
        tape = record.tape("T-1")
        record.check("T-1", "2023-01-10", 10.0, 10.0)
        record.event("A", "2023-12-10T10:00", [(DEPTH, 5.0)], instrument_id=tape)
        assert (visits.TAPE_DUE in rules_of(record)) == told


def test_a_site_sets_limits_of_its_own(made):
    for limits, told in ((None, True), ({"bottom_tolerance_m": 3.0}, False)):
        record = made(check_limits=None if limits is None else json.dumps(limits))
        record.well("A", point=(100.0, 0.5), total_depth_m=9.5)
        record.event("A", "2024-05-15T10:00", [(DEPTH, 12.0)])
        assert (visits.BELOW_BOTTOM in rules_of(record)) == told


def test_a_limit_that_does_not_exist_is_stated_with_the_nearest(made):
    record = made(check_limits=json.dumps({"jump_spread": 4.0}))
    row = found_in(record).iloc[0]
    assert (row["rule"], row["severity"]) == ("unknown limit", "serious")
    assert "Did you mean jump_spreads" in row["message"]


def test_every_limit_has_a_meaning_and_a_source():
    for name, limit in LIMITS.items():
        assert limit.meaning, name
        assert limit.source, name
        assert limit.default >= 0.0


def test_a_blunder_of_one_metre_is_explained(made):
    record = made()
    record.well("A", point=(100.0, 0.5))
    depths = 5.0 + np.random.default_rng(4).normal(0.0, 0.02, 24)
    depths[12] += 1.0
    event = quarterly(record, "A", depths)[12]
    found = found_in(record)
    at_event = found[found["event_id"] == event].set_index("rule")
    assert set(at_event.index) == {series.AMOUNT}
    assert "it would fit 1 m higher" in at_event.loc[series.AMOUNT, "message"]
    assert set(found["event_id"]) == {event}


@pytest.mark.slow
def test_a_misfit_of_a_unit_is_reported_where_it_need_not_be_as_rare_as_another(made):
    """A restless well: one metre is 4.5 of its standard deviations, between the limits of 3.5 and of 6."""
    record = made()
    record.well("A", point=(100.0, 0.5))
    depths = 8.0 + np.random.default_rng(6).normal(0.0, 0.17, 40)
    before = depths[20]
    depths[20] = np.mean(depths[[19, 21]]) + 1.0
    event = quarterly(record, "A", np.round(depths, 2))[20]
    found = found_in(record)
    assert found[["event_id", "rule"]].to_numpy().tolist() == [[event, series.AMOUNT]]
    limits = json.loads(found["limits"].iloc[0])
    assert limits["unit_spreads"] < abs(limits["misfit_m"]) / limits["spread_m"] < limits["hint_spreads"]
    depths[20] = before
    quiet = made()
    quiet.well("A", point=(100.0, 0.5))
    quarterly(quiet, "A", np.round(depths, 2))
    assert found_in(quiet).empty


def test_feet_booked_as_metres_are_explained(made):
    record = made()
    record.well("A", point=(100.0, 0.5))
    depths = 5.0 + np.random.default_rng(4).normal(0.0, 0.05, 24)
    depths[12] = round(depths[12] / 0.3048, 2)
    event = quarterly(record, "A", depths, notes="Tape with feet")[12]
    found = found_in(record)
    assert found.loc[found["event_id"] == event, "rule"].tolist() == [series.UNIT]


def test_a_unit_that_the_record_does_not_know_explains_nothing(made):
    """Metres in a record of feet alone, and feet in one of metres."""
    for unit, factor in (("m", 1.0 / 0.3048), ("ft", 0.3048)):
        record = made(length_unit=unit)
        record.well("A", point=(100.0, 0.1))
        depths = (5.0 + np.random.default_rng(4).normal(0.0, 0.05, 24)).round(2)
        depths[12] = round(depths[12] * factor, 2)
        events = [
            record.event("A", f"{2018 + n // 4}-{2 + 3 * (n % 4):02d}-15T10:00", [(DEPTH, float(d), unit)])
            for n, d in enumerate(depths)
        ]
        found = found_in(record)
        at_event = found[found["event_id"] == events[12]]
        assert len(at_event) == 1
        assert series.UNIT not in set(at_event["rule"])
        assert not at_event["message"].str.contains(" ft" if unit == "m" else " m\\b", regex=True).any()


def test_a_misplaced_decimal_point_is_the_first_explanation(made):
    """14.25 for 143: three findings once, none of which said so."""
    record = made(length_unit="ft")
    record.well("A", point=(300.0, 0.5))
    depths = (142.6 + np.random.default_rng(4).normal(0.0, 0.4, 24)).round(1)
    depths[12] = 14.25
    events = [
        record.event("A", f"{2018 + n // 4}-{2 + 3 * (n % 4):02d}-15T10:00", [(DEPTH, float(d), "ft")])
        for n, d in enumerate(depths)
    ]
    found = found_in(record)
    assert found[["event_id", "rule", "severity"]].to_numpy().tolist() == [[events[12], series.DECIMAL, "serious"]]
    assert "142.5 instead of 14.25 ft" in found["message"].iloc[0]


def test_readings_marked_suspect_are_neither_compared_nor_a_reference(made):
    """With nothing but an outlier among levels marked suspect, all of them once did not fit."""
    record = made()
    record.well("A")
    record.point("A", 100.0, "2000-01-01", height_above_ground_m=0.5)
    depths = 5.0 + np.random.default_rng(4).normal(0.0, 0.02, 60)
    depths[40] += 1.7
    events = []
    for number, depth in enumerate(depths):
        when = f"{2005 + number // 4}-{2 + 3 * (number % 4):02d}-15T10:00"
        quality = "suspect" if 31 <= number < 50 and number != 40 else "good"
        events.append(record.event("A", when, [(DEPTH, float(depth))], quality=quality))
    assert found_in(record)["event_id"].tolist() == [events[40]]


@pytest.mark.slow
def test_a_misfit_is_larger_than_the_range_that_its_finding_states(made):
    record = made()
    network(record)
    random = np.random.default_rng(3)
    for number in range(9):
        code = f"W{number}"
        for _ in range(3):
            day = f"{random.integers(2019, 2027)}-{random.integers(3, 12):02d}-01T10:00"
            record.event(code, day, [(DEPTH, round(20.0 + float(random.normal(0.0, 1.5)), 3))])
    found = found_in(record)
    told = found[found["message"].str.contains("usual: within")]
    sizes = told["message"].str.extract(r"([\d.]+) m (?:above|below)[^(]*\(usual: within ([\d.]+) m").astype(float)
    assert len(sizes) > 5
    assert (sizes[0] > sizes[1]).all()


def test_a_steady_fall_between_two_readings_is_no_misfit_and_no_jump(made):
    record = made()
    record.well("A", point=(100.0, 0.5))
    depths = 5.0 + np.random.default_rng(4).normal(0.0, 0.02, 40)
    depths[20:] += 1.2
    depths[19] += 0.8
    depths[18] += 0.4
    quarterly(record, "A", depths)
    found = found_in(record)
    assert not (found["rule"] == series.MISFIT).any()
    assert len(found) == 1


def test_a_turn_of_a_smooth_curve_is_no_misfit(made):
    record = made()
    record.well("A")
    record.point("A", 100.0, "2000-01-01", height_above_ground_m=0.5)
    rises = np.concatenate([np.zeros(30), np.linspace(0.0, 3.0, 6), np.linspace(2.6, 0.0, 6), np.zeros(20)])
    quarterly(record, "A", 5.0 - rises + np.random.default_rng(4).normal(0.0, 0.02, rises.size), start=2005)
    assert not (found_in(record)["rule"] == series.MISFIT).any()


def test_what_has_one_cause_is_one_finding_with_its_levels(made):
    """90 levels below the bottom at 7 wells were 90 findings."""
    record = made()
    record.well("A", point=(100.0, 0.5), total_depth_m=4.0)
    events = quarterly(record, "A", 5.0 + np.random.default_rng(4).normal(0.0, 0.02, 24))
    found = found_in(record)
    assert found["rule"].tolist() == [visits.BELOW_BOTTOM]
    message = found["message"].iloc[0]
    assert "This concerns 24 levels from 2018-02-15 to 2023-11-15." in message
    assert "the depth of the bottom may be wrong" in message
    limits = json.loads(found["limits"].iloc[0])
    assert limits["event_ids"] == events
    assert limits["levels"] == 24


def test_findings_are_numbered_in_their_order_by_well(made):
    """Checks find them in another order: the bottom of B before the ground of A."""
    record = made()
    record.well("A", point=(100.3, 0.5), ground_elevation_m=99.5, ground_accuracy_m=0.02)
    record.well("B", point=(100.0, 0.5), total_depth_m=4.0)
    for code in "AB":
        record.event(code, "2024-05-15T10:00", [(DEPTH, 5.0)])
    found = found_in(record)
    assert found["well"].tolist() == ["A", "B"]
    assert found.index.tolist() == [0, 1]


def test_one_explanation_of_several_levels_is_told_by_the_first_of_them(made):
    """A decimal point that slipped in three readings of a well: the sentence and the values are those of the first."""
    record = made(length_unit="ft")
    record.well("A", point=(300.0, 0.5))
    depths = (142.6 + np.random.default_rng(4).normal(0.0, 0.4, 24)).round(1)
    slips = {5: 14.25, 12: 14.31, 18: 14.19}
    for place, slip in slips.items():
        depths[place] = slip
    events = [
        record.event("A", f"{2018 + n // 4}-{2 + 3 * (n % 4):02d}-15T10:00", [(DEPTH, float(d), "ft")])
        for n, d in enumerate(depths)
    ]
    found = found_in(record)
    assert found[["event_id", "rule"]].to_numpy().tolist() == [[events[5], series.DECIMAL]]
    assert "3 levels from 2019-05-15 to 2022-08-15" in found["message"].iloc[0]
    assert "For the first: the decimal point may be misplaced: 142.5 instead of 14.25 ft" in found["message"].iloc[0]
    limits = json.loads(found["limits"].iloc[0])
    assert limits["event_ids"] == [events[place] for place in slips]
    # from 14.25 ft to 142.5 ft
    assert abs(limits["moved_m"]) == pytest.approx(9 * 14.25 * 0.3048, abs=1e-4)


@pytest.mark.parametrize("cluster", ["K", None])
def test_only_wells_of_a_cluster_have_an_order(made, cluster):
    record = made()
    random = np.random.default_rng(4)
    for code, depth, screen in (("A", 5.0, (8, 10)), ("B", 5.5, (28, 30))):
        record.well(code, point=(100.0, 0.5), screen=screen, cluster=cluster)
        depths = depth + random.normal(0.0, 0.02, 12)
        depths[6] += 1.0 if code == "A" else 0.0
        quarterly(record, code, depths.round(3))
    assert (places.ORDER in rules_of(record)) == (cluster is not None)


@pytest.mark.slow
def test_a_slip_is_reported_once_and_not_as_water_above_the_measuring_point(made):
    record = made()
    record.well("A", point=(100.0, 0.5))
    depths = 5.0 + np.random.default_rng(4).normal(0.0, 0.05, 24)
    depths[12] = -depths[12].round(3)
    quarterly(record, "A", depths.round(3))
    assert found_in(record)["rule"].tolist() == [series.SIGN]


@pytest.mark.parametrize(
    ("code", "is_told"), [("T-9", True), ("electric tape", False), ("Steel tape", False), ("unknown", False)]
)
def test_an_instrument_that_nobody_named_makes_no_step(code, is_told):
    """A word for the kind of instrument, or for the method, names none."""
    frame = pd.DataFrame({"instrument": ["T-1", code], "method": ["", "steel tape"]})
    inputs = SimpleNamespace(instruments=pd.DataFrame({"kind": ["electric tape"]}))
    assert steps.is_named(SimpleNamespace(frame=frame, inputs=inputs)).tolist() == [True, is_told]


def test_messages_of_a_site_in_feet_are_in_feet(made):
    record = made(length_unit="ft")
    record.well("A", point=(100.0, 0.5), total_depth_m=9.5)
    record.event("A", "2024-05-15T10:00", [(DEPTH, 40.0, "ft")])
    message = found_in(record).iloc[0]["message"]
    assert message == "Water was read at 38.36 ft below ground, and the bottom lies at 31.17 ft as built."


def network(record, steps_m=None, tapes=None, stretched=None):
    """Add nine wells that move together for ten years; steps_m acts on wells from 2023 on.

    Of wells in `stretched`, {code: number of quarter}, readings are from then on of the second tape, 1 % short.
    """
    random = np.random.default_rng(12)
    common = np.cumsum(random.normal(0.0, 0.2, 40))
    for number in range(9):
        code = f"W{number}"
        record.well(code, easting=300.0 * (number % 3), northing=300.0 * (number // 3) + 17.0 * number)
        changed = (steps_m or {}).get(code)
        if changed is None:
            record.point(code, 100.0, height_above_ground_m=0.5)
        else:
            record.point(code, 100.0, end="2023-01-01", height_above_ground_m=0.5)
            record.point(code, 100.0 + changed, start="2023-01-01", height_above_ground_m=0.5 + changed)
        depth = 20.0 + 0.3 * number - common + random.normal(0.0, 0.01, 40)
        since = (stretched or {}).get(code, 40)
        depth[since:] *= 0.99
        for part, first in ((depth[:since], 0), (depth[since:], since)):
            tape = {"instrument_id": tapes[first > 0]} if tapes else {}
            quarterly(record, code, np.round(part, 3), first=first, **tape)


@pytest.mark.slow
def test_another_tape_is_one_finding_with_the_wells_that_it_was_used_in(made):
    """Wells change tapes in two quarters that follow one another: one finding, of a tape that reads 1 % short."""
    record = made()
    changes = {f"W{number}": 24 if number < 3 else 25 for number in range(5)}
    network(record, tapes=(record.tape("T-1"), record.tape("T-2")), stretched=changes)
    found = found_in(record)
    told = found[found["rule"] == steps.WITH_TAPE]
    assert len(told) == 1
    assert json.loads(told["limits"].iloc[0])["levels"] == 5
    assert "first used from 2024-02-15 to 2024-05-15, the levels of 5 wells stepped by +0.2" in told["message"].iloc[0]
    assert json.loads(told["limits"].iloc[0])["slope"] == pytest.approx(0.01, abs=0.002)


def test_changes_of_tape_half_a_year_apart_are_one_change_and_a_day_later_another():
    """Half a year is 183 days (project default), that day included."""
    first_levels = pd.DataFrame({"row": [0, 1, 2, 3], "time_d": [10.0, 193.0, 194.0, 377.0]})
    groups = list(steps._of_one_change(first_levels, np.arange(4)))
    assert [group["row"].tolist() for group in groups] == [[0, 1], [2, 3]]


@pytest.mark.slow
def test_a_measuring_point_typed_a_foot_too_high_makes_a_step(made):
    """A typed elevation that was one foot wrong made a well seem to tap other water: a case of a quarterly report of
    2003 (San Joaquin County EHD)."""
    record = made()
    network(record, {"W4": 0.3048})
    found = found_in(record)
    told = found[found["rule"] == steps.AT_POINT]
    assert told["well"].tolist() == ["W4"]
    assert "about 1 ft" not in told["message"].iloc[0]
    assert told["measured_at"].iloc[0].startswith("2023-02-15")


def test_a_survey_that_does_not_fit_the_ground_is_stated(made):
    record = made()
    record.well("A", point=(100.3, 0.5), ground_elevation_m=99.5, ground_accuracy_m=0.02)
    record.well("B", point=(100.0, 0.5), ground_elevation_m=99.5, ground_accuracy_m=0.02)
    for code in "AB":
        record.event(code, "2024-05-15T10:00", [(DEPTH, 5.0)])
    found = found_in(record)
    assert found[["well", "rule", "measured_at"]].to_numpy().tolist() == [["A", places.GROUND, ""]]


def test_a_round_is_held_against_the_whole_record(made):
    record = made()
    record.well("A", point=(100.0, 0.5))
    depths = 5.0 + np.random.default_rng(4).normal(0.0, 0.02, 24)
    quarterly(record, "A", depths)
    site_round = record.add("gauging_round", site_id=record.site_id, code="R1")
    record.add("round_record", gauging_round_id=site_round, starts_on=dt.date(2024, 2, 15), wells='["A"]')
    record.event("A", "2024-02-15T10:00", [(DEPTH, 6.34)], gauging_round_id=site_round)
    found = found_in(record, round_code="R1")
    assert series.MISFIT in set(found["rule"])
    assert set(found["round"]) == {"R1"}


def test_a_planned_well_without_a_reading_is_missing(made):
    record = made()
    record.well("A", point=(100.0, 0.5))
    record.well("B", point=(100.0, 0.5))
    number = record.add("gauging_round", site_id=record.site_id, code="R1")
    record.add("round_record", gauging_round_id=number, starts_on=dt.date(2024, 2, 15), wells='["A", "B"]')
    record.event("A", "2024-02-15T10:00", [(DEPTH, 5.0)], gauging_round_id=number)
    found = found_in(record)
    assert found[["well", "rule"]].to_numpy().tolist() == [["B", MISSING]]
    assert np.isnan(found["event_id"].iloc[0])


def test_a_level_outside_its_rounds_dates_is_stated(made):
    record = made()
    record.well("A", point=(100.0, 0.5))
    number = record.add("gauging_round", site_id=record.site_id, code="R1")
    record.add(
        "round_record",
        gauging_round_id=number,
        starts_on=dt.date(2024, 2, 15),
        ends_on=dt.date(2024, 2, 16),
        wells="[]",
    )
    record.event("A", "2024-02-16T10:00", [(DEPTH, 5.0)], gauging_round_id=number)
    record.event("A", "2024-02-19T10:00", [(DEPTH, 5.0)], gauging_round_id=number)
    found = found_in(record)
    assert found[["measured_at", "rule"]].to_numpy().tolist() == [["2024-02-19T11:00+01:00", visits.WINDOW]]
    assert "3 days after the last day" in found["message"].iloc[0]


def test_a_rejected_level_keeps_its_finding(made):
    """Otherwise the next run would take back what the decision rests on."""
    record = made()
    record.well("A", point=(100.0, 0.5))
    depths = 5.0 + np.random.default_rng(4).normal(0.0, 0.02, 24)
    depths[12] += 1.0
    event = quarterly(record, "A", depths)[12]
    before = found_in(record)
    record.add("review", level_event_id=event, state="rejected")
    after = found_in(record)
    assert set(before["rule"]) == set(after["rule"])
    assert set(after["event_id"]) == {event}
