"""Serial correlation shared among series: constructed likelihoods, and the family of distributions written out."""

import numpy as np
import pytest

from gwnet.errors import ShapeError
from gwnet.hydro.trends.correlated_line import error_grid
from gwnet.hydro.trends.shared_memory import even_weights, share_memory

#: Correlations of quarters on the grid, shares of scatter beside each but 0 (project defaults).
QUARTERS = [0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.86, 0.9, 0.93, 0.95, 0.965, 0.98, 0.99, 0.995]
QUARTER = np.array([0.0] + [quarter for quarter in QUARTERS[1:] for _ in range(4)])
SCATTER = np.array([0.0] + [0.0, 0.2, 0.5, 0.8] * 14)


def likelihood_near(quarterly, spread=0.1):
    """Return a likelihood of the grid that has its top at a correlation from quarter to quarter without scatter."""
    z = np.arctanh(QUARTER)
    return np.exp(-(((z - np.arctanh(quarterly)) / spread) ** 2) / 2) * np.where(SCATTER > 0, 0.05, 1.0)


def mean_correlation(weights):
    return float(weights @ QUARTER)


def test_the_even_weights_are_those_of_the_grid_and_serve_a_single_series():
    assert even_weights() == pytest.approx(error_grid()[2] / error_grid()[2].sum())
    assert share_memory(likelihood_near(0.9)[None, :])[0] == pytest.approx(even_weights())


def test_series_that_say_nothing_leave_the_weights_about_even():
    """The family covers all correlations about evenly: the mean and the spread of the grid come back."""
    weights = share_memory(np.ones((12, QUARTER.size)))
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
        z = np.arctanh(QUARTER)
        return float(np.sqrt(weights @ z**2 - (weights @ z) ** 2))

    few, many = (spread(share_memory(np.array([likelihood_near(0.9)] * n))[0]) for n in (3, 20))
    apart = [likelihood_near(q) for q in (0.15, 0.6, 0.8, 0.9, 0.93, 0.95, 0.965, 0.98)]
    assert many < few < spread(even_weights())
    assert spread(share_memory(np.array(apart))[0]) > 2 * many


def test_series_with_the_same_disturbances_count_for_less():
    given = np.array([likelihood_near(0.93)] * 9)
    alike, apart = share_memory(given, 0.9)[0], share_memory(given, 0.0)[0]
    near = np.isclose(QUARTER, 0.93)
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
    assert weights.size == 57


def test_likelihoods_of_another_grid_are_refused():
    with pytest.raises(ShapeError, match="expected one for each of 57 points"):
        share_memory(np.ones((3, 5)))
    with pytest.raises(ShapeError, match="57 points"):
        share_memory(np.ones(57))


def written_out_family(even):
    """Return the distributions that series may have, and their weights, point by point as documented.

    Fisher's z of a quarter is normal about each correlation of the grid with a width of 0.1, 0.2, 0.4 or 0.8 (0.225
    each), or all is even (0.1); shares of scatter are as before, or drawn by 0.8 towards one; 0.02 goes to the even one
    (project defaults).
    """
    z = [np.arctanh(quarter) for quarter in QUARTERS]
    members, weights = [even], [0.1]
    for width in (0.1, 0.2, 0.4, 0.8):
        for k, centre in enumerate(z):
            of_quarter = []
            for j, own in enumerate(z):
                left = own if j == 0 else (z[j - 1] + own) / 2
                right = own + (own - z[j - 1]) / 2 if j == 14 else (own + z[j + 1]) / 2
                of_quarter.append((right - left) * np.exp(-((own - centre) ** 2) / (2 * width**2)))
            left = 0.0 if k == 0 else (QUARTERS[k - 1] + QUARTERS[k]) / 2
            right = 1.0 if k == 14 else (QUARTERS[k] + QUARTERS[k + 1]) / 2
            for drawn_to in (None, 0.0, 0.2, 0.5, 0.8):
                member = []
                for quarter, share, evenly in zip(QUARTER, SCATTER, even, strict=True):
                    j = QUARTERS.index(quarter)
                    of_share = 1.0 if j == 0 else {0.0: 0.55, 0.2: 0.15, 0.5: 0.15, 0.8: 0.15}[share]
                    if drawn_to is not None:
                        # independent values have no scatter of their own, so nothing is drawn
                        of_share = 0.2 * of_share + 0.8 * (1.0 if j == 0 and drawn_to else float(share == drawn_to))
                    member.append(0.98 * of_quarter[j] / sum(of_quarter) * of_share + 0.02 * evenly)
                members.append(np.array(member) / sum(member))
                weights.append(0.225 * (right - left) / 5)
    return np.array(members), np.array(weights)


@pytest.mark.parametrize(("count", "shared"), [(2, 0.0), (3, 0.3)])
def test_weights_are_those_of_the_family_written_out(count, shared):
    even = error_grid()[2] / error_grid()[2].sum()
    likelihoods = np.random.default_rng(count).uniform(0.2, 5.0, (count, 57)) ** 2
    members, weights = written_out_family(even)
    assert even.sum() == pytest.approx(1.0)
    power = (1 - shared) / (1 + (count - 1) * shared)
    for own, found in enumerate(share_memory(likelihoods, shared)):
        of_member = weights.copy()
        for other in set(range(count)) - {own}:
            of_member *= (members @ likelihoods[other]) ** power
        assert found == pytest.approx(of_member @ members / of_member.sum(), rel=1e-9)


def test_no_series_has_no_weights():
    assert share_memory(np.ones((0, 57))).shape == (0, 57)


def test_the_likelihoods_of_many_series_are_not_lost():
    """The product of those of 1,500 series is less than the least number of double precision."""
    weights = share_memory(np.array([likelihood_near(0.9, 0.02)] * 1500))
    assert weights.sum(axis=1) == pytest.approx(np.ones(1500))
    assert weights[0, QUARTER == 0.9].sum() > 0.5
