"""Renders a report as PDF. With the other ``pdf_`` modules beside it, the only place that knows a PDF library."""

from __future__ import annotations

from gwnet.reporting.content import Report, numbered
from gwnet.reporting.pdf_build import build_pages
from gwnet.reporting.pdf_figures import finish
from gwnet.reporting.pdf_fonts import register_fonts

__all__ = ["render_pdf"]


def render_pdf(report: Report, *, creator: str = "gwnet") -> tuple[bytes, dict[str, bytes]]:
    """Set a report as PDF.

    Parameters
    ----------
    report : Report
        Content.
    creator : str
        Program and version for the document's metadata.

    Returns
    -------
    tuple
        Bytes of the PDF, and the PDF of each figure by its key. The same report gives the same bytes in any process.

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
    content = finish(
        pages.content, pages.placements, pages.figures, information=information, moment=report.known_on_utc
    )
    return content, pages.figures
