"""What a field sheet says of each well, rule by rule; constructed frames."""

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.fieldwork.field_sheet import (
    EARLIER_COLUMNS,
    WELL_COLUMNS,
    Expected,
    InSheetUnit,
    expected_range,
    field_sheet,
)
from gwnet.records import RecordState
from gwnet.store.fetch.round_values import RoundValues

from .programme_frames import ON, day, level, programme

NAN = math.nan
STATE = RecordState(1, dt.datetime(2026, 5, 1, tzinfo=dt.UTC))


def sheet(made, wells, ends_on=None, **more):
    planned = RoundValues(ON, ends_on, tuple(wells), "quarterly", "A. Walker", "bring keys")
    return field_sheet(made, "2026-Q2", planned, statuses=("static", "dry"), known_on=STATE, **more)


def head(well, when, elevation, **more):
    """Return a static level whose depth below a point at 100 m is known."""
    return level(well, when, water_elevation_uncorrected_m=elevation, depth_to_water_m=100.0 - elevation, **more)


@pytest.mark.parametrize(
    ("unit", "text", "none"),
    [("m", "3.142", ""), ("cm", "314.2", ""), ("mm", "3142", ""), ("ft", "10.31", ""), ("ftUS", "10.31", "")],
)
def test_lengths_have_the_decimals_to_which_a_tape_is_read(unit, text, none):
    """A foot is 0.3048 m, a US survey foot 1200/3937 m."""
    length = InSheetUnit()
    length.unit = unit
    assert length.number(3.14159) == text
    assert length.number(NAN) == none
    assert length.number(0.0) != ""


def test_a_sheet_says_everything_of_a_well(monkeypatch):
    """Five levels of the season: median 97.0 m, median deviation 0.1 m; product floats on the newest."""
    elevations = (96.8, 96.9, 97.0, 97.1, 97.3)
    levels = [
        *(head("A", f"{2021 + number}-05-10T09:00", value) for number, value in enumerate(elevations)),
        head("A", "2026-02-10T09:00", 95.5, sounded_depth_m=12.4, instrument="T1", access="tube"),
        level("A", "2026-03-10T09:00", status="dry", access="gone", bound="<="),
        head("A", "2026-05-12T09:00", 50.0, instrument="T2"),
        head("B", "2020-05-10T09:00", 90.0),
    ]
    points = [
        {"well": "A", "description": "Notch", "elevation_m": 100.2, "height_above_ground_m": 0.7},
        {"well": "A", "access": "tube", "description": "Red mark", "elevation_m": 100.5, "height_above_ground_m": 1.0},
        {"well": "A", "access": "port", "elevation_m": 100.9},
    ]
    facts = {
        "ground_elevation_m": 99.4,
        "total_depth_m": 13.5,
        "screen_top_m": 4.0,
        "screen_bottom_m": 11.0,
        "access_notes": "Key",
        "hazards": "Dog, contaminated",
        "notes": "old",
    }
    made = programme(
        monkeypatch,
        wells={"B": {}, "A": facts},
        levels=levels,
        points=points,
        tapes=[("T1", "electric tape"), ("T2", "electric tape"), ("T3", "steel tape"), ("T4", "steel tape")],
        checks=[("T1", "2025-05-13"), ("T3", "2025-05-12")],
        length_unit="m",
    )
    content = sheet(made, ["A", "B"])
    assert (content.site, content.site_name, content.round) == ("F", "Mill field", "2026-Q2")
    assert (content.starts_on, content.ends_on, content.days) == (ON, ON, (ON,))
    assert (content.purpose, content.crew, content.notes) == ("quarterly", "A. Walker", "bring keys")
    assert (content.time_zone, content.unit, content.tolerance_m) == ("Europe/Vienna", "m", 0.006)
    assert (content.statuses, content.known_on) == (("static", "dry"), STATE)
    assert content.tapes == ("T1", "T2", "T3")
    assert content.tapes_due == ("T2 (never checked)", "T3 (check due 2026-05-12)")
    assert tuple(content.wells.columns) == WELL_COLUMNS
    first, second = content.wells.to_dict("records")
    reach = 4.0 * 1.482602218505602 * 0.1
    numbers = {
        "height_above_ground_m": 1.0,
        "expected_from_m": 100.5 - 97.0 - reach,
        "expected_to_m": 100.5 - 97.0 + reach,
        "bottom_m": 13.4,
        "screen_top_m": 5.0,
        "screen_bottom_m": 12.0,
    }
    assert {name: first.pop(name) for name in numbers} == pytest.approx(numbers, rel=1e-12)
    assert first == {
        "place": 1,
        "site": "F",
        "well": "A",
        "access": "tube",
        "other_accesses": "main, port",
        "measuring_point": "Red mark",
        "expected_levels": 5,
        "bottom_source": "sounded 2026-02-10",
        "due": "survey measuring point (due 2023-06-01); survey measuring point port (due 2023-06-01); "
        "survey measuring point tube (due 2023-06-01); "
        "sound bottom again (1.10 m short of the bottom as built on 2026-02-10)",
        "access_notes": "Key",
        "hazards": "Dog, contaminated",
        "contamination": "Contamination on record: clean tape and probe thoroughly afterwards.",
        "notes": "old",
    }
    assert (second["place"], second["access"], second["other_accesses"]) == (2, "main", "")
    assert second["measuring_point"] == "no measuring point in force"
    assert (second["bottom_source"], second["expected_levels"], second["contamination"]) == ("", 1, "")
    blank = ("height_above_ground_m", "expected_from_m", "expected_to_m", "bottom_m", "screen_top_m", "screen_bottom_m")
    assert all(math.isnan(second[name]) for name in blank)
    assert tuple(content.earlier.columns) == EARLIER_COLUMNS
    assert content.earlier["well"].tolist() == ["A", "A", "A", "B"]
    assert content.earlier["status"].tolist() == ["dry", "static", "static", "static"]
    days = [day("2026-03-10"), day("2026-02-10"), day("2025-05-10"), day("2020-05-10")]
    assert content.earlier["measured_on"].tolist() == days
    # referred to the red mark, 0.5 m above the point that they were read from
    np.testing.assert_allclose(content.earlier["depth_to_water_m"], [NAN, 5.0, 3.2, NAN], rtol=1e-12)


