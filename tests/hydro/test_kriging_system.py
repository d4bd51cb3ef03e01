"""Weights of a surface, and what wells are worth, against fitting again; constructed numbers."""

import numpy as np
import pytest

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.kriging_system import kriging_system, places_for_wells, worth_of_wells
from gwnet.hydro.surfaces.surface_sums import hull_nodes
from gwnet.hydro.surfaces.variogram import Covariance

RANDOM = np.random.default_rng(5)
X, Y = RANDOM.uniform(0, 1000, (2, 14))
Z = 40 - 0.003 * X + 0.001 * Y + RANDOM.normal(0, 0.3, 14)
NOISE = RANDOM.uniform(1e-4, 4e-4, 14)
COVARIANCES = [
    Covariance("spherical", 0.2, 600.0),
    Covariance("exponential", 0.2, 900.0, 0.02),
    Covariance("matern", 0.3, 700.0),
]


def fitted(covariance, drift, keep=slice(None), z=Z):
    return kriging.fit(
        X[keep], Y[keep], z[keep], covariance=covariance, drift=drift, measurement_variance_m2=NOISE[keep]
    )


@pytest.mark.parametrize("drift", ["none", "linear"])
@pytest.mark.parametrize("covariance", COVARIANCES, ids=lambda c: c.model)
class TestAgainstFittingAgain:
    def test_weights_give_the_estimates(self, covariance, drift):
        surface = fitted(covariance, drift)
        weights = kriging_system(surface).weights([500, 20, X[3]], [500, 900, Y[3]])
        assert weights @ Z == pytest.approx(surface.predict([500, 20, X[3]], [500, 900, Y[3]]), abs=1e-9)
        assert weights.sum(axis=1) == pytest.approx(np.ones(3), abs=1e-9)

    def test_error_covariance_gives_the_standard_errors(self, covariance, drift):
        surface = fitted(covariance, drift)
        x, y = [500, 20, X[3]], [500, 900, Y[3]]
        errors = kriging_system(surface).error_covariance(x, y)
        assert np.sqrt(np.diag(errors)) == pytest.approx(surface.standard_error(x, y), abs=1e-7)
        assert errors == pytest.approx(errors.T, abs=1e-12)

    def test_worth_equals_leaving_out_and_fitting_again(self, covariance, drift):
        surface = fitted(covariance, drift)
        x, y, area = hull_nodes(surface.hull, 200)
        shares = area / area.sum()
        found = worth_of_wells(surface, x, y, area)
        for well in range(Z.size):
            without = fitted(covariance, drift, np.arange(Z.size) != well)
            change = np.abs(without.predict(x, y) - surface.predict(x, y))
            assert found.mean_change_m[well] == pytest.approx(shares @ change, abs=1e-9)
            assert found.largest_change_m[well] == pytest.approx(change.max(), abs=1e-9)
            error = np.sqrt(shares @ without.standard_error(x, y) ** 2)
            assert found.error_without_m[well] == pytest.approx(error, abs=1e-9)
            at_well = Z[well] - float(without.predict(X[well], Y[well]))
            assert found.residual_m[well] == pytest.approx(at_well, abs=1e-9)

    def test_candidates_equal_adding_a_well_and_fitting_again(self, covariance, drift):
        surface = fitted(covariance, drift)
        x, y, area = hull_nodes(surface.hull, 150)
        noise = 2e-4
        found = places_for_wells(surface, x, y, area, count=3, measurement_variance_m2=noise)
        wells_x, wells_y, variances = X, Y, NOISE
        for place in found:
            before = kriging.fit(
                wells_x,
                wells_y,
                np.zeros(wells_x.size),
                covariance=covariance,
                drift=drift,
                measurement_variance_m2=variances,
            )
            errors = before.standard_error(x, y)
            assert place.error_m == pytest.approx(errors.max(), abs=1e-7)
            wells_x, wells_y = np.append(wells_x, place.x), np.append(wells_y, place.y)
            variances = np.append(variances, noise)
            after = kriging.fit(
                wells_x,
                wells_y,
                np.zeros(wells_x.size),
                covariance=covariance,
                drift=drift,
                measurement_variance_m2=variances,
            )
            shares = area / area.sum()
            # a node on the new well keeps its nugget in the one way and not in the other
            left = np.sqrt(shares @ after.standard_error(x, y) ** 2)
            assert place.error_with_m == pytest.approx(left, abs=1e-7 + 0.002 * (covariance.nugget_m2 > 0))


def test_mean_error_equals_the_double_sum():
    """Block kriging variance from its definition, worked out node by node."""
    surface = fitted(COVARIANCES[0], "linear")
    x, y, area = hull_nodes(surface.hull, 60)
    shares = area / area.sum()
    system = kriging_system(surface)
    mean_weights = sum(share * system.weights([a], [b])[0] for share, a, b in zip(shares, x, y, strict=True))
    to_wells = sum(share * COVARIANCES[0].at(np.hypot(a - X, b - Y)) for share, a, b in zip(shares, x, y, strict=True))
    among = sum(
        p * q * float(COVARIANCES[0].at(np.hypot(a - c, b - d)))
        for p, a, b in zip(shares, x, y, strict=True)
        for q, c, d in zip(shares, x, y, strict=True)
    )
    levels = COVARIANCES[0].at(np.hypot(X[:, None] - X, Y[:, None] - Y)) + np.diag(NOISE)
    variance = among - 2 * mean_weights @ to_wells + mean_weights @ levels @ mean_weights
    assert system.combined_error(x, y, shares) == pytest.approx(np.sqrt(variance), rel=1e-6)


def test_mean_error_is_below_that_of_a_point():
    surface = fitted(COVARIANCES[0], "linear")
    x, y, area = hull_nodes(surface.hull, 100)
    shares = area / area.sum()
    assert kriging_system(surface).combined_error(x, y, shares) < np.sqrt(shares @ surface.standard_error(x, y) ** 2)


def test_a_well_without_which_there_is_no_plane_is_worth_nan():
    x, y = np.array([0.0, 100.0, 200.0, 100.0]), np.array([0.0, 0.0, 0.0, 80.0])
    surface = kriging.fit(x, y, [10.0, 9.9, 9.8, 10.1], covariance=Covariance("spherical", 0.1, 200.0))
    found = worth_of_wells(surface, *hull_nodes(surface.hull, 50))
    assert np.isnan(found.mean_change_m[3])
    assert np.isfinite(found.mean_change_m[:3]).all()


def test_points_must_fit_together():
    system = kriging_system(fitted(COVARIANCES[0], "none"))
    with pytest.raises(ShapeError, match="one length"):
        system.weights([1.0, 2.0], [1.0])
    with pytest.raises(AnalysisError, match="do not sum"):
        worth_of_wells(fitted(COVARIANCES[0], "none"), [1.0], [1.0], [0.0])
