"""Reduction of readings at its limits and with all of its terms: numbers that can be checked by hand."""

import math

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from gwnet.errors import ReductionError, SettingsError, ShapeError
from gwnet.hydro.reduction.datum_shift import datum_shift
from gwnet.hydro.reduction.elevation import (
    combine_repeats,
    depth_below_ground,
    depth_of_two_readings,
    dry_bound_depth,
    product_corrected_elevation,
    sounded_depth,
    water_elevation,
)
from gwnet.hydro.reduction.intervals import in_force
from gwnet.hydro.reduction.tape import tape_correction
from gwnet.hydro.reduction.tape_stretch import axial_stiffness, temperature_correction, tension_correction
from gwnet.hydro.reduction.thresholds import threshold_state
from gwnet.hydro.reduction.uncertainty import (
    combined_half_width,
    half_width_of_change,
    uncertainty_parts,
    unchecked_tape_m,
)
from gwnet.hydro.reduction.water import normal_gravity, sensor_depth_to_water, water_column, water_density

NAN = math.nan
CELL = np.array([(41.0, 7.0, 0.30), (41.5, 7.0, 0.50), (41.5, 9.0, 0.90), (41.0, 9.0, 0.40)])


@pytest.mark.parametrize(
    "place", [(41.1, 8.5), (41.0, 7.0), (41.5, 9.0), (41.0, 8.2), (41.5, 7.3), (41.4, 7.0), (41.2, 9)]
)
def test_a_shift_between_datums_is_that_of_scipys_grid(place):
    offsets = np.array([[0.30, 0.40], [0.50, 0.90]])
    expected = float(RegularGridInterpolator(([41.0, 41.5], [7.0, 9.0]), offsets)(place).item())
    for rows in ([0, 1, 2, 3], [2, 0, 3, 1]):
        assert datum_shift(*place, CELL[rows]) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("place", [(40.999, 8.0), (41.501, 8.0), (41.2, 6.999), (41.2, 9.001), (NAN, 8.0)])
def test_a_place_beyond_each_side_of_the_cell_is_refused(place):
    with pytest.raises(SettingsError, match="lies outside the cell"):
        datum_shift(*place, CELL)


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        (np.where(CELL == 0.9, NAN, CELL), "four corners of three numbers"),
        (CELL[:, :2], "four corners"),
        (CELL[[0, 1, 2, 2]], "no rectangle"),
        ([(41.0, 7.0, 0.3), (41.0, 9.0, 0.4)] * 2, "no rectangle"),  # of one latitude
        ([(41.0, 7.0, 0.3), (41.5, 7.0, 0.4)] * 2, "no rectangle"),  # of one longitude
        (np.vstack([CELL[:3], [(41.1, 9.0, 0.4)]]), "no rectangle"),
    ],
)
def test_corners_that_make_no_cell(corners, said):
    with pytest.raises(SettingsError, match=said):
        datum_shift(41.2, 8.0, corners)


def test_repeats_agree_up_to_the_tolerance_and_a_tenth_of_a_micrometre():
    table = [
        [3.1, 3.1 + 0.006 + 0.5e-7, NAN], [3.1, 3.1 + 0.006 + 2e-7, NAN], [3.1, 3.104, 3.102], [NAN, 4.2, NAN],
        [NAN, NAN, NAN], [5.0, 5.5, 6.0], [5.0, 5.5, 6.0],
    ]  # fmt: skip
    found = combine_repeats(table, [0.006, 0.006, 0.006, 0.006, 0.006, 0.006, 1.0])
    np.testing.assert_allclose(found.depth_m, [3.103000025, NAN, 3.102, 4.2, NAN, NAN, 5.5], rtol=1e-12)
    np.testing.assert_allclose(found.spread_m, [0.00600005, 0.0060002, 0.004, 0.0, NAN, 1.0, 1.0], atol=1e-12)
    assert found.count.tolist() == [2, 2, 3, 1, 0, 3, 3]
    assert found.disagree.tolist() == [False, True, False, False, False, True, False]
    chosen = combine_repeats(table, 0.006, chosen=[2, 0, 1, 0, 0, 3, 1])
    np.testing.assert_allclose(chosen.depth_m, [3.10600005, NAN, 3.1, 4.2, NAN, 6.0, 5.0], rtol=1e-12)
    assert chosen.disagree.tolist() == [False, True, False, False, False, False, False]
    assert not combine_repeats([[0.0, 1e-7]], 0.0).disagree[0]
    with pytest.raises(ShapeError, match=r"\(1, 1, 1\)"):
        combine_repeats([[[1.0]]], 0.006)


