"""What trends and seasons show, in a sentence each."""

from __future__ import annotations

from typing import Final

from gwnet.reporting.measures import joined
from gwnet.reporting.results.result import Result, counted
from gwnet.reporting.view import ReportView

TRENDS: Final = "trends"
SEASONS: Final = "seasons"

#: Percentiles below and above which a newest level is named.
_LOW, _HIGH = 10.0, 90.0


def trend_results(view: ReportView) -> list[Result]:
    """Return at how many wells a trend is significant; none where the report tests no trends.

    Parameters as `gwnet.reporting`.
    """
    table = view.data.extras.frame("trends")
    table = table[table["well"].isin(view.wells["well"])]
    tested = table[table["p"].notna()] if len(table) else table
    if table.empty:
        return []
    untested = len(table) - len(tested)
    rest = f"At {counted(untested, 'well')} the levels are too few for a test." if untested else ""
    if tested.empty:
        return [Result(TRENDS, "No well has enough levels for a test of its trend.")]
    parts = []
    found = 0
    for word in ("falling", "rising"):
        wells = [str(well) for well in tested.loc[tested["direction"] == word, "well"]]
        found += len(wells)
        if wells:
            parts.append(f"{word} at {joined(wells)}")
    if not found:
        lead = f"No trend is significant at any of {counted(len(tested), 'well')} tested."
    else:
        lead = f"A trend is significant at {found} of {counted(len(tested), 'well')} tested: {'; '.join(parts)}."
    first, last = min(tested["first"].str[:4]), max(tested["last"].str[:4])
    span = f"Levels of {first} to {last}." if first != last else f"Levels of {first}."
    return [Result(TRENDS, lead, f"{span} {rest}".strip())]


def season_results(view: ReportView) -> list[Result]:
    """Return at which wells the newest level is unusual for its month; none where the report has no seasons.

    Parameters as `gwnet.reporting`.
    """
    table = view.data.extras.frame("seasons")
    table = table[table["well"].isin(view.wells["well"]) & (table["n"] > 0)] if len(table) else table
    if table.empty:
        return []
    known = table[table["percentile"].notna()]
    if known.empty:
        lead = "No well has enough years of levels in one calendar month for a percentile of its newest level."
        return [Result(SEASONS, lead)]
    low = [str(well) for well in known.loc[known["percentile"] < _LOW, "well"]]
    high = [str(well) for well in known.loc[known["percentile"] > _HIGH, "well"]]
    parts = [
        f"{where} at {joined(wells)}"
        for wells, where in ((low, "below the 10th percentile of its month"), (high, "above the 90th"))
        if wells
    ]
    of = counted(len(known), "well")
    lead = (
        f"The newest level is {'; '.join(parts)}, of {of} with percentiles."
        if parts
        else f"The newest level lies between the 10th and 90th percentile of its month at all {of} with percentiles."
    )
    rest = len(table) - len(known)
    few = f"{counted(rest, 'well')} {'has' if rest == 1 else 'have'} too few years." if rest else ""
    return [Result(SEASONS, lead, few)]
