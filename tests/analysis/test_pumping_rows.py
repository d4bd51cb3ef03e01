"""Other pumping, air pressure, methods and rows of a pumping test, on frames alone."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.pumping import air, production
from gwnet.analysis.pumping.analyses import (
    FitRequest,
    describe_correlation,
    describe_pumping_methods,
    tabulate_fits,
    usual_wells,
    wells_to_superpose,
)
from gwnet.analysis.pumping.drawdown import work_out_drawdowns
from gwnet.analysis.pumping.others import other_pumping, rates_of_other
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.hydro.loggers.deconvolution import Response
from gwnet.hydro.pumping import METHODS, Parameter, PumpingFit
from gwnet.hydro.pumping.production import PRODUCTION_SENTENCE

from .gathered import AIR, RATES, READ, START, at, gathered, level_rows

#: One litre a second is 86.4 m³/d.
DAY = 1440.0


def record_of(tests, wells=(("S", "P2", "upper"), ("S", "P3", ""))):
    """Return as much of a record as the pumping of others needs: its tests and wells."""
    columns = ["site", "test", "well", "starts_at_utc", "stops_at_utc"]
    table = pd.DataFrame(tests, columns=columns).astype({"stops_at_utc": "datetime64[us, UTC]"})
    return SimpleNamespace(pumping_tests=table, wells=pd.DataFrame(wells, columns=["site", "well", "aquifer"]))


def test_the_pumping_of_others_in_minutes_of_this_test():
    record = record_of(
        [
            ("S", "PT-1", "PW", at(0), at(600)), ("S", "PT-2", "P2", at(-90), at(30)), ("S", "PT-3", "P3", at(50), pd.NaT),
            ("X", "PT-4", "P2", at(0), at(10)), ("S", "PT-5", "P2", at(301), at(400)), ("S", "PT-6", "P3", at(300), pd.NaT),
        ]
    )  # fmt: skip
    rates = {
        "PT-1": [("PW", 0, 8.0), ("P2", 100, 2.0), ("P2", 160, 3.0)],
        "PT-2": [("P2", 0, 6.0), ("P2", 40, 99.0), ("P2", 40, 0.5), ("P2", 60, 0.0), ("P2", 70, 4.0), ("P2", 130, 9.0)],
        "PT-3": [("P3", 0, 1.0), ("P3", 20, 7.0)],
        "PT-5": [("P2", 0, 5.0)],
        "PT-6": [("P3", 0, 2.0), ("P3", 1, 3.0)],
    }

    def rates_of(_, test):
        return pd.DataFrame(rates[test["test"]], columns=["well", "elapsed_min", "rate_l_s"]).astype(
            {"elapsed_min": float}
        )

    table = other_pumping(record, record.pumping_tests.iloc[0], at(300), rates_of)
    assert [tuple(row) for row in table.itertuples(index=False)] == [
        ("PT-2", "P2", "upper", -90.0, -50.0, 6.0), ("PT-2", "P2", "upper", -50.0, -30.0, 0.5),
        ("PT-2", "P2", "upper", -20.0, 30.0, 4.0), ("PT-1", "P2", "upper", 100.0, 160.0, 2.0),
        ("PT-1", "P2", "upper", 160.0, math.inf, 3.0), ("PT-3", "P3", "", 50.0, 70.0, 1.0),
        ("PT-3", "P3", "", 70.0, math.inf, 7.0), ("PT-6", "P3", "", 300.0, 301.0, 2.0),
    ]  # fmt: skip


def test_the_history_of_another_well_stands_still_between_its_tests():
    test = gathered(others=[
        ("PT-2", "P2", "upper", -90, -50, 6.0), ("PT-2", "P2", "upper", -50, 30, 4.0), ("PT-3", "P2", "upper", 45, 90, 2.0),
        ("PT-3", "P3", "", 50, math.inf, 7.0), ("PT-3", "P4", "", 50, 70, 7.0), ("PT-4", "P4", "", 70 - 0.5e-6, 80, 3.0),
        ("PT-3", "P5", "", 50, 70, 7.0), ("PT-4", "P5", "", 70 - 2e-6, 65, 3.0),
    ])  # fmt: skip
    rates = rates_of_other(test.others, "P2")
    np.testing.assert_allclose(rates.start_days * DAY, [-90.0, -50.0, 30.0, 45.0, 90.0])
    np.testing.assert_allclose(rates.rate_m3_d, np.array([6.0, 4.0, 0.0, 2.0, 0.0]) * 86.4)
    endless = rates_of_other(test.others, "P3")
    assert (endless.rate_m3_d.tolist(), endless.stop_days) == ([pytest.approx(7 * 86.4)], math.inf)
    assert rates_of_other(test.others, "P4").rate_m3_d.size == 3
    with pytest.raises(
        AnalysisError, match="PT-3 and PT-4 both say what P5 was pumped at, from minute 70 to minute 65"
    ):
        rates_of_other(test.others, "P5")
    with pytest.raises(NotFoundError, match=r"No pumping of P9 is on record.*Wells with rates: P2, P3, P4, P5\."):
        rates_of_other(test.others, "P9")
    with pytest.raises(NotFoundError, match=r"Wells with rates: none\."):
        rates_of_other(test.others[:0], "P9")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (
            {},
            [
                "Air pressure: 3 levels of O1 are corrected for its change since the start, by the barometer B (level of "
                "another barometer instead) and the barometric efficiency of 0.50 on record of logger V; the largest "
                "correction is -0.042 m.",
                "Air pressure: 2 levels of O1 are not corrected: B has no air pressure at 2024-05-01 08:30, 2024-05-01 "
                "08:35. Load the file of the barometer, or leave the effect of air pressure in.",
            ],
        ),
        (
            {"corrected": 1, "without": (), "steps": (), "largest_m": 0.01},
            [
                "Air pressure: 1 level of O1 is corrected for its change since the start, by the barometer B and the "
                "barometric efficiency of 0.50 on record of logger V; the largest correction is +0.010 m.",
            ],
        ),
        (
            {"corrected": 0, "without": (at(90),), "barometer": ""},
            [
                "Air pressure: 1 level of O1 is not corrected: no barometer has no air pressure at 2024-05-01 08:30. "
                "Load the file of the barometer, or leave the effect of air pressure in.",
            ],
        ),
        ({"corrected": 0, "without": ()}, []),
    ],
)
def test_what_is_said_of_the_correction_for_air_pressure(more, said):
    assert replace(AIR, **more).sentences() == said


def test_up_to_four_moments_without_air_pressure_are_named():
    four, five = (replace(AIR, without=tuple(at(minute) for minute in range(90, last))) for last in (94, 95))
    assert "at 2024-05-01 08:30, 2024-05-01 08:31, 2024-05-01 08:32, 2024-05-01 08:33." in four.sentences()[1]
    assert "no air pressure from 2024-05-01 08:30 to 2024-05-01 08:34." in five.sentences()[1]


def test_the_usual_wells_of_a_method():
    test, alone = gathered([*READ, ("O2", -5, 4.2), ("O2", 0, 4.2)], RATES), gathered(READ[:7], RATES)
    brief = gathered([("O1", -5, 6.0), ("O1", 0.5, 6.1), ("PW", 0, 5.0)])
    assert usual_wells(brief, work_out_drawdowns(brief), "theis") == ("O1",)
    made, made_alone = work_out_drawdowns(test), work_out_drawdowns(alone)
    own = {name for name in METHODS if name.startswith(("step", "slug", "storage", "recovery"))}
    assert len(own) == 9
    for method in METHODS:
        assert usual_wells(test, made, method) == (("PW",) if method in own else ("O1",)), method
        assert usual_wells(alone, made_alone, method) == ("PW",)


def test_wells_to_superpose_are_those_asked_for_or_all_beside():
    test = gathered(
        others=[("A", "P2", "upper", 0, 9, 2.0), ("B", "P2", "upper", 9, 12, 3.0), ("A", "P3", "", 0, 9, 2.0)]
    )
    assert wells_to_superpose(test, ("P9", "all")) == ("P2", "P3")
    assert wells_to_superpose(test, ("P9", "P8", "P9")) == ("P9", "P8")


@pytest.mark.parametrize(
    ("more", "trim"), [({}, {}), ({"last_min": 9.0}, {"trim": False}), ({"is_trimmed": False}, {"trim": False})]
)
def test_options_are_those_that_were_asked_for(more, trim):
    asked = FitRequest(**more)
    assert (asked.options_of("straight-line"), asked.options_of("theis")) == (trim, {})
    assert (asked.before_hours, asked.is_air_removed, asked.is_corrected, asked.background) == (
        24.0,
        True,
        False,
        "mean",
    )


def fit_of(correlation, **more):
    parameters = (
        Parameter("T", 1.5, "m2/d", 1.0, 2.0),
        Parameter("S", 0.5, "", 0.0, 9.0, False),
        Parameter("B", 4.0, "m"),
    )
    correlation = np.array(correlation)
    made = {"n": 7, "rmse_m": 0.25, "aicc": -3.5, "note": "N.", "superposed": ("P2", "P3")}
    empty = np.empty(0)
    fit = PumpingFit("leaky", parameters, ("O1", "O2"), (1.0, 2.0), 7, 0.25, *[empty] * 5, correlation, empty, 4, 0.0)
    return replace(fit, **{**made, **more})


def test_correlations_are_said_from_0_9_on():
    fit = fit_of([[1.0, -0.9, 0.89], [-0.9, 1.0, 0.954], [0.89, 0.954, 1.0]])
    assert describe_correlation(fit) == "T and S: -0.90; S and B: 0.95"
    assert describe_correlation(fit_of([[1.0, -0.95], [-0.95, 1.0]])) == "T and S: -0.95"
    assert describe_correlation(fit_of([])) == ""
    table = tabulate_fits("PT-1", [fit])
    assert table["correlation"].tolist() == ["T and S: -0.90; S and B: 0.95"] * 3
    first = table.drop(columns="correlation").iloc[0].to_dict()
    assert first == {
        "test": "PT-1", "wells": "O1,O2", "method": "leaky", "parameter": "T", "value": 1.5, "unit": "m2/d", "lower": 1.0,
        "upper": 2.0, "identifiable": True, "n": 7, "rmse_m": 0.25, "note": "N.", "aicc": -3.5, "superposed": "P2,P3",
    }  # fmt: skip
    assert table["identifiable"].tolist() == [True, False, True]


def test_every_method_has_a_row_in_the_documentation():
    lines = describe_pumping_methods().splitlines()
    assert len(lines) == 2 + len(METHODS)
    row = (
        "| `slug-hvorslev` | slug test, straight line of logarithms | slug | radius of the pumped well, radius of its "
    )
    assert f"{row}casing, its screen | Hvorslev 1951 |" in lines


def test_specific_capacities_and_sentences_of_production():
    test = gathered(READ, RATES)
    made = work_out_drawdowns(test)
    analysed = SimpleNamespace(drawdowns=made)
    first, second = production._capacities(test, analysed)
    static, width = np.mean([5.04, 5.0, 5.02]), made.table["uncertainty_m"].iloc[4]
    fall = 9.0 - static
    assert (first["rate_l_s"], first["hours"], first["unit"]) == (pytest.approx(8.0), pytest.approx(1.5), "L/s/m")
    numbers = [first[name] for name in ("value", "lower", "upper")]
    assert numbers == pytest.approx([8.0 / fall, 8.0 / (fall + width), 8.0 / (fall - width)])
    assert (second["rate_l_s"], second["hours"]) == (pytest.approx(10.0), pytest.approx(8.0))
    assert second["note"] == f"drawdown {12.0 - static:.3f} m at the end of the rate"
    exact = SimpleNamespace(drawdowns=replace(made, table=made.table.assign(drawdown_m=4.0, uncertainty_m=4.0)))
    assert [row["upper"] for row in production._capacities(test, exact)] == [math.inf, math.inf]
    wide = SimpleNamespace(drawdowns=replace(made, table=made.table.assign(uncertainty_m=fall + 1e-9)))
    assert [row["upper"] for row in production._capacities(test, wide)] == [math.inf, pytest.approx(10 / (12 - 9.0))]
    said = production._said(["A.", f"B. {PRODUCTION_SENTENCE}", "", PRODUCTION_SENTENCE, "A."])
    assert said == ("A.", "B.", PRODUCTION_SENTENCE)


#: Air pressure at minutes since the start [Pa]; none is known elsewhere.
PRESSURE = {-30.0: 101_000.0, 0.0: 100_500.0, 20.0: 100_900.0, 40.0: 99_000.0, 60.0: math.nan}
SENSOR = SimpleNamespace(value=0.4, deployment=SimpleNamespace(instrument="V", barometer="B"), settings="settings")
PASCALS = 1000.0 * 9.80665  # in a metre of water, as barometers of wells are read: common practice, no source


@pytest.fixture
def barometer(monkeypatch):
    """Stand in for the record of loggers: an efficiency of O1 alone, and a barometer that reads `PRESSURE`."""
    known = dict(PRESSURE)

    def pressure(loggers, deployment, when):
        assert (loggers, deployment) == ("loggers", SENSOR.deployment)
        minutes = (when - np.datetime64(START.tz_localize(None), "us")) / np.timedelta64(60_000_000, "us")
        values = np.array([known.get(minute, math.nan) for minute in minutes.tolist()])
        return SimpleNamespace(
            pressure_pa=values, half_width_pa=np.full(values.size, 50.0), steps=("B2 instead of B", "read as it is")
        )

    def respond(loggers, deployment, settings, when, air_m, metres_per_pascal):
        assert (settings, metres_per_pascal) == ("settings", pytest.approx(1.0 / PASCALS))
        return Response(0.4 * air_m, np.full(air_m.size, 0.003))

    monkeypatch.setattr(air, "loggers_of", lambda _: "loggers")
    monkeypatch.setattr(air, "efficiency_of_well", lambda _, site, well, start: SENSOR if well == "O1" else None)
    monkeypatch.setattr(air, "air_pressure", pressure)
    monkeypatch.setattr(air, "remove_air_response", respond)
    return known


AIR_RECORD = SimpleNamespace(
    deployments=pd.DataFrame({"kind": ["barometer", "vented pressure logger"]}),
    all_sites=pd.DataFrame({"site": ["X", "S"], "time_zone": ["UTC", "UTC+01:00"]}),
)
AIR_TEST = pd.Series({"site": "S", "starts_at_utc": START})


def under_air():
    levels = level_rows(*[("O1", minute, 6.0) for minute in (20, -30, 40, 60, 40)], ("O2", 20, 4.0), half_width_m=0.005)
    levels["source"] = ["manual", "manual", "logger V", "manual", "manual", "manual"]
    levels.loc[4, "given_drawdown_m"] = 0.3
    return levels


def test_levels_are_corrected_for_the_change_of_air_pressure_since_the_start(barometer):
    made, (done,) = air.without_air(AIR_RECORD, AIR_TEST, under_air())
    changes = np.array([400.0, 500.0, -1500.0]) * 0.4 / PASCALS
    np.testing.assert_allclose(made["air_correction_m"], [*changes, math.nan, math.nan, math.nan], rtol=1e-9)
    # readings by hand take on the half-width of the response and the barometer; heads have it already
    width = math.hypot(0.005, math.hypot(0.003, 0.4 * 50.0 / PASCALS))
    np.testing.assert_allclose(made["half_width_m"], [width, width, 0.005, 0.005, 0.005, 0.005], rtol=1e-9)
    assert (done.well, done.instrument, done.barometer, done.efficiency, done.zone) == (
        "O1",
        "V",
        "B",
        0.4,
        "UTC+01:00",
    )
    assert (done.largest_m, done.corrected) == (pytest.approx(changes[2]), 3)
    assert (done.without, done.steps) == ((at(60),), ("B2 instead of B",))


def test_without_air_pressure_at_the_start_the_nearest_level_counts(barometer):
    barometer[0.0] = math.nan
    made, _ = air.without_air(AIR_RECORD, AIR_TEST, under_air())
    changes = np.array([0.0, 100.0, -1900.0]) * 0.4 / PASCALS
    np.testing.assert_allclose(made["air_correction_m"][:3], changes, atol=1e-12)
    barometer.clear()
    made, (done,) = air.without_air(AIR_RECORD, AIR_TEST, under_air())
    assert made["air_correction_m"].isna().all()
    assert (made["half_width_m"] == 0.005).all()
    assert (done.corrected, len(done.without), done.steps) == (0, 4, ())
    assert math.isnan(done.largest_m)


def test_where_nothing_is_to_be_corrected(barometer):
    levels = under_air()
    bare = SimpleNamespace(**{**vars(AIR_RECORD), "deployments": pd.DataFrame({"kind": ["barometer"]})})
    for record, rows, wanted in ((AIR_RECORD, levels, False), (bare, levels, True), (AIR_RECORD, levels[:0], True)):
        made, done = air.without_air(record, AIR_TEST, rows, is_wanted=wanted)
        assert made is rows
        assert done == ()
    assert air.without_air(AIR_RECORD, AIR_TEST, levels[5:])[1] == ()
    assert air.without_air(AIR_RECORD, AIR_TEST, levels[4:5])[1] == ()
