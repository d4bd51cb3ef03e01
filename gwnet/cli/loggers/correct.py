"""``gwnet logger correct``."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from gwnet.analysis.loggers.correction_kinds import KINDS, PARAMETERS
from gwnet.cli import options, output

if TYPE_CHECKING:
    from gwnet.analysis.loggers.corrections import Corrected
    from gwnet.network import Network


def _parameter_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add an option for every parameter of a correction."""
    # Reversed, as each decorator puts its option before those that are there.
    for parameter in reversed(PARAMETERS.values()):
        kinds = ", ".join(kind.name for kind in KINDS.values() if parameter.name in kind.parameters)
        command = click.option(
            parameter.option,
            parameter.name,
            type=parameter.value_type,
            multiple=parameter.is_list,
            metavar=parameter.metavar,
            help=f"{kinds[0].upper()}{kinds[1:]}: {parameter.meaning}.",
        )(command)
    return command


@click.command("correct")
@click.argument("instrument", required=False)
@click.argument("kind", required=False)
@click.option(
    "--from", "start", type=options.Instant(), metavar="TIME", help="Start of the span; with --rule, of the findings."
)
@click.option("--to", "end", type=options.Instant(), metavar="TIME", help="End of the span, not included.")
@_parameter_options
@click.option("--series", "quantity", metavar="QUANTITY", help="Which series. Default: the one that gives the level.")
@click.option("--accept", multiple=True, metavar="FINDING", help="Apply what this finding suggests; of several, all.")
@click.option("--dismiss", multiple=True, metavar="FINDING", help="Dismiss this finding; of several, all.")
@click.option("--rule", "rules", multiple=True, metavar="RULE", help="Apply what all findings of this rule suggest.")
@click.option("--well", "wells", multiple=True, metavar="WELL", help="With --rule or --accept: only of this well.")
@click.option("--take-back", type=int, multiple=True, metavar="NUMBER", help="Withdraw a correction; of several, all.")
@click.option("--list", "listed", is_flag=True, help="List the corrections on record.")
@click.option("--dry-run", is_flag=True, help="Show which heads would change, and record nothing.")
@options.reason("needed to correct and to withdraw")
@options.by
@options.known_on
@options.unit
@options.form
@options.db
@click.pass_context
def command(ctx: click.Context, /, db: str, **given: Any) -> None:
    """Correct the series of a logger, dismiss a finding, or withdraw a correction.

    KIND is {kinds}. The samples stay as they are: the correction is a row of the correction history, with who and why,
    and the heads are worked out afresh. Prints which heads change and by how much.
    """
    _refuse_mixtures(ctx, given)
    with options.open_record(db) as net:
        if given["listed"]:
            table = net.loggers.corrections(given["instrument"], known_on=given["known_on"])
            output.rows(table, given["form"], empty="No correction of a logger is on record that matches.")
            return
        done = _decide(net, given)
    _show(done, given)


#: The kinds in the help are those that are declared.
command.help = (command.help or "").replace("{kinds}", f"{', '.join(list(KINDS)[:-1])} or {list(KINDS)[-1]}")


def _refuse_mixtures(ctx: click.Context, given: dict[str, Any]) -> None:
    """Refuse what cannot be asked for together, and a correction without a reason."""
    by_finding = bool(given["accept"] or given["rules"])
    # Five ways in one command: two at once would leave open which of them --reason is about.
    ways = sum(map(bool, (given["listed"], given["take_back"], by_finding, given["dismiss"], given["kind"])))
    if ways != 1:
        message = (
            "Give one of: INSTRUMENT KIND, --accept FINDING or --rule RULE, --dismiss FINDING, --take-back NUMBER, "
            "--list."
        )
        raise click.UsageError(message, ctx)
    if given["wells"] and not by_finding:
        message = "--well goes with --accept and --rule; a correction is of an instrument."
        raise click.UsageError(message, ctx)
    if (given["accept"] or given["dismiss"]) and not given["rules"] and (given["start"] or given["end"]):
        message = "--from and --to go with --rule or a KIND; a finding brings its own span."
        raise click.UsageError(message, ctx)
    if given["known_on"] is not None and not given["listed"]:
        message = "--known-on serves --list alone; a correction is recorded now."
        raise click.UsageError(message, ctx)
    if not given["kind"] and _parameters(given):
        message = "Parameters belong to INSTRUMENT KIND; a finding brings its own."
        raise click.UsageError(message, ctx)
    if not given["listed"] and not (given["reason"] or "").strip():
        message = "Say why with --reason TEXT; it is kept with the correction."
        raise click.UsageError(message, ctx)


def _parameters(given: dict[str, Any]) -> dict[str, Any]:
    """Return the parameters that were given, lengths in metres."""
    from gwnet.units import metres_per

    # 0 is a value, such as an offset that is taken back to nothing.
    values = {name: given[name] for name in PARAMETERS if given[name] not in (None, ())}
    return {
        name: value * metres_per(given["unit"]) if PARAMETERS[name].is_length else value
        for name, value in values.items()
    }


def _decide(net: Network, given: dict[str, Any]) -> Corrected:
    decision = {"reason": given["reason"], "by": given["by"], "dry_run": given["dry_run"]}
    if given["take_back"]:
        return net.loggers.withdraw_corrections(*given["take_back"], **decision)
    if given["dismiss"]:
        return net.loggers.dismiss(*given["dismiss"], **decision)
    start, end = _span(given)
    if given["accept"] or given["rules"]:
        meant = {name: given[name] for name in ("rules", "wells", "instrument")}
        return net.loggers.accept(*given["accept"], **meant, start=start, end=end, **decision)
    chosen = {"quantity": given["quantity"], "start": start, "end": end}
    return net.loggers.correct(given["instrument"], given["kind"], **chosen, **decision, **_parameters(given))


def _span(given: dict[str, Any]) -> tuple[dt.datetime | None, dt.datetime | None]:
    start, end = given["start"], given["end"]
    if start is not None and end is not None and end <= start:
        message = f"{end:%Y-%m-%dT%H:%MZ}, the time of --to, is not after {start:%Y-%m-%dT%H:%MZ}."
        raise click.BadParameter(message)
    return start, end


def _show(done: Corrected, given: dict[str, Any]) -> None:
    from gwnet.analysis.levels.display_unit import in_unit

    output.rows(in_unit(done.moved, given["unit"]), given["form"], empty="No head changes.")
    several = len(done.numbers) > 1
    subject = f"Correction{'s' * several} {', '.join(map(str, done.numbers))} {'were' if several else 'was'}"
    if given["dry_run"]:
        output.say(f"Nothing was recorded; it would be: {done.description}.")
    elif given["take_back"]:
        output.say(f"{subject} withdrawn: {done.description}.")
    else:
        output.say(f"{subject} recorded: {done.description}.")
        undo = " ".join(f"--take-back {number}" for number in done.numbers)
        output.say(f"To undo it: gwnet logger correct {undo} --reason TEXT")
