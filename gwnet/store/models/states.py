"""States of the record, one for each writing unit of work that recorded something, and what each added or retired."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import CheckConstraint, ColumnElement, ForeignKey, Index, Integer, LargeBinary

from gwnet.store.models.base import Base, UtcDateTime, column


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

    serial: ColumnElement[int] = column(Integer, primary_key=True, autoincrement=False)
    recorded_at_utc: ColumnElement[dt.datetime] = column(UtcDateTime())
    clock_utc: ColumnElement[dt.datetime | None] = column(UtcDateTime())
    recorded_by: ColumnElement[str]
    act: ColumnElement[str]
    reason: ColumnElement[str | None]
    program: ColumnElement[str]
    previous_digest: ColumnElement[str | None]
    digest: ColumnElement[str]


class StatePart(Base):
    """Rows of one table that a state added or retired; see `gwnet.store.integrity.digests.Part`."""

    __tablename__ = "state_part"
    __table_args__ = (CheckConstraint("length(digest) = 64", name="digest_whole"),)

    state_serial: ColumnElement[int] = column(ForeignKey("state.serial"), primary_key=True, autoincrement=False)
    ordinal: ColumnElement[int] = column(primary_key=True, autoincrement=False)
    table_name: ColumnElement[str]
    act: ColumnElement[str]
    described: ColumnElement[str]
    row_count: ColumnElement[int]
    row_keys: ColumnElement[bytes] = column(LargeBinary)
    row_hashes: ColumnElement[bytes] = column(LargeBinary)
    digest: ColumnElement[str]
