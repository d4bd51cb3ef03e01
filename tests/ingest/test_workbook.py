import datetime as dt
import io
import tracemalloc
import zipfile

import pytest
import xlsxwriter
from openpyxl import Workbook, load_workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.styles import Font
from openpyxl.utils.datetime import MAC_EPOCH, WINDOWS_EPOCH

from gwnet.errors import UnreadableFileError
from gwnet.ingest.readers.workbook import cell_text, read_workbook

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


def shared(**sheets):
    """Return a workbook whose texts are shared between its cells."""
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream)
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for number, row in enumerate(rows):
            sheet.write_row(number, 0, row)
    book.close()
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


def changed(content, part, change):
    """Return a workbook with one of its parts changed; without it where the change gives None."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for item in old.infolist():
            data = change(old.read(item)) if item.filename == part else old.read(item)
            if data is not None:
                new.writestr(item.filename, data)
    return stream.getvalue()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/styles.xml", "_rels/.rels"])
def test_entities_are_refused_in_every_part_and_encoding(loader, part, encoding):
    def define(data):
        text = data.decode().partition("?>")[2] if data.startswith(b"<?xml") else data.decode()
        return f'<?xml version="1.0" encoding="{encoding}"?><!DOCTYPE w [<!ENTITY a "3">]>{text}'.encode(encoding)

    content = workbook(level_events=[HEADING, ["S", "MW-1", dt.date(2024, 3, 12), None, 3.4, None]])
    with pytest.raises(UnreadableFileError, match=f"{part}.*defines entities"):
        loader.text(changed(content, part, define), "round.xlsx")


@pytest.mark.parametrize("encoding", ["utf-7", "big5", "nothing"])
def test_an_encoding_that_no_workbook_has_is_said(loader, encoding):
    def declare(data):
        return f'<?xml version="1.0" encoding="{encoding}"?>{data.decode().partition("?>")[2]}'.encode()

    content = workbook(aquifers=[["aquifer", "name"], ["upper", "Upper"]])
    with pytest.raises(UnreadableFileError, match=r"Part 'xl/styles\.xml' of the workbook is damaged"):
        loader.text(changed(content, "xl/styles.xml", declare), "round.xlsx")


@pytest.mark.parametrize("part", ["xl/worksheets/sheet2.xml", "xl/sharedStrings.xml", "xl/styles.xml"])
def test_a_part_that_the_workbook_names_and_lacks_is_said(empty, part):
    aquifers = [["aquifer", "name"], ["upper", "Upper"]]
    content = shared(aquifers=aquifers, instruments=[["instrument", "kind"], ["T1", "electric tape"]])
    with pytest.raises(UnreadableFileError, match=f"names its part '{part}'.*lacks it"):
        empty.text(changed(content, part, lambda _: None), "network.xlsx")
    assert empty.text(content, "network.xlsx").written


def test_a_hidden_sheet_is_passed_over_and_said(empty):
    book = Workbook()
    book.active.title = "aquifers"
    for row in (["aquifer"], ["upper"]):
        book.active.append(row)
    hidden = book.create_sheet("instruments")
    hidden.append(["instrument", "kind"])
    hidden.sheet_state = "hidden"
    book.create_sheet("(lists)").sheet_state = "hidden"
    stream = io.BytesIO()
    book.save(stream)
    (done,) = empty.text(stream.getvalue(), "network.xlsx").files
    assert (done.table, done.added) == ("aquifers", 1)
    assert done.warnings == ("sheet 'instruments' is hidden and was passed over; show it if it is to be loaded",)


def test_an_empty_cell_far_out_costs_nothing(empty):
    book = Workbook()
    book.active.title = "aquifers"
    for row in (["aquifer", "name"], ["upper", "Upper"]):
        book.active.append(row)
    for row, column in ((1_048_576, 1), (5, 16_384)):
        book.active.cell(row, column).font = Font(bold=True)
    stream = io.BytesIO()
    book.save(stream)
    tracemalloc.start()
    (sheet,) = read_workbook("network.xlsx", stream.getvalue())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert (sheet.rows, sheet.numbers) == ([["upper", "Upper"]], [2])
    assert peak < 5_000_000


@pytest.mark.parametrize("written", ["١٣.٥", "１３.５", "1_3"])
def test_a_number_of_a_workbook_in_other_signs_is_refused(loader, written):
    content = workbook(level_events=[HEADING, ["S", "MW-1", dt.date(2024, 3, 12), None, 13.5, None]])
    other = changed(content, "xl/worksheets/sheet1.xml", lambda data: data.replace(b">13.5<", f">{written}<".encode()))
    (problem,) = {r.problem for r in loader.rejected(other, "round.xlsx")} - {"one-quantity-wanted"}
    assert problem == ("not-a-number" if written.isascii() else "other-digits")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b'<row r="2"', b'<row r="1"', "out of order"),
        (b'<row r="2"', b'<row r="2000000"', "out of order"),
        (b'r="B2"', b'r="A2"', "out of order"),
        (b'r="B2"', b'r="B3"', "out of order"),
        (b't="s"><v>0<', b't="s"><v>99<', "refers to text 99"),
        (b't="s"', b't="x"', "unknown kind"),
        (b't="s"', b't="inlineStr"', "something else than its kind 'inlineStr'"),
        (b"</sheetData>", b"", "damaged"),
    ],
)
def test_a_sheet_that_contradicts_itself_is_refused(empty, old, new, words):
    content = shared(aquifers=[["aquifer", "name"], ["upper", "Upper"]])
    broken = changed(content, "xl/worksheets/sheet1.xml", lambda data: data.replace(old, new, 1))
    assert broken != content
    with pytest.raises(UnreadableFileError, match=words):
        empty.text(broken, "network.xlsx")


def test_cells_are_read_as_a_general_library_reads_them():
    book = Workbook()
    sheet = book.active
    sheet.title = "aquifers"
    moments = [dt.datetime(2024, 3, 12, 9, 40, 12), dt.date(1999, 12, 31), dt.time(23, 59)]  # noqa: DTZ001
    values = [3.474, -7, 1e300, 0.1 + 0.2, "text", "_x0041_", "a\nb", "Kiesgrün", True, *moments, 12345678901234567890]
    sheet.append([f"h{n}" for n in range(len(values))])
    sheet.append(values)
    sheet.append([CellRichText("plain ", TextBlock(InlineFont(b=True), "bold"))])
    for columns, form in (("A", "0.00"), ("B", "dd/mm/yyyy"), ("C", "[h]:mm")):
        sheet[f"{columns}5"] = 41.5
        sheet[f"{columns}5"].number_format = form
    for epoch in (WINDOWS_EPOCH, MAC_EPOCH):
        book.epoch = epoch
        stream = io.BytesIO()
        book.save(stream)
        (own,) = read_workbook("a.xlsx", stream.getvalue())
        (other,) = load_workbook(io.BytesIO(stream.getvalue())).worksheets
        cells = [[cell_text(cell.value) for cell in row] for row in other.iter_rows(min_row=2)]
        expected = [row for row in cells if any(row)]
        expected[0][values.index("_x0041_")] = "A"  # an escaped sign, ECMA-376-1:2016, 22.9.2.19
        assert own.rows == expected
        assert own.numbers == [2, 3, 5]


def test_a_damaged_workbook(loader):
    content = workbook(level_events=[HEADING, ["S", "MW-1", dt.date(2024, 3, 12), None, 3.4, None]])
    for cut in (len(content) // 3, len(content) // 2, len(content) - 30):
        with pytest.raises(UnreadableFileError):
            loader.text(content[:cut], "round.xlsx")
