"""Least squares with limits from the profile of the sum of squares, against closed forms and SciPy's own searches."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from gwnet.hydro.pumping.fitting import Problem, aicc, solve, student_95

#: Rounding of a limit: the search ends at a hundredth of the wanted rise and takes one more step.
LIMIT = 2e-4
#: The same where a limit is so far away that the profile is traced, to a five-hundredth of the rise.
TRACED = 2e-3


def problem(observed, predict, k, *, weight=None, low=-30.0, high=30.0, **more):
    observed = np.asarray(observed, dtype=float)
    weight = np.ones(observed.size) if weight is None else np.asarray(weight, dtype=float)
    return Problem(observed, weight, predict, np.full(k, low), np.full(k, high), **more)


def constant(n):
    """Return a model of one number, which is its own parameter."""
    return lambda theta: np.full(n, theta[0])


def serial_of(residuals, **more):
    """Return the correlation that is found of residuals around their mean, 0."""
    residuals = np.asarray(residuals, dtype=float)
    return solve(problem(residuals, constant(residuals.size), 1, **more), [np.zeros(1)])


def waves(n, share):
    """Return residuals of mean 0: a slow wave of this share of the variance, and a sign that changes each time."""
    steps = np.arange(n)
    return math.sqrt(2.0 * share) * np.cos(4.0 * np.pi * steps / n) + math.sqrt(1.0 - share) * (-1.0) ** steps


@pytest.mark.parametrize("share", [0.60, 0.61, 0.62, 0.63, 0.64, 0.65, 0.7, 0.9])
def test_neighbours_count_from_one_in_a_hundred_on(share):
    """Correlation beyond 2.326 standard errors 1/√n, one-sided 1 %; limits wider by (1 + r)/(1 − r)."""
    residuals = waves(100, share)
    r = float(residuals[1:] @ residuals[:-1] / (residuals @ residuals))
    expected = r if r >= stats.norm.ppf(0.99) / 10.0 else 0.0
    found = serial_of(residuals)
    assert found.serial == pytest.approx(expected, abs=1e-9)
    variance = residuals @ residuals / 99.0 * (1.0 + expected) / (1.0 - expected)
    np.testing.assert_allclose(found.covariance, [[variance / 100.0]], rtol=1e-8)
    half = stats.t.ppf(0.975, 99) * math.sqrt(variance / 100.0)
    np.testing.assert_allclose([found.upper[0], -found.lower[0]], half, rtol=LIMIT)


def test_neighbours_are_those_in_time_of_one_well():
    ordered = np.repeat([1.0, -1.0], 10)
    assert serial_of(ordered).serial == pytest.approx(17 / 20)
    assert serial_of(0.01 * ordered).serial == pytest.approx(17 / 20)
    mixed = np.random.default_rng(1).permutation(20)
    assert serial_of(ordered[mixed], order=np.argsort(mixed)).serial == pytest.approx(17 / 20)
    joined = np.tile(ordered, 3)
    assert serial_of(joined, breaks=np.array([20, 40])).serial == pytest.approx(51 / 60)
    assert serial_of(joined).serial == pytest.approx(49 / 60)
    parted = np.concatenate([ordered, -ordered, ordered])
    assert serial_of(parted).serial == pytest.approx((3 * 17 + 2) / 60)
    assert serial_of(parted, breaks=np.array([20, 40])).serial == pytest.approx(51 / 60)
    assert serial_of(parted, breaks=np.array([], dtype=int)).serial == pytest.approx(53 / 60)


def test_correlation_is_at_most_0_95_and_that_of_a_perfect_fit_0():
    assert serial_of(np.repeat([1.0, -1.0], 200)).serial == 0.95
    perfect = serial_of(np.zeros(8))
    assert (perfect.serial, perfect.lower[0], perfect.upper[0]) == (0.0, perfect.theta[0], perfect.theta[0])


def test_the_criterion_of_akaike():
    """Hurvich and Tsai (1989): n ln(SS/n) + 2K + 2K(K + 1)/(n − K − 1), K = k + 1."""
    assert aicc(0.3, 9, 2) == pytest.approx(9 * math.log(0.3 / 9) + 6 + 24 / 5, rel=1e-12)
    assert aicc(7.0, 5, 2) == pytest.approx(5 * math.log(7.0 / 5) + 6 + 24, rel=1e-12)
    assert math.isnan(aicc(7.0, 4, 2))
    assert math.isfinite(aicc(0.0, 9, 2))


def test_the_quantile_is_that_of_scipy():
    for degrees in (1, 3, 17):
        assert student_95(degrees) == pytest.approx(stats.t.ppf(0.975, degrees), rel=1e-12)


X = np.array([0.3, 0.7, 1.1, 1.9, 2.6, 3.4])
Y = np.array([0.5, 0.2, 1.4, 1.0, 2.4, 1.9])
W = np.array([1.0, 0.4, 2.0, 0.7, 1.6, 0.9])


@pytest.mark.parametrize("has_slopes", [True, False])
def test_a_line_with_weights_has_the_covariance_of_weighted_least_squares(has_slopes):
    design = np.column_stack([np.ones(6), X])

    def line(theta):
        return design @ theta

    slopes = (lambda theta: (line(theta), design)) if has_slopes else None
    found = solve(problem(Y, line, 2, weight=W, slopes=slopes), [np.array([2.0, -1.0])])
    weighted = design * W[:, None]
    best, *_ = np.linalg.lstsq(weighted, Y * W)
    misfit = (Y - design @ best) * W
    covariance = np.linalg.inv(weighted.T @ weighted) * (misfit @ misfit) / 4.0
    rel = 1e-8 if has_slopes else 1e-4
    np.testing.assert_allclose(found.theta, best, rtol=rel)
    np.testing.assert_allclose(found.covariance, covariance, rtol=rel)
    spread = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(found.correlation, covariance / np.outer(spread, spread), rtol=rel)
    half = stats.t.ppf(0.975, 4) * spread
    np.testing.assert_allclose(found.upper - found.theta, half, rtol=LIMIT)
    np.testing.assert_allclose(found.theta - found.lower, half, rtol=LIMIT)
    assert found.sum_squares == pytest.approx(misfit @ misfit, rel=1e-6)
    assert (found.degrees, found.serial) == (4, 0.0)
    assert found.aicc == pytest.approx(aicc(misfit @ misfit, 6, 2), rel=1e-6)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_limits_of_a_line_are_exact_wherever_it_is(sign):
    """The sum of squares of a line is a parabola, of which Newton's method knows the height at once."""
    design = np.column_stack([np.ones(6), X])
    observed = sign * (20.0 + 5.0 * X) + 0.05 * Y

    def slopes(theta):
        return design @ theta, design

    given = problem(observed, lambda theta: design @ theta, 2, slopes=slopes, is_free=True)
    found = solve(given, [np.array([2.0, -1.0])])
    line = stats.linregress(X, observed)
    half = stats.t.ppf(0.975, 4) * np.array([line.intercept_stderr, line.stderr])
    np.testing.assert_allclose(found.theta, [line.intercept, line.slope], rtol=1e-9)
    np.testing.assert_allclose(found.upper - found.theta, half, rtol=1e-6)
    np.testing.assert_allclose(found.theta - found.lower, half, rtol=1e-6)


