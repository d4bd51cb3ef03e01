"""Serious findings that nobody has dismissed: the levels that they doubt serve no result until somebody does.

Findings are worked out from the record as it is, whether or not anybody ran the checks and recorded them; decisions are
those on record. One that was accepted is true, and keeps its level out unless a reviewer approved the level after all.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, Final, NamedTuple
from weakref import WeakKeyDictionary

import pandas as pd
from sqlalchemy import Engine

from gwnet.analysis.checks.check import SERIOUS
from gwnet.analysis.checks.quality import EVENT_IDS, level_findings
from gwnet.analysis.checks.rules import DOUBTING_RULES
from gwnet.analysis.checks.steps import WITH_TAPE
from gwnet.analysis.levels.reduce import reduction_of
from gwnet.analysis.levels.stepped_tapes import SteppedTape, find_stepped_tape
from gwnet.analysis.review.decisions import join_decisions
from gwnet.store.snapshot import Snapshot


class _Doubts(NamedTuple):
    """What open findings do to levels: those kept out, with the rule, and tapes whose levels are less certain."""

    held: dict[int, str]
    stepped: tuple[SteppedTape, ...]


#: Open findings by database, and there by state of the record and site.
_KEPT: Final[WeakKeyDictionary[Engine, dict[tuple[int, str | None], _Doubts]]] = WeakKeyDictionary()
_MOST_KEPT: Final = 8

_DISMISSED = "dismissed"
_ACCEPTED = "accepted"


def open_findings(record: Snapshot) -> dict[int, str]:
    """Return the serious finding that keeps each level out, by event.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site or of all.

    Returns
    -------
    dict of int to str
        Rule of the finding; of several the first by name.
    """
    return _doubts(record).held


def stepped_tapes(record: Snapshot) -> tuple[SteppedTape, ...]:
    """Return the tapes whose readings stepped against wells that kept theirs, where nobody has dismissed that.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site or of all.
    """
    return _doubts(record).stepped


def _doubts(record: Snapshot) -> _Doubts:
    return record.once("open findings", lambda: _kept_or_found(record))


def _kept_or_found(record: Snapshot) -> _Doubts:
    """Return the open findings of a state of the record, which this process works out once."""
    state = record.state
    if state is None:
        return _Doubts({}, ())
    if record.connection.get_execution_options().get("gwnet_writing"):
        return _open_findings(record)  # what it has written is of no state yet
    kept = _KEPT.setdefault(record.connection.engine, {})
    key = (state.serial, record.site)
    if key not in kept:
        # of the newest states alone: a notebook asks again and again of one
        for old in list(kept)[: max(len(kept) - _MOST_KEPT + 1, 0)]:
            del kept[old]
        kept[key] = _open_findings(record)
    return kept[key]


def _open_findings(record: Snapshot) -> _Doubts:
    noticed = level_findings(record)
    is_doubt = (noticed["severity"] == SERIOUS) & noticed["rule"].isin(DOUBTING_RULES)
    noticed = noticed[is_doubt | (noticed["rule"] == WITH_TAPE)]
    if noticed.empty:
        return _Doubts({}, ())
    approved = set(record.reviews.loc[record.reviews["state"] == "approved", "event_id"].astype(int))
    held: dict[int, str] = {}
    stepped: list[SteppedTape] = []
    # Sorted, since of several findings of a level the first by name gives the reason, on every run.
    for row in join_decisions(record, noticed).sort_values("rule", kind="stable").to_dict("records"):
        if row["decision"] == _DISMISSED:
            continue
        if row["rule"] == WITH_TAPE:
            inputs, _ = reduction_of(record.of_site(row["site"]))
            tape = find_stepped_tape(inputs, int(row["event_id"]))
            stepped += [] if tape is None else [tape]
            continue
        for event in events_of_finding(row):
            # Accepted means that the finding is true; an approval after all says that the level is fit for use.
            if row["decision"] != _ACCEPTED or event not in approved:
                held.setdefault(event, str(row["rule"]))
    return _Doubts(held, tuple(stepped))


def events_of_finding(finding: dict[str, Any]) -> Iterator[int]:
    """Yield the level events that a finding concerns.

    Parameters
    ----------
    finding : dict
        Row of `gwnet.analysis.checks.quality.findings`.

    Yields
    ------
    int
        Number of a level event.
    """
    several = json.loads(finding["limits"] or "{}").get(EVENT_IDS, [])
    if several:
        yield from (int(event) for event in several)
    elif pd.notna(finding["event_id"]):
        yield int(finding["event_id"])
