"""Covariances weighted by likelihood: shares, limits of t, and that closed forms hold for their mean; constructed."""

import math

import numpy as np
import pytest
from scipy.spatial.distance import cdist
from scipy.stats import t as student

from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.covariance_mixture import CovarianceMixture, fit_mixture
from gwnet.hydro.surfaces.kriging_system import kriging_system, worth_of_wells
from gwnet.hydro.surfaces.surface_sums import change_sums, hull_nodes
from gwnet.hydro.surfaces.variogram import Covariance, sample_of

from ..bench.bench_kriging_limits import CASES, simulate_limits


def field(n, covariance, seed=3):
    """Return wells on a field of 1000 m and heads drawn from a covariance about a plane."""
    random = np.random.default_rng(seed)
    wells = random.uniform(0.0, 1000.0, (n, 2))
    matrix = covariance.at(cdist(wells, wells)) + covariance.nugget_m2 * np.eye(n)
    return *wells.T, 20.0 + wells @ [0.002, -0.001] + np.linalg.cholesky(matrix) @ random.normal(size=n)


def test_shares_sum_to_one_and_the_likely_model_has_most():
    x, y, z = field(110, Covariance("matern", 1.0, 500.0))
    mixture = fit_mixture(x, y, z)
    assert sum(mixture.shares) == pytest.approx(1.0)
    assert mixture.degrees_of_freedom == 107
    assert next(iter(mixture.model_shares)) == "matern"
    assert mixture.largest in mixture.covariances
    assert mixture.largest.range_m == pytest.approx(500.0, rel=0.5)


def test_few_wells_keep_several_models_and_ranges():
    mixture = fit_mixture(*field(6, Covariance("exponential", 1.0, 800.0)))
    assert set(mixture.model_shares) == {"spherical", "exponential", "matern"}
    assert len({covariance.range_m for covariance in mixture.covariances}) >= 3
    assert mixture.widening == pytest.approx(student.ppf(0.975, 3) / 1.959963984540054)


def test_the_scale_has_the_closed_form_without_measurement_error():
    """Generalised least squares written out: the weighted squares about the drift over n − 3."""
    x, y, z = field(9, Covariance("spherical", 1.0, 700.0))
    columns = sample_of(x, y, z).columns
    for covariance in fit_mixture(x, y, z).covariances:
        share = covariance.nugget_m2 / covariance.sill_m2
        unit = (1.0 - share) * Covariance(covariance.model, 1.0, covariance.range_m).at(
            np.hypot(x[:, None] - x, y[:, None] - y)
        ) + share * np.eye(9)
        inverse = np.linalg.inv(unit)
        drift = np.linalg.solve(columns.T @ inverse @ columns, columns.T @ inverse @ z)
        residual = z - columns @ drift
        assert covariance.sill_m2 == pytest.approx(residual @ inverse @ residual / 6.0, rel=1e-6)


def test_with_measurement_error_the_weighted_squares_sum_to_the_degrees_of_freedom():
    """Paule and Mandel (1982): of each sill that the error does not keep up."""
    x, y, z = field(30, Covariance("exponential", 0.04, 600.0))
    noise = 0.1**2
    measured = z + np.random.default_rng(1).normal(0.0, 0.1, 30)
    aware = kriging.fit(x, y, measured, measurement_variance_m2=noise)
    columns, distance = sample_of(x, y, z).columns, np.hypot(x[:, None] - x, y[:, None] - y)
    for covariance in aware.mixture.covariances:
        inverse = np.linalg.inv(covariance.at(distance) + (covariance.nugget_m2 + noise) * np.eye(30))
        drift = np.linalg.solve(columns.T @ inverse @ columns, columns.T @ inverse @ measured)
        about = measured - columns @ drift
        assert about @ inverse @ about == pytest.approx(27.0, rel=0.011) or covariance.sill_m2 == pytest.approx(noise)
    residual = aware.leave_one_out()
    assert 0.6 < np.sqrt(np.mean((residual.residual_m / residual.standard_error_m) ** 2)) < 1.4


@pytest.mark.parametrize("drift", ["none", "linear"])
def test_leave_one_out_equals_refits_with_the_same_mixture(drift):
    x, y, z = field(12, Covariance("exponential", 1.0, 800.0))
    noise = np.linspace(0.0, 0.05, 12)
    surface = kriging.fit(x, y, z, drift=drift, measurement_variance_m2=noise)
    assert len(surface.solutions) > 3
    fast = surface.leave_one_out()
    widening = surface.mixture.widening
    for position in range(12):
        rest = np.arange(12) != position
        slow = kriging.fit(
            x[rest],
            y[rest],
            z[rest],
            covariance=surface.mixture,
            drift=drift,
            measurement_variance_m2=noise[rest],
        )
        at = x[position], y[position]
        assert fast.residual_m[position] == pytest.approx(z[position] - float(slow.predict(*at)), abs=1e-9)
        error = np.hypot(float(slow.standard_error(*at)), widening * np.sqrt(noise[position]))
        assert fast.standard_error_m[position] == pytest.approx(error, abs=1e-9)


