"""Dates and times of logger files: formats in the usual ``%`` letters, read one by one or a whole column at once.

A format may hold optional parts in square brackets: ``%d.%m.%Y[ %H:%M[:%S]]``. Times are milliseconds since
1970-01-01 on the clock of the stamp; an offset that stands in the stamp is given beside them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import LayoutError

#: Pattern of each letter; with two digits of minutes and seconds a stamp that was cut is noticed.
_FIELDS: Final[dict[str, str]] = {
    "Y": r"[0-9]{4}",
    "y": r"[0-9]{2}",
    "m": r"[0-9]{1,2}",
    "d": r"[0-9]{1,2}",
    "j": r"[0-9]{3}",
    "b": r"[^\W\d_]{3,10}\.?",
    "H": r"[0-9]{1,2}",
    "I": r"[0-9]{1,2}",
    "M": r"[0-9]{2}",
    "S": r"[0-9]{2}",
    "f": r"[0-9]{1,9}",
    "p": r"[AaPp]\.?[Mm]\.?",
    "z": r"Z|[+-][0-9]{2}:?[0-9]{2}|[+-][0-9]{2}",
}

#: Formats that stand for several, or for a count of time.
ISO: Final = ("%Y-%m-%d[T%H:%M[:%S[.%f]]][%z]", "%Y-%m-%d[ %H:%M[:%S[.%f]]][ %z]", "%Y-%m-%d %H:%M[:%S[.%f]]%z")
_COUNTS: Final[dict[str, float]] = {"epoch s": 1000.0, "epoch ms": 1.0, "epoch d": 86_400_000.0}
#: Formats that count from a start which the layout or the file says.
ELAPSED: Final[dict[str, float]] = {
    "elapsed ms": 1.0,
    "elapsed s": 1000.0,
    "elapsed min": 60_000.0,
    "elapsed h": 3_600_000.0,
    "elapsed d": 86_400_000.0,
    "elapsed H:M:S": 1000.0,
}

_DAY_MS: Final = 86_400_000
_FIRST_YEAR: Final = 1900
_LAST_YEAR: Final = 2150
_MONTH_STARTS: Final = (
    np.arange(f"{_FIRST_YEAR}-01", f"{_LAST_YEAR + 1}-02", dtype="datetime64[M]")
    .astype("datetime64[D]")
    .astype(np.int64)
)

_MONTHS: Final[dict[str, int]] = {
    **{name: n for n, name in enumerate(("jan", "feb", "mar", "apr", "may", "jun"), 1)},
    **{name: n for n, name in enumerate(("jul", "aug", "sep", "oct", "nov", "dec"), 7)},
    "mär": 3,
    "mrz": 3,
    "mai": 5,
    "okt": 10,
    "dez": 12,
}

Whole = NDArray[np.int64]


class StampError(ValueError):
    """A text is not a time of the format."""


@dataclass(frozen=True)
class StampFormat:
    """A format made ready.

    Attributes
    ----------
    text : str
        The format as written.
    pattern : re.Pattern
        What its stamps look like; empty match for counts of time.
    letters : tuple of str
        Letter of each group of the pattern.
    unit_ms : float
        Milliseconds in one unit of a count of time; 0 for formats with letters.
    start_ms : int
        What a count of time counts from [ms since 1970-01-01 UTC].
    """

    text: str
    pattern: re.Pattern[str]
    letters: tuple[str, ...]
    unit_ms: float = 0.0
    start_ms: int = 0

    @property
    def is_elapsed(self) -> bool:
        """Return whether the format counts from a start of its own."""
        return self.text in ELAPSED

    @property
    def has_date(self) -> bool:
        """Return whether the format names a day."""
        return bool(self.unit_ms) or bool({"Y", "y"} & set(self.letters))


def compile_formats(formats: Sequence[str], where: str | None = None) -> tuple[StampFormat, ...]:
    """Make formats ready for reading.

    Parameters
    ----------
    formats : sequence of str
        Formats in ``%`` letters; ``iso`` for ISO 8601; ``epoch s``, ``epoch ms`` or ``epoch d`` for a count from
        1970-01-01 UTC; ``elapsed s`` and the others of `ELAPSED` for a count from a start.
    where : str, optional
        Layout that they come from, for errors.

    Returns
    -------
    tuple of StampFormat
        In the order in which they are tried.

    Raises
    ------
    LayoutError
        If a format has an unknown letter or unclosed brackets.

    Examples
    --------
    >>> read_stamp("04/24/19 04:00:00 PM", compile_formats(["%m/%d/%y %I:%M:%S %p"]))[0]
    1556121600000
    """
    forms: list[StampFormat] = []
    for text in formats:
        # ISO 8601 allows several ways of writing, each with a pattern of its own
        for form in ISO if text == "iso" else (text,):
            try:
                forms.append(_compiled(form))
            except StampError as error:
                fix = (
                    "Letters: %Y %y %m %d %j %b %H %I %M %S %f %p %z, optional parts in [brackets]; "
                    "or iso, epoch s, elapsed s."
                )
                message = f"The time format {text!r} {error}."
                raise LayoutError(message, where=where, fix=fix) from None
    return tuple(forms)


@lru_cache(maxsize=256)
def _compiled(text: str) -> StampFormat:
    # a count of time has no letters and no zone: it counts from 1970 in UTC
    if text in _COUNTS:
        return StampFormat(text, re.compile(r"([+-]?\d+(?:\.\d+)?)", re.ASCII), ("count",), _COUNTS[text])
    if text == "elapsed H:M:S":
        return StampFormat(text, re.compile(r"(\d+):(\d\d):(\d\d(?:[.,]\d+)?)", re.ASCII), ("count",), ELAPSED[text])
    if text in ELAPSED:
        return StampFormat(text, re.compile(r"(\d+(?:[.,]\d+)?)", re.ASCII), ("count",), ELAPSED[text])
    letters: list[str] = []
    parts: list[str] = []
    place = 0
    while place < len(text):
        sign = text[place]
        if sign == "%":
            place += 1
            letter = text[place : place + 1]
            if letter not in _FIELDS:
                message = f"has the unknown letter %{letter}"
                raise StampError(message)
            letters.append(letter)
            parts.append(f"({_FIELDS[letter]})")
        elif sign in "[]":
            parts.append("(?:" if sign == "[" else ")?")
        else:
            # some loggers pad the hour with a second blank
            parts.append(r"\s+" if sign == " " else re.escape(sign))
        place += 1
    try:
        pattern = re.compile("".join(parts))
    except re.error:
        raise StampError("has a bracket without its partner") from None
    _refuse_incomplete(letters)
    return StampFormat(text, pattern, tuple(letters))


def _refuse_incomplete(letters: list[str]) -> None:
    have = set(letters)
    dated = bool(have & {"Y", "y"})
    if dated and not ("j" in have or ("d" in have and have & {"m", "b"})):
        raise StampError("names a year and no day")
    if not dated and not have & {"H", "I"}:
        raise StampError("names neither a day nor an hour")
    # twelve hours without their half of the day would read the afternoon as the morning
    if ("I" in have) != ("p" in have):
        raise StampError("needs %I and %p together")


def read_stamp(text: str, formats: Sequence[StampFormat]) -> tuple[int, int | None]:
    """Read one stamp.

    Parameters
    ----------
    text : str
        The cell.
    formats : sequence of StampFormat
        Formats, tried in order.

    Returns
    -------
    tuple of int and (int or None)
        Milliseconds since 1970-01-01 on the stamp's own clock (within the day, where the format has no date), and the
        offset in the stamp in minutes, None without one.

    Raises
    ------
    StampError
        If it fits none of the formats, or is no time that can be.
    """
    plain = text.strip()
    fault: StampError | None = None
    for form in formats:
        match = form.pattern.fullmatch(plain)
        if match is not None:
            try:
                return _value(match, form)
            except StampError as error:
                # the first format that fits says best what is wrong, but a later one may still read it
                fault = fault or error
    if fault is not None:
        raise fault
    expected = " or ".join(dict.fromkeys("in ISO 8601" if form.text in ISO else form.text for form in formats))
    message = f"{plain!r} is not a time written {expected}"
    raise StampError(message)


def _value(match: re.Match[str], form: StampFormat) -> tuple[int, int | None]:
    if form.unit_ms:
        count = form.start_ms + _counted(match) * form.unit_ms
        # a column that is no count at all is mostly out of these years
        if not 0 <= count < 5.7e12:
            message = f"{match[0]!r} counts to a day outside {_FIRST_YEAR} to {_LAST_YEAR}"
            raise StampError(message)
        return round(count), 0
    groups = {letter: text for letter, text in zip(form.letters, match.groups(), strict=True) if text is not None}
    offset = _offset(groups["z"]) if "z" in groups else None
    day = _day(groups, match[0]) if {"Y", "y"} & set(groups) else 0
    return day * _DAY_MS + _clock(groups, match[0]), offset


def _counted(match: re.Match[str]) -> float:
    """Return a count of time; hours, minutes and seconds as seconds."""
    count = 0.0
    for part in match.groups():
        count = 60 * count + float(part.replace(",", "."))
    return count


def _offset(text: str) -> int:
    if text == "Z":
        return 0
    digits = text[1:].replace(":", "")
    minutes = int(digits[:2]) * 60 + int(digits[2:] or 0)
    # no zone is farther from UTC
    if minutes > 14 * 60:
        message = f"{text!r} is no offset from UTC"
        raise StampError(message)
    return -minutes if text[0] == "-" else minutes


def _year(two: int) -> int:
    """Return the year of two digits: 69 to 99 are 19.., the others 20.. (as in POSIX)."""
    return two + (1900 if two >= 69 else 2000)


def _day(groups: dict[str, str], text: str) -> int:
    year = int(groups["Y"]) if "Y" in groups else _year(int(groups["y"]))
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        message = f"{text!r} lies outside the years {_FIRST_YEAR} to {_LAST_YEAR}"
        raise StampError(message)
    start = 12 * (year - _FIRST_YEAR)
    if "j" in groups:
        day = int(groups["j"])
        # 366 in leap years alone
        length = int(_MONTH_STARTS[start + 12] - _MONTH_STARTS[start])
    else:
        month = int(groups["m"]) if "m" in groups else _MONTHS.get(groups["b"][:3].lower(), 0)
        if not 1 <= month <= 12:
            message = f"{text!r} has no month that can be"
            raise StampError(message)
        start += month - 1
        day = int(groups["d"])
        length = int(_MONTH_STARTS[start + 1] - _MONTH_STARTS[start])
    if not 1 <= day <= length:
        message = f"there is no such day as in {text!r}"
        raise StampError(message)
    return int(_MONTH_STARTS[start]) + day - 1


def _clock(groups: dict[str, str], text: str) -> int:
    hour = int(groups.get("H", 0))
    if "I" in groups:
        hour = int(groups["I"])
        if not 1 <= hour <= 12:
            message = f"{text!r} has no hour of a 12-hour clock"
            raise StampError(message)
        # 12 AM is midnight, 12 PM is noon
        hour = hour % 12 + (12 if groups["p"][0] in "Pp" else 0)
    minute, second = int(groups.get("M", 0)), int(groups.get("S", 0))
    milli = int((groups.get("f", "") + "000")[:3])
    # 24:00:00 is the end of the day in ISO 8601; nothing later is
    if minute > 59 or second > 59 or hour > 24 or (hour == 24 and (minute or second or milli)):
        message = f"there is no such time of day as in {text!r}"
        raise StampError(message)
    return ((hour * 60 + minute) * 60 + second) * 1000 + milli


@dataclass(frozen=True)
class Stamps:
    """A column of times.

    Attributes
    ----------
    time_ms : numpy.ndarray of int64
        Milliseconds since 1970-01-01 on the clock of the stamps.
    offset_minutes : numpy.ndarray of int64 or None
        Offsets that stood in the stamps [min].
    """

    time_ms: Whole
    offset_minutes: Whole | None


def read_column(cells: Any, formats: Sequence[StampFormat]) -> Stamps | None:
    """Read a column of stamps that are all written alike, without looking at them one by one.

    Parameters
    ----------
    cells : pyarrow.BinaryArray
        Cells as bytes.
    formats : sequence of StampFormat
        Formats, tried in order on the whole column.

    Returns
    -------
    Stamps or None
        The times; None where the cells are not all of one form or one of them is no time: they must then be read
        one by one.
    """
    count = len(cells)
    # a cell that is missing must be named with its row
    if cells.null_count or not count:
        return None
    # the buffers themselves, so that no cell becomes an object
    ends = np.frombuffer(cells.buffers()[1], dtype=np.int32, count=count + 1, offset=4 * cells.offset)
    width = int(ends[1] - ends[0])
    # stamps of unequal width have no columns of signs
    if width == 0 or width > 64 or int(ends[-1]) - int(ends[0]) != width * count or np.any(np.diff(ends) != width):
        return _read_distinct(cells, formats)
    signs = np.frombuffer(cells.buffers()[2], dtype=np.uint8, count=width * count, offset=int(ends[0]))
    try:
        first = signs[:width].tobytes().decode("ascii")
    except UnicodeDecodeError:
        return None
    # one array for each place of a sign, so that digits are read down the column
    columns = np.ascontiguousarray(signs.reshape(count, width).T)
    for form in formats:
        match = form.pattern.fullmatch(first)
        # names of months are words, not digits
        if match is not None and not form.unit_ms and "b" not in form.letters:
            made = _FixedWidth(columns, match, form).read()
            if made is not None:
                return made
    return _read_distinct(cells, formats)


def _read_distinct(cells: Any, formats: Sequence[StampFormat]) -> Stamps | None:
    """Read a column of stamps by its distinct days and distinct times of day, or else its distinct cells."""
    split = _split_formats(tuple(formats))
    if split is not None:
        stamps = _read_split(cells, *split)
        if stamps is not None:
            return stamps
    return _read_dictionary(cells, formats)


def _split_formats(
    formats: tuple[StampFormat, ...],
) -> tuple[tuple[StampFormat, ...], tuple[StampFormat, ...]] | None:
    """Return the formats of the day and of the clock, where the one format has them with a blank between."""
    # optional parts may stand across the blank
    if len(formats) != 1 or "[" in formats[0].text:
        return None
    day, _, clock = formats[0].text.partition(" ")
    try:
        parts = _compiled(day), _compiled(clock)
    except StampError:
        return None
    if not parts[0].has_date or parts[1].has_date:
        return None
    return (parts[0],), (parts[1],)


def _read_split(cells: Any, days: Sequence[StampFormat], clocks: Sequence[StampFormat]) -> Stamps | None:
    import pyarrow as pa
    import pyarrow.compute as pc

    # a long file has few days and few times of day: each is read once
    parts = pc.split_pattern(cells, b" ", max_splits=1)
    parts = parts.combine_chunks() if isinstance(parts, pa.ChunkedArray) else parts
    flat = parts.flatten()
    if len(flat) != 2 * len(cells):
        return None
    every = np.arange(0, len(flat), 2)
    day = _read_dictionary(flat.take(pa.array(every)), days)
    clock = _read_dictionary(flat.take(pa.array(every + 1)), clocks) if day is not None else None
    if day is None or clock is None:
        return None
    return Stamps(day.time_ms + clock.time_ms, clock.offset_minutes)


def _read_dictionary(cells: Any, formats: Sequence[StampFormat]) -> Stamps | None:
    coded = cells.dictionary_encode()
    times = np.empty(len(coded.dictionary), dtype=np.int64)
    offsets = np.zeros(len(coded.dictionary), dtype=np.int64)
    with_offset = 0
    for place, cell in enumerate(coded.dictionary.to_pylist()):
        try:
            times[place], offset = read_stamp(cell.decode("utf-8", "replace"), formats)
        except StampError:
            return None
        if offset is not None:
            with_offset += 1
            offsets[place] = offset
    # some with and some without an offset is for a look at each row
    if with_offset not in {0, len(times)}:
        return None
    codes = coded.indices.to_numpy(zero_copy_only=False)
    return Stamps(times[codes], offsets[codes] if with_offset else None)


class _FixedWidth:
    """Stamps that are all as wide as the first; ``signs`` has one row for each place of a sign."""

    def __init__(self, signs: NDArray[np.uint8], first: re.Match[str], form: StampFormat) -> None:
        self.signs = signs
        self.spans = {
            letter: first.span(n + 1) for n, letter in enumerate(form.letters) if first.span(n + 1) != (-1, -1)
        }
        self._wrong = False
        covered = {place for start, end in self.spans.values() for place in range(start, end)}
        # signs between the numbers must be those of the first stamp all through
        for place in set(range(signs.shape[0])) - covered:
            self._hold((signs[place] == signs[place, 0]).all())

    def _hold(self, condition: Any) -> None:
        """Note whether what must be so of all stamps is not."""
        self._wrong = self._wrong or not condition

    def _is_wrong(self) -> bool:
        return self._wrong

    def read(self) -> Stamps | None:
        """Return the times, None where one of the stamps is none."""
        if self._is_wrong():
            return None
        clock = self._clock()
        days = self._days() if {"Y", "y"} & set(self.spans) else 0
        offset = self._offsets() if "z" in self.spans else None
        if self._is_wrong():
            return None
        return Stamps(np.asarray(clock + days * np.int64(_DAY_MS), dtype=np.int64), offset)

    def _number(self, letter: str, highest: int, lowest: int = 0) -> Any:
        span = self.spans.get(letter)
        return np.int32(0) if span is None else self._digits(*span, highest, lowest)

    def _digits(self, start: int, end: int, highest: int, lowest: int = 0) -> Any:
        value: Any = np.int32(0)
        for place in range(start, end):
            # unsigned: a sign below "0" wraps round to a large number and is refused
            digit = self.signs[place] - np.uint8(48)
            self._hold(digit.max() <= 9)
            value = value * np.int32(10) + digit
        self._hold(value.max() <= highest and value.min() >= lowest)
        return value

    def _days(self) -> Whole:
        if "Y" in self.spans:
            year = self._number("Y", _LAST_YEAR, _FIRST_YEAR)
        else:
            # the same turn of the century as in `_year`
            two = self._number("y", 99)
            year = two + np.where(two >= 69, 1900, 2000)
        if self._is_wrong():
            return np.zeros(1, dtype=np.int64)
        start = (year - _FIRST_YEAR) * 12
        if "j" in self.spans:
            day, following = self._number("j", 366, 1), start + 12
        else:
            start = start + self._number("m", 12, 1) - 1
            day, following = self._number("d", 31, 1), start + 1
        if self._is_wrong():
            return np.zeros(1, dtype=np.int64)
        first = _MONTH_STARTS[start]
        # refuses 31 April and 29 February outside leap years
        self._hold((first + day <= _MONTH_STARTS[following]).all())
        return np.asarray(first + day - 1, dtype=np.int64)

    def _clock(self) -> Any:
        hour = self._number("H", 24)
        if "I" in self.spans:
            hour = self._number("I", 12, 1) % 12 + 12 * self._afternoon()
        minute, second = self._number("M", 59), self._number("S", 59)
        start, end = self.spans.get("f", (0, 0))
        # milliseconds are kept, finer digits only checked
        kept = min(end, start + 3)
        milli = self._digits(start, kept, 999) * np.int32(10 ** (3 - (kept - start))) if end else np.int32(0)
        if end > kept:
            self._digits(kept, end, 999_999)
        time = ((hour * np.int32(60) + minute) * np.int32(60) + second) * np.int32(1000) + milli
        self._hold(np.max(time) <= _DAY_MS)
        return time

    def _afternoon(self) -> NDArray[np.int32]:
        start, end = self.spans["p"]
        self._hold(end - start == 2)
        # the bit by which small letters differ from capitals is cleared
        half, meridiem = self.signs[start] & 0xDF, self.signs[end - 1] & 0xDF
        self._hold(((half == ord("A")) | (half == ord("P"))).all() and (meridiem == ord("M")).all())
        return np.asarray(half == ord("P"), dtype=np.int32)

    def _offsets(self) -> Whole:
        start, end = self.spans["z"]
        count = self.signs.shape[1]
        if end - start == 1:
            self._hold((self.signs[start] == ord("Z")).all())
            return np.zeros(count, dtype=np.int64)
        sign = self.signs[start]
        self._hold(((sign == ord("+")) | (sign == ord("-"))).all())
        minutes = self._digits(start + 1, start + 3, 14) * np.int32(60)
        if end - start > 3:
            if end - start == 6:
                self._hold((self.signs[start + 3] == ord(":")).all())
            minutes = minutes + self._digits(end - 2, end, 59)
        return np.asarray(np.where(sign == ord("-"), -minutes, minutes), dtype=np.int64)
