"""Options that several commands share, and the kinds of value that they take."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from click.core import ParameterSource

from gwnet.cli import completion

if TYPE_CHECKING:
    from gwnet.network import Network

Command = TypeVar("Command", bound=Callable[..., Any])

#: Database in the current folder, used when none is named.
DEFAULT_DATABASE = "gwnet.sqlite"

#: Key of a command's context under which a record is kept that was opened while the options were read.
_OPENED = "gwnet.opened"


@contextmanager
def open_record(address: str) -> Iterator[Network]:
    """Open the record for one command and close it afterwards; a missing database is an error.

    A record that was opened while the options were read is taken.
    """
    from gwnet.cli.output import RECORD, say, working

    context = click.get_current_context(silent=True)
    meta = {} if context is None else context.meta
    # The record may be open already: its unit was asked for while the options were read.
    opened = meta.pop(_OPENED, None)
    net = opened[1] if opened is not None and opened[0] == address else None
    try:
        with working():
            net = net or _open(address)
            meta[RECORD] = net.store
            yield net
        if net.store.looked_at is not None:
            say(f"Record as known on {net.store.looked_at.text}.")
    finally:
        if net is not None:
            net.close()


def _open(address: str) -> Network:
    from gwnet.cli.output import say
    from gwnet.network import Network

    return Network(address, say=say)


def refuse_before_verb(context: click.Context) -> None:
    """Refuse options before the verb of a group, where they would have no effect."""
    given = [name for name in context.params if context.get_parameter_source(name) is ParameterSource.COMMANDLINE]
    if given:
        message = f"Options stand after the verb: {context.command_path} {context.invoked_subcommand} …"
        raise click.UsageError(message, context)


def database_name(address: str) -> str:
    """Return how a database is called in messages: without password and parameters."""
    from gwnet.store.address import address_name, store_url

    return address_name(store_url(address))


class Instant(click.ParamType[dt.datetime]):
    """A time with its zone, in ISO 8601."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> dt.datetime:
        """Return the time in UTC."""
        if isinstance(value, dt.datetime):
            return value
        try:
            # As times are printed: what a command shows can be given back to it.
            plain = re.sub(r"\s*UTC(?=[+-])", "", value.strip().upper())
            moment = dt.datetime.fromisoformat(plain.removesuffix(" UTC").replace("Z", "+00:00"))
        except ValueError:
            self.fail(f"{value!r} is not a time in ISO 8601. {_ZONED}", param, ctx)
        if value.strip().upper().endswith(" UTC") and moment.tzinfo is None:
            moment = moment.replace(tzinfo=dt.UTC)
        if moment.tzinfo is None:
            self.fail(f"{value!r} has no zone. {_ZONED}", param, ctx)
        return moment.astimezone(dt.UTC)


