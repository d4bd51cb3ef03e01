import math

import pandas as pd
import pytest

from gwnet.cli.tables import text_record, text_table

LEVELS = pd.DataFrame(
    {
        "site": ["Mill Meadow"] * 3,
        "well": ["MW-1", "MW-10", "MW-2"],
        "measured_at": ["2026-03-10T09:15+01:00", "2026-03-10", "2026-03-10T11:00+01:00"],
        "status": ["static", "dry", "affected by surface water"],
        "bound": ["", "<=", ""],
        "depth_to_water_m": [3.475, math.nan, 12.5],
        "water_elevation_m": [97.775, 91.2, 88.75],
        "finding": ["", "repeats disagree; beyond the last tape check", ""],
    }
)


def test_numbers_stand_right_and_text_left():
    assert text_table(LEVELS[["well", "depth_to_water_m"]]).splitlines() == [
        "        depth",
        "           to",
        "        water",
        "well      [m]",
        "-----  ------",
        "MW-1    3.475",
        "MW-10       –",
        "MW-2   12.500",
    ]


@pytest.mark.parametrize("width", [30, 40, 60, 80, 100, 120, 200])
def test_no_line_is_wider_than_the_terminal_and_nothing_is_lost(width):
    text = text_table(LEVELS, width)
    assert max(len(line) for line in text.splitlines()) <= width
    words = " ".join(text.split())
    for column in LEVELS:
        for value in LEVELS[column]:
            for word in [f"{value:.3f}"] if isinstance(value, float) and value == value else str(value).split():
                assert word in words or word == "nan"


def test_what_all_rows_share_is_said_once_when_room_is_short():
    text = text_table(LEVELS.assign(round="2026-Q1", notes=""), 110)
    assert text.splitlines()[0] == "In all rows: site: Mill Meadow; round: 2026-Q1"
    assert text.splitlines()[1] == "Empty in all rows: notes"
    assert text.count("Mill Meadow") == 1
    assert text_table(LEVELS, 400).count("Mill Meadow") == 3


def test_a_table_goes_on_below_with_its_keys():
    text = text_table(LEVELS.drop(columns="site"), 50)
    assert text.count("MW-10") >= 2


def test_a_record_stands_in_lines_and_an_empty_value_is_seen():
    lines = text_record(LEVELS.iloc[[0]]).splitlines()
    assert "water elevation [m]  97.775" in lines
    assert "finding              –" in lines


def test_a_long_value_of_a_record_goes_on_below():
    lines = text_record(LEVELS.iloc[[1]].assign(notes="word " * 30), 60).splitlines()
    assert max(len(line) for line in lines) <= 60
    assert " ".join(" ".join(lines).split()).endswith("word " * 29 + "word")


def test_long_remarks_are_numbered_below_the_table():
    same = "too few years: 2 with a value, 3 needed"
    table = pd.DataFrame({"well": ["A", "B", "C", "D"], "note": [same, "", "the record has a gap of four years", same]})
    lines = text_table(table, 40).splitlines()
    assert lines[:6] == ["well  note", "----  ----", "A     1", "B", "C     2", "D     1"]
    assert lines[6:] == [
        "",
        f"note 1: {same[:32]}",
        f"    {same[33:]}",
        "note 2: the record has a gap of four",
        "    years",
    ]
    assert same in text_table(table, 80)
    assert "note 1" not in text_table(table)
