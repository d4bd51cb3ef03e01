"""What the program makes of the demo network, compared with the truths that were planted in it."""

import datetime as dt
import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.checks.quality import EVENT_IDS
from gwnet.analysis.maps.site_maps import SetRule, control_of
from gwnet.analysis.pumping.readings import TEST_STATUS
from gwnet.network import Network, init
from gwnet.products.collect import collect
from gwnet.products.maps import map_context
from gwnet.reporting.aquifer_map import aquifer_page
from gwnet.reporting.definition.parse import load_definition
from gwnet.reporting.definition.period import parse_period
from gwnet.reporting.view import look
from gwnet.store.snapshot import Snapshot

DEMO = Path(__file__).resolve().parents[2] / "demo_network"
TRUTHS = tomllib.loads((DEMO / "EXPECTED.toml").read_text())
PLAN = tomllib.loads((DEMO / "demo.toml").read_text())
FIRST = dt.datetime(2026, 3, 2, 8, 0, tzinfo=dt.UTC)
SECOND = FIRST + dt.timedelta(hours=1)


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite"
    init(path)
    with Network(path) as net:
        net.load([DEMO], by=PLAN["by"], now_utc=FIRST)
        for step in PLAN["corrections"]:
            net.load([DEMO / step["folder"]], by=PLAN["by"], now_utc=SECOND, correct=True, reason=step["reason"])
        yield net


@pytest.fixture(scope="module")
def levels(network):
    table = network.levels()
    return table[table["status"] != TEST_STATUS].reset_index(drop=True)


def level_of(levels, truth):
    moment = pd.Timestamp(truth["measured_at_utc"]) if "measured_at_utc" in truth else None
    rows = levels[(levels["well"] == truth["well"]) & (levels["access"] == truth.get("access", "main"))]
    if moment is not None:
        rows = rows[rows["measured_at_utc"] == moment]
    else:
        rows = rows[rows["measured_at"].str.startswith(truth["measured_at"])]
    assert len(rows) == 1, truth
    return rows.iloc[0]


@pytest.mark.slow
def test_counts(network, levels):
    told = TRUTHS["network"]
    wells = network.wells()
    assert len(wells) == told["wells"]
    assert (wells["aquifer"] == "upper").sum() == told["wells_upper"]
    assert sorted(set(wells["cluster"]) - {""}) == told["clusters"]
    assert len(network.rounds()) == told["rounds"]
    assert len(levels) == told["level_events"]
    # one of those without a code was read within the dates of a round, and belongs to it
    assert (levels["round"] == "").sum() == told["level_events_outside_rounds"] - 1
    assert (~levels["time_known"]).sum() == told["level_events_without_time"]
    assert levels["status"].value_counts().to_dict() == told["statuses"]


@pytest.mark.parametrize("truth", TRUTHS["level"], ids=lambda t: f"{t['well']} {t['measured_at']}")
def test_levels(levels, truth):
    level = level_of(levels, truth)
    assert level["water_elevation_m"] == pytest.approx(truth["water_elevation_m"], abs=truth["tolerance_m"])
    for name in ("depth_to_water_m", "depth_below_ground_m", "measuring_point_elevation_m"):
        if name in truth:
            assert level[name] == pytest.approx(truth[name], abs=truth["tolerance_m"] + 1e-4)
    assert level["usable"] == truth["usable"]


def test_stated_uncertainty_covers_the_planted_truth(levels):
    """At 95 % half-widths, nearly all of the true elevations lie within the printed uncertainty."""
    misses = []
    for truth in TRUTHS["level"]:
        level = level_of(levels, truth)
        misses.append(abs(level["water_elevation_m"] - truth["water_elevation_m"]) > level["uncertainty_m"])
    assert np.mean(misses) < 0.05


@pytest.mark.parametrize("truth", TRUTHS["bound"], ids=lambda t: f"{t['well']} {t['measured_at']}")
def test_bounds(levels, truth):
    level = level_of(levels, truth)
    assert level["bound"] == truth["bound"]
    assert level["bound_elevation_m"] == pytest.approx(truth["bound_elevation_m"], abs=truth.get("tolerance_m", 1e-6))
    assert not level["usable"]
    is_read = truth["kind"] == "water in the sump"  # then depth and elevation are as read, below the bound
    assert math.isnan(level["depth_to_water_m"]) != is_read
    assert (level["water_elevation_m"] < level["bound_elevation_m"]) == is_read
    if truth["bound"] == "<=":
        assert truth["true_water_elevation_m"] <= level["bound_elevation_m"] + truth.get("tolerance_m", 0.0)


def test_the_corrected_survey_moves_every_level_and_known_on_undoes_it(network, levels):
    told = TRUTHS["corrected_survey"]
    before = network.levels(known_on=FIRST)
    for truth in told["level"]:
        place = {"well": told["well"], **truth}
        assert level_of(levels, place)["water_elevation_m"] == pytest.approx(truth["after_m"], abs=told["tolerance_m"])
        assert level_of(before, place)["water_elevation_m"] == pytest.approx(truth["before_m"], abs=told["tolerance_m"])


