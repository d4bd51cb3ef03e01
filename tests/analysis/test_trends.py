"""Trends of reduced levels: what takes part, the reduction to seasons, guards and notes; constructed, and the demo's.

Numbers of tests are held to pyMannKendall (MIT licence), a general-purpose library, and to Kendall's exact table in the
tests of ``gwnet.hydro``; here they are held to come out of the frame as they went in.
"""

import math
import tomllib

import numpy as np
import pandas as pd
import pymannkendall
import pytest

from gwnet.analysis.levels.serving import left_out_levels, used_levels
from gwnet.analysis.series.trend_records import well_records
from gwnet.analysis.series.trend_steps import trend_steps
from gwnet.analysis.series.trend_tests import find_trend, p_text
from gwnet.analysis.series.trends import COLUMNS, trends
from gwnet.errors import SettingsError
from gwnet.hydro.trends.kendall import normal_probabilities
from gwnet.hydro.trends.serial_correlation import estimate_serial_correlation
from gwnet.hydro.trends.theil_sen import theil_sen
from gwnet.hydro.trends.year_signs import year_scores, year_signs
from gwnet.network import Network
from gwnet.resources import demo_folder

from .trend_rows import dry, quarterly, record, wells_of, yearly

NUMBERS = ["s", "var_s", "tau", "z", "p", "p_adjusted", "slope_m_per_year"]
TRUTHS = tomllib.loads((demo_folder() / "EXPECTED.toml").read_text(encoding="utf-8"))


def test_of(frame, **options):
    wells = frame[["site", "well"]].drop_duplicates()
    return trends(frame, wells, **options).set_index("well")


test_of.__test__ = False


def test_the_columns_are_those_that_scripts_rely_on():
    found = trends(record(*yearly("A", [1.0, 2.0, 3.0, 4.0])), pd.DataFrame({"site": ["S"], "well": ["A"]}))
    assert tuple(found.columns) == COLUMNS


@pytest.mark.parametrize("seed", range(5))
def test_yearly_numbers_equal_pymannkendall(seed):
    value = (np.random.default_rng(seed).normal(40, 0.3, 14) + 0.03 * np.arange(14)).round(2)
    row = test_of(record(*yearly("A", value)), method="kendall").loc["A"]
    plain = pymannkendall.original_test(value)
    assert (row["s"], row["var_s"]) == (plain.s, plain.var_s)
    assert row["z"] == pytest.approx(plain.z)
    assert row["tau"] == pytest.approx(plain.Tau)
    assert row["slope_m_per_year"] == pytest.approx(plain.slope)
    if "serial correlation" not in row["note"]:
        assert row["p"] == pytest.approx(plain.p)


def test_yearly_values_of_different_seasons_are_pointed_out():
    value = [40.1, 40.3, 40.2, 40.6, 40.4, 40.9, 40.7, 41.0]
    turns = [("B", f"{2001 + k}-{(2, 8)[k % 2]:02d}-15", one) for k, one in enumerate(value)]
    frame = record(*yearly("A", value), *turns)
    found = test_of(frame, method="kendall")["note"].str.contains("see method seasonal")
    assert found.to_dict() == {"A": False, "B": True}
    assert not test_of(frame, method="seasonal")["note"].str.contains("see method seasonal").any()


def test_values_that_go_together_have_their_p_with_a_wider_variance():
    noise = np.random.default_rng(3).normal(0, 0.1, 30)
    value = [40.0]
    for step in noise:
        value.append(round(40.0 + 0.8 * (value[-1] - 40.0) + step, 3))
    row = test_of(record(*yearly("A", value)), method="kendall").loc["A"]
    plain = pymannkendall.original_test(np.array(value))
    line = theil_sen(value)
    scores = year_scores(year_signs(value, slope=line.slope))
    held = estimate_serial_correlation(scores)
    assert held.variance_ratio > 2.0
    widened = normal_probabilities(plain.s, plain.var_s * held.variance_ratio)[1]
    assert row["p"] == pytest.approx(widened)
    assert row["var_s"] == pytest.approx(plain.var_s)
    assert f"with {held.variance_ratio:.2f} times the variance, without it p {plain.p:.2g}" in row["note"]


