"""Rates, readings, static levels, drawdowns and derivatives of pumping tests, each against a few lines of arithmetic."""

import math

import numpy as np
import pytest
from scipy import stats

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.pumping.derivative import bourdet_derivative
from gwnet.hydro.pumping.drawdown import days_since_change, drawdown_from_depths, thickness_corrected
from gwnet.hydro.pumping.results import (
    OtherPumping,
    Parameter,
    PumpingFit,
    PumpingGeometry,
    PumpingRates,
    WellDrawdown,
    used_readings,
)

#: Times closer than this are one time (a nanosecond of a day, project default).
SAME = 1e-9


@pytest.mark.parametrize(
    ("days", "rates", "error", "said"),
    [
        ([[0.0, 1.0]], [[3.0, 2.0]], ShapeError, r"shape \(1, 2\)"),
        ([0.0, 1.0], [[3.0, 2.0]], ShapeError, r"values of shape \(1, 2\)"),
        ([], [], ShapeError, r"shape \(0,\)"),
        ([0.0, math.inf], [3.0, 2.0], AnalysisError, "missing"),
        ([0.0, 1.0], [3.0, math.nan], AnalysisError, "missing"),
        ([0.0, 2.5, 2.5, 1.0], [3.0, 2.0, 4.0, 5.0], AnalysisError, r"from 2\.5 d to 2\.5 d"),
        ([0.0, 0.25, 0.25], [3.0, 2.0, 4.0], AnalysisError, r"from 0\.25 d to 0\.25 d"),
        ([0.0, 4.0, 1.5], [3.0, 2.0, 4.0], AnalysisError, r"from 4 d to 1\.5 d"),
        ([0.0, 1.0, 2.0], [3.0, -4.0, -7.0], AnalysisError, "A rate is -7 m³/d"),
    ],
)
def test_rates_that_are_refused(days, rates, error, said):
    with pytest.raises(error, match=said):
        PumpingRates(days, rates)


def test_a_history_of_rates_knows_its_begin_its_stop_and_its_changes():
    rates = PumpingRates([-2.0, 0.5, 2.0, 3.0, 4.0], [0.0, 0.25, 0.5, 0.75, 0.0])
    np.testing.assert_array_equal(rates.changes_m3_d, [0.0, 0.25, 0.25, 0.25, -0.75])
    assert (rates.began_days, rates.last_rate_m3_d, rates.stop_days) == (0.5, 0.75, 4.0)
    assert PumpingRates(1.5, 0.5).stop_days == math.inf
    np.testing.assert_array_equal(rates.rate_at([-3.0, -2.0, 0.4, 0.5, 2.9, 3.0, 4.0]), [0, 0, 0, 0.25, 0.5, 0.75, 0])


OTHER = OtherPumping("X", 12.0, PumpingRates([0.0], [5.0]))


def test_a_part_of_a_well_keeps_everything_else():
    whole = WellDrawdown(
        "P", 7.0, [0.3, 0.1, math.nan, 0.2, 0.4], [1.0, 2.0, 3.0, 4.0, math.inf], [0.01, 0.02, 0.03, 0.04, 0.05],
        top_m=2.0, bottom_m=6.0, image_m=90.0, others=[OTHER], before_days=[-3.0, -1.0], background="line",
    )  # fmt: skip
    np.testing.assert_array_equal(whole.days, [0.3, 0.1, 0.2])
    np.testing.assert_array_equal(whole.half_width_m, [0.01, 0.02, 0.04])
    part = whole.within(0.1, 0.2)
    for column, value in (("days", 0.2), ("drawdown_m", 4.0), ("half_width_m", 0.04)):
        np.testing.assert_array_equal(getattr(part, column), [value])
    kept = ("well", "distance_m", "top_m", "bottom_m", "image_m", "others", "background")
    assert [getattr(part, name) for name in kept] == ["P", 7.0, 2.0, 6.0, 90.0, (OTHER,), "line"]
    np.testing.assert_array_equal(part.before_days, [-3.0, -1.0])
    assert WellDrawdown("P", 7.0, [0.3], [1.0]).within(0.0, 1.0).half_width_m is None
    plain = WellDrawdown("P", 7.0, [0.3], [1.0], 0.02)
    assert (plain.background, plain.others, plain.before_days.size, plain.top_m, plain.image_m) == (
        "mean", (), 0, None, None,
    )  # fmt: skip
    np.testing.assert_array_equal(plain.half_width_m, [0.02])


