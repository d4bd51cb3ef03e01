"""Each step of the search for outliers against a loop that follows its description."""

import math
from itertools import combinations

import numpy as np
import pytest

from gwnet.hydro.surfaces import kriging, outliers
from gwnet.hydro.surfaces.outliers import neighbour_test
from gwnet.hydro.surfaces.variogram import fit_covariance

#: From median absolute deviation to standard deviation: 1 over the normal quantile of 0.75.
MAD = 1 / 0.6744897501960817


def wells(count, seed, noise=0.01):
    random = np.random.default_rng(seed)
    x, y = 450_000 + random.uniform(0, 900, count), 5_300_000 + random.uniform(0, 500, count)
    return x, y, 80.0 - 0.002 * (x - 450_000) + 0.001 * (y - 5_300_000) + random.normal(0, noise, count)


def best_plane(x, y, z):
    """Return the plane through three wells whose median absolute residual is least (Rousseeuw, 1984)."""
    design = np.column_stack([np.ones(x.size), x - x.mean(), y - y.mean()])
    planes = []
    for corners in combinations(range(x.size), 3):
        own = design[list(corners)]
        if abs(np.linalg.det(own)) > 1e-3 * max(np.ptp(x), np.ptp(y)) ** 2:
            heads = design @ np.linalg.solve(own, z[list(corners)])
            planes.append((np.median(np.abs(z - heads)), heads))
    return min(planes, key=lambda plane: plane[0])[1]


def set_aside(x, y, z, half_width):
    """Return which wells are set aside at first, well by well."""
    residual = z - best_plane(x, y, z)
    off, contrasts = [], []
    for well in range(x.size):
        others = sorted(
            (math.hypot(x[well] - x[other], y[well] - y[other]), other) for other in range(x.size) if other != well
        )
        near = others[:6]
        away = np.median([distance for distance, _ in near])
        contrast = abs(residual[well] - np.median([residual[other] for _, other in near]))
        off.append(max(contrast - 3.0 * half_width[well], 0.0) / away)
        contrasts.append(contrast / away)
    return np.array(off) > 6.0 * MAD * np.median(contrasts), np.array(off)


@pytest.mark.parametrize(("count", "seed"), [(7, 1), (9, 2), (13, 3)])
def test_the_first_plane_has_the_least_median_residual(count, seed):
    x, y, z = wells(count, seed, 0.3)
    z[1] += 40.0
    assert outliers._robust_plane(x, y, z) == pytest.approx(best_plane(x, y, z), rel=1e-10)


@pytest.mark.parametrize(
    ("count", "seed", "noise", "errors"),
    [
        (12, 4, 0.01, {3: 0.4}),
        (12, 5, 0.01, {0: 5.0, 7: -5.0, 8: -5.0}),
        (9, 6, 0.01, {2: 0.2}),
        (7, 7, 0.01, {2: 3.0}),
        (15, 8, 0.01, {}),
        # here five or seven neighbours, or five or seven times what is usual, would set aside others
        (12, 609, 0.03, {3: 0.12, 8: -0.1}),
        (12, 468, 0.03, {3: 0.12, 8: -0.1}),
        # seven wells have six neighbours each
        (7, 100, 0.03, {3: 0.3}),
    ],
)
def test_wells_are_set_aside_at_first_by_their_contrast_to_six_neighbours(count, seed, noise, errors):
    x, y, z = wells(count, seed, noise)
    for well, error in errors.items():
        z[well] += error
    half_width = np.linspace(0.0, 0.03, count)
    aside, _ = set_aside(x, y, z, half_width)
    assert outliers._first_sound(x, y, z, half_width).tolist() == (~aside).tolist()


def test_at_least_half_of_the_wells_stay_at_first():
    """Seven of twelve wells lie off: the six that lie least off stay."""
    x, y, z = wells(12, 9, 0.0)
    z[[0, 2, 4, 6, 8, 10, 11]] += [3.0, -4.0, 5.0, -6.0, 7.0, -8.0, 9.0]
    half_width = np.full(12, 0.0)
    aside, off = set_aside(x, y, z, half_width)
    expected = ~aside
    if expected.sum() < 6:
        expected[np.argsort(off, kind="stable")[:6]] = True
    assert outliers._first_sound(x, y, z, half_width).tolist() == expected.tolist()


@pytest.mark.parametrize("count", [3, 6, 29])
def test_all_triples_of_few_wells_are_tried(count):
    assert outliers._triples(count).tolist() == [list(triple) for triple in combinations(range(count), 3)]


