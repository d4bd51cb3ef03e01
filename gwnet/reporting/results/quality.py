"""What the record itself is worth: loggers, reviews, findings, levels held back, corrections."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import pandas as pd

from gwnet.reporting.definition.period import date_text
from gwnet.reporting.errata import is_of_words
from gwnet.reporting.measures import joined, local_day, stamp_text
from gwnet.reporting.results.conditions import condition_sentence
from gwnet.reporting.results.findings import levels_held_back, open_findings_printed, period_findings
from gwnet.reporting.results.result import Result, counted, is_or_are
from gwnet.reporting.results.tapes import unchecked_tapes
from gwnet.reporting.view import ReportView, ReviewCount

LOGGERS: Final = "loggers"
QUALITY: Final = "quality"
CORRECTIONS: Final = "corrections"


def logger_results(view: ReportView) -> list[Result]:
    """Return what loggers recorded and how far; none where the report has no section on them.

    Parameters as `gwnet.reporting`.
    """
    table = view.data.extras.frame("loggers")
    table = table[table["well"].isin(view.wells["well"])] if len(table) else table
    if table.empty:
        return []
    end = view.period.last
    by_well: dict[str, dt.date] = {}
    for well, moment in zip(table["well"], table["last_utc"], strict=True):
        day = local_day(moment, view.data.site.time_zone)
        if day is not None:
            # Not after the period, though the record may go on: made later, the report says the same.
            by_well[str(well)] = max(min(day, end), by_well.get(str(well), dt.date.min))
    number = counted(table["well"].nunique(), "well")
    if not by_well:
        return [Result(LOGGERS, f"No sample is on record of the loggers of {number}.")]
    newest = max(by_well.values())
    lead = f"Loggers of {number} are on record, with samples up to {date_text(newest)}."
    ended = sorted(well for well, day in by_well.items() if day < newest)
    waits = sorted({str(row["well"]) for row in table.to_dict("records") if row["warnings"]})
    parts = []
    if ended:
        parts.append(f"{joined(ended)} {'ends' if len(ended) == 1 else 'end'} earlier.")
    if waits:
        parts.append(f"Findings wait for a decision at {joined(waits)}.")
    return [Result(LOGGERS, lead, " ".join(parts))]


def quality_result(view: ReportView) -> Result:
    """Return the state of review, and what the checks noticed.

    Parameters as `gwnet.reporting`.
    """
    found = period_findings(view)
    wells = sorted({well for well, *_ in found})
    parts = []
    if found:
        parts.append(f"The checks noticed {counted(len(found), 'finding')} of the period at {joined(wells)}.")
    else:
        parts.append("The checks noticed nothing in the levels of this period.")
    held = levels_held_back(view)
    if len(held):
        names = sorted({str(well) for well in held["well"]})
        parts.append(
            f"{counted(len(held), 'level')} of the whole record {is_or_are(len(held))} left out of every result: "
            f"a serious finding is open ({joined(names)})."
        )
    older = len(open_findings_printed(view))
    if older:
        parts.append(f"{counted(older, 'finding')} of the levels printed {is_or_are(older)} open.")
    if tapes := unchecked_tapes(view):
        parts.append(tapes)
    if conditions := condition_sentence(view):
        parts.append(conditions)
    sentence = review_sentence(view.reviews)
    return Result(QUALITY, f"{sentence[0].upper()}{sentence[1:]}.", " ".join(parts))


def review_sentence(reviews: ReviewCount) -> str:
    """Return how many levels of the period are approved, rejected, on hold and provisional."""
    if not reviews.total:
        return "no level in the period"
    parts = [f"{reviews.approved} of {counted(reviews.total, 'level')} approved"]
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


def correction_results(view: ReportView) -> list[Result]:
    """Return what was corrected since the last issue, or since the period began; none where nothing was.

    Parameters as `gwnet.reporting`.
    """
    wells = {*view.wells["well"], ""}
    rows = view.data.corrections
    rows = rows[rows["well"].fillna("").astype(str).isin(wells)]
    changed = sum(len(issue.changes) for issue in view.data.earlier)
    if rows.empty and not changed:
        return []
    since = view.data.corrected_since_utc
    when = (
        f"Since the last issue ({stamp_text(since, view.data.site.time_zone)})" if since else "Since the period began"
    )
    # One act of recording may correct several items of a well; it is one correction to a reader.
    acts = rows.fillna("").groupby(["recorded_at_utc", "recorded_by", "subject", "well", "reason"], sort=False)
    number = acts.ngroups
    lead = f"{when}, {counted(number, 'correction')} {'was' if number == 1 else 'were'} recorded."
    items = tuple(_act(key, group) for key, group in acts)
    text = ""
    if view.data.earlier:
        count = counted(changed, "printed value") if changed else "No printed value"
        text = f"{count} of earlier issues {'has' if changed < 2 else 'have'} changed."
    return [Result(CORRECTIONS, lead, text, items[:_MOST])]


#: Most corrections that are named one by one.
_MOST: Final = 4


def _act(key: tuple[object, ...], group: pd.DataFrame) -> str:
    _, by, subject, well, reason = (str(part) for part in key)
    what = "; ".join(_change(row) for row in group.to_dict("records") if not is_of_words(str(row["item"])))
    why = f": {reason.rstrip('.')}" if reason else ""
    return f"{well or 'No single well'}, {subject}: {what or 'remarks'} (by {by}){why}."


def _change(row: dict[str, Any]) -> str:
    if not row["now"]:
        return f"{row['item']} withdrawn"
    name = str(row["item"]).partition(" (")[0]
    return f"{name} from {row['was']} to {row['now']}" if row["was"] else f"{name} {row['now']} added"
