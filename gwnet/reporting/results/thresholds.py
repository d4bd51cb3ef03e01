"""What the thresholds show, the crossings first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gwnet.analysis.thresholds.states import CROSSED, NOT_CROSSED, STATES, UNCONFIRMED, UNJUDGED, ThresholdState
from gwnet.reporting.measures import Measures
from gwnet.reporting.results.result import Result, counted, is_or_are
from gwnet.reporting.threshold_words import lane_sentences, name_threshold
from gwnet.reporting.view import ReportView

SUBJECT: Final = "thresholds"

_PREDICATES: Final = {
    CROSSED: "crossed",
    UNCONFIRMED: "beyond and not yet confirmed",
    NOT_CROSSED: "not crossed",
}


def threshold_results(view: ReportView) -> list[Result]:
    """Return what the thresholds of a report show, by consequence.

    Parameters as `gwnet.reporting`.

    Returns
    -------
    list of Result
        Of each state that a threshold has one result, the thresholds that are not crossed last.
    """
    return results_of_states(view.thresholds, view.measures)


def results_of_states(states: Sequence[ThresholdState], measures: Measures) -> list[Result]:
    """Return what some thresholds show, by consequence.

    Parameters
    ----------
    states : sequence of ThresholdState
        States of the thresholds.
    measures : Measures
        How lengths are printed.

    Returns
    -------
    list of Result
        One a state that a threshold has; one that says so where there is no threshold.
    """
    if not states:
        return [Result(SUBJECT, "No threshold is in force at these wells.")]
    total = len(states)
    return [
        _result(state, [one for one in states if one.state == state], total, measures)
        for state in STATES
        if any(one.state == state for one in states)
    ]


def _result(state: str, members: list[ThresholdState], total: int, measures: Measures) -> Result:
    number = len(members)
    of_all = counted(total, "threshold") if number == total else f"{number} of {counted(total, 'threshold')}"
    verb = f"{is_or_are(number)} {_PREDICATES[state]}" if state != UNJUDGED else "cannot be judged"
    if state == NOT_CROSSED:
        names = ", ".join(name_threshold(one, measures) for one in members)
        return Result(SUBJECT, f"{of_all} {verb}.", f"{names}.", states=(state,))
    items = tuple(f"{name_threshold(one, measures)}: {' '.join(lane_sentences(one, measures))}" for one in members)
    return Result(SUBJECT, f"{of_all} {verb}.", items=items, states=(state,))
