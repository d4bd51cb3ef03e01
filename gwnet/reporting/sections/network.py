"""How the wells are built and where their measuring points are, with the history of the latter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from gwnet.analysis.maps.site_maps import unit_of_coordinates
from gwnet.errors import SettingsError
from gwnet.reporting.content import Block, Cell, Column, Group, Paragraph, Row, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import Measures, date_of, local_day
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import (
    NOT_ON_RECORD,
    length_cell,
    length_column,
    text_cell,
    text_of,
    without_empty_columns,
    without_shared_columns,
)
from gwnet.reporting.view import ReportView
from gwnet.units import METRES_PER_UNIT

_NOT_SURVEYED = "ground not surveyed"


@register_section("construction", "Construction of the wells", "position and construction of the wells", place=60)
def compose_construction(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with position and construction of the wells."""
    known = view.wells[["screen_top_m", "screen_bottom_m"]].notna().to_numpy().any()
    if _standing_parts(view)["well"].isin(view.wells["well"]).any() or known:
        parts: Block = _parts_table(view)
    else:
        parts = Paragraph("No casing, screen, seal or filter pack is on record for these wells.")
    return [_position_table(view), parts]


def _position_table(view: ReportView) -> Table:
    measures = view.measures
    grid = coordinate_unit(view.data.site.crs)
    columns = (
        Column("Well"),
        Column("Easting", grid, 1, "right", group="Position"),
        Column("Northing", grid, 1, "right", group="Position"),
        length_column("±", measures, group="Position"),
        length_column("elevation", measures, group="Ground"),
        length_column("±", measures, group="Ground"),
        length_column("Depth as built", measures, fewer=1),
        Column("Purpose"),
        Column("Drilled"),
        Column("Standing"),
    )
    rows: list[Row] = []
    for code, wells in view.by_aquifer():
        rows.append(Group(view.aquifer_name(code)))
        rows.extend(_position_row(view, row) for row in wells.to_dict("records"))
    caption = (
        f"Position and depth of the wells; coordinates in {view.data.site.crs}, ground elevations above "
        f"{view.data.site.vertical_datum}, depths below ground."
    )
    return without_shared_columns(without_empty_columns(Table("wells", caption, columns, tuple(rows), dense=True)))


def coordinate_unit(crs: str) -> str:
    """Return the unit of coordinates in a system, empty when the system is not a projected one."""
    try:
        metres = unit_of_coordinates(crs)
    except SettingsError:
        return ""
    known = [unit for unit, factor in METRES_PER_UNIT.items() if math.isclose(factor, metres, rel_tol=1e-9)]
    return known[0] if known else f"{metres:g} m"


def _position_row(view: ReportView, row: dict[str, Any]) -> tuple[Cell, ...]:
    measures = view.measures
    ended = date_of(row["decommissioned_on"])
    standing = "in use"
    # A well that ended after the period was in use in it.
    if ended is not None and ended <= view.period.last:
        successor = text_of(row["replaced_by"])
        standing = f"ended {ended}" + (f", replaced by {successor}" if successor else "")
    drilled = date_of(row["drilled_on"])
    purpose = ", ".join(dict.fromkeys(filter(None, (text_of(row["purpose"]), text_of(row["role"])))))
    return (
        Cell(str(row["well"])),
        _number(row["easting"]),
        _number(row["northing"]),
        length_cell(row["coordinate_accuracy_m"], measures),
        length_cell(row["ground_elevation_m"], measures),
        length_cell(row["ground_accuracy_m"], measures),
        length_cell(row["total_depth_m"], measures),
        text_cell(purpose),
        Cell(drilled.isoformat()) if drilled else Cell(None, NOT_ON_RECORD),
        Cell(standing),
    )


def _number(value: Any) -> Cell:
    return Cell(None, NOT_ON_RECORD) if pd.isna(value) else Cell(float(value))


def _parts_table(view: ReportView) -> Table:
    measures = view.measures
    columns = (
        Column("Well"),
        Column("Casing", "mm", 0, "right"),
        Column("Material"),
        length_column("top", measures, group="Seal", fewer=1),
        length_column("bottom", measures, group="Seal", fewer=1),
        length_column("top", measures, group="Filter pack", fewer=1),
        length_column("bottom", measures, group="Filter pack", fewer=1),
        length_column("top", measures, group="Screen or open hole", fewer=1),
        length_column("bottom", measures, group="Screen or open hole", fewer=1),
        length_column("Bottom of well", measures, fewer=1),
    )
    parts = _standing_parts(view)
    rows: list[Row] = []
    for code, wells in view.by_aquifer():
        rows.append(Group(view.aquifer_name(code)))
        rows.extend(_parts_row(row, parts[parts["well"] == row["well"]], measures) for row in wells.to_dict("records"))
    caption = f"Construction of the wells as elevations above {view.data.site.vertical_datum}."
    note = "Of several screens, seals or packs the outermost ends are given; the data annex lists every part."
    return without_shared_columns(
        without_empty_columns(Table("construction", caption, columns, tuple(rows), (note,), dense=True))
    )


