"""What a mapping says, and reading it from TOML: sources, tables of ours, and a rule for each of their columns."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping as Pairs
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Final

from gwnet.clock import zone_of
from gwnet.errors import ClockError, LayoutError, UnreadableFileError
from gwnet.ingest.headings import UNIT_WORDS
from gwnet.ingest.loggers.stamps import compile_formats
from gwnet.ingest.mapping.values import has_control_signs, is_reference, is_scalar, wrong_value
from gwnet.store.contract import BY_NAME, STATUSES

#: Keys of each part of a mapping with their meaning, in the order of the documentation.
KEYS: Final[dict[str, dict[str, tuple[str, str]]]] = {
    "": {
        "name": ("text", "name under which the mapping is kept on record and used again"),
        "about": ("text", "one sentence for people"),
        "site": ("text", "site of all rows of tables without a rule for it"),
    },
    "[source.NAME]": {
        "file": ("text", "name of the file, or a pattern with `*`; unless given, any file"),
        "sheet": ("text", "sheet of a workbook or layer of a GeoPackage, or a pattern with `*`"),
        "encoding": ("text", "utf-8, cp1252, latin-1, utf-16; unless given, found out"),
        "delimiter": ("text", "sign between cells; `blanks`: any number of blanks"),
        "widths": ("list", "widths of the columns of fixed text"),
        "decimal": ("text", "decimal mark, `.` or `,`"),
        "thousands": ("text", "mark between thousands"),
        "comment": ("text", "lines that begin so are passed over"),
        "heading_row": ("whole", "line of the headings; 0: there are none, columns have numbers"),
        "units_below": ("flag", "whether the line below the headings holds units"),
        "footer": ("text", "the table ends before the line that begins so"),
        "missing": ("list", "words for no value"),
        "wide": ("table", '`{ first = 2, well = "well", value = "level" }`: from that column on, one column a well'),
        "pass_over": ("list", "conditions of rows that are passed over"),
    },
    "[[table]]": {
        "name": ("text", "table of ours"),
        "from": ("text", "source of its rows; without one, one row of constants"),
        "no_level": ("text", "status of a level event without a number, where the source says none"),
        "changes": ("flag", "one row where the values change, dated: measuring points from readings"),
        "given": ("list", "rows with what the files do not say, each with its well or other key"),
        "intervals": (
            "any",
            "column with depth intervals in one cell, as `20-30; 45-60`: each becomes a row, with its ends in the "
            "columns `interval top` and `interval bottom`",
        ),
        "columns": ("table", "a rule for each column of ours"),
    },
    "rule": {
        "column": ("any", "heading, number from 1, or a list of those that are joined"),
        "join": ("text", "sign between joined columns; a blank unless given"),
        "above": ("text", "label of a cell above the table; the value follows it"),
        "file": ("text", "regular expression with one group, found in the file's or sheet's name"),
        "value": ("any", "a constant"),
        "unit": ("text", "m, cm, mm, ft, ftUS, in, km; `cell`: the unit is behind each number"),
        "factor": ("number", "what the number is multiplied with"),
        "positive": ("text", "`up`: a depth that counts upward, so its sign is turned"),
        "plus": ("any", "column that is added"),
        "minus": ("any", "column that is taken off"),
        "words": ("table", "words and codes of the source with ours; an empty one is left out"),
        "otherwise": ("text", "what other words become; unless given, they stay"),
        "pattern": ("text", "regular expression with one group: the part of the cell that counts"),
        "formats": ("list", "formats of dates and times"),
        "zone": ("text", "zone of the times; goes before an offset or Z in the cells"),
        "time_unknown": ("list", "times of day that stand for an unknown one"),
        "first_year": ("whole", "two-digit years are those from this one on; 1969 unless given"),
        "missing": ("list", "words for no value in this column"),
        "only": ("table", "`{ column = …, is = […] }`: the rule holds for these rows"),
        "lookup": ("table", "`{ from = SOURCE, key = COLUMN, value = COLUMN }`: another table's value for this one"),
        "label": ("flag", "whether each joined cell has its heading before it"),
    },
    "condition": {
        "column": ("any", "the column"),
        "is": ("list", "one of these words"),
        "matches": ("text", "a regular expression that is found in the cell"),
        "empty": ("flag", "whether the cell is empty, or is not"),
    },
}

_KINDS: Final[dict[str, tuple[type, ...]]] = {
    "text": (str,),
    "list": (list,),
    "whole": (int,),
    "number": (int, float),
    "flag": (bool,),
    "table": (dict,),
    "any": (str, int, float, list),
}

Reference = str | int


@dataclass(frozen=True)
class Condition:
    """A condition of a row; see `KEYS`."""

    column: Reference
    words: tuple[str, ...] = ()
    matches: str = ""
    empty: bool | None = None


@dataclass(frozen=True)
class Lookup:
    """Another table's value; see `KEYS`."""

    source: str
    key: Reference
    value: Reference


