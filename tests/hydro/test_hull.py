"""Control arrays, convex hull and cutting of lines; constructed numbers."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.surfaces.hull import (
    clip_line,
    control_arrays,
    convex_hull,
    hull_area,
    inside,
    length_and_width,
    nearest_on_hull,
)

SQUARE = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]])


def test_too_few_wells_are_named():
    with pytest.raises(TooFewLevelsError, match=r"at least 3 wells; 2 can be used: MW-01, MW-02\."):
        control_arrays([0, 1], [0, 1], [5, 6], names=["MW-01", "MW-02"])


def test_no_well_at_all():
    with pytest.raises(TooFewLevelsError, match="0 can be used"):
        control_arrays([], [], [])


def test_wells_on_one_line_are_refused():
    with pytest.raises(AnalysisError, match=r"lie on one line: .*\(A, B, C\)"):
        control_arrays([5e5, 500_100, 500_200], [53e5, 5_300_050, 5_300_100], [1, 2, 3], names=["A", "B", "C"])


def test_wells_off_the_line_are_taken():
    x, _, _ = control_arrays([0, 100, 200], [0, 1, 0], [1, 2, 3])
    assert x.tolist() == [0, 100, 200]


def test_two_wells_at_one_place_are_named():
    with pytest.raises(AnalysisError, match="B and D are at one place"):
        control_arrays([0, 100, 0, 100], [0, 5, 100, 5], [1, 2, 3, 4], names=["A", "B", "C", "D"])


def test_a_missing_elevation_is_named():
    with pytest.raises(AnalysisError, match="No finite coordinate or elevation at B"):
        control_arrays([0, 100, 0], [0, 5, 100], [1, np.nan, 3], names=["A", "B", "C"])


def test_shapes_must_agree():
    with pytest.raises(ShapeError, match=r"\(3,\), \(3,\) and \(2,\)"):
        control_arrays([0, 1, 2], [0, 1, 2], [0, 1])


def test_length_and_width_of_a_slanted_band():
    length, width = length_and_width([0, 60, 28, 32], [0, 80, 41.5, 38.5])
    assert (length, width) == pytest.approx((100.0, 5.0), rel=1e-9)


def test_hull_is_anticlockwise_and_begins_in_the_west():
    hull = convex_hull([2.0, 4.0, 0.0, 4.0, 0.0], [2.0, 4.0, 4.0, 0.0, 0.0])
    assert hull.tolist() == SQUARE.tolist()
    assert hull_area(hull) == 16.0


def test_points_on_the_edge_are_inside():
    assert inside(SQUARE, [0, 2, 4, 4.001, -0.001], [0, 0, 2, 2, 2]).tolist() == [True, True, True, False, False]


def test_nearest_point_of_the_outline():
    x, y = nearest_on_hull(SQUARE, np.array([2.0, 6.0, 1.0]), np.array([-3.0, 7.0, 2.0]))
    assert (x.tolist(), y.tolist()) == ([2.0, 4.0, 0.0], [0.0, 4.0, 2.0])


def test_a_line_across_is_cut_at_both_sides():
    (piece,) = clip_line(SQUARE, np.array([-2.0, 1.0, 6.0]), np.array([1.0, 1.0, 1.0]))
    assert piece[0].tolist() == [0.0, 1.0, 4.0]
    assert piece[1].tolist() == [1.0, 1.0, 1.0]


def test_a_line_that_leaves_and_returns_gives_two_pieces():
    pieces = clip_line(SQUARE, np.array([1.0, 6.0, 6.0, 1.0]), np.array([1.0, 1.0, 3.0, 3.0]))
    assert [(x.tolist(), y.tolist()) for x, y in pieces] == [([1.0, 4.0], [1.0, 1.0]), ([4.0, 1.0], [3.0, 3.0])]


def test_a_closed_line_that_begins_inside_keeps_its_first_part_joined():
    pieces = clip_line(SQUARE, np.array([2.0, 6.0, 6.0, 2.0, 2.0]), np.array([1.0, 1.0, 3.0, 3.0, 1.0]))
    assert [(x.tolist(), y.tolist()) for x, y in pieces] == [([4.0, 2.0, 2.0, 4.0], [3.0, 3.0, 1.0, 1.0])]


def test_a_line_outside_gives_nothing():
    assert clip_line(SQUARE, np.array([5.0, 6.0]), np.array([0.0, 4.0])) == []
    assert clip_line(SQUARE, np.array([-1.0, 5.0]), np.array([5.0, 5.0])) == []


coordinate = st.floats(-10, 10)


@given(st.lists(st.tuples(coordinate, coordinate), min_size=2, max_size=6))
def test_what_is_cut_lies_inside(points):
    x, y = np.array(points).T
    for piece_x, piece_y in clip_line(SQUARE, x, y):
        assert inside(np.array(SQUARE) * 1.000001 - 2e-6, piece_x, piece_y).all()


#: A hull off the origin whose sides have every direction.
HULL = convex_hull([103.0, 109.0, 112.0, 108.0, 101.0, 106.0], [51.0, 50.0, 55.0, 60.0, 57.0, 55.0])


def as_pieces(found):
    return [np.column_stack(piece).round(9).tolist() for piece in found]


@pytest.mark.parametrize("seed", range(12))
def test_a_line_is_cut_as_shapely_cuts_it(seed):
    """The intersection of a wandering line with the hull, piece by piece in the order of the line."""
    line = np.random.default_rng(seed).uniform([98.0, 47.0], [115.0, 63.0], (7, 2))
    cut = shapely.intersection(shapely.LineString(line), shapely.Polygon(HULL))
    pieces = [shapely.get_coordinates(part) for part in shapely.get_parts(cut)]
    # crossings of the line with itself are nodes to shapely and no corners of the line
    whole = sum(np.hypot(*np.diff(piece, axis=0).T).sum() for piece in pieces)
    found = clip_line(HULL, *line.T)
    assert sum(np.hypot(np.diff(x), np.diff(y)).sum() for x, y in found) == pytest.approx(whole, rel=1e-9)
    outline = shapely.LinearRing(HULL)
    for x, y in found:
        for end in ((x[0], y[0]), (x[-1], y[-1])):
            at_end = np.hypot(*(line[[0, -1]] - end).T).min() == 0.0
            assert at_end or shapely.distance(outline, shapely.Point(end)) < 1e-9
        within = [corner for corner in line.tolist() if corner in np.column_stack([x, y]).tolist()]
        assert len(within) >= x.size - 2


@pytest.mark.parametrize(
    ("line", "pieces"),
    [
        # along the side, and along its extension
        ([(-2, 0), (6, 0)], [[[0, 0], [4, 0]]]),
        ([(4, -2), (4, 6)], [[[4, 0], [4, 4]]]),
        ([(-2, 4.5), (6, 4.5)], []),
        # through a corner, and touching it from without
        ([(-1, -1), (5, 5)], [[[0, 0], [4, 4]]]),
        ([(3, 5), (5, 3)], []),
        ([(-1, 2), (-0.5, 3)], []),
        # from within to the edge and on
        ([(1, 1), (4, 1), (6, 1)], [[[1, 1], [4, 1]]]),
        # not closed, though eastings or northings of the ends agree
        ([(1, 1), (6, 1), (6, 3), (1, 3)], [[[1, 1], [4, 1]], [[4, 3], [1, 3]]]),
        ([(1, 1), (1, 6), (3, 6), (3, 1)], [[[1, 1], [1, 4]], [[3, 4], [3, 1]]]),
        # closed and leaving twice, from a start within
        (
            [(1, 1), (6, 1), (6, 2), (3, 2), (3, 6), (1, 6), (1, 1)],
            [[[1, 4], [1, 1], [4, 1]], [[4, 2], [3, 2], [3, 4]]],
        ),
        (
            [(1, 1), (6, 2), (6, 3), (3, 3), (2, 6), (1.5, 6), (1, 1)],
            [[[1.3, 4], [1, 1], [4, 1.6]], [[4, 3], [3, 3], [2.666666667, 4]]],
        ),
        # closed, from a start on the outline: inward first, then outward first
        (
            [(4, 1), (1, 1), (1, 6), (2, 6), (2, 2), (6, 2), (6, 1), (4, 1)],
            [[[4, 1], [1, 1], [1, 4]], [[2, 4], [2, 2], [4, 2]]],
        ),
        (
            [(4, 1), (6, 1), (6, 2), (2, 2), (2, 6), (3, 6), (3, 1), (4, 1)],
            [[[4, 2], [2, 2], [2, 4]], [[3, 4], [3, 1], [4, 1]]],
        ),
        # closed, from a start without
        ([(6, 1), (1, 1), (1, 3), (6, 3), (6, 1)], [[[4, 1], [1, 1], [1, 3], [4, 3]]]),
        ([(1, 1), (3, 1), (3, 3), (1, 1)], [[[1, 1], [3, 1], [3, 3], [1, 1]]]),
    ],
)
def test_pieces_of_a_line_by_hand(line, pieces):
    assert as_pieces(clip_line(SQUARE, *np.array(line, dtype=float).T)) == pieces


@pytest.mark.parametrize(("off", "held"), [(3.9e-9, True), (4.1e-9, False)])
def test_a_point_a_thousand_millionth_of_the_length_outside_is_still_inside(off, held):
    """The square's sides are 4 m."""
    assert inside(SQUARE, [4.0 + off, 2.0, -off, 4.0 + off], [2.0, 4.0 + off, 2.0, 4.0 + off]).tolist() == [held] * 4
    narrow = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 1.0], [0.0, 1.0]])
    assert inside(narrow, 2.0, 1.0 + off) == held


