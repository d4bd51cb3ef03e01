"""Which columns of a logger file hold the values, the events, and the well or instrument that a row is of."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import pairwise

from gwnet.errors import LayoutError
from gwnet.ingest.loggers.layout import Layout, Reference, ValueRule, is_pattern
from gwnet.ingest.loggers.words import (
    QUANTITIES,
    absolute_or_not,
    counts_by_heading,
    heading_unit,
    limits_of,
    names_serial,
    names_well,
    read_heading,
    unit_of,
)
from gwnet.units import to_pascals


@dataclass(frozen=True)
class Column:
    """A column of values as found in one file.

    Attributes
    ----------
    quantity : str
        What is in it.
    unit : str
        Its unit.
    name : str
        Its heading, or its number where there is none.
    """

    quantity: str
    unit: str
    name: str

    @property
    def limits(self) -> tuple[float, float]:
        """Return what no value of the quantity exceeds, in the unit of the column."""
        return limits_of(self.quantity, self.unit)


def place_of(reference: Reference, names: Sequence[str], what: str, where: str) -> int:
    """Return the place of a column that a layout refers to.

    Parameters
    ----------
    reference : int or str
        Number, heading or pattern of the column.
    names : sequence of str
        Headings.
    what : str
        What is in it, for errors.
    where : str
        The file, for errors.

    Returns
    -------
    int
        The place of the first such column, from 0.

    Raises
    ------
    LayoutError
        If there is none.
    """
    if isinstance(reference, int):
        if reference > len(names):
            message = f"The layout has {what} in column {reference}; the file has {len(names)} columns."
            raise LayoutError(message, where=where, fix="Check the delimiter and the number of the column.")
        return reference - 1
    pattern = is_pattern(reference)
    if pattern is not None:
        places = [n for n, name in enumerate(names) if re.search(pattern, name)]
    else:
        wanted = " ".join(reference.split()).casefold()
        places = [n for n, name in enumerate(names) if name.casefold() == wanted]
    if places:
        return places[0]
    near = get_close_matches(reference, names, n=1, cutoff=0.5)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    message = f"The layout has {what} in the column {reference!r}, and no heading of the file is that.{hint}"
    listed = ", ".join(repr(name) for name in names[:12])
    raise LayoutError(message, where=where, fix=f"The headings are {listed}. Check the delimiter and the heading.")


#: Place of a column of values, what it is, and its own words for no value.
Found = tuple[int, Column, tuple[str, ...]]


@dataclass(frozen=True)
class Table:
    """The table of a file, seen through a layout.

    Attributes
    ----------
    layout : gwnet.ingest.loggers.layout.Layout
        The layout.
    names : tuple of str
        Headings.
    units : tuple of str
        Cells of the line of units, as many as there are headings; empty where there is none.
    rows : tuple of list of str
        Its first rows.
    where : str
        The file, for errors.
    """

    layout: Layout
    names: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[list[str], ...]
    where: str

    def place(self, reference: Reference, what: str) -> int:
        """Return the place of a column that the layout refers to; see `gwnet.ingest.loggers.columns.place_of`."""
        return place_of(reference, self.names, what, self.where)

    def cells(self, place: int) -> list[str]:
        """Return the filled cells of a column."""
        return [row[place] for row in self.rows if len(row) > place and row[place]]

    def listed(self) -> str:
        """Return the headings as a text for errors."""
        return f"The headings are {', '.join(map(repr, self.names[:12]))}."


def values_in(table: Table, times: Sequence[int], notes: list[str], quantity: str = "") -> list[Found]:
    """Return the columns of values: those that the layout names, or else those whose headings name a quantity.

    Parameters
    ----------
    table : Table
        The table.
    times : sequence of int
        Places of the time.
    notes : list of str
        Takes sentences about what was decided.
    quantity : str, optional
        Quantity that is asked for.

    Raises
    ------
    LayoutError
        If there is none.
    """
    if table.layout.columns:
        columns = [_by_rule(table, rule) for rule in table.layout.columns]
    else:
        columns = _by_headings(table, times, notes, quantity)
    for place, column, _ in columns:
        if place in times:
            message = f"The column {column.name!r} cannot be both the time and the {column.quantity}."
            raise LayoutError(message, where=table.where, fix="Change the column of one of them in the layout.")
    return _chosen(columns, quantity, table.where)


def _by_rule(table: Table, rule: ValueRule) -> Found:
    place = table.place(rule.column, f"the {rule.quantity}")
    name = table.names[place]
    unit = unit_of(rule.unit, rule.quantity) if rule.unit else heading_unit(name, rule.quantity, table.units[place])
    if not unit:
        message = f"The heading {name!r} does not say the unit of the {rule.quantity}."
        raise LayoutError(message, where=table.where, fix="Give the unit under [[columns]] of the layout.")
    return place, Column(rule.quantity, unit, name), rule.missing


def _by_headings(table: Table, times: Sequence[int], notes: list[str], quantity: str) -> list[Found]:
    by_quantity: dict[str, Found] = {}
    vague: list[Found] = []
    for place, name in enumerate(table.names):
        named = read_heading(name, table.units[place])
        # Without its unit a number is of no use, and a guess of one would be stored.
        if place in times or not named.unit:
            continue
        if not named.quantity:
            vague.append((place, Column("", named.unit, name), ()))
        elif named.quantity in by_quantity:
            notes.append(f"column {name!r} was passed over: another one gives the {named.quantity} as well")
        else:
            by_quantity[named.quantity] = (place, Column(named.quantity, named.unit, name), ())
    if by_quantity:
        return list(by_quantity.values())
    if vague:
        return [_by_size(table, vague[0], notes, quantity)]
    if len(table.names) == 1:
        message = f"The line of headings is a single cell, since no {table.layout.delimiter!r} stands in it."
        raise LayoutError(message, where=table.where, fix="Take a layout with the delimiter of the file.")
    message = "No heading names a quantity with its unit."
    fix = f"{table.listed()} Name the columns under [[columns]] of a layout of your own."
    raise LayoutError(message, where=table.where, fix=fix)


def _by_size(table: Table, vague: Found, notes: list[str], quantity: str) -> Found:
    """Say what a column is whose heading gives a unit and not of what: by what was asked for, or by its size."""
    place, column, _ = vague
    if quantity and quantity in QUANTITIES and unit_of(column.unit, quantity):
        return place, replace(column, quantity=quantity), ()
    why = "its heading does not say whether it is a depth, an elevation or the height of water over the sensor"
    if unit_of(column.unit, "water pressure"):
        numbers = numbers_of(table.cells(place), table.layout.decimal)
        pressure, why = "", "it has no values"
        if numbers:
            pressure, why = absolute_or_not(
                to_pascals(min(numbers), column.unit), to_pascals(max(numbers), column.unit)
            )
        if pressure:
            notes.append(f"column {column.name!r} was taken as {pressure}: {why}")
            return place, replace(column, quantity=pressure), ()
    message = f"What the column {column.name!r} holds is not known: {why}."
    fix = "Say it with --series, or under [[columns]] of a layout."
    if quantity in QUANTITIES:
        message = f"The column {column.name!r} is in {column.unit}, which is no unit of {quantity}."
        fix = "Ask for another quantity, or say quantity and unit under [[columns]] of a layout."
    raise LayoutError(message, where=table.where, fix=fix)


def numbers_of(cells: Iterable[str], decimal: str) -> list[float]:
    """Return the cells that are numbers."""
    lines = []
    for cell in cells:
        plain = cell.strip()
        if decimal == ",":
            plain = plain.replace(",", ".")
        # Not float(): it reads "1_0", "nan", "inf" and digits of other scripts too.
        if re.fullmatch(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", plain, re.ASCII):
            lines.append(float(plain))
    return lines


def _chosen(columns: list[Found], quantity: str, where: str) -> list[Found]:
    """Return the columns of the quantity that was asked for."""
    if not quantity:
        return columns
    if quantity not in QUANTITIES:
        message = f"{quantity!r} is no quantity."
        raise LayoutError(message, where=where, fix=f"Take one of: {', '.join(QUANTITIES)}.")
    matching = [candidate for candidate in columns if candidate[1].quantity == quantity]
    if matching:
        return matching
    # The only pressure of a file can be asked for under another name: most headings do not say of what it is.
    fitting = [candidate for candidate in columns if QUANTITIES[candidate[1].quantity] == QUANTITIES[quantity]]
    if len(fitting) == 1:
        place, column, words = fitting[0]
        return [(place, replace(column, quantity=quantity), words)]
    given = ", ".join(f"{candidate.quantity} [{candidate.unit}]" for _, candidate, _ in columns)
    message = f"The file gives {given}, and no {quantity}."
    raise LayoutError(message, where=where, fix="Ask for one of those.")


def events_in(table: Table, taken: set[int]) -> tuple[int, ...]:
    """Return the event columns: those of the layout, or else those whose cells are empty or words.

    Parameters
    ----------
    table : Table
        The table.
    taken : set of int
        Places that hold the time or values.
    """
    if table.layout.events:
        places = {n for ref in table.layout.events for n, name in enumerate(table.names) if _refers(ref, n, name)}
        return tuple(sorted(places - taken))
    if table.layout.columns:
        return ()
    return tuple(
        place
        for place, name in enumerate(table.names)
        if place not in taken and not names_serial(name) and not any(cell[:1].isdigit() for cell in table.cells(place))
    )


def _refers(reference: Reference, place: int, name: str) -> bool:
    """Return whether a layout's reference means a column."""
    if isinstance(reference, int):
        return place + 1 == reference
    pattern = is_pattern(reference)
    if pattern is not None:
        return re.search(pattern, name) is not None
    return name.casefold() == " ".join(reference.split()).casefold()


