"""Ways around barriers, and kriging with them; constructed numbers."""

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from gwnet.errors import SettingsError, ShapeError
from gwnet.hydro.surfaces import barriers, kriging, surface
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


def along_hull(ring, start, end):
    """Return the shorter way from one point to another along the hull of both and a ring between them."""
    nodes = np.vstack([ring, start, end])
    order = ConvexHull(nodes).vertices.tolist()
    first, last = sorted(order.index(len(ring) + place) for place in (0, 1))
    ways = [[*order[first : last + 1]], [*order[last:], *order[: first + 1]]]
    return min(np.hypot(*np.diff(nodes[way], axis=0).T).sum() for way in ways)


@pytest.mark.parametrize("first", range(5))
def test_ways_around_a_convex_ring_follow_the_hull_of_ring_and_ends(first):
    """Wherever the ring begins; the hull by scipy."""
    corners = np.roll(points((3, 0), (1, 2.5), (-2.5, 1.5), (-2, -2), (1.5, -2.5)), first, axis=0)
    ring = Barriers([np.vstack([corners, corners[:1]])])
    angle = np.radians(np.arange(5, 360, 24))
    around = np.column_stack([4.0 * np.cos(angle), 4.0 * np.sin(angle)])
    found = ring.distances(around, -1.3 * around)
    expected = [along_hull(corners, start, -1.3 * start) for start in around]
    assert np.diag(found) == pytest.approx(expected, rel=1e-6)
    assert np.diag(found).min() > 2.3 * 4.0 + 0.01


def test_a_way_out_of_a_small_cup_turns_at_its_end_and_at_its_corner():
    """From within, past the rim and the bottom corner; all steps shorter than 1 m."""
    cup = Barriers([np.array([[0.0, 0.7], [0.0, 0.0], [0.4, 0.0], [0.4, 0.7]])])
    expected = np.hypot(0.15, 0.5) + 0.7 + np.hypot(0.15, 0.3)
    assert cup.distances(points((0.15, 0.2)), points((0.15, -0.3)))[0, 0] == pytest.approx(expected, abs=1e-5)


def test_no_way_leads_through_the_corner_of_a_barrier():
    """Straight through the tip of a V: around its ends instead."""
    vee = Barriers([np.array([[-30.0, 30.0], [0.0, 0.0], [30.0, 30.0]])])
    expected = np.hypot(30.0, 25.0) + np.hypot(30.0, 35.0)
    assert vee.distances(points((0, 5)), points((0, -5)))[0, 0] == pytest.approx(expected, abs=1e-4)


def test_a_way_along_the_line_of_a_barrier_is_free_beyond_its_end():
    assert WALL.distances(points((0, 4), (0, 7)), points((0, 9), (2, 3.5))) == pytest.approx(
        np.array([[5.0, np.hypot(2, 0.5)], [2.0, np.hypot(2, 3.5)]]), rel=1e-14
    )


def test_a_barrier_that_runs_back_on_itself_ends_where_it_turns():
    """From above to below a spike of 5 m: past its tip, √(1 + 4) m either way."""
    spike = Barriers([np.array([[0.0, 0.0], [5.0, 0.0], [-30.0, 0.0]])])
    found = spike.distances(points((4, 2)), points((4, -2)))[0, 0]
    assert found == pytest.approx(2 * np.sqrt(5), abs=1e-4)


def test_a_corner_given_twice_changes_nothing():
    twice = Barriers([np.array([[0.0, 10.0], [0.0, 0.0], [0.0, 0.0], [10.0, 0.0]])])
    found = twice.distances(points((1, 1)), points((-1, -1)))[0, 0]
    assert found == pytest.approx(np.hypot(1, 9) + np.hypot(1, 11), abs=1e-5)


@pytest.mark.parametrize("pairs", [1, 5, 7, 100])
def test_points_worked_out_in_parts_are_the_same(monkeypatch, pairs):
    here, there = points((-4, 0), (-4, 2.9), (4, 1), (-4, -1), (-1, 5)), points((4, 0), (4, 2.9))
    whole = WALL.distances(here, there)
    monkeypatch.setattr(barriers, "_BLOCK_PAIRS", pairs)
    assert WALL.distances(here, there).tolist() == whole.tolist()


def test_as_many_segments_as_the_limit_are_gone_around(monkeypatch):
    monkeypatch.setattr(barriers, "MOST_SEGMENTS", 3)
    assert len(Barriers([np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 1.0], [3.0, 0.0]])]).lines) == 1
    with pytest.raises(SettingsError, match="have 4 segments; 3 can be used"):
        Barriers([np.array([[0.0, 0.0], [1.0, 0.0]]), np.array([[0.0, 2.0], [1.0, 2.0], [2.0, 2.0], [4.0, 2.0]])])


@pytest.mark.parametrize("line", [np.zeros((0, 2)), np.zeros((1, 2)), np.full((2, 2), 3.0)])
def test_a_barrier_without_length_is_refused(line):
    with pytest.raises(ShapeError, match="two corners at different places"):
        Barriers([np.array([[0.0, 0.0], [1.0, 0.0]]), line])


def test_without_a_line_everything_sees_everything():
    assert Barriers([]).distances(points((0, 0)), points((3, 4))).tolist() == [[5.0]]


def test_ways_turn_a_hair_off_the_corners_in_grid_coordinates_too():
    far = np.array([450_000.0, 5_300_000.0])
    wall = Barriers([np.array([[0.0, -1.0], [0.0, 3.0]]) + far])
    assert wall.distances(points((-4, 0)) + far, points((4, 0)) + far)[0, 0] == pytest.approx(2 * np.sqrt(17), abs=1e-5)
