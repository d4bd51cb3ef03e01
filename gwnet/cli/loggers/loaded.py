"""What ``gwnet logger load`` and ``withdraw`` print."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from gwnet.cli import output
from gwnet.plain_text import without_control_signs as safe

if TYPE_CHECKING:
    from gwnet.ingest.loggers.result import ConflictShown, LoggerFileResult, LoggersResult, SeriesResult
    from gwnet.ingest.loggers.withdraw import Withdrawn

_COUNTS = (
    ("added", "added"),
    ("same", "on record already"),
    ("repeated", "repeated in the file"),
    ("conflicts", "with another value than on record"),
    ("missing", "without a number"),
)


def show(result: LoggersResult, form: str) -> None:
    """Print what a load did.

    Parameters
    ----------
    result : gwnet.ingest.loggers.result.LoggersResult
        Result of the load.
    form : {"table", "csv", "json"}
        For table as lines; otherwise one row a file and series.
    """
    if form == "table":
        for file in result.files:
            for line in _lines(file):
                click.echo(safe(line))
    else:
        output.rows(result.frame(), form)
    for file in result.files:
        _say(file)
    if len(result.files) > 1 and result.refused:
        landed = sum(loaded.landed for loaded in result.files)
        output.say(f"{landed} of {len(result.files)} files landed, {len(result.refused)} refused; nothing of these.")


def _lines(file: LoggerFileResult) -> Iterator[str]:
    if file.error is not None:
        yield f"{file.file}: refused; nothing of it was stored"
    elif not file.landed:
        yield f"{file.file}: {'; '.join(file.notes)}"
    else:
        zone = "its own offset at each time" if file.zone == "in each stamp" else f"times in {file.zone}"
        yield f"{file.file}: {file.instrument}, layout {file.layout}, {zone}"
        for series in file.series:
            yield f"  {series.quantity} [{series.unit}]: {_describe_series(series)}"
        yield f"  {_rhythm(file)}"


def _describe_series(series: SeriesResult) -> str:
    counts = series.counts
    numbers = [
        # Nothing added is said too, as it is what a load is for.
        f"{getattr(counts, name):,} {word}"
        for name, word in _COUNTS
        if getattr(counts, name) or name == "added"
    ]
    segment = f" (segment {series.segment})" if series.segment > 1 else ""
    return f"{counts.rows:,} rows, {', '.join(numbers)}{segment}"


def _rhythm(file: LoggerFileResult) -> str:
    firsts = [series.counts.first_ms for series in file.series if series.counts.first_ms is not None]
    lasts = [series.counts.last_ms for series in file.series if series.counts.last_ms is not None]
    parts = [f"{_time(min(firsts))} to {_time(max(lasts))}"] if firsts else []
    rhythm = file.rhythm
    if rhythm.interval_s:
        parts.append(f"every {_span(rhythm.interval_s)}")
    gaps = "1 gap" if rhythm.gaps == 1 else f"{rhythm.gaps:,} gaps"
    parts.append(f"{gaps}, the longest {_span(rhythm.longest_gap_s)}" if rhythm.gaps else "no gap")
    if file.events:
        parts.append(f"{file.events:,} event row{'' if file.events == 1 else 's'} passed over")
    return "; ".join(parts)


def _time(time_ms: int) -> str:
    moment = dt.datetime.fromtimestamp(time_ms / 1000, dt.UTC)
    return f"{moment:%Y-%m-%d %H:%M}Z"


def _span(seconds: float) -> str:
    for unit, size in (("d", 86_400), ("h", 3_600), ("min", 60)):
        if seconds >= size:
            return f"{seconds / size:.4g} {unit}"
    return f"{seconds:.4g} s"


def _say(file: LoggerFileResult) -> None:
    """Say what should be looked at."""
    if file.error is not None:
        output.say(str(file.error))
        return
    if not file.landed:
        return
    for note in (*file.findings, *file.notes):
        output.say(f"{file.file}: {note}")
    if not file.deployed:
        output.say(f"{file.file}: no deployment of {file.instrument} is on record; load one for its samples to count.")
    # Without any deployment every row is outside, and one sentence says so.
    elif file.outside:
        rows = "1 row is of a time" if file.outside == 1 else f"{file.outside:,} rows are of times"
        output.say(f"{file.file}: {rows} when {file.instrument} was not installed.")
    if file.rhythm.backward:
        output.say(f"{file.file}: the time runs backward at {file.rhythm.backward:,} rows.")
    for conflict in file.conflicts:
        output.say(f"{file.file}, row {conflict.row}: {_differs(conflict)}")
    more = file.conflict_count - len(file.conflicts)
    if more > 0:
        output.say(f"{file.file}: and {more:,} more values that differ from those on record, which stay.")


def _differs(conflict: ConflictShown) -> str:
    return (
        f"{conflict.quantity} at {_time(conflict.time_ms)} is {conflict.given:g} {conflict.unit}; "
        f"on record is {conflict.stored:g}, which stays."
    )


def show_withdrawn(done: Withdrawn) -> None:
    """Print what a withdrawal did."""
    for download in done.downloads.itertuples():
        line = f"{download.file}: {download.instrument} {download.quantity}: {download.added:,} samples count no more"
        click.echo(safe(line))
    for file in done.stored_again:
        for series in file.series:
            if series.counts.added:
                line = f"  {series.counts.added:,} of {series.quantity} are taken from {file.file} now"
                click.echo(safe(line))
    for note in done.notes:
        output.say(note)
