"""Checks of wells against one another: apart, off the ground, reversed, copied, exchanged; constructed.

Limits are project defaults as documented in the table of limits.
"""

import itertools
import math

import numpy as np
import pytest

from gwnet.analysis.checks import places

from .check_events import events_of, given, points_of, quarters

CHECK = {check.rule: check for check in places.CHECKS.checks}
FOOT = 0.3048


def told(events, rule):
    return list(CHECK[rule].run(events))


@pytest.mark.parametrize(("amount", "error", "unit", "words"), [
    (1.0599, 0.0, "m", ", which is about 1 m"), (1.0601, 0.0, "m", ""),
    (-0.9401, 0.0, "m", ", which is about 1 m"), (0.9399, 0.0, "m", ""),
    (10.59, 0.0, "m", ", which is about 10 m"), (-10.61, 0.0, "m", ""),
    (105.9, 0.0, "m", ", which is about 100 m"), (106.1, 0.0, "m", ""),
    (1.0599 * FOOT, 0.0, "ft", ", which is about 1 ft"), (1.0601 * FOOT, 0.0, "ft", ""),
    (-10.59 * FOOT, 0.0, "ft", ", which is about 10 ft"), (1.0, 0.0, "ft", ""), (FOOT, 0.0, "m", ""),
    # three errors, of which each counts a tenth of the amount at the most
    (1.1875, 0.0625, "m", ", which is about 1 m"), (1.1876, 0.0625, "m", ""), (-0.8125, 0.0625, "m", ", which is about 1 m"),
    (1.2999, 5.0, "m", ", which is about 1 m"), (1.3001, 5.0, "m", ""),
    (12.99, 5.0, "m", ", which is about 10 m"), (13.01, 5.0, "m", ""),
])  # fmt: skip
def test_an_amount_is_named_to_six_hundredths_or_three_errors(amount, error, unit, words):
    assert places.describe_amount(events_of(["2020-01-01"], unit=unit), amount, error) == words


def network(off, *, count=7, rounds=3, skipped=0, aquifers=None, unsound=(), **limits):
    """Return wells on a plane, all but the third, read in some quarters; the third was skipped in the first ones."""
    x = np.array([0, 430, 210, 30, 390, 820, 790, 70, 440])[:count]
    y = np.array([0, 60, 190, 410, 450, 20, 430, 850, 790])[:count]
    aquifers = aquifers or ["upper"] * count
    rows = [{"easting": float(a), "northing": float(b), "aquifer": of} for a, b, of in zip(x, y, aquifers, strict=True)]
    level = 50.0 + 0.005 * x - 0.0025 * y + np.where(np.arange(count) == 2, off, 0.0)
    events = [(w, k) for w in range(count) for k in range(rounds) if w != 2 or k >= skipped]
    times = quarters(rounds)
    return events_of(
        [times[k] for _, k in events], well=[w for w, _ in events], wells=rows, limits=limits,
        water_elevation_m=[level[w] + 0.3 * k for w, k in events], usable=[w not in unsound for w, _ in events],
    )  # fmt: skip


def test_a_well_apart_is_told_with_its_offset():
    (one,) = told(network(1.0, rounds=5, skipped=1), places.APART)
    assert (one.rule, one.severity, one.row, one.rows, one.well) == (places.APART, "serious", -1, (), "C")
    assert one.message == (
        "In 4 quarters the well is 1.000 m above what its neighbours in aquifer upper suggest (limit 0.200 m), which is "
        "about 1 m: an elevation may be wrong, or the well taps other water."
    )
    assert one.limits == {"offset_m": 1.0, "limit_m": 0.2, "apart_spreads": 6.0, "apart_m": 0.2, "quarters": 4}
    assert "the well is 0.300 m below what its" in told(network(-0.3), places.APART)[0].message


@pytest.mark.parametrize(("off", "more", "found"), [
    (0.21, {}, ["C"]),
    (0.19, {}, []),
    (0.21, {"apart_m": 0.25}, []),
    # three quarters, six wells: on the limit
    (1.0, {"skipped": 1}, []),
    (1.0, {"skipped": 1, "rounds": 4}, ["C"]),
    (1.0, {"count": 6}, ["C"]),
    (1.0, {"count": 5}, []),
    (1.0, {"count": 7, "unsound": (6,)}, ["C"]),
    (1.0, {"count": 7, "unsound": (2,)}, []),
    (1.0, {"count": 6, "unsound": (5,)}, []),
    # only wells of one aquifer, whose positions are not those among all
    (1.0, {"aquifers": ["lower", "", "upper", "upper", "upper", "upper", "upper", "upper", "upper"], "count": 9}, ["C"]),
    (1.0, {"aquifers": ["lower", "lower", None, "lower", "lower", "lower", "lower"]}, []),
    (1.0, {"aquifers": ["", "", "", "", "", "", ""]}, []),
])  # fmt: skip
def test_which_wells_stand_apart(off, more, found):
    assert [one.well for one in told(network(off, **more), places.APART)] == found


