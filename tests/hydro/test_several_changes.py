"""Several steps at dates that are looked for: the Nile at Aswan, and constructed series."""

import numpy as np
import pytest
import statsmodels.api as sm

from gwnet.errors import TooFewLevelsError
from gwnet.hydro.trends.several_changes import find_changes

YEARS = np.arange(40.0)
DATES = np.arange(4.0, 37.0)


def noise(count, seed=1, spread=0.5):
    return np.random.default_rng(seed).normal(0, spread, count)


def found_in(values, **more):
    return find_changes(YEARS, values, np.ones((values.size, 1)), DATES, **more)


def test_the_nile_fell_once_after_1898():
    """Annual flow 1871–1970: one change, after 1898 (Cobb, 1978; one break with the interval 1895 to 1902 by least
    squares of independent values in Zeileis and others, 2003; from memory). The date is that of the first year after.
    """
    nile = sm.datasets.nile.load_pandas().data.astype(float)
    years = nile["year"].to_numpy()
    dates = np.arange(1881.0, 1962.0)
    found = find_changes(years, nile["volume"].to_numpy(), np.ones((100, 1)), dates)
    assert dates[list(found.places)].tolist() == [1899.0]
    assert found.steps_describe_best
    first, last = dates[list(found.intervals[0])]
    assert 1895 <= first <= 1899 <= last <= 1903


def test_up_and_down_again_are_two_steps():
    found = found_in(noise(40) + 3.0 * ((YEARS >= 12) & (YEARS < 25)))
    assert DATES[list(found.places)].tolist() == [12.0, 25.0]
    assert all(first <= at <= last for at, (first, last) in zip(found.places, found.intervals, strict=True))
    assert found.steps_describe_best


def test_three_steps_up():
    found = found_in(noise(40, spread=0.2) + 2.0 * (YEARS >= 8) + 2.0 * (YEARS >= 20) + 2.0 * (YEARS >= 30))
    assert DATES[list(found.places)].tolist() == [8.0, 20.0, 30.0]


def test_noise_and_a_line_have_no_step():
    assert found_in(noise(40)).places == ()
    line = found_in(noise(40) + 0.15 * YEARS)
    assert not line.steps_describe_best
    bent = found_in(noise(40) + 0.3 * np.abs(YEARS - 20))
    assert not bent.steps_describe_best


def test_a_wander_is_not_taken_for_steps():
    wander = noise(40, seed=3, spread=1.0)
    for k in range(1, 40):
        wander[k] = 0.9 * wander[k - 1] + np.sqrt(1 - 0.81) * wander[k]
    assert len(found_in(wander).places) <= 1


def test_steps_keep_their_distance_and_intervals_grow_with_coverage():
    values = noise(40, spread=0.3) + 3.0 * ((YEARS >= 20) & (YEARS < 22))
    assert all(np.diff(DATES[list(found_in(values, apart=5.0).places)]) >= 5.0)
    doubtful = noise(40, spread=1.2) + 3.0 * (YEARS >= 20)
    narrow, wide = (found_in(doubtful, coverage=share).intervals[0] for share in (0.5, 0.999))
    assert wide[0] <= narrow[0] <= narrow[1] <= wide[1]
    assert wide != narrow


def test_values_without_scatter_and_few_values():
    assert found_in(np.full(40, 2.0)).places == ()
    assert DATES[list(found_in(2.0 * (YEARS >= 15)).places)].tolist() == [15.0]
    with pytest.raises(TooFewLevelsError, match="found 0 dates"):
        find_changes(YEARS, YEARS, np.ones((40, 1)), np.zeros(0))


@pytest.mark.parametrize(
    ("values", "most"), [([1.0, 3.0, 3.001, 1.0, 7.0], 1), ([0.999, 3.001, 7.0, 6.999, 0.001, 0.0], 2)]
)
def test_steps_leave_three_values_more_than_what_they_are_fitted_with(values, most):
    """Each value could have a step of its own and nothing would be left to judge them by."""
    times = np.arange(float(len(values)))
    found = find_changes(times, np.array(values), np.ones((times.size, 1)), times[1:], apart=1.0)
    assert len(found.places) <= most
