"""Serial correlation shared among the wells of an aquifer: constructed records, and the demo network."""

import datetime as dt

import numpy as np
import pytest

import gwnet
from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series import trend_memory
from gwnet.analysis.series.trend_changes import find_bend
from gwnet.analysis.series.trend_memory import memory_weights, shared_memory, with_curves
from gwnet.analysis.series.trend_records import SharedMemory, well_records
from gwnet.analysis.series.trends import trends
from gwnet.hydro.trends.correlated_line import error_grid, fit_correlated_line
from gwnet.hydro.trends.shared_memory import even_weights

from ..bench.bench_trend_limits import (
    QUARTER_DAYS,
    as_levels,
    bend_case,
    line_values_of,
    noise,
    sharing_case,
    wells_of,
)


def values_with(correlation, wells=8, years=20, seed=4, same=0.0):
    """Return the values of lines of wells with a correlation from quarter to quarter, and a part in common."""
    random = np.random.default_rng(seed)
    own, common = noise(random, wells, 4 * years, correlation), noise(random, 1, 4 * years, correlation)
    return line_values_of(as_levels(np.sqrt(1 - same) * own + np.sqrt(same) * common, QUARTER_DAYS))


def mean_quarterly(weights):
    """Return the mean correlation of values a quarter apart, scatter included: white noise has many names."""
    correlation, scatter, _ = error_grid()
    return float(weights @ ((1 - scatter) * correlation**0.25))


@pytest.mark.parametrize("correlation", [0.0, 0.6, 0.93])
def test_wells_hear_the_correlation_of_their_aquifer(correlation):
    names, weights = memory_weights(values_with(correlation))
    assert names == [f"W{k:04}" for k in range(8)]
    assert weights.shape == (9, even_weights().size)
    assert [mean_quarterly(row) for row in weights] == pytest.approx([correlation] * 9, abs=0.2)


def test_what_a_well_shows_itself_does_not_count():
    plain = values_with(0.3)
    changed = dict(plain)
    changed["W0000"] = values_with(0.97, seed=9)["W0000"]
    assert memory_weights(plain)[1][0] == pytest.approx(memory_weights(changed)[1][0], abs=0.02)
    assert mean_quarterly(memory_weights(changed)[1][1]) > mean_quarterly(memory_weights(plain)[1][1])


def test_disturbances_in_common_are_found():
    for same in (0.0, 0.5, 0.9):
        given = list(values_with(0.8, same=same, years=30).values())
        fitted = [fit_correlated_line(one.when, one.values, one.design).weights for one in given]
        found = trend_memory._shared_part(given, np.array(fitted) / even_weights())
        assert found == pytest.approx(same**2, abs=0.12)


def test_one_well_alone_has_even_weights():
    names, weights = memory_weights({"W": values_with(0.5)["W0000"]})
    assert names == ["W"]
    assert weights == pytest.approx(np.tile(even_weights(), (2, 1)))


def test_shared_weights_enter_p_and_limits_and_the_note_says_so():
    levels = as_levels(noise(np.random.default_rng(1), 1, 80, 0.5), QUARTER_DAYS)
    at = error_grid()[0] ** 0.25
    found = {}
    for name, top in (("short", 0.0), ("long", 0.98)):
        weights = np.where(np.isclose(at, top), 1.0, 1e-6)
        memory = {("S", "W0000"): SharedMemory("upper", 7, weights / weights.sum())}
        found[name] = trends(levels, wells_of(levels), memory=memory).iloc[0]
    widths = {name: row["slope_upper_m_per_year"] - row["slope_lower_m_per_year"] for name, row in found.items()}
    assert widths["long"] > 2 * widths["short"]
    assert "with the memory of 7 other wells of aquifer upper" in found["long"]["note"]
    assert well_records(used_levels(levels)[0], 4, memory)["S", "W0000"].memory is memory["S", "W0000"]


