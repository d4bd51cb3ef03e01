"""The methods of an open record, from the record's own lists of what it offers."""

from __future__ import annotations

import re
from collections.abc import Iterator

from gwnet.network import Network
from gwnet.network.base import Group


def list_groups(group: type[Group] = Group) -> Iterator[type[Group]]:
    """Yield every group of methods that an open record has."""
    for each in group.__subclasses__():
        if each is not Network and vars(each).get("_path"):
            yield each
        yield from list_groups(each)


def list_methods() -> list[tuple[str, str]]:
    """Return every method of an open record ``net`` as it is called, with what it does."""
    # What a group offers does not depend on its database, so that none is opened.
    groups: list[type[Group]] = [Network, *list_groups()]
    offers = [Group.__repr__(group.__new__(group)) for group in groups]
    found = re.findall(r"^(\S*)\(…\) +(.*)$", "\n".join(offers), re.MULTILINE)
    return [(f"net{name.removeprefix('net')}", summary) for name, summary in found]


def describe_methods() -> str:
    """Return every method of an open record as a Markdown table."""
    rows = [f"| `{name}` | {summary.replace('``', '`')} |" for name, summary in list_methods()]
    return "\n".join(["| method | what it does |", "|---|---|", *rows])
