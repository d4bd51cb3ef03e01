"""Pumping tests: the tests on record, their sheets, drawdowns, analyses and figures, and the production of wells."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.network.base import Group, Instant, Wells, codes_of, same_parameters

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.analysis.pumping.drawdown import Background, PumpingDrawdowns
    from gwnet.analysis.pumping.production import Production
    from gwnet.products.pumping import FittedTest


class Pumping(Group):
    """Pumping tests and the production of wells."""

    _path = "net.pumping"

    def tests(self, *, site: str | None = None, known_on: Instant = None) -> pd.DataFrame:
        """Return the pumping tests on record, one row each.

        Parameters as `gwnet.network`; columns of `gwnet.analysis.pumping.listing.TEST_COLUMNS`.
        """
        from gwnet.analysis.pumping.listing import list_tests

        with self._record(site, known_on) as record:
            return list_tests(record)

    def findings(self, *, site: str | None = None, known_on: Instant = None) -> pd.DataFrame:
        """Return what looks wrong in the pumping tests on record, with what can be done.

        Parameters as `gwnet.network`; columns of `gwnet.analysis.pumping.listing.FINDING_COLUMNS`.
        """
        from gwnet.analysis.pumping.listing import list_findings

        with self._record(site, known_on) as record:
            return list_findings(record)

    def remarks(
        self,
        test: str,
        *,
        before_hours: float = 24.0,
        is_air_removed: bool = True,
        site: str | None = None,
        known_on: Instant = None,
    ) -> list[str]:
        """Return how the levels of a test were corrected for air pressure and what looks wrong in it, in sentences.

        Parameters as `gwnet.network` and `gwnet.network.pumping.Pumping.drawdown`.
        """
        from gwnet.analysis.pumping.listing import remark_on

        with self._record(site, known_on, one_site=True) as record:
            return remark_on(record, test, before_hours=before_hours, is_air_removed=is_air_removed)

    def drawdown(
        self,
        test: str,
        wells: Wells = None,
        *,
        background: Background = "mean",
        before_hours: float = 24.0,
        is_air_removed: bool = True,
        is_corrected: bool = False,
        thickness_m: float | None = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
    ) -> pd.DataFrame:
        """Return the drawdowns of a test, one row a reading.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        test : str
            Code of the test.
        background : {"mean", "line"}, optional
            Level without pumping: the mean of the levels before the start, or a line through them.
        before_hours : float, optional
            Hours before the start in which levels count as levels before the test.
        is_air_removed : bool, optional
            Whether the effect of air pressure is taken out by the barometric efficiencies on record of the wells.
        is_corrected : bool, optional
            Whether drawdowns are corrected for the thickness that an unconfined aquifer loses (Jacob 1944).
        thickness_m : float, optional
            Its saturated thickness, where not that on record of the test [m].

        Returns
        -------
        pandas.DataFrame
            Columns of `gwnet.analysis.pumping.drawdown.DRAWDOWN_COLUMNS`.
        """
        made = self._drawdowns(
            test,
            wells,
            background=background,
            before_hours=before_hours,
            is_air_removed=is_air_removed,
            is_corrected=is_corrected,
            thickness_m=thickness_m,
            site=site,
            known_on=known_on,
        )
        return in_unit(made.table, unit)

    @same_parameters(drawdown)
    def static_levels(self, *, unit: str, **asked: Any) -> pd.DataFrame:
        """Return the levels before a test, one row a well, with their trend.

        Parameters as `gwnet.network` and `gwnet.network.pumping.Pumping.drawdown`.

        Returns
        -------
        pandas.DataFrame
            Columns of `gwnet.analysis.pumping.drawdown.STATIC_COLUMNS`.
        """
        return in_unit(self._drawdowns(**asked).static, unit)

    def fit(
        self,
        test: str,
        methods: str | Sequence[str],
        wells: Wells = None,
        *,
        background: Background = "mean",
        before_hours: float = 24.0,
        is_air_removed: bool = True,
        first_min: float | None = None,
        last_min: float | None = None,
        is_corrected: bool = False,
        thickness_m: float | None = None,
        boundary: str = "",
        image: tuple[float, float] | None = None,
        heads: tuple[float, float] | None = None,
        is_trimmed: bool | None = None,
        superposed: Wells = None,
        site: str | None = None,
        known_on: Instant = None,
    ) -> FittedTest:
        """Analyse a test by one method or by several.

        Parameters as `gwnet.network` and `gwnet.network.pumping.Pumping.drawdown`.

        Parameters
        ----------
        methods : str or sequence of str
            Methods, of `gwnet.hydro.pumping.METHODS`.
        first_min, last_min : float, optional
            Only readings after and up to these minutes since the start.
        boundary : str, optional
            ``barrier`` or ``recharge`` where a straight boundary is taken into account.
        image : tuple of float, optional
            Easting and northing of the image of the pumped well behind it.
        heads : tuple of float, optional
            Range of normalised heads that straight lines of slug tests take.
        is_trimmed : bool, optional
            Whether straight lines leave out the readings at which they do not hold yet; unless a span is asked for,
            they do.
        superposed : sequence of str, optional
            Other wells whose pumping on record is superposed; ``all`` for those pumped in the aquifer meanwhile.

        Returns
        -------
        gwnet.products.pumping.FittedTest
            ``table`` has one row a parameter; ``figure()`` draws the drawdowns with the first method over them.
        """
        from gwnet.analysis.pumping.analyses import FitRequest, analyse_test
        from gwnet.products.pumping import FittedTest

        asked = FitRequest(
            wells=tuple(codes_of(wells) or ()),
            background=background,
            before_hours=before_hours,
            is_air_removed=is_air_removed,
            first_min=first_min,
            last_min=last_min,
            is_corrected=is_corrected,
            thickness_m=thickness_m,
            boundary=boundary,
            image=image,
            heads=heads,
            is_trimmed=is_trimmed,
            superposed=tuple(codes_of(superposed) or ()),
        )
        # A text is a sequence of letters, too.
        names = [methods] if isinstance(methods, str) else list(methods)
        with self._record(site, known_on, one_site=True, wells=codes_of(wells)) as record:
            return FittedTest(analyse_test(record, test, names, asked), str(record.settings["vertical_datum"]))

    def figure(
        self,
        test: str,
        kind: str = "",
        wells: Wells = None,
        *,
        method: str = "",
        background: Background = "mean",
        before_hours: float = 24.0,
        is_air_removed: bool = True,
        superposed: Wells = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
    ) -> Figure:
        """Draw a test: drawdowns, their derivative, recovery, steps or distances, with an analysis over them.

        Parameters as `gwnet.network` and `gwnet.network.pumping.Pumping.drawdown`.

        Parameters
        ----------
        kind : str, optional
            One of `gwnet.figures.pumping.data.KINDS`; steps for step tests, half-log for others unless given.
        method : str, optional
            Analysis whose line and residuals are drawn; none unless given.
        superposed : sequence of str, optional
            As `gwnet.network.pumping.Pumping.fit`.

        Returns
        -------
        matplotlib.figure.Figure
            The figure.
        """
        from gwnet.analysis.pumping.analyses import FitRequest, analyse_test
        from gwnet.products.pumping import FittedTest

        codes = codes_of(wells)
        asked = FitRequest(
            wells=tuple(codes or ()),
            background=background,
            before_hours=before_hours,
            is_air_removed=is_air_removed,
            superposed=tuple(codes_of(superposed) or ()),
        )
        with self._record(site, known_on, one_site=True, wells=codes) as record:
            analysed = analyse_test(record, test, [method] if method else [], asked)
            # Asked while the record is open; the figure is drawn when it is closed.
            datum = str(record.settings["vertical_datum"])
        return FittedTest(analysed, datum, tuple(codes or ())).figure(kind=kind, unit=unit)

    def production(
        self,
        test: str,
        *,
        rates_l_s: Sequence[float] = (),
        hours: float = 24.0,
        limit_m: float | None = None,
        method: str = "",
        background: Background = "mean",
        before_hours: float = 24.0,
        is_air_removed: bool = True,
        site: str | None = None,
        known_on: Instant = None,
    ) -> Production:
        """Work out what the pumped well of a test yields: available drawdown, drawdowns for rates, rate for a limit.

        Parameters as `gwnet.network` and `gwnet.network.pumping.Pumping.drawdown`.

        Parameters
        ----------
        rates_l_s : sequence of float, optional
            Rates whose drawdowns are wanted [L/s].
        hours : float, optional
            Time since the start of pumping for which drawdowns and rates are wanted.
        limit_m : float, optional
            Depth below the measuring point that the level may not fall below, beside pump intake and screen top [m].
        method : str, optional
            Analysis that they are worked out by; ``step-theis`` for step tests, ``theis`` for others unless given.

        Returns
        -------
        gwnet.analysis.pumping.production.Production
            ``table`` has the numbers with limits at 95 %; ``notes`` end with what is for a licensed professional.
        """
        from gwnet.analysis.pumping.production import ProductionRequest, work_out_production

        asked = ProductionRequest(
            method=method,
            rates_l_s=tuple(rates_l_s),
            hours=hours,
            limit_m=limit_m,
            background=background,
            before_hours=before_hours,
            is_air_removed=is_air_removed,
        )
        with self._record(site, known_on, one_site=True) as record:
            return work_out_production(record, test, asked)

    def sheet(
        self,
        test: str,
        out: Path | str,
        wells: Wells = None,
        *,
        page: str = "A4",
        site: str | None = None,
        known_on: Instant = None,
    ) -> list[Path]:
        """Write the sheet of a test: a PDF to print and a workbook to fill in.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        test : str
            Code of the test, which is on record with its planned start.
        out : pathlib.Path or str
            Folder; made when it does not exist.
        page : str, optional
            ``A4`` or ``Letter``.

        Returns
        -------
        list of pathlib.Path
            The PDF and the workbook.
        """
        from gwnet.analysis.fieldwork.pumping_sheet import pumping_sheet
        from gwnet.products.pumping import write_pumping_sheet

        codes = codes_of(wells)
        with self._record(site, known_on, one_site=True, wells=codes) as record:
            sheet = pumping_sheet(record, test, codes)
        return write_pumping_sheet(sheet, Path(out), page=page)

    def _drawdowns(
        self,
        test: str,
        wells: Wells,
        *,
        background: Background,
        before_hours: float,
        is_air_removed: bool,
        is_corrected: bool,
        thickness_m: float | None,
        site: str | None,
        known_on: Instant,
    ) -> PumpingDrawdowns:
        from gwnet.analysis.pumping.drawdown import thickness_for, work_out_drawdowns
        from gwnet.analysis.pumping.gather import gather_test

        codes = codes_of(wells)
        with self._record(site, known_on, one_site=True, wells=codes) as record:
            gathered = gather_test(record, test, wells=codes, before_hours=before_hours, is_air_removed=is_air_removed)
            thickness = thickness_for(gathered, thickness_m, is_corrected=is_corrected)
            return work_out_drawdowns(gathered, background=background, thickness_m=thickness)
