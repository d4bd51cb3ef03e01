"""What is declared of a table that can be loaded and of each of its columns, and what follows from it.

A column is declared once, in `gwnet.store.contract`. Reading its cells, storing its values, selecting them again, the
name and type that they have in a frame, and its line in the documentation all follow from that declaration.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

#: Kinds whose cells are numbers.
NUMBER_KINDS: Final[frozenset[str]] = frozenset({"length", "number", "whole", "coordinate", "duration", "rate"})

#: What each kind of column holds, for the documentation.
KINDS: Final[dict[str, str]] = {
    "code": "code",
    "text": "text",
    "length": "length",
    "coordinate": "coordinate",
    "number": "number",
    "whole": "whole number",
    "date": "date",
    "time": "time of day",
    "timestamp": "date and time",
    "duration": "duration",
    "rate": "volume per time",
    "start": "date and time, or elapsed time",
    "choice": "one of a list",
    "flag": "yes or no",
    "list": "list separated by `;`",
    "limits": "list of `name=number` separated by `;`",
}

#: What no number of a kind exceeds, whatever its column; one beyond is a slip of the keyboard, and is refused. Lengths
#: in metres: the deepest trench lies 10.9 km below the sea and the deepest borehole is 12.3 km deep (from memory); no
#: summit is higher. Coordinates: once around the earth in feet, with the number of a zone before it.
WIDEST: Final[dict[str, tuple[float, float]]] = {
    "length": (-12_000.0, 13_000.0),
    "coordinate": (-2e8, 2e8),
    "number": (-1e15, 1e15),
    "whole": (-1e9, 1e9),
    "duration": (-1e9, 1e9),
    "rate": (-1e9, 1e9),
    "start": (-1e9, 1e9),
}

#: Ending that the kind of a column gives to its name in the record and in frames.
_ENDINGS: Final[dict[str, str]] = {"length": "_m", "timestamp": "_utc"}


@dataclass(frozen=True)
class Column:
    """One column of a table that can be loaded.

    Attributes
    ----------
    name : str
        Heading.
    kind : str
        One of `KINDS`.
    meaning : str
        One line of documentation.
    required : bool
        Whether a cell may not be empty.
    key : bool
        Whether its cell helps to say which row is meant.
    choices : tuple of str
        Words allowed for a choice.
    default : str or int or None
        What an empty cell means, where it does not mean "not known".
    lowest, highest : float
        Range of a number, both included; of a length in metres, whatever unit it is written in.
    positive : bool
        Whether a number must be larger than zero.
    past : bool
        Whether a date may not lie in the future.
    unit : str
        Unit in which it is stored, for columns that are not lengths. The heading of a duration or a rate may name
        another one; that of any other column may name this one alone.
    former : str
        Heading that the column had before; files with it still load.
    of : str
        Identity table whose codes the cells are.
    reading : tuple of str and int, or None
        Quantity and ordinal of the reading of a level event that the cells are; they are stored as readings.
    stored : str
        Column of the recorded table, where it does not follow from name, kind and unit.
    converts_to : str
        Column that says the same in another way; a row fills one of the two.
    """

    name: str
    kind: str
    meaning: str
    required: bool = False
    key: bool = False
    choices: tuple[str, ...] = ()
    default: str | int | None = None
    lowest: float = float("-inf")
    highest: float = float("inf")
    positive: bool = False
    past: bool = False
    unit: str = ""
    former: str = ""
    of: str = ""
    reading: tuple[str, int] | None = None
    stored: str = ""
    converts_to: str = ""

    @property
    def limits(self) -> tuple[float, float]:
        """Return the range of a number, both ends included: as declared, and never wider than its kind allows."""
        lowest, highest = WIDEST[self.kind]
        return max(self.lowest, lowest), min(self.highest, highest)

    @property
    def frame_name(self) -> str:
        """Return the name in frames: lengths end in ``_m``, instants in ``_utc``, others in their fixed unit."""
        # A unit ends the name in small letters; "L/s" cannot be part of one.
        unit = f"_{self.unit.lower().replace('/', '_')}" if self.unit else ""
        return f"{self.name}{_ENDINGS.get(self.kind, unit)}"

    @property
    def stored_as(self) -> str:
        """Return the column of the recorded table; of a code it holds the id of the identity."""
        return self.stored or (f"{self.of}_id" if self.of else self.frame_name)


@dataclass(frozen=True)
class Table:
    """One table that can be loaded.

    Attributes
    ----------
    name : str
        Name.
    record : str
        Recorded table that its rows go to.
    meaning : str
        What one row is.
    columns : tuple of Column
        Its columns.
    identity : str
        Identity table whose rows the table makes, or empty.
    one_of : tuple of tuple of tuple of str
        Groups of alternatives; in each, at least one alternative's columns must be among the headings.
    ways : tuple of tuple of str
        Columns that say one thing in several ways: a row fills one way, or one that counts before the others.
    moves_levels : bool
        Whether a row can move levels that are on record already.
    """

    name: str
    record: str
    meaning: str
    columns: tuple[Column, ...]
    identity: str = ""
    one_of: tuple[tuple[tuple[str, ...], ...], ...] = ()
    ways: tuple[tuple[str, ...], ...] = ()
    moves_levels: bool = False

    def column(self, name: str) -> Column:
        """Return a column by its name."""
        return next(column for column in self.columns if column.name == name)

    @property
    def names(self) -> tuple[str, ...]:
        """Return the headings in order."""
        return tuple(column.name for column in self.columns)

    @property
    def key(self) -> tuple[str, ...]:
        """Return the headings of the cells that say which row is meant."""
        return tuple(column.name for column in self.columns if column.key)

    def required(self, *, keys_only: bool = False) -> tuple[tuple[str, ...], tuple[tuple[tuple[str, ...], ...], ...]]:
        """Return the headings and the groups of alternatives that must be there: all of them, or those of the key."""
        names = tuple(column.name for column in self.columns if column.required and (column.key or not keys_only))
        # A key with alternatives (a time, or a date with a time) counts where its first way is of the key.
        return names, tuple(group for group in self.one_of if not keys_only or group[0][0] in self.key)

    def is_time(self, name: str) -> bool:
        """Return whether a column is one of those that together say when a row was measured."""
        return "measured_at" in self.names and name in {"measured_at", "date", "time"}


#: Words for the observer's opinion of a reading.
QUALITIES: Final[tuple[str, ...]] = ("good", "suspect", "estimate", "poor", "unchecked")

#: Lowest depth [m]: no water stands a kilometre above the point that its depth counts from.
LOWEST_M: Final[float] = -1_000.0

#: Columns that most tables have.
SITE: Final = Column("site", "code", "The site.", required=True, key=True, of="site")
NOTES: Final = Column("notes", "text", "Anything else.")
