"""Planning a gauging round: what is due and why, which wells stand, and the order of the walk."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet import constants
from gwnet.analysis.fieldwork.walking_order import NOWHERE, walking_order
from gwnet.analysis.levels.places import located
from gwnet.analysis.levels.table import levels
from gwnet.analysis.maps.site_maps import unit_of_coordinates
from gwnet.clock import to_utc, zone_of
from gwnet.errors import NotFoundError, SettingsError
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch import visits as fetch_visits
from gwnet.store.snapshot import Snapshot

#: Columns of the frame of what is due.
DUE_COLUMNS: Final = (
    "site",
    "what",
    "well",
    "access",
    "instrument",
    "last_on",
    "due_on",
    "overdue_days",
    "rule",
)

#: Columns of the frame of a plan's stops.
STOP_COLUMNS: Final = ("place", "well", "contamination", "walk_m", "due", "access_notes", "hazards")

#: What can be due, in the order of printing.
GAUGE, SURVEY, CHECK, SOUND, VISIT = (
    "gauge well",
    "survey measuring point",
    "check tape",
    "sound bottom",
    "visit logger",
)

#: Statuses of a visit that tells something of the head; the others leave the well to be gauged.
LEVEL_STATUSES: Final = frozenset(
    {"static", "dry", "flowing", "pumping", "recovering", "nearby pumping", "affected by surface water"}
)

#: Kinds of instrument that are checked beside the reference tape.
TAPE_KINDS: Final = frozenset({"electric tape", "steel tape", "interface probe"})

#: What is on record of contamination, from the wells gauged first to those gauged last.
CONTAMINATION: Final = ("none on record", "in the hazards", "floating product")

_SETTINGS: Final = {
    GAUGE: ("gauging_interval_days", constants.GAUGING_INTERVAL_DAYS, "project default: quarterly"),
    SURVEY: ("resurvey_interval_days", constants.RESURVEY_INTERVAL_DAYS, "USGS TM 1-A1 p. 23: three to five years"),
    CHECK: ("tape_check_interval_days", constants.TAPE_CHECK_INTERVAL_DAYS, "USGS TM 1-A1 p. 8, 35: twelve months"),
    SOUND: ("sounding_interval_days", constants.SOUNDING_INTERVAL_DAYS, "USGS OFR 95-398: yearly"),
    VISIT: ("logger_visit_interval_days", constants.LOGGER_VISIT_INTERVAL_DAYS, "project default"),
}


@dataclass(frozen=True)
class Programme:
    """What the planning of one site on one day looks at.

    Attributes
    ----------
    site : pandas.Series
        Settings of the site, as a row of `gwnet.store.fetch.registry.sites`.
    on : datetime.date
        Local day.
    wells : pandas.DataFrame
        Wells of the site with easting and northing, as `gwnet.store.fetch.registry.wells`.
    points : pandas.DataFrame
        Measuring points in force at noon of the day.
    levels : pandas.DataFrame
        Reduced levels up to and with the day, with their local date in ``day``.
    tapes : pandas.DataFrame
        Instruments that are checked beside the reference tape.
    checks : pandas.DataFrame
        Tape checks.
    loggers : pandas.DataFrame
        Instruments that hang in the wells on the day.
    """

    site: pd.Series
    on: dt.date
    wells: pd.DataFrame
    points: pd.DataFrame
    levels: pd.DataFrame
    tapes: pd.DataFrame
    checks: pd.DataFrame
    loggers: pd.DataFrame


def programme(connection: Connection, site: pd.Series, on: dt.date, known_on: dt.datetime | None = None) -> Programme:
    """Gather what the planning of a site on a day looks at.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : pandas.Series
        Settings of the site.
    on : datetime.date
        Local day.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    Programme
        The frames.
    """
    code = str(site["site"])
    noon = noon_utc(on, str(site["time_zone"]))
    points = fetch.measuring_points(connection, known_on, code)
    in_force = (points["valid_from_utc"] <= noon) & (
        points["valid_until_utc"].isna() | (points["valid_until_utc"] > noon)
    )
    table = levels(Snapshot(connection, known_on, code))
    table = table.assign(day=table["day"].dt.date)
    instruments = fetch_programme.instruments(connection, known_on)
    return Programme(
        site=site,
        on=on,
        wells=located(fetch.wells(connection, known_on, code), str(site["crs"])),
        points=points[in_force].reset_index(drop=True),
        levels=table[table["day"] <= on].reset_index(drop=True),
        tapes=instruments[instruments["kind"].isin(TAPE_KINDS)].reset_index(drop=True),
        checks=fetch_programme.tape_checks(connection, known_on),
        loggers=fetch_visits.deployments_at(connection, noon, known_on, code),
    )


def noon_utc(day: dt.date, zone: str) -> pd.Timestamp:
    """Return noon of a local day as an instant.

    Parameters
    ----------
    day : datetime.date
        Local day.
    zone : str
        Time zone of the site.

    Returns
    -------
    pandas.Timestamp
        Aware time in UTC.
    """
    noon = np.array([f"{day.isoformat()}T12:00"], dtype="datetime64[us]")
    return pd.Timestamp(to_utc(noon, zone).utc[0], tz="UTC")


def standing(made: Programme) -> tuple[list[str], dict[str, str]]:
    """Return the wells that stand on the day, and why the others do not.

    Parameters
    ----------
    made : Programme
        Site and day.

    Returns
    -------
    wells : list of str
        Codes of the standing wells.
    others : dict of str to str
        Reason by well.
    """
    status = _last(made.levels, "event_id")["status"].to_dict()
    others: dict[str, str] = {}
    for well in made.wells.itertuples():
        if well.drilled_on is not None and well.drilled_on > made.on:
            others[well.well] = f"drilled only on {well.drilled_on}"
        elif well.decommissioned_on is not None and well.decommissioned_on <= made.on:
            others[well.well] = f"decommissioned on {well.decommissioned_on}"
        elif status.get(well.well) == "destroyed":
            others[well.well] = "found destroyed at the last visit"
    return [code for code in made.wells["well"] if code not in others], others


def due(made: Programme) -> pd.DataFrame:
    """Return everything that is done at intervals at a site, with the day on which it is due next.

    Parameters
    ----------
    made : Programme
        Site and day.

    Returns
    -------
    pandas.DataFrame
        Columns of `DUE_COLUMNS`: ``last_on`` is None where it was never done and ``due_on`` is None then (it is due);
        ``overdue_days`` counts from the day it was due to the day asked for, negative before it. By kind, then day.
    """
    wells, _ = standing(made)
    rows = [*_gauging(made, wells), *_surveys(made, wells), *_tapes(made), *_soundings(made, wells), *_visits(made)]
    table = pd.DataFrame(rows, columns=list(DUE_COLUMNS)).astype({"last_on": object, "due_on": object})
    table["overdue_days"] = table["overdue_days"].astype("Int64")
    kinds = {what: place for place, what in enumerate(_SETTINGS)}
    key = table.assign(kind=table["what"].map(kinds), day=[day or dt.date.min for day in table["due_on"]])
    order = key.sort_values(["kind", "day", "well", "access", "instrument"], kind="stable").index
    return table.loc[order].reset_index(drop=True)


def due_by(table: pd.DataFrame, day: dt.date) -> pd.DataFrame:
    """Keep what is due on or before a day, with what was never done.

    Parameters
    ----------
    table : pandas.DataFrame
        As `due`.
    day : datetime.date
        Local day.

    Returns
    -------
    pandas.DataFrame
        The rows that are due.
    """
    kept = np.array([when is None or when <= day for when in table["due_on"]], dtype=bool)
    return table[kept].reset_index(drop=True)


def _interval(made: Programme, what: str) -> tuple[float, str]:
    """Return an interval in days and the sentence that says where it comes from."""
    column, default, source = _SETTINGS[what]
    own = made.site.get(column)
    if own is None or pd.isna(own):
        return default, f"every {default:g} d ({source})"
    return float(own), f"every {float(own):g} d (the site's own interval)"


def _item(
    made: Programme, what: str, last: dt.date | None, never: str, *, well: str = "", access: str = "", tape: str = ""
) -> dict[str, Any]:
    days, rule = _interval(made, what)
    when = None if last is None else last + dt.timedelta(days=math.ceil(days))
    return {
        "site": made.site["site"],
        "what": what,
        "well": well,
        "access": access,
        "instrument": tape,
        "last_on": last,
        "due_on": when,
        "overdue_days": None if when is None else (made.on - when).days,
        "rule": rule if last is not None else f"{never}; {rule}",
    }


def _last(table: pd.DataFrame, column: str) -> pd.DataFrame:
    """Return the last event of each well that has a value in a column, by well."""
    own = table[table[column].notna()].sort_values("measured_at_utc", kind="stable")
    return own.groupby("well").tail(1).set_index("well")


def _gauging(made: Programme, wells: Iterable[str]) -> list[dict[str, Any]]:
    found = made.levels[made.levels["status"].isin(LEVEL_STATUSES)]
    last = _last(found, "event_id")["day"].to_dict()
    return [_item(made, GAUGE, last.get(well), "no level on record", well=well) for well in wells]


def _surveys(made: Programme, wells: Iterable[str]) -> list[dict[str, Any]]:
    zone = zone_of(str(made.site["time_zone"]))
    rows = []
    for well in wells:
        points = made.points[made.points["well"] == well]
        if points.empty:
            rows.append(_item(made, SURVEY, None, "no measuring point in force", well=well))
        for point in points.itertuples():
            since = point.valid_from_utc.tz_convert(zone).date()
            last = since if point.surveyed_on is None else point.surveyed_on
            rows.append(_item(made, SURVEY, last, "never surveyed", well=well, access=point.access))
    return rows


def tapes_in_service(made: Programme) -> list[str]:
    """Return the tapes that were used at the site, or checked, within two intervals of checks before the day.

    Parameters
    ----------
    made : Programme
        Site and day.

    Returns
    -------
    list of str
        Codes; a reference tape, which is neither used nor checked, is not among them.
    """
    days, _ = _interval(made, CHECK)
    since = made.on - dt.timedelta(days=math.ceil(2 * days))
    used = made.levels.groupby("instrument")["day"].max().to_dict()
    checked = _checked(made)
    return [
        tape
        for tape in made.tapes["instrument"]
        if max(used.get(tape, dt.date.min), checked.get(tape, dt.date.min)) >= since
    ]


def _checked(made: Programme) -> dict[str, dt.date]:
    """Return the day of the last check of each tape."""
    before = made.checks[np.array([day <= made.on for day in made.checks["checked_on"]], dtype=bool)]
    found: dict[str, dt.date] = before.groupby("instrument")["checked_on"].max().to_dict()
    return found


def _tapes(made: Programme) -> list[dict[str, Any]]:
    checked = _checked(made)
    return [_item(made, CHECK, checked.get(tape), "never checked", tape=tape) for tape in tapes_in_service(made)]


def _soundings(made: Programme, wells: Iterable[str]) -> list[dict[str, Any]]:
    last = _last(made.levels, "sounded_depth_m")["day"].to_dict()
    return [_item(made, SOUND, last.get(well), "never sounded", well=well) for well in wells]


def _visits(made: Programme) -> list[dict[str, Any]]:
    """Return the loggers that hang: visited when they were hung, read out, or gauged beside by hand."""
    zone = zone_of(str(made.site["time_zone"]))
    gauged = _last(made.levels, "event_id")["day"].to_dict()
    rows = []
    for logger in made.loggers.itertuples():
        last = logger.installed_at_utc.tz_convert(zone).date()
        if not pd.isna(logger.last_sample_utc):
            last = max(last, min(logger.last_sample_utc.tz_convert(zone).date(), made.on))
        last = max(last, gauged.get(logger.well, last))
        rows.append(_item(made, VISIT, last, "never visited", well=logger.well, tape=logger.instrument))
    return rows


def contamination(made: Programme) -> dict[str, int]:
    """Return what is on record of contamination at each well, as a place in `CONTAMINATION`.

    Parameters
    ----------
    made : Programme
        Site and day.

    Returns
    -------
    dict of str to int
        2 where floating product was ever met or the hazards name it, 1 where the hazards name contamination, else 0.
    """
    product = set(made.levels.loc[made.levels["product_thickness_m"].notna(), "well"])
    ranks = {}
    for well in made.wells.itertuples():
        words = well.hazards.lower()
        if well.well in product or "floating product" in words or "free product" in words:
            ranks[well.well] = 2
        else:
            ranks[well.well] = int("contaminat" in words)
    return ranks


def planned_wells(
    made: Programme, wanted: Sequence[str] | None, *, start: str | None = None, last: Sequence[str] = ()
) -> list[str]:
    """Return the wells of a round in the order of its walk.

    Parameters
    ----------
    made : Programme
        Site and day.
    wanted : sequence of str or None
        Codes; every well that stands on the day unless given.
    start : str, optional
        Well from which the walk starts.
    last : sequence of str, optional
        Wells to be gauged after all others.

    Returns
    -------
    list of str
        Codes in order.

    Raises
    ------
    NotFoundError
        If a well is not on record at the site.
    SettingsError
        If a named well does not stand on the day, or none does.
    """
    stand, others = standing(made)
    known = set(made.wells["well"])
    for code in [*(wanted or ()), *last, *([start] if start else ())]:
        if code not in known:
            message = f"There is no well {code!r} at site {made.site['site']}."
            raise NotFoundError(message, fix=f"On record: {', '.join(sorted(known)[:8])} …")
        if code in others:
            message = f"Well {code} cannot be gauged on {made.on}: {others[code]}."
            raise SettingsError(message, fix="Leave it out, or correct the record of the well.")
    chosen = list(dict.fromkeys(wanted)) if wanted else stand
    if not chosen:
        message = f"No well of site {made.site['site']} stands on {made.on}."
        raise SettingsError(message, fix="Load the wells first, or give another day.")
    frame = made.wells[made.wells["well"].isin(chosen)]
    ranks = contamination(made)
    return walking_order(frame.assign(contamination=frame["well"].map(ranks)), start=start, last=last)


def stops(made: Programme, order: Sequence[str], by: dt.date) -> pd.DataFrame:
    """Return the stops of a round with what is due at each.

    Parameters
    ----------
    made : Programme
        Site and day.
    order : sequence of str
        Wells in the order of the walk.
    by : datetime.date
        Last day of the round; what falls due until then is listed.

    Returns
    -------
    pandas.DataFrame
        Columns of `STOP_COLUMNS`; ``walk_m`` is the straight distance from the stop before.
    """
    waiting = due_by(due(made), by)
    wells = made.wells.set_index("well")
    ranks = contamination(made)
    rows = []
    before = NOWHERE
    metres = unit_of_coordinates(str(made.site["crs"]))
    for place, code in enumerate(order, start=1):
        well = wells.loc[code]
        here = (float(well["easting"]), float(well["northing"]))
        rows.append(
            {
                "place": place,
                "well": code,
                "contamination": CONTAMINATION[ranks[code]],
                "walk_m": round(math.hypot(here[0] - before[0], here[1] - before[1]) * metres, 1),
                "due": due_text(waiting[waiting["well"] == code]),
                "access_notes": well["access_notes"],
                "hazards": well["hazards"],
            }
        )
        before = here
    return pd.DataFrame(rows, columns=list(STOP_COLUMNS))


def due_text(waiting: pd.DataFrame) -> str:
    """Return what is due at a well as one text, such as ``sound bottom (due 2026-02-18)``.

    Parameters
    ----------
    waiting : pandas.DataFrame
        Rows of `due` for that well.

    Returns
    -------
    str
        Phrases, '; ' between them.
    """
    phrases = []
    for item in waiting.itertuples():
        name = f" {item.access}" if item.what == SURVEY and item.access not in ("", "main") else ""
        name = f" {item.instrument}" if item.what == VISIT else name
        when = "never done" if item.due_on is None else f"due {item.due_on}"
        phrases.append(f"{item.what}{name} ({when})")
    return "; ".join(phrases)
