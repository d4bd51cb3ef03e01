"""Review: the states of levels and findings, who may change them, and that nothing is lost."""

import datetime as dt

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gwnet.analysis.maps.site_maps import review_text
from gwnet.analysis.review.decide import change_state, local_texts
from gwnet.analysis.review.decisions import decision_text
from gwnet.errors import NotFoundError, ReviewError, StoreError
from gwnet.network import Network
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

from .record import RECORDED_ON, Record

WATER = "depth_to_water"
TUESDAY = RECORDED_ON + dt.timedelta(days=1)


def hours(number):
    return TUESDAY + dt.timedelta(hours=number)


class Reviewed:
    """A record of two wells and three levels in a round, with a serious finding on one of them."""

    def __init__(self, url):
        self.record = Record(url)
        self.round_id = self.record.add("gauging_round", site_id=self.record.site_id, code="2024-Q1")
        self.record.add("round_record", gauging_round_id=self.round_id, starts_on=dt.date(2024, 3, 12), wells="[]")
        self.events = []
        for code, when in (("MW-1", "2024-03-12T09:40"), ("MW-2", "2024-03-12T10:10"), ("MW-2", "2024-03-13T23:30")):
            if code not in self.record.wells:
                self.record.well(code, point=(100.0, 0.5))
            known = {"gauging_round_id": self.round_id, "observer": "Rea Reader"}
            self.events.append(self.record.event(code, when, [(WATER, 3.0)], **known))
        self.finding = self.verdict(self.events[1], "jump since the last reading")
        self.net = Network(url)

    def verdict(self, event, rule, severity="serious", **columns):
        told = {"limits": "{}", "message": f"{rule}.", "severity": severity}
        return self.record.add("verdict", level_event_id=event, rule=rule, **told, **columns)

    def states(self, known_on=None):
        return self.net.levels(known_on=known_on)["review"].tolist()

    def rows(self):
        with self.net.store.reading() as connection:
            query = "SELECT id, level_event_id, verdict_id, state, recorded_at_utc, recorded_by, reason FROM review"
            return sorted(map(tuple, connection.exec_driver_sql(query)))

    def close(self):
        self.net.close()
        self.record.store.close()


@pytest.fixture
def reviewed(store_url):
    made = Reviewed(store_url)
    yield made
    made.close()


def test_levels_are_approved_together_and_known_on_tells_the_earlier_state(reviewed):
    reviewed.net.review.decide([reviewed.finding], "dismiss", by="Vera", reason="It rained", now_utc=hours(0))
    done = reviewed.net.review.approve(Selection(round="2024-Q1"), by="Vera", now_utc=hours(1))
    assert done.changed["now"].tolist() == ["approved"] * 3
    assert reviewed.states() == ["approved"] * 3
    assert reviewed.states(known_on=hours(0)) == ["provisional"] * 3
    assert reviewed.states(known_on=hours(1)) == ["approved"] * 3


def test_a_serious_finding_must_be_decided_first_and_then_nothing_is_half_done(reviewed):
    with pytest.raises(ReviewError, match=f"finding {reviewed.finding} is open: jump since the last reading"):
        reviewed.net.review.approve(Selection(round="2024-Q1"), by="Vera", now_utc=hours(1))
    assert reviewed.rows() == []
    reviewed.net.review.decide([reviewed.finding], "hold", by="Vera", reason="Ask the crew", now_utc=hours(1))
    with pytest.raises(ReviewError, match="is on hold"):
        reviewed.net.review.approve(Selection(wells=["MW-2"]), by="Vera", now_utc=hours(2))
    reviewed.net.review.decide([reviewed.finding], "accept", by="Vera", reason="Pump ran", now_utc=hours(3))
    reviewed.net.review.approve(Selection(wells=["MW-2"]), by="Vera", now_utc=hours(4))
    assert reviewed.states() == ["provisional", "approved", "approved"]


def test_a_note_does_not_stand_in_the_way(reviewed):
    reviewed.verdict(reviewed.events[0], "silting", severity="note")
    reviewed.net.review.approve(Selection(wells=["MW-1"]), by="Vera", now_utc=hours(1))
    assert reviewed.states()[0] == "approved"


def test_levels_that_cannot_be_approved_can_be_passed_over(reviewed):
    done = reviewed.net.review.approve(Selection(round="2024-Q1"), by="Vera", now_utc=hours(1), pass_over=True)
    assert reviewed.states() == ["approved", "provisional", "approved"]
    assert done.passed_over["event_id"].tolist() == [reviewed.events[1]]
    assert "is open" in done.passed_over["why"].iloc[0]


@pytest.mark.parametrize("name", ["Ana", " ana ", "Rea Reader", "REA  READER"])
def test_nobody_approves_own_work(reviewed, name):
    with pytest.raises(ReviewError, match=r"(recorded|read) it"):
        reviewed.net.review.approve(Selection(wells=["MW-1"]), by=name, now_utc=hours(1))
    assert reviewed.rows() == []


