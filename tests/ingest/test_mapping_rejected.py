"""Rejected rows of an import, in their own headings and bytes, and last lines without their end."""

import codecs
import csv

import pandas as pd
import pytest
from openpyxl import Workbook

from gwnet.errors import FileRejectedError
from gwnet.ingest.mapping import excerpts, point_rows
from gwnet.ingest.mapping.excerpts import take_rows
from gwnet.ingest.mapping.grids import original_name, read_source
from gwnet.ingest.mapping.load import import_files
from gwnet.ingest.mapping.mapping import parse_mapping
from gwnet.store.fetch.registry import measuring_points

from .mapped import NOW, write

MAPPING = """
name = "m"
site = "S"
[source.t]
file = "{file}"
heading_row = 3
{source}
[[table]]
name = "level_events"
from = "t"
[table.columns]
well = "Well"
date = {{ column = "Day", formats = ["%d.%m.%Y"] }}
depth_to_water = {{ column = "Depth", unit = "m" }}
notes = "Remark"
"""
TEXT = (
    "Readings of the spring;;;\r\n\r\nWell;Day;Depth;Remark\r\nMW-1;12.03.2024;3,474;\r\n"
    'MW-9;13.03.2024;3,5;"two\r\nlines; Brücke"\r\nMW-2;14.03.2024;3,x;last\r\n'
)


def load(loader, path, text=MAPPING, **options):
    """Import a file by a mapping."""
    return import_files(loader.net.store, [str(path)], parse_mapping(text, "test"), now_utc=NOW, by="Ana", **options)


@pytest.mark.parametrize(
    ("encoding", "mark"),
    [("utf-8", b""), ("cp1252", b""), ("utf-8", codecs.BOM_UTF8), ("utf-16-be", codecs.BOM_UTF16_BE)],
)
def test_rejected_rows_keep_headings_lines_and_bytes_and_come_in_by_the_same_mapping(loader, encoding, mark):
    mapping = MAPPING.format(file="spring.csv", source='decimal = ","')
    path = loader.folder / "spring.csv"
    path.write_bytes(mark + TEXT.encode(encoding))
    target = loader.folder / "new" / "rejected"
    result = load(loader, path, mapping, keep_good=True, rejected_dir=target)
    rejected, problems = result.loaded.rejected_files
    kept = TEXT.replace("MW-1;12.03.2024;3,474;\r\n", "")
    assert (rejected.name, problems.name) == ("spring.rejected.csv", "spring.problems.csv")
    assert rejected.read_bytes() == mark + kept.encode(encoding)
    with problems.open(encoding="utf-8", newline="") as file:
        found = [
            (row["line"], row["line_of_source"], row["column"], row["value"], row["problem"])
            for row in csv.DictReader(file)
        ]
    assert found == [("4", "5", "Well", "MW-9", "well-unknown"), ("6", "7", "Depth", "3,x", "not-a-number")]
    rejected.write_bytes(mark + kept.replace("MW-9", "MW-1").replace("3,x", "3,6").encode(encoding))
    again = load(loader, rejected, mapping)
    assert [(file.added, file.rejected) for file in again.loaded.files] == [(2, 0)]
    assert loader.net.levels()["depth_to_water_m"].tolist() == [3.474, 3.5, 3.6]


