"""``gwnet history``, ``gwnet effects`` and the preview of ``gwnet load`` as a person sees them."""

import csv
import datetime as dt
import io
import json
import re

import pytest

from gwnet.cli import DONE, STOPPED, WRONG_USAGE

from .test_review import TABLES, gwnet, rows  # noqa: F401 (a fixture)

NEW_SURVEY = TABLES["measuring_points"].replace("101,0.5", "100.88,0.38")
TOLD = ("--correct", "--reason", "Levelled again", "--by", "Ben")


@pytest.fixture
def surveyed(gwnet, tmp_path):  # noqa: F811
    """Return the command line in a folder with a new survey that is not loaded yet."""
    (tmp_path / "measuring_points.csv").write_text(NEW_SURVEY)
    return gwnet


def test_a_dry_run_shows_values_and_levels(surveyed):
    ran = surveyed("load", "measuring_points.csv", *TOLD, "--dry-run")
    assert ran.code == DONE
    lines = [line.split() for line in ran.out.splitlines()]
    assert ["measuring_points", "2", "MM", "MW-1", "2018-01-01", "elevation", "[m]", "101", "100.88"] in lines
    assert "Levels that would move: 1, the farthest by 0.120 m" in ran.out
    assert "by tape" not in " ".join(ran.out.split()), "a part that is zero is not shown"
    assert "Dry run: nothing was written." in ran.err
    assert surveyed("effects").err.splitlines()[-1] == "No level moved."


def test_a_dry_run_gives_its_lists_as_data(surveyed):
    ran = surveyed("load", "measuring_points.csv", *TOLD, "--dry-run", "--show", "changes", "--format", "csv")
    assert [(row["column"], row["was"], row["now"]) for row in rows(ran)] == [
        ("elevation [m]", "101", "100.88"),
        ("height above ground [m]", "0.5", "0.38"),
    ]
    ran = surveyed("load", "measuring_points.csv", *TOLD, "--dry-run", "--show", "levels", "--format", "json")
    [level] = json.loads(ran.out)
    assert (level["well"], level["difference_m"], level["cause"]) == ("MW-1", -0.12, "survey")
    ran = surveyed("load", "measuring_points.csv", *TOLD, "--dry-run", "--format", "csv")
    assert rows(ran) == []


def test_a_correction_that_moves_nothing_says_so(surveyed, tmp_path):
    (tmp_path / "wells.csv").write_text(TABLES["wells"].replace("451200", "451201"))
    ran = surveyed("load", "wells.csv", *TOLD, "--dry-run")
    assert "No level would move." in ran.out


@pytest.mark.slow
def test_effects_tell_what_the_last_edit_moved(surveyed):
    surveyed("load", "measuring_points.csv", *TOLD)
    ran = surveyed("effects")
    assert ran.code == DONE
    assert ran.out.splitlines()[-1].split()[4:8] == ["97.500", "97.380", "-0.120", "-0.120"]
    assert "Levelled again (Ben, " in ran.out
    [row] = list(csv.DictReader(io.StringIO(surveyed("effects", "MW-1", "--format", "csv", "--unit", "ft").out)))
    assert float(row["difference_ft"]) == pytest.approx(-0.12 / 0.3048, abs=1e-6)
    assert surveyed("effects", "MW-2").err.splitlines()[-1] == "No level moved."
    between = ("--between", "2001-01-01T00:00Z", "2002-01-01T00:00Z")
    assert surveyed("effects", *between, "--format", "json").out == "[]\n"


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("effects", "MW-9"), STOPPED),
        (("effects", "--between", "2026-01-01", "2026-02-01"), WRONG_USAGE),
        (("effects", "--between", "2026-02-01T00:00Z", "2026-01-01T00:00Z"), WRONG_USAGE),
        (("history", "MW-9"), STOPPED),
        (("history",), WRONG_USAGE),
    ],
)
def test_what_is_not_known_is_refused(surveyed, arguments, code):
    assert surveyed(*arguments).code == code


def test_a_history_is_stated_under_who_when_and_why(surveyed):
    surveyed("load", "measuring_points.csv", *TOLD)
    surveyed("review", "approve", "--event", 1, "--by", "Vera")
    lines = surveyed("history", "MW-1").out.splitlines()
    headings = [line for line in lines if not line.startswith(" ")]
    assert [heading.partition(", ")[2] for heading in headings] == ["Ana", "Ben: Levelled again", "Vera"]
    point = "  measuring point main, 2018-01-01: elevation corrected: 101.000 m → 100.880 m"
    assert f"{point}  [measuring_points.csv, row 2]" in lines
    assert lines[-1] == "  review 2024-03-12T09:40+01:00 reviewed: provisional → approved"


def test_a_history_is_data_as_well(surveyed):
    told = json.loads(surveyed("history", "MW-1", "--format", "json").out)
    assert {row["subject"] for row in told} == {"site", "well", "measuring point", "level"}
    assert {row["recorded_by"] for row in told} == {"Ana"}
    assert len(rows(surveyed("history", "MW-1", "--format", "csv", "--each"))) == len(told)


def test_times_are_those_of_the_site_and_can_be_asked_for_as_printed(surveyed):
    ran = surveyed("history", "MW-1")
    heading = ran.out.splitlines()[0].partition(", ")[0]
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d UTC\+0[12]:00", heading)
    known = re.search(r"as known on (.*?) \(state", ran.err)[1]
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d UTC\+0[12]:00", known)
    later = (dt.datetime.fromisoformat(known.replace(" UTC", "")) + dt.timedelta(seconds=1)).isoformat(sep=" ")
    assert surveyed("levels", "--known-on", f"{later[:19]} UTC{later[19:]}").code == 0
    states = surveyed("history", "--states").out
    assert "[UTC+01:00]" in states
    data = json.loads(surveyed("history", "--states", "--format", "json").out)
    assert all(row["recorded_at_utc"].endswith(("Z", "+00:00")) for row in data)
