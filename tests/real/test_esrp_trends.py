"""Trends of the eastern Snake River Plain wells against pyMannKendall's numbers of the same open levels.

``reference_results.csv`` beside the open data holds them to ten digits (pyMannKendall 1.4.3, medians by pandas): S, its
variance with ties, Z and tau of yearly medians, and of monthly medians by season. It has all levels without a remark
or static. Its medians of an even number of levels carry binary dust, which parts a pair of equal ones here and there;
so S is held to it within 1, and exactly to pyMannKendall on medians rounded to a millionth of a foot. Levels, U.S. Geological Survey: see ``test_esrp.py``.
"""

import csv

import pandas as pd
import pymannkendall
import pytest

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
def both(request, esrp, reference):
    told = reference[request.param]
    found = esrp[0].trends(list(told), method=request.param, seasons=12, unit="ft")
    return request.param, told, found.set_index("well")


def medians(source, well, method):
    """Return the source's own elevations [ft] as yearly medians, or as monthly ones of whole years."""
    names = pd.read_csv(source / "wells.csv", dtype=str).set_index("local_name")["site_id"]
    levels = pd.read_csv(source / "levels.csv", dtype=str, keep_default_na=False)
    levels = levels[(levels["site_id"] == names[well]) & levels["status_code"].isin(["1", ""])]
    day = pd.to_datetime(levels["local_date"])
    value = levels["water_elev_ft_navd88"].astype(float)
    if method == "kendall":
        return value.groupby(day.dt.year).median().round(6).to_numpy()
    table = value.groupby([day.dt.year, day.dt.month]).median().unstack()
    return table.reindex(range(day.dt.year.min(), day.dt.year.max() + 1)).round(6).to_numpy().ravel()


def test_score_variance_z_and_tau_are_those_of_the_reference(both):
    _, told, found = both
    assert len(told) == len(found) >= 5
    for well, numbers in told.items():
        row = found.loc[well]
        assert abs(row["s"] - numbers["s"]) <= 1, well
        assert row["var_s"] == pytest.approx(numbers["var_s"], abs=1), well
        assert row["tau"] == pytest.approx(numbers["Tau"], abs=1e-3), well
        assert row["z"] == pytest.approx(numbers["z"], abs=5e-3), well


def test_score_variance_and_z_equal_those_of_rounded_medians(esrp, both):
    method, told, found = both
    test = pymannkendall.original_test if method == "kendall" else pymannkendall.seasonal_test
    for well in told:
        row, other = found.loc[well], test(medians(esrp[1], well, method))
        assert row["s"] == other.s, well
        assert row["var_s"] == pytest.approx(other.var_s, rel=1e-12), well
        assert row["z"] == pytest.approx(other.z, rel=1e-12), well
        assert row["tau"] == pytest.approx(other.Tau, rel=1e-12), well


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
    method, _, found = both
    assert found["note"].str.contains("years are correlated").all()
    if method == "seasonal":
        assert found["note"].str.contains("covariance among seasons, without it").all()
    assert (found["direction"] == "falling").any()
    assert (found["slope_lower_ft_per_year"] <= found["slope_ft_per_year"]).all()
    assert (found["slope_ft_per_year"] <= found["slope_upper_ft_per_year"]).all()
