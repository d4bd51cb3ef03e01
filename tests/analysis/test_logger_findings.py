import datetime as dt

import numpy as np
import pytest

from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.correction_kinds import KINDS, PARAMETERS, check_parameters, describe_corrections
from gwnet.analysis.loggers.corrections import (
    Correction,
    list_corrections,
    plan_corrections,
    plan_withdrawal,
    record_corrections,
    suggested_corrections,
)
from gwnet.analysis.loggers.finding_rules import RULES, describe_logger_findings
from gwnet.analysis.loggers.findings import list_findings
from gwnet.analysis.loggers.status import STATUS_COLUMNS, summarize_status
from gwnet.errors import AnalysisError, NotFoundError, SettingsError

from .logger_record import HOUR
from .record import RECORDED_ON
from .test_logger_heads import G, Installed

NOW = RECORDED_ON + dt.timedelta(days=1)


@pytest.fixture
def installed(tmp_path):
    made = Installed(tmp_path / "a.sqlite")
    yield made
    made.record.store.close()


@pytest.fixture(scope="module")
def untouched(tmp_path_factory):
    made = Installed(tmp_path_factory.mktemp("untouched") / "a.sqlite").install()
    yield made
    made.record.store.close()


@pytest.fixture
def anywhere(store_url):
    made = Installed(store_url)
    yield made
    made.record.store.close()


def noisy(made):
    """Give the water the noise of a sensor."""
    made.water = made.water + np.random.default_rng(9).normal(size=made.water.size) * 0.001
    return made


def found(made, **asked):
    with made.loggers.snapshot(**asked) as record:
        return list_findings(record)


def decide(made, *wanted, plan=plan_corrections, reason="as seen"):
    with made.loggers.snapshot() as record:
        planned = plan(record, *wanted)
    with made.record.act(NOW) as connection:
        return record_corrections(connection, planned, by="Ben", reason=reason)


def accept(made, *names):
    with made.loggers.snapshot() as record:
        wanted = suggested_corrections(record, *names)
    return decide(made, *wanted)


def one_of(table, rule):
    rows = table[table["rule"] == rule]
    assert len(rows) == 1, table[["rule", "message"]].to_string()
    return rows.iloc[0]


def test_a_sound_logger_has_no_finding(installed):
    noisy(installed).install()
    installed.read(100, 700, 1400)
    assert found(installed).empty


@pytest.mark.slow
def test_a_wrong_zone_is_found_applied_and_gone(installed):
    noisy(installed).install(clock=installed.when - 2 * HOUR)
    installed.read(100, 700, 1400)
    row = one_of(found(installed), "clock")
    assert "only when moved by +2 h" in row["message"]
    assert "--seconds 7200" in row["suggestion"]
    done = accept(installed, row["finding"])
    assert done.moved["moved"].tolist()[0] > 1000
    assert found(installed).empty


@pytest.mark.slow
def test_a_barometer_that_all_sensors_disagree_with_is_reported_instead_of_them(installed):
    noisy(installed)
    installed.record.well("V", point=(100.0, 0.5))
    installed.loggers.instrument("L2")
    for code, well in (("L", "W"), ("L2", "V")):
        installed.loggers.install(code, well, depth=12.0, barometer="B")
        installed.loggers.samples(
            code, "absolute pressure", "Pa", installed.when, installed.air + (installed.water - 88.0) * 1000 * G
        )
    installed.loggers.samples("B", "air pressure", "Pa", installed.when - HOUR, installed.air)
    row = one_of(found(installed), "clock")
    assert (row["instrument"], row["well"]) == ("B", "")
    assert "--seconds 3600" in row["suggestion"]
    # a file that is loaded later may be on the right clock
    assert f"--to {str(installed.when[-1] - HOUR)[:16]}:01Z" in row["suggestion"]
    assert (row["start_utc"].to_numpy(), row["end_utc"].to_numpy()) == tuple(installed.when[[0, -1]] - HOUR)
    accept(installed, row["finding"])
    assert "clock" not in set(found(installed)["rule"])