def test_limits_of_a_slope_are_wider_where_values_go_together():
    wander = 40.0 + np.cumsum(np.random.default_rng(8).normal(0, 0.1, 30)).round(3)
    frame = record(*yearly("A", wander), *yearly("B", np.random.default_rng(0).permutation(wander)))
    found = test_of(frame, method="kendall")
    width = found["slope_upper_m_per_year"] - found["slope_lower_m_per_year"]
    assert "serial correlation" in found.loc["A", "note"]
    assert "serial correlation" not in found.loc["B", "note"]
    plain = theil_sen(wander)
    assert width["A"] > plain.upper - plain.lower


@pytest.mark.parametrize("years", [6, 12])
def test_seasonal_numbers_equal_pymannkendall(years):
    value = (np.random.default_rng(years).normal(40, 0.3, 4 * years) - 0.02 * np.arange(4 * years)).round(2)
    row = test_of(record(*quarterly("A", value))).loc["A"]
    plain = pymannkendall.seasonal_test(value, period=4)
    assert row["s"] == plain.s
    assert row["var_s"] == pytest.approx(plain.var_s)
    assert row["z"] == pytest.approx(plain.z)
    assert row["slope_m_per_year"] == pytest.approx(plain.slope)
    assert row["p_independent"] == pytest.approx(plain.p)
    assert row["p"] >= row["p_independent"]


def test_a_seasonal_cycle_does_not_hide_a_trend_and_is_none():
    cycle = np.tile([1.0, 0.4, -1.0, -0.4], 8)
    fall = cycle - 0.05 * np.repeat(np.arange(8), 4)
    noise = np.random.default_rng(1).normal(0, 0.01, 32)
    found = test_of(record(*quarterly("A", 40 + fall + noise), *quarterly("B", 40 + cycle + noise)))
    assert found["direction"].to_dict() == {"A": "falling", "B": "no significant trend"}
    assert found.loc["A", "slope_m_per_year"] == pytest.approx(-0.05, abs=0.005)


def test_more_readings_in_a_season_make_one_value_by_the_median():
    rows = yearly("A", [40.0, 40.1, 40.2, 40.3])
    more = [("A", "2002-06-16", 41.5), ("A", "2002-06-17", 40.05)]
    found = test_of(record(*rows, *more), method="kendall").loc["A"]
    assert (found["n"], found["s"]) == (4, 6)
    seasonal = test_of(record(*rows, *more)).loc["A"]
    assert (seasonal["n"], seasonal["s"]) == (4, 6)


def test_equal_levels_are_ties_whatever_their_binary_dust():
    """0.1 + 0.2 is not 0.3 in binary."""
    found = test_of(record(*yearly("A", [0.1 + 0.2, 0.3, 0.3, 0.5])), method="kendall").loc["A"]
    assert found["s"] == 3


def test_a_dry_well_is_a_bound_by_rank():
    """Three bounds at 39.5 m are below all numbers and tied with one another: S = 0 − 3 ⋅ 4 + (pairs of numbers)."""
    rows = [*yearly("A", [41.0, 40.8, 40.9, 40.7]), *(dry("A", f"{year}-06-15", 39.5) for year in (2005, 2006, 2007))]
    found = test_of(record(*rows), method="kendall").loc["A"]
    assert (found["n"], found["n_bounds"], found["s"]) == (7, 3, -12 - 4)
    assert "3 of 7 values are bounds" in found["note"]
    assert found["last"] == "2007-06-15"
    assert found["left_out"] == ""


def test_a_bound_that_levels_stand_below_of_is_ordered_with_none():
    """Dry at 42 m tells nothing about a level of 41 m."""
    rows = [*yearly("A", [41.0, 40.8, 40.9, 40.7]), dry("A", "2005-06-15", 42.0)]
    assert test_of(record(*rows), method="kendall").loc["A", "s"] == -4


