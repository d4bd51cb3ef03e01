"""Smaller rules of kriging: barriers with a nugget, scores, refusals, several covariances, and worth; by hand or by numpy."""

import math

import numpy as np
import pytest

from gwnet.errors import AnalysisError, SettingsError, ShapeError
from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.covariance_mixture import CovarianceMixture
from gwnet.hydro.surfaces.kriging_solution import LeaveOneOut
from gwnet.hydro.surfaces.kriging_system import kriging_system, places_for_wells, worth_of_wells
from gwnet.hydro.surfaces.variogram import Covariance, fit_covariance

RANDOM = np.random.default_rng(21)
X, Y = 450_000 + RANDOM.uniform(0, 1000, 12), 5_300_000 + RANDOM.uniform(0, 700, 12)
Z = 250.0 - 0.004 * (X - 450_000) + RANDOM.normal(0, 0.3, 12)
WALL = Barriers([np.array([[450_500.0, 5_299_000.0], [450_500.0, 5_300_400.0]])])
FIRST, SECOND = Covariance("spherical", 0.3, 900.0, 0.02), Covariance("exponential", 0.5, 400.0)


@pytest.mark.parametrize("drift", ["none", "linear"])
def test_kriging_around_a_barrier_is_the_kriging_system_of_those_distances(drift):
    """The bordered matrix with ways around the wall, a nugget, and measurement error; also at a well."""
    noise = np.where(np.arange(12) == 3, 0.0, 0.05)
    surface = kriging.fit(X, Y, Z, covariance=FIRST, drift=drift, measurement_variance_m2=noise, barriers=WALL)
    wells = np.column_stack([X, Y])
    east, north = X - 450_400.0, Y - 5_300_300.0
    columns = np.column_stack([np.ones(12), east, north])[:, : 1 if drift == "none" else 3]
    width = columns.shape[1]
    matrix = np.zeros((12 + width, 12 + width))
    matrix[:12, :12] = FIRST.at(WALL.distances(wells, wells)) + np.diag(0.02 + noise)
    matrix[:12, 12:], matrix[12:, :12] = columns, columns.T
    points = np.array(
        [[450_480.0, 5_300_100.0], [450_520.0, 5_300_100.0], [450_900.0, 5_300_600.0], [X[3], Y[3]], [X[5], Y[5]]]
    )
    for number, (point, distance) in enumerate(zip(points, WALL.distances(points, wells), strict=True)):
        at_well = np.arange(12) == {3: 3, 4: 5}.get(number, -1)
        column = np.array([1.0, point[0] - 450_400.0, point[1] - 5_300_300.0])[:width]
        right = np.concatenate([FIRST.at(distance) + 0.02 * at_well, column])
        weights = np.linalg.solve(matrix, right)
        assert float(surface.predict(*point)) == pytest.approx(weights[:12] @ Z, abs=1e-7)
        assert float(surface.standard_error(*point)) ** 2 == pytest.approx(0.32 - weights @ right, abs=1e-7)


def test_scores_of_the_residuals_that_exist():
    left_out = LeaveOneOut(np.array([1.0, np.nan, -4.0]), np.ones(3))
    assert (left_out.mean_error_m, left_out.rmse_m) == (-1.5, pytest.approx(math.sqrt(8.5), rel=1e-14))


def test_what_cannot_be_kriged_says_why():
    with pytest.raises(ShapeError, match=r"measurement_variance_m2 must be one number or of shape \(12,\)\."):
        kriging.fit(X, Y, Z, covariance=FIRST, measurement_variance_m2=[0.1, 0.2])
    with pytest.raises(AnalysisError, match="A measurement variance is negative or not a number"):
        kriging.fit(X, Y, Z, covariance=FIRST, measurement_variance_m2=-1e-9)
    linear = Covariance("linear", 0.5, 400.0)
    with pytest.raises(SettingsError) as raised:
        kriging.fit(X, Y, Z, covariance=linear, barriers=WALL)
    assert raised.value.message == "The linear variogram is no covariance of distances around a barrier."
    assert np.isfinite(kriging.fit(X, Y, Z, covariance=linear).predict(X[0], Y[0] + 9.0))
    # many wells close about the end of a wall, under the smoothest of models
    x, y = (values.ravel() for values in np.meshgrid(np.linspace(-1, 1, 9), np.linspace(-1, 1, 8)))
    wall = Barriers([np.array([[0.11, -5.0], [0.11, 0.05]])])
    with pytest.raises(AnalysisError) as raised:
        kriging.fit(x, y, x, covariance=Covariance("gaussian", 1.0, 3.0), barriers=wall)
    assert raised.value.message == (
        "The gaussian covariance with range 3 m cannot be factored for 72 wells: some are too close together for it."
    )


