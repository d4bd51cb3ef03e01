"""Contours against surfaces whose contours are known: plane, cone, bowl; constructed."""

import numpy as np
import pytest

from gwnet.errors import SettingsError
from gwnet.hydro.surfaces import kriging, spline, triangulation
from gwnet.hydro.surfaces.contours import (
    contour_levels,
    contour_lines,
    inferred_rule,
    jumps,
    nice_interval,
    unhonoured,
)
from gwnet.hydro.surfaces.hull import convex_hull, inside
from gwnet.hydro.surfaces.surface import Grid, make_grid
from gwnet.hydro.surfaces.variogram import Covariance

AXIS = np.linspace(-100.0, 100.0, 201)
SQUARE = np.array([[-100.0, -100.0], [100.0, -100.0], [100.0, 100.0], [-100.0, 100.0]])


def analytic(function, hull=SQUARE):
    heads = function(AXIS[None, :], AXIS[:, None])
    return Grid(AXIS, AXIS, heads, heads, hull)


@pytest.mark.parametrize(
    ("low", "high", "interval"),
    [(0, 12, 1), (0, 12.1, 2), (31.2, 38.9, 1), (0, 0.3, 0.05), (100, 161, 10), (4, 4, 0.001), (0, 1, 0.1)],
)
def test_interval_steps(low, high, interval):
    assert nice_interval(low, high) == pytest.approx(interval, rel=1e-12)


def test_interval_in_feet():
    assert nice_interval(0.0, 30 * 0.3048, unit_m=0.3048) == pytest.approx(5 * 0.3048)


def test_interval_is_not_below_what_levels_can_tell():
    assert nice_interval(0.0, 0.2, least_m=0.06) == pytest.approx(0.1)


@pytest.mark.parametrize("bad", [(0.0, np.nan), (5.0, 4.0)])
def test_interval_of_no_range(bad):
    with pytest.raises(SettingsError):
        nice_interval(*bad)


def test_levels_are_multiples_of_the_interval():
    assert contour_levels(-0.31, 0.2, 0.1).tolist() == [-0.3, -0.2, -0.1, 0.0, 0.1, 0.2]
    assert contour_levels(10.01, 10.09, 0.1).size == 0
    assert contour_levels(30.0, 31.0, 0.3048)[0] == pytest.approx(99 * 0.3048)


@pytest.mark.parametrize("interval", [0.0, -1.0, np.nan, np.inf])
def test_interval_must_be_positive(interval):
    with pytest.raises(SettingsError, match="greater than 0"):
        contour_levels(0.0, 1.0, interval)


def test_too_many_contours_are_refused():
    with pytest.raises(SettingsError, match=r"more than 500 contours.*Try 10 m"):
        contour_levels(0.0, 100.0, 0.1)


def test_contours_of_a_plane_are_straight_and_end_at_the_boundary():
    lines = contour_lines(analytic(lambda x, y: 0.1 * x + 0.0 * y), [-5.0, 0.0, 5.0])
    assert [line.level_m for line in lines] == [-5.0, 0.0, 5.0]
    for line in lines:
        assert line.x == pytest.approx(np.full(line.x.size, 10.0 * line.level_m), abs=1e-9)
        assert sorted([line.y[0], line.y[-1]]) == pytest.approx([-100.0, 100.0])
        assert (line.x[0], line.y[0]) != (line.x[-1], line.y[-1])
        assert not line.depression
        assert not line.inferred


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_contours_of_a_cone_are_circles(sign):
    lines = contour_lines(analytic(lambda x, y: sign * np.hypot(x, y)), [sign * 30.0, sign * 60.0])
    for line in lines:
        assert np.hypot(line.x, line.y) == pytest.approx(np.full(line.x.size, abs(line.level_m)), abs=0.01)
        assert (line.x[0], line.y[0]) == (line.x[-1], line.y[-1])
        assert line.depression == (sign > 0)


def test_a_circle_cut_by_the_boundary_is_no_depression():
    """Radius 120 leaves the square of half-width 100: four arcs."""
    lines = contour_lines(analytic(lambda x, y: np.hypot(x, y)), [120.0])
    assert len(lines) == 4
    for line in lines:
        assert (line.x[0], line.y[0]) != (line.x[-1], line.y[-1])
        assert not line.depression
        assert np.max(np.abs([line.x[0], line.y[0]])) == pytest.approx(100.0, abs=1e-9)


def test_nothing_is_drawn_beyond_a_hull_that_cuts_the_grid():
    hull = convex_hull([-80, 90, 10, -50], [-90, -20, 95, 60])
    lines = contour_lines(analytic(lambda x, y: np.sin(x / 20) + np.cos(y / 25), hull), np.linspace(-1.5, 1.5, 7))
    assert lines
    grown = hull.mean(axis=0) + (hull - hull.mean(axis=0)) * (1.0 + 1e-9)
    for line in lines:
        assert inside(grown, line.x, line.y).all()


