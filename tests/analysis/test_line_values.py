"""What a line is fitted to, and what is read off a fitted line; worked out by hand, constructed.

Limits are project defaults as documented: three degrees of freedom, half bounds, 4 robust standard deviations (1.4826
times the median deviation), two years and four values of a running median.
"""

import math

import numpy as np
import pytest
from scipy import stats

from gwnet.analysis.series import trend_lines
from gwnet.analysis.series.trend_lines import FittedLine, fit_line, line_values
from gwnet.hydro.trends.correlated_line import CorrelatedLine, error_grid
from gwnet.hydro.trends.shared_memory import even_weights

from .trend_tables import table

NAN = np.nan
MAD = 1.4826022185056018  # 1 / the upper quartile of the normal distribution


def posterior(coefficients, scales, *, weights=(1.0,), correlation=0.5, scatter=0.0, degrees=7):
    """Return a posterior with independent coefficients."""
    coefficients = np.atleast_2d(np.array(coefficients, dtype=float))
    count = len(weights)
    return CorrelatedLine(
        np.array(weights),
        np.array(np.broadcast_to(correlation, count), dtype=float),
        np.array(np.broadcast_to(scatter, count), dtype=float),
        np.broadcast_to(coefficients, (count, coefficients.shape[1])),
        np.broadcast_to(np.diag(np.array(scales) ** 2), (count, len(scales), len(scales))),
        np.ones(count),
        degrees,
        np.zeros((count, coefficients.shape[1] + 1)),
        np.ones(count),
    )


def line_of(
    coefficients=(40.0, 43.0, -0.25), scales=(0.3, 0.4, 0.1), *, counts=(6, 3), first=2001.5, last=2012.25, **more
):
    count = len(coefficients) - 1
    return FittedLine(
        posterior(coefficients, scales, **more), np.arange(count), np.array(counts), np.linspace(0.1, 0.6, count), 4,
        2006.75, first, last, 0,
    )  # fmt: skip


def test_numbers_of_a_line_are_those_of_its_coefficients():
    """Student's t with 7 degrees of freedom."""
    line = line_of(scatter=0.2, correlation=0.75)
    t = stats.t(7)
    assert line.slope == 2
    assert line.slope_limits == pytest.approx((-0.25, -0.25 - 0.1 * t.ppf(0.975), -0.25 + 0.1 * t.ppf(0.975)), rel=1e-9)
    assert line.p == pytest.approx(2 * t.sf(2.5), rel=1e-9)
    assert line.correlation == pytest.approx(0.8 * 0.75, rel=1e-12)
    assert line.mean_row().tolist() == [0.5, 0.5, 0.0]
    assert (line.season_row(0).tolist(), line.season_row(1).tolist()) == ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0])
    when = np.array([2004.75, 2006.75, 2010.0])
    time = when - 2006.75
    middle, spread = 41.5 - 0.25 * time, np.sqrt(0.25 * (0.3**2 + 0.4**2) + (0.1 * time) ** 2) * t.ppf(0.975)
    for found, expected in zip(line.band(when), (middle, middle - spread, middle + spread), strict=True):
        assert found == pytest.approx(expected, rel=1e-9)
    assert line.turned().slope_limits[0] == pytest.approx(0.25, rel=1e-9)
    assert line.season_levels().tolist() == pytest.approx([40.0, 43.0])


def test_levels_of_seasons_are_the_mean_over_the_grid():
    own = posterior([[40.0, 43.0, 0.5], [41.0, 47.0, 0.1]], (1.0, 1.0, 1.0), weights=(0.25, 0.75))
    line = FittedLine(own, np.arange(2), np.array([5, 5]), np.zeros(2), 4, 2000.0, 1990.0, 2010.0, 0)
    assert line.season_levels().tolist() == pytest.approx([40.75, 46.0], rel=1e-12)


