"""The line of a record: bounds, wild values, seasons, memory; constructed."""

import numpy as np
import pytest
from scipy import stats

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series import trend_lines
from gwnet.analysis.series.trend_lines import fit_line
from gwnet.analysis.series.trend_records import well_records

from .trend_rows import dry, quarterly, record, yearly


def line_of(frame, seasons=4):
    used, _ = used_levels(frame)
    return fit_line(well_records(used, seasons)["S", "A"])


def noise(count, seed=1):
    return np.random.default_rng(seed).normal(0, 0.2, count)


def test_seasons_and_slope_come_back():
    k = np.arange(80)
    line = line_of(record(*quarterly("A", 40 - 0.1 * k / 4 + np.tile([0.5, 0.2, -0.5, -0.2], 20) + noise(80))))
    assert line.season_levels() - line.season_levels().mean() == pytest.approx([0.5, 0.2, -0.5, -0.2], abs=0.15)
    middle, lower, upper = line.slope_limits
    assert lower < -0.1 < upper
    assert middle == pytest.approx(-0.1, abs=0.02)
    assert line.usual_seasons.tolist() == [0, 1, 2, 3]
    assert not line.is_short
    mean, _, _ = line.band(np.array([line.origin]))
    assert mean[0] == pytest.approx(line.season_levels().mean(), abs=0.01)
    assert line.turned().slope_limits[0] == pytest.approx(-middle)


def test_one_wild_value_does_not_make_a_trend():
    values = 40 + noise(80)
    values[-1] -= 30.0
    line = line_of(record(*quarterly("A", values)))
    assert line.moved == 1
    assert abs(line.slope_limits[0]) < 0.02


def test_bounds_have_what_is_expected_beyond_them():
    """The mean of a normal value at or below its bound b is μ − σ φ(α)/Φ(α), α = (b − μ)/σ."""
    values, design = np.array([0.0, 1.0, -1.0, 0.5, -0.5, -1.2]), np.ones((6, 1))
    side = np.array([0, 0, 0, 0, 0, -1])
    filled = trend_lines._expected(values, side, design)
    spread = np.sqrt(((filled - filled.mean())[:5] ** 2).mean())
    alpha = (-1.2 - filled.mean()) / spread
    assert filled[:5].tolist() == values[:5].tolist()
    assert filled[5] == pytest.approx(filled.mean() - spread * stats.norm.pdf(alpha) / stats.norm.cdf(alpha), rel=1e-3)
    assert trend_lines._expected(-values, -side, design)[5] == pytest.approx(-filled[5])


def test_a_well_that_falls_dry_goes_on_falling():
    rows = [
        ("A", day, 40 - 0.1 * k + e)
        for k, ((_, day, _), e) in enumerate(zip(quarterly("A", [0] * 60), noise(60), strict=True))
    ]
    bound = [row if row[2] > 36.0 else dry("A", row[1], 36.0) for row in rows]
    full, cut = line_of(record(*rows)), line_of(record(*bound))
    assert cut.slope_limits[0] == pytest.approx(full.slope_limits[0], abs=0.06)
    most = [row if row[2] > 38.5 else dry("A", row[1], 38.5) for row in rows]
    assert line_of(record(*most)) is None


def test_too_few_values_have_no_line():
    assert line_of(record(*quarterly("A", [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]))) is None
    assert line_of(record(*yearly("A", [1.0, 2.0, 3.0, 4.0])), 1) is None


def test_a_swing_of_decades_is_long_against_ten_years():
    swing = 40 + 2 * np.sin(2 * np.pi * np.arange(40) / 60)
    assert line_of(record(*quarterly("A", swing))).is_short
