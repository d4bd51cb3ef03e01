"""Every number of the Kendall family from signs of pairs and all orders; slopes sorted one by one, with limits by rank."""

import math
from collections import Counter
from itertools import combinations, permutations

import numpy as np
import pytest
from scipy import stats

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.censored_slopes import pair_slopes, slope_between
from gwnet.hydro.trends.inversions import count_inversions, count_ordered, list_inversions, ranks_in_order
from gwnet.hydro.trends.kendall import (
    exact_upper_tail,
    mann_kendall,
    normal_probabilities,
    score_variance,
    value_limits,
)
from gwnet.hydro.trends.slope_ranks import ranked_slopes
from gwnet.hydro.trends.theil_sen import limit_ranks, pairwise_slopes, theil_sen

NAN, INF = math.nan, math.inf


def signs_of(low, high):
    """Return +1 where a later value is surely above an earlier one, −1 where it is surely below, else 0."""
    return (high[:, None] < low[None]).astype(int) - (low[:, None] > high[None])


def scores_of_all_orders(values, low, high, when):
    """Return Kendall's S of the series and of all its orders in time."""
    signs, later = signs_of(low, high), np.sign(when[None] - when[:, None])
    orders = np.array(list(permutations(range(len(values)))))
    shuffled = signs[orders[:, :, None], orders[:, None, :]]
    scores = (shuffled * later).sum(axis=(1, 2)) // 2
    return int((signs * later).sum()) // 2, scores


#: Values, times, bounds and where the probabilities come from, as documented: exact up to ten values where values or
#: times are untied and what is censored can be ranked.
SERIES = [
    ([3.0, 1.0, 2.0], None, 0, "exact"),
    ([3.0, 1.0], None, 0, "exact"),
    ([1.0, 1.0], None, 0, "exact"),
    ([2.0, 5.0, 2.0, 7.0, 7.0, 9.0], None, 0, "exact"),
    ([2.0, NAN, 5.0, 2.0, 7.0, 9.0, 7.5], None, 0, "exact"),
    ([4.0, 1.0, 2.0, 8.0, 5.0, 3.0], [7, 2, 2, 9, 9, 9], 0, "exact"),
    ([4.0, 1.0, 2.0, 8.0, 5.0], [1, 2, 2, 3, 4], 0, "exact"),
    ([4.0, 1.0, 2.0, 8.0, 5.0, 3.0], [7, 2, NAN, 9, 1, 0.5], 0, "exact"),
    ([4.0, 1.0, 1.0, 8.0, 5.0, 3.0], [7, 2, 2, 9, 9, 3], 0, "normal"),
    ([4.0, 1.0, 1.0, 8.0, 5.0, 3.0], [7, 2, 4, 9, 8, 3], [0, -1, -1, 0, 0, 0], "exact"),
    ([4.0, 4.0, 1.0, 8.0, 5.0, 3.0], None, [0, -1, -1, 0, 0, 0], "normal"),
    ([9.0, 4.0, 9.0, 8.0, 5.0, 3.0], None, [1, 0, 1, 0, 0, 0], "exact"),
    ([6.0, 4.0, 9.0, 8.0, 5.0, 3.0], None, [1, 0, 1, 0, 0, 0], "normal"),
    ([5.0, 5.0, 5.0, 5.0], None, 0, "exact"),
    ([5.0, 5.0, 5.0, 5.0], [1, 1, 2, 2], 0, "normal"),
    ([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0], [3, 1, 2, 7, 6, 5, 4], 0, "exact"),
]


