"""Slug tests: the published factors written out, lines against regression, and planted aquifers that come back."""

import math

import numpy as np
import pytest
from scipy import stats

from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.pumping import PumpingGeometry, WellDrawdown
from gwnet.hydro.pumping.slugs import bouwer_rice_logarithm, fit_bouwer_rice, fit_hvorslev, fit_slug
from gwnet.hydro.pumping.storage import slug_recovery


def written_out(open_m, submerged_m, thickness_m, radius_m):
    """Return ln(Re/rw): Bouwer and Rice (1976) with the polynomials of Van Rooy (1988), in Butler (1998); from memory."""
    x = open_m / radius_m
    first = 1.1 / math.log(submerged_m / radius_m)
    if thickness_m == submerged_m:
        c = 0.7920 + 3.993e-2 * x - 5.743e-5 * x**2 + 3.858e-8 * x**3 - 9.659e-12 * x**4
        return 1.0 / (first + c / x)
    a = 1.4720 + 3.537e-2 * x - 8.148e-5 * x**2 + 1.028e-7 * x**3 - 6.484e-11 * x**4 + 1.573e-14 * x**5
    b = 0.2372 + 5.151e-3 * x - 2.682e-6 * x**2 - 3.491e-10 * x**3 + 4.738e-13 * x**4
    below = min(math.log((thickness_m - submerged_m) / radius_m), 6.0)  # not beyond 6: Bouwer and Rice (1976)
    return 1.0 / (first + (a + b * below) / x)


@pytest.mark.parametrize(
    ("open_m", "submerged_m", "thickness_m", "radius_m"),
    [
        (1.5, 4.0, 9.0, 0.12), (70.0, 80.0, 95.0, 0.07), (3.0, 5.0, 64.0, 0.1), (3.0, 5.0, 46.0, 0.1),
        (1.5, 4.0, 4.0, 0.12), (70.0, 80.0, 80.0, 0.07),
    ],
)  # fmt: skip
def test_the_logarithm_of_bouwer_and_rice(open_m, submerged_m, thickness_m, radius_m):
    expected = written_out(open_m, submerged_m, thickness_m, radius_m)
    assert bouwer_rice_logarithm(open_m, submerged_m, thickness_m, radius_m) == pytest.approx(expected, rel=1e-9)


def test_a_well_reaches_the_base_within_rounding():
    whole = written_out(1.5, 4.0, 4.0, 0.12)
    assert bouwer_rice_logarithm(1.5, 4.0, 4.0 * (1.0 + 0.5e-9), 0.12) == pytest.approx(whole, rel=1e-7)
    assert bouwer_rice_logarithm(1.5, 4.0, 4.02, 0.12) == pytest.approx(written_out(1.5, 4.0, 4.02, 0.12), rel=1e-9)


