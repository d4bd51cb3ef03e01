"""Every number of the posterior of a line by dense matrices; what comes after the last value by the normal distribution."""

import numpy as np
import pytest
from scipy import optimize, stats

from gwnet.errors import ShapeError, TooFewLevelsError
from gwnet.hydro.trends.correlated_line import (
    CorrelatedLine,
    crossing_times,
    error_grid,
    first_passage,
    fit_correlated_line,
)

TIMES = np.array([0.0, 0.3, 0.5, 1.4, 1.9, 2.3, 3.3, 4.0, 4.6])
DESIGN = np.column_stack([np.ones(9), TIMES - 2.1])
VALUES = 3.0 - 0.4 * TIMES + np.array([0.3, -0.5, 0.1, 0.45, 0.2, -0.35, -0.6, 0.15, 0.25])


def documented_grid():
    """Correlation of a year, scatter and weight of each point: 15 correlations of quarters, 4 shares (project default)."""
    quarterly = [0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.86, 0.9, 0.93, 0.95, 0.965, 0.98, 0.99, 0.995]
    shares = {0.0: 0.55, 0.2: 0.15, 0.5: 0.15, 0.8: 0.15}
    points = []
    for k, own in enumerate(quarterly):
        left = 0.0 if k == 0 else (own + quarterly[k - 1]) / 2
        right = 1.0 if k == 14 else (own + quarterly[k + 1]) / 2
        # independent values have no correlated part beside which there could be scatter
        for share, weight in shares.items() if own else [(0.0, 1.0)]:
            points.append((own**4, share, weight * (right - left)))
    return np.array(points).T


def covariance(correlation, scatter, times=TIMES):
    return (1 - scatter) * correlation ** np.abs(times[:, None] - times) + scatter * np.eye(times.size)


@pytest.fixture(scope="module")
def line():
    return fit_correlated_line(TIMES, VALUES, DESIGN)


def test_the_grid_is_the_documented_one():
    assert np.array(error_grid()) == pytest.approx(documented_grid(), rel=1e-12)


def test_all_numbers_of_the_posterior_are_those_of_dense_matrices(line):
    """Harville (1974) with 1/σ for σ: |V|^(−1/2) |X'V⁻¹X|^(−1/2) R^(−(n−k)/2) times the weight beforehand."""
    correlation, scatter, prior = documented_grid()
    logs = []
    for g, (rho, s) in enumerate(zip(correlation, scatter, strict=True)):
        v = covariance(rho, s)
        inverse = np.linalg.inv(v)
        squares = DESIGN.T @ inverse @ DESIGN
        best = np.linalg.solve(squares, DESIGN.T @ inverse @ VALUES)
        rest = VALUES - DESIGN @ best
        left = rest @ inverse @ rest
        logs.append(-(np.linalg.slogdet(v)[1] + np.linalg.slogdet(squares)[1] + 7 * np.log(left)) / 2)
        assert line.coefficients[g] == pytest.approx(best, rel=1e-9)
        assert line.variance[g] == pytest.approx(left / 7, rel=1e-9)
        assert line.covariances[g] == pytest.approx(np.linalg.inv(squares) * left / 7, rel=1e-9)
        shared = (1 - s) * (rho ** (4.6 - TIMES) if rho else np.eye(9)[8])
        assert line.end_state[g] == pytest.approx(shared @ inverse @ np.column_stack([DESIGN, VALUES]), rel=1e-9)
        assert line.end_variance[g] == pytest.approx(1 - s - shared @ inverse @ shared, rel=1e-7, abs=1e-12)
    expected = prior * np.exp(np.array(logs) - max(logs))
    assert line.weights == pytest.approx(expected / expected.sum(), rel=1e-7)
    assert (line.correlation, line.scatter) == (pytest.approx(correlation), pytest.approx(scatter))
    assert line.degrees == 7
    other = np.arange(1.0, 58.0)
    given = fit_correlated_line(TIMES, VALUES, DESIGN, other).weights
    expected = other * np.exp(np.array(logs) - max(logs))
    assert given == pytest.approx(expected / expected.sum(), rel=1e-7)


