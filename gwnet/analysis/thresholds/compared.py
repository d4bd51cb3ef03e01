"""Levels as they are held against thresholds: alone, as changes within some days, or as differences of two wells.

A change is that from the lowest level of the days before to a level for a limit on rising water, and from the highest
one for a limit on falling water: a change that is larger than the limit at any time within the days is found. It is
beyond the limit from any level of those days, and said not to be beyond only where one of them lies half the days back
or more (project default): a logger's second day says little of a month. Levels of one lane alone are compared.

A difference is that of the levels of two wells on one local day. A reading is held against the last reading of that day
at the other well, else against the mean of its logger's day; a day of a logger against that of the other logger, else
against a reading. Common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.bounds import bound_elevations
from gwnet.analysis.levels.changes import change_half_width
from gwnet.analysis.levels.serving import judge_levels

#: Share of the days of a change that its levels must be apart to say that it is not beyond. Project default.
LEAST_SHARE: Final = 0.5

#: Decimals of metres that changes and differences are held against limits with.
DECIMALS: Final = 9

_SIGN: Final = {"<=": -1, ">=": 1, "": 0}
_TURNED: Final = {"<=": ">=", ">=": "<=", "": ""}


def held_levels(rows: pd.DataFrame) -> pd.DataFrame:
    """Return levels as they are held against a threshold on the water elevation.

    Parameters
    ----------
    rows : pandas.DataFrame
        Levels of one well and one lane, as `gwnet.analysis.thresholds`.

    Returns
    -------
    pandas.DataFrame
        In order of time: measured_at_utc, event_id, day, measured_at, value_m (of a bound the bound), uncertainty_m,
        bound, sign (-1, 0, 1), serves, reason, review, and lowest_m, lowest_at, highest_m, highest_at, of a reading
        the reading.
    """
    # By event too: of two levels at one instant the order must be the same each time.
    rows = rows.sort_values(["measured_at_utc", "event_id"], kind="stable").reset_index(drop=True)
    judged = judge_levels(rows, "threshold")
    value = bound_elevations(rows)
    shared = [name for name in ("measuring_point", "survey_uncertainty_m") if name in rows]
    columns = ["measured_at_utc", "event_id", "day", "measured_at", "uncertainty_m", "bound", "review", *shared]
    held = rows[columns].assign(
        value_m=value,
        sign=np.array([_SIGN[bound] for bound in rows["bound"]], dtype=np.int64),
        serves=judged["serves"].to_numpy(dtype=bool),
        reason=judged["reason"].to_numpy(dtype=object),
    )
    for end in ("lowest", "highest"):
        extreme, when = value, rows["measured_at"].to_numpy(dtype=object)
        # A day of a logger has extremes; a reading is its own.
        if f"{end}_m" in rows:
            own = rows[f"{end}_m"].to_numpy(dtype=np.float64)
            known = ~np.isnan(own)
            extreme, when = np.where(known, own, value), np.where(known, rows[f"{end}_at"], when)
        held[f"{end}_m"], held[f"{end}_at"] = extreme, when
    return held


def changes_within(held: pd.DataFrame, days: int, kind: str) -> pd.DataFrame:
    """Return levels as the changes to them within some days.

    Parameters
    ----------
    held : pandas.DataFrame
        As of `held_levels`.
    days : int
        How many days a change may take.
    kind : {"lower", "upper"}
        Whether falls or rises are limited.

    Returns
    -------
    pandas.DataFrame
        As of `held_levels`, in which value_m is the change, positive for a rise [m], and ``is_short`` says that no
        level lies back far enough to say that the change is not beyond a limit. Levels without one in the days before
        do not serve.
    """
    day = _days_of(held)
    is_number = (held["serves"] & (held["sign"] == 0)).to_numpy(dtype=bool)
    places = np.flatnonzero(is_number)
    level = held["value_m"].to_numpy(dtype=np.float64)
    first = np.searchsorted(day[places], day - days, side="left")
    # Up to the day before: levels of one day are not compared with each other.
    stop = np.searchsorted(day[places], day, side="left")
    change, is_short = np.full(len(held), np.nan), np.ones(len(held), dtype=bool)
    partner = np.full(len(held), -1)
    for row in np.flatnonzero(stop > first):
        before = places[first[row] : stop[row]]
        # From the lowest level for a rise and from the highest for a fall: the largest change within the days.
        place = before[np.argmin(level[before]) if kind == "upper" else np.argmax(level[before])]
        change[row] = level[row] - level[place]
        partner[row] = place
        # Too soon after the first level nothing is said of a change over so many days.
        is_short[row] = day[row] - day[before[0]] < LEAST_SHARE * days
    # A level that is compared with none has no half-width either.
    then = held.iloc[np.maximum(partner, 0)] if len(held) else held
    width = np.where(partner >= 0, change_half_width(held, then), np.nan)
    alone = held["serves"].to_numpy(dtype=bool) & np.isnan(change)
    noun = "day" if days == 1 else f"{days} days"
    return _with_values(held, change, width, held["bound"], alone, f"no level in the {noun} before").assign(
        is_short=is_short
    )


def differences_of(held: pd.DataFrame, others: pd.DataFrame, other: str) -> pd.DataFrame:
    """Return levels as their differences from those of another well on the same day.

    Parameters
    ----------
    held, others : pandas.DataFrame
        Levels of the well and of the other one, as of `held_levels`; of several on one day the last row counts.
    other : str
        Code of the other well.

    Returns
    -------
    pandas.DataFrame
        As of `held_levels`, in which value_m is the level of the well less that of the other one [m]. Levels of days
        on which the other well has none do not serve.
    """
    # The last reading of the day that serves, in the order of time.
    last = others[others["serves"].to_numpy(dtype=bool)].groupby("day", sort=False).tail(1).set_index("day")
    partner = last.reindex(held["day"])
    difference = held["value_m"].to_numpy(dtype=np.float64) - partner["value_m"].to_numpy(dtype=np.float64)
    width = np.hypot(
        held["uncertainty_m"].to_numpy(dtype=np.float64), partner["uncertainty_m"].to_numpy(dtype=np.float64)
    )
    # A bound at the other well turns round: what lies at or below it makes the difference at or above.
    turned = [_TURNED.get(bound, "") for bound in partner["bound"]]
    pairs = list(zip(held["bound"], turned, strict=True))
    bounds = pd.Series([own or theirs for own, theirs in pairs], index=held.index, dtype=object)
    # Two bounds that pull apart leave the difference open on both sides.
    both = np.array([bool(own and theirs) and own != theirs for own, theirs in pairs], dtype=bool)
    serves = held["serves"].to_numpy(dtype=bool)
    table = _with_values(
        held, difference, width, bounds, serves & np.isnan(difference), f"no level of {other} that day"
    )
    is_open = both & table["serves"].to_numpy(dtype=bool)
    # Both levels must be approved.
    reviews = np.where(partner["review"].to_numpy(dtype=object) == "approved", table["review"], "provisional")
    return table.assign(
        serves=table["serves"] & ~is_open,
        reason=np.where(is_open, "only bounds are known at both wells", table["reason"]),
        review=reviews.astype(object),
    )


def _with_values(
    held: pd.DataFrame,
    value: NDArray[np.float64],
    width: NDArray[np.float64],
    bound: pd.Series,
    lacks: NDArray[np.bool_],
    why: str,
) -> pd.DataFrame:
    """Return levels with other values; those that lack what they are compared with do not serve."""
    at = held["measured_at"].to_numpy(dtype=object)
    value = np.round(value, DECIMALS)  # a difference of 0.6 m is not 0.5999999999999996 m
    return held.assign(
        value_m=value,
        uncertainty_m=width,
        bound=bound,
        sign=np.array([_SIGN[sign] for sign in bound], dtype=np.int64),
        serves=held["serves"].to_numpy(dtype=bool) & ~lacks,
        reason=np.where(lacks, why, held["reason"]).astype(object),
        lowest_m=value,
        lowest_at=at,
        highest_m=value,
        highest_at=at,
    )


def _days_of(held: pd.DataFrame) -> NDArray[np.int64]:
    days: NDArray[np.int64] = held["day"].to_numpy().astype("datetime64[D]").astype(np.int64)
    return days
