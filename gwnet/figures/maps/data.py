"""What potentiometric maps show, as plain numbers and sentences: worked out and tested without drawing."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.constants import ONE_WELL_A_PLACE, OTHER_AQUIFER, RIVER_KIND
from gwnet.errors import AnalysisError
from gwnet.figures.base.text import decimals_for, number_text, plain, shown
from gwnet.figures.maps.context import (
    DRAWN,
    MOST_NAMED,
    MapContext,
    MapHeading,
    Note,
    contour_paths,
    count_others,
    group_by_reason,
    interval_text,
    named_wells,
)
from gwnet.figures.maps.geometry import BaseLayer, ContourPath, base_layers, rings_of
from gwnet.units import metres_per

#: More wells without a measurement than this are drawn as dots without labels, so that they do not hide the others;
#: project default.
MOST_UNMEASURED: Final = 12
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
    number : float
        What ``value`` says, as a number; NaN when there is none.
    rate : str
        What is pumped from it, as printed; ``pumped`` where its rate is not on record, empty for other wells.
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
    number: float = math.nan
    rate: str = ""

    @property
    def placed(self) -> bool:
        """Whether its coordinates are on record."""
        return math.isfinite(self.x) and math.isfinite(self.y)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MapPlotData(MapHeading):
    """A map of points, contours and arrows as plain numbers and sentences; coordinates in the site's system.

    Parameters
    ----------
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

    points: tuple[MapPoint, ...]
    contours: tuple[ContourPath, ...]
    arrows: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 4)))
    arrows_inferred: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, dtype=bool))
    boundary: tuple[NDArray[np.float64], ...] = ()
    layers: tuple[BaseLayer, ...] = ()
    notes: tuple[Note, ...] = ()


def map_plot_data(
    result: Any,
    context: MapContext | None = None,
    *,
    layers: Sequence[tuple[str, Any]] = (),
    title: str = "Potentiometric surface",
) -> MapPlotData:
    """Work out what a potentiometric map shows.

    Parameters
    ----------
    result : gwnet.analysis.maps.result.MapResult
        Control, contours, arrows, boundary, method, findings and cautions, or anything with its attributes.
    context : MapContext, optional
        Site, name of the aquifer and record.
    layers : sequence of tuple, optional
        Name and geometry of each further base layer, drawn under everything.
    title : str, optional
        What the map shows, in its heading.

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
    context, unit, control = context or MapContext(), result.unit, result.control
    when = result.date.isoformat()
    heading = context.heading(title, when, unit, aquifer=result.aquifer, crs=result.crs)
    noticed = {str(finding.well): shown(finding.text) for finding in (*result.findings, *result.honour_failures)}
    others = control[~control["used"].astype(bool) & control["reason"].map(plain).str.startswith(OTHER_AQUIFER)]
    # Points along rivers are control, but no places that anybody measured: they are counted and not drawn.
    along = int((control["kind"] == RIVER_KIND).sum())
    control = control[~control.index.isin(others.index) & (control["kind"] != RIVER_KIND)]
    points = _map_points(control, noticed, unit)
    if not any(point.placed for point in points):
        message = f"No well or gauge of aquifer {result.aquifer!r} has coordinates, so no map can be drawn."
        raise AnalysisError(message, fix="Record coordinates for the wells.")
    datum = _datum_sentence(result.vertical_datum or plain(context.site.get("vertical_datum")), result.interval_m, unit)
    facts = [_fact(control, points, when, result.span.text, along=along), datum]
    facts += [shown(result.set_text)] if result.set_text else []
    surface, cautions = _surface_notes(result), cautions_notes(result.cautions)
    notes = [
        Note("Levels", (*facts, *context.known)),
        *surface,
        left_out_note(points, count_others(others["reason"].map(other_code))),
        *findings_notes(points),
        *cautions,
    ]
    features, arrows = result.features, list(result.arrows)
    rivers = [river.line for river in features.rivers]
    return MapPlotData(
        **heading,
        points=points,
        contours=contour_paths(result.contours, result.interval_m, unit),
        arrows=np.array([(*a.ends[0], *a.ends[1]) for a in arrows], dtype=np.float64).reshape(-1, 4),
        arrows_inferred=np.array([bool(a.inferred) for a in arrows], dtype=bool),
        boundary=rings_of(result.boundary if result.region is None else result.region),
        layers=(
            *base_layers((*features.layers, *layers)),
            *base_layers([("river", rivers)] if rivers else [], kind="river"),
            *base_layers([("barrier", list(features.barriers))] if features.barriers else [], kind="barrier"),
            *base_layers(
                [] if result.above_ground is None else [("above ground", result.above_ground)], kind="above ground"
            ),
        ),
        notes=tuple(notes),
    )


def made_notes(result: Any) -> tuple[Note, ...]:
    """Return how a map's surface was made and what a reader must know: what a brief map leaves out."""
    return (*_surface_notes(result), *cautions_notes(result.cautions))


