"""Clocks of sensors: how far one stands from another, a jump inside a series, and times put right.

Two sensors that both feel the air (a barometer and an absolute sensor in a well) show the same weather. The shift at
which their changes agree best is how far one clock stands from the other. Seconds are what is *added to the times* of
the series in hand, so positive for a clock that is behind.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

from gwnet.constants import (
    CLOCK_LEAST_CORRELATION,
    CLOCK_LEAST_PAIRS,
    CLOCK_LONGEST_LAG_S,
    CLOCK_MARGIN,
    CLOCK_PEAK_HALF_WIDTH_S,
    CLOCK_WINDOW_DAYS,
    MAD_TO_SD,
)
from gwnet.errors import ReductionError
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants, series
from gwnet.hydro.loggers.dense_series import interpolate_at, usual_interval_s
from gwnet.units import SECONDS_PER_DAY

#: Up to so many shifts are worked out one by one.
_FEW_SHIFTS = 250

#: Sums of products that a correlation needs: of (here, value, square) of one series and of the other.
_PAIRS = ((0, 0), (1, 0), (0, 1), (2, 0), (0, 2), (1, 1))


@dataclass(frozen=True)
class ClockShift:
    """Answer of `find_clock_shift`.

    Attributes
    ----------
    determined : bool
        Whether the shift is known.
    why : str
        Why not, or how well.
    shift_s : float
        What to add to the times of the series so that they agree with the reference; NaN where it is not known [s].
    correlation : float
        Correlation of the changes at the best shift, told or not.
    pairs : int
        Pairs of changes compared at the best shift.
    step_s : float
        Step between the shifts that were tried [s].
    """

    determined: bool
    why: str
    shift_s: float
    correlation: float
    pairs: int
    step_s: float


def find_clock_shift(
    time_utc: ArrayLike,
    values: ArrayLike,
    reference_time_utc: ArrayLike,
    reference_values: ArrayLike,
    *,
    step_s: float | None = None,
    longest_lag_s: float = CLOCK_LONGEST_LAG_S,
) -> ClockShift:
    """Return how far the clock of a series stands from that of another which shows the same air pressure.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times of the series, rising.
    values : array_like, shape (n,)
        Its numbers, in any unit: an absolute sensor in a well, or a barometer; NaN counts as no sample.
    reference_time_utc : array_like of datetime64, shape (m,)
        Times of the reference, rising: of a barometer whose clock is trusted.
    reference_values : array_like, shape (m,)
        Its numbers.
    step_s : float, optional
        Step between the shifts that are tried; the longer of the two sampling intervals unless given [s].
    longest_lag_s : float, optional
        Longest shift that is tried, both ways; 26 hours unless given, the span of the world's zones [s].

    Returns
    -------
    ClockShift
        The shift, or that it is not known, with what speaks for and against it.

    Raises
    ------
    ShapeError
        If times and values differ in shape.
    ReductionError
        If times do not rise, or the step or the longest shift is not above zero.

    Notes
    -----
    Both series are brought to a regular grid, linear between samples and never across a gap; their changes from step
    to step are taken (which leaves trends and slow water levels behind), and the mean course of the day is taken off
    where there is a week or more of data, since what repeats daily agrees nearly as well a day later. The
    correlation of what remains, over the pairs that exist, is worked out for every shift, changes beyond six times
    the usual size cut to that. A shift is determined when the best correlation is at least 0.2, stands out from no
    shift at all and from every shift more than 90 minutes away by at least 0.1 and by four times the spread of a chance
    correlation, rests on 300 pairs or more and is not at the end of the shifts tried (limits: project default). That
    clocks are to be checked at every visit: USGS TM 1-A1
    (Cunningham and Schalk, 2011), p. 143; finding a shift by correlation is common practice, no source.

    Examples
    --------
    >>> import numpy as np
    >>> at = np.datetime64("2024-05-01", "us") + np.arange(2000) * np.timedelta64(1, "h")
    >>> air = np.cumsum(np.random.default_rng(1).normal(size=2000))
    >>> find_clock_shift(at - np.timedelta64(2, "h"), air, at, air).shift_s
    7200.0
    """
    when, numbers = series(time_utc, values, "series")
    reference_when, reference = series(reference_time_utc, reference_values, "reference")
    # The longer of the two intervals: finer steps would compare interpolations with each other.
    step = max(usual_interval_s(when), usual_interval_s(reference_when)) if step_s is None else float(step_s)
    if step <= 0 or not longest_lag_s > 0:
        message = f"Shifts cannot be tried in steps of {step} s up to {longest_lag_s} s."
        raise ReductionError(message, fix="Give both in seconds, above zero.")
    if when.size < 2 or reference_when.size < 2:
        return _undetermined("fewer than two samples in one of the series", step)
    most = int(longest_lag_s // step)
    if most < 1:
        return _undetermined(
            f"the samples are {step:g} s apart, more than the longest shift of {longest_lag_s:g} s", step
        )
    changes, others, offset = _changes(when, numbers, reference_when, reference, step)
    correlation, pairs = _correlations(changes, others, offset, most)
    return _judged(correlation, pairs, np.arange(-most, most + 1, dtype=np.float64) * step, step)


@dataclass(frozen=True)
class ClockJump:
    """One jump of a clock inside a series.

    Attributes
    ----------
    moment_utc : numpy.datetime64
        First sample after the jump, by its own clock, as well as that is known.
    earliest_utc, latest_utc : numpy.datetime64
        Between these the jump lies.
    before, after : ClockShift
        Shift of the times before and after it.
    jump_s : float
        What the times after need more than those before [s].
    """

    moment_utc: np.datetime64
    earliest_utc: np.datetime64
    latest_utc: np.datetime64
    before: ClockShift
    after: ClockShift
    jump_s: float


def find_clock_jumps(
    time_utc: ArrayLike,
    values: ArrayLike,
    reference_time_utc: ArrayLike,
    reference_values: ArrayLike,
    *,
    window_days: float = CLOCK_WINDOW_DAYS,
    step_s: float | None = None,
    starts_utc: ArrayLike = (),
) -> list[ClockJump]:
    """Return where the clock of a series jumps against that of another: summer time, or a clock set anew.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times of the series, rising.
    values : array_like, shape (n,)
        Its numbers; NaN counts as no sample.
    reference_time_utc : array_like of datetime64, shape (m,)
        Times of the reference, rising.
    reference_values : array_like, shape (m,)
        Its numbers.
    window_days : float, optional
        Length of the windows in which the shift is worked out by itself; 14 unless given [d].
    step_s : float, optional
        As in `find_clock_shift` [s].
    starts_utc : array_like of datetime64, optional
        Moments at which a clock may have been set anew, such as the first samples of files; windows begin there unless
        they are less than half a window apart.

    Returns
    -------
    list of ClockJump
        In order of time; empty where the shift is the same throughout or is not known.

    Raises
    ------
    ShapeError
        If times and values differ in shape.
    ReductionError
        If times do not rise.

    Notes
    -----
    Windows whose shift is not known are passed over. Between two windows of different shift the moment is the one
    that leaves the least sum of squared differences from the reference, shifted one way before it and the other way
    after; in quiet weather it may be out by hours, which is why the limits between which it lies are given as well.
    A jump that is taken back within one window is not seen.
    """
    when, numbers = series(time_utc, values, "series")
    reference_when, reference = series(reference_time_utc, reference_values, "reference")
    if when.size < 2:
        return []
    edges = _window_edges(when, np.asarray(starts_utc, dtype="datetime64[us]"), window_days)
    clock_jumps = []
    for first, last in pairwise(edges):
        near = _near(reference_when, when[first:last])
        shift = find_clock_shift(
            when[first:last], numbers[first:last], reference_when[near], reference[near], step_s=step_s
        )
        if shift.determined:
            clock_jumps.append((first, last, shift))
    jumps = []
    for (start, _, before), (_, end, after) in pairwise(clock_jumps):
        if before.shift_s != after.shift_s:
            moment = _moment(
                when[start:end], numbers[start:end], reference_when, reference, (before.shift_s, after.shift_s)
            )
            jump = after.shift_s - before.shift_s
            jumps.append(ClockJump(moment, when[start], when[end - 1], before, after, jump))
    return jumps


def _window_edges(when: Instants, starts: Instants, window_days: float) -> list[int]:
    """Return the places at which windows begin, and the number of samples.

    Between two starts windows are of one length, near to the one wanted: a last window of a few days shows nothing.
    """
    length = np.timedelta64(int(window_days * SECONDS_PER_DAY * MICROSECONDS), "us")
    end = when[-1] + np.timedelta64(1, "us")
    kept = [when[0]]
    for start in np.sort(starts):
        # A piece shorter than half a window beside a start has too few changes to show a shift.
        if min(start - kept[-1], end - start) >= length / 2:
            kept.append(start)
    moments = [
        first + (last - first) * number // count
        for first, last in pairwise([*kept, end])
        for count in (max(round(float((last - first) / length)), 1),)
        for number in range(count)
    ]
    return [*np.searchsorted(when, np.array(moments, dtype="datetime64[us]")).tolist(), when.size]


@dataclass(frozen=True)
class ClockOperation:
    """One correction of a clock.

    Attributes
    ----------
    start_utc, end_utc : numpy.datetime64
        Samples at or after start and before end, by the clock as it stood in the file; NaT for open.
    seconds : float
        What is added to their times [s].
    grows : bool
        Whether it grows evenly from 0 at the start to all of it at the end (drift) rather than holding throughout.
    """

    start_utc: np.datetime64
    end_utc: np.datetime64
    seconds: float
    grows: bool = False


@dataclass(frozen=True)
class CorrectedTimes:
    """Answer of `correct_times`.

    Attributes
    ----------
    time_utc : numpy.ndarray of datetime64[us], shape (n,)
        Times put right, in the order of the samples.
    overlaps : numpy.ndarray of bool, shape (n,)
        Samples whose corrected time is not after that of every earlier one: they must be left out.
    """

    time_utc: Instants
    overlaps: NDArray[np.bool_]


def correct_times(time_utc: ArrayLike, operations: list[ClockOperation]) -> CorrectedTimes:
    """Return the times of a series with the errors of its clock taken out.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times as they stood in the file, rising.
    operations : list of ClockOperation
        Corrections; several that touch one sample add up.

    Returns
    -------
    CorrectedTimes
        Times, and which of them no longer rise. The times that do not overlap rise.

    Raises
    ------
    ShapeError
        If the times are not of one dimension.
    ReductionError
        If the times do not rise, or a drift has no start, no end or takes the clock backwards.

    Notes
    -----
    Every span is meant by the clock of the file, so that the order of the operations does not matter. Where a shift
    brings samples onto time that earlier ones hold already, the earlier ones stay.

    Examples
    --------
    >>> at = ["2024-10-27T00:00", "2024-10-27T01:00", "2024-10-27T02:00"]
    >>> start = np.datetime64("2024-10-27T02:00", "us")
    >>> found = correct_times(at, [ClockOperation(start, np.datetime64("NaT", "us"), -3600.0)])
    >>> found.overlaps.tolist()
    [False, False, True]
    """
    times = np.asarray(time_utc, dtype="datetime64[us]")
    when, _ = series(times, np.zeros(times.shape), "series")
    added = np.zeros(when.size)
    for operation in operations:
        start, end = (edge.astype("datetime64[us]") for edge in (operation.start_utc, operation.end_utc))
        first = 0 if np.isnat(start) else int(np.searchsorted(when, start, side="left"))
        last = when.size if np.isnat(end) else int(np.searchsorted(when, end, side="left"))
        added[first:last] += _drift(when[first:last], operation) if operation.grows else operation.seconds
    corrected = when + np.round(added * MICROSECONDS).astype("timedelta64[us]")
    if when.size < 2:
        return CorrectedTimes(corrected, np.zeros(when.size, dtype=bool))
    # Against the highest so far, not the sample before: a whole run may lie on time that is taken.
    highest = np.maximum.accumulate(corrected.astype(np.int64))
    overlaps = np.append(False, corrected[1:].astype(np.int64) <= highest[:-1])
    return CorrectedTimes(corrected, overlaps)


def _drift(when: Instants, operation: ClockOperation) -> Floats:
    """Return how far a drifting clock is to be put right at each sample."""
    length_s = float((operation.end_utc - operation.start_utc) / np.timedelta64(1, "s"))
    if not length_s > 0 or operation.seconds <= -length_s:
        message = f"A clock drift of {operation.seconds:g} s from {operation.start_utc} to {operation.end_utc}."
        raise ReductionError(message, fix="Give a start, a later end, and less drift than the time between them.")
    share = (when - operation.start_utc) / np.timedelta64(1, "us") / (length_s * MICROSECONDS)
    return np.asarray(share * operation.seconds, dtype=np.float64)


def _changes(
    when: Instants, numbers: Floats, reference_when: Instants, reference: Floats, step: float
) -> tuple[Floats, Floats, int]:
    """Return the changes of both series on one grid, and how many steps the reference's grid begins earlier."""
    step_us = round(step * MICROSECONDS)
    changes = []
    for times, values in ((when, numbers), (reference_when, reference)):
        # Both grids stand on multiples of the step, so that one is a whole number of steps from the other.
        first, last = (int(edge) // step_us for edge in times[[0, -1]].astype(np.int64))
        grid = (np.arange(first, last + 2, dtype=np.int64) * step_us).astype("datetime64[us]")
        # Two steps, so that a single missing sample is bridged but no longer gap.
        gap = max(2.0 * step, 1.5 * usual_interval_s(times))
        regular = interpolate_at(grid, times, values, longest_gap_s=gap)
        changes.append((first, _without_daily_course(np.diff(regular), step)))
    return changes[0][1], changes[1][1], changes[0][0] - changes[1][0]


def _without_daily_course(changes: Floats, step: float) -> Floats:
    """Return changes less the mean of those at the same time of day, where a week or more is there."""
    a_day = round(SECONDS_PER_DAY / step)
    here = ~np.isnan(changes)
    # With a step that does not divide the day no two days are sampled at the same time.
    if here.sum() < 7 * a_day or abs(a_day * step - SECONDS_PER_DAY) > 1e-6:
        return changes - (changes[here].mean() if here.any() else 0.0)
    slot = np.arange(changes.size) % a_day
    count = np.bincount(slot[here], minlength=a_day)
    total = np.bincount(slot[here], weights=changes[here], minlength=a_day)
    mean = np.divide(total, count, out=np.zeros(a_day), where=count > 0)
    remaining = changes - mean[slot]
    dust = float(np.std(remaining[here])) <= 1e-9 * float(np.std(changes[here]))  # it does nothing but repeat itself
    return np.where(here, 0.0, np.nan) if dust else np.asarray(remaining)


def _correlations(changes: Floats, others: Floats, offset: int, most: int) -> tuple[Floats, NDArray[np.int64]]:
    """Return, for every shift in steps from -most to most, the correlation and the number of pairs."""
    masked = [_masked(values) for values in (changes, others)]
    lags = np.arange(-most, most + 1) + offset
    cross = _by_products(masked, lags) if lags.size <= _FEW_SHIFTS else _by_fourier(masked, lags)
    # Counts by Fourier transform are whole numbers only to rounding.
    count = np.round(cross[0, 0])
    few = count < 2
    safe = np.where(few, 1.0, count)
    mean_x, mean_y = cross[1, 0] / safe, cross[0, 1] / safe
    spread_x, spread_y = cross[2, 0] / safe - mean_x**2, cross[0, 2] / safe - mean_y**2
    product = cross[1, 1] / safe - mean_x * mean_y
    # Rounding leaves a constant series a spread of its own, and noise over noise is no correlation.
    floor = 1e-12 * max(float(np.max(spread_x)), 1e-300), 1e-12 * max(float(np.max(spread_y)), 1e-300)
    known = ~few & (spread_x > floor[0]) & (spread_y > floor[1])
    below = np.sqrt(np.where(known, spread_x * spread_y, 1.0))
    return np.where(known, product / below, np.nan), count.astype(np.int64)


def _masked(values: Floats) -> tuple[Floats, Floats, Floats]:
    """Return where there are values (1 or 0), the values and their squares, 0 where there are none."""
    here = ~np.isnan(values)
    limit = 6.0 * _scale(values[here])  # one wild sample must not decide
    filled = np.clip(np.where(here, values, 0.0), -limit, limit)
    return here.astype(np.float64), filled, filled**2


def _by_products(masked: list[tuple[Floats, Floats, Floats]], lags: NDArray[np.int64]) -> dict[tuple[int, int], Floats]:
    """Return the sums of products at some lags, one lag after the other: quicker where there are few."""
    left, right = (np.stack(parts) for parts in masked)
    size, length = left.shape[1], right.shape[1]
    sums = np.zeros((lags.size, 3, 3))
    for number, lag in enumerate(lags.tolist()):
        first, last = max(0, -lag), min(size, length - lag)
        if last > first:
            sums[number] = left[:, first:last] @ right[:, first + lag : last + lag].T
    return {(own, other): sums[:, own, other] for own, other in _PAIRS}


def _by_fourier(masked: list[tuple[Floats, Floats, Floats]], lags: NDArray[np.int64]) -> dict[tuple[int, int], Floats]:
    """Return the sums of products at many lags by Fourier transform."""
    reach = int(np.abs(lags).max())
    # Room for the longest shift at both ends, or the circular transform would lay one end over the other.
    size = int(fft.next_fast_len(masked[0][0].size + masked[1][0].size + 2 * reach, real=True))
    left, right = ([fft.rfft(part, size) for part in parts] for parts in masked)
    # a transform is circular: negative lags stand at its end
    places = lags % size
    return {
        (own, other): np.asarray(fft.irfft(np.conj(left[own]) * right[other], size)[places], dtype=np.float64)
        for own, other in _PAIRS
    }


def _scale(values: Floats) -> float:
    """Return a robust spread of values, never zero while they differ."""
    if values.size == 0:
        return 0.0
    robust = MAD_TO_SD * float(np.median(np.abs(values)))
    # More than half of the changes are 0, as with a coarse resolution; the median says nothing then.
    return robust if robust > 0 else float(values.std())


def _judged(correlation: Floats, pairs: NDArray[np.int64], lags_s: Floats, step: float) -> ClockShift:
    """Return the best shift where it is known, and why not where it cannot."""
    if pairs.max() < CLOCK_LEAST_PAIRS:
        return _undetermined(f"only {int(pairs.max())} pairs of changes; {CLOCK_LEAST_PAIRS} are needed", step)
    # few pairs agree well by chance at the longest lags
    usable = ~np.isnan(correlation) & (pairs >= CLOCK_LEAST_PAIRS)
    if not usable.any():
        return _undetermined("one of the two series does not change, or does nothing but repeat daily", step)
    ranked = np.where(usable, correlation, -np.inf)
    best = int(np.argmax(ranked))
    # that the clock stands right is the first thing to be refuted, however near the best shift is to that
    is_rival = (np.abs(lags_s - lags_s[best]) > max(CLOCK_PEAK_HALF_WIDTH_S, step)) | (lags_s == 0.0)
    is_rival[best] = False
    outside = np.where(is_rival, ranked, -np.inf)
    next_best = float(outside.max())
    # the fewer pairs, the larger the best of many chance correlations
    margin = max(CLOCK_MARGIN, 4.0 / float(np.sqrt(pairs[best])))
    why = ""
    if best in (0, lags_s.size - 1):
        why = "the best shift is the longest tried"
    elif correlation[best] < CLOCK_LEAST_CORRELATION:
        why = f"the changes agree too little at any shift (best correlation {correlation[best]:.2f})"
    elif np.isneginf(next_best):
        why = "no shift far enough from the best has enough pairs of changes to compare it with"
    elif correlation[best] - next_best < margin:
        other = "the clock as it is" if lags_s[int(np.argmax(outside))] == 0.0 else "another shift"
        why = f"{other} agrees nearly as well ({next_best:.2f} against {correlation[best]:.2f})"
    determined = not why
    return ClockShift(
        determined=determined,
        why=why or f"correlation {correlation[best]:.2f}, next best {next_best:.2f}",
        shift_s=float(lags_s[best]) if determined else float("nan"),
        correlation=float(correlation[best]),
        pairs=int(pairs[best]),
        step_s=step,
    )


def _undetermined(why: str, step: float) -> ClockShift:
    """Return that a shift is not known."""
    nan = float("nan")
    return ClockShift(False, why, nan, nan, 0, step)


def _near(reference_when: Instants, when: Instants) -> slice:
    """Return the part of the reference that any shift of these times may meet."""
    if when.size == 0:
        return slice(0, 0)
    # a day more, for changes over the ends of the longest lag
    reach = np.timedelta64(int(CLOCK_LONGEST_LAG_S + SECONDS_PER_DAY), "s")
    return slice(*np.searchsorted(reference_when, [when[0] - reach, when[-1] + reach]).tolist())


def _moment(
    when: Instants, numbers: Floats, reference_when: Instants, reference: Floats, shifts_s: tuple[float, float]
) -> np.datetime64:
    """Return the sample from which the second shift fits better than the first."""
    here = ~np.isnan(numbers)
    when, numbers = when[here], numbers[here]
    longest = 4.0 * max(usual_interval_s(when), usual_interval_s(reference_when))
    away = []
    for shift_s in shifts_s:
        shifted = when + np.timedelta64(round(shift_s * MICROSECONDS), "us")
        other = np.diff(interpolate_at(shifted, reference_when, reference, longest_gap_s=longest))
        away.append(np.square(np.diff(numbers) - other))
    # One spike must not decide where the clock jumped. One limit for both shifts: the one that is right for most of the
    # time has hardly any squares of its own, and with a limit of them would seem right throughout.
    limit = 50 * max(np.nanmedian(squares) for squares in away)
    costs = [np.minimum(squares, limit) for squares in away]
    gain = np.nancumsum(costs[0] - costs[1])  # what the second shift saves up to each sample
    place: np.datetime64 = when[min(int(np.argmin(gain)) + 2, when.size - 1)]
    return place