def test_the_sheet_reads_from_the_access_read_last_that_still_has_a_point(monkeypatch):
    points = [{"well": "A", "access": access} for access in ("port", "main", "annulus")]
    cases = {
        ("port", "main", "lost"): "main",
        ("main", "port"): "port",
        (): "main",
        ("lost",): "main",
    }
    for used, access in cases.items():
        levels = [level("A", f"2026-01-0{number}", access=name) for number, name in enumerate(used, 1)]
        made = programme(monkeypatch, wells={"A": {}}, points=points, levels=levels[::-1])
        assert sheet(made, ["A"]).wells["access"].tolist() == [access]
    made = programme(monkeypatch, wells={"A": {}}, points=[points[0], points[2]], tapes=[("T4", "steel tape")])
    assert sheet(made, ["A"]).tapes == ("T4",)
    content = sheet(made, ["A"]).wells
    assert (content["access"].tolist(), content["other_accesses"].tolist()) == (["annulus"], ["port"])


@pytest.mark.parametrize(
    ("height", "ground", "total", "expected", "bottom", "source"),
    [
        (0.5, 99.0, 20.0, 0.5, 20.5, "as built, never sounded"),
        (NAN, 99.25, 20.0, 0.75, 20.75, "as built, never sounded"),
        (NAN, NAN, 20.0, NAN, NAN, "as built, never sounded"),
        (-0.5, 99.0, NAN, -0.5, NAN, ""),
    ],
)
def test_the_height_of_a_point_is_worked_out_from_elevations_where_it_is_not_on_record(
    monkeypatch, height, ground, total, expected, bottom, source
):
    facts = {"ground_elevation_m": ground, "total_depth_m": total}
    points = [{"well": "A", "height_above_ground_m": height}]
    row = sheet(programme(monkeypatch, wells={"A": facts}, points=points), ["A"]).wells.iloc[0]
    np.testing.assert_equal([row["height_above_ground_m"], row["bottom_m"]], [expected, bottom])
    assert row["bottom_source"] == source


def test_conditions_are_said_where_they_belong_in_the_unit_of_the_site(monkeypatch):
    """3.048 m are ten feet; the point lies 0.3048 m below ground."""
    levels = [
        level("A", "2026-01-01", status="flowing"),
        level("A", "2026-01-02", sounded_depth_m=6.096),
        level("A", "2026-01-03", status="obstructed"),
        level("A", "2026-01-04", water_elevation_m=3.0),
        level("B", "2026-01-04", status="flowing"),
    ]
    points = [{"well": "A", "height_above_ground_m": -0.3048, "surveyed_on": ON}]
    wells = {"A": {"total_depth_m": 9.144, "hazards": "Dog"}, "B": {}}
    made = programme(monkeypatch, wells=wells, levels=levels, points=points, length_unit="ft", repeat_tolerance_m=0.01)
    content = sheet(made, ["A", "B"], ends_on=day("2026-05-14"))
    assert content.tolerance_m == 0.01
    assert content.days == (ON, day("2026-05-13"), day("2026-05-14"))
    row = content.wells.set_index("well").loc["A"]
    assert row["hazards"] == (
        "Dog; confined space: measuring point 1.00 ft below ground; artesian pressure: last flowing on 2026-01-01"
    )
    assert row["due"] == (
        "sound bottom (obstructed on 2026-01-03, read since on 2026-01-04); "
        "sound bottom again (10.00 ft short of the bottom as built on 2026-01-02)"
    )
    assert content.wells["hazards"].tolist()[1] == "artesian pressure: last flowing on 2026-01-04"


