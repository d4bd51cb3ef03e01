"""``gwnet thresholds``."""

from typing import Any

import click

from gwnet.cli import options, output

#: What a reader of a terminal needs; files have every column.
_STATES = (
    "well threshold kind form limit_m state readings_beyond readings_judged logger_days_beyond "
    "logger_days_judged extreme_m extreme_at reason"
).split()
_CROSSINGS = (
    "well threshold form limit_m source first last ended_by levels_in_period in_a_row consecutive "
    "confirmed_on peak_m peak_at"
).split()


@click.command("thresholds")
@options.wells
@click.option("--crossings", is_flag=True, help="One row a crossing instead: its days, its peak, and what confirms it.")
@options.span
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(wells: tuple[str, ...], crossings: bool, form: str, db: str, **chosen: Any) -> None:
    """Print the states of thresholds over a period, one row a threshold.

    Manual readings and days of loggers are counted separately. A threshold is crossed, beyond and not yet confirmed by
    as many levels in a row as its rule asks for, not crossed, or cannot be judged, with the reason. Its form is a
    level, a change within some days, or a gradient to another well, for which limit is the difference of head.
    """
    with options.open_record(db) as net:
        ask = net.thresholds.crossings if crossings else net.thresholds
        table = ask(wells or None, **chosen)
    empty = "No threshold was crossed." if crossings else "No threshold is in force."
    output.rows(table, form, empty=empty, columns=_CROSSINGS if crossings else _STATES)