def test_a_window_holds_its_end_and_not_its_beginning_within_rounding():
    days = [1.0 + 0.5 * SAME, 1.0 + SAME, 1.0 + 3 * SAME, 2.0 + 0.5 * SAME, 2.0 + SAME, 2.0 + 3 * SAME]
    np.testing.assert_array_equal(WellDrawdown("P", 1.0, days, days).within(1.0, 2.0).days, days[2:5])


@pytest.mark.parametrize(
    ("distance", "days", "falls", "width", "error", "said"),
    [
        (math.inf, [1.0], [1.0], None, AnalysisError, "distance inf m"),
        (math.nan, [1.0], [1.0], None, AnalysisError, "distance nan m"),
        (-1.0, [1.0], [1.0], None, AnalysisError, "distance -1 m"),
        (1.0, [[1.0]], [[1.0]], None, ShapeError, r"\(1, 1\)"),
        (1.0, [1.0, 2.0], [1.0, 2.0], [0.1, -0.2], AnalysisError, r"half-width of -0\.2 m"),
        (1.0, [1.0, 2.0], [1.0, 2.0], [0.1, math.nan], AnalysisError, "half-width"),
    ],
)
def test_wells_that_are_refused(distance, days, falls, width, error, said):
    with pytest.raises(error, match=said):
        WellDrawdown("P", distance, days, falls, width)


@pytest.mark.parametrize(
    ("value", "said"), [(None, "it is not on record"), (math.inf, "it is inf"), (0.0, "it is 0.0"), (-2.0, "it is -2")]
)
def test_a_dimension_that_is_needed(value, said):
    assert PumpingGeometry(thickness_m=0.25).need("thickness_m", "thickness") == 0.25
    with pytest.raises(AnalysisError, match=f"needs the thickness; {said}"):
        PumpingGeometry(thickness_m=value).need("thickness_m", "thickness")


def test_parameters_are_found_by_name():
    parameters = (Parameter("a", 2.0, "m"), Parameter("b", 3.0, "d"))
    empty = np.empty(0)
    fit = PumpingFit("line", parameters, (), (), 0, 0.0, *[empty] * 7, 0, math.nan)
    assert (fit.value("b"), fit.parameter("a").unit, fit.parameter("a").identifiable) == (3.0, "m", True)
    assert (fit.note, fit.superposed, fit.geometry) == ("", (), PumpingGeometry())
    assert math.isnan(fit.greatest_rate_m3_d)
    assert math.isnan(parameters[0].lower)
    assert math.isnan(parameters[0].upper)
    with pytest.raises(AnalysisError, match="line has no parameter 'c'; it has a, b"):
        fit.value("c")


def test_readings_count_from_the_first_rate_above_0():
    rates = PumpingRates([0.0, 1.0], [0.0, 5.0])
    wells = [WellDrawdown("A", 1.0, [0.5, 1.0], [1.0, 1.0]), WellDrawdown("B", 1.0, [0.5, 1.0, 1.5], [1.0, 2.0, 3.0])]
    [used] = used_readings(wells, rates)
    assert (used.well, used.days.tolist(), used.drawdown_m.tolist()) == ("B", [1.5], [3.0])
    with pytest.raises(AnalysisError, match="start of pumping, 1 d"):
        used_readings(wells[:1], rates)


DEPTHS = np.array([4.0, 4.3, 4.1, math.nan, 4.6, 9.0])
DAYS = np.array([-5.0, -4.0, -2.0, -1.5, -1.0, 2.0])


def test_the_static_level_is_of_the_readings_in_its_window_ends_included():
    """Mean with Student's limits of a mean (scipy) or that of the half-widths, whichever is larger."""
    found = drawdown_from_depths(DAYS, DEPTHS, window_days=(-4.0, -1.0))
    before = [4.3, 4.1, 4.6]
    limit = stats.t.interval(0.95, 2, loc=0.0, scale=stats.sem(before))[1]
    np.testing.assert_allclose(found.static_depth_m, np.mean(before), rtol=1e-12)
    np.testing.assert_allclose(found.static_half_width_m, limit, rtol=1e-9)
    np.testing.assert_allclose(found.drawdown_m, DEPTHS - np.mean(before), rtol=1e-9)
    np.testing.assert_allclose(found.half_width_m, limit, rtol=1e-9)
    assert (found.n_before, found.background, found.slope_m_d, found.note) == (3, "mean", 0.0, "")
    assert math.isnan(found.slope_half_width_m_d)
    wide = drawdown_from_depths(DAYS, DEPTHS, [9.0, 2.0, 3.0, 7.0, math.nan, 5.0], window_days=(-4.0, -1.0))
    static = math.sqrt((2.0**2 + 3.0**2) / 2.0) / math.sqrt(3.0)
    np.testing.assert_allclose(wide.static_half_width_m, static, rtol=1e-9)
    np.testing.assert_allclose(wide.half_width_m[[0, 4, 5]], np.hypot([9.0, 0.0, 5.0], static), rtol=1e-9)
    everything = drawdown_from_depths([*DAYS[:4], 0.0], [*DEPTHS[:4], 4.4])
    assert (everything.n_before, everything.static_depth_m[0]) == (4, pytest.approx(4.2, rel=1e-12))


