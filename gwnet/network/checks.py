"""The part of the face for programs that runs the checks and records what they find."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.errors import SettingsError
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.store.session import Store


class Checking:
    """Checks and their verdicts; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    """

    store: Store

    def check(
        self,
        *,
        round: str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        by: str | None = None,
        now_utc: dt.datetime | None = None,
    ) -> pd.DataFrame:
        """Return what the checks notice, and record it where it is said who checks.

        Parameters
        ----------
        round : str, optional
            Only findings of this gauging round.
        site : str, optional
            Only this site.
        known_on : datetime.datetime, optional
            Record as known at this time; nothing is recorded then.
        by : str, optional
            Who checks: new findings are recorded as verdicts, and those that no longer hold are retired. Nothing is
            recorded unless given.
        now_utc : datetime.datetime, optional
            Aware time of the recording; the clock's unless given.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.checks.quality.findings`, with what was decided
            (`gwnet.analysis.review.decisions.join_decisions`). Where findings were recorded, ``attrs["stored"]`` has
            how many were added, kept and retired (`gwnet.store.save.verdicts.Stored`).

        Raises
        ------
        NotFoundError
            If a site or round is not on record.
        SettingsError
            If a name is given together with ``known_on``: an earlier state of the record takes no verdicts.
        """
        from gwnet.analysis.checks.quality import findings, record_findings
        from gwnet.analysis.review.decisions import join_decisions

        if by is None:
            with self.store.reading() as connection:
                record = Snapshot(connection, known_on, site)
                record.require(round_code=round)
                return join_decisions(record, findings(record, round))
        if known_on is not None:
            message = "Findings of an earlier state of the record cannot be recorded."
            raise SettingsError(message, fix="Leave out the name, or the time.")
        at_utc = now_utc or dt.datetime.now(dt.UTC)
        with self.store.writing() as connection:
            record = Snapshot(connection, site=site)
            record.require(round_code=round)
            noticed = findings(record, round)
            stored = record_findings(record, noticed, round_code=round, at_utc=at_utc, by=by)
            table = join_decisions(record, noticed)
        table.attrs["stored"] = stored
        return table
