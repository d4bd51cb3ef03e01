"""Rows of a table of ours while they are made: columns of cells, each row with its file and line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from gwnet.ingest.mapping.cells import Made
from gwnet.store.columns import Table

#: Values that differ in a repeated row and are shown.
_SHOWN = 5


@dataclass
class Rows:
    """Rows of a table of ours.

    Attributes
    ----------
    table : gwnet.store.columns.Table
        Which table.
    columns : dict of str to gwnet.ingest.mapping.cells.Made
        Its columns.
    file, number : list of int
        Which file each row is of, and its line there.
    """

    table: Table
    columns: dict[str, Made] = field(default_factory=dict)
    file: list[int] = field(default_factory=list)
    number: list[int] = field(default_factory=list)

    @property
    def count(self) -> int:
        """Return the number of rows."""
        return len(self.number)

    def add(self, file: int, numbers: Sequence[int], made: Mapping[str, Made]) -> None:
        """Add the rows of a file."""
        before = self.count
        for name, column in made.items():
            if name not in self.columns:
                self.columns[name] = Made([], column.heading, [], column.unit, {})
            mine = self.columns[name]
            mine.cells += column.cells
            mine.written += column.written
            mine.problems |= {before + row: problem for row, problem in column.problems.items()}
        self.file += [file] * len(numbers)
        self.number += numbers

    def fill(self, given: Sequence[Mapping[str, str]], *, by_position: bool) -> None:
        """Fill empty cells from rows of the mapping: those of the same key, or one after the other."""
        names = dict.fromkeys(name for row in given for name in row)
        for name in names:
            self.table.column(name)
            if name not in self.columns:
                self.columns[name] = Made([""] * self.count, "", [""] * self.count, "", {})
        keys = [name for name in self.table.key if name in names and name != "site"]
        by_key = {tuple(row.get(name, "") for name in keys): row for row in given}
        for row in range(self.count):
            own = given[row] if by_position else by_key.get(tuple(self.columns[name].cells[row] for name in keys), {})
            for name, cell in own.items():
                # What the files say goes before what the mapping fills in.
                if not self.columns[name].cells[row]:
                    self.columns[name].cells[row] = self.columns[name].written[row] = cell

    def cells(self, name: str) -> list[str]:
        """Return the cells of a column; empty ones where there is none."""
        return self.columns[name].cells if name in self.columns else [""] * self.count

    def column(self, name: str) -> Made:
        """Return a column, made empty where there is none."""
        if name not in self.columns:
            self.columns[name] = Made([""] * self.count, "", [""] * self.count, "", {})
        return self.columns[name]

    def keep(self, flags: Sequence[bool]) -> int:
        """Keep some rows and return how many were dropped."""
        kept = [row for row in range(self.count) if flags[row]]
        self.take(kept)
        return len(flags) - len(kept)

    def take(self, kept: Sequence[int]) -> None:
        """Keep the rows of these places, in their order."""
        place = {row: new for new, row in enumerate(kept)}
        for made in self.columns.values():
            made.cells = [made.cells[row] for row in kept]
            made.written = [made.written[row] for row in kept]
            made.problems = {place[row]: problem for row, problem in made.problems.items() if row in place}
        self.file = [self.file[row] for row in kept]
        self.number = [self.number[row] for row in kept]

    def drop_repeats(self) -> None:
        """Drop rows whose cells are all those of a row before."""
        columns = [made.cells for made in self.columns.values()]
        seen: dict[tuple[str, ...], int] = {}
        for row in range(self.count):
            seen.setdefault(tuple(cells[row] for cells in columns), row)
        self.take(list(seen.values()))

    def join_repeats(self) -> list[str]:
        """Make one row of those with one key: the last filled cell of each column; return what differed."""
        keys = [name for name in self.table.key if name in self.columns]
        first: dict[tuple[str, ...], int] = {}
        differing: list[str] = []
        for row in range(self.count):
            key = tuple(self.columns[name].cells[row] for name in keys)
            # In the place of the first, so that the order of the file stays.
            at = first.setdefault(key, row)
            for name, made in self.columns.items() if at != row else ():
                if not made.cells[row] or made.cells[row] == made.cells[at]:
                    continue
                if made.cells[at]:
                    was, now = made.cells[at], made.cells[row]
                    differing.append(f"{' '.join(key)}: {name} {was!r}, in line {self.number[row]} {now!r}")
                # The last counts: lists are continued at their end.
                made.cells[at], made.written[at] = made.cells[row], made.written[row]
        self.take(list(first.values()))
        if not differing:
            return []
        shown = "; ".join(differing[:_SHOWN]) + (
            f" and {len(differing) - _SHOWN:,} more" if len(differing) > _SHOWN else ""
        )
        return [f"{self.table.name}: repeated rows differ and the last counts: {shown}"]
