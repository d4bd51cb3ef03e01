"""``gwnet logger efficiency``."""

from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import options, output

if TYPE_CHECKING:
    import pandas as pd

#: Methods in the table of the terminal, and their headings.
_SHOWN = {
    "clark": "clark",
    "changes_1h": "changes 1 h",
    "changes_6h": "changes 6 h",
    "changes_24h": "changes 24 h",
    "regression_of_levels": "levels",
    "deconvolution": "deconvolution",
}


@click.command("efficiency")
@options.wells
@click.option(
    "--every",
    "every_hours",
    type=click.FloatRange(min=0, min_open=True),
    default=1.0,
    show_default=True,
    metavar="HOURS",
    help="Step at which levels and air pressure are compared.",
)
@click.option(
    "--lags",
    "lag_hours",
    type=click.FloatRange(min=0, max=240),
    default=24.0,
    show_default=True,
    metavar="HOURS",
    help="Time within which the well may answer, for the deconvolution; up to 240.",
)
@click.option("--tides", is_flag=True, help="Fit the earth tides M2, S2, N2, K1 and O1 beside the air pressure.")
@click.option("--response", is_flag=True, help="Print the response function, one row a lag, and the tides.")
@options.site
@options.known_on
@options.form
@options.db
def command(wells: tuple[str, ...], response: bool, form: str, db: str, **chosen: Any) -> None:
    """Work out the barometric efficiency of wells with loggers, with limits at 95 %.

    By Clark's signs of changes, by regression of changes and of levels, and by regression deconvolution, which sees
    late answers as well. They differ, and none is applied; the note warns where they disagree, where the barometer is
    too coarse, and of impossible values. To remove the response to air pressure from the heads: gwnet logger correct ID
    efficiency --value BE --reason TEXT.
    """
    with options.open_record(db) as net:
        ask = net.loggers.barometric_response if response else net.loggers.efficiencies
        table = ask(wells or None, **chosen)
    if form == "table":
        table = table.dropna(axis="columns", how="all") if response else _overview(table)
    output.rows(table, form, empty="No logger with an air pressure is on record that matches.")


def _overview(table: "pd.DataFrame") -> "pd.DataFrame":
    """Return what a reader of a terminal needs, values with their limits in brackets; files have every column."""
    view = table[["site", "well", "instrument", "barometer", "pairs"]].copy()
    for method, heading in _SHOWN.items():
        view[heading] = [
            "" if value != value else f"{value:.2f} ({lower:.2f} to {upper:.2f})"  # NaN is not itself
            for value, lower, upper in zip(
                table[method], table[f"{method}_lower"], table[f"{method}_upper"], strict=True
            )
        ]
    return view.assign(applied=table["applied_efficiency"], note=table["note"])