def test_signs_of_depths_heights_and_corrections():
    np.testing.assert_allclose(water_elevation([3.5, -0.25], 101.25, tape_correction_m=0.02), [97.73, 101.48])
    np.testing.assert_allclose(depth_of_two_readings([12.0, 30.0], [1.5, 0.25]), [10.5, 29.75])
    np.testing.assert_allclose(depth_below_ground([5.5, 5.2], [1.5, -1.2]), [4.0, 6.4])  # USGS TM 1-A1, figure 1
    np.testing.assert_allclose(product_corrected_elevation(39.14, [0.33, 0.5], [0.83, 0.7]), [39.4139, 39.49])
    np.testing.assert_allclose(sounded_depth(84.3, 1.2, tape_correction_m=-0.07), 85.43)
    screens = dry_bound_depth([12.0, 12.0, NAN, NAN, 9.0], [12.9, 10.4, 11.0, NAN, NAN], [13.0, 8.0, 8.0, 14.0, 8.0])
    np.testing.assert_array_equal(screens, [12.0, 10.4, 11.0, 14.0, 9.0])


def test_intervals_of_several_groups_and_none():
    found = in_force(
        ["b", "a", "b", "a", "c"], [5.0, 0.0, 0.0, 10.0, 3.0], [NAN, 10.0, 5.0, NAN, 4.0],
        ["a", "a", "b", "b", "c", "c", "d", "b"], [10.0, 9.0, 5.0, 4.9, 4.0, 3.0, 3.0, -1.0],
    )  # fmt: skip
    assert found.index.tolist() == [3, 1, 0, 2, -1, 4, -1, -1]
    assert found.count.tolist() == [1, 1, 1, 1, 0, 1, 0, 0]
    for empty in (in_force([], [], [], [1, 2], [0.0, 1.0]), in_force([1, 2], [0.0, 1.0], [NAN, NAN], [], [])):
        assert empty.index.tolist() == [-1] * empty.count.size
        assert empty.count.tolist() == [0] * empty.index.size
    nested = in_force([1, 1, 2], [0.0, 5.0, 0.0], [20.0, 6.0, NAN], [1, 1, 1, 2], [6.0, 5.5, 20.0, 6.0])
    assert (nested.index.tolist(), nested.count.tolist()) == ([0, -1, -1, 2], [1, 2, 0, 1])
    within = in_force([2, 1, 1], [0.0, 0.0, 5.0], [NAN, NAN, 6.0], [1], [8.0])
    assert within.index.tolist() == [1]
    assert in_force([1, 1], [5.0, 0.0], [6.0, 20.0], [1], [6.0]).index.tolist() == [1]
    for columns in (([1], [0.0, 1.0], [1.0], [1], [0.5]), ([1], [0.0], [1.0], [1, 2], [0.5])):
        with pytest.raises(ShapeError, match="expected equal shapes"):
            in_force(*columns)


def days(*texts):
    return np.array(texts, dtype="datetime64[D]")


#: Rows out of order: two checks of tape 4, one of them before 1970, and one of tape 2.
CHECKS = {
    "check_instrument": [4, 4, 2, 4, 4],
    "check_day": days("2020-05-01", "1969-03-01", "2019-01-01", "2020-05-01", "1969-03-01"),
    "check_tape_m": [40.0, 10.0, 20.0, 15.0, 30.0],
    "check_reference_m": [40.08, 10.01, 19.9, 15.03, 30.05],
}


