"""Levels against readings around them and neighbours; constructed networks."""

import numpy as np
import pytest

from gwnet.hydro.checks.neighbours import fit_around, nearest_wells, series_of
from gwnet.hydro.checks.steps import moves_against_neighbours, steps_at

WELLS, ROUNDS = 9, 40


def network(seed=5, noise=0.01):
    """Return a network whose wells rise and fall together: well, time, season, level, neighbours."""
    random = np.random.default_rng(seed)
    common = np.cumsum(random.normal(0.0, 0.3, ROUNDS))
    well = np.repeat(np.arange(WELLS), ROUNDS)
    time = np.tile(np.arange(ROUNDS) * 91.0, WELLS) + random.uniform(0.0, 1.0, WELLS * ROUNDS)
    level = 50.0 + well + np.tile(common, WELLS) + random.normal(0.0, noise, well.size)
    place = random.uniform(0.0, 1000.0, (2, WELLS))
    return well, time, np.tile(np.arange(ROUNDS) % 4, WELLS), level, nearest_wells(np.zeros(WELLS, int), *place)


def test_nearest_wells_are_of_the_same_aquifer_and_in_order_of_distance():
    found = nearest_wells([0, 0, 1, 0, -1], [0.0, 10.0, 1.0, 3.0, 0.5], np.zeros(5), 3)
    assert found.tolist() == [[3, 1, -1], [3, 0, -1], [-1] * 3, [0, 1, -1], [-1] * 3]


def test_a_series_is_asked_between_and_beside_its_readings():
    series = series_of(np.array([0, 0, 1]), np.array([0.0, 10.0, 5.0]), np.array([1.0, 2.0, 9.0]), np.ones(3, bool))
    asked = series.at(np.array([0, 0, 0, 1, 1, -1]), np.array([5.0, 4.0, 12.0, 5.0, 9.0, 5.0]), np.full(6, 4.5))
    assert asked[1] == pytest.approx(1.4)
    assert asked[2] == pytest.approx(2.0)
    assert asked[3] == pytest.approx(9.0)
    assert np.isnan(asked[[0, 5]]).all()
    assert asked[4] == pytest.approx(9.0)


def test_neighbours_take_off_what_all_wells_share():
    well, time, season, level, near = network()
    found = fit_around(well, time, season, level, np.ones(well.size, bool), near)
    assert found.by_neighbours.mean() > 0.95
    assert np.nanmedian(found.spread_m) < 0.03
    assert np.nanmedian(found.own_spread_m) > 0.1


def test_neighbours_that_make_the_misfit_larger_are_not_used():
    """One well falls evenly, which its own readings say to the centimetre; those around it wander by metres."""
    well, time, season, level, near = network()
    lonely = well == 4
    level[lonely] = 54.0 - 1e-4 * time[lonely]
    level[lonely] += np.random.default_rng(8).normal(0.0, 0.01, ROUNDS)
    found = fit_around(well, time, season, level, np.ones(well.size, bool), near)
    assert found.by_neighbours[lonely].mean() < 0.1
    assert found.by_neighbours[~lonely].mean() > 0.9
    assert np.median(found.spread_m[lonely]) < 0.03


def test_a_wrong_level_stands_out_and_does_not_put_those_beside_it_in_the_wrong():
    well, time, season, level, near = network()
    level[3 * ROUNDS + 17] += 0.5
    found = fit_around(well, time, season, level, np.ones(well.size, bool), near)
    off = np.abs(found.residual_m) / found.spread_m
    assert np.flatnonzero(off > 10.0).tolist() == [3 * ROUNDS + 17]
    assert found.residual_m[3 * ROUNDS + 17] == pytest.approx(0.5, abs=0.05)
    assert not found.sound[3 * ROUNDS + 17]


def test_two_wrong_levels_in_a_row_do_not_put_those_beside_them_in_the_wrong():
    well, time, season, level, near = network()
    wrong = [3 * ROUNDS + 17, 3 * ROUNDS + 18]
    level[wrong] += [0.5, 0.45]
    found = fit_around(well, time, season, level, np.ones(well.size, bool), near)
    off = np.abs(found.residual_m) / found.spread_m
    assert set(np.flatnonzero(off > 6.0).tolist()) <= set(wrong)


def test_a_level_years_from_all_others_is_held_against_none():
    well, time, season, level, near = network()
    time[ROUNDS - 1] += 4000.0
    found = fit_around(well, time, season, level, np.ones(well.size, bool), near)
    assert np.isnan(found.residual_m[ROUNDS - 1])


