"""Gathering what the further sections of a report are made from: gradients, changes, seasons, trends and loggers."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from gwnet.analysis.loggers.alone import days_of_loggers_alone
from gwnet.analysis.maps.change import CHANGE_COLUMNS, change_of
from gwnet.analysis.maps.round_gradients import days_of_rounds, gradients_by_round
from gwnet.analysis.maps.site_maps import SetRule
from gwnet.analysis.maps.vertical_pairs import vertical_table
from gwnet.analysis.series.seasons import season_summary
from gwnet.analysis.series.trend_memory import shared_memory
from gwnet.analysis.series.trend_pooled import pooled_trends
from gwnet.analysis.series.trend_summary import trend_summary
from gwnet.analysis.series.trend_thresholds import threshold_dates
from gwnet.analysis.series.trends import trends
from gwnet.analysis.thresholds.record import limits_in_force
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.figures.base.axes import day_number
from gwnet.figures.coverage.data import coverage_plot_data
from gwnet.figures.coverage.draw import coverage_pages, draw_coverage
from gwnet.figures.maps.labels import split_basins
from gwnet.hydro.gradients.seepage import Interval
from gwnet.products.comparisons import ChangeMap
from gwnet.products.gradients import RoundGradients
from gwnet.products.logger_lines import ReportLoggers
from gwnet.products.logger_series import coverage
from gwnet.products.maps import map_context
from gwnet.products.pumping_report import gather_pumping
from gwnet.products.seasons import envelope_figures
from gwnet.products.trends import TrendFigures
from gwnet.reporting.drawing import GRADIENT_MM, MAP_HEIGHT_MM, TEXT_WIDTH_MM
from gwnet.reporting.drawn import drawn_figure
from gwnet.reporting.extras import AquiferChange, Extras, Picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.reporting.content import DrawnFigure
    from gwnet.reporting.data import ReportData
    from gwnet.reporting.definition.parse import Definition
    from gwnet.reporting.definition.period import Period
    from gwnet.store.snapshot import Snapshot

#: A day this far from a year before still counts as a year before [days]: half a quarter.
_YEAR_SLACK_DAYS: Final = 46
#: Envelopes that stand on one page.
_ENVELOPES_A_PAGE: Final = 3


@dataclass(frozen=True)
class _Asked:
    """What a report asks for, and the part of the record that it may use."""

    record: Snapshot
    definition: Definition
    period: Period
    data: ReportData
    wells: pd.DataFrame
    levels: pd.DataFrame
    loggers: ReportLoggers | None

    @property
    def aquifers(self) -> list[str]:
        """Codes of the aquifers of the report, in the order of the record."""
        held = set(self.wells["aquifer"])
        return [str(code) for code in self.data.aquifers["aquifer"] if code in held]

    @property
    def unit(self) -> str:
        """Unit of printing."""
        return self.definition.unit(self.data.site.length_unit)

    @property
    def series_levels(self) -> pd.DataFrame:
        """Levels of seasons and trends: of wells with loggers alone those of every day, not of rounds alone."""
        if not (self.levels["method"] == "logger").any():
            return self.levels
        read = self.levels[self.levels["method"] != "logger"]
        days = days_of_loggers_alone(self.record)
        days = days[(days["method"] == "logger") & days["well"].isin(self.wells["well"])]
        days = days[days["day"] <= pd.Timestamp(self.period.last)]
        return pd.concat([read, days], ignore_index=True) if len(read) else days.reset_index(drop=True)

    @property
    def rule(self) -> SetRule:
        """Which levels enter same-day sets: those of the report's maps."""
        return SetRule(self.definition.maps.window_days, wells=self.definition.wells)


