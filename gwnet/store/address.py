"""Addresses of databases: what they mean, and how they are named in messages, without a password in any form.

An address that cannot be read is never repeated in a message: a part of it may be a password.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Final
from urllib.parse import quote, quote_plus

from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from gwnet.errors import StoreError
from gwnet.plain_text import MASK, hide_passwords

#: Parameters after ``?`` that may be given instead of the parts of an address, and the parts that they are.
_PARTS: Final = {"user": "username", "password": "password", "dbname": "database"}
#: Parameters whose values may be shown: where the server is.
_OPEN_PARAMETERS: Final = frozenset({"host", "hostaddr", "port"})

#: What was meant as the address of a server: a scheme, a user with a password, or a parameter of a connection.
_SERVER_LIKE: Final = re.compile(r"^[a-z][\w+.-]+:|^postgres|:[^/]*@|\b(password|passfile|service)\s*=", re.IGNORECASE)

_FORMS: Final = "Give a file path or a URL such as postgresql://user@host/name."
_ENCODE: Final = "Write @ in a user name or password as %40, / as %2F, : as %3A and % as %25."


def store_url(address: str | Path) -> URL:
    """Return the database URL that an address means.

    Parameters
    ----------
    address : str or pathlib.Path
        A SQLAlchemy URL, or the path of an SQLite file.

    Returns
    -------
    sqlalchemy.engine.URL
        URL with the driver that this project uses; user, password and database that were given as parameters are
        parts of it.

    Raises
    ------
    StoreError
        If the address cannot be read, or names a kind of database that is not supported. The message does not repeat
        it.
    """
    text = str(address)
    if "://" not in text:
        # An existing file may have any name; only what is none and looks like an address is refused.
        if isinstance(address, str) and _SERVER_LIKE.search(text) and not Path(text).exists():
            raise StoreError("This is neither the path of a file nor a database address.", fix=_FORMS)
        return URL.create("sqlite", database=text)
    try:
        url = make_url(text)
    except (SQLAlchemyError, ValueError):  # a port that is no number; the cause would repeat the address
        raise StoreError("The database address cannot be read.", fix=f"{_FORMS} {_ENCODE}") from None
    backend = url.get_backend_name()
    if backend == "sqlite":
        if url.host or url.username or url.password:
            raise StoreError("An SQLite file is on no server.", fix="Write sqlite:///path, or the path alone.")
        return url
    if backend not in {"postgresql", "postgres"}:
        message = f"Databases of the kind {backend!r} are not supported."
        raise StoreError(message, fix="Use an SQLite file or PostgreSQL.")
    # With two of them a part of the password would be read as the name of the server.
    if text.count("@") > 1:
        raise StoreError("The database address has the sign @ more than once.", fix=_ENCODE)
    return _with_parts(url).set(drivername="postgresql+psycopg")


def _with_parts(url: URL) -> URL:
    """Return a URL whose user, password and database are parts of it, not parameters."""
    # The last of several, as the driver takes it.
    given = {name: values[-1] for name, values in url.normalized_query.items() if name in _PARTS}
    parts = {_PARTS[name]: value for name, value in given.items()}
    return url.difference_update_query(list(given)).set(**parts) if parts else url  # type: ignore[arg-type]


def address_name(url: URL) -> str:
    """Return how a database is called in messages.

    Parameters
    ----------
    url : sqlalchemy.engine.URL
        From `store_url`.

    Returns
    -------
    str
        Path of an SQLite file; for a server its user, host, port and database, without password and parameters.
    """
    if url.get_backend_name() == "sqlite":
        return url.database or ""
    # A host may be given as a parameter, and several of them as a list.
    host = url.host or ",".join(url.normalized_query.get("host", ()))
    plain = URL.create("postgresql", username=url.username, host=host or None, port=url.port, database=url.database)
    return plain.render_as_string()


def secrets_of(url: URL) -> tuple[str, ...]:
    """Return the texts that no message may hold: the password and the values of unknown parameters.

    Parameters
    ----------
    url : sqlalchemy.engine.URL
        From `store_url`.

    Returns
    -------
    tuple of str
        As they are, and as they may be written in a URL; the longest first.
    """
    values = [value for name, many in url.normalized_query.items() if name not in _OPEN_PARAMETERS for value in many]
    values.append(str(url.password or ""))
    # In every form in which an address may write it, since a driver repeats what it was given.
    forms = {form for value in values for form in (value, quote(value), quote(value, safe=""), quote_plus(value))}
    # The longest first, or a short secret inside a long one would leave the rest of it readable.
    return tuple(sorted(forms - {""}, key=len, reverse=True))


def without_secrets(text: str, secrets: Sequence[str]) -> str:
    """Return a message of a driver without secrets.

    Parameters
    ----------
    text : str
        The message.
    secrets : sequence of str
        From `secrets_of`.

    Returns
    -------
    str
        The message with signs in their place.
    """
    for secret in secrets:
        text = text.replace(secret, MASK)
    return hide_passwords(text)


def split_parameters(url: URL) -> tuple[URL, dict[str, str]]:
    """Return a URL without the parameters that only the driver reads, and those.

    Parameters
    ----------
    url : sqlalchemy.engine.URL
        From `store_url`.

    Returns
    -------
    sqlalchemy.engine.URL
        URL that shows no secret when it is printed.
    dict of str to str
        Parameters for the driver.
    """
    named = {name: values[-1] for name, values in url.normalized_query.items() if name not in {"host", "port"}}
    try:
        return url.difference_update_query(list(named)), named
    except ArgumentError:
        raise StoreError("The parameters of the database address cannot be read.", fix=_ENCODE) from None
