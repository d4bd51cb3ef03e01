"""Seasonal statistics and smoothing against printed numbers, to the precision in which they were printed.

Sources stand at each test. Where a printed number was recalled and not read, it says "from memory"; where it was worked
out with other code, it says "computed".
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from gwnet.hydro.seasons.months import monthly_statistics
from gwnet.hydro.seasons.percentiles import percentiles, standing
from gwnet.hydro.seasons.smoothing import decompose, lowess

CASES = Path(__file__).parent / "cases"

#: NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.2: twelve resistivities.
RESISTIVITIES = [
    95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682,
]  # fmt: skip


def table(name):
    return pd.read_csv(CASES / name, comment="#")


def close(value, digits):
    """A printed number: half a unit of its last digit either way."""
    return pytest.approx(value, abs=0.5000001 * 10.0**-digits, rel=0)


@pytest.mark.parametrize(
    ("definition", "printed"),
    [
        ("weibull", [95.07045, 95.10975, 95.15790, 95.18958, 95.19807, 95.19900]),
        ("linear", [95.09390, 95.11625, 95.15790, 95.18133, 95.19568, 95.19729]),
    ],
)
def test_percentiles_of_the_handbook(definition, printed):
    """NIST/SEMATECH 7.2.6.2: 90th percentile 95.1981 with rank (n + 1) p, 95.1957 with rank 1 + (n − 1) p (these two
    from memory); the others computed, types 6 and 7 of Hyndman and Fan (1996)."""
    found = percentiles(RESISTIVITIES, [10, 25, 50, 75, 90, 95], definition=definition)
    assert found.value == close(np.array(printed), 5)
    assert found.value[4] == close({"weibull": 95.1981, "linear": 95.1957}[definition], 4)
    assert found.count == 12


def test_plotting_positions():
    """Weibull: i / (n + 1) (Helsel and others, 2020, USGS TM 4-A3; from memory)."""
    ordered = np.sort(RESISTIVITIES)
    for i, value in enumerate(ordered):
        assert standing(value, np.delete(ordered, i)).percentile == pytest.approx(100 * (i + 1) / 13)
        assert standing(value, np.delete(ordered, i), definition="linear").percentile == pytest.approx(100 * i / 11)


def test_monthly_percentiles_and_means_of_nottingham():
    """Air temperature at Nottingham, 1920–1939 (Anderson, 1976); percentiles computed with NumPy, types 6 and 7."""
    air = table("trend_nottingham_air.csv")
    six = monthly_statistics(air["month"], air["temp_f"])
    seven = monthly_statistics(air["month"], air["temp_f"], definition="linear")
    assert six.percentile[0] == close(np.array([36.290, 37.925, 39.700, 41.400, 42.370]), 3)
    assert seven.percentile[0] == close(np.array([37.010, 38.775, 39.700, 41.000, 42.130]), 3)
    assert six.percentile[6] == close(np.array([57.890, 60.175, 61.750, 64.025, 66.220]), 3)
    assert seven.percentile[6] == close(np.array([59.410, 60.325, 61.750, 63.675, 65.580]), 3)
    means = [39.695, 39.190, 42.195, 46.290, 52.560, 58.040, 61.900, 60.520, 56.480, 49.495, 42.580, 39.530]
    assert six.mean == close(np.array(means), 3)
    assert (six.count == 20).all()


def test_of_twenty_values_a_percentile_below_the_first_rank_is_the_lowest():
    """100 / 21 = 4.76: arithmetic of type 6."""
    air = table("trend_nottingham_air.csv").query("month == 1")["temp_f"]
    assert percentiles(air, [4.7]).value == air.min()
    assert percentiles(air, [4.8]).value > air.min()
    assert percentiles(air, [4.7], definition="linear").value > air.min()


def test_lowess_as_in_r():
    """Output of R's lowess for 20 points (f 2/3, 3 robust steps, delta 0), as kept in the tests of statsmodels."""
    rows = table("seasons_lowess.csv").query("case == 'simple'")
    assert lowess(rows["x"], rows["y"]) == pytest.approx(rows["fit"].to_numpy(), rel=1e-12)


def test_lowess_of_stopping_distances():
    """R's lowess of the data set cars (first six fits and the last from memory): other programs print other numbers."""
    rows = table("seasons_lowess.csv").query("case == 'cars'")
    found = lowess(rows["x"], rows["y"])
    assert found[:6] == close(np.array([4.965459, 4.965459, 13.124495, 13.124495, 15.858633, 18.579691]), 6)
    assert found[-1] == close(84.328698, 6)


def test_loess_of_the_handbook():
    """NIST/SEMATECH 4.1.4.4 (from memory): 7 of 21 points, local lines, no robust step."""
    rows = table("seasons_loess_nist.csv")
    found = lowess(rows["x"], rows["y"], fraction=7 / 21, robust_steps=0)
    assert found == pytest.approx(rows["fit_printed"].to_numpy(), abs=6e-5)


def test_decomposition_of_carbon_dioxide():
    """Cleveland and others (1990): the netlib Fortran program on 348 months of Mauna Loa."""
    rows = table("seasons_co2_decomposition.csv")
    found = decompose(
        rows["y"],
        12,
        robust=False,
        seasonal_span=35,
        trend_span=19,
        low_pass_span=13,
        jumps=(4, 2, 2),
        inner_steps=1,
        outer_steps=2,
    )
    assert found.seasonal == close(rows["season"].to_numpy(), 6)
    assert found.trend == close(rows["trend"].to_numpy(), 6)
    assert found.weight == close(rows["rw"].to_numpy(), 6)
    assert not found.filled.any()
