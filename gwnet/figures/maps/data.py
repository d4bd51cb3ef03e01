"""What maps show, as plain numbers and sentences: worked out and tested without drawing."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.constants import OTHER_AQUIFER, RIVER_KIND
from gwnet.errors import AnalysisError, SettingsError
from gwnet.figures.base.text import decimals_for, number_text, plain, short_number, shown
from gwnet.figures.maps.geometry import BaseLayer, ContourPath, base_layers, rings_of
from gwnet.units import DISPLAY_UNITS, metres_per

__all__ = [
    "BaseLayer",
    "ContourPath",
    "MapPlotData",
    "MapPoint",
    "Note",
    "check_unit",
    "known_text",
    "map_plot_data_of",
    "subtitle_of",
    "surface_map_plot_data",
]

#: More wells without a measurement than this are drawn as dots without labels, so that they do not hide the others;
#: project default.
MOST_UNMEASURED: Final = 12
#: Most wells of another aquifer that are named.
_MOST_OTHERS: Final = 12
#: Bounds are written with their sign.
_SIGNS: Final = {"dry": "≤ ", "<=": "≤ ", ">=": "≥ "}


@dataclass(frozen=True, slots=True)
class MapPoint:
    """A well or gauge on a map.

    Parameters
    ----------
    name : str
        As printed.
    kind : {"well", "logger", "stage"}
        What it is.
    x, y : float
        Coordinates in the site's system; NaN when not on record.
    value : str
        Water elevation as printed; in brackets when it was not used, empty when there is none.
    used : bool
        Whether the surface is made from it.
    reason : str
        Why not; empty for a used one.
    finding : str
        What a check noticed; empty when nothing.
    quiet : bool
        Whether it is one of many without a measurement, drawn as a dot without a label.
    """

    name: str
    kind: str
    x: float
    y: float
    value: str
    used: bool
    reason: str = ""
    finding: str = ""
    quiet: bool = False

    @property
    def placed(self) -> bool:
        """Whether its coordinates are on record."""
        return math.isfinite(self.x) and math.isfinite(self.y)


@dataclass(frozen=True, slots=True)
class Note:
    """A titled paragraph of a map's text; ``brief`` ones stand on the map even where a report says the rest."""

    title: str
    lines: tuple[str, ...]
    brief: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class MapPlotData:
    """A potentiometric map as plain numbers and sentences; coordinates in the site's system.

    Parameters
    ----------
    title, subtitle : str
        Heading of the map.
    unit : {"m", "ft"}
        Unit of levels and of the scale bar.
    coordinate_unit_m : float
        Metres in one unit of the coordinates.
    crs : str
        System of the coordinates.
    points : tuple of MapPoint
        Wells and gauges, used or not.
    contours : tuple of ContourPath
        Contours with the text of their level.
    arrows : numpy.ndarray, shape (n, 4)
        Tail and tip of each flow arrow: x, y, x, y.
    arrows_inferred : numpy.ndarray of bool, shape (n,)
        Whether the surface is inferred there.
    boundary : tuple of numpy.ndarray
        Rings around the control.
    layers : tuple of BaseLayer
        The user's own geometry.
    notes : tuple of Note
        Facts, exclusions, findings and cautions, in order of printing.
    """

    title: str
    subtitle: str
    unit: str
    coordinate_unit_m: float
    crs: str
    points: tuple[MapPoint, ...]
    contours: tuple[ContourPath, ...]
    arrows: NDArray[np.float64]
    arrows_inferred: NDArray[np.bool_]
    boundary: tuple[NDArray[np.float64], ...]
    layers: tuple[BaseLayer, ...]
    notes: tuple[Note, ...]


