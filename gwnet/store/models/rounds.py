"""Gauging rounds."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import CheckConstraint, ColumnElement, ForeignKey, Index, Integer

from gwnet.store.models.base import Base, Recorded, column, live_index


class GaugingRound(Base):
    """Identity of a gauging round within a site."""

    __tablename__ = "gauging_round"
    __table_args__ = (Index("uq_gauging_round_site_code", "site_id", "code", unique=True),)

    id: ColumnElement[int] = column(Integer, primary_key=True)
    site_id: ColumnElement[int] = column(ForeignKey("site.id"))
    code: ColumnElement[str]


class RoundRecord(Recorded, Base):
    """Dates and plan of a round; ``wells`` is a JSON list of well codes in order, empty for all."""

    __tablename__ = "round_record"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("ends_on IS NULL OR ends_on >= starts_on", name="ends_after_start"),
        live_index("uq_round_record_live", "gauging_round_id"),
    )

    gauging_round_id: ColumnElement[int] = column(ForeignKey("gauging_round.id"))
    starts_on: ColumnElement[dt.date]
    ends_on: ColumnElement[dt.date | None]
    purpose: ColumnElement[str | None]
    wells: ColumnElement[str]
    crew: ColumnElement[str | None]
    notes: ColumnElement[str | None]
