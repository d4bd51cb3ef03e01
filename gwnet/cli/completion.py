"""What a shell completes: codes of the record and names of definitions. Nothing is said where there is no record."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import click
from click.shell_completion import CompletionItem

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.network import Network

Complete = Callable[[click.Context, click.Parameter, str], list[CompletionItem]]


def wells(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the wells on record that begin so; of the site that was named, and none that was given already."""
    given = ctx.params.get(param.name or "") or ()
    return _of_record(ctx, incomplete, lambda net: _codes(ctx, net.wells(), "well"), leave_out=given)


def aquifers(ctx: click.Context, _param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the aquifers of wells on record that begin so."""
    return _of_record(ctx, incomplete, lambda net: _codes(ctx, net.wells(), "aquifer"))


def rounds(ctx: click.Context, _param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the rounds on record that begin so."""
    return _of_record(ctx, incomplete, lambda net: _codes(ctx, net.rounds(), "round"))


def sites(ctx: click.Context, _param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the sites on record that begin so."""
    return _of_record(ctx, incomplete, lambda net: _codes(ctx, net.sites(), "site"))


def complete_definition(_ctx: click.Context, _param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Return the definitions of reports that begin so."""
    return definitions(incomplete)


def definitions(incomplete: str) -> list[CompletionItem]:
    """Return the definitions of reports that travel with gwnet and begin so; a path is left to the shell."""
    from gwnet.resources import reports_folder

    names = sorted(path.stem for path in reports_folder().glob("*.toml"))
    found = [CompletionItem(name) for name in names if name.startswith(incomplete)]
    return found or [CompletionItem(incomplete, type="file")]


def _codes(ctx: click.Context, table: pd.DataFrame, column: str) -> list[str]:
    site = ctx.params.get("site")
    rows = table[table["site"] == site] if site and "site" in table else table
    return list(dict.fromkeys(str(code) for code in rows[column] if code))


def _of_record(
    ctx: click.Context, incomplete: str, codes: Callable[[Network], Sequence[str]], leave_out: Sequence[str] = ()
) -> list[CompletionItem]:
    """Return the codes that begin so; none where the record cannot be opened."""
    from gwnet.cli.options import DEFAULT_DATABASE
    from gwnet.errors import GwnetError
    from gwnet.network import Network

    address = ctx.params.get("db") or os.environ.get("GWNET_DB") or DEFAULT_DATABASE
    try:
        net = Network(address)
    # A shell that completes must not print an error between the words that are being typed.
    except (GwnetError, OSError):
        return []
    try:
        found = codes(net)
    except GwnetError:
        return []
    finally:
        net.close()
    # Codes are compared without case: who types does not know how they are written.
    lower = incomplete.lower()
    return [CompletionItem(code) for code in found if code.lower().startswith(lower) and code not in leave_out]
