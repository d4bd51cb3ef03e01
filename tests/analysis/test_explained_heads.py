"""How a head of a logger is explained, step by step, each sentence whole; constructed frames."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.explain import Explanation
from gwnet.analysis.loggers import explain as module
from gwnet.analysis.loggers.correction_history import AT_LIMIT, NO_WATER, OUT_REASONS
from gwnet.errors import ClockError, NotFoundError

from .heads_of_arrays import (
    HOUR,
    NAN,
    START,
    anchored_of,
    channel_of,
    correction,
    heads_of,
    hours,
    level_of,
    manual_of,
    out_of,
    state_of,
)

ZONE = "Europe/Vienna"

FILE = {
    "file": "a.csv",
    "layout": "plain",
    "zone": "UTC",
    "added": 3,
    "first_utc": "2024-01-01T01:00",
    "last_utc": "2024-01-01T01:00",
    "recorded_at_utc": "2024-02-01T08:30",
    "recorded_by": "Ana",
}


@pytest.fixture
def explained(monkeypatch):
    """Give a function that explains the heads of a well at a time, as tuples of the steps."""

    def explain(heads, time, *, unit="m", files=(), whole=False):
        rows = pd.DataFrame([{**FILE, **row} for row in files], columns=list(FILE))
        for name in ("first_utc", "last_utc", "recorded_at_utc"):
            rows[name] = pd.to_datetime(rows[name], utc=True, format="ISO8601")
        loggers = SimpleNamespace(zone_of=lambda site: ZONE, downloads_of=lambda channel: rows)
        monkeypatch.setattr(module, "loggers_of", lambda record: loggers)
        monkeypatch.setattr(module, "deployments_in", lambda record, wells: wells)
        monkeypatch.setattr(
            module, "iterate_heads", lambda record, wells: iter(heads if isinstance(heads, list) else [heads])
        )
        found = module.explain_head("record", "W", time, unit=unit)
        if whole:
            return found
        (one,) = found
        return [(step.what, step.value, step.source) for step in one.steps]

    return explain


def named(steps, *names):
    return [step for step in steps if step[0] in names]


def test_a_head_is_explained_from_its_file_to_its_uncertainty(explained):
    """An absolute sensor whose clock was an hour slow and whose reading was scaled; a step and a response were corrected."""
    rows = [
        correction("clock shift", seconds=3600.0, reason="slow"),
        correction("scale", factor=2.0, by="Cleo"),
        correction("step", "2024-01-01T00:00", amount_m=0.25),
        correction("efficiency", value=0.5),
        correction("restart", "2024-01-01T00:00"),
    ]
    when = hours(4) + HOUR
    channel = channel_of(
        [110_000.0, 120_000.0, 130_000.0, 140_000.0],
        quantity="absolute pressure",
        unit="kPa",
        when=when,
        rows=rows,
        as_read=[55_000.0, 60_000.0, 65_000.0, 70_000.0],
        file_time=hours(4),
    )
    level = level_of(
        channel,
        np.array([1.0, 2.0, 3.0, 4.0]),
        air_pa=np.full(4, 100_000.0),
        air_away_s=np.array([0.0, 90.0, 0.0, 0.0]),
        barometer="B",
        temperature_degc=np.array([NAN, 11.25, NAN, NAN]),
        response_m=np.array([0.0, 0.125, 0.0, 0.0]),
    )
    manual = manual_of(
        {"measured_at_utc": "2024-01-01T00:30", "water_elevation_m": 91.5, "offset_m": 90.25},
        {"measured_at_utc": "2024-01-01T01:00", "water_elevation_m": 77.0},
        {"measured_at_utc": "2024-01-01T02:30", "water_elevation_m": 92.5, "offset_m": 90.75},
        {"measured_at_utc": "2024-01-01T09:00", "water_elevation_m": 99.0, "offset_m": 99.0},
    )
    anchored = anchored_of(level, 90.5, manual=manual, parts={"manual_m": 0.03, "sensor_m": 0.04})
    heads = heads_of(None, channel=channel, level=level, anchored=anchored, steps=("first", "second"))
    files = [
        {},
        {"file": "b.csv", "added": 0},
        {"file": "c.csv", "first_utc": "2024-01-01T01:00:01", "last_utc": "2024-01-02"},
        {"file": "d.csv", "first_utc": "2023-01-01", "last_utc": "2024-01-01T00:59:59"},
        {"file": "e.csv", "first_utc": "2023-01-01", "last_utc": "2025-01-01", "added": 1, "zone": "UTC+01:00"},
    ]
    described = heads.level.channel.correction_history
    words = {
        row.kind: f"{described.describe(row)}, by {row.recorded_by}: {row.reason}"
        for row in described.rows.itertuples()
    }
    found = explained(heads, "2024-01-01T03:10", files=files, whole=True)
    (one,) = found
    assert isinstance(one, Explanation)
    assert one.title == "S W, logger L at 2024-01-01T03:00:00 (Europe/Vienna)"
    recorded = "recorded 2024-02-01 09:30 UTC+01:00 by Ana"
    assert [(step.what, step.value, step.source) for step in one.steps] == [
        (
            "sample",
            "60 kPa of absolute pressure",
            f"a.csv, layout plain, zone UTC, {recorded}; e.csv, layout plain, zone UTC+01:00, {recorded}",
        ),
        ("time in the file", "2024-01-01 02:00 UTC+01:00", "as the layout reads it"),
        ("time corrected", "2024-01-01 03:00 UTC+01:00", words["clock shift"]),
        ("scaled", "120000", words["scale"]),
        ("pressure", "120000.0 Pa", ""),
        ("less air pressure", "100000.0 Pa", "of B, nearest sample 1.5 min away"),
        ("density of the water", "1000.000 kg/m3", "at 11.25 degC"),
        ("gravity", "10.00000 m/s2", ""),
        ("column above the sensor", "2.000 m", words["step"]),
        (
            "added",
            "+90.500 m",
            "manual readings of 2024-01-01T10:00+01:00 (91.500 m, offset 90.250 m) and "
            "2024-01-03T10:00+01:00 (92.500 m, offset 90.750 m)",
        ),
        ("response to air pressure", "+0.125 m", words["efficiency"]),
        ("water elevation", "92.500 m", "level plus what was added, the response to air pressure removed"),
        ("uncertainty (95 %)", "± 0.050 m", "manual readings 0.030 m; sensor 0.040 m"),
        ("used as a level", "yes", ""),
        ("correction history 1", "first", ""),
        ("correction history 2", "second", ""),
    ]


def test_lengths_are_in_the_unit_asked_for(explained):
    """0.3048 m are a foot."""
    value = np.array([0.3048, 0.6096])
    channel = channel_of(value, unit="ft")
    level = level_of(channel)
    manual = manual_of({"measured_at_utc": "2024-01-01T00:30", "water_elevation_m": 30.48, "offset_m": 3.048})
    heads = heads_of(
        None,
        channel=channel,
        level=level,
        anchored=anchored_of(level, 3.048, manual=manual, parts={"sensor_m": 0.03048}),
    )
    steps = explained(heads, "2024-01-01T02:00", unit="ft")
    assert steps == [
        ("sample", "2 ft of water column", ""),
        ("time in the file", "2024-01-01 02:00 UTC+01:00", "as the layout reads it"),
        ("level at the sensor", "2.000 ft", ""),
        ("added", "+10.000 ft", "manual readings of 2024-01-01T10:00+01:00 (100.000 ft, offset 10.000 ft)"),
        ("water elevation", "12.000 ft", "level plus what was added"),
        ("uncertainty (95 %)", "± 0.100 ft", "sensor 0.100 ft"),
        ("used as a level", "yes", ""),
    ]


def bounded(reason, **more):
    channel = channel_of(
        [0.3048, 0.1524], rows=[correction("exclusion", "2024-01-01T01:00", cause="out of water")], **more
    )
    level = level_of(channel)
    anchored = anchored_of(level, 30.48, out=out_of("", reason), parts={"sensor_m": 0.03048})
    bound = np.array([NAN, 30.6324])
    state = state_of(2, least=np.full(2, 0.06096))
    return heads_of(
        None,
        channel=channel,
        level=level,
        anchored=anchored,
        state=state,
        bound_m=bound,
        bound_uncertainty_m=bound * 0 + 0.03048,
    )


@pytest.mark.parametrize(
    ("reason", "at_limit"), [(NO_WATER, False), ("out of water", False), (AT_LIMIT, True), ("bottomed out", True)]
)
def test_a_bound_says_what_it_is_the_bound_of(explained, reason, at_limit):
    steps = explained(bounded(reason), "2024-01-01T02:00", unit="ft")
    rule = "elevation of the sensor and 0.200 ft, with less of which above it a sensor counts as out of water"
    rule += "; or what was read at its limit, where that is more" if at_limit else ""
    shown = named(steps, "water elevation", "used as a level", "uncertainty (95 %)", "added")
    by = "exclusion out of water from 2024-01-01 02:00 UTC+01:00, by Ben: seen"
    (cause,) = [step[2] for step in shown if step[0] == "used as a level"]
    assert cause.endswith(", by Ben: seen")
    assert by.split(" from")[0] in cause
    assert [step[:2] for step in shown] == [
        ("added", "+100.000 ft"),
        ("water elevation", "<= 100.500 ft"),
        ("uncertainty (95 %)", "± 0.100 ft"),
        ("used as a level", f"no: {reason}; it is a bound, as of a dry well"),
    ]
    assert shown[1][2] == rule


def test_a_doubtful_level_says_what_it_would_be_and_what_to_do(explained):
    spike = next(reason for reason in OUT_REASONS if reason.endswith("spike") and reason != "spike")
    for rows, before in (((), ""), ([correction("keep")], "keep, by Ben: seen; ")):
        channel = channel_of([0.3048, 0.6096], rows=rows)
        level = level_of(channel)
        anchored = anchored_of(level, 3.048, out=out_of("", spike))
        heads = heads_of(None, channel=channel, level=level, anchored=anchored, doubtful_m=np.array([NAN, 3.6576]))
        steps = explained(heads, "2024-01-01T02:00", unit="ft")
        todo = f"{before}correct or dismiss what 'gwnet logger findings' lists"
        assert named(steps, "water elevation", "used as a level", "uncertainty (95 %)") == [
            ("water elevation", "would be 12.000 ft", f"kept out: {spike}"),
            ("used as a level", f"no: {spike}", todo),
        ]


def test_what_is_not_known_is_said(explained):
    """No value, no air pressure, nothing that anchors."""
    channel = channel_of([NAN, 120_000.0], quantity="absolute pressure", unit="Pa")
    level = level_of(channel, np.array([NAN, NAN]), air_away_s=np.array([3600.0, 0.0]))
    heads = heads_of(
        None, channel=channel, level=level, anchored=anchored_of(level, NAN, out=out_of("no value", "no air pressure"))
    )
    steps = explained(heads, "2024-01-01T01:00")
    assert steps[0] == ("sample", "no value in Pa of absolute pressure", "")
    assert named(
        steps,
        "less air pressure",
        "added",
        "water elevation",
        "column above the sensor",
        "uncertainty (95 %)",
        "used as a level",
        "scaled",
    ) == [
        ("less air pressure", "not known", "none near enough in time"),
        ("column above the sensor", "not known", ""),
        ("water elevation", "not known", ""),
        ("used as a level", "no: no value", ""),
    ]
    level = level_of(channel, np.array([1.0, 2.0]), air_pa=np.full(2, 100_000.0))
    heads = heads_of(None, channel=channel, level=level, anchored=anchored_of(level, 90.0, by_depth=[False, True]))
    steps = explained(heads, "2024-01-01T02:00")
    assert named(steps, "less air pressure", "added", "density of the water") == [
        ("less air pressure", "100000.0 Pa", "of no barometer, at that very moment"),
        ("density of the water", "1000.000 kg/m3", ""),
        ("added", "+90.000 m", "hanging depth and measuring point alone; no manual reading anchors it"),
    ]


@pytest.mark.parametrize(
    ("place", "readings"), [(0, ("01",)), (1, ("01", "02")), (2, ("01", "02")), (3, ("02", "03")), (4, ("03",))]
)
def test_the_readings_on_both_sides_anchor_a_sample_or_the_one_that_there_is(explained, place, readings):
    times = ("2024-01-01T00:30", "2024-01-01T02:00", "2024-01-01T03:30")
    manual = manual_of(*({"measured_at_utc": time, "water_elevation_m": 91.0, "offset_m": 90.0} for time in times))
    channel = channel_of(np.ones(5))
    level = level_of(channel)
    heads = heads_of(None, channel=channel, level=level, anchored=anchored_of(level, 90.0, manual=manual))
    ((_, _, source),) = named(explained(heads, f"2024-01-01T0{place + 1}:00"), "added")
    assert source == "manual readings of " + " and ".join(
        f"2024-01-{day}T10:00+01:00 (91.000 m, offset 90.000 m)" for day in readings
    )


@pytest.mark.parametrize(
    ("time", "place"),
    [
        ("2024-01-01", 11),  # noon in Vienna
        ("2024-01-01T12:00", 11),
        (" 2024-01-01 12:00 ", 11),
        ("2024-01-01T12:00+00:00", 12),
        ("2024-01-01T12:29", 11),
        ("20240101T11", 10),  # the basic format of ISO 8601
        ("2024-01-01T12:31", 12),
        ("2024-01-03T00:00+00:00", 23),
        ("2023-12-31T00:00+00:00", 0),
    ],
)
def test_the_nearest_sample_within_a_day_is_explained(explained, time, place):
    (one,) = explained(heads_of(np.ones(24) if place < 23 else np.ones(25)), time, whole=True)
    last = 24 if place == 23 else place
    local = str(START + (last + 1) * HOUR)[:19]
    assert one.title == f"S W, logger L at {local} (Europe/Vienna)"


def test_samples_farther_away_and_times_that_are_none_are_refused(explained):
    near, far = heads_of(np.ones(24)), heads_of(np.ones(2), well="far")
    both = explained([near, far], "2024-01-02T20:00", whole=True)
    assert [one.title[:4] for one in both] == ["S W,"]
    for time in ("2024-01-02T00:00:01+00:00", "2023-12-30T23:59:59+00:00"):
        with pytest.raises(NotFoundError) as refused:
            explained(heads_of([1.0]), time)
        assert refused.value.args[0] == f"No logger of well 'W' has a sample within a day of {time!r}."
    for time in ("2024-13-01", "noon"):
        with pytest.raises(ClockError, match="Not a date or time"):
            explained(near, time)
