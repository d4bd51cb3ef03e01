"""The order in which wells are walked to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

#: Place of a well whose coordinates are not on record.
NOWHERE: Final = (math.nan, math.nan)

#: Walks of more wells are not shortened: the work grows with the square of their number.
_MOST_SHORTENED: Final = 300


def walking_order(wells: pd.DataFrame, *, start: str | None = None, last: Sequence[str] = ()) -> list[str]:
    """Return the order in which wells are gauged: the least contaminated first, then always the nearest next.

    Parameters
    ----------
    wells : pandas.DataFrame
        One row a well: well, easting, northing (NaN where not known), role, and contamination as a rank, 0 for clean.
    start : str, optional
        Well from which the walk starts; unless given, the first well by code that is upgradient or background, or else
        the first by code, of the lowest rank.
    last : sequence of str, optional
        Wells to be gauged after all others, in this order.

    Returns
    -------
    list of str
        Codes, each once. Wells of equal distance go by code, those without coordinates last within their rank. The same
        wells give the same order whatever the order of the rows.

    Notes
    -----
    Least contaminated first keeps a tape from carrying contamination onward (practice of field procedures). Within a
    rank the walk goes to the nearest well next, and is then shortened by turning parts of it round while that helps;
    it is short, not proved to be the shortest.
    """
    # By code first, so that equal distances give the same walk each time.
    frame = wells.sort_values("well", kind="stable")
    place = {row.well: (float(row.easting), float(row.northing)) for row in frame.itertuples()}
    ranks = {row.well: int(row.contamination) for row in frame.itertuples()}
    left = [code for code in frame["well"] if code not in last]
    here = start if start is not None else _first(frame[frame["well"].isin(left)])
    position = place.get(here, NOWHERE)
    order: list[str] = []
    for rank in sorted({ranks[code] for code in left}):
        rest = [code for code in left if ranks[code] == rank]
        walk = _shortened(_nearest_next(rest, place, position, here), place, position)
        order += walk
        # The last place that is known: a well without coordinates leaves the walk where it was.
        position = next((place[code] for code in reversed(walk) if _is_known(place[code])), position)
    return [*order, *(code for code in last if code in place)]


def _nearest_next(
    wells: Sequence[str], place: dict[str, tuple[float, float]], position: tuple[float, float], here: str
) -> list[str]:
    """Return the wells from a position, always the nearest next; among equals ``here`` goes first, then by code."""
    rest, walk = list(wells), []
    while rest:
        code = min(rest, key=lambda other: (_distance(position, place[other]), other != here, other))
        rest.remove(code)
        walk.append(code)
        if _is_known(place[code]):
            position = place[code]
    return walk


def _shortened(walk: list[str], place: dict[str, tuple[float, float]], position: tuple[float, float]) -> list[str]:
    """Turn parts of a walk round while that makes it shorter; its start stays, wells without a place stay last."""
    known = [code for code in walk if _is_known(place[code])]
    begins = _is_known(position) and bool(known) and place[known[0]] != position
    points = np.array([*([position] if begins else []), *(place[code] for code in known)])
    if len(points) < 4 or len(points) > _MOST_SHORTENED:
        return walk
    order = np.arange(len(points))
    while (turn := _best_turn(points[order])) is not None:
        first, final = turn
        order[first : final + 1] = order[first : final + 1][::-1].copy()
    shorter = [known[index - begins] for index in order.tolist() if index >= begins]
    return [*shorter, *(code for code in walk if code not in known)]


def _best_turn(path: NDArray[np.float64]) -> tuple[int, int] | None:
    """Return the first and last place of the part whose turning shortens a path most; None where none does."""
    steps = np.hypot(*np.diff(path, axis=0).T)
    onward = np.append(steps, 0.0)
    # Below rounding, or two equal walks would be turned into each other without end.
    best, turn = -1e-6, None
    for first in range(1, len(path) - 1):
        ends = np.arange(first + 1, len(path))
        joined = np.hypot(*(path[ends] - path[first - 1]).T)
        after = np.append(np.hypot(*(path[ends[:-1] + 1] - path[first]).T), 0.0)
        change = joined + after - steps[first - 1] - onward[ends]
        place = int(np.argmin(change))
        if change[place] < best:
            best, turn = float(change[place]), (first, int(ends[place]))
    return turn


def _first(wells: pd.DataFrame) -> str:
    """Return the well that a walk starts from when none is named."""
    if wells.empty:
        return ""
    clean = wells[wells["contamination"] == wells["contamination"].min()]
    # Upgradient first among the clean: water there has met nothing of the site.
    above = clean[clean["role"].str.lower().str.contains("upgradient|background", regex=True)]
    return str((clean if above.empty else above)["well"].iloc[0])


def _is_known(place: tuple[float, float]) -> bool:
    """Return whether both coordinates of a place are on record."""
    return not any(math.isnan(coordinate) for coordinate in place)


def _distance(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return the distance between two places; one that is not known lies beyond all others."""
    # A well without a place comes after all that can be walked to.
    if not _is_known(other):
        return math.inf
    return math.dist(one, other) if _is_known(one) else 0.0
