"""Backup and restore: one state of a record in use, verified, on either database and back."""

import hashlib
import sqlite3
import threading

import pytest
from sqlalchemy import text

from gwnet.errors import OutputError, StoreError
from gwnet.store import backup, copying, revision
from gwnet.store.backup import make_backup, restore_backup
from gwnet.store.copying import list_tables, sum_up
from gwnet.store.models.schema import METADATA
from gwnet.store.session import open_store

from .conftest import load_dump
from .released.rows import CONTENT


def sums_of(store):
    with store.reading() as connection:
        return sum_up(connection, list_tables(connection), lambda _: None)


def open_sums(address):
    opened = open_store(address)
    try:
        return sums_of(opened)
    finally:
        opened.close()


@pytest.mark.slow
def test_a_record_goes_from_either_database_to_a_file_and_to_both_and_back(filled, tmp_path, postgres_module_url):
    expected = sums_of(filled)
    assert set(METADATA.tables) <= set(expected)
    made = make_backup(filled, tmp_path / "copy")
    assert (made.revision, made.tables, made.rows) == (
        revision.HEAD,
        len(expected),
        sum(s.rows for s in expected.values()),
    )
    assert made.originals > 0
    assert open_sums(tmp_path / "copy") == expected
    assert sorted(path.name for path in tmp_path.iterdir() if "record" not in path.name) == ["copy"]

    restore_backup(tmp_path / "copy", tmp_path / "again.sqlite")
    assert open_sums(tmp_path / "again.sqlite") == expected

    server = postgres_module_url
    with emptied(server):
        restored = restore_backup(tmp_path / "copy", server)
        assert restored.rows == made.rows
        assert open_sums(server) == expected
        opened = open_store(server)
        make_backup(opened, tmp_path / "back")
        with opened.reading() as connection:
            highest = connection.execute(text("SELECT max(id) FROM well")).scalar_one()
            assert (
                connection.execute(text("SELECT nextval(pg_get_serial_sequence('well', 'id'))")).scalar_one() > highest
            )
        opened.close()
    assert open_sums(tmp_path / "back") == expected


class emptied:  # noqa: N801 (used as a context)
    """A PostgreSQL database without anything in it."""

    def __init__(self, url):
        self.url = url

    def __enter__(self):
        import psycopg

        with psycopg.connect(self.url, autocommit=True) as admin:
            admin.execute("DROP SCHEMA public CASCADE")
            admin.execute("CREATE SCHEMA public")

    def __exit__(self, *_):
        pass


def test_a_restored_record_says_its_revision_and_takes_new_rows(filled, tmp_path):
    make_backup(filled, tmp_path / "copy")
    restore_backup(tmp_path / "copy", tmp_path / "again.sqlite")
    opened = open_store(tmp_path / "again.sqlite")
    revision.guard(opened)
    with opened.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "wal"
    opened.close()
    with sqlite3.connect(tmp_path / "copy") as copy:
        assert copy.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    copy.close()


def test_a_backup_of_a_record_that_is_written_to_is_one_state_of_it(tmp_path):
    """A writer adds pairs of sites, each pair in one transaction: a copy never has half of a pair."""
    address = tmp_path / "record.sqlite"
    store = open_store(address, create=True)
    revision.upgrade(store)
    stop, written = threading.Event(), []

    def write():
        with sqlite3.connect(address, isolation_level=None, timeout=30) as connection:
            while not stop.is_set():
                number = len(written)
                connection.execute("BEGIN IMMEDIATE")
                connection.executemany("INSERT INTO site (code) VALUES (?)", [(f"A{number}",), (f"B{number}",)])
                connection.execute("COMMIT")
                written.append(number)
        connection.close()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        counts = []
        for turn in range(5):
            before = len(written)
            made = make_backup(store, tmp_path / f"copy{turn}")
            assert made.rows % 2 == 0
            assert made.rows >= 2 * before
            counts.append(made.rows)
    finally:
        stop.set()
        writer.join()
    assert counts == sorted(counts)
    assert counts[-1] > counts[0]
    store.close()


def test_a_file_is_replaced_only_when_asked_and_never_the_record(filled, tmp_path):
    (tmp_path / "copy").write_text("precious")
    with pytest.raises(OutputError, match="a file of this name already"):
        make_backup(filled, tmp_path / "copy")
    assert (tmp_path / "copy").read_text() == "precious"
    assert make_backup(filled, tmp_path / "copy", replace=True).rows > 0
    if filled.is_sqlite:
        with pytest.raises(OutputError, match="would replace the record itself"):
            make_backup(filled, tmp_path / "record.sqlite", replace=True)
    with pytest.raises(OutputError, match="Check that the folder exists"):
        make_backup(filled, tmp_path / "none" / "copy")


