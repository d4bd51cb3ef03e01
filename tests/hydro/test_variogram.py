"""Covariance models and their fit; constructed numbers."""

import numpy as np
import pytest
from scipy.special import gamma, kv

from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.surfaces.variogram import (
    MODELS,
    Covariance,
    Sample,
    drift_columns,
    fit_covariance,
    restricted_terms,
    sample_of,
    variogram_of,
)


def test_the_linear_model_rises_without_end():
    covariance = Covariance("linear", 4.0, 100.0, 1.0)
    assert covariance.sill_m2 - covariance.at(np.array([50.0, 100.0, 300.0])) == pytest.approx([3.0, 5.0, 13.0])


@pytest.mark.parametrize("model", [model for model in MODELS if model != "linear"])
def test_models_fall_from_the_partial_sill(model):
    covariance = Covariance(model, 4.0, 100.0, 1.0)
    at = covariance.at(np.linspace(0.0, 300.0, 61))
    assert at[0] == 4.0
    assert np.all(np.diff(at) <= 0.0)
    assert covariance.sill_m2 == 5.0


@pytest.mark.parametrize("model", ["exponential", "gaussian", "matern"])
def test_practical_range(model):
    assert float(Covariance(model, 1.0, 80.0).at(np.array(80.0))) == pytest.approx(0.05, abs=3e-4)


def test_spherical_by_hand():
    """Half the range: 1.5 · 0.5 − 0.5 · 0.125 = 0.6875 of the partial sill."""
    covariance = Covariance("spherical", 16.0, 100.0, 2.0)
    assert covariance.at(np.array([0.0, 50.0, 100.0, 500.0])).tolist() == [16.0, 5.0, 0.0, 0.0]


def test_matern_is_the_general_form_of_order_three_halves():
    """Matérn (1960) covariance written with the Bessel function of scipy."""
    reach = 100.0
    t = 4.743864518 * np.array([10.0, 50.0, 120.0]) / reach
    general = 2.0 ** (1.0 - 1.5) / gamma(1.5) * t**1.5 * kv(1.5, t)
    assert Covariance("matern", 1.0, reach).at(np.array([10.0, 50.0, 120.0])) == pytest.approx(general, rel=1e-12)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("cubic", 1.0, 1.0), "Unknown covariance model 'cubic'"),
        (("spherical", 0.0, 1.0), "positive partial sill and range"),
        (("spherical", 1.0, -1.0), "positive partial sill and range"),
        (("spherical", 1.0, 1.0, -0.1), "nugget of at least 0"),
        (("spherical", np.nan, 1.0), "positive partial sill"),
    ],
)
def test_what_is_no_covariance_is_refused(arguments, words):
    with pytest.raises(SettingsError, match=words):
        Covariance(*arguments)


def test_unknown_drift():
    with pytest.raises(SettingsError, match="Unknown drift 'quadratic'"):
        drift_columns(np.zeros(3), np.zeros(3), "quadratic")


def heads(covariance, count=120, seed=5):
    """Return wells and heads drawn from a covariance about a plane."""
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 5000, (2, count))
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    lower = np.linalg.cholesky(covariance.at(distance) + covariance.nugget_m2 * np.eye(count))
    return x, y, 50.0 - 0.001 * x + 0.0005 * y + lower @ random.standard_normal(count)


def test_fit_finds_what_heads_were_drawn_from():
    true = Covariance("exponential", 0.25, 1500.0)
    found = fit_covariance(*heads(true), models=["exponential"])
    assert found.partial_sill_m2 == pytest.approx(0.25, rel=0.5)
    assert found.range_m == pytest.approx(1500.0, rel=0.5)
    assert found.nugget_m2 == 0.0


def test_fit_of_a_nugget():
    true = Covariance("spherical", 1.0, 2500.0, 0.25)
    found = fit_covariance(*heads(true, 100), models=["spherical"], nugget=True)
    assert found.nugget_m2 == pytest.approx(0.25, rel=0.5)
    assert found.range_m == pytest.approx(2500.0, rel=0.5)


def test_fit_is_the_largest_likelihood_of_a_fine_lattice():
    """The simplex may not end below any point of a lattice over range and sill; likelihood written out plainly."""
    x, y, z = heads(Covariance("exponential", 0.25, 1500.0), 40)
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    columns = np.column_stack([np.ones(40), x / 5000, y / 5000])

    def likelihood(covariance):
        inverse = np.linalg.inv(covariance.at(distance))
        inner = columns.T @ inverse @ columns
        weight = inverse - inverse @ columns @ np.linalg.inv(inner) @ columns.T @ inverse
        size = np.linalg.slogdet(covariance.at(distance))[1]
        return -0.5 * (size + np.linalg.slogdet(inner)[1] + z @ weight @ z)

    found = likelihood(fit_covariance(x, y, z, models=["exponential"]))
    lattice = [
        likelihood(Covariance("exponential", sill, reach))
        for sill in np.geomspace(0.02, 2.0, 15)
        for reach in np.geomspace(200, 8000, 15)
    ]
    assert found >= max(lattice) - 1e-3


