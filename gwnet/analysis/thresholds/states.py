"""States of thresholds over a period: every crossing by readings and by loggers, and what cannot be judged.

A crossing is a run of levels of one lane beyond the threshold, which ends with the first level that is not beyond it.
It is confirmed when as many of its levels follow one another as the rule of the threshold asks for: readings one after
another, or days of a logger without a day between them. Common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.thresholds.lanes import (
    BEYOND,
    CHANGE,
    GRADIENT,
    LEFT_OUT,
    LEVEL,
    LOGGER,
    NOT_BEYOND,
    SOURCES,
    UNDETERMINED,
    form_of,
    lanes_of,
)
from gwnet.clock import zone_of

#: States of a threshold over a period, the one of most consequence first.
CROSSED: Final = "crossed"
UNCONFIRMED: Final = "beyond, not yet confirmed"
UNJUDGED: Final = "cannot be judged"
NOT_CROSSED: Final = "not crossed"
STATES: Final = (CROSSED, UNCONFIRMED, UNJUDGED, NOT_CROSSED)

#: A threshold is in force until just before its end.
_INSTANT: Final = dt.timedelta.resolution


@dataclass(frozen=True, slots=True)
class Remark:
    """A remark with lengths, which can be printed in any unit.

    Parameters
    ----------
    words : str
        The remark, with ``{}`` for each length.
    lengths_m : tuple of float
        The lengths [m].
    """

    words: str = ""
    lengths_m: tuple[float, ...] = ()

    def __bool__(self) -> bool:
        """Return whether there is a remark."""
        return bool(self.words)

    def __str__(self) -> str:
        """Return the remark in metres."""
        return self.text(lambda length: f"{length:.3f} m")

    def text(self, length: Callable[[float], str]) -> str:
        """Return the remark with its lengths as a function prints them.

        Parameters
        ----------
        length : callable
            Takes metres, returns text with a unit.
        """
        return self.words.format(*map(length, self.lengths_m))


@dataclass(frozen=True, slots=True)
class Extreme:
    """The level of a period that lies farthest towards a threshold, or beyond it.

    Parameters
    ----------
    value_m : float
        Water elevation; of a day of a logger the lowest or highest head of that day [m].
    at : str
        Local time, or day, as text.
    margin_m : float
        How far beyond the threshold it is; negative where it is short of it [m].
    source : str
        ``manual`` or ``logger``.
    bound : str
        Its sign where the level is a bound.
    uncertainty_m : float
        95 % half-width of the reading or of the day; NaN where it is not known [m].
    """

    value_m: float
    at: str
    margin_m: float
    source: str
    bound: str = ""
    uncertainty_m: float = math.nan

    @property
    def is_within_uncertainty(self) -> bool:
        """Whether it lies nearer to the threshold than its half-width."""
        return abs(self.margin_m) <= self.uncertainty_m


@dataclass(frozen=True, slots=True)
class Crossing:
    """One run of levels beyond a threshold that reaches into the period.

    Parameters
    ----------
    source : str
        ``manual`` or ``logger``.
    first, last : date
        Days of its first and last level beyond; the first may lie before the period.
    ended_by : date or None
        Day of the level that ended it; None while it goes on at the end of the period.
    levels : int
        Readings, or days of the logger, beyond in all.
    levels_in_period : int
        Those of the period.
    in_a_row : int
        Most of them that follow one another.
    confirmed_on : date or None
        Day on which the rule was met; None where it is not.
    peak : Extreme
        Its level of the period farthest beyond.
    is_provisional : bool
        Whether a level of it is not approved.
    """

    source: str
    first: dt.date
    last: dt.date
    ended_by: dt.date | None
    levels: int
    levels_in_period: int
    in_a_row: int
    confirmed_on: dt.date | None
    peak: Extreme
    is_provisional: bool

    @property
    def is_confirmed(self) -> bool:
        """Whether the rule was met."""
        return self.confirmed_on is not None


@dataclass(frozen=True, slots=True)
class LaneCount:
    """Levels of one lane in the period.

    Parameters
    ----------
    beyond, not_beyond, undetermined, left_out : int
        How many of each.
    """

    beyond: int = 0
    not_beyond: int = 0
    undetermined: int = 0
    left_out: int = 0

    @property
    def judged(self) -> int:
        """Levels that say whether the threshold is crossed: readings, or days with data."""
        return self.beyond + self.not_beyond


@dataclass(frozen=True, slots=True, eq=False)
class ThresholdState:
    """State of one threshold over a period.

    Parameters
    ----------
    well, threshold, kind : str
        Which threshold; ``kind`` is lower or upper.
    level_m : float
        Its elevation; of a limit on changes the change, positive for a rise; of one on a gradient the difference of
        head from the other well that makes it; NaN where it is not known [m].
    consecutive : int
        Levels in a row that the rule asks for.
    first, last : date
        First and last day of the period, narrowed to the time in which the threshold is in force.
    state : str
        One of `STATES`.
    reason : Remark
        Why it cannot be judged; empty otherwise.
    caution : Remark
        What keeps every level of the well from showing a crossing, whatever the period; empty where nothing does.
    crossings : tuple of Crossing
        Those that reach into the period, by source and time.
    counts : mapping of str to LaneCount
        By source, both always.
    extreme : Extreme or None
        Level of the period farthest towards the threshold; None where none can be judged.
    levels : DataFrame
        Both lanes to the end of the period, from the beginning of the record, as
        `gwnet.analysis.thresholds.lanes.lanes_of`.
    basis, action : str
        Why the threshold is there and what follows from crossing it.
    form : {"level", "change", "gradient"}
        What it limits.
    days : int
        Days within which a change is limited; 0 for other forms.
    other_well : str
        Other well of a gradient; empty for other forms.
    distance_m : float
        Horizontal distance to it; NaN where it is not known [m].
    """

    well: str
    threshold: str
    kind: str
    level_m: float
    consecutive: int
    first: dt.date
    last: dt.date
    state: str
    reason: Remark
    caution: Remark
    crossings: tuple[Crossing, ...]
    counts: Mapping[str, LaneCount]
    extreme: Extreme | None
    levels: pd.DataFrame
    basis: str = ""
    action: str = ""
    form: str = LEVEL
    days: int = 0
    other_well: str = ""
    distance_m: float = math.nan

    @property
    def gradient(self) -> float:
        """Gradient that is limited, positive where the water stands higher at the well; NaN for other forms."""
        return self.level_m / self.distance_m if self.form == GRADIENT else math.nan

    @property
    def elevation_m(self) -> float:
        """Elevation that is limited; NaN for limits on changes and gradients [m]."""
        return self.level_m if self.form == LEVEL else math.nan

    @property
    def is_provisional(self) -> bool:
        """Whether a crossing rests on a level that is not approved."""
        return any(crossing.is_provisional for crossing in self.crossings)

    def lane(self, source: str, first: dt.date | None = None) -> pd.DataFrame:
        """Return one lane from a day on.

        Parameters
        ----------
        source : str
            ``manual`` or ``logger``.
        first : date, optional
            First local day; that of the record unless given.
        """
        own = self.levels[self.levels["source"] == source]
        return own if first is None else own[own["day"] >= pd.Timestamp(first)]

    def in_a_row(self, source: str) -> int:
        """Return the most levels in a row of a lane's crossings.

        Parameters
        ----------
        source : str
            ``manual`` or ``logger``.
        """
        return max((crossing.in_a_row for crossing in self.crossings if crossing.source == source), default=0)


def find_states(
    thresholds: pd.DataFrame,
    levels: pd.DataFrame,
    days: pd.DataFrame,
    wells: Sequence[str],
    first: dt.date,
    last: dt.date,
    zone: str,
) -> tuple[ThresholdState, ...]:
    """Return the states of thresholds over a period.

    Parameters as `gwnet.analysis.thresholds`.

    Parameters
    ----------
    wells : sequence of str
        Wells whose thresholds are judged, in order.
    zone : str
        Time zone of the site, whose days are meant.

    Returns
    -------
    tuple of ThresholdState
        Of each threshold in force on a day of the period: by consequence of the state, then in the order of the wells,
        then from high to low. One that was set anew within the period has a state before and one after.
    """
    order = {str(well): place for place, well in enumerate(wells)}
    spans = _spans_of_force(thresholds, zone)
    rows = [
        (row, max(first, start), min(last, end))
        for row, (start, end) in zip(thresholds.to_dict("records"), spans, strict=True)
        # A threshold that was changed has a row, and a state, for each time in which it held.
        if row["well"] in order and start <= last and end >= first
    ]
    end = pd.Timestamp(last)
    by_well = [
        dict(list(frame[frame["day"] <= end].groupby("well", sort=False))) if len(frame) else {}
        for frame in (levels, days)
    ]
    states = []
    for row, start, stop in rows:
        own, logged = (
            frames.get(row["well"], frame.iloc[:0]) for frames, frame in zip(by_well, (levels, days), strict=True)
        )
        others = [
            frames.get(row.get("other_well"), frame.iloc[:0])
            for frames, frame in zip(by_well, (levels, days), strict=True)
        ]
        states.append(_judge(row, lanes_of(row, own, logged, *others), start, stop))
    return tuple(
        sorted(
            states,
            key=lambda item: (
                STATES.index(item.state),
                order[item.well],
                # The highest first, as triggers are listed from the top down; others have no elevation.
                -item.elevation_m if math.isfinite(item.elevation_m) else math.inf,
                item.threshold,
                item.first,
            ),
        )
    )


def _spans_of_force(thresholds: pd.DataFrame, zone: str) -> list[tuple[dt.date, dt.date]]:
    """Return the first and last local day on which each threshold is in force."""
    starts, ends = (thresholds[name].to_list() for name in ("valid_from_utc", "valid_until_utc"))
    return [
        (
            dt.date.min if pd.isna(start) else pd.Timestamp(start).tz_convert(zone_of(zone)).date(),
            # Just before its end, which may be midnight of the next local day.
            dt.date.max if pd.isna(end) else (pd.Timestamp(end).tz_convert(zone_of(zone)) - _INSTANT).date(),
        )
        for start, end in zip(starts, ends, strict=True)
    ]


def _judge(row: Mapping[str, Any], lanes: pd.DataFrame, first: dt.date, last: dt.date) -> ThresholdState:
    form, kind = form_of(row), str(row["kind"])
    level = float(row["elevation_m"] if form == LEVEL else row["limit_m"])
    consecutive = max(int(row["consecutive"] or 1), 1)
    inside = lanes[lanes["day"] >= pd.Timestamp(first)] if len(lanes) else lanes
    counts = {source: _count(inside, source) for source in SOURCES}
    turn = 1.0 if kind == "upper" else -1.0
    crossings = tuple(
        crossing
        for source in SOURCES
        for crossing in _crossings(
            lanes[lanes["source"] == source],
            consecutive,
            first,
            lambda rows: _extreme(rows, level, turn),
        )
    )
    caution = _caution(row)
    state, reason = _state(crossings, counts, inside, consecutive, caution, level, form)
    judged = inside[inside["state"].isin([BEYOND, NOT_BEYOND])]
    return ThresholdState(
        well=str(row["well"]),
        threshold=str(row["threshold"]),
        kind=kind,
        level_m=level,
        consecutive=consecutive,
        first=first,
        last=last,
        state=state,
        reason=reason,
        caution=caution,
        crossings=crossings,
        # Each lane by itself: a reading between two days of a logger does not break their run.
        counts=counts,
        extreme=_extreme(judged, level, turn) if len(judged) else None,
        levels=lanes,
        basis=str(row["basis"] or ""),
        action=str(row["action"] or ""),
        form=form,
        days=int(row["days"]) if form == CHANGE else 0,
        other_well=str(row["other_well"]) if form == GRADIENT else "",
        distance_m=float(row["distance_m"]) if form == GRADIENT else math.nan,
    )


def _count(inside: pd.DataFrame, source: str) -> LaneCount:
    found = inside.loc[inside["source"] == source, "state"].value_counts()
    return LaneCount(*(int(found.get(word, 0)) for word in (BEYOND, NOT_BEYOND, UNDETERMINED, LEFT_OUT)))


def _extreme(rows: pd.DataFrame, level: float, turn: float) -> Extreme:
    """Return the level that lies farthest towards a threshold."""
    margin = turn * (rows["extreme_m"].to_numpy(dtype=np.float64) - level)
    place = int(np.argmax(margin))
    row = rows.iloc[place]
    return Extreme(
        value_m=float(row["extreme_m"]),
        at=str(row["extreme_at"]),
        margin_m=float(margin[place]),
        source=str(row["source"]),
        bound=str(row["bound"]),
        uncertainty_m=float(row["uncertainty_m"]),
    )


def _crossings(lane: pd.DataFrame, rule: int, first: dt.date, extreme: Any) -> Iterator[Crossing]:
    """Yield the runs of a lane beyond the threshold that reach into the period."""
    kept = lane[lane["state"] != LEFT_OUT]
    if kept.empty:
        return
    state = kept["state"].to_numpy(dtype=object)
    # Each level that is not beyond begins a new run; undetermined ones neither end nor make it.
    run = np.cumsum(state == NOT_BEYOND)
    is_logger = kept["source"].iloc[0] == LOGGER
    for number in np.unique(run[state == BEYOND]):
        members = np.flatnonzero((run == number) & (state != NOT_BEYOND))
        rows = kept.iloc[members]
        beyond = rows[rows["state"] == BEYOND]
        in_period = beyond[beyond["day"] >= pd.Timestamp(first)]
        # A run may begin before the period, but must reach into it.
        if in_period.empty:
            continue
        lengths = _run_lengths(rows, is_logger=is_logger)
        met = np.flatnonzero(lengths >= rule)
        after = members[-1] + 1
        yield Crossing(
            source=str(rows["source"].iloc[0]),
            first=beyond["day"].iloc[0].date(),
            last=beyond["day"].iloc[-1].date(),
            ended_by=kept["day"].iloc[after].date() if after < len(kept) else None,
            levels=len(beyond),
            levels_in_period=len(in_period),
            in_a_row=int(lengths.max()),
            confirmed_on=rows["day"].iloc[met[0]].date() if len(met) else None,
            peak=extreme(in_period),
            is_provisional=bool((beyond["review"] != "approved").any()),
        )


def _run_lengths(rows: pd.DataFrame, *, is_logger: bool) -> np.ndarray:
    """Return how many levels beyond in a row end at each row; a day without data breaks a run of a logger's days."""
    is_beyond = (rows["state"] == BEYOND).to_numpy(dtype=bool)
    day = rows["day"].to_numpy().astype("datetime64[D]").astype(np.int64)
    lengths = np.zeros(len(rows), dtype=np.int64)
    length = 0
    for place, hit in enumerate(is_beyond):
        if not hit or (is_logger and place and day[place] - day[place - 1] > 1):
            length = 0
        length += int(hit)
        lengths[place] = length
    return lengths


