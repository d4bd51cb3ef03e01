"""The summary: sentences worked out from the record, and the preparer's own discussion."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from gwnet.analysis.levels.bounds import BELOW_SCREEN, SENSOR_OUT
from gwnet.reporting.changes import Change, why_bound
from gwnet.reporting.content import Block, Bullets, Heading, Paragraph
from gwnet.reporting.data import GradientFacts
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import compass, joined
from gwnet.reporting.registry import register_section
from gwnet.reporting.results.findings import period_findings
from gwnet.reporting.results.result import join_sentences
from gwnet.reporting.results.thresholds import threshold_results
from gwnet.reporting.rounds import RoundView
from gwnet.reporting.sections.cover import review_sentence
from gwnet.reporting.view import ReportView

_MOST_ITEMS = 8
_STATES = {
    "no access": "could not be reached",
    "not found": "could not be found",
    "nearby pumping": "had pumping nearby",
    "flowing": "flowed without a number",
    "not usable": "gave a level that is left out",
    SENSOR_OUT: "had the sensor out of water and only a bound",
    BELOW_SCREEN: "had water below the screen and only a bound",
}


@register_section(
    "summary", "Summary", "what was measured, how levels changed, flow, thresholds and findings of the period", place=10
)
def compose_summary(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the summary of a report."""
    blocks: list[Block] = []
    current = view.current
    if current is None:
        logged = logged_wells(view, view.wells["well"])
        text = "No level was measured at the selected wells in this period."
        if logged:
            text = (
                f"No manual reading was made in this period; loggers recorded at {len(logged)} {_wells(len(logged))}."
            )
        blocks.append(Paragraph(text, "lead"))
    else:
        blocks.append(Paragraph(_visits(current), "lead"))
        blocks.append(Paragraph(f"{review_sentence(view.reviews).capitalize()}.", lead_in="Review."))
        blocks.extend(change_paragraphs(view, current, current.wells()))
    blocks.extend(_gradients(view))
    blocks.extend(_thresholds(view))
    blocks.extend(_findings(view))
    if view.definition.discussion:
        blocks.append(Heading("Discussion by the preparer"))
        blocks.extend(Paragraph(text) for text in view.definition.discussion)
    return blocks


def logged_wells(view: ReportView, wells: Iterable[str]) -> list[str]:
    """Return those of some wells at which a logger recorded a head in the period."""
    lines, period = view.data.logger_lines, view.period
    return [well for well in wells if well in lines and lines[well].has_heads(period.first, period.last)]


def _days(view: RoundView) -> str:
    if view.first == view.last:
        return f"on {date_text(view.first)}"
    return f"from {date_text(view.first)} to {date_text(view.last)}"


def _visits(current: RoundView) -> str:
    name = _name_of(current)
    good: list[str] = []
    others: dict[str, list[str]] = {}
    missing: list[str] = []
    for well in current.planned or current.best:
        event = current.best.get(well)
        if event is None:
            missing.append(well)
        elif event["usable"] and not event["bound"] and math.isfinite(event["water_elevation_m"]):
            good.append(well)
        else:
            word = why_bound(event) if event["bound"] else str(event["status"])
            word = word if word != "static" else "not usable"
            others.setdefault(word, []).append(well)
    planned = len(current.planned)
    of_all = (
        f"{planned} planned {_wells(planned)}" if planned else f"{len(current.best)} {_wells(len(current.best))} read"
    )
    parts = [f"Of {of_all}, {len(good)} gave a level that can be compared and mapped"]
    parts.extend(f"{len(wells)} {_state(word, len(wells))} ({joined(wells)})" for word, wells in sorted(others.items()))
    sentence = f"{name} {'; '.join(parts)}."
    if missing:
        sentence += f" {joined(missing)} {_have(missing)} no reading and no reason on record."
    besides = [well for well in current.best if well not in set(current.planned)] if planned else []
    if besides:
        sentence += f" {joined(besides)} {_were(besides)} measured besides the plan."
    return sentence


def _name_of(current: RoundView) -> str:
    if current.is_proposed:
        return f"The levels of {current.code} stand for a gauging round: {current.purpose}."
    return (
        f"Round {current.code} was measured {_days(current)}."
        if current.code
        else f"Levels were taken {_days(current)}."
    )


def _state(status: str, count: int) -> str:
    if status in _STATES:
        return _STATES[status]
    return f"{'was' if count == 1 else 'were'} {status}"


def _wells(count: int) -> str:
    return "well" if count == 1 else "wells"


