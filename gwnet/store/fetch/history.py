"""What was corrected or withdrawn: retired rows beside the rows that took their place."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import pandas as pd
from sqlalchemy import ColumnElement, Connection, Select, Table, select

from gwnet.clock import zone_of
from gwnet.store.contract import TABLES
from gwnet.store.fetch.frames import FRAMES, as_declared
from gwnet.store.fetch.logger_history import describe_row, find_concerned, series_names
from gwnet.store.models.levels import LevelEvent, LevelReading
from gwnet.store.models.schema import METADATA
from gwnet.store.models.sites import Aquifer, Site, SiteRecord
from gwnet.store.models.sources import SourceFile
from gwnet.store.models.wells import Well
from gwnet.store.recorded import live_key
from gwnet.units import METRES_PER_UNIT, shared_display_unit

#: Columns of each recorded table that make a row the same row.
ROW_KEYS: Final[dict[str, tuple[str, ...]]] = {table.record: live_key(table.record) for table in TABLES} | {
    "download": ("series_id", "source_file_id"),
    "correction": ("series_id", "kind", "valid_from_utc"),
}

#: Columns that say who recorded a row and when; they differ between any two rows.
_BOOKKEEPING: Final = frozenset(
    {"id", "recorded_at_utc", "recorded_by", "reason", "retired_at_utc", "retired_by", "retired_reason"}
    | {"source_file_id", "source_row", "as_written"}
)

#: Columns of the frame that `changes` gives.
CHANGE_COLUMNS: Final = tuple(column.name for column in FRAMES["changes"])


def changes(
    connection: Connection, *, since: dt.datetime | None = None, until: dt.datetime | None = None
) -> pd.DataFrame:
    """Return what was corrected or withdrawn in a span of recording time, one row a value.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
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
        # A retired row is either corrected, if another takes its place at that moment, or withdrawn.
        query = select(table).where(table.c.retired_at_utc.is_not(None)).order_by(table.c.id)
        if since is not None:
            query = query.where(table.c.retired_at_utc >= since)
        if until is not None:
            query = query.where(table.c.retired_at_utc <= until)
        for retired in connection.execute(query).mappings().all():
            rows += _change(connection, table_name, key, dict(retired), names)
    table = as_declared(pd.DataFrame(rows, columns=list(CHANGE_COLUMNS), dtype=object), "changes")
    return table.sort_values(["recorded_at_utc", "subject", "well", "item"], kind="stable", ignore_index=True)


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
            ("pumping_test_id", "pumping_test"),
        ):
            table = METADATA.tables[name]
            self.of[column] = {row.id: row.code for row in connection.execute(select(table.c.id, table.c.code))}
        self.of["other_well_id"] = self.of["well_id"]
        self.of["barometer_id"] = self.of["instrument_id"]
        self.of["series_id"] = series_names(connection, self.of["instrument_id"])
        self.of["source_file_id"] = {
            row.id: row.name for row in connection.execute(select(SourceFile.id, SourceFile.name))
        }
        units = select(SiteRecord.length_unit).where(SiteRecord.retired_at_utc.is_(None))
        self.unit = shared_display_unit(connection.scalars(units))
        zones = set(connection.scalars(select(SiteRecord.time_zone)))
        # Sites in several zones share no local time.
        self.zone = zone_of(zones.pop()) if len(zones) == 1 else dt.UTC

    def text(self, column: str, value: Any) -> str:
        """Return a value as people read it."""
        if value is None:
            return "nothing"
        if column in self.of:
            return str(self.of[column].get(value, value))
        if isinstance(value, dt.datetime):
            local = value.astimezone(self.zone)
            # Midnight is how a date is stored as an instant.
            if local.time() == dt.time():
                return local.date().isoformat()
            return local.isoformat(sep=" ", timespec="minutes")
        if isinstance(value, float):
            if column.endswith("_l_s"):
                # Twelve digits hide what binary fractions add to a decimal number.
                return f"{value:.12g} L/s"
            return self._length(value) if column.endswith("_m") else f"{value:.12g}"
        return str(value)

    def _length(self, metres: float) -> str:
        """Return a length in the unit of the sites; in feet with a third decimal only where there is one."""
        text = f"{metres / METRES_PER_UNIT[self.unit]:.3f}"
        return f"{text.removesuffix('0') if self.unit == 'ft' else text} {self.unit}"


