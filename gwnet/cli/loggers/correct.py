"""``gwnet logger correct``."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any, Final

import click

from gwnet.cli import options, output

if TYPE_CHECKING:
    from gwnet.analysis.loggers.corrections import Corrected
    from gwnet.network import Network

#: Options that are parameters of a correction, by the names that they have in the record.
_PARAMETERS: Final = (
    "seconds",
    "factor",
    "amount_m",
    "cause",
    "method",
    "leave_out",
    "temperature",
    "kg_m3",
    "gravity_m_s2",
    "value",
)


@click.command("correct")
@click.argument("instrument", required=False)
@click.argument("kind", required=False)
@click.option("--from", "start", type=options.Instant(), metavar="TIME", help="Start of the span. Default: open.")
@click.option("--to", "end", type=options.Instant(), metavar="TIME", help="End of the span, not included.")
@click.option("--seconds", type=float, metavar="S", help="Clock shift or drift: what is added to the times.")
@click.option("--amount", "amount", type=float, metavar="LENGTH", help="Step: what is added to the level, in --unit.")
@click.option("--cause", metavar="CAUSE", help="Exclusion: spike, flat, bottomed out, out of water, frozen, …")
@click.option("--factor", type=float, metavar="F", help="Scale: factor on the values.")
@click.option("--method", metavar="METHOD", help="Anchoring: linear, constant, or none for the hanging depth.")
@click.option("--leave-out", "leave_out", type=int, multiple=True, metavar="EVENT", help="Anchoring: manual reading.")
@click.option("--temperature", metavar="DEGC", help="Density: degrees Celsius, or 'series' for those measured.")
@click.option("--density", "kg_m3", type=float, metavar="KG_M3", help="Density: of the water itself.")
@click.option("--gravity", "gravity_m_s2", type=float, metavar="M_S2", help="Density: gravity to go with it.")
@click.option("--value", type=float, metavar="BE", help="Efficiency: barometric efficiency, 0 to 1.")
@click.option("--series", "quantity", metavar="QUANTITY", help="Which series. Default: the one that gives the level.")
@click.option("--accept", metavar="FINDING", help="Apply what this finding suggests.")
@click.option("--take-back", type=int, metavar="NUMBER", help="Take a correction back.")
@click.option("--list", "listed", is_flag=True, help="List the corrections on record.")
@click.option("--dry-run", is_flag=True, help="Tell what would move, and record nothing.")
@click.option("--reason", metavar="TEXT", help="Why; needed to adjust and to take back.")
@options.by
@options.known_on
@options.unit
@options.form
@options.db
@click.pass_context
def command(ctx: click.Context, /, db: str, **given: Any) -> None:
    """Adjust the series of a logger, or take a correction back.

    KIND is clock shift, clock drift, scale, step, exclusion, restart, anchoring, density or efficiency. The samples
    stay as they are: the correction is a row of the correction history, with who and why, and the heads are worked
    out afresh. It tells which heads moved and by how much.
    """
    _refuse_mixtures(ctx, given)
    with options.opened(db) as net:
        if given["listed"]:
            table = net.logger_corrections(given["instrument"], known_on=given["known_on"])
            output.rows(table, given["form"], empty="No correction of a logger is on record that matches.")
            return
        done = _decide(net, given)
    _show(done, given)


def _refuse_mixtures(ctx: click.Context, given: dict[str, Any]) -> None:
    """Refuse what cannot be asked for together, and a correction without a reason."""
    ways = sum((given["listed"], given["take_back"] is not None, given["accept"] is not None, bool(given["kind"])))
    if ways != 1:
        message = "Give one of: INSTRUMENT KIND, --accept FINDING, --take-back NUMBER, --list."
        raise click.UsageError(message, ctx)
    if given["known_on"] is not None and not given["listed"]:
        message = "--known-on serves --list alone; a correction is recorded now."
        raise click.UsageError(message, ctx)
    if not given["kind"] and any(_parameters(given).values()):
        message = "Parameters stand with INSTRUMENT KIND; a finding brings its own."
        raise click.UsageError(message, ctx)
    if not given["listed"] and not (given["reason"] or "").strip():
        message = "Say why with --reason TEXT; it is kept with the correction."
        raise click.UsageError(message, ctx)


def _parameters(given: dict[str, Any]) -> dict[str, Any]:
    from gwnet.units import metres_per

    amount = given["amount"]
    made = {**given, "amount_m": None if amount is None else amount * metres_per(given["unit"])}
    return {name: list(made[name]) or None if name == "leave_out" else made[name] for name in _PARAMETERS}


def _decide(net: Network, given: dict[str, Any]) -> Corrected:
    told = {"reason": given["reason"], "by": given["by"], "dry_run": given["dry_run"]}
    if given["take_back"] is not None:
        return net.take_back_correction(given["take_back"], **told)
    if given["accept"] is not None:
        return net.accept_logger_finding(given["accept"], instrument=given["instrument"], **told)
    start, end = _span(given)
    chosen = {"quantity": given["quantity"], "start": start, "end": end}
    return net.correct_logger(given["instrument"], given["kind"], **chosen, **told, **_parameters(given))


def _span(given: dict[str, Any]) -> tuple[dt.datetime | None, dt.datetime | None]:
    start, end = given["start"], given["end"]
    if start is not None and end is not None and end <= start:
        message = f"{end:%Y-%m-%dT%H:%MZ}, the time of --to, is not after {start:%Y-%m-%dT%H:%MZ}."
        raise click.BadParameter(message)
    return start, end


def _show(done: Corrected, given: dict[str, Any]) -> None:
    from gwnet.analysis.levels.display_unit import in_unit

    output.rows(in_unit(done.moved, given["unit"]), given["form"], empty="No head moves.")
    numbers = ", ".join(str(number) for number in done.numbers)
    if given["dry_run"]:
        output.say(f"Nothing was recorded; it would be: {done.says}.")
    elif given["take_back"] is not None:
        output.say(f"Correction {numbers} was taken back: {done.says}.")
    else:
        output.say(f"Correction {numbers} was recorded: {done.says}.")
        output.say(f"To undo it: gwnet logger correct --take-back {done.numbers[0]} --reason TEXT")
