"""Logger series, their samples (append-only), the downloads that samples came with, conflicts and corrections.

A sample is never altered and a deployment may be corrected, so a series belongs to instrument and quantity alone, and
the deployments on record say where its samples were measured. Samples have no foreign key: checking it row by row took
four fifths of the time of COPY on PostgreSQL; runs and packs, stored in the same transaction, have it. Packs hold the
samples of one chunk as arrays beside the rows. They are no part of the record and may be deleted: a series is read from
its rows where their number is not that of its runs.
"""

from typing import Final

from sqlalchemy import BigInteger, CheckConstraint, ForeignKey, Index, Integer, LargeBinary
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded

#: Columns of a download that are known only at the end of the unit of work that records it.
COMPLETED: Final = (
    *("row_count", "added_count", "same_count", "repeated_count", "conflict_count", "missing_count", "event_count"),
    *("first_ms", "last_ms", "source_file_id"),
)


class LoggerSeries(Base):
    """One quantity recorded by one instrument, in one unit.

    Which deployment a sample belongs to is worked out from the deployments on record. ``segment`` is 1 unless a
    download was withdrawn, whose samples keep their place in the segment before, or the unit changed. Two segments of
    one instrument and quantity never have a sample on record at the same instant.
    """

    __tablename__ = "logger_series"
    __table_args__ = (
        Index("uq_logger_series_key", "instrument_id", "quantity", "segment", unique=True),
        CheckConstraint("segment >= 1", name="segment_counts"),
    )

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    quantity: Mapped[str]
    unit: Mapped[str]
    segment: Mapped[int]


class Sample(Base):
    """One raw sample; clustered on series and time (milliseconds since 1970-01-01 UTC).

    It has no foreign key, which would cost several times the time of storing it; the run that it belongs to has one.
    """

    __tablename__ = "sample"
    __table_args__ = ({"sqlite_with_rowid": False},)

    series_id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    time_ms: Mapped[int] = mapped_column(BigInteger, primary_key=True, autoincrement=False)
    value: Mapped[float | None]
    flag: Mapped[int | None]


class Download(Recorded, Base):
    """What one file gave to one series: how it was read, its span and counts; retired when it is withdrawn.

    ``layout_text`` is the whole layout that the file was read with. ``first_ms`` and ``last_ms`` span all samples of
    the file, whether they were added or on record already.
    """

    __tablename__ = "download"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        Index("ix_download_series_id", "series_id"),
        Index("ix_download_source_file_id", "source_file_id"),
        {"info": {"completed": COMPLETED}},
    )

    series_id: Mapped[int] = mapped_column(ForeignKey("logger_series.id"))
    layout: Mapped[str]
    layout_text: Mapped[str | None]
    zone: Mapped[str]
    first_ms: Mapped[int | None] = mapped_column(BigInteger)
    last_ms: Mapped[int | None] = mapped_column(BigInteger)
    row_count: Mapped[int]
    added_count: Mapped[int]
    same_count: Mapped[int]
    repeated_count: Mapped[int]
    conflict_count: Mapped[int]
    missing_count: Mapped[int]
    event_count: Mapped[int]


class SampleRun(Base):
    """Samples that one download added to a series, from the first to the last of them.

    When a run is stored no sample of another download lies inside it; later ones may come to lie there. So a sample
    belongs to the newest of the runs that span it.
    """

    __tablename__ = "sample_run"
    __table_args__ = (
        CheckConstraint("last_ms >= first_ms", name="forward"),
        CheckConstraint("sample_count >= 1", name="not_empty"),
        {"sqlite_with_rowid": False},
    )

    series_id: Mapped[int] = mapped_column(ForeignKey("logger_series.id"), primary_key=True, autoincrement=False)
    first_ms: Mapped[int] = mapped_column(BigInteger, primary_key=True, autoincrement=False)
    last_ms: Mapped[int] = mapped_column(BigInteger)
    download_id: Mapped[int] = mapped_column(ForeignKey("download.id"))
    sample_count: Mapped[int]


class SamplePack(Base):
    """A copy of samples of one download as one array, from which a long series is read at once.

    It is no part of the record: it holds nothing that the samples do not, and is read only when it is whole.
    ``content`` is the values (float64, little-endian), before them the times (int64, little-endian) unless the samples
    are ``step_ms`` apart all through.
    """

    __tablename__ = "sample_pack"
    __table_args__ = ({"info": {"guard": "copy"}},)

    series_id: Mapped[int] = mapped_column(ForeignKey("logger_series.id"), primary_key=True, autoincrement=False)
    first_ms: Mapped[int] = mapped_column(BigInteger, primary_key=True, autoincrement=False)
    last_ms: Mapped[int] = mapped_column(BigInteger)
    step_ms: Mapped[int | None] = mapped_column(BigInteger)
    sample_count: Mapped[int]
    download_id: Mapped[int] = mapped_column(ForeignKey("download.id"))
    content: Mapped[bytes] = mapped_column(LargeBinary)


class SampleConflict(Base):
    """A value that a download gave for an instant at which a series has another value, which stays.

    ``series_id`` is the series that holds the stored value; ``unit`` is that of the value given.
    """

    __tablename__ = "sample_conflict"
    __table_args__ = (Index("ix_sample_conflict_download_id", "download_id"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    series_id: Mapped[int] = mapped_column(ForeignKey("logger_series.id"))
    time_ms: Mapped[int] = mapped_column(BigInteger)
    value: Mapped[float]
    unit: Mapped[str]
    download_id: Mapped[int] = mapped_column(ForeignKey("download.id"))
    source_row: Mapped[int | None] = mapped_column(BigInteger)


class Correction(Recorded, Base):
    """One step of a series' processing correction history, with its parameters (JSON), author and reason."""

    __tablename__ = "correction"
    __table_args__ = (*Recorded.recorded_constraints(), Index("ix_correction_series_id", "series_id"))

    series_id: Mapped[int] = mapped_column(ForeignKey("logger_series.id"))
    kind: Mapped[str]
    parameters: Mapped[str]