@dataclass(frozen=True)
class Rule:
    """How the cells of one column are made; see `KEYS`."""

    columns: tuple[Reference, ...] = ()
    join: str = " "
    above: str = ""
    file: str = ""
    value: str | None = None
    unit: str = ""
    factor: float = 1.0
    positive: str = ""
    plus: Reference | None = None
    minus: Reference | None = None
    words: Pairs[str, str] = field(default_factory=dict)
    otherwise: str | None = None
    pattern: str = ""
    formats: tuple[str, ...] = ()
    zone: str = ""
    time_unknown: tuple[str, ...] = ()
    first_year: int = 0
    missing: tuple[str, ...] = ()
    only: Condition | None = None
    lookup: Lookup | None = None
    label: bool = False

    @property
    def used(self) -> tuple[Reference, ...]:
        """Return the columns of the source that it reads."""
        more = [name for name in (self.plus, self.minus) if name is not None]
        return (*self.columns, *more, *([self.only.column] if self.only else []))


@dataclass(frozen=True)
class Source:
    """One source of rows; see `KEYS`."""

    name: str
    file: str = "*"
    sheet: str = "*"
    encoding: str = ""
    delimiter: str = ""
    widths: tuple[int, ...] = ()
    decimal: str = "."
    thousands: str = ""
    comment: str = ""
    heading_row: int = 1
    units_below: bool = False
    footer: str = ""
    missing: tuple[str, ...] = ()
    wide_first: int = 0
    wide_heading: str = "well"
    wide_value: str = "level"
    pass_over: tuple[Condition, ...] = ()


@dataclass(frozen=True)
class Plan:
    """How the rows of one table of ours are made; see `KEYS`."""

    table: str
    source: str
    rules: Pairs[str, tuple[Rule, ...]]
    no_level: str = "not measured"
    changes: bool = False
    given: tuple[Pairs[str, str], ...] = ()
    intervals: Reference | None = None


@dataclass(frozen=True)
class Mapping:
    """A mapping.

    Attributes
    ----------
    name, about : str
        Its name and a sentence.
    sources : dict of str to Source
        Where rows come from.
    plans : tuple of Plan
        Tables of ours.
    text : str
        The TOML that it was read from.
    """

    name: str
    about: str
    sources: Pairs[str, Source]
    plans: tuple[Plan, ...]
    text: str


