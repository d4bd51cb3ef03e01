"""Which manual readings anchor a sensor, what an elevation rests on and each part of its uncertainty, from frames.

The numbers of the rules (2 hours, 1.5 intervals, 0.06 and 0.05 m, 1.96, a half) are project defaults.
"""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.default_accuracy import survey_defaults
from gwnet.analysis.loggers import anchor as anchoring
from gwnet.analysis.loggers.anchor import MANUAL_COLUMNS, anchor
from gwnet.analysis.loggers.correction_history import OUT_REASONS

from .logger_frames import HOUR, channel_of, deployment_of, level_of, moments, record_of, stamp

NAN = float("nan")
POINT = {
    "site": "S",
    "well": "A",
    "access": "",
    "valid_from_utc": stamp(-9999),
    "valid_until_utc": pd.NaT,
    "elevation_m": 100.0,
    "accuracy_m": 0.02,
    "survey_method": "",
    "surveyed_on": None,
}


@pytest.fixture(autouse=True)
def _accuracy(monkeypatch):
    monkeypatch.setattr(anchoring, "sensor_accuracy_m", lambda _, instrument: {"L": 0.008}[instrument])


def loggers_of(*points):
    table = pd.DataFrame([{**POINT, **point} for point in points], columns=list(POINT))
    return SimpleNamespace(record=record_of(measuring_points=table))


def readings(*rows):
    """Return levels of (hour, elevation, uncertainty, what differs)."""
    usual = {
        "site": "S",
        "well": "A",
        "access": "",
        "time_known": True,
        "bound": "",
        "status": "static",
        "quality": "good",
        "review": "",
        "finding": "",
    }
    made = [
        {
            **usual,
            "event_id": number,
            "measured_at_utc": stamp(hour),
            "measured_at": f"at {hour}",
            "water_elevation_m": elevation,
            "uncertainty_m": uncertainty,
            **(different[0] if different else {}),
        }
        for number, (hour, elevation, uncertainty, *different) in enumerate(rows, 1)
    ]
    columns = [*usual, "event_id", "measured_at_utc", "measured_at", "water_elevation_m", "uncertainty_m"]
    table = pd.DataFrame(made, columns=columns)
    return table.astype({"time_known": bool}).assign(measured_at_utc=pd.to_datetime(table["measured_at_utc"], utc=True))


def events(*rows, leave_out=(), hours=range(10)):
    history = [("anchoring", None, None, {"leave_out": list(leave_out)})] if leave_out else []
    channel = channel_of(hours, np.ones(len(hours)), *history)
    table = anchor(loggers_of(), deployment_of(), level_of(channel), readings(*rows)).manual
    assert tuple(table.columns) == MANUAL_COLUMNS
    return table


@pytest.mark.parametrize(
    "flaw",
    [
        *({"site": "T"}, {"well": "B"}, {"access": "port 2"}, {"time_known": False}, {"bound": "<="}),
        *({"water_elevation_m": NAN}, {"status": "dry"}, {"status": "frozen"}),
    ],
)
def test_what_is_no_reading_of_the_water_at_the_sensor_is_left_out(flaw):
    table = events((5, 91.0, 0.01), (3, 91.0, 0.01, flaw))
    assert table["event_id"].tolist() == [1]
    assert table["used"].tolist() == [True]


@pytest.mark.parametrize(
    ("hour", "counts"), [(-2, True), (-2 - 1e-9, False), (11, True), (11 + 1e-9, False), (0, True), (9, True)]
)
def test_readings_up_to_two_hours_beyond_the_samples_count(hour, counts):
    table = events((hour, 91.0, 0.01))
    assert len(table) == counts
    assert table["offset_m"].notna().tolist() == [True] * counts


@pytest.mark.parametrize(
    ("differs", "used"),
    [
        *(({"quality": "fair"}, True), ({"review": "accepted"}, True), ({"finding": "spike"}, True)),
        *(({"quality": "suspect"}, False), ({"quality": "poor"}, False)),
        *(({"review": "rejected"}, False), ({"review": "on hold"}, False)),
        *(({"finding": f"a; {phrase}; b"}, False) for phrase in anchoring._UNFIT),
        *(({"status": status}, True) for status in ("flowing", "pumping", "recovering", "nearby pumping")),
    ],
)
def test_readings_that_are_unfit_are_kept_but_not_used(differs, used):
    table = events((6, 92.0, 0.01), (3, 91.0, 0.01, differs))
    assert table["event_id"].tolist() == [2, 1]
    assert table["measured_at"].tolist() == ["at 3", "at 6"]
    assert table["used"].tolist() == [used, True]
    np.testing.assert_array_equal(table["offset_m"], [90.0 if used else NAN, 91.0])
    assert events((6, 92.0, 0.01), (3, 91.0, 0.01), leave_out=[2])["used"].tolist() == [False, True]


