"""Pressure to head, density, gravity, air pressure and freshwater head against published numbers.

Each check says its source. "Computed" marks a number that was worked out from a definition or formula and not read
in print; "constructed" an example of our own that can be checked by hand.
"""

import numpy as np
import pytest

from gwnet.constants import STANDARD_GRAVITY_M_S2
from gwnet.hydro.loggers.barometric import (
    air_pressure_at,
    clark_efficiency,
    regression_efficiency,
    without_air,
    without_barometric_response,
)
from gwnet.hydro.reduction.elevation import product_corrected_elevation
from gwnet.hydro.reduction.water import normal_gravity, sensor_depth_to_water, water_column, water_density
from gwnet.units import from_pascals, pascals_per, to_pascals


@pytest.mark.parametrize(
    ("unit", "pascals", "metres", "feet", "metres_at_10", "metres_at_20"),
    [
        ("kPa", "1000.000000000", "0.101971621", "0.334552563", "0.102001946", "0.102154811"),
        ("psi", "6894.757293", "0.703069580", "2.306658726", "0.703278663", "0.704332627"),
        ("mbar", "100.000000000", "0.0101971621", "0.0334552563", "0.0102001946", "0.0102154811"),
        ("hPa", "100.000000000", "0.0101971621", "0.0334552563", "0.0102001946", "0.0102154811"),
        ("mmHg", "133.322387415", "0.0135951", "0.0446033465", "0.0135991430", "0.0136195233"),
        ("inHg", "3386.388640341", "0.345315540", "1.132925", "0.345418232", "0.345935891"),
        ("atm", "101325.000000000", "10.332274528", "33.898538478", "10.335347210", "10.350836211"),
    ],
)
def test_units_of_pressure(unit, pascals, metres, feet, metres_at_10, metres_at_20):
    """Definitions (computed): conventional water is 1000 kg/m3 under 9.80665 m/s2; at temperature, Tanaka's density."""

    def agrees(value, printed):
        return f"{value:.{len(printed.split('.')[1])}f}" == printed

    one = pascals_per(unit)
    assert agrees(one, pascals)
    assert agrees(from_pascals(one, "mH2O"), metres)
    assert agrees(from_pascals(one, "ftH2O"), feet)
    for temperature, printed in ((10.0, metres_at_10), (20.0, metres_at_20)):
        density = water_density(temperature)
        assert agrees(float(water_column(one, density_kg_m3=density, gravity_m_s2=STANDARD_GRAVITY_M_S2)), printed)


def test_other_units_of_pressure():
    """Definitions; conventional foot of water 2989.06692 Pa (computed), psi 6894.76 Pa in NIST SP 811, appendix B."""
    assert round(pascals_per("ftH2O"), 5) == 2989.06692
    assert round(pascals_per("psi"), 2) == 6894.76
    assert (pascals_per("bar"), pascals_per("dbar"), pascals_per("Pa")) == (1e5, 1e4, 1.0)
    assert pascals_per("inH2O") * 12 == pytest.approx(pascals_per("ftH2O"), rel=1e-15)
    assert pascals_per("cmH2O") * 100 == pytest.approx(pascals_per("mH2O"), rel=1e-15)


def test_foot_of_water_at_its_densest():
    """NIST SP 811, appendix B, foot of water (39.2 degF): 2988.98 Pa, as quoted on a conversion page."""
    density = water_density((39.2 - 32) / 1.8)
    assert round(float(density), 3) == 999.975
    assert 0.3048 * float(density) * STANDARD_GRAVITY_M_S2 == pytest.approx(2988.98, abs=0.02)


def test_the_rounded_foot_of_water_per_psi():
    """An instrument manual: 5.76 psi x 2.31 ft/psi = 13.3056 ft, 20 - 13.3056 = 6.6944 ft; 13.28635 ft computed."""
    assert round(5.76 * 2.31, 4) == 13.3056
    exact = from_pascals(to_pascals(5.76, "psi"), "ftH2O")
    assert round(exact, 5) == 13.28635
    assert round(5.76 * 2.31 - exact, 3) == 0.019


@pytest.mark.parametrize(
    ("temperature", "density"),
    [
        (0, 999.8428),
        (4, 999.9749),
        (5, 999.9668),
        (10, 999.7027),
        (15, 999.1026),
        (20, 998.2067),
        (25, 997.0470),
        (30, 995.6488),
        (35, 994.0326),
        (40, 992.2152),
    ],
)
def test_density_of_water(temperature, density):
    """Tanaka et al. (2001), Metrologia 38, 301-309; computed, with the printed 0, 20, 25 and 30 degC (from memory)."""
    assert round(float(water_density(temperature)), 4) == density


def test_density_of_water_as_measured():
    """Abstract of a paper on absolute density: 998.9468 +- 0.0006 kg/m3 at 16 degC; the formula gives 998.9459."""
    assert round(float(water_density(16.0)), 4) == 998.9459
    assert float(water_density(16.0)) == pytest.approx(998.9468, abs=0.001)


@pytest.mark.parametrize(
    ("latitude", "gravity"),
    [
        (0, 9.78032534),
        (30, 9.79324727),
        (40, 9.80169686),
        (45, 9.80619777),
        (50, 9.81070214),
        (60, 9.81917695),
        (90, 9.83218494),
    ],
)
def test_normal_gravity(latitude, gravity):
    """Somigliana's formula on WGS 84 (computed); the pole, 9.8321849378, is printed with the constants."""
    assert round(float(normal_gravity(latitude)), 8) == gravity
    assert normal_gravity(-latitude) == normal_gravity(latitude)


