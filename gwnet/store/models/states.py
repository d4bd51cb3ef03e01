"""States of the record, one for each writing unit of work that recorded something, and what each added or retired."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer, LargeBinary
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


class StatePart(Base):
    """Rows of one table that a state added or retired; see `gwnet.store.integrity.digests.Part`."""

    __tablename__ = "state_part"
    __table_args__ = (CheckConstraint("length(digest) = 64", name="digest_whole"),)

    state_serial: Mapped[int] = mapped_column(ForeignKey("state.serial"), primary_key=True, autoincrement=False)
    ordinal: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    table_name: Mapped[str]
    act: Mapped[str]
    described: Mapped[str]
    row_count: Mapped[int]
    row_keys: Mapped[bytes] = mapped_column(LargeBinary)
    row_hashes: Mapped[bytes] = mapped_column(LargeBinary)
    digest: Mapped[str]
