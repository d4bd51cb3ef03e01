"""Lines through correlated values: the whitening by dense matrices, GLS by statsmodels, limits by Fieller's formula."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, stats

from gwnet.errors import ShapeError, TooFewLevelsError
from gwnet.hydro.trends.correlated_line import (
    CorrelatedLine,
    crossing_times,
    first_passage,
    fit_correlated_line,
    whiten,
)

TIMES = np.array([0.0, 0.25, 0.5, 1.1, 1.9, 2.0, 3.3, 4.0, 4.6, 5.0, 6.2, 7.0])
DESIGN = np.column_stack([np.ones(TIMES.size), TIMES - TIMES.mean()])
VALUES = 3.0 - 0.4 * TIMES + np.random.default_rng(8).normal(0, 0.5, TIMES.size)


def covariance(correlation, scatter, times=TIMES):
    apart = np.abs(times[:, None] - times)
    return (1 - scatter) * correlation**apart + scatter * np.eye(times.size)


@pytest.mark.parametrize(("correlation", "scatter"), [(0.0, 0.0), (0.6, 0.0), (0.9, 0.5), (0.2, 0.8)])
def test_whitened_columns_have_the_inverse_covariance_between_them(correlation, scatter):
    columns = np.column_stack([DESIGN, VALUES])
    white, log_determinant, state, left = whiten(TIMES, columns, np.array([correlation]), np.array([scatter]))
    v = covariance(correlation, scatter)
    assert white[0].T @ white[0] == pytest.approx(columns.T @ np.linalg.solve(v, columns))
    assert log_determinant[0] == pytest.approx(np.linalg.slogdet(v)[1])
    # what is expected of the correlated part at the last time, given all values (kriging)
    shared = (1 - scatter) * correlation ** (TIMES[-1] - TIMES)
    if correlation > 0:
        assert state[0] == pytest.approx(shared @ np.linalg.solve(v, columns))
        assert left[0] == pytest.approx((1 - scatter) - shared @ np.linalg.solve(v, shared), abs=1e-12)


def test_coefficients_and_limits_at_each_point_are_those_of_generalised_least_squares():
    line = fit_correlated_line(TIMES, VALUES, DESIGN)
    assert line.degrees == 10
    for g in (0, 5, 20, 40):
        model = sm.GLS(VALUES, DESIGN, sigma=covariance(line.correlation[g], line.scatter[g])).fit()
        assert line.coefficients[g] == pytest.approx(model.params)
        assert line.covariances[g] == pytest.approx(model.cov_params())


def test_weights_are_the_restricted_likelihood_with_the_scale_integrated_out():
    """The density of error contrasts K'y, K'X = 0: a multivariate t of the ratio, worked out from its definition."""
    line = fit_correlated_line(TIMES, VALUES, DESIGN)
    contrast = np.linalg.svd(DESIGN)[0][:, 2:]
    logs = []
    for correlation, scatter in zip(line.correlation, line.scatter, strict=True):
        v = contrast.T @ covariance(correlation, scatter) @ contrast
        w = contrast.T @ VALUES
        logs.append(-np.linalg.slogdet(v)[1] / 2 - 10 / 2 * np.log(w @ np.linalg.solve(v, w)))
    likelihood = np.exp(np.array(logs) - max(logs))
    prior = line.weights / likelihood
    prior /= prior.sum()
    other = fit_correlated_line(TIMES, VALUES[::-1].copy(), DESIGN)
    logs = []
    for correlation, scatter in zip(other.correlation, other.scatter, strict=True):
        v = contrast.T @ covariance(correlation, scatter) @ contrast
        w = contrast.T @ VALUES[::-1]
        logs.append(-np.linalg.slogdet(v)[1] / 2 - 10 / 2 * np.log(w @ np.linalg.solve(v, w)))
    expected = prior * np.exp(np.array(logs) - max(logs))
    # one prior explains the weights of both series
    assert other.weights == pytest.approx(expected / expected.sum(), rel=1e-6)


def test_quantiles_and_probabilities_are_those_of_the_mixture():
    line = fit_correlated_line(TIMES, VALUES, DESIGN)
    row = np.array([[0.0, 1.0]])
    scale = np.sqrt(line.covariances[:, 1, 1])

    def below(slope):
        return line.weights @ stats.t.cdf((slope - line.coefficients[:, 1]) / scale, 10)

    for probability in (0.025, 0.5, 0.975):
        expected = optimize.brentq(lambda slope, p=probability: below(slope) - p, -10, 10)
        assert line.quantile(row, probability)[0] == pytest.approx(expected)
    assert line.two_sided(1) == pytest.approx(2 * min(below(0.0), 1 - below(0.0)))
    turned = line.turned()
    assert turned.quantile(row, 0.975)[0] == pytest.approx(-line.quantile(row, 0.025)[0])


def white_line(level=10.0, slope=-0.5, degrees=14):
    """Return a posterior of one t."""
    one = np.ones(1)
    return CorrelatedLine(
        weights=one,
        correlation=0.0 * one,
        scatter=0.0 * one,
        coefficients=np.array([[level, slope]]),
        covariances=np.array([[[0.04, 0.002], [0.002, 0.0025]]]),
        variance=one,
        degrees=degrees,
        end_state=np.zeros((1, 3)),
        end_variance=0.0 * one,
    )


def test_crossing_times_are_fiellers_limits():
    """(level + slope t − limit)² = t² var(level + slope t): Fieller (1954), roots of a quadratic."""
    line, threshold = white_line(), 6.0
    early, middle, late = crossing_times(line, np.array([1.0, 0.0]), 1, threshold, (0.025, 0.5, 0.975), (-5.0, 60.0))
    assert middle == pytest.approx((10.0 - threshold) / 0.5, abs=1e-4)
    q = stats.t.ppf(0.975, 14) ** 2
    roots = np.sort(np.roots([0.25 - q * 0.0025, -2 * 0.5 * 4.0 - 2 * q * 0.002, 16.0 - q * 0.04]))
    assert (early, late) == pytest.approx(tuple(roots), abs=1e-4)
    assert crossing_times(line, np.array([1.0, 0.0]), 1, threshold, (0.5,), (-5.0, 3.0)) == [np.inf]
    assert crossing_times(line, np.array([1.0, 0.0]), 1, 20.0, (0.5,), (-5.0, 3.0)) == [-np.inf]


def test_the_first_passage_of_independent_values_is_that_of_the_normal_distribution():
    """With known coefficients value i is below with probability Φ, so the first one is geometric-like."""
    line = white_line(level=1.0, slope=0.0, degrees=100_000)
    line = CorrelatedLine(
        **{**{name: getattr(line, name) for name in line.__slots__}, "covariances": np.zeros((1, 2, 2))}
    )
    rows = np.tile([1.0, 0.0], (400, 1))
    first = first_passage(line, rows, np.arange(1.0, 401.0), 0.0, draws=20_000)
    below = stats.norm.cdf(-1.0)
    assert np.mean(first == 0) == pytest.approx(below, abs=0.01)
    assert first.mean() == pytest.approx((1 - below) / below, rel=0.05)


def test_the_first_passage_goes_on_from_the_state_at_the_end():
    """A correlated part 2 below the line at the end is passed on: ρ per step."""
    one = np.ones(1)
    line = CorrelatedLine(
        weights=one,
        correlation=0.5 * one,
        scatter=0.0 * one,
        coefficients=np.array([[0.0]]),
        covariances=np.zeros((1, 1, 1)),
        variance=one,
        degrees=100_000,
        end_state=np.array([[1.0, -2.0]]),
        end_variance=0.0 * one,
    )
    first = first_passage(line, np.ones((5, 1)), np.arange(1.0, 6.0), -1.5, draws=20_000)
    assert np.mean(first == 0) == pytest.approx(stats.norm.cdf((-1.5 + 1.0) / np.sqrt(0.75)), abs=0.012)


def test_limits_of_slopes_hold_in_correlated_values():
    """200 series of 15 years, four values a year, with a correlation of 0.5 from year to year."""
    random = np.random.default_rng(5)
    times = np.arange(60) / 4
    design = np.column_stack([np.ones(60), times - times.mean()])
    root = np.linalg.cholesky(covariance(0.5, 0.0, times))
    row = np.array([[0.0, 1.0]])
    held = 0
    for _ in range(200):
        line = fit_correlated_line(times, root @ random.normal(size=60) + 0.1 * times, design)
        held += line.quantile(row, 0.025)[0] <= 0.1 <= line.quantile(row, 0.975)[0]
    assert 0.90 <= held / 200 <= 1.0


def test_a_line_without_scatter_is_that_line():
    line = fit_correlated_line(TIMES, 3.0 - 0.4 * TIMES, DESIGN)
    lower, upper = (line.quantile(np.array([[0.0, 1.0]]), p)[0] for p in (0.025, 0.975))
    assert lower == pytest.approx(-0.4, abs=1e-4)
    assert upper == pytest.approx(-0.4, abs=1e-4)
    assert 0.0 <= line.correlation_after(1.0) <= 1.0


def test_wrong_shapes_and_too_few_values_are_refused():
    with pytest.raises(ShapeError):
        fit_correlated_line(TIMES, VALUES[1:], DESIGN)
    with pytest.raises(ShapeError, match="ascend"):
        fit_correlated_line(TIMES[::-1].copy(), VALUES, DESIGN)
    with pytest.raises(TooFewLevelsError, match="2 coefficients"):
        fit_correlated_line(TIMES[:2], VALUES[:2], DESIGN[:2])
