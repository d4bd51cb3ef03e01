"""What the numbers of a table say about each other: which elevation less which depth is which elevation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

#: Rows in which a relation must hold, and how far it may be off: rounding of three numbers to a hundredth.
_LEAST_ROWS: Final = 3
_LEAST_SHARE: Final = 0.8
_TOLERANCE: Final = 0.0151

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Relation:
    """That one column less another is a third.

    Attributes
    ----------
    whole, part, rest : int
        Places of the columns: whole - part = rest.
    rows, held : int
        Rows in which all three are filled, and in which it holds.
    sign : int
        1; -1 where the part counts the other way: whole + part = rest.
    """

    whole: int
    part: int
    rest: int
    rows: int
    held: int
    sign: int = 1


def find_relation(columns: dict[int, Floats], whole: int, part: int, rest: int) -> Relation | None:
    """Return the relation of three columns where it holds in most rows, None where it does not.

    Parameters
    ----------
    columns : dict of int to numpy.ndarray
        Numbers of each column by its place, NaN for empty.
    whole, part, rest : int
        Places of the three.

    Returns
    -------
    Relation or None
        With rows and how many hold it.
    """
    one, two, three = columns[whole], columns[part], columns[rest]
    filled = ~(np.isnan(one) | np.isnan(two) | np.isnan(three))
    count = int(filled.sum())
    if count < _LEAST_ROWS:
        return None
    # Some sources count depths upward.
    for sign in (1, -1):
        held = int((np.abs(one - sign * two - three)[filled] <= _TOLERANCE).sum())
        # Any two columns that differ by a constant fit one that never changes.
        moving = np.ptp(two[filled]) > _TOLERANCE or count < 10
        if held >= _LEAST_SHARE * count and moving:
            return Relation(whole, part, rest, count, held, sign)
    return None
