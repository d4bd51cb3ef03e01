"""Kriging: exactness, drift, measurement error, leave-one-out, invariance; constructed numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.surfaces import correlation, kriging
from gwnet.hydro.surfaces.kriging_solution import solve
from gwnet.hydro.surfaces.variogram import MODELS, Covariance

COVARIANCE = Covariance("spherical", 2.0, 600.0)


def wells(count=25, seed=11):
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 1000, (2, count))
    return x, y, 20.0 - 0.003 * x + 0.001 * y + 0.4 * np.sin(x / 150.0)


@pytest.mark.parametrize("model", ["spherical", "exponential", "matern"])
@pytest.mark.parametrize("nugget", [0.0, 0.3])
@pytest.mark.parametrize("drift", ["none", "linear"])
def test_levels_without_measurement_error_are_met(model, nugget, drift):
    x, y, z = wells()
    surface = kriging.fit(x, y, z, covariance=Covariance(model, 2.0, 600.0, nugget), drift=drift)
    assert surface.predict(x, y) == pytest.approx(z, abs=1e-9)
    assert surface.standard_error(x, y) == pytest.approx(np.zeros(25), abs=1e-5)


def test_equal_to_the_kriging_system_written_out():
    """Solve the bordered matrix of universal kriging for each point, with nugget and measurement error."""
    x, y, z = wells(12)
    covariance = Covariance("exponential", 2.0, 600.0, 0.2)
    noise = np.linspace(0.0, 0.5, 12)
    surface = kriging.fit(x, y, z, covariance=covariance, measurement_variance_m2=noise)
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    columns = np.column_stack([np.ones(12), x / 1000.0, y / 1000.0])
    matrix = np.zeros((15, 15))
    matrix[:12, :12] = covariance.at(distance) + np.diag(0.2 + noise)
    matrix[:12, 12:], matrix[12:, :12] = columns, columns.T
    for px, py in ((500.0, 500.0), (-200.0, 1300.0), (x[3], y[3])):
        near = covariance.at(np.hypot(px - x, py - y)) + 0.2 * ((px == x) & (py == y))
        right = np.concatenate([near, [1.0, px / 1000.0, py / 1000.0]])
        weights = np.linalg.solve(matrix, right)
        assert float(surface.predict(px, py)) == pytest.approx(weights[:12] @ z, abs=1e-10)
        assert float(surface.standard_error(px, py)) ** 2 == pytest.approx(2.2 - weights @ right, abs=1e-9)


@pytest.mark.parametrize("drift", ["none", "linear"])
@pytest.mark.parametrize("nugget", [0.0, 0.3])
def test_leave_one_out_equals_refits(drift, nugget):
    x, y, z = wells()
    covariance = Covariance("spherical", 2.0, 600.0, nugget)
    noise = np.linspace(0.0, 0.2, 25)
    fast = kriging.fit(x, y, z, covariance=covariance, drift=drift, measurement_variance_m2=noise).leave_one_out()
    for position in range(25):
        rest = np.arange(25) != position
        slow = kriging.fit(
            x[rest], y[rest], z[rest], covariance=covariance, drift=drift, measurement_variance_m2=noise[rest]
        )
        at = x[position], y[position]
        assert fast.residual_m[position] == pytest.approx(z[position] - float(slow.predict(*at)), abs=1e-9)
        error = np.hypot(float(slow.standard_error(*at)), np.sqrt(noise[position]))
        assert fast.standard_error_m[position] == pytest.approx(error, abs=1e-9)


def test_leave_one_out_sign_and_scores():
    """One well raised by 1 m stands about that much above its neighbours."""
    x, y, _ = wells()
    z = 20.0 - 0.003 * x
    z[4] += 1.0
    left_out = kriging.fit(x, y, z, covariance=COVARIANCE).leave_one_out()
    assert left_out.residual_m[4] == pytest.approx(1.0, abs=1e-9)
    assert left_out.rmse_m == pytest.approx(np.sqrt(np.mean(left_out.residual_m**2)))
    assert left_out.mean_error_m == pytest.approx(np.mean(left_out.residual_m))


def test_three_wells_leave_no_estimate_without_one():
    left_out = kriging.fit([0, 100, 0], [0, 0, 100], [1, 2, 3], covariance=COVARIANCE).leave_one_out()
    assert np.isnan(left_out.residual_m).all()
    assert np.isnan(left_out.rmse_m)
    assert np.isnan(left_out.mean_error_m)


@settings(max_examples=25, deadline=None)
@given(
    slope=st.tuples(st.floats(-0.05, 0.05), st.floats(-0.05, 0.05)),
    offset=st.floats(-500, 5000),
    model=st.sampled_from(MODELS),
    seed=st.integers(0, 50),
)
def test_a_plane_is_reproduced(slope, offset, model, seed):
    x, y, _ = wells(15, seed)
    surface = kriging.fit(x, y, offset + slope[0] * x + slope[1] * y, covariance=Covariance(model, 1.0, 300.0, 0.1))
    px, py = np.linspace(-500, 1500, 9), np.linspace(1500, -500, 9)
    assert surface.predict(px, py) == pytest.approx(offset + slope[0] * px + slope[1] * py, abs=1e-7)


@settings(max_examples=25, deadline=None)
@given(
    shift=st.tuples(st.floats(-1e6, 1e6), st.floats(-1e7, 1e7)), turn=st.floats(0, 6.28), lift=st.floats(-5000, 5000)
)
def test_moving_turning_and_lifting_change_nothing(shift, turn, lift):
    x, y, z = wells(15)
    px, py = np.array([100.0, 500.0, 900.0]), np.array([800.0, 500.0, 50.0])

    def moved(east, north):
        return (
            shift[0] + np.cos(turn) * east - np.sin(turn) * north,
            shift[1] + np.sin(turn) * east + np.cos(turn) * north,
        )

    here = kriging.fit(x, y, z, covariance=COVARIANCE)
    there = kriging.fit(*moved(x, y), z + lift, covariance=COVARIANCE)
    assert there.predict(*moved(px, py)) == pytest.approx(here.predict(px, py) + lift, abs=1e-5)
    assert there.standard_error(*moved(px, py)) == pytest.approx(here.standard_error(px, py), abs=1e-5)


def test_measurement_error_draws_the_surface_off_the_level():
    """A doubtful level pulls less: the surface stays nearer to what the neighbours say."""
    x, y = np.array([0.0, 100, 0, 100, 50]), np.array([0.0, 0, 100, 100, 50])
    z = np.array([10.0, 10, 10, 10, 11])
    sure = kriging.fit(x, y, z, covariance=COVARIANCE, measurement_variance_m2=0.0)
    doubtful = kriging.fit(x, y, z, covariance=COVARIANCE, measurement_variance_m2=[0, 0, 0, 0, 4.0])
    assert float(sure.predict(50, 50)) == pytest.approx(11.0)
    assert 10.0 < float(doubtful.predict(50, 50)) < 10.3
    assert doubtful.standard_error(50, 50) > sure.standard_error(50, 50)


def test_beyond_control():
    x, y, z = wells()
    surface = kriging.fit(x, y, z, covariance=COVARIANCE)
    assert np.isnan(surface.predict([5000, 500], [5000, 500], inside_control=True)).tolist() == [True, False]
    assert np.isfinite(surface.predict(5000, 5000))


def test_points_may_have_any_shape():
    x, y, z = wells()
    surface = kriging.fit(x, y, z, covariance=COVARIANCE)
    grid = surface.predict(np.array([100.0, 200.0, 300.0])[None, :], np.array([400.0, 500.0])[:, None])
    assert grid.shape == (2, 3)
    assert grid[1, 2] == pytest.approx(float(surface.predict(300.0, 500.0)), abs=1e-12)
    assert surface.standard_error(np.zeros((2, 1)), np.zeros((1, 4))).shape == (2, 4)


@pytest.mark.parametrize("values", [30, 70, 900])
@pytest.mark.parametrize("model", MODELS)
def test_blocks_of_nodes_change_nothing(monkeypatch, values, model):
    x, y, z = wells()
    surface = kriging.fit(x, y, z, covariance=Covariance(model, 2.0, 400.0, 0.1))
    random = np.random.default_rng(1)
    points = random.uniform(0, 1000, (2, 100))
    lines = np.concatenate([x[:3], random.uniform(0, 1000, 8)])[None, :], random.uniform(0, 1000, (7, 1))
    whole = [(surface.predict(*nodes), surface.standard_error(*nodes)) for nodes in (points, lines)]
    apart = np.broadcast_arrays(*lines)
    assert surface.predict(*(values.ravel() for values in apart)) == pytest.approx(whole[1][0].ravel(), abs=1e-12)
    monkeypatch.setattr(correlation, "BLOCK_VALUES", values)
    monkeypatch.setattr(correlation, "SOLVED_BLOCK_VALUES", 2 * values)
    for nodes, (heads, errors) in zip((points, lines), whole, strict=True):
        assert surface.predict(*nodes) == pytest.approx(heads, abs=1e-12)
        assert surface.standard_error(*nodes) == pytest.approx(errors, abs=1e-12)


@pytest.mark.parametrize("drift", ["none", "linear"])
@pytest.mark.parametrize("nugget", [0.0, 0.3])
def test_tiles_of_a_short_covariance_change_nothing(drift, nugget):
    """Lines through wells, 100 by 100 of them; the same nodes as single points go the other way."""
    x, y, z = wells(60)
    surface = kriging.fit(x, y, z, covariance=Covariance("spherical", 2.0, 200.0, nugget), drift=drift)
    across, along = (
        np.sort(np.append(x[:10], np.linspace(-50, 1050, 90))),
        np.sort(np.append(y[:10], np.linspace(0, 900, 90))),
    )
    lines = across[None, :], along[:, None]
    (solution,) = surface.solutions
    assert solution._is_short(*solution._nodes(*lines))
    assert solution._is_well_posed()
    apart = [values.ravel() for values in np.broadcast_arrays(*lines)]
    assert surface.predict(*lines).ravel() == pytest.approx(surface.predict(*apart), abs=1e-11)
    found, other = surface.standard_error(*lines).ravel() ** 2, surface.standard_error(*apart) ** 2
    assert found == pytest.approx(other, abs=1e-11)


def test_tiles_without_a_well_in_reach_have_the_drift_and_the_full_variance():
    """Constructed: two groups of wells far apart, so that most of the grid is out of reach of both."""
    x, y, z = wells(12)
    x, y = np.concatenate([x, x + 60000.0]), np.concatenate([y, y + 60000.0])
    surface = kriging.fit(x, y, np.tile(z, 2), covariance=Covariance("spherical", 0.5, 500.0, 0.1))
    lines = np.linspace(x.min(), x.max(), 160)[None, :], np.linspace(y.min(), y.max(), 160)[:, None]
    (solution,) = surface.solutions
    assert solution._is_short(*solution._nodes(*lines))
    points = [values.ravel() for values in np.broadcast_arrays(*lines)]
    assert surface.predict(*lines).ravel() == pytest.approx(surface.predict(*points), abs=1e-9)
    found, other = surface.standard_error(*lines).ravel() ** 2, surface.standard_error(*points) ** 2
    assert found == pytest.approx(other, abs=1e-9)


def test_order_of_wells_changes_nothing():
    x, y, z = wells()
    order = np.random.default_rng(4).permutation(25)
    here = kriging.fit(x, y, z, covariance=COVARIANCE)
    there = kriging.fit(x[order], y[order], z[order], covariance=COVARIANCE)
    assert there.leave_one_out().residual_m == pytest.approx(here.leave_one_out().residual_m[order], abs=1e-9)


def test_covariance_is_fitted_when_none_is_given():
    x, y, z = wells()
    surface = kriging.fit(x, y, z)
    assert surface.covariance.partial_sill_m2 > 0.0
    assert surface.predict(x, y) == pytest.approx(z, abs=1e-6)


def test_a_covariance_that_is_too_smooth_is_helped():
    x, y, z = wells(60)
    surface = kriging.fit(x, y, z, covariance=Covariance("gaussian", 1.0, 2000.0))
    assert 0.0 < surface.solutions[0].added_share <= 1e-8
    assert np.abs(surface.predict(x, y) - z).max() < 0.01


@pytest.mark.parametrize(("noise", "error"), [(-1.0, AnalysisError), (np.nan, AnalysisError), ([1.0, 2.0], ShapeError)])
def test_measurement_variance_must_make_sense(noise, error):
    with pytest.raises(error):
        kriging.fit(*wells(), covariance=COVARIANCE, measurement_variance_m2=noise)


def test_too_few_wells():
    with pytest.raises(TooFewLevelsError, match="2 can be used: P1, P2"):
        kriging.fit([0, 1], [0, 1], [1, 2], names=["P1", "P2"])


@pytest.mark.parametrize("drift", ["none", "linear"])
def test_a_given_covariance_is_one_solution_with_its_own_errors(drift):
    x, y, z = wells()
    noise = np.full(25, 0.01)
    surface = kriging.fit(x, y, z, covariance=COVARIANCE, drift=drift, measurement_variance_m2=noise)
    solution = solve((x, y, z), COVARIANCE, drift=drift, noise=noise, barriers=None)
    at = np.array([100.0, 512.0, x[4]]), np.array([900.0, 433.0, y[4]])
    assert surface.predict(*at).tolist() == solution.predict(*at).tolist()
    assert surface.standard_error(*at).tolist() == solution.standard_error(*at).tolist()
    assert surface.leave_one_out().residual_m.tolist() == solution.leave_one_out().residual_m.tolist()
