"""Trends of wells with rainfall and abstraction before each level taken out, beside the trends with them.

A trend of a few years is often that of wet and dry years or of pumping. The mean of each series over stated times
before a level goes into the line of the well; what is left of the slope is not explained by it.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_lines import LEAST_DEGREES, LineValues, line_values
from gwnet.analysis.series.trend_records import Memories, decimal_years, well_records
from gwnet.analysis.series.trend_tests import ALPHA
from gwnet.analysis.series.trends import parts_of_year
from gwnet.constants import DAYS_PER_YEAR
from gwnet.hydro.trends.correlated_line import CorrelatedLine, fit_correlated_line

Floats = NDArray[np.float64]

#: Columns of the trends without context, in order.
COLUMNS = tuple(
    (
        "well n first last p_with slope_with_m_per_year slope_with_lower_m_per_year slope_with_upper_m_per_year p "
        "slope_m_per_year slope_lower_m_per_year slope_upper_m_per_year direction inputs note site"
    ).split()
)

_NUMBERS: Final = (*COLUMNS[4:12],)
#: Times before a level over which inputs are averaged [d]: a quarter, and the nine months before it (project default:
#: quick recharge and the wetness of the year).
WINDOWS: Final = ((0, 91), (91, 365))
#: Quantities that are taken out.
QUANTITIES: Final = ("rainfall", "abstraction")
#: Days over which one value of a series may hold: series are of days or months.
LONGEST_HOLD_DAYS: Final = 31.0


def context_trends(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    context: pd.DataFrame,
    *,
    method: str = "seasonal",
    seasons: int = 4,
    approved: bool = False,
    memory: Memories | None = None,
) -> pd.DataFrame:
    """Fit the lines of wells with and without the rainfall and abstraction before each level.

    Parameters as `gwnet.analysis.series`.

    Parameters
    ----------
    context : pandas.DataFrame
        Columns site, series, quantity, date (local) and value.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`. n values have the whole of the times before them on record and take part in both lines.
        p_with and slope_with are of the line without inputs, p and slope of that with them: what rainfall and
        abstraction do not explain. direction follows from p at 5 %, not adjusted. inputs names the series.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is not known.

    Notes
    -----
    Each series gives two columns: its mean over the 91 days before a level, and over the 274 days before those. They
    stand beside a level for each season and the slope in `gwnet.hydro.trends.correlated_line.fit_correlated_line`, so
    the limits hold the uncertainty of the serial correlation and of the inputs' effects. Inputs that trend as well
    share the slope with it: its limits are then wide. Linear effects with fixed times are a rough model of an aquifer.
    """
    parts_of_year(method, seasons)
    used, _ = used_levels(levels, approved=approved)
    records = well_records(used, seasons, memory)
    by_site = {site: _inputs(own) for site, own in context.groupby("site")}
    rows = []
    for site, well in zip(wells["site"], wells["well"], strict=True):
        record = records.get((site, well))
        given = None if record is None else line_values(record)
        shared = None if record is None or record.memory is None else record.memory.weights
        rows.append({"site": site, "well": well, **_row(given, by_site.get(site, {}), shared)})
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in _NUMBERS:
        table[name] = table[name].astype(float)
    return table


def _inputs(context: pd.DataFrame) -> dict[str, tuple[Floats, Floats]]:
    """Return times and values of the series of a site that are taken out, by their names."""
    own = context[context["quantity"].isin(QUANTITIES)].sort_values("date", kind="stable")
    found = {}
    for name, values in own.groupby("series"):
        days = pd.to_datetime(values["date"]).to_numpy().astype("datetime64[D]")
        found[str(name)] = decimal_years(days), values["value"].to_numpy(dtype=np.float64)
    return found


def _row(
    given: LineValues | None, inputs: dict[str, tuple[Floats, Floats]], beforehand: Floats | None
) -> dict[str, Any]:
    nothing: dict[str, Any] = {"n": 0, "first": "", "last": "", "direction": "insufficient data", "inputs": ""}
    if given is None:
        return {**nothing, "note": "too few values that are numbers for a line"}
    if not inputs:
        return {**nothing, "note": "no series of rainfall or abstraction on record at the site"}
    columns = np.column_stack([antecedent_means(given.when, *series) for series in inputs.values()])
    # Only levels with a full year of every series before them; a short sum would look like a drought.
    here = ~np.isnan(columns).any(axis=1)
    columns, design = columns[here], given.design[here]
    too_few = {**nothing, "note": f"too few levels with a year of {', '.join(inputs)} before them: {int(here.sum())}"}
    if not here.any():
        return too_few
    spread = columns.std(axis=0)
    # A constant series says nothing and would leave the line without a solution.
    varies = spread > 0.0
    columns = (columns[:, varies] - columns[:, varies].mean(axis=0)) / spread[varies]
    # A season whose levels all had to be left out would be a column of zeros.
    design = design[:, design.any(axis=0)]
    whole = np.column_stack([columns, design])
    if len(whole) - whole.shape[1] < LEAST_DEGREES or np.linalg.matrix_rank(whole) < whole.shape[1]:
        return too_few
    when, values = given.when[here], given.values[here]
    # On the same levels with and without, so that the difference is that of the inputs.
    without, with_inputs = (fit_correlated_line(when, values, some, beforehand) for some in (design, whole))
    row: dict[str, Any] = {"n": int(here.sum()), "first": f"{int(when[0])}", "last": f"{int(when[-1])}"}
    row["inputs"] = "; ".join(inputs)
    row |= dict(zip(COLUMNS[4:8], _numbers(without), strict=True))
    p, slope, *limits = _numbers(with_inputs)
    row |= dict(zip(COLUMNS[8:12], (p, slope, *limits), strict=True))
    row["direction"] = "no significant trend" if p > ALPHA else "rising" if slope > 0 else "falling"
    times = " and ".join(f"{start} to {end}" for start, end in WINDOWS)
    row["note"] = f"means over {times} days before each level taken out"
    return row


def _numbers(line: CorrelatedLine) -> tuple[float, float, float, float]:
    """Return p and the slope, the last coefficient, with its limits."""
    count = line.coefficients.shape[1]
    row = np.zeros((1, count))
    row[0, -1] = 1.0
    middle, lower, upper = (float(line.quantile(row, p)[0]) for p in (0.5, 0.025, 0.975))
    return line.two_sided(count - 1), middle, lower, upper


def antecedent_means(when: Floats, times: Floats, values: Floats) -> Floats:
    """Return the means of a series over the times before some moments.

    Parameters
    ----------
    when : ndarray of float64, shape (n,)
        The moments [decimal year].
    times : ndarray of float64, shape (m,)
        Beginnings of the days or months that the values are of, ascending [decimal year].
    values : ndarray of float64, shape (m,)
        Values: of a day, or of a month where the series has one a month.

    Returns
    -------
    ndarray of float64, shape (n, 2)
        Means over `WINDOWS`; NaN where the series does not cover one of them.
    """
    means = np.full((when.size, len(WINDOWS)), np.nan)
    for k, (near, far) in enumerate(WINDOWS):
        start, end = when - far / DAYS_PER_YEAR, when - near / DAYS_PER_YEAR
        first, last = np.searchsorted(times, start), np.searchsorted(times, end)
        # A value holds for its day or month, so the last one covers the time up to a month later.
        covered = (times[0] <= start + 1.0 / DAYS_PER_YEAR) & (times[-1] + LONGEST_HOLD_DAYS / DAYS_PER_YEAR >= end)
        total = np.concatenate([[0.0], np.cumsum(values)])
        whole = covered & (last > first)
        means[whole, k] = (total[last] - total[first])[whole] / (last - first)[whole]
    return means
