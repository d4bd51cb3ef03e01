"""Every trend number of ``reference_results.csv``, from the measured series as they stand, by the functions alone.

The file beside the open data holds numbers of pyMannKendall 1.4.3 and SciPy 1.17.1 to ten digits. Series: wells of the
eastern Snake River Plain (U.S. Geological Survey) and a bedrock well in Connecticut (daily heads, 2002 to 2021), public
domain. Medians are not rounded here, so that ties are those of the reference, binary dust and all.
"""

import pandas as pd
import pytest

from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.kendall import mann_kendall
from gwnet.hydro.trends.seasonal_kendall import seasonal_kendall
from gwnet.hydro.trends.theil_sen import theil_sen

pytestmark = pytest.mark.shared

CONNECTICUT = "Connecticut bedrock well"
YEARS, MONTHS = "median of each calendar year", "median of each calendar month"


@pytest.fixture(scope="module")
def reference(open_data):
    """Give {series: {(kind, statistic): text}} of all trend rows."""
    table = pd.read_csv(open_data / "reference_results.csv", dtype=str, keep_default_na=False)
    rows = table[table["statistic"].str.match(r"mk |theil_sen")]
    found = {}
    for row in rows.itertuples():
        found.setdefault(row.series, {})[row.statistic] = row.value
    assert len(rows) == sum(map(len, found.values())) == 126
    return found


@pytest.fixture(scope="module")
def series(open_data):
    """Give days and values of each series, in the order of time."""
    levels = pd.read_csv(open_data / "esrp" / "levels.csv", dtype=str, keep_default_na=False)
    levels = levels[levels["status_code"].isin(["1", ""])]
    made = {
        code: pd.Series(some["water_elev_ft_navd88"].astype(float).to_numpy(), pd.to_datetime(some["local_date"]))
        for code, some in levels.groupby("site_id")
    }
    heads = pd.read_csv(open_data / "connecticut_bedrock_daily.csv").dropna(subset=["head_m"])
    made[CONNECTICUT] = pd.Series(heads["head_m"].to_numpy(), pd.to_datetime(heads["date"]))
    return {code: values.sort_index(kind="stable") for code, values in made.items()}


def near(text, digits=9):
    """A number written to ten digits."""
    return pytest.approx(float(text), rel=10.0**-digits, abs=1e-10)


def told(z):
    """Return the word of the reference for a score, at 5 %."""
    return "no trend" if abs(z) < 1.959964 else ("increasing" if z > 0 else "decreasing")


def test_yearly_medians(reference, series):
    for code, statistics in reference.items():
        value = series[code].groupby(series[code].index.year).median().to_numpy()
        found, line = mann_kendall(value, method="normal"), theil_sen(value)
        numbers = {"p": found.p_value, "z": found.z, "Tau": found.tau_a, "s": found.score, "var_s": found.variance}
        for name, number in (numbers | {"slope": line.slope}).items():
            assert number == near(statistics[f"mk original {name}"]), (code, name)
        assert told(found.z) == statistics["mk original trend"]


def test_monthly_medians_by_season(reference, series):
    for code, statistics in reference.items():
        day = series[code].index
        table = series[code].groupby([day.year, day.month]).median().unstack()
        table = table.reindex(range(day.year.min(), day.year.max() + 1)).to_numpy()
        found, slope = seasonal_kendall(table), pair_slopes(table).limits(0.0)[0]
        numbers = {"p": found.p_value, "z": found.z, "Tau": found.tau_a, "s": found.score, "var_s": found.variance}
        for name, number in (numbers | {"slope": slope}).items():
            assert number == near(statistics[f"mk seasonal(12) {name}"]), (code, name)
        assert told(found.z) == statistics["mk seasonal(12) trend"]


def test_slopes_of_all_values(reference, series):
    """Intercepts are large beside slopes: the reference's days count from 1970."""
    for code, statistics in reference.items():
        value = series[code].to_numpy()
        years = (series[code].index - pd.Timestamp("1970-01-01")).days.to_numpy() / 365.25
        line = theil_sen(value, years, ranks="rounded")
        assert line.slope == near(statistics["theil_sen slope"]), code
        assert line.intercept == near(statistics["theil_sen intercept"]), code
        assert line.lower == near(statistics["theil_sen slope low 95"]), code
        assert line.upper == near(statistics["theil_sen slope high 95"]), code
