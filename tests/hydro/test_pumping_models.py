"""Models of drawdown: their dimensionless numbers written out, image wells, and the pumping of other wells."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import special

from gwnet.errors import AnalysisError
from gwnet.hydro.pumping import OtherPumping, PumpingGeometry, PumpingRates, WellDrawdown, fit_pumping_test
from gwnet.hydro.pumping.delayed_yield import boulton, neuman
from gwnet.hydro.pumping.fits import fit_model
from gwnet.hydro.pumping.models import MODELS, find_model, model_drawdown
from gwnet.hydro.pumping.storage import wellbore_storage
from gwnet.hydro.pumping.superposition import interpolated, superpose
from gwnet.hydro.pumping.well_functions import leaky

T, S, R, Q = 130.0, 4e-4, 23.0, 410.0
VALUES = {
    "transmissivity": T, "storativity": S, "leakage_factor": 95.0, "specific_yield": 0.07, "anisotropy": 0.3,
    "delay_rate": 0.6, "image_distance": 61.0,
}  # fmt: skip
GEOMETRY = PumpingGeometry(
    well_radius_m=0.25, casing_radius_m=0.15, thickness_m=17.0, screen_top_m=6.0, screen_bottom_m=14.0
)
DAYS = np.array([3e-3, 0.07, 0.9, 12.0])
SCALE = Q / (4.0 * math.pi * T)
U = R**2 * S / (4.0 * T * DAYS)
TIME = T * DAYS / (S * R**2)
PUMPED, OBSERVED = (1.0 - 14.0 / 17.0, 1.0 - 6.0 / 17.0), (1.0 - 9.0 / 17.0, 1.0 - 4.0 / 17.0)
BETA = 0.3 * (R / 17.0) ** 2

#: What each model says at R, in dimensionless numbers as published; the functions are tested by themselves.
WRITTEN_OUT = {
    "theis": lambda: special.exp1(U),
    "leaky": lambda: leaky(U, R / 95.0),
    "storage": lambda: wellbore_storage(T * DAYS / (S * 0.25**2), S * 0.25**2 / 0.15**2, R / 0.25),
    "delayed-yield": lambda: neuman(TIME, S / 0.07, BETA, pumped=PUMPED, observed=OBSERVED),
    "delayed-yield-boulton": lambda: boulton(TIME, S / 0.07, R * math.sqrt(0.6 * 0.07 / T)),
}


def observed(distance=R, days=DAYS, **more):
    return WellDrawdown("P", distance, days, np.zeros(len(days)), **({"top_m": 4.0, "bottom_m": 9.0} | more))


@pytest.mark.parametrize("name", WRITTEN_OUT)
def test_a_models_drawdown_is_its_function(name):
    found = model_drawdown(name, VALUES, PumpingRates([0.0], [Q]), observed(), GEOMETRY)
    np.testing.assert_allclose(found, SCALE * WRITTEN_OUT[name](), rtol=1e-9)
    assert set(WRITTEN_OUT) == set(MODELS)


def test_the_well_itself_has_the_level_at_its_wall():
    found = model_drawdown("storage", VALUES, PumpingRates([0.0], [Q]), observed(0.1), GEOMETRY)
    wall = wellbore_storage(T * DAYS / (S * 0.25**2), S * 0.25**2 / 0.15**2)
    np.testing.assert_allclose(found, SCALE * wall, rtol=1e-9)


@pytest.mark.parametrize(
    ("top", "bottom", "interval"),
    [
        (None, None, (0.0, 1.0)), (None, 9.0, (1 - 9 / 17, 1.0)), (4.0, None, (0.0, 1 - 4 / 17)),
        (-3.0, 30.0, (0.0, 1.0)), (20.0, 25.0, (0.0, 0.0)), (9.0, 4.0, (1 - 9 / 17, 1 - 9 / 17)),
    ],
)  # fmt: skip
def test_open_intervals_are_heights_above_the_base_within_the_thickness(top, bottom, interval):
    found = model_drawdown(
        "delayed-yield", VALUES, PumpingRates([0.0], [Q]), observed(top_m=top, bottom_m=bottom), GEOMETRY
    )
    expected = neuman(TIME, S / 0.07, BETA, pumped=PUMPED, observed=interval)
    np.testing.assert_allclose(found, SCALE * expected, rtol=1e-7)


@pytest.mark.parametrize(("boundary", "sign"), [("barrier", 1.0), ("recharge", -1.0)])
@pytest.mark.parametrize("image", [None, 44.0])
def test_an_image_well_has_the_fitted_distance_unless_the_well_has_one(boundary, sign, image):
    found = model_drawdown(
        "theis", VALUES, PumpingRates([0.0], [Q]), observed(image_m=image), replace(GEOMETRY, boundary=boundary)
    )
    far = (image or 61.0) ** 2 * S / (4.0 * T * DAYS)
    np.testing.assert_allclose(found, SCALE * (special.exp1(U) + sign * special.exp1(far)), rtol=1e-9)


def test_a_dimension_that_a_model_needs_and_a_model_that_is_none():
    for name, lacking, said in (
        ("storage", "well_radius_m", "radius of the pumped well's screen or bore"),
        ("storage", "casing_radius_m", "radius of the pumped well's casing"),
        ("delayed-yield", "thickness_m", "saturated thickness of the aquifer"),
    ):
        with pytest.raises(AnalysisError, match=f"needs the {said}; it is not on record"):
            model_drawdown(name, VALUES, PumpingRates([0.0], [Q]), observed(), replace(GEOMETRY, **{lacking: None}))
    with pytest.raises(AnalysisError, match="no model 'guess'; there are theis, leaky, storage, delayed-yield,"):
        find_model("guess")


def step_sum(days, distance, rates):
    """Return Theis's drawdown of a history of rates, rate after rate."""
    total, before = np.zeros(len(days)), 0.0
    for start, rate in rates:
        since = np.asarray(days) - start
        u = distance**2 * S / (4.0 * T * np.maximum(since, 1e-9))
        total += np.where(since > 0.0, (rate - before) / (4.0 * math.pi * T) * special.exp1(np.minimum(u, 700.0)), 0.0)
        before = rate
    return total


