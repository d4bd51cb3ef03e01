"""Layouts of logger files: what a TOML file may say, checked, and written again.

A layout says how the text is written, where the table begins, how date and time are written and in which zone, which
columns hold which quantity in which unit, and what are events, missing values, serial number and title.
A reference to a column is its number (from 1), its heading as it stands (blanks and letter case do not matter), or a
pattern between slashes: ``"/^Abs Pres/"``.
"""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from gwnet.clock import zone_of
from gwnet.errors import ClockError, LayoutError
from gwnet.ingest.loggers.stamps import StampFormat, compile_formats
from gwnet.ingest.loggers.words import QUANTITIES, unit_of, units_of

#: A column by number or by heading.
Reference = int | str

#: Cells that stand for no value in any file.
MISSING: Final[tuple[str, ...]] = ("", "-", "--", "---", "NaN", "nan", "NAN", "NA", "N/A", "n/a", "null", "NULL")

_ENCODINGS: Final = {"utf-8": "utf-8", "utf-16": "utf-16", "latin-1": "latin-1", "cp1252": "cp1252"}
_FOLDER: Final = Path(__file__).resolve().parent / "layouts"


@dataclass(frozen=True)
class ValueRule:
    """Which column holds a quantity.

    Attributes
    ----------
    quantity : str
        One of `gwnet.ingest.loggers.words.QUANTITIES`.
    column : int or str
        The column.
    unit : str
        Its unit; empty where the heading says it.
    missing : tuple of str
        Words that stand for no value in this column, beside those of the layout.
    """

    quantity: str
    column: Reference
    unit: str = ""
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Layout:
    """Description of one kind of logger file, with an attribute for each of `KEYS`.

    Attributes
    ----------
    where : str
        Where it comes from, for errors.
    """

    name: str
    about: str = ""
    sheet: str = ""
    encoding: str = "utf-8"
    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    comment: str = ""
    heading_row: int | None = None
    heading_pattern: str | None = None
    first_row: int | None = None
    rows_between: int = 0
    units_below: bool = False
    footer_pattern: str = ""
    time_column: Reference | None = None
    date_column: Reference | None = None
    clock_column: Reference | None = None
    formats: tuple[str, ...] = ("iso",)
    clock_formats: tuple[str, ...] = ()
    start: str = ""
    start_pattern: str = ""
    start_formats: tuple[str, ...] = ("iso",)
    counter: Reference | None = None
    zone: str = ""
    zone_pattern: str = ""
    repeated_hour: str = ""
    columns: tuple[ValueRule, ...] = ()
    events: tuple[Reference, ...] = ()
    event_rows: str = ""
    missing: tuple[str, ...] = ()
    serial_pattern: str = ""
    serial_column: Reference | None = None
    title_pattern: str = ""
    select_column: Reference | None = None
    select_value: str = ""
    # Not compared: a layout from a file and the same from the record read alike.
    where: str = field(default="", compare=False)

    def time_formats(self) -> tuple[StampFormat, ...]:
        """Return the formats of the time or date column, ready for reading."""
        return compile_formats(self.formats, self.where)

    def day_formats(self) -> tuple[StampFormat, ...]:
        """Return the formats of the clock column, ready for reading."""
        return compile_formats(self.clock_formats, self.where)

    def toml(self) -> str:
        """Return the layout as the text of a TOML file."""
        return _written(self)


@dataclass(frozen=True)
class Key:
    """One key of a layout file.

    Attributes
    ----------
    attribute : str
        Attribute of `Layout`, or of `ValueRule` under ``[[columns]]``.
    kind : str
        What it must be.
    meaning : str
        What it says.
    """

    attribute: str
    kind: str
    meaning: str