@pytest.mark.parametrize("truth", TRUTHS["alteration"], ids=lambda t: t["well"])
def test_casing_alterations_make_no_step(network, levels, truth):
    rows = levels[(levels["well"] == truth["well"]) & levels["usable"]]
    day = truth["on"]
    points = rows["measuring_point_elevation_m"]
    before, after = rows["measured_at"] < day, rows["measured_at"] >= day
    assert points[before].iloc[-1] == pytest.approx(truth["elevation_before_m"])
    assert points[after].iloc[0] == pytest.approx(truth["elevation_after_m"])
    depth_jump = rows["depth_to_water_m"][after].iloc[0] - rows["depth_to_water_m"][before].iloc[-1]
    head_jump = rows["water_elevation_m"][after].iloc[0] - rows["water_elevation_m"][before].iloc[-1]
    assert depth_jump + head_jump == pytest.approx(truth["change_m"], abs=1e-9)


@pytest.mark.parametrize("truth", TRUTHS["beyond_check"], ids=lambda t: f"{t['well']} {t['measured_at']}")
def test_readings_beyond_the_tape_check_are_noticed(levels, truth):
    assert "beyond the tape check" in level_of(levels, truth)["finding"]


@pytest.fixture(scope="module")
def found(network):
    return network.checks()


@pytest.mark.parametrize("truth", TRUTHS["fault"], ids=lambda t: f"{t['fault']}, {t['well']} {t['measured_at']}")
def test_a_planted_fault_is_found(found, levels, truth):
    event = int(level_of(levels, truth)["event_id"])
    assert truth["rule"] in {row.rule for row in found.itertuples() if event in events_of(row)}


def events_of(finding):
    """Return the level events that a finding concerns."""
    return json.loads(finding.limits).get(EVENT_IDS) or [finding.event_id]


def test_the_findings_of_the_reduction_are_those_planted(found):
    told = {  # levels concerned, whatever the number of findings
        "beyond the tape check": len(TRUTHS["beyond_check"]),
        "repeats disagree": len(TRUTHS["disagreement"]),
        "product without density": len(TRUTHS["product_without_density"]),
        "water below the screen": sum(t["kind"] == "water in the sump" for t in TRUTHS["bound"]),
        "no reading and no reason": len(TRUTHS["last_round"]["missing_without_reason"]),
        "outside the round's window": len(TRUTHS["last_round"]["late"]),
    }
    counts = dict.fromkeys(told, 0)
    for row in found[found["rule"].isin(told)].itertuples():
        counts[row.rule] += len(events_of(row))
    assert counts == told


def test_silting_is_stated_with_each_further_half_metre(found):
    told = found[(found["rule"] == "silting") & (found["well"] == TRUTHS["silting"]["well"])]
    assert len(told) == int(
        (TRUTHS["silting"]["total_depth_m"] - TRUTHS["silting"]["sounding"][-1]["sounded_depth_m"]) / 0.5
    )
    assert told.iloc[-1]["severity"] == "serious"
    assert set(found.loc[found["rule"] == "silting", "well"]) == {TRUTHS["silting"]["well"]}


def test_the_wrong_survey_does_not_fit_the_ground_until_it_is_corrected(network, found):
    rule = "measuring point does not fit the ground"
    before = network.checks(known_on=FIRST)
    assert set(before.loc[before["rule"] == rule, "well"]) == {TRUTHS["corrected_survey"]["well"]}
    assert (found["rule"] != rule).all()


#: At most so many warnings among the sound levels of the demo network: one in a hundred.
FALSE_ALARMS = 8


def test_few_sound_levels_are_suspected(found, levels):
    """Everything that is told of a level of which nothing is wrong, in wells and rounds without a planted fault."""
    planted = {(truth["well"], truth["measured_at"][:10]) for truth in TRUTHS["fault"]}
    planted |= {
        (truth["well"], truth["measured_at"][:10])
        for name in ("disagreement", "unusable", "product_without_density")
        for truth in TRUTHS[name]
    }
    borrowed = levels[levels["instrument"] == "E-4"]
    planted |= set(zip(borrowed["well"], borrowed["measured_at"].str[:10], strict=True))
    facts = {"silting", "water below the screen", "no reading and no reason", "tape check overdue"}
    suspected = found[(found["severity"] != "note") & ~found["rule"].isin(facts)]
    alarms = [row for row in suspected.itertuples() if (row.well, row.measured_at[:10]) not in planted]
    assert len({(row.well, row.measured_at) for row in alarms}) <= FALSE_ALARMS
    assert not any(row.severity == "serious" for row in alarms)


def test_disagreeing_repeats_are_left_out(levels):
    for truth in TRUTHS["disagreement"]:
        level = level_of(levels, truth)
        assert level["finding"] == "repeats disagree"
        assert np.isnan(level["water_elevation_m"])


