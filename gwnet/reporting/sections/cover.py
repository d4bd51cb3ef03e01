"""The cover: who, where, when, in what state, and the cautions."""

from __future__ import annotations

from gwnet.reporting.content import Block, Caution, Cover, Facts, FirmBlock
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.definition.wording import wording_items
from gwnet.reporting.errata import EarlierIssue
from gwnet.reporting.measures import local_day, state_text
from gwnet.reporting.results.quality import review_sentence
from gwnet.reporting.view import ReportView

_OPEN = "to be filled in"


def cover(view: ReportView) -> Cover:
    """Return the cover of a report."""
    site, prepared = view.data.site, view.definition.prepared
    unit = {"m": "metres", "ft": "feet (0.3048 m)"}[view.measures.unit]
    pairs = (
        ("Site", f"{site.name} ({site.code})" if site.name and site.name != site.code else site.code),
        ("Period", f"{view.period.title()}{not_over(view)}"),
        *_issue(view),
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


def _gauging(view: ReportView) -> str:
    if not view.in_period:
        return "no level in the period"
    parts = []
    for gauging in view.in_period:
        days = f"{gauging.first}" if gauging.first == gauging.last else f"{gauging.first} to {gauging.last}"
        parts.append(f"{gauging.code}, {days}" if gauging.code else f"levels from {days}, of no round")
    return "; ".join(parts)


def not_over(view: ReportView) -> str:
    """Return that a period is not over when the record closes, to follow its name; empty where it is."""
    closes = local_day(view.data.known_on.recorded_at_utc, view.data.site.time_zone)
    if closes is None or closes > view.period.last:
        return ""
    return f"; the record closes on {date_text(closes)}: the period is not over"


def _issue(view: ReportView) -> tuple[tuple[str, str], ...]:
    """Return the issue of a report, which one it replaces, and the remark on it; nothing of a draft without any."""
    facts = view.data.issue
    before = next((issue for issue in view.data.earlier if issue.period == view.period.label), None)
    if facts is None:
        if before is None:
            return ()
        return (("Issue", f"draft, not issued; issue {before.number} of {_issued_on(view, before)} is on record"),)
    if before is None:
        text = f"issue {facts.revision} of this report, replaces none"
    else:
        text = f"issue {facts.revision} of this report, replaces issue {before.number} of {_issued_on(view, before)}"
    return (("Issue", f"{text}; {facts.remark}" if facts.remark else text),)


def _issued_on(view: ReportView, issue: EarlierIssue) -> str:
    day = local_day(issue.issued_at_utc, view.data.site.time_zone)
    return date_text(day) if day is not None else ""
