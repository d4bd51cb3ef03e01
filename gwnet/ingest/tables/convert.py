"""Parsed tables to the columns of their recorded tables, each as its declaration says.

Codes become ids, lengths metres, local times instants, lists JSON; an empty cell takes the default of its column.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gwnet.constants import NORMAL_95
from gwnet.errors import UnitError
from gwnet.ingest.tables import lookup
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import NUMBER, Parsed, Starts
from gwnet.store.columns import Column
from gwnet.store.contract import LIMIT_QUANTITIES
from gwnet.store.recorded import OF_SITE, record_of, recorded_columns
from gwnet.units import LITRES_PER_SECOND_PER_UNIT, MINUTES_PER_UNIT, length_unit, metres_per

#: Decimals to which lengths in metres are kept: a tenth of a micrometre, so that conversion leaves no dust.
_DECIMALS = 7

#: Decimals to which minutes and litres per second are kept.
_SMALL_DECIMALS = 9

Columns = dict[str, Any]


@dataclass(frozen=True)
class Converted:
    """A parsed table as it is to be stored.

    Attributes
    ----------
    columns : dict of str to sequence
        Columns of the recorded table, one value a row; under the name of an identity that the table makes its codes,
        or pairs of site and code.
    sites : numpy.ndarray of int64 or None
        Site of each row, -1 where it is not on record; None for tables of no site.
    units : list of str
        Unit of lengths of each row whose heading names none.
    """

    columns: Columns
    sites: NDArray[np.int64] | None
    units: list[str]


def convert(parsed: Parsed, codes: Codes) -> Converted:
    """Return a parsed table as it is to be stored.

    Parameters as `gwnet.ingest.tables`.
    """
    table = parsed.table
    recorded = recorded_columns(table)
    # The row of a site makes its own site, and instruments belong to none.
    sites = None if table.identity == "site" or "site" not in table.names else lookup.site_ids(parsed, codes)
    columns = _identities(parsed, sites)
    for column in table.columns:
        # What the table itself makes has no id before it is recorded.
        if column.of and column.of not in {table.identity, "site"}:
            columns[column.stored_as] = _none_for_missing(lookup.ids(parsed, codes, column, sites))
    if sites is not None and "site_id" in record_of(table).c:
        columns["site_id"] = sites.tolist()
    units = _units_of_rows(parsed, codes, sites, columns)
    for column in recorded:
        if not column.of:
            columns[column.stored_as] = _values(parsed, column, units, sites, codes)
    if sites is not None:
        _add_special(parsed, columns, units, sites, codes)
    return Converted(columns, sites, units)


def _identities(parsed: Parsed, sites: NDArray[np.int64] | None) -> Columns:
    """Return the codes of the identities that a table makes, with their site where they belong to one."""
    table = parsed.table
    if not table.identity:
        return {}
    heading = next(column.name for column in table.columns if column.of == table.identity)
    codes = parsed.values[heading]
    if table.identity in OF_SITE and sites is not None:
        return {table.identity: list(zip(sites.tolist(), codes, strict=True))}
    return {table.identity: codes}


def _none_for_missing(ids: NDArray[np.int64]) -> list[int | None]:
    return [None if number < 0 else number for number in ids.tolist()]


def _units_of_rows(parsed: Parsed, codes: Codes, sites: NDArray[np.int64] | None, columns: Columns) -> list[str]:
    """Return the unit of lengths of each row: the site's, the row's own, or that of its instrument."""
    if sites is not None:
        return [codes.units.get(site, "m") for site in sites.tolist()]
    usual = "m" if parsed.table.identity == "site" else codes.default_unit()
    if "length_unit" in parsed.table.names:
        # A row that states a unit of lengths means its own lengths by it.
        return [_unit_or(unit, usual) for unit in parsed.values["length_unit"]]
    # An instrument goes from site to site: its checks are in its own unit.
    return [codes.instrument_units.get(number, usual) for number in columns.get("instrument_id", [-1] * parsed.count)]


def _unit_or(unit: str | None, usual: str) -> str:
    """Return a unit of length by its usual name; another where there is none or it is refused elsewhere."""
    try:
        return usual if unit is None else length_unit(unit)
    except UnitError:
        return usual


def _values(parsed: Parsed, column: Column, units: list[str], sites: NDArray[np.int64] | None, codes: Codes) -> Any:
    values = parsed.values[column.name]
    match column.kind:
        case "length":
            return metres(parsed, column.name, units)
        case "timestamp":
            assert sites is not None
            return _instants(lookup.moments_utc(parsed, column.name, sites, codes))
        case "duration" | "rate":
            return in_stored_unit(parsed, column, values)
        case "date":
            return [None if np.isnat(day) else day.item() for day in values]
        case "whole":
            return [column.default if np.isnan(value) else int(value) for value in values]
        case "flag":
            return [None if word is None else word == "yes" for word in values]
        case "list":
            return [json.dumps(entries, ensure_ascii=False) for entries in values]
        case "limits":
            return [_limits(parsed, column.name, row) for row in range(parsed.count)]
    if (parsed.table.name, column.name) == ("sites", "length_unit"):
        # By its usual name, so that "feet" and "ft" are one unit on record.
        return units
    return values if column.default is None else [column.default if value is None else value for value in values]


def metres(parsed: Parsed, name: str, units: list[str]) -> NDArray[np.float64]:
    """Return a column of lengths in metres.

    Parameters as `gwnet.ingest.tables`.

    Parameters
    ----------
    name : str
        Column.
    """
    values: NDArray[np.float64] = parsed.values[name]
    with np.errstate(over="ignore"):  # lengths beyond every range belong to rows that are refused
        return np.round(values * factors(parsed, name, units), _DECIMALS)


def in_stored_unit(parsed: Parsed, column: Column, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return durations in minutes, or rates in litres per second.

    Parameters as `gwnet.ingest.tables`; ``column`` is of one of the two, ``values`` are in the unit of its heading.
    """
    factors = LITRES_PER_SECOND_PER_UNIT if column.kind == "rate" else MINUTES_PER_UNIT
    return np.round(values * factors[parsed.raw.units.get(column.name, column.unit)], _SMALL_DECIMALS)


