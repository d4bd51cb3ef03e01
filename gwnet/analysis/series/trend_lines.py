"""Straight line of a well's record with limits that hold the uncertainty of its serial correlation.

The line has one level for each season and one slope. Trends take their probability and the limits of their slope from
it, threshold dates and the band of figures their limits, so that all agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from gwnet.analysis.series.trend_records import WellRecord
from gwnet.constants import MAD_TO_SD
from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.correlated_line import CorrelatedLine, fit_correlated_line

Floats = NDArray[np.float64]

#: Fewest degrees of freedom of a line (project default).
LEAST_DEGREES = 3
#: Largest share of bounds among the values of a line (project default): beyond it the line would rest on its own
#: assumptions.
MOST_BOUNDS = 0.5
#: Values farther from the line than so many robust standard deviations are moved to that distance (project default), so
#: that one wrong reading neither makes nor hides a trend.
FARTHEST_SPREADS = 4.0
#: Years around a value whose median it is compared with where steps are looked for (project default).
AROUND_YEARS = 2.0
#: Fewest values of such a median (project default).
LEAST_AROUND = 4
#: Rounds in which bounds get their expected values.
ROUNDS = 30
#: A record is short against its memory when the time in which the correlation falls to 1/e is longer than this share of
#: it, with this probability (project default, after simulation).
MEMORY_SHARE = 0.2
MEMORY_PROBABILITY = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class FittedLine:
    """A line through the values of a record.

    Attributes
    ----------
    posterior : gwnet.hydro.trends.correlated_line.CorrelatedLine
        A level for each season at ``origin``, then the slope [m, m/year].
    seasons : ndarray of int64, shape (k,)
        Seasons with values, from 0; in the order of the coefficients.
    counts : ndarray of int64, shape (k,)
        Values of each of them.
    phases : ndarray of float64, shape (k,)
        Usual time of each within the year [year].
    parts : int
        Seasons of a year.
    origin : float
        Time of the levels [decimal year].
    first : float
        Time of the first value [decimal year].
    last : float
        Time of the last value [decimal year].
    moved : int
        Values that lay too far from the line and were moved towards it.
    """

    posterior: CorrelatedLine
    seasons: NDArray[np.int64]
    counts: NDArray[np.int64]
    phases: Floats
    parts: int
    origin: float
    first: float
    last: float
    moved: int

    @property
    def slope(self) -> int:
        """Return the place of the slope among the coefficients."""
        return int(self.seasons.size)

    @property
    def p(self) -> float:
        """Return the two-sided probability of a slope the other way."""
        return self.posterior.two_sided(self.slope)

    @property
    def correlation(self) -> float:
        """Return the mean correlation from one year to the next."""
        return self.posterior.correlation_after(1.0)

    @property
    def slope_limits(self) -> tuple[float, float, float]:
        """Return the median slope and its 95 % limits [m/year]."""
        row = np.zeros((1, self.slope + 1))
        row[0, -1] = 1.0
        middle, lower, upper = (float(self.posterior.quantile(row, p)[0]) for p in (0.5, 0.025, 0.975))
        return middle, lower, upper

    @property
    def is_short(self) -> bool:
        """Return whether the record is short against its memory."""
        # At a correlation of 0 the logarithm is infinite, and the memory 0, as it should be.
        with np.errstate(divide="ignore"):
            memory = -1.0 / np.log(self.posterior.correlation)
        # All scatter and no memory is no long memory, whatever its correlation says.
        long = (memory > MEMORY_SHARE * (self.last - self.first)) & (self.posterior.scatter < 1.0)
        return bool(self.posterior.weights[long].sum() > MEMORY_PROBABILITY)

    def mean_row(self) -> Floats:
        """Return the weights of the coefficients in the mean of all seasons at ``origin``."""
        return np.append(np.full(self.slope, 1.0 / self.slope), 0.0)

    def season_row(self, place: int) -> Floats:
        """Return the weights of the coefficients in the level of one season at ``origin``.

        Parameters
        ----------
        place : int
            Place of the season in ``seasons``.
        """
        row = np.zeros(self.slope + 1)
        row[place] = 1.0
        return row

    @property
    def usual_seasons(self) -> NDArray[np.int64]:
        """Return the places of the seasons with at least half as many values as the one with most."""
        return np.flatnonzero(2 * self.counts >= self.counts.max())

    def turned(self) -> FittedLine:
        """Return the line of the values turned round, so that what rises falls."""
        return replace(self, posterior=self.posterior.turned())

    def season_levels(self) -> Floats:
        """Return the mean levels of the seasons at ``origin`` [m]."""
        return np.asarray(self.posterior.weights @ self.posterior.coefficients[:, :-1], dtype=np.float64)

    def band(self, when: Floats) -> tuple[Floats, Floats, Floats]:
        """Return the line and its 95 % limits, the mean of all seasons.

        Parameters
        ----------
        when : ndarray of float64, shape (t,)
            Decimal years.

        Returns
        -------
        tuple of ndarray
            Median, lower and upper limit [m].
        """
        rows = np.tile(self.mean_row(), (when.size, 1))
        rows[:, -1] = when - self.origin
        middle, lower, upper = (self.posterior.quantile(rows, p) for p in (0.5, 0.025, 0.975))
        return middle, lower, upper


@dataclass(frozen=True, slots=True, eq=False)
class LineValues:
    """Values of a record as lines are fitted to them.

    Attributes
    ----------
    when : ndarray of float64, shape (n,)
        Times, ascending [decimal year].
    values : ndarray of float64, shape (n,)
        Values, bounds and far ones replaced [m].
    design : ndarray of float64, shape (n, k + 1)
        A column for each season with values, then the time since ``origin``.
    seasons : ndarray of int64, shape (k,)
        Those seasons.
    origin : float
        Mean time [decimal year].
    moved : int
        Values that lay too far from the line and were moved towards it.
    """

    when: Floats
    values: Floats
    design: Floats
    seasons: NDArray[np.int64]
    origin: float
    moved: int


def line_values(record: WellRecord, *, straight: bool = True) -> LineValues | None:
    """Return the values of a record as a line takes them.

    Parameters
    ----------
    record : WellRecord
        One value a season of a year.
    straight : bool, optional
        Whether far values are those far from the straight line; else from the nearer of the medians of two years
        before and after them, which follow steps.

    Returns
    -------
    LineValues or None
        Values and design; None where too few values are left, over half are bounds or the slope stays open.

    Notes
    -----
    Times are the mean days behind the values. Bounds get the value expected beyond them (independent normal errors,
    Dempster, Laird and Rubin, 1977). Values over four robust standard deviations from the Theil–Sen line and the
    medians of the seasons are moved to that distance.

    References
    ----------
    .. [1] Dempster, A. P., Laird, N. M. and Rubin, D. B. (1977). Maximum likelihood from incomplete data via the EM
       algorithm. J. Royal Statistical Society B 39, 1–38.
    """
    here = ~np.isnan(record.values)
    seasons = np.flatnonzero(here.any(axis=0)).astype(np.int64)
    side = record.bound[here]
    # A line needs degrees of freedom, and two years, or its slope is that of the seasons.
    if side.size - seasons.size - 1 < LEAST_DEGREES or record.years.size < 2:
        return None
    if (side != 0).sum() > MOST_BOUNDS * side.size:
        return None
    when = record.when[here]
    season = np.broadcast_to(np.arange(record.values.shape[1]), here.shape)[here]
    origin = float(when.mean())
    design = np.column_stack([season[:, None] == seasons, when - origin]).astype(np.float64)
    if np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    steep = pair_slopes(record.values, record.years.astype(np.float64), bound=record.bound).limits(0.0)[0]
    if not math.isfinite(steep):
        return None
    values = record.values[here]
    if side.any():
        values = _expected(values, side, design)
    # Where steps are looked for no straight line is taken off: it would make them outliers.
    line = steep * (when - origin) if straight else _running_median(when, values)
    values, moved = _held_near(values, line, season)
    return LineValues(when, values, design, seasons, origin, moved)


def fit_line(record: WellRecord, given: LineValues | None = None) -> FittedLine | None:
    """Fit the line of a record.

    Parameters
    ----------
    record : WellRecord
        One value a season of a year.
    given : LineValues, optional
        Its values, where they are at hand.

    Returns
    -------
    FittedLine or None
        The line; None where `line_values` gives none.
    """
    given = given or line_values(record)
    if given is None:
        return None
    own = record.when[:, given.seasons]
    # Of the seasons that have a value; the others have no coefficient.
    return FittedLine(
        posterior=fit_correlated_line(
            given.when, given.values, given.design, None if record.memory is None else record.memory.weights
        ),
        seasons=given.seasons,
        counts=(~np.isnan(own)).sum(axis=0).astype(np.int64),
        phases=np.nanmedian(own - record.years[:, None], axis=0),
        parts=record.values.shape[1],
        origin=given.origin,
        first=float(given.when[0]),
        last=float(given.when[-1]),
        moved=given.moved,
    )


def _expected(values: Floats, side: NDArray[np.int64], design: Floats) -> Floats:
    """Return values with what is expected beyond each bound in its place."""
    bounded = side != 0
    filled = values.copy()
    for _ in range(ROUNDS):
        coefficients = np.linalg.lstsq(design, filled, rcond=None)[0]
        fitted = design @ coefficients
        spread = math.sqrt(float(((filled - fitted)[~bounded] ** 2).mean()))
        # Without scatter the value beyond a bound is that of the line, and the bound where the line falls short of it.
        if not spread > 0.0:
            return np.where(bounded, np.where(side < 0, np.minimum(values, fitted), np.maximum(values, fitted)), values)
        # turned round, a value at or above its bound is one at or below
        away = side[bounded] * (fitted - values)[bounded] / spread
        ratio = np.exp(-(away**2) / 2.0 - log_ndtr(away)) / math.sqrt(2.0 * math.pi)
        filled[bounded] = fitted[bounded] + side[bounded] * spread * ratio
    return filled


def _running_median(when: Floats, values: Floats) -> Floats:
    """Return of the medians of two years up to each value and from it on the nearer one, so that steps stay sharp."""
    first, last = np.searchsorted(when, when - AROUND_YEARS), np.searchsorted(when, when + AROUND_YEARS, side="right")
    medians = np.empty(values.size)
    for k, value in enumerate(values):
        sides = [values[first[k] : k + 1], values[k : last[k]]]
        # a median of few values is near any of them
        whole = [side for side in sides if side.size >= LEAST_AROUND] or [values[first[k] : last[k]]]
        medians[k] = min((float(np.median(side)) for side in whole), key=lambda level, value=value: abs(value - level))  # type: ignore[misc]
    return medians


def _held_near(values: Floats, line: Floats, season: NDArray[np.int64]) -> tuple[Floats, int]:
    """Return values of which none is too far from a line and the medians of the seasons, and how many were moved."""
    rest = values - line
    centre = np.zeros(values.size)
    for one in np.unique(season):
        centre[season == one] = np.median(rest[season == one])
    rest = rest - centre
    far = FARTHEST_SPREADS * MAD_TO_SD * float(np.median(np.abs(rest)))
    # More than half of the values lie on the line: any distance would be infinitely many spreads.
    if not far > 0.0:
        return values, 0
    held = np.clip(rest, -far, far)
    return line + centre + held, int((held != rest).sum())
