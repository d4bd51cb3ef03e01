"""Proposes a layout for a logger file by looking at it, and says what was inferred, why, and what is in doubt.

A person decides: whatever rests on convention and not on the file is a doubt, and loading does not use a proposal with
doubts.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import zip_longest
from pathlib import Path
from typing import Final

from gwnet.clock import zone_of
from gwnet.errors import ClockError, LayoutError, PartialLayoutError, UnreadableFileError
from gwnet.ingest.loggers.columns import numbers_of
from gwnet.ingest.loggers.guess_columns import Guessed, find_values
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_preamble import START_PATTERN, fill_units, find_start
from gwnet.ingest.loggers.guess_shape import Shape, decimal_of, find_table, footer_of, reference
from gwnet.ingest.loggers.guess_times import (
    Form,
    StampSurvey,
    looks_like_clock,
    looks_like_count,
    looks_like_elapsed,
    looks_like_stamp,
)
from gwnet.ingest.loggers.layout import Layout, Reference
from gwnet.ingest.loggers.plan import with_next
from gwnet.ingest.loggers.text import blocks
from gwnet.ingest.loggers.words import QUANTITIES, counts_by_heading, names_serial, names_time, read_heading

#: Patterns that a proposed layout gives on to other files of its kind.
ZONE_PATTERN: Final = r"(?:GMT|UTC)\s*([+-]\d{1,2}(?::?\d{2})?)"
SERIAL_PATTERN: Final = (
    r"(?i)(?:serial(?:\s*(?:number|no|nr))?|serien-?nummer|serien-?nr|\bs/n)\b[.:#\s,;=\"]*([A-Z0-9-]*\d[A-Z0-9-]*)"
)
TITLE_PATTERN: Final = (
    r"(?i)^\W*(?:[a-z]+ )?(?:title|name|site|station|location|well|messstelle\w*|project)\s*[:;=,\t]\s*\"?([^\",;\t]+)"
)

#: Words for units of elapsed time.
_ELAPSED: Final[dict[str, str]] = {
    **dict.fromkeys(("ms", "milliseconds"), "ms"),
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sekunden"), "s"),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten"), "min"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "stunden"), "h"),
    **dict.fromkeys(("d", "day", "days", "tage"), "d"),
}

#: Cells that are looked at of a column that is empty in the first rows.
_LATE: Final[int] = 200

#: Abbreviations of standard times. Those of summer (CEST, EDT) are left out: the file may run on over its end.
_STANDARD_ZONES: Final[dict[str, str]] = {
    "CET": "UTC+01:00",
    "MEZ": "UTC+01:00",
    "EET": "UTC+02:00",
    "EST": "UTC-05:00",
    "CST": "UTC-06:00",
    "MST": "UTC-07:00",
    "PST": "UTC-08:00",
}


#: The doubt about a file that says no zone.
NO_ZONE: Final = "nothing says in which zone the times are: give zone under [time], or --zone"


@dataclass(frozen=True)
class Proposal:
    """A layout that was inferred from a file.

    Attributes
    ----------
    layout : gwnet.ingest.loggers.layout.Layout
        The layout; without a zone where the file does not say one.
    reasons : tuple of str
        What was inferred, and from what.
    doubts : tuple of str
        What a person should check before the layout is used.
    """

    layout: Layout
    reasons: tuple[str, ...]
    doubts: tuple[str, ...]

    def toml(self) -> str:
        """Return the layout as TOML, its reasons and doubts as comments above it."""
        lines = [f"# {_one_line(reason)}" for reason in self.reasons]
        lines += [f"# CHECK: {_one_line(doubt)}" for doubt in self.doubts]
        return "\n".join([*lines, "", self.layout.toml()])


def _one_line(text: str) -> str:
    # A line end from a heading would leave the comment and be read as TOML.
    return "".join(sign if sign.isprintable() else " " for sign in text)


def incomplete(error: LayoutError, proposal: Proposal) -> PartialLayoutError:
    """Return an error about a file together with what could be inferred of its layout.

    Parameters
    ----------
    error : gwnet.errors.LayoutError
        Why the file is not read.
    proposal : Proposal
        A layout that lacks something.
    """
    lacking = f"not complete: {error.message.rstrip('.')}"
    doubts = tuple(dict.fromkeys((lacking, *proposal.doubts)))
    fix = f"{error.fix or ''} 'gwnet logger try FILE --save LAYOUT.toml' writes what could be inferred.".strip()
    text = Proposal(proposal.layout, proposal.reasons, doubts).toml()
    return PartialLayoutError(error.message, where=error.where, fix=fix, text=text)


@dataclass
class _Times:
    places: tuple[int, ...]
    form: Form
    clock: Form | None = None
    start: Form | None = None


def propose_layout(
    path: str | Path,
    *,
    zone: str = "",
    only: str = "",
    quantity: str = "",
    pressure: str = "",
    length_unit: str = "",
) -> Proposal:
    """Propose a layout for a file.

    Parameters
    ----------
    path : str or pathlib.Path
        The file.
    zone : str, optional
        Zone to take where the file does not say one; there is no doubt about the zone then.
    only : str, optional
        Which well or instrument of a file of several; there is no doubt about it then.
    quantity : str, optional
        The quantity that is wanted; there is no doubt about what its column is then.
    pressure : str, optional
        What a pressure is that the heading leaves open, by the kind of the instrument.
    length_unit : str, optional
        Unit of a length that the heading leaves open, by the instrument.

    Returns
    -------
    Proposal
        Layout, reasons and doubts.

    Raises
    ------
    gwnet.errors.UnreadableFileError
        If the file cannot be read, is empty or no text, or holds no readings.
    gwnet.errors.LayoutError
        If no table of readings is found in it.
    """
    path = Path(path)
    notes = Notes()
    try:
        return _propose(path, notes, zone, only, quantity, (pressure, length_unit))
    # Of no text at all nothing can be inferred, so no half a layout is offered.
    except UnreadableFileError:
        raise
    except LayoutError as error:
        if isinstance(error, PartialLayoutError):
            raise
        raise incomplete(error, _partial(_blank(path), notes)) from None


def _propose(path: Path, notes: Notes, zone: str, only: str, quantity: str, of_instrument: tuple[str, str]) -> Proposal:
    """Propose a layout; see `propose_layout`."""
    if quantity and quantity not in QUANTITIES:
        message = f"{quantity!r} is no quantity."
        raise LayoutError(message, where=str(path), fix=f"Take one of: {', '.join(QUANTITIES)}.")
    shape = find_table(path, notes)
    if not shape.names:
        message = "The table has no headings, so its columns are not known."
        fix = "Write a layout with first_row, and the quantity, column and unit of each under [[columns]]."
        error = LayoutError(message, where=f"{path}, row {shape.first_line}", fix=fix)
        raise incomplete(error, _without_headings(shape, notes))
    # Before the columns are read: their headings may say the quantity and a line above the table the unit.
    fill_units(shape, notes)
    times = _times(shape, notes)
    comment = _comment(shape)
    # Events, notes and repeated headings between the rows would pass as words for no value.
    shape.rows = [row for row in shape.rows if len(row) > times.places[0] and _is_time(row[times.places[0]], times)]
    _fill_late_columns(shape, times)
    # The marks of all columns together: one column of whole numbers shows neither.
    decimal, thousands = decimal_of(_value_cells(shape, times.places), shape.delimiter, notes)
    guessed = find_values(shape, times.places, (decimal, thousands), notes, quantity, of_instrument)
    found_zone, pattern = _zone(shape, times, zone, notes)
    serial_pattern, serial_column = _serial(shape, notes)
    layout = replace(
        _blank(path),
        sheet=shape.sheet,
        encoding=shape.encoding,
        delimiter=shape.delimiter,
        decimal=decimal,
        thousands=thousands,
        comment=comment,
        heading_pattern=_heading_pattern(shape, times.places[0]),
        rows_between=shape.first_line - shape.heading_line - 1 - shape.units_below,
        units_below=shape.units_below,
        footer_pattern=_footer(shape, notes),
        time_column=reference(shape, times.places[0]) if times.clock is None else None,
        date_column=reference(shape, times.places[0]) if times.clock is not None else None,
        clock_column=reference(shape, times.places[1]) if times.clock is not None else None,
        formats=tuple(times.form.formats),
        clock_formats=tuple(times.clock.formats) if times.clock is not None else (),
        start_pattern=START_PATTERN if times.start is not None else "",
        start_formats=tuple(times.start.formats) if times.start is not None else Layout("").start_formats,
        zone=found_zone,
        zone_pattern=pattern,
        columns=guessed.rules,
        events=_events(shape, times, guessed),
        missing=guessed.missing,
        serial_pattern=serial_pattern,
        serial_column=serial_column,
        title_pattern=_title(shape, times, notes),
        select_column=None if guessed.select is None else reference(shape, guessed.select),
        select_value=only,
    )
    if guessed.select is not None and not only:
        notes.add(doubt="say with --only which of the wells or instruments to read")
    return Proposal(layout, tuple(dict.fromkeys(notes.reasons)), tuple(dict.fromkeys(notes.doubts)))


def _blank(path: Path) -> Layout:
    name = re.sub(r"\W+", "-", path.stem).strip("-").lower() or "layout"
    return Layout(name=name, about=f"Proposed from {_one_line(path.name)}")


def _partial(layout: Layout, notes: Notes) -> Proposal:
    return Proposal(layout, tuple(dict.fromkeys(notes.reasons)), tuple(dict.fromkeys(notes.doubts)))


def _without_headings(shape: Shape, notes: Notes) -> Proposal:
    """Return what can be said of a table without headings: how it is written, its times, and what its columns hold."""
    columns = list(zip_longest(*shape.rows, fillvalue=""))
    times = [n for n, cells in enumerate(columns) if _kind("time", [cell for cell in cells if cell]) == "stamp"]
    formats: tuple[str, ...] = ()
    if times:
        survey = StampSurvey()
        for cell in columns[times[0]]:
            survey.add(cell)
        formats = tuple(survey.infer_form(notes).formats)
    notes.add(doubt="the table has no headings: columns are named by their number")
    for place, cells in enumerate(columns):
        numbers = numbers_of(cells, ".") or numbers_of(cells, ",")
        if numbers and place not in times:
            notes.add(
                doubt=f"column {place + 1} holds {min(numbers):g} to {max(numbers):g}: "
                "give its quantity, column and unit under [[columns]]"
            )
    layout = replace(
        _blank(shape.head.path),
        sheet=shape.sheet,
        encoding=shape.encoding,
        delimiter=shape.delimiter,
        first_row=shape.first_line,
        time_column=times[0] + 1 if times else None,
        formats=formats or Layout("").formats,
    )
    return _partial(layout, notes)


def _fill_late_columns(shape: Shape, times: _Times) -> None:
    """Give columns that are empty in the first rows the first cells that they have further down."""
    empty = [n for n in range(len(shape.names)) if n not in times.places and not _column(shape, n, len(shape.rows))]
    late: dict[int, list[str]] = {place: [] for place in empty}
    # A head that is the whole file has nothing further down.
    if not empty or shape.head.whole:
        return
    for cells in _all_rows(shape):
        for place in [place for place in late if len(cells) > place and cells[place].strip()]:
            late[place].append(cells[place].strip())
        if all(len(found) >= _LATE for found in late.values()):
            break
    for place, found in late.items():
        # A battery may be logged once a day only; without a cell its column would be left out.
        for row, cell in zip(shape.rows, found[:_LATE], strict=False):
            row += [""] * (place + 1 - len(row))
            row[place] = cell


def _column(shape: Shape, place: int, rows: int = 400) -> list[str]:
    return [row[place] for row in shape.rows[:rows] if len(row) > place and row[place]]


def _times(shape: Shape, notes: Notes) -> _Times:
    """Find the columns of the time and how their cells are written."""
    kinds = {place: _kind(name, _column(shape, place)) for place, name in enumerate(shape.names)}
    places = [n for n, kind in kinds.items() if kind == "stamp"] or [n for n, kind in kinds.items() if kind == "count"]
    clocks = [n for n, kind in kinds.items() if kind == "clock"]
    if not places:
        elapsed = next((n for n, name in enumerate(shape.names) if counts_by_heading(name) == 1), None)
        if elapsed is not None:
            return _elapsed(shape, elapsed, notes)
        message = "No column of times was found in the table."
        where = f"{shape.head.path}, row {shape.first_line}"
        raise LayoutError(message, where=where, fix="Write a layout by hand and give it with --layout.")
    # Of a local time and UTC side by side, UTC has no hour twice and needs no zone.
    chosen = next(
        (n for n in places if re.search(r"(?<![A-Za-z])(UTC|GMT|utc)(?![A-Za-z])", shape.names[n])), places[0]
    )
    surveys = [StampSurvey(), StampSurvey()]
    pair = (chosen, clocks[0]) if clocks and not _has_clock(_column(shape, chosen)) else (chosen,)
    # All rows, not the head: whether day or month comes first may show in the last week of a file only.
    for cells in _all_rows(shape):
        for survey, place in zip(surveys, pair, strict=False):
            if len(cells) > place:
                survey.add(cells[place].strip())
    notes.add(f"the time is in column {' and '.join(repr(shape.names[n]) for n in pair)}")
    times = _Times(pair, surveys[0].infer_form(notes))
    if len(pair) == 2:
        times.clock = surveys[1].infer_form(notes)
    elif times.form.formats and not any(re.search("%[HI]|epoch", text) for text in times.form.formats):
        notes.add("days without a time of day count as their beginning, 0:00")
    others = [shape.names[n] for n in places if n != chosen]
    if others:
        notes.add(doubt=f"{', '.join(map(repr, others))} holds times as well and was passed over")
    return times


def _elapsed(shape: Shape, place: int, notes: Notes) -> _Times:
    """Return how times that elapse since a start are written."""
    name = shape.names[place]
    unit = next(
        (word for word in re.findall(r"[A-Za-z]+", f"{name} {shape.units[place]}") if word.lower() in _ELAPSED), ""
    )
    if any(":" in cell for cell in _column(shape, place)):
        form = "elapsed H:M:S"
    else:
        form = f"elapsed {_ELAPSED.get(unit.lower(), 's')}"
        if not unit:
            notes.add(doubt=f"the heading {name!r} does not say its unit of time; seconds were taken: check formats")
    notes.add(f"the time is in column {name!r}, counted from a start")
    return _Times((place,), Form([form]), start=find_start(shape, notes))


def _kind(name: str, cells: list[str]) -> str:
    """Return whether a column holds stamps, times of day or counts of time; empty for none of them."""
    if not cells:
        return ""
    # Eight digits alone may be a serial number as well as a date, so a heading of time must stand over them. Not all
    # cells need be stamps: rows of events and notes are still among them.
    if sum(map(looks_like_stamp, cells)) > 0.6 * len(cells) and (names_time(name) or not cells[0].isdigit()):
        return "stamp"
    if sum(map(looks_like_clock, cells)) > 0.6 * len(cells):
        return "clock"
    return "count" if names_time(name) and all(map(looks_like_count, cells)) else ""


def _is_time(cell: str, times: _Times) -> bool:
    elapsed = times.start is not None and looks_like_elapsed(cell)
    return elapsed or looks_like_stamp(cell) or looks_like_count(cell)


def _has_clock(cells: list[str]) -> bool:
    return any(":" in cell for cell in cells)


def _all_rows(shape: Shape) -> Iterator[list[str]]:
    """Yield the cells of all rows of the file."""
    encoding = "utf-8" if shape.encoding == "utf-16" else shape.encoding
    for block in blocks(shape.head, 1 << 22):
        if not block.text:
            continue
        lines = block.text.decode(encoding, "replace").split("\n")
        above = max(0, shape.first_line - block.first_line)
        for line in lines[above:]:
            # The reader of CSV only where a quote needs it: it is several times slower than a split.
            if '"' in line:
                try:
                    yield next(csv.reader([line], delimiter=shape.delimiter), [])
                except csv.Error:
                    continue
            elif line:
                yield line.split(shape.delimiter)


def _value_cells(shape: Shape, times: tuple[int, ...]) -> list[str]:
    return [
        cell
        for place in range(len(shape.names))
        if place not in times and not names_serial(shape.names[place])
        for cell in _column(shape, place, 2_000)
        if cell[:1].isdigit() or cell[:1] in "+-.,"
    ]


def _zone(shape: Shape, times: _Times, given: str, notes: Notes) -> tuple[str, str]:
    """Return zone and pattern of the zone."""
    if times.form.has_offset or (times.clock is not None and times.clock.has_offset):
        notes.add("each time says its own offset from UTC")
        return "", ""
    heading = [shape.names[place] for place in times.places]
    above = shape.above()
    # The nearest word holds: a preamble may give the offset of its own export besides.
    for lines in (heading, above[-1:], above):
        zones = list(dict.fromkeys(zone for line in lines for zone in re.findall(ZONE_PATTERN, line)))
        if zones:
            notes.add(f"the zone is the offset {zones[0]} that is above the table; it has no summer time")
            if len(zones) > 1:
                notes.add(doubt=f"several offsets are above the table: {', '.join(zones)}; the first was taken")
            return "", ZONE_PATTERN
    for line in [*heading, *above]:
        name = next((word for word in re.findall(r"\b[A-Z][a-z]+/[A-Z][A-Za-z_]+\b", line) if _is_zone(word)), "")
        if name:
            notes.add(f"the zone is {name}, which is above the table")
            return name, ""
    if given:
        notes.add(f"the zone {given} was given; the file does not say one")
        return given, ""
    return _zone_of_word([*heading, *above], notes), ""


def _zone_of_word(lines: list[str], notes: Notes) -> str:
    """Return the zone that an abbreviation above the table stands for, empty where there is none."""
    for line in lines:
        short = re.search(rf"\b({'|'.join(_STANDARD_ZONES)})\b", line)
        if short:
            zone = _STANDARD_ZONES[short[1]]
            notes.add(doubt=f"{short[1]!r} above the table was read as {zone}, without summer time")
            return zone
        if re.search(r"(?<![a-z])(?:UTC|GMT)(?![a-z]|\s*[+-])", line, re.IGNORECASE):
            notes.add("the times are UTC, as said above the table")
            return "UTC"
    notes.add(doubt=NO_ZONE)
    return ""


def _is_zone(name: str) -> bool:
    try:
        zone_of(name)
    except ClockError:
        return False
    return True


def _serial(shape: Shape, notes: Notes) -> tuple[str, Reference | None]:
    above = shape.above()
    serials = list(dict.fromkeys(serial for line in above for serial in re.findall(SERIAL_PATTERN, line)))
    if not serials:
        # The number may stand below its word. The first alone: each line is looked at twice so, with the one above and
        # below.
        serials = [serial for line in with_next(above) for serial in re.findall(SERIAL_PATTERN, line)][:1]
    if serials:
        notes.add(f"the serial number {serials[0]} is above the table")
        if len(serials) > 1:
            notes.add(
                doubt=f"several serial numbers are above the table: {', '.join(serials[:4])}; the first was taken"
            )
        return SERIAL_PATTERN, None
    for place, name in enumerate(shape.names):
        cells = _column(shape, place) if names_serial(name) else []
        if cells:
            notes.add(f"the serial number {cells[0]} is in column {name!r}")
            return "", reference(shape, place)
    return "", None


def _title(shape: Shape, times: _Times, notes: Notes) -> str:
    """Return the pattern of the file's own title."""
    for line in shape.above()[: max(shape.heading_line - 1, 0)]:
        match = re.search(TITLE_PATTERN, line)
        if match:
            notes.add(f"the title {match[1].strip()!r} is above the table")
            return TITLE_PATTERN
    # Some exports write the name of the well as heading of their running numbers.
    first = [int(cell) for cell in _column(shape, 0, 20) if cell.isdecimal()]
    numbered = len(first) > 2 and first == list(range(first[0], first[0] + len(first)))
    plain = re.fullmatch(r"#|no\.?|nr\.?|row|record|index|id|number|nummer|sample|n|", shape.names[0], re.IGNORECASE)
    if numbered and plain is None and 0 not in times.places and not names_time(shape.names[0]):
        notes.add(f"the title {shape.names[0]!r} is above the running numbers")
        return rf'^"?([^"{re.escape(shape.delimiter)}]+)"?{re.escape(shape.delimiter)}'
    return ""


