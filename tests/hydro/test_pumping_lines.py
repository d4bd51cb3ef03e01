"""Straight lines over the logarithm of time or distance, against ordinary regression and its limits."""

import math

import numpy as np
import pytest
from scipy import stats

from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.pumping import PumpingGeometry, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.distance import fit_distance
from gwnet.hydro.pumping.straight_lines import (
    equivalent_days,
    fit_recovery,
    fit_recovery_equivalent,
    fit_straight_line,
    recovery_ratio,
)

#: 4 exp(−γ), and the u up to which the line is taken for Theis's curve: 2 % low there.
FACTOR, LARGEST_U = 4.0 * math.exp(-np.euler_gamma), 0.05
PI4 = 4.0 * math.pi


def regression(x, y):
    """Return slope and intercept with the half-width of the slope."""
    line = stats.linregress(x, y)
    return line.slope, line.intercept, stats.t.ppf(0.975, len(x) - 2) * line.stderr


def covariance(parts, residuals):
    """Return the covariance of least squares from the derivatives by the parameters."""
    design = np.column_stack(parts)
    return np.linalg.inv(design.T @ design) * (residuals @ residuals) / (len(residuals) - design.shape[1])


def jacobs_line(times, slope, meets_zero):
    return slope * np.log(np.asarray(times) / meets_zero)


ALTERNATING = np.array([1.0, -1.0, 0.5, 1.0, -2.0, 0.5, -1.0, 1.0])


def test_the_line_of_two_wells_is_the_regression_over_t_by_the_square_of_r():
    """Cooper and Jacob (1946): T = Q/(4π slope), S = 2.246 T t0/r²; pumping begins at day 2."""
    rates = PumpingRates([0.0, 2.0, 22.0], [0.0, 700.0, 0.0])
    near, far = np.array([4.0, 8.0, 20.0, 12.0]), np.array([6.0, 11.0, 15.0, 19.0])
    falls = [1.9 + 0.3 * np.log(t / r**2) for t, r in ((near, 3.0), (far, 8.0))]
    noise = 0.02 * ALTERNATING
    wells = [
        WellDrawdown("A", 3.0, [*(near + 2.0), 1.0, 22.1], [*(falls[0] + noise[:4]), 5.0, 7.0]),
        WellDrawdown("B", 8.0, far + 2.0, falls[1] + noise[4:]),
        WellDrawdown("C", 9.0, [22.5], [0.1]),
    ]
    fit = fit_straight_line(rates, wells, trim=False)
    x = np.log(np.concatenate([near / 9.0, far / 64.0]))
    y = np.concatenate(falls) + noise
    slope, intercept, half = regression(x, y)
    transmissivity, meets_zero = 700.0 / (PI4 * slope), math.exp(-intercept / slope)
    assert fit.value("transmissivity") == pytest.approx(transmissivity, rel=1e-9)
    assert fit.value("storativity") == pytest.approx(FACTOR * transmissivity * meets_zero, rel=1e-9)
    limits = fit.parameter("transmissivity")
    assert limits.lower == pytest.approx(700.0 / (PI4 * (slope + half)), rel=1e-5)
    assert limits.upper == pytest.approx(700.0 / (PI4 * (slope - half)), rel=1e-5)
    line = intercept + slope * x
    np.testing.assert_allclose(fit.fitted_m, line, rtol=1e-9)
    np.testing.assert_allclose(fit.covariance, covariance([slope - line, np.full(8, -slope)], y - line), rtol=1e-8)
    assert (fit.wells, fit.n, fit.model) == (("A", "B"), 8, "straight-line")
    ends = [r**2 * fit.value("storativity") / (4.0 * transmissivity * LARGEST_U) * 1440.0 for r in (3.0, 8.0)]
    assert fit.note == (
        f"u is at most 0.05, as the straight line needs, from {ends[0]:.3g} min at A, {ends[1]:.3g} min at B on."
    )


def test_readings_weigh_by_their_half_widths():
    days, falls = np.array([1.0, 3.0, 7.0, 20.0]), np.array([1.0, 1.6, 1.9, 2.7])
    widths = np.array([0.1, 0.2, 0.05, 0.3])
    fit = fit_straight_line(PumpingRates([0.0], [50.0]), [WellDrawdown("A", 1.0, days, falls, widths)], trim=False)
    slope, _ = np.polyfit(np.log(days), falls, 1, w=1.0 / widths)
    assert fit.value("transmissivity") == pytest.approx(50.0 / (PI4 * slope), rel=1e-9)


