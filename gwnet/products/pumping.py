"""Pumping tests as products: the sheet of a test, its analyses with their figure."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from gwnet.analysis.fieldwork.pumping_sheet import PumpingSheet
from gwnet.analysis.pumping.analyses import AnalysedTest
from gwnet.exchange.pumping_workbook import pumping_workbook
from gwnet.products.product import Product
from gwnet.reporting.definition.parse import safe_name
from gwnet.reporting.pdf.pumping_sheet import pumping_sheet_pdf
from gwnet.whole_files import write_files


@dataclass(frozen=True, eq=False, repr=False)
class FittedTest(Product):
    """A test with its analyses.

    Attributes
    ----------
    analysed : gwnet.analysis.pumping.analyses.AnalysedTest
        Test, drawdowns and analyses.
    """

    analysed: AnalysedTest

    @property
    def table(self) -> pd.DataFrame:
        """Return one row a parameter: columns of `gwnet.analysis.pumping.analyses.FIT_COLUMNS`."""
        return self.analysed.table

    def sentences(self) -> list[str]:
        """Return what is to be said of the analyses: notes, parameters that go together, the best supported method."""
        fits = self.analysed.fits
        said = [f"{fit.model}: {fit.note}" for fit in fits if fit.note]
        table = self.table.drop_duplicates("method")
        said += [f"{row.method}: correlation of {row.correlation}." for row in table.itertuples() if row.correlation]
        compared = [fit for fit in fits if fit.aicc == fit.aicc]
        if len(compared) > 1 and len({fit.n for fit in compared}) == 1:
            best, *others = sorted(compared, key=lambda fit: fit.aicc)
            differences = ", ".join(f"{fit.model} {fit.aicc - best.aicc:+.1f}" for fit in others)
            said.append(f"By AICc {best.model} is best supported ({differences}).")
        return said


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
