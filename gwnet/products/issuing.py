"""The act of issuing: whether an issue is on record already, its registration, and what a killed run left of one."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gwnet import __version__
from gwnet.errors import ReportError
from gwnet.products.issues import Issuing, list_stated_changes
from gwnet.reporting.write import manifest_name
from gwnet.store.fetch.issues import Issue, is_recorded_between, issues
from gwnet.store.save.issues import save_issue
from gwnet.whole_files import Registration, finish_begun

if TYPE_CHECKING:
    from gwnet.reporting.data import ReportData
    from gwnet.reporting.definition.parse import Definition
    from gwnet.reporting.definition.period import Period
    from gwnet.reporting.write import ReportFiles
    from gwnet.store.session import Store
    from gwnet.store.snapshot import Snapshot


class MadeReport(list[Path]):
    """Files of a report, the PDF first.

    Parameters
    ----------
    files : sequence of pathlib.Path
        The files.
    issue : gwnet.store.fetch.issues.Issue, optional
        Its registration, where it is issued.
    is_new : bool, optional
        Whether it was registered now, not before.
    """

    def __init__(self, files: Sequence[Path], issue: Issue | None = None, *, is_new: bool = False) -> None:
        super().__init__(files)
        self.issue = issue
        self.is_new = is_new

    def describe(self) -> str:
        """Return how the report was issued, as a sentence; empty where it was not."""
        issue = self.issue
        if issue is None:
            return ""
        what = f"{issue.definition} {issue.period} of {issue.site}, {issue.printed['state']}"
        known_on = f"record as known on {issue.printed.get('known_on', issue.known_on_utc.isoformat())}"
        if self.is_new:
            return f"Issued as number {issue.number}: {what}, {known_on}."
        by = f"issued {issue.issued_at_utc:%Y-%m-%d} by {issue.issued_by}"
        return f"Nothing new is on record since issue {issue.number} ({what}, {known_on}, {by}); no other was made."


def complete_begun(store: Store, out: Path) -> None:
    """Complete or remove what a killed run left in a folder, as the register of issues says.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    out : pathlib.Path
        Folder, which may not exist.
    """
    finish_begun(out, lambda mark: _is_registered(store, mark))


def find_same_issue(record: Snapshot, definition: Definition, period: Period) -> Issue | None:
    """Return the issue of a report since which nothing was recorded but issues.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    definition : gwnet.reporting.definition.parse.Definition
        What is to be reported.
    period : gwnet.reporting.definition.period.Period
        For which period.

    Returns
    -------
    gwnet.store.fetch.issues.Issue or None
        The newest such issue, by the same definition in the same unit.
    """
    site = str(record.settings["site"])
    unit = definition.unit(str(record.settings["length_unit"]))
    same = [
        issue
        # an issue is registered after the moment as of which it was made, so it is looked for on record now
        for issue in issues(record.connection, None, site=site, definition=definition.name)
        if issue.definition_sha256 == definition.sha256
        and issue.period == period.label
        and issue.printed["unit"] == unit
        # Issues of earlier versions kept neither rounds nor days, and were of whole periods.
        and tuple(issue.printed.get("rounds", ())) == definition.rounds
        and issue.printed.get("days", []) == [day.isoformat() for day in definition.days]
        and (record.known_on is None or issue.known_on_utc <= record.known_on)
    ]
    # Of several issues the last one: those before were made from an older state.
    if not same or is_recorded_between(record.connection, same[-1].known_on_utc, record.known_on):
        return None
    return same[-1]


def find_files(out: Path, issue: Issue) -> list[Path]:
    """Return the files of an issue in a folder.

    Parameters
    ----------
    out : pathlib.Path
        Folder, which may not exist.
    issue : gwnet.store.fetch.issues.Issue
        The issue.

    Returns
    -------
    list of pathlib.Path
        The PDF first, then the manifest and what it lists; empty unless each is there with its digest.
    """
    pdf = out / issue.printed["pdf"]
    manifest = out / manifest_name(pdf.name)
    try:
        listed = json.loads(manifest.read_text(encoding="utf-8"))["files"]
        digests = {name: hashlib.sha256((out / name).read_bytes()).hexdigest() for name in listed}
    except (OSError, ValueError, KeyError, TypeError):
        return []
    # Any file that was changed by hand counts as missing: they are all made again rather than mixed.
    if digests.get(pdf.name) != issue.sha256 or any(digests[name] != listed[name]["sha256"] for name in listed):
        return []
    return [pdf, manifest, *(out / name for name in listed if name != pdf.name)]


def require_same(files: ReportFiles, issue: Issue) -> None:
    """Refuse files that are not those of an issue.

    Parameters
    ----------
    files : gwnet.reporting.write.ReportFiles
        Files that were made again.
    issue : gwnet.store.fetch.issues.Issue
        The issue.

    Raises
    ------
    ReportError
        If the PDF is another.
    """
    if files.sha256 != issue.sha256:
        message = (
            f"Nothing new is on record since issue {issue.number}, and this version of the program cannot make its "
            f"files again: version {issue.printed['program']} made them, the PDF with the SHA-256 {issue.sha256}."
        )
        raise ReportError(message, fix="Nothing was written. Leave out --issue for a report by this version.")


def registration_of(
    store: Store, definition: Definition, period: Period, data: ReportData, issuing: Issuing, files: ReportFiles
) -> Registration:
    """Return the registration of a report's files.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    definition, period, data : object
        What the report was made from.
    issuing : gwnet.products.issues.Issuing
        By whom it is issued.
    files : gwnet.reporting.write.ReportFiles
        The files.

    Returns
    -------
    gwnet.whole_files.Registration
        Registers them, and says whether they are registered.
    """
    printed = {
        "definition": definition.source,
        "sections": list(definition.sections),
        "unit": definition.unit(data.site.length_unit),
        "rounds": list(definition.rounds),
        **({"days": [day.isoformat() for day in definition.days]} if definition.days else {}),
        "program": __version__,
        "pdf": files.pdf,
        "state": files.state,
        "known_on": data.known_on.text,
        "values": files.values,
        # The key of the first versions, kept so that their issues are still read.
        "told": list_stated_changes(data),
    }

    def register() -> None:
        with store.writing("issue a report", issuing.by, reason=issuing.remark, now_utc=issuing.now_utc) as connection:
            save_issue(
                connection,
                site=data.site.code,
                definition=definition.name,
                definition_sha256=definition.sha256,
                period=period.label,
                known_on_utc=data.known_on.recorded_at_utc,
                sha256=files.sha256,
                printed=printed,
                by=issuing.by,
                remark=issuing.remark,
            )

    mark = {
        "database": _identity(store),
        "site": data.site.code,
        "definition": definition.name,
        "period": period.label,
        "sha256": files.sha256,
    }
    return Registration(mark, register, lambda mark: _is_registered(store, mark))


def find_registered(store: Store, registration: Registration) -> Issue:
    """Return the issue that a report was registered as.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    registration : gwnet.whole_files.Registration
        From `registration_of`.

    Returns
    -------
    gwnet.store.fetch.issues.Issue
        The issue.
    """
    return _marked(store, registration.mark)[-1]


def _is_registered(store: Store, mark: Mapping[str, str]) -> bool | None:
    """Return whether a mark is in the register; None for the mark of another database."""
    # The register of this database cannot say whether a run with another one came to its end.
    return bool(_marked(store, mark)) if mark.get("database") == _identity(store) else None


def _marked(store: Store, mark: Mapping[str, str]) -> list[Issue]:
    with store.reading() as connection:
        on_record = issues(connection, site=mark["site"], definition=mark["definition"])
    return [issue for issue in on_record if issue.period == mark["period"] and issue.sha256 == mark["sha256"]]


def _identity(store: Store) -> str:
    """Return what a database is known by, from whichever folder it is named."""
    # A killed run may have been started in another folder, and with another relative path.
    return str(Path(store.name).resolve()) if store.is_sqlite else store.name
