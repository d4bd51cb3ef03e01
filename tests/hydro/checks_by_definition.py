"""The checks of single readings as loops that one can read, event by event: what the whole-array code must agree with.

All numbers are the documented ones (project defaults). `nan` stands for what is not known.
"""

from __future__ import annotations

from math import inf, isnan, nan
from types import SimpleNamespace

import numpy as np

#: Standard deviation of normal values over their median absolute deviation (Rousseeuw and Croux, 1993; from memory).
MAD_TO_SD = 1.482602218505602


def spread_of(values):
    """Return median, and the larger of 1.4826 MAD and of the 80 % quantile of deviations over 1.2816, at most 2.5 MAD."""
    centre = np.median(values)
    off = np.abs(np.array(values) - centre)
    deviation = MAD_TO_SD * np.median(off)
    return centre, max(deviation, min(np.quantile(off, 0.8) / 1.2815515655446004, 2.5 * deviation))


def groups_of(values, groups, use, least):
    """Yield each place with the places of its narrowest group that is large enough, None where none is."""
    members = [{} for _ in groups]
    for own, group in zip(members, groups, strict=True):
        for i in range(len(values)):
            own.setdefault(group[i], []).extend([i] if use[i] and not isnan(values[i]) else [])
    for i in range(len(values)):
        large = [
            own[group[i]]
            for own, group, fewest in zip(members, groups, np.broadcast_to(least, len(groups)), strict=True)
            if len(own[group[i]]) >= fewest
        ]
        yield i, large[0] if large else None


def nested(values, groups, use, least):
    """Return median, 1.4826 MAD and count of the narrowest group of each value that is large enough."""
    rows = []
    for _, members in groups_of(values, groups, use, least):
        own = [values[j] for j in members or []]
        middle = np.median(own) if members else nan
        rows.append((middle, MAD_TO_SD * np.median(np.abs(own - middle)) if members else nan, len(own)))
    return np.array(rows, dtype=float).reshape(-1, 3).T