def test_rows_of_a_sheet_become_csv_that_goes_back_to_the_same_sheet(loader):
    mapping = MAPPING.format(file="book.xlsx", source='sheet = "Spring 24"')
    book = Workbook()
    book.active.title = "Cover"
    book.active.append(["nothing here"])
    sheet = book.create_sheet("Spring 24")
    for row in (["Readings"], [], ["Well", "Day", "Depth", "Remark"]):
        sheet.append(row)
    for row in (["MW-1", "12.03.2024", 3.474, None], ["MW-9", "13.03.2024", 3.5, "a, b"]):
        sheet.append(row)
    book.save(loader.folder / "book.xlsx")
    result = load(loader, loader.folder / "book.xlsx", mapping, keep_good=True, rejected_dir=loader.folder)
    rejected, _ = result.loaded.rejected_files
    assert rejected.name == "book.xlsx.Spring 24.rejected.csv"
    assert rejected.read_text() == 'Readings\n\nWell,Day,Depth,Remark\nMW-9,13.03.2024,3.5,"a, b"\n'
    rejected.write_text(rejected.read_text().replace("MW-9", "MW-2"))
    assert load(loader, rejected, mapping).loaded.files[0].added == 1


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("a.csv", ("a.csv", "")),
        ("a.rejected.csv", ("a.csv", "")),
        ("a.rejected-3.csv", ("a.csv", "")),
        ("a.rejected.rejected.txt", ("a.txt", "")),
        ("a.rejected", ("a", "")),
        ("b.ods.North.rejected-2.csv", ("b.ods", "North")),
    ],
)
def test_the_file_that_rejected_rows_are_of(name, expected):
    assert original_name(name) == expected


def test_an_excerpt_says_where_each_line_is_now(tmp_path):
    file = read_source(write(tmp_path, "t.txt", "a b\n1 2\n3 4\n5 6"))
    excerpt = take_rows(file, file.grids[0], 1, {4, 2})
    assert (excerpt.stem, excerpt.suffix, excerpt.content) == ("t", ".txt", b"a b\n1 2\n5 6")
    assert excerpt.lines == {2: 2, 4: 3}


def test_a_cell_at_the_open_end_of_a_file_is_asked_about_where_the_mapping_reads_it(loader):
    plain = MAPPING.format(file="*", source="").replace("heading_row = 3", "").replace('notes = "Remark"\n', "")
    path = loader.folder / "r.csv"
    path.write_text("Well,Day,Remark,Depth\nMW-1,12.03.2024,,3.474\nMW-2,14.03.2024,,3.55")
    with pytest.raises(FileRejectedError) as caught:
        load(loader, path, plain)
    [found] = caught.value.rejections
    assert (found.row, found.column, found.value, found.problem) == (3, "Depth", "3.55", "line-not-ended")
    asked = []
    load(loader, path, plain, last_line_complete=lambda one: asked.append(one.place()) or True)
    assert asked == ["r.csv, row 3, column Depth"]
    assert loader.net.levels()["depth_to_water_m"].tolist() == [3.474, 3.55]


@pytest.mark.parametrize(
    ("end", "rejected"), [("3.5,ref", False), ("3.5,", False), ("3.5", True), ("", True), ('3.5,"ref"', False)]
)
def test_a_text_at_the_open_end_is_only_reported_and_a_lacking_cell_is_asked_about(loader, end, rejected):
    plain = MAPPING.format(file="*", source="").replace("heading_row = 3", "")
    path = loader.folder / "r.csv"
    path.write_text(f"Well,Day,Depth,Remark\nMW-1,12.03.2024,3.474,\nMW-2,14.03.2024,{end}")
    result = load(loader, path, plain, keep_good=True, rejected_dir=loader.folder)
    problems = {rejection.problem for rejection in result.loaded.rejections}
    assert ("line-not-ended" in problems) is rejected
    assert result.loaded.files[0].added == 2 - rejected
    said = [warning for warning in result.loaded.files[0].warnings if "has no line end" in warning]
    assert bool(said) is (not rejected and not end.endswith('"'))


@pytest.mark.slow
def test_the_last_cell_of_a_wide_table_without_an_end(loader):
    text = 'site = "S"\n[source.t]\nwide = { first = 2 }\n[[table]]\nname = "level_events"\nfrom = "t"\n'
    text += '[table.columns]\nwell = "well"\ndate = "Day"\ndepth_to_water = { column = "level", unit = "m" }\n'
    path = loader.folder / "w.csv"
    path.write_text("Day,MW-1,MW-2\n2024-03-12,3.474,4.1\n2024-03-13,3.5,4.2")
    with pytest.raises(FileRejectedError) as caught:
        load(loader, path, text)
    assert [(one.row, one.value) for one in caught.value.rejections] == [(3, "4.2")]


