"""Seasons and trends of the wells."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import pandas as pd

from gwnet.reporting.content import Block, Cell, Column, Group, Heading, PageTitle, Paragraph, Row, Table
from gwnet.reporting.definition.checks import DAY, FLAG, KeyTable, one_of
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import Measures, joined
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import (
    bound_sign,
    day_text,
    length_column,
    number_cell,
    number_of,
    text_cell,
    text_of,
)
from gwnet.reporting.sections.comparison import picture_slot
from gwnet.reporting.view import ReportView

_TOO_FEW: Final = "too few values"
#: Places of a probability.
_P_DECIMALS: Final = 3


@dataclass(frozen=True, slots=True)
class TrendSettings:
    """How trends are tested, and from when."""

    method: str = "seasonal"
    seasons: int = 4
    start: dt.date | None = None
    approved_only: bool = False


TRENDS: Final = KeyTable(
    "trends",
    {"method": one_of("seasonal", "kendall"), "seasons": one_of(4, 12), "from": DAY, "approved_only": FLAG},
    # A field cannot be called "from", which is a word of the language.
    lambda given, _file: TrendSettings(**{{"from": "start"}.get(key, key): value for key, value in given.items()}),
)
_SEASON_FRAMES: Final = {
    "seasons": (
        "well n first last newest newest_bound newest_m percentile percentile_years amplitude_m "
        "highest_in_year highest highest_bound highest_m lowest lowest_bound lowest_m note"
    ),
}
_TREND_FRAMES: Final = {
    "trends": (
        "well n first last n_bounds p p_adjusted slope_m_per_year slope_lower_m_per_year "
        "slope_upper_m_per_year direction note"
    ),
    "pooled": (
        "aquifer wells p slope_m_per_year slope_lower_m_per_year slope_upper_m_per_year direction "
        "wells_rising wells_falling p_wells_differ note"
    ),
    "threshold_dates": "well threshold kind threshold_elevation_m state reached_on earliest latest season_reached_on "
    "level_reached_on horizon",
    "trend_summary": (
        "well direction since newest percentile threshold threshold_state reached_on earliest latest to_do because data"
    ),
}


@register_section(
    "seasons",
    "Seasons",
    "the newest level of each well in its season, and its yearly cycle",
    place=130,
    tables=(TRENDS,),
    frames=_SEASON_FRAMES,
    notes=lambda view: ["seasons"] if len(view.data.extras.frame("seasons")) else [],
)
def compose_seasons(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section on the newest levels in their season; seasons of a month are drawn where there are any."""
    table = view.data.extras.frame("seasons")
    table = table[table["well"].isin(view.wells["well"]) & (table["n"] > 0)] if len(table) else table
    if table.empty:
        return [Paragraph("No well has a level from which seasons could be worked out.")]
    percentiles = table.loc[table["percentile"].notna()]
    lead = Paragraph(_season_lead(table, percentiles), "lead", _season_first(percentiles))
    blocks: list[Block] = [lead, _season_table(view, table)]
    if len(percentiles):
        blocks.extend(picture_slot(picture) for picture in view.data.extras.pictures.get("seasons", ()))
    return blocks


def _season_first(percentiles: pd.DataFrame) -> str:
    if percentiles.empty:
        return "No level has a percentile of its month."
    # One count for both ends: with the sign turned, above 90 is below -90.
    low, high = (
        int((percentiles["percentile"].astype(float) * turn < limit).sum()) for turn, limit in ((1, 10), (-1, -90))
    )
    return f"Of {len(percentiles)} newest levels with a percentile {low} are below the 10th and {high} above the 90th."


def _season_lead(table: pd.DataFrame, percentiles: pd.DataFrame) -> str:
    if percentiles.empty:
        years = table["percentile_years"].map(number_of)
        most = int(years.max()) if years.notna().any() else 0
        return (
            f"Ten years with a level of that calendar month are asked for, and the longest record has {most}; so no "
            "range of the season is drawn. Highest and lowest levels are those of the whole record."
        )
    return "Highest and lowest levels are those of the whole record."


#: Place of the percentile among the columns of the table; it is left out where no well has one.
_PERCENTILE: Final = 3


def _season_table(view: ReportView, table: pd.DataFrame) -> Table:
    measures = view.measures
    columns = (
        Column("Well"),
        Column("on", group="Newest level"),
        length_column("elevation", measures, group="Newest level"),
        Column("percentile of its month", "%", 0, "right", group="Newest level"),
        length_column("Yearly cycle, low to high", measures),
        Column("High in the year"),
        length_column("elevation", measures, group="Highest"),
        Column("on", group="Highest"),
        length_column("elevation", measures, group="Lowest"),
        Column("on", group="Lowest"),
    )
    notes = (
        "Percentile: the share of years of the record whose level of the same calendar month is lower, by the "
        "position of Weibull, rank / (n + 1). It is stated as a number; no word grades it.",
    )
    rows = _by_aquifer(view, table, _season_row)
    caption = "The newest level of each well in its season, the yearly cycle, and the records."
    whole = Table("seasons", caption, columns, rows, notes, captioned=False, reasons_in_row=True, dense=True)
    return whole if table["percentile"].notna().any() else _without_percentiles(whole)


