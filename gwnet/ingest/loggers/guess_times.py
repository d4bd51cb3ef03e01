"""How the dates and times of a column are written, inferred from all of its cells."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.stamps import StampError, compile_formats, read_stamp

#: The two signs of a date in numbers are alike, unlike those of ranges and versions such as 1.2-10.
_DATE: Final = (
    r"(?P<y4>\d{4})(?P<s1>[-/.])\d{1,2}(?P=s1)\d{1,2}"
    r"|\d{1,2}(?P<s2>[-/.])\d{1,2}(?P=s2)(?:\d{4}|\d{2})"
    r"|\d{1,2}(?P<s3>[-\s.]\s?)[^\W\d_]{3,9}\.?(?P<s4>[-\s])(?:\d{4}|\d{2})"
    r"|(?:19|20)\d{6}"
)
_CLOCK: Final = (
    r"(?P<hour>\d{1,2}):\d{2}(?P<sec>:\d{2}(?P<frac>[.,]\d{1,9})?)?(?P<gap>\s*)(?P<half>[AaPp]\.?[Mm]\.?)?"
    r"|\d{6}(?P<cfrac>[.,]\d{1,9})?|\d{4}"
)
_OFFSET: Final = r"(?P<ogap>\s*)(?P<offset>Z|[+-]\d{2}(?::?\d{2})?)"
_STAMP: Final = re.compile(rf"(?P<date>{_DATE})(?:(?P<join>T|\s+|)(?P<clock>{_CLOCK}))?(?:{_OFFSET})?")
_CLOCK_ALONE: Final = re.compile(rf"(?P<clock>(?=\d{{1,2}}:)(?:{_CLOCK}))(?:{_OFFSET})?")
_ELAPSED: Final = re.compile(r"\d+(?:[.,]\d+)?|\d+:\d\d:\d\d(?:[.,]\d+)?")
#: Seconds from September 2001 to May 2033, and milliseconds of the same years.
_EPOCH: Final = re.compile(r"1\d{9}(?:\.\d+)?|1\d{12}")

#: Times that are looked at in their order, and distinct dates that are kept.
SAMPLE: Final[int] = 4_000
_MOST_DATES: Final[int] = 200_000

_ORDERS: Final[dict[str, str]] = {"dmy": "day, month, year", "mdy": "month, day, year", "ymd": "year, month, day"}


def looks_like_stamp(cell: str) -> bool:
    """Return whether a cell looks like a date, with or without a time of day.

    Parameters
    ----------
    cell : str
        Cell without blanks around it.

    Examples
    --------
    >>> looks_like_stamp("04/24/19 04:00:00 PM"), looks_like_stamp("12.3965")
    (True, False)
    """
    return _STAMP.fullmatch(cell) is not None


def looks_like_clock(cell: str) -> bool:
    """Return whether a cell looks like a time of day alone.

    Parameters
    ----------
    cell : str
        Cell without blanks around it.
    """
    return _CLOCK_ALONE.fullmatch(cell) is not None


def looks_like_count(cell: str) -> bool:
    """Return whether a cell could be seconds or milliseconds since 1970.

    Parameters
    ----------
    cell : str
        Cell without blanks around it.
    """
    return _EPOCH.fullmatch(cell) is not None


def looks_like_elapsed(cell: str) -> bool:
    """Return whether a cell could be a time elapsed since a start: a number, or hours, minutes and seconds.

    Parameters
    ----------
    cell : str
        Cell without blanks around it.
    """
    return _ELAPSED.fullmatch(cell) is not None


@dataclass
class Form:
    """How the cells of a column of times are written.

    Attributes
    ----------
    formats : list of str
        Formats, the most frequent first.
    has_offset : bool
        Whether the cells say their offset from UTC.
    """

    formats: list[str] = field(default_factory=list)
    has_offset: bool = False


@dataclass
class StampSurvey:
    """Gathers what a column of dates or times is like, cell by cell."""

    forms: Counter[tuple[str, ...]] = field(default_factory=Counter)
    dates: dict[str, None] = field(default_factory=dict)
    first: list[str] = field(default_factory=list)
    hours: set[int] = field(default_factory=set)
    rows: int = 0
    counts: int = 0
    longest: int = 0
    _heads: dict[str, str] = field(default_factory=dict)
    _met: dict[tuple[str, str], tuple[str, ...]] = field(default_factory=dict)

    def add(self, cell: str) -> None:
        """Take in a cell."""
        self.rows += 1
        head, blank, tail = cell.partition(" ")
        # Patterns are slow: a date that was seen before, with a clock that was, needs none.
        form = self._met.get((self._heads.get(head, ""), tail)) if blank else None
        if form is None:
            form = self._look(cell)
            if form is None:
                return
            if blank and len(self._heads) < _MOST_DATES and len(self._met) < _MOST_DATES:
                self._heads[head] = form[0]
                self._met[form[0], tail] = form
        self.forms[form] += 1
        if len(self.first) < SAMPLE:
            self.first.append(cell)

    def _look(self, cell: str) -> tuple[str, ...] | None:
        """Return how a cell is written that was not met before; None where it is no time."""
        match = _STAMP.fullmatch(cell)
        if match is None:
            match = _CLOCK_ALONE.fullmatch(cell)
            if match is None:
                if looks_like_count(cell):
                    self.counts += 1
                    self.longest = max(self.longest, len(cell.partition(".")[0]))
                return None
        elif len(self.dates) < _MOST_DATES:
            self.dates[match["date"]] = None
        if match["hour"]:
            self.hours.add(int(match["hour"]))
        return _form(match)

    def infer_form(self, notes: Notes) -> Form:
        """Return how all cells are written, by them together.

        Parameters
        ----------
        notes : Notes
            Takes reasons and doubts.

        Returns
        -------
        Form
            Their formats; none where no cell is a time.
        """
        if not self.forms and self.counts:
            unit, text = ("milliseconds", "epoch ms") if self.longest >= 13 else ("seconds", "epoch s")
            notes.add(f"times are counts of {unit} since 1970-01-01 UTC, by their size")
            return Form([text], has_offset=True)
        if not self.forms:
            return Form()
        place = len(notes.reasons)
        self._clocks(notes)
        order = self._order(notes)
        formats = list(dict.fromkeys(_format(form, order) for form, _ in self.forms.most_common(6)))
        notes.reasons.insert(place, f"times are written {' or '.join(formats)}, as in {self.first[0]!r}")
        return Form(formats, has_offset=any(form[3] for form in self.forms))

    def _clocks(self, notes: Notes) -> None:
        halves = sum(count for form, count in self.forms.items() if "%p" in form[2])
        total = sum(self.forms.values())
        if halves and halves == total:
            notes.add("the clock has 12 hours: every time says AM or PM")
        elif halves:
            notes.add(doubt=f"{halves:,} of {total:,} times say AM or PM and the others do not")
        # Not of a few rows: a visit of one morning has no hour beyond 12 either.
        elif len(self.hours) > 4 and 0 not in self.hours and max(self.hours) <= 12 and total > 48:
            notes.add(doubt="no hour goes beyond 12 and none says AM or PM; the second half of the days may be lost")
        if 24 in self.hours:
            notes.add("24:00 is read as the end of its day")
        if 0 in self.hours and halves:
            notes.add(doubt="some hours are 0, which a 12-hour clock does not have")

    def _order(self, notes: Notes) -> str:
        """Return the order of day, month and year of dates that are three numbers."""
        numeric = [date for date in self.dates if re.fullmatch(r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}", date)]
        if not numeric:
            return "dmy"
        split = [re.split(r"[-/.]", date) for date in numeric]
        long_year = any(len(parts[2]) == 4 for parts in split)
        candidates = ["dmy", "mdy"] if long_year else ["dmy", "mdy", "ymd"]
        parts = np.array([[int(number) for number in three] for three in split])
        wrong = {order: int(np.count_nonzero(~_can_be(parts, order))) for order in candidates}
        fitting = [order for order in candidates if wrong[order] == 0]
        if not fitting:
            best = min(candidates, key=lambda order: wrong[order])
            notes.add(
                doubt=f"no order of day, month and year fits all dates; {_ORDERS[best]} misses the fewest "
                f"({wrong[best]})"
            )
            return best
        if len(fitting) == 1:
            first, second = parts[:, 0].max(), parts[:, 1].max()
            notes.add(
                f"dates are {_ORDERS[fitting[0]]}: their first number goes up to {first}, their second up to {second}"
            )
            return fitting[0]
        # Points are the way of countries that put the day first; the month first goes with slashes.
        if "dmy" in fitting and long_year and all("." in date for date in numeric):
            notes.add("dates are day, month, year: they have points between their numbers")
            return "dmy"
        return self._by_steps(fitting, numeric[0], notes)

    def _by_steps(self, fitting: list[str], example: str, notes: Notes) -> str:
        """Choose among orders that all fit by the steps from row to row."""
        shares = {order: self._evenness(order) for order in fitting}
        ranked = sorted(fitting, key=lambda order: -shares[order])
        best, other = ranked[0], ranked[1]
        # Read in a wrong order, only the steps over a midnight differ: few of them in a long file.
        clear = min(3.0 / max(len(self._ordered()), 1), 0.4 if self._has_clock() else 0.2)
        within_days = self._has_clock() or self._within_days()
        if within_days and shares[best] > 0.9 and shares[best] - shares[other] > clear:
            notes.add(
                f"dates are {_ORDERS[best]}: only so do the rows follow one another in even steps "
                f"({shares[best]:.1%} of them, against {shares[other]:.1%} as {_ORDERS[other]})"
            )
            return best
        # A clock of 12 hours goes with month first in most exports (common practice, no source); it stays a doubt.
        usual = "dmy" if "." in example or not any("%p" in form[2] for form in self.forms) else "mdy"
        usual = usual if usual in fitting else best
        either = " or ".join(_ORDERS[order] for order in fitting)
        notes.add(
            doubt=f"dates such as {example!r} could be {either}, and nothing in the file says which; they were taken "
            f"as {_ORDERS[usual]}: check it, and change formats if it is not so"
        )
        return usual

    def _within_days(self) -> bool:
        """Return whether dates without a clock stand for several rows of each day, as beside a column of times."""
        return 3 < len(self.dates) < self.rows / 3 and not self._has_clock()

    def _has_clock(self) -> bool:
        return any(form[2] for form in self.forms)

    def _ordered(self) -> list[str]:
        """Return the cells whose steps are looked at: each date once, where it stands for the rows of a day."""
        return list(self.dates)[:SAMPLE] if self._within_days() else self.first

    def _evenness(self, order: str) -> float:
        """Return the share of the most frequent step forward among all steps."""
        formats = compile_formats([_format(form, order) for form, _ in self.forms.most_common(6)])
        times = []
        for cell in self._ordered():
            try:
                times.append(read_stamp(cell, formats)[0])
            except StampError:
                continue
        steps = np.diff(np.array(times, dtype=np.int64))
        # Some files have their newest row first.
        if steps.size and np.median(steps) < 0:
            steps = -steps
        forward = steps[steps > 0]
        if forward.size < 3:
            return 0.0
        # Of all steps, those back among them: a wrong order makes time jump back.
        return float(np.unique(forward, return_counts=True)[1].max() / steps.size)


def _can_be(parts: np.ndarray, order: str) -> np.ndarray:
    day = parts[:, order.index("d")]
    month = parts[:, order.index("m")]
    year = parts[:, order.index("y")]
    # Of years in two digits 00 is 2000, which was a leap year.
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0) | (year < 100))
    good = (month >= 1) & (month <= 12) & (day >= 1)
    lengths = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    length = lengths[np.where(good, month, 0)] + ((month == 2) & leap)
    return np.asarray(good & (day <= length))


def _form(match: re.Match[str]) -> tuple[str, ...]:
    """Return how a cell is written: date, what joins it to the clock, clock, and offset."""
    groups = match.groupdict()
    clock = _clock_form(groups)
    offset = ""
    if groups["offset"]:
        offset = (" " if groups["ogap"] else "") + "%z"
    if groups.get("date") is None:
        return ("", "", clock, offset)
    join = groups["join"] or ""
    return (_date_form(groups), " " if join.isspace() else join, clock, offset)


def _clock_form(groups: dict[str, str | None]) -> str:
    clock = groups["clock"]
    if not clock:
        return ""
    if not groups["hour"]:
        fraction = groups["cfrac"]
        return "%H%M" if len(clock) == 4 else "%H%M%S" + (f"{fraction[0]}%f" if fraction else "")
    form = "%I:%M" if groups["half"] else "%H:%M"
    if groups["sec"]:
        form += ":%S"
    if groups["frac"]:
        form += f"{groups['frac'][0]}%f"
    if groups["half"]:
        form += (" " if groups["gap"] else "") + "%p"
    return form


def _date_form(groups: dict[str, str | None]) -> str:
    date = groups["date"] or ""
    if groups["y4"]:
        sign = groups["s1"]
        return f"%Y{sign}%m{sign}%d"
    year = "%Y" if re.search(r"\d{4}$", date) else "%y"
    # Which of the numbers is the day shows over the whole column only, so places are kept for them.
    if groups["s2"]:
        return f"A{groups['s2']}B{groups['s2']}{'C' if year == '%y' else year}"
    if groups["s3"]:
        gap = re.sub(r"\s", " ", groups["s3"])
        return f"%d{gap}%b{' ' if (groups['s4'] or '').isspace() else groups['s4']}{year}"
    return "%Y%m%d"


def _format(form: tuple[str, ...], order: str) -> str:
    """Return the format of a form, the numbers of its date put in an order."""
    date, join, clock, offset = form
    letters = {"d": "%d", "m": "%m", "y": "%y"}
    if date.startswith("A"):
        kept = order if "C" in date or order != "ymd" else "dmy"
        date = date.replace("A", letters[kept[0]]).replace("B", letters[kept[1]]).replace("C", letters[kept[2]])
    return f"{date}{join}{clock}{offset}"
