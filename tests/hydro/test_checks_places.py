"""Wells that stand apart, and common shifts; constructed, with scipy as judge where it can be."""

import numpy as np
import pytest

from gwnet.hydro.checks.places import apart_from_neighbours, common_shift, typical_levels


def field(seed=3, count=30):
    random = np.random.default_rng(seed)
    x, y = random.uniform(0.0, 3000.0, (2, count))
    return x, y, 40.0 - 0.001 * x + 0.0005 * y + 0.05 * np.sin(x / 300.0) * np.cos(y / 250.0)


def test_typical_levels_take_off_the_rise_and_fall_of_all():
    random = np.random.default_rng(1)
    moves = random.normal(0.0, 2.0, 30)
    own = np.array([10.0, 12.0, 9.0, 30.0])
    well, period = np.repeat(np.arange(4), 30), np.tile(np.arange(30), 4)
    keep = random.random(120) < 0.7
    level = own[well] + moves[period] + random.normal(0.0, 0.01, 120)
    found = typical_levels(well[keep], period[keep], level[keep], 4)
    assert np.diff(found.level_m) == pytest.approx(np.diff(own), abs=0.05)
    assert (found.spread_m < 0.1).all()
    assert found.periods.tolist() == [int((well[keep] == one).sum()) for one in range(4)]


def test_a_level_of_a_period_is_its_median():
    found = typical_levels([0, 0, 0], [5, 5, 5], [1.0, 2.0, 9.0], 1)
    assert found.level_m[0] == 2.0


def test_a_smooth_field_has_no_well_apart():
    assert not apart_from_neighbours(*field()).apart.any()


@pytest.mark.parametrize("off", [1.0, -3.048, 100.0])
def test_a_typed_elevation_is_found_with_its_size(off):
    x, y, level = field()
    level[11] += off
    found = apart_from_neighbours(x, y, level)
    assert np.flatnonzero(found.apart).tolist() == [11]
    assert found.offset_m[11] == pytest.approx(off, abs=0.5)


def test_neighbours_of_several_wrong_wells_are_not_put_in_the_wrong():
    x, y, level = field()
    wrong = np.argsort(np.hypot(x - 1500.0, y - 1500.0))[:4]
    level[wrong] += 50.0
    found = apart_from_neighbours(x, y, level)
    assert set(np.flatnonzero(found.apart)) == set(wrong.tolist())


def test_few_wells_are_not_tested():
    found = apart_from_neighbours(np.arange(5.0), np.arange(5.0), [1.0, 1.0, 1.0, 1.0, 99.0])
    assert np.isnan(found.offset_m).all()
    assert not found.apart.any()


def test_wells_on_one_line_and_at_one_place_are_borne():
    x = np.array([0.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
    found = apart_from_neighbours(x, np.zeros(8), np.full(8, 7.0))
    assert not found.apart.any()


def test_screens_at_one_place_are_not_held_against_one_another():
    """Heads of a cluster differ by depth; only one whose place does not fit the places around stands apart."""
    random = np.random.default_rng(3)
    place = np.repeat(random.uniform(0.0, 5000.0, (2, 9)), 5, axis=1)
    of_screen = np.tile([0.0, 0.02, 0.03, 0.05, 0.8], 9) + random.normal(0.0, 0.01, 45)
    level = 40.0 - 0.001 * place[0] + np.repeat(random.normal(0.0, 1.0, 9), 5) + of_screen
    found = apart_from_neighbours(*place, level)
    assert not found.apart.any()
    level[4] += 60.0
    assert np.flatnonzero(apart_from_neighbours(*place, level).apart).tolist() == [4]


def test_wells_of_one_place_alone_are_held_against_nothing():
    found = apart_from_neighbours(np.zeros(8), np.zeros(8), np.r_[np.zeros(7), 50.0])
    assert not found.apart.any()


def test_a_common_shift_of_quiet_wells_has_the_standard_error_of_a_weighted_mean():
    """1 / sqrt(sum of 1 / error squared), the errors of least squares: checked by drawing many samples."""
    random = np.random.default_rng(8)
    errors = np.tile([0.5, 1.0, 2.0, 4.0], 6)
    drawn = [common_shift(random.normal(0.0, errors), np.ones(24), errors) for _ in range(2000)]
    spread = np.std([one.shift_m for one in drawn])
    assert spread == pytest.approx(np.sum(errors**-2.0) ** -0.5, rel=0.1)
    # Huber's weights give away five per cent, and the scatter is never taken as less than the errors say
    assert np.mean([one.standard_error_m for one in drawn]) == pytest.approx(spread, rel=0.25)


def test_wells_that_differ_by_more_than_their_errors_widen_the_error_of_their_shift():
    random = np.random.default_rng(9)
    shifts = random.normal(0.2, 1.0, 200)
    found = common_shift(shifts, np.ones(200), np.full(200, 0.1))
    assert found.shift_m == pytest.approx(0.2, abs=0.25)
    # errors of 0.1 are said, a scatter of 1 is there: about 1 / sqrt(200), as for a mean of normal values
    assert found.standard_error_m == pytest.approx(1.0 / np.sqrt(200.0), rel=0.8)
    assert found.standard_error_m > 3.0 * 0.1 / np.sqrt(200.0)


def test_one_wrong_well_moves_a_common_shift_little():
    shifts = np.full(11, 0.02)
    shifts[4] = 3.0
    assert common_shift(shifts, np.ones(11), np.full(11, 0.01)).shift_m == pytest.approx(0.02, abs=0.005)


def test_a_restless_well_counts_less_than_a_quiet_one():
    found = common_shift([0.00, 0.10], [1.0, 1.0], [0.01, 0.10])
    assert found.shift_m == pytest.approx(0.10 * 0.10**-2 / (0.01**-2 + 0.10**-2), abs=1e-4)


def test_a_stretched_tape_shows_in_proportion_to_depth():
    depth = np.linspace(2.0, 60.0, 12)
    found = common_shift(0.004 * depth, depth, np.full(12, 0.01))
    assert found.slope == pytest.approx(0.004)
    assert found.counts(4.0, 0.006)
    assert not common_shift([0.001, 0.002], [1.0, 1.0], [0.001, 0.001]).counts(4.0, 0.006)
