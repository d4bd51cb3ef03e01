"""Which test a record gets and what its notes say, at each limit of the rule; constructed tables.

Numbers of the tests themselves are held to libraries in the tests of ``gwnet.hydro``. Limits as documented: four yearly
values, three years and two of a season (common practice, no source); one and a half values a year, two years beside a
gap (project defaults); ten years for covariance (Hirsch and Slack, 1984).
"""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from gwnet.analysis.series import trend_tests
from gwnet.analysis.series.trend_lines import fit_line
from gwnet.analysis.series.trend_records import SharedMemory
from gwnet.analysis.series.trend_tests import find_trend, p_text, residual_serial_correlation, segments_of
from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.kendall import mann_kendall, normal_probabilities
from gwnet.hydro.trends.seasonal_kendall import seasonal_kendall
from gwnet.hydro.trends.serial_correlation import estimate_serial_correlation, segments_ratio
from gwnet.hydro.trends.shared_memory import even_weights
from gwnet.hydro.trends.step_test import two_segments
from gwnet.hydro.trends.year_signs import year_scores, year_signs

from .trend_tables import table

NAN = np.nan


@pytest.mark.parametrize(("values", "note"), [
    ([1.0, 3.0, 2.0], "too few years: 3 with a value, 4 needed"),
    ([1.0, 3.0, 2.0, 4.0], ""),
    ([[1.0, 2.0], [2.0, 3.0]], "too few years: 2 with a value, at most 2 of one season; 3 years and 2 of a season needed"),
    ([[1.0, NAN, NAN], [NAN, 2.0, NAN], [NAN, NAN, 4.0]],
     "too few years: 3 with a value, at most 1 of one season; 3 years and 2 of a season needed"),
    ([[1.0, NAN, NAN], [NAN, 2.0, NAN], [NAN, 4.0, NAN]], ""),
])  # fmt: skip
def test_records_that_are_too_short(values, note):
    found = find_trend(table(values))
    if note:
        assert (found.notes, math.isnan(found.p), math.isnan(found.s)) == ([note], True, True)
    else:
        assert not math.isnan(found.s)


@pytest.mark.parametrize(("bound", "note"), [
    (-1, "always dry from 2001-07-15 to 2004-07-15: at or below 39.50 m at some time; a trend below that cannot be seen"),
    (1, "always flowing from 2001-07-15 to 2004-07-15: at or above 41.25 m at some time; a trend above that cannot be seen"),
    ([-1, 1, 1, -1], "dry or flowing at every visit from 2001-07-15 to 2004-07-15: no number to test"),
])  # fmt: skip
def test_records_of_bounds_alone(bound, note):
    found = find_trend(table([40.0, 39.5, 41.25, 40.5], bound))
    assert (found.notes, math.isnan(found.p)) == ([note], True)
    one_number = np.broadcast_to(bound, 4).copy()
    one_number[0] = 0
    assert not math.isnan(find_trend(table([40.0, 39.5, 41.25, 40.5], one_number)).s)


def yearly_of(values, bound=0):
    """Return what the test of yearly values by ranks has: widened for serial correlation of the scores."""
    values, years = np.array(values), 2001.0 + np.arange(len(values))
    plain = mann_kendall(values, years, bound=bound)
    slopes = pair_slopes(values[:, None], years, bound=np.broadcast_to(bound, values.shape)[:, None])
    steep = slopes.limits(0.0)[0]
    scores = year_scores(year_signs(values[:, None], bound=np.broadcast_to(bound, values.shape)[:, None], years=years,
                                    slope=steep if math.isfinite(steep) else 0.0))  # fmt: skip
    held = estimate_serial_correlation(scores)
    return plain, held, slopes.limits(plain.variance * held.variance_ratio)


WANDER = 40.0 + np.cumsum(np.random.default_rng(3).normal(0, 0.3, 16)).round(2)


