"""A layout fitted to one file: where its table begins, which column is which, its zone, serial number and title."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

from gwnet.clock import zone_of
from gwnet.errors import ClockError, LayoutError, UnreadableFileError
from gwnet.ingest.logger_layout import MISSING, Layout, Reference, ValueRule, is_pattern
from gwnet.ingest.logger_stamps import StampError, StampFormat, read_stamp
from gwnet.ingest.logger_text import Head
from gwnet.ingest.logger_words import (
    QUANTITIES,
    absolute_or_not,
    heading_unit,
    names_serial,
    names_well,
    read_heading,
    unit_of,
)
from gwnet.units import to_pascals

#: Rows that are looked at where the headings alone do not tell.
SAMPLE = 500


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


@dataclass(frozen=True)
class Plan:
    """How one file is read.

    Attributes
    ----------
    layout : gwnet.ingest.logger_layout.Layout
        The layout.
    heading_line : int
        Line of the headings; 0 for none.
    heading : str
        That line as it stands.
    names : tuple of str
        Headings, or the numbers of columns.
    first_line : int
        First line of the table.
    times : tuple of int
        Places of the time column, or of date and clock.
    formats : tuple of tuple of gwnet.ingest.logger_stamps.StampFormat
        Formats of each of them.
    columns : tuple of Column
        The values.
    places : tuple of int
        Their places.
    missing : tuple of frozenset of str
        Words for no value in each of them.
    events : tuple of int
        Places of the event columns.
    select : tuple of (int, str) or None
        Place and cell of the rows that are read.
    zone : str
        Zone of the times; empty where each stamp says its offset.
    serial, title : str or None
        Serial number and title of the file.
    notes : tuple of str
        What was decided without being asked.
    """

    layout: Layout
    heading_line: int
    heading: str
    names: tuple[str, ...]
    first_line: int
    times: tuple[int, ...]
    formats: tuple[tuple[StampFormat, ...], ...]
    columns: tuple[Column, ...]
    places: tuple[int, ...]
    missing: tuple[frozenset[str], ...]
    events: tuple[int, ...]
    select: tuple[int, str] | None
    zone: str
    serial: str | None
    title: str | None
    notes: tuple[str, ...]

    @property
    def width(self) -> int:
        """Return the number of cells up to the last that is needed."""
        selecting = [self.select[0]] if self.select else []
        return 1 + max([*self.times, *self.places, *selecting])


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line, without the blanks around them.

    Parameters
    ----------
    line : str
        The line.
    delimiter : str
        Sign between its cells.

    Returns
    -------
    list of str
        The cells; quotes taken off.
    """
    try:
        cells = next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]


def fit(layout: Layout, head: Head, *, zone: str = "", only: str = "", quantity: str = "") -> Plan:
    """Fit a layout to a file.

    Parameters
    ----------
    layout : gwnet.ingest.logger_layout.Layout
        The layout.
    head : gwnet.ingest.logger_text.Head
        Beginning of the file.
    zone : str, optional
        Zone to take where neither the layout nor the file says one.
    only : str, optional
        Which well or instrument to read, where the layout has a column that says it.
    quantity : str, optional
        Read this quantity alone; where a single column has such a unit, it is taken to be this.

    Returns
    -------
    Plan
        How the file is read.

    Raises
    ------
    LayoutError
        If the layout does not fit the file.
    UnreadableFileError
        If the file ends before its table begins.
    """
    where = str(head.path)
    heading_line, names = _heading(layout, head)
    first = layout.first_row or heading_line + 1 + layout.rows_between + layout.units_below
    rows = [split_line(line, layout.delimiter) for line in head.lines[first - 1 : first - 1 + SAMPLE]]
    rows = [cells for cells in rows if any(cells)]
    if not rows and head.whole:
        message = f"The file ends at line {len(head.lines)}, where its readings should begin."
        raise UnreadableFileError(message, where=where, mend="Download it again; nothing was recorded in it.")
    if not names:
        names = tuple(f"column {n}" for n in range(1, 1 + max(map(len, rows), default=1)))
    notes: list[str] = []
    times = _times(layout, names, where)
    formats = (layout.time_formats(), layout.day_formats())[: len(times)]
    units = split_line(head.lines[heading_line], layout.delimiter) if layout.units_below else []
    found = _values(layout, names, [*units, *[""] * len(names)], rows, times, where, notes, quantity)
    found = _chosen(found, quantity, where)
    events = _events(layout, names, rows, {*times, *(place for place, _, _ in found)})
    notes += _absent(layout, names)
    above = head.lines[: heading_line or first - 1]
    return Plan(
        layout=layout,
        heading_line=heading_line,
        heading=head.lines[heading_line - 1] if heading_line else "",
        names=names,
        first_line=first,
        times=times,
        formats=formats,
        columns=tuple(column for _, column, _ in found),
        places=tuple(place for place, _, _ in found),
        missing=tuple(frozenset((*MISSING, *layout.missing, *words)) for _, _, words in found),
        events=events,
        select=_select(layout, names, rows, only, where),
        zone=_zone(layout, above, zone, rows, times, formats, where),
        serial=_serial(layout, above, names, rows, where),
        title=_group(layout.title_pattern, above),
        notes=tuple(notes),
    )


