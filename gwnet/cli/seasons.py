"""``gwnet seasons``."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import options, output

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from gwnet.network import Network


@click.command("seasons")
@options.wells
@click.option("--aquifer", metavar="AQUIFER", help="Only wells of this aquifer.")
@click.option("--summary", is_flag=True, help="One row a well: newest level, annual cycle, records.")
@click.option("--daily", is_flag=True, help="One row a well and day of the year, each with the week around it.")
@options.drawing("--figure", "Draw the newest year over the range and percentiles of each month into this file.")
@options.drawing("--stl", "Draw the levels of one well parted into trend, season and remainder into this file.")
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
    help="How the days of a month give one value: their median, or the day nearest to its middle.",
)
@click.option("--approved", is_flag=True, help="Leave out levels that no review approved.")
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
    """Tell the seasons of wells: monthly statistics and the newest level's percentile.

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
    with options.opened(db) as net:
        table = _table(net, wells, summary, daily, chosen)
        made = _drawn(net, wells, figure, stl, chosen)
    output.rows(table, form, empty="No level is on record that matches.")
    output.made(made)


def _table(
    net: "Network", wells: tuple[str, ...], summary: bool, daily: bool, chosen: dict[str, Any]
) -> "pd.DataFrame":
    """Return the rows that were asked for."""
    if daily:
        return net.daily_seasons(wells or None, **{name: chosen[name] for name in chosen if name != "value"})
    return (net.season_summary if summary else net.seasons)(wells or None, **chosen)


def _drawn(
    net: "Network", wells: tuple[str, ...], figure: Path | None, stl: Path | None, chosen: dict[str, Any]
) -> list[Path]:
    """Draw the figures that were asked for; return their files."""
    from gwnet.figures.base.panel import save_all

    pages: list[tuple[list[Figure], Path]] = []
    if figure is not None:
        pages.append((net.seasons_figures(wells or None, **chosen), figure))
    if stl is not None:
        others = {name: chosen[name] for name in ("start", "end", "site", "known_on", "unit", "value", "approved")}
        pages.append(([net.decomposition_figure(wells[0], **others)], stl))
    return save_all(pages)