def test_several_covariances_average_estimates_and_variances():
    """Shares 0.3 and 0.7; variances widened by t with 9 degrees of freedom, and the variance between the estimates."""
    mixture = CovarianceMixture((FIRST, SECOND), (0.3, 0.7), 9.0)
    at = np.array([450_100.0, 450_700.0]), np.array([5_300_500.0, 5_300_100.0])
    both = kriging.fit(X, Y, Z, covariance=mixture)
    parts = [kriging.fit(X, Y, Z, covariance=one) for one in (FIRST, SECOND)]
    heads, variances = [part.predict(*at) for part in parts], [part.standard_error(*at) ** 2 for part in parts]
    mean = 0.3 * heads[0] + 0.7 * heads[1]
    between = 0.3 * (heads[0] - mean) ** 2 + 0.7 * (heads[1] - mean) ** 2
    widening = 2.2621571628 / 1.959963984540054
    expected = widening**2 * (0.3 * variances[0] + 0.7 * variances[1]) + between
    assert both.predict(*at) == pytest.approx(mean, rel=1e-13)
    assert both.standard_error(*at) == pytest.approx(np.sqrt(expected), rel=1e-9)
    assert both.covariance == SECOND
    assert mixture.model_shares == {"exponential": 0.7, "spherical": 0.3}
    assert list(mixture.model_shares) == ["exponential", "spherical"]
    errors = kriging_system(both).error_covariance(*at)
    apart = [head - mean for head in heads]
    each = [kriging_system(part).error_covariance(*at) for part in parts]
    off = sum(
        share * (widening**2 * one[0, 1] + a[0] * a[1]) for share, one, a in zip((0.3, 0.7), each, apart, strict=True)
    )
    assert (errors[0, 1], errors[1, 0]) == pytest.approx((off, off), rel=1e-8)
    assert kriging_system(both).combined_error(*at, [2.0, -3.0]) == pytest.approx(
        math.sqrt(4 * errors[0, 0] + 9 * errors[1, 1] - 12 * errors[0, 1]), rel=1e-9
    )


@pytest.mark.parametrize(
    ("shares", "degrees", "widening"),
    [
        ((0.5, 0.5), math.inf, 1.0),
        ((0.25, 0.75), 0.0, math.inf),
        ((1.0 - 1e-10, 5e-10), 3.0, 3.18244630528 / 1.959963984540054),
    ],
)
def test_a_mixture_widens_limits_by_students_t(shares, degrees, widening):
    mixture = CovarianceMixture((FIRST, SECOND), shares, degrees)
    assert mixture.widening == pytest.approx(widening, rel=1e-9)
    assert mixture.largest == (SECOND if shares[1] > shares[0] else FIRST)
    surface = kriging.fit(X, Y, Z, covariance=mixture)
    system = kriging_system(surface)
    if math.isinf(widening):
        assert (
            np.isinf(system.error_covariance([450_100.0, 450_200.0], [5_300_100.0, 5_300_150.0])).tolist()
            == [[True] * 2] * 2
        )
        assert math.isinf(system.combined_error([450_100.0], [5_300_100.0], [1.0]))
        assert np.isinf(surface.leave_one_out().standard_error_m).all()


@pytest.mark.parametrize("shares", [(0.5, 0.5 + 2e-9), (0.5, 0.4), (1.1, -0.1), (1.0, 0.0)])
def test_shares_must_be_positive_and_sum_to_one(shares):
    with pytest.raises(SettingsError, match="needs covariances with shares that sum to 1"):
        CovarianceMixture((FIRST, SECOND), shares)


