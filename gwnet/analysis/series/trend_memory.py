"""Serial correlation of wells with what the other wells of their aquifer say of it.

A record of ten or twenty years says little about its own memory, and trends stand or fall with it. The other wells of
the aquifer are always those on record, whichever wells a table is asked for, so that a verdict does not depend on that.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.levels.table import levels as reduced_levels
from gwnet.analysis.series.trend_lines import LineValues, line_values
from gwnet.analysis.series.trend_records import SharedMemory, WellRecord, well_records
from gwnet.hydro.trends.correlated_line import error_grid, fit_correlated_line, whiten
from gwnet.hydro.trends.shared_memory import even_weights, share_memory
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

Floats = NDArray[np.float64]

#: Seasons of a year of the records that memory is taken from.
SEASONS = 4
#: Fewest years of a record that counts for others, and fewest values a year (project default).
LEAST_YEARS = 8
LEAST_VALUES_A_YEAR = 1.5
#: Fewest other wells of an aquifer with such a record (project default).
LEAST_WELLS = 4
#: Most wells of an aquifer that are looked at, those with most visits (project default): more add time and little else.
MOST_WELLS = 30
#: Share of their mean squared correlation by which wells with the same weather count for less (project default, after
#: simulation: the whole of it costs half of what sharing gains and prevents few false trends).
COUNTED_SHARE = 0.25
#: Powers of the time beside a line that a bend is taken out with (project default, after simulation).
CURVE_POWERS = (2, 3, 4)
#: Fewest seasons that two wells must share for a correlation of their disturbances.
LEAST_SHARED = 12


def shared_memory(
    record: Snapshot,
    wells: pd.DataFrame,
    at_hand: pd.DataFrame | None = None,
    *,
    end: dt.date | dt.datetime | None = None,
    approved: bool = False,
) -> dict[tuple[str, str], SharedMemory]:
    """Return for wells what the other wells of their aquifer say of their serial correlation.

    Parameters as `gwnet.analysis.series`.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    wells : pandas.DataFrame
        Columns site, well and aquifer: which wells are asked about.
    at_hand : pandas.DataFrame, optional
        Levels of these wells up to ``end``, all of them, where they are worked out already.
    end : datetime.date or datetime.datetime, optional
        Last day or instant of levels that take part; all unless given.

    Returns
    -------
    dict
        Of each (site, well) in an aquifer with four other records of eight years and more, the weights of the grid of
        correlations beforehand.

    Notes
    -----
    Manual readings of up to 30 wells of each aquifer, those with most visits, give quarterly medians; each record gives
    the restricted likelihood of the correlations beside its own line and seasons. The well itself is left out of what
    it is given (`gwnet.hydro.trends.shared_memory.share_memory`). Wells with the same weather count for less: the
    correlation of their disturbances is that of the quarters made independent, a quarter of its square is counted.
    """
    found: dict[tuple[str, str], SharedMemory] = {}
    placed = wells[wells["aquifer"].notna() & (wells["aquifer"] != "")]
    for (site, aquifer), asked in placed.groupby(["site", "aquifer"]):
        own = record.wells
        own = own[(own["site"] == site) & (own["aquifer"] == aquifer)]
        # One of them is the well itself, which is left out of what it is given.
        if len(own) <= LEAST_WELLS:
            continue
        # Levels at hand serve only where they hold every well of the aquifer.
        given = None if at_hand is None or not own["well"].isin(asked["well"]).all() else at_hand
        key = ("memory of aquifer", site, aquifer, end, approved)
        weighted = record.once(key, lambda own=own, given=given: _weigh_wells(record, own, given, end, approved))  # type: ignore[misc]
        for well in asked["well"]:
            others = [k for k, name in enumerate(weighted[0]) if name != well]
            if len(others) >= LEAST_WELLS:
                # -1: the row of a well whose own record says nothing.
                place = weighted[0].index(well) if well in weighted[0] else -1
                found[str(site), str(well)] = SharedMemory(
                    str(aquifer), len(others), weighted[1][place], weighted[2][place]
                )
    return found


def _weigh_wells(
    record: Snapshot,
    wells: pd.DataFrame,
    at_hand: pd.DataFrame | None,
    end: dt.date | dt.datetime | None,
    approved: bool,
) -> tuple[list[str], Floats, Floats]:
    """Return the wells with a long record and their weights beside lines and curves; the last row is for any other."""
    if len(wells) > MOST_WELLS:
        visits = wells["well_id"].map(record.visits).fillna(0)
        # By name as well, so that among wells with as many visits the choice is the same each time.
        wells = wells.assign(visits=visits).sort_values(["visits", "well"], ascending=[False, True]).head(MOST_WELLS)
    names, site = tuple(sorted(wells["well"])), str(wells["site"].iloc[0])
    if at_hand is None:
        at_hand = reduced_levels(record, Selection(names, end=end, site=site))
    at_hand = at_hand[(at_hand["site"] == site) & at_hand["well"].isin(names)]
    used, _ = used_levels(at_hand, approved=approved)
    # Manual readings: daily means of a logger would say more of its days than of its years.
    records = well_records(used[used["source"] != "logger"], SEASONS)
    found = {name: _values(records.get((site, name))) for name in names}
    values = {name: given for name, given in found.items() if given is not None}
    return *memory_weights(values), memory_weights(with_curves(values))[1]


def _values(record: WellRecord | None) -> LineValues | None:
    """Return the values of a record that is long enough to say something."""
    if record is None or record.years[-1] - record.years[0] < LEAST_YEARS - 1:
        return None
    return line_values(record) if record.count >= LEAST_VALUES_A_YEAR * record.years.size else None


def with_curves(values: dict[str, LineValues]) -> dict[str, LineValues]:
    """Return values whose design has powers of the time beside the line, so that no bend is taken for memory.

    Parameters
    ----------
    values : dict of str to LineValues
        Values of each well.

    Returns
    -------
    dict of str to LineValues
        The same; records too short for a curve keep their line.
    """
    curved = {}
    for name, one in values.items():
        time = (one.when - one.origin) / max(float(np.ptp(one.when)), 1.0)
        design = np.column_stack([one.design, *(time**power for power in CURVE_POWERS)])
        curved[name] = replace(one, design=design) if one.values.size > design.shape[1] + 2 else one
    return curved


def memory_weights(values: dict[str, LineValues]) -> tuple[list[str], Floats]:
    """Return what the records of an aquifer say to each other of their memory.

    Parameters
    ----------
    values : dict of str to LineValues
        Values of each well.

    Returns
    -------
    tuple of list of str and ndarray of float64, shape (n + 1, g)
        The wells, and the weights beforehand of each; the last row is for a well that is not among them.
    """
    names, even = list(values), even_weights()
    if len(names) < 2:
        return names, np.tile(even, (len(names) + 1, 1))
    likelihoods = np.array(
        # Over the even weights they were worked out with: what the record alone says, without the prior.
        [fit_correlated_line(one.when, one.values, one.design).weights / even for one in values.values()]
    )
    shared = COUNTED_SHARE * _shared_part(list(values.values()), likelihoods)
    # one more that says nothing has the weights that all others give
    more = np.vstack([likelihoods, np.ones(even.size)])
    return names, np.vstack([share_memory(likelihoods, shared), share_memory(more, shared)[-1]])


def _shared_part(values: list[LineValues], likelihoods: Floats) -> float:
    """Return the mean squared correlation of the disturbances of two wells, less what chance makes."""
    correlation, scatter, _ = error_grid()
    # 1e-300, as the logarithm of a likelihood that has run out is none.
    best = int(np.argmax(np.log(likelihoods / likelihoods.max(axis=1, keepdims=True) + 1e-300).sum(axis=0)))
    columns = []
    for one in values:
        rest = one.values - one.design @ np.linalg.lstsq(one.design, one.values, rcond=None)[0]
        white = whiten(one.when, rest[:, None], correlation[[best]], scatter[[best]])[0][0, :, 0]
        columns.append(pd.Series(white, index=np.floor(one.when * SEASONS).astype(np.int64)))
    table = pd.concat([column.groupby(level=0).mean() for column in columns], axis=1, keys=range(len(columns)))
    here = table.notna().to_numpy().astype(np.float64)
    squares = table.corr(min_periods=LEAST_SHARED).to_numpy() ** 2
    # By chance alone a squared correlation of n pairs is about 1/n.
    beyond = squares - 1.0 / np.maximum(here.T @ here, 1.0)
    pairs = beyond[np.triu_indices(len(columns), 1)]
    pairs = pairs[~np.isnan(pairs)]
    return float(np.clip(pairs.mean(), 0.0, 1.0)) if pairs.size else 0.0
