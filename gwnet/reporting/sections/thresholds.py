"""Thresholds, their state over the period, and every crossing of it."""

from __future__ import annotations

import functools
from collections.abc import Sequence

from gwnet.analysis.loggers.daily import DAY_RULE
from gwnet.analysis.thresholds.lanes import CHANGE, GRADIENT, LOGGER, MANUAL
from gwnet.analysis.thresholds.states import CROSSED, Crossing, ThresholdState
from gwnet.reporting.content import Block, Cell, Column, FigureSlot, Paragraph, Table
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import TEXT_WIDTH_MM, THRESHOLDS_MM, Drawing, FigureFrame
from gwnet.reporting.registry import register_section
from gwnet.reporting.results.thresholds import threshold_results
from gwnet.reporting.sections.common import length_cell, length_column, text_cell
from gwnet.reporting.sections.statistics import threshold_date_blocks
from gwnet.reporting.threshold_page import crossing_charts, rows_by_page, threshold_rows
from gwnet.reporting.threshold_words import rule_words
from gwnet.reporting.view import ReportView

#: Height that a long lead may take of a page of rows [mm].
_LEAD_MM = 8.0
#: What is said of a crossing whose levels are not all approved.
_REVIEWED = {True: "provisional", False: ""}
_NONE = "no level of the period can be judged"


@register_section(
    "thresholds",
    "State of the thresholds",
    "a page of the thresholds in force, the one of most consequence first: days of loggers and readings in two lanes "
    "over fifteen months, the state in words, and charts of what was crossed",
    place=12,
    notes=lambda view: ["thresholds"] if view.thresholds else [],
    new_page=True,
)
def compose_thresholds(view: ReportView, drawing: Drawing) -> Sequence[Block]:
    """Return the section with the page of the thresholds."""
    if not view.thresholds:
        return []  # the results on the cover say so
    leads = [result.lead for result in threshold_results(view)]
    period = f"{date_text(view.period.first)} to {date_text(view.period.last)}"
    closes = f" The record closes on {date_text(view.closes_on)}." if view.closes_on < view.period.last else ""
    rule = f"A day of a logger counts by its mean, where it has {DAY_RULE}." if _has_logger_days(view) else ""
    rest = f"{' '.join(leads[1:])} Period {period}.{closes} {rule}"
    blocks: list[Block] = [Paragraph(rest.strip(), "lead", leads[0])]
    rows, charts = threshold_rows(view), crossing_charts(view)
    pages = rows_by_page(rows, THRESHOLDS_MM[view.definition.page] - _LEAD_MM)
    for number, page in enumerate(pages, start=1):
        frame = FigureFrame(TEXT_WIDTH_MM, THRESHOLDS_MM[view.definition.page], view.measures.unit)
        names = ", ".join(f"{row.well} {row.name}: {row.state.lower()}" for row in page)
        caption = "Thresholds, days of loggers and readings beyond them, and their state in the period."
        # Charts on the last page, which alone may have room below its rows.
        draw = functools.partial(drawing.thresholds, view, page, charts if number == len(pages) else [], frame)
        blocks.append(FigureSlot(f"thresholds-{number}", caption, f"{caption} {names}.", draw, captioned=False))
    if caution := _cautions(view):
        blocks.append(caution)
    return blocks


