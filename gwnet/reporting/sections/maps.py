"""Where the wells are, and the potentiometric maps with their gradients and exclusions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from gwnet.constants import OTHER_AQUIFER
from gwnet.errors import DefinitionError
from gwnet.reporting.content import Block, Caution, Cell, Column, FigureSlot, Heading, Paragraph, Table
from gwnet.reporting.data import MapFacts
from gwnet.reporting.definition.checks import SHARE, TEXT, TEXTS, DefinitionFile, KeyTable, one_of, positive_or
from gwnet.reporting.definition.files import find_layers
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import MAP_HEIGHT_MM, NETWORK_HEIGHT_MM, TEXT_WIDTH_MM, Drawing, FigureFrame
from gwnet.reporting.mapped import describe_outside
from gwnet.reporting.measures import compass, moment_text
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import (
    BOUND_SIGNS,
    bound_sign,
    length_cell,
    length_column,
    number_cell,
    text_cell,
    text_of,
)
from gwnet.reporting.view import ReportView
from gwnet.units import metres_per

NOT_DETERMINED: Final = "not distinguishable from no gradient"


@dataclass(frozen=True, slots=True)
class MapSettings:
    """How potentiometric maps are made; None leaves the choice to the site or the method.

    ``base_layers`` are files drawn under the contours; ``boundary``, ``barriers`` and ``rivers`` files that the surface
    obeys. ``rounds`` is ``newest`` (of the period) or ``all``.
    """

    method: str = "kriging"
    interval_m: float | None = None
    window_days: float | None = None
    base_layers: tuple[Path, ...] = ()
    boundary: Path | None = None
    barriers: Path | None = None
    rivers: Path | None = None
    rounds: str = "newest"


def _read_settings(given: Mapping[str, Any], file: DefinitionFile) -> MapSettings:
    values = dict(given)
    feet = values.pop("interval_ft", None)
    if feet and values.get("interval_m"):
        raise DefinitionError("Both interval_m and interval_ft are given.", where=str(file.path), fix="Keep one.")
    if feet:
        values["interval_m"] = feet * metres_per("ft")
    for name in ("boundary", "barriers", "rivers"):
        layers = find_layers(file.path, name, [values.get(name, "")], file.inputs)
        values[name] = layers[0] if layers else None
    values["base_layers"] = find_layers(file.path, "base_layers", values.get("base_layers", ()), file.inputs)
    return MapSettings(**values)


MAP: Final = KeyTable(
    "map",
    {
        "method": one_of("kriging", "triangulation", "spline", "auto"),
        "interval_m": positive_or("auto"),
        "interval_ft": positive_or("auto"),
        "window_days": positive_or("site"),
        "rounds": one_of("newest", "all"),
        "base_layers": TEXTS,
        "boundary": TEXT,
        "barriers": TEXT,
        "rivers": TEXT,
    },
    _read_settings,
)
#: Storage coefficient of each aquifer, for volumes of change.
STORAGE: Final = KeyTable("storage", {"*": SHARE}, lambda given, _file: dict(given))


def _list_notes(view: ReportView) -> list[str]:
    return [view.definition.maps.method, "gradient"] if view.maps() else []


@register_section("network_map", "Network", "the map of the wells", place=20)
def compose_network_map(view: ReportView, drawing: Drawing) -> Sequence[Block]:
    """Return the section with the map of the network."""
    frame = FigureFrame(TEXT_WIDTH_MM, NETWORK_HEIGHT_MM, view.measures.unit)
    placed = view.wells[view.wells["easting"].notna() & view.wells["northing"].notna()]
    unplaced = sorted(set(view.wells["well"]) - set(placed["well"]))
    if placed.empty:
        return [Paragraph("No well has coordinates on record.")]
    caption = f"Monitoring network: {len(placed)} wells. Coordinates in {view.data.site.crs}."
    if unplaced:
        caption += f" Without coordinates on record: {', '.join(unplaced[:12])}."
    figure = FigureSlot("network", caption, caption, lambda: drawing.network_map(view, frame))
    return [figure]


@register_section(
    "maps",
    "Potentiometric maps",
    "the potentiometric maps of the period with their gradients and exclusions",
    place=100,
    tables=(MAP,),
    notes=_list_notes,
)
def compose_maps(view: ReportView, drawing: Drawing) -> Sequence[Block]:
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
    return blocks


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
    outside = describe_outside(facts.control, view.period)
    parts.append(f"{int(facts.control['used'].astype(bool).sum())} levels used" + (f", {outside}" if outside else ""))
    if math.isfinite(facts.interval_m):
        interval = view.measures.length(facts.interval_m)
        parts.append(f"contour interval {interval:.4g}\u00a0{view.measures.unit}")
    if math.isfinite(facts.cross_validation_m):
        parts.append(f"cross-validation error {view.measures.text(facts.cross_validation_m)} (root mean square)")
    return f"{'; '.join(parts)}. Dashed contours are inferred; method, datum and times are on the map."


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
        Cell(value, "no number" if math.isnan(value) else "", prefix=_sign_of(row, signs)),
        length_cell(row["uncertainty_m"], view.measures, "no number"),
        text_cell(row["reason"], "no reason given"),
    )


def _sign_of(row: dict[str, Any], signs: dict[Any, str]) -> str:
    """Return the sign before a level that is only a bound; that of a logger has no event."""
    if row.get("source") == "logger":
        return BOUND_SIGNS.get(str(row.get("bound") or ""), "")
    return signs.get(row.get("event_id"), "")


def _control_name(row: dict[str, Any]) -> str:
    return f"{row['well']} (gauge)" if row["kind"] == "stage" else str(row["well"])


def gradient_columns(view: ReportView, *leading: str) -> tuple[Column, ...]:
    """Return the columns of a table of gradients, after those named."""
    slope = f"{view.measures.unit}/{view.measures.unit}"
    return (
        *(Column(heading) for heading in leading),
        Column("Levels", align="right"),
        Column("Gradient", slope, 5, "right"),
        Column("±", slope, 5, "right"),
        Column("Flow towards", "°", 0, "right"),
        Column("±", "°", 0, "right"),
        Column("Direction"),
    )


def gradient_cells(
    levels: int,
    gradient: tuple[float, float, float],
    azimuth: tuple[float, float],
    *,
    determined: bool,
    why: str = "",
) -> tuple[Cell, ...]:
    """Return the cells of a gradient and its direction, each with its half-width, and why they are not determined.

    Size, half-width and upper limit are given; only the limit is printed of a gradient that is not significant.
    """
    size, width, upper = gradient
    towards, turn = azimuth
    why = "" if determined else why or NOT_DETERMINED
    at_most = f"at most {upper:.5f}" if math.isfinite(upper) else why
    return (
        Cell(levels),
        Cell(size) if determined else Cell(None, at_most),
        number_cell(width, "not known") if determined else Cell(None, NOT_DETERMINED),
        Cell(towards % 360 if determined else None, why),
        Cell(math.ceil(turn) if determined else None, why),
        Cell(compass(towards) if determined else None, why),
    )


def _gradient_table(view: ReportView, mapped: tuple[MapFacts, ...]) -> Table:
    rows = tuple(
        (
            Cell(view.aquifer_name(facts.aquifer)),
            Cell(facts.day.isoformat()),
            *gradient_cells(
                gradient.n_levels,
                (gradient.magnitude, gradient.magnitude_uncertainty, gradient.upper_limit),
                (gradient.azimuth_deg, gradient.azimuth_uncertainty_deg),
                determined=gradient.determined,
            ),
        )
        for facts in mapped
        if (gradient := facts.gradient) is not None
    )
    caption = "Horizontal gradients; directions clockwise from grid north, ± at 95 %."
    return Table("gradients", caption, gradient_columns(view, "Aquifer", "Day"), rows, identified_by=2)