@pytest.mark.parametrize(("values", "times", "bound", "method"), SERIES)
@pytest.mark.parametrize("continuity", [True, False])
def test_all_numbers_of_a_test_are_those_of_all_orders(values, times, bound, method, continuity):
    found = mann_kendall(values, times, bound=bound, continuity=continuity)
    when = np.arange(float(len(values))) if times is None else np.array(times, dtype=float)
    here = ~np.isnan(values) & ~np.isnan(when)
    number, side, when = np.array(values)[here], np.broadcast_to(bound, here.shape)[here], when[here]
    low, high = np.where(side < 0, -INF, number), np.where(side > 0, INF, number)
    score, scores = scores_of_all_orders(number, low, high, when)
    n, variance = number.size, np.mean(scores**2.0)
    assert (found.count, found.score, found.method, found.continuity) == (n, score, method, continuity)
    assert found.variance == pytest.approx(variance, rel=1e-12)
    assert found.tau_a == pytest.approx(score / (n * (n - 1) / 2), rel=1e-12)
    differing = (signs_of(low, high) != 0).sum() * (when[:, None] != when).sum() / 4
    assert found.tau_b == pytest.approx(score / math.sqrt(differing) if differing else NAN, rel=1e-12, nan_ok=True)
    step = 1.0 if continuity else 0.0
    z = np.sign(score) * (abs(score) - step) / math.sqrt(variance) if score else 0.0
    assert found.z == pytest.approx(z, rel=1e-12)
    rise, fall = np.mean(scores >= score), np.mean(scores <= score)
    both = min(1.0, 2 * min(rise, fall))
    if method == "normal":
        rise, fall = (stats.norm.sf((way * score - step) / math.sqrt(variance)) if variance else 1.0 for way in (1, -1))
        both = 2 * stats.norm.sf(abs(z)) if variance else 1.0
        with pytest.raises(AnalysisError, match="No exact probabilities"):
            mann_kendall(values, times, bound=bound, method="exact")
    assert (found.p_rise, found.p_fall, found.p_value) == pytest.approx((rise, fall, both), rel=1e-9)
    assert mann_kendall(values, times, bound=bound, method="normal").method == "normal"


def test_exact_probabilities_are_given_beyond_ten_values_where_they_are_asked_for():
    values = [3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5]
    asked = mann_kendall(values, method="exact")
    assert (mann_kendall(values).method, asked.method) == ("normal", "exact")
    assert (mann_kendall(values[:10]).method, mann_kendall(values[:10], method="exact")) == (
        "exact",
        mann_kendall(values[:10]),
    )
    assert asked.p_rise == pytest.approx(exact_upper_tail(asked.score, (2, 2, 3, 1, 1, 1, 1)), rel=1e-12)
    assert asked.p_rise != mann_kendall(values).p_rise


@pytest.mark.parametrize("groups", [(1, 1, 1), (3, 1, 2), (2, 2), (4,), (1, 5)])
def test_exact_tails_count_all_orders(groups):
    values = np.repeat(np.arange(float(len(groups))), groups)
    scores = scores_of_all_orders(values, values, values, np.arange(float(values.size)))[1]
    for score in range(-16, 17):
        assert exact_upper_tail(score, groups) == pytest.approx(np.mean(scores >= score), rel=1e-12)


@pytest.mark.parametrize("score", [-7.0, -1.0, -0.4, 0.0, 0.4, 1.0, 7.0])
def test_normal_probabilities_with_and_without_the_step(score):
    for step, continuity in ((1.0, True), (0.0, False)):
        z = math.copysign(max(abs(score) - step, 0.0) / 2.5, score) if score else 0.0
        expected = (
            z,
            2 * stats.norm.sf(abs(z)),
            stats.norm.sf((score - step) / 2.5),
            stats.norm.cdf((score + step) / 2.5),
        )
        assert normal_probabilities(score, 6.25, continuity=continuity) == pytest.approx(expected, rel=1e-12)
    assert normal_probabilities(score, 6.25) == normal_probabilities(score, 6.25, continuity=True)
    for variance in (0.0, -1.0, NAN):
        assert normal_probabilities(score, variance) == (0.0, 1.0, 1.0, 1.0)


