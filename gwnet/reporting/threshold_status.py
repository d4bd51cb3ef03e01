"""Standing of thresholds at the end of a period: crossed, not crossed, undetermined, or without a reading.

The daily level of a logger counts as a reading on a day on which nobody read the well by hand.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from gwnet.analysis.levels.bounds import bound_elevations
from gwnet.analysis.levels.serving import judge_levels
from gwnet.hydro.reduction.thresholds import (
    CROSSED,
    NO_READING,
    UNDETERMINED,
    crossing_runs,
    threshold_state,
)
from gwnet.reporting.definition.period import Period
from gwnet.reporting.measures import day_of
from gwnet.reporting.rounds import Event

_BOUND_SIGN = {"<=": -1, ">=": 1, "": 0}


@dataclass(frozen=True, slots=True, eq=False)
class ThresholdStatus:
    """Standing of one threshold.

    Parameters
    ----------
    well, threshold, kind : str
        Which threshold; ``kind`` is lower or upper.
    level_m : float
        Its elevation [m].
    consecutive : int
        Crossings in a row that the rule asks for.
    state : int
        State after the rule at the newest reading of the period, from `gwnet.hydro.reduction.thresholds`.
    run : int
        Certain crossings in a row that end at that reading.
    newest : Event or None
        That reading; None when there is none in the period.
    since : date or None
        Day of the first crossing of the run.
    provisional : bool
        Whether the reading, or one of the run, is not approved.
    basis, action : str
        Why the threshold is there and what follows from crossing it.
    """

    well: str
    threshold: str
    kind: str
    level_m: float
    consecutive: int
    state: int
    run: int
    newest: Event | None
    since: dt.date | None
    provisional: bool
    basis: str = ""
    action: str = ""

    @property
    def margin_m(self) -> float:
        """Water elevation less threshold; NaN when there is no number [m]."""
        if self.newest is None or self.newest["bound"]:
            return math.nan
        return float(self.newest["water_elevation_m"]) - self.level_m

    @property
    def within_uncertainty(self) -> bool:
        """Whether the newest reading lies nearer to the threshold than its 95 % half-width."""
        if self.newest is None or not math.isfinite(self.margin_m):
            return False
        return abs(self.margin_m) <= float(self.newest["uncertainty_m"])

    def words(self) -> str:
        """Return the state in words."""
        if self.state == NO_READING:
            return "no reading"
        if self.state == UNDETERMINED:
            return "undetermined"
        if self.state == CROSSED:
            return "crossed, provisional" if self.provisional else "crossed"
        if self.run and self.consecutive > 1:
            return f"not crossed: {self.run} of {self.consecutive} in a row"
        return "not crossed"


def with_logger_days(levels: pd.DataFrame, days: pd.DataFrame) -> pd.DataFrame:
    """Return the levels that thresholds are judged by: events, and daily levels of loggers on the other days.

    Parameters
    ----------
    levels : DataFrame
        Levels of wells; rows of loggers give way to their days.
    days : DataFrame
        Daily levels of loggers, with the same columns.

    Returns
    -------
    DataFrame
        Both. A day on which a level was read by hand that can be judged has that level alone.
    """
    if days.empty:
        return levels
    logged = (levels["method"] == "logger") & levels["well"].isin(days["well"])
    read = levels[~logged]
    judged = read[judge_levels(read, "threshold")["serves"].to_numpy(dtype=bool)]
    taken = pd.MultiIndex.from_frame(judged[["well", "day"]])
    free = ~pd.MultiIndex.from_frame(days[["well", "day"]]).isin(taken)
    return pd.concat([read, days.loc[free, list(read.columns)]], ignore_index=True) if len(read) else days[free]


def threshold_statuses(
    thresholds: pd.DataFrame, levels: pd.DataFrame, wells: pd.DataFrame, period: Period
) -> tuple[ThresholdStatus, ...]:
    """Work out the standing of each threshold that is in force in a period.

    Parameters
    ----------
    thresholds : DataFrame
        Thresholds of the site.
    levels : DataFrame
        Events and daily levels of loggers, as of `with_logger_days`; those after the period are passed over.
    wells : DataFrame
        The selected wells, in order.
    period : Period
        Period of the report.

    Returns
    -------
    tuple of ThresholdStatus
        In the order of wells, then of elevations from high to low.
    """
    order = {str(well): place for place, well in enumerate(wells["well"])}
    rows = [row for row in thresholds.to_dict("records") if row["well"] in order and _in_force(row, period)]
    rows.sort(key=lambda row: (order[row["well"]], -float(row["elevation_m"]), str(row["threshold"])))
    if not rows:
        return ()
    here = levels["well"].isin({row["well"] for row in rows}) & (levels["day"] <= pd.Timestamp(period.last))
    levels = levels[here]
    evaluable = levels[judge_levels(levels, "threshold")["serves"]]
    evaluable = evaluable.sort_values(["well", "measured_at_utc", "event_id"], kind="stable")
    by_well = {str(well): events for well, events in evaluable.groupby("well", sort=False)}
    none = evaluable.iloc[:0]
    return tuple(_status(row, by_well.get(str(row["well"]), none), period) for row in rows)


def _in_force(row: Mapping[str, Any], period: Period) -> bool:
    start, end = row["valid_from_utc"], row["valid_until_utc"]
    after = not pd.isna(start) and pd.Timestamp(start).date() > period.last
    over = not pd.isna(end) and pd.Timestamp(end).date() <= period.first
    return not (after or over)


def _status(row: Mapping[str, Any], events: pd.DataFrame, period: Period) -> ThresholdStatus:
    times = events["measured_at_utc"]
    valid = np.ones(len(events), dtype=bool)
    if not pd.isna(row["valid_from_utc"]):
        valid &= (times >= row["valid_from_utc"]).to_numpy(dtype=bool)
    if not pd.isna(row["valid_until_utc"]):
        valid &= (times < row["valid_until_utc"]).to_numpy(dtype=bool)
    events = events[valid]
    level, consecutive = float(row["elevation_m"]), max(int(row["consecutive"] or 1), 1)
    bound = events["bound"].map(_BOUND_SIGN).to_numpy(dtype=np.int64)
    elevation = bound_elevations(events)
    states = threshold_state(elevation, level, kind=str(row["kind"]), bound=bound)
    runs = crossing_runs(states, consecutive)
    last = len(events) - 1
    read = last >= 0 and day_of(events["measured_at"].iloc[last]) >= period.first
    run = int(runs.certain[last]) if read else 0
    span = events.iloc[last - max(run, 1) + 1 :] if read else events.iloc[:0]
    return ThresholdStatus(
        well=str(row["well"]),
        threshold=str(row["threshold"]),
        kind=str(row["kind"]),
        level_m=level,
        consecutive=consecutive,
        state=int(runs.state[last]) if read else NO_READING,
        run=run,
        newest=events.iloc[last].to_dict() if read else None,
        since=day_of(span["measured_at"].iloc[0]) if run else None,
        provisional=bool((span["review"] != "approved").any()),
        basis=str(row["basis"] or ""),
        action=str(row["action"] or ""),
    )
