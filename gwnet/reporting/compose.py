"""Composes a report: definition and record to content, section by section."""

from __future__ import annotations

from gwnet.reporting.content import Report, Section
from gwnet.reporting.data import ReportData
from gwnet.reporting.definition.parse import Definition
from gwnet.reporting.definition.period import Period, parse_period
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.registry import report_sections
from gwnet.reporting.sections.cover import cover
from gwnet.reporting.view import ReportView, look

__all__ = ["compose", "compose_view"]


def compose(definition: Definition, data: ReportData, *, period: Period | str, drawing: Drawing) -> Report:
    """Compose a report.

    Parameters
    ----------
    definition : Definition
        What the report holds and how it is printed.
    data : ReportData
        The record of the site.
    period : Period or str
        Period of the report, for example ``2026-Q1``.
    drawing : Drawing
        Makes the figures; each is made when the report is rendered.

    Returns
    -------
    Report
        Content, ready to be rendered.

    Raises
    ------
    ReportError
        If the period cannot be used.
    DefinitionError
        If the definition selects what is not on record.
    """
    when = parse_period(period) if isinstance(period, str) else period
    return compose_view(look(definition, data, when), drawing)


def compose_view(view: ReportView, drawing: Drawing) -> Report:
    """Compose a report from a look at the record, as `compose` does."""
    site, definition = view.data.site, view.definition
    kinds = [report_sections()[name] for name in definition.sections]
    name = f"{site.name} ({site.code})" if site.name and site.name != site.code else site.code
    return Report(
        title=definition.title,
        site=name,
        period=view.period.title(),
        state=view.reviews.state,
        known_on_utc=view.data.known_on_utc,
        cover=cover(view),
        sections=tuple(Section(kind.name, kind.title, tuple(kind.compose(view, drawing))) for kind in kinds),
        author=definition.prepared.firm or definition.prepared.by or site.operator,
        subject=f"Groundwater levels of {name}, {view.period.title()}",
        keywords=("groundwater", "water levels", site.code, view.period.label, view.reviews.state.lower()),
        page=definition.page,
        contents=definition.contents,
    )
