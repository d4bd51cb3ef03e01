"""``gwnet backup``."""

from pathlib import Path

import click

from gwnet.cli import copied, options, output


@click.command("backup")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--replace", is_flag=True, help="Replace a file that is there already.")
@options.db
def command(file: Path, db: str, *, replace: bool) -> int | None:
    """Copy the record into one file, and verify the copy.

    The record may be in use, on SQLite or PostgreSQL; the copy is one state of it. FILE is an SQLite record that
    'gwnet restore' and every command with --db takes. It gets its name only when the copy was read back and compared.
    """
    with options.open_record(db) as net, output.progress("backup") as progress:
        made = net.backup(file, replace=replace, progress=progress)
    # After the copy is verified: a script that reads the name may rely on it.
    output.files([file])
    return copied.report(made, f"Backed up {options.database_name(db)}.")
