"""Small frozen results that cross layers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Rejection:
    """One problem of one row of a file.

    Attributes
    ----------
    table : str
        Table of the contract.
    file : str
        Name of the file, with the sheet for a workbook.
    row : int or None
        Row in the file, counted from 1; None when the problem is not of one row.
    column : str or None
        Heading of the column.
    value : str or None
        The cell as it was written.
    problem : str
        Code phrase; see `gwnet.ingest.tables.problems.PROBLEMS`.
    message : str
        What was found and what was expected.
    fix : str
        What to do.
    """

    table: str
    file: str
    row: int | None
    column: str | None
    value: str | None
    problem: str
    message: str
    fix: str

    def place(self) -> str:
        """Return file, row and column as text."""
        parts = [self.file]
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.column:
            parts.append(f"column {self.column}")
        return ", ".join(parts)

    def __str__(self) -> str:
        """Return place, message and fix as one line."""
        return f"{self.place()}: {self.message} {self.fix}".rstrip()