def test_quantiles_and_probabilities_of_several_sums(line):
    rows = np.array([[1.0, 2.5], [0.0, 1.0], [1.0, -2.1]])

    def below(row, level):
        scale = np.sqrt([row @ c @ row for c in line.covariances])
        return line.weights @ stats.t.cdf((level - line.coefficients @ row) / scale, 7)

    assert line.probability_below(rows, 0.7) == pytest.approx([below(row, 0.7) for row in rows], rel=1e-9)
    for probability in (0.1, 0.5, 0.9):
        expected = [optimize.brentq(lambda x, r=r, p=probability: below(r, x) - p, -50, 50, xtol=1e-14) for r in rows]
        assert line.quantile(rows, probability) == pytest.approx(expected, abs=1e-8)
    for place, row in enumerate(np.eye(2)):
        assert line.two_sided(place) == pytest.approx(2 * min(below(row, 0.0), below(-row, 0.0)), rel=1e-9)
    expected = sum(w * (1 - s) * r**0.7 for w, s, r in zip(line.weights, line.scatter, line.correlation, strict=True))
    assert line.correlation_after(0.7) == pytest.approx(expected, rel=1e-12)


def test_values_turned_round_have_the_posterior_turned_round(line):
    turned, fitted = line.turned(), fit_correlated_line(TIMES, -VALUES, DESIGN)
    for name in line.__slots__:
        assert getattr(turned, name) == pytest.approx(getattr(fitted, name), rel=1e-9), name


def test_a_line_without_scatter_has_that_of_a_micrometre():
    """Least standard deviation 1e-6 m (project default): σ² is n · 1e-12 / (n − k) everywhere."""
    exact = fit_correlated_line(TIMES, 3.0 - 0.25 * TIMES, DESIGN)
    assert exact.variance == pytest.approx(np.full(57, 9e-12 / 7), rel=1e-9)
    assert 1e-7 < np.ptp([exact.quantile(np.array([[0.0, 1.0]]), p)[0] for p in (0.025, 0.975)]) < 1e-5


def test_the_weights_of_a_long_line_without_scatter_are_numbers():
    """Its likelihood is more than the largest number of double precision."""
    times = np.arange(120.0) / 4.0
    long = fit_correlated_line(times, 2.0 + 0.5 * times, np.column_stack([np.ones(120), times]))
    assert long.weights.sum() == pytest.approx(1.0)
    assert long.quantile(np.array([[0.0, 1.0]]), 0.5)[0] == pytest.approx(0.5, abs=1e-6)


def test_three_values_make_a_line_and_equal_times_do_not():
    three = fit_correlated_line(TIMES[:3], VALUES[:3], DESIGN[:3])
    assert three.degrees == 1
    with pytest.raises(ShapeError, match="none twice"):
        fit_correlated_line(np.array([0.0, 1.0, 1.0]), VALUES[:3], DESIGN[:3])
    for times, values, design in (
        (TIMES[:, None], VALUES, DESIGN),
        (TIMES, VALUES[:, None], DESIGN),
        (TIMES, VALUES, VALUES),
        (TIMES, VALUES, DESIGN[1:]),
    ):
        with pytest.raises(ShapeError, match="Shapes differ"):
            fit_correlated_line(times, values, design)
    with pytest.raises(TooFewLevelsError, match="3 coefficients needs more values than that; found 3"):
        fit_correlated_line(TIMES[:3], VALUES[:3], np.eye(3))


def made_line(coefficients, *, covariances=0.0, weights=(1.0,), degrees=10**7, **more):
    """Return a posterior of few points, without any scatter unless given."""
    g = len(weights)
    coefficients = np.reshape(np.array(coefficients, dtype=float), (g, -1))
    k = coefficients.shape[1]
    parts = {
        name: np.array(more.get(name, [0.0] * g)) for name in ("correlation", "scatter", "variance", "end_variance")
    }
    return CorrelatedLine(
        weights=np.array(weights),
        coefficients=coefficients,
        covariances=np.broadcast_to(covariances, (g, k, k)).copy(),
        degrees=degrees,
        end_state=np.array(more.get("end_state", np.zeros((g, k + 1)))),
        **parts,
    )


def test_a_sum_without_any_spread_is_below_or_not():
    certain = made_line([2.0])
    assert certain.probability_below(np.array([[1.0], [-1.0]]), 1.0).tolist() == [0.0, 1.0]


