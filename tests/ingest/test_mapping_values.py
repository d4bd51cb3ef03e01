"""Values of a mapping that cannot be what they must, and rows that a copy cut short, are refused in words."""

import tomllib

import pytest

from gwnet.errors import FileRejectedError, LayoutError
from gwnet.ingest.mapping.load import import_files
from gwnet.ingest.mapping.mapping import KEYS, parse_mapping
from gwnet.ingest.mapping.values import TESTS, has_control_signs, has_groups, is_encoding, is_reference, wrong_value
from gwnet.network import Network, init

from .conftest import TABLES
from .mapped import EVENTS, NOW, applied, columns, events, imported

RULES = """
date = "Date"
time = "Time"
depth_to_water = { column = "Depth", unit = "ft" }
"""
LEVELS = "Well,Date,Time,Depth\nMW-1,2024-03-12,09:30,12.34\nMW-2,2024-03-12,10:30,13.25\n"


def refused(rule="", source="", top=""):
    """Return what is said of a mapping that is refused."""
    with pytest.raises(LayoutError) as caught:
        parse_mapping(top + EVENTS.format(source=source, columns=rule), "test")
    assert caught.value.fix
    return caught.value.message


@pytest.mark.parametrize(
    ("rule", "place"),
    [
        ('date = "/((((/"', "level_events, date: column"),
        ("date = 0", "level_events, date: column"),
        ("date = 1.5", "level_events, date"),
        ("date = []", "level_events, date: column"),
        ('date = [["x"]]', "level_events, date: column"),
        ("date = { value = [7] }", "level_events, date: value"),
        ('date = { column = "D", pattern = "(((" }', "level_events, date: pattern"),
        ('date = { column = "D", pattern = "no group" }', "level_events, date: pattern"),
        ('date = { file = "no group" }', "level_events, date: file"),
        ('date = { column = "D", plus = ["x"] }', "level_events, date: plus"),
        ('depth_to_water = { column = "D", factor = 0 }', "level_events, depth_to_water: factor"),
        ('depth_to_water = { column = "D", factor = inf }', "level_events, depth_to_water: factor"),
        ('date = { column = "D", words = { a = [] } }', "level_events, date: words"),
        ('date = { column = "D", missing = [{}] }', "level_events, date: missing"),
        ('date = { column = "D", only = { column = "D", matches = "[" } }', "matches"),
        ('date = { column = "D", only = { column = [] } }', "column"),
        ('date = { column = "D", lookup = { from = "t", key = {}, value = 1 } }', "lookup"),
        ('date = { column = "D", lookup = { from = [], key = 1, value = 1 } }', "lookup"),
        ('date = { value = "\\u0000" }', "table: a text has a sign that cannot be printed"),
    ],
)
def test_a_rule_with_a_value_that_cannot_be_is_refused_with_its_place(rule, place):
    assert place in refused(rule)


@pytest.mark.parametrize(
    "source",
    [
        'widths = ["x"]',
        "widths = [0]",
        "heading_row = -1",
        'delimiter = "ab"',
        "delimiter = '\"'",
        'thousands = "1"',
        'encoding = "\\t"',
        'encoding = "hex"',
        "missing = [[]]",
        'pass_over = ["x"]',
        "wide = { first = 2, heading = 7 }",
        'wide = { first = "x" }',
        "wide = { first = true }",
    ],
)
def test_a_source_with_a_value_that_cannot_be_is_refused(source):
    assert refused(source=source).startswith("[source.t]")


@pytest.mark.parametrize(
    "text",
    [
        "source = 7",
        'source = { t = "x" }',
        "table = 7",
        'table = { name = "wells" }',
        "site = 7\n[[table]]\nname = 'wells'",
        "[[table]]\nname = 'wells'\ngiven = ['x']",
        "[[table]]\nname = 'wells'\ngiven = [{ wel = 'x' }]",
        "[[table]]\nname = 'wells'\ngiven = [{ well = [] }]",
    ],
)
def test_parts_of_another_kind_are_refused(text):
    tomllib.loads(text)
    with pytest.raises(LayoutError):
        parse_mapping(text, "test")


