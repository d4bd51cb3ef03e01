"""The field workbook: headings, help, drop-downs, refusals, and its formulas as a spreadsheet program works them out."""

import csv
import dataclasses
import datetime as dt
import io
import shutil
import subprocess
import zipfile

import pytest
from openpyxl import load_workbook

from gwnet.analysis.fieldwork.field_sheet import FieldSheet
from gwnet.exchange.field_validation import WITHOUT_DEPTH
from gwnet.exchange.field_workbook import SPARE_ROWS, field_workbook
from gwnet.ingest.readers import read_sheets
from gwnet.ingest.tables.raw import recognise, split_heading
from gwnet.store.columns import QUALITIES
from gwnet.store.contract import BY_NAME, STATUSES
from gwnet.store.snapshot import Snapshot

from ..products.conftest import planned
from ..products.field_books import FieldBook
from ..products.field_record import field_network


@pytest.fixture(scope="module")
def sheet(tmp_path_factory) -> FieldSheet:
    from gwnet.products.field_sheets import gather

    with field_network(tmp_path_factory.mktemp("field")) as net:
        planned(net)
        with net.store.reading() as connection:
            return gather(Snapshot(connection).of_site(), "2026-Q2")


@pytest.fixture(scope="module")
def content(sheet):
    return field_workbook(sheet)


def validation(book, well, name):
    cell = book.cell(well, name).coordinate
    found = [rule for rule in book.sheet.data_validations.dataValidation if cell in rule.sqref]
    assert len(found) == 1, (well, name)
    return found[0]


def test_the_headings_are_those_of_the_table_with_the_site_s_unit(content):
    table = BY_NAME["level_events"]
    headings = [heading for heading in FieldBook(content).headings if not heading.startswith("(")]
    for heading in headings:
        name, unit = split_heading(heading)
        column = table.column(name)
        assert unit == ("m" if column.kind == "length" else column.unit or None)
    left_out = set(table.names) - {split_heading(heading)[0] for heading in headings}
    not_of_a_round = {"measured_at", "depth_below_ground", "water_elevation", "event", "chosen_reading"}
    assert left_out == not_of_a_round | {
        *("tape_at_mark", "tape_at_water", "tape_temperature", "tape_tension", "accuracy", "accuracy_1sd")
    }


def test_the_loader_sees_one_table_without_a_warning(content):
    [raw] = read_sheets("field.xlsx", content)
    table = recognise(raw)
    assert (raw.title, table.table.name, table.warnings, raw.rejections) == ("level_events", "level_events", [], [])
    assert len(raw.rows) == 6


def test_what_is_known_is_filled_in_and_the_rest_is_empty(content):
    book = FieldBook(content)
    for well in book.rows:
        assert [book.cell(well, n).value for n in ("site", "round", "access")] == ["F", "2026-Q2", "main"]
        assert book.cell(well, "date").value == dt.datetime(2026, 5, 12)  # noqa: DTZ001 (what the library reads)
        for name in ("time", "status", "depth_to_water", "depth_to_water_2", "sounded_depth", "quality", "notes"):
            assert book.cell(well, name).value is None
    assert book.cell("A1", "(last depth").value == 3.66
    assert book.cell("A1", "(bottom").value == 12.5
    assert "HAZARDS: Dog on the loose" in book.cell("A2", "(hazards and access)").value


def test_headings_and_known_cells_are_locked_and_the_others_are_free(content):
    book = FieldBook(content)
    assert book.sheet.protection.sheet
    assert all(cell.protection.locked for cell in book.sheet[1])
    for name in ("site", "well", "round", "access", "(look again)", "(expected from"):
        assert book.cell("A1", name).protection.locked, name
    for name in ("date", "time", "status", "depth_to_water", "depth_to_water_3", "instrument", "quality", "notes"):
        assert not book.cell("A1", name).protection.locked, name
    assert not book.cell("A2", "access").protection.locked, "A2 has two accesses"
    spare = max(book.rows.values()) + 1
    assert not book.sheet.cell(spare, book.place("well")).protection.locked


