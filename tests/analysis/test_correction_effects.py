"""What corrections change, which are refused, and of which series and findings they are: from frames alone."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import corrections
from gwnet.analysis.loggers.correction_history import CorrectionHistory
from gwnet.analysis.loggers.corrections import Correction, Wanted
from gwnet.analysis.loggers.suggestion import LoggerFinding
from gwnet.errors import AnalysisError, NotFoundError

from .logger_frames import moments, stamp

NAN = float("nan")


def corrected(hours, level, *, file_hours=None, doubtful=None, residuals=(), **place):
    """Return heads as corrections compare them."""
    channel = SimpleNamespace(file_time_utc=moments(*(hours if file_hours is None else file_hours)))
    level = np.asarray(level, dtype=float)
    return SimpleNamespace(
        **{"site": "S", "well": "A", "instrument": "L", **place},
        time_utc=moments(*hours),
        water_elevation_m=level,
        level=SimpleNamespace(channel=channel),
        doubtful_m=np.full(level.size, NAN) if doubtful is None else np.asarray(doubtful, dtype=float),
        manual=pd.DataFrame({"leave_one_out_residual_m": pd.Series(residuals, dtype=float)}),
    )


def test_what_corrections_change_is_counted_sample_by_sample():
    """Gained and lost samples, one in doubt that moves, and the largest change with its sign."""
    old = corrected(
        range(7), [1.0, 2.0, 3.0, NAN, NAN, 6.0, 7.0], doubtful=[NAN] * 4 + [5.0, NAN, NAN], residuals=[0.3, NAN, -0.4]
    )
    new = corrected(
        range(7), [1.0, 2.25, 2.5, 4.0, NAN, NAN, 7.0 + 1e-10], doubtful=[NAN] * 4 + [5.125, NAN, NAN], residuals=[0.6]
    )
    found = corrections._compare_heads({3: old}, {3: new})
    assert found.columns.tolist() == [
        *("site", "well", "instrument", "heads", "moved", "gained", "lost", "largest_m"),
        *("residual_before_m", "residual_after_m"),
    ]
    [row] = found.to_numpy().tolist()
    assert row == ["S", "A", "L", 5, 3, 1, 1, -0.5, pytest.approx(np.sqrt(0.125)), 0.6]


@pytest.mark.parametrize(
    ("change", "listed"),
    [
        ({}, 0),
        ({"level": [1.0, 2.0 + 9e-10]}, 0),
        ({"level": [1.0, 2.0 + 1.1e-9]}, 1),
        ({"residuals": [0.1]}, 1),
        ({"hours": [0, 1.5], "file_hours": [0, 1]}, 1),
        ({"level": [1.0, NAN]}, 1),
    ],
)
def test_deployments_that_nothing_changes_are_not_listed(change, listed):
    usual = {"hours": [0, 1], "level": [1.0, 2.0]}
    before, after = corrected(**usual), corrected(**{**usual, **change})
    assert len(corrections._compare_heads({1: before}, {1: after})) == listed
    assert len(corrections._compare_heads({1: after}, {1: before})) == listed


def test_a_deployment_that_comes_or_goes_is_gained_or_lost():
    heads = corrected([0, 1, 1, 2], [1.0, 2.0, 9.0, NAN], well="C")
    columns = ["well", "heads", "moved", "gained", "lost", "largest_m"]
    found = corrections._compare_heads({2: heads}, {4: heads})
    assert found[columns].to_numpy().tolist() == [["C", 0, 0, 0, 2, 0.0], ["C", 2, 0, 2, 0, 0.0]]
    assert np.isnan(found[["residual_before_m", "residual_after_m"]].to_numpy(dtype=float)).all()


def table_of(*rows):
    names = ["correction_id", "series_id", "instrument", "quantity", "kind", "start_utc", "end_utc", "parameters"]
    rows = [(*row, "why", "Ben", pd.Timestamp("2024-06-01", tz="UTC")) for row in rows]
    table = pd.DataFrame(rows, columns=[*names, "reason", "recorded_by", "recorded_at_utc"])
    for name in ("start_utc", "end_utc", "recorded_at_utc"):
        table[name] = pd.to_datetime(table[name], utc=True)
    return table


EDGES = [stamp(hour).to_pydatetime() for hour in (1, 5)]
STEP = (7, 1, "L", "water column", "step", *EDGES, {"amount_m": 0.5})


@pytest.mark.parametrize(
    ("change", "twice"),
    [
        ({}, True),
        ({"instrument": "M"}, False),
        ({"kind": "scale"}, False),
        ({"parameters": {"amount_m": 0.6}}, False),
        ({"start": EDGES[1]}, False),
        ({"end": None}, False),
        ({"quantity": "depth to water"}, False),
    ],
)
def test_a_correction_is_refused_twice_word_for_word(change, twice):
    usual = {"instrument": "L", "kind": "step", "parameters": {"amount_m": 0.5}, "start": EDGES[0], "end": EDGES[1]}
    wanted = Correction(**{**usual, **{name: value for name, value in change.items() if name != "quantity"}})
    table = table_of(STEP, (8, 1, "L", "water column", "keep", None, EDGES[1], {}))
    arguments = (table, wanted, change.get("quantity", "water column"), wanted.parameters)
    if twice:
        with pytest.raises(AnalysisError, match="on record as number 7; it would count twice"):
            corrections._refuse_twice(*arguments)
    else:
        corrections._refuse_twice(*arguments)
    kept = Correction("L", "keep", {}, start=None, end=EDGES[1])
    with pytest.raises(AnalysisError, match="number 8"):
        corrections._refuse_twice(table, kept, "water column", {})


def test_a_supposed_correction_comes_after_those_on_record():
    wanted = Correction("M", "scale", {"factor": 2}, start=EDGES[0])
    for table, numbers in ((table_of(STEP), [8, 9]), (table_of(), [1, 2])):
        found = corrections._with_correction(table, wanted, "water pressure", wanted.parameters, [4, 6])
        added = found.iloc[len(table) :]
        assert found.iloc[: len(table)].equals(table)
        assert added["correction_id"].tolist() == numbers
        assert added["series_id"].tolist() == [4, 6]
        assert set(added["instrument"] + added["quantity"] + added["kind"]) == {"Mwater pressurescale"}
        assert added["parameters"].tolist() == [{"factor": 2}] * 2
        assert added["start_utc"].tolist() == [stamp(1)] * 2
        assert added["end_utc"].isna().all()
        recorded = table["recorded_at_utc"].max() if len(table) else pd.Timestamp(0, tz="UTC")
        assert added["recorded_at_utc"].tolist() == [recorded] * 2
        history = CorrectionHistory(found)
        assert history.apply_scales(moments(0, 1), np.array([3.0, 3.0])).tolist() == [3.0, 12.0]


def test_corrections_are_listed_in_words_of_the_zone_of_each_instrument(monkeypatch):
    table = table_of(STEP, (8, 1, "M", "water pressure", "scale", None, None, {"factor": 2.0}))
    zones = {"L": "UTC+02:00", "M": "UTC"}
    loggers = SimpleNamespace(corrections=table, zone_of_instrument=zones.get)
    monkeypatch.setattr(corrections, "loggers_of", lambda _: loggers)
    found = corrections.list_corrections(None)
    assert tuple(found.columns) == corrections.CORRECTION_COLUMNS
    assert found["correction"].tolist() == [7, 8]
    words = "step +0.5 m from 2024-05-01 03:00 UTC+02:00 to 2024-05-01 07:00 UTC+02:00"
    assert found["description"].tolist() == [words, "scale x 2"]
    alone = corrections.list_corrections(None, "M")
    assert (alone["correction"].tolist(), alone.index.tolist()) == ([8], [0])


@pytest.mark.parametrize(
    ("wanted", "expected"),
    [
        ({}, ("absolute pressure", [3, 4])),
        ({"quantity": "water temperature"}, ("water temperature", [1])),
        ({"quantity": "conductivity"}, ("conductivity", [6])),  # without samples the newest segment
        ({"instrument": "B"}, ("air pressure", [8])),
        ({"instrument": "T"}, ("conductivity", [9])),
        ({"instrument": "E"}, ("water column", [11])),
    ],
)
def test_the_series_that_a_correction_is_of(monkeypatch, wanted, expected):
    rows = [
        *((1, "L", "water temperature", 9), (2, "L", "absolute pressure", 0), (3, "L", "absolute pressure", 5)),
        *((4, "L", "absolute pressure", 1), (5, "L", "conductivity", 0), (6, "L", "conductivity", 0)),
        *((7, "B", "absolute pressure", 5), (8, "B", "air pressure", 1), (9, "T", "conductivity", 5)),
        *((10, "E", "conductivity", 0), (11, "E", "water column", 0), (12, "T", "water column", 0)),
    ]
    series = pd.DataFrame(rows, columns=["series_id", "instrument", "quantity", "sample_count"])
    monkeypatch.setattr(corrections, "loggers_of", lambda _: SimpleNamespace(series=series))
    assert (
        corrections._series_of(None, Correction(**{"instrument": "L", "kind": "keep", "parameters": {}, **wanted}))
        == expected
    )
    with pytest.raises(NotFoundError, match="no series of instrument 'X'"):
        corrections._series_of(None, Correction("X", "keep", {}))
    with pytest.raises(NotFoundError, match="Instrument 'T' has no series 'water level'"):
        corrections._series_of(None, Correction("T", "keep", {}, "water level"))


@pytest.mark.parametrize(
    ("wanted", "about", "of_rule"),
    [
        ({}, True, False),
        ({"rules": ("step",)}, True, True),
        ({"rules": ("drift", "step"), "wells": ("B", "A"), "instrument": "L"}, True, True),
        ({"rules": ("drift",)}, True, False),
        ({"wells": ("B",)}, False, False),
        ({"instrument": "M"}, False, False),
        # wholly inside the span, its ends included
        ({"rules": ("step",), "start": EDGES[0], "end": EDGES[1]}, True, True),
        ({"rules": ("step",), "start": EDGES[0] + dt.timedelta(seconds=1)}, True, False),
        ({"rules": ("step",), "end": EDGES[1] - dt.timedelta(seconds=1)}, True, False),
    ],
)
def test_findings_that_are_meant(wanted, about, of_rule):
    finding = LoggerFinding("S", "A", "L", "Q", "step", *moments(1, 5), "", "step")
    assert Wanted(**wanted).is_about(finding) == about
    assert Wanted(**wanted).is_of_rule(finding) == of_rule
    assert not Wanted(**wanted).is_of_rule(LoggerFinding("S", "A", "L", "Q", "step", *moments(1, 5), ""))


def test_a_finding_is_named_by_its_first_letters():
    keys = ["abcd", "abef", "c123"]
    assert corrections._complete_key(" ABC ", keys) == "abcd"
    for name, words in (("ab", "There are several findings 'ab'"), ("x", "There is no finding 'x'")):
        with pytest.raises(NotFoundError, match=words):
            corrections._complete_key(name, keys)


def test_deployments_that_an_instrument_takes_part_in(monkeypatch):
    table = pd.DataFrame({"number": [1, 2, 3, 4], "instrument": ["L", "M", "N", "B"], "barometer": ["B", "C", "L", ""]})
    monkeypatch.setattr(corrections, "deployments_in", lambda _: table)
    monkeypatch.setattr(
        corrections, "iterate_heads", lambda _, rows: [SimpleNamespace(deployment_id=n) for n in rows["number"]]
    )
    found = {name: list(corrections._affected_heads(None, {name})) for name in ("L", "B", "C")}
    assert found == {"L": [1, 3], "B": [1, 4], "C": [2]}
