"""Records on media that cannot be written: read all the same, in every journal mode; what cannot be read is said."""

import os
import shutil
import sqlite3
import tempfile
from pathlib import Path

import pytest

from gwnet.errors import StoreError
from gwnet.store import revision, sqlite_files
from gwnet.store.session import open_store
from gwnet.store.sqlite_files import read_only_parameters

from ..helpers import run_forked

#: Asks once as whoever runs the tests, which loads every module, then without the rights of the superuser.
DRIVER = """
import os, sys
from gwnet.cli import main
loaded, closed = sys.argv[1:]
assert main(["levels", "--format", "csv", "--db", loaded]) == 0
print("--")
sys.stdout.flush()
if os.geteuid() == 0:
    os.setuid(65534)
raise SystemExit(main(["levels", "--format", "csv", "--db", closed]))
"""


@pytest.fixture
def shelf():
    """Give a folder that anybody may look into, and that can be closed; open it again at the end."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


@pytest.mark.slow
@pytest.mark.parametrize("journal", ["wal", "delete"])
@pytest.mark.parametrize("file_mode", [0o444, 0o644])
def test_levels_of_a_record_in_a_folder_that_cannot_be_written(demo_store, shelf, journal, file_mode):
    closed = shelf / "a record 100%?.sqlite"
    shutil.copyfile(demo_store, closed)
    with sqlite3.connect(closed) as connection:
        connection.execute(f"PRAGMA journal_mode = {journal}")
    connection.close()
    closed.chmod(file_mode)
    shelf.chmod(0o555)
    ran = run_forked("-c", DRIVER, str(demo_store), str(closed), cwd=shelf)
    assert ran.code == 0, ran.err
    as_owner, _, as_anybody = ran.out.partition("--\n")
    assert as_anybody == as_owner
    assert as_anybody.count("\n") > 100
    assert sorted(path.name for path in shelf.iterdir()) == [closed.name]


RECORDING = """
import os, sys
from gwnet.cli import main
loaded, closed = sys.argv[1:]
main(["check", "--db", loaded, "--by", "A"])
main(["init", "--db", loaded])
sys.stderr.write("--\\n")
if os.geteuid() == 0:
    os.setuid(65534)
raise SystemExit(main(["check", "--db", closed, "--by", "A"]))
"""


@pytest.mark.slow
def test_recording_in_it_is_refused_with_what_to_do(demo_store, shelf):
    closed = shelf / "record.sqlite"
    shutil.copyfile(demo_store, closed)
    shelf.chmod(0o555)
    ran = run_forked("-c", RECORDING, str(demo_store), str(closed), cwd=shelf)
    refused = ran.err.partition("--\n")[2]
    assert ran.code == 1
    assert "The database cannot be written. Make the file and its folder writable, or work on a copy." in refused
    assert "Traceback" not in refused


def closed_to_writing(monkeypatch):
    """Let the system say that nothing may be written, which the superuser is never told."""
    access = os.access
    monkeypatch.setattr(sqlite_files.os, "access", lambda path, mode: mode != os.W_OK and access(path, mode))


def test_how_a_file_is_opened(tmp_path, monkeypatch):
    file = tmp_path / "a.sqlite"
    assert read_only_parameters(file) == {}
    file.touch()
    assert read_only_parameters(file) == {}
    closed_to_writing(monkeypatch)
    assert read_only_parameters(file) == {"mode": "ro", "immutable": "1"}
    for end in ("-wal", "-journal"):  # what is in a journal is not in the file yet
        beside = tmp_path / f"a.sqlite{end}"
        beside.touch()
        assert read_only_parameters(file) == {"mode": "ro"}
        beside.unlink()


def test_a_file_that_is_altered_while_it_is_read_without_locks_is_refused(tmp_path, monkeypatch):
    made = open_store(tmp_path / "a.sqlite", create=True)
    revision.upgrade(made)
    made.close()
    closed_to_writing(monkeypatch)
    opened = open_store(tmp_path / "a.sqlite")
    assert opened.is_immutable
    assert opened.name == str(tmp_path / "a.sqlite")
    assert revision.current(opened) == revision.HEAD
    with pytest.raises(StoreError, match="altered while it was read"), opened.reading():
        os.utime(tmp_path / "a.sqlite", ns=(1, 1))
    opened.close()


def test_a_record_in_use_is_read_with_its_journal(tmp_path, monkeypatch):
    """What another program has written, but not yet folded in, is read as well."""
    address = tmp_path / "a.sqlite"
    made = open_store(address, create=True)
    revision.upgrade(made)
    writer = sqlite3.connect(address)
    writer.execute("INSERT INTO site (code) VALUES ('S')")
    writer.commit()
    closed_to_writing(monkeypatch)
    opened = open_store(address)
    assert not opened.is_immutable
    with opened.reading() as connection:
        assert connection.exec_driver_sql("SELECT code FROM site").scalars().all() == ["S"]
    opened.close()
    writer.close()
    made.close()
