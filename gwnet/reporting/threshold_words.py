"""States of thresholds in sentences."""

from __future__ import annotations

import datetime as dt
import math
from typing import Final

from gwnet.analysis.thresholds.lanes import CHANGE, GRADIENT, LEVEL, LOGGER, MANUAL
from gwnet.analysis.thresholds.states import UNCONFIRMED, UNJUDGED, Crossing, Extreme, ThresholdState
from gwnet.reporting.content import number_text
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.measures import Measures, moment_text

#: Decimals of a gradient.
_GRADIENT_DECIMALS: Final = 5
_NOUNS: Final = {LEVEL: "", CHANGE: " change", GRADIENT: " gradient"}
_SIGNS = {"<=": "at or below ", ">=": "at or above ", "": ""}


def name_threshold(state: ThresholdState, measures: Measures) -> str:
    """Return a threshold with its well and level: ``W-08 warning (below 51.900 m)``."""
    level = f" ({limit_words(state, measures)})" if math.isfinite(state.level_m) else ""
    return f"{state.well} {state.threshold}{level}"


def limit_words(state: ThresholdState, measures: Measures) -> str:
    """Return what is beyond a threshold in words: ``below 51.900 m``, ``rise of 0.300 m within 30 days``."""
    side = "below" if state.kind == "lower" else "above"
    if state.form == GRADIENT:
        return f"gradient to {state.other_well} {side} {value_text(state, state.level_m, measures)}"
    if state.form == CHANGE:
        within = "within a day" if state.days == 1 else f"within {state.days} days"
        # The limit of a fall is negative on record; a fall is printed by its size.
        turn = state.level_m if state.kind == "upper" else -state.level_m
        if turn > 0:
            return f"{'rise' if state.kind == 'upper' else 'fall'} of {measures.text(turn)} {within}"
        return f"change {side} {value_text(state, state.level_m, measures)} {within}"
    return f"{side} {measures.text(state.level_m)}"


def value_text(state: ThresholdState, value_m: float, measures: Measures, *, signed: bool = True) -> str:
    """Return what is held against a threshold as it is printed: a level, a change with its sign, or a gradient.

    Parameters
    ----------
    state : gwnet.analysis.thresholds.states.ThresholdState
        The threshold.
    value_m : float
        The level, the change, or the difference of head [m].
    measures : Measures
        How lengths are printed.
    signed : bool, optional
        Whether a change has its sign.
    """
    if state.form == GRADIENT:
        return number_text(value_m / state.distance_m, _GRADIENT_DECIMALS)
    return measures.text(value_m, signed=signed and state.form == CHANGE)


def rule_words(state: ThresholdState) -> str:
    """Return what confirms a crossing in words."""
    if state.consecutive == 1:
        return "1 reading, or 1 day of a logger"
    return f"{state.consecutive} readings in a row, or {state.consecutive} days of a logger in a row"


def lane_sentences(state: ThresholdState, measures: Measures) -> list[str]:
    """Return what readings and logger show of a threshold in the period, a sentence each.

    Parameters
    ----------
    state : gwnet.analysis.thresholds.states.ThresholdState
        The state.
    measures : Measures
        How lengths are printed.

    Returns
    -------
    list of str
        First readings, then days of the logger; of the lane that was beyond with its days; then the peak, or how near
        the levels came; then what is wanting for the rule. Empty where nothing can be judged.
    """
    sentences = [text for source in (MANUAL, LOGGER) if (text := _lane(state, source))]
    if state.state == UNJUDGED:
        return [*sentences, f"{capitalised(state.reason.text(measures.text))}."]
    if state.extreme is not None:
        sentences.append(f"{_extreme(state, state.extreme, measures)}.")
    if state.state == UNCONFIRMED:
        sentences.append(f"The rule asks for {rule_words(state)}.")
    return sentences


def capitalised(text: str) -> str:
    """Return a text with a capital letter first."""
    return text[:1].upper() + text[1:]


def _lane(state: ThresholdState, source: str) -> str:
    count = state.counts[source]
    known = count.judged + count.undetermined
    if not known:
        return ""
    one, many = ("reading", "readings") if source == MANUAL else ("logger day", "logger days")
    of_all = f"{count.beyond} of {known} {one if known == 1 else many} beyond"
    crossings = [crossing for crossing in state.crossings if crossing.source == source]
    if not crossings:
        return f"{of_all}." if not count.undetermined else f"{of_all}, {count.undetermined} only a bound."
    if len(crossings) == 1:
        return f"{of_all}, {_days(crossings[0], state, source)}."
    longest = max(crossings, key=lambda crossing: crossing.levels)
    return f"{of_all} in {len(crossings)} crossings, the longest {_days(longest, state, source)}."


def _days(crossing: Crossing, state: ThresholdState, source: str) -> str:
    """Return when a crossing was."""
    if crossing.first == crossing.last:
        return f"on {date_text(crossing.first)}"
    text = f"from {date_text(crossing.first)} to {date_text(crossing.last)}"
    if crossing.in_a_row > 1 and crossing.first < state.first:
        text += f" ({crossing.in_a_row} {'readings' if source == MANUAL else 'days'} in a row)"
    return text


def _extreme(state: ThresholdState, extreme: Extreme, measures: Measures) -> str:
    end = f"{'Lowest' if state.kind == 'lower' else 'Highest'}{_NOUNS[state.form]}"
    how = "beyond" if extreme.margin_m >= 0 else "to spare"
    near = ", less than its half-width" if extreme.is_within_uncertainty else ""
    return (
        f"{end} {_SIGNS[extreme.bound]}{value_text(state, extreme.value_m, measures)} on {_when(extreme.at)}, "
        f"{value_text(state, abs(extreme.margin_m), measures, signed=False)} {how}{near}"
    )


def _when(at: str) -> str:
    """Return a local time or day in words."""
    day, _, clock = moment_text(at).partition("\u00a0")
    text = date_text(dt.date.fromisoformat(day))
    return f"{text} at {clock}" if clock else text
