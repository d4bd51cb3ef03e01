"""Writes a report: PDF, manifest and data annex, all of them or none, and nothing outside the named folder."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from gwnet.reporting.annex.files import LONG_FILE, annex_files
from gwnet.reporting.annex.manifest import manifest_json, printed_values
from gwnet.reporting.annex.package import data_package
from gwnet.reporting.annex.workbook import annex_workbook
from gwnet.reporting.compose import compose_view
from gwnet.reporting.data import ReportData
from gwnet.reporting.definition.parse import Definition, safe_name
from gwnet.reporting.definition.period import Period, parse_period
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.drawn_together import with_figures
from gwnet.reporting.pdf.build import fit_cover
from gwnet.reporting.pdf.render import render_pdf
from gwnet.reporting.view import look
from gwnet.reporting.web.page import render_page
from gwnet.whole_files import Registration, write_files


@dataclass(frozen=True, slots=True)
class ReportFiles:
    """The files of a report, before they are written.

    Parameters
    ----------
    pdf, manifest : str
        Names of the report and its manifest.
    annex : tuple of str
        Names of the HTML page where there is one, and of the files of the data annex.
    contents : dict of str to bytes
        All of them by name; the manifest is the last.
    state : str
        ``PROVISIONAL`` or ``APPROVED``.
    values : list of dict
        Every printed value of the tables, from `gwnet.reporting.annex.manifest.printed_values`.
    sha256 : str
        Digest of the PDF.
    """

    pdf: str
    manifest: str
    annex: tuple[str, ...]
    contents: dict[str, bytes]
    state: str
    values: list[dict[str, str]]
    sha256: str

    def write(self, out_dir: str | Path, registration: Registration | None = None) -> WrittenReport:
        """Write the files into a folder, all of them or none.

        Parameters
        ----------
        out_dir : str or Path
            Folder; made when it does not exist.
        registration : gwnet.whole_files.Registration, optional
            Registers the report once its files are staged.

        Returns
        -------
        WrittenReport
            Paths of what was written.

        Raises
        ------
        OutputError
            If the folder cannot be written to; nothing is left half-written.
        """
        paths = write_files(out_dir, self.contents, "report", registration)
        return WrittenReport(paths[self.pdf], paths[self.manifest], tuple(paths[name] for name in self.annex), self)


@dataclass(frozen=True, slots=True)
class WrittenReport:
    """What was written.

    Parameters
    ----------
    pdf, manifest : Path
        The report and its manifest.
    annex : tuple of Path
        The HTML page where there is one, then the files of the data annex.
    files : ReportFiles
        Their contents, and what the report says.
    """

    pdf: Path
    manifest: Path
    annex: tuple[Path, ...]
    files: ReportFiles


def manifest_name(pdf_name: str) -> str:
    """Return the name of the manifest beside a report.

    Parameters
    ----------
    pdf_name : str
        Name of the report.

    Returns
    -------
    str
        Name of the manifest.
    """
    return f"{pdf_name.removesuffix('.pdf')}.manifest.json"


def make_files(
    definition: Definition,
    data: ReportData,
    *,
    period: Period | str,
    drawing: Drawing,
    program_version: str,
    schema_revision: str,
    map_files: Mapping[str, bytes] | None = None,
    processes: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> ReportFiles:
    """Make the files of a report.

    Parameters
    ----------
    definition : Definition
        What the report holds.
    data : ReportData
        The record.
    period : Period or str
        Period of the report.
    drawing : Drawing
        Makes the figures.
    program_version, schema_revision : str
        For the manifest.
    map_files : mapping of str to bytes, optional
        GeoPackages of the maps by file name without the report's own part.
    processes : int, optional
        How many processes draw figures at once; the bytes do not depend on it.
    progress : callable, optional
        Called with parts made and parts in all: each figure, the pages, and the annex with the page for a browser.

    Returns
    -------
    ReportFiles
        Files to be written.

    Raises
    ------
    ReportError
        If the report cannot be made.
    """
    when = parse_period(period) if isinstance(period, str) else period
    view = look(definition, data, when)
    say, composed = progress or (lambda _done, _total: None), fit_cover(compose_view(view, drawing))
    total = len(composed.figures()) + 2
    # Before the pages are set: the PDF and the page for a browser take the same drawings.
    report = with_figures(composed, processes=processes, progress=lambda done, _figures: say(done, total))
    stem = f"{safe_name(definition.name)}_{safe_name(data.site.code)}_{safe_name(when.label)}"
    pdf_name = f"{stem}.pdf"
    program = f"gwnet {program_version}"
    annex = {f"{stem}_{name}": file for name, file in (annex_files(view) | dict(map_files or {})).items()}
    # The levels of the whole record would make the PDF too large to send.
    carried = {name: file for name, file in annex.items() if not name.endswith(LONG_FILE)}
    rendered = render_pdf(report, creator=program, attachments=carried)
    say(total - 1, total)
    workbook = annex_workbook(view, annex, prefix=stem, program=program)
    # Before the workbook is added, which holds the same tables again.
    annex[f"{stem}.datapackage.json"] = data_package(view, annex, prefix=stem, program=program)
    annex[f"{stem}.xlsx"] = workbook
    page = {f"{stem}.html": render_page(report, view, creator=program)} if definition.web_page else {}
    files = {pdf_name: rendered.content, **page, **annex}
    # Last, as it holds the digests of all other files.
    manifest = manifest_json(
        view,
        program_version=program_version,
        schema_revision=schema_revision,
        rendered=rendered,
        files=files,
    )
    say(total, total)
    return ReportFiles(
        pdf=pdf_name,
        manifest=manifest_name(pdf_name),
        annex=(*page, *annex),
        contents={**files, manifest_name(pdf_name): manifest},
        state=report.state,
        values=printed_values(report),
        sha256=hashlib.sha256(rendered.content).hexdigest(),
    )
