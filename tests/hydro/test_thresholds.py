"""Threshold states: constructed numbers, each small enough to be checked in the head.

The rule for a dry well's bound is common practice, no source.
"""

import numpy as np
import pytest

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.reduction.thresholds import (
    CROSSED,
    NO_READING,
    NOT_CROSSED,
    UNDETERMINED,
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
