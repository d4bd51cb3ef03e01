"""What happened to the loggers of a well: downloads, withdrawals and corrections, in words."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from typing import Any

from sqlalchemy import Connection, select

from gwnet.store.models.instruments import Deployment
from gwnet.store.models.loggers import Correction, Download, LoggerSeries

_FIRST = dt.datetime.min.replace(tzinfo=dt.UTC)
_LAST = dt.datetime.max.replace(tzinfo=dt.UTC)

#: What became of the rows of a download, in the order in which it is described.
_COUNTS = (
    ("added_count", "added"),
    ("same_count", "on record already"),
    ("repeated_count", "repeated in the file"),
    ("conflict_count", "with another value than on record"),
    ("missing_count", "without a number"),
    ("event_count", "event rows"),
)


def find_concerned(connection: Connection, well_id: int) -> dict[str, list[int]]:
    """Return the downloads and corrections of instruments and barometers while they were installed for a well.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    well_id : int
        The well.
    """
    deployment = Deployment
    columns = (deployment.instrument_id, deployment.barometer_id, deployment.valid_from_utc, deployment.valid_until_utc)
    spans: dict[int, list[tuple[dt.datetime, dt.datetime]]] = {}
    for instrument, barometer, start, end in connection.execute(select(*columns).where(deployment.well_id == well_id)):
        for number in (instrument, barometer):
            if number is not None:
                spans.setdefault(number, []).append((start or _FIRST, end or _LAST))
    rows: dict[str, list[int]] = {"download": [], "correction": []}
    if not spans:
        return rows
    of_them = LoggerSeries.instrument_id.in_(list(spans))
    one, step = Download, Correction
    downloads = select(one.id, LoggerSeries.instrument_id, one.first_ms, one.last_ms).join_from(one, LoggerSeries)
    for number, instrument, first, last in connection.execute(downloads.where(of_them)):
        # A download without a sample has no span, and is no history of a well.
        if first is not None and last is not None and _meets(spans[instrument], _instant(first), _instant(last)):
            rows["download"].append(number)
    steps = select(step.id, LoggerSeries.instrument_id, step.valid_from_utc, step.valid_until_utc)
    for number, instrument, start, end in connection.execute(steps.join_from(step, LoggerSeries).where(of_them)):
        if _meets(spans[instrument], start or _FIRST, end or _LAST):
            rows["correction"].append(number)
    return rows


def _instant(time_ms: int) -> dt.datetime:
    return dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(milliseconds=time_ms)


def _meets(spans: list[tuple[dt.datetime, dt.datetime]], first: dt.datetime, last: dt.datetime) -> bool:
    return any(first < end and last >= start for start, end in spans)


def describe_row(table_name: str, row: dict[str, Any], moment: Callable[[dt.datetime], str]) -> str:
    """Return what a download gave, or what a correction does.

    Parameters
    ----------
    table_name : {"download", "correction"}
        Table of the row.
    row : dict
        The row.
    moment : callable
        Gives a time as people read it.
    """
    if table_name == "download":
        parts = [f"{row[name]:,} {word}" for name, word in _COUNTS if row[name]] or ["nothing new"]
        span = f", {moment(_instant(row['first_ms']))} to {moment(_instant(row['last_ms']))}"
        layout = f", layout {row['layout']}" if row["layout"] else ""
        return f"{', '.join(parts)}{span if row['first_ms'] is not None else ''}{layout}"
    parameters = json.loads(row["parameters"])
    parts = [f"{name.replace('_', ' ')} {_value(value)}" for name, value in parameters.items()]
    start, end = row["valid_from_utc"], row["valid_until_utc"]
    ends = (f"from {moment(start)}" if start else "", f"to {moment(end)}" if end else "")
    return ", ".join([*parts, " ".join(end for end in ends if end) or "all through"])


def _value(value: Any) -> str:
    if isinstance(value, list):
        return " ".join(_value(one) for one in value) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


def series_names(connection: Connection, instruments: dict[int, str]) -> dict[int, str]:
    """Return what each series is called: instrument, quantity, and segment where there are several.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    instruments : dict of int to str
        Codes of instruments by id.
    """
    names, kept = {}, LoggerSeries
    for one in connection.execute(select(kept.id, kept.instrument_id, kept.quantity, kept.segment)):
        segment = f", segment {one.segment}" if one.segment > 1 else ""
        names[one.id] = f"{instruments.get(one.instrument_id, one.instrument_id)} {one.quantity}{segment}"
    return names
