"""Level events of a mapping: one way of saying the level in each row, and a status that goes with it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Final

from gwnet.ingest.mapping.mapping import Plan
from gwnet.ingest.mapping.point_rows import PointChange
from gwnet.ingest.mapping.rows import Rows
from gwnet.store.contract import NUMBER_ALLOWED, NUMBER_REQUIRED, QUANTITIES, STATUSES, TAPE_READINGS

_NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_TAPE: Final = "two tape readings"
_ELEVATION: Final = "water_elevation"
_DEPTHS: Final = frozenset({"depth_to_water", "depth_below_ground"})

#: Ways of saying a level that need a measuring point.
_OF_POINT: Final = frozenset({_TAPE, "depth_to_water"})


def settle_levels(plan: Plan, rows: Rows, points: Sequence[PointChange] = ()) -> list[str]:
    """Leave one way of saying the level in each row, and give rows without a number their status.

    Of several ways that a row fills the first of the mapping counts; two tape readings that cannot be, because the
    tape reads less at the mark than at the water, give way to the next; so do depths below a measuring point before the
    first one of the well, where readings say the points, and negative depths to a water elevation: of the two it leaves
    no doubt whether the water stood above the mark. The number of a row whose status has none
    becomes its sounded depth for a dry well, and else a note.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    rows : gwnet.ingest.mapping.rows.Rows
        Rows of level events; they are changed.
    points : sequence of gwnet.ingest.mapping.point_rows.PointChange, optional
        Measuring points that the mapping makes of readings.

    Returns
    -------
    list of str
        What was done to how many rows.
    """
    ways = list(dict.fromkeys(_TAPE if name in TAPE_READINGS else name for name in plan.rules if _is_way(name)))
    status = rows.column("status")
    # Reversed, so that the first point of each well stays.
    first = {(point.well, point.access): point.valid_from[:10] for point in reversed(points)}
    tally: Counter[str] = Counter()
    for row in range(rows.count):
        said = [way for way in ways if _is_said(rows, way, row)]
        pointed = [way for way in said if way not in _OF_POINT or _has_point(rows, row, first)]
        if said and pointed[:1] != said[:1]:
            tally["before any measuring point of their well keep another way of saying the level"] += bool(pointed)
        # The order of the rules in the mapping is the order of trust.
        chosen = (pointed or said or [""])[0]
        # A depth above the mark needs the status flowing, which such sources do not give.
        if chosen in _DEPTHS and _is_negative(rows.cells(chosen)[row]) and _ELEVATION in said:
            tally["with a negative depth keep the water elevation, which says where the water stood"] += 1
            chosen = _ELEVATION
        if chosen != _TAPE and _TAPE in ways and all(rows.cells(name)[row] for name in TAPE_READINGS):
            if chosen:
                tally["with two tape readings that contradict each other"] += _TAPE not in said
                # Kept in the notes: nothing that was read is lost because something else counts.
                _note(rows, row, TAPE_READINGS)
            chosen = chosen or _TAPE
        _empty_others(rows, row, ways, chosen)
        word = status.cells[row]
        if not chosen:
            if not word or word in NUMBER_REQUIRED:
                # A status that requires a number cannot stand without one.
                status.cells[row] = plan.no_level
                tally[f"without a number got the status {plan.no_level!r}"] += 1
        elif word and word in STATUSES and word not in NUMBER_ALLOWED:
            _set_aside(rows, row, chosen, word)
            kept_as = "sounded depth" if _sounds(chosen, word) else "a note"
            tally[f"of status {word!r} had a number, which was kept as {kept_as}"] += 1
    return [
        f"level_events: {'1 row' if many == 1 else f'{many:,} rows'} {words}" for words, many in tally.items() if many
    ]


def number_events(rows: Rows) -> list[str]:
    """Give events of one well and time that say different things a number each, where the source gives none.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    rows : gwnet.ingest.mapping.rows.Rows
        Rows of level events; ``event`` of all but the first of each time is filled.

    Returns
    -------
    list of str
        What was done to how many rows.
    """
    if "event" in rows.columns:
        return []
    key_columns = [rows.columns[name].cells for name in rows.table.key if name in rows.columns]
    columns = [made.cells for made in rows.columns.values()]
    said: dict[tuple[str, ...], dict[tuple[str, ...], str]] = {}
    numbers = []
    for row in range(rows.count):
        known = said.setdefault(tuple(cells[row] for cells in key_columns), {})
        content = tuple(cells[row] for cells in columns)
        # The first keeps no number, as it would have none in a file without the others.
        numbers.append(known.setdefault(content, str(len(known) + 1) if known else ""))
    several = sum(map(bool, numbers))
    if several:
        rows.column("event").cells[:] = numbers
    many = "1 row" if several == 1 else f"{several:,} rows"
    return [f"level_events: {many} of a well and time that another row has, kept as events 2 and on"] if several else []


def _empty_others(rows: Rows, row: int, ways: Sequence[str], chosen: str) -> None:
    """Empty the cells of the ways of saying the level that do not count."""
    for way in ways if chosen else ():
        for name in _names(way) if way != chosen else ():
            rows.columns[name].cells[row] = ""


def _has_point(rows: Rows, row: int, first: Mapping[tuple[str, str], str]) -> bool:
    """Return whether a measuring point of the well is in force; where readings say none, that is left to the loader."""
    if not first:
        return True
    key = (rows.cells("well")[row], rows.cells("access")[row] or "main")
    day = (rows.cells("measured_at")[row] or rows.cells("date")[row])[:10]
    return key in first and first[key] <= day


def _is_way(name: str) -> bool:
    return name in QUANTITIES or name in TAPE_READINGS


def _names(way: str) -> tuple[str, ...]:
    return TAPE_READINGS if way == _TAPE else (way,)


def _is_said(rows: Rows, way: str, row: int) -> bool:
    cells = [rows.cells(name)[row] for name in _names(way)]
    if not all(cells):
        return False
    if way != _TAPE:
        return True
    if not all(_NUMBER.fullmatch(cell) for cell in cells):
        return True  # the loader says what is wrong with it
    mark, water = (float(cell) for cell in cells)
    # A tape that reads more at the water than at the mark is held the wrong way round, or mistyped.
    return water >= 0 and mark > water


def _is_negative(cell: str) -> bool:
    return _NUMBER.fullmatch(cell) is not None and float(cell) < 0


def _note(rows: Rows, row: int, names: tuple[str, ...]) -> None:
    said = []
    for name in names:
        made = rows.columns[name]
        said.append(f"{name.replace('_', ' ')} {made.written[row].strip()} {made.unit}".strip())
        made.cells[row] = ""
    notes = rows.column("notes")
    notes.cells[row] = "; ".join(part for part in (notes.cells[row], ", ".join(said) + " as given") if part)


def _sounds(way: str, status: str) -> bool:
    return status == "dry" and way == "depth_to_water"


def _set_aside(rows: Rows, row: int, way: str, status: str) -> None:
    # In a dry well the tape stops at the bottom, so that the number is a sounding, if below the measuring point.
    if not _sounds(way, status) or rows.cells("sounded_depth")[row]:
        _note(rows, row, _names(way))
        return
    made, sounded = rows.columns[way], rows.column("sounded_depth")
    if not any(sounded.cells):
        sounded.unit, sounded.heading = made.unit, made.heading
    sounded.cells[row], sounded.written[row] = made.cells[row], made.written[row]
    made.cells[row] = ""