def test_yearly_values_that_go_together_have_a_wider_variance():
    plain, held, slope = yearly_of(WANDER)
    assert held.variance_ratio > 1.0
    found = find_trend(table(WANDER))
    assert (found.s, found.var_s, found.tau, found.z) == (plain.score, plain.variance, plain.tau_a, plain.z)
    assert (found.p_independent, found.correlation, found.widening) == (
        plain.p_value, held.corrected, held.variance_ratio,
    )  # fmt: skip
    widened = normal_probabilities(plain.score, plain.variance * held.variance_ratio)[1]
    assert found.p == pytest.approx(max(widened, plain.p_value), rel=1e-12)
    assert found.variance == pytest.approx(plain.variance * held.variance_ratio, rel=1e-12)
    assert found.slope == pytest.approx(slope, rel=1e-12)
    assert found.notes[-1] == (
        f"serial correlation {held.corrected:.2f} (lag 1 in the record {held.lag1:.2f}): p and limits with "
        f"{held.variance_ratio:.2f} times the variance, without it {p_text(plain.p_value)}"
    )
    assert found.step is False


def test_of_four_years_the_correlation_is_assumed():
    plain, held, _ = yearly_of([40.0, 40.4, 40.1, 40.9])
    found = find_trend(table([40.0, 40.4, 40.1, 40.9]))
    assert held.corrected == 0.4
    assert found.notes[-1].startswith(
        "serial correlation 0.40 (assumed, too few years to estimate it): p and limits with "
    )
    assert found.p >= plain.p_value


def seasonal_few(count, years=12):
    """Return a table of so many values, of one season each year and of both in some, that rise."""
    values = np.full((years, 2), NAN)
    values[np.arange(years), np.arange(years) % 2] = 40.0 + 0.05 * np.arange(years) + 0.1 * (np.arange(years) * 5 % 7)
    more = np.arange(years)[1::2][: count - years]
    values[more, 0] = 39.5 + 0.05 * more + 0.1 * (more * 3 % 5)
    return values


@pytest.mark.parametrize(("count", "is_line"), [(17, False), (18, True)])
def test_one_and_a_half_values_a_year_tell_their_memory(count, is_line):
    """18 values of 12 years."""
    found = find_trend(table(seasonal_few(count)))
    assert found.line is not None
    assert any("allow for it and for its uncertainty" in note for note in found.notes) == is_line
    assert any("covariance among seasons" in note for note in found.notes) == (not is_line)


def test_a_line_gives_probability_and_limits():
    values = (
        40.0 + np.array([0.3, -0.2]) + 0.05 * np.arange(12)[:, None] + np.random.default_rng(1).normal(0, 0.2, (12, 2))
    )
    others = SharedMemory("upper", 9, even_weights())
    record = table(values, memory=others)
    found, line, kendall = find_trend(record), fit_line(record), seasonal_kendall(values)
    steep = pair_slopes(values, record.years.astype(float)).limits(0.0)[0]
    _, lower, upper = line.slope_limits
    assert found.slope == pytest.approx((steep, lower, upper), rel=1e-12)
    assert found.p == max(line.p, kendall.p_value)
    assert (found.p_independent, found.s, found.z, found.tau) == (
        kendall.p_value,
        kendall.score,
        kendall.z,
        kendall.tau_a,
    )
    assert (found.correlation, found.widening) == (line.correlation, 1.0)
    assert found.notes == [
        f"correlation from one year to the next {line.correlation:.2f} (with the memory of 9 other wells of aquifer upper): "
        f"p and limits allow for it and for its uncertainty, without it {p_text(kendall.p_value)}"
    ]
    assert "other wells" not in find_trend(table(values)).notes[0]