@pytest.mark.parametrize("trim", [True, False])
@pytest.mark.parametrize(("early", "left_out"), [(0.5e-9, 0), (1.5e-9, 1), (0.2, 1)])
def test_a_reading_just_at_the_limit_of_u_serves(trim, early, left_out):
    """On Jacob's line itself u is 0.05 at 4 exp(−γ)/(4·0.05) = 11.229 times the time at which the line meets zero."""
    limit = 0.01 * FACTOR / (4.0 * LARGEST_U)
    days = np.array([limit - early * (0.1 if early > 0.1 else 1.0), 0.2, 0.4, 0.7, 1.1])
    well = WellDrawdown("A", 2.0, days + 1.0, jacobs_line(days, 0.5, 0.01))
    fit = fit_straight_line(PumpingRates([1.0], [80.0]), [well], trim=trim)
    assert fit.n == (5 - left_out if trim else 5)
    said = "u is at most 0.05, as the straight line needs, from 162 min at A on."
    if left_out:
        said += (
            " 1 earlier reading was left out." if trim else " 1 of the 5 readings that were used is earlier than that."
        )
    assert fit.note == said


def test_early_readings_are_left_out_until_none_is_too_early():
    """The same by a loop with the regression of NumPy."""
    rates, distances = PumpingRates([0.0], [400.0]), (20.0, 60.0)
    days = np.geomspace(1e-3, 1.0, 25)
    wells = []
    for distance in distances:
        u = distance**2 * 2e-4 / (4.0 * 300.0 * days)
        from scipy.special import exp1

        wells.append((distance, 400.0 / (PI4 * 300.0) * exp1(u) + 0.002 * np.resize(ALTERNATING, 25)))
    x = np.concatenate([np.log(days / distance**2) for distance, _ in wells])
    y = np.concatenate([fall for _, fall in wells])
    kept = np.ones(50, dtype=bool)
    for _ in range(20):
        slope, intercept = np.polyfit(x[kept], y[kept], 1)
        transmissivity = 400.0 / (PI4 * slope)
        storativity = FACTOR * transmissivity * math.exp(-intercept / slope)
        late = np.exp(x) >= storativity / (4.0 * transmissivity * LARGEST_U)
        if late.sum() == kept.sum():
            break
        kept = late
    fit = fit_straight_line(rates, [WellDrawdown(f"{r:g}", r, days, fall) for r, fall in wells])
    assert fit.n == kept.sum() < 45
    assert fit.value("transmissivity") == pytest.approx(transmissivity, rel=1e-8)
    assert fit.value("storativity") == pytest.approx(storativity, rel=1e-8)
    assert f" {50 - fit.n} earlier readings were left out." in fit.note


@pytest.mark.parametrize(("late", "n"), [([0.2, 0.5, 0.9, 1.4], 4), ([0.2, 0.5, 0.9], 5)])
def test_fewer_than_four_late_readings_are_not_taken_alone(late, n):
    days = np.array([0.05, 0.08, *late])
    fit = fit_straight_line(PumpingRates([0.0], [80.0]), [WellDrawdown("A", 2.0, days, jacobs_line(days, 0.5, 0.01))])
    assert fit.n == n
    assert ("2 of the 5 readings that were used are earlier" in fit.note) is (n == 5)


@pytest.mark.parametrize(
    ("starts", "values", "mean"),
    [
        # 5 % of the mean of the rates may lie between them (project default)
        ([0.0, 3.0], [97.5, 102.5], (3 * 97.5 + 5 * 102.5) / 8),
        ([0.0, 3.0], [97.4, 102.5], None),
        ([0.0, 8.0], [97.0, 50.0], 97.0),  # begins with the last reading
        ([-2.0, 0.0, 1.0, 2.0], [0.0, 40.0, 0.0, 40.0], 40.0),
        ([0.0, 5.0, 9.0], [0.40, 0.41, 0.0], (5 * 0.40 + 3 * 0.41) / 8),
        ([0.0, 5.0], [0.40, 0.50], None),
    ],
)
def test_the_rate_is_the_mean_over_the_time_that_it_held(starts, values, mean):
    days = np.array([2.5, 4.0, 5.0, 8.0])
    well, rates = WellDrawdown("A", 1.0, days, jacobs_line(days, 0.5, 1e-3)), PumpingRates(starts, values)
    if mean is None:
        with pytest.raises(AnalysisError, match=f"varies from {values[0]:g} to {values[1]:g} m³/d"):
            fit_straight_line(rates, [well])
    else:
        assert fit_straight_line(rates, [well]).value("transmissivity") == pytest.approx(mean / (PI4 * 0.5), rel=1e-9)