OWN = ((0.0, Q), (0.5, 300.0), (2.0, 0.0))
BESIDE, FARTHER = ((-3.0, 250.0), (0.4, 0.0)), ((-1.0, 90.0),)
BEFORE = np.array([-2.5, -2.0, -0.2])


@pytest.mark.parametrize(
    ("before", "background"), [((), "mean"), (BEFORE, "mean"), (BEFORE, "line"), ([-1.5, -1.5], "line")]
)
def test_other_wells_add_what_they_draw_down_less_what_the_static_level_has_of_it(before, background):
    others = [OtherPumping("X", 60.0, PumpingRates(*zip(*BESIDE, strict=True))),
              OtherPumping("Y", 90.0, PumpingRates(*zip(*FARTHER, strict=True)))]  # fmt: skip
    well = observed(others=others, before_days=before, background=background)

    def beside(days):
        return step_sum(days, 60.0, BESIDE) + step_sum(days, 90.0, FARTHER)

    static = np.zeros(4)
    if len(before):
        earlier = beside(np.asarray(before))
        spread = len(set(before)) > 1
        line = np.polyfit(before, earlier, 1) if background == "line" and spread else [0.0, earlier.mean()]
        static = np.polyval(line, DAYS)
    found = model_drawdown("theis", VALUES, PumpingRates(*zip(*OWN, strict=True)), well, PumpingGeometry())
    np.testing.assert_allclose(found, step_sum(DAYS, R, OWN) + beside(DAYS) - static, rtol=1e-9, atol=1e-12)


def test_another_well_has_an_open_interval_of_its_own():
    other = OtherPumping("X", 40.0, PumpingRates([0.0], [200.0]), top_m=2.0, bottom_m=5.0)
    found = model_drawdown("delayed-yield", VALUES, PumpingRates([0.0], [Q]), observed(others=[other]), GEOMETRY)
    own = SCALE * WRITTEN_OUT["delayed-yield"]()
    screen = (1.0 - 5.0 / 17.0, 1.0 - 2.0 / 17.0)
    far = neuman(T * DAYS / (S * 40.0**2), S / 0.07, 0.3 * (40.0 / 17.0) ** 2, pumped=screen, observed=OBSERVED)
    np.testing.assert_allclose(found, own + 200.0 / (4.0 * math.pi * T) * far, rtol=1e-9)


