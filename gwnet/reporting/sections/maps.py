"""Where the wells are, and the potentiometric maps with their gradients and exclusions."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from gwnet.constants import OTHER_AQUIFER
from gwnet.reporting.content import (
    Block,
    Caution,
    Cell,
    Column,
    FigureSlot,
    Heading,
    Paragraph,
    Section,
    Table,
)
from gwnet.reporting.data import MapFacts
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import MAP_HEIGHT_MM, NETWORK_HEIGHT_MM, TEXT_WIDTH_MM, Drawing, FigureFrame
from gwnet.reporting.measures import compass, moment_text
from gwnet.reporting.sections.common import bound_sign, length_cell, length_column, text_cell, text_of
from gwnet.reporting.view import ReportView

__all__ = ["maps", "network_map"]


def network_map(view: ReportView, drawing: Drawing) -> Section:
    """Return the section with the map of the network."""
    frame = FigureFrame(TEXT_WIDTH_MM, NETWORK_HEIGHT_MM, view.measures.unit)
    placed = view.wells[view.wells["easting"].notna() & view.wells["northing"].notna()]
    unplaced = sorted(set(view.wells["well"]) - set(placed["well"]))
    if placed.empty:
        return Section("network_map", "Network", (Paragraph("No well has coordinates on record."),))
    caption = f"Monitoring network: {len(placed)} wells. Coordinates in {view.data.site.crs}."
    if unplaced:
        caption += f" Without coordinates on record: {', '.join(unplaced[:12])}."
    figure = FigureSlot("network", caption, caption, lambda: drawing.network_map(view, frame))
    return Section("network_map", "Network", (figure,))


def maps(view: ReportView, drawing: Drawing) -> Section:
    """Return the section with the potentiometric maps."""
    found = view.maps()
    blocks: list[Block] = []
    if not found:
        blocks.append(Paragraph("No potentiometric map was made for this period."))
    if any(facts.gradient is not None for facts in found):
        blocks.append(_gradient_table(view, found))
    for number, facts in enumerate(found, start=1):
        blocks.append(Heading(f"{view.aquifer_name(facts.aquifer)}, {date_text(facts.day)}"))
        blocks.extend(_one_map(view, facts, drawing, number))
    return Section("maps", "Potentiometric maps", tuple(blocks))


def _one_map(view: ReportView, facts: MapFacts, drawing: Drawing, number: int) -> list[Block]:
    blocks: list[Block] = []
    if facts.refused:
        blocks.append(Paragraph(f"No map could be drawn. {facts.refused}"))
    else:
        frame = FigureFrame(TEXT_WIDTH_MM, MAP_HEIGHT_MM[view.definition.page], view.measures.unit)
        caption = _caption(view, facts)
        alt = f"Map of the potentiometric surface. {caption}"
        blocks.append(FigureSlot(f"map-{number}", caption, alt, lambda: drawing.potentiometric_map(view, facts, frame)))
    if facts.findings:
        blocks.append(Caution("Levels that do not fit", facts.findings))
    left_out = facts.control[~facts.control["used"].astype(bool)]
    if left_out.empty:
        blocks.append(Paragraph("No well of this aquifer was left out of the map."))
    else:
        blocks.append(_left_out_table(view, facts, left_out, number))
    return blocks


def _caption(view: ReportView, facts: MapFacts) -> str:
    parts = [f"Potentiometric surface of {view.aquifer_name(facts.aquifer)}, {date_text(facts.day)}"]
    parts.append(f"{int(facts.control['used'].astype(bool).sum())} levels used")
    if math.isfinite(facts.interval_m):
        interval = view.measures.length(facts.interval_m)
        parts.append(f"contour interval {interval:.4g}\u00a0{view.measures.unit}")
    if math.isfinite(facts.cross_validation_m):
        parts.append(f"cross-validation error {view.measures.text(facts.cross_validation_m)} (root mean square)")
    return f"{'; '.join(parts)}. Dashed contours are inferred; method, datum and times stand on the map."


def _left_out_table(view: ReportView, facts: MapFacts, left_out: pd.DataFrame, number: int) -> Table:
    measures = view.measures
    columns = (
        Column("Well or gauge"),
        Column("Measured at"),
        Column("Status"),
        length_column("Water elevation", measures),
        length_column("±", measures),
        Column("Reason for leaving out"),
    )
    bounded = view.levels[view.levels["bound"] != ""]
    signs = {event["event_id"]: bound_sign(event) for event in bounded.to_dict("records")}
    elsewhere = left_out["reason"].str.startswith(OTHER_AQUIFER)
    alone = left_out[(left_out["measured_at"].fillna("") != "") & ~elsewhere]
    rows = [_left_out_row(row, view, signs) for row in alone.to_dict("records")]
    absent: dict[str, list[str]] = {}
    for row in left_out.drop(alone.index).to_dict("records"):
        absent.setdefault(text_of(row["reason"]), []).append(_control_name(row))
    none = Cell(None, "no level of this aquifer in the window")
    rows.extend(
        (Cell(", ".join(names)), none, none, none, none, text_cell(reason, "no reason given"))
        for reason, names in absent.items()
    )
    caption = f"Left out of the map of {view.aquifer_name(facts.aquifer)}, {facts.day}, with reasons."
    return Table(f"left-out-{number}", caption, columns, tuple(rows), identified_by=2)


def _left_out_row(row: dict[str, Any], view: ReportView, signs: dict[Any, str]) -> tuple[Cell, ...]:
    value = view.measures.length(row["water_elevation_m"])
    return (
        Cell(_control_name(row)),
        Cell(moment_text(text_of(row["measured_at"]))),
        text_cell(row["status"], "no event"),
        Cell(value, "no number" if math.isnan(value) else "", prefix=signs.get(row.get("event_id"), "")),
        length_cell(row["uncertainty_m"], view.measures, "no number"),
        text_cell(row["reason"], "no reason given"),
    )


def _control_name(row: dict[str, Any]) -> str:
    return f"{row['well']} (gauge)" if row["kind"] == "stage" else str(row["well"])


def _gradient_table(view: ReportView, found: tuple[MapFacts, ...]) -> Table:
    slope = f"{view.measures.unit}/{view.measures.unit}"
    columns = (
        Column("Aquifer"),
        Column("Day"),
        Column("Wells", align="right"),
        Column("Gradient", slope, 5, "right"),
        Column("±", slope, 5, "right"),
        Column("Flow towards", "°", 0, "right"),
        Column("±", "°", 0, "right"),
        Column("Direction"),
    )
    rows = []
    for facts in found:
        gradient = facts.gradient
        if gradient is None:
            continue
        undetermined = "cannot be told apart from no gradient"
        known = gradient.determined
        rows.append(
            (
                Cell(view.aquifer_name(facts.aquifer)),
                Cell(facts.day.isoformat()),
                Cell(gradient.n_wells),
                Cell(gradient.magnitude, "" if known else undetermined),
                Cell(
                    gradient.magnitude_uncertainty, "" if math.isfinite(gradient.magnitude_uncertainty) else "not known"
                ),
                Cell(gradient.azimuth_deg % 360 if known else None, "" if known else undetermined),
                Cell(math.ceil(gradient.azimuth_uncertainty_deg) if known else None, "" if known else undetermined),
                Cell(compass(gradient.azimuth_deg) if known else None, "" if known else undetermined),
            )
        )
    caption = "Horizontal gradients; directions clockwise from grid north, ± at 95 %."
    return Table("gradients", caption, columns, tuple(rows), identified_by=2)
