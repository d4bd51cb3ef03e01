"""Which samples are no water above a sensor, each rule at its limit, and the bounds that they give; constructed arrays."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import sensor_state as module
from gwnet.analysis.loggers.correction_history import (
    AT_LIMIT,
    BEYOND_RANGE,
    CONTRADICTED,
    LIFTED,
    NO_WATER,
    OUT_REASONS,
    STUCK,
)

from .heads_of_arrays import (
    HOUR,
    NAN,
    START,
    anchored_of,
    channel_of,
    code,
    correction,
    faults_of,
    hours,
    level_of,
    manual_of,
    out_of,
    state_of,
)

COUNT = 240

#: Water that moves by some centimetres from sample to sample and never rests.
WATER = 2.0 + 0.3 * np.sin(np.arange(COUNT) * 0.7) + 0.11 * np.sin(np.arange(COUNT) * 0.31)


def loggers_of(numbers=None, water=None, asked=None):
    """Return a record of numbers of the instrument and a channel of water temperature."""

    def channel(instrument, quantity, start, end):
        if asked is not None:
            asked.append((instrument, quantity, start, end))
        return water

    known = numbers or {}
    return SimpleNamespace(instrument_number=lambda instrument, name: known.get(name, NAN), channel=channel)


def state(level, numbers=None, **more):
    return module.find_sensor_state(loggers_of(numbers, **more), "L", level, least_m=0.03)


def reasons(found, level):
    """Return the places of each reason that occurs."""
    return {
        reason: np.flatnonzero(found.out == number).tolist()
        for number, reason in enumerate(OUT_REASONS)
        if number and (found.out == number).any()
    }


def rules(found):
    return {
        name: list(zip(part.first.tolist(), part.last.tolist(), strict=True))
        for name, part in found.intervals
        if part.first.size
    }


@pytest.mark.parametrize(
    ("numbers", "air_pa", "column", "is_dry"),
    [
        ({"accuracy_m": 0.05}, 0.0, 0.0499, True),
        ({"accuracy_m": 0.05}, 0.0, 0.05, False),
        ({"resolution_m": 0.04}, 0.0, 0.0399, True),
        ({"resolution_m": 0.04}, 0.0, 0.04, False),
        ({"accuracy_m": 0.001, "resolution_m": 0.04}, 0.0, 0.03, False),
        ({}, 0.0, 0.0299, True),
        ({}, 0.0, 0.03, False),
        # 3, 4, 5: the sensor's 0.03 m and 400 Pa of 10 000 Pa/m
        ({"accuracy_m": 0.03}, 400.0, 0.0499, True),
        ({"accuracy_m": 0.03}, 400.0, 0.0501, False),
    ],
)
def test_a_column_below_its_uncertainty_and_three_centimetres_is_no_water(numbers, air_pa, column, is_dry):
    values = WATER.copy()
    values[100:105] = column
    air = {"barometer": "B", "air_half_width_pa": np.full(COUNT, air_pa)}
    level = level_of(channel_of(WATER, quantity="absolute pressure"), values, **air)
    found = state(level, numbers)
    dry = list(range(100, 105))
    assert reasons(found, level) == ({NO_WATER: dry} if is_dry else {})
    assert np.flatnonzero(found.shows_bound).tolist() == (dry if is_dry else [])
    least = max(0.03, np.hypot(numbers.get("accuracy_m", numbers.get("resolution_m", 0.003048)), air_pa * 1e-4))
    np.testing.assert_allclose(found.least_water_m, least, rtol=1e-12)
    assert rules(found) == ({"out of water": [(100, 104)]} if is_dry else {})


@pytest.mark.parametrize(
    ("before", "after", "is_dry"),
    [(0.01, 0.5, False), (0.5, 0.01, False), (0.01, 0.02, True), (0.01, -0.5, True), (NAN, 0.01, False)],
)
def test_the_column_counts_before_and_after_steps_whichever_is_larger(before, after, is_dry):
    column, levels = WATER.copy(), WATER.copy()
    column[100:106], levels[100:106] = before, after
    level = level_of(channel_of(column), levels, column_m=column)
    assert (NO_WATER in reasons(state(level), level)) == is_dry


def test_a_quantity_without_a_sensor_s_zero_has_no_column():
    level = level_of(channel_of(WATER * 0.001, quantity="water elevation"), column_m=np.full(COUNT, NAN))
    found = state(level, {"range_m": 0.0001})
    assert reasons(found, level) == {}
    assert [name for name, _ in found.intervals] == ["bottomed out", "upper limit", "flat"]


@pytest.mark.parametrize("quantity", ["water column", "water pressure", "absolute pressure"])
def test_quantities_of_a_sensor_in_the_water_have_all_rules(quantity):
    level = level_of(channel_of(WATER, quantity=quantity))
    found = state(level, {"range_m": 10.0})
    assert [name for name, _ in found.intervals] == [
        "bottomed out",
        "upper limit",
        "flat",
        "out of water",
        "over range",
    ]
    assert [name for name, _ in state(level).intervals] == ["bottomed out", "upper limit", "flat", "out of water"]


def test_what_a_person_said_goes_first():
    """An exclusion keeps its cause; what is kept is water whatever it reads; NaN stays what it was."""
    values = WATER.copy()
    values[10:20] = 0.001 * np.arange(10)
    values[40:50] = 0.0011 * np.arange(10)
    values[60:70] = 0.0012 * np.arange(10)
    values[80:90] = 0.0013 * np.arange(10)
    values[120:125] = NAN
    rows = [
        correction("exclusion", "2024-01-01T10:00", "2024-01-01T20:00", cause="out of water"),
        correction("exclusion", "2024-01-02T16:00", "2024-01-03T02:00", cause="other"),
        correction("keep", "2024-01-03T12:00", "2024-01-03T22:00"),
    ]
    channel = channel_of(values, rows=rows)
    out = np.zeros(COUNT, dtype=np.uint8)
    out[120:125], out[84] = code("no value"), code("no density")
    out[10:20], out[40:50] = code("out of water"), code("other")
    level = level_of(channel, out=out)
    found = state(level)
    last = [place for place in range(80, 90) if place != 84]
    assert reasons(found, level) == {
        "out of water": list(range(10, 20)),
        "other": list(range(40, 50)),
        "no value": list(range(120, 125)),
        "no density": [84],
        NO_WATER: last,
    }
    assert np.flatnonzero(found.shows_bound).tolist() == [*range(10, 20), *last]
    assert rules(found) == {"out of water": [(80, 89)]}


def test_faults_are_looked_for_outside_of_what_is_no_water_or_excluded(monkeypatch):
    values = WATER.copy()
    values[30:36] = 0.0
    values[50:53] = NAN
    values[200:] = 30.0 + 0.01 * np.arange(40)
    rows = [correction("exclusion", "2024-01-05T00:00", "2024-01-05T04:00", cause="other")]
    level = level_of(channel_of(values, rows=rows))
    asked = []
    outliers = faults_of(COUNT, spikes=[(34, 37, -1.0)], ends=[(120, 121, 0.5)])

    def find(level, gone, *, least_m, switched):
        asked.append((gone.copy(), least_m, switched))
        return outliers

    monkeypatch.setattr(module, "find_level_faults", find)
    found = module.find_sensor_state(loggers_of({"range_m": 10.0}), "L", level, least_m=0.05, switched="switched")
    ((gone, least, switched),) = asked
    assert np.flatnonzero(gone).tolist() == [*range(30, 36), *range(96, 100), *range(200, COUNT)]
    assert (least, switched) == (0.05, "switched")
    assert found.faults is outliers
    spiked, ended = (f"{OUT_REASONS[number]}" for number in (found.out[36], found.out[120]))
    assert spiked.endswith("spike")
    assert ended.endswith("end of a file")
    assert reasons(found, level) == {
        NO_WATER: list(range(30, 36)),
        BEYOND_RANGE: list(range(200, COUNT)),
        spiked: [36, 37],
        ended: [120, 121],
    }


@pytest.mark.parametrize(
    ("quantity", "span", "value", "rule", "reason"),
    [
        ("water column", slice(100, 112), 0.6, "bottomed out", AT_LIMIT),
        ("absolute pressure", slice(100, 112), 0.6, "bottomed out", AT_LIMIT),
        ("depth to water", slice(100, 112), 3.0, "bottomed out", AT_LIMIT),
        ("depth to water", slice(100, 112), 0.6, "upper limit", None),
        ("water column", slice(100, 112), 3.0, "upper limit", None),
        ("water pressure", slice(100, 112), 3.0, "upper limit", None),
        ("absolute pressure", slice(100, 112), 3.0, "upper limit", BEYOND_RANGE),
        # 12 hours of one value with the air in it, 13 samples
        ("absolute pressure", slice(100, 113), 2.005, "flat", STUCK),
        ("absolute pressure", slice(100, 112), 2.005, None, None),
        ("water column", slice(50, 218), 2.005, None, None),
        ("water column", slice(50, 219), 2.005, "flat", None),
    ],
)
def test_a_sensor_rests_at_an_end_or_at_one_value(quantity, span, value, rule, reason):
    """Two hours at its least or largest value; 12 hours at one value with the air in it, else a week (168 hours)."""
    values = WATER.copy()
    values[span] = value
    level = level_of(channel_of(values, quantity=quantity), column_m=np.full(COUNT, NAN))
    found = state(level)
    places = list(range(span.start, span.stop))
    assert rules(found) == ({rule: [(span.start, span.stop - 1)]} if rule else {})
    assert {OUT_REASONS[number] for number in found.out[span]} == {reason or ""}
    assert np.flatnonzero(np.isin(found.out, [code(AT_LIMIT), code(STUCK), code(BEYOND_RANGE)])).tolist() == (
        places if reason else []
    )
    assert found.shows_bound.any() == (reason == AT_LIMIT)


def test_of_several_rules_the_plainest_gives_the_reason():
    """A flat run at the least value is of its limit, one at the largest is stuck; no water goes before any."""
    for value, column, reason in ((0.6, 2.0, AT_LIMIT), (3.0, 2.0, STUCK), (0.6, 0.0, NO_WATER)):
        values, columns = WATER.copy(), WATER.copy()
        values[100:120], columns[100:120] = value, column
        level = level_of(channel_of(values, quantity="absolute pressure"), columns, column_m=columns)
        assert reasons(state(level, {"range_m": 100.0}), level) == {reason: list(range(100, 120))}


def test_each_interval_of_a_rule_counts():
    values = WATER.copy()
    for first in (40, 100, 160):
        values[first : first + 12] = 0.6
    level = level_of(channel_of(values))
    found = state(level)
    spans = [(40, 51), (100, 111), (160, 171)]
    assert rules(found) == {"bottomed out": spans}
    assert reasons(found, level)[AT_LIMIT] == [place for first, last in spans for place in range(first, last + 1)]


@pytest.mark.parametrize("kind", [{"kind": "keep"}, {"kind": "exclusion", "cause": "other"}])
def test_a_run_of_one_value_that_a_person_judged_is_not_found_again(kind):
    values = WATER.copy()
    values[100:120] = 2.005
    row = correction(kind.pop("kind"), "2024-01-05T04:00", "2024-01-06T00:00", **kind)
    level = level_of(channel_of(values, quantity="absolute pressure", rows=[row]), column_m=np.full(COUNT, NAN))
    found = state(level)
    assert rules(found) == {}
    assert not found.out[100:120].any()


def test_a_series_of_one_value_has_no_limit():
    level = level_of(channel_of(np.full(30, 2.0)))
    assert rules(state(level)) == {}


def test_ice_is_looked_for_in_the_water_temperature_and_placed_among_the_samples():
    """Temperatures every half hour; from 03:30 to 05:00 it freezes, and within a quarter of an hour at 08:15."""
    when = hours(40, 0.5)
    cold = np.full(40, 4.0)
    cold[7:11] = [0.0, -0.1, -0.2, 0.0]
    water = SimpleNamespace(time_utc=np.append(when, START + 25 * HOUR), value=np.append(cold, 4.0))
    short = START + np.arange(8) * HOUR // 16 + 8 * HOUR + HOUR // 8
    water.time_utc = np.concatenate([when[:17], short, when[18:]])
    water.value = np.concatenate([cold[:17], [-1.0] * 8, cold[18:]])
    asked = []
    level = level_of(channel_of(WATER))
    found = state(level, water=water, asked=asked)
    span = [pd.Timestamp("2024-01-01", tz="UTC"), pd.Timestamp("2024-01-10T23:00:01", tz="UTC")]
    assert asked == [("L", "water temperature", *span)]
    (name, frozen) = found.intervals[-1]
    assert (name, frozen.first.tolist(), frozen.last.tolist(), frozen.count.tolist()) == ("frozen", [4], [5], [4])
    assert found.out[4:6].tolist() == [0, 0]
    warm = SimpleNamespace(time_utc=when, value=np.full(40, 0.1))
    assert "frozen" not in dict(state(level, water=warm).intervals)


# --- lifted for a moment --------------------------------------------------------------------------------------------


def alternating(step, middle=0.5):
    return middle + step * (np.arange(60) % 2)


@pytest.mark.parametrize(
    ("first", "count", "step", "beside", "is_lifted"),
    [
        (20, 1, 0.0, (0.5, 0.5), True),
        (20, 3, 0.0, (0.5, 0.5), True),
        (20, 4, 0.0, (0.5, 0.5), False),
        # the least fault is 0.03 m: from 0.02 m to more than 0.05 m on both sides
        (20, 2, 0.0, (0.0501, 0.0502), True),
        (20, 2, 0.0, (0.0499, 0.5), False),
        (20, 2, 0.0, (0.5, 0.0499), False),
        # or fifteen times the usual change of 0.01 m
        (20, 2, 0.01, (0.1701, 0.1702), True),
        (20, 2, 0.01, (0.1699, 0.5), False),
        # at either end of a series one side alone
        (0, 3, 0.0, (None, 0.5), True),
        (0, 3, 0.0, (None, 0.0499), False),
        (1, 2, 0.0, (0.0499, 0.5), False),
        (57, 3, 0.0, (0.5, None), True),
        (57, 3, 0.0, (0.0499, None), False),
    ],
)
def test_one_to_three_samples_with_jumps_on_both_sides_are_a_lifted_sensor(first, count, step, beside, is_lifted):
    values = alternating(step)
    values[first : first + count] = 0.02 - 0.001 * np.arange(count)
    for place, value in zip((first - 1, first + count), beside, strict=True):
        if value is not None:
            values[place] = value
    level = level_of(channel_of(values))
    found = state(level)
    run = list(range(first, first + count))
    assert [place for place in run if OUT_REASONS[found.out[place]] == LIFTED] == (run if is_lifted else [])
    assert found.shows_bound[run].tolist() == [not is_lifted] * count


def test_a_moment_that_a_person_excluded_keeps_its_cause_and_gives_no_bound():
    values = alternating(0.0)
    values[20:22] = 0.0
    rows = [correction("exclusion", "2024-01-01T20:00", "2024-01-01T22:00", cause="out of water")]
    out = np.zeros(60, dtype=np.uint8)
    out[20:22] = code("out of water")
    level = level_of(channel_of(values, rows=rows), out=out)
    found = state(level)
    assert reasons(found, level) == {"out of water": [20, 21]}
    assert not found.shows_bound.any()
    assert not found.faults.outliers()


def test_one_sample_of_water_is_too_few_for_a_jump():
    level = level_of(channel_of([0.5, 0.0, 0.001]))
    assert reasons(state(level), level) == {NO_WATER: [1, 2]}
    level = level_of(channel_of([0.5, 0.0, 0.5]))
    assert reasons(state(level), level) == {LIFTED: [1]}


# --- bounds -----------------------------------------------------------------------------------------------------------


def test_the_bound_is_the_sensor_and_the_least_water_it_would_notice():
    """Added to the level are 90 m; a step that lifted levels by 0.4 m lifts the sensor too, one down does not."""
    names = [NO_WATER, NO_WATER, NO_WATER, AT_LIMIT, AT_LIMIT, "bottomed out", NO_WATER, "", "spike"]
    column = np.array([0.0, 0.0, 0.0, 0.2, 0.01, 0.3, 0.0, 1.0, 0.0])
    stepped = column + np.array([0.0, 0.4, -0.4, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    level = level_of(channel_of(column), stepped, column_m=column)
    added = np.array([90.0] * 6 + [NAN] + [90.0] * 2)
    out = out_of(*names)
    anchored = anchored_of(level, added, out=out, parts={"sensor_m": 0.03, "hanging_m": 0.04})
    shows = [True] * 7 + [False, False]
    least = np.full(9, 0.05)
    found, bound, half_width = module.find_bounds(state_of(9, out=out, shows=shows, least=least), level, anchored)
    expected = [90.05, 90.45, 90.05, 90.2, 90.05, 90.3, NAN, NAN, NAN]
    np.testing.assert_allclose(bound, expected, rtol=1e-12)
    np.testing.assert_allclose(half_width, [0.05] * 6 + [NAN] * 3, rtol=1e-12)
    assert found.tolist() == out.tolist()
    assert module.is_at_limit(out).tolist() == [False, False, False, True, True, True, False, False, False]
    # without a sensor's zero the level itself is what was read
    depth = level_of(channel_of(column, quantity="depth to water"), stepped, column_m=np.full(9, NAN))
    _, bound, _ = module.find_bounds(state_of(9, out=out, shows=shows, least=least), depth, anchored)
    np.testing.assert_allclose(bound, np.where(shows & ~np.isnan(added), added + stepped, NAN), rtol=1e-12)


@pytest.mark.parametrize(
    ("when", "elevation", "uncertainty", "used", "fails"),
    [
        # bounds are 90.03 m +- 0.5 m from 02:00 to 05:00
        ("03:00", 91.0, 0.25, True, True),
        ("03:00", 90.78, 0.25, True, False),
        ("03:00", 90.531, NAN, True, True),
        ("03:00", 90.529, NAN, True, False),
        ("03:00", 91.0, 0.25, False, False),
        ("02:00", 91.0, 0.25, True, True),
        ("05:00", 91.0, 0.25, True, True),
        ("01:59", 91.0, 0.25, True, False),
        ("05:01", 91.0, 0.25, True, False),
    ],
)
def test_a_reading_that_met_water_above_a_bound_leaves_none_of_its_interval(when, elevation, uncertainty, used, fails):
    column = np.array([1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0])
    out = out_of("", "", *[NO_WATER] * 3, "out of water", "", NO_WATER, NO_WATER)
    rows = [correction("exclusion", "2024-01-01T05:00", "2024-01-01T06:00", cause="out of water")]
    level = level_of(channel_of(column, rows=rows))
    reading = {"measured_at_utc": f"2024-01-01T{when}", "water_elevation_m": elevation, "uncertainty_m": uncertainty}
    manual = manual_of({**reading, "used": used})
    anchored = anchored_of(level, 90.0, out=out, manual=manual, parts={"sensor_m": 0.5})
    shows = out != 0
    found, bound, half_width = module.find_bounds(state_of(9, out=out, shows=shows), level, anchored)
    names = [OUT_REASONS[number] for number in found]
    lost = [CONTRADICTED] * 3 if fails else [NO_WATER] * 3
    assert names == ["", "", *lost, "out of water", "", NO_WATER, NO_WATER]
    expected = np.where(shows, 90.03, NAN)
    expected[2:6] = NAN if fails else 90.03
    np.testing.assert_allclose(bound, expected, rtol=1e-12)
    assert np.isnan(half_width).tolist() == np.isnan(expected).tolist()


def test_a_reading_is_compared_with_the_bound_at_its_time():
    """The sensor was lowered within the interval: what is above the later bound was below the earlier one."""
    column = np.zeros(6)
    level = level_of(channel_of(column))
    added = np.array([95.0, 95.0, 95.0, 90.0, 90.0, 90.0])
    out = out_of(*[NO_WATER] * 6)
    for when, fails in (("01:30", False), ("03:00", True), ("05:00", True)):
        manual = manual_of({"measured_at_utc": f"2024-01-01T{when}", "water_elevation_m": 93.0, "uncertainty_m": 0.0})
        anchored = anchored_of(level, added, out=out, manual=manual)
        found, _, _ = module.find_bounds(state_of(6, out=out, shows=out != 0), level, anchored)
        assert (found == code(CONTRADICTED)).all() == fails
    # at the very first sample, whose bound is lower than the next
    manual = manual_of({"measured_at_utc": "2024-01-01T00:00", "water_elevation_m": 93.0, "uncertainty_m": 0.0})
    anchored = anchored_of(level, np.roll(added[::-1], -2), out=out, manual=manual)
    found, _, _ = module.find_bounds(state_of(6, out=out, shows=out != 0), level, anchored)
    assert (found == code(CONTRADICTED)).all()


def test_the_sentences_count_the_samples_of_each_reason_and_their_bounds():
    out = out_of(NO_WATER, NO_WATER, AT_LIMIT, STUCK, BEYOND_RANGE, LIFTED, CONTRADICTED, "spike", "", "no value")
    bound = np.array([1.0, NAN, 1.0, *[NAN] * 7])
    shown = "1 of them show that the water is at or below an elevation"
    assert module.describe_state(out, bound) == (
        f"2 samples without a head: {NO_WATER}; {shown}",
        f"1 sample without a head: {AT_LIMIT}; {shown}",
        f"1 sample without a head: {STUCK}",
        f"1 sample without a head: {BEYOND_RANGE}",
        f"1 sample without a head: {LIFTED}",
        f"1 sample without a head: {CONTRADICTED}",
    )
