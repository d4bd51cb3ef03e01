"""``gwnet load`` as a person sees it; what is recorded is tested with the ingest."""

import csv
import io
import json

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, WRONG_USAGE

SITES = "site,crs,vertical_datum,length_unit,time_zone\nMM,EPSG:25832,local,m,UTC+01:00\n"
WELLS = "site,well,easting,northing,total_depth\nMM,MW-1,451200,5400100,30\nMM,MW-2,451300,5400100,20\n"


@pytest.fixture
def folder(tmp_path, gwnet_here):
    """Return an empty folder with a database in it."""
    assert gwnet_here("init").code == DONE
    return tmp_path


def put(folder, **tables):
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return [f"{name}.csv" for name in tables]


def test_each_file_says_what_happened_to_it(folder, gwnet_here):
    files = put(folder, sites=SITES, wells=WELLS)
    ran = gwnet_here("load", *files, "--by", "Ana")
    assert (ran.code, ran.err) == (DONE, "")
    assert ran.out.splitlines() == ["sites.csv: sites: 1 row, 1 added", "wells.csv: wells: 2 rows, 2 added"]


def test_the_same_files_again_change_nothing(folder, gwnet_here):
    files = put(folder, sites=SITES, wells=WELLS)
    gwnet_here("load", *files)
    ran = gwnet_here("load", *files)
    assert ran.code == DONE
    assert all("already loaded" in line for line in ran.out.splitlines())
    assert ran.err == "Nothing changed.\n"


def test_a_rejection_names_file_row_column_problem_and_mend_and_stops_all(folder, gwnet_here):
    files = put(folder, sites=SITES, wells=WELLS.replace("5400100,20", "N5400100,20"))
    ran = gwnet_here("load", *files)
    assert ran.code == STOPPED
    assert ran.out == ""
    first, last = ran.err.splitlines()
    assert first.startswith("wells.csv, row 3, column northing: 'N5400100' is not a number. — ")
    assert last.startswith("gwnet: ")
    assert "nothing was written" in last
    assert "No well is on record" in gwnet_here("wells").err


def test_the_good_rows_can_be_kept_and_the_others_mended(folder, gwnet_here):
    files = put(folder, sites=SITES, wells=WELLS.replace("5400100,20", "N5400100,20"))
    ran = gwnet_here("load", *files, "--keep-good")
    assert ran.code == DONE_WITH_FINDINGS
    assert "wells.csv: wells: 2 rows, 1 added, 1 rejected" in ran.out
    assert "wrote wells.rejected.csv" in ran.err
    fixed = (folder / "wells.rejected.csv").read_text(encoding="utf-8").replace("N5400100", "5400100")
    (folder / "wells.rejected.csv").write_text(fixed, encoding="utf-8")
    assert gwnet_here("load", "wells.rejected.csv").code == DONE
    table = gwnet_here("wells", "--format", "csv").out
    assert [row["well"] for row in csv.DictReader(io.StringIO(table))] == ["MW-1", "MW-2"]


def test_the_folder_for_rejected_rows_is_made(folder, gwnet_here):
    files = put(folder, sites=SITES, wells=WELLS.replace("5400100,20", "N5400100,20"))
    ran = gwnet_here("load", *files, "--keep-good", "--rejected", "to/fix")
    assert ran.code == DONE_WITH_FINDINGS
    assert (folder / "to" / "fix" / "wells.rejected.csv").is_file()


def test_a_folder_for_rejected_rows_is_not_made_where_there_are_none(folder, gwnet_here):
    files = put(folder, sites=SITES, wells=WELLS)
    assert gwnet_here("load", *files, "--keep-good", "--rejected", "fix").code == DONE
    assert not (folder / "fix").exists()


def test_a_dry_run_writes_nothing(folder, gwnet_here):
    files = put(folder, sites=SITES, wells=WELLS)
    ran = gwnet_here("load", *files, "--dry-run")
    assert ran.code == DONE
    assert "Dry run: nothing was written." in ran.err
    assert "No well is on record" in gwnet_here("wells").err


def test_a_long_list_of_problems_is_cut_on_the_terminal_and_whole_as_data(folder, gwnet_here):
    rows = "".join(f"MM,B-{number},east,5400100,30\n" for number in range(73))
    files = put(folder, sites=SITES, wells=WELLS.splitlines(keepends=True)[0] + rows)
    ran = gwnet_here("load", *files)
    assert ran.err.count("is not a number") == 50
    assert "and 23 more" in ran.err
    found = json.loads(gwnet_here("load", *files, "--format", "json").out)
    assert len(found) == 73
    assert found[0] == {
        "file": "wells.csv",
        "row": 2,
        "column": "easting",
        "value": "east",
        "problem": "not-a-number",
        "message": "'east' is not a number.",
        "fix": found[0]["fix"],
        "table": "wells",
    }
    table = gwnet_here("load", *files, "--format", "csv")
    assert table.code == STOPPED
    assert len(list(csv.DictReader(io.StringIO(table.out)))) == 73


