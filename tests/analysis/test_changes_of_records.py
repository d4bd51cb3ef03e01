"""Bends and steps of records: words, candidates and limits of each, held to the searches they rest on; constructed.

Project defaults as documented: ten years, a tenth of the years at either end, at least two; 5 %.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from gwnet.analysis.series import trend_changes
from gwnet.analysis.series.trend_changes import (
    Bend,
    LevelChange,
    find_bend,
    find_level_changes,
    find_step,
)
from gwnet.analysis.series.trend_lines import line_values
from gwnet.hydro.trends.correlated_line import fit_correlated_line
from gwnet.hydro.trends.searched_change import search_change
from gwnet.hydro.trends.several_changes import find_changes

from .trend_tables import table

SEASON = np.array([0.4, 0.1, -0.3, -0.2])


def noise(years, seed=1, size=0.1):
    return np.random.default_rng(seed).normal(0, size, (years, 4))


def bend(before, since, year=2010):
    return Bend(0.01, year, 2009, 2011, before, since)


@pytest.mark.parametrize(("before", "since", "words", "is_turn"), [
    ((-0.2, 0.01), (0.3, 0.01), "fell until 2010, rising since", True),
    ((0.2, 0.05), (-0.3, 0.05), "rose until 2010, falling since", True),
    ((0.2, 0.051), (-0.3, 0.01), "no significant trend until 2010, falling since", False),
    ((0.2, 0.01), (-0.3, 0.051), "rose until 2010, no significant trend since", False),
    ((-0.2, 0.06), (0.3, 0.06), "no significant trend until 2010, no significant trend since", False),
    ((-0.2, 0.01), (-0.3, 0.01), "falling, faster since 2010", False),
    ((-0.3, 0.01), (-0.2, 0.01), "falling, slower since 2010", False),
    ((0.3, 0.01), (0.2, 0.01), "rising, slower since 2010", False),
    ((0.2, 0.01), (0.3, 0.01), "rising, faster since 2010", False),
])  # fmt: skip
def test_a_bend_in_words(before, since, words, is_turn):
    assert (bend(before, since).words, bend(before, since).is_turn) == (words, is_turn)


@pytest.mark.parametrize(("first", "last", "words"), [
    (2009, 2011, "step of -1.26 m about 2010 (2009 to 2011)"), (2010, 2010, "step of -1.26 m about 2010 (2010)"),
])  # fmt: skip
def test_a_step_in_words(first, last, words):
    assert LevelChange(2010, first, last, (-1.256, -2.0, -0.5)).words == words


@pytest.mark.parametrize(("count", "first", "last"), [
    (3, 2003, 2002), (4, 2003, 2003), (12, 2003, 2011), (24, 2003, 2023), (26, 2004, 2024), (40, 2005, 2037),
])  # fmt: skip
def test_changes_are_looked_for_beside_a_tenth_of_the_years(count, first, last):
    """A change at the beginning of a year has that year itself after it: as many years after as before."""
    years = trend_changes._candidates(table(np.zeros(count)))
    assert years.tolist() == list(range(first, last + 1))


def test_a_bend_has_its_date_and_the_slopes_on_either_side():
    when = np.arange(80).reshape(20, 4) / 4 + 0.125
    record = table(40.0 + SEASON - 0.3 * when + 0.5 * np.maximum(when - 11, 0) + noise(20))
    found, given = find_bend(record), line_values(record)
    years = np.arange(2003, 2020)
    since = np.maximum(given.when[:, None] - years, 0.0)
    searched = search_change(given.when, given.values, given.design, since)
    first, last = searched.dates()
    assert (found.year, found.first, found.last) == (2012, years[first], years[last])
    both = fit_correlated_line(given.when, given.values, np.column_stack([given.design, since[:, searched.best]]))
    rows = np.array([[0, 0, 0, 0, 1.0, 0.0], [0, 0, 0, 0, 1.0, 1.0]])
    slopes = both.quantile(rows, 0.5)
    assert (found.before[0], found.since[0]) == pytest.approx(tuple(slopes), rel=1e-9)
    below = both.probability_below(rows, 0.0)
    above = both.probability_below(-rows, 0.0)
    assert (found.before[1], found.since[1]) == pytest.approx(tuple(2 * np.minimum(below, above)), rel=1e-9)
    squared = (given.when - given.when.mean()) ** 2
    curved = fit_correlated_line(given.when, given.values, np.column_stack([given.design, squared]))
    assert found.p_curvature == pytest.approx(curved.two_sided(5), rel=1e-6)
    assert found.is_turn


@pytest.mark.parametrize(("years", "is_found"), [(9, False), (10, True)])
def test_a_bend_or_step_needs_ten_years(years, is_found):
    when = np.arange(4 * years).reshape(years, 4) / 4
    turn = table(40.0 + SEASON + np.abs(when - 5.0) + noise(years, size=0.02))
    assert (find_bend(turn) is not None) == is_found
    stepped = table(40.0 + SEASON + 2.0 * (when >= 5.0) + noise(years, size=0.02))
    assert (len(find_level_changes(stepped)) == 1) == is_found


def test_a_bend_needs_years_and_not_many_values():
    turn = np.abs(np.arange(10.0) - 5.0) + 0.01 * np.array([1, -1, 2, -2, 0, 1, -2, 1, 0, -1])
    assert find_bend(table(turn)) is not None
    assert find_bend(table(np.array([[1.0, np.nan], [2.0, np.nan]]))) is None


@pytest.mark.parametrize(("count", "is_asked"), [(17, False), (18, True)])
def test_steps_need_four_values_more_than_coefficients(monkeypatch, count, is_asked):
    """Twelve seasons and a slope are thirteen; ten years."""
    values, asked = np.full((10, 12), np.nan), []
    values[np.arange(count) % 10, np.arange(count) % 12] = 40.0 + 0.01 * ((np.arange(count) * 7) % 11)
    nothing = SimpleNamespace(steps_describe_best=False)
    monkeypatch.setattr(trend_changes, "find_changes", lambda *_, apart: asked.append(apart) or nothing)
    assert find_level_changes(table(values)) == []
    assert asked == ([2.0] if is_asked else [])


def test_curvature_that_is_not_significant_is_no_bend():
    when = np.arange(80).reshape(20, 4) / 4
    for seed in range(4):
        assert find_bend(table(40.0 - 0.05 * when + noise(20, seed=seed, size=0.4))) is None


def test_steps_have_years_and_sizes_beside_a_level_for_each_season():
    when = np.arange(80).reshape(20, 4) / 4
    record = table(40.0 + SEASON - 2.0 * (when >= 6) + 1.5 * (when >= 13) + noise(20))
    found, given = find_level_changes(record), line_values(record, straight=False)
    years = np.arange(2003, 2020)
    changes = find_changes(given.when, given.values, given.design[:, :4], years.astype(float), apart=2.0)
    assert [one.year for one in found] == years[list(changes.places)].tolist() == [2007, 2014]
    assert [(one.first, one.last) for one in found] == [(years[a], years[b]) for a, b in changes.intervals]
    after = given.when[:, None] >= years[list(changes.places)]
    fitted = fit_correlated_line(given.when, given.values, np.column_stack([given.design[:, :4], after]).astype(float))
    for k, one in enumerate(found):
        row = np.zeros((1, 6))
        row[0, 4 + k] = 1.0
        expected = [fitted.quantile(row, p)[0] for p in (0.5, 0.025, 0.975)]
        assert one.shift == pytest.approx(tuple(expected), rel=1e-9)
    assert find_level_changes(table(40.0 + SEASON - 0.3 * when + noise(20))) == []


def test_the_most_likely_step_has_its_date_size_and_probability():
    when = np.arange(64).reshape(16, 4) / 4
    record = table(40.0 + SEASON - 0.7 * (when >= 9) + noise(16, size=0.3))
    found, given = find_step(record), line_values(record)
    years = np.arange(2003, 2016)
    after = (given.when[:, None] >= years).astype(float)
    searched = search_change(given.when, given.values, given.design[:, :4], after)
    first, last = searched.dates()
    assert (found.year, found.first, found.last) == (2010, years[first], years[last])
    assert found.p == searched.p_value
    assert found.shift == (searched.size(0.5), searched.size(0.025), searched.size(0.975))
    assert found.correlation == searched.mean_correlation
    assert find_step(table([40.0, 40.1, 40.2])) is None
    assert find_step(table(40.0 + noise(3))) is None
    assert find_step(table(40.0 + noise(4))) is not None


def test_the_memory_of_the_aquifer_takes_part_in_a_bend():
    from gwnet.analysis.series.trend_records import SharedMemory
    from gwnet.hydro.trends.correlated_line import error_grid
    from gwnet.hydro.trends.shared_memory import even_weights

    when = np.arange(80).reshape(20, 4) / 4
    values = 40.0 + SEASON + 0.05 * np.abs(when - 10.0) + noise(20)
    correlation, _, _ = error_grid()
    curve = np.where(correlation == 0.0, 1.0, 1e-12)
    record = table(values, memory=SharedMemory("upper", 5, even_weights(), curve))
    alone, shared = find_bend(table(values)), find_bend(record)
    given = line_values(record)
    curved = np.column_stack([given.design, (given.when - given.origin) ** 2])
    expected = fit_correlated_line(given.when, given.values, curved, curve).two_sided(5)
    assert shared.p_curvature == pytest.approx(expected, rel=1e-9)
    assert shared.p_curvature < alone.p_curvature
    assert find_bend(table(values, memory=SharedMemory("upper", 5, even_weights()))) == alone
