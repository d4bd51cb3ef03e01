"""Where the wells are, and the potentiometric maps with their gradients and exclusions."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.constants import MAP_METHODS, ONE_WELL_A_PLACE, OTHER_AQUIFER
from gwnet.errors import DefinitionError
from gwnet.figures.maps.context import MOST_NAMED, count_others
from gwnet.figures.maps.data import made_notes, other_code
from gwnet.figures.maps.labels import split_basins
from gwnet.reporting.content import Block, Caution, Cell, Column, FigureSlot, Heading, Paragraph, Table
from gwnet.reporting.data import MapFacts
from gwnet.reporting.definition.checks import SHARE, TEXT, TEXTS, DefinitionFile, KeyTable, one_of, positive_or
from gwnet.reporting.definition.files import find_layers
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import HALF_PAGE_MAP_MM, NETWORK_HEIGHT_MM, TEXT_WIDTH_MM, Drawing, FigureFrame
from gwnet.reporting.mapped import describe_outside
from gwnet.reporting.measures import compass, joined, moment_text
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

#: Wells without a level that one row of a table lists; a longer list takes further rows.
NAMES_A_ROW: Final = 40
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
        "method": one_of(*MAP_METHODS),
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


def list_notes(view: ReportView) -> list[str]:
    """Return the method notes that maps need."""
    return [view.definition.maps.method, "gradient"] if view.maps() else []


@register_section("network_map", "Network", "the map of the wells", place=20)
def compose_network_map(view: ReportView, drawing: Drawing) -> Sequence[Block]:
    """Return the section with the map of the network."""
    placed = view.wells[view.wells["easting"].notna() & view.wells["northing"].notna()]
    unplaced = sorted(set(view.wells["well"]) - set(placed["well"]))
    if placed.empty:
        return [Paragraph("No well has coordinates on record.")]
    caption = f"Monitoring network: {len(placed)} wells. Coordinates in {view.data.site.crs}."
    if unplaced:
        caption += f" Without coordinates on record: {joined(unplaced, most=12)}."
    basins = split_basins(placed[["easting", "northing"]].to_numpy(dtype=np.float64))
    height = NETWORK_HEIGHT_MM if len(basins) == 1 else HALF_PAGE_MAP_MM[view.definition.page]
    frame = FigureFrame(TEXT_WIDTH_MM, height, view.measures.unit)
    if len(basins) == 1:
        return [FigureSlot("network", caption, caption, lambda: drawing.network_map(view, frame))]
    blocks: list[Block] = [Paragraph(f"{caption} The wells are on {len(basins)} maps, as they are far apart.")]
    for number, members in enumerate(basins, start=1):
        wells = placed.iloc[members]
        own = f"Part {number} of {len(basins)} of the monitoring network: {len(wells)} wells."
        # Bound now: a lambda would draw the wells of the last part in every figure.
        draw = functools.partial(drawing.network_map, view, frame, wells)
        blocks.append(FigureSlot(f"network-{number}", own, own, draw))
    return blocks


@register_section(
    "maps",
    "Potentiometric maps",
    "the potentiometric maps of the period with their gradients and exclusions",
    place=100,
    tables=(MAP,),
    notes=list_notes,
)
def compose_maps(view: ReportView, drawing: Drawing) -> Sequence[Block]:
    """Return the section with the potentiometric maps."""
    found = view.maps()
    blocks: list[Block] = []
    if not found:
        blocks.append(Paragraph("No potentiometric map was made for this period."))
    if any(facts.gradient is not None for facts in found):
        blocks.append(_gradient_table(view, found))
    height = HALF_PAGE_MAP_MM[view.definition.page]
    for number, facts in enumerate(found, start=1):
        blocks.append(Heading(_name_map(view, facts)))
        blocks.append(_map_block(view, facts, drawing, f"map-{number}", height))
    for number, facts in enumerate(found, start=1):
        if remarks := _list_remarks(view, facts, number):
            blocks.extend((Heading(f"Remarks on {_name_map(view, facts)}"), *remarks))
    return blocks


def _name_map(view: ReportView, facts: MapFacts) -> str:
    return f"{view.aquifer_name(facts.aquifer)}, {date_text(facts.day)}"


def _map_block(view: ReportView, facts: MapFacts, drawing: Drawing, key: str, height_mm: float) -> Block:
    """Return the figure of a map, or why there is none; its method and cautions are in the remarks after all maps."""
    if facts.refused:
        return Paragraph(f"No map could be drawn. {facts.refused}")
    frame = FigureFrame(TEXT_WIDTH_MM, height_mm, view.measures.unit)
    caption = f"{describe_map(view, facts)}. Dashed contours are inferred; cautions are in the remarks after the maps."
    alt = f"Map of the potentiometric surface. {caption}"
    draw = functools.partial(drawing.potentiometric_map, view, facts, frame)
    return FigureSlot(key, caption, alt, draw)


def _list_remarks(view: ReportView, facts: MapFacts, number: int) -> list[Block]:
    """Return how a map was made, its cautions in whole, what does not fit on it and what was left out."""
    made = made_notes(facts.result) if facts.result is not None else ()
    notes = [Paragraph(" ".join(note.lines), "note", f"{note.title}.") for note in made]
    return [*notes, *list_map_wells(view, facts, number)]


def list_map_wells(view: ReportView, facts: MapFacts, number: int) -> list[Block]:
    """Return what does not fit on a map and what was left out of it."""
    blocks: list[Block] = []
    if facts.findings:
        blocks.append(Caution("Levels that do not fit", facts.findings))
    left_out = facts.control[~facts.control["used"].astype(bool)]
    # Each map would otherwise list all wells of the other aquifers; they are counted in a note.
    elsewhere = left_out["reason"].str.startswith(OTHER_AQUIFER)
    notes = count_others(left_out.loc[elsewhere, "reason"].map(other_code))
    if elsewhere.all() and facts.refused:
        return blocks  # there is no map that a well could be left out of
    if elsewhere.all():
        blocks.append(Paragraph(" ".join(("No well of this aquifer was left out of the map.", *notes))))
    else:
        blocks.append(_left_out_table(view, facts, left_out[~elsewhere], number, notes))
    return blocks


def newest_maps(view: ReportView) -> dict[str, MapFacts]:
    """Return the newest map of each aquifer."""
    return {facts.aquifer: facts for facts in sorted(view.maps(), key=lambda facts: facts.day)}


@register_section(
    "map_wells",
    "How maps were made",
    "how the newest map of each aquifer was made, what does not fit on it and what was left out, without the map",
    place=105,
)
def compose_map_wells(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section that says how each map was made and what was left out of it."""
    blocks: list[Block] = []
    for number, facts in enumerate(newest_maps(view).values(), start=1):
        refused = [Paragraph(f"No map could be drawn. {facts.refused}")] if facts.refused else []
        blocks.extend((Heading(_name_map(view, facts)), *refused, *_list_remarks(view, facts, number)))
    return blocks or [Paragraph("No potentiometric map was made for this period.")]


