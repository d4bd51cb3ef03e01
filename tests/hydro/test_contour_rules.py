"""Limits of the rules of contours: intervals, levels, dashes, depressions, and wells that are not honoured."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from gwnet.errors import SettingsError
from gwnet.hydro.surfaces import triangulation
from gwnet.hydro.surfaces.contours import (
    contour_levels,
    contour_lines,
    inferred_rule,
    jumps,
    nice_interval,
    unhonoured,
)
from gwnet.hydro.surfaces.surface import Grid

AXIS = np.linspace(-20.0, 20.0, 41)
SQUARE = np.array([[-20.0, -20.0], [20.0, -20.0], [20.0, 20.0], [-20.0, 20.0]])


def grid_of(function, hull=SQUARE, axis=AXIS):
    heads = function(axis[None, :], axis[:, None]) + np.zeros((axis.size, axis.size))
    return Grid(axis, axis, heads, heads, hull)


@pytest.mark.parametrize(
    ("low", "high", "options", "interval"),
    [
        # 12 contours of 0.1 m, though 12 · 0.1 is a hair more than 1.2
        (0.0, 12 * 0.1, {}, 0.1),
        (0.0, 12 * 0.1 * (1 + 1e-6), {}, 0.2),
        (-3.0, 9.0, {}, 1.0),
        (0.0, 12_000.0, {}, 1000.0),
        (0.0, 12 * 499.0, {}, 500.0),
        (0.0, 12 * 501.0, {}, 1000.0),
        (0.0, 0.012, {}, 0.001),
        # never below a millimetre, or a thousandth of the unit
        (3.0, 3.0, {}, 0.001),
        (3.0, 3.0, {"unit_m": 0.3048}, 0.001 * 0.3048),
        (0.0, 1.0, {"most": 1}, 1.0),
        (0.0, 1.0, {"most": 2}, 0.5),
        (0.0, 1.0, {"least_m": 0.5}, 0.5),
        (0.0, 0.1, {"least_m": 0.6096, "unit_m": 0.3048}, 0.6096),
    ],
)
def test_an_interval_is_the_smallest_step_that_suits(low, high, options, interval):
    assert nice_interval(low, high, **options) == pytest.approx(interval, rel=1e-14)


@pytest.mark.parametrize(("low", "high", "most"), [(0.0, math.inf, 12), (2.0, 1.0, 12), (0.0, 1.0, 0)])
def test_no_interval_says_of_what(low, high, most):
    with pytest.raises(SettingsError) as raised:
        nice_interval(low, high, most=most)
    assert raised.value.message == f"No contour interval for heads from {low:g} to {high:g} m and {most} contours."


@pytest.mark.parametrize(
    ("low", "high", "interval", "levels"),
    [
        # quotients a hair above and below a whole number
        (1.1, 1.5, 0.1, [1.1, 1.2, 1.3, 1.4, 1.5]),
        (0.5, 0.7, 0.1, [0.5, 0.6, 0.7]),
        (1.1000001, 1.4999999, 0.1, [1.2, 1.3, 1.4]),
        (-0.7, -0.5, 0.1, [-0.7, -0.6, -0.5]),
        (2.0, 2.0, 0.5, [2.0]),
    ],
)
def test_levels_that_are_multiples_but_for_rounding_have_a_contour(low, high, interval, levels):
    assert contour_levels(low, high, interval).tolist() == levels


def test_five_hundred_contours_are_enough():
    assert contour_levels(0.25, 500.25, 1.0).size == 500
    with pytest.raises(SettingsError) as raised:
        contour_levels(0.0, 501.0, 1.0)
    assert raised.value.message == "An interval of 1 m gives more than 500 contours from 0 to 501 m."
    assert raised.value.fix == "Try 50 m."
    with pytest.raises(SettingsError, match=r"A contour interval must be greater than 0, not -2 m\."):
        contour_levels(0.0, 1.0, -2.0)


def test_contours_are_inferred_beyond_the_mean_spacing_and_below_the_fewest_wells():
    """Four wells at the corners of 100 m by 100 m: √(10,000 / 4) = 50 m."""
    surface = triangulation.fit([0, 100, 0, 100], [0, 0, 100, 100], [1, 2, 3, 4.5])
    rule = inferred_rule(surface, 0.5, least_wells=4)
    assert (rule.farthest_m, rule.everywhere, rule.interval_m, rule.surface) == (50.0, False, 0.5, surface)
    assert rule(np.array([50.0, 50.0, 0.0]), np.array([0.0, 0.001, 50.0])).tolist() == [False, True, False]
    assert rule(np.array([]), np.array([])).tolist() == []
    everywhere = inferred_rule(surface, 0.5)
    assert (everywhere.everywhere, everywhere(np.array([0.0]), np.array([0.0])).tolist()) == (True, [True])


def flags_of(lines):
    return [(float(line.x[0]), float(line.x[-1]), line.inferred) for line in lines]


@pytest.mark.parametrize(
    ("solid", "pieces"),
    [
        # 3 % of 100 m: three metres stay solid, two are dashed with their neighbours
        ((-1.0, 2.0), [(-50.0, -1.0, True), (-1.0, 2.0, False), (2.0, 50.0, True)]),
        ((-1.0, 1.0), [(-50.0, 50.0, True)]),
        ((-50.0, -48.0), [(-50.0, 50.0, True)]),
        ((48.0, 50.0), [(-50.0, 50.0, True)]),
        ((-50.0, -47.0), [(-50.0, -47.0, False), (-47.0, 50.0, True)]),
        # a short dash stays a dash
        ((-50.0, 49.0), [(-50.0, 49.0, False), (49.0, 50.0, True)]),
        ((-50.0, 50.0), [(-50.0, 50.0, False)]),
    ],
)
def test_solid_pieces_shorter_than_three_per_cent_are_dashed(solid, pieces):
    axis = np.linspace(-50.0, 50.0, 101)
    hull = 2.5 * SQUARE
    grid = grid_of(lambda x, y: -y, hull, axis)
    (whole,) = contour_lines(grid, [0.0])
    assert (whole.inferred, whole.depression, abs(whole.x[0])) == (False, False, 50.0)
    found = contour_lines(grid, [0.0], lambda x, y: (x < solid[0]) | (x > solid[1]))
    turned = whole.x[0] > 0
    assert flags_of(found) == ([(last, first, flag) for first, last, flag in pieces[::-1]] if turned else pieces)


@pytest.mark.parametrize("towards", [(0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0)])
def test_the_middle_of_each_stretch_decides_wherever_a_ring_begins(towards):
    """Two pieces, which together are the line."""
    asked = []

    def inferred_at(x, y):
        asked.append((x, y))
        return towards[0] * x + towards[1] * y > 7.0

    grid = grid_of(lambda x, y: np.hypot(x, y))
    (whole,) = contour_lines(grid, [12.3])
    pieces = contour_lines(grid, [12.3], inferred_at)
    ((at_x, at_y),) = asked
    assert at_x == pytest.approx(0.5 * (whole.x[1:] + whole.x[:-1]))
    assert at_y == pytest.approx(0.5 * (whole.y[1:] + whole.y[:-1]))
    assert [piece.inferred for piece in pieces] in ([True, False], [False, True])
    for piece, following in zip(pieces, pieces[::-1], strict=True):
        along = towards[0] * piece.x + towards[1] * piece.y
        middles = 0.5 * (along[1:] + along[:-1])
        assert ((middles > 7.0) == piece.inferred).all()
        assert (piece.x[-1], piece.y[-1]) == (following.x[0], following.y[0])
        assert (piece.level_m, piece.depression) == (12.3, True)
    length = sum(np.hypot(np.diff(piece.x), np.diff(piece.y)).sum() for piece in pieces)
    assert length == pytest.approx(np.hypot(np.diff(whole.x), np.diff(whole.y)).sum(), rel=1e-12)


@pytest.mark.parametrize(
    ("function", "hull", "depressions"),
    [
        (lambda x, y: np.hypot(x, y), SQUARE, [True]),
        (lambda x, y: 14.0 - np.hypot(x, y), SQUARE, [False]),
        # a closed line that the hull cuts is none
        (lambda x, y: np.hypot(x, y), np.array([[-20.0, -20.0], [20.0, -20.0], [20.0, 3.0], [-20.0, 3.0]]), [False]),
        # ends with one northing, or one easting, and not closed
        (lambda x, y: 7.0 + 0.1 * x**2 - y - 12.0, SQUARE, [False]),
        (lambda x, y: 7.0 + 0.1 * y**2 - x - 12.0, SQUARE, [False]),
        # and these turn the other way about
        (lambda x, y: 7.0 - 0.1 * x**2 - y + 12.0, SQUARE, [False]),
        (lambda x, y: 7.0 - 0.1 * y**2 - x + 12.0, SQUARE, [False]),
    ],
)
def test_only_a_whole_ring_around_lower_heads_is_a_depression(function, hull, depressions):
    assert [line.depression for line in contour_lines(grid_of(function, hull), [7.0])] == depressions


def slope():
    return grid_of(lambda x, y: 0.5 * x + 0.0 * y)


@pytest.mark.parametrize(
    ("posted", "shown", "contour"),
    [
        # on either side of 4 m, or of several contours: the nearest to the posted level
        (4.3, 3.9, 4.0),
        (3.9, 4.3, 4.0),
        (4.3, 1.5, 4.0),
        (1.2, 4.3, 1.5),
        (4.3, 4.1, None),
        # drawn on the contour itself
        (4.3, 4.0, None),
        # posted on the contour: within a twentieth of 2.5 m of it
        (4.0, 4.125, None),
        (4.0, 3.875, None),
        (4.0, 4.1251, 4.0),
        (4.0, 3.8749, 4.0),
        (4.0 + 9e-7, 3.95, None),
        (4.0 + 2e-6, 3.95, 4.0),
    ],
)
def test_which_side_of_a_contour_a_well_is_drawn_on(posted, shown, contour):
    x, y = np.array([0.0, 2.0 * shown]), np.array([3.0, -7.0])
    found = unhonoured(slope(), x, y, np.array([0.0, posted]), np.array([-4.0, 1.5, 4.0, 9.0]))
    if contour is None:
        assert found == ()
        return
    (one,) = found
    assert (one.position, one.posted_m, one.contour_m, one.around_m) == (1, posted, contour, 0.0)
    assert one.drawn_m == pytest.approx(shown, rel=1e-12)


def test_a_well_on_the_only_contour_is_always_honoured():
    assert unhonoured(slope(), np.array([-18.0]), np.zeros(1), np.array([4.0]), np.array([4.0])) == ()
    (one,) = unhonoured(slope(), np.array([-18.0]), np.zeros(1), np.array([4.1]), np.array([4.0]))
    assert one.contour_m == 4.0


def around(value, *, above=0.0):
    """Return a stand-in grid of 40 m about (450, 5300) that gives one head to every point but for those to the north."""
    east, north = AXIS + 450.0, AXIS + 5300.0
    hull = SQUARE + np.array([450.0, 5300.0])
    return SimpleNamespace(hull=hull, x=east, y=north, at=lambda x, y: value + above * (y > 5300.0 + 1e-9))


@pytest.mark.parametrize(
    ("posted", "ring", "contour"),
    [(4.3, 3.7, 4.0), (3.7, 4.3, 4.0), (6.3, 1.2, 6.0), (4.3, 4.1, None), (4.3, 4.0, None), (4.0, 3.7, None)],
)
def test_a_level_that_every_head_around_it_is_short_of_is_a_jump(posted, ring, contour):
    """1 % of 40 m: the heads 0.4 m from the well."""
    found = jumps(around(ring), np.array([453.0]), np.array([5305.0]), np.array([posted]), np.array([2.0, 4.0, 6.0]))
    if contour is None:
        assert found == ()
        return
    (one,) = found
    assert (one.position, one.posted_m, one.drawn_m, one.contour_m) == (0, posted, ring, contour)
    assert one.around_m == pytest.approx(0.4, rel=1e-9)


def test_heads_on_both_sides_are_no_jump():
    well = np.array([453.0]), np.array([5300.0]), np.array([4.3])
    assert jumps(around(3.7, above=1.0), *well, np.array([4.0])) == ()
    (one,) = jumps(around(3.7, above=0.4), *well, np.array([4.2]))
    assert one.drawn_m == pytest.approx(4.1)


def test_the_ring_is_read_at_sixteen_points():
    asked = []
    grid = SimpleNamespace(hull=SQUARE, x=AXIS, y=AXIS, at=lambda x, y: asked.append((x, y)) or np.zeros(x.size))
    jumps(grid, np.array([3.0, -7.0]), np.array([5.0, 1.0]), np.zeros(2), np.array([4.0]))
    ((x, y),) = asked
    angle = np.arange(16) * np.pi / 8
    assert x.reshape(2, 16) == pytest.approx(np.array([[3.0], [-7.0]]) + 0.4 * np.cos(angle))
    assert y.reshape(2, 16) == pytest.approx(np.array([[5.0], [1.0]]) + 0.4 * np.sin(angle))


@pytest.mark.parametrize(("x", "y"), [(20.0, 0.0), (-20.0, 0.0), (0.0, 20.0), (0.0, -20.0), (20.0, -20.0)])
def test_beyond_the_grid_a_slope_goes_on_through_the_well(x, y):
    """All heads of the grid around a well at its edge are higher; beyond, those of the slope are lower."""

    def at(px, py):
        beyond = (np.abs(px) > 20.0) | (np.abs(py) > 20.0)
        inward = -((px - x) * x + (py - y) * y) / 20.0
        return np.where(beyond, 9.0, 4.0 + 0.1 * inward + 0.05 * np.hypot(px - x, py - y))

    grid = SimpleNamespace(hull=SQUARE, x=AXIS, y=AXIS, at=at)
    assert jumps(grid, np.array([x]), np.array([y]), np.array([4.0]), np.array([3.99, 4.01])) == ()


def test_a_well_whose_whole_ring_is_off_the_grid_is_passed_over():
    wide = SimpleNamespace(hull=SQUARE, x=AXIS[:1], y=AXIS[:1], at=lambda x, y: np.full(x.size, 3.0))
    x = np.array([5.0, -20.0])
    found = jumps(wide, x, np.array([5.0, -20.0]), np.array([9.0, 9.0]), np.array([4.0]))
    assert found == ()


@pytest.mark.parametrize("is_dashed", [True, False])
def test_a_ring_that_is_dashed_throughout_or_nowhere_is_one_piece(is_dashed):
    (ring,) = contour_lines(grid_of(np.hypot), [12.3], lambda x, y: np.full(x.shape, is_dashed))
    assert (ring.inferred, ring.x[0], ring.y[0]) == (is_dashed, ring.x[-1], ring.y[-1])


def test_a_line_whose_ends_have_one_easting_is_not_turned_as_a_ring():
    pieces = contour_lines(grid_of(lambda x, y: x + 0.0 * y), [3.0], lambda x, y: np.abs(y) > 5.0)
    assert [piece.inferred for piece in pieces] == [True, False, True]
    assert sorted([pieces[0].y[0], pieces[-1].y[-1]]) == [-20.0, 20.0]
