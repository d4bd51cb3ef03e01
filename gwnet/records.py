"""Small frozen results that cross layers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class RecordState:
    """A state of the record.

    Attributes
    ----------
    serial : int
        Its number; 0 for a time before the first.
    recorded_at_utc : datetime.datetime
        When it was recorded: every row on record then was recorded at this time or before.
    digest : str
        Its digest; empty for a time before the first.
    zone : str
        Zone on whose clock it is printed: that of the site that is looked at.
    """

    serial: int
    recorded_at_utc: dt.datetime
    digest: str = ""
    zone: str = field(default="UTC", compare=False)

    @property
    def text(self) -> str:
        """Return time and number as they are printed; the number is exact where the time is cut to seconds."""
        from gwnet.clock import moment_text

        if self.serial == 0:
            return f"{moment_text(self.recorded_at_utc, self.zone, timespec='auto')} (before state 1)"
        return f"{moment_text(self.recorded_at_utc, self.zone)} (state {self.serial})"


@dataclass(frozen=True)
class Selection:
    """Which levels are meant; what is None or empty does not restrict.

    Attributes
    ----------
    wells : sequence of str, optional
        Codes of wells; kept as a tuple.
    aquifer, round : str, optional
        Codes.
    start, end : datetime.date or datetime.datetime, optional
        First and last local date, both included; or aware instants, both included.
    events : sequence of int, optional
        Numbers of level events; kept as a tuple.
    site : str, optional
        Code; that of the snapshot unless given.
    """

    wells: Sequence[str] | None = None
    aquifer: str | None = None
    round: str | None = None
    start: dt.date | dt.datetime | None = None
    end: dt.date | dt.datetime | None = None
    events: Sequence[int] | None = None
    site: str | None = None

    def __post_init__(self) -> None:
        """Keep sequences as tuples, so that a selection is hashable."""
        for name in ("wells", "events"):
            values = getattr(self, name)
            if values is not None:
                object.__setattr__(self, name, tuple(values))

    @property
    def is_everything(self) -> bool:
        """Return whether nothing restricts, so that the whole record is meant."""
        return self == Selection()

    @classmethod
    def restricting(cls, selection: Selection | None) -> Selection | None:
        """Return a selection that restricts something, and None for one that does not: what is kept is kept once.

        Parameters
        ----------
        selection : Selection, optional
            Which levels are meant.
        """
        return None if selection is None or selection.is_everything else selection

    @classmethod
    def of(
        cls,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        round: str | None = None,
        start: dt.date | dt.datetime | None = None,
        end: dt.date | dt.datetime | None = None,
        events: Sequence[int] | None = None,
        site: str | None = None,
    ) -> Selection:
        """Return a selection from any sequences of codes and numbers.

        Parameters
        ----------
        wells, events : sequence, optional
            Codes of wells, numbers of level events; None or empty for all.
        aquifer, round, start, end, site : optional
            As the attributes.
        """
        return cls(tuple(wells or ()) or None, aquifer, round, start, end, tuple(events or ()) or None, site)


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
