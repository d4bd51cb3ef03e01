"""What a check is: its rule, severity, limits, words for the documentation, and the function that gives its findings.

A module of checks has a `CheckList` and adds each check to it where its function is written; the rules, the limits, the
order of the run and the tables of the documentation follow (`gwnet.analysis.checks.rules`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from gwnet.analysis.checks.events import Events

NOTE: Final = "note"
WARNING: Final = "warning"
SERIOUS: Final = "serious"

#: Severities, mildest first.
SEVERITIES: Final = (NOTE, WARNING, SERIOUS)


@dataclass(frozen=True)
class Finding:
    """One thing that a check noticed.

    Attributes
    ----------
    message : str
        One sentence.
    limits : mapping
        Limits and values that the finding rests on.
    row : int
        Position of the event in the events of the site; -1 where it is of no single event. A finding with one cause
        and several events is booked at the first of them.
    rows : tuple of int
        Positions of all events that it concerns, where they are several.
    rule, severity : str
        Those of the check unless given.
    well, round, measured_at : str
        Where it is of no single event: codes, and the day.
    """

    message: str
    limits: Mapping[str, Any] = field(default_factory=dict)
    row: int = -1
    rows: tuple[int, ...] = ()
    rule: str = ""
    severity: str = ""
    well: str = ""
    round: str = ""
    measured_at: str = ""


@dataclass(frozen=True)
class Limit:
    """One limit of a check.

    Attributes
    ----------
    name : str
        Its name in the site's ``check_limits``.
    default : float
        Value where the site sets none.
    meaning : str
        What it limits, in one phrase with its unit.
    source : str
        Where the default comes from.
    """

    name: str
    default: float
    meaning: str
    source: str = "project default"


Find = Callable[["Events"], Iterable[Finding]]


@dataclass(frozen=True)
class Check:
    """One rule that levels are checked by.

    Attributes
    ----------
    rule : str
        The rule, as a plain phrase.
    severity : str
        Severity of its findings where they give none.
    looks_for : str
        What it looks for, for the documentation.
    limits : tuple of Limit
        Limits that it uses.
    others : tuple of str
        Other severities that its findings may have.
    find : callable or None
        Takes the events of a site, gives findings; None where another check finds them.
    is_of_events : bool
        Whether it needs level events; one that does not is run for a site without any as well.
    doubts_level : bool
        Whether it doubts the water level itself, so that an open serious finding keeps the level out of all results.
    """

    rule: str
    severity: str
    looks_for: str
    limits: tuple[Limit, ...] = ()
    others: tuple[str, ...] = ()
    find: Find | None = None
    is_of_events: bool = True
    doubts_level: bool = True

    @property
    def severities(self) -> str:
        """Return the severities that findings may have, in words, mildest first."""
        *before, last = [one for one in SEVERITIES if one in (self.severity, *self.others)]
        return f"{', '.join(before)} or {last}" if before else last

    def run(self, events: Events) -> Iterator[Finding]:
        """Run the check.

        Parameters as `gwnet.analysis.checks`.

        Yields
        ------
        Finding
            What it noticed, with rule and severity.
        """
        # Checks of rounds run without events as well: a round that nobody read has none.
        if self.find is None or (self.is_of_events and not len(events)):
            return
        for finding in self.find(events):
            yield replace(finding, rule=finding.rule or self.rule, severity=finding.severity or self.severity)


class CheckList:
    """The checks of a module, in the order in which they are added."""

    def __init__(self) -> None:
        self.checks: list[Check] = []

    def add(
        self,
        rule: str,
        severity: str,
        looks_for: str,
        *limits: Limit,
        others: tuple[str, ...] = (),
        is_of_events: bool = True,
        doubts_level: bool = True,
    ) -> Callable[[Find], Find]:
        """Add a check whose findings the decorated function gives.

        Parameters
        ----------
        rule, severity, looks_for, *limits, others, is_of_events, doubts_level : object
            As the attributes of `Check`.

        Returns
        -------
        callable
            Decorator that returns the function itself.
        """

        def register(find: Find) -> Find:
            self.checks.append(Check(rule, severity, looks_for, limits, others, find, is_of_events, doubts_level))
            return find

        return register

    def add_rule(self, rule: str, severity: str, looks_for: str, *limits: Limit, others: tuple[str, ...] = ()) -> None:
        """Add a rule whose findings the function of another check gives.

        Parameters
        ----------
        rule, severity, looks_for, *limits, others : object
            As the attributes of `Check`.
        """
        self.checks.append(Check(rule, severity, looks_for, limits, others))
