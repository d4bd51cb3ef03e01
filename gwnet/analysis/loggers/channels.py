"""What instruments recorded, as arrays in SI units with their clocks put right, and what the record says of them.

Clock and factor say how one segment was read and hold for that segment; every other correction holds for instrument and
quantity. Spans of clock corrections are by the clock of the file, all others by true time. A clock belongs to the
instrument: its other quantities follow the one that gives the level. Settings of whole deployments (`anchoring`,
`density`, `efficiency`) come from the rows whose span meets the deployment, a later row before an earlier one, with the
readings that they leave out added up.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.correction_history import CorrectionHistory, instant
from gwnet.hydro.arrays import Floats, Instants
from gwnet.hydro.loggers.clock_shift import correct_times
from gwnet.records import Selection
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.snapshot import Snapshot
from gwnet.units import metres_per, to_celsius, to_pascals

#: Quantities that give a level, the best first.
LEVEL_QUANTITIES: Final = ("absolute pressure", "water pressure", "water column", "depth to water", "water elevation")

_PRESSURES: Final = ("absolute pressure", "water pressure", "air pressure")
_LENGTHS: Final = ("water column", "depth to water", "water elevation")
_TEMPERATURES: Final = ("water temperature", "air temperature")

#: Samples of channels that are kept for being asked for again; beyond them the oldest are let go, and fetched anew.
_MOST_HELD: Final = 4_000_000

#: How far beyond a span samples are fetched, so that a corrected clock may bring them into it.
_MARGIN: Final = pd.Timedelta(days=3)


@dataclass(frozen=True)
class Channel:
    """One quantity of one instrument over a span.

    Attributes
    ----------
    instrument, quantity, unit : str
        What it is, and the unit of its files.
    time_utc : numpy.ndarray of datetime64[us], shape (n,)
        Times put right, rising.
    value : numpy.ndarray, shape (n,)
        Pa, m or degC; other quantities as they stood in the files. NaN for a missing one.
    file_time_utc : numpy.ndarray of datetime64[us], shape (n,)
        Times as they stood in the files.
    as_read : numpy.ndarray, shape (n,)
        Values in SI before any factor.
    overlapping : int
        Samples left out because the corrected clock brings them onto time that others hold.
    correction_history : CorrectionHistory
        Corrections on record for it.
    """

    instrument: str
    quantity: str
    unit: str
    time_utc: Instants
    value: Floats
    file_time_utc: Instants
    as_read: Floats
    overlapping: int
    correction_history: CorrectionHistory

    def __len__(self) -> int:
        """Return the number of samples."""
        return int(self.time_utc.size)


@dataclass
class LoggerRecord:
    """What is on record of loggers and what hangs on them; samples are fetched as they are asked for.

    Attributes
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime or None
        Record as known at this time.
    deployments, series, corrections, downloads, instruments, wells, measuring_points, sites, levels : pandas.DataFrame
        Rows on record; levels are those of the wells in which a logger hung.
    """

    connection: Connection
    known_on: dt.datetime | None
    deployments: pd.DataFrame
    series: pd.DataFrame
    corrections: pd.DataFrame
    downloads: pd.DataFrame
    instruments: pd.DataFrame
    wells: pd.DataFrame
    measuring_points: pd.DataFrame
    sites: pd.DataFrame
    levels: pd.DataFrame
    _cache: dict[tuple[str, str, int, int], Channel | None] = field(default_factory=dict, repr=False)

    def level_quantity(self, instrument: str) -> str:
        """Return which quantity of an instrument gives its level.

        Parameters
        ----------
        instrument : str
            Code of the instrument.

        Returns
        -------
        str
            The first of `LEVEL_QUANTITIES` of which samples are on record; empty for none.
        """
        rows = self.series[(self.series["instrument"] == instrument) & (self.series["sample_count"] > 0)]
        have = set(rows["quantity"])
        return next((quantity for quantity in LEVEL_QUANTITIES if quantity in have), "")

    def correction_history(self, instrument: str, quantity: str) -> CorrectionHistory:
        """Return the corrections on record for one quantity of an instrument.

        Parameters
        ----------
        instrument : str
            Code of the instrument.
        quantity : str
            The quantity.

        Returns
        -------
        CorrectionHistory
            Corrections, in order of recording.
        """
        table = self.corrections
        return CorrectionHistory(table[(table["instrument"] == instrument) & (table["quantity"] == quantity)])

    def channel(
        self, instrument: str, quantity: str, start: pd.Timestamp | None, end: pd.Timestamp | None
    ) -> Channel | None:
        """Return one quantity of an instrument over a span.

        Parameters
        ----------
        instrument : str
            Code of the instrument.
        quantity : str
            The quantity.
        start, end : pandas.Timestamp or None
            Half-open span in true time; None or NaT for open.

        Returns
        -------
        Channel or None
            None where there is no sample.

        Notes
        -----
        A clock belongs to the instrument: where no clock operation is on record for the quantity itself, those of the
        quantity that gives its level hold.
        """
        low, high = instant(start), instant(end)
        key = (instrument, quantity, int(low.astype(np.int64)), int(high.astype(np.int64)))
        if key not in self._cache:
            self._cache[key] = self._fetched(instrument, quantity, low, high)
            self._let_go()
        return self._cache[key]

    def _let_go(self) -> None:
        """Forget the oldest channels while more samples are held than should be; the newest stays."""
        held = sum(len(channel) for channel in self._cache.values() if channel is not None)
        for key in list(self._cache)[:-1]:
            if held <= _MOST_HELD:
                return
            gone = self._cache.pop(key)
            held -= 0 if gone is None else len(gone)

    def _fetched(self, instrument: str, quantity: str, low: np.datetime64, high: np.datetime64) -> Channel | None:
        rows = self.series[(self.series["instrument"] == instrument) & (self.series["quantity"] == quantity)]
        rows = rows[rows["sample_count"] > 0]
        correction_history = self.correction_history(instrument, quantity)
        segments = [
            segment
            for row in rows.itertuples()
            if (segment := self._segment(row, correction_history, low, high)) is not None
        ]
        if not segments:
            return None
        joined = segments[0] if len(segments) == 1 else _joined(segments)
        span = slice(
            0 if np.isnat(low) else int(np.searchsorted(joined.true, low, side="left")),
            joined.true.size if np.isnat(high) else int(np.searchsorted(joined.true, high, side="left")),
        )
        if joined.true[span].size == 0:
            return None
        return Channel(
            instrument=instrument,
            quantity=quantity,
            unit=str(rows["unit"].iloc[-1]),
            time_utc=joined.true[span],
            value=joined.value[span],
            file_time_utc=joined.file_time[span],
            as_read=joined.as_read[span],
            overlapping=joined.overlapping,
            correction_history=correction_history,
        )

    def _segment(
        self, row: Any, correction_history: CorrectionHistory, low: np.datetime64, high: np.datetime64
    ) -> _Segment | None:
        """Return the samples of one segment with its clock put right and its factors applied."""
        own = correction_history.of_series(int(row.series_id))
        level = self.level_quantity(row.instrument)
        clock = own.clock()
        if not clock and row.quantity != level:
            clock = self.correction_history(row.instrument, level).clock()
        reach = np.timedelta64(int(_MARGIN.total_seconds() + sum(abs(one.seconds) for one in clock)), "s")
        time_ms, value = fetch_samples.samples(
            self.connection, int(row.series_id), _ms(low, -reach), _ms(high, reach), known_on=self.known_on
        )
        if time_ms.size == 0:
            return None
        when = time_ms.astype("datetime64[ms]").astype("datetime64[us]")
        value = in_si(value, str(row.quantity), str(row.unit))
        if not clock:
            return _Segment(when, own.scaled(when, value), when, value, 0)
        corrected = correct_times(when, clock)
        kept = ~corrected.overlaps
        true, when, value = corrected.time_utc[kept], when[kept], value[kept]
        return _Segment(true, own.scaled(true, value), when, value, int(corrected.overlaps.sum()))


@dataclass(frozen=True)
class _Segment:
    """Samples of one segment: true times, values, times and values as read, and how many overlapped."""

    true: Instants
    value: Floats
    file_time: Instants
    as_read: Floats
    overlapping: int


def _joined(segments: list[_Segment]) -> _Segment:
    """Return several segments as one series; of two samples at one instant the earlier segment's stays."""
    true, value, file_time, as_read = (
        np.concatenate([getattr(segment, name) for segment in segments])
        for name in ("true", "value", "file_time", "as_read")
    )
    order = np.argsort(true, kind="stable")
    kept = order[np.append(True, np.diff(true[order]) > np.timedelta64(0, "us"))]
    overlapping = sum(segment.overlapping for segment in segments) + order.size - kept.size
    return _Segment(true[kept], value[kept], file_time[kept], as_read[kept], overlapping)


