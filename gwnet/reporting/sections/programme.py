"""What changed in the network, what was planned and done, and what was met in the field."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import pandas as pd

from gwnet.analysis.thresholds.lanes import CHANGE, GRADIENT
from gwnet.reporting.changes import why_no_number
from gwnet.reporting.content import Block, Cell, Column, Group, Paragraph, Row, Table
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import date_of, joined, local_day, moment_text
from gwnet.reporting.registry import register_section
from gwnet.reporting.results.result import counted
from gwnet.reporting.rounds import RoundView
from gwnet.reporting.sections.common import event_well, text_cell, text_of
from gwnet.reporting.sections.levels import NO_REASON
from gwnet.reporting.view import ReportView

#: Statuses that need no word of their own.
_PLAIN: Final = frozenset({"static"})


@register_section(
    "network_changes",
    "Network changes",
    "what was added to the network, altered or ended in the period",
    place=30,
)
def compose_network_changes(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section on what was added to the network, altered or taken from it in the period."""
    changes = sorted(_changes(view), key=lambda row: (row[0], row[1], row[2]))
    if not changes:
        text = "No well, measuring point, instrument or threshold was added, altered or ended in this period."
        return [Paragraph(text)]
    columns = (Column("Day"), Column("Well"), Column("What changed"), Column("Remarks"))
    rows = tuple(
        (Cell(day.isoformat()), text_cell(well, "concerns no single well"), Cell(what), text_cell(why, "no remarks"))
        for day, well, what, why in changes
    )
    table = Table("network-changes", "Changes of the network in the period.", columns, rows, identified_by=3)
    return [table]


_Change = tuple[dt.date, str, str, str]


def _changes(view: ReportView) -> Iterator[_Change]:
    for day, well, what, why in (*_of_wells(view), *_of_points(view), *_of_instruments(view), *_of_thresholds(view)):
        if day is not None and view.period.contains(day):
            yield day, well, what, why


def _of_wells(view: ReportView) -> Iterator[tuple[dt.date | None, str, str, str]]:
    for row in view.wells.to_dict("records"):
        well, notes = str(row["well"]), text_of(row["notes"])
        yield date_of(row["drilled_on"]), well, "drilled", notes
        successor = text_of(row["replaced_by"])
        ended = f"decommissioned, replaced by {successor}" if successor else "decommissioned"
        yield date_of(row["decommissioned_on"]), well, ended, notes


def _of_points(view: ReportView) -> Iterator[tuple[dt.date | None, str, str, str]]:
    points = view.data.measuring_points
    # A survey that was corrected since is no change of the network.
    live = points[points["retired_at_utc"].isna() & points["well"].isin(view.wells["well"])]
    for row in live.to_dict("records"):
        access = text_of(row["access"])
        name = "measuring point" if access in ("", "main") else f"measuring point of access {access}"
        what = f"{name} {text_of(row['change']) or 'in force'}: {view.measures.text(row['elevation_m'])}"
        why = "; ".join(filter(None, (text_of(row["description"]), text_of(row["notes"]))))
        yield _local(row["valid_from_utc"], view), str(row["well"]), what, why


def _of_instruments(view: ReportView) -> Iterator[tuple[dt.date | None, str, str, str]]:
    deployments = view.data.deployments
    # A barometer is installed in no well.
    known = {*view.wells["well"], ""}
    for row in deployments[deployments["well"].isin(known)].to_dict("records"):
        well, notes = text_of(row["well"]), text_of(row.get("notes"))
        depth = row["hanging_depth_m"]
        where = "" if pd.isna(depth) else f" at {view.measures.text(depth)} below the measuring point"
        what = f"{row['instrument']} installed{where}" if well else f"{row['instrument']} set up as barometer"
        yield _local(row["installed_at_utc"], view), well, what, notes
        yield _local(row["removed_at_utc"], view), well, f"{row['instrument']} removed", notes


def _of_thresholds(view: ReportView) -> Iterator[tuple[dt.date | None, str, str, str]]:
    thresholds = view.data.thresholds
    for row in thresholds[thresholds["well"].isin(view.wells["well"])].to_dict("records"):
        name = f"{row['kind']} threshold “{row['threshold']}” {_limit(view, row)}"
        yield _local(row["valid_from_utc"], view), str(row["well"]), f"{name} in force", text_of(row["basis"])
        yield _local(row["valid_until_utc"], view), str(row["well"]), f"{name} ended", text_of(row["basis"])


