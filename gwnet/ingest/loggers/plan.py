"""A layout fitted to one file: where its table begins, which column is which, its zone, serial number and title."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from gwnet.clock import to_utc, zone_of
from gwnet.errors import ClockError, LayoutError, UnreadableFileError
from gwnet.ingest.loggers.columns import (
    Column,
    Table,
    absent_events,
    counter_in,
    events_in,
    place_of,
    selection,
    values_in,
)
from gwnet.ingest.loggers.layout import MISSING, Layout, ValueRule
from gwnet.ingest.loggers.stamps import StampError, StampFormat, compile_formats, read_stamp
from gwnet.ingest.loggers.text import Head
from gwnet.ingest.loggers.words import heading_unit, names_serial

#: Rows that are looked at where the headings alone do not tell.
SAMPLE = 500


@dataclass(frozen=True)
class Plan:
    """How one file is read.

    Attributes
    ----------
    layout : gwnet.ingest.loggers.layout.Layout
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
    formats : tuple of tuple of gwnet.ingest.loggers.stamps.StampFormat
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
    counter : int or None
        Place of a column that counts on with time, in a zone with summer time.
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
    counter: int | None
    serial: str | None
    title: str | None
    notes: tuple[str, ...]

    @property
    def width(self) -> int:
        """Return the number of cells up to the last that is needed."""
        selecting = [self.select[0]] if self.select else []
        return 1 + max([*self.times, *self.places, *selecting])


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line, without the blanks around them; between blanks, runs of them count as one.

    Parameters
    ----------
    line : str
        The line.
    delimiter : str
        Sign between its cells.
    """
    if delimiter == " ":
        line = re.sub(" {2,}", " ", line.strip())
    try:
        cells = next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        # A cell beyond the limit of the csv module, 131,072 signs; the row is judged as any other.
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]


def fit(layout: Layout, head: Head, *, zone: str = "", only: str = "", quantity: str = "") -> Plan:
    """Fit a layout to a file.

    Parameters
    ----------
    layout : gwnet.ingest.loggers.layout.Layout
        The layout.
    head : gwnet.ingest.loggers.text.Head
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
    heading_line, first, table = _table(layout, head)
    if not table.rows and head.whole:
        message = f"The file ends at line {len(head.lines)}, where its readings should begin."
        raise UnreadableFileError(message, where=where, fix="Download it again; nothing was recorded in it.")
    notes: list[str] = []
    times = _times(layout, table.names, where)
    above = head.lines[: heading_line or first - 1]
    formats = (layout.time_formats(), layout.day_formats())[: len(times)]
    start = _start(layout, above, where)
    stamped = start[1] is not None if start is not None else _says_offset(table.rows, times, formats)
    time_zone = _zone(layout, above, zone, stamped, where)
    if start is not None:
        formats = (_counting_from(formats[0], start, time_zone, where), *formats[1:])
    values = values_in(table, times, notes, quantity)
    select = selection(table, only)
    choosing = {select[0]} if select is not None else set()
    events = events_in(table, {*times, *choosing, *(place for place, _, _ in values)})
    notes += absent_events(table)
    has_summer_time = bool(time_zone) and zone_of(time_zone).utcoffset(None) is None
    return Plan(
        layout=layout,
        heading_line=heading_line,
        heading=head.lines[heading_line - 1] if heading_line else "",
        names=table.names,
        first_line=first,
        times=times,
        formats=formats,
        columns=tuple(column for _, column, _ in values),
        places=tuple(place for place, _, _ in values),
        missing=tuple(frozenset((*MISSING, *layout.missing, *words)) for _, _, words in values),
        events=events,
        select=select,
        zone=time_zone,
        # Only a clock with summer time has hours twice.
        counter=counter_in(table, times) if has_summer_time else None,
        serial=_serial(table, above),
        title=_group(layout.title_pattern, above),
        notes=tuple(notes),
    )


