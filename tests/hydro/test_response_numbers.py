"""Efficiencies, responses to air and their limits, drift and air of a site: every number that is given, worked out anew.

With `numpy.linalg.pinv`, `scipy.stats` and the formulas as printed; sources are named in the modules.
"""

import numpy as np
import pytest
from scipy import stats

from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.loggers.barometric import (
    clark_efficiency,
    regression_efficiency,
    without_barometric_response,
)
from gwnet.hydro.loggers.deconvolution import TIDE_EPOCH, TIDES, deconvolve_response, response_of_level
from gwnet.hydro.loggers.drift import anchor_levels, leave_one_out
from gwnet.hydro.loggers.limits import half_width_of_sum, half_width_of_wandering_sum
from gwnet.hydro.loggers.sea_level import station_pressure, station_pressure_half_width

NAN = float("nan")
HOUR = np.timedelta64(3_600_000_000, "us")
SECOND = np.timedelta64(1_000_000, "us")
START = np.datetime64("2024-01-01", "us")


def half_width(terms, cosines):
    """Return Student's t times the root of the mean square of weighted cosine sums, by Lazarus and others (2018)."""
    n = len(terms)
    sums = [
        sum(term * np.cos(np.pi * k * (t + 0.5) / n) for t, term in enumerate(terms)) for k in range(1, cosines + 1)
    ]
    return stats.t.ppf(0.975, cosines) * np.sqrt(2 * sum(total**2 for total in sums) / cosines)


@pytest.mark.parametrize(
    ("count", "cosines"), [(3, 1), (4, 1), (7, 1), (8, 2), (15, 2), (16, 3), (60, 6), (86, 8), (90, 8), (400, 8)]
)
def test_limits_use_four_tenths_of_the_two_thirds_power_of_the_count(count, cosines):
    """0.4 n^(2/3) cosines, rounded: 8 of 8 samples would be 1.6, of 60 6.1, of 90 8.03; no more than 8."""
    terms = np.random.default_rng(count).normal(size=count) + 0.3
    assert float(half_width_of_sum(terms)) == pytest.approx(half_width(terms, cosines), rel=1e-9)
    both = half_width_of_sum(np.column_stack([terms, 2.0 * terms]))
    np.testing.assert_allclose(both, half_width(terms, cosines) * np.array([1.0, 2.0]), rtol=1e-9)


@pytest.mark.parametrize("shape", [(0,), (2,), (2, 3)])
def test_limits_of_fewer_than_three_terms_are_not_known(shape):
    found = half_width_of_sum(np.ones(shape))
    assert found.shape == shape[1:]
    assert np.isnan(found).all()


def test_limits_of_what_wanders_need_four_samples_of_one_shape():
    rng = np.random.default_rng(1)
    weights, walk = rng.normal(size=20), rng.normal(size=20)
    expected = half_width(np.cumsum(weights)[:19] * (walk[1:] - walk[:-1]), 3)
    assert float(half_width_of_wandering_sum(weights, walk)) == pytest.approx(expected, rel=1e-9)
    assert np.isnan(half_width_of_wandering_sum(weights[:3], walk[:3]))
    assert np.isfinite(half_width_of_wandering_sum(weights[:4], walk[:4]))
    with pytest.raises(ShapeError, match="expected"):
        half_width_of_wandering_sum(weights[:, None], walk[:, None])


def test_clark_efficiency_and_its_limits():
    rng = np.random.default_rng(2)
    air = 10.0 + np.cumsum(rng.normal(size=40)) * 0.01
    air[7] = air[6]
    level = 50.0 - 0.4 * air + rng.normal(size=40) * 0.002
    level[20] = NAN
    rise, fall = np.diff(level), -np.diff(air)
    known = ~np.isnan(rise)
    signed = np.where(fall > 0, rise, np.where(fall < 0, -rise, 0.0))
    efficiency = signed[known].sum() / np.abs(fall[known]).sum()
    found = clark_efficiency(level, air)
    assert found.efficiency == pytest.approx(efficiency, rel=1e-9)
    np.testing.assert_allclose(found.air_sum_m, np.cumsum(np.where(known, np.abs(fall), 0)), rtol=1e-9)
    np.testing.assert_allclose(found.water_sum_m, np.nancumsum(signed), rtol=1e-9, atol=1e-15)
    influence = (signed - efficiency * np.abs(fall))[known] / np.abs(fall[known]).sum()
    assert found.half_width == pytest.approx(half_width(influence, 4), rel=1e-9)  # 37 changes: 0.4 * 37^(2/3) = 4.4


