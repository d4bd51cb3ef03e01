"""The cover: what was found, where the wells are, who, when, in what state, and the cautions."""

from __future__ import annotations

from collections.abc import Callable

from gwnet.figures.maps.key_map import KEY_LEFT_MM
from gwnet.reporting.content import Beside, Block, Cover, DrawnFigure, Facts, FigureSlot, FirmBlock, Paragraph, Results
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.definition.wording import wording_items
from gwnet.reporting.drawing import KEY_MAP_MM, TEXT_WIDTH_MM, Drawing, FigureFrame
from gwnet.reporting.errata import EarlierIssue
from gwnet.reporting.first_page import first_page_results
from gwnet.reporting.measures import local_day, state_text
from gwnet.reporting.results.quality import review_sentence
from gwnet.reporting.view import ReportView

_OPEN = "to be filled in"


def cover(view: ReportView, drawing: Drawing) -> Cover:
    """Return the cover of a report.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    drawing : Drawing
        Makes the key map.
    """
    prepared = view.definition.prepared
    blocks: list[Block] = [Paragraph(_when(view)), Results("Results", first_page_results(view))]
    blocks.append(_map(view, drawing))
    if prepared.logo or prepared.address:
        blocks.append(FirmBlock(prepared.firm, prepared.address, prepared.logo))
    return Cover(tuple(blocks))


def _when(view: ReportView) -> str:
    """Return when the levels were taken, and whether the record closes before the period is over."""
    return f"Gauging: {_gauging(view)}{not_over(view)}. State: {review_sentence(view.reviews)}."


def _map(view: ReportView, drawing: Drawing) -> Block:
    """Return the key map with the particulars of the report beside it."""
    site, prepared = view.data.site, view.definition.prepared
    cautions = " ".join(wording_items("cover_cautions", own=view.definition.wording))
    pairs = (
        *_issue(view),
        ("Prepared for", prepared.recipient or site.operator or _OPEN),
        ("Prepared by", ", ".join(part for part in (prepared.by, prepared.firm) if part) or _OPEN),
        ("Record as known on", state_text(view.data.known_on)),
        (
            "Heights, coordinates, times",
            f"{view.measures.unit} above {site.vertical_datum}; {site.crs}; {site.time_zone}",
        ),
        ("Read with care", cautions),
    )
    placed = view.wells[view.wells["easting"].notna() & view.wells["northing"].notna()]
    if placed.empty:
        return Facts((("Key map", "No well has coordinates on record."), *pairs))
    caption = f"Key map: {len(placed)} wells, coordinates in {site.crs}."
    unplaced = sorted(set(view.wells["well"]) - set(placed["well"]))
    if unplaced:
        caption += f" Without coordinates on record: {', '.join(unplaced)}."

    # Drawn when the height is known: the text of the page takes what it needs before the map.
    def resize(height_mm: float) -> Callable[[], bytes | DrawnFigure]:
        return lambda: drawing.key_map(view, FigureFrame(TEXT_WIDTH_MM, height_mm, view.measures.unit))

    figure = FigureSlot("key-map", caption, caption, resize(KEY_MAP_MM), captioned=False)
    return Beside(figure, pairs, KEY_LEFT_MM, drawing.key_height_mm(view) + 1.0, resize)


def _gauging(view: ReportView) -> str:
    if not view.in_period:
        return "no level in the period"
    parts = []
    for gauging in view.in_period:
        days = f"{gauging.first}" if gauging.first == gauging.last else f"{gauging.first} to {gauging.last}"
        parts.append(f"round {gauging.code}, {days}" if gauging.code else f"levels from {days}, of no round")
    return "; ".join(parts)


def not_over(view: ReportView) -> str:
    """Return that a period is not over when the record closes, to follow its name; empty where it is."""
    if view.closes_on > view.period.last:
        return ""
    return f"; the record closes on {date_text(view.closes_on)}: the period is not over"


def _issue(view: ReportView) -> tuple[tuple[str, str], ...]:
    """Return the issue of a report, which one it replaces, and the remark on it; nothing of a draft without any."""
    facts = view.data.issue
    # An issue of another period is not replaced by this one.
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
