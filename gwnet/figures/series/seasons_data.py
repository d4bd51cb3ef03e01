"""What the seasonal envelope of a well shows, as plain numbers and sentences."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.errors import AnalysisError
from gwnet.figures.base.axes import MONTHS
from gwnet.figures.base.panel import approved_sentence, site_text
from gwnet.figures.base.text import known_text, number_text, plain, shown
from gwnet.figures.maps.context import check_unit
from gwnet.records import RecordState
from gwnet.units import metres_per

Floats = NDArray[np.float64]

#: Statistics that a month is drawn with, from the lowest to the highest.
BANDS: Final = ("minimum", "p10", "p25", "p50", "p75", "p90", "maximum")

#: Days from the first day of the months to the first day of the year; 29 February is drawn on 1 March.
MONTH_STARTS: Final = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)
YEAR_DAYS: Final = 365

_DEFINITIONS: Final = {
    "weibull": "percentiles by rank over n + 1, 0 towards the lowest, 100 towards the highest",
    "linear": "percentiles interpolated from the lowest value (0) to the highest (100)",
}


@dataclass(frozen=True, slots=True, eq=False)
class YearLine:
    """Levels of one calendar year: days from 1 January, elevations [m], and -1 where one is a bound (dry)."""

    year: int
    days: Floats
    elevation_m: Floats
    bound: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class SeasonsPlotData:
    """The seasonal envelope of a well as plain numbers and sentences.

    Parameters
    ----------
    well, site, heading : str
        Written above the panel.
    unit : {"m", "ft"}
        Unit of the axis.
    datum : str
        Vertical datum.
    month : numpy.ndarray of int64, shape (k,)
        Calendar months that have values, 1 to 12.
    years : numpy.ndarray of int64, shape (k,)
        Years with a value in each.
    statistic_m : numpy.ndarray of float64, shape (k, 7)
        Statistics of `BANDS`; NaN where there are too few years [m].
    open_below : numpy.ndarray of bool, shape (k, 7)
        Where a statistic is a bound, at or below the number.
    newest_year, year_before : YearLine or None
        Levels that are drawn over the months.
    newest_text : str
        The newest level with its percentile, in words.
    low_m, high_m : float
        Range of everything drawn [m].
    notes : tuple of str
        Sentences of the caption.
    """

    well: str
    site: str
    heading: str
    unit: str
    datum: str
    month: NDArray[np.int64]
    years: NDArray[np.int64]
    statistic_m: Floats
    open_below: NDArray[np.bool_]
    newest_year: YearLine
    year_before: YearLine | None
    newest_text: str
    low_m: float
    high_m: float
    notes: tuple[str, ...]


def seasons_plot_data(
    statistics: pd.DataFrame,
    levels: pd.DataFrame,
    well: str,
    *,
    summary: Mapping[str, Any] | pd.Series,
    site: Mapping[str, Any] | pd.Series | None = None,
    unit: str = "m",
    definition: str = "weibull",
    least_years: int = 10,
    value: str = "median",
    known_on: RecordState | None = None,
) -> SeasonsPlotData:
    """Work out what the seasonal envelope of a well shows.

    Parameters as `gwnet.figures`.

    Parameters
    ----------
    statistics : pandas.DataFrame
        Rows of months: well, month, years, the statistics of `BANDS` with ``_m`` behind, at_or_below.
    levels : pandas.DataFrame
        Levels that take part: well, day, low, high [m] and, where they are known, source and review; low is
        minus infinity for a dry one, high infinity for a flowing one without a number.
    summary : mapping or pandas.Series
        newest, newest_bound, newest_m, percentile, percentile_lower, percentile_upper, percentile_years, first, last,
        left_out of the well.
    unit : {"m", "ft"}
        Unit of the axis.
    definition, least_years, value : optional
        With what the statistics were made; named in the caption.

    Returns
    -------
    SeasonsPlotData
        Plain numbers and sentences.

    Raises
    ------
    SettingsError
        If the unit is not a display unit.
    AnalysisError
        If the well has no level.
    """
    check_unit(unit)
    own = statistics[statistics["well"] == well].sort_values("month")
    events = levels[levels["well"] == well].sort_values("day", kind="stable")
    if own.empty or events.empty:
        message = f"Well {well} has no level that can be used, so its seasons cannot be drawn."
        raise AnalysisError(message)
    numbers = own[[f"{name}_m" for name in BANDS]].to_numpy(dtype=np.float64)
    named = [set(str(text).split()) for text in own["at_or_below"]]
    open_below = np.array([[name in names for name in BANDS] for names in named], dtype=bool)
    newest = int(events["day"].iloc[-1].year)
    lines = {year: _year_line(events, year) for year in (newest, newest - 1)}
    drawn = [numbers[np.isfinite(numbers)], *(line.elevation_m for line in lines.values() if line is not None)]
    every = np.concatenate(drawn)
    newest_line = lines[newest]
    if newest_line is None:  # the newest level lies in it
        raise AssertionError
    approved = approved_sentence(events["review"]) if "review" in events.columns else ""
    notes = _notes(summary, own, definition, least_years, value, known_on, logged=_logged(events), approved=approved)
    return SeasonsPlotData(
        well=shown(well),
        site=site_text(site),
        heading="seasons of the water level",
        unit=unit,
        datum="" if site is None else shown(plain(site.get("vertical_datum"))),
        month=own["month"].to_numpy(dtype=np.int64),
        years=own["years"].to_numpy(dtype=np.int64),
        statistic_m=numbers,
        open_below=open_below,
        newest_year=newest_line,
        year_before=lines[newest - 1],
        newest_text=_newest_text(summary, unit),
        low_m=float(every.min()),
        high_m=float(every.max()),
        notes=notes,
    )


def _logged(events: pd.DataFrame) -> bool:
    """Return whether loggers gave some of the levels."""
    return "source" in events.columns and bool((events["source"] == "logger").any())


def _year_line(events: pd.DataFrame, year: int) -> YearLine | None:
    own = events[events["day"].dt.year == year]
    if own.empty:
        return None
    starts = np.array(MONTH_STARTS)
    # At noon, by the calendar of a common year, so that the months of all years stand under each other.
    days = starts[own["day"].dt.month.to_numpy() - 1] + own["day"].dt.day.to_numpy() - 0.5
    low, high = (own[end].to_numpy(dtype=np.float64) for end in ("low", "high"))
    # Used levels have both ends; an infinite one says on which side the level is open.
    bound = np.where(np.isinf(high), 1, np.where(np.isinf(low), -1, 0))
    return YearLine(year, days.astype(np.float64), np.where(bound > 0, low, high), bound.astype(np.int64))


def _newest_text(summary: Mapping[str, Any] | pd.Series, unit: str) -> str:
    """Return the newest level with its percentile, such as ``2026-02-17: 53.731 m, percentile 30 of 9 Februaries``."""
    day = dt.date.fromisoformat(str(summary["newest"]))
    sign = {"<=": "≤ ", ">=": "≥ "}.get(str(summary["newest_bound"]), "")
    level = number_text(float(summary["newest_m"]) / metres_per(unit), 3 if unit == "m" else 2)
    text = f"{day.isoformat()}: {sign}{level} {unit}"
    percentile, years = float(summary["percentile"]), int(summary["percentile_years"])
    month = MONTHS[day.month - 1]
    if math.isnan(percentile):
        return f"{text}, no percentile ({years} {'year' if years == 1 else 'years'} with a level in {month})"
    lower, upper = float(summary["percentile_lower"]), float(summary["percentile_upper"])
    range_text = f" (bounds leave {lower:.0f} to {upper:.0f})" if upper - lower >= 0.5 else ""
    return f"{text}, percentile {percentile:.0f}{range_text} of {years} years in {month}"


def _notes(
    summary: Mapping[str, Any] | pd.Series,
    own: pd.DataFrame,
    definition: str,
    least_years: int,
    value: str,
    known_on: RecordState | None,
    *,
    logged: bool,
    approved: str,
) -> tuple[str, ...]:
    day = "median" if value == "median" else "day nearest to the middle"
    notes = [
        f"Levels of {summary['first']} to {summary['last']}, one value a month of a year ({day}); the number of years "
        "is printed below each month.",
        f"Months with fewer than {least_years} years show their range alone; {_DEFINITIONS[definition]}.",
    ]
    if (own["at_or_below"] != "").any():
        notes.append("Dry months are ranked as bounds; ends marked ≤ lie at or below what is drawn.")
    if (own.get("at_or_above", pd.Series("", index=own.index)) != "").any():
        notes.append(
            "Flowing months without a number are ranked as bounds: the true ends lie at or above what is drawn."
        )
    if logged:
        notes.append("Daily means of loggers take part on days without a manual reading.")
    left_out = plain(summary["left_out"])
    if left_out:
        notes.append(f"Left out: {shown(left_out)}.")
    return (*notes, *([approved] if approved else []), *known_text(known_on))
