"""Gradient and direction of flow of the mapped aquifers, from the control set of each map."""

from __future__ import annotations

import math
from typing import Final

from gwnet.reporting.data import GradientFacts
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.measures import compass, joined
from gwnet.reporting.results.result import Result, counted
from gwnet.reporting.view import ReportView

SUBJECT: Final = "flow"


def flow_results(view: ReportView) -> list[Result]:
    """Return the gradients of the newest map of each aquifer, each as a sentence; none where there is no map.

    Parameters as `gwnet.reporting`.
    """
    newest = {facts.aquifer: facts for facts in sorted(view.maps(), key=lambda one: one.day)}
    items = []
    determined = 0
    for facts in newest.values():
        name = view.aquifer_name(facts.aquifer)
        if facts.refused:
            items.append(f"{name}, {date_text(facts.day)}: no map. {facts.refused}")
        elif facts.gradient is not None:
            determined += facts.gradient.determined
            items.append(f"{name}, {date_text(facts.day)}: {gradient_sentence(facts.gradient)}")
    if not items:
        return []
    lead = f"The direction of flow is known in {determined} of {counted(len(items), 'mapped aquifer')}."
    if len(items) == determined == 1:
        lead = "The direction of flow is known."
    return [Result(SUBJECT, lead, items=tuple(items))]


def gradient_sentence(gradient: GradientFacts) -> str:
    """Return a gradient in words, or that it is not determined."""
    note = f" {gradient.note[0].upper()}{gradient.note[1:].rstrip('.')}." if gradient.note else ""
    if gradient.without:
        note = f" Left out of this plane for not fitting the neighbours: {joined(list(gradient.without))}.{note}"
    if not gradient.determined:
        limit = f": at most {gradient.upper_limit:.2g}" if math.isfinite(gradient.upper_limit) else ""
        return f"no gradient is distinguishable from zero with {gradient.levels_text}{limit}.{note}"
    decimals = significant_decimals(gradient.magnitude_uncertainty)
    size = f"{gradient.magnitude:.{decimals}f} ± {gradient.magnitude_uncertainty:.{decimals}f}"
    direction = f"{round(gradient.azimuth_deg) % 360}° ± {math.ceil(gradient.azimuth_uncertainty_deg)}°"
    towards = f"{direction} ({compass(gradient.azimuth_deg)})"
    return f"gradient {size}, flow towards {towards}, from {gradient.levels_text}.{note}"


def significant_decimals(uncertainty: float) -> int:
    """Return the decimals that show a half-width by one digit, by two where the first is a 1."""
    # Written so that NaN, with which every comparison is false, is caught as well.
    if not 0 < uncertainty < math.inf:
        return 5
    power = math.floor(math.log10(uncertainty))
    # Rounded to one digit, a half-width that begins with 1 would change by up to a third.
    return max(0, -power + (1 if uncertainty < 2 * 10.0**power else 0))


def count_levels(levels: int, loggers: int, gauges: int) -> str:
    """Return how many levels of each kind a gradient rests on, in the words of the maps.

    Parameters
    ----------
    levels, loggers, gauges : int
        All levels, and how many of them are of loggers and of gauges.

    Examples
    --------
    >>> count_levels(17, 2, 2)
    '13 manual readings, 2 loggers and 2 gauges'
    """
    counts = ((levels - loggers - gauges, "manual reading"), (loggers, "logger"), (gauges, "gauge"))
    return joined([counted(number, word) for number, word in counts if number]) or "no level"
