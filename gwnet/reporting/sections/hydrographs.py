"""Hydrographs in groups that share one vertical span."""

from __future__ import annotations

import functools

from gwnet.reporting.content import Block, FigureSlot, Heading, Paragraph, Section
from gwnet.reporting.drawing import HYDROGRAPH_HEIGHT_MM, TEXT_WIDTH_MM, Drawing, FigureFrame
from gwnet.reporting.sections.common import text_of
from gwnet.reporting.view import ReportView

__all__ = ["hydrographs", "well_groups"]


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


def hydrographs(view: ReportView, drawing: Drawing) -> Section:
    """Return the section with the hydrographs."""
    frame = FigureFrame(TEXT_WIDTH_MM, HYDROGRAPH_HEIGHT_MM[view.definition.page], view.measures.unit)
    start = view.definition.hydrographs.start
    counts = view.levels["well"].value_counts()
    blocks: list[Block] = []
    number = 0
    for heading, wells in well_groups(view):
        measured = tuple(well for well in wells if counts.get(well, 0))
        if heading:
            blocks.append(Heading(heading))
        if not measured:
            blocks.append(Paragraph("No level is on record at these wells."))
        for well in measured:
            number += 1
            since = f"From {start.isoformat()}" if start else "Whole record"
            caption = f"Hydrograph of {well}. {since}, {int(counts[well])} events."
            alt = f"{caption} Water elevation above {view.data.site.vertical_datum} and depth to water against time."
            draw = functools.partial(drawing.hydrograph, view, well, measured, frame)
            blocks.append(FigureSlot(f"hydrograph-{number}", caption, alt, draw, bookmark=well))
        unmeasured = sorted(set(wells) - set(measured))
        if measured and unmeasured:
            blocks.append(Paragraph(f"No level is on record at {', '.join(unmeasured)}.", "small"))
    return Section("hydrographs", "Hydrographs", tuple(blocks))
