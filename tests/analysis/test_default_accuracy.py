"""Accuracies that are taken where none is stated: by method and age; the numbers are those of the table."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.default_accuracy import (
    READING_METHODS,
    SURVEY_METHODS,
    day_of,
    describe_defaults,
    find_method,
    reading_defaults,
    survey_defaults,
)
from gwnet.analysis.levels.explain import explain
from gwnet.analysis.levels.table import levels
from gwnet.constants import NORMAL_95
from gwnet.store.snapshot import Snapshot

from .record import Record


def days(*texts):
    return np.array(texts, dtype="datetime64[D]")


def words(*texts):
    return np.array(texts, dtype=object)


@pytest.mark.parametrize(
    ("text", "methods", "method"),
    [
        ("levelled from BM 12", SURVEY_METHODS, "levelling"),
        ("differential GPS", SURVEY_METHODS, "survey-grade satellite receiver"),
        ("GPS, hand-held", SURVEY_METHODS, "hand-held satellite receiver"),
        ("interpolated from topographic map", SURVEY_METHODS, "topographic map"),
        ("10 m DEM", SURVEY_METHODS, "elevation model"),
        ("academy", SURVEY_METHODS, None),
        ("calibrated electric tape", READING_METHODS, "electric tape"),
        ("Steel tape, chalked", READING_METHODS, "steel tape"),
        ("air line", READING_METHODS, "air line"),
        ("graphic recorder", READING_METHODS, "recorder"),
        ("unknown", READING_METHODS, None),
    ],
)
def test_a_method_is_found_by_the_words_of_the_record(text, methods, method):
    found = find_method(text, methods)
    assert (found and found.method) == method


def test_surveys_of_no_known_method_are_less_sure_the_older_they_are():
    surveyed = days("2004-05-01", "1980-05-01", "1962-05-01", "NaT")
    half_width, origin = survey_defaults(words("", "", "", ""), surveyed, days(*["2004-06-01"] * 4))
    moved = [0.0, 0.005 * (24.085 - 5), 0.005 * (42.087 - 5), 0.0]
    assert half_width == pytest.approx(np.hypot([0.03, 0.1, 0.3, 0.03], moved), abs=2e-4)
    assert origin[2] == "default, method not known, 1962"


def test_a_method_counts_before_the_year_and_a_point_may_move_in_the_years_after():
    half_width, origin = survey_defaults(words("levelling"), days("1962-05-01"), days("1966-05-01"))
    assert (half_width[0], origin[0]) == (0.03, "default of levelling")
    later, _ = survey_defaults(words("levelling"), days("1962-05-01"), days("2022-05-01"))
    assert later[0] == pytest.approx(np.hypot(0.03, 0.005 * 55), abs=1e-3)


def test_readings_of_no_known_method_are_less_sure_the_older_they_are():
    half_width, origin = reading_defaults(
        words("", "", "", "air line"), days("2024-01-01", "1975-01-01", "1950-01-01", "2024-01-01")
    )
    assert half_width.tolist() == [0.003, 0.01, 0.03, 0.3]
    assert origin[2:].tolist() == ["default, method not known, 1950", "default of air line"]


def test_methods_stand_in_the_order_that_the_field_trusts_them():
    """A tape before a recorder, a recorder before sound, sound before a gauge on a flowing well, a report last.

    Common practice, no source.
    """
    sure = {one.method: one.half_width_m for one in READING_METHODS}
    order = ["electric tape", "recorder", "acoustic sounder", "pressure gauge", "air line", "report of others"]
    widths = [sure[method] for method in order]
    assert widths == sorted(set(widths))
    assert (sure["steel tape"], sure["transducer"]) == (sure["electric tape"], sure["recorder"])
    assert sure["air line"] <= sure["geophysical log"] < sure["report of others"]
    surveyed = {one.method: one.half_width_m for one in SURVEY_METHODS}
    order = ["levelling", "survey-grade satellite receiver", "airborne laser scan", "elevation model"]
    widths = [surveyed[method] for method in order]
    assert widths == sorted(set(widths))
    assert max(surveyed, key=surveyed.get) == "hand-held satellite receiver"


def test_the_documentation_lists_every_default_with_its_source():
    table = describe_defaults()
    assert "| survey | topographic map | 3.6 | half of a 20 ft contour interval" in table
    assert "| reading | not known, before 1970 | 0.03 | 0.1 ft, project default |" in table
    assert "| survey | not known, before 1975 | 0.3 | project default |" in table
    assert "| survey | not known, from 1975 | 0.1 | project default |" in table
    assert all(len(line.split(" | ")) == 4 for line in table.splitlines()[2:])


def test_days_are_taken_from_dates_and_instants_alike():
    values = pd.Series(
        [pd.Timestamp("2020-03-01 23:30", tz="UTC"), None, pd.Timestamp("1962-01-01").date()], dtype=object
    )
    assert day_of(values).astype(str).tolist() == ["2020-03-01", "NaT", "1962-01-01"]


@pytest.fixture
def record(tmp_path):
    """Give a record of one well with an old point of unknown survey and a new one with a stated accuracy."""
    made = Record(tmp_path / "record.sqlite")
    made.well("A")
    made.point("A", 100.0, "1960-01-01", "2015-01-01", accuracy_m=None)
    made.point("A", 100.0, "2015-01-01", accuracy_m=0.02)
    depth = ("depth_to_water", 10.0)
    made.event("A", "1962-05-01T10:00", [depth])
    made.event("A", "2020-05-01T10:00", [depth, ("accuracy", 0.03)], method="air line")
    made.event("A", "2020-05-02T10:00", [depth, ("accuracy_1sd", 0.1, "ft")])
    made.event("A", "2020-05-03T10:00", [("water_elevation", 90.0), ("accuracy", 0.05)])
    made.event("A", "2020-05-04T10:00", [depth], method="air line")
    return made


@pytest.mark.slow
def test_each_level_says_where_its_accuracy_comes_from(record):
    with record.store.reading() as connection:
        table = levels(Snapshot(connection))
        steps = {step.what: step.value for step in explain(Snapshot(connection), "A", "1962-05-01")[0].steps}
    assert table["accuracy_from"].tolist() == [
        "survey: default, method not known, 1960; reading: default, method not known, 1962",
        "survey: stated; reading: stated",
        "survey: stated; reading: stated",
        "survey: not needed; reading: stated",
        "survey: stated; reading: default of air line",
    ]
    expected = [
        np.sqrt(0.3**2 + 0.03**2 + 0.01**2 + 0.003**2),  # 1 mm a metre of an unchecked tape, half the tolerance
        np.hypot(0.02, 0.03),
        np.hypot(0.02, NORMAL_95 * 0.03048),
        0.05,
        np.sqrt(0.02**2 + 0.3**2 + 0.01**2 + 0.003**2),
    ]
    assert table["uncertainty_m"].tolist() == pytest.approx(expected)
    assert steps["accuracy"] == table["accuracy_from"].iloc[0]


@pytest.mark.parametrize(
    ("method", "half_width"),
    [
        ("levelled", 0.03),  # 0.1 ft, N.H. Env-Wq 403.30(b)
        ("RTK", 0.06),  # this and the others without a word: common practice, no source
        ("lidar", 0.2),  # USGS Lidar Base Specification, quality level 2 (from memory)
        ("DTM of 2014", 3.0),  # 1.96 times 1.55 m; Gesch and others (2014), USGS OFR 2014-1008 (from memory)
        ("map 1:24,000", 3.6),  # US National Map Accuracy Standards (1947; from memory)
        ("altimeter", 3.0),
        ("hand-held GPS", 10.0),
        ("reported", 3.0),
    ],
)
def test_a_survey_is_as_sure_as_its_method(method, half_width):
    found, _ = survey_defaults(words(method), days("2020-01-01"), days("2021-01-01"))
    assert found.tolist() == [half_width]


@pytest.mark.parametrize(
    ("method", "half_width"),
    [
        ("interface probe", 0.003),  # 0.01 ft, USGS TM 1-A1 (2011), GWPD 4 p. 33
        ("chalked tape", 0.003),  # the same, GWPD 1 p. 5
        ("airline", 0.3),  # this and the others: common practice, no source
        ("float", 0.03),
        ("logger", 0.03),
        ("sonic", 0.06),
        ("manometer", 0.15),
        ("log", 0.3),
        ("driller", 0.5),
    ],
)
def test_a_reading_is_as_sure_as_its_method(method, half_width):
    found, _ = reading_defaults(words(method), days("1950-01-01"))
    assert found.tolist() == [half_width]


@pytest.mark.parametrize(
    ("day", "survey", "reading"),
    [
        ("2000-01-01", 0.03, 0.003),
        ("1999-12-31", 0.1, 0.003),
        ("1990-01-01", 0.1, 0.003),
        ("1989-12-31", 0.1, 0.01),
        ("1975-01-01", 0.1, 0.01),
        ("1974-12-31", 0.3, 0.01),
        ("1970-01-01", 0.3, 0.01),
        ("1969-12-31", 0.3, 0.03),
    ],
)
def test_the_year_decides_where_the_method_is_not_known(day, survey, reading):
    """Project defaults."""
    found, origin = survey_defaults(words("other"), days(day), days(day))
    assert (found[0], origin[0]) == (survey, f"default, method not known, {day[:4]}")
    found, origin = reading_defaults(words("other"), days(day))
    assert (found[0], origin[0]) == (reading, f"default, method not known, {day[:4]}")


def test_a_day_that_nobody_knows_counts_as_new_and_no_levels_have_no_accuracy():
    assert survey_defaults(words(""), days("NaT"), days("NaT"))[0].tolist() == [0.03]
    assert reading_defaults(words("", "steel"), days("NaT", "NaT"))[0].tolist() == [0.003, 0.003]
    for half_width, origin in (survey_defaults(words(), days(), days()), reading_defaults(words(), days())):
        assert (half_width.tolist(), origin.tolist()) == ([], [])


@pytest.mark.parametrize(("later", "moved_days"), [(1826, 0), (1827, 1), (3652, 1826), (-400, 0)])
def test_a_point_moves_by_five_millimetres_a_year_after_five_years(later, moved_days):
    surveyed = np.datetime64("2001-03-01")
    read = np.array([surveyed + np.timedelta64(later, "D")])
    found, _ = survey_defaults(words("levelled"), np.array([surveyed]), read)
    assert found[0] == pytest.approx(np.hypot(0.03, 0.005 * moved_days / 365.25), rel=1e-12)


def test_days_before_1970_and_instants_of_another_zone_are_days_in_utc():
    values = pd.Series(
        [pd.Timestamp("1962-01-01T00:30", tz="UTC"), "2020-03-01T23:30+00:00", pd.NaT, "x"], dtype=object
    )
    assert day_of(values).astype(str).tolist() == ["1962-01-01", "2020-03-01", "NaT", "NaT"]