def test_a_window_may_end_at_the_start_and_not_after_it():
    with pytest.raises(AnalysisError, match=r"ends 0\.001 d after"):
        drawdown_from_depths(DAYS, DEPTHS, window_days=(-4.0, 0.001))
    with pytest.raises(ShapeError, match=r"\(1, 6\)"):
        drawdown_from_depths([DAYS], [DEPTHS])
    with pytest.raises(AnalysisError, match="No reading lies before"):
        drawdown_from_depths(DAYS, DEPTHS, window_days=(-1.5, -1.2))


def test_one_reading_has_the_half_width_of_reading_and_static_level_and_no_width_is_not_0():
    found = drawdown_from_depths([-1.0, 1.0], [4.0, 5.0], [0.03, 0.04])
    np.testing.assert_allclose(found.static_half_width_m, 0.03)
    np.testing.assert_allclose(found.half_width_m, [math.hypot(0.03, 0.03), 0.05])
    assert found.note == "The static level is a single reading."
    unknown = drawdown_from_depths([-1.0, 1.0], [4.0, 5.0])
    assert np.isnan(unknown.half_width_m).all()
    assert np.isnan(unknown.static_half_width_m).all()
    assert np.isnan(drawdown_from_depths([-2.0, -1.0, 1.0], [4.0, 4.0, 5.0], 0.0).half_width_m).all()


def test_a_line_before_the_test_is_that_of_scipy_with_its_limits():
    """Ordinary regression: scipy.stats.linregress; limits of the line as in Helsel and others (2020), chapter 9."""
    days, depth = np.array([-6.0, -5.0, -3.0, -1.0, 1.0, 4.0]), np.array([4.0, 4.4, 4.5, 5.1, 8.0, 8.5])
    found = drawdown_from_depths(days, depth, 0.05, background="line", thickness_m=20.0)
    x, y = days[:4], depth[:4]
    line = stats.linregress(x, y)
    t = stats.t.ppf(0.975, 2)
    static = line.intercept + line.slope * days
    sd = math.sqrt(((y - static[:4]) ** 2).sum() / 2)
    width = t * sd * np.sqrt(1 / 4 + (days - x.mean()) ** 2 / ((x - x.mean()) ** 2).sum())
    fall = depth - static
    np.testing.assert_allclose(found.static_depth_m, static, rtol=1e-12)
    np.testing.assert_allclose(found.static_half_width_m, width, rtol=1e-9)
    np.testing.assert_allclose(found.drawdown_m, fall - fall**2 / 40.0, rtol=1e-9, atol=1e-14)
    np.testing.assert_allclose(found.half_width_m, np.hypot(0.05, width) * np.abs(1 - fall / 20.0), rtol=1e-9)
    assert found.slope_m_d == pytest.approx(line.slope, rel=1e-12)
    assert found.slope_half_width_m_d == pytest.approx(t * line.stderr, rel=1e-9)
    assert (found.n_before, found.background, found.note) == (4, "line", "")


FAR = "The line is extended by more than the time it was read over."
FLAT = "The trend before the test is not significant at 5 %; the mean would do."


@pytest.mark.parametrize(
    ("depth", "last", "said"),
    [
        ([4.0, 4.1, 4.2], 5.0, ""),  # read over 5 days, as long as it goes on
        ([4.0, 4.1, 4.2], 5.001, FAR),
        ([4.0, 4.0, 4.0], 5.0, FLAT),
        ([4.0, 4.0, 4.0], 5.001, f"{FLAT} {FAR}"),
    ],
)
def test_what_is_said_of_a_line(depth, last, said):
    slope = drawdown_from_depths([-6.0, -3.5, -1.0, last], [*depth, 9.0], background="line")
    assert slope.note == said


