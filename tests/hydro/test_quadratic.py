"""Quadratic trend surfaces against statsmodels, numpy and refits; constructed numbers."""

import numpy as np
import pytest

from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.surfaces import quadratic

EAST, NORTH = 371_000.0, 6_051_000.0


def wells(count=30, seed=5):
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 1000, (2, count))
    return x + EAST, y + NORTH, 50.0 - 0.003 * x + 2e-6 * x * y + random.normal(0.0, 0.2, count)


def terms(x, y):
    x, y = x - EAST - 500.0, y - NORTH - 500.0
    return np.column_stack([np.ones_like(x), x, y, x**2, x * y, y**2])


def test_the_same_surface_as_numpy_s_least_squares():
    x, y, z = wells()
    surface = quadratic.fit(x, y, z)
    values, square_sum, *_ = np.linalg.lstsq(terms(x, y), z, rcond=None)
    assert surface.expand(EAST + 500.0, NORTH + 500.0) == pytest.approx(values, rel=1e-9, abs=1e-15)
    assert surface.residual_sd_m == pytest.approx(np.sqrt(square_sum[0] / 24), rel=1e-10)
    assert surface.predict(x + 20.0, y) == pytest.approx(terms(x + 20.0, y) @ values, abs=1e-9)


@pytest.mark.parametrize("count", [7, 12, 40])
def test_the_same_prediction_limits_as_statsmodels(count):
    """statsmodels (BSD licence): OLS, limits of a new observation."""
    api = pytest.importorskip("statsmodels.api")
    x, y, z = wells(count)
    places = x[:5] + 13.0, y[:5] - 7.0
    surface = quadratic.fit(x, y, z)
    other = api.OLS(z, terms(x, y)).fit()
    table = other.get_prediction(terms(*places)).summary_frame(alpha=0.05)
    heads, width = surface.predict(*places), 1.959963984540054 * surface.standard_error(*places)
    assert heads == pytest.approx(table["mean"].to_numpy(), abs=1e-9)
    assert heads - width == pytest.approx(table["obs_ci_lower"].to_numpy(), abs=1e-7)
    assert heads + width == pytest.approx(table["obs_ci_upper"].to_numpy(), abs=1e-7)
    assert surface.r_squared == pytest.approx(other.rsquared, abs=1e-9)
    assert surface.degrees_of_freedom == other.df_resid


@pytest.mark.parametrize("count", [8, 15])
def test_leave_one_out_equals_refitting(count):
    x, y, z = wells(count)
    found = quadratic.fit(x, y, z).leave_one_out()
    for position in range(count):
        rest = np.arange(count) != position
        other = float(quadratic.fit(x[rest], y[rest], z[rest]).predict(x[position], y[position]))
        assert found.residual_m[position] == pytest.approx(z[position] - other, abs=1e-8)
    assert np.all(found.standard_error_m > 0.0)


def test_a_well_that_alone_stands_off_a_circle_cannot_be_left_out():
    turn = np.radians(np.arange(0, 360, 45))
    x, y = np.append(100.0 * np.cos(turn), 10.0), np.append(100.0 * np.sin(turn), 5.0)
    left_out = quadratic.fit(x, y, 10.0 + 0.01 * x + np.sin(x)).leave_one_out()
    assert np.isnan(left_out.residual_m).tolist() == [False] * 8 + [True]
    assert np.isnan(left_out.standard_error_m).tolist() == [False] * 8 + [True]


def test_prediction_limits_hold_the_heads():
    """3,000 heads of 300 fields with independent departures: 95 % within four standard errors of a share."""
    random, held = np.random.default_rng(2), 0
    for _ in range(300):
        x, y = random.uniform(0, 1, (2, 20))
        z = 1.0 + x - 2.0 * x * y + random.normal(size=20)
        surface = quadratic.fit(x[:10], y[:10], z[:10])
        width = 1.959963984540054 * surface.standard_error(x[10:], y[10:])
        held += np.count_nonzero(np.abs(z[10:] - surface.predict(x[10:], y[10:])) <= width)
    assert 0.925 < held / 3000 < 0.975


def test_nothing_is_known_beyond_control():
    x, y, z = wells()
    heads = quadratic.fit(x, y, z).predict([EAST + 500.0, EAST - 500.0], [NORTH + 500.0, NORTH], inside_control=True)
    assert np.isnan(heads).tolist() == [False, True]


def test_even_heads_leave_nothing_to_explain():
    x, y, _ = wells(9)
    surface = quadratic.fit(x, y, np.full(9, 20.0))
    assert surface.predict(x, y) == pytest.approx(np.full(9, 20.0))
    assert np.isnan(surface.r_squared)


def test_six_wells_are_too_few():
    x, y, z = wells(6)
    with pytest.raises(TooFewLevelsError, match="needs at least 7 wells; 6 can be used: A, B, C, D, E, F"):
        quadratic.fit(x, y, z, names=list("ABCDEF"))


@pytest.mark.parametrize("shape", ["circle", "two lines"])
def test_wells_on_one_curve_of_the_second_degree(shape):
    turn = np.linspace(0.0, 5.5, 12)
    x, y = (EAST + 300.0 * np.cos(turn), NORTH + 200.0 * np.sin(turn))
    if shape == "two lines":
        x, y = EAST + 100.0 * np.arange(12.0), NORTH + 250.0 * (np.arange(12) % 2)
    with pytest.raises(AnalysisError, match="12 wells lie on one curve of the second degree"):
        quadratic.fit(x, y, np.sin(x))
