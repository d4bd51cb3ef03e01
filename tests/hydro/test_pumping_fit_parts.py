"""Fits of models of drawdown part by part: weights, order, ends of the search, criteria and sentences."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, special, stats

from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.pumping import OtherPumping, PumpingGeometry, PumpingRates, WellDrawdown, fit_pumping_test
from gwnet.hydro.pumping.fits import (
    check_count,
    comparison_note,
    fit_model,
    identified_note,
    parameters_of,
    reading_weights,
    serial_note,
    time_order,
)
from gwnet.hydro.pumping.fitting import Problem, Solution
from gwnet.hydro.pumping.models import FittedParameter, model_drawdown
from gwnet.hydro.pumping.results import Parameter, PumpingFit

T, S = 220.0, 7e-4
RATES = PumpingRates([0.0, 0.2, 0.6], [300.0, 500.0, 0.0])


def theis(theta, days, distance):
    """Return Theis's drawdown (1935) of the three rates, and its derivatives by the logarithms of T and S."""
    transmissivity, storativity = np.exp(theta)
    total, slopes, before = np.zeros(len(days)), np.zeros((len(days), 2)), 0.0
    for start, rate in zip(RATES.start_days, RATES.rate_m3_d, strict=True):
        since = days - start
        on = since > 0.0
        u = distance**2 * storativity / (4.0 * transmissivity * since[on])
        scale = (rate - before) / (4.0 * math.pi * transmissivity)
        total[on] += scale * special.exp1(u)
        slopes[on] += scale * np.column_stack([np.exp(-u) - special.exp1(u), -np.exp(-u)])
        before = rate
    return total, slopes


DAYS = {"A": np.array([0.5, 0.02, 0.1, 0.2, 0.9, 0.3]), "B": np.array([0.05, 0.15, 0.61, 0.4])}
PLACES = {"A": 12.0, "B": 50.0}
ERRORS = {"A": np.array([1.0, -1.5, 0.5, 1.0, -1.0, -0.5]), "B": np.array([-1.0, 1.0, -1.0, 0.5])}


def wells(noise=0.004, widths=None, **more):
    made = []
    for name, days in DAYS.items():
        falls = theis(np.log([T, S]), days, PLACES[name])[0] + noise * ERRORS[name]
        width = None if widths is None else widths[name]
        made.append(WellDrawdown(name, PLACES[name], [*days, -0.1], [*falls, 9.0], width, **more))
    return made


@pytest.mark.parametrize("width", [None, {"A": [0.02, 0.03, 0.01, 0.02, 0.05, 0.02, 1.0], "B": 0.04}])
def test_a_joint_fit_is_that_of_scipy_with_covariance_and_criterion(width):
    fit = fit_model("theis", RATES, wells(widths=width), PumpingGeometry(thickness_m=3.0))
    observed = np.concatenate([well.drawdown_m[:-1] for well in wells()])
    weight = np.ones(10)
    if width is not None:
        weight = 1.0 / np.array([*width["A"][:-1], *[0.04] * 4])
        weight /= math.sqrt(np.mean(weight**2))

    def misfit(theta):
        parts = [theis(theta, days, PLACES[name])[0] for name, days in DAYS.items()]
        return (np.concatenate(parts) - observed) * weight

    best = optimize.least_squares(misfit, np.log([T, S]), xtol=1e-14, ftol=1e-14, gtol=1e-14).x
    design = np.vstack([theis(best, days, PLACES[name])[1] for name, days in DAYS.items()]) * weight[:, None]
    left = misfit(best)
    covariance = np.linalg.inv(design.T @ design) * (left @ left) / 8.0
    assert [parameter.value for parameter in fit.parameters] == pytest.approx(np.exp(best).tolist(), rel=1e-7)
    np.testing.assert_allclose(fit.covariance, covariance, rtol=1e-6)
    spread = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(fit.correlation, covariance / np.outer(spread, spread), rtol=1e-6)
    half = stats.t.ppf(0.975, 8) * spread
    for parameter, value, away in zip(fit.parameters, best, half, strict=True):
        assert parameter.upper == pytest.approx(math.exp(value + away), rel=0.3 * away)
        assert parameter.lower == pytest.approx(math.exp(value - away), rel=0.3 * away)
        assert parameter.identifiable
    residuals = -left / weight
    np.testing.assert_allclose(fit.residuals, residuals, atol=1e-8)
    np.testing.assert_allclose(fit.fitted_m, observed - residuals, rtol=1e-7)
    np.testing.assert_array_equal(fit.observed_m, observed)
    np.testing.assert_array_equal(fit.days, np.concatenate(list(DAYS.values())))
    assert fit.rmse_m == pytest.approx(math.sqrt(np.mean(residuals**2)), rel=1e-6)
    assert fit.aicc == pytest.approx(10 * math.log(left @ left / 10) + 6 + 24 / 6, rel=1e-7)
    assert (fit.model, fit.wells, fit.distances_m, fit.n, fit.degrees) == ("theis", ("A", "B"), (12.0, 50.0), 10, 8)
    assert (fit.well_index.tolist(), fit.geometry.thickness_m) == ([0] * 6 + [1] * 4, 3.0)
    assert [(parameter.name, parameter.unit) for parameter in fit.parameters] == [
        ("transmissivity", "m2/d"),
        ("storativity", ""),
    ]
    assert (fit.note, fit.superposed) == ("", ())


