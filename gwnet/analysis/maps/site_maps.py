"""Same-day maps and gradients of a site, straight from the record."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.levels.places import located, projected
from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.levels import levels_for_map
from gwnet.analysis.maps.potentiometric import gradient_of, make_map
from gwnet.analysis.maps.same_day import same_day_set
from gwnet.analysis.maps.same_day_loggers import logger_text, moment_of
from gwnet.analysis.maps.set_pace import RATE_DAYS, moving_text, rates_of, set_text
from gwnet.clock import zone_of
from gwnet.constants import OTHER_AQUIFER, SAME_DAY_WINDOW_DAYS
from gwnet.errors import NotFoundError
from gwnet.records import Selection
from gwnet.store.fetch import levels as fetch_levels
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.analysis.maps.features import MapFeatures
    from gwnet.analysis.maps.result import MapResult
    from gwnet.hydro.gradients.horizontal import Gradient
    from gwnet.hydro.surfaces.variogram import Covariance

#: Days about the date whose levels are fetched beside the window, for wells' reasons and rates.
_MARGIN_DAYS = RATE_DAYS + 1


def control_of(
    connection: Connection,
    site: pd.Series,
    aquifer: str,
    date: dt.date,
    *,
    window_days: float | None = None,
    exclude: Collection[str] = (),
    known_on: dt.datetime | None = None,
    table: pd.DataFrame | None = None,
    loggers: bool = False,
    wells: pd.DataFrame | None = None,
    stages: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return the same-day set of one aquifer of a site.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : pandas.Series
        Row of `gwnet.store.fetch.registry.sites`.
    aquifer : str
        Code of the aquifer.
    date : datetime.date
        Local date.
    window_days : float, optional
        Days before and after the date; the site's own unless given.
    exclude : collection of str, optional
        Wells and gauges to leave out by request.
    known_on : datetime.datetime, optional
        Record as known at this time.
    table : pandas.DataFrame, optional
        Reduced levels of the site, where the caller has them already.
    loggers : bool, optional
        Whether loggers stand in where no usable reading was made: with their head at the median time of the used
        readings, else the one nearest to it within the window.
    wells, stages : pandas.DataFrame, optional
        Wells with their places, from `placed_wells`, and stages, where the caller has them already.

    Returns
    -------
    pandas.DataFrame
        Control frame, as `gwnet.analysis.maps.same_day.same_day_set`.

    Raises
    ------
    NotFoundError
        If the aquifer has no well and no gauge.
    """
    window = _window(site, window_days)
    if table is None:
        table = _levels_about(connection, site, date, window, known_on)
    if wells is None:
        wells = placed_wells(connection, site, known_on)
    if stages is None:
        stages = fetch_programme.stages(connection, known_on, site["site"])
    given: dict[str, Any] = {
        "aquifer": aquifer,
        "date": date,
        "time_zone": site["time_zone"],
        "window_days": window,
        "stages": stages,
        "site": site["site"],
        "exclude": exclude,
    }
    control = same_day_set(table, wells, **given)
    elsewhere = control["reason"].str.startswith(OTHER_AQUIFER)
    missing = control.loc[~control["used"].astype(bool) & (control["kind"] == "well") & ~elsewhere, "well"].tolist()
    if not loggers or not missing:
        return control
    first, last = _window_utc(site, date, window)
    moment = moment_of(control, date, site["time_zone"])
    told = levels_for_map(Snapshot(connection, known_on, str(site["site"])), missing, moment, first=first, last=last)
    return same_day_set(table, wells, loggers=told, **given) if len(told) else control