def surface_map_plot_data(
    *,
    control: pd.DataFrame,
    aquifer: str,
    date: dt.date,
    contours: Iterable[Any] = (),
    arrows: Iterable[Any] = (),
    boundary: Any = None,
    interval_m: float = math.nan,
    method_text: str = "",
    parameters: Sequence[tuple[str, str]] = (),
    cross_validation_m: float = math.nan,
    gradient_text: str = "",
    findings: Sequence[Any] = (),
    honour_failures: Sequence[Any] = (),
    cautions: Sequence[str] = (),
    span_text: str = "",
    crs: str = "",
    vertical_datum: str = "",
    coordinate_unit_m: float = 1.0,
    site: Mapping[str, Any] | pd.Series | None = None,
    aquifer_name: str = "",
    layers: Sequence[tuple[str, Any]] = (),
    barriers: Sequence[Any] = (),
    rivers: Sequence[Any] = (),
    above_ground: Any | None = None,
    set_text: str = "",
    known_on: dt.datetime | None = None,
    unit: str = "m",
) -> MapPlotData:
    """Work out what a potentiometric map shows.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame: well, kind, easting, northing, measured_at, water_elevation_m, uncertainty_m, status, used,
        reason. Elevations positive upward [m].
    aquifer : str
        Code of the aquifer.
    date : datetime.date
        Day of the same-day set.
    contours : iterable of gwnet.hydro.surfaces.contours.ContourLine, optional
        Pieces of contours.
    arrows : iterable of gwnet.hydro.gradients.horizontal.FlowArrow, optional
        Flow arrows, inside control only.
    boundary : array_like, shape (k, 2), or geometry, optional
        Boundary of the control.
    interval_m : float, optional
        Contour interval [m].
    method_text : str, optional
        How the surface was made, in a sentence.
    parameters : sequence of tuple of str, optional
        Name and value of each parameter of the method.
    cross_validation_m : float, optional
        Root mean square of the leave-one-out errors [m].
    gradient_text : str, optional
        Size and direction of the gradient with their uncertainty, or that they cannot be told.
    findings : sequence, optional
        Wells that do not fit, each with ``well`` and ``text``.
    honour_failures : sequence, optional
        Wells that the contours do not honour, each with ``well`` and ``text``.
    cautions : sequence of str, optional
        What a reader must know.
    span_text : str, optional
        How long the levels took, in words.
    crs, vertical_datum : str, optional
        Systems of coordinates and elevations; those of the site unless given.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates.
    site : mapping or pandas.Series, optional
        Row of the sites frame.
    aquifer_name : str, optional
        Name of the aquifer in words.
    layers : sequence of tuple, optional
        Name and geometry of each base layer, drawn under everything.
    barriers, rivers : sequence of shapely.LineString, optional
        Lines that heads do not reach across, and lines whose heads are control.
    above_ground : shapely geometry, optional
        Area in which heads stand above the ground.
    set_text : str, optional
        By which rule the levels were chosen, in a sentence.
    known_on : datetime.datetime, optional
        Aware time as of which the record is shown.
    unit : {"m", "ft"}
        Unit of levels and of the scale bar.

    Returns
    -------
    MapPlotData
        Plain numbers and sentences.

    Raises
    ------
    SettingsError
        If the unit is not a display unit.
    AnalysisError
        If nothing of the control has coordinates.
    """
    check_unit(unit)
    site = {} if site is None else site
    noticed = {str(one.well): shown(one.text) for one in (*findings, *honour_failures)}
    others = control[~control["used"].astype(bool) & control["reason"].map(plain).str.startswith(OTHER_AQUIFER)]
    along = int((control["kind"] == RIVER_KIND).sum())
    control = control[~control.index.isin(others.index) & (control["kind"] != RIVER_KIND)]
    points = _map_points(control, noticed, unit)
    if not any(point.placed for point in points):
        message = f"No well or gauge of aquifer {aquifer!r} has coordinates, so no map can be drawn."
        raise AnalysisError(message, fix="Record coordinates for the wells.")
    flow = list(arrows)
    pieces = list(contours)
    name = f"{aquifer_name} ({aquifer})" if aquifer_name and aquifer_name != aquifer else aquifer
    crs = crs or plain(site.get("crs"))
    facts = _facts(
        control,
        points,
        date,
        span_text,
        _datum_sentence(vertical_datum or plain(site.get("vertical_datum")), interval_m, unit),
        along=along,
    )
    facts = (*facts, *([shown(set_text)] if set_text else []))
    made = _method_lines(method_text, parameters, cross_validation_m, gradient_text, unit)
    return MapPlotData(
        title=f"Potentiometric surface, {shown(name)}",
        subtitle=subtitle_of(site, f"{date.isoformat()}"),
        unit=unit,
        coordinate_unit_m=coordinate_unit_m,
        crs=shown(crs),
        points=points,
        contours=tuple(
            ContourPath(
                level=short_number(piece.level_m / metres_per(unit), least=_level_decimals(interval_m, unit)),
                rank=_rank(piece.level_m, interval_m),
                xy=np.column_stack([piece.x, piece.y]).astype(np.float64),
                inferred=bool(piece.inferred),
                depression=bool(piece.depression),
            )
            for piece in pieces
        ),
        arrows=np.array([(*a.ends[0], *a.ends[1]) for a in flow], dtype=np.float64).reshape(-1, 4),
        arrows_inferred=np.array([bool(a.inferred) for a in flow], dtype=bool),
        boundary=rings_of(boundary),
        layers=(
            *base_layers(layers),
            *base_layers([("river", list(rivers))] if rivers else [], kind="river"),
            *base_layers([("barrier", list(barriers))] if barriers else [], kind="barrier"),
            *base_layers([] if above_ground is None else [("above ground", above_ground)], kind="above ground"),
        ),
        notes=_map_notes(
            facts, made, points, tuple(shown(text) for text in cautions), known_text(known_on), others=_others(others)
        ),
    )


