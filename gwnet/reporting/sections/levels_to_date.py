"""Water elevations of every round to date, a column a well."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from gwnet.reporting.changes import is_read_below_screen, why_no_number
from gwnet.reporting.content import Block, Cell, Column, Heading, Paragraph, Row, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import date_of
from gwnet.reporting.registry import register_section
from gwnet.reporting.rounds import Event, best_events
from gwnet.reporting.sections.common import below_screen_text, bound_sign, text_of
from gwnet.reporting.view import ReportView

#: Wells beside each other in one table.
_WELLS_A_TABLE: Final = 10


@register_section("levels_to_date", "Water elevations to date", "the water elevation of every well and round", place=90)
def compose_levels_to_date(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the water elevations of every round to the end of the period."""
    rounds = _rounds(view)
    if not rounds:
        return [Paragraph("No round is on record; the data annex lists every level.")]
    blocks: list[Block] = [
        Paragraph(
            "One level is printed for each well and round: one that may be mapped before a bound, a bound before a "
            "level that is left out, the newest of several. A bound carries its sign. Levels that belong to no round, "
            "and every single reading, are in the data annex.",
            "small",
        )
    ]
    for code, wells in view.by_aquifer():
        measured = [str(well) for well in wells["well"] if any(str(well) in best for _, _, best in rounds)]
        if not measured:
            continue
        blocks.append(Heading(view.aquifer_name(code)))
        parts = enumerate(_parts(measured), start=1)
        blocks.extend(_table(view, code, part, number, rounds) for number, part in parts)
    return blocks


def _parts(wells: list[str]) -> list[list[str]]:
    """Return wells in as few tables as hold them, all about as wide."""
    count = math.ceil(len(wells) / _WELLS_A_TABLE)
    # Evenly: eleven wells are tables of six and five, not of ten and one.
    return [list(part) for part in np.array_split(np.array(wells, dtype=object), count)]


_Round = tuple[str, str, dict[str, Event]]


def _rounds(view: ReportView) -> list[_Round]:
    """Return code, first planned day and the event of each well, round by round."""
    found: list[_Round] = []
    by_round = {str(code): events for code, events in view.levels.groupby("round", sort=False)}
    planned = view.data.rounds
    order = np.argsort([str(date_of(day) or "") for day in planned["starts_on"]], kind="stable")
    for row in planned.iloc[order].to_dict("records"):
        events = by_round.get(str(row["round"]))
        if events is not None:
            found.append((str(row["round"]), str(date_of(row["starts_on"]) or ""), best_events(events)))
    return found


def _table(view: ReportView, aquifer: str, wells: list[str], number: int, rounds: list[_Round]) -> Table:
    measures = view.measures
    columns = (
        Column("Round"),
        Column("From"),
        *(Column(well, measures.unit, measures.decimals, "right") for well in wells),
    )
    rows: list[Row] = [
        (Cell(code), Cell(day), *(_cell(best.get(well), view) for well in wells))
        for code, day, best in rounds
        if any(well in best for well in wells)
    ]
    caption = f"Water elevation above {view.data.site.vertical_datum}: {wells[0]}"
    caption += f" to {wells[-1]}." if len(wells) > 1 else "."
    return Table(f"to-date-{aquifer or 'none'}-{number}", caption, columns, tuple(rows), dense=True)


def _cell(event: Event | None, view: ReportView) -> Cell:
    if event is None:
        return Cell(None, "no visit on record")
    value = view.measures.length(event["water_elevation_m"])
    if not math.isfinite(value):
        return Cell(None, why_no_number(event) or text_of(event["status"]))
    if is_read_below_screen(event):
        return Cell(value, below_screen_text(event, view.measures))
    if event["bound"]:
        return Cell(value, prefix=bound_sign(event))
    why = why_no_number(event)
    return Cell(value, f"left out of maps and trends: {why}" if why else "")
