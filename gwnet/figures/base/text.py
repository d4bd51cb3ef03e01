"""Text in figures: made safe, measured, wrapped; numbers with the decimals that their uncertainty allows."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from matplotlib import font_manager, ft2font

from gwnet.figures.base.style import font_files
from gwnet.records import RecordState
from gwnet.units import metres_per

_MOST_DECIMALS: Final[dict[str, int]] = {"m": 3, "ft": 2}
_LINE_HEIGHT: Final = 1.32
#: Words that stay on the line of the number before them.
_UNIT: Final = re.compile(r"(m|ft|km|mi|m/m|mm|days?|hours?)[²³]?[.,;:)]*")
#: Scale at which letters are measured, so that rounding to pixels does not matter.
_MEASURE_PT: Final = 100.0


@lru_cache(maxsize=1)
def _letters() -> frozenset[int]:
    """Return the letters that can be drawn both upright and bold, by the typeface or the one that lends to it."""

    def of(bold: bool) -> set[int]:
        return {code for path in font_files(bold=bold) for code in ft2font.FT2Font(path).get_charmap()}

    # Both, as it is not known here which of the two a text will be set in.
    return frozenset(of(bold=False) & of(bold=True))


def shown(value: Any) -> str:
    r"""Return a text from the record as it is drawn: one line, every letter visible.

    Parameters
    ----------
    value : object
        Text; None and NaN give an empty one.

    Returns
    -------
    str
        Line breaks, tabs and other control characters become blanks; a letter that no typeface here has is written
        as its code point, such as ``[U+4E95]``, so that nothing disappears.

    Examples
    --------
    >>> shown("a\tb")
    'a b'
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    letters = _letters()
    pieces = []
    for character in str(value):
        if unicodedata.category(character) in {"Cc", "Zl", "Zp"}:
            pieces.append(" ")
        # An empty box in place of a letter says nothing; its number can be looked up.
        elif unicodedata.category(character) == "Cs" or ord(character) not in letters:
            pieces.append(f"[U+{ord(character):04X}]")
        else:
            pieces.append(character)
    return " ".join("".join(pieces).split(" ")).strip()


def plain(value: Any) -> str:
    """Return a text from the record, empty for None and anything that is not a value."""
    if value is None or value != value:
        return ""
    text = str(value)
    # The missing values of pandas, which are no text of the record.
    return "" if text in {"NaT", "<NA>"} else text


def known_text(known_on: RecordState | None) -> tuple[str, ...]:
    """Return the sentence that says as of when the record is shown; none without a time."""
    return () if known_on is None else (f"Record as known on {known_on.text}.",)


@lru_cache(maxsize=20_000)
def text_width_pt(text: str, size_pt: float, *, bold: bool = False, italic: bool = False) -> float:
    """Return the width of one line of text [pt]."""
    font = font_manager.get_font(list(font_files(bold=bold, italic=italic)))
    font.set_size(_MEASURE_PT, 72.0)
    font.set_text(text, 0.0, flags=ft2font.LoadFlags.NO_HINTING)
    width, _ = font.get_width_height()
    return float(width) / 64.0 * size_pt / _MEASURE_PT


def line_height_pt(size_pt: float) -> float:
    """Return the distance from one line to the next [pt]."""
    return size_pt * _LINE_HEIGHT


def fit(text: str, width_pt: float, size_pt: float, *, bold: bool = False) -> str:
    """Return a text, shortened with an ellipsis where it is wider than a given width."""
    if text_width_pt(text, size_pt, bold=bold) <= width_pt:
        return text
    # Halved: measuring is the dear part, and long remarks have thousands of letters.
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if text_width_pt(text[:middle].rstrip() + "…", size_pt, bold=bold) <= width_pt:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + "…"


def fit_ends(text: str, width_pt: float, size_pt: float, *, bold: bool = False) -> str:
    """Return a text, shortened in its middle where it is too wide: names of one place differ at their ends."""
    if text_width_pt(text, size_pt, bold=bold) <= width_pt:
        return text
    for kept in range(len(text) - 1, 1, -1):
        # Two thirds at the end: codes of one site begin alike and end in the number.
        end = (2 * kept + 2) // 3
        short = f"{text[: kept - end].rstrip()}…{text[len(text) - end :].lstrip()}"
        if text_width_pt(short, size_pt, bold=bold) <= width_pt:
            return short
    return fit(text, width_pt, size_pt, bold=bold)


