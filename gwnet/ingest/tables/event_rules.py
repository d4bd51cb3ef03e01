"""Rules of level events that need the record: measuring points, ground and depth of their wells."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import Connection

from gwnet.clock import to_instants
from gwnet.constants import BOTTOM_TOLERANCE_M
from gwnet.hydro.reduction.intervals import in_force
from gwnet.ingest.tables.parsed_events import Events
from gwnet.ingest.tables.problems import name_rows
from gwnet.ingest.tables.row_rules import NEGATIVE_DEPTH
from gwnet.store.contract import TAPE_READINGS
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch.frames import number_groups


def check_against_wells(connection: Connection, events: Events) -> None:
    """Check readings against measuring points, ground and depth of their wells, and note their problems.

    Parameters as `gwnet.ingest.tables`.
    """
    parsed = events.parsed
    points = fetch.measuring_points(connection)
    wells = fetch.wells(connection).set_index("well_id")
    rows = pd.DataFrame({"well_id": events.well, "access": events.access})
    of_point, of_event = number_groups(points, rows, ("well_id", "access"))
    starts, ends = (to_instants(points[name]) for name in ("valid_from_utc", "valid_until_utc"))
    held = in_force(of_point, starts, ends, of_event, events.when.utc)
    # Depths below ground and elevations of water need no measuring point.
    by_point = ~np.isnan(events.depth_to_water()) & parsed.good
    for row in np.flatnonzero(by_point & (held.count != 1)):
        _refuse_point(events, int(row), int(held.count[row]), points)
    # Where no point is in force, the index is -1, which takes the gap behind the last one.
    padded = {
        name: np.append(points[name].to_numpy(dtype=np.float64), np.nan)
        for name in ("elevation_m", "height_above_ground_m")
    }
    elevation, height = padded["elevation_m"][held.index], padded["height_above_ground_m"][held.index]
    of_well = {name: _of_well(wells[name], events.well) for name in ("ground_elevation_m", "total_depth_m")}
    # The height surveyed with the point goes before the ground of the well: it holds for its time.
    ground = np.where(np.isnan(height), of_well["ground_elevation_m"], elevation - height)
    below_ground = ~np.isnan(parsed.values["depth_below_ground"])
    for row in np.flatnonzero(below_ground & np.isnan(ground) & parsed.good):
        message = "A depth below ground needs the ground's elevation, which is not on record for that time."
        fix = "Give the well its ground_elevation, or a measuring point with its height above ground."
        parsed.reject(int(row), "depth_below_ground", "no-ground-elevation", message, fix)
    _check_tape_readings(events)
    _check_above_ground(events, height)
    _check_plausible(events, ground, elevation - ground, of_well["total_depth_m"])


def _check_tape_readings(events: Events) -> None:
    """Refuse a tape that reads no more at the measuring point than at the water below it."""
    parsed = events.parsed
    mark, water = (events.metres(name) for name in TAPE_READINGS)
    for row in np.flatnonzero((mark <= water) & parsed.good):
        at_mark, at_water = (parsed.values[name][row] for name in TAPE_READINGS)
        message = f"The tape reads {at_mark:g} at the measuring point and {at_water:g} at the water below it."
        fix = "The tape reads more at the measuring point; swap the two, or correct the wrong one."
        parsed.reject(int(row), "tape_at_water", "wrong-order", message, fix)


def _check_above_ground(events: Events, height: NDArray[np.float64]) -> None:
    """Refuse water above ground that would be above the measuring point, too, of a well that does not flow."""
    parsed = events.parsed
    depth = events.metres("depth_below_ground")
    flowing = parsed.values["status"] == "flowing"
    # A pipe holds water between ground and mark. Where the height of the mark is not known, nothing says that it
    # does: a comparison with NaN is false. The rest is rounding of feet.
    over = (depth < 0) & ~flowing & ~(depth >= -height - 1e-6)
    for row in np.flatnonzero(over & parsed.good):
        message = (
            f"The depth below ground {events.length('depth_below_ground', row)} is negative: water above the measuring "
            "point, or a slip of the pen."
        )
        parsed.reject(int(row), "depth_below_ground", "wrong-sign", message, NEGATIVE_DEPTH)
    product, water = events.metres("depth_to_product"), events.depth_to_water()
    for row in np.flatnonzero((product > water) & parsed.good):
        message = (
            f"Product at {events.length('depth_to_product', row)} would lie below water at "
            f"{events.in_unit_of('depth_to_product', row, water[row])}."
        )
        parsed.reject(int(row), "depth_to_product", "product-below-water", message, "Swap the two depths.")


def _of_well(values: Any, well: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.asarray(values.reindex(well), dtype=np.float64)


def _refuse_point(events: Events, row: int, count: int, points: Any) -> None:
    parsed = events.parsed
    access, offset = events.access[row], events.when.offset_minutes[row].astype("timedelta64[m]")
    when = str(events.when.utc[row] + offset)[:16].replace("T", " ")
    if count > 1:
        message = f"{count} measuring points of access {access!r} are in force at {when}."
        parsed.reject(row, None, "two-measuring-points", message, "End the earlier one before the later one begins.")
        return
    own = points[(points["well_id"] == events.well[row]) & (points["access"] == access)]
    if own.empty:
        message = f"The well has no measuring point of access {access!r}."
        fix = "Load its measuring point first, or correct the access."
    else:
        ends = [(own[f"valid_{name}_utc"] + pd.Timedelta(offset)).dt.strftime("%Y-%m-%d") for name in ("from", "until")]
        spans = ", ".join(
            f"{start} to {end if isinstance(end, str) else 'now'}" for start, end in zip(*ends, strict=True)
        )
        message = f"No measuring point of access {access!r} is in force at {when}; on record: {spans}."
        fix = "Load the survey for that time, then load this file again."
    parsed.reject(row, None, "access-without-point", message, fix)


def _check_plausible(
    events: Events, ground: NDArray[np.float64], height: NDArray[np.float64], total_depth: NDArray[np.float64]
) -> None:
    """Refuse a depth in the elevation column; say how many depths lie below the well as built.

    Such a depth is recorded: the depth as built is as likely to be wrong as the reading.
    """
    parsed = events.parsed
    bottom = ground - total_depth
    # At most one of the two is there; fmax passes over the other.
    below_ground = np.fmax(events.metres("depth_below_ground"), events.depth_to_water() - height)
    deeper = np.flatnonzero((below_ground > total_depth + BOTTOM_TOLERANCE_M) & parsed.good)
    if deeper.size:
        rows = name_rows([parsed.raw.sheet.numbers[row] for row in deeper.tolist()])
        parsed.raw.warnings.append(f"deeper than the well as built, recorded and left for 'gwnet check': {rows}")
    head = events.metres("water_elevation")
    low = (head < bottom - 1.0) & (head >= 0) & (head <= total_depth)
    for row in np.flatnonzero(low & parsed.good):
        message = (
            f"The elevation {events.length('water_elevation', row)} lies below the well's bottom "
            f"({events.in_unit_of('water_elevation', row, bottom[row])}); as a depth it fits."
        )
        fix = "Put depths in depth_to_water or depth_below_ground, or keep it with --accept depth-in-elevation-column."
        parsed.reject(int(row), "water_elevation", "depth-in-elevation-column", message, fix)
