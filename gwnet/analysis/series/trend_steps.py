"""Steps of levels: the most likely one, and those at moments that are known, such as a new measuring point."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pandas as pd

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_changes import Step, find_step
from gwnet.analysis.series.trend_records import WellRecord, longest_gap, well_records
from gwnet.analysis.series.trend_tests import TrendResult, segments_of
from gwnet.analysis.series.trends import parts_of_year
from gwnet.hydro.trends.false_discovery import adjusted_p_values
from gwnet.hydro.trends.step_test import pettitt

#: Columns of the steps, in order.
COLUMNS = tuple(
    (
        "site well moment at years_before years_after statistic p p_adjusted shift_m shift_lower_m shift_upper_m note"
    ).split()
)

_NUMBERS = ("p", "p_adjusted", "shift_m", "shift_lower_m", "shift_upper_m")

#: Fewest years for Pettitt's test (project default), and before and after a known moment.
LEAST_YEARS = 6
LEAST_BESIDE = 2


def trend_steps(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    moments: pd.DataFrame,
    *,
    method: str = "seasonal",
    seasons: int = 4,
    approved: bool = False,
) -> pd.DataFrame:
    """Test the levels of wells for steps.

    Parameters as `gwnet.analysis.series`.

    Parameters
    ----------
    moments : pandas.DataFrame
        Columns site, well, moment (what happened, such as ``new measuring point``) and day (local date): what is known
        beforehand.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`: for each well the most likely step, the longest gap where it is over a
        third of the record, and the moments. at is the date of the moment, of the first level after the gap, or the
        first day of the first year after the most likely step. statistic is Pettitt's K of the record, or the score of
        the pairs of one year before and one after. p_adjusted is for all rows of the call. Shifts are after less
        before, positive upward, with limits at 95 %; those of the most likely step hold its search.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is not known.

    Notes
    -----
    The most likely step has p and limits from `gwnet.analysis.series.trend_changes.find_step`, over all dates and
    correlations; where over half of the values are bounds from Pettitt's test (1979), widened for the correlation from
    one year to the next. For the others whole years are compared; the year of a known moment is left out unless all
    its levels are on one side, and the test is widened likewise. A trend makes a step as well: look at the hydrograph.
    """
    used, _ = used_levels(levels, approved=approved)
    records = well_records(used, parts_of_year(method, seasons))
    known = dict(list(moments.groupby(["site", "well"])))
    rows: list[dict[str, object]] = []
    for key in zip(wells["site"], wells["well"], strict=True):
        start: dict[str, object] = {"site": key[0], "well": key[1]}
        if key not in records:
            rows.append({**start, "moment": "most likely", "at": "", "note": "no level that can be used"})
            continue
        record = records[key]
        rows.append({**start, **_most_likely(record)})
        rows += [{**start, **row} for row in _at_gap(record)]
        for moment in known[key].sort_values("day").itertuples(index=False) if key in known else ():
            rows.append({**start, **_at(record, str(moment.moment), moment.day)})
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in _NUMBERS:
        table[name] = table[name].astype(float)
    for name in ("years_before", "years_after", "statistic"):
        table[name] = table[name].astype("Int64")
    table["p_adjusted"] = adjusted_p_values(table["p"].to_numpy(dtype=np.float64))
    return table


def _most_likely(record: WellRecord) -> dict[str, object]:
    years = record.years.size
    if years < LEAST_YEARS:
        return {"moment": "most likely", "at": "", "note": f"too few years: {years} with a value, {LEAST_YEARS} needed"}
    if record.bounds == record.count:
        # A step between bounds cannot be seen, only that they stay bounds.
        return {"moment": "most likely", "at": "", "note": "every value is a bound: no step can be seen"}
    # Without widening first: the date does not depend on it, and gives the segments whose scores it is worked out from.
    plain = pettitt(record.values, bound=record.bound, method="approximate")
    first = plain.last_before + 1
    result, _ = segments_of(record, first)
    searched = find_step(record)
    if searched is not None:
        return _searched(record, searched, plain.statistic, years)
    step = pettitt(record.values, bound=record.bound, widening=result.widening)
    return {
        "moment": "most likely",
        "at": f"{record.years[first]}-01-01",
        "years_before": first,
        "years_after": years - first,
        "statistic": step.statistic,
        "p": step.p_value,
        **_shift(result),
        "note": _note(result, record),
    }


def _searched(record: WellRecord, step: Step, statistic: int, years: int) -> dict[str, object]:
    """Return the row of a step that was looked for over all dates and correlations."""
    before = int(np.searchsorted(record.years, step.year))
    when = f"between {step.first} and {step.last}" if step.first < step.last else f"at the beginning of {step.first}"
    notes = [
        f"date {when} (95 %)",
        f"correlation from one year to the next {step.correlation:.2f}: p and limits allow for it and for the search",
    ]
    if record.bounds:
        notes.append(f"{record.bounds} of {record.count} values are bounds")
    return {
        "moment": "most likely",
        "at": f"{step.year}-01-01",
        "years_before": before,
        "years_after": years - before,
        "statistic": statistic,
        "p": step.p,
        **dict(zip(("shift_m", "shift_lower_m", "shift_upper_m"), step.shift, strict=True)),
        "note": "; ".join(notes),
    }


def _at_gap(record: WellRecord) -> list[dict[str, object]]:
    gap = longest_gap(record)
    if gap is None:
        return []
    return [_compared(record, gap.first_after, "long gap", str(gap.end))]


def _at(record: WellRecord, moment: str, day: dt.date) -> dict[str, object]:
    """Compare the years before and after a known day."""
    when = np.datetime64(day, "D")
    year = int(when.astype("datetime64[Y]").astype(np.int64)) + 1970
    of_year = record.days[record.days.astype("datetime64[Y]") == when.astype("datetime64[Y]")]
    # A year with levels before and after the moment belongs to neither side.
    mixed = of_year.size > 0 and of_year[0] < when <= of_year[-1]
    kept = record.years != year if mixed else np.ones(record.years.size, dtype=bool)
    tables = {name: getattr(record, name)[kept] for name in ("years", "values", "bound", "when")}
    part = replace(record, **tables)
    late = year if of_year.size and of_year[0] >= when else year + 1
    return _compared(part, int(np.searchsorted(part.years, late)), moment, str(when))


def _compared(record: WellRecord, first_after: int, moment: str, at: str) -> dict[str, object]:
    before, after = first_after, record.years.size - first_after
    row: dict[str, object] = {"moment": moment, "at": at, "years_before": before, "years_after": after}
    if min(before, after) < LEAST_BESIDE:
        return {**row, "note": f"too few years: {before} before and {after} after, {LEAST_BESIDE} of each needed"}
    result, words = segments_of(record, first_after)
    if words is None:
        return {**row, "note": "no season has levels before and after it"}
    return {**row, "statistic": int(result.s), "p": result.p, **_shift(result), "note": _note(result, record)}


def _note(result: TrendResult, record: WellRecord) -> str:
    if all(math.isfinite(number) for number in result.slope):
        return "; ".join(result.notes)
    why = "bounds leave" if record.bounds else "too few years leave"
    return "; ".join([*result.notes, f"{why} the shift or its limits open"])


def _shift(result: TrendResult) -> dict[str, object]:
    numbers = [number if math.isfinite(number) else math.nan for number in result.slope]
    return dict(zip(("shift_m", "shift_lower_m", "shift_upper_m"), numbers, strict=True))
