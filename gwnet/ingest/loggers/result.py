"""What the loading of logger files did, file by file and series by series."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from gwnet.errors import GwnetError
from gwnet.store.save.downloads import Counts


@dataclass(frozen=True)
class SeriesResult:
    """What one file added to one series.

    Attributes
    ----------
    quantity, unit : str
        What it is and in which unit.
    column : str
        Heading of the column in the file.
    segment : int
        Segment of the series; more than 1 after a withdrawal or a change of unit.
    counts : gwnet.store.save.downloads.Counts
        What became of its rows.
    """

    quantity: str
    unit: str
    column: str
    segment: int
    counts: Counts


@dataclass(frozen=True)
class ConflictShown:
    """One value that differs from the one on record.

    Attributes
    ----------
    row : int
        Line of the file.
    quantity, unit : str
        What it is and in which unit.
    time_ms : int
        Time; milliseconds since 1970-01-01 UTC.
    stored, given : float
        The value that stays, and that of the file.
    """

    row: int
    quantity: str
    unit: str
    time_ms: int
    stored: float
    given: float


@dataclass(frozen=True)
class Rhythm:
    """How the times of a file follow one another, in its order.

    Attributes
    ----------
    interval_s : float or None
        Usual interval; None for fewer than two rows.
    gaps : int
        Steps of more than one and a half usual intervals.
    longest_gap_s : float
        The longest of them; 0 for none.
    backward : int
        Rows whose time lies before that of the row above: the clock was set back, or rows are not in order.
    """

    interval_s: float | None = None
    gaps: int = 0
    longest_gap_s: float = 0.0
    backward: int = 0


@dataclass(frozen=True)
class LoggerFileResult:
    """What happened to one logger file.

    Attributes
    ----------
    file : str
        Its name.
    sha256 : str
        Hash of its bytes; empty where it could not be read.
    instrument, layout, zone : str
        Instrument, layout and zone that it was read with; empty where it was not read.
    series : tuple of SeriesResult
        What it added to each series.
    events : int
        Rows that hold an event of the logger.
    rhythm : Rhythm
        Interval, gaps, steps back.
    outside : int
        Rows at times when the instrument was not installed.
    deployed : bool
        Whether any deployment of the instrument is on record.
    conflicts : tuple of ConflictShown
        The first conflicts.
    notes : tuple of str
        What was decided without being asked, and what should be looked at.
    findings : tuple of str
        What somebody should look at.
    error : gwnet.errors.GwnetError or None
        What stopped the file; nothing of it was stored then.
    """

    file: str
    sha256: str = ""
    instrument: str = ""
    layout: str = ""
    zone: str = ""
    series: tuple[SeriesResult, ...] = ()
    events: int = 0
    rhythm: Rhythm = Rhythm()
    outside: int = 0
    deployed: bool = True
    conflicts: tuple[ConflictShown, ...] = ()
    notes: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()
    error: GwnetError | None = None

    @property
    def conflict_count(self) -> int:
        """Return how many values differ from those on record."""
        return sum(series.counts.conflicts for series in self.series)

    @property
    def landed(self) -> bool:
        """Return whether the file was read and its download is on record."""
        return bool(self.series)


@dataclass(frozen=True)
class LoggersResult:
    """What a load of logger files did; each file by itself.

    Attributes
    ----------
    files : tuple of LoggerFileResult
        The files in the order given.
    """

    files: tuple[LoggerFileResult, ...]

    @property
    def refused(self) -> tuple[LoggerFileResult, ...]:
        """Return the files of which nothing was stored because of an error."""
        return tuple(file for file in self.files if file.error is not None)

    @property
    def has_findings(self) -> bool:
        """Return whether there is something to look at: conflicts, findings, or files refused beside others."""
        return bool(self.refused) or any(file.conflict_count or file.findings for file in self.files)

    def frame(self) -> pd.DataFrame:
        """Return the result as rows.

        Returns
        -------
        pandas.DataFrame
            One row a file and series, or a file where nothing was read: file, instrument, quantity, unit, segment,
            layout, zone, rows, added, same, repeated, conflicts, missing, events, first_utc, last_utc, interval_s,
            gaps, longest_gap_s, backward, outside, note.
        """
        rows = [row for file in self.files for row in _rows(file)]
        table = pd.DataFrame(rows, columns=list(_COLUMNS))
        for name in ("first_utc", "last_utc"):
            # By way of nullable integers: a refused file has no times, and plain integers would become floats.
            table[name] = pd.to_datetime(table[name].astype("Int64"), unit="ms", utc=True).astype("datetime64[us, UTC]")
        return table


_COUNTED = ("rows", "added", "same", "repeated", "conflicts", "missing", "events")
_COLUMNS = (
    *("file", "instrument", "quantity", "unit", "segment", "layout", "zone", *_COUNTED),
    *("first_utc", "last_utc", "interval_s", "gaps", "longest_gap_s", "backward", "outside", "note"),
)


def _rows(file: LoggerFileResult) -> list[dict[str, Any]]:
    note = "; ".join([*file.findings, *file.notes, *([str(file.error)] if file.error else [])])
    shared = {
        **{name: getattr(file, name) for name in ("file", "instrument", "layout", "zone", "events", "outside")},
        **asdict(file.rhythm),
        "note": note,
    }
    # A refused file keeps a row, so that none is missing from a table of a folder.
    if not file.series:
        return [{**dict.fromkeys(_COUNTED, 0), **shared, "quantity": "", "unit": "", "segment": 0}]
    return [
        {
            **{name: getattr(series.counts, name) for name in _COUNTED},
            **shared,
            **{name: getattr(series, name) for name in ("quantity", "unit", "segment")},
            "first_utc": series.counts.first_ms,
            "last_utc": series.counts.last_ms,
        }
        for series in file.series
    ]
