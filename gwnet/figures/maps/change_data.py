"""What maps of change and of data worth show, as plain numbers and sentences."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from gwnet.constants import OTHER_AQUIFER
from gwnet.figures.base.text import decimals_for, number_text, plain, shown
from gwnet.figures.maps.context import (
    DRAWN,
    MapContext,
    Note,
    contour_paths,
    count_others,
    interval_text,
    size_text,
)
from gwnet.figures.maps.data import (
    MOST_UNMEASURED,
    MapPlotData,
    MapPoint,
    cautions_notes,
    findings_notes,
    left_out_note,
    other_code,
)
from gwnet.figures.maps.geometry import base_layers, rings_of
from gwnet.units import metres_per


def change_plot_data(
    result: Any, context: MapContext, *, facts: Sequence[str], cautions: Sequence[str] = ()
) -> MapPlotData:
    """Work out what a map of changes shows.

    Parameters
    ----------
    result : gwnet.analysis.maps.change.ChangeResult
        Changes at wells, rise positive [m], their surface and its contours, or anything with its attributes.
    context : MapContext
        Site, name of the aquifer and record.
    facts : sequence of str
        Area, mean and volumes in sentences.
    cautions : sequence of str, optional
        What a reader must know beyond the cautions of the surface.

    Returns
    -------
    MapPlotData
        Plain numbers and sentences.
    """
    wells, drawn = result.wells, result.surface_map
    unit, when = drawn.unit, f"{result.since.isoformat()} to {result.date.isoformat()}"
    heading = context.heading("Change of water level", when, unit, aquifer=result.aquifer, crs=drawn.crs)
    findings = {str(finding.well): finding.text for finding in (*drawn.findings, *drawn.honour_failures)}
    elsewhere = ~wells["used"].astype(bool) & wells["reason"].map(plain).str.startswith(OTHER_AQUIFER)
    others, wells = wells[elsewhere], wells[~elsewhere]
    used = wells["used"].astype(bool)
    decimals = decimals_for(wells.loc[used, "uncertainty_m"].to_numpy(dtype=np.float64), unit)
    unmeasured = ~used & (wells["measured_before"] == "") & (wells["measured_after"] == "")
    many = int(unmeasured.sum()) > MOST_UNMEASURED
    # Wells without any measurement are dots where they are many, or their labels would hide the others.
    points = tuple(
        replace(_change_point(row, decimals, findings, unit), quiet=many and bool(quiet))
        for row, quiet in zip(wells.to_dict("records"), unmeasured, strict=True)
    )
    what = (
        f"Change of water level in {unit}, rise positive, between levels of the same wells on both days; contour "
        f"interval {interval_text(drawn.interval_m, unit)}. Brackets: the change is within its 95 % half-"
        "width and not significant."
    )
    parameters = "; ".join(f"{name} {value}" for name, value in drawn.parameters)
    method = f"Made from the differences at the wells. {drawn.method_text}"
    notes = (
        Note("Change", (what, *map(shown, facts), *context.known)),
        Note("Surface", (shown(method), shown(f"Parameters: {parameters}."), DRAWN), brief=False),
        left_out_note(points, count_others(others["reason"].map(other_code))),
        *findings_notes(points),
        *cautions_notes((*drawn.cautions, *cautions)),
    )
    return MapPlotData(
        **heading,
        points=points,
        # No marks of closed lows: a low of a change is a fall, and no depression of the water.
        contours=contour_paths(drawn.contours, drawn.interval_m, unit, _change_text, lows=False),
        boundary=rings_of(drawn.boundary if drawn.region is None else drawn.region),
        layers=base_layers(drawn.features.layers),
        notes=notes,
    )


def worth_plot_data(
    result: Any,
    context: MapContext,
    *,
    candidates: Sequence[tuple[str, float, float, float]],
    least: int,
    contours: Iterable[Any],
    interval_m: float,
    facts: Sequence[str],
    cautions: Sequence[str],
) -> MapPlotData:
    """Work out what a map of the data worth of wells shows.

    Parameters
    ----------
    result : gwnet.analysis.maps.data_worth.WorthResult
        Wells by rank and the map that they were taken from, or anything with its attributes.
    context : MapContext
        Site, name of the aquifer and record.
    candidates : sequence of tuple
        Name, x, y and 95 % half-width [m] of each place for a further well.
    least : int
        How many wells are marked as those that change the map least.
    contours : iterable of gwnet.hydro.surfaces.contours.ContourLine
        Contours of the 95 % half-width of the surface.
    interval_m : float
        Interval of those contours [m].
    facts, cautions : sequence of str
        Sentences.

    Returns
    -------
    MapPlotData
        Plain numbers and sentences.
    """
    drawn = result.drawn
    unit = drawn.unit
    when = f"map of {drawn.date.isoformat()}"
    wells = result.wells.merge(drawn.used[["well", "easting", "northing"]], on="well")
    points = [_worth_point(row, least, unit) for row in wells.to_dict("records")]
    points += [
        MapPoint(name, "candidate", x, y, f"± {number_text(width / metres_per(unit), 2)}", used=True)
        for name, x, y, width in candidates
    ]
    what = (
        f"Below each name: rank, 1 for the well whose removal changes the surface least, and the mean change over the "
        f"control in {unit}. Contours: 95 % half-width of the surface in {unit}, interval "
        f"{interval_text(interval_m, unit)}; letters stand where it is largest, each with those before it taken as "
        "wells."
    )
    return MapPlotData(
        **context.heading("Data worth of wells", when, unit, aquifer=drawn.aquifer, crs=drawn.crs),
        points=tuple(points),
        contours=contour_paths(contours, interval_m, unit, size_text, lows=False),
        boundary=rings_of(drawn.boundary),
        notes=(Note("Data worth of wells", (what, *map(shown, facts), *context.known)), *cautions_notes(cautions)),
    )


def _change_point(row: Mapping[str, Any], decimals: int, findings: Mapping[str, str], unit: str) -> MapPoint:
    change, significant = float(row["change_m"]), bool(row["is_significant"])
    value, kind = "", "stage" if row["kind"] == "stage" else "well"
    if row["used"]:
        kind = ("rise" if change > 0.0 else "fall") if significant else "even"
        value = number_text(change / metres_per(unit), decimals, signed=True)
        value = value if significant else f"({value})"
    return MapPoint(
        name=shown(row["well"]),
        kind=kind,
        x=float(row["easting"]),
        y=float(row["northing"]),
        value=value,
        used=bool(row["used"]),
        reason="" if row["used"] else shown(plain(row["reason"])) or "no reason given",
        finding=shown(findings.get(str(row["well"]), "")),
        number=change,
    )


def _worth_point(row: Mapping[str, Any], least: int, unit: str) -> MapPoint:
    change = float(row["mean_change_m"])
    text = number_text(change / metres_per(unit), 3) if math.isfinite(change) else "not to be spared"
    kind = "least" if row["rank"] <= least else "stage" if row["kind"] == "stage" else "ranked"
    return MapPoint(
        name=shown(row["well"]),
        kind=kind,
        x=float(row["easting"]),
        y=float(row["northing"]),
        value=f"{row['rank']} · {text}",
        used=True,
        finding=shown(plain(row["note"])),
        number=change,
    )


def _change_text(value: float, decimals: int) -> str:
    """Return the text of a contour of change, in words: a minus within the line would be lost."""
    text = size_text(value, decimals)
    if float(text) == 0.0:
        return text
    return f"rise {text}" if value > 0.0 else f"fall {text}"