def test_fit_picks_the_model_of_largest_likelihood():
    found = fit_covariance(*heads(Covariance("matern", 1.0, 3000.0)))
    assert found.model == "matern"


def test_fit_is_the_same_again():
    values = heads(Covariance("spherical", 0.5, 2000.0), 40)
    assert fit_covariance(*values) == fit_covariance(*values)


def test_fit_does_not_hang_on_where_the_origin_is():
    x, y, z = heads(Covariance("spherical", 0.5, 2000.0), 40)
    here, there = fit_covariance(x, y, z), fit_covariance(x + 500_000, y + 5_300_000, z)
    assert there.model == here.model
    assert there.range_m == pytest.approx(here.range_m, rel=1e-3)
    assert there.partial_sill_m2 == pytest.approx(here.partial_sill_m2, rel=1e-3)


def test_measurement_variance_is_not_taken_for_roughness():
    """Heads whose scatter about a plane is what their measurement explains need no more than a small sill."""
    random = np.random.default_rng(3)
    x, y = random.uniform(0, 1000, (2, 60))
    z = 10.0 + 0.001 * x + random.normal(0.0, 0.1, 60)
    found = fit_covariance(x, y, z, measurement_variance_m2=0.01)
    assert found.partial_sill_m2 <= 0.01


def test_few_wells_follow_the_rule():
    """Five wells: the longest distance as range, the variance about the plane as sill."""
    x, y = np.array([0.0, 300, 0, 300, 150]), np.array([0.0, 0, 400, 400, 200])
    z = np.array([0.0, 0, 0, 0, 1.0])
    found = fit_covariance(x, y, z)
    assert (found.model, found.range_m) == ("spherical", 500.0)
    assert found.partial_sill_m2 == pytest.approx(0.8 / 2.0)


def test_heads_on_a_plane_get_a_small_sill():
    x, y = np.random.default_rng(1).uniform(0, 1000, (2, 20))
    assert fit_covariance(x, y, 5.0 + 0.01 * x).partial_sill_m2 < 1e-6


def test_many_wells_are_thinned():
    x, y = np.random.default_rng(2).uniform(0, 1000, (2, 700))
    found = fit_covariance(x, y, np.sin(x / 200.0) + np.cos(y / 150.0), models=["matern"])
    assert 50.0 < found.range_m <= 2.0 * np.hypot(1000, 1000)


def test_too_few_wells_for_the_drift():
    with pytest.raises(AnalysisError, match="2 wells are too few for a linear drift"):
        fit_covariance([0, 1], [0, 1], [0, 1])


def test_no_model_named():
    with pytest.raises(SettingsError, match="No covariance model"):
        fit_covariance([0, 1, 2, 3], [0, 1, 4, 9], [0, 1, 0, 1], models=[])


@pytest.mark.parametrize(
    ("text", "unit_m", "expected"),
    [
        ("spherical,4.5,3000,0.5", 1.0, ("spherical", 4.0, 3000.0, 0.5)),
        (" Exponential , 2 , 100 ", 1.0, ("exponential", 2.0, 100.0, 0.0)),
        ("gaussian,10,1000,2", 0.3048, ("gaussian", 8.0 * 0.3048**2, 304.8, 2.0 * 0.3048**2)),
    ],
)
def test_a_variogram_in_words(text, unit_m, expected):
    found = variogram_of(text, unit_m=unit_m)
    told = (found.model, found.partial_sill_m2, found.range_m, found.nugget_m2)
    assert told == (expected[0], *(pytest.approx(value) for value in expected[1:]))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("spherical", "a model, a sill, a range and a nugget"),
        ("spherical,a,b,c", "are numbers, not a, b, c"),
        ("spherical,1,100,1", "holds its nugget, 1, and must be greater"),
        ("spherical,nan,100,0", "must be greater"),
        ("round,4,100,1", "Unknown covariance model 'round'"),
        ("spherical,4,-100,1", "positive partial sill and range"),
    ],
)
def test_what_is_no_variogram_is_refused(text, told):
    with pytest.raises(SettingsError, match=told):
        variogram_of(text)


