"""The order of a walk beside one worked out plainly: the nearest next, then any part turned round while that helps."""

import math
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.fieldwork.walking_order import walking_order

NAN = math.nan


def wells_at(places, ranks=None, roles=None, codes=None):
    """Return wells in the order of their codes."""
    count = len(places)
    return pd.DataFrame(
        {
            "well": codes or [f"W{number:03d}" for number in range(count)],
            "easting": [float(east) for east, _ in places],
            "northing": [float(north) for _, north in places],
            "role": roles or [""] * count,
            "contamination": ranks or [0] * count,
        }
    )


def length(points):
    return sum(math.dist(one, other) for one, other in pairwise(points))


def is_placed(place):
    return place[0] == place[0] and place[1] == place[1]


def turned_while_that_helps(points):
    """Return the places of points, the first fixed, after every part was tried the other way round, the best first."""
    order = list(range(len(points)))
    while True:
        now = length([points[number] for number in order])
        tried = []
        for first in range(1, len(order)):
            for end in range(first + 2, len(order) + 1):
                other = order[:first] + order[first:end][::-1] + order[end:]
                tried.append((length([points[number] for number in other]), other))
        best = min(tried, default=(now, order))
        if best[0] > now - 1e-6:
            return order
        order = best[1]


def plain_walk(wells, start):
    """Return the same walk by plain loops, rank by rank; `start` is the code of the first well."""
    place = {row.well: (row.easting, row.northing) for row in wells.itertuples()}
    position, walk = place[start], []
    for rank in sorted(set(wells["contamination"])):
        rest = sorted(wells.loc[wells["contamination"] == rank, "well"])
        part, here = [], position
        for code in [code for code in rest if not is_placed(place[code])]:
            rest.remove(code)
        lost = sorted(set(wells.loc[wells["contamination"] == rank, "well"]) - set(rest))
        while rest:
            code = min(rest, key=lambda code: math.dist(here, place[code]) if is_placed(here) else 0.0)
            if not part and start in rest:
                code = start
            rest.remove(code)
            part.append(code)
            here = place[code]
        if part:
            begins = [position] if is_placed(position) and place[part[0]] != position else []
            points = begins + [place[code] for code in part]
            order = [number - len(begins) for number in turned_while_that_helps(points)]
            part = [part[number] for number in order if number >= 0]
            position = place[part[-1]]
        walk += part + lost
    return walk


@pytest.mark.parametrize("seed", range(12))
def test_the_walk_is_the_nearest_next_with_parts_turned_round_while_that_helps(seed):
    """Distances below 3 m, so that a metre more or less anywhere gives another walk."""
    random = np.random.default_rng(seed)
    count = int(random.integers(4, 12))
    places = random.uniform(0.0, 3.0, size=(count, 2)).tolist()
    ranks = random.integers(0, 3, count).tolist() if seed % 2 else [0] * count
    if seed % 3 == 0:
        places[2] = [NAN, NAN]
    wells = wells_at(places, ranks)
    lowest = min(ranks)
    first = next(code for code, rank in zip(wells["well"], ranks, strict=True) if rank == lowest)
    assert walking_order(wells) == plain_walk(wells, first)
    named = wells["well"].iloc[-1]
    assert walking_order(wells, start=named) == plain_walk(wells, named)


def nearest_next(points):
    """Return a walk from the first of the points, always to the nearest of those that are left."""
    rest, walk = list(points[1:]), list(points[:1])
    while rest:
        walk.append(min(rest, key=lambda point: math.dist(walk[-1], point)))
        rest.remove(walk[-1])
    return walk


#: Four wells whose nearest-next walk is 3.31 m long, and 3.01 m with the second and third the other way round.
FOUR = [(0.0, 0.0), (1.7, 0.7), (1.4, 1.7), (1.3, 1.1)]


def test_four_wells_are_enough_to_be_shortened():
    nearest = nearest_next(FOUR)
    shorter = [nearest[number] for number in turned_while_that_helps(nearest)]
    assert length(shorter) < length(nearest) - 0.01
    order = walking_order(wells_at(FOUR))
    assert [FOUR[int(code[1:])] for code in order] == shorter


@pytest.mark.parametrize(("count", "is_shortened"), [(300, True), (301, False)])
def test_walks_of_up_to_three_hundred_wells_are_shortened(count, is_shortened):
    """A line of wells that ends at four whose nearest-next walk can be shortened."""
    places = [(-0.1 * number, 0.0) for number in range(count - 4, 0, -1)] + FOUR
    nearest = nearest_next(places)
    order = walking_order(wells_at(places))
    walk = [places[int(code[1:])] for code in order]
    assert (length(walk) < length(nearest) - 0.01) == is_shortened
    assert (walk == nearest) != is_shortened


@pytest.mark.parametrize("half", [(NAN, 1.0), (1.0, NAN), (NAN, NAN)])
def test_a_well_of_which_one_coordinate_is_missing_has_no_place(half):
    wells = wells_at([(0, 0), half, (5, 0), (1, 0), (2, 0)])
    assert walking_order(wells) == ["W000", "W003", "W004", "W002", "W001"]
    assert walking_order(wells, start="W001") == ["W000", "W003", "W004", "W002", "W001"]
    # the next rank is walked to from the last well that has a place
    wells = wells_at([(0, 0), (9, 0), half, (8, 0), (1, 0)], [0, 0, 0, 1, 1])
    assert walking_order(wells) == ["W000", "W001", "W002", "W003", "W004"]


@pytest.mark.parametrize(
    ("roles", "ranks", "first"),
    [
        (["", "", ""], [0, 0, 0], "W000"),
        (["", "Upgradient", ""], [0, 0, 0], "W001"),
        (["downgradient", "", "BACKGROUND well"], [0, 0, 0], "W002"),
        (["", "upgradient", "background"], [0, 1, 0], "W002"),
        (["upgradient", "", ""], [2, 1, 1], "W001"),
    ],
)
def test_the_walk_starts_upgradient_among_the_cleanest_wells(roles, ranks, first):
    wells = wells_at([(0, 0), (50, 0), (99, 0)], ranks, roles)
    assert walking_order(wells)[0] == first


def test_wells_to_be_gauged_last_go_in_their_order_and_do_not_start():
    wells = wells_at([(0, 0), (1, 0), (2, 0), (3, 0)], roles=["background", "", "", ""])
    assert walking_order(wells, last=["W002", "W000"]) == ["W001", "W003", "W002", "W000"]
    assert walking_order(wells, last=["elsewhere", *wells["well"][::-1]]) == ["W003", "W002", "W001", "W000"]
    assert walking_order(wells, start="W003", last=["W003"]) == ["W002", "W001", "W000", "W003"]
