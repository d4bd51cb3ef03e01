"""One value at a time: as a reader sees it, as a file holds it, and without the signs that would run something."""

from __future__ import annotations

import datetime as dt
import numbers
from typing import TYPE_CHECKING, Any, Final

from gwnet.plain_text import file_value, is_missing, neutralised
from gwnet.plain_text import without_control_signs as safe

if TYPE_CHECKING:
    import pandas as pd

#: What is printed where there is no number.
NOTHING: Final = "–"

#: Unit suffixes of column names: how the heading shows the unit, and the decimals of a number in it.
_SUFFIXES: Final[dict[str, tuple[str, int]]] = {
    "_m_per_year": ("m/year", 3),
    "_ft_per_year": ("ft/year", 2),
    "_m": ("m", 3),
    "_ft": ("ft", 2),
    "_mm": ("mm", 0),
    "_deg": ("°", 1),
    "_degrees": ("°", 1),
    "_hours": ("h", 1),
    "_days": ("d", 1),
    "_minutes": ("min", 0),
    "_percent": ("%", 1),
}

#: Columns whose decimals do not follow from a suffix.
_DECIMALS: Final[dict[str, int]] = {
    "drift_m_per_year": 4,
    "drift_ft_per_year": 3,
    "easting": 2,
    "northing": 2,
    "longitude": 6,
    "latitude": 6,
    "var_s": 1,
    "var_s_corrected": 1,
    "tau": 3,
    "z": 2,
    "z_corrected": 2,
    "z_uncorrected": 2,
    "percentile": 1,
    "percentile_lower": 1,
    "percentile_upper": 1,
}

#: Columns of numbers that may be very small.
_SIGNIFICANT: Final = (
    "p",
    "p_independent",
    "p_uncorrected",
    "p_corrected",
    "p_adjusted",
    "p_wells_differ",
    "p_seasons_differ",
)


def heading(name: str, zone: str = "UTC") -> str:
    """Return the heading of a column: words, then the unit in square brackets, for a time the zone.

    Returns
    -------
    str
        For example ``depth to water [m]``.
    """
    for suffix, (unit, _) in _SUFFIXES.items():
        if name.endswith(suffix):
            return f"{name.removesuffix(suffix).replace('_', ' ')} [{unit}]"
    if name.endswith("_utc"):
        return f"{name.removesuffix('_utc').replace('_', ' ')} [{zone}]"
    return name.replace("_", " ")


def is_number_column(column: pd.Series) -> bool:
    """Return whether a column holds numbers, which stand to the right."""
    # Flags are of another kind, and are printed as words.
    return column.dtype.kind in "iuf"


def cell_text(value: Any, name: str, zone: str = "UTC") -> str:
    """Return a value as a reader sees it.

    Parameters
    ----------
    value : object
        Value of a frame.
    name : str
        Name of its column, which decides the decimals.
    zone : str, optional
        Zone of the times of columns in UTC.

    Returns
    -------
    str
        Text on one line; a dash for a missing number or time.
    """
    if is_missing(value):
        return NOTHING
    # A flag and a whole number are real numbers, too, and have no decimals.
    if isinstance(value, numbers.Real) and not isinstance(value, bool | numbers.Integral):
        return _number(float(value), name)
    if isinstance(value, dt.datetime):
        if name.endswith("_utc") and value.tzinfo is not None and zone != "UTC":
            from gwnet.clock import zone_of

            value = value.astimezone(zone_of(zone))
        return f"{value:%Y-%m-%d %H:%M}"
    plain = file_value(value)
    if isinstance(plain, bool):
        return "yes" if plain else "no"
    if isinstance(plain, list):
        return "; ".join(safe(str(part)) for part in plain)
    # A line break in a remark would tear the row of the table apart.
    return safe(str(plain)).replace("\n", " ")


def _number(value: float, name: str) -> str:
    if name in _DECIMALS:
        return f"{value:.{_DECIMALS[name]}f}"
    for suffix, (_, decimals) in _SUFFIXES.items():
        if name.endswith(suffix):
            return f"{value:.{decimals}f}"
    if "gradient" in name or name in _SIGNIFICANT or name.endswith("_p"):
        # The sign # keeps zeros at the end: 0.500 says three digits, 0.5 one.
        return f"{value:#.3g}".rstrip(".")
    return f"{value:.6g}"


def csv_value(value: Any, *, is_exact: bool = False) -> Any:
    """Return a value for a CSV cell; text that a spreadsheet would run as a formula is led by an apostrophe.

    Parameters
    ----------
    value : object
        Value.
    is_exact : bool, optional
        As of `gwnet.plain_text.file_value`.
    """
    plain = file_value(value, is_exact=is_exact)
    if plain is None:
        return ""
    if isinstance(plain, list):
        plain = ";".join(str(part) for part in plain)
    if isinstance(plain, bool):
        return "true" if plain else "false"
    # Numbers are left as they are: a negative one begins like a formula.
    return neutralised(plain) if isinstance(plain, str) else plain
