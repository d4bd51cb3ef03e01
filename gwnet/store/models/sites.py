"""Sites and aquifers."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, ColumnElement, ForeignKey, Index, Integer

from gwnet.store.models.base import Base, Recorded, column, live_index


class Site(Base):
    """Identity of a site: its code, which never changes."""

    __tablename__ = "site"
    __table_args__ = (Index("uq_site_code", "code", unique=True),)

    id: ColumnElement[int] = column(Integer, primary_key=True)
    code: ColumnElement[str]


class SiteRecord(Recorded, Base):
    """Settings of a site: coordinates, datum, unit, zone, tolerances, intervals, limits of checks (JSON)."""

    __tablename__ = "site_record"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("repeat_tolerance_m IS NULL OR repeat_tolerance_m >= 0", name="tolerance_not_negative"),
        CheckConstraint("same_day_window_days IS NULL OR same_day_window_days >= 0", name="window_not_negative"),
        live_index("uq_site_record_live", "site_id"),
    )

    site_id: ColumnElement[int] = column(ForeignKey("site.id"))
    name: ColumnElement[str | None]
    crs: ColumnElement[str]
    vertical_datum: ColumnElement[str]
    length_unit: ColumnElement[str]
    time_zone: ColumnElement[str]
    repeat_tolerance_m: ColumnElement[float | None]
    same_day_window_days: ColumnElement[float | None]
    gauging_interval_days: ColumnElement[float | None]
    resurvey_interval_days: ColumnElement[float | None]
    tape_check_interval_days: ColumnElement[float | None]
    sounding_interval_days: ColumnElement[float | None]
    logger_visit_interval_days: ColumnElement[float | None]
    self_review: ColumnElement[bool | None]
    check_limits: ColumnElement[str | None]
    operator: ColumnElement[str | None]
    notes: ColumnElement[str | None]


class Aquifer(Base):
    """Identity of an aquifer."""

    __tablename__ = "aquifer"
    __table_args__ = (Index("uq_aquifer_code", "code", unique=True),)

    id: ColumnElement[int] = column(Integer, primary_key=True)
    code: ColumnElement[str]


class AquiferRecord(Recorded, Base):
    """Name and confinement of an aquifer."""

    __tablename__ = "aquifer_record"
    __table_args__ = (*Recorded.recorded_constraints(), live_index("uq_aquifer_record_live", "aquifer_id"))

    aquifer_id: ColumnElement[int] = column(ForeignKey("aquifer.id"))
    name: ColumnElement[str | None]
    confinement: ColumnElement[str | None]
    notes: ColumnElement[str | None]
