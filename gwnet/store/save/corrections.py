"""Recording corrections of logger series and taking them back."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, select

from gwnet.errors import NotFoundError, SettingsError
from gwnet.store.models.loggers import Correction, LoggerSeries
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire


def correct(
    connection: Connection,
    series_id: int,
    kind: str,
    parameters: Mapping[str, Any],
    start: dt.datetime | None,
    end: dt.datetime | None,
    by: str,
    reason: str,
) -> int:
    """Record one step of a series' processing correction history.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    series_id : int
        The series.
    kind : str
        What is done, for example ``clock shift``.
    parameters : mapping
        With what; numbers, texts and lists.
    start, end : datetime.datetime or None
        Aware times of the half-open span; None = open.

    Returns
    -------
    int
        Number of the correction.

    Raises
    ------
    NotFoundError
        If there is no such series.
    SettingsError
        If the reason or the name is missing, or the span does not run forward.
    """
    if not reason.strip() or not by.strip():
        raise SettingsError("A correction needs its reason and who decides.", fix="Give --reason TEXT and --by NAME.")
    if start is not None and end is not None and end <= start:
        message = f"The span ends ({end.isoformat()}) before it starts ({start.isoformat()})."
        raise SettingsError(message)
    if connection.execute(select(LoggerSeries.id).where(LoggerSeries.id == series_id)).first() is None:
        message = f"There is no logger series {series_id} on record."
        raise NotFoundError(message, fix="'gwnet logger status' lists those that are.")
    number = int(reserve_ids(connection, "correction", 1)[0])
    columns = {
        "id": number,
        "series_id": series_id,
        "kind": kind,
        # Sorted keys: the same parameters have the same text on record.
        "parameters": json.dumps(dict(parameters), sort_keys=True, ensure_ascii=False),
        "valid_from_utc": start,
        "valid_until_utc": end,
        "recorded_by": by,
        "reason": reason,
    }
    insert_columns(connection, "correction", columns, 1)
    return number


def take_back(connection: Connection, correction_id: int, by: str, reason: str) -> None:
    """Retire a correction: from now on it is not applied, and stays for every earlier ``known_on``.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    correction_id : int
        Number of the correction.

    Raises
    ------
    NotFoundError
        If there is no such correction on record.
    SettingsError
        If the reason or the name is missing.
    """
    if not reason.strip() or not by.strip():
        raise SettingsError("To take a correction back needs a reason and who decides.", fix="Give --reason TEXT.")
    live = select(Correction.id).where(Correction.id == correction_id, Correction.retired_at_utc.is_(None))
    if connection.execute(live).first() is None:
        message = f"There is no correction {correction_id} on record."
        raise NotFoundError(message, fix="It may have been taken back already; see 'gwnet history'.")
    retire(connection, "correction", [correction_id], by=by, reason=reason)
