"""Trend of an aquifer: all its wells in one test, with the covariance among them, and whether they agree.

The statistic of the differences among wells is divided by 1 − ρ, ρ the mean correlation of the wells' scores, and by
the widening: without the first, wells that rise and fall together would never differ. The correlation from year to year
is the larger of that of all wells together and the mean of the wells' own, because one sum of scores shows it too
weakly.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import chdtrc

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_records import WellRecord, longest_gap, stack_records, well_records
from gwnet.analysis.series.trend_tests import ALPHA, LEAST_YEARS, p_text, residual_serial_correlation
from gwnet.analysis.series.trends import directions, parts_of_year
from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.false_discovery import adjusted_p_values
from gwnet.hydro.trends.kendall import normal_probabilities
from gwnet.hydro.trends.seasonal_kendall import seasonal_kendall
from gwnet.hydro.trends.serial_correlation import variance_ratio
from gwnet.hydro.trends.year_signs import correlated_variance, year_score, year_signs

Floats = NDArray[np.float64]

#: Columns of the pooled trends, in order.
COLUMNS = tuple(
    (
        "site aquifer method wells n first last n_bounds s var_s tau z p p_adjusted slope_m_per_year "
        "slope_lower_m_per_year slope_upper_m_per_year direction wells_rising wells_falling p_wells_differ "
        "p_seasons_differ note left_out p_independent"
    ).split()
)

_NUMBERS = (*COLUMNS[8:17], "p_wells_differ", "p_seasons_differ", "p_independent")

#: Correlation of scores beyond which differences among them are not distinguishable.
ALIKE = 0.98


def pooled_trends(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    method: str = "seasonal",
    seasons: int = 4,
    approved: bool = False,
) -> pd.DataFrame:
    """Test the wells of each aquifer together for one trend.

    Parameters as `gwnet.analysis.series`.

    Parameters
    ----------
    wells : pandas.DataFrame
        Columns site, well and aquifer; wells without an aquifer take no part.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`, one row an aquifer of a site, by site and aquifer. wells counts those with three years or
        more and no level missing for over a third of the record; left_out names the others, with the reason. var_s, z
        and p_independent take all seasons of all wells as independent; p and the limits of the slope have the
        covariance among wells and seasons, widened for the correlation from year to year. The slope is the median of
        all slopes within seasons of wells. p_wells_differ (p_seasons_differ) is the probability of so different trends
        of the wells (seasons) where all have one.

    Raises
    ------
    SettingsError
        If the method or the number of seasons is not known.

    Notes
    -----
    The test is the regional Kendall test (Helsel and Frans, 2006) with the covariance of Dietz and Killeen (1981).
    Differences are tested by Σ z² − m z̄² over the wells (van Belle and Hughes, 1984), z with the variance that each has
    by itself; it is divided by 1 − ρ, ρ the mean correlation of the z (wells of an aquifer rise and fall together, and
    then differ less by chance), and by the widening. The correlation from year to year is the larger of that of the
    scores of all wells together and the mean of the wells' own.

    References
    ----------
    .. [1] Helsel, D. R. and Frans, L. M. (2006). Regional Kendall test for trend. Environmental Science and
       Technology 40, 4066–4073.
    .. [2] Dietz, E. J. and Killeen, T. J. (1981). A nonparametric multivariate test for monotone trend with
       pharmaceutical applications. J. American Statistical Association 76, 169–174.
    .. [3] van Belle, G. and Hughes, J. P. (1984). Nonparametric tests for trend in water quality. Water Resources
       Research 20, 127–136.
    """
    used, _ = used_levels(levels, approved=approved)
    records = well_records(used, parts_of_year(method, seasons))
    asked = wells[wells["aquifer"].fillna("") != ""]
    rows = []
    for (site, aquifer), some in asked.groupby(["site", "aquifer"], sort=True):
        codes = some["well"].tolist()
        of_aquifer = [records[site, code] for code in codes if (site, code) in records]
        rows.append({"site": site, "aquifer": aquifer, "method": method, **_row(of_aquifer, codes)})
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in _NUMBERS:
        table[name] = table[name].astype(float)
    table["p_adjusted"] = adjusted_p_values(table["p"].to_numpy(dtype=np.float64))
    table["direction"] = directions(table)
    return table.astype({"s": "Int64"})


def _row(records: list[WellRecord], codes: list[str]) -> dict[str, object]:
    long = [record for record in records if record.years.size >= LEAST_YEARS and _has_pairs(record)]
    enough = [record for record in long if longest_gap(record) is None]
    rest = sorted(set(codes) - {record.well for record in long})
    with_gap = sorted({record.well for record in long} - {record.well for record in enough})
    reasons = [
        f"{why}: {', '.join(wells)}"
        for why, wells in (
            (f"fewer than {LEAST_YEARS} years with values", rest),
            ("no level for over a third of the record", with_gap),
        )
        if wells
    ]
    row: dict[str, object] = {"wells": len(enough), "n": 0, "first": "", "last": "", "n_bounds": 0}
    row |= {"wells_rising": 0, "wells_falling": 0}
    row["left_out"] = "; ".join(reasons)
    if not enough:
        return {**row, "note": f"no well has {LEAST_YEARS} years with values and no long gap"}
    return {**row, **_tested(enough)}


def _has_pairs(record: WellRecord) -> bool:
    return bool(((~np.isnan(record.values)).sum(axis=0) >= 2).any())


def _tested(records: list[WellRecord]) -> dict[str, object]:
    """Test records together."""
    years, values, bound = stack_records(records)
    when = years.astype(np.float64)
    signs = year_signs(values, bound=bound)
    score, variance = year_score(signs), correlated_variance(signs)
    alone = [seasonal_kendall(record.values, bound=record.bound) for record in records]
    independent = sum(one.variance for one in alone)
    line = pair_slopes(values, when, bound=bound)
    steep = line.limits(variance)[0]
    together = residual_serial_correlation(values, bound, when, steep)
    correlation = max(together.corrected, _mean_correlation(records))
    widening = variance_ratio(together.count, correlation)
    without = normal_probabilities(score, variance, continuity=False)[1]
    variance *= widening
    slopes = [number if math.isfinite(number) else math.nan for number in line.limits(variance)]
    counts = (~np.isnan(values)).sum(axis=0)
    scores = np.array([one.score for one in alone])
    notes = [f"p with covariance among wells and seasons, with none {p_text(_independent_p(score, independent))}"]
    if widening > 1.0:
        notes.append(
            f"serial correlation {correlation:.2f}: p and limits with {widening:.2f} times the variance, "
            f"without it {p_text(without)}"
        )
    seasons = records[0].values.shape[1]
    own = [slice(k * seasons, (k + 1) * seasons) for k in range(len(records))]
    by_wells = [year_signs(values[:, some], bound=bound[:, some]) for some in own]
    by_seasons = [year_signs(values[:, k::seasons], bound=bound[:, k::seasons]) for k in range(seasons)]
    differ = [_differ(parts, widening) for parts in (by_wells, by_seasons)]
    notes += [
        f"{noun} differ in their trends" for noun, p in zip(("wells", "seasons"), differ, strict=True) if p <= ALPHA
    ]
    return {
        "n": int(counts.sum()),
        "first": str(min(record.days[0] for record in records)),
        "last": str(max(record.days[-1] for record in records)),
        "n_bounds": sum(record.bounds for record in records),
        "s": score,
        "var_s": independent,
        "tau": score / float((counts * (counts - 1)).sum() / 2),
        "z": normal_probabilities(score, independent)[0] + 0.0,  # -0.0 would print a sign
        "p": normal_probabilities(score, variance, continuity=False)[1],
        "p_independent": _independent_p(score, independent),
        "slope_m_per_year": slopes[0],
        "slope_lower_m_per_year": slopes[1],
        "slope_upper_m_per_year": slopes[2],
        "wells_rising": int((scores > 0).sum()),
        "wells_falling": int((scores < 0).sum()),
        "p_wells_differ": differ[0],
        "p_seasons_differ": differ[1],
        "note": "; ".join(notes),
    }


def _mean_correlation(records: list[WellRecord]) -> float:
    """Return the mean of the wells' own correlations from one year to the next, corrected for their lengths."""
    correlations = []
    for record in records:
        years = record.years.astype(np.float64)
        steep = pair_slopes(record.values, years, bound=record.bound).limits(0.0)[0]
        correlations.append(residual_serial_correlation(record.values, record.bound, years, steep).corrected)
    return float(np.mean(correlations))


def _independent_p(score: int, variance: float) -> float:
    return normal_probabilities(score, variance)[1]


def _differ(parts: list[Floats], widening: float) -> float:
    """Return the probability of so different trends of wells or seasons; NaN where they are not distinguishable."""
    # A well whose score cannot vary, as with one value a season, says nothing of differences.
    variances = np.array([correlated_variance(signs) for signs in parts])
    kept = [signs / math.sqrt(variance) for signs, variance in zip(parts, variances, strict=True) if variance > 0.0]
    m = len(kept)
    if m < 2:
        return math.nan
    z = np.array([np.triu(signs, 1).sum() for signs in kept])
    # Mean correlation of the parts, from the variance of their sum.
    shared = (correlated_variance(np.sum(kept, axis=0)) - m) / (m * (m - 1))
    # Wells that move as one leave no difference to test: 1 - shared would be division by almost nothing.
    if shared > ALIKE:
        return math.nan
    apart = max(float((z * z).sum() - m * z.mean() ** 2), 0.0)
    return float(chdtrc(m - 1, apart / ((1.0 - shared) * widening)))
