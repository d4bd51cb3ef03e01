"""Numbers and dates of steps by trying all sets with dense matrices; likelihoods, costs and intervals as documented."""

import itertools
import math

import numpy as np
import pytest

from gwnet.errors import TooFewLevelsError
from gwnet.hydro.trends.correlated_line import error_grid
from gwnet.hydro.trends.several_changes import FoundChanges, find_changes

TIMES = np.array([0.0, 1.1, 2.0, 2.9, 4.2, 5.0, 5.8, 7.1, 8.0, 9.2, 10.0, 11.1, 12.0, 12.9])
DESIGN = np.column_stack([np.ones(14), np.sin(2.0 * TIMES)])
NOISE = np.random.default_rng(3).normal(0.0, 0.25, 14)
DATES = np.array([1.5, 3.5, 5.5, 7.5, 9.5, 11.5])


def steps_at(*dates):
    return [(date <= TIMES).astype(float) for date in dates]


class ByMatrices:
    """Logarithms of likelihoods summed over the grid: |V|^(−1/2) |D'V⁻¹D|^(−1/2) R^(−(n−k)/2), D the design alone."""

    def __init__(self, values, grid):
        self.values = values
        correlation, scatter, prior = grid
        apart = np.abs(TIMES[:, None] - TIMES)
        self.points = []
        for rho, s, weight in zip(correlation, scatter, prior / prior.sum(), strict=True):
            v = (1 - s) * rho**apart + s * np.eye(14)
            inverse = np.linalg.inv(v)
            inner = np.linalg.slogdet(DESIGN.T @ inverse @ DESIGN)[1]
            self.points.append((inverse, math.log(weight) - (np.linalg.slogdet(v)[1] + inner) / 2))

    def log(self, *columns):
        x = np.column_stack([DESIGN, *columns])
        logs = []
        for inverse, base in self.points:
            rest = self.values - x @ np.linalg.solve(x.T @ inverse @ x, x.T @ inverse @ self.values)
            logs.append(base - 12 / 2 * math.log(rest @ inverse @ rest))
        return max(logs) + math.log(np.exp(np.array(logs) - max(logs)).sum())


#: What a step costs: ½ log n for its size (Schwarz, 1978), log c for its date and 1 (project default).
COST = math.log(14) / 2 + math.log(6) + 1.0


def gains_of(fits, most, apart):
    """Return what each set of dates that are far enough apart gains over a level; nothing is set () itself."""
    gains = {(): 0.0}
    for count in range(1, most + 1):
        for places in itertools.combinations(range(6), count):
            if all(later - earlier >= apart for earlier, later in itertools.pairwise(DATES[list(places)])):
                gains[places] = fits.log(*steps_at(*DATES[list(places)])) - fits.log() - count * COST
    return gains


def expected(values, apart, coverage, most=2):
    """Return the best set of at most so many steps, all tried, and what belongs to it."""
    independent = ByMatrices(values, (np.zeros(1), np.zeros(1), np.ones(1)))
    if max(gains_of(independent, 2, apart).values()) == 0.0:
        return (), (), 0.0, 0.0
    fits = ByMatrices(values, error_grid())
    level = fits.log()
    gains = gains_of(fits, most, apart)
    best = max(gains, key=gains.get)
    line = fits.log(TIMES) - level - math.log(14) / 2
    bent = [fits.log(TIMES, np.maximum(TIMES - date, 0.0)) - level - math.log(14) / 2 - COST for date in DATES]
    intervals = []
    for at in range(len(best)):
        others = [
            sets
            for sets in gains
            if len(sets) == len(best) and sets[:at] + sets[at + 1 :] == best[:at] + best[at + 1 :]
        ]
        others = sorted(sets for sets in others if list(sets) == sorted(sets))
        weight = np.exp(np.array([gains[sets] for sets in others]) - gains[best])
        below = np.cumsum(weight) / weight.sum()
        rest = (1 - coverage) / 2
        first = next(sets for sets, share in zip(others, below, strict=True) if share >= rest)
        last = next(sets for sets, share in zip(others, below, strict=True) if share >= 1 - rest)
        intervals.append((first[at], last[at]))
    return best, tuple(intervals), gains[best], max(line, *bent)