def absent_events(table: Table) -> list[str]:
    """Return sentences about event columns of the layout that the file does not have."""
    return [
        f"the file has no event column {reference!r}, which the layout names"
        for reference in table.layout.events
        if not any(_refers(reference, n, name) for n, name in enumerate(table.names))
    ]


def counter_in(table: Table, times: Sequence[int]) -> int | None:
    """Return the place of a column that counts on with time: that of the layout, or else one whose heading says so.

    Parameters
    ----------
    table : Table
        The table.
    times : sequence of int
        Places of the time.
    """
    if table.layout.counter is not None:
        return table.place(table.layout.counter, "the counter")
    named = [(place, counts_by_heading(name)) for place, name in enumerate(table.names) if place not in times]
    # elapsed time goes on where a record number does not: when samples are lacking
    for _, place in sorted((rank, place) for place, rank in named if rank):
        numbers = numbers_of(table.cells(place), table.layout.decimal)
        steps = [later - earlier for earlier, later in pairwise(numbers)]
        rising = sum(step > 0 for step in steps)
        # nearly all: rows may have been sorted by their local time, or stand with the newest first
        if len(steps) > 1 and 0 not in steps and max(rising, len(steps) - rising) >= 0.9 * len(steps):
            return place
    return None


def selection(table: Table, only: str) -> tuple[int, str] | None:
    """Return the column that says which well or instrument a row is of, and the cell whose rows are read.

    Parameters
    ----------
    table : Table
        The table.
    only : str
        The cell that is asked for; empty for that of the layout, or the only one that there is.

    Returns
    -------
    tuple of int and str, or None
        Place and cell; None where there is no such column.

    Raises
    ------
    LayoutError
        If there are several wells or instruments and it is not said which to read.
    """
    place = None
    if table.layout.select_column is not None:
        place = table.place(table.layout.select_column, "the well or instrument")
    elif not table.layout.columns:
        place = next((n for n, name in enumerate(table.names) if names_well(name) and _repeats(table.cells(n))), None)
    if place is None:
        if only:
            message = f"Only {only!r} was asked for, and the layout has no column that says what a row is of."
            raise LayoutError(message, where=table.where, fix="Give [select] column in the layout.")
        return None
    wanted = only or table.layout.select_value
    if not wanted:
        seen = list(dict.fromkeys(table.cells(place)))
        if len(seen) > 1:
            message = f"The file is of several: column {table.names[place]!r} has {', '.join(seen[:8])}."
            raise LayoutError(message, where=table.where, fix="Say with --only which one to read.")
        wanted = seen[0] if seen else ""
    return place, wanted


def _repeats(cells: Sequence[str]) -> bool:
    """Return whether the cells of a column stand many times each, as the code of a well does."""
    return bool(cells) and len(set(cells)) <= max(1, len(cells) // 3)
