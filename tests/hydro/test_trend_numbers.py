"""Numbers of the smaller trend modules worked out with loops, scipy and statsmodels; each documented constant decides."""

import math
from itertools import combinations, permutations

import numpy as np
import pytest
from scipy import stats

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends import year_signs as year_signs_module
from gwnet.hydro.trends.false_discovery import adjusted_p_values
from gwnet.hydro.trends.hamed_rao import autocorrelation, hamed_rao
from gwnet.hydro.trends.kendall import value_limits
from gwnet.hydro.trends.linear_regression import linear_trend
from gwnet.hydro.trends.seasonal_kendall import score_covariance, seasonal_kendall
from gwnet.hydro.trends.serial_correlation import (
    corrected_lag1,
    estimate_serial_correlation,
    segments_ratio,
    variance_ratio,
)
from gwnet.hydro.trends.step_test import pettitt, two_segments
from gwnet.hydro.trends.year_signs import correlated_variance, signs_between, year_score, year_scores, year_signs

NAN = math.nan


@pytest.mark.parametrize(
    ("lag1", "count", "expected"),
    [
        (0.3, 24, (24 * 0.3 + 2) / 20),
        (-0.08, 24, (2 - 24 * 0.08) / 20),
        (-0.09, 24, 0.0),
        (0.9, 4, 0.0),
        (-0.3, 5, 0.5),
        (0.9, 5, 0.6),  # no more than 0.6 of a short record
        (0.9, 20, 0.6),
        (0.9, 21, 1 - 8 / 21),
        (0.95, 100, 0.92),
        (0.99, 160, 0.95),
        (0.99, 500, 0.95),
        (NAN, 24, 0.0),
    ],
)
def test_the_corrected_correlation_by_its_formula_and_limits(lag1, count, expected):
    """(n r + 2)/(n − 4) from 0 to 1 − 8/n, within 0.6 and 0.95 (project defaults, after simulation)."""
    assert corrected_lag1(lag1, count) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 5, 9, 30])
def test_serial_correlation_of_residuals_by_loops(count):
    """Below five values 0.4 at least is taken (project default)."""
    residuals = np.random.default_rng(count + 1).normal(2.0, 1.0, count).cumsum()
    away = [value - sum(residuals) / count for value in residuals]
    square = sum(value**2 for value in away)
    lag1 = sum(a * b for a, b in zip(away[1:], away, strict=False)) / square if square else NAN
    corrected = corrected_lag1(lag1, count)
    if count < 5:
        corrected = max(corrected, 0.4)
    found = estimate_serial_correlation(residuals)
    assert (found.count, found.assumed) == (count, count < 5)
    assert found.lag1 == pytest.approx(lag1, rel=1e-9, nan_ok=True)
    assert found.corrected == pytest.approx(corrected, rel=1e-9)
    assert found.variance_ratio == pytest.approx(variance_ratio(count, corrected), rel=1e-9)


def ratio_by_definition(count, correlation):
    """Sum the covariances (2/π) arcsin ρ of the signs of all pairs of pairs, over the variance of independent values."""
    first, second = np.triu_indices(count, 1)
    i, j, k, m = first[:, None], second[:, None], first[None], second[None]

    def carried(a, b):
        return np.where(a == b, 1.0, correlation ** np.abs(a - b))

    shared = carried(j, m) - carried(j, k) - carried(i, m) + carried(i, k)
    spread = np.sqrt(2 - 2 * carried(first, second))
    total = 2 / np.pi * np.arcsin(np.clip(shared / (spread[:, None] * spread), -1, 1)).sum()
    return total / (count * (count - 1) * (2 * count + 5) / 18)


@pytest.mark.parametrize("count", [3, 7, 40])
def test_ratios_of_variances_are_summed_up_to_forty_values_and_interpolated_between_twenty_correlations(count):
    kept = [0.05 * step for step in range(20)]
    ratios = [ratio_by_definition(count, correlation) for correlation in (kept if count < 40 else kept[:4])]
    assert ratios[0] == pytest.approx(1.0)
    for correlation in (0.01, 0.05, 0.07, 0.149) if count == 40 else (0.01, 0.07, 0.5, 0.93, 0.95):
        expected = np.interp(correlation, kept[: len(ratios)], ratios)
        # a pair with itself has the correlation 1, whose arcsine is good to eight digits
        assert variance_ratio(count, correlation) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("count", [41, 60, 2000])
