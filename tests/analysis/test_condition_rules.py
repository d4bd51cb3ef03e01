"""Each rule of the conditions of wells at its limit, from frames of one site; constructed."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.fieldwork.conditions import CONDITION_COLUMNS, conditions_of, describe_condition
from gwnet.analysis.fieldwork.planning import CHECK, SOUND, SURVEY

ON = dt.date(2026, 5, 12)
NOON = pd.Timestamp("2026-05-12T10:00", tz="UTC")

LEVEL = {
    "status": "static",
    "bound": "",
    "product_thickness_m": np.nan,
    "sounded_depth_m": np.nan,
    "water_elevation_m": np.nan,
}
WELL = {"hazards": "", "access_notes": None, "notes": "", "total_depth_m": 12.0}


def level(day, well="W", **more):
    when = pd.Timestamp(day, tz="UTC")
    return {"well": well, "measured_at_utc": when, "day": when.date(), **LEVEL, **more}


def found(levels=(), wells=({},), points=(), thresholds=(), due=(), in_use=("W", "V"), on=ON):
    """Return the conditions as tuples of kind, well, words and day."""
    columns = ["well", "measured_at_utc", "day", *LEVEL]
    frame = pd.DataFrame(list(levels), columns=columns).astype({"measured_at_utc": "datetime64[us, UTC]"})
    limits = pd.DataFrame(list(thresholds), columns=["well", "threshold", "valid_from_utc", "valid_until_utc"])
    for name in ("valid_from_utc", "valid_until_utc"):
        limits[name] = pd.to_datetime(limits[name], utc=True)
    late = pd.DataFrame(list(due), columns=["what", "well", "instrument", "last_on", "due_on", "overdue_days"])
    programme = SimpleNamespace(
        levels=frame.astype(dict.fromkeys(("product_thickness_m", "sounded_depth_m", "water_elevation_m"), "float64")),
        wells=pd.DataFrame([{"well": "W", **WELL, **more} for more in wells]),
        wells_in_use=list(in_use),
        points=pd.DataFrame(list(points), columns=["well", "height_above_ground_m", "description"]),
        record=SimpleNamespace(thresholds=limits),
        zone="Europe/Vienna",
        noon=NOON,
        on=on,
        due=late.astype({"overdue_days": "Int64", "last_on": object, "due_on": object}),
    )
    table = conditions_of(programme)
    assert tuple(table.columns) == CONDITION_COLUMNS
    rows = table.to_dict("records")
    return [
        (row["kind"], row["well"], describe_condition(row, lambda metres: f"{metres:.3f} m"), row["day"])
        for row in rows
    ]


def day(text):
    return dt.date.fromisoformat(text)


@pytest.mark.parametrize(
    ("points", "more", "words"),
    [
        ([("W", -0.001, "")], {}, "measuring point 0.001 m below ground"),
        (
            [("W", -0.4, "Notch"), ("W", -1.2, "in the pit"), ("V", -3.0, "")],
            {},
            "measuring point 1.200 m below ground",
        ),
        ([("W", 0.0, None)], {}, None),
        ([("W", 0.0, None), ("W", 0.5, "Manholes, east")], {}, "“manholes” in its description"),
        ([], {"hazards": "Confined space!"}, "“confined space” in its description"),
        ([], {"hazards": None, "access_notes": "Through the VAULT"}, "“vault” in its description"),
        ([], {"notes": "chamber of 1960"}, "“chamber” in its description"),
        ([], {"notes": "spit and chambermaid"}, None),
        ([("W", 0.2, "")], {"hazards": "pit", "notes": "vault"}, "“pit” in its description"),
    ],
)
def test_a_point_below_ground_or_a_named_chamber_is_a_confined_space(points, more, words):
    expected = [("confined space", "W", words, None)] if words else []
    assert found(points=points, wells=[more]) == expected


@pytest.mark.parametrize(
    ("levels", "kind", "words", "on"),
    [
        (
            [level("2025-01-02", status="flowing"), level("2025-03-04"), level("2024-05-06", bound=">=")],
            "artesian pressure",
            "last flowing on 2025-01-02",
            "2025-01-02",
        ),
        (
            [level("2025-01-02", status="flowing"), level("2025-01-04", bound=">="), level("2025-01-03", bound="<=")],
            "artesian pressure",
            "last flowing on 2025-01-04",
            "2025-01-04",
        ),
        (
            [level("2023-02-03", product_thickness_m=0.25), level("2022-02-03", product_thickness_m=0.5)],
            "floating product",
            "0.250 m thick when last met on 2023-02-03",
            "2023-02-03",
        ),
        (
            [level("2023-02-03", product_thickness_m=0.001), level("2024-02-03", product_thickness_m=0.0)],
            "floating product",
            "0.001 m thick when last met on 2023-02-03",
            "2023-02-03",
        ),
        (
            [level("2023-02-03", sounded_depth_m=10.999), level("2022-02-03", sounded_depth_m=3.0)],
            "sounding short of the bottom",
            "1.001 m short of the bottom as built on 2023-02-03",
            "2023-02-03",
        ),
        ([level("2023-02-03", sounded_depth_m=11.0), level("2022-02-03", sounded_depth_m=3.0)], None, None, None),
        ([level("2023-02-03", sounded_depth_m=13.5)], None, None, None),
    ],
)
def test_pressure_product_and_short_soundings_rest_on_the_newest_level_that_shows_them(levels, kind, words, on):
    expected = [(kind, "W", words, day(on))] if kind else []
    assert found(levels) == expected
    assert found(levels, in_use=["V"]) == []


BLOCKED = level("2025-06-01", status="obstructed")


@pytest.mark.parametrize(
    ("others", "read"),
    [
        ([], None),
        ([level("2025-05-31", water_elevation_m=40.0)], None),
        ([level("2025-06-02", water_elevation_m=40.0)], "2025-06-02"),
        ([level("2025-06-02", bound="<=")], "2025-06-02"),
        ([level("2025-06-02")], None),
        ([level("2025-06-02", water_elevation_m=40.0), level("2025-06-09", bound="<=")], "2025-06-09"),
        ([level("2025-06-02", water_elevation_m=40.0), level("2025-06-09", status="no access")], "2025-06-02"),
        # a sounding at that very visit or later shows that the well is open again, one before it does not
        ([level("2025-06-01", sounded_depth_m=12.0), level("2025-06-02", water_elevation_m=40.0)], None),
        ([level("2025-05-31", sounded_depth_m=12.0), level("2025-06-02", water_elevation_m=40.0)], "2025-06-02"),
        ([level("2025-07-01", sounded_depth_m=12.0), level("2025-06-02", water_elevation_m=40.0)], None),
        # the newest obstruction counts
        ([level("2025-08-01", status="obstructed"), level("2025-06-02", water_elevation_m=40.0)], None),
        # what was read at the obstruction itself was not read after it
        ([level("2025-06-01", water_elevation_m=40.0)], None),
    ],
)
def test_levels_after_an_obstruction_need_a_sounding(others, read):
    expected = [
        (
            "read after an obstruction without a sounding",
            "W",
            f"obstructed on 2025-06-01, read since on {read}",
            day(read),
        )
        for read in ([read] if read else [])
    ]
    assert found([BLOCKED, *others]) == expected


@pytest.mark.parametrize(
    ("first", "since", "until", "words"),
    [
        ("2024-01-01", "2024-12-31", None, None),  # 365 days of levels, 2024 is a leap year
        ("2024-01-02", "2024-12-31", None, "in force since 2024-12-31, levels begin on 2024-01-02"),
        (None, "2024-12-31", None, "in force since 2024-12-31, no level is on record"),
        ("2024-01-02", None, None, None),
        ("2024-01-02", "2024-12-31", "2026-05-12T10:00", None),
        ("2024-01-02", "2024-12-31", "2026-05-12T10:01", "in force since 2024-12-31, levels begin on 2024-01-02"),
        ("2026-05-01", "2026-05-12", None, "in force since 2026-05-12, levels begin on 2026-05-01"),
        ("2026-05-01", "2026-05-13", None, None),
        # half past eleven at night UTC is the next day in Vienna
        ("2024-01-01", "2024-12-30T23:30", None, None),
        ("2025-03-01", "2024-12-31", None, "in force since 2024-12-31, levels begin on 2025-03-01"),
    ],
)
def test_a_threshold_in_force_needs_365_days_of_levels_before_it(first, since, until, words):
    """A year at least, ideally three to five: table 11 of a good-practice guide for quarries (from memory)."""
    moments = [pd.NaT if text is None else pd.Timestamp(text, tz="UTC") for text in (since, until)]
    levels = [] if first is None else [level("2026-05-02"), level(first), level("2020-01-01", well="V")]
    rows = found(levels, thresholds=[("W", "low", *moments)])
    expected = [("threshold set before a baseline", "W", f"low {words}", day(since))] if words else []
    assert rows == expected


@pytest.mark.parametrize(
    ("item", "expected"),
    [
        ((SURVEY, "W", "", None, None, None), ("survey overdue", "W", "never surveyed", None)),
        (
            (SURVEY, "W", "", day("2019-01-01"), day("2026-05-11"), 1),
            ("survey overdue", "W", "last surveyed on 2019-01-01", day("2019-01-01")),
        ),
        ((SURVEY, "W", "", day("2019-01-01"), day("2026-05-12"), 0), None),
        ((SURVEY, "W", "", day("2019-01-01"), day("2026-05-13"), -1), None),
        ((CHECK, "", "T1", None, None, None), ("tape check overdue", "", "tape T1 never checked", None)),
        (
            (CHECK, "", "T1", day("2025-01-01"), day("2026-01-01"), 131),
            ("tape check overdue", "", "tape T1 last checked on 2025-01-01", day("2025-01-01")),
        ),
        ((CHECK, "", "T1", day("2025-05-12"), day("2026-05-12"), 0), None),
        ((SOUND, "W", "", None, None, None), None),
    ],
)
def test_surveys_and_tape_checks_are_overdue_from_the_day_after_they_are_due(item, expected):
    assert found(due=[item]) == ([expected] if expected else [])


def test_conditions_go_by_kind_and_well():
    both = [{"well": "W", "notes": "pit"}, {"well": "V", "notes": "vault"}]
    levels = [level("2025-01-01", well=well, status="flowing") for well in ("W", "V")]
    due = [(CHECK, "", tape, None, None, None) for tape in ("T2", "T1")]
    rows = found(levels, wells=both, due=due)
    assert [row[:3] for row in rows] == [
        ("confined space", "V", "“vault” in its description"),
        ("confined space", "W", "“pit” in its description"),
        ("artesian pressure", "V", "last flowing on 2025-01-01"),
        ("artesian pressure", "W", "last flowing on 2025-01-01"),
        ("tape check overdue", "", "tape T2 never checked"),
        ("tape check overdue", "", "tape T1 never checked"),
    ]
    assert found() == []


def test_a_well_without_levels_has_none_of_another_well_s():
    assert found([level("2025-01-01", well="V", status="flowing")]) == []
