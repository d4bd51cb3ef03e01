"""A mapping while it is proposed, and its text: TOML with reasons as comments, and CHECK where a person decides."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from typing import Any, Final

from gwnet.ingest.mapping.mapping import Source

#: Mark of a line that a person must look at; a mapping with such lines is not used.
CHECK: Final = "# CHECK"


@dataclass
class DraftRule:
    """A rule of one column: its keys, and what a person should check.

    Attributes
    ----------
    keys : dict or list of dict
        Keys of the rule, or of several that are asked one after the other.
    check : str
        What is in doubt; empty for nothing.
    words : dict of str to str
        Words of the source with ours, written one a line; an empty one is in doubt.
    """

    keys: dict[str, Any] | list[dict[str, Any]]
    check: str = ""
    words: dict[str, str] = field(default_factory=dict)


@dataclass
class DraftTable:
    """A table of a proposed mapping.

    Attributes
    ----------
    name, source : str
        Table of ours; name of its source.
    columns : dict of str to DraftRule
        Rules.
    keys : dict of str
        Other keys.
    given : list of dict
        Rows that say what the files do not.
    given_check : str
        What is in doubt about them.
    """

    name: str
    source: str
    columns: dict[str, DraftRule] = field(default_factory=dict)
    keys: dict[str, Any] = field(default_factory=dict)
    given: list[dict[str, Any]] = field(default_factory=list)
    given_check: str = ""

    def put(self, column: str, keys: Any, check: str = "", words: dict[str, str] | None = None) -> None:
        """Add the rule of a column."""
        self.columns[column] = DraftRule(keys, check, words or {})


def write_mapping(
    name: str, site: str, sources: list[Source], tables: list[DraftTable], reasons: list[str], doubts: list[str]
) -> str:
    """Return a proposed mapping as TOML.

    Parameters
    ----------
    name, site : str
        Its name, and the site of its rows.
    sources : list of gwnet.ingest.mapping.mapping.Source
        Sources.
    tables : list of DraftTable
        Tables of ours.
    reasons, doubts : list of str
        What was inferred, and what is in doubt and belongs to no line.

    Returns
    -------
    str
        The text.
    """
    lines = [f"# {_one_line(reason)}" for reason in reasons]
    lines += [f"# note: {_one_line(doubt)}" for doubt in doubts]
    lines += ["", f"name = {_toml(name)}", f"site = {_toml(site)}"]
    for source in sources:
        lines += ["", f"[source.{_key(source.name)}]", *_source_lines(source)]
    for table in tables:
        lines += ["", "[[table]]", f"name = {_toml(table.name)}"]
        lines += [f"from = {_toml(table.source)}"] if table.source else []
        lines += [f"{key} = {_toml(value)}" for key, value in table.keys.items()]
        if table.given:
            lines += ["given = ["]
            lines += [f"  {_toml(row)},{_check(table.given_check)}" for row in table.given]
            lines += ["]"]
        # The short rules first: in TOML a rule with words opens a table of its own, after which no plain key of this
        # one can follow.
        lines += ["", "[table.columns]"]
        for column, rule in table.columns.items():
            if not _is_worded(rule):
                lines.append(f"{column} = {_toml(_shortest(rule.keys))}{_check(rule.check)}")
        for column, rule in table.columns.items():
            if _is_worded(rule):
                lines += _worded(column, rule)
    return "\n".join(lines) + "\n"


def _is_worded(rule: DraftRule) -> bool:
    """Return whether a rule has words, which are written one a line."""
    return bool(rule.words) or (isinstance(rule.keys, list) and any("words" in keys for keys in rule.keys))


def _worded(column: str, rule: DraftRule) -> list[str]:
    several = isinstance(rule.keys, list)
    rules = rule.keys if isinstance(rule.keys, list) else [rule.keys | {"words": rule.words}]
    lines = []
    for keys in rules:
        lines += ["", f"[[table.columns.{column}]]" if several else f"[table.columns.{column}]"]
        lines += [f"{key} = {_toml(value)}" for key, value in keys.items() if key != "words"]
        words = keys.get("words", {})
        lines += ["", f"[table.columns.{column}.words]"] if words else []
        lines += [f"{_toml(word)} = {_toml(ours)}{_check('' if ours else rule.check)}" for word, ours in words.items()]
    return lines


def _check(text: str) -> str:
    return f"  {CHECK}: {_one_line(text)}" if text else ""


def _one_line(text: str) -> str:
    # A line end in a heading would end the comment, and what follows would be read as a key.
    return "".join(sign if sign.isprintable() else " " for sign in text)


def _source_lines(source: Source) -> list[str]:
    usual = Source("")
    lines = []
    for key in ("file", "sheet", "encoding", "delimiter", "widths", "decimal", "thousands", "comment", "heading_row"):
        value = getattr(source, key)
        if value != getattr(usual, key) or (key == "file" and value != "*"):
            lines.append(f"{key} = {_toml(list(value) if isinstance(value, tuple) else value)}")
    if source.units_below:
        lines.append("units_below = true")
    if source.footer:
        lines.append(f"footer = {_toml(source.footer)}")
    if source.missing:
        lines.append(f"missing = {_toml(list(source.missing))}")
    if source.wide_first:
        wide = {"first": source.wide_first, "heading": source.wide_heading, "value": source.wide_value}
        lines.append(f"wide = {_toml(wide)}")
    return lines


def _shortest(keys: dict[str, Any] | list[dict[str, Any]]) -> Any:
    """Return a rule as short as it can be written: a column alone is its name."""
    if isinstance(keys, list):
        return keys[0] if len(keys) == 1 else keys
    return keys["column"] if set(keys) == {"column"} else keys


def _key(text: str) -> str:
    return text if re.fullmatch(r"[A-Za-z0-9_-]+", text) else _toml(text)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # Texts of JSON are texts of TOML, but for the delete sign, which TOML wants escaped.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(value)
