"""One value a month, quarter or year: against a loop over days, with ties, bounds and loggers; constructed."""

import math
import statistics

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.period_values import COLUMNS, drop_logged_on_reading_days, period_values
from gwnet.errors import SettingsError

NOON = pd.Timedelta(hours=12)


def used_of(*rows):
    """Return levels that take part from (well, day, low, high, source)."""
    frame = pd.DataFrame(list(rows), columns=["well", "day", "low", "high", "source"]).assign(site="S")
    return frame.assign(day=pd.to_datetime(frame["day"]))


def number(well, day, head, source="manual"):
    return well, day, head, head, source


def expected(used, seasons, value):
    """Return the rows of the result, worked out in a loop that follows the documentation."""
    groups = {}
    for row in used.to_dict("records"):
        part = (row["day"].month - 1) // (12 // seasons)
        groups.setdefault((row["site"], row["well"], row["day"].year, part), []).append(row)
    found = []
    for key, rows in sorted(groups.items()):
        read = {row["day"] for row in rows if row["source"] == "manual"}
        rows = [row for row in rows if row["source"] == "manual" or row["day"] not in read]
        if value == "middle":
            _, _, year, part = key
            months = 12 // seasons
            first = pd.Timestamp(year, part * months + 1, 1)
            after = pd.Timestamp(year + (part + 1) // seasons, (part + 1) % seasons * months + 1, 1)
            middle = first + (after - first) / 2
            day = min((abs(row["day"] + NOON - middle), row["day"]) for row in rows)[1]
            rows = [row for row in rows if row["day"] == day]
        low, high = (statistics.median(row[name] for row in rows) for name in ("low", "high"))
        if low == -math.inf and high == math.inf:
            continue
        bound = 1 if high == math.inf else -1 if low == -math.inf else 0
        days = [(row["day"] - pd.Timestamp(0)).days for row in rows]
        sources = {row["source"] for row in rows}
        found.append(
            (
                *key,
                round(low if bound == 1 else high, 6),
                bound,
                pd.Timestamp(0) + pd.Timedelta(days=math.floor(statistics.mean(days))),
                len(rows),
                sources.pop() if len(sources) == 1 else "both",
            )
        )
    return pd.DataFrame(found, columns=list(COLUMNS))


def many():
    """Return three years of levels of two wells: several a day, logger values among them, bounds of both kinds."""
    random = np.random.default_rng(5)
    rows = []
    for well in "AB":
        for day in random.choice(np.arange(0, 1100), 130):
            head = float(random.normal(40.0, 0.5))
            when = (pd.Timestamp("2021-01-01") + pd.Timedelta(days=int(day))).strftime("%Y-%m-%d")
            kind = random.choice(["number", "dry", "flowing", "logger"], p=[0.3, 0.2, 0.2, 0.3])
            low = -math.inf if kind == "dry" else head
            high = math.inf if kind == "flowing" else head
            rows.append((well, when, low, high, "logger" if kind == "logger" else "manual"))
    return used_of(*rows)


@pytest.mark.parametrize("seasons", [12, 4, 1])
def test_medians_of_periods_are_those_of_a_loop(seasons):
    used = many()
    found = period_values(used, seasons)
    pd.testing.assert_frame_equal(found, expected(used, seasons, "median"), check_dtype=False, rtol=1e-12)
    if seasons == 12:
        assert set(found["bound"]) == {-1, 0, 1}
        assert set(found["source"]) == {"manual", "logger", "both"}


@pytest.mark.parametrize("seasons", [12, 4, 1])
def test_middles_of_periods_are_those_of_a_loop(seasons):
    used = many().drop_duplicates(["well", "day"])
    found = period_values(used, seasons, value="middle")
    pd.testing.assert_frame_equal(found, expected(used, seasons, "middle"), check_dtype=False, rtol=1e-12)


@pytest.mark.parametrize(
    ("days", "seasons", "day"),
    [
        # the middle of February 2023 is the start of the 15th; noon of both days lies half a day off
        (["2023-02-14", "2023-02-15"], 12, "2023-02-14"),
        (["2023-02-13", "2023-02-15"], 12, "2023-02-15"),
        # of December 2023 noon of the 16th, of the last quarter of 2023 the start of 16 November
        (["2023-12-16", "2023-12-17"], 12, "2023-12-16"),
        (["2023-12-14", "2023-12-17"], 12, "2023-12-17"),
        (["2023-11-15", "2023-11-16"], 4, "2023-11-15"),
        (["2023-11-14", "2023-11-16"], 4, "2023-11-16"),
        # of 2024, which has 366 days, the start of 2 July
        (["2024-07-01", "2024-07-02"], 1, "2024-07-01"),
        (["2024-06-30", "2024-07-02"], 1, "2024-07-02"),
    ],
)
def test_the_day_nearest_to_the_middle_counts_the_earlier_of_two(days, seasons, day):
    used = used_of(*[number("A", when, 40.0 + k) for k, when in enumerate(days)])
    found = period_values(used.iloc[::-1], seasons, value="middle")
    assert found["day"].tolist() == [pd.Timestamp(day)]
    assert found["n"].tolist() == [1]


def test_a_day_with_several_levels_counts_with_their_median_and_number():
    used = used_of(
        *[number("A", "2023-02-15", head) for head in (40.0, 41.0, 45.0)],
        number("A", "2023-02-15", 99.0, "logger"),
        ("B", "2023-02-15", -math.inf, 40.0, "manual"),
        ("B", "2023-02-15", -math.inf, 42.0, "manual"),
        number("B", "2023-02-15", 43.0),
    )
    found = period_values(used, 12, value="middle")
    columns = ["well", "value", "bound", "n", "source"]
    assert found[columns].to_numpy().tolist() == [["A", 41.0, 0, 3, "manual"], ["B", 42.0, -1, 3, "manual"]]


def test_logger_values_count_on_days_without_a_reading_of_the_same_well_and_site():
    used = used_of(
        number("A", "2023-02-15", 40.0),
        number("A", "2023-02-15", 50.0, "logger"),
        number("A", "2023-02-16", 41.0, "logger"),
        number("B", "2023-02-15", 42.0, "logger"),
    )
    used = pd.concat([used, used_of(number("A", "2023-02-15", 43.0, "logger")).assign(site="T")], ignore_index=True)
    kept = drop_logged_on_reading_days(used)
    assert kept["low"].tolist() == [40.0, 41.0, 42.0, 43.0]
    assert kept["n"].tolist() == [1, 1, 1, 1]
    for alone in (used[used["source"] == "logger"], used[used["source"] == "manual"]):
        whole = drop_logged_on_reading_days(alone)
        assert whole["low"].tolist() == alone["low"].tolist()
        assert set(whole["n"]) == {1}


def test_values_are_compared_to_a_micrometre_and_a_period_that_leaves_everything_open_has_none():
    used = used_of(
        number("A", "2023-02-15", 1.23456749),
        ("B", "2023-02-15", -math.inf, 41.0, "manual"),
        ("B", "2023-02-16", 42.0, math.inf, "manual"),
        ("B", "2023-03-16", 42.0, math.inf, "manual"),
    )
    found = period_values(used)
    assert found[["well", "season", "value", "bound"]].to_numpy().tolist() == [["A", 1, 1.234567, 0], ["B", 2, 42.0, 1]]
    assert found.index.tolist() == [0, 1]


@pytest.mark.parametrize("seasons", [2, 3, 5, 6, 13])
def test_a_year_has_months_quarters_or_itself(seasons):
    used = used_of(number("A", "2023-02-15", 40.0))
    with pytest.raises(SettingsError, match="expected 1, 4, 12"):
        period_values(used, seasons)
    with pytest.raises(SettingsError, match="expected median or middle"):
        period_values(used, 12, value="mean")
