"""Thin-plate splines against scipy's radial functions and against refits; constructed numbers."""

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator

from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.surfaces import spline


def wells(count=30, seed=5, east=371_000.0, north=6_051_000.0):
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 1000, (2, count))
    return x + east, y + north, 50.0 - 0.003 * x + 0.001 * y + 0.4 * np.sin(x / 150.0)


def test_the_same_surface_as_scipy_s():
    """scipy's RBFInterpolator (BSD licence), kernel r² ln r, with a plane."""
    x, y, z = wells()
    surface = spline.fit(x, y, z)
    random = np.random.default_rng(1)
    px, py = random.uniform(-100, 1100, 200) + 371_000.0, random.uniform(-100, 1100, 200) + 6_051_000.0
    other = RBFInterpolator(np.column_stack([x - 371_500, y - 6_051_500]), z, kernel="thin_plate_spline")
    assert surface.predict(px, py) == pytest.approx(other(np.column_stack([px - 371_500, py - 6_051_500])), abs=1e-8)


def test_every_level_is_met():
    x, y, z = wells()
    assert spline.fit(x, y, z).predict(x, y) == pytest.approx(z, abs=1e-9)


def test_a_plane_stays_a_plane():
    x, y, _ = wells()
    z = 12.0 - 0.004 * (x - 371_000) + 0.002 * (y - 6_051_000)
    surface = spline.fit(x, y, z)
    assert surface.predict(x + 37.0, y - 11.0) == pytest.approx(z - 0.004 * 37.0 - 0.002 * 11.0, abs=1e-9)


@pytest.mark.parametrize("count", [4, 5, 12, 40])
def test_leave_one_out_equals_refitting(count):
    x, y, z = wells(count)
    found = spline.fit(x, y, z).leave_one_out()
    for position in range(count):
        rest = np.arange(count) != position
        other = float(spline.fit(x[rest], y[rest], z[rest]).predict(x[position], y[position]))
        assert found.residual_m[position] == pytest.approx(z[position] - other, abs=1e-9)
    assert np.isnan(found.standard_error_m).all()


def test_three_wells_make_a_plane_and_leave_nothing_out():
    surface = spline.fit([0, 100, 0], [0, 0, 100], [10.0, 9.0, 8.0])
    assert float(surface.predict(25, 25)) == pytest.approx(9.25, abs=1e-12)
    assert np.isnan(surface.leave_one_out().residual_m).all()


def test_a_well_that_alone_stands_off_a_line_cannot_be_left_out():
    surface = spline.fit([0, 100, 200, 300, 150], [0, 0, 0, 0, 80], [10.0, 9.0, 8.5, 7.0, 8.0])
    residual = surface.leave_one_out().residual_m
    assert np.isnan(residual[4])
    assert np.isfinite(residual[:4]).all()


def test_nothing_beyond_control_when_asked():
    surface = spline.fit(*wells())
    heads = surface.predict([371_500.0, 375_000.0], [6_051_500.0, 6_051_500.0], inside_control=True)
    assert np.isfinite(heads[0])
    assert np.isnan(heads[1])
    assert np.isnan(surface.standard_error([0.0, 1.0], 0.0)).all()


def test_too_few_wells_are_refused():
    with pytest.raises(TooFewLevelsError, match="at least 3 wells"):
        spline.fit([0, 1], [0, 1], [1.0, 2.0])
    with pytest.raises(AnalysisError, match="on one line"):
        spline.fit([0, 1, 2, 3], [0, 1, 2, 3], [1.0, 2.0, 3.0, 4.0])
