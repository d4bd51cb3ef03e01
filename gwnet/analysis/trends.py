"""Trends of levels: one value a season or year of each well, tests by ranks, and what was left out.

The record is reduced to one value a period by the median before any test, so that a well that was read more often for
a time does not weigh more in it. Dry wells take part as bounds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.used_levels import used_levels
from gwnet.errors import SettingsError
from gwnet.hydro.false_discovery import adjusted_p_values
from gwnet.hydro.kendall import mann_kendall, normal_probabilities
from gwnet.hydro.seasonal_kendall import seasonal_kendall, seasonal_slope
from gwnet.hydro.serial import hamed_rao
from gwnet.hydro.theil_sen import limit_ranks, pairwise_slopes, ranked_limits, theil_sen

Floats = NDArray[np.float64]

#: Columns of the trends frame, in order.
COLUMNS = (
    "well",
    "method",
    "n",
    "first",
    "last",
    "n_bounds",
    "s",
    "var_s",
    "tau",
    "z",
    "p",
    "p_adjusted",
    "slope_m_per_year",
    "slope_lower_m_per_year",
    "slope_upper_m_per_year",
    "direction",
    "note",
    "site",
    "left_out",
)

METHODS = ("kendall", "seasonal")

#: Numbers of seasons that a year may be divided into: months or quarters.
SEASONS = (12, 4)

#: Fewest yearly values for the method kendall (common practice, no source).
LEAST_VALUES = 4

#: Fewest years for the method seasonal (common practice, no source).
LEAST_YEARS = 3

#: Years from which covariance among seasons can be told (Hirsch and Slack, 1984: about ten).
COVARIANCE_YEARS = 10

#: Share of the record beyond which a gap makes a monotonic test doubtful (Helsel and others, 2020, chapter 12; from
#: memory), and the years that are no gap in a record of few readings (own choice).
GAP_SHARE = 1.0 / 3.0
GAP_YEARS = 1.5

#: Decimals of a metre to which levels are compared: without binary dust equal levels are ties.
DECIMALS = 6

#: Level at which directions are told and serial correlation counts.
ALPHA = 0.05

#: Standard normal score of that level, both sides.
_SCORE = 1.959964


@dataclass(slots=True)
class _Tested:
    """What the test of one well found; NaN where it could not be made."""

    s: float = math.nan
    var_s: float = math.nan
    tau: float = math.nan
    z: float = math.nan
    p: float = math.nan
    slope: tuple[float, float, float] = (math.nan, math.nan, math.nan)
    notes: list[str] = field(default_factory=list)


def trends(levels: pd.DataFrame, wells: pd.DataFrame, *, method: str = "seasonal", seasons: int = 4) -> pd.DataFrame:
    """Test the levels of wells for monotonic trends.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels, as of `gwnet.analysis.levels.levels`.
    wells : pandas.DataFrame
        Columns site and well: one row of the result for each, in this order.
    method : {"seasonal", "kendall"}
        Seasons of the years compared each with its own kind, or one value a year.
    seasons : {4, 12}
        Seasons of a year, from January on: quarters or months.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`. n counts values of seasons or years, n_bounds those that are bounds; first and last are
        local dates of levels. s, var_s, tau (S over all pairs) and z are of independent values; p allows for serial
        correlation where the note says so; p_adjusted is for the wells of this call. Slopes are positive upward; their
        limits, at 95 %, have the variance that p was made with. NaN where a test could not be made.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is none of these.

    Notes
    -----
    Usable levels take part, and accepted dry ones as bounds; everything else is counted in ``left_out``. Several
    values of a period give their median. With bounds among them its lowest and highest possible value are medians as
    well; where these differ, the period has a bound, the highest.

    References
    ----------
    .. [1] Hirsch, R. M. and Slack, J. R. (1984). A nonparametric trend test for seasonal data with serial dependence.
       Water Resources Research 20, 727–732.
    .. [2] Hamed, K. H. and Rao, A. R. (1998). A modified Mann–Kendall trend test for autocorrelated data. J. Hydrology
       204, 182–196.
    .. [3] Benjamini, Y. and Hochberg, Y. (1995). Controlling the false discovery rate. J. Royal Statistical Society B
       57, 289–300.
    """
    if method not in METHODS:
        message = f"There is no method {method!r} for trends; expected {' or '.join(METHODS)}."
        raise SettingsError(message)
    if seasons not in SEASONS:
        message = f"A year cannot be divided into {seasons!r} seasons; expected {' or '.join(map(str, SEASONS))}."
        raise SettingsError(message)
    used, left_out = used_levels(levels)
    values = dict(list(_reduced(used, seasons if method == "seasonal" else 1).groupby(["site", "well"])))
    events = dict(list(used.groupby(["site", "well"])))
    rows = []
    for key in zip(wells["site"], wells["well"], strict=True):
        row = _row(key, method, seasons, values.get(key), events.get(key))
        rows.append({**row, "left_out": left_out.get(key, "")})
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in COLUMNS[6:15]:
        table[name] = table[name].astype(float)
    table["p_adjusted"] = adjusted_p_values(table["p"].to_numpy(dtype=np.float64))
    told = table["p_adjusted"] <= ALPHA
    table["direction"] = np.where(told, np.where(table["s"] > 0, "rising", "falling"), "no trend told")
    return table.astype({"s": "Int64"})


def _reduced(used: pd.DataFrame, seasons: int) -> pd.DataFrame:
    """Return one value a season of a year: columns site, well, year, season, value, bound (-1 or 0)."""
    keyed = used.assign(year=used["day"].dt.year, season=(used["day"].dt.month - 1) * seasons // 12)
    middle = keyed.groupby(["site", "well", "year", "season"], as_index=False)[["low", "high"]].median().round(DECIMALS)
    middle["bound"] = np.where(middle["low"] < middle["high"], -1, 0)
    return middle.rename(columns={"high": "value"}).drop(columns="low")


def _row(
    key: tuple[str, str], method: str, seasons: int, values: pd.DataFrame | None, events: pd.DataFrame | None
) -> dict[str, object]:
    row: dict[str, object] = {"site": key[0], "well": key[1], "method": method, "n": 0, "first": "", "last": ""}
    if values is None or events is None:
        return {**row, "n_bounds": 0, "note": "no level that can be used"}
    days = events["day"].sort_values()
    tested = _seasonal(values, seasons) if method == "seasonal" else _kendall(values, days, seasons)
    if not math.isnan(tested.p):
        tested.notes += _bound_notes(values) + _gap_notes(days)
    slope, lower, upper = tested.slope
    return {
        **row,
        "n": len(values),
        "first": f"{days.iloc[0]:%Y-%m-%d}",
        "last": f"{days.iloc[-1]:%Y-%m-%d}",
        "n_bounds": int((values["bound"] < 0).sum()),
        "s": tested.s,
        "var_s": tested.var_s,
        "tau": tested.tau,
        "z": tested.z + 0.0,
        "p": tested.p,
        "slope_m_per_year": slope,
        "slope_lower_m_per_year": lower if math.isfinite(lower) else math.nan,
        "slope_upper_m_per_year": upper if math.isfinite(upper) else math.nan,
        "note": "; ".join(tested.notes),
    }


def _kendall(values: pd.DataFrame, days: pd.Series, seasons: int) -> _Tested:
    """Test the yearly values of a well."""
    if len(values) < LEAST_VALUES:
        return _Tested(notes=[f"too few years: {len(values)} with a value, {LEAST_VALUES} needed"])
    value, bound = values["value"].to_numpy(dtype=np.float64), values["bound"].to_numpy()
    year = values["year"].to_numpy(dtype=np.float64)
    plain = mann_kendall(value, year, bound=bound)
    tested = _Tested(plain.score, plain.variance, plain.tau_a, plain.z, plain.p_value)
    ratio, lag1 = _widening(value[bound == 0])
    if ratio > 1.0:
        tested.p = normal_probabilities(plain.score, plain.variance * ratio)[1]
        tested.notes.append(
            f"years go together (lag-1 correlation {lag1:.2f}): p by Hamed and Rao with {ratio:.2f} times var_s, "
            f"without it {_p_text(plain.p_value)}"
        )
    tested.slope = _yearly_slope(value[bound == 0], year[bound == 0], max(ratio, 1.0))
    if (pd.Series((days.dt.month - 1) * seasons // 12).groupby(days.dt.year).agg(frozenset).nunique()) > 1:
        tested.notes.append("years have levels of different seasons: see method seasonal as well")
    return tested


def _widening(numbers: Floats) -> tuple[float, float]:
    """Return by what the variance of S grows with serial correlation (1: none told), and the lag-1 correlation."""
    if numbers.size < LEAST_VALUES:
        return 1.0, math.nan
    found = hamed_rao(numbers)
    told = found.lag1 > _SCORE / math.sqrt(found.count) and found.variance_ratio > 1.0
    return (found.variance_ratio if told else 1.0), found.lag1


def _yearly_slope(value: Floats, year: Floats, ratio: float) -> tuple[float, float, float]:
    """Return slope and limits of the numbers among yearly values."""
    if value.size < 2:
        return (math.nan,) * 3
    line = theil_sen(value, year)
    if ratio == 1.0:
        return line.slope, line.lower, line.upper
    ranks = limit_ranks(line.slope_count, mann_kendall(value, year, method="normal").variance * ratio)
    return ranked_limits(pairwise_slopes(value, year), *ranks)


def _seasonal(values: pd.DataFrame, seasons: int) -> _Tested:
    """Test the seasonal values of a well."""
    first = int(values["year"].min())
    years = np.arange(first, int(values["year"].max()) + 1)
    table, bound = np.full((years.size, seasons), np.nan), np.zeros((years.size, seasons), dtype=np.int64)
    places = values["year"].to_numpy() - first, values["season"].to_numpy()
    table[places], bound[places] = values["value"], values["bound"]
    counted, most = values["year"].nunique(), int((~np.isnan(table)).sum(axis=0).max())
    if counted < LEAST_YEARS or most < 2:
        words = f"{counted} with a value, at most {most} of one season; {LEAST_YEARS} years and 2 of a season needed"
        return _Tested(notes=[f"too few years: {words}"])
    found = seasonal_kendall(table, bound=bound)
    tested = _Tested(found.score, found.variance, found.tau_a, found.z, found.p_value)
    correlated = counted >= COVARIANCE_YEARS and found.variance_correlated > 0.0
    if correlated:
        tested.p = found.p_value_correlated
        tested.notes.append(f"p with covariance among seasons, without it {_p_text(found.p_value)}")
    else:
        tested.notes.append(
            f"{counted} years with values: too few to allow for covariance among seasons, p is too small where levels "
            "persist from season to season"
        )
    numbers = np.where(bound < 0, np.nan, table)
    if (np.isfinite(numbers).sum(axis=0) >= 2).any():
        line = seasonal_slope(numbers, years, correlated=correlated)
        tested.slope = (line.slope, line.lower, line.upper)
    if found.heterogeneity_p <= ALPHA:
        tested.notes.append(f"seasons differ in their trends ({_p_text(found.heterogeneity_p)})")
    return tested


def _bound_notes(values: pd.DataFrame) -> list[str]:
    bounds = int((values["bound"] < 0).sum())
    if not bounds:
        return []
    return [
        f"{bounds} of {len(values)} values are bounds: in the test by rank, not in the slope, which is too flat where "
        "a well falls dry"
    ]


def _gap_notes(days: pd.Series) -> list[str]:
    """Return a note where the longest time without a level is over a third of the record."""
    steps = days.diff()
    longest, whole = steps.max(), days.iloc[-1] - days.iloc[0]
    if longest <= GAP_SHARE * whole or longest.days <= GAP_YEARS * 365.25:
        return []
    end = steps.idxmax()
    after = days.loc[end]
    return [
        f"no level from {after - longest:%Y-%m-%d} to {after:%Y-%m-%d}, over a third of the record: a test for one "
        "trend may be wrong across it, compare the levels before and after"
    ]


def _p_text(p: float) -> str:
    return f"p {p:.2g}" if p >= 1e-4 else "p below 0.0001"
