"""The results of the first page: those of a report gathered into a handful, each of two lines or three."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gwnet.analysis.thresholds.lanes import LEVEL, LOGGER, MANUAL
from gwnet.analysis.thresholds.states import CROSSED, NOT_CROSSED, UNCONFIRMED, UNJUDGED, ThresholdState
from gwnet.reporting.content import ResultItem
from gwnet.reporting.results.changes import SUBJECT as CHANGES
from gwnet.reporting.results.flow import SUBJECT as FLOW
from gwnet.reporting.results.order import list_results
from gwnet.reporting.results.quality import CORRECTIONS, LOGGERS, QUALITY
from gwnet.reporting.results.result import Result, counted
from gwnet.reporting.results.statistics import SEASONS, TRENDS
from gwnet.reporting.results.thresholds import SUBJECT as THRESHOLDS
from gwnet.reporting.results.visits import SUBJECT as VISITS
from gwnet.reporting.threshold_page import MARKS
from gwnet.reporting.threshold_words import limit_words, value_text
from gwnet.reporting.view import ReportView

#: Subjects that share an entry, in order of consequence.
_TOGETHER: Final = ((CHANGES,), (FLOW, TRENDS, SEASONS), (VISITS,), (LOGGERS, QUALITY, CORRECTIONS))
#: Most letters of an entry after its first clause; what is longer is cut at a sentence. Project default.
_LONGEST: Final = 230
#: Thresholds that are named in an entry.
_MOST_NAMED: Final = 3


def first_page_results(view: ReportView) -> tuple[ResultItem, ...]:
    """Return the results of the first page in order of consequence.

    Parameters as `gwnet.reporting`.

    Returns
    -------
    tuple of ResultItem
        What was crossed; what is not confirmed or cannot be judged; changes; flow with trends and seasons; visits;
        loggers with data quality and corrections. The sections say each in full.
    """
    found = list_results(view)
    entries = [*_threshold_items(view)]
    if not entries:
        entries = [
            ResultItem(one.lead, one.text, tuple(MARKS[state] for state in one.states))
            for one in found
            if one.subject == THRESHOLDS
        ]
    for subjects in _TOGETHER:
        own = [one for subject in subjects for one in found if one.subject == subject]
        if own:
            entries.append(_together(own))
    return tuple(entries)


def _threshold_items(view: ReportView) -> list[ResultItem]:
    """Return the thresholds that are beyond, then those that cannot be judged; empty where all are kept."""
    total = len(view.thresholds)
    entries = []
    for states in ((CROSSED,), (UNCONFIRMED, UNJUDGED)):
        members = [one for one in view.thresholds if one.state in states]
        if not members:
            continue
        counts = [(state, sum(one.state == state for one in members)) for state in states]
        lead = "; ".join(_count_text(state, number, total) for state, number in counts if number)
        named = [_brief(view, one) for one in members[:_MOST_NAMED]]
        if len(members) > _MOST_NAMED:
            named.append(f"{len(members) - _MOST_NAMED} more")
        marks = tuple(dict.fromkeys(MARKS[one.state] for one in members))
        entries.append(ResultItem(f"{lead[0].upper()}{lead[1:]}.", f"{'; '.join(named)}.", marks))
    if entries and (kept := sum(one.state == NOT_CROSSED for one in view.thresholds)):
        last = entries[-1]
        entries[-1] = ResultItem(
            last.lead, f"{last.text} {kept} {'is' if kept == 1 else 'are'} not crossed.", last.marks
        )
    return entries


def _count_text(state: str, number: int, total: int) -> str:
    of_all = f"{number} of {counted(total, 'threshold')}"
    verb = "is" if number == 1 else "are"
    words = {CROSSED: f"{verb} crossed", UNCONFIRMED: f"{verb} beyond, not yet confirmed", UNJUDGED: "cannot be judged"}
    return f"{of_all} {words[state]}"


def _brief(view: ReportView, state: ThresholdState) -> str:
    """Return a threshold with what readings and logger show of it, in as few words as say it."""
    measures = view.measures
    limit = measures.text(state.level_m) if state.form == LEVEL else limit_words(state, measures)
    name = f"{state.well} {state.threshold} ({limit})"
    if state.state == UNJUDGED:
        return f"{name}: {state.reason.text(measures.text).partition(':')[0]}"
    parts = []
    for source, word in ((LOGGER, "logger day"), (MANUAL, "reading")):
        count = state.counts[source]
        if count.judged:
            parts.append(f"{count.beyond} of {counted(count.judged, word)}")
    peak = ""
    if state.extreme is not None and state.extreme.margin_m >= 0:
        word = "highest" if state.kind == "upper" else "lowest"
        sign = {"<=": "≤ ", ">=": "≥ ", "": ""}[state.extreme.bound]
        peak = f", {word} {sign}{value_text(state, state.extreme.value_m, measures)} on {state.extreme.at[:10]}"
    return f"{name} at {' and '.join(parts)}{peak}"


def _together(results: Sequence[Result]) -> ResultItem:
    """Return several results as one entry: the first clause of the first, then the others in short."""
    first, *others = results
    sentences = [first.text, *first.items]
    for other in others:
        sentences += [other.lead, other.text]
    return ResultItem(first.lead, _cut([text for text in sentences if text]))


def _cut(sentences: Sequence[str]) -> str:
    """Return as many sentences as are short enough together; the first one always."""
    text = ""
    for sentence in sentences:
        longer = f"{text} {sentence}" if text else sentence
        if text and len(longer) > _LONGEST:
            break
        text = longer
    return text
