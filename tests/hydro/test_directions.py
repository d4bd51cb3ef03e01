"""Directions, vertical gradients and velocities; constructed numbers unless said."""

import math
from dataclasses import replace

import numpy as np
import pytest

from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.gradients.directions import Turn, directions, turn_between, turn_deg
from gwnet.hydro.gradients.horizontal import plane_gradient
from gwnet.hydro.gradients.seepage import (
    Interval,
    parse_conductivity,
    parse_share,
    seepage_velocity,
    velocity_of,
)
from gwnet.hydro.gradients.vertical import vertical_gradients

X, Y = np.random.default_rng(2).uniform(0, 500, (2, 9))


def plane(east, north, half_width=0.005):
    return plane_gradient(X, Y, 30 - east * X - north * Y, half_width)


@pytest.mark.parametrize("seed", range(5))
def test_mean_and_concentration_are_those_of_the_sum_of_unit_vectors(seed):
    turned = np.random.default_rng(seed).vonmises(1.0, 2.0, 40)
    east, north = np.sin(turned).mean(), np.cos(turned).mean()
    spread = directions(np.degrees(turned))
    assert spread.mean_deg == pytest.approx(math.degrees(math.atan2(east, north)) % 360)
    assert spread.concentration == pytest.approx(math.hypot(east, north))


def test_directions_on_both_sides_of_north_have_their_mean_below_360():
    assert directions([0.0, 360.0]).mean_deg == 0.0
    assert directions([359.0, 359.0]).mean_deg == pytest.approx(359.0)


def test_opposite_directions_cancel():
    found = directions([90.0, 270.0])
    assert found.concentration == pytest.approx(0.0, abs=1e-12)
    assert directions([np.nan]).n == 0
    assert math.isnan(directions([]).mean_deg)


def test_turn_is_the_short_way():
    assert turn_deg([10, 350, 0, 0, 90], [350, 10, 180, -180, 90]).tolist() == [-20, 20, 180, 180, 0]


def test_reversal():
    turn = turn_between(plane(0.002, 0.0), plane(-0.002, 0.0002))
    assert turn.verdict == "reversal"
    assert abs(turn.angle_deg) == pytest.approx(174.29, abs=0.01)
    assert "reversed" in turn.text


def test_turned_and_not_apart():
    assert turn_between(plane(0.002, 0.0), plane(0.002, 0.001)).verdict == "turned"
    assert turn_between(plane(0.002, 0.0), plane(0.002, 0.00001)).verdict == "not distinguishable"
    assert "anticlockwise" in turn_between(plane(0.002, 0.0), plane(0.002, 0.001)).text


def test_a_direction_that_is_not_determined_is_never_a_reversal():
    turn = turn_between(plane(0.002, 0.0), plane(-1e-6, 0.0))
    assert turn.verdict == "not determined"
    assert math.isnan(turn.half_width_deg)
    assert "is not known" in turn.text


def test_vertical_gradient_that_is_not_distinguishable_from_none():
    found = vertical_gradients(
        50, 40, [20.0, 20.0], [20.004, 20.02], upper_half_width_m=0.006, lower_half_width_m=0.008
    )
    assert found.half_width_m == pytest.approx([0.01, 0.01])
    assert found.determined.tolist() == [False, True]
    assert found.gradient[1] == pytest.approx(0.002)
    assert found.gradient_half_width == pytest.approx([0.001, 0.001])


def test_without_half_widths_nothing_vertical_is_determined():
    assert not vertical_gradients(50, 40, 20, 25).determined


def test_upper_screen_must_stand_above():
    with pytest.raises(AnalysisError, match="is not above"):
        vertical_gradients(40, 40, 1, 2)


@pytest.mark.parametrize(
    ("text", "per_day"),
    [
        ("12 m/d", 12.0),
        ("12m/day", 12.0),
        ("1e-4 cm/s", 0.0864),
        ("100 ft/d", 30.48),
        ("1 gpd/ft2", 0.0407458),
        ("1 gpd/ft²", 0.0407458),
        ("0.5 mm/s", 43.2),
    ],
)
def test_conductivity_units(text, per_day):
    """1 gallon per day and square foot is 0.0407 m/d (table of conversion factors, Heath, 1983; from memory)."""
    assert parse_conductivity(text).lowest * 86400 == pytest.approx(per_day, rel=1e-5)


