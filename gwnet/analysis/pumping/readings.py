"""Readings of pumping tests as levels: each at its moment, reduced like the level events and never a static level.

A set depth that the water passed is a depth to water at the time of passing. A drawdown that a source gives without a
depth is no level.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.frame import levels_frame
from gwnet.analysis.levels.inputs import LevelInputs, level_inputs
from gwnet.analysis.levels.reduce import Reduction, reduce_levels
from gwnet.analysis.levels.stepped_tapes import widen_stepped
from gwnet.clock import offset_minutes, to_instants
from gwnet.records import Selection
from gwnet.store.fetch.frames import FRAMES
from gwnet.store.snapshot import Snapshot

#: Status of the levels that were read for a test; none of the statuses of level events.
TEST_STATUS: Final = "pumping test"

#: Number of the event of a level that is no level event, as of the rows of loggers.
_NO_EVENT: Final = -1

_UTC: Final = "datetime64[us, UTC]"
_HALF_A_DAY: Final = np.timedelta64(43_200_000_000, "us")
_MINUTE: Final = np.timedelta64(60_000_000, "us")


def add_moments(record: Snapshot, rows: pd.DataFrame, at: str, elapsed: str) -> pd.DataFrame:
    """Return rates or readings with their instant and their time since the start of the test, whichever was given.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    rows : pandas.DataFrame
        Rates or readings of the record.
    at, elapsed : str
        Columns of the instant and of the elapsed time [min]; one of the two is filled.

    Returns
    -------
    pandas.DataFrame
        A copy with both columns filled, in order of site, test, well and instant.
    """
    tests = record.pumping_tests.set_index(["site", "test"])["starts_at_utc"]
    keys = pd.MultiIndex.from_frame(rows[["site", "test"]])
    start = to_instants(pd.Series(tests.reindex(keys).to_numpy(), dtype="datetime64[us, UTC]"))
    given = to_instants(rows[at])
    minutes = rows[elapsed].to_numpy(dtype=np.float64)
    by_clock = ~np.isnat(given)
    shift = np.round(np.nan_to_num(minutes) * 60e6).astype("timedelta64[us]")
    moment = np.where(by_clock, given, start + shift)
    minutes = np.where(by_clock, (given - start) / _MINUTE, minutes)
    filled = rows.assign(**{at: pd.DatetimeIndex(moment).tz_localize("UTC").as_unit("us"), elapsed: minutes})
    return filled.sort_values(["site", "test", "well", at], kind="stable", ignore_index=True)


def readings_of_tests(record: Snapshot) -> pd.DataFrame:
    """Return the readings of all tests with ``measured_at_utc`` and ``elapsed_min`` filled.

    Parameters as `gwnet.analysis.pumping`.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.store.fetch.pumping.pumping_readings`, in order of time; made once, so not to be changed in place.
    """
    return record.once(
        "test readings", lambda: add_moments(record, record.pumping_readings, "measured_at_utc", "elapsed_min")
    )


def reading_inputs(record: Snapshot, selection: Selection | None = None) -> LevelInputs:
    """Return the depths that were read for tests with what their reduction looks up.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    selection : gwnet.records.Selection, optional
        Of which the wells and the aquifer restrict; all readings unless given.

    Returns
    -------
    gwnet.analysis.levels.inputs.LevelInputs
        As of level events; ``record_id`` is the number of the reading, and the status is `TEST_STATUS`.
    """
    rows = readings_of_tests(record)
    depth = rows["depth_to_water_m"].fillna(rows["set_depth_m"])
    rows = rows.assign(depth_m=depth)[depth.notna()]
    aquifers = record.wells.set_index("well_id")["aquifer"]
    rows = rows.assign(aquifer=rows["well_id"].map(aquifers).astype(object).fillna(""))
    if selection is not None and selection.wells is not None:
        rows = rows[rows["well"].isin(selection.wells)]
    if selection is not None and selection.aquifer is not None:
        rows = rows[rows["aquifer"] == selection.aquifer]
    rows = rows.reset_index(drop=True)
    return level_inputs(record, _as_records(record, rows), _as_readings(rows))


def _as_records(record: Snapshot, rows: pd.DataFrame) -> pd.DataFrame:
    """Return readings with the columns of level events."""
    zones = record.all_sites.set_index("site")["time_zone"]
    utc = to_instants(rows["measured_at_utc"])
    offsets = np.zeros(len(rows), dtype=np.int64)
    for site in rows["site"].unique():
        here = (rows["site"] == site).to_numpy(dtype=bool)
        offsets[here] = offset_minutes(utc[here], str(zones[site]))
    passed = np.where(rows["passed"] != "", "water passed the set depth, " + rows["passed"], "")
    table = rows.assign(
        event_id=_NO_EVENT,
        record_id=rows["pumping_reading_id"],
        event="",
        time_known=True,
        local_offset_minutes=offsets,
        round="",
        round_on_record="",
        status=TEST_STATUS,
        method=passed,
        product_relative_density=np.nan,
        chosen_reading=np.nan,
        discharge_l_s=np.nan,
        tape_temperature_degc=np.nan,
        tape_tension_n=np.nan,
        notes=_notes(rows),
    )
    names = [column.name for column in FRAMES["level_records"]]
    dtypes = {column.name: column.dtype for column in FRAMES["level_records"]}
    return table[[*names, "round_on_record"]].astype(dtypes)


def _notes(rows: pd.DataFrame) -> list[str]:
    """Return the notes of readings, with the test that they belong to."""
    pairs = zip(rows["test"], rows["notes"], strict=True)
    return [f"test {test}" + (f"; {note}" if note else "") for test, note in pairs]


def _as_readings(rows: pd.DataFrame) -> pd.DataFrame:
    depth = rows["depth_m"].to_numpy(dtype=np.float64)
    return pd.DataFrame(
        {
            "record_id": rows["pumping_reading_id"].to_numpy(dtype=np.int64),
            "quantity": "depth_to_water",
            "ordinal": 1,
            "value": depth,
            "unit": "m",
            "written": [f"{value:.6g}" for value in depth.tolist()],
        }
    )


def add_test_readings(record: Snapshot, table: pd.DataFrame, selection: Selection) -> pd.DataFrame:
    """Return levels with those that were read for pumping tests among them, under the status `TEST_STATUS`.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    table : pandas.DataFrame
        Levels frame of the same selection.
    selection : gwnet.records.Selection
        Which levels are wanted; times are not looked at. Of a round or of single events there are none.

    Returns
    -------
    pandas.DataFrame
        The levels frame, longer; rows of tests have ``event_id`` -1 and serve no map and no statistics.
    """
    if selection.round is not None or selection.events is not None or record.pumping_readings.empty:
        return table
    inputs = reading_inputs(record, selection)
    if not len(inputs):
        return table
    rows = levels_frame(inputs, reduce_readings(record, inputs)).assign(open_finding="")
    if table.empty:
        return rows
    joined = pd.concat([table, rows[list(table.columns)].astype(table.dtypes.to_dict())], ignore_index=True)
    order = ["site", "well", "measured_at_utc", "access", "event_id"]
    return joined.sort_values(order, kind="stable", ignore_index=True)


def reduce_readings(record: Snapshot, inputs: LevelInputs) -> Reduction:
    """Reduce readings of pumping tests, with the half-widths of tapes that step.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    inputs : gwnet.analysis.levels.inputs.LevelInputs
        Readings, as `reading_inputs`.

    Returns
    -------
    gwnet.analysis.levels.reduce.Reduction
        Every step.
    """
    # the checks look at pumping tests as well, so that they are known only when these are
    from gwnet.analysis.checks.open_findings import stepped_tapes

    return widen_stepped(inputs, reduce_levels(inputs), stepped_tapes(record))


def spans_of_tests(record: Snapshot) -> pd.DataFrame:
    """Return from when to when each well of each test was under way: its start to its stop or to the last reading.

    Parameters as `gwnet.analysis.pumping`.

    Returns
    -------
    pandas.DataFrame
        Columns site, test, well, first_utc, last_utc; a row a test and well that is pumped or was read by hand.
    """
    return record.once("spans of tests", lambda: _spans(record))


def _spans(record: Snapshot) -> pd.DataFrame:
    readings = readings_of_tests(record)
    last = readings.groupby(["site", "test", "well"])["measured_at_utc"].max()
    rows = []
    for test in record.pumping_tests.itertuples():
        stop = test.starts_at_utc if pd.isna(test.stops_at_utc) else test.stops_at_utc
        own = last[(last.index.get_level_values(0) == test.site) & (last.index.get_level_values(1) == test.test)]
        read = {str(well): moment for (_, _, well), moment in own.items()}
        rows += [
            (test.site, test.test, well, test.starts_at_utc, max(stop, read.get(well, stop)))
            for well in dict.fromkeys([str(test.well), *read])
        ]
    spans = pd.DataFrame(rows, columns=["site", "test", "well", "first_utc", "last_utc"])
    return spans.astype({"first_utc": _UTC, "last_utc": _UTC})


def changes_of_rate(record: Snapshot) -> NDArray[np.datetime64]:
    """Return when the rates of the tests of a site changed, and when the slugs of slug tests moved.

    Parameters as `gwnet.analysis.pumping`.

    Returns
    -------
    numpy.ndarray of datetime64[us], shape (k,)
        UTC instants, rising: starts and stops of tests, and the beginning of each rate.
    """
    return record.once("changes of rate", lambda: _changes(record))


def _changes(record: Snapshot) -> NDArray[np.datetime64]:
    tests = record.pumping_tests
    if tests.empty:
        return np.empty(0, dtype="datetime64[us]")
    rates = add_moments(record, record.pumping_rates, "from_utc", "from_elapsed_min")
    moments = [to_instants(table) for table in (tests["starts_at_utc"], tests["stops_at_utc"], rates["from_utc"])]
    joined = np.concatenate(moments)
    return np.unique(joined[~np.isnat(joined)])


def is_during_test(record: Snapshot, rows: pd.DataFrame) -> NDArray[np.bool_]:
    """Return which levels lie within a pumping test of their well; of a daily value whether its day meets one.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    rows : pandas.DataFrame
        Columns well and measured_at_utc, of one site; where time_known is false, the moment is noon of a local day.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether they do.
    """
    during = np.zeros(len(rows), dtype=bool)
    spans = spans_of_tests(record)
    if spans.empty or rows.empty:
        return during
    when = to_instants(rows["measured_at_utc"].astype(_UTC))
    is_day = ~rows["time_known"].to_numpy(dtype=bool) if "time_known" in rows else np.zeros(len(rows), dtype=bool)
    reach = np.where(is_day, _HALF_A_DAY, np.timedelta64(0, "us"))
    wells = rows["well"].to_numpy(dtype=object)
    starts, ends = (to_instants(spans[name]) for name in ("first_utc", "last_utc"))
    for well, start, end in zip(spans["well"], starts, ends, strict=True):
        during |= (wells == well) & (when + reach >= start) & (when - reach <= end)
    return during