def test_what_falls_due_within_the_round_is_on_its_sheets(monkeypatch):
    levels = [level("A", "2025-05-14T09:00", sounded_depth_m=3.0)]
    points = [{"well": "A", "surveyed_on": ON}]
    made = programme(monkeypatch, wells={"A": {}}, levels=levels, points=points)
    said = [sheet(made, ["A"], day(end)).wells["due"].tolist() for end in ("2026-05-13", "2026-05-14")]
    assert said == [[""], ["sound bottom (due 2026-05-14)"]]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ((3.0, 3.5, 5), "Expected 3.000 to 3.500 (5 levels of this season)."),
        ((NAN, 3.5, 5), "No expectation: fewer than 5 levels of this season (5)."),
        ((3.0, NAN, 5), "No expectation: fewer than 5 levels of this season (5)."),
        ((NAN, NAN, 2), "No expectation: fewer than 5 levels of this season (2)."),
    ],
)
def test_the_expectation_in_words(monkeypatch, row, words):
    content = sheet(programme(monkeypatch, wells={"A": {}}), ["A"])
    names = ("expected_from_m", "expected_to_m", "expected_levels")
    assert content.expectation(dict(zip(names, row, strict=True))) == words


def season(heads, days, **more):
    table = {"usable": True, "bound": "", "water_elevation_uncorrected_m": heads, "day": days}
    return pd.DataFrame({**table, **more})


def test_the_range_reaches_four_robust_deviations_and_at_least_ten_centimetres():
    """Median absolute deviation times 1.4826 as in scipy.stats.median_abs_deviation(scale='normal')."""
    days = [dt.date(2010 + number, 5, 10) for number in range(5)]
    wide = expected_range(season([40.0, 40.1, 40.3, 40.6, 41.0], days), ON)
    reach = 4.0 * 0.3 / 0.6744897501960817
    assert (wide.low_m, wide.high_m, wide.levels) == pytest.approx((40.3 - reach, 40.3 + reach, 5), rel=1e-9)
    # 4 * 1.4826 * 0.016 m is below 0.1 m, with 0.017 m it is above
    for apart, reach in ((0.016, 0.1), (0.017, 4.0 * 0.017 / 0.6744897501960817)):
        heads = [40.0 - 2 * apart, 40.0 - apart, 40.0, 40.0 + apart, 40.0 + 2 * apart]
        narrow = expected_range(season(heads, days), ON)
        assert (narrow.low_m, narrow.high_m) == pytest.approx((40.0 - reach, 40.0 + reach), rel=1e-9)
    few = expected_range(season([40.0, 40.1, 40.3, 40.6], days[:4]), ON)
    assert few.levels == 4
    assert math.isnan(few.low_m)
    assert math.isnan(few.high_m)
    assert isinstance(few, Expected)


@pytest.mark.parametrize(
    ("on", "of", "counts"),
    [
        # days of the year: 12 May 2026 is the 132nd
        ("2026-05-12", "2021-06-26", True),
        ("2026-05-12", "2021-06-27", False),
        ("2026-05-12", "2021-03-28", True),
        ("2026-05-12", "2021-03-27", False),
        # across the turn of the year: 365.25 less 340 is 25.25, so the 19th day is 44.25 away, the 20th 45.25
        ("2026-01-19", "2021-12-06", True),
        ("2026-01-20", "2021-12-06", False),
        ("2026-12-06", "2021-01-19", True),
        ("2026-12-06", "2021-01-20", False),
    ],
)
def test_a_season_is_forty_five_days_to_either_side(on, of, counts):
    found = expected_range(season([40.0], [day(of)]), day(on))
    assert found.levels == int(counts)


@pytest.mark.parametrize(
    ("changed", "counted"),
    [({}, 1), ({"usable": False}, 0), ({"bound": "<="}, 0), ({"water_elevation_uncorrected_m": NAN}, 0)],
)
def test_only_usable_numbers_enter_the_expectation(changed, counted):
    assert expected_range(season([40.0], [day("2020-05-12")], **changed), ON).levels == counted
