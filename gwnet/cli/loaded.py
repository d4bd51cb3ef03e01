"""What ``gwnet load`` prints: what happened to each file, and each rejection with its place and mend."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from gwnet.cli import output
from gwnet.errors import FileRejectedError
from gwnet.plain_text import without_control_signs as safe

if TYPE_CHECKING:
    from gwnet.ingest.load import FileResult, LoadResult
    from gwnet.records import Rejection

#: Columns of the rejections as data.
REJECTION_COLUMNS = ("file", "row", "column", "value", "problem", "message", "mend", "table")

_COUNTS = ("added", "unchanged", "corrected", "withdrawn", "rejected")


@contextmanager
def rejections_shown(form: str) -> Iterator[None]:
    """Print the rejections of a load that was stopped by them, and let it stop."""
    try:
        yield
    except FileRejectedError as error:
        rejections(error.rejections, form)
        raise


def show(result: LoadResult, form: str) -> None:
    """Print what a load did.

    Parameters
    ----------
    result : gwnet.ingest.load.LoadResult
        Result of the load.
    form : {"table", "csv", "json"}
        For table the files go to standard output and the rejections to standard error; otherwise the rejections go to
        standard output and the files to standard error.
    """
    for done in result.files:
        click.echo(safe(_line(done)), err=form != "table")
        for warning in done.warnings:
            output.say(f"{done.file}: {warning}")
    rejections(result.rejections, form)
    output.made(result.rejected_files)
    if result.dry_run:
        output.say("Dry run: nothing was written.")
    elif not result.written:
        output.say("Nothing changed.")


def rejections(found: Sequence[Rejection], form: str) -> None:
    """Print rejections: the first ones as messages, or all of them as data."""
    if form == "table":
        output.some([_problem(rejection) for rejection in found])
        return
    import pandas as pd

    table = pd.DataFrame([asdict(rejection) for rejection in found], columns=list(REJECTION_COLUMNS))
    output.rows(table.astype({"row": "Int64"}), form)


def _problem(rejection: Rejection) -> str:
    """Return a rejection as one line: place, problem, mend."""
    return " ".join(f"{rejection.place()}: {rejection.message} — {rejection.mend}".rstrip(" —").splitlines())


def _line(done: FileResult) -> str:
    """Return what happened to a file as one line."""
    if not done.table:
        return f"{done.file}: {done.note}"
    counts = [f"{getattr(done, name):,} {name}" for name in _COUNTS if getattr(done, name)]
    said = [f"{done.rows:,} row{'' if done.rows == 1 else 's'}", *counts] if done.rows else []
    return f"{done.file}: {done.table}: {', '.join([*said, *([done.note] if done.note else [])])}"
