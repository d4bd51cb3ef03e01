"""Anchoring to manual readings and the accuracy asked of sensors, against published rules and figures.

Feet are worked in feet where the source does: anchoring is linear, so any one unit of length serves.
"""

import numpy as np
import pytest

from gwnet.constants import DRIFT_SHARE_LIMIT, UNCHECKED_SENSOR_M
from gwnet.hydro.loggers.drift import anchor_levels

FOOT = 0.3048
START = np.datetime64("2024-01-01T12:00", "us")


def days(*numbers):
    return START + np.array(numbers, dtype="timedelta64[D]")


def test_linear_drift_between_two_readings():
    """e0 + (e1 - e0)(t - t0)/(t1 - t0); a public documentation page has the same algebra; constructed numbers."""
    at = days(0, 30, 45, 60, 90)
    logger = np.array([10.00, 10.40, 10.10, 9.80, 9.94])
    hand = logger[[0, 4]] + [0.00, 0.06]
    found = anchor_levels(at, logger, at[[0, 4]], hand, method="linear", longest_gap_s=1.0)
    np.testing.assert_array_equal(found.correction_m.round(9), [0.00, 0.02, 0.03, 0.04, 0.06])
    np.testing.assert_allclose(found.water_elevation_m[[0, 4]], hand, rtol=0, atol=1e-12)


def test_linear_drift_over_three_readings():
    """Constructed: day 0, 90 and 180 with 0.00, +0.06 and -0.03; day 135 +0.015, and no jump at day 90."""
    at = days(*range(181))
    logger = 10 + np.sin(np.arange(181) / 20)
    hand = logger[[0, 90, 180]] + [0.00, 0.06, -0.03]
    found = anchor_levels(at, logger, at[[0, 90, 180]], hand, method="linear", longest_gap_s=1.0)
    assert round(float(found.correction_m[135]), 9) == 0.015
    np.testing.assert_allclose(found.water_elevation_m[[0, 90, 180]], hand, rtol=0, atol=1e-12)
    assert np.abs(np.diff(found.correction_m)).max() == pytest.approx(0.001, abs=1e-12)
    np.testing.assert_allclose(found.shift_m, [np.nan, 0.06, -0.09], atol=1e-12)
    np.testing.assert_allclose(found.residual_m, 0, atol=1e-12)
    assert found.leave_one_out_residual_m[1] == pytest.approx(0.06 + 0.015)


def test_limits_for_sensors_stand_by_published_figures():
    """Six submersible sensors over 15 months were 0.098 ft out on average (Rosenberry, 1990; author and year from memory).

    A record of 1.8 ft of drift against 3.4 ft of range was rejected (CWCB document 123788, p. 12): ours is told sooner.
    """
    assert pytest.approx(2 * 0.098 * FOOT, abs=0.001) == UNCHECKED_SENSOR_M
    assert DRIFT_SHARE_LIMIT < 1.8 / 3.4


def test_a_record_whose_drift_is_half_its_range():
    """CWCB documents 123770 p. 7 and 123788 p. 12 (Colorado): 1.8 ft of drift against 3.4 ft of range was rejected."""
    at = days(0, 100, 200, 300)
    water = np.array([100.0, 103.4, 102.0, 101.0])
    logger = water - 90.0 + np.array([0.0, 0.6, 1.2, 1.8])
    found = anchor_levels(at, logger, at[[0, 3]], water[[0, 3]], method="linear", longest_gap_s=1.0)
    np.testing.assert_allclose(found.water_elevation_m, water, atol=1e-9)
    assert found.installations.level_range_m[0] == pytest.approx(3.4)
    assert found.installations.drift_share[0] == pytest.approx(1.8 / 3.4)
    assert found.installations.drift_m_per_year[0] == pytest.approx(1.8 * 365.25 / 300)


def test_the_length_of_a_sensor_that_moves():
    """Depth = l(t) - h with l linear between two manual readings: a public documentation page; same algebra."""
    at = days(*range(0, 91, 10))
    column = 5 + np.cos(np.arange(10.0))
    first, last, point = 20.00, 20.09, 120.0
    length = first + (last - first) * np.arange(10) / 9
    hand = point - (length - column)[[0, 9]]
    found = anchor_levels(at, column, at[[0, 9]], hand, method="linear", longest_gap_s=1.0)
    np.testing.assert_allclose(point - found.water_elevation_m, length - column, atol=1e-10)
