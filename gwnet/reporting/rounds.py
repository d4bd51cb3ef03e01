"""Gauging rounds of a report: which events belong to which round, and which event is used for a well."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.proposed_rounds import is_proposed
from gwnet.constants import DAYS_PER_YEAR
from gwnet.reporting.data import ReportData
from gwnet.reporting.definition.period import Period
from gwnet.reporting.measures import date_of

#: One level event: a row of the levels frame by column.
Event = Mapping[str, Any]

_USABLE: Final = 3
_BOUND: Final = 2
_NUMBER: Final = 1
#: Days that a level may lie off a year before and be compared; further away is another season. Project default.
MOST_OFF_DAYS: Final = 60


@dataclass(frozen=True, slots=True, eq=False)
class RoundView:
    """One gauging round, or the levels of a period without rounds.

    Parameters
    ----------
    code : str
        Code of the round; empty when the levels belong to no round.
    first, last : date
        First and last day of measuring, or the planned days when nothing was measured.
    planned : tuple of str
        Wells that should have been measured.
    events : DataFrame
        Every event of the round, in the order of wells and times.
    best : mapping of str to Event
        The event that is used for each well.
    purpose : str
        What the round was for.
    """

    code: str
    first: dt.date
    last: dt.date
    planned: tuple[str, ...]
    events: pd.DataFrame
    best: Mapping[str, Event]
    purpose: str = ""

    @property
    def label(self) -> str:
        """Name of the round in a sentence."""
        if not self.code:
            return "the levels of the period"
        return f"the levels of {self.code}" if self.is_proposed else f"round {self.code}"

    @property
    def is_proposed(self) -> bool:
        """Whether it is a day that stands for a round, and none on record."""
        return is_proposed(self.purpose)

    def wells(self) -> tuple[str, ...]:
        """Return the planned wells in their order, then those measured besides."""
        planned = set(self.planned)
        return (*self.planned, *(well for well in self.best if well not in planned))


def best_events(events: pd.DataFrame) -> dict[str, Event]:
    """Return the event that is used for each well: usable before bounds before numbers before none, then the newest."""
    if events.empty:
        return {}
    rank = np.select(
        [
            events["usable"].to_numpy(dtype=bool),
            events["bound"].to_numpy(dtype=object) != "",
            np.isfinite(events["water_elevation_m"].to_numpy(dtype=np.float64)),
        ],
        [_USABLE, _BOUND, _NUMBER],
        0,
    )
    ordered = events.assign(rank=rank).sort_values(["well", "rank", "measured_at_utc", "event_id"], kind="stable")
    newest = ordered.drop_duplicates("well", keep="last")
    return {str(row["well"]): row for row in newest.to_dict("records")}


def rounds_of(data: ReportData, levels: pd.DataFrame, wells: pd.DataFrame, period: Period) -> tuple[RoundView, ...]:
    """Return the rounds of a period and the last measured round before them, in the order of time.

    Parameters
    ----------
    data : ReportData
        Record of the site.
    levels : DataFrame
        Events of the selected wells to the end of the period.
    wells : DataFrame
        The selected wells.
    period : Period
        Period of the report; when no round touches it but levels were taken, they stand as one round of their own.
    """
    planned = [
        # A round without a start has no place in a period.
        row
        for row in data.rounds.to_dict("records")
        if (date_of(row["starts_on"]) or dt.date.max) <= period.last
    ]
    planned.sort(key=lambda row: (date_of(row["starts_on"]), str(row["round"])))

    def view_of(row: Mapping[str, Any]) -> RoundView:
        start = date_of(row["starts_on"]) or dt.date.max
        end = date_of(row["ends_on"]) or start
        own = levels[(levels["round"] == row["round"]).to_numpy(dtype=bool)]
        purpose = str(row["purpose"] or "")
        # For a day that stands for a round nobody planned any well, so none is missing.
        asked = () if is_proposed(purpose) else planned_wells(row["wells"], wells, start, end)
        return _view(str(row["round"]), own, asked, (start, end), purpose)

    found = [view_of(row) for row in planned if _ends_on(row) >= period.first]
    if not found:
        inside = levels[_are_within(levels, period.first, period.last)]
        if not inside.empty:
            asked = planned_wells([], wells, period.first, period.last)
            found.append(_view("", inside, asked, (period.first, period.last), ""))
    for row in reversed([row for row in planned if _ends_on(row) < period.first]):
        earlier = view_of(row)
        # A round that was planned and not measured has no level that changes could be counted from.
        if earlier.best:
            found.append(earlier)
            break
    return tuple(sorted(found, key=lambda view: (view.first, view.code)))


def _are_within(levels: pd.DataFrame, first: dt.date, last: dt.date) -> NDArray[np.bool_]:
    """Return which levels are of local days from a first to a last one, both included."""
    return np.asarray(levels["day"].between(pd.Timestamp(first), pd.Timestamp(last)), dtype=np.bool_)


def _ends_on(row: Mapping[str, Any]) -> dt.date:
    return date_of(row["ends_on"]) or date_of(row["starts_on"]) or dt.date.max


def _view(
    code: str, events: pd.DataFrame, planned: tuple[str, ...], days: tuple[dt.date, dt.date], purpose: str
) -> RoundView:
    best = best_events(events)
    if not events.empty:
        days = events["day"].min().date(), events["day"].max().date()
    # Without a round a well may have several levels in the period; the table has one of each.
    if not code:
        events = events[events["event_id"].isin([event["event_id"] for event in best.values()])]
    return RoundView(code, days[0], days[1], planned, events, best, purpose)


def planned_wells(named: Iterable[str] | None, wells: pd.DataFrame, first: dt.date, last: dt.date) -> tuple[str, ...]:
    """Return the wells of a round: those it names, or every well that existed on its days."""
    selected = list(wells["well"].astype(str))
    wanted = [str(name) for name in named] if isinstance(named, list | tuple | np.ndarray) else []
    if wanted:
        known = set(selected)
        return tuple(well for well in wanted if well in known)
    standing = []
    for row in wells[["well", "drilled_on", "decommissioned_on"]].to_dict("records"):
        drilled, ended = date_of(row["drilled_on"]), date_of(row["decommissioned_on"])
        # Without its dates a well counts as there: it is rather asked for in vain than forgotten.
        if (drilled is None or drilled <= last) and (ended is None or ended > first):
            standing.append(str(row["well"]))
    return tuple(standing)


def year_before(levels: pd.DataFrame, period: Period, current: RoundView) -> dict[str, Event]:
    """Return for each well the event of the same period a year earlier that lies nearest to a year before a round.

    Parameters
    ----------
    levels : DataFrame
        Events of the selected wells to the end of the period.
    period : Period
        Period of the report.
    current : RoundView
        A round of the period. An event more than 60 days from a year before its reading is not compared with it.

    Returns
    -------
    dict of str to mapping
        Rows of ``levels`` by well; without readings of the round the best event of each well.
    """
    before = period.a_year_before()
    inside = levels[_are_within(levels, before.first, before.last)]
    if inside.empty:
        return {}
    if not current.best:
        return best_events(inside)
    target = pd.Series(
        {
            well: pd.Timestamp(event["measured_at_utc"]) - pd.Timedelta(days=DAYS_PER_YEAR)
            for well, event in current.best.items()
        },
        dtype="datetime64[us, UTC]",
    )
    distance = (inside["measured_at_utc"] - inside["well"].map(target)).abs()
    near = inside.assign(distance=distance)[(distance <= pd.Timedelta(days=MOST_OFF_DAYS)).to_numpy(dtype=bool)]
    # The nearest usable level rather than the nearest at all; one that is not usable only where there is no other.
    usable = near[near["usable"].to_numpy(dtype=bool)]
    ordered = usable.sort_values(["well", "distance", "event_id"], kind="stable")
    nearest = ordered.drop_duplicates("well", keep="first").drop(columns="distance")
    found = best_events(near.drop(columns="distance"))
    found.update({str(row["well"]): row for row in nearest.to_dict("records")})
    return found
