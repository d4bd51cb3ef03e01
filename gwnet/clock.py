"""Wall-clock times of a site to UTC, and back.

A zone is an IANA name (``Europe/Vienna``) or a fixed offset (``UTC+01:00``). Times are numpy ``datetime64[us]``
arrays: local ones without a zone, and UTC. Clock changes leave local times that never were and times that were twice;
both are reported, never guessed.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.errors import ClockError, SettingsError

Times = NDArray[np.datetime64]

_FIXED = re.compile(r"UTC(?:([+-])(\d{1,2})(?::?([0-5]\d))?)?", re.IGNORECASE)
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
    put_back_minutes : numpy.ndarray of int64
        Where the local time was twice, by how much the clocks were put back; 0 elsewhere. The offset is then that of
        the first of the two [min].
    """

    utc: Times
    offset_minutes: NDArray[np.int64]
    skipped: NDArray[np.bool_]
    put_back_minutes: NDArray[np.int64]

    @property
    def twice(self) -> NDArray[np.bool_]:
        """Return whether each local time was twice (clocks had been put back)."""
        return self.put_back_minutes > 0


def local_day(date: dt.date | str) -> dt.date:
    """Return a local date that may be given as text.

    Parameters
    ----------
    date : datetime.date or str
        Date, or text as YYYY-MM-DD.

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
    rule = zone_of(zone)
    first, second = (_localized(times, rule, is_first=is_first) for is_first in (True, False))
    skipped = np.isnat(first) & ~np.isnat(times)
    minutes, put_back = _minutes(times - first), _minutes(second - first)
    if skipped.any():  # the offset after the gap, by the next day; "shift_forward" of pandas misses gaps of two hours
        minutes[skipped] = to_utc(times[skipped] + np.timedelta64(1, "D"), zone).offset_minutes
    # not `first` itself: the offset before a zone had whole minutes is rounded, so that local time follows from both
    utc = np.asarray(times - minutes * _MINUTE, dtype="datetime64[us]")
    utc[skipped | (put_back > 0)] = np.datetime64("NaT")
    return LocalTimes(utc, minutes, skipped, put_back)


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
    local = pd.DatetimeIndex(times).tz_localize("UTC").tz_convert(zone_of(zone)).tz_localize(None)
    return _minutes(local.to_numpy() - times)


def _localized(times: Times, rule: dt.tzinfo, *, is_first: bool) -> Times:
    """Return local times in UTC, NaT where one never was; those that were twice as the first or second of the two."""
    ambiguous = np.full(times.shape, is_first)
    index = pd.DatetimeIndex(times).tz_localize(rule, ambiguous=ambiguous, nonexistent="NaT")
    return np.asarray(index.tz_convert("UTC").tz_localize(None), dtype="datetime64[us]")


def _minutes(spans: NDArray[np.timedelta64]) -> NDArray[np.int64]:
    """Return spans of time in whole minutes; NaT as 0."""
    whole = np.rint(np.where(np.isnat(spans), 0, spans.astype(np.int64)) / 60_000_000)
    return np.asarray(whole, dtype=np.int64)


def to_instant(moment: object) -> np.datetime64:
    """Return a moment as a UTC instant without a zone.

    Parameters
    ----------
    moment : pandas.Timestamp, datetime.datetime, None or NaT
        Aware time; None or NaT for none.

    Returns
    -------
    numpy.datetime64
        To the microsecond; NaT for none.

    Examples
    --------
    >>> to_instant(dt.datetime(2024, 7, 1, 12, tzinfo=zone_of("UTC+02:00")))
    np.datetime64('2024-07-01T10:00:00.000000')
    """
    stamp = pd.Timestamp(moment)
    if stamp is pd.NaT:
        return np.datetime64("NaT", "us")
    return np.datetime64(stamp.tz_convert("UTC").tz_localize(None).to_datetime64(), "us")


def to_instants(times: pd.Series) -> Times:
    """Return aware times as UTC instants without a zone.

    Parameters
    ----------
    times : pandas.Series of datetime64 with a zone, shape (n,)
        Aware times; NaT for none.

    Returns
    -------
    numpy.ndarray of datetime64[us], shape (n,)
        The instants.
    """
    return np.asarray(pd.DatetimeIndex(times).tz_convert("UTC").tz_localize(None), dtype="datetime64[us]")


def local_text(when: Times, zone: str) -> NDArray[np.object_]:
    """Return instants as local text in ISO 8601 with offset, without seconds where none has any.

    Parameters
    ----------
    when : numpy.ndarray of datetime64[us], shape (n,)
        Instants in UTC.
    zone : str
        Name of the zone.

    Returns
    -------
    numpy.ndarray of str, shape (n,)
        For example ``2026-01-12T10:40+01:00``.
    """
    minutes = offset_minutes(when, zone)
    to_minute = bool(np.all(when == when.astype("datetime64[m]")))
    local = np.datetime_as_string(when + minutes * _MINUTE, unit="m" if to_minute else "s").astype(object)
    suffixes = {offset: offset_text(offset) for offset in np.unique(minutes).tolist()}
    return np.asarray(local + np.array([suffixes[offset] for offset in minutes.tolist()], dtype=object), dtype=object)


def offset_text(minutes: int) -> str:
    """Return an offset from UTC as in ISO 8601.

    Parameters
    ----------
    minutes : int
        Offset, positive east [min].

    Returns
    -------
    str
        For example ``+01:00``.
    """
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def moment_text(moment: dt.datetime, zone: str, *, timespec: str = "seconds") -> str:
    """Return an instant on the clock of a zone, with its offset from UTC.

    Parameters
    ----------
    moment : datetime.datetime
        Aware time.
    zone : str
        Name of the zone.
    timespec : {"minutes", "seconds", "auto"}, optional
        To what it is cut; ``auto`` keeps what it has.

    Returns
    -------
    str
        For example ``2026-03-09 09:00:00 UTC+01:00``; without an offset of zero.
    """
    local = moment.astimezone(zone_of(zone))
    minutes = round((local.utcoffset() or dt.timedelta()).total_seconds() / 60)
    text = local.replace(tzinfo=None).isoformat(sep=" ", timespec=timespec)
    return f"{text} UTC{offset_text(minutes) if minutes else ''}"


def instant_text(instant: np.datetime64, zone: str) -> str:
    """Return an instant on the clock of a zone, without seconds where they are zero.

    Parameters
    ----------
    instant : numpy.datetime64
        UTC instant.
    zone : str
        Name of the zone.

    Returns
    -------
    str
        For example ``2024-10-27 02:00 UTC+01:00``.
    """
    moment = instant.astype("datetime64[s]").astype(dt.datetime).replace(tzinfo=dt.UTC)
    return moment_text(moment, zone, timespec="seconds" if moment.second else "minutes")
