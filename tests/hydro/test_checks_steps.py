"""Moves against neighbours and steps where something changed: all numbers equal those of plain loops over the events."""

from math import isnan, nan, sqrt

import numpy as np
import pytest

from gwnet.hydro.checks.steps import Moves, moves_against_neighbours, steps_at

from . import checks_by_definition as by_definition

#: Days of a year, and how near the same date a reading of the year before must be (project default).
YEAR_D, YEAR_NEAR_D = 365.25, 45.0


def made_network(seed, rounds=16, wells=8):
    """Return wells read about every quarter, some rounds left out; seven neighbours each, some of which are none."""
    random = np.random.default_rng(seed)
    rows = []
    for w in range(wells):
        for r in range(rounds):
            if random.random() < 0.8:
                season = r % 2
                level = 0.3 * season * w + random.normal(0.0, 0.1) + 0.01 * w * r
                rows.append(
                    (w, 80.0 + 91.25 * r + random.choice([0.0, 5.0, 5.5, 45.0], p=[0.6, 0.2, 0.1, 0.1]), season, level)
                )
    rows.sort(key=lambda row: row[:2])
    well, time, season, level = (np.array(column) for column in zip(*rows, strict=True))
    level[random.random(level.size) < 0.05] = nan
    neighbours = np.array([[o for o in range(wells) if o != own] for own in range(wells)])
    neighbours[1, 2] = neighbours[3, :3] = -1
    return (well, time, season, level, neighbours), random.random(level.size) < 0.95


def moves_by_definition(record, sound, least):
    well, time, season, level, neighbours = record
    n = len(well)
    sound = sound & ~np.isnan(level)
    series = by_definition.readings_of(well, time, level, sound, len(neighbours))

    def theirs(w, end, start, near):
        asked = [series[o] if o >= 0 else [] for o in neighbours[w]]
        changes = [by_definition.level_at(s, end, near) - by_definition.level_at(s, start, near) for s in asked]
        known = [change for change in changes if not isnan(change)]
        return np.median(known) if len(known) >= 3 else nan

    last, year, befores, interval = [], [], [], []
    for i in range(n):
        before = by_definition.beside(well, i, sound)[0]
        befores.append(-1 if before is None else before)
        interval.append(0.0 if before is None else time[i] - time[before])
        near = max(5.0, 0.5 * interval[-1])
        start = nan if before is None else time[before]
        last.append(nan if before is None else level[i] - level[before] - theirs(well[i], time[i], start, near))
        earlier = time[i] - YEAR_D
        own = level[i] - by_definition.level_at(series[well[i]], earlier, YEAR_NEAR_D)
        year.append(own - theirs(well[i], time[i], earlier, YEAR_NEAR_D))
    of_season = by_definition.interval_groups(well, season, interval)[:1]
    last = np.array(last) - np.nan_to_num(by_definition.nested(last, of_season, sound, 5)[0])
    own = [list(well)]
    return (
        last,
        np.array(year),
        by_definition.nested(last, own, sound, least)[1],
        by_definition.nested(year, own, sound, least)[1],
        befores,
    )


@pytest.mark.parametrize(("seed", "least"), [(1, 8), (2, 4)])
def test_moves_against_neighbours_are_those_of_plain_loops(seed, least):
    record, sound = made_network(seed)
    found = moves_against_neighbours(*record[:4], sound, record[4], least=least)
    last, year, last_spread, year_spread, before = moves_by_definition(record, sound, least)
    assert found.since_last_m == pytest.approx(last, abs=1e-12, nan_ok=True)
    assert found.since_year_m == pytest.approx(year, abs=1e-12, nan_ok=True)
    assert found.last_spread_m == pytest.approx(last_spread, rel=1e-9, nan_ok=True)
    assert found.year_spread_m == pytest.approx(year_spread, rel=1e-9, nan_ok=True)
    assert found.before.tolist() == before
    assert 30 < np.isfinite(found.since_last_m).sum() < len(sound)
    assert 20 < np.isfinite(found.since_year_m).sum() < len(sound)


def test_eight_moves_show_a_spread_unless_said():
    record, sound = made_network(3)
    unsaid, said = (moves_against_neighbours(*record[:4], sound, record[4], **more) for more in ({}, {"least": 8}))
    assert np.array_equal(unsaid.last_spread_m, said.last_spread_m, equal_nan=True)