def test_a_correction_needs_its_reason_and_keeps_the_old(folder, gwnet_here):
    gwnet_here("load", *put(folder, sites=SITES, wells=WELLS))
    put(folder, wells=WELLS.replace("5400100,20", "5400100,21"))
    assert gwnet_here("load", "wells.csv").code == STOPPED
    assert "--reason" in gwnet_here("load", "wells.csv", "--correct").err
    ran = gwnet_here("load", "wells.csv", "--correct", "--reason", "sounded again")
    assert (ran.code, ran.out) == (DONE, "wells.csv: wells: 2 rows, 1 unchanged, 1 corrected\n")


def test_unknown_columns_are_named(folder, gwnet_here):
    files = put(folder, sites=SITES.replace("site,", "site,colour,").replace("MM,", "MM,red,"))
    ran = gwnet_here("load", *files)
    assert ran.code == DONE
    assert "colour" in ran.err


def test_text_from_a_file_cannot_steer_the_terminal(folder, gwnet_here):
    files = put(folder, sites=SITES, wells=WELLS.replace("5400100,30", "\x1b[2J,30"))
    ran = gwnet_here("load", *files)
    assert ran.code == STOPPED
    assert "\x1b" not in ran.err + ran.out


def test_a_file_that_is_not_there_is_named(folder, gwnet_here):
    ran = gwnet_here("load", "absent.csv")
    assert ran.code == STOPPED
    assert "absent.csv" in ran.err


def test_loading_without_a_file_is_wrong_usage(folder, gwnet_here):
    assert gwnet_here("load").code == WRONG_USAGE


def test_loading_into_no_database_says_how_to_make_one(tmp_path, gwnet_here):
    put(tmp_path, sites=SITES)
    ran = gwnet_here("load", "sites.csv")
    assert ran.code == STOPPED
    assert "gwnet init" in ran.err
    assert not (tmp_path / "gwnet.sqlite").exists()


def _corrected(gwnet_here, *options):
    return gwnet_here("load", "wells.csv", "--correct", "--reason", "checked again", *options)


def _depths(gwnet_here):
    table = gwnet_here("wells", "--format", "csv").out
    return [row["total_depth_m"] for row in csv.DictReader(io.StringIO(table))]


def test_a_correction_says_how_many_values_become_empty_and_asks_nobody_who_is_not_there(folder, gwnet_here):
    gwnet_here("load", *put(folder, sites=SITES, wells=WELLS))
    put(folder, wells="site,well,total_depth\nMM,MW-1,\nMM,MW-2,\n")
    assert "2 values become empty." in _corrected(gwnet_here, "--dry-run").err
    ran = _corrected(gwnet_here)
    assert (ran.code, ran.err) == (DONE, "2 values become empty.\n")
    assert _depths(gwnet_here) == ["", ""]


@pytest.mark.parametrize(("answer", "code", "left"), [("n\n", STOPPED, ["30", "20"]), ("y\n", DONE, ["", "20"])])
def test_on_a_terminal_a_correction_asks_before_it_makes_values_empty(
    folder, gwnet_here, monkeypatch, answer, code, left
):
    gwnet_here("load", *put(folder, sites=SITES, wells=WELLS))
    put(folder, wells="site,well,total_depth\nMM,MW-1,\n")
    monkeypatch.setattr("gwnet.cli.loaded.can_ask", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO(answer))
    ran = _corrected(gwnet_here)
    assert ran.code == code
    assert "wells, MM MW-1: total depth [m] is 30 on record" in ran.err
    assert "1 value becomes empty. Record the correction?" in ran.err
    assert [depth and f"{float(depth):g}" for depth in _depths(gwnet_here)] == left


def test_on_a_terminal_a_correction_that_empties_nothing_asks_nothing(folder, gwnet_here, monkeypatch):
    gwnet_here("load", *put(folder, sites=SITES, wells=WELLS))
    put(folder, wells="site,well,notes\nMM,MW-1,gate locked\n")
    monkeypatch.setattr("gwnet.cli.loaded.can_ask", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    ran = _corrected(gwnet_here)
    assert (ran.code, ran.err) == (DONE, "")


@pytest.mark.parametrize(("answer", "code", "depths"), [("n\n", STOPPED, []), ("y\n", DONE, ["30", "20"])])
def test_on_a_terminal_a_last_line_without_its_end_is_asked_for_once(
    folder, gwnet_here, monkeypatch, answer, code, depths
):
    gwnet_here("load", *put(folder, sites=SITES))
    put(folder, wells=WELLS.rstrip("\n"))
    monkeypatch.setattr("gwnet.cli.loaded.can_ask", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO(answer))
    ran = gwnet_here("load", "wells.csv")
    assert ran.code == code
    assert ran.err.count("wells.csv, row 3, column total_depth: The last line has no line end") == 2 - (code == DONE)
    assert ran.err.count("Is the line complete?") == 1
    assert [depth and f"{float(depth):g}" for depth in _depths(gwnet_here)] == depths


def test_without_a_terminal_a_last_line_without_its_end_is_refused_and_easily_accepted(folder, gwnet_here):
    gwnet_here("load", *put(folder, sites=SITES))
    put(folder, wells=WELLS.rstrip("\n"))
    ran = gwnet_here("load", "wells.csv")
    assert ran.code == STOPPED
    assert "load with --last-line-complete" in ran.err
    ran = gwnet_here("load", "wells.csv", "--last-line-complete")
    assert ran.code == DONE
    assert ran.err == "wells.csv: row 3, the last line, has no line end; it was taken as complete\n"
