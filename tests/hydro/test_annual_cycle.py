"""The annual cycle: waves that were put in come out, with limits that hold as often as they say; constructed."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gwnet.errors import ShapeError, TooFewLevelsError
from gwnet.hydro.seasons.annual_cycle import annual_cycle, year_part


def days(step=30, years=8, first=2000):
    return np.arange(f"{first}-01-15", f"{first + years}-01-15", step, dtype="M8[D]")


def wave(when, amplitude, highest):
    return amplitude * np.cos(2 * np.pi * (year_part(when) - highest / 365.0))


def apart(one, other):
    return abs((one - other + 182.5) % 365.0 - 182.5)


@given(
    amplitude=st.floats(0.05, 5.0),
    highest=st.floats(0.0, 364.0),
    slope=st.floats(-0.5, 0.5),
    step=st.sampled_from([14, 30, 61, 91]),
)
@settings(max_examples=40)
def test_a_wave_on_a_slope_comes_out(amplitude, highest, slope, step):
    when = days(step)
    value = 40.0 + slope * when.astype(np.int64) / 365.0 + wave(when, amplitude, highest)
    found = annual_cycle(when, value)
    assert found.amplitude == pytest.approx(amplitude, rel=1e-6)
    assert apart(found.highest_day, highest) < 1e-3
    assert found.p_value < 1e-6
    assert found.amplitude_lower <= found.amplitude <= found.amplitude_upper


@given(scale=st.sampled_from([0.3048, 10.0]), shift=st.floats(-100, 100))
@settings(max_examples=20)
def test_units_and_datum_change_nothing_but_the_amplitude(scale, shift):
    when = days()
    value = wave(when, 0.4, 100) + np.random.default_rng(5).normal(0, 0.1, when.size)
    one, other = annual_cycle(when, value), annual_cycle(when, scale * value + shift)
    assert other.amplitude == pytest.approx(scale * one.amplitude)
    assert other.amplitude_upper == pytest.approx(scale * one.amplitude_upper)
    assert other.highest_day == pytest.approx(one.highest_day)
    assert other.p_value == pytest.approx(one.p_value, rel=1e-6)


@pytest.mark.parametrize("correlation", [0.0, 0.8])
def test_limits_hold_about_as_often_as_they_say(correlation):
    random, when = np.random.default_rng(11), days(30, 12)
    held = timed = told = 0
    for _ in range(200):
        noise = random.normal(0, 1.0, when.size)
        for i in range(1, when.size):
            noise[i] = correlation * noise[i - 1] + math.sqrt(1 - correlation**2) * noise[i]
        found = annual_cycle(when, wave(when, 1.0, 110) + noise)
        held += found.amplitude_lower <= 1.0 <= found.amplitude_upper
        timed += apart(found.highest_day, 110) <= found.highest_day_half_width
        told += annual_cycle(when, noise).p_value <= 0.05
    assert 180 <= held <= 200
    assert 180 <= timed <= 200
    assert told <= 22


def test_residuals_that_go_together_widen_the_limits():
    random, when = np.random.default_rng(2), days(30, 12)
    steps = random.normal(0, 1, when.size)
    together = np.empty(when.size)
    together[0] = steps[0]
    for i in range(1, when.size):
        together[i] = 0.85 * together[i - 1] + math.sqrt(1 - 0.85**2) * steps[i]
    loose, tied = (annual_cycle(when, wave(when, 1.0, 50) + noise) for noise in (steps, together))
    assert loose.correlation < 0.3 < tied.correlation


def test_wet_and_dry_spells_are_not_taken_for_noise():
    when = days(30, 40)
    spell = 3.0 * np.sin(2 * np.pi * when.astype(np.int64) / 365.25 / 17.0)
    found = annual_cycle(when, spell + wave(when, 0.3, 80))
    assert found.p_value < 1e-4
    assert apart(found.highest_day, 80) < 15


def test_without_a_wave_there_is_none():
    assert annual_cycle(days(), np.full(days().size, 3.0)).amplitude == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("level", [3.0, 95.8, 1365.28464])
def test_values_that_are_all_alike_have_no_cycle_to_tell(level):
    """Constructed: rounding alone once made a wave of such values that was told."""
    found = annual_cycle(days(91, 14), np.full(days(91, 14).size, level))
    assert (found.amplitude, found.p_value) == (0.0, 1.0)
    assert math.isnan(found.highest_day_half_width)


def test_gaps_are_left_out():
    when = days()
    value = wave(when, 0.5, 200)
    value[::5] = np.nan
    assert annual_cycle(when, value).amplitude == pytest.approx(0.5)
    assert annual_cycle(when, value).count == int((~np.isnan(value)).sum())


@pytest.mark.parametrize(
    ("when", "words"),
    [
        (days(30, 2)[:-1], "years"),
        (days(91, 3)[:11], "values"),
        (np.array([f"{year}-{month}-10" for year in range(2000, 2012) for month in ("04", "10")], "M8[D]"), "months"),
    ],
)
def test_too_little_is_refused(when, words):
    with pytest.raises(TooFewLevelsError, match=words):
        annual_cycle(when, np.zeros(when.size))


def test_shapes_must_fit():
    with pytest.raises(ShapeError):
        annual_cycle(days(), [1.0])


@pytest.mark.parametrize("highest", [1.0, 100.0, 200.0, 300.0, 360.0])
def test_the_highest_day_is_a_day_of_one_year(highest):
    when = days()
    assert annual_cycle(when, wave(when, 0.4, highest)).highest_day == pytest.approx(highest, abs=1e-3)
