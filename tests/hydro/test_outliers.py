"""Levels that do not fit their neighbours; constructed numbers."""

import numpy as np
import pytest

from gwnet.hydro.surfaces.outliers import neighbour_test


def wells(count=30, seed=21):
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 2000, (2, count))
    z = 30 - 0.001 * x + 0.0005 * y + 0.1 * np.sin(x / 400.0) + random.normal(0, 0.005, count)
    return x, y, z


def test_sound_levels_have_no_outlier():
    test = neighbour_test(*wells(), 0.02)
    assert not test.outlier.any()
    assert np.nanmax(np.abs(test.residual_m)) < 0.5


@pytest.mark.parametrize("off", [-100.0, -3.0, 2.0, 50.0])
def test_one_gross_error_is_found_with_its_size(off):
    x, y, z = wells()
    z[7] += off
    test = neighbour_test(x, y, z, 0.02)
    assert np.flatnonzero(test.outlier).tolist() == [7]
    assert test.residual_m[7] == pytest.approx(off, abs=0.3)


@pytest.mark.parametrize("signs", [(1, 1, 1, 1), (-1, 1, 1, 1), (1, -1, 1, -1)])
def test_several_gross_errors_do_not_hide_one_another(signs):
    """Four neighbours of the same corner are off together: an ordinary fit would follow them."""
    x, y, z = wells()
    corner = np.argsort(np.hypot(x, y))[:4]
    z[corner] += np.array([100.0, 120.0, 140.0, 90.0]) * signs
    test = neighbour_test(x, y, z, 0.02)
    assert sorted(np.flatnonzero(test.outlier)) == sorted(corner)
    assert np.abs(test.residual_m[corner]) == pytest.approx([100.0, 120.0, 140.0, 90.0], abs=0.6)


def test_a_distant_well_on_the_same_plane_is_no_outlier():
    """Wells crowd in one corner; one stands far off where the surface has curved away by several metres."""
    random = np.random.default_rng(22)
    x, y = random.uniform(0, 500, (2, 25))
    x, y = np.append(x, 20_000.0), np.append(y, 4_000.0)
    z = 30 - 0.001 * x + 1e-8 * x**2 + np.append(random.normal(0, 0.01, 25), 0.0)
    assert not neighbour_test(x, y, z, 0.02).outlier.any()


def test_a_difference_within_the_levels_uncertainty_is_no_outlier():
    x, y, z = wells()
    z[3] += 1.0
    assert neighbour_test(x, y, z, 0.02).outlier[3]
    widths = np.where(np.arange(30) == 3, 0.5, 0.02)
    assert not neighbour_test(x, y, z, widths).outlier[3]


def test_five_wells_are_not_tested():
    x, y, z = wells(5)
    z[0] += 100.0
    test = neighbour_test(x, y, z, 0.02)
    assert not test.outlier.any()
    assert np.isnan(test.residual_m).all()


@pytest.mark.parametrize("count", [6, 7, 8])
def test_few_wells_show_a_gross_error(count):
    x, y, z = wells(count, 3)
    z[2] -= 50.0
    test = neighbour_test(x, y, z, 0.02)
    assert test.outlier[2]
    assert test.outlier.sum() == 1


def test_order_of_wells_changes_nothing():
    x, y, z = wells()
    z[[4, 9]] += [-40.0, 25.0]
    order = np.random.default_rng(1).permutation(30)
    here, there = neighbour_test(x, y, z, 0.02), neighbour_test(x[order], y[order], z[order], 0.02)
    assert there.outlier.tolist() == here.outlier[order].tolist()
    assert there.residual_m == pytest.approx(here.residual_m[order], abs=1e-3)


def test_a_plane_without_noise_has_no_outlier():
    x, y, _ = wells()
    assert not neighbour_test(x, y, 10 + 0.001 * x).outlier.any()


def test_many_wells():
    x, y, z = wells(150)
    z[[10, 60, 61, 140]] += [30.0, -12.0, -12.0, 8.0]
    assert np.flatnonzero(neighbour_test(x, y, z, 0.02).outlier).tolist() == [10, 60, 61, 140]


def test_a_part_that_lies_lower_comes_back_when_the_surface_explains_it():
    """Five of 26 wells stand 2 m lower within 200 m: set aside at first, and no outliers in the end."""
    random = np.random.default_rng(1064)
    count = int(random.integers(9, 30))
    x, y = random.uniform(0, 1000, (2, count))
    z = 40 - 0.002 * x + random.normal(0, 0.01, count) - np.where(np.hypot(x - 500, y - 500) < 200, 2.0, 0.0)
    found = neighbour_test(x, y, z, 0.02)
    assert not found.outlier.any()


def test_sound_wells_on_one_line_do_not_break_the_search():
    """Ten wells on a line and one off it, whose level is wrong: nothing can be said about it, and nothing fails."""
    x = np.append(np.arange(10) * 100.0, 450.0)
    y = np.append(np.zeros(10), 300.0)
    z = 10 + 0.001 * x
    z[10] += 50.0
    test = neighbour_test(x, y, z, 0.02)
    assert test.outlier.shape == (11,)
    assert not test.outlier[:10].any()
