"""Which levels serve which purpose: a table of cases, constructed."""

import numpy as np
import pytest

from gwnet.analysis.levels.bounds import bound_elevations, is_below_screen
from gwnet.analysis.levels.serving import (
    PURPOSES,
    RULES,
    is_reading_at_fault,
    judge_levels,
    unusable_reasons,
)

from .trend_rows import record

DRY = {"status": "dry", "bound": "<="}
SUMP = {"bound": "<=", "finding": "water below the screen"}
FLOWING = {"status": "flowing", "bound": ">="}
DATUM = {"finding": "beyond the tape check; measuring point in another datum"}
TWO_POINTS = {"finding": "two measuring points in force"}


def judged(given, purpose, **options):
    """Return whether one level serves, and the reason; ``usable`` is worked out by the rules."""
    frame = record(("A", "2026-03-17", given.pop("head", 40.0), given))
    reasons = unusable_reasons(frame)
    frame = frame.assign(unusable_reason=reasons, usable=reasons == "")
    row = judge_levels(frame, purpose, **options).iloc[0]
    return bool(row["serves"]), row["reason"]


@pytest.mark.parametrize(
    ("given", "statistics", "on_map", "threshold"),
    [
        ({}, "", "", ""),
        ({"status": "flowing"}, "", "", ""),
        ({"status": "pumping"}, "pumping", "pumping", "pumping"),
        ({"head": np.nan}, "no water elevation", "no water elevation", "no water elevation"),
        ({"quality": "poor"}, "quality poor", "quality poor", "quality poor"),
        ({"review": "on hold"}, "on hold", "on hold in review", "on hold"),
        (TWO_POINTS, "two measuring points in force", "two measuring points in force", "two measuring points in force"),
        ({**DATUM, "quality": "poor"}, *["measuring point in another datum"] * 3),
        (SUMP, "water below the screen", "water below the screen: the level is only a bound", ""),
        (FLOWING, "", "flowing, head not measured: the level is only a bound", ""),
        (DRY, "", "dry: the level is only a bound", ""),
        ({**DRY, "quality": "poor"}, "dry, quality poor", "dry: the level is only a bound", ""),
        ({**DRY, **TWO_POINTS}, "dry, two measuring points in force", "dry: the level is only a bound", ""),
        ({**DRY, **DATUM}, "", "dry: the level is only a bound", ""),
        (
            {**DRY, "review": "rejected"},
            "dry, rejected on review",
            "dry: the level is only a bound",
            "dry, rejected on review",
        ),
        ({"status": "dry", "head": np.nan}, "dry", "dry: the level is only a bound", "dry"),
    ],
)
def test_each_purpose_takes_numbers_and_its_own_bounds(given, statistics, on_map, threshold):
    expected = {"statistics": statistics, "map": on_map, "threshold": threshold}
    assert {purpose: judged(dict(given), purpose) for purpose in PURPOSES} == {
        purpose: (reason == "", reason) for purpose, reason in expected.items()
    }


def test_provisional_levels_serve_unless_only_approved_ones_may():
    waiting = {"review": "provisional"}
    assert judged(dict(waiting), "statistics") == (True, "")
    assert judged(dict(waiting), "statistics", approved=True) == (False, "provisional")
    bound = {"status": "dry", "bound": "<=", **waiting}
    assert judged(dict(bound), "statistics", approved=True) == (False, "dry, provisional")


def test_a_level_has_the_source_that_its_method_says():
    frame = record(("A", "2026-03-17", 40.0, {"method": "logger"}), ("B", "2026-03-17", 40.0))
    assert judge_levels(frame, "map")["source"].tolist() == ["logger", "manual"]
    assert judge_levels(frame.drop(columns="method"), "map")["source"].tolist() == ["manual", "manual"]


@pytest.mark.parametrize(
    ("status", "reason", "at_fault"),
    [
        ("no access", "no access", True),
        ("static", "quality suspect", True),
        ("static", "repeats disagree", True),
        ("static", "water below the screen", False),
        ("pumping", "quality suspect", False),
        ("dry", "dry", False),
    ],
)
def test_a_reading_is_at_fault_only_where_the_water_is_not(status, reason, at_fault):
    assert is_reading_at_fault(status, reason) == at_fault


def test_a_level_read_below_the_screen_is_the_bottom_of_the_screen_to_the_aquifer():
    frame = record(("A", "2026-03-17", 40.0, SUMP), ("B", "2026-03-17", 41.0))
    assert is_below_screen(frame).tolist() == [True, False]
    assert bound_elevations(frame.assign(bound_elevation_m=[42.0, np.nan])).tolist() == [42.0, 41.0]
    assert bound_elevations(frame).tolist() == [40.0, 41.0]


def test_every_rule_keeps_a_bound_off_maps():
    assert all("map" in rule.bars_bounds for rule in RULES)