def test_a_site_may_allow_self_review(tmp_path):
    record = Record(tmp_path / "record.sqlite", self_review=True)
    record.well("MW-1", point=(100.0, 0.5))
    record.event("MW-1", "2024-03-12T09:40", [(WATER, 3.0)])
    record.store.close()
    with Network(tmp_path / "record.sqlite") as net:
        net.review.approve(Selection(wells=["MW-1"]), by="Ana", now_utc=hours(1))
        assert net.levels()["review"].tolist() == ["approved"]


def test_own_work_may_be_held_rejected_and_reopened(reviewed):
    first = Selection(events=[reviewed.events[0]])
    reviewed.net.review.hold(first, by="Ana", reason="Ask", now_utc=hours(1))
    reviewed.net.review.reopen(first, by="Ana", reason="Answered", now_utc=hours(2))
    reviewed.net.review.reject(first, by="Ana", reason="Wrong well", now_utc=hours(3))
    assert [reviewed.states(known_on=hours(n))[0] for n in range(4)] == [
        "provisional",
        "on hold",
        "provisional",
        "rejected",
    ]
    level = reviewed.net.levels().iloc[0]
    assert (level["usable"], level["unusable_reason"]) == (False, "rejected on review")


@pytest.mark.slow
@pytest.mark.parametrize(("verb", "state"), [("approve", "approved"), ("reject", "rejected"), ("hold", "on hold")])
def test_a_reviewed_level_changes_by_reopening_alone(reviewed, verb, state):
    first = Selection(events=[reviewed.events[0]])
    act = getattr(reviewed.net.review, verb)
    act(first, by="Vera", reason="Looked", now_utc=hours(1))
    for other in {"approve", "reject", "hold"} - {verb}:
        done = getattr(reviewed.net.review, other)(first, by="Vera", reason="Again", now_utc=hours(2))
        assert done.changed.empty
        assert done.passed_over[["review", "why"]].to_numpy().tolist() == [[state, "reopen it first"]]
    assert act(first, by="Vera", reason="Looked", now_utc=hours(2)).unchanged == 1
    assert reviewed.states()[0] == state
    reviewed.net.review.reopen(first, by="Vera", reason="New survey", now_utc=hours(3))
    assert reviewed.states()[0] == "provisional"


@pytest.mark.parametrize("verb", ["reject", "hold", "reopen"])
@pytest.mark.parametrize("reason", [None, "", "  "])
def test_all_but_approving_needs_a_reason(reviewed, verb, reason):
    with pytest.raises(ReviewError, match="needs a reason"):
        getattr(reviewed.net.review, verb)(Selection(round="2024-Q1"), by="Vera", reason=reason, now_utc=hours(1))


def test_a_reviewer_needs_a_name(reviewed):
    with pytest.raises(ReviewError, match="who reviews"):
        reviewed.net.review.approve(Selection(wells=["MW-1"]), by=" ", now_utc=hours(1))


def test_it_must_be_said_which_levels(reviewed):
    with pytest.raises(ReviewError, match="which levels to approve"):
        reviewed.net.review.approve(Selection(), by="Vera", now_utc=hours(1))


@pytest.mark.parametrize(
    ("chosen", "message"),
    [
        ({"events": [999]}, "no level event 999"),
        ({"wells": ["MW-9"]}, "no well 'MW-9'"),
        ({"round": "2031-Q1"}, "no round '2031-Q1'"),
        ({"start": dt.date(2030, 1, 1)}, "No level on record matches"),
    ],
)
def test_what_is_not_on_record_is_named(reviewed, chosen, message):
    with pytest.raises(NotFoundError, match=message):
        reviewed.net.review.approve(Selection(**chosen), by="Vera", now_utc=hours(1))


def test_dates_are_local(reviewed):
    """The third level was read at 23:30 UTC, which is half past midnight of the next day at the site."""
    day = dt.date(2024, 3, 14)
    done = reviewed.net.review.approve(Selection(start=day, end=day), by="Vera", now_utc=hours(1))
    assert done.changed["measured_at"].tolist() == ["2024-03-14T00:30+01:00"]


def test_a_review_cannot_be_older_than_the_one_it_replaces(reviewed):
    first = Selection(events=[reviewed.events[0]])
    reviewed.net.review.hold(first, by="Vera", reason="Ask", now_utc=hours(2))
    before = reviewed.rows()
    with pytest.raises(StoreError, match="later"):
        reviewed.net.review.reopen(first, by="Vera", reason="Answered", now_utc=hours(1))
    assert reviewed.rows() == before


