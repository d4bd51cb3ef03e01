"""``gwnet sources``."""

import datetime as dt
from pathlib import Path

import click

from gwnet.cli import options, output


@click.command("sources")
@click.option("--get", "file", metavar="FILE", help="Write this file as it was loaded: its number, name or SHA-256.")
@click.option("--out", type=click.Path(path_type=Path), default=Path(), help="File or folder to write.")
@options.known_on
@options.form
@options.db
def command(file: str | None, out: Path, known_on: dt.datetime | str | None, form: str, db: str) -> None:
    """List the files that were loaded, or write one as it was.

    The bytes are held against the SHA-256 that was recorded when the file was loaded.
    """
    with options.open_record(db) as net:
        if file is not None:
            output.say(f"Wrote {net.sources.get(file, out)} as it was loaded; its SHA-256 is that on record.")
            return
        table = net.sources(known_on)
    output.rows(table, form, empty="No file was loaded.", columns=_COLUMNS)


#: Columns on a terminal.
_COLUMNS = ("source_file_id", "name", "row_count", "size_bytes", "loaded_at_utc", "loaded_by", "layout", "sha256")
