"""Renders a report as PDF. With the other ``pdf_`` modules beside it, the only place that knows a PDF library."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gwnet.reporting.content import Report, numbered
from gwnet.reporting.pdf.build import build_pages
from gwnet.reporting.pdf.figures import finish
from gwnet.reporting.pdf.fonts import register_fonts


@dataclass(frozen=True, slots=True)
class RenderedReport:
    """A report as PDF.

    Parameters
    ----------
    content : bytes
        The document.
    figures : mapping of str to bytes
        PDF of each figure by key.
    pages : int
        Number of pages.
    archival : bool
        Whether the document was validated as PDF/A-3b.
    reason : str
        Why it was not; empty where it was.
    """

    content: bytes
    figures: Mapping[str, bytes]
    pages: int
    archival: bool
    reason: str = ""


def render_pdf(
    report: Report, *, creator: str = "gwnet", attachments: Mapping[str, bytes] | None = None
) -> RenderedReport:
    """Set a report as PDF.

    Parameters
    ----------
    report : Report
        Content.
    creator : str
        Program and version for the document's metadata.
    attachments : mapping of str to bytes, optional
        Files to carry inside the document, by name.

    Returns
    -------
    RenderedReport
        The document; the same report gives the same bytes in any process.

    Raises
    ------
    ReportError
        If a part does not fit on a page or a figure is not a PDF of one page.
    """
    register_fonts()
    pages = build_pages(numbered(report))
    information = {
        "Title": f"{report.title}, {report.site}, {report.period}",
        "Author": report.author,
        "Subject": report.subject,
        "Keywords": ", ".join(report.keywords),
        "Creator": creator,
        "Producer": creator,
    }
    finished = finish(
        pages.content,
        pages.placements,
        pages.figures,
        information=information,
        # Not the time of the run, which would make the bytes differ.
        moment=report.known_on.recorded_at_utc,
        attachments=attachments,
        structure=pages.structure,
    )
    return RenderedReport(finished.content, pages.figures, pages.pages, finished.archival, finished.reason)
