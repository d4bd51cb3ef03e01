"""A page an aquifer: what was measured, how levels changed, flow, thresholds, and the map."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from gwnet.analysis.thresholds.states import CROSSED
from gwnet.reporting.content import Block, Heading, PageBreak, Paragraph
from gwnet.reporting.data import MapFacts
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import AQUIFER_MAP_MM, Drawing
from gwnet.reporting.measures import joined
from gwnet.reporting.registry import register_section
from gwnet.reporting.results.changes import change_results
from gwnet.reporting.results.flow import gradient_sentence
from gwnet.reporting.results.result import join_sentences
from gwnet.reporting.results.thresholds import results_of_states
from gwnet.reporting.rounds import RoundView
from gwnet.reporting.sections.maps import MAP, list_notes, map_block, newest_maps
from gwnet.reporting.sections.summary import result_blocks
from gwnet.reporting.threshold_words import name_threshold
from gwnet.reporting.view import ReportView


@register_section(
    "aquifers",
    "Aquifers",
    "a page an aquifer: what was measured, how levels changed, flow, thresholds, and the map of the newest round",
    place=15,
    tables=(MAP,),
    notes=list_notes,
    new_page=True,
)
def compose_aquifers(view: ReportView, drawing: Drawing) -> Sequence[Block]:
    """Return the section with a page an aquifer."""
    newest = newest_maps(view)
    blocks: list[Block] = []
    for number, (code, wells) in enumerate(view.by_aquifer(), start=1):
        if blocks:
            blocks.append(PageBreak())
        blocks.append(Heading(view.aquifer_name(code)))
        blocks.extend(_results(view, wells, newest.get(code)))
        if code in newest:
            height = AQUIFER_MAP_MM[view.definition.page]
            blocks.append(map_block(view, newest[code], drawing, f"aquifer-{number}", height, brief=True))
        else:
            blocks.append(Paragraph("No potentiometric map was made for this aquifer and period."))
    return [*blocks, PageBreak()]


def _results(view: ReportView, wells: pd.DataFrame, facts: MapFacts | None) -> list[Block]:
    names, current = [str(well) for well in wells["well"]], view.current
    if current is None:
        return [Paragraph(f"No level was measured at its {_count(len(names))} in this period.", "lead")]
    return [
        Paragraph(_measured(names, current), "lead"),
        *(block for result in change_results(view, names) for block in result_blocks(result)),
        *_flow(facts),
        _thresholds(view, set(names)),
    ]


def _measured(names: Sequence[str], current: RoundView) -> str:
    read = [current.best[well] for well in names if well in current.best]
    good = sum(bool(event["usable"]) and not event["bound"] for event in read if _is_number(event["water_elevation_m"]))
    days = date_text(current.first)
    if current.last != current.first:
        days += f" to {date_text(current.last)}"
    text = f"Of {_count(len(names))}, {good} gave a level in {current.label} ({days}) that can be compared and mapped"
    rest = len(names) - good
    return f"{text}; the other {rest} are listed in the annex." if rest else f"{text}."


def _is_number(value: float) -> bool:
    return math.isfinite(float(value))


def _flow(facts: MapFacts | None) -> list[Block]:
    if facts is None or facts.gradient is None:
        return []
    text = gradient_sentence(facts.gradient)
    if facts.findings:
        levels = "1 level does" if len(facts.findings) == 1 else f"{len(facts.findings)} levels do"
        text += f" {levels} not fit on the map."
    return [Paragraph(f"{text[0].upper()}{text[1:]}", lead_in="Flow.")]


def _thresholds(view: ReportView, names: set[str]) -> Block:
    own = [state for state in view.thresholds if state.well in names]
    leads = join_sentences(*(result.lead for result in results_of_states(own, view.measures)))
    crossed = joined([name_threshold(state, view.measures) for state in own if state.state == CROSSED])
    return Paragraph(f"{leads} Crossed: {crossed}." if crossed else leads, lead_in="Thresholds.")


def _count(wells: int) -> str:
    return "1 well" if wells == 1 else f"{wells} wells"