@pytest.mark.slow
def test_a_decision_changes_by_reopening_alone(reviewed):
    reviewed.net.review.decide([reviewed.finding], "dismiss", by="Vera", reason="Rain", now_utc=hours(1))
    with pytest.raises(ReviewError, match="Decided already: finding 1 \\(dismissed by Vera\\)"):
        reviewed.net.review.decide([reviewed.finding], "accept", by="Ben", reason="Pump", now_utc=hours(2))
    reviewed.net.review.decide([reviewed.finding], "reopen", by="Ben", reason="Pump log", now_utc=hours(3))
    with pytest.raises(ReviewError, match="is open"):
        reviewed.net.review.approve(Selection(wells=["MW-2"]), by="Vera", now_utc=hours(4))
    done = reviewed.net.review.decide([reviewed.finding], "accept", by="Ben", reason="Pump", now_utc=hours(5))
    assert done.changed[["was", "now"]].to_numpy().tolist() == [["open", "accepted"]]


def test_findings_are_decided_together_or_not_at_all(reviewed):
    with pytest.raises(NotFoundError, match="no finding 77"):
        reviewed.net.review.decide([reviewed.finding, 77], "accept", by="Vera", reason="x", now_utc=hours(1))
    assert reviewed.rows() == []
    with pytest.raises(ReviewError, match="No finding is named"):
        reviewed.net.review.decide([], "accept", by="Vera", reason="x", now_utc=hours(1))


def test_the_queue_lists_what_waits(reviewed):
    of_round = reviewed.record.add(
        "verdict",
        well_id=reviewed.record.wells["MW-1"],
        gauging_round_id=reviewed.round_id,
        rule="missing",
        severity="note",
        limits="{}",
        message="Not read.",
    )
    queue = reviewed.net.review.queue()
    assert queue.rounds.to_dict("records") == [
        {
            "site": "S",
            "round": "2024-Q1",
            "first_measured": "2024-03-12",
            "levels": 3,
            "approved": 0,
            "rejected": 0,
            "on_hold": 0,
            "provisional": 3,
            "open_findings": 2,
            "serious": 1,
        }
    ]
    assert queue.levels["event_id"].tolist() == reviewed.events
    assert queue.levels["open_findings"].tolist()[1] == f"{reviewed.finding} jump since the last reading (serious)"
    assert queue.findings["finding_id"].tolist() == [of_round, reviewed.finding]
    assert queue.findings["measured_at"].tolist() == ["", "2024-03-12T11:10+01:00"]
    reviewed.net.review.decide([reviewed.finding], "dismiss", by="Vera", reason="Rain", now_utc=hours(1))
    reviewed.net.review.approve(Selection(round="2024-Q1"), by="Vera", now_utc=hours(2))
    reviewed.record.add(
        "verdict", well_id=reviewed.record.wells["MW-1"], rule="apart", severity="note", limits="{}", message="Apart."
    )
    queue = reviewed.net.review.queue(round="2024-Q1")
    assert queue.levels.empty
    assert queue.findings["finding_id"].tolist() == [of_round]
    earlier = reviewed.net.review.queue(known_on=hours(0))
    assert len(earlier.levels) == 3
    assert reviewed.net.review.queue(wells=["MW-2"]).findings.empty


def test_an_approved_level_with_a_new_serious_finding_waits_again(reviewed):
    reviewed.net.review.approve(Selection(wells=["MW-1"]), by="Vera", now_utc=hours(1))
    number = reviewed.verdict(reviewed.events[0], "water below the screen")
    levels = reviewed.net.review.queue(wells=["MW-1"]).levels
    assert levels[["review", "open_findings"]].to_numpy().tolist() == [
        ["approved", f"{number} water below the screen (serious)"]
    ]


@pytest.mark.slow
def test_a_finding_of_a_withdrawn_level_does_not_wait(reviewed):
    with reviewed.net.store.reading() as connection:
        query = f"SELECT id FROM level_record WHERE level_event_id = {reviewed.events[1]}"
        record_id = connection.exec_driver_sql(query).scalar_one()
    reviewed.record.retire("level_record", record_id, hours(1))
    assert reviewed.net.review.queue().findings.empty
    assert len(reviewed.net.review.queue(known_on=hours(0)).findings) == 1


verbs = st.sampled_from(["approve", "reject", "hold", "reopen", "accept", "dismiss", "hold finding", "reopen finding"])
steps = st.lists(
    st.tuples(
        verbs, st.sets(st.integers(0, 2), min_size=1), st.sampled_from(["Vera", "Ana", "Rea Reader"]), st.booleans()
    ),
    max_size=12,
)


