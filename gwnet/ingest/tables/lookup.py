"""Codes on record with their ids, as seen from inside the loading transaction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from gwnet import clock
from gwnet.constants import REPEAT_TOLERANCE_M
from gwnet.ingest.tables.parse import FIRST_DAY, Moments, Parsed, Starts
from gwnet.store.columns import Column
from gwnet.store.contract import TABLES
from gwnet.store.models.base import known_on
from gwnet.store.models.instruments import InstrumentRecord
from gwnet.store.models.pumping import PumpingTestRecord
from gwnet.store.models.schema import METADATA
from gwnet.store.models.sites import SiteRecord
from gwnet.store.recorded import IDENTITIES, OF_SITE, RECORD_OF
from gwnet.store.save.bulk import insert_columns, reserve_ids

#: Identities that rows of other tables refer to.
_REFERRED: Final = frozenset(
    column.of for table in TABLES for column in table.columns if column.of not in {"", "site", table.identity}
)

#: Table that makes each identity, in words.
_TABLE_OF: Final = {table.identity: table.name.replace("_", " ") for table in TABLES if table.identity}


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
        As ``ids``, of identities that have a live row; a withdrawn well has no more events.
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
        for name in IDENTITIES:
            identity = METADATA.tables[name].c
            of_site = name in OF_SITE
            query = select(identity.id, identity.code, identity.site_id if of_site else identity.id)
            rows = self.connection.execute(query)
            self.ids[name] = {(site, code) if of_site else code: number for number, code, site in rows}
        settings = SiteRecord
        live = select(settings.site_id, settings.time_zone, settings.length_unit, settings.repeat_tolerance_m)
        for site, zone, unit, tolerance in self.connection.execute(live.where(known_on(settings, None))):
            self.zones[site], self.units[site] = zone, unit
            self.tolerances[site] = REPEAT_TOLERANCE_M if tolerance is None else tolerance
        of_instrument = InstrumentRecord
        units = select(of_instrument.instrument_id, of_instrument.length_unit).where(known_on(of_instrument, None))
        self.instrument_units = {number: unit for number, unit in self.connection.execute(units) if unit}
        for name in _REFERRED:
            record = METADATA.tables[RECORD_OF[name]].c
            # A row that was withdrawn leaves its identity: the code is known, yet nothing may refer to it.
            standing = set(self.connection.scalars(select(record[f"{name}_id"]).where(record.retired_at_utc.is_(None))))
            self.standing[name] = {code: number for code, number in self.ids[name].items() if number in standing}

    def ensure(self, name: str, keys: Sequence[Any]) -> list[int]:
        """Return the ids of identities; those that are not on record yet are made, all at once."""
        known = self.ids[name]
        if fresh := [key for key in dict.fromkeys(keys) if key not in known]:
            codes = [key[1] if name in OF_SITE else key for key in fresh]
            columns: dict[str, Any] = {"id": reserve_ids(self.connection, name, len(fresh)), "code": codes}
            if name in OF_SITE:
                columns["site_id"] = [int(key[0]) for key in fresh]
            insert_columns(self.connection, name, columns, len(fresh))
            known.update(zip(fresh, columns["id"].tolist(), strict=True))
        return [known[key] for key in keys]

    def default_unit(self) -> str:
        """Return the unit of rows that belong to no site: that of all sites if they agree, else metres."""
        units = set(self.units.values())
        return units.pop() if len(units) == 1 else "m"


def site_ids(parsed: Parsed, codes: Codes) -> NDArray[np.int64]:
    """Return the site of each row, -1 where it is not on record (which is noted).

    Parameters as `gwnet.ingest.tables`.
    """
    known = {code: number for code, number in codes.ids["site"].items() if number in codes.zones}
    return _ids(parsed, parsed.table.column("site"), known, list(parsed.values["site"]), codes)


def ids(parsed: Parsed, codes: Codes, column: Column, sites: NDArray[np.int64] | None) -> NDArray[np.int64]:
    """Return the ids of the codes of a column, -1 where empty or not on record (which is noted).

    Parameters as `gwnet.ingest.tables`; ``column`` is a column of codes.
    """
    keys = list(parsed.values[column.name])
    if column.of in OF_SITE and sites is not None:
        keys = [None if code is None else (site, code) for site, code in zip(sites.tolist(), keys, strict=True)]
    return _ids(parsed, column, codes.standing[column.of], keys, codes)


def _ids(parsed: Parsed, column: Column, known: dict[Any, int], keys: list[Any], codes: Codes) -> NDArray[np.int64]:
    numbers = np.fromiter((-1 if key is None else known.get(key, -1) for key in keys), dtype=np.int64, count=len(keys))
    word = column.of.removeprefix("gauging_").removeprefix("pumping_")
    for row in np.flatnonzero(numbers < 0):
        key = keys[row]
        if key is None or (isinstance(key, tuple) and key[0] < 0):
            # Its site is not on record, which one message says; a second one for the code would mislead.
            if key is not None:
                parsed.good[row] = False
            continue
        code = key[1] if isinstance(key, tuple) else key
        if key in codes.refused.get(column.of, ()):
            fix = "Its own row was rejected; fix that first."
        else:
            pool = [k[1] if isinstance(k, tuple) else k for k in known if not isinstance(k, tuple) or k[0] == key[0]]
            near = get_close_matches(str(code), pool, n=2, cutoff=0.6)
            fix = (
                f"Did you mean {' or '.join(near)}?"
                if near
                else f"Load it first, in the table of {_TABLE_OF[column.of]}."
            )
        parsed.reject(int(row), column.name, f"{word}-unknown", f"There is no {word} {code!r} on record.", fix)
    return numbers


def pumped_wells(codes: Codes) -> dict[int, int]:
    """Return the pumped well of each test on record, by the test's id.

    Parameters as `gwnet.ingest.tables`.
    """
    test = PumpingTestRecord
    query = select(test.pumping_test_id, test.well_id).where(known_on(test, None))
    return {row.pumping_test_id: row.well_id for row in codes.connection.execute(query)}


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


def when_measured(parsed: Parsed, sites: NDArray[np.int64], codes: Codes) -> When:
    """Return when each row was measured, from ``measured_at`` or from ``date`` and ``time``.

    Parameters as `gwnet.ingest.tables`.
    """
    stamp: Moments = parsed.values["measured_at"]
    by_stamp = ~np.isnat(stamp.local)
    minutes = parsed.values["time"]
    day = parsed.values["date"].astype("datetime64[us]")
    # Noon stands for a day without a time: every day has one, and no change of clocks moves it to another date.
    clock_time = day + np.round(np.nan_to_num(minutes, nan=12 * 60.0) * 60e6).astype("timedelta64[us]")
    local = np.where(by_stamp, stamp.local, clock_time)
    known = np.where(by_stamp, stamp.has_time, ~np.isnan(minutes))
    noon = local.astype("datetime64[D]").astype("datetime64[us]") + np.timedelta64(12, "h")
    local = np.where(known, local, noon)
    column = np.where(by_stamp, "measured_at", "time")
    utc, offset = to_utc(parsed, local, np.where(known, stamp.offset, np.nan), sites, codes, column)
    return When(utc, known, offset)


def moments_utc(parsed: Parsed, name: str, sites: NDArray[np.int64], codes: Codes) -> NDArray[np.datetime64]:
    """Return the instants of a timestamp column; a date without a time is the start of that local day.

    Parameters as `gwnet.ingest.tables`.
    """
    values = parsed.values[name]
    stamp: Moments = values.moments if isinstance(values, Starts) else values
    column = np.full(parsed.count, name, dtype=object)
    return to_utc(parsed, stamp.local, stamp.offset, sites, codes, column)[0]


def to_utc(
    parsed: Parsed,
    local: NDArray[np.datetime64],
    written_offset: NDArray[np.float64],
    sites: NDArray[np.int64],
    codes: Codes,
    column: NDArray[Any],
) -> tuple[NDArray[np.datetime64], NDArray[np.int64]]:
    """Return instants and offsets of local times, each by its site's zone or by the offset written with it.

    Parameters as `gwnet.ingest.tables`.

    Parameters
    ----------
    local : numpy.ndarray of datetime64[us]
        Wall-clock times.
    written_offset : numpy.ndarray of float
        Minutes from UTC where written, else NaN.
    column : numpy.ndarray of str
        Column to name in a problem.
    """
    utc = np.full(local.shape, np.datetime64("NaT"), dtype="datetime64[us]")
    offset = np.zeros(local.shape, dtype=np.int64)
    written = ~np.isnan(written_offset)
    # earlier days are refused, and the first years of the calendar have no time in another zone
    readable = local >= FIRST_DAY
    for site in np.unique(sites[sites >= 0]).tolist():
        zone = codes.zones[site]
        by_zone = np.flatnonzero((sites == site) & ~written & readable)
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
                parsed.reject(int(row), str(column[row]), problem, message, fix)
        given = np.flatnonzero((sites == site) & written & readable)
        shift = written_offset[given].astype(np.int64).astype("timedelta64[m]")
        utc[given] = local[given] - shift
        # Stored is the offset of the site's clock, whatever offset the cell gave: the local date is that of the site.
        offset[given] = clock.offset_minutes(utc[given], zone)
    return utc, offset


def _offset_example(minutes: NDArray[np.int64]) -> str:
    value = int(minutes[0]) if minutes.size else 0
    return f"{'-' if value < 0 else '+'}{abs(value) // 60:02d}:{abs(value) % 60:02d}"
