"""The whole examination of a record: every check in turn, none of which stops the others."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Final

import pandas as pd
from sqlalchemy import Connection

from gwnet.store.integrity import chained, copies, database
from gwnet.store.integrity.digests import is_described
from gwnet.store.integrity.finding import RESTORE, Finding
from gwnet.store.models.schema import METADATA
from gwnet.store.session import Store
from gwnet.store.work import CLOCK_SLACK, clock_of

Check = Callable[[Connection], Iterator[Finding]]
Progress = Callable[[int, int], None]

#: Outcomes of a check.
CLEAN: Final = "clean"


@dataclass(frozen=True)
class Examined:
    """One check and how it ended.

    Attributes
    ----------
    check : str
        What was checked.
    outcome : str
        ``clean``, the number of findings, or why it was not checked.
    """

    check: str
    outcome: str


@dataclass(frozen=True)
class Examination:
    """What the examination of a record found.

    Attributes
    ----------
    checks : tuple of Examined
        Every check in order.
    findings : tuple of gwnet.store.integrity.finding.Finding
        What does not fit; empty for a clean record.
    """

    checks: tuple[Examined, ...]
    findings: tuple[Finding, ...]

    def table(self) -> pd.DataFrame:
        """Return the findings as rows: check, state, table, row, message and what to do."""
        rows = [(one.check, one.state, one.table, one.row, one.message, one.fix) for one in self.findings]
        columns = ["check", "state", "table", "row", "message", "fix"]
        return pd.DataFrame(rows, columns=columns).astype({"state": "Int64", "row": "Int64"})


def examine(store: Store, progress: Progress | None = None) -> Examination:
    """Check a database: its file, schema, guards, the chain of its states, and every row against them.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database, which may be damaged; nothing is written.
    progress : callable, optional
        Called with checks done and checks in all.

    Returns
    -------
    Examination
        Checks and findings.
    """
    checks, findings = [], []
    steps = list(_steps())
    is_behind = False
    for done, (name, steps_of_check) in enumerate(steps):
        found: list[Finding] = []
        reason = ""
        # Checks of rows know the tables of this revision only.
        if is_behind:
            reason = "not checked: the schema is of another revision"
        for check in steps_of_check if not reason else ():
            try:
                # A connection for each, as a damaged file may leave one unusable.
                with store.reading() as connection:
                    found += check(connection)
            except database.NotChecked as why:
                reason = f"not checked: {why}"
            except Exception as error:  # a damaged file may give any error, and the other checks go on
                found.append(Finding(name, f"It cannot be checked: {_plain(error)}", RESTORE))
        if found:
            reason = f"{len(found)} {'finding' if len(found) == 1 else 'findings'}"
        is_behind = is_behind or (name == "revision" and bool(found))
        checks.append(Examined(name, reason or CLEAN))
        findings += found
        if progress is not None:
            progress(done + 1, len(steps))
    return Examination(tuple(checks), tuple(findings))


def _steps() -> Iterator[tuple[str, list[Check]]]:
    """Yield the checks with their names."""
    yield "integrity of the database", [database.check_database]
    yield "revision", [database.check_revision]
    yield "schema", [database.check_schema]
    yield "triggers", [database.check_guards]
    yield "keys between tables", [database.check_foreign_keys]
    yield "chain of states", [chained.check_chain]
    yield "clock", [_check_clock]
    for table in METADATA.sorted_tables:
        if is_described(table):
            yield f"rows of {table.name}", [partial(chained.check_rows, table=table)]
    yield "samples", [copies.check_samples]
    yield "kept files", [copies.check_originals]
    for name, check in copies.DERIVED.items():
        yield name, [check]


def _check_clock(connection: Connection) -> Iterator[Finding]:
    return chained.check_clock(connection, clock_of(connection), CLOCK_SLACK)


def _plain(error: Exception) -> str:
    return " ".join(str(error).split())[:300].rstrip(".") + "."
