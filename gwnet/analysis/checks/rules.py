"""Every check of levels, in the order of the run and of the documentation."""

from __future__ import annotations

from typing import Final

from gwnet.analysis.checks import places, programme, pumping, quantities, series, steps, visits
from gwnet.analysis.checks.check import Check

#: Every check.
CHECKS: Final[tuple[Check, ...]] = tuple(
    check
    for module in (visits, quantities, series, places, steps, programme, pumping)
    for check in module.CHECKS.checks
)

#: Every rule whose findings are stored; verdicts of other rules are never touched.
RULES: Final[tuple[str, ...]] = tuple(check.rule for check in CHECKS)

#: Rules of findings that doubt the water level itself.
DOUBTING_RULES: Final[frozenset[str]] = frozenset(check.rule for check in CHECKS if check.doubts_level)


def describe_checks() -> str:
    """Return the checks for the documentation.

    Returns
    -------
    str
        Markdown table: rule, what it looks for, severity.
    """
    return markdown_table(
        ("rule", "looks for", "severity"), [(check.rule, check.looks_for, check.severities) for check in CHECKS]
    )


def markdown_table(headings: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    """Return rows as a Markdown table.

    Parameters
    ----------
    headings : tuple of str
        Headings.
    rows : list of tuple of str
        Cells.

    Returns
    -------
    str
        Lines.
    """
    return "\n".join(f"| {' | '.join(cells)} |" for cells in (headings, ("---",) * len(headings), *rows))
