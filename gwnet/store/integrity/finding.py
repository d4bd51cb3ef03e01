"""What an examination of the record finds, and how it is said."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Finding:
    """Something in the database that does not fit.

    Attributes
    ----------
    check : str
        Check that noticed it.
    message : str
        What was found, as a sentence.
    fix : str
        What to do.
    state : int or None
        State of the record that it belongs to.
    table : str
        Table; empty where it is of none.
    row : int or None
        Number of the row.
    """

    check: str
    message: str
    fix: str
    state: int | None = None
    table: str = ""
    row: int | None = None


#: What to do where something on record was changed without the program.
RESTORE = (
    "Something other than gwnet changed the database, or the file is damaged. Find out what wrote to it, keep a copy, "
    "and restore a backup that 'gwnet doctor' finds clean; what was recorded since can be loaded again."
)
