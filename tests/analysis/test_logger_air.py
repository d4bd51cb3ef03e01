"""Air pressure at wells, barometric efficiencies with limits, and findings about barometers, on small records."""

import datetime as dt

import numpy as np
import pytest

from gwnet.analysis.loggers.air_findings import AirOfDeployment, find_missing_air
from gwnet.analysis.loggers.barometers import air_pressure, barometer_channel, barometers_of
from gwnet.analysis.loggers.channels import deployments_in, loggers_of
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.corrections import (
    Correction,
    list_corrections,
    plan_corrections,
    plan_withdrawal,
    record_corrections,
)
from gwnet.analysis.loggers.efficiency import (
    EFFICIENCY_COLUMNS,
    RESPONSE_COLUMNS,
    estimate_efficiencies,
    estimate_responses,
    is_impossible,
)
from gwnet.analysis.loggers.explain import explain_head
from gwnet.analysis.loggers.findings import list_findings
from gwnet.analysis.loggers.heads import work_out_heads
from gwnet.errors import AnalysisError
from gwnet.hydro.loggers.sea_level import station_pressure, station_pressure_half_width

from .logger_record import Loggers, hours
from .record import RECORDED_ON, Record

G = 9.80665
COUNT = 24 * 60
NO_AIR = OUT_REASONS.index("no air pressure")


def air_of(count, seed=1):
    """Return hourly air pressure [Pa] with fronts of some days."""
    fronts, rate = np.zeros(count), 0.0
    for place, push in enumerate(np.random.default_rng(seed).normal(size=count) * 12.0):
        rate = 0.9 * rate + push
        fronts[place] = 0.985 * fronts[place - 1] + rate
    return 101_000.0 + fronts


def late_level(air_m, *, at_once=0.25, in_the_end=0.68, hours_late=8.0):
    """Return the level of a well that answers late to the air."""
    lags = np.arange(air_m.size)
    step = in_the_end - (in_the_end - at_once) * np.exp(-lags / hours_late)
    impulses = np.diff(step, prepend=0.0)
    return 91.0 - np.cumsum(np.convolve(np.diff(air_m, prepend=air_m[0]), impulses)[: air_m.size])


class Wells:
    """A well, instruments as they are wanted, and air pressure."""

    def __init__(self, address, **well):
        self.record = Record(address, time_zone="UTC+01:00")
        self.loggers = Loggers(self.record)
        self.when = hours(COUNT)
        self.air = air_of(COUNT)
        self.air_m = self.air / (1000 * G)
        self.record.well("W", point=(100.0, 0.5), **well)
        self.record.tape("T")

    def absolute(self, water, barometer="B"):
        self.loggers.instrument("L")
        self.loggers.install("L", "W", depth=12.0, barometer=barometer)
        self.loggers.samples("L", "absolute pressure", "Pa", self.when, self.air + (water - 88.0) * 1000 * G)

    def vented(self, water, barometer="B"):
        self.loggers.instrument("V", "vented pressure logger")
        self.loggers.install("V", "W", depth=12.0, barometer=barometer)
        self.loggers.samples("V", "water pressure", "Pa", self.when, (water - 88.0) * 1000 * G)

    def barometer(self, code="B", *, keep=None, offset=0.0, stand_in=None, quantity="air pressure", value=None):
        keep = np.ones(COUNT, dtype=bool) if keep is None else keep
        self.loggers.instrument(code, "barometer")
        self.loggers.install(code, None, barometer=stand_in)
        pressure = self.air + offset if value is None else value
        self.loggers.samples(code, quantity, "Pa", self.when[keep], pressure[keep])

    def ask(self, question, *arguments, **asked):
        with self.loggers.snapshot() as record:
            return question(record, *arguments, **asked)

    def air_at_well(self):
        with self.loggers.snapshot() as record:
            (row,) = deployments_in(record, ["W"]).itertuples()
            return air_pressure(loggers_of(record), row, self.when)


@pytest.fixture
def wells(tmp_path):
    made = Wells(tmp_path / "a.sqlite")
    yield made
    made.record.store.close()


