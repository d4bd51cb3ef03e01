"""What a map of the network shows, as plain numbers and sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from gwnet.errors import AnalysisError
from gwnet.figures.base.text import plain, shown
from gwnet.figures.maps.context import MapContext, MapHeading, Note, coordinates_of, named, named_wells


@dataclass(frozen=True, slots=True)
class NetworkWell:
    """A well or gauge of a network map: ``group`` is its aquifer, ``active`` false once it is given up."""

    name: str
    group: str
    cluster: str
    x: float
    y: float
    active: bool = True


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NetworkPlotData(MapHeading):
    """A map of the network as plain numbers and sentences; coordinates in the site's system.

    Parameters
    ----------
    groups : tuple of tuple of str
        Code and printed name of each aquifer, in order of the key.
    wells, gauges : tuple of NetworkWell
        What is drawn.
    notes : tuple of Note
        Text of the map.
    """

    groups: tuple[tuple[str, str], ...]
    wells: tuple[NetworkWell, ...]
    gauges: tuple[NetworkWell, ...]
    notes: tuple[Note, ...]


def network_plot_data(
    wells: pd.DataFrame,
    context: MapContext,
    *,
    aquifers: pd.DataFrame | None = None,
    stages: pd.DataFrame | None = None,
    unit: str = "m",
) -> NetworkPlotData:
    """Work out what a map of the network shows.

    Parameters
    ----------
    wells : pandas.DataFrame
        Wells frame: well, aquifer, cluster, easting, northing, decommissioned_on.
    context : MapContext
        Site and record.
    aquifers : pandas.DataFrame, optional
        Aquifers frame: aquifer, name; its order is that of the key.
    stages : pandas.DataFrame, optional
        Stages frame; each gauge is drawn once, where it was last read.
    unit : {"m", "ft"}
        Unit of the scale bar.

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
    heading = context.heading("Monitoring network", "", unit)
    rows = [_network_well(row) for row in wells.to_dict("records")]
    placed = tuple(well for well in rows if math.isfinite(well.x) and math.isfinite(well.y))
    if not placed:
        message = "No well has coordinates, so no map can be drawn."
        raise AnalysisError(message, fix="Record coordinates for the wells.")
    names = {} if aquifers is None else dict(zip(aquifers["aquifer"], aquifers["name"], strict=True))
    present = {well.group for well in placed}
    # Wells without an aquifer at the end, where they show as an open question.
    order = [code for code in names if code in present] + sorted(present - set(names) - {""}) + [""] * ("" in present)
    groups = tuple((code, _group_name(code, plain(names.get(code)))) for code in order)
    unplaced = [well.name for well in rows if not (math.isfinite(well.x) and math.isfinite(well.y))]
    counts = [f"{len(placed)} wells" if len(placed) != 1 else "1 well"]
    clusters = len({well.cluster for well in placed if well.cluster})
    if clusters:
        counts.append(f"{clusters} clusters" if clusters != 1 else "1 cluster")
    notes = [Note("Network", (", ".join(counts) + ".", *context.known))]
    if unplaced:
        notes.append(Note("Without coordinates on record", (named_wells(unplaced) + ".",), wells=(len(unplaced),)))
    return NetworkPlotData(**heading, groups=groups, wells=placed, gauges=_gauges(stages), notes=tuple(notes))


def _network_well(row: Mapping[str, Any]) -> NetworkWell:
    x, y = coordinates_of(row)
    return NetworkWell(
        name=shown(row["well"]),
        group=plain(row["aquifer"]),
        cluster=shown(plain(row["cluster"])),
        x=x,
        y=y,
        active=not plain(row.get("decommissioned_on")),
    )


def _group_name(code: str, name: str) -> str:
    if not code:
        return "aquifer not on record"
    return shown(named(code, name))


def _gauges(stages: pd.DataFrame | None) -> tuple[NetworkWell, ...]:
    if stages is None or stages.empty:
        return ()
    placed = stages[stages["easting"].notna() & stages["northing"].notna()]
    # A gauge may have been moved: the place of its newest reading.
    newest = placed.sort_values(["gauge", "measured_at_utc"], kind="stable").drop_duplicates("gauge", keep="last")
    return tuple(
        NetworkWell(shown(row["gauge"]), "", "", float(row["easting"]), float(row["northing"]))
        for row in newest.to_dict("records")
    )