@pytest.mark.parametrize(
    ("hours", "at", "known"),
    [
        # two hours between the samples beside a reading, or 1.5 of its usual intervals
        ([0, 1, 2, 4, 5], 3, True),
        ([0, 1, 2, 4.001, 5.001], 3, False),
        ([0, 24, 48, 84, 108], 60, True),
        ([0, 24, 48, 84.001, 108.001], 60, False),
        ([0], 1, True),
        ([0, 0.5, 1, 3.001], 2, False),
    ],
)
def test_samples_on_both_sides_of_a_reading_are_near(hours, at, known):
    assert events((at, 91.0, 0.01), hours=hours)["offset_m"].notna().tolist() == [known]


def test_every_number_of_a_linear_anchoring():
    """Two installations: three readings before hour 12, one after; one sample is out, one has no level."""
    rng = np.random.default_rng(1)
    hours = np.arange(24.0)
    value = 2.0 + rng.normal(size=24) * 0.2
    value[7] = NAN
    channel = channel_of(hours, value, ("restart", 12, None, {}))
    out = np.where(hours == 9, 3, 0)
    half, away = np.linspace(0, 40, 24), np.linspace(0, 9000, 24)
    level = level_of(
        channel,
        out=out,
        barometer="B",
        air_away_s=away,
        air_half_width_pa=half,
        response_m=hours / 100,
        response_half_width_m=hours / 1000,
    )
    table = readings(
        (2, 91.0, 0.01), (10, 91.3, 0.04), (5, 91.05, 0.02), (15, 93.0, 0.03), (8, 1.0, 9.0, {"review": "rejected"})
    )
    found = anchor(loggers_of({}), deployment_of(hanging_depth_m=8.0), level, table)

    at, offset = np.array([2.0, 5.0, 10.0]), np.array([91.0, 91.05, 91.3]) - value[[2, 5, 10]]
    correction = np.where(hours < 12, np.interp(hours, at, offset), 93.0 - value[15])
    elevation = np.where(out == 0, value, NAN) + correction + hours / 100
    np.testing.assert_allclose(found.water_elevation_m, elevation, rtol=1e-12)
    np.testing.assert_allclose(found.correction_m, correction, rtol=1e-12)
    missing = OUT_REASONS.index("not anchored")
    assert found.out.tolist() == [missing if hour == 7 else 3 if hour == 9 else 0 for hour in range(24)]
    assert not found.by_hanging_depth.any()

    left_out = [offset[k] - np.interp(at[k], np.delete(at, k), np.delete(offset, k)) for k in range(3)]
    np.testing.assert_allclose(
        found.manual["leave_one_out_residual_m"], [left_out[0], left_out[1], NAN, left_out[2], NAN], rtol=1e-9
    )
    rate = abs(np.polyfit(at, offset, 1)[0])
    since = np.maximum(np.maximum(2 - hours, hours - 10), 0) * rate
    parts = {
        "manual_m": np.where(hours < 12, np.interp(hours, at, [0.01, 0.02, 0.04]), 0.03),
        "hold_m": np.where(hours < 12, 1.96 * np.sqrt(np.mean(np.square(left_out))) / 2, 0.06),
        "sensor_m": np.full(24, 0.008),
        "air_m": np.hypot(np.minimum(away, 7200) * 100 / 3600, half) / 9800,
        "response_m": hours / 1000,
        "since_m": np.where(hours < 12, since, 0.0),
        "hanging_m": np.zeros(24),
    }
    assert list(found.parts) == ["manual_m", "hold_m", "sensor_m", "air_m", "response_m", "since_m", "hanging_m"]
    for name, part in parts.items():
        np.testing.assert_allclose(found.parts[name], part, rtol=1e-4, atol=1e-12, err_msg=name)
    total = np.sqrt(sum(part**2 for part in found.parts.values()))
    np.testing.assert_allclose(found.uncertainty_m, np.where(np.isnan(elevation), NAN, total), rtol=1e-12)
    assert found.steps == (
        "anchored to manual readings: linear between 4 in 2 installations",
        "1 manual readings not used: left out, unfit or rejected",
    )


def test_a_constant_anchoring_is_by_the_mean_and_holds_by_the_whole_spread():
    value = np.array([2.0, 2.5, 2.25, 2.125, 3.0])
    channel = channel_of(range(5), value, ("anchoring", None, None, {"method": "constant"}))
    found = anchor(loggers_of(), deployment_of(), level_of(channel), readings((0, 12.0, 0.01), (3, 12.375, 0.02)))
    np.testing.assert_array_equal(found.correction_m, np.full(5, 10.125))
    # left out, each differs from the other by 0.25 m
    np.testing.assert_allclose(found.parts["hold_m"], np.full(5, 1.96 * 0.25), rtol=1e-4)
    assert found.steps == ("anchored to manual readings: the mean offset of 2",)


