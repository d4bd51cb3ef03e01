"""Changes at a date that is looked for: sizes by statsmodels' GLS, dates and weights by their definition."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, stats

from gwnet.errors import TooFewLevelsError
from gwnet.hydro.trends.searched_change import search_change

TIMES = np.arange(24) / 2.0 + 0.1
DESIGN = np.column_stack([np.ones(24), TIMES - TIMES.mean()])
YEARS = np.arange(2.0, 11.0)
BENDS = np.maximum(TIMES[:, None] - YEARS, 0.0)
STEPS = (TIMES[:, None] >= YEARS).astype(float)
NOISE = np.random.default_rng(6).normal(0, 0.3, 24)


def test_sizes_at_each_point_are_those_of_generalised_least_squares():
    found = search_change(TIMES, NOISE + 0.4 * BENDS[:, 4], DESIGN, BENDS)
    assert found.degrees == 21
    for g, c in ((0, 0), (9, 4), (30, 7)):
        apart = np.abs(TIMES[:, None] - TIMES)
        sigma = (1 - found.scatter[g]) * found.correlation[g] ** apart + found.scatter[g] * np.eye(24)
        model = sm.GLS(NOISE + 0.4 * BENDS[:, 4], np.column_stack([DESIGN, BENDS[:, c]]), sigma=sigma).fit()
        assert found.sizes[g, c] == pytest.approx(model.params[2])
        assert found.scales[g, c] == pytest.approx(model.bse[2])


def test_dates_weigh_as_their_restricted_likelihood():
    found = search_change(TIMES, NOISE + 1.5 * STEPS[:, 3], DESIGN[:, :1], STEPS)
    # the point of independent values
    logs = []
    for c in range(YEARS.size):
        model = sm.OLS(NOISE + 1.5 * STEPS[:, 3], np.column_stack([DESIGN[:, :1], STEPS[:, c]])).fit()
        x = model.model.exog
        logs.append(-np.linalg.slogdet(x.T @ x)[1] / 2 - 22 / 2 * np.log(model.ssr))
    expected = np.exp(np.array(logs) - max(logs))
    assert found.weights[0] / found.weights[0].sum() == pytest.approx(expected / expected.sum(), rel=1e-6)
    assert found.best == 3
    first, last = found.dates()
    assert first <= 3 <= last
    below = np.cumsum(found.date_weights)
    assert below[last] >= 0.975
    assert below[first] >= 0.025


def test_limits_and_probability_are_those_of_the_mixture():
    found = search_change(TIMES, NOISE + 1.5 * STEPS[:, 3], DESIGN[:, :1], STEPS)

    def below(size):
        return (found.weights * stats.t.cdf((size - found.sizes) / found.scales, found.degrees)).sum()

    for probability in (0.025, 0.5, 0.975):
        expected = optimize.brentq(lambda size, p=probability: below(size) - p, -20, 20)
        assert found.size(probability) == pytest.approx(expected)
    of_date = found.weights / found.weights.sum(axis=0)
    tails = [(of_date * stats.t.cdf(way * found.sizes / found.scales, found.degrees)).sum(axis=0) for way in (-1, 1)]
    assert found.p_value == pytest.approx(min(1.0, 2 * 30 * np.min(tails)))
    assert 0.0 <= found.mean_correlation <= 1.0


def test_nothing_is_found_in_noise_and_too_few_values_are_refused():
    assert search_change(TIMES, NOISE, DESIGN[:, :1], STEPS).p_value > 0.05
    with pytest.raises(TooFewLevelsError, match="needs more values and a date"):
        search_change(TIMES[:3], NOISE[:3], DESIGN[:3], BENDS[:3])
    with pytest.raises(TooFewLevelsError):
        search_change(TIMES, NOISE, DESIGN, BENDS[:, :0])