def joined(first, first_error, second, second_error):
    """Return the mean weighted by the errors, which share the first level: 1.2 times that of independent ones."""
    weights = [max(first_error, 1e-6) ** -2, max(second_error, 1e-6) ** -2]
    return (weights[0] * first + weights[1] * second) / sum(weights), 1.2 / sqrt(sum(weights))


#: One well: since the year before 0.1, 0.2, … where known; tape 1 up to the fifth event, then tape 2.
TIME = np.array([100.0, 200.0, 300.0, 420.0, 420.25, 500.0, 600.0])
YEAR = np.array([0.1, 0.5, nan, 0.3, 0.7, 0.2, 0.4])
WHAT = np.array([1, 1, 1, 1, 1, 2, 2])


def made_moves(last=0.25, last_spread=0.04, year_spread=0.06, year=YEAR):
    n = len(year)
    return Moves(np.full(n, last), np.array(year), np.full(n, last_spread), np.full(n, year_spread), np.arange(n) - 1)


@pytest.mark.parametrize(
    ("row", "sound", "moves", "expected"),
    [
        # the level at 420.25 d is a year less 45 d after the first: it may be held against one after the change
        (0, [True] * 7, {}, joined(0.25, 0.04, 0.3, 0.06 / sqrt(1.5))),
        (0, [True, False, True, True, True, True, True], {}, joined(0.25, 0.04, 0.2, 0.06)),
        (0, [False, False, True, True, True, True, True], {}, joined(0.25, 0.04, 0.3, 0.06)),
        # levels with another tape do not count
        (3, [True] * 7, {}, joined(0.25, 0.04, 0.5, 0.06)),
        (5, [True] * 7, {}, joined(0.25, 0.04, 0.3, 0.06)),
        (2, [True, True, True, False, False, True, True], {}, (0.25, 0.04)),
        (0, [True] * 7, {"last": nan}, (0.3, 0.06 / sqrt(1.5))),
        (0, [True] * 7, {"last_spread": nan}, (0.3, 0.06 / sqrt(1.5))),
        (0, [True] * 7, {"year_spread": nan}, (0.25, 0.04)),
        (0, [True] * 7, {"last_spread": 0.0}, joined(0.25, 1e-6, 0.3, 0.06 / sqrt(1.5))),
        (0, [True] * 7, {"last_spread": 2e-6, "year_spread": 0.0}, joined(0.25, 2e-6, 0.3, 1e-6)),
    ],
)
def test_a_step_joins_what_is_known_since_the_last_reading_and_since_a_year(row, sound, moves, expected):
    found = steps_at(np.array([row]), np.zeros(7, int), TIME, made_moves(**moves), np.array(sound), WHAT)
    assert (found.step_m[0], found.error_m[0]) == pytest.approx(expected, rel=1e-9)


def test_steps_of_several_wells_are_their_own():
    """The later levels of one well end where the next begins, however near its first level is."""
    well, time = np.repeat([0, 1, 2], [2, 3, 2]), np.array([10.0, 300.0, 5.0, 20.0, 330.0, 0.0, 1000.0])
    moves = made_moves()
    found = steps_at(np.array([1, 2, 5]), well, time, moves, np.ones(7, bool), np.ones(7, int))
    # of the second well the level after 315 d counts and that after 325 d does not
    expected = [joined(0.25, 0.04, *late) for late in ((0.5, 0.06), (0.3, 0.06), (0.2, 0.06))]
    assert np.column_stack([found.step_m, found.error_m]) == pytest.approx(np.array(expected), rel=1e-9)
    # the last day of the record is near the first of the next well only in the order of the events
    late = np.array([10.0, 1000.0, 0.0, 20.0, 330.0, 0.0, 1000.0])
    found = steps_at(np.array([1]), well, late, moves, np.ones(7, bool), np.ones(7, int))
    assert (found.step_m[0], found.error_m[0]) == pytest.approx(joined(0.25, 0.04, 0.5, 0.06), rel=1e-9)
    nothing = steps_at(
        np.empty(0, int), np.empty(0, int), np.empty(0), made_moves(year=[]), np.empty(0, bool), np.empty(0, int)
    )
    assert nothing.step_m.size == 0
