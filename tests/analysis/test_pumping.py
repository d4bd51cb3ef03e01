"""A pumping test from its readings to drawdowns and analyses, and what looks wrong in it."""

import math

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.checks.pumping import STATIC_IN_TEST, find_in_tests
from gwnet.analysis.pumping import analyses, drawdown, findings, gather, listing, production, readings
from gwnet.analysis.pumping.analyses import FitRequest, analyse_test
from gwnet.analysis.pumping.gather import gather_test
from gwnet.analysis.pumping.production import ProductionRequest, work_out_production
from gwnet.errors import AnalysisError, NotFoundError, SettingsError
from gwnet.store.snapshot import Snapshot

from .. import pumping_record
from ..pumping_record import DISTANCES, READING_HEADING, STATIC, STORATIVITY, TRANSMISSIVITY, pumping_network

#: The tape reads 10 mm short at every depth.
TAPE_M = 0.010


@pytest.fixture(scope="module")
def net(tmp_path_factory):
    opened = pumping_network(tmp_path_factory.mktemp("pumping"))
    yield opened
    opened.close()


def of_test(net, **asked):
    with net.store.reading() as connection:
        return gather_test(Snapshot(connection).of_site(), "PT-1", **asked)


def rules(net):
    found = net.pumping.findings()
    return dict(zip(found["rule"], found["message"], strict=True))


def test_elapsed_times_and_times_of_day_are_on_one_axis(net):
    test = of_test(net)
    assert test.read_wells == ["PW", "O1", "O2"]
    own = test.levels[test.levels["well"] == "O1"]
    assert own["elapsed_min"].tolist()[:5] == [-120.0, -60.0, -10.0, 1.0, 2.0]
    assert own["measured_at_utc"].iloc[3] == pd.Timestamp("2024-05-01T07:01Z")
    assert test.stop_min == 600.0
    assert test.rates["elapsed_min"].tolist() == [0.0, 240.0]


def test_a_set_depth_is_a_level_at_the_time_of_passing_with_the_correction_of_the_tape(net):
    test = of_test(net)
    passed = test.levels[test.levels["passed"] == "falling"]
    assert len(passed) == 9
    first = passed[passed["well"] == "O1"].iloc[0]
    fall = pumping_record.drawdown(30.0, [1.0])[0]
    assert first["depth_to_water_m"] == pytest.approx(STATIC["O1"] + fall + TAPE_M, abs=0.0006)
    assert first["water_elevation_m"] == pytest.approx(100.4 - first["depth_to_water_m"])


def test_levels_of_tests_have_the_uncertainty_of_levels_and_their_own_status(net):
    with net.store.reading() as connection:
        inputs = readings.reading_inputs(Snapshot(connection))
    assert set(inputs.records["status"]) == {readings.TEST_STATUS}
    listed = net.levels(["O1"])
    whole = listed["uncertainty_m"].iloc[0]
    alone = of_test(net).levels.query("well == 'O1'")["half_width_m"].iloc[0]
    # the survey of 10 mm falls out of a drawdown
    assert whole == pytest.approx(math.hypot(alone, 0.010), abs=1e-4)


def test_a_reading_of_a_test_is_explained_like_a_level(net):
    [explained] = net.levels.explain("O1", "2024-05-01T08:05")
    steps = {step.what: (step.value, step.source) for step in explained.steps}
    assert steps["event"][0] == "pumping test, access main"
    assert steps["event"][1].startswith("pumping_readings.csv, row")
    assert steps["tape correction"][0] == "+0.010 m"
    assert steps["may enter maps and trends"][0] == "no: pumping test"


def test_distances_and_dimensions_are_those_of_the_record(net):
    wells = of_test(net).wells
    assert wells["distance_m"].tolist() == [0.0, 30.0, 100.0]
    assert (wells["radius_m"].iloc[0], wells["casing_radius_m"].iloc[0]) == (0.1, 0.1)


def test_drawdowns_are_those_of_theis_with_limits(net):
    made = drawdown.work_out_drawdowns(of_test(net))
    for well, distance in DISTANCES.items():
        own = made.table[(made.table["well"] == well) & (made.table["elapsed_min"] > 0)]
        truth = pumping_record.drawdown(distance, own["elapsed_min"])
        np.testing.assert_allclose(own["drawdown_m"], truth, atol=0.0011)
        assert (own["uncertainty_m"] > 0).all()
    later = made.table[(made.table["well"] == "O1") & (made.table["elapsed_min"] == 250)].iloc[0]
    assert (later["since_change_min"], later["rate_l_s"]) == (pytest.approx(10.0), pytest.approx(10.0))
    assert made.static["n"].tolist() == [3, 3, 3]
    assert made.without == ()