def _standing_parts(view: ReportView) -> pd.DataFrame:
    parts = view.data.construction
    removed = [date_of(value) for value in parts["removed_on"]]
    # As an array: an empty list would choose no columns and not no rows.
    return parts[np.array([day is None or day > view.period.last for day in removed], dtype=bool)]


def _parts_row(well: dict[str, Any], parts: pd.DataFrame, measures: Measures) -> tuple[Cell, ...]:
    ground = float(well["ground_elevation_m"])
    casing = parts[parts["part"] == "casing"]
    screen = parts[parts["part"].isin(["screen", "open hole"])]
    # The narrowest casing is what a logger or pump has to pass.
    diameter = casing["diameter_mm"].dropna().min() if len(casing) else math.nan
    materials = sorted({text_of(value) for value in casing["material"]} - {""})
    cells = [
        Cell(str(well["well"])),
        _number(diameter),
        text_cell(", ".join(materials)),
    ]
    for members in (parts[parts["part"] == "seal"], parts[parts["part"] == "filter pack"], screen):
        top = float(members["top_depth_m"].min()) if len(members) else math.nan
        bottom = float(members["bottom_depth_m"].max()) if len(members) else math.nan
        # A well without parts on record may still have the ends of its screen.
        if members is screen and not len(members):
            top, bottom = float(well["screen_top_m"]), float(well["screen_bottom_m"])
        cells.extend(_elevation(ground, depth, measures) for depth in (top, bottom))
    cells.append(_elevation(ground, float(well["total_depth_m"]), measures))
    return tuple(cells)


def _elevation(ground: float, depth: float, measures: Measures) -> Cell:
    if math.isnan(depth):
        return Cell(None, NOT_ON_RECORD)
    return length_cell(ground - depth, measures, _NOT_SURVEYED)


@register_section("measuring_points", "Measuring points", "the measuring points with their history", place=70)
def compose_measuring_points(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the measuring points and their history."""
    points = view.data.measuring_points
    points = points[points["well"].isin(view.wells["well"])]
    if points.empty:
        return [Paragraph("No measuring point is on record.")]
    measures = view.measures
    columns = (
        Column("Well"),
        Column("Valid from"),
        Column("until"),
        length_column("Elevation", measures),
        length_column("±", measures),
        length_column("Above ground", measures, signed=True),
        Column("on", group="Survey"),
        Column("method", group="Survey"),
        Column("Change"),
        Column("Record"),
    )
    order = {well: place for place, well in enumerate(view.wells["well"])}
    keyed = points.assign(order=points["well"].map(order))
    keyed = keyed.sort_values(["order", "access", "valid_from_utc", "recorded_at_utc"], kind="stable")
    rows: list[Row] = []
    for code, wells in view.by_aquifer():
        members = keyed[keyed["well"].isin(wells["well"])]
        if len(members):
            rows.append(Group(view.aquifer_name(code)))
        rows.extend(_point_row(view, row) for row in members.to_dict("records"))
    caption = "Measuring points and their history; a corrected survey is listed beside the one it replaced."
    notes = _datum_notes(view, points)
    table = Table("measuring-points", caption, columns, tuple(rows), notes, identified_by=2, dense=True)
    return [without_shared_columns(without_empty_columns(table))]


def _datum_notes(view: ReportView, points: pd.DataFrame) -> tuple[str, ...]:
    datums = sorted({text_of(value) for value in points["vertical_datum"]} - {""})
    usual = view.data.site.vertical_datum
    notes = [f"Elevations above {usual}. Height above ground is positive upward."]
    others = [name for name in datums if name != usual]
    if others:
        notes.append(f"Other datums on record: {', '.join(others)}.")
    return tuple(notes)


def _point_row(view: ReportView, row: dict[str, Any]) -> tuple[Cell, ...]:
    measures, zone = view.measures, view.data.site.time_zone
    access = text_of(row["access"])
    name = str(row["well"]) if access in ("", "main") else f"{row['well']} ({access})"
    start, end = local_day(row["valid_from_utc"], zone), local_day(row["valid_until_utc"], zone)
    retired = local_day(row["retired_at_utc"], zone)
    surveyed = date_of(row["surveyed_on"])
    record = f"replaced {retired}" if retired else "in force"
    if not retired and end is not None and end <= view.period.last:
        record = "ended"
    return (
        Cell(name),
        Cell(start.isoformat()) if start else Cell(None, "from the beginning"),
        Cell(end.isoformat() if end else "open"),
        length_cell(row["elevation_m"], measures),
        length_cell(row["accuracy_m"], measures),
        length_cell(row["height_above_ground_m"], measures),
        Cell(surveyed.isoformat()) if surveyed else Cell(None, NOT_ON_RECORD),
        text_cell(row["survey_method"]),
        text_cell(row["change"], "none stated"),
        Cell(record),
    )
