"""Tapes whose readings rest on no check, or stepped against their neighbours: said wherever a result rests on them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

from gwnet.reporting.measures import day_of, joined
from gwnet.reporting.results.result import counted
from gwnet.reporting.rounds import Event
from gwnet.reporting.view import ReportView

_STEP_RULE: Final = "step with another tape"
_TAPE: Final = re.compile(r"With tape (?P<new>.+?) instead of (?P<old>.+?), (?P<rest>.+?): check both tapes")


def is_unchecked(view: ReportView, event: Event | Mapping[str, Any]) -> bool:
    """Return whether a level was read with a tape that had no check on record by then.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    event : mapping
        Row of the levels.
    """
    tape = str(event["instrument"] or "")
    if not tape or "tape" not in str(event["method"] or ""):
        return False
    checks = view.data.tape_checks
    days = checks.loc[checks["instrument"] == tape, "checked_on"]
    read = day_of(str(event["measured_at"]))
    return not any(str(day)[:10] <= read.isoformat() for day in days)


def tape_sentence(view: ReportView, events: Iterable[Event]) -> str:
    """Return what tapes without a check, or with a step, mean for a result that rests on some levels.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    events : iterable of Event
        Levels that the result rests on.

    Returns
    -------
    str
        Sentences; empty where every tape was checked and none stepped.
    """
    counts: dict[str, int] = {}
    used: set[str] = set()
    for event in events:
        tape = str(event["instrument"] or "")
        used.add(tape)
        if is_unchecked(view, event):
            counts[tape] = counts.get(tape, 0) + 1
    sentences = []
    for tape, number in sorted(counts.items()):
        verb = "was" if number == 1 else "were"
        sentences.append(
            f"{counted(number, 'level')} of these {verb} read with tape {tape}, which had no check on record."
        )
    stepped = [found for row in _steps(view) if (found := _TAPE.match(str(row["message"]))) and found["new"] in used]
    sentences += [
        f"With tape {found['new']} instead of {found['old']}, {view.measures.words(found['rest'], signed_only=False)}."
        for found in stepped
    ]
    return " ".join(sentences)


def tape_remarks(view: ReportView, now: Event, before: Event | None, year_ago: Event | None) -> list[str]:
    """Return which of the levels that changes rest on were read with a tape without a check.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    now, before, year_ago : Event or None
        The level, that of the round before, and that of a year before.

    Returns
    -------
    list of str
        A remark for each such tape; empty where every tape was checked.
    """
    read: dict[str, list[str]] = {}
    for when, event in (("now", now), ("last round", before), ("a year before", year_ago)):
        if event is not None and is_unchecked(view, event):
            read.setdefault(str(event["instrument"]), []).append(when)
    said = {tape: "read" if when == ["now"] else f"{joined(when)} read" for tape, when in read.items()}
    return [f"{words} with tape {tape}, which had no check on record" for tape, words in said.items()]


def unchecked_tapes(view: ReportView) -> str:
    """Return the tapes of the period that had no check on record, as a sentence; empty where there are none."""
    tapes = sorted(
        {
            str(event["instrument"])
            for gauging in view.in_period
            for event in gauging.events.to_dict("records")
            if is_unchecked(view, event)
        }
    )
    if not tapes:
        return ""
    return f"No check is on record of {'tape' if len(tapes) == 1 else 'tapes'} {joined(tapes)}."


def _steps(view: ReportView) -> list[dict[str, Any]]:
    """Return the findings of steps with another tape up to the end of the period."""
    rows = view.data.findings
    rows = rows[rows["rule"] == _STEP_RULE].to_dict("records")
    return [row for row in rows if str(row["measured_at"])[:10] <= view.period.last.isoformat()]
