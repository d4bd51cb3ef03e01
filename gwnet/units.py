"""Units: conversion of lengths to metres and the unit words that files may use.

Lengths only for now; pressure and temperature join with the loggers.
"""

from __future__ import annotations

from typing import Final

from gwnet.errors import UnitError

#: Metres in one unit of length. Foot: 0.3048 m exactly; US survey foot: 1200/3937 m exactly
#: (85 FR 62698, 5 October 2020).
METRES_PER_UNIT: Final[dict[str, float]] = {
    "m": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "ft": 0.3048,
    "ftUS": 1200.0 / 3937.0,
}

#: Units that results can be printed in.
DISPLAY_UNITS: Final[tuple[str, ...]] = ("m", "ft")


def length_unit(word: str) -> str:
    """Return the canonical name of a unit of length.

    Parameters
    ----------
    word : str
        Unit as written in a heading or a settings cell; surrounding blanks and letter case do not matter.

    Returns
    -------
    str
        One of ``m``, ``cm``, ``mm``, ``ft`` (international foot), ``ftUS`` (US survey foot).

    Raises
    ------
    UnitError
        If the word is not one of these; inches are named in the message.

    Examples
    --------
    >>> length_unit(" FT ")
    'ft'
    """
    wanted = word.strip().lower()
    for unit in METRES_PER_UNIT:
        if unit.lower() == wanted:
            return unit
    known = ", ".join(METRES_PER_UNIT)
    hint = " Give decimal feet, never inches." if wanted in {"in", "inch", "inches", '"'} else ""
    message = f"Unknown unit of length {word!r}; expected one of {known}."
    raise UnitError(message, mend=f"Write the unit in square brackets in the heading, for example [ft].{hint}")


def metres_per(unit: str) -> float:
    """Return how many metres one unit is.

    Parameters
    ----------
    unit : str
        Canonical unit name.

    Returns
    -------
    float
        Metres in one unit [m].

    Raises
    ------
    UnitError
        If the unit is not known.

    Notes
    -----
    The international foot is 0.3048 m and the US survey foot 1200/3937 m, both exactly (85 FR 62698, 2020).

    Examples
    --------
    >>> metres_per("ft")
    0.3048
    """
    return METRES_PER_UNIT[length_unit(unit)]
