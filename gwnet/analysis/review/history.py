"""The history of a well: what changed, when, by whom and why, in order of recording."""

from __future__ import annotations

from typing import Final

import pandas as pd

from gwnet.errors import NotFoundError
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch.history import happenings
from gwnet.store.snapshot import Snapshot

#: Most rows of one act that are listed one by one; more become one.
MOST_LISTED: Final = 3

#: Columns that rows joined into one share.
_ACT: Final = ["recorded_at_utc", "recorded_by", "subject", "act", "reason", "file"]

#: Acts that are listed one by one however many there are: each has its own old and new value.
_ALWAYS_LISTED: Final = ("corrected", "withdrawn", "noticed again")


def well_history(record: Snapshot, well: str, *, each: bool = False) -> pd.DataFrame:
    """Return what changed at a well, when, by whom and why.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record, whose moment is the last that is looked at; of one site where several have a well of that code.
    well : str
        Code of the well.
    each : bool, optional
        Whether every row is listed by itself; otherwise many rows of one act, such as the levels of one load, are one.

    Returns
    -------
    pandas.DataFrame
        Columns of `gwnet.store.fetch.history.HAPPENING_COLUMNS`, in order of recording.

    Raises
    ------
    NotFoundError
        If there is no such well, or several sites have one.
    """
    # also a well that was not on record at that moment has a history, an empty one
    wells = fetch.wells(record.connection, None, record.site)
    wells = wells[wells["well"] == well]
    if wells.empty:
        message = f"There is no well {well!r} on record."
        raise NotFoundError(message, fix="'gwnet wells' lists those that are.")
    if len(wells) > 1:
        message = f"Several sites have a well {well!r}: {', '.join(wells['site'])}."
        raise NotFoundError(message, fix="Name the site with --site.")
    changes = happenings(record.connection, int(wells["well_id"].iloc[0]), record.known_on)
    return changes if each else _condense(changes)


def _condense(changes: pd.DataFrame) -> pd.DataFrame:
    """Join many rows of one act into one: how many, and the first and last of them."""
    # Without the row, rows of one file share their source.
    table = changes.assign(file=changes["source"].str.replace(r", row \d+$", "", regex=True), place=range(len(changes)))
    kept = []
    for _, rows in table.groupby(_ACT, sort=False, dropna=False):
        act = str(rows["act"].iloc[0])
        if len(rows) <= MOST_LISTED or act in _ALWAYS_LISTED:
            kept.append(rows)
            continue
        # Reviews are joined by what they changed from and to; other acts have no such pair.
        for _, alike in rows.groupby(["was", "now"] if rows["subject"].iloc[0] in {"review", "decision"} else ["act"]):
            kept.append(_join_rows(alike))
    if not kept:
        return changes
    return pd.concat(kept).sort_values("place", kind="stable", ignore_index=True)[list(changes.columns)]


def _join_rows(rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows of one act as one, at the place of the first."""
    first = rows.iloc[[0]]
    if len(rows) == 1:
        return first
    items = sorted(str(item) for item in rows["item"])
    first = first.assign(item=f"{len(rows)} rows, {items[0]} to {items[-1]}", source=first["file"])
    return first.assign(now="") if rows["now"].nunique() > 1 else first