@pytest.fixture
def hill(tmp_path):
    made = Wells(tmp_path / "a.sqlite", ground_elevation_m=480.0)
    yield made
    made.record.store.close()


def without(*spans):
    keep = np.ones(COUNT, dtype=bool)
    for first, end in spans:
        keep[first:end] = False
    return keep


# vented sensors


def test_an_efficiency_removes_the_response_of_a_vented_sensor(wells):
    true = 91.0 + 0.2 * np.sin(np.arange(COUNT) / 300)
    wells.barometer()
    wells.vented(true - 0.6 * (wells.air_m - wells.air_m.mean()))
    assert wells.ask(work_out_heads)[0].water_elevation_m.std() > 1.02 * true.std()
    wells.loggers.correct("V", "water pressure", "efficiency", value=0.6)
    (heads,) = wells.ask(work_out_heads)
    np.testing.assert_allclose(heads.water_elevation_m, true, atol=1e-6)
    assert heads.barometer == ""
    assert any("barometric efficiency by the air pressure of B" in step for step in heads.steps)
    (shown,) = wells.ask(explain_head, "W", "2024-01-10T12:00")
    assert any("response to air pressure removed" in str(step) for step in shown.steps)


def test_vented_samples_without_an_air_pressure_have_no_head_once_it_is_needed(wells):
    wells.barometer(keep=without((500, 600)))
    wells.vented(np.full(COUNT, 91.0))
    assert not wells.ask(work_out_heads)[0].out.any()
    wells.loggers.correct("V", "water pressure", "efficiency", value=0.5)
    (heads,) = wells.ask(work_out_heads)
    assert set(heads.out[500:600]) == {NO_AIR}
    assert not heads.out[:500].any()
    assert not heads.out[600:].any()


@pytest.mark.slow
@pytest.mark.parametrize(("barometer", "why"), [(None, "name no barometer"), ("B", "B has no samples")])
def test_an_efficiency_that_nothing_could_remove_is_refused(wells, barometer, why):
    wells.loggers.instrument("B", "barometer")
    wells.vented(np.full(COUNT, 91.0), barometer=barometer)
    with pytest.raises(AnalysisError, match=why):
        wells.ask(plan_corrections, Correction("V", "efficiency", {"value": 0.5}))
    wells.loggers.correct("V", "water pressure", "efficiency", value=0.5)
    (heads,) = wells.ask(work_out_heads)
    assert not heads.out.any()
    assert not any("response to air pressure removed" in step for step in heads.steps)
    (shown,) = wells.ask(explain_head, "W", "2024-01-10T12:00")
    assert not any("response to air pressure removed" in str(step) for step in shown.steps)


# efficiencies


def test_a_late_answer_is_found_and_warned_of(wells):
    wells.barometer()
    noise = np.cumsum(np.random.default_rng(2).normal(size=COUNT)) * 2e-4
    wells.absolute(late_level(wells.air_m) + noise)
    table = wells.ask(estimate_efficiencies, lag_hours=48.0)
    assert tuple(table.columns) == EFFICIENCY_COLUMNS
    (row,) = table.itertuples()
    assert row.changes_1h_upper < row.changes_6h < row.changes_24h_lower
    assert row.deconvolution_lower < 0.68 < row.deconvolution_upper
    assert row.deconvolution_upper - row.deconvolution_lower < 0.2
    assert "changes over 1 h, 6 h, 24 h disagree" in row.note
    assert row.lag_hours == 48.0
    responses = wells.ask(estimate_responses, lag_hours=48.0, tides=True)
    assert tuple(responses.columns) == RESPONSE_COLUMNS
    lags = responses[responses["input"] == "air pressure"]
    assert lags["lag_hours"].tolist() == list(range(49))
    truth = 0.68 - 0.43 * np.exp(-lags["lag_hours"] / 8.0)
    inside = (lags["response_lower"] <= truth) & (truth <= lags["response_upper"])
    assert inside.mean() > 0.8
    tides = responses[responses["input"] != "air pressure"]
    assert tides["input"].tolist() == ["M2", "S2", "N2", "K1", "O1"]
    assert (tides["amplitude_upper_m"] < 0.005).all()
    (short,) = wells.ask(estimate_efficiencies, lag_hours=4.0).itertuples()
    assert "still changes within the last half of 4 h" in short.note