def test_readings_within_a_day_may_give_a_line_and_the_dimensions_are_kept():
    days, rates = np.array([0.30, 0.35, 0.45]), PumpingRates([0.0, 0.2], [80.0, 0.0])
    geometry = PumpingGeometry(thickness_m=4.0)
    well = WellDrawdown("A", 1.0, days, 0.5 * np.log(days / 1e-4))
    for trim in (True, False):
        fit = fit_straight_line(PumpingRates([0.0], [80.0]), [well], geometry, trim=trim)
        assert fit.value("transmissivity") == pytest.approx(80.0 / (PI4 * 0.5), rel=1e-9)
        assert fit.geometry is geometry
    late = WellDrawdown("A", 1.0, [*days[1:], 0.2], [*(0.5 * np.log(recovery_ratio(rates, days[1:]))), 3.0])
    fits = [fit_recovery(rates, [late], geometry), fit_recovery_equivalent(rates, [late], geometry)]
    fits.append(fit_distance(rates, distance_wells([0.1] * 4)[0], geometry))
    assert all(fit.geometry is geometry for fit in fits)
    assert fits[0].value("transmissivity") == pytest.approx(80.0 / (PI4 * 0.5), rel=1e-9)


def test_what_is_said_of_a_recovery_begins_with_the_line():
    days = 0.5 + np.geomspace(0.02, 2.0, 30)
    x = np.log(recovery_ratio(RATES, days))
    well = WellDrawdown("A", 1.0, days, 0.4 * (x - 1.0) + 0.01 * np.sin(np.linspace(0.0, 9.0, 30)))
    note = fit_recovery(RATES, [well]).note
    assert note.startswith("The line meets zero at t/t′ = 2.7")
    assert "during recovery is possible. Residuals that follow each other are correlated" in note


def test_a_line_with_loss_in_the_well_has_a_storativity_far_from_any_aquifers():
    days = np.array([1.0, 2.0, 5.0, 9.0])
    fit = fit_straight_line(PumpingRates([0.0], [80.0]), [WellDrawdown("A", 1.0, days, 60.0 + 0.5 * np.log(days))])
    assert math.log(fit.value("storativity")) == pytest.approx(math.log(FACTOR * 80.0 / (PI4 * 0.5)) - 120.0)
    with pytest.raises(TooFewLevelsError, match="1 reading cannot determine the 2 parameters of straight-line"):
        fit_straight_line(PumpingRates([0.0], [80.0]), [WellDrawdown("A", 1.0, [1.0], [2.0])])
    falling = WellDrawdown("A", 1.0, days, 3.0 - 0.5 * np.log(days))
    with pytest.raises(AnalysisError, match=r"-1\.15 m per log cycle"):
        fit_straight_line(PumpingRates([0.0], [80.0]), [falling])


RATES = PumpingRates([-1.0, 0.0, 0.2, 0.5], [0.0, 300.0, 600.0, 0.0])


def test_time_ratios_of_a_history_are_those_of_its_superposition():
    """Σ ΔQ ln(t − tk) by hand; Agarwal's time (1980) has the same logarithm as the rise."""
    days = np.array([0.4, 0.5, 0.6, 2.0])
    since = [np.log(days[2:] - start) for start in (0.0, 0.2, 0.5)]
    ratio = np.exp((300.0 * since[0] + 300.0 * since[1] - 600.0 * since[2]) / 600.0)
    np.testing.assert_allclose(recovery_ratio(RATES, days), [math.nan, math.nan, *ratio], rtol=1e-12)
    at_stop = (300.0 * math.log(0.5) + 300.0 * math.log(0.3)) / 600.0
    np.testing.assert_allclose(
        equivalent_days(RATES, days), [math.nan, math.nan, *(math.exp(at_stop) / ratio)], rtol=1e-12
    )
    for function in (recovery_ratio, equivalent_days):
        assert np.isnan(function(PumpingRates([0.0, 1.0], [10.0, 20.0]), days)).all()