def gather_extras(
    record: Snapshot,
    definition: Definition,
    period: Period,
    data: ReportData,
    loggers: ReportLoggers | None = None,
    step: Callable[[], None] = lambda: None,
) -> Extras:
    """Gather what the further sections of a report need, and only those.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site; pictures draw from what was read, not from it.
    definition : gwnet.reporting.definition.parse.Definition
        What the report holds.
    period : gwnet.reporting.definition.period.Period
        Its period; nothing measured after its end is used.
    data : gwnet.reporting.data.ReportData
        What was gathered already.
    loggers : gwnet.products.logger_lines.ReportLoggers, optional
        What was gathered of loggers; their section stays empty without it.
    step : callable, optional
        Called when what a section needs is gathered.

    Returns
    -------
    gwnet.reporting.extras.Extras
        Frames and pictures.
    """
    wells = definition.members(data.wells)
    # Nothing of the time after, so that the report comes out the same when it is made later.
    levels = data.levels[data.levels["well"].isin(wells["well"]) & (data.levels["day"] <= pd.Timestamp(period.last))]
    asked = _Asked(record, definition, period, data, wells, levels, loggers)
    extras = Extras()
    for names, gather in _GATHERERS.items():
        if definition.has_any(*names):
            extras = gather(asked, extras)
            step()
    return extras


def count_extras(definition: Definition) -> int:
    """Return how many sections of a report need something of their own to be gathered."""
    return sum(definition.has_any(*names) for names in _GATHERERS)


def _drawn(asked: _Asked, make: Callable[[], Figure]) -> Callable[[], DrawnFigure]:
    return lambda: drawn_figure(make(), svg=asked.definition.web_page)


def _gradients(asked: _Asked, extras: Extras) -> Extras:
    tables, pictures = [], []
    for aquifer in asked.aquifers if len(asked.data.rounds) else ():
        own = asked.wells.loc[asked.wells["aquifer"] == aquifer, "well"]
        # Unless wells are named, gauges of rivers take part as well, which a set of wells would leave out.
        names = set(own) if asked.definition.wells else None
        # Of all rounds up to the end of the period: a direction shows as unusual beside the earlier ones alone.
        found = gradients_by_round(asked.record, aquifer, wells=names, end=asked.period.last, rule=asked.rule)
        if not found:
            continue
        context = map_context(asked.record, aquifer)
        rounds = RoundGradients(context, aquifer, tuple(gradient.without_findings() for gradient in found))
        tables.append(rounds.table.assign(aquifer=aquifer))
        if any(gradient.gradient is not None for gradient in found):
            caption = (
                f"Horizontal gradients of {context.named(aquifer)}, a point a round: direction and size, with 95 % "
                "half-widths. Hollow where direction and size are not determined."
            )
            period = (day_number(asked.period.first), day_number(asked.period.last) + 1.0)
            draw = functools.partial(rounds.block, period, (TEXT_WIDTH_MM, GRADIENT_MM[asked.definition.page]))
            pictures.append(
                Picture(f"rose-{aquifer}", caption, f"Gradients over the years. {caption}", _drawn(asked, draw))
            )
    # The window of the maps, so that a cluster on a map and in the table of vertical gradients rests on the same
    # levels.
    window = asked.rule.for_site(asked.record.settings).window_days or 0.0
    vertical = vertical_table(asked.levels, asked.wells, window_days=window)
    gradients = pd.concat(tables, ignore_index=True) if tables else extras.frame("gradients")
    return extras.with_section("gradients", pictures, gradients=gradients, vertical=vertical)


def _changes(asked: _Asked, extras: Extras) -> Extras:
    changes: list[AquiferChange] = []
    for aquifer in asked.aquifers:
        days = [day for _, day in days_of_rounds(asked.record, aquifer) if day <= asked.period.last]
        current = [day for day in days if asked.period.contains(day)]
        if not current:
            continue
        changes += [
            _change(asked, aquifer, max(current), since, what) for since, what in _earlier_days(max(current), days)
        ]
    return replace(extras, changes=tuple(changes))


def _earlier_days(day: dt.date, days: list[dt.date]) -> list[tuple[dt.date, str]]:
    """Return the day of the round before, and the day nearest to a year before."""
    before = [other for other in days if other < day]
    if not before:
        return []
    earlier = [(max(before), "the round before")]
    year = day - dt.timedelta(days=365)
    nearest = min(before, key=lambda other: (abs((other - year).days), other))
    # A round half a quarter from the day a year before is of another season, and its difference not the year's.
    if abs((nearest - year).days) <= _YEAR_SLACK_DAYS and nearest != max(before):
        earlier.append((nearest, "a year before"))
    return earlier


