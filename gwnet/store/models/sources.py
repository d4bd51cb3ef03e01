"""Files that rows came from, kept byte for byte, and the issues of reports."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer, LargeBinary
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, UtcDateTime, live_index


class SourceFile(Base):
    """One loaded file: its bytes (zlib; where it has pieces, the first of them), SHA-256 and what was read from it."""

    __tablename__ = "source_file"
    __table_args__ = (Index("uq_source_file_sha256", "sha256", unique=True),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    name: Mapped[str]
    sha256: Mapped[str]
    size_bytes: Mapped[int]
    content: Mapped[bytes] = mapped_column(LargeBinary)
    layout: Mapped[str]
    row_count: Mapped[int]
    loaded_at_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    loaded_by: Mapped[str]


class SourcePiece(Base):
    """More of the compressed bytes of a long file, after those that are kept with it."""

    __tablename__ = "source_piece"

    source_file_id: Mapped[int] = mapped_column(ForeignKey("source_file.id"), primary_key=True, autoincrement=False)
    ordinal: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    content: Mapped[bytes] = mapped_column(LargeBinary)


class ReportIssue(Recorded, Base):
    """One issued report: what it was made from and every value that it printed (JSON)."""

    __tablename__ = "report_issue"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("length(sha256) = 64", name="sha256_whole"),
        live_index("uq_report_issue_live", "site_id", "definition", "period", "sha256"),
    )

    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"))
    definition: Mapped[str]
    definition_sha256: Mapped[str]
    period: Mapped[str]
    known_on_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    sha256: Mapped[str]
    printed_values: Mapped[str]