@pytest.mark.slow
def test_a_new_file_on_another_clock_is_found_from_its_first_sample(installed):
    noisy(installed)
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    installed.loggers.install("B", None)
    pressure = installed.air + (installed.water - 88.0) * 1000 * G
    installed.loggers.samples("L", "absolute pressure", "Pa", installed.when[:700], pressure[:700], file="one.csv")
    installed.loggers.samples(
        "L", "absolute pressure", "Pa", installed.when[700:] + HOUR, pressure[700:], file="two.csv"
    )
    installed.loggers.samples("B", "air pressure", "Pa", installed.when, installed.air)
    installed.read(100, 600, 1400)
    row = one_of(found(installed), "clock")
    assert row["start_utc"].to_numpy() == installed.when[700] + HOUR
    assert "a new file starts there" in row["message"]
    assert "--seconds -3600" in row["suggestion"]
    # a file that is loaded later may be on the right clock
    assert f"--to {str(installed.when[-1] + HOUR)[:16]}:01Z" in row["suggestion"]
    accept(installed, row["finding"])
    assert found(installed).empty


@pytest.mark.slow
def test_a_good_file_that_comes_after_an_accepted_shift_stays_good(installed):
    noisy(installed)
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    installed.loggers.install("B", None)
    pressure = installed.air + (installed.water - 88.0) * 1000 * G
    installed.loggers.samples("B", "air pressure", "Pa", installed.when, installed.air)
    installed.loggers.samples(
        "L", "absolute pressure", "Pa", installed.when[:1000] - 2 * HOUR, pressure[:1000], file="one.csv"
    )
    installed.read(100, 700, 1400)
    accept(installed, one_of(found(installed), "clock")["finding"])
    installed.loggers.samples("L", "absolute pressure", "Pa", installed.when[1000:], pressure[1000:], file="two.csv")
    assert "clock" not in set(found(installed)["rule"])
    (heads,) = installed.heads()
    np.testing.assert_array_equal(heads.time_utc[10:], installed.when[10:])
    np.testing.assert_allclose(heads.water_elevation_m, installed.water, atol=5e-3)


@pytest.mark.slow
def test_a_clock_that_followed_summer_time_is_found_from_that_day(tmp_path):
    made = noisy(Installed(tmp_path / "a.sqlite", count=3000, zone="Europe/Vienna"))
    change = int(np.searchsorted(made.when, np.datetime64("2024-03-31T01:00")))
    made.install(clock=np.where(np.arange(3000) >= change, made.when + HOUR, made.when))
    made.read(100, 1400, 2900)
    row = one_of(found(made), "clock")
    assert "the day on which local clocks change" in row["message"]
    assert "--from 2024-03-31T02:00Z" in row["suggestion"]
    assert "--seconds -3600" in row["suggestion"]
    accept(made, row["finding"])
    assert found(made).empty
    made.record.store.close()


@pytest.mark.slow
def test_a_slipped_cable_is_found_by_manual_readings_and_fixed_by_a_step(installed):
    noisy(installed)
    true = installed.water.copy()
    installed.water = np.where(np.arange(1500) < 900, true, true + 0.21)
    installed.install()
    installed.water = true
    installed.read(100, 800, 1000, 1400)
    row = one_of(found(installed), "slipped cable")
    assert row["start_utc"].to_numpy() == installed.when[900]
    done = accept(installed, row["finding"])
    before, after = done.moved[["residual_before_m", "residual_after_m"]].iloc[0]
    assert before > 0.05
    assert after < 0.005
    assert found(installed).empty
    (one,) = installed.heads()
    np.testing.assert_allclose(one.water_elevation_m, true, atol=0.005)


def test_a_step_of_the_water_itself_is_no_finding(installed):
    noisy(installed)
    installed.water = np.where(np.arange(1500) < 900, installed.water, installed.water + 0.4)
    installed.install()
    installed.read(100, 800, 1000, 1400)
    assert found(installed).empty


