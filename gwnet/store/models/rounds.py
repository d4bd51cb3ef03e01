"""Gauging rounds."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, live_index


class GaugingRound(Base):
    """Identity of a gauging round within a site."""

    __tablename__ = "gauging_round"
    __table_args__ = (Index("uq_gauging_round_site_code", "site_id", "code", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    code: Mapped[str]


class RoundRecord(Recorded, Base):
    """Dates and plan of a round; ``wells`` is a JSON list of well codes in order, empty for all."""

    __tablename__ = "round_record"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("ends_on IS NULL OR ends_on >= starts_on", name="ends_after_start"),
        live_index("uq_round_record_live", "gauging_round_id"),
    )

    gauging_round_id: Mapped[int] = mapped_column(ForeignKey("gauging_round.id"))
    starts_on: Mapped[dt.date]
    ends_on: Mapped[dt.date | None]
    purpose: Mapped[str | None]
    wells: Mapped[str]
    crew: Mapped[str | None]
    notes: Mapped[str | None]