def placed_wells(connection: Connection, site: pd.Series, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the wells of a site with their places in its coordinates.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : pandas.Series
        Row of `gwnet.store.fetch.registry.sites`.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        Wells frame.
    """
    return located(fetch.wells(connection, known_on, site["site"]), site["crs"])


def _window_utc(site: pd.Series, date: dt.date, window: float) -> tuple[pd.Timestamp, pd.Timestamp]:
    """Return the window about a date in UTC: from its start less the half-width to its end plus it."""
    midnight = dt.datetime.combine(date, dt.time(), tzinfo=zone_of(site["time_zone"]))
    reach, day = pd.Timedelta(days=window), pd.Timedelta(days=1)
    start = pd.Timestamp(midnight).tz_convert("UTC")
    return start - reach, start + day + reach


def _window(site: pd.Series, window_days: float | None) -> float:
    """Return the half-width of the window in days: as asked, else the site's own, else the usual."""
    own = site["same_day_window_days"]
    return float(window_days) if window_days is not None else (SAME_DAY_WINDOW_DAYS if pd.isna(own) else float(own))


def _levels_about(
    connection: Connection, site: pd.Series, date: dt.date, window: float, known_on: dt.datetime | None
) -> pd.DataFrame:
    """Return the levels of a site in the window and the days beside it."""
    margin = dt.timedelta(days=window + _MARGIN_DAYS)
    noon = dt.datetime.combine(date, dt.time(12), tzinfo=dt.UTC)
    about = Selection(start=noon - margin, end=noon + margin)
    return levels(Snapshot(connection, known_on, site["site"]), about)


def map_of(
    connection: Connection,
    site: pd.Series,
    aquifer: str,
    date: dt.date,
    *,
    method: str = "kriging",
    interval_m: float | None = None,
    unit: str = "m",
    known_on: dt.datetime | None = None,
    features: MapFeatures | None = None,
    covariance: Covariance | None = None,
    window_days: float | None = None,
    exclude: Collection[str] = (),
    table: pd.DataFrame | None = None,
    loggers: bool = False,
) -> MapResult:
    """Return the potentiometric map of one aquifer of a site on a date.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : pandas.Series
        Row of `gwnet.store.fetch.registry.sites`.
    aquifer : str
        Code of the aquifer.
    date : datetime.date
        Local date.
    method : str, optional
        ``kriging``, ``spline``, ``triangulation`` or ``auto``.
    interval_m : float, optional
        Contour interval; chosen unless given [m].
    unit : str, optional
        Unit of the map's texts, m or ft.
    known_on : datetime.datetime, optional
        Record as known at this time.
    features : gwnet.analysis.maps.features.MapFeatures, optional
        Barriers, boundary, rivers, base of the unit and base layers.
    covariance : gwnet.hydro.surfaces.variogram.Covariance, optional
        Covariance for kriging, its range in metres; fitted unless given.
    window_days, exclude, table, loggers : optional
        As in `control_of`.

    Returns
    -------
    gwnet.analysis.maps.result.MapResult
        The map.

    Raises
    ------
    NotFoundError
        If the aquifer has no well and no gauge.
    TooFewLevelsError
        If fewer than three levels can be used.
    """
    window = _window(site, window_days)
    if table is None:
        table = _levels_about(connection, site, date, window, known_on)
    control = control_of(
        connection,
        site,
        aquifer,
        date,
        window_days=window,
        exclude=exclude,
        known_on=known_on,
        table=table,
        loggers=loggers,
    )
    unit_m = unit_of_coordinates(site["crs"])
    made = make_map(
        control,
        aquifer=aquifer,
        date=date,
        method=method,
        interval_m=interval_m,
        covariance=None if covariance is None else replace(covariance, range_m=covariance.range_m / unit_m),
        unit=unit,
        crs=site["crs"],
        vertical_datum=site["vertical_datum"],
        coordinate_unit_m=unit_m,
        features=features,
        check_ground=True,
    )
    moving = moving_text(rates_of(table, control, date), made.span, made.interval_m, unit)
    first = [review_text(connection, made.control, known_on), logger_text(made.control), moving]
    return replace(made, cautions=(*filter(None, first), *made.cautions), set_text=set_text(date, window))


def review_text(connection: Connection, control: pd.DataFrame, known_on: dt.datetime | None = None) -> str:
    """Return in which review state the levels of a map are.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    control : pandas.DataFrame
        Control frame.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    str
        For example ``Review: 3 of 20 levels approved, 17 provisional.``; stages and levels of loggers are not reviewed
        and not counted.
    """
    used = control[control["used"].astype(bool) & (control["kind"] == "well")]
    used = used[used["source"] != "logger"] if "source" in used else used
    states = fetch_levels.reviews(connection, known_on).set_index("event_id")["state"]
    approved = int((used["event_id"].map(states) == "approved").sum())
    rest = f", {len(used) - approved} provisional" if approved < len(used) else ""
    return f"Review: {approved} of {len(used)} levels approved{rest}."


def unit_of_coordinates(crs: str) -> float:
    """Return how many metres one unit of a projected system's coordinates is.

    Parameters
    ----------
    crs : str
        Name or code of the system.

    Returns
    -------
    float
        Metres in one unit [m].
    """
    return float(projected(crs).axis_info[0].unit_conversion_factor)


def gradient_between(
    connection: Connection,
    site: pd.Series,
    wells: Collection[str],
    date: dt.date,
    *,
    window_days: float | None = None,
    known_on: dt.datetime | None = None,
) -> tuple[Gradient, pd.DataFrame]:
    """Return the gradient of the plane through the levels of named wells on a date.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : pandas.Series
        Row of `gwnet.store.fetch.registry.sites`.
    wells : collection of str
        Three wells or more, of one aquifer.
    date : datetime.date
        Local date.
    window_days : float, optional
        Days before and after the date; the site's own unless given.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    tuple
        The gradient, and the control frame of the named wells.

    Raises
    ------
    NotFoundError
        If a well is not on record, the wells tap several aquifers, or one of them has no level that can be used.
    TooFewLevelsError
        If fewer than three wells are named.
    AnalysisError
        If they lie on one line.
    """
    known = fetch.wells(connection, known_on, site["site"]).set_index("well")
    missing = [well for well in wells if well not in known.index]
    if missing:
        message = f"There is no well {', '.join(map(repr, missing))} at site {site['site']!r}."
        raise NotFoundError(message, fix="See 'gwnet wells' for the wells on record.")
    aquifers = sorted({str(known.loc[well, "aquifer"]) for well in wells})
    if len(aquifers) > 1 or not aquifers[0]:
        words = ", ".join(name or "none" for name in aquifers)
        message = f"The wells tap more than one aquifer ({words}); a gradient is of one."
        raise NotFoundError(message, fix="Name wells of one aquifer.")
    control = control_of(connection, site, aquifers[0], date, window_days=window_days, known_on=known_on)
    named = control[control["well"].isin(list(wells)) & (control["kind"] == "well")].copy()
    refused = named[~named["used"].astype(bool)]
    if not refused.empty:
        words = "; ".join(f"{w}: {r}" for w, r in zip(refused["well"], refused["reason"], strict=True))
        message = f"Not every well has a level of {date.isoformat()} that can be used: {words}."
        raise NotFoundError(message, fix="Name other wells, another date or a wider window.")
    return gradient_of(named, coordinate_unit_m=unit_of_coordinates(site["crs"])), named
