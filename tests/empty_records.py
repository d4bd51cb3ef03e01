"""Making empty records quickly: the revisions run once in each process of tests, later records repeat what they did.

An empty record holds nothing that depends on when or where it was made, so a copy is equal; tests/store/test_record.py
compares both on both databases. Records of older revisions are always upgraded by the revisions themselves.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing

from sqlalchemy import event, inspect

from gwnet.store import revision

#: `gwnet.store.revision.upgrade` as it is.
upgrade_by_revisions = getattr(revision.upgrade, "by_revisions", revision.upgrade)

_template: list[sqlite3.Connection] = []
_statements: list[tuple[str, object]] = []


def upgrade_quickly(store):
    """Do what `gwnet.store.revision.upgrade` does; an empty database gets what the first empty one got."""
    if not _is_empty(store):
        return upgrade_by_revisions(store)
    return _copy_sqlite(store) if store.is_sqlite else _repeat_statements(store)


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


def _repeat_statements(store):
    if _statements:
        with store.altering() as connection:
            cursor = connection.connection.cursor()
            for statement, parameters in _statements:
                cursor.execute(statement, parameters)
        return None, revision.HEAD
    ran = []

    def note(_connection, _cursor, statement, parameters, _context, many):
        assert not many, statement
        if not statement.lstrip().upper().startswith(("SELECT", "SHOW")):
            ran.append((statement, parameters))

    event.listen(store.engine, "before_cursor_execute", note)
    try:
        answer = upgrade_by_revisions(store)
    finally:
        event.remove(store.engine, "before_cursor_execute", note)
    _statements.extend(ran)
    return answer
