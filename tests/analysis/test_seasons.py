"""Seasons of wells: what takes part, one value a month, the newest level among its month, cycles, records; constructed.

Numbers of percentiles, cycles and decompositions are held to printed numbers and libraries in the tests of
``gwnet.hydro``; here they are held to come out of the frame as they went in.
"""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.period_values import period_values
from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.daily_seasons import COLUMNS as DAILY_COLUMNS
from gwnet.analysis.series.daily_seasons import daily_seasons
from gwnet.analysis.series.decomposition import COLUMNS, well_decomposition
from gwnet.analysis.series.seasons import SEASONS_COLUMNS, SUMMARY_COLUMNS, season_summary, seasons
from gwnet.errors import SettingsError, TooFewLevelsError

from .frames import levels


def record(*rows):
    """Return levels from (well, date, elevation[, more]); more may also hold quality, review, finding and method."""
    plain = {"quality": "good", "review": "approved", "finding": "", "method": ""}
    given = [{**plain, **(row[3] if len(row) > 3 else {})} for row in rows]
    frame = levels(*(((*row, {})[:4]) for row in rows))
    return frame.assign(**{name: [more[name] for more in given] for name in plain})


def dry(well, day, bound, **more):
    return well, day, bound, {"status": "dry", "bound": "<=", "unusable_reason": "dry", **more}


def monthly(well, first, last, level=lambda year, month: 40.0 + 0.01 * (year - 2000) + 0.1 * month):
    """Return rows with one level a month."""
    return [
        (well, f"{year}-{month:02d}-15", round(level(year, month), 4))
        for year in range(first, last + 1)
        for month in range(1, 13)
    ]


def wells_of(frame):
    return frame[["site", "well"]].drop_duplicates()


def months(frame, **options):
    return seasons(frame, wells_of(frame), **options).set_index("month")


def summary(frame, **options):
    return season_summary(frame, wells_of(frame), **options).set_index("well")


def test_the_columns_are_those_that_scripts_rely_on():
    frame = record(*monthly("A", 2001, 2003))
    assert tuple(seasons(frame, wells_of(frame)).columns) == SEASONS_COLUMNS
    assert tuple(season_summary(frame, wells_of(frame)).columns) == SUMMARY_COLUMNS


def test_a_month_has_the_statistics_of_its_years():
    found = months(record(*monthly("A", 2001, 2012)))
    row = found.loc[5]
    expected = np.percentile(40.5 + 0.01 * np.arange(1, 13), [10, 25, 50, 75, 90], method="weibull")
    assert [row[f"{name}_m"] for name in ("p10", "p25", "p50", "p75", "p90")] == pytest.approx(expected)
    assert (row["minimum_m"], row["maximum_m"], row["mean_m"]) == pytest.approx((40.51, 40.62, 40.565))
    assert (row["years"], row["n"], row["first"], row["last"]) == (12, 12, 2001, 2012)
    assert (row["newest"], row["newest_m"]) == ("2012-05-15", 40.62)
    assert row["percentile"] == pytest.approx(100 * 12 / 13)
    assert (row["at_or_below"], row["note"]) == ("", "")


def test_with_fewer_years_there_are_no_percentiles_but_a_note():
    row = months(record(*monthly("A", 2001, 2009))).loc[5]
    assert np.isnan([row["p50_m"], row["percentile"]]).all()
    assert row["mean_m"] == pytest.approx(40.55)
    assert "10 needed" in row["note"]
    lower = months(record(*monthly("A", 2001, 2008)), least_years=8).loc[5]
    assert np.isfinite(lower["p10_m"])
    assert "p10 and p90 are the lowest and highest value" in lower["note"]


def test_a_month_read_often_does_not_weigh_more():
    rows = monthly("A", 2001, 2010)
    often = [("A", f"2010-05-{day:02d}", 41.0 + day / 100) for day in range(1, 29) if day != 15]
    row = months(record(*rows, *often)).loc[5]
    assert (row["years"], row["n"]) == (10, 37)
    assert row["maximum_m"] == pytest.approx(np.median([40.6, *(41.0 + d / 100 for d in range(1, 29) if d != 15)]))


def test_the_newest_level_is_ranked_in_place_of_its_own_month():
    rows = [("A", f"20{year:02d}-03-10", 40.0 + year) for year in range(1, 11)]
    rows += [("A", "2011-03-02", 90.0), ("A", "2011-03-30", 44.5)]
    row = summary(record(*rows)).loc["A"]
    assert (row["newest"], row["newest_m"], row["percentile_years"]) == ("2011-03-30", 44.5, 11)
    assert row["percentile"] == pytest.approx(100 * 5 / 12)
    linear = summary(record(*rows), definition="linear").loc["A"]
    assert linear["percentile"] == pytest.approx(100 * 4 / 10)


