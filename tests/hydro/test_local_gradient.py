"""Local planes, slopes of a surface and triangles; constructed numbers."""

import numpy as np
import pytest

from gwnet.errors import AnalysisError
from gwnet.hydro.gradients.horizontal import plane_gradient
from gwnet.hydro.gradients.local import local_gradients, surface_slopes, triangle_gradient
from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.variogram import Covariance

RANDOM = np.random.default_rng(8)
X, Y = RANDOM.uniform(0, 1000, (2, 25))
COVARIANCE = Covariance("matern", 0.05, 700.0)


def test_a_plane_is_the_same_everywhere():
    heads = 30 + 0.002 * X - 0.001 * Y
    for one in local_gradients(X, Y, heads, 0.01):
        assert one.plane.slope_x == pytest.approx(0.002)
        assert one.plane.slope_y == pytest.approx(-0.001)
        assert len(one.neighbours) == 5
        assert one.position not in one.neighbours


def test_local_plane_is_that_of_the_well_and_its_nearest():
    heads = 30 + 0.002 * X - 1e-6 * Y**2
    one = local_gradients(X, Y, heads, 0.01, nearest=4)[7]
    distance = np.hypot(X - X[7], Y - Y[7])
    nearest = np.argsort(distance)[:5]
    assert sorted(one.neighbours) == sorted(set(nearest.tolist()) - {7})
    assert one.reach == pytest.approx(np.sort(distance)[4])
    assert one.plane.magnitude == pytest.approx(plane_gradient(X[nearest], Y[nearest], heads[nearest], 0.01).magnitude)


def test_flow_towards_a_well_turns_about_it():
    heads = 30 + 1e-3 * np.hypot(X - 500, Y - 500)
    for one in local_gradients(X, Y, heads, 0.001):
        away = np.degrees(np.arctan2(500 - X[one.position], 500 - Y[one.position])) % 360
        if np.hypot(X[one.position] - 500, Y[one.position] - 500) > 2 * one.reach:
            assert abs((one.plane.azimuth_deg - away + 180) % 360 - 180) < 40


def test_neighbours_on_one_line_give_no_plane():
    x, y = np.array([0.0, 10.0, 20.0, 5000.0]), np.array([0.0, 0.0, 0.0, 5000.0])
    found = local_gradients(x, y, [10.0, 9.9, 9.8, 9.0], 0.01, nearest=2)
    assert found[0].plane is None
    assert found[3].plane is not None
    with pytest.raises(AnalysisError, match="at least 2"):
        local_gradients(x, y, [10.0, 9.9, 9.8, 9.0], nearest=1)


def test_slopes_of_a_plane_with_its_error():
    heads = 30 + 0.002 * X - 0.001 * Y
    surface = kriging.fit(X, Y, heads, covariance=COVARIANCE, measurement_variance_m2=1e-4)
    found = surface_slopes(surface, [400.0, 600.0], [500.0, 300.0], over_m=200.0)
    assert found.magnitude == pytest.approx(np.hypot(0.002, 0.001))
    assert found.azimuth_deg == pytest.approx(np.degrees(np.arctan2(-0.002, 0.001)) % 360)
    assert (found.magnitude_half_width > 0).all()


def test_slope_covers_as_often_as_it_says():
    """Of 300 fields drawn from the covariance, about 95 % of the half-widths of the eastward slope hold the truth."""
    points = np.column_stack([np.append(X, [450.0, 550.0, 500.0, 500.0]), np.append(Y, [500.0, 500.0, 450.0, 550.0])])
    distance = np.hypot(*(points[:, None, axis] - points[None, :, axis] for axis in (0, 1)))
    root = np.linalg.cholesky(COVARIANCE.at(distance) + 1e-10 * np.eye(len(points)))
    trend = 30 + 0.004 * points[:, 0]
    held = []
    for _ in range(300):
        field = trend + root @ RANDOM.normal(size=len(points))
        surface = kriging.fit(X, Y, field[:25], covariance=COVARIANCE)
        found = surface_slopes(surface, [500.0], [500.0], over_m=100.0)
        truth = np.hypot(field[26] - field[25], field[28] - field[27]) / 100.0
        held.append(abs(found.magnitude[0] - truth) <= found.magnitude_half_width[0])
    assert np.mean(held) > 0.9


def test_slope_needs_a_distance():
    surface = kriging.fit(X, Y, X * 0.001, covariance=COVARIANCE)
    with pytest.raises(AnalysisError, match="distance greater than 0"):
        surface_slopes(surface, [1.0], [1.0], over_m=0.0)


def test_one_triangle_is_the_three_point_problem():
    found = triangle_gradient([190, 138, 217], [163, 153, 43], [90.24, 90.27, 90.01])
    plane = plane_gradient([190, 138, 217], [163, 153, 43], [90.24, 90.27, 90.01])
    assert found.n == 1
    assert found.magnitude == pytest.approx(plane.magnitude)
    assert found.azimuth_deg == pytest.approx(plane.azimuth_deg)


def test_one_wrong_well_does_not_move_the_median_of_triangles():
    heads = 30 + 0.002 * X - 0.001 * Y
    heads[4] += 50.0
    found = triangle_gradient(X, Y, heads)
    assert found.magnitude == pytest.approx(np.hypot(0.002, 0.001), rel=1e-6)
    assert plane_gradient(X, Y, heads).magnitude > 5 * found.magnitude


def test_flat_triangles_are_left_out():
    found = triangle_gradient([0.0, 100.0, 50.0], [0.0, 0.0, 5.0], [10.0, 9.0, 20.0])
    assert found.n == 0
    assert np.isnan(found.magnitude)
