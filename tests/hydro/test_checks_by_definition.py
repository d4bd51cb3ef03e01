"""Spreads, jumps and what neighbours suggest, on made records: all numbers equal those of plain loops over the events."""

import numpy as np
import pytest

from gwnet.errors import ShapeError
from gwnet.hydro.checks.isolation import restlessness, sizes_beside, stand_alone
from gwnet.hydro.checks.neighbours import fit_around, nearest_wells, series_of
from gwnet.hydro.checks.robust_limits import interval_groups, jumps
from gwnet.hydro.checks.spreads import following_spread, group_spread, nested_spread

from . import checks_by_definition as by_definition

NAN = np.nan


def values_in_groups(seed, count):
    """Return values of which many are far off, groups of 8 and of 12 to hundreds, and which count."""
    random = np.random.default_rng(seed)
    values = random.normal(3.0, 1.0, count) * np.where(random.random(count) < 0.25, 9.0, 1.0)
    values[random.random(count) < 0.1] = NAN
    values[: count // 5] = np.round(values[: count // 5])
    narrow = random.permutation(np.arange(count) % (count // 12))
    return values, np.stack([narrow * 7 - 3, narrow % 2, np.zeros(count, int)]), random.random(count) < 0.85


@pytest.mark.parametrize(
    ("seed", "count", "least"), [(1, 150, [10, 30, 8]), (2, 60, 9), (3, 26, [5, 11, 20]), (4, 26, 40)]
)
def test_spreads_of_groups_are_those_of_their_values(seed, count, least):
    values, groups, use = values_in_groups(seed, count)
    for taken, given in ((use, use), (np.ones(count, bool), None)):
        near = following_spread(values, groups, use=given, least=least)
        wide = nested_spread(values, groups, use=given, least=least)
        for found, expected in (
            (near, by_definition.following(values, groups, taken, least)),
            (wide, by_definition.nested(values, groups, taken, least)),
        ):
            assert found.centre == pytest.approx(expected[0], rel=1e-12, nan_ok=True)
            assert found.deviation == pytest.approx(expected[1], rel=1e-12, nan_ok=True)
            assert found.count.tolist() == expected[2].tolist()
        own = group_spread(values, groups[1], use=given)
        expected = by_definition.nested(values, groups[1:2], taken, 1)
        assert own.deviation == pytest.approx(expected[1], rel=1e-12)
        assert own.count.tolist() == expected[2].tolist()
    blocks = following_spread(values, groups[2:], least=8, block=5)
    assert blocks.deviation == pytest.approx(
        by_definition.following(values, groups[2:], np.ones(count, bool), 8, block=5)[1], rel=1e-12
    )


def test_eight_values_show_a_spread_and_seven_none():
    """The fewest unless said (project default)."""
    for function in (following_spread, nested_spread):
        assert np.isnan(function(np.arange(7.0), np.zeros((1, 7), int)).centre).all()
        assert function(np.arange(8.0), np.zeros((1, 8), int)).centre.tolist() == [3.5] * 8


def test_an_empty_group_has_no_centre():
    found = group_spread([NAN, 1.0], [4, 5])
    assert found.count.tolist() == [0, 1]
    assert np.isnan([found.centre[0], found.deviation[0]]).all()
    assert np.isnan(group_spread([NAN, NAN], [0, 0]).centre).all()


def test_arrays_of_two_dimensions_are_refused():
    with pytest.raises(ShapeError, match=r"values \(1, 2\), group \(1, 2\)"):
        group_spread([[1.0, 2.0]], [[0, 0]])


def test_intervals_are_of_one_class_up_to_each_edge():
    """Days, weeks, months, quarters, half-years and years: 2, 10, 45, 135, 270 and 550 days (project default)."""
    edges = [2.0, 10.0, 45.0, 135.0, 270.0, 550.0]
    interval = np.array([0.0, *edges, *(edge + 1e-6 for edge in edges), 9000.0, NAN] * 3)
    classes = [0, *range(6), *range(1, 7), 6, 0] * 3
    well, season = np.repeat([0, 0, 1], 15), np.repeat([0, 1, 0], 15)
    narrow, wide = interval_groups(well, season, interval)
    of_narrow = list(zip(well.tolist(), season.tolist(), classes, strict=True))
    of_wide = list(zip(well.tolist(), classes, strict=True))
    for groups, expected in ((narrow, of_narrow), (wide, of_wide)):
        pairs = set(zip(groups.tolist(), expected, strict=True))
        assert len(pairs) == len(set(groups.tolist())) == len(set(expected))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_jumps_are_those_of_plain_loops(seed):
    random = np.random.default_rng(seed)
    well = np.repeat([0, 1, 3], [70, 40, 12])
    time = np.concatenate([np.cumsum(random.choice([1.0, 30.0, 91.0], n)) for n in (70, 40, 12)])
    season = (time // 91).astype(int) % 4
    level = np.cumsum(random.normal(0.0, 0.1, 122)) + (np.cumsum(random.random(122) < 0.02) * 3.0)
    level[[9, 10, 30, 55, 90, 91]] += [4.0, 4.0, -5.0, 0.9, 2.0, 2.1]
    level[random.random(122) < 0.05] = NAN
    level[71:80] = 5.0
    sound = random.random(122) < 0.95
    for least, spreads, floor in ((8, 6.0, 0.03), (5, 4.0, 0.5)):
        found = jumps(well, time, season, level, sound, spreads=spreads, least=least, floor_m=floor)
        change, lower, upper, before, count, jump = by_definition.jumps(
            well, time, season, level, sound, spreads, least, floor
        )
        assert found.change_m == pytest.approx(change, rel=1e-12, nan_ok=True)
        assert found.lower_m == pytest.approx(lower, rel=1e-9, nan_ok=True)
        assert found.upper_m == pytest.approx(upper, rel=1e-9, nan_ok=True)
        assert (found.before.tolist(), found.count.tolist()) == (before, count.tolist())
        assert found.jump.tolist() == jump
        assert 2 < sum(jump) < 40
    unsaid = jumps(well, time, season, level, sound)
    assert unsaid.upper_m == pytest.approx(
        by_definition.jumps(well, time, season, level, sound, 6.0, 8, 0.03)[2], nan_ok=True
    )


def test_a_change_at_its_limit_is_no_jump_and_a_return_to_its_limit_is_one_back():
    """Changes of 0 for years: limits of 0.0625 on either side are those given as the least."""
    level = np.zeros(40)
    for size, expected in ((0.0625, []), (0.0626, [20])):
        level[20] = size
        found = jumps([0] * 40, np.arange(40) * 30.0, [0] * 40, level, [True] * 40, floor_m=0.0625)
        assert np.flatnonzero(found.jump).tolist() == expected
    level[20] = 1.0
    for back, expected in ((0.0625, [20]), (-0.0625, [20]), (0.0626, [20, 21]), (-0.0626, [20, 21])):
        level[21:] = back
        found = jumps([0] * 40, np.arange(40) * 30.0, [0] * 40, level, [True] * 40, floor_m=0.0625)
        assert np.flatnonzero(found.jump).tolist() == expected


def test_levels_beside_and_alone_are_those_of_plain_loops():
    random = np.random.default_rng(4)
    well = np.repeat(np.arange(5), [40, 9, 6, 3, 1])
    season = np.arange(59) % 3
    residual = random.normal(0.0, 0.2, 59) * np.where(random.random(59) < 0.2, 5.0, 1.0)
    residual[random.random(59) < 0.1] = NAN
    sound = random.random(59) < 0.85
    sizes = sizes_beside(well, residual, sound)
    for i in range(59):
        own = sorted(sizes[:, i][~np.isnan(sizes[:, i])].tolist())
        assert own == sorted(by_definition.sizes_beside(well, residual, sound, i))
    expected = by_definition.restlessness(well, residual, sound)
    assert restlessness(well, residual, sound) == pytest.approx(expected, rel=1e-12, nan_ok=True)
    alone = [stand_alone(well, season, residual, sound, least).tolist() for least in (3, 8)]
    assert alone == [by_definition.stand_alone(well, season, residual, sound, least).tolist() for least in (3, 8)]
    assert 0 < sum(alone[0]) < 59


def test_a_level_stands_alone_beyond_its_limits_and_not_at_them():
    """2.5 times what is beside; 3 deviations of the season, 1.4826 · 0.25 each: factors are project defaults."""
    residual = np.full(24, 0.25)
    for size, expected in ((0.625, False), (0.626, True)):
        residual[12] = size
        assert stand_alone(np.zeros(24, int), np.arange(24), residual, np.ones(24, bool), 8)[12] == expected
    spread = np.tile([-0.25, 0.25, 0.0], 13)
    limit = 3 * 1.482602218505602 * 0.25
    for size, expected in ((limit - 1e-9, False), (limit + 1e-9, True)):
        spread[19] = size
        assert stand_alone(np.zeros(39, int), np.zeros(39, int), spread, np.ones(39, bool), 8)[19] == expected


def test_wells_of_no_aquifer_or_no_place_have_no_neighbours():
    x = np.array([0.0, 3.0, NAN, 1.0, 2.0, 9.0, 4.0, 0.0])
    y = np.array([0.0, 4.0, 1.0, NAN, 0.0, 9.0, 0.0, 1.0])
    found = nearest_wells([0, 0, 0, 0, 0, -1, 1, 1], x, y)
    assert found.shape == (8, 24)
    assert found[:, :4].tolist() == [
        [4, 1, -1, -1],
        [4, 0, -1, -1],
        *[[-1] * 4] * 2,
        [0, 1, -1, -1],
        [-1] * 4,
        [7, -1, -1, -1],
        [6, -1, -1, -1],
    ]
    assert nearest_wells([0, 0, 0, 0], [0.0, 0.0, 0.0, 5.0], np.zeros(4), 2)[3].tolist() != [3, -1]
    many = np.arange(40.0)
    assert nearest_wells(np.zeros(40, int), many**2, many)[0].tolist() == list(range(1, 25))


def made_network(seed, rounds=11, wells=13):
    """Return a network in which wells move by half, three times, against or with the others, with gaps and blunders."""
    random = np.random.default_rng(seed)
    answer = np.array([1.0, 0.5, 4.0, -1.0, 1.2, 0.9, 1.0, 1.1, 0.8, 1.0, 1.0, 1.3, 0.0])[:wells]
    common = np.cumsum(random.normal(0.0, 0.3, rounds)) + 0.5 * (np.arange(rounds) % 4)
    day = np.cumsum(random.choice([30.0, 91.0, 200.0], rounds))
    day[rounds // 2 :] += 1000.0
    rows = []
    for w in range(wells):
        for r in range(rounds):
            if random.random() < (0.55 if 4 <= w < 9 else 0.9):
                off = random.choice([0.0, 2.0, 3.0, 3.5, 20.0], p=[0.5, 0.2, 0.1, 0.1, 0.1])
                rows.append((w, day[r] + off, r % 2, 40.0 + w + answer[w] * common[r] + random.normal(0.0, 0.02)))
    rows.append((2, rows[-1][1], 0, 47.0))
    rows.sort(key=lambda row: row[:2])
    well, time, season, level = (np.array(column) for column in zip(*rows, strict=True))
    level[random.random(level.size) < 0.04] += 1.5
    level[random.random(level.size) < 0.03] = NAN
    # two readings of one well at one time
    time[5] = time[4]
    place = random.uniform(0.0, 1000.0, (2, wells))
    return (well, time, season, level, nearest_wells(np.zeros(wells, int), *place, 12)), random.random(
        level.size
    ) < 0.93


FIELDS = ("residual_m", "spread_m", "own_residual_m", "own_spread_m")
FLAGS = ("by_neighbours", "between", "is_first", "is_alone", "shared", "sound")


@pytest.mark.parametrize(("seed", "spreads", "least"), [(1, 3.5, 3), (2, 2.5, 4), (3, 3.5, 8)])
def test_levels_are_held_against_readings_around_and_neighbours_as_in_plain_loops(seed, spreads, least):
    record, sound = made_network(seed)
    found = fit_around(*record[:4], sound, record[4], spreads=spreads, least=least)
    expected = by_definition.fit(record, sound, spreads, least)
    for name in FLAGS:
        assert getattr(found, name).tolist() == getattr(expected, name).tolist(), name
    for name in FIELDS:
        assert getattr(found, name) == pytest.approx(getattr(expected, name), rel=1e-9, abs=1e-9, nan_ok=True), name


def test_readings_at_one_moment_count_alike():
    level = np.array([1.0, 2.0, 5.0, 4.5, 3.0])
    found = fit_around(
        np.zeros(5, int), [0.0, 10.0, 10.0, 10.0, 20.0], np.zeros(5, int), level, np.ones(5, bool), np.full((1, 8), -1)
    )
    assert found.own_residual_m[2] == pytest.approx(5.0 - (2.0 + 4.5) / 2)


def test_three_and_a_half_spreads_and_eight_residuals_count_unless_said():
    record, sound = made_network(4)
    found, said = (fit_around(*record[:4], sound, record[4], **more) for more in ({}, {"spreads": 3.5, "least": 8}))
    assert np.array_equal(found.spread_m, said.spread_m, equal_nan=True)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_series_answers_as_a_search_through_the_readings_of_each_well(seed):
    random = np.random.default_rng(seed)
    well = np.repeat([0, 1, 2, 4], [5, 1, 6, 4])
    time = np.concatenate([np.sort(random.choice(400, n, replace=False)) + 50.0 for n in (5, 1, 6, 4)])
    level, sound = random.normal(0.0, 1.0, 16), random.random(16) < 0.8
    series = series_of(well, time, level, sound)
    readings = by_definition.readings_of(well, time, level, sound, 5)
    asked_well = np.repeat([0, 1, 2, 3, 4], 300)
    # on the readings, beside them, and as far before the first and after the last as a reading may count
    asked = np.concatenate([random.choice([*time, *(time + 40.0), *(time - 40.0), -3.0, 700.0], 1500)])
    near = random.choice([0.0, 3.0, 40.0, 45.0, 5000.0], 1500)
    expected = [by_definition.level_at(readings[w], t, d) for w, t, d in zip(asked_well, asked, near, strict=True)]
    assert series.at(asked_well, asked, near) == pytest.approx(expected, rel=1e-12, nan_ok=True)
    assert np.isnan(series.at(np.array([-1, 0]), np.array([100.0, NAN]), np.array([900.0, 900.0]))).all()


def test_a_time_beyond_the_record_is_asked_of_its_own_well():
    """The last reading of one well and the first of the next are of the last and the first day of the record."""
    series = series_of(np.array([0, 0, 1, 1]), np.array([0.0, 100.0, 0.0, 60.0]), np.arange(4.0), np.ones(4, bool))
    asked = series.at(np.array([0, 0, 1, 1]), np.array([120.0, -20.0, -20.0, 105.0]), np.full(4, 45.0))
    assert asked.tolist() == [1.0, 0.0, 2.0, 3.0]


def test_a_series_is_linear_between_readings_of_one_day():
    series = series_of(np.zeros(2, int), np.array([-5.0, -4.5]), np.array([1.0, 3.0]), np.ones(2, bool))
    asked = series.at(np.zeros(3, int), np.array([-4.875, -4.5, -4.625]), np.ones(3))
    assert asked.tolist() == [1.5, 3.0, 2.5]


def test_wells_keep_apart_in_a_record_that_begins_before_the_day_nought():
    series = series_of(np.array([0, 0, 1]), np.array([-50.0, -1.0, -50.0]), np.arange(3.0), np.ones(3, bool))
    assert series.at(np.array([0, 1]), np.array([-1.0, -50.0]), np.ones(2)).tolist() == [1.0, 2.0]


def test_a_level_that_is_not_known_beside_one_that_is_asked_for_does_not_matter():
    """The reading of the well before or after lies beside it in the order of all events."""
    for level, well, day in (([1.0, NAN], 0, 6.0), ([NAN, 2.0], 1, 8.5)):
        series = series_of(np.array([0, 1]), np.array([5.0, 9.0]), np.array(level), np.ones(2, bool))
        assert series.at(np.array([well]), np.array([day]), np.array([2.0])).tolist() == [level[well]]


def test_no_series_answers_nothing():
    none = np.empty(0)
    assert np.isnan(
        series_of(none.astype(int), none, none, none.astype(bool)).at(np.zeros(2, int), np.zeros(2), np.ones(2))
    ).all()
    alone = series_of(np.zeros(2, int), np.array([3.0, 4.0]), np.ones(2), np.zeros(2, bool))
    assert np.isnan(alone.at(np.zeros(1, int), np.array([3.0]), np.ones(1))).all()
