"""What ``gwnet load`` prints: what happened to each file, and each rejection with its place and fix."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import output
from gwnet.cli.reviewed import drop_idle_columns
from gwnet.errors import FileRejectedError
from gwnet.plain_text import without_control_signs as safe

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.ingest.tables.load import FileResult, LoadResult
    from gwnet.records import Rejection

#: Columns of the rejections as data.
REJECTION_COLUMNS = ("file", "row", "column", "value", "problem", "message", "fix", "table")

#: What can be printed as data.
LISTS = ("rejections", "changes", "levels")

#: Columns of the values that change, as data and on a terminal.
CHANGE_COLUMNS = ("table", "file", "row", "key", "column", "was", "now")

#: Most rows of a preview on a terminal.
_MOST_ROWS = 50

_COUNTS = ("added", "unchanged", "corrected", "withdrawn", "rejected")


@contextmanager
def rejections_shown(form: str) -> Iterator[None]:
    """Print the rejections of a load that was stopped by them, and let it stop."""
    try:
        yield
    except FileRejectedError as error:
        rejections(error.rejections, form)
        raise


def show(result: LoadResult, form: str, listed: str = "rejections", unit: str = "m") -> None:
    """Print what a load did.

    Parameters
    ----------
    result : gwnet.ingest.tables.load.LoadResult
        Result of the load.
    form : {"table", "csv", "json"}
        For table the files go to standard output and the rejections to standard error; otherwise the rejections go to
        standard output and the files to standard error.
    listed : {"rejections", "changes", "levels"}, optional
        What goes to standard output for csv and json.
    unit : {"m", "ft"}, optional
        Unit of the levels that would move.
    """
    for done in result.files:
        # With csv and json standard output is the list alone.
        click.echo(safe(_line(done)), err=form != "table")
        for warning in done.warnings:
            output.say(f"{done.file}: {warning}")
    if form == "table":
        rejections(result.rejections, form)
        _preview(result, unit)
    elif listed == "rejections":
        rejections(result.rejections, form)
    else:
        output.rows(_changes(result) if listed == "changes" else _moved(result, unit), form)
    if result.emptied:
        output.say(_emptied(result))
    output.say_written(result.rejected_files)
    if result.dry_run:
        output.say("Dry run: nothing was written.")
    elif not result.written:
        output.say("Nothing changed.")


def _emptied(result: LoadResult) -> str:
    """Return how many values on record become empty."""
    count = len(result.emptied)
    return "1 value becomes empty." if count == 1 else f"{count:,} values become empty."


def can_ask() -> bool:
    """Return whether a person sits at the terminal who can answer."""
    # Not standard output: rows may go to a file while a person answers.
    return sys.stdin.isatty() and sys.stderr.isatty()


def ask_whether_complete() -> Callable[[Rejection], bool]:
    """Return what asks whether a last line without its line end is complete, each line once.

    Returns
    -------
    callable
        Takes the rejection that it would be; without a terminal to ask on, the line is not taken as complete.
    """
    answers: dict[tuple[str, int | None], bool] = {}

    def ask(rejection: Rejection) -> bool:
        key = (rejection.file, rejection.row)
        if key not in answers:
            question = f"{rejection.place()}: {rejection.message} Is the line complete?"
            # A line that says how long the command is at work would be written over the question.
            with output.without_bars():
                # Nobody at the terminal means no: a cut line must not be taken for whole by a script.
                answers[key] = can_ask() and click.confirm(safe(question), default=False, err=True)
        return answers[key]

    return ask


def needs_preview(chosen: Mapping[str, Any]) -> bool:
    """Return whether a load with these options is looked at first, as it corrects and a person can answer."""
    return bool(chosen["correct"]) and not chosen["dry_run"] and can_ask()


def is_confirmed(preview: LoadResult) -> bool:
    """Show the values that would become empty, if any, and ask whether they shall; say so if nothing is written.

    Parameters
    ----------
    preview : gwnet.ingest.tables.load.LoadResult
        Result of the dry run of the load.

    Returns
    -------
    bool
        Whether the person said yes, or none becomes empty.
    """
    if not preview.emptied:
        return True
    output.say_some([f"{cell.table}, {cell.key}: {cell.column} is {cell.was} on record" for cell in preview.emptied])
    if click.confirm(f"{_emptied(preview)} Record the correction?", default=False, err=True):
        return True
    output.say("Nothing was written. A column that the file lacks keeps its values on record.")
    return False


def _changes(result: LoadResult) -> pd.DataFrame:
    """Return the values that change, one row a value."""
    import pandas as pd

    rows = [asdict(change) for done in result.files for change in done.changes]
    return pd.DataFrame(rows, columns=list(CHANGE_COLUMNS))


def _moved(result: LoadResult, unit: str) -> pd.DataFrame:
    """Return the levels that a dry run would move, with their lengths in a unit."""
    from gwnet.analysis.levels.display_unit import in_unit
    from gwnet.analysis.review.effects import EFFECT_COLUMNS

    if result.moved is not None:
        return in_unit(result.moved, unit)
    import pandas as pd

    return in_unit(pd.DataFrame(columns=[name for name in EFFECT_COLUMNS if name != "reason"], dtype=object), unit)


def _preview(result: LoadResult, unit: str) -> None:
    """Print what a dry run would change: values before and after, and the levels that would move."""
    if not result.dry_run:
        return
    changes, moved = _changes(result), _moved(result, unit)
    if len(changes):
        click.echo("\nWhat would change\n")
        _first_rows(changes.drop(columns="file" if changes["file"].nunique() == 1 else []), "changes")
    if len(moved):
        click.echo(f"\nLevels that would move: {_how_far(moved, unit)}\n")
        _first_rows(drop_idle_columns(moved), "levels")
    elif len(changes):
        click.echo("\nNo level would move.")


def _first_rows(table: pd.DataFrame, listed: str) -> None:
    """Print the first rows of a table, and how many more there are."""
    output.rows(table.head(_MOST_ROWS), "table")
    if len(table) > _MOST_ROWS:
        output.say(f"and {len(table) - _MOST_ROWS} more; --format csv --show {listed} prints them all.")


def _how_far(moved: pd.DataFrame, unit: str) -> str:
    """Return how many levels move, how many of them are approved, and how far the farthest."""
    approved = int((moved["review"] == "approved").sum())
    # Heads of loggers have no event; their rows are numbered below zero.
    loggers = int((moved["event_id"] < 0).sum())
    of_loggers = f"the heads of {loggers} logger{'' if loggers == 1 else 's'}"
    read = len(moved) - loggers
    said = [" and ".join(filter(None, (f"{read}" if read or not loggers else "", of_loggers if loggers else "")))]
    said += [f"{approved} of them approved"] if approved else []
    withdrawn = int((moved["cause"] == "withdrawn").sum())
    said += [f"{withdrawn} of them withdrawn"] if withdrawn else []
    farthest = moved[f"difference_{unit}"].abs().max()
    return ", ".join([*said, *([f"the farthest by {farthest:.3f} {unit}"] if farthest > 0 else [])])


def rejections(rejected: Sequence[Rejection], form: str) -> None:
    """Print rejections: the first ones as messages, or all of them as data."""
    if form == "table":
        output.say_some([_problem(rejection) for rejection in rejected])
        return
    import pandas as pd

    table = pd.DataFrame([asdict(rejection) for rejection in rejected], columns=list(REJECTION_COLUMNS))
    # A rejection of a whole file has no row; as floats the rows of the others would have decimals.
    output.rows(table.astype({"row": "Int64"}), form)


def _problem(rejection: Rejection) -> str:
    """Return a rejection as one line: place, problem, fix."""
    return " ".join(f"{rejection.place()}: {rejection.message} — {rejection.fix}".rstrip(" —").splitlines())


def _line(done: FileResult) -> str:
    """Return what happened to a file as one line."""
    if not done.table:
        return f"{done.file}: {done.note}"
    counts = [f"{getattr(done, name):,} {name}" for name in _COUNTS if getattr(done, name)]
    said = [f"{done.rows:,} row{'' if done.rows == 1 else 's'}", *counts] if done.rows else []
    return f"{done.file}: {done.table}: {', '.join([*said, *([done.note] if done.note else [])])}"
