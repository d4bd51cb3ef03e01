"""What the status of a deployment counts, each number beside one worked out by hand; constructed."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import status as module

from .heads_of_arrays import (
    NAN,
    START,
    anchored_of,
    channel_of,
    correction,
    heads_of,
    hours,
    installations_of,
    level_of,
    manual_of,
    out_of,
)

NAT = pd.NaT


def at(text):
    return pd.NaT if text is None else pd.Timestamp(text, tz="UTC")


def deployment(
    number=7,
    *,
    well="W",
    instrument="L",
    kind="water pressure logger",
    start="2024-01-01",
    end=None,
    site="S",
    barometer="",
):
    row = {"deployment_id": number, "site": site, "well": well, "instrument": instrument, "kind": kind}
    return row | {"installed_at_utc": at(start), "removed_at_utc": at(end), "barometer": barometer}


@pytest.fixture
def status(monkeypatch):
    """Give a function that returns the status of deployments from their heads and findings."""

    def summarize(rows, heads=(), *, findings=(), downloads=(), charge=None, air=None, series=(), **asked):
        table = pd.DataFrame(rows)
        for name in ("installed_at_utc", "removed_at_utc"):
            table[name] = pd.to_datetime(table[name], utc=True, format="ISO8601")
        files = pd.DataFrame(downloads, columns=["instrument", "first_utc", "last_utc", "recorded_at_utc"])
        for name in files.columns[1:]:
            files[name] = pd.to_datetime(files[name], utc=True, format="ISO8601")
        last = pd.DataFrame(list(series), columns=["instrument", "last_utc"])
        last["last_utc"] = pd.to_datetime(last["last_utc"], utc=True, format="ISO8601")
        loggers = SimpleNamespace(downloads=files, series=last)
        in_wells = table[table["well"] != ""]
        monkeypatch.setattr(module, "loggers_of", lambda record: loggers)
        wanted = asked.get("wells")
        monkeypatch.setattr(
            module,
            "deployments_in",
            lambda record, wells: in_wells if wanted is None else in_wells[in_wells["well"].isin(wanted)],
        )
        monkeypatch.setattr(module, "iterate_heads", lambda record, deployments: iter(heads))
        monkeypatch.setattr(module, "battery", lambda loggers, *span: charge)
        asked_air = []
        monkeypatch.setattr(
            module, "barometer_channel", lambda loggers, code, edges: asked_air.append((code, list(edges))) or air
        )
        serials = []

        def findings_of(record, each, *, other_serials):
            serials.append(other_serials)
            list(each)
            return [
                SimpleNamespace(site=s, well=w, instrument=i, start_utc=np.datetime64(t, "us"), rule=rule)
                for s, w, i, t, rule in findings
            ]

        monkeypatch.setattr(module, "findings_of", findings_of)
        made = module.summarize_status(SimpleNamespace(deployments=table), **asked)
        assert tuple(made.columns) == module.STATUS_COLUMNS
        assert serials == [asked.get("other_serials")]
        return made, asked_air

    return summarize


NOTHING = {
    **dict.fromkeys(("samples", "gaps", "excluded", "without_level", "manual_readings", "findings"), 0),
    **dict.fromkeys(("interval_minutes", "longest_gap_hours", "residual_m", "leave_one_out_residual_m"), NAN),
    **dict.fromkeys(("drift_m_per_year", "drift_share_percent", "uncertainty_m"), NAN),
    **dict.fromkeys(("quantity", "last_manual_reading", "battery", "warnings"), ""),
    **dict.fromkeys(("first_utc", "last_utc", "last_download_utc", "last_loaded_utc"), NAT),
    "coverage_percent": 0.0,
}


def check(row, expected):
    assert set(row) == set(expected)
    for name, value in expected.items():
        if isinstance(value, float):
            np.testing.assert_allclose(row[name], value, rtol=1e-12, err_msg=name)
        elif value is NAT:
            assert pd.isna(row[name]), name
        else:
            assert row[name] == value, name


def test_a_deployment_has_its_coverage_gaps_residuals_drift_and_findings(status):
    """48 hourly samples from 02:00 of 1 January, of which 20 to 22 are missing; removed on the third at 08:00.

    An hour and a half is no gap. Before the first sample 2 h pass, after the last 7 h, and 4 h lie in the gap: lost are
    0.5 h, 5.5 h and 4 h of 56 h.
    """
    when = hours(48) + np.timedelta64(2, "h")
    value = np.linspace(2.0, 2.5, 48)
    value[20:23] = NAN
    manual = manual_of(
        {"offset_m": 0.1, "residual_m": 0.02, "leave_one_out_residual_m": 0.03},
        {"offset_m": 0.2, "residual_m": -0.05, "leave_one_out_residual_m": NAN},
        {"residual_m": 9.0, "leave_one_out_residual_m": -9.0},
        {"offset_m": 0.2, "residual_m": 0.04, "leave_one_out_residual_m": -0.06},
    )
    channel = channel_of(value, when=when, quantity="water pressure")
    level = level_of(channel)
    reasons = [""] * 48
    reasons[2], reasons[3], reasons[4] = "spike", "other", "frozen"
    reasons[20:23] = ["no value"] * 3
    reasons[30:32] = ["not anchored", "stuck at one value"]
    drifts = installations_of((0.3, 1.0, 0.1), (0.7, 1.0, 0.5), (-0.2, 1.0, 0.25), (NAN, NAN, NAN))
    anchored = anchored_of(
        level,
        90.0,
        out=out_of(*reasons),
        manual=manual,
        installations=drifts,
        parts={"sensor_m": 0.03, "manual_m": 0.04},
    )
    heads = heads_of(value, channel=channel, level=level, anchored=anchored)
    heads.uncertainty_m[-1] = NAN
    heads.uncertainty_m[-2] = 0.07
    seen = []
    findings = [
        ("S", "W", "L", "2023-12-29T00:00", "gap"),
        ("S", "W", "L", "2024-01-03T07:59:59", "step"),
        ("S", "W", "L", "NaT", "step"),
        ("S", "W", "L", "2023-12-28T23:59:59", "spike"),
        ("S", "W", "L", "2024-01-03T08:00", "spike"),
        ("S", "V", "L", "2024-01-02", "spike"),
        ("S", "W", "K", "2024-01-02", "spike"),
        ("R", "W", "L", "2024-01-02", "spike"),
    ]
    downloads = [
        ("L", "2023-01-01", "2023-12-31T23:59:59", "2025-01-01"),
        ("L", "2023-06-01", "2024-01-01", "2024-06-01"),
        ("L", "2024-01-01", "2024-01-02", "2024-05-01"),
        ("L", "2024-01-03T08:00", "2024-02-02", "2025-03-01"),
        ("K", "2024-01-01", "2024-01-02T12:00", "2025-06-01"),
    ]
    made, _ = status(
        [deployment(end="2024-01-03T08:00")],
        [heads],
        findings=findings,
        downloads=downloads,
        charge=(3.1, "V", True),
        seen=seen.append,
        other_serials="files",
    )
    (row,) = made.to_dict("records")
    assert seen == [heads]
    check(
        row,
        {
            "site": "S",
            "well": "W",
            "instrument": "L",
            "quantity": "water pressure",
            "installed_at_utc": at("2024-01-01"),
            "removed_at_utc": at("2024-01-03T08:00"),
            "first_utc": at("2024-01-01T02:00"),
            "last_utc": at("2024-01-03T01:00"),
            "samples": 45,
            "interval_minutes": 60.0,
            "coverage_percent": 100.0 * (1.0 - (0.5 + 5.5 + 4.0) / 56.0),
            "gaps": 1,
            "longest_gap_hours": 4.0,
            "excluded": 3,
            "without_level": 5,
            "manual_readings": 3,
            "last_manual_reading": "2024-01-04T10:00+01:00",
            "last_download_utc": at("2024-01-02"),
            "last_loaded_utc": at("2024-06-01"),
            "residual_m": -0.05,
            "leave_one_out_residual_m": -0.06,
            "drift_m_per_year": -0.2,
            "drift_share_percent": 25.0,
            "uncertainty_m": 0.07,
            "battery": "3.1 V, low",
            "findings": 3,
            "warnings": "gap, step 2",
        },
    )


def covered(status, when, *, start="2024-01-01", end=None, at_utc=None, value=None):
    heads = heads_of(np.ones(when.size) if value is None else value, when=when)
    made, _ = status([deployment(start=start, end=end)], [heads], at_utc=at_utc)
    return made.iloc[0]


@pytest.mark.parametrize(
    ("count", "start", "end", "now", "percent"),
    [
        # ten hours of samples on the hour
        (11, "2024-01-01", None, None, 100.0),
        (11, "2023-12-31T22:30", None, None, 100.0),
        (11, "2023-12-31T22:00", None, None, 100.0 * (1 - 0.5 / 12)),
        (11, "2024-01-01", "2024-01-01T11:30", None, 100.0),
        (11, "2024-01-01", "2024-01-01T12:00", None, 100.0 * (1 - 0.5 / 12)),
        (11, "2024-01-01", None, dt.datetime(2024, 1, 1, 12, tzinfo=dt.UTC), 100.0 * (1 - 0.5 / 12)),
        (11, "2024-01-01", None, dt.datetime(2024, 1, 1, 5, tzinfo=dt.UTC), 100.0),
        # a single sample has no interval, so that every second counts
        (1, "2023-12-31T20:00", None, dt.datetime(2024, 1, 1, 6, tzinfo=dt.UTC), 0.0),
        (1, "2024-01-01", None, None, 100.0),
    ],
)
def test_coverage_is_the_share_of_the_deployment_that_lies_in_no_gap(status, count, start, end, now, percent):
    row = covered(status, hours(count), start=start, end=end, at_utc=now)
    assert row["coverage_percent"] == pytest.approx(percent, rel=1e-12)
    assert (row["gaps"], np.isnan(row["longest_gap_hours"])) == (0, True)


def test_samples_long_before_a_deployment_leave_no_negative_coverage(status):
    row = covered(status, hours(3), start="2024-02-01", end="2024-02-02")
    assert row["coverage_percent"] == 0.0


def test_a_single_installation_has_its_drift(status):
    level = level_of(channel_of([1.0, 2.0]))
    anchored = anchored_of(level, installations=installations_of((0.4, 1.0, 0.5)))
    made, _ = status([deployment()], [heads_of(None, channel=level.channel, level=level, anchored=anchored)])
    assert made[["drift_m_per_year", "drift_share_percent"]].to_numpy().tolist() == [[0.4, 50.0]]


def test_without_a_number_there_is_neither_a_first_sample_nor_drift(status):
    row = covered(status, hours(4), value=[NAN] * 4)
    assert (row["samples"], row["first_utc"] is pd.NaT, row["last_utc"] is pd.NaT) == (0, True, True)
    assert np.isnan([row["drift_m_per_year"], row["drift_share_percent"], row["residual_m"]]).all()
    assert (row["manual_readings"], row["last_manual_reading"]) == (0, "")


def test_deployments_without_samples_and_barometers_are_listed_after_those_in_water(status):
    """A barometer that hangs in a well measures air all the same."""
    rows = [
        deployment(1, well="", instrument="B", kind="barometer", end="2024-01-01T06:00"),
        deployment(2, well="W", instrument="IN", kind="barometer"),
        deployment(3, well="", instrument="X", kind="water pressure logger"),
        deployment(4, well="Z", instrument="NEW"),
        deployment(5, well="A", instrument="OLD", start="2023-01-01", end="2023-02-01"),
        deployment(6, site="R", well="Z", instrument="R1"),
    ]
    air = channel_of([1.0, 2.0, 3.0, NAN], quantity="air pressure", rows=())
    made, asked = status(
        rows, air=air, series=[("IN", "2024-01-01T05:00"), ("B", "2033-01-01")], charge=(80.0, "%", False)
    )
    assert made["instrument"].tolist() == ["R1", "OLD", "NEW", "B", "X", "IN"]
    assert asked == [
        ("B", [START, START + np.timedelta64(6, "h")]),
        ("IN", [START, START + np.timedelta64(5, "h")]),
    ]
    by_code = made.set_index("instrument").to_dict("index")
    assert (by_code["B"]["samples"], by_code["B"]["quantity"], by_code["B"]["excluded"]) == (3, "air pressure", 0)
    assert by_code["B"]["coverage_percent"] == pytest.approx(100.0 * (1 - 1.5 / 6))
    for name in ("NEW", "X"):
        row = {key: value for key, value in by_code[name].items() if key in NOTHING}
        check(row, {**NOTHING, "battery": "80 %"})


def test_what_was_excluded_of_a_barometer_is_counted(status):
    rows = [correction("exclusion", "2024-01-01T01:00", "2024-01-01T03:00", cause="other")]
    air = channel_of([1.0, 2.0, 3.0, 4.0], quantity="air pressure", rows=rows)
    made, _ = status([deployment(well="", instrument="B", kind="barometer", end="2024-01-02")], air=air)
    assert made["excluded"].tolist() == [2]
    assert made["without_level"].tolist() == [0]


def test_wells_asked_for_leave_barometers_out(status):
    rows = [
        deployment(1),
        deployment(2, well="V", instrument="K"),
        deployment(3, well="", instrument="B", kind="barometer"),
    ]
    made, _ = status(rows, wells=["V"])
    assert made["instrument"].tolist() == ["K"]
