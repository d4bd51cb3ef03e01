"""What the reduction needs, gathered from the record as arrays in metres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.rounds import assign_rounds
from gwnet.analysis.levels.screen_limits import screen_limits
from gwnet.clock import to_instants
from gwnet.constants import NORMAL_95, REPEAT_TOLERANCE_M
from gwnet.hydro.reduction.elevation import depth_of_two_readings
from gwnet.records import Selection
from gwnet.store.contract import TAPE_READINGS
from gwnet.store.fetch import levels as fetch_levels
from gwnet.store.snapshot import Snapshot
from gwnet.units import METRES_PER_UNIT

Floats = NDArray[np.float64]

#: Number of repeats that a level event can have.
REPEATS = 3
_REPEATED = range(2, REPEATS + 1)


@dataclass(frozen=True)
class LevelInputs:
    """Level events, their readings and everything that their reduction looks up.

    Attributes
    ----------
    records : pandas.DataFrame
        Rows of `gwnet.store.fetch.levels.level_records`.
    readings : pandas.DataFrame
        Readings as they were read.
    depth_to_water_m : numpy.ndarray, shape (n, 3)
        Repeats of the depth to water [m]; the first may be of two readings of a steel tape.
    depth_below_ground_m, water_elevation_m, depth_to_product_m, sounded_m : numpy.ndarray, shape (n,)
        Other readings, NaN where not read [m].
    accuracy_m : numpy.ndarray, shape (n,)
        95 % half-width of the reading as its source states it, NaN where it states none [m].
    local_time : numpy.ndarray of datetime64[us], shape (n,)
        Wall-clock time at the site.
    tolerance_m : numpy.ndarray, shape (n,)
        Repeat tolerance of the site [m].
    wells, measuring_points, instruments, tape_checks, sites, reviews : pandas.DataFrame
        Rows on record; wells with screen_limit_m of `gwnet.analysis.levels.screen_limits.screen_limits`.
    """

    records: pd.DataFrame
    readings: pd.DataFrame
    depth_to_water_m: Floats
    depth_below_ground_m: Floats
    water_elevation_m: Floats
    depth_to_product_m: Floats
    sounded_m: Floats
    accuracy_m: Floats
    local_time: NDArray[np.datetime64]
    tolerance_m: Floats
    wells: pd.DataFrame
    measuring_points: pd.DataFrame
    instruments: pd.DataFrame
    tape_checks: pd.DataFrame
    sites: pd.DataFrame
    reviews: pd.DataFrame

    def __len__(self) -> int:
        """Return the number of events."""
        return len(self.records)

    def of_well(self, column: str) -> Floats:
        """Return a number of each event's well, NaN where it is not on record.

        Parameters
        ----------
        column : str
            Column of `wells`.
        """
        values = self.wells.set_index("well_id")[column]
        return np.asarray(self.records["well_id"].map(values), dtype=np.float64)

    def of_instrument(self, column: str) -> Floats:
        """Return a number of each event's instrument, NaN where it is not on record.

        Parameters
        ----------
        column : str
            Column of `instruments`.
        """
        values = self.instruments.set_index("instrument_id")[column]
        return np.asarray(self.records["instrument_id"].map(values), dtype=np.float64)


def gather(record: Snapshot, selection: Selection | None = None) -> LevelInputs:
    """Gather level events and what their reduction looks up.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    LevelInputs
        Events in the order of `gwnet.store.fetch.levels.level_records`; made once for a selection.
    """
    record, selection = record.of_only_site(), Selection.restricting(selection)
    return record.once(("level inputs", selection), lambda: _gather(record, selection))


def _gather(record: Snapshot, selection: Selection | None) -> LevelInputs:
    records = events_of(record, selection)
    readings = fetch_levels.readings(record.connection, records["record_id"].to_numpy(dtype=np.int64))
    return level_inputs(record, records, readings)


def level_inputs(record: Snapshot, records: pd.DataFrame, readings: pd.DataFrame) -> LevelInputs:
    """Return what the reduction of some levels looks up.

    Parameters as `gwnet.analysis.levels`.

    Parameters
    ----------
    records : pandas.DataFrame
        As `gwnet.store.fetch.levels.level_records`.
    readings : pandas.DataFrame
        Their readings, as `gwnet.store.fetch.levels.readings`.
    """
    record_ids = records["record_id"].to_numpy(dtype=np.int64)
    table = _pivot(readings, record_ids)
    tolerance = record.all_sites.set_index("site")["repeat_tolerance_m"].fillna(REPEAT_TOLERANCE_M)
    return LevelInputs(
        records=records,
        readings=readings,
        depth_to_water_m=np.column_stack([_first_depth(table), *(table("depth_to_water", n) for n in _REPEATED)]),
        depth_below_ground_m=table("depth_below_ground", 1),
        water_elevation_m=table("water_elevation", 1),
        depth_to_product_m=table("depth_to_product", 1),
        sounded_m=table("sounded_depth", 1),
        # An accuracy stated as one standard deviation is brought to the 95 % of all others; the smaller one counts.
        accuracy_m=np.fmin(table("accuracy", 1), NORMAL_95 * table("accuracy_1sd", 1)),
        local_time=local_times(records),
        tolerance_m=records["site"].map(tolerance).to_numpy(dtype=np.float64),
        wells=record.wells.assign(screen_limit_m=screen_limits(record.wells, record.construction)),
        measuring_points=record.measuring_points,
        instruments=record.instruments,
        tape_checks=record.tape_checks,
        sites=record.all_sites,
        reviews=record.reviews,
    )


def _first_depth(table: Any) -> Floats:
    """Return the first depth to water of each record: read as such, or of a tape at the mark and at the water."""
    depth: Floats = table("depth_to_water", 1)
    return np.where(np.isnan(depth), depth_of_two_readings(*(table(name, 1) for name in TAPE_READINGS)), depth)


def events_of(record: Snapshot, selection: Selection | None = None) -> pd.DataFrame:
    """Return level events without their readings, each with the round that it belongs to.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.store.fetch.levels.level_records`, with ``round`` of `gwnet.analysis.levels.rounds.assign_rounds` and
        ``round_on_record``, the code that was recorded, or empty.
    """
    records = record.level_records(selection)
    codes = assign_rounds(records, local_times(records), record.rounds)
    records = records.assign(round=codes, round_on_record=records["round"])
    # Again, since a round may have been found by its days, which the query of the database does not know.
    if selection is not None and selection.round is not None:
        records = records[records["round"] == selection.round].reset_index(drop=True)
    return records


def local_times(records: pd.DataFrame) -> NDArray[np.datetime64]:
    """Return the wall-clock time of level events at the site.

    Parameters
    ----------
    records : pandas.DataFrame
        With measured_at_utc and local_offset_minutes.

    Returns
    -------
    numpy.ndarray of datetime64[us], shape (n,)
        Local times without zone.
    """
    # By the offset on record and not by the zone: what the crew's watch showed then stays as it was.
    utc = to_instants(records["measured_at_utc"])
    local: NDArray[np.datetime64] = utc + records["local_offset_minutes"].to_numpy(dtype="timedelta64[m]")
    return local


def _pivot(readings: pd.DataFrame, record_ids: NDArray[np.int64]) -> Any:
    """Return a function that gives, for a quantity and ordinal, one value in metres for each record."""
    order = np.argsort(record_ids, kind="stable")
    ordered = record_ids[order]
    metres = readings["unit"].map(METRES_PER_UNIT).to_numpy(dtype=np.float64)
    values = readings["value"].to_numpy(dtype=np.float64) * metres
    place = np.searchsorted(ordered, readings["record_id"].to_numpy(dtype=np.int64))
    quantity = readings["quantity"].to_numpy(dtype=object)
    ordinal = readings["ordinal"].to_numpy(dtype=np.int64)

    def column(name: str, number: int) -> Floats:
        column_m = np.full(record_ids.shape, np.nan)
        rows = (quantity == name) & (ordinal == number)
        column_m[order[place[rows]]] = values[rows]
        return column_m

    return column