@pytest.mark.parametrize(("off", "accuracies", "is_off"), [
    # of the point and of the ground, with 0.1 m; 0.03 m (0.1 ft, N.H. Env-Wq 403.30(b)) where nothing is stated
    (0.1085, (np.nan, np.nan), False), (0.1088, (np.nan, np.nan), True), (-0.1088, (np.nan, np.nan), True),
    (0.2615, (0.24, np.nan), False), (0.262, (0.24, np.nan), True),
    (0.2615, (np.nan, 0.24), False), (0.262, (np.nan, 0.24), True),
    (0.353, (0.24, 0.24), False), (0.355, (0.24, 0.24), True),
])  # fmt: skip
def test_a_point_less_its_height_is_the_ground(off, accuracies, is_off):
    point = {"elevation_m": 100.5 + off, "accuracy_m": accuracies[0]}
    events = events_of(["2020-01-01"], wells=[{"ground_accuracy_m": accuracies[1]}], points=points_of((0, point)))
    assert bool(told(events, places.GROUND)) == is_off


def test_points_off_the_ground_are_one_finding_a_well():
    accurate = {"accuracy_m": 0.02, "valid_from_utc": "2015-03-02"}
    rows = points_of(
        (0, {"elevation_m": 101.5, **accurate}),
        (1, {"elevation_m": 100.5}),
        (0, {"elevation_m": 100.2, "access": "tube", **accurate}),
        (2, {"elevation_m": 103.5, "height_above_ground_m": np.nan}),
        (3, {"elevation_m": 103.5, "site": "T"}),
        (4, {"elevation_m": 98.5}),
    )
    wells = [{"ground_accuracy_m": 0.05}, {}, {}, {}, {"ground_elevation_m": 90.0}]
    first, second = told(events_of(["2020-01-01"], wells=wells, points=rows), places.GROUND)
    limit = math.sqrt(0.02**2 + 0.05**2 + 0.1**2)
    assert first.message == (
        "Measuring point main in force from 2015-03-02: its elevation less its height above ground lies 1.000 m above "
        f"the ground on record (limit {limit:.3f} m), which is about 1 m. Measuring point tube in force from 2015-03-02: "
        f"its elevation less its height above ground lies 0.300 m below the ground on record (limit {limit:.3f} m)."
    )
    assert (first.rule, first.severity, first.well, first.row) == (places.GROUND, "warning", "A", -1)
    assert first.limits == {
        "difference_m": 1.0, "limit_m": round(limit, 4), "survey_ground_m": 0.1, "measuring_point_id": 0,
    }  # fmt: skip
    assert (second.well, second.limits["difference_m"], second.limits["measuring_point_id"]) == ("E", 8.0, 5)


def cluster(differences, *, uncertainty=np.nan, apart_d=0.0, residual=0.0, spread=0.1, wells=None, checked=True):
    """Return a cluster of a deep well, listed first, and a shallow one that is lower by the negative differences."""
    count = len(differences)
    day = np.datetime64("2020-01-01T12:00", "m") + 30 * 1440 * np.arange(count).astype("timedelta64[m]")
    later = day + np.timedelta64(round(apart_d * 1440), "m")
    both = {"screen_bottom_m": np.nan, "cluster": "K"}
    events = events_of(
        [str(time) for time in (*day, *later)], well=np.repeat([0, 1], count),
        wells=wells or [{"screen_top_m": 30.0, **both}, {"screen_top_m": 8.0, **both}],
        water_elevation_m=np.concatenate([50.0 + np.array(differences), np.full(count, 50.0)]),
        uncertainty_m=uncertainty, fit={"residual_m": residual, "spread_m": spread},
    )  # fmt: skip
    return given(events, checked=np.broadcast_to(checked, 2 * count))


USUAL = [-0.5] * 10


def test_a_reversed_pair_is_told_at_the_level_farther_off_its_record():
    (one,) = told(cluster([*USUAL, 0.25]), places.ORDER)
    assert (one.row, one.severity) == (10, "warning")
    assert one.message == "A is 0.250 m above B; in 91% of 11 pairs of levels it is below."
    assert one.limits == {"difference_m": 0.25, "share": 0.9091, "pairs": 11, "cluster_share": 0.9}
    (one,) = told(cluster([0.5] * 8 + [-0.25]), places.ORDER) or [None] * 1
    assert one is None  # 8 of 9 are 89 %


