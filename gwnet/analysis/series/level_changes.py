"""One row a step of the wells' levels, as many as describe each record best."""

from __future__ import annotations

import pandas as pd

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_changes import LEAST_STEP_YEARS, find_level_changes
from gwnet.analysis.series.trend_records import longest_gap, well_records
from gwnet.analysis.series.trends import parts_of_year

#: Columns of the steps, in order.
COLUMNS = tuple(
    "site well first last number year year_earliest year_latest shift_m shift_lower_m shift_upper_m note".split()
)

_NUMBERS = ("shift_m", "shift_lower_m", "shift_upper_m")


def level_changes(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    method: str = "seasonal",
    seasons: int = 4,
    approved: bool = False,
) -> pd.DataFrame:
    """Find the steps of the levels of wells, one or several each.

    Parameters as `gwnet.analysis.series`.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`: a row for each step, and one for a well without. first and last are local dates of levels,
        number counts the steps of a well from 1, 0 for none; year is the first after the step, with the 95 % interval
        of its date. Shifts are after less before, positive upward, with limits at 95 % for these dates.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is not known.

    Notes
    -----
    As `gwnet.analysis.series.trend_changes.find_level_changes`. With method ``kendall`` one value a year takes part.
    """
    used, _ = used_levels(levels, approved=approved)
    records = well_records(used, parts_of_year(method, seasons))
    rows: list[dict[str, object]] = []
    for site, well in zip(wells["site"], wells["well"], strict=True):
        record = records.get((site, well))
        row: dict[str, object] = {"site": site, "well": well, "first": "", "last": "", "number": 0}
        if record is None:
            rows.append({**row, "note": "no level that can be used"})
            continue

        row |= {"first": str(record.days[0]), "last": str(record.days[-1])}
        gap = longest_gap(record)
        notes = [] if gap is None else [f"no level from {gap.start} to {gap.end}: a step there has no date of its own"]
        found = find_level_changes(record)
        if not found:
            count = record.years.size
            few = f"too few years: {count} with a value, {LEAST_STEP_YEARS} needed"
            rows.append({**row, "note": "; ".join([few if count < LEAST_STEP_YEARS else "no step found", *notes])})
        for number, change in enumerate(found, start=1):
            row |= {"number": number, "year": change.year, "year_earliest": change.first, "year_latest": change.last}
            rows.append({**row, **dict(zip(_NUMBERS, change.shift, strict=True)), "note": "; ".join(notes)})
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in _NUMBERS:
        table[name] = table[name].astype(float)
    return table.astype(dict.fromkeys(("number", "year", "year_earliest", "year_latest"), "Int64"))
