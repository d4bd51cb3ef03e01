"""The part of the face for programs that draws trends of levels."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.products.trends import TrendFigures
    from gwnet.store.session import Store


class TrendDrawing:
    """Figures of trends; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    """

    store: Store
    _trend_inputs: Callable[..., tuple[pd.DataFrame, pd.DataFrame]]

    def trend_figures(
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
        approved: bool = False,
        smooth: bool = False,
    ) -> TrendFigures:
        """Test wells of one site for trends and keep what their figures are drawn from.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all of the site unless given.
        aquifer : str, optional
            Only wells of this aquifer.
        method : str, optional
            ``seasonal`` (each season with its own kind), ``kendall`` (one value a year) or ``all`` (every value).
        seasons : int, optional
            Seasons of a year, 4 or 12.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the figures, m or ft.
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.
        smooth : bool, optional
            Whether the levels of each well are drawn with a smooth line (LOWESS).

        Returns
        -------
        gwnet.products.trends.TrendFigures
            Table in metres; ``figures()`` gives one well's figure or ranked slopes, ``map()`` the map of slopes,
            ``multiples()`` small panels of all wells.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record, or the record holds several sites and none is named.
        SettingsError
            If the method, number of seasons or unit is not known.
        """
        from gwnet.analysis.series.trends import trends
        from gwnet.products.maps import map_context
        from gwnet.products.trends import TrendFigures

        with self.store.reading() as connection:
            context = map_context(Snapshot(connection, known_on).of_site(site))
        levels, asked = self._trend_inputs(wells, aquifer, start, end, str(context.site["site"]), known_on)
        table = trends(levels, asked, method=method, seasons=seasons, approved=approved)
        return TrendFigures(table, levels, asked, context, method, seasons, approved, unit, smooth)
