"""Responses to air pressure and earth tides: known ones found again, against `numpy.linalg.lstsq`, with their limits."""

import numpy as np
import pytest

from gwnet.constants import NORMAL_95
from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.loggers.barometric import clark_efficiency, regression_efficiency
from gwnet.hydro.loggers.deconvolution import TIDE_EPOCH, TIDES, deconvolve_response, response_of_level
from gwnet.hydro.loggers.limits import half_width_of_sum, half_width_of_wandering_sum

HOURS = np.datetime64("2024-01-01", "us") + np.arange(24 * 120) * np.timedelta64(1, "h")


def air_of(count, rng):
    """Return hourly air pressure in metres of water: fronts of some days, and its own tide twice a day."""
    fronts = np.zeros(count)
    rate = 0.0
    for place, push in enumerate(rng.normal(size=count) * 0.0012):
        rate = 0.9 * rate + push
        fronts[place] = 0.985 * fronts[place - 1] + rate
    return 10.2 + fronts + 0.006 * np.cos(2 * np.pi * np.arange(count) / 12)


def answer_to(air, steps):
    """Return the level of a well that answers to a step of the air by these shares after 0, 1, 2... intervals."""
    impulses = np.diff(steps, prepend=0.0)
    changes = np.convolve(np.diff(air, prepend=air[0]), impulses)[: air.size]
    return 50.0 - np.cumsum(changes)


def late(count=37):
    """Return a response that starts at 0.25 and settles at 0.68."""
    return 0.68 - 0.43 * np.exp(-np.arange(count) / 8.0)


def tides_of(when, waves):
    days = (when - TIDE_EPOCH) / np.timedelta64(1, "D")
    return sum(
        size * np.cos(2 * np.pi * TIDES[name] * days - np.radians(phase)) for name, (size, phase) in waves.items()
    )


def test_a_known_response_and_known_tides_are_found_again():
    air = air_of(HOURS.size, np.random.default_rng(1))
    waves = {"M2": (0.012, 40.0), "O1": (0.008, 310.0)}
    level = answer_to(air, late()) + tides_of(HOURS, waves) + 0.001 * np.arange(HOURS.size)
    found = deconvolve_response(HOURS, level, air, lags=36, tides=["M2", "O1"])
    skip = slice(36, None)  # before that the air of days before the record still acts
    settled = deconvolve_response(HOURS[skip], level[skip], air[skip], lags=36, tides=["M2", "O1"])
    np.testing.assert_allclose(found.response, late(), atol=0.01)
    np.testing.assert_allclose(settled.lag_s, 3600.0 * np.arange(37))
    assert settled.explained > 0.999
    for tide in settled.tides:
        size, phase = waves[tide.name]
        assert tide.amplitude_m == pytest.approx(size, abs=1e-4)
        assert tide.phase_deg == pytest.approx(phase, abs=1.0)


def test_the_coefficients_are_those_of_lstsq():
    rng = np.random.default_rng(2)
    air = air_of(900, rng)
    level = answer_to(air, late(7)) + np.cumsum(rng.normal(size=900)) * 0.001
    level[300:310] = np.nan
    air[500] = np.nan
    found = deconvolve_response(HOURS[:900], level, air, lags=6, tides=["K1"])
    rows = []
    angle = 2 * np.pi * TIDES["K1"] * ((HOURS[:900] - TIDE_EPOCH) / np.timedelta64(1, "D"))
    for place in range(7, 900):
        falls = [air[place - lag - 1] - air[place - lag] for lag in range(7)]
        wave = [f(angle[place]) - f(angle[place - 1]) for f in (np.cos, np.sin)]
        rows.append([level[place] - level[place - 1], 1.0, *falls, *wave])
    table = np.array(rows)
    table = table[~np.isnan(table).any(axis=1)]
    expected = np.linalg.lstsq(table[:, 1:], table[:, 0], rcond=None)[0]
    np.testing.assert_allclose(found.response, np.cumsum(expected[1:8]), atol=1e-9)
    (tide,) = found.tides
    assert tide.amplitude_m == pytest.approx(np.hypot(*expected[8:]), abs=1e-9)
    assert found.count == len(table)


def test_changes_over_longer_spans_show_a_late_answer():
    """Of 0.25 at once and 0.68 in the end, changes over an hour see least."""
    rng = np.random.default_rng(3)
    air = air_of(HOURS.size, rng)
    level = answer_to(air, late(73)) + np.cumsum(rng.normal(size=HOURS.size)) * 2e-4
    hour, six, day = (regression_efficiency(level, air, of_changes=True, over=hours) for hours in (1, 6, 24))
    assert hour.efficiency + hour.half_width < six.efficiency < day.efficiency - day.half_width
    found = deconvolve_response(HOURS, level, air, lags=48)
    assert abs(found.response[-1] - 0.68) < found.half_width[-1] < 0.1
    assert found.response[0] == pytest.approx(0.25, abs=0.03)