def test_weights_have_a_mean_square_of_1_and_the_standard_deviation_of_one_of_them():
    """A half-width is 1.96 standard deviations."""
    pair = [WellDrawdown("A", 1.0, [1.0, 2.0], [1.0, 2.0], [0.1, 0.2]), WellDrawdown("B", 1.0, [1.0], [1.0], 0.4)]
    weight, sd = reading_weights(pair)
    expected = np.array([10.0, 5.0, 2.5]) / math.sqrt((100.0 + 25.0 + 6.25) / 3.0)
    np.testing.assert_allclose(weight, expected, rtol=1e-12)
    assert sd * expected[0] ** -1 == pytest.approx(0.1 / stats.norm.ppf(0.975), rel=1e-12)
    pair.append(WellDrawdown("C", 1.0, [1.0], [1.0]))
    weight, sd = reading_weights(pair)
    assert (weight.tolist(), sd) == ([1.0] * 4, None)


def test_the_order_in_time_goes_well_after_well():
    three = [WellDrawdown(name, 1.0, days, days) for name, days in (("A", [3.0, 1.0]), ("B", [2.0]), ("C", [9, 7, 8]))]
    order, breaks = time_order(three)
    assert (order.tolist(), breaks.tolist()) == ([1, 0, 2, 4, 5, 3], [2, 3])


KINDS = (
    FittedParameter("low", "m", 1e-3, 1e3), FittedParameter("high", "m", 1e-3, 1e3),
    FittedParameter("limited", "", 1e-3, 1e3, is_limited=True), FittedParameter("open", "d", 1e-3, 1e3),
    FittedParameter("inside", "d", 1e-3, 1e3),
)  # fmt: skip


def test_an_estimate_at_an_end_of_the_search_is_0_or_infinite():
    """Within a thousandth of the end, in the logarithm; where the end is the parameter's own it is the estimate."""
    end = math.log(1e3)
    theta = np.array([0.0009 - end, end - 0.0009, end, end - 0.0011, 0.0011 - end])
    lower, upper = np.array([-9.0, -1.0, -1.0, -math.inf, -7.0]), np.array([1.0, 9.0, 9.0, 8.0, 701.0])
    ends = np.full(5, -end), np.full(5, end)
    problem = Problem(np.empty(0), np.empty(0), lambda theta: theta, *ends)
    solution = Solution(theta, lower, upper, np.eye(5), np.eye(5), 0.0, 0, 0.0, 0.0)
    found = parameters_of(KINDS, problem, solution)
    values = [0.0, math.inf, 1e3, math.exp(end - 0.0011), math.exp(0.0011 - end)]
    assert [parameter.value for parameter in found] == pytest.approx(values)
    assert [parameter.lower for parameter in found] == pytest.approx([*np.exp(lower[:3]), 0.0, math.exp(-7.0)])
    assert [parameter.upper for parameter in found] == pytest.approx([*np.exp(upper[:4]), math.inf])
    assert [parameter.identifiable for parameter in found] == [False, False, False, False, True]
    assert [(parameter.name, parameter.unit) for parameter in found[:1]] == [("low", "m")]