#: Keys of each table of the file.
KEYS: Final[dict[str, dict[str, Key]]] = {
    "": {
        "name": Key("name", "text", "name by which it is asked for; that of the file unless given"),
        "about": Key("about", "text", "one sentence for people"),
        "missing": Key("missing", "texts", f"words for no value, beside {', '.join(MISSING[1:])}"),
    },
    "text": {
        "sheet": Key("sheet", "text", "sheet of a workbook; the first filled one unless given"),
        "encoding": Key("encoding", "text", "utf-8, utf-16, latin-1 or cp1252; a byte-order mark precedes it"),
        "delimiter": Key("delimiter", "text", "one sign between cells"),
        "decimal": Key("decimal", "text", "decimal mark, . or ,"),
        "thousands": Key("thousands", "text", "mark between thousands"),
        "comment": Key("comment", "text", "lines that begin so are passed over"),
    },
    "table": {
        "heading_row": Key("heading_row", "count", "line of the headings"),
        "heading_pattern": Key("heading_pattern", "pattern", "found in the line of the headings; the first such line"),
        "first_row": Key("first_row", "count", "first line of a table without headings"),
        "rows_between": Key("rows_between", "number", "lines between headings and table"),
        "units_below": Key("units_below", "yes", "whether the line below the headings holds the units"),
        "footer_pattern": Key("footer_pattern", "pattern", "found in the line that ends the table"),
    },
    "time": {
        "column": Key("time_column", "reference", "column of date and time"),
        "date": Key("date_column", "reference", "column of the date, with clock, instead of column"),
        "clock": Key("clock_column", "reference", "column of the time of day"),
        "formats": Key("formats", "texts", "formats of the time or date, tried in order"),
        "clock_formats": Key("clock_formats", "texts", "formats of the time of day"),
        "start": Key("start", "text", "when elapsed times begin, in ISO 8601"),
        "start_pattern": Key("start_pattern", "group", "when they begin, in a line above the table"),
        "start_formats": Key("start_formats", "texts", "formats of what start_pattern finds"),
        "counter": Key("counter", "reference", "column that counts on with time, for hours that were twice"),
        "zone": Key("zone", "text", "IANA name or fixed offset of the times"),
        "zone_pattern": Key("zone_pattern", "group", "offset or zone, in a line above the table"),
        "repeated_hour": Key("repeated_hour", "hour", "of which hour a time is that was twice, if no row shows it"),
    },
    "columns": {
        "quantity": Key("quantity", "text", f"one of {', '.join(QUANTITIES)}"),
        "column": Key("column", "reference", "its column"),
        "unit": Key("unit", "text", "its unit, where the heading does not say it"),
        "missing": Key("missing", "texts", "words for no value in this column alone"),
    },
    "events": {
        "columns": Key("events", "references", "rows with something here and no value are events"),
        "rows": Key("event_rows", "pattern", "lines in which it is found are events"),
    },
    "serial": {
        "pattern": Key("serial_pattern", "group", "serial number, in a line down to the headings"),
        "column": Key("serial_column", "reference", "column of the serial number"),
    },
    "title": {"pattern": Key("title_pattern", "group", "title, in a line down to the headings")},
    "select": {
        "column": Key("select_column", "reference", "column of the well or instrument, in a file of several"),
        "value": Key("select_value", "text", "which of them to read; --only precedes it"),
    },
}

#: Which of the two hours a time may be of that was twice.
REPEATED_HOURS: Final = ("first", "second")

_KINDS: Final[dict[str, str]] = {
    "text": "a text in quotes",
    "texts": "a list of texts",
    "count": "a whole number from 1",
    "number": "a whole number from 0",
    "yes": "true or false",
    "pattern": "a regular expression that can be read",
    "group": "a regular expression with one group in round brackets",
    "hour": "first or second",
    "reference": "a column: its number from 1, its heading, or /pattern/",
    "references": "a list of columns: numbers, headings or /patterns/",
}


def describe_layout_keys() -> str:
    """Return the keys of a layout file as a Markdown table.

    Returns
    -------
    str
        One row a key: its table, what it must be, what it says.
    """
    lines = ["| table | key | value | meaning |", "| --- | --- | --- | --- |"]
    for table, keys in KEYS.items():
        heading = {"": "", "columns": "`[[columns]]`"}.get(table, f"`[{table}]`")
        lines += [f"| {heading} | `{name}` | {_KINDS[key.kind]} | {key.meaning} |" for name, key in keys.items()]
    return "\n".join(lines)