def test_a_hull_in_grid_coordinates_begins_in_the_southwest_and_has_its_area():
    east, north = 450_000.0 + SQUARE[:, 0], 5_300_000.0 + 2.0 * SQUARE[:, 1]
    hull = convex_hull(east[[2, 0, 3, 1]], north[[2, 0, 3, 1]])
    assert hull.tolist() == np.column_stack([east, north]).tolist()
    assert (hull_area(hull), hull_area(hull[::-1])) == (32.0, -32.0)


def control_of(count, **changed):
    x, y = np.arange(count) * 10.0, (np.arange(count) % 3) * 7.0
    z = np.arange(count, dtype=float)
    for name, (place, value) in changed.items():
        {"x": x, "y": y, "z": z}[name][place] = value
    return x, y, z


@pytest.mark.parametrize("changed", [{"x": (1, np.inf)}, {"y": (1, np.nan)}, {"z": (1, -np.inf)}])
def test_each_number_must_be_finite(changed):
    with pytest.raises(AnalysisError) as raised:
        control_arrays(*control_of(4, **changed))
    assert raised.value.message == "No finite coordinate or elevation at 2."
    assert raised.value.fix == "Leave these wells out, or complete their record."


def test_at_most_eight_wells_are_named():
    x, y, _ = control_of(9)
    for count, listed in ((9, "1, 2, 3, 4, 5, 6, 7, 8 and 1 more"), (8, "1, 2, 3, 4, 5, 6, 7, 8")):
        with pytest.raises(AnalysisError) as raised:
            control_arrays(x[:count], y[:count], np.full(count, np.nan))
        assert raised.value.message == f"No finite coordinate or elevation at {listed}."


