"""Issuing is one act: all files and the registration, or nothing; issued again with nothing new it is the same issue."""

import datetime as dt
import hashlib
import json
import sqlite3
from dataclasses import replace

import pytest

from gwnet.cli import main
from gwnet.errors import ReportError, StoreError
from gwnet.products import reports
from gwnet.store import waiting

from ..helpers import run_forked, run_gwnet
from ..killing import ARM
from .field_record import field_network

AT = dt.datetime(2026, 4, 2, 8, 0, tzinfo=dt.UTC)
DEFINITION = 'title = "Levels"\nsections = ["levels", "earlier_reports", "sign_off"]\n'
WELL = "site,well,easting,northing,notes\nF,A1,500000,5300000,Lid replaced\n"


@pytest.fixture
def definition(tmp_path):
    path = tmp_path / "levels.toml"
    path.write_text(DEFINITION)
    return path


def decided(net):
    """Record the findings and accept all of them."""
    net.checks.record(by="C. Hecker", now_utc=AT)
    waiting = net.review.queue().findings
    ids = [int(number) for number in waiting[waiting.columns[0]]]
    if ids:
        net.review.decide(ids, "accept", reason="Looked at", together=True, by="R. Viewer", now_utc=AT)
    return net


@pytest.fixture
def net(tmp_path):
    with field_network(tmp_path) as opened:
        yield decided(opened)


def issue(net, definition, out, hours=1, period="2025-Q4", **more):
    at = AT + dt.timedelta(hours=hours)
    return net.report(definition, period, out, issue=True, by="I. Ssuer", now_utc=at, processes=1, **more)


def read_folder(folder):
    return {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in folder.iterdir()}


@pytest.mark.slow
def test_issued_again_with_nothing_new_it_is_the_issue_that_exists(net, definition, tmp_path, capsys):
    first = issue(net, definition, tmp_path / "out")
    assert first.is_new
    assert first.describe().startswith("Issued as number 1: levels 2025-Q4 of F, PROVISIONAL, record as known on 2026-")
    before = read_folder(tmp_path / "out")

    again = issue(net, definition, tmp_path / "out", hours=2)
    assert (set(again), again[0], again.issue, again.is_new) == (set(first), first[0], first.issue, False)
    assert again.describe().startswith("Nothing new is on record since issue 1 (levels 2025-Q4 of F, PROVISIONAL")
    assert read_folder(tmp_path / "out") == before

    elsewhere = issue(net, definition, tmp_path / "other", hours=3)
    assert [path.read_bytes() for path in elsewhere] == [path.read_bytes() for path in first]
    assert len(net.report.issues()) == 1

    command = ["report", str(definition), "--period", "2025-Q4", "--out", str(tmp_path / "out"), "--issue"]
    assert main([*command, "--db", net.store.name, "--by", "Other"]) == 0
    printed = capsys.readouterr()
    assert sorted(printed.out.splitlines()) == sorted(str(path) for path in first)
    assert "Nothing new is on record since issue 1" in printed.err
    assert read_folder(tmp_path / "out") == before


@pytest.mark.slow
def test_another_issue_between_is_nothing_new_and_a_recording_is(net, definition, tmp_path):
    issue(net, definition, tmp_path / "out", period="2025-Q4")
    issue(net, definition, tmp_path / "out", hours=2, period="2025-Q3")
    assert issue(net, definition, tmp_path / "out", hours=3, period="2025-Q4").issue.number == 1
    source = tmp_path / "wells.csv"
    source.write_text(WELL)
    net.load([source], by="Keeper", now_utc=AT + dt.timedelta(hours=4), correct=True, reason="New lid")
    newer = issue(net, definition, tmp_path / "out", hours=5, period="2025-Q4")
    assert (newer.issue.number, newer.is_new) == (3, True)


@pytest.mark.slow
def test_files_that_were_altered_are_written_again_as_they_were_issued(net, definition, tmp_path):
    first = issue(net, definition, tmp_path / "out")
    content = first[-1].read_bytes()
    first[-1].write_bytes(b"spilled")
    assert issue(net, definition, tmp_path / "out", hours=2).issue.number == 1
    assert first[-1].read_bytes() == content


@pytest.mark.slow
def test_an_issue_whose_files_cannot_be_made_again_is_named_and_nothing_is_written(
    net, definition, tmp_path, monkeypatch
):
    first = issue(net, definition, tmp_path / "out")
    make = reports.make_files
    monkeypatch.setattr(reports, "make_files", lambda *args, **more: replace(make(*args, **more), sha256="0" * 64))
    with pytest.raises(ReportError, match=f"since issue 1, .*cannot make its files again.*{first.issue.sha256}"):
        issue(net, definition, tmp_path / "other", hours=2)
    assert not (tmp_path / "other").exists()


@pytest.mark.slow
def test_a_locked_database_while_issuing_leaves_nothing_at_all(net, definition, tmp_path, monkeypatch):
    monkeypatch.setattr(waiting, "PATIENCE_S", 0.2)
    before = sorted(path.name for path in tmp_path.iterdir())
    with field_locked(net), gwnet_open(net) as other:
        with pytest.raises(StoreError, match="Another program has been writing to the record"):
            issue(other, definition, tmp_path / "out")
        assert sorted(path.name for path in tmp_path.iterdir()) == before
        assert other.report.issues().empty
    assert issue(net, definition, tmp_path / "out").is_new


def gwnet_open(net):
    import gwnet

    return gwnet.open(net.store.name)


