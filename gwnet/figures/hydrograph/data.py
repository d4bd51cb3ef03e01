"""What a hydrograph shows, as plain numbers: worked out and tested without drawing."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.errors import SettingsError
from gwnet.figures.base.axes import local_days
from gwnet.figures.base.text import decimals_for, known_text, plain, shown
from gwnet.figures.hydrograph.events import (
    event_kinds,
    in_time,
    longest_gap,
    own_rows,
    static_lines,
    time_limits,
    with_screen_bounds,
)
from gwnet.figures.hydrograph.logger_line import LoggerLine, LoggerSeries, logger_line
from gwnet.figures.hydrograph.span import Span, vertical_limits
from gwnet.figures.hydrograph.surroundings import (
    ContextBars,
    LevelLine,
    PointChange,
    context_bars,
    ground_elevation,
    newest_point,
    number_of,
    point_changes,
    points_of,
    row_of,
    screens_of,
    threshold_lines,
)
from gwnet.records import RecordState
from gwnet.units import DISPLAY_UNITS, metres_per

__all__ = ["HydrographPlotData", "LoggerSeries", "hydrograph_plot_data"]

#: Half-widths above this part of the axis can be seen beside a mark.
_SEEN = 0.012


@dataclass(frozen=True, slots=True, eq=False)
class HydrographPlotData:
    """A hydrograph as plain numbers; elevations positive upward [m], times in days since 1970-01-01, local clock.

    Parameters
    ----------
    well, heading, site : str
        Name of the well, of its aquifer and cluster, of its site; as printed.
    unit : {"m", "ft"}
        Unit of the axes.
    datum : str
        Vertical datum.
    days, elevation_m, uncertainty_m : numpy.ndarray, shape (n,)
        Every event that has a place on the sheet: time, elevation (of a bound: the bound), 95 % half-width.
    kind : numpy.ndarray of str, shape (n,)
        One of `KINDS`.
    approved : numpy.ndarray of bool, shape (n,)
        Whether a person has approved it.
    off_scale : numpy.ndarray of int, shape (n,)
        -1 below the axis, 1 above it, 0 on it.
    lines : tuple of tuple
        Pieces of the static line: positions in the arrays above, in order of time.
    low_m, high_m : float
        Ends of the vertical axis [m].
    first, last : float
        Ends of the time axis.
    point_elevation_m : float
        Elevation of the newest measuring point, to which the depth axis refers; NaN when there is none [m].
    point_label : str
        Which measuring point that is and since when.
    changes : tuple of PointChange
        Changes of the measuring point within the time axis.
    levels : tuple of LevelLine
        Ground and thresholds, from the highest to the lowest.
    screens_m : tuple of tuple of float
        Top and bottom elevation of each screen or open hole [m].
    context : tuple of ContextBars
        Series of the second panel.
    logger : LoggerLine
        Logger line, and when the logger was installed.
    max_gap_days : float
        Longest interval that the static line bridges [d]; NaN with fewer than two static levels.
    decimals : int
        Decimals of printed elevations.
    notes : tuple of str
        Sentences of the caption.
    """

    well: str
    heading: str
    site: str
    unit: str
    datum: str
    days: NDArray[np.float64]
    elevation_m: NDArray[np.float64]
    uncertainty_m: NDArray[np.float64]
    kind: NDArray[np.object_]
    approved: NDArray[np.bool_]
    off_scale: NDArray[np.int64]
    lines: tuple[tuple[int, ...], ...]
    low_m: float
    high_m: float
    first: float
    last: float
    point_elevation_m: float = math.nan
    point_label: str = ""
    changes: tuple[PointChange, ...] = ()
    levels: tuple[LevelLine, ...] = ()
    screens_m: tuple[tuple[float, float], ...] = ()
    context: tuple[ContextBars, ...] = ()
    logger: LoggerLine = field(default_factory=LoggerLine)
    max_gap_days: float = math.nan
    decimals: int = 2
    notes: tuple[str, ...] = ()


def hydrograph_plot_data(
    levels: pd.DataFrame,
    well: str,
    *,
    measuring_points: pd.DataFrame | None = None,
    construction: pd.DataFrame | None = None,
    thresholds: pd.DataFrame | None = None,
    site: Mapping[str, Any] | pd.Series,
    wells: pd.DataFrame | None = None,
    unit: str = "m",
    span: Span | None = None,
    start: dt.date | None = None,
    end: dt.date | None = None,
    context: pd.DataFrame | None = None,
    max_gap_days: float | None = None,
    series: tuple[Any, Any] | LoggerSeries | None = None,
    aquifer_name: str = "",
    known_on: RecordState | None = None,
) -> HydrographPlotData:
    """Work out what the hydrograph of one well shows.

    Parameters
    ----------
    levels : pandas.DataFrame
        Levels frame; rows of other wells are passed over. Elevations positive upward [m].
    well : str
        Code of the well.
    measuring_points : pandas.DataFrame, optional
        Measuring-points frame; retired rows are passed over.
    construction : pandas.DataFrame, optional
        Construction frame, depths below ground [m].
    thresholds : pandas.DataFrame, optional
        Thresholds frame with ``elevation_m`` [m].
    site : mapping or pandas.Series
        Row of the sites frame: site, name, vertical_datum, time_zone.
    wells : pandas.DataFrame, optional
        Wells frame; gives ground elevation, aquifer and cluster.
    unit : {"m", "ft"}
        Unit of the axes.
    span : Span, optional
        Vertical span of the group; the well's own unless given.
    start, end : datetime.date, optional
        First and last local date; the whole record unless given.
    context : pandas.DataFrame, optional
        Context frame: series, quantity, unit, date, value.
    max_gap_days : float, optional
        Longest interval that the static line bridges [d]; `GAP_FACTOR` median intervals, but at most
        `LONGEST_BRIDGE_DAYS`, unless given.
    series : LoggerSeries or tuple of array_like, optional
        Continuous heads, or their times in UTC and elevations alone [m].
    aquifer_name : str, optional
        Name of the aquifer; its code unless given.
    known_on : gwnet.records.RecordState, optional
        Aware time as of which the record is shown, printed in the caption.

    Returns
    -------
    HydrographPlotData
        Plain numbers.

    Raises
    ------
    SettingsError
        If the unit is not a display unit, or the end lies before the start.
    """
    _check(unit, start, end)
    zone = plain(site.get("time_zone")) or "UTC"
    own = own_rows(levels, well)
    own = in_time(own, start, end)
    days = local_days(own["measured_at"])
    # Stable: two events of one moment stay in the order of the record.
    order = np.argsort(days, kind="stable")
    own, days = own.iloc[order], days[order]
    kinds = event_kinds(own)
    drawn = kinds != ""
    reviewed = (own.loc[drawn, "review"] == "approved").to_numpy(dtype=bool)
    # One reading below the screen gives two marks: the level in the well, and the bound that it is for the aquifer.
    placed, place_days, kind = with_screen_bounds(own[drawn], days[drawn], kinds[drawn])
    elevation = placed["water_elevation_m"].to_numpy(dtype=np.float64)
    approved = (placed["review"] == "approved").to_numpy(dtype=bool)
    line = logger_line(series, zone, start, end)
    gap = longest_gap(place_days, kind, max_gap_days)
    first, last = time_limits(days, line.times, start, end)
    well_row = row_of(wells, well)
    points = points_of(measuring_points, well)
    ground = ground_elevation(well_row, points)
    limits = threshold_lines(thresholds, well, zone, first, last)
    low, high = vertical_limits(elevation, kind, line.elevations_m, limits, span, unit)
    lines = [*limits]
    if math.isfinite(ground):
        lines.append(LevelLine("ground", "ground", ground, first, last))
        depth = number_of(well_row.get("total_depth_m"))
        if math.isfinite(depth):
            lines.append(LevelLine("bottom", "bottom as built", ground - depth, first, last))
    point, label = newest_point(points, zone)
    factor = 1.0 / metres_per(unit)
    decimals = decimals_for(placed["uncertainty_m"].to_numpy(dtype=np.float64), unit)
    return HydrographPlotData(
        well=shown(well),
        heading=_heading(own, well_row, aquifer_name),
        site=shown(plain(site.get("name")) or plain(site.get("site"))),
        unit=unit,
        datum=shown(plain(site.get("vertical_datum"))),
        days=place_days,
        elevation_m=elevation,
        uncertainty_m=placed["uncertainty_m"].to_numpy(dtype=np.float64),
        kind=kind,
        approved=approved,
        off_scale=np.where(elevation < low, -1, np.where(elevation > high, 1, 0)).astype(np.int64),
        # Where a logger says how the water went, a straight line between two readings would contradict it.
        lines=static_lines(place_days, kind, gap, line.days[np.isfinite(line.elevation_m)]),
        low_m=low,
        high_m=high,
        first=first,
        last=last,
        point_elevation_m=point,
        point_label=label,
        changes=point_changes(points, zone, first, last, factor, 3 if unit == "m" else 2),
        levels=tuple(sorted(lines, key=lambda line: (-line.elevation_m, line.label))),
        screens_m=screens_of(construction, well_row, well, ground),
        context=context_bars(context, first, last),
        logger=line,
        max_gap_days=gap,
        decimals=decimals,
        notes=(
            *_notes(own, kinds, reviewed, gap, high - low, plain(site.get("vertical_datum")), known_on, line),
            *line.notes,
            *(("A vertical span of its own.",) if span is not None and not _is_shared(span, low, high) else ()),
        ),
    )


def _is_shared(span: Span, low: float, high: float) -> bool:
    """Return whether the limits of an axis are those of its group."""
    return math.isclose(high - low, span.height_m) and (span.low_m is None or math.isclose(low, span.low_m))


def _check(unit: str, start: dt.date | None, end: dt.date | None) -> None:
    if unit not in DISPLAY_UNITS:
        message = f"A figure can be drawn in {' or '.join(DISPLAY_UNITS)}, not in {unit!r}."
        raise SettingsError(message)
    if start is not None and end is not None and end < start:
        message = f"The figure would end on {end.isoformat()}, before its start on {start.isoformat()}."
        raise SettingsError(message, fix="Exchange the two dates.")


def _heading(own: pd.DataFrame, well_row: Mapping[str, Any], aquifer_name: str) -> str:
    code = plain(well_row.get("aquifer")) or next((plain(a) for a in own["aquifer"] if plain(a)), "")
    aquifer = f"{aquifer_name} ({code})" if aquifer_name and code and aquifer_name != code else aquifer_name or code
    cluster = plain(well_row.get("cluster"))
    parts = [shown(aquifer) if aquifer else "aquifer not on record", f"cluster {shown(cluster)}" if cluster else ""]
    return " · ".join(part for part in parts if part)


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _notes(
    own: pd.DataFrame,
    kinds: NDArray[np.object_],
    approved: NDArray[np.bool_],
    gap: float,
    height: float,
    datum: str,
    known_on: RecordState | None,
    line: LoggerLine,
) -> tuple[str, ...]:
    notes = [f"Elevations above {shown(datum) or 'a datum that is not on record'}."]
    if not len(own):
        what = "manual reading" if line.times.size else "event"
        return (*notes, f"No {what} on record in this time.", *known_text(known_on))
    first, last = (day.date() for day in (own["day"].min(), own["day"].max()))
    when = f"on {first}" if first == last else f"from {first} to {last}"
    parts = [_counted(len(own), "event", "events") + f" {when} (local dates)"]
    without = int((kinds == "").sum())
    if without:
        parts.append(f"{without} without a level")
    notes.append(", ".join(parts) + ".")
    drawn = int((kinds != "").sum())
    if drawn:
        states = int(approved.sum())
        notes.append(_approval(states, drawn))
    if math.isfinite(gap):
        notes.append(f"Line broken where static levels are more than {gap:.0f} days apart.")
    uncertainty = own["uncertainty_m"].to_numpy(dtype=np.float64)[(kinds != "") & (own["bound"] == "").to_numpy()]
    if (uncertainty > _SEEN * height).any():
        notes.append("Bars through marks: 95 % half-width, where it is wider than the mark.")
    return (*notes, *known_text(known_on))


def _approval(approved: int, drawn: int) -> str:
    if approved == drawn:
        return "All approved."
    return f"{approved} of {drawn} approved, the others hollow." if approved else "None approved yet."
