"""The command line: a group that loads a command only when it runs, and the one place that catches errors.

A command parses, calls one method of `gwnet.network`, prints, and returns its exit code (None for done). Exit codes:
0 done; 1 stopped, nothing written; 2 wrong usage; 3 done with rejections or findings.
"""

from __future__ import annotations

import gc
import os
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final

import click

from gwnet import __version__
from gwnet.cli.lazy import LazyGroup
from gwnet.errors import GwnetError, GwnetWarning, SettingsError

DONE: Final = 0
STOPPED: Final = 1
WRONG_USAGE: Final = 2
DONE_WITH_FINDINGS: Final = 3

#: Key of a command's context under which it is kept when the program was started.
STARTED: Final = "gwnet.started"

#: Every command: its module below this package, and its line in the help. A test holds the lines to the docstrings.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "help": ("help", "Read the documentation: all topics, or the page of one."),
    "demo": ("demo", "Build the demo network, its figures and its report."),
    "init": ("init", "Make an empty database."),
    "upgrade": ("upgrade", "Migrate a database to this version."),
    "backup": ("backup", "Copy the record into one file, and verify the copy."),
    "restore": ("restore", "Make a record from a backup or archive, and verify it."),
    "doctor": ("doctor", "Examine the record: file, schema, triggers, states, rows, samples, kept files."),
    "load": ("load", "Load tables from files, workbooks and folders."),
    "import": ("imports", "Import other people's tables by a mapping."),
    "logger": ("loggers", "Load the files of loggers and work with them."),
    "wells": ("wells", "List the wells on record."),
    "list": ("listed", "List a table as it is on record: construction, measuring points, thresholds and others."),
    "sources": ("sources", "List the files that were loaded, or write one as it was."),
    "refresh": ("refresh", "Fill the table of reduced levels that SQL reads."),
    "rounds": ("rounds", "List gauging rounds, plan one, list what is due, make field sheets."),
    "levels": ("levels", "Print reduced levels, one row an event."),
    "explain": ("explain", "Explain how one level was worked out."),
    "check": ("check", "Run the checks and print their findings."),
    "review": ("review", "List what waits for review, or decide about it."),
    "history": ("history", "Show what changed at a well: when, by whom and why."),
    "effects": ("effects", "List the levels that corrections moved, before and after."),
    "hydrograph": ("hydrograph", "Draw the hydrograph of one or more wells."),
    "trend": ("trend", "Test levels for trends, one row a well."),
    "seasons": ("seasons", "Print monthly statistics of wells and the percentile of the newest level."),
    "thresholds": ("thresholds", "Print the states of thresholds over a period, one row a threshold."),
    "map": ("map", "Draw the potentiometric map of one aquifer and day."),
    "gradient": ("gradient", "Work out horizontal and vertical gradients, on one day or round by round."),
    "pumping": ("pumping", "Work with pumping tests: their sheets, drawdowns, analyses and figures."),
    "calculate": (
        "calculate",
        "Work out corrections to enter in tables: stretch of a tape, shift of a vertical datum.",
    ),
    "worth": ("worth", "Rank wells by their data worth: what the map loses without them."),
    "report": ("report", "Make a report from its definition."),
    "export": ("export", "Write the record, or a part of it, in an open format."),
}


#: The commands in the help, by what one wants to do.
SECTIONS: Final[dict[str, tuple[str, ...]]] = {
    "Start": ("demo", "init", "help"),
    "Bring data in": ("load", "import", "logger"),
    "Plan rounds and go into the field": ("rounds", "worth"),
    "Look at the record": ("wells", "list", "levels", "hydrograph", "explain", "history"),
    "Check and review": ("check", "review", "effects"),
    "Work out": ("thresholds", "trend", "seasons", "map", "gradient", "pumping", "calculate"),
    "Report and hand over": ("report", "export", "refresh", "sources"),
    "Keep the record safe": ("backup", "restore", "doctor", "upgrade"),
}

#: Other spellings of commands, which the help does not list.
ALIASES: Final = {"round": "rounds", "reports": "report"}


