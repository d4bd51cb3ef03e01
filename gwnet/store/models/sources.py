"""Files that rows came from, kept byte for byte, and the issues of reports."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import CheckConstraint, ColumnElement, ForeignKey, Index, Integer, LargeBinary

from gwnet.store.models.base import Base, Recorded, UtcDateTime, column, live_index


class SourceFile(Base):
    """One loaded file: its bytes (zlib; where it has pieces, the first of them), SHA-256 and what was read from it."""

    __tablename__ = "source_file"
    __table_args__ = (Index("uq_source_file_sha256", "sha256", unique=True),)

    id: ColumnElement[int] = column(Integer, primary_key=True)
    name: ColumnElement[str]
    sha256: ColumnElement[str]
    size_bytes: ColumnElement[int]
    content: ColumnElement[bytes] = column(LargeBinary)
    layout: ColumnElement[str]
    row_count: ColumnElement[int]
    loaded_at_utc: ColumnElement[dt.datetime] = column(UtcDateTime())
    loaded_by: ColumnElement[str]


class SourcePiece(Base):
    """More of the compressed bytes of a long file, after those that are kept with it."""

    __tablename__ = "source_piece"

    source_file_id: ColumnElement[int] = column(ForeignKey("source_file.id"), primary_key=True, autoincrement=False)
    ordinal: ColumnElement[int] = column(Integer, primary_key=True, autoincrement=False)
    content: ColumnElement[bytes] = column(LargeBinary)


class ReportIssue(Recorded, Base):
    """One issued report: what it was made from and every value that it printed (JSON)."""

    __tablename__ = "report_issue"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("length(sha256) = 64", name="sha256_whole"),
        live_index("uq_report_issue_live", "site_id", "definition", "period", "sha256"),
    )

    site_id: ColumnElement[int | None] = column(ForeignKey("site.id"))
    definition: ColumnElement[str]
    definition_sha256: ColumnElement[str]
    period: ColumnElement[str]
    known_on_utc: ColumnElement[dt.datetime] = column(UtcDateTime())
    sha256: ColumnElement[str]
    printed_values: ColumnElement[str]