def test_lags_too_short_for_the_answer_are_seen_not_to_settle():
    air = air_of(HOURS.size, np.random.default_rng(4))
    level = answer_to(air, late(73)) + np.cumsum(np.random.default_rng(5).normal(size=HOURS.size)) * 1e-4
    short, long = (deconvolve_response(HOURS, level, air, lags=lags) for lags in (6, 60))
    assert short.settling - short.settling_half_width > 0.05
    assert abs(long.settling) < max(long.settling_half_width, 0.02)


def test_a_tide_that_is_not_there_is_not_significant():
    rng = np.random.default_rng(6)
    air = air_of(HOURS.size, rng)
    level = answer_to(air, [0.4]) + np.cumsum(rng.normal(size=HOURS.size)) * 1e-3
    (tide,) = deconvolve_response(HOURS, level, air, lags=2, tides=["N2"]).tides
    assert tide.amplitude_m < 2 * tide.amplitude_half_width_m
    assert 0 <= tide.phase_deg < 360
    assert 0 < tide.phase_half_width_deg <= 180


@pytest.mark.parametrize(
    ("name", "hours"), [("M2", 12.4206), ("S2", 12.0), ("N2", 12.6583), ("K1", 23.9345), ("O1", 25.8193)]
)
def test_periods_of_the_tides(name, hours):
    """Periods in hours as they are printed in tables of tides, for example Melchior (1983) (from memory)."""
    assert 24.0 / TIDES[name] == pytest.approx(hours, abs=5e-5)


def test_steady_air_and_short_records_give_no_response():
    level = 50.0 + 0.01 * np.random.default_rng(7).normal(size=200)
    steady = deconvolve_response(HOURS[:200], level, np.full(200, 10.2), lags=3)
    assert np.isnan(steady.response).all()
    assert "cannot be separated from one another" in steady.why
    short = deconvolve_response(HOURS[:20], level[:20], level[:20], lags=12)
    assert np.isnan(short.response).all()
    assert "7 changes are too few for 14 coefficients" in short.why
    # five changes for each coefficient are enough: two lags, the air of the moment and the rise of the level
    air = air_of(20, np.random.default_rng(3))
    for size, answers in ((18, False), (19, False), (22, False), (23, True)):
        found = deconvolve_response(HOURS[:size], level[:size], np.append(air, air[::-1] + 0.1)[:size], lags=2)
        assert (not found.why) == answers, size
    for size in (0, 1, 2):
        assert deconvolve_response(HOURS[:size], level[:size], level[:size], lags=3).why


def test_what_does_not_fit_is_refused():
    values = np.arange(5.0)
    with pytest.raises(ReductionError, match=r"intervals run from 3600 to 7200 s"):
        deconvolve_response(HOURS[[0, 1, 2, 3, 5]], values, values, lags=0)
    with pytest.raises(ReductionError, match="no tide 'M4'"):
        deconvolve_response(HOURS[:5], values, values, lags=0, tides=["M4"])
    with pytest.raises(ReductionError, match="-1 lags"):
        deconvolve_response(HOURS[:5], values, values, lags=-1)
    with pytest.raises(ShapeError, match=r"\(5,\) and air pressures \(4,\)"):
        deconvolve_response(HOURS[:5], values, values[:4], lags=0)
    with pytest.raises(ReductionError, match="over 0 samples"):
        regression_efficiency(values, values, of_changes=True, over=0)
    with pytest.raises(ShapeError, match="expected"):
        half_width_of_sum(1.0)


def test_limits_of_independent_terms_are_those_of_the_textbook():
    """The mean of n normal values: half-width 1.96 / sqrt(n), wider by Student's t for 8 degrees of freedom, 2.306."""
    rng = np.random.default_rng(8)
    widths = half_width_of_sum(rng.normal(size=(500, 4000)) / 500)
    assert np.sqrt(np.mean(widths**2)) == pytest.approx(2.306 / np.sqrt(500), rel=0.02)
    assert np.isnan(half_width_of_sum([1.0, 2.0]))


