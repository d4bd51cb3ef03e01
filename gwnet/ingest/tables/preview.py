"""What a correction or withdrawal would change: the values of each row, before and after.

The changes are noted by the code that writes, while it writes; a dry run does the same and is then undone.

Loading knows no analysis, so `gwnet.ingest.tables.load` is handed what looks at the levels before and after.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final, Protocol

from sqlalchemy import Connection

from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import Parsed
from gwnet.units import metres_per

#: Columns that hold ids, and the identity that each is of.
_IDENTITIES: Final[dict[str, str]] = {
    "aquifer_id": "aquifer",
    "gauging_round_id": "gauging_round",
    "instrument_id": "instrument",
    "barometer_id": "instrument",
    "well_id": "well",
    "other_well_id": "well",
    "site_id": "site",
}

#: Word for a missing value.
NOTHING: Final = "nothing"

Difference = tuple[str, Any, Any]


@dataclass(frozen=True)
class RowChange:
    """One value of a row on record that another replaces, or a row that is withdrawn.

    Attributes
    ----------
    table, file : str
        Table of the contract; name of the file.
    row : int
        Row in the file.
    key : str
        Which row it is, from its own cells.
    column : str
        What changes, with its unit; ``whole row`` for a withdrawal.
    was, now : str
        Value on record and new value; ``now`` is empty for a withdrawal.
    empties : bool
        Whether the value on record becomes empty.
    """

    table: str
    file: str
    row: int
    key: str
    column: str
    was: str
    now: str
    empties: bool = False


class Watch(Protocol):
    """Looks at the record before and after the rows of a dry run are recorded, inside its transaction."""

    #: The levels that would move; None until it has looked.
    moved: Any

    def before(self, connection: Connection) -> None:
        """Look at the record as it is."""

    def after(self, connection: Connection) -> None:
        """Look at the record as it would be."""


def describe_correction(
    parsed: Parsed, row: int, differences: Iterable[Difference], codes: Codes | None = None
) -> list[RowChange]:
    """Return what a correction changes in one row.

    Parameters as `gwnet.ingest.tables`.
    """
    changes = []
    for name, old, new in differences:
        unit = _unit_of(parsed, row, name, codes)
        was, now = (describe_value(name, value, codes, unit=unit) for value in (old, new))
        changes.append(_change(parsed, row, _heading(parsed, name, unit), was, now, _is_empty(name, new)))
    return changes


def describe_withdrawal(parsed: Parsed, row: int) -> RowChange:
    """Return that a row is withdrawn.

    Parameters as `gwnet.ingest.tables`.
    """
    return _change(parsed, row, "whole row", "on record", "")


def _change(parsed: Parsed, row: int, column: str, was: str, now: str, empties: bool = False) -> RowChange:
    sheet = parsed.raw.sheet
    return RowChange(parsed.table.name, sheet.file, sheet.numbers[row], _key(parsed, row), column, was, now, empties)


def _is_empty(name: str, value: Any) -> bool:
    return is_missing(value) or (name == "wells" and value == "[]")  # the wells of a round are kept as a JSON list


def is_missing(value: Any) -> bool:
    """Return whether a value of a row says nothing: None or NaN.

    Parameters
    ----------
    value : object
        Value of a recorded column.
    """
    return value is None or (isinstance(value, float) and math.isnan(value))


def _key(parsed: Parsed, row: int) -> str:
    cells = (parsed.raw.cells(name) for name in parsed.table.key)
    return " ".join(column[row].strip() for column in cells if column is not None and column[row].strip())


def _unit_of(parsed: Parsed, row: int, name: str, codes: Codes | None) -> str:
    """Return the unit that a recorded length is shown in: that of the file's heading, else of the site."""
    heading = parsed.raw.units.get(name.removesuffix("_m"))
    if heading or codes is None:
        return heading or "m"
    site = parsed.values["site"][row] if "site" in parsed.values else None
    return codes.units.get(codes.ids["site"].get(site, -1), codes.default_unit())


def _heading(parsed: Parsed, name: str, unit: str) -> str:
    """Return the name of a column in words, with the unit of its values."""
    if name in _IDENTITIES:
        return _IDENTITIES[name].replace("gauging_", "")
    if name.endswith("_utc"):
        return f"{name.removesuffix('_utc').replace('_', ' ')} [UTC]"
    if name.endswith("_m"):
        return f"{name.removesuffix('_m').replace('_', ' ')} [{unit}]"
    in_heading = parsed.raw.units.get(name)
    return f"{name.replace('_', ' ')} [{in_heading}]" if in_heading else name.replace("_", " ")


def describe_value(name: str, value: Any, codes: Codes | None = None, *, unit: str = "m") -> str:
    """Return a value as a person reads it.

    Parameters as `gwnet.ingest.tables`.
    """
    if is_missing(value):
        return NOTHING
    if name.endswith("_m") and isinstance(value, float):
        value = value / metres_per(unit)
    if name in _IDENTITIES and codes is not None:
        return _code(codes, _IDENTITIES[name], value)
    if isinstance(value, dt.datetime):
        return value.strftime("%Y-%m-%dT%H:%MZ")
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{float(value):.4f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def _code(codes: Codes, identity: str, number: Any) -> str:
    for key, known in codes.ids[identity].items():
        if known == number:
            return str(key[1]) if isinstance(key, tuple) else str(key)
    return str(number)
