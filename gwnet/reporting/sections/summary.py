"""The summary: what the report found in order of consequence, and the preparer's own discussion."""

from __future__ import annotations

from collections.abc import Sequence

from gwnet.reporting.content import Block, Bullets, Heading, Paragraph
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.registry import register_section
from gwnet.reporting.results.order import list_results
from gwnet.reporting.results.result import Result
from gwnet.reporting.view import ReportView

_MOST_ITEMS = 8


@register_section(
    "summary",
    "Summary",
    "what was found, in order of consequence: thresholds, changes, flow, missing wells, trends, data quality",
    place=10,
)
def compose_summary(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the summary of a report."""
    blocks = [block for result in list_results(view) for block in result_blocks(result)]
    if view.definition.discussion:
        blocks.append(Heading("Discussion by the preparer"))
        blocks.extend(Paragraph(text) for text in view.definition.discussion)
    return blocks


def result_blocks(result: Result) -> list[Block]:
    """Return a result as a paragraph that begins with what was found, and a list of its cases."""
    blocks: list[Block] = [Paragraph(result.text, lead_in=result.lead)]
    if result.items:
        items = list(result.items[:_MOST_ITEMS])
        if len(result.items) > _MOST_ITEMS:
            items.append(f"{len(result.items) - _MOST_ITEMS} more are in the data annex.")
        blocks.append(Bullets(tuple(items)))
    return blocks
