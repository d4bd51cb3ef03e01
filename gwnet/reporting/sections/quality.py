"""Data quality: findings of the checks, corrections since the last report, tape checks in force."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pandas as pd

from gwnet.reporting.content import Block, Cell, Column, Heading, Paragraph, Table, number_text
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.measures import LONG_UNITS, date_of, moment_text, stamp_text
from gwnet.reporting.registry import register_section
from gwnet.reporting.results.conditions import CARE, condition_words, conditions_of_view
from gwnet.reporting.results.findings import levels_held_back, period_findings
from gwnet.reporting.sections.common import NOT_ON_RECORD, length_cell, length_column, text_cell, text_of
from gwnet.reporting.view import ReportView
from gwnet.units import shared_display_unit


@register_section(
    "data_quality",
    "Data quality",
    "findings of the checks, conditions of wells, corrections to the record, and tape checks in force",
    place=200,
)
def compose_data_quality(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section on data quality."""
    blocks: list[Block] = [
        Heading("Findings of the checks"),
        _findings(view),
        *_held_back(view),
        *_of_wells(view),
        Heading("Corrections to the record"),
        _corrections(view),
        Heading("Tape checks in force"),
        _tape_checks(view),
    ]
    return blocks


def _findings(view: ReportView) -> Block:
    found = period_findings(view)
    if not found:
        return Paragraph("The checks noticed nothing in the levels of this period.")
    columns = (Column("Well"), Column("Measured at"), Column("What was noticed"))
    same: dict[tuple[str, str], list[str]] = {}
    for well, at, message in found:
        same.setdefault((moment_text(at), message), []).append(well)
    rows = tuple((Cell(", ".join(wells)), Cell(at), Cell(message)) for (at, message), wells in same.items())
    caption = "What the checks noticed in the levels of this period."
    # the checks write lengths in feet for a site in feet, else in metres
    recorded = shared_display_unit([view.data.site.length_unit])
    is_other = recorded != view.measures.unit
    notes = (f"Lengths in findings are quoted as recorded, in {LONG_UNITS[recorded]}.",) if is_other else ()
    return Table("findings", caption, columns, rows, notes, compared=False)


def _held_back(view: ReportView) -> list[Block]:
    """Return the levels that a serious finding keeps out of every result, of the period and older."""
    held = levels_held_back(view)
    if held.empty:
        return []
    columns = (
        Column("Well"),
        Column("Measured at"),
        length_column("Water elevation", view.measures),
        Column("Why it is left out"),
        Column("Remarks"),
    )
    rows = tuple(
        (
            Cell(str(row["well"])),
            Cell(moment_text(str(row["measured_at"]))),
            length_cell(row["water_elevation_m"], view.measures),
            Cell(str(row["unusable_reason"])),
            text_cell(row["notes"], "no remarks"),
        )
        for row in held.to_dict("records")
    )
    caption = (
        "Levels with an open serious finding. They enter no extreme, season, trend, gradient, change or map until "
        "somebody dismisses the finding or corrects the level."
    )
    return [Table("held-back", caption, columns, rows, identified_by=2)]


def _of_wells(view: ReportView) -> list[Block]:
    """Return what a crew or a reader of levels has to know of the wells at the end of the period."""
    rows = tuple(
        (Cell(f"{kind[0].upper()}{kind[1:]}"), Cell(condition_words(view, found)), Cell(CARE[kind]))
        for kind, found in conditions_of_view(view).items()
    )
    if not rows:
        return []
    caption = "Conditions of wells and tapes at the end of the period, from the record, and what follows from them."
    columns = (Column("Condition"), Column("Where, and what it rests on"), Column("What follows"))
    table = Table("conditions", caption, columns, rows, compared=False, captioned=False)
    return [Heading("Conditions of wells and tapes"), table]


