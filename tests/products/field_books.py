"""Filling in the field workbook of a round, as a crew would, with a spreadsheet library."""

from __future__ import annotations

import io

from openpyxl import load_workbook


class FieldBook:
    """An opened field workbook.

    Parameters
    ----------
    source : path or bytes
        The workbook.
    """

    def __init__(self, source):
        self.book = load_workbook(io.BytesIO(source) if isinstance(source, bytes) else source)
        self.sheet = self.book["level_events"]
        self.headings = [cell.value for cell in self.sheet[1]]
        self.rows = {
            self.sheet.cell(row, self.place("well")).value: row
            for row in range(2, self.sheet.max_row + 1)
            if self.sheet.cell(row, self.place("well")).value
        }

    def place(self, name):
        """Return the column of a heading, counted from 1; a unit need not be named."""
        return next(n for n, head in enumerate(self.headings, 1) if head == name or head.startswith(f"{name} ["))

    def cell(self, well, name):
        """Return a cell of a well."""
        return self.sheet.cell(self.rows[well], self.place(name))

    def fill(self, well, **values):
        """Fill in cells of a well."""
        for name, value in values.items():
            self.cell(well, name).value = value

    def fill_row(self, row, **values):
        """Fill in cells of a row."""
        for name, value in values.items():
            self.sheet.cell(row, self.place(name)).value = value

    def save(self, path):
        """Save the workbook and return its path."""
        self.book.save(path)
        return path
