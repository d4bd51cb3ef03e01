"""Which columns of an unknown logger file hold which quantity, by their headings and their numbers."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field, replace
from typing import Final

from gwnet.ingest.loggers.columns import numbers_of
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_shape import Shape, reference
from gwnet.ingest.loggers.layout import MISSING, ValueRule
from gwnet.ingest.loggers.words import (
    QUANTITIES,
    Named,
    absolute_or_not,
    heading_unit,
    names_serial,
    names_well,
    read_heading,
    unit_of,
)
from gwnet.units import metres_per, to_pascals

#: Numbers that instruments write for no value.
_SENTINELS: Final = re.compile(r"-(?:9{3,6}|6999|7999)(?:[.,]9*0*)?|9{5,6}(?:[.,]9*0*)?")


#: What the air weighs at the ground as a height of water, from high valleys to the shore (common practice, no source)
#: [m].
AIR_AS_WATER_M: Final[tuple[float, float]] = (8.5, 11.0)

#: Heights of water as units of pressure.
WATER_UNITS: Final[dict[str, str]] = {"m": "mH2O", "cm": "cmH2O", "ft": "ftH2O"}


@dataclass
class Guessed:
    """Columns of values as they were inferred.

    Attributes
    ----------
    rules : tuple of gwnet.ingest.loggers.layout.ValueRule
        The columns of values.
    places : list of int
        Their places.
    passed : list of int
        Places of columns of numbers that were passed over.
    select : int or None
        Place of the column that says which well or instrument a row is of, where there are several.
    missing : tuple of str
        Words for no value.
    wanted : str
        Quantity that is asked for.
    pressure : str
        What a pressure is by the kind of the instrument; empty where that is not known.
    as_water : bool
        Whether the pressure that is asked for can only be a height of water.
    notes : Notes
        Takes reasons and doubts.
    """

    notes: Notes

    rules: tuple[ValueRule, ...] = ()
    places: list[int] = field(default_factory=list)
    passed: list[int] = field(default_factory=list)
    select: int | None = None
    missing: tuple[str, ...] = ()
    wanted: str = ""
    pressure: str = ""
    length_unit: str = ""
    as_water: bool = False


def find_values(
    shape: Shape,
    times: tuple[int, ...],
    marks: tuple[str, str],
    notes: Notes,
    wanted: str = "",
    of_instrument: tuple[str, str] = ("", ""),
) -> Guessed:
    """Find the columns of values.

    Parameters
    ----------
    shape : gwnet.ingest.loggers.guess_shape.Shape
        The table.
    times : tuple of int
        Places of the time.
    marks : tuple of str
        Decimal mark and mark of thousands of its numbers.
    notes : Notes
        Takes reasons and doubts.
    wanted : str, optional
        Quantity that is asked for; the one column of such a unit is taken to be this.
    of_instrument : tuple of str, optional
        What a pressure is, and the unit of a length, that the heading leaves open, by the instrument.

    Returns
    -------
    Guessed
        Columns and words for no value.
    """
    guessed = Guessed(notes, wanted=wanted, pressure=of_instrument[0], length_unit=of_instrument[1])
    decimal, thousands = marks
    units = [read_heading(name, unit).unit for name, unit in zip(shape.names, shape.units, strict=True)]
    is_pressure = QUANTITIES.get(wanted) == "pressure"
    # A pressure may be asked for of a height of water only where no column is in a unit of pressure.
    guessed.as_water = is_pressure and not any(unit and unit_of(unit, "water pressure") for unit in units)
    rules: dict[str, ValueRule] = {}
    for place, name in enumerate(shape.names):
        if place in times or names_serial(name):
            continue
        cells = [row[place] for row in shape.rows if len(row) > place]
        numbers = numbers_of((cell.replace(thousands, "") if thousands else cell for cell in cells), decimal)
        _select(guessed, shape, place, cells)
        if not numbers or place == guessed.select:
            continue
        named = read_heading(name, shape.units[place])
        rule = _rule(guessed, shape, place, named, numbers)
        if rule is None:
            guessed.passed.append(place)
        elif rule.quantity in rules:
            guessed.passed.append(place)
            guessed.notes.add(doubt=f"column {name!r} gives the {rule.quantity} once more and was passed over")
        else:
            rules[rule.quantity] = rule
            guessed.places.append(place)
            _missing(guessed, name, cells, decimal)
    guessed.rules = tuple(_as_wanted(guessed, list(rules.values())))
    if not rules and wanted:
        rules = _asked(guessed, shape, times, marks)
        guessed.rules = tuple(rules.values())
    if not rules:
        guessed.notes.add(doubt="no column could be recognized as a quantity: name the columns under [[columns]]")
    return guessed


def _asked(guessed: Guessed, shape: Shape, times: tuple[int, ...], marks: tuple[str, str]) -> dict[str, ValueRule]:
    """Return the only column of numbers in a unit of the quantity that is asked for, whatever else its heading says."""
    fitting = [
        (place, name)
        for place, name in enumerate(shape.names)
        if place not in times
        and heading_unit(name, guessed.wanted, shape.units[place])
        and numbers_of([row[place].replace(marks[1] or "\0", "") for row in shape.rows if len(row) > place], marks[0])
    ]
    # Of several, a wrong one would be stored under a right name.
    if len(fitting) != 1:
        return {}
    place, name = fitting[0]
    guessed.notes.add(f"column {name!r} was taken as {guessed.wanted}, as asked for")
    guessed.passed = [other for other in guessed.passed if other != place]
    guessed.places.append(place)
    unit = "" if heading_unit(name, guessed.wanted) else heading_unit(name, guessed.wanted, shape.units[place])
    return {guessed.wanted: ValueRule(guessed.wanted, reference(shape, place), unit)}


def _as_wanted(guessed: Guessed, rules: list[ValueRule]) -> list[ValueRule]:
    """Return the columns, the only one of the kind that is asked for named so."""
    if not guessed.wanted or guessed.wanted in {rule.quantity for rule in rules}:
        return rules
    same = [rule for rule in rules if QUANTITIES[rule.quantity] == QUANTITIES[guessed.wanted]]
    if len(same) != 1:
        return rules
    guessed.notes.add(f"column {same[0].column!r} was taken as {guessed.wanted}, as asked for")
    return [replace(rule, quantity=guessed.wanted) if rule is same[0] else rule for rule in rules]


def _rule(guessed: Guessed, shape: Shape, place: int, named: Named, numbers: list[float]) -> ValueRule | None:
    """Return what a column of numbers is, None where its heading names nothing."""
    name = shape.names[place]
    quantity = named.quantity
    if quantity == "absolute pressure" and guessed.pressure == "air pressure":
        quantity = guessed.pressure
        guessed.notes.add(f"column {name!r} was taken as air pressure, as its instrument is a barometer")
    if guessed.as_water and named.unit in WATER_UNITS and (quantity == "water column" or named.vague):
        quantity = guessed.wanted
        guessed.notes.add(f"column {name!r} was taken as {quantity}, in {named.unit} of water, as asked for")
    elif not quantity and named.vague and named.unit:
        quantity = _vague(guessed, name, named.unit, numbers)
    if not quantity:
        if named.vague:
            guessed.notes.add(
                doubt=f"column {name!r} was passed over: its heading says neither of what it is nor its unit"
            )
        else:
            guessed.notes.add(f"column {name!r} was passed over: its heading names no quantity with its unit")
        return None
    unit = WATER_UNITS.get(named.unit, named.unit) if QUANTITIES[quantity] == "pressure" else named.unit
    if not unit and guessed.length_unit and unit_of(guessed.length_unit, quantity):
        guessed.notes.add(f"column {name!r} is {quantity} in {guessed.length_unit}, the unit of the instrument")
        return ValueRule(quantity, reference(shape, place), guessed.length_unit)
    if not unit:
        guessed.notes.add(doubt=f"column {name!r} is {quantity}, and its unit is not said: give it under [[columns]]")
    else:
        guessed.notes.add(f"column {name!r} is {quantity} in {unit}, by its heading")
        _plausible(guessed, name, quantity, unit, numbers)
    # The unit goes into the layout only where its heading does not say it, so that the layout reads files in other
    # units.
    own = heading_unit(name, quantity, shape.units[place] if shape.units_below else "")
    return ValueRule(quantity, reference(shape, place), "" if own and unit == named.unit else unit)


def _vague(guessed: Guessed, name: str, unit: str, numbers: list[float]) -> str:
    """Return what a column is whose heading does not say it."""
    if guessed.wanted and unit_of(unit, guessed.wanted):
        return guessed.wanted
    if guessed.pressure and unit_of(unit, guessed.pressure):
        guessed.notes.add(f"column {name!r} was taken as {guessed.pressure}, by the kind of its instrument on record")
        return guessed.pressure
    if unit_of(unit, "water pressure") is None:
        if guessed.pressure == "absolute pressure" and _holds_air(numbers, unit):
            guessed.notes.add(
                f"column {name!r} was taken as absolute pressure, in {unit} of water: its instrument is absolute, and "
                f"it goes no lower than {min(numbers):g} {unit}"
            )
            return guessed.pressure
        guessed.notes.add(
            doubt=f"column {name!r} does not say of what it is; it was taken as water column, the height of water over "
            "the sensor: check that it is no depth to water and no elevation"
        )
        return "water column"
    pressure, why = absolute_or_not(*(to_pascals(edge, unit) for edge in (min(numbers), max(numbers))))
    if pressure:
        guessed.notes.add(f"column {name!r} was taken as {pressure}: {why}")
    quantity = pressure or "absolute pressure"
    guessed.notes.add(
        doubt=f"the heading {name!r} does not say whether the pressure is absolute or of the water alone: "
        "--series 'absolute pressure' or 'water pressure' says it"
    )
    return quantity


def _plausible(guessed: Guessed, name: str, quantity: str, unit: str, numbers: list[float]) -> None:
    """Doubt a quantity that its numbers contradict, unless it was asked for."""
    if guessed.wanted and QUANTITIES[guessed.wanted] == QUANTITIES[quantity]:
        return
    if quantity == "absolute pressure":
        lowest, highest = (to_pascals(edge, unit) for edge in (min(numbers), max(numbers)))
        # Half an atmosphere is the pressure at 5.5 km above the sea.
        if lowest < 50_000.0:
            guessed.notes.add(
                doubt=f"column {name!r} goes down to {min(numbers):g} {unit}, less than air pressure can be"
            )
        # The highest air pressure ever measured is about 1085 hPa (from memory).
        elif highest < 109_000.0:
            guessed.notes.add(
                f"column {name!r} never leaves the range of air pressure; if it is of a barometer, "
                "--series 'air pressure' says so"
            )
    elif quantity == "water column" and _holds_air(numbers, unit):
        guessed.notes.add(
            doubt=f"column {name!r} goes no lower than {min(numbers):g} {unit}, about the height of water that the air "
            "weighs (8.5 to 11 m): if the air is in it, --series 'absolute pressure' says so"
        )
    elif QUANTITIES[quantity] == "temperature" and not -60.0 < min(numbers) <= max(numbers) < 140.0:
        guessed.notes.add(doubt=f"column {name!r} holds {min(numbers):g} to {max(numbers):g} {unit}")


def _holds_air(numbers: list[float], unit: str) -> bool:
    """Return whether a height of water may hold the weight of the air: at least that much, and no more at its least."""
    lowest, highest = AIR_AS_WATER_M
    return lowest <= min(numbers) * metres_per(unit) <= highest


def _select(guessed: Guessed, shape: Shape, place: int, cells: list[str]) -> None:
    """Note a column that says which well or instrument a row is of, where it has several."""
    name = shape.names[place]
    distinct = Counter(cell for cell in cells if cell)
    # A name that stands in few rows each is an event or a note, not a well.
    several = 1 < len(distinct) <= max(2, len(cells) // 3)
    if guessed.select is None and several and names_well(name) and not re.search(r"_?nr$|row", name):
        guessed.select = place
        shown = ", ".join(list(distinct)[:6])
        guessed.notes.add(f"the file is of several wells or instruments: column {name!r} has {shown}")


def _missing(guessed: Guessed, name: str, cells: list[str], decimal: str) -> None:
    """Note words in a column of numbers that stand for no value."""
    words = Counter(cell for cell in cells if cell and cell not in MISSING and not numbers_of([cell], decimal))
    frequent = [word for word, count in words.most_common(5) if re.search(r"[^\W\d_]|[*?#-]", word) and len(word) <= 20]
    # In a short file one word may be a slip of a hand.
    frequent = [word for word in frequent if words[word] > 1 or len(cells) > 20]
    sentinels = [word for word in dict.fromkeys(cells) if _SENTINELS.fullmatch(word)]
    new = [word for word in (*frequent, *sentinels) if word not in guessed.missing]
    if new:
        guessed.missing = (*guessed.missing, *new)
        guessed.notes.add(doubt=f"{', '.join(map(repr, new))} in column {name!r} was taken as no value")
