"""Measuring points of one access that would be in force at the same time."""

from __future__ import annotations

import datetime as dt
from typing import Any

from gwnet.ingest.tables.convert import Columns
from gwnet.ingest.tables.instruction import Tally
from gwnet.ingest.tables.parse import Parsed


def refuse_overlaps(
    parsed: Parsed, columns: Columns, to_add: list[int], live: dict[Any, dict[str, Any]], tally: Tally
) -> list[int]:
    """Refuse measuring points that would be in force together with another of the same access, and return the others.

    Parameters as `gwnet.ingest.tables`; ``to_add`` are the rows to record, ``live`` the live rows by their key,
    ``tally`` those that are retired.
    """
    retired = set(tally.retired_ids)
    in_force: dict[Any, list[tuple[dt.datetime, dt.datetime | None, str]]] = {}
    for point in live.values():
        if point["id"] not in retired:
            interval = (point["valid_from_utc"], point["valid_until_utc"], "on record")
            in_force.setdefault((point["well_id"], point["access"]), []).append(interval)
    refused: dict[Any, int] = {}
    for row in to_add:
        start, end = columns["valid_from_utc"][row], columns["valid_until_utc"][row]
        access = (columns["well_id"][row], columns["access"][row])
        others = in_force.setdefault(access, [])
        clash = next((o for o in others if (o[1] is None or o[1] > start) and (end is None or end > o[0])), None)
        if clash is None:
            others.append((start, end, f"in row {parsed.raw.sheet.numbers[row]}"))
            continue
        refused.setdefault(access, row)
        until = "now" if clash[1] is None else f"{clash[1]:%Y-%m-%d}"
        message = f"The measuring point {clash[2]} is in force from {clash[0]:%Y-%m-%d} until {until}: the two overlap."
        fix = "Give the earlier one its valid_until in the same file, and load it with --correct --reason TEXT."
        parsed.reject(row, "valid_from", "measuring-points-overlap", message, fix)
    replacing = {
        (columns["well_id"][row], columns["access"][row])
        for row in to_add
        if (columns["well_id"][row], columns["access"][row], columns["valid_from_utc"][row]) in live
    }
    for row in to_add:
        access = (columns["well_id"][row], columns["access"][row])
        if access in refused and access in replacing:
            _keep_live_rows(parsed, columns, row, refused[access], live, tally)
    return [row for row in to_add if parsed.good[row]]


def _keep_live_rows(
    parsed: Parsed, columns: Columns, row: int, refused: int, live: dict[Any, dict[str, Any]], tally: Tally
) -> None:
    """Leave the live rows of an access as they are, and refuse every row for it, when one of them was refused."""
    known = live.get((columns["well_id"][row], columns["access"][row], columns["valid_from_utc"][row]))
    if known is not None and known["id"] in tally.retired_ids:
        tally.retired_ids.remove(known["id"])
    number = parsed.raw.sheet.numbers[row]
    tally.changes = [change for change in tally.changes if change.row != number]
    if parsed.good[row]:
        other = parsed.raw.sheet.numbers[refused]
        message = f"Row {other} of the same access was refused, so this one is not recorded either."
        parsed.reject(row, "valid_from", "measuring-points-overlap", message, "Fix both and load them together.")