def following(values, groups, use, least, block=16):
    """Return the same of the values near each value: its block of 16 and those beside it, at least half of the group's."""
    rows = []
    for i, members in groups_of(values, groups, use, least):
        if members is None:
            rows.append((nan, nan, 0))
            continue
        last = max(len(members) // block, 1) - 1
        own = min(sum(j < i for j in members) // block, last)
        near = [values[j] for rank, j in enumerate(members) if abs(min(rank // block, last) - own) <= 1]
        centre, deviation = spread_of(near)
        rows.append((centre, max(deviation, 0.5 * spread_of([values[j] for j in members])[1]), len(members)))
    return np.array(rows, dtype=float).reshape(-1, 3).T


def class_of(interval_d):
    """Return the class of an interval: up to 2, 10, 45, 135, 270 and 550 days, and longer."""
    return sum(interval_d > edge for edge in (2.0, 10.0, 45.0, 135.0, 270.0, 550.0))


def interval_groups(well, season, interval_d):
    """Return groups of well, interval and season, and of well and interval."""
    wide = [(int(w), class_of(0.0 if isnan(d) else d)) for w, d in zip(well, interval_d, strict=True)]
    return [[(*one, int(s)) for one, s in zip(wide, season, strict=True)], wide]


def beside(well, i, counts):
    """Return the last place before and the first after in the same well that counts; None for none."""
    before = (j for j in range(i - 1, -1, -1) if well[j] == well[i] and counts[j])
    after = (j for j in range(i + 1, len(well)) if well[j] == well[i] and counts[j])
    return next(before, None), next(after, None)


def jumps(well, time, season, level, sound, spreads, least, floor_m):
    """Return change, limits, reading before, count and jump of each event."""
    n = len(well)
    sound = sound & ~np.isnan(level)

    def changes(serves):
        before = [beside(well, i, serves)[0] for i in range(n)]
        change = np.array([nan if b is None else level[i] - level[b] for i, b in enumerate(before)])
        interval = [nan if b is None else time[i] - time[b] for i, b in enumerate(before)]
        groups = interval_groups(well, season, interval)
        centre, deviation, count = following(change, groups, serves, [1.5 * least, least])
        half = [max(spreads * d, floor_m) if not isnan(d) else nan for d in deviation]
        lower, upper = centre - half, centre + half
        return (
            change,
            lower,
            upper,
            before,
            count,
            [bool(c < a or c > b) for c, a, b in zip(change, lower, upper, strict=True)],
        )

    change, lower, upper, before, count, jump = changes(sound)
    # past the jumps: a return to the level before one is none
    again = changes(sound & ~np.array(jump, dtype=bool))
    kept = list(jump)
    for i in range(n):
        low = lower[i] if isnan(again[1][i]) else again[1][i]
        high = upper[i] if isnan(again[2][i]) else again[2][i]
        if jump[i] and before[i] is not None and jump[before[i]] and again[3][i] is not None:
            kept[i] = not low <= again[0][i] <= high
    return change, lower, upper, [-1 if b is None else b for b in before], count, kept


def level_at(readings, time, near_d):
    """Return the level of a well at a time: linear between the readings around it, where one of them is near."""
    if isnan(time) or isnan(near_d):
        return nan
    left = [(t, v) for t, v in readings if t < time]
    right = [(t, v) for t, v in readings if t >= time]
    distances = [time - t for t, _ in left[-1:]] + [t - time for t, _ in right[:1]]
    if not distances or min(distances) > near_d:
        return nan
    if not left or not right:
        return (left[-1:] + right[:1])[0][1]
    if right[0][0] == time:
        return right[0][1]
    (t0, v0), (t1, v1) = left[-1], right[0]
    return v0 + (v1 - v0) * (time - t0) / (t1 - t0)


def readings_of(well, time, level, counts, wells):
    """Return the readings of each well that count."""
    return [[(time[i], level[i]) for i in range(len(well)) if well[i] == w and counts[i]] for w in range(wells)]


def sizes_beside(well, residual, sound, i):
    """Return by how much the three sound levels on either side are off."""
    counted = [j for j in range(len(well)) if well[j] == well[i] and sound[j] and not isnan(residual[j])]
    return [abs(residual[j]) for j in [j for j in counted if j < i][-3:] + [j for j in counted if j > i][:3]]


def restlessness(well, residual, sound):
    """Return 0.6 of 1.4826 times the median of what is beside; nan where fewer than three are."""
    sizes = [sizes_beside(well, residual, sound, i) for i in range(len(well))]
    return np.array([0.6 * MAD_TO_SD * np.median(some) if len(some) >= 3 else nan for some in sizes])


def stand_alone(well, season, residual, sound, least):
    """Return which levels are off 2.5 times as much as any beside, and 3 deviations from what their season does."""
    centre, deviation, _ = nested(residual, [list(zip(well, season, strict=True))], sound, least)
    largest = [max(sizes_beside(well, residual, sound, i), default=0.0) for i in range(len(well))]
    as_usual = np.abs(residual - centre) <= 3.0 * deviation
    return (np.abs(residual) > 2.5 * np.array(largest)) & ~as_usual


def estimate(time, level, i, before, after):
    """Return the weight of the reading after, and the level that both readings suggest."""
    if before is None and after is None:
        return nan, nan
    if before is None or after is None:
        return (0.0, level[before]) if after is None else (1.0, level[after])
    span = time[after] - time[before]
    weight = (time[i] - time[before]) / span if span > 0 else 0.5
    return weight, (1 - weight) * level[before] + weight * level[after]


def missed_by_neighbours(series, neighbours, time, i, before, after, weight, interval):
    """Return the median of what the same estimate misses in the neighbours; nan where fewer than three were read.

    The eight nearest are asked; where fewer than three of them were read, the five nearest of all that were.
    """
    if isnan(weight):
        return nan
    near = max(3.0, 0.15 * interval)
    missed = []
    for other in neighbours:
        own = series[other] if other >= 0 else []
        first = level_at(own, time[before], near) if weight < 1.0 else 0.0
        second = level_at(own, time[after], near) if weight > 0.0 else 0.0
        missed.append(level_at(own, time[i], near) - (1 - weight) * first - weight * second)
    of_nearest = [some for some in missed[:8] if not isnan(some)]
    counted = of_nearest if len(of_nearest) >= 3 else [some for some in missed if not isnan(some)][:5]
    return float(np.median(counted)) if len(counted) >= 3 else nan


def response(well, own, missed, use):
    """Return how strongly each well moves when its neighbours do, from 0 to 3, outliers beyond 3 deviations cut."""
    both = use & ~np.isnan(own) & ~np.isnan(missed)
    answers = []
    for w in well:
        rows = [j for j in range(len(well)) if well[j] == w and both[j]]
        limit = max(3.0 * MAD_TO_SD * np.median(np.abs(own[rows] - np.median(own[rows]))), 1e-6) if rows else 1e-6
        square = product = 0.0
        for j in rows:
            if abs(missed[j]) <= 3.0 * limit:
                square += missed[j] ** 2
                product += missed[j] * min(max(own[j], -limit), limit)
        answers.append(min(max(product / square, 0.0), 3.0) if square > 0 else 1.0)
    return np.array(answers)


def interval_of(time, i, before, after):
    """Return the time to the nearer reading; 1100 days where there is none."""
    away = [time[i] - time[before]] if before is not None else []
    away += [time[after] - time[i]] if after is not None else []
    return min(away, default=1100.0)


class Around:
    """Estimates of all levels from the readings around them, and what they miss in the neighbours."""

    def __init__(self, record, sound, sides):
        well, time, _, level, neighbours = record
        n = len(well)
        series = readings_of(well, time, level, sound, len(neighbours))
        self.sides = [sides(i) for i in range(n)]
        self.interval = [interval_of(time, i, *self.sides[i]) for i in range(n)]
        self.between = np.array([None not in side for side in self.sides], dtype=bool)
        found = [estimate(time, level, i, *self.sides[i]) for i in range(n)]
        self.own = level - np.array([some for _, some in found])
        self.missed = np.array(
            [
                missed_by_neighbours(
                    series, neighbours[well[i]], time, i, *self.sides[i], found[i][0], self.interval[i]
                )
                for i in range(n)
            ]
        )
        self.usable = sound & ~np.isnan(self.own)


def fit(record, serves, spreads, least):
    """Hold each level against the readings around it, moved by what the neighbours did; three fits at most."""
    well, time, season, level, neighbours = record
    n = len(well)
    serves = serves & ~np.isnan(level)
    since = Around(record, serves, lambda i: (beside(well, i, serves)[0], None))
    groups = [*interval_groups(well, season, since.interval), list(well)]
    fewest = [1.5 * least, least, least]
    own_since = following(since.own, groups, since.usable, fewest)
    moved = since.own - since.missed * response(well, since.own, since.missed, since.usable)
    moved_since = following(moved, groups, since.usable, fewest)

    def fitted(sound):
        def sides(i):
            before, after = beside(well, i, sound)
            before = before if before is not None and time[i] - time[before] <= 1096.0 else None
            return before, (after if after is not None and time[after] - time[i] <= 1096.0 else None)

        around = Around(record, sound, sides)
        side = np.array([0.0 if None not in pair else -1.0 if pair[0] is None else 1.0 for pair in around.sides])
        wide = interval_groups(well, season, around.interval)[1]
        groups = [
            [(*one, bool(between)) for one, between in zip(wide, around.between, strict=True)],
            list(zip(well, around.between, strict=True)),
        ]

        def usual(values, spread_since):
            spread = following(values, groups, around.usable, least)[1]
            of_all = nested(values, [list(around.between)], around.usable, least)[1]
            spread = np.where(around.between, spread, spread_since)
            return np.where(np.isnan(spread), of_all, spread)

        own = around.own - side * np.nan_to_num(own_since[0])
        missed = around.missed * response(well, own, around.missed, around.usable)
        moved = around.own - missed - side * np.nan_to_num(moved_since[0])
        own_spread, moved_spread = usual(own, own_since[1]), usual(moved, moved_since[1])
        better = np.array(
            [
                not isnan(m) and (inf if isnan(a) else a) < (inf if isnan(b) else b)
                for m, a, b in zip(missed, moved_spread, own_spread, strict=True)
            ],
            dtype=bool,
        )
        return SimpleNamespace(
            residual_m=np.where(better, moved, own),
            spread_m=np.maximum(np.where(better, moved_spread, own_spread), 0.01),
            by_neighbours=better,
            own_residual_m=own,
            own_spread_m=np.maximum(own_spread, 0.01),
            between=around.between,
            is_first=np.array([pair[0] is None for pair in around.sides], dtype=bool),
            sound=sound,
        )

    found = fitted(serves)
    for _ in range(2):
        off = np.nan_to_num(np.abs(found.residual_m) / found.spread_m)
        known = ~np.isnan(found.residual_m)
        kept = serves.copy()
        for i in range(n):
            worst = max([off[j] for j in beside(well, i, known) if j is not None], default=0.0)
            kept[i] = serves[i] and not (off[i] > spreads and off[i] >= worst) and (found.sound[i] or off[i] <= spreads)
        if (kept == found.sound).all():
            break
        found = fitted(kept)
    alone = stand_alone(well, season, found.own_residual_m, found.sound, least)
    moved = stand_alone(well, season, found.residual_m, found.sound, least)
    found.is_alone = np.where(found.by_neighbours & (found.spread_m < 0.3 * found.own_spread_m), moved, alone)
    known = ~np.isnan(found.residual_m)
    residuals = readings_of(well, time, found.residual_m, known, len(neighbours))
    spreads_of = readings_of(well, time, found.spread_m, known, len(neighbours))
    found.shared = np.zeros(n, dtype=int)
    for i in np.flatnonzero(known):
        for other in neighbours[well[i]][:8]:
            if other >= 0:
                theirs = level_at(residuals[other], time[i], 3.0) * np.sign(found.residual_m[i])
                own = level_at(spreads_of[other], time[i], 3.0)
                found.shared[i] += theirs > max(3.0 * own, 0.3 * abs(found.residual_m[i]))
    found.spread_m = np.fmax(found.spread_m, restlessness(well, found.residual_m, found.sound))
    return found