def test_places_are_shared_only_where_both_coordinates_agree():
    x, y, _ = control_arrays([0, 0, 5, 5], [0, 5, 0, 5], [1, 2, 3, 4])
    assert (x.tolist(), y.tolist()) == ([0, 0, 5, 5], [0, 5, 0, 5])
    with pytest.raises(AnalysisError) as raised:
        control_arrays([9, 3, 5, 3, 7], [2, 4, 0, 4, 8], [1, 2, 3, 4, 5], names=list("PQRST"))
    assert raised.value.message == "Q and S are at one place (3, 4)."


@pytest.mark.parametrize(("off", "taken"), [(0.99, False), (1.01, True)])
def test_wells_in_a_band_of_a_thousandth_of_its_length_lie_on_one_line(off, taken):
    x, y, z = [0.0, 500.0, 1000.0, 500.0], [0.0, 0.0, 0.0, off], [1.0, 2.0, 3.0, 4.0]
    if taken:
        assert control_arrays(x, y, z)[1].tolist() == y
        return
    with pytest.raises(AnalysisError) as raised:
        control_arrays(x, y, z)
    assert raised.value.message == "The 4 wells lie on one line: a band 0.99 m wide over 1000 m (1, 2, 3, 4)."


def test_too_few_wells_without_names_are_numbered_and_none_are_not_listed():
    for count, message in ((2, "2 can be used: 1, 2."), (0, "0 can be used.")):
        with pytest.raises(TooFewLevelsError) as raised:
            control_arrays(*control_of(count))
        assert raised.value.message == f"A surface needs at least 3 wells; {message}"
    assert control_arrays([0, 1, 0], [0, 0, 1], [5, 6, 7])[2].tolist() == [5, 6, 7]


@pytest.mark.parametrize("shapes", [((2, 2), (2, 2), (2, 2)), ((4,), (3,), (4,)), ((4,), (4,), (3,))])
def test_arrays_of_other_shapes_are_refused(shapes):
    with pytest.raises(ShapeError, match="one-dimensional and of one length"):
        control_arrays(*(np.zeros(shape) for shape in shapes))