def in_si(value: Floats, quantity: str, unit: str) -> Floats:
    """Return values in pascals, metres or degrees Celsius.

    Parameters
    ----------
    value : numpy.ndarray
        Values as they stood in a file.
    quantity, unit : str
        What they are.

    Returns
    -------
    numpy.ndarray
        Pa, m or degC; other quantities as they are.
    """
    if quantity in _PRESSURES:
        return np.asarray(to_pascals(value, unit), dtype=np.float64)
    if quantity in _LENGTHS:
        return np.asarray(value * metres_per(unit), dtype=np.float64)
    if quantity in _TEMPERATURES:
        return np.asarray(to_celsius(value, unit), dtype=np.float64)
    return value


def _ms(edge: np.datetime64, reach: np.timedelta64) -> int | None:
    """Return an edge in milliseconds, moved by a reach; None for an open one."""
    return None if np.isnat(edge) else int((edge + reach).astype("datetime64[ms]").astype(np.int64))


def gather_loggers(
    connection: Connection,
    *,
    wells: list[str] | None = None,
    site: str | None = None,
    known_on: dt.datetime | None = None,
) -> LoggerRecord:
    """Gather what is on record of loggers, without their samples.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    wells : list of str, optional
        Only deployments in these wells; all unless given.
    site : str, optional
        Only deployments at this site.
    known_on : datetime.datetime, optional
        Record as known at this time; the live record unless given.

    Returns
    -------
    LoggerRecord
        Deployments in wells and of barometers, and what hangs on them.
    """
    deployments = fetch_samples.deployments(connection, known_on)
    wanted = deployments["well"] != ""
    if wells is not None:
        wanted &= deployments["well"].isin(wells)
    if site is not None:
        wanted &= deployments["site"] == site
    hung = deployments[wanted]
    codes = sorted(set(hung["well"]))
    return LoggerRecord(
        connection=connection,
        known_on=known_on,
        deployments=deployments.assign(wanted=wanted),
        series=fetch_samples.series(connection, known_on),
        corrections=fetch_samples.corrections(connection, known_on),
        downloads=fetch_samples.downloads(connection, known_on),
        instruments=fetch_programme.instruments(connection, known_on),
        wells=fetch.wells(connection, known_on),
        measuring_points=fetch.measuring_points(connection, known_on),
        sites=fetch.sites(connection, known_on),
        levels=levels(Snapshot(connection, known_on, site), Selection.of(codes)),
    )