def test_futures_without_scatter_go_their_known_way():
    """The correlated part 2 below the line halves each year; the three points of the grid have their share of futures."""
    line = made_line(
        [[1.0, -0.5], [3.0, -0.5], [1.0, 0.0]],
        weights=(0.1, 0.2, 0.3),
        correlation=[0.5, 0.5, 0.25],
        end_state=[[0.0, 0.0, -2.0], [0.0, 0.0, -2.0], [1.0, 0.5, -1.0]],
    )
    after = np.array([1.0, 2.0, 4.0, 8.0])
    rows = np.column_stack([np.ones(4), after])
    # 1 − 0.5 t − 2 · 0.5^t: −0.5, −0.5, −1.125; 3 − 0.5 t − …: 1.5, 1.5, 0.875, −1.008; 1 − 2 · 0.25^t: 0.5, 0.875, …
    for level, first in (
        (-0.499, (0, 3, 4)),
        (-0.6, (2, 3, 4)),
        (0.876, (0, 2, 0)),
        (0.501, (0, 3, 0)),
        (-9.0, (4, 4, 4)),
    ):
        found = first_passage(line, rows, after, level, draws=6000)
        assert [found[:1000].tolist(), found[1000:3000].tolist(), found[3000:].tolist()] == [
            [first[0]] * 1000,
            [first[1]] * 2000,
            [first[2]] * 3000,
        ]
    assert first_passage(line, rows, after, 0.0).size == 2000


def test_futures_have_the_joint_normal_distribution_of_what_is_known_at_the_end():
    """Of three values the first below the level: probabilities of a normal of three dimensions from the definition."""
    rho, s, variance, left = 0.6, 0.3, 0.8, 0.35
    coefficients, spread = np.array([1.2, -0.3]), np.array([[0.09, 0.02], [0.02, 0.04]])
    state = np.array([0.5, 0.3, -0.4])
    after = np.array([0.4, 1.5, 2.2])
    rows = np.column_stack([np.ones(3), after + 0.5])
    line = made_line(
        coefficients,
        covariances=spread,
        correlation=[rho],
        scatter=[s],
        variance=[variance],
        end_variance=[left],
        end_state=[state],
    )
    carried = rho**after
    of_coefficients = rows - carried[:, None] * state[:2]
    mean = of_coefficients @ coefficients + carried * state[2]
    both = np.outer(carried, carried)
    shared = left * both + (1 - s) * (rho ** np.abs(after[:, None] - after) - both) + s * np.eye(3)
    together = of_coefficients @ spread @ of_coefficients.T + variance * shared
    level = -0.4
    above = [1.0] + [stats.multivariate_normal(-mean[:n], together[:n, :n]).cdf(np.full(n, -level)) for n in (1, 2, 3)]
    found = np.bincount(first_passage(line, rows, after, level, draws=100_000), minlength=4) / 100_000
    assert found == pytest.approx([*-np.diff(above), above[3]], abs=0.006)


def test_futures_of_few_degrees_of_freedom_are_those_of_students_t():
    noise = made_line([1.0], degrees=3, variance=[4.0])
    slope = made_line([1.0], degrees=3, covariances=4.0)
    for line in (noise, slope):
        first = first_passage(line, np.ones((1, 1)), np.ones(1), -1.5, draws=100_000, seed=4)
        assert np.mean(first == 0) == pytest.approx(stats.t.cdf(-1.25, 3), abs=0.005)
    assert (first_passage(noise, np.ones((1, 1)), np.ones(1), -1.5, seed=4) != first[:2000]).any()


@pytest.mark.parametrize(
    ("level", "expected"), [(8.0, 4.0), (7.75, 4.5), (10.0, -np.inf), (-89.5, 199.0), (-89.6, np.inf), (7.6, 4.8)]
)
def test_a_line_is_below_a_level_from_the_time_at_which_it_crosses_it(level, expected):
    """10 − 0.5 t, certain to the half: at a time that is looked at, between two, at the first, at the last, later."""
    line = made_line([10.0, -0.5], covariances=np.diag([0.04, 1e-6]), degrees=14)
    found = crossing_times(line, np.array([1.0, 0.0]), 1, level, (0.5,), (0.0, 199.0))
    assert found == pytest.approx([expected], abs=2e-6)
    if level in (8.0, 7.75):
        # the probability is one half exactly there
        assert found == [expected]


def test_limits_of_the_crossing_are_fiellers_to_the_last_second():
    """Fieller (1954): (4 − 0.5 t)² = q² (0.04 + 0.004 t + 0.0025 t²), roots of the quadratic."""
    line = made_line([10.0, -0.5], covariances=np.array([[0.04, 0.002], [0.002, 0.0025]]), degrees=14)
    q = stats.t.ppf(0.9, 14) ** 2
    roots = np.sort(np.roots([0.25 - q * 0.0025, -2 * 0.5 * 4.0 - 2 * q * 0.002, 16.0 - q * 0.04]))
    found = crossing_times(line, np.array([1.0, 0.0]), 1, 6.0, (0.9, 0.1), (0.0, 40.0))
    assert found == pytest.approx(roots[::-1], abs=1e-6)