@pytest.mark.parametrize(("limits", "slope"), [
    ((0.2, 0.1, 0.3), (0.25, 0.1, 0.3)), ((0.2, 0.26, 0.3), (0.25, 0.25, 0.3)), ((0.2, 0.1, 0.24), (0.25, 0.1, 0.25)),
])  # fmt: skip
def test_limits_of_a_line_enclose_the_median_of_slopes(limits, slope):
    line = SimpleNamespace(slope_limits=limits, p=0.02, correlation=0.5, is_short=True, moved=1)
    result = trend_tests.TrendResult(p_independent=0.03)
    trend_tests._take_line(result, line, 0.25, None)
    assert (result.slope, result.p, result.correlation) == (slope, 0.03, 0.5)
    assert result.notes == [
        "correlation from one year to the next 0.50: p and limits allow for it and for its uncertainty, without it p 0.03",
        "the record is short against its memory: p and limits may be too small",
        "1 value far from the line moved towards it for p and limits",
    ]
    line = SimpleNamespace(slope_limits=limits, p=0.04, correlation=0.5, is_short=False, moved=2)
    result = trend_tests.TrendResult(p_independent=0.03)
    trend_tests._take_line(result, line, 0.25, None)
    assert (result.p, result.notes[1:]) == (0.04, ["2 values far from the line moved towards it for p and limits"])


@pytest.mark.parametrize("years", [9, 10])
def test_covariance_among_seasons_is_taken_as_it_is_from_ten_years_on(years):
    """Two seasons that fall against one another: their covariance narrows, which few years do not show."""
    k = np.arange(years)
    up = 0.1 * (k * 5 % 7)
    values = np.column_stack([40.0 + up + 0.02 * k, 41.0 - up + 0.03 * k])
    values[1::2, 1] = NAN
    values[3, 0] = NAN
    record = table(values)
    kendall = seasonal_kendall(values)
    shared = kendall.variance_correlated
    assert 0.0 < shared < kendall.variance
    result = trend_tests._seasonal(record)
    trend_tests._share_seasons(result, record)
    few = years < 10
    assert result.variance == (kendall.variance if few else shared)
    assert result.p == normal_probabilities(kendall.score, result.variance, continuity=False)[1]
    words = " where it widens (9 years are few for it)" if few else ""
    assert result.notes == [f"p with covariance among seasons{words}, without it {p_text(kendall.p_value)}"]


def test_a_covariance_that_leaves_no_variance_is_not_taken():
    k = np.arange(12)
    values = np.column_stack([40.0 + 0.1 * (k * 5 % 7), 41.0 - 0.1 * (k * 5 % 7)])
    assert seasonal_kendall(values).variance_correlated <= 0.0
    record = table(values)
    result = trend_tests._seasonal(record)
    before = result.variance, result.p
    trend_tests._share_seasons(result, record)
    assert ((result.variance, result.p), result.notes) == (before, [])


def test_seasons_that_differ_are_noted():
    k = np.arange(9.0)
    values = np.column_stack([k, k + 0.1, -k, -k - 0.1])
    kendall = seasonal_kendall(values)
    assert trend_tests._seasonal(table(values)).notes == [
        f"seasons differ in their trends ({p_text(kendall.heterogeneity_p)})"
    ]
    assert trend_tests._seasonal(table(np.column_stack([k, k]))).notes == []


def test_widening_makes_no_probability_smaller():
    held = SimpleNamespace(variance_ratio=1.01, assumed=False, lag1=0.1, corrected=0.2)
    for values, continuity in (([1.0, 2.0, 4.0, 3.0, 5.0], True), ([[1.0, 2.0], [2.0, 1.0], [3.0, 4.0]], False)):
        record = table(values)
        result = trend_tests.TrendResult(s=7.0, variance=20.0, p=0.01)
        trend_tests._widen(result, record, held)
        assert result.variance == pytest.approx(20.2, rel=1e-12)
        assert result.p == pytest.approx(normal_probabilities(7, 20.2, continuity=continuity)[1], rel=1e-12)
        result = trend_tests.TrendResult(s=7.0, variance=20.0, p=0.9)
        trend_tests._widen(result, record, held)
        assert result.p == 0.9


