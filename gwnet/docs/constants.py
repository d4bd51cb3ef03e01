"""The table of defaults and limits that the code sets, from the comments beside them."""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import gwnet

#: Parts of the program whose constants decide about numbers; those of figures and reports are about layout.
PARTS: Final = ("constants.py", "hydro", "analysis")

#: Words of a comment that say that a constant is a choice and where it comes from.
_MARKS: Final = re.compile(
    r"project defaults?|common practice, no source|from memory|\b(18|19|20)\d\d\b|after simulation", re.IGNORECASE
)

_UNIT: Final = re.compile(r" ?\[([^\]]+)\]")
_CHOICE: Final = re.compile(
    r"(?:;|,)? ?\(?\b(project defaults?(?:, after simulation)?|common practice, no source)\b\)?", re.IGNORECASE
)


@dataclass(frozen=True)
class Constant:
    """One constant with what its comment says.

    Attributes
    ----------
    name : str
        Module below ``gwnet`` and name.
    value : str
        Its value.
    unit : str
        Unit in the comment, or empty.
    meaning : str
        The comment without unit and mark.
    source : str
        ``project default``, ``common practice, no source``, or that the meaning names it.
    """

    name: str
    value: str
    unit: str
    meaning: str
    source: str


def list_constants(folder: Path | None = None) -> list[Constant]:
    """Return the numbers of the computations whose comment says where they come from, in the order of the code.

    Parameters
    ----------
    folder : pathlib.Path, optional
        Folder of the package; that of the program unless given.
    """
    root = folder or Path(gwnet.__file__).parent
    files = [
        file
        for part in PARTS
        for file in ([root / part] if part.endswith(".py") else sorted((root / part).rglob("*.py")))
    ]
    return [constant for file in files for constant in _of_file(file, root)]


def describe_constants() -> str:
    """Return the constants as a Markdown table."""
    rows = [f"| `{c.name}` | {c.value} | {c.unit} | {c.meaning} | {c.source} |" for c in list_constants()]
    return "\n".join(["| constant | value | unit | meaning | source |", "|---|---|---|---|---|", *rows])


def _of_file(file: Path, root: Path) -> Iterator[Constant]:
    dotted = ".".join(file.relative_to(root).with_suffix("").parts)
    for name, (comment, place) in comments_of(file.read_text(encoding="utf-8")).items():
        value = getattr(importlib.import_module(f"gwnet.{dotted}"), name)
        if _MARKS.search(comment) and (text := _number_text(value)):
            yield describe_constant(f"{dotted}.{name}", text, comment, place)


def comments_of(source: str) -> dict[str, tuple[str, int]]:
    """Return the comment above each constant of a module; constants below one another share it.

    Parameters
    ----------
    source : str
        Text of the module.

    Returns
    -------
    dict
        By the name of the constant its comment on one line, and its place among those that share it, from 0 on.
    """
    lines: list[str] = source.splitlines()
    found: dict[str, tuple[str, int]] = {}
    end, shared, place = -1, "", 0
    for node in ast.parse(source).body:
        target = (
            node.target
            if isinstance(node, ast.AnnAssign)
            else node.targets[0]
            if isinstance(node, ast.Assign)
            else None
        )
        if not (isinstance(target, ast.Name) and target.id.isupper()):
            continue
        first = node.lineno - 1
        above = first
        while above > 0 and lines[above - 1].startswith("#: "):
            above -= 1
        if above < first:
            shared, place = " ".join(line[3:].strip() for line in lines[above:first]), 0
        elif node.lineno == end + 1:
            place += 1
        else:
            shared = ""
        end = node.end_lineno or node.lineno
        if shared:
            found[target.id] = (shared, place)
    return found


def describe_constant(name: str, value: str, comment: str, place: int = 0) -> Constant:
    """Return a constant with its comment taken apart.

    Parameters
    ----------
    name, value : str
        As they are printed.
    comment : str
        The comment beside it.
    place : int, optional
        Which of the constants that share the comment; with several units each has its own.
    """
    units = [] if name.endswith("_SHARE") else _UNIT.findall(comment)
    mark = _CHOICE.search(comment)
    meaning = _CHOICE.sub("", comment, count=1) if mark else comment
    if len(units) == 1:
        meaning = _UNIT.sub("", meaning, count=1)
    if meaning.count(")") > meaning.count("("):  # what followed the mark in its brackets
        meaning = meaning[::-1].replace(")", "", 1)[::-1]
    meaning = re.sub(r"\s+([,:;]|\.(?!\.))", r"\1", meaning).replace("....", "...").replace("|", "\\|").strip()
    meaning = re.sub(r"(?<!\.)\.\.(?!\.)", ".", meaning).replace(".:", ":")
    source = mark[1].lower().replace("defaults", "default") if mark else "named in the meaning"
    return Constant(name, value, units[min(place, len(units) - 1)] if units else "", meaning, source)


def _number_text(value: object) -> str:
    """Return a number, or several, as text; empty for anything else."""
    if isinstance(value, bool):
        return ""
    if isinstance(value, (int, float)):
        return f"{value:.10g}"
    if isinstance(value, tuple) and value and all(isinstance(one, (int, float, tuple)) for one in value):
        texts = [f"({_number_text(one)})" if isinstance(one, tuple) else _number_text(one) for one in value]
        return "" if "" in texts or "()" in texts else ", ".join(texts)
    return ""
