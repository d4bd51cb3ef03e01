"""The part of the face for programs that compares: gradients over the years, changes, pairs of maps, worth of wells."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gwnet.clock import local_day
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.analysis.maps.site_maps import SetRule
    from gwnet.hydro.surfaces.variogram import Covariance
    from gwnet.products.comparisons import ChangeMap, MapPair
    from gwnet.products.gradients import RoundGradients, VerticalGradientTable
    from gwnet.products.worth import NetworkWorth
    from gwnet.store.session import Store


class Comparing:
    """Gradients over the years and maps set beside each other; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    """

    store: Store

    def gradients(
        self,
        aquifer: str,
        *,
        wells: Sequence[str] | None = None,
        dates: Sequence[dt.date | str] | None = None,
        start: dt.date | str | None = None,
        end: dt.date | str | None = None,
        window_days: float | None = None,
        exclude: Sequence[str] = (),
        conductivity: str | None = None,
        porosity: str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
    ) -> RoundGradients:
        """Work out the horizontal gradient of an aquifer in each round; nothing is averaged over rounds.

        Parameters
        ----------
        aquifer : str
            Code of the aquifer.
        wells : sequence of str, optional
            Only these wells, and no gradient in rounds in which one of them cannot be used.
        dates : sequence of date or str, optional
            These local days instead of the rounds on record.
        start, end : date or str, optional
            First and last local day.
        window_days : float, optional
            Days before and after each day that count as the same day; the site's own unless given.
        exclude : sequence of str, optional
            Wells and gauges to leave out.
        conductivity : str, optional
            Hydraulic conductivity with its unit, for seepage velocities: ``12 m/d`` or ``5..20 m/d``.
        porosity : str, optional
            Effective porosity, together with the conductivity: ``0.22`` or ``0.15..0.25``.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        gwnet.products.gradients.RoundGradients
            ``rows()`` gives a table, ``figure()`` a rose.

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
        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            record.require(aquifer=aquifer)
            found = gradients_by_round(
                record,
                aquifer,
                wells=wells,
                dates=None if dates is None else [local_day(day) for day in dates],
                start=None if start is None else local_day(start),
                end=None if end is None else local_day(end),
                rule=SetRule(window_days, tuple(exclude)),
            )
            return RoundGradients(map_context(record, aquifer), aquifer, found, tuple(wells or ()), seepage)

    def local_gradients(
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
        known_on: dt.datetime | None = None,
    ) -> pd.DataFrame:
        """Work out the gradient about each well of an aquifer on a date: of the plane through it and its nearest.

        Parameters
        ----------
        aquifer : str
            Code of the aquifer.
        date : datetime.date or str
            Local date of the levels.
        nearest : int, optional
            Nearest wells that make a plane with each, at least 2.
        window_days : float, optional
            Days before and after the date that count as the same day; the site's own unless given.
        exclude : sequence of str, optional
            Wells and gauges to leave out.
        conductivity, porosity : str, optional
            As in `gradients`.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        pandas.DataFrame
            One row a well, as `gwnet.products.gradients.local_rows`.

        Raises
        ------
        NotFoundError
            If the aquifer is not on record.
        TooFewLevelsError
            If fewer than three levels can be used.
        """
        from gwnet.analysis.maps.round_gradients import gradients_by_well, surface_by_well
        from gwnet.analysis.maps.site_maps import SetRule, control_of, unit_of_coordinates
        from gwnet.products.gradients import local_rows
        from gwnet.products.seepage import seepage_of

        seepage = seepage_of(conductivity, porosity)
        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            record.require(aquifer=aquifer)
            control = control_of(record, aquifer, local_day(date), SetRule(window_days, tuple(exclude)))
            unit_m = unit_of_coordinates(record.settings["crs"])
        surface = surface_by_well(control, coordinate_unit_m=unit_m)
        return local_rows(gradients_by_well(control, nearest=nearest, coordinate_unit_m=unit_m), surface, seepage)

    def vertical_gradients(
        self,
        clusters: Sequence[str] | None = None,
        *,
        start: dt.date | str | None = None,
        end: dt.date | str | None = None,
        window_days: float | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
    ) -> VerticalGradientTable:
        """Work out vertical gradients between the wells of clusters, one a pair and round.

        Parameters
        ----------
        clusters : sequence of str, optional
            Only these clusters.
        start, end : date or str, optional
            First and last local day.
        window_days : float, optional
            Most days between the two levels of a pair; the site's own same-day window unless given.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        gwnet.products.gradients.VerticalGradientTable
            ``rows()`` gives a table, positive upward, with the reason where there is no gradient; ``figure()`` draws
            it.

        Raises
        ------
        NotFoundError
            If a cluster is not on record, or none is.
        """
        from gwnet.analysis.maps.vertical_pairs import site_vertical_table
        from gwnet.products.gradients import VerticalGradientTable
        from gwnet.products.maps import map_context

        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            table = site_vertical_table(record, clusters=clusters, window_days=window_days)
            context = map_context(record)
        if start is not None:
            table = table[table["date"] >= local_day(start).isoformat()]
        if end is not None:
            table = table[table["date"] <= local_day(end).isoformat()]
        return VerticalGradientTable(context, table.reset_index(drop=True))

    def change_map(
        self,
        aquifer: str,
        date: dt.date | str,
        since: dt.date | str,
        *,
        storage: str | None = None,
        site: str | None = None,
        window_days: float | None = None,
        method: str = "kriging",
        interval_m: float | None = None,
        exclude: Sequence[str] = (),
        boundary: str | Path | None = None,
        base_layers: Sequence[str | Path] = (),
        known_on: dt.datetime | None = None,
        unit: str = "m",
    ) -> ChangeMap:
        """Map the change of levels between two days, with its volume.

        Parameters
        ----------
        aquifer : str
            Code of the aquifer.
        date, since : datetime.date or str
            Later and earlier local date.
        storage : str, optional
            Storage coefficient, for a volume of water: ``0.12`` or ``0.08..0.15``.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        window_days : float, optional
            Days before and after each date that count as the same day; the site's own unless given.
        method : str, optional
            How the surface of the differences is made, as in ``map``.
        interval_m : float, optional
            Contour interval; chosen unless given [m].
        exclude : sequence of str, optional
            Wells and gauges to leave out.
        boundary : str or pathlib.Path, optional
            File with a polygon beyond which nothing is drawn nor summed.
        base_layers : sequence of str or pathlib.Path, optional
            Files of geometry to draw under the map.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the labels, m or ft.

        Returns
        -------
        gwnet.products.comparisons.ChangeMap
            The map, with its figure, files and summary.

        Raises
        ------
        SettingsError
            If the earlier date is not before the later, or the storage coefficient cannot be read.
        TooFewLevelsError
            If fewer than three wells can be used on both days.
        """
        from gwnet.analysis.maps.change import change_of
        from gwnet.analysis.maps.site_maps import SetRule
        from gwnet.exchange.feature_files import read_features
        from gwnet.hydro.gradients.seepage import parse_share
        from gwnet.products.comparisons import ChangeMap
        from gwnet.products.maps import map_context

        given = None if storage is None else parse_share(storage, "storage coefficient")
        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            record.require(aquifer=aquifer)
            result = change_of(
                record,
                aquifer,
                local_day(date),
                local_day(since),
                SetRule(window_days, tuple(exclude)),
                storage=given,
                method=method,
                interval_m=interval_m,
                features=read_features(record.settings["crs"], boundary=boundary, base_layers=base_layers),
                unit=unit,
            )
            return ChangeMap(result, map_context(record, aquifer))

    def paired_maps(
        self,
        aquifer: str,
        dates: tuple[dt.date | str, dt.date | str],
        *,
        site: str | None = None,
        interval_m: float | None = None,
        variogram: Covariance | None = None,
        barriers: str | Path | None = None,
        boundary: str | Path | None = None,
        rivers: str | Path | None = None,
        base_m: float | None = None,
        base_layers: Sequence[str | Path] = (),
        known_on: dt.datetime | None = None,
        unit: str = "m",
        **options: Any,
    ) -> MapPair:
        """Make the maps of two days side by side, and tell whether the direction of flow differs.

        Parameters
        ----------
        aquifer : str
            Code of the aquifer.
        dates : tuple of date or str
            Two local dates.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        interval_m : float, optional
            Contour interval of both; chosen unless given [m].
        variogram, barriers, boundary, rivers, base_m, base_layers : optional
            As in ``map``.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the labels, m or ft.
        **options : object
            ``window_days``, ``method``, ``exclude`` and ``loggers`` as in ``map``.

        Returns
        -------
        gwnet.products.comparisons.MapPair
            The maps, with their figure, files and summary.

        Raises
        ------
        SettingsError
            If the two dates are one.
        TooFewLevelsError
            If fewer than three levels can be used on one of them.
        """
        from gwnet.analysis.maps.paired import paired_maps_of
        from gwnet.exchange.feature_files import read_features
        from gwnet.products.comparisons import MapPair
        from gwnet.products.maps import map_context

        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            record.require(aquifer=aquifer)
            features = read_features(
                record.settings["crs"],
                barriers=barriers,
                boundary=boundary,
                rivers=rivers,
                base_layers=base_layers,
                base_m=base_m,
            )
            result = paired_maps_of(
                record,
                aquifer,
                (local_day(dates[0]), local_day(dates[1])),
                _rule_of(options),
                interval_m=interval_m,
                features=features,
                covariance=variogram,
                unit=unit,
                **options,
            )
            return MapPair(result, map_context(record, aquifer))

    def worth(
        self,
        aquifer: str,
        date: dt.date | str,
        *,
        candidates: int = 3,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        **options: Any,
    ) -> NetworkWorth:
        """Work out which well's removal changes the map of a day least, and where its error is largest.

        Parameters
        ----------
        aquifer : str
            Code of the aquifer.
        date : datetime.date or str
            Local date of the levels.
        candidates : int, optional
            Places for further wells.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the labels, m or ft.
        **options : object
            ``window_days``, ``exclude`` and ``loggers`` as in ``map``.

        Returns
        -------
        gwnet.products.worth.NetworkWorth
            ``rows()`` ranks the wells, ``places()`` lists places for further ones, ``write()`` gives tables and a map.

        Raises
        ------
        AnalysisError
            If there are only three wells.
        TooFewLevelsError
            If fewer than three levels can be used.
        """
        from gwnet.analysis.maps.data_worth import worth_of
        from gwnet.analysis.maps.site_maps import map_of, unit_of_coordinates
        from gwnet.products.maps import map_context
        from gwnet.products.worth import NetworkWorth

        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            record.require(aquifer=aquifer)
            drawn = map_of(record, aquifer, local_day(date), _rule_of(options), unit=unit, **options)
            unit_m = unit_of_coordinates(record.settings["crs"])
            result = worth_of(drawn, candidates=candidates, coordinate_unit_m=unit_m)
            return NetworkWorth(result, map_context(record, aquifer))


def _rule_of(options: dict[str, Any]) -> SetRule:
    """Take the options of the same-day set out of all options; return them as a rule."""
    from gwnet.analysis.maps.site_maps import SetRule

    return SetRule(options.pop("window_days", None), tuple(options.pop("exclude", ())), options.pop("loggers", True))
