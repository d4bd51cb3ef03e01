"""What earlier reports printed that has changed since, and the register of comments and promises."""

from __future__ import annotations

from collections.abc import Sequence

from gwnet.reporting.content import Block, Cell, Column, Group, Paragraph, Row, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.errata import ChangedValue, EarlierIssue
from gwnet.reporting.measures import date_of, stamp_text
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import text_cell, text_of
from gwnet.reporting.view import ReportView


@register_section(
    "earlier_reports",
    "Values of earlier reports that have changed",
    "values of earlier reports that have changed since",
    place=210,
)
def compose_earlier_reports(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section on values of earlier reports that have changed since."""
    earlier = view.data.earlier
    if not earlier:
        text = "No earlier report of this kind is registered for this site; there is nothing to compare with."
        return [Paragraph(text)]
    blocks: list[Block] = [Paragraph(_sentence(earlier))]
    changed = [issue for issue in earlier if issue.changes]
    if changed:
        blocks.append(_table(changed, view.data.site.time_zone))
    return blocks


def _sentence(earlier: tuple[EarlierIssue, ...]) -> str:
    count = len(earlier)
    compared = "The tables of the one earlier report on record" if count == 1 else f"The tables of {count} issues"
    text = f"{compared} were worked out anew from the record as it is known now and compared value by value."
    changes = sum(len(issue.changes) for issue in earlier)
    text += f" {changes or 'No'} printed value{' has' if changes == 1 else 's have'} changed."
    if not changes:
        text = text.replace("No printed values have changed", "No printed value has changed")
    approved = sum(issue.approved_since for issue in earlier)
    if approved:
        rows = "1 row has" if approved == 1 else f"{approved} rows have"
        text += f" {rows} been reviewed since without a change of value."
    return text


def _table(changed: list[EarlierIssue], zone: str) -> Table:
    columns = (
        Column("Table and row"),
        Column("Value"),
        Column("As printed", align="right"),
        Column("Now", align="right"),
    )
    rows: list[Row] = []
    for issue in changed:
        issued = f"issued {stamp_text(issue.issued_at_utc, zone)} by {issue.issued_by}"
        rows.append(Group(f"{issue.definition} {issue.period}, issue {issue.number}, {issued}"))
        rows.extend(_row(change) for change in issue.changes)
    caption = "Values of earlier reports that would be printed otherwise from the record as it is known now."
    return Table("changed-values", caption, columns, tuple(rows), compared=False)


def _row(change: ChangedValue) -> tuple[Cell, ...]:
    name = f"{change.column} [{change.unit}]" if change.unit else change.column
    return (
        Cell(f"{_table_name(change.table)}: {change.row}"),
        Cell(name),
        Cell(change.was),
        Cell(change.now, change.why),
    )


def _table_name(key: str) -> str:
    """Return the key of a table as words."""
    name, _, rest = key.partition("-")
    words = key.replace("-", " ") if not rest[:1].isdigit() else f"{name} {rest}"
    return words[:1].upper() + words[1:]


@register_section(
    "register", "Comments and promises", "comments received and promises made, until each is done", place=220
)
def compose_register(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with comments received and promises made, until each is done."""
    entries = view.data.register
    if entries.empty:
        return [Paragraph("No comment or promise is on record.")]
    columns = (
        Column("No."),
        Column("Kind"),
        Column("Raised on"),
        Column("By"),
        Column("What"),
        Column("Due on"),
        Column("State"),
        Column("Answer"),
    )
    rows = tuple(_entry(row, view) for row in entries.to_dict("records"))
    caption = "Comments received and promises made in earlier reports and replies, followed until they are done."
    return [Table("register", caption, columns, rows, compared=False)]


def _entry(row: dict[str, object], view: ReportView) -> tuple[Cell, ...]:
    raised, due = date_of(row["raised_on"]), date_of(row["due_on"])
    state = text_of(row["state"])
    if state == "open" and due is not None and due <= view.period.last:
        state = f"{state}, overdue"
    return (
        text_cell(row["entry"]),
        text_cell(row["kind"]),
        text_cell(raised.isoformat() if raised else ""),
        text_cell(row["raised_by"]),
        text_cell(row["text"]),
        text_cell(due.isoformat() if due else "", "no day agreed"),
        Cell(state),
        text_cell(row["answer"], "none yet"),
    )
