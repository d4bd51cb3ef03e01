"""``gwnet logger load`` and ``withdraw`` as a person sees them."""

import csv
import io
import json

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, WRONG_USAGE
from gwnet.cli.loggers import COMMANDS

BY = ("--by", "Ana")
PLAINLY = ("--layout", "plain.toml", *BY)


@pytest.fixture
def here(logger_files_here):
    """Give the command line in a folder with a record and logger files."""
    return logger_files_here


def test_a_file_is_reported_in_a_few_lines(here):
    ran = here("logger", "load", "a.csv", "--layout", "both.toml", *BY)
    assert ran.code == DONE
    assert ran.out.splitlines() == [
        "a.csv: L1, layout both, times in UTC+01:00",
        "  water pressure [kPa]: 3 rows, 3 added",
        "  water temperature [degC]: 3 rows, 3 added",
        "  2024-01-01 01:00Z to 2024-01-01 03:00Z; every 1 h; no gap",
    ]
    assert ran.err == "a.csv: 1 row is of a time when L1 was not installed.\n"


def test_the_same_file_again_says_so(here):
    here("logger", "load", "a.csv", *PLAINLY)
    ran = here("logger", "load", "a.csv", *PLAINLY)
    assert (ran.code, ran.err) == (DONE, "")
    assert ran.out.startswith("a.csv: already loaded on ")
    assert ran.out.endswith(" UTC+01:00 as a.csv; nothing changed\n")


def test_conflicts_are_findings_with_their_rows(here):
    here("logger", "load", "a.csv", *PLAINLY)
    ran = here("logger", "load", "b.csv", *PLAINLY)
    assert ran.code == DONE_WITH_FINDINGS
    assert "3 rows, 1 added, 1 on record already, 1 with another value than on record" in ran.out
    said = "b.csv, row 4: water pressure at 2024-01-01 03:00Z is 1.5 kPa; on record is 1.2, which stays."
    assert said in ran.err.splitlines()


def test_a_refused_file_stops_and_others_land(here):
    ran = here("logger", "load", "bad.csv", *PLAINLY)
    assert (ran.code, ran.out) == (STOPPED, "bad.csv: refused; nothing of it was stored\n")
    assert "row 4: column 'Pressure' has 'x'; a number was expected" in ran.err
    ran = here("logger", "load", "bad.csv", "a.csv", *PLAINLY)
    assert ran.code == DONE_WITH_FINDINGS
    assert ran.out.splitlines()[0] == "bad.csv: refused; nothing of it was stored"
    assert "1 of 2 files landed, 1 refused; nothing of these." in ran.err


def test_the_result_as_data(here):
    ran = here("logger", "load", "a.csv", "--layout", "both.toml", "--format", "csv", *BY)
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert [(row["quantity"], row["added"], row["outside"]) for row in rows] == [
        ("water pressure", "3", "1"),
        ("water temperature", "3", "1"),
    ]
    ran = here("logger", "load", "a.csv", *PLAINLY, "--format", "json")
    [row] = json.loads(ran.out)
    assert row["note"].startswith("already loaded on ")


def test_a_withdrawal_and_what_counts_now(here):
    here("logger", "load", "a.csv", "b.csv", *PLAINLY)
    assert here("logger", "withdraw", "a.csv", *BY).code == WRONG_USAGE
    ran = here("logger", "withdraw", "a.csv", "--reason", "Of another well", *BY)
    assert (ran.code, ran.err) == (DONE, "")
    assert ran.out.splitlines() == [
        "a.csv: L1 water pressure: 3 samples count no more",
        "  2 of water pressure are taken from b.csv now",
    ]
    ran = here("history", "MW-1")
    assert "download L1 water pressure withdrawn  [a.csv]" in ran.out
    assert ": Of another well" in ran.out
    ran = here("logger", "withdraw", "a.csv", "--reason", "again", *BY)
    assert ran.code == STOPPED
    assert "No download of 'a.csv' is on record." in ran.err


def test_what_cannot_be_loaded_says_what_to_do(here):
    ran = here("logger", "load", "nowhere.csv", *PLAINLY)
    assert ran.code == WRONG_USAGE
    ran = here("logger", "load", "a.csv", "--layout", "plain.toml", "--instrument", "L7", *BY)
    assert ran.code == STOPPED
    assert "There is no instrument 'L7' on record. Did you mean " in ran.err
    ran = here("logger", "load", "a.csv", "--layout", "plian", *BY)
    assert ran.code == STOPPED
    assert "There is no layout 'plian'." in ran.err


def test_the_help_lists_the_commands_with_the_lines_of_their_docstrings(gwnet_here):
    ran = gwnet_here("logger", "--help")
    for name, (_, line) in COMMANDS.items():
        assert f" {name} {line}" in " ".join(ran.out.split())
        assert " ".join(gwnet_here("logger", name, "--help").out.split()).count(line.rstrip(".")) == 1
    assert gwnet_here("logger", "lod").code == WRONG_USAGE
