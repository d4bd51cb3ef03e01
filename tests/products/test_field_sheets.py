"""Rounds that are planned, their field sheets, and the way of a filled workbook back into the record."""

import datetime as dt
import math
import re
import shutil
import subprocess

import pytest
from pypdf import PdfReader

from gwnet.analysis.fieldwork.field_sheet import CAUTIONS, GOVERNS
from gwnet.errors import FileRejectedError, NotFoundError, OutputError, SettingsError, StoreError
from gwnet.products.field_sheets import gather
from gwnet.store.contract import STATUSES
from gwnet.store.snapshot import Snapshot

from .conftest import NOW, planned
from .field_books import FieldBook
from .field_record import field_network, tables

AFTER = dt.datetime(2026, 5, 13, 7, 0, tzinfo=dt.UTC)


def sheet_of(net, name="2026-Q2", **more):
    with net.store.reading() as connection:
        return gather(Snapshot(connection).of_site(), name, **more)


def text_of(path):
    return "\n".join(" ".join(page.extract_text().split()) for page in PdfReader(path).pages)


# --- planning ---------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_planned_round_is_on_record(network):
    row = network.rounds().iloc[0]
    assert (row["starts_on"], row["ends_on"]) == (dt.date(2026, 5, 12), dt.date(2026, 5, 12))
    assert (row["crew"], row["purpose"]) == ("A. Walker", "quarterly levels")
    assert sorted(row["wells"]) == ["A1", "A2", "A3", "A4", "A5", "NEW"]


def test_the_same_plan_again_changes_nothing(network):
    before = network.newest_recording()
    assert planned(network, now_utc=AFTER).outcome == "unchanged"
    assert network.newest_recording() == before


def test_another_plan_is_refused_unless_it_is_a_correction_with_a_reason(network):
    with pytest.raises(StoreError, match="starts_on: 2026-05-12 on record, 2026-05-19 here"):
        planned(network, starts_on=dt.date(2026, 5, 19))
    with pytest.raises(SettingsError, match="needs its reason"):
        planned(network, starts_on=dt.date(2026, 5, 19), correct=True)
    assert network.rounds()["starts_on"].tolist() == [dt.date(2026, 5, 12)]


def test_planned_anew_what_is_not_given_stays_and_the_old_plan_is_history(network):
    planned(network, wells=["A3", "A1"], as_given=True, correct=True, reason="Two wells only", now_utc=AFTER)
    later = dt.datetime(2026, 5, 14, tzinfo=dt.UTC)
    made = network.rounds.plan(
        "2026-Q2", starts_on=dt.date(2026, 5, 19), by="Keeper", correct=True, reason="Storm", now_utc=later
    )
    assert made.outcome == "corrected"
    assert made.stops["well"].tolist() == ["A3", "A1"]
    row = network.rounds().iloc[0]
    assert (row["crew"], row["starts_on"], row["wells"]) == ("A. Walker", dt.date(2026, 5, 19), ["A3", "A1"])
    assert len(network.rounds(known_on=NOW).iloc[0]["wells"]) == 6


def test_a_round_that_ends_before_it_starts_is_refused(network):
    with pytest.raises(SettingsError, match="before it starts"):
        planned(network, "2026-Q3", ends_on=dt.date(2026, 5, 1))
    with pytest.raises(SettingsError, match="no name"):
        planned(network, "  ")


@pytest.mark.slow
def test_the_plan_tells_tapes_left_out_wells_and_wells_with_something_due(network):
    told = "\n".join(planned(network, "extra", wells=["A1"]).sentences())
    assert "Check tape T2 before the round (due 2025-11-01; every 365 d" in told
    assert "Left out: OLD, decommissioned on 2024-01-01." in told
    assert "wells that are not planned as well: NEW, A2, A3, A4, A5." in told


@pytest.mark.slow
def test_rounds_are_planned_and_sheets_made_on_either_database(store_url, tmp_path):
    with field_network(tmp_path, address=store_url) as net:
        assert planned(net).outcome == "added"
        assert planned(net).outcome == "unchanged"
        assert planned(net, wells=["A1"], correct=True, reason="One well").outcome == "corrected"
        assert net.rounds()["wells"].tolist() == [["A1"]]
        assert not net.rounds.due(on=dt.date(2026, 4, 20)).empty
        assert [path.suffix for path in net.rounds.sheet("2026-Q2", tmp_path / "out")] == [".pdf", ".xlsx"]