def _heading_pattern(shape: Shape, place: int) -> str:
    """Return a pattern of the line of headings, by the heading of the time."""
    # Only the part that other files of the kind share: offsets and serial numbers in a heading change.
    name = re.split(r",?\s*(?:GMT|UTC)\s*[+-]|[(\[]|\d{4,}", shape.names[place])[0].strip(" ,")
    return re.escape(name or shape.names[place]).replace(r"\ ", r"\s+") or "."


def _events(shape: Shape, times: _Times, guessed: Guessed) -> tuple[Reference, ...]:
    taken = {*times.places, *guessed.places, *guessed.passed, *([guessed.select] if guessed.select is not None else [])}
    rules = []
    for place, name in enumerate(shape.names):
        if place in taken or names_serial(name) or (place == 0 and name in {"#", ""}):
            continue
        cells = [cell for cell in _column(shape, place, 5_000) if cell != "-"]
        named = read_heading(name, shape.units[place])
        # a quantity of which this file happens to have no value
        if not cells and (named.quantity or named.vague):
            continue
        # A number may be a reading of a quantity that is not known here, and is no event.
        if not any(looks_like_stamp(cell) or re.fullmatch(r"[+-]?[\d.,]+", cell) for cell in cells):
            rules.append(place)
    return tuple(reference(shape, place) for place in rules)


def _footer(shape: Shape, notes: Notes) -> str:
    last: list[str] = []
    encoding = "utf-8" if shape.encoding == "utf-16" else shape.encoding
    for block in blocks(shape.head, 1 << 22):
        # A footer of some lines may begin in the block before the last.
        last = [*last, *block.text[-16_384:].decode(encoding, "replace").split("\n")][-60:]
    footer = footer_of(last, shape.delimiter)
    if not footer:
        return ""
    notes.add(f"the table ends before the line {footer[:60]!r}")
    # Counts and dates of a footer change from file to file.
    start = re.split(r"\d", footer.strip())[0].strip()
    return f"^{re.escape(start or footer.strip())}".replace(r"\ ", " ")


def _comment(shape: Shape) -> str:
    marked = [row for row in shape.rows if row[0].startswith("#")]
    return "#" if marked and not any(looks_like_stamp(row[0].lstrip("# ")) for row in marked) else ""
