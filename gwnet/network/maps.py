"""The part of the face for programs that draws potentiometric maps and works out gradients."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gwnet.clock import local_day
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.hydro.surfaces.variogram import Covariance
    from gwnet.products.maps import SiteMap, WellGradient
    from gwnet.store.session import Store


class Mapping:
    """Potentiometric maps and gradients; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    """

    store: Store

    def map(
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
        known_on: dt.datetime | None = None,
        unit: str = "m",
        loggers: bool = True,
    ) -> SiteMap:
        """Make the potentiometric map of one aquifer on a date.

        Parameters
        ----------
        aquifer : str
            Code of the aquifer.
        date : datetime.date or str
            Local date of the levels; a text is YYYY-MM-DD.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        window_days : float, optional
            Days before and after the date that count as the same day; the site's own unless given.
        method : str, optional
            ``kriging``, ``spline``, ``triangulation``, or ``auto``: the one that estimates left-out levels best.
        variogram : gwnet.hydro.surfaces.variogram.Covariance, optional
            Variogram of the heads for kriging, in metres; fitted unless given.
        interval_m : float, optional
            Contour interval; chosen unless given [m].
        exclude : sequence of str, optional
            Wells and gauges to leave out.
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
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the labels, m or ft.
        loggers : bool, optional
            Whether the level of a well's logger stands in where no usable reading was made.

        Returns
        -------
        gwnet.products.maps.SiteMap
            The map, with its figure, files and summary.

        Raises
        ------
        SettingsError
            If the date is not one, or an option or a feature cannot be used.
        UnreadableFileError
            If a file of features cannot be read.
        NotFoundError
            If the aquifer is not on record.
        TooFewLevelsError
            If fewer than three levels can be used.
        """
        from gwnet.analysis.maps.site_maps import SetRule, map_of
        from gwnet.exchange.feature_files import read_features
        from gwnet.products.maps import SiteMap, map_context

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
            result = map_of(
                record,
                aquifer,
                local_day(date),
                SetRule(window_days, tuple(exclude), loggers),
                method=method,
                interval_m=interval_m,
                unit=unit,
                features=features,
                covariance=variogram,
            )
            return SiteMap(result, map_context(record, aquifer))

    def gradient(
        self,
        wells: Sequence[str],
        date: dt.date | str,
        *,
        conductivity: str | None = None,
        porosity: str | None = None,
        site: str | None = None,
        window_days: float | None = None,
        known_on: dt.datetime | None = None,
    ) -> WellGradient:
        """Work out the gradient of the plane through the levels of three wells or more.

        Parameters
        ----------
        wells : sequence of str
            Codes of wells of one aquifer.
        date : datetime.date or str
            Local date of the levels; a text is YYYY-MM-DD.
        conductivity : str, optional
            Hydraulic conductivity with its unit, for the seepage velocity: ``12 m/d`` or ``5..20 m/d``.
        porosity : str, optional
            Effective porosity, together with the conductivity: ``0.22`` or ``0.15..0.25``.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        window_days : float, optional
            Days before and after the date that count as the same day; the site's own unless given.
        known_on : datetime.datetime, optional
            Record as known at this time.

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
        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            found, control = gradient_between(record, wells, local_day(date), SetRule(window_days))
        return WellGradient(found, control, seepage)