@pytest.mark.parametrize(("counts", "usual"), [((6, 3), [0, 1]), ((7, 3), [0]), ((3, 6, 2), [0, 1]), ((5, 5), [0, 1])])
def test_usual_seasons_have_half_as_many_values_as_the_one_with_most(counts, usual):
    line = line_of((1.0,) * (len(counts) + 1), (1.0,) * (len(counts) + 1), counts=counts)
    assert line.usual_seasons.tolist() == usual


@pytest.mark.parametrize(("years", "weights", "correlation", "scatter", "is_short"), [
    # the time in which the correlation falls to 1/e: 2 years against a fifth of the record
    (9.9, (1.0,), math.exp(-0.5), 0.0, True), (10.1, (1.0,), math.exp(-0.5), 0.0, False),
    (9.9, (1.0,), math.exp(-0.5), 0.8, True), (9.9, (1.0,), math.exp(-0.5), 1.0, False),
    # with a probability of over a quarter
    (10.0, (0.25, 0.75), [0.9, 0.1], 0.0, False), (10.0, (0.2501, 0.7499), [0.9, 0.1], 0.0, True),
    (10.0, (0.5, 0.25, 0.25), [0.1, 0.9, 0.95], 0.0, True), (10.0, (1.0,), 0.0, 0.0, False),
])  # fmt: skip
def test_a_record_is_short_against_its_memory(years, weights, correlation, scatter, is_short):
    line = line_of(first=2000.0, last=2000.0 + years, weights=weights, correlation=correlation, scatter=scatter)
    assert line.is_short == is_short


LEVELS = np.array([[40.0, 41.0, NAN], [39.7, 40.6, NAN], [39.5, 40.5, NAN], [39.0, NAN, NAN]])


def test_a_line_takes_values_in_the_order_of_time_with_a_column_a_season():
    given = line_values(table(LEVELS, shift=[[0.01], [0.02], [-0.01], [0.0]]))
    when = np.array(
        [2001 + 1 / 6 + 0.01, 2001.51, 2002 + 1 / 6 + 0.02, 2002.52, 2003 + 1 / 6 - 0.01, 2003.49, 2004 + 1 / 6]
    )
    assert given.when == pytest.approx(when, rel=1e-15)
    assert given.values == pytest.approx([40.0, 41.0, 39.7, 40.6, 39.5, 40.5, 39.0], rel=1e-12)
    assert (given.seasons.tolist(), given.moved) == ([0, 1], 0)
    assert given.origin == pytest.approx(when.mean(), rel=1e-15)
    first = np.array([1, 0, 1, 0, 1, 0, 1])
    assert given.design == pytest.approx(np.column_stack([first, 1 - first, when - when.mean()]), rel=1e-9)


@pytest.mark.parametrize(("values", "bound", "is_given"), [
    # values less seasons and slope: three degrees of freedom
    ([1.0, 2.0, 4.0, 3.0, 5.0], 0, True),
    ([1.0, 2.0, 4.0, 3.0], 0, False),
    (LEVELS[:3], 0, True),
    (LEVELS[:3] * [[1, 1, 1], [1, 1, 1], [1, NAN, 1]], 0, False),
    # of one year, the slope would be that of the seasons
    (np.arange(12.0)[None, :] * 0.1, 0, False),
    # half may be bounds
    ([5.0, 4.0, 3.0, 2.0, 2.0, 2.0], [0, 0, 0, -1, -1, -1], True),
    ([5.0, 4.0, 3.0, 2.0, 2.0, 2.0, 2.0], [0, 0, 0, -1, -1, -1, -1], False),
    ([5.0, 4.0, 3.0, 2.0, 2.0, 2.0, 2.0], [0, 0, 0, 1, -1, 1, -1], False),
    # flowing and dry in turn leave the slope open
    ([5.0, 4.0, 5.0, 4.0, 5.0, 4.5], [1, -1, 1, -1, 0, 0], False),
])  # fmt: skip
def test_too_few_values_or_too_many_bounds_give_no_line(values, bound, is_given):
    assert (line_values(table(values, bound)) is not None) == is_given