def _heading(layout: Layout, head: Head) -> tuple[int, tuple[str, ...]]:
    """Return the line of the headings and the headings."""
    where = str(head.path)
    if layout.first_row is not None:
        return 0, ()
    if layout.heading_row is not None:
        if layout.heading_row > len(head.lines):
            message = f"The layout has the headings in line {layout.heading_row}; the file has {len(head.lines)} lines."
            raise LayoutError(message, where=where, mend="Give the line of the headings, or a pattern for it.")
        return layout.heading_row, _names(layout, head.lines[layout.heading_row - 1])
    pattern = re.compile(layout.heading_pattern or "")
    matching = [n for n, line in enumerate(head.lines, 1) if pattern.search(line)]
    for line in matching:
        if _leads_a_table(layout, head, line):
            return line, _names(layout, head.lines[line - 1])
    if not matching:
        message = f"No line matches the layout's pattern of the headings, {layout.heading_pattern!r}."
        mend = f"Its first line is {_short(head.lines[0])}. Change heading_pattern, or give heading_row."
        raise LayoutError(message, where=where, mend=mend)
    return matching[0], _names(layout, head.lines[matching[0] - 1])


def _names(layout: Layout, line: str) -> tuple[str, ...]:
    return tuple(" ".join(cell.split()) for cell in split_line(line, layout.delimiter))


def _leads_a_table(layout: Layout, head: Head, line: int) -> bool:
    """Return whether the row below a line of headings begins with a time."""
    names = _names(layout, head.lines[line - 1])
    try:
        place = _times(layout, names, "")[0]
    except LayoutError:
        return False
    below = [one for one in head.lines[line + layout.rows_between + layout.units_below :] if one.strip()]
    cells = split_line(below[0], layout.delimiter) if below else []
    if len(cells) <= place:
        return False
    try:
        read_stamp(cells[place], layout.time_formats())
    except StampError:
        return False
    return True


def _short(text: str, length: int = 80) -> str:
    return repr(text if len(text) <= length else text[: length - 3] + "...")


def _place(reference: Reference, names: Sequence[str], what: str, where: str) -> int:
    """Return the place of a column that a layout refers to."""
    if isinstance(reference, int):
        if reference > len(names):
            message = f"The layout has {what} in column {reference}; the file has {len(names)} columns."
            raise LayoutError(message, where=where, mend="Check the delimiter and the number of the column.")
        return reference - 1
    pattern = is_pattern(reference)
    if pattern is not None:
        found = [n for n, name in enumerate(names) if re.search(pattern, name)]
    else:
        wanted = " ".join(reference.split()).casefold()
        found = [n for n, name in enumerate(names) if name.casefold() == wanted]
    if found:
        return found[0]
    near = get_close_matches(reference, names, n=1, cutoff=0.5)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    message = f"The layout has {what} in the column {reference!r}, and no heading of the file is that.{hint}"
    listed = ", ".join(repr(name) for name in names[:12])
    raise LayoutError(message, where=where, mend=f"The headings are {listed}. Check the delimiter and the heading.")


