"""The schema's revision: making a database, migrating it, and refusing one that does not fit.

Alembic is loaded only where a schema is made or changed; every other command compares one stored word.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from sqlalchemy import Connection, inspect, text

from gwnet.errors import SchemaAheadError, SchemaBehindError, StoreError
from gwnet.resources import migrations_folder
from gwnet.store.integrity.copies import check_coverage
from gwnet.store.integrity.guards import renew_guards
from gwnet.store.views import drop_views, renew_views
from gwnet.store.work import begin_states

if TYPE_CHECKING:
    from alembic.config import Config

    from gwnet.store.session import Store

#: Every revision, oldest first, by the names of their files; the last is what this version of the program works with.
REVISIONS: Final[tuple[str, ...]] = tuple(
    sorted(file.name.partition("_")[0] for file in (migrations_folder() / "versions").glob("[0-9]*.py"))
)
HEAD: Final[str] = REVISIONS[-1]


def current(store: Store) -> str | None:
    """Return the revision of a database.

    Returns
    -------
    str or None
        Revision; None when the database has no gwnet schema.

    Raises
    ------
    StoreError
        If the database names several revisions.
    """
    with store.reading() as connection:
        return current_of(connection, store.name)


def current_of(connection: Connection, name: str | None = None) -> str | None:
    """Return the revision of the database of a connection; see `current`.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection.
    name : str, optional
        Name of the database for messages.

    Returns
    -------
    str or None
        Revision; None when the database has no gwnet schema.

    Raises
    ------
    StoreError
        If the database names several revisions.
    """
    if not inspect(connection).has_table("alembic_version"):
        return None
    revisions = connection.execute(text("SELECT version_num FROM alembic_version ORDER BY 1")).scalars().all()
    if len(revisions) > 1:
        message = f"The database says that it is at {len(revisions)} revisions at once: {', '.join(revisions[:4])}."
        fix = "Its table alembic_version must have one row. Restore a backup, or delete the rows that are wrong."
        raise StoreError(message, where=name, fix=fix)
    return revisions[0] if revisions else None


def guard(store: Store) -> None:
    """Refuse a database whose schema is not the one that this version works with.

    Raises
    ------
    StoreError
        If the database has no gwnet schema.
    SchemaBehindError
        If it was made by an older version.
    SchemaAheadError
        If it was made by a newer version.
    """
    revision = current(store)
    if revision == HEAD:
        return
    if revision is None:
        raise StoreError("The database holds no gwnet record.", where=store.name, fix="Make one with 'gwnet init'.")
    if revision in REVISIONS:
        message = f"The database is at revision {revision}; this version works with {HEAD}."
        raise SchemaBehindError(message, where=store.name, fix="Make a backup, then run 'gwnet upgrade'.")
    message = f"The database is at revision {revision}, which is newer than this version of gwnet ({HEAD})."
    raise SchemaAheadError(message, where=store.name, fix="Install the newer version of gwnet; nothing was changed.")


def upgrade(store: Store) -> tuple[str | None, str]:
    """Make the schema, or bring an older one up to date.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.

    Returns
    -------
    tuple of str
        Revision before (None when the database was empty) and after.

    Raises
    ------
    SchemaAheadError
        If the database was made by a newer version.
    StoreError
        If the database holds tables of something else.

    Notes
    -----
    All revisions run in one transaction together with the note that they ran. The guards of the tables and the
    views are made anew in it, a record from before states gets its first state, and samples from before packs get
    theirs.
    """
    from gwnet.store.save.packs import renew_packs  # stores with what looks at the revision

    before = current(store)
    # A newer schema, or one of something else, is refused before anything is altered.
    if before is not None and before not in REVISIONS:
        guard(store)
    if before is None:
        with store.reading() as connection:
            others = inspect(connection).get_table_names()
        if others:
            message = f"The database already holds tables of something else ({', '.join(sorted(others)[:3])} …)."
            raise StoreError(message, where=store.name, fix="Give an empty database with --db.")
    if before != HEAD:
        if store.is_sqlite:
            # Outside the transaction, where alone the journal can be set.
            _set_wal(store)
        with store.altering() as connection:
            # Views stand on the tables that a revision may change.
            drop_views(connection)
            _run_upgrade(connection)
            renew_guards(connection)
            renew_views(connection)
            begin_states(connection, before)
            renew_packs(connection, check_coverage)
    return before, HEAD


def _set_wal(store: Store) -> None:
    raw = store.engine.raw_connection()
    try:
        raw.cursor().execute("PRAGMA journal_mode = WAL")
    except Exception as error:
        message = f"The database cannot be set up: {error}."
        raise StoreError(message, where=store.name, fix="Check that its folder exists and is writable.") from error
    finally:
        raw.close()


def config(connection: Connection | None = None) -> Config:
    """Return Alembic's configuration for the project's revisions."""
    from alembic.config import Config

    settings = Config()
    # % begins a reference in Alembic's settings.
    settings.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    settings.attributes["connection"] = connection
    return settings


def _run_upgrade(connection: Connection) -> None:
    from alembic import command

    command.upgrade(config(connection), "head")
