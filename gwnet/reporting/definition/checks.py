"""Checks of the values of a report definition: what is expected, in words, and what a right value becomes."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final


class WrongValueError(Exception):
    """What a value should have been."""


@dataclass(frozen=True, slots=True)
class Check:
    """A check of one value.

    Parameters
    ----------
    expected : str
        What is right, in words.
    accepts : callable
        Says whether a value is right.
    convert : callable, optional
        Gives what a right value becomes; the value itself unless given.
    """

    expected: str
    accepts: Callable[[Any], bool]
    convert: Callable[[Any], Any] = field(default=lambda value: value)

    def __call__(self, value: Any) -> Any:
        """Return what a value becomes; `WrongValueError` where it is not right."""
        if not self.accepts(value):
            raise WrongValueError(self.expected)
        return self.convert(value)


@dataclass(frozen=True, slots=True)
class DefinitionFile:
    """The file of a definition: its path, and the digests of the files that it names, added as they are read."""

    path: Path
    inputs: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class KeyTable:
    """A table of a definition.

    Parameters
    ----------
    name : str
        Its name in the file.
    keys : mapping of str to Check
        Its keys; ``*`` means keys of any name.
    make : callable
        Gives the settings from the checked values that are there.
    """

    name: str
    keys: Mapping[str, Check]
    make: Callable[[Mapping[str, Any], DefinitionFile], Any]


def _number(value: Any, least: float, most: float) -> bool:
    # In Python true is a number; NaN, which TOML allows, fails both comparisons.
    return not isinstance(value, bool) and isinstance(value, int | float) and least < value < most


def _or_word(word: str, check: Check) -> Check:
    """Return a check that also takes a word, which becomes None."""
    return Check(
        f'{check.expected}, or "{word}"',
        lambda value: value == word or check.accepts(value),
        lambda value: None if value == word else check.convert(value),
    )


TEXT: Final = Check("a text in quotation marks", lambda value: isinstance(value, str))
TEXTS: Final = Check(
    'a list of texts, for example ["A", "B"]',
    lambda value: isinstance(value, list) and all(isinstance(item, str) for item in value),
    tuple,
)
FLAG: Final = Check("true or false", lambda value: isinstance(value, bool))
DECIMALS: Final = _or_word(
    "auto",
    Check("a whole number from 0 to 4", lambda value: isinstance(value, int) and _number(value, -1, 5)),
)
WHOLE_NUMBER: Final = Check(
    "a whole number from 0 on", lambda value: isinstance(value, int) and _number(value, -1, 1_000_000)
)
DAY: Final = _or_word(
    "record",
    Check(
        "a day without quotation marks, for example 2015-01-01",
        # In Python a time is a date as well.
        lambda value: isinstance(value, dt.date) and not isinstance(value, dt.datetime),
    ),
)
SHARE: Final = Check(
    "a storage coefficient between 0 and 1, for example 0.12", lambda value: _number(value, 0.0, 1.0), float
)


def one_of(*choices: Any) -> Check:
    """Return a check that a value is one of several texts or numbers."""
    words = [str(choice) for choice in choices]
    expected = f"one of {', '.join(words)}" if isinstance(choices[0], str) else " or ".join(words)
    # True would pass as the choice 1.
    return Check(expected, lambda value: not isinstance(value, bool) and value in choices)


def positive_or(word: str) -> Check:
    """Return a check that a value is a number above 0, or a word that becomes None."""
    return _or_word(word, Check("a number above 0", lambda value: _number(value, 0.0, 1e6), float))


def nearest(word: str, known: Sequence[str]) -> str:
    """Return which known word a wrong one may have been meant for, as a sentence without its full stop.

    Parameters
    ----------
    word : str
        What was written.
    known : sequence of str
        What may be written.
    """
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    return f"did you mean {close[0]!r} instead of {word!r}?" if close else f"{word!r} is none of them"
