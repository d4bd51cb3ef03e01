"""What ``gwnet review`` prints: what waits, and what a decision changed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import output
from gwnet.cli.cells import NOTHING

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.analysis.review.decide import Changed
    from gwnet.analysis.review.queue import ReviewQueue
    from gwnet.records import Selection


def selection(
    *,
    round: str | None,
    wells: Sequence[str],
    site: str | None,
    start: dt.date | None,
    end: dt.date | None,
    events: Sequence[int],
) -> Selection:
    """Return which levels the options mean."""
    from gwnet.records import Selection

    return Selection.of(wells, round=round, start=start, end=end, events=events, site=site)


def queue(waiting: ReviewQueue, what: str | None, form: str, unit: str, *, restricted: bool) -> None:
    """Print what waits.

    Parameters
    ----------
    waiting : gwnet.analysis.review.queue.ReviewQueue
        What waits.
    what : {"rounds", "levels", "findings"} or None
        Only this list; all that help, unless given.
    form : {"table", "csv", "json"}
        As `gwnet.cli.output.rows`.
    unit : {"m", "ft"}
        Unit of depths and elevations.
    restricted : bool
        Whether options restrict the levels; then they are listed, otherwise their rounds are counted.
    """
    from gwnet.analysis.levels.display_unit import in_unit

    # By round first: of hundreds of levels one sees the work; who names wells wants the levels themselves.
    lists = {"rounds": waiting.rounds, "levels": in_unit(waiting.levels, unit), "findings": waiting.findings}
    first = "levels" if restricted else "rounds"
    if what is not None or form != "table":
        output.rows(lists[what or first], form, empty="Nothing waits for review.")
        return
    if waiting.levels.empty and waiting.findings.empty:
        output.say("Nothing waits for review.")
        return
    headings = {"rounds": "Levels that wait, by round", "levels": "Levels that wait"}
    for name, heading in ((first, headings[first]), ("findings", "Findings that nobody has decided")):
        if len(lists[name]):
            click.echo(f"{heading}\n")
            output.rows(lists[name].replace({"round": {"": NOTHING}}), form)
            click.echo()


def changed(done: Changed, form: str) -> None:
    """Print what a decision changed, and say what was passed over."""
    output.rows(done.changed, form, empty="Nothing changed.")
    if done.unchanged:
        output.say(f"{done.unchanged} {'was' if done.unchanged == 1 else 'were'} {done.state} already.")
    output.say_some(
        [
            f"passed over: {row.site} {row.well} {row.measured_at}, {row.review}: {row.why}"
            for row in done.passed_over.itertuples()
        ]
    )


def describe_history(table: pd.DataFrame, zone: str) -> list[tuple[str, str]]:
    """Return the history of a well as headings (when, by whom, why) and lines below them.

    Parameters
    ----------
    table : pandas.DataFrame
        Rows of `gwnet.analysis.review.history.well_history`.
    zone : str
        Zone of the times.
    """
    from gwnet.clock import moment_text

    lines = []
    for row in table.itertuples():
        heading = f"{moment_text(row.recorded_at_utc, zone)}, {row.recorded_by}"
        heading += f": {row.reason}" if row.reason else ""
        lines.append((heading, _line(row)))
    return lines


def _line(row: Any) -> str:
    subject = f"{row.subject} {row.item}".strip()
    if row.act == "withdrawn" or not (row.was or row.now):
        said = ""
    elif row.was and row.now:
        said = f": {row.was} → {row.now}"
    else:
        said = f": {row.now}" if row.now else f" (was {row.was})"
    source = f"  [{row.source}]" if row.source else ""
    return f"{subject} {row.act}{said}{source}"


def drop_idle_columns(table: pd.DataFrame) -> pd.DataFrame:
    """Return effects without the columns that tell nothing: parts that are zero, states that did not change."""
    idle = [name for name in table.columns if name.startswith("by_") and not table[name].fillna(0).any()]
    for name in ("bound", "status"):
        if (table[f"{name}_before"] == table[f"{name}_after"]).all():
            idle += [f"{name}_before", f"{name}_after"]
    if (table["access"] == "main").all():
        idle.append("access")
    return table.drop(columns=idle)
