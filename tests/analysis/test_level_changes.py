"""Steps of records, one or several: constructed records."""

import numpy as np
import pytest

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.level_changes import level_changes
from gwnet.analysis.series.trend_changes import find_level_changes
from gwnet.analysis.series.trend_records import well_records
from gwnet.analysis.series.trend_summary import trend_summary

from ..bench.bench_trend_limits import several_case
from .trend_rows import quarterly, record, wells_of

WHEN = np.arange(80) / 4
SEASON = np.tile([0.4, 0.1, -0.3, -0.2], 20)


def noise(seed=1):
    return np.random.default_rng(seed).normal(0, 0.2, 80)


def frame_of(values):
    return record(*quarterly("A", values))


def no_thresholds():
    import pandas as pd

    return pd.DataFrame(columns=["site", "well", "threshold", "kind", "elevation_m"])


def test_two_steps_have_years_sizes_and_limits():
    levels = frame_of(40 + SEASON + noise() - 2.0 * ((WHEN >= 6) & (WHEN < 13)))
    table = level_changes(levels, wells_of(levels))
    assert table["number"].tolist() == [1, 2]
    assert table["year"].tolist() == [2007, 2014]
    assert table["shift_m"].tolist() == pytest.approx([-2.0, 2.0], abs=0.25)
    assert (table["shift_lower_m"] < table["shift_m"]).all()
    assert (table["shift_m"] < table["shift_upper_m"]).all()
    assert (table["year_earliest"] <= table["year"]).all()
    assert (table["year"] <= table["year_latest"]).all()
    assert (table["note"] == "").all()


def test_one_wild_value_is_no_step_and_hides_none():
    values = 40 + SEASON + noise() - 2.0 * (WHEN >= 9)
    values[50] -= 30.0
    levels = frame_of(values)
    table = level_changes(levels, wells_of(levels))
    assert table["year"].tolist() == [2010]
    assert table["shift_m"].tolist() == pytest.approx([-2.0], abs=0.3)


def test_wells_without_a_step_say_why():
    flat, short = frame_of(40 + SEASON + noise()), frame_of((40 + SEASON + noise())[:24])
    assert level_changes(flat, wells_of(flat)).loc[0, "note"] == "no step found"
    row = level_changes(short, wells_of(short)).iloc[0]
    assert (row["number"], row["note"]) == (0, "too few years: 6 with a value, 10 needed")
    nothing = level_changes(flat, wells_of(flat).assign(well="B")).iloc[0]
    assert nothing["note"] == "no level that can be used"


def test_a_gap_is_named():
    values = (40 + SEASON + noise() - 2.0 * (WHEN >= 10)).tolist()
    values[24:60] = [None] * 36
    levels = frame_of(values)
    assert "a step there has no date of its own" in level_changes(levels, wells_of(levels)).loc[0, "note"]


def test_a_summary_counts_since_the_newest_step():
    levels = frame_of(40 + SEASON + noise() - 2.0 * ((WHEN >= 6) & (WHEN < 13)))
    row = trend_summary(levels, wells_of(levels), no_thresholds()).iloc[0]
    assert row["since"] == "2014"
    assert "about 2007" in row["because"]
    assert "about 2014" in row["because"]
    assert row["to_do"] == "look at record"
    used, _ = used_levels(levels)
    first = find_level_changes(well_records(used, 4)["S", "A"])[0]
    assert first.words.startswith("step of -")


@pytest.mark.slow
def test_false_second_steps_are_few():
    """A short run of the bench, with generous bounds."""
    row = several_case(20, 0.5, 25)
    assert 1.0 - row["plain_0"] <= 0.2
    assert row["one_1"] >= 0.7
    assert row["one_2"] + row["one_more"] <= 0.2
    assert row["two_2"] >= 0.6
    assert row["dates_held"] >= 0.8
