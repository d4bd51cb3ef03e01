"""Limits of what a correction may say: numbers that water and the Earth can have are taken, others refused in words."""

import pytest

from gwnet.analysis.loggers.correction_kinds import check_parameters
from gwnet.errors import AnalysisError

#: Kind, parameter, another one that the kind needs with it, lowest and highest number.
RANGES = [
    ("density", "kg_m3", {}, 900.0, 1400.0),
    ("density", "gravity_m_s2", {"kg_m3": 1000.0}, 9.7, 9.9),
    ("density", "temperature", {}, 0.0, 40.0),
    ("efficiency", "value", {}, 0.0, 1.0),
    ("efficiency", "lags", {}, 0.0, 240.0),
]


@pytest.mark.parametrize(("kind", "name", "needed", "low", "high"), RANGES)
def test_a_number_is_taken_from_its_lowest_to_its_highest(kind, name, needed, low, high):
    for number in (low, high):
        assert check_parameters(kind, {**needed, name: number}, start=None, end=None)[name] == number
    for number in (low - 1e-6, high + 1e-6, float("nan"), float("inf")):
        with pytest.raises(AnalysisError, match=f"cannot be the {name} of '{kind}'") as refused:
            check_parameters(kind, {**needed, name: number}, start=None, end=None)
        assert f"from {low:g} to {high:g}" in str(refused.value.fix)


@pytest.mark.parametrize("gravity", [9.780, 9.832])
def test_gravity_of_the_equator_and_of_the_poles_is_taken(gravity):
    """Normal gravity at sea level, 9.780 and 9.832 m/s² (Moritz 2000, Geodetic Reference System 1980)."""
    given = {"kg_m3": 1000.0, "gravity_m_s2": gravity}
    assert check_parameters("density", given, start=None, end=None) == given


def test_a_factor_is_above_zero():
    assert check_parameters("scale", {"factor": 1e-9}, start=None, end=None) == {"factor": 1e-9}
    for factor in (0.0, -1.0):
        with pytest.raises(AnalysisError, match="cannot be the factor of 'scale'"):
            check_parameters("scale", {"factor": factor}, start=None, end=None)
