"""Emphasis on a terminal: words that call for attention stand out, and say the same without it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import Any, Final

import click

#: Cells that stand out, and how. The word itself says it; the emphasis only draws the eye.
STYLES: Final[dict[str, dict[str, Any]]] = {
    "serious": {"bold": True, "fg": "red"},
    "rejected": {"bold": True, "fg": "red"},
    "on hold": {"bold": True, "fg": "yellow"},
    "suspect": {"bold": True, "fg": "yellow"},
    "poor": {"bold": True, "fg": "yellow"},
}


def wanted() -> bool:
    """Return whether output may be emphasised: on a terminal that can, unless NO_COLOR is set."""
    # NO_COLOR counts when it is set to anything but nothing (no-color.org; from memory).
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def emphasised(cell: str) -> str:
    """Return a cell, padded or not, with its emphasis when it holds one of the words and nothing else."""
    style = STYLES.get(cell.strip())
    # The padding stays outside: an underlined or coloured blank would look like a bar.
    return cell.replace(cell.strip(), click.style(cell.strip(), **style)) if style else cell


def chosen() -> Callable[[str], str] | None:
    """Return what emphasises a cell, or None where nothing is emphasised."""
    return emphasised if wanted() else None
