"""Instruments, tape checks against the reference tape, and deployments."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, live_index


class Instrument(Base):
    """Identity of an instrument."""

    __tablename__ = "instrument"
    __table_args__ = (Index("uq_instrument_code", "code", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    code: Mapped[str]


class InstrumentRecord(Recorded, Base):
    """Kind and properties of an instrument.

    ``length_below_sensing_point_m`` is the length of the probe below the point that senses water.
    """

    __tablename__ = "instrument_record"
    __table_args__ = (*Recorded.recorded_constraints(), live_index("uq_instrument_record_live", "instrument_id"))

    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    kind: Mapped[str]
    serial: Mapped[str | None]
    length_unit: Mapped[str | None]
    length_below_sensing_point_m: Mapped[float | None]
    resolution_m: Mapped[float | None]
    accuracy_m: Mapped[float | None]
    range_m: Mapped[float | None]
    standard_temperature_degc: Mapped[float | None]
    thermal_expansion_ppm_degc: Mapped[float | None]
    standard_tension_n: Mapped[float | None]
    axial_stiffness_kn: Mapped[float | None]
    mass_per_length_g_m: Mapped[float | None]
    notes: Mapped[str | None]


class TapeCheck(Recorded, Base):
    """One reading of a tape beside the reference tape; corrections are reference minus tape."""

    __tablename__ = "tape_check"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        live_index("uq_tape_check_live", "instrument_id", "checked_on", "tape_reading_m"),
    )

    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    checked_on: Mapped[dt.date]
    tape_reading_m: Mapped[float]
    reference_reading_m: Mapped[float]
    checked_by: Mapped[str | None]
    notes: Mapped[str | None]


class Deployment(Recorded, Base):
    """An instrument installed in a well (or a barometer at a site) from ``valid_from_utc`` to ``valid_until_utc``."""

    __tablename__ = "deployment"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("valid_from_utc IS NOT NULL", name="hung_at_given"),
        live_index("uq_deployment_live", "instrument_id", "valid_from_utc"),
    )

    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    well_id: Mapped[int | None] = mapped_column(ForeignKey("well.id"))
    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    hanging_depth_m: Mapped[float | None]
    barometer_id: Mapped[int | None] = mapped_column(ForeignKey("instrument.id"))
    notes: Mapped[str | None]
