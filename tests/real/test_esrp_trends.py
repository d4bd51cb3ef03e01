"""Trends of the eastern Snake River Plain wells against pyMannKendall's numbers of the same open levels.

``reference_results.csv`` beside the open data holds them to ten digits (pyMannKendall 1.4.3, medians by pandas): S, its
variance with ties, Z and tau of yearly medians, and of monthly medians by season. It has all levels without a remark
or static; so has the copy of the record compared with it, in which no level is kept out by an open serious finding
(`conftest.esrp_as_published`). The record as it is, with those levels kept out, is compared with pyMannKendall on the
source without them. Its medians of an even number of levels carry binary dust, which parts a pair of equal ones here and
there; so S is held to it within 1, and exactly to pyMannKendall on medians rounded to a millionth of a foot. Levels,
U.S. Geological Survey: see ``test_esrp.py``.
"""

import csv

import pandas as pd
import pymannkendall
import pytest
from scipy.stats import norm

pytestmark = pytest.mark.shared

METHODS = {
    "kendall": ("median of each calendar year", "mk original"),
    "seasonal": ("median of each calendar month", "mk seasonal(12)"),
}


@pytest.fixture(scope="module")
def reference(esrp):
    """Give {method: {well: {statistic: number}}} of the wells of this aquifer."""
    source = esrp[1]
    with (source / "wells.csv").open(encoding="utf-8") as file:
        names = {row["site_id"]: row["local_name"] for row in csv.DictReader(file)}
    table = pd.read_csv(source.parent / "reference_results.csv")
    table = table[table["file"] == "esrp/levels.csv"]
    found = {}
    for method, (words, test) in METHODS.items():
        rows = table[table["definition"].str.contains(words) & table["statistic"].str.startswith(test)]
        for row in rows.itertuples():
            name = row.statistic.removeprefix(test).strip()
            if name != "trend":
                found.setdefault(method, {}).setdefault(names[row.series], {})[name] = float(row.value)
    return found


@pytest.fixture(scope="module", params=METHODS)
def both(request, esrp_as_published, reference):
    told = reference[request.param]
    found = esrp_as_published.trends(list(told), method=request.param, seasons=12, unit="ft")
    return request.param, told, found.set_index("well")


def medians(source, well, method, without=()):
    """Return the source's own elevations [ft] as yearly medians, or as monthly ones of whole years.

    Levels of ``without``, pairs of local date and elevation [ft], are left out; each must be there.
    """
    names = pd.read_csv(source / "wells.csv", dtype=str).set_index("local_name")["site_id"]
    levels = pd.read_csv(source / "levels.csv", dtype=str, keep_default_na=False)
    levels = levels[(levels["site_id"] == names[well]) & levels["status_code"].isin(["1", ""])]
    day = pd.to_datetime(levels["local_date"])
    value = levels["water_elev_ft_navd88"].astype(float)
    for date, elevation in without:
        doubted = (levels["local_date"] == date) & ((value - elevation).abs() < 1e-6)
        assert doubted.sum() == 1, (well, date)
        levels, day, value = levels[~doubted], day[~doubted], value[~doubted]
    if method == "kendall":
        return value.groupby(day.dt.year).median().round(6).to_numpy()
    table = value.groupby([day.dt.year, day.dt.month]).median().unstack()
    return table.reindex(range(day.dt.year.min(), day.dt.year.max() + 1)).round(6).to_numpy().ravel()


@pytest.mark.slow
def test_score_variance_z_and_tau_are_those_of_the_reference(both):
    _, told, found = both
    assert len(told) == len(found) >= 5
    for well, numbers in told.items():
        row = found.loc[well]
        assert abs(row["s"] - numbers["s"]) <= 1, well
        assert row["var_s"] == pytest.approx(numbers["var_s"], abs=1), well
        assert row["tau"] == pytest.approx(numbers["Tau"], abs=1e-3), well
        assert row["z"] == pytest.approx(numbers["z"], abs=5e-3), well


def assert_same_score(row, method, values):
    """Compare a row of trends with pyMannKendall's test of these medians."""
    other = (pymannkendall.original_test if method == "kendall" else pymannkendall.seasonal_test)(values)
    assert row["s"] == other.s
    assert row["var_s"] == pytest.approx(other.var_s, rel=1e-12)
    assert row["z"] == pytest.approx(other.z, rel=1e-12)
    assert row["tau"] == pytest.approx(other.Tau, rel=1e-12)
    # its own p is 1 less the distribution of Z, which is 0 where Z is large
    assert row["p_independent"] == pytest.approx(2.0 * norm.sf(abs(other.z)), rel=1e-8, abs=0.0)


def test_score_variance_and_z_equal_those_of_rounded_medians(esrp, both):
    method, told, found = both
    for well in told:
        assert_same_score(found.loc[well], method, medians(esrp[1], well, method))


@pytest.mark.slow
@pytest.mark.parametrize("method", METHODS)
def test_levels_with_an_open_finding_and_no_others_take_no_part(esrp, reference, method):
    network, source, _ = esrp
    wells = list(reference[method])
    found = network.trends(wells, method=method, seasons=12, unit="ft").set_index("well")
    levels = network.levels(wells, unit="ft")
    doubted = levels[levels["open_finding"] != ""]
    assert doubted["well"].nunique() >= 3
    for well in wells:
        own = doubted[doubted["well"] == well]
        without = list(zip(own["measured_at"].str[:10], own["water_elevation_ft"], strict=True))
        assert_same_score(found.loc[well], method, medians(source, well, method, without))


def test_slopes_are_the_same_where_no_year_is_missing(both):
    """Their slope of yearly medians is one a step; it is one a year where every year has a value."""
    method, told, found = both
    compared = 0
    for well, numbers in told.items():
        row = found.loc[well]
        years = int(row["last"][:4]) - int(row["first"][:4]) + 1
        if method == "seasonal" or years == row["n"]:
            assert row["slope_ft_per_year"] == pytest.approx(numbers["slope"], abs=1e-7), well
            compared += 1
    assert compared >= 2


def test_p_allows_for_serial_correlation_and_says_so(both):
    """p is of a likelihood over all correlations, of one value a year and of seasons alike, with p_independent beside it."""
    _, _, found = both
    words = "correlation from one year to the next .*: p and limits allow for it and for its uncertainty, without it p "
    assert found["note"].str.contains(words).all()
    assert (found["p"] > found["p_independent"]).all()
    assert (found["direction"] == "falling").any()
    assert (found["slope_lower_ft_per_year"] <= found["slope_ft_per_year"]).all()
    assert (found["slope_ft_per_year"] <= found["slope_upper_ft_per_year"]).all()
