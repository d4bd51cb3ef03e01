"""The posterior of a change at dates that are looked for: every weight, size and scale by dense matrices."""

import numpy as np
import pytest
from scipy import optimize, stats

from gwnet.errors import TooFewLevelsError
from gwnet.hydro.trends.correlated_line import error_grid
from gwnet.hydro.trends.searched_change import SearchedChange, search_change

TIMES = np.array([0.0, 0.8, 2.1, 3.0, 3.7, 5.2, 6.0, 7.1, 8.4])
DESIGN = np.column_stack([np.ones(9), TIMES])
#: Bends in a small unit: their squares are below 1.
BENDS = 0.05 * np.maximum(TIMES[:, None] - np.array([1.5, 3.5, 5.5]), 0.0)
VALUES = 0.2 * TIMES + 8.0 * BENDS[:, 1] + np.array([0.2, -0.1, 0.15, -0.3, 0.1, 0.2, -0.15, 0.05, -0.2])


@pytest.mark.parametrize("beforehand", [None, np.arange(1.0, 58.0)])
def test_weights_sizes_and_scales_are_those_of_dense_matrices(beforehand):
    """|V|^(−1/2) |X'V⁻¹X|^(−1/2) R^(−(n−k−1)/2) times the weight beforehand, X with the column of the date."""
    correlation, scatter, prior = error_grid()
    logs = np.empty((57, 3))
    found = search_change(TIMES, VALUES, DESIGN, BENDS, beforehand)
    for g in range(57):
        v = (1 - scatter[g]) * correlation[g] ** np.abs(TIMES[:, None] - TIMES) + scatter[g] * np.eye(9)
        inverse = np.linalg.inv(v)
        for c in range(3):
            x = np.column_stack([DESIGN, BENDS[:, c]])
            squares = x.T @ inverse @ x
            best = np.linalg.solve(squares, x.T @ inverse @ VALUES)
            rest = VALUES - x @ best
            left = rest @ inverse @ rest
            logs[g, c] = -(np.linalg.slogdet(v)[1] + np.linalg.slogdet(squares)[1] + 6 * np.log(left)) / 2
            assert found.sizes[g, c] == pytest.approx(best[2], rel=1e-8)
            assert found.scales[g, c] == pytest.approx(np.sqrt(left / 6 * np.linalg.inv(squares)[2, 2]), rel=1e-8)
    expected = (prior if beforehand is None else beforehand)[:, None] * np.exp(logs - logs.max())
    assert found.weights == pytest.approx(expected / expected.sum(), rel=1e-6)
    assert found.degrees == 6
    assert (found.correlation.tolist(), found.scatter.tolist()) == (correlation.tolist(), scatter.tolist())


def test_a_change_without_scatter_has_that_of_a_micrometre():
    """Least standard deviation 1e-6 m (project default): the scale of independent values is √(n 1e-12 / (n − 3) / S)."""
    step = (TIMES > 4.0).astype(float)
    found = search_change(TIMES, 1.0 + 0.5 * TIMES + 2.0 * step, DESIGN, step[:, None])
    rest = step - DESIGN @ np.linalg.lstsq(DESIGN, step, rcond=None)[0]
    assert found.scales[0, 0] == pytest.approx(np.sqrt(9e-12 / 6 / (rest @ rest)), rel=1e-9)
    assert found.size(0.5) == pytest.approx(2.0, abs=1e-5)


def test_the_weights_of_a_long_step_without_scatter_are_numbers():
    """Its likelihood is more than the largest number of double precision."""
    times = np.arange(120.0) / 4.0
    steps = (times[:, None] >= np.array([9.0, 15.0])).astype(float)
    found = search_change(times, 3.0 * steps[:, 1], np.ones((120, 1)), steps)
    assert found.weights.sum() == pytest.approx(1.0)
    assert found.best == 1


def made_change(weights=((0.1, 0.3, 0.05), (0.2, 0.25, 0.1)), sizes=((0.5, 2.5, 1.0), (0.2, 2.0, -3.0))):
    return SearchedChange(
        weights=np.array(weights),
        sizes=np.array(sizes),
        scales=np.array([[0.4, 0.3, 0.7], [0.5, 0.45, 0.8]]),
        degrees=5,
        correlation=np.array([0.3, 0.8]),
        scatter=np.array([0.0, 0.2]),
    )


def test_what_is_read_from_a_posterior():
    """Thirty independent dates (project default): 2 · 30 times the smallest tail of a date, at most 1."""
    found = made_change()
    assert found.date_weights.tolist() == pytest.approx([0.3, 0.55, 0.15])
    assert found.best == 1
    assert found.mean_correlation == pytest.approx(0.45 * 0.3 + 0.55 * 0.8 * 0.8)
    small = [
        [stats.t.cdf(-0.5 / 0.4, 5), stats.t.cdf(-2.5 / 0.3, 5)],
        [stats.t.cdf(-0.2 / 0.5, 5), stats.t.cdf(-2 / 0.45, 5)],
    ]
    tails = [0.1 / 0.3 * small[0][0] + 0.2 / 0.3 * small[1][0], 0.3 / 0.55 * small[0][1] + 0.25 / 0.55 * small[1][1]]
    assert tails[1] < tails[0]
    assert found.p_value == pytest.approx(60 * tails[1], rel=1e-12)
    assert made_change(sizes=((-0.5, -2.5, -1.0), (-0.2, -2.0, 3.0))).p_value == pytest.approx(found.p_value, rel=1e-12)
    assert made_change(sizes=((0.1, 0.2, 0.1), (-0.1, 0.3, -0.1))).p_value == 1.0
    for probability in (0.05, 0.5, 0.95):

        def missed(size, p=probability):
            return (found.weights * stats.t.cdf((size - found.sizes) / found.scales, 5)).sum() - p

        assert found.size(probability) == pytest.approx(optimize.brentq(missed, -40, 40, xtol=1e-14), abs=1e-9)


@pytest.mark.parametrize(("coverage", "expected"), [(0.95, (0, 2)), (0.69, (0, 1)), (0.3, (1, 1)), (1.0, (0, 2))])
def test_dates_hold_their_share(coverage, expected):
    """Below 0.3, 0.85 and 1: 0.155 and 0.845, 0.35 and 0.65."""
    assert made_change().dates(coverage) == expected


def test_all_dates_are_held_where_the_sum_of_the_weights_is_rounded_below_one():
    tenths = made_change(weights=[[0.1] * 10])
    assert np.cumsum(tenths.date_weights)[-1] < 1.0
    assert tenths.dates(1.0) == (0, 9)
    assert tenths.dates() == (0, 9)


def test_one_degree_of_freedom_is_enough():
    assert search_change(TIMES[:4], VALUES[:4], DESIGN[:4], BENDS[:4, :1]).degrees == 1
    with pytest.raises(TooFewLevelsError, match="beside 2 coefficients needs more values and a date; found 3 and 1"):
        search_change(TIMES[:3], VALUES[:3], DESIGN[:3], BENDS[:3, :1])
