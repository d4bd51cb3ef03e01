"""The table of defaults and limits has every marked number of the code, taken apart as its comment says."""

import re

import pytest

from gwnet.docs.constants import comments_of, describe_constant, describe_constants, list_constants

from ..helpers import ROOT


@pytest.fixture(scope="module")
def listed():
    return {constant.name: constant for constant in list_constants()}


def test_values_units_and_sources_are_those_of_the_code(listed):
    one = listed["constants.NEVER_CHECKED_TAPE_M"]
    assert (one.value, one.unit, one.source) == ("0.1", "m", "common practice, no source")
    assert one.meaning.endswith("a sensing point that is not at its zero.")
    assert listed["constants.BATTERY_LOW_V"].unit == "V"
    assert listed["constants.BATTERY_LOW_PERCENT"].unit == "%"
    assert listed["analysis.series.trend_thresholds.HORIZON_YEARS"].value == "50"
    assert "Abramowitz and Stegun (1964)" in listed["constants.NORMAL_95"].meaning


def test_every_number_that_is_marked_as_a_default_is_listed(listed):
    """Found by their lines alone, without the parser of the program."""
    below_comment = re.compile(r"((?:^#: .*\n)+)^([A-Z_0-9]+)(?:: Final[^=\n]*)? = (?:\d|-\d|\(\d)", re.MULTILINE)
    marked = {
        name
        for part in ("constants.py", "hydro/**/*.py", "analysis/**/*.py")
        for file in (ROOT / "gwnet").glob(part)
        for comment, name in below_comment.findall(file.read_text(encoding="utf-8"))
        if "project default" in " ".join(comment.replace("#:", "").split()).lower()
    }
    assert len(marked) > 100
    assert marked - {name.rpartition(".")[2] for name in listed} == set()


def test_every_row_has_a_value_a_meaning_and_a_source(listed):
    rows = describe_constants().splitlines()[2:]
    assert len(rows) == len(listed)
    for constant in listed.values():
        assert constant.value
        assert len(constant.meaning) > 10, constant
        assert constant.meaning.count("(") == constant.meaning.count(")"), constant
        assert "project default" not in constant.meaning.lower()


def test_constants_below_one_another_share_a_comment():
    source = "#: First [m]\n#: and second [d].\nA = 1\nB = 2\n\nC = 3\n#: Own.\nD = 4\n"
    shared = "First [m] and second [d]."
    assert comments_of(source) == {"A": (shared, 0), "B": (shared, 1), "D": ("Own.", 0)}


@pytest.mark.parametrize(
    ("comment", "unit", "meaning", "source"),
    [
        ("Least depth [m] (project default).", "m", "Least depth.", "project default"),
        ("Years (project default: two would do).", "", "Years: two would do.", "project default"),
        ("Share (project default, after simulation).", "", "Share.", "project default, after simulation"),
        ("Wells. Project default.", "", "Wells.", "project default"),
        ("Days [d]; Roe (1999).", "d", "Days; Roe (1999).", "named in the meaning"),
    ],
)
def test_a_comment_is_taken_apart(comment, unit, meaning, source):
    made = describe_constant("a.B", "1", comment)
    assert (made.unit, made.meaning, made.source) == (unit, meaning, source)
