"""What moved between two states of the record: each cause alone, at the limit, and its reasons; constructed frames."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.review import effects as module
from gwnet.errors import SettingsError
from gwnet.records import Selection

from .heads_of_arrays import NAN

STATE = {
    "site": "S",
    "well": "W",
    "measured_at": "2024-01-01",
    "access": "main",
    "status": "static",
    "bound": "",
    "review": "approved",
    "water_elevation_m": 97.0,
    "point_m": 100.0,
    "tape_m": 0.25,
    "reading_m": 2.75,
    "record_id": 1,
    "well_id": 11,
    "instrument_id": 21.0,
}


def states(**events):
    """Return two states from what differs before and after, by event; None after for one that is gone."""
    old, new = [], []
    for number, (name, (before, after)) in enumerate(events.items(), 1):
        row = {**STATE, "event_id": number, "well": name, **before}
        old.append(row)
        if after is not None:
            new.append({**row, **after})
    new.append({**STATE, "event_id": 99, "well": "new"})
    return (pd.DataFrame(rows).set_index("event_id") for rows in (old, new[::-1]))


PARTS = ["by_survey_m", "by_tape_m", "by_reading_m", "by_other_m"]


@pytest.mark.parametrize(
    ("before", "after", "difference", "parts", "cause"),
    [
        ({}, {"point_m": 100.5, "water_elevation_m": 97.5}, 0.5, [0.5, 0.0, 0.0, 0.0], "survey"),
        ({}, {"tape_m": 0.375, "water_elevation_m": 96.875}, -0.125, [0.0, -0.125, 0.0, 0.0], "tape check"),
        (
            {"tape_m": NAN, "water_elevation_m": 97.25},
            {"tape_m": 0.25, "water_elevation_m": 97.0},
            -0.25,
            [0.0, -0.25, 0.0, 0.0],
            "tape check",
        ),
        ({}, {"reading_m": 2.25, "record_id": 2, "water_elevation_m": 97.5}, 0.5, [0.0, 0.0, 0.5, 0.0], "reading"),
        ({}, {"water_elevation_m": 97.5}, 0.5, [0.0, 0.0, 0.0, 0.5], "other"),
        (
            {},
            {"point_m": 101.0, "tape_m": 0.5, "reading_m": 2.25, "record_id": 2, "water_elevation_m": 98.5},
            1.5,
            [1.0, -0.25, 0.5, 0.25],
            "survey; tape check; reading",
        ),
        (
            {},
            {"point_m": 101.0, "tape_m": 0.5, "water_elevation_m": 98.0},
            1.0,
            [1.0, -0.25, 0.0, 0.25],
            "survey; tape check; other",
        ),
        # given below ground: none of the three parts
        (
            {"reading_m": NAN},
            {"point_m": 101.0, "tape_m": 0.5, "water_elevation_m": 97.5},
            0.5,
            [0.0, 0.0, 0.0, 0.5],
            "survey; other",
        ),
        (
            {},
            {"reading_m": NAN, "tape_m": 0.5, "record_id": 2, "water_elevation_m": 97.5},
            0.5,
            [0.0, 0.0, 0.0, 0.5],
            "reading",
        ),
        (
            {"reading_m": NAN},
            {"reading_m": 3.0, "tape_m": 0.5, "record_id": 2, "water_elevation_m": 97.5},
            0.5,
            [0.0, 0.0, 0.0, 0.5],
            "reading",
        ),
        # without a head on either side there is no difference
        ({"water_elevation_m": NAN}, {"point_m": 101.0}, None, None, None),
        ({"water_elevation_m": NAN}, {"water_elevation_m": 97.0, "record_id": 2}, NAN, [NAN] * 4, "reading"),
        ({}, {"water_elevation_m": NAN}, NAN, [NAN] * 4, "other"),
        ({}, {"bound": "<="}, 0.0, [0.0] * 4, "other"),
        ({}, {"status": "dry", "record_id": 2}, 0.0, [0.0] * 4, "reading"),
        # rounding: a ten-millionth of a metre is none
        ({"water_elevation_m": 0.0}, {"water_elevation_m": 0.9e-7}, None, None, None),
        ({"water_elevation_m": 0.0}, {"water_elevation_m": 1.1e-7}, 1.1e-7, [0.0, 0.0, 0.0, 1.1e-7], "other"),
        (
            {"water_elevation_m": 0.0},
            {"point_m": 100.5, "water_elevation_m": 0.5 + 0.9e-7},
            0.5 + 0.9e-7,
            [0.5, 0.0, 0.0, 0.0],
            "survey",
        ),
        (
            {"water_elevation_m": 0.0, "point_m": 0.0},
            {"point_m": 0.9e-7, "water_elevation_m": 0.5},
            0.5,
            [0.9e-7, 0.0, 0.0, 0.5 - 0.9e-7],
            "other",
        ),
        ({}, {"record_id": 2, "review": "provisional"}, None, None, None),
        ({}, {}, None, None, None),
    ],
)
def test_a_level_that_moved_is_listed_with_its_parts_and_cause(before, after, difference, parts, cause):
    """An elevation is the point less reading and tape correction; the parts add up to the difference."""
    old, new = states(W=(before, after))
    table = module.compare_states(old, new)
    if cause is None:
        assert table.empty
        return
    (row,) = table.to_dict("records")
    np.testing.assert_allclose(
        [row["difference_m"], *(row[name] for name in PARTS)], [difference, *parts], rtol=1e-9, atol=1e-14
    )
    assert row["cause"] == cause
    was, now = {**STATE, **before}, {**STATE, **before, **after}
    expected = {
        **{name: now[name] for name in ("site", "access", "review", "well_id", "instrument_id", "well", "measured_at")},
        **{f"{name}_before": was[name] for name in ("bound", "status")},
        **{f"{name}_after": now[name] for name in ("bound", "status")},
        "event_id": 1,
        "reason": "",
    }
    assert {name: row[name] for name in expected} == expected
    np.testing.assert_array_equal(
        [row["water_elevation_before_m"], row["water_elevation_after_m"]],
        [was["water_elevation_m"], now["water_elevation_m"]],
    )
    assert tuple(table.columns) == (*module.EFFECT_COLUMNS, "well_id", "instrument_id")
    assert not np.signbit([row[name] for name in PARTS if row[name] == 0.0]).any()


def test_a_level_that_is_gone_was_withdrawn_and_rows_go_by_well_and_time():
    old, new = states(
        B=({"bound": "<=", "review": "rejected"}, None),
        C=({}, {"point_m": 101.0, "water_elevation_m": 98.0}),
        A=({"measured_at": "2024-02-01"}, {"water_elevation_m": 98.0}),
    )
    old.loc[4] = {**old.loc[3].to_dict(), "measured_at": "2024-01-01"}
    new.loc[4] = {**new.loc[3].to_dict(), "measured_at": "2024-01-01"}
    table = module.compare_states(old, new)
    assert table[["well", "event_id", "cause"]].to_numpy().tolist() == [
        ["A", 4, "other"],
        ["A", 3, "other"],
        ["B", 1, "withdrawn"],
        ["C", 2, "survey"],
    ]
    gone = table.iloc[2]
    assert (gone["bound_before"], gone["bound_after"], gone["status_after"], gone["review"]) == (
        "<=",
        "",
        "withdrawn",
        "rejected",
    )
    assert gone[["water_elevation_after_m", "difference_m", *PARTS]].isna().all()
    assert table.index.tolist() == [0, 1, 2, 3]


# --- reasons and loggers ------------------------------------------------------------------------------------------------

UNTIL = dt.datetime(2024, 5, 2, tzinfo=dt.UTC)
SINCE = dt.datetime(2024, 5, 1, tzinfo=dt.UTC)


def snapshot(known_on, wells=("W",)):
    table = pd.DataFrame({"site": "S", "well": list(wells), "well_id": range(11, 11 + len(wells))})
    return SimpleNamespace(connection="connection", known_on=known_on, site="S", wells=table, state=None)


@pytest.fixture
def compared(monkeypatch):
    """Give a function that returns the effects between two states, with reasons and heads of loggers."""

    def compare(old, new, *, reasons=None, heads=None, newest=None, known_on=UNTIL, **asked):
        seen = {}
        made = {"earlier": old, "later": new}

        def reduce_state(record, selection=None):
            return made["earlier" if record.known_on != known_on else "later"]

        def loggers(before, after, moved, wells):
            seen.update(before=before.known_on, after=after.known_on, moved=moved, wells=wells)
            return pd.DataFrame() if heads is None else heads

        monkeypatch.setattr(module, "reduce_state", reduce_state)
        monkeypatch.setattr(module, "Snapshot", lambda connection, known_on=None, site=None: snapshot(known_on))
        monkeypatch.setattr(module, "compare_loggers", loggers)
        monkeypatch.setattr(module, "newest_edit", lambda connection, until: newest)
        monkeypatch.setattr(
            module,
            "recorded_reasons",
            lambda connection, since, until: seen.update(since=since, until=until) or (reasons or {}),
        )
        return module.find_effects(snapshot(known_on), **asked), seen

    return compare


def test_each_cause_has_the_reasons_of_its_tables(compared):
    moved = {"point_m": 101.0, "tape_m": 0.5, "record_id": 2, "water_elevation_m": 98.0}
    old, new = states(
        A=({}, moved),
        B=({"instrument_id": NAN, "access": "tube"}, {"tape_m": 0.5, "point_m": 101.0, "water_elevation_m": 98.0}),
        C=({}, None),
        D=({"reading_m": NAN}, {"water_elevation_m": 98.0}),
    )
    reasons = {
        ("measuring_point", 11, "main"): ["survey"],
        ("measuring_point", 11, "tube"): ["tube"],
        ("tape_check", 21): ["check", "survey"],
        ("instrument_record", 21): ["stretched"],
        ("tape_check", 1): ["of another tape"],
        ("level_record", 1): ["misread"],
        ("level_record", 2): ["wrong event"],
        ("level_record", 3): ["withdrawn"],
        ("construction_part", 11): ["screen"],
        ("well_record", 11): ["ground"],
        ("site_record", "S"): ["density"],
    }
    table, seen = compared(old, new, reasons=reasons, since=SINCE)
    assert tuple(table.columns) == module.EFFECT_COLUMNS
    assert table[["well", "cause", "reason"]].to_numpy().tolist() == [
        ["A", "survey; tape check; reading", "survey; check; stretched; misread"],
        ["B", "survey; tape check; other", "tube; screen; ground; density"],
        ["C", "withdrawn", "withdrawn"],
        ["D", "other", "screen; ground; stretched; density"],
    ]
    assert seen == {
        "before": SINCE,
        "after": UNTIL,
        "moved": {"A", "B", "C", "D"},
        "wells": None,
        "since": SINCE,
        "until": UNTIL,
    }
    _, seen = compared(old, new, since=SINCE, selection=Selection.of(["A"]))
    assert seen["wells"] == ["A"]
    assert compared(old, new, since=SINCE, selection=Selection(aquifer="u"))[1]["wells"] is None


def test_without_a_time_the_newest_edit_is_looked_at(compared):
    old, new = states(A=({}, {"water_elevation_m": 98.0}))
    table, _ = compared(old, new)
    assert (len(table), tuple(table.columns)) == (0, module.EFFECT_COLUMNS)
    _, seen = compared(old, new, newest=UNTIL)
    assert seen["before"] == dt.datetime(2024, 5, 1, 23, 59, 59, 999_999, tzinfo=dt.UTC)
    compared(old, new, since=UNTIL)
    later = UNTIL + dt.timedelta(microseconds=1)
    with pytest.raises(SettingsError) as refused:
        compared(old, new, since=later)
    assert refused.value.args[0] == f"{UNTIL.isoformat()} lies before {later.isoformat()}."
    compared(old, new, since=later, known_on=None)


def test_loggers_that_moved_stand_by_their_well_with_the_reasons_of_installation_and_point(compared):
    old, new = states(W=({}, {"water_elevation_m": 98.0}), Z=({}, {"water_elevation_m": 98.0}))
    row = {**dict.fromkeys(module.EFFECT_COLUMNS, ""), "site": "S", "well": "W", "event_id": -1, "access": "main"}
    numbers = [name for name in module.EFFECT_COLUMNS if name.endswith("_m")]
    heads = pd.DataFrame([{**row, "well": "X"}, row]).assign(**dict.fromkeys(numbers, 0.5))
    reasons = {
        ("deployment", 11): ["hung deeper", "again"],
        ("measuring_point", 11, "main"): ["again", "levelled"],
        ("deployment", 1): ["of another well"],
    }
    table, _ = compared(old, new, heads=heads.iloc[1:], reasons=reasons, since=SINCE)
    assert table[["well", "event_id", "reason"]].to_numpy().tolist() == [
        ["W", -1, "hung deeper; again; levelled"],
        ["W", 1, ""],
        ["Z", 2, ""],
    ]
    assert table.index.tolist() == [0, 1, 2]
    alone, _ = compared(old.iloc[:0], new, heads=heads, since=SINCE)
    assert alone[["well", "reason"]].to_numpy().tolist() == [["W", ""], ["X", ""]]


def test_a_watch_compares_before_and_after_a_unit_of_work(monkeypatch):
    old, new = states(A=({}, {"water_elevation_m": 98.0}))
    asked = []
    for state in (None, SimpleNamespace(recorded_at_utc=SINCE)):
        frames = iter([old, new])
        monkeypatch.setattr(module, "reduce_state", lambda record, frames=frames: next(frames))
        monkeypatch.setattr(
            module,
            "Snapshot",
            lambda connection, known_on=None, state=state: SimpleNamespace(known_on=known_on, state=state),
        )
        monkeypatch.setattr(
            module,
            "compare_loggers",
            lambda before, after, moved, wells: (
                asked.append((before.known_on, after.known_on, moved, wells)) or pd.DataFrame()
            ),
        )
        watch = module.Watch()
        watch.after("connection")
        assert watch.moved is None
        watch.before("connection")
        watch.after("connection")
        assert watch.moved.columns.tolist() == [name for name in module.EFFECT_COLUMNS if name != "reason"]
        assert watch.moved["well"].tolist() == ["A"]
    assert asked == [(SINCE, None, {"A"}, None)]
