"""Fits of models of drawdown: what is recovered, what limits mean, and what is refused."""

import numpy as np
import pytest

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.pumping import PumpingGeometry, PumpingRates, WellDrawdown, fit_pumping_test
from gwnet.hydro.pumping.fits import fit_model, identified_note
from gwnet.hydro.pumping.models import model_drawdown
from gwnet.hydro.pumping.results import Parameter

PLANTED = {"transmissivity": 300.0, "storativity": 2e-4, "leakage_factor": 250.0}


def simulated(model, distances, rates, *, noise_m=0.0, seed=1, n=40, last=1.0, **planted):
    """Return wells with drawdowns of a model and planted parameters, with normal errors."""
    random = np.random.default_rng(seed)
    wells = []
    for distance in distances:
        days = np.geomspace(1e-3, last, n)
        empty = WellDrawdown(f"P{distance:g}", distance, days, np.zeros(n))
        exact = model_drawdown(model, PLANTED | planted, rates, empty, PumpingGeometry())
        wells.append(WellDrawdown(f"P{distance:g}", distance, days, exact + random.normal(0.0, noise_m, n)))
    return wells


def test_planted_parameters_of_several_wells_and_rates_come_back():
    rates = PumpingRates([0.0, 0.1, 0.3, 0.6], [1000.0, 1500.0, 700.0, 0.0])
    fit = fit_pumping_test("theis", rates, simulated("theis", [20.0, 60.0], rates))
    assert fit.value("transmissivity") == pytest.approx(300.0, rel=1e-6)
    assert fit.value("storativity") == pytest.approx(2e-4, rel=1e-6)
    assert fit.wells == ("P20", "P60")
    assert fit.n == 80


def test_limits_hold_the_truth_and_are_not_symmetrical_for_leakage():
    rates = PumpingRates([0.0], [500.0])
    fit = fit_pumping_test("leaky", rates, simulated("leaky", [50.0], rates, noise_m=0.01))
    for name, planted in PLANTED.items():
        parameter = fit.parameter(name)
        assert parameter.identifiable
        assert parameter.lower < planted < parameter.upper
    assert "better supported than the model theis" in fit.note


def test_without_leakage_the_answer_is_that_the_data_do_not_determine_it():
    rates = PumpingRates([0.0], [500.0])
    fit = fit_pumping_test("leaky", rates, simulated("theis", [50.0], rates, noise_m=0.01))
    leakage = fit.parameter("leakage_factor")
    assert not leakage.identifiable
    assert leakage.upper == np.inf
    assert leakage.lower > 50.0
    assert "The data do not determine the leakage factor" in fit.note
    assert "theis, with fewer parameters, describes the readings as well" in fit.note


def test_weights_make_a_poor_well_count_less():
    rates = PumpingRates([0.0], [500.0])
    good, bad = simulated("theis", [30.0], rates)[0], simulated("theis", [90.0], rates, transmissivity=200.0)[0]

    def weighed(width):
        return fit_model(
            "theis",
            rates,
            [
                WellDrawdown("good", 30.0, good.days, good.drawdown_m, 0.01),
                WellDrawdown("bad", 90.0, bad.days, bad.drawdown_m, width),
            ],
        ).value("transmissivity")

    assert abs(weighed(1.0) - 300.0) < 0.1 < abs(weighed(0.01) - 300.0)


def test_residuals_that_follow_each_other_widen_the_limits():
    rates = PumpingRates([0.0], [500.0])
    (well,) = simulated("theis", [30.0], rates)
    shape = np.sin(np.linspace(0.0, 9.0, well.days.size)) * 0.02
    mixed = np.random.default_rng(4).permutation(shape)

    def width(addition):
        fit = fit_model("theis", rates, [WellDrawdown("P", 30.0, well.days, well.drawdown_m + addition)])
        parameter = fit.parameter("transmissivity")
        return parameter.upper - parameter.lower, fit.note

    (smooth, smooth_note), (rough, rough_note) = width(shape), width(mixed)
    assert smooth > 2.0 * rough
    assert "limits are widened" in smooth_note
    assert rough_note == ""