def test_superposition_counts_each_change_of_rate_from_the_moment_on():
    rates = PumpingRates([-1.0, 1.0, 2.0, 4.0], [0.0, 30.0, 30.0, 50.0])
    seen = []

    def response(days):
        seen.extend(days.tolist())
        return days**2

    np.testing.assert_array_equal(superpose(response, rates, [0.5, 1.0, 3.0, 6.0]), [0.0, 0.0, 120.0, 830.0])
    assert sorted(seen) == [2.0, 2.0, 5.0]  # a rate that does not change is not worked out
    np.testing.assert_array_equal(superpose(response, rates, [0.5]), [0.0])


@pytest.mark.parametrize(("size", "asked"), [(28, 28), (29, 28), (200, 28)])
def test_eight_times_a_decade_and_four_more_are_worked_out(size, asked):
    called = []

    def response(days):
        called.append(days.size)
        return np.log(1.0 + days)

    days = np.geomspace(2e-3, 2.0 * (1.0 - 1e-9), size)
    np.testing.assert_allclose(interpolated(response)(days[::-1]), np.log1p(days[::-1]), rtol=1e-3)
    assert called == [asked]


@pytest.mark.parametrize("name", ["storage", "delayed-yield-boulton"])
def test_slow_models_are_interpolated_and_quick_ones_are_not(name):
    days = np.geomspace(1e-2, 1.0, 60)
    rates = PumpingRates([0.0], [Q])
    other = OtherPumping("X", R, rates)
    exact = np.array([model_drawdown(name, VALUES, rates, observed(days=[day]), GEOMETRY)[0] for day in days])
    whole = model_drawdown(name, VALUES, rates, observed(days=days), GEOMETRY)
    assert 1e-10 < np.abs(whole / exact - 1.0).max() < 1e-3
    twice = model_drawdown("theis", VALUES, rates, observed(days=days, others=[other]), GEOMETRY)
    np.testing.assert_allclose(twice, 2.0 * step_sum(days, R, [(0.0, Q)]), rtol=1e-12)


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("theis", {"transmissivity": 0.02, "storativity": 1e-4}),
        ("theis", {"transmissivity": 9000.0, "storativity": 1e-8}),
        ("leaky", {"transmissivity": 0.5, "storativity": 1e-3, "leakage_factor": 12.0}),
        ("leaky", {"transmissivity": 50.0, "storativity": 1e-3, "leakage_factor": 300.0}),
        ("delayed-yield-boulton", {"transmissivity": 200.0, "storativity": 1e-3, "specific_yield": 0.08, "delay_rate": 0.4}),
        ("delayed-yield-boulton", {"transmissivity": 20.0, "storativity": 1e-3, "specific_yield": 0.02, "delay_rate": 8.0}),
    ],
)  # fmt: skip
def test_parameters_far_from_the_usual_come_back(name, values):
    rates, days = PumpingRates([0.0], [1.0]), np.geomspace(1e-3, 30.0, 22)
    well = WellDrawdown("P", 20.0, days, model_drawdown(name, values, rates, observed(20.0, days), GEOMETRY))
    fit = fit_pumping_test(name, rates, [well], GEOMETRY)
    for parameter, value in values.items():
        assert fit.value(parameter) == pytest.approx(value, rel=1e-4)


def test_an_aquifer_that_leads_less_upright_comes_back_from_a_few_readings():
    values = {"transmissivity": 200.0, "storativity": 1e-3, "specific_yield": 0.05, "anisotropy": 0.2}
    rates, days = PumpingRates([0.0], [40.0]), np.geomspace(1e-4, 3.0, 12)
    geometry = PumpingGeometry(thickness_m=15.0)
    falls = model_drawdown("delayed-yield", values, rates, WellDrawdown("P", 8.0, days, 0.0 * days), geometry)
    fit = fit_model("delayed-yield", rates, [WellDrawdown("P", 8.0, days, falls)], geometry, compare=False)
    assert [fit.value(name) for name in values] == pytest.approx(list(values.values()), rel=1e-5)
