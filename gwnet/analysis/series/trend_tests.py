"""Trend tests of one record or of several together: which test the data call for, and notes that say so.

Where more than a third of a record, and more than a year and a half, has no level, the years before and after are
compared and no slope is given, so that nothing projects across the gap.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.series.trend_changes import Bend, find_bend
from gwnet.analysis.series.trend_lines import FittedLine, fit_line
from gwnet.analysis.series.trend_records import Gap, SharedMemory, WellRecord, longest_gap
from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.kendall import mann_kendall, normal_probabilities
from gwnet.hydro.trends.seasonal_kendall import seasonal_kendall
from gwnet.hydro.trends.serial_correlation import SerialCorrelation, estimate_serial_correlation, segments_ratio
from gwnet.hydro.trends.step_test import TwoSegments, two_segments
from gwnet.hydro.trends.year_signs import year_scores, year_signs

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Level of significance of directions.
ALPHA = 0.05

#: Fewest yearly values for the method kendall (common practice, no source).
LEAST_VALUES = 4

#: Fewest years for the method seasonal (common practice, no source).
LEAST_YEARS = 3

#: Fewest years before and after a gap for a comparison across it (project default).
LEAST_BESIDE = 2

#: Years from which covariance among seasons is taken as it is found (Hirsch and Slack, 1984: about ten).
COVARIANCE_YEARS = 10

#: Values a year from which a record tells its memory within the year (project default).
VALUES_A_YEAR = 1.5


@dataclass(slots=True)
class TrendResult:
    """What a test found; NaN where it could not be made.

    Attributes
    ----------
    s : float
        Kendall's S.
    var_s : float
        Its variance for independent values.
    tau : float
        S over all pairs within seasons.
    z : float
        Standard normal score with ``var_s``.
    p_independent : float
        Two-sided probability for independent values.
    p : float
        Two-sided probability, with what the notes say.
    slope : tuple of float
        Slope and its limits [m/year]; infinite where bounds leave them open.
    variance : float
        Variance of S that p and limits have.
    correlation : float
        Correlation from one year to the next, corrected for the length of the record.
    widening : float
        What correlation from one year to the next multiplies the variance of a trend test by.
    step : bool
        Whether levels before and after a gap were compared instead.
    line : FittedLine or None
        The line that thresholds are projected with.
    bend : Bend or None
        A change of its slope.
    notes : list of str
        What the numbers rest on.
    """

    s: float = math.nan
    var_s: float = math.nan
    tau: float = math.nan
    z: float = math.nan
    p_independent: float = math.nan
    p: float = math.nan
    slope: tuple[float, float, float] = (math.nan, math.nan, math.nan)
    variance: float = math.nan
    correlation: float = math.nan
    widening: float = 1.0
    step: bool = False
    line: FittedLine | None = None
    bend: Bend | None = None
    notes: list[str] = field(default_factory=list)


def find_trend(record: WellRecord, fine: WellRecord | None = None) -> TrendResult:
    """Test the record of a well for a trend, or across a long gap for a step.

    Parameters
    ----------
    record : WellRecord
        One value a year, or one a season of a year.
    fine : WellRecord, optional
        The same levels by seasons, where ``record`` is by years.

    Returns
    -------
    TrendResult
        Numbers and notes.

    Notes
    -----
    The rule, in its order: too few years give no test. A gap of over a third of the record gives the comparison of
    what is before and after it. Records with one and a half values a year and more have p and the limits of the slope
    from `gwnet.analysis.series.trend_lines.fit_line`, a line over all correlations that the record allows; p is at
    least that of the test by ranks for independent values. Others, and those with over half of bounds, have the
    test by ranks with a wider variance: covariance among seasons (below ten years where it is larger), times what the
    correlation from one year to the next makes of it, which is taken from the scores of the years less the slope and
    corrected for the shortness of the record (`gwnet.hydro.trends.serial_correlation`); below five years it is taken as
    0.4 at least. ``tests/bench/bench_trend_limits.py`` has what this gives in simulated levels.
    """
    why_not = _too_short(record) or _only_bounds(record)
    if why_not:
        return TrendResult(notes=[why_not])
    gap = longest_gap(record)
    result = _across(record, gap) if gap is not None else _trend(record, fine or record)
    if not math.isnan(result.p):
        result.notes += _bound_notes(record, result)
    return result


def _too_short(record: WellRecord) -> str:
    counted = record.years.size
    if record.values.shape[1] == 1:
        return f"too few years: {counted} with a value, {LEAST_VALUES} needed" if counted < LEAST_VALUES else ""
    most = int((~np.isnan(record.values)).sum(axis=0).max())
    if counted >= LEAST_YEARS and most >= 2:
        return ""
    words = f"{counted} with a value, at most {most} of one season; {LEAST_YEARS} years and 2 of a season needed"
    return f"too few years: {words}"


def _only_bounds(record: WellRecord) -> str:
    """Return what can be said of a record without a number; nothing where there is one."""
    if record.bounds < record.count:
        return ""
    here = ~np.isnan(record.values)
    sides, values = record.bound[here], record.values[here]
    span = f"from {record.days[0]} to {record.days[-1]}"
    if (sides < 0).all():
        return f"always dry {span}: at or below {values.min():.2f} m at some time; a trend below that cannot be seen"
    if (sides > 0).all():
        return (
            f"always flowing {span}: at or above {values.max():.2f} m at some time; a trend above that cannot be seen"
        )
    return f"dry or flowing at every visit {span}: no number to test"


def _trend(record: WellRecord, fine: WellRecord) -> TrendResult:
    years = record.years.astype(np.float64)
    result = _yearly(record) if record.values.shape[1] == 1 else _seasonal(record)
    slopes = pair_slopes(record.values, years, bound=record.bound)
    steep = slopes.limits(0.0)[0]
    result.line = fit_line(fine)
    result.bend = find_bend(fine) if result.line is not None else None
    if result.bend is not None:
        result.notes.append(_bend_text(result.bend))
    # Less than that a year says little of memory within the year; the test by ranks asks for none.
    if result.line is not None and math.isfinite(steep) and fine.count >= VALUES_A_YEAR * fine.years.size:
        _take_line(result, result.line, steep, fine.memory)
        return result
    if record.values.shape[1] > 1:
        _share_seasons(result, record)
    held = residual_serial_correlation(record.values, record.bound, years, steep)
    result.correlation, result.widening = held.corrected, held.variance_ratio
    if held.variance_ratio > 1.0:
        _widen(result, record, held)
    result.slope = slopes.limits(result.variance)
    return result


def _bend_text(bend: Bend) -> str:
    span = f"{bend.first} to {bend.last}" if bend.first < bend.last else str(bend.first)
    ends = f"{bend.before[0]:+.3f} m/year before, {bend.since[0]:+.3f} m/year since"
    return f"{bend.words} (bend {span} at 95 %; {ends}; curvature {p_text(bend.p_curvature)})"


def _take_line(result: TrendResult, line: FittedLine, steep: float, memory: SharedMemory | None) -> None:
    """Take probability and limits from the line over all correlations."""
    _, lower, upper = line.slope_limits
    # The limits of the line hold another middle than the median of slopes; both must enclose what is printed.
    result.slope = (steep, min(lower, steep), max(upper, steep))
    # No smaller than for independent values: memory can only take evidence away.
    result.p = max(line.p, result.p_independent)
    result.correlation = line.correlation
    others = ""
    if memory is not None:
        others = f" (with the memory of {memory.wells} other wells of aquifer {memory.aquifer})"
    result.notes.append(
        f"correlation from one year to the next {line.correlation:.2f}{others}: p and limits allow for it and for its "
        f"uncertainty, without it {p_text(result.p_independent)}"
    )
    if line.is_short:
        result.notes.append("the record is short against its memory: p and limits may be too small")
    if line.moved:
        result.notes.append(f"{_count(line.moved, 'value')} far from the line moved towards it for p and limits")


def _yearly(record: WellRecord) -> TrendResult:
    plain = mann_kendall(record.values[:, 0], record.years, bound=record.bound[:, 0])
    p = plain.p_value
    return TrendResult(plain.score, plain.variance, plain.tau_a, plain.z, p, p, variance=plain.variance)


def _seasonal(record: WellRecord) -> TrendResult:
    kendall = seasonal_kendall(record.values, bound=record.bound)
    p = kendall.p_value
    result = TrendResult(kendall.score, kendall.variance, kendall.tau_a, kendall.z, p, p, variance=kendall.variance)
    if kendall.heterogeneity_p <= ALPHA:
        result.notes.append(f"seasons differ in their trends ({p_text(kendall.heterogeneity_p)})")
    return result


def _share_seasons(result: TrendResult, record: WellRecord) -> None:
    """Widen the variance for covariance among seasons."""
    shared = seasonal_kendall(record.values, bound=record.bound).variance_correlated
    few = record.years.size < COVARIANCE_YEARS
    # Few years find little covariance by chance as easily as much; only the larger is safe.
    if few:
        shared = max(shared, result.variance)
    # Opposed seasons may leave a sum of covariances below zero, which is no variance.
    if shared > 0.0:
        result.variance = shared
        result.p = normal_probabilities(result.s, shared, continuity=False)[1]
        words = f" where it widens ({record.years.size} years are few for it)" if few else ""
        result.notes.append(f"p with covariance among seasons{words}, without it {p_text(result.p_independent)}")


def residual_serial_correlation(values: Floats, bound: Integers, years: Floats, slope: float) -> SerialCorrelation:
    """Return the serial correlation of the scores of years once the slope is taken away.

    Parameters
    ----------
    values : ndarray of float64, shape (n, m)
        A row for each year, a column for each season of each well; NaN where there is no value [m].
    bound : ndarray of int64, shape (n, m)
        -1 where the true value is at or below, +1 where it is at or above, 0 elsewhere.
    years : ndarray of float64, shape (n,)
        The years.
    slope : float
        Slope to take away; none where it is not finite [m/year].
    """
    steep = slope if math.isfinite(slope) else 0.0
    return estimate_serial_correlation(year_scores(year_signs(values, bound=bound, years=years, slope=steep)))


def _widen(result: TrendResult, record: WellRecord, held: SerialCorrelation) -> None:
    """Widen the variance for serial correlation."""
    before, score = result.p, int(result.s)
    result.variance *= held.variance_ratio
    # Not smaller than before it was widened, as the continuity correction is left out here.
    result.p = max(normal_probabilities(score, result.variance, continuity=record.values.shape[1] == 1)[1], before)
    basis = "assumed, too few years to estimate it" if held.assumed else f"lag 1 in the record {held.lag1:.2f}"
    words = (
        f"serial correlation {held.corrected:.2f} ({basis}): p and limits with "
        f"{held.variance_ratio:.2f} times the variance, without it {p_text(before)}"
    )
    result.notes.append(words)


def _across(record: WellRecord, gap: Gap) -> TrendResult:
    """Compare the levels before and after a gap."""
    words = f"no level from {gap.start} to {gap.end}, over a third of the record"
    first, after = gap.first_after, record.years.size - gap.first_after
    if min(first, after) < LEAST_BESIDE:
        counts = f"{_count(first, 'year')} before and {after} after it, {LEAST_BESIDE} of each needed"
        return TrendResult(
            step=True, notes=[f"{words}: a test for one trend would be wrong across it; too few years, {counts}"]
        )
    result, shift = segments_of(record, first)
    if shift is None:
        return TrendResult(step=True, notes=[f"{words}: no season has levels before and after it"])
    result.notes.insert(0, f"{words}: levels before and after it compared instead of a trend, {shift}")
    return result


def segments_of(record: WellRecord, first_after: int) -> tuple[TrendResult, str | None]:
    """Compare the years before and after a moment.

    Parameters
    ----------
    record : WellRecord
        Record of a well.
    first_after : int
        Place of the first year of the later segment.

    Returns
    -------
    tuple of TrendResult and str or None
        Numbers (``slope`` holds the shift and its limits [m]), and the shift in words; None where no season has levels
        on both sides.

    Notes
    -----
    The variance is widened for serial correlation as in `find_trend`; residuals are those from the shift.
    """
    values, bound, years = record.values, record.bound, record.years.astype(np.float64)
    # A season with levels on one side only has nothing to be compared with.
    both = ~np.isnan(values[:first_after]).all(axis=0) & ~np.isnan(values[first_after:]).all(axis=0)
    if not both.any():
        return TrendResult(step=True), None
    values, bound = values[:, both], bound[:, both]
    plain = two_segments(values, first_after, bound=bound)
    steep = plain.shift if math.isfinite(plain.shift) else 0.0
    # The shift is taken off first, or it would pass for correlation from year to year.
    moved = values - np.where(np.arange(years.size) < first_after, 0.0, steep)[:, None]
    held = estimate_serial_correlation(year_scores(year_signs(moved, bound=bound)))
    ratio = segments_ratio(years, first_after, held.corrected)
    segments = two_segments(values, first_after, bound=bound, widening=ratio)
    here = ~np.isnan(values)
    pairs = int((here[:first_after].sum(axis=0) * here[first_after:].sum(axis=0)).sum())
    result = TrendResult(
        segments.score,
        plain.variance,
        segments.score / pairs,
        plain.z,
        plain.p_value,
        segments.p_value,
        step=True,
        variance=segments.variance,
    )
    result.slope, result.correlation = (segments.shift, segments.lower, segments.upper), held.corrected
    result.widening = held.variance_ratio
    if ratio > 1.0:
        result.notes.append(
            f"serial correlation {held.corrected:.2f}{' (assumed)' if held.assumed else ''}: p and limits "
            f"with {ratio:.2f} times the variance, without it {p_text(plain.p_value)}"
        )
    return result, _shift_text(segments)


def _shift_text(segments: TwoSegments) -> str:
    """Return a shift with its limits as words."""
    if not math.isfinite(segments.shift):
        return "median shift open"
    limits = [f"{limit:+.2f} m" for limit in (segments.lower, segments.upper) if math.isfinite(limit)]
    interval = f"{limits[0]} to {limits[1]}" if len(limits) == 2 else "limits open"
    return f"median shift {segments.shift:+.2f} m ({interval})"


def _bound_notes(record: WellRecord, result: TrendResult) -> list[str]:
    if not record.bounds:
        return []
    words = f"{record.bounds} of {record.count} values are bounds: taken by rank, in test and slope"
    slope, lower, upper = result.slope
    if not math.isfinite(slope):
        return [f"{words}; so many that the slope stays open"]
    sides = [name for name, limit in (("lower", lower), ("upper", upper)) if not math.isfinite(limit)]
    return [f"{words}; the {' and '.join(sides)} limit stays open" if sides else words]


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def p_text(p: float) -> str:
    """Return a probability as text.

    Parameters
    ----------
    p : float
        Probability.

    Returns
    -------
    str
        Two significant digits, or that it is below 0.0001.
    """
    return f"p {p:.2g}" if p >= 1e-4 else "p below 0.0001"
