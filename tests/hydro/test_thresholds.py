"""Threshold states: constructed numbers, each small enough to be checked in the head.

The rule for a dry well's bound is common practice, no source.
"""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.reduction.thresholds import (
    CROSSED,
    NO_READING,
    NOT_CROSSED,
    UNDETERMINED,
    crossing_runs,
    threshold_state,
)


@pytest.mark.parametrize(
    ("kind", "bound", "below", "at", "above"),
    [
        ("lower", 0, CROSSED, CROSSED, NOT_CROSSED),
        ("lower", -1, CROSSED, CROSSED, UNDETERMINED),
        ("lower", +1, UNDETERMINED, UNDETERMINED, NOT_CROSSED),
        ("upper", 0, NOT_CROSSED, CROSSED, CROSSED),
        ("upper", +1, UNDETERMINED, CROSSED, CROSSED),
        ("upper", -1, NOT_CROSSED, UNDETERMINED, UNDETERMINED),
    ],
)
def test_every_combination_of_kind_and_bound(kind, bound, below, at, above):
    states = threshold_state([9.0, 10.0, 11.0], 10.0, kind=kind, bound=bound)
    assert states.tolist() == [below, at, above]


@pytest.mark.parametrize("kind", ["lower", "upper"])
@pytest.mark.parametrize("bound", [-1, 0, 1])
def test_state_holds_for_every_true_elevation_that_the_reading_allows(kind, bound):
    """A determined state must be that of every elevation compatible with the bound; an undetermined one of some."""
    grid = np.arange(0.0, 21.0)
    for value in (9.0, 10.0, 11.0):
        allowed = {-1: grid[grid <= value], 0: np.array([value]), 1: grid[grid >= value]}[bound]
        truth = set(threshold_state(allowed, 10.0, kind=kind).tolist())
        expected = truth.pop() if len(truth) == 1 else UNDETERMINED
        assert threshold_state(value, 10.0, kind=kind, bound=bound) == expected


def test_missing_reading_or_level_gives_no_state():
    assert threshold_state([np.nan, 9.0], [10.0, np.nan], kind="lower", bound=[-1, 0]).tolist() == [NO_READING] * 2


def test_broadcasting():
    assert threshold_state(np.zeros((3, 1)), np.ones(4), kind="lower").shape == (3, 4)


def test_shapes_that_do_not_broadcast_are_named():
    with pytest.raises(ShapeError, match=r"water_elevation_m \(2,\), level_m \(3,\)"):
        threshold_state([1.0, 2.0], [1.0, 2.0, 3.0], kind="lower")


def test_unknown_kind():
    with pytest.raises(AnalysisError, match="expected lower or upper"):
        threshold_state(1.0, 1.0, kind="floor")


@pytest.mark.parametrize(
    ("states", "consecutive", "ruled"),
    [
        ([1, 0, 1], 1, [1, 0, 1]),
        ([1, 1, 1], 2, [0, 1, 1]),
        ([1, 0, 1, 1], 2, [0, 0, 0, 1]),
        ([1, -1, 1], 2, [0, -1, -1]),
        ([-1, 1, 1], 2, [0, -1, 1]),
        ([1, -2, 1], 2, [0, -2, 1]),
        ([-1], 1, [-1]),
        ([], 3, []),
    ],
)
def test_consecutive_rule(states, consecutive, ruled):
    assert crossing_runs(states, consecutive).state.tolist() == ruled


@given(st.lists(st.sampled_from([CROSSED, NOT_CROSSED, UNDETERMINED, NO_READING]), max_size=9), st.integers(1, 4))
def test_rule_agrees_with_every_way_of_settling_the_undetermined(states, consecutive):
    """Three-valued logic against brute force: settle each undetermined reading both ways and compare."""
    ruled = crossing_runs(states, consecutive).state
    open_places = [place for place, state in enumerate(states) if state == UNDETERMINED]
    outcomes = []
    for settled in itertools.product([CROSSED, NOT_CROSSED], repeat=len(open_places)):
        world = list(states)
        for place, state in zip(open_places, settled, strict=True):
            world[place] = state
        outcomes.append(_plain_rule(world, consecutive))
    for place, state in enumerate(ruled.tolist()):
        seen = {outcome[place] for outcome in outcomes}
        assert state == (seen.pop() if len(seen) == 1 else UNDETERMINED)


def _plain_rule(states, consecutive):
    """Return the rule's outcome reading by reading, with a counter; no reading leaves the counter alone."""
    run, outcome = 0, []
    for state in states:
        if state == NO_READING:
            outcome.append(NO_READING)
            continue
        run = run + 1 if state == CROSSED else 0
        outcome.append(CROSSED if run >= consecutive else NOT_CROSSED)
    return outcome


def test_rule_needs_at_least_one_crossing():
    with pytest.raises(AnalysisError, match="expected 1 or more"):
        crossing_runs([1], 0)


def test_rule_needs_one_dimension():
    with pytest.raises(ShapeError, match=r"found shape \(1, 2\)"):
        crossing_runs([[1, 0]], 1)
