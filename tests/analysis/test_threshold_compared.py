"""Levels as they are held against thresholds: whole tables sought anew by loops, and the limits of each rule."""

import math

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.thresholds.compared import changes_within, differences_of, held_levels
from gwnet.analysis.thresholds.elevations import with_elevations
from gwnet.analysis.thresholds.lanes import LANE_COLUMNS, lanes_of

from .threshold_rows import at, change, days, frame, gradient, level, limit


def rows_of(table, *columns):
    """Return some columns as lists, numbers to nine decimals."""
    return [
        [round(value, 9) if isinstance(value, float) else value for value in row]
        for row in table[list(columns)].to_numpy(dtype=object).tolist()
    ]


def numbered(*days_of_january, start=10.0):
    """Return readings of January days with levels and half-widths that are all different."""
    return [
        level(
            f"2026-01-{day:02d}", start + 0.37 * ((7 * day) % 11) / 11.0, uncertainty_m=0.01 * number, event_id=number
        )
        for number, day in enumerate(days_of_january, start=1)
    ]


def test_levels_are_held_in_order_of_time_and_event_with_their_signs():
    rows = frame(
        level("2026-01-09", 12.5, ">=", event_id=2, status="flowing"),
        level("2026-01-05", 10.2, event_id=7),
        level("2026-01-05", 10.1, event_id=3),
        level("2026-01-07", 10.3, event_id=9, review="on hold", usable=False, status="static"),
        level("2026-01-02", 9.0, "<=", event_id=8),
    )
    held = held_levels(rows)
    assert rows_of(held, "event_id", "value_m", "bound", "sign", "serves", "reason") == [
        [8, 9.0, "<=", -1, True, ""],
        [3, 10.1, "", 0, True, ""],
        [7, 10.2, "", 0, True, ""],
        [9, 10.3, "", 0, False, "static"],
        [2, 12.5, ">=", 1, True, ""],
    ]
    for end in ("lowest", "highest"):
        assert held[f"{end}_m"].tolist() == held["value_m"].tolist()
        assert held[f"{end}_at"].tolist() == held["measured_at"].tolist()
    assert held.index.tolist() == [0, 1, 2, 3, 4]


def mixed(well="A"):
    """Return levels of 20 days: numbers, bounds, levels that do not serve, two on one day, days apart of every length."""
    rows = numbered(1, 2, 3, 5, 6, 6, 9, 10, 13, 14, 17, 24, 31)
    rows[2] |= {"bound": "<=", "usable": False, "status": "dry", "unusable_reason": "dry"}
    rows[4] |= {"usable": False, "status": "pumping", "unusable_reason": "pumping"}
    rows[9] |= {"bound": ">=", "usable": False, "status": "flowing", "unusable_reason": "flowing"}
    rows[6]["review"] = "provisional"
    return frame(*({**row, "well": well} for row in rows))


@pytest.mark.parametrize("kind", ["lower", "upper"])
@pytest.mark.parametrize("within", [1, 4, 7, 8])
def test_changes_are_those_that_a_loop_finds(kind, within):
    held = held_levels(mixed())
    expected = []
    table = held.to_dict("records")
    for now in table:
        before = [
            then
            for then in table
            if then["serves"] and not then["bound"] and 1 <= (now["day"] - then["day"]).days <= within
        ]
        if before:
            then = (min if kind == "upper" else max)(before, key=lambda row: row["value_m"])
            value = now["value_m"] - then["value_m"]
            width = math.hypot(now["uncertainty_m"], then["uncertainty_m"])
            oldest = max((now["day"] - row["day"]).days for row in before)
            numbers = [round(value, 9), round(width, 9), oldest < within / 2]
        else:
            numbers = [None, None, True]
        noun = "day" if within == 1 else f"{within} days"
        lacks = now["serves"] and not before
        reason = f"no level in the {noun} before" if lacks else now["reason"]
        expected.append([*numbers, now["bound"], now["sign"], now["serves"] and not lacks, reason, now["measured_at"]])
    found = changes_within(held, within, kind)
    columns = ("value_m", "uncertainty_m", "is_short", "bound", "sign", "serves", "reason", "lowest_at")
    got = [[None if value != value else value for value in row] for row in rows_of(found, *columns)]
    assert got == expected
    for name in ("lowest_m", "highest_m"):
        assert np.array_equal(found[name], found["value_m"], equal_nan=True)
    assert found["highest_at"].tolist() == found["measured_at"].tolist()


