"""Rows that a crew did not fill in, and columns and sheets that only help who fills them in."""

import datetime as dt

import pytest

from gwnet.ingest.tables.raw import is_help

from .test_workbook import workbook

PLANNED = "site,well,round,date,time,status,depth_to_water,depth_to_water_2,instrument,observer,notes\n"


def test_a_planned_row_that_is_not_filled_in_is_passed_over_and_stated(loader):
    text = PLANNED + "S,MW-1,2024-Q1,2024-03-12,09:40,,3.474,3.475,T1,Ana,\nS,MW-2,2024-Q1,2024-03-12,,,,,T1,Ana,\n"
    [file] = loader.text(text).files
    assert (file.rows, file.added, file.rejected) == (2, 1, 0)
    assert file.warnings == ("1 row was not filled in (no reading and no status) and passed over: MW-2",)
    assert loader.net.levels()["well"].tolist() == ["MW-1"]


def test_it_needs_no_date_and_may_lie_in_the_future(loader):
    text = PLANNED + "S,MW-1,2024-Q1,,,,,,,,\nS,MW-2,2024-Q1,2026-04-20,,,,,,,\n"
    [file] = loader.text(text).files
    assert (file.added, file.rejected) == (0, 0)
    assert file.warnings[0].startswith("2 rows were not filled in")


@pytest.mark.parametrize(
    ("cells", "problem"),
    [
        ("S,MW-1,2024-Q1,2024-03-12,09:40,,,,,,", "one-quantity-wanted"),
        ("S,MW-1,2024-Q1,2024-03-12,,,,,,,Gate locked", "one-quantity-wanted"),
        ("S,MW-1,2024-Q1,2024-03-12,,static,,,,,", "one-quantity-wanted"),
        ("S,MW-1,,2024-03-12,,,,,,,", "one-quantity-wanted"),
        ("S,MW-1,2024-Q1,2024-03-12,,,3.4 m,,,,", "not-a-number"),
        ("S,MW-1,2024-Q1,2026-04-20,,dry,,,,,", "in-the-future"),
    ],
)
def test_anything_filled_in_at_the_well_makes_it_a_row(loader, cells, problem):
    assert problem in {r.problem for r in loader.rejected(PLANNED + cells + "\n")}


def test_a_formula_in_a_reading_is_never_taken_for_an_empty_cell(loader):
    rows = [["site", "well", "round", "date", "depth_to_water"], ["S", "MW-1", "2024-Q1", dt.date(2024, 3, 12), "=1+2"]]
    found = loader.rejected(workbook(level_events=rows), "round.xlsx")
    assert "formula" in {r.problem for r in found}


@pytest.mark.parametrize(("title", "helps"), [("(check)", True), (" (last depth [m]) ", True), ("()", False)])
def test_help_stands_wholly_in_round_brackets(title, helps):
    assert is_help(title) == helps
    assert not is_help("depth_to_water (first)")


@pytest.mark.slow
def test_help_columns_and_sheets_are_passed_over_without_a_word(loader):
    rows = [
        ["site", "well", "(last [m])", "date", "depth_to_water", "(check)"],
        ["S", "MW-1", 3.4, dt.date(2024, 3, 12), 3.474, '=IF(E2>C2,"lower","")'],
        [None, None, None, None, None, "=1/0"],
    ]
    content = workbook(level_events=rows)
    [file] = loader.text(content, "round.xlsx").files
    assert (file.rows, file.added, file.warnings) == (1, 1, ())
    more = workbook(**{"(instructions)": [["Fill in the white cells"]], "level_events": [rows[0], rows[1]]})
    assert [f.table for f in loader.text(more, "again.xlsx").files] == ["level_events"]


def test_a_help_column_of_delimited_text_is_passed_over_as_well(loader):
    text = "site,well,date,depth_to_water,(note to self)\nS,MW-1,2024-03-12,3.474,look\n"
    assert loader.text(text).files[0].warnings == ()


def test_a_formula_in_a_column_that_is_not_known_stops_nothing(loader):
    rows = [
        ["site", "well", "date", "depth_to_water", "my sum"],
        ["S", "MW-1", dt.date(2024, 3, 12), 3.474, "=SUM(D2)"],
    ]
    [file] = loader.text(workbook(level_events=rows), "round.xlsx").files
    assert file.added == 1
    assert file.warnings == ("column 'my sum' is not known and was passed over",)