def test_residual_correlation_takes_the_slope_off_where_it_is_known():
    values, years = WANDER[:, None], 2001.0 + np.arange(16)
    for slope, taken in ((0.05, 0.05), (math.inf, 0.0), (math.nan, 0.0)):
        scores = year_scores(year_signs(values - taken * (years - 2001.0)[:, None]))
        expected = estimate_serial_correlation(scores)
        found = residual_serial_correlation(values, np.zeros((16, 1), dtype=int), years, slope)
        assert (found.lag1, found.corrected) == pytest.approx((expected.lag1, expected.corrected), rel=1e-12)


def with_gap(before, after, years_between=20):
    first = np.arange(2001, 2001 + len(before))
    years = np.concatenate([first, first[-1] + years_between + np.arange(len(after))])
    return table([*before, *after], years=years)


def test_across_a_gap_levels_are_compared():
    record = with_gap([40.0, 40.4, 40.1], [38.0, 38.3, 37.9, 38.2])
    found = find_trend(record)
    plain = two_segments(record.values, 3)
    assert (found.step, found.s, found.tau, found.var_s) == (True, -12, -1.0, plain.variance)
    result, shift = segments_of(record, 3)
    assert found.notes[0] == (
        "no level from 2003-07-15 to 2023-07-15, over a third of the record: levels before and after it compared instead "
        f"of a trend, {shift}"
    )
    assert (found.p, found.slope, found.notes[1:]) == (result.p, result.slope, result.notes)


@pytest.mark.parametrize(("before", "after", "words"), [
    ([40.0], [38.0, 38.2, 38.1], "1 year before and 3 after it, 2 of each needed"),
    ([40.0, 40.1, 40.3], [38.0], "3 years before and 1 after it, 2 of each needed"),
])  # fmt: skip
def test_two_years_beside_a_gap_are_needed(before, after, words):
    found = find_trend(with_gap(before, after))
    assert (found.step, math.isnan(found.p)) == (True, True)
    assert found.notes[0].endswith(f": a test for one trend would be wrong across it; too few years, {words}")
    enough = find_trend(with_gap([40.0, 40.1], [38.0, 38.3]))
    assert (enough.s, len(enough.notes)) == (-4, 2)
    assert enough.notes[0].startswith(
        "no level from 2002-07-15 to 2022-07-15, over a third of the record: levels before"
    )


def test_seasons_with_levels_on_one_side_of_a_gap_are_left_out():
    values = np.array([[40.0, NAN, 39.0], [40.2, NAN, 39.3], [38.0, 35.0, NAN], [38.4, 35.5, NAN], [38.1, NAN, NAN]])
    result, shift = segments_of(table(values), 2)
    alone, words = segments_of(table(values[:, :1]), 2)
    assert (result.s, result.p, shift) == (alone.s, alone.p, words) == (-6, result.p, words)
    nothing, words = segments_of(table(values[:, 1:]), 2)
    assert (words, math.isnan(nothing.p), nothing.step) == (None, True, True)
    record = table(values[[0, 1, 2, 3], 1:], years=[2001, 2002, 2030, 2031])
    assert find_trend(record).step
    assert find_trend(record).notes == [
        "no level from 2002-10-15 to 2030-04-15, over a third of the record: no season has levels before and after it"
    ]


