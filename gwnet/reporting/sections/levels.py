"""Levels of the period: one table a round, compared with the round before and with a year before."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from gwnet.reporting.changes import why_no_number
from gwnet.reporting.content import Block, Cell, Column, Group, PageTitle, Paragraph, Row, Table
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import LONG_UNITS, Measures, joined, moment_text
from gwnet.reporting.registry import register_section
from gwnet.reporting.results.tapes import tape_note
from gwnet.reporting.rounds import Event, RoundView
from gwnet.reporting.sections.common import (
    bound_sign,
    change_cell,
    elevation_cell,
    event_well,
    length_cell,
    length_column,
    text_of,
)
from gwnet.reporting.view import ReportView

NO_REASON = "no reading and no reason on record"
#: Planned wells without a visit that have a row each; more are counted below the table. Project default.
_MOST_MISSING: Final = 12


@register_section(
    "levels",
    "Levels of this period",
    "the levels of each round, with the change since the round before and in a year; reasons stand in the row",
    place=80,
    new_page=True,
)
def compose_levels(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the levels of the period."""
    if not view.in_period:
        return [Paragraph("No level was measured at the selected wells in this period.")]
    blocks: list[Block] = []
    is_one = len(view.in_period) == 1
    for place, gauging in enumerate(reversed(view.in_period)):
        blocks.append(PageTitle(f"Levels of round {gauging.code}" if gauging.code else "Newest levels of the period"))
        blocks.append(_lead(view, gauging, is_first=place == 0))
        blocks.append(replace(_table(view, gauging), dense=not is_one))
    return blocks


def _lead(view: ReportView, gauging: RoundView, *, is_first: bool) -> Paragraph:
    """Return how many wells gave a level and, for the first table, how it is read."""
    measures = view.measures
    good = [well for well, event in gauging.best.items() if _has_level(event)]
    planned = len(gauging.planned)
    days = _days(gauging)
    count = f"{planned} wells planned, {len(good)}" if planned else f"{len(gauging.best)} wells read, {len(good)}"
    before = view.before(gauging)
    last = f" The last round is {before.code or 'the period before'}, {_days(before)}." if before else ""
    lead_in = f"{count} with a level to compare."
    if not is_first:
        return Paragraph(f"{days}.{last}", "lead", lead_in)
    return Paragraph(
        f"{days}, times of {view.data.site.time_zone}. Lengths in {LONG_UNITS[measures.unit]}, elevations above "
        f"{view.data.site.vertical_datum}; depth downward from the measuring point; ± is the 95 % half-width.{last} "
        "Bars: dark for a rise, pale for a fall; none, and the number in italics, where a change is smaller than its "
        "half-width.",
        "lead",
        lead_in,
    )


def _days(gauging: RoundView) -> str:
    return f"{gauging.first}" if gauging.first == gauging.last else f"{gauging.first} to {gauging.last}"


def _has_level(event: Event) -> bool:
    return bool(event["usable"]) and not event["bound"] and math.isfinite(float(event["water_elevation_m"]))


def _columns(view: ReportView) -> tuple[Column, ...]:
    measures = view.measures
    last = length_column("last round", measures, signed=True, group="Change since")
    year = length_column("a year before", measures, signed=True, group="Change since")
    return (
        Column("Well"),
        Column("Measured at"),
        length_column("Depth to water", measures),
        length_column("Measuring point elevation", measures),
        length_column("Water elevation", measures),
        length_column("±", measures),
        replace(last, graphic="bar"),
        replace(year, graphic="bar"),
    )