def _change(asked: _Asked, aquifer: str, day: dt.date, since: dt.date, what: str) -> AquiferChange:
    storage = asked.definition.storage.get(aquifer)
    interval = None if storage is None else Interval(storage, storage, f"{storage:g}")
    try:
        result = change_of(asked.record, aquifer, day, since, asked.rule, storage=interval, unit=asked.unit)
    # A change that cannot be mapped is a line of the report with its reason; the other aquifers go on.
    except (AnalysisError, NotFoundError) as error:
        none = pd.DataFrame(columns=list(CHANGE_COLUMNS))
        return AquiferChange(
            aquifer, day, since, what, none, refused=" ".join(filter(None, (error.message, error.fix)))
        )
    context = map_context(asked.record, aquifer)
    sheet = ChangeMap(result, context)
    size = (TEXT_WIDTH_MM, MAP_HEIGHT_MM[asked.definition.page])
    caption = (
        f"Change of water elevation in {context.named(aquifer)} from {since} to {day} "
        f"({what}), rise positive; contours of the differences at the wells, inside the control only."
    )
    key = f"change-{aquifer}-{since}"
    picture = Picture(key, caption, f"Map of change. {caption}", _drawn(asked, lambda: sheet.figure(size)))
    return AquiferChange(aquifer, day, since, what, result.wells, tuple(sheet.facts()), picture)


def _seasons(asked: _Asked, extras: Extras) -> Extras:
    approved = asked.definition.trends.approved_only
    summary = season_summary(asked.series_levels, asked.wells, approved=approved)
    named = list(summary.loc[summary["n"] > 0, "well"])
    sheets = [named[start : start + _ENVELOPES_A_PAGE] for start in range(0, len(named), _ENVELOPES_A_PAGE)]
    pictures = [_envelopes(asked, number, sheet, approved) for number, sheet in enumerate(sheets, start=1)]
    return extras.with_section("seasons", pictures, seasons=summary)


def _envelopes(asked: _Asked, number: int, names: list[str], approved: bool) -> Picture:
    named = ", ".join(names)
    caption = f"The newest year of {named} over the range and the percentiles of each calendar month of the record."
    wells = asked.wells[asked.wells["well"].isin(names)]
    levels = asked.series_levels
    levels = levels[levels["well"].isin(names)]
    context = map_context(asked.record)

    def make() -> Figure:
        # Drawn when the page is set, not now: drawing is shared out among processes.
        (figure,) = envelope_figures(context, levels, wells, approved=approved, unit=asked.unit)
        return figure

    return Picture(f"seasons-{number}", caption, caption, _drawn(asked, make), tuple(names))


def _trends(asked: _Asked, extras: Extras) -> Extras:
    chosen = asked.definition.trends
    levels = asked.series_levels
    if chosen.start is not None:
        levels = levels[levels["day"] >= pd.Timestamp(chosen.start)]
    how: dict[str, Any] = {"method": chosen.method, "seasons": chosen.seasons, "approved": chosen.approved_only}
    limits = limits_in_force(asked.data.thresholds, asked.wells)
    words = "of one value a year" if chosen.method == "kendall" else f"within {chosen.seasons} seasons of a year"
    since = f" from {chosen.start}" if chosen.start else ""
    # From all levels, also where trends begin later: how a year goes with the next is the aquifer's, not the span's.
    memory = shared_memory(
        asked.record, asked.wells, asked.series_levels, end=asked.period.last, approved=chosen.approved_only
    )
    which = "approved levels" if chosen.approved_only else "levels that may be used, provisional ones among them"
    table = trends(levels, asked.wells, memory=memory, **how)
    figures = TrendFigures(
        trends=table,
        levels=levels,
        wells=asked.wells,
        context=map_context(asked.record),
        method=chosen.method,
        seasons=chosen.seasons,
        approved=chosen.approved_only,
        unit=asked.unit,
        memory=memory,
    )
    extras = extras.with_section(
        "trends",
        _trend_pictures(asked, figures),
        trends=table,
        pooled=pooled_trends(levels, asked.wells, **how),
        threshold_dates=threshold_dates(levels, limits, memory=memory, **how),
        trend_summary=trend_summary(levels, asked.wells, limits, memory=memory, **how),
    )
    return replace(extras, trend_text=f"Kendall's test {words}{since}, with {which}")