def test_of_many_wells_four_thousand_triples_are_tried_that_are_spread_evenly():
    """30 wells have 4,060 triples. Every well takes part about as often as any other, in every place."""
    triples = outliers._triples(30)
    assert 3500 < len(triples) <= 4000
    assert all(len(set(triple)) == 3 for triple in triples.tolist())
    for column in triples.T:
        counts = np.bincount(column, minlength=30)
        assert counts.min() > 0.9 * len(triples) / 30
        assert counts.max() < 1.1 * len(triples) / 30
    pairs = np.zeros((30, 30))
    np.add.at(pairs, (triples[:, 0], triples[:, 1]), 1)
    assert (pairs[~np.eye(30, dtype=bool)] > 0).all()


@pytest.mark.parametrize(
    ("seed", "noise", "errors", "is_scaled"), [(11, 0.05, {4: 9.0, 9: -6.0}, False), (31, 0.02, {2: 4.0}, True)]
)
def test_residuals_and_limits_are_those_of_the_sound_levels(seed, noise, errors, is_scaled):
    """Kriged anew from the levels that are no outliers: 4 s standard errors and 3 half-widths, whichever is more."""
    x, y, z = wells(18, seed, noise)
    for well, error in errors.items():
        z[well] += error
    half_width = np.where(np.arange(18) == 6, 1.5, 0.004 if is_scaled else 0.2)
    found = neighbour_test(x, y, z, half_width)
    assert np.flatnonzero(found.outlier).tolist() == sorted(errors)
    sound = ~found.outlier
    variance = (half_width / 1.959963984540054) ** 2
    covariance = fit_covariance(
        x[sound], y[sound], z[sound], measurement_variance_m2=variance[sound], models=("exponential",), nugget=True
    )
    surface = kriging.fit(x[sound], y[sound], z[sound], covariance=covariance, measurement_variance_m2=variance[sound])
    left_out = surface.leave_one_out()
    residual, error = np.empty(18), np.empty(18)
    residual[sound], error[sound] = left_out.residual_m, left_out.standard_error_m
    for well in errors:
        residual[well] = z[well] - float(surface.predict(x[well], y[well]))
        error[well] = math.hypot(float(surface.standard_error(x[well], y[well])), math.sqrt(variance[well]))
    scale = MAD * np.median(np.abs(left_out.residual_m / left_out.standard_error_m))
    assert (scale > 1.0) == is_scaled
    assert found.residual_m == pytest.approx(residual, rel=1e-6, abs=1e-9)
    assert found.limit_m == pytest.approx(np.maximum(4.0 * max(scale, 1.0) * error, 3.0 * half_width), rel=1e-6)
    assert found.limit_m[6] == pytest.approx(4.5)


def test_the_covariance_is_fitted_anew_to_the_wells_that_come_back():
    """Five of 26 wells stand 2 m lower within 200 m: set aside at first, and sound in the end."""
    random = np.random.default_rng(1064)
    count = int(random.integers(9, 30))
    x, y = random.uniform(0, 1000, (2, count))
    z = 40 - 0.002 * x + random.normal(0, 0.01, count) - np.where(np.hypot(x - 500, y - 500) < 200, 2.0, 0.0)
    found = neighbour_test(x, y, z, 0.02)
    assert not outliers._first_sound(x, y, z, np.full(count, 0.02)).all()
    assert not found.outlier.any()
    noise = (0.02 / 1.959963984540054) ** 2
    covariance = fit_covariance(x, y, z, measurement_variance_m2=noise, models=("exponential",), nugget=True)
    left_out = kriging.fit(x, y, z, covariance=covariance, measurement_variance_m2=noise).leave_one_out()
    assert found.residual_m == pytest.approx(left_out.residual_m, rel=1e-6, abs=1e-9)


def test_six_wells_are_searched_and_five_are_not():
    x, y, z = wells(6, 12)
    assert np.isfinite(neighbour_test(x, y, z, 0.02).limit_m).all()
    five = neighbour_test(x[:5], y[:5], z[:5], 0.02)
    assert np.isnan(five.limit_m).all()
    assert five.outlier.tolist() == [False] * 5


def test_levels_without_a_half_width_count_as_exact():
    x, y, z = wells(10, 13, 0.05)
    half_width = np.where(np.arange(10) == 3, np.nan, 0.02)
    known = np.where(np.arange(10) == 3, 0.0, 0.02)
    assert neighbour_test(x, y, z, half_width).limit_m.tolist() == neighbour_test(x, y, z, known).limit_m.tolist()
