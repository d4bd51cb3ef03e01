"""Pumping tests as products: the sheet of a test, its analyses with their figure."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pandas as pd

from gwnet.analysis.fieldwork.pumping_sheet import PumpingSheet
from gwnet.analysis.pumping.analyses import AnalysedTest, usual_wells
from gwnet.analysis.pumping.drawdown import rates_for_analysis, wells_for_analysis
from gwnet.clock import zone_of
from gwnet.errors import SettingsError
from gwnet.exchange.pumping_workbook import pumping_workbook
from gwnet.figures.pumping.data import KINDS, pumping_plot_data
from gwnet.figures.pumping.draw import PANEL_MM, draw_pumping
from gwnet.hydro.pumping import METHODS
from gwnet.products.product import Product
from gwnet.reporting.definition.parse import safe_name
from gwnet.reporting.pdf.pumping_sheet import pumping_sheet_pdf
from gwnet.whole_files import write_files

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.hydro.pumping import PumpingFit

#: Kind of figure of each kind of test; half-log of others.
_CHOSEN_KIND: Final = {"step": "steps", "recovery": "recovery"}


@dataclass(frozen=True, eq=False, repr=False)
class FittedTest(Product):
    """A test with its analyses.

    Attributes
    ----------
    analysed : gwnet.analysis.pumping.analyses.AnalysedTest
        Test, drawdowns and analyses.
    datum : str
        Vertical datum of the site.
    wells : tuple of str
        Wells that are drawn; those of the analysis, or the usual ones without any, unless given.
    """

    analysed: AnalysedTest
    datum: str = ""
    wells: tuple[str, ...] = ()

    @property
    def table(self) -> pd.DataFrame:
        """Return one row a parameter: columns of `gwnet.analysis.pumping.analyses.FIT_COLUMNS`."""
        return self.analysed.table

    def figure(self, kind: str = "", *, fit: int = 0, unit: str = "m", panel_mm: float = PANEL_MM) -> Figure:
        """Return a figure of the test with one of its analyses over it.

        Parameters
        ----------
        kind : str, optional
            One of `gwnet.figures.pumping.data.KINDS`; steps for step tests, half-log for others unless given.
        fit : int, optional
            Place of the analysis; the first unless given.
        unit : str, optional
            Unit of drawdowns, m or ft.
        panel_mm : float, optional
            Height of the panels [mm].

        Raises
        ------
        AnalysisError
            If nothing can be shown in this kind of figure.
        """
        test, drawdowns = self.analysed.test, self.analysed.drawdowns
        chosen = self.analysed.fits[fit] if self.analysed.fits else None
        drawn = kind or _CHOSEN_KIND.get(test.kind, "half-log")
        if drawn not in KINDS:
            message = f"There is no figure {kind!r}."
            raise SettingsError(message, fix=f"Figures: {', '.join(KINDS)}.")
        names = self.wells or (chosen.wells if chosen is not None else _usual(self.analysed, drawn))
        data = pumping_plot_data(
            drawn,
            rates_for_analysis(test),
            wells_for_analysis(test, drawdowns, names, superposed=() if chosen is None else chosen.superposed),
            chosen,
            title=f"Pumping test {test.test}, {test.well}",
            posted=self._posted(chosen),
            unit=unit,
        )
        return draw_pumping(data, panel_mm=panel_mm)

    def _posted(self, fit: PumpingFit | None) -> tuple[str, ...]:
        """Return what is posted below the title: datum, rates, span and method."""
        test = self.analysed.test
        zone = zone_of(test.zone)
        rates = "; ".join(f"{rate:.4g}" for rate in test.rates.loc[test.rates["well"] == test.well, "rate_l_s"])
        start = test.starts_utc.tz_convert(zone)
        stop = "" if pd.isna(test.stops_utc) else f" to {test.stops_utc.tz_convert(zone):%Y-%m-%d %H:%M}"
        air = sorted({air.barometer for air in test.air if air.corrected})
        background = "line" if (self.analysed.drawdowns.static["background"] == "line").any() else "mean"
        lines = [
            f"{test.kind}, {rates} L/s, {start:%Y-%m-%d %H:%M}{stop}, local time",
            f"drawdown below the {background} of the levels before the start; elevations above {self.datum}",
        ]
        if air:
            lines.append(f"change of air pressure since the start taken out, by {', '.join(air)}")
        if fit is not None:
            method = METHODS[fit.model]
            beside = f"; pumping of {', '.join(fit.superposed)} superposed" if fit.superposed else ""
            lines.append(f"{fit.model}: {method.title} ({method.source}){beside}")
        return tuple(lines)

    def sentences(self) -> list[str]:
        """Return what is to be said of the analyses: notes, parameters that go together, the best supported method."""
        said = self.of_readings()
        fits = self.analysed.fits
        said += [f"{fit.model}: {fit.note}" for fit in fits if fit.note]
        table = self.table.drop_duplicates("method")
        said += [f"{row.method}: correlation of {row.correlation}." for row in table.itertuples() if row.correlation]
        # NaN, which a method may have for it, does not equal itself.
        compared = [fit for fit in fits if fit.aicc == fit.aicc]
        # AICc compares fits to the same readings alone.
        if len(compared) > 1 and len({fit.n for fit in compared}) == 1:
            # Differences are what AICc means; its size depends on the number of readings.
            best, *others = sorted(compared, key=lambda fit: fit.aicc)
            differences = ", ".join(f"{fit.model} {fit.aicc - best.aicc:+.1f}" for fit in others)
            said.append(f"By AICc {best.model} is best supported ({differences}).")
        return said

    def of_readings(self) -> list[str]:
        """Return how readings were corrected for air pressure, and which wells with loggers took no part."""
        used = {well for fit in self.analysed.fits for well in fit.wells}
        said = [sentence for air in self.analysed.test.air if air.well in used for sentence in air.sentences()]
        return said + self._of_loggers(used)

    def _of_loggers(self, used: set[str]) -> list[str]:
        """Return which wells with heads of loggers took no part, and how to add them."""
        test = self.analysed.test
        # A method of the pumped well alone would take no other well, so that nothing was left out.
        several = [fit for fit in self.analysed.fits if fit.wells != (test.well,)]
        left = [well for well in test.available_wells if well not in used]
        if not several or not left:
            return []
        distance = test.wells.set_index("well")["distance_m"]
        names = ", ".join(f"{well} ({distance[well]:.0f} m)" for well in left)
        return [
            f"Heads of loggers are on record in the span of the test for {names}; nothing says that they belong to it, "
            f"so they take no part. Add wells with --wells {','.join([*several[0].wells, left[0]])}."
        ]


def _usual(analysed: AnalysedTest, kind: str) -> tuple[str, ...]:
    """Return the wells of a figure without an analysis: all of a figure of distances, else those usually analysed."""
    method = {"steps": "step", "recovery": "recovery"}.get(kind, "theis")
    return usual_wells(analysed.test, analysed.drawdowns, method)


def write_pumping_sheet(sheet: PumpingSheet, out: Path, *, page: str = "A4") -> list[Path]:
    """Write the sheet of a test: a PDF to print and a workbook to fill in, both or none.

    Parameters
    ----------
    sheet : gwnet.analysis.fieldwork.pumping_sheet.PumpingSheet
        Content.
    out : pathlib.Path
        Folder; made when it does not exist.
    page : str, optional
        ``A4`` or ``Letter``.

    Returns
    -------
    list of pathlib.Path
        The PDF and the workbook.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    stem = f"{safe_name(sheet.site)}_{safe_name(sheet.test)}"
    files = {
        f"{stem}_pumping_test.pdf": pumping_sheet_pdf(sheet, page=page),
        f"{stem}_pumping_test.xlsx": pumping_workbook(sheet),
    }
    return list(write_files(out, files, "pumping test sheets").values())