@pytest.mark.parametrize("truth", TRUTHS["unusable"], ids=lambda t: f"{t['well']} {t['measured_at']}")
def test_unusable_levels_say_why(levels, truth):
    level = level_of(levels, truth)
    assert truth["cause"] in level["unusable_reason"]
    assert level["notes"] == truth["notes"]


def test_silting_shows_in_the_soundings(levels):
    told = TRUTHS["silting"]
    for truth in told["sounding"]:
        level = level_of(levels, {"well": told["well"], **truth})
        assert level["sounded_depth_m"] == pytest.approx(truth["sounded_depth_m"], abs=told["tolerance_m"])


@pytest.fixture(scope="module")
def report_data(network):
    with network.store.reading() as connection:
        return collect(Snapshot(connection).of_site(), load_definition("quarterly"), parse_period("2026-Q1"))


@pytest.mark.slow
def test_the_page_of_an_aquifer_states_the_interval_between_its_contours(network, report_data):
    view = look(load_definition("quarterly"), report_data, parse_period("2026-Q1"))
    with network.store.reading() as connection:
        context = map_context(Snapshot(connection).of_site())
    assert len(view.maps()) == 2
    for facts in view.maps():
        levels = sorted({round(float(contour.level_m), 6) for contour in facts.result.contours})
        surface = dict(aquifer_page(view, facts, context).notes)["Surface"]
        assert surface.startswith(f"contours every {min(np.diff(levels)):.4g}\u00a0m, universal kriging")


@pytest.mark.parametrize("truth", TRUTHS["last_round"]["control"], ids=lambda t: t["aquifer"])
def test_same_day_set_of_the_last_round(network, truth):
    told = TRUTHS["last_round"]
    date = dt.date.fromisoformat(told["date"])
    with network.store.reading() as connection:
        rule = SetRule(told["window_days"], loggers=False)
        control = control_of(Snapshot(connection).of_site(), truth["aquifer"], date, rule)
    wells = control[control["kind"] == "well"]
    assert sorted(wells.loc[wells["used"], "well"]) == sorted(truth["used"])
    gauges = control[control["kind"] == "stage"]
    assert sorted(gauges.loc[gauges["used"], "well"]) == sorted(truth["gauges"])
    reasons = dict(zip(wells["well"], wells["reason"], strict=True))
    for excluded in truth["excluded"]:
        assert reasons[excluded["well"]], excluded


@pytest.mark.slow
def test_thresholds_of_the_last_round(network, report_data):
    rows = report_data.thresholds
    for truth in TRUTHS["threshold"]:
        mine = rows[(rows["well"] == truth["well"]) & (rows["threshold"] == truth["threshold"])]
        assert truth["elevation_m"] in mine["elevation_m"].round(4).tolist()


@pytest.mark.parametrize("truth", [t for t in TRUTHS["gradient"] if t["method"] == "plane through the used wells"])
def test_gradient_of_the_used_wells(network, truth):
    found = network.gradients(truth["wells"], dt.date.fromisoformat(TRUTHS["last_round"]["date"])).gradient
    assert found.determined
    assert abs(found.magnitude - truth["magnitude"]) <= max(found.magnitude_half_width, 1e-5)
    turn = (found.azimuth_deg - truth["azimuth_deg"] + 180.0) % 360.0 - 180.0
    assert abs(turn) <= max(found.azimuth_half_width_deg, 0.5)


def test_the_maps_surface_lies_near_the_true_surface(network):
    date = dt.date.fromisoformat(TRUTHS["last_round"]["date"])
    for aquifer in ("upper", "lower"):
        points = [p for p in TRUTHS["surface_point"] if p["aquifer"] == aquifer]
        if not points:
            continue
        surface = network_surface(network, aquifer, date)
        x, y = (np.array([p[name] for p in points]) for name in ("easting", "northing"))
        truth = np.array([p["water_elevation_m"] for p in points])
        drawn = surface.predict(x, y, inside_control=True)
        inside = ~np.isnan(drawn)
        assert inside.any()
        spread = surface.standard_error(x, y)
        assert (np.abs(drawn - truth)[inside] <= 3.0 * spread[inside] + 0.05).all()


def network_surface(network, aquifer, date):
    from gwnet.analysis.maps.site_maps import map_of

    with network.store.reading() as connection:
        return map_of(Snapshot(connection).of_site(), aquifer, date, SetRule(1, loggers=False)).surface


def test_levels_out_of_date_order_and_utc_offsets(levels):
    winter, summer = "+01:00", "+02:00"
    months = levels.loc[levels["time_known"], "measured_at"].str[5:7].astype(int)
    offsets = levels.loc[levels["time_known"], "measured_at"].str[-6:]
    assert set(offsets[months.between(4, 9)]) == {summer}
    assert set(offsets[months.isin([1, 2, 11, 12])]) == {winter}
