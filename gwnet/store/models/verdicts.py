"""Verdicts of checks and reviews by people; both are added to the record and never alter a reading."""

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, live_index


class Verdict(Recorded, Base):
    """What a check noticed: the rule, its limits, the values and a sentence."""

    __tablename__ = "verdict"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        Index("ix_verdict_level_event_id", "level_event_id"),
        live_index("uq_verdict_live", "level_event_id", "rule", where="level_event_id IS NOT NULL"),
        Index("ix_verdict_gauging_round_id", "gauging_round_id"),
    )

    gauging_round_id: Mapped[int | None] = mapped_column(ForeignKey("gauging_round.id"))
    well_id: Mapped[int | None] = mapped_column(ForeignKey("well.id"))
    level_event_id: Mapped[int | None] = mapped_column(ForeignKey("level_event.id"))
    rule: Mapped[str]
    severity: Mapped[str]
    limits: Mapped[str]
    message: Mapped[str]


class Review(Recorded, Base):
    """What a reviewer decided about a level event or about a verdict, one of the two.

    Of an event: approved, rejected, on hold or provisional again. Of a verdict: accepted (it is right), dismissed (the
    level is sound), on hold or open again. The reason is in ``reason``.
    """

    __tablename__ = "review"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("(level_event_id IS NULL) <> (verdict_id IS NULL)", name="of_event_or_verdict"),
        live_index("uq_review_live", "level_event_id", where="level_event_id IS NOT NULL"),
        live_index("uq_review_live_verdict", "verdict_id", where="verdict_id IS NOT NULL"),
    )

    level_event_id: Mapped[int | None] = mapped_column(ForeignKey("level_event.id"))
    verdict_id: Mapped[int | None] = mapped_column(ForeignKey("verdict.id"))
    state: Mapped[str]
    remark: Mapped[str | None]