def _change(
    connection: Connection, table_name: str, key: tuple[str, ...], retired: dict[str, Any], names: _Names
) -> list[dict[str, Any]]:
    """Return the rows that say how one retired row differs from its successor."""
    table = METADATA.tables[table_name]
    # The successor was recorded in the same act, at the very instant at which the row was retired.
    query = select(table).where(table.c.recorded_at_utc == retired["retired_at_utc"])
    for column in key:
        # In SQL no comparison with NULL is true.
        same = table.c[column].is_(None) if retired[column] is None else table.c[column] == retired[column]
        query = query.where(same)
    successor = connection.execute(query.order_by(table.c.id)).mappings().first()
    well, place = _place(connection, table_name, key, retired, names)
    common = {
        "recorded_at_utc": retired["retired_at_utc"],
        "recorded_by": retired["retired_by"],
        "subject": table_name.replace("_record", "").replace("_", " "),
        "well": well,
        "reason": retired["retired_reason"] or "",
    }
    if successor is None:
        return [{**common, "item": f"whole row{place}", "was": "on record", "now": ""}]
    old, new = _values(connection, table_name, retired), _values(connection, table_name, dict(successor))
    return [
        {
            **common,
            "item": f"{_words(column)}{place}",
            "was": names.text(column, old.get(column)),
            "now": names.text(column, new.get(column)),
        }
        for column in dict.fromkeys([*old, *new])
        # What makes the row the same row has not changed.
        if column not in key and old.get(column) != new.get(column)
    ]


def _words(column: str) -> str:
    for ending in ("_id", "_utc", "_m", "_l_s"):
        column = column.removesuffix(ending)
    return column.replace("_", " ")


def _values(connection: Connection, table_name: str, row: dict[str, Any]) -> dict[str, Any]:
    """Return the values of a row, and of a level event its readings."""
    values = {column: value for column, value in row.items() if column not in _BOOKKEEPING}
    if table_name == "level_record":
        reading = LevelReading
        query = select(reading).where(reading.level_record_id == row["id"]).order_by(reading.quantity, reading.ordinal)
        for reading_row in connection.execute(query).mappings():
            number = "" if reading_row["ordinal"] == 1 else f" {reading_row['ordinal']}"
            values[f"{reading_row['quantity']}{number}"] = f"{reading_row['written']} {reading_row['unit']}"
    return values


def _place(
    connection: Connection, table_name: str, key: tuple[str, ...], row: dict[str, Any], names: _Names
) -> tuple[str, str]:
    """Return the well of a row, and the rest of its key in words."""
    if table_name == "level_record":
        query = select(LevelEvent.well_id, LevelEvent.measured_at_utc).where(LevelEvent.id == row["level_event_id"])
        well_id, moment = connection.execute(query).one()
        return str(names.of["well_id"].get(well_id, "")), f" at {names.text('', moment)}"
    well = str(names.of["well_id"].get(row["well_id"], "")) if row.get("well_id") is not None else ""
    rest = [names.text(column, row[column]) for column in key if column != "well_id" and row[column] is not None]
    return well, f" ({', '.join(rest)})" if rest else ""


#: Tables whose rows make the history of a well, and the word for each.
_OF_WELL: Final[dict[str, str]] = {
    "site_record": "site",
    "well_record": "well",
    "construction_part": "construction",
    "measuring_point": "measuring point",
    "deployment": "deployment",
    "threshold": "threshold",
    "instrument_record": "instrument",
    "tape_check": "tape check",
    "level_record": "level",
    "pumping_test_record": "pumping test",
    "pumping_rate": "pumping rate",
    "pumping_reading": "pumping reading",
    "download": "download",
    "correction": "correction",
    "verdict": "finding",
    "review": "review",
}

#: Columns that make a review or a finding the same one.
_REVIEW_KEYS: Final[dict[str, tuple[str, ...]]] = {
    "verdict": ("level_event_id", "gauging_round_id", "well_id", "rule"),
    "review": ("level_event_id", "verdict_id"),
}

#: Columns of the frame that `happenings` gives.
HAPPENING_COLUMNS: Final = tuple(column.name for column in FRAMES["happenings"])

#: What a recorded, corrected or withdrawn row of some subjects is called.
_ACTS: Final = {
    "finding": {"recorded": "noticed", "corrected": "noticed again", "withdrawn": "no longer noticed"},
    "download": {"recorded": "loaded"},
    "review": {"recorded": "reviewed", "corrected": "reviewed", "withdrawn": "reviewed"},
    "decision": {"recorded": "decided", "corrected": "decided", "withdrawn": "decided"},
}


