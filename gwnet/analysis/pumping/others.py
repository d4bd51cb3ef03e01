"""Pumping of other wells, and of other tests at the same well, while a test was under way: rates on one time axis."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np
import pandas as pd

from gwnet.clock import to_instant
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.hydro.pumping import PumpingRates
from gwnet.store.snapshot import Snapshot
from gwnet.units import MINUTES_PER_DAY, SECONDS_PER_DAY

#: Columns of the pumping of others.
OTHER_COLUMNS: Final = ("test", "well", "aquifer", "from_min", "until_min", "rate_l_s")

_MINUTE: Final = pd.Timedelta(minutes=1)


def other_pumping(
    record: Snapshot, test: pd.Series, last: pd.Timestamp, rates_of: Callable[[Snapshot, pd.Series], pd.DataFrame]
) -> pd.DataFrame:
    """Return what was pumped at a site beside the pumped well of a test.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    test : pandas.Series
        Row of the tests on record.
    last : pandas.Timestamp
        Pumping that begins later is left out.
    rates_of : callable
        Gives the rates of a test in order of time.

    Returns
    -------
    pandas.DataFrame
        Columns of `OTHER_COLUMNS`, one row a rate above 0, by well and time: rates of other wells in this test, and all
        rates of other tests of the site. Minutes count from the start of this test; until_min is infinite where no end
        is on record.
    """
    tests = record.pumping_tests
    tests = tests[(tests["site"] == test["site"]) & (tests["starts_at_utc"] <= last)]
    aquifers = record.wells[record.wells["site"] == test["site"]].set_index("well")["aquifer"]
    rows = []
    for _, other in tests.iterrows():
        is_own = other["test"] == test["test"]
        shift = (other["starts_at_utc"] - test["starts_at_utc"]) / _MINUTE
        stop = (
            math.inf if pd.isna(other["stops_at_utc"]) else (other["stops_at_utc"] - other["starts_at_utc"]) / _MINUTE
        )
        for well, rates in rates_of(record, other).groupby("well"):
            if is_own and well == test["well"]:
                continue
            begin = rates["elapsed_min"].to_numpy(dtype=np.float64)
            # A rate holds until the next; the last one until the pump stopped, where that is known.
            until = np.append(begin[1:], stop if well == other["well"] else math.inf)
            until = np.minimum(until, stop) if well == other["well"] else until
            for start, end, rate in zip(begin, until, rates["rate_l_s"], strict=True):
                if rate > 0 and end > start:
                    aquifer = aquifers.get(well, "")
                    rows.append((other["test"], str(well), aquifer, start + shift, end + shift, float(rate)))
    table = pd.DataFrame(rows, columns=list(OTHER_COLUMNS))
    latest = (to_instant(last) - to_instant(test["starts_at_utc"])) / np.timedelta64(60_000_000, "us")
    return table[table["from_min"] <= latest].sort_values(["well", "from_min"], ignore_index=True)


def rates_of_other(others: pd.DataFrame, well: str) -> PumpingRates:
    """Return the history of rates of another pumped well.

    Parameters
    ----------
    others : pandas.DataFrame
        As of `other_pumping`.
    well : str
        The well.

    Returns
    -------
    gwnet.hydro.pumping.PumpingRates
        Rates counted from the start of the test; 0 between its tests and after the last.

    Raises
    ------
    NotFoundError
        If no rate of it is on record.
    AnalysisError
        If two tests say what it was pumped at one time.
    """
    own = others[others["well"] == well]
    if own.empty:
        known = ", ".join(dict.fromkeys(others["well"])) or "none"
        message = f"No pumping of {well} is on record beside this test, up to its last reading."
        raise NotFoundError(message, fix=f"Wells with rates: {known}. Load them in a table pumping_rates.")
    start: list[float] = []
    rate: list[float] = []
    end, before = -math.inf, ""
    for row in own.itertuples():
        # Beyond rounding of minutes: two tests cannot both say what one pump did.
        if row.from_min < end - 1e-6:
            message = (
                f"Tests {before} and {row.test} both say what {well} was pumped at, from minute {row.from_min:g} to "
                f"minute {min(end, row.until_min):g}."
            )
            raise AnalysisError(message, fix="Correct the stop of the first, or a rate of the second.")
        # Between two tests the pump stood still.
        if start and row.from_min > end:
            start.append(end)
            rate.append(0.0)
        start.append(row.from_min)
        rate.append(row.rate_l_s)
        end, before = row.until_min, row.test
    if math.isfinite(end):
        start.append(end)
        rate.append(0.0)
    return PumpingRates(np.array(start) / MINUTES_PER_DAY, np.array(rate) * SECONDS_PER_DAY / 1000.0)
