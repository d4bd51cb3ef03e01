"""``gwnet review``: what waits, and the verbs that change it."""

import datetime as dt
from collections.abc import Callable
from typing import Any, TypeVar

import click
from click.core import ParameterSource

from gwnet.cli import DONE, DONE_WITH_FINDINGS, options, reviewed

Command = TypeVar("Command", bound=Callable[..., Any])


def _selection(command: Command) -> Command:
    """Add the options that say which levels are meant."""
    command = click.option(
        "--event",
        "events",
        type=int,
        multiple=True,
        metavar="NUMBER",
        help="This level event; may be repeated.",
    )(command)
    command = options.span(options.site(options.wells(command)))
    return click.option("--round", "round", metavar="ROUND", help="Levels of this gauging round.")(command)


def _reason(*, required: bool) -> Callable[[Command], Command]:
    return click.option("--reason", metavar="TEXT", required=required, help="Why; kept with the decision.")


_findings = click.argument("findings", nargs=-1, type=int, metavar="[FINDING]...")


@click.group("review", invoke_without_command=True)
@click.option("--round", "round", metavar="ROUND", help="Only this gauging round.")
@options.wells
@options.span
@options.site
@click.option(
    "--what",
    type=click.Choice(["rounds", "levels", "findings"]),
    help="Only this list. With --format csv or json default: rounds, or levels when something restricts.",
)
@options.known_on
@options.unit
@options.form
@options.db
@click.pass_context
def command(
    context: click.Context,
    /,
    wells: tuple[str, ...],
    what: str | None,
    known_on: dt.datetime | None,
    unit: str,
    form: str,
    db: str,
    **chosen: Any,
) -> None:
    """List what waits for review, or decide about it.

    Without a verb: rounds, levels and findings that nobody has decided. Levels are approved, rejected, held or
    reopened; findings accepted (they are right), dismissed (the level is sound), held or reopened.
    """
    if context.invoked_subcommand is not None:
        _refuse_before_verb(context)
        return
    with options.opened(db) as net:
        queue = net.review_queue(wells=wells or None, known_on=known_on, **chosen)
    reviewed.queue(queue, what, form, unit, restricted=bool(wells or any(chosen.values())))


def _refuse_before_verb(context: click.Context) -> None:
    """Refuse options before the verb, where they would have no effect."""
    given = [name for name in context.params if context.get_parameter_source(name) is ParameterSource.COMMANDLINE]
    if given:
        message = f"Options stand after the verb: gwnet review {context.invoked_subcommand} …"
        raise click.UsageError(message, context)


@command.command("approve")
@_selection
@click.option("--pass-over", is_flag=True, help="Pass over levels that cannot be approved, rather than approve none.")
@_reason(required=False)
@options.by
@options.form
@options.db
def approve(by: str, reason: str | None, form: str, db: str, pass_over: bool, **chosen: Any) -> int:
    """Approve provisional levels, all that are chosen or none.

    Refused for levels with an undecided serious finding, and for those that the reviewer read or recorded, unless the
    site allows it (self_review). Exit code 3 when levels were passed over.
    """
    with options.opened(db) as net:
        done = net.approve(reviewed.selection(**chosen), by=by, reason=reason, pass_over=pass_over)
    reviewed.changed(done, form)
    return DONE_WITH_FINDINGS if len(done.passed_over) else DONE


@command.command("reject")
@_selection
@_reason(required=True)
@options.by
@options.form
@options.db
def reject(by: str, reason: str, form: str, db: str, **chosen: Any) -> int:
    """Reject provisional levels: they stay on record and enter no map, trend or statistic."""
    with options.opened(db) as net:
        done = net.reject(reviewed.selection(**chosen), by=by, reason=reason)
    reviewed.changed(done, form)
    return DONE_WITH_FINDINGS if len(done.passed_over) else DONE


@command.command("hold")
@_findings
@_selection
@_reason(required=True)
@options.by
@options.form
@options.db
def hold(findings: tuple[int, ...], by: str, reason: str, form: str, db: str, **chosen: Any) -> int:
    """Put levels (by options) or findings (by their numbers) on hold."""
    return _either("hold", findings, by, reason, form, db, chosen)


@command.command("reopen")
@_findings
@_selection
@_reason(required=True)
@options.by
@options.form
@options.db
def reopen(findings: tuple[int, ...], by: str, reason: str, form: str, db: str, **chosen: Any) -> int:
    """Reopen reviewed levels (by options) or decided findings (by their numbers)."""
    return _either("reopen", findings, by, reason, form, db, chosen)


@command.command("accept")
@_findings
@_reason(required=True)
@options.by
@options.form
@options.db
def accept(findings: tuple[int, ...], by: str, reason: str, form: str, db: str) -> None:
    """Accept findings: they are right, and the reason says what follows."""
    _decide("accept", findings, by, reason, form, db)


@command.command("dismiss")
@_findings
@_reason(required=True)
@options.by
@options.form
@options.db
def dismiss(findings: tuple[int, ...], by: str, reason: str, form: str, db: str) -> None:
    """Dismiss findings: the level is sound, and the reason says why."""
    _decide("dismiss", findings, by, reason, form, db)


def _decide(verb: str, findings: tuple[int, ...], by: str, reason: str, form: str, db: str) -> None:
    if not findings:
        message = f"No finding is named. Give their numbers: gwnet review {verb} 12 14 --reason TEXT."
        raise click.UsageError(message)
    with options.opened(db) as net:
        done = net.decide_finding(findings, verb, by=by, reason=reason)
    reviewed.changed(done, form)


def _either(
    verb: str, findings: tuple[int, ...], by: str, reason: str, form: str, db: str, chosen: dict[str, Any]
) -> int:
    if findings and any(chosen.values()):
        message = "Findings are named by their numbers, levels by options; give one of the two."
        raise click.UsageError(message)
    if findings:
        _decide(verb, findings, by, reason, form, db)
        return DONE
    with options.opened(db) as net:
        act = net.hold if verb == "hold" else net.reopen
        done = act(reviewed.selection(**chosen), by=by, reason=reason)
    reviewed.changed(done, form)
    return DONE_WITH_FINDINGS if len(done.passed_over) else DONE
