"""Sums over the control against integrals known in closed form and against a plain grid; constructed surfaces."""

import numpy as np
import pytest

from gwnet.hydro.surfaces import kriging, triangulation
from gwnet.hydro.surfaces.hull import convex_hull, hull_area, inside
from gwnet.hydro.surfaces.kriging_system import kriging_system
from gwnet.hydro.surfaces.surface_sums import change_sums, hull_nodes
from gwnet.hydro.surfaces.variogram import Covariance

RANDOM = np.random.default_rng(3)
COVARIANCE = Covariance("spherical", 0.04, 800.0)


def test_areas_sum_to_that_of_the_hull():
    hull = convex_hull(*RANDOM.uniform(0, 500, (2, 30)))
    x, y, area = hull_nodes(hull, 700)
    assert area.sum() == pytest.approx(hull_area(hull), rel=1e-12)
    assert inside(hull, x, y).all()
    assert 500 < area.size < 900
    assert (area > 0).all()


def test_volume_of_a_plane_is_exact():
    """A plane of changes over a rectangle: its mean is that at the middle; rise and fall are two prisms."""
    x, y = np.array([0.0, 400.0, 400.0, 0.0, 130.0]), np.array([0.0, 0.0, 300.0, 300.0, 90.0])
    surface = kriging.fit(x, y, 0.2 - 0.001 * x, covariance=COVARIANCE)
    found = change_sums(surface)
    assert found.area_m2 == pytest.approx(120_000.0)
    assert found.mean_m == pytest.approx(0.0, abs=1e-12)
    # rise from x = 0 to 200: half of 0.2 m times 200 m times 300 m
    assert found.rise_m3 == pytest.approx(6_000.0, rel=1e-4)
    assert found.fall_m3 == pytest.approx(6_000.0, rel=1e-4)
    assert found.rise_m3 - found.fall_m3 == pytest.approx(0.0, abs=1e-6)


class Cone:
    """A cone of drawdown of 2 m about the middle, reaching 400 m, as a surface over a square that holds it."""

    hull = np.array([[-500.0, -500.0], [500.0, -500.0], [500.0, 500.0], [-500.0, 500.0]])
    x = y = z = np.zeros(0)

    def predict(self, xq, yq):
        return -np.maximum(2.0 * (1.0 - np.hypot(xq, yq) / 400.0), 0.0)


def test_volume_of_a_cone():
    """A third of base times height: π 400² 2 / 3."""
    found = change_sums(Cone())
    assert found.fall_m3 == pytest.approx(np.pi * 400.0**2 * 2.0 / 3.0, rel=2e-4)
    assert found.rise_m3 == 0.0
    assert np.isnan(found.mean_half_width_m)


@pytest.mark.parametrize("fit", [lambda *a: kriging.fit(*a, covariance=COVARIANCE), triangulation.fit])
def test_volume_equals_that_of_a_fine_grid(fit):
    x, y = RANDOM.uniform(0, 1000, (2, 20))
    surface = fit(x, y, RANDOM.normal(0.05, 0.2, 20))
    found = change_sums(surface)
    edges = np.linspace(0.5, 999.5, 1000)
    change = surface.predict(edges[None, :], edges[:, None], inside_control=True)
    assert found.area_m2 == pytest.approx(np.isfinite(change).sum(), rel=1e-3)
    assert found.rise_m3 == pytest.approx(np.nansum(np.maximum(change, 0)), rel=2e-3)
    assert found.fall_m3 == pytest.approx(np.nansum(np.maximum(-change, 0)), rel=2e-3)
    assert found.mean_m == pytest.approx(np.nanmean(change), abs=2e-4)


def test_coordinates_in_feet():
    """Areas and volumes count the unit of the coordinates; changes stay in metres."""
    x, y = np.array([0.0, 1000.0, 1000.0, 0.0]), np.array([0.0, 0.0, 1000.0, 1000.0])
    surface = kriging.fit(x, y, [0.5, 0.5, 0.5, 0.5], covariance=COVARIANCE)
    found = change_sums(surface, unit_m=0.3048)
    assert found.area_m2 == pytest.approx(1e6 * 0.3048**2)
    assert found.rise_m3 - found.fall_m3 == pytest.approx(0.5 * 1e6 * 0.3048**2)


def test_significant_areas_count_the_unit_of_the_coordinates():
    x, y = np.random.default_rng(7).uniform(0, 1000, (2, 20))
    surface = kriging.fit(x, y, 0.3 - 0.0006 * x, covariance=COVARIANCE)
    in_metres, in_feet = change_sums(surface), change_sums(surface, unit_m=0.3048)
    assert in_metres.rise_area_m2 > 0
    assert in_metres.fall_area_m2 > 0
    assert in_feet.rise_area_m2 == pytest.approx(in_metres.rise_area_m2 * 0.3048**2)
    assert in_feet.fall_area_m2 == pytest.approx(in_metres.fall_area_m2 * 0.3048**2)


def test_half_width_of_the_mean_covers_as_often_as_it_says():
    """Of 400 fields drawn from the covariance and measured with error, about 95 % hold their own mean."""
    wells = RANDOM.uniform(0, 1000, (2, 15))
    hull = convex_hull(*wells)
    nodes_x, nodes_y, area = hull_nodes(hull, 250)
    points = np.vstack([np.column_stack(wells), np.column_stack([nodes_x, nodes_y])])
    distance = np.hypot(*(points[:, None, axis] - points[None, :, axis] for axis in (0, 1)))
    root = np.linalg.cholesky(COVARIANCE.at(distance) + 1e-9 * np.eye(len(points)))
    shares = area / area.sum()
    unmeasured = kriging.fit(*wells, np.zeros(15), covariance=COVARIANCE, measurement_variance_m2=0.02**2)
    error = 1.96 * kriging_system(unmeasured).combined_error(nodes_x, nodes_y, shares)
    held = []
    for _ in range(400):
        field = root @ RANDOM.normal(size=len(points))
        levels = field[:15] + RANDOM.normal(0, 0.02, 15)
        surface = kriging.fit(*wells, levels, covariance=COVARIANCE, measurement_variance_m2=0.02**2)
        held.append(abs(shares @ (surface.predict(nodes_x, nodes_y) - field[15:])) <= error)
    assert 0.92 <= np.mean(held) <= 0.98


def test_significant_areas_shrink_with_uncertainty():
    x, y = RANDOM.uniform(0, 1000, (2, 20))
    change = 0.3 - 0.0006 * x
    sharp = change_sums(kriging.fit(x, y, change, covariance=COVARIANCE))
    dull = change_sums(kriging.fit(x, y, change, covariance=COVARIANCE, measurement_variance_m2=0.1**2))
    assert dull.rise_area_m2 < sharp.rise_area_m2
    assert sharp.rise_area_m2 + sharp.fall_area_m2 < sharp.area_m2
