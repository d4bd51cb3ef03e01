"""How covariances get their shares: likelihoods, priors, refinement and choice, each against plain formulas; constructed."""

import math

import numpy as np
import pytest

from gwnet.hydro.surfaces import covariance_mixture as mixtures
from gwnet.hydro.surfaces.covariance_mixture import fit_mixture
from gwnet.hydro.surfaces.variogram import Covariance, fit_covariance, sample_of


def field(count, covariance, seed=5, noise=0.0):
    """Return wells on 1000 m and heads drawn from a covariance about a plane, measured with an error."""
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 1000, (2, count))
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    root = np.linalg.cholesky(covariance.at(distance) + covariance.nugget_m2 * np.eye(count))
    heads = 20 + 0.002 * x - 0.001 * y + root @ random.normal(size=count)
    return x, y, heads + random.normal(0.0, noise, count)


def terms_of(sample, matrix):
    """Return the restricted log likelihood of a matrix without its quadratic form, and that form, written out."""
    inverse = np.linalg.inv(matrix)
    inner = sample.columns.T @ inverse @ sample.columns
    about = inverse - inverse @ sample.columns @ np.linalg.inv(inner) @ sample.columns.T @ inverse
    size = 0.5 * (np.linalg.slogdet(matrix)[1] + np.linalg.slogdet(inner)[1])
    return size, float(sample.heads @ about @ sample.heads)


@pytest.mark.parametrize(("model", "nugget", "prior"), [("exponential", 0.0, 2 / 3), ("spherical", 0.25, 1 / 3)])
def test_a_row_holds_six_ranges_with_their_likelihood_and_share(model, nugget, prior):
    """Ranges evenly by their logarithm from 0.06 to 3 longest distances; the scale is integrated out (Handcock and Stein).

    The likelihood without a scale is |K|^(-1/2) |X'K⁻¹X|^(-1/2) q^(-(n - p)/2); only differences of it count.
    """
    sample = sample_of(*field(10, Covariance("exponential", 1.0, 500.0)))
    row = mixtures._Row(sample, model, nugget, prior)
    assert np.exp(row.log_range) == pytest.approx(np.geomspace(0.06, 3.0, 6), rel=1e-12)
    expected = []
    for share, covariance in zip(np.geomspace(0.06, 3.0, 6), row.covariances, strict=True):
        reach = share * sample.longest_m
        unit = (1 - nugget) * Covariance(model, 1.0, reach).at(sample.distance_m) + nugget * np.eye(10)
        size, quadratic = terms_of(sample, unit)
        expected.append(-size - 3.5 * math.log(quadratic))
        assert (covariance.model, covariance.range_m) == (model, pytest.approx(reach, rel=1e-12))
        assert covariance.sill_m2 == pytest.approx(quadratic / 7, rel=1e-6)
        assert covariance.nugget_m2 == pytest.approx(nugget * quadratic / 7, rel=1e-6, abs=1e-15)
    assert np.diff(row.likelihood) == pytest.approx(np.diff(expected), abs=1e-6)
    # each range speaks for half the way to its neighbours, the outermost for half a way alone
    step = math.log(50.0) / 5
    widths = np.array([step / 2, step, step, step, step, step / 2])
    shares = row.likelihood + 0.5 * np.log(np.geomspace(0.06, 3.0, 6)) + np.log(widths) + math.log(prior)
    assert row.log_shares() == pytest.approx(shares, rel=1e-12)


def test_with_measurement_error_the_share_of_error_in_the_sill_is_kept():
    """The sill is that at which the weighted squares are the degrees of freedom, to a hundredth."""
    noise = 0.15
    sample = sample_of(
        *field(14, Covariance("exponential", 1.0, 500.0), noise=noise), measurement_variance_m2=np.full(14, noise**2)
    )
    row = mixtures._Row(sample, "exponential", 0.0, 1.0)
    expected = []
    for covariance in row.covariances:
        matrix = covariance.at(sample.distance_m) + noise**2 * np.eye(14)
        size, quadratic = terms_of(sample, matrix)
        assert quadratic == pytest.approx(11.0, rel=0.01)
        expected.append(-size - 5.5 * math.log(quadratic))
    assert np.diff(row.likelihood) == pytest.approx(np.diff(expected), abs=1e-6)


def test_a_sill_does_not_fall_below_the_measurement_variance():
    """Heads nearly on a plane, measured badly: the scale is known, and the likelihood is the plain one."""
    sample = sample_of(*field(14, Covariance("exponential", 1e-4, 500.0)), measurement_variance_m2=np.full(14, 0.04))
    row = mixtures._Row(sample, "exponential", 0.0, 1.0)
    expected = []
    for covariance in row.covariances:
        assert covariance.sill_m2 == pytest.approx(0.04, rel=1e-12)
        size, quadratic = terms_of(sample, covariance.at(sample.distance_m) + 0.04 * np.eye(14))
        assert quadratic < 10.0
        expected.append(-size - 0.5 * quadratic)
    assert np.diff(row.likelihood) == pytest.approx(np.diff(expected), abs=1e-6)


@pytest.mark.parametrize(("quadratic", "is_known"), [(9.7, True), (9.81, False), (10.0, False), (12.0, False)])
def test_the_quadratic_form_with_a_free_and_with_a_known_scale(quadratic, is_known):
    """Both agree, value and slope, where the form is the degrees of freedom: 10."""
    plain = 0.5 * (10 * math.log(10) + quadratic - 10)
    assert mixtures._half_of(quadratic, 10) == pytest.approx(plain if is_known else 5 * math.log(quadratic), rel=1e-14)


