"""Trends with rainfall and abstraction taken out: a fall that pumping made, a rise that rain hides; constructed."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.series.trend_context import COLUMNS, WINDOWS, antecedent_means, context_trends
from gwnet.analysis.series.trend_records import decimal_years
from gwnet.network import Network

from .trend_rows import quarterly, record, wells_of

MONTHS = pd.date_range("1999-01-01", "2021-12-01", freq="MS")


def series(values, quantity, name):
    return pd.DataFrame(
        {"site": "S", "series": name, "quantity": quantity, "date": MONTHS.strftime("%Y-%m-%d"), "value": values}
    )


def means_at_levels(context, count):
    days = pd.to_datetime([day for _, day, _ in quarterly("A", [0.0] * count)]).to_numpy().astype("datetime64[D]")
    times = decimal_years(pd.to_datetime(context["date"]).to_numpy().astype("datetime64[D]"))
    return antecedent_means(decimal_years(days), times, context["value"].to_numpy(dtype=float))


def noise(count, seed):
    return np.random.default_rng(seed).normal(0, 0.1, count)


def test_means_before_a_moment_are_those_of_the_values_in_the_window():
    times, values = np.arange(2000.0, 2005.0, 1 / 365.25), np.arange(1827.0)
    means = antecedent_means(np.array([2000.5, 2003.0]), times, values)
    assert np.isnan(means[0, 1])
    for k, (near, far) in enumerate(WINDOWS):
        inside = (times >= 2003.0 - far / 365.25) & (times < 2003.0 - near / 365.25)
        assert means[1, k] == pytest.approx(values[inside].mean(), abs=0.51)


def test_a_fall_that_pumping_made_is_none_without_it():
    pumped = series(
        np.linspace(0, 10, MONTHS.size) + np.random.default_rng(1).normal(0, 2, MONTHS.size), "abstraction", "P"
    )
    effect = means_at_levels(pumped, 80) @ [-0.2, -0.3]
    frame = record(*quarterly("A", 40 + effect + noise(80, 2)))
    row = context_trends(frame, wells_of(frame), pumped).iloc[0]
    assert row["slope_with_upper_m_per_year"] < 0
    assert row["p_with"] < 0.001
    assert row["slope_lower_m_per_year"] < 0 < row["slope_upper_m_per_year"]
    assert row["direction"] == "no significant trend"
    assert (row["inputs"], row["n"]) == ("P", 80)
    # a quarter of a year and the nine months before it
    assert "0 to 91 and 91 to 365 days" in row["note"]


def test_a_fall_that_wet_years_hide_is_seen_without_them():
    wave = 60 + 40 * np.sin(2 * np.pi * np.arange(MONTHS.size) / 150)
    rain = series(wave + np.random.default_rng(3).normal(0, 10, MONTHS.size), "rainfall", "R")
    effect = means_at_levels(rain, 80) @ [0.01, 0.02]
    frame = record(*quarterly("A", 40 - 0.05 * np.arange(80) / 4 + effect + noise(80, 4)))
    row = context_trends(frame, wells_of(frame), rain).iloc[0]
    width, plain = (
        row[f"slope_{name}upper_m_per_year"] - row[f"slope_{name}lower_m_per_year"] for name in ("", "with_")
    )
    assert width < 0.5 * plain
    assert row["direction"] == "falling"
    assert row["slope_lower_m_per_year"] < -0.05 < row["slope_upper_m_per_year"]


def test_wells_without_inputs_or_levels_say_so():
    frame = record(*quarterly("A", 40 + noise(40, 5)), ("B", "2010-02-15", 40.0))
    other = series(np.ones(MONTHS.size), "other", "O")
    found = context_trends(frame, wells_of(frame), other)
    assert tuple(found.columns) == COLUMNS
    assert found["note"].tolist() == [
        "no series of rainfall or abstraction on record at the site",
        "too few values that are numbers for a line",
    ]
    late = series(np.ones(MONTHS.size), "rainfall", "R").iloc[-3:]
    assert context_trends(frame, wells_of(frame), late)["note"].iloc[0].startswith("too few levels with a year of R")


@pytest.mark.slow
def test_the_network_takes_the_context_of_the_demo_out(demo_record):
    with Network(demo_record) as net:
        found = net.trends.without_context()
    assert (found["n"] > 0).any()
    own = found[found["n"] > 0]
    assert (own["slope_lower_m_per_year"] <= own["slope_upper_m_per_year"]).all()
    assert own["inputs"].str.contains("rain gauge").all()
