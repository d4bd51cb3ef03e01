"""Queries of reviews: findings with what was decided about them, and which level events are approved."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from typing import Any, Final

import pandas as pd
from sqlalchemy import Connection, Select, func, select

from gwnet.store.fetch.frames import frame
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.base import some_at_a_time
from gwnet.store.models.levels import LevelEvent, LevelRecord
from gwnet.store.models.rounds import GaugingRound
from gwnet.store.models.sites import Site
from gwnet.store.models.verdicts import Review, Verdict
from gwnet.store.models.wells import Well

#: What a finding is until somebody decides about it.
OPEN: Final = "open"


def findings_with_decisions(
    connection: Connection, known_on: dt.datetime | None = None, site: str | None = None
) -> pd.DataFrame:
    """Return the findings on record with what was decided about each, by site, well, time, rule and number.

    Findings of events that were withdrawn are left out.

    Parameters as `gwnet.store.fetch`; columns as ``findings`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    statement = select_findings(known_on).order_by(
        Site.code, Well.code, LevelEvent.measured_at_utc, Verdict.rule, Verdict.id
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    return frame(connection, statement, "findings")


def select_findings(known_on: dt.datetime | None = None) -> Select[*tuple[Any, ...]]:
    """Return the select of findings with what was decided about each, as on record at a moment or now.

    Parameters
    ----------
    known_on : datetime.datetime, optional
        Aware time.

    Returns
    -------
    sqlalchemy.Select
        Without an order.
    """
    verdict, event, record, review = Verdict, LevelEvent, LevelRecord, Review
    return (
        select(
            verdict.id.label("finding_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            verdict.level_event_id.label("event_id"),
            event.measured_at_utc,
            event.time_known,
            record.local_offset_minutes,
            GaugingRound.code.label("round"),
            verdict.rule,
            verdict.severity,
            verdict.limits,
            verdict.message,
            verdict.recorded_at_utc,
            func.coalesce(review.state, OPEN).label("decision"),
            review.recorded_by.label("decided_by"),
            review.recorded_at_utc.label("decided_at_utc"),
            review.reason.label("decision_reason"),
        )
        .select_from(verdict)
        .outerjoin(event, event.id == verdict.level_event_id)
        .outerjoin(record, (record.level_event_id == event.id) & on_record(record, known_on))
        .outerjoin(Well, Well.id == func.coalesce(event.well_id, verdict.well_id))
        # The round of the level as it is recorded now, else that of the finding itself.
        .outerjoin(GaugingRound, GaugingRound.id == func.coalesce(record.gauging_round_id, verdict.gauging_round_id))
        .outerjoin(Site, Site.id == func.coalesce(Well.site_id, GaugingRound.site_id))
        .outerjoin(review, (review.verdict_id == verdict.id) & on_record(review, known_on))
        .where(on_record(verdict, known_on))
        # A finding of a withdrawn level has nothing left to be about.
        .where(verdict.level_event_id.is_(None) | record.id.is_not(None))
    )


def live_findings(
    connection: Connection, rules: Collection[str], site: str | None = None, round_code: str | None = None
) -> pd.DataFrame:
    """Return the live findings of some rules, of one round or of all.

    Parameters as `gwnet.store.fetch`; columns as ``live_findings`` in `gwnet.store.fetch.frames.FRAMES`.

    Parameters
    ----------
    rules : collection of str
        Their rules.
    round_code : str, optional
        Code of a round: only findings of its events and of it.
    """
    record = LevelRecord
    of_round = func.coalesce(record.gauging_round_id, Verdict.gauging_round_id)
    statement = (
        select(
            Verdict.id.label("verdict_id"),
            Verdict.level_event_id.label("event_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            GaugingRound.code.label("round"),
            Verdict.rule,
            Verdict.severity,
        )
        .select_from(Verdict)
        .outerjoin(LevelEvent, LevelEvent.id == Verdict.level_event_id)
        .outerjoin(record, (record.level_event_id == LevelEvent.id) & on_record(record, None))
        .outerjoin(Well, Well.id == func.coalesce(LevelEvent.well_id, Verdict.well_id))
        .outerjoin(GaugingRound, GaugingRound.id == of_round)
        .outerjoin(Site, Site.id == func.coalesce(Well.site_id, GaugingRound.site_id))
        .where(on_record(Verdict, None), Verdict.rule.in_(list(rules)))
        .order_by(Verdict.id)
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    if round_code is not None:
        statement = statement.where(GaugingRound.code == round_code)
    return frame(connection, statement, "live_findings")


def approved_events(connection: Connection, event_ids: Sequence[int]) -> set[int]:
    """Return which of some level events are approved, and keep others from changing that until the work is done.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work.
    event_ids : sequence of int
        Level events.

    Returns
    -------
    set of int
        Those whose live review is ``approved``.
    """
    ids_approved: set[int] = set()
    for some in some_at_a_time([int(number) for number in event_ids]):
        # Locked before the question, or an approval could come between it and the correction.
        connection.execute(_locked(some))
        query = select(Review.level_event_id).where(
            Review.level_event_id.in_(some), Review.state == "approved", on_record(Review, None)
        )
        ids_approved |= {int(number) for number in connection.scalars(query) if number is not None}
    return ids_approved


def lock_events(connection: Connection, event_ids: Sequence[int]) -> None:
    """Keep other units of work from reviewing or correcting level events until this one is done.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work; on SQLite it holds the lock on everything already.
    event_ids : sequence of int
        Level events.
    """
    for some in some_at_a_time([int(number) for number in event_ids]):
        connection.execute(_locked(some))


def _locked(event_ids: Sequence[int]) -> Select[int]:
    # By number, so that two programs lock the same rows in the same order.
    return select(LevelEvent.id).where(LevelEvent.id.in_(event_ids)).order_by(LevelEvent.id).with_for_update()
