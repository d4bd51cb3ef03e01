import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.loggers.barometric import (
    air_pressure_at,
    align_air_pressure,
    clark_efficiency,
    regression_efficiency,
    without_air,
    without_barometric_response,
)

START = np.datetime64("2024-05-01T00:00", "us")
NAN = np.nan


def minutes(*numbers):
    return START + np.array(numbers, dtype="timedelta64[m]")


def test_air_pressure_comes_from_the_samples_on_either_side():
    air = [100_000.0, 100_060.0, NAN, 100_000.0]
    found = align_air_pressure(minutes(-1, 0, 20, 60, 90, 180, 181), minutes(0, 60, 120, 180), air, longest_gap_s=3600)
    np.testing.assert_array_equal(found, [NAN, 100_000.0, 100_020.0, 100_060.0, NAN, 100_000.0, NAN])


def test_a_barometer_without_samples_gives_no_pressure():
    assert np.isnan(align_air_pressure(minutes(0, 1), minutes(), [], longest_gap_s=60)).all()


def test_a_barometer_that_runs_backward_is_refused():
    with pytest.raises(ReductionError, match="expected times that rise"):
        align_air_pressure(minutes(0), minutes(1, 0), [1.0, 2.0], longest_gap_s=60)


def test_air_thins_upward_and_nan_stays():
    found = air_pressure_at([100_000.0, 100_000.0, 100_000.0, NAN], [0.0, 50.0, -50.0, 1.0])
    assert found[0] == 100_000.0
    assert found[1] < found[0] < found[2]
    assert np.isnan(found[3])


@given(st.floats(60_000, 110_000), st.floats(-2000, 2000), st.floats(-30, 45), st.floats(9.76, 9.84))
def test_up_and_down_again_is_the_same_air(pressure, height, temperature, gravity):
    air = {"air_temperature_degc": temperature, "gravity_m_s2": gravity}
    assert float(air_pressure_at(air_pressure_at(pressure, height, **air), -height, **air)) == pytest.approx(pressure)


@given(st.lists(st.tuples(st.floats(90_000, 300_000), st.floats(80_000, 110_000)), min_size=1), st.floats(-9e4, 9e4))
def test_the_same_addition_to_sensor_and_barometer_changes_nothing(pairs, shift):
    absolute, air = np.array(pairs).T
    np.testing.assert_allclose(without_air(absolute + shift, air + shift), without_air(absolute, air), atol=1e-9)


def test_what_does_not_fit_is_named():
    with pytest.raises(ShapeError, match=r"absolute_pressure_pa \(2,\), air_pressure_pa \(3,\)"):
        without_air([1.0, 2.0], [1.0, 2.0, 3.0])
    for efficiency in (clark_efficiency, lambda level, air: regression_efficiency(level, air, of_changes=True)):
        with pytest.raises(ShapeError, match=r"\(2,\) and air pressures \(3,\)"):
            efficiency([1.0, 2.0], [1.0, 2.0, 3.0])


def test_steps_that_meet_a_missing_sample_do_not_count():
    found = clark_efficiency([50.0, 49.99, NAN, 60.0, 60.02], [10.0, 10.02, 10.0, 10.02, 9.98])
    np.testing.assert_allclose(found.air_sum_m, [0.02, 0.02, 0.02, 0.06])
    np.testing.assert_allclose(found.water_sum_m, [0.01, 0.01, 0.01, 0.03])
    assert found.efficiency == pytest.approx(0.5)


def test_steps_of_opposite_sign_are_taken_off_and_steady_air_does_not_count():
    found = clark_efficiency([50.00, 50.02, 50.01, 49.99, 60.0], [10.00, 9.96, 9.95, 9.93, 9.93])
    np.testing.assert_allclose(found.water_sum_m, [0.02, 0.01, -0.01, -0.01], atol=1e-12)
    np.testing.assert_allclose(found.air_sum_m, [0.04, 0.05, 0.07, 0.07], atol=1e-12)


@pytest.mark.parametrize("size", [0, 1, 2, 9])
def test_steady_air_tells_no_efficiency(size):
    level, air = np.linspace(50, 51, size), np.full(size, 10.1)
    assert np.isnan(clark_efficiency(level, air).efficiency)
    for of_changes in (True, False):
        found = regression_efficiency(level, air, of_changes=of_changes)
        assert np.isnan([found.efficiency, found.correlation]).all()


def test_air_that_rises_evenly_tells_nothing_by_its_changes():
    found = regression_efficiency(np.linspace(50, 49, 11), np.linspace(10, 10.3, 11), of_changes=True)
    assert np.isnan(found.efficiency)
    assert found.count == 10


series = st.lists(st.floats(-0.3, 0.3), min_size=3, max_size=50)


@given(series, st.floats(0.05, 1.0), st.floats(-1000, 1000))
def test_a_well_that_answers_to_air_alone_gives_its_efficiency_by_every_method(changes, efficiency, level):
    air = 10.2 + np.array(changes)
    if np.abs(np.diff(air)).max() < 0.01 or np.ptp(np.diff(air)) < 0.01:
        return
    water = level - efficiency * (air - 10.2)
    assert clark_efficiency(water, air).efficiency == pytest.approx(efficiency, abs=1e-6)
    for of_changes in (True, False):
        found = regression_efficiency(water, air, of_changes=of_changes)
        assert found.efficiency == pytest.approx(efficiency, abs=1e-6)
        assert found.correlation == pytest.approx(-1.0, abs=1e-6)
    steady = without_barometric_response(water, air, efficiency=efficiency, reference_air_pressure_m=10.2)
    np.testing.assert_allclose(steady, level, atol=1e-9)
