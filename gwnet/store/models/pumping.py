"""Pumping tests: the test, its rates of pumping, and the levels that were read for it."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, UtcDateTime, live_index


class PumpingTest(Base):
    """Identity of a pumping test within a site."""

    __tablename__ = "pumping_test"
    __table_args__ = (Index("uq_pumping_test_site_code", "site_id", "code", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    code: Mapped[str]


class PumpingTestRecord(Recorded, Base):
    """What is on record of a pumping test."""

    __tablename__ = "pumping_test_record"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("stops_at_utc IS NULL OR stops_at_utc > starts_at_utc", name="stops_after_start"),
        live_index("uq_pumping_test_record_live", "pumping_test_id"),
    )

    pumping_test_id: Mapped[int] = mapped_column(ForeignKey("pumping_test.id"))
    well_id: Mapped[int] = mapped_column(ForeignKey("well.id"))
    kind: Mapped[str]
    starts_at_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    stops_at_utc: Mapped[dt.datetime | None] = mapped_column(UtcDateTime())
    intake_depth_m: Mapped[float | None]
    aquifer_thickness_m: Mapped[float | None]
    purpose: Mapped[str | None]
    crew: Mapped[str | None]
    notes: Mapped[str | None]


class PumpingRate(Recorded, Base):
    """A rate of pumping from a moment on; the moment is an instant, or a time since the start of the test."""

    __tablename__ = "pumping_rate"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("rate_l_s >= 0", name="rate_not_negative"),
        # Of two truths that are unequal one holds: the moment is given in one of the two ways.
        CheckConstraint("(from_utc IS NULL) <> (from_elapsed_min IS NULL)", name="from_given_once"),
        # A unique index takes every NULL for another value, so each way of giving the moment has an index of its own.
        live_index("uq_pumping_rate_live", "pumping_test_id", "well_id", "from_utc", where="from_utc IS NOT NULL"),
        live_index(
            "uq_pumping_rate_live_elapsed",
            "pumping_test_id",
            "well_id",
            "from_elapsed_min",
            where="from_elapsed_min IS NOT NULL",
        ),
    )

    pumping_test_id: Mapped[int] = mapped_column(ForeignKey("pumping_test.id"))
    well_id: Mapped[int] = mapped_column(ForeignKey("well.id"))
    from_utc: Mapped[dt.datetime | None] = mapped_column(UtcDateTime())
    from_elapsed_min: Mapped[float | None]
    rate_l_s: Mapped[float]
    method: Mapped[str | None]
    volume_l: Mapped[float | None]
    seconds_s: Mapped[float | None]
    notes: Mapped[str | None]


class PumpingReading(Recorded, Base):
    """A level read for a test; when it was read is an instant, or a time since the start of the test."""

    __tablename__ = "pumping_reading"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("(measured_at_utc IS NULL) <> (elapsed_min IS NULL)", name="time_given_once"),
        CheckConstraint("(set_depth_m IS NULL) = (passed IS NULL)", name="passed_with_set_depth"),
        live_index(
            "uq_pumping_reading_live",
            "pumping_test_id",
            "well_id",
            "measured_at_utc",
            where="measured_at_utc IS NOT NULL",
        ),
        live_index(
            "uq_pumping_reading_live_elapsed",
            "pumping_test_id",
            "well_id",
            "elapsed_min",
            where="elapsed_min IS NOT NULL",
        ),
    )

    pumping_test_id: Mapped[int] = mapped_column(ForeignKey("pumping_test.id"))
    well_id: Mapped[int] = mapped_column(ForeignKey("well.id"))
    measured_at_utc: Mapped[dt.datetime | None] = mapped_column(UtcDateTime())
    elapsed_min: Mapped[float | None]
    depth_to_water_m: Mapped[float | None]
    drawdown_m: Mapped[float | None]
    set_depth_m: Mapped[float | None]
    passed: Mapped[str | None]
    access: Mapped[str]
    instrument_id: Mapped[int | None] = mapped_column(ForeignKey("instrument.id"))
    observer: Mapped[str | None]
    quality: Mapped[str | None]
    notes: Mapped[str | None]
