import numpy as np
import pytest

from gwnet.hydro.loggers.faults import (
    confirm_steps,
    find_odd_ends,
    find_saw_tooth,
    find_spikes,
    find_steps,
    usual_change,
)

HOUR = np.timedelta64(3_600_000_000, "us")
START = np.datetime64("2024-02-01T00:00", "us")


def times(count):
    return START + np.arange(count) * HOUR


def quiet(count, seed=3):
    """A slow level read to the millimetre."""
    random = np.random.default_rng(seed)
    return (5 + 0.5 * np.sin(np.arange(count) / 200) + random.normal(size=count) * 0.002).round(3)


@pytest.mark.parametrize("size", [-2.0, -0.3, 0.3])
@pytest.mark.parametrize("width", [1, 2, 3])
def test_a_spike_is_found_whole(size, width):
    level = quiet(1000)
    level[400 : 400 + width] += size
    found = find_spikes(level)
    assert (found.first.tolist(), found.last.tolist()) == ([400], [399 + width])
    assert found.size[0] == pytest.approx(size, abs=0.02)
    assert abs(found.size[0]) > found.limit[0]


def test_spikes_beside_a_gap_and_beside_each_other():
    level = quiet(1000)
    level[100:120] = np.nan
    level[99] += 1.0
    level[500] += 1.0
    level[504] -= 1.0
    found = find_spikes(level)
    assert found.first.tolist() == [99, 500, 504]


def test_a_swing_to_both_sides_is_no_spike():
    """The samples of a spike lie on one side of their neighbours; a wave, as after a slug of water, on both."""
    assert find_spikes([2.00, 2.01, 2.00, 2.01, 3.0, 1.0, 2.01, 2.00, 2.01, 2.0, 2.01]).first.size == 0


def test_a_fast_response_of_the_aquifer_is_no_spike():
    level = quiet(1000)
    after = np.arange(600)
    level[400:] += 0.8 * np.exp(-after / 30)  # rises within one sample, falls over days
    level[700:] += 0.6 * (1 - np.exp(-np.arange(300) / 2))  # rises over several
    assert find_spikes(level).first.size == 0


def test_a_storm_that_comes_and_goes_over_some_hours_is_no_spike():
    level = quiet(1000) + 0.4 * np.exp(-((np.arange(1000) - 500.0) ** 2) / (2 * 4**2))
    assert find_spikes(level).first.size == 0


def test_coarse_resolution_is_no_spike():
    level = (np.round(quiet(2000) / 0.02) * 0.02).round(2)
    assert find_spikes(level).first.size == 0
    assert find_steps(times(2000), level, longest_gap_s=7200).place.size == 0


def test_too_few_samples_have_no_spike():
    assert find_spikes([1.0, 9.0]).first.size == 0
    assert find_spikes([]).first.size == 0


def test_the_usual_change_is_that_of_the_neighbourhood():
    level = np.concatenate([np.arange(960) * 0.001, 0.96 + np.arange(960) * 0.1])
    found = usual_change(level)
    assert found[10] == pytest.approx(0.05, abs=0.05)
    assert found[-10] == pytest.approx(0.1)
    assert np.isnan(usual_change([1.0])).all()


@pytest.mark.parametrize("size", [-1.27, 0.15])
def test_a_step_that_stays_is_found(size):
    level = quiet(1000)
    level[600:] += size
    found = find_steps(times(1000), level, longest_gap_s=7200)
    assert found.place.tolist() == [600]
    assert found.size[0] == pytest.approx(size, abs=0.03)


def test_a_spike_is_no_step():
    level = quiet(1000)
    level[600] += 1.0
    assert find_steps(times(1000), level, longest_gap_s=7200).place.size == 0


def test_a_rise_over_several_samples_is_no_step():
    level = quiet(1000)
    level[600:] += 0.5 * (1 - np.exp(-np.arange(400) / 3))
    assert find_steps(times(1000), level, longest_gap_s=7200).place.size == 0


