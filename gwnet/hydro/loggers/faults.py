"""Spikes and steps in the series of a sensor, and whether manual readings show that it was moved.

Places are positions in the arrays given. A missing number (NaN) counts as no sample: what stands on either side of it
are neighbours. Everything found is a suggestion to a person, who knows what happened in the field.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.constants import (
    LEAST_TEETH,
    NOISE_BLOCK,
    SPIKE_LONGEST,
    SPIKE_NEIGHBOUR_SHARE,
    SPIKE_TIMES_NOISE,
    STEP_TIMES_NOISE,
    STEP_WINDOW,
)
from gwnet.hydro.arrays import Floats, series
from gwnet.hydro.loggers.unusable_intervals import least_step

Places = NDArray[np.int64]


def usual_change(values: ArrayLike) -> Floats:
    """Return how much a series usually changes from sample to sample around each of its samples.

    Parameters as `gwnet.hydro.loggers`.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Median size of the changes in blocks of 96 samples, the largest of a block, its two neighbours and of the
        series as a whole, in the unit of the values; NaN for fewer than two samples.

    Notes
    -----
    The largest of three blocks lets a fast response of the aquifer, which fills a block, count as usual there. Common
    practice, no source.

    Examples
    --------
    >>> usual_change([1.0, 1.1, 1.0, 1.1]).round(6).tolist()
    [0.1, 0.1, 0.1, 0.1]
    """
    numbers = np.asarray(values, dtype=np.float64)
    here = np.flatnonzero(~np.isnan(numbers))
    changes = np.full(numbers.shape, np.nan)
    if here.size < 2:
        return changes
    size = np.abs(np.diff(numbers[here]))
    blocks = max(1, size.size // NOISE_BLOCK)
    whole = size[: blocks * NOISE_BLOCK]
    # by blocks: a flood makes large changes usual for a while, not for the whole record
    medians = np.median(whole.reshape(blocks, -1), axis=1) if size.size >= NOISE_BLOCK else np.array([np.median(size)])
    # with the blocks on both sides, since a flood may begin at the edge of one
    padded = np.pad(medians, 1, mode="edge")
    local = np.maximum(np.maximum(padded[:-2], padded[1:-1]), padded[2:])
    # a still week must not make a ripple a fault
    local = np.maximum(local, np.median(size))
    block = np.minimum(np.arange(here.size) // NOISE_BLOCK, local.size - 1)
    changes[here] = local[block]
    return changes


@dataclass(frozen=True)
class Spikes:
    """Answer of `find_spikes`, in order of time.

    Attributes
    ----------
    first, last : numpy.ndarray of int64, shape (k,)
        Places of the first and last sample of each spike.
    size : numpy.ndarray, shape (k,)
        How far the spike stands off the line between its neighbours, signed, in the unit of the values.
    limit : numpy.ndarray, shape (k,)
        What it had to exceed.
    """

    first: Places
    last: Places
    size: Floats
    limit: Floats


def find_spikes(values: ArrayLike) -> Spikes:
    """Return samples that stand off both of their neighbours while these agree with each other.

    Parameters as `gwnet.hydro.loggers`.

    Notes
    -----
    A spike's samples all stand on one side of both neighbours by more than the limit, and the neighbours differ by
    less than half of that. A fast response of the aquifer rises as fast but does not come back within three samples,
    so that its neighbours do not agree. A pump that ran for one sample looks the same as a lifted sensor; which one
    it was, a person must say. The limits are our project default; robust limits of this kind are common practice, no
    source.

    Examples
    --------
    >>> found = find_spikes([2.00, 2.01, 2.00, 1.20, 2.01, 2.00, 2.01])
    >>> found.first.tolist(), found.size.round(3).tolist()
    ([3], [-0.805])
    """
    numbers = np.asarray(values, dtype=np.float64)
    here = np.flatnonzero(~np.isnan(numbers))
    level, noise = numbers[here], usual_change(numbers)[here]
    resolution = least_step(level)
    firsts, lasts, sizes, limits = [], [], [], []
    taken = np.zeros(level.size, dtype=bool)
    noticed = SPIKE_TIMES_NOISE * np.maximum(noise, resolution)  # of the first sample inside
    leaps = np.flatnonzero(np.abs(np.diff(level)) > noticed[1:])
    for width in range(1, SPIKE_LONGEST + 1):
        starts = leaps[leaps + width + 1 < level.size]
        before, after = level[starts], level[starts + width + 1]
        # all candidates of a width at once
        inside = level[starts[:, None] + np.arange(1, width + 1)]
        lowest, highest = np.minimum(before, after), np.maximum(before, after)
        above, below = inside.min(axis=1, initial=np.inf) - highest, inside.max(axis=1, initial=-np.inf) - lowest
        away = np.where(above > 0, above, np.minimum(below, 0.0))
        # neighbours that differ as much as the block are a step or a fast rise
        is_spike = (np.abs(away) > noticed[starts + 1]) & (highest - lowest < SPIKE_NEIGHBOUR_SHARE * np.abs(away))
        for number in np.flatnonzero(is_spike):
            place = int(starts[number])
            # a narrower spike there explains it already
            if taken[place : place + width + 2].any():
                continue
            taken[place + 1 : place + width + 1] = True
            middle = (before[number] + after[number]) / 2
            block = inside[number] - middle
            firsts.append(here[place + 1])
            lasts.append(here[place + width])
            sizes.append(float(block[int(np.argmax(np.abs(block)))]))
            limits.append(float(noticed[place + 1]))
    order = np.argsort(firsts, kind="stable")
    return Spikes(
        np.asarray(firsts, dtype=np.int64)[order],
        np.asarray(lasts, dtype=np.int64)[order],
        np.asarray(sizes, dtype=np.float64)[order],
        np.asarray(limits, dtype=np.float64)[order],
    )


def find_odd_ends(time_utc: ArrayLike, values: ArrayLike, *, longest_gap_s: float) -> Spikes:
    """Return the first or last samples of runs without a gap that stand off those beside them.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times of the samples, rising.
    values : array_like, shape (n,)
        Samples, spikes left out (NaN).
    longest_gap_s : float
        A run ends where two samples are farther apart [s].

    Notes
    -----
    One to three samples that all stand to one side of the sample beside them by more than the limit of a spike, and by
    three times any change among the twelve samples there. Where the next run begins within a day nearer to them than to
    the others, the water moved and they are sound. A sensor that is taken out to be read out shows such an end. The
    limits are our project default; common practice, no source.

    Examples
    --------
    >>> import numpy as np
    >>> at = np.datetime64("2024-05-01", "us") + np.arange(30) * np.timedelta64(1, "h")
    >>> level = 2.0 + 0.002 * (np.arange(30) % 2)
    >>> level[28:] = 0.5
    >>> found = find_odd_ends(at, level, longest_gap_s=7200)
    >>> found.first.tolist(), found.last.tolist(), found.size.round(3).tolist()
    ([28], [29], [-1.502])
    """
    when, numbers = series(time_utc, values, "series")
    here = np.flatnonzero(~np.isnan(numbers))
    found: list[tuple[int, int, float, float]] = []
    level, noise = numbers[here], usual_change(numbers)[here]
    limit = SPIKE_TIMES_NOISE * np.maximum(noise, least_step(level))
    breaks = np.flatnonzero(np.diff(when[here]) > np.timedelta64(int(longest_gap_s * 1e6), "us")) + 1
    edges = [0, *breaks.tolist(), here.size]
    for first, end in itertools.pairwise(edges):
        # A short run has no usual course that its ends could stand off from.
        if end - first < 2 * STEP_WINDOW:
            continue
        forward, backward = np.arange(first, end), np.arange(end - 1, first - 1, -1)
        for inward, neighbour in ((forward, first - 1), (backward, end)):
            width, size = _odd_width(level[inward], float(limit[inward[0]]))
            if not width or _goes_on(when[here], level, inward, width, neighbour):
                continue
            places = here[np.sort(inward[:width])]
            found.append((int(places[0]), int(places[-1]), size, float(limit[inward[0]])))
    firsts, lasts, sizes, limits = zip(*sorted(found), strict=True) if found else ((), (), (), ())
    return Spikes(
        np.array(firsts, np.int64), np.array(lasts, np.int64), np.array(sizes, np.float64), np.array(limits, np.float64)
    )


def _odd_width(inward: Floats, limit: float) -> tuple[int, float]:
    """Return how many of the outermost samples stand off, and by how much; levels are given from the end inward."""
    for width in range(1, SPIKE_LONGEST + 1):
        beside = inward[width : width + STEP_WINDOW]
        # From the sample beside the block, as a slope would move a mean of those farther in.
        away = inward[:width] - beside[0]
        least = float(np.abs(away).min())
        one_side = bool((away > 0).all() or (away < 0).all())
        if one_side and least > max(limit, 3.0 * float(np.abs(np.diff(beside)).max())):
            return width, float(away[int(np.argmax(np.abs(away)))])
    return 0, 0.0


def _goes_on(when: NDArray[np.datetime64], level: Floats, inward: Places, width: int, neighbour: int) -> bool:
    """Return whether the next run goes on where the odd samples are."""
    if not 0 <= neighbour < level.size or abs(when[neighbour] - when[inward[0]]) > np.timedelta64(1, "D"):
        return False
    return bool(abs(level[neighbour] - level[inward[0]]) < abs(level[neighbour] - level[inward[width]]))


def find_saw_tooth(values: ArrayLike, place: ArrayLike, size: ArrayLike) -> Places:
    """Return which steps are the teeth of a saw: one way, with the level coming back between them.

    Parameters
    ----------
    values : array_like, shape (n,)
        Samples of the series.
    place : array_like of int, shape (k,)
        First sample after each step, rising.
    size : array_like, shape (k,)
        Size of each step, in the unit of the values.

    Returns
    -------
    numpy.ndarray of int64
        Which of the steps; empty for none.

    Notes
    -----
    Four steps or more the same way, which together are three times as large as what the level changes by from before
    the first to after the last. Subtracting each of them would make a ramp of a saw. Project default.

    Examples
    --------
    >>> level = [2.0, 1.5, 1.75, 2.0, 1.5, 1.75, 2.0, 1.5, 1.75, 2.0, 1.5, 1.75]
    >>> find_saw_tooth(level, [1, 4, 7, 10], [-0.5, -0.5, -0.5, -0.5]).tolist()
    [0, 1, 2, 3]
    """
    numbers, places = np.asarray(values, dtype=np.float64), np.asarray(place, dtype=np.int64)
    sizes = np.asarray(size, dtype=np.float64)
    for sign in (-1.0, 1.0):
        mine = np.flatnonzero(np.sign(sizes) == sign)
        if mine.size < LEAST_TEETH:
            continue
        before, after = numbers[: places[mine[0]]], numbers[places[mine[-1]] :]
        before, after = before[~np.isnan(before)], after[~np.isnan(after)]
        net = abs(float(after[0] - before[-1])) if before.size and after.size else 0.0
        if float(np.abs(sizes[mine]).sum()) >= 3.0 * net:
            return mine.astype(np.int64)
    return np.empty(0, np.int64)


@dataclass(frozen=True)
class Steps:
    """Answer of `find_steps`, in order of time.

    Attributes
    ----------
    place : numpy.ndarray of int64, shape (k,)
        Place of the first sample after each step.
    size : numpy.ndarray, shape (k,)
        Median after less median before, less what the slope on both sides makes of it, in the unit of the values.
    limit : numpy.ndarray, shape (k,)
        What the change from sample to sample had to exceed.
    """

    place: Places
    size: Floats
    limit: Floats


def find_steps(
    time_utc: ArrayLike,
    values: ArrayLike,
    *,
    longest_gap_s: float,
) -> Steps:
    """Return where a series changes from one sample to the next by more than it ever does, and stays there.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times of the samples, rising.
    values : array_like, shape (n,)
        Samples, spikes left out (NaN).
    longest_gap_s : float
        A change over a longer time between two samples is no step [s].

    Notes
    -----
    The change must also be three times that of the samples on either side of it (a rise after rain grows and fades
    over several samples) and the medians on both sides must differ by half of it at least. Discontinuities,
    wrong cable lengths and spikes at downloads are the usual defects of logger records: Muñoz-Carpena, Kaplan and
    Bachelin (2009), Groundwater data processing, Loxahatchee basin, executive summary, steps 2 to 7. Whether sensor or
    water stepped, only a manual reading tells: `confirm_steps`. The limits are our project default.

    Examples
    --------
    >>> import numpy as np
    >>> at = np.datetime64("2024-05-01", "us") + np.arange(40) * np.timedelta64(1, "h")
    >>> level = np.where(np.arange(40) < 20, 2.0, 1.6) + 0.002 * (np.arange(40) % 2)
    >>> found = find_steps(at, level, longest_gap_s=3600)
    >>> found.place.tolist(), found.size.round(3).tolist()
    ([20], [-0.4])
    """
    when, numbers = series(time_utc, values, "series")
    here = np.flatnonzero(~np.isnan(numbers))
    level, noise = numbers[here], usual_change(numbers)[here]
    resolution = least_step(level)
    change = np.diff(level)
    size = np.abs(change)
    limit = STEP_TIMES_NOISE * np.maximum(noise[1:], resolution)
    beside = np.zeros(size.size)
    for away in (1, 2):
        # a flood rises over several samples, a step happens between two
        beside[away:] = np.maximum(beside[away:], size[:-away])
        beside[:-away] = np.maximum(beside[:-away], size[away:])
    # Over a gap the water itself had time to change.
    soon = np.diff(when[here]) <= np.timedelta64(int(longest_gap_s * 1e6), "us")
    candidates = np.flatnonzero((size > limit) & (size > 3.0 * beside) & soon)
    if candidates.size == 0:
        return Steps(np.empty(0, np.int64), np.empty(0), np.empty(0))
    reach = np.arange(STEP_WINDOW)
    before = _medians(level, candidates[:, None] - reach)
    after = _medians(level, candidates[:, None] + 1 + reach)
    # without the trend of the water, which moves the medians apart as well
    lasting = after - before - STEP_WINDOW * _slope_beside(level, candidates)
    stays = (np.sign(lasting) == np.sign(change[candidates])) & (
        np.abs(lasting) >= (1 - SPIKE_NEIGHBOUR_SHARE) * size[candidates]
    )
    kept = candidates[stays]
    return Steps(here[kept + 1].astype(np.int64), lasting[stays], limit[kept])


def confirm_steps(
    step_time_utc: ArrayLike,
    step_m: ArrayLike,
    reading_time_utc: ArrayLike,
    offset_m: ArrayLike,
    *,
    tolerance_m: float,
) -> tuple[NDArray[np.int64], Floats]:
    """Return whether manual readings show that a step was the sensor's and not the water's.

    Parameters
    ----------
    step_time_utc : array_like of datetime64, shape (k,)
        First sample after each step.
    step_m : array_like, shape (k,)
        Size of each step of the sensor's level, positive upward [m].
    reading_time_utc : array_like of datetime64, shape (m,)
        Times of the manual readings of that installation.
    offset_m : array_like, shape (m,)
        Manual reading less the sensor's level at that moment, without any correction for the steps [m].
    tolerance_m : float
        What manual readings and sensor may disagree by [m].

    Returns
    -------
    tuple of numpy.ndarray, shape (k,)
        1 where the sensor moved, -1 where the water did, 0 where no manual reading stands on both sides or they show
        something else; and how far the offsets moved across the step [m].

    Raises
    ------
    ShapeError
        If times and numbers differ in shape.

    Notes
    -----
    A sensor that slips down by 0.2 m reads 0.2 m more; the offset of the manual readings falls by as much. USGS TM 1-A1
    (Cunningham and Schalk, 2011), p. 142: look for a slip or a kink of the cable where they disagree. The nearest
    reading on each side is compared; other steps between them count as well, so that each is taken off first.

    Examples
    --------
    >>> hand = ["2024-05-01", "2024-06-01"]
    >>> moved, by = confirm_steps(["2024-05-15"], [0.20], hand, [100.00, 99.81], tolerance_m=0.03)
    >>> moved.tolist(), by.round(2).tolist()
    ([1], [-0.19])
    """
    when, step = series(step_time_utc, step_m, "series of steps", rising=False)
    reading_when, offset = series(reading_time_utc, offset_m, "series of manual readings", rising=False)
    known = ~np.isnan(offset)
    order = np.argsort(reading_when[known], kind="stable")
    reading_when, offset = reading_when[known][order], offset[known][order]
    verdict, moved = np.zeros(when.size, dtype=np.int64), np.full(when.size, np.nan)
    for place in range(when.size):
        after = int(np.searchsorted(reading_when, when[place], side="left"))
        if after in (0, reading_when.size):
            continue
        # other steps between the same readings moved the offset, too
        between = (when > reading_when[after - 1]) & (when <= reading_when[after]) & (np.arange(when.size) != place)
        moved[place] = offset[after] - offset[after - 1] + float(step[between].sum())
        # A quarter of the step, as drift and other errors of a reading grow with what happened between.
        allowed = max(tolerance_m, 0.25 * abs(float(step[place])))
        if abs(moved[place] + step[place]) <= allowed:
            # the offset jumped by the step and back: the sensor moved, not the water
            verdict[place] = 1
        elif abs(moved[place]) <= allowed:
            verdict[place] = -1
    return verdict, moved


def _slope_beside(level: Floats, candidates: Places) -> Floats:
    """Return the slope on both sides of each candidate per sample, from the medians of the halves of each side."""
    half = STEP_WINDOW // 2
    near, far = np.arange(half), np.arange(half, 2 * half)
    first = candidates[:, None]
    before = _medians(level, first - near) - _medians(level, first - far)
    after = _medians(level, first + 1 + far) - _medians(level, first + 1 + near)
    slopes = np.stack([before, after]) / half
    known = ~np.isnan(slopes)
    return np.asarray(np.where(known, slopes, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1))


def _medians(level: Floats, places: Places) -> Floats:
    """Return the median of the samples at places, those beyond the ends left out."""
    inside = (places >= 0) & (places < level.size)
    # places beyond the ends take those at them, and are masked
    taken = np.where(inside, level.take(places, mode="clip"), np.nan)
    medians = np.full(len(taken), np.nan)
    some = inside.any(axis=1)
    medians[some] = np.nanmedian(taken[some], axis=1)
    return medians
