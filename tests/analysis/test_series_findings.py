"""Findings of levels against their own record: which are named together, sentences and values, jumps; constructed.

Limits are project defaults as documented: a year of 366 days, three days, three levels, six dates.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from gwnet.analysis.checks import series
from gwnet.analysis.checks.check import Finding
from gwnet.analysis.checks.explanations import AMOUNT, DECIMAL, DIGITS, POINT, SIGN, UNIT, Explanation
from gwnet.hydro.checks.robust_limits import Jumps

from .check_events import events_of, quarters

CHECK = {check.rule: check for check in series.CHECKS.checks}


def with_misfits(events, rows=(), explained=None, *, shared=(), alone=None, unit=(), claimed=()):
    """Give events what the search for misfits would have found."""
    count = len(events)

    def flags(places):
        return np.isin(np.arange(count), places)

    events._once["misfits"] = SimpleNamespace(
        rows=np.array(rows, dtype=np.int64),
        explained=explained or {},
        is_shared=flags(list(shared)),
        is_alone=flags(list(range(count) if alone is None else alone)),
        is_about_unit=flags(list(unit)),
        limit_m=0.3 + 0.01 * np.arange(count),
        hint_limit_m=0.2 + 0.01 * np.arange(count),
    )
    events._once["exchanged"] = [Finding("", row=row, rows=(row, row + 1)) for row in claimed[:1]]
    events._once["copied"] = [Finding("", row=row) for row in claimed[1:]]
    return events


def told(events, rule=series.MISFIT):
    return [(one.rule, one.severity, one.row, one.rows, one.message) for one in CHECK[rule].run(events)]


def misfits_at(days, residual, well=0, **more):
    """Return events on days of 2020 on, counted from 1 January, with their misfits."""
    times = np.datetime64("2020-01-01T00:00", "m") + np.round(np.array(days) * 1440).astype("timedelta64[m]")
    return events_of(
        [str(time) for time in times], well=well, fit={"residual_m": residual, **more.pop("fit", {})}, **more
    )


def test_a_misfit_alone_has_its_sentence_and_all_values():
    fit = {"spread_m": 0.0625, "by_neighbours": [False, True, False], "shared": [0, 1, 0]}
    events = with_misfits(misfits_at([0, 400, 800], [1.25, -2.5, 0.75], fit=fit), [0, 1, 2])
    assert told(events) == [
        (series.MISFIT, "warning", 0, (),
         "The level is 1.250 m above what its own readings around suggest (usual: within 0.300 m)."),
        (series.MISFIT, "warning", 1, (),
         "The level is 2.500 m below what the readings before and after and its neighbours suggest "
         "(usual: within 0.310 m)."),
        (series.MISFIT, "warning", 2, (),
         "The level is 0.750 m above what its own readings around suggest (usual: within 0.320 m)."),
    ]  # fmt: skip
    assert next(iter(list(CHECK[series.MISFIT].run(events))[1:])).limits == {
        "misfit_m": -2.5, "spread_m": 0.0625, "fit_spreads": 8.0, "unit_spreads": 2.6, "unit_part": 0.75,
        "unit_most": 1.5, "hint_spreads": 5.0, "hint_fit_spreads": 2.0, "neighbours": True, "off_as_well": 1,
    }  # fmt: skip


def test_misfits_of_a_well_within_a_year_of_one_another_are_one_finding():
    """366 days to the next one, that day included (project default)."""
    days = [0, 366, 732, 1098.5, 100, 1500]
    events = with_misfits(misfits_at(days, [1.0, -2.0, 1.5, 0.6, 0.7, 0.8], [0, 0, 0, 0, 1, 1]), range(6))
    found = told(events)
    assert [(row, rows) for _, _, row, rows, _ in found] == [(0, (0, 1, 2)), (3, ()), (4, ()), (5, ())]
    assert found[0][4] == (
        "3 levels from 2020-01-01 to 2022-01-02 do not fit what is around them (2020-01-01, 2021-01-01, 2022-01-02). "
        "Largest, on 2021-01-01: the level is 2.000 m below what its own readings around suggest (usual: within "
        "0.310 m)."
    )


@pytest.mark.parametrize(("count", "words"), [
    (6, "(2020-01-01, 2020-01-02, 2020-01-03, 2020-01-04, 2020-01-05, 2020-01-06)"),
    (8, "(2020-01-01, 2020-01-02, 2020-01-03, 2020-01-04, 2020-01-05, 2020-01-06 and 2 more)"),
])  # fmt: skip
def test_six_dates_are_listed_and_the_others_counted(count, words):
    events = with_misfits(misfits_at(range(count), [1.0] * count), range(count))
    assert f"do not fit what is around them {words}. Largest" in told(events)[0][4]


def test_levels_of_one_day_have_one_day():
    events = with_misfits(misfits_at([0.25, 0.75], [1.0, 1.5]), [0, 1])
    assert told(events)[0][4].startswith("2 levels of 2020-01-01 do not fit what is around them (2020-01-01, ")


def slip(rule, alternative, words="it slipped", severity="serious"):
    return Explanation(rule, severity, words, 1.0625, 0.015625, alternative)


def test_an_explained_misfit_says_what_is_likeliest_and_its_range_is_the_narrower_one():
    events = misfits_at([0, 100], [-1.25, 1.0])
    events = with_misfits(events, [0, 1], {1: slip(DIGITS, 3, "two digits may be exchanged", "warning")})
    first, second = CHECK[series.MISFIT].run(events)
    assert (first.rule, first.severity, first.row, first.rows) == (DIGITS, "warning", 1, ())
    assert first.message == (
        "The level is 1.000 m above what its own readings around suggest (usual: within 0.210 m). Likeliest: two "
        "digits may be exchanged; with that it fits within 0.016 m."
    )
    assert first.limits == {**second.limits, "misfit_m": 1.0, "left_m": 0.015625, "moved_m": 1.0625}
    assert (second.rule, second.row) == (series.MISFIT, 0)


@pytest.mark.parametrize(("rule", "is_common"), [
    (UNIT, True), (SIGN, True), (DECIMAL, True), (POINT, True), (DIGITS, False), (AMOUNT, False),
])  # fmt: skip
def test_three_levels_of_a_well_with_one_explanation_are_one_finding(rule, is_common):
    events = with_misfits(misfits_at([0, 1000, 2000], [1.0, 1.5, 2.0]), (), dict.fromkeys(range(3), slip(rule, 4)))
    found = told(events)
    assert [(of, row, rows) for of, _, row, rows, _ in found] == (
        [(rule, 0, (0, 1, 2))] if is_common else [(rule, k, ()) for k in range(3)]
    )
    if is_common:
        assert found[0][1] == "serious"
        assert found[0][4] == (
            "3 levels from 2020-01-01 to 2025-06-23 do not fit and have one explanation. For the first: it slipped."
        )
        (one,) = CHECK[series.MISFIT].run(events)
        assert (one.limits["misfit_m"], one.limits["left_m"], one.limits["moved_m"]) == (1.0, 0.015625, 1.0625)


def test_what_levels_must_share_to_be_one_finding():
    """Three: of one well, then of one day; with the same rule and the same alternative of it."""
    days = [0, 0.25, 0.5, 30, 60, 90, 120, 150, 180]
    wells = [0, 1, 2, 0, 1, 1, 3, 3, 3]
    of = dict(enumerate([slip(UNIT, 4)] * 5 + [slip(UNIT, 5)] + [slip(SIGN, 4), slip(SIGN, 4), slip(UNIT, 4)]))
    found = told(with_misfits(misfits_at(days, [1.0] * 9, wells), (), of))
    # in common: the day of the first three; of wells only two each
    assert [(row, rows) for _, _, row, rows, _ in found] == [(0, (0, 1, 2)), *((k, ()) for k in range(3, 9))]
    assert found[0][4].startswith("3 levels of 3 wells of 2020-01-01 do not fit")
    of_two = with_misfits(misfits_at([0, 0.25, 0.5], [1.0] * 3, [0, 1, 1]), (), dict.fromkeys(range(3), slip(UNIT, 4)))
    assert told(of_two)[0][4].startswith("3 levels of 2 wells of 2020-01-01 do not fit")


def test_the_sentence_and_values_of_a_common_finding_are_those_of_its_first_level():
    events = misfits_at([0, 1000, 2000], [1 / 3, 1.5, 2.0])
    words = [
        Explanation(UNIT, "serious", word, moved, 0.1, 4)
        for word, moved in (("one", 2 / 3), ("two", 2.0), ("three", 3.0))
    ]
    (one,) = CHECK[series.MISFIT].run(with_misfits(events, (), dict(enumerate(words))))
    assert one.message.endswith("For the first: one.")
    # to a micrometre
    assert (one.limits["misfit_m"], one.limits["moved_m"]) == (0.333333, 0.666667)


def test_of_a_well_and_of_a_day_the_well_comes_first():
    days, wells = [0, 0.25, 0.5, 30, 60], [0, 1, 2, 0, 0]
    found = told(with_misfits(misfits_at(days, [1.0] * 5, wells), (), dict.fromkeys(range(5), slip(UNIT, 4))))
    assert [(row, rows) for _, _, row, rows, _ in found] == [(0, (0, 3, 4)), (1, ()), (2, ())]


def test_levels_that_are_another_well_s_have_no_other_finding():
    events = misfits_at([0, 500, 1000, 1500, 2000], [1.0] * 5)
    # 0 and 1 exchanged, 3 copied; of each one is explained
    events = with_misfits(events, [0, 2, 3, 4], {1: slip(SIGN, 4), 3: slip(SIGN, 4), 4: slip(SIGN, 4)}, claimed=(0, 3))
    assert [(of, row) for of, _, row, _, _ in told(events)] == [(SIGN, 4), (series.MISFIT, 2)]


BESIDE = "levels beside, or those of the same season in other years, are off as well"
SAME_DIGIT = ": a digit that is wrong by one and the movement of the water are not distinguishable"


def test_misfits_at_a_restless_well_are_one_finding_a_well_at_the_newest():
    feet = np.array([1.0, 1.0, 0.3048, 1.0, 0.3048, 0.3048, 1.0])
    events = misfits_at(
        [0, 10, 20, 30, 0, 10, 0], [1.0, -1.25, 1.5, 0.6, 0.31, -0.32, 0.9], [0, 0, 0, 0, 1, 1, 2],
        booked={"metres": feet},
    )  # fmt: skip
    found = told(with_misfits(events, range(7), alone=(), unit=(0, 2, 4, 6)))
    assert found == [
        (series.RESTLESS, "warning", 2, (0, 2),
         f"2 levels from 2020-01-01 to 2020-01-21 are off by about 1 ft (2020-01-01, 2020-01-21); {BESIDE}{SAME_DIGIT}. "
         "Look at them together. The newest: the level is 1.500 m above what its own readings around suggest (usual: "
         "within 0.320 m)."),
        (series.RESTLESS, "note", 3, (1, 3),
         f"2 levels from 2020-01-11 to 2020-01-31 are off by more than usual (2020-01-11, 2020-01-31); {BESIDE}: the "
         "well moves more than its usual range says. Look at them together. The newest: the level is 0.600 m above "
         "what its own readings around suggest (usual: within 0.330 m)."),
        (series.RESTLESS, "warning", 4, (),
         "The level is 0.310 m above what its own readings around suggest (usual: within 0.340 m), about 1 ft; "
         f"{BESIDE}{SAME_DIGIT}."),
        (series.RESTLESS, "note", 5, (),
         "The level is 0.320 m below what its own readings around suggest (usual: within 0.350 m); "
         f"{BESIDE}: the well moves more than its usual range says."),
        (series.RESTLESS, "warning", 6, (),
         "The level is 0.900 m above what its own readings around suggest (usual: within 0.360 m), about 1 m; "
         f"{BESIDE}{SAME_DIGIT}."),
    ]  # fmt: skip
    newest = next(CHECK[series.MISFIT].run(events)).limits
    assert newest["misfit_m"] == 1.5


def test_misfits_that_neighbours_share_are_notes_of_one_time():
    """Three days to the next, that time included (project default); whatever the order of the wells."""
    days = [6.0, 9.0625, 0.0, 3.0, 20.0]
    fit = {"shared": [4, 2, 3, 5, 2], "by_neighbours": True}
    events = with_misfits(
        misfits_at(days, [1.0, -1.25, 1.5, 0.6, 0.5], [0, 1, 1, 2, 0], fit=fit), range(5), shared=range(5)
    )
    around = "what the readings before and after and its neighbours suggest"
    assert next(CHECK[series.MISFIT].run(events)).limits["misfit_m"] == 1.5
    assert told(events) == [
        (series.MISFIT, "note", 2, (2, 3, 0),
         "3 levels from 2020-01-01 to 2020-01-07 do not fit what is around them, and neighbours are off to the same side "
         f"(B, C, A): rain, a flood or pumping may have moved them all. The level is 1.500 m above {around} (usual: "
         "within 0.320 m)."),
        (series.MISFIT, "note", 1, (),
         f"The level is 1.250 m below {around} (usual: within 0.310 m); so do 2 of its neighbours."),
        (series.MISFIT, "note", 4, (),
         f"The level is 0.500 m above {around} (usual: within 0.340 m); so do 2 of its neighbours."),
    ]  # fmt: skip


def test_changes_that_are_jumps_are_told_with_what_is_usual():
    events = misfits_at([0, 30, 60, 90, 0, 500], [0.0] * 6, [0, 0, 0, 0, 1, 1])
    change = np.array([np.nan, 1.25, -1.5, 0.5, np.nan, 0.75])
    before = np.array([-1, 0, 1, 2, -1, 4])
    jump = np.array([False, True, True, False, False, True])
    events._once["jumps"] = Jumps(change, -0.25 - 0.01 * before, 0.3 + 0.01 * before, before, 10 + before, jump)
    found = list(CHECK[series.JUMP].run(events))
    assert [(one.row, one.rows, one.message) for one in found] == [
        (1, (1, 2),
         "2 changes from 2020-01-31 to 2020-03-01 are larger than usual (2020-01-31, 2020-03-01). Largest, on 2020-03-01: "
         "the level changed by -1.500 m since 2020-01-31; over such a time it usually changes by -0.260 m to +0.310 m "
         "(11 changes)."),
        (5, (),
         "The level changed by +0.750 m since 2020-01-01; over such a time it usually changes by -0.290 m to +0.340 m "
         "(14 changes)."),
    ]  # fmt: skip
    assert found[0].limits == {
        "change_m": -1.5, "lower_m": -0.26, "upper_m": 0.31, "changes": 11, "jump_spreads": 8.0,
    }  # fmt: skip


def jumps_in(
    level, well=0, *, uncertainty=np.nan, between=False, own=9.0, rows=(), explained=(), claimed=(), usable=True
):
    """Return which quarterly levels of wells are jumps; `between` and `own` are of the line of each level's well."""
    times = quarters(len(level)) if np.ndim(well) == 0 else [time for n in np.bincount(well) for time in quarters(n)]
    events = events_of(
        times, well=well, water_elevation_m=level, uncertainty_m=uncertainty, usable=usable,
        fit={"between": between, "own_residual_m": own, "own_spread_m": 0.125},
    )  # fmt: skip
    found = series._jumps(with_misfits(events, rows, dict.fromkeys(explained), claimed=claimed))
    return np.flatnonzero(found.jump).tolist(), found.before.tolist()


