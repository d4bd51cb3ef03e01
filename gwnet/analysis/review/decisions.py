"""What was decided about findings, beside the findings themselves."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from gwnet.store.fetch.reviews import OPEN, findings_with_decisions
from gwnet.store.snapshot import Snapshot

#: Columns that `join_decisions` adds.
DECISION_COLUMNS: Final = ("finding_id", "decision", "decided_by", "decision_reason", "decided_together")

#: What one act of deciding has in common.
_ONE_ACT: Final = ["decided_by", "decided_at_utc", "decision_reason"]


def fetch_decisions(record: Snapshot) -> pd.DataFrame:
    """Return the findings on record, each with what was decided about it.

    Parameters as `gwnet.analysis.review`.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.store.fetch.reviews.findings_with_decisions`; fetched once.
    """
    return record.once("decisions", lambda: findings_with_decisions(record.connection, record.known_on, record.site))


def join_decisions(record: Snapshot, findings: pd.DataFrame) -> pd.DataFrame:
    """Return findings with what was decided about them.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    findings : pandas.DataFrame
        Rows of `gwnet.analysis.checks.quality.findings`.

    Returns
    -------
    pandas.DataFrame
        The findings, with their number (missing for one that is not on record), how many were decided by the same act
        with one reason, the decision (open, accepted, dismissed, on hold; empty for one that is not on record), who
        decided, and why.
    """
    decided = fetch_decisions(record)
    # Decided by one person, at one moment, with one reason: one act over several findings.
    # Findings without a decision are in no group, and get NaN.
    together = decided.groupby(_ONE_ACT)["finding_id"].transform("size").fillna(0)
    by_key = {_key(row): row for row in decided.assign(decided_together=together).to_dict("records")}
    rows = [by_key.get(_key(row), {}) for row in findings.to_dict("records")]
    return findings.assign(
        finding_id=pd.array([row.get("finding_id") for row in rows], dtype="Int64"),
        **{name: [str(row.get(name, "")) for row in rows] for name in DECISION_COLUMNS[1:4]},
        decided_together=[int(row.get("decided_together", 0)) for row in rows],
    )


def _key(row: dict[str, Any]) -> tuple[Any, ...]:
    """Return what makes a finding the same as one on record: its event, or else well and round, and its rule."""
    # A finding of a level is found again by its event; one of a well or round has none.
    if pd.notna(row["event_id"]):
        return (int(row["event_id"]), row["rule"])
    return (row["site"], row["well"], row["round"], row["rule"])


def decision_text(row: dict[str, Any]) -> str:
    """Return what was decided about a finding, in words.

    Parameters
    ----------
    row : dict
        Row of `join_decisions`.

    Returns
    -------
    str
        For example ``dismissed by V. Iewer: it rained``, with how many the remark is for where it is for several; empty
        for one that is open.
    """
    decision = str(row.get("decision") or "")
    if decision in {"", OPEN}:
        return ""
    others = int(row.get("decided_together") or 0)
    blanket = f"; one remark for {others} findings" if others > 1 else ""
    return f"{decision} by {row['decided_by']}: {row['decision_reason']}{blanket}"
