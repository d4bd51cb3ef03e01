"""Wells and their construction."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, live_index


class Well(Base):
    """Identity of a well: its code within a site."""

    __tablename__ = "well"
    __table_args__ = (Index("uq_well_site_code", "site_id", "code", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    code: Mapped[str]


class WellRecord(Recorded, Base):
    """Where a well is, what it taps, how deep it is, when it was drilled and decommissioned.

    Depths are below ground, positive down; elevations are positive up from the site's vertical datum.
    """

    __tablename__ = "well_record"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("total_depth_m IS NULL OR total_depth_m > 0", name="total_depth_positive"),
        live_index("uq_well_record_live", "well_id"),
    )

    well_id: Mapped[int] = mapped_column(ForeignKey("well.id"))
    easting: Mapped[float | None]
    northing: Mapped[float | None]
    longitude: Mapped[float | None]
    latitude: Mapped[float | None]
    coordinate_accuracy_m: Mapped[float | None]
    aquifer_id: Mapped[int | None] = mapped_column(ForeignKey("aquifer.id"))
    cluster: Mapped[str | None]
    purpose: Mapped[str | None]
    role: Mapped[str | None]
    ground_elevation_m: Mapped[float | None]
    ground_accuracy_m: Mapped[float | None]
    total_depth_m: Mapped[float | None]
    drilled_on: Mapped[dt.date | None]
    decommissioned_on: Mapped[dt.date | None]
    replaced_by: Mapped[str | None]
    access_notes: Mapped[str | None]
    hazards: Mapped[str | None]
    notes: Mapped[str | None]


class ConstructionPart(Recorded, Base):
    """One part of a well's construction between two depths below ground."""

    __tablename__ = "construction_part"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("bottom_depth_m >= top_depth_m", name="bottom_below_top"),
        live_index("uq_construction_part_live", "well_id", "part", "top_depth_m"),
    )

    well_id: Mapped[int] = mapped_column(ForeignKey("well.id"))
    part: Mapped[str]
    top_depth_m: Mapped[float]
    bottom_depth_m: Mapped[float]
    diameter_mm: Mapped[float | None]
    material: Mapped[str | None]
    installed_on: Mapped[dt.date | None]
    removed_on: Mapped[dt.date | None]
    notes: Mapped[str | None]
