"""``gwnet review`` as a person sees it; its rules are tested with the analysis."""

import csv
import io
import json
import sys

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, WRONG_USAGE, emphasis, output

from .test_output import Terminal

TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nMM,EPSG:25832,local,m,UTC+01:00\n",
    "wells": "site,well,easting,northing,total_depth\nMM,MW-1,451200,5400100,30\nMM,MW-2,451300,5400100,20\n",
    "measuring_points": "site,well,valid_from,elevation,height_above_ground\n"
    "MM,MW-1,2018-01-01,101,0.5\nMM,MW-2,2018-01-01,100,0.5\n",
    "rounds": "site,round,starts_on,ends_on,wells\nMM,2024-Q1,2024-03-12,2024-03-13,MW-1; MW-2\n",
    "level_events": "site,well,round,date,time,depth_to_water,depth_to_water_2\n"
    "MM,MW-1,2024-Q1,2024-03-12,09:40,3.5,3.5\nMM,MW-2,2024-Q1,2024-03-12,10:40,4.5,4.7\n",
}


@pytest.fixture
def gwnet(tmp_path, gwnet_here):
    """Return the command line in a folder with a record of two levels, the second with repeats that disagree."""
    gwnet_here("init")
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text)
    assert gwnet_here("load", *(f"{name}.csv" for name in TABLES), "--by", "Ana").code == DONE
    return gwnet_here


def rows(ran):
    return list(csv.DictReader(io.StringIO(ran.out)))


@pytest.mark.slow
def test_what_waits_is_counted_by_round_and_listed_when_restricted(gwnet):
    ran = gwnet("review")
    assert ran.code == DONE
    assert "Levels that wait, by round" in ran.out
    assert "Findings that nobody has decided" in ran.out
    assert "The repeats differ by 0.200 m" in ran.out
    [counted] = rows(gwnet("review", "--format", "csv"))
    assert (counted["round"], counted["provisional"], counted["serious"]) == ("2024-Q1", "2", "1")
    listed = rows(gwnet("review", "--round", "2024-Q1", "--format", "csv"))
    assert [level["well"] for level in listed] == ["MW-1", "MW-2"]
    [finding] = json.loads(gwnet("review", "--what", "findings", "--format", "json").out)
    assert (finding["finding_id"], finding["decision"], finding["event_id"]) == (1, "open", 2)
    feet = rows(gwnet("review", "--well", "MW-1", "--format", "csv", "--unit", "ft"))
    assert float(feet[0]["water_elevation_ft"]) == pytest.approx(97.5 / 0.3048)


def test_a_round_is_approved_after_its_finding_was_decided(gwnet):
    ran = gwnet("review", "approve", "--round", "2024-Q1", "--by", "Vera")
    assert ran.code == STOPPED
    assert "1 level cannot be approved, so none was: MM MW-2" in ran.err
    assert "--pass-over" in ran.err
    ran = gwnet("review", "approve", "--round", "2024-Q1", "--by", "Vera", "--pass-over")
    assert ran.code == DONE_WITH_FINDINGS
    assert "passed over: MM MW-2 2024-03-12T10:40+01:00, provisional: finding 1 is open: repeats disagree" in ran.err
    ran = gwnet("review", "accept", 1, "--reason", "Second one misread", "--by", "Vera", "--format", "csv")
    assert [(row["finding_id"], row["was"], row["now"]) for row in rows(ran)] == [("1", "open", "accepted")]
    ran = gwnet("review", "approve", "--round", "2024-Q1", "--by", "Vera", "--format", "csv")
    assert (ran.code, [row["well"] for row in rows(ran)]) == (DONE, ["MW-2"])
    assert "1 was approved already." in ran.err
    assert "Nothing waits for review." in gwnet("review").err
    assert {row["review"] for row in rows(gwnet("levels", "--format", "csv"))} == {"approved"}


def test_an_approved_level_is_corrected_after_it_was_reopened(gwnet, tmp_path):
    gwnet("review", "approve", "--event", 1, "--by", "Vera")
    (tmp_path / "level_events.csv").write_text(TABLES["level_events"].replace("3.5,3.5", "3.4,3.4"))
    told = ("load", "level_events.csv", "--correct", "--reason", "misread")
    assert "its review is reopened" in gwnet(*told).err
    assert gwnet("review", "reopen", "--event", 1, "--reason", "misread", "--by", "Vera").code == DONE
    assert gwnet(*told).code == DONE


def test_hold_and_reopen_reach_levels_by_options_and_findings_by_number(gwnet):
    assert "on hold" in gwnet("review", "hold", "--well", "MW-1", "--reason", "Ask", "--by", "Vera").out
    assert "on hold" in gwnet("review", "hold", 1, "--reason", "Ask", "--by", "Vera").out
    assert "open" in gwnet("review", "reopen", 1, "--reason", "Asked", "--by", "Vera").out
    ran = gwnet("review", "reject", "--well", "MW-1", "--reason", "Wrong", "--by", "Vera")
    assert (ran.code, ran.out) == (DONE_WITH_FINDINGS, "")
    assert "on hold: reopen it first" in ran.err
    assert "Nothing changed." in ran.err


@pytest.mark.slow
@pytest.mark.parametrize(
    "arguments",
    [
        ("review", "hold", "1", "--well", "MW-1", "--reason", "Ask"),
        ("review", "accept", "--reason", "Ask"),
        ("review", "dismiss", "1"),
        ("review", "reject", "--well", "MW-1"),
        ("review", "--round", "2024-Q1", "approve", "--well", "MW-1"),
        ("review", "approve", "--event", "first"),
        ("review", "approve", "--well", "MW-1", "--by", " "),
    ],
)
def test_wrong_usage_changes_nothing(gwnet, arguments):
    assert gwnet(*arguments).code == WRONG_USAGE
    assert {row["review"] for row in rows(gwnet("levels", "--format", "csv"))} == {"provisional"}


def test_levels_must_be_named(gwnet):
    ran = gwnet("review", "approve", "--by", "Vera")
    assert ran.code == STOPPED
    assert "which levels to approve" in ran.err


def on_a_screen(monkeypatch, **environment):
    import pandas as pd

    screen = Terminal()
    monkeypatch.setattr(sys, "stdout", screen)
    for name in ("NO_COLOR", "TERM"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    output.rows(pd.DataFrame({"severity": ["serious", "note"], "message": ["serious matter", ""]}), "table")
    return screen.getvalue()


def test_words_stand_out_on_a_terminal_and_say_the_same_without(monkeypatch, capsys):
    import click

    shown = on_a_screen(monkeypatch)
    assert shown.count("\x1b[0m") == 1, "only the cell that is the word"
    plain = click.unstyle(shown)
    assert plain == on_a_screen(monkeypatch, NO_COLOR="1") == on_a_screen(monkeypatch, TERM="dumb")
    assert "serious   serious matter" in plain


def test_nothing_stands_out_where_a_file_or_program_reads(capsys):
    assert emphasis.chosen() is None
