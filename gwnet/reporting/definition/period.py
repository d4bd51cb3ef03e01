"""The period of a report: a quarter, a year, a month or a span of days, written as people write it."""

from __future__ import annotations

import calendar
import datetime as dt
import re
from dataclasses import dataclass
from typing import Final

from gwnet.constants import MONTH_NAMES
from gwnet.errors import ReportError

_QUARTERS: Final = ("First", "Second", "Third", "Fourth")
# ASCII: digits of other scripts are numbers to Python as well, and would get into labels and file names.
_QUARTER = re.compile(r"(\d{4})-?[Qq]([1-4])", re.ASCII)
_YEAR = re.compile(r"(\d{4})", re.ASCII)
_MONTH = re.compile(r"(\d{4})-(\d{2})", re.ASCII)
_DAY = r"(\d{4}-\d{2}-\d{2})"
_SPAN = re.compile(rf"{_DAY}\s*\.\.\s*{_DAY}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Period:
    """A span of whole days at the site.

    Parameters
    ----------
    label : str
        The period as written on the command line, for example ``2026-Q1``; safe as part of a file name.
    kind : {"quarter", "year", "month", "span"}
        What sort of period it is.
    first, last : date
        First and last day, both inside.
    """

    label: str
    kind: str
    first: dt.date
    last: dt.date

    def contains(self, day: dt.date) -> bool:
        """Tell whether a day lies in the period."""
        return self.first <= day <= self.last

    def contains_time(self, measured_at: str) -> bool:
        """Tell whether a local time or day in ISO text lies in the period; empty text does not."""
        return bool(measured_at) and self.contains(dt.date.fromisoformat(measured_at[:10]))

    def overlaps(self, first: dt.date, last: dt.date) -> bool:
        """Tell whether a span of days, both ends inside, shares a day with the period."""
        return first <= self.last and last >= self.first

    def title(self) -> str:
        """Return the period as a heading says it."""
        days = f"{date_text(self.first)} to {date_text(self.last)}"
        if self.kind == "quarter":
            return f"{_QUARTERS[(self.first.month - 1) // 3]} quarter of {self.first.year} ({days})"
        if self.kind == "year":
            return f"Year {self.first.year} ({days})"
        if self.kind == "month":
            return f"{MONTH_NAMES[self.first.month - 1]} {self.first.year}"
        return days

    def a_year_before(self) -> Period:
        """Return the same period one year earlier; the 29th of February becomes the 28th."""
        first, last = _year_back(self.first), _year_back(self.last)
        if self.kind == "month":
            # February of a leap year, or of the year after one, ends a day otherwise.
            last = _last_of_month(first)
        return Period(f"{first}..{last}", "span", first, last)


def date_text(day: dt.date) -> str:
    """Return a day as text, for example ``1 January 2026``."""
    return f"{day.day} {MONTH_NAMES[day.month - 1]} {day.year}"


def parse_period(text: str) -> Period:
    """Read a period.

    Parameters
    ----------
    text : str
        ``2026-Q1``, ``2026``, ``2026-03`` or ``2026-01-15..2026-04-14``, the last day included.

    Returns
    -------
    Period
        The days it covers.

    Raises
    ------
    ReportError
        If the text is none of these, names a day that does not exist, or ends before it starts.

    Examples
    --------
    >>> parse_period("2026-Q1").last.isoformat()
    '2026-03-31'
    """
    wanted = text.strip()
    try:
        period = _parsed(wanted)
    except ValueError as error:
        raise _refused(text, f"{error}.".capitalize()) from error
    if period is None:
        raise _refused(text, "It has none of the known forms.")
    if period.last < period.first:
        raise _refused(text, "It ends before it starts.")
    return period


def _refused(text: str, reason: str) -> ReportError:
    return ReportError(
        f"The period {text[:60]!r} cannot be used. {reason}",
        fix="Write a quarter (2026-Q1), a year (2026), a month (2026-03) or two days (2026-01-15..2026-04-14).",
    )


def _parsed(text: str) -> Period | None:
    if match := _QUARTER.fullmatch(text):
        year, quarter = int(match[1]), int(match[2])
        first = dt.date(year, 3 * quarter - 2, 1)
        return Period(f"{year:04d}-Q{quarter}", "quarter", first, _last_of_month(first.replace(month=3 * quarter)))
    if match := _YEAR.fullmatch(text):
        year = int(match[1])
        return Period(f"{year:04d}", "year", dt.date(year, 1, 1), dt.date(year, 12, 31))
    if match := _MONTH.fullmatch(text):
        first = dt.date(int(match[1]), int(match[2]), 1)
        return Period(text, "month", first, _last_of_month(first))
    if match := _SPAN.fullmatch(text):
        first, last = dt.date.fromisoformat(match[1]), dt.date.fromisoformat(match[2])
        return Period(f"{first}..{last}", "span", first, last)
    return None


def _last_of_month(day: dt.date) -> dt.date:
    return day.replace(day=calendar.monthrange(day.year, day.month)[1])


def _year_back(day: dt.date) -> dt.date:
    try:
        return day.replace(year=day.year - 1)
    except ValueError:
        return day.replace(year=day.year - 1, day=28)
