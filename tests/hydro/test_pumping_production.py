"""Drawdown from depths, and the production of a well."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import special

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.pumping.drawdown import days_since_change, drawdown_from_depths, thickness_corrected
from gwnet.hydro.pumping.fits import fit_model
from gwnet.hydro.pumping.models import model_drawdown
from gwnet.hydro.pumping.production import (
    PRODUCTION_SENTENCE,
    available_drawdown,
    predict_drawdown,
    rate_for_drawdown,
)
from gwnet.hydro.pumping.results import PumpingGeometry, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.steps import fit_steps, fit_steps_exponent, fit_steps_theis
from gwnet.hydro.pumping.straight_lines import fit_recovery
from gwnet.hydro.pumping.well_functions import theis

BEFORE = np.array([-3.0, -2.0, -1.0, 0.0])


def test_the_mean_before_the_test_is_the_level_that_drawdown_counts_from():
    found = drawdown_from_depths([*BEFORE, 0.5, 1.0], [4.00, 4.02, 3.98, 4.00, 5.0, 6.5], 0.01)
    np.testing.assert_allclose(found.drawdown_m[4:], [1.0, 2.5])
    scatter = 3.182446 * np.std([4.00, 4.02, 3.98, 4.00], ddof=1) / 2
    np.testing.assert_allclose(found.static_half_width_m, scatter, rtol=1e-6)
    np.testing.assert_allclose(found.half_width_m, np.hypot(0.01, scatter), rtol=1e-6)
    assert (found.n_before, found.slope_m_d, found.note) == (4, 0.0, "")
    windowed = drawdown_from_depths([*BEFORE, 1.0], [9.0, 9.0, 4.0, 4.0, 5.0], window_days=(-1.5, 0.0))
    assert windowed.drawdown_m[-1] == 1.0
    assert "single reading" in drawdown_from_depths([-1.0, 1.0], [4.0, 5.0]).note


def test_a_line_before_the_test_goes_on_during_it_with_limits_that_widen():
    depth = 4.0 + 0.1 * BEFORE + [0.001, -0.001, -0.001, 0.001]
    found = drawdown_from_depths([*BEFORE, 1.0, 9.0], [*depth, 6.1, 6.9], background="line")
    np.testing.assert_allclose(found.drawdown_m[4:], [2.0, 2.0], atol=0.01)
    assert found.slope_m_d == pytest.approx(0.1, abs=1e-9)
    assert 0.0 < found.slope_half_width_m_d < 0.01
    assert found.static_half_width_m[-1] > found.static_half_width_m[-2] > 0.0
    assert "more than the time it was read over" in found.note
    flat = drawdown_from_depths([*BEFORE, 1.0], [4.0, 4.1, 4.0, 4.1, 5.0], background="line")
    assert "not significant" in flat.note
    assert "two readings" in drawdown_from_depths([-1.0, 0.0, 1.0], [4.0, 4.1, 5.0], background="line").note


def test_the_correction_for_thickness_narrows_the_uncertainty_too():
    found = drawdown_from_depths([0.0, 1.0], [4.0, 9.0], 0.1, thickness_m=10.0)
    assert found.drawdown_m[1] == pytest.approx(5.0 - 25.0 / 20.0)
    plain = drawdown_from_depths([0.0, 1.0], [4.0, 9.0], 0.1)
    assert found.half_width_m[1] == pytest.approx(plain.half_width_m[1] * 0.5)
    with pytest.raises(AnalysisError, match="exceeds the saturated thickness"):
        thickness_corrected([12.0], 10.0)
    with pytest.raises(AnalysisError, match="above 0"):
        thickness_corrected([1.0], 0.0)


@pytest.mark.parametrize(
    ("arguments", "options", "error", "said"),
    [
        (([1.0], [4.0]), {}, AnalysisError, "static level is not known"),
        (([0.0, 1.0], [4.0]), {}, ShapeError, "expected"),
        (([0.0, 1.0], [4.0, 5.0]), {"background": "line"}, AnalysisError, "two times; there are 1"),
        (([0.0, 1.0], [4.0, 5.0]), {"background": "curve"}, AnalysisError, "expected mean or line"),
        (([0.0, 1.0], [4.0, 5.0]), {"window_days": (-1.0, 2.0)}, AnalysisError, "after the start of pumping"),
    ],
)
def test_levels_that_give_no_drawdown(arguments, options, error, said):
    with pytest.raises(error, match=said):
        drawdown_from_depths(*arguments, **options)


def test_time_since_the_last_change_of_rate():
    rates = PumpingRates([0.0, 1.0, 3.0], [10.0, 20.0, 0.0])
    np.testing.assert_allclose(days_since_change(rates, [-1.0, 0.0, 0.5, 1.0, 5.0]), [np.nan, 0.0, 0.5, 0.0, 2.0])


def test_the_nearest_limit_is_the_available_drawdown():
    found = available_drawdown(5.0, {"pump intake": 40.0, "screen top": 30.0, "limit given": 35.0})
    assert (found.limit, found.drawdown_m) == ("screen top", 25.0)
    assert found.others == (("limit given", 30.0), ("pump intake", 35.0))
    with pytest.raises(AnalysisError, match="not below the static level"):
        available_drawdown(5.0, {"screen top": 4.0})
    with pytest.raises(AnalysisError, match="No limit"):
        available_drawdown(5.0, {})


def pumped(noise=0.01, steps=True):
    """Return rates and readings of a pumped well with planted aquifer and well loss."""
    rates = PumpingRates(*(([0.0, 0.1, 0.2, 0.3], [200.0, 400.0, 600.0, 800.0]) if steps else ([0.0], [500.0])))
    days = np.concatenate([start + np.geomspace(2e-3, 0.1, 12) for start in rates.start_days])
    planted = {"transmissivity": 120.0, "storativity": 1e-3}
    exact = model_drawdown("theis", planted, rates, WellDrawdown("", 0.15, days, 0 * days), PumpingGeometry())
    loss = 2.0 * (rates.rate_at(days - 1e-9) / 800.0) ** 2 if steps else 0.0
    return rates, WellDrawdown("PW", 0.15, days, exact + loss + np.random.default_rng(7).normal(0.0, noise, days.size))


def truth(rate, days):
    return rate / (4 * np.pi * 120.0) * float(theis(0.15**2 * 1e-3 / (4 * 120.0 * days))) + 2.0 * (rate / 800.0) ** 2


def test_production_from_steps_holds_the_truth_and_goes_both_ways():
    rates, well = pumped()
    fit = fit_steps_theis(rates, [well])
    found = predict_drawdown(fit, 700.0, 100.0)
    assert found.lower < truth(700.0, 100.0) < found.upper
    assert found.upper - found.lower < 1.0
    assert "times as long as the test" in found.note
    assert found.note.endswith(PRODUCTION_SENTENCE)
    back = rate_for_drawdown(fit, found.value, 100.0)
    assert back.value == pytest.approx(700.0, rel=1e-6)
    assert back.lower < 700.0 < back.upper
    assert predict_drawdown(fit, back.lower, 100.0).upper == pytest.approx(found.value, rel=1e-4)
    assert "exceeds the greatest of the test, 800" in predict_drawdown(fit, 1200.0, 0.3).note


def test_ends_of_steps_need_a_transmissivity_for_longer_times():
    rates, well = pumped(0.002)
    growth = fit_model("theis", *(lambda r, w: (r, [w]))(*pumped(0.002, steps=False)))
    for method in (fit_steps, fit_steps_exponent):
        fit = method(rates, [well])
        short = predict_drawdown(fit, 600.0, 0.1)
        assert short.value == pytest.approx(truth(600.0, 0.1), rel=0.05)
        with pytest.raises(AnalysisError, match=r"steps lasted 2\.4 h"):
            predict_drawdown(fit, 600.0, 100.0)
        assert predict_drawdown(fit, 600.0, 100.0, growth=growth).value == pytest.approx(truth(600.0, 100.0), rel=0.05)


def test_production_from_a_model_and_what_cannot_be_worked_out():
    rates, well = pumped(0.002, steps=False)
    fit = fit_model("theis", rates, [well])
    found = predict_drawdown(fit, 500.0, 10.0)
    expected = 500.0 / (4 * np.pi * 120.0) * float(theis(0.15**2 * 1e-3 / (4 * 120.0 * 10.0)))
    assert found.lower < expected < found.upper
    assert "Loss in the well is not part of it" in found.note
    assert predict_drawdown(fit, 500.0, 10.0, distance_m=50.0).value < found.value
    with pytest.raises(AnalysisError, match="above 0"):
        predict_drawdown(fit, 0.0, 10.0)
    with pytest.raises(AnalysisError, match="above 0"):
        rate_for_drawdown(fit, -1.0, 10.0)
    stopped = PumpingRates([0.0, 0.05], [500.0, 0.0])
    recovery = fit_recovery(stopped, [WellDrawdown("PW", 0.15, [0.06, 0.08, 0.1], [0.3, 0.2, 0.15])])
    with pytest.raises(AnalysisError, match="recovery does not say"):
        predict_drawdown(recovery, 500.0, 10.0)


def test_limits_of_production_from_coefficients_are_those_of_the_sum():
    """Half-width of B Q + C Q² from the covariance of both, on the logarithm, by Student's t."""
    rates, well = pumped()
    fit = fit_steps(rates, [well])
    powers = np.array([700.0, 700.0**2])
    value = powers @ [fit.value("linear_loss"), fit.value("well_loss")]
    spread = math.sqrt(powers @ fit.covariance @ powers) / value
    found = predict_drawdown(fit, 700.0, 0.1)
    factor = math.exp(special.stdtrit(fit.degrees, 0.975) * spread)
    assert (found.lower, found.upper) == pytest.approx((value / factor, value * factor), rel=1e-9)


def test_without_a_covariance_the_rate_has_no_limits():
    rates, well = pumped(0.002, steps=False)
    fit = fit_model("theis", rates, [well])
    found = rate_for_drawdown(replace(fit, covariance=np.full_like(fit.covariance, math.inf)), 1.0, 10.0)
    assert (found.lower, found.upper) == (0.0, math.inf)
    assert 0.0 < found.value < math.inf