def test_a_season_and_the_time_that_are_one_give_no_line():
    """All values of a season at one time of each other's year: season and time say the same."""
    values = np.full((2, 12), NAN)
    values[0, :6], values[1, 6:] = 40.0 + 0.1 * np.arange(6), 41.0
    assert line_values(table(values)) is None
    record = table(np.array([[40.0, NAN], [40.3, NAN], [40.1, NAN], [NAN, 41.0], [NAN, 41.3], [NAN, 41.1]]), shift=0.0)
    record.when[:3, 0], record.when[3:, 1] = 2001.0, 2003.0
    assert line_values(record) is None


def test_values_far_from_the_line_are_moved_to_four_spreads():
    """Around the Theil–Sen slope and the medians of the seasons."""
    rest = np.array([[0.1, -0.2], [-0.15, 0.1], [0.05, 0.3], [-0.1, -0.1], [0.2, 5.0], [-0.3, 0.05], [0.0, -0.25]])
    record = table(50.0 + np.array([2.0, -1.0]) - 0.75 * np.arange(7.0)[:, None] + rest)
    given = line_values(record)
    flat, when = record.values, record.when
    slopes = [(flat[b, s] - flat[a, s]) / (b - a) for s in (0, 1) for a in range(7) for b in range(a + 1, 7)]
    line = np.median(slopes) * (when - when.mean())
    off = flat - line - np.median(flat - line, axis=0)
    far = 4.0 * MAD * np.median(np.abs(off))
    assert (np.abs(off) > far).sum() == 1
    expected = flat - off + np.clip(off, -far, far)
    assert given.values == pytest.approx(expected.ravel(), rel=1e-12)
    assert given.moved == 1


def test_which_values_are_moved_at_the_limit():
    """Median deviation 0.1: 0.59304 m are 4 spreads."""
    line, season = np.zeros(9), np.zeros(9, dtype=int)
    for last, moved in ((0.5930, 0), (0.5931, 1), (-0.5931, 1)):
        values = np.array([0.1, -0.1, 0.1, -0.1, 0.1, -0.1, 0.0, last, -last])
        held, count = trend_lines._held_near(values, line, season)
        assert count == 2 * moved
        far = 0.4 * MAD
        assert held == pytest.approx(np.clip(values, -far, far), rel=1e-12)
    # most values on the line: none is far
    values = np.array([3.0, 3.0, 3.0, 9.0, 3.0, 3.0, 3.0, 3.0, 3.0])
    held, count = trend_lines._held_near(values, line, season)
    assert (held.tolist(), count) == (values.tolist(), 0)


def test_a_running_median_is_the_nearer_of_two_years_before_and_after():
    """At a step it stays on the side of the value; of fewer than four values a side, both sides together."""
    when = 2001.0 + np.arange(24) / 4
    values = np.where(np.arange(24) < 12, 10.0, 20.0) + 0.01 * ((5 * np.arange(24)) % 7)
    expected = []
    for k, value in enumerate(values):
        before = [v for t, v in zip(when, values, strict=True) if when[k] - 2.0 <= t <= when[k]]
        after = [v for t, v in zip(when, values, strict=True) if when[k] <= t <= when[k] + 2.0]
        sides = [np.median(side) for side in (before, after) if len(side) >= 4]
        expected.append(min(sides, key=lambda level, value=value: abs(level - value)))
    found = trend_lines._running_median(when, values)
    assert found.tolist() == expected
    assert (found[11] < 11.0, found[12] > 19.0) == (True, True)
    sparse = 2001.0 + np.arange(5) * 1.0
    level = np.array([1.0, 2.0, 9.0, 4.0, 7.0])
    # three values of two years on either side, with five of both together
    assert trend_lines._running_median(sparse, level).tolist() == [2.0, 3.0, 4.0, 5.5, 7.0]
    # four values of a side are enough
    assert (
        trend_lines._running_median(2001.0 + np.array([0.0, 0.5, 1.0, 1.5]), np.array([1.0, 2.0, 3.0, 9.0]))[0] == 2.5
    )


