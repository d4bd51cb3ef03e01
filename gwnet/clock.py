"""Wall-clock times of a site to UTC, and back.

A zone is an IANA name (``Europe/Vienna``) or a fixed offset (``UTC+01:00``). Times are numpy ``datetime64[us]``
arrays: local ones without a zone, and UTC. Clock changes leave local times that never were and times that were twice;
both are told, never guessed.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import ClockError, SettingsError

Times = NDArray[np.datetime64]

_FIXED = re.compile(r"UTC(?:([+-])(\d{1,2})(?::?([0-5]\d))?)?", re.IGNORECASE)
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_MINUTE = np.timedelta64(60_000_000, "us")


@dataclass(frozen=True)
class LocalTimes:
    """Answer of `to_utc`, each array of shape (n,).

    Attributes
    ----------
    utc : numpy.ndarray of datetime64[us]
        Times in UTC; NaT where the local time was missing, never was or was twice.
    offset_minutes : numpy.ndarray of int64
        Offset of local time from UTC, positive east [min].
    skipped : numpy.ndarray of bool
        Whether the local time never was (clocks had been put forward).
    twice : numpy.ndarray of bool
        Whether the local time was twice (clocks had been put back).
    """

    utc: Times
    offset_minutes: NDArray[np.int64]
    skipped: NDArray[np.bool_]
    twice: NDArray[np.bool_]


@dataclass(frozen=True)
class _Changes:
    """Moments in UTC at which the offset changes, and the offsets before and after them in minutes."""

    at: Times
    before: NDArray[np.int64]
    after: NDArray[np.int64]


def local_day(date: dt.date | str) -> dt.date:
    """Return a local date that may be given as text.

    Parameters
    ----------
    date : datetime.date or str
        Date, or text as YYYY-MM-DD.

    Returns
    -------
    datetime.date
        The date.

    Raises
    ------
    SettingsError
        If the text is not a date, or an instant is given.
    """
    if isinstance(date, dt.datetime):
        message = f"A local date is wanted, not the instant {date.isoformat()}."
        raise SettingsError(message, fix="Give the date alone.")
    if isinstance(date, dt.date):
        return date
    try:
        return dt.date.fromisoformat(date.strip())
    except ValueError:
        message = f"Not a date: {date!r}."
        raise SettingsError(message, fix="Write YYYY-MM-DD.") from None


def zone_of(name: str) -> dt.tzinfo:
    """Return the time zone that a name stands for.

    Parameters
    ----------
    name : str
        IANA name, or a fixed offset such as ``UTC``, ``UTC+01:00`` or ``UTC-7``.

    Returns
    -------
    datetime.tzinfo
        The zone.

    Raises
    ------
    ClockError
        If the name is not known.

    Examples
    --------
    >>> zone_of("UTC+01:00").utcoffset(None)
    datetime.timedelta(seconds=3600)
    """
    fixed = _FIXED.fullmatch(name.strip())
    if fixed:
        hours, minutes = int(fixed[2] or 0), int(fixed[3] or 0)
        if hours <= 14:
            span = dt.timedelta(hours=hours, minutes=minutes)
            return dt.timezone(-span if fixed[1] == "-" else span)
    else:
        try:
            return ZoneInfo(name.strip())
        except (ZoneInfoNotFoundError, ValueError, OSError):
            pass
    message = f"The time zone {name!r} is not known."
    raise ClockError(message, fix="Write an IANA name such as Europe/Vienna, or a fixed offset such as UTC+01:00.")


def to_utc(local: Times, zone: str) -> LocalTimes:
    """Turn wall-clock times of one zone into UTC.

    Parameters
    ----------
    local : numpy.ndarray of datetime64, shape (n,)
        Wall-clock times without a zone; NaT where missing.
    zone : str
        Name of the zone.

    Returns
    -------
    LocalTimes
        Times in UTC, offsets, and which local times never were or were twice.

    Raises
    ------
    ClockError
        If the zone is not known.

    Examples
    --------
    >>> import numpy as np
    >>> str(to_utc(np.array(["2024-07-01T12:00"], "datetime64[us]"), "UTC+02:00").utc[0])
    '2024-07-01T10:00:00.000000'
    """
    times = np.asarray(local, dtype="datetime64[us]")
    missing = np.isnat(times)
    if missing.all():
        zone_of(zone)
        return LocalTimes(times.copy(), np.zeros(times.shape, np.int64), missing & False, missing & False)
    changes = _changes_around(zone, times[~missing])
    if changes.at.size == 1:
        minutes = np.full(times.shape, changes.after[0], dtype=np.int64)
        return LocalTimes(_shifted(times, minutes), minutes, missing & False, missing & False)
    old_clock = changes.at + changes.before * _MINUTE
    new_clock = changes.at + changes.after * _MINUTE
    place = np.clip(np.searchsorted(old_clock, times, side="right") - 1, 0, None)
    place[missing] = 0
    minutes = changes.after[place]
    skipped = (times >= old_clock[place]) & (times < new_clock[place]) & ~missing
    following = np.minimum(place + 1, changes.at.size - 1)
    twice = (following > place) & (times >= new_clock[following]) & (times < old_clock[following]) & ~missing
    utc = _shifted(times, minutes)
    utc[skipped | twice] = np.datetime64("NaT")
    return LocalTimes(utc, minutes, skipped, twice)


def offset_minutes(utc: Times, zone: str) -> NDArray[np.int64]:
    """Return how far local time is ahead of UTC.

    Parameters
    ----------
    utc : numpy.ndarray of datetime64, shape (n,)
        Times in UTC; NaT gives 0.
    zone : str
        Name of the zone.

    Returns
    -------
    numpy.ndarray of int64, shape (n,)
        Offset, positive east [min].

    Raises
    ------
    ClockError
        If the zone is not known.
    """
    times = np.asarray(utc, dtype="datetime64[us]")
    missing = np.isnat(times)
    minutes = np.zeros(times.shape, dtype=np.int64)
    if missing.all():
        zone_of(zone)
        return minutes
    changes = _changes_around(zone, times[~missing])
    place = np.clip(np.searchsorted(changes.at, times[~missing], side="right") - 1, 0, None)
    minutes[~missing] = changes.after[place]
    return minutes


def _shifted(times: Times, minutes: NDArray[np.int64]) -> Times:
    """Return local times less their offset."""
    return np.asarray(times - minutes * _MINUTE, dtype="datetime64[us]")


def _changes_around(zone: str, times: Times) -> _Changes:
    years = times.astype("datetime64[Y]").astype(np.int64) + 1970
    return _changes(zone, max(int(years.min()) - 1, 2), min(int(years.max()) + 2, 9998))


@lru_cache(maxsize=64)
def _changes(zone: str, first_year: int, last_year: int) -> _Changes:
    """Return the changes of offset of a zone in a span of years; the first entry is the start of the span."""
    rule = zone_of(zone)
    start = dt.datetime(first_year, 1, 1, tzinfo=dt.UTC)
    end = dt.datetime(last_year, 1, 1, tzinfo=dt.UTC)

    def offset(moment: dt.datetime) -> int:
        span = moment.astimezone(rule).utcoffset()
        return round((span or dt.timedelta()).total_seconds() / 60)

    found = [(start, offset(start), offset(start))]
    if isinstance(rule, ZoneInfo):
        step = dt.timedelta(days=7)
        low, low_offset = start, found[0][2]
        while low < end:
            high = low + step
            high_offset = offset(high)
            if high_offset != low_offset:
                moment = _first_with(offset, low, high, high_offset)
                found.append((moment, low_offset, high_offset))
            low, low_offset = high, high_offset
    at = np.array([(moment - _EPOCH) // dt.timedelta(microseconds=1) for moment, _, _ in found], dtype="datetime64[us]")
    return _Changes(at, np.array([b for _, b, _ in found], np.int64), np.array([a for _, _, a in found], np.int64))


def _first_with(offset, low: dt.datetime, high: dt.datetime, wanted: int) -> dt.datetime:  # type: ignore[no-untyped-def]
    """Return the first minute after ``low`` with the wanted offset."""
    span = int((high - low).total_seconds() // 60)
    below, above = 0, span
    while above - below > 1:
        middle = (below + above) // 2
        if offset(low + dt.timedelta(minutes=middle)) == wanted:
            above = middle
        else:
            below = middle
    return low + dt.timedelta(minutes=above)