def test_a_step_that_nobody_can_judge_is_reported_as_such(installed):
    noisy(installed)
    installed.water = np.where(np.arange(1500) < 900, installed.water, installed.water + 0.4)
    installed.install()
    installed.read(100, 400)
    row = one_of(found(installed), "step")
    assert "no manual readings on both sides" in row["message"]
    installed.loggers.correct("L", "absolute pressure", "restart", str(installed.when[900])[:19])
    assert "step" not in set(found(installed)["rule"])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("rule", "places", "change"),
    [
        ("spike", [500], lambda pressure, air: pressure - 8000),
        ("out of water", list(range(500, 540)), lambda pressure, air: air + 20),
        ("flat", list(range(500, 600)), lambda pressure, air: pressure[0]),
        ("over range", list(range(500, 520)), lambda pressure, air: air + 60_000),
        ("bottomed out", list(range(500, 560)), lambda pressure, air: 90_000.0),
    ],
)
def test_samples_that_did_not_measure_the_water_are_found_and_leave_when_accepted(tmp_path, rule, places, change):
    made = noisy(Installed(tmp_path / "a.sqlite"))
    made.loggers.instrument("L3", range_m=5.0)
    made.loggers.install("L3", "W", depth=12.1, barometer="B")
    made.loggers.install("B", None)
    pressure = made.air + (made.water - 88.0) * 1000 * G
    pressure[places] = change(pressure[places], made.air[places])
    made.loggers.samples("L3", "absolute pressure", "Pa", made.when, pressure.round(1))
    made.loggers.samples("B", "air pressure", "Pa", made.when, made.air)
    made.read(100, 1400)
    row = one_of(found(made), rule)
    assert row["start_utc"].to_numpy() == made.when[places[0]]
    assert row["end_utc"].to_numpy() == made.when[places[-1]]
    accept(made, row["finding"])
    assert found(made).empty
    (one,) = made.heads()
    assert set(one.out[places]) == {OUT_REASONS.index(rule)}
    kept = np.delete(np.arange(1500), places)
    np.testing.assert_allclose(one.water_elevation_m[kept], made.water[kept], atol=0.003)


def test_frozen_water_gaps_intervals_batteries_and_missing_air_are_found(installed):
    noisy(installed)
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    installed.loggers.install("B", None)
    pressure = installed.air + (installed.water - 88.0) * 1000 * G
    keep = np.ones(1500, dtype=bool)
    keep[300:340] = False
    keep[800:1001] = np.arange(201) % 4 == 0
    installed.loggers.samples("L", "absolute pressure", "Pa", installed.when[keep], pressure[keep])
    temperature = np.where((np.arange(1500) > 1200) & (np.arange(1500) < 1230), 0.0, 6.0)
    installed.loggers.samples("L", "water temperature", "degC", installed.when, temperature)
    installed.loggers.samples("L", "battery", "%", installed.when, np.linspace(90, 11, 1500))
    installed.loggers.samples("B", "air pressure", "Pa", installed.when[:1400], installed.air[:1400])
    installed.read(100, 1300)
    table = found(installed)
    assert one_of(table, "frozen")["start_utc"].to_numpy() == installed.when[1201]
    assert one_of(table, "interval")["start_utc"].to_numpy() == installed.when[800]
    assert "240 min apart instead of 60 min" in one_of(table, "interval")["message"]
    assert one_of(table, "battery")["message"].startswith("The battery was at 11 %")
    assert one_of(table, "no air pressure")["start_utc"].to_numpy() == installed.when[1400]
    assert one_of(table, "gap")["start_utc"].to_numpy() == installed.when[299]
    with installed.loggers.snapshot() as record:
        row = summarize_status(record).iloc[0]
    assert row["battery"] == "11 %, low"
    assert row["findings"] == len(table)
    assert "frozen" in row["warnings"]


@pytest.mark.slow
def test_a_manual_reading_off_the_others_is_found_and_can_be_left_out(installed):
    noisy(installed).install()
    installed.read(100, 400, 1100, 1400)
    installed.read(700, off=0.12)
    row = one_of(found(installed), "manual reading")
    assert "-0.12" in row["message"]
    accept(installed, row["finding"])
    assert found(installed).empty