def test_wells_that_turn_together_are_no_memory_to_a_test_of_bends():
    turn = 0.6 * np.abs(np.arange(80) / 4 - 10)
    given = line_values_of(as_levels(noise(np.random.default_rng(4), 8, 80, 0.3) + turn, QUARTER_DAYS))
    beside_lines, beside_curves = (memory_weights(each)[1] for each in (given, with_curves(given)))
    assert all(mean_quarterly(row) > 0.7 for row in beside_lines)
    assert [mean_quarterly(row) for row in beside_curves] == pytest.approx([0.3] * 9, abs=0.2)


def test_records_too_short_for_a_curve_keep_their_line():
    given = line_values_of(as_levels(noise(np.random.default_rng(4), 1, 10, 0.3), QUARTER_DAYS))
    assert with_curves(given)["W0000"] is given["W0000"]


def test_a_bend_is_judged_with_the_memory_of_the_aquifer():
    turn = 0.25 * np.abs(np.arange(80) / 4 - 10)
    levels = as_levels(noise(np.random.default_rng(1), 1, 80, 0.3) + turn, QUARTER_DAYS)
    at = error_grid()[0] ** 0.25
    found = {}
    for name, top in (("short", 0.3), ("long", 0.98)):
        curve = np.where(np.isclose(at, at[np.argmin(np.abs(at - top))]), 1.0, 1e-9)
        memory = {("S", "W0000"): SharedMemory("upper", 7, even_weights(), curve / curve.sum())}
        found[name] = find_bend(well_records(used_levels(levels)[0], 4, memory)["S", "W0000"])
    assert found["short"] is not None
    assert found["short"].is_turn
    assert found["long"] is None or found["long"].p_curvature > 10 * found["short"].p_curvature


@pytest.mark.slow
def test_the_wells_asked_for_change_nothing(demo_record):
    with gwnet.open(demo_record) as net:
        whole = net.trends().set_index("well")
        for asked in (["W-01"], ["W-01", "L-03", "W-06"]):
            some = net.trends(asked).set_index("well")
            for well in asked:
                assert some.at[well, "p"] == whole.at[well, "p"]
                assert "other wells of aquifer" in some.at[well, "note"]
        since = net.trends("W-01", start="2019-01-01").iloc[0]
        assert "15 other wells of aquifer upper" in since["note"]
        alone = net.trends("W-01", alone=True).iloc[0]
    assert "other wells" not in alone["note"]
    assert alone["p"] != whole.at["W-01", "p"]


def test_wells_with_most_visits_speak_for_a_large_aquifer(demo_record, monkeypatch):
    monkeypatch.setattr(trend_memory, "MOST_WELLS", 6)
    with gwnet.open(demo_record) as net, net._record(None, None) as record:
        given = shared_memory(record, record.wells)
        wells = record.wells
        own = wells[wells["aquifer"] == "upper"]
        counts = own["well_id"].map(record.visits).fillna(0).to_numpy()
        assert counts.sum() > 0
        # a well that speaks hears the five others, any other well all six
        assert {given[site, well].wells for site, well in zip(own["site"], own["well"], strict=True)} == {5, 6}
        early = shared_memory(record, wells, end=dt.date(2019, 12, 31))
    assert early == {}


def test_shared_memory_halves_false_bends_and_still_tells_turns():
    """A short run of the bench, with generous bounds: 60 records."""
    row = bend_case(20, 0.8, 6)
    assert row["none_bent_shared"] <= 0.1
    assert row["none_turned_shared"] <= row["none_turned_alone"] + 0.02
    assert row["turn_turned_shared"] >= 0.8


@pytest.mark.slow
def test_sharing_holds_and_finds_more():
    """A short run of the bench, with generous bounds."""
    row = sharing_case(20, 0.9, 4)
    assert row["false_shared"] <= 0.15
    assert row["power_shared"] >= row["power_alone"] - 0.05
    assert row["held_shared"] >= 0.85