@pytest.mark.parametrize(("ratio", "said"), [(1.0, False), (0.5, True), (2.0, True), (1.001, False)])
def test_recovery_is_a_line_over_the_ratio_of_times(ratio, said):
    """Theis (1935): s′ = Q/(4πT) ln((t/t′)/ratio)."""
    days = 0.5 + np.array([0.1, 0.02, 0.3, 0.05, 0.6, 1.0, 0.9, 0.4])
    x = np.log(recovery_ratio(RATES, days))
    y = 0.4 * (x - math.log(ratio)) + 0.003 * ALTERNATING
    wells = [WellDrawdown("A", 1.0, [0.3, 0.5, *days[:5]], [7.0, 8.0, *y[:5]]), WellDrawdown("B", 1.0, days[5:], y[5:])]
    wells.append(WellDrawdown("C", 1.0, [0.4], [1.0]))
    fit = fit_recovery(RATES, wells)
    slope, intercept, half = regression(x, y)
    found = fit.parameter("transmissivity")
    assert found.value == pytest.approx(600.0 / (PI4 * slope), rel=1e-9)
    assert found.lower == pytest.approx(600.0 / (PI4 * (slope + half)), rel=1e-5)
    assert found.upper == pytest.approx(600.0 / (PI4 * (slope - half)), rel=1e-5)
    zero = fit.parameter("storativity_ratio")
    assert zero.value == pytest.approx(math.exp(-intercept / slope), rel=1e-9)
    line = intercept + slope * x
    np.testing.assert_allclose(fit.covariance, covariance([-line, np.full(8, -slope)], y - line), rtol=1e-8)
    sentence = (
        f"The line meets zero at t/t′ = {zero.value:.3g}, not at 1: recharge, a boundary or another storativity during "
        "recovery is possible."
    )
    assert fit.note == (sentence if said else "")
    assert (fit.wells, fit.n, fit.model) == (("A", "B"), 8, "recovery")


@pytest.mark.parametrize(
    ("days", "falls", "error", "said"),
    [
        ([0.6], [1.0], TooFewLevelsError, "parameters of recovery"),
        ([0.6, 0.6, 0.6], [1.0, 0.9, 0.8], AnalysisError, "readings at two times"),
        ([0.6, 0.8, 1.0], [0.9, 1.0, 1.1], AnalysisError, "does not fall after the stop"),
        ([0.4, 0.5], [0.9, 1.0], AnalysisError, "No reading lies after the stop"),
    ],
)
def test_recoveries_that_are_refused(days, falls, error, said):
    with pytest.raises(error, match=said):
        fit_recovery(RATES, [WellDrawdown("A", 1.0, days, falls)])


def test_the_rise_counts_from_the_last_drawdown_before_the_stop():
    days = 0.5 + np.array([0.1, 0.02, 0.3, 0.05, 0.6, 1.0, 0.9, 0.4])
    x = np.log(equivalent_days(RATES, days))
    rise = 0.4 * (x + 9.0) + 0.003 * ALTERNATING
    well = WellDrawdown("A", 2.0, [0.3, 0.5, 0.1, *days], [7.0, 8.0, 6.0, *(8.0 - rise)], [0.1] * 11)
    other = WellDrawdown("B", 2.0, [0.45], [3.0])
    fit = fit_recovery_equivalent(RATES, [other, well])
    slope, intercept, _ = regression(x, rise)
    transmissivity = 600.0 / (PI4 * slope)
    assert fit.value("transmissivity") == pytest.approx(transmissivity, rel=1e-9)
    meets_zero = math.exp(-intercept / slope) / 4.0
    assert fit.value("storativity") == pytest.approx(FACTOR * transmissivity * meets_zero, rel=1e-8)
    np.testing.assert_allclose(fit.days, np.exp(x), rtol=1e-12)
    assert (fit.n, fit.model) == (8, "recovery-equivalent")