def _table(layout: Layout, head: Head) -> tuple[int, int, Table]:
    """Return the line of the headings, the first line of the table, and the table with its first rows."""
    heading_line, names = _heading(layout, head)
    first = layout.first_row or heading_line + 1 + layout.rows_between + layout.units_below
    cells = (split_line(line, layout.delimiter) for line in head.lines[first - 1 : first - 1 + SAMPLE])
    rows = tuple(row for row in cells if any(row))
    if not names:
        names = tuple(f"column {n}" for n in range(1, 1 + max(map(len, rows), default=1)))
    below = "".join(head.lines[heading_line : heading_line + 1]) if layout.units_below else ""
    units = split_line(below, layout.delimiter) if below else []
    return heading_line, first, Table(layout, names, (*units, *[""] * len(names)), rows, str(head.path))


def _heading(layout: Layout, head: Head) -> tuple[int, tuple[str, ...]]:
    """Return the line of the headings and the headings."""
    where = str(head.path)
    if layout.first_row is not None:
        return 0, ()
    if layout.heading_row is not None:
        if layout.heading_row > len(head.lines):
            message = f"The layout has the headings in line {layout.heading_row}; the file has {len(head.lines)} lines."
            raise LayoutError(message, where=where, fix="Give the line of the headings, or a pattern for it.")
        return layout.heading_row, _names(layout, head.lines[layout.heading_row - 1])
    pattern = re.compile(layout.heading_pattern or "")
    matching = [n for n, line in enumerate(head.lines, 1) if pattern.search(line)]
    for line in matching:
        # The preamble may hold the words of the headings too, as in a list of its columns.
        if _leads_a_table(layout, head, line):
            return line, _names(layout, head.lines[line - 1])
    if not matching:
        message = f"No line matches the layout's pattern of the headings, {layout.heading_pattern!r}."
        fix = f"Its first line is {_short(head.lines[0])}. Change heading_pattern, or give heading_row."
        raise LayoutError(message, where=where, fix=fix)
    # No line leads to a time; the error is then about the first of them.
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
    below = [text for text in head.lines[line + layout.rows_between + layout.units_below :] if text.strip()]
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


def _times(layout: Layout, names: Sequence[str], where: str) -> tuple[int, ...]:
    if layout.time_column is not None:
        return (place_of(layout.time_column, names, "the time", where),)
    references = [("the date", layout.date_column), ("the time of day", layout.clock_column)]
    return tuple(place_of(ref, names, what, where) for what, ref in references if ref is not None)


def first_selected(layout: Layout, head: Head) -> str:
    """Return the first cell of the column that says which well or instrument a row is of.

    Returns
    -------
    str
        The cell; empty where there is none.
    """
    _, _, table = _table(layout, head)
    return next(iter(table.cells(table.place(layout.select_column or 1, "the well or instrument"))), "")


def serial_of(layout: Layout, head: Head) -> str | None:
    """Return the serial number that a file gives, by a layout; None for none."""
    heading_line, first, table = _table(layout, head)
    return _serial(table, head.lines[: heading_line or first - 1])


def lacking_units(layout: Layout, head: Head) -> list[ValueRule]:
    """Return the columns of a layout whose unit neither it nor the headings of a file say."""
    if layout.first_row is not None:
        return []
    _, _, table = _table(layout, head)
    places = [(rule, table.place(rule.column, f"the {rule.quantity}")) for rule in layout.columns]
    return [
        rule
        for rule, place in places
        if not rule.unit and not heading_unit(table.names[place], rule.quantity, table.units[place])
    ]


