"""Declarative base, constraint names, the UTC time type, the recorded-row mixin and the `known_on` filter.

Every table row that can be corrected mixes in `Recorded`: it carries when it holds in the field and when it was on
record. `known_on` is the only place where the second of these times is turned into a condition.

No module of tables postpones its annotations: SQLAlchemy would evaluate each of some six hundred from its text whenever
a command starts.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import Any, ClassVar, Final, TypeVar

from sqlalchemy import (
    CheckConstraint,
    ColumnElement,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Text,
    and_,
    or_,
    text,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column
from sqlalchemy.types import TypeDecorator

from gwnet.errors import StoreError

NAMING_CONVENTION = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

_Key = TypeVar("_Key")

#: Most keys in one condition. Older versions of SQLite take at most 999 parameters in a statement, some of which the
#: rest of the condition needs.
KEYS_AT_ONCE: Final = 500

#: How an instant is written in SQLite: fixed width, UTC, sorts as text.
SQLITE_TIME_FORMAT = "%Y-%m-%d %H:%M:%S.%f"


class UtcDateTime(TypeDecorator[dt.datetime]):
    """An instant: aware in Python, UTC in the store, aware again when read.

    PostgreSQL keeps ``timestamp with time zone``; SQLite keeps fixed-width text in UTC.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:
        """Turn an aware time into UTC; refuse a naive one."""
        if value is None:
            return None
        if value.tzinfo is None:
            message = f"A time without a zone, {value.isoformat()}, cannot be stored; give it an offset."
            raise StoreError(message)
        in_utc = value.astimezone(dt.UTC)
        # SQLite keeps text, which sorts in time only while all of it is in UTC and of one form.
        return in_utc.replace(tzinfo=None) if dialect.name == "sqlite" else in_utc

    def process_result_value(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """Return the stored instant as an aware UTC time."""
        if value is None:
            return None
        if value.tzinfo is None:
            return value.replace(tzinfo=dt.UTC)
        return value.astimezone(dt.UTC)


class Base(DeclarativeBase):
    """Declarative base of every table."""

    metadata = MetaData(naming_convention=NAMING_CONVENTION)
    type_annotation_map: ClassVar[dict[Any, Any]] = {dt.datetime: UtcDateTime(), str: Text()}


class Recorded:
    """The two times of a correctable row.

    ``valid_from_utc`` and ``valid_until_utc`` (half-open, null = unbounded) say when the row holds in the field, for
    subjects whose own columns do not say so already. ``recorded_at_utc`` and ``retired_at_utc`` say when it was on
    record, and by whom. A correction retires a row and adds another; no row is ever altered otherwise or deleted.
    ``as_written`` keeps the cells of a registry row as they are in the file, as JSON.
    """

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    valid_from_utc: Mapped[dt.datetime | None] = mapped_column(UtcDateTime())
    valid_until_utc: Mapped[dt.datetime | None] = mapped_column(UtcDateTime())
    recorded_at_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    recorded_by: Mapped[str]
    reason: Mapped[str | None]
    retired_at_utc: Mapped[dt.datetime | None] = mapped_column(UtcDateTime())
    retired_by: Mapped[str | None]
    retired_reason: Mapped[str | None]
    source_row: Mapped[int | None]
    as_written: Mapped[str | None]

    @declared_attr
    def source_file_id(cls) -> Mapped[int | None]:  # noqa: N805 (a declared attribute gets the class)
        """Return the file that the row came from."""
        return mapped_column(ForeignKey("source_file.id"), index=False)

    @classmethod
    def recorded_constraints(cls) -> tuple[CheckConstraint, ...]:
        """Return the checks that every recorded table carries."""
        return (
            CheckConstraint(
                "valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc",
                name="interval_forward",
            ),
            CheckConstraint(
                "retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc", name="retired_after_recorded"
            ),
            CheckConstraint("(retired_at_utc IS NULL) = (retired_by IS NULL)", name="retired_by_somebody"),
        )


def live_index(name: str, *columns: str, where: str | None = None) -> Index:
    """Return a unique index over live rows only.

    Parameters
    ----------
    name : str
        Name of the index.
    *columns : str
        Columns that together may occur once among live rows.
    where : str, optional
        Further condition in SQL.
    """
    condition = "retired_at_utc IS NULL" + (f" AND {where}" if where else "")
    # Migrations make the index, with this condition on PostgreSQL as well; named here for it, every command would load
    # that dialect, whatever its database is.
    return Index(name, *columns, unique=True, sqlite_where=text(condition))


def some_at_a_time(keys: Sequence[_Key]) -> Iterator[Sequence[_Key]]:
    """Yield keys in pieces, each short enough for the condition of one statement.

    Parameters
    ----------
    keys : sequence
        Numbers of rows, or other keys.

    Yields
    ------
    sequence
        At most `KEYS_AT_ONCE` of them, in their order; nothing where there are none.
    """
    for start in range(0, len(keys), KEYS_AT_ONCE):
        yield keys[start : start + KEYS_AT_ONCE]


def known_on(model: type[Recorded] | Any, moment: dt.datetime | None) -> ColumnElement[bool]:
    """Return the condition that keeps the rows on record at a moment.

    Parameters
    ----------
    model : type
        A recorded table or an alias of one.
    moment : datetime.datetime or None
        Aware time; the rows recorded at or before it and not yet retired then. None means the live rows.

    Raises
    ------
    StoreError
        If the moment has no time zone.
    """
    if moment is None:
        live: ColumnElement[bool] = model.retired_at_utc.is_(None)
        return live
    if moment.tzinfo is None:
        message = f"'Known on' needs a time with a zone; got {moment.isoformat()}."
        raise StoreError(message, fix="Write for example 2026-04-02T00:00:00Z.")
    # What is retired at the moment is no more on record, so that a correction never shows beside what it corrects.
    return and_(model.recorded_at_utc <= moment, or_(model.retired_at_utc.is_(None), model.retired_at_utc > moment))