def distance_wells(days, width=None):
    """Return four wells whose last drawdowns scatter around a line over the logarithm of distance."""
    falls = [2.0, 1.47, 1.05, 0.53]
    wells = []
    for name, distance, day, fall in zip("ABCD", (2.0, 9.0, 30.0, 110.0), days, falls, strict=True):
        times, values = [day, day - 20.0, 61.0], [fall, 9.0, 0.1]
        wells.append(WellDrawdown(name, distance, times, values, width))
    return wells, np.log([2.0, 9.0, 30.0, 110.0]), np.array(falls)


@pytest.mark.parametrize(("first", "last", "one_time"), [(50.0, 51.0, True), (50.0, 51.001, False), (50.5, 51.0, True)])
def test_drawdown_over_distance_is_a_regression(first, last, one_time):
    """Thiem (1906), 2π; readings within 2 % of the time since pumping began are of one time (project default)."""
    rates = PumpingRates([0.0, 0.5, 50.5, 60.0], [0.0, 640.0, 720.0, 0.0])
    wells, x, y = distance_wells([50.5, 50.5, first, last])
    wells[2] = WellDrawdown("C", 30.0, [first], [1.05])
    wells[3] = WellDrawdown("D", 110.0, [last, 0.2, 61.0], [0.53, 4.0, 3.0])
    fit = fit_distance(rates, wells)
    slope, intercept, half = regression(x, y)
    found = fit.parameter("transmissivity")
    assert found.value == pytest.approx(640.0 / (-2.0 * math.pi * slope), rel=1e-9)
    assert found.lower == pytest.approx(640.0 / (-2.0 * math.pi * (slope - half)), rel=1e-5)
    assert found.upper == pytest.approx(640.0 / (-2.0 * math.pi * (slope + half)), rel=1e-5)
    radius = math.exp(-intercept / slope)
    assert fit.value("radius_of_influence") == pytest.approx(radius, rel=1e-9)
    line = intercept + slope * x
    np.testing.assert_allclose(fit.covariance, covariance([-line, np.full(4, -slope)], y - line), rtol=1e-8)
    assert (fit.wells, fit.n) == (("A", "B", "C", "D"), 4)
    assert fit.days.tolist() == [50.5, 50.5, first, last]
    if one_time:
        assert fit.value("storativity") == pytest.approx(FACTOR * found.value * 50.0 / radius**2, rel=1e-8)
        assert fit.note == ""
    else:
        assert [parameter.name for parameter in fit.parameters] == ["transmissivity", "radius_of_influence"]
        assert fit.note == "The readings are of different times; the drawdowns must no longer change among them."


def test_two_wells_have_the_limits_of_their_half_widths_or_none():
    rates = PumpingRates([0.0, 60.0], [640.0, 0.0])
    for width, said in ((None, "are not known"), (0.02, "are those of the readings' half-widths")):
        fit = fit_distance(rates, distance_wells([50.0] * 4, width)[0][:2])
        assert f"Two wells leave no residual: limits {said}." in fit.note
    # a drawdown of ±0.02 m each: their difference ±0.0283
    slope, half = (2.0 - 1.47) / math.log(4.5), 0.02 * math.sqrt(2.0) / math.log(4.5)
    lower, upper = (640.0 / (2.0 * math.pi * (slope + sign * half)) for sign in (1.0, -1.0))
    found = fit.parameter("transmissivity")
    assert (found.lower, found.upper) == pytest.approx((lower, upper), rel=1e-4)
    wells = distance_wells([50.0] * 4, 0.02)[0][:2]
    wells[1] = wells[1].with_readings(wells[1].days, wells[1].drawdown_m)
    assert "limits are not known." in fit_distance(rates, wells).note
    one_place = [WellDrawdown(name, 5.0, [50.0], [fall]) for name, fall in (("A", 1.0), ("B", 1.1))]
    with pytest.raises(TooFewLevelsError, match="different distances; 1 given"):
        fit_distance(rates, one_place)


def test_the_line_may_meet_zero_within_a_model_box():
    falls = 2.0 * np.log(0.05 / np.array([0.01, 0.02, 0.03]))
    wells = [WellDrawdown(str(r), r, [50.0], [fall]) for r, fall in zip((0.01, 0.02, 0.03), falls, strict=True)]
    fit = fit_distance(PumpingRates([0.0], [6.0]), wells)
    assert fit.value("radius_of_influence") == pytest.approx(0.05, rel=1e-9)
    assert fit.value("transmissivity") == pytest.approx(6.0 / (4.0 * math.pi), rel=1e-9)