def test_changes_are_held_to_a_nanometre_and_of_no_level_there_are_none():
    read = frame(level("2026-01-05", 0.0), level("2026-01-20", 0.1234567894))
    found = changes_within(held_levels(read), 30, "upper")
    assert found["value_m"].tolist()[1] == 0.123456789
    assert math.isnan(found["uncertainty_m"][0])
    assert len(changes_within(held_levels(read.iloc[:0]), 30, "upper")) == 0


def test_two_levels_of_one_survey_have_a_change_without_it():
    """√(0.03² + 0.05² - 2 · 0.02²): the survey's part moves both alike."""
    rows = frame(level("2026-01-05", 10.0, uncertainty_m=0.03), level("2026-01-20", 10.2, uncertainty_m=0.05))
    rows = rows.assign(measuring_point="1", survey_uncertainty_m=0.02)
    width = changes_within(held_levels(rows), 30, "upper")["uncertainty_m"].tolist()[1]
    assert width == pytest.approx(math.sqrt(0.03**2 + 0.05**2 - 2 * 0.02**2), rel=1e-12)


def test_differences_are_those_that_a_loop_finds():
    """The other well: a bound on the 1st, 2nd and 14th, the last reading of the 6th, none that serves on the 9th."""
    rows = numbered(1, 2, 3, 6, 6, 9, 10, 13, 14, start=9.0)
    rows[0] |= {"bound": "<=", "usable": False, "status": "dry"}
    rows[1] |= {"bound": ">=", "usable": False, "status": "flowing"}
    rows[2] |= {"bound": ">=", "usable": False, "status": "flowing"}
    rows[5] |= {"usable": False, "status": "pumping", "unusable_reason": "pumping"}
    rows[7]["review"] = "provisional"
    rows[8] |= {"bound": ">=", "usable": False, "status": "flowing"}
    held, others = held_levels(mixed()), held_levels(frame(*rows))
    expected = []
    for now in held.to_dict("records"):
        same_day = [row for row in others.to_dict("records") if row["serves"] and row["day"] == now["day"]]
        then = same_day[-1] if same_day else None
        turned = {"<=": ">=", ">=": "<=", "": ""}[then["bound"]] if then else ""
        is_open = bool(now["bound"] and turned and now["bound"] != turned) and now["serves"]
        lacks = now["serves"] and then is None
        reason = "no level of B that day" if lacks else now["reason"]
        expected.append(
            [
                round(now["value_m"] - then["value_m"], 9) if then else None,
                round(math.hypot(now["uncertainty_m"], then["uncertainty_m"]), 9) if then else None,
                now["bound"] or turned,
                {"<=": -1, ">=": 1, "": 0}[now["bound"] or turned],
                now["serves"] and not lacks and not is_open,
                "only bounds are known at both wells" if is_open else reason,
                now["review"] if then and then["review"] == "approved" else "provisional",
            ]
        )
    found = differences_of(held, others, "B")
    columns = ("value_m", "uncertainty_m", "bound", "sign", "serves", "reason", "review")
    got = [[None if value != value else value for value in row] for row in rows_of(found, *columns)]
    assert got == expected
    # bounds at both wells: on the 3rd they make one bound together, on the 14th they pull apart
    bounded = found[found["day"].isin(pd.to_datetime(["2026-01-03", "2026-01-14"]))]
    assert bounded["reason"].tolist() == ["", "only bounds are known at both wells"]