def test_one_reading_more_than_parameters_has_students_limits():
    design = np.column_stack([np.ones(3), X[:3]])
    found = solve(problem(Y[:3], lambda theta: design @ theta, 2), [np.array([2.0, -1.0])])
    line = stats.linregress(X[:3], Y[:3])
    half = stats.t.ppf(0.975, 1) * np.array([line.intercept_stderr, line.stderr])
    np.testing.assert_allclose(found.theta, [line.intercept, line.slope], rtol=1e-5)
    np.testing.assert_allclose(found.upper - found.theta, half, rtol=TRACED)
    np.testing.assert_allclose(found.theta - found.lower, half, rtol=TRACED)


def test_as_many_readings_as_parameters_have_the_limits_of_their_half_widths_or_none():
    design = np.column_stack([np.ones(2), X[:2]])
    start = [np.array([2.0, -1.0])]
    given = problem(Y[:2], lambda theta: design @ theta, 2, known_sd=0.2)
    found = solve(given, start)
    covariance = np.linalg.inv(design.T @ design) * 0.04
    np.testing.assert_allclose(found.covariance, covariance, rtol=1e-4)
    # 1.96 standard deviations of the normal distribution
    half = stats.norm.ppf(0.975) * np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(found.upper - found.theta, half, rtol=TRACED)
    np.testing.assert_allclose(found.theta - found.lower, half, rtol=TRACED)
    unknown = solve(problem(Y[:2], lambda theta: design @ theta, 2), start)
    assert np.isinf(unknown.covariance).all()
    assert (unknown.lower == -math.inf).all()
    assert (unknown.upper == math.inf).all()
    np.testing.assert_allclose(unknown.theta, found.theta, rtol=1e-6)
    np.testing.assert_allclose(
        unknown.correlation[0, 1], covariance[0, 1] / np.sqrt(np.prod(np.diag(covariance))), 1e-5
    )


