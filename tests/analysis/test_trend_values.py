"""Trends of every value of wells, corrected for autocorrelation; constructed records."""

import numpy as np
import pandas as pd
import pymannkendall
import pytest
from scipy import stats

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_records import smooth_line, well_records
from gwnet.analysis.series.trend_values import EXTRA_COLUMNS
from gwnet.analysis.series.trends import COLUMNS, trends
from gwnet.errors import SettingsError
from gwnet.hydro.trends.kendall import mann_kendall

from .trend_rows import dry, quarterly, record, wells_of, yearly


def row_of(frame, **options):
    return trends(frame, wells_of(frame), method="all", **options).iloc[0]


def wandering(count, seed=3, slope=0.01):
    """Return levels to the centimetre that are correlated from each to the next and rise."""
    noise = np.random.default_rng(seed).normal(0, 0.2, count)
    for k in range(1, count):
        noise[k] += 0.6 * noise[k - 1]
    return (40 + slope * np.arange(count) + noise).round(2)


def daily(well, values, first="2020-01-01"):
    """Return rows of daily means of a logger."""
    days = pd.date_range(first, periods=len(values)).strftime("%Y-%m-%d")
    return [(well, day, value, {"method": "logger"}) for day, value in zip(days, values, strict=True)]


def test_plain_and_corrected_numbers_of_values_at_even_steps():
    """Against pyMannKendall (both tests) and SciPy (slope); times are days over 365.25."""
    value = wandering(60)
    row = row_of(record(*daily("W", value)))
    plain, other = pymannkendall.original_test(value), pymannkendall.hamed_rao_modification_test(value)
    assert (row["n"], row["s"], row["method"]) == (60, plain.s, "all")
    assert (row["z"], row["p_independent"]) == (pytest.approx(plain.z), pytest.approx(plain.p))
    assert row["var_s"] == pytest.approx(plain.var_s)
    assert row["var_s_corrected"] == pytest.approx(float(other.var_s))
    assert (row["z_corrected"], row["p"]) == (pytest.approx(float(other.z)), pytest.approx(float(other.p)))
    assert row["p"] > row["p_independent"]
    assert row["slope_m_per_year"] == pytest.approx(stats.theilslopes(value).slope * 365.25)
    width = 1.959963984540054 * np.sqrt(row["var_s_corrected"])
    slopes = np.sort([(value[b] - value[a]) / (b - a) for a in range(60) for b in range(a + 1, 60)]) * 365.25
    ranks = (slopes.size - width) / 2, (slopes.size + width) / 2 + 1
    limits = np.interp(ranks, np.arange(1, slopes.size + 1), slopes)
    assert [row["slope_lower_m_per_year"], row["slope_upper_m_per_year"]] == pytest.approx(limits)
    assert "times the variance" in row["note"]
    assert "60 of 60 values are daily means of loggers" in row["note"]


def test_without_autocorrelation_p_is_that_of_independent_values():
    """Of six values in one straight fall, S is −15 and p exact: 2 / 6!."""
    row = row_of(record(*yearly("W", [45.0, 44.0, 43.0, 42.0, 41.0, 40.0])))
    assert (row["s"], row["p"], row["p_independent"]) == (-15, pytest.approx(2 / 720), pytest.approx(2 / 720))
    assert row["var_s"] == row["var_s_corrected"]
    assert row["direction"] == "falling"
    assert row["note"].startswith("no autocorrelation beyond chance")


def test_every_value_counts_and_none_is_made_a_median():
    levels = record(("W", "2001-01-15", 41.0), ("W", "2001-02-15", 43.0), *yearly("W", [42.0, 44.0, 45.0], 2002))
    row = row_of(levels)
    assert (row["n"], row["s"]) == (5, 8)
    assert (row["first"], row["last"]) == ("2001-01-15", str(levels["day"].max().date()))


def test_on_a_day_with_a_manual_reading_the_logger_does_not_count():
    value = wandering(20)
    rows = daily("W", value)
    both = row_of(record(*rows, ("W", rows[4][1], 90.0)))
    assert both["n"] == 20
    assert "19 of 20 values are daily means of loggers" in both["note"]
    changed = value.copy()
    changed[4] = 90.0
    assert both["s"] == mann_kendall(changed).score


def test_dry_levels_are_in_the_test_and_not_in_the_slope():
    level = [45.0, 44.4, 44.1, 43.2, 43.0]
    frame = record(*yearly("W", level), dry("W", "2006-06-15", 42.5), dry("W", "2007-06-15", 42.5))
    row = row_of(frame)
    bound = [0, 0, 0, 0, 0, -1, -1]
    assert row["s"] == mann_kendall([*level, 42.5, 42.5], bound=bound).score == -20
    assert (row["n"], row["n_bounds"]) == (7, 2)
    assert row["slope_m_per_year"] == pytest.approx(row_of(record(*yearly("W", level)))["slope_m_per_year"])
    assert "2 of 7 values are bounds" in row["note"]