def test_limits_of_what_a_covariance_is():
    assert Covariance("spherical", 1e-9, 1e-9, 0.0).sill_m2 == 1e-9
    with pytest.raises(SettingsError) as raised:
        Covariance("spherical", 2.0, 0.0, 1.0)
    expected = "A covariance needs a positive partial sill and range and a nugget of at least 0, not 2, 0 and 1."
    assert raised.value.message == expected
    assert variogram_of("spherical,1.5,100,1").partial_sill_m2 == 0.5
    for text in ("spherical,1", "spherical,1,100,0,0", "spherical,1,inf,0", "spherical,inf,1,0", "spherical,1,1,-inf"):
        with pytest.raises(SettingsError) as raised:
            variogram_of(text)
        assert raised.value.fix == "Write MODEL,SILL,RANGE,NUGGET, for example spherical,4.5,3000,0.5."


def test_covariances_keep_the_shape_of_distances():
    covariance = Covariance("exponential", 3.0, 50.0, 1.0)
    assert covariance.at(np.array(25.0)) == pytest.approx(3.0 * np.exp(-1.5), rel=1e-14)
    assert covariance.at(np.full((2, 3), 25.0)).shape == (2, 3)
    assert Covariance("linear", 0.5, 50.0, 1.0).sill_m2 == 11.0


def test_drift_columns():
    x, y = np.array([1.0, 2.0]), np.array([3.0, 5.0])
    assert drift_columns(x, y, "none").tolist() == [[1.0], [1.0]]
    assert drift_columns(x, y, "linear").tolist() == [[1.0, 1.0, 3.0], [1.0, 2.0, 5.0]]


def test_a_covariance_is_fitted_from_eight_wells_on():
    """Seven follow the rule: the longest distance and the variance about the plane, with 4 degrees of freedom."""
    x, y, z = heads(Covariance("exponential", 0.25, 1500.0), 8)
    design = np.column_stack([np.ones(7), x[:7], y[:7]])
    residual = z[:7] - design @ np.linalg.lstsq(design, z[:7], rcond=None)[0]
    seven = fit_covariance(x[:7], y[:7], z[:7], models=("matern", "spherical"))
    longest = max(np.hypot(a - c, b - d) for a, b in zip(x[:7], y[:7]) for c, d in zip(x[:7], y[:7]))  # noqa: B905
    assert (seven.model, seven.range_m) == ("matern", pytest.approx(longest, rel=1e-12))
    assert seven.partial_sill_m2 == pytest.approx(residual @ residual / 4, rel=1e-6)
    assert fit_covariance(x, y, z, models=("spherical",)).range_m != pytest.approx(
        max(np.hypot(a - c, b - d) for a, b in zip(x, y) for c, d in zip(x, y)),  # noqa: B905
        rel=1e-3,
    )


@pytest.mark.parametrize(("count", "noise"), [(7, 4.0), (20, 4.0)])
def test_heads_that_scatter_less_than_they_are_measured_get_the_error_as_sill(count, noise):
    x, y, z = heads(Covariance("exponential", 0.25, 1500.0), count)
    found = fit_covariance(x, y, z, measurement_variance_m2=noise, models=("exponential", "matern"))
    assert (found.model, found.partial_sill_m2, found.nugget_m2) == ("exponential", 4.0, 0.0)
    assert found.range_m == pytest.approx(sample_of(x, y, z).longest_m)


def test_the_range_is_kept_between_the_shortest_distance_and_twice_the_longest():
    """Heads that alternate from well to well, and heads on a bowl."""
    x, y = (values.ravel() * 100.0 for values in np.meshgrid(np.arange(5.0), np.arange(4.0)))
    rough = np.where((x + y) / 100.0 % 2, 1.0, -1.0)
    bowl = 1e-5 * ((x - 200.0) ** 2 + (y - 150.0) ** 2)
    assert fit_covariance(x, y, rough, models=("exponential",)).range_m == pytest.approx(100.0, rel=1e-9)
    assert fit_covariance(x, y, bowl, models=("exponential",)).range_m == pytest.approx(1000.0, rel=1e-9)