def test_a_line_through_the_levels_before_the_start_has_its_slope_with_limits(tmp_path):
    # the level falls by 12 mm an hour before the test
    rows = [row for row in pumping_record.reading_rows() if "2024-05-01T" not in row]
    clocks = [(f"2024-05-01T0{hour}:00", 5.1 - 0.012 * (8 - hour)) for hour in range(2, 8)]
    rows += [f"S,PT-1,O1,{clock},,{depth:.3f},,,T1\n" for clock, depth in clocks]
    with pumping_network(tmp_path / "line", pumping_readings=READING_HEADING + "".join(rows)) as net:
        made = net.pumping.static_levels("PT-1", background="line")
        assert rules(net)[findings.NO_STATIC].startswith(("PW has", "O2 has"))
    [row] = made.to_dict("records")
    assert row["slope_m_per_day"] == pytest.approx(-0.288, rel=0.01)
    assert 0 < row["slope_uncertainty_m_per_day"] < 0.02


def test_a_joint_fit_of_two_wells_recovers_what_was_planted(net):
    with net.store.reading() as connection:
        done = analyse_test(Snapshot(connection).of_site(), "PT-1", ["theis"], FitRequest())
    table = done.table.set_index("parameter")
    assert list(done.table.columns) == list(analyses.FIT_COLUMNS)
    assert table["wells"].tolist()[0] == "O1,O2"
    assert table["value"]["transmissivity"] == pytest.approx(TRANSMISSIVITY, rel=0.01)
    assert table["value"]["storativity"] == pytest.approx(STORATIVITY, rel=0.02)
    assert table["lower"]["transmissivity"] < TRANSMISSIVITY < table["upper"]["transmissivity"]
    assert table["identifiable"].all()


def test_what_an_analysis_needs_and_is_not_on_record_is_named(net):
    with net.store.reading() as connection:
        record = Snapshot(connection).of_site()
        with pytest.raises(SettingsError, match=r"no method 'guess'.*theis"):
            analyse_test(record, "PT-1", ["guess"], FitRequest())
        with pytest.raises(NotFoundError, match=r"no pumping test 'PT-9'.*PT-1"):
            analyse_test(record, "PT-9", ["theis"], FitRequest())
        test = gather_test(record, "PT-1", wells=["O1"])
        drawdowns = drawdown.work_out_drawdowns(test)
        with pytest.raises(AnalysisError, match="O2 has no drawdown"):
            drawdown.wells_for_analysis(test, drawdowns, ["O2"])


def test_the_thickness_of_an_unconfined_aquifer_corrects_drawdowns_on_request(net):
    plain = net.pumping.drawdown("PT-1", ["PW"])["drawdown_m"]
    corrected = net.pumping.drawdown("PT-1", ["PW"], is_corrected=True)["drawdown_m"]
    np.testing.assert_allclose(corrected, plain - plain**2 / 40.0)  # Jacob 1944, from memory: s − s²/(2b)


def test_production_ends_with_what_is_for_a_professional(net):
    with net.store.reading() as connection:
        made = work_out_production(
            Snapshot(connection).of_site(), "PT-1", ProductionRequest(rates_l_s=(5.0,), hours=24.0, limit_m=12.0)
        )
    rows = made.table.set_index("quantity")
    assert rows.loc[production.AVAILABLE, "value"] == pytest.approx(12.0 - 5.010)
    assert rows.loc[production.AVAILABLE, "note"].startswith("to the limit at 12.00 m; others: screen top")
    drawn = float(pumping_record.drawdown(0.1, [1440.0], rates=((0.0, 5.0),), stop_min=1e9)[0])
    predicted = rows.loc[production.DRAWDOWN]
    assert predicted["value"] == pytest.approx(drawn, rel=0.01)
    assert predicted["lower"] < predicted["value"] < predicted["upper"]
    rate = rows.loc[production.RATE]
    assert rate["value"] == pytest.approx(5.0 * 6.990 / drawn, rel=0.02)
    assert "licensed professional and the local authority" in made.notes[-1]