def check_lengths(parsed: Parsed, units: list[str]) -> None:
    """Refuse lengths outside the range of their column, and bottoms above their tops; all are compared in metres.

    Parameters as `gwnet.ingest.tables`.
    """
    for column in parsed.table.columns:
        if column.kind != "length" or column.name not in parsed.raw.places:
            continue
        values: NDArray[np.float64] = parsed.values[column.name]
        lowest, highest = column.limits
        with np.errstate(over="ignore"):
            length_m = values * factors(parsed, column.name, units)
        outside = np.flatnonzero(np.isfinite(values) & ((length_m < lowest) | (length_m > highest)))
        of_row = units_of(parsed, column.name, units) if outside.size else []
        for row in outside.tolist():
            unit = of_row[row]
            low, high = (f"{bound / metres_per(unit):.6g}" for bound in (lowest, highest))
            message = f"{values[row]:.10g} {unit} lies outside {low} to {high} {unit}."
            parsed.reject(row, column.name, "out-of-range", message, "Check the number, its sign and the unit.")
    if parsed.table.name == "construction" and "bottom_depth" in parsed.raw.places:
        _check_parts(parsed, units)


def _check_parts(parsed: Parsed, units: list[str]) -> None:
    """Refuse parts of a well whose bottom lies above their top; either heading may name a unit of its own."""
    shown = {name: parsed.values[name] for name in ("top_depth", "bottom_depth")}
    top_m, bottom_m = (metres(parsed, name, units) for name in shown)
    for row in np.flatnonzero(bottom_m < top_m).tolist():
        top, bottom = (f"{values[row]:g} {units_of(parsed, name, units)[row]}" for name, values in shown.items())
        message = f"The bottom, {bottom}, lies above the top, {top}."
        parsed.reject(row, "bottom_depth", "wrong-order", message, "Depths count downward from ground; swap them.")


def factors(parsed: Parsed, name: str, units: list[str]) -> NDArray[np.float64]:
    """Return the metres that one unit of each row of a column of lengths is.

    Parameters as `gwnet.ingest.tables`.

    Parameters
    ----------
    name : str
        Column.
    """
    of_row = units_of(parsed, name, units)
    known = {unit: metres_per(unit) for unit in set(of_row)}
    return np.fromiter((known[unit] for unit in of_row), dtype=np.float64, count=len(of_row))


def units_of(parsed: Parsed, name: str, units: list[str]) -> list[str]:
    """Return the unit of each row of a column of lengths: the heading's, the one kept from the record, or the row's.

    Parameters as `gwnet.ingest.tables`.

    Parameters
    ----------
    name : str
        Column.
    """
    unit = parsed.raw.units.get(name)
    if unit:
        return [unit] * parsed.count
    return parsed.kept_units[name].tolist() if name in parsed.kept_units else units


