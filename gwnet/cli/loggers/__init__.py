"""``gwnet logger``: the commands of loggers, each in a module of its own that is loaded only when it runs."""

from __future__ import annotations

from importlib import import_module
from typing import Final

import click

#: Every command: its module below this package, and its line in the help.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "layouts": ("layouts", "List the layouts that travel with the program, or print one."),
    "try": ("try_file", "Show what a file of a logger would give, and store nothing."),
    "load": ("load", "Load files of loggers."),
    "coverage": ("coverage", "Draw who has data when."),
    "status": ("status", "Tell how each logger stands, one row a deployment."),
    "findings": (
        "findings",
        "List what looks wrong in the series of loggers, and the correction that would fix it.",
    ),
    "correct": ("correct", "Adjust the series of a logger, or take a correction back."),
    "efficiency": ("efficiency", "Work out the barometric efficiency of wells with loggers, three ways."),
    "heads": ("heads", "Print the heads of loggers, one row a sample or a day."),
    "withdraw": ("withdraw", "Withdraw what a file of a logger gave."),
}


class LoggerGroup(click.Group):
    """Group whose commands are imported only when they run."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click gives it)
        """Return the names of the commands, in the order of use."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 (click gives it)
        """Return a command, importing its module."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"gwnet.cli.loggers.{COMMANDS[cmd_name][0]}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the list of commands from the table."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group("logger", cls=LoggerGroup)
def command() -> None:
    """Load the files of loggers and work with them."""