@click.group(
    cls=LazyGroup,
    package="gwnet.cli",
    table=COMMANDS,
    sections=SECTIONS,
    aliases=ALIASES,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.option("--quiet", is_flag=True, help="Print no messages, notes and progress; errors and what is asked for only.")
@click.option("--verbose", is_flag=True, help="Say at the end how long it took.")
@click.version_option(__version__, prog_name="gwnet", message="%(prog)s %(version)s")
@click.pass_context
def group(context: click.Context, quiet: bool, verbose: bool) -> None:
    """Keep a groundwater monitoring network: levels, hydrographs, maps, reports.

    Each command has its own help: gwnet COMMAND --help. The documentation: gwnet help.
    """
    if quiet and verbose:
        raise click.UsageError("Give --quiet or --verbose, not both.")
    start = context.meta[STARTED] = time.monotonic()
    if verbose:
        context.call_on_close(lambda: _say(f"took {time.monotonic() - start:.1f} s."))


def main(args: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    args : sequence of str, optional
        Arguments after the program's name; those of the process unless given.

    Returns
    -------
    int
        Exit code.
    """
    import warnings

    # Python sets a stream to None where a program is started with it closed.
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123 (stays open to the end)
    if sys.stdout is None:
        _say("Standard output is closed; nothing was done. Send it to a file, or to /dev/null.")
        return STOPPED
    _let_print_anything()
    with _seldom_collecting(), warnings.catch_warnings():
        # By default Python shows a warning once a line: the second well with the same note would pass in silence.
        warnings.simplefilter("always", GwnetWarning)
        shown = warnings.showwarning
        warnings.showwarning = lambda message, category, *rest, **more: (
            _note(message) if issubclass(category, GwnetWarning) else shown(message, category, *rest, **more)
        )
        return _run(args)


@contextmanager
def _seldom_collecting() -> Iterator[None]:
    """Look for unused objects less often.

    A start makes hundreds of thousands of objects that all stay; looking through them again and again costs a tenth.
    """
    usual = gc.get_threshold()
    # Frames of a large record make millions of objects that stay, and looking through them again frees nothing.
    gc.set_threshold(50_000, *usual[1:])
    try:
        yield
    finally:
        gc.set_threshold(*usual)


def _run(args: Sequence[str] | None) -> int:
    """Run the group; turn what stops it into a message and an exit code."""
    try:
        # Not standalone, or click would exit by itself and print errors in its own way.
        code = group.main(args, prog_name="gwnet", standalone_mode=False)
        # Here, where the error of a full disk or a closed pipe can still become a message and an exit code.
        sys.stdout.flush()
    except click.ClickException as error:
        return _wrong_usage(error)
    # A value that cannot be used is wrong usage, wherever it was found out.
    except SettingsError as error:
        _say(str(error))
        return WRONG_USAGE
    except GwnetError as error:
        _say(str(error))
    except (click.Abort, KeyboardInterrupt):
        _say("stopped by the keyboard.")
    except (BrokenPipeError, SystemExit):  # click exits where the reader of standard output has gone
        _silence_output()
        return DONE
    except OSError as error:
        _say(_describe_refusal(error))
        _give_up_output()
    else:
        return code if isinstance(code, int) else DONE
    return STOPPED


def _wrong_usage(error: click.ClickException) -> int:
    """Say what was wrong with the arguments and where the help is."""
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        error.show()
        return WRONG_USAGE
    context = getattr(error, "ctx", None)
    _say(error.format_message())
    if context is not None:
        click.echo(f"Usage: {context.get_usage().removeprefix('Usage: ')}", err=True)
        click.echo(f"Help:  {context.command_path} --help", err=True)
    return WRONG_USAGE


def _note(message: object) -> None:
    """Say a note, unless messages are to be left out."""
    context = click.get_current_context(silent=True)
    if context is None or not context.find_root().params.get("quiet"):
        _say(f"note: {message}")


def _say(text: str) -> None:
    from gwnet.plain_text import hide_passwords, without_control_signs

    click.echo(f"gwnet: {without_control_signs(hide_passwords(text))}", err=True)


def _describe_refusal(error: OSError) -> str:
    """Return what the operating system refused, with the file it was about."""
    what = error.strerror or str(error)
    return f"{error.filename}: {what}." if error.filename else f"{what}."


def _let_print_anything() -> None:
    """Let a sign that the terminal cannot show be replaced rather than end the program."""
    for stream in (sys.stdout, sys.stderr):
        # Streams that a test or a notebook puts in place of the real ones have none.
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def _give_up_output() -> None:
    """Leave nothing for standard output where it takes no more, or the interpreter fails once again as it ends."""
    try:
        sys.stdout.flush()
    except OSError:
        _silence_output()


def _silence_output() -> None:
    """Point standard output nowhere after its reader has gone, so that closing it says nothing more."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