def test_a_site_sets_its_own_limits(tmp_path):
    made = noisy(Installed(tmp_path / "a.sqlite", site={"check_limits": '{"logger_residual_m": 0.2}'})).install()
    made.read(100, 400, 1100, 1400)
    made.read(700, off=0.12)
    assert found(made).empty
    made.record.store.close()


def test_drift_that_is_large_beside_the_water_is_found(installed):
    noisy(installed)
    true = 91.0 + (installed.water - 91.0) * 0.3
    installed.water = true + np.linspace(0, 0.2, 1500)
    installed.install()
    installed.water = true
    installed.read(0, 400, 800, 1100, 1499)
    row = one_of(found(installed), "drift")
    assert "%" in row["message"]
    assert row["suggestion"] == ""
    with installed.loggers.snapshot() as record:
        assert summarize_status(record).iloc[0]["drift_share_percent"] > 25


@pytest.mark.slow
def test_findings_name_themselves_and_every_rule_is_described(installed):
    noisy(installed).install(clock=installed.when - 2 * HOUR)
    first, again = found(installed), found(installed)
    assert first["finding"].tolist() == again["finding"].tolist()
    assert set(first["rule"]) <= set(RULES)
    with installed.loggers.snapshot() as record:
        with pytest.raises(NotFoundError, match="no finding"):
            suggested_corrections(record, "ffffffff")
        with pytest.raises(AnalysisError, match="suggests no correction"):
            suggested_corrections(record, first[first["suggestion"] == ""]["finding"].iloc[0])


@pytest.mark.slow
def test_several_findings_are_accepted_together_or_not_at_all(installed):
    noisy(installed)
    installed.water[700] += 0.5
    installed.water[1000] += 0.5
    installed.install()
    installed.read(100, 1400)
    spikes = found(installed)
    assert spikes["rule"].tolist() == ["spike", "spike"]
    first, second = spikes["finding"]
    with pytest.raises(NotFoundError, match="no finding"):
        accept(installed, first, "ffffffff")
    with installed.loggers.snapshot() as record:
        assert list_corrections(record).empty
    done = accept(installed, first, second, first[:7])
    assert len(done.numbers) == 2
    assert done.description.count("exclusion spike") == 2
    assert done.moved.empty  # they gave no level before either
    assert found(installed).empty
    with pytest.raises(NotFoundError, match="no correction 99"):
        decide(installed, done.numbers[0], 99, plan=plan_withdrawal)
    assert found(installed).empty
    decide(installed, *done.numbers, plan=plan_withdrawal)
    assert found(installed)["finding"].tolist() == [first, second]


def test_corrections_that_cannot_all_be_recorded_leave_none(installed):
    installed.install()
    shift, nothing = (Correction("L", "clock shift", {"seconds": seconds}) for seconds in (60, None))
    with pytest.raises(AnalysisError, match="needs seconds"):
        decide(installed, shift, nothing)
    with pytest.raises(AnalysisError, match="would count twice"):
        decide(installed, shift, shift)
    with installed.loggers.snapshot() as record:
        assert list_corrections(record).empty


@pytest.mark.slow
def test_a_correction_is_recorded_listed_and_withdrawn_on_both_databases(anywhere):
    made = noisy(anywhere).install()
    made.read(100, 1400)
    before = made.heads()[0].water_elevation_m
    done = decide(made, Correction("L", "step", {"amount_m": 0.5}, start=dt.datetime(2024, 2, 1, tzinfo=dt.UTC)))
    assert done.description == "step +0.5 m from 2024-02-01 01:00 UTC+01:00"
    assert done.moved.iloc[0][["well", "heads"]].tolist() == ["W", 1500]
    assert abs(done.moved.iloc[0]["largest_m"]) == pytest.approx(0.25, abs=0.02)
    with made.loggers.snapshot() as record:
        (row,) = list_corrections(record, "L").itertuples()
        assert list_corrections(record, "B").empty
    assert (row.correction, row.kind, row.reason, row.recorded_by) == (done.numbers[0], "step", "as seen", "Ben")
    decide(made, done.numbers[0], plan=plan_withdrawal)
    np.testing.assert_array_equal(made.heads()[0].water_elevation_m, before)
    with made.loggers.snapshot() as record:
        assert list_corrections(record).empty
    with pytest.raises(NotFoundError, match="no correction"):
        decide(made, done.numbers[0], plan=plan_withdrawal)


