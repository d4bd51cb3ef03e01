"""What waits for a reviewer: levels that nobody has approved or rejected, and findings that nobody has decided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import pandas as pd

from gwnet.analysis.levels.table import levels
from gwnet.analysis.review.decide import PROVISIONAL, SERIOUS, SETTLED, local_texts
from gwnet.analysis.review.decisions import fetch_decisions
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

#: Columns of the frames of a `ReviewQueue`.
ROUND_COLUMNS: Final = tuple(
    "site round first_measured levels approved rejected on_hold provisional open_findings serious".split()
)
LEVEL_COLUMNS: Final = tuple(
    (
        "event_id site well measured_at round status bound depth_to_water_m water_elevation_m uncertainty_m quality "
        "review open_findings"
    ).split()
)
FINDING_COLUMNS: Final = tuple("finding_id site well measured_at round event_id rule severity message decision".split())

#: States of levels that wait.
WAITING: Final = (PROVISIONAL, "on hold")


@dataclass(frozen=True)
class ReviewQueue:
    """What waits.

    Attributes
    ----------
    rounds : pandas.DataFrame
        One row a round in which something waits, columns of `ROUND_COLUMNS`; levels of no round are under ''.
    levels : pandas.DataFrame
        Levels that are provisional or on hold, and others with an open serious finding; columns of `LEVEL_COLUMNS`.
    findings : pandas.DataFrame
        Findings that are open or on hold, columns of `FINDING_COLUMNS`.
    """

    rounds: pd.DataFrame
    levels: pd.DataFrame
    findings: pd.DataFrame


def review_queue(record: Snapshot, selection: Selection) -> ReviewQueue:
    """Return what waits for a reviewer.

    Parameters as `gwnet.analysis.review`.

    Returns
    -------
    ReviewQueue
        Rounds, levels and findings that wait.
    """
    table = levels(record, selection)
    findings = _undecided(record, selection, table)
    of_event = findings[findings["event_id"].notna()]
    table = table.assign(open_findings=_describe_findings(table, of_event))
    serious = table["event_id"].isin(of_event.loc[of_event["severity"] == SERIOUS, "event_id"])
    # Approved before a check found something: it waits once more.
    waits = table["review"].isin(WAITING) | ((table["review"] == "approved") & serious)
    return ReviewQueue(
        rounds=_rounds(table, findings),
        levels=table.loc[waits, list(LEVEL_COLUMNS)].reset_index(drop=True),
        findings=findings[list(FINDING_COLUMNS)].reset_index(drop=True),
    )


def _undecided(record: Snapshot, selection: Selection, table: pd.DataFrame) -> pd.DataFrame:
    """Return the findings that wait: those of the levels chosen, and those of no level but of the wells or round."""
    findings = fetch_decisions(record)
    findings = findings[~findings["decision"].isin(SETTLED)]
    if not selection.is_everything:
        of_level = findings["event_id"].isin(table["event_id"])
        # Named events ask for nothing beyond them.
        of_none = findings["event_id"].isna() & pd.Series(not selection.events, index=findings.index)
        if selection.round is not None:
            of_none &= findings["round"] == selection.round
        if selection.wells:
            of_none &= findings["well"].isin(list(selection.wells))
        if selection.start is not None or selection.end is not None:
            # A finding of no level has no moment that could lie within a span.
            of_none &= False
        findings = findings[of_level | of_none]
    texts = local_texts(findings["measured_at_utc"], findings["local_offset_minutes"], findings["time_known"])
    findings = findings.assign(measured_at=texts)
    return findings.astype({"event_id": "Int64"}).reset_index(drop=True)


def _describe_findings(table: pd.DataFrame, findings: pd.DataFrame) -> list[str]:
    phrases: dict[int, list[str]] = {}
    for finding in findings.itertuples():
        phrases.setdefault(int(finding.event_id), []).append(
            f"{finding.finding_id} {finding.rule} ({finding.severity})"
        )
    return ["; ".join(phrases.get(int(number), ())) for number in table["event_id"]]


def _rounds(table: pd.DataFrame, findings: pd.DataFrame) -> pd.DataFrame:
    """Count the levels of each round by state, and its findings that wait."""
    rows: dict[tuple[str, str], dict[str, object]] = {}
    for key, own in table.groupby(["site", "round"]):
        states = own["review"].value_counts()
        rows[key] = {
            "first_measured": f"{own['day'].min():%Y-%m-%d}",
            "levels": len(own),
            **{state.replace(" ", "_"): int(states.get(state, 0)) for state in ("approved", "rejected", *WAITING)},
        }
    for key, own in findings.groupby(["site", "round"]):
        # A round whose levels were all decided may still have a finding of its own.
        rows.setdefault(key, {"first_measured": "", "levels": 0, "approved": 0, "rejected": 0, "on_hold": 0})
        rows[key] |= {"open_findings": len(own), "serious": int((own["severity"] == SERIOUS).sum())}
    counts = ("provisional", "open_findings", "serious")
    waiting = [
        {"site": site, "round": round_code, **dict.fromkeys(counts, 0), **row}
        for (site, round_code), row in rows.items()
        if any(row.get(name, 0) for name in ("on_hold", *counts))
    ]
    waiting.sort(key=lambda row: (row["site"], row["first_measured"], row["round"]))
    return pd.DataFrame(waiting, columns=list(ROUND_COLUMNS))
