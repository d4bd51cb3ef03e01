"""Tapes whose readings rest on no check, or stepped against their neighbours: said wherever a result rests on them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any, Final

from gwnet.analysis.levels.tape_doubts import STEPPED, UNCHECKED, TapeDoubt
from gwnet.reporting.measures import joined
from gwnet.reporting.results.result import counted
from gwnet.reporting.rounds import Event
from gwnet.reporting.view import ReportView

_STEP_RULE: Final = "step with another tape"
# Read from the sentence of the check: a finding keeps no other account of its two tapes.
_TAPE: Final = re.compile(r"With tape (?P<new>.+?) instead of (?P<old>.+?), (?P<rest>.+?): check both tapes")


def doubt_of(view: ReportView, event: Event | Mapping[str, Any] | None) -> TapeDoubt | None:
    """Return why the tape of a level is in doubt; None where it is not, or where there is no level.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    event : mapping or None
        Row of the levels.
    """
    return None if event is None else view.data.tape_doubts.get(int(event["event_id"]))


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
    counts = Counter(filter(None, (doubt_of(view, event) for event in events)))
    sentences = []
    for doubt, number in sorted(counts.items()):
        verb = "was" if number == 1 else "were"
        sentences.append(f"{counted(number, 'level')} of these {verb} read with {doubt}.")
    stepped = {doubt.instrument for doubt in counts if doubt.why == STEPPED}
    found = (_TAPE.match(str(row["message"])) for row in _steps(view))
    sentences += [
        # All lengths and not the signed ones alone: the size of a step has no sign, and would stay in metres.
        f"With tape {step['new']} instead of {step['old']}, {view.measures.words(step['rest'], signed_only=False)}."
        for step in found
        if step and step["new"] in stepped
    ]
    return " ".join(sentences)


def tape_note(view: ReportView, *events: Event | None) -> str:
    """Return what a number of a table that rests on readings with tapes in doubt says; empty where it does not.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    *events : Event or None
        Levels that the number rests on.
    """
    doubts = sorted({doubt for event in events if (doubt := doubt_of(view, event)) is not None})
    return f"Rests on a reading with {joined([str(doubt) for doubt in doubts])}." if doubts else ""


def unchecked_tapes(view: ReportView) -> str:
    """Return the tapes of the period that had no check on record, as a sentence; empty where there are none."""
    tapes = sorted(
        {
            doubt.instrument
            for gauging in view.in_period
            for event in gauging.events.to_dict("records")
            if (doubt := doubt_of(view, event)) is not None and doubt.why == UNCHECKED
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