def layouts() -> list[Layout]:
    """Return the layouts that travel with the program, by name."""
    return [_from_file(path) for path in sorted(_FOLDER.glob("*.toml"))]


def load_layout(name_or_path: str | Path) -> Layout:
    """Return a layout by its name or from a file.

    Parameters
    ----------
    name_or_path : str or pathlib.Path
        Name of a built-in layout, or path of a TOML file.

    Raises
    ------
    LayoutError
        If there is no such layout, or it is wrong.
    """
    path = Path(name_or_path)
    # A file goes before a layout of the program: one with such a name in the folder is meant.
    if path.suffix.lower() == ".toml" or path.is_file():
        return _from_file(path)
    built_in = _FOLDER / f"{name_or_path}.toml"
    if re.fullmatch(r"[\w-]+", str(name_or_path)) and built_in.is_file():
        return _from_file(built_in)
    known = ", ".join(file.stem for file in sorted(_FOLDER.glob("*.toml")))
    message = f"There is no layout {str(name_or_path)!r}."
    fix = f"Give a TOML file, or one of: {known}. 'gwnet logger try FILE --save LAYOUT.toml' proposes one."
    raise LayoutError(message, fix=fix)


def _from_file(path: Path) -> Layout:
    try:
        # Editors of Windows put a byte-order mark first, which TOML does not allow.
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        message = f"The layout cannot be read: {error.strerror or error}."
        raise LayoutError(message, where=str(path), fix="Check the name of the file.") from None
    except UnicodeDecodeError:
        message = "The layout is not UTF-8 text."
        raise LayoutError(message, where=str(path), fix="Save it as UTF-8.") from None
    return parse_layout(text, where=str(path), name=path.stem)


def parse_layout(text: str, *, where: str = "layout", name: str = "layout") -> Layout:
    """Return the layout that a TOML text describes.

    Parameters
    ----------
    text : str
        The text.
    where : str, optional
        What to call its source in errors.
    name : str, optional
        Name of the layout, where the text gives none.

    Raises
    ------
    LayoutError
        If the text is no TOML, or a key is unknown, of a wrong kind, missing or at odds with another.
    """
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = f"The layout is not well-formed TOML: {error}."
        raise LayoutError(message, where=where, fix="Patterns are easiest in 'single quotes'.") from None
    parsed: dict[str, Any] = {"name": name, "where": where}
    rules: list[ValueRule] = []
    for key, value in content.items():
        if key == "columns":
            rules = _rules(value, where)
        elif key in KEYS and key:
            if not isinstance(value, dict):
                message = f"[{key}] must be a table of keys, and is {value!r}."
                raise LayoutError(message, where=where, fix=f"Write it as [{key}] with its keys below.")
            parsed.update(_read_keys(key, value, where))
        else:
            parsed.update(_read_keys("", {key: value}, where))
    layout = Layout(columns=tuple(rules), **parsed)
    _check(layout, where)
    return layout


def _rules(value: Any, where: str) -> list[ValueRule]:
    if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
        raise LayoutError("The columns must each be under [[columns]].", where=where, fix="Use double brackets.")
    rules = []
    for place, entry in enumerate(value, 1):
        taken = _read_keys("columns", entry, f"{where}, [[columns]] {place}")
        lacking = [key for key in ("quantity", "column") if key not in taken]
        if lacking:
            message = f"The key {lacking[0]!r} is missing."
            raise LayoutError(
                message, where=f"{where}, [[columns]] {place}", fix=f"Keys: {', '.join(KEYS['columns'])}."
            )
        rules.append(ValueRule(**taken))
    return rules