def test_what_a_fit_takes_from_the_heads():
    x, y, z = heads(Covariance("exponential", 0.25, 1500.0), 9)
    noise = np.array([1.0, 9.0, 2.0, 8.0, 3.0, 7.0, 4.0, 6.0, 5.5])
    sample = sample_of(x, y, z, measurement_variance_m2=noise)
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    assert sample.distance_m == pytest.approx(distance, rel=1e-12)
    assert (sample.longest_m, sample.free) == (pytest.approx(distance.max(), rel=1e-12), 6)
    scaled = np.column_stack([np.ones(9), (x - x.mean()) / distance.max(), (y - y.mean()) / distance.max()])
    assert sample.columns == pytest.approx(scaled, abs=1e-12)
    assert (sample.heads.tolist(), sample.noise.tolist()) == (z.tolist(), noise.tolist())
    residual = z - scaled @ np.linalg.lstsq(scaled, z, rcond=None)[0]
    assert sample.spread_m2 == pytest.approx(residual @ residual / 6, rel=1e-9)
    assert sample_of(x, y, z, drift="none").spread_m2 == pytest.approx(z.var(ddof=1), rel=1e-12)
    assert (sample.floor_m2, sample_of(x, y, z).floor_m2) == (5.5, pytest.approx(1e-12 * np.ptp(z) ** 2, rel=1e-9))
    assert sample_of(x, y, np.full(9, 7.0)).floor_m2 == 1e-12
    three = Sample(np.zeros((3, 3)), 1.0, np.eye(3), np.array([1.0, 2.0, 4.0]), np.zeros(3))
    assert (three.free, three.spread_m2) == (0, pytest.approx(0.0, abs=1e-20))
    assert sample_of([0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 2.0, 3.0]).free == 0


def test_of_more_than_two_hundred_wells_two_hundred_are_taken_evenly_in_order_of_easting():
    random = np.random.default_rng(6)
    x, y = np.floor(random.uniform(0, 90, 403)), random.uniform(0, 1000, 403)
    z, noise = random.normal(size=403), random.uniform(1, 2, 403)
    order = sorted(range(403), key=lambda well: (x[well], y[well]))
    kept = sorted(order[int(place * 402 / 199)] for place in range(200))
    sample = sample_of(x, y, z, measurement_variance_m2=noise)
    assert (sample.heads.tolist(), sample.noise.tolist()) == (z[kept].tolist(), noise[kept].tolist())
    assert sample_of(x[:200], y[:200], z[:200]).heads.tolist() == z[:200].tolist()
    assert sample_of(x[:201], y[:201], z[:201]).heads.size == 200


def test_the_terms_of_the_restricted_likelihood():
    """Patterson and Thompson (1971), written out with inverses and determinants."""
    x, y, z = heads(Covariance("exponential", 0.25, 1500.0), 11)
    sample = sample_of(x, y, z)
    matrix = Covariance("exponential", 0.25, 1500.0).at(sample.distance_m) + 0.02 * np.eye(11)
    inverse = np.linalg.inv(matrix)
    inner = sample.columns.T @ inverse @ sample.columns
    about = inverse - inverse @ sample.columns @ np.linalg.inv(inner) @ sample.columns.T @ inverse
    size, quadratic, weights = restricted_terms(matrix.copy(), sample.columns, z)
    assert size == pytest.approx(0.5 * (np.linalg.slogdet(matrix)[1] + np.linalg.slogdet(inner)[1]), rel=1e-10)
    assert quadratic == pytest.approx(z @ about @ z, rel=1e-8)
    assert weights == pytest.approx(about @ z, rel=1e-8, abs=1e-9)
    size, quadratic, weights = restricted_terms(-matrix, sample.columns, z)
    assert (size, quadratic) == (np.inf, np.inf)
    assert np.isnan(weights).all()


def test_a_nugget_and_a_sill_with_measurement_error_are_the_most_likely_of_a_lattice():
    x, y, z = heads(Covariance("exponential", 1.0, 2500.0, 0.25), 20)
    sample = sample_of(x, y, z)

    def likelihood(covariance, noise):
        matrix = covariance.at(sample.distance_m) + (covariance.nugget_m2 + noise) * np.eye(20)
        size, quadratic, _ = restricted_terms(matrix, sample.columns, z)
        return -size - 0.5 * quadratic

    ranges, sills = np.geomspace(300.0, 12_000.0, 7), np.geomspace(0.1, 6.0, 6)
    with_nugget = fit_covariance(x, y, z, models=["exponential"], nugget=True)
    best = max(
        likelihood(Covariance("exponential", sill, reach, share * sill), 0.0)
        for reach in ranges
        for sill in sills
        for share in (0.01, 0.2, 1.0)
    )
    assert likelihood(with_nugget, 0.0) >= best - 1e-3
    measured = fit_covariance(x, y, z, models=["exponential"], measurement_variance_m2=0.2)
    best = max(likelihood(Covariance("exponential", sill, reach), 0.2) for reach in ranges for sill in sills)
    assert likelihood(measured, 0.2) >= best - 1e-3
    models = ("spherical", "exponential", "matern")
    each = [fit_covariance(x, y, z, models=[model], measurement_variance_m2=0.2) for model in models]
    chosen = max(each, key=lambda covariance: likelihood(covariance, 0.2))
    assert fit_covariance(x, y, z, measurement_variance_m2=0.2) == chosen
