"""The demo's pumping tests give the aquifer and the well loss that were planted in the valley, within stated limits."""

import math
import tomllib

import pytest
from scipy.special import exp1

from gwnet.analysis.pumping.readings import TEST_STATUS
from gwnet.network import Network
from gwnet.resources import demo_folder

TRUTH = tomllib.loads((demo_folder() / "EXPECTED.toml").read_text(encoding="utf-8"))["pumping"]
WITHIN = TRUTH["tolerance_percent"] / 100.0


@pytest.fixture(scope="module")
def net(demo_record):
    with Network(demo_record) as opened:
        yield opened


def values(fitted):
    return dict(zip(fitted.table["parameter"], fitted.table["value"], strict=True))


def test_the_constant_rate_test_gives_the_planted_aquifer(net):
    fitted = values(net.pumping.fit(TRUTH["constant_rate"], "theis", background="line"))
    assert fitted["transmissivity"] == pytest.approx(TRUTH["transmissivity_m2_per_day"], rel=WITHIN)
    assert fitted["storativity"] == pytest.approx(TRUTH["storativity"], rel=WITHIN)


def test_its_recovery_in_the_pumped_well_gives_the_planted_transmissivity(net):
    fitted = values(net.pumping.fit(TRUTH["constant_rate"], "recovery", background="line"))
    assert fitted["transmissivity"] == pytest.approx(TRUTH["transmissivity_m2_per_day"], rel=WITHIN)


def test_the_step_test_gives_the_planted_transmissivity_and_well_loss(net):
    fitted = values(net.pumping.fit(TRUTH["step"], "step-theis", background="line"))
    assert fitted["transmissivity"] == pytest.approx(TRUTH["transmissivity_m2_per_day"], rel=WITHIN)
    greatest = 25.0 * 86.4
    loss = TRUTH["well_loss_d2_per_m5"] * greatest**2
    assert fitted["well_loss_at_greatest_rate"] == pytest.approx(loss, rel=WITHIN)


def test_drawdowns_are_those_of_theis_at_the_distances_of_the_record(net):
    # Theis 1935 with the planted parameters, at the rates of the test; the background is worth a centimetre
    table = net.pumping.drawdown(TRUTH["constant_rate"], ["W-07"], background="line")
    [last] = table[table["elapsed_min"] == 1440.0].to_dict("records")
    transmissivity, storativity = TRUTH["transmissivity_m2_per_day"], TRUTH["storativity"]
    drawn, before = 0.0, 0.0
    for start, rate in ((0.0, 22.3), (30.0, 22.0), (720.0, 21.8)):
        days = (1440.0 - start) / 1440.0
        u = last["distance_m"] ** 2 * storativity / (4.0 * transmissivity * days)
        drawn += (rate - before) * 86.4 / (4.0 * math.pi * transmissivity) * exp1(u)
        before = rate
    assert last["drawdown_m"] == pytest.approx(drawn, abs=0.02)


def test_readings_are_listed_and_nothing_looks_wrong(net):
    tests = net.pumping.tests()
    assert tests["test"].tolist() == [TRUTH["step"], TRUTH["constant_rate"]]
    assert tests["findings"].tolist() == [0, 0]
    listed = net.levels(["W-07"], end="2017-12-31")
    assert set(listed["status"]) == {TEST_STATUS}
    assert len(net.levels.series("W-07", end="2017-12-31")) == 0
