"""Drawdowns and rates that follow from an analysis, with limits from the covariance of its parameters."""

import math

import numpy as np
import pytest
from scipy import special, stats

from gwnet.errors import AnalysisError
from gwnet.hydro.pumping.production import (
    PRODUCTION_SENTENCE,
    available_drawdown,
    predict_drawdown,
    rate_for_drawdown,
)
from gwnet.hydro.pumping.results import Parameter, PumpingFit, PumpingGeometry

#: Covariance of the logarithms of four parameters.
SPREAD = np.array([0.02, 0.3, 0.08, 0.05])
RELATED = np.array([[1.0, -0.6, 0.2, 0.1], [-0.6, 1.0, -0.3, 0.2], [0.2, -0.3, 1.0, -0.5], [0.1, 0.2, -0.5, 1.0]])
COVARIANCE = RELATED * np.outer(SPREAD, SPREAD)
PLAIN = "Loss in the well is not part of it; use a step test for the pumped well. "


def made(model, parameters, *, degrees=7, distances=(0.2,), days=(10.0, 20.0, 30.0), covariance=COVARIANCE, **more):
    """Return an analysis with given parameters."""
    k = len(parameters)
    found = tuple(Parameter(name, value, "") for name, value in parameters.items())
    empty = np.empty(0)
    return PumpingFit(
        model, (*found, Parameter("efficiency", 0.7, "")), ("PW",) * len(distances), distances, len(days), 0.0,
        np.array(days), *[empty] * 3, np.zeros(0, dtype=int), empty, covariance[:k, :k], degrees, math.nan, **more,
    )  # fmt: skip


LOSS = {"linear_loss": 3e-3, "well_loss_at_greatest_rate": 1.5, "exponent": 2.4}
AQUIFER = {"transmissivity": 90.0, "storativity": 3e-3}


def theis(rate, days, distance, transmissivity=90.0, storativity=3e-3):
    """Return Theis's drawdown (1935) and its derivatives by the logarithms of T and S."""
    u = distance**2 * storativity / (4.0 * transmissivity * days)
    scale = rate / (4.0 * math.pi * transmissivity)
    fall, decay = scale * float(special.exp1(u)), scale * math.exp(-u)
    return fall, np.array([decay - fall, -decay])


def by_exponent(rate, days=None):
    linear, lost = 3e-3 * rate, 1.5 * (rate / 800.0) ** 2.4
    return linear + lost, np.array([linear, lost, lost * 2.4 * math.log(rate / 800.0)])


def by_theis_and_loss(rate, days):
    fall, slopes = theis(rate, days, 0.2)
    lost, by_log = by_exponent(rate)[0] - 3e-3 * rate, by_exponent(rate)[1]
    return fall + lost, np.concatenate([slopes, by_log[1:]])


def by_jacob(rate, days=None):
    powers = np.array([rate, rate**2])
    return float(powers @ [3e-3, 2e-6]), powers


