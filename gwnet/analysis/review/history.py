"""The history of a well: what changed, when, by whom and why, in order of recording."""

from __future__ import annotations

import datetime as dt
from typing import Final

import pandas as pd
from sqlalchemy import Connection

from gwnet.errors import NotFoundError
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch.history import happenings

#: Most rows of one act that are told one by one; more are told as one.
MOST_TOLD_APART: Final = 3

#: Columns that rows told as one share.
_ACT: Final = ["recorded_at_utc", "recorded_by", "subject", "act", "reason", "file"]

#: Acts that are told one by one however many there are: each has its own old and new value.
_ALWAYS_APART: Final = ("corrected", "withdrawn", "noticed again")


def well_history(
    connection: Connection,
    well: str,
    *,
    site: str | None = None,
    known_on: dt.datetime | None = None,
    each: bool = False,
) -> pd.DataFrame:
    """Return what changed at a well, when, by whom and why.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    well : str
        Code of the well.
    site : str, optional
        Code of the site, where several have a well of that code.
    known_on : datetime.datetime, optional
        Only what was recorded at or before this time.
    each : bool, optional
        Whether every row is told by itself; otherwise many rows of one act, such as the levels of one load, are one.

    Returns
    -------
    pandas.DataFrame
        Columns of `gwnet.store.fetch.history.HAPPENING_COLUMNS`, in order of recording.

    Raises
    ------
    NotFoundError
        If there is no such well, or several sites have one.
    """
    wells = fetch.wells(connection, None, site)
    found = wells[wells["well"] == well]
    if found.empty:
        message = f"There is no well {well!r} on record."
        raise NotFoundError(message, fix="'gwnet wells' lists those that are.")
    if len(found) > 1:
        message = f"Several sites have a well {well!r}: {', '.join(found['site'])}."
        raise NotFoundError(message, fix="Name the site with --site.")
    told = happenings(connection, int(found["well_id"].iloc[0]), known_on)
    return told if each else _condensed(told)


def _condensed(told: pd.DataFrame) -> pd.DataFrame:
    """Tell many rows of one act as one row: how many, and the first and last of them."""
    table = told.assign(file=told["source"].str.replace(r", row \d+$", "", regex=True), place=range(len(told)))
    kept = []
    for _, rows in table.groupby(_ACT, sort=False, dropna=False):
        act = str(rows["act"].iloc[0])
        if len(rows) <= MOST_TOLD_APART or act in _ALWAYS_APART:
            kept.append(rows)
            continue
        for _, alike in rows.groupby(["was", "now"] if rows["subject"].iloc[0] in {"review", "decision"} else ["act"]):
            kept.append(_as_one(alike))
    if not kept:
        return told
    made = pd.concat(kept).sort_values("place", kind="stable", ignore_index=True)
    return made[list(told.columns)]


def _as_one(rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows of one act as one, at the place of the first."""
    one = rows.iloc[[0]].copy()
    if len(rows) == 1:
        return one
    items = sorted(str(item) for item in rows["item"])
    one["item"] = f"{len(rows)} rows, {items[0]} to {items[-1]}"
    one["source"] = one["file"]
    if rows["now"].nunique() > 1:
        one["now"] = ""
    return one
