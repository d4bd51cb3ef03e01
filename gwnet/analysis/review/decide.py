"""Review: what waits for a decision, and the rules by which levels and findings change their state.

A level is provisional until somebody approves it, rejects it or puts it on hold; from there only reopening, with a
reason, makes it provisional again. A finding is open until somebody accepts it (it is right) or dismisses it (the level
is sound); a level with an open serious finding cannot be approved. Whoever read or recorded a level cannot approve it
unless the site allows that.

Review belongs to the level event, so that a correction does not lose it, and every change of mind has a reason. Names
of who read, recorded and approves are compared without case. Approval does not freeze the elevation: a survey may still
move it, and the effect is listed with the state of the review.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.levels.inputs import events_of, local_times
from gwnet.analysis.levels.table import select_rows
from gwnet.analysis.review.decisions import fetch_decisions
from gwnet.errors import NotFoundError, ReviewError
from gwnet.records import Selection
from gwnet.store.fetch.reviews import OPEN, lock_events
from gwnet.store.save.reviews import save_decisions, save_event_reviews
from gwnet.store.snapshot import Snapshot

PROVISIONAL: Final = "provisional"

#: What each verb makes of a level, and of a finding.
LEVEL_STATES: Final = {"approve": "approved", "reject": "rejected", "hold": "on hold", "reopen": PROVISIONAL}
DECISIONS: Final = {"accept": "accepted", "dismiss": "dismissed", "hold": "on hold", "reopen": OPEN}

#: Decisions that settle a finding; the others leave it undecided.
SETTLED: Final = ("accepted", "dismissed")

SERIOUS: Final = "serious"

#: Columns of the frames of a `Changed`.
CHANGED_COLUMNS: Final = ("event_id", "site", "well", "measured_at", "was", "now")
PASSED_COLUMNS: Final = ("event_id", "site", "well", "measured_at", "review", "why")

#: Most places that a message names.
_MOST_NAMED: Final = 8


@dataclass(frozen=True)
class Changed:
    """What a review changed.

    Attributes
    ----------
    state : str
        New state.
    changed : pandas.DataFrame
        Levels or findings that changed it.
    unchanged : int
        How many were in that state already.
    passed_over : pandas.DataFrame
        Levels that the verb does not reach, with the reason; columns of `PASSED_COLUMNS`.
    """

    state: str
    changed: pd.DataFrame
    unchanged: int
    passed_over: pd.DataFrame


def fetch_reviewed(record: Snapshot, selection: Selection) -> pd.DataFrame:
    """Return level events with their review state and who recorded and read them.

    Parameters as `gwnet.analysis.review`.

    Returns
    -------
    pandas.DataFrame
        One row an event: event_id, site, well, measured_at (local, ISO 8601), round, recorded_by, observer, review.

    Raises
    ------
    NotFoundError
        If an event that is named is not on record.
    """
    # Without the numbers of events first, so that those that are not among the levels chosen can be named.
    records = events_of(record, replace(selection, events=None))
    texts = local_texts(records["measured_at_utc"], records["local_offset_minutes"], records["time_known"])
    day = local_times(records).astype("datetime64[D]").astype("datetime64[us]")
    records = select_rows(records.assign(measured_at=texts, day=day), selection)
    missing = sorted(set(selection.events or ()) - set(records["event_id"].tolist()))
    if missing:
        message = f"There is no level event {', '.join(map(str, missing[:_MOST_NAMED]))} among the levels chosen."
        raise NotFoundError(message, fix="'gwnet review --what levels' lists the numbers.")
    states = record.reviews.set_index("event_id")["state"]
    review = records["event_id"].map(states).astype(object).fillna(PROVISIONAL)
    kept = ["event_id", "site", "well", "measured_at", "round", "recorded_by", "observer"]
    return records[kept].assign(review=review)


def local_texts(utc: pd.Series, offset_minutes: pd.Series, time_known: pd.Series) -> pd.Series:
    """Return instants as local times to the minute, or as the date alone where the time of day is not known.

    Parameters
    ----------
    utc : pandas.Series of datetime64
        Instants; NaT gives the empty text.
    offset_minutes : pandas.Series
        Offsets of local time from UTC.
    time_known : pandas.Series of bool
        Whether the time of day is known.

    Returns
    -------
    pandas.Series of str
        ISO 8601 with offset.
    """
    texts = []
    for moment, minutes, known in zip(utc, offset_minutes, time_known, strict=True):
        if pd.isna(moment):
            texts.append("")
            continue
        local = moment.tz_convert(dt.timezone(dt.timedelta(minutes=int(minutes))))
        texts.append(local.isoformat(timespec="minutes") if known else local.strftime("%Y-%m-%d"))
    return pd.Series(texts, index=utc.index, dtype=object)


def change_state(
    connection: Connection,
    selection: Selection,
    verb: str,
    *,
    by: str,
    reason: str | None,
    pass_over: bool = False,
) -> Changed:
    """Approve, reject, hold or reopen levels: all that were chosen, or none.

    Parameters as `gwnet.analysis.review`.

    Parameters
    ----------
    verb : {"approve", "reject", "hold", "reopen"}
        What to do. The first three reach provisional levels only, ``reopen`` all others.
    pass_over : bool, optional
        Whether levels that cannot be approved are passed over, rather than stop the approval of all.

    Returns
    -------
    Changed
        What changed.

    Raises
    ------
    ReviewError
        If nothing was chosen, a reason is missing, or some of the levels cannot be approved.
    NotFoundError
        If no level matches.
    """
    state = LEVEL_STATES[verb]
    reason = _reason(reason, by, needed=verb != "approve", verb=verb)
    # An approval of everything is asked for by mistake more often than on purpose.
    if selection.is_everything:
        message = f"It is not said which levels to {verb}."
        raise ReviewError(message, fix="Give --round, --well, --from and --to, --event or --site.")
    lock_events(connection, fetch_reviewed(Snapshot(connection), selection)["event_id"].tolist())
    # another unit of work may have reviewed them before they were locked
    record = Snapshot(connection)
    events = fetch_reviewed(record, selection)
    if events.empty:
        raise NotFoundError("No level on record matches.", fix="'gwnet levels' with the same options lists them.")
    there = events["review"] == state
    # From provisional only, or back to it: from approved to rejected somebody has to reopen it, with a reason.
    reached = (events["review"] != PROVISIONAL) if verb == "reopen" else (events["review"] == PROVISIONAL)
    passed = [_passed(events[~reached & ~there], "reopen it first")]
    if verb == "approve":
        blocked = _blocked(record, events[reached], by)
        if len(blocked) and not pass_over:
            raise _not_approvable(blocked)
        passed.append(blocked)
        reached &= ~events["event_id"].isin(blocked["event_id"])
    moved = events[reached]
    save_event_reviews(connection, moved["event_id"].tolist(), state, by=by, reason=reason)
    changed = moved.rename(columns={"review": "was"}).assign(now=state)
    # Without empty frames, which pandas will count for the types of columns otherwise; one is kept for its columns.
    passed_over = pd.concat([part for part in passed if len(part)] or passed[:1], ignore_index=True)
    return Changed(state, changed[list(CHANGED_COLUMNS)].reset_index(drop=True), int(there.sum()), passed_over)


def _reason(reason: str | None, by: str, *, needed: bool, verb: str) -> str | None:
    """Return the reason, or None for none; refuse a missing one and a nameless reviewer."""
    if not by.strip():
        raise ReviewError("It is not said who reviews.", fix="Give a name with --by.")
    text = (reason or "").strip()
    if needed and not text:
        message = f"To {verb} needs a reason."
        raise ReviewError(message, fix="Give it with --reason TEXT.")
    return text or None


def _passed(events: pd.DataFrame, why: str) -> pd.DataFrame:
    return events.assign(why=why)[list(PASSED_COLUMNS)]


def _blocked(record: Snapshot, events: pd.DataFrame, by: str) -> pd.DataFrame:
    """Return the levels that cannot be approved, and why."""
    findings = fetch_decisions(record)
    # A finding on hold is no decision either.
    undecided = findings[(findings["severity"] == SERIOUS) & ~findings["decision"].isin(SETTLED)]
    phrases: dict[int, list[str]] = {}
    for finding in undecided[undecided["event_id"].notna()].itertuples():
        phrase = f"finding {finding.finding_id} is {finding.decision}: {finding.rule}"
        phrases.setdefault(int(finding.event_id), []).append(phrase)
    strict = {str(site.site) for site in record.all_sites.itertuples() if not site.self_review}
    rows = []
    for event in events.itertuples():
        why = list(phrases.get(int(event.event_id), ()))
        if event.site in strict:
            why += _own_work(by, str(event.recorded_by), str(event.observer))
        if why:
            rows.append((event.event_id, event.site, event.well, event.measured_at, event.review, "; ".join(why)))
    return pd.DataFrame(rows, columns=list(PASSED_COLUMNS))


def _own_work(by: str, recorded_by: str, observer: str) -> list[str]:
    """Return why a person cannot approve a level: it is the person's own."""
    name = _folded(by)
    done = [word for word, other in (("recorded", recorded_by), ("read", observer)) if _folded(other) == name]
    return [f"{by} {' and '.join(done)} it"] if done else []


