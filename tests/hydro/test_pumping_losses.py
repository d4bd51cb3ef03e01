"""Step tests: coefficients of loss against regression, and planted losses that come back."""

import math

import numpy as np
import pytest
from scipy import optimize, special, stats

from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.pumping import PumpingGeometry, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.steps import fit_steps, fit_steps_exponent, fit_steps_theis, step_ends, well_efficiency

NANOSECOND = 1e-9
RATES = PumpingRates([0.5, 1.0, 1.5, 2.0, 2.5], [0.0, 300.0, 500.0, 0.0, 900.0])
#: Readings out of order; the last of the second step one rounding late, and one of no drawdown.
WELL = WellDrawdown(
    "PW", 0.1, [1.5, 1.2, 0.9, 2.0 + 0.5 * NANOSECOND, 1.7, 2.2, 2.9, 2.7], [2.0, 1.0, 0.5, 4.0, 3.0, 1.5, 9.0, 8.0],
    [0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08],
)  # fmt: skip


def test_the_ends_of_steps_are_their_last_readings():
    ends = step_ends(RATES, WELL)
    np.testing.assert_array_equal(ends.rate_m3_d, [300.0, 500.0, 900.0])
    np.testing.assert_allclose(ends.days, [1.5, 2.0, 2.9], rtol=1e-9)
    np.testing.assert_allclose(ends.hours, [12.0, 12.0, 9.6], rtol=1e-7)
    np.testing.assert_array_equal(ends.drawdown_m, [2.0, 4.0, 9.0])
    np.testing.assert_array_equal(ends.half_width_m, [0.01, 0.04, 0.07])
    np.testing.assert_allclose(ends.specific_capacity_m2_d, [150.0, 125.0, 100.0])
    late = WellDrawdown("PW", 0.1, [1.0 + 0.5 * NANOSECOND, 1.5 + 3 * NANOSECOND, 2.9], [1.0, 3.0, 0.0])
    np.testing.assert_array_equal(step_ends(RATES, late).rate_m3_d, [500.0])
    assert step_ends(RATES, late).half_width_m is None
    with pytest.raises(TooFewLevelsError, match="No step has a reading of PW"):
        step_ends(RATES, WellDrawdown("PW", 0.1, [0.8, 1.2, 2.2], [1.0, 0.0, 1.0]))


def test_the_efficiency_is_the_linear_share():
    assert well_efficiency(0.004, 2e-7, 2.3, 700.0) == pytest.approx(2.8 / (2.8 + 2e-7 * 700.0**2.3), rel=1e-12)


def ends_well(days, falls, *, starts=(0.0, 10.0, 20.0, 30.0), values=(200.0, 350.0, 600.0, 750.0), width=None):
    return PumpingRates(starts, values), WellDrawdown("PW", 0.1, days, falls, width)


def test_jacobs_coefficients_are_a_regression_of_the_specific_drawdown():
    """s/Q = B + C Q: Jacob (1947), with SciPy's regression and Student's limits."""
    q, falls = np.array([200.0, 350.0, 600.0, 750.0]), np.array([0.9, 1.9, 4.3, 6.2])
    rates, well = ends_well([10.0, 20.0, 30.0, 40.0], falls)
    fit = fit_steps(rates, [well], PumpingGeometry(thickness_m=9.0))
    line = stats.linregress(q, falls / q)
    t = stats.t.ppf(0.975, 2)
    for name, value, half, unit in (
        ("linear_loss", line.intercept, t * line.intercept_stderr, "d/m2"),
        ("well_loss", line.slope, t * line.stderr, "d2/m5"),
    ):
        found = fit.parameter(name)
        assert (found.value, found.lower, found.upper) == pytest.approx((value, value - half, value + half), rel=1e-8)
        assert (found.unit, found.identifiable) == (unit, value > half)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), [line.intercept_stderr, line.stderr], rtol=1e-8)
    correlation = -q.mean() / math.sqrt((q**2).mean())  # of intercept and slope
    np.testing.assert_allclose(fit.correlation, [[1.0, correlation], [correlation, 1.0]], rtol=1e-8)
    fitted = line.intercept * q + line.slope * q**2
    np.testing.assert_allclose(fit.fitted_m, fitted, rtol=1e-9)
    np.testing.assert_allclose(fit.residuals, falls - fitted, rtol=1e-7)
    squares = ((falls - fitted) ** 2).sum()
    assert fit.rmse_m == pytest.approx(math.sqrt(squares / 4), rel=1e-8)
    assert math.isnan(fit.aicc)  # four readings, and the variance as a third parameter
    assert fit.value("efficiency") == pytest.approx(line.intercept / (line.intercept + line.slope * 750.0), rel=1e-9)
    assert (fit.model, fit.wells, fit.distances_m, fit.n, fit.degrees) == ("step", ("PW",), (0.1,), 4, 2)
    assert (fit.well_index.tolist(), fit.geometry.thickness_m, fit.note) == ([0] * 4, 9.0, "")