def test_corrections_of_tapes_at_the_ends_of_their_checks():
    readings = [15.0, 14.9, 40.0, 40.1, 20.0, 10.0, 30.0, 30.5, 20.0, 20.1, NAN, 20.0, 20.0]
    tapes = [4, 4, 4, 4, 4, 4, 4, 4, 2, 2, 4, 2, 3]
    on = (
        ["2020-05-01"] * 4 + ["2021-01-01"] + ["1969-12-31"] * 3 + ["2019-01-01"] * 2 + ["2021-01-01", "2018-12-31"] * 1
    )
    found = tape_correction(readings, tapes, days(*on, "2021-01-01"), **CHECKS)
    between = 0.03 + (0.08 - 0.03) * 5 / 25
    expected = [0.03, 0.03, 0.08, 0.08, between, 0.01, 0.05, 0.05, -0.1, -0.1, NAN, 0.0, 0.0]
    np.testing.assert_allclose(found.correction_m, expected, atol=1e-12)
    assert found.beyond.tolist() == [False, True, False, True, *[False] * 3, True, False, True, *[False] * 3]
    assert found.check.tolist() == [2, 2, 2, 2, 2, 1, 1, 1, 0, 0, 2, -1, -1]
    assert found.checked.tolist() == [True] * 11 + [False] * 2
    assert found.check_instrument.tolist() == [2, 4, 4]
    np.testing.assert_array_equal(found.check_day, days("2019-01-01", "1969-03-01", "2020-05-01"))
    nothing = tape_correction([], [], days(), **CHECKS)
    assert nothing.correction_m.size == nothing.check.size == 0
    none = tape_correction([1.0, NAN], [1, 1], days("2020-01-01", "2020-01-01"), **{name: [] for name in CHECKS})
    np.testing.assert_array_equal(none.correction_m, [0.0, NAN])
    assert (none.check.tolist(), none.check_day.size) == ([-1, -1], 0)


@pytest.mark.parametrize("column", CHECKS)
def test_columns_of_checks_and_readings_are_of_one_length(column):
    with pytest.raises(ShapeError, match="columns of the tape checks differ"):
        tape_correction([1.0], [4], days("2020-01-01"), **{**CHECKS, column: CHECKS[column][:3]})
    for readings in (([1.0, 2.0], [4], days("2020-01-01")), ([1.0], [4], days("2020-01-01", "2020-01-02"))):
        with pytest.raises(ShapeError, match="Readings have shapes"):
            tape_correction(*readings, **CHECKS)


def test_stretch_by_warmth_pull_and_weight():
    """Usual figures of steel: 1.16e-5 per °C from 20 °C on, 200 GPa (from memory)."""
    assert float(temperature_correction(150.0, 32.0)) == pytest.approx(1.16e-5 * 150.0 * 12.0, rel=1e-12)
    assert float(temperature_correction(150.0, 32.0, standard_c=15.0, expansion_per_c=2e-5)) == pytest.approx(0.051)
    assert axial_stiffness(2.5) == pytest.approx(2.5e-6 * 2.0e11)
    assert axial_stiffness(0.5, 0.5) == pytest.approx(0.25e-6)
    for section, modulus in ((0.0, 1.0), (1.0, 0.0), (-1.0, 1.0), (1.0, -1.0)):
        with pytest.raises(SettingsError, match=f"not {section:g} mm² and {modulus:g} Pa"):
            axial_stiffness(section, modulus)
    both = tension_correction(80.0, 70.0, standard_n=45.0, stiffness_n=3e5, weight_n_per_m=0.15)
    assert float(both) == pytest.approx((80.0 * 25.0 + 0.15 * 80.0**2 / 2.0) / 3e5, rel=1e-12)


def test_states_of_thresholds_are_stored_as_these_numbers():
    elevations, bounds = [9.0, 11.0, 11.0, 9.0, NAN], [0, 0, -1, 1, 0]
    assert threshold_state(elevations, 10.0, kind="lower", bound=bounds).tolist() == [1, 0, -1, -1, -2]
    assert threshold_state(elevations, 10.0, kind="upper").tolist() == [0, 1, 1, 0, -2]


