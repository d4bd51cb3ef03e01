"""The kinds of sections: each module of `gwnet.reporting.sections` registers its own, with all that it needs."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

from gwnet.errors import ReportError

if TYPE_CHECKING:
    from gwnet.reporting.content import Block
    from gwnet.reporting.definition.checks import KeyTable
    from gwnet.reporting.drawing import Drawing
    from gwnet.reporting.view import ReportView

Compose = Callable[["ReportView", "Drawing"], "Sequence[Block]"]


def _no_notes(_view: ReportView) -> Sequence[str]:
    return ()


@dataclass(frozen=True, slots=True)
class ReportSection:
    """A kind of section.

    Parameters
    ----------
    name : str
        Its name in a definition.
    title : str
        Its heading in the report.
    holds : str
        What it holds, in words, for the documentation.
    place : int
        Its place among the kinds: in the documentation, in messages and for the order of method notes.
    compose : callable
        Gives its blocks from the report's look at the record and whoever draws the figures.
    tables : tuple of KeyTable
        Tables of the definition that it obeys.
    frames : mapping of str to str
        Columns of each frame that must be gathered for it, separated by blanks.
    notes : callable
        Gives the method notes that it needs in a report: names of files in ``reports/wording``.
    new_page : bool
        Whether it starts a page.
    """

    name: str
    title: str
    holds: str
    place: int
    compose: Compose
    tables: tuple[KeyTable, ...] = ()
    frames: Mapping[str, str] = field(default_factory=dict)
    notes: Callable[[ReportView], Sequence[str]] = _no_notes
    new_page: bool = False


_REGISTERED: dict[str, ReportSection] = {}


def register_section(
    name: str,
    title: str,
    holds: str,
    *,
    place: int,
    tables: tuple[KeyTable, ...] = (),
    frames: Mapping[str, str] | None = None,
    notes: Callable[[ReportView], Sequence[str]] = _no_notes,
    new_page: bool = False,
) -> Callable[[Compose], Compose]:
    """Return a decorator that makes a function compose a kind of section; see `ReportSection`."""

    def register(compose: Compose) -> Compose:
        # A module that is loaded anew, as in a notebook, may register its own sections again.
        if name in _REGISTERED and _REGISTERED[name].compose.__module__ != compose.__module__:
            message = f"Two modules register a section {name!r}."
            raise ReportError(message, where=compose.__module__)
        _REGISTERED[name] = ReportSection(name, title, holds, place, compose, tables, frames or {}, notes, new_page)
        return compose

    return register


@lru_cache(maxsize=1)
def report_sections() -> Mapping[str, ReportSection]:
    """Return every kind of section by name, in order of place."""
    from gwnet.reporting import sections

    # Here and not above, as the sections themselves import this module.
    for module in pkgutil.iter_modules(sections.__path__):
        importlib.import_module(f"{sections.__name__}.{module.name}")
    return {kind.name: kind for kind in sorted(_REGISTERED.values(), key=lambda kind: (kind.place, kind.name))}


def key_tables() -> dict[str, KeyTable]:
    """Return the tables of a definition that sections obey, by name."""
    return {table.name: table for kind in report_sections().values() for table in kind.tables}


def frame_columns() -> dict[str, tuple[str, ...]]:
    """Return the columns of every frame that sections need beyond the record, by its name."""
    return {
        name: tuple(columns.split()) for kind in report_sections().values() for name, columns in kind.frames.items()
    }


def describe_sections() -> str:
    """Return the kinds of sections as a Markdown table: name, what it holds, and the keys that it obeys."""
    lines = ["| section | holds | keys |", "|---|---|---|"]
    for kind in report_sections().values():
        keys = "; ".join(
            f"`[{table.name}]` " + ", ".join(("any name" if key == "*" else f"`{key}`") for key in table.keys)
            for table in kind.tables
        )
        lines.append(f"| `{kind.name}` | {kind.holds} | {keys} |")
    lines += ["", "| key | value |", "|---|---|"]
    for table in key_tables().values():
        for key, check in table.keys.items():
            name = f"`[{table.name}]` of any name" if key == "*" else f"`[{table.name}] {key}`"
            lines.append(f"| {name} | {check.expected} |")
    return "\n".join(lines) + "\n"
