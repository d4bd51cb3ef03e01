"""Trends of aquifers: sums over wells, covariance among them, and whether they differ; constructed."""

from itertools import chain

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.series.trend_pooled import COLUMNS, pooled_trends
from gwnet.errors import SettingsError
from gwnet.hydro.trends.kendall import mann_kendall, normal_probabilities
from gwnet.hydro.trends.seasonal_kendall import seasonal_kendall
from gwnet.network import Network

from .trend_rows import dry, quarterly, record, wells_of, yearly


def pooled(frame, **options):
    return pooled_trends(frame, wells_of(frame), **options).iloc[0]


def test_scores_and_variances_are_those_of_the_regional_test():
    """`seasonal_kendall` with wells as blocks is held to six stations of the Rhine in the published tests."""
    random = np.random.default_rng(1)
    table = (40 + random.normal(0, 0.3, (12, 3)) + 0.05 * np.arange(12)[:, None]).round(2)
    frame = record(*(row for k in range(3) for row in yearly(f"W{k}", table[:, k])))
    row = pooled(frame, method="kendall")
    other = seasonal_kendall(table)
    assert (row["s"], row["wells"], row["n"]) == (other.score, 3, 36)
    assert row["var_s"] == pytest.approx(other.variance)
    assert row["tau"] == pytest.approx(other.tau_a)
    assert row["z"] == pytest.approx(other.z)
    if "serial correlation" not in row["note"]:
        p = normal_probabilities(other.score, other.variance_correlated, continuity=False)[1]
        assert row["p"] == pytest.approx(p)
    assert row["wells_rising"] + row["wells_falling"] <= 3


def test_wells_that_are_copies_are_one_well():
    """Copies add no evidence: S is three times that of one, and so is its standard deviation."""
    value = (40 + np.random.default_rng(2).normal(0, 0.3, 16) + 0.04 * np.arange(16)).round(2)
    alone = mann_kendall(value)
    row = pooled(record(*(row for k in range(3) for row in yearly(f"W{k}", value))), method="kendall")
    assert row["s"] == 3 * alone.score
    assert row["p"] >= normal_probabilities(alone.score, alone.variance, continuity=False)[1] - 1e-12
    assert np.isnan(row["p_wells_differ"])


def test_wells_that_go_opposite_ways_differ():
    random = np.random.default_rng(3)
    trend = 0.1 * np.arange(20)
    same = [quarterly(f"W{k}", np.repeat(trend, 4) + 40 + random.normal(0, 0.4, 80)) for k in range(6)]
    other = [quarterly(f"V{k}", np.repeat(-trend, 4) + 40 + random.normal(0, 0.4, 80)) for k in range(6)]
    together, apart = (pooled(record(*chain.from_iterable(parts))) for parts in (same, same[:3] + other[:3]))
    assert together["direction"] == "rising"
    assert together["slope_m_per_year"] == pytest.approx(0.1, abs=0.01)
    assert together["slope_lower_m_per_year"] < together["slope_m_per_year"] < together["slope_upper_m_per_year"]
    assert together["p_wells_differ"] > 0.05
    assert apart["p_wells_differ"] < 0.01
    assert "wells differ in their trends" in apart["note"]
    assert (apart["wells_rising"], apart["wells_falling"]) == (3, 3)


def test_seasons_that_go_opposite_ways_differ():
    value = np.stack([np.arange(12), np.arange(12), -np.arange(12), -np.arange(12)], axis=1) * 0.1
    noise = np.random.default_rng(4).normal(0, 0.1, value.shape)
    row = pooled(record(*quarterly("A", (40 + value + noise).ravel()), *quarterly("B", (41 + value - noise).ravel())))
    assert row["p_seasons_differ"] < 0.01
    assert "seasons differ" in row["note"]


def test_one_row_an_aquifer_and_who_was_left_out():
    frame = record(*yearly("A", np.arange(9.0)), *yearly("B", [1.0, 2.0]), *yearly("C", 5 - 0.1 * np.arange(9)))
    wells = pd.DataFrame(
        {"site": "S", "well": ["A", "B", "C", "D", "E"], "aquifer": ["upper", "upper", "lower", "lower", ""]}
    )
    found = pooled_trends(frame, wells, method="kendall")
    assert tuple(found.columns) == COLUMNS
    assert found["aquifer"].tolist() == ["lower", "upper"]
    assert found["wells"].tolist() == [1, 1]
    assert found["left_out"].tolist() == ["fewer than 3 years with values: D", "fewer than 3 years with values: B"]
    assert found["direction"].tolist() == ["falling", "rising"]
    assert found["first"].tolist() == ["2001-06-15"] * 2


def test_a_well_of_three_years_takes_part():
    row = pooled(record(*yearly("A", np.arange(3.0)), *yearly("B", np.arange(9.0))), method="kendall")
    assert (row["wells"], row["n"], row["left_out"]) == (2, 12, "")


def test_an_aquifer_without_enough_years_has_its_row():
    row = pooled(record(*yearly("A", [1.0, 2.0])), method="kendall")
    assert (row["wells"], row["n"]) == (0, 0)
    assert pd.isna(row["p"])
    assert "no well has 3 years" in row["note"]
    assert row["direction"] == "insufficient data"


def test_a_well_without_a_level_for_over_a_third_of_its_record_takes_no_part():
    """Common practice, no source: a gap that long may hide a step, which a test for one trend cannot tell."""
    whole = [*yearly("A", np.arange(20.0)), *yearly("B", 3 + np.arange(20.0))]
    parted = [row for place, row in enumerate(yearly("C", 50 - np.arange(20.0))) if place < 5 or place > 13]
    row, alone = (pooled(record(*rows), method="kendall") for rows in (whole + parted, whole))
    assert row["left_out"] == "no level for over a third of the record: C"
    assert (row["wells"], row["s"], row["p"]) == (alone["wells"], alone["s"], alone["p"])


def test_dry_wells_count_as_bounds():
    rows = [*yearly("A", [45.0, 44.0, 43.0]), *(dry("A", f"{year}-06-15", 42.5) for year in range(2004, 2008))]
    row = pooled(record(*rows), method="kendall")
    assert (row["n_bounds"], row["s"]) == (4, -15)


def test_methods_that_are_not_known_are_refused():
    with pytest.raises(SettingsError, match="no method"):
        pooled(record(*yearly("A", [1.0, 2.0])), method="spearman")


@pytest.mark.slow
def test_the_network_pools_the_aquifers_of_the_demo(demo_record):
    with Network(demo_record) as net:
        found, feet = net.trends.pooled(), net.trends.pooled(aquifer="upper", unit="ft")
    assert found["aquifer"].tolist() == ["lower", "upper"]
    assert feet["slope_ft_per_year"].iloc[0] == pytest.approx(found["slope_m_per_year"].iloc[1] / 0.3048)
