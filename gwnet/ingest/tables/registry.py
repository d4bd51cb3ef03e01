"""Registry tables to recorded rows: every table but the level events.

Each table has a function that turns a parsed row into the columns of its recorded table. What happens to the row then
is the same for all: a live row of the same key with the same values is passed over, with other values it is refused or
corrected.

Longitude and latitude refer to the geodetic datum of the site's own coordinate system.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gwnet.clock import zone_of
from gwnet.errors import ClockError, UnitError
from gwnet.ingest.tables import lookup
from gwnet.ingest.tables.declared import QUANTITIES, Column
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import Parsed
from gwnet.store.fetch.history import ROW_KEYS
from gwnet.units import length_unit, metres_per

#: Decimals to which lengths in metres are kept: a tenth of a micrometre, so that conversion leaves no dust.
_DECIMALS = 7

Columns = dict[str, Any]

#: How often what is due at a site, in days.
INTERVALS = (
    "gauging_interval_days",
    "resurvey_interval_days",
    "tape_check_interval_days",
    "sounding_interval_days",
    "logger_visit_interval_days",
)


@dataclass(frozen=True)
class Subject:
    """How one table of the contract is recorded.

    Attributes
    ----------
    record : str
        Recorded table.
    identity : str
        Identity table whose rows the table makes, or empty.
    parent : str
        Column of the recorded table that points to that identity.
    columns : callable
        From a parsed table and the codes to the columns of the recorded table, one array or list each.
    """

    record: str
    columns: Callable[[Parsed, Codes], Columns]
    identity: str = ""
    parent: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """Return the columns of the recorded table that make a row the same row."""
        return ROW_KEYS[self.record]


def _texts(made: Parsed, *names: str) -> Columns:
    return {name: made.values[name] for name in names}


def _dates(made: Parsed, *names: str) -> Columns:
    return {name: [None if np.isnat(day) else day.item() for day in made.values[name]] for name in names}


def _metres(made: Parsed, name: str, unit_of_row: list[str]) -> NDArray[np.float64]:
    """Return a column of lengths in metres."""
    values: NDArray[np.float64] = made.values[name]
    unit = made.raw.units.get(name)
    unit_of_row = made.kept_units[name].tolist() if name in made.kept_units else unit_of_row
    factor = metres_per(unit) if unit else np.array([metres_per(u) for u in unit_of_row] or [1.0])
    return np.asarray(np.round(values * factor, _DECIMALS), dtype=np.float64) if len(values) else values


def _site_units(sites: NDArray[np.int64], codes: Codes) -> list[str]:
    return [codes.units.get(site, "m") for site in sites.tolist()]


def _site_and_well(made: Parsed, codes: Codes) -> tuple[NDArray[np.int64], NDArray[np.int64], list[str]]:
    sites = lookup.site_ids(made, codes)
    return sites, lookup.ids_of_site(made, codes, "well", "well", sites, "well"), _site_units(sites, codes)


def _none_for_missing(ids: NDArray[np.int64]) -> list[int | None]:
    return [None if number < 0 else number for number in ids.tolist()]


def _sites(made: Parsed, codes: Codes) -> Columns:  # noqa: ARG001
    units = []
    for row in range(made.count):
        unit = made.values["length_unit"][row]
        units.append("m")
        if unit is not None:
            try:
                units[row] = length_unit(unit)
            except UnitError as error:
                made.reject(row, "length_unit", "unit-unknown", error.message, "Write one of m, cm, mm, ft, ftUS.")
        _check_zone(made, row)
        _check_crs(made, row)
    return {
        "site": made.values["site"],
        **_texts(made, "name", "crs", "vertical_datum", "time_zone", "operator", "notes"),
        "length_unit": units,
        "repeat_tolerance_m": _metres(made, "repeat_tolerance", units),
        **{name: made.values[name] for name in ("same_day_window_days", *INTERVALS)},
        "self_review": [None if word is None else word == "yes" for word in made.values["self_review"]],
        "check_limits": [_limits(made, row) for row in range(made.count)],
    }


def _limits(made: Parsed, row: int) -> str | None:
    """Return the limits of checks, written as ``name=number; name=number``, as JSON."""
    found: dict[str, float] = {}
    for pair in made.values["check_limits"][row]:
        name, _, number = (part.strip() for part in pair.partition("="))
        try:
            found[name] = float(number)
        except ValueError:
            message = f"{pair!r} is not a limit."
            fix = "Write name=number, separated by semicolons, with a decimal point."
            made.reject(row, "check_limits", "not-a-number", message, fix)
    return json.dumps(found, sort_keys=True) if found else None


def _check_zone(made: Parsed, row: int) -> None:
    name = made.values["time_zone"][row]
    if name is None:
        return
    try:
        zone_of(name)
    except ClockError as error:
        made.reject(row, "time_zone", "zone-unknown", error.message, error.fix or "")


def _check_crs(made: Parsed, row: int) -> None:
    name = made.values["crs"][row]
    if name is None:
        return
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    fix = "Give the EPSG code of a projected system, for example EPSG:25832."
    try:
        system = CRS.from_user_input(name)
    except (CRSError, ValueError):
        made.reject(row, "crs", "crs-unknown", f"The coordinate system {name!r} is not known.", fix)
        return
    if not system.is_projected:
        message = f"The coordinate system {name!r} is not a projected one."
        made.reject(row, "crs", "crs-unknown", message, fix)


def _aquifers(made: Parsed, codes: Codes) -> Columns:  # noqa: ARG001
    return _texts(made, "aquifer", "name", "confinement", "notes")


def _wells(made: Parsed, codes: Codes) -> Columns:
    sites = lookup.site_ids(made, codes)
    units = _site_units(sites, codes)
    columns: Columns = {"well": list(zip(sites.tolist(), made.values["well"], strict=True))}
    for name in ("easting", "northing", "longitude", "latitude"):
        columns[name] = made.values[name]
    for name in ("coordinate_accuracy", "ground_elevation", "ground_accuracy", "total_depth"):
        columns[f"{name}_m"] = _metres(made, name, units)
    columns["aquifer_id"] = _none_for_missing(lookup.ids_alone(made, codes, "aquifer", "aquifer"))
    columns |= _texts(made, "cluster", "purpose", "role", "replaced_by", "access_notes", "hazards", "notes")
    return columns | _dates(made, "drilled_on", "decommissioned_on")


def _construction(made: Parsed, codes: Codes) -> Columns:
    _, wells, units = _site_and_well(made, codes)
    return {
        "well_id": wells.tolist(),
        **_texts(made, "part", "material", "notes"),
        "top_depth_m": _metres(made, "top_depth", units),
        "bottom_depth_m": _metres(made, "bottom_depth", units),
        "diameter_mm": made.values["diameter"],
        **_dates(made, "installed_on", "removed_on"),
    }


def _measuring_points(made: Parsed, codes: Codes) -> Columns:
    sites, wells, units = _site_and_well(made, codes)
    texts = _texts(made, "vertical_datum", "description", "surveyed_by", "survey_method", "change", "notes")
    return {
        "well_id": wells.tolist(),
        "access": [access or "main" for access in made.values["access"]],
        "valid_from_utc": _instants(made, "valid_from", sites, codes),
        "valid_until_utc": _instants(made, "valid_until", sites, codes),
        "elevation_m": _metres(made, "elevation", units),
        "height_above_ground_m": _metres(made, "height_above_ground", units),
        "accuracy_m": _metres(made, "accuracy", units),
        **texts,
        **_dates(made, "surveyed_on"),
    }


def _instants(made: Parsed, name: str, sites: NDArray[np.int64], codes: Codes) -> list[dt.datetime | None]:
    utc = lookup.moments_utc(made, name, sites, codes)
    return [None if np.isnat(value) else value.item().replace(tzinfo=dt.UTC) for value in utc]


def _instruments(made: Parsed, codes: Codes) -> Columns:
    units = []
    for row in range(made.count):
        unit = made.values["length_unit"][row]
        units.append(codes.default_unit())
        if unit is not None:
            try:
                units[row] = length_unit(unit)
            except UnitError as error:
                made.reject(row, "length_unit", "unit-unknown", error.message, "Write one of m, cm, mm, ft, ftUS.")
    return {
        "instrument": made.values["instrument"],
        **_texts(made, "kind", "serial", "length_unit", "notes"),
        **{
            f"{name}_m": _metres(made, name, units)
            for name in ("length_below_sensing_point", "resolution", "accuracy", "range")
        },
    }


def _tape_checks(made: Parsed, codes: Codes) -> Columns:
    instruments = lookup.ids_alone(made, codes, "instrument", "instrument")
    units = [codes.instrument_units.get(number, codes.default_unit()) for number in instruments.tolist()]
    return {
        "instrument_id": instruments.tolist(),
        **_dates(made, "checked_on"),
        "tape_reading_m": _metres(made, "tape_reading", units),
        "reference_reading_m": _metres(made, "reference_reading", units),
        **_texts(made, "checked_by", "notes"),
    }


def _deployments(made: Parsed, codes: Codes) -> Columns:
    sites, wells, units = _site_and_well(made, codes)
    return {
        "site_id": sites.tolist(),
        "well_id": _none_for_missing(wells),
        "instrument_id": lookup.ids_alone(made, codes, "instrument", "instrument").tolist(),
        "valid_from_utc": _instants(made, "installed_at", sites, codes),
        "valid_until_utc": _instants(made, "removed_at", sites, codes),
        "hanging_depth_m": _metres(made, "hanging_depth", units),
        "barometer_id": _none_for_missing(lookup.ids_alone(made, codes, "barometer", "instrument")),
        **_texts(made, "notes"),
    }


def _rounds(made: Parsed, codes: Codes) -> Columns:
    sites = lookup.site_ids(made, codes)
    for row, (site, wells) in enumerate(zip(sites.tolist(), made.values["wells"], strict=True)):
        unknown = [well for well in wells if (site, well) not in codes.standing["well"]]
        if unknown and site >= 0 and "wells" in made.raw.places:
            message = f"There is no well {', '.join(map(repr, unknown))} on record."
            made.reject(row, "wells", "well-unknown", message, "Correct the list, separated by semicolons.")
    return {
        "gauging_round": list(zip(sites.tolist(), made.values["round"], strict=True)),
        **_dates(made, "starts_on", "ends_on"),
        **_texts(made, "purpose", "crew", "notes"),
        "wells": [json.dumps(wells, ensure_ascii=False) for wells in made.values["wells"]],
    }


def _thresholds(made: Parsed, codes: Codes) -> Columns:
    sites, wells, units = _site_and_well(made, codes)
    metres = {name: _metres(made, name, units) for name in QUANTITIES}
    quantity = [
        next((n for n in QUANTITIES if not np.isnan(metres[n][row])), QUANTITIES[0]) for row in range(made.count)
    ]
    consecutive = made.values["consecutive"]
    return {
        "well_id": wells.tolist(),
        **_texts(made, "threshold", "kind", "basis", "action"),
        "quantity": quantity,
        "value_m": np.array([metres[name][row] for row, name in enumerate(quantity)], dtype=np.float64),
        "consecutive": np.where(np.isnan(consecutive), 1, consecutive).astype(np.int64).tolist(),
        "valid_from_utc": _instants(made, "valid_from", sites, codes),
        "valid_until_utc": _instants(made, "valid_until", sites, codes),
    }


def _stages(made: Parsed, codes: Codes) -> Columns:
    sites = lookup.site_ids(made, codes)
    when = lookup.when_measured(made, sites, codes)
    utc = [None if np.isnat(value) else value.item().replace(tzinfo=dt.UTC) for value in when.utc]
    return {
        "gauge": list(zip(sites.tolist(), made.values["gauge"], strict=True)),
        "measured_at_utc": utc,
        "time_known": when.time_known.tolist(),
        "water_elevation_m": _metres(made, "water_elevation", _site_units(sites, codes)),
        "easting": made.values["easting"],
        "northing": made.values["northing"],
        "aquifer_id": _none_for_missing(lookup.ids_alone(made, codes, "aquifer", "aquifer")),
        **_texts(made, "notes"),
    }


def _context(made: Parsed, codes: Codes) -> Columns:
    sites = lookup.site_ids(made, codes)
    dates = _dates(made, "date")["date"]
    return {
        "context_series": list(zip(sites.tolist(), made.values["series"], strict=True)),
        "on_date": dates,
        **_texts(made, "quantity", "unit", "notes"),
        "value": made.values["value"],
    }


def _register(made: Parsed, codes: Codes) -> Columns:
    for row, (state, answer) in enumerate(zip(made.values["state"], made.values["answer"], strict=True)):
        if state in ("answered", "closed") and not answer:
            message = f"The entry is {state}, and there is no answer."
            made.reject(row, "answer", "answer-missing", message, "Say in a few words what was answered or done.")
    return {
        "site_id": lookup.site_ids(made, codes).tolist(),
        "code": made.values["entry"],
        "kind": made.values["kind"],
        **_dates(made, "raised_on", "due_on"),
        **_texts(made, "raised_by", "text", "answer"),
        "state": [state or "open" for state in made.values["state"]],
    }


#: Column of the record for columns of a file whose name and kind do not tell it.
_STORED_AS = {
    "well": "well_id",
    "aquifer": "aquifer_id",
    "barometer": "barometer_id",
    "instrument": "instrument_id",
    "round": "gauging_round_id",
    "installed_at": "valid_from_utc",
    "removed_at": "valid_until_utc",
    "diameter": "diameter_mm",
    "discharge": "discharge_l_s",
}


def stored_as(column: Column) -> str:
    """Return the column of the record that holds a column of a file.

    Parameters
    ----------
    column : gwnet.ingest.tables.declared.Column
        Column of a file, outside the key of its table.

    Returns
    -------
    str
        Name in the recorded table; lengths end in ``_m``, instants in ``_utc``.
    """
    ending = {"length": "_m", "timestamp": "_utc"}.get(column.kind, "")
    return _STORED_AS.get(column.name, f"{column.name}{ending}")


SUBJECTS: dict[str, Subject] = {
    "sites": Subject("site_record", _sites, "site", "site_id"),
    "aquifers": Subject("aquifer_record", _aquifers, "aquifer", "aquifer_id"),
    "wells": Subject("well_record", _wells, "well", "well_id"),
    "construction": Subject("construction_part", _construction),
    "measuring_points": Subject("measuring_point", _measuring_points),
    "instruments": Subject("instrument_record", _instruments, "instrument", "instrument_id"),
    "tape_checks": Subject("tape_check", _tape_checks),
    "deployments": Subject("deployment", _deployments),
    "rounds": Subject("round_record", _rounds, "gauging_round", "gauging_round_id"),
    "thresholds": Subject("threshold", _thresholds),
    "stages": Subject("stage_reading", _stages, "gauge", "gauge_id"),
    "context": Subject("context_value", _context, "context_series", "context_series_id"),
    "register": Subject("register_entry", _register),
}


def as_written(made: Parsed, row: int) -> str:
    """Return the filled cells of a row with their headings, as JSON.

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table.
    row : int
        Position of the row.

    Returns
    -------
    str
        JSON object.
    """
    sheet = made.raw.sheet
    cells = zip(sheet.headings, sheet.rows[row], strict=True)
    return json.dumps({h.strip(): c for h, c in cells if c.strip()}, ensure_ascii=False)
