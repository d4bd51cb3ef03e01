"""What waits for a reviewer, and the history of a well; constructed frames."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.review import history, queue
from gwnet.errors import NotFoundError
from gwnet.records import Selection


def waiting(monkeypatch, selection, levels, findings):
    names = [*queue.LEVEL_COLUMNS, "day"]
    frame = pd.DataFrame([{**dict.fromkeys(names, ""), "site": "S", **row} for row in levels], columns=names)
    frame["day"] = pd.to_datetime(frame["day"])
    given = {
        "site": "S",
        "well": "W",
        "round": "R1",
        "severity": "warning",
        "message": "m",
        "rule": "jump",
        "decision": "open",
    }
    given |= {"event_id": np.nan, "measured_at_utc": pd.NaT, "local_offset_minutes": 60, "time_known": True}
    known = pd.DataFrame(
        [{**given, "finding_id": number, **row} for number, row in enumerate(findings, 1)],
        columns=["finding_id", *given],
    )
    known["measured_at_utc"] = pd.to_datetime(known["measured_at_utc"], utc=True)
    monkeypatch.setattr(queue, "levels", lambda record, selection: frame)
    monkeypatch.setattr(queue, "fetch_decisions", lambda record: known)
    made = queue.review_queue(None, selection)
    assert tuple(made.rounds.columns) == queue.ROUND_COLUMNS
    assert tuple(made.levels.columns) == queue.LEVEL_COLUMNS
    assert tuple(made.findings.columns) == queue.FINDING_COLUMNS
    return made


LEVELS = [
    {"event_id": 1, "round": "R2", "review": "approved", "day": "2024-02-01"},
    {"event_id": 2, "round": "R1", "review": "provisional", "day": "2024-03-02"},
    {"event_id": 3, "round": "R1", "review": "on hold", "day": "2024-03-01"},
    {"event_id": 4, "round": "R1", "review": "rejected", "day": "2024-03-05"},
    {"event_id": 5, "round": "R1", "review": "approved", "day": "2024-03-05"},
    {"event_id": 6, "round": "R3", "review": "approved", "day": "2024-01-05"},
    {"event_id": 7, "round": "R4", "review": "rejected", "day": "2024-01-06"},
]
FINDINGS = [
    {"event_id": 5.0, "severity": "serious", "measured_at_utc": "2024-03-05T09:00"},
    {"event_id": 5.0, "decision": "on hold", "rule": "trend"},
    {"event_id": 4.0, "severity": "serious"},
    {"event_id": 1.0, "round": "R2", "decision": "on hold"},
    {"event_id": 2.0, "severity": "serious", "decision": "accepted"},
    {"round": "R5", "severity": "serious"},
    {"round": "R1", "well": "V", "decision": "dismissed"},
    {"round": "R1", "well": "V"},
    {"event_id": 9.0, "round": "R1"},
]


def test_levels_and_findings_that_nobody_decided_wait_and_rounds_count_them(monkeypatch):
    made = waiting(monkeypatch, Selection(), LEVELS, FINDINGS)
    assert made.levels[["event_id", "review", "open_findings"]].to_numpy().tolist() == [
        [2, "provisional", ""],
        [3, "on hold", ""],
        [5, "approved", "1 jump (serious); 2 trend (warning)"],
    ]
    assert made.levels.index.tolist() == [0, 1, 2]
    assert made.findings[["finding_id", "decision", "measured_at"]].to_numpy().tolist() == [
        [1, "open", "2024-03-05T10:00+01:00"],
        *([number, "on hold" if number in (2, 4) else "open", ""] for number in (2, 3, 4, 6, 8, 9)),
    ]
    names = [
        "round",
        "first_measured",
        "levels",
        "approved",
        "rejected",
        "on_hold",
        "provisional",
        "open_findings",
        "serious",
    ]
    assert made.rounds[names].to_numpy().tolist() == [
        ["R5", "", 0, 0, 0, 0, 0, 1, 1],
        ["R2", "2024-02-01", 1, 1, 0, 0, 0, 1, 0],
        ["R1", "2024-03-01", 4, 1, 1, 1, 1, 5, 2],
    ]
    assert set(made.rounds["site"]) == {"S"}
    held = waiting(monkeypatch, Selection(), LEVELS[2:3], [])
    assert held.rounds[["on_hold", "provisional", "open_findings", "serious"]].to_numpy().tolist() == [[1, 0, 0, 0]]
    assert waiting(monkeypatch, Selection(), LEVELS[5:], []).rounds.empty


@pytest.mark.parametrize(
    ("selection", "numbers"),
    [
        (Selection(round="R1"), [1, 2, 3, 4, 8]),
        (Selection.of(["V"]), [1, 2, 3, 4, 8]),
        (Selection.of(["W"]), [1, 2, 3, 4, 6]),
        (Selection(round="R5", wells=("V",)), [1, 2, 3, 4]),
        (Selection(events=[5]), [1, 2, 3, 4]),
        (Selection(start=dt.date(2024, 1, 1)), [1, 2, 3, 4]),
        (Selection(end=dt.date(2024, 1, 1)), [1, 2, 3, 4]),
        (Selection(aquifer="u"), [1, 2, 3, 4, 6, 8]),
    ],
)
def test_findings_of_no_level_wait_where_their_well_and_round_are_chosen(monkeypatch, selection, numbers):
    made = waiting(monkeypatch, selection, LEVELS, FINDINGS)
    assert made.findings["finding_id"].tolist() == numbers


# --- history ----------------------------------------------------------------------------------------------------------------


def told(monkeypatch, rows, *, each=False, wells=("W",)):
    names = ["recorded_at_utc", "recorded_by", "subject", "act", "reason", "source", "item", "was", "now"]
    given = dict.fromkeys(names, "") | {
        "recorded_at_utc": pd.Timestamp("2024-05-01", tz="UTC"),
        "act": "added",
        "subject": "level",
    }
    table = pd.DataFrame([{**given, **row} for row in rows], columns=names)
    known = pd.DataFrame(
        {"well": [*wells, "other"], "well_id": range(7, 8 + len(wells)), "site": ["S", "R", "T"][: len(wells) + 1]}
    )
    monkeypatch.setattr(history.fetch, "wells", lambda connection, known_on, site: known)
    asked = []
    monkeypatch.setattr(
        history, "happenings", lambda connection, number, known_on: asked.append((number, known_on)) or table
    )
    made = history.well_history(SimpleNamespace(connection=None, known_on="now", site=None), "W", each=each)
    assert asked == [(7, "now")]
    assert made.columns.tolist() == names
    return made[["item", "source", "was", "now"]].to_numpy().tolist()


def load(count, first=1, **more):
    return [
        {"source": f"a.csv, row {number}", "item": f"2024-01-0{number}", "now": f"{number} m", **more}
        for number in range(first, first + count)
    ]


def test_more_than_three_rows_of_one_act_are_one(monkeypatch):
    three, four = load(3), load(4)
    listed = [[row["item"], row["source"], "", row["now"]] for row in three]
    assert told(monkeypatch, three) == listed
    joined = ["4 rows, 2024-01-01 to 2024-01-04", "a.csv", "", ""]
    assert told(monkeypatch, four[::-1]) == [joined]
    assert len(told(monkeypatch, four, each=True)) == 4
    assert told(monkeypatch, [{**row, "now": "3 m"} for row in four]) == [[*joined[:3], "3 m"]]
    other = {"item": "x", "source": "b.csv, row 12"}
    assert told(monkeypatch, [four[0], other, *four[1:]]) == [joined, ["x", "b.csv, row 12", "", ""]]
    assert told(monkeypatch, []) == []


@pytest.mark.parametrize("act", ["corrected", "withdrawn", "noticed again"])
def test_acts_with_an_old_and_a_new_value_are_listed_one_by_one(monkeypatch, act):
    assert len(told(monkeypatch, load(5, act=act))) == 5


@pytest.mark.parametrize(("subject", "is_split"), [("review", True), ("decision", True), ("level", False)])
def test_reviews_are_joined_by_what_they_changed(monkeypatch, subject, is_split):
    rows = load(5, subject=subject, now="approved")
    for place in (0, 1, 2, 3):
        rows[place]["was"] = "provisional"
    rows[4]["was"] = "on hold"
    made = told(monkeypatch, rows)
    if is_split:
        assert made == [
            ["4 rows, 2024-01-01 to 2024-01-04", "a.csv", "provisional", "approved"],
            ["2024-01-05", "a.csv, row 5", "on hold", "approved"],
        ]
    else:
        assert made == [["5 rows, 2024-01-01 to 2024-01-05", "a.csv", "provisional", "approved"]]


def test_a_well_that_is_not_there_or_at_several_sites_has_no_history(monkeypatch):
    with pytest.raises(NotFoundError) as refused:
        told(monkeypatch, [], wells=("V",))
    assert refused.value.args[0] == "There is no well 'W' on record."
    with pytest.raises(NotFoundError) as refused:
        told(monkeypatch, [], wells=("W", "W"))
    assert refused.value.args[0] == "Several sites have a well 'W': S, R."
