"""Limits of trends, threshold dates and steps hold as often as they say: short runs of the bench, generous bounds."""

import pytest

from ..bench.bench_trend_limits import change_case, date_case, trend_case


@pytest.mark.parametrize(("years", "monthly", "most_false", "least_power"), [
    (10, 0.0, 0.10, 0.80),
    (20, 0.9, 0.10, 0.35),
    (20, 0.98, 0.22, 0.30),
])  # fmt: skip
def test_false_alarms_and_power_of_trends(years, monthly, most_false, least_power):
    row = trend_case(years, monthly, 40)
    assert row["answered"] == 1.0
    assert row["false"] <= most_false
    assert row["power"] >= least_power


@pytest.mark.slow
def test_threshold_dates_hold():
    for row in (*date_case(12, 0.5, 30, distances=(2.0, 20.0)), *date_case(25, 0.0, 30, distances=(5.0,))):
        assert row["significant"] >= 0.6
        assert min(row["held_"], row["held_season_"], row["held_level_"]) >= 0.85
        assert row["width_"] > 0.0


@pytest.mark.slow
def test_steps_hold_and_are_found():
    row = change_case(20, 0.5, 40)
    assert row["plain_told"] <= 0.2
    assert row["step_told"] >= 0.7
    assert row["held"] >= 0.8
    assert row["plain_turned"] <= 0.15
    assert row["turn_turned"] >= 0.6