def test_segments_are_widened_for_what_the_shift_leaves():
    random = np.random.default_rng(7)
    walk = np.convolve(random.normal(0.0, 0.3, (24)), [1.0, 0.7, 0.4])[:24]
    values = np.column_stack([40.0 + walk, 41.0 + walk + random.normal(0, 0.05, 24)])
    values[12:] -= 0.4
    values[3, 1] = NAN
    record = table(values)
    result, shift = segments_of(record, 12)
    plain = two_segments(values, 12)
    moved = values.copy()
    moved[12:] -= plain.shift
    held = estimate_serial_correlation(year_scores(year_signs(moved)))
    ratio = segments_ratio(record.years.astype(float), 12, held.corrected)
    wide = two_segments(values, 12, widening=ratio)
    assert ratio > 1.0
    pairs = 12 * 12 + 11 * 12
    assert (result.s, result.tau) == (plain.score, pytest.approx(plain.score / pairs, rel=1e-12))
    assert (result.var_s, result.z, result.p_independent) == (plain.variance, plain.z, plain.p_value)
    assert (result.p, result.variance) == pytest.approx((wide.p_value, wide.variance), rel=1e-12)
    assert result.slope == pytest.approx((wide.shift, wide.lower, wide.upper), rel=1e-12)
    assert (result.correlation, result.widening) == (held.corrected, held.variance_ratio)
    assert result.notes == [
        f"serial correlation {held.corrected:.2f}: p and limits with {ratio:.2f} times the variance, without it "
        f"{p_text(plain.p_value)}"
    ]
    assert shift == f"median shift {wide.shift:+.2f} m ({wide.lower:+.2f} m to {wide.upper:+.2f} m)"
    few, _ = segments_of(table([40.0, 40.1, 38.0, 38.3]), 2)
    assert "0.40 (assumed): p and limits" in few.notes[0]


@pytest.mark.parametrize(("numbers", "words"), [
    ((math.inf, -math.inf, math.inf), "median shift open"), ((-1.0, -2.0, 0.5), "median shift -1.00 m (-2.00 m to +0.50 m)"),
    ((-1.0, -math.inf, 0.5), "median shift -1.00 m (limits open)"),
    ((-1.0, -2.0, math.inf), "median shift -1.00 m (limits open)"),
])  # fmt: skip
def test_a_shift_in_words(numbers, words):
    assert trend_tests._shift_text(SimpleNamespace(shift=numbers[0], lower=numbers[1], upper=numbers[2])) == words


@pytest.mark.parametrize(("slope", "more"), [
    ((0.1, 0.0, 0.2), ""), ((0.1, -math.inf, 0.2), "; the lower limit stays open"),
    ((0.1, 0.0, math.inf), "; the upper limit stays open"),
    ((0.1, -math.inf, math.inf), "; the lower and upper limit stays open"),
    ((-math.inf, -math.inf, 0.2), "; so many that the slope stays open"),
])  # fmt: skip
def test_bounds_are_noted_with_what_they_leave_open(slope, more):
    record = table([5.0, 4.0, NAN, 3.0, 3.0], [0, 0, 0, -1, -1])
    words = f"2 of 4 values are bounds: taken by rank, in test and slope{more}"
    result = trend_tests.TrendResult(slope=slope)
    assert trend_tests._bound_notes(record, result) == [words]
    assert trend_tests._bound_notes(table([5.0, 4.0]), result) == []


def test_a_record_that_turns_has_its_bend_in_the_notes():
    when = np.arange(64).reshape(16, 4) / 4
    record = table(40.0 + 0.4 * np.abs(when - 8.0) + np.random.default_rng(1).normal(0, 0.1, (16, 4)))
    found, bend = find_trend(record), trend_tests.find_bend(record)
    assert found.bend == bend
    assert found.notes[0] == trend_tests._bend_text(bend)


def test_a_bend_is_noted_with_its_dates_and_slopes():
    bend = trend_tests.Bend(0.004, 2010, 2008, 2011, (-0.25, 0.01), (0.125, 0.02))
    assert trend_tests._bend_text(bend) == (
        "fell until 2010, rising since (bend 2008 to 2011 at 95 %; -0.250 m/year before, +0.125 m/year since; curvature "
        "p 0.004)"
    )
    bend = trend_tests.Bend(0.004, 2010, 2010, 2010, (-0.25, 0.01), (0.125, 0.02))
    assert "(bend 2010 at 95 %; " in trend_tests._bend_text(bend)


@pytest.mark.parametrize(("p", "text"), [(1e-4, "p 0.0001"), (0.99e-4, "p below 0.0001"), (0.0456, "p 0.046")])
def test_probabilities_in_words(p, text):
    assert p_text(p) == text
