"""Checks of the record and the findings that they record."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.network.base import Group, Instant
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from gwnet.store.save.verdicts import Stored


@dataclass(frozen=True, eq=False)
class Recorded:
    """Findings that were recorded.

    Attributes
    ----------
    findings : pandas.DataFrame
        As of `Checks.__call__`.
    stored : gwnet.store.save.verdicts.Stored
        How many were added, kept and retired.
    """

    findings: pd.DataFrame
    stored: Stored


class Checks(Group):
    """Checks of the record."""

    _path = "net.checks"

    def __call__(self, *, round: str | None = None, site: str | None = None, known_on: Instant = None) -> pd.DataFrame:
        """Return what the checks notice, with what was decided about it; nothing is recorded.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        round : str, optional
            Only findings of this gauging round.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.checks.quality.findings`, with the columns of
            `gwnet.analysis.review.decisions.join_decisions`.
        """
        from gwnet.analysis.checks.quality import findings
        from gwnet.analysis.review.decisions import join_decisions

        with self._record(site, known_on, round=round) as record:
            return join_decisions(record, findings(record, round))

    def record(
        self, *, by: str, round: str | None = None, site: str | None = None, now_utc: dt.datetime | None = None
    ) -> Recorded:
        """Run the checks and record their findings as verdicts; retire those that no longer hold.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        round : str, optional
            Only findings of this gauging round.

        Returns
        -------
        Recorded
            The findings, and how many were added, kept and retired.
        """
        from gwnet.analysis.checks.quality import findings, record_findings
        from gwnet.analysis.review.decisions import join_decisions

        def plan(record: Snapshot) -> pd.DataFrame:
            record.require(round_code=round)
            return findings(record, round)

        def carry_out(connection: Connection, noticed: pd.DataFrame) -> Recorded:
            # A snapshot of the writing connection: the one that the plan was made from is closed.
            record = Snapshot(connection, site=site)
            stored = record_findings(record, noticed, round_code=round, by=by)
            return Recorded(join_decisions(record, noticed), stored)

        return self._planned(plan, carry_out, "check", by, site=site, now_utc=now_utc)
