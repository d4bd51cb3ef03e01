"""Reduced levels with what was recorded of them, so that a file of levels can be loaded as readings."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.inputs import gather
from gwnet.records import Selection
from gwnet.store.as_recorded import HEADINGS, LEVEL_FROM, LOGGER, MANUAL_READING, PUMPING_TEST, RECORDED, UNIT
from gwnet.store.snapshot import Snapshot


def add_recorded(record: Snapshot, table: pd.DataFrame, selection: Selection | None = None) -> pd.DataFrame:
    """Return levels with what was recorded of their events.

    Parameters as `gwnet.analysis.levels`.

    Parameters
    ----------
    table : pandas.DataFrame
        Levels frame of the same selection; rows of loggers and of pumping tests may be among them.

    Returns
    -------
    pandas.DataFrame
        With the columns of `gwnet.store.as_recorded.HEADINGS`. Lengths as recorded are in the unit of
        ``unit_as_recorded``; of a level that is no manual reading they are missing.
    """
    inputs = gather(record, selection)
    events, readings = inputs.records, inputs.readings
    place = pd.Index(events["event_id"]).get_indexer(table["event_id"])
    is_event = place >= 0
    added: dict[str, Any] = {
        LEVEL_FROM: np.where(
            is_event, MANUAL_READING, np.where(table["status"] == PUMPING_TEST, PUMPING_TEST, LOGGER)
        ).astype(object)
    }
    for heading, column in RECORDED.items():
        if heading in table:
            continue
        if column.reading is None:
            name = "round_on_record" if column.name == "round" else column.frame_name
            values = events[name].to_numpy()
        else:
            values = _values(events, readings, column.reading)
        missing: Any = np.nan if values.dtype.kind == "f" else ""
        added[heading] = np.where(is_event, values[place], missing) if len(events) else missing
    units = _units(events, readings)
    added[UNIT] = np.where(is_event, units[place], "") if len(events) else ""
    widened = table.assign(**added)
    return widened[[*(name for name in table.columns if name not in HEADINGS), *HEADINGS]]


def _values(events: pd.DataFrame, readings: pd.DataFrame, reading: tuple[str, int]) -> NDArray[np.float64]:
    """Return one reading of each event in the unit in which it was recorded, NaN where there is none."""
    own = readings[(readings["quantity"] == reading[0]) & (readings["ordinal"] == reading[1])]
    values: NDArray[np.float64] = own.set_index("record_id")["value"].reindex(events["record_id"]).to_numpy(dtype=float)
    return values


def _units(events: pd.DataFrame, readings: pd.DataFrame) -> NDArray[np.object_]:
    """Return the unit of the readings of each event: one word, or one for each column where they differ."""
    by_record = readings.groupby("record_id")["unit"]
    units = by_record.first()
    several = by_record.nunique()
    column_of = {column.reading: column.name for column in RECORDED.values()}
    for record_id in several.index[several > 1]:
        own = readings[readings["record_id"] == record_id]
        pairs = zip(own["quantity"], own["ordinal"], own["unit"], strict=True)
        units[record_id] = ";".join(f"{column_of[name, number]}={unit}" for name, number, unit in pairs)
    of_events: NDArray[np.object_] = (
        units.astype(object).reindex(events["record_id"], fill_value="").to_numpy(dtype=object)
    )
    return of_events