# --- what the sheets say ----------------------------------------------------------------------------------------


def test_the_sheet_says_what_the_record_says(network):
    sheet = sheet_of(network)
    well = sheet.wells.set_index("well").loc["A1"]
    # levels of 12 May, 2019 to 2025: 3.20 to 3.26 m below the mark; median 3.23, median deviation 0.02
    assert well["expected_from_m"] == pytest.approx(3.23 - 4 * 1.4826 * 0.02, abs=1e-6)
    assert well["expected_to_m"] == pytest.approx(3.23 + 4 * 1.4826 * 0.02, abs=1e-6)
    assert well["expected_levels"] == 7
    # sounded 12.4 m by tape, probe 0.10 m, mark 0.8 m above ground
    assert well["bottom_m"] == pytest.approx(12.5)
    assert well["bottom_source"] == "sounded 2025-08-12"
    assert (well["screen_top_m"], well["screen_bottom_m"]) == pytest.approx((4.8, 11.8))
    earlier = sheet.earlier[sheet.earlier["well"] == "A1"]
    assert earlier["measured_on"].tolist() == [dt.date(2025, 11, 12), dt.date(2025, 8, 12), dt.date(2025, 5, 12)]
    assert earlier["depth_to_water_m"].tolist() == pytest.approx([3.66, 3.46, 3.26])
    assert sheet.tapes == ("T1", "T2")
    assert sheet.tapes_due == ("T2 (check due 2025-11-01)",)


def test_depths_are_referred_to_the_measuring_point_in_force(network, tmp_path):
    """The pipe is cut by 0.3 m: what was 3.66 m below the old mark is 3.36 m below the new one."""
    points = tmp_path / "measuring_points.csv"
    points.write_text(
        "site,well,valid_from,valid_until,elevation,height_above_ground,description,surveyed_on\n"
        "F,A1,2018-06-01,2026-03-01,100.8,0.8,Notch,2018-06-01\n"
        "F,A1,2026-03-01,,100.5,0.5,New notch,2026-03-01\n"
    )
    network.load([points], by="Keeper", correct=True, reason="Cut", now_utc=NOW)
    sheet = sheet_of(network)
    well = sheet.wells.set_index("well").loc["A1"]
    assert sheet.earlier[sheet.earlier["well"] == "A1"]["depth_to_water_m"].iloc[0] == pytest.approx(3.36)
    assert well["expected_from_m"] == pytest.approx(2.93 - 4 * 1.4826 * 0.02, abs=1e-6)
    assert well["bottom_m"] == pytest.approx(12.2)
    assert well["measuring_point"] == "New notch"


@pytest.mark.slow
def test_a_well_that_was_dry_shows_it_and_one_without_record_says_so(network):
    sheet = sheet_of(network)
    dry = sheet.earlier[sheet.earlier["well"] == "A5"].iloc[0]
    assert dry["status"] == "dry"
    assert math.isnan(dry["depth_to_water_m"])
    new = sheet.wells.set_index("well").loc["NEW"]
    assert sheet.expectation(new) == "No expectation: fewer than 5 levels of this season (0)."
    assert (sheet.earlier["well"] == "NEW").sum() == 0


def test_product_and_contamination_are_stated(network):
    care = sheet_of(network).wells.set_index("well")["contamination"]
    assert care["A4"].startswith("Floating product on record")
    assert care["A3"].startswith("Contamination on record")
    assert care["A1"] == ""


@pytest.mark.slow
def test_a_day_of_a_longer_round_can_have_sheets_of_its_own(network):
    planned(network, "long", ends_on=dt.date(2026, 5, 14))
    assert len(sheet_of(network, "long").days) == 3
    assert sheet_of(network, "long", date=dt.date(2026, 5, 13)).days == (dt.date(2026, 5, 13),)
    with pytest.raises(SettingsError, match="no day of round"):
        sheet_of(network, "long", date=dt.date(2026, 5, 15))