class KnownOn(Instant):
    """A time with its zone, or a state of the record by its number."""

    name = "time or state"

    def convert(  # type: ignore[override]
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> dt.datetime | str:
        """Return the time in UTC, or the name of the state."""
        if isinstance(value, str) and value.strip().lower().startswith("state:"):
            return value.strip().lower()
        return super().convert(value, param, ctx)


_ZONED = "Write for example 2026-04-07T12:00Z or 2026-04-07T14:00+02:00."


class Day(click.ParamType[dt.date]):
    """A day, in ISO 8601, local to the site."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> dt.date:
        """Return the day."""
        if isinstance(value, dt.date):
            return value
        try:
            return dt.date.fromisoformat(value.strip())
        except ValueError:
            self.fail(f"{value!r} is not a date. Write it as YYYY-MM-DD, for example 2026-03-10.", param, ctx)


class Codes(click.ParamType[list[str]]):
    """Codes separated by commas."""

    name = "codes"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> list[str]:
        """Return the codes as a list, each once."""
        if isinstance(value, list):
            return value
        codes = list(dict.fromkeys(code.strip() for code in value.split(",") if code.strip()))
        if not codes:
            self.fail("no code was given. Write for example MW-1,MW-2,MW-3.", param, ctx)
        return codes


def _login_name() -> str:
    """Return the name that the person logged in with, or nothing where there is none."""
    import getpass

    try:
        return getpass.getuser()
    # In a container the user may have no name, and on Windows there is no module for it.
    except (KeyError, ImportError, OSError):
        return ""


def _named(_ctx: click.Context, _param: click.Parameter, value: str) -> str:
    if not value.strip():
        raise click.BadParameter("nobody is named. Say who with --by NAME.")
    return value.strip()


def _not_in_the_future(
    ctx: click.Context, param: click.Parameter, value: dt.datetime | str | None
) -> dt.datetime | str | None:
    """Refuse a time that has not come: what will be known then can still change."""
    # A minute of slack for a database whose clock is a little ahead.
    if isinstance(value, dt.datetime) and value > dt.datetime.now(dt.UTC) + dt.timedelta(minutes=1):
        message = f"{value:%Y-%m-%dT%H:%MZ} has not come yet; the record of that time can still change."
        raise click.BadParameter(message, ctx=ctx, param=param)
    return value


def _not_before_start(ctx: click.Context, _param: click.Parameter, value: dt.date | None) -> dt.date | None:
    """Refuse an end before the start, which is eager and so is parsed before it."""
    start = ctx.params.get("start")
    if value is not None and start is not None and value < start:
        message = f"{value} lies before {start}, the date of --from."
        raise click.BadParameter(message)
    return value


def in_metres(ctx: click.Context, _param: click.Parameter, value: float | None) -> float | None:
    """Convert a length from the display unit, which is eager and so is parsed before it."""
    from gwnet.units import metres_per

    return None if value is None else value * metres_per(ctx.params.get("unit", "m"))


def _unit_or_that_of_record(ctx: click.Context, _param: click.Parameter, value: str | None) -> str | None:
    """Return the unit that was asked for, else that of the record.

    An address or site that was given is eager and so is parsed before; one that was not has its default.
    """
    # While a shell completes, nothing is opened.
    if value is not None or ctx.resilient_parsing:
        return value
    from gwnet.cli.output import working
    from gwnet.errors import StoreError

    address = ctx.params.get("db") or os.environ.get("GWNET_DB") or DEFAULT_DATABASE
    try:
        with working():
            net = _open(address)
            # of the command's own context nothing is closed where its words are wrong
            ctx.find_root().call_on_close(net.close)
            unit = unit_of_record(net, ctx.params.get("site"))
    except StoreError:  # the command itself says what is wrong with the record
        return "m"
    ctx.meta[_OPENED] = (address, net)
    return unit


def unit_of_record(net: Network, site: str | None = None) -> str:
    """Return the unit that a record is shown in: ft where its sites, or the one named, work in feet, else m."""
    from gwnet.units import shared_display_unit

    looked_at = net.store.looked_at
    sites = net.sites()
    net.store.looked_at = looked_at  # the unit is no answer of which a person must know the state of the record
    units = sites.loc[sites["site"] == site, "length_unit"] if site else sites["length_unit"]
    return shared_display_unit(units)


# Options without arguments of their own, each to be put above a command.

# Eager, as the site, the unit and the start of a span are: callbacks of other options need them.
db = click.option(
    "--db",
    is_eager=True,
    envvar="GWNET_DB",
    default=DEFAULT_DATABASE,
    show_default=True,
    show_envvar=True,
    metavar="URL",
    help="Database: a file path or an SQLAlchemy URL.",
)
form = click.option(
    "--format",
    "form",
    type=click.Choice(["table", "csv", "json"]),
    default="table",
    show_default=True,
    help="How rows are printed.",
)
unit = click.option(
    "--unit",
    type=click.Choice(["m", "ft"]),
    is_eager=True,
    callback=_unit_or_that_of_record,
    help="Unit of depths and elevations; ft is the international foot. Default: ft where the site works in feet, "
    "else m.",
)
known_on = click.option(
    "--known-on",
    type=KnownOn(),
    callback=_not_in_the_future,
    metavar="TIME|state:N",
    help="Record as it was known at this time, for example 2026-04-07T12:00Z, or in this state, for example state:143. "
    "Default: the newest state.",
)
by = click.option(
    "--by", default=_login_name, show_default="login name", callback=_named, metavar="NAME", help="Who records."
)
site = click.option(
    "--site",
    is_eager=True,
    metavar="SITE",
    shell_complete=completion.sites,
    help="Site, where the record holds several.",
)
aquifer = click.option(
    "--aquifer", metavar="AQUIFER", shell_complete=completion.aquifers, help="Only wells of this aquifer."
)
mapped_aquifer = click.option(
    "--aquifer", required=True, metavar="AQUIFER", shell_complete=completion.aquifers, help="Aquifer to map."
)
wells = click.option(
    "--well",
    "wells",
    multiple=True,
    metavar="WELL",
    shell_complete=completion.wells,
    help="Only this well; may be given several times.",
)
exclude = click.option(
    "--exclude",
    multiple=True,
    metavar="WELL",
    shell_complete=completion.wells,
    help="Leave this well or gauge out; may be given several times.",
)
approved = click.option("--approved", is_flag=True, help="Leave out levels that no review approved.")
day = click.option("--date", required=True, type=Day(), metavar="DATE", help="Local date of the levels.")
window = click.option(
    "--window",
    "window_days",
    type=click.FloatRange(min=0),
    metavar="DAYS",
    help="Days before and after the date that count as the same day. Default: the site's.",
)
interval = click.option(
    "--interval",
    "interval_m",
    type=click.FloatRange(min=0, min_open=True),
    callback=in_metres,
    metavar="LENGTH",
    help="Contour interval in the unit of --unit. Default: chosen from the range and the uncertainty.",
)
out_folder = click.option(
    "--out",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Folder to write into; made when it is not there.",
)
accept = click.option(
    "--accept",
    multiple=True,
    metavar="RULE",
    help="Record rows that this rule of 'gwnet help rejections' would refuse; may be given several times.",
)
rejected = click.option(
    "--rejected",
    "rejected_dir",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Folder for the rejected rows of --keep-good; made when it is not there. Default: the current one.",
)
last_line_complete = click.option(
    "--last-line-complete",
    is_flag=True,
    help="A last line without its line end is complete; asked for where its last cell may have been cut.",
)
figure_file = click.option(
    "--out",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="File to draw into; its ending says how: .png, .pdf or .svg.",
)


def span(command: Command) -> Command:
    """Add ``--from`` and ``--to``; the command gets ``start`` and ``end``."""
    start = click.option(
        "--from", "start", type=Day(), is_eager=True, metavar="DATE", help="First local date, included."
    )
    end = click.option(
        "--to", "end", type=Day(), callback=_not_before_start, metavar="DATE", help="Last local date, included."
    )
    return start(end(command))


def reason(what: str, *, required: bool = False) -> Callable[[Command], Command]:
    """Return what adds ``--reason``, with what it is needed for."""
    return click.option("--reason", metavar="TEXT", required=required, help=f"Why; {what}.")


def drawing(name: str, words: str) -> Callable[[Command], Command]:
    """Return what adds an option for a file to draw into beside the rows that are printed."""
    kind = click.Path(dir_okay=False, path_type=Path)
    return click.option(name, type=kind, metavar="FILE", help=f"{words} Ending .png, .pdf or .svg.")


def loggers(what: str) -> Callable[[Command], Command]:
    """Return what adds ``--loggers/--no-loggers``, with what the loggers do there."""
    return click.option("--loggers/--no-loggers", default=True, show_default=True, help=what)
