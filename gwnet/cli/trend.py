"""``gwnet trend``."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import options, output

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.products.trends import TrendFigures

#: What may be printed instead of one row a well, and the message where there is nothing.
_OTHERS = {
    "summary": "No well is on record that matches.",
    "pooled": "No well of an aquifer is on record that matches.",
    "thresholds": "No threshold is in force at a well that matches.",
    "without_context": "No well is on record that matches.",
    "changes": "No well is on record that matches.",
    "steps": "No well is on record that matches.",
    "left_out": "Every level that matches takes part.",
}


@click.command("trend")
@options.wells
@options.aquifer
@click.option(
    "--method",
    type=click.Choice(["kendall", "seasonal", "all", "regression"]),
    default="seasonal",
    show_default=True,
    help="One value a year, each season compared with its own kind, every value (daily means of loggers as well), or a "
    "straight line through every value as if they were independent.",
)
@click.option(
    "--seasons", type=click.Choice(["12", "4"]), default="4", show_default=True, help="Seasons of a year, from January."
)
@options.approved
@click.option(
    "--alone",
    is_flag=True,
    help="Judge each well by its own record alone, without the serial correlation of the other wells of its aquifer.",
)
@click.option(
    "--summary", is_flag=True, help="One row a well, the most urgent first: direction, dates, what to do next."
)
@click.option("--pooled", is_flag=True, help="One row an aquifer: all its wells in one test.")
@click.option("--thresholds", is_flag=True, help="One row a threshold: when the trend would reach it.")
@click.option(
    "--without-context", is_flag=True, help="Take rainfall and abstraction before each level out of the trends."
)
@click.option("--changes", is_flag=True, help="One row a step of a level: how many there are, when, with intervals.")
@click.option("--steps", is_flag=True, help="Test for steps: the most likely one, gaps, new measuring points, sensors.")
@click.option("--left-out", is_flag=True, help="List the levels that take no part, each with its reason.")
@options.drawing("--figure", "Draw one well with its trend, or the slopes of several ranked, into this file.")
@options.drawing("--map", "Draw the slopes on a map into this file.")
@options.drawing("--multiples", "Draw every well as a small panel on pages into this file.")
@click.option("--smooth", is_flag=True, help="Add a smooth line (LOWESS) to the levels of --figure and --multiples.")
@options.span
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(wells: tuple[str, ...], seasons: str, form: str, db: str, **chosen: Any) -> None:
    """Test levels for trends, one row a well.

    Several levels of a season or year count as their median; dry wells take part as bounds. Slopes are positive upward,
    with limits at 95 %. A direction is significant where p adjusted for the number of wells is at most 5 %; the note
    says what the numbers rest on.
    """
    asked = [name for name in _OTHERS if chosen.pop(name)]
    if len(asked) > 1:
        names = ", ".join(f"--{name.replace('_', '-')}" for name in asked)
        message = f"{names} are tables of their own. Ask for one at a time."
        raise click.UsageError(message)
    files = {name: chosen.pop(name) for name in ("figure", "map", "multiples")}
    smooth = chosen.pop("smooth")
    if smooth and not (files["figure"] or files["multiples"]):
        raise click.UsageError("--smooth draws into --figure and --multiples. Name a file for one of them.")
    chosen["seasons"] = int(seasons)
    with options.open_record(db) as net:
        drawn = net.trends.figure(wells or None, smooth=smooth, **chosen) if any(files.values()) else None
        written = [] if drawn is None else _drawn(drawn, files)
        # How trends are tested says nothing of levels that take no part in them.
        if asked == ["left_out"]:
            chosen = {name: value for name, value in chosen.items() if name not in ("method", "seasons", "alone")}
        if drawn is not None and not asked:
            table = drawn.table
        else:
            ask = getattr(net.trends, asked[0]) if asked else net.trends
            table = ask(wells or None, **chosen)
    if form == "table":
        table = _for_terminal(table, asked[0] if asked else "")
    output.rows(table, form, empty=_OTHERS[asked[0]] if asked else "No well is on record that matches.")
    output.say_written(written)


def _for_terminal(table: "pd.DataFrame", asked: str) -> "pd.DataFrame":
    """Return the columns of a table that fit a terminal."""
    views = {"": _overview, "summary": _brief, "pooled": _together}
    return views[asked](table) if asked in views else table


def _overview(table: "pd.DataFrame") -> "pd.DataFrame":
    """Return what a reader of a terminal needs of the trends; files have every column."""
    view, several = _with_span_and_limits(table)
    names = ["p_adjusted", "wells_adjusted", "direction", "note"]
    return view[[*several, "well", "n", "span", *_slope_and_limits(view), *names]]


def _together(table: "pd.DataFrame") -> "pd.DataFrame":
    """Return what a reader of a terminal needs of pooled trends: z has no correction and must not stand beside p."""
    view, several = _with_span_and_limits(table)
    view = view.rename(columns={"z": "z_uncorrected", "p_independent": "p_uncorrected", "p": "p_corrected"})
    tests = ["z_uncorrected", "p_uncorrected", "p_corrected", "p_adjusted", "p_wells_differ"]
    names = [*several, "aquifer", "wells", "wells_rising", "wells_falling", "span", *_slope_and_limits(view)]
    return view[[*names, *tests, "direction", "note", "left_out"]]


def _with_span_and_limits(table: "pd.DataFrame") -> "tuple[pd.DataFrame, list[str]]":
    """Return trends with years and limits of the slope as texts, and the column of the site where there are several."""
    slope, lower, upper = (name for name in table.columns if name.startswith("slope_"))
    limits = [
        f"{low:.3f} to {high:.3f}" if low == low else ""  # NaN is not itself
        for low, high in zip(table[lower], table[upper], strict=True)
    ]
    first, last = table["first"].str[:4], table["last"].str[:4]
    view = table.assign(span=first.where(first == last, first + "–" + last), **{f"limits{slope[5:]}": limits})
    return view, ["site"] if table["site"].nunique() > 1 else []


def _slope_and_limits(view: "pd.DataFrame") -> list[str]:
    """Return the names of the columns of the slope and of its limits."""
    slope = next(name for name in view.columns if name.startswith("slope_"))
    return [slope, f"limits{slope[5:]}"]


def _brief(table: "pd.DataFrame") -> "pd.DataFrame":
    """Return a summary with one short line a well."""
    slope, lower, upper = (name for name in table.columns if name.startswith("slope_"))
    rates = [
        "" if rate != rate else f"{rate:+.3f}" if low != low else f"{rate:+.3f} ({low:+.3f} to {high:+.3f})"
        for rate, low, high in zip(table[slope], table[lower], table[upper], strict=True)
    ]
    when = [
        " ".join(part for part in (name, reached[:4] or state, f"({first[:4]}–{last[:4]})" if first else "") if part)
        for name, state, reached, first, last in zip(
            *(table[name] for name in ("threshold", "threshold_state", "reached_on", "earliest", "latest")), strict=True
        )
    ]
    level = next(name for name in table.columns if name.startswith("newest_") and name != "newest_bound")
    view = table.assign(
        **{f"rate{slope[5:]}": rates, "high": table["highest_in_year"], "threshold": when},
        pc=[f"{number:.0f}" if number == number else "" for number in table["percentile"]],
    )
    several = ["site"] if table["site"].nunique() > 1 else []
    names = ["well", "direction", f"rate{slope[5:]}", "since", "high", level, "pc", "threshold", "to_do", "data"]
    return view[[*several, *names]]


def _drawn(figures: "TrendFigures", files: dict[str, Path | None]) -> list[Path]:
    """Draw the figures that were asked for; return their files."""
    from gwnet.figures.base.panel import save_all

    pages = {"figure": figures.figures, "map": lambda: [figures.map()], "multiples": figures.multiples}
    return save_all([(pages[name](), path) for name, path in files.items() if path is not None])
