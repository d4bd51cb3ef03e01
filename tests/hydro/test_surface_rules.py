"""What is asked of a surface, lines of its grid, nodes of its sums and its smaller rules, each by hand or by numpy."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from gwnet.errors import AnalysisError, SettingsError, TooFewLevelsError
from gwnet.hydro.surfaces import kriging, quadratic, spline, triangulation
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.hull import convex_hull, hull_area
from gwnet.hydro.surfaces.kriging_system import kriging_system
from gwnet.hydro.surfaces.surface import Grid, fit, make_grid
from gwnet.hydro.surfaces.surface_sums import change_sums, hull_nodes
from gwnet.hydro.surfaces.variogram import Covariance

RANDOM = np.random.default_rng(15)
X, Y = 450_000.0 + RANDOM.uniform(0, 900, 12), 5_300_000.0 + RANDOM.uniform(0, 600, 12)
Z = 300.0 - 0.002 * (X - 450_000) + 1e-6 * (Y - 5_300_000) ** 2 + RANDOM.normal(0, 0.2, 12)
COVARIANCE = Covariance("exponential", 0.3, 500.0, 0.05)
AT = np.array([450_300.0, 450_500.0]), np.array([5_300_200.0, 5_300_400.0])


def test_a_surface_is_that_of_the_method_with_all_that_it_is_asked_with():
    wall = Barriers([np.array([[450_400.0, 5_299_000.0], [450_400.0, 5_300_300.0]])])
    options = {"covariance": COVARIANCE, "drift": "none", "measurement_variance_m2": 0.04, "barriers": wall}
    asked, own = fit("kriging", X, Y, Z, **options), kriging.fit(X, Y, Z, **options)
    assert asked.predict(*AT).tolist() == own.predict(*AT).tolist()
    assert asked.standard_error(*AT).tolist() == own.standard_error(*AT).tolist()
    for method, module in (("spline", spline), ("triangulation", triangulation), ("quadratic", quadratic)):
        assert fit(method, X, Y, Z).predict(*AT).tolist() == module.fit(X, Y, Z).predict(*AT).tolist()
        with pytest.raises(SettingsError) as raised:
            fit(method, X, Y, Z, barriers=wall)
        assert raised.value.message == (
            f"A barrier ends inside the control; only kriging can go around its end, {method} cannot."
        )
    for method in ("kriging", "spline", "triangulation", "quadratic"):
        with pytest.raises(TooFewLevelsError, match="P, Q"):
            fit(method, X[:2], Y[:2], Z[:2], names=["P", "Q"])
    with pytest.raises(SettingsError, match="Unknown method 'flat'"):
        fit("flat", X, Y, Z, barriers=wall)


@pytest.mark.parametrize("module", [kriging, spline, quadratic, triangulation])
def test_heads_are_given_inside_control_alone_where_asked(module):
    surface = module.fit(X, Y, Z)
    middle, beyond = surface.hull.mean(axis=0), surface.hull.max(axis=0) + 50.0
    x, y = np.array([[middle[0], beyond[0]]]), np.array([[middle[1], beyond[1]]])
    free, held = surface.predict(x, y), surface.predict(x, y, inside_control=True)
    assert (free.shape, held.shape) == ((1, 2), (1, 2))
    assert np.isfinite(free).all()
    assert np.isnan(held).tolist() == [[False, True]]
    assert held[0, 0] == free[0, 0]


def grid(x, y, values):
    values = np.array(values, dtype=float)
    return Grid(np.array(x, dtype=float), np.array(y, dtype=float), values, values, np.zeros((0, 2)))


def test_heads_between_uneven_lines_are_bilinear_in_each_cell_and_run_on_beyond():
    """Of f = 3 + 2 x - y + 0.5 x y every cell is exact."""

    def surface(x, y):
        return 3.0 + 2.0 * x - y + 0.5 * x * y

    x, y = np.array([0.0, 1.0, 4.0, 5.0]), np.array([0.0, 3.0, 4.0])
    held = grid(x, y, surface(x[None, :], y[:, None]))
    at_x, at_y = (
        np.array([0.0, 0.5, 1.0, 2.0, 4.5, 5.0, 5.5, -1.0]),
        np.array([0.0, 2.0, 3.0, 3.5, 0.5, 4.0, 4.5, -1.0]),
    )
    assert held.at(at_x, at_y) == pytest.approx(surface(at_x, at_y), rel=1e-13)
    kinked = grid([0, 1, 4], [0, 3, 4], [[0, 1, 7], [2, 3, 9], [8, 9, 15]])
    assert kinked.at([0.5, 1.0, 2.5, 4.0], [1.5, 3.0, 3.5, 4.0]) == pytest.approx([1.5, 3.0, 9.0, 15.0])
    assert (kinked.spacing_m, grid([0, 1, 2], [0, 3, 4], np.zeros((3, 3))).spacing_m) == (3.0, 3.0)


def plane_over(width, height):
    hull = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    return SimpleNamespace(hull=hull, predict=lambda x, y: x + 10.0 * y)


@pytest.mark.parametrize(
    ("lines", "through", "x", "y"),
    [
        (5, ((), ()), [0, 3, 6, 9, 12], [0, 3, 6]),
        (161, ((), ()), np.linspace(0, 12, 161), np.linspace(0, 6, 81)),
        (2, ((), ()), [0, 12], [0, 6]),
        (1, ((), ()), [0, 12], [0, 6]),
        # lines nearer than a quarter of 3 m to one through a well are left out, but for the outermost
        (5, ([3.7, 8.3, 11.9], [0.4, 3.0]), [0, 3.7, 6, 8.3, 11.9, 12], [0, 0.4, 3, 6]),
        (5, ([3.75, 5.25, 6.76], [2.24, 6.0]), [0, 3.75, 5.25, 6.76, 9, 12], [0, 2.24, 3, 6]),
        (5, ([3.76, 3.76], [3.1]), [0, 3, 3.76, 6, 9, 12], [0, 3.1, 6]),
    ],
)
def test_lines_of_a_grid(lines, through, x, y):
    held = make_grid(plane_over(12.0, 6.0), lines=lines, through=through)
    assert held.x == pytest.approx(np.asarray(x, dtype=float), rel=1e-12)
    assert held.y == pytest.approx(np.asarray(y, dtype=float), rel=1e-12)
    assert held.water_elevation_m == pytest.approx(held.x[None, :] + 10.0 * held.y[:, None])
    assert held.extended_m.tolist() == held.water_elevation_m.tolist()


def test_the_default_grid_has_161_lines_along_its_longer_side():
    held = make_grid(plane_over(3.0, 12.0))
    assert (held.x.size, held.y.size) == (41, 161)


def test_a_hull_is_cut_into_triangles_of_one_shape_about_its_middle():
    """Two by 3 m: triangles of 1.5 m² each; about 96 points are 24 a triangle, nearest square 25."""
    hull = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 3.0], [0.0, 3.0]])
    x, y, area = hull_nodes(hull, 96)
    assert area.tolist() == pytest.approx([1.5 / 25] * 100)
    cuts = 5
    first = []
    for i in range(cuts):
        for j in range(cuts - i):
            first.append(((i + 1 / 3) / cuts, (j + 1 / 3) / cuts))
            if i + j < cuts - 1:
                first.append(((i + 2 / 3) / cuts, (j + 2 / 3) / cuts))
    # shares of the ways from the middle (1, 1.5) to the first two corners
    expected = np.array([(1.0 - a + b, 1.5 - 1.5 * a - 1.5 * b) for a, b in first])
    apart = np.hypot(x[:25, None] - expected[:, 0], y[:25, None] - expected[:, 1])
    assert (apart < 1e-12).sum(axis=0).tolist() == (apart < 1e-12).sum(axis=1).tolist() == [1] * 25
    assert hull_nodes(hull, 1)[2].tolist() == pytest.approx([1.5] * 4)
    assert sum(part.size for part in hull_nodes(hull)) == 3 * 900
    flat = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [1.0, 3.0]])
    # x and y of a plane sum exactly: the centroid of the triangle is (1, 1)
    x, y, area = hull_nodes(flat, 50)
    assert (area.sum(), area @ x / area.sum(), area @ y / area.sum()) == pytest.approx((3.0, 1.0, 1.0))


@pytest.mark.parametrize("unit_m", [1.0, 0.5])
@pytest.mark.parametrize("is_west", [None, lambda x, y: x < 450_450.0])
def test_every_sum_over_a_surface_of_changes(unit_m, is_west):
    """Sums over 40,000 points, limits of the mean over 900, and areas beyond the limits over 3,600."""
    changes, smooth = 1.2 - 0.004 * (X - 450_000.0), Covariance("exponential", 0.02, 500.0, 0.001)
    surface = kriging.fit(X, Y, changes, covariance=smooth, measurement_variance_m2=1e-3)
    found = change_sums(surface, unit_m=unit_m, held=is_west)

    def nodes(about):
        x, y, area = hull_nodes(surface.hull, about)
        kept = np.ones(x.shape, dtype=bool) if is_west is None else is_west(x, y)
        return x[kept], y[kept], area[kept]

    x, y, area = nodes(40_000)
    change = surface.predict(x, y)
    assert found.area_m2 == pytest.approx(area.sum() * unit_m**2, rel=1e-12)
    assert found.mean_m == pytest.approx((area * change).sum() / area.sum(), rel=1e-9)
    assert found.rise_m3 == pytest.approx((area * change)[change > 0].sum() * unit_m**2, rel=1e-9)
    assert found.fall_m3 == pytest.approx(-(area * change)[change < 0].sum() * unit_m**2, rel=1e-9)
    x, y, area = nodes(900)
    error = kriging_system(surface).combined_error(x, y, area / area.sum())
    assert found.mean_half_width_m == pytest.approx(1.959963984540054 * error, rel=1e-9)
    x, y, area = nodes(3600)
    change, width = surface.predict(x, y), 1.959963984540054 * surface.standard_error(x, y)
    assert found.rise_area_m2 == pytest.approx(area[change > width].sum() * unit_m**2, rel=1e-12)
    assert found.fall_area_m2 == pytest.approx(area[change < -width].sum() * unit_m**2, rel=1e-12)
    assert found.rise_area_m2 > 0.0
    assert found.fall_area_m2 > 0.0


def test_sums_of_other_methods_have_no_limits_and_of_nothing_there_are_none():
    surface = triangulation.fit(X, Y, Z)
    found = change_sums(surface)
    assert math.isnan(found.mean_half_width_m + found.rise_area_m2)
    assert math.isnan(found.fall_area_m2)
    assert found.area_m2 == pytest.approx(hull_area(convex_hull(X, Y)), rel=1e-9)
    with pytest.raises(AnalysisError) as raised:
        change_sums(surface, held=lambda x, y: np.zeros(x.shape, dtype=bool))
    assert raised.value.message == "Nothing of the control lies where changes are summed."


def test_leave_one_out_of_a_quadratic_surface_by_the_hat_matrix():
    """Residual over 1 - h and s over √(1 - h), h by numpy's pseudo-inverse."""
    surface = quadratic.fit(X, Y, Z)
    x, y = (X - X.mean()) / 100.0, (Y - Y.mean()) / 100.0
    design = np.column_stack([np.ones(12), x, y, x**2, x * y, y**2])
    hat = design @ np.linalg.pinv(design)
    residual = Z - hat @ Z
    sd = math.sqrt(residual @ residual / 6)
    left_out = surface.leave_one_out()
    assert left_out.residual_m == pytest.approx(residual / (1 - np.diag(hat)), rel=1e-6)
    assert left_out.standard_error_m == pytest.approx(sd / np.sqrt(1 - np.diag(hat)), rel=1e-6)
    assert surface.residual_m == pytest.approx(residual, abs=1e-9)
    assert surface.r_squared == pytest.approx(1 - residual @ residual / ((Z - Z.mean()) ** 2).sum(), rel=1e-6)
    assert quadratic.fit(X, Y, 1e-3 * Z).r_squared == pytest.approx(surface.r_squared, rel=1e-6)
    far = np.array([450_050.0, 5_300_075.0])
    level, east, north, *_ = surface.expand(*far)
    step = 0.5
    assert level == pytest.approx(float(surface.predict(*far)), rel=1e-12)
    ahead, behind = surface.predict(far[0] + np.array([step, -step]), far[1])
    assert east == pytest.approx((ahead - behind) / (2 * step), rel=1e-6)
    ahead, behind = surface.predict(far[0], far[1] + np.array([step, -step]))
    assert north == pytest.approx((ahead - behind) / (2 * step), rel=1e-6)