def test_a_barrier_is_found_with_its_distance():
    rates = PumpingRates([0.0], [500.0])
    days = np.geomspace(1e-3, 3.0, 60)
    empty = WellDrawdown("P", 30.0, days, np.zeros(60), image_m=200.0)
    barrier = PumpingGeometry(boundary="barrier")
    exact = model_drawdown("theis", PLANTED, rates, empty, barrier)
    noisy = exact + np.random.default_rng(2).normal(0.0, 0.003, 60)
    fit = fit_pumping_test("theis", rates, [WellDrawdown("P", 30.0, days, noisy)], barrier)
    assert fit.value("image_distance") == pytest.approx(200.0, rel=0.05)
    assert "better supported than the model theis without a boundary" in fit.note
    with pytest.raises(AnalysisError, match="distance of its own from each of P, R"):
        fit_pumping_test("theis", rates, [WellDrawdown(n, 30.0, days, noisy) for n in "PR"], barrier)


@pytest.mark.parametrize(
    ("days", "rates", "said"),
    [
        ([0.0, 0.0], [1.0, 2.0], "expected times that rise"),
        ([0.0, 1.0], [1.0, -2.0], "expected zero or more"),
        ([0.0, 1.0], [0.0, 0.0], "Every rate is 0"),
        ([0.0, np.nan], [1.0, 2.0], "missing"),
    ],
)
def test_rates_that_cannot_be(days, rates, said):
    with pytest.raises(AnalysisError, match=said):
        PumpingRates(days, rates)


def test_shapes_distances_and_widths_that_cannot_be():
    with pytest.raises(ShapeError):
        PumpingRates([0.0, 1.0], [1.0])
    with pytest.raises(ShapeError):
        WellDrawdown("P", 1.0, [1.0], [1.0, 2.0])
    with pytest.raises(AnalysisError, match="expected a number above 0"):
        WellDrawdown("P", 0.0, [1.0], [1.0])
    with pytest.raises(AnalysisError, match="half-width"):
        WellDrawdown("P", 1.0, [1.0], [1.0], 0.0)


def test_too_few_readings_unknown_methods_and_rising_levels_are_refused():
    rates = PumpingRates([0.0], [500.0])
    with pytest.raises(TooFewLevelsError, match="1 reading cannot determine the 2"):
        fit_pumping_test("theis", rates, [WellDrawdown("P", 30.0, [0.1, -0.1], [0.2, 0.0])])
    with pytest.raises(AnalysisError, match="after the start of pumping"):
        fit_pumping_test("theis", rates, [WellDrawdown("P", 30.0, [-0.1], [0.0])])
    with pytest.raises(AnalysisError, match="There is no method 'guess'"):
        fit_pumping_test("guess", rates, [WellDrawdown("P", 30.0, [0.1], [0.2])])
    with pytest.raises(AnalysisError, match="do not rise with pumping"):
        fit_pumping_test("theis", rates, [WellDrawdown("P", 30.0, [0.1, 0.2, 0.3], [-0.2, -0.3, -0.4])])


def test_rates_tell_their_stop_and_their_value_at_a_time():
    rates = PumpingRates([0.0, 1.0, 2.0], [10.0, 20.0, 0.0])
    assert rates.stop_days == 2.0
    assert PumpingRates([0.0], [10.0]).stop_days == np.inf
    np.testing.assert_array_equal(rates.rate_at([-1.0, 0.0, 0.5, 1.0, 3.0]), [0.0, 10.0, 10.0, 20.0, 0.0])


@pytest.mark.parametrize(
    ("lower", "upper", "said"),
    [
        (0.0, 5.0, "the specific yield (only that it is below 5, at 95 %)"),
        (0.2, np.inf, "the specific yield (only that it is above 0.2, at 95 %)"),
        (0.0, np.inf, "the specific yield"),
    ],
)
def test_what_the_data_do_not_determine_is_said_with_the_limit_that_they_set(lower, upper, said):
    known = Parameter("transmissivity", 20.0, "m2/d", 10.0, 30.0)
    unknown = Parameter("specific_yield", 1.0, "", lower, upper, identifiable=False)
    assert identified_note([known, unknown]) == f"The data do not determine {said}."
    assert identified_note([known]) == ""
