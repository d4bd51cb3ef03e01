"""Slopes of given rank among all pairs of a long series, without making all of them."""

from __future__ import annotations

import bisect
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gwnet.hydro.trends.inversions import Indices, count_inversions, list_inversions, ranks_in_order

Floats = NDArray[np.float64]

#: Pairs drawn to guess where a rank may lie.
DRAWN = 20_000
#: As many slopes between two bounds are made at once.
LISTED = 150_000
#: Times the bounds are drawn together; beyond it ties stand in the way.
STEPS = 60
#: Rounding of one operation in double precision.
ROUNDING = float(np.finfo(np.float64).eps)


def ranked_slopes(values: Floats, times: Floats, slope_count: int, places: Sequence[int]) -> dict[int, float]:
    """Return the slopes at given places of the sorted slopes of all pairs.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Values, in the order of time, then of value.
    times : ndarray of float64, shape (n,)
        Their times, ascending; ties allowed.
    slope_count : int
        Number of pairs at different times.
    places : sequence of int
        Places counted from 0.

    Returns
    -------
    dict of int to float
        Slope at each place, the same to the last bit as by sorting all slopes.

    Notes
    -----
    The slope of a pair is below θ when y − θ t puts it in the wrong order; that many inversions are counted in
    O(n log n) (Cole, Salowe, Steiger and Szemerédi, 1989). A drawn sample of slopes gives bounds around each place;
    counting draws them together until few slopes lie between, which are then made and sorted. Rounding in y − θ t
    can put a slope on the wrong side of a bound only when it lies within a margin of it; a result that does not
    stand clear of both margins is taken again with wider bounds. Slopes of 0 are counted without rounding.
    """
    search = _Search(values, times, slope_count)
    slopes: dict[int, float] = {}
    # ascending, since one search often settles the places beside it as well
    for place in sorted(places):
        if place not in slopes:
            search.around(place, [other for other in places if other not in slopes], slopes)
    return slopes


