"""Writing to a record with rows in every table: each kind of row is added or retired, never altered."""

import dataclasses
import datetime as dt

import pandas as pd
import pytest

from gwnet.errors import NotFoundError, SettingsError, StoreError
from gwnet.store.fetch import levels, reviews, samples
from gwnet.store.fetch.issues import issues
from gwnet.store.fetch.round_values import RoundValues, round_on_record
from gwnet.store.save.corrections import correct, take_back
from gwnet.store.save.issues import save_issue
from gwnet.store.save.reviews import save_decisions, save_event_reviews
from gwnet.store.save.rounds import save_round
from gwnet.store.save.verdicts import save_verdicts

from .released.rows import CORRECTED

LATER = CORRECTED + dt.timedelta(days=90)
BEN = {"by": "Ben", "reason": "why"}


@pytest.fixture
def connection(filled):
    with filled.writing("test", "Ben", now_utc=LATER) as connection:
        yield connection


def test_a_correction_is_recorded_and_taken_back(connection):
    number = correct(connection, 1, "step", {"amount_m": 0.2}, None, None, "Ben", "slipped again")
    assert samples.corrections(connection)["correction_id"].tolist() == [1, number]
    take_back(connection, number, "Ben", "it had not")
    assert samples.corrections(connection)["correction_id"].tolist() == [1]
    assert samples.corrections(connection, CORRECTED)["correction_id"].tolist() == [1]
    with pytest.raises(NotFoundError, match=f"no correction {number}"):
        take_back(connection, number, "Ben", "again")
    with pytest.raises(SettingsError, match=r"ends .* before it starts"):
        correct(connection, 1, "step", {}, LATER, CORRECTED, "Ben", "why")
    with pytest.raises(NotFoundError, match="no logger series 99"):
        correct(connection, 99, "step", {}, None, None, "Ben", "why")


def test_an_issue_is_registered_once(connection):
    facts = {"definition": "monthly", "definition_sha256": "3" * 64, "period": "2024-05", "sha256": "4" * 64}
    facts |= {"site": "S", "known_on_utc": CORRECTED, "printed": {"values": [], "told": []}, "by": "Ben"}
    issue, is_new = save_issue(connection, **facts)
    again, is_new_again = save_issue(connection, **facts)
    assert (is_new, is_new_again) == (True, False)
    assert issue == again
    assert [issue.definition for issue in issues(connection, site="S")] == ["quarterly", "monthly"]


def test_a_review_retires_the_one_before_it(connection):
    assert save_event_reviews(connection, [1], "rejected", **BEN) == 1
    assert levels.reviews(connection)["state"].tolist() == ["rejected"]
    assert levels.reviews(connection, CORRECTED)["state"].tolist() == ["approved"]
    assert reviews.approved_events(connection, [1, 2]) == set()
    save_decisions(connection, [1], "dismissed", **BEN)
    findings = reviews.findings_with_decisions(connection)
    assert findings[["decision", "decided_by", "decision_reason"]].to_numpy().tolist() == [["dismissed", "Ben", "why"]]


def test_a_round_is_added_passed_over_and_corrected(connection):
    values = RoundValues(dt.date(2024, 6, 1), wells=("MW-2", "MW-1"))
    stamp = {"by": "Ben"}
    assert save_round(connection, "S", "2024-Q2", values, **stamp) == "added"
    assert save_round(connection, "S", "2024-Q2", values, **stamp) == "unchanged"
    changed = dataclasses.replace(values, crew="Rea")
    with pytest.raises(StoreError, match="crew: nothing on record, Rea here"):
        save_round(connection, "S", "2024-Q2", changed, **stamp)
    assert save_round(connection, "S", "2024-Q2", changed, **stamp, correct=True, reason="crew known") == "corrected"
    assert round_on_record(connection, "S", "2024-Q2") == changed


def finding(**columns):
    return {
        "site": "S",
        "well": "MW-1",
        "round": "",
        "event_id": 1.0,
        "limits": "{}",
        "message": "They differ.",
    } | columns


def test_findings_are_added_kept_and_retired(connection):
    rules = ["repeats disagree", "spike"]
    found = pd.DataFrame([finding(rule="repeats disagree", severity="serious"), finding(rule="spike", severity="note")])
    saved = save_verdicts(connection, found, rules, by="Ben")
    assert (saved.added, saved.kept, saved.retired) == (1, 1, 0)
    assert reviews.live_findings(connection, ["spike"])["well"].tolist() == ["MW-1"]
    saved = save_verdicts(connection, found.iloc[1:], rules, by="Ben")
    assert (saved.added, saved.kept, saved.retired) == (0, 1, 1)
    assert reviews.live_findings(connection, rules, "S", "2024-Q1")["rule"].tolist() == ["spike"]
    assert reviews.live_findings(connection, rules, "T").empty
