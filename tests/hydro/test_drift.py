import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.loggers.drift import anchor_levels

NAN = np.nan
START = np.datetime64("2024-01-01T00:00", "us")
METHODS = ["constant", "linear"]


def hours(*numbers):
    return START + (np.array(numbers, dtype=float) * 3.6e9).astype("timedelta64[us]")


def anchored(at, level, hand_at, hand, method="linear", gap_h=1.0, restart=(), edge_h=0.0):
    return anchor_levels(
        at,
        level,
        hand_at,
        hand,
        method=method,
        longest_gap_s=gap_h * 3600,
        restart_utc=restart,
        edge_s=edge_h * 3600,
    )


@pytest.mark.parametrize("method", METHODS)
def test_a_manual_reading_meets_the_level_of_its_own_moment(method):
    found = anchored(hours(0, 1, 2), [1.0, 3.0, 3.0], hours(0.25), [101.5], method)
    assert found.sensor_at_reading_m.tolist() == [1.5]
    np.testing.assert_array_equal(found.water_elevation_m, [101.0, 103.0, 103.0])
    assert np.isnan(found.leave_one_out_residual_m[0])
    assert np.isnan(found.installations.drift_m_per_year[0])


def test_one_correction_for_all_is_the_mean_and_shows_its_residuals():
    found = anchored(hours(0, 1, 2, 3), [1.0, 2.0, 3.0, 4.0], hours(0, 1, 3), [11.0, 12.3, 14.0], "constant")
    np.testing.assert_allclose(found.correction_m, 10.1)
    np.testing.assert_allclose(found.residual_m, [-0.1, 0.2, -0.1], atol=1e-12)
    np.testing.assert_allclose(found.leave_one_out_residual_m, [-0.15, 0.3, -0.15], atol=1e-12)
    np.testing.assert_allclose(found.shift_m, [NAN, 0.3, -0.3], atol=1e-12)
    assert found.installations.offset_spread_m[0] == pytest.approx(0.3)


def test_a_correction_is_held_outside_the_readings():
    found = anchored(hours(*range(6)), np.zeros(6), hours(3, 2), [10.4, 10.2])
    np.testing.assert_allclose(found.correction_m, [10.2, 10.2, 10.2, 10.4, 10.4, 10.4])
    np.testing.assert_allclose(found.shift_m, [0.2, NAN])


def test_a_restart_parts_the_corrections():
    found = anchored(
        hours(*range(8)), [1, 1, 1, 1, 3, 3, 3, 3], hours(0, 3, 4, 7), [11, 11.3, 11.3, 11.6], restart=hours(4)
    )
    np.testing.assert_allclose(found.correction_m, [10, 10.1, 10.2, 10.3, 8.3, 8.4, 8.5, 8.6])
    assert found.installation.tolist() == [0, 0, 0, 0, 1, 1, 1, 1]
    assert found.reading_installation.tolist() == [0, 0, 1, 1]
    np.testing.assert_allclose(found.shift_m, [NAN, 0.3, NAN, 0.3])
    np.testing.assert_array_equal(found.installations.start_utc, hours(0, 4))
    np.testing.assert_array_equal(found.installations.end_utc, hours(3, 7))
    assert found.installations.readings.tolist() == [2, 2]
    np.testing.assert_allclose(found.installations.level_range_m, [0.3, 0.3])
    np.testing.assert_allclose(found.installations.drift_share, [1.0, 1.0])


def test_the_range_of_one_hanging_is_its_own():
    found = anchored(hours(0, 1, 2, 3), [0, 1, 0, 5], hours(0, 2), [10, 20], restart=hours(2))
    np.testing.assert_array_equal(found.installations.level_range_m, [1.0, 5.0])
    assert np.isnan(found.installations.drift_share).all()


def test_water_that_never_moved_has_no_share_of_drift():
    found = anchored(hours(0, 1, 2, 3), [1.0, 1.0, 1.0, 1.0], hours(0, 2), [10.0, 10.0]).installations
    assert (found.level_range_m[0], found.drift_m_per_year[0]) == (0.0, 0.0)
    assert np.isnan(found.drift_share).all()


def test_a_level_is_never_interpolated_across_a_restart():
    at, level = hours(0, 2), [1.0, 3.0]
    assert np.isnan(anchored(at, level, hours(1), [10.0], gap_h=9, restart=hours(1.5)).sensor_at_reading_m[0])
    held = anchored(at, level, hours(1, 1.5), [10.0, 10.0], gap_h=9, restart=hours(1.5), edge_h=1.0)
    np.testing.assert_array_equal(held.sensor_at_reading_m, [1.0, 3.0])
    np.testing.assert_array_equal(held.water_elevation_m, [10.0, 10.0])
    too_far = anchored(at, level, hours(1, 1.5), [10.0, 10.0], gap_h=9, restart=hours(1.5), edge_h=0.9)
    np.testing.assert_array_equal(too_far.sensor_at_reading_m, [NAN, 3.0])


def test_the_edge_is_that_of_the_numbers_not_of_the_samples():
    found = anchored(hours(0, 1, 2), [NAN, 5.0, NAN], hours(0.5, 2), [15.0, 15.2], edge_h=1.0)
    np.testing.assert_array_equal(found.sensor_at_reading_m, [5.0, 5.0])