@pytest.mark.parametrize(("of_changes", "over"), [(True, 1), (True, 3), (False, 1)])
def test_regression_efficiency_and_its_limits(of_changes, over):
    rng = np.random.default_rng(3)
    air = 10.0 + np.cumsum(rng.normal(size=60)) * 0.01
    level = 50.0 - 0.4 * air + np.cumsum(rng.normal(size=60)) * 0.001
    level[11] = air[30] = NAN
    found = regression_efficiency(level, air, of_changes=of_changes, over=over)
    assert over > 1 or found == regression_efficiency(level, air, of_changes=of_changes)
    x, y = (values[over:] - values[:-over] if of_changes else values for values in (air, level))
    known = ~np.isnan(x + y)
    x, y = x[known], y[known]
    line = stats.linregress(x, y)
    assert found.efficiency == pytest.approx(-line.slope, rel=1e-9)
    assert found.correlation == pytest.approx(line.rvalue, rel=1e-9)
    assert found.count == known.sum()
    weights = (x - x.mean()) / ((x - x.mean()) ** 2).sum()
    left = y - y.mean() - line.slope * (x - x.mean())
    terms = weights * left if of_changes else np.cumsum(weights)[:-1] * np.diff(left)
    cosines = round(0.4 * len(terms) ** (2 / 3))
    assert found.half_width == pytest.approx(half_width(terms, cosines), rel=1e-7)


def test_two_pairs_make_a_line_and_one_does_not():
    two = regression_efficiency([50.0, 49.4], [10.0, 11.0], of_changes=False)
    assert (two.efficiency, two.correlation, two.count) == (pytest.approx(0.6), pytest.approx(-1.0), 2)
    one = regression_efficiency([50.0, NAN], [10.0, 11.0], of_changes=False)
    assert one.count == 1
    assert np.isnan([one.efficiency, one.half_width, one.correlation]).all()
    still = regression_efficiency(np.full(9, 50.1), np.linspace(10, 11, 9) ** 2, of_changes=False)
    assert still.efficiency == pytest.approx(0.0, abs=1e-12)
    assert np.isnan(still.correlation)
    assert without_barometric_response(50.0, 10.5, efficiency=0.4, reference_air_pressure_m=10.0) == 50.2


def test_every_number_of_a_response_is_that_of_least_squares():
    rng = np.random.default_rng(4)
    count, lags, names = 240, 5, ["M2", "O1"]
    when = START + np.arange(count) * HOUR
    air = 10.0 + np.cumsum(rng.normal(size=count)) * 0.003
    angles = [2 * np.pi * TIDES[name] * ((when - TIDE_EPOCH) / np.timedelta64(1, "D")) for name in names]
    level = 50.0 - 0.3 * air - 0.2 * np.r_[air[:2], air[:-2]] + rng.normal(size=count) * 1e-4
    level += 0.02 * np.cos(angles[0]) - 0.01 * np.sin(angles[0]) + 2e-5 * np.arange(count)
    level[100] = NAN
    found = deconvolve_response(when, level, air, lags=lags, tides=names)

    rows = range(lags + 1, count)
    inputs = [[air[n - lag - 1] - air[n - lag] for lag in range(lags + 1)] for n in rows]
    waves = [[f(angle[n]) - f(angle[n - 1]) for angle in angles for f in (np.cos, np.sin)] for n in rows]
    table, rises = np.hstack([inputs, waves]), np.array([level[n] - level[n - 1] for n in rows])
    known = ~np.isnan(rises)
    table, rises = table[known] - table[known].mean(axis=0), rises[known] - rises[known].mean()
    inverse = np.linalg.pinv(table)
    coefficients = inverse @ rises
    left = rises - table @ coefficients
    influence = inverse.T * left[:, None]

    def width(weights):
        return half_width(influence @ weights, 8)

    assert (found.count, found.why) == (known.sum(), "")
    np.testing.assert_array_equal(found.lag_s, 3600.0 * np.arange(lags + 1))
    np.testing.assert_allclose(found.response, np.cumsum(coefficients[: lags + 1]), rtol=1e-8)
    sums = [width(np.r_[np.ones(k + 1), np.zeros(9 - k)]) for k in range(lags + 1)]
    np.testing.assert_allclose(found.half_width, sums, rtol=1e-8)
    # the second half of five lags: those of 3, 4 and 5 intervals
    assert found.settling == pytest.approx(coefficients[3:6].sum(), rel=1e-8)
    late = np.zeros(10)
    late[3:6] = 1.0
    assert found.settling_half_width == pytest.approx(width(late), rel=1e-8)
    assert found.explained == pytest.approx(1 - left.var() / rises.var(), rel=1e-9)
    for tide, name, place in zip(found.tides, names, (6, 8), strict=True):
        pair = coefficients[place : place + 2]
        amplitude, phase = np.hypot(*pair), np.arctan2(pair[1], pair[0])
        along, across = np.zeros(10), np.zeros(10)
        along[place : place + 2] = np.cos(phase), np.sin(phase)
        across[place : place + 2] = -np.sin(phase), np.cos(phase)
        assert tide.name == name
        assert tide.amplitude_m == pytest.approx(amplitude, rel=1e-8)
        assert tide.amplitude_half_width_m == pytest.approx(width(along), rel=1e-8)
        assert tide.phase_deg == pytest.approx(np.degrees(phase) % 360, rel=1e-8)
        significant = amplitude > width(along) and amplitude > width(across)
        turned = np.degrees(np.arcsin(width(across) / amplitude)) if significant else 180.0
        assert tide.phase_half_width_deg == pytest.approx(turned, rel=1e-8)
    assert [tide.phase_half_width_deg < 30 for tide in found.tides] == [True, False]


