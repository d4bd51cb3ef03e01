"""Quantities of logger files, their units, and how headings name both."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Final

from gwnet.errors import UnitError
from gwnet.store.columns import WIDEST
from gwnet.units import (
    METRES_PER_UNIT,
    PASCALS_PER_UNIT,
    TEMPERATURE_SCALES,
    length_unit,
    metres_per,
    pascals_per,
    pressure_unit,
    temperature_unit,
)

#: Quantities that a series can be of, and the kind of their units.
QUANTITIES: Final[dict[str, str]] = {
    "absolute pressure": "pressure",
    "water pressure": "pressure",
    "air pressure": "pressure",
    "sea-level pressure": "pressure",
    "water column": "length",
    "depth to water": "length",
    "water elevation": "length",
    "water temperature": "temperature",
    "air temperature": "temperature",
    "conductivity": "conductivity",
    "battery": "battery",
}

#: What no value of a quantity exceeds: Pa, m, degC; the unit of the column for the other kinds. No pressure is below a
#: vacuum; 2e8 Pa is the weight of 20 km of water. Lengths as in the tables.
_LIMITS: Final[dict[str, tuple[float, float]]] = {
    "absolute pressure": (0.0, 2e8),
    "air pressure": (0.0, 2e8),
    "sea-level pressure": (0.0, 2e8),
    "water pressure": (-1.1e5, 2e8),
    "water column": (-1_000.0, 13_000.0),
    "depth to water": (-1_000.0, 13_000.0),
    "water elevation": WIDEST["length"],
    "water temperature": (-273.15, 2_000.0),
    "air temperature": (-273.15, 2_000.0),
    "conductivity": (-1e7, 1e7),
    "battery": (-1e7, 1e7),
}

_LENGTHS: Final[dict[str, str]] = {
    **dict.fromkeys(("metre", "metres", "meter", "meters", "mtr"), "m"),
    **dict.fromkeys(("feet", "foot", "'"), "ft"),
    **dict.fromkeys(("centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
}
_PRESSURES: Final[dict[str, str]] = {
    **dict.fromkeys(("mb", "millibar", "millibars"), "mbar"),
    # The a and g say absolute or gauge, which the heading or the size of the values decides as for other units.
    **dict.fromkeys(("psia", "psig", "lb/in2", "lbf/in2"), "psi"),
    **dict.fromkeys(("mh2o", "mws", "m h2o", "mwc"), "mH2O"),
    **dict.fromkeys(("cmh2o", "cm h2o", "cmws", "cmwc"), "cmH2O"),
    **dict.fromkeys(("fth2o", "ft h2o"), "ftH2O"),
    **dict.fromkeys(("inh2o", "in h2o"), "inH2O"),
    **dict.fromkeys(("mmhg", "mm hg", "torr"), "mmHg"),
    **dict.fromkeys(("inhg", "in hg"), "inHg"),
}
_OTHERS: Final[dict[str, dict[str, str]]] = {
    "conductivity": {
        **dict.fromkeys(("us/cm", "µs/cm", "μs/cm", "microsiemens/cm", "umho/cm"), "uS/cm"),
        **dict.fromkeys(("ms/cm",), "mS/cm"),
        **dict.fromkeys(("s/m",), "S/m"),
    },
    "battery": {**dict.fromkeys(("v", "volt", "volts"), "V"), "mv": "mV", **dict.fromkeys(("%", "percent"), "%")},
}

#: A degree sign that went through a wrong encoding still leaves the letter behind it.
_DEGREES: Final = re.compile(r"(?:[^\x00-\x7f]{1,4}|\?|deg\.?|degrees?)?\s*(c|f|celsius|fahrenheit)", re.IGNORECASE)


def unit_of(word: str, quantity: str) -> str | None:
    """Return the unit of a quantity that a word stands for.

    Parameters
    ----------
    word : str
        The word, as in a heading.
    quantity : str
        One of `QUANTITIES`.

    Returns
    -------
    str or None
        The unit's name, None where the word is none of that quantity's units.

    Examples
    --------
    >>> unit_of("PSI", "absolute pressure"), unit_of("Â°F", "water temperature"), unit_of("kPa", "water column")
    ('psi', 'degF', None)
    """
    plain = " ".join(word.strip().split())
    kind = QUANTITIES[quantity]
    try:
        if kind == "temperature":
            match = _DEGREES.fullmatch(plain)
            return temperature_unit(match[1] if match else plain)
        if kind == "pressure":
            return pressure_unit(_PRESSURES.get(plain.lower(), plain))
        if kind == "length":
            return length_unit(_LENGTHS.get(plain.lower(), plain))
    except UnitError:
        return None
    return _OTHERS[kind].get(plain.lower())


def units_of(quantity: str) -> list[str]:
    """Return the names of the units that values of a quantity may be in.

    Examples
    --------
    >>> units_of("battery")
    ['V', 'mV', '%']
    """
    kind = QUANTITIES[quantity]
    known = {
        "pressure": list(PASCALS_PER_UNIT),
        "length": list(METRES_PER_UNIT),
        "temperature": list(TEMPERATURE_SCALES),
        **{name: list(dict.fromkeys(words.values())) for name, words in _OTHERS.items()},
    }
    return known[kind]


@cache
def limits_of(quantity: str, unit: str) -> tuple[float, float]:
    """Return what no value of a quantity exceeds.

    Parameters
    ----------
    quantity : str
        One of `QUANTITIES`.
    unit : str
        Unit of the values.

    Returns
    -------
    tuple of float
        Lowest and highest value, in that unit.

    Examples
    --------
    >>> limits_of("absolute pressure", "kPa"), limits_of("water temperature", "degF")[1]
    ((0.0, 200000.0), 3632.0)
    """
    lowest, highest = _LIMITS[quantity]
    kind = QUANTITIES[quantity]
    if kind == "temperature":
        at_zero, per_degree = TEMPERATURE_SCALES[unit]
        return lowest * per_degree + at_zero, highest * per_degree + at_zero
    factor = {"pressure": pascals_per, "length": metres_per}.get(kind, lambda _: 1.0)(unit)
    return lowest / factor, highest / factor


#: Words of a heading and the quantity that they name; the first that fits holds. English and German trade words.
_NAMES: Final[tuple[tuple[str, str], ...]] = (
    (r"batter|supply volt|spannung", "battery"),
    (r"conductiv|leitf|spec\w*\.? cond|\bec\b", "conductivity"),
    (r"(air|lufts?)[\s_-]*(temp)", "air temperature"),
    (r"temp|wassertemp", "water temperature"),
    (
        r"sea[\s_-]*level[\s_-]*pres|pres\w*[\s_-]*(at )?(mean )?sea[\s_-]*level|\b(qnh|qff|slp|mslp)\b",
        "sea-level pressure",
    ),
    (r"baro|atmos|(air|luft)[\s_-]*(pres|druck)", "air pressure"),
    (r"pressure head|druckh[öo]he", "water column"),
    (r"abs\w*[\s_.-]*(pres|druck)|(pres\w*|druck)[\s_.-]*abs", "absolute pressure"),
    (r"(gau?ge|vented|rel\w*|diff\w*|water|hydrostatic)[\s_.-]*(pres|druck)|wasserdruck", "water pressure"),
    (
        r"water[\s_-]*(column|height)|height[\s_-]*of[\s_-]*water|submergence|wassers[äa]ule"
        r"|(level|head|height|water) (above|over) (the )?(sensor|logger|probe|transducer)",
        "water column",
    ),
    (r"depth[\s_-]*to[\s_-]*(ground)?water|\bdtw\b|abstich", "depth to water"),
    (
        r"(water|head|level)[\s_-]*elev|elev\w*[\s_-]*(of)?[\s_-]*water|groundwater[\s_-]*(level|head)|\bhead\b"
        r"|(grund)?wasserst(and|d)|gw[\s_-]*stand",
        "water elevation",
    ),
)
_NAME_PATTERNS: Final = tuple((re.compile(words, re.IGNORECASE), quantity) for words, quantity in _NAMES)

#: Headings that name a pressure or a level, and not of what.
_VAGUE: Final = re.compile(r"pres|druck|level|stage|depth|tiefe|pegel", re.IGNORECASE)

#: Depths that are none of water seen from a sensor.
_OTHER_DEPTHS: Final = re.compile(
    r"below|under (land|ground)|unter|bottom|hole|(well|screen|pump)[\s-]*depth|sohle", re.IGNORECASE
)

_TIME_WORDS: Final = re.compile(
    r"\b(date|time|datetime|timestamp|utc|gmt|datum|zeit|uhrzeit|zeitstempel)(?=\b|_|[\s,(\[])|date.?time|^(time|date|datum)",
    re.IGNORECASE,
)
_ELAPSED_WORDS: Final = re.compile(
    r"elapsed|since start|run ?time|verstrichen|laufzeit|^t\s*[\[(](?:s|min|h|d)[\])]$", re.IGNORECASE
)
_NUMBER_WORDS: Final = re.compile(
    r"#|(?:no|nr|lfd|rec|record|row|index|sample|scan|reading|messung|datensatz)\.?\s*(?:#|no|nr|number|nummer)?\.?",
    re.IGNORECASE,
)
_SERIAL_WORDS: Final = re.compile(r"serial|serien|\bs/?n\b|\bsn\b", re.IGNORECASE)


@dataclass(frozen=True)
class Named:
    """What a heading says.

    Attributes
    ----------
    quantity : str
        The quantity; empty where it does not say.
    unit : str
        The unit; empty where it does not say.
    vague : bool
        Whether it names a pressure or level without saying of what.
    """

    quantity: str
    unit: str
    vague: bool = False


def read_heading(heading: str, unit_cell: str = "") -> Named:
    """Return the quantity and unit that a heading names.

    Parameters
    ----------
    heading : str
        Heading as written.
    unit_cell : str, optional
        Cell of the line of units below it.

    Examples
    --------
    >>> read_heading("Abs Pres, psi (sensor 12)")
    Named(quantity='absolute pressure', unit='psi', vague=False)
    """
    # An underscore counts as a letter in patterns, so that no word would end at it.
    plain = heading.replace("_", " ")
    quantity = next((name for words, name in _NAME_PATTERNS if words.search(plain)), "")
    if quantity:
        unit = heading_unit(heading, quantity, unit_cell)
        # A level in a unit of pressure is a pressure of something, whatever its heading calls it.
        if unit or QUANTITIES[quantity] != "length" or not heading_unit(heading, "water pressure", unit_cell):
            return Named(quantity, unit)
    vague = _VAGUE.search(heading) is not None and _OTHER_DEPTHS.search(plain) is None
    pressure = heading_unit(heading, "water pressure", unit_cell, strict=not vague)
    if pressure:
        return Named("", pressure, vague=True)
    length = heading_unit(heading, "water column", unit_cell) if vague else ""
    return Named("", length, vague)


def heading_unit(heading: str, quantity: str, unit_cell: str = "", *, strict: bool = False) -> str:
    """Return the unit of a quantity that stands in a heading, empty for none.

    Parameters
    ----------
    heading : str
        Heading as written.
    quantity : str
        Its quantity.
    unit_cell : str, optional
        Cell of the line of units below it.
    strict : bool, optional
        Whether the unit must stand in brackets or after a comma.

    Returns
    -------
    str
        The unit's name.

    Examples
    --------
    >>> heading_unit("Temp, °C", "water temperature"), heading_unit("depth_m", "depth to water")
    ('degC', 'm')
    """
    candidates = [unit_cell.strip().strip("[]()")] if unit_cell.strip() else []
    for inside in re.findall(r"[\[(]([^\[\]()]*)[\])]", heading):
        candidates += [inside, *inside.split()[:1]]
    # Brackets before commas, and words last: the last word of a heading is a unit by chance more easily.
    candidates += [part.split("(")[0].split("[")[0] for part in heading.split(",")[1:]]
    candidates += [part.strip().split(" ")[0] for part in candidates[len(candidates) - heading.count(",") :]]
    if not strict:
        candidates += [heading.rsplit("_", 1)[-1]] if "_" in heading else []
        candidates += heading.rsplit(" ", 1)[-1:] if " " in heading.strip() else []
    for candidate in candidates:
        unit = unit_of(candidate, quantity) if candidate.strip() else None
        if unit:
            return unit
    return ""


def names_time(heading: str) -> bool:
    """Return whether a heading names a date or a time.

    Examples
    --------
    >>> names_time("Date Time, GMT-07:00"), names_time("Temp")
    (True, False)
    """
    return bool(_TIME_WORDS.search(heading))


def is_note(cell: str) -> bool:
    """Return whether a cell right of the headings holds words, and no number that may be of a column.

    Examples
    --------
    >>> is_note("pump on"), is_note("9.81"), is_note("9.81 psi")
    (True, False, False)
    """
    return re.search(r"[^\W\d_]{2}", cell) is not None and re.match(r"\s*[+-]?[.,]?\d", cell) is None


def counts_by_heading(heading: str) -> int:
    """Return 1 for a heading of elapsed time, 2 for one of record numbers, 0 for others.

    Examples
    --------
    >>> counts_by_heading("Elapsed (s)"), counts_by_heading("#"), counts_by_heading("Temp")
    (1, 2, 0)
    """
    if _ELAPSED_WORDS.search(heading):
        return 1
    return 2 if _NUMBER_WORDS.fullmatch(heading.strip()) else 0


def names_serial(heading: str) -> bool:
    """Return whether a heading names a serial number; what stands in brackets behind other words does not count."""
    return bool(_SERIAL_WORDS.search(re.split(r"[(\[]", heading)[0]))


def absolute_or_not(lowest_pa: float, highest_pa: float) -> tuple[str, str]:
    """Return what a pressure without a name must be by its size, and why.

    Parameters
    ----------
    lowest_pa, highest_pa : float
        Its range [Pa].

    Returns
    -------
    tuple of str
        Quantity, empty where the size does not tell; and the reason.

    Notes
    -----
    Air pressure at the ground is 50 to 109 kPa from the highest dwellings to the lowest shores (common practice, no
    source), so what goes below 50 kPa does not hold the air, and what never leaves 50 to 109 kPa may be either.
    """
    if lowest_pa < 50_000.0:
        return "water pressure", "its values go below any pressure of the air, so the air is not in them"
    if highest_pa > 109_000.0:
        return "absolute pressure", "its values never go below the pressure of the air, and rise above it"
    return "", "its values could be of air, of water with air, or of water alone"


#: Headings of columns that say which well or instrument a row is of.
_WELL_WORDS: Final = re.compile(
    r"(?:^|[\W_])(?:well|site|station|location|point|sensor|instrument|logger|bore|borehole|id|name)(?:$|[\W_])"
    r"|messstelle",
    re.IGNORECASE,
)


def names_well(heading: str) -> bool:
    """Return whether a heading says that its column names the well or instrument of each row.

    Examples
    --------
    >>> names_well("station"), names_well("sensor temperature [degC]")
    (True, False)
    """
    named = read_heading(heading)
    return bool(_WELL_WORDS.search(heading)) and not (named.quantity or named.vague or names_serial(heading))
