"""When the clock of an instrument was put forward or back, by what its rows show.

The rule of a zone says when the clocks of people change. An instrument may follow the rule of another country, or be an
hour late. Elapsed seconds, record numbers or a steady interval show at which row its clock was changed, and then no
row near it is in doubt.
"""

from __future__ import annotations

from functools import cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gwnet.clock import offset_minutes

Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: How far from the change of a zone the clock of an instrument may be changed [ms].
AROUND_MS: Final[int] = 36 * 3_600_000

_HOUR_MS: Final = 3_600_000

#: Fewest rows that show an interval.
_FEWEST: Final = 4


class Change(NamedTuple):
    """One change of the clocks of a zone.

    Attributes
    ----------
    moment_ms : int
        When [ms UTC].
    before_ms, after_ms : int
        Offset of local time from UTC before and after it, positive east [ms].
    """

    moment_ms: int
    before_ms: int
    after_ms: int

    @property
    def shift_ms(self) -> int:
        """Return by how much local time moves: positive where clocks are put forward [ms]."""
        return self.after_ms - self.before_ms


class Settled(NamedTuple):
    """Rows around one change whose times follow from the rows themselves.

    Attributes
    ----------
    places : numpy.ndarray of int64
        Places of the rows.
    utc : numpy.ndarray of int64
        Their times [ms UTC].
    local_ms : int
        Last local time before the clock was changed [ms].
    by_counter : bool
        Whether a column that counts shows it; else the steady interval.
    """

    places: Whole
    utc: Whole
    local_ms: int
    by_counter: bool


def changes_between(zone: str, first_ms: int, last_ms: int) -> list[Change]:
    """Return the changes of the clocks of a zone over a span.

    Parameters
    ----------
    zone : str
        IANA name.
    first_ms, last_ms : int
        The span [ms UTC].

    Examples
    --------
    >>> [change.shift_ms // 60_000 for change in changes_between("Europe/Vienna", 1735689600000, 1767225600000)]
    [60, -60]
    """
    years = np.array([first_ms, last_ms], dtype="datetime64[ms]").astype("datetime64[Y]").astype(int) + 1970
    changes = [change for year in range(int(years[0]), int(years[1]) + 1) for change in _changes_of_year(zone, year)]
    return [change for change in changes if first_ms <= change.moment_ms <= last_ms]


@cache
def _changes_of_year(zone: str, year: int) -> tuple[Change, ...]:
    # Clocks change on quarter hours; zones that did otherwise are older than loggers.
    minutes = np.arange(f"{year}-01-01T00:00", f"{year + 1}-01-01T00:15", 15, dtype="datetime64[m]")
    offsets = offset_minutes(minutes.astype("datetime64[us]"), zone)
    places = np.flatnonzero(np.diff(offsets))
    moments = minutes[places + 1].astype("datetime64[ms]").astype(np.int64)
    return tuple(
        Change(int(moment), int(offsets[place]) * 60_000, int(offsets[place + 1]) * 60_000)
        for moment, place in zip(moments, places, strict=True)
    )


def settle_around(
    change: Change, local_ms: Whole, utc_ms: Whole, doubtful: Flags, counter: NDArray[np.float64] | None
) -> Settled | None:
    """Return the times of the rows around a change, where the rows show at which of them the clock was changed.

    Parameters
    ----------
    change : Change
        The change.
    local_ms : numpy.ndarray of int64, shape (n,)
        Local times, rising on the whole [ms].
    utc_ms : numpy.ndarray of int64, shape (n,)
        The same in UTC, by the rule of the zone [ms].
    doubtful : numpy.ndarray of bool, shape (n,)
        Which of these the rule leaves open.
    counter : numpy.ndarray of float64, shape (n,), or None
        A column that counts on with time, in any unit.

    Returns
    -------
    Settled or None
        None where the rule of the zone has no trouble with them, or they do not show one place alone.
    """
    # a row a day needs more days to show its interval
    reach = max(AROUND_MS, _FEWEST * int(np.median(np.abs(np.diff(local_ms))))) if local_ms.size > 1 else AROUND_MS
    places = np.flatnonzero(np.abs(local_ms - change.before_ms - change.moment_ms) <= reach)
    if places.size < _FEWEST:
        return None
    counts = None if counter is None else counter[places]
    by_counter = counts is not None and bool(np.isfinite(counts).all()) and np.unique(counts).size == counts.size
    if counts is not None and by_counter:
        # rows that were sorted by local time come back into the order in which they were recorded
        places = places[np.argsort(counts)]
        counts = np.sort(counts)
    local, utc = local_ms[places], utc_ms[places]
    steps, real = np.diff(local), np.diff(utc)
    usual = float(np.median(steps))
    if usual <= 0:
        return None
    expected = np.full(steps.shape, usual)
    # What differs by less than half of the change is the clock's drift.
    least = abs(change.shift_ms) / 2
    trouble = bool(doubtful[places].any() or (real < 0).any())
    if counts is not None and by_counter:
        counted = np.diff(counts)
        expected = counted * float(np.median(real / counted))
        trouble = trouble or bool((np.abs(real - expected) > least).any())
    if not trouble:
        return None
    tolerance = least / 2 if by_counter else min(least, usual) / 2
    changed = np.flatnonzero(
        (np.abs(steps - change.shift_ms - expected) < tolerance) & (np.abs(steps - expected) > least)
    )
    # Of two such rows none says at which the clock was changed.
    if changed.size != 1:
        return None
    turn = int(changed[0])
    offsets = np.where(np.arange(places.size) <= turn, change.before_ms, change.after_ms)
    settled = local - offsets
    # An instrument records in order, whatever its clock shows.
    if (np.diff(settled) < 0).any():
        return None
    return Settled(places, settled, int(local[turn]), by_counter)


def is_near_a_change(zone: str, local_ms: int) -> bool:
    """Return whether a local time is so near a change of the clocks that the rows after it may matter for it.

    Parameters
    ----------
    zone : str
        IANA name.
    local_ms : int
        The time [ms on the local clock].
    """
    # no zone is farther from UTC than 14 hours
    reach = 2 * AROUND_MS + 14 * _HOUR_MS
    return bool(changes_between(zone, local_ms - reach, local_ms + reach))