def test_five_steps_have_a_criterion_of_akaike_and_a_loss_that_may_not_be_significant():
    q = np.array([200.0, 350.0, 600.0, 750.0, 900.0])
    falls = q * (4e-3 + 1e-7 * q + 2e-4 * np.array([1.0, -1.0, -1.0, 2.0, -1.0]))
    rates, well = ends_well(np.arange(1, 6) * 10.0, falls, starts=np.arange(5) * 10.0, values=q)
    fit = fit_steps(rates, [well])
    squares = float(fit.residuals @ fit.residuals)
    # n ln(SS/n) + 2K + 2K(K + 1)/(n − K − 1) with K = 3
    assert fit.aicc == pytest.approx(5 * math.log(squares / 5) + 6 + 24, rel=1e-9)
    loss = fit.parameter("well_loss")
    assert loss.lower < 0.0 < loss.upper
    assert (loss.identifiable, fit.parameter("linear_loss").identifiable) == (False, True)
    assert fit.note.startswith("The data do not determine the well loss")


def test_two_steps_have_no_limits_and_a_falling_specific_drawdown_no_loss():
    rates, well = ends_well([10.0, 20.0], [1.0, 1.5], starts=(0.0, 10.0), values=(200.0, 350.0))
    fit = fit_steps(rates, [well])
    assert fit.value("linear_loss") * 200.0 + fit.value("well_loss") * 200.0**2 == pytest.approx(1.0)
    assert fit.value("linear_loss") * 350.0 + fit.value("well_loss") * 350.0**2 == pytest.approx(1.5)
    for name in ("linear_loss", "well_loss"):
        found = fit.parameter(name)
        assert (found.lower, found.upper, found.identifiable) == (-math.inf, math.inf, False)
    design = np.array([[1.0, 200.0], [1.0, 350.0]])
    np.testing.assert_allclose(fit.covariance, np.linalg.inv(design.T @ design), rtol=1e-8)
    assert fit.note == (
        "The data do not determine the linear loss and the well loss. "
        "The specific drawdown does not grow with the rate: the steps show no well loss."
    )


@pytest.mark.parametrize(("last", "said"), [(19.0, ""), (18.99, "after 216 to 240 h"), (17.5, "after 180 to 240 h")])
def test_steps_compare_after_the_same_time(last, said):
    """Hours that differ by up to a tenth of the longest are alike (project default)."""
    rates, well = ends_well([10.0, last, 30.0, 40.0], [0.9, 1.9, 4.3, 6.2])
    for fit in (fit_steps(rates, [well]), fit_steps_exponent(rates, [well])):
        assert ("specific drawdowns compare only after the same time" in fit.note) is bool(said)
        assert said in fit.note


@pytest.mark.parametrize(
    ("fit", "count", "said"),
    [(fit_steps, 1, "needs 2 steps at different rates; readings are of 1"), (fit_steps_exponent, 2, "needs 3 steps")],
)
def test_too_few_steps_and_too_many_wells(fit, count, said):
    rates, well = ends_well([10.0, 20.0][:count], [1.0, 1.5][:count])
    with pytest.raises(TooFewLevelsError, match=said):
        fit(rates, [well])
    for wells, named in (([], "given are no wells"), ([well, WellDrawdown("O1", 9.0, [1.0], [1.0])], "PW, O1")):
        for each in (fit, fit_steps_theis):
            with pytest.raises(AnalysisError, match=named):
                each(rates, wells)


Q = np.array([200.0, 350.0, 600.0, 750.0, 900.0])
DAYS = np.arange(1, 6) * 10.0


def exponent_fit(falls, width=None):
    rates, well = ends_well(DAYS, falls, starts=DAYS - 10.0, values=Q, width=width)
    return fit_steps_exponent(rates, [well])