POINTS = """
name = "p"
site = "S"
[source.t]
[[table]]
name = "measuring_points"
from = "t"
changes = true
[table.columns]
well = "Well"
access = {{ value = "{access}" }}
valid_from = "Day"
elevation = {{ column = "Rim", unit = "m" }}
[[table]]
name = "level_events"
from = "t"
[table.columns]
well = "Well"
access = {{ value = "{access}" }}
date = "Day"
depth_to_water = {{ column = "Depth", unit = "m" }}
"""


def points_of(loader):
    """Return begin, end and elevation of the points of the tube at MW-1."""
    with loader.net.store.reading() as connection:
        frame = measuring_points(connection)
    frame = frame[frame["access"] == "tube"].sort_values("valid_from_utc")
    columns = zip(frame["valid_from_utc"], frame["valid_until_utc"], frame["elevation_m"], strict=True)
    days = [(begin, "" if pd.isna(end) else end, elevation) for begin, end, elevation in columns]
    local = [tuple(str(one.tz_convert("Europe/Vienna").date()) if one != "" else "" for one in row[:2]) for row in days]
    return [(*pair, row[2]) for pair, row in zip(local, days, strict=True)]


def test_the_next_file_of_readings_begins_no_new_point_where_its_elevation_is_in_force(loader):
    mapping = POINTS.format(access="tube")
    heading = "Well,Day,Rim,Depth\n"
    first = heading + "MW-1,2019-03-01,100,3.1\nMW-1,2020-03-01,100.2,3.3\nMW-1,2021-03-01,100.2,3.4\n"
    load(loader, write(loader.folder, "a.csv", first), mapping)
    later = heading + "MW-1,2022-03-01,100.2,3.2\nMW-1,2023-03-01,100.5,3.7\n"
    result = load(loader, write(loader.folder, "b.csv", later), mapping)
    assert [(file.added, file.unchanged) for file in result.loaded.files] == [(1, 1), (2, 0)]
    grown = first + later.replace(heading, "") + "MW-1,2024-03-01,100.5,3.9\n"
    result = load(loader, write(loader.folder, "c.csv", grown), mapping)
    assert [(file.added, file.unchanged) for file in result.loaded.files] == [(0, 3), (1, 5)]
    earlier = heading + "MW-1,2018-03-01,99.8,3.0\n"
    load(loader, write(loader.folder, "d.csv", earlier), mapping)
    assert points_of(loader) == [
        ("2018-03-01", "2019-03-01", 99.8),
        ("2019-03-01", "2020-03-01", 100.0),
        ("2020-03-01", "2023-03-01", 100.2),
        ("2023-03-01", "", 100.5),
    ]


def test_a_point_with_another_elevation_than_that_in_force_is_refused(loader):
    mapping = POINTS.format(access="tube")
    load(
        loader,
        write(loader.folder, "a.csv", "Well,Day,Rim,Depth\nMW-1,2019-03-01,100,3.1\nMW-1,2021-03-01,100,3\n"),
        mapping,
    )
    with pytest.raises(FileRejectedError) as caught:
        load(loader, write(loader.folder, "b.csv", "Well,Day,Rim,Depth\nMW-1,2020-03-01,100.3,3.1\n"), mapping)
    assert {one.problem for one in caught.value.rejections} == {"measuring-points-overlap"}


def test_a_reading_without_a_day_begins_no_measuring_point(loader):
    mapping = POINTS.format(access="tube")
    text = "Well,Day,Rim,Depth\nMW-1,2019-03-01,100,3.1\nMW-1,soon,100.3,3.1\n"
    path = write(loader.folder, "a.csv", text)
    result = load(loader, path, mapping, keep_good=True, rejected_dir=loader.folder)
    assert [(one.row, one.column) for one in result.loaded.rejections] == [(3, "Day")]
    assert points_of(loader) == [("2019-03-01", "", 100.0)]


def test_the_modules_are_those_that_are_meant():
    assert excerpts.take_rows
    assert point_rows.keep_changes
