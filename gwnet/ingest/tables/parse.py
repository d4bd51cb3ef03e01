"""From text cells to typed columns; every cell that cannot be read becomes a rejection.

Nothing here knows the record: units and zones of sites come later. Numbers stay in the unit of their heading.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.ingest.tables.raw import RawTable
from gwnet.records import Rejection
from gwnet.store.columns import NUMBER_KINDS, Column, Table

# In ASCII: \d takes digits of every script otherwise, and float() reads them without a word.
NUMBER: Final = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
COMMA_NUMBER: Final = re.compile(r"[+-]?(?:\d+(?:,\d*)?|,\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
# 3,474 alone may be either number: a mark counts as one of thousands only beside a decimal mark, or where it can be
# nothing else.
_THOUSANDS = re.compile(
    r"[+-]?[0-9]{1,3}(?:(?:,[0-9]{3})+\.[0-9]*|(?:\.[0-9]{3})+,[0-9]*|(?:['\s\u00a0\u202f][0-9]{3})+(?:[.,][0-9]*)?)"
)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity|#n/?a|#n/v)", re.IGNORECASE)
_ISO_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})", re.ASCII)
_DOTTED_DATE = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", re.ASCII)
_SLASHED_DATE = re.compile(r"\d{1,4}[/\-]\d{1,2}[/\-]\d{2,4}", re.ASCII)
_TIME = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.(\d{1,6}))?)?", re.ASCII)
_OFFSET = re.compile(r"(?:Z|([+-])(\d{2}):?(\d{2})?)", re.IGNORECASE | re.ASCII)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")

LONGEST: Final[dict[str, int]] = {"code": 200, "text": 10_000, "list": 100_000, "limits": 100_000}
FIRST_DAY: Final = np.datetime64("1800-01-01", "D")
NO_DAY: Final = np.datetime64("NaT", "D")


@dataclass
class Parsed:
    """A table whose cells are typed.

    Attributes
    ----------
    raw : gwnet.ingest.tables.raw.RawTable
        The table as it is in the file.
    values : dict of str to array or list
        By column: object arrays of text (None for empty), float arrays (NaN), ``datetime64[D]`` (NaT), minutes of the
        day as float (NaN), `Moments` or `Starts`.
    good : numpy.ndarray of bool
        Rows without any problem so far.
    rejections : list of gwnet.records.Rejection
        Problems.
    kept_units : dict of str to array of str
        Unit of each row's value, for columns of lengths whose rows name their own, and for those that the file lacks
        and whose values are those on record.
    kept_cells : dict of str to list of str
        Text of each reading that is kept likewise, as it was written when it was read.
    accept : frozenset of str
        Problems that do not stop a row from being recorded.
    accepted : dict of int to list of str
        Problems that were accepted, by row.
    """

    raw: RawTable
    values: dict[str, Any] = field(default_factory=dict)
    good: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, dtype=bool))
    rejections: list[Rejection] = field(default_factory=list)
    kept_units: dict[str, NDArray[np.object_]] = field(default_factory=dict)
    kept_cells: dict[str, list[str]] = field(default_factory=dict)
    accept: frozenset[str] = frozenset()
    accepted: dict[int, list[str]] = field(default_factory=dict)

    @property
    def table(self) -> Table:
        """Return which table it is."""
        return self.raw.table

    @property
    def count(self) -> int:
        """Return the number of rows."""
        return len(self.raw.sheet.rows)

    def reject(
        self, row: int, column: str | None, problem: str, message: str, fix: str, *, value: str | None = None
    ) -> None:
        """Note a problem of a row, and that the row is not good unless the problem is accepted."""
        if problem in self.accept:
            noted = self.accepted.setdefault(row, [])
            noted += [] if problem in noted else [problem]
            return
        if value is None and column is not None and column in self.raw.places:
            value = (self.raw.written(column) or [])[row]
        heading = self.raw.heading(column) if column else None
        number = self.raw.sheet.numbers[row]
        self.rejections.append(
            Rejection(self.table.name, self.raw.sheet.file, number, heading, value, problem, message, fix)
        )
        self.good[row] = False


@dataclass(frozen=True)
class Moments:
    """Wall-clock times with the offset where the cell gave one.

    Attributes
    ----------
    local : numpy.ndarray of datetime64[us]
        Wall-clock time as written; NaT for empty.
    offset : numpy.ndarray of float
        Minutes from UTC as written; NaN where the site's zone holds.
    has_time : numpy.ndarray of bool
        Whether a time of day was given.
    """

    local: NDArray[np.datetime64]
    offset: NDArray[np.float64]
    has_time: NDArray[np.bool_]


@dataclass(frozen=True)
class Starts:
    """Times of day, or times since the start of a test, whichever a cell gives.

    Attributes
    ----------
    moments : Moments
        Where the cell has a date and time.
    elapsed : numpy.ndarray of float
        Where it has a number, in the unit of the heading; NaN elsewhere.
    """

    moments: Moments
    elapsed: NDArray[np.float64]


def parse(raw: RawTable, today: dt.date) -> Parsed:
    """Type the cells of a table.

    Parameters
    ----------
    raw : gwnet.ingest.tables.raw.RawTable
        Table of text.
    today : datetime.date
        Last day that is not in the future anywhere on earth.

    Returns
    -------
    Parsed
        Typed columns and the problems of those cells that could not be read.
    """
    parsed = Parsed(raw, good=np.ones(len(raw.sheet.rows), dtype=bool))
    parsed.kept_units |= {name: np.array(units, dtype=object) for name, units in raw.row_units.items()}
    _take_reader_rejections(parsed)
    # one mark for the whole file: 3,474 alone does not say whether it is three or three thousand
    comma = _decimal_comma(raw)
    if comma and raw.sheet.delimiter == ",":
        raw.warnings.append('numbers such as "3,474" were read with a decimal comma; write thousands without a mark')
    readers: dict[str, Callable[[Parsed, Column, list[str]], Any]] = {
        "text": _text_column,
        "code": _text_column,
        "choice": _choice_column,
        "flag": _choice_column,
        "list": _list_column,
        "limits": _list_column,
        "date": _date_column,
        "time": _time_column,
        "timestamp": _moment_column,
    }
    readers["start"] = lambda parsed, column, cells: _start_column(parsed, column, cells, comma=comma)
    # the caller's day: nothing here reads the clock
    last_day = np.datetime64(today, "D")
    for column in raw.table.columns:
        cells = raw.cells(column.name)
        if cells is None:
            cells = [""] * parsed.count
        elif column.required:
            _require(parsed, column, cells)
        if column.kind in NUMBER_KINDS:
            parsed.values[column.name] = _number_column(parsed, column, cells, comma=comma)
        else:
            parsed.values[column.name] = readers[column.kind](parsed, column, cells)
        if column.kind in {"date", "timestamp", "start"}:
            _check_days(parsed, column, last_day)
    return parsed


def _take_reader_rejections(parsed: Parsed) -> None:
    """Take over the problems met while reading the file, but those of cells in columns that are not known."""
    place_of = {number: row for row, number in enumerate(parsed.raw.sheet.numbers)}
    known = {parsed.raw.heading(name) for name in parsed.raw.places}
    for rejection in parsed.raw.sheet.rejections:
        # Nobody reads a column that is not ours, so its faults reject no row. What a mapping rejects, it reads.
        if rejection.column is not None and rejection.column not in known and not parsed.raw.sheet.origins:
            continue
        parsed.rejections.append(
            Rejection(
                parsed.table.name,
                rejection.file,
                rejection.row,
                rejection.column,
                rejection.value,
                rejection.problem,
                rejection.message,
                rejection.fix,
            )
        )
        if rejection.row in place_of:
            parsed.good[place_of[rejection.row]] = False


def _require(parsed: Parsed, column: Column, cells: list[str]) -> None:
    # A row of too few cells is one rejection, and not another for every cell that it lacks.
    reported = {(r.row, r.column) for r in parsed.raw.sheet.rejections}
    short = {r.row for r in parsed.raw.sheet.rejections if r.problem == "row-too-short"}
    heading = parsed.raw.heading(column.name)
    for row, cell in enumerate(cells):
        number = parsed.raw.sheet.numbers[row]
        if not cell.strip() and number not in short and (number, heading) not in reported:
            parsed.reject(row, column.name, "required", "The cell is empty; it is required.", "Fill it in.", value="")


def _decimal_comma(raw: RawTable) -> bool:
    """Return whether the file's numbers are written with a decimal comma.

    They are when some numeric cell has a comma and no dot, and none (of those with a mark) has a dot alone; when both
    occur, the mark of the majority counts and the others are rejected one by one.
    """
    commas = dots = 0
    for column in raw.table.columns:
        if column.kind in NUMBER_KINDS:
            for cell in raw.cells(column.name) or ():
                has_comma, has_dot = "," in cell, "." in cell
                # a cell with both has a mark of thousands, and says nothing
                commas += has_comma and not has_dot
                dots += has_dot and not has_comma
    return commas > dots


def _number_column(parsed: Parsed, column: Column, cells: list[str], *, comma: bool) -> NDArray[np.float64]:
    pattern = COMMA_NUMBER if comma else NUMBER
    values = np.full(len(cells), np.nan)
    for row, cell in enumerate(cells):
        if not cell:
            continue
        plain = cell.strip()
        if pattern.fullmatch(plain):
            # plain marks only: float() alone would take "1_000" and "nan"
            values[row] = float(plain.replace(",", ".") if comma else plain)
        elif plain:
            _refuse_number(parsed, column, row, plain, comma=comma)
    _check_range(parsed, column, values)
    return values


def _refuse_number(parsed: Parsed, column: Column, row: int, plain: str, *, comma: bool) -> None:
    mark = "comma" if comma else "point"
    if _NOT_FINITE.fullmatch(plain):
        parsed.reject(
            row, column.name, "not-finite", f"{plain!r} is not a number.", "Leave the cell empty if not known."
        )
    elif (NUMBER if comma else COMMA_NUMBER).fullmatch(plain):
        message = f"{plain!r} is not written with a decimal {mark} like the rest of the file."
        parsed.reject(row, column.name, "other-decimal-mark", message, f"Write it with a decimal {mark}.")
    elif _THOUSANDS.fullmatch(plain):
        message = f"{plain!r} seems to hold a thousands mark."
        parsed.reject(row, column.name, "thousands-mark", message, "Write the number without it.")
    elif has_other_digits(plain):
        message = f"{plain!r} is written in digits of another script."
        parsed.reject(row, column.name, "other-digits", message, "Write it with the digits 0 to 9.")
    else:
        hint = "Put remarks in the notes and units in the heading." if column.kind == "length" else "Write a number."
        parsed.reject(row, column.name, "not-a-number", f"{plain!r} is not a number.", hint)


def has_other_digits(text: str) -> bool:
    """Return whether a text holds digits other than 0 to 9, such as Arabic-Indic or full-width ones.

    Parameters
    ----------
    text : str
        Text of a cell.

    Returns
    -------
    bool
        Whether it does.
    """
    return not text.isascii() and any(sign.isdecimal() and not sign.isascii() for sign in text)


def _check_range(parsed: Parsed, column: Column, values: NDArray[np.float64]) -> None:
    lowest, highest = column.limits
    checks = (
        (~np.isfinite(values) & ~np.isnan(values), "not-finite", "is too large to be a number", "Check the exponent."),
        (column.positive & (values <= 0), "not-positive", "must be larger than zero", "Check the cell."),
        (
            # Lengths are compared in metres, once the unit of each row is known.
            ((values < lowest) | (values > highest)) & np.isfinite(values) & (column.kind != "length"),
            "out-of-range",
            f"lies outside {lowest:g} to {highest:g}",
            "Check the number and the unit in the heading.",
        ),
        (
            np.full(values.shape, column.kind == "whole") & (values != np.round(values)) & ~np.isnan(values),
            "not-whole",
            "must be a whole number",
            "Check the cell.",
        ),
    )
    for wrong, problem, words, fix in checks:
        for row in np.flatnonzero(wrong):
            parsed.reject(int(row), column.name, problem, f"{values[row]:g} {words}.", fix)


def _text_column(parsed: Parsed, column: Column, cells: list[str]) -> NDArray[np.object_]:
    values = np.array([cell.strip() or None for cell in cells], dtype=object)
    limit = LONGEST[column.kind]
    for row, value in enumerate(values):
        if value is None:
            continue
        if len(value) > limit:
            parsed.reject(
                row,
                column.name,
                "too-long",
                f"The text has {len(value):,} characters; at most {limit:,}.",
                "Shorten it.",
            )
        # The first question is quick, and false for line breaks, too, which notes may hold.
        elif not value.isprintable() and _CONTROL.search(value):
            message = "The text holds a character that cannot be printed."
            parsed.reject(row, column.name, "control-character", message, "Delete it.", value=repr(value[:50]))
    return values


def _choice_column(parsed: Parsed, column: Column, cells: list[str]) -> NDArray[np.object_]:
    known = {choice: choice for choice in column.choices}
    values = np.full(len(cells), None, dtype=object)
    for row, cell in enumerate(cells):
        word = cell.strip()
        if not word:
            continue
        # the usual cell needs no cleaning; others may have capitals and low lines
        chosen = known.get(word) or known.get(" ".join(word.lower().replace("_", " ").split()))
        if chosen is None:
            near = get_close_matches(word.lower(), column.choices, n=1)
            hint = f"Did you mean {near[0]!r}?" if near else f"Write one of: {', '.join(column.choices)}."
            parsed.reject(row, column.name, "not-a-choice", f"{word!r} is not one of the words of this column.", hint)
        values[row] = chosen
    return values


def _list_column(parsed: Parsed, column: Column, cells: list[str]) -> NDArray[np.object_]:
    texts = _text_column(parsed, column, cells)
    values = np.empty(len(cells), dtype=object)
    for row, text in enumerate(texts):
        values[row] = [part.strip() for part in (text or "").split(";") if part.strip()]
    return values


def _date_of(plain: str) -> tuple[np.datetime64, str]:
    """Return the day that a text is, or the code of its problem."""
    parts, order = _ISO_DATE.fullmatch(plain), (1, 2, 3)
    if parts is None:
        parts, order = _DOTTED_DATE.fullmatch(plain), (3, 2, 1)
    if parts is None:
        return NO_DAY, "date-order-unclear" if _SLASHED_DATE.fullmatch(plain) else "not-a-date"
    # the mark between them says which is the day and which the month, never their size
    year, month, day = (int(parts[place]) for place in order)
    try:
        return np.datetime64(dt.date(year, month, day), "D"), ""
    except ValueError:
        return NO_DAY, "date-impossible"


_DATE_FAULTS: Final[dict[str, tuple[str, str]]] = {
    "date-order-unclear": ("does not say which is the day and which the month", "Write YYYY-MM-DD."),
    "not-a-date": ("is not a date", "Write YYYY-MM-DD."),
    "date-impossible": ("is not a day of the calendar", "Check day and month."),
}


def _date_column(parsed: Parsed, column: Column, cells: list[str]) -> NDArray[np.datetime64]:
    values = np.full(len(cells), NO_DAY, dtype="datetime64[D]")
    seen: dict[str, tuple[np.datetime64, str]] = {}
    for row, cell in enumerate(cells):
        plain = cell.strip()
        if not plain:
            continue
        if plain not in seen:
            # spreadsheets write midnight behind a date
            bare = plain[:-9] if re.fullmatch(r".*[T ]00:00:00", plain) else plain
            # a table of years has few dates, each read once
            seen[plain] = _date_of(bare)
        values[row], problem = seen[plain]
        if problem:
            words, fix = _DATE_FAULTS[problem]
            parsed.reject(row, column.name, problem, f"{plain!r} {words}.", fix)
    return values


def _minutes_of(plain: str) -> float | None:
    """Return the minutes since midnight that a text is, or None."""
    parts = _TIME.fullmatch(plain)
    if parts is None:
        return None
    hour, minute, second = int(parts[1]), int(parts[2]), int(parts[3] or 0)
    if hour > 23 or minute > 59 or second > 59:
        return None
    fraction = float(f"0.{parts[4]}") if parts[4] else 0.0
    return hour * 60 + minute + (second + fraction) / 60


def _time_column(parsed: Parsed, column: Column, cells: list[str]) -> NDArray[np.float64]:
    values = np.full(len(cells), np.nan)
    seen: dict[str, float | None] = {}
    for row, cell in enumerate(cells):
        plain = cell.strip()
        if not plain:
            continue
        if plain not in seen:
            seen[plain] = _minutes_of(plain)
        minutes = seen[plain]
        if minutes is None:
            parsed.reject(
                row, column.name, "not-a-time", f"{plain!r} is not a time of day.", "Write HH:MM, 00:00 to 23:59."
            )
        else:
            values[row] = minutes
    return values


def _moment_column(parsed: Parsed, column: Column, cells: list[str]) -> Moments:
    local = np.full(len(cells), np.datetime64("NaT"), dtype="datetime64[us]")
    offset = np.full(len(cells), np.nan)
    has_time = np.zeros(len(cells), dtype=bool)
    for row, cell in enumerate(cells):
        plain = cell.strip()
        if not plain:
            continue
        # both ways of ISO 8601 and spreadsheets to write a moment
        day_text, _, rest = plain.replace("T", " ", 1).partition(" ")
        day, problem = _date_of(day_text)
        if problem:
            words, fix = _DATE_FAULTS[problem]
            parsed.reject(row, column.name, problem, f"{plain!r} {words}.", fix)
            continue
        minutes, shift = _clock_and_offset(rest.strip())
        if minutes is None:
            message = f"{plain!r} is not a date and time."
            parsed.reject(
                row, column.name, "not-a-time", message, "Write YYYY-MM-DDTHH:MM, with Z or an offset if need be."
            )
            continue
        # rounded, since minutes with a fraction are no whole microseconds
        local[row] = day.astype("datetime64[us]") + np.timedelta64(round(minutes * 60e6), "us")
        offset[row] = shift
        has_time[row] = bool(rest.strip())
    if parsed.raw.units.get(column.name) == "UTC":  # the heading says so, as those of exports do
        offset = np.where(np.isnan(offset), 0.0, offset)
        has_time[:] = True
    return Moments(local, offset, has_time)


def _start_column(parsed: Parsed, column: Column, cells: list[str], *, comma: bool) -> Starts:
    """Return dates with times, and numbers as elapsed times."""
    pattern = COMMA_NUMBER if comma else NUMBER
    is_number = [pattern.fullmatch(cell.strip()) is not None for cell in cells]
    elapsed = np.full(len(cells), np.nan)
    for row in np.flatnonzero(is_number).tolist():
        plain = cells[row].strip()
        elapsed[row] = float(plain.replace(",", ".") if comma else plain)
    _check_range(parsed, column, elapsed)
    others = ["" if number else cell for number, cell in zip(is_number, cells, strict=True)]
    return Starts(_moment_column(parsed, column, others), elapsed)


def _clock_and_offset(text: str) -> tuple[float | None, float]:
    """Return minutes since midnight and offset in minutes (NaN for none) of the text after a date."""
    if not text:
        return 0.0, np.nan
    parts = re.fullmatch(rf"({_TIME.pattern})\s*({_OFFSET.pattern})?", text, re.IGNORECASE | re.ASCII)
    if parts is None:
        return None, np.nan
    minutes = _minutes_of(parts[1])
    if parts[6] is None:
        return minutes, np.nan
    hours = int(parts[8] or 0) * 60 + int(parts[9] or 0)
    return minutes, float(-hours if parts[7] == "-" else hours)


def _check_days(parsed: Parsed, column: Column, last_day: np.datetime64) -> None:
    values = parsed.values[column.name]
    if isinstance(values, Starts):
        values = values.moments
    days = (values.local if isinstance(values, Moments) else values).astype("datetime64[D]")
    for row in np.flatnonzero(days < FIRST_DAY):
        parsed.reject(int(row), column.name, "before-1800", f"{days[row]} lies before 1800.", "Check the year.")
    if column.past:
        for row in np.flatnonzero(days > last_day):
            message = f"{days[row]} lies in the future."
            parsed.reject(int(row), column.name, "in-the-future", message, "Check the date.")