class _Reader:
    """Reads the parts of a mapping and names the place of what is wrong."""

    def __init__(self, where: str) -> None:
        self.where = where

    def refuse(self, place: str, message: str, fix: str) -> None:
        text = f"{place}: {message}"
        raise LayoutError(text, where=self.where, fix=fix)

    def checked(self, part: str, values: Any, place: str) -> dict[str, Any]:
        """Return the keys of a part after checking their names and kinds."""
        known = KEYS[part]
        if not isinstance(values, dict):
            self.refuse(place, f"{values!r} is no table of keys.", f"Its keys are: {', '.join(known)}.")
        for key, value in values.items():
            if key not in known:
                # A key that is misspelt would have no effect, and its rule would look as if it held.
                near = get_close_matches(key, known, n=1)
                fix = f"Did you mean {near[0]!r}?" if near else f"The keys are: {', '.join(known)}."
                self.refuse(place, f"{key!r} is no key of a mapping.", fix)
            kind, meaning = known[key]
            # True is a whole number in Python, and would pass as column 1.
            right = isinstance(value, _KINDS[kind]) and (kind == "flag" or not isinstance(value, bool))
            if not right:
                self.refuse(place, f"{key} = {value!r} is of the wrong kind.", f"It is: {meaning}.")
            if wanted := wrong_value(part, key, value):
                self.refuse(place, f"{key} = {value!r} is not understood.", f"It must be {wanted}.")
        return dict(values)

    def named(self, values: Any, key: str) -> dict[str, Any]:
        """Return a table of tables, such as the sources."""
        if not isinstance(values, dict):
            self.refuse(key, f"{key} = {values!r} is no table.", f"Write [{key}.NAME] and its keys below it.")
        return dict(values)

    def several(self, values: Any, key: str) -> list[Any]:
        """Return the tables of ours that a mapping makes."""
        if not isinstance(values, list):
            self.refuse(key, f"{key} is not written as [[{key}]].", f"Write [[{key}]] above the keys of each table.")
        return list(values)

    def texts(self, content: dict[str, Any]) -> None:
        """Check the keys at the top, and that no text has signs that no table has."""
        for key in KEYS[""]:
            if not isinstance(content.get(key, ""), str):
                self.refuse("top", f"{key} = {content[key]!r} is of the wrong kind.", f"It is: {KEYS[''][key][1]}.")
        for key, value in content.items():
            if has_control_signs(key) or has_control_signs(value):
                self.refuse(key, "a text has a sign that cannot be printed.", "Write it without.")

    def source(self, name: str, values: Any) -> Source:
        place = f"[source.{name}]"
        given = dict(self.checked("[source.NAME]", values, place))
        wide = given.pop("wide", None)
        for key in ("widths", "missing"):
            given[key] = tuple(given.get(key, ()))
        given["missing"] = tuple(str(word) for word in given["missing"])
        given["pass_over"] = tuple(self.condition(one, place) for one in given.get("pass_over", ()))
        if given.get("decimal", ".") not in {".", ","}:
            self.refuse(place, f"decimal = {given['decimal']!r} is no decimal mark.", "Write . or ,")
        if wide is not None:
            unknown = set(wide) - {"first", "heading", "value"}
            named = all(isinstance(wide.get(key, ""), str) for key in ("heading", "value"))
            if unknown or not named or isinstance(wide.get("first"), str) or not is_reference(wide.get("first")):
                self.refuse(
                    place, f"wide = {wide!r} is not understood.", 'Write { first = 2, heading = "…", value = "…" }.'
                )
            given |= {f"wide_{key}": value for key, value in wide.items()}
        return Source(name, **given)

    def condition(self, values: Any, place: str) -> Condition:
        given = self.checked("condition", values, place)
        if "column" not in given:
            self.refuse(place, "a condition names no column.", 'Give column = "…".')
        words = tuple(str(word) for word in given.get("is", ()))
        return Condition(given["column"], words, given.get("matches", ""), given.get("empty"))

    def plan(self, values: Any, sources: Pairs[str, Source], site: str) -> Plan:
        given = self.checked("[[table]]", values, "[[table]]")
        name = given.get("name", "")
        place = f"[[table]] {name}".rstrip()
        if name not in BY_NAME:
            near = get_close_matches(name, BY_NAME, n=1)
            fix = f"Did you mean {near[0]!r}?" if near else f"The tables are: {', '.join(BY_NAME)}."
            self.refuse(place, f"{name!r} is no table.", fix)
        source = given.get("from", "")
        if source and source not in sources:
            self.refuse(place, f"from = {source!r} is no source.", f"The sources are: {', '.join(sources) or 'none'}.")
        status = given.get("no_level", "not measured")
        if status not in STATUSES:
            self.refuse(place, f"no_level = {status!r} is no status.", f"The statuses are: {', '.join(STATUSES)}.")
        rules = {
            column: self.rules(f"{place}, {column}", name, column, rule, sources)
            for column, rule in given.get("columns", {}).items()
        }
        rows = self.given(place, name, given.get("given", ()))
        if site and "site" in BY_NAME[name].names and "site" not in rules:
            # Unless a rule says another: files of several sites name theirs in a column.
            rules = {"site": (Rule(value=site),), **rules}
        if "intervals" in given and not source:
            self.refuse(place, "intervals need a source of rows.", "Give from.")
        return Plan(name, source, rules, status, given.get("changes", False), rows, given.get("intervals"))

    def given(self, place: str, table: str, values: Any) -> tuple[dict[str, str], ...]:
        """Return rows that the mapping itself says."""
        for row in values:
            if not isinstance(row, dict) or not row or not all(map(is_scalar, row.values())):
                self.refuse(place, f"given has {row!r}, which is no row.", 'Write { well = "…", easting = 0 }.')
            for column in row:
                self.column(place, table, column)
        return tuple({key: str(value) for key, value in row.items()} for row in values)

    def column(self, place: str, table: str, column: str) -> None:
        """Refuse what is no column of a table of ours."""
        names = BY_NAME[table].names
        if column not in names:
            near = get_close_matches(column, names, n=1)
            fix = f"Did you mean {near[0]!r}?" if near else f"The columns are: {', '.join(names)}."
            self.refuse(place, f"{column!r} is no column of {table}.", fix)

    def rules(self, place: str, table: str, column: str, values: Any, sources: Pairs[str, Source]) -> tuple[Rule, ...]:
        self.column(place, table, column)
        several = isinstance(values, list) and any(isinstance(one, dict) for one in values)
        return tuple(self.rule(place, one, sources) for one in (values if several else [values]))

    def rule(self, place: str, values: Any, sources: Pairs[str, Source]) -> Rule:
        # The short form: a column alone is all that most rules say.
        if isinstance(values, str | int | list) and not isinstance(values, bool):
            values = {"column": values}
        given = dict(self.checked("rule", values, place))
        origins = [key for key in ("column", "above", "file", "value") if key in given]
        if len(origins) != 1:
            fix = "Give one of column, above, file, value."
            self.refuse(place, f"{len(origins)} of column, above, file and value are given.", fix)
        columns = given.pop("column", ())
        given["columns"] = tuple(columns) if isinstance(columns, list) else () if columns == () else (columns,)
        self.tidy(place, given)
        if "only" in given:
            given["only"] = self.condition(given["only"], place)
        if "lookup" in given:
            given["lookup"] = self.lookup(place, given["lookup"], sources)
        return Rule(**given)

    def tidy(self, place: str, given: dict[str, Any]) -> None:
        """Check the values of a rule, and give them the types that it has."""
        unit = given.get("unit", "")
        if unit and unit != "cell":
            found = UNIT_WORDS.get(unit.lower(), unit if unit == "ftUS" else "")
            if not found:
                self.refuse(place, f"unit = {unit!r} is not known.", "Units: m, cm, mm, ft, ftUS, in, km, or cell.")
            given["unit"] = found
        if given.get("positive", "down") not in {"up", "down"}:
            self.refuse(place, f"positive = {given['positive']!r} is not understood.", "Write up or down.")
        if "value" in given:
            given["value"] = str(given["value"])
        if "words" in given:
            given["words"] = {str(key): str(value) for key, value in given["words"].items()}
        for key in ("formats", "missing", "time_unknown"):
            if key in given:
                given[key] = tuple(str(one) for one in given[key])
        # Compiled once to find what is wrong now, and not at the first row that has a date.
        compile_formats(given.get("formats", ()), where=self.where)
        if given.get("zone"):
            try:
                zone_of(given["zone"])
            except ClockError as error:
                self.refuse(place, error.message, error.fix or "")

    def lookup(self, place: str, values: dict[str, Any], sources: Pairs[str, Source]) -> Lookup:
        is_whole = set(values) == {"from", "key", "value"} and is_scalar(values["from"]) and values["from"] in sources
        if not is_whole or not (is_reference(values["key"]) and is_reference(values["value"])):
            fix = f"Write {{ from = SOURCE, key = COLUMN, value = COLUMN }}; sources: {', '.join(sources)}."
            self.refuse(place, f"lookup = {values!r} is not understood.", fix)
        return Lookup(values["from"], values["key"], values["value"])


