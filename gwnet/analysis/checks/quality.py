"""Findings on the levels of a record: every check of every site.

Findings are worked out afresh from the live record and only then compared with the verdicts on file: same event (or
well and round), same rule and same severity is the same finding, and keeps its first sentence and its review. Rejected
and held levels are still checked, or the next run would retire the finding that the decision rests on; they only stop
serving as a reference for others.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.checks.check import SERIOUS, Finding
from gwnet.analysis.checks.events import Events
from gwnet.analysis.checks.limits import limits_of, unknown_limit_message
from gwnet.analysis.checks.pumping import find_in_tests
from gwnet.analysis.checks.rules import CHECKS, RULES
from gwnet.analysis.levels.reduce import reduction_of
from gwnet.store.save.verdicts import Stored, save_verdicts
from gwnet.store.snapshot import Snapshot

#: Columns of the frame of findings: those that are printed, then what the store needs.
PRINTED: Final = ("site", "well", "measured_at", "round", "rule", "severity", "message")
FINDING_COLUMNS: Final = (*PRINTED, "limits", "event_id")

UNKNOWN_LIMIT: Final = "unknown limit"

#: Name under which ``limits`` keeps the events of a finding that concerns several.
EVENT_IDS: Final = "event_ids"


def findings(record: Snapshot, round_code: str | None = None) -> pd.DataFrame:
    """Return what the checks notice in the levels on record.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    round_code : str, optional
        Only findings of this gauging round; its levels are compared with the whole record all the same.

    Returns
    -------
    pandas.DataFrame
        One row a finding, by site, well, time and rule: columns of `FINDING_COLUMNS`. ``limits`` is JSON; ``event_id``
        is NaN for a finding of no single event.
    """
    table = record.once("findings", lambda: _find_all(record, of_tests=True))
    return table if round_code is None else table[table["round"] == round_code].reset_index(drop=True)


def level_findings(record: Snapshot) -> pd.DataFrame:
    """Return what the checks notice in the levels on record, without those of pumping tests, which rest on levels.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.

    Returns
    -------
    pandas.DataFrame
        As `findings`.
    """
    return record.once("level findings", lambda: _find_all(record, of_tests=False))


def _find_all(record: Snapshot, *, of_tests: bool) -> pd.DataFrame:
    tables = [_site_findings(record.of_site(site), of_tests=of_tests) for site in record.sites["site"]]
    # Empty frames have no types of their own and would turn columns of numbers into objects.
    filled = [table for table in tables if len(table)]
    if not filled:
        return pd.DataFrame(columns=list(FINDING_COLUMNS)).astype({"event_id": "float64"})
    together = pd.concat(filled, ignore_index=True)
    return together.sort_values(["site", "well", "measured_at", "rule"], kind="stable", ignore_index=True)


def _site_findings(record: Snapshot, *, of_tests: bool) -> pd.DataFrame:
    events, of_levels = record.once("findings of levels", lambda: _of_levels(record))
    return tabulate(events, [*of_levels, *(find_in_tests(record, events) if of_tests else ())])


def _of_levels(record: Snapshot) -> tuple[Events, list[Finding]]:
    """Return the level events of a site and what the checks notice in them."""
    limits, unknown = limits_of(record.settings)
    events = Events(*reduction_of(record), record.settings, limits, record.rounds)
    of_limits = [
        Finding(unknown_limit_message(name), {name: value}, rule=UNKNOWN_LIMIT, severity=SERIOUS)
        for name, value in unknown.items()
    ]
    return events, [*of_limits, *run_checks(events)]


def run_checks(events: Events) -> list[Finding]:
    """Run every check on the level events of one site.

    Parameters as `gwnet.analysis.checks`.

    Returns
    -------
    list of Finding
        Every finding.
    """
    return [finding for check in CHECKS for finding in check.run(events)]


def tabulate(events: Events, noticed: Iterable[Finding]) -> pd.DataFrame:
    """Return findings as a frame.

    Parameters
    ----------
    events : gwnet.analysis.checks.events.Events
        Level events of one site.
    noticed : iterable of Finding
        Findings.

    Returns
    -------
    pandas.DataFrame
        As `findings`, in the order given.
    """
    columns = {name: events.frame[name].to_numpy(dtype=object) for name in ("well", "measured_at", "round")}
    # Float, as findings of rounds and wells have no event.
    event_ids = events.frame["event_id"].to_numpy(dtype=np.float64)
    rows = []
    for finding in noticed:
        is_of_event = finding.row >= 0
        where = [column[finding.row] if is_of_event else getattr(finding, name) for name, column in columns.items()]
        event = float(event_ids[finding.row]) if is_of_event else np.nan
        values = dict(finding.limits)
        # Of a finding on several levels each must be found again when it is reviewed.
        if len(finding.rows) > 1:
            values |= {"levels": len(finding.rows), EVENT_IDS: event_ids[list(finding.rows)].astype(int).tolist()}
        # Sorted keys: the same finding must have the same text, or it would be recorded anew.
        limits = json.dumps(values, sort_keys=True, ensure_ascii=False)
        rows.append((events.site, *where, finding.rule, finding.severity, finding.message, limits, event))
    return pd.DataFrame(rows, columns=list(FINDING_COLUMNS)).astype({"event_id": "float64"})


def record_findings(record: Snapshot, noticed: pd.DataFrame, *, round_code: str | None = None, by: str) -> Stored:
    """Record findings as verdicts, and retire those that no longer hold.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The live record, in a writing unit of work in which the findings were worked out.
    noticed : pandas.DataFrame
        Findings, as `findings` returns them.
    round_code : str, optional
        Round that was checked.
    by : str
        Who ran the checks.

    Returns
    -------
    gwnet.store.save.verdicts.Stored
        How many were added, on record already, and retired.
    """
    return save_verdicts(record.connection, noticed, RULES, site=record.site, round_code=round_code, by=by)
