"""Rules of a single row that need nothing of the record."""

from __future__ import annotations

from typing import Final

import numpy as np

from gwnet.clock import zone_of
from gwnet.errors import ClockError, UnitError
from gwnet.ingest.tables.parse import Moments, Parsed
from gwnet.ingest.tables.pumping import check_rates, check_readings
from gwnet.store.contract import LIMIT_QUANTITIES, NUMBER_ALLOWED, NUMBER_REQUIRED, QUANTITIES, TAPE_READINGS
from gwnet.units import length_unit

#: What to do about a negative depth; which of the two it is, only the field notes can say.
NEGATIVE_DEPTH: Final = (
    "Look at the field notes. If water was above the measuring point, give the status 'flowing', or keep 'static' with "
    "--accept wrong-sign --reason TEXT; if it was not, correct the number or its sign there."
)


def check_rows(parsed: Parsed) -> None:
    """Check the rows of a parsed table by themselves and note their problems.

    Parameters as `gwnet.ingest.tables`.
    """
    rules = {
        "sites": _check_sites,
        "instruments": _check_units,
        "register": _check_register,
        "wells": _check_wells,
        "measuring_points": _check_points,
        "deployments": lambda parsed: _check_interval(parsed, "installed_at", "removed_at"),
        "rounds": lambda parsed: _check_interval(parsed, "starts_on", "ends_on", same_day=True),
        "thresholds": _check_thresholds,
        "level_events": _check_level_events,
        "stages": _check_when,
        "pumping_tests": lambda parsed: _check_interval(parsed, "starts_at", "stops_at"),
        "pumping_rates": check_rates,
        "pumping_readings": check_readings,
    }
    rule = rules.get(parsed.table.name)
    if rule is not None:
        rule(parsed)


def _check_units(parsed: Parsed) -> None:
    for row in range(parsed.count):
        _check_unit(parsed, row)


def _check_sites(parsed: Parsed) -> None:
    for row in range(parsed.count):
        _check_unit(parsed, row)
        _check_zone(parsed, row)
        _check_crs(parsed, row)


def _check_unit(parsed: Parsed, row: int) -> None:
    unit = parsed.values["length_unit"][row]
    try:
        length_unit(unit or "m")
    except UnitError as error:
        parsed.reject(row, "length_unit", "unit-unknown", error.message, "Write one of m, cm, mm, ft, ftUS.")


def _check_zone(parsed: Parsed, row: int) -> None:
    name = parsed.values["time_zone"][row]
    if name is None:
        return
    try:
        zone_of(name)
    except ClockError as error:
        parsed.reject(row, "time_zone", "zone-unknown", error.message, error.fix or "")


def _check_crs(parsed: Parsed, row: int) -> None:
    name = parsed.values["crs"][row]
    if name is None:
        return
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    fix = "Give the EPSG code of a projected system, for example EPSG:25832."
    try:
        system = CRS.from_user_input(name)
    except (CRSError, ValueError):
        parsed.reject(row, "crs", "crs-unknown", f"The coordinate system {name!r} is not known.", fix)
        return
    # Distances, gradients and maps need lengths in the plane, not degrees.
    if not system.is_projected:
        message = f"The coordinate system {name!r} is not a projected one."
        parsed.reject(row, "crs", "crs-unknown", message, fix)


def _check_register(parsed: Parsed) -> None:
    for row, (state, answer) in enumerate(zip(parsed.values["state"], parsed.values["answer"], strict=True)):
        if state in ("answered", "closed") and not answer:
            message = f"The entry is {state}, and there is no answer."
            parsed.reject(row, "answer", "answer-missing", message, "Say in a few words what was answered or done.")


def _check_wells(parsed: Parsed) -> None:
    values = parsed.values
    by_grid = ~np.isnan(values["easting"]) & ~np.isnan(values["northing"])
    by_angle = ~np.isnan(values["longitude"]) & ~np.isnan(values["latitude"])
    for row in np.flatnonzero(~by_grid & ~by_angle & parsed.good):
        message = "The well has no coordinates."
        fix = "Give easting and northing in the site's system, or longitude and latitude in degrees."
        parsed.reject(int(row), None, "no-coordinates", message, fix)


def _check_points(parsed: Parsed) -> None:
    _check_interval(parsed, "valid_from", "valid_until")
    _check_one_way(parsed)


def _check_one_way(parsed: Parsed) -> None:
    """Check that what can be said in two columns is said in one."""
    for column in parsed.table.columns:
        if not column.converts_to:
            continue
        both = ~np.isnan(parsed.values[column.name]) & ~np.isnan(parsed.values[column.converts_to])
        for row in np.flatnonzero(both & parsed.good):
            message = f"Both {column.converts_to} and {column.name} are filled."
            parsed.reject(int(row), column.name, "one-quantity-wanted", message, "Fill one of the two.")


