"""Which spikes, odd ends and steps of a level count, and what explains a step; constructed arrays."""

import numpy as np
import pytest

from gwnet.analysis.loggers import level_faults as module

from .heads_of_arrays import (
    HOUR,
    NAN,
    START,
    anchored_of,
    channel_of,
    code,
    correction,
    faults_of,
    heads_of,
    level_of,
    manual_of,
    spikes_of,
    state_of,
    steps_of,
)

COUNT = 30
VALUES = 2.0 + 0.01 * np.sin(np.arange(COUNT))
NONE = np.zeros(COUNT, dtype=bool)


@pytest.fixture
def detect(monkeypatch):
    """Give a function that lets the detectors find chosen faults, and keeps what they were given."""

    def use(spikes=(), ends=(), steps=(), raw_ends=()):
        asked = {"spikes": [], "ends": [], "steps": []}
        found_ends = iter([ends, raw_ends])

        def find_spikes(series):
            asked["spikes"].append(series.copy())
            return spikes_of(*(spikes if len(asked["spikes"]) == 1 else ()))

        def find_odd_ends(when, series, *, longest_gap_s):
            asked["ends"].append((series.copy(), longest_gap_s))
            return spikes_of(*next(found_ends))

        def find_steps(when, series, *, longest_gap_s):
            asked["steps"].append((series.copy(), longest_gap_s))
            return steps_of(*steps)

        for name, find in (("find_spikes", find_spikes), ("find_odd_ends", find_odd_ends), ("find_steps", find_steps)):
            monkeypatch.setattr(module, name, find)
        return asked

    return use


def test_each_detector_sees_the_level_without_what_was_found_before(detect):
    """Hourly samples: three intervals are no gap. Left out are what is gone, out, or has no value."""
    values = VALUES.copy()
    values[3] = NAN
    out = np.zeros(COUNT, dtype=np.uint8)
    out[[5, 8]] = code("no density"), code("no value")
    gone = NONE.copy()
    gone[7] = True
    level = level_of(channel_of(values), values + 1.0, out=out)
    asked = detect(
        [(10, 11, -0.5), (14, 14, 0.0299)], [(28, 29, 0.03), (0, 1, -0.0299)], [(20, 0.03), (22, -0.0299), (24, -0.5)]
    )
    found = module.find_level_faults(level, gone, least_m=0.03)
    seen = values + 1.0
    seen[[3, 5, 7, 8]] = NAN
    np.testing.assert_array_equal(asked["spikes"], [seen])
    seen[10:12] = NAN
    ((series, gap_s),) = asked["ends"]
    np.testing.assert_array_equal(series, seen)
    assert gap_s == 10_800.0
    seen[28:30] = NAN
    ((series, gap_s),) = asked["steps"]
    np.testing.assert_array_equal(series, seen)
    assert gap_s == 10_800.0
    np.testing.assert_array_equal(found.cleaned_m, seen)
    assert found.outliers() == (("spike", 10, 11, -0.5), ("end of a file", 28, 29, 0.03))
    assert (found.spikes.limit.tolist(), found.ends.limit.tolist()) == ([0.01], [0.01])
    assert (found.steps.place.tolist(), found.steps.size.tolist()) == ([20, 24], [0.03, -0.5])
    assert found.steps.limit.tolist() == [0.01, 0.01]


def test_a_single_sample_has_no_interval(detect):
    asked = detect()
    module.find_level_faults(level_of(channel_of([2.0])), np.zeros(1, dtype=bool), least_m=0.03)
    assert (asked["ends"][0][1], asked["steps"][0][1]) == (0.0, 0.0)


#: 10 000 Pa are a metre of the water of these frames.
PRESSURE = 100_000.0 + 10_000.0 * VALUES


def test_ends_without_air_pressure_are_looked_at_as_they_are(detect):
    """The last six samples have no air pressure: their ends count, spikes there and ends elsewhere do not."""
    out = np.zeros(COUNT, dtype=np.uint8)
    out[24:] = code("no air pressure")
    out[10] = code("no value")
    gone = NONE.copy()
    gone[[2, 27]] = True
    level = level_of(channel_of(PRESSURE, quantity="absolute pressure"), VALUES, out=out)
    asked = detect(
        ends=[(22, 23, 0.4)], raw_ends=[(29, 29, -0.5), (23, 24, 0.6), (24, 26, 0.7), (0, 1, 0.8), (26, 27, -0.3)]
    )
    found = module.find_level_faults(level, gone, least_m=0.03)
    raw = PRESSURE / 10_000.0
    raw[[2, 27]] = NAN
    np.testing.assert_allclose(asked["spikes"][1], raw, rtol=1e-12)
    np.testing.assert_allclose(asked["ends"][1][0], raw, rtol=1e-12)
    assert [row[1:] for row in found.outliers()] == [(22, 23, 0.4), (24, 26, 0.7), (29, 29, -0.5)]
    assert np.isnan(found.cleaned_m[24:]).all()


@pytest.mark.parametrize(("quantity", "is_raw"), [("absolute pressure", True), ("water pressure", False)])
def test_an_absolute_sensor_without_any_air_is_looked_at_as_it_is(detect, quantity, is_raw):
    level = level_of(
        channel_of(PRESSURE, quantity=quantity), VALUES, out=np.full(COUNT, code("no air pressure"), dtype=np.uint8)
    )
    gone = NONE.copy()
    gone[4] = True
    asked = detect()
    found = module.find_level_faults(level, gone, least_m=0.03)
    raw = PRESSURE / 10_000.0
    raw[4] = NAN
    np.testing.assert_allclose(found.cleaned_m, raw if is_raw else np.full(COUNT, NAN), rtol=1e-12)
    assert len(asked["ends"]) == (1 if is_raw else 2)


