"""Findings of one deployment: whole findings beside what was planted, each rule at its limit; constructed arrays."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import finding_rules as module
from gwnet.analysis.loggers.level_faults import OpenSteps

from .heads_of_arrays import (
    HOUR,
    NAN,
    START,
    anchored_of,
    channel_of,
    faults_of,
    heads_of,
    hours,
    intervals_of,
    level_of,
    out_of,
    state_of,
)

COUNT = 48

#: What manual readings and the sensor may differ by at the site of these frames [m].
TOLERANCE_M = 0.045


@pytest.fixture(autouse=True)
def limits(monkeypatch):
    monkeypatch.setattr(module, "limits_of", lambda settings: ({"logger_residual_m": TOLERANCE_M}, settings))


def loggers_of(charge=None, asked=None):
    """Return a record of loggers with a battery: values and unit."""

    def channel(*span):
        if asked is not None:
            asked.append(span)
        return None if charge is None else SimpleNamespace(value=np.array(charge[0], dtype=float), unit=charge[1])

    record = SimpleNamespace(of_site=lambda site: SimpleNamespace(settings=site))
    return SimpleNamespace(record=record, channel=channel)


def text(moment):
    return "" if np.isnat(moment) else str(moment.astype("datetime64[s]"))


def at(number):
    return text(START + number * HOUR)


def told(heads, **more):
    """Return findings as tuples: rule, first, last, message, kind, parameters, span of the correction."""
    rows = list(module.find_in_deployment(loggers_of(**more), heads))
    for row in rows:
        assert (row.site, row.well, row.instrument, row.quantity) == ("S", "W", "L", heads.quantity)
    return [
        (
            row.rule,
            text(row.start_utc),
            text(row.end_utc),
            row.message,
            row.kind,
            dict(row.parameters),
            text(row.from_utc),
            text(row.to_utc),
        )
        for row in rows
    ]


def made(
    value=None, *, when=None, intervals=(), faults=None, out=None, rows=(), quantity="water column", by_depth=None
):
    value = np.linspace(2.0, 3.0, COUNT) if value is None else np.asarray(value, dtype=float)
    channel = channel_of(value, when=when, rows=rows, quantity=quantity)
    level = level_of(channel)
    state = state_of(value.size, intervals=intervals, faults=faults)
    anchored = anchored_of(level, 90.0, out=out, by_depth=by_depth)
    return heads_of(value, channel=channel, level=level, state=state, anchored=anchored)


def excluded(rule, first, last, message, cause):
    """Return a finding that suggests to exclude its samples: to a second after the last, as spans are half-open."""
    end = text(START + last * HOUR + np.timedelta64(1, "s"))
    return (rule, at(first), at(last), message, "exclusion", {"cause": cause}, at(first), end)


@pytest.mark.parametrize(
    ("rule", "message", "cause"),
    [
        ("bottomed out", "4 samples at the least value ever read, for 2.5 h.", "bottomed out"),
        ("upper limit", "4 samples at the largest value ever read, for 2.5 h.", "over range"),
        ("flat", "4 samples in a row with the same value, for 2.5 h.", "flat"),
        ("out of water", "4 samples with no water above the sensor (median 0.012 m).", "out of water"),
        ("frozen", "4 samples of water at or below 0 degC (median 0.01 degC).", "frozen"),
        ("over range", "4 samples above the range of the instrument (median 0.012 m).", "over range"),
    ],
)
def test_an_interval_of_the_sensor_is_a_finding_with_an_exclusion(rule, message, cause):
    heads = made(intervals=[(rule, intervals_of((10, 13), value=0.0123, hours=2.5))])
    assert told(heads) == [excluded(rule, 10, 13, message, cause)]


def test_an_interval_of_which_more_than_half_was_reported_is_not_reported_again():
    intervals = [
        ("bottomed out", intervals_of((10, 13))),
        ("flat", intervals_of((12, 15), (11, 13), (12, 13))),
        ("out of water", intervals_of((14, 17), (13, 16))),
    ]
    rows = told(made(intervals=intervals))
    assert [(row[0], row[1], row[2]) for row in rows] == [
        ("bottomed out", at(10), at(13)),
        # half of 12 to 15 is new
        ("flat", at(12), at(15)),
        # of 14 to 17 half, of 13 to 16 three quarters were reported
        ("out of water", at(14), at(17)),
    ]


def test_what_a_person_excluded_is_not_found_again():
    """Of five samples two were excluded; a second interval lies in what was excluded."""
    out = out_of(*[""] * 10, "spike", "other", *[""] * 36)
    heads = made(out=out, intervals=[("flat", intervals_of((10, 14), (10, 11)))])
    assert [(row[0], row[1], row[2]) for row in told(heads)] == [("flat", at(10), at(14))]


def test_spikes_and_odd_ends_ask_what_happened():
    faults = faults_of(COUNT, spikes=[(5, 5, -0.5), (9, 10, 0.25)], ends=[(46, 47, -1.0)])
    assert told(made(faults=faults)) == [
        excluded("spike", 5, 5, "1 sample -0.500 m off both neighbours: taken out of the water?", "spike"),
        excluded("spike", 9, 10, "2 samples +0.250 m off both neighbours: a bad value?", "spike"),
        excluded(
            "end of a file",
            46,
            47,
            "2 samples -1.000 m off the samples beside the end of a run: taken out of the water?",
            "spike",
        ),
    ]


def test_steps_are_of_the_sensor_or_open_and_teeth_are_one_finding(monkeypatch):
    asked = []
    steps = OpenSteps(
        np.array([3, 8, 12, 20, 30]),
        np.array([0.2, -0.3, -0.51, -0.55, -0.53]),
        np.array([True, False, False, False, False]),
        np.array([-0.21, NAN, NAN, NAN, NAN]),
        np.array([False, False, True, True, True]),
    )
    monkeypatch.setattr(module, "find_open_steps", lambda heads, *, tolerance_m: asked.append(tolerance_m) or steps)
    sensor = "manual readings on both sides moved by -0.210 m against it: the sensor moved"
    nobody = "no manual readings on both sides show whether sensor or water moved"
    saw = (
        "3 steps of -0.530 m (median), and the level comes back between them: pumping near by, or a sensor that fails? "
        "Adding up steps would be wrong."
    )
    assert told(made()) == [
        ("saw-tooth", at(12), at(30), saw, "", {}, "", ""),
        (
            "slipped cable",
            at(3),
            at(3),
            f"The level steps by +0.200 m and stays; {sensor}.",
            "step",
            {"amount_m": -0.2},
            at(3),
            "",
        ),
        (
            "step",
            at(8),
            at(8),
            f"The level steps by -0.300 m and stays; {nobody}.",
            "step",
            {"amount_m": 0.3},
            at(8),
            "",
        ),
    ]
    assert asked == [TOLERANCE_M]
    rounded = OpenSteps(np.array([3]), np.array([0.123456]), np.array([False]), np.array([NAN]), np.array([False]))
    assert module.step_finding(made(), rounded, 0).parameters == {"amount_m": -0.1235}


def test_open_steps_come_from_the_level():
    assert [row[0] for row in told(made(faults=faults_of(COUNT, steps=[(20, 0.3)])))] == ["step"]


def test_gaps_are_longer_than_one_and_a_half_intervals():
    when = hours(COUNT)
    when[20:] += HOUR // 2  # an hour and a half apart is no gap
    when[30:] += HOUR // 2 + np.timedelta64(1, "s")
    when[40:] += 5 * HOUR
    value = np.linspace(2.0, 3.0, COUNT)
    value[10:12] = NAN
    rows = told(made(value, when=when))
    due = "where one is due every 60 min."
    assert rows == [
        ("gap", at(9), at(12), f"No sample for 3 h, {due}", "", {}, "", ""),
        ("gap", text(when[29]), text(when[30]), f"No sample for 1.5 h, {due}", "", {}, "", ""),
        ("gap", text(when[39]), text(when[40]), f"No sample for 6 h, {due}", "", {}, "", ""),
    ]


def test_a_run_of_another_interval_is_no_row_of_gaps():
    """40 hourly samples, then 12 every three hours, then hourly ones again after a gap."""
    when = np.concatenate([hours(40), START + 39 * HOUR + np.arange(1, 13) * 3 * HOUR])
    when = np.concatenate([when, when[-1] + 9 * HOUR + np.arange(40) * HOUR])
    rows = told(made(np.linspace(2.0, 3.0, when.size), when=when))
    assert [row[0] for row in rows] == ["interval", "gap"]
    assert rows[0][3] == "13 samples 180 min apart instead of 60 min."
    assert (rows[0][1], rows[0][2]) == (text(when[39]), text(when[51]))
    assert rows[1][1:4] == (text(when[51]), text(when[52]), "No sample for 9 h, where one is due every 60 min.")
    assert told(made([2.0])) == []


@pytest.mark.parametrize("quantity", ["water column", "water elevation"])
def test_samples_without_an_anchor_are_named_and_those_by_the_hanging_depth_alone(quantity):
    out = out_of(*[""] * 5, "not anchored", "not anchored", *[""] * 3, "spike", "not anchored", *[""] * 36)
    by_depth = np.zeros(COUNT, dtype=bool)
    by_depth[10:13] = True
    by_depth[[20, 30]] = True
    rows = told(made(out=out, by_depth=by_depth, quantity=quantity))
    fix = "a manual reading, or hanging depth and measuring point, would anchor them"
    expected = [("not anchored", at(5), at(11), f"3 samples without a level: not anchored; {fix}.", "", {}, "", "")]
    if quantity != "water elevation":
        words = "3 samples by the hanging depth alone: no manual reading anchors them."
        expected.append(("not anchored", at(12), at(30), words, "", {}, "", ""))
    assert rows == expected


@pytest.mark.parametrize(
    ("charge", "words"),
    [
        (([90.0, 50.0, 20.0], "%"), "The battery was at 20 % at the last sample: change it at the next visit."),
        (([90.0, 20.5], "%"), None),
        (([3.6, 3.5, 3.0, NAN], "V"), "The battery was at 3 V at the last sample: change it at the next visit."),
        (([3.6, 3.1], "V"), None),
        (([19.0, 21.0], "%"), None),
        (([NAN], "V"), None),
        (None, None),
    ],
)
def test_a_battery_is_low_at_a_fifth_or_three_volts(charge, words):
    """Project default: 20 % or 3 V; the last value on record counts, up to the last sample."""
    asked = []
    rows = told(made(), charge=charge, asked=asked)
    assert rows == ([("battery", at(47), at(47), words, "", {}, "", "")] if words else [])
    assert asked == [
        ("L", "battery", pd.Timestamp(at(0), tz="UTC"), pd.Timestamp(at(47), tz="UTC") + pd.Timedelta(seconds=1))
    ]
    if charge is not None and words:
        known = [value for value in charge[0] if value == value]
        assert module.battery(loggers_of(charge), "L", None, None) == (known[-1], charge[1], True)
    if charge is None or charge[0] == [NAN]:
        assert module.battery(loggers_of(charge), "L", None, None) is None


def test_a_rule_that_suggests_nothing_says_nothing_of_a_correction():
    lines = module.describe_logger_findings().split("\n")
    assert len(lines) == 2 + len(module.RULES)
    assert "| gap | no samples for longer than the interval | 1.5 intervals | nothing | nothing |" in lines
    two_hours = "2 hours, or 1.5 intervals of the barometer"
    assert (
        f"| barometer gap | no air pressure for longer than is interpolated over, one gap a finding | {two_hours} | nothing | nothing |"
        in lines
    )
    for name, rule in module.RULES.items():
        (line,) = [line for line in lines if line.startswith(f"| {name} |")]
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        assert cells == [name, rule.looks_for, rule.limits, rule.suggests or "nothing", rule.keeps_out or "nothing"]