@pytest.mark.parametrize("is_free", [True, False])
@pytest.mark.parametrize("half", [0.05, 0.5, 0.9, 0.97, 1.3, 3.0, 30.0])
def test_a_factor_has_the_limits_of_its_regression_also_where_0_is_among_them(half, is_free):
    """Of y = A x the limits of A are A ± t·s/√Σx²; the logarithm of A has no lower limit where that reaches 0."""
    x = np.array([1.0, 2.0, 0.5, 3.0, 1.5])
    away = np.array([2.0, -1.0, 0.0, 0.0, 0.0])
    assert away @ x == 0.0
    noise = away * half * math.sqrt(x @ x) / (stats.t.ppf(0.975, 4) * math.sqrt(away @ away / 4.0))

    def slopes(theta):
        return math.exp(theta[0]) * x, (math.exp(theta[0]) * x)[:, None]

    given = problem(x + noise, lambda theta: slopes(theta)[0], 1, slopes=slopes, is_free=is_free)
    found = solve(given, [np.array([0.7])])
    assert found.theta[0] == pytest.approx(0.0, abs=1e-7)
    rel = LIMIT if half < 1.2 else TRACED
    assert found.upper[0] == pytest.approx(math.log1p(half), rel=rel)
    assert found.lower[0] == (pytest.approx(math.log1p(-half), rel=3 * TRACED) if half < 1.0 else -math.inf)


@pytest.mark.parametrize("factor", [400.0, 0.0025])
def test_a_limit_that_is_traced_is_as_close_wherever_the_estimate_is(factor):
    x, away = np.array([1.0, 2.0, 0.5, 3.0, 1.5]), np.array([2.0, -1.0, 0.0, 0.0, 0.0])
    noise = away * 1.5 * math.sqrt(x @ x) / (stats.t.ppf(0.975, 4) * math.sqrt(away @ away / 4.0))
    found = solve(problem(factor * (x + noise), lambda theta: math.exp(theta[0]) * x, 1), [np.array([0.7])])
    assert found.theta[0] == pytest.approx(math.log(factor), rel=1e-5)
    assert found.upper[0] - found.theta[0] == pytest.approx(math.log(2.5), rel=TRACED)
    assert found.lower[0] == -math.inf


@pytest.mark.parametrize("beyond", [False, True])
@pytest.mark.parametrize("half", [0.6, 1.5])
def test_a_limit_beyond_the_end_of_the_search_is_none(half, beyond):
    x = np.array([1.0, 2.0, 0.5, 3.0, 1.5])
    noise = np.array([2.0, -1.0, 0.0, 0.0, 0.0])
    noise *= half * math.sqrt(x @ x) / (stats.t.ppf(0.975, 4) * math.sqrt(noise @ noise / 4.0))
    upper, lower = math.log1p(half), math.log1p(-0.6)
    ends = {"low": lower + (0.02 if beyond else -0.02), "high": upper + (-0.02 if beyond else 0.02)}
    found = solve(problem(x + noise, lambda theta: math.exp(theta[0]) * x, 1, **ends), [np.zeros(1)])
    assert found.upper[0] == (math.inf if beyond else pytest.approx(upper, rel=TRACED))
    if half < 1.0:
        assert found.lower[0] == (-math.inf if beyond else pytest.approx(lower, rel=TRACED))


def saturating(theta):
    """Return a level that rises to exp θ0 with the rate exp θ1."""
    return math.exp(theta[0]) * -np.expm1(-math.exp(theta[1]) * X)


def saturating_slopes(theta):
    height, rate = np.exp(theta)
    decay = np.exp(-rate * X)
    return height * (1.0 - decay), np.column_stack([height * (1.0 - decay), height * rate * X * decay])


def profile_limits(observed, weight, best, rise, ends):
    """Return limits of both logarithms: where the least sum of squares over the other has risen so far."""

    def height(place, value):
        def of_other(other):
            theta = np.array([value, other] if place == 0 else [other, value])
            return float((((saturating(theta) - observed) * weight) ** 2).sum())

        other = best[1 - place]
        grid = other + np.linspace(-6.0, 6.0, 49)
        near = grid[int(np.argmin([of_other(each) for each in grid]))]
        bounds = (near - 0.3, near + 0.3)
        return optimize.minimize_scalar(of_other, bounds=bounds, method="bounded", options={"xatol": 1e-9}).fun

    least = float((((saturating(best) - observed) * weight) ** 2).sum())
    limits = []
    for place, low, high in ((0, *ends[0]), (1, *ends[1])):
        pair = []
        for end in (low, high):
            if height(place, end) - least < rise:
                pair.append(math.copysign(math.inf, end - best[place]))
            else:
                pair.append(
                    optimize.brentq(lambda v, p=place: height(p, v) - least - rise, best[place], end, xtol=1e-7)
                )
        limits.append(pair)
    return np.array(limits).T