def _surface_notes(result: Any) -> list[Note]:
    lines = _method_lines(result)
    return [Note("Surface", (*lines, DRAWN), brief=False)] if lines else []


def left_out_note(points: Sequence[MapPoint], further: Sequence[str] = ()) -> Note:
    """Return the note on what is not used, grouped by reason, with further sentences."""
    pairs = []
    shared = [point for point in points if point.reason.startswith(ONE_WELL_A_PLACE)]
    for point in points:
        if not point.used:
            undrawn = "" if point.placed or "coordinates" in point.reason else " (not drawn: no coordinates)"
            # Of many ports at one place each would have a reason of its own, with the name of the one that stands for
            # it.
            together = len(shared) > MOST_NAMED and point in shared
            reason = f"{ONE_WELL_A_PLACE}, another one stands for it" if together else point.reason
            pairs.append((point.name, f"{reason}{undrawn}"))
    counts = tuple(Counter(reason for _, reason in pairs).values())
    return Note("Left out", (*group_by_reason(pairs), *further) or ("None.",), wells=counts)


def findings_notes(points: Sequence[MapPoint]) -> list[Note]:
    """Return the note on what does not fit; none where everything does."""
    noticed = tuple(
        point.finding if point.finding.startswith(point.name) else f"{point.name}: {point.finding}"
        for point in points
        if point.finding
    )
    return [Note("Findings (ringed)", noticed, brief=False)] if noticed else []


def cautions_notes(cautions: Iterable[str]) -> list[Note]:
    """Return the note on what a reader must know; none where there is nothing."""
    lines = tuple(shown(text) for text in cautions)
    return [Note("Cautions", lines, brief=False)] if lines else []


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
        # In brackets, what the surface does not go through.
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
                number=elevation,
            )
        )
    return tuple(points)


def _kind(row: Mapping[str, Any]) -> str:
    """Return what a point is; a used well whose level comes from its logger has a kind of its own."""
    if row["kind"] == "stage":
        return "stage"
    return "logger" if row["used"] and row.get("source") == "logger" else "well"


def _datum_sentence(datum: str, interval_m: float, unit: str) -> str:
    text = f"Water elevations in {unit} above {shown(datum) or 'a datum that is not on record'}"
    if math.isfinite(interval_m):
        text += f"; contour interval {interval_text(interval_m, unit)}"
    return f"{text}."


def other_code(reason: str) -> str:
    """Return the code of the aquifer that a reason for leaving a well out names."""
    return shown(reason.removeprefix(OTHER_AQUIFER).lstrip(": "))


def _fact(control: pd.DataFrame, points: Sequence[MapPoint], when: str, span_text: str, *, along: int) -> str:
    """Return when the levels were taken, and how many of what are used."""
    used = control[control["used"].astype(bool)]
    times = sorted(str(text) for text in used["measured_at"] if plain(text))
    if times:
        first, last = (text[:16].replace("T", " ") for text in (times[0], times[-1]))
        ending = last[11:] if last[:10] == first[:10] and last[11:] else last
        when = first if last in (first, "") or last[:10] == first else f"{first} to {ending}"
    logged = [point.name for point in points if point.used and point.kind == "logger"]
    wells = sum(point.used and point.kind == "well" for point in points) + len(logged)
    gauges = sum(point.used and point.kind == "stage" for point in points)
    by_logger = f" ({len(logged)} by the logger: {named_wells(logged)})" if logged else ""
    counts = [f"{wells} {'well' if wells == 1 else 'wells'}{by_logger}"]
    counts += [f"{gauges} {'gauge' if gauges == 1 else 'gauges'}"] if gauges else []
    counts += [f"{along} {'point' if along == 1 else 'points'} of rivers"] if along else []
    counted = " and ".join([", ".join(counts[:-1]), counts[-1]] if len(counts) > 1 else counts)
    out = sum(not point.used for point in points)
    span = f" ({shown(span_text)})" if span_text else ""
    return f"Levels of {when}, local time{span}; {counted} used, {out} left out."


def _method_lines(result: Any) -> tuple[str, ...]:
    """Return how the surface was made, in sentences."""
    lines = [shown(result.method_text)] if result.method_text else []
    if result.parameters:
        listed = "; ".join(f"{shown(name)} {_true_minus(shown(value))}" for name, value in result.parameters)
        lines.append(f"Parameters: {listed}.")
    error_m = result.cross_validation.rmse_m
    if math.isfinite(error_m) and not any("leave-one-out" in name for name, _ in result.parameters):
        error = number_text(error_m / metres_per(result.unit), 2)
        lines.append(
            f"Cross-validation, leaving out one level at a time: root mean square error {error} {result.unit}."
        )
    if result.gradient.text:
        lines.append(f"Gradient {shown(result.gradient.text).rstrip('.')}.")
    return tuple(lines)


def _true_minus(text: str) -> str:
    return re.sub(r"(?<![\w.)-])-(?=\d)", "−", text)
