"""Rules of a single row that need nothing of the record."""

from __future__ import annotations

import numpy as np

from gwnet.ingest.tables.declared import NUMBER_ALLOWED, NUMBER_REQUIRED, QUANTITIES
from gwnet.ingest.tables.parse import Moments, Parsed


def check_rows(made: Parsed) -> None:
    """Check the rows of a parsed table by themselves and note their problems.

    Parameters
    ----------
    made : gwnet.ingest.tables.parse.Parsed
        Table with typed cells; problems are added to it.
    """
    rules = {
        "wells": _check_wells,
        "construction": _check_construction,
        "measuring_points": lambda parsed: _check_interval(parsed, "valid_from", "valid_until"),
        "deployments": lambda parsed: _check_interval(parsed, "installed_at", "removed_at"),
        "rounds": lambda parsed: _check_interval(parsed, "starts_on", "ends_on", same_day=True),
        "thresholds": _check_thresholds,
        "level_events": _check_level_events,
        "stages": _check_when,
    }
    rule = rules.get(made.table.name)
    if rule is not None:
        rule(made)


def _check_wells(made: Parsed) -> None:
    values = made.values
    by_grid = ~np.isnan(values["easting"]) & ~np.isnan(values["northing"])
    by_angle = ~np.isnan(values["longitude"]) & ~np.isnan(values["latitude"])
    for row in np.flatnonzero(~by_grid & ~by_angle & made.good):
        message = "The well has no coordinates."
        fix = "Give easting and northing in the site's system, or longitude and latitude in degrees."
        made.reject(int(row), None, "no-coordinates", message, fix)


def _check_construction(made: Parsed) -> None:
    if "bottom_depth" not in made.raw.places:
        return  # it is that on record, and so is the top, which belongs to the key
    top, bottom = made.values["top_depth"], made.values["bottom_depth"]
    for row in np.flatnonzero(bottom < top):
        message = f"The bottom, {bottom[row]:g}, lies above the top, {top[row]:g}."
        made.reject(int(row), "bottom_depth", "wrong-order", message, "Depths count downward from ground; swap them.")


def _check_interval(made: Parsed, start: str, end: str, *, same_day: bool = False) -> None:
    if isinstance(made.values[end], Moments) and end not in made.raw.places:
        return  # it is that on record, in UTC, and so is the beginning, which belongs to the key
    begins, ends = (_wall_clock(made.values[name]) for name in (start, end))
    wrong = ends < begins if same_day else ends <= begins
    for row in np.flatnonzero(wrong):
        message = f"The end, {ends[row]}, is not after the beginning, {begins[row]}."
        made.reject(int(row), end, "after-its-end", message, "Check both; the end itself is not included.")


def _wall_clock(values: Moments | np.ndarray) -> np.ndarray:
    if not isinstance(values, Moments):
        return values
    shift = np.nan_to_num(values.offset).astype("timedelta64[m]")
    return np.asarray(values.local - shift)


def _check_thresholds(made: Parsed) -> None:
    _check_interval(made, "valid_from", "valid_until")
    given = np.column_stack([~np.isnan(made.values[name]) for name in QUANTITIES]).sum(axis=1)
    for row in np.flatnonzero((given != 1) & made.good):
        message = f"{int(given[row])} of {', '.join(QUANTITIES)} are filled; expected exactly one."
        made.reject(int(row), None, "one-quantity-wanted", message, "Fill exactly one of them.")


def _check_when(made: Parsed) -> None:
    """Check that a row says when: a timestamp, or a date with or without a time."""
    stamped = ~np.isnat(made.values["measured_at"].local)
    dated = ~np.isnat(made.values["date"])
    timed = ~np.isnan(made.values["time"])
    for row in np.flatnonzero((stamped == dated) & made.good):
        message = "Both measured_at and date are filled." if stamped[row] else "The row does not say when."
        made.reject(int(row), None, "one-quantity-wanted", message, "Fill either measured_at, or date and time.")
    for row in np.flatnonzero(timed & ~dated & made.good):
        made.reject(int(row), "time", "one-quantity-wanted", "A time is given without its date.", "Fill the date.")


#: Columns of a level event that the person at the well fills in; the others can be filled in before.
_AT_THE_WELL = (
    "time",
    "status",
    *QUANTITIES,
    "depth_to_water_2",
    "depth_to_water_3",
    "depth_to_product",
    "product_relative_density",
    "sounded_depth",
    "discharge",
    "quality",
    "chosen_reading",
    "notes",
)