def test_the_same_correction_twice_is_refused_and_nothing_is_half_done(installed):
    installed.install()
    wanted = Correction("L", "clock shift", {"seconds": 3600})
    decide(installed, wanted)
    with pytest.raises(AnalysisError, match="would count twice"):
        decide(installed, wanted)
    with installed.loggers.snapshot() as record:
        assert len(list_corrections(record)) == 1


def test_a_clock_correction_holds_for_every_segment_and_another_for_one(installed):
    installed.install()
    installed.loggers.new_segment("L", "absolute pressure", "hPa", 2)
    installed.loggers.samples("L", "absolute pressure", "hPa", installed.when + 3000 * HOUR, installed.air / 100)
    assert len(decide(installed, Correction("L", "clock shift", {"seconds": 60})).numbers) == 2
    assert len(decide(installed, Correction("L", "density", {"kg_m3": 1001.0})).numbers) == 1


@pytest.mark.parametrize(
    ("wanted", "error", "words"),
    [
        (Correction("X", "clock shift", {"seconds": 1}), NotFoundError, "no series"),
        (Correction("L", "clock shift", {"seconds": 1}, "conductivity"), NotFoundError, "has no series"),
        (Correction("L", "tilt", {}), AnalysisError, "no correction 'tilt'"),
        (Correction("L", "clock shift", {}), AnalysisError, "needs seconds"),
        (Correction("L", "clock shift", {"seconds": float("nan")}), AnalysisError, "cannot be the"),
        (Correction("L", "scale", {"factor": 0}), AnalysisError, "above zero"),
        (Correction("L", "step", {"amount_m": 1.0}), AnalysisError, "needs a start"),
        (Correction("L", "exclusion", {"cause": "spike"}), AnalysisError, "a start, an end or both"),
        (Correction("L", "exclusion", {"cause": "boredom"}), AnalysisError, "one of: spike"),
        (Correction("L", "density", {"kg_m3": 1000, "temperature": 5}), AnalysisError, "not both"),
        (Correction("L", "density", {"kg_m3": 1}), AnalysisError, "from 900 to 1400"),
        (Correction("L", "density", {"temperature": 283.15}), AnalysisError, "Celsius from 0 to 40"),
        (Correction("L", "efficiency", {"value": 1.5}), AnalysisError, "0 to 1"),
        (Correction("L", "restart", {"seconds": 5}), AnalysisError, "no parameter seconds"),
        (Correction("L", "anchoring", {"method": "cubic"}), AnalysisError, "linear, constant, none"),
    ],
)
def test_what_cannot_be_corrected_is_refused_with_a_fix(untouched, wanted, error, words):
    with pytest.raises(error, match=words):
        decide(untouched, wanted)
    with untouched.loggers.snapshot() as record:
        assert list_corrections(record).empty


@pytest.mark.slow
def test_a_correction_without_a_reason_or_with_a_span_backwards_is_refused(untouched):
    wanted = Correction("L", "restart", {}, start=dt.datetime(2024, 2, 1, tzinfo=dt.UTC))
    with pytest.raises(SettingsError, match="reason"):
        decide(untouched, wanted, reason=" ")
    backwards = Correction(
        "L",
        "exclusion",
        {"cause": "flat"},
        start=dt.datetime(2024, 2, 2, tzinfo=dt.UTC),
        end=dt.datetime(2024, 2, 1, tzinfo=dt.UTC),
    )
    with pytest.raises(SettingsError, match="before it starts"):
        decide(untouched, backwards)