def _times(layout: Layout, names: Sequence[str], where: str) -> tuple[int, ...]:
    if layout.time_column is not None:
        return (_place(layout.time_column, names, "the time", where),)
    references = [("the date", layout.date_column), ("the time of day", layout.clock_column)]
    return tuple(_place(ref, names, what, where) for what, ref in references if ref is not None)


Found = tuple[int, Column, tuple[str, ...]]


def _values(
    layout: Layout,
    names: Sequence[str],
    units: Sequence[str],
    rows: Sequence[Sequence[str]],
    times: Sequence[int],
    where: str,
    notes: list[str],
    quantity: str,
) -> list[Found]:
    if layout.columns:
        return [_by_rule(rule, names, units, where) for rule in layout.columns]
    found: list[Found] = []
    vague: list[Found] = []
    for place, name in enumerate(names):
        if place in times:
            continue
        named = read_heading(name, units[place])
        if named.quantity and named.unit:
            if named.quantity in {column.quantity for _, column, _ in found}:
                notes.append(f"column {name!r} was passed over: another one gives the {named.quantity} as well")
            else:
                found.append((place, Column(named.quantity, named.unit, name), ()))
        elif named.vague and named.unit:
            vague.append((place, Column("", named.unit, name), ()))
    if not found or quantity:
        found += [_by_size(one, layout, rows, where, notes, quantity) for one in vague[:1] if len(found) == 0]
    if found:
        return found
    message = "No heading names a quantity with its unit."
    listed = ", ".join(repr(name) for name in names[:12])
    mend = f"The headings are {listed}. Name the columns under [[columns]] of a layout of your own."
    raise LayoutError(message, where=where, mend=mend)


def _by_rule(rule: ValueRule, names: Sequence[str], units: Sequence[str], where: str) -> Found:
    place = _place(rule.column, names, f"the {rule.quantity}", where)
    unit = unit_of(rule.unit, rule.quantity) if rule.unit else heading_unit(names[place], rule.quantity, units[place])
    if not unit:
        message = f"The heading {names[place]!r} does not say the unit of the {rule.quantity}."
        raise LayoutError(message, where=where, mend="Give the unit under [[columns]] of the layout.")
    return place, Column(rule.quantity, unit, names[place]), rule.missing


def _by_size(
    vague: Found, layout: Layout, rows: Sequence[Sequence[str]], where: str, notes: list[str], quantity: str
) -> Found:
    """Say what a column is whose heading gives a unit and not of what: by what was asked for, or by its size."""
    place, column, _ = vague
    if quantity:
        return place, replace(column, quantity=quantity), ()
    why = "its heading does not say whether it is a depth, an elevation or the height of water over the sensor"
    if unit_of(column.unit, "water pressure"):
        numbers = numbers_of((cells[place] for cells in rows if len(cells) > place), layout.decimal)
        found, why = (
            absolute_or_not(*(to_pascals(edge, column.unit) for edge in (min(numbers), max(numbers))))
            if (numbers)
            else ("", "it has no values")
        )
        if found:
            notes.append(f"column {column.name!r} was taken as {found}: {why}")
            return place, replace(column, quantity=found), ()
    message = f"It cannot be told of what the column {column.name!r} is: {why}."
    mend = "Say it with --series, or under [[columns]] of a layout."
    raise LayoutError(message, where=where, mend=mend)


