"""What instruments recorded, as arrays in SI units with their clocks put right, and what the record says of them.

Clock and factor say how one segment was read and hold for that segment; every other correction holds for instrument and
quantity. Spans of clock corrections are by the clock of the file, all others by true time. A clock belongs to the
instrument: its other quantities follow the one that gives the level. Settings of whole deployments (`anchoring`,
`density`, `efficiency`) come from the rows whose span meets the deployment, a later row before an earlier one, with the
readings that they leave out added up.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence, Sized
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, Generic, TypeVar

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.correction_history import CorrectionHistory
from gwnet.clock import to_instant
from gwnet.hydro.arrays import Floats, Instants
from gwnet.hydro.loggers.clock_shift import ClockOperation, correct_times
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.snapshot import Snapshot
from gwnet.units import metres_per, to_celsius, to_pascals

#: Quantities that give a level, the best first.
LEVEL_QUANTITIES: Final = ("absolute pressure", "water pressure", "water column", "depth to water", "water elevation")

_PRESSURES: Final = ("absolute pressure", "water pressure", "air pressure", "sea-level pressure")
_LENGTHS: Final = ("water column", "depth to water", "water elevation")
_TEMPERATURES: Final = ("water temperature", "air temperature")

#: Samples of channels that are kept for being asked for again; beyond them the oldest are let go, and fetched anew.
_MOST_HELD: Final = 4_000_000

#: Samples of heads that are kept; each needs about five times the memory of one of a channel.
_MOST_HEADS: Final = 1_000_000

#: Samples of which it is kept whether a finding about them is open: a byte each.
_MOST_DOUBTS: Final = 100_000_000

Result = TypeVar("Result", bound=Sized | None)

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


class Held(Generic[Result]):
    """Results with samples that are kept for being asked for again, the oldest let go when they become too many.

    Parameters
    ----------
    most : int
        Samples of all results together; the newest stays however many it has.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: dict[Hashable, Result] = {}

    def once(self, key: Hashable, make: Callable[[], Result]) -> Result:
        """Return what is kept under a key, or make and keep it.

        Parameters
        ----------
        key : hashable
            Name of the result.
        make : callable
            Called without arguments where nothing is kept.

        Returns
        -------
        object
            The result.
        """
        if key not in self._kept:
            self._kept[key] = make()
            held = sum(0 if result is None else len(result) for result in self._kept.values())
            # All but the newest: what was asked for last must stay, however large it is.
            for oldest in list(self._kept)[:-1]:
                if held <= self._most:
                    break
                gone = self._kept.pop(oldest)
                held -= 0 if gone is None else len(gone)
        return self._kept[key]


