"""What a command prints: rows to standard output, messages and progress to standard error."""

from __future__ import annotations

import csv
import json
import os
import shutil
import sys
import textwrap
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from gwnet.cli import STARTED, emphasis
from gwnet.cli.cells import csv_value
from gwnet.cli.tables import text_record, text_table
from gwnet.errors import OutputError
from gwnet.plain_text import file_value, hide_passwords
from gwnet.plain_text import without_control_signs as safe

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.analysis.levels.explain import Explanation

#: Key of a command's context under which the open record is kept.
RECORD: Final = "gwnet.record"


def is_quiet() -> bool:
    """Return whether messages were asked to be left out."""
    context = click.get_current_context(silent=True)
    return context is not None and bool(context.find_root().params.get("quiet"))


def say(text: str) -> None:
    """Print a message for the person at the terminal, unless it is to be quiet."""
    if not is_quiet():
        click.echo(safe(hide_passwords(text)), err=True)


def rows(
    table: pd.DataFrame,
    form: str,
    *,
    empty: str = "Nothing on record matches.",
    columns: Sequence[str] | None = None,
) -> None:
    """Print rows to standard output.

    Parameters
    ----------
    table : pandas.DataFrame
        Rows; the column names are the headings of CSV and the keys of JSON.
    form : {"table", "csv", "json"}
        As aligned text, CSV, or a JSON list of records, one a line.
    empty : str, optional
        Message where there are no rows.
    columns : sequence of str, optional
        Columns of the aligned text, in order of use, with their names in metres; all unless given. Files have all.
    """
    if columns is not None and form == "table":
        table = _chosen(table, columns)
    if table.empty and form == "table":
        say(empty)
    elif form == "table":
        _show(text_table(table, _terminal_width(), emphasis.chosen(), zone()))
    elif form == "csv":
        # Standard output makes of it what ends a line on the system.
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerow(table.columns)
        # Row by row: text of a million rows at once would take several times the memory of the frame.
        writer.writerows(_file_rows(table, csv_value))
    else:
        keys = [str(name) for name in table.columns]
        records = (dict(zip(keys, row, strict=True)) for row in _file_rows(table, file_value))
        # An error in place of NaN, which is no JSON; missing values are null by now.
        lines = (json.dumps(record, ensure_ascii=False, allow_nan=False) for record in records)
        click.echo("[\n" + ",\n".join(lines) + "\n]" if len(table) else "[]")


def _show(text: str) -> None:
    """Print a text; one longer than the terminal goes through its pager."""
    # Without a keyboard nobody could leave the pager.
    if sys.stdout.isatty() and sys.stdin.isatty() and text.count("\n") >= shutil.get_terminal_size().lines:
        os.environ.setdefault("LESS", "-RSFX")  # long lines are cut, to be scrolled sideways, and colours kept
        click.echo_via_pager(text)
    else:
        click.echo(text)