@pytest.mark.parametrize(
    ("values", "apart", "coverage", "places"),
    [
        (1.5 * steps_at(5.5)[0], 2.0, 0.95, (2,)),
        (0.9 * steps_at(5.5)[0] - 0.02 * TIMES, 2.0, 0.6, None),
        (0.45 * steps_at(5.5)[0] + 0.03 * TIMES, 2.0, 0.6, None),
        (2.0 * steps_at(3.5)[0] - 1.7 * steps_at(9.5)[0], 2.0, 0.8, (1, 4)),
        # two years apart is far enough where two are asked for
        (2.5 * steps_at(5.5)[0] - 2.5 * steps_at(7.5)[0], 2.0, 0.9, (2, 3)),
        (2.5 * steps_at(5.5)[0] - 2.5 * steps_at(7.5)[0], 2.1, 0.9, None),
        (-0.5 * np.maximum(TIMES - 5.5, 0.0) + 0.2 * TIMES, 2.0, 0.95, None),
    ],
)
def test_what_is_found_is_the_best_of_all_sets(values, apart, coverage, places, monkeypatch):
    monkeypatch.setattr("gwnet.hydro.trends.several_changes.MOST_STEPS", 2)
    best, intervals, gain, line_gain = expected(values + NOISE, apart, coverage)
    found = find_changes(TIMES, values + NOISE, DESIGN, DATES, apart=apart, coverage=coverage)
    assert (found.places, found.intervals) == (best, intervals)
    assert places is None or found.places == places
    assert found.gain == pytest.approx(gain, rel=1e-5, abs=1e-6)
    assert found.line_gain == pytest.approx(line_gain, rel=1e-5, abs=1e-6)
    assert found.steps_describe_best == (bool(best) and gain > line_gain)


def test_three_steps_are_the_best_of_all_sets_of_three():
    values = 2.0 * steps_at(3.5)[0] + 2.5 * steps_at(7.5)[0] - 3.0 * steps_at(11.5)[0] + 0.4 * NOISE
    best, intervals, gain, line_gain = expected(values, 2.0, 0.95, most=4)
    found = find_changes(TIMES, values, DESIGN, DATES)
    assert best == (1, 3, 5)
    assert (found.places, found.intervals) == (best, intervals)
    assert (found.gain, found.line_gain) == (pytest.approx(gain, rel=1e-5), pytest.approx(line_gain, rel=1e-5))


def test_where_independent_values_would_have_no_step_nothing_is_given():
    assert find_changes(TIMES, NOISE, DESIGN, DATES) == FoundChanges((), (), 0.0, 0.0)


@pytest.mark.parametrize(
    ("gain", "line_gain", "places", "best"), [(3.0, 3.0, (1,), False), (3.1, 3.0, (1,), True), (1.0, 0.0, (), False)]
)
def test_steps_describe_best_where_they_gain_more_than_a_line(gain, line_gain, places, best):
    assert FoundChanges(places, ((1, 1),) * len(places), gain, line_gain).steps_describe_best is best


def test_no_more_than_five_steps_are_looked_for():
    """Six steps up, six years apart, of which the smallest is left out; five is the most (project default)."""
    times = np.arange(42.0)
    values = np.repeat([0.0, 9.0, 20.0, 28.0, 39.0, 45.0, 58.0], 6) + np.tile([0.0, 0.1, -0.1], 14)
    found = find_changes(times, values, np.ones((42, 1)), np.arange(6.0, 42.0, 6.0))
    assert found.places == (0, 1, 2, 3, 5)


def test_four_values_more_than_columns_are_enough():
    with pytest.raises(TooFewLevelsError, match="found 1 dates and 5 values"):
        find_changes(TIMES[:5], NOISE[:5], DESIGN[:5], DATES[:1])
    found = find_changes(TIMES[:6], np.array([0.0, 0.01, 0.0, 5.01, 5.0, 5.02]), DESIGN[:6, :1] * 1.0, np.array([2.5]))
    assert found.places == (0,)
    assert find_changes(TIMES[:6], NOISE[:6], DESIGN[:6], DATES[:1]).places == ()