def happenings(connection: Connection, well_id: int, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return everything that was recorded of a well, in order of recording, one row a value that changed.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    well_id : int
        The well.
    known_on : datetime.datetime, optional
        Only what was recorded at or before this time.

    Returns
    -------
    pandas.DataFrame
        Columns of `HAPPENING_COLUMNS`: when and by whom, subject, act (recorded, corrected, withdrawn; noticed for a
        finding; reviewed and decided), item in words, old and new value as text, reason, and file with row. Rows of
        the site and of instruments that were used at the well are among them.
    """
    history = _WellHistory(connection, _Names(connection), well_id)
    rows: list[dict[str, Any]] = []
    for name, subject in _OF_WELL.items():
        rows += history.rows(name, subject, known_on)
    table = as_declared(pd.DataFrame(rows, columns=list(HAPPENING_COLUMNS), dtype=object), "happenings")
    return table.sort_values("recorded_at_utc", kind="stable", ignore_index=True)


class _WellHistory:
    """Describes the rows of one well in words."""

    def __init__(self, connection: Connection, names: _Names, well_id: int) -> None:
        self.connection, self.names, self.well_id = connection, names, well_id
        events = connection.execute(
            select(LevelEvent.id, LevelEvent.measured_at_utc, LevelEvent.time_known, LevelEvent.access).where(
                LevelEvent.well_id == well_id
            )
        ).all()
        record = METADATA.tables["level_record"]
        self.event_ids = [event.id for event in events]
        query = select(record.c.level_event_id, record.c.local_offset_minutes, record.c.instrument_id)
        records = connection.execute(query.where(record.c.level_event_id.in_(self._events()))).all()
        offsets = {row.level_event_id: row.local_offset_minutes for row in records}
        self.instruments = sorted({row.instrument_id for row in records if row.instrument_id is not None})
        self.when = {event.id: _local(event, offsets.get(event.id, 0)) for event in events}
        verdict = METADATA.tables["verdict"]
        query = select(verdict).where((verdict.c.well_id == well_id) | verdict.c.level_event_id.in_(self._events()))
        self.verdicts = {row["id"]: dict(row) for row in connection.execute(query).mappings()}
        self.sources = names.of["source_file_id"]
        self.loggers = find_concerned(connection, well_id)

    def _events(self) -> Select[int]:
        return select(LevelEvent.id).where(LevelEvent.well_id == self.well_id)

    def rows(self, table_name: str, subject: str, known_on: dt.datetime | None) -> list[dict[str, Any]]:
        """Return what happened to the rows of one table."""
        table = METADATA.tables[table_name]
        query = select(table).where(self._concerned(table)).order_by(table.c.recorded_at_utc, table.c.id)
        if known_on is not None:
            query = query.where(table.c.recorded_at_utc <= known_on)
        recorded = [dict(row) for row in self.connection.execute(query).mappings()]
        key = _REVIEW_KEYS.get(table_name) or ROW_KEYS[table_name]
        values = {row["id"]: self._values(table_name, row, key) for row in recorded}
        ended: dict[Any, dict[str, Any]] = {}
        described: list[dict[str, Any]] = []
        for row in recorded:
            # Rows come in order, so a row that continues another finds it ended at its own instant.
            before = ended.pop((tuple(row[name] for name in key), row["recorded_at_utc"]), None)
            described += self._describe(table_name, subject, row, before, values)
            # Retired later than asked about, it was still on record.
            if row["retired_at_utc"] is not None and (known_on is None or row["retired_at_utc"] <= known_on):
                ended[(tuple(row[name] for name in key), row["retired_at_utc"])] = row
        for row in ended.values():
            described.append(self._withdrawn(table_name, subject, row))
        return described

    def _concerned(self, table: Table) -> ColumnElement[bool]:
        """Return the condition that keeps the rows of a table that concern the well."""
        events = self._events()
        name = table.name
        if name in self.loggers:
            return table.c.id.in_(self.loggers[name])
        if name == "site_record":
            return table.c.site_id == select(Well.site_id).where(Well.id == self.well_id).scalar_subquery()
        if name in {"instrument_record", "tape_check"}:
            return table.c.instrument_id.in_(self.instruments)
        if name == "level_record":
            return table.c.level_event_id.in_(events)
        if name == "verdict":
            return (table.c.well_id == self.well_id) | table.c.level_event_id.in_(events)
        if name == "review":
            return table.c.level_event_id.in_(events) | table.c.verdict_id.in_(list(self.verdicts))
        return table.c.well_id == self.well_id

    def _values(self, table_name: str, row: dict[str, Any], key: tuple[str, ...]) -> dict[str, str]:
        """Return the values of a row in words, without its key."""
        if table_name == "review":
            return {"": row["state"]}
        if table_name == "verdict":
            return {"": row["message"]}
        if table_name in self.loggers:
            return {"": describe_row(table_name, row, lambda moment: self.names.text("", moment))}
        in_words = _values(self.connection, table_name, row)
        hidden = {*key, "local_offset_minutes"}
        return {
            _words(name): self.names.text(name, value)
            for name, value in in_words.items()
            if name not in hidden and value is not None
        }

    def _describe(
        self,
        table_name: str,
        subject: str,
        row: dict[str, Any],
        before: dict[str, Any] | None,
        values: dict[int, dict[str, str]],
    ) -> list[dict[str, Any]]:
        item, subject = self._item(table_name, subject, row)
        common = self._act(row, subject, "recorded" if before is None else "corrected")
        new = values[row["id"]]
        if before is None or table_name in _REVIEW_KEYS:
            now = "; ".join(f"{name}: {value}" if name else value for name, value in new.items())
            first = {"review": "provisional", "decision": "open"}.get(subject, "")
            was = first if before is None else next(iter(values[before["id"]].values()), "")
            return [{**common, "item": item, "was": was, "now": now}]
        old = values[before["id"]]
        changed = [name for name in dict.fromkeys([*old, *new]) if old.get(name) != new.get(name)]
        place = {name: f"{item}: {name}" if item else name for name in changed}
        return [
            {**common, "item": place[name], "was": old.get(name, "nothing"), "now": new.get(name, "nothing")}
            for name in changed
        ]

    def _withdrawn(self, table_name: str, subject: str, row: dict[str, Any]) -> dict[str, Any]:
        item, subject = self._item(table_name, subject, row)
        gone = {
            "recorded_at_utc": row["retired_at_utc"],
            "recorded_by": row["retired_by"],
            "reason": row["retired_reason"],
            "source_file_id": row["source_file_id"] if table_name == "download" else None,
            "source_row": None,
        }
        return {**self._act({**row, **gone}, subject, "withdrawn"), "item": item, "was": "on record", "now": ""}

    def _act(self, row: dict[str, Any], subject: str, act: str) -> dict[str, Any]:
        file = self.sources.get(row["source_file_id"], "")
        return {
            "recorded_at_utc": row["recorded_at_utc"],
            "recorded_by": row["recorded_by"],
            "subject": subject,
            "act": _ACTS.get(subject, {}).get(act, act),
            "reason": row["reason"] or "",
            "source": f"{file}, row {row['source_row']}" if file and row["source_row"] else file,
        }

    def _item(self, table_name: str, subject: str, row: dict[str, Any]) -> tuple[str, str]:
        """Return what a row is about in words, and its subject."""
        if table_name == "level_record":
            return self.when[row["level_event_id"]], subject
        if table_name in self.loggers:
            kind = f", {row['kind']}" if table_name == "correction" else ""
            return f"{self.names.text('series_id', row['series_id'])}{kind}", subject
        if table_name == "verdict":
            return self._finding(row), subject
        if table_name == "review":
            if row["level_event_id"] is not None:
                return self.when[row["level_event_id"]], subject
            return self._finding(self.verdicts[row["verdict_id"]]), "decision"
        key = [name for name in ROW_KEYS[table_name] if name != "well_id" and row[name] is not None]
        return ", ".join(self.names.text(name, row[name]) for name in key), subject

    def _finding(self, verdict: dict[str, Any]) -> str:
        when = self.when.get(verdict["level_event_id"], "")
        return f"{verdict['id']} {verdict['rule']}" + (f" at {when}" if when else "")


def _local(event: Any, offset_minutes: int) -> str:
    """Return when an event was, in local time; its access where it is not the main one."""
    local = event.measured_at_utc.astimezone(dt.timezone(dt.timedelta(minutes=offset_minutes)))
    text = local.isoformat(timespec="minutes") if event.time_known else f"{local:%Y-%m-%d}"
    return text if event.access == "main" else f"{text} ({event.access})"
