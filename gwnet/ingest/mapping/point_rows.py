"""Measuring points from an elevation that is repeated on every reading: one dated row for each change."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from typing import Final

from gwnet.ingest.mapping.rows import Rows

_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True)
class PointChange:
    """A measuring point as the readings of a well say it.

    Attributes
    ----------
    well, access : str
        Well and opening.
    valid_from : str
        Day of the first reading with this elevation.
    elevation, unit : str
        The elevation as it is in the file.
    readings : int
        How many readings have it.
    row : int
        Line of the first one.
    was : str
        Elevation before; empty for the first.
    """

    well: str
    access: str
    valid_from: str
    elevation: str
    unit: str
    readings: int
    row: int
    was: str


def keep_changes(rows: Rows) -> list[PointChange]:
    """Keep of the rows of each well those where elevation or height change, dated from there to the next.

    Parameters
    ----------
    rows : gwnet.ingest.mapping.rows.Rows
        Rows of measuring points, one a reading; they are changed.

    Returns
    -------
    list of PointChange
        The points of each well in order.
    """
    wells, accesses, dates = (rows.cells(name) for name in ("well", "access", "valid_from"))
    elevations, heights = rows.cells("elevation"), rows.cells("height_above_ground")
    until = rows.column("valid_until")
    of_well: dict[tuple[str, str], list[int]] = defaultdict(list)
    for row in range(rows.count):
        if not _DAY.match(dates[row]):  # the reading itself is rejected
            continue
        of_well[wells[row], accesses[row] or "main"].append(row)
    kept: list[int] = []
    changes: list[PointChange] = []
    for (well, access), mine in of_well.items():
        days = {row: dates[row][:10] for row in mine}
        several = _days_of_several(mine, days, elevations)
        # Within a day the order of the file counts, unless the day has two elevations: then only the clock can tell.
        mine.sort(key=lambda row: (dates[row] if days[row] in several else days[row], row))
        runs: list[list[int]] = []
        for row in mine:
            if runs and _same(elevations[row], elevations[runs[-1][0]]) and _goes_on(heights, row, runs[-1][0]):
                runs[-1].append(row)
            else:
                runs.append([row])
        for place, run in enumerate(runs):
            first = run[0]
            # From the beginning of the day, or an earlier reading of that day would have no point.
            begin = dates[first] if days[first] in several and place else days[first]
            rows.columns["valid_from"].cells[first] = begin
            if place:
                until.cells[runs[place - 1][0]] = begin
            was = elevations[runs[place - 1][0]] if place else ""
            unit = rows.columns["elevation"].unit
            changes.append(PointChange(well, access, begin, elevations[first], unit, len(run), rows.number[first], was))
            kept.append(first)
    rows.take(kept)
    return changes


def _days_of_several(mine: list[int], days: dict[int, str], elevations: list[str]) -> set[str]:
    """Return the days on which a well has several elevations; there the time of day counts."""
    of_day: dict[str, str] = {}
    several = set()
    for row in mine:
        if not _same(of_day.setdefault(days[row], elevations[row]), elevations[row]):
            several.add(days[row])
    return several


def _same(one: str, other: str) -> bool:
    try:
        # 101.5 and 101.50 are one elevation, which two people have written.
        return float(one) == float(other)
    except ValueError:
        return one == other


def _goes_on(heights: list[str], row: int, first: int) -> bool:
    """Return whether a height above ground is that of the run; an empty one says nothing."""
    return not heights[row] or not heights[first] or _same(heights[row], heights[first])