@pytest.mark.parametrize(("residual", "spread", "row"), [
    ([0.3, -0.2], [0.1, 0.1], 10), ([-0.2, 0.3], [0.1, 0.1], 21), ([0.3, 0.3], [0.1, 0.1], 10),
    ([0.3, 0.2], [0.4, 0.1], 21), ([np.nan, 0.2], [0.1, 0.1], 21), ([9.0, 0.2], [0.0, 0.1], 21),
])  # fmt: skip
def test_of_a_reversed_pair_the_level_that_is_more_spreads_off(residual, spread, row):
    both = [np.repeat(values, 11) for values in (residual, spread)]
    found = told(cluster([0.5] * 10 + [-0.25], residual=both[0], spread=both[1]), places.ORDER)
    assert [one.row for one in found] == [row]
    assert found[0].message == "A is 0.250 m below B; in 91% of 11 pairs of levels it is above."


@pytest.mark.parametrize(("differences", "more", "found"), [
    ([*USUAL, 0.25], {"apart_d": 3.0}, 1),
    ([*USUAL, 0.25], {"apart_d": 3.01}, 0),
    # the uncertainties of both levels: 0.1 and 0.24 m give 0.26 m
    ([*USUAL, 0.265], {"uncertainty": np.repeat([0.1, 0.24], 11)}, 1),
    ([*USUAL, 0.255], {"uncertainty": np.repeat([0.1, 0.24], 11)}, 0),
    ([*USUAL, 0.25], {"wells": [{"cluster": "K", "screen_top_m": 30.0}, {"cluster": "L", "screen_top_m": 8.0}]}, 0),
    ([*USUAL, 0.25], {"wells": [{"cluster": "", "screen_top_m": 30.0}, {"cluster": "", "screen_top_m": 8.0}]}, 0),
    ([*USUAL, 0.25], {"wells": [{"cluster": None, "screen_top_m": 30.0}, {"cluster": None, "screen_top_m": 8.0}]}, 0),
    ([*USUAL, 0.25], {"checked": np.arange(22) != 10}, 0),
    ([*USUAL[:7], 0.25], {}, 0),  # 7 of 8
])  # fmt: skip
def test_which_pairs_are_reversed(differences, more, found):
    assert len(told(cluster(differences, **more), places.ORDER)) == found


def test_three_wells_of_a_cluster_are_compared_two_by_two():
    """By their screens from the top; wells of one screen depth by name. The middle one stands too high once."""
    level = {"A": [50.0] * 11, "B": [48.0] * 11, "C": [*[49.0] * 10, 51.0]}
    top = {"A": 5.0, "B": 30.0, "C": 15.0}
    times = [f"2020-01-{day:02d}" for day in range(1, 12)]
    events = events_of(
        times * 3, well=np.repeat([0, 1, 2], 11), wells=[{"cluster": "K", "screen_top_m": top[name]} for name in "ABC"],
        water_elevation_m=list(itertools.chain(*level.values())), limits={"cluster_days": 0.0},
    )  # fmt: skip
    (one,) = told(events, places.ORDER)
    assert (one.row, one.message) == (32, "C is 1.000 m above A; in 91% of 11 pairs of levels it is below.")


def same_day(repeats, residual, spread=0.1, *, days=None, well=None, checked=True, **limits):
    count = len(repeats)
    events = events_of(
        days or ["2020-03-01"] * count, well=range(count) if well is None else well, repeats=repeats,
        fit={"residual_m": residual, "spread_m": spread}, limits=limits, water_elevation_m=50.0,
    )  # fmt: skip
    return given(events, checked=np.broadcast_to(checked, count))


PAIR = [[5.12, 5.13, np.nan]] * 2


def test_readings_of_another_well_are_told_at_the_one_that_fits_worse():
    third = [[5.12, 5.13, np.nan]] * 3
    (one,) = told(same_day(third, [0.2, -0.6, 0.1]), places.COPIED)
    assert (one.row, one.rows, one.severity) == (1, (), "warning")
    assert one.message == (
        "All repeats are those of A, C on the same day, and the level does not fit the well's own record (off by 6.0 "
        "robust standard deviations)."
    )
    assert one.limits == {"spreads": 6.0, "as": ["A", "C"]}


