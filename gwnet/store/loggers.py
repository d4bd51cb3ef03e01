"""Logger series, their samples (append-only) and adjustments."""

from __future__ import annotations

from sqlalchemy import BigInteger, ForeignKey, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.base import Base, Recorded


class LoggerSeries(Base):
    """One quantity recorded by one instrument in one deployment."""

    __tablename__ = "logger_series"
    __table_args__ = (Index("uq_logger_series_key", "instrument_id", "deployment_id", "quantity", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    deployment_id: Mapped[int | None] = mapped_column(ForeignKey("deployment.id"))
    quantity: Mapped[str]
    unit: Mapped[str]


class Sample(Base):
    """One raw sample; clustered on series and time (milliseconds since 1970-01-01 UTC)."""

    __tablename__ = "sample"
    __table_args__ = ({"sqlite_with_rowid": False},)

    series_id: Mapped[int] = mapped_column(ForeignKey("logger_series.id"), primary_key=True, autoincrement=False)
    time_ms: Mapped[int] = mapped_column(BigInteger, primary_key=True, autoincrement=False)
    value: Mapped[float | None]
    flag: Mapped[int | None]


class Adjustment(Recorded, Base):
    """One step of a series' processing recipe, with its parameters (JSON), author and reason."""

    __tablename__ = "adjustment"
    __table_args__ = (*Recorded.recorded_constraints(), Index("ix_adjustment_series_id", "series_id"))

    series_id: Mapped[int] = mapped_column(ForeignKey("logger_series.id"))
    kind: Mapped[str]
    parameters: Mapped[str]
