"""A folder into which logger files arrive: loaded, moved aside, and completed after a run that was killed."""

import os
import time

import pytest

from gwnet.errors import IngestError, OutputError, SettingsError
from gwnet.ingest.loggers import folders
from gwnet.ingest.loggers.folders import INBOX_COLUMNS
from gwnet.network import Network

from ..helpers import run_forked
from ..killing import ARM
from .test_logger_load import NOW, Loggers


@pytest.fixture
def loggers(tmp_path):
    made = Loggers(tmp_path / "record.sqlite", tmp_path)
    (tmp_path / "in").mkdir()
    made.one(made.file("seed.csv", [0.5], start=20), layout=made.layout)
    yield made
    made.net.close()


def run(loggers, **options):
    """Run over the inbox; outcome and new place of each file."""
    result = loggers.net.loggers.inbox(loggers.folder / "in", **{"by": "Ana", "now_utc": NOW, "wait_s": 0, **options})
    frame = result.frame()
    assert list(frame.columns) == list(INBOX_COLUMNS)
    rows = {row.file: (row.outcome, row.moved_to.rpartition("in/")[2]) for row in frame.itertuples()}
    return result, rows


def names(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def test_what_arrived_is_loaded_and_moved_and_a_second_run_has_nothing_to_do(loggers):
    loggers.file("in/a.csv", [1.0, 1.1])
    loggers.file("in/b.csv", ["2024-01-01 05:00,x,10.0"])
    result, rows = run(loggers)
    assert rows == {"a.csv": ("loaded", "done/a.csv"), "b.csv": ("refused", "")}
    assert result.has_findings
    assert names(loggers.folder / "in") == ["b.csv", "done/a.csv"]
    table = result.frame().set_index("file")
    assert list(table.loc["a.csv", ["instrument", "rows", "added", "same"]]) == ["L1", 4, 4, 0]
    assert "a number was expected" in table.loc["b.csv", "note"]
    (loggers.folder / "in" / "b.csv").unlink()
    result, rows = run(loggers)
    assert (rows, result.has_findings) == ({}, False)
    assert loggers.samples() == {0: 1.0, 1: 1.1, 20: 0.5}


def test_a_name_that_is_taken_is_never_replaced(loggers):
    loggers.file("in/a.csv", [1.0])
    run(loggers)
    first = (loggers.folder / "in" / "done" / "a.csv").read_bytes()
    loggers.file("in/a.csv", [1.1], start=1)
    assert run(loggers)[1] == {"a.csv": ("loaded", "done/a (2).csv")}
    assert (loggers.folder / "in" / "done" / "a.csv").read_bytes() == first
    # the same bytes once more are on record, and stay a file of their own
    (loggers.folder / "in" / "c.csv").write_bytes(first)
    assert run(loggers)[1] == {"c.csv": ("already loaded", "done/c.csv")}
    assert names(loggers.folder / "in") == ["done/a (2).csv", "done/a.csv", "done/c.csv"]


def test_without_links_a_file_still_moves_and_replaces_nothing(loggers, monkeypatch):
    def no_link(*_, **__):
        raise PermissionError

    monkeypatch.setattr(os, "link", no_link)
    loggers.file("in/a.csv", [1.0])
    run(loggers)
    loggers.file("in/a.csv", [1.1], start=1)
    run(loggers)
    assert names(loggers.folder / "in") == ["done/a (2).csv", "done/a.csv"]
    assert "1.1" in (loggers.folder / "in" / "done" / "a (2).csv").read_text()


def test_a_file_that_may_still_be_arriving_is_left_alone(loggers):
    path = loggers.file("in/a.csv", [1.0])
    assert run(loggers, wait_s=60)[1] == {"a.csv": ("arriving", "")}
    assert loggers.samples() == {20: 0.5}
    os.utime(path, (time.time() - 61,) * 2)
    assert run(loggers, wait_s=60)[1] == {"a.csv": ("loaded", "done/a.csv")}


def test_a_file_that_grew_while_it_was_read_stays_for_the_next_run(loggers, monkeypatch):
    path = loggers.file("in/a.csv", [1.0])
    load = loggers.net.loggers.load

    def load_while_it_grows(paths, **options):
        result = load(paths, **options)
        with path.open("a") as file:
            file.write("2024-01-01 03:00,1.5,10.1\n")
        return result

    monkeypatch.setattr(loggers.net.loggers, "load", load_while_it_grows)
    assert run(loggers)[1] == {"a.csv": ("arriving", "")}
    monkeypatch.undo()
    assert run(loggers)[1] == {"a.csv": ("loaded", "done/a.csv")}
    assert loggers.samples() == {0: 1.0, 1: 1.5, 20: 0.5}


def test_two_runs_do_not_meet_in_one_folder(loggers):
    loggers.file("in/a.csv", [1.0])
    with folders._locked(loggers.folder / "in"), pytest.raises(OutputError, match="Another run is at work"):
        run(loggers)
    assert names(loggers.folder / "in") == ["a.csv"]
    assert run(loggers)[1] == {"a.csv": ("loaded", "done/a.csv")}


def test_what_cannot_be_done_is_said_before_anything_is_loaded(loggers):
    loggers.file("in/a.csv", [1.0])
    with pytest.raises(SettingsError, match="who records"):
        run(loggers, by=" ")
    with pytest.raises(IngestError, match="no such folder"):
        loggers.net.loggers.inbox(loggers.folder / "none", by="Ana")
    with pytest.raises(OutputError, match="cannot be moved aside"):
        run(loggers, done=loggers.folder / "seed.csv")
    assert loggers.samples() == {20: 0.5}


KILLED = (
    ARM
    + r"""
import datetime as dt, os, pathlib, sys
from gwnet.network import Network

call, when, now = sys.argv[1:]
arm(pathlib.Path if call == "unlink" else os, call, 1, when)
Network("record.sqlite").loggers.inbox("in", by="Ana", wait_s=0, now_utc=dt.datetime.fromisoformat(now))
"""
)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("call", "when"), [("link", "before"), ("link", "after"), ("unlink", "before"), ("unlink", "after")]
)
def test_a_run_killed_between_load_and_move_is_completed_by_the_next(loggers, call, when):
    content = loggers.file("in/a.csv", [1.0, 1.1]).read_bytes()
    loggers.net.close()
    killed = run_forked("-c", KILLED, call, when, NOW.isoformat(), cwd=loggers.folder)
    assert killed.code == -9, killed.err
    loggers.net = Network(loggers.folder / "record.sqlite")
    before = loggers.count()
    assert loggers.samples() == {0: 1.0, 1: 1.1, 20: 0.5}
    _, rows = run(loggers)
    assert rows in ({"a.csv": ("already loaded", "done/a.csv")}, {})
    assert loggers.count() == before
    assert names(loggers.folder / "in") == ["done/a.csv"]
    assert (loggers.folder / "in" / "done" / "a.csv").read_bytes() == content
    assert len(loggers.net.loggers.downloads()) == 4