def test_a_line_is_split_where_it_becomes_inferred():
    lines = contour_lines(analytic(lambda x, y: y + 0.0 * x), [0.0], lambda x, y: x > 20.0)
    assert len(lines) == 2
    solid, dashed = sorted(lines, key=lambda line: line.inferred)
    assert solid.x.max() == pytest.approx(20.0, abs=1.0)
    assert dashed.x.min() == solid.x.max()


def test_a_closed_line_is_split_once_at_each_change():
    lines = contour_lines(analytic(np.hypot), [50.0], lambda x, y: y > 0.0)
    assert [line.inferred for line in lines] in ([True, False], [False, True])
    assert all(line.depression for line in lines)
    assert sum(line.x.size for line in lines) > 100


def test_short_solid_pieces_are_dashed_with_their_neighbours():
    lines = contour_lines(analytic(lambda x, y: y + 0.0 * x), [0.0], lambda x, y: np.abs(x) > 1.0)
    assert [line.inferred for line in lines] == [True]


@pytest.mark.parametrize("fit", [kriging.fit, triangulation.fit])
def test_few_wells_are_inferred_throughout(fit):
    rule = inferred_rule(fit([0, 100, 0, 100], [0, 0, 100, 100], [1, 2, 3, 4.5]), 0.5)
    assert rule(np.array([0.0, 50.0]), np.array([0.0, 50.0])).all()


def test_inferred_by_distance_and_by_standard_error():
    x, y = (values.ravel() for values in np.meshgrid(np.arange(0, 501, 100.0), np.arange(0, 501, 100.0)))
    keep = np.hypot(x - 250, y - 250) > 130
    x, y = x[keep], y[keep]
    surface = kriging.fit(x, y, 0.01 * x, covariance=Covariance("spherical", 1.0, 400.0))
    far = inferred_rule(surface, 100.0)
    assert far.farthest_m == pytest.approx(np.sqrt(500.0**2 / x.size))
    assert far(np.array([250.0, 50.0]), np.array([250.0, 50.0])).tolist() == [True, False]
    at = np.array([50.0, 100.0]), np.array([50.0, 100.0])
    between = 1.959963984540054 * float(surface.standard_error(50.0, 50.0))
    assert inferred_rule(surface, between * 1.01)(*at).tolist() == [False, False]
    assert inferred_rule(surface, between * 0.99)(*at).tolist() == [True, False]


def test_levels_that_contours_do_not_honour_are_found():
    """A well posted at 5.2 stands where the surface is drawn at 4.8: the 5 m contour passes on its wrong side."""
    grid = analytic(lambda x, y: 0.1 * x + 0.0 * y)
    x, y = np.array([48.0, 0.0]), np.array([0.0, 10.0])
    (failure,) = unhonoured(grid, x, y, np.array([5.2, 0.4]), np.array([-5.0, 0.0, 5.0]))
    assert (failure.position, failure.posted_m, failure.contour_m) == (0, 5.2, 5.0)
    assert failure.drawn_m == pytest.approx(4.8)


def test_a_level_on_a_contour_may_stand_on_either_side_but_not_far():
    grid = analytic(lambda x, y: 0.1 * x + 0.0 * y)
    levels = np.array([0.0, 5.0])
    assert unhonoured(grid, np.array([49.0, 51.0]), np.zeros(2), np.array([5.0, 5.0]), levels) == ()
    assert len(unhonoured(grid, np.array([40.0]), np.zeros(1), np.array([5.0]), levels)) == 1


def test_no_contour_is_always_honoured():
    assert unhonoured(analytic(lambda x, y: x + y), np.zeros(1), np.zeros(1), np.ones(1), np.array([])) == ()


def test_drawn_contours_keep_every_well_on_its_side():
    """Geometry, not grid: count how often each contour crosses the straight way from one node to each well."""
    random = np.random.default_rng(6)
    x, y = random.uniform(0, 1000, (2, 40))
    z = 20 - 0.004 * x + random.normal(0, 0.5, 40)
    surface = kriging.fit(x, y, z, covariance=Covariance("spherical", 0.5, 500.0))
    grid = make_grid(surface, through=(x, y))
    levels = contour_levels(float(np.nanmin(grid.extended_m)), float(np.nanmax(grid.extended_m)), 0.5)
    assert unhonoured(grid, x, y, z, levels) == ()
    whole = Grid(grid.x, grid.y, grid.extended_m, grid.extended_m, corners(grid))
    lines = contour_lines(whole, levels)
    start_x, start_y, start_z = grid.x[70], grid.y[83], grid.extended_m[83, 70]
    for px, py, pz in zip(x, y, z, strict=True):
        for level in levels:
            crossings = sum(crossed(line, start_x, start_y, px, py) for line in lines if line.level_m == level)
            assert crossings % 2 == ((start_z > level) != (pz > level))