def test_limits_of_values_are_open_on_the_side_of_the_bound():
    low, high = value_limits([1.0, 2.0, 3.0, NAN, NAN], [0, -1, 1, -1, 1])
    assert low == pytest.approx([1.0, -INF, 3.0, NAN, NAN], nan_ok=True)
    assert high == pytest.approx([1.0, 2.0, INF, NAN, NAN], nan_ok=True)
    for limits in (value_limits([1.0, 2.0], 1), value_limits([[1.0], [2.0]], [[1], [1]])):
        assert limits[1].tolist() == np.full(limits[1].shape, INF).tolist()
    with pytest.raises(ShapeError, match=r"values \(2,\), bound \(3,\)"):
        value_limits([1.0, 2.0], [0, 0, 0])


@pytest.mark.parametrize("count", [11, 40, 256, 257, 300])
def test_longer_series_have_the_score_of_all_pairs_and_the_variance_of_scipy(count):
    """scipy.stats.kendalltau without correction for continuity; values, times or both tied."""
    random = np.random.default_rng(count)
    for values, times in (
        (random.permutation(count), np.arange(count)),
        (random.integers(0, 7, count), np.arange(count)),
        (random.permutation(count), np.sort(random.integers(0, 9, count))),
        (random.integers(0, 50, count), random.integers(0, 9, count)),
    ):
        found = mann_kendall(values, times, continuity=False, method="normal")
        signs = np.sign(values[None] - values[:, None]) * np.sign(times[None] - times[:, None])
        other = stats.kendalltau(times, values, method="asymptotic")
        assert found.score == signs.sum() // 2
        assert (found.tau_b, found.p_value) == pytest.approx((other.statistic, other.pvalue), rel=1e-9)
        order = np.argsort(times, kind="stable")
        variance = score_variance(values[order].astype(float), times[order].astype(float))
        assert variance == found.variance
        bound = random.choice([-1, 0, 0, 1], count)
        low, high = value_limits(values.astype(float), bound)
        with_bounds = mann_kendall(values, times, bound=bound)
        assert with_bounds.score == (signs_of(low, high) * np.sign(times[None] - times[:, None])).sum() // 2


@pytest.mark.parametrize("count", [1, 2, 5, 256, 257])
def test_pairs_in_the_wrong_order_are_counted_and_listed_one_by_one(count):
    random = np.random.default_rng(count)
    values = random.integers(0, 40, count).astype(float)
    wrong = [(i, j) for i, j in combinations(range(count), 2) if values[i] > values[j]]
    assert count_inversions(values) == len(wrong)
    ranks = ranks_in_order(values)
    assert ranks.tolist() == [int((values < v).sum() + (values[:i] == v).sum()) for i, v in enumerate(values)]
    for chunk in (1, 7, 100_000):
        listed = [(larger.tolist(), smaller.tolist()) for larger, smaller in list_inversions(ranks, chunk)]
        assert max((len(larger) for larger, _ in listed), default=0) < chunk + count
        assert len(listed) < 12 or chunk < 100
        pairs = Counter(pair for some in listed for pair in zip(*some, strict=True))
        assert pairs == Counter((int(ranks[i]), int(ranks[j])) for i, j in wrong)
    later, times = (
        values + random.choice([-1.0, 0.0, 2.0], count),
        np.sort(random.integers(0, count, count)).astype(float),
    )
    ordered = [values[i] < later[j] for i, j in combinations(range(count), 2) if times[i] < times[j]]
    assert count_ordered(values, later, times) == sum(ordered)


def slope_at(slopes, rank):
    """Return the slope at a rank counted from 1, in proportion between two; infinite where there are too few."""
    if not 1.0 <= rank <= len(slopes):
        return -INF if rank < 1 else INF
    below, above = slopes[math.floor(rank) - 1], slopes[math.ceil(rank) - 1]
    return below + (rank - math.floor(rank)) * (above - below)