def _caution(row: Mapping[str, Any]) -> Remark:
    """Return why no level of a well can show that a threshold is crossed."""
    form = form_of(row)
    if form == GRADIENT and math.isnan(float(row["limit_m"])):
        return Remark(
            f"the distance to {row['other_well']} is not known: a well has no place on record, or both have one"
        )
    if form != LEVEL:
        return Remark()
    level, lowest = float(row["elevation_m"]), float(row.get("lowest_shown_m", math.nan))
    if math.isnan(level):
        return Remark("the threshold has no elevation: no measuring point or ground elevation is on record")
    if row["kind"] == "lower" and level < lowest:
        return Remark(
            "the threshold lies {} below the lowest level that the well can show ({}): "
            "where the well falls dry, it cannot be judged",
            (lowest - level, lowest),
        )
    return Remark()


def _state(
    crossings: tuple[Crossing, ...],
    counts: Mapping[str, LaneCount],
    inside: pd.DataFrame,
    consecutive: int,
    caution: Remark,
    level: float,
    form: str,
) -> tuple[str, Remark]:
    if math.isnan(level):
        return UNJUDGED, caution
    if any(crossing.is_confirmed for crossing in crossings):
        return CROSSED, Remark()
    if crossings:
        return UNCONFIRMED, Remark()
    # Bounds in a row could hide a crossing that the rule confirms.
    if any(_may_be_crossed(inside[inside["source"] == source], consecutive) for source in SOURCES):
        return UNJUDGED, caution or _only_bounds(inside, form)
    if any(count.judged for count in counts.values()):
        return NOT_CROSSED, Remark()
    if any(count.undetermined for count in counts.values()):
        return UNJUDGED, caution or _only_bounds(inside, form)
    left = inside.loc[inside["state"] == LEFT_OUT, "reason"].value_counts()
    if left.empty:
        return UNJUDGED, Remark("no level in the period")
    counted = ", ".join(f"{count} {reason}" for reason, count in sorted(left.items()))
    return UNJUDGED, Remark(f"no level of the period serves: {counted}")


def _may_be_crossed(rows: pd.DataFrame, consecutive: int) -> bool:
    """Return whether bounds leave it open that the rule was met."""
    kept = rows[rows["state"] != LEFT_OUT]
    open_ = (kept["state"] == UNDETERMINED).to_numpy(dtype=bool)
    # Undetermined levels in a row, as they follow one another.
    runs = np.split(open_, np.flatnonzero(~open_))
    return max(int(run.sum()) for run in runs) >= consecutive


#: What only a bound is known of, by the form of the threshold.
_BOUNDED: Final = {
    LEVEL: "the water is",
    CHANGE: "the change is",
    GRADIENT: "the difference of head from the other well is",
}


def _only_bounds(inside: pd.DataFrame, form: str) -> Remark:
    """Return why bounds say nothing of a threshold."""
    bounds = inside[inside["state"] == UNDETERMINED]
    newest = bounds.iloc[-1]
    side = "below" if newest["bound"] == "<=" else "above"
    return Remark(
        f"on {newest['day'].date()} only a bound is known: {_BOUNDED[form]} at or {side} {{}}, on this side of the "
        "threshold or beyond it",
        (float(newest["value_m"]),),
    )