class LoggerRecord:
    """What is on record of loggers; samples are fetched as they are asked for.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of all sites, since an instrument may have been at several.

    Attributes
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    heads : Held of gwnet.analysis.loggers.heads.LoggerHeads
        Heads of deployments that were worked out, by the number of the deployment, before open findings are looked at.
    doubts : Held of numpy.ndarray
        Which of their samples open findings keep out: `gwnet.analysis.loggers.doubts.find_doubts`.
    near_levels : Held of gwnet.analysis.loggers.common_causes.Seen
        Levels around a day, by deployment and day.
    clocks : dict of int to gwnet.analysis.loggers.clocks.Clock
        Clocks that were compared, by the number of the deployment.
    """

    def __init__(self, record: Snapshot) -> None:
        self.record = record
        self.heads: Held[Any] = Held(_MOST_HEADS)
        self.doubts: Held[Any] = Held(_MOST_DOUBTS)
        self.near_levels: Held[Any] = Held(_MOST_HELD)
        self.clocks: dict[int, Any] = {}
        self._channels: Held[Channel | None] = Held(_MOST_HELD)
        self._histories: dict[tuple[str, str], CorrectionHistory] = {}
        self._segments: dict[tuple[str, str], list[tuple[Any, CorrectionHistory, list[ClockOperation]]]] = {}

    @cached_property
    def series(self) -> pd.DataFrame:
        """Return the series; see `gwnet.store.fetch.samples.series`."""
        return fetch_samples.series(self.record.connection, self.record.known_on)

    @cached_property
    def corrections(self) -> pd.DataFrame:
        """Return the corrections; see `gwnet.store.fetch.samples.corrections`."""
        return fetch_samples.corrections(self.record.connection, self.record.known_on)

    @cached_property
    def downloads(self) -> pd.DataFrame:
        """Return the downloads; see `gwnet.store.fetch.samples.downloads`."""
        return fetch_samples.downloads(self.record.connection, self.record.known_on)

    def deployments_of(self, instrument: str) -> pd.DataFrame:
        """Return the deployments of an instrument at any site.

        Parameters as `gwnet.analysis.loggers`.

        Returns
        -------
        pandas.DataFrame
            Its rows of `gwnet.store.fetch.samples.deployments`.
        """
        table = self.record.deployments
        return table[table["instrument"] == instrument]

    def downloads_of(self, channel: Channel) -> pd.DataFrame:
        """Return the downloads that samples of a channel may have come from.

        Parameters
        ----------
        channel : Channel
            The channel.

        Returns
        -------
        pandas.DataFrame
            Rows of `gwnet.store.fetch.samples.downloads` of the same instrument and quantity.
        """
        table = self.downloads
        return table[(table["instrument"] == channel.instrument) & (table["quantity"] == channel.quantity)]

    def instrument_number(self, instrument: str, column: str) -> float:
        """Return a number on record of an instrument.

        Parameters
        ----------
        instrument : str
            Code of the instrument.
        column : str
            Column of `gwnet.store.fetch.programme.instruments`.

        Returns
        -------
        float
            The number; NaN where none is on record.
        """
        table = self.record.instruments
        values = table.loc[table["instrument"] == instrument, column]
        return float("nan") if values.empty or pd.isna(values.iloc[0]) else float(values.iloc[0])

    def zone_of(self, site: str) -> str:
        """Return the time zone of a site.

        Parameters
        ----------
        site : str
            Code of the site.
        """
        return str(self.record.of_site(site).settings["time_zone"])

    def level_quantity(self, instrument: str) -> str:
        """Return which quantity of an instrument gives its level.

        Parameters as `gwnet.analysis.loggers`.

        Returns
        -------
        str
            The first of `LEVEL_QUANTITIES` of which samples are on record; empty for none.
        """
        rows = self.series[(self.series["instrument"] == instrument) & (self.series["sample_count"] > 0)]
        have = set(rows["quantity"])
        # A series may be on record without samples, as after its files were withdrawn.
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
        key = (instrument, quantity)
        if key not in self._histories:
            table = self.corrections
            rows = table[(table["instrument"] == instrument) & (table["quantity"] == quantity)]
            self._histories[key] = CorrectionHistory(rows, self.zone_of_instrument(instrument))
        return self._histories[key]

    def zone_of_instrument(self, instrument: str) -> str:
        """Return the time zone of the site at which an instrument was installed last.

        Parameters as `gwnet.analysis.loggers`.

        Returns
        -------
        str
            Name of the zone; ``UTC`` of one that was never installed.
        """
        rows = self.deployments_of(instrument)
        return self.zone_of(str(rows["site"].iloc[-1])) if len(rows) else "UTC"

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
        low, high = to_instant(start), to_instant(end)
        key = (instrument, quantity, int(low.astype(np.int64)), int(high.astype(np.int64)))
        return self._channels.once(key, lambda: self._fetched(instrument, quantity, low, high))

    def _fetched(self, instrument: str, quantity: str, low: np.datetime64, high: np.datetime64) -> Channel | None:
        parts = self._segments_of(instrument, quantity)
        segments = [segment for part in parts if (segment := self._segment(*part, low, high)) is not None]
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
            unit=str(parts[-1][0].unit),
            time_utc=joined.true[span],
            value=joined.value[span],
            file_time_utc=joined.file_time[span],
            as_read=joined.as_read[span],
            overlapping=joined.overlapping,
            correction_history=self.correction_history(instrument, quantity),
        )

    def _segments_of(self, instrument: str, quantity: str) -> list[tuple[Any, CorrectionHistory, list[ClockOperation]]]:
        """Return the series of a quantity that hold samples, each with its own corrections and those of its clock.

        Kept, because channels are asked for by the day around each step, and nothing of this depends on the day.
        """
        key = (instrument, quantity)
        if key not in self._segments:
            rows = self.series[(self.series["instrument"] == instrument) & (self.series["quantity"] == quantity)]
            correction_history, level = self.correction_history(instrument, quantity), self.level_quantity(instrument)
            self._segments[key] = []
            for row in rows[rows["sample_count"] > 0].itertuples():
                own = correction_history.of_series(int(row.series_id))
                clock = own.clock()
                if not clock and quantity != level:
                    clock = self.correction_history(instrument, level).clock()
                self._segments[key].append((row, own, clock))
        return self._segments[key]

    def _segment(
        self,
        row: Any,
        own: CorrectionHistory,
        clock: list[ClockOperation],
        low: np.datetime64,
        high: np.datetime64,
    ) -> _Segment | None:
        """Return the samples of one segment with its clock put right and its factors applied."""
        # As far as the clock may be off, since the span is by true time and samples are found by the file's.
        reach = np.timedelta64(int(_MARGIN.total_seconds() + sum(abs(one.seconds) for one in clock)), "s")
        time_ms, value = fetch_samples.samples(
            self.record.connection,
            int(row.series_id),
            _ms(low, -reach),
            _ms(high, reach),
            known_on=self.record.known_on,
            # Packs are a copy: they serve only while they hold every sample of the series.
            is_packed=row.packed_count == row.sample_count,
        )
        if time_ms.size == 0:
            return None
        when = time_ms.astype("datetime64[ms]").astype("datetime64[us]")
        value = _in_si(value, str(row.quantity), str(row.unit))
        if not clock:
            return _Segment(when, own.apply_scales(when, value), when, value, 0)
        corrected = correct_times(when, clock)
        kept = ~corrected.overlaps
        true, when, value = corrected.time_utc[kept], when[kept], value[kept]
        # Factors hold over true time, so the clock is put right first.
        return _Segment(true, own.apply_scales(true, value), when, value, int(corrected.overlaps.sum()))


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
    # Stable, so that of two samples at one instant the one of the earlier segment stays.
    kept = order[np.append(True, np.diff(true[order]) > np.timedelta64(0, "us"))]
    overlapping = sum(segment.overlapping for segment in segments) + order.size - kept.size
    return _Segment(true[kept], value[kept], file_time[kept], as_read[kept], overlapping)


