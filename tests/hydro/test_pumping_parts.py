"""Parts of the analyses of pumping tests: functions, superposition, straight lines, steps, slugs, distance, derivative."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special, stats

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.pumping.delayed_yield import boulton, neuman
from gwnet.hydro.pumping.derivative import bourdet_derivative
from gwnet.hydro.pumping.distance import fit_distance
from gwnet.hydro.pumping.fitting import Problem, aicc, solve
from gwnet.hydro.pumping.methods import METHODS, fit_pumping_test
from gwnet.hydro.pumping.models import MODELS, find_model, model_drawdown
from gwnet.hydro.pumping.results import PumpingGeometry, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.slugs import fit_bouwer_rice, fit_hvorslev, fit_slug
from gwnet.hydro.pumping.steps import fit_steps, fit_steps_exponent, fit_steps_theis, step_ends
from gwnet.hydro.pumping.storage import slug_recovery, wellbore_storage
from gwnet.hydro.pumping.straight_lines import (
    equivalent_days,
    fit_recovery,
    fit_recovery_equivalent,
    fit_straight_line,
    recovery_ratio,
)
from gwnet.hydro.pumping.superposition import interpolated, superpose, with_image
from gwnet.hydro.pumping.well_functions import invert_laplace, leaky, scaled_bessel_k, theis

PLANTED = {"transmissivity": 300.0, "storativity": 2e-4, "specific_yield": 0.1, "anisotropy": 0.2, "delay_rate": 5.0}


def drawn(model, rates, distance, days, geometry=None):
    """Return a well with the exact drawdowns of a model."""
    empty = WellDrawdown("P", distance, days, np.zeros(len(days)))
    exact = model_drawdown(model, PLANTED, rates, empty, geometry or PumpingGeometry())
    return WellDrawdown("P", distance, days, exact)


@given(st.floats(-6, 1.3), st.floats(-3, 1))
def test_the_leaky_function_is_its_integral(log_u, log_ratio):
    u, ratio = 10.0**log_u, 10.0**log_ratio
    end = np.log(max(u, 1.0)) + 5.0

    def integrand(x):
        return np.exp(-np.exp(x) - 0.25 * ratio**2 * np.exp(-x))

    middle = np.clip(np.log(ratio / 2), np.log(u), end)
    exact = sum(
        integrate.quad(integrand, a, b, epsabs=1e-14, epsrel=1e-11, limit=200)[0]
        for a, b in ((np.log(u), middle), (middle, end))
        if b > a
    )
    assert float(leaky(u, ratio)) == pytest.approx(exact, rel=1e-8, abs=1e-13)


def test_an_inverted_transform_is_its_function():
    times = np.array([0.01, 1.0, 40.0])
    np.testing.assert_allclose(invert_laplace(lambda p: special.kve(0, np.sqrt(p)) * np.exp(-np.sqrt(p)), times),
                               np.exp(-1 / (4 * times)) / (2 * times), rtol=1e-6, atol=1e-9)  # fmt: skip


def test_models_tend_to_theis_where_their_own_part_fades():
    times = np.geomspace(1.0, 1e4, 9)
    plain = theis(1 / (4 * times))
    np.testing.assert_allclose(wellbore_storage(times * 1e6, 1e-2), theis(1 / (4e6 * times)), rtol=1e-3)
    np.testing.assert_allclose(boulton(times, 0.5, 1e-6), plain, rtol=1e-6)
    np.testing.assert_allclose(neuman(times, 1e-3, 1e-9), plain, rtol=2e-3)
    late = 1e9 * times
    np.testing.assert_allclose(neuman(late, 0.01, 0.5), theis((1 + 1 / 0.01) / (4 * late)), rtol=1e-4)


def test_points_average_to_the_whole_thickness():
    heights, weights = np.polynomial.legendre.leggauss(12)
    heights = 0.5 * (heights + 1.0)
    times = np.array([0.5, 5.0, 500.0])
    points = sum(0.5 * w * neuman(times, 0.01, 0.5, observed=(z, z)) for z, w in zip(heights, weights, strict=True))
    np.testing.assert_allclose(points, neuman(times, 0.01, 0.5), rtol=1e-4)
    # a well that is open in part draws most at its own height
    part = {z: neuman(times, 0.01, 0.5, pumped=(0.0, 0.5), observed=(z, z))[1] for z in (0.1, 0.9)}
    assert part[0.1] > neuman(times, 0.01, 0.5, observed=(0.1, 0.1))[1] > part[0.9]
    halves = [neuman(times, 0.01, 0.5, pumped=ends, observed=(0.3, 0.3)) for ends in ((0.0, 0.5), (0.5, 1.0))]
    np.testing.assert_allclose(0.5 * sum(halves), neuman(times, 0.01, 0.5, observed=(0.3, 0.3)), rtol=1e-4)


def test_a_slug_starts_whole_and_fades():
    left = slug_recovery([1e-6, 1e-3, 1.0, 1e3], 1e-3)
    assert left[0] == pytest.approx(1.0, abs=1e-3)
    assert (np.diff(left) < 0).all()
    assert slug_recovery([0.1], 1e-3, 20.0)[0] < slug_recovery([0.1], 1e-3)[0]


def test_superposition_of_a_stop_is_the_difference_of_two_curves():
    rates = PumpingRates([0.0, 1.0], [50.0, 0.0])
    found = superpose(lambda days: 1.0 - np.exp(-days), rates, [-1.0, 0.0, 0.5, 2.0])
    np.testing.assert_allclose(found, [0.0, 0.0, 50 * (1 - np.exp(-0.5)), 50 * (np.exp(-1) - np.exp(-2))])


def test_many_times_are_interpolated_and_few_are_not():
    called = []

    def response(days):
        called.append(days.size)
        return theis(0.01 / days)

    days = np.geomspace(1e-3, 10.0, 500)
    np.testing.assert_allclose(interpolated(response)(days), theis(0.01 / days), rtol=2e-3, atol=2e-4)
    interpolated(response)(days[:5])
    assert called[0] < 60
    assert called[1] == 5


def test_image_wells_add_or_take_away():
    def response(distance, days):
        return days / distance

    days = np.array([2.0])
    assert with_image(response, 1.0, 4.0, "barrier")(days) == 2.5
    assert with_image(response, 1.0, 4.0, "recharge")(days) == 1.5


def test_every_model_has_its_method_and_its_parameters_come_back():
    rates = PumpingRates([0.0, 0.5], [400.0, 0.0])
    geometry = PumpingGeometry(well_radius_m=0.15, casing_radius_m=0.1, thickness_m=20.0)
    assert set(MODELS) <= set(METHODS)
    for name in ("storage", "delayed-yield-boulton"):
        fit = fit_pumping_test(name, rates, [drawn(name, rates, 8.0, np.geomspace(1e-3, 1.0, 30), geometry)], geometry)
        for parameter in fit.parameters:
            assert parameter.value == pytest.approx(PLANTED[parameter.name], rel=0.01), parameter.name
    with pytest.raises(AnalysisError, match="radius of the pumped well's casing"):
        fit_pumping_test(
            "storage", rates, [drawn("theis", rates, 8.0, [0.1, 0.2, 0.3])], PumpingGeometry(well_radius_m=0.1)
        )
    with pytest.raises(AnalysisError, match="There is no model"):
        find_model("guess")


def test_options_that_a_method_does_not_take_are_refused():
    rates = PumpingRates([0.0], [400.0])
    with pytest.raises(AnalysisError, match="does not take heads"):
        fit_pumping_test("theis", rates, [], heads=(0.1, 0.2))
    with pytest.raises(AnalysisError, match="needs the rates"):
        fit_pumping_test("theis", None, [])


def test_early_readings_are_left_out_of_a_straight_line_unless_asked_for():
    rates = PumpingRates([0.0], [400.0])
    well = drawn("theis", rates, 60.0, np.geomspace(1e-4, 1.0, 60))
    trimmed = fit_straight_line(rates, [well])
    whole = fit_straight_line(rates, [well], trim=False)
    assert trimmed.value("transmissivity") == pytest.approx(300.0, rel=0.01)
    assert whole.n == 60 > trimmed.n
    assert abs(whole.value("transmissivity") - 300.0) > 10.0
    assert "earlier readings were left out" in trimmed.note
    assert "of the 60 readings that were used are earlier than that" in whole.note


def test_straight_lines_refuse_rates_that_vary_and_levels_that_rise():
    well = WellDrawdown("P", 10.0, [0.1, 0.2, 0.3], [0.3, 0.2, 0.1])
    with pytest.raises(AnalysisError, match="varies from 100 to 200"):
        fit_straight_line(PumpingRates([0.0, 0.15], [100.0, 200.0]), [well])
    with pytest.raises(AnalysisError, match="does not grow with time"):
        fit_straight_line(PumpingRates([0.0], [100.0]), [well])
    with pytest.raises(AnalysisError, match="two times"):
        fit_straight_line(PumpingRates([0.0], [100.0]), [WellDrawdown("P", 10.0, [0.1, 0.1], [0.3, 0.2])])


def test_recovery_after_several_rates():
    rates = PumpingRates([0.0, 0.2, 0.5], [300.0, 600.0, 0.0])
    days = 0.5 + np.geomspace(0.02, 2.0, 25)
    well = drawn("theis", rates, 5.0, np.concatenate([[0.4999], days]))
    fit = fit_recovery(rates, [well])
    assert fit.n == 25
    assert fit.value("transmissivity") == pytest.approx(300.0, rel=1e-3)
    assert fit.value("storativity_ratio") == pytest.approx(1.0, abs=0.01)
    equivalent = fit_recovery_equivalent(rates, [well])
    assert equivalent.value("transmissivity") == pytest.approx(300.0, rel=0.01)
    assert equivalent.value("storativity") == pytest.approx(2e-4, rel=0.1)


def test_ratio_and_equivalent_time_of_one_rate():
    rates = PumpingRates([0.0, 2.0], [10.0, 0.0])
    np.testing.assert_allclose(recovery_ratio(rates, [1.0, 3.0, 4.0]), [np.nan, 3.0, 2.0])
    np.testing.assert_allclose(equivalent_days(rates, [1.0, 3.0, 4.0]), [np.nan, 2.0 / 3.0, 1.0])


def test_recovery_without_a_stop_or_without_readings_is_refused():
    well = WellDrawdown("P", 10.0, [0.1, 0.2], [0.1, 0.2])
    with pytest.raises(AnalysisError, match="no stop"):
        fit_recovery(PumpingRates([0.0], [10.0]), [well])
    with pytest.raises(AnalysisError, match="after the stop"):
        fit_recovery(PumpingRates([0.0, 1.0], [10.0, 0.0]), [well])
    with pytest.raises(AnalysisError, match="no reading before the stop"):
        fit_recovery_equivalent(PumpingRates([0.0, 0.05], [10.0, 0.0]), [well])


def test_distance_needs_two_wells_and_says_when_times_differ():
    rates = PumpingRates([0.0, 2.0], [500.0, 0.0])
    days = np.array([0.5, 1.0, 2.0, 2.5])
    wells = [drawn("theis", rates, r, days) for r in (5.0, 20.0, 60.0)]
    fit = fit_distance(rates, wells)
    assert fit.value("transmissivity") == pytest.approx(300.0, rel=5e-3)
    assert fit.value("storativity") == pytest.approx(2e-4, rel=0.05)
    assert "different times" in fit_distance(rates, [wells[0], wells[1].within(0.0, 1.0)]).note
    with pytest.raises(TooFewLevelsError, match="two wells"):
        fit_distance(rates, wells[:1])
    with pytest.raises(AnalysisError, match="does not fall with distance"):
        fit_distance(rates, [WellDrawdown("A", 5.0, [1.0], [0.1]), WellDrawdown("B", 9.0, [1.0], [0.2])])


def steps(exponent=2.0, noise=0.0):
    rates = PumpingRates([0.0, 0.1, 0.2, 0.3], [200.0, 400.0, 600.0, 800.0])
    days = np.concatenate([start + np.geomspace(2e-3, 0.1, 12) for start in rates.start_days])
    aquifer = drawn("theis", rates, 0.15, days).drawdown_m
    loss = 4.0 * (rates.rate_at(days - 1e-9) / 800.0) ** exponent
    errors = np.random.default_rng(3).normal(0.0, noise, days.size)
    return rates, WellDrawdown("PW", 0.15, days, aquifer + loss + errors)


def test_steps_say_what_the_well_loses():
    rates, pumped = steps(2.6, 0.003)
    ends = step_ends(rates, pumped)
    np.testing.assert_array_equal(ends.rate_m3_d, [200.0, 400.0, 600.0, 800.0])
    np.testing.assert_allclose(ends.hours, 2.4, rtol=1e-6)
    fit = fit_steps_theis(rates, [pumped])
    assert fit.value("well_loss_at_greatest_rate") == pytest.approx(4.0, rel=0.02)
    exponent = fit.parameter("exponent")
    assert exponent.lower < 2.6 < exponent.upper < 3.0
    assert "better supported than the model with the exponent 2" in fit.note
    assert fit.value("well_loss") == pytest.approx(4.0 / 800.0**2.6, rel=0.5)
    free = fit_steps_exponent(rates, [pumped])
    assert free.value("exponent") == pytest.approx(2.6, rel=0.2)


def test_steps_with_the_exponent_two_need_no_other():
    rates, pumped = steps(2.0, 0.003)
    assert "An exponent of 2 (Jacob) agrees with the data" in fit_steps_theis(rates, [pumped]).note
    jacob = fit_steps(rates, [pumped])
    assert jacob.value("well_loss") == pytest.approx(4.0 / 800.0**2, rel=0.1)
    assert jacob.parameter("well_loss").identifiable
    assert 0.0 < jacob.value("efficiency") < 1.0


def test_three_steps_do_not_determine_the_exponent():
    rates, pumped = steps(2.0)
    part = pumped.within(0.0, 0.3)
    fit = fit_steps_exponent(rates, [part])
    assert fit.degrees == 0
    assert not any(fit.parameter(name).identifiable for name in ("linear_loss", "exponent"))
    assert "do not determine" in fit.note
    with pytest.raises(TooFewLevelsError, match="3 steps"):
        fit_steps_exponent(rates, [pumped.within(0.0, 0.2)])
    with pytest.raises(AnalysisError, match="pumped well alone"):
        fit_steps(rates, [pumped, pumped])


def test_slug_tests_of_a_planted_aquifer():
    days = np.geomspace(1e-5, 0.02, 40)
    geometry = PumpingGeometry(
        well_radius_m=0.1, casing_radius_m=0.05, screen_top_m=0.0, screen_bottom_m=5.0, submerged_m=6.0,
        thickness_m=20.0, initial_m=0.8,
    )  # fmt: skip
    heads = -0.8 * slug_recovery(6.0 * days / 0.05**2, 1e-5 * 4.0)
    well = WellDrawdown("P", 0.1, days, heads)
    fit = fit_slug([well], geometry)
    assert fit.value("transmissivity") == pytest.approx(6.0, rel=1e-3)
    assert fit.value("hydraulic_conductivity") == pytest.approx(1.2, rel=1e-3)
    for method in (fit_hvorslev, fit_bouwer_rice):
        line = method([well], geometry)
        assert 0.4 < line.value("hydraulic_conductivity") < 2.0
        with pytest.raises(TooFewLevelsError, match="normalised heads"):
            method([well], geometry, heads=(0.5, 0.5001))
    with pytest.raises(AnalysisError, match="casing"):
        fit_slug([well], PumpingGeometry(well_radius_m=0.1))
    with pytest.raises(AnalysisError, match="length of the open interval"):
        fit_hvorslev([well], PumpingGeometry(well_radius_m=0.1, casing_radius_m=0.1))


def test_the_derivative_is_exact_for_a_parabola_and_averages_one_time():
    days = np.array([4.0, 1.0, 2.0, 9.0, 2.0, 20.0])
    logarithm = np.log(days)
    times, slope = bourdet_derivative(days, 3.0 + 2.0 * logarithm + 0.5 * logarithm**2 + [0, 0, 0.1, 0, -0.1, 0])
    np.testing.assert_array_equal(times, [1.0, 2.0, 4.0, 9.0, 20.0])
    np.testing.assert_allclose(slope[1:-1], 2.0 + np.log(times[1:-1]))
    with pytest.raises(ShapeError):
        bourdet_derivative([1.0], [1.0, 2.0])


def test_limits_of_a_straight_line_are_those_of_student():
    x = np.linspace(0.0, 1.0, 12)
    y = 1.0 + 2.0 * x + np.random.default_rng(1).normal(0.0, 0.2, 12)

    def slopes(theta):
        return theta[0] + theta[1] * x, np.column_stack([np.ones(12), x])

    problem = Problem(y, np.ones(12), lambda t: slopes(t)[0], np.full(2, -50.0), np.full(2, 50.0), slopes)
    found = solve(problem, [np.array([0.0, 0.0])])
    design = np.column_stack([np.ones(12), x])
    best, sum_squares, *_ = np.linalg.lstsq(design, y)
    half = special.stdtrit(10, 0.975) * np.sqrt(np.diag(np.linalg.inv(design.T @ design)) * sum_squares[0] / 10)
    np.testing.assert_allclose(found.theta, best, rtol=1e-6)
    np.testing.assert_allclose(found.upper - found.theta, half, rtol=2e-3)
    np.testing.assert_allclose(found.theta - found.lower, half, rtol=2e-3)
    assert found.aicc == pytest.approx(12 * np.log(sum_squares[0] / 12) + 6 + 24 / 8)
    assert np.isnan(aicc(1.0, 4, 2))


def test_one_parameter_has_the_limits_of_a_mean():
    """A constant fitted to readings is their mean, with Student's limits as scipy has them."""
    y = np.random.default_rng(2).normal(3.0, 0.5, 9)
    problem = Problem(y, np.ones(9), lambda theta: np.full(9, theta[0]), np.full(1, -50.0), np.full(1, 50.0))
    found = solve(problem, [np.zeros(1)])
    low, high = stats.t.interval(0.95, 8, loc=y.mean(), scale=stats.sem(y))
    np.testing.assert_allclose(found.theta, [y.mean()], rtol=1e-6)
    np.testing.assert_allclose([found.lower[0], found.upper[0]], [low, high], rtol=1e-3)