def numbers_of(cells: Iterable[str], decimal: str) -> list[float]:
    """Return the cells that are numbers.

    Parameters
    ----------
    cells : iterable of str
        Cells.
    decimal : str
        Decimal mark.

    Returns
    -------
    list of float
        The numbers, in order.
    """
    made = []
    for cell in cells:
        plain = cell.strip()
        if decimal == ",":
            plain = plain.replace(",", ".")
        if re.fullmatch(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", plain):
            made.append(float(plain))
    return made


def _chosen(found: list[Found], quantity: str, where: str) -> list[Found]:
    """Return the columns of the quantity that was asked for."""
    if not quantity:
        return found
    if quantity not in QUANTITIES:
        message = f"{quantity!r} is no quantity."
        raise LayoutError(message, where=where, mend=f"Take one of: {', '.join(QUANTITIES)}.")
    matching = [one for one in found if one[1].quantity == quantity]
    if matching:
        return matching
    fitting = [one for one in found if QUANTITIES[one[1].quantity] == QUANTITIES[quantity]]
    if len(fitting) == 1:
        place, column, words = fitting[0]
        return [(place, replace(column, quantity=quantity), words)]
    given = ", ".join(f"{one.quantity} [{one.unit}]" for _, one, _ in found)
    message = f"The file gives {given}, and no {quantity}."
    raise LayoutError(message, where=where, mend="Ask for one of those.")


def _events(layout: Layout, names: Sequence[str], rows: Sequence[Sequence[str]], taken: set[int]) -> tuple[int, ...]:
    """Return the event columns: those of the layout, or else those whose cells are empty or words."""
    if layout.events:
        patterns = [is_pattern(ref) if isinstance(ref, str) else None for ref in layout.events]
        places = set()
        for reference, pattern in zip(layout.events, patterns, strict=True):
            for place, name in enumerate(names):
                plain = isinstance(reference, str) and name.casefold() == " ".join(reference.split()).casefold()
                if place + 1 == reference or plain or (pattern is not None and re.search(pattern, name)):
                    places.add(place)
        return tuple(sorted(places - taken))
    if layout.columns:
        return ()
    return tuple(
        place
        for place, name in enumerate(names)
        if place not in taken
        and not names_serial(name)
        and not any(cell[:1].isdigit() for row in rows for cell in row[place : place + 1])
    )


def _absent(layout: Layout, names: Sequence[str]) -> list[str]:
    """Return sentences about event columns of the layout that the file does not have."""
    made = []
    for reference in layout.events:
        try:
            _place(reference, names, "events", "")
        except LayoutError:
            made.append(f"the file has no event column {reference!r}, which the layout names")
    return made


def _select(
    layout: Layout, names: Sequence[str], rows: Sequence[Sequence[str]], only: str, where: str
) -> tuple[int, str] | None:
    place = None
    if layout.select_column is not None:
        place = _place(layout.select_column, names, "the well or instrument", where)
    elif not layout.columns:
        place = next((n for n, name in enumerate(names) if names_well(name) and _repeats(rows, n)), None)
    if place is None:
        if only:
            message = f"Only {only!r} was asked for, and the layout has no column that says what a row is of."
            raise LayoutError(message, where=where, mend="Give [select] column in the layout.")
        return None
    wanted = only or layout.select_value
    if not wanted:
        seen = list(dict.fromkeys(row[place] for row in rows if len(row) > place and row[place]))
        if len(seen) > 1:
            message = f"The file is of several: column {names[place]!r} has {', '.join(seen[:8])}."
            raise LayoutError(message, where=where, mend="Say with --only which one to read.")
        wanted = seen[0] if seen else ""
    return place, wanted


def first_selected(layout: Layout, head: Head) -> str:
    """Return the first cell of the column that says which well or instrument a row is of.

    Parameters
    ----------
    layout : gwnet.ingest.logger_layout.Layout
        A layout with such a column.
    head : gwnet.ingest.logger_text.Head
        Beginning of the file.

    Returns
    -------
    str
        The cell; empty where there is none.
    """
    heading_line, names = _heading(layout, head)
    place = _place(layout.select_column or 1, names, "the well or instrument", str(head.path))
    first = layout.first_row or heading_line + 1 + layout.rows_between + layout.units_below
    rows = (split_line(line, layout.delimiter) for line in head.lines[first - 1 :])
    return next((cells[place] for cells in rows if len(cells) > place and cells[place]), "")


def lacking_units(layout: Layout, head: Head) -> list[ValueRule]:
    """Return the columns of a layout whose unit neither it nor the headings of a file say.

    Parameters
    ----------
    layout : gwnet.ingest.logger_layout.Layout
        The layout.
    head : gwnet.ingest.logger_text.Head
        Beginning of the file.

    Returns
    -------
    list of gwnet.ingest.logger_layout.ValueRule
        Those columns.
    """
    if layout.first_row is not None:
        return []
    heading_line, names = _heading(layout, head)
    units = split_line(head.lines[heading_line], layout.delimiter) if layout.units_below else []
    units += [""] * len(names)
    places = [(rule, _place(rule.column, names, f"the {rule.quantity}", str(head.path))) for rule in layout.columns]
    return [
        rule for rule, place in places if not rule.unit and not heading_unit(names[place], rule.quantity, units[place])
    ]


def _repeats(rows: Sequence[Sequence[str]], place: int) -> bool:
    """Return whether the cells of a column stand many times each, as the code of a well does."""
    cells = [row[place] for row in rows if len(row) > place and row[place]]
    return bool(cells) and len(set(cells)) <= max(1, len(cells) // 3)


def _zone(
    layout: Layout,
    above: Sequence[str],
    given: str,
    rows: Sequence[Sequence[str]],
    times: Sequence[int],
    formats: Sequence[tuple[StampFormat, ...]],
    where: str,
) -> str:
    if layout.zone:
        return layout.zone
    if layout.zone_pattern:
        found = _group(layout.zone_pattern, above)
        if found:
            return _offset_zone(found, where)
    if _says_offset(rows, times, formats):
        return ""
    if given:
        try:
            zone_of(given)
        except ClockError as error:
            raise LayoutError(error.message, where=where, mend=error.mend) from None
        return given
    tried = f", and nothing in it matches {layout.zone_pattern!r}" if layout.zone_pattern else ""
    message = f"Neither the layout nor the file says in which zone its times are{tried}."
    mend = "Say it with --zone, such as Europe/Vienna or UTC-07:00, or under [time] of the layout."
    raise LayoutError(message, where=where, mend=mend)


def _says_offset(
    rows: Sequence[Sequence[str]], times: Sequence[int], formats: Sequence[tuple[StampFormat, ...]]
) -> bool:
    """Return whether the first stamp that can be read carries its offset from UTC."""
    place, forms = times[-1], formats[-1]
    for row in rows:
        try:
            return read_stamp(row[place], forms)[1] is not None
        except (StampError, IndexError):
            continue
    return False


def _offset_zone(text: str, where: str) -> str:
    """Return the name of the zone that a text of a heading stands for: an offset, or a name."""
    plain = re.sub(r"^(?:GMT|UTC|Z)(?=$|[+-])", "", text.strip().replace("−", "-"))
    name = f"UTC{plain}" if not plain or plain[0] in "+-" else plain
    if re.fullmatch(r"UTC[+-]\d{4}", name):
        name = f"{name[:-2]}:{name[-2:]}"
    try:
        zone_of(name)
    except ClockError as error:
        message = f"The layout's zone_pattern found {text!r}, which is no zone."
        raise LayoutError(message, where=where, mend=error.mend) from None
    return name


def _group(pattern: str, lines: Iterable[str]) -> str | None:
    """Return the first group of a pattern where it is first found."""
    if not pattern:
        return None
    ready = re.compile(pattern)
    for line in lines:
        found = ready.search(line)
        if found is not None and found[1]:
            return found[1].strip().strip('"').strip() or None
    return None


def _serial(
    layout: Layout, above: Sequence[str], names: Sequence[str], rows: Sequence[Sequence[str]], where: str
) -> str | None:
    found = _group(layout.serial_pattern, above)
    if found is not None:
        return found
    if layout.serial_column is not None:
        place = _place(layout.serial_column, names, "the serial number", where)
    else:
        place = next((n for n, name in enumerate(names) if names_serial(name) and not layout.columns), len(names))
    return next((row[place] for row in rows if len(row) > place and row[place]), None)
