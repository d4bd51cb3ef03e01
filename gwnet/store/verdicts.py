"""Verdicts of checks and reviews by people; both are added to the record and never alter a reading."""

from __future__ import annotations

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.base import Base, Recorded, live_index


class Verdict(Recorded, Base):
    """What a check noticed: the rule, its limits, the values and a sentence."""

    __tablename__ = "verdict"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        Index("ix_verdict_level_event_id", "level_event_id"),
        live_index("uq_verdict_live", "level_event_id", "rule", where="level_event_id IS NOT NULL"),
    )

    well_id: Mapped[int | None] = mapped_column(ForeignKey("well.id"))
    level_event_id: Mapped[int | None] = mapped_column(ForeignKey("level_event.id"))
    rule: Mapped[str]
    severity: Mapped[str]
    limits: Mapped[str]
    message: Mapped[str]


class Review(Recorded, Base):
    """What a reviewer decided about a level event: approved, rejected, on hold or provisional again."""

    __tablename__ = "review"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        live_index("uq_review_live", "level_event_id"),
    )

    level_event_id: Mapped[int] = mapped_column(ForeignKey("level_event.id"))
    state: Mapped[str]
    remark: Mapped[str | None]
