"""From files to tables of ours by a mapping: each row keeps its place in its file and the cells that it was made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from gwnet.errors import LayoutError
from gwnet.ingest.mapping.cells import Made, first_filled, make_cells
from gwnet.ingest.mapping.grids import SourceFile
from gwnet.ingest.mapping.intervals import BOTTOM, TOP, spread_intervals
from gwnet.ingest.mapping.level_rows import number_events, settle_levels
from gwnet.ingest.mapping.mapping import Mapping, Plan, Source
from gwnet.ingest.mapping.point_rows import PointChange, keep_changes
from gwnet.ingest.mapping.rows import Rows
from gwnet.ingest.mapping.source_table import SourceTable, is_of, open_table
from gwnet.ingest.tables.raw import RawSheet
from gwnet.records import Rejection
from gwnet.store.contract import BY_NAME, ORDER

#: Tables of which a repeated row says the same thing again.
_OF_THINGS: Final[frozenset[str]] = frozenset({"sites", "aquifers", "wells", "instruments"})

#: Columns without which a row says nothing, for tables that are made from rows about something else.
_NEEDED: Final[dict[str, tuple[str, ...]]] = {
    "construction": ("top_depth", "bottom_depth"),
    "measuring_points": ("elevation",),
    "aquifers": ("aquifer",),
    "instruments": ("instrument",),
}


@dataclass
class MappedTable:
    """A table of ours made by a mapping.

    Attributes
    ----------
    plan : gwnet.ingest.mapping.mapping.Plan
        How it was made.
    sheets : list of (gwnet.ingest.mapping.grids.SourceFile or None, gwnet.ingest.tables.raw.RawSheet)
        Its rows by the file that they come from; None for constants of the mapping.
    remarks : list of str
        What was passed over, joined or set aside.
    changes : list of PointChange
        Measuring points that were dated by their changes.
    used : dict of str to set of str
        Headings of each file that were used.
    """

    plan: Plan
    sheets: list[tuple[SourceFile | None, RawSheet]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    changes: list[PointChange] = field(default_factory=list)


@dataclass
class Applied:
    """What a mapping made of files.

    Attributes
    ----------
    tables : list of MappedTable
        Tables of ours, in the order of dependence.
    sources : dict of str to list of gwnet.ingest.mapping.source_table.SourceTable
        Tables that were read, by the source's name.
    unused : dict of str to list of str
        Headings of each file that no rule reads.
    """

    tables: list[MappedTable]
    sources: dict[str, list[SourceTable]]
    unused: dict[str, list[str]]


def apply_mapping(mapping: Mapping, files: Sequence[SourceFile]) -> Applied:
    """Make tables of ours from files.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    files : sequence of gwnet.ingest.mapping.grids.SourceFile
        Files that were read.

    Returns
    -------
    Applied
        Tables and what was not used.

    Raises
    ------
    gwnet.errors.LayoutError
        If a file is of no source, a source has no file, or a column of a rule is not there.
    """
    opened = _open(mapping, files)
    reported: set[Rejection] = set()
    tables: list[MappedTable] = []
    # In the order of dependence, whatever the order of the mapping: levels look at the measuring points made before.
    for plan in sorted(mapping.plans, key=lambda one: ORDER[one.table]):
        table = MappedTable(plan)
        pairs = opened.get(plan.source, []) if plan.source else [(None, _constants(plan))]
        if plan.intervals is not None:
            decimal = mapping.sources[plan.source].decimal
            spread = [spread_intervals(one, plan.intervals, decimal) for _, one in pairs]
            table.remarks += [
                f"{new.file}: {remark}"
                for new, (_, one) in zip(spread, pairs, strict=True)
                for remark in new.remarks[len(one.remarks) :]
            ]
            pairs = [(file, new) for new, (file, _) in zip(spread, pairs, strict=True)]
        # All files together: a well that two files name is one row, and a measuring point may go on from one to the
        # next.
        rows = _rows(plan, pairs, mapping, opened)
        # Measuring points come before levels, in the order of dependence.
        points = [change for made in tables for change in made.changes]
        _settle(plan, rows, table, points)
        for number, (file, one) in enumerate(pairs):
            # The faults of a source that serves several tables are reported once.
            problems = [rejection for rejection in one.rejections if rejection not in reported]
            reported |= set(problems)
            table.sheets.append((file, _sheet(plan, rows, number, one, problems)))
            table.remarks += [
                f"{one.file}: {remark}" for remark in one.remarks if not problems and plan is _first(mapping, plan)
            ]
        tables.append(table)
    only_tables = {name: [one for _, one in pairs] for name, pairs in opened.items()}
    return Applied(tables, only_tables, _unused(mapping, only_tables))


def _first(mapping: Mapping, plan: Plan) -> Plan:
    plans = sorted(mapping.plans, key=lambda one: ORDER[one.table])
    return next(one for one in plans if one.source == plan.source)


def _open(mapping: Mapping, files: Sequence[SourceFile]) -> dict[str, list[tuple[SourceFile | None, SourceTable]]]:
    opened: dict[str, list[tuple[SourceFile | None, SourceTable]]] = {}
    met: set[str] = set()
    for name, source in mapping.sources.items():
        fitting = [(file, grid) for file in files for grid in file.grids if is_of(source, file, grid)]
        if not fitting:
            message = f"None of the files is of the source {name!r} (file = {source.file!r}, sheet = {source.sheet!r})."
            names = ", ".join(grid.file for file in files for grid in file.grids)
            fix = f"Files: {names}. Name them all, or correct file."
            raise LayoutError(message, where=mapping.name, fix=fix)
        opened[name] = [(file, open_table(source, file, grid)) for file, grid in fitting]
        met |= {file.name for file, _ in fitting}
    for file in files:
        # A file that nothing reads is a mistake of the call, and is not passed over in silence.
        if file.name not in met:
            message = f"The file {file.name} is of no source of the mapping."
            sources = ", ".join(f"{name} ({source.file})" for name, source in mapping.sources.items())
            fix = f"Leave it out, or name it in a source. Sources: {sources}."
            raise LayoutError(message, where=mapping.name, fix=fix)
    return opened


def _constants(plan: Plan) -> SourceTable:
    """Return a table for rows that come from the mapping alone: one row, or one for each that it gives."""
    # A table such as sites may come from the mapping alone.
    count = len(plan.given) or 1
    return SourceTable("the mapping", plan.table, [], [], [[] for _ in range(count)], list(range(1, count + 1)))


def _rows(
    plan: Plan,
    pairs: Sequence[tuple[SourceFile | None, SourceTable]],
    mapping: Mapping,
    opened: dict[str, list[tuple[SourceFile | None, SourceTable]]],
) -> Rows:
    """Return the rows of all files of a table together."""
    ours = BY_NAME[plan.table]
    rows = Rows(ours)
    source = mapping.sources.get(plan.source, Source(""))

    def tables_of(name: str) -> list[SourceTable]:
        return [one for _, one in opened.get(name, [])]

    for number, (_, table) in enumerate(pairs):
        made: dict[str, Made] = {}
        for name, rules in plan.rules.items():
            column = ours.column(name)
            made[name] = first_filled([make_cells(column, rule, table, source, tables_of) for rule in rules])
        rows.add(number, table.numbers, made)
    if plan.given:
        rows.fill(plan.given, by_position=not plan.source)
    return rows


def _settle(plan: Plan, rows: Rows, table: MappedTable, points: list[PointChange]) -> None:
    """Apply what concerns whole rows: empty ones, repeats, levels, changes of measuring points."""
    needed = [name for name in _NEEDED.get(plan.table, ()) if name in rows.columns]
    if needed and plan.source:
        filled = [[bool(rows.columns[name].cells[row]) for name in needed] for row in range(rows.count)]
        partly = sum(any(flags) and not all(flags) for flags in filled)
        # A list of wells has rows for wells without a screen; they say nothing here, and are no fault.
        empty = rows.keep([all(flags) for flags in filled])
        if empty:
            remark = f"{plan.table}: {_many(empty)} without {' and '.join(needed)} passed over"
            table.remarks.append(remark + (f"; {partly:,} of them had one of the two" if partly else ""))
    if plan.table == "level_events":
        table.remarks += number_events(rows)
        table.remarks += settle_levels(plan, rows, points)
    elif plan.table == "measuring_points" and plan.changes:
        table.changes = keep_changes(rows)
    elif plan.table in _OF_THINGS:
        table.remarks += rows.join_repeats()
    elif plan.table in {"construction", "measuring_points", "rounds", "deployments", "thresholds"}:
        # A screen is repeated beside every reading of its well in many sources.
        rows.drop_repeats()


def _many(count: int) -> str:
    return "1 row" if count == 1 else f"{count:,} rows"


def _sheet(plan: Plan, rows: Rows, number: int, table: SourceTable, problems: list[Rejection]) -> RawSheet:
    """Return the rows of one file as a sheet with our headings."""
    mine = [row for row in range(rows.count) if rows.file[row] == number]
    names = list(rows.columns)
    headings = [f"{name} [{unit}]" if (unit := rows.columns[name].unit) else name for name in names]
    columns = [rows.columns[name].cells for name in names]
    sheet = RawSheet(
        file=table.file,
        title=plan.table,
        headings=headings,
        rows=[[cells[row] for cells in columns] for row in mine],
        numbers=[rows.number[row] for row in mine],
        rejections=list(problems),
        open_row=table.open_row,
        from_changes=plan.changes,
        open_columns=_open_columns(plan, table),
        # What was written stays with each cell, so that a rejection by the loader shows the source's words and not
        # ours.
        origins={
            name: (made.heading or name, [made.written[row] for row in mine]) for name, made in rows.columns.items()
        },
    )
    for name, made in rows.columns.items():
        for row in mine:
            if row in made.problems:
                problem, message, fix = made.problems[row]
                heading = made.heading or name
                sheet.rejections.append(
                    Rejection("", table.file, rows.number[row], heading, made.written[row], problem, message, fix)
                )
    return sheet


def _open_columns(plan: Plan, table: SourceTable) -> tuple[str, ...]:
    """Return the columns of ours that read the last cell of a line without its end, or one that it lacks."""
    if table.open_row is None:
        return ()
    return tuple(
        name
        for name, rules in plan.rules.items()
        if any(table.place(reference) >= table.open_place for rule in rules for reference in rule.used)
    )


def _unused(mapping: Mapping, sources: dict[str, list[SourceTable]]) -> dict[str, list[str]]:
    """Return the headings that no rule reads, by file."""
    used: dict[str, set[int]] = {}
    known: dict[str, SourceTable] = {}
    for name, tables in sources.items():
        source = mapping.sources[name]
        references: list[Any] = [condition.column for condition in source.pass_over]
        references += [plan.intervals for plan in mapping.plans if plan.source == name and plan.intervals is not None]
        for plan in mapping.plans:
            for rules in plan.rules.values():
                for rule in rules:
                    own = rule.used if plan.source == name else ()
                    # The columns of interval ends are made here and are in no file.
                    references += [one for one in own if plan.intervals is None or one not in {TOP, BOTTOM}]
                    if rule.lookup is not None and rule.lookup.source == name:
                        references += [rule.lookup.key, rule.lookup.value]
        for table in tables:
            known[table.file] = table
            used.setdefault(table.file, set()).update(table.place(reference) for reference in references)
    return {
        file: [heading for place, heading in enumerate(table.headings) if place not in used[file] and heading]
        for file, table in known.items()
    }
