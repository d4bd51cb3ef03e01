"""Levels, changes or differences held against a threshold: readings in one lane, days of loggers in another.

Every level of the well has a row, beyond the threshold or not; those that do not serve are left out with the reason, so
that a figure can show them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.thresholds.compared import changes_within, differences_of, held_levels
from gwnet.hydro.reduction.thresholds import CROSSED as _AT_OR_BEYOND
from gwnet.hydro.reduction.thresholds import NOT_CROSSED as _SHORT_OF
from gwnet.hydro.reduction.thresholds import threshold_state

#: What is known of one level.
BEYOND: Final = "beyond"
NOT_BEYOND: Final = "not beyond"
UNDETERMINED: Final = "undetermined"
LEFT_OUT: Final = "left out"

#: Where levels come from: one lane each.
MANUAL: Final = "manual"
LOGGER: Final = "logger"
SOURCES: Final = (MANUAL, LOGGER)

#: Columns of `lanes_of`.
LANE_COLUMNS: Final = tuple(
    "source day measured_at value_m uncertainty_m bound state reason review extreme_m extreme_at".split()
)

#: What a threshold limits.
LEVEL: Final = "level"
CHANGE: Final = "change"
GRADIENT: Final = "gradient"

_SHORT: Final = "too soon after the first level"
_EMPTY: Final = pd.DataFrame({name: pd.Series(dtype=object) for name in LANE_COLUMNS})


def lanes_of(
    limit: Mapping[str, Any],
    levels: pd.DataFrame,
    days: pd.DataFrame,
    other_levels: pd.DataFrame | None = None,
    other_days: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return the levels of a well held against one of its thresholds.

    Parameters as `gwnet.analysis.thresholds`.

    Parameters
    ----------
    limit : mapping
        Row of the thresholds.
    levels, days : pandas.DataFrame
        Those of the well.
    other_levels, other_days : pandas.DataFrame, optional
        Those of the other well of a gradient.

    Returns
    -------
    pandas.DataFrame
        Columns of `LANE_COLUMNS`, readings before days, in order of time: source (one of `SOURCES`); local day;
        measured_at as text; value_m, what is held against the threshold: the water elevation, of a bound the bound, the
        change, or the difference from the other well; its 95 % half-width; bound; state (beyond, not beyond,
        undetermined, left out); reason of what is left out; review; and extreme_m with extreme_at, of a day the head
        farthest towards the threshold and its time, else the value [m].

    Notes
    -----
    A level at the threshold is beyond it. A day of a logger counts by its mean: single samples may be spikes. Only
    levels of the time in which the threshold is in force are held against it. How changes and differences come about
    is in `gwnet.analysis.thresholds.compared`. Common practice, no source.
    """
    lanes = [
        _lane(limit, source, held[_in_force(limit, held)])
        for source, held in _held_by_source(limit, levels, days, other_levels, other_days)
    ]
    lanes = [lane for lane in lanes if len(lane)]
    return pd.concat(lanes, ignore_index=True) if lanes else _EMPTY


def _held_by_source(
    limit: Mapping[str, Any],
    levels: pd.DataFrame,
    days: pd.DataFrame,
    other_levels: pd.DataFrame | None,
    other_days: pd.DataFrame | None,
) -> Iterator[tuple[str, pd.DataFrame]]:
    """Yield the levels of each lane as they are held against a threshold."""
    form = form_of(limit)
    others = {source: held_levels(rows) for source, rows in _by_source(other_levels, other_days) if form == GRADIENT}
    for source, rows in _by_source(levels, days):
        held = held_levels(rows)
        if form == CHANGE:
            held = changes_within(held, int(limit["days"]), str(limit["kind"]))
        elif form == GRADIENT:
            # of the other well a level of the same lane goes before one of the other lane
            sources = [MANUAL, LOGGER] if source == LOGGER else [LOGGER, MANUAL]
            partners = [others[name] for name in sources if name in others]
            other = pd.concat(partners, ignore_index=True) if partners else held.iloc[:0]
            held = differences_of(held, other, str(limit["other_well"]))
        yield source, held


def _by_source(levels: pd.DataFrame | None, days: pd.DataFrame | None) -> Iterator[tuple[str, pd.DataFrame]]:
    for source, rows in ((MANUAL, levels), (LOGGER, days)):
        if rows is None or not len(rows):
            continue
        # Levels of loggers may be among those given; they have a lane of their own.
        own = rows[rows["method"] != LOGGER] if source == MANUAL else rows
        if len(own):
            yield source, own


def form_of(limit: Mapping[str, Any]) -> str:
    """Return what a threshold limits: `LEVEL`, `CHANGE` or `GRADIENT`.

    Parameters
    ----------
    limit : mapping
        Row of the thresholds.
    """
    quantity = limit.get("quantity")
    return str(quantity) if quantity in (CHANGE, GRADIENT) else LEVEL


def _in_force(limit: Mapping[str, Any], rows: pd.DataFrame) -> pd.Series:
    """Return which levels were measured while a threshold was in force."""
    inside = pd.Series(True, index=rows.index)
    if not pd.isna(limit["valid_from_utc"]):
        inside &= rows["measured_at_utc"] >= limit["valid_from_utc"]
    # Half-open, as all intervals on record.
    if not pd.isna(limit["valid_until_utc"]):
        inside &= rows["measured_at_utc"] < limit["valid_until_utc"]
    return inside


def _lane(limit: Mapping[str, Any], source: str, held: pd.DataFrame) -> pd.DataFrame:
    level, kind = float(limit["limit_m" if "limit_m" in limit else "elevation_m"]), str(limit["kind"])
    value = held["value_m"].to_numpy(dtype=np.float64)
    states = threshold_state(value, level, kind=kind, bound=held["sign"].to_numpy(dtype=np.int64))
    is_short = (
        # Too soon matters only for "not beyond": a change that is beyond is so after one day.
        held["is_short"].to_numpy(dtype=bool) & (states == _SHORT_OF)
        if "is_short" in held
        else np.zeros(len(held), dtype=bool)
    )
    serves = held["serves"].to_numpy(dtype=bool) & ~is_short
    words = np.select(
        [~serves, states == _AT_OR_BEYOND, states == _SHORT_OF], [LEFT_OUT, BEYOND, NOT_BEYOND], UNDETERMINED
    )
    end = "lowest" if kind == "lower" else "highest"
    return pd.DataFrame(
        {
            "source": source,
            "day": held["day"].to_numpy(),
            "measured_at": held["measured_at"].to_numpy(dtype=object),
            "value_m": value,
            "uncertainty_m": held["uncertainty_m"].to_numpy(dtype=np.float64),
            "bound": held["bound"].to_numpy(dtype=object),
            "state": words.astype(object),
            "reason": np.where(is_short & held["serves"], _SHORT, held["reason"]).astype(object),
            "review": held["review"].to_numpy(dtype=object),
            "extreme_m": held[f"{end}_m"].to_numpy(dtype=np.float64),
            "extreme_at": held[f"{end}_at"].to_numpy(dtype=object),
        }
    )
