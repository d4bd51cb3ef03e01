"""``gwnet sources``: list the files that were loaded, write one as it was."""

import datetime as dt
from pathlib import Path

import click

from gwnet.cli import options, output

#: Columns on a terminal.
_COLUMNS = ("source_file_id", "name", "row_count", "size_bytes", "loaded_at_utc", "loaded_by", "layout", "sha256")


@click.group("sources", invoke_without_command=True)
@options.known_on
@options.form
@options.db
@click.pass_context
def command(context: click.Context, /, known_on: dt.datetime | str | None, form: str, db: str) -> None:
    """List the files that were loaded, or write one as it was.

    Without a verb: the files, in the order in which they were loaded.
    """
    if context.invoked_subcommand is not None:
        options.refuse_before_verb(context)
        return
    with options.open_record(db) as net:
        table = net.sources(known_on)
    output.rows(table, form, empty="No file was loaded.", columns=_COLUMNS)


@command.command("get")
@click.argument("file")
@click.option("--out", type=click.Path(path_type=Path), default=Path(), help="File or folder to write.")
@options.db
def get(file: str, out: Path, db: str) -> None:
    """Write a file as it was loaded: FILE is its number, name or SHA-256.

    The bytes are held against the SHA-256 that was recorded when the file was loaded.
    """
    with options.open_record(db) as net:
        written = net.sources.get(file, out)
    output.say(f"Wrote {written} as it was loaded; its SHA-256 is that on record.")
