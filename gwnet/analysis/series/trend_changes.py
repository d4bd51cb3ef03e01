"""Changes within a record: bends of its trend and steps, at a date that is looked for.

A straight line through a record that fell and rose again says the wrong thing about today. Curvature is tested first;
where it is significant the bend is looked for, and words say what was so before and since.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.series.trend_lines import line_values
from gwnet.analysis.series.trend_records import WellRecord
from gwnet.hydro.trends.correlated_line import fit_correlated_line
from gwnet.hydro.trends.searched_change import SearchedChange, search_change
from gwnet.hydro.trends.several_changes import find_changes

Floats = NDArray[np.float64]

#: Probability above which a change is not significant.
ALPHA = 0.05
#: Fewest years of a record whose bend is looked for (project default).
LEAST_BEND_YEARS = 10
#: Fewest years of a record whose steps are counted (project default).
LEAST_STEP_YEARS = 10
#: Share of the years at either end that have no change (project default): too little is left beside them.
END_SHARE = 0.1
LEAST_BESIDE = 2


@dataclass(frozen=True, slots=True)
class Bend:
    """A change of slope.

    Attributes
    ----------
    p_curvature : float
        Two-sided probability of such a curvature of a straight line.
    year : int
        Most likely year from which on the slope is another.
    first : int
        First year of its 95 % interval.
    last : int
        Last year of it.
    before : tuple of float
        Slope before, and the probability of one the other way [m/year, 1].
    since : tuple of float
        Slope since, likewise.
    """

    p_curvature: float
    year: int
    first: int
    last: int
    before: tuple[float, float]
    since: tuple[float, float]

    @property
    def is_turn(self) -> bool:
        """Return whether levels significantly went one way before and go the other way since."""
        both = max(self.before[1], self.since[1]) <= ALPHA
        return both and self.before[0] * self.since[0] < 0.0

    @property
    def words(self) -> str:
        """Return what was so before and since."""
        before, since = (np.sign(slope) if p <= ALPHA else 0.0 for slope, p in (self.before, self.since))
        was = {-1.0: "fell", 1.0: "rose", 0.0: "no significant trend"}[float(before)]
        is_now = {-1.0: "falling", 1.0: "rising", 0.0: "no significant trend"}[float(since)]
        if before == since != 0.0:
            how = "faster" if abs(self.since[0]) > abs(self.before[0]) else "slower"
            return f"{is_now}, {how} since {self.year}"
        return f"{was} until {self.year}, {is_now} since"


@dataclass(frozen=True, slots=True)
class Step:
    """A step at a date that was looked for.

    Attributes
    ----------
    year : int
        Most likely first year after it.
    first : int
        First year of its 95 % interval.
    last : int
        Last year of it.
    p : float
        Probability of so clear a step at the clearest date without one.
    shift : tuple of float
        Size, after less before, with its 95 % limits [m].
    correlation : float
        Mean correlation from one year to the next.
    """

    year: int
    first: int
    last: int
    p: float
    shift: tuple[float, float, float]
    correlation: float


@dataclass(frozen=True, slots=True)
class LevelChange:
    """One of the steps that describe a record best.

    Attributes
    ----------
    year : int
        First year after it.
    first : int
        First year of its 95 % interval, the other steps as found.
    last : int
        Last year of it.
    shift : tuple of float
        Size, after less before, with its 95 % limits for these dates [m].
    """

    year: int
    first: int
    last: int
    shift: tuple[float, float, float]

    @property
    def words(self) -> str:
        """Return date and size of the step."""
        span = f"{self.first} to {self.last}" if self.first < self.last else f"{self.first}"
        return f"step of {self.shift[0]:+.2f} m about {self.year} ({span})"


def find_level_changes(record: WellRecord) -> list[LevelChange]:
    """Find the steps of a record, as many as describe it best.

    Parameters
    ----------
    record : WellRecord
        One value a season of a year.

    Returns
    -------
    list of LevelChange
        Steps in the order of time; none where a level, a line or a line with a bend describes the record as well, where
        it has fewer than ten years, or where too few values are numbers.

    Notes
    -----
    Steps at the beginning of each year but the first and last tenth, two years apart, beside a level for each season
    (`gwnet.hydro.trends.several_changes.find_changes`). Sizes are those of all steps together, over all correlations.
    """
    given = line_values(record, straight=False) if record.years.size >= LEAST_STEP_YEARS else None
    years = _candidates(record)
    # Four values more than coefficients, or the steps could follow every value.
    if given is None or given.values.size <= given.design.shape[1] + 4:
        return []
    # Without the slope: a trend beside steps would share its rise with them.
    design = given.design[:, :-1]
    found = find_changes(given.when, given.values, design, years.astype(np.float64), apart=float(LEAST_BESIDE))
    if not found.steps_describe_best:
        return []
    places = list(found.places)
    fitted = fit_correlated_line(
        given.when, given.values, np.column_stack([design, given.when[:, None] >= years[places]]).astype(np.float64)
    )
    rows = np.eye(design.shape[1] + len(places))[design.shape[1] :]
    middle, lower, upper = (fitted.quantile(rows, p) for p in (0.5, 0.025, 0.975))
    return [
        LevelChange(
            year=int(years[at]),
            first=int(years[first]),
            last=int(years[last]),
            shift=(float(middle[k]), float(lower[k]), float(upper[k])),
        )
        for k, (at, (first, last)) in enumerate(zip(places, found.intervals, strict=True))
    ]


def find_bend(record: WellRecord) -> Bend | None:
    """Test a record for curvature, and look for the bend where there is one.

    Parameters
    ----------
    record : WellRecord
        One value a season of a year.

    Returns
    -------
    Bend or None
        The bend; None for fewer than ten years, without significant curvature, or where neither slope is significant.

    Notes
    -----
    The curvature is the coefficient of the squared time beside a level for each season and a slope, with the limits of
    `gwnet.hydro.trends.correlated_line.fit_correlated_line`. The date is that of the change of slope with most weight,
    at the beginning of a year; the slopes are those for this date. What the other wells of the aquifer say of the
    correlation takes the place of the even distribution beforehand, where the record has it.
    """
    given = line_values(record) if record.years.size >= LEAST_BEND_YEARS else None
    if given is None:
        return None
    time = given.when - given.origin
    beforehand = None if record.memory is None else record.memory.curve_weights
    curved = fit_correlated_line(given.when, given.values, np.column_stack([given.design, time**2]), beforehand)
    p = curved.two_sided(given.design.shape[1])
    years = _candidates(record)
    if p > ALPHA:
        return None
    # A line that bends upward or downward from a year on, and goes on as before until then.
    since = np.maximum(given.when[:, None] - years, 0.0)
    found = search_change(given.when, given.values, given.design, since, beforehand)
    first, last = found.dates()
    with_bend = np.column_stack([given.design, since[:, found.best]])
    bent = fit_correlated_line(given.when, given.values, with_bend, beforehand)
    rows = np.zeros((2, given.design.shape[1] + 1))
    # The slope before is the line's; since then it is the line's and that of the bend.
    rows[:, -2], rows[1, -1] = 1.0, 1.0
    slopes = bent.quantile(rows, 0.5)
    sides = 2.0 * np.minimum(bent.probability_below(rows, 0.0), bent.probability_below(-rows, 0.0))
    # Curvature without a significant slope on either side is none that words can describe.
    if sides.min() > ALPHA:
        return None
    ends = [(float(slope), float(side)) for slope, side in zip(slopes, sides, strict=True)]
    return Bend(p, int(years[found.best]), int(years[first]), int(years[last]), ends[0], ends[1])


def find_step(record: WellRecord) -> Step | None:
    """Look for the most likely step of a record.

    Parameters
    ----------
    record : WellRecord
        One value a season of a year.

    Returns
    -------
    Step or None
        The step; None where too few values are numbers.

    Notes
    -----
    Steps at the beginning of each year are compared, beside a level for each season, over all correlations
    (`gwnet.hydro.trends.searched_change`). A trend makes a step as well.
    """
    given = line_values(record)
    years = _candidates(record)
    if given is None or not years.size:
        return None
    after = (given.when[:, None] >= years).astype(np.float64)
    found: SearchedChange = search_change(given.when, given.values, given.design[:, :-1], after)
    first, last = found.dates()
    return Step(
        year=int(years[found.best]),
        first=int(years[first]),
        last=int(years[last]),
        p=found.p_value,
        shift=(found.size(0.5), found.size(0.025), found.size(0.975)),
        correlation=found.mean_correlation,
    )


def _candidates(record: WellRecord) -> NDArray[np.int64]:
    """Return the years at whose beginning something may have changed."""
    beside = max(LEAST_BESIDE, round(END_SHARE * record.years.size))
    # One more at the end: a change at the beginning of a year has that year itself after it.
    return record.years[beside : record.years.size - beside + 1]
