"""What earlier reports printed that has changed since, and the register of comments and promises."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from gwnet.reporting.content import Block, Bullets, Cell, Column, Group, Paragraph, Row, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.errata import ChangedValue, EarlierIssue
from gwnet.reporting.measures import date_of, stamp_text
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import text_cell, text_of
from gwnet.reporting.view import ReportView

#: More changed values of an issue than this become a sentence a table; the data annex lists them.
_MOST_ROWS: Final = 12
_MOST_CAUSES: Final = 3


@register_section(
    "earlier_reports",
    "Earlier reports",
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
    few = [issue for issue in changed if len(issue.changes) <= _MOST_ROWS]
    for issue in changed:
        blocks.append(Paragraph(_moved_text(view, issue), lead_in=f"{_issue_name(view, issue)}."))
        if issue not in few:
            blocks.append(Bullets(tuple(_derived(issue))))
    if few:
        blocks.append(_table(view, few))
    return blocks


def _issue_name(view: ReportView, issue: EarlierIssue) -> str:
    issued = f"issued {stamp_text(issue.issued_at_utc, view.data.site.time_zone)} by {issue.issued_by}"
    return f"{issue.definition} {issue.period}, issue {issue.number}, {issued}"


def _moved_text(view: ReportView, issue: EarlierIssue) -> str:
    """Return what was corrected since an issue and which levels that moved, as sentences."""
    sentences = []
    for moved in issue.moved:
        levels = "1 level" if moved.count == 1 else f"{moved.count} levels"
        days = f"of {moved.first}" if moved.first == moved.last else f"of {moved.first} to {moved.last}"
        text = f"{moved.well}, {moved.why or 'cause not on record'}. This moved {levels} {days}"
        if math.isfinite(moved.least_m):
            text += f" by {_span(view, moved.least_m, moved.most_m)}"
        sentences.append(f"{text}.")
    causes = dict.fromkeys(change.why for change in issue.changes)
    if not sentences:
        sentences = [f"{cause[:1].upper()}{cause[1:]}." for cause in list(causes)[:_MOST_CAUSES]]
    count = len(issue.changes)
    values = "1 printed value has" if count == 1 else f"{count} printed values have"
    return " ".join([f"{values} changed.", *sentences])


def _span(view: ReportView, least_m: float, most_m: float) -> str:
    one, other = view.measures.text(least_m, signed=True), view.measures.text(most_m, signed=True)
    return one if one == other else f"{one} to {other}"


def _derived(issue: EarlierIssue) -> Iterator[str]:
    """Yield for each table of an earlier report what followed in it, the full list being in the data annex."""
    tables: dict[str, list[ChangedValue]] = {}
    for change in issue.changes:
        tables.setdefault(change.table, []).append(change)
    for table, changes in tables.items():
        rows = len({change.row for change in changes})
        values = "1 value" if len(changes) == 1 else f"{len(changes)} values"
        text = f"{_table_name(table)}: {values} in {'1 row' if rows == 1 else f'{rows} rows'}"
        largest = max(changes, key=lambda change: change.difference)
        if largest.difference > 0:
            unit = f" {largest.unit}" if largest.unit else ""
            text += f", most at {largest.row}: {largest.column} {largest.was} before, {largest.now}{unit} now"
        yield f"{text}."
    yield "Every value, as printed and now, with its cause: data annex, changed_values."


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


def _table(view: ReportView, changed: list[EarlierIssue]) -> Table:
    columns = (
        Column("Table and row"),
        Column("Value"),
        Column("As printed", align="right"),
        Column("Now", align="right"),
    )
    rows: list[Row] = []
    for issue in changed:
        rows.append(Group(_issue_name(view, issue)))
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
    # The hyphens of a round or a day, such as 2026-Q1, stay.
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
