"""Write the databases of released revisions as text: one for SQLite, one for PostgreSQL.

Run: ``python -m tests.store.released.make_dumps REVISION``, with GWNET_TEST_POSTGRES and the server's own dump program
at hand. A dump is made once, with the release of its revision, and never changed.
"""

import datetime as dt
import os
import re
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

from alembic import command
from sqlalchemy import MetaData, Table, inspect, text

from gwnet.store import revision
from gwnet.store.models.base import SQLITE_TIME_FORMAT
from gwnet.store.session import open_store

from ...conftest import postgres_database
from .rows import ROWS

FOLDER = Path(__file__).parent

#: Lines of a dump that set up a session of the dump program, or comment.
_ASIDE = re.compile(r"(--|SET |SELECT pg_catalog\.set_config|COMMENT ON EXTENSION|\\|$)")


def fill(url, name):
    """Make a database of a revision with its rows."""
    store = open_store(url, create=True)
    with store.altering() as connection:
        command.upgrade(revision.config(connection), name)
    with store.altering() as connection:
        metadata = MetaData()
        metadata.reflect(connection)
        rows = ROWS[name]()
        order = [table.name for table in metadata.sorted_tables if table.name in rows]
        for table in order:
            for row in rows[table]:
                marks = ", ".join(f":{column}" for column in row)
                values = {column: _stored(value, store.is_sqlite) for column, value in row.items()}
                connection.execute(text(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})"), values)
        if not store.is_sqlite:
            _advance(connection, [metadata.tables[table] for table in order])
        left = set(inspect(connection).get_table_names()) - set(rows) - {"alembic_version"}
        assert left == set(), f"no rows for {sorted(left)}"
    store.close()


def _advance(connection, tables: list[Table]):
    """Let the numbers of new rows go on after those that are there."""
    for table in tables:
        if "id" in table.c:
            query = f"SELECT setval(pg_get_serial_sequence(:name, 'id'), (SELECT max(id) FROM {table.name}))"
            connection.execute(text(query), {"name": table.name})


def _stored(value, on_sqlite):
    if on_sqlite and isinstance(value, dt.datetime):
        return value.strftime(SQLITE_TIME_FORMAT)
    return value.isoformat() if on_sqlite and isinstance(value, dt.date) else value


def dump_sqlite(name):
    """Return the text of a database on SQLite."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.sqlite"
        fill(str(path), name)
        with sqlite3.connect(path) as connection:
            lines = list(connection.iterdump())
        connection.close()
    return "\n".join(lines) + "\n"


def dump_postgresql(name, server):
    """Return the text of a database on PostgreSQL, without what belongs to the session that wrote it."""
    with postgres_database(server) as url:
        fill(url, name)
        written = ["pg_dump", "--rows-per-insert=100", "--no-owner", "--no-privileges", url]
        dump = subprocess.run(written, check=True, capture_output=True, text=True, encoding="utf-8").stdout
    kept = "\n".join(line.strip() for line in dump.splitlines() if not _ASIDE.match(line))
    return kept.replace("public.", "").replace("timestamp with time zone", "timestamptz") + "\n"


def main(name):
    """Write both dumps of a revision."""
    (FOLDER / f"revision_{name}.sqlite.sql").write_text(dump_sqlite(name), encoding="utf-8")
    dump = dump_postgresql(name, os.environ["GWNET_TEST_POSTGRES"])
    (FOLDER / f"revision_{name}.postgresql.sql").write_text(dump, encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1])
