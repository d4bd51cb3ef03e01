"""Seasons of the eastern Snake River Plain wells against percentiles of the same open levels.

``reference_results.csv`` beside the open data holds them (NumPy 2.4, medians of calendar months by pandas): percentiles
by rank over n + 1 of April and October, and both definitions of all levels. Levels, U.S. Geological Survey: see
``test_esrp.py``.
"""

import csv
import re

import numpy as np
import pandas as pd
import pytest
from statsmodels.tsa.seasonal import STL

from gwnet.hydro.seasons.percentiles import percentiles

pytestmark = pytest.mark.shared


@pytest.fixture(scope="module")
def reference(esrp):
    """Give the rows of percentiles with the names of their wells."""
    source = esrp[1]
    with (source / "wells.csv").open(encoding="utf-8") as file:
        names = {row["site_id"]: row["local_name"] for row in csv.DictReader(file)}
    table = pd.read_csv(source.parent / "reference_results.csv")
    table = table[(table["file"] == "esrp/levels.csv") & table["statistic"].str.startswith("percentile")]
    return table.assign(well=table["series"].map(names), value=table["value"].astype(float))


@pytest.mark.slow
def test_monthly_percentiles_are_those_of_the_reference(esrp, reference):
    rows = reference[reference["definition"].str.contains("month . only|month .. only", regex=True)]
    found = esrp[0].seasons(list(rows["well"].unique()), unit="ft").set_index(["well", "month"])
    assert len(rows) >= 50
    for row in rows.itertuples():
        month, count = map(int, re.search(r"month (\d+) only \(n=(\d+)\)", row.definition).groups())
        own = found.loc[row.well, month]
        percent = re.search(r"percentile (\d+)", row.statistic).group(1)
        assert own["years"] == count, row.well
        assert own[f"p{percent}_ft"] == pytest.approx(row.value, abs=2e-6), (row.well, month, percent)


def test_percentiles_of_all_levels_are_those_of_the_reference(esrp_as_published, reference):
    """The reference has every published level, so no level is kept out by a finding here."""
    rows = reference[reference["definition"].str.contains("all values, no aggregation")]
    levels = esrp_as_published.levels(list(rows["well"].unique()), unit="ft")
    numbers = levels[levels["usable"]].groupby("well")["water_elevation_ft"]
    assert len(rows) >= 60
    for row in rows.itertuples():
        percent, definition = re.search(r"percentile (\d+) \((\w+)\)", row.statistic).groups()
        found = percentiles(numbers.get_group(row.well), [float(percent)], definition=definition)
        assert found.value[0] == pytest.approx(row.value, abs=2e-6), (row.well, row.statistic)


@pytest.mark.slow
def test_the_newest_level_is_ranked_among_the_months_of_the_source(esrp):
    network, source, _ = esrp
    names = pd.read_csv(source / "wells.csv", dtype=str).set_index("site_id")["local_name"]
    levels = pd.read_csv(source / "levels.csv", dtype=str, keep_default_na=False)
    levels = levels[levels["status_code"].isin(["1", ""])]
    levels = levels.assign(
        well=levels["site_id"].map(names),
        day=pd.to_datetime(levels["local_date"]),
        value=levels["water_elev_ft_navd88"].astype(float),
    )
    compared = 0
    found = network.seasons.summary().set_index("well")
    for well, own in levels.groupby("well"):
        row = found.loc[well]
        last = own.sort_values("day").iloc[-1]
        month = own[own["day"].dt.month == last["day"].month]
        others = month[month["day"].dt.year != last["day"].year].groupby(month["day"].dt.year)["value"].median()
        same_day = own[own["day"] == last["day"]]
        if len(others) + 1 < 10 or same_day["value"].nunique() > 1 or row["n"] != len(own):
            continue
        below, tied = (others < last["value"] - 1e-6).sum(), ((others - last["value"]).abs() <= 1e-6).sum()
        expected = 100 * (below + tied / 2 + 1) / (len(others) + 2)
        assert row["percentile"] == pytest.approx(expected, abs=1e-6), well
        compared += 1
    assert compared > 100


def test_a_decomposition_is_that_of_statsmodels(esrp):
    found = esrp[0].seasons.decomposition("HIGHWAY 1C").result
    other = STL(found.parts.observed, period=found.parts.period, seasonal=13, robust=True).fit()
    assert np.array_equal(found.parts.seasonal, other.seasonal)
    assert np.array_equal(found.parts.trend, other.trend)
    assert found.parts.filled.mean() < 1 / 3