def test_words_are_chosen_from_lists_that_are_those_of_the_loader(content):
    book = FieldBook(content)
    lists = book.book["(lists)"]
    assert lists.sheet_state == "hidden"
    for name, words in (("status", STATUSES), ("quality", QUALITIES), ("instrument", ("T1", "T2"))):
        rule = validation(book, "A1", name)
        assert rule.type == "list"
        area = rule.formula1.split("!")[1].replace("$", "")
        assert tuple(row[0].value for row in lists[area]) == words
    assert validation(book, "A2", "access").formula1 == '"main,dip tube"'
    assert [s for s in WITHOUT_DEPTH if s not in STATUSES] == []
    assert set(WITHOUT_DEPTH) >= {"dry", "no access", "not measured", "obstructed", "destroyed"}


def test_the_cell_of_a_reading_says_what_to_expect_and_why_it_warns(content):
    book = FieldBook(content)
    rule = validation(book, "A1", "depth_to_water")
    assert rule.prompt == (
        "In m below the measuring point. Last 3.660 on 2025-11-12. Expected 3.111 to 3.349 (7 levels of this season). "
        "Bottom 12.500."
    )
    assert rule.errorStyle == "warning", "who has looked again may keep what is right"
    assert "fewer than 5 levels" in validation(book, "NEW", "depth_to_water").prompt
    assert "within 0.006 m" in validation(book, "A1", "depth_to_water_2").prompt


def test_messages_keep_to_what_a_spreadsheet_program_takes(sheet):
    wells = sheet.wells.assign(access="a" * 150, other_accesses="b" * 190, bottom_source="x" * 300)
    book = FieldBook(field_workbook(dataclasses.replace(sheet, wells=wells, time_zone="z" * 300)))
    rules = book.sheet.data_validations.dataValidation
    assert len(rules) > 50
    for rule in rules:
        assert len(rule.prompt or "") <= 255
        assert len(rule.error or "") <= 255
        assert len(rule.promptTitle or "") <= 32
        assert len(rule.formula1 or "") <= 255


def test_text_of_the_record_never_runs_as_a_formula(sheet):
    evil = '=HYPERLINK("http://example.org","x")'
    wells = sheet.wells.assign(hazards=evil, access_notes="+1+1", well=["=1+1", "@SUM(1)", "-2", "A4", "A5", "NEW"])
    changed = dataclasses.replace(sheet, wells=wells, crew=evil, notes=evil, tapes=("=1+1",), site_name=evil)
    book = load_workbook(io.BytesIO(field_workbook(changed)))
    formulas = {
        (page.title, page.cell(1, cell.column).value if page.title == "level_events" else cell.value[:10])
        for page in book.worksheets
        for row in page.iter_rows()
        for cell in row
        if cell.data_type == "f"
    }
    assert formulas == {
        ("level_events", "(look again)"),
        ("level_events", "(state)"),
        ("(instructions)", "=COUNTIF(l"),
    }


def test_the_same_content_gives_the_same_bytes(sheet, content):
    assert field_workbook(sheet) == content
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert "2026-05-04T09:00:00Z" in archive.read("docProps/core.xml").decode()


def test_a_round_of_several_days_has_its_days_to_choose(sheet):
    longer = dataclasses.replace(sheet, ends_on=dt.date(2026, 5, 14))
    book = FieldBook(field_workbook(longer))
    assert book.cell("A1", "date").value is None, "a day that was not said is never guessed"
    rule = validation(book, "A1", "date")
    assert rule.type == "date"
    assert rule.operator in (None, "between"), "between is what no operator means"
    assert float(rule.formula2) - float(rule.formula1) == 2.0


def test_no_wells_and_no_tapes_make_a_workbook_all_the_same(sheet):
    bare = dataclasses.replace(sheet, wells=sheet.wells.iloc[:0], earlier=sheet.earlier.iloc[:0], tapes=())
    book = FieldBook(field_workbook(bare))
    assert book.rows == {}
    assert book.sheet.max_row == 1 + SPARE_ROWS


# --- as a spreadsheet program works it out ----------------------------------------------------------------------