def test_seven_wells_carry_a_quadratic_surface_and_six_do_not():
    assert quadratic.fit(X[:7], Y[:7], Z[:7]).degrees_of_freedom == 1
    for names, listed in ((None, ""), (list("ABCDEF"), ": A, B, C, D, E, F")):
        with pytest.raises(TooFewLevelsError) as raised:
            quadratic.fit(X[:6], Y[:6], Z[:6], names=names)
        assert raised.value.message == f"A quadratic trend surface needs at least 7 wells; 6 can be used{listed}."


@pytest.mark.parametrize(("share", "taken"), [(0.7e-3, False), (3e-3, True)])
def test_wells_near_a_curve_of_the_second_degree(share, taken):
    """Wells on a circle, each second one a little off it: the least spread of the six terms is about 0.7 of that."""
    turn = np.radians(np.arange(0, 360, 30))
    reach = 100.0 * (1.0 + share * (np.arange(12) % 2))
    x, y = reach * np.cos(turn), reach * np.sin(turn)
    if taken:
        assert quadratic.fit(x, y, x).predict(3.0, 4.0) == pytest.approx(3.0, abs=1e-6)
    else:
        with pytest.raises(AnalysisError, match="12 wells lie on one curve"):
            quadratic.fit(x, y, x)


def test_leave_one_out_of_triangles_is_the_plane_of_the_others():
    x, y = np.array([0.0, 40.0, 40.0, 0.0, 15.0]), np.array([0.0, 0.0, 40.0, 40.0, 12.0])
    z = np.array([10.0, 12.0, 19.0, 11.0, 30.0])
    left_out = triangulation.fit(450_000 + x, 5_300_000 + y, z).leave_one_out().residual_m
    # without it the square is cut along one of its two diagonals
    diagonals = (10.0 + 2.0 * (15 / 40) + 7.0 * (12 / 40), 10.0 + 2.0 * (15 / 40) + 1.0 * (12 / 40))
    assert min(abs(left_out[4] - (30.0 - head)) for head in diagonals) < 1e-9
    assert np.isnan(left_out[:4]).all()