@pytest.mark.parametrize("exponent", [1.3, 2.0, 3.4, 9.0, 11.5])
def test_a_planted_exponent_comes_back_with_what_follows_from_it(exponent):
    """Rorabaugh (1953): s = BQ + CQⁿ."""
    fit = exponent_fit(3e-3 * Q + 2.5 * (Q / 900.0) ** exponent)
    names = ("linear_loss", "well_loss_at_greatest_rate", "exponent")
    assert [fit.value(name) for name in names] == pytest.approx([3e-3, 2.5, exponent], rel=1e-5)
    coefficient = 2.5 / 900.0**exponent
    assert fit.value("well_loss") == pytest.approx(coefficient, rel=1e-4)
    assert fit.value("efficiency") == pytest.approx(2.7 / (2.7 + 2.5), rel=1e-5)
    assert [parameter.unit for parameter in fit.parameters] == ["d/m2", "m", "", "d^n/m^(3n-1)", ""]
    assert (fit.greatest_rate_m3_d, fit.n, fit.degrees, fit.model) == (900.0, 5, 2, "step-rorabaugh")


@pytest.mark.parametrize(("exponent", "end"), [(0.8, 1.02), (12.4, 12.0), (14.0, 12.0)])
def test_an_exponent_is_looked_for_from_1_02_to_12(exponent, end):
    """A loss is linear at 1; 12 is beyond what is published (project default)."""
    sign = 1.0 if exponent > 1.0 else 0.3
    fit = exponent_fit(3e-3 * Q + sign * 2.5 * (Q / 900.0) ** exponent)
    found = fit.parameter("exponent")
    assert found.value == pytest.approx(end, rel=2e-3)
    assert not found.identifiable


def test_the_exponent_has_the_covariance_of_least_squares_with_weights():
    falls = 3e-3 * Q + 2.5 * (Q / 900.0) ** 2.6 + np.array([0.01, -0.02, 0.02, -0.01, 0.01])
    width = np.array([0.01, 0.03, 0.02, 0.02, 0.04])
    fit = exponent_fit(falls, width)
    linear, loss, exponent = (parameter.value for parameter in fit.parameters[:3])
    powers = (Q / 900.0) ** exponent
    design = np.column_stack([linear * Q, loss * powers, loss * powers * exponent * np.log(Q / 900.0)])
    weight = (1.0 / width) / math.sqrt(np.mean(1.0 / width**2))
    misfit = (linear * Q + loss * powers - falls) * weight
    # at the best fit no derivative is left
    np.testing.assert_allclose((design * weight[:, None]).T @ misfit, 0.0, atol=1e-6)
    normal = (design * weight[:, None]).T @ (design * weight[:, None])
    np.testing.assert_allclose(fit.covariance, np.linalg.inv(normal) * (misfit @ misfit) / 2.0, rtol=1e-3)


@pytest.mark.parametrize(
    ("exponent", "noise", "said"), [(2.0, 0.01, True), (2.2, 0.05, True), (3.0, 0.005, False), (1.4, 0.001, False)]
)
def test_jacobs_exponent_agrees_where_the_limits_hold_it(exponent, noise, said):
    errors = noise * np.array([1.0, -2.0, 2.0, -1.0, 0.5])
    fit = exponent_fit(3e-3 * Q + 2.5 * (Q / 900.0) ** exponent + errors)
    found = fit.parameter("exponent")
    assert (found.lower <= 2.0 <= found.upper) is said
    assert ("An exponent of 2 (Jacob) agrees with the data." in fit.note) is said


PLANTED = {"transmissivity": 120.0, "storativity": 2e-3, "well_loss_at_greatest_rate": 1.7, "exponent": 2.6}
STARTS, VALUES = np.array([0.0, 1.0, 1.2, 1.4, 1.6]), np.array([0.0, 300.0, 500.0, 800.0, 0.0])
TIMES = np.concatenate([s + np.array([0.2, 0.004, 0.02, 0.06]) for s in STARTS[1:4]] + [[1.61, 1.7]])


