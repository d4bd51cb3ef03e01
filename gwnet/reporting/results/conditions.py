"""What stands on record of the state of wells: confined spaces, pressure, product, soundings, and what is overdue."""

from __future__ import annotations

from typing import Final

import pandas as pd

from gwnet.analysis.fieldwork.conditions import (
    CONFINED,
    KINDS,
    NO_BASELINE,
    OBSTRUCTED,
    OVERDUE_CHECK,
    OVERDUE_SURVEY,
    PRESSURE,
    PRODUCT,
    SHORT,
    describe_condition,
)
from gwnet.reporting.measures import joined
from gwnet.reporting.view import ReportView

#: What follows from each condition, for the crew or for who reads a level.
CARE: Final = {
    CONFINED: "No entry without a permit, a gas test and an attendant outside; local rules govern.",
    PRESSURE: "Loosen the cap slowly; stand aside.",
    PRODUCT: "Read product and water; clean the probe; keep flames off.",
    OBSTRUCTED: "Sound the bottom before its levels count.",
    SHORT: "Sound again; the screen may be covered.",
    NO_BASELINE: "Judge crossings with the levels that there are.",
    OVERDUE_SURVEY: "Survey the measuring point.",
    OVERDUE_CHECK: "Check against the reference tape.",
}


def conditions_of_view(view: ReportView) -> dict[str, pd.DataFrame]:
    """Return the conditions of the wells of a report by kind, those of tapes among them.

    Parameters as `gwnet.reporting`.

    Returns
    -------
    dict of str to DataFrame
        In the order of `gwnet.analysis.fieldwork.conditions.KINDS`, kinds that some well has.
    """
    rows = view.data.conditions
    rows = rows[rows["well"].isin({*view.wells["well"], ""})]
    found = {kind: rows[rows["kind"] == kind] for kind in KINDS}
    return {kind: own for kind, own in found.items() if len(own)}


def condition_words(view: ReportView, rows: pd.DataFrame) -> str:
    """Return where a condition is met and what it rests on, wells with the same words together.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    rows : pandas.DataFrame
        Conditions of one kind.
    """
    wells: dict[str, list[str]] = {}
    for row in rows.to_dict("records"):
        wells.setdefault(describe_condition(row, view.measures.text), []).append(str(row["well"]))
    return "; ".join(f"{joined(names, 12)}: {words}" if names != [""] else words for words, names in wells.items())


def condition_sentence(view: ReportView) -> str:
    """Return the conditions of the wells with their wells in one sentence; empty where there are none."""
    parts = [
        f"{kind} at {joined(sorted(set(rows['well'])))}" if (rows["well"] != "").all() else f"{kind} ({len(rows)})"
        for kind, rows in conditions_of_view(view).items()
    ]
    return f"On record: {'; '.join(parts)}." if parts else ""
