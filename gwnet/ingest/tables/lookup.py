"""Codes on record, and what they stand for, as seen from inside the loading transaction."""

from __future__ import annotations

from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from gwnet import clock
from gwnet.constants import REPEAT_TOLERANCE_M
from gwnet.ingest.tables.parse import Moments, Parsed
from gwnet.store.models.base import known_on
from gwnet.store.models.context import ContextSeries, Gauge
from gwnet.store.models.instruments import Instrument, InstrumentRecord
from gwnet.store.models.rounds import GaugingRound
from gwnet.store.models.schema import METADATA
from gwnet.store.models.sites import Aquifer, Site, SiteRecord
from gwnet.store.models.wells import Well
from gwnet.store.save.bulk import insert_columns, reserve_ids

#: Identity tables that belong to a site; the others stand alone.
_OF_SITE: dict[str, Any] = {
    "well": Well,
    "gauging_round": GaugingRound,
    "gauge": Gauge,
    "context_series": ContextSeries,
}
_ALONE: dict[str, Any] = {"site": Site, "aquifer": Aquifer, "instrument": Instrument}

#: Recorded table of each identity that other rows refer to, and its column.
_RECORDS: dict[str, tuple[str, str]] = {
    "well": ("well_record", "well_id"),
    "aquifer": ("aquifer_record", "aquifer_id"),
    "instrument": ("instrument_record", "instrument_id"),
    "gauging_round": ("round_record", "gauging_round_id"),
}


@dataclass
class Codes:
    """Codes on record.

    Attributes
    ----------
    ids : dict of str to dict
        For each identity table, ids by code, or by site id and code.
    zones, units : dict of int to str
        Time zone and unit of length by site id.
    tolerances : dict of int to float
        Repeat tolerance by site id [m].
    instrument_units : dict of int to str
        Unit of length by instrument id.
    standing : dict of str to dict
        As ``ids``, of identities that have a live row; a withdrawn well takes no more events.
    refused : dict of str to set
        Codes whose rows were rejected in this load, by identity table; a row that needs one of them says so.
    """

    connection: Connection
    ids: dict[str, dict[Any, int]] = field(default_factory=dict)
    zones: dict[int, str] = field(default_factory=dict)
    units: dict[int, str] = field(default_factory=dict)
    tolerances: dict[int, float] = field(default_factory=dict)
    instrument_units: dict[int, str] = field(default_factory=dict)
    refused: dict[str, set[Any]] = field(default_factory=dict)
    standing: dict[str, dict[Any, int]] = field(default_factory=dict)

    def refresh(self) -> None:
        """Look everything up again."""
        for name, model in _ALONE.items():
            self.ids[name] = {code: number for number, code in self.connection.execute(select(model.id, model.code))}
        for name, model in _OF_SITE.items():
            rows = self.connection.execute(select(model.id, model.site_id, model.code))
            self.ids[name] = {(site, code): number for number, site, code in rows}
        of_site = SiteRecord
        live = select(of_site.site_id, of_site.time_zone, of_site.length_unit, of_site.repeat_tolerance_m)
        for site, zone, unit, tolerance in self.connection.execute(live.where(known_on(of_site, None))):
            self.zones[site], self.units[site] = zone, unit
            self.tolerances[site] = REPEAT_TOLERANCE_M if tolerance is None else tolerance
        record = InstrumentRecord
        rows = self.connection.execute(select(record.instrument_id, record.length_unit).where(known_on(record, None)))
        self.instrument_units = {number: unit for number, unit in rows if unit}
        for name, (table, column) in _RECORDS.items():
            record_table = METADATA.tables[table]
            query = select(record_table.c[column]).where(record_table.c.retired_at_utc.is_(None))
            standing = set(self.connection.scalars(query))
            self.standing[name] = {code: number for code, number in self.ids[name].items() if number in standing}

    def ensure(self, name: str, key: Any) -> int:
        """Return the id of an identity, made if there is none yet."""
        found = self.ids[name].get(key)
        if found is None:
            columns = {"code": [key]} if name in _ALONE else {"site_id": int(key[0]), "code": [key[1]]}
            found = int(reserve_ids(self.connection, name, 1)[0])
            insert_columns(self.connection, name, {"id": found, **columns}, 1)
            self.ids[name][key] = found
        return found

    def default_unit(self) -> str:
        """Return the unit of rows that belong to no site: that of all sites if they agree, else metres."""
        units = set(self.units.values())
        return units.pop() if len(units) == 1 else "m"


