"""The record as a workbook: kinds of cells, nothing that runs, and a spreadsheet program that opens it."""

import csv
import datetime as dt
import shutil
import subprocess

import openpyxl
import pandas as pd
import pytest

import gwnet
from gwnet import network
from gwnet.errors import OutputError
from gwnet.exchange import workbook

FORMULAS = ["=1+1", "+1", "-1", "@SUM(1)", '=HYPERLINK("x")', "http://example.org"]


@pytest.fixture(scope="module")
def net(demo_record):
    with gwnet.open(demo_record) as net:
        yield net


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Give a record whose notes begin with the signs of formulas."""
    folder = tmp_path_factory.mktemp("small")
    rows = "".join(
        f'S,W{n},{n},2,1899-05-0{n + 1},"{text.replace(chr(34), chr(34) * 2)}"\n' for n, text in enumerate(FORMULAS)
    )
    (folder / "sites.csv").write_text("site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC\n")
    (folder / "wells.csv").write_text(f"site,well,easting,northing,drilled_on,notes\n{rows}")
    network.init(folder / "small.sqlite")
    with gwnet.open(folder / "small.sqlite") as net:
        net.load([folder / "sites.csv", folder / "wells.csv"], by="A")
        yield net


def rows_of(page):
    heading, *rows = page.iter_rows(values_only=True)
    return pd.DataFrame(rows, columns=heading)


def test_dates_are_dates_and_numbers_are_numbers(net, tmp_path):
    book = openpyxl.load_workbook(net.export("xlsx", tmp_path / "record.xlsx", wells=["W-01"]))
    levels = rows_of(book["(levels)"])
    printed = net.levels(["W-01"])
    assert [round(value, 9) for value in levels["water_elevation_m"].dropna()] == [
        round(value, 9) for value in printed["water_elevation_m"].dropna()
    ]
    assert levels["measured_at_utc"].tolist() == printed["measured_at_utc"].dt.tz_localize(None).tolist()
    wells = rows_of(book["wells"])
    assert wells["drilled_on"].iloc[0] == dt.datetime.combine(
        net.wells().set_index("well").loc["W-01", "drilled_on"], dt.time()
    )
    assert book["(levels)"].freeze_panes == "A2"
    readme = [[cell.value for cell in row] for row in book["(readme)"].iter_rows()]
    assert ["(levels)", "water_elevation_m", "m", "Positive upward from the vertical datum."] in readme


def test_text_that_looks_like_a_formula_stays_text(small, tmp_path):
    page = openpyxl.load_workbook(small.export("xlsx", tmp_path / "small.xlsx"))["wells"]
    heading = [cell.value for cell in page[1]]
    place = heading.index("notes")
    cells = [row[place] for row in page.iter_rows(min_row=2)]
    assert [cell.value for cell in cells] == FORMULAS
    assert {cell.data_type for cell in cells} == {"s"}
    assert {cell.hyperlink for cell in cells} == {None}
    drilled = [row[heading.index("drilled_on")].value for row in page.iter_rows(min_row=2)]
    assert drilled[0] == "1899-05-01"  # before the first day that a workbook counts


@pytest.mark.slow
def test_a_spreadsheet_program_opens_it_and_runs_nothing(small, tmp_path):
    program = shutil.which("soffice")
    if program is None:
        pytest.skip("no spreadsheet program is installed (Debian: libreoffice-calc-nogui)")
    small.export("xlsx", tmp_path / "small.xlsx")
    form = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
    home = f"-env:UserInstallation={(tmp_path / 'home').as_uri()}"
    command = [
        program,
        home,
        "--headless",
        "--convert-to",
        form,
        "--outdir",
        str(tmp_path),
        str(tmp_path / "small.xlsx"),
    ]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    with (tmp_path / "small-wells.csv").open(encoding="utf-8", newline="") as file:
        assert [row["notes"] for row in csv.DictReader(file)] == FORMULAS


def test_what_no_sheet_holds_is_refused(small, tmp_path, monkeypatch):
    monkeypatch.setattr(workbook, "_MOST_ROWS", 3)
    with pytest.raises(OutputError, match=r"Table wells has 6 rows; a sheet holds 2.*parquet"):
        small.export("xlsx", tmp_path / "small.xlsx")
    monkeypatch.setattr(workbook, "_MOST_ROWS", 300)
    monkeypatch.setattr(workbook, "_LONGEST_TEXT", 10)
    with pytest.raises(OutputError, match="a text of more than 10 signs"):
        small.export("xlsx", tmp_path / "small.xlsx")
    assert list(tmp_path.iterdir()) == []