def test_readings_three_years_apart_are_held_against_each_other_and_no_farther_ones():
    time = np.array([0.0, 1096.0, 2193.0])
    alone, season = np.full((1, 8), -1), np.zeros(3, int)
    found = fit_around(np.zeros(3, int), time, season, np.array([1.0, 1.5, 2.0]), np.ones(3, bool), alone, least=1)
    assert np.isnan(found.residual_m).tolist() == [False, False, True]


def test_the_order_of_the_wells_changes_nothing():
    """The first and the last well of a network are held against their own readings alone, as all others are."""
    well, time, season, level, _ = network()
    level[:4] += [0.4, -0.4, 0.4, -0.4]
    level[-4:] += [0.4, -0.4, 0.4, -0.4]
    place = np.random.default_rng(6).uniform(0.0, 1000.0, (2, WELLS))
    spread = []
    for order in (np.arange(WELLS), np.roll(np.arange(WELLS), 4)):
        rows = (order[:, None] * ROUNDS + np.arange(ROUNDS)).ravel()
        near = nearest_wells(np.zeros(WELLS, int), *place[:, order])
        found = fit_around(well, time[rows], season[rows], level[rows], np.ones(well.size, bool), near)
        spread.append(np.empty(well.size))
        spread[-1][rows] = found.spread_m
    assert spread[1] == pytest.approx(spread[0], rel=1e-9)


def test_restless_times_widen_the_spread():
    random = np.random.default_rng(8)
    level = np.concatenate([random.normal(0.0, 0.02, 60), random.normal(0.0, 1.0, 20), random.normal(0.0, 0.02, 60)])
    n = level.size
    alone = np.full((1, 8), -1)
    found = fit_around(np.zeros(n, int), np.arange(n) * 30.0, np.zeros(n, int), level, np.ones(n, bool), alone)
    assert found.spread_m[70] > 5.0 * found.spread_m[20]


def test_first_and_last_levels_are_held_against_one_side():
    well, time, season, level, near = network()
    level[ROUNDS - 1] += 1.0
    found = fit_around(well, time, season, level, np.ones(well.size, bool), near)
    assert found.residual_m[ROUNDS - 1] == pytest.approx(1.0, abs=0.1)
    assert not np.isnan(found.residual_m[[0, ROUNDS - 1]]).any()
    assert np.flatnonzero(found.is_first).tolist() == (np.arange(WELLS) * ROUNDS).tolist()


def test_where_days_are_counted_from_changes_nothing():
    """A record that began before the day 0 is read as one that began after it."""
    well, time, season, level, near = network()
    everything = np.ones(well.size, bool)
    found = [fit_around(well, time - start, season, level, everything, near) for start in (0.0, 1800.0, 9000.0)]
    for other in found[1:]:
        assert other.residual_m == pytest.approx(found[0].residual_m, abs=1e-9)
        assert other.spread_m == pytest.approx(found[0].spread_m, abs=1e-9)
        assert other.by_neighbours.tolist() == found[0].by_neighbours.tolist()


def test_a_well_that_answers_half_as_strongly_is_moved_half_as_far():
    """Small movements, as near a lake: the common part is a few centimetres."""
    well, time, season, level, near = network(noise=0.0)
    answer = np.where(well == 3, 0.5, 1.0)
    level = 50.0 + answer * (level - 50.0 - well) * 0.05
    found = fit_around(well, time, season, level, np.ones(well.size, bool), near)
    mine = (well == 3) & ~found.is_first
    assert found.by_neighbours[mine].all()
    moved, own = (np.nanmedian(np.abs(values[mine])) for values in (found.residual_m, found.own_residual_m))
    assert moved < 0.1 * own


def test_a_level_held_against_the_one_after_it_asks_nothing_of_a_time_that_is_not_there():
    """The first level of a well has none before it; that its neighbours ended early must not matter."""
    well, time, season, level, near = network()
    kept = (np.arange(well.size) % ROUNDS < ROUNDS - 4) | (well == WELLS - 1)
    found = fit_around(well[kept], time[kept], season[kept], level[kept], np.ones(kept.sum(), bool), near)
    firsts = np.searchsorted(well[kept], np.arange(WELLS - 1))
    assert found.by_neighbours[firsts].all()


