"""Which of many levels serve, together in one frame, and what they are to statistics; constructed."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.bounds import signs_of
from gwnet.analysis.levels.serving import (
    is_reading_at_fault,
    judge_levels,
    left_out_levels,
    unusable_reasons,
    used_levels,
    values_and_bounds,
    with_open_findings,
)

from .trend_rows import record

#: Well, level, what is different about it, and why it does not serve as a number.
ROWS = (
    ("A", 40.0, {}, ""),
    ("B", 41.0, {"status": "pumping"}, "pumping"),
    ("C", 42.0, {"status": "dry", "bound": "<="}, "dry"),
    ("D", 43.0, {"status": "flowing", "bound": ">="}, "flowing, head not measured"),
    ("E", 44.0, {"finding": "sensor out of water", "bound": "<=", "method": "logger"}, "sensor out of water"),
    ("F", 45.0, {"finding": "water below the screen", "bound": "<="}, "water below the screen"),
    ("G", 46.0, {"review": "provisional"}, ""),
    ("H", 47.0, {"status": "dry", "bound": "<=", "review": "provisional"}, "dry"),
    ("I", 48.0, {"finding": "water below the screen", "bound": "<=", "review": "rejected"}, "water below the screen"),
    ("J", np.nan, {"status": "dry", "bound": "<="}, "dry"),
    ("K", 49.0, {"status": "flowing", "bound": ">=", "quality": "poor"}, "quality poor"),
    ("L", 50.0, {"status": "flowing"}, ""),
    ("M", 51.0, {"status": "pumping", "review": "provisional"}, "pumping"),
)


def frame_of(rows=ROWS):
    frame = record(*[(well, "2026-03-17", head, more) for well, head, more, _ in rows])
    reasons = unusable_reasons(frame)
    return frame.assign(unusable_reason=reasons, usable=reasons == "")


def test_the_first_rule_that_applies_gives_the_reason():
    assert frame_of()["unusable_reason"].tolist() == [reason for *_, reason in ROWS]


SCREEN = "water below the screen"
BOUND = ": the level is only a bound"
#: Of each well whether it serves and why not: in statistics, on a map, for a threshold.
JUDGED = {
    "A": ("", "", ""),
    "B": ("pumping", "pumping", "pumping"),
    "C": ("", f"dry{BOUND}", ""),
    "D": ("", f"flowing, head not measured{BOUND}", ""),
    "E": ("", f"sensor out of water{BOUND}", ""),
    "F": (SCREEN, f"{SCREEN}{BOUND}", ""),
    "G": ("", "", ""),
    "H": ("", f"dry{BOUND}", ""),
    "I": (SCREEN, f"{SCREEN}{BOUND}", SCREEN),
    "J": ("dry", f"dry{BOUND}", ""),
    "K": ("flowing, quality poor", "quality poor", ""),
    "L": ("", "", ""),
    "M": ("pumping", "pumping", "pumping"),
}


@pytest.mark.parametrize(("place", "purpose"), [(0, "statistics"), (1, "map"), (2, "threshold")])
def test_levels_are_judged_each_by_itself_in_one_frame(place, purpose):
    frame = frame_of()
    found = judge_levels(frame, purpose)
    assert dict(zip(frame["well"], found["reason"], strict=True)) == {
        well: each[place] for well, each in JUDGED.items()
    }
    assert found["serves"].tolist() == [each[place] == "" for each in JUDGED.values()]
    assert found["bound"].tolist() == frame["bound"].tolist()
    assert found["source"].tolist() == ["manual"] * 4 + ["logger"] + ["manual"] * 8


@pytest.mark.parametrize(("place", "purpose"), [(0, "statistics"), (1, "map"), (2, "threshold")])
def test_provisional_levels_wait_where_only_approved_ones_serve(place, purpose):
    frame = frame_of()
    found = dict(zip(frame["well"], judge_levels(frame, purpose, approved=True)["reason"], strict=True))
    waiting = {"G": "provisional", "H": f"dry{BOUND}" if purpose == "map" else "dry, provisional"}
    assert found == {well: each[place] for well, each in JUDGED.items()} | waiting


def test_statistics_take_numbers_and_what_may_be_below_or_above_a_bound():
    frame = frame_of()
    used, left_out = used_levels(frame)
    frame_wells = used["well"].tolist()
    assert frame_wells == ["A", "C", "D", "E", "G", "H", "L"]
    assert used["low"].tolist() == [40.0, -np.inf, 43.0, -np.inf, 46.0, -np.inf, 50.0]
    assert used["high"].tolist() == [40.0, 42.0, np.inf, 44.0, 46.0, 47.0, 50.0]
    assert used["source"].tolist() == ["manual"] * 3 + ["logger"] + ["manual"] * 3
    assert used.index.tolist() == [0, 2, 3, 4, 6, 7, 11]
    again = used_levels(pd.concat([frame[frame["well"] != "F"].assign(well="Z"), frame], ignore_index=True))[1]
    assert again["S", "Z"] == "1 dry; 1 flowing, quality poor; 2 pumping; 1 water below the screen"
    assert left_out["S", "J"] == "1 dry"
    rest = left_out_levels(frame)
    assert rest["well"].tolist() == ["B", "F", "I", "J", "K", "M"]
    assert rest.index.tolist() == list(range(6))
    assert rest["reason"].tolist() == ["pumping", SCREEN, SCREEN, "dry", "flowing, quality poor", "pumping"]


def test_an_open_finding_keeps_a_level_out_until_somebody_decides():
    frame = frame_of(ROWS[:3]).assign(event_id=[7, 8, 9])
    same = with_open_findings(frame, {})
    assert same["open_finding"].tolist() == ["", "", ""]
    assert same["usable"].tolist() == [True, False, False]
    found = with_open_findings(frame, {7: "jump", 8: "jump"})
    assert found["open_finding"].tolist() == ["jump", "jump", ""]
    assert found["usable"].tolist() == [False, False, False]
    assert found["unusable_reason"].tolist() == ["serious finding open: jump", "pumping", "dry"]
    assert judge_levels(found, "threshold")["serves"].tolist() == [False, False, True]


@pytest.mark.parametrize(
    ("reason", "at_fault"),
    [
        ("repeats disagree", True),
        ("rejected on review", True),
        ("on hold", True),
        ("quality suspect", True),
        ("quality poor", True),
        ("no water elevation", True),
        ("serious finding open: jump", True),
        ("no measuring point in force", False),
        ("two measuring points in force", False),
        ("measuring point in another datum", False),
        ("below the bottom of the well", False),
        ("floating product not corrected", False),
        ("sensor out of water", False),
        ("", False),
    ],
)
def test_a_logger_may_give_the_level_where_the_reading_of_water_at_rest_failed(reason, at_fault):
    assert is_reading_at_fault("static", reason) == at_fault
    assert not is_reading_at_fault("dry", reason)
    for status in ("no access", "not found", "obstructed", "not measured", "frozen"):
        assert is_reading_at_fault(status, reason)


def test_values_of_bounds_and_numbers():
    inf = np.inf
    values, bounds = values_and_bounds([-inf, 3.0, 2.0, -inf, -inf], [1.0, inf, 2.0, inf, np.nan])
    assert values.tolist() == pytest.approx([1.0, 3.0, 2.0, np.nan, np.nan], nan_ok=True)
    assert bounds.tolist() == [-1, 1, 0, 1, -1]


def test_a_number_below_its_bound_has_no_sign():
    """Water read below the screen is a number; a level at the bound itself is the bound."""
    frame = pd.DataFrame({"bound": ["<=", "<=", ">=", ""], "water_elevation_m": [40.0, 42.0, 43.0, 44.0]})
    assert signs_of(frame.assign(bound_elevation_m=[42.0, 42.0, 43.0, np.nan])).tolist() == ["", "<=", ">=", ""]