def site_ids(made: Parsed, codes: Codes) -> NDArray[np.int64]:
    """Return the site of each row, -1 where it is not on record (which is noted).

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Table with a column ``site``.
    codes : Codes
        Codes on record.

    Returns
    -------
    numpy.ndarray of int64
        Ids of sites.
    """
    known = {code: number for code, number in codes.ids["site"].items() if number in codes.zones}
    return _ids(made, "site", "site", known, list(made.values["site"]), codes)


def ids_of_site(
    made: Parsed, codes: Codes, column: str, identity: str, sites: NDArray[np.int64], problem: str
) -> NDArray[np.int64]:
    """Return the ids of codes within sites, -1 where empty or not on record (which is noted).

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table.
    codes : Codes
        Codes on record.
    column : str
        Column that holds the codes.
    identity : str
        Identity table.
    sites : numpy.ndarray of int64
        Site of each row.
    problem : str
        Word for the problem and the message: well, round.

    Returns
    -------
    numpy.ndarray of int64
        Ids.
    """
    keys = [
        None if code is None else (site, code) for site, code in zip(sites.tolist(), made.values[column], strict=True)
    ]
    return _ids(made, column, problem, codes.standing[identity], keys, codes, identity)


def ids_alone(made: Parsed, codes: Codes, column: str, identity: str) -> NDArray[np.int64]:
    """Return the ids of aquifers or instruments, -1 where empty or not on record (which is noted).

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table.
    codes : Codes
        Codes on record.
    column : str
        Column that holds the codes.
    identity : str
        Identity table: aquifer or instrument.

    Returns
    -------
    numpy.ndarray of int64
        Ids.
    """
    return _ids(made, column, identity, codes.standing[identity], list(made.values[column]), codes, identity)


def _ids(
    made: Parsed,
    column: str,
    word: str,
    known: dict[Any, int],
    keys: list[Any],
    codes: Codes,
    identity: str | None = None,
) -> NDArray[np.int64]:
    found = np.fromiter((-1 if key is None else known.get(key, -1) for key in keys), dtype=np.int64, count=len(keys))
    for row in np.flatnonzero(found < 0):
        key = keys[row]
        if key is None or (isinstance(key, tuple) and key[0] < 0):
            if key is not None:
                made.good[row] = False
            continue
        code = key[1] if isinstance(key, tuple) else key
        if key in codes.refused.get(identity or word, ()):
            fix = "Its own row was rejected; fix that first."
        else:
            pool = [k[1] if isinstance(k, tuple) else k for k in known if not isinstance(k, tuple) or k[0] == key[0]]
            near = get_close_matches(str(code), pool, n=2, cutoff=0.6)
            fix = f"Did you mean {' or '.join(near)}?" if near else f"Load it first, in the table of {word}s."
        made.reject(int(row), column, f"{word}-unknown", f"There is no {word} {code!r} on record.", fix)
    return found


@dataclass(frozen=True)
class When:
    """When each row happened.

    Attributes
    ----------
    utc : numpy.ndarray of datetime64[us]
        Instant; NaT where unknown or refused.
    time_known : numpy.ndarray of bool
        Whether the time of day is known; otherwise the instant is noon of the local day.
    offset_minutes : numpy.ndarray of int64
        Offset of local time from UTC.
    """

    utc: NDArray[np.datetime64]
    time_known: NDArray[np.bool_]
    offset_minutes: NDArray[np.int64]


