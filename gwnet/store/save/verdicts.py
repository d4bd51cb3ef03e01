"""Recording what checks noticed: new findings are added, those that no longer hold are retired, none is deleted."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection, select, text

from gwnet.store.fetch.reviews import live_findings
from gwnet.store.models.rounds import GaugingRound
from gwnet.store.models.sites import Site
from gwnet.store.models.wells import Well
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire

#: Why a verdict is retired that a check does not give any more.
NO_LONGER_FOUND: Final = "no longer found"

#: Why a verdict is recorded.
FOUND: Final = "found by gwnet check"

_KEYS: Final = ["event_id", "site", "well", "round", "rule"]


@dataclass(frozen=True)
class Stored:
    """What became of the findings of one run.

    Attributes
    ----------
    added : int
        Verdicts recorded.
    kept : int
        Findings that were on record already.
    retired : int
        Verdicts that no longer hold.
    """

    added: int
    kept: int
    retired: int


def save_verdicts(
    connection: Connection,
    findings: pd.DataFrame,
    rules: Collection[str],
    *,
    site: str | None = None,
    round_code: str | None = None,
    by: str,
) -> Stored:
    """Record findings as verdicts.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    findings : pandas.DataFrame
        One row a finding: site, well, round, event_id (NaN where it is of no single event), rule, severity, limits
        (JSON), message.
    rules : collection of str
        Every rule that was checked; verdicts of other rules are left alone.
    site, round_code : str, optional
        What was checked; verdicts of other sites and rounds are left alone.

    Returns
    -------
    Stored
        Counts.

    Notes
    -----
    A finding is the same as one on record when event (or else well and round) and rule are the same and the severity
    is; it keeps the limits and the sentence with which it was first found, and what was decided about it. With another
    severity it is recorded anew. Findings of neither a well nor a round are not stored.
    """
    if connection.dialect.name == "postgresql":
        # Two checks at once would each find the other's verdicts missing and add them again.
        connection.execute(text("LOCK TABLE verdict IN SHARE ROW EXCLUSIVE MODE"))
    wanted = _keyed(findings[(findings["well"] != "") | (findings["round"] != "")]).drop_duplicates(_KEYS, keep="first")
    live = _keyed(live_findings(connection, rules, site, round_code))
    both = wanted.merge(live[[*_KEYS, "severity", "verdict_id"]], on=_KEYS, how="outer", suffixes=("", "_live"))
    # Another severity is another finding, and waits for a decision of its own.
    same = both["severity"] == both["severity_live"]
    new = both[both["severity"].notna() & ~same]
    changed = both["verdict_id"].notna() & both["severity"].notna() & ~same
    gone = both["verdict_id"].notna() & both["severity"].isna()
    for rows, reason in ((gone, NO_LONGER_FOUND), (changed, "found with another severity")):
        ids = both.loc[rows, "verdict_id"].to_numpy(dtype=np.int64)
        retire(connection, "verdict", ids, by=by, reason=reason)
    _add(connection, new, by)
    return Stored(len(new), int(same.sum()), int(gone.sum() + changed.sum()))


def _keyed(table: pd.DataFrame) -> pd.DataFrame:
    """Return rows whose keys compare: event, or else site, well and round."""
    # -1 for findings of no event, as NaN equals nothing in a merge of keys.
    event = table["event_id"].astype("float64").fillna(-1.0)
    of_event = event >= 0
    words = {
        name: table[name].where(table[name].notna(), "").astype(object).where(~of_event, "")
        for name in ("site", "well", "round")
    }
    return table.assign(event_id=event, **words)


def _add(connection: Connection, new: pd.DataFrame, by: str) -> None:
    """Record new verdicts."""
    if new.empty:
        return
    of_event = new["event_id"] >= 0
    wells, rounds = _ids(connection, Well), _ids(connection, GaugingRound)
    by_well = [wells.get(key) for key in zip(new["site"], new["well"], strict=True)]
    by_round = [rounds.get(key) for key in zip(new["site"], new["round"], strict=True)]
    columns: dict[str, Any] = {
        "id": reserve_ids(connection, "verdict", len(new)),
        "level_event_id": [int(i) if event else None for i, event in zip(new["event_id"], of_event, strict=True)],
        "well_id": by_well,
        "gauging_round_id": by_round,
        **{name: new[name].tolist() for name in ("rule", "severity", "limits", "message")},
        "recorded_by": by,
        "reason": FOUND,
    }
    insert_columns(connection, "verdict", columns, len(new))


def _ids(connection: Connection, model: type[Well] | type[GaugingRound]) -> dict[tuple[str, str], int]:
    """Return ids by site and code."""
    statement = select(Site.code, model.code, model.id).join(Site, Site.id == model.site_id)
    return {(site, code): number for site, code, number in connection.execute(statement)}
