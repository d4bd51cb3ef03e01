"""``gwnet import``: other people's tables by a mapping; `try` and `mappings` are commands, all else is a file."""

from __future__ import annotations

from typing import Final

import click

from gwnet.cli.lazy import LazyGroup

#: Every command: its module below this package, and its line in the help.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "try": ("try_files", "Propose a mapping for files, or show what one would read; store nothing."),
    "mappings": ("mappings", "List the mappings on record."),
    "files": ("files", "Load files by a mapping: the same as gwnet import FILE… --mapping M."),
}


class ImportGroup(LazyGroup):
    """Group whose first argument may be a file instead of a command."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Take what is no command for the files to load."""
        if args and args[0] not in {*COMMANDS, "--help", "-h"}:
            args = ["files", *args]
        return super().parse_args(ctx, args)


@click.group(
    "import",
    cls=ImportGroup,
    package="gwnet.cli.imports",
    table=COMMANDS,
    subcommand_metavar="FILE... --mapping MAPPING | COMMAND",
)
def command() -> None:
    """Import other people's tables by a mapping.

    First look: gwnet import try FILE... --save M.toml proposes a mapping. Edit the lines marked CHECK, then load with
    gwnet import FILE... --mapping M.toml. The mapping is kept on record and is used again by its name.
    """
