"""Events of a hydrograph: what each is drawn as, and where the line through the static levels is broken."""

from __future__ import annotations

import datetime as dt
import math
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.errors import AnalysisError
from gwnet.figures.base.axes import day_number

#: The line is broken where readings are further apart than this many median intervals; project default.
GAP_FACTOR: Final = 3.5
#: A static line never bridges more than this, however seldom a well was measured: two years and a half [d].
LONGEST_BRIDGE_DAYS: Final = 913.0

#: What a mark can stand for, in the order of the key.
KINDS: Final[tuple[str, ...]] = (
    *("level", "estimate", "below the screen", "screen bound", "dry", "flowing", "pumping", "recovering"),
    *("disturbed", "unusable"),
)
#: Marks that stand for a bound and not for a number.
BOUNDS: Final = ("dry", "flowing", "screen bound")
_DISTURBED: Final = {
    "pumping": "pumping",
    "recovering": "recovering",
    "nearby pumping": "disturbed",
    "obstructed": "disturbed",
    "affected by surface water": "disturbed",
    "frozen": "disturbed",
}


def own_rows(levels: pd.DataFrame, well: str) -> pd.DataFrame:
    """Return the rows of one well; refuse wells of one name from several sites."""
    own = levels[levels["well"] == well]
    if "site" in own.columns and own["site"].nunique() > 1:
        message = f"The levels of {well!r} come from {own['site'].nunique()} sites."
        raise AnalysisError(message, fix="Hand over the levels of one site.")
    return own


def in_time(own: pd.DataFrame, start: dt.date | None, end: dt.date | None) -> pd.DataFrame:
    """Return the events from one local date to another, both included."""
    keep = pd.Series(data=True, index=own.index)
    if start is not None:
        keep &= own["day"] >= pd.Timestamp(start)
    if end is not None:
        keep &= own["day"] <= pd.Timestamp(end)
    return own[keep]


def event_kinds(own: pd.DataFrame) -> NDArray[np.object_]:
    """Return what each event is drawn as; empty for one without a level and without a bound."""
    kinds = np.full(len(own), "", dtype=object)
    numbers = own["water_elevation_m"].to_numpy(dtype=np.float64)
    bounds = own["bound_elevation_m"] if "bound_elevation_m" in own else own["water_elevation_m"]
    below_screen = (bounds > own["water_elevation_m"]).to_numpy(dtype=bool)
    columns = (own["status"], own["bound"], own["usable"], own["quality"], own["review"])
    for i, (status, bound, usable, quality, review) in enumerate(zip(*columns, strict=True)):
        if not math.isfinite(numbers[i]):
            continue
        # Before all else: a rejected bound is not one of the aquifer's.
        if review == "rejected":
            kinds[i] = "unusable"
        elif bound == "<=" and below_screen[i]:  # read in the well, while the aquifer's head is a bound
            kinds[i] = "below the screen"
        elif bound == "<=":
            kinds[i] = "dry"
        elif bound == ">=":
            kinds[i] = "flowing"
        elif status in _DISTURBED:
            kinds[i] = _DISTURBED[status]
        # After the statuses: a pumping level is not usable either, and says more as what it is.
        elif not usable:
            kinds[i] = "unusable"
        else:
            kinds[i] = "estimate" if quality == "estimate" else "level"
    return kinds


def with_screen_bounds(
    placed: pd.DataFrame, days: NDArray[np.float64], kind: NDArray[np.object_]
) -> tuple[pd.DataFrame, NDArray[np.float64], NDArray[np.object_]]:
    """Return events in order of time, those read below the screen followed by the bound that they are for the aquifer.

    Parameters
    ----------
    placed : pandas.DataFrame
        Rows of the levels frame, in order of time.
    days : numpy.ndarray, shape (n,)
        Their times [d].
    kind : numpy.ndarray of str, shape (n,)
        What each is drawn as.

    Returns
    -------
    placed : pandas.DataFrame
        With a row of kind ``screen bound`` for each bound, whose water elevation is the bound [m].
    days : numpy.ndarray
        Their times [d].
    kind : numpy.ndarray of str
        What each is drawn as.
    """
    below = np.flatnonzero(kind == "below the screen")
    if not below.size:
        return placed, days, kind
    bounds = placed.iloc[below]
    bounds = bounds.assign(water_elevation_m=bounds["bound_elevation_m"])
    # Each bound right behind its reading.
    order = np.argsort(np.concatenate([np.arange(len(placed)), below + 0.5]), kind="stable")
    kinds = np.concatenate([kind, np.full(below.size, "screen bound", dtype=object)])
    together = pd.concat([placed, bounds], ignore_index=True).iloc[order].reset_index(drop=True)
    return together, np.concatenate([days, days[below]])[order], kinds[order]


def longest_gap(days: NDArray[np.float64], kind: NDArray[np.object_], given: float | None) -> float:
    """Return the longest interval that the static line bridges [d]; NaN with fewer than two static levels."""
    if given is not None:
        return float(given)
    # By days: two readings of one visit would make the usual interval minutes.
    static = np.unique(np.floor(days[np.isin(kind, ("level", "estimate"))]))
    return min(GAP_FACTOR * float(np.median(np.diff(static))), LONGEST_BRIDGE_DAYS) if static.size > 1 else math.nan


def static_lines(
    days: NDArray[np.float64], kind: NDArray[np.object_], gap: float, logged: NDArray[np.float64]
) -> tuple[tuple[int, ...], ...]:
    """Return the pieces of the static line, as positions in order of time.

    A bound between two levels breaks it, so does a gap, and so do logged values (``logged``: their days), which say
    what was in between.
    """
    lines: list[list[int]] = [[]]
    for i, what in enumerate(kind):
        # A line through a dry visit would say that the water was where nobody saw it.
        if what in BOUNDS:
            lines.append([])
        elif what in ("level", "estimate"):
            piece = lines[-1]
            if piece and (days[i] - days[piece[-1]] > gap or _any_between(logged, days[piece[-1]], days[i])):
                lines.append([])
            lines[-1].append(i)
    return tuple(tuple(piece) for piece in lines if len(piece) > 1)


def time_limits(
    days: NDArray[np.float64], series_days: NDArray[np.float64], start: dt.date | None, end: dt.date | None
) -> tuple[float, float]:
    """Return the ends of the time axis: the wanted ones, else the record with a little room."""
    every = np.concatenate([days, series_days])
    low = float(every.min()) if every.size else (day_number(start) if start else day_number(end) - 365 if end else 0.0)
    high = float(every.max()) if every.size else low + 365
    room = max((high - low) * 0.015, 2.0)
    # At least about half a year: three readings of a week are no hydrograph across the whole page.
    if high - low < 120:
        room = (180 - (high - low)) / 2
    first = day_number(start) if start is not None else math.floor(low - room)
    last = day_number(end) + 1 if end is not None else math.ceil(high + room)
    return first, max(last, first + 1)


def _any_between(sorted_days: NDArray[np.float64], first: float, last: float) -> bool:
    low, high = np.searchsorted(sorted_days, (first, last))
    return bool(high > low)
