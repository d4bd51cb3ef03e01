"""The part of the face for programs that tests levels for trends."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.errors import SettingsError
from gwnet.store import fetch
from gwnet.units import DISPLAY_UNITS, metres_per

if TYPE_CHECKING:
    from gwnet.store.session import Store


class Trending:
    """Trends of levels; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    levels : callable
        The network's own levels.
    """

    store: Store
    levels: Callable[..., pd.DataFrame]

    def trends(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        method: str = "seasonal",
        seasons: int = 4,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
    ) -> pd.DataFrame:
        """Test the levels of wells for monotonic trends, one row a well.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all unless given. They are also what ``p_adjusted`` is for.
        aquifer : str, optional
            Only wells of this aquifer.
        method : str, optional
            ``seasonal`` (each season with its own kind) or ``kendall`` (one value a year).
        seasons : int, optional
            Seasons of a year, 4 or 12.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        site : str, optional
            Only this site.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the slopes: m (columns end in ``_m_per_year``) or ft (``_ft_per_year``).

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.trends.trends`.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record.
        SettingsError
            If the method, number of seasons or unit is not known.
        """
        from gwnet.analysis.trends import trends

        if unit not in DISPLAY_UNITS:
            message = f"Results can be given in {' or '.join(DISPLAY_UNITS)}, not in {unit!r}."
            raise SettingsError(message)
        codes = None if wells is None else list(wells)
        levels = self.levels(codes, site=site, aquifer=aquifer, start=start, end=end, known_on=known_on)
        with self.store.reading() as connection:
            asked = fetch.wells(connection, known_on, site)
        if codes is not None:
            asked = asked[asked["well"].isin(codes)]
        if aquifer is not None:
            asked = asked[asked["aquifer"] == aquifer]
        table = trends(levels, asked, method=method, seasons=seasons)
        if unit == "m":
            return table
        slopes = [name for name in table.columns if name.endswith("_m_per_year")]
        table[slopes] /= metres_per(unit)
        return table.rename(columns={name: name.replace("_m_per_year", f"_{unit}_per_year") for name in slopes})