def test_every_test_is_of_a_key_and_says_what_is_wanted():
    assert all(key in KEYS[part] and words for (part, key), (_, words) in TESTS.items())
    assert wrong_value("rule", "factor", 2.0) == ""
    assert wrong_value("rule", "factor", 0) == "a number other than 0"
    assert is_reference("/^Depth/")
    assert has_groups("(a)", 1)
    assert is_encoding("cp1252")
    assert not has_control_signs({"a": ["b\tc\n"]})


def test_a_row_with_fewer_cells_than_headings_is_rejected(tmp_path):
    cut = LEVELS.replace(",10:30,13.25", "")
    result = applied(tmp_path, cut, EVENTS.format(source="", columns=RULES))
    [[(_, sheet)]] = [table.sheets for table in result.tables]
    [rejection] = sheet.rejections
    assert (rejection.row, rejection.problem) == (3, "row-too-short")
    assert "has 2 cells, the heading 4; nothing stands under 'Time'" in rejection.message
    assert columns(result)["well"] == ["MW-1"]


def test_digits_of_other_scripts_are_no_numbers_where_numbers_are_reckoned(tmp_path):
    """Decimal reads the digits of every script, and a factor would hide that they were there."""
    text = LEVELS.replace("12.34", "١٢.٣٤")
    made = events(tmp_path, text, 'depth_to_water = { column = "Depth", factor = 2 }')
    assert made["depth_to_water"] == ["١٢.٣٤", "26.5"]
    made = events(tmp_path, LEVELS.replace("12.34", "١٢ ft"), 'depth_to_water = { column = "Depth", unit = "cell" }')
    assert made["depth_to_water [m]"][0] == "١٢ ft"


def test_a_number_that_no_column_takes_stays_one_when_it_is_reckoned(tmp_path):
    made = events(tmp_path, LEVELS.replace("12.34", "1E99"), 'depth_to_water = { column = "Depth", unit = "in" }')
    assert float(made["depth_to_water [m]"][0]) == pytest.approx(2.54e97)


@pytest.fixture
def net(tmp_path):
    """Give an open record with two wells."""
    folder = tmp_path / "first"
    folder.mkdir()
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text)
    init(tmp_path / "r.sqlite")
    with Network(tmp_path / "r.sqlite") as network:
        network.load([folder], by="Ana", now_utc=NOW)
        yield network


def test_a_last_line_without_its_end_is_refused_unless_it_is_said_to_be_complete(net, tmp_path):
    mapping = EVENTS.format(source="", columns=RULES)
    with pytest.raises(FileRejectedError) as caught:
        imported(net, tmp_path, mapping, t=LEVELS.rstrip("\n"))
    [rejection] = caught.value.rejections
    assert (rejection.row, rejection.column, rejection.problem) == (3, "Depth", "line-not-ended")
    assert "'13.25' and may have been longer" in rejection.message
    asked = []
    done = import_files(
        net.store,
        [str(tmp_path / "t.csv")],
        parse_mapping(mapping, "test"),
        by="Ana",
        last_line_complete=lambda one: not asked.append(one),
    )
    assert [one.row for one in asked] == [3]
    assert done.loaded.files[0].added == 2
    assert done.loaded.files[0].warnings == ("row 3, the last line, has no line end; it was taken as complete",)


def test_the_end_of_the_last_line_is_asked_for_where_its_last_cell_is_read(net, tmp_path):
    """Another table of the same rows, which reads other cells, loses nothing by a cut there."""
    mapping = EVENTS.format(source="", columns=RULES.replace('time = "Time"\n', ""))
    text = "Well,Date,Depth,Remark\nMW-1,2024-03-12,12.34,ok\nMW-2,2024-03-12,13.25,o"
    [said] = imported(net, tmp_path, mapping, t=text).loaded.files[0].warnings
    assert said.endswith("nothing shows that something is missing")
