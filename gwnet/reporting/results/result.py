"""One result of a report: a clause that says it, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Result:
    """A result of a report, as it is printed on the first page.

    Parameters
    ----------
    subject : str
        What it is of, for example ``thresholds``.
    lead : str
        What was found, as a sentence; printed in bold.
    text : str
        What that rests on, one sentence after another; empty where nothing is to be added.
    items : tuple of str
        Single cases, a sentence each; for a list.
    states : tuple of str
        States of thresholds that it tells of, as of `gwnet.analysis.thresholds.states`.
    """

    subject: str
    lead: str
    text: str = ""
    items: tuple[str, ...] = ()
    states: tuple[str, ...] = ()


def counted(number: int, one: str, many: str = "") -> str:
    """Return a number with its noun: ``1 threshold``, ``2 thresholds``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def is_or_are(number: int) -> str:
    """Return the verb of so many."""
    return "is" if number == 1 else "are"
