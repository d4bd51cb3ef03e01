"""How many faults can be noticed at all in the open aquifer record, against the warnings on levels as they are.

Run: ``python tests/bench/bench_detection.py [FAULTS [SEED [RECORD]]]``, of the levels of another record if one is named

Faults of the kinds of `bench_findings.py` are drawn as there. A detector gives what each level misses and the spread of
that; a fault adds its shift to what its level misses, as a level never serves its own estimate. Detectors: the line
between the readings before and after; the same less what neighbours miss (of the nearest 8, or of up to 24); ordinary
kriging in time from four readings on either side with the well's own robust variogram; and of all these, at each level,
the one with the least spread.

Limits are not one multiple of the spread: levels are put into 40 classes of spread, and each class gets the limit with
which most faults of one foot are noticed at a given number of warnings in all. They are chosen on the levels themselves,
knowing the faults, so no rule with one limit for such classes of the same detectors notices more.

A detector of one form alone looks at misfits below 1.5 ft, as those of one foot are, and leaves larger ones to the
other forms: fewer levels as they are give a warning. For the bound, faults of the other forms then count as noticed,
all of them and without a warning. The checks report a misfit of about one unit from 2.6 spreads in the same way.
"""

from __future__ import annotations

import sys
import tempfile
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.optimize import nnls

sys.path.insert(0, str(Path(__file__).resolve().parent))

from bench_findings import AT_ONCE, FOOT_M, GROSS, READING_KINDS, Case, fault, open_cases

from gwnet.hydro.checks.neighbours import fit_around
from gwnet.hydro.checks.spreads import following_spread
from gwnet.network import Network

#: A misfit of this size or more is not of the form of one foot.
MOST_OF_FORM = 1.5 * FOOT_M
WARNINGS = (0.0025, 0.005, 0.0075, 0.01, 0.02, 0.05, 0.1)
CLASSES = 40
YEAR_D = 365.25
LAG_EDGES_D = np.array([0.5, 1.5, 3.5, 7.5, 15, 35, 70, 135, 230, 300, 430, 650, 900, 1300])


def lag_terms(lag_d):
    """Return the terms of a variogram at lags: a nugget, powers of time, the season."""
    years = lag_d / YEAR_D
    season = 1.0 - np.cos(2.0 * np.pi * years)
    return np.stack(
        [(lag_d > 0) * 1.0, np.sqrt(years), years, years**1.5, season, 1.0 - np.exp(-lag_d / 20.0)], axis=-1
    )


def variograms(well, time_d, level_m, sound):
    """Return the weights of the terms for each well: least squares without negative weights on medians of differences."""
    place = np.flatnonzero(sound)
    well, time_d, level_m = well[place], time_d[place], level_m[place]
    weights = np.full((int(well.max()) + 1, 6), np.nan)
    for number in np.unique(well):
        own = well == number
        time, level = time_d[own], level_m[own]
        lags, sizes = [], []
        for step in (1, 2, 3, 4, 6, 8, 12, 16, 24, 36, 52, 73):
            lags.append(time[step:] - time[:-step])
            sizes.append(np.abs(level[step:] - level[:-step]))
        lag, size = np.concatenate(lags), np.concatenate(sizes)
        group = np.searchsorted(LAG_EDGES_D, lag)
        filled = [g for g in range(1, LAG_EDGES_D.size) if (group == g).sum() >= 8]
        if len(filled) < 3:
            continue
        half = np.array([(1.4826 * max(np.median(size[group == g]), 0.003)) ** 2 / 2.0 for g in filled])
        middle = np.array([lag[group == g].mean() for g in filled])
        weights[number], _ = nnls(lag_terms(middle) / half[:, None], np.ones(half.size))
    weights[:, 0] = np.maximum(weights[:, 0], 1e-5)
    return np.where(np.isnan(weights), np.nanmedian(weights, axis=0), weights)