def test_the_median_of_a_season_with_a_bound_is_a_number_where_it_is_known():
    number = [("A", "2001-06-01", 40.0), ("A", "2001-06-02", 41.0), dry("A", "2001-06-03", 39.0)]
    bound = [("A", "2002-06-01", 40.0), dry("A", "2002-06-03", 39.0)]
    rest = yearly("A", [40.5, 40.6, 40.7], first=2003)
    found = test_of(record(*number, *bound, *rest), method="kendall").loc["A"]
    assert (found["n"], found["n_bounds"]) == (5, 1)
    # 40, at most 39.5, 40.5, 40.6, 40.7
    assert found["s"] == 8


def test_only_accepted_levels_take_part_and_the_others_are_counted():
    rows = [
        *yearly("A", [40.0, 40.1, 40.2, 40.3]),
        ("A", "2005-06-15", 20.0, {"status": "pumping", "unusable_reason": "pumping"}),
        ("A", "2006-06-15", 21.0, {"status": "pumping", "unusable_reason": "pumping"}),
        ("A", "2007-06-15", 60.0, {"quality": "suspect", "unusable_reason": "quality suspect"}),
        dry("A", "2008-06-15", 30.0, quality="poor"),
        dry("A", "2009-06-15", 30.0, review="on hold"),
        dry("A", "2010-06-15", np.nan),
    ]
    found = test_of(record(*rows), method="kendall").loc["A"]
    assert (found["n"], found["n_bounds"], found["s"], found["last"]) == (4, 0, 6, "2004-06-15")
    told = set(found["left_out"].split("; "))
    assert told == {"2 pumping", "1 quality suspect", "1 dry, quality poor", "1 dry, on hold", "1 dry"}


@pytest.mark.parametrize(
    ("method", "rows"),
    [("kendall", yearly("A", [1.0, 2.0, 3.0])), ("seasonal", quarterly("A", range(8)))],
    ids=["three years", "two years"],
)
def test_too_few_values_give_no_numbers_and_a_note(method, rows):
    found = test_of(record(*rows), method=method).loc["A"]
    assert found[NUMBERS].isna().all()
    assert found["direction"] == "insufficient data"
    assert "too few years" in found["note"]
    assert found["n"] == len(rows)


def test_a_season_needs_two_values():
    rows = [("A", f"{2001 + k}-{2 + 3 * k:02d}-15", 40.0 + k) for k in range(3)]
    found = test_of(record(*rows)).loc["A"]
    assert pd.isna(found["s"])
    assert "at most 1 of one season" in found["note"]


def test_a_well_without_levels_has_its_row():
    wells = pd.DataFrame({"site": ["S", "S"], "well": ["A", "B"]})
    found = trends(record(*yearly("A", range(9))), wells, method="kendall").set_index("well")
    assert found.loc["B", "n"] == 0
    assert found.loc["B", "note"] == "no level that can be used"
    assert found.loc["A", "p_adjusted"] == found.loc["A", "p"]


def test_provisional_levels_stay_out_where_only_approved_ones_are_asked_for():
    rows = [
        *yearly("A", [40.0, 40.1, 40.2, 40.3]),
        ("A", "2005-06-15", 40.4, {"review": "provisional"}),
        dry("A", "2006-06-15", 30.0, review="provisional"),
    ]
    every, approved = (test_of(record(*rows), method="kendall", approved=only).loc["A"] for only in (False, True))
    assert (every["n"], every["left_out"]) == (6, "")
    assert approved["n"] == 4
    assert set(approved["left_out"].split("; ")) == {"1 provisional", "1 dry, provisional"}
    listed = left_out_levels(record(*rows), approved=True)
    assert listed["reason"].tolist() == ["provisional", "dry, provisional"]
    assert listed["measured_at"].tolist() == ["2005-06-15", "2006-06-15"]