@pytest.mark.parametrize("ranks", ["interpolated", "rounded"])
@pytest.mark.parametrize("count", [2, 3, 7, 14, 33])
def test_theil_sen_is_the_median_of_the_slopes_with_limits_at_gilberts_ranks(count, ranks):
    """Ranks (N − C)/2 and (N + C)/2 + 1 with C = z √var S (Gilbert, 1987, p. 217)."""
    random = np.random.default_rng(count)
    for times in (None, np.append(random.integers(0, 2 * count, count - 1), 90), random.uniform(0.0, 30.0, count)):
        values = random.normal(40.0, 1.0, count).round(1)
        values[count // 2] = NAN if count > 3 else values[count // 2]
        when = np.arange(float(count)) if times is None else np.array(times, dtype=float)
        known = [i for i in range(count) if not math.isnan(values[i])]
        slopes = sorted(
            (values[j] - values[i]) / (when[j] - when[i]) for i, j in combinations(known, 2) if when[i] != when[j]
        )
        for confidence, variance in ((0.95, 37.0), (0.5, 9.0), (0.8, 0.0), (0.95, None)):
            found = theil_sen(values, times, confidence=confidence, variance=variance, ranks=ranks)
            order = sorted(known, key=when.__getitem__)
            used = score_variance(values[order], when[order]) if variance is None else variance
            width = stats.norm.ppf((1 + confidence) / 2) * math.sqrt(used)
            lower, upper = (len(slopes) - width) / 2, (len(slopes) + width) / 2
            assert limit_ranks(len(slopes), used, confidence=confidence) == pytest.approx((lower, upper + 1), rel=1e-12)
            if ranks == "rounded":
                lower, upper = round(lower), round(upper)
            expected = np.median(slopes), slope_at(slopes, lower), slope_at(slopes, upper + 1)
            assert (found.slope, found.lower, found.upper) == pytest.approx(expected, rel=1e-9, abs=1e-12)
            assert (found.count, found.slope_count) == (len(known), len(slopes))
            assert found.intercept == pytest.approx(np.median(values[known]) - found.slope * np.median(when[known]))
            if times is None and ranks == "interpolated":
                limits = pair_slopes(values).limits(used, confidence=confidence)
                assert limits == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_the_outermost_slopes_are_limits_where_the_ranks_are_theirs():
    """Two slopes and no variance: ranks 1 and 2."""
    found = theil_sen([1.0, 4.0, 5.0], [0, 0, 2], variance=0.0)
    assert (found.lower, found.slope, found.upper) == (0.5, 1.25, 2.0)
    assert pairwise_slopes(np.array([1.0, 4.0, 5.0]), np.array([0.0, 0.0, 2.0])).tolist() == [2.0, 0.5]
    with pytest.raises(TooFewLevelsError, match="found 1"):
        theil_sen([1.0, 2.0], [3.0, NAN])
    for confidence in (0.0, 1.0):
        with pytest.raises(AnalysisError, match="between 0 and 1"):
            limit_ranks(5, 1.0, confidence=confidence)
    with pytest.raises(AnalysisError, match="'best'"):
        limit_ranks(5, 1.0, ranks="best")


@pytest.mark.parametrize("seed", range(4))
def test_slopes_with_bounds_have_the_median_and_limits_of_the_ends_of_their_ranges(seed):
    """Sorted lowest and highest possible slopes together: the first and second of each two stand for one slope."""
    random = np.random.default_rng(seed)
    table, years = random.normal(40.0, 1.0, (9, 2)).round(1), np.cumsum(random.integers(1, 3, 9)).astype(float)
    bound = random.choice([-1, 0, 0, 0, 1], table.shape)
    table[2, 0] = NAN
    low, high = value_limits(table, bound)
    pairs = [(i, j, k) for k in (0, 1) for i, j in combinations(range(9), 2) if not np.isnan(table[[i, j], k]).any()]
    lowest = [(low[j, k] - high[i, k]) / (years[j] - years[i]) for i, j, k in pairs]
    highest = [(high[j, k] - low[i, k]) / (years[j] - years[i]) for i, j, k in pairs]
    ends = sorted(lowest + highest)
    found = pair_slopes(table, years, bound=bound)
    assert found.open_count == sum(a < b for a, b in zip(lowest, highest, strict=True))
    for variance in (0.0, 20.0, 60.0, 5000.0):
        ranks = limit_ranks(len(pairs), variance)
        middle = (ends[len(pairs) - 1] + ends[len(pairs)]) / 2
        expected = middle, safe_slope_at(ends[0::2], ranks[0]), safe_slope_at(ends[1::2], ranks[1])
        assert found.limits(variance) == pytest.approx(expected, rel=1e-9)
        assert slope_between(np.array(lowest), np.array(highest), variance) == pytest.approx(expected, rel=1e-9)
    assert found.limits(-1.0) == found.limits(0.0)


def safe_slope_at(slopes, rank):
    """Return the same, but the lower of two of which one is infinite."""
    if not 1.0 <= rank <= len(slopes):
        return -INF if rank < 1 else INF
    below, above = slopes[math.floor(rank) - 1], slopes[math.ceil(rank) - 1]
    share = rank - math.floor(rank)
    if below == above or not share:
        return below
    return below + share * (above - below) if math.isfinite(below) else below


def test_slopes_of_a_table_need_a_time_for_each_row():
    for values, times in (
        ([[[1.0]]], None),
        ([1.0, 2.0], [1.0]),
        ([1.0, 2.0, 3.0], [1.0, 3.0, 2.0]),
        ([1.0, 2.0], [[1.0], [2.0]]),
    ):
        with pytest.raises(ShapeError, match="one for each row"):
            pair_slopes(values, times)


def test_few_slopes_of_a_long_series_are_made(monkeypatch):
    """Of 320,000 pairs some bounds are counted and at most about 150,000 slopes between two of them made at once."""
    from gwnet.hydro.trends import slope_ranks

    counted, made = [], []
    monkeypatch.setattr(slope_ranks, "count_inversions", lambda values: counted.append(1) or count_inversions(values))
    add = slope_ranks._Tally.add
    monkeypatch.setattr(slope_ranks._Tally, "add", lambda self, slopes: made.append(slopes.size) or add(self, slopes))
    random = np.random.default_rng(1)
    values, times = np.cumsum(random.normal(0.0, 1.0, 800)), np.arange(800.0)
    slopes = np.sort(pairwise_slopes(values, times))
    places = [9_000, 150_000, 319_599]
    assert ranked_slopes(values, times, slopes.size, places) == {place: slopes[place] for place in places}
    assert len(counted) <= 16
    assert sum(made) <= 200_000


@pytest.mark.parametrize(("values_from", "times_from"), [(0.0, 2000.0), (50.0, 0.0), (4e9, 1e8)])
def test_bounds_of_slopes_are_counted_but_for_those_within_the_rounding(values_from, times_from):
    """Counts so far, guesses and bounds of a search against all slopes sorted; values and times with many ties."""
    from gwnet.hydro.trends import slope_ranks

    random = np.random.default_rng(2)
    values = values_from + np.cumsum(random.integers(-3, 4, 800)) * 0.25
    times = times_from + np.sort(random.integers(0, 700, 800)) * 0.125
    order = np.lexsort((values, times))
    values, times = values[order], times[order]
    slopes = np.sort(pairwise_slopes(values, times))
    search = slope_ranks._Search(values, times, slopes.size)
    assert (search.falling, search.level) == (int((slopes < 0).sum()), int((slopes == 0).sum()))
    assert search.drawn[-1] == search.steepest > np.abs(slopes).max()
    assert -search.steepest == search.drawn[0]
    largest = np.abs(values).max(), np.abs(times - times[400]).max() + np.abs(times).max()
    for place in (10, 40_000, 160_000, slopes.size - 11):
        theta = float(slopes[place]) + 1e-4
        margin = search._margin(theta)
        # eight roundings of the larger of both terms over the shortest step, and of the slope itself
        size = largest[0] + abs(theta) * largest[1]
        assert margin == pytest.approx(8 * 2.0**-52 * (size / 0.125 + abs(theta)), rel=1e-9)
        within = np.searchsorted(slopes, [theta - margin, theta + margin])
        assert within[0] <= search._count(theta) <= within[1]
        for bounds, most in ((search._guess(place), 0.1 * slopes.size), (search._bracket(place), 150_000)):
            below, above = (search._count(bound) for bound in bounds)
            assert below <= place < above
            assert above - below <= most