def _without_percentiles(table: Table) -> Table:
    kept = [place for place in range(len(table.columns)) if place != _PERCENTILE]
    rows = tuple(row if isinstance(row, Group) else tuple(row[place] for place in kept) for row in table.rows)
    return replace(table, columns=tuple(table.columns[place] for place in kept), rows=rows, notes=())


def _by_aquifer(
    view: ReportView, table: pd.DataFrame, make: Callable[[ReportView, dict[str, Any]], tuple[Cell, ...]]
) -> tuple[Row, ...]:
    """Return a row a well, aquifer by aquifer in the order of the report."""
    by_well = {str(row["well"]): row for row in table.to_dict("records")}
    rows: list[Row] = []
    for code, wells in view.by_aquifer():
        members = [by_well[str(well)] for well in wells["well"] if str(well) in by_well]
        if members:
            rows.append(Group(view.aquifer_name(code)))
        rows.extend(make(view, row) for row in members)
    return tuple(rows)


def _season_row(view: ReportView, row: dict[str, Any]) -> tuple[Cell, ...]:
    measures = view.measures
    note = measures.words(text_of(row["note"])) or _TOO_FEW
    percentile, years = number_of(row["percentile"]), number_of(row["percentile_years"])
    amplitude = number_of(row["amplitude_m"])
    sign = bound_sign({"bound": text_of(row["newest_bound"])})
    few = f"only {int(years)} years of that month" if math.isfinite(years) else note
    return (
        Cell(str(row["well"])),
        text_cell(str(row["newest"])[:10] if text_of(row["newest"]) else "", note),
        Cell(measures.length(number_of(row["newest_m"])), prefix=sign),
        Cell(percentile, "" if math.isfinite(percentile) else few),
        # The amplitude is half of the distance from low to high.
        Cell(measures.length(2 * amplitude), "" if math.isfinite(amplitude) else note),
        text_cell(row["highest_in_year"], note),
        _record_cell(row, "highest", measures),
        text_cell(day_text(row["highest"]), note),
        _record_cell(row, "lowest", measures),
        text_cell(day_text(row["lowest"]), note),
    )


def _record_cell(row: dict[str, Any], name: str, measures: Measures) -> Cell:
    """Return the highest or lowest level on record, with its sign where it is a bound."""
    return Cell(
        measures.length(number_of(row[f"{name}_m"])), prefix=bound_sign({"bound": text_of(row[f"{name}_bound"])})
    )


