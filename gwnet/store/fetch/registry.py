"""Queries of the registry as data frames: sites, aquifers, wells, construction, measuring points, sources, register."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection, select

from gwnet.errors import NotFoundError
from gwnet.store.fetch.frames import FRAMES, as_declared, frame
from gwnet.store.fetch.rows import fetch_rows
from gwnet.store.models.schema import METADATA

#: Parts through which water enters a well.
OPEN_PARTS = ("screen", "open hole")


def sites(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the sites with their settings, by code.

    Parameters as `gwnet.store.fetch`; columns as ``sites`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "sites", known_on, order="site")


def zone_of_sites(table: pd.DataFrame) -> str:
    """Return the time zone that sites share; UTC where they have several, or there is no site.

    Parameters
    ----------
    table : pandas.DataFrame
        As `sites`.

    Returns
    -------
    str
        Name of the zone.
    """
    zones = table["time_zone"].unique()
    return str(zones[0]) if len(zones) == 1 else "UTC"


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
    """Return the aquifers, by code.

    Parameters as `gwnet.store.fetch`; columns as ``aquifers`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "aquifers", known_on, order="aquifer")


def wells(
    connection: Connection,
    known_on: dt.datetime | None = None,
    site: str | None = None,
    *,
    parts: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return the wells with the limits of their screens, by site and code.

    Parameters as `gwnet.store.fetch`; columns as ``wells`` in `gwnet.store.fetch.frames.FRAMES`.

    Parameters
    ----------
    parts : pandas.DataFrame, optional
        As `construction`, where the caller has it already.
    """
    table = fetch_rows(connection, "wells", known_on, site, order="site well")
    if parts is None:
        parts = construction(connection, known_on, site)
    # Parts that were removed let no water in any more.
    opened = parts[parts["part"].isin(OPEN_PARTS) & parts["removed_on"].isna()].groupby("well_id")
    limits = pd.DataFrame(
        {"screen_top_m": opened["top_depth_m"].min(), "screen_bottom_m": opened["bottom_depth_m"].max()}
    )
    return as_declared(table.join(limits, on="well_id"), "wells")


def construction(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the parts of the wells' construction, by site, well and depth.

    Parameters as `gwnet.store.fetch`; columns as ``construction`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "construction", known_on, site, order="site well top_depth_m part")


def measuring_points(
    connection: Connection, known_on: dt.datetime | None = None, site: str | None = None, *, history: bool = False
) -> pd.DataFrame:
    """Return the measuring points with the times in which they are in force, one row a survey.

    Parameters as `gwnet.store.fetch`; columns as ``measuring_points`` in `gwnet.store.fetch.frames.FRAMES`.

    Parameters
    ----------
    history : bool, optional
        Whether to give retired rows as well, as far as they were recorded at or before ``known_on``. Rows retired
        after it are shown as live, which they were then.
    """
    order = "site well access valid_from_utc recorded_at_utc id"
    table = fetch_rows(connection, "measuring_points", known_on, site, order=order, history=history)
    if known_on is not None:
        # At the earlier moment a row that was retired later was still live.
        later = table["retired_at_utc"] > known_on
        table["retired_at_utc"] = table["retired_at_utc"].mask(later)
        table["retired_reason"] = table["retired_reason"].mask(later, "")
    return table


def register_entries(
    connection: Connection, known_on: dt.datetime | None = None, site: str | None = None
) -> pd.DataFrame:
    """Return comments received and promises made, by site, day and code.

    Parameters as `gwnet.store.fetch`; columns as ``register_entries`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    order = "site raised_on entry"
    return fetch_rows(connection, "register", known_on, site, order=order, frame_name="register_entries")


def sources(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the loaded files without their bytes, in order of loading.

    Parameters as `gwnet.store.fetch`; columns as ``sources`` in `gwnet.store.fetch.frames.FRAMES`. Only files that were
    loaded at or before ``known_on`` are given.
    """
    source = METADATA.tables["source_file"].c
    columns = (source.get(column.name, source.id).label(column.name) for column in FRAMES["sources"])
    statement = select(*columns).order_by(source.id)
    if known_on is not None:
        statement = statement.where(source.loaded_at_utc <= known_on)
    return frame(connection, statement, "sources")
