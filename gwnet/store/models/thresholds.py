"""Thresholds of wells."""

from sqlalchemy import CheckConstraint, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, live_index


class Threshold(Recorded, Base):
    """A level that calls for action when it is passed.

    ``quantity`` says what ``value_m`` is: water_elevation (positive up), depth_to_water or depth_below_ground
    (positive down), change within ``days`` (positive for a rise), or gradient: the difference of head over one metre
    towards the other well, which ``gradient`` holds without a unit. ``kind`` is lower or upper in terms of water
    elevation, of its change or of the gradient.
    """

    __tablename__ = "threshold"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("kind IN ('lower', 'upper')", name="kind_known"),
        CheckConstraint("consecutive >= 1", name="consecutive_positive"),
        live_index("uq_threshold_live", "well_id", "threshold", "valid_from_utc", where="valid_from_utc IS NOT NULL"),
        live_index("uq_threshold_live_open", "well_id", "threshold", where="valid_from_utc IS NULL"),
    )

    well_id: Mapped[int] = mapped_column(ForeignKey("well.id"))
    threshold: Mapped[str]
    kind: Mapped[str]
    quantity: Mapped[str]
    value_m: Mapped[float]
    days: Mapped[int | None]
    gradient: Mapped[float | None]
    other_well_id: Mapped[int | None] = mapped_column(ForeignKey("well.id"))
    consecutive: Mapped[int]
    basis: Mapped[str | None]
    action: Mapped[str | None]