def row_with(likelihood, log_range):
    """Return a row with likelihoods as given, which gives further ranges the likelihood 0."""
    sample = sample_of(*field(8, Covariance("exponential", 1.0, 500.0)))
    row = mixtures._Row(sample, "exponential", 0.0, 1.0)
    row.likelihood, row.log_range = np.array(likelihood, dtype=float), np.array(log_range, dtype=float)
    row.covariances = [Covariance("exponential", 1.0, math.exp(at)) for at in log_range]
    row._fit = lambda at: (Covariance("exponential", 1.0, math.exp(at)), 0.0)
    return row


@pytest.mark.parametrize(
    ("likelihood", "log_range", "best", "added"),
    [
        # steep by more than 1.5 and one of both within 5 of the best
        ([0.0, -1.4, -2.8], [0.0, 1.0, 2.0], 0.0, [0.5]),
        ([0.0, -0.4, -0.8], [0.0, 1.0, 2.0], 0.0, []),
        ([0.0, -0.6, -1.2], [0.0, 1.0, 2.0], 0.0, [0.5]),
        ([0.0, -0.4, -2.0], [0.0, 1.0, 2.0], 0.0, [1.5]),
        ([0.0, -0.4, -1.8], [0.0, 1.0, 2.0], 0.0, []),
        ([-0.3, 0.0, -0.6, -0.7], [0.0, 1.0, 2.0, 4.0], 0.0, [0.5, 1.5]),
        ([-0.3, 0.0, -0.45, -0.7], [0.0, 1.0, 2.0, 4.0], 0.0, []),
        ([-0.7, -0.6, 0.0], [0.0, 1.0, 2.0], 0.0, [1.5]),
        # far below the best of all rows nothing is worth it
        ([0.0, -3.0, -9.0], [0.0, 1.0, 2.0], 4.9, [0.5]),
        ([0.0, -3.0, -9.0], [0.0, 1.0, 2.0], 5.0, []),
        ([0.0, -3.0, -9.0], [0.0, 1.0, 2.0], 1.9, [0.5, 1.5]),
        # ranges within 2 % are near enough
        ([0.0, -3.0], [0.0, 0.019], 0.0, []),
        ([0.0, -3.0], [0.0, 0.021], 0.0, [0.0105]),
        # what cannot be factored has no likelihood
        ([0.0, -math.inf, -math.inf], [0.0, 1.0, 2.0], 0.0, [0.5]),
    ],
)
def test_ranges_are_added_where_the_likelihood_is_steep_or_peaked_near_the_best(likelihood, log_range, best, added):
    row = row_with(likelihood, log_range)
    assert row.refine(best) is bool(added)
    ranges = sorted([*log_range, *added])
    assert row.log_range.tolist() == pytest.approx(ranges)
    assert [math.log(covariance.range_m) for covariance in row.covariances] == pytest.approx(ranges, abs=1e-12)
    known = dict(zip(log_range, likelihood, strict=True))
    assert row.likelihood.tolist() == [known.get(at, 0.0) for at in ranges]


@pytest.mark.parametrize(("count", "most"), [(9, 12), (60, 8)])
def test_of_all_covariances_some_are_kept_evenly_over_their_shares(count, most):
    x, y, z = field(count, Covariance("exponential", 1.0, 500.0))
    rows = mixtures._rows_of(sample_of(x, y, z), around=False)
    assert [(row.model, row.nugget, row.prior) for row in rows] == [
        (model, nugget, prior)
        for model in ("spherical", "exponential", "matern")
        for nugget, prior in ((0.0, 2 / 3), (0.25, 1 / 3))
    ]
    weights = [
        (math.exp(share - max(other.log_shares().max() for other in rows)), covariance)
        for row in rows
        for share, covariance in zip(row.log_shares(), row.covariances, strict=True)
    ]
    total = sum(weight for weight, _ in weights)
    expected = {}
    for number in range(most):
        summed, rest = 0.0, iter(weights)
        while summed < (number + 0.5) / most:
            weight, covariance = next(rest)
            summed += weight / total
        expected[covariance] = expected.get(covariance, 0) + 1
    found = fit_mixture(x, y, z)
    assert found.covariances == tuple(expected)
    assert found.shares == pytest.approx([times / most for times in expected.values()], rel=1e-12)
    assert found.degrees_of_freedom == count - 3


def test_around_barriers_only_two_models_have_rows():
    rows = mixtures._rows_of(sample_of(*field(8, Covariance("exponential", 1.0, 500.0))), around=True)
    assert [row.model for row in rows] == ["spherical", "spherical", "exponential", "exponential"]


@pytest.mark.parametrize(
    ("count", "options", "degrees"),
    [
        (3, {}, 0.0),
        (2, {"drift": "none", "measurement_variance_m2": 99.0}, 1.0),
        (12, {"measurement_variance_m2": 9.0}, 9.0),
        (12, {"drift": "none", "measurement_variance_m2": 9.0}, 11.0),
    ],
)
def test_levels_that_say_nothing_of_the_covariance_get_the_one_of_a_fit(count, options, degrees):
    x, y, z = field(count, Covariance("exponential", 1.0, 500.0))
    found = fit_mixture(x, y, z, **options)
    assert found.covariances == (fit_covariance(x, y, z, **options),)
    assert (found.shares, found.degrees_of_freedom) == ((1.0,), degrees)
