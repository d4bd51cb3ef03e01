"""Views of the record as it is now, for readers that speak SQL: codes instead of numbers, metres, UTC.

Each view is the statement with which the program itself reads the table, so that both say the same. They are made with
the schema and made anew with every upgrade.
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd
from sqlalchemy import ColumnElement, Connection, Dialect, Select, case, func, inspect, select, text
from sqlalchemy.types import Boolean, Date, DateTime, Float, Integer

from gwnet.store.fetch.frames import FrameColumn, frame
from gwnet.store.fetch.levels import select_level_records
from gwnet.store.fetch.registry import OPEN_PARTS
from gwnet.store.fetch.reviews import select_findings
from gwnet.store.fetch.rows import select_rows
from gwnet.store.models.base import UtcDateTime
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.levels import LevelEvent, LevelReading, LevelRecord
from gwnet.store.models.schema import METADATA
from gwnet.store.models.sites import Site
from gwnet.store.models.verdicts import Review
from gwnet.store.models.wells import Well
from gwnet.units import METRES_PER_UNIT

#: Views whose rows are those of a table that can be loaded.
_OF_TABLES: Final = {
    "view_site": "sites",
    "view_aquifer": "aquifers",
    "view_construction": "construction",
    "view_measuring_point": "measuring_points",
    "view_instrument": "instruments",
    "view_tape_check": "tape_checks",
    "view_installation": "deployments",
    "view_round": "rounds",
    "view_threshold": "thresholds",
    "view_stage": "stages",
    "view_context": "context",
    "view_pumping_test": "pumping_tests",
    "view_pumping_rate": "pumping_rates",
    "view_pumping_reading": "pumping_readings",
}

#: Begins the name of every view of the program.
PREFIX: Final = "view_"


def views() -> dict[str, Select[*tuple[Any, ...]]]:
    """Return the select of every view, by its name."""
    return {
        **{name: select_rows(table) for name, table in _OF_TABLES.items()},
        "view_well": _wells(),
        "view_level_event": select_level_records(),
        "view_reading": _readings(),
        "view_finding": select_findings(),
        "view_review": _reviews(),
    }


def read_view(connection: Connection, name: str) -> pd.DataFrame:
    """Return the rows of a view with types that other programs know.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    name : str
        Name of the view.

    Returns
    -------
    pandas.DataFrame
        Instants in UTC, dates as ``datetime.date``; lists as JSON text.
    """
    statement = views()[name]
    columns = [FrameColumn(str(column.name), _kind_of(column.type)) for column in statement.selected_columns]
    return frame(connection, statement, tuple(columns))


def _kind_of(kind: Any) -> str:
    """Return the kind of a column of a frame by its type in the database."""
    by_type = ((DateTime, "instant"), (UtcDateTime, "instant"), (Date, "date"), (Boolean, "maybe"))
    numbers = ((Float, "number"), (Integer, "number"))
    return next((word for known, word in (*by_type, *numbers) if isinstance(kind, known)), "text")


def describe_views() -> str:
    """Return a table of the views with their columns, in Markdown."""
    columns = {name: [str(column.name) for column in statement.selected_columns] for name, statement in views().items()}
    rows = (f"| `{name}` | {', '.join(f'`{column}`' for column in columns[name])} |" for name in sorted(columns))
    return "\n".join(("| view | columns |", "|---|---|", *rows))


def renew_views(connection: Connection) -> None:
    """Make the views as this version of the program has them.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a unit of work that changes the schema.
    """
    drop_views(connection)
    for name, statement in views().items():
        # The driver takes % for the beginning of a parameter.
        connection.exec_driver_sql(f"CREATE VIEW {name} AS {sql_of(statement, connection.dialect)}".replace("%", "%%"))


def drop_views(connection: Connection) -> None:
    """Drop the views of the program, which stand on tables that a revision may change."""
    for name in inspect(connection).get_view_names():
        if name.startswith(PREFIX):
            # Views of other programs stay; only those with the prefix are ours.
            connection.execute(text(f"DROP VIEW {name}"))


def sql_of(statement: Select[Any], dialect: Dialect) -> str:
    """Return the text of a select with its values written out."""
    return str(statement.compile(dialect=dialect, compile_kwargs={"literal_binds": True}))


def _wells() -> Select[Any]:
    """Return the wells with the limits of their screens."""
    wells, parts = select_rows("wells").subquery("wells"), select_rows("construction").subquery("parts")
    opened = (
        select(
            parts.c.well_id,
            func.min(parts.c.top_depth_m).label("screen_top_m"),
            func.max(parts.c.bottom_depth_m).label("screen_bottom_m"),
        )
        # A screen that was removed lets no water in any more.
        .where(parts.c.part.in_(OPEN_PARTS), parts.c.removed_on.is_(None))
        .group_by(parts.c.well_id)
        .subquery("opened")
    )
    limits = (opened.c.screen_top_m, opened.c.screen_bottom_m)
    return select(*wells.c, *limits).select_from(wells.outerjoin(opened, opened.c.well_id == wells.c.well_id))


def _readings() -> Select[*tuple[Any, ...]]:
    """Return the readings of the level events on record, as read and in metres."""
    record, reading = LevelRecord, LevelReading
    # An unknown unit gives no value rather than one in another unit.
    factor: ColumnElement[float] = case(
        *((reading.unit == unit, metres) for unit, metres in METRES_PER_UNIT.items()), else_=None
    )
    return (
        select(
            LevelEvent.id.label("event_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            LevelEvent.access,
            LevelEvent.measured_at_utc,
            reading.quantity,
            reading.ordinal,
            (reading.value * factor).label("value_m"),
            reading.written.label("as_written"),
            reading.unit,
        )
        .select_from(reading)
        .join(record, record.id == reading.level_record_id)
        .join(LevelEvent, LevelEvent.id == record.level_event_id)
        .join(Well, Well.id == LevelEvent.well_id)
        .join(Site, Site.id == Well.site_id)
        .where(on_record(record, None))
    )


def _reviews() -> Select[Any]:
    """Return what reviewers decided about level events and about findings, as it is now."""
    columns = [
        METADATA.tables["review"].c[name]
        for name in ("level_event_id", "verdict_id", "state", "remark", "reason", "recorded_by", "recorded_at_utc")
    ]
    names = {"level_event_id": "event_id", "verdict_id": "finding_id"}
    return select(*(column.label(names.get(column.name, column.name)) for column in columns)).where(
        on_record(Review, None)
    )
