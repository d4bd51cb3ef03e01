"""Sounded depths held against the wells as built."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from gwnet.reporting.content import Block, Cell, Column, Paragraph, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import day_of
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import NOT_ON_RECORD, length_cell, length_column
from gwnet.reporting.view import ReportView


@register_section(
    "sounded_depths", "Sounded depths", "the newest sounded depth of each well against its depth as built", place=190
)
def compose_sounded_depths(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the newest sounding of each well."""
    sounded = view.levels[view.levels["sounded_depth_m"].notna()]
    if sounded.empty:
        text = "No sounded depth is on record at the selected wells."
        return [Paragraph(text)]
    newest = sounded.sort_values(["measured_at_utc", "event_id"], kind="stable").drop_duplicates("well", keep="last")
    soundings = {str(row["well"]): row for row in newest.to_dict("records")}
    measures = view.measures
    columns = (
        Column("Well"),
        Column("Sounded on"),
        length_column("as built", measures, group="Depth below ground", fewer=1),
        length_column("sounded", measures, group="Depth below ground", fewer=1),
        length_column("Sounded less as built", measures, fewer=1, signed=True),
        length_column("Screen bottom", measures, fewer=1),
        Column("Remark"),
    )
    wells = view.wells.to_dict("records")
    rows = [_row(view, well, soundings[str(well["well"])]) for well in wells if str(well["well"]) in soundings]
    caption = "Newest sounded depth of each well against the depth as built; depths below ground, positive downward."
    never = sorted(set(view.wells["well"]) - set(soundings))
    notes = (f"Never sounded on record: {', '.join(never)}.",) if never else ()
    table = Table("sounded-depths", caption, columns, tuple(rows), notes, dense=True)
    return [table]


def _row(view: ReportView, well: dict[str, Any], sounding: dict[str, Any]) -> tuple[Cell, ...]:
    measures = view.measures
    depth, built = float(sounding["sounded_depth_m"]), _float(well["total_depth_m"])
    difference = "depth as built not on record"
    return (
        Cell(str(well["well"])),
        Cell(day_of(str(sounding["measured_at"])).isoformat()),
        length_cell(built, measures),
        length_cell(depth, measures),
        length_cell(depth - built, measures, difference),
        length_cell(well["screen_bottom_m"], measures),
        _remark(view, well, depth),
    )


def _float(value: Any) -> float:
    return math.nan if pd.isna(value) else float(value)


def _remark(view: ReportView, well: dict[str, Any], depth: float) -> Cell:
    top, bottom = _float(well["screen_top_m"]), _float(well["screen_bottom_m"])
    if math.isnan(bottom):
        return Cell(None, NOT_ON_RECORD)
    blocked = bottom - depth
    if blocked <= 0:
        return Cell("screen free")
    # A probe that stops above the screen stands on sediment or on an obstruction; its depth cannot say on which.
    if depth <= top:
        return Cell("screen covered or well obstructed", strong=True)
    return Cell(
        f"lower {view.measures.text(blocked, decimals=max(view.measures.decimals - 1, 1))} of the screen covered"
    )