@pytest.mark.slow
def test_a_copy_that_differs_is_not_kept(filled, tmp_path, monkeypatch):
    """One value is changed between copying and comparing."""
    finish = backup._finish_file

    def spoil(path, journal):
        finish(path, journal)
        with sqlite3.connect(path) as connection:
            connection.execute("DROP TRIGGER IF EXISTS tr_site_kept")
            connection.execute("INSERT INTO site (code) VALUES ('stray')")
        connection.close()

    monkeypatch.setattr(backup, "_finish_file", spoil)
    with pytest.raises(StoreError, match="The copy is not the record: table site has"):
        make_backup(filled, tmp_path / "copy")
    assert not [path for path in tmp_path.iterdir() if "record" not in path.name]


def test_a_record_is_restored_into_what_is_new_or_empty_only(filled, tmp_path):
    make_backup(filled, tmp_path / "copy")
    expected = sums_of(filled)
    with pytest.raises(StoreError, match="holds a record already"):
        restore_backup(tmp_path / "copy", filled.engine.url.render_as_string(hide_password=False))
    assert sums_of(filled) == expected
    empty = open_store(tmp_path / "empty.sqlite", create=True)
    revision.upgrade(empty)
    empty.close()
    restore_backup(tmp_path / "copy", tmp_path / "empty.sqlite")
    assert open_sums(tmp_path / "empty.sqlite") == expected


def test_what_is_no_backup_or_is_damaged_is_refused_and_nothing_is_made(filled, tmp_path):
    (tmp_path / "words").write_text("rain all day\n" * 400)
    with pytest.raises(StoreError, match="not a gwnet database"):
        restore_backup(tmp_path / "words", tmp_path / "new.sqlite")
    sqlite3.connect(tmp_path / "bare").close()
    with pytest.raises(StoreError, match="holds no gwnet record"):
        restore_backup(tmp_path / "bare", tmp_path / "new.sqlite")
    with pytest.raises(StoreError, match="There is no database"):
        restore_backup(tmp_path / "none", tmp_path / "new.sqlite")
    make_backup(filled, tmp_path / "copy")
    content = bytearray((tmp_path / "copy").read_bytes())
    content[len(content) // 2 : len(content) // 2 + 4096] = bytes(4096)
    (tmp_path / "copy").write_bytes(content)
    with pytest.raises(StoreError):
        restore_backup(tmp_path / "copy", tmp_path / "new.sqlite")
    assert not (tmp_path / "new.sqlite").exists()


def test_an_older_backup_is_restored_as_it_is_and_upgraded_then(store_url, tmp_path):
    load_dump(str(tmp_path / "old.sqlite"), "0001")
    if "://" in store_url:
        with pytest.raises(StoreError, match=r"backup is at revision 0001.*Restore it into a new SQLite file"):
            restore_backup(tmp_path / "old.sqlite", store_url)
        return
    made = restore_backup(tmp_path / "old.sqlite", store_url)
    assert made.revision == "0001"
    opened = open_store(store_url)
    assert revision.upgrade(opened) == ("0001", revision.HEAD)
    opened.close()


def test_a_kept_file_that_is_not_what_was_loaded_is_named(filled, tmp_path):
    """The rows of the released revisions name a digest of zeros."""
    assert make_backup(filled, tmp_path / "copy").damaged == ("wells.csv",)
    with sqlite3.connect(tmp_path / "copy") as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("UPDATE source_file SET sha256 = ?", (hashlib.sha256(CONTENT).hexdigest(),))
    connection.close()
    made = restore_backup(tmp_path / "copy", tmp_path / "again.sqlite")
    assert (made.originals, made.damaged) == (1, ())


def test_what_is_copied_is_counted_to_the_end(filled, tmp_path):
    seen = []
    made = make_backup(filled, tmp_path / "copy", progress=lambda done, total: seen.append((done, total)))
    assert seen[-1] == (seen[-1][1], (2 if filled.is_sqlite else 3) * made.rows)
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


def test_values_are_the_same_rows_on_both_databases(filled):
    with filled.reading() as connection:
        tables = {table.name: table for table in list_tables(connection)}
        rows = [row for part in copying.read_rows(connection, tables["site_record"]) for row in part]
    kinds = {type(value) for row in rows for value in row}
    assert kinds <= {int, float, str, bytes, type(None)}