def test_where_steps_are_looked_for_values_far_from_the_running_median_are_moved():
    level = np.repeat([40.0, 30.0], 20) + 0.1 * ((7 * np.arange(40)) % 5)
    level[30] = 60.0
    record = table(level.reshape(10, 4))
    given = line_values(record, straight=False)
    assert given.moved == 1
    assert given.values[30] < 32.0
    assert np.delete(given.values, 30) == pytest.approx(np.delete(level, 30), rel=1e-12)
    assert line_values(record).values[30] > 32.0


def test_values_beyond_bounds_are_those_of_normal_errors():
    """Where numbers scatter: μ + s σ φ(a)/Φ(a), a = s (μ − b)/σ, s the side of the bound b; line and σ of all values."""
    random = np.random.default_rng(5)
    time = np.arange(14.0)
    design = np.column_stack([np.ones(14), time - 6.5])
    values = 40.0 - 0.5 * time + random.normal(0, 0.4, 14)
    side = np.zeros(14, dtype=int)
    side[[3, 9]], side[12] = -1, 1
    values[3] += 0.2
    values[12] -= 0.3
    filled = trend_lines._expected(values, side, design)
    fitted = design @ np.linalg.lstsq(design, filled, rcond=None)[0]
    spread = math.sqrt(((filled - fitted)[side == 0] ** 2).mean())
    for k in np.flatnonzero(side):
        a = side[k] * (fitted[k] - values[k]) / spread
        expected = fitted[k] + side[k] * spread * stats.norm.pdf(a) / stats.norm.cdf(a)
        assert filled[k] == pytest.approx(expected, rel=1e-9)
    assert (filled[3] < values[3], filled[12] > values[12]) == (True, True)
    assert filled[side == 0].tolist() == values[side == 0].tolist()


@pytest.mark.parametrize(("side", "expected"), [(-1, [1.0, 4 / 3, 1.0]), (1, [4 / 3, 2.0, 4 / 3])])
def test_without_scatter_a_bound_has_the_line_or_itself(side, expected):
    """Numbers at 0 in one season, bounds at 1, 2 and 1 in another, of which the level is 4/3."""
    design = np.repeat(np.eye(2), [6, 3], axis=0)
    values = np.array([0.0] * 6 + [1.0, 2.0, 1.0])
    filled = trend_lines._expected(values, np.array([0] * 6 + [side] * 3), design)
    assert filled[:6].tolist() == [0.0] * 6
    assert filled[6:] == pytest.approx(expected, rel=1e-12)


def test_a_fitted_line_keeps_what_it_is_of():
    record = table(LEVELS, shift=[[0.01], [0.02], [-0.01], [0.03]])
    line = fit_line(record)
    assert (line.seasons.tolist(), line.counts.tolist(), line.parts, line.moved) == ([0, 1], [4, 3], 3, 0)
    # medians of four and three times within the year
    assert line.phases == pytest.approx([1 / 6 + 0.015, 0.51], rel=1e-9)
    given = line_values(record)
    assert (line.origin, line.first, line.last) == (given.origin, given.when[0], given.when[-1])
    # independent values alone: ordinary least squares
    correlation, _, _ = error_grid()
    beforehand = np.where(correlation == 0.0, 1.0, 1e-300)
    only = fit_line(table(LEVELS, memory=type("Memory", (), {"weights": beforehand})()))
    plain = line_values(table(LEVELS))
    best = np.linalg.lstsq(plain.design, plain.values, rcond=None)[0]
    assert only.slope_limits[0] == pytest.approx(best[-1], rel=1e-6)
    assert only.season_levels() == pytest.approx(best[:2], rel=1e-6)
    even = fit_line(table(LEVELS, memory=type("Memory", (), {"weights": even_weights()})()))
    assert even.slope_limits == pytest.approx(fit_line(table(LEVELS)).slope_limits, rel=1e-9)
    assert fit_line(table([1.0, 2.0, 3.0])) is None
