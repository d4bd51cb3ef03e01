"""One interface for all methods, and the grid; constructed numbers."""

import numpy as np
import pytest

from gwnet.constants import INTERPOLATION_METHODS, SURFACE_METHODS
from gwnet.errors import SettingsError
from gwnet.hydro.surfaces.surface import fit, make_grid

X, Y = np.random.default_rng(8).uniform(0, 1000, (2, 30))


@pytest.mark.parametrize("method", SURFACE_METHODS)
def test_every_method_does_the_same_things(method):
    surface = fit(method, X, Y, 10.0 + 0.01 * X)
    assert float(surface.predict(500.0, 500.0)) == pytest.approx(15.0, abs=1e-6)
    assert surface.leave_one_out().residual_m.shape == (30,)
    assert surface.standard_error(X, Y).shape == (30,)
    assert surface.hull.shape[1] == 2


def test_unknown_method():
    with pytest.raises(SettingsError, match="expected one of kriging, spline, triangulation, quadratic"):
        fit("nearest", X, Y, X)


@pytest.mark.parametrize("method", INTERPOLATION_METHODS)
def test_grid_holds_the_wells_it_runs_through(method):
    z = np.sin(X / 100.0)
    grid = make_grid(fit(method, X, Y, z), through=(X, Y))
    columns, rows = np.searchsorted(grid.x, X), np.searchsorted(grid.y, Y)
    assert grid.x[columns].tolist() == X.tolist()
    assert grid.water_elevation_m[rows, columns] == pytest.approx(z, abs=1e-8)
    assert np.all(np.diff(grid.x) > 0.0)
    assert np.all(np.diff(grid.y) > 0.0)
    assert grid.at(X, Y) == pytest.approx(z, abs=1e-8)


def test_grid_is_empty_beyond_control():
    grid = make_grid(fit("kriging", [0, 1000, 0], [0, 0, 1000], [1, 2, 3]), lines=11)
    assert (grid.x.size, grid.y.size) == (11, 11)
    held = np.isfinite(grid.water_elevation_m)
    assert held.sum() == 66
    assert np.isnan(grid.water_elevation_m[-1, -1])
    assert grid.spacing_m == pytest.approx(100.0)


def test_cells_are_about_square():
    grid = make_grid(fit("kriging", [0, 1000, 0, 1000], [0, 0, 300, 300], [1, 2, 3, 4]), lines=101)
    assert (grid.x.size, grid.y.size) == (101, 31)


def test_between_lines_the_grid_is_bilinear():
    grid = make_grid(fit("kriging", [0, 100, 0, 100], [0, 0, 100, 100], [0, 1, 2, 3]), lines=2)
    assert grid.at([25.0, 0.0, 100.0], [50.0, 0.0, 100.0]) == pytest.approx([1.25, 0.0, 3.0])
