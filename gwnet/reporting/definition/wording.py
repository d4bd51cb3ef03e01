"""Standing texts of reports: Markdown files with placeholders, turned into content."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from gwnet.errors import ReportError
from gwnet.reporting.content import Block, Bullets, Heading, Paragraph
from gwnet.resources import reports_folder

_PLACEHOLDER: Final = re.compile(r"\{([a-z_]+)\}")


def wording(
    name: str, values: Mapping[str, str] | None = None, own: Mapping[str, str] | None = None
) -> tuple[Block, ...]:
    """Return a standing text as blocks.

    Parameters
    ----------
    name : str
        Name of a file in ``reports/wording``, without its ending.
    values : mapping of str to str, optional
        Text for each placeholder such as ``{unit}``.
    own : mapping of str to str, optional
        Texts of the user's own by name, in place of those that travel with the program.

    Returns
    -------
    tuple of Block
        ``# line``: a heading; ``- lines``: a list; anything else: paragraphs, separated by empty lines.

    Raises
    ------
    ReportError
        If there is no such file, or a placeholder has no value.
    """
    blocks: list[Block] = []
    # An empty file of the user's own leaves the usual text in its place.
    text = (own or {}).get(name, "").strip() or _read(name).strip()
    for part in re.split(r"\n\s*\n", text):
        lines = [line.strip() for line in part.splitlines()]
        if lines[0].startswith("- "):
            blocks.append(Bullets(tuple(_filled(item, name, values or {}) for item in _items(lines))))
            continue
        if lines[0].startswith("# "):
            blocks.append(Heading(_filled(lines[0][2:], name, values or {})))
            # A paragraph may follow its heading without an empty line between them.
            lines = lines[1:]
        if lines:
            blocks.append(Paragraph(_filled(" ".join(lines), name, values or {})))
    return tuple(blocks)


def wording_items(
    name: str, values: Mapping[str, str] | None = None, own: Mapping[str, str] | None = None
) -> tuple[str, ...]:
    """Return the items of the lists in a standing text."""
    return tuple(item for block in wording(name, values, own) if isinstance(block, Bullets) for item in block.items)


def _items(lines: list[str]) -> list[str]:
    items: list[str] = []
    for line in lines:
        if line.startswith("- "):
            items.append(line[2:])
        else:
            # An item may be wrapped in the file; there is one already, since the first line begins an item.
            items[-1] = f"{items[-1]} {line}"
    return items


def _read(name: str) -> str:
    path = reports_folder() / "wording" / f"{name}.md"
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        message = f"The standing text {name!r} of the reports is missing."
        raise ReportError(message, where=str(path), fix="Install gwnet again.") from error


def _filled(text: str, name: str, values: Mapping[str, str]) -> str:
    def value(match: re.Match[str]) -> str:
        if match[1] not in values:
            message = f"The placeholder {{{match[1]}}} has no value."
            raise ReportError(message, where=f"wording/{name}.md")
        return values[match[1]]

    return _PLACEHOLDER.sub(value, text)
