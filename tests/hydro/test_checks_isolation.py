"""Which levels stand alone among those beside them; constructed."""

import numpy as np
import pytest

from gwnet.hydro.checks.isolation import restlessness, sizes_beside, stand_alone

NONE = np.nan


def alone(residual, season=None, sound=None, well=None, least=8):
    residual = np.asarray(residual, dtype=float)
    n = residual.size
    return stand_alone(
        np.zeros(n, int) if well is None else np.asarray(well),
        np.arange(n) % 4 if season is None else np.asarray(season),
        residual,
        np.ones(n, bool) if sound is None else np.asarray(sound),
        least,
    )


def test_levels_beside_are_three_on_either_side_of_the_same_well_and_never_the_level_itself():
    residual = np.array([1.0, -2.0, 3.0, NONE, -4.0, 5.0, 6.0, 70.0, 80.0])
    sound = np.array([True, True, True, True, False, True, True, True, True])
    beside = sizes_beside(np.array([0] * 7 + [1] * 2), residual, sound)
    assert beside.shape == (6, 9)
    of = [sorted(column[~np.isnan(column)].tolist()) for column in beside.T]
    assert of[0] == [2.0, 3.0, 5.0]
    assert of[2] == [1.0, 2.0, 5.0, 6.0]
    # the level without a residual and the one that serves no other have those beside them all the same
    assert of[3] == of[4] == [1.0, 2.0, 3.0, 5.0, 6.0]
    assert of[7:] == [[80.0], [70.0]]


def test_no_levels_have_none_beside():
    assert sizes_beside(np.empty(0, int), np.empty(0), np.empty(0, bool)).shape == (6, 0)
    assert alone([]).size == 0


def test_restlessness_is_the_median_of_what_is_beside():
    """0.6 of 1.4826 times the median of 0.1, 0.2, 0.3, 0.5, 0.6 and 0.7; a median of two is none."""
    residual = np.array([0.1, -0.2, 0.3, 9.0, 0.5, -0.6, 0.7, 0.1, 0.1])
    found = restlessness(np.array([0] * 7 + [1] * 2), residual, np.ones(9, bool))
    assert found[3] == pytest.approx(0.6 * 1.4826 * 0.4, rel=1e-4)
    assert np.isnan(found[7:]).all()


@pytest.mark.parametrize(("beside", "is_alone"), [(0.39, True), (0.41, False)])
def test_a_level_stands_alone_that_is_off_by_two_and_a_half_times_as_much_as_any_beside(beside, is_alone):
    residual = np.full(24, 0.05)
    residual[12], residual[14] = 1.0, -beside
    assert alone(residual)[12] == is_alone


def test_a_level_farther_away_or_set_aside_says_nothing():
    residual = np.full(24, 0.05)
    residual[12], residual[16], residual[11] = 1.0, 0.8, 0.9
    sound = np.ones(24, bool)
    sound[11] = False
    assert alone(residual, sound=sound)[12]


def test_what_a_season_does_each_year_does_not_stand_alone():
    """A peak each spring is missed by the line between the readings around it."""
    random = np.random.default_rng(3)
    residual = random.normal(0.0, 0.05, 60)
    residual[2::6] += 1.0
    season = np.where(np.arange(60) % 6 == 2, 1, 0)
    assert not alone(residual, season=season)[2::6].any()
    once = random.normal(0.0, 0.05, 60)
    once[32] += 1.0
    assert np.flatnonzero(alone(once, season=season)).tolist() == [32]


def test_too_few_levels_of_a_season_say_nothing():
    residual = np.full(20, 0.02)
    residual[10] = 0.5
    assert alone(residual, season=np.arange(20) // 2)[10]
