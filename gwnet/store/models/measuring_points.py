"""Measuring points: the marked points from which depths are read, each with the time in which it is in force.

That two live measuring points of one access never overlap in time is kept by the database itself: an exclusion
constraint on PostgreSQL, triggers on SQLite (both in the first revision).

A new survey does not end the earlier one by itself: the earlier row gets its end in a correction of its own, so that
nobody ends a point by mistake.
"""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, live_index


class MeasuringPoint(Recorded, Base):
    """One survey of a measuring point.

    ``elevation_m`` is positive up from the vertical datum; ``height_above_ground_m`` is positive up.
    """

    __tablename__ = "measuring_point"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("valid_from_utc IS NOT NULL", name="valid_from_given"),
        CheckConstraint("accuracy_m IS NULL OR accuracy_m >= 0", name="accuracy_not_negative"),
        live_index("uq_measuring_point_live", "well_id", "access", "valid_from_utc"),
    )

    well_id: Mapped[int] = mapped_column(ForeignKey("well.id"))
    access: Mapped[str]
    elevation_m: Mapped[float]
    height_above_ground_m: Mapped[float | None]
    vertical_datum: Mapped[str | None]
    description: Mapped[str | None]
    surveyed_on: Mapped[dt.date | None]
    surveyed_by: Mapped[str | None]
    survey_method: Mapped[str | None]
    accuracy_m: Mapped[float | None]
    change: Mapped[str | None]
    notes: Mapped[str | None]
