"""Hydrographs of all wells, or of the notable ones, as strips of one vertical scale."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gwnet.analysis.thresholds.states import CROSSED, UNCONFIRMED
from gwnet.figures.hydrograph.strip_data import scale_text
from gwnet.reporting.content import Block, FigureSlot, PageTitle, Paragraph
from gwnet.reporting.definition.checks import DAY, KeyTable, one_of
from gwnet.reporting.drawing import HYDROGRAPHS_A_PAGE, HYDROGRAPHS_MM, TEXT_WIDTH_MM, Drawing, FigureFrame
from gwnet.reporting.measures import joined
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import text_of
from gwnet.reporting.view import ReportView

#: Wells whose hydrographs a large network's report has: four pages of them. Project default.
_MOST_NOTABLE: Final = 12


@dataclass(frozen=True, slots=True)
class HydrographSettings:
    """How hydrographs are grouped and from when they are drawn."""

    group_by: str = "aquifer"
    start: dt.date | None = None


HYDROGRAPHS: Final = KeyTable(
    "hydrographs",
    {"group_by": one_of("aquifer", "cluster", "none"), "from": DAY},
    lambda given, _file: HydrographSettings(given.get("group_by", "aquifer"), given.get("from")),
)


def well_groups(view: ReportView) -> list[tuple[str, tuple[str, ...]]]:
    """Return the wells in the groups of the definition, each with its heading."""
    wells = view.wells
    if view.definition.hydrographs.group_by == "aquifer":
        return [(view.aquifer_name(code), tuple(members["well"])) for code, members in view.by_aquifer()]
    if view.definition.hydrographs.group_by == "none":
        return [("", tuple(wells["well"]))]
    clusters: dict[str, list[str]] = {}
    for row in wells.to_dict("records"):
        clusters.setdefault(text_of(row["cluster"]), []).append(str(row["well"]))
    names = sorted(clusters, key=lambda name: (name == "", name))
    return [(f"Cluster {name}" if name else "Wells of no cluster", tuple(clusters[name])) for name in names]


@register_section(
    "hydrographs",
    "Hydrographs",
    "the hydrograph of every well: those with thresholds first, six a page on one vertical scale, with rainfall, stage "
    "and abstraction under them",
    place=95,
    tables=(HYDROGRAPHS,),
    notes=lambda _view: ["hydrographs"],
    new_page=True,
)
def compose_hydrographs(view: ReportView, drawing: Drawing) -> Sequence[Block]:
    """Return the section with the hydrographs."""
    drawable = _lines_on_record(view)
    order = [well for _, wells in well_groups(view) for well in wells if well in drawable]
    limited = {status.well for status in view.thresholds}
    wells = (*(well for well in order if well in limited), *(well for well in order if well not in limited))
    if not wells:
        return [Paragraph("No level is on record at these wells.")]
    blocks: list[Block] = []
    for number, sheet in enumerate(_sheets(wells), start=1):
        blocks.append(PageTitle(_title(sheet, limited), "Hydrographs" if number == 1 else ""))
        blocks.append(Paragraph(_reading(view, drawing, wells), "small"))
        blocks.append(_figure(view, drawing, sheet, wells, number))
    if unmeasured := sorted(set(view.wells["well"]) - set(wells)):
        blocks.append(Paragraph(f"No level is on record at {joined(unmeasured)}.", "small"))
    return blocks


def _title(sheet: Sequence[str], limited: set[str]) -> str:
    ends = sheet[0] if len(sheet) == 1 else f"{sheet[0]} to {sheet[-1]}"
    with_limit = [well for well in sheet if well in limited]
    if len(with_limit) == len(sheet):
        return "Hydrographs: wells with thresholds"
    others = joined([well for well in sheet if well not in limited], most=3)
    return f"Hydrographs: wells with thresholds, and {others}" if with_limit else f"Hydrographs: {ends}"


def _reading(view: ReportView, drawing: Drawing, wells: Sequence[str]) -> str:
    """Return how a page of hydrographs is read: its scale, its datum, what is shaded."""
    scale = scale_text(drawing.strip_scale(view, wells, _frame(view)), view.measures.unit)
    return (
        f"All strips: {scale}, each with an offset of its own; {view.measures.unit} above "
        f"{view.data.site.vertical_datum}. Shaded: the period."
    )


def _frame(view: ReportView) -> FigureFrame:
    return FigureFrame(TEXT_WIDTH_MM, HYDROGRAPHS_MM[view.definition.page], view.measures.unit)


@register_section(
    "notable_hydrographs",
    "Hydrographs of notable wells",
    "the hydrographs of the wells that crossed a threshold or changed most, not more than twelve",
    place=165,
    tables=(HYDROGRAPHS,),
    notes=lambda _view: ["hydrographs"],
)
def compose_notable_hydrographs(view: ReportView, drawing: Drawing) -> Sequence[Block]:
    """Return the section with the hydrographs of the wells that a reader asks for first."""
    wells = notable_wells(view)
    if not wells:
        return [Paragraph("No threshold was crossed, and no change is larger than its uncertainty.")]
    text = (
        f"Wells with a level beyond a threshold, then those with the greatest rise and fall of each aquifer since the "
        f"round before and in a year: {len(wells)} of {len(view.wells)} wells. The data annex has the levels of all."
    )
    sheets = enumerate(_sheets(wells), start=1)
    figures = [_figure(view, drawing, sheet, wells, number, "notable") for number, sheet in sheets]
    return [Paragraph(text), Paragraph(_reading(view, drawing, wells), "small"), *figures]


def notable_wells(view: ReportView) -> tuple[str, ...]:
    """Return the wells at which a threshold is crossed, then those with the greatest changes of each aquifer."""
    drawable = _lines_on_record(view)
    wells = [status.well for status in view.thresholds if status.state in (CROSSED, UNCONFIRMED)]
    current = view.current
    if current is not None:
        for change in (view.change_since_last, view.change_in_year):
            for _, members in view.by_aquifer():
                changes = {str(well): change(current, str(well)) for well in members["well"]}
                clear = [well for well, found in changes.items() if found.known and found.is_significant]
                clear.sort(key=lambda well: (changes[well].value_m, well))
                # The ends of the order are the greatest fall and the greatest rise; a single well is both, and is kept
                # once below.
                wells += [well for well in (clear[:1] + clear[-1:]) if changes[well].value_m]
    return tuple(well for well in dict.fromkeys(wells) if well in drawable)[:_MOST_NOTABLE]


def _lines_on_record(view: ReportView) -> set[str]:
    """Return the wells that have a level event or the heads of a logger."""
    return {*view.levels["well"], *view.data.logger_lines}


def _sheets(group: tuple[str, ...]) -> list[tuple[str, ...]]:
    return [group[start : start + HYDROGRAPHS_A_PAGE] for start in range(0, len(group), HYDROGRAPHS_A_PAGE)]


def _figure(
    view: ReportView,
    drawing: Drawing,
    wells: tuple[str, ...],
    group: tuple[str, ...],
    number: int,
    key: str = "hydrographs",
) -> FigureSlot:
    start = view.definition.hydrographs.start
    since = f"from {start.isoformat()}" if start else "whole record"
    caption = f"Hydrographs of {joined(list(wells))}, {since}; one vertical scale, offsets free."
    alt = f"{caption} Water elevation above {view.data.site.vertical_datum} against time."
    # The whole group with each sheet, as all sheets share the scale of its widest strip.
    draw = functools.partial(drawing.hydrographs, view, wells, group, _frame(view))
    return FigureSlot(f"{key}-{number}", caption, alt, draw, bookmarks=wells, captioned=False)
