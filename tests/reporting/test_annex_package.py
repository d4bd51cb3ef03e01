"""The annex as a Data Package and as a workbook.

Checked against the outside: frictionless (a general-purpose library of the Data Package standard, datapackage.org
version 2) and openpyxl.
"""

import csv
import dataclasses
import io
import json

import pytest
from openpyxl import load_workbook

from gwnet.reporting.annex.files import annex_files
from gwnet.reporting.annex.package import data_package
from gwnet.reporting.annex.workbook import annex_workbook

PREFIX = "quarterly_HOL_2026-Q1"


def files_of(view):
    return {f"{PREFIX}_{name}": content for name, content in annex_files(view).items()}


@pytest.fixture
def written(view24, tmp_path):
    files = files_of(view24)
    files[f"{PREFIX}_map_U.gpkg"] = b"not looked into"
    descriptor = tmp_path / f"{PREFIX}.datapackage.json"
    descriptor.write_bytes(data_package(view24, files, prefix=PREFIX, program="gwnet 9.9"))
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    return descriptor


def report_of(descriptor):
    from frictionless import Package

    return Package(str(descriptor)).validate()


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # the validator's own dependencies warn
def test_the_validator_finds_nothing_wrong(written):
    report = report_of(written)
    assert report.flatten(["title", "fieldName", "rowNumber", "message"]) == []
    assert len([task for task in report.tasks if task.type == "table"]) == 14


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("file", "old", "new", "error"),
    [
        ("levels_of_period.csv", b"HW-001", b"HW-999", "hash-count"),
        ("wells.csv", b"HOL,HW-002", b"HOL,HW-001", "primary-key"),
        ("thresholds.csv", b"HW-001", b"HW-999", "foreign-key"),
        ("wells.csv", b"500000.000", b"somewhere.", "type-error"),
    ],
)
def test_the_validator_sees_a_changed_byte_a_repeated_key_an_unknown_well_and_a_word_for_a_number(
    written, file, old, new, error
):
    path = written.parent / f"{PREFIX}_{file}"
    content = path.read_bytes()
    assert old in content
    path.write_bytes(content.replace(old, new))
    if error != "hash-count":  # look past the digest at the cells
        package = json.loads(written.read_text())
        for resource in package["resources"]:
            resource.pop("hash")
            resource.pop("bytes")
        written.write_text(json.dumps(package))
    found = {row[0] for row in report_of(written).flatten(["type"])}
    assert error in found


def test_every_length_says_its_unit_and_what_it_is(view24, written):
    package = json.loads(written.read_text(encoding="utf-8"))
    (levels,) = [one for one in package["resources"] if one["name"] == "levels_of_period"]
    fields = {field["name"]: field for field in levels["schema"]["fields"]}
    assert fields["water_elevation_m"] == {
        "name": "water_elevation_m",
        "type": "number",
        "unit": "m",
        "description": "Positive upward from the vertical datum.",
    }
    assert fields["usable"]["type"] == "boolean"
    assert levels["schema"]["foreignKeys"][0]["reference"] == {"resource": "wells", "fields": ["site", "well"]}
    assert "local datum 1990" in package["description"]


def test_the_workbook_holds_the_same_rows_as_the_files(view24):
    files = files_of(view24)
    book = load_workbook(io.BytesIO(annex_workbook(view24, files, prefix=PREFIX, program="gwnet 9.9")))
    assert book.sheetnames[0] == "about"
    assert len(book.sheetnames) == 1 + len(files)
    for name, content in files.items():
        short = name.removeprefix(f"{PREFIX}_").removesuffix(".csv")[:31]
        rows = list(csv.reader(io.StringIO(content.decode(), newline="")))
        cells = list(book[short].iter_rows(values_only=True))
        assert list(cells[0]) == rows[0]
        assert len(cells) == len(rows)
        for row, given in zip(cells[1:], rows[1:], strict=True):
            for cell, text in zip(row, given, strict=True):
                assert (
                    cell is None
                    if text == ""
                    else (float(text) == cell if isinstance(cell, float | int) else cell == text)
                )


@pytest.mark.parametrize("text", ["=1+1", "+1", "@SUM(A1)", "=HYPERLINK(1)", "https://example.org", "0815", "-3"])
def test_text_stays_text_in_the_workbook(view24, text):
    wells = view24.wells.assign(purpose=text)
    view = dataclasses.replace(view24, wells=wells)
    book = load_workbook(io.BytesIO(annex_workbook(view, files_of(view), prefix=PREFIX, program="gwnet 9.9")))
    column = [cell.value for cell in book["wells"][1]].index("purpose")
    cell = book["wells"][2][column]
    assert (cell.value, cell.data_type, cell.hyperlink) == (text, "s", None)


def test_the_same_annex_gives_the_same_bytes(view24):
    files = files_of(view24)
    for make in (annex_workbook, data_package):
        assert make(view24, files, prefix=PREFIX, program="p") == make(view24, files, prefix=PREFIX, program="p")


def test_long_and_equal_sheet_names_stay_apart():
    from gwnet.reporting.annex.workbook import _sheet_names

    names = _sheet_names(
        ["map_control_a_very_long_aquifer_name_1", "map_control_a_very_long_aquifer_name_2", "about", "a/b"]
    )
    assert len({name.lower() for name in names.values()}) == 4
    assert max(map(len, names.values())) <= 31
    assert not set("".join(names.values())) & set("[]:*?/\\")
