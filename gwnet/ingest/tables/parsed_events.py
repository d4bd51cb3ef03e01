"""Level events as they are to be stored, one entry a row of the file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gwnet.hydro.reduction.elevation import depth_of_two_readings
from gwnet.ingest.tables.convert import convert, factors, units_of
from gwnet.ingest.tables.lookup import Codes, When, when_measured
from gwnet.ingest.tables.parse import Parsed
from gwnet.store.contract import TAPE_READINGS
from gwnet.units import metres_per


@dataclass(frozen=True)
class Events:
    """Columns of parsed level events.

    Attributes
    ----------
    parsed : gwnet.ingest.tables.parse.Parsed
        The table as it was parsed.
    well : numpy.ndarray of int64
        Wells; -1 where not on record.
    access, event : numpy.ndarray of str
        Opening of the well, and the source's own number.
    when : gwnet.ingest.tables.lookup.When
        When each was measured.
    units : list of str
        Unit of lengths whose heading names none.
    tolerance_m : numpy.ndarray of float64
        Repeat tolerance of the site [m].
    columns : dict of str to numpy.ndarray
        Columns of the level record.
    """

    parsed: Parsed
    well: NDArray[np.int64]
    access: NDArray[np.object_]
    event: NDArray[np.object_]
    when: When
    units: list[str]
    tolerance_m: NDArray[np.float64]
    columns: dict[str, Any]

    def key(self, row: int) -> tuple[int, str, str, bool, str]:
        """Return what makes an event the same event."""
        time = str(self.when.utc[row])
        return (int(self.well[row]), self.access[row], time, bool(self.when.time_known[row]), self.event[row])

    def units_of(self, column: str) -> list[str]:
        """Return the unit of each row's reading."""
        return units_of(self.parsed, column, self.units)

    def units_at(self, column: str, row: int) -> str:
        """Return the unit of one reading."""
        unit = self.parsed.raw.units.get(column)
        if unit:
            return unit
        return str(self.parsed.kept_units[column][row]) if column in self.parsed.kept_units else self.units[row]

    def depth_to_water(self) -> NDArray[np.float64]:
        """Return the first depth to water in metres, not rounded: as read, or of two readings of a tape."""
        mark, water = (self.metres(name) for name in TAPE_READINGS)
        depth = self.metres("depth_to_water")
        return np.where(np.isnan(depth), depth_of_two_readings(mark, water), depth)

    def length(self, column: str, row: Any) -> str:
        """Return a reading as a person reads it: the number and its unit as in the file."""
        return f"{float(self.parsed.values[column][row]):g} {self.units_at(column, row)}"

    def in_unit_of(self, column: str, row: Any, value_m: float) -> str:
        """Return a length in the unit of a reading, to hundredths."""
        unit = self.units_at(column, row)
        return f"{value_m / metres_per(unit):.2f} {unit}"

    def metres(self, column: str) -> NDArray[np.float64]:
        """Return a column of readings in metres, not rounded; NaN for empty cells."""
        return np.asarray(self.parsed.values[column] * factors(self.parsed, column, self.units), dtype=np.float64)


def convert_events(parsed: Parsed, codes: Codes) -> Events:
    """Return level events as they are to be stored.

    Parameters as `gwnet.ingest.tables`.
    """
    converted = convert(parsed, codes)
    sites, columns = converted.sites, dict(converted.columns)
    assert sites is not None
    wells = np.array([-1 if number is None else number for number in columns.pop("well_id")], dtype=np.int64)
    return Events(
        parsed=parsed,
        well=wells,
        access=_filled(parsed, "access"),
        event=_filled(parsed, "event"),
        when=when_measured(parsed, sites, codes),
        units=converted.units,
        tolerance_m=np.array([codes.tolerances.get(number, np.nan) for number in sites.tolist()], dtype=np.float64),
        columns={
            name: values if isinstance(values, np.ndarray) else _object_array(values)
            for name, values in columns.items()
        },
    )


def _filled(parsed: Parsed, name: str) -> NDArray[np.object_]:
    default = parsed.table.column(name).default
    return _object_array([default if value is None else value for value in parsed.values[name]])


def _object_array(values: list[Any]) -> NDArray[np.object_]:
    return np.array(values, dtype=object)