def test_dry_months_are_ranked_and_never_numbers():
    rows = [("A", f"{2000 + k}-08-10", 40.0 + 0.1 * k) for k in range(10)]
    rows += [dry("A", "2010-08-10", 39.9), dry("A", "2011-08-10", 39.9, quality="suspect")]
    frame = record(*rows)
    row = months(frame).loc[8]
    assert (row["years"], row["n_bounds"]) == (11, 1)
    assert row["at_or_below"] == "minimum p10"
    assert row["minimum_m"] == pytest.approx(39.9)
    assert np.isnan(row["mean_m"])
    one = summary(frame).loc["A"]
    assert (one["newest"], one["newest_bound"], one["newest_m"]) == ("2010-08-10", "<=", 39.9)
    assert one["percentile"] == pytest.approx(100 / 12)
    assert (one["lowest"], one["lowest_bound"], one["lowest_m"]) == ("2010-08-10", "<=", 39.9)
    assert (one["highest"], one["highest_bound"]) == ("2009-08-10", "")
    assert "quality suspect" in one["left_out"]


def test_flowing_months_are_bounds_from_below():
    rows = [("A", f"{2000 + k}-08-10", 40.0 + 0.1 * k) for k in range(10)]
    open_end = {"status": "flowing", "bound": ">=", "unusable_reason": "flowing, head not measured"}
    frame = record(*rows, ("A", "2010-08-10", 41.5, open_end))
    row = months(frame).loc[8]
    assert (row["n_bounds"], row["at_or_below"], row["at_or_above"]) == (1, "", "p90 maximum")
    assert row["maximum_m"] == pytest.approx(41.5)
    one = summary(frame).loc["A"]
    assert (one["newest_bound"], one["newest_m"]) == (">=", 41.5)
    assert one["percentile"] == pytest.approx(100 * 11 / 12)
    assert (one["highest"], one["highest_bound"]) == ("2010-08-10", ">=")


def test_a_bound_that_leaves_the_rank_open_tells_from_where_to_where():
    rows = [("A", f"{2000 + k}-08-10", 40.0 + k) for k in range(10)]
    rows += [dry("A", "2010-08-10", 42.5), ("A", "2011-08-10", 41.5)]
    row = summary(record(*rows)).loc["A"]
    assert (row["percentile_lower"], row["percentile_upper"]) == pytest.approx((100 * 3 / 13, 100 * 4 / 13))
    assert row["percentile"] == pytest.approx(100 * 3.5 / 13)


def test_amplitude_timing_and_records():
    def level(year, month):
        return 40.0 + 0.6 * np.cos(2 * np.pi * (month - 4) / 12) + (0.3 if (year, month) == (2006, 4) else 0.0)

    row = summary(record(*monthly("A", 2001, 2012, level))).loc["A"]
    assert row["amplitude_m"] == pytest.approx(0.6, abs=0.02)
    assert row["amplitude_lower_m"] < 0.6 < row["amplitude_upper_m"]
    assert abs((dt.date.fromisoformat(f"2001-{row['highest_in_year']}") - dt.date(2001, 4, 15)).days) <= 2
    assert row["cycle_p"] < 1e-6
    assert (row["highest"], row["highest_m"]) == ("2006-04-15", 40.9)
    assert row["lowest_m"] == pytest.approx(39.4)
    assert row["lowest"] == "2001-10-15"


def test_what_is_not_known_is_said():
    flat = [("A", f"{2000 + k // 12}-{k % 12 + 1:02d}-15", 40.0 + 0.1 * ((7 * k * k) % 11)) for k in range(120)]
    found = summary(record(*flat, ("B", "2001-01-05", 40.0), ("C", "2001-01-05", 40.0, {"unusable_reason": "frozen"})))
    assert found.loc["A", "highest_in_year"] == ""
    assert "annual cycle not significant" in found.loc["A", "note"]
    assert "too few for an annual cycle" in found.loc["B", "note"]
    assert (found.loc["C", "n"], found.loc["C", "note"]) == (0, "no level that can be used")
    assert found.loc["C", "left_out"] == "1 frozen"
    assert np.isnan(found.loc["C", "percentile"])


def test_only_approved_levels_where_asked():
    rows = monthly("A", 2001, 2003)
    provisional = ("A", "2004-01-15", 45.0, {"review": "provisional"})
    assert summary(record(*rows, provisional)).loc["A", "newest"] == "2004-01-15"
    assert summary(record(*rows, provisional), approved=True).loc["A", "newest"] == "2003-12-15"


@pytest.mark.parametrize("options", [{"definition": "hazen"}, {"value": "mean"}, {"least_years": 1}])
def test_options_that_make_no_sense_are_refused(options):
    frame = record(*monthly("A", 2001, 2002))
    for asked in (seasons, season_summary):
        with pytest.raises(SettingsError):
            asked(frame, wells_of(frame), **options)


