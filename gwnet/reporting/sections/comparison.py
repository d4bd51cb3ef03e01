"""Gradients by round and in clusters, and the change of levels since earlier days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from gwnet.constants import OTHER_AQUIFER
from gwnet.figures.maps.context import count_others
from gwnet.figures.maps.data import other_code
from gwnet.hydro.gradients.directions import directions
from gwnet.reporting.content import Block, Bullets, Cell, Column, FigureSlot, Group, Heading, Paragraph, Row, Table
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.extras import AquiferChange, Picture
from gwnet.reporting.registry import register_section
from gwnet.reporting.results.flow import count_levels
from gwnet.reporting.sections.common import (
    WITHIN_UNCERTAINTY,
    length_column,
    number_cell,
    number_of,
    text_cell,
    text_of,
)
from gwnet.reporting.sections.maps import MAP, NAMES_A_ROW, STORAGE, gradient_cells, gradient_columns
from gwnet.reporting.view import ReportView

_NOT_KNOWN: Final = "not known"


_FRAMES: Final = {
    "gradients": (
        "aquifer round date gradient gradient_uncertainty gradient_upper_limit azimuth_degrees "
        "azimuth_uncertainty_degrees "
        "determined levels triangles turn finding note"
    ),
    "vertical": (
        "cluster upper_well lower_well round date screen_distance_m head_difference_m "
        "head_difference_uncertainty_m vertical_gradient vertical_gradient_uncertainty direction note"
    ),
}


_GRADIENT_VALUES: Final = ("gradient", "gradient_uncertainty", "azimuth_degrees", "azimuth_uncertainty_degrees")


def _list_notes(view: ReportView) -> list[str]:
    extras = view.data.extras
    return [name for name, frame in (("gradient", "gradients"), ("vertical", "vertical")) if len(extras.frame(frame))]


def picture_slot(picture: Picture) -> FigureSlot:
    """Return a picture as a figure of the report."""
    return FigureSlot(picture.key, picture.caption, picture.alt, picture.draw, bookmarks=picture.bookmarks)


@register_section(
    "gradients",
    "Horizontal gradients",
    "direction and size of the gradient of each aquifer over the rounds, the last rounds in numbers, and the gradients "
    "between wells of clusters",
    place=110,
    tables=(MAP,),
    frames=_FRAMES,
    notes=_list_notes,
)
def compose_gradients(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the gradients of the aquifers to date, and those between wells of clusters."""
    extras = view.data.extras
    gradients, vertical = extras.frame("gradients"), extras.frame("vertical")
    blocks: list[Block] = []
    pictures = {picture.key: picture for picture in extras.pictures.get("gradients", ())}
    if view.data.rounds.empty:
        blocks.append(Paragraph("No gauging round is on record, so there is no gradient by round."))
    sentences: list[str] = []
    figures: list[Block] = []
    for code, _ in view.by_aquifer():
        rows = gradients[gradients["aquifer"] == code]
        if rows.empty:
            continue
        name = view.aquifer_name(code)
        if rows["gradient"].isna().all():
            why = text_of(rows["note"].iloc[-1]) or "too few wells"
            figures += [Heading(name), Paragraph(f"No round gives a gradient: {why.rstrip('.')}.")]
            continue
        sentences.append(_spread(name, rows))
        if picture := pictures.get(f"rose-{code}"):
            figures += [Heading(name), replace(picture_slot(picture), captioned=False)]
    if sentences:
        first, *others = sentences
        lead, _, rest = first.partition(";")
        blocks.append(Paragraph("; ".join([rest.strip(), *others]) if rest else " ".join(others), "lead", f"{lead};"))
    blocks += figures
    if newest := _newest_rounds(view, gradients):
        blocks.append(newest)
    # Texts in ISO 8601 sort as their dates do.
    vertical = vertical[vertical["date"] >= view.period.first.isoformat()]
    if len(vertical):
        blocks.append(Heading("Vertical gradients in clusters, between the middles of screens"))
        blocks.append(_vertical(view, vertical))
    if not blocks:
        blocks.append(Paragraph("No gradient can be worked out from the levels on record."))
    return blocks


def _spread(name: str, rows: pd.DataFrame) -> str:
    """Return between which directions and sizes the rounds of an aquifer lie."""
    known = rows[rows["determined"].astype(bool)]
    if known.empty:
        return f"{name}: no round has a direction that is distinguishable; see the table."
    sizes = known["gradient"].astype(float) * 1000.0
    turns = known["azimuth_degrees"].astype(float)
    middle = directions(turns.tolist()).mean_deg
    # Around their mean direction: 350° and 10° are 20° apart across north, not 340°.
    unwound = middle + 180.0 - (180.0 - (turns - middle)) % 360.0
    low, high = round(float(unwound.min())) % 360, round(float(unwound.max())) % 360
    return (
        f"{name}: flow towards {low}° to {high}° at {len(known)} of {len(rows)} rounds; "
        f"{sizes.min():.2g} to {sizes.max():.2g} mm per m"
    )


