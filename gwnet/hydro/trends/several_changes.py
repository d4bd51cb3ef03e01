"""Several steps of a level at dates that are looked for: how many there are, when, with serial correlation taken out.

A series whose values remember wanders, and a wander looks like steps. So each number of steps is compared for all
correlations at once, against a level, a line and a line with a bend; every step costs for its size and its date.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import TooFewLevelsError
from gwnet.hydro.trends.correlated_line import LEAST_SPREAD, error_grid, whiten

Floats = NDArray[np.float64]

#: Most steps that are looked for (project default).
MOST_STEPS = 5
#: What every step and every bend costs beside its size and date (project default, after simulation: without it one
#: short record in eight has a step that is none).
STEP_COST = 1.0


@dataclass(frozen=True, slots=True)
class FoundChanges:
    """Steps at the dates that describe a series best.

    Attributes
    ----------
    places : tuple of int
        Places of the dates among those that were looked at, ascending; empty where a level does as well.
    intervals : tuple of (int, int)
        Places of the first and last date of the interval of each.
    gain : float
        By how much the logarithm of the likelihood, costs taken off, is above that of a level.
    line_gain : float
        The same of a line, with or without one bend.
    """

    places: tuple[int, ...]
    intervals: tuple[tuple[int, int], ...]
    gain: float
    line_gain: float

    @property
    def steps_describe_best(self) -> bool:
        """Return whether steps describe the series better than a level, a line and a line with a bend."""
        return bool(self.places) and self.gain > self.line_gain


class _Fits:
    """Likelihoods of sets of columns beside a design, over all correlations."""

    def __init__(
        self, times: Floats, values: Floats, design: Floats, columns: Floats, grid: tuple[Floats, Floats, Floats]
    ) -> None:
        n, k = design.shape
        correlation, scatter, prior = grid
        white, log_determinant, _, _ = whiten(times, np.column_stack([design, values, columns]), correlation, scatter)
        basis, triangle = np.linalg.qr(white[:, :, :k])
        rest = white[:, :, k:] - basis @ (basis.transpose(0, 2, 1) @ white[:, :, k:])
        self.gram = np.einsum("gni,gnj->gij", rest, rest)
        self.degrees, self.floor = n - k, n * LEAST_SPREAD**2
        inner = 2.0 * np.log(np.abs(np.diagonal(triangle, axis1=1, axis2=2))).sum(axis=1)
        self.base = np.log(prior / prior.sum()) - (log_determinant + inner) / 2.0

    def logs(self, sets: list[tuple[int, ...]]) -> Floats:
        """Return the logarithms of the likelihoods of sets of as many columns each, the first column being 0."""
        places = np.array(sets, dtype=np.int64) + 1
        square = self.gram[:, places[:, :, None], places[:, None, :]]
        moment = self.gram[:, places, 0]
        count = places.shape[1]
        if count:
            # a touch of ridge: dates between two values give the same column twice
            square = square + 1e-9 * np.trace(square, axis1=2, axis2=3)[:, :, None, None] * np.eye(count)
            best = np.linalg.solve(square, moment[..., None])[..., 0]
            left = self.gram[:, 0, 0][:, None] - (best * moment).sum(axis=2)
        else:
            left = np.repeat(self.gram[:, 0, 0][:, None], len(places), axis=1)
        left = np.maximum(left, self.floor)
        each = self.base[:, None] - self.degrees / 2.0 * np.log(left)
        top = each.max(axis=0)
        return np.asarray(top + np.log(np.exp(each - top).sum(axis=0)), dtype=np.float64)


def find_changes(
    times: Floats, values: Floats, design: Floats, dates: Floats, *, apart: float = 2.0, coverage: float = 0.95
) -> FoundChanges:
    """Find how many steps a series has, and when.

    Parameters
    ----------
    times : ndarray of float64, shape (n,)
        Times, ascending [years].
    values : ndarray of float64, shape (n,)
        Values, without NaN.
    design : ndarray of float64, shape (n, k)
        Columns of the model without a step, a level among them, of full rank.
    dates : ndarray of float64, shape (c,)
        Dates at which there may be a step, ascending [years].
    apart : float
        Least time between two steps [years].
    coverage : float
        Share of the posterior of a date in its interval.

    Returns
    -------
    FoundChanges
        The steps.

    Raises
    ------
    TooFewLevelsError
        If there are too few values for two steps, or no date.

    Notes
    -----
    The likelihood of a set of steps is the restricted likelihood of `gwnet.hydro.trends.correlated_line`, with the
    scale integrated out and summed over all correlations. Its logarithm, less ½ log n for the size (Schwarz, 1978) and
    log c + 1 for the date of each step (all are equally likely beforehand), is largest for the number of steps that is
    given. Pairs of dates are all tried; more are added one by one, each date being moved until nothing gets better.
    Each date's interval is for the others as found. A line costs ½ log n, a bend as much again and its date. Where not
    even independent values would have a step or two, nothing further is tried.

    References
    ----------
    .. [1] Schwarz, G. (1978). Estimating the dimension of a model. Annals of Statistics 6, 461–464.

    Examples
    --------
    >>> times = np.arange(40.0)
    >>> levels = np.where((times >= 12.0) & (times < 25.0), 3.0, 0.0) + 0.3 * np.sin(7.0 * times)
    >>> find_changes(times, levels, np.ones((40, 1)), np.arange(4.0, 37.0)).places
    (8, 21)
    """
    n, c = values.size, dates.size
    if not c or n - design.shape[1] < 4:
        message = f"Several steps need dates and four values more than columns; found {c} dates and {n} values."
        raise TooFewLevelsError(message)
    steps = (times[:, None] >= dates).astype(np.float64)
    bends = np.maximum(times[:, None] - dates, 0.0)
    of_size = math.log(n) / 2.0
    of_step = of_size + math.log(c) + STEP_COST
    few = [sets for sets in (_sets_of((), count, dates, apart) for count in (1, 2)) if sets]
    independent = _Fits(times, values, design, steps, (np.zeros(1), np.zeros(1), np.ones(1)))
    least = float(independent.logs([()])[0])
    if all(independent.logs(sets).max() - least <= len(sets[0]) * of_step for sets in few):
        return FoundChanges((), (), 0.0, 0.0)
    fits = _Fits(times, values, design, np.column_stack([steps, times - times.mean(), bends]), error_grid())
    level = float(fits.logs([()])[0])
    line = float(fits.logs([(c,)])[0]) - level - of_size
    bent = float(fits.logs([(c, c + 1 + k) for k in range(c)]).max()) - level - of_size - of_step
    most = min(MOST_STEPS, n - design.shape[1] - 3)
    best: tuple[int, ...] = ()
    gain = 0.0
    chosen: tuple[int, ...] = ()
    for count in range(1, most + 1):
        sets = _sets_of(chosen, count, dates, apart)
        if not sets:
            break
        chosen = _moved(fits, sets[int(np.argmax(fits.logs(sets)))], dates, apart)
        reached = float(fits.logs([chosen])[0]) - level - count * of_step
        if reached > gain:
            best, gain = chosen, reached
    intervals = tuple(_interval(fits, best, k, dates, apart, coverage) for k in range(len(best)))
    return FoundChanges(best, intervals, gain, max(line, bent))


def _sets_of(chosen: tuple[int, ...], count: int, dates: Floats, apart: float) -> list[tuple[int, ...]]:
    """Return the sets to begin with: all of one or two dates, beyond that those chosen and one more."""
    if count <= 2:
        found = combinations(range(dates.size), count)
    else:
        found = (tuple(sorted({*chosen, k})) for k in range(dates.size) if k not in chosen)  # type: ignore[assignment]
    return [some for some in found if _are_apart(some, dates, apart)]


def _are_apart(places: tuple[int, ...], dates: Floats, apart: float) -> bool:
    return bool((np.diff(dates[list(places)]) >= apart).all())


def _others(places: tuple[int, ...], at: int, dates: Floats, apart: float) -> list[tuple[int, ...]]:
    """Return the sets in which one date is moved between its neighbours."""
    low = places[at - 1] + 1 if at else 0
    high = places[at + 1] if at + 1 < len(places) else dates.size
    moved = [(*places[:at], k, *places[at + 1 :]) for k in range(low, high)]
    return [some for some in moved if _are_apart(some, dates, apart)]


def _moved(fits: _Fits, places: tuple[int, ...], dates: Floats, apart: float) -> tuple[int, ...]:
    """Return a set whose dates were moved one after the other until nothing gets better."""
    while True:
        before = places
        for at in range(len(places)):
            sets = _others(places, at, dates, apart)
            places = sets[int(np.argmax(fits.logs(sets)))]
        if places == before:
            return places


def _interval(
    fits: _Fits, places: tuple[int, ...], at: int, dates: Floats, apart: float, coverage: float
) -> tuple[int, int]:
    """Return the places of the first and last date that hold a share of the posterior of one between them."""
    sets = _others(places, at, dates, apart)
    logs = fits.logs(sets)
    below = np.cumsum(np.exp(logs - logs.max()))
    below = below / below[-1]
    rest = (1.0 - coverage) / 2.0
    first, last = (int(np.searchsorted(below, share)) for share in (rest, 1.0 - rest))
    return sets[first][at], sets[last][at]
