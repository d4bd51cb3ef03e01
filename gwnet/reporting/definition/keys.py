"""What may stand in a report definition, key by key, and how a wrong value is told."""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from gwnet.errors import DefinitionError

__all__ = ["SECTIONS", "Checks", "nearest"]

#: Every kind of section, in the order of the quarterly report.
SECTIONS: Final = (
    "summary",
    "network_map",
    "network_changes",
    "planned_and_done",
    "field_conditions",
    "construction",
    "measuring_points",
    "levels",
    "levels_to_date",
    "gradients",
    "maps",
    "changes",
    "hydrographs",
    "seasons",
    "trends",
    "thresholds",
    "loggers",
    "exclusions",
    "sounded_depths",
    "data_quality",
    "earlier_reports",
    "register",
    "methods",
    "cautions",
    "sign_off",
)


class _WrongValueError(Exception):
    """What a value should have been."""


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise _WrongValueError("a text in quotation marks")
    return value


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise _WrongValueError("true or false")
    return value


def _texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise _WrongValueError('a list of texts, for example ["A", "B"]')
    return tuple(value)


def _section_names(value: Any) -> tuple[str, ...]:
    names = _texts(value)
    for name in names:
        if name not in SECTIONS:
            expected = f"sections of these kinds: {', '.join(SECTIONS)}; {nearest(name, SECTIONS)}"
            raise _WrongValueError(expected)
    if not names or len(set(names)) < len(names):
        raise _WrongValueError("at least one section, and none twice")
    return names


def _one_of(*choices: str) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        if value not in choices:
            expected = f"one of {', '.join(choices)}"
            raise _WrongValueError(expected)
        return str(value)

    return check


def _decimals(value: Any) -> int | None:
    if value == "auto":
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 4:
        raise _WrongValueError('a whole number from 0 to 4, or "auto"')
    return value


def _positive(word: str) -> Callable[[Any], float | None]:
    def check(value: Any) -> float | None:
        if value == word:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 1e6:
            expected = f'a number above 0, or "{word}"'
            raise _WrongValueError(expected)
        return float(value)

    return check


def _day(value: Any) -> dt.date | None:
    if value == "record":
        return None
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        raise _WrongValueError('a day without quotation marks, for example 2015-01-01, or "record"')
    return value


def _seasons(value: Any) -> int:
    if isinstance(value, bool) or value not in (4, 12):
        raise _WrongValueError("4 or 12")
    return int(value)


def _storage(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 1:
        raise _WrongValueError("a storage coefficient between 0 and 1, for example 0.12")
    return float(value)


_Checker = Callable[[Any], Any]
_KEYS: Final[dict[str, dict[str, _Checker]]] = {
    "": {
        "title": _text,
        "sections": _section_names,
        "units": _one_of("site", "m", "ft"),
        "page": _one_of("A4", "Letter"),
        "decimals": _decimals,
        "contents": _flag,
        "web_page": _flag,
    },
    "select": {"wells": _texts, "aquifers": _texts, "rounds": _texts, "thresholds": _texts},
    "prepared": {"by": _text, "licence": _text, "firm": _text, "for": _text, "address": _texts, "logo": _text},
    "map": {
        "method": _one_of("kriging", "triangulation", "spline", "auto"),
        "interval_m": _positive("auto"),
        "interval_ft": _positive("auto"),
        "window_days": _positive("site"),
        "rounds": _one_of("newest", "all"),
        "base_layers": _texts,
        "boundary": _text,
        "barriers": _text,
        "rivers": _text,
    },
    "storage": {},
    "trends": {
        "method": _one_of("seasonal", "kendall"),
        "seasons": _seasons,
        "from": _day,
        "approved_only": _flag,
    },
    "hydrographs": {"group_by": _one_of("aquifer", "cluster", "none"), "from": _day},
    "text": {"discussion": _texts, "cautions": _texts, "wording": _text},
}


def nearest(word: str, known: tuple[str, ...] | list[str]) -> str:
    """Return which known word a wrong one may have been meant for, as a sentence without its full stop.

    Parameters
    ----------
    word : str
        What was written.
    known : sequence of str
        What may be written.

    Returns
    -------
    str
        The nearest of them, or that it is none of them.
    """
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    return f"did you mean {close[0]!r} instead of {word!r}?" if close else f"{word!r} is none of them"


class Checks:
    """Checks the values of a file table by table, key by key."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.lines = text.splitlines()

    def run(self, values: dict[str, Any]) -> dict[str, dict[str, Any]]:
        """Return the checked values of each table; see `gwnet.reporting.definition.parse.load_definition`."""
        checked: dict[str, dict[str, Any]] = {table: {} for table in _KEYS}
        for key, value in values.items():
            if key in _KEYS and key:
                checked[key] = self._table(key, value)
            else:
                checked[""][key] = self._value("", key, value)
        for key in ("title", "sections"):
            if key not in checked[""]:
                message = f"The key {key!r} is missing."
                raise DefinitionError(message, where=str(self.path), fix="Every definition needs title and sections.")
        return checked

    def _table(self, table: str, value: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            message = f"{table!r} must be a table: a line [{table}] with its keys below."
            raise DefinitionError(message, where=self._where("", table))
        return {key: self._value(table, key, item) for key, item in value.items()}

    def _value(self, table: str, key: str, value: Any) -> Any:
        check = _storage if table == "storage" else _KEYS[table].get(key)
        if check is None:
            raise self._unknown(table, key)
        try:
            return check(value)
        except _WrongValueError as error:
            shown = repr(value)
            shown = shown if len(shown) <= 80 else shown[:77] + "..."
            mark = "" if str(error).endswith("?") else "."
            message = f"The key {key!r} has the value {shown}; expected {error}{mark}"
            raise DefinitionError(message, where=self._where(table, key)) from None

    def _unknown(self, table: str, key: str) -> DefinitionError:
        known = [*_KEYS[table], *(name for name in _KEYS if name and not table)]
        place = f" in [{table}]" if table else ""
        elsewhere = [name for name, keys in _KEYS.items() if key in keys and name]
        hint = nearest(key, known)
        if elsewhere and not table:
            hint = f"It belongs in [{elsewhere[0]}]."
        message = f"Unknown key {key!r}{place}. {hint[0].upper()}{hint[1:]}"
        return DefinitionError(message, where=self._where(table, key), fix=f"Known keys: {', '.join(known)}.")

    def _where(self, table: str, key: str) -> str:
        line = self._line(table, key)
        return f"{self.path}, line {line}" if line else str(self.path)

    def _line(self, table: str, key: str) -> int:
        """Return the line that a key stands in, 0 when it is written in another form."""
        current = ""
        wanted = re.compile(rf"""\s*["']?{re.escape(key)}["']?\s*=""")
        heading = re.compile(rf"""\s*\[+\s*["']?{re.escape(key)}["']?\s*\]+""")
        for number, line in enumerate(self.lines, start=1):
            if current == table and wanted.match(line):
                return number
            if not table and heading.match(line):
                return number
            if match := re.match(r"\s*\[\s*([^\[\]]+?)\s*\]", line):
                current = match[1].strip("\"'")
        return 0
