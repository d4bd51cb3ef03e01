"""What waits for a reviewer: levels that nobody has approved or rejected, and findings that nobody has decided."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.levels.table import levels
from gwnet.analysis.review.decide import PROVISIONAL, SERIOUS, SETTLED, local_texts
from gwnet.records import Selection
from gwnet.store.fetch.reviews import findings_with_decisions
from gwnet.store.snapshot import Snapshot

#: Columns of the frames of a `ReviewQueue`.
ROUND_COLUMNS: Final = (
    "site",
    "round",
    "first_measured",
    "levels",
    "approved",
    "rejected",
    "on_hold",
    "provisional",
    "open_findings",
    "serious",
)
LEVEL_COLUMNS: Final = (
    "event_id",
    "site",
    "well",
    "measured_at",
    "round",
    "status",
    "bound",
    "depth_to_water_m",
    "water_elevation_m",
    "uncertainty_m",
    "quality",
    "review",
    "open_findings",
)
FINDING_COLUMNS: Final = (
    "finding_id",
    "site",
    "well",
    "measured_at",
    "round",
    "event_id",
    "rule",
    "severity",
    "message",
    "decision",
)

#: States of levels that wait.
WAITING: Final = (PROVISIONAL, "on hold")


@dataclass(frozen=True)
class ReviewQueue:
    """What waits.

    Attributes
    ----------
    rounds : pandas.DataFrame
        One row a round in which something waits, columns of `ROUND_COLUMNS`; levels of no round stand under ''.
    levels : pandas.DataFrame
        Levels that are provisional or on hold, and others with an open serious finding; columns of `LEVEL_COLUMNS`.
    findings : pandas.DataFrame
        Findings that are open or on hold, columns of `FINDING_COLUMNS`.
    """

    rounds: pd.DataFrame
    levels: pd.DataFrame
    findings: pd.DataFrame


def review_queue(connection: Connection, chosen: Selection, known_on: dt.datetime | None = None) -> ReviewQueue:
    """Return what waits for a reviewer.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    chosen : gwnet.records.Selection
        Which levels.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    ReviewQueue
        Rounds, levels and findings that wait.
    """
    table = levels(Snapshot(connection, known_on), chosen).copy()
    findings = _undecided(connection, chosen, table, known_on)
    of_event = findings[findings["event_id"].notna()]
    table["open_findings"] = _told(table, of_event)
    serious = table["event_id"].isin(of_event.loc[of_event["severity"] == SERIOUS, "event_id"])
    waits = table["review"].isin(WAITING) | ((table["review"] == "approved") & serious)
    return ReviewQueue(
        rounds=_rounds(table, findings),
        levels=table.loc[waits, list(LEVEL_COLUMNS)].reset_index(drop=True),
        findings=findings[list(FINDING_COLUMNS)].reset_index(drop=True),
    )


def _undecided(
    connection: Connection, chosen: Selection, table: pd.DataFrame, known_on: dt.datetime | None
) -> pd.DataFrame:
    """Return the findings that wait: those of the levels chosen, and those of no level but of the wells or round."""
    found = findings_with_decisions(connection, known_on, chosen.site)
    found = found[~found["decision"].isin(SETTLED)]
    if not chosen.is_everything:
        of_level = found["event_id"].isin(table["event_id"])
        of_none = found["event_id"].isna() & pd.Series(not chosen.events, index=found.index)
        if chosen.round is not None:
            of_none &= found["round"] == chosen.round
        if chosen.wells:
            of_none &= found["well"].isin(list(chosen.wells))
        if chosen.start is not None or chosen.end is not None:
            of_none &= False
        found = found[of_level | of_none]
    texts = local_texts(found["measured_at_utc"], found["local_offset_minutes"], found["time_known"])
    found = found.assign(measured_at=texts)
    return found.astype({"event_id": "Int64"}).reset_index(drop=True)


def _told(table: pd.DataFrame, findings: pd.DataFrame) -> list[str]:
    told: dict[int, list[str]] = {}
    for finding in findings.itertuples():
        told.setdefault(int(finding.event_id), []).append(f"{finding.finding_id} {finding.rule} ({finding.severity})")
    return ["; ".join(told.get(int(number), ())) for number in table["event_id"]]


def _rounds(table: pd.DataFrame, findings: pd.DataFrame) -> pd.DataFrame:
    """Count the levels of each round by state, and its findings that wait."""
    rows: dict[tuple[str, str], dict[str, object]] = {}
    for key, own in table.groupby(["site", "round"]):
        states = own["review"].value_counts()
        rows[key] = {
            "first_measured": own["measured_at"].min()[:10],
            "levels": len(own),
            **{state.replace(" ", "_"): int(states.get(state, 0)) for state in ("approved", "rejected", *WAITING)},
        }
    for key, own in findings.groupby(["site", "round"]):
        rows.setdefault(key, {"first_measured": "", "levels": 0, "approved": 0, "rejected": 0, "on_hold": 0})
        rows[key] |= {"open_findings": len(own), "serious": int((own["severity"] == SERIOUS).sum())}
    counts = ("provisional", "open_findings", "serious")
    made = [
        {"site": site, "round": round_code, **dict.fromkeys(counts, 0), **row}
        for (site, round_code), row in rows.items()
        if any(row.get(name, 0) for name in ("on_hold", *counts))
    ]
    made.sort(key=lambda row: (row["site"], row["first_measured"], row["round"]))
    return pd.DataFrame(made, columns=list(ROUND_COLUMNS))
