"""The parts that read logger files, each by itself."""

import numpy as np
import pytest

from gwnet.errors import IngestError, LayoutError, SettingsError
from gwnet.ingest.loggers.careful import NO_OFFSET, Careful, Oddities, Rows, joined
from gwnet.ingest.loggers.columns import numbers_of, place_of
from gwnet.ingest.loggers.fast import BlockReader
from gwnet.ingest.loggers.guess_columns import find_values
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_shape import decimal_of, find_table, footer_of, reference
from gwnet.ingest.loggers.layout import parse_layout
from gwnet.ingest.loggers.load import LoggerInstruction
from gwnet.ingest.loggers.open import Opening
from gwnet.ingest.loggers.plan import first_selected, fit, lacking_units, split_line
from gwnet.ingest.loggers.result import LoggerFileResult, LoggersResult
from gwnet.ingest.loggers.text import read_head
from gwnet.ingest.loggers.withdraw import withdraw

LAYOUT = """
[table]
heading_row = 1
[time]
column = "time"
zone = "UTC"
[[columns]]
quantity = "water column"
column = "level"
{unit}
[select]
column = "station"
"""
TEXT = "time,station,level\n" + "".join(f"2024-01-01 {n:02d}:00,N-{n % 2},{1 + n / 8}\n" for n in range(24))


@pytest.fixture
def path(tmp_path):
    (tmp_path / "x.csv").write_text(TEXT)
    return tmp_path / "x.csv"


def layout(unit='unit = "m"'):
    return parse_layout(LAYOUT.format(unit=unit))


def test_a_plan_has_the_places_and_the_first_selected_cell(path):
    head = read_head(path)
    plan = fit(layout(), head, only="N-1")
    assert (plan.heading_line, plan.first_line, plan.times, plan.places, plan.select) == (1, 2, (0,), (2,), (1, "N-1"))
    assert first_selected(layout(), head) == "N-0"
    assert lacking_units(layout(), head) == []
    assert [rule.quantity for rule in lacking_units(layout(""), head)] == ["water column"]
    assert split_line('a, "b, c" ,d', ",") == ["a", '"b', 'c"', "d"]


def test_rows_are_the_same_one_by_one_and_at_once(path):
    plan = fit(layout(), read_head(path), only="N-1")
    lines = TEXT.split("\n")[1:-1]
    odd, also = Oddities(), Oddities()
    slow = Careful(plan, odd).read(lines, range(2, 2 + len(lines)))
    (fast,) = BlockReader(plan, also, "utf-8").read("".join(f"{x}\n" for x in lines).encode(), 2, last=False)
    np.testing.assert_array_equal(slow.time_ms, fast.time_ms)
    np.testing.assert_array_equal(slow.values[0], fast.values[0])
    np.testing.assert_array_equal(slow.row, fast.row)
    assert +odd.counts == +also.counts == {"other": 12}


def test_parts_without_offsets_join_those_with():
    row = np.array([1])
    parts = [Rows(row, None, [row * 1.0], row), Rows(row, row * 60, [row * 2.0], row + 1)]
    assert joined(parts).offset_minutes.tolist() == [NO_OFFSET, 60]
    assert joined([]) is None


def test_columns_are_found_by_number_heading_or_pattern():
    names = ["Date Time", "Abs Pres, kPa", "Temp"]
    assert [place_of(what, names, "it", "x") for what in (2, "date  TIME", "/^Temp/")] == [1, 0, 2]
    with pytest.raises(LayoutError, match="Did you mean 'Temp'"):
        place_of("Tempp", names, "it", "x")
    assert numbers_of(["1,5", "x", "-2"], ",") == [1.5, -2.0]


def test_a_table_is_found_with_its_reasons(path):
    notes = Notes()
    shape = find_table(path, notes)
    assert (shape.delimiter, shape.heading_line, shape.first_line) == (",", 1, 2)
    assert notes.reasons == ["headings are in line 1; the table begins in 2", "cells are separated by a comma"]
    assert reference(shape, 2) == "level"
    shape.names[2], notes.reasons[:] = "level [m]", []
    guessed = find_values(shape, (0,), (".", ""), notes, "water column")
    assert [(rule.quantity, rule.column) for rule in guessed.rules] == [("water column", "level [m]")]
    assert guessed.select == 1
    assert footer_of(["2024-01-01 00:00,1", "End of data"], ",") == "End of data"
    assert decimal_of(["1.234,5"], ";", notes) == (",", ".")
    assert "between thousands" in notes.reasons[-1]


def test_opening_keeps_what_was_given_in_the_layout_of_the_file(path):
    file = Opening(layout(), only="N-1")(path)
    assert file.layout.select_value == "N-1"
    with pytest.raises(LayoutError, match="leaves doubts about its layout"):
        Opening()(path)


def test_a_refused_file_is_a_row_of_zeros_with_its_error():
    table = LoggersResult((LoggerFileResult("a.csv", error=IngestError("It is broken.")),)).frame()
    assert table[["file", "rows", "conflicts", "segment", "gaps"]].iloc[0].tolist() == ["a.csv", 0, 0, 0, 0]
    assert table["first_utc"].isna().all()
    assert "It is broken." in table["note"].iloc[0]


def test_a_withdrawal_needs_a_reason():
    request = LoggerInstruction("Ana", reason=" ")
    with pytest.raises(SettingsError, match="needs its reason"):
        withdraw(None, "a.csv", request)
