"""The register of issued reports: who issued what, from which record, and every value that was printed."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from gwnet.errors import NotFoundError
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.schema import METADATA, RECORDED_TABLES
from gwnet.store.models.sites import Site
from gwnet.store.models.sources import ReportIssue

#: Fewest signs of a digest that name an issue.
_DIGEST_SIGNS = 6


@dataclass(frozen=True)
class Issue:
    """One issued report.

    Attributes
    ----------
    number : int
        Its number in the register.
    site : str
        Code of the site.
    definition, definition_sha256, period : str
        What it was made from.
    known_on_utc : datetime.datetime
        Its data cut-off.
    sha256 : str
        Digest of its PDF.
    issued_at_utc : datetime.datetime
        When it was registered.
    issued_by, remark : str
        Who registered it, and with what remark.
    printed : dict
        ``definition`` (its text), ``unit``, ``rounds`` (of a report on rounds alone), ``program``, ``pdf`` (file name),
        ``state``, ``known_on`` (its state of the record in words), ``values`` and ``told``: every printed value, and
        the changes of earlier issues that it listed.
    """

    number: int
    site: str
    definition: str
    definition_sha256: str
    period: str
    known_on_utc: dt.datetime
    sha256: str
    issued_at_utc: dt.datetime
    issued_by: str
    remark: str
    printed: dict[str, Any]

    @property
    def values(self) -> list[dict[str, str]]:
        """Every value that its tables printed."""
        return list(self.printed["values"])

    @property
    def stated(self) -> list[dict[str, Any]]:
        """Changes of earlier issues that it listed, each with the number of the ``issue``."""
        # the key is that of issues on record, which never change
        return list(self.printed["told"])


def issues(
    connection: Connection,
    known_on: dt.datetime | None = None,
    *,
    site: str | None = None,
    definition: str | None = None,
    before: dt.datetime | None = None,
) -> list[Issue]:
    """Return the issued reports, oldest first.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    definition : str, optional
        Only those of this definition.
    before : datetime.datetime, optional
        Only those whose data cut-off lies before this time: a report of the same cut-off cannot differ from them.
    """
    statement = _statement(known_on)
    if site is not None:
        statement = statement.where(Site.code == site)
    if definition is not None:
        statement = statement.where(ReportIssue.definition == definition)
    if before is not None:
        statement = statement.where(ReportIssue.known_on_utc < before)
    return [_issue(row) for row in connection.execute(statement).mappings()]


def find_issue(connection: Connection, name: str, known_on: dt.datetime | None = None) -> Issue:
    """Return one issued report.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    name : str
        Its number, or the first signs (six at least) of the digest of its PDF.

    Raises
    ------
    NotFoundError
        If there is none, or several.
    """
    registered_issues = issues(connection, known_on)
    text = name.strip().lower()
    # A short number is that of an issue; a digest that happens to have digits alone has at least six signs.
    if text.isdecimal() and len(text) < _DIGEST_SIGNS:
        matching = [issue for issue in registered_issues if issue.number == int(text)]
    else:
        matching = [
            issue for issue in registered_issues if len(text) >= _DIGEST_SIGNS and issue.sha256.startswith(text)
        ]
    if len(matching) == 1:
        return matching[0]
    registered = (
        ", ".join(f"{issue.number} ({issue.definition} {issue.period})" for issue in registered_issues) or "none"
    )
    what = "No issued report is" if not matching else f"{len(matching)} issued reports are"
    message = f"{what} called {name[:80]!r}."
    fix = f"Give the number of an issue, its PDF, or the first {_DIGEST_SIGNS} signs of its SHA-256. Registered: "
    raise NotFoundError(message, fix=f"{fix}{registered}.")


def is_recorded_between(connection: Connection, after: dt.datetime, until: dt.datetime | None = None) -> bool:
    """Return whether anything but an issue was recorded or retired after one moment and up to another.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection.
    after : datetime.datetime
        Aware time, itself left out.
    until : datetime.datetime, optional
        Aware time, itself included; now unless given.

    Returns
    -------
    bool
        Whether the record is another one.
    """
    for name in RECORDED_TABLES:
        # Registering an issue is an act on the record, but moves none of its numbers.
        if name == ReportIssue.__tablename__:
            continue
        table = METADATA.tables[name]
        for column in (table.c.recorded_at_utc, table.c.retired_at_utc):
            within = column > after if until is None else (column > after) & (column <= until)
            if connection.execute(select(table.c.id).where(within).limit(1)).first() is not None:
                return True
    return False


def _statement(known_on: dt.datetime | None) -> Any:
    return (
        select(ReportIssue, Site.code.label("site"))
        .join(Site, Site.id == ReportIssue.site_id)
        .where(on_record(ReportIssue, known_on))
        .order_by(ReportIssue.id)
    )


def _issue(row: Mapping[Any, Any]) -> Issue:
    return Issue(
        number=int(row["id"]),
        site=str(row["site"]),
        definition=row["definition"],
        definition_sha256=row["definition_sha256"],
        period=row["period"],
        known_on_utc=row["known_on_utc"],
        sha256=row["sha256"],
        issued_at_utc=row["recorded_at_utc"],
        issued_by=row["recorded_by"],
        remark=row["reason"] or "",
        printed=json.loads(row["printed_values"]),
    )