def map_plot_data_of(
    result: Any,
    *,
    site: Mapping[str, Any] | pd.Series | None = None,
    aquifer_name: str = "",
    coordinate_unit_m: float = 1.0,
    layers: Sequence[tuple[str, Any]] = (),
    known_on: dt.datetime | None = None,
) -> MapPlotData:
    """Work out what the map of a map result shows.

    Parameters
    ----------
    result : gwnet.analysis.maps.result.MapResult
        Anything with its attributes.
    site, aquifer_name, coordinate_unit_m, layers, known_on : optional
        As in `surface_map_plot_data`.

    Returns
    -------
    MapPlotData
        Plain numbers and sentences.
    """
    return surface_map_plot_data(
        control=result.control,
        aquifer=result.aquifer,
        date=result.date,
        contours=result.contours,
        arrows=result.arrows,
        boundary=result.boundary if result.region is None else result.region,
        interval_m=result.interval_m,
        method_text=result.method_text,
        parameters=result.parameters,
        cross_validation_m=result.cross_validation.rmse_m,
        gradient_text=result.gradient.text,
        findings=result.findings,
        honour_failures=result.honour_failures,
        cautions=result.cautions,
        span_text=result.span.text,
        crs=result.crs,
        vertical_datum=result.vertical_datum,
        coordinate_unit_m=coordinate_unit_m,
        site=site,
        aquifer_name=aquifer_name,
        layers=(*result.features.layers, *layers),
        barriers=result.features.barriers,
        rivers=[river.line for river in result.features.rivers],
        above_ground=result.above_ground,
        set_text=result.set_text,
        known_on=known_on,
        unit=result.unit,
    )


def check_unit(unit: str) -> None:
    """Refuse a unit that nothing is drawn in."""
    if unit not in DISPLAY_UNITS:
        message = f"A map can be drawn in {' or '.join(DISPLAY_UNITS)}, not in {unit!r}."
        raise SettingsError(message)


def subtitle_of(site: Mapping[str, Any] | pd.Series, when: str) -> str:
    """Return the second line of a map's heading: site and day."""
    name = plain(site.get("name")) or plain(site.get("site"))
    return " · ".join(part for part in (shown(name), when) if part)


def _map_points(control: pd.DataFrame, noticed: Mapping[str, str], unit: str) -> tuple[MapPoint, ...]:
    used = control["used"].astype(bool)
    unmeasured = ~used & (control["measured_at"].map(plain) == "")
    many = int(unmeasured.sum()) > MOST_UNMEASURED
    decimals = decimals_for(control.loc[used, "uncertainty_m"].to_numpy(dtype=np.float64), unit)
    points = []
    for row in control.to_dict("records"):
        elevation = float(row["water_elevation_m"]) / metres_per(unit)
        sign = _SIGNS.get(plain(row.get("bound")) or plain(row.get("status")), "")
        value = f"{sign}{number_text(elevation, decimals)}" if math.isfinite(elevation) else ""
        if value and not row["used"] and not sign:
            value = f"({value})"
        points.append(
            MapPoint(
                name=shown(row["well"]),
                kind=_kind(row),
                x=float(row["easting"]),
                y=float(row["northing"]),
                value=value,
                used=bool(row["used"]),
                reason="" if row["used"] else shown(plain(row["reason"])) or "no reason given",
                finding=noticed.get(str(row["well"]), ""),
                quiet=many and not row["used"] and plain(row["measured_at"]) == "",
            )
        )
    return tuple(points)


def _kind(row: Mapping[str, Any]) -> str:
    """Return what a point is; a used well whose level comes from its logger is told apart."""
    if row["kind"] == "stage":
        return "stage"
    return "logger" if row["used"] and row.get("source") == "logger" else "well"


def _level_decimals(interval_m: float, unit: str) -> int:
    interval = interval_m / metres_per(unit)
    if not math.isfinite(interval) or interval <= 0:
        return 0
    for decimals in range(4):
        if abs(interval * 10**decimals - round(interval * 10**decimals)) < 1e-4:
            return decimals
    return 3


def _rank(level_m: float, interval_m: float) -> int:
    """Return the number of a contour counted in intervals from the datum; every fifth is drawn heavier."""
    return round(level_m / interval_m) if math.isfinite(interval_m) and interval_m > 0 else 1


def _datum_sentence(datum: str, interval_m: float, unit: str) -> str:
    text = f"Water elevations in {unit} above {shown(datum) or 'a datum that is not on record'}"
    if math.isfinite(interval_m):
        interval = short_number(interval_m / metres_per(unit), least=_level_decimals(interval_m, unit))
        text += f"; contour interval {interval} {unit}"
    return f"{text}."


