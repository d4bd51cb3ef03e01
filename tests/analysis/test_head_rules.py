"""Heads of deployments put together, cut to spans and interpolated, beside arrays worked out by hand; constructed."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import heads as module
from gwnet.analysis.loggers.correction_history import NO_WATER, OUT_REASONS

from .heads_of_arrays import (
    HOUR,
    NAN,
    START,
    anchored_of,
    channel_of,
    code,
    heads_of,
    hours,
    level_of,
    out_of,
    state_of,
)


def row_of(number=7, *, well="W", site="S", kind="water pressure logger", barometer="B", start="2024-01-01", end=None):
    edges = (pd.NaT if text is None else pd.Timestamp(text, tz="UTC") for text in (start, end))
    row = {"deployment_id": number, "site": site, "well": well, "access": "main", "instrument": f"L{number}"}
    return {
        **row,
        "kind": kind,
        "barometer": barometer,
        **dict(zip(("installed_at_utc", "removed_at_utc"), edges, strict=True)),
    }


class Once:
    """Keeps what is worked out once by its key."""

    def __init__(self):
        self.kept = {}

    def once(self, key, make):
        if key not in self.kept:
            self.kept[key] = make()
        return self.kept[key]


@pytest.fixture
def parts(monkeypatch):
    """Let deployments be worked out from chosen parts: a level, reasons, what was added, and doubts."""
    spike = f"{next(reason for reason in OUT_REASONS if reason.endswith('spike') and reason != 'spike')}"
    column = np.array([2.0, 0.0, 1.0, 3.0, 4.0, 5.0])
    level = level_of(channel_of(column), column + 0.5, column_m=column, steps=("level step",), barometer="BARO")
    made = SimpleNamespace(
        level=level,
        out=out_of("", NO_WATER, "no value", spike, "", ""),
        doubts=out_of("", "", "", "", "", ""),
        asked=[],
        beside=[],
        rows=[row_of()],
        loggers=SimpleNamespace(heads=Once(), doubts=Once()),
        without_level=(),
    )
    made.loggers.record = SimpleNamespace(of_site=lambda site: SimpleNamespace(settings=f"settings of {site}"))
    monkeypatch.setattr(module, "loggers_of", lambda record: made.loggers)
    monkeypatch.setattr(module, "deployments_in", lambda record, wells=None: pd.DataFrame(made.rows))
    monkeypatch.setattr(module, "levels", lambda record, selection: (record, selection.wells))
    monkeypatch.setattr(
        module, "limits_of", lambda settings: ({"logger_fault_m": 0.04},) if settings == "settings of S" else None
    )
    monkeypatch.setattr(module, "changes_of_rate", lambda record: record.settings.replace("settings", "rates"))
    monkeypatch.setattr(
        module, "sensor_level", lambda loggers, row: None if row.deployment_id in made.without_level else level
    )

    def state(loggers, instrument, level, *, least_m, switched):
        made.asked.append(("state", instrument, least_m, switched))
        return state_of(6, out=made.out, shows=made.out == code(NO_WATER), least=np.full(6, 0.03))

    def anchor(loggers, row, level, manual):
        made.asked.append(("anchor", level.out.tolist(), manual))
        return anchored_of(level, 90.0, out=level.out, parts={"sensor_m": 0.03, "manual_m": 0.04})

    def doubts(loggers, whole, beside):
        made.asked.append(("doubts", whole.instrument))
        made.beside.append([one.instrument for one in beside()])
        return made.doubts

    monkeypatch.setattr(module, "find_sensor_state", state)
    monkeypatch.setattr(module, "anchor", anchor)
    monkeypatch.setattr(module, "find_doubts", doubts)
    monkeypatch.setattr(module, "download_files", lambda loggers, channel: ("a.csv",))
    made.spike = spike
    return made


def test_heads_are_the_anchored_levels_bounds_and_what_open_findings_keep_out(parts):
    (one,) = module.work_out_heads("record")
    np.testing.assert_array_equal(one.water_elevation_m, [92.5, NAN, NAN, NAN, 94.5, 95.5])
    np.testing.assert_allclose(one.uncertainty_m, [0.05, NAN, NAN, NAN, 0.05, 0.05], rtol=1e-12)
    # the sensor was lifted by the step of 0.5 m, and would not notice 0.03 m of water
    np.testing.assert_allclose(one.bound_m, [NAN, 90.53, NAN, NAN, NAN, NAN], rtol=1e-12)
    np.testing.assert_allclose(one.bound_uncertainty_m, [NAN, 0.05, NAN, NAN, NAN, NAN], rtol=1e-12)
    np.testing.assert_array_equal(one.doubtful_m, [NAN, NAN, NAN, 93.5, NAN, NAN])
    np.testing.assert_allclose(one.doubtful_uncertainty_m, [NAN, NAN, NAN, 0.05, NAN, NAN], rtol=1e-12)
    np.testing.assert_array_equal(one.sensor_level_m, parts.level.level_m)
    assert one.out.tolist() == parts.out.tolist()
    assert (one.site, one.well, one.access, one.instrument, one.barometer, one.deployment_id) == (
        "S",
        "W",
        "main",
        "L7",
        "BARO",
        7,
    )
    assert (one.quantity, one.downloads, len(one)) == ("water column", ("a.csv",), 6)
    shown = "1 of them show that the water is at or below an elevation"
    assert one.steps == ("level step", f"1 sample without a head: {NO_WATER}; {shown}")
    assert parts.asked == [
        ("state", "L7", 0.04, "rates of S"),
        ("anchor", parts.out.tolist(), ("record", ("W",))),
        ("doubts", "L7"),
    ]
    module.work_out_heads("record")
    assert len(parts.asked) == 3, "worked out once"
    assert not any(f"{name}=" in repr(one) for name in ("level", "state", "anchored")), "too long to be printed"


def test_doubts_take_heads_out_and_keep_them_as_doubtful(parts):
    parts.doubts = out_of("", "", "", "", "clock shift" if "clock shift" in OUT_REASONS else "other", "")
    (one,) = module.work_out_heads("record")
    np.testing.assert_array_equal(one.water_elevation_m, [92.5, NAN, NAN, NAN, NAN, 95.5])
    assert np.isnan(one.uncertainty_m).tolist() == [False, True, True, True, True, False]
    np.testing.assert_array_equal(one.doubtful_m, [NAN, NAN, NAN, 93.5, 94.5, NAN])
    np.testing.assert_allclose(one.doubtful_uncertainty_m, [NAN, NAN, NAN, 0.05, 0.05, NAN], rtol=1e-12)
    assert one.out.tolist() == [*parts.out[:4].tolist(), parts.doubts[4], 0]
    assert one.out.dtype == np.uint8
    doubtful = one.in_doubt()
    np.testing.assert_array_equal(doubtful.water_elevation_m, one.doubtful_m)
    np.testing.assert_array_equal(doubtful.uncertainty_m, one.doubtful_uncertainty_m)
    assert np.isnan(doubtful.bound_m).all()
    assert [one.reason_near(START + number * HOUR) for number in (0, 3, 4, 9)] == [
        parts.spike,
        parts.spike,
        OUT_REASONS[parts.doubts[4]],
        OUT_REASONS[parts.doubts[4]],
    ]


def test_without_doubts_there_is_nothing_doubtful(parts):
    parts.out = out_of("", "", "", "", "", "")
    (one,) = module.work_out_heads("record")
    assert one.in_doubt() is None
    assert one.reason_near(START) == ""
    level, half_width, is_bound = one.levels()
    np.testing.assert_array_equal(level, one.water_elevation_m)
    np.testing.assert_array_equal(half_width, one.uncertainty_m)
    assert not is_bound.any()


def test_a_head_goes_before_a_bound_of_the_same_sample():
    one = heads_of(
        [1.0, 2.0, 3.0],
        out=out_of("", "spike", "spike"),
        bound_m=np.array([80.0, 81.0, NAN]),
        bound_uncertainty_m=np.array([0.1, 0.2, NAN]),
    )
    level, half_width, is_bound = one.levels()
    np.testing.assert_array_equal(level, [1.0, 81.0, NAN])
    np.testing.assert_array_equal(half_width, [0.0, 0.2, NAN])
    assert is_bound.tolist() == [False, True, False]


def test_doubts_are_looked_for_beside_the_other_sensors_of_site_and_barometer(parts):
    parts.rows = [
        row_of(1),
        row_of(2, well="V"),
        row_of(3, barometer="C"),
        row_of(4, kind="barometer"),
        row_of(5, well="U"),
    ]
    parts.without_level = (5,)
    found = module.work_out_heads("record")
    assert [one.instrument for one in found] == ["L1", "L2", "L3"]
    assert parts.beside == [["L2"], ["L1"], []]


SAMPLES = (dt.datetime(2024, 1, 1, 1, tzinfo=dt.UTC), dt.datetime(2024, 1, 1, 3, tzinfo=dt.UTC))


@pytest.mark.parametrize(
    ("start", "end", "places"),
    [
        (None, None, range(6)),
        (SAMPLES[0], None, range(1, 6)),
        (None, SAMPLES[1], range(3)),
        (*SAMPLES, range(1, 3)),
        (SAMPLES[1], SAMPLES[1], range(0)),
    ],
)
def test_a_span_holds_its_start_and_not_its_end(parts, start, end, places):
    found = list(module.iterate_heads("record", pd.DataFrame(parts.rows), start, end))
    if not places:
        assert found == []
        return
    (one,) = found
    (whole,) = module.work_out_heads("record")
    names = ("time_utc", "water_elevation_m", "uncertainty_m", "bound_m", "bound_uncertainty_m", "doubtful_m")
    for name in (*names, "doubtful_uncertainty_m", "sensor_level_m", "out"):
        np.testing.assert_array_equal(getattr(one, name), getattr(whole, name)[list(places)], err_msg=name)


@pytest.mark.parametrize(
    ("installed", "removed", "start", "end", "meets"),
    [
        ("2024-01-01T00:00", "2024-01-01T01:00", SAMPLES[0], None, False),
        ("2024-01-01T00:00", "2024-01-01T01:00:01", SAMPLES[0], None, True),
        ("2024-01-01T00:00", None, SAMPLES[0], None, True),
        ("2024-01-01T03:00", None, None, SAMPLES[1], False),
        ("2024-01-01T02:59:59", None, None, SAMPLES[1], True),
        ("2024-01-01T02:59:59", "2024-01-01T00:30", SAMPLES[0], SAMPLES[1], False),
    ],
)
def test_deployments_outside_of_a_span_are_not_worked_out(parts, installed, removed, start, end, meets):
    rows = pd.DataFrame([row_of(start=installed, end=removed)])
    assert len(list(module.iterate_heads("record", rows, start, end))) == int(meets)
    assert bool(parts.asked) == meets


# --- at moments -------------------------------------------------------------------------------------------------------


def at_moments(one, *minutes):
    moments = START + np.array(minutes) * np.timedelta64(60_000_000, "us")
    return module.interpolate_heads([one], moments)


def moved(values, when, *, uncertainty=None, **more):
    one = heads_of(values, when=when, **more)
    one.uncertainty_m[:] = 0.0 if uncertainty is None else uncertainty
    return one


def test_heads_between_samples_are_linear_with_the_larger_uncertainty():
    """Samples at 0, 60, 120 and 240 min, then at 361: two hours are no gap, 121 minutes are one."""
    when = START + np.array([0, 60, 120, 240, 361]) * np.timedelta64(60_000_000, "us")
    one = moved([10.0, 13.0, 12.0, 16.0, 20.0], when, uncertainty=[0.1, 0.3, 0.2, 0.05, 0.4])
    table = at_moments(one, -1, 0, 20, 30, 40, 60, 210, 240, 300, 361, 362)
    assert tuple(table.columns) == module.HEADS_AT_COLUMNS
    minutes = [0, 20, 30, 40, 60, 210, 240, 361]
    assert table["moment_utc"].tolist() == [
        pd.Timestamp(START, tz="UTC") + pd.Timedelta(minutes=number) for number in minutes
    ]
    np.testing.assert_allclose(table["water_elevation_m"], [10.0, 11.0, 11.5, 12.0, 13.0, 15.0, 16.0, 20.0], rtol=1e-12)
    assert table["uncertainty_m"].tolist() == [0.1, 0.3, 0.3, 0.3, 0.3, 0.2, 0.05, 0.4]
    nearest = [0, 0, 0, 60, 60, 240, 240, 361]
    assert table["nearest_utc"].tolist() == [
        pd.Timestamp(START, tz="UTC") + pd.Timedelta(minutes=number) for number in nearest
    ]
    assert table["nearest_s"].tolist() == [0.0, 1200.0, 1800.0, 1200.0, 0.0, 1800.0, 0.0, 0.0]
    assert set(table["bound"]) == {""}
    assert table[["site", "well", "access", "instrument", "deployment_id"]].drop_duplicates().to_numpy().tolist() == [
        ["S", "W", "main", "L", 7]
    ]


@pytest.mark.parametrize(("apart_min", "is_known"), [(36 * 60, True), (36 * 60 + 1, False)])
def test_daily_samples_are_interpolated_over_a_day_and_a_half(apart_min, is_known):
    minutes = np.array([0, 1440, 2880, 2880 + apart_min])
    one = moved([1.0, 2.0, 3.0, 4.0], START + minutes * np.timedelta64(60_000_000, "us"))
    assert len(at_moments(one, 3000)) == int(is_known)


def test_beside_a_bound_the_level_is_a_bound():
    out = out_of("", NO_WATER, NO_WATER, "", "no value", "")
    bound = np.array([NAN, 80.0, 81.0, NAN, NAN, NAN])
    one = heads_of([70.0, 0.0, 0.0, 84.0, 0.0, 90.0], out=out, bound_m=bound, bound_uncertainty_m=bound * 0 + 0.5)
    table = at_moments(one, 0, 30, 60, 90, 150, 180, 240)
    assert table["bound"].tolist() == ["", "<=", "<=", "<=", "<=", "", ""]
    np.testing.assert_allclose(table["water_elevation_m"], [70.0, 75.0, 80.0, 80.5, 82.5, 84.0, 87.0], rtol=1e-12)
    assert table["uncertainty_m"].tolist() == [0.0, 0.5, 0.5, 0.5, 0.5, 0.0, 0.0]


def test_several_sensors_go_by_moment_site_well_and_deployment():
    heads = [
        heads_of([1.0, 2.0], well=well, deployment_id=number, site=site)
        for site, well, number in (("T", "A", 1), ("S", "B", 9), ("S", "B", 3), ("S", "A", 4))
    ]
    table = module.interpolate_heads(heads, [START + HOUR, START])
    assert (
        table[["site", "well", "deployment_id"]].to_numpy().tolist()
        == [["S", "A", 4], ["S", "B", 3], ["S", "B", 9], ["T", "A", 1]] * 2
    )
    assert table.index.tolist() == list(range(8))
    assert module.interpolate_heads(heads[:1], START)["water_elevation_m"].tolist() == [1.0]
    single = heads_of([5.0], when=hours(1))
    assert module.interpolate_heads([single], [START, START + HOUR])["water_elevation_m"].tolist() == [5.0]
    lost = heads_of([5.0, 6.0], out=out_of("spike", "spike"))
    nothing = module.interpolate_heads([lost], [START])
    assert (tuple(nothing.columns), len(nothing)) == (module.HEADS_AT_COLUMNS, 0)
    assert str(nothing["moment_utc"].dtype) == str(nothing["nearest_utc"].dtype) == "datetime64[us, UTC]"