#: What is typed into the row of A1, and what its cells must say; the expected range is 3.111 to 3.349, bottom 12.5.
TYPED = [
    ({}, "", ""),
    ({"status": "static", "depth_to_water": 3.24, "depth_to_water_2": 3.242}, "complete", ""),
    # 6 mm apart agree, 7 mm do not: the tolerance of 0.02 ft is 6.1 mm (USGS TM 1-A1 p. 6-8)
    ({"depth_to_water": 3.24, "depth_to_water_2": 3.246}, "complete", ""),
    ({"depth_to_water": 3.24, "depth_to_water_2": 3.247}, "look again", "The readings differ by 0.007 m: read again."),
    ({"depth_to_water": 3.24}, "look again", "The second reading is missing."),
    ({"depth_to_water_2": 3.24}, "look again", "Fill the readings from the left."),
    (
        {"depth_to_water": 3.42, "depth_to_water_2": 3.42},
        "look again",
        "Outside the range expected for the season: look again.",
    ),
    (
        {"depth_to_water": 32.4, "depth_to_water_2": 32.4},
        "look again",
        "Outside the range expected for the season: look again. Deeper than the bottom of the well.",
    ),
    ({"depth_to_water": "3,24", "depth_to_water_2": 3.24}, "look again", "A depth is not a number."),
    ({"status": "no access"}, "complete", ""),
    (
        {"status": "dry", "depth_to_water": 3.24, "depth_to_water_2": 3.24},
        "look again",
        "A well that is dry has no depth.",
    ),
    ({"status": "static"}, "look again", "A static level needs its depth."),
    ({"notes": "Gate locked"}, "look again", "There is neither a reading nor a status."),
    (
        {"depth_to_water": 3.24, "depth_to_water_2": 3.24, "depth_to_product": 3.3},
        "look again",
        "Product floats above the water: check both depths.",
    ),
    (
        {"depth_to_water": 3.24, "depth_to_water_2": 3.24, "sounded_depth": 11.9},
        "look again",
        "The bottom is 0.600 m off the last: sound again.",
    ),
    ({"depth_to_water": 3.24, "depth_to_water_2": 3.24, "sounded_depth": 12.4}, "complete", ""),
    (
        {"status": "static", "depth_to_water": 3.24, "depth_to_water_2": 3.24, "date": None},
        "look again",
        "The date is missing.",
    ),
    (
        {"depth_to_water": -0.2, "depth_to_water_2": -0.2},
        "look again",
        "Outside the range expected for the season: look again. A depth below zero needs the status flowing.",
    ),
]


def worked_out(book, folder):
    """Return the cells of the sheet as a spreadsheet program works them out, by row and heading."""
    program = shutil.which("soffice")
    if program is None:
        pytest.skip("no spreadsheet program is installed (Debian: libreoffice-calc-nogui)")
    path = book.save(folder / "typed.xlsx")
    form = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
    home = f"-env:UserInstallation={(folder / 'home').as_uri()}"
    command = [program, home, "--headless", "--convert-to", form, "--outdir", str(folder), str(path)]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    with (folder / "typed-level_events.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    instructions = (folder / "typed-(instructions).csv").read_text(encoding="utf-8")
    return rows, instructions


@pytest.mark.slow
def test_the_cells_say_at_once_what_does_not_fit(sheet, tmp_path):
    """Every case stands in a row of its own; a spreadsheet program works the formulas out."""
    one = sheet.wells[sheet.wells["well"] == "A1"]
    wells = one.loc[one.index.repeat(len(TYPED))].reset_index(drop=True)
    book = FieldBook(field_workbook(dataclasses.replace(sheet, wells=wells)))
    for row, (typed, _, _) in enumerate(TYPED, start=2):
        book.fill_row(row, **typed)
    rows, instructions = worked_out(book, tmp_path)
    found = [(row["(state)"], row["(look again)"]) for row in rows[: len(TYPED)]]
    assert found == [(state, words) for _, state, words in TYPED]
    complete = sum(state == "complete" for _, state, _ in TYPED)
    again = sum(state == "look again" for _, state, _ in TYPED)
    assert f"Complete,{complete} of {len(TYPED)}" in instructions
    assert f"To be looked at again,{again}" in instructions
