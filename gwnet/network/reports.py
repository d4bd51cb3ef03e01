"""Reports and the register of issued ones."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gwnet.errors import NotFoundError, SettingsError
from gwnet.network.base import Group, Instant, asked_state

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.products.issuing import MadeReport


class Reports(Group):
    """Reports and their issues."""

    _path = "net.report"

    def __call__(
        self,
        definition: str | Path,
        period: str,
        out: str | Path,
        *,
        round: str | None = None,
        days: Sequence[dt.date] = (),
        site: str | None = None,
        known_on: Instant = None,
        unit: str | None = None,
        issue: bool = False,
        by: str | None = None,
        remark: str | None = None,
        now_utc: dt.datetime | None = None,
        processes: int | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> MadeReport:
        """Make a report: PDF, manifest and data annex; all of them are written or none.

        Parameters as `gwnet.network`. The same record, definition and ``known_on`` give the same bytes.

        Parameters
        ----------
        definition : str or pathlib.Path
            Name of a definition that is part of the program, or the path of a TOML file.
        period : str
            For example 2026-Q1, 2026, 2026-03 or 2026-01-15..2026-04-14; not looked at where a round is given.
        out : str or pathlib.Path
            Folder to write into.
        round : str, optional
            Gauging round whose days are the period and which alone is reported.
        days : sequence of datetime.date, optional
            Days that stand for the rounds of the period; where no round is on record, those on which most wells were
            read unless given.
        unit : str, optional
            Unit of printing, m or ft; the definition's unless given.
        issue : bool, optional
            Whether to issue the report: to register it with every value that it prints. Refused while a finding or a
            promise is open without a remark. Where nothing but issues was recorded since it was issued before, that
            issue is returned and no other made.
        by : str, optional
            Who issues it; needed to issue.
        remark : str, optional
            Remark for the register.
        processes : int, optional
            How many processes draw figures at once; as many as there are cores unless given. The bytes do not depend
            on it.
        progress : callable, optional
            Called with figures drawn and figures in all.

        Returns
        -------
        gwnet.products.issuing.MadeReport
            Files of the report, the PDF first, with ``issue`` where it is issued and ``is_new``.

        Raises
        ------
        DefinitionError
            If the definition is wrong.
        ReportError
            If the report cannot be made, or may not be issued; nothing is written then.
        SettingsError
            If it is to be issued and nobody is named.
        OutputError
            If the folder cannot be written.
        """
        from gwnet.products.issues import Issuing
        from gwnet.products.reports import make_report

        issuing = None
        if issue:
            # An issue is what somebody answers for; a draft needs no name.
            if not (by or "").strip():
                raise SettingsError("Nobody is named who issues the report.", fix="Say who with by.")
            issuing = Issuing(str(by).strip(), remark, now_utc)
        return make_report(
            self._store,
            definition,
            period,
            Path(out),
            round_code=round,
            days=days,
            site=site,
            known_on=asked_state(known_on),
            unit=unit,
            issuing=issuing,
            processes=processes or _cores(),
            progress=progress,
        )

    def issues(self, site: str | None = None, known_on: Instant = None) -> pd.DataFrame:
        """Return the register of issued reports, one row an issue.

        Parameters as `gwnet.network`; rows as `gwnet.products.issues.register_of_issues`.
        """
        from gwnet.products.issues import register_of_issues

        with self._record(None, known_on) as record:
            return register_of_issues(record if site is None else record.of_site(site))

    def diff(self, first: str | Path, second: str | Path = "now", *, known_on: Instant = None) -> pd.DataFrame:
        """Return the printed values in which two issued reports differ, or one differs from the record of now.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        first, second : str or pathlib.Path
            Number of an issue, the first signs of the SHA-256 of its PDF, or the PDF itself; the second may be ``now``.

        Returns
        -------
        pandas.DataFrame
            One row a value: table, row, column, unit, was, now, why.

        Raises
        ------
        NotFoundError
            If an issue is not registered, or a file cannot be read.
        ReportError
            If the two are of different sites.
        """
        from gwnet.products.issues import differences

        with self._record(None, known_on) as record:
            return differences(record, _issue_name(first), _issue_name(second))


def _cores() -> int:
    """Return how many cores this process may use."""
    # A container or scheduler may give a process fewer cores than the machine has.
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _issue_name(named: str | Path) -> str:
    """Return what names an issue: for a file its digest, else the name itself."""
    text = str(named)
    # A number or a digest; a path, and a text that ends like a file, is the report itself.
    if isinstance(named, str) and not text.lower().endswith(".pdf"):
        return text
    try:
        return hashlib.sha256(Path(named).read_bytes()).hexdigest()
    except OSError as error:
        message = f"The report cannot be read: {error.strerror or error}."
        raise NotFoundError(message, where=text) from error