def test_production_has_a_row_for_each_number_with_its_rate_hours_and_unit(net):
    asked = ProductionRequest(method="theis", rates_l_s=(5.0, 0.5), hours=36.0)
    with net.store.reading() as connection:
        made = work_out_production(Snapshot(connection).of_site(), "PT-1", asked)
    table = made.table
    assert list(table.columns) == list(production.PRODUCTION_COLUMNS)
    kinds = [production.AVAILABLE, *[production.CAPACITY] * 2, *[production.DRAWDOWN] * 2, production.RATE]
    assert table["quantity"].tolist() == kinds
    assert table["unit"].tolist() == ["m", "L/s/m", "L/s/m", "m", "m", "L/s"]
    # the screen begins 20 m below ground, the measuring point is half a metre above it, the level 5.010 m below that
    available = 20.5 - 5.010
    assert table["value"][0] == pytest.approx(available)
    np.testing.assert_allclose(table["hours"], [math.nan, 4.0, 6.0, 36.0, 36.0, 36.0], rtol=1e-9)
    per_rate = float(pumping_record.drawdown(0.1, [2160.0], rates=((0.0, 1.0),), stop_min=1e9)[0])
    np.testing.assert_allclose(table["rate_l_s"], [math.nan, 8.0, 10.0, 5.0, 0.5, available / per_rate], rtol=0.01)
    falls = pumping_record.drawdown(0.1, [240.0, 600.0])
    np.testing.assert_allclose(table["value"][1:3], [8.0 / falls[0], 10.0 / falls[1]], rtol=0.002)
    np.testing.assert_allclose(table["value"][3:], [5.0 * per_rate, 0.5 * per_rate, available / per_rate], rtol=0.01)
    between = table.iloc[1:]
    assert ((between["lower"] < between["value"]) & (between["value"] < between["upper"])).all()
    assert table.loc[0, ["lower", "upper"]].isna().all()
    assert table["note"].tolist()[3:] == [""] * 3
    assert set(table["well"]) == {"PW"}
    assert set(table["test"]) == {"PT-1"}
    assert made.analysed.fits[0].wells == ("PW",)
    assert [note.startswith("Loss in the well is not part of it") for note in made.notes].count(True) == 1
    assert ProductionRequest() == ProductionRequest("", (), 24.0, None, "mean", 24.0, True)


def test_the_list_counts_rates_readings_and_findings(net):
    [row] = net.pumping.tests().to_dict("records")
    assert list(row) == list(listing.TEST_COLUMNS)
    assert (row["rates_l_s"], row["hours"], row["wells"], row["findings"]) == ("8; 10", 10.0, "PW,O1,O2", 0)
    assert row["readings"] == len(pumping_record.reading_rows())
    assert row["crew"] == "Ana and Ben"
    assert gather.LEVEL_COLUMNS[0] == "well"


def readings_with(*rows):
    return READING_HEADING + "".join([*pumping_record.reading_rows(), *rows])


def without_levels_before(well):
    rows = pumping_record.reading_rows()
    return READING_HEADING + "".join(row for row in rows if f",{well},2024" not in row)


FAR_WELL = pumping_record.TABLES["wells"].replace("S,O2,500000,5300100", "S,O2,500000,5320100")
TESTS = pumping_record.test_tables()["pumping_tests"]