def _were(wells: list[str]) -> str:
    return "was" if len(wells) == 1 else "were"


def _have(wells: list[str]) -> str:
    return "has" if len(wells) == 1 else "have"


def change_paragraphs(view: ReportView, current: RoundView, wells: Sequence[str]) -> list[Block]:
    """Return how the levels of wells changed since the round before, and in a year."""
    before = view.before(current)
    blocks: list[Block] = []
    if before is not None:
        changes = {well: view.change_since_last(current, well) for well in wells}
        since = f"Since {before.label} ({_days(before).removeprefix('on ').removeprefix('from ')})"
        blocks.append(Paragraph(_change_sentence(changes, view, since), lead_in="Since the last round."))
    yearly = {well: view.change_in_year(current, well) for well in wells}
    if any(change.known for change in yearly.values()):
        sentence = _change_sentence(yearly, view, "Since the same period a year before")
        blocks.append(Paragraph(sentence, lead_in="In a year."))
    else:
        text = "No well has a level in the same period a year before that can be compared."
        blocks.append(Paragraph(text, lead_in="In a year."))
    return blocks


def _change_sentence(changes: dict[str, Change], view: ReportView, since: str) -> str:
    known = {well: change for well, change in changes.items() if change.known}
    significant = {well: change for well, change in known.items() if change.is_significant}
    rose = [well for well, change in significant.items() if change.value_m > 0]
    fell = [well for well, change in significant.items() if change.value_m < 0]
    if not known:
        return f"{since}, no well can be compared."
    counts = [f"the water rose at {_count_of(rose)}", f"fell at {len(fell) or 'none'}"]
    if len(known) > len(significant):
        counts.append(f"was unchanged within the uncertainty at {len(known) - len(significant)}")
    text = f"{since}, {', '.join(counts[:-1])} and {counts[-1]}."
    if rose:
        text += f" The greatest rise was {_extreme(rose, significant, view, largest=True)}."
    if fell:
        text += f" The greatest fall was {_extreme(fell, significant, view, largest=False)}."
    left = len(changes) - len(known)
    if left:
        text += f" {left} {_wells(left)} cannot be compared."
    return text


def _count_of(wells: list[str]) -> str:
    return f"{len(wells)} {_wells(len(wells))}" if wells else "no well"


def _extreme(wells: list[str], changes: dict[str, Change], view: ReportView, *, largest: bool) -> str:
    sign = 1.0 if largest else -1.0
    well = max(wells, key=lambda name: sign * changes[name].value_m)
    change = changes[well]
    return f"{view.measures.plus_minus(abs(change.value_m), change.uncertainty_m)} at {well}"


def _gradients(view: ReportView) -> list[Block]:
    sentences = []
    for facts in view.maps():
        name = view.aquifer_name(facts.aquifer)
        if facts.refused:
            sentences.append(f"{name}, {date_text(facts.day)}: no map. {facts.refused}")
        elif facts.gradient is not None:
            sentences.append(f"{name}, {date_text(facts.day)}: {gradient_sentence(facts.gradient)}")
    if not sentences:
        return []
    if len(sentences) == 1:
        return [Paragraph(sentences[0], lead_in="Flow.")]
    return [Paragraph("Horizontal gradients of the mapped aquifers:", lead_in="Flow."), Bullets(tuple(sentences))]


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
    if not 0 < uncertainty < math.inf:
        return 5
    power = math.floor(math.log10(uncertainty))
    return max(0, -power + (1 if uncertainty < 2 * 10.0**power else 0))


def _thresholds(view: ReportView) -> list[Block]:
    blocks: list[Block] = []
    for number, result in enumerate(threshold_results(view)):
        blocks.append(Paragraph(join_sentences(result.lead, result.text), lead_in="" if number else "Thresholds."))
        if result.items:
            items = list(result.items[:_MOST_ITEMS])
            if len(result.items) > _MOST_ITEMS:
                items.append(f"{len(result.items) - _MOST_ITEMS} more are in the table of thresholds.")
            blocks.append(Bullets(tuple(items)))
    return blocks


def _findings(view: ReportView) -> list[Block]:
    found = period_findings(view)
    if not found:
        return [Paragraph("The checks noticed nothing in the levels of this period.", lead_in="Findings.")]
    wells = sorted({well for well, *_ in found})
    count = f"{len(found)} finding" + ("" if len(found) == 1 else "s")
    text = f"The checks noticed {count} at {joined(wells)}; each is listed under data quality."
    return [Paragraph(text, lead_in="Findings.")]
