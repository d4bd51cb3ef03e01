"""Which levels do not fit, at each limit: three readings of a well, of which the middle one is off; constructed.

Limits are project defaults as documented: 8 spreads (5 where a slip explains it), at least 0.05 m; about one unit of the
reading is 0.75 to 1.5 of it and 2.6 spreads; twice as wide for the first level of a record.
"""

import numpy as np
import pytest

from gwnet.analysis.checks.misfits import Misfits, explained_rows, misfits_of

from .check_events import events_of, given

FOOT = 0.3048
NONE = {"value": np.nan, "written": "", "decimals": 0}


def misfits(
    residual, spread=0.1, *, level=None, beside=(10.0, 10.0), metres=FOOT, unit="m", booked=None, checked=True, **fit
):
    """Return the misfits of three readings; the middle one has the residual, and its own one alike unless given."""
    level = beside[0] + residual if level is None else level
    values = {"residual_m": residual, "spread_m": spread, "own_residual_m": residual, "own_spread_m": spread, **fit}
    quiet = {"residual_m": 0.0, "own_residual_m": 0.0}
    columns = {name: [quiet.get(name, value), value, quiet.get(name, value)] for name, value in values.items()}
    number = {name: [empty, (booked or NONE)[name], empty] for name, empty in NONE.items()}
    events = events_of(
        ["2020-02-15", "2020-05-15", "2020-08-15"],
        water_elevation_m=[beside[0], level, beside[1]],
        fit=columns,
        booked={**number, "metres": metres},
        unit=unit,
        point=-1,
    )
    events = given(events, checked=np.array([True, checked, True]))
    return Misfits(given(events, may_be_in_feet=np.zeros(3, bool), may_be_in_metres=np.zeros(3, bool)))


def slip(value, written):
    return {"value": value, "written": written, "decimals": len(written.partition(".")[2])}


def in_feet(metres):
    """Return a depth above the measuring point in feet, of which the sign moves the level by twice as much."""
    return slip(-metres / FOOT, f"{-metres / FOOT:.2f}")


SIGN = in_feet(0.5)  # 1 m
DIGITS = slip(3.47, "3.47")  # 0.27 m


@pytest.mark.parametrize(("residual", "spread", "more", "limit", "hint", "about"), [
    (0.7, 0.1, {"metres": 1.0}, 0.8, 0.5, False),
    (0.75, 0.1, {"metres": 1.0}, 0.8, 0.5, False),
    (-0.7501, 0.1, {"metres": 1.0}, 0.75, 0.5, True),
    (1.4999, 0.1, {"metres": 1.0}, 0.75, 0.5, True),
    (1.5, 0.1, {"metres": 1.0}, 0.8, 0.5, False),
    (0.76, 0.0625, {"metres": 1.0}, 0.5, 0.3125, True),  # the usual limit is the narrower one
    (1.03, 0.4, {"metres": 1.0}, 3.2, 2.0, False),
    (1.05, 0.4, {"metres": 1.0}, 2.6 * 0.4, 2.6 * 0.4, True),
    (0.02, 0.005, {"metres": 1.0}, 0.05, 0.05, False),
    (0.02, 0.009, {"metres": 1.0}, 0.072, 0.05, False),
    (0.3, 0.1, {"metres": 1.0, "is_first": True}, 1.6, 1.0, False),
    (0.76, 0.1, {"metres": 1.0, "is_first": True}, 0.75, 0.75, True),
    (1.03, 0.2, {"metres": 1.0, "is_first": True}, 3.2, 2.0, False),
    (1.05, 0.2, {"metres": 1.0, "is_first": True}, 1.04, 1.04, True),
    (0.228, 0.05, {}, 0.4, 0.25, False),
    (0.229, 0.05, {}, 0.75 * FOOT, 0.75 * FOOT, True),
    (0.457, 0.05, {}, 0.75 * FOOT, 0.75 * FOOT, True),
    (0.458, 0.05, {}, 0.4, 0.25, False),
])  # fmt: skip
def test_limits_of_a_misfit(residual, spread, more, limit, hint, about):
    found = misfits(residual, spread, **more)
    assert (found.limit_m[1], found.hint_limit_m[1]) == pytest.approx((limit, hint), rel=1e-12)
    assert found.is_about_unit.tolist() == [False, about, False]


