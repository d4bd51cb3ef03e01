"""How often the limits of gradients hold: simulated fields, and the arc of directions against its definition."""

import numpy as np
import pytest
from scipy import stats

from gwnet.hydro.gradients.horizontal import Departure, plane_gradient
from gwnet.hydro.gradients.limits import slope_limits
from tests.bench.bench_gradient_limits import simulate_limits, simulate_three


@pytest.mark.parametrize("degrees", [1, 3, 9, np.inf])
def test_the_arc_holds_exactly_the_directions_across_which_no_slope_is_significant(degrees):
    random = np.random.default_rng(8)
    student = float(stats.t.ppf(0.975, degrees))
    compared = 0
    for _ in range(40):
        slopes, half = random.normal(size=2) * 20, random.normal(size=(2, 2))
        covariance = half @ half.T * 0.2
        limits = slope_limits(slopes, covariance, degrees)
        if not limits.is_significant:
            continue
        turns = np.radians(np.linspace(-89.99, 89.99, 20_001))
        towards = np.radians(limits.azimuth_deg) + turns
        across = np.column_stack([np.cos(towards), -np.sin(towards)])
        inside = (across @ slopes) ** 2 <= student**2 * np.einsum("ij,jk,ik->i", across, covariance, across)
        assert np.degrees(turns[inside].min()) == pytest.approx(-limits.anticlockwise_deg, abs=0.02)
        assert np.degrees(turns[inside].max()) == pytest.approx(limits.clockwise_deg, abs=0.02)
        compared += 1
    assert compared >= 3


@pytest.mark.parametrize("degrees", [1, 2, 5, 30])
def test_significance_is_that_of_f(degrees):
    """Just inside and just outside the 95 % quantile of F(2, degrees) of `scipy.stats`, with a round covariance."""
    edge = np.sqrt(2 * stats.f.ppf(0.95, 2, degrees))
    for factor, expected in ((0.999, False), (1.001, True)):
        assert slope_limits(np.array([edge * factor, 0.0]), np.eye(2), degrees).is_significant is expected


@pytest.mark.parametrize(("n", "size"), [(4, 60.0), (5, 20.0), (6, 10.0), (10, 8.0), (25, 4.0)])
def test_limits_hold_with_departures_independent_from_well_to_well(n, size):
    """800 fields with departures of 1 m: four standard errors of 95 % are 3.1 points either way."""
    share = simulate_limits(n, size, draws=800, seed=n)
    assert 0.92 < share.size_held < 0.985
    assert 0.92 < share.direction_held < 0.985


@pytest.mark.parametrize("n", [4, 10])
def test_flat_water_has_a_significant_gradient_in_no_more_than_six_per_cent(n):
    share = simulate_limits(n, 0.0, draws=1500, seed=40 + n)
    assert share.significant <= 0.065
    assert share.significant_and_turned <= 0.045


@pytest.mark.parametrize("reach", [0.2, 1.0, 3.0])
def test_limits_hold_with_departures_correlated_in_space(reach):
    """The mean gradient of the simulated surface inside the hull is held in 88 % of fields and more."""
    share = simulate_limits(10, 5.0, reach=reach, draws=250, seed=7)
    assert share.size_held >= 0.88
    assert share.direction_held >= 0.88


def test_three_wells_with_the_scale_of_a_round_are_rarely_wrong():
    """A short run of the bench: three per cent at most, and with reading errors alone the note always says so."""
    assert (
        max(simulate_three(n, 0.0, among=among, draws=300).significant for n in (6, 25) for among in (True, False))
        <= 0.05
    )
    assert simulate_three(0, 3.0, draws=50).size_held_where_significant == 1.0


def test_three_wells_with_a_borrowed_scale_are_rarely_wrong():
    random = np.random.default_rng(3)
    significant = 0
    for _ in range(1500):
        scale = np.sqrt(random.chisquare(9) / 9)
        departure = Departure(scale, 9, "another round")
        triangle = ([0.0, 1.0, 0.3], [0.0, 0.1, 0.9])
        significant += plane_gradient(*triangle, random.normal(size=3), 0.01, departure=departure).determined
    assert significant / 1500 <= 0.035