SHAPE = {"well_radius_m": 0.1, "casing_radius_m": 0.04, "screen_top_m": 2.0, "screen_bottom_m": 5.0}
BOUWER = SHAPE | {"submerged_m": 6.0, "thickness_m": 14.0}
LINES = {
    "slug-hvorslev": (fit_hvorslev, SHAPE, math.log(3.0 / 0.1), (0.15, 0.25), ""),
    "slug-bouwer-rice": (
        fit_bouwer_rice, BOUWER, written_out(3.0, 6.0, 14.0, 0.1), (0.20, 0.30),
        f"ln(Re/rw) = {written_out(3.0, 6.0, 14.0, 0.1):.4g}.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("given", [True, False])
@pytest.mark.parametrize("name", LINES)
def test_lines_are_regressions_of_the_logarithm_of_the_head_in_their_range(name, given):
    """K = rc² ln(Re/rw)/(2 Le) times the slope, from heads of 0.15 to 0.25 or 0.20 to 0.30, ends included: Butler (1996)."""
    fit_line, shape, logarithm, (low, high), remark = LINES[name]
    heads = np.array([0.5, 0.27, high, 0.245, 0.21, 0.22, low, 0.17, 0.12])
    days = 0.15 * (0.05 - np.log(heads)) + 1e-3 * np.array([3.0, 1.0, -1.0, 1.5, -0.5, -1.0, 1.0, -1.5, 2.0])
    kept = (heads >= low) & (heads <= high)
    initial = 0.5
    falls = -heads * initial
    order = np.argsort(np.sin(np.arange(11)))
    times, read = np.concatenate([[0.0, -0.1], days])[order], np.concatenate([[-initial, 0.0], falls])[order]
    if not given:  # the first reading is the displacement
        times, read = times[times >= 0.0], read[times >= 0.0]
        times = np.where(times == 0.0, 1e-12, times)
    geometry = PumpingGeometry(**shape, initial_m=-initial if given else None)
    wells = [WellDrawdown("P", 0.1, times, read, 0.01), WellDrawdown("O", 9.0, [0.1], [0.2])]
    fit = fit_line(wells, geometry)
    within = np.flatnonzero(kept)[np.argsort(days[kept])]
    x, y = days[within], np.log(heads[within])
    line = stats.linregress(x, y)
    factor = 2.0 * 3.0 / (0.04**2 * logarithm)
    half = stats.t.ppf(0.975, kept.sum() - 2) * line.stderr
    found = fit.parameter("hydraulic_conductivity")
    assert found.value == pytest.approx(-line.slope / factor, rel=1e-7)
    assert found.lower == pytest.approx((-line.slope - half) / factor, rel=1e-3)
    assert found.upper == pytest.approx((half - line.slope) / factor, rel=1e-3)
    assert fit.value("intercept") == pytest.approx(math.exp(line.intercept), rel=1e-7)
    fitted = initial * np.exp(line.intercept + line.slope * x)
    place = np.argsort(fit.days)
    np.testing.assert_allclose(fit.days[place], x)
    np.testing.assert_allclose(fit.observed_m[place], initial * heads[within], rtol=1e-9)
    np.testing.assert_allclose(fit.fitted_m[place], fitted, rtol=1e-7)
    np.testing.assert_allclose(fit.residuals[place], initial * heads[within] - fitted, rtol=1e-5)
    assert fit.rmse_m == pytest.approx(float(np.sqrt(np.mean((initial * heads[within] - fitted) ** 2))), rel=1e-6)
    assert (fit.model, fit.wells, fit.n, fit.geometry) == (name, ("P",), kept.sum(), geometry)
    said = f"{fit.n} readings of normalised heads from {low:.2f} to {high:.2f} took part."
    assert fit.note == (f"{said} {remark}" if remark else said)


@pytest.mark.parametrize(("bottom_m", "said"), [(2.8, True), (2.801, False)])
def test_hvorslevs_shape_factor_is_for_more_than_8_radii(bottom_m, said):
    geometry = PumpingGeometry(**(SHAPE | {"screen_top_m": 2.0, "screen_bottom_m": bottom_m}), initial_m=1.0)
    if said:
        geometry = PumpingGeometry(**(SHAPE | {"screen_top_m": None}), thickness_m=0.8, initial_m=1.0)
    days = np.linspace(0.01, 1.0, 40)
    fit = fit_hvorslev([WellDrawdown("P", 0.1, days, np.exp(-2.0 * days))], geometry)
    assert ("The screen is shorter than 8 radii, for which the shape factor is not made." in fit.note) is said
    length = 0.8 if said else 0.801
    assert fit.value("hydraulic_conductivity") == pytest.approx(
        2.0 * 0.04**2 * math.log(length / 0.1) / (2.0 * length), rel=1e-7
    )


PLANTED = {"transmissivity": 6.0, "storativity": 3e-4}


def displacements(days, distance, initial):
    """Return the levels of a slug test after Cooper, Bredehoeft and Papadopulos (1967), and of a well beside it."""
    ratio = max(distance / 0.1, 1.0)
    return initial * slug_recovery(6.0 * days / 0.04**2, 3e-4 * (0.1 / 0.04) ** 2, ratio)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_planted_aquifer_comes_back_from_the_tested_well_and_one_beside_it(sign):
    days = np.geomspace(2e-6, 4e-3, 12)
    order = np.roll(np.arange(12), 5)
    wells = [
        WellDrawdown("P", 0.05, [*days[order], -1.0], [*(sign * displacements(days[order], 0.05, 0.9)), 0.0]),
        WellDrawdown("O", 1.5, days[2:], sign * displacements(days[2:], 1.5, 0.9)),
        WellDrawdown("R", 2.5, [-1.0], [0.0]),
    ]
    fit = fit_slug(wells, PumpingGeometry(**SHAPE, initial_m=sign * 0.9))
    for name, value in PLANTED.items():
        assert fit.value(name) == pytest.approx(value, rel=1e-5)
    whole, conductivity = fit.parameter("transmissivity"), fit.parameter("hydraulic_conductivity")
    thirds = (whole.value / 3.0, whole.lower / 3.0, whole.upper / 3.0)
    assert (conductivity.value, conductivity.lower, conductivity.upper) == pytest.approx(thirds, rel=1e-12)
    assert (conductivity.unit, fit.model) == ("m/d", "slug")
    assert fit.note.startswith("Displacement at the start 0.9 m.")
    assert (fit.wells, fit.n, fit.distances_m) == (("P", "O"), 22, (0.05, 1.5))
    np.testing.assert_allclose(fit.observed_m[12:], displacements(days[2:], 1.5, 0.9), rtol=1e-9)


def test_the_earliest_reading_stands_for_a_displacement_that_nobody_measured():
    days = np.geomspace(2e-6, 4e-3, 12)[np.roll(np.arange(12), 5)]
    well = WellDrawdown("P", 0.1, days, -displacements(days, 0.1, 0.9))
    first = float(displacements(np.array([2e-6]), 0.1, 0.9)[0])
    plain, named = (
        fit_slug([well], PumpingGeometry(**SHAPE)),
        fit_slug([well], PumpingGeometry(**SHAPE, initial_m=first)),
    )
    assert plain.value("transmissivity") == pytest.approx(named.value("transmissivity"), rel=1e-9)
    assert plain.note == named.note
    assert plain.note.startswith(f"Displacement at the start {first:.4g} m.")


def test_the_length_is_that_of_the_screen_else_the_thickness_else_not_known():
    days = np.geomspace(2e-6, 4e-3, 8)
    well = WellDrawdown("P", 0.1, days, displacements(days, 0.1, 0.9))
    plain = {"well_radius_m": 0.1, "casing_radius_m": 0.04, "initial_m": 0.9}
    for more in ({"screen_top_m": 1.0}, {"screen_bottom_m": 1.0}):
        fit = fit_slug([well], PumpingGeometry(**plain, **more, thickness_m=12.0))
        assert fit.value("hydraulic_conductivity") == pytest.approx(fit.value("transmissivity") / 12.0, rel=1e-12)
        assert len(fit_slug([well], PumpingGeometry(**plain, **more)).parameters) == 2
    for shape in ({}, {"screen_top_m": 5.0, "screen_bottom_m": 5.0}, {"screen_top_m": 6.0, "screen_bottom_m": 5.5}):
        with pytest.raises(AnalysisError, match="length of the open interval"):
            fit_hvorslev([well], PumpingGeometry(**plain, **shape))


def test_slug_tests_that_are_refused():
    geometry = PumpingGeometry(**SHAPE)
    for wells in ([], [WellDrawdown("P", 0.1, [], [])]):
        with pytest.raises(TooFewLevelsError, match="needs readings of the tested well"):
            fit_slug(wells, geometry)
    with pytest.raises(AnalysisError, match="displacement at the start of the slug test is 0"):
        fit_slug([WellDrawdown("P", 0.1, [0.1, 0.2], [0.0, 0.1])], geometry)
    rising = WellDrawdown("P", 0.1, [0.01, 0.1, 0.2, 0.3], [1.0, 0.16, 0.2, 0.22])
    with pytest.raises(AnalysisError, match="does not fade"):
        fit_hvorslev([rising], geometry)
    with pytest.raises(
        TooFewLevelsError, match=r"1 readings have normalised heads from 0\.21 to 0\.25; a line needs two"
    ):
        fit_hvorslev([rising], geometry, heads=(0.21, 0.25))
    two = WellDrawdown("P", 0.1, [0.01, 0.1, 0.2], [1.0, 0.24, 0.16])
    assert fit_hvorslev([two], geometry).n == 2
