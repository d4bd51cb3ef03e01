"""What a report needs of loggers: gone through once, one well after the other, and thinned to what can be shown.

Lines are thinned to 3,000 columns over the whole and again over the time that is drawn. The samples of one well are
held at a time; a gathered record keeps 4 million samples of channels at most.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.loggers.channels import deployments_in
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.analysis.loggers.status import summarize_status
from gwnet.figures.hydrograph.logger_line import LoggerSeries
from gwnet.hydro.loggers.dense_series import thin
from gwnet.products.logger_series import Run, line_of_well, runs_of
from gwnet.store.snapshot import Snapshot

#: Columns to which lines are thinned, over the whole line and over the time that is drawn: more than print or screen
#: can show.
COLUMNS: Final = 3_000


@dataclass(frozen=True, eq=False)
class ReportLoggers:
    """What a report needs of loggers, small beside their samples.

    Attributes
    ----------
    lines : dict of str to LoggerSeries
        By well; of every column of `COLUMNS` the first, last, smallest and largest head of each unbroken piece.
    runs : list of Run
        Unbroken runs of samples.
    table : pandas.DataFrame or None
        The status of each deployment, from `gwnet.analysis.loggers.status.summarize_status`; None unless asked for.
    """

    lines: dict[str, LoggerSeries]
    runs: list[Run]
    table: pd.DataFrame | None


def report_loggers(
    record: Snapshot, wells: Sequence[str], *, shown_from: dt.date | None = None, with_status: bool = True
) -> ReportLoggers:
    """Return what a report needs of the loggers of its wells.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    wells : sequence of str
        Wells.
    shown_from : datetime.date, optional
        From when on hydrographs are drawn; the whole record unless given.
    with_status : bool, optional
        Whether to work out the status of each deployment.

    Notes
    -----
    The samples of one well are held at a time: those of all wells of a large network would not fit into a computer.
    """
    lines, table = _Lines(record, shown_from), None
    if with_status:
        # Heads pass by once for status and lines: all of them together may not fit into memory.
        table = summarize_status(record, wells, seen=lines.see)
    else:
        for one in iterate_heads(record, deployments_in(record, wells)):
            lines.see(one)
    return ReportLoggers(lines.lines(), lines.runs, table)


class _Lines:
    """Makes lines of deployments that come one after the other, those of a well together."""

    def __init__(self, record: Snapshot, shown_from: dt.date | None) -> None:
        self._record = record
        # A day before, since local days may begin 14 hours before those of UTC.
        self._shown_from = None if shown_from is None else np.datetime64(shown_from, "us") - np.timedelta64(1, "D")
        self._members: list[LoggerHeads] = []
        self._lines: dict[str, LoggerSeries] = {}
        self.runs: list[Run] = []

    def see(self, one: LoggerHeads) -> None:
        """Take what is needed of one deployment; it is held until the next well comes."""
        if self._members and self._members[0].well != one.well:
            self._end_well()
        self._members.append(one)
        self.runs += runs_of(one)

    def lines(self) -> dict[str, LoggerSeries]:
        """Return the lines by well."""
        self._end_well()
        return self._lines

    def _end_well(self) -> None:
        if self._members:
            line = line_of_well(self._members, self._record)
            self._lines[self._members[0].well] = thinned(line, self._shown_from)
        self._members = []


def thinned(line: LoggerSeries, shown_from: np.datetime64 | None = None, *, columns: int = COLUMNS) -> LoggerSeries:
    """Return a line of fewer samples that looks the same.

    Parameters
    ----------
    line : LoggerSeries
        The line.
    shown_from : numpy.datetime64, optional
        From when on it is drawn; kept as finely again from there on.
    columns : int, optional
        Columns of the whole line, and of its part that is drawn.

    Returns
    -------
    LoggerSeries
        The approved parts and the others each keep first, last, smallest and largest head of every column; where the
        line broke, it still does. Lines that are short already stay as they are.
    """
    line = _thinned_doubtful(line, columns)
    times, values, approved = line.time_utc, line.water_elevation_m, line.approved
    # Thinning keeps up to four samples a column: first, last, lowest and highest.
    if times.size <= 4 * columns:
        return line
    # Times must rise: of samples at one instant the first is kept.
    places = np.flatnonzero(np.append(True, np.diff(times) > np.timedelta64(0, "us")))
    starts = [times[0], *([] if shown_from is None else [shown_from])]
    states = [np.where(chosen, values[places], np.nan) for chosen in (approved[places], ~approved[places])]
    # Thinned for the whole span and again from where the drawing begins, whose columns are narrower in time. Approved
    # and provisional samples each by themselves: they are drawn in two looks, and a spike of one must not stand for the
    # other.
    parts = [
        thin(times[places], shown, start_utc=start, end_utc=times[-1], columns=columns)
        for shown in states
        for start in starts
        if start < times[-1] and not np.isnan(shown).all()
    ]
    if not parts:
        return line
    kept = _with_breaks(places[np.unique(np.concatenate(parts))], values)
    return replace(line, time_utc=times[kept], water_elevation_m=values[kept], approved=approved[kept])


def _thinned_doubtful(line: LoggerSeries, columns: int) -> LoggerSeries:
    """Return a line with fewer of the elevations that open findings keep out."""
    times, values = line.doubtful_utc, line.doubtful_m
    if times.size <= 4 * columns:
        return line
    places = np.flatnonzero(np.append(True, np.diff(times) > np.timedelta64(0, "us")))
    part = thin(times[places], values[places], start_utc=times[0], end_utc=times[-1], columns=columns)
    kept = _with_breaks(places[part], values)
    return replace(line, doubtful_utc=times[kept], doubtful_m=values[kept])


def _with_breaks(kept: NDArray[np.int64], values: Any) -> NDArray[np.int64]:
    """Return the places kept with one break after each sample that a break follows."""
    known = kept[~np.isnan(values[kept])]
    breaks = np.append(np.flatnonzero(np.isnan(values)), values.size)
    following = breaks[np.searchsorted(breaks, known)]
    return np.union1d(known, following[following < np.append(known[1:], values.size)])