def _in_si(value: Floats, quantity: str, unit: str) -> Floats:
    """Return values in pascals, metres or degrees Celsius; other quantities as they are."""
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


def loggers_of(record: Snapshot) -> LoggerRecord:
    """Return what is on record of loggers, gathered once for a snapshot.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.

    Returns
    -------
    LoggerRecord
        Of all sites, whichever is looked at.
    """
    # One for all sites: a barometer of one site may serve a well of another.
    everywhere = record.of_all_sites()
    return everywhere.once("loggers", lambda: LoggerRecord(everywhere))


def suppose_corrections(record: Snapshot, corrections: pd.DataFrame) -> Snapshot:
    """Return the same record as if other corrections were on it; nothing is recorded.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    corrections : pandas.DataFrame
        Corrections, as `LoggerRecord.corrections`.

    Returns
    -------
    gwnet.store.snapshot.Snapshot
        A snapshot of its own.
    """
    supposed = Snapshot(record.connection, record.known_on)
    # Put in place of the cached table, so that everything worked out of the new record follows it.
    vars(loggers_of(supposed))["corrections"] = corrections
    return supposed


def deployments_in(record: Snapshot, wells: Sequence[str] | None = None) -> pd.DataFrame:
    """Return the deployments in wells.

    Parameters as `gwnet.analysis.loggers`.

    Returns
    -------
    pandas.DataFrame
        Rows of `gwnet.store.fetch.samples.deployments`.
    """
    table = record.deployments
    chosen = table["well"] != ""
    if wells is not None:
        chosen &= table["well"].isin(list(wells))
    return table[chosen]
