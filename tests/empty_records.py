"""Making empty records quickly: the revisions run once in each process of tests, later records are copies.

An empty record holds nothing that depends on when or where it was made, so a copy is equal; tests/store/test_record.py
compares both on both databases. Records of older revisions are always upgraded by the revisions themselves.
"""

from __future__ import annotations

import atexit
import os
import sqlite3
import uuid
from contextlib import closing

from sqlalchemy import inspect

from gwnet.store import revision

#: `gwnet.store.revision.upgrade` as it is.
upgrade_by_revisions = getattr(revision.upgrade, "by_revisions", revision.upgrade)

_template: list[sqlite3.Connection] = []
#: Name of the database that holds an empty record.
_copied: list[str] = []


def upgrade_quickly(store):
    """Do what `gwnet.store.revision.upgrade` does; an empty database gets what the first empty one got."""
    if not _is_empty(store):
        return upgrade_by_revisions(store)
    if store.is_sqlite:
        return _copy_sqlite(store)
    return _copy_postgres(store) if _is_of_the_tests(store) else upgrade_by_revisions(store)


# whoever imports this module a second time, under another name, finds the function that it replaced
upgrade_quickly.by_revisions = upgrade_by_revisions


def _is_empty(store):
    if store.is_sqlite and store.engine.url.database in (None, "", ":memory:"):
        return False
    try:
        with store.reading() as connection:
            return not inspect(connection).get_table_names()
    except Exception:  # whatever is wrong with it is for the real function to say
        return False


def _is_of_the_tests(store):
    """Return whether a database was made by `tests.conftest.postgres_database`, and is used as it was made."""
    url = store.engine.url
    return url.database.startswith("gwnet_test_") and not url.query


def _copy_sqlite(store):
    if not _template:
        answer = upgrade_by_revisions(store)
        kept = sqlite3.connect(":memory:", check_same_thread=False)
        with closing(sqlite3.connect(store.engine.url.database)) as made:
            made.backup(kept)
        _template.append(kept)
        return answer
    with closing(sqlite3.connect(store.engine.url.database, isolation_level=None)) as empty:
        _template[0].backup(empty)
    revision._set_wal(store)
    return None, revision.HEAD


def _copy_postgres(store):
    url = store.engine.url
    store.engine.dispose()
    with _administration() as connection:
        if _copied:
            # the server copies a database three times as fast as it makes tables, views and triggers
            connection.execute(f'DROP DATABASE "{url.database}" WITH (FORCE)')
            connection.execute(f'CREATE DATABASE "{url.database}" TEMPLATE "{_copied[0]}"')
            return None, revision.HEAD
        answer = upgrade_by_revisions(store)
        store.engine.dispose()
        name = f"gwnet_empty_{uuid.uuid4().hex}"
        connection.execute(f'CREATE DATABASE "{name}" TEMPLATE "{url.database}"')
    _copied.append(name)
    atexit.register(_drop, name)
    return answer


def _drop(name):
    with _administration() as connection:
        connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def _administration():
    import psycopg

    return psycopg.connect(os.environ["GWNET_TEST_POSTGRES"], autocommit=True)
