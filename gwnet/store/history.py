"""What was corrected or withdrawn: retired rows beside the rows that took their place."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import pandas as pd
from sqlalchemy import Connection, select

from gwnet.store.levels import LevelEvent, LevelReading
from gwnet.store.schema import METADATA
from gwnet.store.sites import Aquifer, Site
from gwnet.store.wells import Well

#: Columns of each recorded table that make a row the same row.
ROW_KEYS: Final[dict[str, tuple[str, ...]]] = {
    "site_record": ("site_id",),
    "aquifer_record": ("aquifer_id",),
    "well_record": ("well_id",),
    "construction_part": ("well_id", "part", "top_depth_m"),
    "measuring_point": ("well_id", "access", "valid_from_utc"),
    "instrument_record": ("instrument_id",),
    "tape_check": ("instrument_id", "checked_on", "tape_reading_m"),
    "deployment": ("instrument_id", "valid_from_utc"),
    "round_record": ("gauging_round_id",),
    "threshold": ("well_id", "threshold", "valid_from_utc"),
    "stage_reading": ("gauge_id", "measured_at_utc"),
    "context_value": ("context_series_id", "on_date"),
    "level_record": ("level_event_id",),
}

#: Columns that say who recorded a row and when; they differ between any two rows.
_BOOKKEEPING: Final = frozenset(
    {"id", "recorded_at_utc", "recorded_by", "reason", "retired_at_utc", "retired_by", "retired_reason"}
    | {"source_file_id", "source_row", "as_written"}
)

#: Columns of the frame that `changes` gives.
CHANGE_COLUMNS: Final = ("recorded_at_utc", "recorded_by", "subject", "well", "item", "was", "now", "reason")


def changes(
    connection: Connection, *, since: dt.datetime | None = None, until: dt.datetime | None = None
) -> pd.DataFrame:
    """Return what was corrected or withdrawn in a span of recording time, one row a value.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    since, until : datetime.datetime, optional
        Aware times; retired at or after ``since`` and at or before ``until``.

    Returns
    -------
    pandas.DataFrame
        Columns of `CHANGE_COLUMNS`: when and by whom, subject in words, well (empty where it is of no well), item in
        words, old and new value as text (new is empty for a withdrawal) and the reason; by time, subject and well.
    """
    names = _Names(connection)
    rows: list[dict[str, Any]] = []
    for table_name, key in ROW_KEYS.items():
        table = METADATA.tables[table_name]
        query = select(table).where(table.c.retired_at_utc.is_not(None)).order_by(table.c.id)
        if since is not None:
            query = query.where(table.c.retired_at_utc >= since)
        if until is not None:
            query = query.where(table.c.retired_at_utc <= until)
        for retired in connection.execute(query).mappings().all():
            rows += _change(connection, table_name, key, dict(retired), names)
    made = pd.DataFrame(rows, columns=list(CHANGE_COLUMNS))
    made["recorded_at_utc"] = pd.to_datetime(made["recorded_at_utc"], utc=True).astype("datetime64[us, UTC]")
    return made.sort_values(["recorded_at_utc", "subject", "well", "item"], kind="stable", ignore_index=True)


class _Names:
    """Codes of wells and the like, for people to read."""

    def __init__(self, connection: Connection) -> None:
        self.of = {
            "well_id": {row.id: row.code for row in connection.execute(select(Well.id, Well.code))},
            "site_id": {row.id: row.code for row in connection.execute(select(Site.id, Site.code))},
            "aquifer_id": {row.id: row.code for row in connection.execute(select(Aquifer.id, Aquifer.code))},
        }
        for column, name in (
            ("instrument_id", "instrument"),
            ("gauging_round_id", "gauging_round"),
            ("gauge_id", "gauge"),
            ("context_series_id", "context_series"),
        ):
            table = METADATA.tables[name]
            self.of[column] = {row.id: row.code for row in connection.execute(select(table.c.id, table.c.code))}

    def text(self, column: str, value: Any) -> str:
        """Return a value as people read it."""
        if value is None:
            return "nothing"
        if column in self.of:
            return str(self.of[column].get(value, value))
        if isinstance(value, dt.datetime):
            return f"{value:%Y-%m-%d %H:%M} UTC"
        if isinstance(value, float):
            return f"{value:.3f} m" if column.endswith("_m") else f"{value:g}"
        return str(value)


def _change(
    connection: Connection, table_name: str, key: tuple[str, ...], retired: dict[str, Any], names: _Names
) -> list[dict[str, Any]]:
    """Return the rows that tell how one retired row differs from its successor."""
    table = METADATA.tables[table_name]
    query = select(table).where(table.c.recorded_at_utc == retired["retired_at_utc"])
    for column in key:
        same = table.c[column].is_(None) if retired[column] is None else table.c[column] == retired[column]
        query = query.where(same)
    successor = connection.execute(query.order_by(table.c.id)).mappings().first()
    well, place = _place(connection, table_name, key, retired, names)
    told = {
        "recorded_at_utc": retired["retired_at_utc"],
        "recorded_by": retired["retired_by"],
        "subject": table_name.replace("_record", "").replace("_", " "),
        "well": well,
        "reason": retired["retired_reason"] or "",
    }
    if successor is None:
        return [{**told, "item": f"whole row{place}", "was": "on record", "now": ""}]
    old, new = _values(connection, table_name, retired), _values(connection, table_name, dict(successor))
    return [
        {
            **told,
            "item": f"{_words(column)}{place}",
            "was": names.text(column, old.get(column)),
            "now": names.text(column, new.get(column)),
        }
        for column in dict.fromkeys([*old, *new])
        if column not in key and old.get(column) != new.get(column)
    ]


def _words(column: str) -> str:
    for ending in ("_id", "_utc", "_m"):
        column = column.removesuffix(ending)
    return column.replace("_", " ")


def _values(connection: Connection, table_name: str, row: dict[str, Any]) -> dict[str, Any]:
    """Return the values of a row, and of a level event its readings."""
    values = {column: value for column, value in row.items() if column not in _BOOKKEEPING}
    if table_name == "level_record":
        reading = LevelReading
        query = select(reading).where(reading.level_record_id == row["id"]).order_by(reading.quantity, reading.ordinal)
        for found in connection.execute(query).mappings():
            number = "" if found["ordinal"] == 1 else f" {found['ordinal']}"
            values[f"{found['quantity']}{number}"] = f"{found['written']} {found['unit']}"
    return values


def _place(
    connection: Connection, table_name: str, key: tuple[str, ...], row: dict[str, Any], names: _Names
) -> tuple[str, str]:
    """Return the well of a row, and the rest of its key in words."""
    if table_name == "level_record":
        query = select(LevelEvent.well_id, LevelEvent.measured_at_utc).where(LevelEvent.id == row["level_event_id"])
        well_id, moment = connection.execute(query).one()
        return str(names.of["well_id"].get(well_id, "")), f" at {moment:%Y-%m-%d %H:%M} UTC"
    well = str(names.of["well_id"].get(row["well_id"], "")) if row.get("well_id") is not None else ""
    rest = [names.text(column, row[column]) for column in key if column != "well_id" and row[column] is not None]
    return well, f" ({', '.join(rest)})" if rest else ""