def test_normal_gravity_at_the_pole_and_aloft():
    """9.8321849378 m/s2 printed; 45 degrees and 500 m: 9.8046548 linear, 9.8046552 to the second order (computed)."""
    assert float(normal_gravity(90.0)) == pytest.approx(9.8321849378, abs=1e-10)  # printed to 10 digits, not rounded
    assert round(float(normal_gravity(45.0, 500.0)), 7) == 9.8046548
    equatorial, flattening, m, axis = float(normal_gravity(45.0)), 1 / 298.257223563, 0.00344978650684, 6378137.0
    second = 1 - 2 / axis * (1 + flattening + m - 2 * flattening * 0.5) * 500.0 + 3 / axis**2 * 500.0**2
    assert round(equatorial * second, 7) == 9.8046552


@pytest.mark.parametrize(
    ("latitude", "gravity"),
    [
        (0, 9.78032677),
        (30, 9.79324870),
        (40, 9.80169830),
        (45, 9.80619920),
        (50, 9.81070357),
        (60, 9.81917838),
        (90, 9.83218637),
    ],
)
def test_normal_gravity_of_the_other_ellipsoid(latitude, gravity):
    """GRS 80 (computed from its published constants) is 1.4e-6 m/s2 more than WGS 84 throughout: 1.5 um in 10 m."""
    assert gravity - float(normal_gravity(latitude)) == pytest.approx(1.4e-6, abs=0.1e-6)


def test_gravity_between_equator_and_pole_moves_a_head():
    """Computed: 0.53 %, that is 53 mm in 10 m."""
    pressure = 1000.0 * float(normal_gravity(0.0)) * 10.0
    at_pole = water_column(pressure, density_kg_m3=1000.0, gravity_m_s2=normal_gravity(90.0))
    assert round(10.0 - float(at_pole), 3) == 0.053


def test_an_absolute_sensor_with_its_barometer():
    """Constructed: 152.340 and 100.210 kPa, 12 degC, standard gravity; hung 60.000 m below the measuring point."""
    density = water_density(12.0)
    assert round(float(density), 4) == 999.5005
    water = without_air(to_pascals(152.340, "kPa"), to_pascals(100.210, "kPa"))
    column = water_column(water, density_kg_m3=density, gravity_m_s2=STANDARD_GRAVITY_M_S2)
    assert round(float(column), 5) == 5.31844
    conventional = water_column(water, density_kg_m3=1000.0, gravity_m_s2=STANDARD_GRAVITY_M_S2)
    assert round(float(conventional), 5) == 5.31578
    assert round(float(column - conventional), 4) == 0.0027
    assert round(float(sensor_depth_to_water(60.0, column)), 3) == 54.682


def test_ten_metres_of_air():
    """Computed with air of 1.225 kg/m3: about 0.12 kPa, or 12 mm of water."""
    lost = 101_325.0 - float(air_pressure_at(101_325.0, 10.0))
    assert round(lost / 1000, 2) == 0.12
    assert lost == pytest.approx(1.225 * STANDARD_GRAVITY_M_S2 * 10.0, rel=1e-3)
    assert round(1000 * from_pascals(lost, "mH2O")) == 12


@pytest.mark.parametrize(("height", "hectopascals"), [(0.0, 1013.25), (500.0, 954.61), (1000.0, 898.76)])
def test_the_standard_atmosphere(height, hectopascals):
    """ISO 2533:1975 standard atmosphere (from memory); 6.5 K less per 1000 m, so the mean of the layer is used."""
    found = air_pressure_at(101_325.0, height, air_temperature_degc=15.0 - 0.0065 * height / 2)
    assert from_pascals(float(found), "hPa") == pytest.approx(hectopascals, abs=0.02)


@pytest.mark.parametrize(
    ("depth", "thickness", "corrected"), [(9.60, 0.32, 9.33), (9.08, 0.33, 8.81)], ids=["January", "July"]
)
def test_floating_product(depth, thickness, corrected):
    """San Joaquin County EHD documents 471143 p. 7 and 471029 p. 7 (2003), relative density 0.83 [ft].

    The report takes the correction to two digits before it is used: 0.32 x 0.83 = 0.2656, 0.27.
    """
    assert round(float(product_corrected_elevation(-depth, thickness, 0.83)), 2) == -corrected
    assert round(float(product_corrected_elevation(39.14, 0.33, 0.83)), 4) == 39.4139
    weighted = (800_000 * 0.84 + 61_000 * 0.74) / 861_000
    assert round(weighted, 4) == 0.8329


AIR = [10.20, 10.23, 10.19, 10.19, 10.25, 10.21, 10.24]
WATER = [50.000, 49.982, 50.006, 50.010, 49.974, 50.002, 49.988]


def test_barometric_efficiency_by_clark():
    """Clark (1967), J. Hydraul. Div. ASCE 93(HY4), 93-98, rules from memory; constructed series, sums by hand."""
    found = clark_efficiency(WATER, AIR)
    np.testing.assert_array_equal(found.air_sum_m.round(10), [0.03, 0.07, 0.07, 0.13, 0.17, 0.20])
    np.testing.assert_array_equal(found.water_sum_m.round(10), [0.018, 0.042, 0.042, 0.078, 0.106, 0.120])
    assert round(found.efficiency, 3) == 0.600


def test_barometric_efficiency_by_regression():
    """The same constructed series: 0.6144 by changes, 0.5216 by levels (computed)."""
    assert round(regression_efficiency(WATER, AIR, of_changes=True).efficiency, 4) == 0.6144
    assert round(regression_efficiency(WATER, AIR, of_changes=False).efficiency, 4) == 0.5216


def test_the_answer_to_air_pressure_is_taken_off():
    """BE = dh rho g / dp, constructed: 0.6 of 3 cm."""
    found = without_barometric_response(49.982, 10.23, efficiency=0.6, reference_air_pressure_m=10.20)
    assert round(float(found), 6) == 50.0