def parse_mapping(text: str, where: str) -> Mapping:
    """Read a mapping.

    Parameters
    ----------
    text : str
        Its TOML.
    where : str
        Where it comes from, for errors.

    Returns
    -------
    Mapping
        The mapping.

    Raises
    ------
    gwnet.errors.LayoutError
        If it is no TOML, or says something that is not understood.
    """
    reader = _Reader(where)
    try:
        content = tomllib.loads(text)
    # A text with thousands of open brackets exhausts the parser.
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        message = f"The mapping is not well-formed TOML: {error}."
        raise LayoutError(message, where=where, fix="Check quotes and brackets in that line.") from None
    # Keys at the top that belong into a table end up there when they are written below none.
    unknown = set(content) - {*KEYS[""], "source", "table"}
    if unknown:
        fix = "At the top are name, about, site, [source.NAME] and [[table]]."
        reader.refuse("top", f"{', '.join(sorted(unknown))} is not known.", fix)
    reader.texts(content)
    named = reader.named(content.get("source", {}), "source")
    sources = {name: reader.source(name, values) for name, values in named.items()}
    tables = reader.several(content.get("table", []), "table")
    plans = tuple(reader.plan(values, sources, content.get("site", "")) for values in tables)
    if not plans:
        reader.refuse("[[table]]", "the mapping has no table.", "Give at least one, with name, from and columns.")
    return Mapping(content.get("name") or Path(where).stem, content.get("about", ""), sources, plans, text)


def read_mapping(path: str | Path) -> Mapping:
    """Read a mapping from a file.

    Parameters
    ----------
    path : str or pathlib.Path
        The TOML file.

    Returns
    -------
    Mapping
        The mapping.

    Raises
    ------
    gwnet.errors.UnreadableFileError
        If the file cannot be read.
    gwnet.errors.LayoutError
        If it is no mapping.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8"
        message = f"The mapping cannot be read: {reason}."
        raise UnreadableFileError(message, where=str(path), fix="Check name and permissions.") from None
    return parse_mapping(text, str(path))


def describe_mapping_keys() -> str:
    """Return the keys of a mapping with their meaning, as a Markdown table.

    Returns
    -------
    str
        One line a key.
    """
    lines = ["| part | key | meaning |", "|---|---|---|"]
    for part, keys in KEYS.items():
        shown = f"`{part}`" if part.startswith("[") else part or "top"
        lines += [f"| {shown} | `{key}` | {meaning} |" for key, (_, meaning) in keys.items()]
    return "\n".join(lines) + "\n"
