import datetime as dt
import io
import zipfile

import pytest
from openpyxl import Workbook

from gwnet.errors import UnreadableFileError

from .conftest import TABLES


def workbook(**sheets):
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


HEADING = ["site", "well", "date", "time", "depth_to_water", "notes"]


def test_sheets_are_tables_with_real_cells(loader):
    rows = [
        HEADING,
        ["S", "MW-1", dt.date(2024, 3, 12), dt.time(9, 40), 3.474, None],
        [None] * 6,
        ["S", "MW-2", dt.datetime(2024, 3, 12), "10:15", "4,1", "text cell"],  # noqa: DTZ001
        ["S", "MW-2", "13.03.2024", None, 4, 12],
    ]
    content = workbook(
        level_events=rows,
        thresholds=[["site", "well", "threshold", "kind", "water_elevation"], ["S", "MW-1", 7, "lower", 95]],
    )
    found = loader.rejected(content, "round.xlsx")
    assert [(r.problem, r.row, r.file) for r in found] == [("other-decimal-mark", 4, "round.xlsx [level_events]")]
    rows[3][4] = "4.1"
    result = loader.text(workbook(level_events=rows), "round.xlsx")
    assert result.files[0].added == 3
    levels = loader.net.levels()
    assert levels["measured_at"].tolist() == ["2024-03-12T09:40+01:00", "2024-03-12T10:15+01:00", "2024-03-13"]
    assert levels["depth_to_water_m"].tolist() == [3.474, 4.1, 4.0]


def test_a_whole_network_in_one_workbook(empty):
    sheets = {}
    for name, text in TABLES.items():
        sheets[name] = [line.split(",") for line in text.splitlines()]
    result = empty.text(workbook(**dict(reversed(sheets.items()))), "network.xlsx")
    assert [f.table for f in result.files] == list(TABLES)
    assert len(empty.net.wells()) == 2


def test_a_formula_is_not_a_reading(loader):
    rows = [HEADING, ["S", "MW-1", dt.date(2024, 3, 12), None, "=3+0.474", None]]
    (found,) = (r for r in loader.rejected(workbook(level_events=rows), "round.xlsx") if r.problem == "formula")
    assert found.column == "depth_to_water"
    assert found.value == "=3+0.474"
    assert "Cell E2" in found.message


def test_an_error_value_is_stated(loader):
    rows = [HEADING, ["S", "MW-1", dt.date(2024, 3, 12), None, "#DIV/0!", None]]
    assert "error-cell" in {r.problem for r in loader.rejected(workbook(level_events=rows), "round.xlsx")}


def test_a_cell_beyond_the_headings_is_stated(loader):
    rows = [HEADING, ["S", "MW-1", dt.date(2024, 3, 12), None, 3.4, None, "what is this"]]
    assert {r.problem for r in loader.rejected(workbook(level_events=rows), "round.xlsx")} == {"row-too-long"}


def test_an_empty_workbook(loader):
    with pytest.raises(UnreadableFileError, match="no filled sheet"):
        loader.text(workbook(level_events=[]), "round.xlsx")


def test_text_that_calls_itself_a_workbook(loader):
    with pytest.raises(UnreadableFileError, match="not a workbook"):
        loader.text(b"site,well\n", "round.xlsx")


def test_a_workbook_that_unpacks_to_far_too_much(loader):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 50_000_000)
    with pytest.raises(UnreadableFileError, match="unpacks to"):
        loader.text(stream.getvalue(), "round.xlsx")


def test_a_workbook_with_entities(loader):
    content = workbook(level_events=[HEADING])
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(stream, "w") as new:
        for item in old.infolist():
            data = old.read(item)
            if item.filename == "xl/workbook.xml":
                data = data.replace(b"<workbook", b'<!DOCTYPE w [<!ENTITY a "aaaa">]><workbook', 1)
            new.writestr(item.filename, data)
    with pytest.raises(UnreadableFileError, match="defines entities"):
        loader.text(stream.getvalue(), "round.xlsx")


def test_a_damaged_workbook(loader):
    content = workbook(level_events=[HEADING, ["S", "MW-1", dt.date(2024, 3, 12), None, 3.4, None]])
    for cut in (len(content) // 3, len(content) // 2, len(content) - 30):
        with pytest.raises(UnreadableFileError):
            loader.text(content[:cut], "round.xlsx")
