"""Functions of flow to wells against their integrals, transformed back, and properties that hold exactly."""

import math

import numpy as np
import pytest
from scipy import integrate, special

from gwnet.hydro.pumping.delayed_yield import boulton, neuman
from gwnet.hydro.pumping.storage import slug_recovery, wellbore_storage
from gwnet.hydro.pumping.well_functions import invert_laplace, leaky, scaled_bessel_k, theis


def leaky_integral(u, ratio):
    """Return W(u, r/B) by quadrature of its definition: Hantush and Jacob (1955)."""

    def integrand(x):
        return math.exp(-math.exp(x) - 0.25 * ratio**2 * math.exp(-x))

    start, end = math.log(u), math.log(max(u, 1.0)) + 5.0
    middle = min(max(math.log(max(ratio, 1e-12) / 2.0), start), end)
    ends = ((start, middle), (middle, end))
    return sum(integrate.quad(integrand, a, b, epsabs=0.0, epsrel=1e-11, limit=200)[0] for a, b in ends if b > a)


@pytest.mark.parametrize("ratio", [0.02, 0.3, 1.0, 1.9, 2.5, 6.0])
def test_the_leaky_function_on_both_sides_of_its_mirror_and_of_1(ratio):
    """Where u is r/2B the integral is half of 2 K0, and where it is 1 the series ends."""
    places = [1e-5, 0.04, ratio / 2.0, 0.99, 1.0, 1.01, 1.7, 4.0]
    found = leaky(places, ratio)
    np.testing.assert_allclose(found, [leaky_integral(u, ratio) for u in places], rtol=1e-9)
    assert found[2] == pytest.approx(special.k0(ratio), rel=1e-12)


def test_the_leaky_function_of_a_table_has_its_shape():
    table = leaky(np.array([[0.1], [0.7]]), np.array([[0.2, 0.9, 3.0]]))
    assert table.shape == (2, 3)
    assert table[1, 2] == leaky(0.7, 3.0)
    assert float(leaky(900.0, 2.0)) == 0.0
    np.testing.assert_allclose(leaky(0.3, 0.0), theis(0.3), rtol=1e-12)


@pytest.mark.parametrize(
    ("transform", "function"),
    [
        (lambda p: 1.0 / (p + 1.3), lambda t: np.exp(-1.3 * t)),
        (lambda p: 1.0 / p**2, lambda t: t),
        (lambda p: np.exp(-np.sqrt(p)) / p, lambda t: special.erfc(0.5 / np.sqrt(t))),
        (lambda p: 1.0 / np.sqrt(p), lambda t: 1.0 / np.sqrt(np.pi * t)),
    ],
)
def test_transforms_of_tables_are_inverted(transform, function):
    times = np.array([0.03, 0.4, 1.0, 7.0])
    np.testing.assert_allclose(invert_laplace(transform, times), function(times), rtol=5e-6)
    np.testing.assert_allclose(invert_laplace(transform, times, 18), function(times), rtol=2e-7)
    assert invert_laplace(transform, 0.4).shape == (1,)


@pytest.mark.parametrize("order", [0, 1])
def test_bessel_functions_are_scaled_and_go_on_where_the_library_stops(order):
    z = np.array([0.3 + 0.2j, 5.0 - 1.0j, 30.0 + 0.0j])
    np.testing.assert_allclose(scaled_bessel_k(order, z), special.kv(order, z) * np.exp(z), rtol=1e-12)
    far = np.array([4e9 + 1e9j, 1e12 + 0.0j])
    np.testing.assert_allclose(scaled_bessel_k(order, far), np.sqrt(np.pi / (2.0 * far)), rtol=1e-9)


def transformed(function, p):
    """Return the Laplace transform of a function at p, by Gauss's quadrature in the logarithm of time."""
    places, weights = np.polynomial.legendre.leggauss(120)
    low, high = -16.0, math.log(45.0 / p)
    x = 0.5 * (high - low) * (places + 1.0) + low
    times = np.exp(x)
    return float((function(times) * np.exp(-p * times) * times) @ weights) * 0.5 * (high - low)


