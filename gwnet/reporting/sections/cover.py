"""The cover: who, where, when, in what state, and the cautions."""

from __future__ import annotations

from gwnet.reporting.content import Block, Caution, Cover, Facts, FirmBlock
from gwnet.reporting.definition.wording import wording_items
from gwnet.reporting.measures import state_text
from gwnet.reporting.view import ReportView, ReviewCount

_OPEN = "to be filled in"


def cover(view: ReportView) -> Cover:
    """Return the cover of a report."""
    site, prepared = view.data.site, view.definition.prepared
    unit = {"m": "metres", "ft": "feet (0.3048 m)"}[view.measures.unit]
    pairs = (
        ("Site", f"{site.name} ({site.code})" if site.name and site.name != site.code else site.code),
        ("Period", view.period.title()),
        ("Gauging", _gauging(view)),
        ("Record as known on", state_text(view.data.known_on)),
        ("State", review_sentence(view.reviews)),
        ("Prepared for", prepared.recipient or site.operator or _OPEN),
        ("Prepared by", ", ".join(part for part in (prepared.by, prepared.firm) if part) or _OPEN),
        ("Elevations", f"{unit} above {site.vertical_datum}"),
        ("Coordinates", site.crs),
        ("Times", f"site's clock, {site.time_zone}"),
    )
    items = wording_items("cover_cautions", own=view.definition.wording)
    blocks: tuple[Block, ...] = (Facts(pairs), Caution("Read with care", items))
    if prepared.logo or prepared.address:
        blocks = (*blocks, FirmBlock(prepared.firm, prepared.address, prepared.logo))
    return Cover(blocks)


def review_sentence(reviews: ReviewCount) -> str:
    """Return how many levels of the period are approved, rejected, on hold and provisional."""
    if not reviews.total:
        return "no level in the period"
    parts = [f"{reviews.approved} of {reviews.total} levels approved"]
    parts.extend(
        f"{count} {word}"
        for count, word in (
            (reviews.provisional, "provisional"),
            (reviews.on_hold, "on hold"),
            (reviews.rejected, "rejected"),
        )
        if count
    )
    return ", ".join(parts)


def _gauging(view: ReportView) -> str:
    if not view.in_period:
        return "no level in the period"
    parts = []
    for gauging in view.in_period:
        days = f"{gauging.first}" if gauging.first == gauging.last else f"{gauging.first} to {gauging.last}"
        parts.append(f"{gauging.code}, {days}" if gauging.code else f"levels from {days}, of no round")
    return "; ".join(parts)
