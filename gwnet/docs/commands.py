"""Commands and their options, from the command line itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any, Final

from gwnet.cli import group

#: An option of at least so many commands, alike in all of them, is described once.
_COMMON_FROM: Final = 3


def list_commands(command: Any = group, path: str = "gwnet") -> Iterator[tuple[str, Any]]:
    """Yield every command that does something by itself, with the words that call it."""
    is_group = hasattr(command, "list_commands")
    if not is_group or command.invoke_without_command:
        yield path, command
    if is_group:
        for name in command.list_commands(None):
            yield from list_commands(command.get_command(None, name), f"{path} {name}")


def describe_commands() -> str:
    """Return every command with its arguments, what it does, and the options that are its own."""
    common = set(_list_common())
    parts = []
    for path, command in list_commands():
        arguments = [_argument(each) for each in command.params if each.param_type_name == "argument"]
        own = [f"- {option}" for option in map(_describe, _options(command)) if option not in common]
        parts += [f"### {' '.join([path, *arguments])}", _text(command.help.split("\n\n")[0]), "\n".join(own)]
    return "\n\n".join(filter(None, parts))


def describe_common_options() -> str:
    """Return the options that several commands share."""
    return "\n".join(f"- {option}" for option in _list_common())


def _options(command: Any) -> list[Any]:
    return [each for each in command.params if each.param_type_name == "option"]


def _list_common() -> list[str]:
    counted = Counter(_describe(each) for _, command in list_commands() for each in _options(command))
    return [option for option, count in counted.most_common() if count >= _COMMON_FROM]


def _argument(argument: Any) -> str:
    return str(argument.make_metavar(None)) if argument.metavar is None else str(argument.metavar)


def _text(text: str) -> str:
    """Return a help text on one line."""
    return " ".join(text.split())


def _describe(option: Any) -> str:
    names = "`, `".join([*option.opts, *option.secondary_opts])
    choices = "|".join(getattr(option.type, "choices", ()))
    kind = "N" if "range" in option.type.name else option.type.name.upper()
    value = "" if option.is_flag or option.count else f" {choices or option.metavar or kind}"
    needed = " Required." if option.required else ""
    default = f" Default: {_default(option)}." if option.show_default and not option.is_flag else ""
    return f"`{names}{value}`: {_text(option.help)}{needed}{default}"


def _default(option: Any) -> str:
    return str(option.show_default if isinstance(option.show_default, str) else option.default)