@pytest.mark.parametrize("p", [0.05, 0.8, 6.0])
@pytest.mark.parametrize("radii", [1.0, 3.5])
def test_functions_have_the_transforms_that_are_published(p, radii):
    """Papadopulos and Cooper (1967), Cooper and others (1967), Boulton (1963), all from memory, with plain K0 and K1."""
    root, alpha = math.sqrt(p), 0.03
    below = p * (root * special.k1(root) + p / (2.0 * alpha) * special.k0(root))
    expected = 2.0 * special.k0(radii * root) / below
    assert transformed(lambda t: wellbore_storage(t, alpha, radii), p) == pytest.approx(expected, rel=1e-5)
    # of a slug, in Tt/(S rw²)
    expected = special.k0(radii * root) / (p * special.k0(root) + 2.0 * alpha * root * special.k1(root))
    assert transformed(lambda t: slug_recovery(alpha * t, alpha, radii), p) == pytest.approx(expected, rel=1e-5)
    sigma, ratio = 0.04, 0.7
    argument = math.sqrt(p + ratio**2 * p / (p + sigma * ratio**2))
    expected = 2.0 / p * special.k0(argument)
    assert transformed(lambda t: boulton(t, sigma, ratio), p) == pytest.approx(expected, rel=1e-5)


def test_a_far_or_early_drawdown_is_0_and_not_a_rounding_below():
    for early in (boulton([1e-9], 0.01, 0.5), wellbore_storage([1e-9], 0.01, 9.0), neuman([1e-4], 0.01, 0.5)):
        assert 0.0 <= early[0] < 1e-6


TIMES = np.array([0.4, 3.0, 200.0])
SCREENS = [((0.1, 0.35), (0.5, 0.9)), ((0.0, 0.5), (0.7, 1.0)), ((0.2, 0.6), (0.3, 0.3)), ((0.6, 1.0), (1.0, 1.0))]


@pytest.mark.parametrize(("pumped", "observed"), SCREENS)
@pytest.mark.parametrize("beta", [0.04, 0.6])
def test_pumped_and_observed_interval_may_change_places(pumped, observed, beta):
    """Reciprocity of linear flow: what one draws down in the other, the other draws down in the one."""
    there = neuman(TIMES, 0.02, beta, pumped=pumped, observed=observed)
    back = neuman(TIMES, 0.02, beta, pumped=observed, observed=pumped)
    np.testing.assert_allclose(there, back, rtol=1e-6)


@pytest.mark.parametrize("beta", [0.04, 0.6])
def test_parts_of_the_thickness_average_to_the_whole(beta):
    pumped = (0.15, 0.55)
    parts = [neuman(TIMES, 0.02, beta, pumped=pumped, observed=ends) for ends in ((0.0, 0.3), (0.3, 1.0))]
    whole = neuman(TIMES, 0.02, beta, pumped=pumped)
    np.testing.assert_allclose(0.3 * parts[0] + 0.7 * parts[1], whole, rtol=1e-6)
    # pumped in part and observed throughout is observed in part and pumped throughout
    np.testing.assert_allclose(whole, neuman(TIMES, 0.02, beta, observed=pumped), rtol=1e-6)
    narrow = neuman(TIMES, 0.02, beta, pumped=pumped, observed=(0.7 - 1e-5, 0.7 + 1e-5))
    np.testing.assert_allclose(narrow, neuman(TIMES, 0.02, beta, pumped=pumped, observed=(0.7, 0.7)), rtol=1e-6)


@pytest.mark.parametrize(("pumped", "observed"), SCREENS[:3])
def test_without_specific_yield_a_screen_is_that_of_a_confined_aquifer(pumped, observed):
    """Hantush (1961): W(u) and twice the sum of the means of cos(nπz) over both intervals times W(u, nπ√β)."""
    beta, u = 0.3, 1.0 / (4.0 * TIMES)

    def mean(n, low, high):
        if high == low:
            return math.cos(n * math.pi * low)
        return integrate.quad(lambda z: math.cos(n * math.pi * z), low, high)[0] / (high - low)

    expected = [
        special.exp1(each)
        + 2.0 * sum(
            mean(n, *pumped) * mean(n, *observed) * leaky_integral(each, n * math.pi * math.sqrt(beta))
            for n in range(1, 14)
        )
        for each in u
    ]  # fmt: skip
    np.testing.assert_allclose(neuman(TIMES, 1e9, beta, pumped=pumped, observed=observed), expected, rtol=1e-6)