@pytest.mark.slow
def test_a_round_for_all_wells_gets_them_in_the_order_of_the_walk(network, tmp_path):
    rounds = tmp_path / "rounds.csv"
    rounds.write_text("site,round,starts_on\nF,loaded,2026-05-12\n")
    network.load([rounds], by="Keeper", now_utc=NOW)
    assert sheet_of(network, "loaded").wells["well"].tolist() == sheet_of(network).wells["well"].tolist()
    with pytest.raises(NotFoundError, match="no round 'lost'"):
        sheet_of(network, "lost")


# --- on paper ---------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_printed_sheet_holds_what_the_person_at_the_well_needs(network, tmp_path):
    pdf, _ = network.rounds.sheet("2026-Q2", tmp_path / "out")
    text = text_of(pdf)
    for words in (
        *CAUTIONS,
        GOVERNS,
        "round 2026-Q2",
        "A. Walker",
        "2026-05-12",
        "test each tape beside the reference",
    ):
        assert words in text, words
    for words in ("HAZARDS: Dog on the loose", "Access: Key at the mill", "Notch, 0.800 m above ground"):
        assert words in text, words
    for words in (
        "2025-11-12",
        "3.660",
        "3.111 to 3.349 m (7 levels)",
        "12.500 m (sounded 2025-08-12)",
        "4.800 to 11.800 m",
    ):
        assert words in text, words
    assert text.count("Reading 1 [m]") == 7, "six wells and a blank block"
    assert all(text.count(status) >= 7 for status in STATUSES)
    assert re.search(r"page 1 of 3.*page 2 of 3.*page 3 of 3", text, re.DOTALL)


@pytest.mark.slow
@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_pages_have_the_size_that_was_asked_for(network, tmp_path, page):
    pdf, _ = network.rounds.sheet("2026-Q2", tmp_path / "out", page=page)
    box = PdfReader(pdf).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == {"A4": (595, 842), "Letter": (612, 792)}[page]


@pytest.mark.slow
def test_nothing_is_lost_of_texts_as_long_as_the_record_allows(tmp_path):
    long = "Take the lane behind the barn & mind the <b>ditch</b>. " * 180
    text = tables()["wells"].replace("Key at the mill", long)
    with field_network(tmp_path, wells=text) as net:
        planned(net)
        pdf, book = net.rounds.sheet("2026-Q2", tmp_path / "out")
        assert text_of(pdf).count("<b>ditch</b>") == 180
        assert str(FieldBook(book).cell("A2", "(hazards and access)").value).count("barn") == 180


