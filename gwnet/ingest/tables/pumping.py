"""Rules for the rows of pumping tests: of one row by itself, and of tests of one well together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any, Final

import numpy as np

from gwnet.ingest.tables.convert import Columns, in_stored_unit
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import NO_DAY, Parsed
from gwnet.store.pumping_tables import TEST_QUANTITIES

#: How far a rate may differ from that of the bucket in its row; the volume in a bucket is read to a few percent.
_BUCKET_TOLERANCE: Final = 0.05


#: Columns that the crew fills in; the others can be filled in before.
_RATE_CELLS: Final = ("from", "rate", "volume", "seconds", "notes")
_READING_CELLS: Final = ("time", "elapsed", *TEST_QUANTITIES, "passed", "quality", "notes")


def _pass_over_unfilled(parsed: Parsed, names: tuple[str, ...]) -> None:
    """Pass over the rows of a prepared sheet in which nothing was filled in; they are reported with the warnings."""
    columns = [parsed.raw.cells(name) or [] for name in names if name in parsed.raw.places]
    prepared = {"site", "test"} <= parsed.raw.places.keys()
    unfilled = [row for row in range(parsed.count) if prepared and not any(cells[row].strip() for cells in columns)]
    if not unfilled:
        return
    numbers = {parsed.raw.sheet.numbers[row] for row in unfilled}
    parsed.rejections[:] = [rejection for rejection in parsed.rejections if rejection.row not in numbers]
    parsed.good[unfilled] = False
    words = "1 row was" if len(unfilled) == 1 else f"{len(unfilled)} rows were"
    parsed.raw.warnings.append(f"{words} not filled in and passed over")


def check_rates(parsed: Parsed) -> None:
    """Check rates by themselves: their sign, and the bucket that they were measured with.

    Parameters as `gwnet.ingest.tables`.
    """
    _pass_over_unfilled(parsed, _RATE_CELLS)
    rates = parsed.values["rate"]
    for row in np.flatnonzero((rates < 0) & parsed.good):
        message = f"The rate {rates[row]:g} is negative."
        fix = "Give the rate of pumping as a positive number, and 0 from the moment at which the pump stands still."
        parsed.reject(int(row), "rate", "rate-negative", message, fix)
    _check_buckets(parsed)


def _check_buckets(parsed: Parsed) -> None:
    volume, seconds = (parsed.values[name] for name in ("volume", "seconds"))
    for row in np.flatnonzero((np.isnan(volume) != np.isnan(seconds)) & parsed.good):
        column = "seconds" if np.isnan(seconds[row]) else "volume"
        message = f"The bucket has no {column}."
        parsed.reject(int(row), column, "one-quantity-wanted", message, "Fill volume and seconds, or neither.")
    rate = in_stored_unit(parsed, parsed.table.column("rate"), parsed.values["rate"])
    of_bucket = volume / seconds
    for row in np.flatnonzero((np.abs(rate - of_bucket) > _BUCKET_TOLERANCE * of_bucket) & parsed.good):
        message = (
            f"{volume[row]:g} L in {seconds[row]:g} s are {of_bucket[row]:.4g} L/s; the row says {rate[row]:.4g} L/s."
        )
        fix = "Check the unit of the rate, which its heading names, and the bucket."
        parsed.reject(int(row), "rate", "rate-not-of-bucket", message, fix)


def check_readings(parsed: Parsed) -> None:
    """Check readings by themselves: one time, one quantity, and how a set depth was passed.

    Parameters as `gwnet.ingest.tables`.
    """
    _pass_over_unfilled(parsed, _READING_CELLS)
    _check_time(parsed)
    values = parsed.values
    given = np.column_stack([~np.isnan(values[name]) for name in TEST_QUANTITIES])
    for row in np.flatnonzero((given.sum(axis=1) != 1) & parsed.good):
        message = f"{int(given[row].sum())} of {', '.join(TEST_QUANTITIES)} are filled; expected exactly one."
        parsed.reject(int(row), None, "one-quantity-wanted", message, "Fill exactly one of them.")
    set_depth = ~np.isnan(values["set_depth"])
    passed = np.array([word is not None for word in values["passed"]], dtype=bool)
    for row in np.flatnonzero(set_depth & ~passed & parsed.good):
        message = "It is not said whether the water fell below the set depth or rose above it."
        parsed.reject(int(row), "passed", "required", message, "Write falling or rising.", value="")
    for row in np.flatnonzero(~set_depth & passed & parsed.good):
        message = f"The water is said to have passed {values['passed'][row]}, and there is no set depth."
        parsed.reject(int(row), "set_depth", "required", message, "Fill set_depth, or empty passed.", value="")


def _check_time(parsed: Parsed) -> None:
    """Check that a reading says when, once and to the time of day."""
    values = parsed.values
    stamp = values["measured_at"]
    stamped, dated = ~np.isnat(stamp.local), ~np.isnat(values["date"])
    timed, elapsed = ~np.isnan(values["time"]), ~np.isnan(values["elapsed"])
    values["date"][dated & ~timed & elapsed] = NO_DAY  # of a prepared sheet, whose elapsed time was filled in
    dated = ~np.isnat(values["date"])
    count = stamped.astype(int) + dated + elapsed
    fix = "Fill one of: measured_at; date and time; elapsed."
    for row in np.flatnonzero((count != 1) & parsed.good):
        message = "The row does not say when." if count[row] == 0 else "The row says when in several ways."
        parsed.reject(int(row), None, "one-quantity-wanted", message, fix)
    lacks_time = (dated & ~timed) | (stamped & ~stamp.has_time)
    for row in np.flatnonzero(lacks_time & parsed.good):
        message = "A reading of a test needs its time of day."
        parsed.reject(int(row), "date" if dated[row] else "measured_at", "time-of-day-missing", message, fix)
    for row in np.flatnonzero(timed & ~dated & parsed.good):
        parsed.reject(int(row), "time", "one-quantity-wanted", "A time is given without its date.", "Fill the date.")


def refuse_overlapping_tests(parsed: Parsed, columns: Columns, codes: Codes, live: Iterable[dict[str, Any]]) -> None:
    """Refuse tests during which another test pumps the same well.

    Parameters as `gwnet.ingest.tables`.

    Parameters
    ----------
    live : iterable of dict
        Live rows of tests on record.
    """
    rows = [row for row in range(parsed.count) if parsed.good[row]]
    here = {columns["pumping_test"][row] for row in rows}
    code_of = {number: code for code, number in codes.ids["pumping_test"].items()}
    spans: dict[int, list[tuple[dt.datetime, dt.datetime, str]]] = {}
    for test in live:
        code = code_of[test["pumping_test_id"]]
        if code not in here:
            span = (test["starts_at_utc"], test["stops_at_utc"] or test["starts_at_utc"], f"{code[1]!r} on record")
            spans.setdefault(test["well_id"], []).append(span)
    for row in rows:
        start = columns["starts_at_utc"][row]
        if start is None:
            continue
        stop = columns["stops_at_utc"][row] or start
        others = spans.setdefault(columns["well_id"][row], [])
        clash = next((other for other in others if other[0] <= stop and other[1] >= start), None)
        if clash is None:
            others.append((start, stop, f"{parsed.values['test'][row]!r} in row {parsed.raw.sheet.numbers[row]}"))
            continue
        message = f"The test {clash[2]} pumps the same well from {clash[0]:%Y-%m-%d %H:%M} to {clash[1]:%H:%M} UTC."
        fix = "Check starts_at and stops_at of both; a stop and a new start at one well belong to one test."
        parsed.reject(row, "starts_at", "tests-overlap", message, fix)
