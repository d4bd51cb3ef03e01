"""The documentation of the tables that can be loaded and of their rejections, rendered from the declarations."""

from __future__ import annotations

from gwnet.ingest.tables.problems import ACCEPTABLE, PROBLEMS
from gwnet.store.columns import KINDS, Column, Table
from gwnet.store.contract import TABLES


def describe_tables() -> str:
    """Return the tables that can be loaded with their columns, as Markdown.

    Returns
    -------
    str
        A heading, a sentence and a table for each, in the order of dependence. Required columns are in bold; columns
        of the key have a mark.
    """
    return "\n\n".join(_describe_table(table) for table in TABLES) + "\n"


def describe_rejections() -> str:
    """Return the problems that a row can have, as a Markdown table.

    Returns
    -------
    str
        One line a problem, in alphabetical order: code phrase, meaning, and whether it may be accepted.
    """
    may = dict.fromkeys(ACCEPTABLE, "yes")
    rows = [f"| `{code}` | {meaning} | {may.get(code, '')} |" for code, meaning in sorted(PROBLEMS.items())]
    return "\n".join(["| problem | meaning | `--accept` |", "|---|---|---|", *rows]) + "\n"


def _describe_table(table: Table) -> str:
    lines = [f"### {table.name}", "", f"{table.meaning} {_describe_needs(table)}".rstrip(), ""]
    lines += ["| column | key | kind, unit | meaning |", "|---|---|---|---|"]
    lines += [_describe_column(column) for column in table.columns]
    return "\n".join(lines)


def _describe_needs(table: Table) -> str:
    """Return the sentences that say which columns can replace each other."""
    groups = (" or ".join(" and ".join(f"`{name}`" for name in way) for way in group) for group in table.one_of)
    return " ".join(f"Needs {group}." for group in groups)


def _describe_column(column: Column) -> str:
    name = f"**{column.name}**" if column.required else column.name
    unit = f" [{column.unit}]" if column.unit else ""
    return f"| {name} | {'yes' if column.key else ''} | {KINDS[column.kind]}{unit} | {_describe_meaning(column)} |"


def _describe_meaning(column: Column) -> str:
    """Return the line of a column with its words, range, default and former heading."""
    parts = [column.meaning]
    if column.choices and column.kind == "choice":
        parts.append(f"One of: {', '.join(column.choices)}.")
    parts += _describe_range(column)
    if column.past:
        parts.append("Not in the future.")
    if column.default not in (None, ""):
        parts.append(f"Default: {column.default}.")
    if column.former:
        parts.append(f"Files with the former heading `{column.former}` still load.")
    return " ".join(parts)


def _describe_range(column: Column) -> list[str]:
    unit = " m" if column.kind == "length" else ""
    lowest, highest = column.lowest, column.highest
    most = f", at most {highest:.10g}{unit}" if highest < float("inf") else ""
    if column.positive:
        return [f"Larger than 0{most}."]
    if most and lowest > float("-inf"):
        return [f"From {lowest:.10g} to {highest:.10g}{unit}."]
    return [f"Not below {lowest:.10g}{unit if lowest else ''}."] if lowest > float("-inf") else []