def test_beyond_forty_values_the_inverse_ratio_goes_linearly_in_the_inverse_count_to_its_limit(count):
    near, lag = 1 / ratio_by_definition(40, 0.5), np.arange(1, 60)
    limit = 1 / (1 + 2 * sum(6 / np.pi * np.arcsin(0.5**lag / 2)))
    assert variance_ratio(count, 0.5) == pytest.approx(1 / (limit + (near - limit) * 40 / count), rel=1e-7)


def test_correlations_out_of_range_and_two_values():
    for correlation in (-0.01, 0.951, NAN):
        with pytest.raises(AnalysisError, match=r"expected 0 to 0\.95"):
            variance_ratio(10, correlation)
    assert (variance_ratio(2, 0.9), variance_ratio(0, 0.9), variance_ratio(50, 0.0)) == (1.0, 1.0, 1.0)
    assert variance_ratio(3, 0.9) > 1.05


@pytest.mark.parametrize(("first_after", "correlation"), [(0, 0.5), (1, 0.5), (3, 0.8), (5, 0.3), (6, 0.9), (3, 0.0)])
def test_the_ratio_of_segments_by_a_double_sum(first_after, correlation):
    """Correlation of ranks (6/π) arcsin(ρ/2) of a normal series (Pearson, 1907; from memory), two rows at one time."""
    years = np.array([0.0, 1.0, 2.5, 2.5, 9.0, 10.0])
    weights = [-1 / first_after if k < first_after else 1 / (6 - first_after) for k in range(6)]
    total = 0.0
    for a, one in zip(weights, years, strict=True):
        for b, other in zip(weights, years, strict=True):
            shared = 1.0 if one == other else correlation ** abs(one - other)
            total += a * b * 6 / np.pi * np.arcsin(shared / 2)
    expected = max(total / sum(w * w for w in weights), 1.0)
    assert segments_ratio(years, first_after, correlation) == pytest.approx(expected, rel=1e-9)


def u_of(table_low, table_high):
    """Return U_t for all t: signs of all pairs of one row up to t and one after it, summed over the blocks."""
    n = len(table_low)
    signs = np.zeros((n, n))
    for i in range(n):
        for j in range(n):
            signs[i, j] = np.sum(table_high[i] < table_low[j]) - np.sum(table_low[i] > table_high[j])
    return signs, [signs[:t, t:].sum() for t in range(1, n)]


@pytest.mark.parametrize("widening", [1.0, 1.7])
@pytest.mark.parametrize("rows", [3, 5, 7, 8])
def test_pettitts_statistic_and_probability_from_all_orders(rows, widening):
    random = np.random.default_rng(rows)
    table = random.integers(0, 5, (rows + 1, 2)).astype(float)
    bound = random.choice([-1, 0, 0, 0], table.shape)
    table[1] = NAN
    table[0, 1] = NAN
    table[2, 1] += 3.0
    low, high = value_limits(table, bound)
    here = [k for k in range(rows + 1) if k != 1]
    signs, sums = u_of(low[here], high[here])
    at = int(np.argmax(np.abs(sums)))
    found = pettitt(table, bound=bound, widening=widening)
    assert (found.count, found.statistic, found.score) == (rows, abs(sums[at]), sums[at])
    assert found.last_before == here[at]
    # the walk adds up what each row is above all others, whatever the order
    of_row = signs.sum(axis=0)
    orders = np.array(list(permutations(of_row)))
    share = np.mean(np.abs(orders.cumsum(axis=1)).max(axis=1) >= abs(sums[at]) / math.sqrt(widening) - 1e-9)
    assert found.method == ("exact" if rows <= 7 else "drawn")
    # 9,999 drawn orders are uncertain by half a hundredth at most
    assert found.p_value == pytest.approx(share, rel=1e-9 if rows <= 7 else None, abs=0.0 if rows <= 7 else 0.02)
    if rows == 8:
        assert (found.p_value * 10_000) == pytest.approx(round(found.p_value * 10_000), abs=1e-9)
    formula = pettitt(table, bound=bound, method="approximate", widening=widening)
    expected = 2 * math.exp(-6 * sums[at] ** 2 / widening / (rows**3 + rows**2))
    assert (formula.method, formula.p_value) == ("approximate", pytest.approx(min(1.0, expected), rel=1e-9))


