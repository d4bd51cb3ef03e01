"""Typical levels, wells apart and common shifts: all numbers equal those of plain loops with the documented steps."""

from itertools import combinations
from math import inf, isnan, nan, sqrt

import numpy as np
import pytest

from gwnet.hydro.checks.places import Shift, apart_from_neighbours, common_shift, typical_levels

from .checks_by_definition import MAD_TO_SD


@pytest.mark.parametrize("seed", [1, 2])
def test_typical_levels_are_twelve_sweeps_of_medians(seed):
    """Median polish (Tukey, 1977; from memory): periods and wells in turn set to the median of what the other leaves."""
    random = np.random.default_rng(seed)
    well, period = random.integers(0, 6, 90), random.choice([3, 7, 8, 11, 12, 20], 90)
    well[well == 4] = 5
    level = 10.0 * well + 0.3 * period + random.normal(0.0, 1.0, 90)
    cells = {}
    for w, p, value in zip(well, period, level, strict=True):
        cells.setdefault((w, p), []).append(value)
    cells = {place: np.median(some) for place, some in cells.items()}
    periods = sorted(set(period.tolist()))
    moves = dict.fromkeys(periods, 0.0)

    def of_wells(rest):
        rows = [[rest(w, p, v) for (w, p), v in cells.items() if w == own] for own in range(7)]
        return [np.median(row) if row else nan for row in rows]

    typical = of_wells(lambda w, p, v: v)
    for _ in range(12):
        moves = {own: np.median([v - typical[w] for (w, p), v in cells.items() if p == own]) for own in periods}
        typical = of_wells(lambda w, p, v, moves=moves: v - moves[p])
    found = typical_levels(well, period, level, 7)
    assert found.level_m == pytest.approx(typical, rel=1e-12, nan_ok=True)
    spread = of_wells(lambda w, p, v: MAD_TO_SD * abs(v - moves[p] - typical[w]))
    assert found.spread_m == pytest.approx(spread, abs=1e-12, nan_ok=True)
    assert found.periods.tolist() == [sum(w == own for w, _ in cells) for own in range(7)]
    assert typical_levels([0, 0], [1, 1], [1.0, 4.0], 1).level_m.tolist() == [2.5]


def triples_of(count):
    """All triples up to 2,000 of them, else 2,000 of the sequence of t⁴ = t + 1 (project default)."""
    if count * (count - 1) * (count - 2) / 6 <= 2000:
        return list(combinations(range(count), 3))
    root = max(np.roots([1.0, 0.0, 0.0, -1.0, -1.0]).real)
    drawn = [sorted(int(k / root**power % 1.0 * count) for power in (1, 2, 3)) for k in range(1, 2001)]
    return [triple for triple in drawn if len(set(triple)) == 3]


