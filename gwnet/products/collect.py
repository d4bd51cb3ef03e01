"""Gathering everything that a report is made from."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.checks.quality import findings
from gwnet.analysis.levels.places import located
from gwnet.analysis.levels.table import levels
from gwnet.analysis.levels.thresholds import with_elevations
from gwnet.analysis.maps.same_day import CONTROL_COLUMNS
from gwnet.analysis.maps.site_maps import control_of, map_of
from gwnet.analysis.review.decisions import join_decisions
from gwnet.clock import to_utc
from gwnet.constants import REPEAT_TOLERANCE_M, SAME_DAY_WINDOW_DAYS
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.exchange.feature_files import read_features
from gwnet.products.extras import gather_extras
from gwnet.products.logger_lines import ReportLoggers, report_loggers
from gwnet.reporting.data import MapFacts, ReportData, SiteFacts
from gwnet.reporting.mapped import map_facts, refused_map
from gwnet.store.fetch import history
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.registry import register_entries
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.reporting.definition.parse import Definition
    from gwnet.reporting.definition.period import Period

#: Before anything was recorded: what an empty record prints as its cut-off.
_BEGINNING = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


def collect(
    connection: Connection,
    definition: Definition,
    period: Period,
    *,
    site: str | None = None,
    known_on: dt.datetime | None = None,
) -> ReportData:
    """Gather what a report of one site and period is made from.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    definition : gwnet.reporting.definition.parse.Definition
        What the report holds.
    period : gwnet.reporting.definition.period.Period
        Period of the report.
    site : str, optional
        Code of the site; may be left out when the record holds only one.
    known_on : datetime.datetime, optional
        Record as known at this time; the live record unless given. Printed is then the time of its newest recording.

    Returns
    -------
    gwnet.reporting.data.ReportData
        Frames and facts.

    Raises
    ------
    NotFoundError
        If there is no such site, or several and none was named.
    """
    settings = fetch.one_site(connection, site, known_on)
    code = str(settings["site"])
    record = Snapshot(connection, known_on, code)
    table = levels(record)
    wells = located(fetch.wells(connection, known_on, code), settings["crs"])
    points = fetch.measuring_points(connection, known_on, code, history=True)
    since = _start_of(period.first, str(settings["time_zone"]))
    cut_off = known_on or fetch.cut_off(connection) or _BEGINNING
    unit = definition.unit(str(settings["length_unit"]))
    used = set(wells["aquifer"]) - {""}
    aquifers = fetch.aquifers(connection, known_on)
    aquifers = aquifers[aquifers["aquifer"].isin(used)].reset_index(drop=True)
    thresholds = fetch_programme.thresholds(connection, known_on, code)
    sources = fetch.sources(connection, known_on)
    rounds = fetch_programme.rounds(connection, known_on, code)
    hung = fetch_samples.deployments(connection, known_on)
    loggers = _loggers(connection, definition, wells, code, known_on)
    data = ReportData(
        site=_facts(settings),
        known_on_utc=cut_off,
        wells=wells,
        levels=table,
        aquifers=aquifers,
        construction=fetch.construction(connection, known_on, code),
        measuring_points=points,
        rounds=rounds,
        thresholds=with_elevations(thresholds, wells, points),
        stages=fetch_programme.stages(connection, known_on, code),
        findings=join_decisions(record, findings(record)),
        corrections=history.changes(connection, since=since, until=known_on),
        deployments=hung[hung["site"] == code].reset_index(drop=True),
        tape_checks=fetch_programme.tape_checks(connection, known_on),
        sources=sources.rename(columns={"row_count": "rows", "loaded_at_utc": "recorded_at_utc"}),
        register=register_entries(connection, known_on, code),
        maps=maps_of_period(
            connection, settings, definition, period, aquifers, rounds, table, unit=unit, known_on=known_on
        ),
        corrected_since_utc=None,
        logger_lines={} if loggers is None else loggers.lines,
    )
    return replace(data, extras=gather_extras(connection, settings, definition, period, data, known_on, loggers))


def _loggers(
    connection: Connection, definition: Definition, wells: pd.DataFrame, site: str, known_on: dt.datetime | None
) -> ReportLoggers | None:
    """Return what the report needs of loggers; None where no section asks for them."""
    with_status = "loggers" in definition.sections
    if not with_status and "hydrographs" not in definition.sections:
        return None
    names = [str(code) for code in definition.members(wells)["well"]]
    return report_loggers(
        connection,
        site,
        names,
        shown_from=definition.hydrographs.start,
        with_status=with_status,
        known_on=known_on,
    )


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
    if np.isnat(utc):
        utc = midnight[0]
    moment: dt.datetime = utc.item()
    return moment.replace(tzinfo=dt.UTC)


def maps_of_period(
    connection: Connection,
    settings: pd.Series,
    definition: Definition,
    period: Period,
    aquifers: pd.DataFrame,
    rounds: pd.DataFrame,
    table: pd.DataFrame,
    *,
    unit: str,
    known_on: dt.datetime | None,
) -> tuple[MapFacts, ...]:
    """Map each aquifer on the day of the period's newest round, or of each, that has most of its levels.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    settings : pandas.Series
        The site, from `gwnet.store.fetch.registry.one_site`.
    definition : gwnet.reporting.definition.parse.Definition
        What the report holds.
    period : gwnet.reporting.definition.period.Period
        Period of the report.
    aquifers, rounds : pandas.DataFrame
        Aquifers and rounds of the site.
    table : pandas.DataFrame
        Reduced levels of the site.
    unit : {"m", "ft"}
        Unit of printing.
    known_on : datetime.datetime or None
        Record as known at this time.

    Returns
    -------
    tuple of gwnet.reporting.data.MapFacts
        One an aquifer, drawn or refused with the reason; none where the report has no maps or the period no round.
    """
    if "maps" not in definition.sections:
        return ()
    in_period = rounds[(rounds["starts_on"] <= period.last) & (rounds["starts_on"] >= period.first)]
    if in_period.empty:
        return ()
    if definition.rounds:
        in_period = in_period[in_period["round"].isin(definition.rounds)]
    if definition.maps.rounds == "newest":
        in_period = in_period.tail(1)
    wanted = [name for name in aquifers["aquifer"] if not definition.aquifers or name in definition.aquifers]
    chosen = definition.maps
    features = read_features(
        settings["crs"],
        barriers=chosen.barriers,
        boundary=chosen.boundary,
        rivers=chosen.rivers,
        base_layers=chosen.base_layers,
    )
    made = []
    for aquifer, gauging in ((one, row) for one in wanted for row in in_period.to_dict("records")):
        day = busiest_day(table, str(gauging["round"]), aquifer) or gauging["starts_on"]
        try:
            result = map_of(
                connection,
                settings,
                aquifer,
                day,
                method=chosen.method,
                interval_m=chosen.interval_m,
                window_days=chosen.window_days,
                features=features,
                unit=unit,
                known_on=known_on,
                table=table,
                loggers=True,
            )
        except (AnalysisError, NotFoundError) as error:
            made.append(_refused(connection, settings, aquifer, day, error, chosen.window_days, table, known_on))
            continue
        made.append(map_facts(result))
    return tuple(made)


def _refused(
    connection: Connection,
    settings: pd.Series,
    aquifer: str,
    day: dt.date,
    error: AnalysisError | NotFoundError,
    window_days: float | None,
    table: pd.DataFrame,
    known_on: dt.datetime | None,
) -> MapFacts:
    """Return the facts of a map that cannot be drawn: its set, and why."""
    try:
        control = control_of(
            connection, settings, aquifer, day, window_days=window_days, known_on=known_on, table=table, loggers=True
        )
    except (AnalysisError, NotFoundError):
        control = pd.DataFrame(columns=list(CONTROL_COLUMNS))
    return refused_map(aquifer, day, control, error)


def busiest_day(table: pd.DataFrame, round_code: str, aquifer: str) -> dt.date | None:
    """Return the local day of a round on which most usable levels of an aquifer were taken.

    Parameters
    ----------
    table : pandas.DataFrame
        Reduced levels.
    round_code : str
        Round.
    aquifer : str
        Aquifer.

    Returns
    -------
    datetime.date or None
        The day, the earlier one of two with as many; None when there is no usable level.
    """
    rows = table[(table["round"] == round_code) & (table["aquifer"] == aquifer) & table["usable"].astype(bool)]
    if rows.empty:
        return None
    counts = rows["measured_at"].str[:10].value_counts()
    return dt.date.fromisoformat(min(str(day) for day in counts[counts == counts.max()].index))
