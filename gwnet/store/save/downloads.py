"""Recording downloads of loggers: before their samples, and what became of these.

A run is stored only where no sample of another download is inside it; later downloads may fill gaps within it. It
follows that the newest run around a sample is its own, without a column in the largest table. Withdrawing stores from
the kept bytes what other downloads have at those instants, as new downloads, so that an earlier ``known_on`` is left as
it was.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from gwnet.store.models.loggers import Download
from gwnet.store.save.bulk import insert_columns, reserve_ids


@dataclass(frozen=True)
class Counts:
    """What became of the rows of a file for one series.

    Attributes
    ----------
    rows : int
        Rows with a time.
    added, same, repeated, conflicts : int
        Stored; on record already; in the file already; given with another value than the one on record.
    missing : int
        Rows without a number.
    events : int
        Rows that tell an event of the logger.
    first_ms, last_ms : int or None
        Span of the rows that have a number.
    """

    rows: int = 0
    added: int = 0
    same: int = 0
    repeated: int = 0
    conflicts: int = 0
    missing: int = 0
    events: int = 0
    first_ms: int | None = None
    last_ms: int | None = None


def add_download(
    connection: Connection,
    series_id: int,
    *,
    layout: str,
    zone: str,
    by: str,
    layout_text: str | None = None,
    reason: str | None = None,
) -> int:
    """Record a download, before its samples; `complete_download` tells what became of them.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    series_id : int
        Series that it goes into.
    layout : str
        Name of the layout.
    zone : str
        Zone in which its times were read.
    layout_text : str, optional
        The whole layout.

    Returns
    -------
    int
        Number of the download.
    """
    number = int(reserve_ids(connection, "download", 1)[0])
    columns: dict[str, Any] = {"id": number, "series_id": series_id, "layout": layout, "layout_text": layout_text}
    columns |= {"zone": zone, "recorded_by": by, "reason": reason}
    counts = ("row", "added", "same", "repeated", "conflict", "missing", "event")
    columns |= {f"{name}_count": 0 for name in counts}
    insert_columns(connection, "download", columns, 1)
    return number


def complete_download(connection: Connection, download_id: int, counts: Counts, source_file_id: int | None) -> None:
    """Tell what became of the rows of a download, in the unit of work that recorded it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of the same writing unit of work.
    download_id : int
        The download.
    counts : Counts
        What became of its rows.
    source_file_id : int or None
        File that it came from.
    """
    connection.execute(
        Download.__table__.update()  # type: ignore[attr-defined]
        .where(Download.id == download_id)
        .values(
            row_count=counts.rows,
            added_count=counts.added,
            same_count=counts.same,
            repeated_count=counts.repeated,
            conflict_count=counts.conflicts,
            missing_count=counts.missing,
            event_count=counts.events,
            first_ms=counts.first_ms,
            last_ms=counts.last_ms,
            source_file_id=source_file_id,
        )
    )