def corners(grid):
    (left, right), (bottom, top) = grid.x[[0, -1]], grid.y[[0, -1]]
    return np.array([[left, bottom], [right, bottom], [right, top], [left, top]])


def crossed(line, ax, ay, bx, by):
    """Return how often a line crosses the way from a to b."""
    side = (bx - ax) * (line.y - ay) - (by - ay) * (line.x - ax) > 0
    span_x, span_y = np.diff(line.x), np.diff(line.y)
    from_a = span_x * (ay - line.y[:-1]) - span_y * (ax - line.x[:-1]) > 0
    from_b = span_x * (by - line.y[:-1]) - span_y * (bx - line.x[:-1]) > 0
    return int(np.sum((side[:-1] != side[1:]) & (from_a != from_b)))


def pumped(x, y):
    """Heads about a pumped well at the middle, Thiem (1906): h = 20 + Q / (2 π T) ln(r / 500 m), Q/(2πT) = 0.8 m."""
    return 20.0 + 0.8 * np.log(np.hypot(x, y) / 500.0)


@pytest.mark.parametrize("method", [kriging.fit, spline.fit])
def test_contours_from_wells_about_a_pumped_well_are_its_circles(method):
    """Observation wells on rings 25 to 500 m away; a contour of head h is a circle of radius 500 m · exp((h − 20) / 0.8)."""
    angle = np.tile(np.arange(12) * np.pi / 6.0, 7) + np.repeat(np.arange(7) * np.pi / 12.0, 12)
    ring = np.repeat([25.0, 40.0, 70.0, 120.0, 200.0, 330.0, 500.0], 12)
    x, y = ring * np.cos(angle), ring * np.sin(angle)
    surface = method(x, y, pumped(x, y))
    found = contour_lines(make_grid(surface, lines=301), [18.0, 18.5, 19.0, 19.5])
    assert len(found) == 4
    for line in found:
        radius = 500.0 * np.exp((line.level_m - 20.0) / 0.8)
        assert (line.x[0], line.y[0]) == (line.x[-1], line.y[-1])
        assert line.depression
        assert np.hypot(line.x, line.y) == pytest.approx(np.full(line.x.size, radius), rel=0.03)


@pytest.mark.parametrize("method", [kriging.fit, spline.fit, triangulation.fit])
def test_contours_from_wells_on_a_plane_are_its_lines(method):
    """In the cells that the hull cuts a triangulation has no plane beyond it, so its lines bend there by millimetres."""
    x, y = np.random.default_rng(8).uniform(-400, 400, (2, 30))
    near = 5e-3 if method is triangulation.fit else 1e-6
    surface = method(x, y, 30.0 - 0.003 * x + 0.004 * y)
    found = contour_lines(make_grid(surface), [29.0, 30.0, 31.0])
    assert [line.level_m for line in found] == [29.0, 30.0, 31.0]
    for line in found:
        assert -0.003 * line.x + 0.004 * line.y == pytest.approx(np.full(line.x.size, line.level_m - 30.0), abs=near)


def test_a_surface_that_jumps_to_a_well_is_found_at_map_scale():
    """A needle of 1 m about the well at (20, 10): honoured on the grid, and smaller than a mark on the map."""
    x, y, z = np.array([20.0, -60.0]), np.array([10.0, 40.0]), np.array([5.2, 4.4])
    levels = np.array([4.0, 4.5, 5.0, 5.5])

    def hill(radius):
        return analytic(lambda px, py: 4.6 + 0.01 * px + np.where(np.hypot(px - 20.0, py - 10.0) < radius, 0.4, 0.0))

    # the ring is 1 % of the control's 200 m
    assert jumps(hill(4.0), x, y, z, levels) == ()
    needle = hill(1.2)
    assert unhonoured(needle, x[:1], y[:1], z[:1], levels) == ()
    (found,) = jumps(needle, x[:1], y[:1], z[:1], levels)
    assert (found.position, found.posted_m, found.contour_m, found.around_m) == (0, 5.2, 5.0, pytest.approx(2.0))
    assert found.drawn_m == pytest.approx(4.82, abs=0.02)


def test_a_slope_at_the_edge_of_the_control_is_no_jump():
    """The contour runs 1 m from the corner well; the ring beyond the grid goes on with the slope."""
    grid = analytic(lambda x, y: 0.1 * x + 0.1 * y)
    corner = np.array([100.0])
    assert jumps(grid, corner, corner, np.array([20.0]), np.array([19.9, 20.1])) == ()
    assert jumps(grid, corner, corner, np.array([20.0]), np.array([])) == ()
