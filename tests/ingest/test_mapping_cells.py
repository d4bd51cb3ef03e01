"""Cells of our columns: numbers, units, words, times and joined columns."""

import pytest

from gwnet.errors import LayoutError
from gwnet.ingest.mapping import cells, mapping, source_table

from .mapped import EVENTS, applied, columns, events


def test_numbers_keep_their_unit_and_lose_decimal_comma_and_thousands(tmp_path):
    text = "Well;Date;d\nA;2020-01-01;1.234,50\nB;2020-01-02;7,5\n"
    source = 'decimal = ","\nthousands = "."'
    made = events(tmp_path, text, 'date = "Date"\ndepth_to_water = { column = "d", unit = "feet" }', source)
    assert made["depth_to_water [ft]"] == ["1234.50", "7.5"]


@pytest.mark.parametrize(
    ("rule", "heading", "cell"),
    [
        ('{ column = "d", unit = "in" }', "depth_to_water [m]", "2.54"),
        ('{ column = "d", unit = "ftUS" }', "depth_to_water [ftUS]", "100"),
        ('{ column = "d", factor = 0.5 }', "depth_to_water", "50"),
        ('{ column = "d", positive = "up" }', "depth_to_water", "-100"),
        ('{ column = "d", plus = "e" }', "depth_to_water", "100.25"),
        ('{ column = "d", minus = "e", unit = "m" }', "depth_to_water [m]", "99.75"),
        ('{ column = "u", unit = "cell" }', "depth_to_water [m]", "3.048"),
        ('[{ column = "none" }, { column = "d", unit = "ft" }]', "depth_to_water [m]", "30.48"),
    ],
)
def test_units_signs_and_sums(tmp_path, rule, heading, cell):
    text = "Well,Date,d,e,u,none\nA,2020-01-01,100,0.25,10 ft,\n"
    if rule.startswith("["):
        rule = rule.replace('{ column = "none" }', '{ column = "none", unit = "m" }')
    assert events(tmp_path, text, f'date = "Date"\ndepth_to_water = {rule}')[heading] == [cell]


def test_a_sum_with_an_empty_part_is_empty_and_a_word_stays_to_be_rejected(tmp_path):
    text = "Well,Date,d,e\nA,2020-01-01,100,\nA,2020-01-02,wet,1\n"
    made = events(
        tmp_path, text, 'date = "Date"\nno = "x"'.replace('no = "x"', 'depth_to_water = { column = "d", plus = "e" }')
    )
    assert made["depth_to_water"] == ["", "wet"]


def test_words_become_ours_whatever_their_case_and_others_stay_or_become_what_is_said(tmp_path):
    text = "Well,Date,s\nA,2020-01-01,Trocken\nA,2020-01-02,odd\nA,2020-01-03,-\n"
    rule = 'date = "Date"\nstatus = { column = "s", words = { trocken = "dry" } }'
    assert events(tmp_path, text, rule)["status"] == ["dry", "odd", "not measured"]
    rule = 'date = "Date"\nstatus = { column = "s", words = { trocken = "dry" }, otherwise = "frozen" }'
    assert events(tmp_path, text, rule)["status"] == ["dry", "frozen", "frozen"]


def test_columns_are_joined_with_their_headings_and_parts_are_cut_out(tmp_path):
    text = "Well,Date,a,b\nX-12 main,2020-01-01,p,q\nX-13 main,2020-01-02,,r\n"
    rule = 'date = "Date"\nnotes = { column = ["a", "b"], label = true }'
    made = events(tmp_path, text, rule)
    assert made["notes"] == ["a: p; b: q", "b: r"]
    mapped = EVENTS.format(source="", columns='date = "Date"').replace(
        'well = "Well"', 'well = { column = "Well", pattern = "(X-\\\\d+)" }'
    )
    assert columns(applied(tmp_path, text, mapped))["well"] == ["X-12", "X-13"]


def test_columns_by_number_and_pattern_and_names_of_files(tmp_path):
    text = "Well,Date 2020,d\nA,2020-01-01,1\n"
    rule = 'date = "/^Date/"\ndepth_to_water = 3\nobserver = { file = "crew_(.+)" }\nround = { value = 7 }'
    made = events(tmp_path, text, rule, name="crew_north.csv")
    assert (made["date"], made["depth_to_water"], made["observer"], made["round"]) == (
        ["2020-01-01"],
        ["1"],
        ["north"],
        ["7"],
    )


