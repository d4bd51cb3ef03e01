"""Method notes, cautions and the sign-off block."""

from __future__ import annotations

import math

from gwnet.reporting.content import Block, Caution, Paragraph, Section, SignOff
from gwnet.reporting.definition.wording import wording, wording_items
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import stamp_text
from gwnet.reporting.view import ReportView

__all__ = ["cautions", "methods", "sign_off"]


def methods(view: ReportView, _drawing: Drawing) -> Section:
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
    }
    values["trend_test"] = extras.trend_text[:1].lower() + extras.trend_text[1:]
    blocks: list[Block] = []
    for name in _note_names(view):
        blocks.extend(wording(name, values, view.definition.wording))
    return Section("methods", "How levels, maps and comparisons were worked out", tuple(blocks))


def _note_names(view: ReportView) -> list[str]:
    """Return the names of the notes that the report needs, in order."""
    sections, extras = view.definition.sections, view.data.extras
    mapped = "maps" in sections and bool(view.maps())
    gradients = "gradients" in sections and len(extras.gradients) > 0
    wanted = {
        "reduction": True,
        "bounds": True,
        "product": bool((view.levels["product_thickness_m"] > 0).any()),
        "uncertainty": True,
        "comparison": True,
        view.definition.maps.method: mapped,
        "gradient": mapped or gradients,
        "vertical": "gradients" in sections and len(extras.vertical) > 0,
        "changes": "changes" in sections and bool(extras.changes),
        "seasons": "seasons" in sections and len(extras.seasons) > 0,
        "trends": "trends" in sections and len(extras.trends) > 0,
        "thresholds": "thresholds" in sections and bool(view.thresholds),
        "loggers": len(extras.loggers) > 0,
        "hydrographs": "hydrographs" in sections,
    }
    return [name for name, needed in wanted.items() if needed]


def cautions(view: ReportView, _drawing: Drawing) -> Section:
    """Return the cautions: the usual ones, then the site's own."""
    items = (*wording_items("cautions", own=view.definition.wording), *view.definition.cautions)
    return Section("cautions", "Cautions", (Caution("Limits of this report", items),))


def sign_off(view: ReportView, _drawing: Drawing) -> Section:
    """Return the block for the signatures."""
    prepared = view.definition.prepared
    statement = " ".join(
        block.text
        for block in wording("sign_off", {"known_on": stamp_text(view.data.known_on_utc)}, view.definition.wording)
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
    return Section("sign_off", "Sign-off", (block,))
