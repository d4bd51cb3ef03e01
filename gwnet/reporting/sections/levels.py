"""Levels of the period: one table a round, compared with the round before and with a year before."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gwnet.reporting.content import Block, Cell, Column, Group, Paragraph, Row, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import joined, moment_text
from gwnet.reporting.registry import register_section
from gwnet.reporting.rounds import Event, RoundView
from gwnet.reporting.sections.common import (
    change_cell,
    elevation_cell,
    event_well,
    length_cell,
    length_column,
    text_cell,
)
from gwnet.reporting.view import ReportView

NO_REASON = "no reading and no reason on record"


@register_section(
    "levels",
    "Levels of this period",
    "the levels of each round, with the change since the round before and in a year",
    place=80,
)
def compose_levels(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the levels of the period."""
    blocks: list[Block] = []
    if not view.in_period:
        blocks.append(Paragraph("No level was measured at the selected wells in this period."))
    for gauging in reversed(view.in_period):
        blocks.append(_table(view, gauging))
        if product := _product_table(view, gauging):
            blocks.append(product)
    return blocks


def _columns(view: ReportView) -> tuple[Column, ...]:
    measures = view.measures
    return (
        Column("Well"),
        Column("Measured at"),
        Column("Status"),
        length_column("Depth to water", measures),
        length_column("Measuring point elevation", measures),
        length_column("Water elevation", measures),
        length_column("±", measures),
        length_column("last round", measures, signed=True, group="Change since"),
        length_column("a year before", measures, signed=True, group="Change since"),
        Column("Review"),
    )


def _table(view: ReportView, gauging: RoundView) -> Table:
    rows: list[Row] = []
    order = gauging.wells()
    by_well: dict[str, list[Event]] = {}
    for event in gauging.events.to_dict("records"):
        by_well.setdefault(str(event["well"]), []).append(event)
    for code, wells in view.by_aquifer():
        members = set(wells["well"])
        listed = [well for well in order if well in members and well in by_well]
        if listed:
            rows.append(Group(view.aquifer_name(code)))
        for well in listed:
            events = by_well[well]
            rows.extend(_row(view, gauging, event) for event in events)
    days = f"{gauging.first}" if gauging.first == gauging.last else f"{gauging.first} to {gauging.last}"
    name = f"Levels of round {gauging.code}" if gauging.code else "Newest level of each well in the period"
    before = view.before(gauging)
    notes = ["Depth is positive downward from the measuring point. ± is the 95 % half-width of the water elevation."]
    if before is not None:
        notes.append(f"The last round is {before.code or 'the period before'}, {before.first} to {before.last}.")
    if missing := [well for well in gauging.planned if well not in by_well]:
        notes.append(f"{joined(missing)}: {NO_REASON}.")
    caption = f"{name}, {days}; elevations above {view.data.site.vertical_datum}, times of {view.data.site.time_zone}."
    key = f"levels-{gauging.code or 'period'}"
    return Table(key, caption, _columns(view), tuple(rows), tuple(notes), identified_by=2)


def _row(view: ReportView, gauging: RoundView, event: Event) -> tuple[Cell, ...]:
    measures, well = view.measures, str(event["well"])
    is_used = gauging.best.get(well, {}).get("event_id") == event["event_id"]
    status = str(event["status"])
    no_number = f"{status}: no depth" if status != "static" else "no depth on record"
    if is_used:
        changes = (
            change_cell(view.change_since_last(gauging, well), measures),
            change_cell(view.change_in_year(gauging, well), measures),
        )
    else:
        other = Cell(None, "another event of the round is used for the well")
        changes = (other, other)
    return (
        Cell(event_well(event)),
        Cell(moment_text(str(event["measured_at"]))),
        Cell(status),
        length_cell(event["depth_to_water_m"], measures, no_number),
        length_cell(event["measuring_point_elevation_m"], measures, "no measuring point in force"),
        elevation_cell(event, measures),
        length_cell(event["uncertainty_m"], measures, _no_half_width(event)),
        *changes,
        text_cell(event["review"]),
    )


def _no_half_width(event: Event) -> str:
    return "a bound has no half-width" if event["bound"] else "no water elevation"


def _product_table(view: ReportView, gauging: RoundView) -> Table | None:
    measures = view.measures
    thick = [
        event
        for event in gauging.events.to_dict("records")
        if math.isfinite(float(event["product_thickness_m"])) and float(event["product_thickness_m"]) > 0
    ]
    if not thick:
        return None
    columns = (
        Column("Well"),
        Column("Measured at"),
        length_column("Product thickness", measures),
        length_column("Water surface", measures, group="Water elevation"),
        length_column("corrected for product", measures, group="Water elevation"),
    )
    rows = tuple(
        (
            Cell(event_well(event)),
            Cell(moment_text(str(event["measured_at"]))),
            length_cell(event["product_thickness_m"], measures),
            length_cell(event["water_elevation_uncorrected_m"], measures),
            length_cell(event["water_elevation_m"], measures),
        )
        for event in thick
    )
    return Table(
        f"product-{gauging.code or 'period'}",
        f"Floating product in {gauging.label}. Maps and comparisons use the corrected elevation.",
        columns,
        rows,
    )
