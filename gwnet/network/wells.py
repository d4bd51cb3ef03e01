"""Wells: what is on record, and what changed at one."""

from __future__ import annotations

import pandas as pd

from gwnet.network.base import Group, Instant


class WellsOnRecord(Group):
    """Wells on record."""

    _path = "net.wells"

    def __call__(self, site: str | None = None, known_on: Instant = None) -> pd.DataFrame:
        """Return the wells; see `gwnet.store.fetch.registry.wells`."""
        with self._record(site, known_on) as record:
            return record.wells

    def history(
        self, well: str, *, site: str | None = None, known_on: Instant = None, each: bool = False
    ) -> pd.DataFrame:
        """Return what changed at a well, when, by whom and why; see `gwnet.analysis.review.history.well_history`."""
        from gwnet.analysis.review.history import well_history

        with self._record(site, known_on) as record:
            return well_history(record, well, each=each)