def _read_keys(table: str, value: dict[str, Any], where: str) -> dict[str, Any]:
    keys = KEYS[table]
    place = f"[{table}] " if table and table != "columns" else ""
    values: dict[str, Any] = {}
    for key, given in value.items():
        if key not in keys:
            known = ", ".join([*(k for k in keys), *([f"[{k}]" for k in KEYS if k] if not table else [])])
            message = f"The key {place}{key!r} is not known."
            raise LayoutError(message, where=where, fix=f"Known here: {known}.")
        declared = keys[key]
        if not _fits(given, declared.kind):
            message = f"{place}{key} must be {_KINDS[declared.kind]}, and is {given!r}."
            raise LayoutError(message, where=where, fix="Change it.")
        values[declared.attribute] = tuple(given) if isinstance(given, list) else given
    return values


def _fits(value: Any, kind: str) -> bool:
    if kind in {"texts", "references"}:
        one = "text" if kind == "texts" else "reference"
        return isinstance(value, list) and all(_fits(part, one) for part in value)
    if kind in {"count", "number"}:
        # In Python true is the number 1.
        return isinstance(value, int) and not isinstance(value, bool) and value >= (1 if kind == "count" else 0)
    if kind == "yes":
        return isinstance(value, bool)
    if kind == "reference" and not isinstance(value, str):
        return _fits(value, "count")
    if not isinstance(value, str):
        return False
    if kind == "reference":
        slashed = is_pattern(value)
        return bool(value.strip()) and (slashed is None or _groups(slashed) >= 0)
    if kind == "hour":
        return value in REPEATED_HOURS
    return kind == "text" or _groups(value) >= (1 if kind == "group" else 0)


def is_pattern(reference: str) -> str | None:
    """Return the pattern of a reference between slashes, None for a heading.

    Examples
    --------
    >>> is_pattern("/^Temp/"), is_pattern("Temp [degC]")
    ('^Temp', None)
    """
    return reference[1:-1] if len(reference) > 2 and reference[0] == reference[-1] == "/" else None


def _groups(pattern: str) -> int:
    """Return how many groups a pattern has, -1 where it is none."""
    try:
        return re.compile(pattern).groups
    except (re.error, OverflowError, RecursionError):
        return -1


def _check(layout: Layout, where: str) -> None:
    _check_text(layout, where)
    starts = [layout.heading_row, layout.heading_pattern, layout.first_row]
    if sum(start is not None for start in starts) != 1:
        message = "[table] must say where the table begins in exactly one way."
        fix = "Give heading_row, or heading_pattern, or first_row for a table without headings."
        raise LayoutError(message, where=where, fix=fix)
    if (layout.time_column is None) == (layout.date_column is None):
        message = "[time] must name either one column of date and time, or a date and a clock column."
        raise LayoutError(message, where=where, fix="Give column, or date and clock.")
    if layout.clock_column is not None and (layout.date_column is None or not layout.clock_formats):
        message = "[time] clock needs date beside it, and clock_formats."
        raise LayoutError(message, where=where, fix='For example clock_formats = ["%H:%M:%S"].')
    if not layout.formats or not all(form.has_date for form in layout.time_formats()):
        message = "[time] formats must each name a day."
        raise LayoutError(message, where=where, fix='For example formats = ["%Y-%m-%d %H:%M:%S"].')
    layout.day_formats()
    _check_start(layout, where)
    if layout.zone:
        try:
            zone_of(layout.zone)
        except ClockError as error:
            message = f"[time] zone: {error.message}"
            raise LayoutError(message, where=where, fix=error.fix) from None
    _check_columns(layout, where)


def _check_start(layout: Layout, where: str) -> None:
    elapsed = [form.text for form in layout.time_formats() if form.is_elapsed]
    ways = bool(layout.start) + bool(layout.start_pattern)
    if elapsed and ways != 1:
        message = f"[time] {elapsed[0]!r} counts from a start, which must be said in exactly one way."
        fix = 'For example start = "2026-04-01T08:00", or start_pattern with start_formats.'
        raise LayoutError(message, where=where, fix=fix)
    if ways and not elapsed:
        message = "[time] has a start, and no format that counts from it."
        raise LayoutError(message, where=where, fix='For example formats = ["elapsed s"].')
    if not all(form.has_date for form in compile_formats(layout.start_formats, where)):
        message = "[time] start_formats must each name a day."
        raise LayoutError(message, where=where, fix='For example start_formats = ["%Y-%m-%d %H:%M:%S"].')


