"""``gwnet seasons``."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import options, output

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from gwnet.network import Network


#: Columns of the summary on a terminal.
_SUMMARY = (
    *("well", "newest", "newest_bound", "newest_m", "percentile", "percentile_years", "amplitude_m", "highest_in_year"),
    *("highest", "highest_m", "lowest", "lowest_bound", "lowest_m", "note"),
)


@click.command("seasons")
@options.wells
@options.aquifer
@click.option("--summary", is_flag=True, help="One row a well: newest level, annual cycle, records.")
@click.option("--daily", is_flag=True, help="One row a well and day of the year, each with the week around it.")
@options.drawing("--figure", "Draw the newest year over the range and percentiles of each month into this file.")
@options.drawing("--stl", "Draw the levels of one well decomposed into trend, season and remainder into this file.")
@click.option(
    "--least-years",
    type=click.IntRange(min=2),
    default=10,
    show_default=True,
    metavar="N",
    help="Years with a level from which a month has percentiles.",
)
@click.option(
    "--definition",
    type=click.Choice(["weibull", "linear"]),
    default="weibull",
    show_default=True,
    help="Percentiles by rank over n + 1, or interpolated from the lowest to the highest value.",
)
@click.option(
    "--value",
    type=click.Choice(["median", "middle"]),
    default="median",
    show_default=True,
    help="How the days of a month become one value: their median, or the day nearest to its middle.",
)
@options.approved
@options.span
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(
    wells: tuple[str, ...],
    summary: bool,
    daily: bool,
    figure: Path | None,
    stl: Path | None,
    form: str,
    db: str,
    **chosen: Any,
) -> None:
    """Print monthly statistics of wells and the percentile of the newest level.

    One row a well and calendar month: statistics of one value a year, and the percentile of the month's newest level
    among them, from 0 (lowest) to 100. Dry months are bounds: they are ranked, and statistics that they leave open are
    named in at_or_below.
    """
    if summary and daily:
        message = "--summary and --daily are tables of their own. Ask for one at a time."
        raise click.UsageError(message)
    if stl is not None and len(wells) != 1:
        message = "--stl draws one well. Name it with --well WELL."
        raise click.UsageError(message)
    with options.open_record(db) as net:
        table = _table(net, wells, summary, daily, chosen)
        written = _drawn(net, wells, figure, stl, chosen)
    output.rows(table, form, empty="No level is on record that matches.", columns=_SUMMARY if summary else None)
    output.say_written(written)


def _table(
    net: "Network", wells: tuple[str, ...], summary: bool, daily: bool, chosen: dict[str, Any]
) -> "pd.DataFrame":
    """Return the rows that were asked for."""
    if daily:
        # How the days of a month become one value says nothing of single days.
        return net.seasons.daily(wells or None, **{name: chosen[name] for name in chosen if name != "value"})
    return (net.seasons.summary if summary else net.seasons)(wells or None, **chosen)


def _drawn(
    net: "Network", wells: tuple[str, ...], figure: Path | None, stl: Path | None, chosen: dict[str, Any]
) -> list[Path]:
    """Draw the figures that were asked for; return their files."""
    from gwnet.figures.base.panel import save_all

    pages: list[tuple[list[Figure], Path]] = []
    if figure is not None:
        pages.append((net.seasons.figure(wells or None, **chosen).figures(), figure))
    if stl is not None:
        others = {name: chosen[name] for name in ("start", "end", "site", "known_on", "unit", "value", "approved")}
        pages.append((net.seasons.decomposition(wells[0], **others).figures(), stl))
    # Together, so that of two figures either both are written or none.
    return save_all(pages)