@pytest.mark.parametrize(("repeats", "residual", "more", "severity"), [
    # half of 5 spreads, and 8 for a serious one
    (PAIR, [0.0, 0.3125], {"spread": 0.125}, None),
    (PAIR, [0.0, 0.3126], {"spread": 0.125}, "warning"),
    (PAIR, [0.0, 1.0], {"spread": 0.125}, "warning"),
    (PAIR, [0.0, 1.01], {"spread": 0.125}, "serious"),
    (PAIR, [0.0, 0.9], {"spread": [0.1, 0.0]}, None),
    (PAIR, [0.0, 0.9], {"days": ["2020-03-01", "2020-03-02"]}, None),
    (PAIR, [0.0, 0.9], {"well": [0, 0]}, None),
    (PAIR, [0.0, 0.9], {"checked": [False, True]}, None),
    ([[5.12, np.nan, np.nan]] * 2, [0.0, 0.9], {}, None),
    ([[np.nan, 5.12, 5.13]] * 2, [0.0, 0.9], {}, "serious"),
    ([[5.12, 5.13, np.nan], [5.12, 5.13, 1.0]], [0.0, 0.9], {}, None),
    ([[5.12, 5.13, np.nan], [5.12, 5.13, 5.13]], [0.0, 0.9], {}, None),
    ([[5.12, 5.13, np.nan], [5.12, 5.14, np.nan]], [0.0, 0.9], {}, None),
    ([[5.12, 5.13, np.nan], [5.22, 5.13, np.nan]], [0.0, 0.9], {}, None),
    # to a tenth of a millimetre
    ([[5.12, 5.13, np.nan], [5.12004, 5.13, np.nan]], [0.0, 0.9], {}, "serious"),
    ([[5.12, 5.13, np.nan], [5.12006, 5.13, np.nan]], [0.0, 0.9], {}, None),
])  # fmt: skip
def test_which_readings_are_another_well_s(repeats, residual, more, severity):
    found = told(same_day(repeats, residual, **more), places.COPIED)
    assert [one.severity for one in found] == ([] if severity is None else [severity])


def exchanged(
    residual, depth, spread=0.1, *, metres=1.0, quantity="depth_to_water", well=(0, 1), days=None, checked=True
):
    events = events_of(
        days or ["2020-03-01", "2020-03-01T15:00"], well=list(well), fit={"residual_m": residual, "spread_m": spread},
        booked={"value": depth, "metres": metres, "quantity": quantity}, water_elevation_m=50.0,
    )  # fmt: skip
    return told(given(events, checked=np.broadcast_to(checked, 2)), places.EXCHANGED)


def test_exchanged_readings_are_one_finding_at_the_first():
    (one,) = exchanged([1.25, -1.125], [4.0, 5.25])
    assert (one.row, one.rows, one.severity) == (0, (0, 1), "warning")
    assert one.message == (
        "The level is 1.250 m above what is around it, and that of B on the same day does not fit either; with their "
        "depths exchanged both would."
    )
    assert one.limits == {"misfit_m": 1.25, "other": "B"}
    assert exchanged([-1.25, 1.125], [5.25, 4.0])[0].message.startswith("The level is 1.250 m below what is around it")


@pytest.mark.parametrize(("residual", "depth", "more", "is_found"), [
    # both off by over 5 spreads and 0.05 m
    ([0.5, -0.6], [4.0, 4.5], {}, False),
    ([0.51, -0.6], [4.0, 4.5], {}, True),
    ([0.6, -0.5], [4.0, 4.5], {}, False),
    ([0.05, -0.058], [4.0, 4.05], {"spread": 0.005}, False),
    ([0.0505, -0.058], [4.0, 4.05], {"spread": 0.005}, True),
    # both fit to 2 spreads with the other depth
    ([1.25, -1.0], [4.0, 5.0], {"spread": 0.125}, True),
    ([1.2501, -1.0], [4.0, 5.0], {"spread": 0.125}, False),
    ([1.0, -1.25], [4.0, 5.0], {"spread": 0.125}, True),
    ([1.0, -1.2501], [4.0, 5.0], {"spread": 0.125}, False),
    ([1.0, -1.2501], [4.0, 5.0], {"spread": [0.125, 0.126]}, True),
    ([1.2501, -1.0], [4.0, 5.0], {"spread": [0.126, 0.125]}, True),
    ([-1.0, 1.0], [4.0, 5.0], {}, False),
    ([1.0, 1.0], [4.0, 5.0], {}, False),
    ([FOOT, -FOOT], [4.0, 5.0], {"spread": 0.03, "metres": FOOT}, True),
    ([1.0, -1.0], [4.0, 5.0], {"well": (1, 1)}, False),
    ([1.0, -1.0], [4.0, 5.0], {"checked": [False, True]}, False),
    ([1.0, -1.0], [4.0, 5.0], {"days": ["2020-03-01T23:00", "2020-03-02T01:00"]}, False),
    ([1.0, -1.0], [4.0, 5.0], {"quantity": ["depth_to_water", "depth_below_ground"]}, False),
])  # fmt: skip
def test_which_readings_are_exchanged(residual, depth, more, is_found):
    assert bool(exchanged(residual, depth, **more)) == is_found
