"""How levels changed since the round before and in a year, beyond their uncertainty or not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from gwnet.reporting.changes import Change
from gwnet.reporting.results.result import Result, counted
from gwnet.reporting.results.tapes import tape_sentence
from gwnet.reporting.results.visits import days_of
from gwnet.reporting.rounds import Event
from gwnet.reporting.view import ReportView

SUBJECT: Final = "changes"


def change_results(view: ReportView, wells: Sequence[str] | None = None) -> list[Result]:
    """Return how levels changed in the newest round of the period, since the round before and in a year.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    wells : sequence of str, optional
        Wells that are compared; all of the round unless given.

    Returns
    -------
    list of Result
        None where the period has no round.
    """
    current = view.current
    if current is None:
        return []
    names = list(wells if wells is not None else current.wells())
    results = []
    before = view.before(current)
    if before is not None:
        since = f"Since {before.label} ({days_of(before).removeprefix('on ').removeprefix('from ')})"
        changes = {well: view.change_since_last(current, well) for well in names}
        results.append(_result(view, changes, since, (current.best, before.best)))
    yearly = {well: view.change_in_year(current, well) for well in names}
    results.append(
        _result(view, yearly, "Since the same period a year before", (current.best, view.year_before(current)))
    )
    return results


def _result(
    view: ReportView, changes: Mapping[str, Change], since: str, levels: tuple[Mapping[str, Event], Mapping[str, Event]]
) -> Result:
    known = {well: change for well, change in changes.items() if change.known}
    if not known:
        return Result(SUBJECT, f"{since}, no well can be compared.")
    significant = {well: change for well, change in known.items() if change.is_significant}
    rose = [well for well, change in significant.items() if change.value_m > 0]
    fell = [well for well, change in significant.items() if change.value_m < 0]
    counts = [
        f"the water rose at {counted(len(rose), 'well') if rose else 'no well'}",
        f"fell at {len(fell) or 'none'}",
    ]
    if len(known) > len(significant):
        counts.append(f"was unchanged within the uncertainty at {len(known) - len(significant)}")
    lead = f"{since}, {', '.join(counts[:-1])} and {counts[-1]}."
    text = []
    if rose:
        text.append(f"The greatest rise was {_extreme(view, rose, significant, largest=True)}.")
    if fell:
        text.append(f"The greatest fall was {_extreme(view, fell, significant, largest=False)}.")
    left = len(changes) - len(known)
    if left:
        text.append(f"{counted(left, 'well')} cannot be compared.")
    tapes = tape_sentence(view, [event for side in levels for well in known if (event := side.get(well)) is not None])
    if tapes:
        text.append(tapes)
    return Result(SUBJECT, lead, " ".join(text))


def _extreme(view: ReportView, wells: list[str], changes: Mapping[str, Change], *, largest: bool) -> str:
    sign = 1.0 if largest else -1.0
    well = max(wells, key=lambda name: sign * changes[name].value_m)
    change = changes[well]
    return f"{view.measures.plus_minus(abs(change.value_m), change.uncertainty_m)} at {well}"