def describe_map(view: ReportView, facts: MapFacts) -> str:
    """Return what a map shows, from how many levels, its interval and error."""
    parts = [f"Potentiometric surface of {view.aquifer_name(facts.aquifer)}, {date_text(facts.day)}"]
    outside = describe_outside(facts.control, view.period)
    parts.append(f"{int(facts.control['used'].astype(bool).sum())} levels used" + (f", {outside}" if outside else ""))
    if math.isfinite(facts.interval_m):
        interval = view.measures.length(facts.interval_m)
        parts.append(f"contour interval {interval:.4g}\u00a0{view.measures.unit}")
    if math.isfinite(facts.cross_validation_m):
        parts.append(f"cross-validation error {view.measures.text(facts.cross_validation_m)} (root mean square)")
    return "; ".join(parts)


def _left_out_table(
    view: ReportView, facts: MapFacts, left_out: pd.DataFrame, number: int, notes: tuple[str, ...]
) -> Table:
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
    shared = left_out["reason"].str.startswith(ONE_WELL_A_PLACE)
    # A few are printed with their levels; of many, names alone are enough.
    shared &= int(shared.sum()) > MOST_NAMED
    alone = left_out[(left_out["measured_at"].fillna("") != "") & ~shared]
    rows = [_left_out_row(row, view, signs) for row in alone.to_dict("records")]
    absent: dict[str, list[str]] = {}
    for row in left_out.drop(alone.index).to_dict("records"):
        reason = text_of(row["reason"])
        reason = f"{ONE_WELL_A_PLACE}: another one stands for it" if reason.startswith(ONE_WELL_A_PLACE) else reason
        absent.setdefault(reason, []).append(_control_name(row))
    none = Cell(None, "no level in the window, or one that is printed with the levels of the round")
    rows.extend(
        (
            Cell(", ".join(names[start : start + NAMES_A_ROW])),
            none,
            none,
            none,
            none,
            text_cell(why, "no reason given"),
        )
        for why, names in absent.items()
        for start in range(0, len(names), NAMES_A_ROW)
    )
    caption = f"Left out of the map of {view.aquifer_name(facts.aquifer)}, {facts.day}, with reasons."
    return Table(f"left-out-{number}", caption, columns, tuple(rows), notes, identified_by=2)


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
        Column("From"),
        Column("Gradient", slope, 5, "right"),
        Column("±", slope, 5, "right"),
        Column("Flow towards", "°", 0, "right"),
        Column("±", "°", 0, "right"),
        Column("Direction"),
    )


def gradient_cells(
    levels: str,
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
        # Rounded up: the arc at 95 % may not be printed narrower than it is.
        Cell(math.ceil(turn) if determined else None, why),
        Cell(compass(towards) if determined else None, why),
    )


def _gradient_table(view: ReportView, mapped: tuple[MapFacts, ...]) -> Table:
    rows = tuple(
        (
            Cell(view.aquifer_name(facts.aquifer)),
            Cell(facts.day.isoformat()),
            *gradient_cells(
                gradient.levels_text,
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
