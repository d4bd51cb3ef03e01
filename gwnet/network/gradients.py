"""Hydraulic gradients: between wells, round by round, about each well, and vertical ones in clusters."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

from gwnet.clock import local_day
from gwnet.network.base import Group, Instant, Moment, Wells, codes_of, day_of

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.products.gradients import RoundGradients, VerticalGradientTable
    from gwnet.products.maps import WellGradient


class Gradients(Group):
    """Horizontal and vertical hydraulic gradients."""

    _path = "net.gradients"

    def __call__(
        self,
        wells: Sequence[str],
        date: dt.date | str,
        *,
        conductivity: str | None = None,
        porosity: str | None = None,
        site: str | None = None,
        window_days: float | None = None,
        known_on: Instant = None,
    ) -> WellGradient:
        """Work out the gradient of the plane through the levels of three wells or more.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        wells : sequence of str
            Codes of wells of one aquifer.
        date : datetime.date or str
            Local date of the levels; a text is YYYY-MM-DD.

        Returns
        -------
        gwnet.products.maps.WellGradient
            The gradient and the levels it was made from.

        Raises
        ------
        SettingsError
            If the date is not one, or only one of conductivity and porosity is given or cannot be read.
        NotFoundError
            If a well is not on record or has no level that can be used.
        TooFewLevelsError
            If fewer than three wells are named.
        """
        from gwnet.analysis.maps.site_maps import SetRule, gradient_between
        from gwnet.products.maps import WellGradient
        from gwnet.products.seepage import seepage_of

        seepage = seepage_of(conductivity, porosity)
        with self._record(site, known_on, one_site=True) as record:
            gradient, control = gradient_between(record, wells, local_day(date), SetRule(window_days))
        return WellGradient(gradient, control, seepage)

    def by_round(
        self,
        aquifer: str,
        *,
        wells: Wells = None,
        dates: Sequence[dt.date | str] | None = None,
        start: Moment = None,
        end: Moment = None,
        window_days: float | None = None,
        exclude: Sequence[str] = (),
        conductivity: str | None = None,
        porosity: str | None = None,
        site: str | None = None,
        known_on: Instant = None,
    ) -> RoundGradients:
        """Work out the horizontal gradient of an aquifer in each round; nothing is averaged over rounds.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        aquifer : str
            Code of the aquifer.
        wells : sequence of str, optional
            Only these wells, and no gradient in rounds in which one of them cannot be used.
        dates : sequence of date or str, optional
            These local days instead of the rounds on record.

        Returns
        -------
        gwnet.products.gradients.RoundGradients
            ``table`` has a row a round, ``figure()`` draws a rose.

        Raises
        ------
        NotFoundError
            If the aquifer or a well is not on record, or there is no round.
        SettingsError
            If only one of conductivity and porosity is given, or one of them cannot be read.
        """
        from gwnet.analysis.maps.round_gradients import gradients_by_round
        from gwnet.analysis.maps.site_maps import SetRule
        from gwnet.products.gradients import RoundGradients
        from gwnet.products.maps import map_context
        from gwnet.products.seepage import seepage_of

        seepage = seepage_of(conductivity, porosity)
        codes = codes_of(wells)
        with self._record(site, known_on, one_site=True, aquifer=aquifer) as record:
            gradients = gradients_by_round(
                record,
                aquifer,
                wells=codes,
                dates=None if dates is None else [local_day(day) for day in dates],
                start=day_of(start),
                end=day_of(end),
                rule=SetRule(window_days, tuple(exclude)),
            )
            return RoundGradients(map_context(record, aquifer), aquifer, gradients, tuple(codes or ()), seepage)

    def local(
        self,
        aquifer: str,
        date: dt.date | str,
        *,
        nearest: int = 5,
        window_days: float | None = None,
        exclude: Sequence[str] = (),
        conductivity: str | None = None,
        porosity: str | None = None,
        site: str | None = None,
        known_on: Instant = None,
    ) -> pd.DataFrame:
        """Work out the gradient about each well of an aquifer on a date: of the plane through it and its nearest.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        aquifer : str
            Code of the aquifer.
        date : datetime.date or str
            Local date of the levels.
        nearest : int, optional
            Nearest wells that make a plane with each, at least 2.

        Returns
        -------
        pandas.DataFrame
            One row a well, as `gwnet.products.gradients.local_rows`.

        Raises
        ------
        TooFewLevelsError
            If fewer than three levels can be used.
        """
        from gwnet.analysis.maps.round_gradients import gradients_by_well, surface_by_well
        from gwnet.analysis.maps.site_maps import SetRule, control_of, unit_of_coordinates
        from gwnet.products.gradients import local_rows
        from gwnet.products.seepage import seepage_of

        seepage = seepage_of(conductivity, porosity)
        with self._record(site, known_on, one_site=True, aquifer=aquifer) as record:
            control = control_of(record, aquifer, local_day(date), SetRule(window_days, tuple(exclude)))
            # Coordinates may be in feet; a gradient of metres over feet would be wrong by a factor of three.
            unit_m = unit_of_coordinates(record.settings["crs"])
        surface = surface_by_well(control, coordinate_unit_m=unit_m)
        return local_rows(gradients_by_well(control, nearest=nearest, coordinate_unit_m=unit_m), surface, seepage)

    def vertical(
        self,
        clusters: Sequence[str] | None = None,
        *,
        start: Moment = None,
        end: Moment = None,
        window_days: float | None = None,
        site: str | None = None,
        known_on: Instant = None,
    ) -> VerticalGradientTable:
        """Work out vertical gradients between the wells of clusters, one a pair and round.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        clusters : sequence of str, optional
            Only these clusters.

        Returns
        -------
        gwnet.products.gradients.VerticalGradientTable
            ``table`` has gradients positive upward, with the reason where there is none; ``figure()`` draws it.

        Raises
        ------
        NotFoundError
            If a cluster is not on record, or none is.
        """
        from gwnet.analysis.maps.vertical_pairs import site_vertical_table
        from gwnet.products.gradients import VerticalGradientTable
        from gwnet.products.maps import map_context

        with self._record(site, known_on, one_site=True) as record:
            table = site_vertical_table(record, clusters=codes_of(clusters), window_days=window_days)
            context = map_context(record)
        first, last = day_of(start), day_of(end)
        if first is not None:
            table = table[table["date"] >= first.isoformat()]  # dates in ISO 8601 sort as text
        if last is not None:
            table = table[table["date"] <= last.isoformat()]
        return VerticalGradientTable(context, table.reset_index(drop=True))