def test_logger_values_count_on_days_without_a_manual_reading():
    """A month of logger days at 41 m beside a manual reading of 40 m on one of them: the median is the loggers'."""
    days = [("A", f"2001-06-{day:02d}", 41.0, {"method": "logger"}) for day in range(1, 28)]
    hand = [("A", "2001-06-10", 40.0), ("A", "2001-06-10", 40.2)]
    rest = yearly("A", [40.5, 40.6, 40.7, 40.8], first=2002)
    mixed = test_of(record(*days, *hand, *rest), method="kendall").loc["A"]
    assert (mixed["n"], mixed["s"]) == (5, 2)
    # on the one day that both have, the sensor does not count
    same = test_of(record(("A", "2001-06-10", 50.0, {"method": "logger"}), *hand, *rest), method="kendall").loc["A"]
    assert same["s"] == 10


def test_years_on_both_sides_of_a_gap_are_needed():
    found = test_of(record(*yearly("A", [1, None, None, None, 4, 5, 6])), method="kendall").loc["A"]
    assert (found["method"], found["direction"]) == ("step", "insufficient data")
    assert pd.isna(found["p"])
    assert "1 year before and 3 after it, 2 of each needed" in found["note"]


def test_levels_after_a_gap_are_stated_to_be_higher_or_lower():
    value = [40.0, 40.1, 39.9, 40.0, *[None] * 7, 37.0, 37.1, 36.9, 37.0]
    found = test_of(record(*yearly("A", value)), method="kendall").loc["A"]
    assert found["direction"] == "lower after"
    assert found["s"] == -16


@pytest.mark.parametrize("seed", range(6))
def test_a_step_says_so_wherever_its_variance_was_widened_and_nowhere_else(seed):
    """However little: p and limits are then not those of independent years."""
    random = np.random.default_rng(seed)
    walk = np.convolve(random.normal(0.0, 0.3, 24), [1.0, 0.6, 0.3])[:24] + 40.0
    value = [*walk[:12], *[None] * 14, *(walk[12:] - 0.5)]
    frame = record(*yearly("A", value, first=1980))
    found = test_of(frame, method="kendall").loc["A"]
    assert found["method"] == "step"
    widened = found["z"] and normal_probabilities(found["s"], found["var_s"], continuity=False)[1] != found["p"]
    assert ("times the variance" in found["note"]) == bool(widened)


def test_a_gap_of_over_a_third_is_stated():
    gap = test_of(record(*yearly("A", [1, 2, 3, None, None, None, None, 4, 5, 6])), method="kendall").loc["A"]
    assert "no level from 2003-06-15 to 2008-06-15" in gap["note"]
    # all nine pairs of one before and one after rise
    assert (gap["method"], gap["s"], gap["tau"]) == ("step", 9, 1.0)
    assert "median shift +3.00 m" in gap["note"]
    assert pd.isna(gap["slope_m_per_year"])
    for whole in ([1, 2, 3, None, 4, 5, 6, 7, 8], [1, 2, 3]):
        found = test_of(record(*yearly("A", whole)), method="seasonal").loc["A"]
        assert "no level from" not in found["note"]


def test_seasons_that_go_opposite_ways_are_stated():
    rising = np.arange(9)
    value = np.column_stack([rising, rising, -rising, -rising]).ravel() * 0.1 + 40
    assert "seasons differ" in test_of(record(*quarterly("A", value))).loc["A", "note"]


def test_years_of_different_seasons_are_stated():
    value = np.arange(20) * 0.1
    assert "different seasons" not in test_of(record(*quarterly("A", value)), method="kendall").loc["A", "note"]
    assert "different seasons" in test_of(record(*quarterly("A", value[:-1])), method="kendall").loc["A", "note"]


def test_p_is_adjusted_for_the_wells_of_the_call():
    """Benjamini and Hochberg (1995): the smallest of m probabilities is multiplied by at most m."""
    noise = np.random.default_rng(5).normal(0, 1, (20, 12))
    noise[0] = np.arange(12)
    rows = [row for k, value in enumerate(noise) for row in yearly(f"W{k:02d}", value)]
    found = test_of(record(*rows), method="kendall")
    assert found.loc["W00", "p_adjusted"] == pytest.approx(20 * found.loc["W00", "p"])
    assert found.loc["W00", "direction"] == "rising"
    assert (found["p_adjusted"] >= found["p"]).all()