def test_limits_cover_the_truth_where_levels_wander():
    """Levels that wander are correlated for ever: 95 % limits must cover, where the usual standard error does not."""
    runs, count = 150, 24 * 60
    covered = dict.fromkeys(("clark", "hour", "day", "response"), 0)
    usual = 0
    for seed in range(runs):
        rng = np.random.default_rng(seed)
        air = air_of(count, rng)
        level = answer_to(air, [0.5]) + np.cumsum(rng.normal(size=count)) * 6e-4
        clark = clark_efficiency(level, air)
        hour, day = (regression_efficiency(level, air, of_changes=True, over=hours) for hours in (1, 24))
        found = deconvolve_response(HOURS[:count], level, air, lags=6)
        pairs = {
            "clark": (clark.efficiency, clark.half_width),
            "hour": (hour.efficiency, hour.half_width),
            "day": (day.efficiency, day.half_width),
            "response": (found.response[-1], found.half_width[-1]),
        }
        for name, (value, half_width) in pairs.items():
            covered[name] += abs(value - 0.5) <= half_width
        change = air[24:] - air[:-24]
        left = (level[24:] - level[:-24]) + day.efficiency * change
        usual += abs(day.efficiency - 0.5) <= NORMAL_95 * left.std() / (change.std() * np.sqrt(change.size))
    for name, hits in covered.items():
        assert 0.88 <= hits / runs <= 0.995, name
    assert usual / runs < 0.6


def test_a_known_late_response_is_taken_out_of_the_level():
    air = air_of(HOURS.size, np.random.default_rng(4))
    steps = late()
    level = answer_to(air, steps)
    found = response_of_level(air, response=steps, half_width=np.zeros(steps.size), reference_air_pressure_m=air.mean())
    assert np.isnan(found.level_m[:36]).all()
    steady = (level + found.level_m)[36:]
    assert np.ptp(steady) < 1e-12 * 50
    assert not found.half_width_m[36:].any()


def test_a_response_is_the_sum_over_its_lags():
    rng = np.random.default_rng(5)
    air, steps = 10 + rng.normal(size=60), np.cumsum(rng.uniform(size=7)) / 7
    found = response_of_level(air, response=steps, half_width=steps / 10, reference_air_pressure_m=10.0)
    shares = np.diff(steps, prepend=0.0)
    for place in (6, 30, 59):
        lagged = air[place - 6 : place + 1][::-1] - 10.0
        assert found.level_m[place] == pytest.approx(float(shares @ lagged), abs=1e-12)
        worst = abs(lagged[-1]) * steps[-1] / 10 + float(np.abs(-np.diff(lagged)) @ steps[:-1]) / 10
        assert found.half_width_m[place] == pytest.approx(worst, abs=1e-12)


def test_air_pressure_that_is_missing_takes_the_response_away_for_as_long_as_the_well_answers():
    air = np.full(50, 10.0)
    air[20] = np.nan
    found = response_of_level(air, response=[0.1, 0.2, 0.3], half_width=[0, 0, 0], reference_air_pressure_m=10.0)
    assert np.flatnonzero(np.isnan(found.level_m)).tolist() == [0, 1, 20, 21, 22]
    at_once = response_of_level(air, response=[0.5], half_width=[0.1], reference_air_pressure_m=9.0)
    assert at_once.level_m[[0, 19]].tolist() == [0.5, 0.5]
    assert at_once.half_width_m[0] == pytest.approx(0.1)
    with pytest.raises(ShapeError, match="shapes do not fit"):
        response_of_level(air, response=[0.5], half_width=[0.1, 0.1], reference_air_pressure_m=9.0)


@pytest.mark.parametrize("days", [30, 90])
def test_limits_of_a_regression_of_levels_hold_in_short_records(days):
    """Water that wanders: the limits hold the truth in 9 of 10 simulated cases or more."""
    count, held = 24 * days, 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        air = air_of(count, rng)
        level = 50.0 - 0.5 * air + np.cumsum(rng.normal(size=count)) * 6e-4
        found = regression_efficiency(level, air, of_changes=False)
        held += abs(found.efficiency - 0.5) <= found.half_width
    assert held >= 36


def test_what_wanders_is_summed_by_its_changes():
    weights = np.array([0.5, -0.1, -0.4, 0.3, -0.3])
    wandering = np.array([1.0, 1.5, 1.2, 1.9, 1.4])
    by_parts = np.cumsum(weights)[:-1] * np.diff(wandering)
    assert -by_parts.sum() == pytest.approx(float(weights @ wandering))  # the weights add up to zero
    assert half_width_of_wandering_sum(weights, wandering) == half_width_of_sum(by_parts)
    with pytest.raises(ShapeError, match=r"expected \(n,\) twice"):
        half_width_of_wandering_sum(weights, wandering[1:])
