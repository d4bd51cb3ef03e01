"""Who may review what, and how findings are decided: every rule and sentence; constructed frames."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.review import decide as module
from gwnet.analysis.review import decisions
from gwnet.errors import NotFoundError, ReviewError
from gwnet.records import Selection

UTC = dt.UTC


def event(number, review="provisional", **more):
    row = {"event_id": number, "site": "S", "well": f"W{number}", "measured_at": f"2024-01-{number:02d}", "round": ""}
    return {**row, "recorded_by": "Ana", "observer": "Rea", "review": review, **more}


def finding(number, event_id, decision="open", **more):
    row = {
        "finding_id": number,
        "event_id": event_id,
        "rule": f"rule {number}",
        "severity": "serious",
        "decision": decision,
    }
    return {**row, "decided_by": "Vera", "site": "S", "well": "W1", **more}


@pytest.fixture
def review(monkeypatch):
    """Give a function that changes the state of levels; it returns what changed and what was stored."""

    def change(
        events, verb, *, findings=(), by="Vera", reason="looked", self_review=False, pass_over=False, **selection
    ):
        stored, locked = [], []
        frame = pd.DataFrame(list(events), columns=list(event(1)))
        known = pd.DataFrame(list(findings), columns=list(finding(1, 1)))
        sites = pd.DataFrame({"site": ["S", "FREE"], "self_review": [self_review, True]})
        monkeypatch.setattr(module, "Snapshot", lambda connection: SimpleNamespace(all_sites=sites))
        monkeypatch.setattr(module, "fetch_reviewed", lambda record, selection: frame)
        monkeypatch.setattr(module, "fetch_decisions", lambda record: known)
        monkeypatch.setattr(module, "lock_events", lambda connection, numbers: locked.append(numbers))

        def save(connection, numbers, state, *, by, reason):
            stored.append((numbers, state, by, reason))

        monkeypatch.setattr(module, "save_event_reviews", save)
        chosen = Selection(**(selection or {"round": "R"}))
        made = module.change_state("connection", chosen, verb, by=by, reason=reason, pass_over=pass_over)
        assert locked == [frame["event_id"].tolist()]
        assert tuple(made.changed.columns) == module.CHANGED_COLUMNS
        assert tuple(made.passed_over.columns) == module.PASSED_COLUMNS
        return made, stored

    return change


EVENTS = [event(1), event(2, "approved"), event(3, "rejected"), event(4, "on hold"), event(5)]


@pytest.mark.parametrize(
    ("verb", "state", "moved", "same", "passed"),
    [
        ("approve", "approved", [1, 5], 1, [3, 4]),
        ("reject", "rejected", [1, 5], 1, [2, 4]),
        ("hold", "on hold", [1, 5], 1, [2, 3]),
        ("reopen", "provisional", [2, 3, 4], 2, []),
    ],
)
def test_each_verb_reaches_provisional_levels_and_reopening_all_others(review, verb, state, moved, same, passed):
    made, stored = review(EVENTS, verb, reason="  looked ")
    assert stored == [(moved, state, "Vera", "looked")]
    assert (made.state, made.unchanged) == (state, same)
    assert made.changed["event_id"].tolist() == moved
    assert made.changed["was"].tolist() == [row["review"] for row in EVENTS if row["event_id"] in moved]
    assert set(made.changed["now"]) == {state}
    assert made.changed.index.tolist() == list(range(len(moved)))
    assert made.passed_over["event_id"].tolist() == passed
    assert set(made.passed_over["why"]) == ({"reopen it first"} if passed else set())


@pytest.mark.parametrize(
    ("findings", "why"),
    [
        ([finding(9, 1)], "finding 9 is open: rule 9"),
        ([finding(9, 1, "on hold"), finding(8, 1)], "finding 9 is on hold: rule 9; finding 8 is open: rule 8"),
        ([finding(9, 1, "accepted"), finding(8, 1, "dismissed")], None),
        ([finding(9, 1, severity="warning")], None),
        ([finding(9, np.nan), finding(8, 7)], None),
    ],
)
def test_a_level_with_an_open_serious_finding_is_not_approved(review, findings, why):
    if why is None:
        assert review([event(1)], "approve", findings=findings)[1][0][0] == [1]
        return
    with pytest.raises(ReviewError) as refused:
        review([event(1), event(2)], "approve", findings=findings)
    assert refused.value.args[0] == f"1 level cannot be approved, so none was: S W1 2024-01-01 ({why})."
    made, stored = review([event(1), event(2)], "approve", findings=findings, pass_over=True)
    assert stored[0][0] == [2]
    assert made.passed_over[["event_id", "review", "why"]].to_numpy().tolist() == [[1, "provisional", why]]
    made, stored = review([event(1), event(3, "rejected")], "approve", findings=findings, pass_over=True)
    assert stored[0][0] == []
    assert made.passed_over["event_id"].tolist() == [3, 1]
    assert review([event(1)], "reject", findings=findings)[1][0][0] == [1]


@pytest.mark.parametrize(
    ("by", "more", "why"),
    [
        ("ana", {}, "ana recorded it"),
        (" REA ", {}, " REA  read it"),
        ("Ana", {"observer": "ANA"}, "Ana recorded and read it"),
        ("Vera", {}, None),
        ("Ana", {"site": "FREE"}, None),
        ("An a", {}, None),
    ],
)
def test_nobody_approves_own_work_where_the_site_does_not_allow_it(review, by, more, why):
    if why is None:
        assert review([event(1, **more)], "approve", by=by)[1][0][0] == [1]
        return
    with pytest.raises(ReviewError) as refused:
        review([event(1, **more)], "approve", by=by, findings=[finding(9, 1)])
    assert refused.value.args[0].endswith(f"(finding 9 is open: rule 9; {why}).")
    assert review([event(1, **more)], "approve", by=by, self_review=True)[1][0][0] == [1]


@pytest.mark.parametrize(("count", "more"), [(8, ""), (9, " and 1 more"), (11, " and 3 more")])
def test_a_refusal_names_eight_levels_and_counts_the_others(review, count, more):
    with pytest.raises(ReviewError) as refused:
        review([event(number) for number in range(1, count + 1)], "approve", by="Rea")
    listed = "; ".join(f"S W{number} 2024-01-{number:02d} (Rea read it)" for number in range(1, 9))
    assert refused.value.args[0] == f"{count} levels cannot be approved, so none was: {listed}{more}."


@pytest.mark.parametrize(
    ("verb", "by", "reason", "words"),
    [
        ("approve", "  ", "x", "It is not said who reviews."),
        ("reject", "Vera", None, "To reject needs a reason."),
        ("hold", "Vera", "  ", "To hold needs a reason."),
        ("reopen", "Vera", "", "To reopen needs a reason."),
    ],
)
def test_a_reviewer_has_a_name_and_a_reason(review, verb, by, reason, words):
    with pytest.raises(ReviewError) as refused:
        review(EVENTS, verb, by=by, reason=reason)
    assert refused.value.args[0] == words
    assert review(EVENTS[:1], "approve", reason=" ")[1][0][3] is None


def test_levels_that_are_none_or_all_are_refused(review):
    with pytest.raises(NotFoundError, match="No level on record matches"):
        review([], "approve")
    with pytest.raises(ReviewError, match="It is not said which levels to approve"):
        review(EVENTS, "approve", round=None)


def test_levels_that_are_named_are_there(monkeypatch):
    """Ten numbers are asked for of which one is there; eight of the others are named."""
    records = pd.DataFrame(
        {
            "event_id": [5, 6],
            "site": "S",
            "well": "W",
            "measured_at_utc": pd.to_datetime(["2024-01-01T22:30", "2024-01-02T23:30"], utc=True),
            "local_offset_minutes": [60, 60],
            "time_known": [True, False],
            "round": "R",
            "recorded_by": "Ana",
            "observer": "",
        }
    )
    asked = []
    monkeypatch.setattr(module, "events_of", lambda record, selection: asked.append(selection) or records)
    monkeypatch.setattr(
        module,
        "local_times",
        lambda records: np.array(["2024-01-01T23:30", "2024-01-03T00:30"], dtype="datetime64[us]"),
    )
    record = SimpleNamespace(reviews=pd.DataFrame({"event_id": [6], "state": ["approved"]}))
    table = module.fetch_reviewed(record, Selection(events=[5, 6]))
    assert asked[0].events is None
    assert table.to_dict("list") == {
        "event_id": [5, 6],
        "site": ["S", "S"],
        "well": ["W", "W"],
        "measured_at": ["2024-01-01T23:30+01:00", "2024-01-03"],
        "round": ["R", "R"],
        "recorded_by": ["Ana", "Ana"],
        "observer": ["", ""],
        "review": ["provisional", "approved"],
    }
    day = dt.date(2024, 1, 3)
    assert module.fetch_reviewed(record, Selection(start=day, end=day))["event_id"].tolist() == [6]
    with pytest.raises(NotFoundError) as refused:
        module.fetch_reviewed(record, Selection(events=[6, *range(20, 11, -1)]))
    listed = ", ".join(str(number) for number in range(12, 20))
    assert refused.value.args[0] == f"There is no level event {listed} among the levels chosen."


# --- findings -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def decided(monkeypatch):
    """Give a function that decides about findings; it returns what changed, what was stored and what was locked."""

    def act(known, wanted, verb, *, together=False, reason="because"):
        stored, locked = [], []
        frame = pd.DataFrame(known)
        monkeypatch.setattr(module, "Snapshot", lambda connection: None)
        monkeypatch.setattr(module, "fetch_decisions", lambda record: frame)
        monkeypatch.setattr(module, "lock_events", lambda connection, numbers: locked.append(numbers))

        def save(connection, numbers, decision, *, by, reason):
            stored.append((numbers, decision, by, reason))

        monkeypatch.setattr(module, "save_decisions", save)
        made = module.decide("connection", wanted, verb, by="Vera", reason=reason, together=together)
        return made, stored, locked

    return act


KNOWN = [
    finding(1, 11),
    finding(2, np.nan, "on hold"),
    finding(3, 13, "accepted"),
    finding(4, 14, "dismissed"),
    finding(5, 15),
]


@pytest.mark.parametrize(
    ("verb", "wanted", "together", "moved", "same"),
    [
        ("accept", [1], False, [1], 0),
        ("dismiss", [2, 2], False, [2], 0),
        ("accept", [5, 1, 2], True, [1, 2, 5], 0),
        ("accept", [1, 3], False, [1], 1),
        ("hold", [1, 5], False, [1, 5], 0),
        ("hold", [2], False, [], 1),
        ("reopen", [3, 4, 1], False, [3, 4], 1),
    ],
)
def test_findings_are_decided_together_where_that_is_said(decided, verb, wanted, together, moved, same):
    made, stored, locked = decided(KNOWN, wanted, verb, together=together)
    state = {"accept": "accepted", "dismiss": "dismissed", "hold": "on hold", "reopen": "open"}[verb]
    assert stored == [(moved, state, "Vera", "because")]
    assert locked == [
        [row["event_id"] for row in KNOWN if row["finding_id"] in wanted and row["event_id"] == row["event_id"]]
    ]
    assert (made.state, made.unchanged, len(made.passed_over)) == (state, same, 0)
    was = {row["finding_id"]: row["decision"] for row in KNOWN}
    assert made.changed.to_dict("list") == {
        "finding_id": moved,
        "site": ["S"] * len(moved),
        "well": ["W1"] * len(moved),
        "rule": [f"rule {number}" for number in moved],
        "was": [was[number] for number in moved],
        "now": [state] * len(moved),
    }


@pytest.mark.parametrize(
    ("verb", "wanted", "error", "words"),
    [
        ("accept", [], ReviewError, "No finding is named."),
        ("accept", [1, 9, 8], NotFoundError, "There is no finding 9, 8 on record."),
        ("accept", [1, 4], ReviewError, "Decided already: finding 4 (dismissed by Vera)."),
        ("hold", [3, 4], ReviewError, "Decided already: finding 3 (accepted by Vera), 4 (dismissed by Vera)."),
        ("accept", [1, 5], ReviewError, "One reason would settle 2 findings."),
        ("dismiss", [1, 2, 5], ReviewError, "One reason would settle 3 findings."),
    ],
)
def test_decisions_that_cannot_be_made_are_refused(decided, verb, wanted, error, words):
    with pytest.raises(error) as refused:
        decided(KNOWN, wanted, verb)
    assert refused.value.args[0] == words
    with pytest.raises(ReviewError, match=f"To {verb} needs a reason"):
        decided(KNOWN, wanted, verb, reason=" ")


def test_findings_are_joined_with_their_decisions_and_how_many_were_decided_at_once(monkeypatch):
    at = pd.Timestamp("2024-05-01", tz="UTC")
    act = {"decided_by": "Vera", "decided_at_utc": at, "decision_reason": "rain"}
    blank = {"decided_by": "", "decided_at_utc": pd.NaT, "decision_reason": ""}
    rows = [
        {"finding_id": 1, "event_id": 11.0, "rule": "jump", "decision": "dismissed", **act},
        {"finding_id": 2, "event_id": np.nan, "rule": "missing", "decision": "dismissed", **act},
        {"finding_id": 3, "event_id": 11.0, "rule": "trend", "decision": "open", **blank},
        {"finding_id": 4, "event_id": 12.0, "rule": "jump", "decision": "accepted", **act, "decision_reason": "pump"},
    ]
    known = pd.DataFrame(rows).assign(site="S", well="W", round="R")
    monkeypatch.setattr(decisions, "fetch_decisions", lambda record: known)
    asked = pd.DataFrame(
        {"event_id": [12.0, 11.0, np.nan, 11.0, np.nan], "rule": ["jump", "trend", "missing", "jump", "other"]}
    )
    table = decisions.join_decisions(None, asked.assign(site="S", well="W", round="R"))
    assert table["finding_id"].tolist() == [4, 3, 2, 1, pd.NA]
    assert table["decision"].tolist() == ["accepted", "open", "dismissed", "dismissed", ""]
    assert table["decided_by"].tolist() == ["Vera", "", "Vera", "Vera", ""]
    assert table["decision_reason"].tolist() == ["pump", "", "rain", "rain", ""]
    assert table["decided_together"].tolist() == [1, 0, 2, 2, 0]
    elsewhere = decisions.join_decisions(None, asked.iloc[[2]].assign(site="S", well="V", round="R"))
    assert elsewhere["decision"].tolist() == [""]
    said = [decisions.decision_text(row) for row in table.to_dict("records")]
    many = "dismissed by Vera: rain; one remark for 2 findings"
    assert said == ["accepted by Vera: pump", "", many, many, ""]
