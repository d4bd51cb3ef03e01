"""What maps of change and of worth show, as plain numbers and sentences."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from gwnet.constants import OTHER_AQUIFER
from gwnet.figures.base.text import decimals_for, number_text, plain, short_number, shown
from gwnet.figures.maps.data import MOST_UNMEASURED, MapPlotData, MapPoint, Note, check_unit, known_text, subtitle_of
from gwnet.figures.maps.geometry import ContourPath, base_layers, rings_of
from gwnet.units import metres_per

__all__ = ["change_plot_data", "worth_plot_data"]


def change_plot_data(
    *,
    wells: pd.DataFrame,
    aquifer: str,
    date: dt.date,
    since: dt.date,
    contours: Iterable[Any],
    boundary: Any,
    interval_m: float,
    facts: Sequence[str],
    method: Sequence[str],
    findings: Mapping[str, str],
    cautions: Sequence[str],
    crs: str,
    coordinate_unit_m: float = 1.0,
    site: Mapping[str, Any] | pd.Series | None = None,
    aquifer_name: str = "",
    layers: Sequence[tuple[str, Any]] = (),
    known_on: dt.datetime | None = None,
    unit: str = "m",
) -> MapPlotData:
    """Work out what a map of changes shows.

    Parameters
    ----------
    wells : pandas.DataFrame
        Changes at wells: well, kind, easting, northing, change_m, uncertainty_m, told, used, reason; rise positive [m].
    aquifer : str
        Code of the aquifer.
    date, since : datetime.date
        Later and earlier day.
    contours : iterable of gwnet.hydro.surfaces.contours.ContourLine
        Pieces of contours of change.
    boundary : array_like, shape (k, 2), or geometry
        Boundary of the control.
    interval_m : float
        Contour interval [m].
    facts, method, cautions : sequence of str
        Sentences: area, mean and volumes; how the surface was made; what a reader must know.
    findings : mapping of str to str
        Wells whose change does not fit that of their neighbours, and what is off.
    crs : str
        System of the coordinates.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates.
    site : mapping or pandas.Series, optional
        Row of the sites frame.
    aquifer_name : str, optional
        Name of the aquifer in words.
    layers : sequence of tuple, optional
        Name and geometry of each base layer, drawn under everything.
    known_on : datetime.datetime, optional
        Aware time as of which the record is shown.
    unit : {"m", "ft"}
        Unit of changes and of the scale bar.

    Returns
    -------
    MapPlotData
        Plain numbers and sentences.

    Raises
    ------
    SettingsError
        If the unit is not a display unit.
    """
    check_unit(unit)
    site = {} if site is None else site
    elsewhere = ~wells["used"].astype(bool) & wells["reason"].map(plain).str.startswith(OTHER_AQUIFER)
    others, wells = wells[elsewhere], wells[~elsewhere]
    used = wells["used"].astype(bool)
    decimals = decimals_for(wells.loc[used, "uncertainty_m"].to_numpy(dtype=np.float64), unit)
    unmeasured = ~used & (wells["measured_before"] == "") & (wells["measured_after"] == "")
    many = int(unmeasured.sum()) > MOST_UNMEASURED
    points = tuple(
        replace(_change_point(row, decimals, findings, unit), quiet=many and bool(quiet))
        for row, quiet in zip(wells.to_dict("records"), unmeasured, strict=True)
    )
    interval = short_number(interval_m / metres_per(unit), least=_decimals(interval_m, unit))
    what = (
        f"Change of water level in {unit}, rise positive, between levels of the same wells on both days; contour "
        f"interval {interval} {unit}. Brackets: the change is within its 95 % half-width and cannot be told."
    )
    notes = [Note("Change", (what, *map(shown, facts), *known_text(known_on)))]
    drawn = "Dashed contours are inferred; nothing is drawn beyond the dotted boundary of control."
    notes.append(Note("Surface", (*map(shown, method), drawn), brief=False))
    undrawn = [_change_point(row, decimals, findings, unit) for row in others.to_dict("records")]
    listed = [f"{line} (not drawn)" for line in _left_out(undrawn)] if undrawn else []
    notes.append(Note("Left out", (*_left_out(points), *listed)))
    noticed = tuple(shown(text) for text in findings.values())
    if noticed:
        notes.append(Note("Findings (ringed)", noticed, brief=False))
    notes.append(Note("Cautions", tuple(map(shown, cautions)), brief=False))
    return MapPlotData(
        title=f"Change of water level, {shown(_named(aquifer, aquifer_name))}",
        subtitle=subtitle_of(site, f"{since.isoformat()} to {date.isoformat()}"),
        unit=unit,
        coordinate_unit_m=coordinate_unit_m,
        crs=shown(crs),
        points=points,
        contours=_paths(contours, interval_m, unit, change=True),
        arrows=np.empty((0, 4)),
        arrows_inferred=np.empty(0, dtype=bool),
        boundary=rings_of(boundary),
        layers=base_layers(layers),
        notes=tuple(notes),
    )


def worth_plot_data(
    *,
    wells: pd.DataFrame,
    candidates: Sequence[tuple[str, float, float, float]],
    least: int,
    aquifer: str,
    date: dt.date,
    contours: Iterable[Any],
    boundary: Any,
    interval_m: float,
    facts: Sequence[str],
    cautions: Sequence[str],
    crs: str,
    coordinate_unit_m: float = 1.0,
    site: Mapping[str, Any] | pd.Series | None = None,
    aquifer_name: str = "",
    known_on: dt.datetime | None = None,
    unit: str = "m",
) -> MapPlotData:
    """Work out what a map of the worth of wells shows.

    Parameters
    ----------
    wells : pandas.DataFrame
        Wells by rank: rank, well, kind, easting, northing, mean_change_m, note.
    candidates : sequence of tuple
        Name, x, y and 95 % half-width [m] of each place for a further well.
    least : int
        How many wells are marked as those that change the map least.
    aquifer : str
        Code of the aquifer.
    date : datetime.date
        Day of the map.
    contours : iterable of gwnet.hydro.surfaces.contours.ContourLine
        Contours of the 95 % half-width of the surface.
    boundary : array_like, shape (k, 2), or geometry
        Boundary of the control.
    interval_m : float
        Interval of those contours [m].
    facts, cautions : sequence of str
        Sentences.
    crs : str
        System of the coordinates.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates.
    site : mapping or pandas.Series, optional
        Row of the sites frame.
    aquifer_name : str, optional
        Name of the aquifer in words.
    known_on : datetime.datetime, optional
        Aware time as of which the record is shown.
    unit : {"m", "ft"}
        Unit of changes and errors and of the scale bar.

    Returns
    -------
    MapPlotData
        Plain numbers and sentences.

    Raises
    ------
    SettingsError
        If the unit is not a display unit.
    """
    check_unit(unit)
    site = {} if site is None else site
    points = [_worth_point(row, least, unit) for row in wells.to_dict("records")]
    points += [
        MapPoint(name, "candidate", x, y, f"± {number_text(width / metres_per(unit), 2)}", used=True)
        for name, x, y, width in candidates
    ]
    interval = short_number(interval_m / metres_per(unit), least=_decimals(interval_m, unit))
    what = (
        f"Below each name: rank, 1 for the well whose removal changes the surface least, and the mean change over the "
        f"control in {unit}. Contours: 95 % half-width of the surface in {unit}, interval {interval} {unit}; letters "
        f"stand where it is largest, each with those before it taken as wells."
    )
    notes = [
        Note("Worth of wells", (what, *map(shown, facts), *known_text(known_on))),
        Note("Cautions", tuple(map(shown, cautions)), brief=False),
    ]
    return MapPlotData(
        title=f"Worth of wells, {shown(_named(aquifer, aquifer_name))}",
        subtitle=subtitle_of(site, f"map of {date.isoformat()}"),
        unit=unit,
        coordinate_unit_m=coordinate_unit_m,
        crs=shown(crs),
        points=tuple(points),
        contours=_paths(contours, interval_m, unit, change=False),
        arrows=np.empty((0, 4)),
        arrows_inferred=np.empty(0, dtype=bool),
        boundary=rings_of(boundary),
        layers=(),
        notes=tuple(notes),
    )


def _named(aquifer: str, name: str) -> str:
    return f"{name} ({aquifer})" if name and name != aquifer else aquifer


def _change_point(row: Mapping[str, Any], decimals: int, findings: Mapping[str, str], unit: str) -> MapPoint:
    change, told = float(row["change_m"]), bool(row["told"])
    value, kind = "", "stage" if row["kind"] == "stage" else "well"
    if row["used"]:
        kind = ("rise" if change > 0.0 else "fall") if told else "even"
        value = number_text(change / metres_per(unit), decimals, signed=True)
        value = value if told else f"({value})"
    return MapPoint(
        name=shown(row["well"]),
        kind=kind,
        x=float(row["easting"]),
        y=float(row["northing"]),
        value=value,
        used=bool(row["used"]),
        reason="" if row["used"] else shown(plain(row["reason"])) or "no reason given",
        finding=shown(findings.get(str(row["well"]), "")),
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
    )


def _left_out(points: Sequence[MapPoint]) -> tuple[str, ...]:
    reasons: dict[str, list[str]] = {}
    for point in points:
        if not point.used:
            reasons.setdefault(point.reason, []).append(point.name)
    return tuple(f"{', '.join(names)}: {reason}" for reason, names in reasons.items()) or ("None.",)


def _decimals(interval_m: float, unit: str) -> int:
    interval = interval_m / metres_per(unit)
    return next((d for d in range(4) if abs(interval * 10**d - round(interval * 10**d)) < 1e-4), 3)


def _paths(contours: Iterable[Any], interval_m: float, unit: str, *, change: bool) -> tuple[ContourPath, ...]:
    """Return contours with their text; every fifth and that of no change are heavy, and none is marked as a low.

    Changes are written in words: the minus of a label within a line would be lost in it.
    """
    decimals = _decimals(interval_m, unit)
    return tuple(
        ContourPath(
            level=_level(piece.level_m / metres_per(unit), decimals, change=change),
            rank=round(piece.level_m / interval_m),
            xy=np.column_stack([piece.x, piece.y]).astype(np.float64),
            inferred=bool(piece.inferred),
            depression=False,
        )
        for piece in contours
    )


def _level(value: float, decimals: int, *, change: bool) -> str:
    text = number_text(abs(value), decimals)
    if not change or float(text) == 0.0:
        return text
    return f"rise {text}" if value > 0.0 else f"fall {text}"