def _newest_rounds(view: ReportView, gradients: pd.DataFrame) -> Table | None:
    """Return the newest round of each aquifer, the one before it and the one a year before, in numbers."""
    rows: list[Row] = []
    for code, _ in view.by_aquifer():
        own = gradients[gradients["aquifer"] == code].reset_index(drop=True)
        if own.empty or own["gradient"].isna().all():
            continue
        rows.append(Group(view.aquifer_name(code)))
        # Four rounds before the newest is a year before where gauging is quarterly, the project default.
        places = sorted({place for place in (len(own) - 5, len(own) - 2, len(own) - 1) if place >= 0})
        rows.extend(_horizontal_row(row) for row in own.iloc[places].to_dict("records"))
    if not rows:
        return None
    columns = gradient_columns(view, "Round", "Day")
    caption = "Horizontal gradients of the newest rounds, directions clockwise from grid north, ± at 95 %."
    return Table(
        "newest-gradients",
        caption,
        columns,
        tuple(rows),
        identified_by=2,
        compared=False,
        captioned=False,
        reasons_in_row=True,
    )


@register_section(
    "gradient_rounds",
    "Gradients of every round",
    "the gradients of every round in numbers",
    place=192,
    tables=(MAP,),
)
def compose_gradient_rounds(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the gradients of every round."""
    gradients = view.data.extras.frame("gradients")
    codes = [
        code for code, _ in view.by_aquifer() if gradients.loc[gradients["aquifer"] == code, "gradient"].notna().any()
    ]
    pairs = [codes[start : start + _BESIDE] for start in range(0, len(codes), _BESIDE)]
    tables = [_every_round(view, pair, gradients, number) for number, pair in enumerate(pairs, start=1)]
    return tables or [Paragraph("No round gives a gradient.")]


def _every_round(view: ReportView, codes: Sequence[str], gradients: pd.DataFrame, number: int) -> Table:
    """Return the gradients of a few aquifers beside each other, a row a round."""
    slope = f"{view.measures.unit}/{view.measures.unit}"
    columns: list[Column] = [Column("Round"), Column("Day")]
    by_round: dict[tuple[str, str], dict[str, dict[str, Any]]] = {}
    for code in codes:
        name = view.aquifer_name(code).partition(" (")[0]
        columns += [
            Column("levels", "", 0, "right", group=name),
            Column("gradient", slope, 5, "right", group=name),
            Column("±", slope, 5, "right", group=name),
            Column("towards", "°", 0, "right", group=name),
            Column("±", "°", 0, "right", group=name),
        ]
        for row in gradients[gradients["aquifer"] == code].to_dict("records"):
            by_round.setdefault((text_of(row["round"]) or str(row["date"]), ""), {})[code] = row
    rows: list[Row] = []
    for (label, _), found in by_round.items():
        # Aquifers may be gauged on different days of a round.
        day = min(str(row["date"]) for row in found.values())
        cells: list[Cell] = [Cell(label), Cell(day)]
        for code in codes:
            cells += _round_cells(found.get(code))
        remarks = [
            f"{view.aquifer_name(code).partition(' (')[0].lower()}: {text_of(row['finding'])} left out"
            for code, row in found.items()
            if text_of(row["finding"])
        ]
        if remarks:
            cells[1] = replace(cells[1], reason="; ".join(remarks))
        rows.append(tuple(cells))
    # A round that the first aquifer does not have was added after all of its own.
    rows.sort(key=lambda row: str(row[1].value) if isinstance(row, tuple) else "")
    notes = (
        "The plane through all levels of the round that can be used and fit their neighbours, those of loggers and "
        "gauges among them; directions clockwise from grid north, ± at 95 %.",
    )
    caption = "Horizontal gradients of every round."
    return Table(f"gradients-{number}", caption, tuple(columns), tuple(rows), notes, identified_by=2, dense=True)


def _round_cells(row: dict[str, Any] | None) -> tuple[Cell, ...]:
    if row is None:
        return (Cell(None, "no set of levels"),) * 5
    values = [number_of(row[name]) for name in _GRADIENT_VALUES]
    cells = gradient_cells(
        str(int(row["levels"])),
        (values[0], values[1], number_of(row["gradient_upper_limit"])),
        (values[2], values[3]),
        determined=bool(row["determined"]),
        why=text_of(row["note"]),
    )
    return (Cell(int(row["levels"])), *cells[1:5])


#: Aquifers that stand beside each other in the table of every round.
_BESIDE: Final = 2


def _horizontal_row(row: dict[str, Any]) -> tuple[Cell, ...]:
    values, left_out = [number_of(row[name]) for name in _GRADIENT_VALUES], text_of(row["finding"])
    return (
        text_cell(row["round"], "of no round"),
        Cell(str(row["date"]), f"without {left_out}, which does not fit" if left_out else ""),
        *gradient_cells(
            count_levels(int(row["levels"]), int(row.get("loggers") or 0), int(row.get("gauges") or 0)),
            (values[0], values[1], number_of(row["gradient_upper_limit"])),
            (values[2], values[3]),
            determined=bool(row["determined"]),
            why=text_of(row["note"]),
        ),
    )


def _vertical(view: ReportView, table: pd.DataFrame) -> Table:
    measures = view.measures
    columns = (
        Column("Cluster"),
        Column("Upper well"),
        Column("Lower well"),
        Column("Day"),
        length_column("Between screens", measures, fewer=1),
        length_column("Lower less upper head", measures, signed=True),
        length_column("±", measures),
        Column("Gradient, up positive", f"{measures.unit}/{measures.unit}", 4, "right", signed=True),
        Column("±", f"{measures.unit}/{measures.unit}", 4, "right"),
        Column("Direction"),
    )
    lengths = ("screen_distance_m", "head_difference_m", "head_difference_uncertainty_m")
    rows: list[Row] = []
    for row in table.to_dict("records"):
        why = text_of(row["note"]) or _NOT_KNOWN
        rows.append(
            (
                *(Cell(str(row[name])) for name in ("cluster", "upper_well", "lower_well", "date")),
                *(number_cell(measures.length(number_of(row[name])), why) for name in lengths),
                number_cell(number_of(row["vertical_gradient"]), why),
                number_cell(number_of(row["vertical_gradient_uncertainty"]), why),
                text_cell(row["direction"], why),
            )
        )
    caption = "Vertical gradients between the middles of screens in clusters in this period, ± at 95 %."
    return Table("vertical-gradients", caption, columns, tuple(rows), identified_by=4, captioned=False, dense=True)


@register_section(
    "changes",
    "Changes of the potentiometric surface",
    "the change of levels since the round before and since a year before",
    place=120,
    tables=(MAP, STORAGE),
    notes=lambda view: ["changes"] if view.data.extras.changes else [],
)
def compose_changes(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the change of levels since the round before and since a year before."""
    blocks: list[Block] = []
    wanted = set(view.wells["aquifer"])
    for change in view.data.extras.changes:
        if change.aquifer not in wanted:
            continue
        days = f"{date_text(change.since)} to {date_text(change.date)}"
        blocks.append(Heading(f"{view.aquifer_name(change.aquifer)}, {days} ({change.since_what})"))
        if change.refused:
            blocks.append(Paragraph(f"No map of the change could be drawn. {change.refused}"))
            continue
        if change.picture is not None:
            blocks.append(picture_slot(change.picture))
        if change.facts:
            blocks.append(Bullets(change.facts))
        blocks.append(_change_table(view, change))
    if not blocks:
        blocks.append(Paragraph("There is no earlier round to compare this period's levels with."))
    return blocks


def _change_table(view: ReportView, change: AquiferChange) -> Table:
    measures = view.measures
    columns = (
        Column("Well"),
        length_column("Change", measures, signed=True),
        length_column("±", measures),
        Column("Remarks"),
    )
    used = change.wells["used"].astype(bool)
    rows: list[Row] = [_change_row(row, view) for row in change.wells[used].to_dict("records")]
    absent: dict[str, list[str]] = {}
    elsewhere = ~used & change.wells["reason"].map(text_of).str.startswith(OTHER_AQUIFER)
    notes = count_others(change.wells.loc[elsewhere, "reason"].map(other_code))
    for row in change.wells[~used & ~elsewhere].to_dict("records"):
        absent.setdefault(text_of(row["reason"]) or "no level on both days", []).append(str(row["well"]))
    none = Cell(None, "no change to compare")
    rows.extend(
        (Cell(", ".join(wells[at : at + NAMES_A_ROW])), none, none, Cell(f"not used: {reason}"))
        for reason, wells in absent.items()
        for at in range(0, len(wells), NAMES_A_ROW)
    )
    name = view.aquifer_name(change.aquifer)
    caption = f"Change at the wells of {name} from {change.since} to {change.date}, rise positive."
    return Table(f"change-{change.aquifer}-{change.since}", caption, columns, tuple(rows), notes)


def _change_row(row: dict[str, Any], view: ReportView) -> tuple[Cell, ...]:
    change = view.measures.length(number_of(row["change_m"]))
    return (
        Cell(str(row["well"])),
        Cell(change, "" if row["is_significant"] else WITHIN_UNCERTAINTY),
        number_cell(view.measures.length(number_of(row["uncertainty_m"])), _NOT_KNOWN),
        Cell("used"),
    )