def _folded(name: str) -> str:
    # Case and spaces are how one person writes a name on several days.
    return " ".join(name.split()).casefold()


def _not_approvable(blocked: pd.DataFrame) -> ReviewError:
    named = [f"{row.site} {row.well} {row.measured_at} ({row.why})" for row in blocked.head(_MOST_NAMED).itertuples()]
    more = f" and {len(blocked) - _MOST_NAMED} more" if len(blocked) > _MOST_NAMED else ""
    many = "1 level cannot" if len(blocked) == 1 else f"{len(blocked)} levels cannot"
    message = f"{many} be approved, so none was: {'; '.join(named)}{more}."
    fix = (
        "Decide the findings (gwnet review accept or dismiss), let somebody else approve, "
        "or leave those levels out with --pass-over. A site allows it with self_review = yes."
    )
    return ReviewError(message, fix=fix)


def decide(
    connection: Connection,
    finding_ids: Iterable[int],
    verb: str,
    *,
    by: str,
    reason: str | None,
    together: bool = False,
) -> Changed:
    """Accept, dismiss, hold or reopen findings: all that are named, or none.

    Parameters as `gwnet.analysis.review`.

    Parameters
    ----------
    finding_ids : iterable of int
        Numbers of findings.
    verb : {"accept", "dismiss", "hold", "reopen"}
        What to do. An accepted or dismissed finding changes only by reopening.
    together : bool, optional
        Whether one reason may settle several findings; reports say that it did.

    Returns
    -------
    Changed
        What changed: finding_id, site, well, rule, was, now.

    Raises
    ------
    ReviewError
        If a reason is missing, no finding is named, one is decided already, or several would be settled by one reason
        and it is not said that this is meant.
    NotFoundError
        If there is no such finding on record.
    """
    decision = DECISIONS[verb]
    reason = _reason(reason, by, needed=True, verb=verb)
    # Each once, as a number may be given by two selections.
    wanted = list(dict.fromkeys(int(number) for number in finding_ids))
    if not wanted:
        raise ReviewError("No finding is named.", fix="Give their numbers; 'gwnet review --what findings' lists them.")
    known = fetch_decisions(Snapshot(connection))
    events = known.loc[known["finding_id"].isin(wanted) & known["event_id"].notna(), "event_id"]
    lock_events(connection, [int(number) for number in events])
    # another unit of work may have decided about them before they were locked
    named = fetch_decisions(Snapshot(connection))
    named = named[named["finding_id"].isin(wanted)]
    missing = [number for number in wanted if number not in set(named["finding_id"])]
    if missing:
        message = f"There is no finding {', '.join(map(str, missing))} on record."
        raise NotFoundError(message, fix="'gwnet review --what findings' lists those that are.")
    there = named["decision"] == decision
    settled = named[named["decision"].isin(SETTLED) & ~there]
    if len(settled) and verb != "reopen":
        listed = ", ".join(f"{row.finding_id} ({row.decision} by {row.decided_by})" for row in settled.itertuples())
        message = f"Decided already: finding {listed}."
        raise ReviewError(message, fix="Reopen it first: gwnet review reopen FINDING --reason TEXT.")
    # Those that already are what is wanted stay as they are, with their first reason.
    moved = named[~there]
    if len(moved) > 1 and decision in SETTLED and not together:
        message = f"One reason would settle {len(moved)} findings."
        raise ReviewError(
            message, fix="Decide about each with a reason of its own, or say that it is meant: --together."
        )
    save_decisions(connection, moved["finding_id"].tolist(), decision, by=by, reason=reason)
    changed = moved.rename(columns={"decision": "was"}).assign(now=decision)
    columns = ["finding_id", "site", "well", "rule", "was", "now"]
    nothing = pd.DataFrame(columns=list(PASSED_COLUMNS))
    return Changed(decision, changed[columns].reset_index(drop=True), int(there.sum()), nothing)
