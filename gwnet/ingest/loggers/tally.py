"""What is counted while the chunks of a logger file go by: rhythm of its times, deployments, and each series."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.ingest.loggers.result import ConflictShown, Rhythm
from gwnet.store.save.downloads import Counts
from gwnet.store.save.samples import Appended, Appending

Times = NDArray[np.int64]

#: Steps longer than this many usual intervals are gaps.
_GAP: Final = 1.5

#: Conflicts listed one by one.
_SHOWN: Final = 20

#: Steps of a chunk from which its usual interval follows.
_FEWEST_STEPS: Final = 3


class RhythmTally:
    """Follows the times of a file in its order."""

    def __init__(self) -> None:
        self._last: int | None = None
        self._usual: float | None = None
        self._first_usual: float | None = None
        self._gaps = self._backward = 0
        self._longest = 0.0

    def add(self, time_ms: Times) -> None:
        """Take the times of the next chunk.

        Parameters
        ----------
        time_ms : numpy.ndarray of int64
            Times in the order of the file, shape (n,).
        """
        if not time_ms.size:
            return
        # The step over the edge of two chunks may be a gap too.
        steps = np.diff(time_ms) if self._last is None else np.diff(time_ms, prepend=self._last)
        self._last = int(time_ms[-1])
        forward = steps[steps > 0]
        if forward.size >= _FEWEST_STEPS or (forward.size and self._usual is None):
            kinds, counts = np.unique(forward, return_counts=True)
            self._usual = float(kinds[np.argmax(counts)])
            # Gaps are judged by the interval of their own part of the file, which may be set
            # anew on the way.
            self._first_usual = self._first_usual or self._usual
        self._backward += int(np.count_nonzero(steps < 0))
        if self._usual is not None:
            wide = forward[forward > _GAP * self._usual]
            self._gaps += int(wide.size)
            self._longest = max(self._longest, float(wide.max(initial=0)))

    def result(self) -> Rhythm:
        """Return what was seen."""
        usual = None if self._first_usual is None else self._first_usual / 1000.0
        return Rhythm(usual, self._gaps, self._longest / 1000.0, self._backward)


class DeploymentTally:
    """Counts the times at which an instrument was not installed.

    Parameters
    ----------
    spans : sequence of (float, float)
        Half-open spans of its deployments; milliseconds since 1970-01-01 UTC, infinite where open.
    """

    def __init__(self, spans: list[tuple[float, float]]) -> None:
        self.spans = spans
        self.outside = 0

    def add(self, time_ms: Times) -> None:
        """Take the times of the next chunk.

        Parameters
        ----------
        time_ms : numpy.ndarray of int64
            Times, shape (n,).
        """
        inside = np.zeros(time_ms.size, dtype=bool)
        for start, end in self.spans:
            inside |= (time_ms >= start) & (time_ms < end)
        self.outside += int(np.count_nonzero(~inside))


class SeriesTally:
    """Feeds one column of a file to its series and counts what becomes of it.

    Parameters
    ----------
    appending : gwnet.store.save.samples.Appending
        Where the samples go.
    quantity, unit : str
        What they are.
    """

    def __init__(self, appending: Appending, quantity: str, unit: str) -> None:
        self.appending, self.quantity, self.unit = appending, quantity, unit
        self.shown: list[ConflictShown] = []
        self._counts: dict[str, int] = dict.fromkeys(("rows", "added", "same", "repeated", "conflicts", "missing"), 0)
        self._first: int | None = None
        self._last: int | None = None

    def add(self, time_ms: Times, value: NDArray[np.float64], row: Times) -> None:
        """Take the next chunk; rows without a number are counted as missing and not stored.

        Parameters
        ----------
        time_ms : numpy.ndarray of int64
            Times, shape (n,).
        value : numpy.ndarray of float64
            Values, NaN for none, shape (n,).
        row : numpy.ndarray of int64
            Lines of the file, shape (n,).
        """
        self._counts["rows"] += int(time_ms.size)
        there = ~np.isnan(value)
        if not there.all():
            self._counts["missing"] += int(np.count_nonzero(~there))
            time_ms, value, row = time_ms[there], value[there], row[there]
        if not time_ms.size:
            return
        first, last = int(time_ms.min()), int(time_ms.max())
        self._first = first if self._first is None else min(self._first, first)
        self._last = last if self._last is None else max(self._last, last)
        self._count(self.appending.add(time_ms, value, row))

    def _count(self, done: Appended) -> None:
        self._counts["added"] += done.added
        self._counts["same"] += done.same
        self._counts["repeated"] += done.repeated
        conflicts = done.conflicts
        self._counts["conflicts"] += int(conflicts.time_ms.size)
        room = _SHOWN - len(self.shown)
        columns = (conflicts.row, conflicts.time_ms, conflicts.stored, conflicts.given)
        for row, time, stored, given in zip(*(column[:room].tolist() for column in columns), strict=True):
            self.shown.append(ConflictShown(row, self.quantity, self.unit, time, stored, given))

    def counts(self, **more: Any) -> Counts:
        """Return what became of the rows.

        Parameters
        ----------
        **more : int
            Counts that are of the whole file.
        """
        return Counts(**self._counts, first_ms=self._first, last_ms=self._last, **more)