@lru_cache(maxsize=20_000)
def wrap(text: str, width_pt: float, size_pt: float, *, bold: bool = False) -> tuple[str, ...]:
    """Return a text in lines not wider than a given width; only words longer than a line are cut.

    Parameters
    ----------
    text : str
        Text without line breaks.
    width_pt : float
        Width of a line [pt].
    size_pt : float
        Size of the letters [pt].
    bold : bool, optional
        Whether the letters are bold.
    """
    lines: list[str] = []
    current = ""
    for word in _pieces(_words(text), width_pt, size_pt, bold):
        longer = f"{current} {word}" if current else word
        if not current or text_width_pt(longer, size_pt, bold=bold) <= width_pt:
            current = longer
        else:
            lines.append(current)
            current = word
    return (*lines, current) if current else tuple(lines)


def _words(text: str) -> list[str]:
    """Split a text at blanks, but not between a number and its unit or around ±."""
    words: list[str] = []
    for word in text.split(" "):
        joined = words and (
            (_UNIT.fullmatch(word) and words[-1][-1:].isdigit()) or word == "±" or words[-1].endswith((" ±", "≤", "≥"))
        )
        if joined:
            words[-1] = f"{words[-1]} {word}"
        else:
            words.append(word)
    return words


def _pieces(words: Iterable[str], width_pt: float, size_pt: float, bold: bool) -> Iterable[str]:
    for word in words:
        rest = word
        while len(rest) > 1 and text_width_pt(rest, size_pt, bold=bold) > width_pt:
            keep = 1
            while keep < len(rest) and text_width_pt(rest[: keep + 1], size_pt, bold=bold) <= width_pt:
                keep += 1
            yield rest[:keep]
            rest = rest[keep:]
        if rest:
            yield rest


def number_text(value: float, decimals: int, *, signed: bool = False) -> str:
    """Return a number with a true minus sign; never a minus zero.

    Examples
    --------
    >>> number_text(-0.0004, 2)
    '0.00'
    """
    text = f"{value:.{decimals}f}"
    # -0.0004 rounds to -0.000, which would look like a fall.
    if float(text) == 0.0:
        text = f"{0.0:.{decimals}f}"
    elif signed and value > 0:
        text = f"+{text}"
    return text.replace("-", "−")


def short_number(value: float, least: int = 2, most: int = 3) -> str:
    """Return a given number, such as a threshold, with no more decimals than it needs.

    Examples
    --------
    >>> short_number(46.8), short_number(46.805)
    ('46.80', '46.805')
    """
    for decimals in range(least, most):
        if abs(round(value, decimals) - value) < 0.5 * 10.0**-most:
            return number_text(value, decimals)
    return number_text(value, most)


def decimals_for(uncertainty_m: npt.ArrayLike, unit: str) -> int:
    """Return the decimals of levels that their uncertainty allows.

    Parameters
    ----------
    uncertainty_m : array_like
        95 % half-widths; NaN where unknown [m].
    unit : {"m", "ft"}
        Unit of drawing.

    Returns
    -------
    int
        The last place is at most half of the median half-width but not finer than a tape is read (1 mm, 0.01 ft);
        2 when nothing is known.
    """
    values = np.asarray(uncertainty_m, dtype=np.float64)
    values = values[np.isfinite(values) & (values > 0)]
    if not values.size:
        return 2
    # Of most levels; one that is very uncertain must not take a decimal from all the others.
    half = float(np.median(values)) / metres_per(unit) / 2
    return int(min(max(math.ceil(-math.log10(half) - 1e-9), 0), _MOST_DECIMALS.get(unit, 3)))


def decimals_of_step(step: float) -> int:
    """Return the decimals that ticks of a given step need.

    Examples
    --------
    >>> decimals_of_step(0.25)
    2
    """
    for decimals in range(7):
        scaled = step * 10**decimals
        if abs(scaled - round(scaled)) < 1e-6 * max(scaled, 1.0):
            return decimals
    return 7