@pytest.mark.parametrize("text", ["", "12", "m/d", "0 m/d", "-3 m/d", "12 m", "20..5 m/d", "12 furlong/d", "nan m/d"])
def test_conductivity_that_is_none(text):
    with pytest.raises(SettingsError):
        parse_conductivity(text)


@pytest.mark.parametrize("text", ["", "0", "1", "22 %", "1.2", "0.3..0.2", "-0.1", "0.2 m"])
def test_porosity_that_is_none(text):
    with pytest.raises(SettingsError):
        parse_share(text, "porosity")


def test_range_of_velocity():
    """Worst together: 5 m/d × 0.0008 / 0.25 to 20 m/d × 0.0012 / 0.16; middle: 10 m/d × 0.001 / 0.2."""
    found = seepage_velocity(
        0.001, parse_conductivity("5..20 m/d"), parse_share("0.16..0.25", "porosity"), gradient_half_width=0.0002
    )
    daily = np.array([found.lowest_m_s, found.velocity_m_s, found.highest_m_s]) * 86400
    assert daily == pytest.approx([0.016, 0.05, 0.15])


def test_velocity_of_a_plane_never_runs_backward():
    found = velocity_of(plane(1e-6, 0.0, 0.05), parse_conductivity("10 m/d"), parse_share("0.2", "porosity"))
    assert found.lowest_m_s == 0.0
    assert found.highest_m_s > found.velocity_m_s


def test_a_turn_with_limits_that_reach_below_a_quarter_circle_is_no_reversal():
    first = replace(plane(0.002, 0.0), azimuth_deg=0.0, clockwise_deg=30.0, anticlockwise_deg=30.0)
    for angle, verdict in ((150.0, "reversal"), (120.0, "turned"), (40.0, "not distinguishable")):
        found = turn_between(first, replace(first, azimuth_deg=angle))
        assert (found.half_width_deg, found.verdict) == (pytest.approx(math.hypot(30.0, 30.0)), verdict)


@pytest.mark.parametrize(
    ("first", "second", "second_deg", "angle", "width", "verdict"),
    [
        # clockwise from 0°: the clockwise reach of the first and the anticlockwise one of the second face each other
        ((5.0, 36.0), (48.0, 7.0), 150.0, 150.0, 60.0, "turned"),
        ((5.0, 36.0), (48.0, 7.0), 150.5, 150.5, 60.0, "reversal"),
        ((36.0, 5.0), (7.0, 48.0), 209.5, -150.5, 60.0, "reversal"),
        ((36.0, 5.0), (7.0, 48.0), 210.0, -150.0, 60.0, "turned"),
        ((5.0, 36.0), (48.0, 7.0), 60.0, 60.0, 60.0, "not distinguishable"),
        ((36.0, 5.0), (7.0, 48.0), 300.0, -60.0, 60.0, "not distinguishable"),
        ((36.0, 5.0), (7.0, 48.0), 299.0, -61.0, 60.0, "turned"),
        ((5.0, 36.0), (48.0, 7.0), 0.0, 0.0, 60.0, "not distinguishable"),
        # no interval is larger than half a circle
        ((5.0, 150.0), (150.0, 7.0), 40.0, 40.0, 180.0, "not distinguishable"),
    ],
)
def test_the_arcs_that_face_each_other_decide_whether_directions_differ(
    first, second, second_deg, angle, width, verdict
):
    """Reaches of 36° and 48° make 60° (Pythagoras)."""
    one = replace(plane(0.002, 0.0), azimuth_deg=0.0, anticlockwise_deg=first[0], clockwise_deg=first[1])
    other = replace(one, azimuth_deg=second_deg, anticlockwise_deg=second[0], clockwise_deg=second[1])
    turn = turn_between(one, other)
    assert (turn.angle_deg, turn.half_width_deg, turn.verdict) == (angle, pytest.approx(width, rel=1e-14), verdict)


