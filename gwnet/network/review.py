"""Review: what waits for a decision, and the decisions about levels and findings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

from gwnet.network.base import Group, Instant, Moment, Wells, codes_of, day_or_instant
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.analysis.review.decide import Changed
    from gwnet.analysis.review.queue import ReviewQueue


class Review(Group):
    """Review of levels and findings."""

    _path = "net.review"

    def queue(
        self,
        wells: Wells = None,
        *,
        round: str | None = None,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
    ) -> ReviewQueue:
        """Return what waits for a reviewer.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        round : str, optional
            Only this gauging round.

        Returns
        -------
        gwnet.analysis.review.queue.ReviewQueue
            Rounds, levels and findings that wait.
        """
        from gwnet.analysis.review.queue import review_queue

        codes = codes_of(wells)
        chosen = Selection.of(codes, round=round, start=day_or_instant(start), end=day_or_instant(end), site=site)
        with self._record(site, known_on, wells=codes, round=round) as record:
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

        Parameters as `gwnet.network`.

        Parameters
        ----------
        chosen : gwnet.records.Selection
            Which levels.
        by : str
            Who approves; somebody else than who read or recorded them, unless the site allows it.
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
        return self._change("approve", chosen, by=by, reason=reason, now_utc=now_utc, pass_over=pass_over)

    def reject(self, chosen: Selection, *, by: str, reason: str, now_utc: dt.datetime | None = None) -> Changed:
        """Reject provisional levels: no map, no trend; see `gwnet.analysis.review.decide.change_state`."""
        return self._change("reject", chosen, by=by, reason=reason, now_utc=now_utc)

    def hold(self, chosen: Selection, *, by: str, reason: str, now_utc: dt.datetime | None = None) -> Changed:
        """Put provisional levels on hold; see `gwnet.analysis.review.decide.change_state`."""
        return self._change("hold", chosen, by=by, reason=reason, now_utc=now_utc)

    def reopen(self, chosen: Selection, *, by: str, reason: str, now_utc: dt.datetime | None = None) -> Changed:
        """Make reviewed levels provisional again; see `gwnet.analysis.review.decide.change_state`."""
        return self._change("reopen", chosen, by=by, reason=reason, now_utc=now_utc)

    def decide(
        self,
        findings: Sequence[int],
        verb: str,
        *,
        by: str,
        reason: str,
        together: bool = False,
        now_utc: dt.datetime | None = None,
    ) -> Changed:
        """Accept, dismiss, hold or reopen findings: all that are named, or none.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        findings : sequence of int
            Their numbers.
        verb : {"accept", "dismiss", "hold", "reopen"}
            What to do.
        together : bool, optional
            Whether one reason may settle several findings; reports say that it did.

        Returns
        -------
        gwnet.analysis.review.decide.Changed
            What changed.

        Raises
        ------
        ReviewError
            If one is decided already, or one reason would settle several; nothing is changed then.
        NotFoundError
            If there is no such finding on record.
        """
        from gwnet.analysis.review.decide import decide

        with self._writing(f"review {verb}", by, reason=reason, now_utc=now_utc) as connection:
            return decide(connection, findings, verb, by=by, reason=reason, together=together)

    def _change(
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

        with self._writing(f"review {verb}", by, reason=reason, now_utc=now_utc) as connection:
            # On the connection that writes: what is looked at is what the decision is recorded for.
            Snapshot(connection, None, chosen.site).require(wells=chosen.wells, round_code=chosen.round)
            return change_state(connection, chosen, verb, by=by, reason=reason, pass_over=pass_over)
