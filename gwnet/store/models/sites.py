"""Sites and aquifers."""

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, live_index


class Site(Base):
    """Identity of a site: its code, which never changes."""

    __tablename__ = "site"
    __table_args__ = (Index("uq_site_code", "code", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    code: Mapped[str]


class SiteRecord(Recorded, Base):
    """Settings of a site: coordinates, datum, unit, zone, tolerances, intervals, limits of checks (JSON)."""

    __tablename__ = "site_record"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("repeat_tolerance_m IS NULL OR repeat_tolerance_m >= 0", name="tolerance_not_negative"),
        CheckConstraint("same_day_window_days IS NULL OR same_day_window_days >= 0", name="window_not_negative"),
        live_index("uq_site_record_live", "site_id"),
    )

    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    name: Mapped[str | None]
    crs: Mapped[str]
    vertical_datum: Mapped[str]
    length_unit: Mapped[str]
    time_zone: Mapped[str]
    repeat_tolerance_m: Mapped[float | None]
    same_day_window_days: Mapped[float | None]
    gauging_interval_days: Mapped[float | None]
    resurvey_interval_days: Mapped[float | None]
    tape_check_interval_days: Mapped[float | None]
    sounding_interval_days: Mapped[float | None]
    logger_visit_interval_days: Mapped[float | None]
    self_review: Mapped[bool | None]
    check_limits: Mapped[str | None]
    operator: Mapped[str | None]
    notes: Mapped[str | None]


class Aquifer(Base):
    """Identity of an aquifer."""

    __tablename__ = "aquifer"
    __table_args__ = (Index("uq_aquifer_code", "code", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    code: Mapped[str]


class AquiferRecord(Recorded, Base):
    """Name and confinement of an aquifer."""

    __tablename__ = "aquifer_record"
    __table_args__ = (*Recorded.recorded_constraints(), live_index("uq_aquifer_record_live", "aquifer_id"))

    aquifer_id: Mapped[int] = mapped_column(ForeignKey("aquifer.id"))
    name: Mapped[str | None]
    confinement: Mapped[str | None]
    notes: Mapped[str | None]
