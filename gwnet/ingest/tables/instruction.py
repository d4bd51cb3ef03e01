"""What a load is to do, and what it did with the rows of a table."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection

from gwnet.ingest.tables.preview import RowChange
from gwnet.store.save.bulk import retire


@dataclass(frozen=True)
class Instruction:
    """What a load is to do.

    Attributes
    ----------
    by : str
        Who records.
    correct, withdraw : bool
        Whether live rows of the same key are replaced, or retired without a successor.
    reason : str or None
        Why; given with both.
    """

    by: str
    correct: bool = False
    withdraw: bool = False
    reason: str | None = None

    @property
    def stamp(self) -> dict[str, Any]:
        """Return the columns of a recorded row that say who recorded it and why."""
        return {"recorded_by": self.by, "reason": self.reason}


@dataclass
class Tally:
    """What happened to the rows of a table."""

    added: int = 0
    unchanged: int = 0
    corrected: int = 0
    withdrawn: int = 0
    retired_ids: list[int] = field(default_factory=list)
    changes: list[RowChange] = field(default_factory=list)

    def retire(self, connection: Connection, record: str, instruction: Instruction) -> None:
        """Retire the live rows that are replaced or withdrawn."""
        if self.retired_ids:
            retire(connection, record, self.retired_ids, by=instruction.by, reason=instruction.reason)

    def count(self, stored: int, instruction: Instruction) -> None:
        """Count the rows that were stored, and those that were retired for them."""
        if instruction.withdraw:
            self.withdrawn = len(self.retired_ids)
        else:
            self.corrected = len(self.retired_ids)
            self.added = stored - self.corrected