def test_sentences_on_what_is_not_determined_and_on_residuals():
    unknown = [
        Parameter("leakage_factor", 9.0, "m", 4.56789, math.inf, False),
        Parameter("storativity", 9.0, "", 0.0, 0.125, False),
        Parameter("transmissivity", 9.0, "m2/d", 2.0, 20.0),
        Parameter("loss", 9.0, "m", 0.0, math.inf, False),
    ]
    assert identified_note(unknown) == (
        "The data do not determine the leakage factor (only that it is above 4.57 m, at 95 %) and the storativity "
        "(only that it is below 0.125, at 95 %) and the loss."
    )
    solution = Solution(*[np.empty(0)] * 5, 0.0, 0, 0.0, 0.4567)
    assert serial_note(solution).startswith("Residuals that follow each other are correlated (0.46): the model departs")
    assert serial_note(replace(solution, serial=0.0)) == ""


def compared(gain, serial=0.0, *, n=20, degrees=(17, 18), base=-50.0):
    """Return the sentence on two fits of n readings whose criteria differ by a gain."""
    arrays = [np.empty(0)] * 7
    fits = [
        PumpingFit("m", (), (), (), n, 0.0, *arrays, left, aicc)
        for left, aicc in zip(degrees, (base, base + gain), strict=True)
    ]
    return comparison_note(*fits, "theis", serial)


ALIKE = (
    "The model theis, with fewer parameters, describes the readings as well (difference of AICc {}; from 2 on more "
    "would be supported)."
)


@pytest.mark.parametrize(
    ("gain", "serial", "said"),
    [
        # from a difference of 2 on: Burnham and Anderson (2002), p. 70
        (2.0, 0.0, "It is better supported than the model theis (AICc lower by 2.0)."),
        (1.99, 0.0, ALIKE.format("+2.0")),
        (-3.25, 0.0, ALIKE.format("−3.2")),
        (30.0, 0.5, "It is better supported than the model theis (AICc lower by 7.9)."),
        (8.0, 0.5, ALIKE.format("+0.6")),
        (math.nan, 0.0, "There are too few readings to compare it with the model theis."),
    ],
)
def test_the_simpler_model_is_taken_unless_the_criterion_falls_by_2(gain, serial, said):
    """With correlated residuals the gain in fit counts by (1 − r)/(1 + r), the penalty 2Kn/(n − K − 1) whole."""
    penalty = 2 * 4 * 20 / 15 - 2 * 3 * 20 / 16
    shrunk = (gain + penalty) * (1.0 - serial) / (1.0 + serial) - penalty
    assert compared(gain, serial) == said
    if math.isfinite(gain):
        assert f"{abs(shrunk):.1f}" in said


def test_fewer_readings_than_parameters_are_refused():
    one = [WellDrawdown("A", 1.0, [1.0], [1.0])]
    check_count("theis", 1, one)
    with pytest.raises(TooFewLevelsError, match="1 reading cannot determine the 2 parameters of theis"):
        check_count("theis", 2, one)
    with pytest.raises(TooFewLevelsError, match="2 readings cannot determine the 3 parameters of leaky"):
        check_count("leaky", 3, one * 2)


def drawn(name, days, distance, values, geometry=None, **more):
    empty = WellDrawdown(name, distance, days, np.zeros(len(days)), **more)
    falls = model_drawdown("theis", values, RATES, empty, geometry or PumpingGeometry())
    return WellDrawdown(name, distance, days, falls, **more)


LATE = np.geomspace(2e-3, 3.0, 30)


@pytest.mark.parametrize("boundary", ["barrier", "recharge"])
@pytest.mark.parametrize(("image", "distance"), [(45.0, 30.0), (200.0, 30.0), (900.0, 12.0)])
def test_an_image_well_comes_back_at_its_distance(boundary, image, distance):
    geometry = PumpingGeometry(boundary=boundary)
    values = {"transmissivity": T, "storativity": S, "image_distance": image}
    fit = fit_model("theis", RATES, [drawn("A", LATE, distance, values, geometry)], geometry)
    assert [fit.value(name) for name in values] == pytest.approx(list(values.values()), rel=1e-4)
    assert "better supported than the model theis without a boundary (AICc lower by" in fit.note
    given = fit_model("theis", RATES, [drawn("A", LATE, distance, values, geometry, image_m=image)], geometry)
    assert [parameter.name for parameter in given.parameters] == ["transmissivity", "storativity"]
    assert given.value("storativity") == pytest.approx(S, rel=1e-6)


