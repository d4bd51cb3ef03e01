"""``gwnet logger samples``, ``downloads``, ``conflicts``, ``inbox`` and ``layouts --instrument``: what was loaded."""

import csv
import io
import json
import os
import time
from pathlib import Path

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, WRONG_USAGE

from .test_logger_load import BY


@pytest.fixture
def loaded(logger_files_here):
    assert logger_files_here("logger", "load", "a.csv", "--layout", "both.toml", *BY).code == DONE
    return logger_files_here


def rows(ran):
    assert ran.code == DONE, ran.err
    return list(csv.DictReader(io.StringIO(ran.out)))


def test_samples_of_any_quantity_are_printed_as_they_are_in_the_files(loaded):
    table = rows(loaded("logger", "samples", "--series", "water temperature", "--format", "csv"))
    assert [(row["instrument"], row["unit"], row["value"]) for row in table] == [("L1", "degC", "9.5")] * 3
    assert [row["time_utc"][:16] for row in table] == [f"2024-01-01T0{hour}:00" for hour in (1, 2, 3)]
    # it was installed half an hour after the first sample
    assert [row["well"] for row in table] == ["", "MW-1", "MW-1"]
    both = rows(loaded("logger", "samples", "--well", "MW-1", "--format", "csv"))
    assert sorted({row["quantity"] for row in both}) == ["water pressure", "water temperature"]
    assert len(both) == 4
    assert len(rows(loaded("logger", "samples", "--to", "2023-12-31", "--format", "csv"))) == 0
    asked = loaded("logger", "samples", "--instrument", "L9")
    assert (asked.code, "No series of instrument 'L9' is on record" in asked.err) == (STOPPED, True)


@pytest.mark.parametrize("ending", ["png", "pdf", "svg"])
def test_samples_are_drawn_into_a_file(loaded, tmp_path, ending):
    ran = loaded("logger", "samples", "--out", f"raw.{ending}")
    assert (ran.code, ran.out) == (DONE, f"raw.{ending}\n")
    assert (tmp_path / f"raw.{ending}").stat().st_size > 1000
    assert loaded("logger", "samples", "--to", "2023-12-31", "--out", "none.png").code == STOPPED
    assert not (tmp_path / "none.png").exists()


def test_downloads_and_conflicts_are_listed(loaded):
    assert loaded("logger", "load", "b.csv", "--layout", "plain.toml", *BY).code == DONE_WITH_FINDINGS
    table = rows(loaded("logger", "downloads", "--format", "csv"))
    assert [(row["file"], row["quantity"], row["added"], row["conflicts"]) for row in table] == [
        ("a.csv", "water pressure", "3", "0"),
        ("a.csv", "water temperature", "3", "0"),
        ("b.csv", "water pressure", "1", "1"),
    ]
    assert "layout_text" not in table[0]
    [conflict] = json.loads(loaded("logger", "conflicts", "--format", "json").out)
    assert (conflict["stored"], conflict["given"], conflict["file"], conflict["row"]) == (1.2, 1.5, "b.csv", 4)
    assert rows(loaded("logger", "conflicts", "--instrument", "L2", "--format", "csv")) == []


@pytest.mark.slow
def test_the_layout_of_an_instrument_is_printed(loaded):
    ran = loaded("logger", "layouts", "--instrument", "L1")
    assert 'quantity = "water temperature"' in ran.out
    assert loaded("logger", "layouts", "--instrument", "B1").code == STOPPED


def test_an_inbox_reports_for_a_scheduler(loaded, tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    assert loaded("logger", "inbox", "in", *BY).code == DONE
    (tmp_path / "b.csv").rename(folder / "b.csv")
    os.utime(folder / "b.csv", (time.time() - 100,) * 2)
    ran = loaded("logger", "inbox", "in", *BY, "--format", "json")
    [summary] = json.loads(ran.out)
    assert (ran.code, summary["file"], summary["outcome"], summary["conflicts"]) == (
        DONE_WITH_FINDINGS,
        "b.csv",
        "loaded",
        1,
    )
    assert summary["moved_to"] == str(Path("in", "done", "b.csv"))
    (tmp_path / "bad.csv").rename(folder / "bad.csv")
    ran = loaded("logger", "inbox", "in", "--wait", "0", *BY, "--format", "json")
    [summary] = json.loads(ran.out)
    assert (ran.code, summary["outcome"]) == (DONE_WITH_FINDINGS, "refused")
    assert "a number was expected" in summary["note"]
    assert (folder / "bad.csv").exists()
    assert loaded("logger", "inbox", "nowhere", *BY).code == WRONG_USAGE


def test_a_folder_is_loaded_by_one_command(loaded, tmp_path):
    folder = tmp_path / "month"
    folder.mkdir()
    for name in ("b", "bad"):
        (tmp_path / f"{name}.csv").rename(folder / f"{name}.csv")
    ran = loaded("logger", "load", "month", *BY)
    assert ran.code == DONE_WITH_FINDINGS
    assert "1 of 2 files landed, 1 refused" in ran.err