@pytest.mark.slow
def test_a_late_answer_is_recorded_with_its_coefficients_removed_and_taken_back(wells):
    wells.barometer()
    noise = np.cumsum(np.random.default_rng(2).normal(size=COUNT)) * 5e-5
    wells.absolute(late_level(wells.air_m) + noise)

    def spread():
        with wells.loggers.snapshot() as record:
            (heads,) = work_out_heads(record)
        return float(np.nanstd((heads.water_elevation_m - noise)[100:])), heads

    before, _ = spread()
    with wells.loggers.snapshot() as record:
        planned = plan_corrections(record, Correction("L", "efficiency", {"lags": 48}))
    assert "at once, 0.6" in planned.description
    assert "after 48 h" in planned.description
    with wells.record.act(RECORDED_ON + dt.timedelta(days=1)) as connection:
        done = record_corrections(connection, planned, by="Ben", reason="late response")
    after, heads = spread()
    assert after < 0.1 * before
    assert set(np.array(OUT_REASONS)[heads.out[:48]]) == {"no air pressure"}
    assert (heads.anchored.parts["response_m"][48:] > 0).all()
    with wells.loggers.snapshot() as record:
        (row,) = list_corrections(record).itertuples()
        parameters = loggers_of(record).corrections["parameters"].iloc[0]
        (explained,) = explain_head(record, "W", "2024-02-01T12:00")
    assert row.description == planned.description
    assert len(parameters["response"]) == len(parameters["half_width"]) == 49
    assert parameters["response"][-1] == pytest.approx(0.68, abs=0.05)
    steps = {step.what: step for step in explained.steps}
    assert "late response" in steps["response to air pressure"].source
    (efficiency,) = wells.ask(estimate_efficiencies).itertuples()
    assert efficiency.applied_efficiency == parameters["response"][-1]
    with wells.loggers.snapshot() as record:
        planned = plan_withdrawal(record, *done.numbers)
    with wells.record.act(RECORDED_ON + dt.timedelta(days=2)) as connection:
        record_corrections(connection, planned, by="Ben", reason="as before")
    assert spread()[0] == before


@pytest.mark.slow
def test_a_response_that_the_record_does_not_give_is_refused(wells):
    wells.barometer()
    wells.vented(91.0 + 0.9 * (wells.air_m - wells.air_m.mean()))
    with wells.loggers.snapshot() as record, pytest.raises(AnalysisError, match=r"-0\.90 .* is no efficiency"):
        plan_corrections(record, Correction("V", "efficiency", {"lags": 24}))
    with wells.loggers.snapshot() as record, pytest.raises(AnalysisError, match="needs value or lags and not both"):
        plan_corrections(record, Correction("V", "efficiency", {"lags": 24, "value": 0.5}))


def test_a_response_that_is_not_significant_is_refused(wells):
    wells.barometer()
    wander = np.cumsum(np.random.default_rng(6).normal(size=COUNT)) * 0.02
    wells.vented(91.0 - 0.5 * (wells.air_m - wells.air_m.mean()) + wander)
    with wells.loggers.snapshot() as record, pytest.raises(AnalysisError, match="gives no response"):
        plan_corrections(record, Correction("V", "efficiency", {"lags": 24}))


def test_an_answer_at_once_brings_no_warning(wells):
    wells.barometer()
    noise = np.cumsum(np.random.default_rng(3).normal(size=COUNT)) * 3e-4
    wells.vented(91.0 - 0.5 * (wells.air_m - wells.air_m.mean()) + noise)
    (row,) = wells.ask(estimate_efficiencies).itertuples()
    assert row.note == ""
    for method in ("clark", "regression_of_changes", "changes_24h", "deconvolution"):
        lower, value, upper = (getattr(row, method + part) for part in ("_lower", "", "_upper"))
        assert lower <= 0.5 <= upper
        assert lower < value < upper