@pytest.mark.parametrize(
    ("method", "hanging", "quantity", "words"),
    [
        ("none", 8.0, "absolute pressure", " of 8 m"),
        ("none", NAN, "depth to water", ""),
        ("none", NAN, "water elevation", ""),
        ("linear", 8.0, "absolute pressure", " of 8 m"),
    ],
)
def test_without_readings_the_hanging_depth_gives_the_elevation(method, hanging, quantity, words):
    """With the method none readings do not count; the linear case has none in its second installation."""
    value = np.array([2.0, 2.5, 2.25, 3.0])
    history = [("anchoring", None, None, {"method": method}), ("restart", 2, None, {})]
    channel = channel_of(range(4), value, *history, quantity=quantity)
    found = anchor(
        loggers_of({"accuracy_m": 0.12}),
        deployment_of(hanging_depth_m=hanging),
        level_of(channel, out=[0, 0, 0, 5]),
        readings((1, 95.0, 0.01)),
    )
    by_depth = {"absolute pressure": 92.0 + value, "depth to water": 100.0 + value, "water elevation": value}[quantity]
    read = np.array([method == "linear"] * 2 + [False] * 2)
    np.testing.assert_allclose(found.water_elevation_m, [*np.where(read, value + 92.5, by_depth)[:3], NAN], rtol=1e-12)
    np.testing.assert_array_equal(found.by_hanging_depth, ~read)
    accuracy = 0.0 if quantity == "water elevation" else 0.12
    np.testing.assert_allclose(found.parts["hanging_m"], np.where(read, 0.0, np.hypot(accuracy, 0.05)), rtol=1e-12)
    np.testing.assert_array_equal(found.parts["hold_m"], np.full(4, 0.06))
    np.testing.assert_array_equal(found.parts["manual_m"], np.where(read, 0.01, 0.0))
    assert found.out.tolist() == [0, 0, 0, 5]
    assert found.manual["used"].tolist() == [True]
    assert found.steps[-1] == (
        f"{(~read).sum()} samples by the hanging depth{words} alone: no manual reading anchors them"
    )
    assert len(found.steps) == (2 if read.any() else 1)


def test_nothing_anchors_without_a_depth_or_a_point():
    channel = channel_of(range(3), [1.0, 2.0, 3.0])
    for loggers, depth in ((loggers_of({}), NAN), (loggers_of(), 8.0), (loggers_of({"well": "B"}), 8.0)):
        found = anchor(loggers, deployment_of(hanging_depth_m=depth), level_of(channel), readings())
        assert np.isnan([found.water_elevation_m, found.uncertainty_m, found.correction_m]).all()
        assert set(found.out.tolist()) == {OUT_REASONS.index("not anchored")}
        assert found.steps == ()
        assert found.parts["hanging_m"].tolist() == [0.0] * 3
        assert found.parts["hold_m"].tolist() == [0.0] * 3


def test_the_measuring_point_in_force_counts_from_its_start_to_before_its_end():
    """Two in force at hours 4 and 5 give none; one of another site or access never counts."""
    loggers = loggers_of(
        {"valid_from_utc": stamp(1), "valid_until_utc": stamp(3), "accuracy_m": 0.3},
        {"elevation_m": 101.0, "valid_from_utc": stamp(3), "valid_until_utc": stamp(6), "accuracy_m": 0.4},
        {"elevation_m": 102.0, "valid_from_utc": stamp(4), "accuracy_m": NAN, "survey_method": "levelling"},
        {"elevation_m": 500.0, "site": "T"},
        {"elevation_m": 500.0, "access": "port 2"},
    )
    channel = channel_of(range(8), np.ones(8))
    elevation, accuracy = anchoring._elevation_by_depth(loggers, deployment_of(hanging_depth_m=8.0), level_of(channel))
    np.testing.assert_array_equal(elevation, [NAN, 93.0, 93.0, 94.0, NAN, NAN, 95.0, 95.0])
    assert accuracy[[1, 2, 3]].tolist() == [0.3, 0.3, 0.4]
    (usual,), _ = survey_defaults(
        np.array(["levelling"], dtype=object), np.array(["2024-05-01"], "M8[D]"), np.array(["2024-05-01"], "M8[D]")
    )
    assert accuracy[[6, 7]].tolist() == [usual, usual]


@pytest.mark.parametrize("surveyed", [None, "2010-06-01"])
def test_a_survey_without_an_accuracy_ages_from_its_day_or_the_start_of_the_point(surveyed):
    point = SimpleNamespace(
        valid_from_utc=stamp(0), surveyed_on=None if surveyed is None else pd.Timestamp(surveyed), survey_method=None
    )
    when = moments(0, 24 * 365 * 8)
    found = anchoring._survey_accuracy(point, when)
    day = np.array([surveyed or "2024-05-01"] * 2, dtype="datetime64[D]")
    expected, _ = survey_defaults(np.full(2, "", dtype=object), day, when.astype("datetime64[D]"))
    np.testing.assert_array_equal(found, expected)
    assert found[1] > found[0]
    assert when[1] - when[0] == 24 * 365 * 8 * HOUR