@pytest.mark.parametrize(("residual", "fit", "alone", "shared"), [
    (0.9, {"is_alone": False, "shared": 1}, False, False),
    (0.9, {"is_alone": True, "shared": 2}, True, True),
    (-4.0, {"is_alone": False, "shared": 3}, False, True),
    (-4.01, {"is_alone": False}, True, False),
])  # fmt: skip
def test_alone_and_shared(residual, fit, alone, shared):
    """Twice the limit of 2 m, 8 ⋅ 0.25 m, needs no quiet levels beside it; 2 neighbours make a misfit a shared one."""
    found = misfits(residual, 0.25, **fit)
    assert (found.is_alone[1], found.is_shared[1]) == (alone, shared)


@pytest.mark.parametrize(("residual", "more", "is_off"), [
    # a misfit that prints like its limit, 1 m, is not beyond it: to the millimetre, or a hundredth of a foot
    (1.0005, {}, False),
    (1.0015, {}, True),
    (-1.0015, {}, True),
    (1.0015, {"checked": False}, False),
    (1.0025, {"unit": "ft"}, False),
    (1.0035, {"unit": "ft"}, True),
    # it stands out from both readings beside it by half of what it misses
    (2.0, {"level": 12.0, "beside": (10.0, 11.0)}, True),
    (2.0, {"level": 11.99, "beside": (10.0, 11.0)}, False),
    (-2.0, {"level": 9.0, "beside": (10.0, 11.0)}, True),
    (-2.0, {"level": 9.01, "beside": (10.0, 11.0)}, False),
    (1.25, {"level": 10.875, "beside": (10.25, 10.0)}, True),
    (2.0, {"level": 10.5, "beside": (10.0, 11.0)}, False),
    (2.0, {"level": 10.5, "beside": (10.0, 11.0), "between": False}, True),
    (2.0, {"own_residual_m": 0.25}, False),
    (2.0, {"own_residual_m": 0.2501}, True),
    (2.0, {"own_residual_m": -0.25}, False),
    (2.0, {"own_residual_m": 0.25, "between": False}, True),
    # neighbours: its own line misses 0.3 of it to the same side
    (1.25, {"by_neighbours": True, "own_residual_m": 0.3755}, True),
    (1.25, {"by_neighbours": True, "own_residual_m": 0.3745}, False),
    (1.25, {"by_neighbours": True, "own_residual_m": -0.5}, False),
    (-1.25, {"by_neighbours": True, "own_residual_m": -0.3755}, True),
    (1.25, {"by_neighbours": True, "own_residual_m": 0.3745, "between": False}, True),
    (2.0, {"by_neighbours": True, "own_residual_m": 0.3, "level": 10.5, "beside": (10.0, 11.0)}, False),
    (2.01, {"by_neighbours": True, "own_residual_m": 0.3, "level": 10.5, "beside": (10.0, 11.0)}, True),
    # about one metre: it need not stand out from both sides, only be 1 spread off the line
    (1.25, {"metres": 1.0, "level": 10.5, "beside": (10.0, 11.0), "own_residual_m": 0.1255}, True),
    (1.25, {"metres": 1.0, "level": 10.5, "beside": (10.0, 11.0), "own_residual_m": 0.125}, False),
    (1.6, {"metres": 1.0, "level": 10.5, "beside": (10.0, 11.0), "own_residual_m": 0.1255}, False),
    (1.25, {"metres": 1.0, "level": 10.5, "beside": (10.0, 11.0), "own_residual_m": 0.05, "between": False}, True),
])  # fmt: skip
def test_which_levels_are_off(residual, more, is_off):
    """A spread of 0.125 m: the limit is 1 m, 0.75 m for what is about one metre."""
    assert misfits(residual, 0.125, **more).rows.tolist() == ([1] if is_off else [])


@pytest.mark.parametrize(("residual", "is_off"), [(4.0, False), (4.01, True)])
def test_far_beyond_the_limit_the_neighbours_alone_suffice(residual, is_off):
    """Twice the limit of 2 m, where the line of its own readings misses little of it."""
    found = misfits(residual, 0.25, by_neighbours=True, own_residual_m=0.6, **HEIGHTS)
    assert found.rows.tolist() == ([1] if is_off else [])


HEIGHTS = {"level": 10.5, "beside": (10.0, 11.0)}