def _check_interval(parsed: Parsed, start: str, end: str, *, same_day: bool = False) -> None:
    if isinstance(parsed.values[end], Moments) and end not in parsed.raw.places:
        return  # it is that on record, in UTC, and so is the beginning, which belongs to the key
    begins, ends = (_wall_clock(parsed.values[name]) for name in (start, end))
    wrong = ends < begins if same_day else ends <= begins
    for row in np.flatnonzero(wrong):
        message = f"The end, {ends[row]}, is not after the beginning, {begins[row]}."
        parsed.reject(int(row), end, "after-its-end", message, "Check both; the end itself is not included.")


def _wall_clock(values: Moments | np.ndarray) -> np.ndarray:
    if not isinstance(values, Moments):
        return values
    shift = np.nan_to_num(values.offset).astype("timedelta64[m]")
    return np.asarray(values.local - shift)


def _check_thresholds(parsed: Parsed) -> None:
    _check_interval(parsed, "valid_from", "valid_until")
    filled = {name: ~np.isnan(parsed.values[name]) for name in LIMIT_QUANTITIES}
    given = np.column_stack(list(filled.values())).sum(axis=1)
    for row in np.flatnonzero((given != 1) & parsed.good):
        message = f"{int(given[row])} of {', '.join(LIMIT_QUANTITIES)} are filled; expected exactly one."
        parsed.reject(int(row), None, "one-quantity-wanted", message, "Fill exactly one of them.")
    well, other = parsed.values["well"], parsed.values["other_well"]
    # Cell by cell, as the identity of the whole array with None would not be.
    partners = (("change", "days", ~np.isnan(parsed.values["days"])), ("gradient", "other_well", other != None))  # noqa: E711
    for quantity, partner, is_filled in partners:
        for row in np.flatnonzero((filled[quantity] != is_filled) & parsed.good):
            filled_one, empty = (quantity, partner) if filled[quantity][row] else (partner, quantity)
            message = f"{filled_one} is filled and {empty} is empty; a limit on the {quantity} needs both."
            parsed.reject(int(row), empty, "missing-partner", message, "Fill both, or neither.")
    for row in np.flatnonzero((well == other) & parsed.good):
        message = f"The gradient is from {well[row]!r} to itself."
        parsed.reject(int(row), "other_well", "same-well", message, "Name another well of the site.")


def _check_when(parsed: Parsed) -> None:
    """Check that a row says when: a timestamp, or a date with or without a time."""
    stamped = ~np.isnat(parsed.values["measured_at"].local)
    dated = ~np.isnat(parsed.values["date"])
    timed = ~np.isnan(parsed.values["time"])
    for row in np.flatnonzero((stamped == dated) & parsed.good):
        message = "Both measured_at and date are filled." if stamped[row] else "The row does not say when."
        parsed.reject(int(row), None, "one-quantity-wanted", message, "Fill either measured_at, or date and time.")
    for row in np.flatnonzero(timed & ~dated & parsed.good):
        parsed.reject(int(row), "time", "one-quantity-wanted", "A time is given without its date.", "Fill the date.")


#: Columns of a level event that the person at the well fills in; the others can be filled in before.
_AT_THE_WELL = (
    "time",
    "status",
    *QUANTITIES,
    *TAPE_READINGS,
    "depth_to_water_2",
    "depth_to_water_3",
    "depth_to_product",
    "product_relative_density",
    "sounded_depth",
    "tape_temperature",
    "tape_tension",
    "discharge",
    "quality",
    "chosen_reading",
    "notes",
)


def _pass_over_unfilled(parsed: Parsed) -> None:
    """Pass over the rows of a round whose wells were not visited: planned, and nothing filled in at the well.

    They are reported with the warnings of the table. A day in the future is no problem of theirs: the round may still
    last.
    """
    values = parsed.values
    maybe = np.isnan(values["depth_to_water"]) & (values["status"] == None) & (values["round"] != None)  # noqa: E711
    if not maybe.any():
        return
    headings = {parsed.raw.heading(name) for name in _AT_THE_WELL if name in parsed.raw.places}
    # A cell that was filled in and cannot be read is filled in all the same.
    spoilt = {rejection.row for rejection in parsed.rejections if rejection.column in headings}
    columns = [parsed.raw.cells(name) or [] for name in _AT_THE_WELL if name in parsed.raw.places]
    unfilled = [
        row
        for row in np.flatnonzero(maybe).tolist()
        if parsed.raw.sheet.numbers[row] not in spoilt and not any(cells[row].strip() for cells in columns)
    ]
    if not unfilled:
        return
    numbers = {parsed.raw.sheet.numbers[row] for row in unfilled}
    # A sheet that is loaded before the last day of its round holds days that are still to come.
    parsed.rejections[:] = [r for r in parsed.rejections if r.row not in numbers or r.problem != "in-the-future"]
    parsed.good[unfilled] = False
    wells = ", ".join(str(values["well"][row]) for row in unfilled)
    rows = "1 row was" if len(unfilled) == 1 else f"{len(unfilled)} rows were"
    parsed.raw.warnings.append(f"{rows} not filled in (no reading and no status) and passed over: {wells}")