def _others(table: pd.DataFrame) -> tuple[str, ...]:
    """Return the sentences that list measured wells of other aquifers, which are not drawn."""
    made = []
    for reason, rows in table.groupby(table["reason"].astype(str), sort=True):
        names = [shown(name) for name in rows["well"]]
        more = f" and {len(names) - _MOST_OTHERS} more" if len(names) > _MOST_OTHERS else ""
        made.append(f"{', '.join(names[:_MOST_OTHERS])}{more}: {shown(str(reason))} (not drawn)")
    return tuple(made)


def _facts(
    control: pd.DataFrame, points: Sequence[MapPoint], date: dt.date, span_text: str, datum: str, *, along: int = 0
) -> tuple[str, ...]:
    used = control[control["used"].astype(bool)]
    times = sorted(str(text) for text in used["measured_at"] if plain(text))
    when = date.isoformat()
    if times:
        first, last = (text[:16].replace("T", " ") for text in (times[0], times[-1]))
        ending = last[11:] if last[:10] == first[:10] and last[11:] else last
        when = first if last in (first, "") or last[:10] == first else f"{first} to {ending}"
    logged = [point.name for point in points if point.used and point.kind == "logger"]
    wells = sum(point.used and point.kind == "well" for point in points) + len(logged)
    gauges = sum(point.used and point.kind == "stage" for point in points)
    by_logger = f" ({len(logged)} by the logger: {', '.join(logged)})" if logged else ""
    counts = [f"{wells} {'well' if wells == 1 else 'wells'}{by_logger}"]
    counts += [f"{gauges} {'gauge' if gauges == 1 else 'gauges'}"] if gauges else []
    counts += [f"{along} {'point' if along == 1 else 'points'} of rivers"] if along else []
    counted = " and ".join([", ".join(counts[:-1]), counts[-1]] if len(counts) > 1 else counts)
    out = sum(not point.used for point in points)
    span = f" ({shown(span_text)})" if span_text else ""
    return (f"Levels of {when}, local time{span}; {counted} used, {out} left out.", datum)


def _method_lines(
    method_text: str,
    parameters: Sequence[tuple[str, str]],
    cross_validation_m: float,
    gradient_text: str,
    unit: str,
) -> tuple[str, ...]:
    lines = [shown(method_text)] if method_text else []
    if parameters:
        listed = "; ".join(f"{shown(name)} {_true_minus(shown(value))}" for name, value in parameters)
        lines.append(f"Parameters: {listed}.")
    if math.isfinite(cross_validation_m) and not any("leave-one-out" in name for name, _ in parameters):
        error = number_text(cross_validation_m / metres_per(unit), 2)
        lines.append(f"Cross-validation, leaving out one level at a time: root mean square error {error} {unit}.")
    if gradient_text:
        lines.append(f"Gradient {shown(gradient_text).rstrip('.')}.")
    return tuple(lines)


def _true_minus(text: str) -> str:
    return re.sub(r"(?<![\w.)-])-(?=\d)", "−", text)


def known_text(known_on: dt.datetime | None) -> tuple[str, ...]:
    """Return the sentence that tells as of when the record is shown; none without a time."""
    return () if known_on is None else (f"Record as known on {known_on.astimezone(dt.UTC):%Y-%m-%d %H:%M} UTC.",)


def _map_notes(
    facts: tuple[str, ...],
    made: tuple[str, ...],
    points: Sequence[MapPoint],
    cautions: tuple[str, ...],
    known: tuple[str, ...],
    *,
    others: tuple[str, ...] = (),
) -> tuple[Note, ...]:
    reasons: dict[str, list[str]] = {}
    for point in points:
        if not point.used:
            undrawn = "" if point.placed or "coordinates" in point.reason else " (not drawn: no coordinates)"
            reasons.setdefault(f"{point.reason}{undrawn}", []).append(point.name)
    out = (*(f"{', '.join(names)}: {reason}" for reason, names in reasons.items()), *others)
    noticed = tuple(
        point.finding if point.finding.startswith(point.name) else f"{point.name}: {point.finding}"
        for point in points
        if point.finding
    )
    drawn = "Dashed contours are inferred; nothing is drawn beyond the dotted boundary of control."
    notes = [Note("Levels", (*facts, *known))]
    if made:
        notes.append(Note("Surface", (*made, drawn), brief=False))
    notes.append(Note("Left out", out if out else ("None.",)))
    if noticed:
        notes.append(Note("Findings (ringed)", noticed, brief=False))
    if cautions:
        notes.append(Note("Cautions", cautions, brief=False))
    return tuple(notes)