@pytest.mark.parametrize("options", [{"method": "pearson"}, {"seasons": 3}])
def test_what_is_not_known_is_refused(options):
    with pytest.raises(SettingsError, match="expected"):
        test_of(record(*yearly("A", range(9))), **options)


@pytest.fixture(scope="module")
def demo(demo_record):
    with Network(demo_record) as network:
        yield network


def test_the_planted_declines_are_found_against_the_other_wells(demo):
    """The weather of the demo's eight years lifts all wells; less their median of each round, the declines show."""
    planted = {truth["well"]: truth for truth in TRUTHS["trend"]}
    table = demo.levels()
    others = table[table["usable"] & ~table["well"].isin(planted)]
    middle = others.groupby(["aquifer", "round"])["water_elevation_m"].median().rename("middle")
    table = table[table["round"] != ""].join(middle, on=["aquifer", "round"])
    table["water_elevation_m"] -= table.pop("middle")
    found = trends(table, demo.wells()).set_index("well")
    for well, truth in planted.items():
        assert found.loc[well, "s"] < 0, well
        assert truth["planted_slope_m_per_year"] < found.loc[well, "slope_m_per_year"] < 0, well
    few = trends(table, demo.wells()[lambda some: some["well"].isin(planted)]).set_index("well")
    told = few.index[few["direction"] == "falling"]
    assert set(told) == {"W-03", "L-01"}
    assert found.loc["W-03", "n_bounds"] == 6


@pytest.mark.slow
def test_no_planted_decline_is_stated_as_a_rise(demo):
    for method in ("seasonal", "kendall"):
        found = demo.trends([truth["well"] for truth in TRUTHS["trend"]], method=method)
        assert "rising" not in set(found["direction"])


@pytest.mark.slow
def test_the_network_gives_one_row_a_well_of_what_was_asked(demo):
    found = demo.trends(["W-03", "L-01"])
    assert sorted(found["well"]) == ["L-01", "W-03"]
    upper = demo.trends(aquifer="upper")
    wells = demo.wells()
    assert list(upper["well"]) == list(wells.loc[wells["aquifer"] == "upper", "well"])
    part = demo.trends(["W-01"], start="2020-01-01", end="2023-12-31").iloc[0]
    assert (part["first"][:4], part["last"][:4], part["n"]) == ("2020", "2023", 16)


def test_daily_means_of_loggers_take_part(demo):
    """In the demo N1-L has a logger beside its manual readings."""
    wells = demo.wells()[lambda some: some["well"] == "N1-L"]
    by_hand, mixed = (trends(demo.levels(["N1-L"], loggers=how), wells).iloc[0] for how in ("none", "daily"))
    found = demo.trends(["N1-L"]).iloc[0]
    assert (found["n"], found["s"], found["slope_m_per_year"]) == (mixed["n"], mixed["s"], mixed["slope_m_per_year"])
    assert found["slope_m_per_year"] != by_hand["slope_m_per_year"]


def test_slopes_in_feet(demo):
    """0.3048 m is a foot (international foot, 85 FR 62698, 2020)."""
    metres, feet = demo.trends(["L-02"]).iloc[0], demo.trends(["L-02"], unit="ft").iloc[0]
    for name in ("slope", "slope_lower", "slope_upper"):
        assert feet[f"{name}_ft_per_year"] == pytest.approx(metres[f"{name}_m_per_year"] / 0.3048)
    with pytest.raises(SettingsError, match="m or ft"):
        demo.trends(["L-02"], unit="yd")


def test_a_record_across_a_long_gap_is_compared_before_and_after_it():
    used, _ = used_levels(record(*yearly("A", [41.0, 41.1, 40.9, *[None] * 8, 38.0, 38.1, 37.9])))
    result = find_trend(well_records(used, 1)["S", "A"])
    # every later year is below every earlier one
    assert (result.step, result.s, result.tau) == (True, -9, -1.0)
    assert result.slope[0] == pytest.approx(-3.0)
    assert "compared instead of a trend, median shift -3.00 m" in result.notes[0]


