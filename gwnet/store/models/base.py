"""Base of the declared tables, constraint names, the UTC time type, the recorded-row mixin, the `known_on` filter.

A table is declared by a class whose attributes are its columns. The class stands for a plain table of SQLAlchemy's
core: nothing is mapped to objects, which would cost every command a third of its start. Every table row that can be
corrected mixes in `Recorded`: it carries when it holds in the field and when it was on record. `known_on` is the only
place where the second of these times is turned into a condition.
"""

from __future__ import annotations

import datetime as dt
import re
from inspect import get_annotations
from typing import Any, ClassVar, Final

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    ColumnElement,
    Date,
    DateTime,
    Dialect,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    and_,
    or_,
    text,
)
from sqlalchemy.types import TypeDecorator, TypeEngine

from gwnet.errors import StoreError

NAMING_CONVENTION = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

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


#: How the type of a column is written in its annotation, and what it is in the store.
_TYPES: Final[dict[str, type[TypeEngine[Any]]]] = {
    "int": Integer,
    "float": Double,
    "str": Text,
    "bool": Boolean,
    "bytes": LargeBinary,
    "dt.date": Date,
    "dt.datetime": UtcDateTime,
}

_COLUMN = re.compile(r"ColumnElement\[(.+?)( \| None)?\]")


def column(*parts: Any, **settings: Any) -> Any:
    """Return what a column has beside its name and the type of its annotation.

    Parameters
    ----------
    *parts : object
        A type of SQLAlchemy's, where the annotation does not say it, and foreign keys.
    **settings : object
        As those of `sqlalchemy.Column`.
    """
    return parts, settings


class _Declared(type):
    """Kind of the classes that declare a table: SQLAlchemy takes one where it takes a table."""

    __table__: Table

    def __clause_element__(cls) -> Table:  # the name that SQLAlchemy asks for
        """Return the table, as a part of a statement."""
        return cls.__table__


class Base(metaclass=_Declared):
    """Base of every class that declares a table: each attribute a ``ColumnElement[type]``."""

    metadata: ClassVar[MetaData] = MetaData(naming_convention=NAMING_CONVENTION)
    #: Every class that declares a table, in the order of declaration.
    declared: ClassVar[list[type[Base]]] = []
    __tablename__: ClassVar[str]
    __table__: ClassVar[Table]
    __table_args__: ClassVar[tuple[Any, ...]] = ()

    def __init_subclass__(cls) -> None:
        """Make the table, and let each attribute be its column."""
        parts = [part for part in cls.__table_args__ if not isinstance(part, dict)]
        settings = {key: value for part in cls.__table_args__ if isinstance(part, dict) for key, value in part.items()}
        cls.__table__ = Table(cls.__tablename__, cls.metadata, *_columns_of(cls), *parts, **settings)
        for own in cls.__table__.columns:
            setattr(cls, own.name, own)
        Base.declared.append(cls)


def _columns_of(declared: type) -> list[Column[Any]]:
    """Return new columns: those that a class declares itself, then those that it takes over."""
    columns = {}
    for owner in declared.__mro__:
        for name, annotation in get_annotations(owner).items():
            match = _COLUMN.fullmatch(annotation)
            if match and name not in columns:
                parts, settings = owner.__dict__.get(name, ((), {}))
                columns[name] = _made(name, _TYPES[match[1]], *parts, nullable=match[2] is not None, **settings)
    return list(columns.values())


def _made(name: str, declared: type[TypeEngine[Any]], *parts: Any, **settings: Any) -> Column[Any]:
    """Return one column; a type that is given goes before that of the annotation."""
    given = [part for part in parts if not isinstance(part, ForeignKey)]
    # a key belongs to one column, and a declaration that is mixed in makes several
    keys = [ForeignKey(part.target_fullname) for part in parts if isinstance(part, ForeignKey)]
    return Column(name, given[0] if given else declared(), *keys, **settings)


class Recorded:
    """The two times of a correctable row.

    ``valid_from_utc`` and ``valid_until_utc`` (half-open, null = unbounded) say when the row holds in the field, for
    subjects whose own columns do not say so already. ``recorded_at_utc`` and ``retired_at_utc`` say when it was on
    record, and by whom. A correction retires a row and adds another; no row is ever altered otherwise or deleted.
    ``as_written`` keeps the cells of a registry row as they are in the file, as JSON.
    """

    id: ColumnElement[int] = column(Integer, primary_key=True)
    valid_from_utc: ColumnElement[dt.datetime | None] = column(UtcDateTime())
    valid_until_utc: ColumnElement[dt.datetime | None] = column(UtcDateTime())
    recorded_at_utc: ColumnElement[dt.datetime] = column(UtcDateTime())
    recorded_by: ColumnElement[str]
    reason: ColumnElement[str | None]
    retired_at_utc: ColumnElement[dt.datetime | None] = column(UtcDateTime())
    retired_by: ColumnElement[str | None]
    retired_reason: ColumnElement[str | None]
    source_row: ColumnElement[int | None]
    as_written: ColumnElement[str | None]

    source_file_id: ColumnElement[int | None] = column(ForeignKey("source_file.id"))

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
    # the revisions make the index; a condition for PostgreSQL would import its dialect in every process
    return Index(name, *columns, unique=True, sqlite_where=text(condition))


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