#: What is changed in the network, the finding that must follow, and words of its message.
BAD = {
    "no level before the test": (
        {"pumping_readings": without_levels_before("O1")},
        findings.NO_STATIC,
        "O1 has 30 readings",
    ),
    "no rate": ({"pumping_rates": None}, findings.NO_RATE, "no rate of PW above 0"),
    "first rate late": (
        {"pumping_rates": "site,test,from,rate\nS,PT-1,30,8\n"},
        findings.RATE_GAP,
        "for the first 30 min",
    ),
    "rate before the start": (
        {"pumping_rates": "site,test,from,rate\nS,PT-1,-30,8\n"},
        findings.RATE_GAP,
        "begins 30 min before the start",
    ),
    "rate after the stop": (
        {"pumping_rates": "site,test,from,rate\nS,PT-1,0,8\nS,PT-1,660,9\n"},
        findings.RATE_GAP,
        "the pump stopped at minute 600",
    ),
    "two rates at once": (
        {"pumping_rates": "site,test,from,rate\nS,PT-1,0,8\nS,PT-1,2024-05-01T08:00,9\n"},
        findings.RATE_OVERLAP,
        "8 and 9 L/s of PW both begin at minute 0",
    ),
    "zero rate": (
        {"pumping_rates": "site,test,from,rate\nS,PT-1,0,8\nS,PT-1,300,0\nS,PT-1,320,8\n"},
        findings.ZERO_RATE,
        "is 0 from minute 300 to minute 320",
    ),
    "another pumped well": (
        {"pumping_rates": "site,test,well,from,rate\nS,PT-1,,0,8\nS,PT-1,O2,0,1\n"},
        findings.OTHER_PUMPS,
        "O2 is pumped during test PT-1 of PW",
    ),
    "another test at the pumped well": (
        {
            "pumping_tests": TESTS.replace("2024-05-01T18:00", "")
            + "S,PT-2,PW,constant rate,2024-05-01T10:00,2024-05-01T12:00,30,20,Ana\n",
            "pumping_rates": "site,test,from,rate\nS,PT-1,0,8\nS,PT-2,0,9\n",
        },
        findings.SAME_WELL,
        "Test PT-2 has rates of PW, from minute 120 to minute 240 of test PT-1",
    ),
    "passings out of order": (
        {"pumping_readings": readings_with("S,PT-1,O1,,2.5,,5.0,falling,T1\n")},
        findings.PASSING_ORDER,
        "The water in O1, falling",
    ),
    "level rises while pumping": (
        {"pumping_readings": readings_with("S,PT-1,O1,,200,5.2,,,T1\n")},
        findings.RISES,
        "from minute 180 to minute 200",
    ),
    "well far away": ({"wells": FAR_WELL}, findings.FAR, "O2 lies 20.1 km from PW"),
    "no stop": (
        {"pumping_tests": TESTS.replace("2024-05-01T18:00", "")},
        findings.NO_STOP,
        "not on record when the pump",
    ),
    "depths in centimetres": (
        {"pumping_readings": readings_with("S,PT-1,O1,,500,591,,,T1\n")},
        findings.BELOW,
        "1 reading of O1 in test PT-1, the first 591.0",
    ),
    "two depths at one time": (
        {"pumping_readings": readings_with("S,PT-1,O1,2024-05-01T08:20,,5.9,,,T1\n")},
        findings.TWICE,
        "at minute 20 of test PT-1",
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", BAD)
def test_each_thing_that_looks_wrong_is_a_finding_with_its_numbers(name, tmp_path):
    changed, rule, words = BAD[name]
    with pumping_network(tmp_path / "bad", **changed) as net:
        found = net.pumping.findings()
        checked = net.checks()
    messages = found.loc[found["rule"] == rule, "message"]
    assert len(messages), found["rule"].tolist()
    assert words in " ".join(messages)
    assert found["fix"].map(bool).all()
    # the checks of the record have them as well
    assert rule in set(checked["rule"])


def test_a_slug_test_has_no_stop_to_record(tmp_path):
    tests = TESTS.replace("2024-05-01T18:00,30,20", ",,").replace("constant rate", "slug")
    with pumping_network(tmp_path / "slug", pumping_tests=tests, pumping_rates=None) as net:
        assert len(net.pumping.tests()) == 1
        assert findings.NO_STOP not in set(net.pumping.findings()["rule"])


def test_every_rule_has_a_network_that_breaks_it():
    assert {rule for _, rule, _ in BAD.values()} == set(findings.RULES)


def test_a_drawdown_without_a_level_before_the_test_is_refused(tmp_path):
    rows = "".join(row for row in pumping_record.reading_rows() if "2024-05-01T" not in row)
    words = "no level of PW, O1, O2 in the 24 h before the start of test PT-1"
    with (
        pumping_network(tmp_path / "none", pumping_readings=READING_HEADING + rows) as net,
        pytest.raises(AnalysisError, match=words),
    ):
        net.pumping.drawdown("PT-1")


def test_a_drawdown_as_a_source_gives_it_needs_no_level(tmp_path):
    given = "site,test,well,elapsed,drawdown\n" + "".join(
        f"S,PT-1,O1,{minute},{fall:.4f}\n"
        for minute, fall in zip(
            pumping_record.MINUTES, pumping_record.drawdown(30.0, pumping_record.MINUTES), strict=True
        )
    )
    with pumping_network(tmp_path / "given", pumping_readings=given) as net:
        assert net.levels(["O1"]).empty
        fitted = net.pumping.fit("PT-1", "theis", ["O1"])
    value = fitted.table.set_index("parameter")["value"]["transmissivity"]
    assert value == pytest.approx(TRANSMISSIVITY, rel=0.01)


def test_a_static_level_within_a_test_is_a_finding_of_its_event(tmp_path):
    events = "site,well,date,time,depth_to_water\nS,O2,2024-05-01,12:00,5.9\nS,O2,2024-05-03,12:00,4.9\n"
    with pumping_network(tmp_path / "static", level_events=events) as net:
        found = net.checks()
    assert (found["rule"] == STATIC_IN_TEST).sum() == 1
    assert find_in_tests.__doc__


def test_only_the_options_that_a_method_has_and_that_were_asked_for_are_handed_to_it():
    assert FitRequest(heads=(0.2, 0.3)).options_of("slug-bouwer-rice") == {"heads": (0.2, 0.3)}
    assert FitRequest().options_of("slug-bouwer-rice") == {}
    assert FitRequest(heads=(0.2, 0.3)).options_of("theis") == {}
    # who gives a span means its readings
    assert FitRequest(first_min=1.0).options_of("straight-line") == {"trim": False}
    assert FitRequest(first_min=1.0, is_trimmed=True).options_of("straight-line") == {}
