"""Files of SQLite: on media that cannot be written, and damaged ones."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sqlalchemy import Connection

from gwnet.errors import StoreError

#: What to do about a damaged database.
WHAT_TO_DO: Final = (
    "Run 'gwnet doctor' to see what is wrong, and restore the newest backup that is whole: 'gwnet restore'."
)


def damage(what: str, name: str | None = None) -> StoreError:
    """Return the error for a database that holds what it cannot hold.

    Parameters
    ----------
    what : str
        What was found.
    name : str, optional
        Name of the database.

    Returns
    -------
    StoreError
        Error with what to do.
    """
    return StoreError(f"The database is damaged ({what}).", where=name, fix=WHAT_TO_DO)


def read_only_parameters(file: Path) -> dict[str, str]:
    """Return how SQLite is to open a file that cannot be written, or whose folder cannot.

    Parameters
    ----------
    file : pathlib.Path
        The database.

    Returns
    -------
    dict of str to str
        Parameters of its address; empty where it can be written or is not there.

    Notes
    -----
    A database with a write-ahead log needs a file beside it even to be read. Where there is no journal, nothing is
    missing in the database itself, and it can be read without one.
    """
    # SQLite writes its journal beside the file, so the folder must be writable as well.
    if not file.exists() or (os.access(file, os.W_OK) and os.access(file.absolute().parent, os.W_OK)):
        return {}
    has_journal = any(file.with_name(f"{file.name}{end}").exists() for end in ("-wal", "-journal"))
    return {"mode": "ro"} if has_journal else {"mode": "ro", "immutable": "1"}


@contextmanager
def unaltered(name: str, *, is_watched: bool) -> Iterator[None]:
    """Refuse what was read without locks from a file that somebody has altered meanwhile.

    Parameters
    ----------
    name : str
        The file.
    is_watched : bool
        Whether it is read without locks.

    Raises
    ------
    StoreError
        If it was altered.
    """
    if not is_watched:
        yield
        return
    before = _file_state(name)
    yield
    if _file_state(name) != before:
        message = "The database was altered while it was read."
        fix = "Run the command again; its folder cannot be written to, so that nobody can be kept out meanwhile."
        raise StoreError(message, where=name, fix=fix)


def _file_state(name: str) -> tuple[int, ...]:
    """Return what changes when a file is written to."""
    file = Path(name)
    journals = (file.with_name(f"{file.name}{end}") for end in ("-wal", "-journal"))
    # Size and times of the file, its number in case it was replaced, and journals that came or went.
    state = file.stat()
    return (state.st_size, state.st_mtime_ns, state.st_ino, *(int(path.exists()) for path in journals))


@contextmanager
def whole_file(connection: Connection, name: str) -> Iterator[None]:
    """Say that an SQLite file is damaged where that is why something failed.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to it.
    name : str
        Its name.

    Raises
    ------
    StoreError
        If it is damaged; every other exception passes.

    Notes
    -----
    A value that is not of the type of its column fails in the library that fetches it, before any code of this project
    sees it; what fails later for another reason is looked into by checking the file.
    """
    try:
        yield
    except (ValueError, TypeError, LookupError, AttributeError, ArithmeticError) as error:
        if isinstance(error, ValueError | TypeError) and innermost_module(error).startswith("sqlalchemy."):
            raise damage(str(error), name) from error
        # One fault is enough to know; a whole check of a large file takes minutes.
        faults = connection.exec_driver_sql("PRAGMA quick_check(1)").scalars().all()
        if faults != ["ok"]:
            raise damage("; ".join(map(str, faults)), name) from error
        raise


def innermost_module(error: BaseException) -> str:
    """Return the module in which an exception was raised.

    Parameters
    ----------
    error : BaseException
        The exception.

    Returns
    -------
    str
        Dotted name of the module; empty where it was not raised yet.
    """
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    return "" if trace is None else str(trace.tb_frame.f_globals.get("__name__", ""))
