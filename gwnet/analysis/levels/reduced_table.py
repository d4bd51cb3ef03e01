"""The table of reduced levels that readers of the database ask by SQL, filled from the record."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.table import levels
from gwnet.store.save.reduced import store_reduced_levels
from gwnet.store.session import Store
from gwnet.store.snapshot import Snapshot
from gwnet.store.work import clock_of, newest_state
from gwnet.version import __version__

#: Columns that are those of the table of levels.
_SAME: Final = (
    "event_id site well aquifer access measured_at_utc status depth_to_water_m water_elevation_m uncertainty_m bound "
    "bound_elevation_m usable unusable_reason review finding"
).split()

#: Attempts without holding others up, before the levels are worked out under the write lock.
_FREE_TRIES: Final = 3


def refresh_reduced_levels(store: Store) -> int:
    """Fill the table ``reduced_level`` with the levels as they are on record now.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.

    Returns
    -------
    int
        Number of rows.

    Notes
    -----
    The levels are worked out on a snapshot, which holds up nobody, and stored if nothing was recorded meanwhile; at
    last under the write lock. The table is no part of the record, so that no state comes of it.
    """
    # A few attempts: in a record that is written to all day the levels would always be those of before.
    for _ in range(_FREE_TRIES):
        with store.reading() as connection:
            newest = newest_state(connection)
            table = levels(Snapshot(connection))
        with store.altering() as connection:
            if newest_state(connection) == newest:
                store_reduced_levels(connection, _rows(table, newest, clock_of(connection)))
                return len(table)
    with store.altering() as connection:
        table = levels(Snapshot(connection))
        store_reduced_levels(connection, _rows(table, newest_state(connection), clock_of(connection)))
    return len(table)


def _rows(table: pd.DataFrame, newest: Any, computed_at_utc: Any) -> list[dict[str, Any]]:
    """Return the rows of the table in the types of the database."""
    if newest is None:
        return []
    same = {
        "day": [day.date() for day in table["day"]],
        "state_serial": [int(newest["serial"])] * len(table),
        "known_on_utc": [newest["recorded_at_utc"]] * len(table),
        "computed_at_utc": [computed_at_utc] * len(table),
        "version": [__version__] * len(table),
    }
    columns = {name: [_plain(value) for value in table[name]] for name in _SAME} | same
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


def _plain(value: Any) -> Any:
    """Return a value as databases know it: a missing number is none."""
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime()
    # Databases know no numpy numbers.
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and math.isnan(value) else value
