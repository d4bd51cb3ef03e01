"""What a load is to do, and what it did with the rows of a table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
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
        Why; given with both, and where problems are accepted.
    accept : frozenset of str
        Problems of `gwnet.ingest.tables.problems.ACCEPTABLE` that do not stop a row from being recorded.
    """

    by: str
    correct: bool = False
    withdraw: bool = False
    reason: str | None = None
    accept: frozenset[str] = frozenset()

    @property
    def stamp(self) -> dict[str, Any]:
        """Return the columns of a recorded row that say who recorded it and why."""
        return {"recorded_by": self.by, "reason": self.reason}

    def reasons(self, rows: Iterable[int], accepted: Mapping[int, Sequence[str]]) -> list[str | None]:
        """Return why each of some rows is recorded; of a row with accepted problems that they were, and why."""
        is_of_accepted = self.accept and not (self.correct or self.withdraw)
        plain = None if is_of_accepted else self.reason
        return [f"accepted {', '.join(accepted[row])}: {self.reason}" if row in accepted else plain for row in rows]


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