def _start(layout: Layout, above: Sequence[str], where: str) -> tuple[int, int | None] | None:
    """Return when elapsed times begin, on the clock of the file [ms], and its offset [min]; None where none elapse."""
    if not any(form.is_elapsed for form in layout.time_formats()):
        return None
    text = layout.start or _group(layout.start_pattern, above)
    if not text:
        message = f"Nothing above the table matches {layout.start_pattern!r}, which says when elapsed times begin."
        raise LayoutError(message, where=where, fix="Change start_pattern under [time], or give start.")
    try:
        return read_stamp(text, compile_formats(("iso",) if layout.start else layout.start_formats))
    except StampError as error:
        message = f"When elapsed times begin cannot be read: {error}."
        raise LayoutError(message, where=where, fix="Change start or start_formats under [time].") from None


def _counting_from(
    formats: tuple[StampFormat, ...], start: tuple[int, int | None], zone: str, where: str
) -> tuple[StampFormat, ...]:
    """Return formats of elapsed time that count from a start, which is in the zone unless it says its offset."""
    local_ms, offset = start
    if offset is not None:
        start_ms = local_ms - offset * 60_000
    else:
        converted = to_utc(np.array([local_ms], dtype="datetime64[ms]").astype("datetime64[us]"), zone)
        if np.isnat(converted.utc[0]):
            message = f"Elapsed times begin at a local time that was twice, or never was, in {zone}."
            raise LayoutError(message, where=where, fix="Give start under [time] with its offset from UTC.")
        start_ms = int(converted.utc[0].astype("datetime64[ms]").astype(np.int64))
    return tuple(replace(form, start_ms=start_ms) if form.is_elapsed else form for form in formats)


def _zone(
    layout: Layout,
    above: Sequence[str],
    given: str,
    stamped: bool,
    where: str,
) -> str:
    # The layout first, then the file, then what was given: a wrong --zone over a whole folder changes no file that says
    # its own.
    if layout.zone:
        return layout.zone
    if layout.zone_pattern:
        zone = _group(layout.zone_pattern, above)
        if zone:
            return _offset_zone(zone, where)
    if stamped:
        return ""
    if given:
        try:
            zone_of(given)
        except ClockError as error:
            raise LayoutError(error.message, where=where, fix=error.fix) from None
        return given
    tried = f", and nothing in it matches {layout.zone_pattern!r}" if layout.zone_pattern else ""
    message = f"Neither the layout nor the file says in which zone its times are{tried}."
    fix = "Say it with --zone, such as Europe/Vienna or UTC-07:00, or under [time] of the layout."
    raise LayoutError(message, where=where, fix=fix)


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
    # A minus sign of typography stands in some headings for the hyphen.
    plain = re.sub(r"^(?:GMT|UTC|Z)(?=$|[+-])", "", text.strip().replace("−", "-"))
    name = f"UTC{plain}" if not plain or plain[0] in "+-" else plain
    if re.fullmatch(r"UTC[+-]\d{4}", name):
        name = f"{name[:-2]}:{name[-2:]}"
    try:
        zone_of(name)
    except ClockError as error:
        message = f"The layout's zone_pattern found {text!r}, which is no zone."
        raise LayoutError(message, where=where, fix=error.fix) from None
    return name


def _group(pattern: str, lines: Iterable[str]) -> str | None:
    """Return the first group of a pattern where it is first found."""
    if not pattern:
        return None
    ready = re.compile(pattern)
    for line in lines:
        match = ready.search(line)
        if match is not None and match[1]:
            return match[1].strip().strip('"').strip() or None
    return None


def with_next(lines: Sequence[str]) -> list[str]:
    """Return each line with the one below it, where what it announces may stand."""
    return [f"{line}\n{below}" for line, below in pairwise(lines)]


def _serial(table: Table, above: Sequence[str]) -> str | None:
    # Within one line first, so that a word above is not joined to a number that has its own.
    serial = _group(table.layout.serial_pattern, [*above, *with_next(above)])
    if serial is not None:
        return serial
    if table.layout.serial_column is not None:
        place = table.place(table.layout.serial_column, "the serial number")
    elif table.layout.columns:
        return None
    else:
        place = next((n for n, name in enumerate(table.names) if names_serial(name)), len(table.names))
    return next(iter(table.cells(place)), None)