@pytest.mark.parametrize(("noise", "rel"), [(0.01, 1e-3), (0.03, 1e-3), (0.06, 1e-3), (0.15, TRACED)])
@pytest.mark.parametrize("kind", ["slopes", "differences", "free"])
def test_limits_are_those_of_the_profile(noise, rel, kind):
    errors = noise * np.array([1.0, -1.0, 0.5, -1.5, 1.0, -0.5])
    observed = saturating(np.log([2.0, 0.8])) + errors
    more = {} if kind == "differences" else {"slopes": saturating_slopes, "is_free": kind == "free"}
    given = problem(observed, saturating, 2, weight=W, low=-8.0, high=8.0, **more)
    found = solve(given, [np.array([0.1, 0.2])])
    best = optimize.least_squares(
        lambda theta: (saturating(theta) - observed) * W, [0.1, 0.2], xtol=1e-14, ftol=1e-14
    ).x
    np.testing.assert_allclose(found.theta, best, atol=1e-7)
    misfit = (saturating(best) - observed) * W
    rise = misfit @ misfit / 4.0 * stats.t.ppf(0.975, 4) ** 2
    limits = profile_limits(observed, W, best, rise, ((-6.0, 7.5), (-7.5, 6.0)))
    for name, expected in zip(("lower", "upper"), limits, strict=True):
        away = np.abs(np.where(np.isfinite(expected), expected - best, 1.0))
        got = getattr(found, name)
        np.testing.assert_array_equal(np.isfinite(got), np.isfinite(expected))
        finite = np.isfinite(expected)
        assert (np.abs(got - expected)[finite] < rel * away[finite]).all()


@pytest.mark.parametrize("is_free", [True, False])
def test_of_several_starts_the_lower_valley_counts(is_free):
    """A curve of the fourth degree has two valleys, near −2 and the lower one near 2."""

    def predict(theta):
        return np.array([theta[0] ** 2 - 4.0, 0.5 * (theta[0] - 2.0), 0.1])

    def slopes(theta):
        return predict(theta), np.array([[2.0 * theta[0]], [0.5], [0.0]])

    given = problem(np.zeros(3), predict, 1, slopes=slopes, low=-9.0, high=9.0, is_free=is_free)
    for starts in ([-3.0, 3.0], [3.0, -3.0], [-2.5, -3.0, 1.0]):
        assert solve(given, [np.array([start]) for start in starts]).theta[0] == pytest.approx(2.0, abs=1e-6)
    assert solve(given, [np.array([-3.0])]).theta[0] == pytest.approx(-1.935, abs=0.001)


@pytest.mark.parametrize(("low", "high", "expected"), [([-1, 0.2], [9, 9], [-1, 3]), ([-9, -9], [9, 1.5], [-2, 1.5])])
def test_a_free_search_that_leaves_its_ends_is_done_again_within_them(low, high, expected):
    """The best values are −2 and 3, each its own; one of them lies beyond an end."""
    observed = np.array([-2.0, 3.0, -2.2, 3.1, -1.8, 2.9])

    def slopes(theta):
        return np.resize(theta, 6), np.resize(np.eye(2), (6, 2))

    ends = np.array(low, dtype=float), np.array(high, dtype=float)
    given = Problem(observed, np.ones(6), lambda theta: slopes(theta)[0], *ends, slopes, is_free=True)
    np.testing.assert_allclose(solve(given, [np.array([0.0, 1.0])]).theta, expected, atol=1e-5)


def test_a_narrow_search_and_a_start_beyond_it():
    """A model that is not defined beyond the upper end is not asked there."""
    high = 0.4

    def predict(theta):
        if theta[0] > high:
            raise AssertionError("asked beyond the end of the search")
        return np.full(4, 2.0 * theta[0])

    given = problem([0.5, 0.7, 0.6, 0.6], predict, 1, low=0.1, high=high)
    found = solve(given, [np.array([3.0])])
    assert found.theta[0] == pytest.approx(0.3, abs=1e-8)
    at_end = given.misfit_and_slopes(np.array([high]))
    np.testing.assert_allclose(at_end[1], 2.0, rtol=1e-9)
    np.testing.assert_allclose(at_end[0], [0.3, 0.1, 0.2, 0.2])


def test_what_the_data_do_not_see_has_no_limits_and_a_great_variance():
    given = problem(Y, lambda theta: theta[0] + 0.0 * theta[1] * X, 2, low=-9.0, high=9.0)
    found = solve(given, [np.array([0.5, 0.5])])
    assert found.theta[0] == pytest.approx(Y.mean(), rel=1e-5)
    assert (found.lower[1], found.upper[1]) == (-math.inf, math.inf)
    assert found.covariance[0, 0] == pytest.approx(Y.var(ddof=1) * 5 / 4 / 6, rel=1e-6)
    assert found.covariance[1, 1] > 1e9