def test_a_change_over_a_gap_is_no_step():
    level = quiet(1000)
    level[600:] += 1.0
    level[580:600] = np.nan
    assert find_steps(times(1000), level, longest_gap_s=7200).place.size == 0
    assert find_steps(times(1000), level, longest_gap_s=86_400).place.tolist() == [600]


def test_two_steps_between_the_same_manual_readings_are_kept_apart():
    steps = ["2024-05-10", "2024-05-20"]
    moved, by = confirm_steps(steps, [0.20, -0.05], ["2024-05-01", "2024-06-01"], [10.0, 9.85], tolerance_m=0.02)
    assert moved.tolist() == [1, 1]
    np.testing.assert_allclose(by, [-0.20, 0.05])


@pytest.mark.parametrize(
    ("offsets", "verdict"),
    [([10.0, 9.8], 1), ([10.0, 10.01], -1), ([10.0, 9.9], 0), ([np.nan, 9.8], 0), ([10.0, np.nan], 0)],
)
def test_what_manual_readings_tell_of_a_step(offsets, verdict):
    moved, _ = confirm_steps(["2024-05-15"], [0.2], ["2024-06-01", "2024-05-01"], offsets[::-1], tolerance_m=0.03)
    assert moved.tolist() == [verdict]


def test_a_step_outside_the_manual_readings_cannot_be_judged():
    moved, by = confirm_steps(["2024-07-15"], [0.2], ["2024-05-01", "2024-06-01"], [10.0, 10.0], tolerance_m=0.03)
    assert moved.tolist() == [0]
    assert np.isnan(by).all()


@pytest.mark.parametrize("width", [1, 2, 3])
@pytest.mark.parametrize("size", [-2.1, 0.5])
def test_odd_samples_at_both_ends_of_runs_are_found(width, size):
    level, when = quiet(600), times(600)
    keep = (np.arange(600) < 300) | (np.arange(600) >= 348)
    level[:width] += size
    level[300 - width : 300] += size
    level[-width:] += size
    found = find_odd_ends(when[keep], level[keep], longest_gap_s=7200)
    assert found.first.tolist() == [0, 300 - width, keep.sum() - width]
    assert found.last.tolist() == [width - 1, 299, keep.sum() - 1]
    np.testing.assert_allclose(found.size, size, atol=0.02)


def test_ends_of_moving_water_are_sound():
    level, when = quiet(600), times(600)
    keep = (np.arange(600) < 300) | (np.arange(600) >= 310)
    level[298:] += 0.6  # a rise two samples before a short gap, and the next run goes on there
    level[590:] += 0.05 * np.arange(10)  # a rise over several samples
    assert find_odd_ends(when[keep], level[keep], longest_gap_s=7200).first.size == 0
    assert find_odd_ends(when[:20], level[:20], longest_gap_s=7200).first.size == 0


def test_steps_that_add_up_are_no_saw_tooth():
    stairs = np.repeat(np.arange(6.0), 50)
    assert find_saw_tooth(stairs, [50, 100, 150, 200, 250], np.ones(5)).size == 0
    teeth = np.tile(np.linspace(1.0, 0.0, 50), 6)
    assert find_saw_tooth(teeth, [50, 100, 150, 200, 250], np.ones(5)).tolist() == [0, 1, 2, 3, 4]
    assert find_saw_tooth(teeth, [50, 100, 150], np.ones(3)).size == 0
    # the first sample after the last step counts, not one after it
    risen = np.array([0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 2.0, 0.0])
    assert find_saw_tooth(risen, [1, 3, 5, 7], np.full(4, 1.2)).size == 0
    assert find_saw_tooth(risen, [1, 3, 5, 7], np.full(4, 1.5)).tolist() == [0, 1, 2, 3]
    assert find_saw_tooth(teeth, [50, 100, 150, 200], [1.0, -1.0, 1.0, -1.0]).size == 0