def test_two_readings_have_a_mean_with_limits_and_a_line_within_a_day():
    found = drawdown_from_depths([-0.5, -0.25, 1.0], [4.0, 4.2, 6.0])
    limit = stats.t.ppf(0.975, 1) * 0.2 / math.sqrt(2.0) / math.sqrt(2.0)
    np.testing.assert_allclose(found.half_width_m, limit, rtol=1e-9)
    line = drawdown_from_depths([-0.5, -0.25, 1.0], [4.0, 4.2, 6.0], background="line")
    np.testing.assert_allclose(line.static_depth_m, [4.0, 4.2, 5.2])


def test_a_line_needs_two_times():
    two = drawdown_from_depths([-3.0, -1.0, 1.0], [4.0, 4.4, 6.0], 0.3, background="line")
    np.testing.assert_allclose(two.static_depth_m, [4.0, 4.4, 4.8])
    np.testing.assert_allclose(two.half_width_m, 0.3)
    assert (two.slope_m_d, two.note) == (pytest.approx(0.2), "A line through two readings has no limits.")
    assert math.isnan(two.slope_half_width_m_d)
    assert np.isnan(two.static_half_width_m).all()
    with pytest.raises(AnalysisError, match="two times; there are 1"):
        drawdown_from_depths([-1.0, -1.0, -1.0], [4.0, 4.1, 4.2], background="line")


def test_the_thickness_may_be_used_up_and_no_more():
    np.testing.assert_allclose(thickness_corrected([8.0, math.nan, -2.0], 8.0), [4.0, math.nan, -2.25])
    assert thickness_corrected([], 8.0).size == 0
    assert thickness_corrected(0.25, 0.5) == 0.1875
    with pytest.raises(AnalysisError, match=r"drawdown of 8\.001 m exceeds the saturated thickness of 8 m"):
        thickness_corrected([8.001, math.nan], 8.0)


def test_the_time_since_a_change_counts_from_the_newest_rate():
    rates = PumpingRates([0.5, 1.25], [10.0, 20.0])
    np.testing.assert_allclose(days_since_change(rates, [0.4, 0.75, 1.0, 2.0]), [math.nan, 0.25, 0.5, 0.75])


def slope_by_loop(times, drawdown, span):
    """Return Bourdet's derivative point by point: nearest point at least the span away on either side."""
    logarithm, found = np.log(times), []
    for i, here in enumerate(logarithm):
        before = [j for j in range(i) if here - logarithm[j] >= span - 1e-12]
        after = [j for j in range(i + 1, len(times)) if logarithm[j] - here >= span - 1e-12]
        if not before or not after:
            found.append(math.nan)
            continue
        j, k = before[-1], after[0]
        left, right = here - logarithm[j], logarithm[k] - here
        slopes = (drawdown[i] - drawdown[j]) / left, (drawdown[k] - drawdown[i]) / right
        found.append((slopes[0] * right + slopes[1] * left) / (left + right))
    return found


@pytest.mark.parametrize("span", [0.0, -1.0, math.log(2.0), math.log(4.0), 1.0, 2.0, 9.0])
def test_the_derivative_is_that_of_the_points_at_least_a_span_away(span):
    times = np.array([1.0, 2.0, 3.0, 4.0, 8.0, 11.0, 16.0, 32.0, 33.0, 64.0])
    drawdown = np.array([0.1, 0.5, 0.6, 1.7, 1.9, 2.6, 2.2, 4.0, 4.1, 3.0])
    found, slope = bourdet_derivative(times, drawdown, span=span)
    np.testing.assert_array_equal(found, times)
    np.testing.assert_allclose(slope, slope_by_loop(times, drawdown, max(span, 0.0)), rtol=1e-12)


def test_the_derivative_leaves_out_what_has_no_logarithm_or_no_value():
    times, slope = bourdet_derivative([4.0, 0.0, 1.0, -1.0, 2.0, 3.0], [7.0, 9.0, 1.0, 5.0, 2.0, math.nan])
    np.testing.assert_array_equal(times, [1.0, 2.0, 4.0])
    np.testing.assert_allclose(slope, slope_by_loop(times, [1.0, 2.0, 7.0], 0.0))
    for empty in bourdet_derivative([-1.0], [2.0]):
        assert empty.size == 0
    with pytest.raises(ShapeError, match=r"\(1, 2\)"):
        bourdet_derivative([[1.0, 2.0]], [[1.0, 2.0]])