def test_a_coarse_barometer_is_warned_of(wells):
    """Steps of 1 hPa hide most of what the air does within an hour."""
    wells.barometer(value=100.0 * np.round(wells.air / 100.0))
    wells.vented(91.0 - 0.5 * (wells.air_m - wells.air_m.mean()))
    (row,) = wells.ask(estimate_efficiencies).itertuples()
    assert row.changes_1h < 0.4
    assert "steps of 10 mm of water are too coarse" in row.note
    assert "drawn toward 0" in row.note


def test_impossible_values_are_not_given(wells):
    wells.barometer()
    wells.vented(91.0 + 0.9 * (wells.air_m - wells.air_m.mean()))
    (row,) = wells.ask(estimate_efficiencies).itertuples()
    for method in ("clark", "regression_of_changes", "regression_of_levels", "changes_6h", "deconvolution"):
        assert np.isnan(getattr(row, method))
    assert "regression of levels: -0.90 (-0.90 to -0.90) is no efficiency" in row.note
    assert wells.ask(estimate_responses)["response"].isna().all()


@pytest.mark.parametrize(
    ("value", "half_width", "expected"),
    [
        (0.5, 0.1, False),
        (-0.01, 0.02, False),
        (-0.01, 0.005, True),
        (1.02, 0.03, False),
        (1.2, 0.5, True),
        (-0.91, 1.5, True),
        (float("nan"), float("nan"), False),
    ],
)
def test_which_values_are_impossible(value, half_width, expected):
    assert is_impossible(value, half_width) is expected


@pytest.mark.parametrize("asked", [{"lag_hours": 241.0}, {"lag_hours": -1.0}, {"every_hours": 0.0}])
def test_steps_and_lags_that_do_not_serve_are_refused(wells, asked):
    with pytest.raises(AnalysisError, match="cannot be compared"):
        wells.ask(estimate_efficiencies, **asked)


# barometers


@pytest.mark.slow
def test_a_barometer_under_two_quantities_is_one_barometer(wells):
    half = np.arange(COUNT) < 700
    wells.barometer(keep=half)
    wells.loggers.samples("B", "absolute pressure", "hPa", wells.when[690:], wells.air[690:] / 100)
    wells.absolute(np.full(COUNT, 91.0))
    (heads,) = wells.ask(work_out_heads)
    assert not heads.out.any()
    np.testing.assert_allclose(heads.water_elevation_m, 91.0, atol=1e-6)
    assert wells.ask(list_findings)["rule"].tolist().count("barometer gap") == 0
    wells.loggers.correct("B", "absolute pressure", "exclusion", "2024-01-01", "2024-02-05", cause="other")
    with wells.loggers.snapshot() as record:
        channel = barometer_channel(loggers_of(record), "B", wells.when)
    assert (np.diff(channel.time_utc) > np.timedelta64(0)).all()
    assert not np.isnan(channel.value[:700]).any()  # what is excluded of one quantity stays of the other
    assert np.isnan(channel.value[700:800]).all()


def test_another_barometer_stands_in_over_a_gap(wells):
    wells.barometer("C", offset=250.0)
    wells.barometer("B", keep=without((400, 500)), stand_in="C")
    wells.absolute(np.full(COUNT, 91.0))
    (heads,) = wells.ask(work_out_heads)
    assert not heads.out.any()
    np.testing.assert_allclose(heads.water_elevation_m, 91.0, atol=1e-6)
    assert any("100 samples with the air pressure of C instead, moved by -250 Pa" in step for step in heads.steps)
    (gap,) = wells.ask(list_findings).query("rule == 'barometer gap'").itertuples()
    assert (gap.instrument, gap.well) == ("B", "")
    assert gap.message == "No air pressure of barometer B for 101 h: C stands in."


def test_a_stand_in_that_differs_adds_its_differences_to_the_uncertainty(wells):
    differs = wells.air + 250.0 + 50.0 * np.random.default_rng(4).normal(size=COUNT)
    wells.barometer("C", value=differs)
    wells.barometer("B", keep=without((400, 500)), stand_in="C")
    wells.absolute(np.full(COUNT, 91.0))
    air = wells.air_at_well()
    assert air.half_width_pa[400:500] == pytest.approx(1.96 * 50.0, rel=0.1)
    assert not air.half_width_pa[:400].any()
    (heads,) = wells.ask(work_out_heads)
    assert heads.uncertainty_m[450] ** 2 == pytest.approx(heads.uncertainty_m[300] ** 2 + (98 / 9806) ** 2, rel=0.1)