@pytest.mark.slow
@settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=steps)
def test_no_sequence_of_reviews_loses_a_row(steps, tmp_path_factory):
    """Whatever is asked, in whatever order: rows stay as they were, one is live, and every earlier state can be told."""
    reviewed = Reviewed(tmp_path_factory.mktemp("record") / "record.sqlite")
    try:
        told = [(hours(-1), ["provisional"] * 3)]
        for number, (verb, places, by, pass_over) in enumerate(steps):
            before = reviewed.rows()
            events = Selection(events=[reviewed.events[place] for place in places])
            try:
                if verb in {"accept", "dismiss"} or verb.endswith("finding"):
                    reviewed.net.review.decide(
                        [reviewed.finding], verb.split()[0], by=by, reason="r", now_utc=hours(number)
                    )
                elif verb == "approve":
                    reviewed.net.review.approve(events, by=by, now_utc=hours(number), pass_over=pass_over)
                else:
                    getattr(reviewed.net.review, verb)(events, by=by, reason="r", now_utc=hours(number))
            except ReviewError:
                assert reviewed.rows() == before
            assert reviewed.rows()[: len(before)] == before
            told.append((hours(number), reviewed.states()))
        assert [reviewed.states(known_on=moment) for moment, _ in told] == [states for _, states in told]
        with reviewed.net.store.reading() as connection:
            live = connection.exec_driver_sql(
                "SELECT level_event_id, verdict_id, count(*) FROM review WHERE retired_at_utc IS NULL GROUP BY 1, 2"
            ).all()
        assert all(count == 1 for *_, count in live)
    finally:
        reviewed.close()


def test_findings_of_the_checks_carry_what_was_decided(reviewed):
    """The repeats of a new level disagree; the checks say so, and remember the decision when they run again."""
    event = reviewed.record.event("MW-1", "2024-09-12T09:40", [(WATER, 3.0), (WATER, 3.5)])
    found = reviewed.net.checks.record(by="Carl", now_utc=hours(1)).findings
    [number] = found.loc[(found["event_id"] == event) & (found["rule"] == "repeats disagree"), "finding_id"]
    assert set(found["decision"]) == {"open"}
    reviewed.net.review.decide([number], "accept", by="Vera", reason="Misread", now_utc=hours(2))
    again = reviewed.net.checks.record(by="Carl", now_utc=hours(3)).findings.set_index("finding_id")
    columns = ["decision", "decided_by", "decision_reason"]
    assert again.loc[number, columns].tolist() == ["accepted", "Vera", "Misread"]
    before = reviewed.net.checks(known_on=hours(1)).set_index("finding_id")
    assert before.loc[number, columns].tolist() == ["open", "", ""]
    unrecorded = reviewed.net.checks(known_on=RECORDED_ON)
    assert unrecorded.loc[unrecorded["rule"] == "repeats disagree", "finding_id"].isna().all()
    assert set(unrecorded.loc[unrecorded["rule"] == "repeats disagree", "decision"]) == {""}


def test_a_decision_in_words():
    row = {"decision": "dismissed", "decided_by": "Vera", "decision_reason": "it rained"}
    assert decision_text(row) == "dismissed by Vera: it rained"
    assert decision_text({**row, "decision": "open"}) == decision_text({}) == ""


def test_a_map_says_how_many_of_its_levels_are_approved(reviewed):
    control = pd.DataFrame(
        {
            "event_id": [*reviewed.events, None],
            "kind": ["well"] * 3 + ["stage"],
            "used": [True, True, False, True],
        }
    )
    with reviewed.net.store.reading() as connection:
        assert review_text(Snapshot(connection), control) == "Review: 0 of 2 levels approved, 2 provisional."
    reviewed.net.review.decide([reviewed.finding], "dismiss", by="Vera", reason="It rained", now_utc=hours(0))
    reviewed.net.review.approve(Selection(wells=["MW-1"]), by="Vera", now_utc=hours(1))
    with reviewed.net.store.reading() as connection:
        assert review_text(Snapshot(connection), control) == "Review: 1 of 2 levels approved, 1 provisional."
    reviewed.net.review.approve(Selection(wells=["MW-2"]), by="Vera", now_utc=hours(2))
    with reviewed.net.store.reading() as connection:
        assert review_text(Snapshot(connection), control) == "Review: 2 of 2 levels approved."
        assert review_text(Snapshot(connection, hours(1)), control) == "Review: 1 of 2 levels approved, 1 provisional."


def test_local_times_show_the_minute_or_the_date_alone():
    utc = pd.Series(pd.to_datetime(["2024-02-15 23:30", "2024-02-15 23:30", None], utc=True))
    texts = local_texts(utc, pd.Series([60, 60, 0]), pd.Series([True, False, True]))
    assert texts.tolist() == ["2024-02-16T00:30+01:00", "2024-02-16", ""]


def test_a_review_of_everything_is_refused(reviewed):
    with (
        reviewed.net.store.writing("approve", "Vera") as connection,
        pytest.raises(ReviewError, match="which levels to approve"),
    ):
        change_state(connection, Selection(), "approve", by="Vera", reason=None)