def test_what_neighbours_do_as_well_is_counted():
    well, time, season, level, near = network()
    flooded = np.isin(well, [0, *near[0, :3]]) & (np.arange(well.size) % ROUNDS == 20)
    level[flooded] += 0.6
    found = fit_around(well, time, season, level, np.ones(well.size, bool), near)
    assert found.shared[20] >= 2
    level[flooded] -= 0.6
    level[20] += 0.6
    alone = fit_around(well, time, season, level, np.ones(well.size, bool), near)
    assert alone.shared[20] == 0


def test_a_well_without_neighbours_is_held_against_itself():
    well, time, season, level, _ = network()
    found = fit_around(well, time, season, level, np.ones(well.size, bool), np.full((WELLS, 8), -1))
    assert not found.by_neighbours.any()
    assert found.residual_m == pytest.approx(found.own_residual_m)


def test_a_step_is_measured_against_the_neighbours():
    well, time, season, level, near = network()
    first = 4 * ROUNDS + 22
    level[first : 5 * ROUNDS] += 0.3048
    what = np.zeros(well.size, int)
    what[first : 5 * ROUNDS] = 1
    sound = np.ones(well.size, bool)
    moves = moves_against_neighbours(well, time, season, level, sound, near)
    found = steps_at(np.array([first]), well, time, moves, sound, what)
    assert found.step_m[0] == pytest.approx(0.3048, abs=0.03)
    assert found.error_m[0] < 0.03


def test_no_step_is_none():
    well, time, season, level, near = network()
    sound = np.ones(well.size, bool)
    moves = moves_against_neighbours(well, time, season, level, sound, near)
    rows = np.arange(8, well.size - 8, 13)
    found = steps_at(rows, well, time, moves, sound, np.zeros(well.size, int))
    assert (np.abs(found.step_m) > 5.0 * found.error_m).mean() < 0.05


def test_a_network_without_events_gives_nothing():
    none, whole = np.empty(0), np.empty(0, int)
    found = fit_around(whole, none, whole, none, none.astype(bool), np.full((0, 8), -1))
    assert found.residual_m.size == 0


def test_what_all_wells_do_since_a_year_is_no_move():
    """All rise by 1 m a year; one well rises by 0.2 m more from its 22nd round on."""
    well, time, season, level, near = network(noise=0.0)
    level = 50.0 + time / 365.25
    level[4 * ROUNDS + 22 : 5 * ROUNDS] += 0.2
    moves = moves_against_neighbours(well, time, season, level, np.ones(well.size, bool), near)
    since = moves.since_year_m[4 * ROUNDS : 5 * ROUNDS]
    assert since[6:22] == pytest.approx(np.zeros(16), abs=0.02)
    assert since[22:26] == pytest.approx(np.full(4, 0.2), abs=0.02)
    assert since[28:32] == pytest.approx(np.zeros(4), abs=0.02)


def test_farther_wells_are_asked_where_near_ones_were_not_read():
    """Of the nearest eight none was read in the last third of the record; the others show the common movement."""
    random = np.random.default_rng(5)
    rounds, wells = 45, 14
    common = np.cumsum(random.normal(0.0, 0.5, rounds))
    well, at = np.repeat(np.arange(wells), rounds), np.tile(np.arange(rounds), wells)
    level = common[at] + random.normal(0.0, 0.01, well.size)
    near = np.array([[other for other in range(wells) if other != own] for own in range(wells)])
    kept = (at < 30) | (well == 0) | (well > 8)
    well, at, level = well[kept], at[kept], level[kept]
    found = fit_around(well, 91.0 * at, at % 4, level, np.ones(well.size, bool), near)
    late = (well == 0) & (at >= 31) & (at < 44)
    assert found.by_neighbours[late].all()
    assert np.abs(found.residual_m[late]).max() < 0.1
    assert np.abs(found.own_residual_m[late]).max() > 0.2


def test_a_level_stands_alone_less_what_neighbours_did_where_that_explains_the_well():
    """All wells move by a metre from one reading to the next; one level is off by 0.3 m more than its neighbours."""
    well, time, season, level, near = network(noise=0.01)
    level += np.tile(np.resize([0.0, 1.0], ROUNDS), WELLS) * 2.0
    level[3 * ROUNDS + 17] += 0.3
    everything = np.ones(well.size, bool)
    found = fit_around(well, time, season, level, everything, near)
    assert found.is_alone[3 * ROUNDS + 17]
    by_itself = fit_around(well, time, season, level, everything, np.full((WELLS, 8), -1))
    assert not by_itself.is_alone[3 * ROUNDS + 17]