def _table(view: ReportView, gauging: RoundView) -> Table:
    rows: list[Row] = []
    order = gauging.wells()
    by_well: dict[str, list[Event]] = {}
    for event in gauging.events.to_dict("records"):
        by_well.setdefault(str(event["well"]), []).append(event)
    absent = [well for well in gauging.planned if well not in by_well]
    for code, wells in view.by_aquifer():
        members = {str(well) for well in wells["well"]}
        listed = [well for well in order if well in members and well in by_well]
        missing = [well for well in gauging.planned if well in members and well not in by_well]
        if listed or missing:
            rows.append(Group(view.aquifer_name(code)))
        with_level = [well for well in sorted(listed) if any(_has_level(event) for event in by_well[well])]
        without = [well for well in sorted(listed) if well not in with_level]
        for well in (*with_level, *without):
            rows.extend(_row(view, gauging, event) for event in by_well[well])
        if len(absent) <= _MOST_MISSING:
            rows.extend((Cell(well), *(Cell(None, NO_REASON),) * 7) for well in missing)
    days = _days(gauging)
    name = f"Levels of round {gauging.code}" if gauging.code else "Newest level of each well in the period"
    caption = f"{name}, {days}; elevations above {view.data.site.vertical_datum}, times of {view.data.site.time_zone}."
    key = f"levels-{gauging.code or 'period'}"
    notes = (f"{joined(absent)}: {NO_REASON}.",) if len(absent) > _MOST_MISSING else ()
    return Table(key, caption, _columns(view), tuple(rows), notes, 0, 2, captioned=False, reasons_in_row=True)


def _row(view: ReportView, gauging: RoundView, event: Event) -> tuple[Cell, ...]:
    measures, well = view.measures, str(event["well"])
    is_used = gauging.best.get(well, {}).get("event_id") == event["event_id"]
    status, has_level = str(event["status"]), _has_level(event)
    why = "" if has_level else _why(event, measures)
    head = (Cell(event_well(event)), Cell(moment_text(str(event["measured_at"]))))
    depth = length_cell(event["depth_to_water_m"], measures, why or "no depth on record")
    if not has_level and not math.isfinite(float(event["water_elevation_m"])):
        return (
            (*head, *(Cell(None, why),) * 6)
            if not math.isfinite(float(event["depth_to_water_m"]))
            else (*head, depth, *(Cell(None, why),) * 5)
        )
    if is_used and has_level:
        before = view.before(gauging)
        then = (before.best.get(well) if before is not None else None, view.year_before(gauging).get(well))
        both = (view.change_since_last(gauging, well), view.change_in_year(gauging, well))
        last, year = (
            replace(change_cell(change, measures), note=tape_note(view, event, earlier) if change.known else "")
            for change, earlier in zip(both, then, strict=True)
        )
        changes = (last, year)
    else:
        other = Cell(None, why or "another event of the round is used for the well")
        changes = (other, other)
    level = elevation_cell(event, measures)
    remarks = [status] if has_level and status != "static" else []
    remarks += _remarks(event, measures) if has_level else []
    reason = "; ".join([*([level.reason] if has_level and level.reason else []), *remarks]) if has_level else why
    level = replace(level, strong=has_level, reason=reason)
    half_width = length_cell(event["uncertainty_m"], measures, why or "no half-width known")
    return (
        *head,
        depth,
        length_cell(event["measuring_point_elevation_m"], measures, "no measuring point in force"),
        level,
        replace(half_width, note=tape_note(view, event)),
        *changes,
    )


def _why(event: Event, measures: Measures) -> str:
    """Return why an event gives no level to compare, with its status and remark."""
    why = why_no_number(event) or str(event["status"])
    status = str(event["status"])
    parts = [why if status in why or status == "static" else f"{status}: {why}"]
    if event["bound"] and math.isfinite(float(event["bound_elevation_m"])):
        parts.append(f"head {bound_sign(event) or '≤'} {measures.text(event['bound_elevation_m'])}")
    if note := text_of(event["notes"]):
        # An abbreviation at the start keeps its capitals.
        parts.append(note[0].lower() + note[1:] if note[:2].istitle() else note)
    return "; ".join(dict.fromkeys(parts))


def _remarks(event: Event, measures: Measures) -> list[str]:
    """Return what is said of a level below its row: floating product, and the remark of the field."""
    remarks = []
    thick = float(event["product_thickness_m"])
    if math.isfinite(thick) and thick > 0:
        uncorrected = measures.text(event["water_elevation_uncorrected_m"])
        remarks.append(f"floating product, {measures.text(thick)}; the water surface stands at {uncorrected}")
    if note := text_of(event["notes"]):
        remarks.append(note)
    return remarks
