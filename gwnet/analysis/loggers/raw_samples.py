"""Samples of loggers as they are in the files, of any quantity: no correction, no air pressure, no anchoring."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from gwnet.clock import to_instant, to_instants
from gwnet.errors import NotFoundError
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.snapshot import Snapshot

#: Columns of the table of samples.
SAMPLE_COLUMNS: Final = tuple("instrument well quantity unit time_utc value".split())


def list_samples(
    record: Snapshot,
    wells: Sequence[str] | None = None,
    *,
    instruments: Sequence[str] | None = None,
    quantities: Sequence[str] | None = None,
    start: dt.datetime | None = None,
    end: dt.datetime | None = None,
) -> pd.DataFrame:
    """Return stored samples, one row each.

    Parameters as `gwnet.analysis.loggers`.

    Parameters
    ----------
    instruments, quantities : sequence of str, optional
        Only these; all unless given.
    start, end : datetime.datetime, optional
        Aware times of the half-open span, by the times of the files; open unless given.

    Returns
    -------
    pandas.DataFrame
        Columns of `SAMPLE_COLUMNS`, by instrument, quantity and time; ``well`` is where the instrument was installed
        then, empty for nowhere.

    Raises
    ------
    NotFoundError
        If an instrument or quantity has no series on record.
    """
    table = fetch_samples.series(record.connection, record.known_on)
    deployments = fetch_samples.deployments(record.connection, record.known_on)
    for name, asked in (("instrument", instruments), ("quantity", quantities)):
        _require(table, name, asked)
        table = table if asked is None else table[table[name].isin(list(asked))]
    if wells is not None:
        table = table[table["instrument"].isin(deployments["instrument"][deployments["well"].isin(list(wells))])]
    first_ms, end_ms = (None if moment is None else round(moment.timestamp() * 1000) for moment in (start, end))
    parts = []
    for row in table.itertuples():
        time_ms, value = fetch_samples.samples(record.connection, int(row.series_id), first_ms, end_ms, record.known_on)
        when = time_ms.astype("datetime64[ms]").astype("datetime64[us]")
        where = _wells_at(deployments[deployments["instrument"] == row.instrument], when)
        # An instrument may have been in other wells as well; only its time in the wanted ones counts.
        keep = np.ones(when.shape, dtype=bool) if wells is None else np.isin(where.astype(str), list(wells))
        facts = {"instrument": row.instrument, "well": where[keep], "quantity": row.quantity, "unit": row.unit}
        times = pd.DatetimeIndex(when[keep]).tz_localize("UTC")
        parts.append(pd.DataFrame({**facts, "time_utc": times, "value": value[keep]}, columns=list(SAMPLE_COLUMNS)))
    if not parts:
        nothing = pd.DataFrame(columns=list(SAMPLE_COLUMNS))
        return nothing.astype({"time_utc": "datetime64[us, UTC]", "value": "float64"})
    return pd.concat(parts, ignore_index=True).sort_values(
        ["instrument", "quantity", "time_utc"], kind="stable", ignore_index=True
    )


def _require(table: pd.DataFrame, name: str, asked: Sequence[str] | None) -> None:
    known = list(dict.fromkeys(table[name]))
    lacking = [code for code in asked or () if code not in known]
    if lacking:
        message = f"No series of {name} {lacking[0]!r} is on record."
        listed = f"On record: {', '.join(known)}." if known else "Load files of loggers first."
        raise NotFoundError(message, fix=listed)


def _wells_at(deployments: pd.DataFrame, when: np.ndarray) -> np.ndarray:
    """Return the well of each time; empty where the instrument was not in one."""
    wells = np.full(when.shape, "", dtype=object)
    ends = to_instants(deployments["removed_at_utc"])
    for place, row in enumerate(deployments.itertuples()):
        inside = when >= to_instant(row.installed_at_utc)
        if not np.isnat(ends[place]):
            inside &= when < ends[place]
        wells[inside] = row.well
    return wells
