"""Proposes measuring points from readings: an elevation that each repeats, or the sum of depth and elevation."""

from __future__ import annotations

from typing import Final

import numpy as np

from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.mapping.draft import DraftTable
from gwnet.ingest.mapping.look import Looked, LookedColumn
from gwnet.ingest.mapping.survey import Survey, length_rule, numbers

#: How far from zero all other elevations must lie for a zero to stand for none, whatever their unit.
_FAR: Final = 10.0


def propose_points(one: Looked, survey: Survey, events: DraftTable, notes: Notes) -> DraftTable | None:
    """Propose measuring points dated by the elevation that every reading repeats.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    one : gwnet.ingest.mapping.look.Looked
        The table.
    survey : gwnet.ingest.mapping.survey.Survey
        What is known of the places.
    events : gwnet.ingest.mapping.draft.DraftTable
        Its level events.

    Returns
    -------
    gwnet.ingest.mapping.draft.DraftTable or None
        The table; None where readings do not say the elevation of their point.
    """
    elevation = one.one("point elevation")
    # A list of stations has them already; twice they would overlap.
    if survey.has_points:
        return None
    if elevation is None or elevation.kind != "number":
        return _points_of_sums(one, survey, events, notes)
    points = DraftTable("measuring_points", one.source.name, keys={"changes": True})
    points.put("well", survey.well_keys[one.source.name])
    points.put("valid_from", events.columns["measured_at"].keys)
    keys = length_rule(one, elevation)
    zeros = _unknown_zeros(one, elevation)
    if zeros:
        keys["missing"] = zeros
        notes.add(f"{elevation.heading!r} of 0 stands for no elevation: all others lie far from it")
    points.put("elevation", keys)
    ground = one.one("ground elevation")
    if ground is not None and ground.kind == "number" and ground.meaning.unit == elevation.meaning.unit:
        points.put("height_above_ground", keys | {"minus": ground.heading})
    notes.add(f"{elevation.heading!r} is repeated on every reading: measuring points begin where it changes")
    return points


def _unknown_zeros(one: Looked, elevation: LookedColumn) -> list[str]:
    """Return how the zero is written that stands for no elevation, where the others lie far from it."""
    values = numbers(one, elevation.place)
    others = np.abs(values[np.isfinite(values) & (values != 0)])
    # Near sea level a mark may be at 0, so that the zero stays a number.
    if not others.size or others.min() < _FAR or others.min() < 0.2 * others.max():
        return []
    return sorted({one.table.rows[row][elevation.place].strip() for row in np.flatnonzero(values == 0)})


def _points_of_sums(one: Looked, survey: Survey, events: DraftTable, notes: Notes) -> DraftTable | None:
    """Propose measuring points from depth and elevation of the water, which add up to the elevation of the point."""
    depth, water = events.columns.get("depth_to_water"), events.columns.get("water_elevation")
    if depth is None or water is None or not isinstance(depth.keys, dict) or not isinstance(water.keys, dict):
        return None
    # A sum of metres and feet is no elevation, and a turned depth would have to be taken off.
    if depth.keys.get("unit") != water.keys.get("unit") or depth.keys.get("positive"):
        return None
    places = [one.table.place(keys["column"]) for keys in (depth.keys, water.keys)]
    # Rounded, as sums of decimals differ in their last bits.
    total = np.round(numbers(one, places[0]) + numbers(one, places[1]), 3)
    known = total[np.isfinite(total)]
    # A point has few elevations in its time; a sum that changes with each reading is none of a point.
    if not known.size or len(set(known.tolist())) > 0.05 * known.size + 3:
        return None
    points = DraftTable("measuring_points", one.source.name, keys={"changes": True})
    points.put("well", survey.well_keys[one.source.name])
    points.put("valid_from", events.columns["measured_at"].keys)
    points.put("elevation", {**water.keys, "plus": depth.keys["column"]})
    names = f"{water.keys['column']!r} and {depth.keys['column']!r}"
    notes.add(f"no column has the elevation of the measuring point; {names} add up to it")
    return points
