"""What earlier reports printed and would be printed otherwise now.

A report that is issued leaves every value of its tables on record. A later one works the same tables out anew from the
record as it is known then, and lists what differs: old, new and why. A number that is printed to fewer decimals than
before has not changed.

Printed text is compared, by table, row and column: two numbers are the same when they agree to the decimals of the
coarser; columns of review are counted, not listed. What a later issue has listed of an earlier one counts as printed.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from gwnet.reporting.content import EMPTY_MARK

#: What is printed for the old value of a row that was not printed, and for the new one of a row that no longer is.
NEW_ROW: Final = "not printed"
NO_ROW: Final = "no longer printed"
#: Columns that say who looked at a value, not what it is.
_OF_REVIEW: Final = frozenset({"Review", "State of review", "Record"})

#: Items of the record whose correction moves no printed number.
_WORDS_ONLY: Final = frozenset(
    ("notes", "description", "surveyed by", "survey method", "surveyed on", "change", "basis", "action", "remarks")
)

#: Most causes that are named of one value.
_MOST_CAUSES: Final = 3
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)

Value = Mapping[str, str]
_Key = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Reason:
    """One act of recording that may explain a changed value.

    Parameters
    ----------
    well : str
        Well that it concerns; empty where it is of no single well.
    text : str
        What was done, by whom, when and why.
    places : frozenset of str
        Rounds, days and aquifer of the levels that it moved or added: what is worked out from them follows from it.
    test : str
        Pumping test that it is of: all that is worked out from the test follows from it.
    """

    well: str
    text: str
    places: frozenset[str] = frozenset()
    test: str = ""


@dataclass(frozen=True, slots=True)
class MovedLevels:
    """Levels of a well that a correction moved.

    Parameters
    ----------
    well : str
        The well.
    count : int
        How many levels.
    first, last : str
        Days of the first and the last of them.
    least_m, most_m : float
        Smallest and largest shift, positive upward; NaN where a level has no number before or after [m].
    why : str
        What was done, by whom, when and why.
    """

    well: str
    count: int
    first: str
    last: str
    least_m: float
    most_m: float
    why: str


@dataclass(frozen=True, slots=True)
class ChangedValue:
    """One value that an earlier report printed otherwise.

    Parameters
    ----------
    table, row, column, unit : str
        Where it was printed.
    was, now : str
        As printed then, and as it would be printed now.
    why : str
        Corrections on record since, or that none explains it.
    """

    table: str
    row: str
    column: str
    unit: str
    was: str
    now: str
    why: str = ""

    @property
    def difference(self) -> float:
        """Return by how much a number changed; 0 where one of the two is no number."""
        change = abs(_number(self.now) - _number(self.was))
        return change if math.isfinite(change) else 0.0


@dataclass(frozen=True, slots=True)
class EarlierIssue:
    """An issued report, and what it printed that has changed since.

    Parameters
    ----------
    number : int
        Number in the register of issues.
    definition, period : str
        What it was made from.
    issued_at_utc : datetime
        When it was registered, zone-aware.
    issued_by : str
        Who registered it.
    known_on_utc : datetime
        Its data cut-off, zone-aware.
    sha256 : str
        Digest of its PDF.
    changes : tuple of ChangedValue
        Changed values, in the order of its tables.
    approved_since : int
        Rows whose review alone has changed.
    moved : tuple of MovedLevels
        Levels that corrections moved since its cut-off, well by well.
    """

    number: int
    definition: str
    period: str
    issued_at_utc: dt.datetime
    issued_by: str
    known_on_utc: dt.datetime
    sha256: str
    changes: tuple[ChangedValue, ...] = ()
    approved_since: int = 0
    moved: tuple[MovedLevels, ...] = ()


def changed_values(
    printed: Iterable[Value], now: Iterable[Value], reasons: Sequence[Reason] = ()
) -> tuple[list[ChangedValue], int]:
    """Return the values that would be printed otherwise now.

    Parameters
    ----------
    printed : iterable of mapping
        Values of the earlier report, from `gwnet.reporting.annex.manifest.printed_values`.
    now : iterable of mapping
        The same tables worked out anew.
    reasons : sequence of Reason, optional
        Corrections recorded since.

    Returns
    -------
    list of ChangedValue
        Changed cells; of a row that is printed no more, or was not printed then, one for its first cell with a value.
    int
        Rows whose review alone has changed.
    """
    before, after = _by_key(printed), _by_key(now)
    rows_before, rows_after = _rows(before), _rows(after)
    # A table that is no longer printed at all, as after a change of the definition, is no correction.
    tables = {table for table, _ in rows_after}
    found: list[ChangedValue] = []
    reviewed: set[tuple[str, str]] = set()
    for key, value in before.items():
        row = key[:2]
        if row not in rows_after:
            if row in rows_before and key[0] in tables:
                rows_before.discard(row)
                found.append(_changed(value, value["printed"], NO_ROW, reasons))
            continue
        other = after.get(key)
        if other is None or _same(value, other):
            continue
        # An approval changes no number; such rows are counted, not listed.
        if key[2] in _OF_REVIEW:
            reviewed.add(row)
            continue
        found.append(_changed(value, value["printed"], other["printed"], reasons))
    # A table that the earlier report did not have is new, not corrected.
    known = {table for table, _ in _rows(before)}
    for row, value in _first_cells(after).items():
        if row[0] in known and row not in _rows(before):
            found.append(_changed(value, NEW_ROW, value["printed"], reasons))
    # A row with a changed number as well is among the changes, and not counted again.
    return found, len(reviewed - {(change.table, change.row) for change in found})


def is_of_words(item: str) -> bool:
    """Return whether the correction of an item moves no printed number.

    Parameters
    ----------
    item : str
        What was corrected, such as ``notes (main, 2018-01-15)``.
    """
    return item.partition(" (")[0] in _WORDS_ONLY


def with_listed(printed: Iterable[Value], listed: Iterable[Mapping[str, str]]) -> list[dict[str, str]]:
    """Return an earlier report's values with what later reports have listed of them already.

    Parameters
    ----------
    printed : iterable of mapping
        Values as printed.
    listed : iterable of mapping
        Changes that later issues listed, oldest first: table, row, column, unit and ``now``.

    Returns
    -------
    list of dict
        Values as last printed, so that no change is listed twice.
    """
    values = {key: dict(value) for key, value in _by_key(printed).items()}
    for change in listed:
        key = (change["table"], change["row"], change["column"])
        # The whole row is gone; its other cells would be listed as gone by the next issue.
        if change["now"] == NO_ROW:
            values = {other: value for other, value in values.items() if other[:2] != key[:2]}
        else:
            # What a later issue printed is what the next one is compared with.
            values[key] = {name: change[name] for name in ("table", "row", "column", "unit")} | {
                "printed": change["now"]
            }
    return list(values.values())


def _by_key(values: Iterable[Value]) -> dict[_Key, Value]:
    return {(value["table"], value["row"], value["column"]): value for value in values}


def _rows(values: Iterable[_Key]) -> set[tuple[str, str]]:
    return {(table, row) for table, row, _ in values}


def _first_cells(values: Mapping[_Key, Value]) -> dict[tuple[str, str], Value]:
    """Return of each row the first cell beyond those that name it which holds a number, else its first cell."""
    found: dict[tuple[str, str], Value] = {}
    for (table, row, _), value in values.items():
        held = found.get((table, row))
        if held is None or (not _is_number(held["printed"]) and _is_number(value["printed"])):
            found[table, row] = value
    return found


def _same(one: Value, other: Value) -> bool:
    """Tell whether two printed values say the same; of two numbers, to the decimals of the coarser."""
    a, b = one["printed"], other["printed"]
    if a == b:
        return True
    if one["unit"] != other["unit"] or not (_is_number(a) and _is_number(b)):
        return False
    # More decimals of the same value, as after a change of the definition, are no correction of it.
    decimals = min(_decimals(a), _decimals(b))
    # The sign before a number as well: from 5.00 m to ≤ 5.00 m is a change. The last digit of 0.5000001 is for binary
    # fractions: 1.25 beside 1.3.
    return math.isclose(_number(a), _number(b), abs_tol=0.5000001 * 10.0**-decimals) and _sign(a) == _sign(b)


def _sign(text: str) -> str:
    return text.split(" ")[0] if " " in text else ""


def _is_number(text: str) -> bool:
    return math.isfinite(_number(text))


def _number(text: str) -> float:
    # The sign of a bound stands before the number, after a blank.
    plain = text.rsplit(" ", 1)[-1].replace("−", "-").replace("+", "")
    try:
        return float(plain)
    except ValueError:
        return math.nan


def _decimals(text: str) -> int:
    return len(text.partition(".")[2])


def _changed(value: Value, was: str, now: str, reasons: Sequence[Reason]) -> ChangedValue:
    where = {name: value[name] for name in ("table", "row", "column", "unit")}
    return ChangedValue(**where, was=was or EMPTY_MARK, now=now or EMPTY_MARK, why=_why(value, reasons))


def _why(value: Value, reasons: Sequence[Reason]) -> str:
    """Return what explains a changed value.

    What was recorded of the pumping test whose table it is comes first; then what was of the well that the row is
    about; then what moved levels of the round, day or aquifer that row or table name; then what is of no single well;
    then whatever moved levels that it was worked out together with.
    """
    of_test = [reason.text for reason in reasons if reason.test and _is_of_test(value["table"], reason.test)]
    # The nearest cause first: the test of the table, then the well of the row, then the levels that a sum or map is
    # made of.
    if of_test:
        return _listed(of_test)
    names = _names_in(value["row"])
    own = [reason.text for reason in reasons if reason.well and reason.well in names]
    if own:
        return _listed(own)
    # Keys of tables hold the aquifer, the round or the day of their map.
    named = names | _names_in(value["table"].replace("-", ",")) | set(_DAY.findall(value["table"]))
    placed = [reason for reason in reasons if reason.places & named]
    shared = [reason.text for reason in reasons if not reason.well]
    if placed:
        return f"worked out from levels that moved or were added: {_listed([_of_well(one) for one in placed])}"
    if shared:
        return _listed(shared)
    others = [reason for reason in reasons if reason.places]
    if others:
        return f"worked out together with levels that moved or were added: {_listed([_of_well(one) for one in others])}"
    return "nothing recorded since explains it: another version of the program, or newer data"


def _is_of_test(table: str, test: str) -> bool:
    """Return whether a table is of a pumping test, by its key."""
    return table.startswith("pumping-") and table.endswith(f"-{test}")


def _names_in(text: str) -> set[str]:
    return {part.strip() for part in text.replace("(", ",").replace(")", ",").split(",")} - {""}


def _of_well(reason: Reason) -> str:
    return f"{reason.well}, {reason.text}" if reason.well else reason.text


def _listed(texts: Sequence[str]) -> str:
    once = list(dict.fromkeys(texts))
    more = f"; and {len(once) - _MOST_CAUSES} more" if len(once) > _MOST_CAUSES else ""
    return "; ".join(once[:_MOST_CAUSES]) + more
