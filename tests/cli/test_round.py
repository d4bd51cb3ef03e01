"""``gwnet rounds`` from the command line: due, plan, sheet, and the way back with ``gwnet load``."""

import csv
import io
import json

import pytest

from gwnet.cli import DONE, STOPPED, WRONG_USAGE, group

from ..products.field_books import FieldBook
from ..products.field_record import field_network


@pytest.fixture
def run(gwnet_here, tmp_path):
    field_network(tmp_path).close()
    (tmp_path / "field-m.sqlite").rename(tmp_path / "gwnet.sqlite")
    return gwnet_here


def plan(run, *more):
    return run("round", "plan", "2026-Q2", "--starts-on", "2026-05-12", "--by", "Keeper", *more)


def test_what_is_due_is_listed_with_dates_and_rule(run):
    ran = run("round", "due", "--on", "2026-04-20", "--format", "csv")
    assert ran.code == DONE
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert list(rows[0]) == [
        "site",
        "what",
        "well",
        "access",
        "instrument",
        "last_on",
        "due_on",
        "overdue_days",
        "rule",
    ]
    tape = next(row for row in rows if row["what"] == "check tape")
    assert (tape["instrument"], tape["last_on"], tape["due_on"], tape["overdue_days"]) == (
        "T2",
        "2024-11-01",
        "2025-11-01",
        "170",
    )
    assert tape["rule"] == "every 365 d (USGS TM 1-A1 p. 8, 35: twelve months)"
    assert not any(row["instrument"] == "T1" for row in rows), "its check is due in June only"
    every = run("round", "due", "--on", "2026-04-20", "--all", "--format", "json")
    assert len(json.loads(every.out)) > len(rows)
    assert any(row["instrument"] == "T1" and row["overdue_days"] < 0 for row in json.loads(every.out))


@pytest.mark.slow
def test_what_is_due_is_a_table_for_people(run):
    ran = run("round", "due", "--on", "2026-04-20")
    assert ran.code == DONE
    assert "survey measuring point" in ran.out


def test_a_plan_is_printed_and_recorded(run):
    ran = plan(run, "--crew", "A. Walker", "--ends-on", "2026-05-13", "--format", "csv")
    assert ran.code == DONE
    stops = list(csv.DictReader(io.StringIO(ran.out)))
    assert [stop["well"] for stop in stops][-2:] == ["A3", "A4"]
    assert "Round 2026-Q2 at F, 2026-05-12 to 2026-05-13: recorded; 6 wells" in ran.err
    assert "Check tape T2 before the round" in ran.err
    listed = json.loads(run("rounds", "--format", "json").out)
    assert listed[0]["wells"] == [stop["well"] for stop in stops]
    assert listed[0]["crew"] == "A. Walker"


def test_wells_start_and_last_are_taken(run):
    ran = plan(run, "--wells", "A1,A2,A3,A4", "--start", "A2", "--last", "A1", "--format", "csv")
    assert [row["well"] for row in csv.DictReader(io.StringIO(ran.out))] == ["A2", "A3", "A4", "A1"]
    ran = plan(run, "--wells", "A4,A1", "--as-given", "--correct", "--reason", "Other way", "--format", "csv")
    assert [row["well"] for row in csv.DictReader(io.StringIO(ran.out))] == ["A4", "A1"]


@pytest.mark.slow
def test_a_round_on_record_is_planned_anew_only_with_a_reason(run):
    plan(run)
    ran = run("round", "plan", "2026-Q2", "--starts-on", "2026-05-19", "--by", "Keeper")
    assert ran.code == STOPPED
    assert "on record with other values" in ran.err
    assert "--correct --reason" in ran.err
    again = ("round", "plan", "2026-Q2", "--starts-on", "2026-05-19", "--by", "Keeper", "--correct")
    assert run(*again).code == WRONG_USAGE
    assert run(*again, "--reason", "Storm").code == DONE


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "words", "code"),
    [
        (("--wells", "B9"), "no well 'B9'", STOPPED),
        (("--wells", "OLD"), "decommissioned on 2024-01-01", WRONG_USAGE),
        (("--ends-on", "2026-05-01"), "before it starts", WRONG_USAGE),
        (("--as-given",), "No wells are given", WRONG_USAGE),
    ],
)
def test_a_plan_that_cannot_be_says_why(run, arguments, words, code):
    ran = plan(run, *arguments)
    assert ran.code == code
    assert words in ran.err
    assert json.loads(run("rounds", "--format", "json").out) == []


@pytest.mark.slow
def test_a_sheet_is_made_filled_in_and_loaded(run, tmp_path):
    plan(run)
    ran = run("round", "sheet", "2026-Q2", "--out", "sheets", "--page", "Letter")
    assert ran.code == DONE
    pdf, path = ran.out.split()
    assert (tmp_path / pdf).read_bytes().startswith(b"%PDF")
    book = FieldBook(tmp_path / path)
    book.fill("A1", status="static", depth_to_water=3.24, depth_to_water_2=3.241, instrument="T1")
    # dated long ago, so that no clock finds it in the future
    for name, value in (("date", "2024-03-05"), ("time", "09:00")):
        book.fill("A1", **{name: value})
    book.save(tmp_path / "filled.xlsx")
    loaded = run("load", "filled.xlsx", "--by", "Keeper")
    assert loaded.code == DONE
    assert "level_events: 6 rows, 1 added" in loaded.out
    assert "5 rows were not filled in" in loaded.err
    levels = list(csv.DictReader(io.StringIO(run("levels", "--round", "2026-Q2", "--format", "csv").out)))
    assert [row["depth_to_water_m"] for row in levels] == ["3.2405"]


def test_a_round_that_is_not_there_says_how_to_plan_it(run):
    ran = run("round", "sheet", "lost", "--out", "sheets")
    assert ran.code == STOPPED
    assert "gwnet rounds plan" in ran.err


def test_each_part_has_its_help_and_wrong_usage_is_stated(run):
    assert list(group.get_command(None, "round").commands) == ["due", "plan", "sheet"]
    for part in ("due", "plan", "sheet"):
        shown = run("round", part, "--help")
        assert shown.code == DONE
        assert "Options:" in shown.out
    assert run("round", "plan", "x").code == WRONG_USAGE
    assert run("round", "sheet", "x", "--out", "y", "--page", "A5").code == WRONG_USAGE
