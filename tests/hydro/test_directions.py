"""Directions, vertical gradients and velocities; constructed numbers unless said."""

import math
from dataclasses import replace

import numpy as np
import pytest

from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.gradients.directions import directions, turn_between, turn_deg
from gwnet.hydro.gradients.horizontal import plane_gradient
from gwnet.hydro.gradients.seepage import parse_conductivity, parse_share, seepage_velocity, velocity_of
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
