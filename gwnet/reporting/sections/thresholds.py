"""Thresholds and their state at the end of the period."""

from __future__ import annotations

from collections.abc import Sequence

from gwnet.hydro.reduction.thresholds import CROSSED, NO_READING
from gwnet.reporting.content import Block, Cell, Column, Paragraph, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import day_of, moment_text
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import elevation_cell, length_cell, length_column, text_cell
from gwnet.reporting.threshold_status import ThresholdStatus
from gwnet.reporting.view import ReportView

_NO_READING = "no reading in the period that the threshold can be held against"


@register_section(
    "thresholds",
    "Thresholds",
    "the thresholds in force and their state at the end of the period",
    place=150,
    notes=lambda view: ["thresholds"] if view.thresholds else [],
)
def compose_thresholds(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the thresholds."""
    if not view.thresholds:
        text = "No threshold is in force at the selected wells in this period."
        return [Paragraph(text)]
    measures = view.measures
    columns = (
        Column("Well"),
        Column("Threshold"),
        Column("Kind"),
        length_column("Level", measures),
        Column("In a row", align="right"),
        Column("Newest reading"),
        length_column("Water elevation", measures),
        length_column("Above threshold", measures, signed=True),
        Column("State"),
        Column("Crossed since"),
        Column("Days", align="right"),
    )
    rows = tuple(_row(view, status) for status in view.thresholds)
    caption = f"Thresholds in force and their state; elevations above {view.data.site.vertical_datum}."
    notes = (
        "In a row: crossings one after another that the rule asks for. Days: from the first crossing of the row to the "
        "newest reading, both counted.",
        "A lower threshold is crossed at or below its level, an upper one at or above it. Provisional: not every "
        "reading of the crossing is approved.",
    )
    blocks: list[Block] = [Table("thresholds", caption, columns, rows, notes, identified_by=2)]
    if acting := _actions(view):
        blocks.append(acting)
    return blocks


def _row(view: ReportView, status: ThresholdStatus) -> tuple[Cell, ...]:
    measures, event = view.measures, status.newest
    crossed = status.state == CROSSED
    head = (
        Cell(status.well),
        text_cell(status.threshold, "not named"),
        Cell(status.kind),
        length_cell(status.level_m, measures),
        Cell(status.consecutive),
    )
    if event is None or status.state == NO_READING:
        empty = Cell(None, _NO_READING)
        return (*head, empty, empty, empty, Cell(status.words()), empty, empty)
    near = "nearer to the threshold than its half-width" if status.within_uncertainty else ""
    return (
        *head,
        Cell(moment_text(str(event["measured_at"]))),
        elevation_cell(event, measures),
        length_cell(status.margin_m, measures, "only a bound is known"),
        Cell(status.words(), near, strong=crossed),
        *_since(status, str(event["measured_at"])),
    )


def _since(status: ThresholdStatus, newest: str) -> tuple[Cell, Cell]:
    """Return since when a threshold is crossed, and on how many days."""
    if status.state != CROSSED or status.since is None:
        none = Cell(None, "not crossed")
        return none, none
    return Cell(status.since.isoformat()), Cell((day_of(newest) - status.since).days + 1)


def _actions(view: ReportView) -> Table | None:
    stated = [status for status in view.thresholds if status.basis or status.action]
    if not stated:
        return None
    columns = (Column("Well"), Column("Threshold"), Column("Basis"), Column("Action on record"))
    rows = tuple(
        (
            Cell(status.well),
            text_cell(status.threshold, "not named"),
            text_cell(status.basis),
            text_cell(status.action, "no action on record"),
        )
        for status in stated
    )
    caption = "Basis of the thresholds and the actions agreed on."
    return Table("threshold-actions", caption, columns, rows, identified_by=2)
