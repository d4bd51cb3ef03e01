"""Issuing reports, and telling what earlier issues printed that has changed since.

An earlier issue is worked out anew from the newer record by the definition that is stored with it. Only issues whose
cut-off is before that of the report in the making are looked at, so that an issued report, made again with its
``known_on``, does not see itself.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from gwnet.errors import DefinitionError, ReportError
from gwnet.products.collect import collect, maps_of_period
from gwnet.products.since_issue import SinceIssue
from gwnet.reporting.annex.manifest import printed_values
from gwnet.reporting.compose import compose_view
from gwnet.reporting.definition.parse import Definition, parse_definition
from gwnet.reporting.definition.period import Period, parse_period
from gwnet.reporting.drawn import ReportDrawing
from gwnet.reporting.errata import ChangedValue, EarlierIssue, changed_values, with_listed
from gwnet.reporting.results.findings import open_findings_printed
from gwnet.reporting.view import ReportView, look
from gwnet.store.fetch import history
from gwnet.store.fetch.issues import Issue, find_issue, issues

if TYPE_CHECKING:
    from gwnet.reporting.data import ReportData
    from gwnet.store.snapshot import Snapshot

#: Sections whose tables are never compared, so that nothing needs to be worked out for them.
_NOT_COMPARED: Final = frozenset({"earlier_reports", "register", "cautions", "sign_off", "methods"})
_ERRATA: Final = "earlier_reports"
#: Sections that come after the changed values of earlier reports.
_CLOSING: Final = ("register", "methods", "cautions", "sign_off")

#: Most open matters that a refusal lists.
_LISTED: Final = 8

DIFFERENCE_COLUMNS: Final = ("table", "row", "column", "unit", "was", "now", "why")
_REGISTER_COLUMNS: Final = tuple(
    "issue site definition period issued_at issued_by known_on state values changes_stated sha256 remark".split()
)


@dataclass(frozen=True)
class Issuing:
    """That a report is to be issued, and by whom.

    Attributes
    ----------
    by : str
        Who issues it.
    remark : str or None
        Anything that should stand in the register.
    now_utc : datetime.datetime or None
        Aware time that counts as what the clock says; the database's clock unless given.
    """

    by: str
    remark: str | None = None
    now_utc: dt.datetime | None = None


def refuse_open(view: ReportView) -> None:
    """Refuse to issue a report while a finding or a promise is open and nobody has said a word about it.

    Parameters
    ----------
    view : gwnet.reporting.view.ReportView
        The report's look at the record.

    Raises
    ------
    ReportError
        If a finding that touches anything printed has no decision, whether it is of the period or older, or an entry of
        the register that is due has no answer.
    """
    found = [f"{row['well']} {row['measured_at']}: {row['message']}" for row in open_findings_printed(view)]
    promised = [
        f"{row['kind']} {row['entry']}: {row['text']}"
        for row in view.data.register.to_dict("records")
        # An answered promise may stay open: what counts is that somebody has said something that the reader can see.
        if row["state"] == "open" and not str(row["answer"] or "").strip()
    ]
    if not found and not promised:
        return
    counts = [
        f"{len(rows)} {word if len(rows) == 1 else plural}"
        for rows, word, plural in (
            (found, "finding", "findings"),
            (promised, "comment or promise", "comments and promises"),
        )
        if rows
    ]
    listed = "\n".join(f"  {text}" for text in (found + promised)[:_LISTED])
    more = len(found) + len(promised) - _LISTED
    rest = f"\n  and {more} more" if more > 0 else ""
    message = f"The report cannot be issued: {' and '.join(counts)} open without a remark.\n{listed}{rest}"
    fix = (
        "\nRecord the findings with 'gwnet check', decide about each with 'gwnet review accept', 'dismiss' or 'hold' "
        "and a reason; answer entries of the register by loading them again with an answer and --correct."
    )
    raise ReportError(message, where=f"{view.definition.name} {view.period.label}", fix=fix)


def with_earlier_issues(record: Snapshot, definition: Definition, data: ReportData) -> ReportData:
    """Return a report's record with the issues of the same definition and site made from an earlier state of it.

    Returns
    -------
    gwnet.reporting.data.ReportData
        With the newest issue of each period, oldest period first, and what would be printed otherwise now; what a later
        issue has stated already is not stated again. Corrections are those since the cut-off of the last issue, where
        there is one.
    """
    connection, known_on = record.connection, record.known_on
    until = data.known_on.recorded_at_utc
    on_record = issues(connection, known_on, site=data.site.code, definition=definition.name, before=until)
    if not on_record:
        return data
    # A later issue of a period stands in the place of those before.
    newest = {issue.period: issue for issue in on_record}
    earlier = []
    for issue in sorted(newest.values(), key=lambda issue: (parse_period(issue.period).first, issue.number)):
        # What another issue has stated counts as printed, so that no change is listed twice.
        printed = with_listed(issue.values, _stated_of(issue, on_record))
        now = _printed_now(record, definition, data, issue)
        recorded = SinceIssue(record, issue.known_on_utc, until)
        # Compared as printed: a correction that does not move a printed digit is no erratum.
        changes, reviewed = changed_values(printed, now, recorded.reasons)
        earlier.append(
            EarlierIssue(
                number=issue.number,
                definition=issue.definition,
                period=issue.period,
                issued_at_utc=issue.issued_at_utc,
                issued_by=issue.issued_by,
                known_on_utc=issue.known_on_utc,
                sha256=issue.sha256,
                changes=tuple(changes),
                approved_since=reviewed,
                moved=recorded.moved,
            )
        )
    # From the newest issue on: what was corrected before it is in that issue already.
    since = max(issue.known_on_utc for issue in on_record)
    corrections = history.changes(connection, since=since, until=known_on)
    return replace(data, earlier=tuple(earlier), corrections=corrections, corrected_since_utc=since)


def count_issues(record: Snapshot, definition: Definition, period: Period, data: ReportData) -> int:
    """Return how many issues of a definition and period were made from an earlier state of the record.

    Parameters
    ----------
    record, definition, period, data : object
        What the report is made from.
    """
    until = data.known_on.recorded_at_utc
    earlier = issues(record.connection, record.known_on, site=data.site.code, definition=definition.name, before=until)
    return sum(issue.period == period.label for issue in earlier)


def with_errata(definition: Definition, data: ReportData) -> Definition:
    """Return a definition with the section on values that have changed, where an earlier issue has any.

    Parameters
    ----------
    definition : gwnet.reporting.definition.parse.Definition
        What the report holds; one without the section gets it before the sign-off.
    data : gwnet.reporting.data.ReportData
        Its record, with the earlier issues.
    """
    if _ERRATA in definition.sections or not any(issue.changes for issue in data.earlier):
        return definition
    closing = [name for name in definition.sections if name in _CLOSING]
    rest = [name for name in definition.sections if name not in _CLOSING]
    # Behind the results and before the register and the cautions, which stay last as in every report.
    return replace(definition, sections=(*rest, _ERRATA, *closing))


def list_stated_changes(data: ReportData) -> list[dict[str, Any]]:
    """Return the changes that a report lists, as they are kept with its issue.

    Returns
    -------
    list of dict
        issue, table, row, column, unit, was, now and why of each.
    """
    return [
        {"issue": issue.number, **{name: getattr(change, name) for name in DIFFERENCE_COLUMNS}}
        for issue in data.earlier
        for change in issue.changes
    ]


def _stated_of(issue: Issue, others: Sequence[Issue]) -> list[dict[str, Any]]:
    return [change for other in others for change in other.stated if change["issue"] == issue.number]


def _printed_now(record: Snapshot, definition: Definition, data: ReportData, issue: Issue) -> list[dict[str, str]]:
    """Return what an earlier report would print from the record of a newer one."""
    period = parse_period(issue.period)
    # By the definition as it was then: with today's sections every value of a new table would count as changed.
    same = _as_issued(issue, definition)
    return _values(same, replace(data, maps=maps_of_period(record, same, period), earlier=()), period)


def _as_issued(issue: Issue, now: Definition | None = None) -> Definition:
    """Return the definition of an issue with its unit, and only the sections whose tables are compared.

    One that this version of the program does not take any more gives way to the definition of now.
    """
    try:
        definition = parse_definition(issue.printed["definition"], Path(f"{issue.definition}.toml"))
    except DefinitionError:
        if now is None:
            raise
        definition = now
    # Issues of earlier versions of the program kept no sections, rounds or days.
    printed = issue.printed.get("sections", definition.sections)
    sections = tuple(name for name in printed if name not in _NOT_COMPARED)
    rounds = tuple(issue.printed.get("rounds", definition.rounds))
    days = tuple(dt.date.fromisoformat(day) for day in issue.printed.get("days", ()))
    return replace(definition, units=issue.printed["unit"], sections=sections, rounds=rounds, days=days)


def _values(definition: Definition, data: ReportData, period: Period) -> list[dict[str, str]]:
    return printed_values(compose_view(look(definition, data, period), ReportDrawing()))


def differences(record: Snapshot, first: str, second: str) -> pd.DataFrame:
    """Return the printed values in which two issued reports differ, or one differs from the record of now.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        Record and register of all sites.
    first, second : str
        Number of an issue or the first signs of its digest; the second may be ``now``.

    Returns
    -------
    pandas.DataFrame
        Columns of `DIFFERENCE_COLUMNS`, one row a value.

    Raises
    ------
    NotFoundError
        If an issue is not registered.
    ReportError
        If the two are of different sites, so that nothing can be compared.
    """
    issue = find_issue(record.connection, first, record.known_on)
    if second == "now":
        values, until = _now(record.of_site(issue.site), issue)
    else:
        other = find_issue(record.connection, second, record.known_on)
        if other.site != issue.site:
            message = f"Issue {issue.number} is of site {issue.site}, issue {other.number} of site {other.site}."
            raise ReportError(message, fix="Compare two issues of one site.")
        values, until = other.values, other.known_on_utc
    # Whichever of the two was named first.
    since, until = sorted((issue.known_on_utc, until))
    reasons = SinceIssue(record.of_site(issue.site), since, until).reasons
    changes, _ = changed_values(issue.values, values, reasons)
    return _frame(changes)


def _now(record: Snapshot, issue: Issue) -> tuple[list[dict[str, str]], dt.datetime]:
    definition, period = _as_issued(issue), parse_period(issue.period)
    data = collect(record, definition, period)
    return _values(definition, data, period), data.known_on.recorded_at_utc


def _frame(changes: Sequence[ChangedValue]) -> pd.DataFrame:
    rows = [[getattr(change, name) for name in DIFFERENCE_COLUMNS] for change in changes]
    return pd.DataFrame(rows, columns=list(DIFFERENCE_COLUMNS))


def register_of_issues(record: Snapshot) -> pd.DataFrame:
    """Return the register of issued reports.

    Returns
    -------
    pandas.DataFrame
        One row an issue: number, site, definition, period, when and by whom it was issued, data cut-off, state, printed
        values, changes of earlier issues that it listed, digest and remark.
    """
    rows = [
        (
            issue.number,
            issue.site,
            issue.definition,
            issue.period,
            issue.issued_at_utc.isoformat(timespec="seconds"),
            issue.issued_by,
            issue.known_on_utc.isoformat(),
            issue.printed["state"],
            len(issue.values),
            len(issue.stated),
            issue.sha256,
            issue.remark,
        )
        for issue in issues(record.connection, record.known_on, site=record.site)
    ]
    return pd.DataFrame(rows, columns=list(_REGISTER_COLUMNS))
