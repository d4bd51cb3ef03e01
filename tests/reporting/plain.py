"""The content of a report as plain text, for tests to read line by line."""

from __future__ import annotations

from gwnet.reporting.content import (
    Beside,
    Block,
    Bullets,
    Caution,
    Facts,
    FigureSlot,
    FirmBlock,
    Group,
    Heading,
    PageBreak,
    PageTitle,
    Paragraph,
    Report,
    Results,
    Section,
    SignOff,
    Table,
    cell_text,
    letters_of,
    note_letters,
    numbered,
)

__all__ = ["plain_report", "plain_section", "plain_table"]


def plain_report(report: Report) -> str:
    """Return a whole report as text.

    Parameters
    ----------
    report : Report
        Any report.

    Returns
    -------
    str
        Cover, sections, tables with their notes, captions of figures; ends with a line feed.
    """
    report = numbered(report)
    parts = [f"{report.title}\n{report.site}\n{report.period}\n{report.state}"]
    parts.extend(_block(block) for block in report.cover.blocks)
    parts.extend(plain_section(section, f"{number}") for number, section in enumerate(report.sections, start=1))
    return "\n\n".join(part for part in parts if part) + "\n"


def plain_section(section: Section, number: str = "") -> str:
    """Return one section as text, its title underlined."""
    title = f"{number} {section.title}".strip()
    parts = [f"{title}\n{'=' * len(title)}"]
    parts.extend(_block(block) for block in section.blocks)
    return "\n\n".join(part for part in parts if part)


def plain_table(table: Table) -> str:
    """Return a table as text: one line a row, cells parted by `` | ``, notes under it."""
    letters = note_letters(table)
    label = f"Table {table.number}" if table.number else "Table"
    lines = [f"{label}. {table.caption}"]
    headings = []
    for column in table.columns:
        name = f"{column.group}: {column.heading}" if column.group else column.heading
        headings.append(f"{name} [{column.unit}]" if column.unit else name)
    lines.append(" | ".join(headings))
    for row in table.rows:
        if isinstance(row, Group):
            lines.append(f"-- {row.text}")
            continue
        cells = []
        for cell, column in zip(row, table.columns, strict=True):
            text = cell_text(cell, column)
            noted = " ".join(filter(None, (cell.reason if table.reasons_in_row else "", letters_of(cell, letters))))
            cells.append(f"{text} ({noted})" if noted else text)
        lines.append(" | ".join(cells))
    lines.extend(table.notes)
    lines.extend(f"({letter}) {reason}" for reason, letter in letters.items())
    return "\n".join(lines)


def _block(block: Block) -> str:
    if isinstance(block, Table):
        return plain_table(block)
    if isinstance(block, FigureSlot):
        label = f"Figure {block.number}" if block.number else "Figure"
        return f"{label}. {block.caption}"
    if isinstance(block, SignOff):
        return _sign_off(block)
    return _text_block(block)


def _text_block(block: Block) -> str:
    if isinstance(block, Heading | PageTitle):
        return f"{block.text}\n{'-' * len(block.text)}"
    if isinstance(block, Paragraph):
        return f"{block.lead_in} {block.text}".strip()
    if isinstance(block, Bullets):
        return "\n".join(f"* {item}" for item in block.items)
    if isinstance(block, Caution):
        return "\n".join([f"! {block.title}", *(f"! {item}" for item in block.items)])
    if isinstance(block, Facts):
        return "\n".join(f"{name}: {value}" for name, value in block.pairs)
    if isinstance(block, FirmBlock):
        return "\n".join((block.name, *block.address))
    if isinstance(block, Results):
        items = enumerate(block.items, start=1)
        return "\n".join([block.title, *(f"{number} {item.lead} {item.text}".strip() for number, item in items)])
    if isinstance(block, Beside):
        return "\n".join([_block(block.figure), *(f"{name}: {value}" for name, value in block.pairs)])
    assert isinstance(block, PageBreak)
    return ""


def _sign_off(block: SignOff) -> str:
    lines = [block.statement]
    for role, fields in block.parties:
        lines.append(role)
        lines.extend(f"  {label}: {value or '____'}" for label, value in fields)
    return "\n".join(lines)
