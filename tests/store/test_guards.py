"""Triggers of every table: a recorded row is retired once and never altered, deleted, replaced or truncated otherwise."""

import datetime as dt

import pytest
from sqlalchemy import inspect, text

from gwnet.errors import StoreError
from gwnet.store.integrity.guards import functions, guarded_tables, guards, renew_guards
from gwnet.store.models.schema import METADATA, RECORDED_TABLES
from gwnet.store.save.bulk import retire

from .conftest import filled_record
from .released.rows import CORRECTED

LATER = CORRECTED + dt.timedelta(days=90)


#: Tables that hold nothing that is not elsewhere in the record; rows may be deleted, to be made anew.
COPIES = {"sample_pack", "reduced_level"}


def standing(store):
    """Return the triggers of a database with their text, on PostgreSQL those of its functions as well."""
    with store.reading() as connection:
        if store.is_sqlite:
            query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
            return dict(connection.execute(text(query)).all())
        query = "SELECT tgname, tgrelid::regclass::text FROM pg_trigger WHERE NOT tgisinternal"
        return dict(connection.execute(text(query)).all())


def test_every_table_has_its_guards(filled):
    present = standing(filled)
    dialect = filled.engine.dialect.name
    assert set(present) == set(guards(dialect))
    if filled.is_sqlite:
        assert present == guards("sqlite")
    assert {table.name for table in guarded_tables()} == set(METADATA.tables)
    for table in METADATA.tables:
        kinds = {name.rpartition("_")[2] for name in present if name.startswith(f"guard_{table}_")}
        copies = {"update"} if table in COPIES else {"update", "delete"}
        assert copies <= kinds, table


def refused(store, statement):
    with pytest.raises(StoreError, match=r"never (altered|deleted|replaced)"), store.altering() as connection:
        connection.execute(text(statement))


def change_column(connection, table, column, value):
    connection.execute(text(f"UPDATE {table} SET {column} = {value}"))
    old = f"SELECT count(*) FROM {table} WHERE {column} IS NOT NULL AND retired_at_utc IS NULL"
    if table in RECORDED_TABLES and not connection.execute(text(old)).scalar_one():
        raise StoreError("no live row has a value there")


@pytest.mark.slow
@pytest.mark.parametrize("table", sorted(set(METADATA.tables) - COPIES))
def test_no_column_of_a_row_is_altered_and_no_row_deleted(filled, table):
    refused(filled, f"DELETE FROM {table}")
    for column in METADATA.tables[table].columns:
        if column.name not in {"retired_at_utc", "retired_by", "retired_reason"}:
            value = column.name if column.nullable is False and column.primary_key else "NULL"
            change = f"{value} + 1" if value == column.name and column.name != "quantity" else value
            with pytest.raises(StoreError), filled.altering() as connection:
                change_column(connection, table, column.name, change)


@pytest.mark.postgres
def test_no_table_is_truncated(postgres_url):
    with filled_record(postgres_url) as store:
        for table in sorted(set(METADATA.tables) - COPIES):
            refused(store, f"TRUNCATE {table} CASCADE")


@pytest.mark.slow
@pytest.mark.parametrize("table", sorted(set(METADATA.tables) - COPIES))
def test_no_row_is_replaced(tmp_path, table):
    """PostgreSQL has nothing like INSERT OR REPLACE of SQLite, which deletes without a trigger for deletion."""
    with filled_record(str(tmp_path / "record.sqlite")) as store:
        refused(store, f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")


def test_a_code_is_not_replaced_by_a_row_without_number(tmp_path):
    with filled_record(str(tmp_path / "record.sqlite")) as store:
        refused(store, "INSERT OR REPLACE INTO site (code) SELECT code FROM site")
        refused(store, "INSERT OR REPLACE INTO well (site_id, code) SELECT site_id, code FROM well")


@pytest.mark.slow
@pytest.mark.parametrize("table", RECORDED_TABLES)
def test_a_row_is_retired_once(filled, table):
    with filled.altering() as connection:
        live = connection.execute(text(f"SELECT max(id) FROM {table} WHERE retired_at_utc IS NULL")).scalar_one()
    with filled.writing("retire", "Ben", now_utc=LATER) as connection:
        retire(connection, table, [live], by="Ben", reason="test")
    for change in ("retired_by = 'Eve'", "retired_at_utc = NULL, retired_by = NULL", "retired_reason = 'other'"):
        refused(filled, f"UPDATE {table} SET {change} WHERE id = {live}")
    changed = "recorded_by = 'Eve', retired_at_utc = recorded_at_utc, retired_by = 'Eve'"
    others = f"WHERE retired_at_utc IS NULL AND id <> {live}"
    with filled.reading() as connection:
        left = connection.execute(text(f"SELECT count(*) FROM {table} {others}")).scalar_one()
    if left:
        refused(filled, f"UPDATE {table} SET {changed} {others}")


def test_copies_may_be_made_anew(filled):
    with filled.altering() as connection:
        connection.execute(text("DELETE FROM sample_pack"))
        assert connection.execute(text("SELECT count(*) FROM sample_pack")).scalar_one() == 0


@pytest.mark.slow
def test_guards_that_were_dropped_or_changed_are_made_anew(filled):
    before = standing(filled)
    on_table = "" if filled.is_sqlite else " ON well"
    with filled.altering() as connection:
        connection.execute(text(f"DROP TRIGGER guard_well_update{on_table}"))
        connection.execute(text("UPDATE well SET code = code"))
        renew_guards(connection)
    assert standing(filled) == before
    refused(filled, "UPDATE well SET code = 'other'")
    if not filled.is_sqlite:
        with filled.reading() as connection:
            assert inspect(connection).dialect.name == "postgresql"
            bodies = connection.execute(text("SELECT proname, prosrc FROM pg_proc WHERE proname LIKE 'gwnet%'")).all()
        assert functions().items() <= dict(bodies).items()
