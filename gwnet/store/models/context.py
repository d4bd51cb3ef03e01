"""Surface-water stages and context series such as rainfall and abstraction."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import ColumnElement, ForeignKey, Index, Integer

from gwnet.store.models.base import Base, Recorded, UtcDateTime, column, live_index


class Gauge(Base):
    """Identity of a surface-water gauge within a site."""

    __tablename__ = "gauge"
    __table_args__ = (Index("uq_gauge_site_code", "site_id", "code", unique=True),)

    id: ColumnElement[int] = column(Integer, primary_key=True)
    site_id: ColumnElement[int] = column(ForeignKey("site.id"))
    code: ColumnElement[str]


class StageReading(Recorded, Base):
    """One water elevation read at a gauge."""

    __tablename__ = "stage_reading"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        live_index("uq_stage_reading_live", "gauge_id", "measured_at_utc"),
    )

    gauge_id: ColumnElement[int] = column(ForeignKey("gauge.id"))
    measured_at_utc: ColumnElement[dt.datetime] = column(UtcDateTime())
    time_known: ColumnElement[bool]
    water_elevation_m: ColumnElement[float]
    easting: ColumnElement[float | None]
    northing: ColumnElement[float | None]
    aquifer_id: ColumnElement[int | None] = column(ForeignKey("aquifer.id"))
    notes: ColumnElement[str | None]


class ContextSeries(Base):
    """Identity of a context series within a site."""

    __tablename__ = "context_series"
    __table_args__ = (Index("uq_context_series_site_code", "site_id", "code", unique=True),)

    id: ColumnElement[int] = column(Integer, primary_key=True)
    site_id: ColumnElement[int] = column(ForeignKey("site.id"))
    code: ColumnElement[str]


class ContextValue(Recorded, Base):
    """One value of a context series on a local date."""

    __tablename__ = "context_value"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        live_index("uq_context_value_live", "context_series_id", "on_date"),
    )

    context_series_id: ColumnElement[int] = column(ForeignKey("context_series.id"))
    on_date: ColumnElement[dt.date]
    quantity: ColumnElement[str]
    unit: ColumnElement[str]
    value: ColumnElement[float]
    notes: ColumnElement[str | None]
