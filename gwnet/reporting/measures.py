"""Prints lengths, changes, times and directions the same way everywhere in a report."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from gwnet.clock import moment_text as instant_text
from gwnet.clock import zone_of
from gwnet.records import RecordState
from gwnet.reporting.content import number_text
from gwnet.units import metres_per, text_in_unit

#: A number at the end of a line and its unit on the next would be read apart.
_NO_BREAK: Final = "\u00a0"
_POINTS: Final = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)
_MOST_DECIMALS: Final = {"m": 3, "ft": 2}
_USUAL_DECIMALS: Final = 2
#: Units of length as they are written out.
LONG_UNITS: Final = {"m": "metres", "ft": "feet (0.3048 m)"}


@dataclass(frozen=True, slots=True)
class Measures:
    """How lengths are printed.

    Parameters
    ----------
    unit : {"m", "ft"}
        Unit of every length in the report.
    decimals : int
        Decimals of levels and of everything compared with them.
    """

    unit: str
    decimals: int

    def length(self, metres: float) -> float:
        """Return a length in the report's unit; NaN stays NaN."""
        return float(metres) / metres_per(self.unit)

    def text(self, metres: float, *, signed: bool = False, decimals: int | None = None) -> str:
        """Return a length with its unit as running text."""
        places = self.decimals if decimals is None else decimals
        return f"{number_text(self.length(metres), places, signed=signed)}{_NO_BREAK}{self.unit}"

    def words(self, text: str, *, signed_only: bool = True) -> str:
        """Return a sentence with its signed lengths, or all its lengths in metres, in the report's unit."""
        return text_in_unit(text, self.unit, signed_only=signed_only)

    def plus_minus(self, metres: float, uncertainty_m: float, *, signed: bool = False) -> str:
        """Return a length with its 95 % half-width as running text; without one when it is not known."""
        if not math.isfinite(uncertainty_m):
            return self.text(metres, signed=signed)
        value = number_text(self.length(metres), self.decimals, signed=signed)
        half = number_text(self.length(uncertainty_m), self.decimals)
        return f"{value}{_NO_BREAK}±{_NO_BREAK}{half}{_NO_BREAK}{self.unit}"


def fitting_decimals(uncertainty_m: npt.ArrayLike, unit: str) -> int:
    """Return the decimals that the uncertainty of levels allows.

    Parameters
    ----------
    uncertainty_m : array_like
        95 % half-widths; NaN where unknown [m].
    unit : {"m", "ft"}
        Unit of printing.

    Returns
    -------
    int
        The last place printed is at most half of the median half-width, but never finer than a tape is read:
        1 mm or 0.01 ft; 2 when no uncertainty is known.
    """
    values = np.asarray(uncertainty_m, dtype=np.float64)
    values = values[np.isfinite(values) & (values > 0)]
    if not values.size:
        return _USUAL_DECIMALS
    # The 95 % half-width is two standard uncertainties; the step of the last digit is to be no more than one.
    half = float(np.median(values)) / metres_per(unit) / 2
    return int(min(max(math.ceil(-math.log10(half) - 1e-9), 0), _MOST_DECIMALS[unit]))


def moment_text(measured_at: str) -> str:
    """Return the local time of a measurement, ``2026-02-11 09:40``, or only the day when no time is known."""
    day, _, clock = measured_at.partition("T")
    return f"{day}{_NO_BREAK}{clock[:5]}" if clock else day


def stamp_text(moment: dt.datetime, zone: str) -> str:
    """Return a zone-aware time as text, on the clock of a zone, which is named by its offset."""
    return instant_text(moment, zone, timespec="minutes").replace(" ", _NO_BREAK)


def state_text(state: RecordState) -> str:
    """Return a state of the record as text."""
    return state.text.replace(" ", _NO_BREAK)


def day_of(measured_at: str) -> dt.date:
    """Return the local day of a measurement."""
    return dt.date.fromisoformat(measured_at[:10])


def date_of(value: Any) -> dt.date | None:
    """Return a day from a date, a time or ISO text; None when there is none."""
    if value is None or value == "" or pd.isna(value):
        return None
    # Before the test for a date: a datetime is one too.
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    return dt.date.fromisoformat(str(value)[:10])


def local_day(moment: Any, zone: str) -> dt.date | None:
    """Return the day of a time in UTC on the site's clock; None when there is no time."""
    if moment is None or pd.isna(moment):
        return None
    local: dt.datetime = pd.Timestamp(moment).to_pydatetime()
    return local.astimezone(zone_of(zone)).date()


def compass(azimuth_deg: float) -> str:
    """Return the nearest of the eight points of the compass in words."""
    # From 337.5° on the nearest point is north again, the first of the eight.
    return _POINTS[round(azimuth_deg % 360 / 45) % 8]


def joined(names: list[str], most: int = 8) -> str:
    """Return names as a list in words; of very many only the first few and how many more there are.

    Examples
    --------
    >>> joined(["A", "B", "C"])
    'A, B and C'
    """
    if len(names) > most:
        # Three at least are left for the number: it must not take more room than the names would.
        shown = most - 2
        return f"{', '.join(names[:shown])} and {len(names) - shown} others"
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
