"""Recording reviews: a new state retires the one before it, and neither is ever lost."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, select

from gwnet.store.models.base import known_on, some_at_a_time
from gwnet.store.models.verdicts import Review
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire


def save_event_reviews(
    connection: Connection, event_ids: Sequence[int], state: str, *, by: str, reason: str | None
) -> int:
    """Record the review state of level events.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    event_ids : sequence of int
        Level events, each once.
    state : str
        New state.

    Returns
    -------
    int
        Number of reviews recorded.
    """
    return _save(connection, "level_event_id", event_ids, state, by=by, reason=reason)


def save_decisions(
    connection: Connection, verdict_ids: Sequence[int], state: str, *, by: str, reason: str | None
) -> int:
    """Record what was decided about findings.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    verdict_ids : sequence of int
        Verdicts, each once.
    state : str
        Decision.

    Returns
    -------
    int
        Number of decisions recorded.
    """
    return _save(connection, "verdict_id", verdict_ids, state, by=by, reason=reason)


def _save(
    connection: Connection,
    column: str,
    subject_ids: Sequence[int],
    state: str,
    *,
    by: str,
    reason: str | None,
) -> int:
    subjects = [int(number) for number in subject_ids]
    if not subjects:
        return 0
    old = _live(connection, column, subjects)
    # Both in one unit of work: an event has one live review at any instant.
    retire(connection, "review", old, by=by, reason=reason)
    stored: dict[str, Any] = {
        "id": reserve_ids(connection, "review", len(subjects)),
        column: subjects,
        "state": state,
        "recorded_by": by,
        "reason": reason,
    }
    return insert_columns(connection, "review", stored, len(subjects))


def _live(connection: Connection, column: str, subjects: list[int]) -> list[int]:
    """Return the live reviews of some events or verdicts."""
    live_ids: list[int] = []
    subject = getattr(Review, column)
    for some in some_at_a_time(subjects):
        live_ids += connection.scalars(select(Review.id).where(subject.in_(some), known_on(Review, None)))
    return live_ids
