"""From the clock of a logger to UTC, block by block; what the rows show decides between hours that were twice."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gwnet.clock import to_utc, zone_of
from gwnet.hydro.arrays import runs_of
from gwnet.ingest.loggers.clock_changes import AROUND_MS, Settled, changes_between, is_near_a_change, settle_around

Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Converted(NamedTuple):
    """Answer of `ToUtc.convert`, each of shape (n,).

    Attributes
    ----------
    utc : numpy.ndarray of int64
        Times in UTC [ms].
    skipped : numpy.ndarray of bool
        Whether the local time never was (clocks had been put forward).
    unordered : numpy.ndarray of bool
        Whether it was twice and stands among rows that do not rise.
    unclear : numpy.ndarray of bool
        Whether it was twice and nothing says which it is.
    """

    utc: Whole
    skipped: Flags
    unordered: Flags
    unclear: Flags


class ToUtc:
    """Turns local times of one zone, in the order of the file, into UTC.

    Where the clock was put back, an hour of local time was twice. Its rows are of the first time until the clock
    turns back, and of the second after that. Where it never turns back, one of the two is missing, and nothing says
    which, except at the beginning and the end of a file, by the usual step to the row beside it. Where the rows around
    do not rise, nothing says which either. pandas infers the same in one array where both hours are whole and raises
    otherwise; here an hour may be cut by the end of a block, and rows may fall.

    Parameters
    ----------
    zone : str
        IANA name or fixed offset.
    repeated_hour : str, optional
        ``first`` or ``second``: of which hour a time that was twice is where nothing shows it.

    Attributes
    ----------
    repeated : int
        Rows so far whose local time was twice.
    chosen : int
        Those of them whose hour nothing shows, so that the one that was said counts.
    settled : list of gwnet.ingest.loggers.clock_changes.Settled
        Changes of the clock that the rows themselves show.
    """

    def __init__(self, zone: str, repeated_hour: str = "") -> None:
        self.zone = zone
        self._repeated_hour = repeated_hour
        self.repeated = 0
        self.chosen = 0
        self.settled: list[Settled] = []
        self._falling: bool | None = None
        self._last: tuple[int, int, bool] | None = None
        offset = zone_of(zone).utcoffset(None)
        self._fixed = None if offset is None else round(offset.total_seconds()) * 1000

    def waits_after(self, local_ms: Whole) -> bool:
        """Return whether rows should be converted together with those that follow.

        Parameters
        ----------
        local_ms : numpy.ndarray of int64, shape (n,)
            Local times [ms since 1970-01-01 on the local clock].
        """
        return self._fixed is None and bool(local_ms.size) and is_near_a_change(self.zone, int(local_ms[-1]))

    def convert(self, local_ms: Whole, counter: NDArray[np.float64] | None = None) -> Converted:
        """Return UTC times of the next rows.

        Parameters
        ----------
        local_ms : numpy.ndarray of int64, shape (n,)
            Local times [ms since 1970-01-01 on the local clock].
        counter : numpy.ndarray of float64, shape (n,), optional
            A column that counts on with time, such as elapsed seconds or record numbers; NaN for no number.

        Returns
        -------
        Converted
            Times in UTC, and for which rows there is none.
        """
        unordered = np.zeros(local_ms.shape, dtype=bool)
        unclear = unordered.copy()
        # a fixed offset repeats no hour
        if self._fixed is not None:
            return Converted(local_ms - self._fixed, unordered, unordered, unordered)
        converted = to_utc(_times(local_ms), self.zone)
        utc = np.asarray(local_ms - converted.offset_minutes * 60_000, dtype=np.int64)
        # some exports have the newest row first; the middle step says so in spite of a turned clock
        if self._falling is None and local_ms.size > 2:
            self._falling = bool(np.median(np.diff(local_ms)) < 0)
        if converted.twice.any():
            self.repeated += int(np.count_nonzero(converted.twice))
            # the rules are those of rising times
            order = slice(None, None, -1) if self._falling else slice(None)
            settled = self._settled(local_ms[order], utc[order], converted.put_back_minutes[order] * 60_000)
            utc, unordered, unclear = (settled.utc[order], settled.unordered[order], settled.unclear[order])
        result = self._by_rows(local_ms, Converted(utc, converted.skipped, unordered, unclear), counter)
        if local_ms.size:
            # a block may end within the repeated hour
            self._last = (int(local_ms[-1]), int(result.utc[-1]), bool(converted.twice[-1]))
        return result

    def _by_rows(self, local_ms: Whole, by_rule: Converted, counter: NDArray[np.float64] | None) -> Converted:
        """Return the times with those around a change of the clocks as the rows themselves show them."""
        if not local_ms.size:
            return by_rule
        utc = by_rule.utc.copy()
        skipped, unordered, unclear = by_rule.skipped.copy(), by_rule.unordered.copy(), by_rule.unclear.copy()
        order = np.arange(local_ms.size)[:: -1 if self._falling else 1]
        for change in changes_between(self.zone, int(utc.min()) - AROUND_MS, int(utc.max()) + AROUND_MS):
            doubtful = skipped | unordered | unclear
            counts = None if counter is None else counter[order]
            settled = settle_around(change, local_ms[order], utc[order], doubtful[order], counts)
            if settled is None:
                continue
            places = order[settled.places]
            utc[places] = settled.utc
            skipped[places] = unordered[places] = unclear[places] = False
            self.settled.append(settled._replace(places=places))
        return Converted(utc, skipped, unordered, unclear)

    def _settled(self, local: Whole, first: Whole, back: Whole) -> Converted:
        """Return rising rows in UTC, the repeated hours in their order.

        ``first`` takes them all as the first, ``back`` is by how much the clock was put back there, 0 elsewhere [ms].
        """
        utc, twice = first.copy(), back > 0
        unordered = np.zeros(local.shape, dtype=bool)
        unclear = unordered.copy()
        for start, end in zip(*runs_of(twice), strict=True):
            unordered[start:end] = self._is_unordered(local, int(start), int(end))
            second = self._second(local, utc, back, int(start), int(end))
            if second is None and self._repeated_hour:
                utc[start:end] += back[start:end] if self._repeated_hour == "second" else 0
                self.chosen += int(end - start)
            elif second is None:
                unclear[start:end] = ~unordered[start:end]
            else:
                utc[start:end] += np.where(second, back[start:end], 0)
        return Converted(utc, np.zeros(local.shape, dtype=bool), unordered, unclear)

    def _is_unordered(self, local: Whole, start: int, end: int) -> bool:
        """Return whether the rows around a run of repeated times do not rise, or more than one of them turns back."""
        inside = local[start:end]
        before = int(local[start - 1]) if start else None
        if not start and self._last is not None and not self._falling:
            if self._last[2]:
                # the run began in the block before
                inside = np.concatenate(([self._last[0]], inside))
            else:
                before = self._last[0]
        after = int(local[end]) if end < local.size else None
        steps = np.diff(inside)
        # one turn is the clock put back; more of them are rows out of order
        turns = int(np.count_nonzero(steps < 0)) or int(np.count_nonzero(steps == 0))
        return bool(
            (before is not None and before > inside[0]) or (after is not None and after < inside[-1]) or turns > 1
        )

    def _second(self, local: Whole, utc: Whole, back: Whole, start: int, end: int) -> Flags | None:
        """Return which rows of a run of repeated times are of the second time; None where nothing tells."""
        inside = local[start:end]
        carried = self._last if start == 0 and not self._falling else None
        if carried is not None and carried[2]:
            # the last row of the block before had the offset of winter time
            was_second = carried[1] != carried[0] - (local[start] - utc[start])
            inside = np.concatenate(([carried[0]], inside))
            return self._after_turn(inside, was_second=was_second)[1:]
        passed = self._after_turn(inside, was_second=False)
        if not passed.any():
            return self._at_an_end(local, utc + back, utc, start, end)
        return passed

    def _after_turn(self, inside: Whole, *, was_second: bool) -> Flags:
        steps = np.diff(inside)
        turns = np.flatnonzero(steps < 0)
        if not turns.size:
            # hourly rows: the repeated hour shows as the same time twice
            turns = np.flatnonzero(steps == 0)
        passed = np.full(inside.shape, was_second)
        if turns.size:
            passed[turns[0] + 1 :] = True
        return passed

    def _at_an_end(self, local: Whole, second: Whole, first: Whole, start: int, end: int) -> Flags | None:
        """Return which rows of a run without a turn are of the second time: all or none at an end, else None."""
        steps = np.abs(np.diff(local))
        usual = int(np.median(steps)) if steps.size else 0
        carried = self._last is not None
        has_before = start > 0 or (carried and not self._falling)
        has_after = end < local.size or (carried and self._falling)
        # in the middle of a file either hour may be the missing one
        if has_before == has_after:
            return None
        if has_after:
            # a file that begins within the hour: of the second time if the next row is one step away
            near = end < local.size and int(first[end] - second[end - 1]) <= usual
            return np.ones(end - start, dtype=bool) if near else None
        before = int(first[start - 1]) if start else self._last[1] if self._last is not None else 0
        return np.zeros(end - start, dtype=bool) if int(first[start]) - before <= usual else None


def _times(local_ms: Whole) -> NDArray[np.datetime64]:
    return local_ms.astype("datetime64[ms]").astype("datetime64[us]")
