"""The effect of air pressure taken out of manual readings and heads of a pumping test, by the efficiency on record."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers.air_response import efficiency_of_well
from gwnet.analysis.loggers.channels import loggers_of
from gwnet.analysis.pumping import air
from gwnet.analysis.pumping.gather import LEVEL_COLUMNS
from gwnet.analysis.pumping.readings import changes_of_rate
from gwnet.store.snapshot import Snapshot

from ..pumping_air import EFFICIENCY, air_pressure_m, network_under_air, rise_m
from ..pumping_record import DISTANCES, STORATIVITY, TRANSMISSIVITY, drawdown


@pytest.fixture(scope="module")
def net(tmp_path_factory):
    opened = network_under_air(tmp_path_factory.mktemp("air"))
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def gappy(tmp_path_factory):
    opened = network_under_air(tmp_path_factory.mktemp("gap"), gap=(90, 420))
    yield opened
    opened.close()


def parameters(net, **asked):
    table = net.pumping.fit("PT-1", "theis", ["O1", "O2"], **asked).table.set_index("parameter")
    return table["value"]["transmissivity"], table["value"]["storativity"]


@pytest.mark.slow
def test_drawdowns_of_readings_and_heads_alike_are_those_without_a_change_of_air_pressure(net):
    table = net.pumping.drawdown("PT-1", ["O1"])
    assert set(table["source"]) == {"manual", "logger V"}
    during = table[table["elapsed_min"] > 0]
    for _, rows in during.groupby("source"):
        np.testing.assert_allclose(rows["drawdown_m"], drawdown(DISTANCES["O1"], rows["elapsed_min"]), atol=0.002)
        # the efficiency times the rise of air pressure since the start, added to the level (common practice, no source)
        expected = EFFICIENCY * (air_pressure_m(rows["elapsed_min"]) - air_pressure_m(0.0))
        np.testing.assert_allclose(rows["air_correction_m"], expected, atol=0.002)
    assert table.loc[table["elapsed_min"].idxmax(), "air_correction_m"] < -0.09


def test_what_steps_when_the_pump_is_switched_is_the_water_and_no_fault_of_the_logger(net):
    assert "step" not in set(net.loggers.findings()["rule"])
    with net.store.reading() as connection:
        switched = changes_of_rate(Snapshot(connection).of_site())
    expected = [f"2024-05-01T{clock}" for clock in ("07:00", "11:00", "17:00")]
    np.testing.assert_array_equal(switched, np.array(expected, dtype="datetime64[us]"))


def test_levels_are_shown_as_they_stood_in_the_well(net):
    rows = net.pumping.drawdown("PT-1", ["O1"]).query("elapsed_min == 600")
    depth = {source: 100.4 - level for source, level in zip(rows["source"], rows["water_elevation_m"], strict=True)}
    assert depth["manual"] == pytest.approx(depth["logger V"], abs=0.003)
    assert depth["manual"] == pytest.approx(5.1 + float(drawdown(30.0, [600.0])[0]) - rise_m(600.0), abs=0.001)


def test_a_fit_has_what_was_planted_with_air_pressure_out_and_not_with_it_in(net):
    transmissivity, storativity = parameters(net)
    assert transmissivity == pytest.approx(TRANSMISSIVITY, rel=0.01)
    assert storativity == pytest.approx(STORATIVITY, rel=0.02)
    left_in, _ = parameters(net, is_air_removed=False)
    assert abs(left_in / TRANSMISSIVITY - 1.0) > 0.03


def test_it_can_be_left_in_for_readings_and_heads_alike(net):
    table = net.pumping.drawdown("PT-1", ["O1"], is_air_removed=False)
    assert table["air_correction_m"].isna().all()
    during = table[table["elapsed_min"] > 0]
    expected = drawdown(DISTANCES["O1"], during["elapsed_min"]) - rise_m(during["elapsed_min"])
    # the level before the start is a mean over a day in which the air pressure changed by some millimetres
    np.testing.assert_allclose(during["drawdown_m"], expected, atol=0.006)


@pytest.mark.slow
def test_barometer_efficiency_and_largest_correction_are_said(net):
    static = net.pumping.static_levels("PT-1").set_index("well")
    assert static.loc["O1", "barometer"] == "B"
    assert static.loc["O1", "barometric_efficiency"] == EFFICIENCY
    assert static.loc["O1", "largest_air_correction_m"] == pytest.approx(-rise_m(920.0), abs=0.003)
    assert static.loc["O2", "barometer"] == ""
    assert np.isnan(static.loc["O2", "barometric_efficiency"])
    [said] = net.pumping.fit("PT-1", "theis", ["O1", "O2"]).sentences()[:1]
    assert "by the barometer B and the barometric efficiency of 0.50 on record of logger V" in said
    assert "largest correction is -0.09" in said
    assert said in net.pumping.remarks("PT-1")
    assert not [text for text in net.pumping.remarks("PT-1", is_air_removed=False) if "Air pressure" in text]


@pytest.mark.slow
def test_readings_in_a_gap_of_the_barometer_are_not_corrected_and_named(gappy):
    table = gappy.pumping.drawdown("PT-1", ["O1"])
    manual = table[table["source"] == "manual"]
    in_gap = manual["elapsed_min"].between(90, 420, inclusive="neither")
    assert manual.loc[in_gap, "air_correction_m"].isna().all()
    assert manual.loc[~in_gap, "air_correction_m"].notna().all()
    static = gappy.pumping.static_levels("PT-1").set_index("well")
    assert static.loc["O1", "air_not_known"] == in_gap.sum() > 4
    [said] = [text for text in gappy.pumping.remarks("PT-1") if "not corrected" in text]
    assert "B has no air pressure from 2024-05-01 10:00 to 2024-05-01 13:" in said
    assert said.endswith("Load the file of the barometer, or leave the effect of air pressure in.")


def test_without_an_efficiency_nothing_is_corrected(tmp_path):
    with network_under_air(tmp_path, has_efficiency=False) as plain:
        assert plain.pumping.drawdown("PT-1")["air_correction_m"].isna().all()
        assert not [text for text in plain.pumping.remarks("PT-1") if "Air pressure" in text]


def test_the_efficiency_of_the_deployment_nearest_in_time_counts(net):
    with net.store.reading() as connection:
        record = Snapshot(connection).of_site()
        test = record.pumping_tests.iloc[0]
        found = efficiency_of_well(loggers_of(record), "S", "O1", test["starts_at_utc"])
        assert (found.value, found.deployment.instrument) == (EFFICIENCY, "V")
        assert efficiency_of_well(loggers_of(record), "S", "O2", test["starts_at_utc"]) is None
        nothing = pd.DataFrame(columns=list(LEVEL_COLUMNS))
        assert air.without_air(record, test, nothing)[1] == ()
