"""States of the record: one for each writing unit of work that recorded something."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import CheckConstraint, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, UtcDateTime


class State(Base):
    """One state of the record: its serial number, when and by whom it was recorded, by which act.

    Every row that the act added or retired carries ``recorded_at_utc``, which grows from state to state.
    ``clock_utc`` is what the clock said, empty for the state with which a record from before states begins. ``digest``
    covers the rows that were added and retired, this row itself and the digest of the state before.
    """

    __tablename__ = "state"
    __table_args__ = (
        CheckConstraint("serial >= 1", name="serial_counts"),
        CheckConstraint("length(digest) = 64", name="digest_whole"),
        Index("uq_state_recorded_at", "recorded_at_utc", unique=True),
    )

    serial: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    recorded_at_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    clock_utc: Mapped[dt.datetime | None] = mapped_column(UtcDateTime())
    recorded_by: Mapped[str]
    act: Mapped[str]
    reason: Mapped[str | None]
    program: Mapped[str]
    previous_digest: Mapped[str | None]
    digest: Mapped[str]
