"""All checks of one site, and their findings as a frame.

Findings are worked out afresh from the live record and only then compared with the verdicts on file: same event (or
well and round), same rule and same severity is the same finding, and keeps its first sentence and its review. Rejected
and held levels are still checked, or the next run would retire the finding that the decision rests on; they only stop
serving as a reference for others.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable
from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.checks.events import SERIOUS, Events, Finding
from gwnet.analysis.checks.limits import limits_of, unknown_limit_message
from gwnet.analysis.checks.places import place_findings
from gwnet.analysis.checks.series import fit_of, series_findings
from gwnet.analysis.checks.steps import step_findings
from gwnet.analysis.checks.visits import visit_findings
from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.snapshot import Snapshot

#: Columns of the frame of findings: those that are printed, then what the store needs.
PRINTED: Final = ("site", "well", "measured_at", "round", "rule", "severity", "message")
FINDING_COLUMNS: Final = (*PRINTED, "limits", "event_id")

UNKNOWN_LIMIT: Final = "unknown limit"


def site_findings(connection: Connection, settings: pd.Series, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Run every check on the level events of one site.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    settings : pandas.Series
        The site's row of `gwnet.store.fetch.registry.sites`.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a finding: columns of `FINDING_COLUMNS`. ``limits`` is JSON; ``event_id`` is NaN for a finding of no
        single event.
    """
    limits, unknown = limits_of(settings)
    code = str(settings["site"])
    inputs = gather(Snapshot(connection, known_on, code))
    rounds = fetch_programme.rounds(connection, known_on, code)
    events = Events(inputs, reduce_levels(inputs), settings, limits, rounds)
    found = [
        Finding(UNKNOWN_LIMIT, SERIOUS, unknown_limit_message(name), {name: value}) for name, value in unknown.items()
    ]
    return as_frame(events, [*found, *all_findings(events)])


def all_findings(events: Events) -> list[Finding]:
    """Run every check on events.

    Parameters
    ----------
    events : Events
        Level events of one site.

    Returns
    -------
    list of Finding
        Every finding.
    """
    if not len(events):
        return []
    fit = fit_of(events)
    return [
        *visit_findings(events),
        *series_findings(events, fit),
        *place_findings(events, fit),
        *step_findings(events),
    ]


def as_frame(events: Events, found: Iterable[Finding]) -> pd.DataFrame:
    """Return findings as a frame.

    Parameters
    ----------
    events : Events
        Level events of one site.
    found : iterable of Finding
        Findings.

    Returns
    -------
    pandas.DataFrame
        As `site_findings`.
    """
    columns = {name: events.frame[name].to_numpy(dtype=object) for name in ("well", "measured_at", "round")}
    event_ids = events.frame["event_id"].to_numpy(dtype=np.float64)
    rows = []
    for one in found:
        single = one.row >= 0
        where = [columns[name][one.row] for name in columns] if single else [one.well, "", one.round]
        event = float(event_ids[one.row]) if single else np.nan
        limits = json.dumps(one.limits, sort_keys=True, ensure_ascii=False)
        rows.append((events.site, *where, one.rule, one.severity, one.message, limits, event))
    return pd.DataFrame(rows, columns=list(FINDING_COLUMNS)).astype({"event_id": "float64"})
