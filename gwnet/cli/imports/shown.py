"""What ``gwnet import`` prints: what each column is made of, what is unused and missing, points that change."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import click

from gwnet.cli import loaded, output
from gwnet.plain_text import without_control_signs as safe

if TYPE_CHECKING:
    from gwnet.ingest.mapping.apply import Applied
    from gwnet.ingest.mapping.point_rows import PointChange
    from gwnet.ingest.mapping.trial import Trial

#: Changes of measuring points that are printed.
_MOST_CHANGES = 40


def show_trial(trial: Trial, form: str) -> None:
    """Print what files would give.

    Parameters
    ----------
    trial : gwnet.ingest.mapping.trial.Trial
        What was looked at.
    form : {"table", "csv", "json"}
        For table everything; otherwise the columns, and the rest as messages.
    """
    # With csv and json standard output holds the rows alone; all else goes beside it.
    say = click.echo if form == "table" else output.say
    if trial.proposal is not None:
        say("Read with a mapping that looking proposes:")
        for reason in trial.proposal.reasons:
            say(safe(f"  {reason}"))
    _columns(trial.columns, form)
    _lists(trial.applied, form)
    loaded.rejections(trial.rejections, "table")
    for name in trial.missing:
        say(safe(f"missing: {name}"))
    for check in trial.checks:
        say(safe(f"check: {check}"))
    if trial.rejections:
        rows = len({(rejection.file, rejection.row) for rejection in trial.rejections})
        say("1 row cannot be read." if rows == 1 else f"{rows:,} rows cannot be read.")
    if trial.proposal is not None and not trial.checks and not trial.missing:
        say("Nothing is open: the mapping can be used.")


def show_applied(applied: Applied, form: str, *, whole: bool) -> None:
    """Print what a mapping made of files.

    Parameters
    ----------
    applied : gwnet.ingest.mapping.apply.Applied
        What it made.
    form : {"table", "csv", "json"}
        How rows are printed.
    whole : bool
        Whether the columns with their first values are wanted, too.
    """
    if whole and form == "table":
        from gwnet.ingest.mapping.trial import show_columns

        _columns(show_columns(applied), form)
    _lists(applied, "messages", whole=whole)


def _columns(columns: object, form: str) -> None:
    import pandas as pd

    assert isinstance(columns, pd.DataFrame)
    table = columns
    if form == "table":
        click.echo()
        table = table.drop(columns="file") if table["file"].nunique() == 1 else table
    output.rows(table, form, empty="No columns.")
    if form == "table":
        click.echo()


def _lists(applied: Applied, form: str, *, whole: bool = True) -> None:
    say = click.echo if form == "table" else output.say
    for file, headings in applied.unused.items():
        if headings:
            say(safe(f"unused in {file}: {', '.join(headings)}"))
    for remark in dict.fromkeys(remark for table in applied.tables for remark in table.remarks):
        say(safe(remark))
    changes = [change for table in applied.tables for change in table.changes]
    if changes and whole:
        _changes(changes, say)


def _changes(changes: list[PointChange], say: Callable[[str], None]) -> None:
    """Print the measuring points at which an elevation or height changes."""
    moved = [change for change in changes if change.was]
    points = "1 measuring point" if len(changes) == 1 else f"{len(changes):,} measuring points"
    say(f"{points}; elevation or height changes {'once' if len(moved) == 1 else f'{len(moved):,} times'}")
    for change in moved[:_MOST_CHANGES]:
        what = f"{change.was} to {change.elevation} {change.unit}".rstrip()
        say(safe(f"  {change.well} on {change.valid_from}: {what}, {change.readings:,} readings, line {change.row}"))
    if len(moved) > _MOST_CHANGES:
        say(f"  and {len(moved) - _MOST_CHANGES:,} more")