def _chosen(table: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """Return the columns of those names, in the unit that the table has; the site as well where there are several."""
    # Columns are named in metres by the commands; the table may be in feet.
    present = {name.replace("_ft", "_m") if "_ft" in name else name: name for name in map(str, table.columns)}
    several = "site" in present and table["site"].nunique() > 1
    return table[[present[name] for name in (*(["site"] if several else []), *columns) if name in present]]


def record(table: pd.DataFrame, form: str) -> None:
    """Print one row to standard output: as lines of name and value, or as `rows` does."""
    if form == "table":
        click.echo(text_record(table, _terminal_width(), zone()))
    else:
        rows(table, form)


def _file_rows(table: pd.DataFrame, made_plain: Callable[..., Any]) -> Iterator[list[Any]]:
    """Yield the rows of a table as plain values; numbers as they were recorded keep all their digits."""
    from gwnet.store.as_recorded import ENDING

    is_exact = [str(name).endswith(ENDING) for name in table.columns]
    for row in table.itertuples(index=False, name=None):
        yield [made_plain(value, is_exact=exact) for value, exact in zip(row, is_exact, strict=True)]


def _terminal_width() -> int | None:
    """Return the signs in a line where a person reads; None where a file or program does."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def zone() -> str:
    """Return the zone of printed times: that of the site which the command looks at, UTC where there is none."""
    context = click.get_current_context(silent=True)
    store = None if context is None else context.meta.get(RECORD)
    return "UTC" if store is None or store.looked_at is None else str(store.looked_at.zone)


def files(paths: Iterable[Path | str]) -> None:
    """Print the files that were made, one a line."""
    for path in paths:
        click.echo(safe(str(path)))


def grouped(lines: Iterable[tuple[str, str]]) -> None:
    """Print headings to standard output, each with the lines below it that follow one another."""
    above, width = None, _terminal_width()
    for heading, line in lines:
        if heading != above:
            click.echo(safe(heading))
        text = f"  {' '.join(safe(line).splitlines())}"
        click.echo(text if width is None else textwrap.fill(text, width, subsequent_indent=" " * 4))
        above = heading


def say_written(paths: Iterable[Path | str]) -> None:
    """Say which files were written, beside the rows that a command prints."""
    for path in paths:
        say(f"wrote {path}")


def write_new(path: Path, text: str, what: str) -> None:
    """Write a text to a file that is not there yet, and say so.

    Parameters
    ----------
    path : pathlib.Path
        Where to write; a file that is there already is not overwritten.
    text : str
        What to write.
    what : str
        What it is, for the message: ``layout``, ``mapping``.

    Raises
    ------
    OutputError
        If the file is there already or cannot be written.
    """
    try:
        # "x": that there is no such file is asked and answered in one step, so that nobody's work is overwritten.
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        message = "There is such a file already; it was not replaced."
        raise OutputError(message, where=str(path), fix="Give another name, or delete it.") from None
    except OSError as error:
        message = f"The {what} cannot be written: {error.strerror or error}."
        raise OutputError(message, where=str(path), fix="Check the folder.") from None
    say_written([path])


def explanations(explained: Sequence[Explanation], form: str) -> None:
    """Print explanations: as text with a blank line between, or one row a step.

    Parameters
    ----------
    explained : sequence of gwnet.analysis.levels.explain.Explanation
        Explanations in order.
    form : {"table", "csv", "json"}
        As `rows`.
    """
    if form == "table":
        click.echo("\n\n".join(_wrapped(safe(level.text()), level) for level in explained))
        return
    import pandas as pd

    steps = [(level.title, step.what, step.value, step.source) for level in explained for step in level.steps]
    rows(pd.DataFrame(steps, columns=["level", "step", "value", "source"]), form)


def _wrapped(text: str, explanation: Explanation) -> str:
    """Wrap the long lines of an explanation to the terminal, under the column of their values."""
    width = _terminal_width()
    if width is None:
        return text
    indent = " " * min(4 + max(len(step.what) for step in explanation.steps), width // 2)
    lines = (textwrap.wrap(line, width, subsequent_indent=indent, drop_whitespace=True) for line in text.splitlines())
    return "\n".join("\n".join(line) for line in lines)


def say_some(lines: Sequence[str], most: int = 50) -> None:
    """Print the first lines of a list of problems as messages, and how many more there are."""
    for line in lines[:most]:
        say(line)
    if len(lines) > most:
        say(f"and {len(lines) - most} more; --format csv or json prints them all.")


#: Seconds after which a command says that it is at work. Project default.
_PATIENCE_S: Final = 2.0
_CLEARED: Final = "\r" + " " * 60 + "\r"


class _Bars:
    """How many commands show how far they are on this terminal, or wait for an answer."""

    count = 0
    #: Whether the line of the terminal says that a command is at work.
    says_at_work = False


@contextmanager
def without_bars() -> Iterator[None]:
    """Let nobody say that a command is at work, for example while a person is asked."""
    _Bars.count += 1
    try:
        yield
    finally:
        _Bars.count -= 1


@contextmanager
def working() -> Iterator[None]:
    """Say on a terminal how long a command has been at work, while no progress is shown.

    It is said from the third second on since the program was started, whatever the seconds went by with.
    """
    context = click.get_current_context(silent=True)
    if context is None or is_quiet() or not sys.stderr.isatty():
        yield
        return
    name, done = context.command_path, threading.Event()
    started = context.meta.get(STARTED, time.monotonic())

    def show() -> None:
        shown = False
        wait = max(_PATIENCE_S - (time.monotonic() - started), 0.0)
        while not done.wait(wait):
            if not _Bars.count:
                click.echo(f"\r{name} is at work, {time.monotonic() - started:.0f} s", nl=False, err=True)
                _Bars.says_at_work = True
            shown = True
            wait = 1.0
        if shown:
            click.echo(_CLEARED, nl=False, err=True)
            _Bars.says_at_work = False

    # A daemon: it must not keep the program alive when it ends by an error.
    thread = threading.Thread(target=show, daemon=True)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()


@contextmanager
def progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """Show how far a long command is, on a terminal only.

    Parameters
    ----------
    what : str
        What is being done, for example ``loading``.

    Yields
    ------
    callable
        To be called with what is done and what there is in all.
    """
    on_terminal = sys.stderr.isatty() and not is_quiet()
    shown = False
    bar = ExitStack()

    def show(done: int, total: int) -> None:
        nonlocal shown
        if not on_terminal:
            return
        if not shown:  # until then the command is said to be at work
            bar.enter_context(without_bars())
            shown = True
        # The line has another length; what is left of it would stand behind the progress.
        if _Bars.says_at_work:
            click.echo(_CLEARED, nl=False, err=True)
            _Bars.says_at_work = False
        share = done / total if total else 1.0
        click.echo(f"\r{what} {share:4.0%}  ({done:,} of {total:,})", nl=False, err=True)

    try:
        with bar:
            yield show
    finally:
        if on_terminal:
            click.echo(_CLEARED, nl=False, err=True)
