"""What ``gwnet logger try`` prints."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from gwnet.cli import output
from gwnet.plain_text import without_control_signs as safe

if TYPE_CHECKING:
    from gwnet.ingest.loggers.trial import Trial

#: Gaps, and odd rows of each kind, that are printed.
_GAPS = 10
_ODD = 5


def show(trial: Trial, form: str) -> None:
    """Print what a file would give.

    Parameters
    ----------
    trial : gwnet.ingest.loggers.trial.Trial
        What was read.
    form : {"table", "csv", "json"}
        For table everything, as lines; otherwise the first and last rows, and the rest as messages.
    """
    # Other forms are for programs, which read rows alone on standard output.
    say = click.echo if form == "table" else output.say
    for line in _inferred(trial):
        say(safe(line))
    if form == "table":
        click.echo()
    output.rows(trial.rows_frame(), form, empty="No rows.")
    if form == "table":
        click.echo()
    for line in (*_summary(trial), *_gaps(trial), *_odd(trial)):
        say(safe(line))


def _inferred(trial: Trial) -> list[str]:
    if trial.proposal is None:
        lines = [f"{trial.file}, read with the layout {trial.layout.name}"]
    else:
        lines = [f"{trial.file}, read with a layout that looking at it proposes:"]
        lines += [f"  {reason}" for reason in trial.proposal.reasons]
        lines += [f"  check: {doubt}" for doubt in trial.proposal.doubts]
    return lines + [f"  {note}" for note in trial.notes]


def _summary(trial: Trial) -> list[str]:
    titles = [f"title {trial.title}" if trial.title else "", f"serial number {trial.serial}" if trial.serial else ""]
    lines = ["; ".join(part for part in titles if part)]
    columns = ", ".join(
        f"{column.quantity} [{column.unit}]" + (f" ({missing:,} without a value)" if missing else "")
        for column, missing in zip(trial.columns, trial.missing, strict=True)
    )
    lines.append(f"{trial.rows:,} rows of {columns}")
    if trial.rows:
        first, last = trial.local_span()
        zone = "its own offset at each time" if trial.zone == "in each stamp" else trial.zone
        lines.append(f"local {first} to {last} ({zone})")
        lines.append(f"UTC   {trial.utc_text(trial.first_utc)} to {trial.utc_text(trial.last_utc)}")
    # NaN, of a file of one row, is not itself.
    step = f"every {_span(trial.step_s)}" if trial.step_s == trial.step_s else ""
    order = [f"{trial.duplicates:,} repeated times" if trial.duplicates else ""]
    order.append(f"{trial.backward:,} steps backward" if trial.backward else "")
    order.append(f"{trial.gap_count:,} gap{'s' * (trial.gap_count != 1)}" if trial.rows else "")
    lines.append("; ".join(part for part in (step, *order) if part))
    return [line for line in lines if line]


def _span(seconds: float) -> str:
    for word, size in (("d", 86_400.0), ("h", 3_600.0), ("min", 60.0)):
        if seconds >= size and seconds % size == 0:
            return f"{seconds / size:g} {word}"
    return f"{seconds:g} s"


def _gaps(trial: Trial) -> list[str]:
    lines = [
        f"  gap after {gap.after_utc} until {gap.before_utc}: {gap.hours:.1f} h, {gap.lacking:,} samples lacking"
        for gap in trial.gaps.head(_GAPS).itertuples()
    ]
    more = trial.gap_count - len(lines)
    return lines + ([f"  and {more:,} more gaps"] if more > 0 else [])


def _odd(trial: Trial) -> list[str]:
    lines: list[str] = []
    # What a load would refuse comes first.
    for kind, count in sorted(trial.odd_counts.items(), key=lambda row: (row[0] != "bad", row[0])):
        lines.append(f"{count:,} row{'s' * (count != 1)}: {_KINDS.get(kind, kind)}")
        shown = [row for row in trial.odd if row.kind == kind][:_ODD]
        lines += [f"  row {row.row}: {row.why}" for row in shown]
    return lines


_KINDS = {
    "bad": "cannot be read; a load would refuse the file",
    "event": "an event and no value; passed over",
    "remark": "a sample beside which an event is noted; kept",
    "no value": "a time without any value",
    "missing": "some value missing",
    "heading": "the headings once more; passed over",
    "other": "of another well or instrument; passed over",
    "cut": "without its line end, and its last value may have been longer; passed over",
    "footer": "the end of the table",
    "comment": "a comment; passed over",
}
