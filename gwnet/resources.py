"""Finds the files that travel with the program: revisions, report definitions, documentation and the demo network.

A wheel carries them inside the package; a checkout keeps them at its top level.
"""

from __future__ import annotations

from pathlib import Path

from gwnet.errors import GwnetError

_PACKAGE = Path(__file__).resolve().parent


def _folder(inside: str, beside: str) -> Path:
    for folder in (_PACKAGE / inside, _PACKAGE.parent / beside):
        if folder.is_dir():
            return folder
    message = f"The folder {beside!r} that travels with the program is missing."
    raise GwnetError(message, where=str(_PACKAGE), fix="Install gwnet again.")


def migrations_folder() -> Path:
    """Return the folder of the database revisions."""
    return _folder("_migrations", "migrations")


def reports_folder() -> Path:
    """Return the folder of the report definitions."""
    return _folder("_reports", "reports")


def demo_folder() -> Path:
    """Return the folder of the demo network's files."""
    return _folder("_demo_network", "demo_network")


def docs_folder() -> Path:
    """Return the folder of the pages of the documentation."""
    return _folder("docs", "gwnet/docs")
