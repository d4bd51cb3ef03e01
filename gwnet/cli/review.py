"""``gwnet review``: what waits, and the verbs that change it."""

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Any, Final

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, completion, options, reviewed

#: The verbs: what each can be said of, and its help.
VERBS: Final[dict[str, tuple[tuple[str, ...], str]]] = {
    "approve": (
        ("levels",),
        """Approve provisional levels, all that are chosen or none.

        Refused for levels with an undecided serious finding, and for those that the reviewer read or recorded, unless
        the site allows it (self_review). Exit code 3 when levels were passed over.
        """,
    ),
    "reject": (("levels",), "Reject provisional levels: they stay on record and enter no map, trend or statistic."),
    "hold": (("levels", "findings"), "Put levels (by options) or findings (by their numbers) on hold."),
    "reopen": (("levels", "findings"), "Reopen reviewed levels (by options) or decided findings (by their numbers)."),
    "accept": (("findings",), "Accept findings: they are right, and the reason says what follows."),
    "dismiss": (("findings",), "Dismiss findings: the level is sound, and the reason says why."),
}

#: Options that say which levels are meant, and the argument that says which findings.
_LEVELS: Final = (
    click.option(
        "--round", "round", metavar="ROUND", shell_complete=completion.rounds, help="Levels of this gauging round."
    ),
    options.span,
    options.site,
    options.wells,
    click.option("--event", "events", type=int, multiple=True, metavar="N", help="This level event; several times."),
)
_FINDINGS: Final = (click.argument("findings", nargs=-1, type=int, metavar="[FINDING]..."),)
_TOGETHER: Final = click.option(
    "--together", is_flag=True, help="One reason settles all the findings named; reports say that it did."
)
_PASS_OVER: Final = click.option(
    "--pass-over", is_flag=True, help="Pass over levels that cannot be approved, rather than approve none."
)


@click.group("review", invoke_without_command=True)
@click.option("--round", "round", metavar="ROUND", shell_complete=completion.rounds, help="Only this gauging round.")
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
    known_on: dt.datetime | str | None,
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
        options.refuse_before_verb(context)
        return
    with options.open_record(db) as net:
        queue = net.review.queue(wells=wells or None, known_on=known_on, **chosen)
    reviewed.queue(queue, what, form, unit, restricted=bool(wells or any(chosen.values())))


def _refuse_mixed(verb: str, said_of: Sequence[str], findings: tuple[int, ...], restrictions: dict[str, Any]) -> None:
    """Refuse findings together with options that name levels, and neither where the verb is of findings alone."""
    if findings and any(restrictions.values()):
        raise click.UsageError("Findings are named by their numbers, levels by options; give one of the two.")
    if not findings and "levels" not in said_of:
        message = f"No finding is named. Give their numbers: gwnet review {verb} 12 14 --reason TEXT."
        raise click.UsageError(message)


def _options_of(verb: str, said_of: Sequence[str]) -> list[Callable[[Any], Any]]:
    """Return the arguments and options of a verb, in the order of its help."""
    return [
        *(_FINDINGS if "findings" in said_of else ()),
        *(_LEVELS if "levels" in said_of else ()),
        *([_PASS_OVER] if verb == "approve" else []),
        # Only what settles a finding: reports say that one reason stood for several.
        *([_TOGETHER] if verb in ("accept", "dismiss") else []),
        # An approval says by itself what it means; everything else is read by somebody who asks why.
        options.reason("kept with the decision", required=verb != "approve"),
        options.by,
        options.form,
        options.db,
    ]


def _verb_command(verb: str, said_of: Sequence[str], text: str) -> click.Command:
    """Return the command of a verb."""

    def run(form: str, db: str, findings: tuple[int, ...] = (), **given: Any) -> int:
        decision = {name: given.pop(name) for name in ("by", "reason", "pass_over", "together") if name in given}
        _refuse_mixed(verb, said_of, findings, given)
        with options.open_record(db) as net:
            if findings:
                done = net.review.decide(findings, verb, **decision)
            else:
                done = getattr(net.review, verb)(reviewed.selection(**given), **decision)
        reviewed.changed(done, form)
        return DONE_WITH_FINDINGS if len(done.passed_over) else DONE

    decorated: Any = run
    # Reversed, as decorators are: what is put on last stands first in the help.
    for add in reversed(_options_of(verb, said_of)):
        decorated = add(decorated)
    return click.command(verb, help=text)(decorated)


for _verb, (_said_of, _text) in VERBS.items():
    command.add_command(_verb_command(_verb, _said_of, _text))