@pytest.mark.parametrize(("residual", "spread", "number", "more", "rule", "is_off"), [
    # digits: from 5 spreads on, alone, not shared
    (0.2505, 0.05, DIGITS, {"metres": 1.0}, None, False),
    (0.2515, 0.05, DIGITS, {"metres": 1.0}, "fits with two digits exchanged", False),
    (0.2515, 0.05, DIGITS, {"metres": 1.0, "is_alone": False}, None, False),
    (0.2515, 0.05, DIGITS, {"metres": 1.0, "shared": 1}, "fits with two digits exchanged", False),
    (0.2515, 0.05, DIGITS, {"metres": 1.0, "shared": 2}, None, False),
    (0.2515, 0.05, DIGITS, {"metres": 1.0, "checked": False}, None, False),
    (0.2515, 0.05, DIGITS, {"metres": 1.0, "is_first": True}, None, False),
    (0.2515, 0.05, DIGITS, {"metres": 1.0, **HEIGHTS}, None, False),
    # a round amount: only what is off without it
    (0.1, 0.015, NONE, {"metres": 1.0}, None, False),
    (0.1, 0.012, NONE, {"metres": 1.0}, "off by a round amount", True),
    (0.1, 0.012, NONE, {"metres": 1.0, "is_alone": False}, None, True),
    (1.0, 0.1, NONE, {"metres": 1.0, "is_alone": False}, None, True),
    # coarse: whether alone or not; neighbours that moved may put a level in doubt that its own record does not
    (1.0, 0.1, SIGN, {"is_alone": False}, "fits with the other sign", True),
    (1.0, 0.1, SIGN, {"by_neighbours": True, "own_residual_m": 0.25}, "fits with the other sign", False),
    (1.0, 0.1, SIGN, {"by_neighbours": True, "own_residual_m": 0.2}, None, False),
    (1.0, 0.1, SIGN, {"by_neighbours": True, "own_residual_m": 0.25, "checked": False}, None, False),
    (1.0, 0.1, SIGN, {**HEIGHTS, "own_residual_m": 0.25}, None, False),
    # its own record alone: beyond 8 spreads of its own, 16 for a first level, and 0.05 m
    (0.0, 0.1, SIGN, {"own_residual_m": 1.0, "own_spread_m": 0.125}, None, False),
    (0.0, 0.1, SIGN, {"own_residual_m": 1.0, "own_spread_m": 0.1249}, "fits with the other sign", False),
    (0.0, 0.1, SIGN, {"own_residual_m": 1.0, "own_spread_m": 0.1249, "shared": 2}, "fits with the other sign", False),
    (0.0, 0.1, SIGN, {"own_residual_m": 1.0, "own_spread_m": 0.1249, "is_first": True}, None, False),
    (0.0, 0.1, SIGN, {"own_residual_m": 1.0, "own_spread_m": 0.0624, "is_first": True},
     "fits with the other sign", False),
    (0.0, 0.1, SIGN, {"own_residual_m": 1.0, "own_spread_m": 0.1249, "checked": False}, None, False),
    (0.0, 0.001, in_feet(0.0245), {"own_residual_m": 0.049, "own_spread_m": 0.001}, None, False),
    (0.0, 0.001, in_feet(0.0255), {"own_residual_m": 0.051, "own_spread_m": 0.001},
     "fits with the other sign", False),
])  # fmt: skip
def test_which_levels_are_explained(residual, spread, number, more, rule, is_off):
    found = misfits(residual, spread, booked=number, **more)
    assert {row: of.rule for row, of in found.explained.items()} == ({} if rule is None else {1: rule})
    assert found.rows.tolist() == ([1] if is_off else [])


def test_explained_rows_are_those_of_the_rules_asked_for_and_worked_out_once():
    events = events_of(["2020-02-15"] * 4, booked=NONE, point=-1, water_elevation_m=10.0)
    events = given(events, may_be_in_feet=np.zeros(4, bool), may_be_in_metres=np.zeros(4, bool))
    found = misfits_of(events)
    assert misfits_of(events) is found
    found.explained = {k: type("Of", (), {"rule": rule}) for k, rule in ((0, "a"), (2, "b"), (3, "c"))}
    assert explained_rows(events) == {0, 2, 3}
    assert explained_rows(events, "b", "c") == {2, 3}
    assert explained_rows(events, "x") == set()
