"""Trends of all values of wells: every level takes part.

Method ``all`` corrects the variance for autocorrelation; ``regression`` is the straight line by least squares, which
takes values as independent and residuals as normal.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.period_values import DECIMALS, drop_logged_on_reading_days
from gwnet.analysis.levels.serving import used_levels, values_and_bounds
from gwnet.analysis.series.trend_records import WellRecord, longest_gap, well_records
from gwnet.analysis.series.trend_tests import LEAST_VALUES, p_text
from gwnet.constants import DAYS_PER_YEAR
from gwnet.hydro.trends.hamed_rao import CorrectedVariance, hamed_rao
from gwnet.hydro.trends.kendall import mann_kendall
from gwnet.hydro.trends.linear_regression import linear_trend
from gwnet.hydro.trends.theil_sen import theil_sen

Floats = NDArray[np.float64]

#: Columns beyond those of the other methods; they are before p.
EXTRA_COLUMNS = ("p_independent", "var_s_corrected", "z_corrected")

#: What every regression says of itself.
ASSUMED = (
    "linear regression: independent values and normal residuals assumed, serial correlation not taken into account, so "
    "that p and limits are too narrow where levels are correlated: see method seasonal"
)


def value_trends(
    levels: pd.DataFrame, wells: pd.DataFrame, *, method: str = "all", approved: bool = False
) -> list[dict[str, object]]:
    """Test all values of wells for trends.

    Parameters as `gwnet.analysis.series`.

    Parameters
    ----------
    method : {"all", "regression"}
        Test by ranks, or straight line by least squares.

    Returns
    -------
    list of dict
        Rows of `gwnet.analysis.series.trends.trends`, without p_adjusted and direction. s, var_s, tau, z and
        p_independent are of independent values; var_s_corrected, z_corrected and p allow for autocorrelation, and so
        do the limits of the slope. p is NaN where the corrected variance is not positive. Of a regression s, var_s, tau
        and z are NaN, and p and limits are Student's t of independent values; the note says so.

    Notes
    -----
    Mann–Kendall test of every usable level, dry and flowing ones as bounds by rank. The variance of S is corrected
    after Hamed and Rao (1998) with the ranks of the levels less their Theil–Sen line, lags counted in values; the slope
    is the median over all pairs of levels that are numbers, time in days. On a day with manual readings the daily mean
    of a logger does not count. A seasonal cycle is part of the values: unlike the method ``seasonal``, this one
    compares each season with all others.

    References
    ----------
    .. [1] Hamed, K. H. and Rao, A. R. (1998). A modified Mann–Kendall trend test for autocorrelated data. J. Hydrology
       204, 182–196.
    """
    used, left_out = used_levels(levels, approved=approved)
    records = well_records(used, 1)
    values = dict(list(drop_logged_on_reading_days(used).groupby(["site", "well"]))) if len(used) else {}
    rows = []
    for key in zip(wells["site"], wells["well"], strict=True):
        row: dict[str, object] = {"site": key[0], "well": key[1], "method": method, "left_out": left_out.get(key, "")}
        rows.append(row | _row(values.get(key), records.get(key), method))
    return rows


def _row(own: pd.DataFrame | None, record: WellRecord | None, method: str) -> dict[str, object]:
    if own is None or record is None:
        return {"n": 0, "first": "", "last": "", "n_bounds": 0, "note": "no level that can be used"}
    own = own.sort_values("day", kind="stable")
    days = own["day"].to_numpy().astype("datetime64[D]").astype(np.int64)
    value, bound = values_and_bounds(own["low"], own["high"])
    value = value.round(DECIMALS)
    row: dict[str, object] = {
        "n": value.size,
        "first": str(record.days[0]),
        "last": str(record.days[-1]),
        "n_bounds": int((bound != 0).sum()),
    }
    if value.size < LEAST_VALUES:
        return {**row, "note": f"too few values: {value.size}, {LEAST_VALUES} needed"}
    test = _test if method == "all" else _regression
    numbers, notes = test(days / DAYS_PER_YEAR, value, bound)
    logged = int((own["source"] == "logger").sum())
    if logged:
        notes.append(f"{logged} of {value.size} values are daily means of loggers")
    gap = longest_gap(record)
    if gap is not None:
        notes.append(f"no level from {gap.start} to {gap.end}, over a third of the record: see method seasonal")
    return {**row, **numbers, "note": "; ".join(notes)}


def _test(years: Floats, value: Floats, bound: NDArray[np.int64]) -> tuple[dict[str, float], list[str]]:
    """Return the numbers of a test by their columns, and what they rest on."""
    plain = mann_kendall(value, years, bound=bound)
    numbers = {
        "s": plain.score,
        "var_s": plain.variance,
        "tau": plain.tau_a,
        "z": plain.z + 0.0,
        "p_independent": plain.p_value,
        "var_s_corrected": plain.variance,
        "z_corrected": plain.z + 0.0,
        "p": plain.p_value,
    }
    known = bound == 0
    notes = []
    if not known.all():
        notes.append(f"{int((~known).sum())} of {value.size} values are bounds: in the test by rank, not in the slope")
    # Slopes to a bound are ranges, of which there is no median.
    if known.sum() < LEAST_VALUES or np.ptp(years[known]) == 0.0:
        return numbers, [*notes, "too few levels that are numbers for a slope and for autocorrelation"]
    slope = theil_sen(value[known], years[known]).slope
    corrected = hamed_rao(value[known] - slope * years[known], plain.score, plain.variance)
    if corrected.lags:
        numbers |= {
            "var_s_corrected": plain.variance * corrected.ratio,
            "z_corrected": corrected.z + 0.0,
            "p": corrected.p_value,
        }
    # A negative variance of the correction leaves no limits; the slope itself needs none.
    variance = plain.variance * corrected.ratio if corrected.ratio > 0.0 else math.nan
    limits = _limits(value[known], years[known], variance)
    return numbers | limits, [_correction_text(corrected, plain.p_value), *notes]


def _regression(years: Floats, value: Floats, bound: NDArray[np.int64]) -> tuple[dict[str, float], list[str]]:
    """Return the numbers of a straight line by their columns, and what they assume."""
    known = bound == 0
    notes = [ASSUMED]
    if not known.all():
        notes.append(f"{int((~known).sum())} of {value.size} values are bounds, which take no part")
    if known.sum() < LEAST_VALUES or np.ptp(years[known]) == 0.0:
        return {}, [*notes, "too few levels that are numbers for a line"]
    line = linear_trend(value[known], years[known])
    return {
        "p_independent": line.p_value,
        "p": line.p_value,
        "slope_m_per_year": line.slope,
        "slope_lower_m_per_year": line.lower,
        "slope_upper_m_per_year": line.upper,
    }, notes


def _limits(value: Floats, years: Floats, variance: float) -> dict[str, float]:
    """Return the slope and its limits by their columns; limits are NaN where there are none."""
    line = theil_sen(value, years, variance=0.0 if math.isnan(variance) else variance)
    limits = [
        limit if math.isfinite(limit) and not math.isnan(variance) else math.nan for limit in (line.lower, line.upper)
    ]
    return {
        "slope_m_per_year": line.slope,
        "slope_lower_m_per_year": limits[0],
        "slope_upper_m_per_year": limits[1],
    }


def _correction_text(corrected: CorrectedVariance, p: float) -> str:
    if not corrected.lags:
        return "no autocorrelation beyond chance: p as of independent values"
    lags = f"autocorrelation at {corrected.lags} {'lag' if corrected.lags == 1 else 'lags'}"
    if not corrected.ratio > 0.0:
        return f"{lags} makes the corrected variance negative, so there is no p: see method seasonal"
    return (
        f"{lags} (lag 1: {corrected.lag1:.2f}): p and limits with {corrected.ratio:.2f} times the variance, "
        f"without it {p_text(p)}"
    )
