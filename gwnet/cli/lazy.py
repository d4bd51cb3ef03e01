"""A group of commands each of which is imported only when it runs, with help in sections.

The help of the group lists commands by what one wants to do; that of a command lists its options under headings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from importlib import import_module
from typing import Any, Final

import click

#: Heading of what stands in no section.
_REST: Final = "More"

#: Options of many commands under a heading of their own, after those of the command itself.
HEADINGS: Final[Mapping[str, tuple[str, ...]]] = {
    "Which part of the record": (
        *("--site", "--well", "--aquifer", "--round", "--from", "--to", "--event", "--known-on"),
        *("--loggers", "--approved", "--exclude"),
    ),
    "What is printed and written": ("--out", "--unit", "--format", "--figure", "--page", "--show", "--processes"),
    "Database, and who records": ("--reason", "--by", "--db"),
}


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
    sections : mapping, optional
        Headings of the help, and the commands under each; those that are not in the table are passed over.
    aliases : mapping, optional
        Other spellings of commands, which the help does not list.
    **attributes : object
        As `click.Group`.
    """

    def __init__(
        self,
        *args: Any,
        package: str,
        table: Mapping[str, tuple[str, str]],
        sections: Mapping[str, Sequence[str]] | None = None,
        aliases: Mapping[str, str] | None = None,
        **attributes: Any,
    ) -> None:
        super().__init__(*args, **attributes)
        self._package = package
        self._table = table
        self._sections = sections or {}
        self._aliases = aliases or {}

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click passes it)
        """Return the names of the commands, in the order of use."""
        return list(self._table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 (click passes it)
        """Return a command, importing its module."""
        name = self._aliases.get(cmd_name, cmd_name)
        # None is how click hears that there is no such command.
        if name not in self._table:
            return None
        command: click.Command = import_module(f"{self._package}.{self._table[name][0]}").command
        return _with_headings(command)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or say which ones come close."""
        args = [self._aliases.get(args[0], args[0]), *args[1:]]
        if args[0] not in self._table and not args[0].startswith("-"):
            from difflib import get_close_matches

            # Of the table of names, so that a typing error does not import every command.
            near = get_close_matches(args[0], self._table, n=3, cutoff=0.5)
            hint = f" Did you mean {' or '.join(near)}?" if near else f" See '{ctx.command_path} --help'."
            message = f"There is no command {args[0]!r}.{hint}"
            raise click.UsageError(message, ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the list of commands from the table, in sections where there are any."""
        placed = {name for names in self._sections.values() for name in names}
        rest = [name for name in self._table if name not in placed]
        sections = [*self._sections.items(), (_REST if self._sections else "Commands", rest)]
        # Over all sections, so that their texts begin in one column.
        widest = max(map(len, self._table), default=0)
        for heading, names in sections:
            lines = [(name.ljust(widest), self._table[name][1]) for name in names if name in self._table]
            if lines:
                with formatter.section(heading):
                    formatter.write_dl(lines)


def _with_headings(command: click.Command) -> click.Command:
    """Return a command whose help, and that of its own commands, lists options under headings."""
    command.format_options = partial(_format_options, command)  # type: ignore[method-assign]
    # A lazy group dresses its commands itself, when they are imported.
    if isinstance(command, click.Group) and not isinstance(command, LazyGroup):
        for own in command.commands.values():
            _with_headings(own)
    return command


def _format_options(command: click.Command, ctx: click.Context, formatter: click.HelpFormatter) -> None:
    """Write the options of a command: its own first, then those of many commands under their headings."""
    heading_of = {name: heading for heading, names in HEADINGS.items() for name in names}
    sections: dict[str, list[tuple[str, str]]] = {heading: [] for heading in ("Options", *HEADINGS)}
    for parameter in command.get_params(ctx):
        record = parameter.get_help_record(ctx) if isinstance(parameter, click.Option) else None
        if record is not None:
            # What is required must not be looked for below.
            heading = "Options" if parameter.required else heading_of.get(parameter.opts[0], "Options")
            sections[heading].append(record)
    for heading, records in sections.items():
        if records:
            with formatter.section(heading):
                formatter.write_dl(records)
    if isinstance(command, click.Group):
        command.format_commands(ctx, formatter)