def test_every_kind_accepts_what_it_declares():
    given = {
        "seconds": 60,
        "factor": 2,
        "amount_m": 0.1,
        "cause": "spike",
        "method": "none",
        "leave_out": [3, 1, 3],
        "temperature": "series",
        "value": 0.3,
    }
    for kind in KINDS.values():
        mine = {name: given[name] for name in kind.parameters if name in given}
        stored = check_parameters(kind.name, mine, start="a start", end="an end")
        assert set(stored) == set(mine)
    assert check_parameters("anchoring", {"leave_out": [3, 1, 3]}, start=None, end=None) == {"leave_out": [1, 3]}


def test_the_documentation_has_every_kind_option_and_rule():
    kinds = describe_corrections()
    assert kinds.count("\n") == 1 + len(KINDS)
    assert all(f'| `"{name}"` | {kind.description} |' in kinds for name, kind in KINDS.items())
    assert all(f"`{parameter.option} " in kinds for parameter in PARAMETERS.values())
    rules = describe_logger_findings()
    assert rules.count("\n") == 1 + len(RULES)
    assert "| gap | no samples for longer than the interval | 1.5 intervals | nothing |" in rules
    assert "| flat | one value for longer than resolution and noise allow | half a day" in rules
    assert {rule.suggests for rule in RULES.values()} - {""} <= set(KINDS)


def test_status_lists_coverage_gaps_and_the_last_visit(installed):
    noisy(installed)
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    installed.loggers.install("B", None)
    keep = (np.arange(1500) < 500) | (np.arange(1500) >= 600)
    pressure = installed.air + (installed.water - 88.0) * 1000 * G
    installed.loggers.samples("L", "absolute pressure", "Pa", installed.when[keep], pressure[keep])
    installed.loggers.samples("B", "air pressure", "Pa", installed.when, installed.air)
    installed.read(100, 700, 1400)
    installed.loggers.instrument("SPARE")
    installed.record.well("V", point=(100.0, 0.5))
    installed.loggers.install("SPARE", "V")
    with installed.loggers.snapshot() as record:
        table = summarize_status(record)
        late = summarize_status(record, at_utc=dt.datetime(2024, 5, 1, tzinfo=dt.UTC))
        assert summarize_status(record, wells=["W"])["instrument"].tolist() == ["L"]
    assert tuple(table.columns) == STATUS_COLUMNS
    assert table["instrument"].tolist() == ["SPARE", "L", "B"]
    spare, sensor, barometer = (table.iloc[place] for place in range(3))
    assert (spare["samples"], spare["coverage_percent"]) == (0, 0.0)
    assert (sensor["samples"], sensor["gaps"], sensor["longest_gap_hours"]) == (1400, 1, 101.0)
    assert sensor["coverage_percent"] == pytest.approx(100 * (1 - 101 / 1499))
    assert late.iloc[1]["coverage_percent"] < 50
    assert sensor["manual_readings"] == 3
    assert sensor["last_manual_reading"].startswith("2024-02-28T09:00")
    assert sensor["last_download_utc"] == sensor["last_utc"]
    assert RECORDED_ON - dt.timedelta(minutes=1) < sensor["last_loaded_utc"] < RECORDED_ON
    assert abs(sensor["leave_one_out_residual_m"]) < 0.01
    assert sensor["warnings"] == "gap"
    assert (barometer["quantity"], barometer["coverage_percent"]) == ("air pressure", 100.0)


def test_a_barometer_installed_in_a_well_is_a_barometer_all_the_same(installed):
    installed.record.well("V", point=(100.0, 0.5))
    installed.loggers.install("B", "V")
    installed.loggers.samples("B", "absolute pressure", "Pa", installed.when, installed.air)
    with installed.loggers.snapshot() as record:
        (row,) = summarize_status(record).itertuples()
        assert list_findings(record).empty
    assert (row.well, row.quantity, row.samples, row.coverage_percent) == ("V", "absolute pressure", 1500, 100.0)