def _limit(view: ReportView, row: Mapping[str, Any]) -> str:
    """Return what a threshold limits in words."""
    if row["quantity"] == CHANGE:
        change = view.measures.text(row["limit_m"], signed=True)
        return f"on the change within {counted(int(row['days']), 'day')}, {change}"
    if row["quantity"] == GRADIENT:
        return f"on the gradient to {row['other_well']}, {float(row['gradient']):.5f}"
    return f"at {view.measures.text(row['elevation_m'])}"


def _local(moment: Any, view: ReportView) -> dt.date | None:
    return None if pd.isna(moment) else local_day(moment, view.data.site.time_zone)


@register_section(
    "planned_and_done", "Planned and done", "what was planned in each round and what was done, with reasons", place=40
)
def compose_planned_and_done(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section on what was planned in each round of the period and what was done, with reasons."""
    if not view.in_period:
        return [Paragraph("No round was measured in this period.")]
    columns = (
        Column("Round"),
        Column("Days"),
        Column("Purpose"),
        *(Column(name, "", 0, "right", group="Wells") for name in ("planned", "visited", "with a level", "besides")),
        Column("Not done, and why"),
    )
    rows = tuple(_round_row(gauging) for gauging in view.in_period)
    caption = "Rounds of the period: wells planned, visited, with a level that can be compared, and measured besides."
    return [Table("planned-and-done", caption, columns, rows)]


def _round_row(gauging: RoundView) -> tuple[Cell, ...]:
    planned = set(gauging.planned)
    visited = planned & set(gauging.best)
    measured = [well for well in visited if not why_no_number(gauging.best[well])]
    besides = set(gauging.best) - planned
    days = date_text(gauging.first)
    if gauging.last != gauging.first:
        days = f"{days} to {date_text(gauging.last)}"
    return (
        Cell(gauging.code or "levels without a round"),
        Cell(days),
        text_cell(gauging.purpose, "no purpose on record"),
        *_planned_cells(gauging, len(planned), len(visited), len(measured)),
        Cell(len(besides)),
        Cell("" if gauging.is_proposed else _not_done(gauging), "nothing was planned" if gauging.is_proposed else ""),
    )


def _planned_cells(gauging: RoundView, *counts: int) -> tuple[Cell, ...]:
    """Return the numbers of planned wells, or why there are none."""
    if gauging.is_proposed:
        return tuple(Cell(None, "no round on record") for _ in counts)
    return tuple(Cell(count) for count in counts)


def _not_done(gauging: RoundView) -> str:
    """Return the wells without a level that can be compared, grouped by the reason."""
    reasons: dict[str, list[str]] = {}
    for well in gauging.planned:
        event = gauging.best.get(well)
        why = NO_REASON if event is None else why_no_number(event)
        if why:
            reasons.setdefault(why, []).append(well)
    return "; ".join(f"{joined(wells)}: {why}" for why, wells in reasons.items()) or "every planned well gave a level"


@register_section(
    "field_conditions", "Field conditions and deviations", "what was met at the wells in each round", place=50
)
def compose_field_conditions(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section on what was met at the wells: every status but a plain level, and every remark."""
    if not view.in_period:
        return [Paragraph("No round was measured in this period.")]
    met = {gauging.label: _remarkable(gauging) for gauging in reversed(view.in_period)}
    plain = [label for label, events in met.items() if events.empty]
    blocks: list[Block] = []
    if plain:
        blocks.append(Paragraph(f"Every well of {joined(plain)} was met as usual, and nothing was remarked."))
    if len(plain) < len(met):
        blocks.append(_conditions({label: events for label, events in met.items() if len(events)}))
    return blocks


def _remarkable(gauging: RoundView) -> pd.DataFrame:
    """Return the visits of a round without a plain static level, and those with a remark."""
    events = gauging.events
    return events[~events["status"].isin(_PLAIN) | (events["notes"].fillna("") != "")]


def _conditions(met: Mapping[str, pd.DataFrame]) -> Table:
    """Return one table of the visits of all rounds, newest round first."""
    columns = (Column("Well"), Column("Visited at"), Column("Status"), Column("Remarks"), Column("By"))
    rows: list[Row] = []
    for label, events in met.items():
        rows.append(Group(f"{label[:1].upper()}{label[1:]}"))
        ordered = events.sort_values(["well", "measured_at_utc"], kind="stable").to_dict("records")
        rows.extend(
            (
                Cell(event_well(event)),
                Cell(moment_text(str(event["measured_at"]))),
                Cell(str(event["status"])),
                text_cell(event["notes"], "no remarks"),
                text_cell(event["observer"]),
            )
            for event in ordered
        )
    caption = "What was met at the wells: visits without a plain static level, and remarks, round by round."
    return Table("field-conditions", caption, columns, tuple(rows), identified_by=2)
