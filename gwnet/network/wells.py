"""Wells: what is on record, and what changed at one."""

from __future__ import annotations

import pandas as pd

from gwnet.network.base import Group, Instant


class WellsOnRecord(Group):
    """Wells on record."""

    _path = "net.wells"

    def __call__(self, site: str | None = None, known_on: Instant = None, *, geo: bool = False) -> pd.DataFrame:
        """Return the wells; see `gwnet.store.fetch.registry.wells`.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        geo : bool, optional
            Whether the wells come as points: a `geopandas.GeoDataFrame` in the coordinate system of the site, or in
            longitude and latitude (EPSG:4326) where sites have different ones.

        Returns
        -------
        pandas.DataFrame
            One row a well.
        """
        with self._record(site, known_on) as record:
            if not geo:
                return record.wells
            import geopandas

            from gwnet.exchange.extract import Extract, shapes_of

            extract = Extract(record)
            places = shapes_of(extract, extract.wells)
            # A copy: frames of a record are shared by all that ask it, and not changed in place.
            return geopandas.GeoDataFrame(extract.wells.copy(), geometry=places, crs=extract.crs)

    def history(
        self, well: str, *, site: str | None = None, known_on: Instant = None, each: bool = False
    ) -> pd.DataFrame:
        """Return what changed at a well, when, by whom and why; see `gwnet.analysis.review.history.well_history`."""
        from gwnet.analysis.review.history import well_history

        with self._record(site, known_on) as record:
            return well_history(record, well, each=each)