def test_parts_of_the_uncertainty_with_their_documented_defaults():
    """Defaults of a level: survey 30 mm, tape 3 mm to 200 ft, reference tape 3 mm, 1 mm a metre unchecked, splice 0.1 m."""
    n = 8
    given = {
        "depth_m": [-90.0, 20.0, NAN, 90.0, 20.0, 20.0, 20.0, 20.0],
        "by_tape": [True, True, True, True, False, True, True, True],
        "survey_accuracy_m": [0.02] * 7 + [NAN],
        "instrument_accuracy_m": [0.01, NAN, 0.01, NAN, 0.01, 0.01, 0.01, 0.01],
        "tape_checked": [True, False, False, False, False, False, True, False],
        "beyond_check_m": [4.0, NAN, 0.0, 0.0, 0.0, 0.0, NAN, 0.0],
        "spread_m": [0.004, 0.0, 0.0, 0.0, 0.002, 0.002, 0.002, 0.002],
        "repeat_count": [2, 1, 0, 1, 2, 3, 2, 1],
        "repeat_tolerance_m": [0.006] * n,
        "product_thickness_m": [NAN, 0.4, NAN, NAN, 0.3, NAN, NAN, NAN],
        "reading_accuracy_m": [NAN] * 5 + [0.05] + [NAN] * 2,
        "never_checked": [False] * 7 + [True],
        "stretch_half_width_m": [0.001, 0.002, 0.0, 0.0, 0.005, 0.005, 0.003, 0.0],
    }
    found = uncertainty_parts(**given)
    expected = {
        "survey_m": [0.02] * 7 + [SURVEY],
        "tape_m": [0.01 * max(90 / DEEP, 1), TAPE, 0.01, TAPE * max(90 / DEEP, 1), 0.01, 0.05, 0.01, 0.01],
        "check_m": [
            math.hypot(REFERENCE, 0.004), 0.02, 0.0, 0.09, 0.0, 0.0, REFERENCE, math.hypot(0.02, 0.1),
        ],
        "repeat_m": [0.002, 0.003, 0.003, 0.003, 0.0, 0.0, 0.001, 0.003],
        "density_m": [0.0, 0.02, 0.0, 0.0, 0.015, 0.0, 0.0, 0.0],
        "stretch_m": [0.001, 0.002, 0.0, 0.0, 0.0, 0.0, 0.003, 0.0],
    }  # fmt: skip
    for name, values in expected.items():
        np.testing.assert_allclose(getattr(found, name), values, rtol=1e-9, atol=1e-15, err_msg=name)
    total = np.sqrt(sum(np.square(values) for values in expected.values()))
    np.testing.assert_allclose(found.combined_m(), total, rtol=1e-9)
    plain = {name: values for name, values in given.items() if name not in OPTIONAL}
    bare = uncertainty_parts(**plain)
    np.testing.assert_allclose(bare.check_m[7], 0.02)
    np.testing.assert_allclose(bare.tape_m[5], 0.01)
    assert (bare.stretch_m == 0.0).all()


SURVEY, TAPE, REFERENCE, DEEP = 0.03, 0.003, 0.003, 60.96
OPTIONAL = ("reading_accuracy_m", "never_checked", "stretch_half_width_m")


def test_sums_and_differences_of_half_widths():
    np.testing.assert_allclose(combined_half_width(0.003, [0.004, 0.0], 0.012), [0.013, math.hypot(0.003, 0.012)])
    changes = half_width_of_change([0.05, 0.04], [0.06, 0.03], shared_m=[0.03, 0.0])
    np.testing.assert_allclose(changes, [math.sqrt(0.05**2 + 0.06**2 - 2 * 0.03**2), 0.05])
    np.testing.assert_allclose(unchecked_tape_m([30.0, NAN, 30.0], never_checked=[False, False, True]),
                               [0.03, 0.0, math.hypot(0.03, 0.1)])  # fmt: skip


def test_water_by_temperature_and_gravity_by_place():
    """Tanaka and others (2001) and Somigliana's formula with the constants of WGS 84, written out."""
    t = np.array([0.0, 7.3, 18.1, 31.0, 40.0])
    rho = 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
    np.testing.assert_allclose(water_density(t), rho, rtol=1e-12)
    latitude, height = np.array([-90.0, -33.0, 0.0, 51.0, 90.0]), np.array([0.0, 700.0, 20.0, 1500.0, 10.0])
    sine = np.sin(np.radians(latitude)) ** 2
    gravity = 9.7803253359 * (1 + 0.00193185265241 * sine) / np.sqrt(1 - 0.00669437999013 * sine) - 3.086e-6 * height
    np.testing.assert_allclose(normal_gravity(latitude, height), gravity, rtol=1e-12)
    np.testing.assert_allclose(normal_gravity(latitude[3]), gravity[3] + 3.086e-6 * 1500.0, rtol=1e-12)
    for beyond in (90.001, -90.001):
        with pytest.raises(ReductionError, match=f"latitude of {beyond} degrees"):
            normal_gravity([10.0, beyond, 95.0])
    column = water_column([52_130.0, 9_000.0], density_kg_m3=[998.2, 1001.0], gravity_m_s2=[9.81, 9.79])
    np.testing.assert_allclose(column, [52_130.0 / (998.2 * 9.81), 9_000.0 / (1001.0 * 9.79)], rtol=1e-12)
    np.testing.assert_allclose(sensor_depth_to_water([60.0, 2.0], [5.25, 3.0]), [54.75, -1.0])
