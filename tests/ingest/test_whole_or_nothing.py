"""Loading in the face of kills, full disks, read-only folders and other writers; the same on both databases."""

import os
import resource
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from gwnet.errors import StoreError
from gwnet.network import Network, init
from gwnet.store import revision

from ..forked import start
from ..helpers import surroundings
from .conftest import EVENTS, NOW, TABLES, Loader

EVENT_ROWS = 20_000


@pytest.fixture
def on_any_database(store_url, tmp_path):
    folder = tmp_path / "tables"
    folder.mkdir()
    loader = Loader(store_url, folder)
    yield loader
    loader.net.close()


def write_first(loader):
    first = loader.folder / "first"
    first.mkdir()
    for name, text in TABLES.items():
        (first / f"{name}.csv").write_text(text)
    loader.load(first)


def many_events(path, count=EVENT_ROWS):
    with path.open("w") as file:
        file.write("site,well,measured_at,depth_to_water,depth_to_water_2\n")
        for n in range(count):
            day, clock = (
                f"2019-{1 + n // 2 % 12:02d}-{1 + n // 24 % 28:02d}",
                f"{n // 672 % 24:02d}:{n // 16128 % 60:02d}",
            )
            file.write(f"S,MW-{1 + n % 2},{day}T{clock}Z,3.4,3.401\n")
    return path


@pytest.mark.slow
def test_the_whole_route_on_both_databases(on_any_database):
    loader = on_any_database
    write_first(loader)
    path = many_events(loader.folder / "level_events.csv", 600)
    assert loader.load(path).files[0].added == 600
    assert "already loaded" in loader.load(path).files[0].note
    levels = loader.net.levels()
    assert len(levels) == 600
    assert levels["usable"].all()
    moved = TABLES["measuring_points"].replace("100.7", "100.9")
    later = NOW.replace(hour=20)
    soon = NOW.replace(second=1)
    loader.text(moved, "measuring_points.csv", correct=True, reason="resurveyed", now=later)
    shift = (
        loader.net.levels(["MW-1"])["water_elevation_m"]
        - loader.net.levels(["MW-1"], known_on=soon)["water_elevation_m"]
    )
    assert shift.round(9).unique().tolist() == [0.2]
    found = loader.rejected("site,well,valid_from,elevation\nS,MW-1,2019-06-01,5\n", "measuring_points_2.csv")
    assert found[0].problem == "measuring-points-overlap"
    result = loader.load(path, withdraw=True, reason="test", now=later)
    assert result.files[0].withdrawn == 600


def test_reading_the_same_frames_from_both_databases(on_any_database):
    loader = on_any_database
    write_first(loader)
    loader.text(EVENTS + "S,MW-1,2024-03-12,,3.474,3.476\nS,MW-2,1950-03-12,09:40,3.4,\n".replace("1950", "2019"))
    levels = loader.net.levels()
    assert levels["measured_at"].tolist() == ["2024-03-12", "2019-03-12T09:40+01:00"]
    assert levels["measured_at_utc"].dt.strftime("%Y-%m-%d %H:%M").tolist() == ["2024-03-12 11:00", "2019-03-12 08:40"]
    assert levels["water_elevation_m"].round(6).tolist() == [97.225, 97.8]


def counts(database):
    connection = sqlite3.connect(database)
    found = [
        connection.execute(f"SELECT count(*) FROM {t}").fetchone()[0]
        for t in ("source_file", "level_event", "level_record", "level_reading")
    ]
    connection.close()
    return found


LOAD = """
import datetime as dt, sys
from gwnet.network import Network
net = Network(sys.argv[1])
print("ready", flush=True)
net.load([sys.argv[2]], by="Ana")
print("done", flush=True)
"""


@pytest.mark.slow
def test_a_kill_at_any_moment_leaves_all_of_the_file_or_none(loader, tmp_path):
    path = many_events(loader.folder / "level_events.csv")
    before = counts(tmp_path / "record.sqlite")
    killed = 0
    for delay in (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0):
        reader, writer = os.pipe()
        load = ("-c", LOAD, tmp_path / "record.sqlite", path)
        with (
            os.fdopen(reader) as told,
            start(*load, cwd=tmp_path, env=surroundings(), files=[0, writer, 2]) as process,
        ):
            os.close(writer)
            assert told.readline() == "ready\n"
            time.sleep(delay)
            process.kill()
            finished = told.read() == "done\n"
            process.wait()
        killed += not finished
        now = counts(tmp_path / "record.sqlite")
        whole = [before[0] + 1, before[1] + EVENT_ROWS, before[2] + EVENT_ROWS, before[3] + 2 * EVENT_ROWS]
        assert now in (before, whole)
        if now == whole:
            break
    assert killed >= 1
    if counts(tmp_path / "record.sqlite") == before:
        loader.load(path)
    assert len(loader.net.levels()) == EVENT_ROWS


FULL = """
import resource, signal, sys
from gwnet.errors import StoreError
from gwnet.network import Network
net = Network(sys.argv[1])
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
limit = int(sys.argv[3])
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
try:
    net.load([sys.argv[2]], by="Ana")
except StoreError as error:
    print(error)
"""


@pytest.mark.slow
def test_a_full_disk_writes_nothing(loader, tmp_path):
    path = many_events(loader.folder / "level_events.csv")
    database = tmp_path / "record.sqlite"
    before = counts(database)
    limit = str(1_500_000)
    ran = subprocess.run([sys.executable, "-c", FULL, str(database), str(path), limit], capture_output=True, text=True)
    assert "nothing was written" in ran.stdout, ran.stderr
    assert counts(database) == before
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 1_500_000
    loader.load(path)
    assert len(loader.net.levels()) == EVENT_ROWS


@pytest.mark.skipif(os.geteuid() == 0 and not Path("/usr/bin/setpriv").exists(), reason="root may write everywhere")
def test_a_folder_that_cannot_be_written(tmp_path):
    database = tmp_path / "closed" / "record.sqlite"
    database.parent.mkdir()
    database.parent.chmod(0o555)
    code = f"""
from gwnet.errors import StoreError
from gwnet.network import init
try:
    init({str(database)!r})
except StoreError as error:
    print(error)
"""
    command = [sys.executable, "-c", code]
    if os.geteuid() == 0:
        for parent in (tmp_path, *tmp_path.parents):
            if parent != parent.parent and str(parent).startswith("/tmp/"):
                parent.chmod(parent.stat().st_mode | 0o055)
        command = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", *command]
    ran = subprocess.run(
        command, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    )
    database.parent.chmod(0o755)
    assert "folder exists and is writable" in ran.stdout, ran.stderr
    assert not database.exists()


def test_another_writer_is_waited_for_and_then_stated(loader, tmp_path, monkeypatch):
    other = sqlite3.connect(tmp_path / "record.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    monkeypatch.setattr("gwnet.store.waiting.PATIENCE_S", 0.2)
    hasty = Network(tmp_path / "record.sqlite")
    path = loader.write("level_events.csv", EVENTS + "S,MW-1,2024-03-12,09:40,3.4,\n")
    with pytest.raises(StoreError, match="Another program has been writing"):
        hasty.load([path], by="Ana")
    other.execute("ROLLBACK")
    other.close()
    assert hasty.load([path], by="Ana").files[0].added == 1
    hasty.close()


def test_making_a_database_twice_keeps_what_is_there(loader, tmp_path):
    assert init(tmp_path / "record.sqlite") == (revision.HEAD, revision.HEAD)
    assert len(loader.net.wells()) == 2