def krige(well, time_d, level_m, sound, weights, side=4):
    """Return what each level misses by kriging from the sound readings around it, and the kriging deviation."""
    place = np.flatnonzero(sound)
    first = np.searchsorted(place, np.arange(well.size))
    count = 2 * side
    around = np.full((well.size, count), -1)
    for column, step in enumerate([*range(-side, 0), *range(side)]):
        at = first + step + (sound if step >= 0 else 0)
        other = place[np.clip(at, 0, place.size - 1)]
        good = (at >= 0) & (at < place.size) & (well[other] == well) & (np.abs(time_d[other] - time_d) <= 3 * YEAR_D)
        around[good, column] = other[good]
    missed, deviation = np.full(well.size, np.nan), np.full(well.size, np.nan)
    rows = np.flatnonzero((around >= 0).any(axis=1))
    for part in np.array_split(rows, max(rows.size // 8000, 1)):
        is_there = around[part] >= 0
        term = weights[well[part]]
        time = np.where(is_there, time_d[around[part]], 0.0)
        lag = np.abs(time[:, :, None] - time[:, None, :])
        between = np.einsum("nijk,nk->nij", lag_terms(lag + (lag == 0) * 1e-6), term)
        between[:, np.arange(count), np.arange(count)] = 0.0
        to_level = np.einsum("nik,nk->ni", lag_terms(np.abs(time - time_d[part][:, None]) + 1e-6), term) * is_there
        matrix = np.zeros((part.size, count + 1, count + 1))
        matrix[:, :count, :count] = np.where(is_there[:, :, None] & is_there[:, None, :], between, 0.0)
        matrix[:, np.arange(count), np.arange(count)] = ~is_there
        matrix[:, :count, count] = matrix[:, count, :count] = is_there
        right = np.concatenate([to_level, np.ones((part.size, 1))], axis=1)
        solved = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
        apart = np.where(is_there, level_m[around[part]] - level_m[part][:, None], 0.0)
        missed[part] = -(solved[:, :count] * apart).sum(axis=1)
        deviation[part] = np.sqrt(np.maximum((solved * right).sum(axis=1), 1e-6))
    return missed, deviation


def detectors(case):
    """Return what each level misses and its spread, by detector."""
    events = case.events
    given = (events.well, events.time_d, events.season, events.level_m, events.sound)
    near = fit_around(*given, events.neighbours[:, :8])
    wide = fit_around(*given, events.neighbours)
    weights = variograms(events.well, events.time_d, events.level_m, wide.sound)
    missed, deviation = krige(events.well, events.time_d, events.level_m, wide.sound, weights)
    share = following_spread(missed / deviation, events.well[None, :], use=wide.sound, least=8).deviation
    found = {
        "line between readings": (near.own_residual_m, near.own_spread_m),
        "less neighbours, 8": (near.residual_m, near.spread_m),
        "less neighbours, 24": (wide.residual_m, wide.spread_m),
        "kriging in time": (missed, deviation * np.where(np.isnan(share), 1.0, share)),
    }
    spread = np.stack([np.nan_to_num(one[1], nan=np.inf) for one in found.values()])
    least = np.argmin(spread, axis=0)
    found["the least spread"] = tuple(np.choose(least, [one[number] for one in found.values()]) for number in (0, 1))
    return found


def draw(case, count, random):
    """Return levels as `bench_findings.py` draws them, one a well at a time, with the shift of a fault of each kind."""
    booked, places, shifts = case.events.booked, [], {kind: [] for kind in READING_KINDS}
    while len(places) < count:
        wells = set()
        for place in random.permutation(case.sound):
            well = int(case.events.well[place])
            if well in wells or len(wells) == case.at_once:
                continue
            wells.add(well)
            args = (booked.value[place], booked.unit[place], int(booked.decimals[place]), random)
            made = {kind: fault(kind, *args) for kind in READING_KINDS}
            places.append(place)
            for kind, one in made.items():
                # a depth that grows lowers the level
                shifts[kind].append(np.nan if one is None else -one[1])
    return np.array(places), {kind: np.array(shift) for kind, shift in shifts.items()}


def size_of(missed, most=np.inf):
    """Return by how much levels are off, 0 where that is not of the form looked for."""
    return np.where(np.abs(missed) < most, np.abs(missed), 0.0)


def counts_above(limits, size, group):
    """Return how many sizes of each class are above each limit; one row a class."""
    sizes = (np.sort(size[group == number]) for number in range(CLASSES))
    return np.array([own.size - np.searchsorted(own, limits, side="right") for own in sizes])


def best_limits(missed, spread, drawn, shifts, most=np.inf):
    """Return, for each number of warnings, the limits of classes of spread that notice most of all shifts with so many."""
    order = np.argsort(np.argsort(spread))
    group = np.minimum(order * CLASSES // spread.size, CLASSES - 1)
    tried = FOOT_M * np.concatenate([np.arange(0.05, 1.5, 0.025), np.geomspace(1.5, 100.0, 40), [np.inf]])
    size = size_of(missed, most)
    wrong = counts_above(tried, size, group) / size.size
    right = np.zeros(wrong.shape)
    for shift in shifts:
        faulty = size_of(missed[drawn] + shift, most)
        right += counts_above(tried, faulty, group[drawn]) / drawn.size
    limits = []
    for warnings in WARNINGS:
        low, high = 0.0, 1e4
        for _ in range(60):
            price = 0.5 * (low + high)
            chosen = np.argmax(right - price * wrong, axis=1)
            low, high = (price, high) if wrong[np.arange(CLASSES), chosen].sum() > warnings else (low, price)
        limits.append(tried[np.argmax(right - high * wrong, axis=1)][group])
    return limits


def main(arguments):
    random = np.random.default_rng(int(arguments[1]) if len(arguments) > 1 else 20260217)
    if len(arguments) > 2:
        with Network(arguments[2]) as network:
            cases = [Case("record", network, AT_ONCE["demo"])]
    else:
        with tempfile.TemporaryDirectory() as folder:
            cases = open_cases(Path(folder), ("aquifer",))
    if not cases:
        print("The open data of the aquifer is not there.")
        return
    case = cases[0]
    sound = np.flatnonzero(case.events.sound)
    places, shifts = draw(case, int(arguments[0]) if arguments else 3000, random)
    drawn = np.searchsorted(sound, places)
    foot, gross = shifts["one metre or foot"], [shifts[kind] for kind in GROSS]
    print("Noticed of faults, by warnings per 100 levels as they are (never more warnings than stated)")
    print(f"{'detector':<24}{'kind':<19}" + "".join(f"{100 * one:>7g}" for one in WARNINGS))
    for name, (missed, spread) in detectors(case).items():
        # a level that nothing is known of cannot be noticed
        missed, spread = np.nan_to_num(missed[sound]), np.nan_to_num(spread[sound], nan=1e3)
        limits = best_limits(missed, spread, drawn, gross)
        shares = {
            kind: [np.mean((np.abs(missed[drawn] + shift) > limit[drawn])[np.isfinite(shift)]) for limit in limits]
            for kind, shift in shifts.items()
        }
        shares["all gross"] = np.mean([shares[kind] for kind in GROSS], axis=0)
        for kind in shares if name == "the least spread" else ("one metre or foot", "all gross"):
            print(f"{name:<24}{kind:<19}" + "".join(f"{share:>7.1%}" for share in shares[kind]))
        of_form = best_limits(missed, spread, drawn, [foot], MOST_OF_FORM)
        is_found = [(size_of(missed[drawn] + foot, MOST_OF_FORM) > limit[drawn]).mean() for limit in of_form]
        print(f"{'':<24}{'foot, its form':<19}" + "".join(f"{share:>7.1%}" for share in is_found))
        print(f"{'':<24}{'all gross, forms':<19}" + "".join(f"{(3 + share) / 4:>7.1%}" for share in is_found))
    limit = limits[WARNINGS.index(0.01)]
    print("\nOne foot at 1 warning per 100, the least spread, by the spread of what a level misses:")
    edges = [0.0, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.6, np.inf]
    is_noticed = np.abs(missed[drawn] + foot) > limit[drawn]
    for low, high in pairwise(edges):
        of = (spread[drawn] >= low * FOOT_M) & (spread[drawn] < high * FOOT_M)
        print(f"  {low:>4g} to {high:>4g} ft: {of.mean():>6.1%} of the faults, {is_noticed[of].mean():>6.1%} noticed")
    natural = np.abs(missed) > 0.75 * FOOT_M
    print(f"  {natural.mean():.1%} of the levels as they are miss 0.75 ft or more")


if __name__ == "__main__":
    main(sys.argv[1:])