def _check_text(layout: Layout, where: str) -> None:
    faults = {
        f"[text] encoding must be one of {', '.join(_ENCODINGS)}": layout.encoding not in _ENCODINGS,
        "[text] delimiter must be one sign of ASCII": len(layout.delimiter) != 1 or not layout.delimiter.isascii(),
        "[text] decimal must be . or ,": layout.decimal not in {".", ","},
        "[text] thousands must be one sign or nothing, and not the decimal mark": len(layout.thousands) > 1
        or layout.thousands == layout.decimal,
    }
    for message, wrong in faults.items():
        if wrong:
            message = f"{message}."
            raise LayoutError(message, where=where, fix="Change it.")
    # Commas of both kinds can be read where numbers stand in quotes.
    if layout.delimiter in {'"', "\n", "\r", layout.decimal if layout.delimiter != "," else ""}:
        raise LayoutError("[text] delimiter cannot be that sign.", where=where, fix="Change it.")


def _check_columns(layout: Layout, where: str) -> None:
    seen: set[str] = set()
    for rule in layout.columns:
        if rule.quantity not in QUANTITIES:
            message = f"[[columns]] quantity {rule.quantity!r} is not known."
            raise LayoutError(message, where=where, fix=f"Write one of: {', '.join(QUANTITIES)}.")
        if rule.quantity in seen:
            message = f"[[columns]] {rule.quantity!r} occurs twice; a file has each quantity of an instrument once."
            raise LayoutError(message, where=where, fix="Take one of the columns out.")
        seen.add(rule.quantity)
        if rule.unit and unit_of(rule.unit, rule.quantity) is None:
            message = f"[[columns]] {rule.unit!r} is no unit of {rule.quantity}."
            raise LayoutError(message, where=where, fix=f"Write one of: {', '.join(units_of(rule.quantity))}.")
    if layout.first_row is not None:
        named = [layout.time_column, layout.date_column, layout.clock_column, *(r.column for r in layout.columns)]
        if any(isinstance(name, str) for name in named) or not layout.columns:
            message = "A table without headings needs its columns by number, under [[columns]] and in [time]."
            raise LayoutError(message, where=where, fix="Write column = 2, and so on.")
        if any(not rule.unit for rule in layout.columns):
            message = "A table without headings needs the unit of each column."
            raise LayoutError(message, where=where, fix='Write unit = "kPa", and so on.')


def _written(layout: Layout) -> str:
    """Return the TOML text of a layout; what has its usual value is left out, except what one should see."""
    plain = Layout("")
    shown = {"encoding", "delimiter", "decimal", "formats"}
    lines: list[str] = []
    for table, keys in KEYS.items():
        if table == "columns":
            for rule in layout.columns:
                values = {name: getattr(rule, key.attribute) for name, key in keys.items()}
                lines += ["", "[[columns]]", *(f"{name} = {_toml(value)}" for name, value in values.items() if value)]
            continue
        kept = [
            f"{name} = {_toml(getattr(layout, key.attribute))}"
            for name, key in keys.items()
            if key.attribute in shown or getattr(layout, key.attribute) != getattr(plain, key.attribute)
        ]
        if kept:
            lines += ["", f"[{table}]", *kept] if table else kept
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(part) for part in value)}]"
    if isinstance(value, str):
        # A pattern stays readable: in single quotes a backslash needs no second one.
        if "\\" in value and "'" not in value and value.isprintable():
            return f"'{value}'"
        # The escapes of JSON are those of TOML too, but TOML forbids DEL as it is.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(value)