def test_a_response_of_the_moment_alone_and_of_a_level_at_rest():
    rng = np.random.default_rng(5)
    air = 10.0 + np.cumsum(rng.normal(size=60)) * 0.003
    when = START + np.arange(60) * HOUR
    found = deconvolve_response(when, 50.0 - 0.25 * air, air, lags=0)
    assert found.response == pytest.approx([0.25], rel=1e-9)
    assert (found.settling, found.settling_half_width, found.explained) == (0.0, 0.0, pytest.approx(1.0))
    still = deconvolve_response(when, np.full(60, 50.0), air, lags=1)
    assert np.isnan(still.explained)
    np.testing.assert_allclose(still.response, 0.0, atol=1e-15)
    short = deconvolve_response(when[:1], [50.0], [10.0], lags=1)
    assert (short.lag_s.tolist(), short.count, short.tides) == ([0.0, 0.0], 0, ())
    assert np.isnan([*short.response, *short.half_width, short.settling, short.settling_half_width]).all()
    assert np.isnan(short.explained)


@pytest.mark.parametrize("size", [0, 1, 2, 3, 9])
def test_the_answer_of_a_late_well_needs_the_air_of_all_lags(size):
    response, width = np.array([0.1, 0.4, 0.6]), np.array([0.01, 0.03, 0.02])
    air = 10.0 + np.arange(9.0)[:size] ** 2 / 8
    found = response_of_level(air, response=response, half_width=width, reference_air_pressure_m=9.5)
    level, half = np.full(size, NAN), np.full(size, NAN)
    for t in range(2, size):
        b = air - 9.5
        level[t] = 0.6 * b[t - 2] + 0.1 * (b[t] - b[t - 1]) + 0.4 * (b[t - 1] - b[t - 2])
        half[t] = 0.02 * abs(b[t - 2]) + 0.01 * abs(b[t] - b[t - 1]) + 0.03 * abs(b[t - 1] - b[t - 2])
    np.testing.assert_allclose(found.level_m, level, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(found.half_width_m, half, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize(
    ("air", "response", "width"), [([[10.0]], [1.0], [0.0]), ([10.0], [[1.0]], [[0.0]]), ([10.0], [], [])]
)
def test_responses_that_do_not_fit_are_refused(air, response, width):
    with pytest.raises(ShapeError, match="shapes do not fit"):
        response_of_level(air, response=response, half_width=width, reference_air_pressure_m=9.0)


def test_drift_is_the_slope_of_the_readings_in_metres_a_year():
    """Against `numpy.polyfit`, in Julian years of 365.25 days; the reading in between comes first in the list."""
    when = START + np.arange(0, 1000, 10) * 24 * HOUR
    level = 2.0 + np.sin(np.arange(100) / 9)
    places = [50, 3, 20, 97]
    hand = 10.0 + level[places] + np.array([0.05, 0.0, 0.04, 0.11])
    found = anchor_levels(when, level, when[places], hand, method="linear", longest_gap_s=1e6).installations
    years = np.array(places) * 10 / 365.25
    assert found.drift_m_per_year[0] == pytest.approx(-np.polyfit(years, hand - level[places], 1)[0], rel=1e-9)
    assert found.offset_spread_m[0] == pytest.approx(0.11, rel=1e-9)
    corrected = level + np.interp(np.arange(100), sorted(places), 10.0 + np.array([0.0, 0.04, 0.05, 0.11]))
    assert found.level_range_m[0] == pytest.approx(np.ptp(corrected), rel=1e-9)
    assert found.drift_share[0] == pytest.approx(0.11 / np.ptp(corrected), rel=1e-9)
    at_once = anchor_levels(when, level, when[[3, 3]], hand[:2], method="constant", longest_gap_s=1e6)
    assert at_once.installations.readings.tolist() == [2]
    assert np.isnan(at_once.installations.drift_m_per_year).all()


@pytest.mark.parametrize(
    ("edge_s", "offset_s", "value"),
    [(0.0, 0.5, NAN), (0.9, 0.5, 3.0), (0.9, 0.9, 3.0), (0.9, 1.0, NAN), (0.9, -0.5, 2.5), (2.0, 1.5, 3.0)],
)
def test_a_reading_within_the_edge_after_the_last_sample_is_compared(edge_s, offset_s, value):
    asked = START + SECOND + np.timedelta64(int(offset_s * 1e6), "us")
    options = {"method": "linear", "longest_gap_s": 60.0, "edge_s": edge_s}
    found = anchor_levels([START, START + SECOND], [2.0, 3.0], [asked], [13.0], **options)
    np.testing.assert_equal(found.sensor_at_reading_m, [value])
    # and as long before the first
    early = START + SECOND - (asked - START)
    found = anchor_levels([START, START + SECOND], [3.0, 2.0], [early], [13.0], **options)
    np.testing.assert_equal(found.sensor_at_reading_m, [value])


def test_each_offset_is_left_out_in_turn():
    at, offset = np.array([0.0, 2.0, 3.0, 7.0]), np.array([1.0, 1.5, 1.1, 1.8])
    expected = [offset[k] - np.interp(at[k], np.delete(at, k), np.delete(offset, k)) for k in range(4)]
    np.testing.assert_allclose(leave_one_out(at, offset, "linear"), expected, rtol=1e-9)
    expected = [offset[k] - np.delete(offset, k).mean() for k in range(4)]
    np.testing.assert_allclose(leave_one_out(at, offset, "constant"), expected, rtol=1e-9)
    for method in ("linear", "constant"):
        assert np.isnan(leave_one_out(at[:1], offset[:1], method)).tolist() == [True]
        assert leave_one_out(at[:2], offset[:2], method).tolist() == [-0.5, 0.5]


def test_air_of_a_site_and_what_it_may_be_out_by():
    """p0 (1 - L h / T0)^(g / (R L)); 15 K of p g h / (R T^2) beside 100 Pa; R 287.05287, ICAO Doc 7488 (from memory)."""
    for height in (-5000.0, -120.0, 340.0, 11_000.0):
        pressure = 101_800.0 * (1 - 0.0065 * height / 288.15) ** (9.80665 / (287.05287 * 0.0065))
        assert float(station_pressure(101_800.0, height)) == pytest.approx(pressure, rel=1e-9)
        per_kelvin = pressure * 9.80665 * abs(height) / (287.05287 * (288.15 - 0.0065 * height / 2) ** 2)
        expected = np.sqrt((15.0 * per_kelvin) ** 2 + 100.0**2)
        assert float(station_pressure_half_width(pressure, height)) == pytest.approx(expected, rel=1e-9)
    for height in (-5000.5, 11_000.5):
        with pytest.raises(ReductionError, match=f"{height:g} m is outside") as refused:
            station_pressure(101_800.0, [3.0, height])
        assert refused.value.fix == "Give heights above sea level from -5000 to 11000 m."