def test_mostly_dry_levels_have_a_test_and_no_slope():
    frame = record(*yearly("W", [45.0, 44.0]), *(dry("W", f"{year}-06-15", 42.5) for year in range(2003, 2008)))
    row = row_of(frame)
    assert row["s"] == -11
    assert row["p"] == row["p_independent"] < 0.2
    assert np.isnan(row["slope_m_per_year"])
    assert "too few levels that are numbers" in row["note"]


def test_a_correction_that_does_not_suit_gives_no_p():
    rank = [8.0, 0.0, 10.0, 2.0, 6.0, 7.0, 1.0, 9.0, 5.0, 3.0, 11.0, 4.0]
    row = row_of(record(*daily("W", 40 + np.array(rank) / 10)))
    assert row["var_s_corrected"] < 0
    assert np.isnan([row["p"], row["z_corrected"], row["p_adjusted"], row["slope_lower_m_per_year"]]).all()
    assert np.isfinite([row["p_independent"], row["slope_m_per_year"]]).all()
    assert "negative" in row["note"]


def test_too_few_values_and_no_level_at_all():
    frame = record(*yearly("W", [41.0, 42.0, 43.0]))
    table = trends(frame, pd.DataFrame({"site": ["S", "S"], "well": ["W", "X"]}), method="all")
    assert table["note"].tolist() == ["too few values: 3, 4 needed", "no level that can be used"]
    assert table["n"].tolist() == [3, 0]


def test_a_long_gap_is_said():
    frame = record(*yearly("W", [41.0, 42.0, 43.0]), *yearly("W", [43.0, 44.0, 44.5], 2012))
    assert "no level from 2003-06-15 to 2012-06-15, over a third of the record" in row_of(frame)["note"]


def test_columns_and_what_the_method_is_not_for():
    frame = record(*yearly("W", [41.0, 42.0, 43.0, 44.0]))
    table = trends(frame, wells_of(frame), method="all")
    place = COLUMNS.index("p")
    rest = [name for name in COLUMNS[place:] if name not in EXTRA_COLUMNS]
    assert tuple(table.columns) == (*COLUMNS[:place], *EXTRA_COLUMNS, *rest)
    from gwnet.analysis.series.trend_pooled import pooled_trends

    with pytest.raises(SettingsError, match="single wells"):
        pooled_trends(frame, wells_of(frame), method="all")


def test_a_smooth_line_follows_a_record_that_bends():
    """A rise of 1 m a year for six years and then none: the line bends with it, days in the middle of quarters."""
    level = [40.0 + min(k, 24) / 4 for k in range(48)]
    used, _ = used_levels(record(*quarterly("W", level)))
    (own,) = well_records(used, 4).values()
    days, line = smooth_line(own)
    assert days[0] == pytest.approx((31 + 1 / 8) * 365.25)
    assert np.diff(days) == pytest.approx(np.full(47, 365.25 / 4))
    assert line[4] - line[0] == pytest.approx(1.0, abs=0.15)
    assert line[47] - line[43] == pytest.approx(0.0, abs=0.15)
    short, _ = used_levels(record(*quarterly("W", level[:7])))
    assert smooth_line(next(iter(well_records(short, 4).values()))) is None
    fewest, _ = used_levels(record(*quarterly("W", level[:8])))
    assert smooth_line(next(iter(well_records(fewest, 4).values())))[1].size == 8


def test_a_regression_has_student_s_limits_and_says_what_it_assumes():
    """Against SciPy; slopes per year of 365.25 days."""
    value = wandering(60)
    frame = record(*daily("W", value), dry("W", "2020-06-01", 39.0))
    row = trends(frame, wells_of(frame), method="regression").iloc[0]
    line = stats.linregress(np.arange(60), value)
    width = stats.t.ppf(0.975, 58) * line.stderr
    assert [row["slope_m_per_year"], row["slope_lower_m_per_year"], row["slope_upper_m_per_year"]] == pytest.approx(
        [365.25 * slope for slope in (line.slope, line.slope - width, line.slope + width)]
    )
    assert (row["method"], row["p"], row["direction"]) == ("regression", pytest.approx(line.pvalue), "rising")
    assert row[["s", "var_s", "tau", "z"]].isna().all()
    assert "independent values and normal residuals assumed, serial correlation not taken into account" in row["note"]
    assert "1 of 61 values are bounds, which take no part" in row["note"]


def test_a_falling_line_is_falling_and_a_short_record_has_none():
    frame = record(*yearly("F", [45.0, 44.1, 43.0, 42.2, 41.0]), *yearly("S", [40.0, 41.0, 42.0]))
    falling, short = trends(frame, wells_of(frame), method="regression").to_dict("records")
    assert (falling["direction"], short["direction"]) == ("falling", "insufficient data")
    assert "4 needed" in short["note"]