def test_a_stand_in_without_common_time_stays_as_it_is(wells):
    wells.barometer("C", keep=~without((400, 500)), offset=250.0)
    wells.barometer("B", keep=without((400, 500)), stand_in="C")
    wells.absolute(np.full(COUNT, 91.0))
    air = wells.air_at_well()
    np.testing.assert_allclose(air.pressure_pa[400:500], wells.air[400:500] + 250.0)
    assert set(air.half_width_pa[400:500]) == {100.0}
    assert any("no common time" in step for step in air.steps)


def test_barometers_that_name_each_other_come_once(wells):
    for code in ("B", "C", "D"):
        wells.loggers.instrument(code, "barometer")
    wells.loggers.install("B", None, barometer="C")
    wells.loggers.install("C", None, barometer="D")
    wells.loggers.install("D", None, barometer="B")
    with wells.loggers.snapshot() as record:
        assert list(barometers_of(loggers_of(record), "B", wells.when)) == ["B", "C", "D"]


def test_sea_level_pressure_of_a_station_is_reduced_to_the_well(hill):
    at_sea = np.array([101_325.0 + value for value in air_of(COUNT) - 101_000.0])
    hill.barometer("P", quantity="sea-level pressure", value=at_sea)
    hill.air = np.asarray(station_pressure(at_sea, 480.0))
    hill.absolute(np.full(COUNT, 91.0), barometer="P")
    (heads,) = hill.ask(work_out_heads)
    np.testing.assert_allclose(heads.sensor_level_m, 3.0, atol=5e-3)  # gravity by height
    added = float(station_pressure_half_width(hill.air[5], 480.0))
    assert added > 280.0
    assert heads.anchored.parts["air_m"][5] == pytest.approx(added / 9806.65, rel=0.01)
    assert any("sea-level pressure reduced to the well at 480.0 m" in step for step in heads.steps)


def test_sea_level_pressure_needs_the_height_of_the_well(wells):
    wells.barometer("P", quantity="sea-level pressure")
    wells.absolute(np.full(COUNT, 91.0), barometer="P")
    (heads,) = wells.ask(work_out_heads)
    assert set(heads.out) == {NO_AIR}
    assert any("ground elevation of the well is not on record" in step for step in heads.steps)


# findings


@pytest.mark.slow
def test_gaps_of_a_barometer_are_findings_one_a_gap(wells):
    wells.barometer(keep=without((0, 50), (300, 320), (700, 800)))
    wells.absolute(np.full(COUNT, 91.0))
    table = wells.ask(list_findings)
    gaps = table[table["rule"] == "barometer gap"]
    assert gaps["instrument"].tolist() == ["B", "B"]
    assert [message.split(":")[0] for message in gaps["message"]] == [
        "No air pressure of barometer B for 21 h",
        "No air pressure of barometer B for 101 h",
    ]
    assert "W (20)" in gaps["message"].iloc[0]
    (rest,) = table[table["rule"] == "no air pressure"].itertuples()
    assert rest.message.startswith("50 samples without a level: no air pressure, B has none before")
    assert rest.end_utc.to_datetime64() == wells.when[49]


def test_a_deployment_without_a_barometer_is_one_finding(wells):
    wells.absolute(np.full(COUNT, 91.0), barometer=None)
    (row,) = wells.ask(list_findings).query("rule == 'no air pressure'").itertuples()
    assert "names no barometer" in row.message


def test_a_gap_outside_of_every_deployment_is_none(wells):
    wells.barometer(keep=without((300, 320)))
    need = AirOfDeployment("S", "W", "L", "absolute pressure", "B", wells.when[400], wells.when[900], ())
    with wells.loggers.snapshot() as record:
        assert list(find_missing_air(loggers_of(record), [need])) == []
