"""The formats of `gwnet export`: each module of `gwnet.exchange` registers its own, with all that is known of it."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gwnet.errors import SettingsError

if TYPE_CHECKING:
    from gwnet.exchange.extract import Extract

#: Writes an extract to a path that does not exist yet; for a format without an ending that path is an empty folder.
Write = Callable[["Extract", Path], None]

#: Options that a format may take, by their names in Python, with their names on the command line.
OPTIONS: Final[Mapping[str, str]] = {
    "site": "--site",
    "wells": "--well",
    "aquifer": "--aquifer",
    "start": "--from",
    "end": "--to",
    "known_on": "--known-on",
    "unit": "--unit",
}

#: Options of a format that holds a part of the record.
WHICH_PART: Final = ("site", "wells", "aquifer", "start", "end", "known_on")


@dataclass(frozen=True, slots=True)
class ExchangeFormat:
    """A format that a record is exported in.

    Attributes
    ----------
    name : str
        Its name on the command line.
    holds : str
        What an export of it holds, in words, for the documentation.
    ending : str
        Ending of its file; empty where an export is a folder.
    takes : tuple of str
        Which of `OPTIONS` it takes.
    write : callable
        Writes an extract to a path.
    """

    name: str
    holds: str
    ending: str
    takes: tuple[str, ...]
    write: Write


_REGISTERED: dict[str, ExchangeFormat] = {}


def register_format(
    name: str, holds: str, *, ending: str, takes: tuple[str, ...] = WHICH_PART
) -> Callable[[Write], Write]:
    """Return a decorator that makes a function write a format; see `ExchangeFormat`."""

    def register(write: Write) -> Write:
        _REGISTERED[name] = ExchangeFormat(name, holds, ending, takes, write)
        return write

    return register


@lru_cache(maxsize=1)
def exchange_formats() -> Mapping[str, ExchangeFormat]:
    """Return every format by name, in the order of the alphabet."""
    from gwnet import exchange

    # Formats register when their module is imported; asked for late, as most commands need none of their libraries.
    for module in pkgutil.iter_modules(exchange.__path__):
        importlib.import_module(f"{exchange.__name__}.{module.name}")
    return dict(sorted(_REGISTERED.items()))


def find_format(name: str) -> ExchangeFormat:
    """Return a format by its name.

    Parameters
    ----------
    name : str
        Its name.

    Returns
    -------
    ExchangeFormat
        The format.

    Raises
    ------
    SettingsError
        If there is no such format.
    """
    formats = exchange_formats()
    if name not in formats:
        message = f"There is no format {name!r} to export."
        raise SettingsError(message, fix=f"Give one of {', '.join(formats)}.")
    return formats[name]


def describe_formats() -> str:
    """Return the formats as a Markdown table: name, what is written, what it holds, and the options that it takes."""
    lines = ["| format | written | holds | options |", "|---|---|---|---|"]
    for one in exchange_formats().values():
        taken = ", ".join(f"`{word}`" for option, word in OPTIONS.items() if option in one.takes)
        written = f"file `{one.ending}`" if one.ending else "folder"
        lines.append(f"| `{one.name}` | {written} | {one.holds} | {taken or 'none'} |")
    return "\n".join(lines)
