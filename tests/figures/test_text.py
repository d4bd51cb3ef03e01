"""Text from the record, its measure, and the decimals of numbers."""

import math

import pytest

from gwnet.figures.base.text import (
    decimals_for,
    decimals_of_step,
    fit,
    number_text,
    shown,
    text_width_pt,
    wrap,
)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("$x_1$ <b>bold</b> & \\frac{a}{b}", "$x_1$ <b>bold</b> & \\frac{a}{b}"),
        ("two\nlines\tand\x07more", "two lines and more"),
        ("井 no 2", "[U+4E95] no 2"),
        ("Ærø – Žďár ≤ 3 m²", "Ærø – Žďár ≤ 3 m²"),
        ("bad \ud800 half", "bad [U+D800] half"),
        (None, ""),
        (math.nan, ""),
    ],
)
def test_text_from_the_record_is_shown_as_it_is_and_nothing_disappears(value, text):
    assert shown(value) == text


def test_width_grows_with_size_and_text():
    assert text_width_pt("GW-01", 10.0) == pytest.approx(2 * text_width_pt("GW-01", 5.0))
    assert text_width_pt("GW-01 x", 10.0) > text_width_pt("GW-01", 10.0)
    assert text_width_pt("GW-01", 10.0, bold=True) > text_width_pt("GW-01", 10.0)


def test_wrapped_lines_are_not_wider_than_asked_and_lose_no_letter():
    text = "no measurement on the date because the road was flooded; seeAVeryLongWordThatHasNoBreakInItAtAll then on"
    lines = wrap(text, 80.0, 6.3)
    assert all(text_width_pt(line, 6.3) <= 80.0 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_a_number_stays_with_its_unit_and_its_uncertainty():
    text = "contour interval 0.5 m, gradient 0.0021 ± 0.0003 m/m towards the sea for 12 days."
    for width in range(40, 200, 7):
        lines = wrap(text, float(width), 6.3)
        whole = [line for line in lines if "0.5" in line]
        assert all("0.5 m," in line for line in whole)
        assert not any(line.startswith(("m,", "±", "days")) for line in lines)


def test_a_text_too_wide_ends_in_an_ellipsis_that_fits():
    short = fit("A very long name of a well", 50.0, 6.3)
    assert short.endswith("…")
    assert text_width_pt(short, 6.3) <= 50.0
    assert fit("GW-01", 50.0, 6.3) == "GW-01"


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(-1.5, 1, "−1.5"), (-0.0004, 2, "0.00"), (48.2135, 3, "48.214"), (1e6, 0, "1000000")],
)
def test_numbers_have_a_true_minus_and_no_minus_zero(value, decimals, text):
    assert number_text(value, decimals) == text


@pytest.mark.parametrize(
    ("half_width_m", "unit", "decimals"),
    [(0.012, "m", 3), (0.03, "m", 2), (0.3, "m", 1), (0.012, "ft", 2), (0.0001, "m", 3), (math.nan, "m", 2)],
)
def test_decimals_follow_the_uncertainty(half_width_m, unit, decimals):
    assert decimals_for([half_width_m], unit) == decimals


@pytest.mark.parametrize(("step", "decimals"), [(5.0, 0), (0.5, 1), (0.25, 2), (0.002, 3)])
def test_decimals_of_a_step(step, decimals):
    assert decimals_of_step(step) == decimals
