"""Method notes, cautions and the sign-off block."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from gwnet.reporting.content import Block, Caution, Heading, Paragraph, SignOff
from gwnet.reporting.definition.wording import wording, wording_items
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import state_text
from gwnet.reporting.registry import register_section, report_sections
from gwnet.reporting.rounds import MOST_OFF_DAYS
from gwnet.reporting.view import ReportView


@register_section(
    "methods",
    "Methods",
    "the method notes of what the report holds",
    place=230,
)
def compose_methods(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the method notes that the report needs."""
    site, measures, extras = view.data.site, view.measures, view.data.extras
    tolerance = site.repeat_tolerance_m
    values = {
        "repeat_tolerance": measures.text(tolerance, decimals=3 if measures.unit == "m" else 2)
        if math.isfinite(tolerance)
        else "the tolerance of the site",
        "vertical_datum": site.vertical_datum,
        "time_zone": site.time_zone,
        "decimals": str(measures.decimals),
        "unit_name": {"m": "a metre", "ft": "a foot"}[measures.unit],
        "trend_test": extras.trend_text,
        "comparison_days": str(MOST_OFF_DAYS),
    }
    blocks: list[Block] = []
    for name in _list_notes(view):
        blocks.extend(_run_in(wording(name, values, view.definition.wording)))
    return blocks


def _run_in(note: Sequence[Block]) -> list[Block]:
    """Return a note in small letters, its headings at the begin of the paragraphs that follow them."""
    blocks: list[Block] = []
    heading = ""
    for block in note:
        if isinstance(block, Heading):
            heading = f"{block.text}."
        elif isinstance(block, Paragraph):
            blocks.append(replace(block, tone="note", lead_in=heading or block.lead_in))
            heading = ""
        else:
            blocks.append(block)
    return blocks


def _list_notes(view: ReportView) -> list[str]:
    """Return the names of the notes that the report needs, in order: those of every report, then of its sections."""
    product = bool((view.levels["product_thickness_m"] > 0).any())
    names = ["reduction", "bounds", *(["product"] if product else []), "uncertainty", "comparison"]
    for kind in report_sections().values():
        if kind.name in view.definition.sections:
            names += kind.notes(view)
    # Several sections may need the same note.
    return list(dict.fromkeys(names))


@register_section(
    "discussion",
    "Discussion by the preparer",
    "the preparer's own paragraphs; left out where there are none",
    place=225,
)
def compose_discussion(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the preparer's own paragraphs."""
    return [Paragraph(text) for text in view.definition.discussion]


@register_section("cautions", "Cautions", "the cautions", place=240)
def compose_cautions(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the cautions: the usual ones, then the site's own."""
    items = (*wording_items("cautions", own=view.definition.wording), *view.definition.cautions)
    return [Caution("Limits of this report", items)]


@register_section("sign_off", "Sign-off", "the lines for signatures", place=250)
def compose_sign_off(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the block for the signatures."""
    prepared = view.definition.prepared
    statement = " ".join(
        block.text
        for block in wording("sign_off", {"known_on": state_text(view.data.known_on)}, view.definition.wording)
        if isinstance(block, Paragraph)
    )
    preparer = (
        ("Name", prepared.by),
        ("Firm", prepared.firm),
        ("Date", ""),
        ("Signature", ""),
    )
    approver = (("Name", ""), ("Licence number", prepared.licence), ("Date", ""), ("Signature and seal", ""))
    block = SignOff(statement, (("Prepared by", preparer), ("Reviewed by a licensed professional", approver)))
    return [block]