def _trend_pictures(asked: _Asked, figures: TrendFigures) -> list[Picture]:
    """Return the ranked slopes on as many pages as they take, and their map; nothing where no slope is known."""
    # Axes without a mark would fill pages and say nothing; the table gives the reason of each well.
    if figures.trends["slope_m_per_year"].notna().sum() == 0:
        return []
    ranked = (
        "Slopes of the wells in order of size with 95 % limits; filled where a trend is significant for all wells "
        "together."
    )
    mapped = "Slopes of the wells on the map; filled where a trend is significant for all wells together."
    pictures = [
        Picture(f"slopes-{page + 1}", ranked, ranked, _drawn(asked, lambda page=page: figures.page(page)))  # type: ignore[misc]
        for page in range(figures.pages())
    ]
    placed = asked.wells[asked.wells["easting"].notna() & asked.wells["northing"].notna()]
    basins = split_basins(placed[["easting", "northing"]].to_numpy(dtype=float))
    # Basins far apart would be dots in the corners of one map.
    if len(basins) < 2:
        return [*pictures, Picture("slope-map", mapped, mapped, _drawn(asked, figures.map))]
    for number, members in enumerate(basins, start=1):
        wells = placed.iloc[members]
        own = figures.trends[figures.trends["well"].isin(wells["well"])]
        if own["slope_m_per_year"].notna().any():
            part = replace(figures, wells=wells, trends=own)
            said = f"{mapped} Part {number} of {len(basins)}."
            pictures.append(Picture(f"slope-map-{number}", said, said, _drawn(asked, part.map)))
    return pictures


def _loggers(asked: _Asked, extras: Extras) -> Extras:
    names = [str(code) for code in asked.wells["well"]]
    found = asked.loggers
    # A site without loggers has no empty section about them.
    if found is None or found.table is None or found.table.empty:
        return extras
    # The runs were found when the heads were worked out for the lines; a second time would double the time of a report.
    held = coverage(asked.record, names, loggers_only=True, runs=found.runs)
    data = coverage_plot_data(
        held.deployments,
        held.runs,
        held.hands,
        site=asked.record.settings,
        end=asked.period.last,
        known_on=asked.data.known_on,
    )
    caption = (
        "Who has data when: a row a well and logger, bars where there are samples in use, ticks at manual readings."
    )
    sheets = coverage_pages(data)
    pictures = [
        Picture(
            f"coverage-{number}" if len(sheets) > 1 else "coverage",
            f"{caption} Sheet {number} of {len(sheets)}." if len(sheets) > 1 else caption,
            caption,
            _drawn(asked, lambda sheet=sheet: draw_coverage(sheet, caption=False)),  # type: ignore[misc]
        )
        for number, sheet in enumerate(sheets, start=1)
    ]
    return extras.with_section("loggers", pictures, loggers=found.table)


def _pumping(asked: _Asked, extras: Extras) -> Extras:
    gathered = gather_pumping(asked.record, asked.definition, asked.period)
    pictures = [
        Picture(one.key, one.caption, one.caption, _drawn(asked, partial(one.draw, asked.unit)), (one.test,))
        for one in gathered.figures
    ]
    return extras.with_section("pumping_test", pictures, **gathered.frames)


_GATHERERS: Final[dict[tuple[str, ...], Callable[[_Asked, Extras], Extras]]] = {
    ("gradients", "gradient_rounds"): _gradients,
    ("changes", "aquifers"): _changes,
    ("seasons",): _seasons,
    ("trends",): _trends,
    ("loggers",): _loggers,
    ("pumping_test",): _pumping,
}
