"""Making the packs of series anew from their samples: where something else changed them, or before there were packs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Final

import numpy as np
from sqlalchemy import Connection

from gwnet.store.fetch.read_samples import pack
from gwnet.store.fetch.sample_runs import runs_of
from gwnet.store.integrity.copies import check_packs, check_samples
from gwnet.store.integrity.finding import Finding
from gwnet.store.integrity.stored import all_samples
from gwnet.store.models.loggers import SamplePack

_PACKS: Final[Any] = SamplePack.__table__


def renew_packs(
    connection: Connection, check: Callable[[Connection], Iterable[Finding]] = check_packs
) -> tuple[int, ...]:
    """Make the packs anew of every series of which one is wrong or missing, and return these series.

    A series whose samples are not as they were recorded keeps its packs, which may hold what the samples have lost.

    Parameters as `gwnet.store.save`; a change of the schema will do.

    Parameters
    ----------
    check : callable, optional
        Finds packs that are wrong or missing.
    """
    wrong = _series_of(check(connection))
    renewed = sorted(wrong - _series_of(check_samples(connection))) if wrong else []
    for series_id in renewed:
        connection.execute(_PACKS.delete().where(_PACKS.c.series_id == series_id))
        runs = runs_of(connection, series_id)
        for time_ms, value in all_samples(connection, series_id):
            owners = runs.owners(time_ms)
            # A pack holds samples of one download, so that it goes with it.
            for download_id in np.unique(owners[owners > 0]).tolist():
                own = owners == download_id
                step, content = pack(time_ms[own], value[own])
                span = {"first_ms": int(time_ms[own][0]), "last_ms": int(time_ms[own][-1]), "step_ms": step}
                columns = {"series_id": series_id, "download_id": download_id, "sample_count": int(own.sum())}
                connection.execute(_PACKS.insert().values(**columns, **span, content=content))
    return tuple(renewed)


def _series_of(findings: Iterable[Finding]) -> set[int]:
    return {int(finding.row) for finding in findings if finding.row is not None}
