"""Linear interpolation on triangles; constructed numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gwnet.errors import AnalysisError
from gwnet.hydro.surfaces import triangulation


def wells(count=20, seed=2):
    x, y = np.random.default_rng(seed).uniform(0, 1000, (2, count))
    return x, y


@settings(max_examples=25, deadline=None)
@given(slope=st.tuples(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1)), shift=st.floats(-1e7, 1e7))
def test_a_plane_is_reproduced_wherever_it_lies(slope, shift):
    x, y = wells()
    z = 100.0 + slope[0] * x + slope[1] * y
    surface = triangulation.fit(x + shift, y - shift, z)
    px, py = x.mean(), y.mean()
    expected = 100.0 + slope[0] * px + slope[1] * py
    assert float(surface.predict(px + shift, py - shift)) == pytest.approx(expected, abs=1e-6)
    known = surface.leave_one_out().residual_m
    assert np.nanmax(np.abs(known)) < 1e-6


def test_levels_are_met():
    x, y = wells()
    z = np.sin(x / 100.0)
    assert triangulation.fit(x, y, z).predict(x, y) == pytest.approx(z, abs=1e-9)


def test_beyond_control():
    surface = triangulation.fit([0, 100, 0, 100], [0, 0, 100, 100], [1, 1, 2, 2])
    assert np.isnan(surface.predict([50, 150], [50, 50], inside_control=True)).tolist() == [False, True]
    assert surface.predict([50, 250], [-40, 50]) == pytest.approx([1.0, 1.5], abs=1e-6)


def test_a_corner_of_the_hull_has_no_leave_one_out():
    surface = triangulation.fit([0, 100, 0, 100, 50], [0, 0, 100, 100, 50], [1, 1, 1, 1, 3])
    left_out = surface.leave_one_out()
    assert np.isnan(left_out.residual_m).tolist() == [True, True, True, True, False]
    assert left_out.residual_m[4] == pytest.approx(2.0)
    assert np.isnan(left_out.standard_error_m).all()


def test_three_wells_have_no_leave_one_out():
    assert np.isnan(triangulation.fit([0, 1, 0], [0, 0, 1], [1, 2, 3]).leave_one_out().residual_m).all()


def test_it_knows_no_standard_error():
    surface = triangulation.fit([0, 1, 0], [0, 0, 1], [1, 2, 3])
    assert np.isnan(surface.standard_error(np.zeros((2, 1)), np.zeros(3))).all()
    assert surface.standard_error(np.zeros((2, 1)), np.zeros(3)).shape == (2, 3)


def test_wells_on_one_line_are_refused():
    with pytest.raises(AnalysisError, match="on one line"):
        triangulation.fit([0, 1, 2], [0, 1, 2], [1, 2, 3])


def test_all_around_control_in_grid_coordinates_heads_are_those_of_the_outline():
    """Coordinates of a map grid; a square with heads that rise eastward."""
    x, y = (
        451_000.0 + np.array([0.0, 400.0, 0.0, 400.0, 200.0]),
        5_400_000.0 + np.array([0.0, 0.0, 400.0, 400.0, 200.0]),
    )
    surface = triangulation.fit(x, y, (x - 451_000.0) / 100.0)
    angle = np.arange(0.0, 2.0 * np.pi, 0.1)
    around_x, around_y = 451_200.0 + 900.0 * np.cos(angle), 5_400_200.0 + 900.0 * np.sin(angle)
    expected = np.clip(around_x - 451_000.0, 0.0, 400.0) / 100.0
    assert surface.predict(around_x, around_y) == pytest.approx(expected, abs=1e-6)
