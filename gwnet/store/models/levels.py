"""Level events: what was seen and read at a well, as it was read."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, UtcDateTime, live_index


class LevelEvent(Base):
    """Identity of one measurement at one access of a well.

    When the time of day is unknown, ``time_known`` is false and ``measured_at_utc`` is noon of the site's local date.
    ``event`` is the source's own number and keeps two events of one time apart; empty when there is none.
    """

    __tablename__ = "level_event"
    __table_args__ = (
        Index("uq_level_event_key", "well_id", "measured_at_utc", "access", "time_known", "event", unique=True),
    )

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    well_id: Mapped[int] = mapped_column(ForeignKey("well.id"))
    access: Mapped[str]
    measured_at_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    time_known: Mapped[bool]
    event: Mapped[str]


class LevelRecord(Recorded, Base):
    """What was recorded of a level event; its readings refer to it."""

    __tablename__ = "level_record"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("chosen_reading IS NULL OR chosen_reading BETWEEN 1 AND 3", name="chosen_reading_known"),
        live_index("uq_level_record_live", "level_event_id"),
        Index("ix_level_record_gauging_round_id", "gauging_round_id"),
    )

    level_event_id: Mapped[int] = mapped_column(ForeignKey("level_event.id"))
    gauging_round_id: Mapped[int | None] = mapped_column(ForeignKey("gauging_round.id"))
    status: Mapped[str]
    local_offset_minutes: Mapped[int]
    instrument_id: Mapped[int | None] = mapped_column(ForeignKey("instrument.id"))
    method: Mapped[str | None]
    observer: Mapped[str | None]
    product_relative_density: Mapped[float | None]
    chosen_reading: Mapped[int | None]
    discharge_l_s: Mapped[float | None]
    tape_temperature_degc: Mapped[float | None]
    tape_tension_n: Mapped[float | None]
    quality: Mapped[str | None]
    notes: Mapped[str | None]


class LevelReading(Base):
    """One number as it was read: the value in its own unit and the text of the cell.

    ``quantity`` is depth_to_water, depth_below_ground, water_elevation, tape_at_mark, tape_at_water,
    depth_to_product or sounded_depth; ``ordinal`` counts the repeats from 1.
    """

    __tablename__ = "level_reading"
    # The key is the row: readings lie in its order, without an index beside them.
    __table_args__ = ({"sqlite_with_rowid": False},)

    level_record_id: Mapped[int] = mapped_column(ForeignKey("level_record.id"), primary_key=True, autoincrement=False)
    quantity: Mapped[str] = mapped_column(primary_key=True)
    ordinal: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    value: Mapped[float]
    unit: Mapped[str]
    written: Mapped[str]