def when_measured(made: Parsed, sites: NDArray[np.int64], codes: Codes) -> When:
    """Return when each row was measured, from ``measured_at`` or from ``date`` and ``time``.

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Level events or stages.
    sites : numpy.ndarray of int64
        Site of each row; -1 for none.
    codes : Codes
        Codes on record, with the zones of sites.

    Returns
    -------
    When
        Instants; local times that never were or were twice are noted as problems.
    """
    stamp: Moments = made.values["measured_at"]
    by_stamp = ~np.isnat(stamp.local)
    minutes = made.values["time"]
    day = made.values["date"].astype("datetime64[us]")
    clock_time = day + np.round(np.nan_to_num(minutes, nan=12 * 60.0) * 60e6).astype("timedelta64[us]")
    local = np.where(by_stamp, stamp.local, clock_time)
    known = np.where(by_stamp, stamp.has_time, ~np.isnan(minutes))
    noon = local.astype("datetime64[D]").astype("datetime64[us]") + np.timedelta64(12, "h")
    local = np.where(known, local, noon)
    column = np.where(by_stamp, "measured_at", "time")
    utc, offset = to_utc(made, local, np.where(known, stamp.offset, np.nan), sites, codes, column)
    return When(utc, known, offset)


def moments_utc(made: Parsed, name: str, sites: NDArray[np.int64], codes: Codes) -> NDArray[np.datetime64]:
    """Return the instants of a timestamp column; a date without a time is the start of that local day.

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table.
    name : str
        Column.
    sites : numpy.ndarray of int64
        Site of each row; -1 for none.
    codes : Codes
        Codes on record, with the zones of sites.

    Returns
    -------
    numpy.ndarray of datetime64[us]
        Instants in UTC; NaT for empty cells.
    """
    stamp: Moments = made.values[name]
    column = np.full(made.count, name, dtype=object)
    return to_utc(made, stamp.local, stamp.offset, sites, codes, column)[0]


def to_utc(
    made: Parsed,
    local: NDArray[np.datetime64],
    written_offset: NDArray[np.float64],
    sites: NDArray[np.int64],
    codes: Codes,
    column: NDArray[Any],
) -> tuple[NDArray[np.datetime64], NDArray[np.int64]]:
    """Return instants and offsets of local times, each by its site's zone or by the offset written with it.

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table; problems are added to it.
    local : numpy.ndarray of datetime64[us]
        Wall-clock times.
    written_offset : numpy.ndarray of float
        Minutes from UTC where written, else NaN.
    sites : numpy.ndarray of int64
        Site of each row; -1 for none.
    codes : Codes
        Codes on record.
    column : numpy.ndarray of str
        Column to name in a problem.

    Returns
    -------
    tuple of numpy.ndarray
        Instants (NaT where missing or refused) and the zone's offsets in minutes.
    """
    utc = np.full(local.shape, np.datetime64("NaT"), dtype="datetime64[us]")
    offset = np.zeros(local.shape, dtype=np.int64)
    written = ~np.isnan(written_offset)
    for site in np.unique(sites[sites >= 0]).tolist():
        zone = codes.zones[site]
        by_zone = np.flatnonzero((sites == site) & ~written)
        answer = clock.to_utc(local[by_zone], zone)
        utc[by_zone], offset[by_zone] = answer.utc, answer.offset_minutes
        for rows, problem, words in (
            (by_zone[answer.skipped], "time-does-not-exist", "does not exist: the clocks were put forward"),
            (by_zone[answer.twice], "time-exists-twice", "exists twice: the clocks were put back"),
        ):
            for row in rows:
                text = str(local[row])[:16]
                message = f"The local time {text} {words} in {zone}."
                fix = f"Write measured_at with its offset, for example {text}{_offset_example(answer.offset_minutes)}."
                made.reject(int(row), str(column[row]), problem, message, fix)
        given = np.flatnonzero((sites == site) & written)
        shift = written_offset[given].astype(np.int64).astype("timedelta64[m]")
        utc[given] = local[given] - shift
        offset[given] = clock.offset_minutes(utc[given], zone)
    return utc, offset


def _offset_example(minutes: NDArray[np.int64]) -> str:
    value = int(minutes[0]) if minutes.size else 0
    return f"{'-' if value < 0 else '+'}{abs(value) // 60:02d}:{abs(value) % 60:02d}"