def _instants(utc: NDArray[np.datetime64]) -> list[dt.datetime | None]:
    # an instant before the year 1, or after 9999, is no datetime; its row was refused by its day
    moments = (value.item() for value in utc)
    return [moment.replace(tzinfo=dt.UTC) if isinstance(moment, dt.datetime) else None for moment in moments]


def _limits(parsed: Parsed, name: str, row: int) -> str | None:
    """Return limits of checks, written as ``name=number; name=number``, as JSON."""
    limits: dict[str, float] = {}
    for pair in parsed.values[name][row]:
        limit, _, number = (part.strip() for part in pair.partition("="))
        # A number such as 1e999 is written well and is infinite.
        if NUMBER.fullmatch(number) and math.isfinite(float(number)):
            limits[limit] = float(number)
        else:
            message = f"{pair!r} is not a limit."
            fix = "Write name=number, separated by semicolons, with a decimal point."
            parsed.reject(row, name, "not-a-number", message, fix)
    # Sorted, so that the same limits in another order correct nothing.
    return json.dumps(limits, sort_keys=True) if limits else None


def _add_special(parsed: Parsed, columns: Columns, units: list[str], sites: NDArray[np.int64], codes: Codes) -> None:
    """Add what follows from several columns together, and check what needs the record."""
    if parsed.table.name == "stages":
        when = lookup.when_measured(parsed, sites, codes)
        columns["measured_at_utc"], columns["time_known"] = _instants(when.utc), when.time_known.tolist()
    elif parsed.table.name == "thresholds":
        lengths = {name: metres(parsed, name, units) for name in LIMIT_QUANTITIES if name != "gradient"}
        # a gradient is the difference of head over one metre
        limits = {**lengths, "gradient": parsed.values["gradient"]}
        quantity = [
            # A row of no limit is refused by then, and needs some word all the same.
            next((name for name in LIMIT_QUANTITIES if not np.isnan(limits[name][row])), LIMIT_QUANTITIES[0])
            for row in range(parsed.count)
        ]
        columns["quantity"] = quantity
        columns["value_m"] = np.array([limits[name][row] for row, name in enumerate(quantity)], dtype=np.float64)
    elif parsed.table.name == "measuring_points":
        one_sd = metres(parsed, "accuracy_1sd", units)
        # On record an accuracy is the half-width of its 95 % interval, whichever way it was given.
        half_width = np.round(NORMAL_95 * one_sd, _DECIMALS)
        columns["accuracy_m"] = np.where(np.isnan(one_sd), columns["accuracy_m"], half_width)
    elif parsed.table.name == "pumping_rates":
        starts: Starts = parsed.values["from"]
        columns["from_utc"] = _instants(lookup.moments_utc(parsed, "from", sites, codes))
        columns["from_elapsed_min"] = _elapsed(parsed, "from", starts.elapsed)
        _fill_pumped_wells(columns, codes)
    elif parsed.table.name == "pumping_readings":
        columns["measured_at_utc"] = _instants(lookup.when_measured(parsed, sites, codes).utc)
        columns["elapsed_min"] = _elapsed(parsed, "elapsed", parsed.values["elapsed"])
    elif parsed.table.name == "rounds" and "wells" in parsed.raw.places:
        _check_wells(parsed, sites, codes)


def _elapsed(parsed: Parsed, name: str, values: NDArray[np.float64]) -> list[float | None]:
    minutes = in_stored_unit(parsed, parsed.table.column(name), values).tolist()
    return [None if math.isnan(value) else value for value in minutes]


def _fill_pumped_wells(columns: Columns, codes: Codes) -> None:
    """Give the rates that name no well that of their test."""
    pumped = lookup.pumped_wells(codes)
    pairs = zip(columns["well_id"], columns["pumping_test_id"], strict=True)
    columns["well_id"] = [pumped.get(test) if well is None else well for well, test in pairs]


def _check_wells(parsed: Parsed, sites: NDArray[np.int64], codes: Codes) -> None:
    for row, (site, wells) in enumerate(zip(sites.tolist(), parsed.values["wells"], strict=True)):
        unknown = [well for well in wells if (site, well) not in codes.standing["well"]]
        # A row of an unknown site is refused for its site alone.
        if unknown and site >= 0:
            message = f"There is no well {', '.join(map(repr, unknown))} on record."
            parsed.reject(row, "wells", "well-unknown", message, "Correct the list, separated by semicolons.")