def apart_by_loops(places, level, spreads, least):
    """Return offset, limit and which wells stand apart: the plane off, the worst set aside one at a time."""
    n = len(level)
    scale = max((places.max(axis=0) - places.min(axis=0)).max(), 1e-9)
    columns = np.column_stack([np.ones(n), (places - places.mean(axis=0)) / scale])
    plane, least_misfit = np.full(n, np.median(level)), inf
    for triple in triples_of(n):
        # three wells nearly on one line make no plane
        if abs(np.linalg.det(columns[triple, :])) > 1e-4:
            values = columns @ np.linalg.solve(columns[triple, :], level[list(triple)])
            if (misfit := np.median(np.abs(level - values))) < least_misfit - 1e-12:
                plane, least_misfit = values, misfit
    residual = level - plane
    distance = np.hypot(*(places[:, None] - places[None]).T)

    def contrast(sound):
        offset, away, alone = np.zeros(n), np.ones(n), np.ones(n, bool)
        for i in range(n):
            others = [j for j in np.argsort(distance[i], kind="stable") if sound[j] and distance[i, j] >= 2.0][:6]
            if others:
                offset[i] = residual[i] - np.median(residual[others])
                away[i], alone[i] = np.median(distance[i, others]), False
        usual = MAD_TO_SD * np.median((np.abs(offset) / away)[sound])
        return offset, np.where(alone, inf, np.maximum(spreads * usual * away, least))

    sound = np.ones(n, bool)
    while True:
        offset, limit = contrast(sound)
        excess = np.where(sound, np.abs(offset) / limit, 0.0)
        if excess.max() <= 1.0 or sound.sum() <= max(5, n // 2):
            return offset, limit, np.abs(offset) > limit
        sound[np.argmax(excess)] = False


@pytest.mark.parametrize(
    ("count", "wrong", "spreads", "least"),
    [
        (7, 1, 6.0, 0.2),
        (11, 5, 3.0, 0.05),
        (14, 9, 2.0, 0.01),
        (26, 4, 6.0, 0.2),
        (22, 12, 6.0, 0.2),
        (24, 20, 6.0, 0.2),
    ],
)
def test_wells_apart_are_those_of_plain_loops(count, wrong, spreads, least):
    random = np.random.default_rng(count)
    places = random.uniform(0.0, 2000.0, (count, 2))
    # two screens at one place, one more at exactly 2 m: another place
    places[0] = np.round(places[0])
    places[1], places[2] = places[0], places[0]
    places[1, 0] += 1.5
    places[2, 1] += 2.0
    level = 40.0 + 0.002 * places[:, 0] - 0.001 * places[:, 1]
    level += random.normal(0.0, 0.05, count)
    level[random.choice(count, wrong, replace=False)] += random.uniform(0.5, 20.0, wrong)
    found = apart_from_neighbours(*places.T, level, spreads=spreads, least_m=least)
    offset, limit, apart = apart_by_loops(places, level, spreads, least)
    assert found.offset_m == pytest.approx(offset, abs=1e-6)
    assert found.limit_m == pytest.approx(limit, rel=1e-6)
    assert found.apart.tolist() == apart.tolist()
    unsaid = apart_from_neighbours(*places.T, level)
    assert unsaid.limit_m == pytest.approx(apart_by_loops(places, level, 6.0, 0.2)[1], rel=1e-6)


def test_wells_without_place_or_level_are_not_tested_and_six_are_enough():
    x, y = (
        np.array([0.0, 900.0, 100.0, 800.0, 500.0, 300.0, nan, 5.0, 7.0]),
        np.array([0.0, 50.0, 700.0, 900.0, 300.0, 450.0, 3.0, nan, 9.0]),
    )
    level = np.array([1.0, 1.1, 1.0, 9.0, 1.2, 1.1, 5.0, 5.0, nan])
    least = np.array([0.2, 0.2, 0.2, 0.5, 0.2, 0.2, 9.0, 9.0, 9.0])
    found = apart_from_neighbours(x, y, level, least_m=least)
    offset, limit, apart = apart_by_loops(np.column_stack([x, y])[:6], level[:6], 6.0, least[:6])
    assert found.offset_m[:6] == pytest.approx(offset, abs=1e-9)
    assert found.limit_m[:6] == pytest.approx(limit, rel=1e-9)
    assert (found.apart[:6].tolist(), found.apart[3]) == (apart.tolist(), True)
    assert np.isnan([found.offset_m[6:], found.limit_m[6:]]).all()
    assert not found.apart[6:].any()
    few = apart_from_neighbours(x[1:], y[1:], level[1:])
    assert np.isnan([few.offset_m, few.limit_m]).all()
    assert not few.apart.any()


def test_wells_on_one_line_are_held_against_their_median():
    """No plane through three of them: offsets are those from the median of the neighbours."""
    x = np.array([0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0])
    level = np.array([1.0, 1.1, 1.0, 7.0, 1.2, 1.1, 1.0])
    found = apart_from_neighbours(x, 2.0 * x, level)
    assert found.offset_m[3] == pytest.approx(7.0 - 1.05)
    assert np.flatnonzero(found.apart).tolist() == [3]


def shift_by_loops(shift, depth, error):
    """Return mean and ratio to depth with Huber's weights of 1.5 standard errors, and their errors."""
    rows = [(s, d, max(e, 0.003)) for s, d, e in zip(shift, depth, error, strict=True) if not isnan(s) and not isnan(e)]

    def slope_of(points):
        if len(points) < 2:
            return (points[0][1] / points[0][0] if points else nan), inf
        slope = np.median([y / x for x, y, _ in points])
        for _ in range(60):
            weights = [min(1.0, 1.5 * e / max(abs(y - slope * x), 1e-15)) / e**2 for x, y, e in points]
            square = sum(w * x * x for w, (x, _, _) in zip(weights, points, strict=True))
            before, slope = slope, sum(w * x * y for w, (x, y, _) in zip(weights, points, strict=True)) / square
            if abs(slope - before) <= 1e-9:
                break
        off = np.median([abs(y - slope * x) / e for x, y, e in points])
        return slope, max(1.0, MAD_TO_SD * off * sqrt(len(points) / (len(points) - 1))) / sqrt(square)

    # near the top the ratio to depth says nothing: 0.5 m (project default)
    return (
        *slope_of([(1.0, s, e) for s, _, e in rows]),
        *slope_of([(d, s, e) for s, d, e in rows if d > 0.5]),
        len(rows),
    )


@pytest.mark.parametrize(
    ("shift", "depth", "error"),
    [
        ([0.02, 0.05, -0.1, 0.04, 0.9, 0.03], [2.0, 8.0, 5.0, 0.5, 20.0, 0.6], [0.01, 0.02, 0.01, 0.05, 0.02, 0.03]),
        ([0.02, 0.3, nan, 0.11, 0.2, -0.4], [2.0, 30.0, 5.0, 12.0, 20.0, nan], [0.0, 0.002, 0.01, nan, 0.004, 0.02]),
        ([0.4, 0.7], [3.0, 4.0], [0.1, 0.3]),
        ([0.4, 0.7, 0.2], [3.0, 0.4, 0.5], [0.1, 0.3, 0.2]),
        ([0.4], [8.0], [0.1]),
        ([nan], [8.0], [0.1]),
        ([1.0, 1.5, 2.2, 2.9, 4.4, 5.0], [10.0, 15.0, 21.0, 30.0, 44.0, 51.0], [0.01] * 6),
    ],
)
def test_common_shifts_are_those_of_plain_loops(shift, depth, error):
    found = common_shift(shift, depth, error)
    shift_m, standard_error, slope, slope_error, count = shift_by_loops(shift, depth, error)
    assert found.count == count
    assert (found.shift_m, found.slope) == (
        pytest.approx(shift_m, rel=1e-7, nan_ok=True),
        pytest.approx(slope, rel=1e-7, nan_ok=True),
    )
    assert (found.standard_error_m, found.slope_error) == (
        pytest.approx(standard_error, rel=1e-7),
        pytest.approx(slope_error, rel=1e-7),
    )


@pytest.mark.parametrize(
    ("shift", "error", "slope", "slope_error", "count", "expected"),
    [
        (-0.5, 0.1, 0.0, 1.0, 2, True),
        (-0.5, 0.125, 0.0, 1.0, 2, False),  # four errors exactly
        (-0.5, 0.2, -0.5, 0.1, 2, True),
        (-0.5, 0.2, -0.5, 0.125, 2, False),
        (-0.5, 0.1, 0.5, 0.1, 1, False),
        (0.25, 0.01, 0.5, 0.1, 9, False),  # the least that counts exactly
        (0.26, 0.01, nan, inf, 9, True),
    ],
)
def test_a_shift_counts_beyond_its_errors_and_the_least(shift, error, slope, slope_error, count, expected):
    assert Shift(shift, error, slope, slope_error, count).counts(4.0, 0.25) is expected