def test_pettitts_probability_of_drawn_orders_where_the_step_is_as_large_as_can_be():
    """One of 9,999 and the series itself: 0.0001."""
    assert pettitt(np.arange(30.0)).p_value == 0.0001
    assert pettitt(np.arange(5.0), method="drawn").method == "drawn"
    assert pettitt([5.0] * 9, method="approximate").p_value == 1.0


@pytest.mark.parametrize(
    ("count", "widening"), [(6, 1.0), (12, 1.0), (12, 1.5), (12, 6.0), (13, 1.0), (13, 2.0), (20, 1.3)]
)
def test_two_segments_by_their_formulas(count, widening):
    """Variance n_b n_a Σ A_i²/(n (n − 1)); exact probability of up to 12 rows, no smaller than the normal one when widened."""
    random = np.random.default_rng(count)
    table = random.normal(0.0, 1.0, (count + 2, 2)).round(1)
    table[count // 2 :] += 0.8
    table[3], table[0, 1] = NAN, NAN
    table[-1] = NAN
    bound = random.choice([-1, 0, 0, 0, 0], table.shape)
    first_after = count // 2
    low, high = value_limits(table, bound)
    rows = [k for k in range(count + 2) if k not in (3, count + 1)]
    before, after = [k for k in rows if k < first_after], [k for k in rows if k >= first_after]
    signs, _ = u_of(low[rows], high[rows])
    of_row = signs.sum(axis=0)
    n, score = len(rows), of_row[len(before) :].sum()
    variance = len(before) * len(after) * (of_row**2).sum() / (n * (n - 1)) * widening
    z = score / math.sqrt(variance)
    normal = 2 * stats.norm.sf(abs(z))
    exact = None
    if n <= 12:
        sums = [sum(of_row[list(some)]) for some in combinations(range(n), len(after))]
        exact = np.mean(np.abs(sums) >= abs(score) - 1e-9)
    method = "exact" if exact is not None and (widening == 1.0 or exact > normal) else "normal"
    found = two_segments(table, first_after, bound=bound, widening=widening)
    assert (found.before, found.after, found.score) == (len(before), len(after), score)
    assert (found.variance, found.z) == pytest.approx((variance, z), rel=1e-12)
    assert (found.method, found.p_value) == (method, pytest.approx(exact if method == "exact" else normal, rel=1e-9))
    pairs = [(low[a, k] - high[b, k], high[a, k] - low[b, k]) for a in after for b in before for k in (0, 1)]
    pairs = [pair for pair in pairs if not math.isnan(pair[0])]
    ends = sorted(end for pair in pairs for end in pair)
    assert found.shift == pytest.approx((ends[len(pairs) - 1] + ends[len(pairs)]) / 2)
    width = 1.959963984540054 * math.sqrt(variance)
    for limit, slopes, rank in (
        (found.lower, ends[0::2], (len(pairs) - width) / 2),
        (found.upper, ends[1::2], (len(pairs) + width) / 2 + 1),
    ):
        if not 1 <= rank <= len(pairs):
            assert abs(limit) == math.inf
        elif math.isfinite(slopes[math.floor(rank) - 1]) and math.isfinite(slopes[math.ceil(rank) - 1]):
            assert limit == pytest.approx(np.interp(rank, np.arange(1, len(pairs) + 1), slopes), rel=1e-9)


@pytest.mark.parametrize(
    ("rows", "widening", "method", "p_value"),
    [
        # all after above all before: 2 of 924 ways, and less than the normal 0.004
        (12, 1.0, "exact", 2 / 924),
        (12, 1.01, "normal", None),
        # 2 of 20 ways, and more than the normal 0.05
        (6, 1.0, "exact", 0.1),
        (6, 1.01, "exact", 0.1),
        (6, 4.0, "normal", None),
    ],
)
def test_a_widened_variance_only_raises_the_exact_probability(rows, widening, method, p_value):
    found = two_segments(np.arange(float(rows)), rows // 2, widening=widening)
    assert found.method == method
    assert found.p_value == pytest.approx(2 * stats.norm.sf(abs(found.z)) if p_value is None else p_value, rel=1e-9)


def test_a_comparison_of_values_that_do_not_vary_and_refusals():
    found = two_segments([2.0, 2.0, 2.0], 1)
    assert (found.score, found.z, found.p_value, found.shift) == (0, 0.0, 1.0, 0.0)
    for call in (lambda: two_segments([1.0, NAN], 1), lambda: two_segments([[1.0, NAN], [NAN, 2.0]], 1)):
        with pytest.raises(TooFewLevelsError, match="before and after"):
            call()
    with pytest.raises(ShapeError, match="row for each time"):
        two_segments(5.0, 1)
    with pytest.raises(AnalysisError, match="expected 1 or more"):
        pettitt([1.0, 2.0, 3.0], widening=NAN)
    assert pettitt([1.0, NAN, 2.0, 3.0]).count == 3


def test_the_corrected_variance_by_its_formula():
    """Hamed and Rao (1998): only lags with |r| > z/√n of the ranks count, each with (n − k)(n − k − 1)(n − k − 2)."""
    series = [3.0, 3.5, 4.1, 4.1, 3.9, 2.0, 1.8, 1.2, 1.2, 2.5, 3.3, 4.0]
    ranks = stats.rankdata(series)
    away = ranks - ranks.mean()
    r = [sum(away[k:] * away[: 12 - k]) / sum(away**2) for k in range(12)]
    for alpha in (0.05, 0.4):
        limit = stats.norm.ppf(1 - alpha / 2) / math.sqrt(12)
        lags = [k for k in range(1, 12) if abs(r[k]) > limit]
        ratio = 1 + 2 / (12 * 11 * 10) * sum((12 - k) * (11 - k) * (10 - k) * r[k] for k in lags)
        found = hamed_rao(series, 20, 212.0, alpha=alpha)
        assert (found.ratio, found.lag1, found.lags) == (pytest.approx(ratio), pytest.approx(r[1]), len(lags))
        z = 19 / math.sqrt(212.0 * ratio)
        assert (found.z, found.p_value) == pytest.approx((z, 2 * stats.norm.sf(z)), rel=1e-9)
    assert hamed_rao(series, 20, 212.0) == hamed_rao(series, 20, 212.0, alpha=0.05)
    assert hamed_rao([1.0, 3.0, 2.0], 1, 3.7).ratio == 1.0
    for alpha in (0.0, 1.0):
        with pytest.raises(AnalysisError, match="level is"):
            hamed_rao(series, 1, 1.0, alpha=alpha)
    assert autocorrelation([1.0, NAN, 2.0])[1] == 0.0


def test_signs_of_years_by_loops(monkeypatch):
    random = np.random.default_rng(3)
    table, years = random.normal(0.0, 2.0, (7, 5)).round(), np.array([0.0, 1.0, 3.0, 4.0, 7.0, 8.0, 8.5])
    table[random.random(table.shape) < 0.15] = NAN
    bound = random.choice([-1, 0, 0, 1], table.shape)
    for slope, when in ((0.0, None), (0.25, years), (0.5, None)):
        fallen = table - slope * (np.arange(7.0) if when is None else when)[:, None]
        signs, _ = u_of(*value_limits(fallen, bound))
        found = year_signs(table, bound=bound, years=when, slope=slope)
        assert found.tolist() == signs.tolist()
        monkeypatch.setattr(year_signs_module, "HELD", 100)
        assert signs_between(*value_limits(fallen, bound)).tolist() == signs.tolist()
        rows = signs.sum(axis=0)
        assert year_scores(signs).tolist() == rows.tolist()
        assert year_score(signs) == sum(signs[i, j] for i, j in combinations(range(7), 2))
        pairs = sum(signs[i, j] ** 2 for i, j in combinations(range(7), 2))
        assert correlated_variance(signs) == pytest.approx((pairs + sum(rows**2)) / 3, rel=1e-12)
    assert year_signs([2.0, 1.0]).tolist() == [[0.0, -1.0], [1.0, 0.0]]
    for values, when in (([[[1.0]]], None), ([1.0, 2.0], [1.0, 2.0, 3.0])):
        with pytest.raises(ShapeError, match="row for each year"):
            year_signs(values, years=when)


def test_kendall_over_blocks_by_loops():
    """Σ Z² − m Z̄² over the blocks that vary (van Belle and Hughes, 1984); one block of one value, one without variance."""
    table = np.array(
        [[1.0, 4.0, 2.0, 7.0, NAN], [2.0, 3.0, 2.0, 5.0, 1.0], [3.0, 5.0, 2.0, 6.0, NAN], [2.5, 1.0, 2.0, 4.0, NAN]]
    )
    found = seasonal_kendall(table)
    scores, covariance = score_covariance(table)
    assert scores.tolist() == [4, -2, 0, -4, 0]
    variances = [4 * 3 * 13 / 18, 4 * 3 * 13 / 18, 0.0, 4 * 3 * 13 / 18, 0.0]
    assert found.variances == pytest.approx(variances, abs=1e-12)
    assert (found.score, found.tau_a) == (-2, pytest.approx(-2 / 24))
    z = (-2 + 1) / math.sqrt(sum(variances))
    assert (found.variance, found.z) == (pytest.approx(sum(variances)), pytest.approx(z))
    assert found.p_value == pytest.approx(2 * stats.norm.cdf(z))
    assert found.variance_correlated == pytest.approx(covariance.sum())
    z = np.array([4, -2, -4]) / math.sqrt(26 / 3)
    expected = (z**2).sum() - 3 * z.mean() ** 2
    assert (found.heterogeneity, found.heterogeneity_p) == pytest.approx(
        (expected, stats.chi2.sf(expected, 2)), rel=1e-9
    )
    assert math.isnan(seasonal_kendall(table[:, :1]).heterogeneity)
    assert not math.isnan(seasonal_kendall(table[:, :2]).heterogeneity)
    with pytest.raises(TooFewLevelsError, match="found 1 values in 1 blocks"):
        seasonal_kendall(table[:, 4:])
    with pytest.raises(ShapeError, match="row for each time"):
        score_covariance([1.0, 2.0])


def test_a_regression_line_is_that_of_scipy():
    """scipy.stats.linregress, and Student's t for limits and probability."""
    values, times = [3.1, NAN, 2.0, 4.5, 4.0, 7.7], [2.0, 3.0, -1.0, 4.0, 5.5, 9.0]
    found, other = linear_trend(values, times), stats.linregress([2.0, -1.0, 4.0, 5.5, 9.0], [3.1, 2.0, 4.5, 4.0, 7.7])
    assert (found.count, found.residuals.size) == (5, 5)
    width = stats.t.ppf(0.975, 3) * other.stderr
    expected = (other.slope, other.stderr, other.slope - width, other.slope + width, other.intercept, other.pvalue)
    numbers = (found.slope, found.standard_error, found.lower, found.upper, found.intercept, found.p_value)
    assert numbers == pytest.approx(expected, rel=1e-9)
    assert found.t == pytest.approx(other.slope / other.stderr, rel=1e-9)
    line = other.intercept + other.slope * np.array([2.0, -1.0, 4.0, 5.5, 9.0])
    assert found.residuals == pytest.approx(np.array([3.1, 2.0, 4.5, 4.0, 7.7]) - line, abs=1e-12)
    for slope, t in ((0.0, 0.0), (0.5, math.inf), (-0.5, -math.inf)):
        exact = linear_trend([slope * k for k in (-1.0, 0.0, 1.0)], [-1.0, 0.0, 1.0])
        assert (exact.t, exact.p_value) == (t, 0.0 if t else 1.0)
    with pytest.raises(TooFewLevelsError, match="there are 2"):
        linear_trend([1.0, 2.0, NAN], [1.0, 2.0, 3.0])
    with pytest.raises(ShapeError, match="equal shapes"):
        linear_trend([1.0, 2.0], [1.0, 2.0, 3.0])
    with pytest.raises(AnalysisError, match="of one time"):
        linear_trend([1.0, 2.0, 3.0], [4.0, 4.0, 4.0])


def test_adjusted_probabilities_are_those_of_scipy_wherever_there_is_one():
    """scipy.stats.false_discovery_control on what is there, in its place."""
    p = np.array([[0.04, NAN, 0.001, 0.2], [0.03, 1.0, 0.0, 0.04]])
    here = ~np.isnan(p)
    found = adjusted_p_values(p)
    assert found[here] == pytest.approx(stats.false_discovery_control(p[here]), rel=1e-12)
    assert np.isnan(found[~here]).all()
    assert adjusted_p_values([0.5, 0.9]).tolist() == [0.9, 0.9]
    for wrong in (-0.1, 1.1):
        with pytest.raises(AnalysisError, match=f"{wrong}; expected 0 to 1"):
            adjusted_p_values([0.5, wrong])