def test_far_wells_at_the_first_moment_have_no_drawdown_rather_than_no_number():
    far = wellbore_storage([1e-24, 1e-12, 1e6], 1e-3, 2000.0)
    assert np.isfinite(far).all()
    assert far[0] == far[1] == 0.0 < far[2]
    z = np.array([3e9 + 1e9j, 2.0 + 0.5j])
    np.testing.assert_allclose(scaled_bessel_k(0, z)[1], special.kve(0, z[1]))
    np.testing.assert_allclose(scaled_bessel_k(0, z)[0] ** 2 * z[0], np.pi / 2)


def test_a_step_test_without_drawdown_is_refused_and_an_exponent_stays_within_its_ends():
    rates, pumped = steps(2.0)
    with pytest.raises(AnalysisError, match="no drawdown above 0"):
        fit_steps_theis(rates, [WellDrawdown("PW", 0.15, pumped.days, -pumped.drawdown_m)])
    fit = fit_steps_exponent(rates, [WellDrawdown("PW", 0.15, pumped.days, np.sqrt(pumped.drawdown_m))])
    exponent = fit.parameter("exponent")
    assert 1.0 < exponent.value < 12.1
    assert not exponent.identifiable
    assert fit.greatest_rate_m3_d == 800.0


def test_the_line_of_a_slug_test_is_its_formula():
    """K = rc² ln(Le/rw) / (2 Le T0): Hvorslev (1951), Waterways Experiment Station Bulletin 36 (from memory)."""
    geometry = PumpingGeometry(
        well_radius_m=0.1, casing_radius_m=0.05, screen_top_m=0.0, screen_bottom_m=5.0, initial_m=0.8
    )
    days = np.linspace(0.0, 0.01, 60)
    line = fit_hvorslev([WellDrawdown("P", 0.1, days, -0.8 * np.exp(-days / 0.004))], geometry)
    expected = 0.05**2 * math.log(5.0 / 0.1) / (2.0 * 5.0 * 0.004)
    assert line.value("hydraulic_conductivity") == pytest.approx(expected, rel=1e-6)