def theis_drawdown(days, radius_m=0.15):
    """Return Theis's drawdown (1935) of the steps in the well."""
    t, s = PLANTED["transmissivity"], PLANTED["storativity"]
    since = np.asarray(days)[:, None] - STARTS
    u = radius_m**2 * s / (4.0 * t * np.maximum(since, 1e-12))
    return np.where(since > 1e-9, special.exp1(u), 0.0) @ np.diff(VALUES, prepend=0.0) / (4.0 * np.pi * t)


def rate_before(days):
    """Return the rate that held up to a time."""
    return np.array([VALUES[day - 1e-9 > STARTS][-1] for day in days])


def lossy(days):
    share = rate_before(days) / 800.0
    return theis_drawdown(days) + PLANTED["well_loss_at_greatest_rate"] * share ** PLANTED["exponent"]


@pytest.fixture(scope="module")
def whole():
    days = np.concatenate([TIMES, [0.5, 1.0]])  # the last two before pumping began
    well = WellDrawdown("PW", 0.15, days, [*lossy(TIMES), 3.0, 3.0])
    return fit_steps_theis(PumpingRates(STARTS, VALUES), [well])


def test_aquifer_and_loss_of_all_readings_come_back(whole):
    for name, value in PLANTED.items():
        assert whole.value(name) == pytest.approx(value, rel=1e-6)
    np.testing.assert_allclose(whole.fitted_m, lossy(TIMES), rtol=1e-7)
    # linear loss of the aquifer at the end of the last step, 0.6 d after pumping began
    linear = special.exp1(0.15**2 * 2e-3 / (4 * 120.0 * 0.6)) / (4 * np.pi * 120.0)
    assert whole.value("linear_loss") == pytest.approx(linear, rel=1e-6)
    assert whole.value("well_loss") == pytest.approx(1.7 / 800.0**2.6, rel=1e-5)
    assert whole.value("efficiency") == pytest.approx(linear * 800.0 / (linear * 800.0 + 1.7), rel=1e-6)
    assert (whole.n, whole.degrees, whole.model, whole.greatest_rate_m3_d) == (14, 10, "step-theis", 800.0)
    assert "better supported than the model with the exponent 2 (AICc lower by" in whole.note
    assert whole.note.endswith("The storativity of a pumped well holds its skin and is no property of the aquifer.")


def test_without_a_stop_the_linear_loss_is_that_of_the_last_reading():
    rates = PumpingRates(STARTS[:4], VALUES[:4])
    days = TIMES[:-2][TIMES[:-2] < 1.55]
    fit = fit_steps_theis(rates, [WellDrawdown("PW", 0.15, days, lossy(days))], compare=False)
    linear = special.exp1(0.15**2 * 2e-3 / (4 * 120.0 * 0.46)) / (4 * np.pi * 120.0)
    assert fit.value("linear_loss") == pytest.approx(linear, rel=1e-6)
    assert "exponent 2," not in fit.note
    assert "with the exponent 2" not in fit.note


def test_the_water_of_the_casing_does_not_pass_the_screen():
    """Entered: Q − π rc² Δs/Δt between two readings, not below 0; readings that agree are at one time."""
    casing, fell = 0.3, [0.0]
    order = np.sort(TIMES)
    rates, aquifer = rate_before(order), theis_drawdown(order)
    length = np.diff(order, prepend=1.0)
    for i in range(order.size):

        def misses(s, i=i):
            entered = max(rates[i] - np.pi * casing**2 * (s - fell[-1]) / length[i], 0.0)
            return s - aquifer[i] - 1.7 * (entered / 800.0) ** 2.6

        fell.append(optimize.brentq(misses, 0.0, 50.0, xtol=1e-13))
    falls = np.array(fell[1:])
    assert np.abs(falls - lossy(order)).max() > 0.1
    mixed = np.random.default_rng(2).permutation(order.size)
    well = WellDrawdown("PW", 0.15, order[mixed], falls[mixed])
    geometry = PumpingGeometry(casing_radius_m=casing)
    fit = fit_steps_theis(PumpingRates(STARTS, VALUES), [well], geometry, compare=False)
    assert [fit.value(name) for name in PLANTED] == pytest.approx(list(PLANTED.values()), rel=1e-5)
    again = WellDrawdown("PW", 0.15, [*order, order[-1]], [*falls, aquifer[-1]])
    twice = fit_steps_theis(PumpingRates(STARTS, VALUES), [again], geometry, compare=False)
    assert [twice.value(name) for name in PLANTED] == pytest.approx(list(PLANTED.values()), rel=1e-5)
