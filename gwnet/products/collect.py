"""Gathering everything that a report is made from."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.checks.quality import findings
from gwnet.analysis.fieldwork.conditions import conditions_of
from gwnet.analysis.fieldwork.planning import Programme
from gwnet.analysis.levels.as_recorded import add_recorded
from gwnet.analysis.levels.proposed_rounds import choose_rounds, levels_by_round, rounds_in_use
from gwnet.analysis.levels.table import levels
from gwnet.analysis.levels.tape_doubts import find_tape_doubts
from gwnet.analysis.maps.round_gradients import days_of_rounds
from gwnet.analysis.maps.same_day import CONTROL_COLUMNS
from gwnet.analysis.maps.site_maps import SetRule, controls_of, map_of, placed_wells
from gwnet.analysis.review.decisions import join_decisions
from gwnet.analysis.thresholds.logger_days import days_of_loggers
from gwnet.analysis.thresholds.record import limits_of, wells_of
from gwnet.clock import to_utc
from gwnet.constants import REPEAT_TOLERANCE_M, SAME_DAY_WINDOW_DAYS
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.exchange.feature_files import read_features
from gwnet.products.extras import count_extras, gather_extras
from gwnet.products.logger_lines import ReportLoggers, report_loggers
from gwnet.records import RecordState
from gwnet.reporting.data import MapFacts, ReportData, SiteFacts, empty_frame
from gwnet.reporting.mapped import map_facts, refused_map
from gwnet.store.fetch import history
from gwnet.store.fetch.registry import register_entries

if TYPE_CHECKING:
    from gwnet.reporting.definition.parse import Definition
    from gwnet.reporting.definition.period import Period
    from gwnet.store.snapshot import Snapshot

#: Sections that show maps, and those that draw hydrographs.
MAPPED: Final = ("maps", "aquifers", "map_wells", "year")
DRAWN: Final = ("hydrographs", "notable_hydrographs", "year")

#: Parts that are gathered for every report: maps, record, loggers.
_PARTS: Final = 3

#: Before anything was recorded: what an empty record prints as its cut-off.
_BEGINNING = RecordState(0, dt.datetime(1970, 1, 1, tzinfo=dt.UTC))


def collect(
    record: Snapshot,
    definition: Definition,
    period: Period,
    progress: Callable[[int, int], None] | None = None,
) -> ReportData:
    """Gather what a report of one site and period is made from.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site. Printed as its state is the time that it was asked for, else that of its newest
        recording.
    definition : gwnet.reporting.definition.parse.Definition
        What the report holds.
    period : gwnet.reporting.definition.period.Period
        Period of the report.
    progress : callable, optional
        Called with parts gathered and parts in all, as `count_parts`.

    Returns
    -------
    gwnet.reporting.data.ReportData
        Frames and facts.
    """
    done, parts = 0, count_parts(definition)

    def step() -> None:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, parts)

    # Before the levels: a definition may take days of its own in place of the rounds on record.
    rounds = choose_rounds(record, period.first, period.last, definition.days)
    connection, known_on, settings = record.connection, record.known_on, record.settings
    # Placed once, so that maps, gradients and extras take a well to be at one place.
    wells = placed_wells(record)
    maps = maps_of_period(record, definition, period)
    step()
    data = ReportData(
        site=_facts(settings),
        known_on=record.state or _BEGINNING,
        wells=wells,
        levels=add_recorded(record, levels_by_round(record)),
        aquifers=record.aquifers[record.aquifers["aquifer"].isin(set(wells["aquifer"]) - {""})].reset_index(drop=True),
        construction=record.construction,
        measuring_points=record.measuring_point_history,
        rounds=rounds,
        thresholds=limits_of(record),
        stages=record.stages,
        context=record.context,
        findings=join_decisions(record, findings(record)),
        corrections=history.changes(connection, since=_start_of(period.first, settings["time_zone"]), until=known_on),
        deployments=record.deployments,
        tape_checks=record.tape_checks,
        tape_doubts=find_tape_doubts(record),
        sources=record.sources.rename(columns={"row_count": "rows", "loaded_at_utc": "recorded_at_utc"}),
        register=register_entries(connection, known_on, record.site),
        maps=maps,
        corrected_since_utc=None,
        logger_days=_days_for_thresholds(record),
        conditions=conditions_of(Programme(record, period.last)),
    )
    step()
    loggers = _loggers(record, definition)
    step()
    if loggers is not None:
        data = replace(data, logger_lines=loggers.lines)
    return replace(data, extras=gather_extras(record, definition, period, data, loggers, step))


def count_parts(definition: Definition) -> int:
    """Return how many parts are gathered for a report: maps, record, loggers, and what sections need."""
    return _PARTS + count_extras(definition)


def _days_for_thresholds(record: Snapshot) -> pd.DataFrame:
    """Return the daily levels of loggers in the wells that have thresholds."""
    # Of these wells alone: every day of every logger would be most of what a report holds in memory.
    days = days_of_loggers(record, wells_of(limits_of(record)))
    return days if len(days) else empty_frame("levels")


def _loggers(record: Snapshot, definition: Definition) -> ReportLoggers | None:
    """Return what the report needs of loggers; None where no section asks for them."""
    with_status = "loggers" in definition.sections
    # Heads are the dearest part of a record with loggers; a report without them does not work them out.
    if not with_status and not definition.has_any(*DRAWN):
        return None
    wells = [str(code) for code in definition.members(placed_wells(record))["well"]]
    return report_loggers(record, wells, shown_from=definition.hydrographs.start, with_status=with_status)


def _facts(settings: pd.Series) -> SiteFacts:
    def number(name: str, fallback: float) -> float:
        return fallback if pd.isna(settings[name]) else float(settings[name])

    return SiteFacts(
        code=str(settings["site"]),
        name=str(settings["name"]),
        crs=str(settings["crs"]),
        vertical_datum=str(settings["vertical_datum"]),
        length_unit=str(settings["length_unit"]),
        time_zone=str(settings["time_zone"]),
        repeat_tolerance_m=number("repeat_tolerance_m", REPEAT_TOLERANCE_M),
        same_day_window_days=number("same_day_window_days", SAME_DAY_WINDOW_DAYS),
        operator=str(settings["operator"]),
        notes=str(settings["notes"]),
    )


def _start_of(day: dt.date, zone: str) -> dt.datetime:
    """Return the instant at which a local day begins."""
    midnight = np.array([np.datetime64(day, "us")])
    utc = to_utc(midnight, zone).utc[0]
    # In some zones the clocks are put forward at midnight, which does not exist on that day.
    if np.isnat(utc):
        utc = midnight[0]
    moment: dt.datetime = utc.item()
    return moment.replace(tzinfo=dt.UTC)


def maps_of_period(record: Snapshot, definition: Definition, period: Period) -> tuple[MapFacts, ...]:
    """Map each aquifer on the day of the period's newest round, or of each, that has most of its levels.

    Parameters as `gwnet.products`.

    Parameters
    ----------
    period : gwnet.reporting.definition.period.Period
        Period of the report.

    Returns
    -------
    tuple of gwnet.reporting.data.MapFacts
        One an aquifer, drawn or refused with the reason; none where the report has no maps or the period no round.
    """
    if not definition.has_any(*MAPPED) or rounds_in_use(record).empty:
        return ()
    chosen = definition.maps
    features = read_features(
        record.settings["crs"],
        barriers=chosen.barriers,
        boundary=chosen.boundary,
        rivers=chosen.rivers,
        base_layers=chosen.base_layers,
    )
    how: dict[str, Any] = {
        "method": chosen.method,
        "interval_m": chosen.interval_m,
        "features": features,
        "unit": definition.unit(str(record.settings["length_unit"])),
    }
    used = set(record.wells["aquifer"])
    # In the order of the record, which is that of the sections, not in that of the definition.
    wanted = [code for code in record.aquifers["aquifer"] if code in used and code in (definition.aquifers or used)]
    rule = SetRule(chosen.window_days, wells=definition.wells)
    maps: list[MapFacts] = []
    for aquifer in wanted:
        days = _days_in(record, aquifer, period, definition.rounds)
        maps += _maps_of_aquifer(record, aquifer, days[-1:] if chosen.rounds == "newest" else days, rule, how)
    return tuple(maps)


def _maps_of_aquifer(
    record: Snapshot, aquifer: str, days: Sequence[dt.date], rule: SetRule, how: dict[str, Any]
) -> list[MapFacts]:
    """Return the maps of an aquifer at one contour interval, the widest that a day of them needs."""
    maps = [_facts_of_map(record, aquifer, day, rule, how) for day in days]
    intervals = {facts.result.interval_m for facts in maps if facts.result is not None}
    # Contours at several intervals would look like steeper and flatter water on the pages of one aquifer.
    if len(intervals) < 2:
        return maps
    # The widest: a narrow one would crowd the map of the day with the largest range.
    common = {**how, "interval_m": max(intervals)}
    return [
        facts
        if facts.result is None or facts.result.interval_m == common["interval_m"]
        else _facts_of_map(record, aquifer, facts.day, rule, common)
        for facts in maps
    ]


def _days_in(record: Snapshot, aquifer: str, period: Period, chosen: tuple[str, ...]) -> list[dt.date]:
    """Return the days of a period that stand for its rounds, or for those chosen of them, in order of time."""
    days = [day for code, day in days_of_rounds(record, aquifer) if not chosen or code in chosen]
    return sorted(day for day in days if period.contains(day))


def _facts_of_map(record: Snapshot, aquifer: str, day: dt.date, rule: SetRule, how: dict[str, Any]) -> MapFacts:
    """Return the facts of a map; of its set, and why, where it cannot be drawn."""
    # Fetched once for both ways, and kept by the snapshot for the other days.
    table = levels(record)
    try:
        return map_facts(map_of(record, aquifer, day, rule, table=table, **how))
    except (AnalysisError, NotFoundError) as error:
        try:
            # The report still says which levels there were and why each was left out, though no surface goes through
            # them.
            (control,) = controls_of(record, aquifer, [day], rule, table)
        except (AnalysisError, NotFoundError):
            control = pd.DataFrame(columns=list(CONTROL_COLUMNS))
        return refused_map(aquifer, day, control, error)
