"""What the lines above the table of an unknown logger file say: units of its columns, and when elapsed times begin."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_shape import Shape
from gwnet.ingest.loggers.guess_times import Form, StampSurvey, looks_like_stamp
from gwnet.ingest.loggers.words import read_heading, unit_of

#: Pattern of the start of elapsed times, which a proposed layout gives on to other files of its kind.
START_PATTERN: Final = r'(?i)\b(?:start|begin|beginn|launch)\w*\b[^:=;,\t\d]*[:=;,\t]\s*"?([^";]*?\d)"?[\s,;]*$'

_UNIT_LINE: Final = re.compile(r"(?i)^(.*?)\b(?:units?|einheit(?:en)?)\b\s*[:=,;\t]\s*(.+)$")
_AROUND: Final = " \t,;:\"'"

#: Lines below the name of a column in which its unit may stand.
_REACH: Final = 3


def fill_units(shape: Shape, notes: Notes) -> None:
    """Fill the units of columns that stand in the lines above the table.

    Parameters
    ----------
    shape : gwnet.ingest.loggers.guess_shape.Shape
        The table; its units are filled.
    notes : Notes
        Takes reasons.
    """
    lines = [line.strip(_AROUND) for line in shape.above()[:-1]]
    said = [
        (n, match[1].strip(_AROUND), match[2].strip(_AROUND))
        for n, line in enumerate(lines)
        if (match := _UNIT_LINE.match(line))
    ]
    for place, name in enumerate(shape.names):
        named = read_heading(name, shape.units[place])
        if named.unit or not (named.quantity or named.vague):
            continue
        # A unit that names no column may be of any of the same kind, so it must be the only one that fits.
        unit = _by_name(name, lines, said) or _only_fitting(
            named.quantity, [text for _, before, text in said if not before]
        )
        if unit and _fits(unit, named.quantity):
            shape.units[place] = unit
            notes.add(f"the unit of column {name!r} is {unit!r}, above the table")


def _by_name(name: str, lines: Sequence[str], said: Sequence[tuple[int, str, str]]) -> str:
    """Return the unit beside or below a line with the name of a column; empty for none."""
    plain = name.casefold()
    for place, before, text in said:
        above = [line.casefold() for line in lines[max(place - _REACH, 0) : place]]
        named = re.sub(r"(?i)^(?:channel|kanal|column|spalte|sensor)\s*\d*\s*[:.=-]\s*", "", before).casefold()
        if plain in (before.casefold(), named.strip(_AROUND)) or (not before and plain in above):
            return text
    for line in lines:
        head, _, rest = line.partition(":" if ":" in line else "=")
        if head.strip(_AROUND).casefold() == plain:
            return rest.strip(_AROUND)
    return ""


def _fits(text: str, quantity: str) -> bool:
    kinds = (quantity,) if quantity else ("water pressure", "water column")
    return any(unit_of(text, kind) for kind in kinds)


def _only_fitting(quantity: str, units: Sequence[str]) -> str:
    """Return the only unit that fits a quantity; empty where there are none or several."""
    fitting = list(dict.fromkeys(text for text in units if _fits(text, quantity)))
    return fitting[0] if len(fitting) == 1 else ""


def find_start(shape: Shape, notes: Notes) -> Form:
    """Return how the start of elapsed times is written above the table; no formats where none is there.

    Parameters
    ----------
    shape : gwnet.ingest.loggers.guess_shape.Shape
        The table.
    notes : Notes
        Takes reasons and doubts.
    """
    pattern = re.compile(START_PATTERN)
    for line in shape.above():
        match = pattern.search(line)
        text = match[1].strip() if match else ""
        if looks_like_stamp(text):
            survey = StampSurvey()
            survey.add(text)
            notes.add(f"elapsed times begin at {text!r}, above the table")
            return survey.infer_form(notes)
    notes.add(doubt="nothing above the table says when its elapsed times begin: give start under [time]")
    return Form()
