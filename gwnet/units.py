"""Units: lengths to metres, pressures to pascals, temperatures to degrees Celsius, and the words that files may use."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Final, Literal, TypeVar

from gwnet.errors import UnitError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: A number, or an array of numbers that is converted element by element.
Numbers = TypeVar("Numbers", float, "NDArray[np.floating[Any]]")

#: Metres in one unit of length. Foot: 0.3048 m exactly; US survey foot: 1200/3937 m exactly
#: (85 FR 62698, 5 October 2020).
METRES_PER_UNIT: Final[dict[str, float]] = {
    "m": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "ft": 0.3048,
    "ftUS": 1200.0 / 3937.0,
}

#: A signed length in metres within a sentence, and any length.
_LENGTH_IN_TEXT: Final = re.compile(r"(?<![\w.])([+-]\d+\.\d+) m\b(?!/)")
_ANY_LENGTH_IN_TEXT: Final = re.compile(r"(?<![\w.])([+-]?\d+\.\d+) m\b(?!/)")

#: Standard gravity [m/s2]; 3rd CGPM (1901), exact.
_STANDARD_GRAVITY: Final[float] = 9.80665

#: Pascals in one conventional metre of water: 1000 kg/m3 under standard gravity, exactly.
_METRE_OF_WATER: Final[float] = 1000.0 * _STANDARD_GRAVITY

#: Pascals in one conventional millimetre of mercury: 13595.1 kg/m3 under standard gravity, exactly.
_MILLIMETRE_OF_MERCURY: Final[float] = 13.5951 * _STANDARD_GRAVITY

#: Pascals in one unit of pressure. Exact by definition: bar 100 kPa; psi = 0.45359237 kg x 9.80665 m/s2 / (0.0254 m)2
#: (pound and inch of 1959); standard atmosphere 101325 Pa (10th CGPM, 1954); conventional columns of water
#: (1000 kg/m3) and of mercury (13595.1 kg/m3) under 9.80665 m/s2 (NIST SP 811, appendix B; from memory). A foot of
#: water of 39.2 degF, also in use, is 2988.98 Pa there; 0.003 % less than the conventional one here.
PASCALS_PER_UNIT: Final[dict[str, float]] = {
    "Pa": 1.0,
    "hPa": 100.0,
    "kPa": 1000.0,
    "mbar": 100.0,
    "bar": 100_000.0,
    "dbar": 10_000.0,
    "psi": 0.45359237 * _STANDARD_GRAVITY / 0.0254**2,
    "atm": 101_325.0,
    "mH2O": _METRE_OF_WATER,
    "cmH2O": 0.01 * _METRE_OF_WATER,
    "ftH2O": 0.3048 * _METRE_OF_WATER,
    "inH2O": 0.0254 * _METRE_OF_WATER,
    "mmHg": _MILLIMETRE_OF_MERCURY,
    "inHg": 25.4 * _MILLIMETRE_OF_MERCURY,
}

#: For each unit of temperature, the reading at 0 degC and the degrees of that unit in one degree Celsius.
#: Fahrenheit: t_F = 1.8 t_C + 32, exactly (NIST SP 811, appendix B).
TEMPERATURE_SCALES: Final[dict[str, tuple[float, float]]] = {"degC": (0.0, 1.0), "degF": (32.0, 1.8)}

#: Other spellings of the units of temperature, in lower case.
_TEMPERATURE_WORDS: Final[dict[str, str]] = {
    **dict.fromkeys(("degc", "°c", "deg c", "c", "celsius", "℃"), "degC"),
    **dict.fromkeys(("degf", "°f", "deg f", "f", "fahrenheit", "℉"), "degF"),
}

#: Minutes in one unit of time, exactly.
MINUTES_PER_UNIT: Final[dict[str, float]] = {"min": 1.0, "s": 1.0 / 60.0, "h": 60.0, "d": 1440.0}

MINUTES_PER_DAY: Final = 1_440.0
SECONDS_PER_DAY: Final = 86_400.0

#: Litres per second in one unit of a rate of pumping. US gallon 231 in3, inch 25.4 mm, foot 0.3048 m, all exactly
#: (NIST SP 811, appendix B; from memory).
LITRES_PER_SECOND_PER_UNIT: Final[dict[str, float]] = {
    "L/s": 1.0,
    "L/min": 1.0 / 60.0,
    "m3/s": 1000.0,
    "m3/min": 1000.0 / 60.0,
    "m3/h": 1000.0 / 3600.0,
    "m3/d": 1000.0 / 86_400.0,
    "gal/min": 231.0 * 0.0254**3 * 1000.0 / 60.0,
    "ft3/s": 0.3048**3 * 1000.0,
    "ft3/min": 0.3048**3 * 1000.0 / 60.0,
    "ft3/d": 0.3048**3 * 1000.0 / 86_400.0,
}

#: Other spellings of units of time and of rates, in lower case.
_TIME_WORDS: Final[dict[str, str]] = {
    **dict.fromkeys(("minute", "minutes", "mins"), "min"),
    **dict.fromkeys(("sec", "second", "seconds"), "s"),
    **dict.fromkeys(("hr", "hour", "hours"), "h"),
    **dict.fromkeys(("day", "days"), "d"),
}
_RATE_WORDS: Final[dict[str, str]] = {
    **dict.fromkeys(("gpm", "us gal/min", "usgpm"), "gal/min"),
    **dict.fromkeys(("cfs",), "ft3/s"),
    **{name.lower().replace("m3", "m³"): name for name in ("m3/s", "m3/min", "m3/h", "m3/d")},
    **{name.lower().replace("ft3", "ft³"): name for name in ("ft3/s", "ft3/min", "ft3/d")},
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
    hint = " Give decimal feet, never inches." if word.strip().lower() in {"in", "inch", "inches", '"'} else ""
    fix = f"Write the unit in square brackets in the heading, for example [ft].{hint}"
    return _named(word, "length", METRES_PER_UNIT, fix=fix)


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


def text_in_unit(text: str, unit: str, *, signed_only: bool = True) -> str:
    """Return a sentence with its signed lengths, such as shifts, or with every length in another unit.

    Parameters
    ----------
    text : str
        The sentence, with lengths in metres.
    unit : str
        Unit of length of the answer.
    signed_only : bool, optional
        Whether lengths without a sign stay as they are: in many sentences they are numbers of the source.

    Returns
    -------
    str
        For example ``median shift +0.52 ft`` for ``median shift +0.16 m``; as many decimals as there were.
    """
    if unit == "m":
        return text

    def converted(found: re.Match[str]) -> str:
        places = len(found[1].partition(".")[2])
        sign = "+" if found[1][0] in "+-" else ""
        return f"{float(found[1]) / metres_per(unit):{sign}.{places}f} {unit}"

    return (_LENGTH_IN_TEXT if signed_only else _ANY_LENGTH_IN_TEXT).sub(converted, text)


def is_feet(unit: str) -> bool:
    """Return whether a unit of length is a foot, the international one or that of the US survey.

    Parameters
    ----------
    unit : str
        Canonical unit name.
    """
    return unit.startswith("ft")


def shared_display_unit(units: Iterable[str]) -> Literal["m", "ft"]:
    """Return the unit that lengths are shown in together: ft where each site has feet, else m.

    Parameters
    ----------
    units : iterable of str
        Units of length of the sites; none gives m.
    """
    # One table cannot be in two units, and metres are what everything is worked out in.
    each = [is_feet(unit) for unit in units]
    return "ft" if each and all(each) else "m"


def pressure_unit(word: str) -> str:
    """Return the canonical name of a unit of pressure.

    Parameters
    ----------
    word : str
        Unit as written in a heading; surrounding blanks and letter case do not matter.

    Returns
    -------
    str
        One of the names in `PASCALS_PER_UNIT`.

    Raises
    ------
    UnitError
        If the word is not one of these. Megapascal is not among them: in any letter case but one, it could be
        millipascal.

    Examples
    --------
    >>> pressure_unit(" KPA "), pressure_unit("mH2O")
    ('kPa', 'mH2O')
    """
    return _named(word, "pressure", PASCALS_PER_UNIT, fix="Say the unit of the pressure column by one of these names.")


def pascals_per(unit: str) -> float:
    """Return how many pascals one unit of pressure is.

    Parameters
    ----------
    unit : str
        Name of a unit of pressure, see `PASCALS_PER_UNIT`.

    Returns
    -------
    float
        Pascals in one unit [Pa].

    Raises
    ------
    UnitError
        If the unit is not known.

    Notes
    -----
    The sources stand beside `PASCALS_PER_UNIT`. All factors are exact but for rounding of the last binary digit.

    Examples
    --------
    >>> pascals_per("hPa"), round(pascals_per("psi"), 6)
    (100.0, 6894.757293)
    """
    return PASCALS_PER_UNIT[pressure_unit(unit)]


def to_pascals(pressure: Numbers, unit: str) -> Numbers:
    """Return pressures in pascals; absolute stays absolute, and gauge stays gauge.

    Parameters
    ----------
    pressure : float or numpy.ndarray
        Pressures in ``unit``; NaN stays NaN.
    unit : str
        Name of a unit of pressure, see `PASCALS_PER_UNIT`.

    Returns
    -------
    float or numpy.ndarray
        The pressures [Pa].

    Raises
    ------
    UnitError
        If the unit is not known.

    Examples
    --------
    >>> to_pascals(1013.25, "mbar")
    101325.0
    """
    return pressure * pascals_per(unit)


def from_pascals(pressure_pa: Numbers, unit: str) -> Numbers:
    """Return pressures in another unit; the inverse of `to_pascals`.

    Parameters
    ----------
    pressure_pa : float or numpy.ndarray
        Pressures; NaN stays NaN [Pa].
    unit : str
        Name of a unit of pressure, see `PASCALS_PER_UNIT`.

    Returns
    -------
    float or numpy.ndarray
        The pressures in ``unit``.

    Raises
    ------
    UnitError
        If the unit is not known.

    Examples
    --------
    >>> from_pascals(101325.0, "mbar")
    1013.25
    """
    return pressure_pa / pascals_per(unit)


def temperature_unit(word: str) -> str:
    """Return the canonical name of a unit of temperature.

    Parameters
    ----------
    word : str
        Unit as written in a heading, with or without a degree sign; blanks and letter case do not matter.

    Returns
    -------
    str
        ``degC`` or ``degF``.

    Raises
    ------
    UnitError
        If the word is neither.

    Examples
    --------
    >>> temperature_unit("F")
    'degF'
    """
    unit = _TEMPERATURE_WORDS.get(" ".join(word.lower().split()))
    if unit is None:
        message = f"Unknown unit of temperature {word!r}; expected degC or degF."
        raise UnitError(message, fix="Say the unit of the temperature column by one of these names.")
    return unit


def to_celsius(temperature: Numbers, unit: str) -> Numbers:
    """Return temperatures in degrees Celsius.

    Parameters
    ----------
    temperature : float or numpy.ndarray
        Temperatures in ``unit``; NaN stays NaN.
    unit : str
        ``degC`` or ``degF``.

    Returns
    -------
    float or numpy.ndarray
        The temperatures [degC].

    Raises
    ------
    UnitError
        If the unit is not known.

    Examples
    --------
    >>> to_celsius(50.0, "degF")
    10.0
    """
    at_zero, per_degree = TEMPERATURE_SCALES[temperature_unit(unit)]
    return (temperature - at_zero) / per_degree


def time_unit(word: str) -> str:
    """Return the canonical name of a unit of time.

    Parameters
    ----------
    word : str
        Unit as written in a heading; surrounding blanks and letter case do not matter.

    Returns
    -------
    str
        One of the names in `MINUTES_PER_UNIT`.

    Raises
    ------
    UnitError
        If the word is not one of these.
    """
    return _named(word, "time", MINUTES_PER_UNIT, _TIME_WORDS)


def rate_unit(word: str) -> str:
    """Return the canonical name of a unit of a rate of pumping.

    Parameters
    ----------
    word : str
        Unit as written in a heading; surrounding blanks and letter case do not matter.

    Returns
    -------
    str
        One of the names in `LITRES_PER_SECOND_PER_UNIT`.

    Raises
    ------
    UnitError
        If the word is not one of these. A gallon is the US gallon.
    """
    return _named(word, "rate", LITRES_PER_SECOND_PER_UNIT, _RATE_WORDS)


def _named(
    word: str,
    what: str,
    units: dict[str, float],
    words: dict[str, str] | None = None,
    fix: str = "Write the unit in square brackets in the heading.",
) -> str:
    wanted = word.strip().lower()
    for unit in units:
        if unit.lower() == wanted:
            return unit
    if words and wanted in words:
        return words[wanted]
    message = f"Unknown unit of {what} {word!r}; expected one of {', '.join(units)}."
    raise UnitError(message, fix=fix)
