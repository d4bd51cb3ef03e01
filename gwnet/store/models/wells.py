"""Wells and their construction."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import CheckConstraint, ColumnElement, ForeignKey, Index, Integer

from gwnet.store.models.base import Base, Recorded, column, live_index


class Well(Base):
    """Identity of a well: its code within a site."""

    __tablename__ = "well"
    __table_args__ = (Index("uq_well_site_code", "site_id", "code", unique=True),)

    id: ColumnElement[int] = column(Integer, primary_key=True)
    site_id: ColumnElement[int] = column(ForeignKey("site.id"))
    code: ColumnElement[str]


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

    well_id: ColumnElement[int] = column(ForeignKey("well.id"))
    easting: ColumnElement[float | None]
    northing: ColumnElement[float | None]
    longitude: ColumnElement[float | None]
    latitude: ColumnElement[float | None]
    coordinate_accuracy_m: ColumnElement[float | None]
    aquifer_id: ColumnElement[int | None] = column(ForeignKey("aquifer.id"))
    cluster: ColumnElement[str | None]
    purpose: ColumnElement[str | None]
    role: ColumnElement[str | None]
    ground_elevation_m: ColumnElement[float | None]
    ground_accuracy_m: ColumnElement[float | None]
    total_depth_m: ColumnElement[float | None]
    drilled_on: ColumnElement[dt.date | None]
    decommissioned_on: ColumnElement[dt.date | None]
    replaced_by: ColumnElement[str | None]
    access_notes: ColumnElement[str | None]
    hazards: ColumnElement[str | None]
    notes: ColumnElement[str | None]


class ConstructionPart(Recorded, Base):
    """One part of a well's construction between two depths below ground."""

    __tablename__ = "construction_part"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("bottom_depth_m >= top_depth_m", name="bottom_below_top"),
        live_index("uq_construction_part_live", "well_id", "part", "top_depth_m"),
    )

    well_id: ColumnElement[int] = column(ForeignKey("well.id"))
    part: ColumnElement[str]
    top_depth_m: ColumnElement[float]
    bottom_depth_m: ColumnElement[float]
    diameter_mm: ColumnElement[float | None]
    material: ColumnElement[str | None]
    installed_on: ColumnElement[dt.date | None]
    removed_on: ColumnElement[dt.date | None]
    notes: ColumnElement[str | None]