@pytest.mark.parametrize("determined", [(True, False), (False, True), (False, False)])
def test_both_directions_must_be_determined(determined):
    one, other = (replace(plane(0.002, 0.001), determined=each) for each in determined)
    assert turn_between(one, other).verdict == "not determined"


@pytest.mark.parametrize(
    ("turn", "text"),
    [
        (
            Turn(-150.4, 12.2, "reversal"),
            "The direction of flow is reversed: it differs by 150° ± 13° anticlockwise, more than 90° beyond doubt.",
        ),
        (Turn(40.6, 12.0, "turned"), "The direction of flow is turned by 41° ± 12° clockwise."),
        (
            Turn(0.0, 3.1, "not distinguishable"),
            "The directions of flow are not distinguishable: they differ by 0° ± 4° clockwise.",
        ),
        (
            Turn(90.0, 0.0, "not determined"),
            "Whether the direction of flow differs is not known: it is not determined on both days.",
        ),
    ],
)
def test_a_turn_in_words(turn, text):
    assert turn.text == text


def test_unknown_directions_are_passed_over():
    found = directions([30.0, np.nan, 90.0])
    assert (found.n, found.mean_deg) == (2, pytest.approx(60.0))
    # two unit vectors 60° apart
    assert found.concentration == pytest.approx(math.sqrt(3) / 2)


def test_every_field_of_a_vertical_gradient():
    """Screens 4 m apart; half-widths 0.3 and 0.4 m make 0.5 m, which a difference must exceed."""
    found = vertical_gradients(
        [57.0, 57.0, 57.0],
        53.0,
        [60.0, 60.0, 60.0],
        [60.5, 59.25, 60.75],
        upper_half_width_m=0.3,
        lower_half_width_m=0.4,
    )
    assert found.rise_m.tolist() == [4.0, 4.0, 4.0]
    assert found.head_difference_m.tolist() == [0.5, -0.75, 0.75]
    assert found.half_width_m.tolist() == [0.5, 0.5, 0.5]
    assert found.gradient.tolist() == [0.125, -0.1875, 0.1875]
    assert found.gradient_half_width.tolist() == [0.125, 0.125, 0.125]
    assert found.determined.tolist() == [False, True, True]
    assert vertical_gradients(53.25, 53.0, 60.0, 60.5).gradient == 2.0


@pytest.mark.parametrize(
    ("text", "metres_per_second"),
    [
        *((f"7 m/{unit}", 7.0) for unit in ("s", "sec")),
        ("7 m/min", 7.0 / 60.0),
        *((f"7 m/{unit}", 7.0 / 3600.0) for unit in ("h", "hr")),
        *((f"7 m/{unit}", 7.0 / 86400.0) for unit in ("d", "day", "D", "Day")),
        # a year of 365.25 days
        *((f"7 m/{unit}", 7.0 / 31_557_600.0) for unit in ("y", "yr", "a", "year")),
        ("7 cm/s", 0.07),
        ("7 mm/s", 0.007),
        ("7 ft/s", 7.0 * 0.3048),
        (".7e1  m / s ", 7.0),
        ("+7 m/s", 7.0),
        # a gallon is 231 cubic inches; an inch 0.0254 m, a foot 12 inches (by definition)
        ("7 gpd/ft2", 7.0 * 231 * 0.0254**3 / 0.3048**2 / 86400),
        ("7 GPD/ft^2", 7.0 * 231 * 0.0254**3 / 0.3048**2 / 86400),
    ],
)
def test_units_of_conductivity_exactly(text, metres_per_second):
    found = parse_conductivity(text)
    assert found.lowest == pytest.approx(metres_per_second, rel=1e-12)
    assert (found.highest, found.text) == (found.lowest, text.strip())