@pytest.mark.parametrize(
    ("against", "left"),
    [
        ("spike", ["end of a file", "step"]),
        ("end of a file", ["spike", "step"]),
        ("step", ["spike", "end of a file"]),
        ("slipped cable", ["spike", "end of a file"]),
        ("flat", ["spike", "end of a file", "step"]),
    ],
)
def test_what_a_person_dismissed_is_no_fault(detect, against, left):
    """A dismissal covers all samples of the finding: of hours 10 and 11, of 27 to 29, and of the step at 20."""
    for start, end, dismisses in (
        ("2024-01-01T10:00", "2024-01-02T06:00", True),
        ("2024-01-01T20:01", "2024-01-02T05:00", False),
    ):
        channel = channel_of(VALUES, rows=[correction("keep", start, end, against=against)])
        detect([(10, 11, 0.5)], [(27, 29, 0.4)], [(20, 0.3)])
        found = module.find_level_faults(level_of(channel), NONE, least_m=0.03)
        rules = [row[0] for row in found.outliers()] + ["step"] * found.steps.place.size
        assert rules == (left if dismisses else ["spike", "end of a file", "step"])


@pytest.mark.parametrize(
    ("step_h", "switched_s", "is_water"),
    [
        # three intervals of an hour
        (1.0, 0, True),
        (1.0, 10_800, True),
        (1.0, 10_801, False),
        (1.0, -1, False),
        # an hour where three intervals are shorter
        (0.25, 3600, True),
        (0.25, 3601, False),
    ],
)
def test_a_step_after_a_pump_was_switched_is_of_the_water(detect, step_h, switched_s, is_water):
    when = START + (np.arange(COUNT) * step_h * 3600).astype("timedelta64[s]")
    level = level_of(channel_of(VALUES, when=when))
    at = when[20] - np.timedelta64(switched_s, "s")
    for switched in ([at], [when[0] - 1000 * HOUR, at], [at, when[20] - 40 * HOUR, when[20] + HOUR]):
        detect(steps=[(20, 0.3)])
        found = module.find_level_faults(level, NONE, least_m=0.03, switched=np.array(switched, dtype="datetime64[us]"))
        assert found.steps.place.tolist() == ([] if is_water else [20])
    for none in (None, np.array([], dtype="datetime64[us]")):
        detect(steps=[(20, 0.3)])
        assert module.find_level_faults(level, NONE, least_m=0.03, switched=none).steps.place.tolist() == [20]


# --- what explains a step ---------------------------------------------------------------------------------------------


def with_steps(*steps, readings=(), rows=(), cleaned=None):
    """Return heads with steps, and manual readings as (hour, offset)."""
    channel = channel_of(VALUES, rows=rows)
    level = level_of(channel)
    manual = manual_of(
        *({"measured_at_utc": str(START + hour * HOUR), "offset_m": offset} for hour, offset in readings)
    )
    anchored = anchored_of(level, 90.0, manual=manual)
    faults = faults_of(COUNT, steps=steps, cleaned=VALUES if cleaned is None else cleaned)
    return heads_of(VALUES, channel=channel, level=level, anchored=anchored, state=state_of(COUNT, faults=faults))


def test_steps_that_readings_give_to_the_water_are_explained():
    """Offsets fall by 0.2 m across the first step (the sensor moved), stay across the second, and lack beyond it."""
    heads = with_steps((10, 0.2), (20, -0.3), (28, 0.4), readings=[(5, 90.0), (15, 89.8), (25, 89.8)])
    found = module.find_open_steps(heads, tolerance_m=0.03)
    assert (found.place.tolist(), found.size_m.tolist()) == ([10, 28], [0.2, 0.4])
    assert found.is_of_sensor.tolist() == [True, False]
    np.testing.assert_allclose(found.moved_m, [-0.2, NAN], rtol=1e-9)
    assert found.teeth.tolist() == [False, False]


def test_a_step_at_a_restart_on_record_is_explained():
    for start, is_open in (("T09:00", True), ("T09:00:01", False), ("T10:00", False), ("T10:00:01", True)):
        heads = with_steps((10, 0.2), rows=[correction("restart", f"2024-01-01{start}")])
        assert module.find_open_steps(heads, tolerance_m=0.03).place.tolist() == ([10] if is_open else [])
    other = with_steps((10, 0.2), rows=[correction("step", "2024-01-01T10:00", amount_m=0.1)])
    assert module.find_open_steps(other, tolerance_m=0.03).place.tolist() == [10]
    assert module.is_corrected_at(other, 10, "restart", "step")
    assert not module.is_corrected_at(other, 11, "restart", "step")
    ended = with_steps(rows=[correction("exclusion", "2024-01-01T03:00", "2024-01-01T10:00", cause="other")])
    assert [place for place in range(COUNT) if module.is_corrected_at(ended, place, "exclusion")] == [3, 10]
    first = with_steps(rows=[correction("restart", "2024-01-01T00:00")])
    assert not module.is_corrected_at(first, 0, "restart")
    assert not module.is_corrected_at(first, 1, "restart")


def test_the_teeth_of_a_saw_are_those_that_no_reading_explains():
    """Four drops of half a metre between which the level comes back; readings show that the first was the sensor's."""
    level = np.tile([2.0, 1.5, 1.7, 1.85, 1.95, 2.0], 5)
    places = [7, 13, 19, 25]
    heads = with_steps((1, -0.5), *((place, -0.5) for place in places), readings=[(0, 90.0), (3, 90.5)], cleaned=level)
    found = module.find_open_steps(heads, tolerance_m=0.03)
    assert found.place.tolist() == [1, *places]
    assert found.is_of_sensor.tolist() == [True, False, False, False, False]
    assert found.teeth.tolist() == [False, True, True, True, True]