class _Search:
    """Counts so far of slopes below bounds, for one series."""

    def __init__(self, values: Floats, times: Floats, slope_count: int) -> None:
        self.values, self.times, self.slope_count = values, times, slope_count
        steps = np.diff(times)
        self.shortest = float(steps[steps > 0].min())
        self.largest_value = float(np.abs(values).max())
        # a shift of time moves no slope below θ; rounding of the shift is part of the margin
        self.shifted = times - times[times.size // 2]
        self.largest_time = float(np.abs(self.shifted).max())
        self.farthest = float(np.abs(times).max())
        self.falling = count_inversions(values)
        # turned round within a time, so that pairs at one time stay out
        order = np.lexsort((-values, times))
        rising = count_inversions(-values[order])
        self.level = slope_count - self.falling - rising
        self.thetas: list[float] = []
        self.counts: list[int] = []
        random = np.random.default_rng(0)
        first, second = np.sort(random.integers(0, values.size, (2, DRAWN)), axis=0)
        apart = times[second] - times[first]
        # steeper than any slope can be
        self.steepest = 4.0 * self.largest_value / self.shortest
        slopes = (values[second] - values[first])[apart > 0] / apart[apart > 0]
        self.drawn = np.sort(np.append(slopes, [-self.steepest, self.steepest]))

    def around(self, place: int, others: Sequence[int], found: dict[int, float]) -> None:
        """Find the slope at a place, and those at others that lie between the same bounds."""
        # slopes of 0 are known from whole counts, without any rounding
        if self.falling <= place < self.falling + self.level:
            found[place] = 0.0
            return
        low, high = self._bracket(place)
        # slopes at the edge of the bounds may have been put on the wrong side by rounding: wider bounds settle them
        for _ in range(3):
            if self._settle(place, [place, *others], (low, high), *self._between(low, high), found):
                return
            low, high = low - 4.0 * self._margin(low), high + 4.0 * self._margin(high)
        # values so large beside their differences that rounding spoils every bound: compare all pairs
        while place not in found:
            everything = self._all_between(low, high)
            self._settle(place, [place], (-np.inf, np.inf), *everything, found)
            low, high = low - (high - low), high + (high - low)

    def _settle(
        self,
        place: int,
        places: Sequence[int],
        bounds: tuple[float, float],
        below: int,
        candidates: Floats,
        counts: NDArray[np.int64],
        found: dict[int, float],
    ) -> bool:
        """Note the places that stand clear of the bounds; return whether the one asked for is among them."""
        ends = below + np.cumsum(counts)
        clear_low = bounds[0] + self._margin(bounds[0]) if np.isfinite(bounds[0]) else -np.inf
        clear_high = bounds[1] - self._margin(bounds[1]) if np.isfinite(bounds[1]) else np.inf
        for wanted in places:
            at = int(np.searchsorted(ends, wanted, side="right"))
            if wanted >= below and at < ends.size and clear_low < candidates[at] < clear_high:
                found[wanted] = float(candidates[at])
        return place in found

    def _margin(self, theta: float) -> float:
        """Return how far from a bound rounding can put a slope on its wrong side."""
        # what y − θ t may lose: the rounding of its two terms and of the shift of time
        size = self.largest_value + abs(theta) * (self.largest_time + self.farthest)
        return 8.0 * ROUNDING * (size / self.shortest + abs(theta))

    def _order(self, theta: float) -> Indices:
        return ranks_in_order(self.values - theta * self.shifted)

    def _count(self, theta: float) -> int:
        """Return how many slopes are below a bound, but for rounding."""
        # several places are looked for, and the same bound must not be counted twice
        at = bisect.bisect_left(self.thetas, theta)
        if at < len(self.thetas) and self.thetas[at] == theta:
            return self.counts[at]
        count = count_inversions(self.values - theta * self.shifted)
        self.thetas.insert(at, theta)
        self.counts.insert(at, count)
        return count

    def _bracket(self, place: int) -> tuple[float, float]:
        """Return bounds with the place between them and, ties apart, few other slopes."""
        low, high = self._guess(place)
        for _ in range(STEPS):
            below, above = self._count(low), self._count(high)
            # few enough to be made and sorted
            if above - below <= LISTED:
                break
            middle = self._middle(low, high, below, above, place)
            # tied slopes fill what is left, and no bound can part them
            if not low + self._margin(low) < middle < high - self._margin(high):
                break
            if self._count(middle) <= place:
                low = middle
            else:
                high = middle
        return low, high

    def _guess(self, place: int) -> tuple[float, float]:
        """Return bounds with the place surely between them, from counts so far or from the sample."""
        size = self.drawn.size
        share = place / self.slope_count
        reach = 3.0 * np.sqrt(share * (1.0 - share) / size) + 2.0 / size
        while True:
            low = self._drawn_at(share - reach)
            if self._count(low) <= place:
                break
            reach *= 2.0
        reach = 3.0 * np.sqrt(share * (1.0 - share) / size) + 2.0 / size
        while True:
            high = self._drawn_at(share + reach)
            if self._count(high) > place:
                break
            reach *= 2.0
        # counts made for other places may stand nearer
        after = bisect.bisect_right(self.counts, place)
        return max(low, self.thetas[after - 1]), min(high, self.thetas[after])

    def _drawn_at(self, share: float) -> float:
        """Return the slope below which a share of the sample lies; a bound of all slopes outside 0 to 1."""
        if not 0.0 < share < 1.0:
            return -self.steepest if share <= 0.0 else self.steepest
        at = min(int(share * self.drawn.size), self.drawn.size - 2)
        return float(self.drawn[at] + self.drawn[at + 1]) / 2.0

    def _middle(self, low: float, high: float, below: int, above: int, place: int) -> float:
        """Return a bound near to the place, on the side that cuts more away."""
        first, last = (int(at) for at in np.searchsorted(self.drawn, [low, high]))
        inside = last - first
        share = (place - below) / (above - below)
        reach = 1.5 / np.sqrt(max(inside, 1))
        # too few drawn slopes are left between the bounds to say where the place is
        if reach > 0.25:
            return low + (high - low) / 2.0
        # beside the place rather than at it, so that the larger part is surely cut away
        cut = share - reach if share > 0.5 else share + reach
        return self._drawn_at((first + cut * inside) / self.drawn.size)

    def _between(self, low: float, high: float) -> tuple[int, Floats, NDArray[np.int64]]:
        """Return how many slopes are below the lower bound, and those between the bounds with their numbers."""
        ranks_low, ranks_high = self._order(low), self._order(high)
        at_high = np.empty_like(ranks_high)
        at_high[ranks_high] = np.arange(ranks_high.size)
        # order above seen from the order below: each inversion is a slope between the bounds
        turned = np.empty_like(ranks_high)
        turned[ranks_low] = ranks_high
        tally = _Tally()
        for larger, smaller in list_inversions(turned):
            first, second = at_high[larger], at_high[smaller]
            # rounding may invert a pair at one time, which has no slope
            right = first < second
            if not right.all():
                first, second = first[right], second[right]
            tally.add((self.values[second] - self.values[first]) / (self.times[second] - self.times[first]))
        return self._count(low), *tally.result()

    def _all_between(self, low: float, high: float) -> tuple[int, Floats, NDArray[np.int64]]:
        """Return the same as `_between` from all pairs, some rows at a time: no rounding, but O(n²)."""
        below, tally = 0, _Tally()
        for at in range(self.values.size - 1):
            apart = self.times[at + 1 :] - self.times[at]
            slopes = (self.values[at + 1 :] - self.values[at])[apart > 0] / apart[apart > 0]
            below += int(np.count_nonzero(slopes < low))
            tally.add(slopes[(slopes >= low) & (slopes <= high)])
        return below, *tally.result()


class _Tally:
    """Numbers of equal slopes, so that many ties take little memory."""

    def __init__(self) -> None:
        self.slopes, self.counts = np.empty(0), np.empty(0, dtype=np.int64)
        self.waiting: list[Floats] = []
        self.size = 0

    def add(self, slopes: Floats) -> None:
        """Take in slopes."""
        self.waiting.append(slopes)
        self.size += slopes.size
        # only so many wait that their memory stays that of the counts
        if self.size > 2 * LISTED:
            self.result()

    def result(self) -> tuple[Floats, NDArray[np.int64]]:
        """Return the different slopes, ascending, and how many there are of each."""
        slopes, counts = np.unique(np.concatenate([np.empty(0), *self.waiting]), return_counts=True)
        self.waiting, self.size = [], 0
        if self.slopes.size:
            both, place = np.unique(np.concatenate([self.slopes, slopes]), return_inverse=True)
            numbers = np.concatenate([self.counts, counts])
            slopes, counts = both, np.bincount(place, weights=numbers).astype(np.int64)
        self.slopes, self.counts = slopes, np.asarray(counts, dtype=np.int64)
        return self.slopes, self.counts
