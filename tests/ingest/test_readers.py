"""The bytes of a file to sheets of text."""

import io

import openpyxl
import pytest

from gwnet.errors import UnreadableFileError
from gwnet.ingest.readers import read_bytes, read_sheets
from gwnet.ingest.readers.delimited import read_delimited
from gwnet.ingest.readers.package import Package, plain_text
from gwnet.ingest.readers.sheet_cells import Cell, Workbook
from gwnet.ingest.readers.workbook import read_workbook


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_encoding_and_delimiter_are_found(encoding, delimiter):
    text = "aquifer,name\nupper,Kiesgrün\n".replace(",", delimiter)
    sheet = read_delimited("aquifers.csv", text.encode(encoding))
    assert (sheet.headings, sheet.rows, sheet.numbers) == (["aquifer", "name"], [["upper", "Kiesgrün"]], [2])
    assert sheet.delimiter == delimiter


def test_rows_are_counted_with_blank_ones_and_fitted_to_the_heading():
    sheet = read_delimited("aquifers.csv", b"aquifer,name\n\nupper\nlower,Lower,3\n")
    assert sheet.numbers == [3, 4]
    assert sheet.rows == [["upper", ""], ["lower", "Lower"]]
    assert [(problem.row, problem.problem) for problem in sheet.rejections] == [
        (3, "row-too-short"),
        (4, "row-too-long"),
    ]


def test_empty_cells_and_headings_at_the_end_count_for_nothing():
    sheet = read_delimited("aquifers.csv", b"aquifer,name,,\nupper,Upper,,,\nlower,Lower\n")
    assert (sheet.headings, sheet.rejections) == (["aquifer", "name"], [])
    assert sheet.rows == [["upper", "Upper"], ["lower", "Lower"]]


@pytest.mark.parametrize(
    ("end", "open_row"),
    [("\n", None), ("\r\n", None), ("\r", None), ("", 3), ("\n\n", None), ("\n  ", None)],
)
def test_a_last_line_without_its_end_is_known(end, open_row):
    assert read_delimited("a.csv", f"aquifer,name\nupper,Upper\nlower,Lower{end}".encode()).open_row == open_row


def test_a_quote_that_closes_the_last_cell_shows_that_the_row_is_whole():
    assert read_delimited("a.csv", b'aquifer,name\nupper,"Upper"').open_row is None
    assert read_delimited("a.csv", b"aquifer,name").open_row is None


def test_text_that_ends_within_a_sign_is_refused_and_not_read_as_other_text():
    content = "aquifer,name\nupper,Kiesgrün\nlower,Kiesgrün".encode()
    with pytest.raises(UnreadableFileError, match="in the middle of a sign"):
        read_delimited("aquifers.csv", content[: content.rfind(b"\xbc")])
    assert read_delimited("aquifers.csv", "aquifer,name\nupper,Café".encode("cp1252")).rows == [["upper", "Café"]]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b'aquifer,name\n"upper,Upper\n', "not well-formed"),
        (b"aquifer\x00", "zero bytes"),
        (b"\xef\xbb\xbf\xff", "byte-order mark"),
        (b"a" * 1_000_001, "Line 1"),
    ],
)
def test_what_is_no_text_table_is_refused(content, message):
    with pytest.raises(UnreadableFileError, match=message):
        read_delimited("aquifers.csv", content)


def workbook(**cells):
    book = openpyxl.Workbook()
    book.active.title = "aquifers"
    for place, value in cells.items():
        book.active[place] = value
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def test_cells_of_a_workbook_become_text_and_formulas_are_problems():
    content = workbook(A1="aquifer", B1="name", C1="(help)", A2="upper", B2=3.0, C2="=1+1", A3="lower", B3="=A2")
    (sheet,) = read_workbook("tables.xlsx", content)
    assert sheet.title == "aquifers"
    assert sheet.rows == [["upper", "3", ""], ["lower", "", ""]]
    assert [(problem.row, problem.column, problem.problem) for problem in sheet.rejections] == [(3, "name", "formula")]


def test_the_filled_cells_of_a_sheet_are_read_row_by_row():
    package = Package("tables.xlsx", workbook(A1="aquifer", C4=" ", B7="Upper", D7=2.5, E9="=B7"))
    (sheet,) = package.sheets
    assert (sheet.title, sheet.visible) == ("aquifers", True)
    assert list(Workbook(package).rows(sheet.part)) == [
        (1, [Cell(0, "aquifer")]),
        (7, [Cell(1, "Upper"), Cell(3, 2.5)]),
        (9, [Cell(4, "=B7", "formula")]),
    ]


def test_escaped_signs_of_a_text_are_read_as_themselves():
    assert plain_text("a_x000D_b_x005F_x0041_") == "a\rb_x0041_"


def test_the_ending_of_a_file_says_how_it_is_read():
    assert [sheet.title for sheet in read_sheets("aquifers.CSV", b"aquifer\nupper\n")] == ["aquifers"]
    assert len(read_sheets("tables.xlsx", workbook(A1="aquifer", A2="upper"))) == 1
    with pytest.raises(UnreadableFileError, match=r"Files ending in '\.pdf' are not read"):
        read_sheets("aquifers.pdf", b"x")
    with pytest.raises(UnreadableFileError, match="not a workbook"):
        read_sheets("tables.xlsx", b"aquifer\nupper\n")


def test_a_missing_or_empty_file_is_refused(tmp_path):
    with pytest.raises(UnreadableFileError, match="no such file"):
        read_bytes(tmp_path / "none.csv")
    (tmp_path / "empty.csv").write_bytes(b" \n")
    with pytest.raises(UnreadableFileError, match="is empty"):
        read_bytes(tmp_path / "empty.csv")
