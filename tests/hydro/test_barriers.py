"""Ways around barriers, and kriging with them; constructed numbers."""

import numpy as np
import pytest

from gwnet.errors import SettingsError, ShapeError
from gwnet.hydro.surfaces import kriging, surface
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.variogram import Covariance, fit_covariance

WALL = Barriers([np.array([[0.0, -1.0], [0.0, 3.0]])])


def points(*xy):
    return np.array(xy, dtype=float)


def test_what_sees_each_other_is_as_far_as_the_crow_flies():
    found = WALL.distances(points((-4, 0), (-1, 5)), points((-1, 4), (2, 5)))
    assert found == pytest.approx(np.array([[5.0, np.hypot(6, 5)], [1.0, 3.0]]), abs=1e-12)


def test_the_shorter_way_around_an_end():
    """Pythagoras: below the wall 2 · √(16 + 1), above it 2 · √(16 + 9)."""
    assert WALL.distances(points((-4, 0)), points((4, 0)))[0, 0] == pytest.approx(2 * np.sqrt(17), abs=1e-6)
    assert WALL.distances(points((-4, 2.9)), points((4, 2.9)))[0, 0] == pytest.approx(2 * np.hypot(4, 0.1), abs=1e-6)


def test_a_bend_is_gone_around_and_not_through():
    """From inside an L-shaped wall to outside it: only past its ends."""
    wall = Barriers([np.array([[0.0, 10.0], [0.0, 0.0], [10.0, 0.0]])])
    found = wall.distances(points((1, 1)), points((-1, -1)))[0, 0]
    assert found == pytest.approx(np.hypot(1, 9) + np.hypot(1, 11), abs=1e-5)


def test_a_closed_ring_lets_nothing_out():
    ring = Barriers([np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0], [0.0, 0.0]])])
    found = ring.distances(points((2, 2)), points((8, 8), (3, 3)))
    assert np.isinf(found[0, 0])
    assert found[0, 1] == pytest.approx(np.sqrt(2))


def test_distances_are_the_same_both_ways():
    random = np.random.default_rng(3)
    here, there = random.uniform(-5, 5, (30, 2)), random.uniform(-5, 5, (20, 2))
    bent = Barriers([np.array([[-2.0, -3.0], [0.0, 0.0], [-1.0, 3.0]]), np.array([[2.0, -4.0], [2.0, 1.0]])])
    assert bent.distances(here, there) == pytest.approx(bent.distances(there, here).T, abs=1e-6)
    assert (bent.distances(here, there) >= WALL.__class__([]).distances(here, there) - 1e-9).all()


def stepped(count=40, seed=2):
    """Heads 5 m higher east of a wall at x = 500 that ends at y = 700."""
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 1000, (2, count))
    return x, y, 20.0 + 0.001 * y + np.where(x > 500, 5.0, 0.0) * (y < 700)


def test_kriging_keeps_a_step_at_a_barrier_and_meets_every_level():
    x, y, z = stepped()
    wall = Barriers([np.array([[500.0, -100.0], [500.0, 700.0]])])
    walled = kriging.fit(x, y, z, covariance=Covariance("exponential", 4.0, 800.0), drift="none", barriers=wall)
    free = kriging.fit(x, y, z, covariance=Covariance("exponential", 4.0, 800.0), drift="none")
    assert walled.predict(x, y) == pytest.approx(z, abs=1e-9)
    assert walled.standard_error(x, y) == pytest.approx(np.zeros(40), abs=1e-5)
    across = walled.predict([510.0], [200.0]) - walled.predict([490.0], [200.0])
    assert across[0] > 3.0
    assert abs((free.predict([510.0], [200.0]) - free.predict([490.0], [200.0]))[0]) < 1.0
    assert walled.leave_one_out().rmse_m < free.leave_one_out().rmse_m


def test_leave_one_out_with_a_barrier_equals_refitting():
    x, y, z = stepped(12)
    wall = Barriers([np.array([[500.0, -100.0], [500.0, 700.0]])])
    covariance = Covariance("spherical", 4.0, 800.0)
    found = kriging.fit(x, y, z, covariance=covariance, barriers=wall).leave_one_out()
    for position in range(12):
        rest = np.arange(12) != position
        other = kriging.fit(x[rest], y[rest], z[rest], covariance=covariance, barriers=wall)
        assert found.residual_m[position] == pytest.approx(
            z[position] - float(other.predict(x[position], y[position])), abs=1e-9
        )


def test_only_models_that_stay_covariances_are_fitted_around_barriers():
    x, y, z = stepped()
    wall = Barriers([np.array([[500.0, -100.0], [500.0, 700.0]])])
    assert fit_covariance(x, y, z, barriers=wall).model in ("spherical", "exponential")
    assert fit_covariance(x, y, z, barriers=wall, models=("gaussian",)).model in ("spherical", "exponential")


@pytest.mark.parametrize("method", ["spline", "triangulation"])
def test_other_methods_cannot_go_around(method):
    x, y, z = stepped()
    with pytest.raises(SettingsError, match="only kriging can go around"):
        surface.fit(method, x, y, z, barriers=WALL)


def test_what_is_no_barrier_is_refused():
    with pytest.raises(ShapeError, match="two corners"):
        Barriers([np.array([[0.0, 0.0]])])
    with pytest.raises(SettingsError, match="have 300 segments; 200"):
        Barriers([np.column_stack([np.arange(301.0), np.zeros(301)])])


def test_the_way_around_the_bend_of_an_open_barrier():
    """Under a V at its tip: 2 · √(9² + 1²), by Pythagoras; the ends are farther."""
    vee = Barriers([np.array([[-30.0, 30.0], [0.0, 0.0], [30.0, 30.0]])])
    assert vee.distances(points((-9, 1)), points((9, 1)))[0, 0] == pytest.approx(2 * np.sqrt(82), abs=1e-5)


def test_each_of_many_points_sees_the_barrier():
    """The first and the last of the points asked about are behind the wall like all others."""
    here, there = points((-4, 0), (-4, 0), (-4, 0)), points((4, 0))
    assert WALL.distances(here, there)[:, 0] == pytest.approx(np.full(3, 2 * np.sqrt(17)), abs=1e-6)
