"""Composes a report: a view of the record to content, section by section."""

from __future__ import annotations

from gwnet.reporting.content import Paragraph, Report, Section
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import LONG_UNITS
from gwnet.reporting.registry import report_sections
from gwnet.reporting.sections.cover import cover
from gwnet.reporting.view import ReportView, ReviewCount


def compose_view(view: ReportView, drawing: Drawing) -> Report:
    """Compose a report.

    Parameters
    ----------
    view : ReportView
        Definition, record and period of the report, as of `gwnet.reporting.view.look`.
    drawing : Drawing
        Makes the figures; each is made when the report is rendered.

    Returns
    -------
    Report
        Content, ready to be rendered.
    """
    site, definition = view.data.site, view.definition
    kinds = [report_sections()[name] for name in definition.sections]
    name = f"{site.name} ({site.code})" if site.name and site.name != site.code else site.code
    sections = []
    for kind in kinds:
        blocks = tuple(kind.compose(view, drawing))
        # a sentence that says that there is nothing needs no page of its own
        has_more = any(not isinstance(block, Paragraph) for block in blocks)
        sections.append(Section(kind.name, kind.title, blocks, kind.new_page and has_more))
    return Report(
        title=definition.title,
        site=name,
        period=view.period.title(),
        state=view.reviews.state,
        known_on=view.data.known_on,
        cover=cover(view, drawing),
        # The discussion, for one, has no block where nobody wrote any.
        sections=tuple(section for section in sections if section.blocks),
        author=definition.prepared.firm or definition.prepared.by or site.operator,
        subject=f"Groundwater levels of {name}, {view.period.title()}",
        keywords=("groundwater", "water levels", site.code, view.period.label, view.reviews.state.lower()),
        page=definition.page,
        contents=definition.contents,
        state_words=_state_words(view.reviews),
        heights=f"elevations in {LONG_UNITS[view.measures.unit]} above {site.vertical_datum}",
    )


def _state_words(reviews: ReviewCount) -> str:
    """Return the state of review as it is printed on each page."""
    if not reviews.total:
        return "no level in the period"
    if reviews.provisional == reviews.total:
        return "all levels provisional"
    return f"{reviews.approved} of {reviews.total} levels approved"
