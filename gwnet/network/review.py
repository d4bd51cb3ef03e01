"""The part of the face for programs that reviews levels and tells what changed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.store.fetch.codes import check_codes
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.analysis.review.decide import Changed
    from gwnet.analysis.review.effects import Watch
    from gwnet.analysis.review.queue import ReviewQueue
    from gwnet.records import Selection
    from gwnet.store.session import Store


class Reviewing:
    """Review, history and effects of corrections; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    """

    store: Store

    @staticmethod
    def _watch() -> Watch:
        """Return what looks at the levels before and after a dry run."""
        from gwnet.analysis.review.effects import Watch

        return Watch()

    def review_queue(
        self,
        *,
        round: str | None = None,
        wells: Sequence[str] | None = None,
        site: str | None = None,
        start: dt.date | None = None,
        end: dt.date | None = None,
        known_on: dt.datetime | None = None,
    ) -> ReviewQueue:
        """Return what waits for a reviewer.

        Parameters
        ----------
        round : str, optional
            Only this gauging round.
        wells : sequence of str, optional
            Only these wells.
        site : str, optional
            Only this site.
        start, end : datetime.date, optional
            First and last local date, both included.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        gwnet.analysis.review.queue.ReviewQueue
            Rounds, levels and findings that wait.

        Raises
        ------
        NotFoundError
            If a site, well or round is not on record.
        """
        from gwnet.analysis.review.queue import review_queue
        from gwnet.records import Selection

        chosen = Selection.of(wells, round=round, start=start, end=end, site=site)
        with self.store.reading() as connection:
            record = Snapshot(connection, known_on, site)
            record.require(wells=wells, round_code=round)
            return review_queue(record, chosen)

    def approve(
        self,
        chosen: Selection,
        *,
        by: str,
        reason: str | None = None,
        now_utc: dt.datetime | None = None,
        pass_over: bool = False,
    ) -> Changed:
        """Approve provisional levels: all that were chosen, or none.

        Parameters
        ----------
        chosen : gwnet.records.Selection
            Which levels.
        by : str
            Who approves; somebody else than who read or recorded them, unless the site allows it.
        reason : str, optional
            Remark to keep with the approval.
        now_utc : datetime.datetime, optional
            Aware time of the review; the clock's unless given.
        pass_over : bool, optional
            Whether levels that cannot be approved are passed over rather than stop all.

        Returns
        -------
        gwnet.analysis.review.decide.Changed
            What changed.

        Raises
        ------
        ReviewError
            If some of them cannot be approved; nothing is changed then.
        NotFoundError
            If no level matches.
        """
        return self._review("approve", chosen, by=by, reason=reason, now_utc=now_utc, pass_over=pass_over)

    def reject(self, chosen: Selection, *, by: str, reason: str, now_utc: dt.datetime | None = None) -> Changed:
        """Reject provisional levels: no map, no trend; see `gwnet.analysis.review.decide.change_state`."""
        return self._review("reject", chosen, by=by, reason=reason, now_utc=now_utc)

    def hold(self, chosen: Selection, *, by: str, reason: str, now_utc: dt.datetime | None = None) -> Changed:
        """Put provisional levels on hold; see `gwnet.analysis.review.decide.change_state`."""
        return self._review("hold", chosen, by=by, reason=reason, now_utc=now_utc)

    def reopen(self, chosen: Selection, *, by: str, reason: str, now_utc: dt.datetime | None = None) -> Changed:
        """Make reviewed levels provisional again; see `gwnet.analysis.review.decide.change_state`."""
        return self._review("reopen", chosen, by=by, reason=reason, now_utc=now_utc)

    def _review(
        self,
        verb: str,
        chosen: Selection,
        *,
        by: str,
        reason: str | None,
        now_utc: dt.datetime | None,
        pass_over: bool = False,
    ) -> Changed:
        from gwnet.analysis.review.decide import change_state

        with self.store.writing() as connection:
            check_codes(connection, None, site=chosen.site, wells=chosen.wells, round_code=chosen.round)
            moment = now_utc or dt.datetime.now(dt.UTC)
            return change_state(connection, chosen, verb, by=by, reason=reason, now_utc=moment, pass_over=pass_over)

    def decide_finding(
        self, findings: Sequence[int], verb: str, *, by: str, reason: str, now_utc: dt.datetime | None = None
    ) -> Changed:
        """Accept, dismiss, hold or reopen findings: all that are named, or none.

        Parameters
        ----------
        findings : sequence of int
            Their numbers.
        verb : {"accept", "dismiss", "hold", "reopen"}
            What to do.
        by : str
            Who decides.
        reason : str
            Why.
        now_utc : datetime.datetime, optional
            Aware time of the decision; the clock's unless given.

        Returns
        -------
        gwnet.analysis.review.decide.Changed
            What changed.

        Raises
        ------
        ReviewError
            If one is decided already; nothing is changed then.
        NotFoundError
            If there is no such finding on record.
        """
        from gwnet.analysis.review.decide import decide

        with self.store.writing() as connection:
            moment = now_utc or dt.datetime.now(dt.UTC)
            return decide(connection, findings, verb, by=by, reason=reason, now_utc=moment)

    def history(
        self, well: str, *, site: str | None = None, known_on: dt.datetime | None = None, each: bool = False
    ) -> pd.DataFrame:
        """Return what changed at a well, when, by whom and why; see `gwnet.analysis.review.history.well_history`."""
        from gwnet.analysis.review.history import well_history

        with self.store.reading() as connection:
            return well_history(Snapshot(connection, known_on, site), well, each=each)

    def effects(
        self,
        wells: Sequence[str] | None = None,
        *,
        site: str | None = None,
        since: dt.datetime | None = None,
        until: dt.datetime | None = None,
    ) -> pd.DataFrame:
        """Return the levels that corrections moved between two times of the record, before and after.

        Parameters
        ----------
        wells : sequence of str, optional
            Only these wells.
        site : str, optional
            Only this site.
        since, until : datetime.datetime, optional
            Aware times; just before the newest change, and now, unless given.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.review.effects.find_effects`.

        Raises
        ------
        NotFoundError
            If a site or well is not on record.
        SettingsError
            If ``until`` lies before ``since``.
        """
        from gwnet.analysis.review.effects import find_effects
        from gwnet.records import Selection

        with self.store.reading() as connection:
            Snapshot(connection, site=site).require(wells=wells)
            return find_effects(Snapshot(connection, until, site), Selection.of(wells), since)
