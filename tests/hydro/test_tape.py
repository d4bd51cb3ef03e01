import numpy as np
import pytest

from gwnet.errors import ShapeError
from gwnet.hydro.reduction.tape import tape_correction


def day(text):
    return np.array([text], "datetime64[D]")


CHECKS = {
    "check_instrument": [1, 1, 1, 1, 2],
    "check_day": np.array(["2020-01-01", "2020-01-01", "2021-01-01", "2021-01-01", "2019-06-01"], "datetime64[D]"),
    "check_tape_m": [10.0, 20.0, 10.0, 20.0, 5.0],
    "check_reference_m": [10.0, 20.0, 10.01, 20.04, 4.9],
}


@pytest.mark.parametrize(
    ("reading", "instrument", "when", "expected", "checked", "beyond"),
    [
        (15.0, 1, "2020-06-01", 0.0, True, False),
        (15.0, 1, "2021-06-01", 0.025, True, False),
        (15.0, 1, "2021-01-01", 0.025, True, False),
        (15.0, 1, "2019-12-31", 0.0, False, False),
        (25.0, 1, "2021-06-01", 0.04, True, True),
        (5.0, 1, "2021-06-01", 0.01, True, True),
        (50.0, 2, "2021-06-01", -0.1, True, True),
        (50.0, 3, "2021-06-01", 0.0, False, False),
        (50.0, -1, "2021-06-01", 0.0, False, False),
    ],
    ids=[
        "first check",
        "last check",
        "same day",
        "before any",
        "deeper",
        "shallower",
        "one point",
        "unchecked",
        "no tape",
    ],
)
def test_correction_comes_from_the_last_check_of_that_tape(reading, instrument, when, expected, checked, beyond):
    result = tape_correction([reading], [instrument], day(when), **CHECKS)
    assert result.correction_m[0] == pytest.approx(expected, abs=1e-12)
    assert result.checked[0] == checked
    assert result.beyond[0] == beyond


def test_missing_reading_has_missing_correction():
    assert np.isnan(tape_correction([np.nan], [1], day("2021-06-01"), **CHECKS).correction_m[0])


def test_without_checks_nothing_is_corrected():
    none = {name: [] for name in CHECKS}
    result = tape_correction([3.0], [1], day("2021-06-01"), **none)
    assert result.correction_m.tolist() == [0.0]
    assert not result.checked[0]


def test_columns_of_different_length_are_refused():
    with pytest.raises(ShapeError, match="differ in length"):
        tape_correction([1.0], [1], day("2021-01-01"), **{**CHECKS, "check_tape_m": [1.0]})
    with pytest.raises(ShapeError, match="expected equal shapes"):
        tape_correction([1.0, 2.0], [1], day("2021-01-01"), **CHECKS)


def test_an_instrument_numbered_0_has_its_checks_and_minus_1_has_none():
    day = np.array(["2024-05-01"], "datetime64[D]")
    checks = {"check_instrument": [0], "check_day": day, "check_tape_m": [10.0], "check_reference_m": [9.9]}
    corrections = tape_correction([10.0, 10.0], [0, -1], np.repeat(day, 2), **checks).correction_m
    assert corrections[0] == pytest.approx(-0.1)
    assert corrections[1] != pytest.approx(-0.1)