def _check_level_events(parsed: Parsed) -> None:
    _pass_over_unfilled(parsed)
    _check_when(parsed)
    values = parsed.values
    status = values["status"]
    missing = np.array([word is None for word in status], dtype=bool)
    status[missing & parsed.good] = "static"
    given = {name: ~np.isnan(values[name]) for name in QUANTITIES}
    taped = {name: ~np.isnan(values[name]) for name in TAPE_READINGS}
    _check_tape_readings(parsed, taped)
    given["two tape readings"] = np.logical_and(*taped.values())
    count = sum(flags.astype(int) for flags in given.values())
    allowed = np.isin(status.astype(str), list(NUMBER_ALLOWED))
    wanted = np.isin(status.astype(str), list(NUMBER_REQUIRED))
    names = f"{', '.join(QUANTITIES)} and two tape readings"
    for row in np.flatnonzero(wanted & (count != 1) & parsed.good):
        message = f"{int(count[row])} of {names} are filled; a static level needs exactly one."
        parsed.reject(
            int(row), None, "one-quantity-wanted", message, "Fill one, or give the status that explains why not."
        )
    for row in np.flatnonzero(~wanted & allowed & (count > 1) & parsed.good):
        message = f"{int(count[row])} of {names} are filled; expected one at most."
        parsed.reject(int(row), None, "one-quantity-wanted", message, "Fill one at most.")
    for row in np.flatnonzero(~allowed & (count > 0) & parsed.good):
        message = f"A well that is {status[row]!r} has no level, yet a number is given."
        fix = "Empty the number, or correct the status; for a dry well give sounded_depth."
        parsed.reject(int(row), None, "number-not-allowed", message, fix)
    depth_given = given["depth_to_water"] | given["two tape readings"]
    _check_repeats(parsed, depth_given)
    _check_product(parsed, depth_given)
    _check_signs(parsed)
    _check_one_way(parsed)


def _check_repeats(parsed: Parsed, first: np.ndarray) -> None:
    second, third = (~np.isnan(parsed.values[f"depth_to_water_{n}"]) for n in (2, 3))
    for row in np.flatnonzero(((second & ~first) | (third & ~second)) & parsed.good):
        message = "A repeat is given without the reading before it."
        parsed.reject(
            int(row), "depth_to_water_2", "repeats-without-first", message, "Fill the readings from the left."
        )
    chosen = np.nan_to_num(parsed.values["chosen_reading"])
    given = first.astype(int) + second + third
    for row in np.flatnonzero((chosen > given) & parsed.good):
        message = f"Reading {int(chosen[row])} is chosen, and there are {int(given[row])}."
        parsed.reject(int(row), "chosen_reading", "out-of-range", message, "Choose one of the readings.")


def _check_tape_readings(parsed: Parsed, taped: dict[str, np.ndarray]) -> None:
    """Check that a tape that was read at the mark was read at the water, too."""
    lone = np.logical_xor(*taped.values())
    for row in np.flatnonzero(lone & parsed.good):
        given, lacking = TAPE_READINGS if taped[TAPE_READINGS[0]][row] else TAPE_READINGS[::-1]
        message = f"{given} is given without {lacking}; the depth is the one less the other."
        fix = "Fill both, or give the depth itself in depth_to_water."
        parsed.reject(int(row), given, "one-quantity-wanted", message, fix)


def _check_product(parsed: Parsed, depth_given: np.ndarray) -> None:
    product = parsed.values["depth_to_product"]
    for row in np.flatnonzero(~np.isnan(product) & ~depth_given & parsed.good):
        message = "A depth to product is given without the depth to water below it."
        parsed.reject(int(row), "depth_to_product", "one-quantity-wanted", message, "Fill depth_to_water.")


def _check_signs(parsed: Parsed) -> None:
    # Where the water of a flowing well stands above the measuring point, its depth is negative.
    flowing = parsed.values["status"] == "flowing"
    names = ("depth_to_water", "depth_to_water_2", "depth_to_water_3")
    for name in names:
        values = parsed.values[name]
        for row in np.flatnonzero((values < 0) & ~flowing & parsed.good):
            message = f"The depth {values[row]:g} is negative: water above the measuring point, or a slip of the pen."
            parsed.reject(int(row), name, "wrong-sign", message, NEGATIVE_DEPTH)