def stair(at, size=1.0, count=16):
    """Return levels that go up and down by a centimetre, and by a size at one place for good."""
    return 10.0 + 0.01 * (np.arange(count) % 2) + size * (np.arange(count) >= at)


@pytest.mark.parametrize(("level", "more", "found"), [
    (stair(8), {}, [8]),
    # at least 0.05 m, and more than the uncertainty of the level, beside the change of 0.01 m that is usual
    (stair(8, 0.045), {}, []),
    (stair(8, 0.075), {}, [8]),
    (stair(8), {"uncertainty": 0.97}, [8]),
    (stair(8), {"uncertainty": 1.03}, []),
    # the first three levels of a well are none: a new well settles
    (stair(3), {}, [3]),
    (stair(2), {}, []),
    (np.concatenate([stair(8), stair(2)]), {"well": np.repeat([0, 1], 16)}, [8]),
    (np.concatenate([stair(8), stair(3)]), {"well": np.repeat([0, 1], 16)}, [8, 19]),
    # on the line between the readings beside: 0.05 m, or twice the spread of 0.125 m
    (stair(8), {"between": True, "own": 0.25}, []),
    (stair(8), {"between": True, "own": -0.25}, []),
    (stair(8), {"between": True, "own": 0.2501}, [8]),
    (stair(8), {"between": False, "own": 0.25}, [8]),
    # half of it or more is taken back by the next level
    (10.0 + np.repeat([0.0, 1.0, 0.5], [14, 1, 1]), {}, [15]),
    (10.0 + np.repeat([0.0, -1.0, -0.515625], [14, 1, 1]), {}, [14, 15]),
    # the last level has none after it
    (stair(15), {}, [15]),
    # what has a finding for it is no jump and serves for none
    (stair(15), {"rows": [15]}, []),
    (stair(15), {"explained": [15]}, []),
    (stair(15), {"claimed": (0, 15)}, []),
    (stair(8) + 3.0 * (np.arange(16) == 9), {"rows": [9]}, [8]),
])  # fmt: skip
def test_which_changes_are_jumps(level, more, found):
    """8 spreads (project default) of changes of one centimetre."""
    assert jumps_in(level, **more)[0] == found


def test_a_level_that_serves_for_no_other_takes_no_jump_back_and_is_no_last_level():
    level, last = 10.0 + np.repeat([0.0, 1.0, 0.25], [14, 1, 1]), np.arange(16) == 15
    assert 14 not in jumps_in(level)[0]
    assert 14 in jumps_in(level, usable=~last)[0]
    _, before = jumps_in(stair(8), usable=np.arange(16) != 8)
    assert before[7:10] == [6, 7, 7]
