"""The parts that heads and findings of loggers are made of, each by itself."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.anchor import MANUAL_COLUMNS, PARTS, anchor
from gwnet.analysis.loggers.barometers import barometer_channel
from gwnet.analysis.loggers.channels import deployments_in, loggers_of
from gwnet.analysis.loggers.clocks import compare_clock, find_clock_errors
from gwnet.analysis.loggers.heads import work_out_heads
from gwnet.analysis.loggers.sensor_level import sensor_level
from gwnet.analysis.loggers.suggestion import NAT, LoggerFinding, describe_moment, findings_frame, span_around

from .logger_record import HOUR
from .test_logger_heads import Installed

NOON = np.datetime64("2024-05-01T12:00", "us")


@pytest.fixture
def installed(tmp_path):
    made = Installed(tmp_path / "a.sqlite")
    yield made
    made.record.store.close()


def as_stamps(*moments):
    return [pd.Timestamp(moment, tz="UTC") for moment in moments]


def deployment(record):
    return next(row for row in deployments_in(record).itertuples() if row.instrument == "L")


def test_a_sensor_level_is_the_column_of_water_over_the_sensor(installed):
    installed.install(sensor=88.0)
    with installed.loggers.snapshot() as record:
        level = sensor_level(loggers_of(record), deployment(record))
        np.testing.assert_allclose(level.level_m, installed.water - 88.0, atol=2e-3)
        assert (level.out == 0).all()
        assert level.barometer == "B"
        assert any(step.startswith("less the air pressure of B, linear between samples") for step in level.steps)
        air = barometer_channel(loggers_of(record), "B", installed.when[:2])
        np.testing.assert_allclose(air.value, installed.air[: len(air)])
        assert barometer_channel(loggers_of(record), "B", installed.when[:0]) is None


def test_a_segment_of_one_sample_has_a_level_and_one_of_none_has_nothing(installed):
    installed.install(sensor=88.0)
    at = installed.when[700]
    with installed.loggers.snapshot() as record:
        loggers = loggers_of(record)
        one = loggers.channel("L", "absolute pressure", *as_stamps(at, at + np.timedelta64(1, "us")))
        assert one.time_utc.tolist() == [at.astype(object)]
        assert loggers.channel("L", "absolute pressure", *as_stamps(at + HOUR // 4, at + HOUR // 2)) is None


def test_levels_are_anchored_to_the_readings_that_are_given(installed):
    installed.install(sensor=88.0)
    installed.read(100, 1400)
    with installed.loggers.snapshot() as record:
        row, loggers = deployment(record), loggers_of(record)
        level, manual = sensor_level(loggers, row), levels(record)
        anchored = anchor(loggers, row, level, manual)
        assert tuple(anchored.manual.columns) == MANUAL_COLUMNS
        assert set(anchored.parts) == set(PARTS)
        np.testing.assert_allclose(anchored.water_elevation_m, installed.water, atol=2e-3)
        unread = anchor(loggers, row, level, manual.iloc[:0])
        assert unread.manual.empty
        assert unread.by_hanging_depth.all()
        assert (unread.parts["manual_m"] == 0).all()
        assert (unread.uncertainty_m > anchored.uncertainty_m).all()


def test_a_clock_is_compared_with_that_of_its_barometer(installed):
    installed.water = installed.water + np.random.default_rng(9).normal(size=installed.water.size) * 0.001
    installed.install(clock=installed.when - 2 * HOUR)
    with installed.loggers.snapshot() as record:
        (heads,) = work_out_heads(record)
        clock = compare_clock(loggers_of(record), heads)
    assert (clock.instrument, clock.shift.shift_s, clock.has_jumped) == ("L", 7200.0, False)
    (finding,) = find_clock_errors([clock])
    assert (finding.rule, finding.kind, finding.parameters) == ("clock", "clock shift", {"seconds": 7200.0})
    assert list(find_clock_errors([])) == []


def test_a_suggestion_is_a_command_for_a_shell():
    start, end = span_around(NOON, NOON + HOUR)
    assert (end - start) == HOUR + np.timedelta64(1, "s")
    assert describe_moment(NOON) == "2024-05-01T12:00Z"
    place = ("S", "W", "logger 7", "water pressure")
    finding = LoggerFinding(
        *place, "manual reading", NOON, NOON, "off", "anchoring", {"leave_out": [4, 7]}, from_utc=start, to_utc=NAT
    )
    assert finding.command() == (
        "gwnet logger correct 'logger 7' anchoring --series 'water pressure' --from 2024-05-01T12:00Z "
        "--leave-out 4 --leave-out 7 --reason TEXT"
    )
    silent = LoggerFinding(*place, "gap", NOON, NOON, "no sample")
    assert silent.command() == ""
    table = findings_frame([finding, silent])
    assert table["finding"].tolist() == [finding.key(), silent.key()]
    assert table["start_utc"].tolist() == 2 * [pd.Timestamp(NOON, tz="UTC")]
    assert findings_frame([]).empty