@pytest.mark.parametrize(("p", "text"), [(0.04321, "p 0.043"), (1.0, "p 1"), (0.00001, "p below 0.0001")])
def test_probabilities_are_written_with_two_digits(p, text):
    assert p_text(p) == text


def flowing(well, day, bound, **more):
    return (
        well,
        day,
        bound,
        {"status": "flowing", "bound": ">=", "unusable_reason": "flowing, head not measured", **more},
    )


def days_of(count, first=2001):
    return [row[1] for row in quarterly("A", [0.0] * count, first)]


def falls_from_flowing():
    """24 quarters flowing at 100.5 m or more, then 32 static near 98.6 m that rise a little among themselves."""
    random = np.random.default_rng(16)
    days = days_of(56)
    static = 98.6 + 0.02 * np.arange(32) / 4 + random.normal(0, 0.03, 32)
    rows = [flowing("A", day, 100.5) for day in days[:24]]
    return record(*rows, *(("A", day, level) for day, level in zip(days[24:], static, strict=True)))


def test_flowing_wells_are_bounds_and_a_fall_from_them_is_seen():
    """Without the bounds the static levels alone rise; each of 6 ⋅ 8 pairs of a season with a bound falls."""
    frame = falls_from_flowing()
    row = test_of(frame).loc["A"]
    static = test_of(frame[frame["status"] == "static"]).loc["A"]
    assert row["n_bounds"] == 24
    assert row["s"] == static["s"] - 4 * 6 * 8
    assert row["direction"] == "falling"
    assert static["s"] > 0
    yearly = test_of(frame, method="kendall").loc["A"]
    assert (yearly["s"] < 0, yearly["n_bounds"]) == (True, 6)
    every = test_of(frame, method="all").loc["A"]
    assert every["s"] < 0


def test_a_fall_from_flowing_is_a_step_too():
    frame = falls_from_flowing()
    moments = pd.DataFrame(columns=["site", "well", "moment", "day"])
    step = trend_steps(frame, wells_of(frame), moments).iloc[0]
    assert step["at"] == "2007-01-01"
    assert step["statistic"] == 4 * 6 * 8
    assert step["shift_upper_m"] < -1.0


@pytest.mark.parametrize(("bound", "words"), [(dry, "always dry"), (flowing, "always flowing")])
def test_a_well_of_bounds_alone_says_what_can_be_said(bound, words):
    frame = record(*(bound("A", day, 40.0 + 0.1 * (k % 3)) for k, day in enumerate(days_of(24))))
    row = test_of(frame).loc["A"]
    assert (row["direction"], row["n_bounds"]) == ("insufficient data", 24)
    assert row["note"].startswith(f"{words} from 2001-02-15 to 2006-11-15: at or ")
    assert ("40.00 m" if bound is dry else "40.20 m") in row["note"]
    assert math.isnan(row["p"])


def test_the_number_of_wells_that_the_adjustment_covers_and_what_it_changes():
    random = np.random.default_rng(2)
    weak = 40 - 0.02 * np.arange(60) / 4 + random.normal(0, 0.16, 60)
    rows = quarterly("A", weak)
    rows += [row for k in range(30) for row in quarterly(f"N{k:02}", random.normal(40, 0.2, 60))]
    frame = record(*rows)
    alone, among = test_of(frame[frame["well"] == "A"]).loc["A"], test_of(frame).loc["A"]
    assert (alone["wells_adjusted"], among["wells_adjusted"]) == (1, 31)
    assert alone["p"] == among["p"]
    assert (alone["direction"], among["direction"]) == ("falling", "no significant trend")
    assert among["note"].endswith(f"significant by itself ({p_text(alone['p'])}), not after allowing for 31 wells")
    assert "significant by itself" not in alone["note"]