@pytest.mark.slow
def test_no_block_reaches_beyond_its_page(network, tmp_path):
    """Every word lies inside the margins of its page, as the page's own text boxes say."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed (Debian: poppler-utils)")
    pdf, _ = network.rounds.sheet("2026-Q2", tmp_path / "out")
    boxes = tmp_path / "boxes.html"
    subprocess.run(["pdftotext", "-bbox", str(pdf), str(boxes)], check=True)
    found = re.findall(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)"', boxes.read_text())
    assert len(found) > 500
    for x_min, y_min, x_max, y_max in (map(float, numbers) for numbers in found):
        assert 50 <= x_min < x_max <= 545
        assert 18 <= y_min < y_max <= 830


@pytest.mark.slow
def test_the_same_record_gives_the_same_bytes(network, tmp_path):
    one = network.rounds.sheet("2026-Q2", tmp_path / "one")
    other = network.rounds.sheet("2026-Q2", tmp_path / "other")
    assert [path.read_bytes() for path in one] == [path.read_bytes() for path in other]
    assert [path.name for path in one] == [
        "F_2026-Q2_2026-05-12_field_sheet.pdf",
        "F_2026-Q2_2026-05-12_field_sheet.xlsx",
    ]


def test_a_folder_that_cannot_be_written_leaves_nothing(network, tmp_path):
    (tmp_path / "file").write_text("a file, no folder")
    with pytest.raises(OutputError):
        network.rounds.sheet("2026-Q2", tmp_path / "file")
    assert (tmp_path / "file").read_text() == "a file, no folder"


# --- and back ---------------------------------------------------------------------------------------------------


def filled(network, tmp_path):
    """Return a workbook that a crew filled in: four wells visited, two not."""
    _, path = network.rounds.sheet("2026-Q2", tmp_path / "out")
    book = FieldBook(path)
    common = {"instrument": "T1", "observer": "A. Walker", "method": "electric tape"}
    book.fill("A1", time=dt.time(8, 40), status="static", depth_to_water=3.241, depth_to_water_2=3.243, **common)
    book.fill("A1", sounded_depth=12.41, quality="good", notes="Bottom is soft; µ & <ü>")
    book.fill("A2", time=dt.time(9, 5), status="static", depth_to_water=3.70, depth_to_water_2=3.71)
    book.fill("A2", depth_to_water_3=3.705, **common)
    book.fill("A4", time=dt.time(9, 30), status="static", depth_to_water=4.75, depth_to_water_2=4.751)
    book.fill("A4", depth_to_product=4.55, product_relative_density=0.83, **common)
    book.fill("A5", time=dt.time(10, 0), status="dry", sounded_depth=11.6, notes="Dry to the bottom")
    return book, book.save(tmp_path / "filled.xlsx")


@pytest.mark.slow
def test_a_filled_workbook_is_loaded_as_it_is_and_nothing_is_lost(network, tmp_path):
    book, path = filled(network, tmp_path)
    result = network.load([path], by="Keeper", now_utc=AFTER)
    [file] = result.files
    assert (file.table, file.added, file.rejected) == ("level_events", 4, 0)
    assert file.warnings == (
        "2 rows were not filled in (no reading and no status) and passed over: "
        f"{', '.join(w for w in book.rows if w in ('A3', 'NEW'))}",
    )
    levels = network.levels(round="2026-Q2").set_index("well")
    assert levels["measured_at"].to_dict() == {
        "A1": "2026-05-12T08:40+02:00",
        "A2": "2026-05-12T09:05+02:00",
        "A4": "2026-05-12T09:30+02:00",
        "A5": "2026-05-12T10:00+02:00",
    }
    assert levels.loc["A1", "depth_to_water_m"] == pytest.approx(3.242)
    assert levels.loc["A1", "water_elevation_m"] == pytest.approx(100.8 - 3.242)
    assert levels.loc["A2", "finding"] == "repeats disagree"
    # 4.75 m to water, 4.55 m to product: 0.20 m of product lift the head by 0.83 times that
    assert levels.loc["A4", "water_elevation_m"] == pytest.approx(100.8 - 4.7505 + 0.83 * (4.7505 - 4.55), abs=1e-6)
    assert levels.loc["A5", "bound"] == "<="


@pytest.mark.slow
def test_every_cell_that_was_filled_in_is_on_record_as_it_was_written(network, tmp_path):
    book, path = filled(network, tmp_path)
    network.load([path], by="Keeper", now_utc=AFTER)
    with network.store.reading() as connection:
        from gwnet.records import Selection
        from gwnet.store.fetch import levels as fetch_levels

        records = fetch_levels.level_records(connection, Selection(round="2026-Q2"))
        records = records[records["round"] == "2026-Q2"].set_index("well")
        readings = fetch_levels.readings(connection, records["record_id"].to_numpy())
    quantity = {
        "depth_to_water": ("depth_to_water", 1),
        "depth_to_water_2": ("depth_to_water", 2),
        "depth_to_water_3": ("depth_to_water", 3),
        "depth_to_product": ("depth_to_product", 1),
        "sounded_depth": ("sounded_depth", 1),
    }
    compared = 0
    for well, record in records.iterrows():
        own = readings[readings["record_id"] == record["record_id"]].set_index(["quantity", "ordinal"])
        given = {name: key for name, key in quantity.items() if book.cell(well, name).value is not None}
        assert sorted(own.index) == sorted(given.values())
        for name, key in given.items():
            assert own.loc[key, "value"] == book.cell(well, name).value
            assert own.loc[key, "unit"] == "m"
            assert float(own.loc[key, "written"]) == book.cell(well, name).value
            compared += 1
        for name in ("status", "access", "instrument", "observer", "method", "quality", "notes"):
            assert (record[name] or None) == book.cell(well, name).value, name
            compared += 1
        assert record["source"] == "filled.xlsx"
        assert record["source_row"] == book.rows[well]
    assert compared >= 38


@pytest.mark.slow
def test_the_workbook_can_be_loaded_again_when_more_is_filled_in(network, tmp_path):
    book, path = filled(network, tmp_path)
    network.load([path], by="Keeper", now_utc=AFTER)
    book.fill("A3", time="11:10", status="no access", notes="Gate locked")
    [file] = network.load([book.save(tmp_path / "more.xlsx")], by="Keeper", now_utc=AFTER).files
    assert (file.added, file.unchanged) == (1, 4)


@pytest.mark.slow
def test_a_mistyped_cell_is_refused_with_its_place_and_nothing_is_loaded(network, tmp_path):
    book, _ = filled(network, tmp_path)
    book.fill("A3", depth_to_water="4,3 m", status="static")
    with pytest.raises(FileRejectedError) as caught:
        network.load([book.save(tmp_path / "wrong.xlsx")], by="Keeper", now_utc=AFTER)
    found = [r for r in caught.value.rejections if r.problem == "not-a-number"]
    assert [(r.row, r.column, r.value) for r in found] == [(book.rows["A3"], "depth_to_water [m]", "4,3 m")]
    assert network.levels(round="2026-Q2").empty


@pytest.mark.slow
def test_a_remark_without_a_status_is_never_lost(network, tmp_path):
    book, _ = filled(network, tmp_path)
    book.fill("A3", notes="Gate locked")
    with pytest.raises(FileRejectedError, match="1 of 6 rows"):
        network.load([book.save(tmp_path / "remark.xlsx")], by="Keeper", now_utc=AFTER)


@pytest.mark.slow
def test_spare_rows_take_second_visits(network, tmp_path):
    book, _ = filled(network, tmp_path)
    row = max(book.rows.values()) + 1
    again = {"site": "F", "round": "2026-Q2", "well": "A2", "date": dt.date(2026, 5, 12), "time": "15:00"}
    book.fill_row(row, **again, depth_to_water=3.702, depth_to_water_2=3.703)
    [file] = network.load([book.save(tmp_path / "second.xlsx")], by="Keeper", now_utc=AFTER).files
    assert file.added == 5


@pytest.mark.slow
def test_a_sheet_loaded_before_its_day_is_over_passes_over_the_rest(network, tmp_path):
    """Wells planned for a day that is still to come are not filled in, and their date is no fault."""
    _, path = network.rounds.sheet("2026-Q2", tmp_path / "out")
    early = dt.datetime(2026, 5, 5, tzinfo=dt.UTC)
    [file] = network.load([path], by="Keeper", now_utc=early).files
    assert (file.rows, file.added, file.rejected) == (6, 0, 0)
    assert file.warnings[0].startswith("6 rows were not filled in")


@pytest.mark.slow
def test_feet_are_read_written_and_loaded_as_feet(tmp_path):
    with field_network(tmp_path, unit="ft") as net:
        planned(net)
        pdf, path = net.rounds.sheet("2026-Q2", tmp_path / "out", page="Letter")
        assert "readings must agree within 0.02 ft" in text_of(pdf), "0.02 ft: USGS TM 1-A1 p. 6-8"
        book = FieldBook(path)
        assert book.cell("A1", "(expected from").value == pytest.approx(3.111 / 0.3048, abs=0.006)
        book.fill("A1", status="static", depth_to_water=10.63, depth_to_water_2=10.64)
        net.load([book.save(tmp_path / "feet.xlsx")], by="Keeper", now_utc=AFTER)
        level = net.levels(round="2026-Q2").iloc[0]
        assert level["depth_to_water_m"] == pytest.approx(10.635 * 0.3048)


@pytest.mark.slow
def test_the_demo_network_gets_sheets_of_all_its_wells(demo_store, tmp_path):
    from gwnet.network import Network

    with Network(demo_store) as net:
        made = net.rounds.plan("2026-Q2", starts_on=dt.date(2026, 5, 19), by="Keeper", now_utc=NOW)
        assert len(made.stops) == 26
        assert made.stops["well"].iloc[-1] == "W-09", "floating product was met there"
        pdf, path = net.rounds.sheet("2026-Q2", tmp_path / "out")
    assert text_of(pdf).count("Reading 1 [m]") == 27
    book = FieldBook(path)
    assert list(book.rows) == made.stops["well"].tolist()