def test_one_well_may_lack_its_image_distance_and_not_two():
    geometry = PumpingGeometry(boundary="barrier")
    values = {"transmissivity": T, "storativity": S, "image_distance": 80.0}
    known = drawn("B", LATE, 12.0, values, geometry, image_m=60.0)
    fit = fit_model("theis", RATES, [drawn("A", LATE, 30.0, values, geometry), known], geometry)
    assert fit.value("image_distance") == pytest.approx(80.0, rel=1e-4)
    two = [drawn(name, LATE, 30.0, values, geometry) for name in "AC"]
    with pytest.raises(AnalysisError, match="distance of its own from each of A, C; none is given"):
        fit_model("theis", RATES, [*two, known], geometry)
    with pytest.raises(AnalysisError, match="boundary is 'wall'; expected barrier or recharge"):
        fit_model("theis", RATES, [known], PumpingGeometry(boundary="wall"))


def test_other_wells_are_superposed_and_named_once():
    beside = OtherPumping("X", 40.0, PumpingRates([-0.5, 0.3], [250.0, 0.0]))
    farther = OtherPumping("Y", 90.0, PumpingRates([0.1], [120.0]))
    values = {"transmissivity": T, "storativity": S}
    pair = [
        drawn("A", LATE, 30.0, values, others=[beside], before_days=[-0.3]),
        drawn("B", LATE, 70.0, values, others=[beside, farther]),
    ]
    fit = fit_model("theis", RATES, pair)
    assert [fit.value(name) for name in values] == pytest.approx(list(values.values()), rel=1e-6)
    assert fit.superposed == ("X", "Y")
    assert fit.note.startswith("The pumping of X and Y is superposed.")
    with pytest.raises(AnalysisError, match="boundary and other pumped wells cannot be taken into account together"):
        fit_model("theis", RATES, pair, PumpingGeometry(boundary="barrier"))


def test_a_comparison_is_made_unless_not_wanted():
    values = {"transmissivity": T, "storativity": S, "leakage_factor": 150.0}
    empty = WellDrawdown("A", 30.0, LATE, np.zeros(30))
    falls = model_drawdown("leaky", values, RATES, empty, PumpingGeometry())
    noisy = WellDrawdown("A", 30.0, LATE, falls + 0.002 * np.resize([1.0, -1.0, 0.5, -1.5, 1.0], 30))
    fit = fit_model("leaky", RATES, [noisy])
    gain = fit_model("theis", RATES, [noisy]).aicc - fit.aicc
    assert fit.note == f"It is better supported than the model theis (AICc lower by {gain:.1f})."
    assert fit_model("leaky", RATES, [noisy], compare=False).note == ""
    assert fit_model("theis", RATES, [noisy.within(0.0, 0.01)], compare=False).n == len(LATE[LATE <= 0.01])


def test_the_door_to_all_methods_refuses_what_a_method_cannot_do():
    beside = OtherPumping("X", 40.0, PumpingRates([-0.5], [250.0]))
    well = drawn("A", LATE, 30.0, {"transmissivity": T, "storativity": S}, others=[beside])
    for name in ("recovery", "storage", "straight-line", "step"):
        with pytest.raises(AnalysisError, match=f"{name} cannot superpose the pumping of other wells") as told:
            fit_pumping_test(name, RATES, [well])
        able = "theis, leaky, delayed-yield, delayed-yield-boulton"
        assert told.value.fix == f"Use one of {able}, or leave the other wells out."
    for name in ("theis", "distance", "recovery"):
        with pytest.raises(AnalysisError, match=f"{name} does not take heads, trim"):
            fit_pumping_test(name, RATES, [well], trim=False, heads=(0.1, 0.2))
        with pytest.raises(AnalysisError, match=f"{name} needs the rates of the test"):
            fit_pumping_test(name, None, [well])
    with pytest.raises(AnalysisError, match="There is no method 'line' for pumping tests; there are theis, leaky,"):
        fit_pumping_test("line", RATES, [well])
    with pytest.raises(AnalysisError, match="radius of the well's screen or bore"):
        fit_pumping_test("slug", None, [WellDrawdown("A", 0.1, LATE, LATE)])
    plain = drawn("A", LATE, 30.0, {"transmissivity": T, "storativity": S})
    geometry = PumpingGeometry(thickness_m=4.0)
    for name in ("theis", "recovery"):
        assert fit_pumping_test(name, RATES, [plain], geometry).geometry is geometry
        assert fit_pumping_test(name, RATES, [plain]).geometry == PumpingGeometry()
