"""Measuring points of one access in time: a later one ends the one before it, and no two are in force at once."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

from gwnet.clock import zone_of
from gwnet.ingest.tables.convert import Columns
from gwnet.ingest.tables.instruction import Tally
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import Parsed
from gwnet.ingest.tables.preview import is_missing

_Live = dict[Any, dict[str, Any]]
#: Elevations that differ by less are the same: rounding of a number that was read in feet or metres [m].
_SAME_M: Final = 1e-6


@dataclass(frozen=True)
class Ending:
    """A measuring point on record that ends since a later one of the same access is recorded.

    Attributes
    ----------
    point : dict
        The live row.
    until : datetime.datetime
        When the later one begins.
    row : int
        Row of the file that has the later one.
    """

    point: dict[str, Any]
    until: dt.datetime
    row: int


def find_points_in_force(parsed: Parsed, columns: Columns, live: _Live) -> list[int]:
    """Return the rows of measuring points, made of readings, whose elevation is in force on record when they begin.

    The day on which the readings of a file begin says nothing of the day of the survey.

    Parameters as `gwnet.ingest.tables`; ``live`` are the live rows by their key.
    """
    if not parsed.raw.sheet.from_changes:
        return []
    in_force: dict[Any, list[dict[str, Any]]] = {}
    for point in live.values():
        in_force.setdefault((point["well_id"], point["access"]), []).append(point)
    return [
        row
        for row in range(parsed.count)
        if parsed.good[row] and any(_says(point, columns, row) for point in in_force.get(_access(columns, row), ()))
    ]


def _says(point: dict[str, Any], columns: Columns, row: int) -> bool:
    """Return whether a point on record is in force when a row begins, with its elevation and height."""
    start, until = columns["valid_from_utc"][row], point["valid_until_utc"]
    if start < point["valid_from_utc"] or (until is not None and start >= until):
        return False
    pairs = [(point[name], columns[name][row]) for name in ("elevation_m", "height_above_ground_m") if name in columns]
    known = [(was, now) for was, now in pairs if not is_missing(now) and not is_missing(was)]
    return bool(known) and all(math.isclose(was, now, rel_tol=0, abs_tol=_SAME_M) for was, now in known)


def end_earlier_rows(parsed: Parsed, columns: Columns, live: _Live, codes: Codes) -> None:
    """Give each row without an end that of the next point of its access, in the file or on record, and say so.

    A row whose own point is on record without an end stays as it is: `find_endings` ends that point.

    Parameters as `gwnet.ingest.tables`; ``columns`` are changed in place, ``live`` are the live rows by their key.
    """
    starts: dict[Any, set[dt.datetime]] = {}
    for point in live.values():
        starts.setdefault((point["well_id"], point["access"]), set()).add(point["valid_from_utc"])
    rows = [row for row in range(parsed.count) if parsed.good[row]]
    for row in rows:
        starts.setdefault(_access(columns, row), set()).add(columns["valid_from_utc"][row])
    for row in rows:
        known = live.get((*_access(columns, row), columns["valid_from_utc"][row]))
        if columns["valid_until_utc"][row] is not None or (known is not None and known["valid_until_utc"] is None):
            continue
        later = [start for start in starts[_access(columns, row)] if start > columns["valid_from_utc"][row]]
        if later:
            columns["valid_until_utc"][row] = min(later)
            parsed.raw.warnings.append(
                f"row {parsed.raw.sheet.numbers[row]}: the measuring point of {_name(parsed, row)} ends on "
                f"{_day(parsed, row, min(later), codes)}, when the next one begins"
            )


def find_endings(
    columns: Columns, to_add: Iterable[int], live: _Live, may_end: Callable[[Any, dt.datetime], bool]
) -> list[Ending]:
    """Return the points on record without an end that end since a later one of their access is to be recorded.

    Parameters as `gwnet.ingest.tables`; ``to_add`` are the rows to record, ``live`` the live rows by their key,
    ``may_end`` takes a live row and a time and says whether the point may end then.
    """
    open_points = {
        (point["well_id"], point["access"]): point for point in live.values() if point["valid_until_utc"] is None
    }
    first: dict[Any, tuple[dt.datetime, int]] = {}
    for row in to_add:
        access, start = _access(columns, row), columns["valid_from_utc"][row]
        point = open_points.get(access)
        if point is not None and start > point["valid_from_utc"]:
            first[access] = min(first.get(access, (start, row)), (start, row))
    return [
        Ending(open_points[access], start, row)
        for access, (start, row) in first.items()
        if may_end(open_points[access], start)
    ]


def say_endings(parsed: Parsed, endings: Iterable[Ending], codes: Codes) -> None:
    """Say which points on record end.

    Parameters as `gwnet.ingest.tables`; ``endings`` as `find_endings`.
    """
    for ending in endings:
        row = ending.row
        since, until = (_day(parsed, row, when, codes) for when in (ending.point["valid_from_utc"], ending.until))
        parsed.raw.warnings.append(
            f"row {parsed.raw.sheet.numbers[row]}: the measuring point of {_name(parsed, row)} on record since {since} "
            f"ends on {until}, when this one begins"
        )


def _access(columns: Columns, row: int) -> tuple[Any, Any]:
    return columns["well_id"][row], columns["access"][row]


def _day(parsed: Parsed, row: int, when: dt.datetime, codes: Codes) -> str:
    """Return the local day of an instant at the site of a row."""
    site = codes.ids["site"][parsed.values["site"][row]]
    return f"{when.astimezone(zone_of(codes.zones[site])):%Y-%m-%d}"


def _name(parsed: Parsed, row: int) -> str:
    well, access = parsed.values["well"][row], parsed.values["access"][row]
    return f"{well}" if access in (None, "main") else f"{well} ({access})"


def refuse_overlaps(parsed: Parsed, columns: Columns, to_add: list[int], live: _Live, tally: Tally) -> list[int]:
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
        # An end is not included: one point may begin when the other ends.
        clash = next((o for o in others if (o[1] is None or o[1] > start) and (end is None or end > o[0])), None)
        if clash is None:
            others.append((start, end, f"in row {parsed.raw.sheet.numbers[row]}"))
            continue
        refused.setdefault(access, row)
        until = "now" if clash[1] is None else f"{clash[1]:%Y-%m-%d}"
        message = f"The measuring point {clash[2]} is in force from {clash[0]:%Y-%m-%d} until {until}: the two overlap."
        fix = (
            "Give each its valid_until. A later point ends the one on record by itself, unless levels were read since "
            "then: these move, so load it with --correct --reason TEXT."
        )
        parsed.reject(row, "valid_from", "measuring-points-overlap", message, fix)
    replacing = {
        (columns["well_id"][row], columns["access"][row])
        for row in to_add
        if (columns["well_id"][row], columns["access"][row], columns["valid_from_utc"][row]) in live
    }
    # Half of a change of two points would leave a time with no point, or with the wrong one.
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
