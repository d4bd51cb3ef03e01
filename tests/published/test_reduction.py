"""Reduction and units against published numbers.

Feet are worked in feet where the source does: the functions are linear, so any one unit of length serves.
"""

import numpy as np
import pytest

from gwnet.hydro.reduction.elevation import (
    depth_below_ground,
    product_corrected_elevation,
    sounded_depth,
    water_elevation,
)
from gwnet.hydro.reduction.tape import tape_correction
from gwnet.units import metres_per


@pytest.mark.parametrize(("below_point", "height", "below_ground"), [(5.5, 1.5, 4.0), (5.2, -1.2, 6.4)])
def test_sign_of_the_measuring_point(below_point, height, below_ground):
    """USGS Techniques and Methods 1-A1 (Cunningham and Schalk, 2011), p. 20, figure 1 [ft]."""
    assert depth_below_ground(below_point, height) == pytest.approx(below_ground, abs=1e-9)


@pytest.mark.parametrize(
    ("thickness", "interface_depth", "corrected_depth", "elevation"),
    [(0.32, 9.60, 9.33, None), (0.33, 9.08, 8.81, 39.41)],
)
def test_floating_product(thickness, interface_depth, corrected_depth, elevation):
    """San Joaquin County EHD documents 471143 p. 7 and 471029 p. 7 (January and July 2003), density 0.83 [ft].

    The July report prints the casing's elevation, 48.22 ft, with it: depth to elevation to corrected elevation.
    """
    measured = float(water_elevation(interface_depth, 48.22))
    assert round(measured, 2) == 39.14 or elevation is None
    corrected = float(product_corrected_elevation(measured, thickness, 0.83))
    assert round(48.22 - corrected, 2) == corrected_depth
    assert elevation is None or round(corrected, 2) == elevation


def test_total_depth_sounding():
    """USGS Techniques and Methods 1-A1 (2011), GWPD 11, p. 96: 84.30 + 1.20 - 3.40 = 82.10 ft."""
    below_point = sounded_depth(84.30, 1.20)
    assert round(float(depth_below_ground(below_point, 3.40)), 2) == 82.10


def test_total_depth_constructed():
    """Constructed on the rule of GWPD 11: 87.42 + 0.35 = 87.77, point 2.10 above ground, 85.67 below it [ft]."""
    below_point = sounded_depth(87.42, 0.35)
    assert round(float(below_point), 2) == 87.77
    assert round(float(depth_below_ground(below_point, 2.10)), 2) == 85.67


def test_held_and_cut_constructed():
    """Constructed: held 50.00, cut 7.36, point 2.15 above ground 812.37 ft; both ways give 771.88 ft."""
    depth = 50.00 - 7.36
    assert round(float(water_elevation(depth, 814.52)), 2) == 771.88
    assert round(812.37 - float(depth_below_ground(depth, 2.15)), 2) == 771.88


def test_tape_against_reference_tape_constructed():
    """Constructed for GWPD 4 (USGS TM 1-A1, 2011, p. 35): readings 50.02 ... 200.10 at 50 ... 200; 125.00 is 124.945."""
    tape = np.array([50.02, 100.05, 150.06, 200.10])
    reference = np.array([50.0, 100.0, 150.0, 200.0])
    made = tape_correction(
        [125.0],
        [1],
        np.array(["2024-05-01"], "datetime64[D]"),
        check_instrument=np.ones(4, dtype=int),
        check_day=np.array(["2024-01-01"] * 4, "datetime64[D]"),
        check_tape_m=tape,
        check_reference_m=reference,
    )
    assert made.correction_m[0] == pytest.approx(-0.05499, abs=5e-6)
    assert round(125.0 + float(made.correction_m[0]), 3) == 124.945


def test_spliced_tape():
    """USGS Techniques and Methods 1-A1 (2011), p. 35: foot mark 20 less 0.85 to the sensor is a correction of 19.15 ft."""
    made = tape_correction(
        [20.0],
        [1],
        np.array(["2024-05-01"], "datetime64[D]"),
        check_instrument=[1],
        check_day=np.array(["2024-05-01"], "datetime64[D]"),
        check_tape_m=[20.0],
        check_reference_m=[0.85],
    )
    assert made.correction_m[0] == pytest.approx(-19.15)


@pytest.mark.parametrize(
    ("unit", "numerator", "denominator", "printed"),
    [("ft", 3048, 10_000, 0.3048), ("ftUS", 1200, 3937, 0.304800609601)],
)
def test_both_feet_are_exact(unit, numerator, denominator, printed):
    """85 FR 62698 (5 October 2020): foot 0.3048 m exactly; survey foot 1200/3937 m, 0.304800609601 m."""
    assert metres_per(unit) == numerator / denominator
    assert metres_per(unit) == pytest.approx(printed, abs=5.1e-13)


def test_ratio_of_the_feet():
    """The same: 1.000002000004."""
    assert metres_per("ftUS") / metres_per("ft") == pytest.approx(1.000002000004, abs=5.1e-13)


@pytest.mark.parametrize(
    ("feet", "difference"), [(100, 0.0002), (5280, 0.01056), (10_000, 0.0200), (1_000_000, 2.000004)]
)
def test_survey_feet_read_as_international(feet, difference):
    """National Geodetic Survey notices: a hundredth of a foot in a mile, 2 ft in a million."""
    too_long = feet * metres_per("ftUS") / metres_per("ft") - feet
    assert too_long == pytest.approx(difference, rel=3e-6)


def test_datum_text_example_in_both_feet():
    """EPSG method 9658, example: 247.47 m is 811.9 ft; 811.909 international and 811.908 survey feet (computed)."""
    for unit, computed in (("ft", 811.909), ("ftUS", 811.908)):
        assert round(247.47 / metres_per(unit), 1) == 811.9
        assert round(247.47 / metres_per(unit), 3) == computed
