"""Planning a gauging round: what is due and why, which wells are in use, and the order of the walk."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet import constants
from gwnet.analysis.fieldwork.walking_order import NOWHERE, walking_order
from gwnet.analysis.levels.reduce import TAPES
from gwnet.analysis.levels.table import levels
from gwnet.analysis.maps.site_maps import placed_wells, unit_of_coordinates
from gwnet.clock import zone_of
from gwnet.errors import NotFoundError, SettingsError
from gwnet.store.fetch import visits as fetch_visits
from gwnet.store.snapshot import Snapshot

#: Columns of the frame of what is due.
DUE_COLUMNS: Final = ("site", "what", "well", "access", "instrument", "last_on", "due_on", "overdue_days", "rule")

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

#: What is on record of contamination, from the wells gauged first to those gauged last.
CONTAMINATION: Final = ("none on record", "in the hazards", "floating product")

_SETTINGS: Final = {
    GAUGE: ("gauging_interval_days", constants.GAUGING_INTERVAL_DAYS, "project default: quarterly"),
    SURVEY: ("resurvey_interval_days", constants.RESURVEY_INTERVAL_DAYS, "USGS TM 1-A1 p. 23: three to five years"),
    CHECK: ("tape_check_interval_days", constants.TAPE_CHECK_INTERVAL_DAYS, "USGS TM 1-A1 p. 8, 35: twelve months"),
    SOUND: ("sounding_interval_days", constants.SOUNDING_INTERVAL_DAYS, "USGS OFR 95-398: yearly"),
    VISIT: ("logger_visit_interval_days", constants.LOGGER_VISIT_INTERVAL_DAYS, "project default"),
}


class Programme:
    """What the planning of one site on one day looks at.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    on : datetime.date
        Local day.

    Attributes
    ----------
    site : pandas.Series
        Settings of the site, as a row of `gwnet.store.fetch.registry.sites`.
    wells : pandas.DataFrame
        Wells of the site with easting and northing, as `gwnet.store.fetch.registry.wells`.
    points : pandas.DataFrame
        Measuring points in force at noon of the day.
    levels : pandas.DataFrame
        Reduced levels up to and with the day, with their local date in ``day``.
    tapes : pandas.DataFrame
        Instruments that are checked beside the reference tape.
    """

    def __init__(self, record: Snapshot, on: dt.date) -> None:
        self.record, self.on, self.site = record, on, record.settings
        # Noon of the local day: what changes on a day counts for all of it.
        self.noon = pd.Timestamp(dt.datetime.combine(on, dt.time(12), zone_of(self.zone))).tz_convert("UTC")
        self.wells = placed_wells(record)
        points, table, instruments = record.measuring_points, levels(record), record.instruments
        in_force = points["valid_until_utc"].isna() | (points["valid_until_utc"] > self.noon)
        self.points = points[in_force & (points["valid_from_utc"] <= self.noon)]
        table = table[table["day"] <= pd.Timestamp(on)]
        self.levels = table.assign(day=table["day"].dt.date)
        self.tapes = instruments[instruments["kind"].isin(TAPES)]

    @property
    def zone(self) -> str:
        """Return the time zone of the site."""
        return str(self.site["time_zone"])

    @property
    def wells_in_use(self) -> list[str]:
        """Return the codes of the wells that can be gauged on the day."""
        return [code for code in self.wells["well"] if code not in self.wells_left_out]

    @cached_property
    def wells_left_out(self) -> dict[str, str]:
        """Return why the other wells cannot be gauged on the day, by well."""
        # The newest event decides: a well that was found again after "destroyed" has one.
        status = _last(self.levels, "event_id")["status"].to_dict()
        reasons: dict[str, str] = {}
        for well in self.wells.itertuples():
            if well.drilled_on is not None and well.drilled_on > self.on:
                reasons[well.well] = f"drilled only on {well.drilled_on}"
            elif well.decommissioned_on is not None and well.decommissioned_on <= self.on:
                reasons[well.well] = f"decommissioned on {well.decommissioned_on}"
            elif status.get(well.well) == "destroyed":
                reasons[well.well] = "found destroyed at the last visit"
        return reasons

    @cached_property
    def due(self) -> pd.DataFrame:
        """Return everything that is done at intervals at the site, with the day on which it is due next.

        Columns of `DUE_COLUMNS`: ``last_on`` is None where it was never done and ``due_on`` is None then (it is due);
        ``overdue_days`` counts from the day it was due to the day asked for, negative before it. By kind, then day.
        """
        wells = self.wells_in_use
        rows = [*_gauging(self, wells), *_surveys(self, wells), *_tapes(self), *_soundings(self, wells), *_visits(self)]
        table = pd.DataFrame(rows, columns=list(DUE_COLUMNS)).astype({"last_on": object, "due_on": object})
        # What was never done has no number here; as floats the days of the others would have decimals.
        table["overdue_days"] = table["overdue_days"].astype("Int64")
        kinds = {what: place for place, what in enumerate(_SETTINGS)}
        # Never done sorts first.
        key = table.assign(kind=table["what"].map(kinds), day=[day or dt.date.min for day in table["due_on"]])
        order = key.sort_values(["kind", "day", "well", "access", "instrument"], kind="stable").index
        return table.loc[order].reset_index(drop=True)

    @cached_property
    def contamination(self) -> dict[str, int]:
        """Return what is on record of contamination at each well, as a place in `CONTAMINATION`.

        2 where floating product was ever met or the hazards name it, 1 where the hazards name contamination, else 0.
        """
        product = set(self.levels.loc[self.levels["product_thickness_m"].notna(), "well"])
        ranks = {}
        for well in self.wells.itertuples():
            # Hazards are free text; the stem below finds "contaminated" as well as "contamination".
            words = well.hazards.lower()
            if well.well in product or "floating product" in words or "free product" in words:
                ranks[well.well] = 2
            else:
                ranks[well.well] = int("contaminat" in words)
        return ranks


def due_by(table: pd.DataFrame, day: dt.date) -> pd.DataFrame:
    """Keep what is due on or before a day, with what was never done.

    Parameters
    ----------
    table : pandas.DataFrame
        As `Programme.due`.
    day : datetime.date
        Local day.

    Returns
    -------
    pandas.DataFrame
        The rows that are due.
    """
    # As an array: an empty list would choose no columns and not no rows.
    kept = np.array([when is None or when <= day for when in table["due_on"]], dtype=bool)
    return table[kept].reset_index(drop=True)


def _interval(programme: Programme, what: str) -> tuple[float, str]:
    """Return an interval in days and the sentence that says where it comes from."""
    column, default, source = _SETTINGS[what]
    own = programme.site.get(column)
    if own is None or pd.isna(own):
        return default, f"every {default:g} d ({source})"
    return float(own), f"every {float(own):g} d (the site's own interval)"


def _item(
    programme: Programme,
    what: str,
    last: dt.date | None,
    never: str,
    *,
    well: str = "",
    access: str = "",
    tape: str = "",
) -> dict[str, Any]:
    days, rule = _interval(programme, what)
    # Rounded up: half a day is no day on which somebody could come.
    when = None if last is None else last + dt.timedelta(days=math.ceil(days))
    return {
        "site": programme.site["site"],
        "what": what,
        "well": well,
        "access": access,
        "instrument": tape,
        "last_on": last,
        "due_on": when,
        "overdue_days": None if when is None else (programme.on - when).days,
        "rule": rule if last is not None else f"{never}; {rule}",
    }


def _last(table: pd.DataFrame, column: str) -> pd.DataFrame:
    """Return the last event of each well that has a value in a column, by well."""
    own = table[table[column].notna()].sort_values("measured_at_utc", kind="stable")
    return own.groupby("well").tail(1).set_index("well")


def _gauging(programme: Programme, wells: Iterable[str]) -> list[dict[str, Any]]:
    of_heads = programme.levels[programme.levels["status"].isin(LEVEL_STATUSES)]
    last = _last(of_heads, "event_id")["day"].to_dict()
    return [_item(programme, GAUGE, last.get(well), "no level on record", well=well) for well in wells]


def _surveys(programme: Programme, wells: Iterable[str]) -> list[dict[str, Any]]:
    zone = zone_of(programme.zone)
    rows = []
    for well in wells:
        points = programme.points[programme.points["well"] == well]
        if points.empty:
            rows.append(_item(programme, SURVEY, None, "no measuring point in force", well=well))
        for point in points.itertuples():
            since = point.valid_from_utc.tz_convert(zone).date()
            # A point without a date of survey was surveyed when it came into force.
            last = since if point.surveyed_on is None else point.surveyed_on
            rows.append(_item(programme, SURVEY, last, "never surveyed", well=well, access=point.access))
    return rows


def tapes_in_service(programme: Programme) -> list[str]:
    """Return the tapes that were used at the site, or checked, within two intervals of checks before the day.

    Parameters
    ----------
    programme : Programme
        Site and day.

    Returns
    -------
    list of str
        Codes; a reference tape, which is neither used nor checked, is not among them.
    """
    days, _ = _interval(programme, CHECK)
    since = programme.on - dt.timedelta(days=math.ceil(2 * days))
    used = programme.levels.groupby("instrument")["day"].max().to_dict()
    checked = _checked(programme)
    return [
        tape
        for tape in programme.tapes["instrument"]
        # A tape that nobody used or checked for two intervals lies in a drawer, and must not be called due.
        if max(used.get(tape, dt.date.min), checked.get(tape, dt.date.min)) >= since
    ]


def _checked(programme: Programme) -> dict[str, dt.date]:
    """Return the day of the last check of each tape."""
    checks = programme.record.tape_checks
    before = checks[np.array([day <= programme.on for day in checks["checked_on"]], dtype=bool)]
    return dict(before.groupby("instrument")["checked_on"].max())


def _tapes(programme: Programme) -> list[dict[str, Any]]:
    checked = _checked(programme)
    return [
        _item(programme, CHECK, checked.get(tape), "never checked", tape=tape) for tape in tapes_in_service(programme)
    ]


def _soundings(programme: Programme, wells: Iterable[str]) -> list[dict[str, Any]]:
    last = _last(programme.levels, "sounded_depth_m")["day"].to_dict()
    return [_item(programme, SOUND, last.get(well), "never sounded", well=well) for well in wells]


def _visits(programme: Programme) -> list[dict[str, Any]]:
    """Return the installed loggers: visited when they were installed, read out, or when the well was gauged."""
    zone, record = zone_of(programme.zone), programme.record
    installed = fetch_visits.deployments_at(
        record.connection, record.deployments, programme.noon, record.known_on, record.site
    )
    gauged = _last(programme.levels, "event_id")["day"].to_dict()
    rows = []
    for logger in installed.itertuples():
        last = logger.installed_at_utc.tz_convert(zone).date()
        if not pd.isna(logger.last_sample_utc):
            # Not after the day: a wrong clock writes samples of years to come.
            last = max(last, min(logger.last_sample_utc.tz_convert(zone).date(), programme.on))
        # Whoever gauged the well stood at its logger.
        last = max(last, gauged.get(logger.well, last))
        rows.append(_item(programme, VISIT, last, "never visited", well=logger.well, tape=logger.instrument))
    return rows


def planned_wells(
    programme: Programme, wanted: Sequence[str] | None, *, start: str | None = None, last: Sequence[str] = ()
) -> list[str]:
    """Return the wells of a round in the order of its walk.

    Parameters
    ----------
    programme : Programme
        Site and day.
    wanted : sequence of str or None
        Codes; every well in use on the day unless given.
    start : str, optional
        Well from which the walk starts.
    last : sequence of str, optional
        Wells to be gauged after all others.

    Raises
    ------
    NotFoundError
        If a well is not on record at the site.
    SettingsError
        If a named well is not in use on the day, or none is.
    """
    others = programme.wells_left_out
    known = set(programme.wells["well"])
    for code in [*(wanted or ()), *last, *([start] if start else ())]:
        if code not in known:
            message = f"There is no well {code!r} at site {programme.site['site']}."
            raise NotFoundError(message, fix=f"On record: {', '.join(sorted(known)[:8])} …")
        if code in others:
            message = f"Well {code} cannot be gauged on {programme.on}: {others[code]}."
            raise SettingsError(message, fix="Leave it out, or correct the record of the well.")
    # A well that is named twice is one stop.
    chosen = list(dict.fromkeys(wanted)) if wanted else programme.wells_in_use
    if not chosen:
        message = f"No well of site {programme.site['site']} is in use on {programme.on}."
        raise SettingsError(message, fix="Load the wells first, or give another day.")
    frame = programme.wells[programme.wells["well"].isin(chosen)]
    ranks = frame["well"].map(programme.contamination)
    return walking_order(frame.assign(contamination=ranks), start=start, last=last)


def stops(programme: Programme, order: Sequence[str], by: dt.date) -> pd.DataFrame:
    """Return the stops of a round with what is due at each.

    Parameters
    ----------
    programme : Programme
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
    waiting = due_by(programme.due, by)
    wells = programme.wells.set_index("well")
    rows = []
    before = NOWHERE
    metres = unit_of_coordinates(str(programme.site["crs"]))
    for place, code in enumerate(order, start=1):
        well = wells.loc[code]
        here = (float(well["easting"]), float(well["northing"]))
        rows.append(
            {
                "place": place,
                "well": code,
                "contamination": CONTAMINATION[programme.contamination[code]],
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
        Rows of `Programme.due` for that well.
    """
    phrases = []
    for item in waiting.itertuples():
        name = f" {item.access}" if item.what == SURVEY and item.access not in ("", "main") else ""
        name = f" {item.instrument}" if item.what == VISIT else name
        when = "never done" if item.due_on is None else f"due {item.due_on}"
        phrases.append(f"{item.what}{name} ({when})")
    return "; ".join(phrases)
