"""Queries of the registry as data frames: sites, aquifers, wells, construction, measuring points, sources.

Every function takes ``known_on`` and gives the rows that were on record then, in a fixed order with fixed columns.
Depths are positive downward, elevations positive upward. The programme (instruments, rounds, thresholds, context)
and the levels have modules of their own.
"""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection, func, select

from gwnet.errors import NotFoundError
from gwnet.store.fetch.frames import frame
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.measuring_points import MeasuringPoint
from gwnet.store.models.schema import METADATA, RECORDED_TABLES
from gwnet.store.models.sites import Aquifer, AquiferRecord, Site, SiteRecord
from gwnet.store.models.sources import SourceFile
from gwnet.store.models.wells import ConstructionPart, Well, WellRecord

#: Parts through which water enters a well.
OPEN_PARTS = ("screen", "open hole")


def fill_text(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """Fill missing text with the empty string.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame to change in place.
    *columns : str
        Columns of text.

    Returns
    -------
    pandas.DataFrame
        The same frame.
    """
    for column in columns:
        table[column] = table[column].where(table[column].notna(), "")
    return table


def sites(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the sites with their settings.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time; the live record unless given.

    Returns
    -------
    pandas.DataFrame
        One row a site: site_id, site, name, crs, vertical_datum, length_unit, time_zone, repeat_tolerance_m,
        same_day_window_days, gauging_interval_days, resurvey_interval_days, tape_check_interval_days,
        sounding_interval_days, logger_visit_interval_days, self_review (None when not said), check_limits (JSON, empty
        for none), operator, notes.
    """
    record = SiteRecord
    statement = (
        select(
            Site.id.label("site_id"),
            Site.code.label("site"),
            record.name,
            record.crs,
            record.vertical_datum,
            record.length_unit,
            record.time_zone,
            record.repeat_tolerance_m,
            record.same_day_window_days,
            record.gauging_interval_days,
            record.resurvey_interval_days,
            record.tape_check_interval_days,
            record.sounding_interval_days,
            record.logger_visit_interval_days,
            record.self_review,
            record.check_limits,
            record.operator,
            record.notes,
        )
        .join(record, record.site_id == Site.id)
        .where(on_record(record, known_on))
        .order_by(Site.code)
    )
    return fill_text(frame(connection, statement), "name", "check_limits", "operator", "notes")


def one_site(connection: Connection, site: str | None, known_on: dt.datetime | None = None) -> pd.Series:
    """Return one site's settings.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : str or None
        Code of the site; may be left out when the database holds only one.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.Series
        The row of `sites`.

    Raises
    ------
    NotFoundError
        If there is no such site, or several and none was named.
    """
    return choose_site(sites(connection, known_on), site)


def choose_site(table: pd.DataFrame, site: str | None) -> pd.Series:
    """Return one site's settings out of those on record.

    Parameters
    ----------
    table : pandas.DataFrame
        As `sites`.
    site : str or None
        Code of the site; may be left out when the record holds only one.

    Returns
    -------
    pandas.Series
        The row of `sites`.

    Raises
    ------
    NotFoundError
        If there is no such site, or several and none was named.
    """
    if site is None:
        if len(table) == 1:
            return table.iloc[0]
        what = "no site" if table.empty else f"{len(table)} sites ({', '.join(table['site'][:5])})"
        message = f"The record holds {what}; expected one, or its name."
        raise NotFoundError(message, fix="Load a sites table." if table.empty else "Name the site with --site.")
    chosen = table[table["site"] == site]
    if chosen.empty:
        message = f"There is no site {site!r} on record."
        raise NotFoundError(message, fix=f"Known sites: {', '.join(table['site']) or 'none'}.")
    return chosen.iloc[0]


def aquifers(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the aquifers.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row an aquifer: aquifer_id, aquifer, name, confinement, notes.
    """
    record = AquiferRecord
    statement = (
        select(
            Aquifer.id.label("aquifer_id"), Aquifer.code.label("aquifer"), record.name, record.confinement, record.notes
        )
        .join(record, record.aquifer_id == Aquifer.id)
        .where(on_record(record, known_on))
        .order_by(Aquifer.code)
    )
    return fill_text(frame(connection, statement), "name", "confinement", "notes")


def wells(
    connection: Connection,
    known_on: dt.datetime | None = None,
    site: str | None = None,
    *,
    parts: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return the wells with the limits of their screens.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.
    site : str, optional
        Only this site.
    parts : pandas.DataFrame, optional
        As `construction`, where the caller has it already.

    Returns
    -------
    pandas.DataFrame
        One row a well: well_id, site, well, aquifer, cluster, purpose, role, easting, northing, longitude, latitude,
        coordinate_accuracy_m, ground_elevation_m, ground_accuracy_m, total_depth_m, screen_top_m, screen_bottom_m,
        drilled_on, decommissioned_on, replaced_by, access_notes, hazards, notes. Depths below ground, positive down.
    """
    record = WellRecord
    statement = (
        select(
            Well.id.label("well_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            Aquifer.code.label("aquifer"),
            record.cluster,
            record.purpose,
            record.role,
            record.easting,
            record.northing,
            record.longitude,
            record.latitude,
            record.coordinate_accuracy_m,
            record.ground_elevation_m,
            record.ground_accuracy_m,
            record.total_depth_m,
            record.drilled_on,
            record.decommissioned_on,
            record.replaced_by,
            record.access_notes,
            record.hazards,
            record.notes,
        )
        .join(Site, Site.id == Well.site_id)
        .join(record, record.well_id == Well.id)
        .outerjoin(Aquifer, Aquifer.id == record.aquifer_id)
        .where(on_record(record, known_on))
        .order_by(Site.code, Well.code)
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    words = ("aquifer", "cluster", "purpose", "role", "replaced_by", "access_notes", "hazards", "notes")
    table = fill_text(frame(connection, statement), *words)
    if parts is None:
        parts = construction(connection, known_on, site)
    opened = parts[parts["part"].isin(OPEN_PARTS) & parts["removed_on"].isna()].groupby("well_id")
    limits = pd.DataFrame(
        {"screen_top_m": opened["top_depth_m"].min(), "screen_bottom_m": opened["bottom_depth_m"].max()}
    )
    joined = table.join(limits, on="well_id")
    place = list(table.columns).index("total_depth_m") + 1
    order = [*table.columns[:place], "screen_top_m", "screen_bottom_m", *table.columns[place:]]
    return joined[order].astype({"screen_top_m": "float64", "screen_bottom_m": "float64"})


def construction(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the parts of the wells' construction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.
    site : str, optional
        Only this site.

    Returns
    -------
    pandas.DataFrame
        One row a part: well_id, site, well, part, top_depth_m, bottom_depth_m (below ground, positive downward),
        diameter_mm, material, installed_on, removed_on, notes.
    """
    part = ConstructionPart
    statement = (
        select(
            Well.id.label("well_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            part.part,
            part.top_depth_m,
            part.bottom_depth_m,
            part.diameter_mm,
            part.material,
            part.installed_on,
            part.removed_on,
            part.notes,
        )
        .join(Well, Well.id == part.well_id)
        .join(Site, Site.id == Well.site_id)
        .where(on_record(part, known_on))
        .order_by(Site.code, Well.code, part.top_depth_m, part.part)
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    return fill_text(frame(connection, statement), "material", "notes")


def measuring_points(
    connection: Connection, known_on: dt.datetime | None = None, site: str | None = None, *, history: bool = False
) -> pd.DataFrame:
    """Return the measuring points with the times in which they are in force.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.
    site : str, optional
        Only this site.
    history : bool, optional
        Whether to give retired rows as well, as far as they were recorded at or before ``known_on``. Rows retired
        after it are shown as live, which they were then.

    Returns
    -------
    pandas.DataFrame
        One row a survey: measuring_point_id, well_id, site, well, access, valid_from_utc, valid_until_utc, elevation_m
        (positive upward), height_above_ground_m (positive upward), vertical_datum, description, surveyed_on,
        surveyed_by, survey_method, accuracy_m, change, notes, recorded_at_utc, recorded_by, reason, retired_at_utc,
        retired_reason, source, source_row.
    """
    point = MeasuringPoint
    statement = (
        select(
            point.id.label("measuring_point_id"),
            Well.id.label("well_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            point.access,
            point.valid_from_utc,
            point.valid_until_utc,
            point.elevation_m,
            point.height_above_ground_m,
            point.vertical_datum,
            point.description,
            point.surveyed_on,
            point.surveyed_by,
            point.survey_method,
            point.accuracy_m,
            point.change,
            point.notes,
            point.recorded_at_utc,
            point.recorded_by,
            point.reason,
            point.retired_at_utc,
            point.retired_reason,
            SourceFile.name.label("source"),
            point.source_row,
        )
        .join(Well, Well.id == point.well_id)
        .join(Site, Site.id == Well.site_id)
        .outerjoin(SourceFile, SourceFile.id == point.source_file_id)
        .order_by(Site.code, Well.code, point.access, point.valid_from_utc, point.recorded_at_utc, point.id)
    )
    if not history:
        statement = statement.where(on_record(point, known_on))
    elif known_on is not None:
        statement = statement.where(point.recorded_at_utc <= known_on)
    if site is not None:
        statement = statement.where(Site.code == site)
    words = ("vertical_datum", "description", "surveyed_by", "survey_method", "change", "notes", "reason", "source")
    table = fill_text(frame(connection, statement), *words, "retired_reason")
    if known_on is not None:
        later = table["retired_at_utc"] > known_on
        table["retired_at_utc"] = table["retired_at_utc"].mask(later)
        table["retired_reason"] = table["retired_reason"].mask(later, "")
    return table


def sources(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the loaded files without their bytes.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Only files loaded at or before this time.

    Returns
    -------
    pandas.DataFrame
        One row a file, in order of loading: source_file_id, name, sha256, size_bytes, layout, row_count, loaded_at_utc,
        loaded_by.
    """
    source = SourceFile
    statement = select(
        source.id.label("source_file_id"),
        source.name,
        source.sha256,
        source.size_bytes,
        source.layout,
        source.row_count,
        source.loaded_at_utc,
        source.loaded_by,
    ).order_by(source.id)
    if known_on is not None:
        statement = statement.where(source.loaded_at_utc <= known_on)
    return frame(connection, statement)


def newest_recording(connection: Connection) -> dt.datetime | None:
    """Return when the record last changed.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.

    Returns
    -------
    datetime.datetime or None
        Newest time at which any row was recorded or retired; None for an empty record.
    """
    newest: dt.datetime | None = None
    for name in RECORDED_TABLES:
        table = METADATA.tables[name]
        for column in (table.c.recorded_at_utc, table.c.retired_at_utc):
            moment = connection.execute(select(func.max(column))).scalar_one()
            if moment is not None and (newest is None or moment > newest):
                newest = moment
    return newest


def cut_off(connection: Connection) -> dt.datetime | None:
    """Return the whole minute at or after which the record last changed.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.

    Returns
    -------
    datetime.datetime or None
        What is printed as "known on" when no time was asked for: asked for again, it gives the same record.
    """
    newest = newest_recording(connection)
    if newest is None:
        return None
    whole = newest.replace(second=0, microsecond=0)
    return whole if whole == newest else whole + dt.timedelta(minutes=1)
