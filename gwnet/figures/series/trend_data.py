"""What the trend figure of a well shows, as plain numbers and sentences."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.constants import DAYS_PER_YEAR
from gwnet.errors import AnalysisError
from gwnet.figures.base.axes import local_days
from gwnet.figures.base.panel import approved_sentence, site_text
from gwnet.figures.base.text import known_text, number_text, plain, shown
from gwnet.figures.hydrograph.events import event_kinds, longest_gap, own_rows, static_lines, time_limits
from gwnet.figures.maps.context import check_unit
from gwnet.records import RecordState
from gwnet.units import metres_per, text_in_unit

Floats = NDArray[np.float64]

_METHODS: Final = {
    "seasonal": "each season compared with its own kind",
    "kendall": "one value a year",
    "all": "every value",
    "step": "levels before and after a gap compared",
}
_SMOOTH_NOTE: Final = "Smooth line: LOWESS of the medians of years, seasons or months, two thirds of them in each fit."
_DECIMALS: Final = {"m": 3, "ft": 2}


@dataclass(frozen=True, slots=True, eq=False)
class TrendLine:
    """A line with its interval: local days since 1970-01-01, then line and limits on them [m]; limits may be NaN."""

    days: Floats
    elevation_m: Floats
    lower_m: Floats
    upper_m: Floats

    @property
    def has_limits(self) -> bool:
        """Return whether there are limits."""
        return bool(np.isfinite(self.lower_m).all() and np.isfinite(self.upper_m).all())


@dataclass(frozen=True, slots=True, eq=False)
class TrendPlotData:
    """The trend of a well as plain numbers and sentences.

    Parameters
    ----------
    well, site, heading : str
        Written above the panel.
    unit : {"m", "ft"}
        Unit of the axis.
    datum : str
        Vertical datum.
    days : numpy.ndarray of float64, shape (n,)
        Local days since 1970-01-01 of the levels.
    elevation_m : numpy.ndarray of float64, shape (n,)
        Levels, or bounds [m].
    kind : numpy.ndarray of str, shape (n,)
        What each is drawn as, see `gwnet.figures.hydrograph.marks.MARKS`.
    taken : numpy.ndarray of bool, shape (n,)
        Whether it takes part in the test.
    logged : numpy.ndarray of bool, shape (n,)
        Whether it is a daily mean of a logger, drawn as a line without marks.
    lines : tuple of tuple of int
        Pieces of the line through manual readings that take part, broken at gaps, bounds and logged days.
    trend : TrendLine or None
        The line, where there is a slope.
    smooth : tuple of numpy.ndarray or None
        A smooth line: local days since 1970-01-01 and level [m].
    steps : tuple of tuple of float
        Where levels before and after a gap are compared instead, or there are steps: first day, last day and median
        level [m] of each piece.
    steps_of : {"gap", "steps"}
        What lies between the pieces.
    direction : str
        ``rising``, ``falling``, or what else the trends table says.
    brief : str
        The slope with its limits and p, in a few words.
    first, last : float
        Ends of the time axis.
    low_m, high_m : float
        Range of what must be seen [m].
    notes : tuple of str
        Sentences of the caption.
    """

    well: str
    site: str
    heading: str
    unit: str
    datum: str
    days: Floats
    elevation_m: Floats
    kind: NDArray[np.object_]
    taken: NDArray[np.bool_]
    logged: NDArray[np.bool_]
    lines: tuple[tuple[int, ...], ...]
    trend: TrendLine | None
    smooth: tuple[Floats, Floats] | None
    steps: tuple[tuple[float, float, float], ...]
    steps_of: str
    direction: str
    brief: str
    first: float
    last: float
    low_m: float
    high_m: float
    notes: tuple[str, ...]


def p_text(p: float) -> str:
    """Return a probability as it is printed.

    Examples
    --------
    >>> p_text(0.0312), p_text(1e-7)
    ('p 0.031', 'p below 0.0001')
    """
    return "p below 0.0001" if p < 1e-4 else f"p {p:.2g}"


def slope_text(row: Mapping[str, Any] | pd.Series, unit: str, *, limits: bool = True) -> str:
    """Return the slope of a row of the trends frame (in metres) with its limits, in the unit; empty without one."""
    slope = float(row["slope_m_per_year"]) / metres_per(unit)
    if math.isnan(slope):
        return ""
    # One more for a slope that would be printed as zero.
    decimals = _DECIMALS[unit] if abs(slope) >= 10.0 ** -_DECIMALS[unit] else _DECIMALS[unit] + 1
    text = f"{number_text(slope, decimals, signed=True)} {unit} a year"
    lower, upper = (float(row[f"slope_{end}_m_per_year"]) / metres_per(unit) for end in ("lower", "upper"))
    if not limits:
        return text
    if math.isnan(lower) or math.isnan(upper):
        return f"{text} (too few slopes for limits)"
    return f"{text} ({number_text(lower, decimals, signed=True)} to {number_text(upper, decimals, signed=True)})"


def trend_plot_data(
    levels: pd.DataFrame,
    well: str,
    *,
    trend: Mapping[str, Any] | pd.Series,
    line: TrendLine | None = None,
    smooth: tuple[Floats, Floats] | None = None,
    changes: tuple[tuple[float, str], ...] = (),
    site: Mapping[str, Any] | pd.Series | None = None,
    unit: str = "m",
    known_on: RecordState | None = None,
) -> TrendPlotData:
    """Work out what the trend figure of a well shows.

    Parameters as `gwnet.figures`.

    Parameters
    ----------
    levels : pandas.DataFrame
        Levels frame with a further column taken: whether a level takes part in the test [m]; where the method is
        ``logger``, the daily mean of one.
    trend : mapping or pandas.Series
        Row of the trends frame, in metres.
    line : TrendLine, optional
        The line with its limits.
    smooth : tuple of numpy.ndarray, optional
        Days since 1970-01-01 and levels of a smooth line [m].
    changes : tuple of (float, str), optional
        Days since 1970-01-01 of steps of the level, ascending, each with its words.
    unit : {"m", "ft"}
        Unit of the axis.

    Returns
    -------
    TrendPlotData
        Plain numbers and sentences.

    Raises
    ------
    SettingsError
        If the unit is not a display unit.
    AnalysisError
        If the well has no level at all.
    """
    check_unit(unit)
    own = own_rows(levels, well)
    kind = event_kinds(own)
    own, kind = own[kind != ""], kind[kind != ""]
    if own.empty:
        message = f"Well {well} has no level, so its trend cannot be drawn."
        raise AnalysisError(message)
    days = local_days(own["measured_at"])
    order = np.argsort(days, kind="stable")
    days, kind = days[order], kind[order]
    elevation = own["water_elevation_m"].to_numpy(dtype=np.float64)[order]
    taken = own["taken"].to_numpy(dtype=bool)[order]
    method = own["method"].to_numpy(dtype=object)[order] if "method" in own.columns else np.full(days.size, "")
    logged = np.asarray(method == "logger", dtype=bool)
    # A bound has no number for a median.
    counted = taken & (kind != "dry")
    if trend["method"] == "step":
        pieces_of = _sides(days[counted], elevation[counted])
    else:
        pieces_of = _between(days[counted], elevation[counted], [day for day, _ in changes])
    first, last = time_limits(days, np.empty(0), None, None)
    low, high = _range(elevation, taken, line)
    joined = np.where(taken | np.isin(kind, ("dry", "flowing")), kind, "unusable").astype(object)
    # The line of readings does not go through daily means, which have one of their own.
    joined[logged] = "unusable"
    pieces = static_lines(days, joined, longest_gap(days, joined, None), days[logged])
    return TrendPlotData(
        well=shown(well),
        site=site_text(site),
        heading="trend of the water level",
        unit=unit,
        datum="" if site is None else shown(plain(site.get("vertical_datum"))),
        days=days,
        elevation_m=elevation,
        kind=kind,
        taken=taken,
        logged=logged,
        lines=pieces,
        trend=line,
        smooth=smooth,
        steps=pieces_of,
        steps_of="gap" if trend["method"] == "step" else "steps",
        direction=plain(trend["direction"]),
        brief=_brief(trend, unit),
        first=first,
        last=last,
        low_m=low,
        high_m=high,
        notes=(
            *_notes(trend, unit, line, approved_sentence(own.loc[own["taken"].astype(bool), "review"]), known_on),
            *([_SMOOTH_NOTE] if smooth is not None else []),
            *([_changes_note(changes, unit)] if changes else []),
        ),
    )


def _sides(days: Floats, elevation: Floats) -> tuple[tuple[float, float, float], ...]:
    """Return first day, last day and median level on either side of the longest gap."""
    if days.size < 2:
        return ()
    # The test of a step compares the levels on both sides of the longest gap.
    cut = int(np.argmax(np.diff(days))) + 1
    sides = ((days[:cut], elevation[:cut]), (days[cut:], elevation[cut:]))
    return tuple((float(when[0]), float(when[-1]), float(np.median(level))) for when, level in sides)


def _between(days: Floats, elevation: Floats, cuts: list[float]) -> tuple[tuple[float, float, float], ...]:
    """Return first day, last day and median level of the pieces between steps; none without a step."""
    if not cuts or not days.size:
        return ()
    pieces = np.split(np.arange(days.size), np.searchsorted(days, cuts))
    whole = [piece for piece in pieces if piece.size]
    return tuple((float(days[piece[0]]), float(days[piece[-1]]), float(np.median(elevation[piece]))) for piece in whole)


def _changes_note(changes: tuple[tuple[float, str], ...], unit: str) -> str:
    """Return the steps as a sentence."""
    words = re.sub(r"(?<![\w.)-])-(?=\d)", "−", text_in_unit("; ".join(words for _, words in changes), unit))
    return f"Steps, with the interval of the year at 95 %: {words}."


def _range(elevation: Floats, taken: NDArray[np.bool_], line: TrendLine | None) -> tuple[float, float]:
    """Return what must be seen: the levels that take part and the line; others only where they lie near."""
    sure = elevation[taken] if taken.any() else elevation
    if line is not None:
        sure = np.concatenate([sure, line.elevation_m])
    low, high = float(sure.min()), float(sure.max())
    # What was left out and lies far off is marked at the edge: often that is why it was left out.
    reach = max(0.3 * (high - low), 0.1)
    near = elevation[(elevation >= low - reach) & (elevation <= high + reach)]
    return min(low, float(near.min())), max(high, float(near.max()))


def _brief(trend: Mapping[str, Any] | pd.Series, unit: str) -> str:
    slope = slope_text(trend, unit, limits=False)
    p = float(trend["p_adjusted"])
    if math.isnan(p):
        return "no test"
    if not slope:
        return f"step: {p_text(p)}" if trend["method"] == "step" else p_text(p)
    return f"{slope}, {p_text(p)}"


def _notes(
    trend: Mapping[str, Any] | pd.Series,
    unit: str,
    line: TrendLine | None,
    approved: str,
    known_on: RecordState | None,
) -> tuple[str, ...]:
    notes = []
    slope = slope_text(trend, unit)
    if slope:
        notes.append(f"Theil–Sen slope {slope}, limits at 95 %.")
    if line is not None and line.days[-1] > line.days[0]:
        # it is fitted with the serial correlation, so its slope is another than the median of slopes
        drawn = np.ptp(line.days) / DAYS_PER_YEAR * metres_per(unit)
        rise = number_text((line.elevation_m[-1] - line.elevation_m[0]) / drawn, _DECIMALS[unit], signed=True)
        notes.append(f"Line drawn: {rise} {unit} a year; threshold dates are projected with it and its band.")
    p, adjusted = float(trend["p"]), float(trend["p_adjusted"])
    if not math.isnan(p):
        both = p_text(p) if abs(p - adjusted) < 1e-12 else f"{p_text(p)}, {adjusted:.2g} adjusted for many wells"
        how = _METHODS.get(str(trend["method"]), shown(plain(trend["method"])))
        notes.append(f"Test by ranks, {how}: {both}; {trend['direction']}.")
    bounds = f", {trend['n_bounds']} of them bounds (dry)" if trend["n_bounds"] else ""
    if trend["n"]:
        notes.append(f"{trend['n']} values{bounds}, {trend['first']} to {trend['last']}.")
    note = re.sub(r"(?<![\w.)-])-(?=\d)", "−", shown(text_in_unit(plain(trend["note"]), unit)))
    left_out = shown(plain(trend["left_out"]))
    if note:
        first = note[0] if note.startswith("p ") else note[0].upper()
        notes.append(f"{first}{note[1:].rstrip('.')}.")
    if left_out:
        notes.append(f"Left out: {left_out}.")
    return (*notes, *([approved] if approved else []), *known_text(known_on))
