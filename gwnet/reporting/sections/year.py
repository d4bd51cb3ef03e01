"""A page an aquifer on its year: high and low water, key hydrographs with crossings, rainfall and abstraction."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from typing import Final

from gwnet.reporting.content import Block, FigureSlot, PageTitle, Paragraph
from gwnet.reporting.drawing import TEXT_WIDTH_MM, YEAR_MAPS_MM, YEAR_STRIPS_MM, Drawing, FigureFrame
from gwnet.reporting.measures import joined
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.hydrographs import HYDROGRAPHS
from gwnet.reporting.sections.maps import MAP, list_notes
from gwnet.reporting.view import ReportView
from gwnet.reporting.year import extreme_maps, key_wells, range_sentence, threshold_sentence, weather_sentence


@register_section(
    "year",
    "The year",
    "a page an aquifer: high and low water beside each other, key hydrographs with thresholds and bars of crossing, "
    "rainfall and abstraction on the same time axis, in three sentences",
    place=16,
    tables=(MAP, HYDROGRAPHS),
    notes=list_notes,
    new_page=True,
)
def compose_year(view: ReportView, drawing: Drawing) -> Sequence[Block]:
    """Return the section with a page an aquifer on its year."""
    blocks: list[Block] = []
    for number, (code, _) in enumerate(view.by_aquifer(), start=1):
        name = view.aquifer_name(code).partition(" (")[0] if code else view.aquifer_name(code)
        blocks.append(PageTitle(f"{name} in {view.period.label}"))
        lead, rest = range_sentence(view, code)
        sentences = (rest, threshold_sentence(view, code), weather_sentence(view))
        text = " ".join(text for text in sentences if text)
        blocks.append(Paragraph(text, "lead", lead))
        lines = math.ceil((len(lead) + len(text)) / _LETTERS_A_LINE)
        blocks.extend(_figures(view, drawing, code, number, max(lines - _USUAL_LINES, 0) * _LINE_MM))
    return blocks


#: Letters of a line of a lead at the least, the lines that the heights of the figures leave room for, and a line's
#: height [mm].
_LETTERS_A_LINE: Final = 105
_USUAL_LINES: Final = 4
_LINE_MM: Final = 4.7


def _figures(view: ReportView, drawing: Drawing, code: str, number: int, less_mm: float) -> list[Block]:
    """Return maps and strips; the strips give way to a long lead."""
    blocks: list[Block] = []
    wells, unit, page = key_wells(view, code), view.measures.unit, view.definition.page
    pair = extreme_maps(view, code)
    if pair is not None:
        frame = FigureFrame(TEXT_WIDTH_MM, YEAR_MAPS_MM[page], unit)
        caption = f"High water on {pair[0].day} and low water on {pair[1].day}, at one scale."
        draw = functools.partial(drawing.high_low, view, pair, wells, frame)
        blocks.append(FigureSlot(f"year-maps-{number}", caption, f"Maps. {caption}", draw, captioned=False))
    else:
        blocks.append(Paragraph("Fewer than two rounds of the period could be mapped.", "small"))
    if wells:
        frame = FigureFrame(TEXT_WIDTH_MM, YEAR_STRIPS_MM[page] - less_mm, unit)
        caption = f"The year at {joined(list(wells))}, with rainfall, stage and abstraction."
        draw = functools.partial(drawing.year_strips, view, wells, frame)
        blocks.append(FigureSlot(f"year-wells-{number}", caption, f"Hydrographs. {caption}", draw, captioned=False))
    return blocks
