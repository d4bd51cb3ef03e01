"""What a map of the network shows, as plain numbers and sentences."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from gwnet.errors import AnalysisError
from gwnet.figures.base.text import plain, shown
from gwnet.figures.maps.data import Note, check_unit, known_text, subtitle_of
from gwnet.figures.maps.geometry import BaseLayer, base_layers

__all__ = ["NetworkPlotData", "NetworkWell", "network_plot_data"]


@dataclass(frozen=True, slots=True)
class NetworkWell:
    """A well or gauge of a network map: ``group`` is its aquifer, ``active`` false once it is given up."""

    name: str
    group: str
    cluster: str
    x: float
    y: float
    active: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class NetworkPlotData:
    """A map of the network as plain numbers and sentences; coordinates in the site's system.

    Parameters
    ----------
    title, subtitle, crs : str
        Heading and system of the coordinates.
    unit : {"m", "ft"}
        Unit of the scale bar.
    coordinate_unit_m : float
        Metres in one unit of the coordinates.
    groups : tuple of tuple of str
        Code and printed name of each aquifer, in order of the key.
    wells, gauges : tuple of NetworkWell
        What is drawn.
    layers : tuple of BaseLayer
        The user's own geometry.
    notes : tuple of Note
        Text of the map.
    """

    title: str
    subtitle: str
    crs: str
    unit: str
    coordinate_unit_m: float
    groups: tuple[tuple[str, str], ...]
    wells: tuple[NetworkWell, ...]
    gauges: tuple[NetworkWell, ...]
    layers: tuple[BaseLayer, ...]
    notes: tuple[Note, ...]


def network_plot_data(
    wells: pd.DataFrame,
    *,
    site: Mapping[str, Any] | pd.Series,
    aquifers: pd.DataFrame | None = None,
    stages: pd.DataFrame | None = None,
    coordinate_unit_m: float = 1.0,
    layers: Sequence[tuple[str, Any]] = (),
    known_on: dt.datetime | None = None,
    unit: str = "m",
) -> NetworkPlotData:
    """Work out what a map of the network shows.

    Parameters
    ----------
    wells : pandas.DataFrame
        Wells frame: well, aquifer, cluster, easting, northing, decommissioned_on.
    site : mapping or pandas.Series
        Row of the sites frame.
    aquifers : pandas.DataFrame, optional
        Aquifers frame: aquifer, name; its order is that of the key.
    stages : pandas.DataFrame, optional
        Stages frame; each gauge is drawn once, where it was last read.
    coordinate_unit_m, layers, known_on, unit : optional
        As in `surface_map_plot_data`.

    Returns
    -------
    NetworkPlotData
        Plain numbers and sentences.

    Raises
    ------
    SettingsError
        If the unit is not a display unit.
    AnalysisError
        If no well has coordinates.
    """
    check_unit(unit)
    rows = [_network_well(row) for row in wells.to_dict("records")]
    placed = tuple(well for well in rows if math.isfinite(well.x) and math.isfinite(well.y))
    if not placed:
        message = "No well has coordinates, so no map can be drawn."
        raise AnalysisError(message, fix="Record coordinates for the wells.")
    names = {} if aquifers is None else dict(zip(aquifers["aquifer"], aquifers["name"], strict=True))
    found = {well.group for well in placed}
    order = [code for code in names if code in found] + sorted(found - set(names) - {""}) + [""] * ("" in found)
    groups = tuple((code, _group_name(code, plain(names.get(code)))) for code in order)
    unplaced = [well.name for well in rows if not (math.isfinite(well.x) and math.isfinite(well.y))]
    counts = [f"{len(placed)} wells" if len(placed) != 1 else "1 well"]
    clusters = len({well.cluster for well in placed if well.cluster})
    if clusters:
        counts.append(f"{clusters} clusters" if clusters != 1 else "1 cluster")
    notes = [Note("Network", (", ".join(counts) + ".", *known_text(known_on)))]
    if unplaced:
        notes.append(Note("Without coordinates on record", (", ".join(unplaced) + ".",)))
    return NetworkPlotData(
        title="Monitoring network",
        subtitle=subtitle_of(site, ""),
        crs=shown(plain(site.get("crs"))),
        unit=unit,
        coordinate_unit_m=coordinate_unit_m,
        groups=groups,
        wells=placed,
        gauges=_gauges(stages),
        layers=base_layers(layers),
        notes=tuple(notes),
    )


def _network_well(row: Mapping[str, Any]) -> NetworkWell:
    return NetworkWell(
        name=shown(row["well"]),
        group=plain(row["aquifer"]),
        cluster=shown(plain(row["cluster"])),
        x=float(row["easting"]) if pd.notna(row["easting"]) else math.nan,
        y=float(row["northing"]) if pd.notna(row["northing"]) else math.nan,
        active=not plain(row.get("decommissioned_on")),
    )


def _group_name(code: str, name: str) -> str:
    if not code:
        return "aquifer not on record"
    return shown(f"{name} ({code})" if name and name != code else code)


def _gauges(stages: pd.DataFrame | None) -> tuple[NetworkWell, ...]:
    if stages is None or stages.empty:
        return ()
    placed = stages[stages["easting"].notna() & stages["northing"].notna()]
    newest = placed.sort_values(["gauge", "measured_at_utc"], kind="stable").drop_duplicates("gauge", keep="last")
    return tuple(
        NetworkWell(shown(row["gauge"]), "", "", float(row["easting"]), float(row["northing"]))
        for row in newest.to_dict("records")
    )
