"""What is missing and what was left out, each with its reason."""

from __future__ import annotations

from collections.abc import Sequence

from gwnet.reporting.changes import why_no_number
from gwnet.reporting.content import Block, Cell, Column, Paragraph, Row, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import moment_text
from gwnet.reporting.registry import register_section
from gwnet.reporting.rounds import RoundView
from gwnet.reporting.sections.common import event_well, text_cell, text_of
from gwnet.reporting.sections.levels import NO_REASON
from gwnet.reporting.view import ReportView

#: More wells without any event than this are listed in a sentence, not in rows.
_MOST_ROWS = 12


@register_section(
    "exclusions",
    "Missing readings and exclusions",
    "what is missing and what was left out, each with its reason",
    place=180,
)
def compose_exclusions(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with missing readings and levels that were left out."""
    blocks: list[Block] = []
    for gauging in reversed(view.in_period):
        missing = [well for well in gauging.planned if well not in gauging.best]
        many = len(missing) > _MOST_ROWS
        if many:
            text = f"{len(missing)} planned wells of {gauging.label} have {NO_REASON}: {', '.join(missing)}."
            blocks.append(Paragraph(text))
        rows = _rows(gauging, with_missing=not many)
        if rows:
            columns = (
                Column("Well"),
                Column("Visited at"),
                Column("Status"),
                Column("Why there is no level to compare or map"),
                Column("Remarks"),
            )
            caption = f"Missing readings and levels left out of {gauging.label}."
            blocks.append(Table(f"missing-{gauging.code or 'period'}", caption, columns, rows, identified_by=2))
        elif not many:
            blocks.append(Paragraph(f"Every planned well of {gauging.label} gave a level that can be compared."))
    if not view.in_period:
        blocks.append(Paragraph("No round was measured in this period."))
    return blocks


def _rows(gauging: RoundView, *, with_missing: bool) -> tuple[Row, ...]:
    rows: list[Row] = []
    events: dict[str, list[tuple[Cell, ...]]] = {}
    for event in gauging.events.to_dict("records"):
        why = why_no_number(event)
        if why:
            row = (
                Cell(event_well(event)),
                Cell(moment_text(str(event["measured_at"]))),
                Cell(str(event["status"])),
                Cell(why),
                text_cell(text_of(event["notes"]), "no remarks"),
            )
            events.setdefault(str(event["well"]), []).append(row)
    for well in gauging.wells():
        if with_missing and well not in gauging.best:
            none = Cell(None, NO_REASON)
            rows.append((Cell(well), none, none, Cell(NO_REASON), Cell(None, "no remarks")))
        rows.extend(events.get(well, ()))
    return tuple(rows)