def test_a_bound_at_both_wells_that_do_not_agree_on_a_side_is_open_only_where_the_level_serves():
    bounds = [level("2026-01-05", 10.0, "<="), level("2026-01-06", 10.0, "<=", review="rejected")]
    other = [level("2026-01-05", 9.0, "<="), level("2026-01-06", 9.0, "<=")]
    found = differences_of(held_levels(frame(*bounds)), held_levels(frame(*other)), "B")
    assert found["reason"].tolist() == ["only bounds are known at both wells", "dry, rejected on review"]


def test_every_column_of_the_lanes_of_a_threshold_in_force_for_a_while():
    """From the reading of 5 January at 11:00 UTC on, until just before that of the 20th."""
    read = frame(
        level("2026-01-04", 9.1),
        level("2026-01-05", 9.2, review="provisional"),
        level("2026-01-06", 9.3, method="logger"),
        level("2026-01-07", 10.4, "<="),
        level("2026-01-08", 9.9, status="pumping"),
        level("2026-01-20", 9.5),
    )
    logged = days("2026-01-18", 10.0, 10.2, 9.0)
    force = {"valid_from_utc": at("2026-01-05 11:00"), "valid_until_utc": at("2026-01-20 11:00")}
    lanes = lanes_of(limit(10.0, **force).iloc[0].to_dict(), read, logged)
    assert tuple(lanes.columns) == LANE_COLUMNS
    assert rows_of(lanes, *(name for name in LANE_COLUMNS if name != "day")) == [
        ["manual", "2026-01-05T12:00+01:00", 9.2, 0.02, "", "beyond", "", "provisional", 9.2, "2026-01-05T12:00+01:00"],
        ["manual", "2026-01-07T12:00+01:00", 10.4, 0.02, "<=", "undetermined", "", "approved", 10.4, "2026-01-07T12:00+01:00"],
        ["manual", "2026-01-08T12:00+01:00", 9.9, 0.02, "", "left out", "pumping", "approved", 9.9, "2026-01-08T12:00+01:00"],
        ["logger", "2026-01-18", 10.0, 0.02, "", "beyond", "", "provisional", 9.9, "2026-01-18T03:00+01:00"],
        ["logger", "2026-01-19", 10.2, 0.02, "", "not beyond", "", "provisional", 10.1, "2026-01-19T03:00+01:00"],
    ]  # fmt: skip
    assert lanes["day"].tolist() == [pd.Timestamp(f"2026-01-{day:02d}") for day in (5, 7, 8, 18, 19)]
    upper = lanes_of(limit(10.2, "upper", **force).iloc[0].to_dict(), read, logged)
    assert upper["state"].tolist() == ["not beyond", "undetermined", "left out", "not beyond", "beyond"]
    assert rows_of(upper.tail(2), "extreme_m", "extreme_at") == [
        [10.1, "2026-01-18T15:00+01:00"],
        [10.3, "2026-01-19T15:00+01:00"],
    ]
    assert (
        len(
            lanes_of(
                limit(10.0, valid_until_utc=at("2026-01-01"), valid_from_utc=pd.NaT).iloc[0].to_dict(), read, logged
            )
        )
        == 0
    )


def test_only_a_change_that_is_not_beyond_can_be_too_soon():
    read = frame(
        level("2026-01-05", 10.0),
        level("2026-01-10", 10.1),
        level("2026-01-11", 10.1, status="pumping"),
        level("2026-01-12", 10.5),
        level("2026-01-19", 10.2),
        level("2026-01-20", 10.2),
    )
    lanes = lanes_of(change(0.4).iloc[0].to_dict(), read, pd.DataFrame())
    short = "too soon after the first level"
    # half of 30 days lie between the 5th and the 20th
    assert rows_of(lanes, "state", "reason") == [
        ["left out", "no level in the 30 days before"],
        ["left out", short],
        ["left out", "pumping"],
        ["beyond", ""],
        ["left out", short],
        ["not beyond", ""],
    ]