def test_intervals_are_kept_with_their_text_and_geometric_mean():
    found = parse_conductivity(" 2 .. 8 cm/s ")
    assert (found.lowest, found.highest) == pytest.approx((0.02, 0.08), rel=1e-12)
    assert (found.middle, found.text) == (pytest.approx(0.04, rel=1e-12), "2 .. 8 cm/s")
    assert parse_share(" 0.2..0.2 ", "porosity") == Interval(0.2, 0.2, "0.2..0.2")
    assert parse_share("0.02..0.32", "porosity").middle == pytest.approx(0.08, rel=1e-12)
    assert Interval(0.3, 0.3, "").middle == 0.3


KNOWN_UNITS = "Write m/d, m/s, cm/s, ft/d or gpd/ft2, for example 12 m/d."
CONDUCTIVITY = "Write for example 12 m/d or 5..20 m/d."
SHARE = "Write for example 0.22, or 0.15..0.25 for an interval; no per cent."


@pytest.mark.parametrize(
    ("parse", "message", "fix"),
    [
        (lambda: parse_conductivity("m/d"), "'m/d' is not a hydraulic conductivity.", CONDUCTIVITY),
        (
            lambda: parse_conductivity(" 20..5 m/d"),
            "The interval '20..5 m/d' does not run from lower to higher.",
            CONDUCTIVITY,
        ),
        (
            lambda: parse_conductivity("2..1e999 m/d"),
            "The interval '2..1e999 m/d' does not run from lower to higher.",
            CONDUCTIVITY,
        ),
        (
            lambda: parse_conductivity("1e999 m/d"),
            "The interval '1e999 m/d' does not run from lower to higher.",
            CONDUCTIVITY,
        ),
        (
            lambda: parse_conductivity("0..2 m/d"),
            "A hydraulic conductivity must be greater than 0, not '0..2 m/d'.",
            "",
        ),
        (
            lambda: parse_conductivity("12 furlong/d"),
            "'12 furlong/d' has no unit of hydraulic conductivity that is known.",
            KNOWN_UNITS,
        ),
        (
            lambda: parse_conductivity("12 m/week"),
            "'12 m/week' has no unit of hydraulic conductivity that is known.",
            KNOWN_UNITS,
        ),
        (
            lambda: parse_share("22 %", "effective porosity"),
            "An effective porosity is a number greater than 0 and less than 1, not '22 %'.",
            SHARE,
        ),
        (
            lambda: parse_share("0..0.3", "porosity"),
            "A porosity is a number greater than 0 and less than 1, not '0..0.3'.",
            SHARE,
        ),
        (
            lambda: parse_share("0.3..1", "porosity"),
            "A porosity is a number greater than 0 and less than 1, not '0.3..1'.",
            SHARE,
        ),
        (lambda: parse_share("much", "porosity"), "'much' is not a porosity.", "Write for example 0.22 or 0.15..0.25."),
    ],
)
def test_what_is_no_conductivity_or_share_says_how_to_write_it(parse, message, fix):
    with pytest.raises(SettingsError) as raised:
        parse()
    assert raised.value.message == message
    assert (raised.value.fix or "") == fix


def test_velocity_without_a_half_width_keeps_the_range_of_what_was_put_in():
    conductivity, porosity = parse_conductivity("2..8 m/s"), parse_share("0.1..0.4", "porosity")
    for width, low, high in ((math.nan, 0.015, 0.24), (0.001, 0.01, 0.32), (0.004, 0.0, 0.56)):
        found = seepage_velocity(0.003, conductivity, porosity, gradient_half_width=width)
        assert (found.lowest_m_s, found.highest_m_s) == pytest.approx((low, high), rel=1e-12)
        assert found.velocity_m_s == pytest.approx(0.06, rel=1e-12)
        assert (found.conductivity, found.porosity) == (conductivity, porosity)
    of_plane = velocity_of(plane(0.003, 0.0), conductivity, porosity)
    half_width = plane(0.003, 0.0).magnitude_half_width
    assert of_plane.highest_m_s == pytest.approx(8 * (0.003 + half_width) / 0.1, rel=1e-9)
    assert half_width > 0.0
