"""Which labels a crowded map carries, and how wells of one place are named together."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.figures.base.placement import PlacedLabel
from gwnet.figures.maps.context import MOST_LABELS

#: Longest line to a label where there are more wells than labels [mm]; a farther one is left out. Project default.
_LONGEST_LEADER_MM: Final = 9.0
#: Levels of either end that are labelled before others.
_EXTREMES: Final = 3
#: Wells nearer to each other than this on paper have one label [mm].
SAME_PLACE_MM: Final = 0.3
_MOST_NAMES: Final = 6
#: Two groups of wells are on maps of their own where the gap between them is so many times as wide as the larger group,
#: and there are at least so many wells. Project defaults: on one map either group would be a dot.
_FAR_APART: Final = 3.0
_LEAST_SPLIT: Final = 12
_SEPARATORS: Final = "-_ ./:"

Points = NDArray[np.float64]


def choose_labelled(
    places: Points, values: Sequence[float], first: Sequence[bool], most: int = MOST_LABELS
) -> NDArray[np.bool_]:
    """Return which of many points are labelled: all where they are few enough.

    Parameters
    ----------
    places : numpy.ndarray, shape (n, 2)
        Where the points are [mm].
    values : sequence of float
        What is written at each; NaN where it is no number.
    first : sequence of bool
        Points that come before all others.
    most : int, optional
        How many labels there may be.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        In order: those that come first, the highest and the lowest values, the outermost points, then always the
        point that is farthest from those chosen, so that the rest are spread evenly.
    """
    count = len(places)
    chosen = np.zeros(count, dtype=bool)
    if count <= most:
        return ~chosen
    numbers = np.asarray(values, dtype=np.float64)
    order = [int(i) for i in np.argsort(numbers, kind="stable") if math.isfinite(numbers[i])]
    ends = [*order[:_EXTREMES], *order[::-1][:_EXTREMES]]
    for i in (*np.flatnonzero(np.asarray(first, dtype=bool)), *ends, *_outermost(places)):
        if chosen.sum() < most:
            chosen[i] = True
    distance = np.full(count, np.inf)
    for i in np.flatnonzero(chosen):
        distance = np.minimum(distance, np.hypot(*(places - places[i]).T))
    while chosen.sum() < most:
        farthest = int(np.argmax(np.where(chosen, -1.0, distance)))
        chosen[farthest] = True
        distance = np.minimum(distance, np.hypot(*(places - places[farthest]).T))
    return chosen


def _outermost(places: Points) -> list[int]:
    """Return the corners of the hull of points, in order of their place in the list."""
    order = sorted(range(len(places)), key=lambda i: (places[i][0], places[i][1]))

    def half(indices: Sequence[int]) -> list[int]:
        hull: list[int] = []
        for i in indices:
            while len(hull) > 1 and _turn(places[hull[-2]], places[hull[-1]], places[i]) <= 0:
                hull.pop()
            hull.append(i)
        return hull

    return sorted({*half(order), *half(order[::-1])})


def _turn(a: Points, b: Points, c: Points) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def is_far(label: PlacedLabel | None) -> bool:
    """Return whether a label is so far from its point that many of its kind would hide the map."""
    if label is None or not label.leader:
        return False
    (x0, y0), (x1, y1) = label.leader
    return math.hypot(x1 - x0, y1 - y0) > _LONGEST_LEADER_MM


def group_places(places: Points, near_mm: float = SAME_PLACE_MM) -> list[list[int]]:
    """Return the points of each place on paper, in order of the first of each place.

    Parameters
    ----------
    places : numpy.ndarray, shape (n, 2)
        Where the points are [mm].
    near_mm : float, optional
        Points nearer than this to the first one of a place belong to it.
    """
    groups: list[list[int]] = []
    heads: Points = np.empty((0, 2))
    for i, place in enumerate(places):
        near = np.flatnonzero(np.hypot(heads[:, 0] - place[0], heads[:, 1] - place[1]) < near_mm)
        if len(near):
            groups[int(near[0])].append(i)
        else:
            groups.append([i])
            heads = np.vstack([heads, place])
    return groups


def join_names(names: Sequence[str]) -> str:
    """Return the names of wells of one place as one: what they share once, then what tells them apart.

    Examples
    --------
    >>> join_names(["MW-12-U", "MW-12-M", "MW-12-L"])
    'MW-12 U, M, L'
    >>> join_names(["N1", "P-7"])
    'N1, P-7'
    """
    ordered = list(dict.fromkeys(names))
    if len(ordered) < 2:
        return "".join(ordered)
    shared = _shared_start(ordered)
    ends = [name[len(shared) :] for name in ordered] if shared else ordered
    kept = ends if len(ends) <= _MOST_NAMES else [*ends[: _MOST_NAMES - 1], f"and {len(ends) - _MOST_NAMES + 1} more"]
    return f"{shared.rstrip(_SEPARATORS)} {', '.join(kept)}" if shared else ", ".join(kept)


def _shared_start(names: Sequence[str]) -> str:
    """Return the place that all names begin with: up to a separator or the end of its number; empty for none."""
    shortest = min(len(name) for name in names)
    length = next((i for i in range(shortest) if len({name[i] for name in names}) > 1), shortest)
    while length > 0:
        start, rests = names[0][:length], [name[length:] for name in names]
        ends = start[-1] in _SEPARATORS or (start[-1].isdigit() and all(rest[:1].isalpha() for rest in rests))
        if ends and all(rests) and re.search(r"\d", start):
            return start
        length -= 1
    return ""


def split_basins(places: Points) -> list[list[int]]:
    """Return wells in groups that are far from each other beside what the larger of them reaches; the largest first.

    Parameters
    ----------
    places : numpy.ndarray, shape (n, 2)
        Coordinates.

    Returns
    -------
    list of list of int
        One group where the wells are no such groups apart, or so few that one map shows them all. A single well far
        from all others is a group.
    """
    indices = list(range(len(places)))
    parts = _split(places, indices)
    return sorted(parts, key=lambda part: (-len(part), part[0]))


def _split(places: Points, members: list[int]) -> list[list[int]]:
    """Cut a group at its widest gap, again and again while the gap is wider than both sides reach."""
    if len(members) < _LEAST_SPLIT:
        return [members]
    left, right, gap = _widest_gap(places, members)
    if gap <= _FAR_APART * max(_reach(places[left]), _reach(places[right])):
        return [members]
    return [*_split(places, left), *_split(places, right)]


def _reach(places: Points) -> float:
    return float(np.hypot(*(places.max(axis=0) - places.min(axis=0))))


def _widest_gap(places: Points, members: list[int]) -> tuple[list[int], list[int], float]:
    """Return the two sides of the longest edge of the shortest tree that joins points, and its length."""
    at = places[members]
    near, parent = np.full(len(at), np.inf), np.zeros(len(at), dtype=int)
    waiting, order, last = np.ones(len(at), dtype=bool), [0], 0
    waiting[0] = False
    edges = []
    while waiting.any():
        distance = np.hypot(*(at - at[last]).T)
        closer = waiting & (distance < near)
        near[closer], parent[closer] = distance[closer], last
        last = int(np.argmin(np.where(waiting, near, np.inf)))
        waiting[last] = False
        order.append(last)
        edges.append((float(near[last]), last))
    gap, cut = max(edges)
    beyond = {cut}
    for i in order[order.index(cut) + 1 :]:
        if int(parent[i]) in beyond:
            beyond.add(i)
    sides = [m for i, m in enumerate(members) if i not in beyond], [m for i, m in enumerate(members) if i in beyond]
    return *sides, gap