@register_section(
    "trends",
    "Trends",
    "trends of wells and aquifers, and when thresholds would be reached on them",
    place=140,
    tables=(TRENDS,),
    frames=_TREND_FRAMES,
    notes=lambda view: ["trends"] if len(view.data.extras.frame("trends")) else [],
)
def compose_trends(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section on trends of wells and aquifers, and when thresholds would be reached on them."""
    extras = view.data.extras
    table = extras.frame("trends")
    table = table[table["well"].isin(view.wells["well"])]
    if table.empty:
        return [Paragraph("No well has levels that could be tested for a trend.")]
    blocks: list[Block] = [
        PageTitle(_trend_title(table)),
        Paragraph(_trend_rest(table), "lead", _trend_lead(table)),
        _trend_table(view, table),
        Paragraph(
            f"{extras.trend_text}. Ring: median slope, filled where a trend is significant; bar: 95 % limits; an arrow "
            "ends a limit that leaves the scale. A trend says what the record shows and nothing of its cause or of "
            "what comes.",
            "small",
        ),
    ]
    summary = extras.frame("trend_summary")
    summary = summary[summary["well"].isin(view.wells["well"])]
    if len(summary):
        blocks += _summary_blocks(summary)
    pooled = extras.frame("pooled")
    if len(pooled):
        blocks.append(Heading("Aquifers as a whole"))
        blocks.append(_pooled_table(view, pooled))
    dates = extras.frame("threshold_dates")
    dates = dates[dates["well"].isin(view.wells["well"])]
    if len(dates) and "threshold_table" not in view.definition.sections:
        blocks.extend(threshold_date_blocks(view))
    return blocks


def threshold_date_blocks(view: ReportView) -> list[Block]:
    """Return when thresholds are reached on the trends; one sentence for those that no trend leads to."""
    dates = view.data.extras.frame("threshold_dates")
    dates = dates[dates["well"].isin(view.wells["well"])]
    if dates.empty:
        return []
    known = dates[dates["reached_on"].map(day_text) != ""]
    others = dates[dates["reached_on"].map(day_text) == ""]
    blocks: list[Block] = [Heading("Thresholds on the trends")]
    if len(known):
        blocks.append(_threshold_table(view, known))
    reasons: dict[str, list[str]] = {}
    for row in others.to_dict("records"):
        why = view.measures.words(text_of(row.get("note")) or text_of(row["state"]) or "not on this trend")
        # Without what is said of the single well, so that wells with one reason share a sentence.
        reasons.setdefault(why.partition(":")[0].partition(" (")[0], []).append(f"{row['well']} {row['threshold']}")
    if reasons:
        text = "; ".join(f"{joined(names)}: {why}" for why, names in reasons.items())
        blocks.append(Paragraph(f"No date is given for {text}.", "small"))
    return blocks


def _trend_title(table: pd.DataFrame) -> str:
    firsts = [str(first)[:4] for first in table["first"] if text_of(first)]
    return f"Trends since {min(firsts)}" if firsts else "Trends"


def _trend_lead(table: pd.DataFrame) -> str:
    tested = table[table["p_adjusted"].map(number_of).notna()]
    if tested.empty:
        return "No well has levels enough for a test."
    clear = tested[tested["direction"].map(_is_direction)]
    if clear.empty:
        return f"No trend is significant at any of {len(tested)} {'well' if len(tested) == 1 else 'wells'}."
    parts = [
        f"{direction} at {joined([str(well) for well in group['well']])}"
        for direction, group in clear.groupby("direction", sort=True)
    ]
    return f"Trends are significant at {len(clear)} of {len(tested)} wells: {'; '.join(parts)}."


def _is_direction(direction: Any) -> bool:
    """Return whether the direction of a trend is a significant one."""
    return text_of(direction) not in ("", "no significant trend", "insufficient data")


def _trend_rest(table: pd.DataFrame) -> str:
    slopes = table["slope_m_per_year"].map(number_of).dropna()
    p = table["p_adjusted"].map(number_of).dropna()
    if p.empty:
        return ""
    return (
        f"The smallest probability, adjusted for all {len(p)} tests together, is {p.min():.2g}; below 0.05 a trend is "
        f"significant. {int((slopes > 0).sum())} of {len(slopes)} slopes are positive."
    )


def _summary_blocks(table: pd.DataFrame) -> list[Block]:
    """Return what to do next at the wells where there is something to do."""
    due = table[table["to_do"] != "nothing"]
    quiet = len(table) - len(due)
    blocks: list[Block] = [Heading("What to do next")]
    if len(due):
        blocks.append(_summary_table(due))
    if quiet:
        blocks.append(Paragraph(f"Nothing to do at {quiet} {'well' if quiet == 1 else 'wells'}.", "small"))
    return blocks


def _summary_table(table: pd.DataFrame) -> Table:
    ranked = bool(table["percentile"].notna().any())
    dated = any(day_text(day) for day in table["reached_on"])
    columns = (
        Column("Well"),
        Column("Direction"),
        Column("since"),
        Column("Newest level"),
        *((Column("its percentile", "", 0, "right"),) if ranked else ()),
        Column("Threshold"),
        *((Column("reached on"),) if dated else ()),
        Column("What to do next"),
        Column("because"),
    )
    rows: list[Row] = []
    for row in table.to_dict("records"):
        percentile, why = number_of(row["percentile"]), text_of(row["data"])
        reached = text_cell(day_text(row["reached_on"]), text_of(row["threshold_state"]) or "none")
        known = Cell(percentile) if math.isfinite(percentile) else Cell(None, "too few years for a percentile")
        rows.append(
            (
                Cell(str(row["well"])),
                Cell(str(row["direction"])),
                text_cell(row["since"], why),
                text_cell(day_text(row["newest"]), why),
                *((known,) if ranked else ()),
                Cell(text_of(row["threshold"]) or "none"),
                *((reached,) if dated else ()),
                Cell(str(row["to_do"])),
                text_cell(row["because"], "nothing found"),
            )
        )
    caption = "What the levels of each well do and what to do next, the most urgent first."
    return Table("trend-summary", caption, columns, tuple(rows), reasons_in_row=True, dense=True)


def _slope_columns(view: ReportView) -> tuple[Column, ...]:
    unit, places = f"{view.measures.unit}/year", view.measures.decimals
    return (
        Column("slope", unit, places, "right", signed=True, group="Trend"),
        Column("lower limit", unit, places, "right", signed=True, group="Trend"),
        Column("upper limit", unit, places, "right", signed=True, group="Trend"),
    )


def _slope_cells(view: ReportView, row: dict[str, Any], why: str) -> tuple[Cell, ...]:
    names = ("slope_m_per_year", "slope_lower_m_per_year", "slope_upper_m_per_year")
    values = [view.measures.length(number_of(row[name])) for name in names]
    return tuple(Cell(value, "" if math.isfinite(value) else why) for value in values)


def _trend_table(view: ReportView, table: pd.DataFrame) -> Table:
    slope, lower, upper = _slope_columns(view)
    columns = (
        Column("Well"),
        replace(slope, graphic="interval"),
        lower,
        upper,
        Column("p adjusted", "", _P_DECIMALS, "right"),
        Column("Values", align="right"),
    )
    ranked = table.assign(place=table["slope_m_per_year"].map(number_of)).sort_values("place", ascending=False)
    by_code: list[Row] = []
    for code, wells in view.by_aquifer():
        members = ranked[ranked["well"].isin(wells["well"])]
        if len(members):
            by_code.append(Group(view.aquifer_name(code)))
        by_code.extend(_trend_row(view, row) for row in members.to_dict("records"))
    caption = "Trends of the water elevation of each well."
    return Table("trends", caption, columns, tuple(by_code), captioned=False, reasons_in_row=True, dense=True)


def _trend_row(view: ReportView, row: dict[str, Any]) -> tuple[Cell, ...]:
    note = view.measures.words(text_of(row["note"]))
    why = note or _TOO_FEW
    bounds = int(row["n_bounds"] or 0)
    counted = f"{bounds} of {int(row['n'])} values {'is a bound' if bounds == 1 else 'are bounds'}" if bounds else ""
    slope, lower, upper = _slope_cells(view, row, why)
    limits = tuple(number_of(cell.value) for cell in (lower, upper))
    slope = replace(slope, limits=(limits[0], limits[1]), filled=_is_direction(row["direction"]), strong=True)
    return (
        Cell(str(row["well"])),
        slope,
        lower,
        upper,
        _p_cell(row["p_adjusted"], why),
        Cell(int(row["n"]), counted),
    )


def _p_cell(value: Any, why: str) -> Cell:
    p = number_of(value)
    if not math.isfinite(p):
        return Cell(None, why)
    least = 10.0**-_P_DECIMALS
    return Cell(f"< {least:.{_P_DECIMALS}f}") if p < least / 2 else Cell(p)


def _pooled_table(view: ReportView, table: pd.DataFrame) -> Table:
    columns = (
        Column("Aquifer"),
        *(Column(name, align="right", group="Wells") for name in ("tested", "rising", "falling")),
        Column("p", "", _P_DECIMALS, "right"),
        *_slope_columns(view),
        Column("Direction"),
        Column("p that wells differ", "", _P_DECIMALS, "right"),
    )
    rows: list[Row] = []
    for row in table.to_dict("records"):
        why = view.measures.words(text_of(row["note"])) or _TOO_FEW
        rows.append(
            (
                Cell(view.aquifer_name(str(row["aquifer"]))),
                Cell(int(row["wells"])),
                Cell(int(row["wells_rising"])),
                Cell(int(row["wells_falling"])),
                _p_cell(row["p"], why),
                *_slope_cells(view, row, why),
                text_cell(row["direction"], why),
                _p_cell(row["p_wells_differ"], why),
            )
        )
    caption = "One trend for all wells of an aquifer, with the covariance among them."
    return Table("pooled-trends", caption, columns, tuple(rows), captioned=False, reasons_in_row=True)


_PROJECTED: Final = ("reached_on", "earliest", "latest", "season_reached_on", "level_reached_on")


def _threshold_table(view: ReportView, table: pd.DataFrame) -> Table:
    columns = (
        Column("Well"),
        Column("Threshold"),
        Column("Kind"),
        length_column("Level", view.measures),
        Column("On this trend"),
        Column("reached on", group="Projected"),
        Column("earliest", group="Projected"),
        Column("latest", group="Projected"),
        Column("lowest season", group="Projected"),
        Column("first level", group="Projected"),
    )
    rows: list[Row] = []
    for row in table.to_dict("records"):
        why = view.measures.words(text_of(row.get("note"))) or text_of(row["state"]) or "not on this trend"
        rows.append(
            (
                Cell(str(row["well"])),
                Cell(str(row["threshold"])),
                Cell(str(row["kind"])),
                number_cell(view.measures.length(number_of(row["threshold_elevation_m"])), "not known"),
                text_cell(row["state"], why),
                *(text_cell(day_text(row[name]), why) for name in _PROJECTED),
            )
        )
    horizon = day_text(table["horizon"].max())
    caption = (
        "When the line of each trend would reach its threshold if it went on, with limits at 95 %, when its lowest "
        "(for an upper threshold highest) season would, and the first single level beyond; a projection, not a forecast"
        f"{f', and none after {horizon}' if horizon else ''}."
    )
    return Table(
        "threshold-dates", caption, columns, tuple(rows), identified_by=2, captioned=False, reasons_in_row=True
    )
