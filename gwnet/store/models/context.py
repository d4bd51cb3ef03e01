"""Surface-water stages and context series such as rainfall and abstraction."""

import datetime as dt

from sqlalchemy import ForeignKey, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, UtcDateTime, live_index


class Gauge(Base):
    """Identity of a surface-water gauge within a site."""

    __tablename__ = "gauge"
    __table_args__ = (Index("uq_gauge_site_code", "site_id", "code", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    code: Mapped[str]


class StageReading(Recorded, Base):
    """One water elevation read at a gauge."""

    __tablename__ = "stage_reading"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        live_index("uq_stage_reading_live", "gauge_id", "measured_at_utc"),
    )

    gauge_id: Mapped[int] = mapped_column(ForeignKey("gauge.id"))
    measured_at_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    time_known: Mapped[bool]
    water_elevation_m: Mapped[float]
    easting: Mapped[float | None]
    northing: Mapped[float | None]
    aquifer_id: Mapped[int | None] = mapped_column(ForeignKey("aquifer.id"))
    notes: Mapped[str | None]


class ContextSeries(Base):
    """Identity of a context series within a site."""

    __tablename__ = "context_series"
    __table_args__ = (Index("uq_context_series_site_code", "site_id", "code", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    code: Mapped[str]


class ContextValue(Recorded, Base):
    """One value of a context series on a local date."""

    __tablename__ = "context_value"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        live_index("uq_context_value_live", "context_series_id", "on_date"),
    )

    context_series_id: Mapped[int] = mapped_column(ForeignKey("context_series.id"))
    on_date: Mapped[dt.date]
    quantity: Mapped[str]
    unit: Mapped[str]
    value: Mapped[float]
    notes: Mapped[str | None]