def _corrections(view: ReportView) -> Block:
    since = view.data.corrected_since_utc
    when = f"since {stamp_text(since, view.data.site.time_zone)}" if since else f"since {view.period.first}"
    wells = {*view.wells["well"], ""}
    rows = [row for row in view.data.corrections.to_dict("records") if text_of(row["well"]) in wells]
    if not rows:
        return Paragraph(f"No row of the record was corrected or withdrawn {when}.")
    columns = (
        Column("Recorded"),
        Column("By"),
        Column("Subject"),
        Column("Well"),
        Column("What changed"),
        Column("Reason"),
    )
    # A row an act: columns that were corrected together have one reason.
    acts: dict[tuple[str, ...], list[str]] = {}
    for row in rows:
        name, key = _item(text_of(row["item"]))
        texts = (text_of(row[column]) for column in ("recorded_by", "subject", "well", "reason"))
        act = (stamp_text(row["recorded_at_utc"], view.data.site.time_zone), *texts, key)
        acts.setdefault(act, []).append(_change(name, text_of(row["was"]), text_of(row["now"])))
    cells = tuple(
        (
            Cell(moment),
            text_cell(by),
            text_cell(subject),
            text_cell(well, "concerns no single well"),
            Cell(f"{key}: {'; '.join(changes)}" if key else "; ".join(changes)),
            text_cell(reason, "no reason given"),
        )
        for (moment, by, subject, well, reason, key), changes in acts.items()
    )
    caption = f"Rows of the record corrected or withdrawn {when}."
    return Table("corrections", caption, columns, cells, compared=False)


def _item(text: str) -> tuple[str, str]:
    """Split ``elevation (main, 2018-01-15)`` into what changed and the row that holds it."""
    match = re.fullmatch(r"([^()]+) \((.+)\)", text)
    return (match[1], match[2]) if match else (text, "")


def _change(item: str, was: str, now: str) -> str:
    if not now:
        return f"{item or 'row'} {was} withdrawn" if was else f"{item or 'row'} withdrawn"
    return f"{item} from {was} to {now}" if was and was != "nothing" else f"{item} “{now}” added"


def _tape_checks(view: ReportView) -> Block:
    checks = _in_force(view)
    if checks.empty:
        return Paragraph("No tape check is on record for the instruments of this period; no correction was applied.")
    measures = view.measures
    # Corrections of tapes are millimetres: in metres most would be zeros with a digit at the end.
    unit = "mm" if measures.unit == "m" else "ft"
    scale, decimals = (1000.0, 0) if unit == "mm" else (1.0, 2)
    columns = (Column("Tape"), Column("Checked on"), Column("By"), Column("Correction at each reading", unit))
    rows = []
    for (tape, checked_on), own in checks.groupby(["instrument", "checked_on"], sort=True):
        day = date_of(checked_on)
        steps = []
        for row in own.to_dict("records"):
            correction = measures.length(float(row["reference_reading_m"]) - float(row["tape_reading_m"])) * scale
            reading = measures.text(float(row["tape_reading_m"]), decimals=2)
            steps.append(f"{number_text(correction, decimals, signed=True)} at {reading}")
        by = ", ".join(dict.fromkeys(text_of(name) for name in own["checked_by"] if text_of(name)))
        rows.append(
            (
                Cell(str(tape)),
                Cell(day.isoformat()) if day else Cell(None, NOT_ON_RECORD),
                text_cell(by),
                Cell("; ".join(steps)),
            )
        )
    caption = (
        "Last check of each tape used in the period against a reference tape; the correction is added to readings."
    )
    return Table("tape-checks", caption, columns, tuple(rows), identified_by=2, dense=True)


def _in_force(view: ReportView) -> pd.DataFrame:
    """Return the rows of the last check of each instrument of the period, made before the period's end."""
    checks = view.data.tape_checks
    used: set[str] = set()
    for gauging in view.in_period:
        used.update(text_of(value) for value in gauging.events["instrument"])
    days = [date_of(value) for value in checks["checked_on"]]
    checks = checks.assign(day=days)
    early = [day is not None and day <= view.period.last for day in days]
    # As a series of flags: an empty list would choose no columns and not no rows.
    checks = checks[pd.Series(early, index=checks.index, dtype=bool) & checks["instrument"].isin(used)]
    if checks.empty:
        return checks
    newest = checks.groupby("instrument")["day"].transform("max")
    return checks[checks["day"] == newest].sort_values(["instrument", "tape_reading_m"], kind="stable")
