"""The parts of the pages that come from the code: tables and columns, commands and options, rules, limits, keys.

A page marks such a part with ``<!-- generated: NAME -->`` and ``<!-- end -->`` on lines of their own. What a column, a
rule or a section means is declared where it is defined. A test holds the pages to the code.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import gwnet.constants
from gwnet.analysis.checks.limits import describe_limits
from gwnet.analysis.checks.rules import describe_checks
from gwnet.analysis.fieldwork.field_sheet import CAUTIONS
from gwnet.analysis.fieldwork.pumping_sheet import TEST_CAUTIONS
from gwnet.analysis.levels.default_accuracy import describe_defaults
from gwnet.analysis.loggers.correction_kinds import describe_corrections
from gwnet.analysis.loggers.finding_rules import describe_logger_findings
from gwnet.analysis.pumping.analyses import describe_pumping_methods
from gwnet.docs.commands import describe_commands, describe_common_options
from gwnet.docs.constants import describe_constants
from gwnet.docs.methods import describe_methods
from gwnet.exchange.registry import describe_formats
from gwnet.ingest.loggers.layout import describe_layout_keys
from gwnet.ingest.mapping.mapping import describe_mapping_keys
from gwnet.ingest.tables.documented import describe_rejections, describe_tables
from gwnet.reporting.registry import describe_sections
from gwnet.resources import docs_folder, reports_folder
from gwnet.store.views import describe_views

#: Constants that are defaults of users, in the order of the page `accuracy`.
DEFAULTS: Final = tuple(
    (
        "REPEAT_TOLERANCE_M TAPE_ACCURACY_M TAPE_ACCURACY_DEPTH_M REFERENCE_TAPE_ACCURACY_M UNCHECKED_TAPE_SLOPE "
        "NEVER_CHECKED_TAPE_M TAPE_TEMPERATURE_HALF_WIDTH_DEGC TENSION_CORRECTION_SHARE SURVEY_ACCURACY_M "
        "POINT_MOVEMENT_M_PER_YEAR UNRECORDED_SUMP_M BOTTOM_TOLERANCE_M "
        "PRODUCT_DENSITY_HALF_WIDTH SAME_DAY_WINDOW_DAYS GAUGING_INTERVAL_DAYS "
        "RESURVEY_INTERVAL_DAYS TAPE_CHECK_INTERVAL_DAYS SOUNDING_INTERVAL_DAYS LOGGER_VISIT_INTERVAL_DAYS "
        "LOGGER_ACCURACY_M UNCHECKED_SENSOR_M HANGING_DEPTH_ACCURACY_M AIR_PRESSURE_RATE_PA_S BAROMETER_GAP_S "
        "MANUAL_READING_GAP_S MANUAL_READING_EDGE_S TEMPERATURE_GAP_S DAY_SHARE"
    ).split()
)

_BLOCK: Final = re.compile(r"(<!-- generated: ([\w-]+) -->\n)(.*?)(<!-- end -->)", re.DOTALL)


def list_pages(checkout: Path) -> list[Path]:
    """Return the pages that may have generated parts: README.md of a checkout and the pages of the program."""
    return [checkout / "README.md", *sorted(docs_folder().glob("*.md"))]


def regenerate(page: str) -> str:
    """Return the text of a page with its generated parts written anew; KeyError for a name that is none."""
    return _BLOCK.sub(lambda part: f"{part[1]}{MAKERS[part[2]]().strip()}\n{part[4]}", page)


def _definition() -> str:
    text = (reports_folder() / "quarterly.toml").read_text(encoding="utf-8")
    shortened = re.sub(r"^sections = .*?^]", "sections = [ … ]", text, flags=re.DOTALL | re.MULTILINE)
    return f"```toml\n{shortened.strip()}\n```"


def _defaults() -> str:
    """Return the constants that are defaults of the program, from the comments beside them."""
    text = Path(gwnet.constants.__file__).read_text(encoding="utf-8")
    found = re.findall(r"((?:^#: ?.*\n)+)((?:^[A-Z_0-9]+: Final.*\n)+)", text, re.MULTILINE)
    comments = {
        name: " ".join(line[2:].strip() for line in comment.splitlines())
        for comment, lines in found
        for name in re.findall(r"^([A-Z_0-9]+):", lines, re.MULTILINE)
    }
    rows = [f"| {getattr(gwnet.constants, name):g} | {comments[name]} |" for name in DEFAULTS]
    return "\n".join(["| value | what it is, and its source |", "|---|---|", *rows])


def _cautions(cautions: Sequence[str] = CAUTIONS) -> str:
    return "\n".join(f"- {caution}" for caution in cautions)


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
    "tables": describe_tables,
    "rejections": describe_rejections,
    "checks": describe_checks,
    "limits": describe_limits,
    "logger-findings": describe_logger_findings,
    "corrections": describe_corrections,
    "sections": describe_sections,
    "definition": _definition,
    "defaults": _defaults,
    "constants": describe_constants,
    "default-accuracies": describe_defaults,
    "cautions": _cautions,
    "topics": _topics,
    "pumping-methods": describe_pumping_methods,
    "pumping-cautions": lambda: _cautions(TEST_CAUTIONS),
    "layout-keys": describe_layout_keys,
    "mapping-keys": describe_mapping_keys,
    "methods": describe_methods,
    "commands": describe_commands,
    "common-options": describe_common_options,
    "views": describe_views,
    "formats": describe_formats,
}
