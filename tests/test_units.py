import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.constants import CONVENTIONAL_WATER_DENSITY_KG_M3, STANDARD_GRAVITY_M_S2
from gwnet.errors import UnitError
from gwnet.units import (
    PASCALS_PER_UNIT,
    from_pascals,
    is_feet,
    length_unit,
    metres_per,
    pascals_per,
    pressure_unit,
    shared_display_unit,
    temperature_unit,
    text_in_unit,
    to_celsius,
    to_pascals,
)


@pytest.mark.parametrize(
    ("written", "unit"), [("m", "m"), (" FT ", "ft"), ("ftus", "ftUS"), ("Mm", "mm"), ("cm", "cm")]
)
def test_unit_words(written, unit):
    assert length_unit(written) == unit


def test_both_feet_are_feet_and_metric_units_are_not():
    assert [is_feet(unit) for unit in ("ft", "ftUS", "m", "cm", "mm")] == [True, True, False, False, False]


@pytest.mark.parametrize(
    ("units", "shown"), [((), "m"), (("ft",), "ft"), (("ft", "ftUS"), "ft"), (("ftUS", "m"), "m"), (("cm",), "m")]
)
def test_lengths_are_shown_in_feet_only_where_every_site_has_feet(units, shown):
    assert shared_display_unit(units) == shown


def test_inches_are_refused_with_the_mend():
    with pytest.raises(UnitError, match="decimal feet, never inches"):
        length_unit("in")


def test_unknown_unit_names_the_known():
    with pytest.raises(UnitError, match="expected one of m, cm, mm, ft, ftUS"):
        metres_per("fathom")


@pytest.mark.parametrize(
    ("written", "unit"), [("KPA", "kPa"), (" hpa", "hPa"), ("PSI", "psi"), ("mh2o", "mH2O"), ("InHg", "inHg")]
)
def test_words_of_pressure(written, unit):
    assert pressure_unit(written) == unit


@pytest.mark.parametrize(
    ("written", "unit"),
    [("degC", "degC"), ("°C", "degC"), ("C", "degC"), ("℃", "degC"), (" °f ", "degF"), ("deg F", "degF")],
)
def test_words_of_temperature(written, unit):
    assert temperature_unit(written) == unit


@pytest.mark.parametrize(("function", "word"), [(pressure_unit, "MPa"), (pascals_per, "m"), (temperature_unit, "K")])
def test_a_unit_of_another_kind_is_refused_with_the_known_ones(function, word):
    with pytest.raises(UnitError, match=rf"{word}.*expected .*(Pa, hPa, kPa|degC or degF)"):
        function(word)


def test_names_of_units_differ_in_more_than_letter_case():
    assert len({unit.lower() for unit in PASCALS_PER_UNIT}) == len(PASCALS_PER_UNIT)


def test_the_columns_of_water_rest_on_the_constants():
    assert PASCALS_PER_UNIT["mH2O"] == CONVENTIONAL_WATER_DENSITY_KG_M3 * STANDARD_GRAVITY_M_S2


def test_arrays_are_converted_element_by_element_and_nan_stays():
    pressures = to_pascals(np.array([[1.0, np.nan], [-2.5, 0.0]]), "kPa")
    np.testing.assert_array_equal(pressures, [[1000.0, np.nan], [-2500.0, 0.0]])
    np.testing.assert_array_equal(to_celsius(np.array([32.0, np.nan, -40.0]), "degF"), [0.0, np.nan, -40.0])


values = st.floats(-1e6, 1e6)


@given(values, st.sampled_from(sorted(PASCALS_PER_UNIT)))
def test_pressures_come_back(value, unit):
    assert from_pascals(to_pascals(value, unit), unit) == pytest.approx(value, rel=1e-14, abs=1e-300)


@given(values, st.sampled_from(sorted(PASCALS_PER_UNIT)), st.sampled_from(sorted(PASCALS_PER_UNIT)))
def test_the_way_through_a_third_unit_changes_nothing(value, first, second):
    pascals = to_pascals(value, first)
    assert to_pascals(from_pascals(pascals, second), second) == pytest.approx(pascals, rel=1e-14, abs=1e-300)


def test_signed_lengths_of_a_sentence_are_turned_and_nothing_else():
    text = "gap of 3 m and 12.5 m: median shift +0.16 m (-0.67 m to +1.58 m), -0.20 m/year"
    turned = "gap of 3 m and 12.5 m: median shift +0.52 ft (-2.20 ft to +5.18 ft), -0.20 m/year"
    assert text_in_unit(text, "ft") == turned
    assert text_in_unit(text, "m") == text


def test_every_length_of_a_sentence_is_converted_on_request():
    text = "levels stepped by -0.0500 m (standard error 0.0100 m), -12.7 mm per metre of depth"
    assert text_in_unit(text, "ft", signed_only=False) == (
        "levels stepped by -0.1640 ft (standard error 0.0328 ft), -12.7 mm per metre of depth"
    )
    assert "0.0100 m)" in text_in_unit(text, "ft")
