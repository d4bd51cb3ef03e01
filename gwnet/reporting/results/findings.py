"""Findings of the checks that concern a report: those of its period, and older ones that are still open."""

from __future__ import annotations

from typing import Any

import pandas as pd

from gwnet.analysis.levels.serving import OPEN_FINDING
from gwnet.analysis.review.decisions import decision_text
from gwnet.reporting.view import ReportView

_UNDECIDED = ("", "open")


def period_findings(view: ReportView) -> list[tuple[str, str, str]]:
    """Return well, time and message of each finding of the period: those of checks, then those of the reduction."""
    wells = set(view.wells["well"])
    noticed = [
        row
        for row in view.data.findings.to_dict("records")
        if row["well"] in wells and view.period.contains_time(row["measured_at"])
    ]
    found = [(str(row["well"]), str(row["measured_at"]), _with_decision(row)) for row in noticed]
    listed = {(str(row["well"]), str(row["measured_at"]), str(row["rule"])) for row in noticed}
    inside = view.levels[view.levels["day"].between(*map(pd.Timestamp, (view.period.first, view.period.last)))]
    for row in inside[inside["finding"] != ""].to_dict("records"):
        entries = ((str(row["well"]), str(row["measured_at"]), rule) for rule in str(row["finding"]).split("; "))
        found += [entry for entry in entries if entry not in listed and entry not in found]
    return sorted(found)


def _with_decision(row: dict[str, Any]) -> str:
    """Return what a check noticed, with what a reviewer decided about it."""
    decision = decision_text(row)
    return f"{row['message']} ({decision})" if decision else str(row["message"])


def open_findings_printed(view: ReportView) -> list[dict[str, Any]]:
    """Return the findings that touch anything printed and that nobody has decided about.

    Parameters as `gwnet.reporting`.

    Returns
    -------
    list of dict
        Rows of findings, serious ones first, then the newest first; of the period and older, since tables of levels to
        date, hydrographs, trends and the annex print every level up to the end of the period.
    """
    wells = {*view.wells["well"], ""}
    rounds = {gauging.code for gauging in view.in_period} - {""}
    last = view.period.last.isoformat()

    def is_printed(row: dict[str, Any]) -> bool:
        if row["measured_at"]:
            return str(row["measured_at"])[:10] <= last
        # Without time and round a finding is about the well or the site, which every report shows.
        return not row["round"] or row["round"] in rounds

    waiting = [
        row
        for row in view.data.findings.to_dict("records")
        if row["well"] in wells and is_printed(row) and str(row.get("decision") or "") in _UNDECIDED
    ]
    # Two stable sorts: serious ones first, the newest first among each.
    waiting.sort(key=lambda row: str(row["measured_at"]), reverse=True)
    return sorted(waiting, key=lambda row: row["severity"] != "serious")


def levels_held_back(view: ReportView) -> pd.DataFrame:
    """Return the levels to the end of the period that are left out because a serious finding is open of them.

    Parameters as `gwnet.reporting`.

    Returns
    -------
    pandas.DataFrame
        Rows of the levels, in the order of the record.
    """
    return view.levels[view.levels["unusable_reason"].astype(str).str.startswith(OPEN_FINDING)]
