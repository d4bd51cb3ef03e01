"""The parts of the pages that come from the code: tables and columns, commands and options, rules, limits, keys.

A page marks such a part with ``<!-- generated: NAME -->`` and ``<!-- end -->`` on lines of their own. What only a
person can say about a column, a rule or a section is in ``notes.toml`` beside this module; a test holds the notes to
the code, and the pages to both.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import Any, Final

from gwnet.docs import commands
from gwnet.resources import docs_folder, reports_folder

_BLOCK: Final = re.compile(r"(<!-- generated: ([\w-]+) -->\n)(.*?)(<!-- end -->)", re.DOTALL)


def list_pages(checkout: Path) -> list[Path]:
    """Return the pages that may have generated parts: README.md of a checkout and the pages of the program."""
    return [checkout / "README.md", *sorted(docs_folder().glob("*.md"))]


def regenerate(page: str) -> str:
    """Return the text of a page with its generated parts written anew; KeyError for a name that is none."""
    return _BLOCK.sub(lambda part: f"{part[1]}{MAKERS[part[2]]().strip()}\n{part[4]}", page)


@cache
def notes() -> dict[str, Any]:
    """Return what people say about columns, rules, sections and topics."""
    return tomllib.loads((Path(__file__).parent / "notes.toml").read_text(encoding="utf-8"))


def _table(headings: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    headings = list(headings)
    lines = [headings, ["---"] * len(headings), *(list(map(str, row)) for row in rows)]
    return "\n".join(f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in line)} |" for line in lines)


def _tables() -> str:
    from gwnet.ingest.tables.documented import describe_tables

    return describe_tables()


def _rejections() -> str:
    from gwnet.ingest.tables.documented import describe_rejections

    return describe_rejections()


def _checks() -> str:
    from gwnet.analysis.checks.rules import RULES

    said = notes()["rules"]
    return _table(
        ["rule", "looks for", "severity"], [(rule, said[rule]["looks_for"], said[rule]["severity"]) for rule in RULES]
    )


def _limits() -> str:
    from gwnet.analysis.checks.limits import LIMITS

    rows = [(f"`{name}`", f"{limit.default:g}", limit.meaning, limit.source) for name, limit in LIMITS.items()]
    return _table(["limit", "default", "what it limits", "source"], rows)


def _logger_findings() -> str:
    from gwnet.analysis.loggers.finding_rules import describe_logger_findings

    return describe_logger_findings()


def _corrections() -> str:
    from gwnet.analysis.loggers.correction_kinds import describe_corrections

    return describe_corrections()


def _sections() -> str:
    from gwnet.reporting.registry import describe_sections

    return describe_sections()


def _definition() -> str:
    text = (reports_folder() / "quarterly.toml").read_text(encoding="utf-8")
    shortened = re.sub(r"^sections = .*?^]", "sections = [ … ]", text, flags=re.DOTALL | re.MULTILINE)
    return f"```toml\n{shortened.strip()}\n```"


def _defaults() -> str:
    """Return the constants that are defaults of the program, from the comments beside them."""
    import gwnet.constants

    wanted = notes()["defaults"]
    text = Path(gwnet.constants.__file__).read_text(encoding="utf-8")
    found = re.findall(r"((?:^#: ?.*\n)+)((?:^[A-Z_0-9]+: Final.*\n)+)", text, re.MULTILINE)
    comments = {
        name: " ".join(line[2:].strip() for line in comment.splitlines())
        for comment, lines in found
        for name in re.findall(r"^([A-Z_0-9]+):", lines, re.MULTILINE)
    }
    rows = [(f"{getattr(gwnet.constants, name):g}", comments[name]) for name in wanted]
    return _table(["value", "what it is, and its source"], rows)


def _cautions() -> str:
    from gwnet.analysis.fieldwork.field_sheet import CAUTIONS

    return "\n".join(f"- {caution}" for caution in CAUTIONS)


def _topics() -> str:
    """Return the list of topics as the index has it, with links from the top of a checkout."""
    index = (docs_folder() / "index.md").read_text(encoding="utf-8")
    items = re.findall(r"^## .*$|^- `[\w-]+`: .*$", index, re.MULTILINE)
    lines = [
        f"\n**{item[3:]}**\n"
        if item.startswith("## ")
        else re.sub(r"`([\w-]+)`", r"[\1](gwnet/docs/\1.md)", item, count=1)
        for item in items
    ]
    return "\n".join(lines)


#: What makes each generated part.
MAKERS: Final[dict[str, Callable[[], str]]] = {
    "tables": _tables,
    "rejections": _rejections,
    "checks": _checks,
    "limits": _limits,
    "logger-findings": _logger_findings,
    "corrections": _corrections,
    "sections": _sections,
    "definition": _definition,
    "defaults": _defaults,
    "cautions": _cautions,
    "topics": _topics,
    "commands": commands.describe_commands,
    "common-options": commands.describe_common_options,
}