JACOB = np.array([[4e-9, -5e-12], [-5e-12, 1e-14]])
CASES = {
    "step": (made("step", {"linear_loss": 3e-3, "well_loss": 2e-6}, covariance=JACOB), by_jacob, 11.0, ""),
    "step-rorabaugh": (made("step-rorabaugh", LOSS, greatest_rate_m3_d=800.0), by_exponent, 10.0, ""),
    "step-theis": (
        made("step-theis", AQUIFER | dict(list(LOSS.items())[1:]), greatest_rate_m3_d=800.0), by_theis_and_loss, 25.0, "",
    ),
    "theis": (made("theis", AQUIFER, distances=(60.0, 9.0, 20.0)), lambda q, d: theis(q, d, 9.0), 25.0, PLAIN),
    "one": (made("theis", AQUIFER, distances=(9.0,), degrees=1), lambda q, d: theis(q, d, 9.0), 0.5, PLAIN),
    "few": (made("theis", AQUIFER, distances=(9.0,), degrees=0), lambda q, d: theis(q, d, 9.0), 25.0, PLAIN),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("rate", [0.3, 500.0])
def test_drawdown_and_its_limits(case, rate):
    """Linear in the logarithms of the parameters, Student's quantile, or the normal one without degrees of freedom."""
    fit, drawdown, days, note = CASES[case]
    value, slopes = drawdown(rate, days)
    spread = math.sqrt(slopes @ fit.covariance @ slopes) / value
    quantile = stats.t.ppf(0.975, fit.degrees) if fit.degrees else stats.norm.ppf(0.975)
    found = predict_drawdown(fit, rate, days)
    assert found.value == pytest.approx(value, rel=1e-9)
    assert math.log(found.upper / value) == pytest.approx(quantile * spread, rel=1e-3)
    assert math.log(value / found.lower) == pytest.approx(quantile * spread, rel=1e-3)
    assert (found.unit, found.note) == ("m", note + PRODUCTION_SENTENCE)
    back = rate_for_drawdown(fit, value, days)
    assert back.value == pytest.approx(rate, rel=1e-8)
    # at its lower limit the upper limit of the drawdown is the given one, and the other way round
    assert predict_drawdown(fit, back.lower, days).upper == pytest.approx(value, rel=1e-8)
    assert predict_drawdown(fit, back.upper, days).lower == pytest.approx(value, rel=1e-8)
    assert (back.unit, back.note) == ("m3/d", found.note)


def test_a_distance_may_be_given_and_the_geometry_is_that_of_the_fit():
    fit = made("theis", AQUIFER, distances=(60.0, 9.0))
    assert predict_drawdown(fit, 500.0, 25.0, distance_m=33.0).value == pytest.approx(theis(500.0, 25.0, 33.0)[0])
    walled = made("theis", AQUIFER | {"image_distance": 70.0}, distances=(60.0,), geometry=PumpingGeometry(boundary="barrier"))  # fmt: skip
    both = theis(500.0, 25.0, 60.0)[0] + theis(500.0, 25.0, 70.0)[0]
    assert predict_drawdown(walled, 500.0, 25.0).value == pytest.approx(both, rel=1e-9)


def test_growth_after_the_steps_is_that_of_another_tests_transmissivity():
    """Over the logarithm of time, Q ln(t/t_step)/(4πT); both errors add by squares."""
    growth = made("theis", AQUIFER, covariance=COVARIANCE * 9.0)
    for case in ("step", "step-rorabaugh"):
        fit, drawdown, _, _ = CASES[case]
        value, slopes = drawdown(500.0)
        added = 500.0 * math.log(40.0 / 10.0) / (4.0 * math.pi * 90.0)
        spread = math.hypot(math.sqrt(slopes @ fit.covariance @ slopes), added * 0.06) / (value + added)
        found = predict_drawdown(fit, 500.0, 40.0, growth=growth)
        assert found.value == pytest.approx(value + added, rel=1e-9)
        assert math.log(found.upper / found.value) == pytest.approx(stats.t.ppf(0.975, 7) * spread, rel=1e-3)
        assert rate_for_drawdown(fit, found.value, 40.0, growth=growth).value == pytest.approx(500.0, rel=1e-8)
        # a tenth longer than the steps, 10 d, is no longer time (project default)
        assert predict_drawdown(fit, 500.0, 11.0).value == pytest.approx(value, rel=1e-9)
        with pytest.raises(AnalysisError, match=r"steps lasted 240 h; they do not tell the drawdown after 11\.01 d"):
            predict_drawdown(fit, 500.0, 11.01)
    single = made("step", {"linear_loss": 3e-3, "well_loss": 2e-6}, covariance=JACOB, days=(10.0,), degrees=1)
    assert predict_drawdown(single, 1.0, 11.0).upper < math.inf
    uneven = made("step", {"linear_loss": 3e-3, "well_loss": 2e-6}, covariance=JACOB, days=(5.0, 15.0, 40.0))
    assert predict_drawdown(uneven, 1.0, 11.0).value == pytest.approx(3e-3 + 2e-6)


@pytest.mark.parametrize(
    ("case", "rate", "days", "said"),
    [
        ("step-theis", 840.0, 300.0, ""),
        ("step-theis", 840.1, 300.0, "The rate exceeds the greatest of the test, 800 m³/d. "),
        ("step-rorabaugh", 841.0, 10.0, "The rate exceeds the greatest of the test, 800 m³/d. "),
        ("theis", 8400.0, 300.0, PLAIN),
        (
            "step-theis", 800.0, 300.1,
            "300 d is 10 times as long as the test: a boundary or leakage that it did not reach would change the "
            "drawdown. ",
        ),
    ],
)  # fmt: skip
def test_what_is_said_of_a_prediction(case, rate, days, said):
    """Ten times the length of the test, and a twentieth above its greatest rate (project defaults)."""
    assert predict_drawdown(CASES[case][0], rate, days).note == said + PRODUCTION_SENTENCE


def test_an_analysis_without_limits_has_a_value_alone():
    two = made("step", {"linear_loss": 3e-3, "well_loss": 2e-6}, covariance=JACOB, degrees=0)
    found = predict_drawdown(two, 500.0, 10.0)
    assert (found.value, found.lower, found.upper) == (pytest.approx(2.0), 0.0, math.inf)
    back = rate_for_drawdown(two, 2.0, 10.0)
    assert (back.value, back.lower, back.upper) == (pytest.approx(500.0), 0.0, math.inf)
    open_end = made("theis", AQUIFER, covariance=np.full((4, 4), math.inf))
    found = predict_drawdown(open_end, 500.0, 25.0)
    assert (found.value, found.lower, found.upper) == (pytest.approx(theis(500.0, 25.0, 0.2)[0]), 0.0, math.inf)


def test_rates_are_looked_for_within_what_pumps_do():
    """From 1e-6 to 1e9 m³/d; beyond them the limit is 0 or infinite."""
    fit = CASES["theis"][0]
    per_rate = theis(1.0, 25.0, 9.0)[0]
    assert rate_for_drawdown(fit, per_rate * 0.5e-6, 25.0).value == 0.0
    assert rate_for_drawdown(fit, per_rate * 5e8, 25.0).value == pytest.approx(5e8, rel=1e-8)
    assert rate_for_drawdown(fit, per_rate * 1e-5, 25.0).value == pytest.approx(1e-5, rel=1e-8)
    assert rate_for_drawdown(fit, per_rate * 1e10, 25.0).value == math.inf


@pytest.mark.parametrize(("first", "days"), [(0.0, 1.0), (1.0, 0.0), (-1.0, 1.0), (1.0, -1.0)])
def test_numbers_that_are_not_above_0(first, days):
    for function in (predict_drawdown, rate_for_drawdown):
        with pytest.raises(AnalysisError, match=f"is {first:g} m.* and the time {days:g} d; expected numbers above 0"):
            function(CASES["theis"][0], first, days)


def test_coefficients_below_0_do_not_give_a_drawdown_below_0():
    odd = made("step", {"linear_loss": -0.2, "well_loss": 1e-3}, covariance=JACOB * 0.0)
    assert 0.0 < predict_drawdown(odd, 100.0, 10.0).value < 1e-200
    assert rate_for_drawdown(odd, 80.0, 10.0).value == pytest.approx(400.0, rel=1e-8)
    with pytest.raises(AnalysisError, match="analysis recovery does not say how") as told:
        predict_drawdown(made("recovery", AQUIFER), 1.0, 1.0)
    assert "Use one of step, step-rorabaugh, step-theis, theis, leaky, storage," in str(told.value)


def test_available_drawdowns_count_only_limits_that_are_known():
    found = available_drawdown(5.0, {"pump": 9.5, "screen": math.nan, "limit": 7.25, "other": None, "none": math.inf})
    assert (found.limit, found.depth_m, found.drawdown_m) == ("limit", 7.25, 2.25)
    assert found.others == (("pump", 4.5),)
    with pytest.raises(AnalysisError, match="The pump at 5 m is not below the static level at 5 m"):
        available_drawdown(5.0, {"pump": 5.0})
    with pytest.raises(AnalysisError, match="No limit"):
        available_drawdown(5.0, {"pump": None})