class field_locked:  # noqa: N801 (used as a context)
    """Another program that holds the write lock."""

    def __init__(self, net):
        self.connection = sqlite3.connect(net.store.name, isolation_level=None)

    def __enter__(self):
        self.connection.execute("BEGIN IMMEDIATE")

    def __exit__(self, *_):
        self.connection.execute("ROLLBACK")
        self.connection.close()


#: Registers one set of files after another, each in a process that is killed at another call.
DRIVER = (
    ARM
    + r"""
import datetime as dt, hashlib, json, os, shutil, sys
from pathlib import Path
from types import SimpleNamespace
from gwnet.products.issues import Issuing
from gwnet.products.issuing import complete_begun, find_files, registration_of
from gwnet.records import RecordState
from gwnet.reporting.definition.parse import load_definition
from gwnet.reporting.write import ReportFiles
from gwnet.store.fetch.issues import issues
from gwnet.store.session import open_store

address, when, at_text = sys.argv[1:]
store = open_store(address)
definition, at_utc = load_definition("quarterly"), dt.datetime.fromisoformat(at_text)
site = SimpleNamespace(code="F", length_unit="m")
data = SimpleNamespace(site=site, earlier=(), known_on=RecordState(1, at_utc, "0" * 64))
CALLS = ("mkdir", "fsync", "link", "replace", "unlink", "rmdir")


def made(number):
    contents = {f"r_{name}": f"{name} {number}".encode() for name in ("1.pdf", "2.csv")}
    contents = {"r.pdf": f"pdf {number}".encode(), **contents}
    digests = {name: {"sha256": hashlib.sha256(content).hexdigest()} for name, content in contents.items()}
    manifest = json.dumps({"files": digests}).encode()
    digest = digests["r.pdf"]["sha256"]
    return ReportFiles("r.pdf", "r.manifest.json", (), contents | {"r.manifest.json": manifest}, "APPROVED", [], digest)


def registered(digest):
    with store.reading() as connection:
        return [issue for issue in issues(connection) if issue.sha256 == digest]


outcomes, at = {"none": 0, "whole": 0}, 0
while True:
    at += 1
    out, files, period = Path(f"out{at}"), made(at), SimpleNamespace(label="2025-Q4")
    if at % 2:
        out.mkdir()
        (out / "r.pdf").write_bytes(b"older")
    child = os.fork()
    if child == 0:
        store.engine.dispose(close=False)
        for call in CALLS:
            arm(os, call, at, when)
        arm(store.engine.dialect, "do_commit", at, when)
        arm(store.engine.dialect, "do_begin", at, when)
        issuing = Issuing(by="I. Ssuer", now_utc=at_utc)
        files.write(out, registration_of(store, definition, period, data, issuing, files))
        os._exit(0)
    _, status = os.waitpid(child, 0)
    visible = {path.name: path.read_bytes() for path in out.glob("*") if path.is_file()} if out.is_dir() else {}
    before = {"r.pdf": b"older"} if at % 2 else {}
    issue = registered(files.sha256)
    assert issue or visible == before, (at, visible)
    complete_begun(store, out)
    assert bool(registered(files.sha256)) == bool(issue), at
    left = sorted(path.name for path in out.iterdir()) if out.is_dir() else []
    if issue:
        assert len(find_files(out, issue[0])) == 4, (at, left)
        assert left == sorted(files.contents), (at, left)
        outcomes["whole"] += 1
    else:
        assert left == sorted(before), (at, left)
        outcomes["none"] += 1
    if not os.WIFSIGNALED(status):
        assert issue
        break
print(json.dumps({"points": at, **outcomes}))
"""
)


@pytest.mark.slow
@pytest.mark.parametrize("when", ["before", "after"])
def test_a_kill_at_any_call_leaves_no_issue_and_no_file_or_the_whole_issue(when, store_url, tmp_path):
    field_network(tmp_path, address=store_url).close()
    ran = run_forked("-c", DRIVER, str(store_url), when, AT.isoformat(), cwd=tmp_path)
    assert ran.code == 0, ran.err
    counted = json.loads(ran.out)
    assert counted["points"] > 20
    assert counted["none"] > 10
    assert counted["whole"] > 8


KILLED = r"""
import os, signal, sys
from gwnet.cli import main
replace, placed = os.replace, []


def counted(source, target):
    placed.append(target)
    if len(placed) == 4:
        os.kill(os.getpid(), signal.SIGKILL)
    return replace(source, target)


os.replace = counted
main(sys.argv[1:])
"""


@pytest.mark.slow
def test_the_command_after_a_kill_completes_the_issue(net, definition, tmp_path):
    command = ["report", str(definition), "--period", "2025-Q4", "--out", "out", "--by", "I. Ssuer", "--db"]
    killed = run_forked("-c", KILLED, *command, net.store.name, "--issue", cwd=tmp_path)
    assert killed.code == -9
    assert len(net.report.issues()) == 1
    assert not (tmp_path / "out" / "levels_F_2025-Q4.manifest.json").exists()
    again = run_gwnet(*command, net.store.name, "--issue", cwd=tmp_path)
    assert again.code == 0, again.err
    assert "Nothing new is on record since issue 1" in again.err
    listed = json.loads((tmp_path / "out" / "levels_F_2025-Q4.manifest.json").read_text())["files"]
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == sorted([*listed, "levels_F_2025-Q4.manifest.json"])
    for name, told in listed.items():
        assert hashlib.sha256((tmp_path / "out" / name).read_bytes()).hexdigest() == told["sha256"]