def test_a_hanging_without_a_reading_has_no_elevation():
    found = anchored(hours(0, 1, 2, 3), [1, 2, 3, NAN], hours(0), [11.0], restart=hours(2, 9))
    np.testing.assert_array_equal(found.water_elevation_m, [11.0, 12.0, NAN, NAN])
    assert found.installations.readings.tolist() == [1, 0, 0]
    assert np.isnat(found.installations.start_utc).tolist() == [False, False, True]


def test_a_reading_in_a_gap_or_without_a_number_anchors_nothing():
    found = anchored(hours(0, 1, 5), [1.0, 2.0, 3.0], hours(0, 3, 5), [11.0, 99.0, NAN])
    np.testing.assert_array_equal(found.offset_m, [10.0, NAN, NAN])
    np.testing.assert_array_equal(found.correction_m, [10.0, 10.0, 10.0])
    assert found.installations.readings.tolist() == [1]


def test_readings_of_one_moment_count_by_their_mean():
    found = anchored(hours(0, 1, 2), [0.0, 0.0, 0.0], hours(0, 2, 2), [10.0, 10.1, 10.3])
    np.testing.assert_allclose(found.correction_m, [10.0, 10.1, 10.2])
    np.testing.assert_allclose(found.residual_m, [0.0, -0.1, 0.1], atol=1e-12)


def test_no_readings_or_no_samples():
    found = anchored(hours(0, 1), [1.0, 2.0], hours(), [])
    assert np.isnan(found.water_elevation_m).all()
    empty = anchored(hours(), [], hours(0), [10.0], edge_h=1.0)
    assert empty.water_elevation_m.size == 0
    assert np.isnan(empty.offset_m).all()


def test_faulty_input_is_refused():
    with pytest.raises(ReductionError, match="expected 'constant' or 'linear'"):
        anchored(hours(0), [1.0], hours(0), [10.0], "cubic")
    with pytest.raises(ReductionError, match="A restart has no time"):
        anchored(hours(0), [1.0], hours(0), [10.0], restart=np.array(["NaT"], "M8[us]"))
    with pytest.raises(ShapeError, match=r"The series of manual readings has times of shape \(1,\)"):
        anchored(hours(0), [1.0], hours(0), [10.0, 11.0])
    with pytest.raises(ReductionError, match="expected times that rise"):
        anchored(hours(1, 0), [1.0, 2.0], hours(0), [10.0])


metres = st.floats(-50, 50)


@st.composite
def visits(draw):
    size = draw(st.integers(3, 40))
    at = np.cumsum(draw(st.lists(st.floats(0.1, 30), min_size=size, max_size=size)))
    level = np.array(draw(st.lists(metres, min_size=size, max_size=size)))
    chosen = sorted(draw(st.sets(st.integers(0, size - 1), min_size=1, max_size=6)))
    hand = np.array(draw(st.lists(metres, min_size=len(chosen), max_size=len(chosen))))
    restart = hours(*draw(st.lists(st.floats(0, 400), max_size=2)))
    return hours(*at), level, chosen, hand, restart


@given(visits(), st.sampled_from(METHODS), st.floats(-1000, 1000))
def test_shifting_the_manual_readings_moves_every_level_alike(case, method, shift):
    at, level, chosen, hand, restart = case
    found = anchored(at, level, at[chosen], hand, method, restart=restart)
    moved = anchored(at, level, at[chosen], hand + shift, method, restart=restart)
    np.testing.assert_allclose(moved.water_elevation_m, found.water_elevation_m + shift, atol=1e-9)
    np.testing.assert_allclose(moved.shift_m, found.shift_m, atol=1e-9)
    np.testing.assert_allclose(
        moved.installations.drift_m_per_year, found.installations.drift_m_per_year, atol=1e-3, rtol=1e-9
    )


@given(visits(), st.sampled_from(METHODS), st.floats(-1000, 1000))
def test_where_the_sensor_counts_from_changes_nothing(case, method, shift):
    at, level, chosen, hand, restart = case
    found = anchored(at, level, at[chosen], hand, method, restart=restart)
    other = anchored(at, level + shift, at[chosen], hand, method, restart=restart)
    np.testing.assert_allclose(other.water_elevation_m, found.water_elevation_m, atol=1e-9)


@given(visits())
def test_linear_anchoring_meets_every_manual_reading(case):
    at, level, chosen, hand, restart = case
    found = anchored(at, level, at[chosen], hand, restart=restart)
    np.testing.assert_allclose(found.water_elevation_m[chosen], hand, atol=1e-9)
    np.testing.assert_allclose(found.residual_m, 0, atol=1e-9)


@given(visits(), st.floats(-5, 5), st.floats(-1, 1))
def test_a_planted_drift_is_found_and_taken_off(case, rate, offset):
    at, water, chosen, _, _ = case
    years = (at - at[0]).astype(np.int64) / (365.25 * 86_400e6)
    found = anchored(at, water + offset + rate * years, at[chosen], water[chosen])
    between = slice(chosen[0], chosen[-1] + 1)
    np.testing.assert_allclose(found.water_elevation_m[between], water[between], atol=1e-9)
    if len(chosen) > 1:
        assert found.installations.drift_m_per_year[0] == pytest.approx(rate, abs=1e-6)