def _pass_over_unfilled(made: Parsed) -> None:
    """Pass over the rows of a round whose wells were not visited: planned, and nothing filled in at the well.

    They are told with the warnings of the table. A day in the future is no problem of theirs: the round may still last.
    """
    values = made.values
    maybe = np.isnan(values["depth_to_water"]) & (values["status"] == None) & (values["round"] != None)  # noqa: E711
    if not maybe.any():
        return
    headings = {made.raw.heading(name) for name in _AT_THE_WELL if name in made.raw.places}
    spoilt = {found.row for found in made.rejections if found.column in headings}
    columns = [made.raw.cells(name) or [] for name in _AT_THE_WELL if name in made.raw.places]
    unfilled = [
        row
        for row in np.flatnonzero(maybe).tolist()
        if made.raw.sheet.numbers[row] not in spoilt and not any(cells[row].strip() for cells in columns)
    ]
    if not unfilled:
        return
    numbers = {made.raw.sheet.numbers[row] for row in unfilled}
    made.rejections[:] = [r for r in made.rejections if r.row not in numbers or r.problem != "in-the-future"]
    made.good[unfilled] = False
    wells = ", ".join(str(values["well"][row]) for row in unfilled)
    rows = "1 row was" if len(unfilled) == 1 else f"{len(unfilled)} rows were"
    made.raw.warnings.append(f"{rows} not filled in (no reading and no status) and passed over: {wells}")


def _check_level_events(made: Parsed) -> None:
    _pass_over_unfilled(made)
    _check_when(made)
    values = made.values
    status = values["status"]
    missing = np.array([word is None for word in status], dtype=bool)
    status[missing & made.good] = "static"
    given = {name: ~np.isnan(values[name]) for name in QUANTITIES}
    count = sum(flags.astype(int) for flags in given.values())
    allowed = np.isin(status.astype(str), list(NUMBER_ALLOWED))
    wanted = np.isin(status.astype(str), list(NUMBER_REQUIRED))
    names = ", ".join(QUANTITIES)
    for row in np.flatnonzero(wanted & (count != 1) & made.good):
        message = f"{int(count[row])} of {names} are filled; a static level needs exactly one."
        made.reject(
            int(row), None, "one-quantity-wanted", message, "Fill one, or give the status that explains why not."
        )
    for row in np.flatnonzero(~wanted & allowed & (count > 1) & made.good):
        message = f"{int(count[row])} of {names} are filled; expected one at most."
        made.reject(int(row), None, "one-quantity-wanted", message, "Fill one at most.")
    for row in np.flatnonzero(~allowed & (count > 0) & made.good):
        message = f"A well that is {status[row]!r} has no level, yet a number is given."
        fix = "Empty the number, or correct the status; for a dry well give sounded_depth."
        made.reject(int(row), None, "number-not-allowed", message, fix)
    _check_repeats(made, given["depth_to_water"])
    _check_product(made)
    _check_signs(made)


def _check_repeats(made: Parsed, first: np.ndarray) -> None:
    second, third = (~np.isnan(made.values[f"depth_to_water_{n}"]) for n in (2, 3))
    for row in np.flatnonzero(((second & ~first) | (third & ~second)) & made.good):
        message = "A repeat is given without the reading before it."
        made.reject(int(row), "depth_to_water_2", "repeats-without-first", message, "Fill the readings from the left.")
    chosen = np.nan_to_num(made.values["chosen_reading"])
    taken = first.astype(int) + second + third
    for row in np.flatnonzero((chosen > taken) & made.good):
        message = f"Reading {int(chosen[row])} is chosen, and there are {int(taken[row])}."
        made.reject(int(row), "chosen_reading", "out-of-range", message, "Choose one of the readings.")


def _check_product(made: Parsed) -> None:
    product, water = made.values["depth_to_product"], made.values["depth_to_water"]
    for row in np.flatnonzero(~np.isnan(product) & np.isnan(water) & made.good):
        message = "A depth to product is given without the depth to water below it."
        made.reject(int(row), "depth_to_product", "one-quantity-wanted", message, "Fill depth_to_water.")


def _check_signs(made: Parsed) -> None:
    flowing = made.values["status"] == "flowing"
    names = ("depth_to_water", "depth_to_water_2", "depth_to_water_3")
    for name in names:
        values = made.values[name]
        for row in np.flatnonzero((values < 0) & ~flowing & made.good):
            message = f"The depth {values[row]:g} is negative; depths count downward."
            fix = "Drop the sign, or give the status 'flowing' if water stood above the measuring point."
            made.reject(int(row), name, "wrong-sign", message, fix)