@register_section(
    "threshold_table",
    "Thresholds in numbers",
    "the thresholds with their state over the period, and every crossing by readings and by loggers",
    place=185,
    notes=lambda view: ["thresholds"] if view.thresholds else [],
)
def compose_threshold_table(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section with the thresholds as tables."""
    if not view.thresholds:
        return []
    tables = (_states(view), _crossings(view), _actions(view))
    return [*(table for table in tables if table is not None), *threshold_date_blocks(view)]


def _has_logger_days(view: ReportView) -> bool:
    return any(len(state.lane(LOGGER)) for state in view.thresholds)


def _states(view: ReportView) -> Table:
    measures = view.measures
    columns = (
        Column("Well"),
        Column("Threshold"),
        Column("Kind"),
        length_column("Level", measures),
        Column("State"),
        Column("Beyond", align="right", group="Readings"),
        Column("Of", align="right", group="Readings"),
        Column("Beyond", align="right", group="Logger days"),
        Column("Of", align="right", group="Logger days"),
        length_column("Extreme", measures),
        Column("When"),
        length_column("Beyond by", measures, signed=True),
    )
    caption = (
        f"Thresholds in force and their state over the period; elevations above {view.data.site.vertical_datum}. "
        "Extreme: the lowest level for a lower threshold, the highest for an upper one."
    )
    if any(state.form == GRADIENT for state in view.thresholds):
        caption += " A gradient is held as the head less that of the other well that makes it over their distance."
    rows = tuple(_state_row(view, state) for state in view.thresholds)
    return Table("thresholds", caption, columns, rows, identified_by=2, dense=True)


def _state_row(view: ReportView, state: ThresholdState) -> tuple[Cell, ...]:
    measures, extreme = view.measures, state.extreme
    readings, days = state.counts[MANUAL], state.counts[LOGGER]
    head = (
        Cell(state.well),
        text_cell(state.threshold, "not named"),
        Cell(_kind(state)),
        length_cell(state.level_m, measures, "no measuring point or ground elevation is on record"),
        Cell(state.state, state.reason.text(measures.text), strong=state.state == CROSSED),
        *(Cell(count) for lane in (readings, days) for count in (lane.beyond, lane.judged)),
    )
    if extreme is None:
        return (*head, Cell(None, _NONE), Cell(None, _NONE), Cell(None, _NONE))
    sign = {"<=": "≤", ">=": "≥", "": ""}[extreme.bound]
    return (
        *head,
        Cell(measures.length(extreme.value_m), prefix=sign),
        Cell(extreme.at[:10]),
        length_cell(extreme.margin_m, measures),
    )


def _kind(state: ThresholdState) -> str:
    """Return the side of a limit, and what it limits where that is no level."""
    if state.form == CHANGE:
        return f"{state.kind}, change in {state.days} d"
    if state.form == GRADIENT:
        return f"{state.kind}, less {state.other_well}"
    return state.kind


def _crossings(view: ReportView) -> Table | None:
    rows = tuple(_crossing_row(view, state, crossing) for state in view.thresholds for crossing in state.crossings)
    if not rows:
        return None
    measures = view.measures
    columns = (
        Column("Well"),
        Column("Threshold"),
        Column("By"),
        Column("First"),
        Column("Last"),
        Column("Ended by"),
        Column("Beyond", align="right"),
        Column("In a row", align="right"),
        Column("Confirmed"),
        length_column("Peak", measures),
        Column("Peak on"),
    )
    caption = (
        "Every crossing that reaches into the period, with its levels beyond in the period. Readings and days of a "
        f"logger are counted separately; a day counts by its mean, where it has {DAY_RULE}, and its peak is its lowest "
        "or highest head."
    )
    return Table("crossings", caption, columns, rows, identified_by=4, dense=True)


def _crossing_row(view: ReportView, state: ThresholdState, crossing: Crossing) -> tuple[Cell, ...]:
    goes_on = "no level after it in the period"
    wanting = f"the rule asks for {rule_words(state)}"
    peak = crossing.peak
    return (
        Cell(state.well),
        text_cell(state.threshold, "not named"),
        Cell("readings" if crossing.source == MANUAL else "logger days", _REVIEWED[crossing.is_provisional]),
        Cell(crossing.first.isoformat()),
        Cell(crossing.last.isoformat()),
        text_cell("" if crossing.ended_by is None else crossing.ended_by.isoformat(), goes_on),
        Cell(crossing.levels_in_period),
        Cell(crossing.in_a_row),
        text_cell("" if crossing.confirmed_on is None else crossing.confirmed_on.isoformat(), wanting),
        Cell(view.measures.length(peak.value_m), prefix={"<=": "≤", ">=": "≥", "": ""}[peak.bound]),
        Cell(peak.at[:10]),
    )


def _cautions(view: ReportView) -> Paragraph | None:
    """Return what keeps thresholds from being judged whatever the period, where it is not said of this one."""
    said = [
        f"{state.well} {state.threshold}: {state.caution.text(view.measures.text)}."
        for state in view.thresholds
        if state.caution and state.caution != state.reason
    ]
    return Paragraph(" ".join(said), "small") if said else None


def _actions(view: ReportView) -> Table | None:
    stated = [state for state in view.thresholds if state.basis or state.action]
    if not stated:
        return None
    columns = (Column("Well"), Column("Threshold"), Column("Rule"), Column("Basis"), Column("Action on record"))
    rows = tuple(
        (
            Cell(state.well),
            text_cell(state.threshold, "not named"),
            Cell(rule_words(state)),
            text_cell(state.basis),
            text_cell(state.action, "no action on record"),
        )
        for state in stated
    )
    caption = "What confirms a crossing, the basis of the thresholds, and the actions agreed on."
    return Table("threshold-actions", caption, columns, rows, identified_by=2)
