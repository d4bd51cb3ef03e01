"""Serial correlation shared among series: constructed likelihoods, and the family of distributions written out."""

import numpy as np
import pytest

from gwnet.errors import ShapeError
from gwnet.hydro.trends.correlated_line import QUARTERLY, error_grid
from gwnet.hydro.trends.shared_memory import even_weights, share_memory

CORRELATION, SCATTER, _ = error_grid()


def likelihood_near(quarterly, spread=0.1):
    """Return a likelihood of the grid that has its top at a correlation from quarter to quarter without scatter."""
    z = np.arctanh(CORRELATION**0.25)
    return np.exp(-(((z - np.arctanh(quarterly)) / spread) ** 2) / 2) * np.where(SCATTER > 0, 0.05, 1.0)


def mean_correlation(weights):
    return float(weights @ CORRELATION**0.25)


def test_the_even_weights_are_those_of_the_grid_and_serve_a_single_series():
    assert even_weights() == pytest.approx(error_grid()[2] / error_grid()[2].sum())
    assert share_memory(likelihood_near(0.9)[None, :])[0] == pytest.approx(even_weights())


def test_series_that_say_nothing_leave_the_weights_about_even():
    """The family covers all correlations about evenly: the mean and the spread of the grid come back."""
    weights = share_memory(np.ones((12, CORRELATION.size)))
    assert weights.sum(axis=1) == pytest.approx(np.ones(12))
    assert mean_correlation(weights[0]) == pytest.approx(mean_correlation(even_weights()), abs=0.05)
    assert (weights[0] > 0).all()


def test_weights_come_from_the_others_and_not_from_the_series_itself():
    others = [likelihood_near(0.93)] * 9
    low, high = (share_memory(np.array([*others, likelihood_near(own)]))[-1] for own in (0.0, 0.98))
    assert low == pytest.approx(high)
    assert mean_correlation(low) == pytest.approx(0.93, abs=0.03)


def test_more_series_and_likelier_ones_give_narrower_weights():
    def spread(weights):
        z = np.arctanh(CORRELATION**0.25)
        return float(np.sqrt(weights @ z**2 - (weights @ z) ** 2))

    few, many = (spread(share_memory(np.array([likelihood_near(0.9)] * n))[0]) for n in (3, 20))
    apart = [likelihood_near(q) for q in (0.15, 0.6, 0.8, 0.9, 0.93, 0.95, 0.965, 0.98)]
    assert many < few < spread(even_weights())
    assert spread(share_memory(np.array(apart))[0]) > 2 * many


def test_series_with_the_same_disturbances_count_for_less():
    given = np.array([likelihood_near(0.93)] * 9)
    alike, apart = share_memory(given, 0.9)[0], share_memory(given, 0.0)[0]
    near = np.isclose(CORRELATION**0.25, 0.93)
    assert alike[near].sum() < apart[near].sum()
    assert share_memory(given, 1.0)[0] == pytest.approx(share_memory(np.ones(given.shape))[0])


def test_scatter_is_shared_as_well():
    top = np.where(np.isclose(SCATTER, 0.5), 1.0, 0.02)
    weights = share_memory(np.array([top] * 9))[0]
    of_scatter = even_weights()[np.isclose(SCATTER, 0.5)].sum()
    assert weights[np.isclose(SCATTER, 0.5)].sum() > 2 * of_scatter


def test_no_correlation_is_ruled_out():
    weights = share_memory(np.array([likelihood_near(0.3, 0.02)] * 30))[0]
    assert weights.min() > 1e-6
    assert len(QUARTERLY) * 4 - 3 == weights.size


def test_likelihoods_of_another_grid_are_refused():
    with pytest.raises(ShapeError, match="expected one for each of 57 points"):
        share_memory(np.ones((3, 5)))
