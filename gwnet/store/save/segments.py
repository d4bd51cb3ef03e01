"""The segments of one instrument and quantity: into which a download goes, and what the others have on record.

A new segment begins where the one before holds samples of a download that was withdrawn, which keep their place for
every earlier ``known_on``, or where the unit changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from gwnet.errors import UnitError
from gwnet.store.fetch import read_samples
from gwnet.store.fetch.sample_runs import runs_of
from gwnet.store.models.instruments import Instrument
from gwnet.store.models.loggers import Download, LoggerSeries
from gwnet.store.save.bulk import insert_columns, reserve_ids
from gwnet.units import METRES_PER_UNIT, PASCALS_PER_UNIT, TEMPERATURE_SCALES

Values = NDArray[np.float64]

#: Most decimals that values are assumed to have been written with.
_MOST_DECIMALS: Final = 9


@dataclass(frozen=True)
class OtherSegment:
    """A segment whose samples on record count beside a download that goes into another.

    Attributes
    ----------
    series_id : int
        Its series.
    unit : str
        Its unit.
    unit_here : str
        Unit of the download.
    """

    series_id: int
    unit: str
    unit_here: str

    def beside(
        self, connection: Connection, time_ms: NDArray[np.int64], value: Values
    ) -> tuple[NDArray[np.bool_], Values, NDArray[np.bool_]]:
        """Compare samples with those of this segment.

        Parameters
        ----------
        connection : sqlalchemy.Connection
            Connection to read from.
        time_ms : numpy.ndarray of int64
            Ascending times, perhaps repeated, at least one, shape (n,).
        value : numpy.ndarray of float64
            Values in the unit of the download, shape (n,).

        Returns
        -------
        found : numpy.ndarray of bool
            Whether this segment has a sample on record at that time, shape (n,).
        stored : numpy.ndarray of float64
            Its value in the unit of the download; anything where there is none, shape (n,).
        agrees : numpy.ndarray of bool
            Whether the two are the same value, within half of the last decimals where the units differ, shape (n,).
        """
        is_theirs, agrees = np.zeros(time_ms.size, dtype=bool), np.zeros(time_ms.size, dtype=bool)
        stored = np.full(time_ms.size, np.nan)
        runs = runs_of(connection, self.series_id)
        for times, held in read_samples.read_windows(connection, self.series_id, int(time_ms[0]), int(time_ms[-1])):
            counts = runs.owned_on_record(times)
            if counts.any():
                self._compare(times[counts], held[counts], time_ms, value, (is_theirs, stored, agrees))
        return is_theirs, stored, agrees

    def _compare(
        self,
        times: NDArray[np.int64],
        held: Values,
        time_ms: NDArray[np.int64],
        value: Values,
        compared: tuple[NDArray[np.bool_], Values, NDArray[np.bool_]],
    ) -> None:
        """Enter what some samples of this segment tell."""
        # the last place stands in for times after all of them, and is no match
        at = np.minimum(np.searchsorted(times, time_ms), times.size - 1)
        here = times[at] == time_ms
        there = convert_values(held[at], self.unit, self.unit_here)
        alike = there == value
        if self.unit != self.unit_here:
            # each export rounds in its own unit, so the same reading may differ by half a last decimal of either
            half = 0.5 * _last_decimal(held)
            slack = abs(float(np.subtract(*convert_values(np.array([half, 0.0]), self.unit, self.unit_here))))
            # 1 % more, for the rounding of the conversion
            alike = np.abs(there - value) <= 1.01 * (slack + 0.5 * _last_decimal(value))
        for into, what in zip(compared, (here, there, alike), strict=True):
            into[here] = what[here]


def _last_decimal(value: Values) -> float:
    """Return the place of the last decimal that values were written with, such as 0.01."""
    for places in range(_MOST_DECIMALS):
        if np.array_equal(np.round(value, places), value, equal_nan=True):
            return float(10.0**-places)
    return float(10.0**-_MOST_DECIMALS)


def convert_values(value: Values, unit: str, wanted: str) -> Values:
    """Return values in another unit of the same kind.

    Parameters
    ----------
    value : numpy.ndarray of float64
        Values, shape (n,).
    unit, wanted : str
        Canonical units of pressure, length or temperature, or any unit twice.

    Returns
    -------
    numpy.ndarray of float64
        Values in the wanted unit, shape (n,).

    Raises
    ------
    UnitError
        If the two are not of one kind.
    """
    if unit == wanted:
        return value
    for scale in (PASCALS_PER_UNIT, METRES_PER_UNIT):
        # one factor, so that a unit and back gives the same bits as far as may be
        if unit in scale and wanted in scale:
            return value * (scale[unit] / scale[wanted])
    if unit in TEMPERATURE_SCALES and wanted in TEMPERATURE_SCALES:
        (at_zero, a_degree), (other_zero, other_degree) = TEMPERATURE_SCALES[unit], TEMPERATURE_SCALES[wanted]
        return (value - at_zero) / a_degree * other_degree + other_zero
    message = f"Values in {unit} cannot be compared with values in {wanted}."
    raise UnitError(message, fix="Give the series another quantity, or say the unit of the column in the layout.")


def segment_for(
    connection: Connection, instrument_id: int, quantity: str, unit: str
) -> tuple[int, tuple[OtherSegment, ...]]:
    """Return the series into which a download goes, made where there is none, and the other segments beside it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work; on PostgreSQL the instrument is locked until it ends.
    instrument_id : int
        The instrument.
    quantity : str
        The quantity.
    unit : str
        Canonical unit of the download.

    Returns
    -------
    series_id : int
        The series.
    others : tuple of OtherTake
        All other segments of the instrument and quantity.

    Raises
    ------
    UnitError
        If a segment is in a unit of another kind.
    """
    connection.execute(select(Instrument.id).where(Instrument.id == instrument_id).with_for_update())
    withdrawn = select(Download.series_id).where(Download.retired_at_utc.is_not(None))
    segments = connection.execute(
        select(LoggerSeries.id, LoggerSeries.unit, LoggerSeries.segment, LoggerSeries.id.in_(withdrawn).label("spoilt"))
        .where(LoggerSeries.instrument_id == instrument_id, LoggerSeries.quantity == quantity)
        .order_by(LoggerSeries.segment)
    ).all()
    # Raises where units cannot be compared, before anything is stored.
    for segment in segments:
        convert_values(np.zeros(1), segment.unit, unit)
    fitting = [segment.id for segment in segments if segment.unit == unit and not segment.spoilt]
    if fitting:
        number = int(fitting[-1])
    else:
        number = int(reserve_ids(connection, "logger_series", 1)[0])
        last = segments[-1].segment if segments else 0
        columns = {
            "id": number,
            "instrument_id": instrument_id,
            "quantity": quantity,
            "unit": unit,
            "segment": last + 1,
        }
        insert_columns(connection, "logger_series", columns, 1)
    return number, tuple(
        OtherSegment(int(segment.id), segment.unit, unit) for segment in segments if segment.id != number
    )
