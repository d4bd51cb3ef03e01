"""Loggers: coverage, residuals at manual readings, drift and what waits for a decision."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import pandas as pd

from gwnet.reporting.content import Block, Cell, Column, Paragraph, Row, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import local_day
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import day_text, number_of, text_cell, text_of
from gwnet.reporting.sections.comparison import picture_slot
from gwnet.reporting.view import ReportView

_NO_HEAD: Final = "no water elevation is worked out"
_TOO_FEW: Final = "too few manual readings"


_FRAMES: Final = {
    "loggers": (
        "well instrument first_utc last_utc samples coverage_percent gaps manual_readings "
        "last_manual_reading residual_m leave_one_out_residual_m drift_m_per_year drift_share_percent "
        "uncertainty_m findings warnings"
    ),
}


@register_section(
    "loggers",
    "Loggers",
    "the loggers: samples, coverage, residuals at manual readings and drift",
    place=160,
    frames=_FRAMES,
    notes=lambda view: ["loggers"] if len(view.data.extras.frame("loggers")) else [],
)
def compose_loggers(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section on loggers."""
    table = view.data.extras.frame("loggers")
    if table.empty:
        return [Paragraph("No logger is installed in a well of this report.")]
    blocks: list[Block] = [picture_slot(picture) for picture in view.data.extras.pictures.get("loggers", ())]
    blocks.append(_coverage(table, view.data.site.time_zone))
    # A barometer is in no well, and has no manual readings to be held against.
    heads = table[table["well"] != ""]
    if len(heads):
        blocks.append(_residuals(view, heads))
    return blocks


def _coverage(table: pd.DataFrame, zone: str) -> Table:
    columns = (
        Column("Well"),
        Column("Logger"),
        Column("first", group="Samples"),
        Column("last", group="Samples"),
        Column("number", "", 0, "right", group="Samples"),
        Column("Coverage", "%", 1, "right"),
        Column("Gaps", "", 0, "right"),
        Column("Waits for a decision"),
    )
    rows: list[Row] = []
    for row in table.to_dict("records"):
        none = "no sample on record"
        coverage = number_of(row["coverage_percent"])
        rows.append(
            (
                text_cell(row["well"], "barometer"),
                Cell(str(row["instrument"])),
                text_cell(day_text(local_day(row["first_utc"], zone)), none),
                text_cell(day_text(local_day(row["last_utc"], zone)), none),
                Cell(int(row["samples"] or 0)),
                Cell(coverage, "" if math.isfinite(coverage) else none),
                Cell(int(row["gaps"] or 0)),
                text_cell(row["warnings"], "nothing"),
            )
        )
    caption = "Loggers: samples on record, share of the time installed that they cover, gaps and open findings."
    return Table("logger-coverage", caption, columns, tuple(rows), identified_by=3, dense=True)


def _residuals(view: ReportView, table: pd.DataFrame) -> Table:
    measures = view.measures
    # Residuals are small: in metres most of them would be zeros with a digit at the end.
    small, places = ("mm", 0) if measures.unit == "m" else ("ft", 3)
    scale = 1000.0 if measures.unit == "m" else 1.0
    columns = (
        Column("Well"),
        Column("Logger"),
        Column("Manual readings", "", 0, "right"),
        Column("Last one"),
        Column("of the head", small, places, "right", group="Largest residual"),
        Column("left out", small, places, "right", group="Largest residual"),
        Column("rate", f"{small}/year", places, "right", signed=True, group="Drift"),
        Column("share of the range", "%", 0, "right", group="Drift"),
        Column("± of a head", small, places, "right"),
    )

    def length(row: dict[str, Any], name: str) -> Cell:
        value = measures.length(number_of(row[name])) * scale
        return Cell(
            value, "" if math.isfinite(value) else _NO_HEAD if not row["manual_readings"] else "too few manual readings"
        )

    rows: list[Row] = []
    for row in table.to_dict("records"):
        share = number_of(row["drift_share_percent"])
        rows.append(
            (
                Cell(str(row["well"])),
                Cell(str(row["instrument"])),
                Cell(int(row["manual_readings"] or 0)),
                text_cell(str(row["last_manual_reading"])[:10] if text_of(row["last_manual_reading"]) else "", "none"),
                length(row, "residual_m"),
                length(row, "leave_one_out_residual_m"),
                length(row, "drift_m_per_year"),
                Cell(share, "" if math.isfinite(share) else _TOO_FEW),
                length(row, "uncertainty_m"),
            )
        )
    notes = (
        "Residual of the head: manual reading less the anchored head at that moment; left out: less the head that the "
        "other readings alone would give. Drift: how fast the sensor departs upward from the manual readings.",
    )
    caption = "Loggers held against manual readings."
    return Table("logger-residuals", caption, columns, tuple(rows), notes, identified_by=2, dense=True)
