"""All rows of a record in a form in which two records can be compared, whenever each of them was written.

Left out is what tells when something was recorded, and what is worked out from that. Numbers of rows are replaced by
their rank within the table, also where other rows refer to them, because PostgreSQL gives out numbers that a
transaction which was rolled back had reserved.
"""

from __future__ import annotations

import hashlib
from typing import Any

from sqlalchemy import Connection, MetaData, text

from gwnet.store.session import open_store

#: Columns that say when a row was written, or depend on it.
WHEN_WRITTEN = frozenset({"recorded_at_utc", "retired_at_utc", "loaded_at_utc"})
#: More of them, by table: an issue holds the cut-off of its record, and bytes that print it; a state, digests of rows.
DEPENDS_ON_WHEN = {
    "report_issue": frozenset({"known_on_utc", "sha256", "printed_values"}),
    "state": frozenset({"clock_utc", "digest", "previous_digest"}),
    "state_part": frozenset({"described", "digest", "row_hashes", "row_keys"}),
}

#: What columns refer to where the database does not say so.
REFERS = {"series_id": "logger_series", "download_id": "download"}

Dump = dict[str, list[tuple[Any, ...]]]


def dump(url: str) -> Dump:
    """Return the rows of every table, by table."""
    store = open_store(url)
    try:
        with store.reading() as connection:
            return _dump(connection)
    finally:
        store.close()


def _dump(connection: Connection) -> Dump:
    metadata = MetaData()
    metadata.reflect(connection)
    raw = {
        table.name: list(connection.execute(text(f'SELECT * FROM "{table.name}"')).mappings())
        for table in metadata.sorted_tables
    }
    rank = {
        name: {number: at for at, number in enumerate(sorted(row["id"] for row in rows))}
        for name, rows in raw.items()
        if rows and isinstance(rows[0].get("id"), int)
    }
    dumped: Dump = {}
    for table in metadata.sorted_tables:
        refers = REFERS | {
            key.parent.name: key.column.table.name for key in table.foreign_keys if key.column.name == "id"
        }
        left_out = WHEN_WRITTEN | DEPENDS_ON_WHEN.get(table.name, frozenset())
        columns = [column.name for column in table.columns if column.name not in left_out]
        rows = [
            tuple(
                (name, _plain(row[name], rank.get(table.name if name == "id" else refers.get(name, ""))))
                for name in columns
            )
            for row in raw[table.name]
        ]
        dumped[table.name] = sorted(rows, key=str)
    return dumped


def _plain(value: Any, rank: dict[int, int] | None) -> Any:
    if rank is not None and value is not None:
        return rank[value]
    if isinstance(value, bytes | memoryview):
        return hashlib.sha256(bytes(value)).hexdigest()
    return value if value is None or isinstance(value, int | float | str) else str(value)


def describe_difference(was: Dump, now: Dump, most: int = 6) -> str:
    """Return in a few lines which rows differ."""
    lines = []
    for table in sorted({*was, *now}):
        before, after = was.get(table, []), now.get(table, [])
        if before == after:
            continue
        gone = [row for row in before if row not in after]
        new = [row for row in after if row not in before]
        lines.append(f"{table}: {len(before)} rows against {len(after)}")
        lines += [f"  only in the first: {dict(row)}" for row in gone[:most]]
        lines += [f"  only in the second: {dict(row)}" for row in new[:most]]
    return "\n".join(lines) or "no difference"
