"""What a report definition may hold, table by table and key by key, and where in the file a wrong value is."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from gwnet.errors import DefinitionError
from gwnet.reporting.definition.checks import (
    DECIMALS,
    FLAG,
    TEXT,
    TEXTS,
    WHOLE_NUMBER,
    Check,
    WrongValueError,
    nearest,
    one_of,
)
from gwnet.reporting.registry import key_tables, report_sections


def _check_sections(value: Any) -> tuple[str, ...]:
    names: tuple[str, ...] = TEXTS(value)
    known = list(report_sections())
    for name in names:
        if name not in known:
            expected = f"sections of these kinds: {', '.join(known)}; {nearest(name, known)}"
            raise WrongValueError(expected)
    if not names or len(set(names)) < len(names):
        raise WrongValueError("at least one section, and none twice")
    return names


#: Tables that concern every report; those of sections are declared beside the sections.
_GENERAL: Final[dict[str, dict[str, Check]]] = {
    "": {
        "title": TEXT,
        "sections": Check("sections", lambda _value: True, _check_sections),
        "units": one_of("site", "m", "ft"),
        "page": one_of("A4", "Letter"),
        "decimals": DECIMALS,
        "contents": FLAG,
        "web_page": FLAG,
    },
    "large": {"sections": Check("sections", lambda _value: True, _check_sections), "from_wells": WHOLE_NUMBER},
    "select": {"wells": TEXTS, "aquifers": TEXTS, "rounds": TEXTS, "thresholds": TEXTS},
    "prepared": {"by": TEXT, "licence": TEXT, "firm": TEXT, "for": TEXT, "address": TEXTS, "logo": TEXT},
    "text": {"discussion": TEXTS, "cautions": TEXTS, "wording": TEXT},
}


class Checks:
    """Checks the values of a file table by table, key by key."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.lines = text.splitlines()
        self.keys: Mapping[str, Mapping[str, Check]] = {
            **_GENERAL,
            **{name: table.keys for name, table in key_tables().items()},
        }

    def run(self, values: dict[str, Any]) -> dict[str, dict[str, Any]]:
        """Return the checked values of each table; see `gwnet.reporting.definition.parse.load_definition`."""
        checked: dict[str, dict[str, Any]] = {table: {} for table in self.keys}
        for key, value in values.items():
            # The keys above all headings are under the empty name, which is no table of the file.
            if key in self.keys and key:
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
        check = self.keys[table].get("*") or self.keys[table].get(key)
        if check is None:
            raise self._unknown(table, key)
        try:
            return check(value)
        except WrongValueError as error:
            shown = repr(value)
            shown = shown if len(shown) <= 80 else shown[:77] + "..."
            mark = "" if str(error).endswith("?") else "."
            message = f"The key {key!r} has the value {shown}; expected {error}{mark}"
            raise DefinitionError(message, where=self._where(table, key)) from None

    def _unknown(self, table: str, key: str) -> DefinitionError:
        known = [*self.keys[table], *(name for name in self.keys if name and not table)]
        place = f" in [{table}]" if table else ""
        elsewhere = [name for name, keys in self.keys.items() if key in keys and name]
        hint = nearest(key, known)
        # A key of a table that is written above the heading of its table.
        if elsewhere and not table:
            hint = f"It belongs in [{elsewhere[0]}]."
        message = f"Unknown key {key!r}{place}. {hint[0].upper()}{hint[1:]}"
        return DefinitionError(message, where=self._where(table, key), fix=f"Known keys: {', '.join(known)}.")

    def _where(self, table: str, key: str) -> str:
        # Looked for in the text, since the parser of TOML keeps no line numbers.
        line = self._line(table, key)
        return f"{self.path}, line {line}" if line else str(self.path)

    def _line(self, table: str, key: str) -> int:
        """Return the line that holds a key, 0 when it is written in another form."""
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
