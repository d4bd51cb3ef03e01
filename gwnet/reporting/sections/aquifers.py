"""A page an aquifer: what was measured, how levels changed, flow, thresholds, and the map."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence

from gwnet.reporting.changes import Change
from gwnet.reporting.content import Block, FigureSlot, PageTitle, Paragraph
from gwnet.reporting.data import MapFacts
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import AQUIFER_MAP_MM, TEXT_WIDTH_MM, Drawing, FigureFrame
from gwnet.reporting.measures import compass, joined
from gwnet.reporting.registry import register_section
from gwnet.reporting.results.flow import significant_decimals
from gwnet.reporting.rounds import RoundView
from gwnet.reporting.sections.maps import MAP, STORAGE, describe_map, list_notes, newest_maps
from gwnet.reporting.view import ReportView


@register_section(
    "aquifers",
    "Aquifers",
    "a page an aquifer: flow, changes and thresholds in a few lines, the map of the newest round at page width, the "
    "changes at the wells",
    place=15,
    tables=(MAP, STORAGE),
    notes=list_notes,
    new_page=True,
)
def compose_aquifers(view: ReportView, drawing: Drawing) -> Sequence[Block]:
    """Return the section with a page an aquifer."""
    newest = newest_maps(view)
    blocks: list[Block] = []
    # those without a map are a few lines each and share a page after the others
    numbered = sorted(enumerate(view.by_aquifer(), start=1), key=lambda item: not _is_mapped(newest.get(item[1][0])))
    for number, (code, wells) in numbered:
        facts = newest.get(code)
        when = f", {date_text(facts.day)}" if facts is not None else ""
        blocks.append(PageTitle(f"{_name(view, code)}{when}", _name(view, code)))
        blocks.append(_lead(view, [str(well) for well in wells["well"]], facts))
        if facts is None:
            blocks.append(Paragraph("No potentiometric map was made for this aquifer and period."))
        elif facts.refused:
            blocks.append(Paragraph(f"No map could be drawn. {facts.refused}"))
        else:
            blocks.append(_page(view, facts, drawing, number))
    return blocks


def _is_mapped(facts: MapFacts | None) -> bool:
    return facts is not None and not facts.refused


def _name(view: ReportView, code: str) -> str:
    return view.aquifer_name(code).partition(" (")[0] if code else view.aquifer_name(code)


def _page(view: ReportView, facts: MapFacts, drawing: Drawing, number: int) -> FigureSlot:
    frame = FigureFrame(TEXT_WIDTH_MM, AQUIFER_MAP_MM[view.definition.page], view.measures.unit)
    caption = f"{describe_map(view, facts)}. Dashed contours are inferred; changes at the wells are drawn as bars."
    draw = functools.partial(drawing.aquifer_page, view, facts, frame)
    return FigureSlot(f"aquifer-{number}", caption, f"Map. {caption}", draw, captioned=False)


def _lead(view: ReportView, wells: Sequence[str], facts: MapFacts | None) -> Paragraph:
    """Return the result of a page in a few lines: flow, then changes, then thresholds."""
    if view.current is None:
        return Paragraph(f"No level was measured at its {_count(len(wells))} in this period.", "lead")
    lead, rest = _flow(facts)
    sentences = [rest, *_changes(view, view.current, wells)]
    if facts is not None and facts.findings:
        count = len(facts.findings)
        sentences.append(f"{'1 level does' if count == 1 else f'{count} levels do'} not fit on the map.")
    return Paragraph(" ".join(sentence for sentence in sentences if sentence), "lead", lead)


def _flow(facts: MapFacts | None) -> tuple[str, str]:
    """Return the direction and size of flow, and from how many levels they are known."""
    if facts is None or facts.gradient is None:
        return "", ""
    gradient = facts.gradient
    if not gradient.determined:
        return "No direction of flow is distinguishable,", f"with {gradient.levels_text}."
    decimals = significant_decimals(gradient.magnitude_uncertainty)
    size = f"{gradient.magnitude:.{decimals}f}\u00a0±\u00a0{gradient.magnitude_uncertainty:.{decimals}f}"
    # Half-widths are rounded up: the arc at 95 % may not be printed narrower than it is. 359.6° is printed as 0°.
    towards = f"{round(gradient.azimuth_deg) % 360}°\u00a0±\u00a0{math.ceil(gradient.azimuth_uncertainty_deg)}°"
    lead = f"Water flows to the {compass(gradient.azimuth_deg)}, towards {towards}, on a gradient of {size},"
    without = f"; without {joined(list(gradient.without))}" if gradient.without else ""
    return lead, f"from {gradient.levels_text}{without}."


def _changes(view: ReportView, current: RoundView, wells: Sequence[str]) -> list[str]:
    texts = []
    before = view.before(current)
    if before is not None:
        changes = {well: view.change_since_last(current, well) for well in wells}
        texts.append(change_text(changes, view, f"Since {date_text(before.first)}"))
    yearly = {well: view.change_in_year(current, well) for well in wells}
    texts.append(change_text(yearly, view, "In a year"))
    return [text for text in texts if text]


def change_text(changes: Mapping[str, Change], view: ReportView, since: str) -> str:
    """Return how the levels of some wells changed in one sentence; empty where none can be compared.

    Parameters
    ----------
    changes : mapping of str to Change
        By well.
    view : ReportView
        The report's look at the record.
    since : str
        Begin of the sentence.
    """
    known = {well: change for well, change in changes.items() if change.known}
    clear = {well: change.value_m for well, change in known.items() if change.is_significant}
    if not known:
        return ""
    rose = {well: value for well, value in clear.items() if value > 0}
    fell = {well: value for well, value in clear.items() if value < 0}
    parts = []
    for word, group in (("rose", rose), ("fell", fell)):
        if group:
            well = max(group, key=lambda name: abs(group[name]))
            most = f"most at {well} ({view.measures.text(group[well], signed=True, decimals=2)})"
            parts.append(f"{word} at {len(group)} of {len(known)} wells compared, {most}")
    if not parts:
        return f"{since} no level of {len(known)} changed by more than its half-width."
    return f"{since} the level {'; it '.join(parts)}."


def _count(wells: int) -> str:
    return "1 well" if wells == 1 else f"{wells} wells"
