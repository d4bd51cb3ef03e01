"""Potentiometric maps: of one day, of the change between two, of two side by side, and the data worth of wells."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gwnet.clock import local_day
from gwnet.network.base import Group, Instant

if TYPE_CHECKING:
    import datetime as dt

    from gwnet.analysis.maps.site_maps import SetRule
    from gwnet.hydro.surfaces.variogram import Covariance
    from gwnet.products.comparisons import ChangeMap, MapPair
    from gwnet.products.maps import SiteMap
    from gwnet.products.worth import NetworkWorth
    from gwnet.store.snapshot import Snapshot


class Maps(Group):
    """Potentiometric maps of an aquifer."""

    _path = "net.map"

    def __call__(
        self,
        aquifer: str,
        date: dt.date | str,
        *,
        site: str | None = None,
        window_days: float | None = None,
        method: str = "kriging",
        variogram: Covariance | None = None,
        interval_m: float | None = None,
        exclude: Sequence[str] = (),
        barriers: str | Path | None = None,
        boundary: str | Path | None = None,
        rivers: str | Path | None = None,
        base_m: float | None = None,
        base_layers: Sequence[str | Path] = (),
        known_on: Instant = None,
        unit: str = "m",
        loggers: bool = True,
    ) -> SiteMap:
        """Make the potentiometric map of one aquifer on a date.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        aquifer : str
            Code of the aquifer.
        date : datetime.date or str
            Local date of the levels; a text is YYYY-MM-DD.
        method : str, optional
            ``kriging``, ``spline``, ``triangulation``, ``auto`` (the one of these with the smallest leave-one-out
            error), or ``quadratic``: a trend surface, which does not pass through the levels.
        variogram : gwnet.hydro.surfaces.variogram.Covariance, optional
            Variogram of the heads for kriging, in metres; fitted unless given.
        interval_m : float, optional
            Contour interval; chosen unless given [m].
        barriers : str or pathlib.Path, optional
            GeoPackage or GeoJSON, or ``FILE:LAYER``, of lines that heads do not reach across, for example faults.
        boundary : str or pathlib.Path, optional
            The same of polygons beyond which nothing is drawn.
        rivers : str or pathlib.Path, optional
            The same of lines whose heads enter as control; see `gwnet.exchange.feature_files.read_features`.
        base_m : float, optional
            Elevation of the base of the unit; nothing is drawn at heads below it [m].
        base_layers : sequence of str or pathlib.Path, optional
            The same of geometry that is only drawn, under the map; all layers of a file unless one is named.

        Returns
        -------
        gwnet.products.maps.SiteMap
            The map: ``table`` is its control, ``figure()`` its sheet, ``write(folder)`` its files.

        Raises
        ------
        SettingsError
            If the date is not one, or an option or a feature cannot be used.
        UnreadableFileError
            If a file of features cannot be read.
        TooFewLevelsError
            If fewer than three levels can be used.
        """
        from gwnet.analysis.maps.site_maps import map_of
        from gwnet.products.maps import SiteMap, map_context

        with self._mapped(
            aquifer,
            site=site,
            known_on=known_on,
            window_days=window_days,
            method=method,
            variogram=variogram,
            interval_m=interval_m,
            exclude=exclude,
            barriers=barriers,
            boundary=boundary,
            rivers=rivers,
            base_m=base_m,
            base_layers=base_layers,
            unit=unit,
            loggers=loggers,
        ) as (record, rule, how):
            return SiteMap(map_of(record, aquifer, local_day(date), rule, **how), map_context(record, aquifer))

    def change(
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
        known_on: Instant = None,
        unit: str = "m",
        loggers: bool = True,
    ) -> ChangeMap:
        """Map the change of levels between two days, with its volume.

        Parameters as `gwnet.network` and `gwnet.network.maps.Maps.__call__`.

        Parameters
        ----------
        since : datetime.date or str
            Earlier local date.
        storage : str, optional
            Storage coefficient, for a volume of water: ``0.12`` or ``0.08..0.15``.

        Returns
        -------
        gwnet.products.comparisons.ChangeMap
            The map: ``table`` has the changes at wells.

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

        # Read before the record is opened: a wrong text is refused at once.
        coefficient = None if storage is None else parse_share(storage, "storage coefficient")
        with self._record(site, known_on, one_site=True, aquifer=aquifer) as record:
            result = change_of(
                record,
                aquifer,
                local_day(date),
                local_day(since),
                SetRule(window_days, tuple(exclude), loggers),
                storage=coefficient,
                method=method,
                interval_m=interval_m,
                features=read_features(record.settings["crs"], boundary=boundary, base_layers=base_layers),
                unit=unit,
            )
            return ChangeMap(result, map_context(record, aquifer))

    def pair(self, aquifer: str, dates: tuple[dt.date | str, dt.date | str], **options: Any) -> MapPair:
        """Make the maps of two days side by side, and test whether the direction of flow differs.

        Parameters as `gwnet.network.maps.Maps.__call__`.

        Parameters
        ----------
        dates : tuple of date or str
            Two local dates.
        **options : object
            Everything else as of ``net.map``.

        Returns
        -------
        gwnet.products.comparisons.MapPair
            The maps: ``table`` has a row for each.

        Raises
        ------
        SettingsError
            If the two dates are one.
        TooFewLevelsError
            If fewer than three levels can be used on one of them.
        """
        from gwnet.analysis.maps.paired import paired_maps_of
        from gwnet.products.comparisons import MapPair
        from gwnet.products.maps import map_context

        days = (local_day(dates[0]), local_day(dates[1]))
        with self._mapped(aquifer, **options) as (record, rule, how):
            return MapPair(paired_maps_of(record, aquifer, days, rule, **how), map_context(record, aquifer))

    def data_worth(self, aquifer: str, date: dt.date | str, *, candidates: int = 3, **options: Any) -> NetworkWorth:
        """Rank wells by their data worth for the map of a day, and list places for further ones.

        Parameters as `gwnet.network.maps.Maps.__call__`.

        Parameters
        ----------
        candidates : int, optional
            Places for further wells.
        **options : object
            Everything else as of ``net.map``.

        Returns
        -------
        gwnet.products.worth.NetworkWorth
            ``table`` ranks the wells, ``places()`` lists places for further ones, ``write()`` makes tables and a map.

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

        with self._mapped(aquifer, **options) as (record, rule, how):
            drawn = map_of(record, aquifer, local_day(date), rule, **how)
            unit_m = unit_of_coordinates(record.settings["crs"])
            result = worth_of(drawn, candidates=candidates, coordinate_unit_m=unit_m)
            return NetworkWorth(result, map_context(record, aquifer))

    @contextmanager
    def _mapped(
        self,
        aquifer: str,
        *,
        site: str | None = None,
        known_on: Instant = None,
        variogram: Covariance | None = None,
        barriers: str | Path | None = None,
        boundary: str | Path | None = None,
        rivers: str | Path | None = None,
        base_m: float | None = None,
        base_layers: Sequence[str | Path] = (),
        window_days: float | None = None,
        exclude: Sequence[str] = (),
        loggers: bool = True,
        **options: Any,
    ) -> Iterator[tuple[Snapshot, SetRule, dict[str, Any]]]:
        """Give the record of one site, the rule of a same-day set, and the other options of a map with its features."""
        from gwnet.analysis.maps.site_maps import SetRule
        from gwnet.exchange.feature_files import read_features

        with self._record(site, known_on, one_site=True, aquifer=aquifer) as record:
            features = read_features(
                record.settings["crs"],
                barriers=barriers,
                boundary=boundary,
                rivers=rivers,
                base_layers=base_layers,
                base_m=base_m,
            )
            # One rule for every map of a call: two days side by side are chosen in the same way.
            rule = SetRule(window_days, tuple(exclude), loggers)
            yield record, rule, {**options, "features": features, "covariance": variogram}