def test_a_column_that_is_not_there_is_named_with_those_that_are(tmp_path):
    with pytest.raises(LayoutError, match=r"no column 'Tiefe'.*Well, Date, d"):
        events(tmp_path, "Well,Date,d\nA,2020-01-01,1\n", 'date = "Date"\ndepth_to_water = "Tiefe"')


@pytest.mark.parametrize(
    ("keys", "cell", "expected"),
    [
        ('formats = ["%m/%d/%Y"]', "4/15/2019", "2019-04-15"),
        ('formats = ["%Y-%m-%dT%H:%M%z"]', "2019-04-15T10:30Z", "2019-04-15T10:30+00:00"),
        ('formats = ["%Y-%m-%dT%H:%M%z"], zone = "America/Los_Angeles"', "2019-04-15T10:30Z", "2019-04-15T10:30-07:00"),
        ('formats = ["%Y-%m-%dT%H:%M%z"], time_unknown = ["00:00"]', "2019-04-15T00:00Z", "2019-04-15"),
        ('formats = ["%d.%m.%Y[ %H:%M]"], zone = "UTC+01:00"', "15.04.2019", "2019-04-15"),
        ('formats = ["%d.%m.%Y %H:%M"]', "15.04.2019 10:30", "2019-04-15T10:30"),
    ],
)
def test_times(tmp_path, keys, cell, expected):
    made = events(tmp_path, f"Well,When\nA,{cell}\n", f'measured_at = {{ column = "When", {keys} }}')
    assert made["measured_at"] == [expected]


def test_date_and_time_of_day_in_two_columns_of_ours(tmp_path):
    text = "Well,When\nA,2019-04-15 10:30\nA,2019-04-16 00:00\n"
    rule = 'date = { column = "When", formats = ["%Y-%m-%d %H:%M"] }\n'
    rule += 'time = { column = "When", formats = ["%Y-%m-%d %H:%M"], time_unknown = ["00:00"] }'
    made = events(tmp_path, text, rule)
    assert (made["date"], made["time"]) == (["2019-04-15", "2019-04-16"], ["10:30", ""])


def test_a_time_that_the_zone_skips_is_a_problem_of_its_row(tmp_path):
    rule = 'measured_at = { column = "When", formats = ["%Y-%m-%d %H:%M"], zone = "Europe/Vienna" }'
    result = applied(tmp_path, "Well,When\nA,2024-03-31 02:30\n", EVENTS.format(source="", columns=rule))
    [problem] = result.tables[0].sheets[0][1].rejections
    assert (problem.row, problem.column, problem.problem) == (2, "When", "time-does-not-exist")


def test_a_rule_for_some_rows_and_another_for_the_others(tmp_path):
    text = "Well,utc,day,known\nA,2019-04-15T10:30Z,2019-04-15,yes\nA,2019-04-16T12:00Z,2019-04-16,no\n"
    only = '{ column = "utc", formats = ["%Y-%m-%dT%H:%M%z"], only = { column = "known", is = ["yes"] } }'
    made = events(tmp_path, text, f'measured_at = [{only}, {{ column = "day" }}]')
    assert made["measured_at"] == ["2019-04-15T10:30+00:00", "2019-04-16"]


def test_the_modules_are_those_that_are_meant():
    assert cells.plain_number("1'234,5", ",", "'") == "1234.5"
    assert {"", "-", "NaN"} <= source_table.MISSING
    assert "rule" in mapping.KEYS


def test_a_unit_behind_a_number_is_that_of_the_rule_or_no_number(tmp_path):
    text = "Well,Depth\nA,3.1 ft\nB,3.2 m\nC,3.3\n"
    found = events(tmp_path, text, 'depth_to_water = { column = "Depth", unit = "ft" }')
    assert found["depth_to_water [ft]"] == ["3.1", "3.2 m", "3.3"]


def test_a_number_without_the_unit_that_its_cell_should_have_is_not_taken_for_metres(tmp_path):
    text = "Well,Depth\nA,3.5 ft\nB,3.2\n"
    found = events(tmp_path, text, 'depth_to_water = { column = "Depth", unit = "cell" }')
    assert found["depth_to_water [m]"] == ["1.0668", "3.2 (without a unit)"]


def test_two_digit_years_are_those_from_the_first_one_on(tmp_path):
    text = "Well,Date\nA,5/13/29\nB,5/13/68\nC,5/13/20\nD,2/29/00\n"
    rule = 'date = { column = "Date", formats = ["%m/%d/%y"], first_year = 1927 }'
    assert events(tmp_path, text, rule)["date"] == ["1929-05-13", "1968-05-13", "2020-05-13", "2000-02-29"]