def test_worth_weights_and_errors_of_a_mixture_equal_fitting_again():
    x, y, z = field(11, Covariance("spherical", 1.0, 700.0))
    surface = kriging.fit(x, y, z, measurement_variance_m2=1e-4)
    nodes_x, nodes_y, area = hull_nodes(surface.hull, 60)
    system = kriging_system(surface)
    assert system.weights(nodes_x, nodes_y) @ z == pytest.approx(surface.predict(nodes_x, nodes_y), abs=1e-9)
    errors = system.error_covariance(nodes_x, nodes_y)
    assert np.sqrt(np.diag(errors)) == pytest.approx(surface.standard_error(nodes_x, nodes_y), abs=1e-7)
    worth, shares = worth_of_wells(surface, nodes_x, nodes_y, area), area / area.sum()
    for well in range(11):
        rest = np.arange(11) != well
        without = kriging.fit(x[rest], y[rest], z[rest], covariance=surface.mixture, measurement_variance_m2=1e-4)
        change = np.abs(without.predict(nodes_x, nodes_y) - surface.predict(nodes_x, nodes_y))
        assert worth.mean_change_m[well] == pytest.approx(shares @ change, abs=1e-9)
        error = np.sqrt(shares @ without.standard_error(nodes_x, nodes_y) ** 2)
        assert worth.error_without_m[well] == pytest.approx(error, abs=1e-9)


def test_levels_without_measurement_error_are_met_by_the_mean():
    x, y, z = field(8, Covariance("spherical", 1.0, 700.0))
    surface = kriging.fit(x, y, z)
    assert surface.predict(x, y) == pytest.approx(z, abs=1e-8)
    assert surface.standard_error(x, y) == pytest.approx(np.zeros(8), abs=1e-3)


def test_three_wells_say_nothing_of_the_limits():
    surface = kriging.fit([0, 100, 0], [0, 0, 100], [10.0, 9.0, 9.5])
    assert np.isinf(surface.standard_error([20.0, 0.0], [20.0, 0.0])).all()
    assert float(surface.predict(50, 50)) == pytest.approx(9.25)
    sums = change_sums(surface)
    assert math.isinf(sums.mean_half_width_m)
    assert (sums.rise_area_m2, sums.fall_area_m2) == (0.0, 0.0)


def test_four_wells_have_very_wide_limits():
    x, y = [0.0, 100.0, 0.0, 100.0], [0.0, 0.0, 100.0, 100.0]
    surface = kriging.fit(x, y, [10.0, 9.9, 9.8, 9.6])
    assert surface.mixture.widening == pytest.approx(12.706 / 1.960, rel=1e-3)
    assert 1.96 * float(surface.standard_error(50, 50)) > 0.1


def test_heads_on_a_plane_keep_limits_of_the_measurement_error():
    x, y, _ = field(10, Covariance("spherical", 1.0, 700.0))
    surface = kriging.fit(x, y, 20.0 + 0.001 * x, measurement_variance_m2=0.01**2)
    assert 0.002 < float(np.median(surface.standard_error([300.0, 500.0, 700.0], [500.0, 400.0, 500.0]))) < 0.1


def test_around_a_barrier_only_models_that_stay_covariances():
    x, y, z = field(20, Covariance("exponential", 1.0, 800.0))
    wall = Barriers([np.array([[500.0, 300.0], [500.0, 1200.0]])])
    mixture = fit_mixture(x, y, z, barriers=wall)
    assert set(mixture.model_shares) <= {"spherical", "exponential"}
    assert np.isfinite(kriging.fit(x, y, z, barriers=wall).standard_error(x + 10.0, y)).all()


def test_many_wells_have_one_covariance():
    mixture = fit_mixture(*field(250, Covariance("exponential", 1.0, 400.0)))
    assert len(mixture.covariances) == 1
    assert mixture.degrees_of_freedom == 247


@pytest.mark.parametrize(("shares", "count"), [((), 0), ((0.5,), 1), ((0.5, 0.5), 1), ((1.0, 0.0), 2)])
def test_what_is_no_mixture_is_refused(shares, count):
    with pytest.raises(SettingsError, match="shares that sum to 1"):
        CovarianceMixture((Covariance("spherical", 1.0, 1.0),) * count, shares)


def test_too_few_points_for_the_drift():
    with pytest.raises(AnalysisError, match="too few"):
        fit_mixture([0.0, 1.0], [0.0, 1.0], [1.0, 2.0])


@pytest.mark.parametrize(("name", "n", "widest"), [("exponential", 6, 2.0), ("cone", 10, 1.7), ("clusters", 10, 1.7)])
def test_limits_hold_with_few_wells(name, n, widest):
    """60 fields a case; bounds are generous: the bench has 250 fields and more wells."""
    shares = simulate_limits(CASES[name], n, fields=60, seed=2)
    assert 0.88 <= shares.held <= 0.995
    assert shares.width_ratio < widest
    assert shares.error_ratio < 1.15
