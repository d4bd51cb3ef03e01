"""A group of commands each of which is imported only when it runs."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import click


class LazyGroup(click.Group):
    """Group whose commands are imported only when they run; its help needs none of them.

    Parameters
    ----------
    *args : object
        As `click.Group`.
    package : str
        Package that holds the modules of the commands.
    table : mapping
        Every command, in the order of use: its module in the package, and its line in the help.
    **attributes : object
        As `click.Group`.
    """

    def __init__(self, *args: Any, package: str, table: Mapping[str, tuple[str, str]], **attributes: Any) -> None:
        super().__init__(*args, **attributes)
        self._package = package
        self._table = table

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click passes it)
        """Return the names of the commands, in the order of use."""
        return list(self._table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 (click passes it)
        """Return a command, importing its module."""
        if cmd_name not in self._table:
            return None
        command: click.Command = import_module(f"{self._package}.{self._table[cmd_name][0]}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or say which ones come close."""
        if args[0] not in self._table and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(args[0], self._table, n=3, cutoff=0.5)
            hint = f" Did you mean {' or '.join(near)}?" if near else f" See '{ctx.command_path} --help'."
            message = f"There is no command {args[0]!r}.{hint}"
            raise click.UsageError(message, ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the list of commands from the table."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in self._table.items()])
