"""``gwnet export``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource
from click.shell_completion import CompletionItem

from gwnet.cli import options, output


class _Format(click.ParamType[str]):
    """Name of a format; those that there are, are known once their modules are loaded."""

    name = "format"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the name of a format that there is."""
        from gwnet.errors import SettingsError
        from gwnet.exchange.registry import find_format

        try:
            return find_format(str(value)).name
        except SettingsError as error:
            self.fail(str(error), param, ctx)

    def shell_complete(self, _ctx: click.Context, _param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Return the names that begin so."""
        from gwnet.exchange.registry import exchange_formats

        return [CompletionItem(name) for name in exchange_formats() if name.startswith(incomplete)]


@click.command("export")
@click.argument("form", type=_Format(), metavar="FORMAT")
@click.option(
    "--out",
    required=True,
    type=click.Path(path_type=Path),
    metavar="PATH",
    help="File or folder to make, in a folder that exists.",
)
@click.option("--replace", is_flag=True, help="Replace a file that is there already.")
@options.wells
@options.aquifer
@options.span
@options.site
@options.known_on
@options.unit
@options.db
@click.pass_context
def command(ctx: click.Context, /, form: str, out: Path, db: str, unit: str, **chosen: Any) -> None:
    """Write the record, or a part of it, in an open format.

    The export is written whole or not at all. 'gwnet help exchange' lists the formats, what each holds and which
    options it takes.
    """
    from gwnet.exchange.registry import find_format

    # The unit of the record is a default that a format may not take; refused is only one that a person asked for.
    if "unit" not in find_format(form).takes and ctx.get_parameter_source("unit") is not ParameterSource.COMMANDLINE:
        unit = "m"
    with options.open_record(db) as net, output.progress("export") as progress:
        written = net.export(form, out, unit=unit, progress=progress, **chosen)
    output.files([written])