def test_the_error_of_a_sum_that_is_known_exactly_is_nothing():
    surface = kriging.fit(X, Y, Z, covariance=SECOND)
    assert kriging_system(surface).combined_error(X[:2], Y[:2], [1.0, -1.0]) == pytest.approx(0.0, abs=1e-5)


def test_places_for_wells_are_those_of_largest_error_one_after_another():
    """Each place taken as a well with its measurement variance lowers the errors as a further row of the system does."""
    surface = kriging.fit(X, Y, Z, covariance=SECOND)
    x, y = np.array([450_100.0, 450_600.0, 450_950.0]), np.array([5_300_350.0, 5_300_650.0, 5_300_050.0])
    areas = np.array([3.0, 1.0, 2.0])
    errors = kriging_system(surface).error_covariance(x, y)
    found = places_for_wells(surface, x, y, areas, count=5, measurement_variance_m2=0.01)
    assert len(found) == 3
    for place in found:
        best = int(np.argmax(np.diag(errors)))
        assert (place.x, place.y) == (x[best], y[best])
        assert place.error_m == pytest.approx(math.sqrt(errors[best, best]), rel=1e-9)
        errors = errors - np.outer(errors[best], errors[best]) / (errors[best, best] + 0.01)
        assert place.error_with_m == pytest.approx(math.sqrt(areas @ np.diag(errors) / 6.0), rel=1e-9)
    (exact,) = places_for_wells(surface, x, y, areas, count=1)
    assert exact.error_with_m < found[0].error_with_m


def test_the_error_with_all_wells_is_the_root_mean_square_over_the_control():
    surface = kriging.fit(X, Y, Z, covariance=SECOND, measurement_variance_m2=0.01)
    x, y = np.array([450_100.0, 450_600.0]), np.array([5_300_350.0, 5_300_650.0])
    found = worth_of_wells(surface, x, y, [3.0, 1.0])
    errors = surface.standard_error(x, y)
    assert found.error_m == pytest.approx(math.sqrt((3 * errors[0] ** 2 + errors[1] ** 2) / 4), rel=1e-12)
    assert found.residual_m == pytest.approx(surface.leave_one_out().residual_m, rel=1e-7, abs=1e-9)
    # only the proportions of the areas count
    assert worth_of_wells(surface, x, y, [0.3, 0.1]).error_m == pytest.approx(found.error_m, rel=1e-12)
    with pytest.raises(AnalysisError, match="do not sum to more than 0"):
        worth_of_wells(surface, x, y, [1.0, -1.0])


def test_what_was_added_to_factor_a_smooth_covariance_counts_in_the_weights():
    x, y = np.random.default_rng(11).uniform(0, 1000, (2, 60))
    surface = kriging.fit(x, y, np.sin(x / 150.0), covariance=Covariance("gaussian", 4.0, 3000.0, 0.0))
    (solution,), (equations,) = surface.solutions, kriging_system(surface).equations
    assert 0.0 < solution.added_share <= 1e-8
    assert np.diag(equations.matrix_m2) - 4.0 == pytest.approx(np.full(60, 4.0 * solution.added_share), abs=2e-15)


def test_wells_that_no_way_joins_have_a_covariance_by_those_that_are_joined():
    """A ring around three of fifteen wells: the range stays between the shortest and twice the longest way."""
    x, y = np.append(X, [450_400.0, 450_450.0, 450_500.0]), np.append(Y, [5_300_900.0, 5_300_950.0, 5_300_980.0])
    z = np.append(Z, [240.0, 240.4, 240.1])
    west, south, east, north = 450_390.0, 5_300_890.0, 450_510.0, 5_300_990.0
    ring = Barriers([np.array([[west, south], [east, south], [east, north], [west, north], [west, south]])])
    found = fit_covariance(x, y, z, barriers=ring)
    ways = ring.distances(np.column_stack([x, y]), np.column_stack([x, y]))
    finite = ways[np.isfinite(ways) & (ways > 0)]
    assert np.isinf(ways).any()
    assert finite.min() <= found.range_m * (1 + 1e-9)
    assert found.range_m <= 2 * finite.max() * (1 + 1e-9)
    surface = kriging.fit(x, y, z, barriers=ring)
    assert surface.predict(x, y) == pytest.approx(z, abs=1e-6)
    assert surface.covariance.model in ("spherical", "exponential")
