"""What single values of a mapping must be beyond their kind: references, patterns, marks, numbers, plain text."""

from __future__ import annotations

import codecs
import math
import re
from collections.abc import Callable
from typing import Any, Final

from gwnet.ingest.loggers.layout import is_pattern


def is_reference(value: Any) -> bool:
    """Return whether a value names a column: a heading, a number from 1, or a ``/pattern/``."""
    # True is a whole number in Python.
    if isinstance(value, bool):
        return False
    if isinstance(value, int):
        return value >= 1
    if not isinstance(value, str) or not value.strip():
        return False
    pattern = is_pattern(value)
    return pattern is None or has_groups(pattern, 0)


def has_groups(pattern: Any, least: int) -> bool:
    """Return whether a value is a regular expression with at least so many groups."""
    if not isinstance(pattern, str):
        return False
    try:
        # Compiled with the mapping: at the first row it would fail with a load half read.
        return re.compile(pattern).groups >= least
    except (re.error, OverflowError, RecursionError):
        return False


def is_scalar(value: Any) -> bool:
    """Return whether a value is one text or number."""
    return isinstance(value, str | int | float) and not isinstance(value, bool)


def is_encoding(value: str) -> bool:
    """Return whether a value names an encoding of text."""
    try:
        "".encode(codecs.lookup(value).name)
    except (LookupError, ValueError, UnicodeError):
        return False
    return True


def has_control_signs(value: Any) -> bool:
    """Return whether any text in a value, or in what it holds, has signs that no table has."""
    if isinstance(value, dict):
        return any(has_control_signs(part) for pair in value.items() for part in pair)
    if isinstance(value, list):
        return any(map(has_control_signs, value))
    return isinstance(value, str) and re.search(r"[\x00-\x08\x0b-\x1f\x7f]", value) is not None


def _are(test: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda values: all(map(test, values))


def _is_one_or_more_references(value: Any) -> bool:
    return all(map(is_reference, value)) and bool(value) if isinstance(value, list) else is_reference(value)


def _is_width(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value < 100_000


#: For each part and key, what its value must be, and in which words that is said.
TESTS: Final[dict[tuple[str, str], tuple[Callable[[Any], bool], str]]] = {
    ("[source.NAME]", "encoding"): (is_encoding, "the name of an encoding"),
    ("[source.NAME]", "delimiter"): (
        lambda value: value == "blanks" or (len(value) == 1 and value not in '"\r\n '),
        "one sign, no quote and no blank, or 'blanks'",
    ),
    ("[source.NAME]", "thousands"): (
        lambda value: len(value) == 1 and not value.isalnum() and value not in "+-",
        "one sign that is no digit, letter, + or -",
    ),
    ("[source.NAME]", "widths"): (_are(_is_width), "whole numbers from 1"),
    ("[source.NAME]", "heading_row"): (lambda value: value >= 0, "a line from 1, or 0"),
    ("[source.NAME]", "missing"): (_are(is_scalar), "texts"),
    ("rule", "column"): (_is_one_or_more_references, "a heading, a number from 1, a /pattern/, or a list of these"),
    ("rule", "value"): (is_scalar, "a text or a number"),
    ("rule", "file"): (lambda value: has_groups(value, 1), "a regular expression with one group"),
    ("rule", "pattern"): (lambda value: has_groups(value, 1), "a regular expression with one group"),
    ("rule", "factor"): (lambda value: math.isfinite(value) and value != 0, "a number other than 0"),
    ("rule", "plus"): (is_reference, "a heading, a number from 1 or a /pattern/"),
    ("rule", "minus"): (is_reference, "a heading, a number from 1 or a /pattern/"),
    ("rule", "words"): (lambda value: all(map(is_scalar, value.values())), "texts"),
    ("rule", "missing"): (_are(is_scalar), "texts"),
    ("rule", "formats"): (_are(is_scalar), "texts"),
    ("rule", "time_unknown"): (_are(is_scalar), "texts"),
    ("condition", "column"): (is_reference, "a heading, a number from 1 or a /pattern/"),
    ("condition", "is"): (_are(is_scalar), "texts"),
    ("condition", "matches"): (lambda value: has_groups(value, 0), "a regular expression"),
}


def wrong_value(part: str, key: str, value: Any) -> str:
    """Return what the value of a key must be, where it is not; empty where it is.

    Parameters
    ----------
    part, key : str
        As of `gwnet.ingest.mapping.mapping.KEYS`.
    value : object
        The value, of the right kind.

    Returns
    -------
    str
        Words, or nothing.
    """
    test, words = TESTS.get((part, key), (None, ""))
    return words if test is not None and not test(value) else ""
