"""The workbook and the PDF of a pumping test: headings of the tables, a schedule, and a way back in as they are."""

import datetime as dt
import io

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from gwnet.analysis.fieldwork.pumping_sheet import TEST_CAUTIONS, pumping_sheet
from gwnet.exchange.pumping_workbook import RATE_ROWS, SPARE_ROWS, pumping_workbook
from gwnet.ingest.tables.raw import split_heading
from gwnet.products.pumping import write_pumping_sheet
from gwnet.reporting.pdf.pumping_sheet import pumping_sheet_pdf
from gwnet.store.contract import BY_NAME
from gwnet.store.snapshot import Snapshot

from ..pumping_record import FIRST, pumping_network

#: A test that is planned and not made yet.
PLANNED = {
    "pumping_tests": "site,test,well,kind,starts_at,stops_at\nS,PT-2,PW,constant rate,2026-05-04T08:00,2026-05-04T12:00\n",
    "pumping_rates": None,
    "pumping_readings": None,
}


@pytest.fixture
def planned(tmp_path):
    with pumping_network(tmp_path / "planned", **PLANNED) as net:
        yield net


def sheet_of(net, wells=None):
    with net.store.reading() as connection:
        return pumping_sheet(Snapshot(connection).of_site(), "PT-2", wells)


@pytest.mark.slow
def test_headings_of_the_workbook_are_those_of_the_tables(planned):
    sheet = sheet_of(planned)
    content = pumping_workbook(sheet)
    assert content == pumping_workbook(sheet)
    book = load_workbook(io.BytesIO(content))
    for name in ("pumping_rates", "pumping_readings"):
        headings = [cell.value for cell in book[name][1] if not cell.value.startswith("(")]
        for heading in headings:
            column, unit = split_heading(heading)
            declared = BY_NAME[name].column(column)
            assert unit == (("m" if declared.kind == "length" else declared.unit) if unit else None)
    assert book["pumping_rates"].max_row == RATE_ROWS + 1
    planned_rows = sum(len(sheet.schedule[kind]) + SPARE_ROWS for kind in sheet.wells["kind"])
    assert book["pumping_readings"].max_row == planned_rows + 1


def test_a_workbook_that_was_filled_in_loads_as_it_is(planned, tmp_path):
    (path,) = (path for path in planned.pumping.sheet("PT-2", tmp_path / "out") if path.suffix == ".xlsx")
    book = load_workbook(path)
    rates, readings = book["pumping_rates"], book["pumping_readings"]
    rates.cell(2, 4, dt.datetime(2026, 5, 4, 8, 0))  # noqa: DTZ001 (local time of a cell)
    rates.cell(2, 5, 7.5)
    rates.cell(2, 6, "bucket and time")
    rates.cell(2, 7, 150)
    rates.cell(2, 8, 20)
    names = [str(cell.value).partition(" ")[0] for cell in readings[1]]

    def fill(row, **cells):
        for name, value in cells.items():
            readings.cell(row, names.index(name) + 1, value)

    fill(2, date=dt.date(2026, 5, 4), time=dt.time(7, 0), depth_to_water=5.01)
    fill(9, elapsed=1.5, set_depth=6.2, passed="falling", observer="Ben")
    fill(10, date=dt.date(2026, 5, 4), time=dt.time(8, 2, 30), depth_to_water=6.41)
    book.save(path)
    result = planned.load([path], by="Ana", now_utc=FIRST + dt.timedelta(days=60))
    assert {file.table: file.added for file in result.files} == {"pumping_rates": 1, "pumping_readings": 3}
    assert result.rejections == ()
    with planned.store.reading() as connection:
        stored = Snapshot(connection).pumping_readings
    assert sorted(stored["depth_to_water_m"].dropna()) == [5.01, 6.41]
    assert stored.loc[stored["passed"] == "falling", "elapsed_min"].tolist() == [1.5]
    with planned.store.reading() as connection:
        assert Snapshot(connection).pumping_rates["rate_l_s"].tolist() == [7.5]


@pytest.mark.slow
def test_the_pdf_has_cautions_and_boxes_of_every_well(planned, tmp_path):
    sheet = sheet_of(planned)
    content = pumping_sheet_pdf(sheet)
    assert content == pumping_sheet_pdf(sheet)
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)
    plain = " ".join(text.split())
    for caution in TEST_CAUTIONS:
        assert " ".join(caution.split()[:4]) in plain
    for word in ("Well PW", "Well O1", "Well O2", "Set depth [m]", "Rate [L/s]", "after stop 240"):
        assert word in plain, word
    files = write_pumping_sheet(sheet, tmp_path / "out", page="Letter")
    assert [path.suffix for path in files] == [".pdf", ".xlsx"]


def test_the_cautions_name_every_danger():
    words = " ".join(TEST_CAUTIONS).lower()
    for danger in (
        "electricity near water",
        "rotating and lifting gear",
        "discharge",
        "contaminated water",
        "gas",
        "traffic",
    ):
        assert danger in words
