"""``gwnet gradient``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import options, output

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.network import Network


@click.command("gradient")
@click.option("--wells", type=options.Codes(), metavar="A,B,C", help="Three wells or more.")
@click.option("--aquifer", metavar="AQUIFER", help="All levels of an aquifer, with --rounds, --dates or --local.")
@click.option("--date", type=options.Day(), metavar="DATE", help="Local date of the levels.")
@click.option("--rounds", is_flag=True, help="One row a round of the aquifer, over the years.")
@click.option("--dates", type=options.Codes(), metavar="D1,D2", help="These days instead of the rounds on record.")
@click.option("--local", is_flag=True, help="One row a well: the plane through it and its nearest wells.")
@click.option("--nearest", type=click.IntRange(2), default=5, show_default=True, help="Nearest wells of --local.")
@click.option("--vertical", is_flag=True, help="Vertical gradients: one row a pair of a cluster and round.")
@click.option("--cluster", "clusters", multiple=True, metavar="CLUSTER", help="Only this cluster; several times.")
@click.option("--conductivity", metavar="K", help="For seepage velocity, for example '12 m/d' or '5..20 m/d'.")
@click.option("--porosity", metavar="N", help="Effective porosity, with --conductivity: 0.22 or 0.15..0.25.")
@click.option("--rose", type=click.Path(path_type=Path), metavar="FILE", help="Draw the rounds as a rose.")
@click.option("--figure", type=click.Path(path_type=Path), metavar="FILE", help="Draw the vertical gradients.")
@options.exclude
@options.span
@options.window
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(form: str, unit: str, db: str, rose: Path | None, figure: Path | None, **chosen: Any) -> None:
    """Work out horizontal and vertical gradients, on one day or round by round.

    Three wells of --wells define the plane through them, more a fitted plane. The azimuth is that of flow, clockwise
    from grid north. Vertical gradients are between the middles of screens, positive upward. Where levels are
    not distinguishable within their uncertainty, the answer says so. Nothing is averaged over rounds.
    """
    from gwnet.analysis.levels.display_unit import in_unit

    mode = _mode(chosen, rose, figure)
    with options.open_record(db) as net:
        table, drawn = _WORK[mode](net, chosen)
        if mode == "wells":
            table = drawn.summary(unit)
        for path in (rose, figure):
            if path is not None:
                output.say_written([net.save_figure(drawn.figure(unit), path)])
    if mode == "wells":
        output.record(in_unit(table, unit), form)
    else:
        if form == "table" and "determined" in table:
            # the note of a significant gradient repeats its numbers
            table = table.assign(note=table["note"].mask(table["determined"].astype(bool), ""))
        output.rows(in_unit(table, unit), form, columns=_COLUMNS[mode])


#: Columns on a terminal, of each way of asking.
_FLOW = ("gradient", "gradient_uncertainty", "gradient_upper_limit", "azimuth_degrees", "azimuth_uncertainty_degrees")
_VELOCITY = ("velocity_lowest_m_per_day", "velocity_m_per_day", "velocity_highest_m_per_day")
_COLUMNS = {
    "rounds": ("round", "date", *_FLOW, "wells", "triangles", "turn", "turn_degrees", "finding", *_VELOCITY, "note"),
    "local": ("well", *_FLOW, "reach_m", *_VELOCITY, "neighbours", "note"),
    "vertical": (
        *("cluster", "upper_well", "lower_well", "round", "date", "head_difference_m", "vertical_gradient"),
        *("vertical_gradient_uncertainty", "direction", "note"),
    ),
}

#: Options of each way of asking beside those that all have.
_TAKES = {
    "rounds": {"aquifer", "wells", "rounds", "dates", "start", "end", "exclude", "conductivity", "porosity", "rose"},
    "local": {"aquifer", "date", "local", "exclude", "conductivity", "porosity"},
    "vertical": {"vertical", "clusters", "start", "end", "figure"},
    "wells": {"wells", "date", "conductivity", "porosity"},
}
_NAMES = {"start": "from", "end": "to", "clusters": "cluster"}
#: The number of nearest wells has a default, so it is given whichever question is asked.
_ALWAYS = {"site", "known_on", "window_days", "nearest"}


def _mode(chosen: dict[str, Any], rose: Path | None, figure: Path | None) -> str:
    """Return which gradients are asked for; refuse options that do not go together."""
    # One command for four questions: an option of another question would be passed over in silence.
    given = {name for name, value in {**chosen, "rose": rose, "figure": figure}.items() if value} - _ALWAYS
    mode = next((name for name in ("vertical", "local") if chosen[name]), None)
    if mode is None:
        mode = "rounds" if given & {"rounds", "dates", "rose"} else "wells"
    wrong = sorted(given - _TAKES[mode])
    if wrong:
        way = "--wells" if mode == "wells" else f"--{mode}"
        listed = ", ".join(f"--{_NAMES.get(name, name)}" for name in wrong)
        message = f"{listed} does not go with {way}. See 'gwnet gradient --help'."
        raise click.UsageError(message)
    needed = {"rounds": ("aquifer",), "local": ("aquifer", "date"), "wells": ("wells", "date"), "vertical": ()}[mode]
    missing = [f"--{name}" for name in needed if not chosen[name]]
    if missing:
        message = f"{' and '.join(missing)} is missing. Give --wells and --date, or --aquifer with --rounds or --local."
        raise click.UsageError(message)
    return mode


def _of_wells(net: Network, chosen: dict[str, Any]) -> tuple[pd.DataFrame, Any]:
    gradients = net.gradients(chosen["wells"], chosen["date"], **_picked(chosen, "conductivity", "porosity"))
    return gradients.summary(), gradients


def _of_rounds(net: Network, chosen: dict[str, Any]) -> tuple[pd.DataFrame, Any]:
    more = _picked(chosen, "wells", "dates", "start", "end", "exclude", "conductivity", "porosity")
    gradients = net.gradients.by_round(chosen["aquifer"], **more)
    return gradients.table, gradients


def _of_places(net: Network, chosen: dict[str, Any]) -> tuple[pd.DataFrame, Any]:
    more = _picked(chosen, "nearest", "exclude", "conductivity", "porosity")
    return net.gradients.local(chosen["aquifer"], chosen["date"], **more), None


def _of_clusters(net: Network, chosen: dict[str, Any]) -> tuple[pd.DataFrame, Any]:
    gradients = net.gradients.vertical(chosen["clusters"] or None, **_picked(chosen, "start", "end"))
    return gradients.table, gradients


def _picked(chosen: dict[str, Any], *names: str) -> dict[str, Any]:
    """Return the options of those names and those that every way has."""
    return {name: chosen[name] for name in (*names, "site", "known_on", "window_days")}


_WORK = {"wells": _of_wells, "rounds": _of_rounds, "local": _of_places, "vertical": _of_clusters}
