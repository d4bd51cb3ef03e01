"""Control arrays, convex hull and cutting of lines; constructed numbers."""

import numpy as np
import pytest
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
