"""Days that stand for gauging rounds: those named for a report, or those on which most wells were read.

A record without rounds gets a day for each quarter in which at least three wells were read on one day. In a report the
days are within its period. Wells with loggers alone count on each day that has a daily level.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.rounds import assign_rounds, days_of_round
from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.alone import days_of_loggers_alone, rounds_of_loggers_alone
from gwnet.errors import NotFoundError
from gwnet.store.snapshot import Snapshot

#: How the purpose of a day begins that stands for a round.
PROPOSED: Final = "day on which most wells were read"
NAMED: Final = "day named for the report"

#: Fewest wells read on a day that stands for a round (project default): three make a plane.
LEAST_WELLS: Final = 3

_IN_USE: Final = "rounds in use"


def choose_rounds(record: Snapshot, first: dt.date, last: dt.date, days: Sequence[dt.date] = ()) -> pd.DataFrame:
    """Settle which days stand for rounds in a report, before anything else asks for them.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    first, last : datetime.date
        First and last day of the report.
    days : sequence of datetime.date, optional
        Days that stand for the rounds of the period, in place of those on record.

    Returns
    -------
    pandas.DataFrame
        As `rounds_in_use`.

    Raises
    ------
    NotFoundError
        If no level was measured on a day that is named; the days on which most wells were read are given.
    """
    return record.once(_IN_USE, lambda: _choose(record, first, last, days))


def rounds_in_use(record: Snapshot) -> pd.DataFrame:
    """Return the rounds that levels belong to: those on record, or in a record without any the proposed ones.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.store.fetch.programme.rounds`, by first day; ``purpose`` of a proposed one says so. In a report, those
        that `choose_rounds` settled.
    """
    return record.once(
        _IN_USE,
        lambda: record.rounds if len(record.rounds) else _as_rounds(record, propose_days(record)),
    )


def levels_by_round(record: Snapshot) -> pd.DataFrame:
    """Return reduced levels, each with the round in use that it belongs to; wells with loggers alone at each round.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.analysis.levels.table.levels`.
    """
    rounds = rounds_in_use(record)
    return record.once("levels by round", lambda: _by_round(record, rounds))


def _by_round(record: Snapshot, rounds: pd.DataFrame) -> pd.DataFrame:
    table = levels(record)
    if rounds is record.rounds:
        return rounds_of_loggers_alone(record, table, rounds)
    # A code of a round that is not in use would form a group of its own in tables and maps.
    known = table["round"].where(table["round"].isin(rounds["round"]), "")
    table = table.assign(round=known)
    days = table["day"].to_numpy(dtype="datetime64[D]")
    return rounds_of_loggers_alone(record, table.assign(round=assign_rounds(table, days, rounds)), rounds)


def propose_days(
    record: Snapshot, first: dt.date | None = None, last: dt.date | None = None
) -> list[tuple[dt.date, int]]:
    """Return the day of each quarter on which most wells were read, and how many.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    first, last : datetime.date, optional
        Only days from the first to the last, both included.

    Returns
    -------
    list of tuple
        Day and number of wells whose level can be used, in order of time; the earlier of days with as many. Days with
        fewer than `LEAST_WELLS` are not among them, unless the span has no better one.
    """
    table = days_of_loggers_alone(record)
    table = table[table["usable"].astype(bool)]
    if first is not None:
        table = table[table["day"] >= pd.Timestamp(first)]
    if last is not None:
        table = table[table["day"] <= pd.Timestamp(last)]
    counts = table.groupby("day")["well"].nunique()
    if counts.empty:
        return []
    busiest = counts.groupby([counts.index.year, counts.index.quarter]).idxmax()
    best = counts[busiest.to_numpy()]
    enough = best[best >= LEAST_WELLS]
    # In a record of few wells no day has three; the best one is better than none.
    best = enough if len(enough) else best[best == best.max()].head(1)
    return [(day.date(), int(count)) for day, count in best.items()]


def _choose(record: Snapshot, first: dt.date, last: dt.date, days: Sequence[dt.date]) -> pd.DataFrame:
    rounds = record.rounds
    spans = [days_of_round(row) for row in rounds.to_dict("records")]
    # A round counts that reaches into the period with a single day.
    touches = np.array(
        [begin <= np.datetime64(last) and end >= np.datetime64(first) for begin, end in spans], dtype=bool
    )
    if days:
        return _joined(rounds[~touches], _as_rounds(record, _counted(record, days), named=True))
    if touches.any():
        return rounds
    inside = propose_days(record, first, last)
    if len(rounds):
        return _joined(rounds, _as_rounds(record, inside))
    # Days outside the period serve comparisons with earlier rounds; inside it only its own best days.
    outside = [one for one in propose_days(record) if not first <= one[0] <= last]
    return _as_rounds(record, sorted([*outside, *inside]))


def _counted(record: Snapshot, days: Iterable[dt.date]) -> list[tuple[dt.date, int]]:
    """Return days with the number of wells read on each; refuse one without a level."""
    counts = days_of_loggers_alone(record).groupby("day")["well"].nunique()
    counted = []
    for day in sorted(set(days)):
        number = int(counts.get(pd.Timestamp(day), 0))
        if not number:
            near = ", ".join(f"{best} ({wells} wells)" for best, wells in _nearest(propose_days(record), day))
            message = f"No level was measured on {day}."
            raise NotFoundError(message, fix=f"Days on which many wells were read: {near}." if near else "")
        counted.append((day, number))
    return counted


def _nearest(days: list[tuple[dt.date, int]], day: dt.date, most: int = 5) -> list[tuple[dt.date, int]]:
    return sorted(sorted(days, key=lambda one: abs((one[0] - day).days))[:most])


def _as_rounds(record: Snapshot, days: Iterable[tuple[dt.date, int]], *, named: bool = False) -> pd.DataFrame:
    """Return days as rounds, each as long as the site's same-day window about its day."""
    window = record.settings["same_day_window_days"]
    # A site may have no window on record; then only the day itself counts.
    reach = dt.timedelta(days=0 if pd.isna(window) else int(window))
    of_column = {name: "" if kind == np.dtype(object) else -1 for name, kind in record.rounds.dtypes.items()}
    rows = []
    for day, count in days:
        wells = f"{count} well{'' if count == 1 else 's'}"
        given: dict[str, Any] = {"site": record.site, "round": day.isoformat(), "wells": []}
        given |= {
            "starts_on": day - reach,
            "ends_on": day + reach,
            "purpose": f"{NAMED if named else PROPOSED} ({wells})",
        }
        rows.append(of_column | given)
    return pd.DataFrame(rows, columns=list(of_column))


def _joined(recorded: pd.DataFrame, days: pd.DataFrame) -> pd.DataFrame:
    filled = [table for table in (recorded, days) if len(table)]
    if not filled:
        return recorded
    together = pd.concat(filled, ignore_index=True)
    return together.sort_values(["starts_on", "round"], kind="stable", ignore_index=True)


def is_proposed(purpose: str) -> bool:
    """Return whether a round is a day that was proposed or named, and none on record.

    Parameters
    ----------
    purpose : str
        Purpose of the round.

    Returns
    -------
    bool
        Whether it is.
    """
    return purpose.startswith((PROPOSED, NAMED))