def test_days_of_the_year_take_one_value_a_year():
    days = pd.date_range("2001-01-01", "2012-12-31")
    rows = [("A", f"{day:%Y-%m-%d}", 40.0 + day.year - 2000.0) for day in days[::3]]
    frame = record(*rows, dry("A", "2012-12-31", 20.0))
    found = daily_seasons(frame, wells_of(frame)).set_index("day")
    assert tuple(found.reset_index()[list(DAILY_COLUMNS)].columns) == DAILY_COLUMNS
    assert len(found) == 365
    assert (found["years"] == 12).all()
    assert found.loc["07-01", "p50_m"] == pytest.approx(46.5)
    assert found.loc["02-28", "p90_m"] == pytest.approx(40.0 + 11.7)
    few = daily_seasons(frame, wells_of(frame), least_years=13)
    assert few["p50_m"].isna().all()
    for options in ({"least_years": 1}, {"definition": "hazen"}):
        with pytest.raises(SettingsError):
            daily_seasons(frame, wells_of(frame), **options)


def values_of(frame, *options, **more):
    return period_values(used_levels(frame)[0], *options, **more)


def test_manual_readings_stand_in_place_of_logger_values_of_their_day():
    logged = [("A", f"2020-05-{day:02d}", 40.0 + day / 10, {"method": "logger"}) for day in (1, 2, 3)]
    frame = record(*logged, ("A", "2020-05-02T09:00", 41.0), ("A", "2020-05-02T10:00", 43.0))
    found = values_of(frame).iloc[0]
    assert found["value"] == pytest.approx(np.median([40.1, 41.0, 43.0, 40.3]))
    assert (found["n"], found["source"], found["day"]) == (4, "both", pd.Timestamp("2020-05-02"))
    assert values_of(record(*logged)).iloc[0]["source"] == "logger"
    assert values_of(record(("A", "2020-05-02", 41.0))).iloc[0]["source"] == "manual"


def test_a_period_by_the_day_nearest_to_its_middle():
    frame = record(("A", "2020-05-01", 40.0), ("A", "2020-05-14", 41.0), ("A", "2020-05-30", 47.0))
    assert values_of(frame, 12, value="middle")["value"].tolist() == [41.0]
    assert values_of(frame, 4, value="middle")["value"].tolist() == [41.0]
    assert values_of(frame, 1, value="middle")["value"].tolist() == [47.0]
    assert values_of(frame, 12)["value"].tolist() == [41.0]


def test_quarters_and_years_count_from_january():
    found = values_of(record(*monthly("A", 2001, 2001, lambda _, month: float(month))), 4)
    assert found["value"].tolist() == [2.0, 5.0, 8.0, 11.0]
    assert found["season"].tolist() == [0, 1, 2, 3]
    with pytest.raises(SettingsError):
        values_of(record(("A", "2001-01-01", 1.0)), 6)


def test_a_decomposition_takes_months_where_there_are_enough():
    found = well_decomposition(record(*monthly("A", 2001, 2009)))
    frame = found.frame()
    assert tuple(frame.columns) == COLUMNS
    assert (found.parts.period, len(frame)) == (12, 108)
    assert (frame["month"].iloc[0], frame["month"].iloc[-1]) == ("2001-01", "2009-12")
    total = frame["trend_m"] + frame["seasonal_m"] + frame["remainder_m"]
    assert total.to_numpy() == pytest.approx(frame["observed_m"].to_numpy())


def test_a_decomposition_takes_quarters_where_months_are_too_few():
    rows = [row for row in monthly("A", 2001, 2009) if row[1][5:7] in ("02", "05", "08", "11")]
    found = well_decomposition(record(*rows[:10], *rows[11:]))
    assert (found.parts.period, len(found.frame())) == (4, 36)
    assert found.parts.filled.sum() == 1
    assert any("filled" in note for note in found.notes)
    with pytest.raises(TooFewLevelsError):
        well_decomposition(record(*rows), seasons=12)


def test_a_decomposition_reaches_over_no_bound():
    rows = monthly("A", 2001, 2009)
    rows[40] = dry("A", rows[40][1], 39.0)
    found = well_decomposition(record(*rows))
    assert len(found.frame()) == 108 - 41
    assert any("1 of them bounds" in note for note in found.notes)


def test_a_decomposition_is_of_one_well():
    with pytest.raises(SettingsError):
        well_decomposition(record(*monthly("A", 2001, 2004), *monthly("B", 2001, 2004)))
    with pytest.raises(SettingsError):
        well_decomposition(record(*monthly("A", 2001, 2004)), seasons=6)
    with pytest.raises(TooFewLevelsError):
        well_decomposition(record(*monthly("A", 2001, 2002)))