def test_of_the_other_well_a_level_of_the_same_kind_goes_first():
    read = frame(level("2026-01-05", 10.0), level("2026-01-06", 10.0))
    logged = days("2026-01-05", 10.5, 10.5)
    other_read, other_logged = frame(level("2026-01-05", 9.0, well="B")), days("2026-01-05", 8.0, 8.0)
    given = gradient(0.4).iloc[0].to_dict()
    lanes = lanes_of(given, read, logged, other_read, other_logged)
    assert rows_of(lanes, "source", "value_m") == [["manual", 1.0], ["manual", 2.0], ["logger", 2.5], ["logger", 2.5]]
    lanes = lanes_of(given, read, logged, other_read, None)
    assert rows_of(lanes, "value_m", "state")[::2] == [[1.0, "beyond"], [1.5, "beyond"]]


def test_thresholds_become_elevations_lowest_levels_distances_and_limits():
    """Every quantity at well 1, whose main point is 101 m high and 1 m above ground; well 2 has only its ground."""
    wells = pd.DataFrame(
        {
            "well_id": [1, 2, 3],
            "site": "S",
            "well": ["A", "B", "C"],
            "easting": [10.0, 13.0, 13.0],
            "northing": [20.0, 24.0, 24.0],
            "ground_elevation_m": [99.0, 50.0, np.nan],
            "screen_bottom_m": [6.0, np.nan, 3.0],
            "total_depth_m": [6.0, 9.0, 3.0],
        }
    )
    points = pd.DataFrame(
        [
            (1, "main", 100.0, 0.5, "2020-01-01", None),
            (1, "main", 101.0, 1.0, "2024-01-01", None),
            (1, "main", 105.0, 1.0, "2025-01-01", "2025-06-01"),
            (1, "deep", 109.0, 1.0, "2025-01-01", None),
        ],
        columns=["well_id", "access", "elevation_m", "height_above_ground_m", "valid_from_utc", "retired_at_utc"],
    )
    parts = pd.DataFrame(columns=["well_id", "part", "removed_on", "bottom_depth_m"])
    given = [
        (1, "A", "water_elevation", 96.5, ""),
        (1, "A", "depth_below_ground", 3.25, ""),
        (1, "A", "depth_to_water", 4.75, ""),
        (2, "B", "depth_below_ground", 3.0, ""),
        (2, "B", "depth_to_water", 3.0, ""),
        (1, "A", "change", -0.4, ""),
        (1, "A", "gradient", 0.12345, "B"),
        (2, "B", "gradient", 0.1, "C"),
    ]
    limits = pd.DataFrame(given, columns=["well_id", "well", "quantity", "value_m", "other_well"]).assign(site="S")
    found = with_elevations(limits, wells, points, parts, unit_m=0.3)
    nan = math.nan
    expected = {
        "elevation_m": [96.5, 96.75, 96.25, 47.0, nan, nan, nan, nan],
        "lowest_shown_m": [94.0, 94.0, 94.0, 41.0, nan, nan, nan, nan],
        # 3-4-5 apart, in units of 0.3 m; B and C at one place
        "distance_m": [nan, nan, nan, nan, nan, nan, 1.5, nan],
        "limit_m": [96.5, 96.75, 96.25, 47.0, nan, -0.4, round(0.12345 * 1.5, 9), nan],
    }
    for name, values in expected.items():
        assert found[name].tolist() == pytest.approx(values, rel=1e-12, nan_ok=True)
    near = wells.assign(easting=[10.0, 13.0, 13.3], northing=[20.0, 24.0, 24.4])
    assert with_elevations(limits, near, points, parts)["distance_m"].tolist()[6:] == pytest.approx([5.0, 0.5])
    plain = with_elevations(limits.drop(columns="other_well").head(5), wells, points, parts)
    assert plain["distance_m"].isna().all()
    assert plain["limit_m"].tolist() == pytest.approx([96.5, 96.75, 96.25, 47.0, nan], nan_ok=True)
    wide = limits.head(1).assign(quantity="gradient", value_m=0.12345678949, other_well="B")
    # held to a nanometre, so that a level at the limit is not beyond it by a binary fraction
    assert with_elevations(wide, wells, points, parts, unit_m=0.2)["limit_m"].item() == 0.123456789
